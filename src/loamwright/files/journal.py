"""The journal of a property file: every change as values, taking one back, taking one over.

This file answers "who changed what, when, and can it be taken back?". While a file is being changed,
temporary triggers hand every row before and after to this program; what differs is written beside the
change, in the same transaction, as values: table, key of the row, field, before, after. No statement is
stored. Taking back builds its own parametrised statements from those values, against tables and columns
of ours only, because the file may be somebody else's. Nothing is ever pruned.
"""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import MappingProxyType

from loamwright.errors import InputError, Problem, PropertyFileError
from loamwright.units import ACRE_M2

#: What SQLite stores.
Sql = str | int | float | bytes | None

#: Tables whose changes are kept, and the columns that tell one row from another for ever.
TABLES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "property": ("fid",),
        "surplus_limits": ("supply",),
        "spreaders": ("name",),
        "plots": ("plot_key",),
        "plot_aliases": ("alias",),
        "plot_boundaries": ("plot_id", "until", "area_m2"),
        "plot_parts": ("part_id",),
        "ways": ("way_id",),
        "croppings": ("plot_id", "season", "position"),
        "keepouts": ("keepout_id",),
        "soil_tests": ("test_id",),
        "soil_readings": ("test_id", "element"),
        "lab_rates": ("test_id", "nutrient"),
        "organic_inputs": ("input_id",),
        "products": ("product",),
        "offers": ("offer_id",),
        "purchases": ("purchase_id",),
        "decisions": ("decision_id",),
        "checklist": ("number", "plot_id"),
        "kept_editions": ("edition", "file"),
        "plans": ("plan_id",),
        "applications": ("entry_id",),
        "calibrations": ("calibration_id",),
    }
)

#: Tables whose rows are withdrawn or retired, never taken out again.
KEPT_FOR_EVER = frozenset({"plans", "applications", "purchases", "calibrations"})

#: What a GIS opens as layers of a map, and can draw in.
MAP_LAYERS = ("plots", "keepouts", "ways")

#: What people call a row of a table.
NOUNS: Mapping[str, str] = MappingProxyType(
    {
        "property": "settings",
        "surplus_limits": "surplus limit",
        "spreaders": "spreader",
        "plots": "plot",
        "plot_aliases": "former name",
        "plot_boundaries": "former boundary",
        "plot_parts": "part",
        "ways": "way",
        "croppings": "cropping",
        "keepouts": "keep-out",
        "soil_tests": "soil test",
        "soil_readings": "reading",
        "lab_rates": "lab rate",
        "organic_inputs": "organic input",
        "products": "product",
        "offers": "offer",
        "purchases": "purchase",
        "decisions": "decision",
        "checklist": "checklist entry",
        "kept_editions": "guideline file",
        "plans": "plan",
        "applications": "application",
        "calibrations": "spreader test",
    }
)

ADDED, CHANGED, REMOVED = "added", "changed", "removed"

#: Columns that follow from others or are the file's own business.
_SILENT = frozenset({"fid", "area_acres"})


@dataclass(frozen=True, slots=True)
class RowChange:
    """What one change did to one row.

    Parameters
    ----------
    table, key
        Which row; `key` holds the values of the columns in `TABLES`.
    kind
        ``"added"``, ``"changed"`` or ``"removed"``.
    fields
        Column to its value before and after; all columns of a row that was added or removed.
    """

    table: str
    key: tuple[Sql, ...]
    kind: str
    fields: Mapping[str, tuple[Sql, Sql]]

    @property
    def name(self) -> str:
        """What people call the row: ``"soil test T-7"``."""
        noun = NOUNS.get(self.table, self.table)
        return noun if self.table == "property" else f"{noun} {' '.join(str(part) for part in self.key)}"


@dataclass(frozen=True, slots=True)
class Change:
    """One change: all that one command or one page did to the file.

    Parameters
    ----------
    change_id, uid
        Number in this file; id that is the same in every copy.
    made_at, made_by, command
        When, who, by which command or page.
    undoes
        Number of the change this one takes back, or None.
    rows
        What it did.
    """

    change_id: int
    uid: str
    made_at: str
    made_by: str
    command: str
    undoes: int | None = None
    rows: tuple[RowChange, ...] = ()

    def __str__(self) -> str:
        by = f", by {self.made_by}" if self.made_by else ""
        return f"change {self.change_id} ({self.made_at}{by}, {self.command})"


@dataclass(slots=True)
class Watched:
    """Rows seen changing, gathered while `watching`."""

    before: dict[tuple[str, tuple[Sql, ...]], dict[str, Sql] | None] = field(default_factory=dict)
    after: dict[tuple[str, tuple[Sql, ...]], dict[str, Sql] | None] = field(default_factory=dict)

    def rows(self) -> tuple[RowChange, ...]:
        """Return what differs in the end, row by row.

        Returns
        -------
        tuple of RowChange
            Nothing for a row that was taken out and put back as it was.
        """
        found = []
        for place, old in self.before.items():
            new = self.after[place]
            if old is None and new is None:
                continue
            kind = ADDED if old is None else REMOVED if new is None else CHANGED
            columns = dict.fromkeys((*(old or {}), *(new or {})))
            fields = {
                column: ((old or {}).get(column), (new or {}).get(column))
                for column in columns
                if column not in _SILENT
            }
            if kind == CHANGED:
                fields = {name: pair for name, pair in fields.items() if not _same(*pair)}
            else:
                fields = {name: pair for name, pair in fields.items() if pair != (None, None)}
            if fields:
                found.append(RowChange(place[0], place[1], kind, fields))
        return tuple(found)


def _same(one: Sql, other: Sql) -> bool:
    return one == other and isinstance(one, bytes) == isinstance(other, bytes)


def columns_of(connection: sqlite3.Connection, table: str) -> tuple[str, ...]:
    """Return the columns a table really has."""
    return tuple(row[1] for row in connection.execute(f'PRAGMA table_info("{table}")'))


@contextmanager
def watching(connection: sqlite3.Connection) -> Iterator[Watched]:
    """Gather every row that changes on this connection, by temporary triggers.

    They are made inside the open transaction and see upserts and cascades, with nothing asked of the code
    that writes.
    """
    watched = Watched()
    layouts = {table: columns_of(connection, table) for table in TABLES}
    pending: list[tuple[str, dict[str, Sql]]] = []

    def seen(table: str, stage: str, *values: Sql) -> None:
        row = dict(zip(layouts[table], values, strict=True))
        if stage == "old":
            pending.append((table, row))
            return
        old = pending.pop()[1] if stage != "inserted" else None
        new = None if stage == "deleted" else row
        for content in (old, new):
            if content is not None:
                place = (table, tuple(content[column] for column in TABLES[table]))
                watched.before.setdefault(place, old if content is old else None)
                watched.after[place] = new if content is new else None

    connection.create_function("loamwright_seen", -1, seen)
    for table, columns in layouts.items():
        old, new = (", ".join(f'{row}."{name}"' for name in columns) for row in ("OLD", "NEW"))
        note = f"SELECT loamwright_seen('{table}', '{{}}', {{}});"
        bodies = {
            "INSERT": note.format("inserted", new),
            "UPDATE": note.format("old", old) + note.format("updated", new),
            "DELETE": note.format("old", old) + note.format("deleted", old),
        }
        for event, body in bodies.items():
            trigger = f'temp."seen_{table}_{event}"'
            connection.execute(
                f'CREATE TEMP TRIGGER {trigger[5:]} AFTER {event} ON main."{table}" BEGIN {body} END'
            )
    try:
        yield watched
    finally:
        for table in layouts:
            for event in ("INSERT", "UPDATE", "DELETE"):
                connection.execute(f'DROP TRIGGER IF EXISTS temp."seen_{table}_{event}"')


def write(
    connection: sqlite3.Connection,
    rows: Sequence[RowChange],
    made_at: str,
    made_by: str,
    command: str,
    undoes: int | None = None,
    uid: str = "",
) -> int:
    """Write a change into the journal and return its number; nothing when no row differs (0)."""
    if not rows:
        return 0
    uid = uid or uuid.uuid4().hex
    done = connection.execute(
        "INSERT INTO changes (made_at, made_by, command, undoes, uid) VALUES (?, ?, ?, ?, ?)",
        (made_at, made_by, command, undoes, uid),
    )
    change_id = done.lastrowid or 0
    connection.executemany(
        "INSERT INTO change_values (change_id, table_name, row_key, kind, field, before, after) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (change_id, row.table, _key_text(row.key), row.kind, name, before, after)
            for row in rows
            for name, (before, after) in row.fields.items()
        ],
    )
    return change_id


def _key_text(key: Sequence[Sql]) -> str:
    return json.dumps(list(key), ensure_ascii=False)


def _key_of(text: str) -> tuple[Sql, ...]:
    try:
        key = json.loads(text)
    except (ValueError, TypeError):
        key = None
    if not isinstance(key, list):
        raise PropertyFileError(
            f"its journal names a row by {text!r}, which is no key; restore it from a copy"
        )
    return tuple(key)


def read(connection: sqlite3.Connection, numbers: Iterable[int] | None = None) -> tuple[Change, ...]:
    """Read the journal, oldest first; only some changes when their numbers are given.

    Raises `PropertyFileError` when a row of it cannot be read.
    """
    wanted = None if numbers is None else frozenset(numbers)
    rows: dict[int, dict[tuple[str, str, str], dict[str, tuple[Sql, Sql]]]] = {}
    heads = connection.execute(
        "SELECT change_id, uid, made_at, made_by, command, undoes FROM changes ORDER BY change_id"
    ).fetchall()
    query = (
        "SELECT change_id, table_name, row_key, kind, field, before, after FROM change_values ORDER BY fid"
    )
    for number, table, key, kind, name, before, after in connection.execute(query):
        if wanted is None or number in wanted:
            rows.setdefault(number, {}).setdefault((table, key, kind), {})[name] = (before, after)
    return tuple(
        Change(
            number,
            uid,
            made_at,
            made_by,
            command,
            undoes,
            tuple(
                RowChange(table, _key_of(key), kind, fields)
                for (table, key, kind), fields in rows.get(number, {}).items()
            ),
        )
        for number, uid, made_at, made_by, command, undoes in heads
        if wanted is None or number in wanted
    )


def changed_outside(
    connection: sqlite3.Connection,
    same: Callable[[str, Sql, Sql], bool],
    came_later: Collection[tuple[str, str]],
) -> tuple[RowChange, ...]:
    """Find what stands otherwise than the journal left it: what another program changed.

    `same` tells of a column's value there and here whether they mean the same. Only what the journal speaks
    of is held against the file: a row that was there before the journal began, and never changed, is not.
    Of a row that it saw made, what it does not name was blank: unless its column, by table and name, is among
    those that `came_later`, with a newer version of the file.
    """
    made: set[tuple[str, tuple[Sql, ...]]] = set()
    left: dict[tuple[str, tuple[Sql, ...]], dict[str, Sql] | None] = {}
    for change in read(connection):
        for row in change.rows:
            after = {name: pair[1] for name, pair in row.fields.items()}
            place = (row.table, row.key)
            left[place] = None if row.kind == REMOVED else {**(left.get(place) or {}), **after}
            if row.kind == ADDED:
                made.add(place)
    found = []
    for (table, key), row_left in left.items():
        if table not in TABLES or row_left is None:
            continue
        where = " AND ".join(f'"{name}" IS ?' for name in TABLES[table])
        held = connection.execute(f'SELECT * FROM "{table}" WHERE {where}', key).fetchone()
        if held is None:
            gone = {name: (value, None) for name, value in row_left.items() if value is not None}
            found.append(RowChange(table, key, REMOVED, gone))
            continue
        row_held = dict(held)
        if (table, key) in made:
            names = (n for n in row_held if n not in _SILENT and (table, n) not in came_later)
            row_left = dict.fromkeys(names, None) | row_left
        fields = {
            name: (value, row_held[name])
            for name, value in row_left.items()
            if name in row_held and not same(name, value, row_held[name])
        }
        if fields:
            found.append(RowChange(table, key, CHANGED, fields))
    for table in MAP_LAYERS:
        found.extend(_added_outside(connection, table, left))
    return tuple(found)


def _added_outside(
    connection: sqlite3.Connection, table: str, left: Mapping[tuple[str, tuple[Sql, ...]], object]
) -> Iterator[RowChange]:
    """Rows of a map layer that the journal does not know, later than one it knows.

    Rows of a file that is older than its journal are not in it either, and have lower numbers.
    """
    rows = [dict(row) for row in connection.execute(f'SELECT * FROM "{table}" ORDER BY fid')]
    keys = [tuple(row[name] for name in TABLES[table]) for row in rows]
    known = [row["fid"] for row, key in zip(rows, keys, strict=True) if (table, key) in left]
    for row, key in zip(rows, keys, strict=True):
        if known and (table, key) not in left and row["fid"] > min(known):
            stated = {name: (None, value) for name, value in row.items() if name not in _SILENT}
            yield RowChange(table, key, ADDED, stated)


# ---------------------------------------------------------------------------------------------
# Taking back, taking over


def change_to_undo(connection: sqlite3.Connection, change_id: int | None) -> Change:
    """Find the change to take back: the one named, or the newest that stands and is no undo itself."""
    changes = read(connection)
    undone = _undone(changes)
    if change_id is None:
        open_ones = [c for c in changes if c.change_id not in undone and c.undoes is None]
        if not open_ones:
            raise InputError([Problem("undo", "there is no change to take back", "See `changes`.")])
        return open_ones[-1]
    found = next((change for change in changes if change.change_id == change_id), None)
    if found is None:
        span = f"1 to {changes[-1].change_id}" if changes else "none yet"
        what = f"there is no change {change_id}"
        raise InputError([Problem("undo", what, f"The journal holds {span}; see `changes`.")])
    if change_id in undone:
        by = next(c for c in reversed(changes) if c.undoes == change_id)
        what = f"change {change_id} is taken back already, by {by}"
        raise InputError([Problem("undo", what, f"To have it again, take back change {by.change_id}.")])
    return found


def _undone(changes: Sequence[Change]) -> set[int]:
    """Numbers of changes that are taken back; an undo that is taken back itself counts for nothing."""
    undone: set[int] = set()
    for change in reversed(changes):
        if change.undoes is not None and change.change_id not in undone:
            undone.add(change.undoes)
    return undone


def undo(connection: sqlite3.Connection, change: Change) -> tuple[RowChange, ...]:
    """Take a change back, row by row, from its values.

    Returns the added rows of tables that keep theirs for ever; withdrawing them is the caller's. What they
    belong to and came with them (the product of a purchase) stays as well.

    Raises `InputError`, and names the later change, when one was built on it.
    """
    kept = tuple(row for row in change.rows if row.table in KEPT_FOR_EVER and row.kind == ADDED)
    problems = []
    connection.execute("PRAGMA defer_foreign_keys = ON")
    staying = {(row.table, row.key) for row in (*kept, *_parents(connection, change, kept))}
    for row in reversed(change.rows):
        if (row.table, row.key) in staying:
            continue
        fault = apply(connection, row, forward=False)
        if fault:
            problems.append(_built_on(connection, change, row, fault))
    problems.extend(_left_hanging(connection, change))
    if problems:
        raise InputError(problems)
    return kept


def _parents(
    connection: sqlite3.Connection, change: Change, rows: Sequence[RowChange]
) -> Iterator[RowChange]:
    """Rows added by the same change that others belong to, and those that these belong to."""
    for row in rows:
        for link in connection.execute(f'PRAGMA foreign_key_list("{row.table}")').fetchall():
            _, _, parent, child_column, parent_column = tuple(link)[:5]
            _, value = row.fields.get(child_column, (None, None))
            found = [
                one
                for one in change.rows
                if (one.table, one.kind) == (parent, ADDED)
                and value is not None
                and one.fields.get(parent_column, (None, None))[1] == value
            ]
            yield from found
            yield from _parents(connection, change, found)


def take_over(connection: sqlite3.Connection, change: Change) -> None:
    """Do to this file what a change of another copy did to that one; refuse where the two differ."""
    problems = []
    connection.execute("PRAGMA defer_foreign_keys = ON")
    for row in change.rows:
        fault = apply(connection, row, forward=True)
        if fault:
            what = f"{row.name} is not here as it was there: {fault}"
            problems.append(Problem(f"change {change.uid[:8]}", what, "Make this change by hand."))
    hanging = connection.execute("PRAGMA foreign_key_check").fetchall()
    problems.extend(
        Problem(
            f"change {change.uid[:8]}",
            f"its {NOUNS.get(row[0], row[0])} belongs to a {NOUNS.get(row[2], row[2])} that is not here",
            "Take over the change that added it first.",
        )
        for row in hanging
    )
    if problems:
        raise InputError(dict.fromkeys(problems))


#: Why a change of an older version, or of a table that is not ours, is not taken back.
_NOT_KEPT = "this version keeps no such thing any more"
_NOT_OURS = "the journal names a table this program does not know"


def apply(connection: sqlite3.Connection, row: RowChange, forward: bool) -> str:
    """Do or take back what happened to one row; the fault as text when the row is not as it was left."""
    columns = columns_of(connection, row.table) if row.table in TABLES else ()
    if not columns:
        return _NOT_OURS
    if not set(row.fields) <= set(columns):
        return _NOT_KEPT
    start, end = (0, 1) if forward else (1, 0)
    was = {name: pair[start] for name, pair in row.fields.items()}
    becomes = {name: pair[end] for name, pair in row.fields.items()}
    area_m2 = becomes.get("area_m2")
    if row.table == "plots" and isinstance(area_m2, float):
        becomes["area_acres"] = area_m2 / ACRE_M2  # follows from it, and is not in the journal
    key = TABLES[row.table]
    where = " AND ".join(f'"{name}" IS ?' for name in key)
    gone = row.kind == (REMOVED if forward else ADDED)
    fresh = row.kind == (ADDED if forward else REMOVED)
    # A change of the key itself: the row stands under the key it was left with.
    at = tuple(was.get(name, value) for name, value in zip(key, row.key, strict=True))
    found = connection.execute(
        f'SELECT * FROM "{row.table}" WHERE {where}', row.key if fresh else at
    ).fetchone()
    if fresh:
        if found is not None:
            return "there is another one by now"
        names = ", ".join(f'"{name}"' for name in becomes)
        marks = ", ".join("?" for _ in becomes)
        values = tuple(becomes.values())
        connection.execute(f'INSERT INTO "{row.table}" ({names}) VALUES ({marks})', values)
        return ""
    if found is None:
        return "it is not there"
    held = dict(zip(columns, tuple(found), strict=True))
    differing = [name for name, value in was.items() if not _same(held[name], value)]
    if differing:
        return f"{', '.join(differing)} changed since"
    if gone:
        connection.execute(f'DELETE FROM "{row.table}" WHERE {where}', at)
    else:
        sets = ", ".join(f'"{name}" = ?' for name in becomes)
        connection.execute(f'UPDATE "{row.table}" SET {sets} WHERE {where}', (*becomes.values(), *at))
    return ""


def _built_on(connection: sqlite3.Connection, change: Change, row: RowChange, fault: str) -> Problem:
    """Say which later change stands in the way."""
    later = connection.execute(
        "SELECT MAX(change_id) FROM change_values WHERE table_name = ? AND row_key = ? AND change_id > ?",
        (row.table, _key_text(row.key), change.change_id),
    ).fetchone()[0]
    where = f"undo {change.change_id}, {row.name}"
    if fault in (_NOT_KEPT, _NOT_OURS):
        return Problem(where, fault, "Set what took its place; `show` prints what there is.")
    if later is None:
        what = f"{fault}, and not through this program"
        return Problem(where, what, "Set it by hand; `show` prints what is there.")
    (blocking,) = read(connection, (later,))
    return Problem(where, f"{fault}, by {blocking}", f"Take back change {later} first: undo {later}.")


def _left_hanging(connection: sqlite3.Connection, change: Change) -> Iterator[Problem]:
    """Name what still belongs to a row that taking back would remove."""
    for table, rowid, parent, _ in connection.execute("PRAGMA foreign_key_check").fetchall():
        key = TABLES.get(table)
        if key is None:
            yield Problem(
                f"undo {change.change_id}", f"the table {table} still needs it", "Make a new plan first."
            )
            continue
        names = ", ".join(f'"{name}"' for name in key)
        values = connection.execute(f'SELECT {names} FROM "{table}" WHERE rowid = ?', (rowid,)).fetchone()
        row = RowChange(table, tuple(values), ADDED, {})
        yield _built_on(connection, change, row, f"it still belongs to the {NOUNS.get(parent, parent)}")


# ---------------------------------------------------------------------------------------------
# Two copies


@dataclass(frozen=True, slots=True)
class Difference:
    """What two copies of one property hold that the other lacks.

    Parameters
    ----------
    only_here, only_there
        Changes of one journal that the other does not hold, oldest first.
    """

    only_here: tuple[Change, ...]
    only_there: tuple[Change, ...]


def differences(here: Sequence[Change], there: Sequence[Change]) -> Difference:
    """Hold the journals of two copies against each other."""
    known_here, known_there = ({change.uid for change in changes} for changes in (here, there))
    return Difference(
        tuple(change for change in here if change.uid not in known_there),
        tuple(change for change in there if change.uid not in known_here),
    )


# ---------------------------------------------------------------------------------------------
# Somebody else's file

#: The triggers that a property file has of its own.
OWN_TRIGGERS = frozenset({"applications_no_update", "applications_no_delete"})


def foreign_parts(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Name the triggers and views in a file that are not ours, and tables of ours that are no tables."""
    found = []
    for kind, name, sql in connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY name"):
        own_trigger = kind == "trigger" and name in OWN_TRIGGERS and "RAISE(ABORT," in (sql or "")
        if (kind == "view" or kind == "trigger") and not own_trigger:
            found.append(f"{kind} {name}")
    return tuple(found)
