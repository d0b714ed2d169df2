"""A CSV, XLSX or text file as grids of cells: the text as printed, and what a workbook stored behind it.

This file finds encoding and delimiter of a text, and hidden rows, merged cells and formulas without a
result of a workbook. A plain table of ours is `textrows`; what a lab, dealer or quarry sends is `sheets`.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loamwright.errors import InputError, Problem

#: Delimiters tried, in the order that settles a tie.
DELIMITERS = (",", ";", "\t", "|")

#: Ours: more than any lab sends, less than would fill the memory of a small computer.
LARGEST_TEXT_BYTES = 50_000_000
LARGEST_WORKBOOK_BYTES = 200_000_000  # unpacked
LARGEST_CELL = 32_767  # characters, as in a spreadsheet
MOST_ROWS = 100_000  # 400 MB in memory; ten tests for each of 10,000 plots

_NOT_TABLES = (
    (b"SQLite format 3", "a database or property file"),
    (b"%PDF", "a PDF document"),
    (b"\xd0\xcf\x11\xe0", "an old XLS workbook"),
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text as printed, and the number or date a workbook stored."""

    text: str
    number: float | None = None
    date: dt.date | None = None


EMPTY = Cell("")


@dataclass(frozen=True, slots=True)
class Line:
    """One filled row of a grid, by the number a spreadsheet shows."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """Return a cell, empty beyond the last filled one."""
        return self.cells[column] if column < len(self.cells) else EMPTY

    def text(self, column: int) -> str:
        """Return the text of a cell."""
        return self.cell(column).text

    @property
    def filled(self) -> tuple[int, ...]:
        """Columns that hold any text."""
        return tuple(column for column, cell in enumerate(self.cells) if cell.text)


@dataclass(frozen=True, slots=True)
class Fault:
    """A cell of a workbook that shows no value though it should, and why."""

    row: int
    cell: str
    what: str
    fix: str


@dataclass(frozen=True, slots=True)
class Grid:
    """One sheet: its filled rows, and what its cells do not show.

    `spans` gives, for the first cell of a merged heading, the last column it stands over; `faults` are cells
    whose formula has no stored result or shows an error.
    """

    name: str
    lines: tuple[Line, ...]
    spans: Mapping[tuple[int, int], int] = field(default_factory=dict)
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    faults: tuple[Fault, ...] = ()
    hidden: bool = False

    @property
    def width(self) -> int:
        """Number of columns."""
        return max((len(line.cells) for line in self.lines), default=0)


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A file's grids, and its character set where it is not UTF-8."""

    name: str
    grids: tuple[Grid, ...]
    encoding: str | None = None


def column_letter(column: int) -> str:
    """Return a column's letters as a spreadsheet shows them (0 is A)."""
    letters = ""
    place = column + 1
    while place:
        place, digit = divmod(place - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return letters


def refuse(name: str, what: str, fix: str) -> InputError:
    """Return the refusal of a whole file."""
    return InputError((Problem(name, what, fix),))


def file_bytes(path: Path) -> bytes:
    """Return a file's bytes; raise `InputError` when it is missing, a folder or empty."""
    name = path.name or str(path)
    if path.is_dir():
        raise refuse(name, f"{str(path)!r} is a directory, not a file", "Name the file.")
    if path.exists() and not path.is_file():
        raise refuse(name, f"{str(path)!r} is no ordinary file", "Name a file that was saved.")
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise refuse(name, f"there is no file {str(path)!r}", "Check the name and the folder.") from error
    except OSError as error:
        raise refuse(name, f"cannot be read: {error}", "Check that you may read the file.") from error
    if not data.strip():
        raise refuse(name, f"the file is empty ({len(data)} bytes)", "Save the sheet as CSV or XLSX again.")
    return data


def grids_of(name: str, data: bytes) -> SheetFile:
    """Read the bytes of a CSV, XLSX or plain text file; raise `InputError` when they are none."""
    for start, kind in _NOT_TABLES:
        if data.startswith(start):
            raise refuse(name, f"this is {kind}, not a sheet", "Save it as CSV or XLSX first.")
    if data.startswith(b"PK"):
        return SheetFile(name, _workbook(name, data))
    if len(data) > LARGEST_TEXT_BYTES:
        raise refuse(name, f"the text is {len(data):,} bytes long", "Split it, or send one report at a time.")
    text, encoding = decoded(name, data)
    return SheetFile(name, (_text_grid(name, text),), encoding)


# ---------------------------------------------------------------------------------------------
# Text


def decoded(name: str, data: bytes) -> tuple[str, str | None]:
    """Return the text of bytes, and its character set where that is not UTF-8."""
    encoding = None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif b"\x00" in data[:200]:
        encoding = "utf-16-le" if data[1:2] == b"\x00" else "utf-16-be"
    try:
        text = data.decode(encoding or "utf-8-sig")
    except UnicodeDecodeError as error:
        if encoding:
            raise refuse(name, "this is not text", "Save the sheet as CSV or XLSX.") from error
        try:
            text, encoding = data.decode("cp1252"), "cp1252"
        except UnicodeDecodeError:
            raise refuse(name, "this is not text", "Save the sheet as CSV or XLSX.") from error
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise refuse(name, "this is not text: it holds control characters", "Save the sheet as CSV or XLSX.")
    return text, encoding


def _text_grid(name: str, text: str) -> Grid:
    csv.field_size_limit(LARGEST_CELL)
    if text.count("\n") > MOST_ROWS:
        raise _too_many_rows(name)
    tables: list[list[list[str]]] = []
    faults = []
    for mark in DELIMITERS:
        try:
            tables.append(list(csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)))
        except csv.Error as error:
            faults.append(error)
    if faults and max(map(_regularity, tables), default=0) <= 1:
        raise refuse(
            name,
            f"the text cannot be split into cells: {faults[0]}",
            'Look for a quotation mark that is not closed; write a quotation mark inside a cell as "".',
        )
    table = max(tables, key=_regularity)
    spaced = [re.split(r"\s{2,}", line.strip()) for line in text.splitlines()]
    if _regularity(spaced) > 2 * _regularity(table):
        table = _under_their_headings(text.splitlines(), spaced)
    return Grid("", _lines(name, enumerate(([Cell(_printed(text)) for text in row] for row in table), 1)))


def _under_their_headings(lines: list[str], spaced: list[list[str]]) -> list[list[str]]:
    """Put the cells of rows with gaps under the full row above that they stand under.

    A row of units often has nothing under the first heading: "Sample  pH  P" over "        1:1  ppm".
    """
    done: list[list[str]] = []
    starts: list[int] = []
    for line, cells in zip(lines, spaced, strict=True):
        at = [match.start() for match in re.finditer(r"(?<!\S)\S+(?:\s\S+)*", line.expandtabs())]
        if len(at) > 2 and len(at) >= len(starts):
            starts = at
        elif 1 < len(at) < len(starts) and line[:1].isspace():
            row = [""] * len(starts)
            for start, cell in zip(at, cells, strict=True):
                row[min(range(len(starts)), key=lambda place: abs(starts[place] - start))] += cell
            cells = row
        done.append(cells)
    return done


def _regularity(table: list[list[str]]) -> int:
    """Cells in rows of the same width: the delimiter that gives most is the file's."""
    widths = Counter(len(row) for row in table if any(cell.strip() for cell in row))
    return max((width * count for width, count in widths.items() if width > 1), default=0)


def _printed(text: str) -> str:
    bare = text.strip()
    return bare[1:] if re.match(r"'[=+\-@\t\r\n]", bare) else bare


def _lines(name: str, numbered: Iterable[tuple[int, list[Cell]]]) -> tuple[Line, ...]:
    lines = []
    for number, cells in numbered:
        while cells and not cells[-1].text:
            cells.pop()
        if cells:
            lines.append(Line(number, tuple(cells)))
        if len(lines) > MOST_ROWS:
            raise _too_many_rows(name)
    return tuple(lines)


def _too_many_rows(name: str) -> InputError:
    return refuse(
        name, f"the sheet has more than {MOST_ROWS:,} rows", "Split it, and bring a part at a time."
    )


# ---------------------------------------------------------------------------------------------
# Workbooks


def _workbook(name: str, data: bytes) -> tuple[Grid, ...]:
    import openpyxl

    fix = "Save the sheet as XLSX again, or as CSV."
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            size = sum(member.file_size for member in archive.infolist())
        if size > LARGEST_WORKBOOK_BYTES:
            raise refuse(name, f"the workbook unpacks to {size:,} bytes", "Send one report at a time.")
        shown = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
        written = openpyxl.load_workbook(io.BytesIO(data), data_only=False)
    except InputError:
        raise
    except Exception as error:  # a damaged or foreign archive fails inside openpyxl in many ways
        raise refuse(name, "this is not an XLSX workbook that can be opened", fix) from error
    return tuple(_sheet(name, sheet, written[sheet.title]) for sheet in shown.worksheets)


def _sheet(name: str, sheet: object, formulas: object) -> Grid:
    """Read the filled cells of one sheet; a lone cell far away costs nothing."""
    cells: dict[tuple[int, int], object] = sheet._cells  # type: ignore[attr-defined]
    formula_cells: dict[tuple[int, int], object] = formulas._cells  # type: ignore[attr-defined]
    by_row: dict[int, dict[int, Cell]] = {}
    faults = []
    for (row, column), cell in sorted(cells.items()):
        found = _cell(cell)
        fault = _fault(cell, formula_cells.get((row, column)))
        if fault is not None:
            faults.append(Fault(row, f"{column_letter(column - 1)}{row}", *fault))
        if found.text:
            by_row.setdefault(row, {})[column - 1] = found
    spans: dict[tuple[int, int], int] = {}
    for merged in sheet.merged_cells.ranges:  # type: ignore[attr-defined]
        first = by_row.get(merged.min_row, {}).get(merged.min_col - 1)
        if first is None:
            continue
        if merged.max_col > merged.min_col:
            spans[merged.min_row, merged.min_col - 1] = merged.max_col - 1
        for row in range(merged.min_row + 1, merged.max_row + 1):
            if row in by_row:
                by_row[row].setdefault(merged.min_col - 1, first)
    dimensions = sheet.row_dimensions  # type: ignore[attr-defined]
    widths = sheet.column_dimensions  # type: ignore[attr-defined]
    hidden_columns = {
        place - 1
        for dimension in widths.values()
        if dimension.hidden and dimension.min
        for place in range(dimension.min, min(dimension.max, 16_384) + 1)
    }
    lines = _lines(
        name,
        (
            (row, [found.get(column, EMPTY) for column in range(max(found) + 1)])
            for row, found in sorted(by_row.items())
        ),
    )
    return Grid(
        str(sheet.title),  # type: ignore[attr-defined]
        lines,
        spans,
        frozenset(row for row in by_row if row in dimensions and dimensions[row].hidden),
        frozenset(hidden_columns),
        tuple(faults),
        sheet.sheet_state != "visible",  # type: ignore[attr-defined]
    )


def _fault(cell: object, formula: object) -> tuple[str, str] | None:
    """Say why a cell shows no value, and what to do."""
    value = getattr(cell, "value", None)
    if getattr(cell, "data_type", "") == "e":
        return f"the cell shows the error {value}", "Correct the formula, or write the number."
    if value is None and getattr(formula, "data_type", "") == "f":
        written = str(getattr(formula, "value", ""))
        fix = "Open the file in a spreadsheet and save it, or write the number."
        return f"the formula {written} has no stored result", fix
    return None


def _cell(cell: object) -> Cell:
    """Text of a workbook cell near to what a spreadsheet shows, with the stored number or date."""
    value = getattr(cell, "value", None)
    if value is None or getattr(cell, "data_type", "") == "e":
        return EMPTY
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, dt.datetime):
        text = value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
        return Cell(text, date=value.date())
    if isinstance(value, (int, float)):
        return Cell(_number_text(value, str(getattr(cell, "number_format", ""))), number=float(value))
    return Cell(_printed(str(value)))


def _number_text(value: float, number_format: str) -> str:
    shown = re.fullmatch(r"(?:#,##)?0(?:\.(0+))?(%?)", number_format)
    if shown and (shown[1] or shown[2]):
        digits = len(shown[1] or "")
        return f"{value * 100:.{digits}f}%" if shown[2] else f"{value:.{digits}f}"
    if isinstance(value, int):
        return str(value)
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else f"{value:.15g}"
