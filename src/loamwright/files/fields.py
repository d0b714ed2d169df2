"""One row of a table, read as values: every fault names file, row, column, value and fix.

This file answers "what does this cell say, and is it a value at all?". It knows numbers, percents,
quantities, money, dates, yes and no; which columns there are, and what they mean, is `tables`.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

from loamwright.errors import Level, Problem, UnitError, has_errors
from loamwright.files.textrows import Table
from loamwright.units import parse_money, parse_number

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

#: Cell texts that mean "not stated". They are never zero.
BLANKS = frozenset({"", "-", "--", "–", "—", "n/a", "na", "nt", "not tested", "not stated", "unknown", "?"})

_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})


def key_of(column: str) -> str:
    """Return a column name in the form it is looked up by.

    Examples
    --------
    >>> key_of("Organic Matter (%)"), key_of("Buffer pH")
    ('organic_matter_pct', 'buffer_ph')
    """
    return re.sub(r"[^a-z0-9]+", "_", column.strip().lower().replace("%", " pct ")).strip("_")


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
    """Match the columns of a table with known fields."""
    known = set(fields)
    places: dict[str, int] = {}
    unknown, problems = [], []
    for position, column in enumerate(table.columns):
        key = key_of(column)
        name = aliases.get(key, key)
        if name not in known and not any(re.fullmatch(pattern, name) for pattern in patterns):
            unknown.append(position)
        elif name in places:
            problems.append(
                Problem(
                    f"{table.path.name}, heading",
                    f"the columns {table.columns[places[name]]!r} and {column!r} both mean {name}",
                    "Keep one of them, or rename the other.",
                )
            )
        else:
            places[name] = position
    return Headings(places, tuple(unknown), tuple(problems))


@dataclass(slots=True)
class Notes:
    """Problems of one table, with those that are worth saying only once.

    Parameters
    ----------
    problems
        Collected so far.
    said
        Keys of what was said once already.
    """

    problems: list[Problem] = field(default_factory=list)
    said: set[str] = field(default_factory=set)

    def once(self, key: str, problem: Problem) -> None:
        """Add a problem unless one with the same key was added before."""
        if key not in self.said:
            self.said.add(key)
            self.problems.append(problem)


class Fields:
    """The cells of one row by field name; reading one adds a problem when it cannot be understood.

    Parameters
    ----------
    table
        The table the row is of.
    index
        Position of the row in the table's rows.
    columns
        Which column holds which field.
    notes
        Where problems are collected.
    """

    def __init__(self, table: Table, index: int, columns: Headings, notes: Notes) -> None:
        self._table = table
        self._row = table.rows[index]
        self._columns = columns
        self._notes = notes
        self.bad = False

    @property
    def number(self) -> int:
        """Row number in the file."""
        return self._row.number

    @property
    def where(self) -> str:
        """File and row."""
        return f"{self._table.path.name}, row {self._row.number}"

    def extra(self) -> Mapping[str, str]:
        """Return the filled cells of unknown columns, by column name."""
        return {
            self._table.columns[place] or f"column {place + 1}": self._row.cells[place].strip()
            for place in self._columns.unknown
            if self._row.cells[place].strip()
        }

    def fields(self, pattern: str) -> tuple[str, ...]:
        """Return the names of the table's fields that match a pattern."""
        return tuple(name for name in self._columns.places if re.fullmatch(pattern, name))

    def problem(self, name: str, what: str, fix: str, level: Level = Level.ERROR) -> None:
        """Add a problem about one field of this row; an error marks the row as bad."""
        place = self._columns.places.get(name)
        column = self._table.columns[place] if place is not None else name
        where = f"{self.where}, {column}" if column else self.where
        self._notes.problems.append(Problem(where, what, fix, level))
        self.bad = self.bad or level is Level.ERROR

    def report(self, problems: Iterable[Problem]) -> None:
        """Add problems found elsewhere about this row; an error marks the row as bad."""
        found = tuple(problems)
        self._notes.problems.extend(found)
        self.bad = self.bad or has_errors(found)

    def text(self, name: str) -> str:
        """Return the text of a cell, trimmed; empty when blank, marked as not stated, or no such column."""
        place = self._columns.places.get(name)
        text = "" if place is None else self._row.cells[place].strip()
        return "" if text.lower() in BLANKS else text

    def required(self, name: str, example: str) -> str:
        """Return the text of a cell that must be filled."""
        text = self.text(name)
        if not text:
            self.problem(name, f"{name} is blank", f"Write it, for example {example}.")
        return text

    def read(self, name: str, parse: Callable[[str], T]) -> T | None:
        """Read a cell with a parser of `units`."""
        text = self.text(name)
        if not text:
            return None
        try:
            return parse(text)
        except (UnitError, ValueError) as error:
            what, _, fix = str(error).partition("; ")
            self.problem(name, what, f"{fix[:1].upper()}{fix[1:]}." if fix else "Correct the cell.")
            return None

    def number_of(
        self, name: str, low: float | None = None, high: float | None = None, what: str = "number"
    ) -> float | None:
        """Read a plain number within limits."""
        value = self.read(name, parse_number)
        if value is None:
            return None
        if (low is not None and value < low) or (high is not None and value > high):
            limits = (
                f"from {low:g} to {high:g}"
                if low is not None and high is not None
                else (f"{low:g} or more" if low is not None else f"{high:g} or less")
            )
            self.problem(name, f"{self.text(name)!r} is not a possible {what}", f"It must be {limits}.")
            return None
        return value

    def percent(self, name: str, what: str = "percentage") -> float | None:
        """Read a percentage from 0 to 100, with or without a percent sign."""
        value = self.read(name, parse_percent)
        if value is not None and not 0 <= value <= 100:
            sense = "negative" if value < 0 else "more than 100 %"
            self.problem(
                name,
                f"{self.text(name)!r} is not a possible {what}: it is {sense}",
                "Write the percent by weight on the label, from 0 to 100.",
            )
            return None
        return value

    def money(self, name: str) -> Decimal | None:
        """Read an amount of money, not negative."""
        amount = self.read(name, parse_money)
        if amount is not None and amount < 0:
            self.problem(name, f"{self.text(name)!r} is a negative price", "Write what one package costs.")
            return None
        return amount

    def count(self, name: str) -> int | None:
        """Read a whole number, zero or more."""
        value = self.number_of(name, 0, None, "count")
        if value is not None and not value.is_integer():
            self.problem(name, f"{self.text(name)!r} is not a whole number", "Write a whole number.")
            return None
        return None if value is None else int(value)

    def date(self, name: str) -> dt.date | None:
        """Read a date: ``2026-04-12``, or the US order ``4/12/2026``, which is said once per file."""
        day = self.read(name, parse_date)
        if day is not None and "/" in self.text(name):
            self._notes.once(
                "month first",
                Problem(
                    f"{self.where}, {name}",
                    f"{self.text(name)!r} was read as month/day/year: {day.isoformat()}",
                    "Write dates as 2026-04-12 if the day stands first in this file.",
                    Level.NOTE,
                ),
            )
        return day

    def yes_or_no(self, name: str) -> bool | None:
        """Read yes or no."""
        text = self.text(name).lower()
        if text in _YES or text in _NO:
            return text in _YES
        if text:
            self.problem(
                name, f"{self.text(name)!r} is neither yes nor no", "Write yes, no, or leave it blank."
            )
        return None

    def one_of(self, name: str, words: type[E]) -> E | None:
        """Read one of a fixed set of words."""
        text = self.text(name)
        return None if not text else self.word(name, text, words)

    def word(self, name: str, text: str, words: type[E]) -> E | None:
        """Match one text with a fixed set of words, whatever its case and hyphens."""
        plain = re.sub(r"[\s_-]+", "", text).lower()
        for word in words:
            if re.sub(r"[\s_-]+", "", word.value).lower() == plain:
                return word
        listed = ", ".join(word.value for word in words)
        self.problem(name, f"{text!r} is not one of: {listed}", "Write one of these words.")
        return None

    def listed(self, name: str) -> tuple[str, ...]:
        """Read a list whose items stand between semicolons."""
        return tuple(part.strip() for part in self.text(name).split(";") if part.strip())


def parse_percent(text: str) -> float:
    """Read a percentage, with or without its sign.

    Parameters
    ----------
    text
        ``"46"``, ``"46%"``, ``"46 %"``.

    Returns
    -------
    float
        [percent], whatever its size.

    Raises
    ------
    UnitError
        When it is not a number.

    Examples
    --------
    >>> parse_percent("46 %")
    46.0
    """
    return parse_number(text.removesuffix("%"))


def parse_date(text: str) -> dt.date:
    """Read a date.

    Parameters
    ----------
    text
        ``"2026-04-12"``, with or without a time after it; or ``"4/12/2026"``, month first.

    Returns
    -------
    date

    Raises
    ------
    ValueError
        When it is no date, or a number that cannot be the month stands first.

    Examples
    --------
    >>> parse_date("4/12/2026").isoformat()
    '2026-04-12'
    """
    try:
        if match := re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ].*)?", text.strip()):
            return dt.date(int(match[1]), int(match[2]), int(match[3]))
        if match := re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4})", text.strip()):
            return dt.date(int(match[3]), int(match[1]), int(match[2]))
    except ValueError as error:
        raise ValueError(f"{text!r} is not a date; write it as 2026-04-12") from error
    raise ValueError(f"{text!r} is not understood as a date; write it as 2026-04-12")


def unknown_columns(table: Table, columns: Headings, kept: bool) -> tuple[Problem, ...]:
    """Say which columns were not used."""
    names = [table.columns[place] or f"column {place + 1}" for place in columns.unknown]
    if not names:
        return ()
    listed = ", ".join(repr(name) for name in names)
    done = "kept but not used" if kept else "not used and not stored"
    one = len(names) == 1
    return (
        Problem(
            f"{table.path.name}, heading",
            f"the column{'' if one else 's'} {listed} {'is' if one else 'are'} {done}",
            "Check the spelling if it should be used.",
            Level.NOTE,
        ),
    )
