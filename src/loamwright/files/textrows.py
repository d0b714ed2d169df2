"""Tables in: a CSV or XLSX file becomes rows of text that know their row number.

This file answers "what stands in which row and column of a table made for this program?". The first filled
row is its heading; cells come from `grids`. What the columns mean is `tables`; what a single cell means is
`fields`; writing tables is `workbook`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import Level, Problem
from loamwright.files.grids import Cell, Grid, SheetFile, column_letter, file_bytes, grids_of, refuse

#: Endings of names that such files usually have.
SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")

_TABLE_FIX = "Give a CSV or XLSX file with column names in its first row."


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table.

    Parameters
    ----------
    number
        Row number as a spreadsheet shows it; the heading of a plain file is row 1.
    cells
        Text of each cell, one per column of the table; empty text for an empty cell.
    """

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table as it stands in a file.

    Parameters
    ----------
    path
        The file.
    columns
        Column names as written; empty text for an unnamed column.
    rows
        Rows that hold anything, in file order.
    problems
        What was assumed or ignored while reading (encoding, further sheets), and rows that do not fit.
    system
        ``"us"`` or ``"metric"``: of the property it is read for.
    date_order
        Which part of its dates stands first, where somebody said so.
    """

    path: Path
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...] = ()
    system: str = "us"
    date_order: str | None = None


def read_table(path: Path) -> Table:
    """Read a CSV or XLSX file into rows of text.

    Parameters
    ----------
    path
        The file. What it is, is told from its content, not from its name.

    Returns
    -------
    Table
        Rows as written; a row with more cells than the heading is left out with a problem.

    Raises
    ------
    InputError
        When the file is missing, a directory, empty, or not a table.

    Notes
    -----
    CSV: UTF-8 with or without byte-order mark, UTF-16 with one, or else Windows-1252, which is said.
    The delimiter is the one of comma, semicolon, tab and bar that cuts most rows to the same width.
    XLSX: the first sheet that holds anything; a cell shown as a percentage reads as shown (``46%``).
    An apostrophe in front of ``= + - @`` is the guard spreadsheets need, and is taken off.
    """
    name = path.name or str(path)
    data = file_bytes(path)
    for start, kind in ((b"{", "JSON text"), (b"<", "XML or HTML text")):
        if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(start):
            raise refuse(name, f"this is {kind}, not a table", "Save it as CSV or XLSX first.")
    found = grids_of(name, data)
    filled = [grid for grid in found.grids if grid.lines]
    if not filled:
        raise refuse(name, "the file holds no filled cell", _TABLE_FIX)
    return _table(path, filled[0], _remarks(found, filled))


def _remarks(found: SheetFile, filled: Sequence[Grid]) -> list[Problem]:
    """What was assumed or ignored, and cells that show no value."""
    problems = []
    if found.encoding == "cp1252":
        what = "the text is not UTF-8 and was read as Windows-1252"
        fix = "Check accented letters and signs; save the file as UTF-8 if one is wrong."
        problems.append(Problem(found.name, what, fix, Level.NOTE))
    if len(filled) > 1:
        others = ", ".join(repr(grid.name) for grid in filled[1:])
        what = f"only the sheet {filled[0].name!r} was read, not {others}"
        fix = "Save the other sheets as files of their own if they are wanted."
        problems.append(Problem(found.name, what, fix, Level.NOTE))
    if hidden := sorted(filled[0].hidden_rows)[:5]:
        what = f"row {', '.join(map(str, hidden))} is hidden in the sheet, and was read all the same"
        fix = "Delete hidden rows that are not meant; show them if they are."
        problems.append(Problem(found.name, what, fix, Level.WARNING))
    if filled[0].hidden_columns:
        letters = ", ".join(column_letter(place) for place in sorted(filled[0].hidden_columns)[:5])
        what = f"column {letters} is hidden in the sheet, and was read all the same"
        fix = "Delete hidden columns that are not meant; show them if they are."
        problems.append(Problem(found.name, what, fix, Level.WARNING))
    for fault in filled[0].faults:
        where = f"{found.name}, row {fault.row}, cell {fault.cell}"
        problems.append(Problem(where, fault.what, fault.fix))
    return problems


def _table(path: Path, grid: Grid, problems: list[Problem]) -> Table:
    first, *lines = grid.lines
    heading = tuple(cell.text for cell in first.cells)
    rows = []
    for line in lines:
        extra = [cell.text for cell in line.cells[len(heading) :] if cell.text]
        if extra:
            what = f"the row has more cells than the {len(heading)} columns of the heading: {extra[0]!r}"
            fix = "Put text that holds a comma in quotation marks, or name the column."
            problems.append(Problem(f"{path.name}, row {line.number}", what, fix))
            continue
        rows.append(Row(line.number, tuple(_stored(line.cell(place)) for place in range(len(heading)))))
    return Table(path, heading, tuple(rows), tuple(problems))


def _stored(cell: Cell) -> str:
    """Text of a cell, a number with all its digits whatever the spreadsheet rounds it to."""
    if cell.number is None or cell.number.is_integer() or cell.text.endswith("%"):
        return cell.text
    return repr(cell.number)
