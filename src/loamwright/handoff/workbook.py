"""Tables out: spreadsheet workbooks (XLSX) and comma-separated text (CSV).

This file answers "how does a table leave the program so that nothing in it runs?". Text is written
as text: a cell that starts with an equals sign stays a name in XLSX, and gets a leading apostrophe
in CSV, where a spreadsheet would otherwise take it for a formula. What stands in the tables is
decided in `buying_list`, `season_record` and `exports`; reading tables is `tables`.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Generic, TypeVar

from loamwright.files import write_whole
from loamwright.money import money_sign
from loamwright.units import ACRE_M2, FT_M, HA_M2, LB_ACRE_KG_HA, LB_KG

R = TypeVar("R")

#: What a cell may hold. None is an empty cell: not stated, not tested, unknown.
Cell = str | float | int | Decimal | dt.date | None

#: Characters at the start of a text that make a spreadsheet read CSV text as a formula
#: (OWASP, CSV Injection: ``=``, ``+``, ``-``, ``@``, tab, carriage return; a line feed likewise).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")

#: Longest text a cell may hold [characters] (Microsoft, Excel specifications and limits).
CELL_LIMIT = 32_767


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    Parameters
    ----------
    name
        Heading, with the unit in it: ``"rate lb/acre"``.
    width
        Width in a spreadsheet [characters].
    digits
        Decimals shown for numbers; None = as many as the number has.
    money
        True for money; its name ends in "$", which stands for the sign of the property's currency.
    """

    name: str
    width: float = 12.0
    digits: int | None = None
    money: bool = False

    @property
    def heading(self) -> str:
        """What stands over the column: its name, money with the sign of the property's currency."""
        return self.name.removesuffix("$") + money_sign() if self.money else self.name


@dataclass(frozen=True, slots=True)
class Kept(Generic[R]):
    """One column of a table that stands in a workbook and on a page: declared once, read by both.

    Parameters
    ----------
    column
        What the workbook's column is called and how it looks; None = it stands on the page only.
    cell
        What the workbook holds of a record.
    key
        What the page calls it; empty = it does not stand there.
    text
        What the page says of a record, in a unit system; None = the cell as it is.
    """

    column: Column | None
    cell: Callable[[R], Cell]
    key: str = ""
    text: Callable[[R, str], str] | None = None

    def said(self, record: R, system: str) -> str:
        """Return what the page says."""
        if self.text is not None:
            return self.text(record, system)
        cell = self.cell(record)
        return "" if cell is None else str(cell)


def columns_of(table: Sequence[Kept[R]]) -> tuple[Column, ...]:
    """The columns of a table, for a workbook."""
    return tuple(kept.column for kept in table if kept.column is not None)


def cells_of(table: Sequence[Kept[R]], record: R) -> tuple[Cell, ...]:
    """The cells of one record, for a workbook."""
    return tuple(kept.cell(record) for kept in table if kept.column is not None)


def texts_of(table: Sequence[Kept[R]], record: R, system: str) -> dict[str, str]:
    """What a page says of one record, by the page's own keys."""
    return {kept.key: kept.said(record, system) for kept in table if kept.key}


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under a heading, with a line of totals.

    Parameters
    ----------
    heading
        Text over the rows; empty = none.
    rows
        Cells by column.
    totals
        One row in bold after the rows; empty = none.
    """

    heading: str
    rows: tuple[tuple[Cell, ...], ...]
    totals: tuple[Cell, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of a workbook.

    Parameters
    ----------
    name
        Name on the tab, ours, at most 31 characters.
    title
        Lines over the table.
    columns
        The columns.
    sections
        The rows; a plain table is one section without heading.
    """

    name: str
    title: tuple[str, ...]
    columns: tuple[Column, ...]
    sections: tuple[Section, ...]


#: A unit at the place of words in a heading, the metric one in its place, and how many of it one makes.
_METRIC: tuple[tuple[re.Pattern[str], str, float], ...] = tuple(
    (re.compile(rf"(?<![\w/]){unit}(?![\w/])"), metric, factor)
    for unit, metric, factor in (
        ("lb/acre", "kg/ha", LB_ACRE_KG_HA),
        ("acres", "hectares", ACRE_M2 / HA_M2),
        ("lb", "kg", LB_KG),
        ("ft", "m", FT_M),
    )
)


def in_units(sheet: Sheet, system: str) -> Sheet:
    """Return a sheet, laid out in pounds and acres, in the units of a property.

    Parameters
    ----------
    sheet
        Its headings name the units: ``"rate lb/acre"``.
    system
        ``"us"`` leaves it as it is; ``"metric"`` gives kilograms, hectares and metres.

    Returns
    -------
    Sheet
    """
    if system != "metric":
        return sheet
    factors, columns = [], []
    for column in sheet.columns:
        found = next(((p, m, f) for p, m, f in _METRIC if p.search(column.name)), None)
        factors.append(None if found is None else found[2])
        columns.append(
            column if found is None else replace(column, name=found[0].sub(found[1], column.name, count=1))
        )

    def told(row: tuple[Cell, ...]) -> tuple[Cell, ...]:
        return tuple(
            cell * factor if factor is not None and isinstance(cell, float | int) else cell
            for cell, factor in zip(row, factors, strict=True)
        )

    sections = tuple(
        replace(part, rows=tuple(map(told, part.rows)), totals=told(part.totals) if part.totals else ())
        for part in sheet.sections
    )
    return replace(sheet, columns=tuple(columns), sections=sections)


def write_workbook(path: Path, sheets: Sequence[Sheet], made_on: dt.date) -> None:
    """Write sheets to an XLSX file; no cell is a formula or a link."""
    import xlsxwriter

    held = io.BytesIO()
    plain = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    book = xlsxwriter.Workbook(held, plain)
    book.set_properties({"author": "loamwright", "created": dt.datetime.combine(made_on, dt.time(), dt.UTC)})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
    heading = book.add_format({"bold": True, "font_size": 12})
    formats: dict[tuple[int | None, bool, bool], object] = {}

    def style(column: Column, total: bool) -> object:
        key = (column.digits, column.money, total)
        if key not in formats:
            look: dict[str, object] = {"valign": "top", "text_wrap": True, "bold": total}
            if column.money:
                look["num_format"] = f'"{money_sign()}"#,##0.00'
            elif column.digits is not None:
                look["num_format"] = "#,##0" + ("." + "0" * column.digits if column.digits else "")
            if total:
                look["top"] = 1
            formats[key] = book.add_format(look)
        return formats[key]

    for sheet in sheets:
        page = book.add_worksheet(sheet.name)
        page.set_landscape()
        page.fit_to_pages(1, 0)
        for index, column in enumerate(sheet.columns):
            page.set_column(index, index, column.width)
        row = 0
        for line in sheet.title:
            page.write_string(row, 0, line[:CELL_LIMIT], heading if row == 0 else None)
            row += 1
        if row:
            row += 1
        for index, column in enumerate(sheet.columns):
            page.write_string(row, index, column.heading, bold)
        page.freeze_panes(row + 1, 0)
        page.repeat_rows(row)
        row += 1
        for section in sheet.sections:
            if section.heading:
                page.write_string(row, 0, section.heading[:CELL_LIMIT], heading)
                row += 1
            for cells, total in [(r, False) for r in section.rows] + (
                [(section.totals, True)] if section.totals else []
            ):
                for index, (cell, column) in enumerate(zip(cells, sheet.columns, strict=True)):
                    if cell is None or cell == "":
                        continue
                    if isinstance(cell, str):
                        page.write_string(row, index, cell[:CELL_LIMIT], style(column, total))
                    elif isinstance(cell, dt.date):
                        page.write_string(row, index, cell.isoformat(), style(column, total))
                    else:
                        page.write_number(row, index, float(cell), style(column, total))
                row += 1
    book.close()
    write_whole(path, held.getvalue())


def guarded(text: str) -> str:
    """Return text that a spreadsheet reading CSV will not take for a formula.

    Examples
    --------
    >>> guarded("=1+1")
    "'=1+1"
    >>> guarded("Creek bend")
    'Creek bend'
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return guarded(cell)
    if isinstance(cell, dt.date):
        return cell.isoformat()
    return str(cell) if isinstance(cell, (int, Decimal)) else repr(cell)


def write_csv(path: Path, sheet: Sheet) -> None:
    """Write the rows of a sheet as UTF-8 CSV with one heading line; titles and totals are left out."""
    held = io.StringIO()
    writer = csv.writer(held)
    writer.writerow(column.heading for column in sheet.columns)
    for section in sheet.sections:
        writer.writerows([_csv_cell(cell) for cell in row] for row in section.rows)
    write_whole(path, held.getvalue())
