"""Dates and depths of the samples of a sheet: which date is which, in which order, and what is not told."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from loamwright.files.fields import DAY_FIRST, MONTH_FIRST
from loamwright.files.grids import Cell
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.words.calendar_dates import (
    YEAR_FIRST,
    PrintedDate,
    likely_order,
    read_printed_date,
    settled_order,
)
from loamwright.files.sheets.words.depths import Depth, read_depth
from loamwright.units import read_number

#: Roles of date columns, in the order in which the days follow one another.
DATE_ROLES = ("sampled", "received", "reported")
DATED = ("dated", *DATE_ROLES)

_ORDERS = (MONTH_FIRST, DAY_FIRST, YEAR_FIRST)
_MEANINGS = {
    "the day of sampling": "sampled",
    "the day the lab received it": "received",
    "the day of the report": "reported",
}
DAY_OF_SAMPLING = "day of sampling: this file prints none, and no earlier file's day is taken for it"
SAME_AS_RECEIVED = "take the day received"
AS_STORED, SWAPPED = "as stored", "day and month swapped"
_LENGTHS = {'"': "in", "in": "in", "inches": "in", "cm": "cm"}


@dataclass(slots=True)
class Calendar:
    """Reads dates of one sheet in one settled order of parts.

    `order` is None until `settle` was called or when only one reading ever occurs; `asked` is True when the
    order is a candidate. `asked_days` are texts of which it was asked what day they are.
    """

    inquiry: Inquiry
    order: str | None = None
    asked: bool = False
    meaning: str = "dated"
    swapped: bool = False
    asked_days: set[str] = field(default_factory=set)

    def settle(self, cells: Iterable[Cell], chains: Iterable[Sequence[Cell]], system: str, what: str) -> None:
        """Settle the order of day and month from all dates of the sheet, or ask."""
        read = [found for cell in cells if (found := _printed(cell)) is not None]
        in_time = [[found for cell in chain if (found := _printed(cell)) is not None] for chain in chains]
        open_dates = [date for date in read if len(set(date.readings.values())) > 1]
        if not open_dates:
            return
        self.order = settled_order(read, in_time)
        if self.order is not None:
            return
        possible = [order for order in _ORDERS if all(date.in_order(order) for date in open_dates)]
        likely = likely_order(open_dates, system)
        answer = self.inquiry.ask(
            "date-order",
            f"order of day and month in {open_dates[0].text!r}",
            what,
            tuple(possible) or _ORDERS,
            likely,
        )
        self.asked = answer is None
        self.order = likely if answer is None else (None if answer == NOT_KNOWN else answer)

    def settle_stored(self, columns: Iterable[Sequence[Cell]], what: str) -> None:
        """Ask about stored dates beside texts such as 18/02/2025: a spreadsheet may have swapped the others.

        A spreadsheet that expects the month first turns 05/02/2025 into 2 May and leaves 18/02/2025 a text.
        """
        for cells in columns:
            stored = [cell.date for cell in cells if cell.date is not None]
            texts = [found for cell in cells if (found := _printed(cell)) is not None]
            refused = any(set(date.readings) == {DAY_FIRST} and date.mark in ("/", "-") for date in texts)
            if refused and stored and all(date.day <= 12 for date in stored):
                self.swapped = (
                    self.inquiry.ask(
                        "stored-dates",
                        f"whether the spreadsheet swapped day and month of dates such as {stored[0]}",
                        what,
                        (AS_STORED, SWAPPED),
                        AS_STORED,
                    )
                    == SWAPPED
                )

    def date(self, cell: Cell, where: str) -> dt.date | None:
        """Read a cell's date; None when it holds none, or one that must be asked about."""
        if cell.date is not None:
            return cell.date.replace(month=cell.date.day, day=cell.date.month) if self.swapped else cell.date
        if not re.search(r"[0-9]", cell.text):
            return None
        printed = read_printed_date(cell.text)
        found = printed.in_order(self.order) if printed is not None else None
        if found is None and not (printed and self.order is None):
            self.asked_days.add(cell.text)
            ident = f"date.{re.sub(r'[^a-z0-9]+', '-', cell.text.casefold())}"
            answer = self.inquiry.ask(
                ident, f"what day {cell.text!r} is", where, ("<day, as 2025-10-18>",), accepts=is_day
            )
            given = read_printed_date(answer) if answer else None
            return given.in_order(None) if given else None
        return found

    def is_candidate(self, cell: Cell) -> bool:
        """Whether a cell's date hangs on the asked order."""
        printed = _printed(cell)
        return self.asked and printed is not None and len(set(printed.readings.values())) > 1

    def settle_meaning(self, names: Sequence[str]) -> None:
        """Ask what a column called "Date" is the date of, when no other column says when was sampled."""
        listed = ", ".join(names)
        answer = self.inquiry.ask(
            "date-meaning", f"what {listed} is the date of", f"column {listed}", tuple(_MEANINGS)
        )
        self.meaning = _MEANINGS.get(answer or "", "dated")


def _printed(cell: Cell) -> PrintedDate | None:
    return read_printed_date(cell.text) if cell.text and cell.date is None else None


# ---------------------------------------------------------------------------------------------
# Depth


def depth_of(texts: Mapping[str, tuple[str, str | None]], stated: Depth | None) -> Depth | None:
    """Read a record's depth from its depth cells (text and unit by role), else the one stated for all."""
    unit = next((unit for _, unit in texts.values() if unit), None)
    top, bottom = texts.get("depth_top", ("", None))[0], texts.get("depth_bottom", ("", None))[0]
    whole = texts.get("depth", ("", None))[0]
    if whole and bottom and not top:
        top, whole = whole, ""
    if whole:
        found = read_depth(whole) or read_depth(f"{whole} {unit or 'in'}")
        if found is not None:
            named = read_depth(whole) is not None or unit is not None
            return found if named else Depth(found.top, found.bottom)
        single = re.fullmatch(r"([0-9]{1,3}(?:[.,][0-9])?)\s*(\"|in|inches|cm)?", whole.strip().casefold())
        if single and read_number(single[1]) > 0:
            printed = _LENGTHS.get(single[2] or "")
            return Depth(0.0, read_number(single[1]), printed or unit)
        return None
    numbers = [
        re.fullmatch(r"\s*([0-9]{1,3}(?:[.,][0-9]+)?)\s*(\"|in|inches|cm)?\s*", text.casefold())
        for text in (top, bottom)
    ]
    if all(numbers):
        # no depth is in the thousands: a comma stands before decimals, whatever the sheet's other figures do
        values = [read_number(match[1].replace(",", "."), decimal_comma=False) for match in numbers if match]
        printed = next((match[2] for match in numbers if match and match[2]), None)
        unit = _LENGTHS.get(printed or "", unit)
        return Depth(values[0], values[1], unit) if values[1] > values[0] else None
    return stated


def asked_depth(answer: str | None) -> Depth | None:
    """Read the depth an answer gives."""
    return read_depth(answer) if answer else None


def is_day(answer: str) -> bool:
    """Tell whether an answer is a day that can be read in one way."""
    printed = read_printed_date(answer)
    return printed is not None and printed.in_order(None) is not None
