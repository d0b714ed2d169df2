"""Run a batch of hostile inputs in one process, each within its time and memory, and print what became of it.

`python -m hostile.batch MODULE STEP` runs every STEP-th case of a module; a line of JSON a case. A case
that takes longer than `SECONDS` is cut off, and memory beyond `MEGABYTES` over the start is not given.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import resource
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from pathlib import Path
from types import FrameType

from command_line import SEASON, TODAY, WHOLE_LIME, ran_well, worked_files

from hostile.cases import Case, one_by_one

SECONDS, MEGABYTES = 10, 500


class TooLongError(Exception):
    """A case took longer than it may."""


def _cut_off(_signal: int, _frame: FrameType | None) -> None:
    raise TooLongError


def _held_kb(what: str) -> int:
    """What the system says it holds [kB]; `getrusage` counts the process it was started from too."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(what))


def outcome(case: Case, start: Path) -> dict[str, object]:
    """Run one case on a copy of the property, and say how it ended."""
    from typer.testing import CliRunner

    from loamwright.commands.cli import app

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(start, folder / "own.gpkg")
        for file, content in case.files.items():
            (folder / file).write_bytes(content)
        if case.sql:
            with contextlib.closing(sqlite3.connect(folder / "own.gpkg", isolation_level=None)) as database:
                began_with, shape = (
                    database.total_changes,
                    database.execute("PRAGMA schema_version").fetchone(),
                )
                for statement in case.sql:
                    database.execute(statement)
                if (database.total_changes, database.execute("PRAGMA schema_version").fetchone()) == (
                    began_with,
                    shape,
                ):
                    raise SystemExit(f"{case.name}: its statements change nothing, so it proves nothing")
        if case.bytes_at:
            content = bytearray((folder / "own.gpkg").read_bytes())
            for place, byte in case.bytes_at.items():
                content[place % len(content)] = byte
            (folder / "own.gpkg").write_bytes(content)
        before = (folder / "own.gpkg").read_bytes()
        words = [str(folder / "own.gpkg") if word == "P" else word for word in case.typed]
        place = words.index("--") if "--" in words else len(words)
        words.insert(place, "--json")
        here = Path.cwd()
        os.chdir(folder)
        began = time.monotonic()
        signal.alarm(SECONDS)
        try:
            done = CliRunner().invoke(app, words, env={"COLUMNS": "200"})
            code, said = done.exit_code, done.output
            if done.exception is not None and not isinstance(done.exception, SystemExit):
                code, said = 99, repr(done.exception)
        except TooLongError:
            code, said = 98, "took too long"
        finally:
            signal.alarm(0)
            os.chdir(here)
        return {
            "name": case.name,
            "code": code,
            "said": said,
            "seconds": round(time.monotonic() - began, 2),
            "changed": (folder / "own.gpkg").read_bytes() != before,
        }


def furnish(path: Path) -> None:
    """Make the small property that a module's cases meet, unless it makes one of its own."""
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(path.parent))
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("plan", path, "--time-limit", "5")
    entry = ("--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "50 lb", "--operator", "Kim")
    ran_well("record", path, *entry, "--on", str(TODAY), "--answer", "anything=yes")


def main(module: str, step: int) -> None:
    """Run a part of a module's cases."""
    signal.signal(signal.SIGALRM, _cut_off)
    brought = importlib.import_module(f"hostile.{module}")
    chosen = one_by_one(brought.cases())[::step]
    with tempfile.TemporaryDirectory() as name:
        start = Path(name) / "own.gpkg"
        getattr(brought, "furnish", furnish)(start)
        for warm in (("check", str(start)), ("needs", str(start))):  # what libraries take for themselves
            ran_well(*warm)
        most = (_held_kb("VmData") + MEGABYTES * 1024) * 1024
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))
        for case in chosen:
            print(json.dumps(outcome(case, start)), flush=True)
    print(json.dumps({"peak_mb": _held_kb("VmHWM") // 1024}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
