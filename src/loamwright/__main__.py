"""Run the command line with ``python -m loamwright``."""

from __future__ import annotations

from loamwright.commands import app

if __name__ == "__main__":
    app()
