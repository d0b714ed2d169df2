"""One cell of a sheet, split: number, "<", range, rating letter, unit, flag, or one of the kinds of blank.

Whether a comma is a decimal mark is settled for a column or file first (`decimal_comma`), never cell by
cell. What the number is a figure of is for the column.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from loamwright import units
from loamwright.errors import AmbiguousNumberError, UnitError
from loamwright.files.sheets.words.measures import find_units, read_unit
from loamwright.files.sheets.words.vocabulary import means, plain
from loamwright.units import read_number

_NUMBER = (
    r"[+-]?(?:[0-9][0-9.,'’\u00a0\u2009\u202f]*(?: [0-9]{3}(?![0-9])[0-9.,]*)*|[.,][0-9]+)"
    r"(?:[eE][+-]?[0-9]+)?"
)
_FIGURE = re.compile(rf"(?P<sign>[<>≤≥]=?|=)?\s*\$?\s*(?P<number>{_NUMBER})\s*(?P<rest>.*)", re.DOTALL)
_RANGE = re.compile(rf"(?P<low>{_NUMBER})\s*(?:-|–|—|to)\s*(?P<high>{_NUMBER})\s*(?P<rest>.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Printed:
    """What one cell says.

    Exactly one of these holds: `value`; `low` and `high`; `below`; `above`; `blank`; `not_detected`;
    `none_needed`; `choices` (a number with two readings); `text` (nothing of the kind).
    """

    printed: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    below: float | None = None
    above: float | None = None
    rating: str | None = None
    unit: str | None = None
    blank: bool = False
    not_detected: bool = False
    none_needed: bool = False
    choices: tuple[float, ...] = ()
    text: str | None = None

    @property
    def is_number(self) -> bool:
        """Whether the cell holds one number or one limit."""
        return not (self.value is None and self.below is None and self.above is None)

    @property
    def is_figure(self) -> bool:
        """Whether the cell holds a result: a number, a range, or a limit."""
        return not (self.blank or self.text is not None)


def _number(text: str, decimal_comma: bool | None) -> float:
    return read_number(re.sub(r"(?<=[0-9])['’](?=[0-9]{3})", " ", text).rstrip(",").strip(), decimal_comma)


def _tail(rest: str) -> tuple[str | None, str | None] | None:
    """Read what follows a number: rating and unit, either or none; None when it is something else."""
    bare = rest.strip().strip("()[]").strip()
    if not bare or re.fullmatch(r"\*+", bare):
        return None, None
    if means("rating", bare):
        return bare, None
    unit = read_unit(bare)
    if unit is not None:
        return None, unit.names[0]
    found = find_units(bare)
    left = found.rest.strip(" ()[]*")
    if found.names and means("rating", left):
        return bare[plain(bare).find(left) :][: len(left)].upper(), found.names[0]
    return None


@lru_cache(maxsize=50_000)
def read_printed(text: str, decimal_comma: bool | None = None) -> Printed:
    """Read one cell."""
    bare = text.strip()
    if not bare or means("not tested", bare):
        return Printed(bare, blank=True)
    if means("not detected", bare):
        return Printed(bare, not_detected=True)
    if means("none needed", bare):
        return Printed(bare, none_needed=True)
    span = _RANGE.fullmatch(bare)
    whole = _FIGURE.fullmatch(bare)
    try:
        if span and not span["low"].startswith("-") and _tail(span["rest"]) is not None:
            low, high = _number(span["low"], decimal_comma), _number(span["high"], decimal_comma)
            rating, unit = _tail(span["rest"]) or (None, None)
            return Printed(bare, low=low, high=high, rating=rating, unit=unit)
        if whole is None or (tail := _tail(whole["rest"])) is None:
            return Printed(bare, text=bare)
        number = _number(whole["number"], decimal_comma)
    except AmbiguousNumberError as error:
        return Printed(bare, choices=error.choices)
    except UnitError:
        return Printed(bare, text=bare)
    found = Printed(bare, rating=tail[0], unit=tail[1])
    sign = whole["sign"] or ""
    if sign[:1] in ("<", "≤"):
        return replace(found, below=number)
    if sign[:1] in (">", "≥"):
        return replace(found, above=number)
    return replace(found, value=number)


def decimal_comma_of(texts: Iterable[str]) -> bool | None:
    """Settle whether decimals are written with a comma by the numbers of cells, as `units` does."""
    found = (match["number"] for text in texts if (match := _FIGURE.fullmatch(text.strip())))
    return units.decimal_comma_of(re.sub(r"[^0-9.,]", "", number).rstrip(",.") for number in found)
