"""Dates as printed, and which of their parts stands first.

A date such as 3/4/2025 has two readings. The order is settled for all dates of a file that are written
with the same mark: by a date of which one reading is impossible, or by the order of sampling, receiving
and reporting. Dots are read day first; year-first dates and named months need no settling.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from loamwright.files.fields import DAY_FIRST, MONTH_FIRST

YEAR_FIRST = "year-month-day"

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar januari janvier janv jänner",
            "feb february februar februari février fevrier févr fév feber",
            "mar march mars marts märz mär",
            "apr april avril avr",
            "may mai maj",
            "jun june juni juin",
            "jul july juli juillet juil",
            "aug august augusti août aout",
            "sep sept september septembre",
            "oct october okt oktober octobre",
            "nov november novembre",
            "dec december des desember dez dezember déc décembre decembre",
        ),
        1,
    )
    for name in names.split()
}

#: A spreadsheet counts days from this one (day 60 is a leap day that never was; all ours lie later).
_SPREADSHEET_DAY_ZERO = dt.date(1899, 12, 30)

#: Ours: soil is not sampled before, and a two-digit year belongs to this century.
_FIRST_YEAR, _LAST_YEAR, _CENTURY = 1950, 2099, 2000


@dataclass(frozen=True, slots=True)
class PrintedDate:
    """A date as printed: the readings it has by order of its parts, and the mark between them.

    `mark` is empty when the date has one reading.
    """

    text: str
    readings: dict[str, dt.date]
    mark: str = ""

    def in_order(self, order: str | None) -> dt.date | None:
        """Return the date in an order of parts; any order does when there is one reading."""
        if len(set(self.readings.values())) == 1:
            return next(iter(self.readings.values()))
        return self.readings.get(order or "")


def _date(year: int, month: int, day: int) -> dt.date | None:
    full = year + _CENTURY if year < 100 else year
    try:
        found = dt.date(full, month, day)
    except ValueError:
        return None
    return found if _FIRST_YEAR <= full <= _LAST_YEAR else None


def _one(text: str, date: dt.date | None) -> PrintedDate | None:
    return None if date is None else PrintedDate(text, {"": date})


def read_printed_date(text: str) -> PrintedDate | None:
    """Read a date as printed; None when the text is none."""
    bare = re.sub(r"(?<=[0-9])(?:st|nd|rd|th)\b", "", text.strip(), flags=re.IGNORECASE)
    if match := re.fullmatch(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})(?:[T ].*)?", bare):
        return _one(text, _date(int(match[1]), int(match[2]), int(match[3])))
    if match := re.fullmatch(r"((?:19|20)[0-9]{2})([0-9]{2})([0-9]{2})", bare):
        return _one(text, _date(int(match[1]), int(match[2]), int(match[3])))
    if match := re.fullmatch(r"([^\W0-9_]{3,9})\.?\s+([0-9]{1,2}),?\s+([0-9]{4}|[0-9]{2})", bare):
        month, day, year = _MONTHS.get(match[1].casefold()), int(match[2]), int(match[3])
        return _one(text, _date(year, month, day)) if month else None
    if match := re.fullmatch(r"([0-9]{1,2})\.?[\s-]*([^\W0-9_]{3,9})\.?[\s,-]*([0-9]{4}|[0-9]{2})", bare):
        month, day, year = _MONTHS.get(match[2].casefold()), int(match[1]), int(match[3])
        return _one(text, _date(year, month, day)) if month else None
    if match := re.fullmatch(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})(?:[T ].*)?", bare):
        first, mark, second, year = int(match[1]), match[2], int(match[3]), int(match[4])
        orders = {MONTH_FIRST: (year, first, second), DAY_FIRST: (year, second, first)}
        if mark == ".":
            orders = {DAY_FIRST: (year, second, first)}
        elif mark == "-" and len(match[4]) == 2:
            orders[YEAR_FIRST] = (first, second, year)
        readings = {order: date for order, parts in orders.items() if (date := _date(*parts)) is not None}
        return PrintedDate(text, readings, mark) if readings else None
    if match := re.fullmatch(r"([0-9]{5})(?:\.0*)?", bare):
        return _one(text, _SPREADSHEET_DAY_ZERO + dt.timedelta(days=int(match[1])))
    return None


def settled_order(dates: Iterable[PrintedDate], in_time: Iterable[Sequence[PrintedDate]] = ()) -> str | None:
    """Return the one order of parts that every date allows, or None.

    `in_time` holds dates that follow one another: sampled, received, reported.
    """
    orders = {MONTH_FIRST, DAY_FIRST, YEAR_FIRST}
    for date in dates:
        if len(set(date.readings.values())) > 1 or date.mark:
            orders &= set(date.readings)
    for chain in in_time:
        for earlier, later in pairwise(chain):
            orders -= {order for order in orders if not _follow(earlier, later, order)}
    return orders.pop() if len(orders) == 1 else None


def _follow(earlier: PrintedDate, later: PrintedDate, order: str) -> bool:
    first, second = earlier.in_order(order), later.in_order(order)
    return first is None or second is None or first <= second


def likely_order(dates: Sequence[PrintedDate], system: str) -> str:
    """Return the order that puts the dates closest together; in doubt the habit of the unit system."""
    habit = MONTH_FIRST if system == "us" else DAY_FIRST
    orders = [order for order in (habit, MONTH_FIRST, DAY_FIRST) if all(d.in_order(order) for d in dates)]

    def days(order: str) -> int:
        read = [date.in_order(order) or dt.date.min for date in dates]
        return (max(read) - min(read)).days

    return min(orders, key=days, default=habit)
