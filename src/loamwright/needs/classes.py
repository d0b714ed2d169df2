"""Where a number falls among printed classes: "0 to 5", "6 to 10", "21+", "<3".

One rule, stated once: printed classes with gaps between them (0 to 5, 6 to 10) are read after
rounding the figure half up to as many decimals as the edges have; classes that meet (``<3``,
``3+``, ``>100``) are read unrounded wherever one of them holds the figure. This file knows no soil and
no crops.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from loamwright.errors import UnitError
from loamwright.units import read_number


@dataclass(frozen=True, slots=True)
class Span:
    """A printed class, row heading or condition: one number, a range, or a range with an open end.

    Parameters
    ----------
    text
        As printed.
    low, high
        Ends; None = open.
    low_outside, high_outside
        True when the end itself is outside (``">5"``, ``"<3"``).
    decimals
        Decimals of the printed ends.
    """

    text: str
    low: float | None
    high: float | None
    low_outside: bool = False
    high_outside: bool = False
    decimals: int = 0

    @property
    def is_point(self) -> bool:
        """True for a single printed number."""
        return self.low is not None and self.low == self.high

    def contains(self, value: float) -> bool:
        """Tell whether a number lies in the span.

        Parameters
        ----------
        value
            In the unit the span is printed in.

        Returns
        -------
        bool
        """
        above = self.low is None or (value > self.low if self.low_outside else value >= self.low)
        below = self.high is None or (value < self.high if self.high_outside else value <= self.high)
        return above and below


_NUMBER = r"\d+(?:\.\d+)?"
_SPAN_FORMS = (
    re.compile(rf"^(?P<low>{_NUMBER})(?:\s*(?:to|-|–)\s*(?P<high>{_NUMBER}))?$"),
    re.compile(rf"^(?P<from>{_NUMBER})\s*\+$"),
    re.compile(rf"^(?P<sign>[<>]=?)\s*(?P<edge>{_NUMBER})$"),
)


def parse_span(text: str) -> Span:
    """Read a printed class such as ``"6 to 10"``, ``"6-10"``, ``"21+"``, ``"<3"`` or ``"2"``.

    Parameters
    ----------
    text
        As printed.

    Returns
    -------
    Span

    Raises
    ------
    UnitError
        When it is none of these, or runs backwards.

    Examples
    --------
    >>> parse_span("6 to 10").contains(10)
    True
    >>> parse_span("<3").contains(3)
    False
    """
    stripped = text.strip()
    match = next((found for form in _SPAN_FORMS if (found := form.match(stripped))), None)
    if match is None:
        raise UnitError(
            f"{text!r} is not a class; write 6 to 10, 21+, <3 or a single number"
            + (
                " (a spreadsheet may have turned a range into a date)"
                if re.search(r"[A-Za-z]{3}", text)
                else ""
            )
        )
    parts = match.groupdict()
    numbers = [part for key, part in parts.items() if part and key != "sign"]
    decimals = max(len(number.partition(".")[2]) for number in numbers)
    if "low" in parts:
        low = read_number(parts["low"])
        high = read_number(parts["high"]) if parts["high"] else low
        if high < low:
            raise UnitError(f"class {text!r} runs backwards; write the smaller number first")
        return Span(stripped, low, high, decimals=decimals)
    if "from" in parts:
        return Span(stripped, read_number(parts["from"]), None, decimals=decimals)
    edge, strict = read_number(parts["edge"]), len(parts["sign"]) == 1
    if parts["sign"].startswith("<"):
        return Span(stripped, None, edge, high_outside=strict, decimals=decimals)
    return Span(stripped, edge, None, low_outside=strict, decimals=decimals)


def leading_number(text: str) -> float | None:
    """Read the number a text starts with.

    Examples
    --------
    >>> leading_number("4-5 plants/ft2")
    4.0
    """
    match = re.match(r"\d{1,9}(?:\.\d{1,9})?", text.strip())
    return None if match is None else read_number(match[0])


def round_half_up(value: float, decimals: int = 0) -> float:
    """Round halves away from zero, as a person does, not to the even neighbour.

    Examples
    --------
    >>> round_half_up(10.5), round_half_up(20.49)
    (11.0, 20.0)
    """
    exact = Decimal(repr(round(value, 9)))
    return float(exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP))


def classified(value: float, spans: Iterable[Span]) -> float:
    """Return the number as it is compared with a set of printed classes.

    Rounded half up to the decimals of the edges. Where edges are written with ``<`` or ``>``, a figure that
    a class contains stays as it is.
    """
    printed = tuple(spans)
    sharp = any(span.low_outside or span.high_outside for span in printed)
    if not printed or (sharp and any(span.contains(value) for span in printed)):
        return value
    return round_half_up(value, max(span.decimals for span in printed))
