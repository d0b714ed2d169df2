"""Tables in: a CSV or XLSX file becomes rows of text that know their row number.

This file answers "what stands in which row and column of the user's file?". It finds the encoding,
the delimiter and the heading row, and says what it assumed. What the columns mean is `tables`; what a
single cell means is `fields`; writing tables is `workbook`.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import InputError, Level, Problem

#: Endings of names that such files usually have.
SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")

#: Delimiters tried, in the order that settles a tie.
DELIMITERS = (",", ";", "\t")

#: Longest cell read [characters]; a spreadsheet cell holds at most 32,767.
CELL_LIMIT = 100_000

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
    """

    path: Path
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...] = ()


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
    The delimiter is the one of comma, semicolon and tab that splits the heading into most columns.
    XLSX: the first sheet that holds anything; a cell shown as a percentage reads as shown (``46%``).
    An apostrophe in front of ``= + - @`` is the guard spreadsheets need, and is taken off.
    """
    data = _content(path)
    if data.startswith(b"PK"):
        lines, problems = _workbook_lines(path, data)
    else:
        lines, problems = _csv_lines(path, data)
    return _table(path, lines, problems)


def _refuse(path: Path, what: str, fix: str = _TABLE_FIX) -> InputError:
    return InputError((Problem(path.name or str(path), what, fix),))


def _content(path: Path) -> bytes:
    if path.is_dir():
        raise _refuse(path, f"{str(path)!r} is a directory, not a table")
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise _refuse(path, f"there is no file {str(path)!r}", "Check the name and the folder.") from error
    except OSError as error:
        raise _refuse(path, f"cannot be read: {error}", "Check that you may read the file.") from error
    if not data:
        raise _refuse(path, "the file is empty (0 bytes)")
    for start, name in (
        (b"SQLite format 3", "a database or property file"),
        (b"%PDF", "a PDF document"),
        (b"\xd0\xcf\x11\xe0", "an old XLS workbook"),
        (b"{", "JSON text"),
        (b"<", "XML or HTML text"),
    ):
        if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(start):
            raise _refuse(path, f"this is {name}, not a table", "Save it as CSV or XLSX first.")
    return data


# ---------------------------------------------------------------------------------------------
# CSV


def _csv_lines(path: Path, data: bytes) -> tuple[list[list[str]], list[Problem]]:
    text, problems = _decoded(path, data)
    heading = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=lambda mark: len(_split(heading, mark)))
    csv.field_size_limit(CELL_LIMIT)
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)), problems
    except csv.Error as error:
        raise _refuse(
            path,
            f"the text cannot be split into cells: {error}",
            'Look for a quotation mark that is not closed; write a quotation mark inside a cell as "".',
        ) from error


def _split(line: str, delimiter: str) -> list[str]:
    return next(csv.reader([line], delimiter=delimiter), [])


def _decoded(path: Path, data: bytes) -> tuple[str, list[Problem]]:
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            return data.decode("utf-16"), []
        text = data.decode("utf-8-sig")
        encoding = ""
    except UnicodeDecodeError:
        encoding = "Windows-1252"
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError as error:
            raise _refuse(path, "this is not text") from error
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise _refuse(path, "this is not text: it holds control characters")
    if not encoding:
        return text, []
    return text, [
        Problem(
            path.name,
            f"the text is not UTF-8 and was read as {encoding}",
            "Check accented letters and signs; save the file as UTF-8 if one is wrong.",
            Level.NOTE,
        )
    ]


# ---------------------------------------------------------------------------------------------
# XLSX


def _workbook_lines(path: Path, data: bytes) -> tuple[list[list[str]], list[Problem]]:
    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
        formulas = openpyxl.load_workbook(io.BytesIO(data), data_only=False)
    except Exception as error:  # a damaged or foreign zip archive fails inside openpyxl in many ways
        raise _refuse(path, "this is not an XLSX workbook that can be opened") from error
    filled = [sheet for sheet in book.worksheets if any(any(c is not None for c in r) for r in sheet.values)]
    if not filled:
        raise _refuse(path, "the workbook holds no filled cell")
    sheet, problems = filled[0], []
    if len(filled) > 1:
        others = ", ".join(repr(other.title) for other in filled[1:])
        problems.append(
            Problem(
                path.name,
                f"only the sheet {sheet.title!r} was read, not {others}",
                "Save the other sheets as files of their own if they are wanted.",
                Level.NOTE,
            )
        )
    lines = []
    for row, written in zip(sheet.iter_rows(), formulas[sheet.title].iter_rows(), strict=True):
        lines.append([_shown(cell) for cell in row])
        for cell, formula in zip(row, written, strict=True):
            if formula.data_type == "f" and cell.value is None:
                problems.append(
                    Problem(
                        f"{path.name}, row {cell.row}, cell {cell.coordinate}",
                        f"the formula {formula.value!s} has no stored result",
                        "Open the file in a spreadsheet and save it, or write the number.",
                    )
                )
            elif cell.data_type == "e":
                problems.append(
                    Problem(
                        f"{path.name}, row {cell.row}, cell {cell.coordinate}",
                        f"the cell shows the error {cell.value}",
                        "Correct the formula, or write the number.",
                    )
                )
    return lines, problems


def _shown(cell: object) -> str:
    """Text of a workbook cell, near to what a spreadsheet shows."""
    value = getattr(cell, "value", None)
    if value is None or getattr(cell, "data_type", "") == "e":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, (int, float)):
        if "%" in str(getattr(cell, "number_format", "")):
            return f"{value * 100:.10g}%"
        whole = isinstance(value, float) and value.is_integer() and abs(value) < 1e15
        return repr(int(value)) if whole else repr(value)
    return str(value)


# ---------------------------------------------------------------------------------------------
# Lines to table


def _table(path: Path, lines: Iterable[Sequence[str]], problems: list[Problem]) -> Table:
    numbered = [(number, [_unguarded(cell) for cell in line]) for number, line in enumerate(lines, 1)]
    filled = [(number, line) for number, line in numbered if any(cell.strip() for cell in line)]
    if not filled:
        raise _refuse(path, "the file holds no filled cell")
    heading = [name.strip() for name in filled[0][1]]
    while heading and not heading[-1]:
        heading.pop()
    rows = []
    for number, line in filled[1:]:
        extra = [cell for cell in line[len(heading) :] if cell.strip()]
        if extra:
            problems.append(
                Problem(
                    f"{path.name}, row {number}",
                    f"the row has more cells than the {len(heading)} columns of the heading: {extra[0]!r}",
                    "Put text that holds a comma in quotation marks, or name the column.",
                )
            )
            continue
        cells = [*line[: len(heading)], *[""] * (len(heading) - len(line))]
        rows.append(Row(number, tuple(cells)))
    return Table(path, tuple(heading), tuple(rows), tuple(problems))


def _unguarded(text: str) -> str:
    return text[1:] if re.match(r"'[=+\-@\t\r\n]", text) else text
