"""The property file: one GeoPackage that holds everything known about a property.

This file answers "how is a property kept, so that nothing confirmed is ever lost?". Every change is
one SQLite transaction with a rollback journal and full synchronisation: after a crash the file opens
with everything that was confirmed and nothing that was not. A second writer waits, then is told. The
record of applications is append-only, by triggers in the file itself. Any program that reads
GeoPackage opens the file; what stands in which column is `columns` and
``data/property_file/schema.sql``. Nothing here is worked out from the data.
"""

from __future__ import annotations

import datetime as dt
import re
import sqlite3
import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from loamwright.errors import InputError, Level, Problem, PropertyFileError
from loamwright.files import journal, things
from loamwright.files.columns import (
    APPLICATIONS,
    CALIBRATIONS,
    CROPPINGS,
    DECISIONS,
    KEEPOUTS,
    OFFERS,
    ORGANIC_INPUTS,
    PARTS,
    PLAN_COVERAGE,
    PLAN_LINES,
    PLAN_PURCHASES,
    PLOTS,
    PRODUCTS,
    PURCHASES,
    SOIL_READINGS,
    SPREADERS,
    WAYS,
    Layout,
    Sql,
    shape_of,
)
from loamwright.files.editor import Editor
from loamwright.files.held import NOT_READ, foreign_values, loose_rows_of, read_all
from loamwright.files.told_values import told
from loamwright.files.whole import write_new
from loamwright.land import crossing_of, same_shape
from loamwright.values import PropertyInfo
from loamwright.version import __version__
from loamwright.work import PropertyRecord

R = TypeVar("R")

#: Version of the tables this program writes.
SCHEMA_VERSION = 6

#: Schema version to the SQL file in ``data/property_file`` that brings it one version further.
UPGRADES: Mapping[int, str] = {step: f"upgrade-{step}-to-{step + 1}.sql" for step in range(1, SCHEMA_VERSION)}

#: How long a writer waits for another one [s].
WAIT_S = 10.0

_APPLICATION_ID = 0x47504B47  # "GPKG", OGC 12-128r17 requirement 2


# ---------------------------------------------------------------------------------------------
# Making and opening


def create(path: Path, info: PropertyInfo) -> None:
    """Make an empty property file.

    Parameters
    ----------
    path
        Where; must not exist. It appears whole or not at all.
    info
        Name, season and settings.

    Raises
    ------
    PropertyFileError
        When something is there already, or the place cannot be written to.
    """
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.executescript(_sql("schema.sql"))
        connection.execute("PRAGMA foreign_keys = ON")
        with _transaction(connection, "BEGIN IMMEDIATE"):
            connection.execute(
                "INSERT INTO loamwright (schema_version, made_by, property_uid) VALUES (?, ?, ?)",
                (SCHEMA_VERSION, __version__, uuid.uuid4().hex),
            )
            Editor(connection).put_info(info)
        write_new(path, connection.serialize())


def load(path: Path, ground_on: dt.date | None = None) -> PropertyRecord:
    """Read everything a property file holds, as of one moment.

    Parameters
    ----------
    path
        The property file. A file of an older version is copied, then brought up to date.
    ground_on
        The day whose ground is asked for: boundaries as they were on it, and the plots, keep-outs, ways,
        products and spreaders that were retired since. None = as it is.

    Returns
    -------
    PropertyRecord
        Each kind of record in the order it was first added.

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    with _opened(path, WAIT_S) as connection, _transaction(connection, "BEGIN"):
        return read_all(connection, ground_on)


@contextmanager
def edit(path: Path, command: str = "", by: str = "", wait_s: float = WAIT_S) -> Iterator[Editor]:
    """Open a property file for one change: all of it is kept, or, when anything fails, none.

    What changed is written into the journal in the same transaction.

    Parameters
    ----------
    path
        The property file. A file of an older version is copied, then brought up to date.
    command
        What makes the change, for the journal: ``"set plot AF-03"``.
    by
        Who; empty = the keeper that the settings name.
    wait_s
        How long to wait for another program that is writing [s].

    Yields
    ------
    Editor
        Its methods write; leaving the block confirms.

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged, or when a
        record refers to something the file does not hold.
    """
    with _opened(path, wait_s) as connection, _transaction(connection, "BEGIN IMMEDIATE"):
        _refuse_foreign(connection)
        with _one_change(connection, command, by) as editor:
            yield editor


@contextmanager
def _one_change(connection: sqlite3.Connection, command: str, by: str, uid: str = "") -> Iterator[Editor]:
    """Write what is changed into the journal as one change."""
    editor = Editor(connection)
    with journal.watching(connection) as watched:
        yield editor
    keeper = connection.execute("SELECT keeper FROM property").fetchone()
    who = by or (keeper["keeper"] if keeper else "")
    now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
    editor.change_id = journal.write(connection, watched.rows(), now, who, command, editor.undoes, uid)


@contextmanager
def take_over(path: Path, changes: Sequence[journal.Change], by: str) -> Iterator[Editor]:
    """Do here what changes of another copy did there, each as a change of its own: all of them, or none.

    Parameters
    ----------
    path
        This copy.
    changes
        From the other copy's journal, one or more, oldest first.
    by
        Who; empty = who made each of them.

    Yields
    ------
    Editor
        Of the last one; leaving the block confirms.

    Raises
    ------
    InputError
        When this file is not as that one was; nothing was changed.
    PropertyFileError
        As for `edit`.
    """
    with _opened(path, WAIT_S) as connection, _transaction(connection, "BEGIN IMMEDIATE"):
        _refuse_foreign(connection)
        for change in changes:
            named = f"take over: {change.command}"
            with _one_change(connection, named, by or change.made_by, change.uid) as editor:
                editor.take_over(change)
        yield editor


def _refuse_foreign(connection: sqlite3.Connection) -> None:
    """Write nothing into a file whose own triggers would run: they may be anybody's."""
    foreign = journal.foreign_parts(connection)
    if foreign:
        raise PropertyFileError(
            f"it holds {', '.join(foreign)}, which loamwright did not make and does not run; another program "
            "put it there: take it out there, or with the option `mend` of check, which copies it first"
        )


def _sql(name: str) -> str:
    return resources.files("loamwright").joinpath("data", "property_file", name).read_text(encoding="utf-8")


@contextmanager
def _opened(path: Path, wait_s: float) -> Iterator[sqlite3.Connection]:
    """A connection to a checked, up-to-date property file; SQLite's errors become ours, which name it."""
    try:
        _check_outside(path)
        with closing(
            sqlite3.connect(
                f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=wait_s, isolation_level=None
            )
        ) as connection:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA synchronous = FULL")
            version = _version(connection)
            if version < SCHEMA_VERSION:
                _upgrade(path, connection, version)
            yield connection
    except sqlite3.IntegrityError as error:
        raise PropertyFileError(
            f"nothing was changed: {error}; a record refers to a plot, test or product that the "
            "file does not hold, or contradicts what is there",
            str(path),
        ) from error
    except (sqlite3.Error, UnicodeDecodeError) as error:  # the latter where a name in the schema is no text
        raise PropertyFileError(_why(error, wait_s), str(path)) from error
    except PropertyFileError as error:
        raise PropertyFileError(error.what, str(path)) from error


def read_journal(path: Path) -> tuple[journal.Change, ...]:
    """Read every change made to a property file, oldest first.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    tuple of journal.Change

    Raises
    ------
    PropertyFileError
        As for `load`.
    """
    with _opened(path, WAIT_S) as connection, _transaction(connection, "BEGIN"):
        return journal.read(connection)


def units_of(path: Path) -> str:
    """Read the unit system of a property, whatever else stands in its file.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    str
        ``"us"`` or ``"metric"``.

    Raises
    ------
    PropertyFileError
        When it is no property file of this version.
    """
    with _opened(path, WAIT_S) as connection:
        return _units(connection)


def _units(connection: sqlite3.Connection) -> str:
    found = connection.execute("SELECT units FROM property").fetchone()
    return "metric" if found and found[0] == "metric" else "us"


def differences(path: Path, other: Path) -> journal.Difference:
    """Hold two copies of one property against each other by their journals.

    Parameters
    ----------
    path, other
        This copy, and the other one.

    Returns
    -------
    journal.Difference

    Raises
    ------
    PropertyFileError
        When they are not copies of one property, or as for `load`.
    """
    here, there = load(path), load(other)
    if here.property_uid != there.property_uid:
        raise PropertyFileError(
            f"it is a copy of another property ({there.info.name!r}, not {here.info.name!r}); only copies "
            "of one property can be held against each other",
            str(other),
        )
    return journal.differences(read_journal(path), read_journal(other))


def backup(path: Path, folder: Path, today: dt.date) -> Path:
    """Make a dated copy of a property file and check it.

    Parameters
    ----------
    path
        The property file.
    folder
        Where; must exist.
    today
        Put into the name.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    PropertyFileError
        When the copy cannot be made, or is not whole.
    """
    target = _dated_copy(path, folder, today)
    load(target)
    return target


def _dated_copy(path: Path, folder: Path, today: dt.date) -> Path:
    """Copy a file that SQLite can read, whatever stands in it."""
    stem = f"{path.stem}.{today.isoformat()}"
    target = folder / f"{stem}{path.suffix}"
    number = 2
    while target.exists():
        target, number = folder / f"{stem}-{number}{path.suffix}", number + 1
    with _opened(path, WAIT_S) as connection:
        with _transaction(connection, "BEGIN"):
            whole = connection.execute("PRAGMA integrity_check").fetchone()[0]
            if whole != "ok":
                raise PropertyFileError(f"the file is not whole ({whole}); run `check` on it")
            content = connection.serialize()
        write_new(target, content)
    return target


def _loose_corrections(path: Path, connection: sqlite3.Connection) -> Iterator[Problem]:
    """Name entries that correct one that is not there, or themselves."""
    rows = loose_rows_of(connection, "applications")
    there = {row["entry_id"] for row in rows}
    for row in rows:
        if row["replaces"] and (row["replaces"] not in there or row["replaces"] == row["entry_id"]):
            what = f"it corrects {row['replaces']!r}, which is no other entry of the record"
            where = f"{path.name}, applications, {_called('applications', row)}"
            yield Problem(where, what, "Look whether it counts as it should.", Level.WARNING)


def _is_withdrawn(connection: sqlite3.Connection, row: Mapping[str, Any]) -> bool:
    """Tell whether another entry stands in the place of one."""
    taken = "SELECT 1 FROM applications WHERE replaces = ?"
    return connection.execute(taken, (str(row["entry_id"]),)).fetchone() is not None


def _withdraw(connection: sqlite3.Connection, row: Mapping[str, Any], today: dt.date) -> None:
    """Add an entry that takes one back which cannot be read: the record itself is never changed."""
    entry = str(row["entry_id"])
    now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
    stated = {
        **{name: "" for name, value in row.items() if isinstance(value, str)},
        "entry_id": f"{entry}-withdrawn",
        "plot_id": row["plot_id"],
        "product": row["product"],
        "done": "done",
        "applied_on": today.isoformat(),
        "mass_kg": 0.0,
        "timing": None,
        "cost": None,
        "reason": "it could not be read",
        "replaces": entry,
        "recorded_at": now,
        "withdrawn": 1,
        "plan_id": None,
        "job_id": None,
        "report_id": None,
    }
    marks = ", ".join("?" * len(stated))
    into = f"INSERT INTO applications ({', '.join(stated)}) VALUES ({marks})"
    with _one_change(connection, f"withdraw {entry}, which cannot be read", ""):
        connection.execute(into, tuple(stated.values()))


def _called(table: str, row: Mapping[str, Any]) -> str:
    """Name a row by its key, as people know it."""
    key = " ".join(str(row[column]) for column in journal.TABLES.get(table, ()) if column in row)
    return f"{key} (row {row['fid']})" if key else f"row {row['fid']}"


#: Tables that `check_property` reads row by row; the others are read whole.
_CHECKED: tuple[Layout[Any], ...] = (
    *(PLOTS, PARTS, WAYS, CROPPINGS, KEEPOUTS, ORGANIC_INPUTS, PRODUCTS, OFFERS, PURCHASES, DECISIONS),
    *(PLAN_LINES, PLAN_PURCHASES, PLAN_COVERAGE, APPLICATIONS, CALIBRATIONS, SPREADERS, SOIL_READINGS),
)


def _means_the_same(column: str, one: Sql, other: Sql) -> bool:
    """Tell whether two stored values mean the same: a shape may have been written anew by another program."""
    if isinstance(one, bytes) and isinstance(other, bytes) and one != other:
        try:
            return same_shape(shape_of(one), shape_of(other))
        except PropertyFileError:
            return False
    return one == other or column in ("area_m2", "boundary_since")


def _rows_outside(connection: sqlite3.Connection) -> tuple[journal.RowChange, ...]:
    return journal.changed_outside(connection, _means_the_same, _came_later())


@cache
def _came_later() -> frozenset[tuple[str, str]]:
    """Return the columns, by table and name, that are younger than the journal, which came with version 2."""
    added = re.compile(r"ALTER TABLE (\w+) ADD COLUMN (\w+)")
    steps = (_sql(name) for step, name in UPGRADES.items() if step > 1)
    return frozenset(found for text in steps for found in added.findall(text))


def settle_outside(path: Path, keep: bool, today: dt.date, by: str) -> int:
    """Settle what another program changed in a property: keep it as a change of the journal, or put it back.

    Parameters
    ----------
    path
        The property file.
    keep
        True takes what stands there into the journal, as a change that can be undone; a boundary is kept like
        one that is redrawn, with the one before. False puts back what the journal left, as a change too: what
        the other program wrote stays readable in it.
    today
        Date of the copy that is made first, where something differs.
    by
        Who; empty = the keeper that the settings name.

    Returns
    -------
    int
        Number of the change; 0 when nothing differed.

    Raises
    ------
    InputError
        When a row is missing that is to be kept so, or cannot be put back; nothing was changed.
    PropertyFileError
        As for `edit`.
    """
    if not changed_outside(path):
        return 0
    _dated_copy(path, path.parent, today)
    with _opened(path, WAIT_S) as connection, _transaction(connection, "BEGIN IMMEDIATE"):
        _refuse_foreign(connection)
        connection.execute("PRAGMA defer_foreign_keys = ON")
        rows = _rows_outside(connection)
        if not keep:
            with _one_change(connection, "put back what another program changed", by) as editor:
                _put_back(connection, rows)
            return editor.change_id
        _refuse_to_keep(rows)
        _put_back(connection, rows)
        with _one_change(connection, "keep what another program changed", by) as editor:
            for row in rows:
                fields = dict(row.fields)
                is_redrawn = row.table == "plots" and row.kind == journal.CHANGED
                _, boundary = fields.pop("boundary", (None, None)) if is_redrawn else (None, None)
                if isinstance(boundary, bytes):
                    editor.put_boundary(str(row.key[0]), shape_of(boundary))
                if fields:
                    journal.apply(connection, replace(row, fields=fields), forward=True)
        return editor.change_id


def _put_back(connection: sqlite3.Connection, rows: Sequence[journal.RowChange]) -> None:
    """Write what the journal left over what another program changed."""
    problems = [
        Problem(row.name, f"it cannot be put back: {fault}", "Correct it by hand.")
        for row in rows
        if (fault := journal.apply(connection, row, forward=False))
    ]
    if problems:
        raise InputError(problems)


def _refuse_to_keep(rows: Sequence[journal.RowChange]) -> None:
    """Refuse what no change of this program would do: take a row out, or cross a boundary."""
    problems = []
    for row in rows:
        if row.kind == journal.REMOVED:
            what = "another program took it out, and nothing is ever taken out of a property"
            problems.append(Problem(row.name, what, "Put it back with check: `restore`; then retire it."))
        elif crossed := _crosses(row):
            fix = "Mend it there, or put it back with check: `restore`."
            problems.append(Problem(row.name, crossed, fix))
    if problems:
        raise InputError(problems)


def _crosses(row: journal.RowChange) -> str:
    """Say where a boundary that another program drew crosses itself; empty where none does."""
    _, boundary = row.fields.get("boundary", (None, None)) if row.table == "plots" else (None, None)
    place = crossing_of(shape_of(boundary)) if isinstance(boundary, bytes) else None
    return "" if place is None else f"its boundary crosses itself near {place[1]:.5f}, {place[0]:.5f}"


def changed_outside(path: Path) -> tuple[Problem, ...]:
    """Name what another program changed in a property.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    tuple of Problem
        Empty when everything stands as the journal left it.

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    with _opened(path, WAIT_S) as connection:
        return tuple(_outside(path, connection))


def _outside(path: Path, connection: sqlite3.Connection) -> Iterator[Problem]:
    """Name what another program changed, in words."""
    units = _units(connection)
    fix = "Keep it as a change with check: `accept`, or put back what was there with check: `restore`."
    for row in _rows_outside(connection):
        if row.kind == journal.ADDED:
            yield Problem(f"{path.name}, {row.name}", "another program added it", fix, Level.WARNING)
            continue
        if row.kind == journal.REMOVED:
            what = "another program took it out"
            yield Problem(
                f"{path.name}, {row.name}", what, "Put it back with check: `restore`.", Level.WARNING
            )
            continue
        for column, (before, now) in row.fields.items():
            name, was = told(column, before, units)
            what = f"another program changed its {name}: {was} → {told(column, now, units)[1]}"
            yield Problem(f"{path.name}, {row.name}", what, fix, Level.WARNING)


def check_property(path: Path, mend: bool, today: dt.date) -> tuple[Problem, ...]:
    """Read a whole property file and name what is wrong with it.

    Parameters
    ----------
    path
        The property file.
    mend
        True takes out triggers and views that are not ours, and withdraws entries that cannot be read, each
        as a change of the journal; after a dated copy.
    today
        Date of that copy.

    Returns
    -------
    tuple of Problem
        Empty when everything is as this program writes it.
    """
    if mend:
        _dated_copy(path, path.parent, today)
    found: list[Problem] = []
    restore = "Restore it from a copy, or correct it in the program that changed it."
    with _opened(path, WAIT_S) as connection:
        foreign = journal.foreign_parts(connection)
        for name in foreign:
            if mend:
                kind, _, word = name.partition(" ")
                quoted = word.replace('"', '""')
                connection.execute(f'DROP {kind} "{quoted}"')
            what = f"it holds the {name}, which loamwright did not make" + (
                " and has taken out" if mend else ""
            )
            fix = "Nothing more to do." if mend else "Take it out with check: `mend`."
            found.append(Problem(path.name, what, fix, Level.NOTE if mend else Level.WARNING))
        with _transaction(connection, "BEGIN"):
            for row in connection.execute("PRAGMA integrity_check").fetchall():
                if row[0] != "ok":
                    found.append(Problem(path.name, f"damaged: {row[0]}", restore))
            for table, rowid, parent, _ in connection.execute("PRAGMA foreign_key_check").fetchall():
                what = f"row {rowid} of {table} belongs to a row of {parent} that is not there"
                found.append(Problem(f"{path.name}, {table}", what, restore))
            names = {
                row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            }
            for name in sorted(journal.OWN_TRIGGERS - names):
                what = f"its trigger {name}, which keeps the record append-only, is gone"
                found.append(Problem(path.name, what, restore))
            for layout in _CHECKED:
                try:
                    rows = loose_rows_of(connection, layout.table)
                    foreign_held = list(foreign_values(connection, layout.table, rows))
                except sqlite3.Error as error:
                    found.append(Problem(f"{path.name}, {layout.table}", str(error), restore))
                    continue
                for row, fault in foreign_held:
                    where = f"{path.name}, {layout.table}, {_called(layout.table, row)}"
                    what, fix, level = f"it holds what cannot be read: {fault}", restore, Level.ERROR
                    if layout is APPLICATIONS:
                        fix = "Withdraw it with check: `mend`; what was really put on is then recorded anew."
                        withdrawn = _is_withdrawn(connection, row)
                        if mend and not withdrawn:
                            _withdraw(connection, row, today)
                        if mend or withdrawn:
                            what = f"{what}; it is withdrawn"
                            level = Level.NOTE if withdrawn else Level.WARNING
                            fix = "Record what was really put on."
                    found.append(Problem(where, what, fix, level))
                named = {row["fid"] for row, _ in foreign_held}
                for row in rows:
                    if row["fid"] in named:
                        continue
                    try:
                        layout.record_of(row)
                    except (PropertyFileError, *NOT_READ) as error:
                        what = error.what if isinstance(error, PropertyFileError) else str(error)
                        found.append(Problem(f"{path.name}, {layout.table}, row {row['fid']}", what, restore))
            found.extend(_loose_corrections(path, connection))
            try:
                found.extend(_outside(path, connection))
            except PropertyFileError as error:
                found.append(Problem(f"{path.name}, changes", error.what, restore))
            try:
                record = read_all(connection)
            except PropertyFileError as error:
                found.append(Problem(path.name, error.what, restore))
            else:
                found.extend(record.problems)
                found.extend(things.impossible_values(record))
    return tuple(dict.fromkeys(found))


def _why(error: Exception, wait_s: float) -> str:
    text = str(error)
    if "locked" in text or "busy" in text:
        return (
            f"another program is writing to it and did not finish within {wait_s:g} s, nothing was changed; "
            "close the file there, or try again"
        )
    if "readonly" in text:
        return "the file is read-only, nothing was changed; make it writable, or work on a copy"
    if "disk is full" in text:
        return "the disk is full, nothing was changed; make room and try again"
    return f"the file is damaged or cannot be used ({text}); restore it from a copy"


def _check_outside(path: Path) -> None:
    """Refuse, from outside, what cannot be a property file."""
    if path.is_dir():
        raise PropertyFileError("it is a directory; name the property file in it (.gpkg)")
    try:
        with path.open("rb") as handle:
            start = handle.read(16)
    except FileNotFoundError as error:
        what = f"there is no file of this name; make one with: loamwright new {path}"
        raise PropertyFileError(what) from error
    except OSError as error:
        raise PropertyFileError(f"it cannot be read: {error.strerror}; check its permissions") from error
    if not start:
        raise PropertyFileError("it is empty (0 bytes); restore a copy, or delete it and make a new one")
    if start != b"SQLite format 3\x00":
        raise PropertyFileError(
            "it is not a property file; boundaries and tables come in with: loamwright import"
        )


def _version(connection: sqlite3.Connection) -> int:
    """The schema version of the file, or a refusal when it is not ours or newer."""
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if "loamwright" not in tables or "gpkg_contents" not in tables:
        kind = "GeoPackage" if "gpkg_contents" in tables else "SQLite database"
        raise PropertyFileError(
            f"it is a {kind} that loamwright did not make; bring its layers in with: loamwright import"
        )
    row = connection.execute("SELECT schema_version, made_by FROM loamwright").fetchone()
    if row is None or not isinstance(row["schema_version"], int) or row["schema_version"] < 1:
        told = "" if row is None else f" (it says {str(row['schema_version'])[:40]!r})"
        raise PropertyFileError(f"it does not say its version{told}; restore it from a copy")
    if row["schema_version"] > SCHEMA_VERSION:
        raise PropertyFileError(
            f"it has schema version {row['schema_version']} (made by loamwright {row['made_by']}), and "
            f"this program knows up to {SCHEMA_VERSION}; install a newer loamwright"
        )
    return int(row["schema_version"])


def _upgrade(path: Path, connection: sqlite3.Connection, version: int) -> None:
    """Copy the file beside itself, then bring it up to date step by step in one transaction."""
    _copy_before_upgrade(path, connection, version)
    with _transaction(connection, "BEGIN IMMEDIATE"):
        # Another program may have been faster.
        for step in range(_version(connection), SCHEMA_VERSION):
            for statement in _statements(_sql(UPGRADES[step])):
                connection.execute(statement)
            connection.execute("UPDATE loamwright SET schema_version = ?", (step + 1,))


def _copy_before_upgrade(path: Path, connection: sqlite3.Connection, version: int) -> None:
    stem = f"{path.stem}.version-{version}.{dt.date.today().isoformat()}"  # noqa: DTZ011
    for suffix in ("", *(f"-{number}" for number in range(2, 1000))):
        target = path.with_name(f"{stem}{suffix}{path.suffix}")
        if not target.exists():
            write_new(target, connection.serialize())
            return


def _statements(script: str) -> Iterator[str]:
    """Split a script into statements: ``executescript`` would end the transaction they belong to."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


@contextmanager
def _transaction(connection: sqlite3.Connection, begin: str) -> Iterator[None]:
    connection.execute(begin)
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
