"""Which column of a table holds which known field, and its rows as `fields`.

What the fields mean is the business of `tables` and `pricelists`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loamwright.errors import Problem
from loamwright.files.fields import Fields, Habits, key_of, unused
from loamwright.files.textrows import Table


@dataclass(frozen=True, slots=True)
class Headings:
    """Which column of a table holds which known field.

    Parameters
    ----------
    places
        Field to column position.
    unknown
        Positions of columns that are none of the known fields.
    problems
        Two columns for one field.
    """

    places: Mapping[str, int]
    unknown: tuple[int, ...]
    problems: tuple[Problem, ...]


def headings(
    table: Table, fields: Iterable[str], aliases: Mapping[str, str], patterns: Sequence[str] = ()
) -> Headings:
    """Match the columns of a table with known fields.

    Parameters
    ----------
    table
        The table.
    fields, aliases, patterns
        Names that are known, other names of them, and expressions for names with a number in them.
    """
    known = set(fields)
    places: dict[str, int] = {}
    unknown, problems = [], []
    for position, column in enumerate(table.columns):
        key = key_of(column)
        name = aliases.get(key, key)
        if name not in known and not any(re.fullmatch(pattern, name) for pattern in patterns):
            unknown.append(position)
        elif name in places:
            what = f"the columns {table.columns[places[name]]!r} and {column!r} both mean {name}"
            fix = "Keep one of them, or rename the other."
            problems.append(Problem(f"{table.path.name}, heading", what, fix))
        else:
            places[name] = position
    return Headings(places, tuple(unknown), tuple(problems))


def rows_of(
    table: Table,
    fields: Iterable[str],
    aliases: Mapping[str, str],
    needed: Iterable[str],
    *,
    patterns: Sequence[str] = (),
    kept: bool = False,
) -> tuple[list[Fields], list[Problem]]:
    """Return the rows of a table as fields, and the problems they add to.

    Parameters
    ----------
    table
        The table.
    fields, aliases, patterns
        As in `headings`.
    needed
        Fields without which no row can be read.
    kept
        True when columns that are not known are stored with each row.

    Returns
    -------
    rows : list of Fields
        None when a needed column is missing.
    problems : list of Problem
        So far: columns that are missing, doubled or not used, and that there are no rows.
    """
    columns = headings(table, fields, aliases, patterns)
    names = {place: name or f"column {place + 1}" for place, name in enumerate(table.columns)}
    heading, file = f"{table.path.name}, heading", table.path.name
    problems = [*table.problems, *columns.problems]
    done = "kept but not used" if kept else "not used and not stored"
    problems += unused(heading, [names[place] for place in columns.unknown], done)
    missing = [name for name in needed if name not in columns.places]
    listed = ", ".join(map(repr, table.columns))
    for name in missing:
        what = f"there is no column {name!r} among {listed}"
        problems.append(Problem(heading, what, f"Add a column named {name}."))
    if not table.rows:
        what = "the table has a heading but no rows"
        problems.append(Problem(file, what, "Add one row for each item."))

    def values(name: str) -> Iterable[str]:
        place = columns.places.get(name)
        return () if place is None else (row.cells[place] for row in table.rows)

    habits = Habits(values, table.system, table.date_order, can_ask=True)
    called = {name: names[place] for name, place in columns.places.items()}
    rows = [
        Fields(
            f"{file}, row {row.number}",
            {name: row.cells[place] for name, place in columns.places.items()},
            problems,
            names=called,
            habits=habits,
            line=row.number,
            extra={names[p]: text for p in columns.unknown if (text := row.cells[p].strip())},
        )
        for row in (() if missing else table.rows)
    ]
    return rows, problems
