"""The files of a guideline edition, read cell by cell: typed values, or problems with row and column.

An edition is a ``guideline.toml`` and CSV tables beside it. This file knows texts, numbers, lists,
classes and rates, and where each stood; it knows nothing of what the rules mean (`editions` does).
Everything wrong is collected, so a person can mend a file in one go.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from loamwright.errors import Level, Problem, UnitError
from loamwright.needs import Span, parse_span
from loamwright.units import parse_number


@dataclass(slots=True)
class Report:
    """Problems collected while one edition is read.

    Parameters
    ----------
    problems
        Found so far, in reading order.
    """

    problems: list[Problem] = field(default_factory=list)

    def error(self, where: str, what: str, fix: str) -> None:
        """Note something that cannot be used."""
        self.problems.append(Problem(where, what, fix))

    def warn(self, where: str, what: str, fix: str) -> None:
        """Note something a person should look at."""
        self.problems.append(Problem(where, what, fix, Level.WARNING))


class Section:
    """One table of ``guideline.toml``: typed reads, and a complaint about keys nobody asked for.

    Parameters
    ----------
    data
        Keys and values as the TOML reader gives them.
    where
        File and table, for problems.
    report
        Collects the problems.
    """

    def __init__(self, data: Mapping[str, object], where: str, report: Report) -> None:
        self.data, self.where, self.report = data, where, report
        self._asked: set[str] = set()

    def has(self, key: str) -> bool:
        """Tell whether a key is there."""
        self._asked.add(key)
        return key in self.data

    def text(self, key: str, default: str | None = "") -> str:
        """Read a text."""
        self._asked.add(key)
        value = self.data.get(key, default)
        if value is None:
            self.report.error(f"{self.where}, {key}", "it is missing", f'Add {key} = "…"')
            return ""
        if not isinstance(value, str):
            self.report.error(f"{self.where}, {key}", f"{value!r} is not a text", "Put it in quotes")
            return ""
        return value.strip()

    def number(self, key: str) -> float | None:
        """Read a number, zero or more."""
        self._asked.add(key)
        value = self.data.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.report.error(
                f"{self.where}, {key}", f"{value!r} is not a number", "Write digits without quotes"
            )
            return None
        if not (math.isfinite(value) and value >= 0):
            self.report.error(f"{self.where}, {key}", f"{value:g} is not zero or more", "Correct it")
            return None
        return float(value)

    def required_number(self, key: str) -> float:
        """Read a number that must be there."""
        value = self.number(key)
        if value is None and key not in self.data:
            self.report.error(f"{self.where}, {key}", "it is missing", f"Add {key} = a number")
        return 0.0 if value is None else value

    def numbers(self, key: str, count: int) -> tuple[float, ...]:
        """Read a list of so many numbers."""
        self._asked.add(key)
        value = self.data.get(key)
        if value is None:
            return ()
        items: list[object] = value if isinstance(value, list) else []
        figures = [float(v) for v in items if isinstance(v, int | float)]
        if len(items) != count or len(figures) != count:
            self.report.error(
                f"{self.where}, {key}", f"{value!r} is not a list of {count} numbers", "Write [a, b]"
            )
            return ()
        return tuple(figures)

    def texts(self, key: str) -> tuple[str, ...]:
        """Read a list of texts."""
        self._asked.add(key)
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            self.report.error(f"{self.where}, {key}", f"{value!r} is not a list of texts", 'Write ["a", "b"]')
            return ()
        return tuple(v.strip() for v in value)

    def mapping(self, key: str) -> Mapping[str, object]:
        """Read an inner table as it is."""
        self._asked.add(key)
        value = self.data.get(key, {})
        if not isinstance(value, dict):
            self.report.error(f"{self.where}, {key}", f"{value!r} is not a table", "Write { name = value }")
            return {}
        return value

    def sections(self, key: str) -> list[Section]:
        """Read a list of tables."""
        self._asked.add(key)
        value = self.data.get(key, [])
        if isinstance(value, dict):
            value = [value]
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self.report.error(
                f"{self.where}, {key}", f"{value!r} is not a list of tables", f"Write [[{key}]]"
            )
            return []
        return [Section(v, f"{self.where}, {key} {n}", self.report) for n, v in enumerate(value, start=1)]

    def choice(self, key: str, choices: Sequence[str], default: str | None) -> str:
        """Read one of a few words."""
        value = self.text(key, default)
        if value and value not in choices:
            listed = ", ".join(choices)
            self.report.error(
                f"{self.where}, {key}", f"{value!r} is not one of: {listed}", "Choose one of these"
            )
            return ""
        return value

    def done(self) -> None:
        """Report the keys that were never asked for: most are slips of spelling."""
        for key in self.data:
            if key not in self._asked:
                self.report.error(f"{self.where}, {key}", "this key is not known here", "Check its spelling")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a CSV table.

    Parameters
    ----------
    line
        Line in the file; the heading is line 1.
    cells
        Column name to text, stripped.
    where
        File and row, for problems.
    report
        Collects the problems.
    """

    line: int
    cells: Mapping[str, str]
    where: str
    report: Report

    def span(self, column: str) -> Span | None:
        """Read a printed class or row heading."""
        text = self.cells[column]
        if not text:
            return None
        try:
            return parse_span(text)
        except UnitError as error:
            self.report.error(f"{self.where}, column {column}", str(error), "Correct the cell")
            return None

    def figure(self, column: str) -> float | None:
        """Read a rate; blank stays blank."""
        text = self.cells.get(column, "")
        if not text:
            return None
        try:
            value = parse_number(text)
        except UnitError as error:
            self.report.error(
                f"{self.where}, column {column}", str(error), "Write a number, or leave it blank"
            )
            return None
        if value < 0:
            self.report.error(
                f"{self.where}, column {column}", f"{value:g} is below zero", "Correct the cell"
            )
            return None
        return value

    def names(self, column: str) -> tuple[str, ...]:
        """Read names separated by semicolons."""
        return tuple(part.strip() for part in self.cells[column].split(";") if part.strip())


@dataclass(frozen=True, slots=True)
class CsvTable:
    """A CSV table: its column names and its lines.

    Parameters
    ----------
    where
        Folder and file, for problems.
    columns
        Names in the heading, in order.
    rows
        Lines that are not blank.
    """

    where: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


def read_csv(folder: Path, section: Section, key: str, required: Iterable[str]) -> CsvTable:
    """Read the CSV file a section names."""
    report = section.report
    name = section.text(key, None)
    where = f"{folder.name}/{name}"
    nothing = CsvTable(where, (), ())
    if not name:
        return nothing
    if Path(name).name != name:
        report.error(f"{section.where}, {key}", f"{name!r} is not a file of this folder", "Name it alone")
        return nothing
    try:
        text = (folder / name).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        report.error(where, f"it cannot be read ({error})", "Save it beside guideline.toml as CSV in UTF-8")
        return nothing
    lines = list(csv.reader(io.StringIO(text)))
    columns = tuple(heading.strip() for heading in lines[0]) if lines else ()
    if not any(columns):
        report.error(where, "it is empty", "Put column names in its first row")
        return nothing
    absent = [heading for heading in required if heading not in columns]
    doubled = sorted({heading for heading in columns if columns.count(heading) > 1})
    for heading in absent:
        report.error(f"{where}, row 1", f"there is no column {heading!r}", "Add it")
    for heading in doubled:
        report.error(f"{where}, row 1", f"the column {heading!r} stands twice", "Remove one")
    if absent or doubled:
        return nothing
    rows = []
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        at = f"{where}, row {number}"
        if len(cells) != len(columns):
            what = f"it has {len(cells)} cells and the heading has {len(columns)}"
            report.error(at, what, "Put quotes around a text with commas")
            continue
        stripped = (cell.strip() for cell in cells)
        rows.append(Row(number, dict(zip(columns, stripped, strict=True)), at, report))
    if not rows:
        report.error(where, "it has no usable rows", "Add the printed rows")
    return CsvTable(where, columns, tuple(rows))
