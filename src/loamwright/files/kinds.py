"""The kinds of values people type and read: one reader and one writer each.

This file answers "what does this text mean, and how is that value written back?". What is written can be
read again: numbers are not rounded. Which thing has which field of which kind is `things`.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from loamwright.errors import UnitError
from loamwright.files.fields import (
    BOUNDS,
    impossible,
    parse_date,
    parse_percent,
    parse_place,
    parse_sign,
    parse_span,
    parse_word,
    parse_year,
    parse_yes_no,
)
from loamwright.files.tables import parse_depth
from loamwright.files.work_rules import BAND_SUPPLIES, blending_text, parse_blending
from loamwright.units import (
    ACRE_M2,
    LB_ACRE_KG_HA,
    LB_KG,
    TON_KG,
    parse_area,
    parse_density,
    parse_length,
    parse_mass,
    parse_money,
    parse_package,
    parse_quantity,
    parse_rate,
    parse_speed,
    read_number,
)
from loamwright.values import OwnWindow, Quantity, Timing

#: Words that clear a field. A blank never does.
CLEAR_WORDS = frozenset({"clear", "(clear)", "not stated", "none stated"})

FOOT_M = 0.3048
MPH_M_S = 0.44704


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of value.

    Parameters
    ----------
    name
        What it is, for lists of fields: ``"date"``.
    example
        How it is written.
    read
        Text and unit system to value; raises `UnitError` or `ValueError` whose message is "what; fix".
    write
        Value and unit system to text that `read` takes.
    in_units
        True when `read` takes the unit system too: a ton is a tonne in a metric property.
    """

    name: str
    example: str
    read: Callable[..., Any]
    write: Callable[[Any, str], str]
    in_units: bool = False


def shown(value: float) -> str:
    """Write a number in full, without a tail of noise.

    Parameters
    ----------
    value
        The number.

    Returns
    -------
    str

    Examples
    --------
    >>> shown(0.1 * 3), shown(50.0)
    ('0.3', '50')
    """
    return f"{value:.10g}"


def _number(name: str, low: float | None, high: float | None) -> Callable[[str], float]:
    def read(text: str) -> float:
        value: float = read_number(text)
        if (low is not None and value < low) or (high is not None and value > high):
            limits = (
                f"from {low:g} to {high:g}"
                if low is not None and high is not None
                else (f"{low:g} or more" if low is not None else f"{high:g} or less")
            )
            raise ValueError(f"{text!r} is not a possible {name}; it must be {limits}")
        return value

    return read


def within(bound: str, whole: bool = False) -> Kind:
    """Return the kind of numbers within the bounds that files are held to as well.

    Parameters
    ----------
    bound
        A row of `fields.BOUNDS` without a unit.
    whole
        True for whole numbers only.

    Returns
    -------
    Kind
    """

    def read(text: str) -> float:
        value: float = read_number(text)
        refusal = BOUNDS[bound].refusal(repr(text), value)
        if refusal is not None:
            raise refusal
        if whole and not value.is_integer():
            raise ValueError(f"{text!r} is not a whole number; write for example 3")
        return int(value) if whole else value

    return Kind(bound, "3" if whole else "6.2", read, lambda value, _: shown(value))


def limited(bound: str) -> Kind:
    """Return the kind of lab figures, which may be a limit only: sign and figure.

    Parameters
    ----------
    bound
        A row of `fields.BOUNDS` without a unit.

    Returns
    -------
    Kind
    """
    figure = within(bound)

    def read(text: str) -> tuple[str, float]:
        sign, number = parse_sign(text)
        return sign, figure.read(number)

    return Kind(bound, "6.2", read, lambda value, _: f"{value[0]}{shown(value[1])}")


def span(bound: str) -> Kind:
    """Return the kind of lab rates, which may be a range: lower end, and upper end or None.

    Parameters
    ----------
    bound
        A row of `fields.BOUNDS` without a unit.

    Returns
    -------
    Kind
    """
    figure = within(bound)

    def read(text: str) -> tuple[float, float | None]:
        low, high = (figure.read(end) if end else None for end in parse_span(text))
        if low is None or (high is not None and high <= low):
            raise ValueError(f"{text!r} is no range; write the lower end first: 80 to 120")
        return low, high

    return Kind(
        bound, "80 to 120", read, lambda value, _: " to ".join(shown(e) for e in value if e is not None)
    )


def charge() -> Kind:
    """Return the kind of charges by weight of soil; the unit may be written with them.

    Returns
    -------
    Kind
    """
    figure = within("charge")

    def read(text: str) -> float:
        number = re.sub(r"\s*(?:meq/100\s*g|cmol(?:c|\(\+\))?/kg)$", "", text.strip(), flags=re.IGNORECASE)
        if re.search(r"(?:cm3|cm³|ml|dm3|dm³|cc|l)$", number.strip(), re.IGNORECASE):
            fix = (
                "divide it by the weight of 1 cm3 of the soil [g], which the lab prints as weight per volume"
            )
            raise ValueError(f"{text!r} is of a volume of soil, and 100 g are meant here; {fix}")
        value: float = figure.read(number)
        return value

    return Kind("charge", "5.2 meq/100 g", read, lambda value, _: f"{shown(value)} meq/100 g")


def count(name: str = "count", low: int = 0, high: int = 100_000) -> Kind:
    """Return the kind of whole numbers within limits.

    Parameters
    ----------
    name
        What the number is, for messages.
    low, high
        Limits, both allowed.

    Returns
    -------
    Kind
    """

    def read(text: str) -> int:
        value = _number(name, low, high)(text)
        if not value.is_integer():
            raise ValueError(f"{text!r} is not a whole number; write for example {max(low, 1)}")
        return int(value)

    return Kind(name, str(max(low, 1)), read, lambda value, _: str(value))


def word(name: str, words: type[StrEnum]) -> Kind:
    """Return the kind of a fixed set of words.

    Parameters
    ----------
    name
        What the word is.
    words
        The enumeration.

    Returns
    -------
    Kind
    """

    first = next(iter(words)).value
    return Kind(name, first, lambda text: parse_word(text, words), lambda value, _: str(value))


def one_of(name: str, choices: tuple[str, ...]) -> Kind:
    """Return the kind of a fixed set of texts.

    Parameters
    ----------
    name
        What the text is.
    choices
        The texts.

    Returns
    -------
    Kind
    """

    def read(text: str) -> str:
        for choice in choices:
            if choice.casefold() == text.strip().casefold():
                return choice
        raise ValueError(f"{text!r} is not one of: {', '.join(choices)}; write one of these")

    return Kind(name, choices[0] if choices else "", read, lambda value, _: str(value))


def _list(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def words(name: str, kind: type[StrEnum]) -> Kind:
    """Return the kind of lists of words between semicolons.

    Parameters
    ----------
    name
        What the words are.
    kind
        The enumeration.

    Returns
    -------
    Kind
    """
    one = word(name, kind)
    return Kind(
        name,
        "; ".join(item.value for item in list(kind)[:2]),
        lambda text: tuple(one.read(part) for part in _list(text)),
        lambda value, _: "; ".join(map(str, value)),
    )


def _months(text: str) -> tuple[int, ...]:
    found: list[int] = []
    read = _number("month", 1, 12)
    for part in text.replace(",", ";").split(";"):
        first, dash, last = part.strip().partition("-")
        start, end = int(read(first)), int(read(last)) if dash else int(read(first))
        span = range(start, end + 1) if start <= end else (*range(start, 13), *range(1, end + 1))
        found.extend(span)
    return tuple(dict.fromkeys(found))


def _money(text: str) -> Decimal:
    amount = parse_money(text)
    if refusal := BOUNDS["money"].refusal(repr(text), amount):
        raise refusal
    return amount


def _per_acre(text: str) -> Decimal:
    """Money per area, kept per hectare."""
    bare, _, unit = text.partition("/")
    amount = _money(bare.strip())
    unit = unit.strip().casefold() or "acre"
    if unit in ("acre", "ac"):
        return amount / Decimal(str(ACRE_M2)) * 10_000
    if unit in ("ha", "hectare"):
        return amount
    raise ValueError(f"{text!r} is not money per acre or hectare; write for example 6.00/acre")


def _per_mass(text: str, system: str) -> Decimal:
    """Money per ton or tonne, kept per kilogram."""
    bare, _, unit = text.partition("/")
    amount = _money(bare.strip())
    unit = unit.strip().casefold() or ("t" if system == "metric" else "ton")
    ton, pound = Decimal(str(TON_KG)), Decimal(str(LB_KG))
    sizes = {"ton": ton, "t": Decimal(1000), "tonne": Decimal(1000), "kg": Decimal(1), "lb": pound}
    if unit not in sizes:
        raise ValueError(f"{text!r} is not money per ton; write for example 12.00/ton or 13.00/t")
    return amount / sizes[unit]


def _band(text: str) -> tuple[float, float]:
    match = re.fullmatch(r"(.+?)(?:\s+to\s+|\s*[-–]\s*)(.+)", text.strip())
    if match is None:
        raise ValueError(f"{text!r} is no band; write the lowest and highest share met: 95 % to 110 %")
    low, high = (
        _number("percent", 0, 1000)(part.strip().removesuffix("%").strip()) / 100 for part in match.groups()
    )
    if not 0 < low <= 1 <= high:
        raise ValueError(f"{text!r} is no band around the need; write for example 95 % to 110 %")
    return low, high


def _bands(text: str) -> dict[str, tuple[float, float]]:
    found = {}
    for part in filter(None, (one.strip() for one in text.split(";"))):
        match = re.fullmatch(rf"({'|'.join(map(re.escape, BAND_SUPPLIES))})\s+(.+)", part)
        if match is None:
            raise ValueError(f"{part!r} names no supply and band; write for example N 95 % to 100 %")
        found[match[1]] = _band(match[2])
    return found


def _mix(text: str) -> tuple[bool, str]:
    answer, _, reason = text.partition(",")
    return parse_yes_no(answer), _text(reason)


def _window(text: str) -> OwnWindow:
    parts = [part.strip() for part in text.split(";")]
    told = [part for part in parts[2:] if part.casefold().startswith(("of ", "share "))]
    parts = [part for part in parts if part not in told]
    of = next((part[3:].strip() for part in told if part.casefold().startswith("of ")), "")
    share = next(
        (SHARE.read(part[6:].strip()) for part in told if not part.casefold().startswith("of ")), None
    )
    if share is not None and not of:
        raise ValueError(f"{text!r} does not say of what it is a share; write for example of N; share 50 %")
    days = (
        re.fullmatch(r"([0-9]{1,2}-[0-9]{1,2})\s+to\s+([0-9]{1,2}-[0-9]{1,2})", parts[1])
        if len(parts) > 1
        else None
    )
    if days is None or len(parts) > 4:
        fix = "write timing; from to until; crop; placement: before planting; 04-15 to 05-20; corn; broadcast"
        raise ValueError(f"{text!r} is no window; {fix}")
    opens, closes = (_month_and_day(day) for day in days.groups())
    timing = word("timing", Timing).read(parts[0])
    crop, placement = [*parts[2:], "", ""][:2]
    crop = "" if crop.casefold() == "any crop" else crop
    return OwnWindow(timing, opens, closes, crop, "", placement, of, share)


def _sized(
    parse: Callable[[str, str], float], example: str, zero_ok: bool = False
) -> Callable[[str, str], float]:
    def read(text: str, system: str) -> float:
        value = parse(text, system)
        if value < 0 or (value == 0 and not zero_ok):
            least = "zero or more" if zero_ok else "more than zero"
            raise ValueError(f"{text!r} is not possible; write {least}, for example {example}")
        return value

    return read


def _measure(
    name: str,
    parse: Callable[[str, str], float],
    us: tuple[str, float],
    metric: tuple[str, float],
    zero_ok: bool = True,
    bound: str = "",
) -> Kind:
    """A kind with a unit: written in the property's unit, kept in SI."""
    example = f"25 {us[0]}"

    def write(value: float, system: str) -> str:
        unit, size = metric if system == "metric" else us
        return f"{shown(value / size)} {unit}"

    def possible(text: str, system: str) -> float:
        value = _sized(parse, example, zero_ok)(text, system)
        if refusal := impossible(bound or name, text, value):
            raise refusal
        return value

    return Kind(name, example, possible, write, in_units=True)


def _quantity(text: str) -> Quantity:
    quantity = parse_quantity(text)
    if quantity.value < 0:
        raise ValueError(f"{text!r} is negative; write zero or more")
    return quantity


def _depth_text(value: tuple[float | None, float | None] | None, system: str) -> str:
    if value is None or value[1] is None:
        return ""
    unit, size = ("cm", 0.01) if system == "metric" else ("in", 0.0254)
    return f"{shown((value[0] or 0.0) / size)}-{shown(value[1] / size)} {unit}"


def _month_and_day(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"([0-9]{1,2})-([0-9]{1,2})", text.strip())
    month, day = (int(match[1]), int(match[2])) if match else (0, 0)
    try:
        dt.date(2001, month, day)  # 29 February starts and ends nothing
    except ValueError as error:
        raise ValueError(f"{text!r} is not a month and day; write for example 09-01") from error
    return month, day


def _month_day(text: str) -> str:
    return "{:02d}-{:02d}".format(*_month_and_day(text))


def _currency(text: str) -> str:
    code = text.strip().upper()
    if len(code) != 3 or not code.isascii() or not code.isalpha():
        raise ValueError(f"{text!r} is not a currency code; write three letters, for example USD or EUR")
    return code


def _sieves(text: str) -> dict[int, float]:
    found = {}
    for part in _list(text):
        mesh, colon, share = part.partition(":")
        if not colon:
            raise ValueError(f"{part!r} is no sieve; write mesh:percent, for example 8:95; 60:50")
        found[int(_number("mesh", 1, 400)(mesh.strip()))] = _number("percent", 0, 100)(share.strip())
    return found


def _text(text: str) -> str:
    if any(ord(sign) < 32 and sign not in "\t\n" for sign in text):
        raise ValueError(f"{text!r} holds characters that are no text; take them out")
    if len(text) > 10_000:
        raise ValueError("the text is longer than 10,000 characters; shorten it")
    return text.strip()


def _as_is(value: Any, _system: str) -> str:
    return str(value)


TEXT = Kind("text", "words", _text, _as_is)
#: A package as written, with its net mass [kg]; None for one of a volume.
PACKAGE = Kind(
    "text",
    "words",
    lambda text, system: (_text(text), parse_package(text, system=system)),
    _as_is,
    in_units=True,
)
NUMBER = Kind("number", "6.2", _number("number", None, None), lambda value, _: shown(value))
PERCENT = Kind(
    "percent", "30", lambda text: _number("percent", 0, 100)(str(parse_percent(text))), lambda v, _: shown(v)
)
SHARE = Kind(
    "share",
    "5 %",
    lambda text: (
        _number("percent", 0, 100)(text.strip().removesuffix("%")) / 100
        if text.strip().endswith("%")
        else _number("share", 0, 1)(text)
    ),
    lambda value, _: f"{shown(value * 100)} %",
)
DATE = Kind("date", "2026-04-12", parse_date, lambda value, _: value.isoformat(), in_units=True)
YEAR = Kind("year", "2026", parse_year, _as_is)
FLAG = Kind("yes or no", "yes", parse_yes_no, lambda value, _: "yes" if value else "no")
MONEY = Kind("money", "28.50", _money, lambda value, _: f"{value:f}")
MONEY_PER_AREA = Kind(
    "money per area",
    "6.00/acre",
    _per_acre,
    lambda value, system: (
        f"{shown(float(value))}/ha"
        if system == "metric"
        else f"{shown(float(value) * ACRE_M2 / 10_000)}/acre"
    ),
)
MASS = _measure("mass", parse_mass, ("lb", LB_KG), ("kg", 1.0))
LENGTH = _measure("length", parse_length, ("ft", FOOT_M), ("m", 1.0), bound="setback")
SWATH = _measure("length", parse_length, ("ft", FOOT_M), ("m", 1.0), zero_ok=False, bound="swath")
LOAD = _measure("mass", parse_mass, ("lb", LB_KG), ("kg", 1.0), zero_ok=False, bound="load")
AREA = _measure("area", parse_area, ("acre", ACRE_M2), ("ha", 10_000.0))
RATE = _measure("rate", parse_rate, ("lb/acre", LB_ACRE_KG_HA), ("kg/ha", 1.0))
MONEY_PER_MASS = Kind(
    "money per mass",
    "12.00/ton",
    lambda text, system: _per_mass(text, system),
    lambda value, system: (
        f"{shown(float(value) * 1000)}/t" if system == "metric" else f"{shown(float(value) * TON_KG)}/ton"
    ),
    in_units=True,
)
BAND = Kind(
    "band",
    "95 % to 110 %",
    lambda text: _band(text),
    lambda value, _: f"{shown(value[0] * 100)} % to {shown(value[1] * 100)} %",
)
BANDS = Kind(
    "bands",
    "N 90 % to 100 %; P2O5 95 % to 120 %",
    _bands,
    lambda value, _: "; ".join(f"{supply} {BAND.write(ends, '')}" for supply, ends in value.items()),
)
MIX = Kind(
    "yes or no, and why",
    "yes, the seller blends them",
    lambda text: _mix(text),
    lambda value, _: f"{'yes' if value[0] else 'no'}, {value[1]}".removesuffix(", "),
)
WINDOW = Kind(
    "window",
    "before planting; 04-15 to 05-20; corn; broadcast",
    lambda text: _window(text),
    lambda value, _: "; ".join(
        part
        for part in (
            value.timing.value,
            "{:02d}-{:02d} to {:02d}-{:02d}".format(*value.opens, *value.closes),
            value.crop or ("any crop" if value.placement else ""),
            value.placement,
            f"of {value.of}" if value.of else "",
            "" if value.share is None else f"share {shown(value.share * 100)} %",
        )
        if part
    ),
)
BLENDING = Kind(
    "blending plant",
    "Co-op; fee 30/ton; Urea 46-0-0=800/ton; Potash 0-0-60=500/ton",
    parse_blending,
    lambda value, _: blending_text(value),
)
SPEED = _measure("speed", parse_speed, ("mph", MPH_M_S), ("km/h", 1 / 3.6), zero_ok=False)
DENSITY = Kind(
    "density",
    "11.1 lb/gal",
    _sized(parse_density, "11.1 lb/gal"),
    lambda value, _: f"{shown(value)} kg/m3",
    in_units=True,
)
QUANTITY = Kind(
    "amount with unit", "3 ton/acre", _quantity, lambda value, _: f"{shown(value.value)} {value.unit}"
)
DEPTH = Kind("depth", "0-6 in", parse_depth, _depth_text)
LIST = Kind("list", "one; another", _list, lambda value, _: "; ".join(value))
MONTHS = Kind("months", "5-10", _months, lambda value, _: "; ".join(map(str, value)))
PLACE = Kind("place", "-93.05, 46.05", parse_place, lambda value, _: f"{shown(value[0])}, {shown(value[1])}")
MONTH_DAY = Kind("month and day", "09-01", _month_day, _as_is)
CURRENCY = Kind("currency", "USD", _currency, _as_is)
SIEVES = Kind(
    "sieves", "8:95; 60:50", _sieves, lambda value, _: "; ".join(f"{m}:{shown(p)}" for m, p in value.items())
)


def read_value(kind: Kind, text: str, system: str = "us") -> Any:
    """Read one typed value; every fault as a ValueError whose message is "what; fix".

    Parameters
    ----------
    kind
        Its kind.
    text
        As typed.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    object

    Raises
    ------
    ValueError
        When the text is not of this kind.
    """
    try:
        return kind.read(text, system) if kind.in_units else kind.read(text)
    except UnitError as error:
        raise ValueError(str(error)) from error
    except (ArithmeticError, OverflowError) as error:
        raise ValueError(
            f"{text!r} is not a possible {kind.name}; write for example {kind.example}"
        ) from error
