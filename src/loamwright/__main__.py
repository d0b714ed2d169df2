"""Run the command line with ``python -m loamwright``."""

from loamwright.cli import app

if __name__ == "__main__":
    app()
