"""The command that opens the app in a browser."""

from __future__ import annotations

from pathlib import Path

import segno
from rich.console import Console

from loamwright import app
from loamwright.commands.answer import today


def open_app(path: Path | None, lan: bool, port: int | None, browser: bool) -> None:
    """Serve a property until the user ends the program, and say where it is."""
    console = Console(highlight=False)

    def say(address: str, for_phone: bool) -> None:
        if for_phone:
            console.print("For one phone in the same network, once:")
            segno.make(address, error="m").terminal(compact=True)
            console.print("Plain http can be overheard by others in that network.")
        else:
            console.print(
                "loamwright is open in the browser. This address opens it once more; Ctrl+C ends it:"
            )
        console.print(address, soft_wrap=True, markup=False)

    app.serve(path, today, port, lan, browser, say)
