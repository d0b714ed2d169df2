"""The command that opens the app in a browser, and the icon that opens it without a terminal."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import segno
from rich.console import Console

from loamwright import app
from loamwright.commands.answer import today
from loamwright.files import write_whole


def open_app(path: Path | None, lan: bool, port: int | None, browser: bool) -> None:
    """Serve a property until the user ends the program, and say where it is."""
    console = Console(highlight=False)

    def say(address: str, for_phone: bool) -> None:
        if for_phone:
            console.print("For one phone in the same network, once:")
            segno.make(address, error="m").terminal(compact=True)
            console.print("Plain http can be overheard by others in that network.")
        else:
            console.print("loamwright is open in the browser; this address opens it once, Ctrl+C ends it:")
        console.print(address, soft_wrap=True, markup=False)

    app.serve(path, today, port, lan, browser, say)


def put_shortcut(path: Path | None) -> Path:
    """Put an icon on the desktop that opens the app, and say where it is.

    Tried on Linux (a desktop entry of the freedesktop.org specification, version 1.5); written for Windows
    and macOS, and not tried there.
    """
    words = [sys.executable, "-m", "loamwright", "serve", *([str(path.resolve())] if path else [])]
    name = "loamwright" if path is None else path.stem
    if sys.platform == "win32":
        place = Path.home() / "Desktop" / f"{name}.bat"
        text = f"@echo off\r\n{subprocess.list2cmdline(words)}\r\n"
    elif sys.platform == "darwin":
        place = Path.home() / "Desktop" / f"{name}.command"
        text = f"#!/bin/sh\nexec {shlex.join(words)}\n"
    else:
        place = _desktop() / f"{name}.desktop"
        text = _entry(name, words)
    write_whole(place, text)
    place.chmod(place.stat().st_mode | 0o111)
    return place


def _desktop() -> Path:
    """The folder a Linux desktop shows."""
    if asks := shutil.which("xdg-user-dir"):
        told = subprocess.run([asks, "DESKTOP"], capture_output=True, text=True, check=False).stdout.strip()
        if told and Path(told) != Path.home():
            return Path(told)
    return Path(os.environ.get("XDG_DESKTOP_DIR", Path.home() / "Desktop"))


def _entry(name: str, words: list[str]) -> str:
    """A desktop entry; the quoting of Exec is the specification's own."""

    def quoted(word: str) -> str:
        for mark in ("\\", '"', "`", "$"):
            word = word.replace(mark, f"\\{mark}")
        return '"' + word.replace("%", "%%") + '"'

    # In a string value a backslash is written twice.
    line = " ".join(map(quoted, words)).replace("\\", "\\\\")
    told = " ".join(name.split()).replace("\\", "\\\\")
    return (
        f"[Desktop Entry]\nVersion=1.5\nType=Application\nName={told}\n"
        f"Comment=Map, plan and record the fertility of small plots\nExec={line}\nTerminal=true\n"
    )
