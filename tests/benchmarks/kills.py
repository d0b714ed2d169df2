"""Is anything lost when the program is killed? Run ``python -m tests.benchmarks.kills``.

Prints tried, hit and lost for every command that changes a property or writes files; ``--kills 40`` tries
fewer, ``--seed`` draws other moments. Pytest does not collect it; a slow test runs a few.

Each try is a process of its own on a copy of a property, killed (SIGKILL) at a moment drawn between its
start and its usual end, half of them in the last two fifths. Then the property is looked at by ``check``
and, row by row, by `sqlite3`: it must be the one before or the one after, never between, and the one after
when the command had said so; where it is the one before, the same command given again must do it. Columns
that differ between two undisturbed runs (times, ids drawn by chance) are not compared. A file that is
written must be absent, the old one, or whole by a reader of another library; nothing else may lie beside
it. Every second try that writes files only finds an old file under each name.

After the kills the same commands meet a disk with a random amount of room (a file system of its own where
that is allowed, else the system's limit on the size of a file), a read-only property and a read-only folder.
There the command must also say what happened: done, or refused with nothing changed.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import json
import os
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

sys.path.insert(0, str(Path(__file__).parents[1]))  # tests share command_line.py

from command_line import (
    SEASON,
    TODAY,
    WHOLE_LIME,
    box,
    geojson,
    ran_well,
    worked_files,
)

KEPT = Path(__file__).parents[1] / "files_kept" / "alder_fork.version-2.gpkg"
OLD = b"the file that was there before"
#: Linux capabilities 1 and 2 (capabilities(7)): to write and to read whatever the rights of a file say.
OVERRIDE = 0b110
PAGE = 4096  # what a file system gives room by [bytes]

#: What is run; P is the property, OUT a folder beside it.
COMMANDS: Mapping[str, tuple[str, ...]] = {
    "import": ("import", "P", "more.geojson"),
    "set": ("set", "P", "plot", "A-1", "notes=wet corner"),
    "undo": ("undo", "P"),
    "plan": ("plan", "P", "--time-limit", "5"),
    "record": (
        *("record", "P", "--plot", "A-1", "--product", "MAP 11-52-0", "--amount", "40 lb"),
        *("--on", str(TODAY), "--answer", "anything=yes"),
    ),
    "purchase": ("purchase", "P", "MAP 11-52-0", "3", "--paid", "102"),
    "season next": ("season", "next", "P"),
    "upgrade": ("check", "P"),  # opening an older file upgrades it, and keeps a dated copy
    "backup": ("backup", "P", "OUT"),
    "map": ("map", "P", "OUT/map.html"),
    "orders": ("orders", "P", "OUT"),
    **{
        f"export {kind}": ("export", "P", kind, "OUT")
        for kind in ("geojson", "geopackage", "shapefile", "kml", "gpx", "csv", "xlsx", "taskfile")
    },
}


@dataclass(slots=True)
class Tally:
    """What became of the tries of one command."""

    tried: int = 0
    hit: int = 0
    after: int = 0  # of those hit: the change was there already
    faults: list[str] = field(default_factory=list)


# ---------------------------------------------------------------------------------------------
# Processes


def in_a_child(work: Callable[[], int]) -> int:
    """Run something in a copy of this process, which has the libraries loaded; return its process id."""
    child = os.fork()
    if child:
        return child
    code = 70
    try:
        code = work()
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def command_in(folder: Path, words: Sequence[str], before: Callable[[], None] | None = None) -> int:
    """Start a command in a folder; what it says goes to a file beside the folder."""

    def work() -> int:
        from loamwright.commands.cli import app

        said = os.open(folder.with_suffix(".said"), os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o666)
        os.dup2(said, 1)
        os.dup2(said, 2)
        os.chdir(folder)
        tempfile.tempdir = str(folder.with_suffix(".scratch"))
        if before is not None:
            before()
        typed = [
            "own.gpkg" if word == "P" else word.replace("OUT", "out") if word.startswith("OUT") else word
            for word in words
        ]
        try:
            app([*typed, "--json"])
        except SystemExit as ended:
            return int(ended.code or 0)
        return 0

    folder.with_suffix(".scratch").mkdir(exist_ok=True)
    folder.with_suffix(".said").touch()
    return in_a_child(work)


def ended(child: int) -> int:
    """Wait for a process: its exit code, or minus the signal that ended it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def checked(folder: Path) -> str:
    """Return what ``check`` finds wrong with the property, in a process of its own; empty = nothing."""
    code = ended(command_in(folder, ("check", "P")))
    said = folder.with_suffix(".said").read_text("utf-8", "replace")
    return "" if code == 0 else f"check ended with {code}: {said[:300]}"


# ---------------------------------------------------------------------------------------------
# What a property and a folder hold


Rows = Mapping[str, Sequence[Mapping[str, object]]]


def rows_of(path: Path) -> Rows:
    """Return every row of every table, by sqlite3 alone."""
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.row_factory = sqlite3.Row
        names = [row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: [dict(row) for row in database.execute(f'SELECT * FROM "{name}" ORDER BY rowid')]
            for name in sorted(names)
        }


def by_chance(first: Rows, second: Rows) -> set[tuple[str, str]]:
    """Return the columns in which two undisturbed runs differ."""
    return {
        (table, column)
        for table, rows in first.items()
        for row, other in zip(rows, second[table], strict=True)
        for column, value in row.items()
        if value != other[column]
    }


def without(rows: Rows, chance: set[tuple[str, str]]) -> Rows:
    """Return the rows without what differs by chance."""
    return {
        table: [{k: v for k, v in row.items() if (table, k) not in chance} for row in rows[table]]
        for table in rows
    }


def names_in(folder: Path) -> set[str]:
    """Return the files of a folder and of those below it; a moment's digits in a name are not told."""
    return {_undated(str(path.relative_to(folder))) for path in folder.rglob("*") if path.is_file()}


def _undated(name: str) -> str:
    return "".join("0" if letter.isdigit() else letter for letter in name)


def not_whole(path: Path) -> str:
    """Say why a written file cannot be read by another library; empty = it can."""
    kind = path.suffix.lower()
    try:
        content = path.read_bytes()
        if content == OLD:
            return ""
        if kind == ".html":
            return "" if content.rstrip().endswith(b"</html>") else "it ends early"
        if kind == ".pdf":
            import pypdf

            return "" if len(pypdf.PdfReader(path).pages) else "no page"
        if kind in {".xlsx", ".zip", ".kmz"}:
            with zipfile.ZipFile(path) as archive:
                return "" if archive.testzip() is None else "a damaged member"
        if kind in {".kml", ".gpx", ".xml"}:
            ElementTree.fromstring(content)
        elif kind in {".json", ".geojson"}:
            json.loads(content)
        elif kind == ".gpkg":
            with contextlib.closing(sqlite3.connect(path)) as database:
                found = database.execute("PRAGMA integrity_check").fetchone()[0]
                return "" if found == "ok" else str(found)
        elif kind == ".shp":
            with path.with_suffix(".shx").open("rb") as index:
                words = int.from_bytes(index.read(28)[24:28], "big")
            told = int.from_bytes(content[24:28], "big") * 2
            size = path.with_suffix(".shx").stat().st_size
            return "" if told == len(content) and words * 2 == size else "length and header differ"
        elif kind in {".csv", ".txt"}:
            return "" if content.endswith(b"\n") else "it ends early"
    except Exception as error:  # whatever a reader says of a half file
        return f"{type(error).__name__}: {error}"
    return ""


# ---------------------------------------------------------------------------------------------
# One command


@dataclass(frozen=True, slots=True)
class Known:
    """What one command does when nobody disturbs it."""

    words: tuple[str, ...]
    start: Path
    seconds: float
    before: Rows
    after: Rows
    chance: set[tuple[str, str]]
    outputs: set[str]  # names below the folder, digits as 0
    names: tuple[str, ...]  # the same as written

    def state(self, path: Path) -> str:
        """Tell whether a property is the one before, the one after, or neither."""
        now = rows_of(path)
        if without(now, self.chance) == without(self.after, self.chance):
            return "after"
        return "before" if now == self.before else "between"


def fresh(folder: Path, start: Path, old: Sequence[str] = ()) -> None:
    """Lay out a folder with the property and what is brought, and old files where new ones will be."""
    (folder / "out").mkdir(parents=True)
    for path in start.iterdir():
        shutil.copy(path, folder)
    for name in old:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(OLD)


def learn(words: tuple[str, ...], start: Path, scratch: Path) -> Known:
    """Run a command twice undisturbed, and note what it leaves."""
    runs, seconds, names = [], 0.0, ()
    for turn in ("first", "second"):
        folder = scratch / turn
        fresh(folder, start)
        began = time.monotonic()
        code = ended(command_in(folder, words))
        seconds = time.monotonic() - began
        if code > 1:
            raise SystemExit(
                f"{' '.join(words)} ended with {code}: {folder.with_suffix('.said').read_text()}"
            )
        runs.append(rows_of(folder / "own.gpkg"))
        time.sleep(1.1)  # times are kept to the second: the next run has another
        made = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
        names = tuple(sorted(made - {path.name for path in start.iterdir()}))
    before = rows_of(start / "own.gpkg")
    return Known(
        words, start, seconds, before, runs[1], by_chance(*runs), {_undated(name) for name in names}, names
    )


def faults(known: Known, folder: Path, code: int) -> Iterator[str]:
    """Look at what a disturbed command left, and say what must not be."""
    killed = code == -signal.SIGKILL
    said = folder.with_suffix(".said").read_text("utf-8", "replace")
    state = known.state(folder / "own.gpkg")
    wrong = checked(folder)
    if wrong:
        yield wrong
    changes = known.before != known.after
    if changes and killed and state == "before":
        again = ended(command_in(folder, known.words))
        if again not in (0, 1):
            yield f"the same command, given again, ended with {again}"
    if state == "between":
        yield "the property is neither the one before nor the one after"
    if changes and code in (0, 1) and state != "after":
        yield "LOST: it was told as done, and is not there"
    if changes and not killed and code not in (0, 1) and state == "after":
        yield f"it ended with {code}, and the change is there"
    if not killed and code not in (0, 1, 2):
        yield f"it ended with {code}: {' '.join(said.split())[-400:]}"
    if code in (0, 1):
        missing = known.outputs - names_in(folder)
        if missing:
            yield f"LOST: it was told as done, and not written: {sorted(missing)}"
    allowed = {_undated(path.name) for path in known.start.iterdir()} | known.outputs
    if known.words[0] in ("check", "backup"):  # a second dated copy, by the one who did it again
        allowed |= {name.replace(".gpkg", "-0.gpkg") for name in known.outputs}
    for name in sorted(names_in(folder) - allowed):
        yield f"left over: {name}"
    for path in sorted(folder.rglob("*")):
        if path.is_file() and _undated(str(path.relative_to(folder))) in known.outputs:
            why = not_whole(path)
            if why:
                yield f"{path.name} is half: {why}"


# ---------------------------------------------------------------------------------------------
# Ways to be disturbed


def killed(known: Known, scratch: Path, tries: int, dice: random.Random) -> Tally:
    """Kill a command at moments of its life."""
    tally = Tally()
    for turn in range(tries):
        folder = scratch / f"kill-{turn}"
        fresh(folder, known.start, known.names if turn % 2 and known.before == known.after else ())
        # Changes are confirmed and files named late: every second kill falls there.
        wait_s = dice.uniform(known.seconds * (0.6 if turn // 2 % 2 else 0.0), known.seconds)
        child = command_in(folder, known.words)
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
        code = ended(child)
        tally.tried += 1
        tally.hit += code == -signal.SIGKILL
        tally.after += code == -signal.SIGKILL and known.state(folder / "own.gpkg") == "after"
        tally.faults += [f"after {wait_s:.3f} s: {one}" for one in faults(known, folder, code)]
        _clear(folder)
    return tally


def _clear(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.rmtree(folder.with_suffix(".scratch"), ignore_errors=True)
    folder.with_suffix(".said").unlink(missing_ok=True)


@contextlib.contextmanager
def small_disk(folder: Path, room: int) -> Iterator[bool]:
    """Make a folder a file system of its own of that size [bytes]; false where this is not allowed."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={room},mode=777", "loamwright-kills", str(folder)]
    done = subprocess.run(words, capture_output=True, check=False)
    try:
        yield done.returncode == 0
    finally:
        if done.returncode == 0:
            subprocess.run(["umount", str(folder)], check=True)


def full_disk(known: Known, scratch: Path, tries: int, dice: random.Random) -> Tally:
    """Run a command where there is a little room, from none to more than it needs."""
    tally = Tally()
    size = sum(-(-path.stat().st_size // PAGE) * PAGE for path in known.start.iterdir())
    grown = sum((scratch / "second" / name).stat().st_size for name in known.names) + 40 * PAGE
    for turn in range(tries):
        room = int(grown * dice.random() ** 2)
        disk = scratch / f"disk-{turn}"
        with small_disk(disk, size + room + PAGE) as own:
            folder = disk / "place"
            fresh(folder, known.start)

            def limit(room: int = size + room) -> None:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))

            said = scratch / f"full-{turn}"
            code = ended(_said_elsewhere(folder, said, known.words, None if own else limit))
            tally.tried += 1
            tally.hit += code not in (0, 1)
            # Checking needs no room of its own, but its words go to a file: look from where there is room.
            copy = scratch / f"copy-{turn}"
            shutil.copytree(folder, copy)
            _said_copied(said, copy)
            tally.faults += [f"with {room} bytes of room: {one}" for one in faults(known, copy, code)]
            _clear(copy)
    return tally


def _said_elsewhere(folder: Path, said: Path, words: Sequence[str], before: Callable[[], None] | None) -> int:
    """Start a command whose words are kept outside the folder's file system."""
    said.with_suffix(".said").touch()
    folder.with_suffix(".said").symlink_to(said.with_suffix(".said"))
    scratch = said.with_suffix(".scratch")
    scratch.mkdir()
    folder.with_suffix(".scratch").symlink_to(scratch)
    return command_in(folder, words, before)


def _said_copied(said: Path, copy: Path) -> None:
    shutil.copy(said.with_suffix(".said"), copy.with_suffix(".said"))


def bound_by_rights() -> None:
    """Give up what lets the system's administrator write whatever the rights of a file say (Linux)."""
    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)  # _LINUX_CAPABILITY_VERSION_3, this process
    held = (ctypes.c_uint32 * 6)()
    libc.capget(header, held)
    for place in (0, 1, 2):  # effective, permitted, inheritable
        held[place] &= ~OVERRIDE
    if libc.capset(header, held) != 0:
        raise OSError(ctypes.get_errno(), "capset")


def read_only(known: Known, scratch: Path, what: str) -> Tally:
    """Run a command as a user who may read the property or the folder, and not write it."""
    tally = Tally()
    folder = scratch / f"only-{what}"
    fresh(folder, known.start)
    if what == "file":
        (folder / "own.gpkg").chmod(0o444)
        folder.chmod(0o777)
        (folder / "out").chmod(0o777)
    else:
        for path in folder.rglob("*"):
            path.chmod(0o555 if path.is_dir() else 0o644)
        folder.chmod(0o555)

    code = ended(command_in(folder, known.words, bound_by_rights))
    folder.chmod(0o777)
    tally.tried, tally.hit = 1, int(code not in (0, 1))
    tally.faults += list(faults(known, folder, code))
    return tally


# ---------------------------------------------------------------------------------------------
# All of it


#: The property a command begins with, where it is not the one with a plan and a record.
BEGINS = {"plan": "bare", "upgrade": "old"}


def starts(folder: Path) -> None:
    """Make the properties: bare (imported only), own (planned, with a record), old (of an older version)."""
    for name in ("bare", "own", "old"):
        (folder / name).mkdir()
    path = folder / "bare" / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(folder))
    ran_well("set", path, "settings", WHOLE_LIME, "keeper=Steward")
    path = Path(shutil.copy(path, folder / "own"))
    entry = ("--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "50 lb", "--operator", "Kim")
    ran_well("plan", path)
    ran_well("record", path, *entry, "--on", str(TODAY), "--answer", "anything=yes")
    ran_well("plan", path)
    ran_well("set", path, "plot", "A-2", "notes=by the gate")
    words = {"name": "Cedar", "crop": "red clover", "yield_goal": "2 ton/acre", "seeding": "no"}
    more = [({"plot_id": f"B-{n}", **words}, [box(-93.04 + n / 500)]) for n in range(20)]
    geojson(path.with_name("more.geojson"), *more)
    shutil.copy(KEPT, folder / "old" / "own.gpkg")


def run(kills: int, seed: int, tell: Callable[[str], None]) -> Mapping[tuple[str, str], Tally]:
    """Try every command in every way; by way and command.

    Parameters
    ----------
    kills
        Kills in all, shared over the commands [count].
    seed
        Of the moments and of the room on the disk.
    tell
        Given a line as each command is done.
    """
    dice = random.Random(seed)
    found: dict[tuple[str, str], Tally] = {}
    each, more = divmod(kills, len(COMMANDS))
    _load_libraries()
    with tempfile.TemporaryDirectory(prefix="loamwright-kills-") as name:
        scratch = Path(name)
        scratch.chmod(0o755)
        made = in_a_child(lambda: int(starts(scratch) is not None))
        if ended(made) != 0:
            raise SystemExit("the properties could not be made")
        for number, (command, words) in enumerate(COMMANDS.items()):
            place = scratch / f"command-{number}"
            place.mkdir()
            known = learn(words, scratch / BEGINS.get(command, "own"), place)
            tries = each + (number < more)
            ways = {
                "killed": lambda k=known, p=place, t=tries: killed(k, p, t, dice),
                "full disk": lambda k=known, p=place, t=-(-tries // 4): full_disk(k, p, t, dice),
                "read-only file": lambda k=known, p=place: read_only(k, p, "file"),
                "read-only folder": lambda k=known, p=place: read_only(k, p, "folder"),
            }
            for way, go in ways.items():
                found[way, command] = go()
            tell(f"{command}: {'; '.join(f'{way} {found[way, command].tried}' for way in ways)}")
            shutil.rmtree(place, ignore_errors=True)
    return found


def _load_libraries() -> None:
    """Load what commands load, so that a copy of this process begins with its work."""
    import folium  # noqa: F401
    import geopandas  # noqa: F401
    import highspy  # noqa: F401
    import openpyxl  # noqa: F401
    import pyogrio  # noqa: F401
    import typst  # noqa: F401
    import xlsxwriter  # noqa: F401

    from loamwright import fieldmap, handoff, planning, season, upkeep  # noqa: F401
    from loamwright.commands import cli  # noqa: F401


def main() -> int:
    """Try, print the table, and end with 1 when anything was lost, half or left."""
    from rich.console import Console
    from rich.table import Table

    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--kills", type=int, default=570, help="kills in all, over all commands")
    reader.add_argument("--seed", type=int, default=1)
    options = reader.parse_args()
    screen = Console(stderr=True)
    began = time.monotonic()
    found = run(options.kills, options.seed, screen.print)
    table = Table("command", "way", "tried", "hit", "change there", "faults", title=str(TODAY))
    for (way, command), one in found.items():
        counts = (one.tried, one.hit, one.after, len(one.faults))
        table.add_row(command, way, *map(str, counts))
    print_all = Console(width=110)
    print_all.print(table)
    totals: dict[str, Counter[str]] = {}
    for (way, _), one in found.items():
        lost = sum("LOST" in fault for fault in one.faults)
        totals.setdefault(way, Counter()).update(
            tried=one.tried, hit=one.hit, lost=lost, other=len(one.faults) - lost
        )
    for way, count in totals.items():
        print_all.print(
            f"{way}: {count['tried']} tried, {count['hit']} hit, {count['lost']} confirmed changes lost, "
            f"{count['other']} half, unclear or left over"
        )
    for (way, command), one in found.items():
        for fault in one.faults[:5]:
            print_all.print(f"{command}, {way}: {fault}", markup=False)
    print_all.print(f"{time.monotonic() - began:.0f} s")
    return int(any(one.faults for one in found.values()))


if __name__ == "__main__":
    sys.exit(main())
