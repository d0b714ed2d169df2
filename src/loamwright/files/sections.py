"""The files of a guideline edition, read cell by cell: typed values, or problems with row and column.

An edition is a ``guideline.toml`` and CSV tables beside it. This file knows texts, numbers, lists,
classes and rates, and where each stood; it knows nothing of what the rules mean (`editions` does).
Everything wrong is collected, so a person can mend a file in one go.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loamwright.errors import Level, Problem, UnitError
from loamwright.files.fields import Fields, shown
from loamwright.needs import Span, parse_span


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


class Section(Fields):
    """One table of ``guideline.toml``: what it lacks and what nobody asked for is said.

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
        super().__init__(where, data, report.problems, typed=True)
        self.data, self.report = data, report

    def text(self, name: str, default: str | None = "") -> str:
        """Read a text; one without a default must be there."""
        if default is None and self.value(name) is None:
            self.problem(name, "it is missing", f'Add {name} = "…"')
        return super().text(name) or default or ""

    def choice(self, name: str, choices: Collection[str], default: str | None = "") -> str:
        """Read one of a few words; one without a default must be there."""
        if self.value(name) is None:
            return self.text(name, default)
        return super().choice(name, choices)

    def number(self, name: str, kind: str = "printed rate", unit: str = "") -> float | None:
        """Read a number, zero or more."""
        return super().number(name, kind, unit)

    def amounts(self, name: str) -> Amounts | None:
        """Read a rate: a number, or a text such as ``"0 to 60"``, ``"60 + 80"``; None without one."""
        if isinstance(self.value(name), str):
            return self.read(name, read_amounts)
        value = self.number(name)
        return None if value is None else Amounts(value, value, "")

    def required_number(self, name: str, kind: str = "printed rate") -> float:
        """Read a number that must be there."""
        if self.value(name) is None:
            self.problem(name, "it is missing", f"Add {name} = a number")
        return self.number(name, kind) or 0.0

    def texts(self, name: str) -> tuple[str, ...]:
        """Read a list of texts."""
        value = self.value(name) or []
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.problem(name, f"{shown(value)} is not a list of texts", 'Write ["a", "b"]')
            return ()
        return tuple(item.strip() for item in value)

    def mapping(self, name: str) -> Mapping[str, object]:
        """Read an inner table as it is."""
        value = self.value(name) or {}
        if not isinstance(value, dict):
            self.problem(name, f"{shown(value)} is not a table", "Write { name = value }")
            return {}
        return value

    def sections(self, name: str) -> list[Section]:
        """Read a list of tables."""
        value = self.value(name) or []
        parts = [value] if isinstance(value, dict) else value
        if not isinstance(parts, list) or not all(isinstance(part, dict) for part in parts):
            self.problem(name, f"{shown(value)} is not a list of tables", f"Write [[{name}]]")
            return []
        return [Section(part, f"{self.place(name)} {n}", self.report) for n, part in enumerate(parts, 1)]

    def done(self) -> None:
        """Report the keys that were never asked for: most are slips of spelling."""
        self.finish()


@dataclass(frozen=True, slots=True)
class Amounts:
    """A printed rate: one figure, a range, or several to be put on one after another.

    Parameters
    ----------
    low, high
        Sum of the lower and of the upper figures; the same when no range is printed.
    printed
        The cell as it stands, when it is more than one number; else empty.
    """

    low: float
    high: float
    printed: str

    @property
    def value(self) -> float | None:
        """The figure; None when the print leaves a range."""
        return self.low if self.low == self.high else None

    @property
    def between(self) -> tuple[float, float] | None:
        """The range; None when the print gives one figure."""
        return None if self.low == self.high else (self.low, self.high)


def read_amounts(text: str) -> Amounts:
    """Read the cell of a rate: ``60``, ``0 to 60`` for a range, ``60 + 80`` for parts."""
    fix = "write a number, 0 to 60 for a range, 60 + 80 for parts, or leave it blank"
    low = high = 0.0
    for part in text.split("+"):
        try:
            span = parse_span(part)
        except UnitError:
            span = None
        if span is None or span.low is None or span.high is None:
            raise UnitError(f"{text!r} is not a rate", fix)
        low, high = low + span.low, high + span.high
    plain = "+" not in text and low == high
    return Amounts(low, high, "" if plain else text)


class Row(Fields):
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

    def __init__(self, line: int, cells: Mapping[str, str], where: str, report: Report) -> None:
        names = {column: f"column {column}" for column in cells}
        super().__init__(where, cells, report.problems, names=names, line=line)
        self.cells, self.report = cells, report

    def span(self, column: str) -> Span | None:
        """Read a printed class or row heading."""
        return self.read(column, parse_span)

    def figure(self, column: str) -> float | None:
        """Read a rate; blank stays blank."""
        return self.number(column, "printed rate")

    def amounts(self, column: str) -> Amounts | None:
        """Read a rate that may be a range or a sum, ``"60 to 75 + 60 to 75"``; None when blank or wrong."""
        return self.read(column, read_amounts)

    def signed(self, column: str) -> float:
        """Read a number of a formula, which may be below zero; zero when it is wrong, which was reported."""
        return self.number(column, "figure") or 0.0

    def names(self, column: str) -> tuple[str, ...]:
        """Read names separated by semicolons."""
        return self.listed(column)


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
    if not (folder / name).is_file():
        fix = f"Save it there, or correct {key} of {section.where}"
        report.error(where, "there is no such file in the folder", fix)
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
