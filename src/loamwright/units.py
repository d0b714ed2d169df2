"""Exact unit factors, and the only place where text becomes a quantity or a quantity text.

Inside the program numbers are plain floats in SI (see `values`). This module parses what people
write at the edge (``"50 lb"``, ``"2.5 gal"``, ``"4 lb/1000 ft2"``) and formats what they read, in
US customary or metric units. It knows dimensions, never basis: pounds of what is the caller's.

A quantity is one number and one unit; nothing is ever worked out from a text. A unit is a trade word of
`_SPELLINGS`, or one per another, with a count before the second (``lb/1000 ft2``, ``mg/100 g``).

The acre is the international acre, 43,560 ft² of 0.3048 m feet exactly: NIST and NOAA retired the
US survey foot at the end of 2022 (Federal Register vol. 85 no. 193, 5 October 2020, p. 62698).
The pound is 0.45359237 kg, the gallon 231 in³ (NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from loamwright.errors import AmbiguousNumberError, UnitError
from loamwright.money import currency_told, money_sign
from loamwright.values import Quantity

if TYPE_CHECKING:
    from pint import Quantity as PintQuantity
    from pint import UnitRegistry


# Exact by definition.
FT_M = 0.3048
MILE_M = 5280 * FT_M
CHAIN_M = 66 * FT_M  # 100 links (NIST Handbook 44, Appendix C, surveyors' measure)
ACRE_M2 = 43560 * FT_M**2  # 4046.8564224
HA_M2 = 10_000.0
LB_KG = 0.45359237
PCT_LB_TON = 20.0  # one percent by weight of a short ton [lb]
TON_KG = 2000 * LB_KG  # short ton; US label law: "ton means 2000 lb net" (NY AGM 143)
GAL_M3 = 231 * 0.0254**3
LB_ACRE_KG_HA = LB_KG / ACRE_M2 * HA_M2  # 1 lb/acre in kg/ha, 1.12085…
TON_ACRE_KG_HA = 2000 * LB_ACRE_KG_HA
LB_GAL_KG_M3 = LB_KG / GAL_M3

# IUPAC standard atomic weights, abridged, 2021 (Prohaska et al. 2022, Pure Appl. Chem. 94,
# doi 10.1515/pac-2019-0603). The tests recompute the factors with a chemistry library.
_P, _K, _O, _N = 30.973761998, 39.0983, 15.999, 14.007
_C, _H, _S = 12.011, 1.008, 32.06
P_PER_P2O5 = 2 * _P / (2 * _P + 5 * _O)
K_PER_K2O = 2 * _K / (2 * _K + _O)
N_PER_UREA = 2 * _N / (_C + _O + 2 * (_N + 2 * _H))
N_PER_AMMONIUM_NITRATE = 2 * _N / (2 * _N + 4 * _H + 3 * _O)
N_PER_AMMONIUM_SULFATE = 2 * _N / (2 * (_N + 4 * _H) + _S + 4 * _O)
S_PER_AMMONIUM_SULFATE = _S / (2 * (_N + 4 * _H) + _S + 4 * _O)
S_PER_SO3 = _S / (_S + 3 * _O)
_CA, _MG, _CL = 40.078, 24.305, 35.45
N_PER_NH3 = _N / (_N + 3 * _H)
CA_PER_CAO = _CA / (_CA + _O)
MG_PER_MGO = _MG / (_MG + _O)
K2O_PER_KCL = (2 * _K + _O) / 2 / (_K + _CL)
K2O_PER_K2SO4 = (2 * _K + _O) / (2 * _K + _S + 4 * _O)
S_PER_K2SO4 = _S / (2 * _K + _S + 4 * _O)
N_PER_MAP = _N / (_N + 6 * _H + _P + 4 * _O)  # NH4H2PO4
P2O5_PER_MAP = (2 * _P + 5 * _O) / 2 / (_N + 6 * _H + _P + 4 * _O)
N_PER_DAP = 2 * _N / (2 * _N + 9 * _H + _P + 4 * _O)  # (NH4)2HPO4
P2O5_PER_DAP = (2 * _P + 5 * _O) / 2 / (2 * _N + 9 * _H + _P + 4 * _O)
P2O5_PER_BONE_PHOSPHATE = (2 * _P + 5 * _O) / (3 * _CA + 2 * (_P + 4 * _O))  # Ca3(PO4)2
_CACO3 = _CA + _C + 3 * _O
CACO3_PER_CAO = _CACO3 / (_CA + _O)
CACO3_PER_MGO = _CACO3 / (_MG + _O)
CACO3_PER_CA_OH_2 = _CACO3 / (_CA + 2 * (_O + _H))
CACO3_PER_DOLOMITE = 2 * _CACO3 / (_CA + _MG + 2 * (_C + 3 * _O))
# One milliequivalent in 100 g of soil, as ppm by weight: the mass of a mole over its charge, in mg, times 10.
PPM_PER_MEQ_100G = {"Ca": 10 * _CA / 2, "Mg": 10 * _MG / 2, "K": 10 * _K}
CACO3_PER_N = _CACO3 / 2 / _N  # neutralizes one H+ for each N

SYSTEMS = ("us", "metric")


#: Every unit by its definition: US customary units as NIST Handbook 44, appendix C, gives them by the
#: international foot and pound of 1959; nothing rests on what a library takes an acre or a gallon to be.
_DEFINITIONS = """
meter = [length]
second = [time]
gram = [mass]
kilogram = 1000 * gram
milligram = 0.001 * gram
pound = 0.45359237 * kilogram
ounce = pound / 16
hundredweight = 100 * pound
ton = 2000 * pound
tonne = 1000 * kilogram
foot = 0.3048 * meter
inch = foot / 12
yard = 3 * foot
mile = 5280 * foot
rod = 16.5 * foot
chain = 66 * foot
link = chain / 100
centimeter = 0.01 * meter
millimeter = 0.001 * meter
kilometer = 1000 * meter
acre = 43560 * foot ** 2
hectare = 10000 * meter ** 2
decare = 1000 * meter ** 2
gallon = 231 * inch ** 3
quart = gallon / 4
pint = gallon / 8
fluid_ounce = gallon / 128
liter = 0.001 * meter ** 3
milliliter = 0.001 * liter
minute = 60 * second
hour = 3600 * second
percent = 0.01
ppm = 1e-6
"""


@lru_cache(maxsize=1)
def registry() -> UnitRegistry[float]:
    """Return the one pint registry, made on first use; it holds `_DEFINITIONS` and nothing else.

    Returns
    -------
    pint.UnitRegistry
        With ``acre`` the international acre and ``ton`` the short ton.
    """
    import pint

    ureg: UnitRegistry[float] = pint.UnitRegistry(None, autoconvert_offset_to_baseunit=False)
    for line in _DEFINITIONS.strip().splitlines():
        ureg.define(line)
    return ureg


# ---------------------------------------------------------------------------------------------
# Numbers

#: Marks between thousands that print as a blank: space, no-break, thin and narrow no-break space.
_BLANK = "[ \u00a0\u2009\u202f]"

#: How a number may be written, as (decimal mark, thousands mark) and the shape of its digits.
_WAYS = tuple(
    (
        decimal,
        thousands,
        re.compile(
            rf"[+-]?[1-9][0-9]{{0,2}}(?:{thousands}[0-9]{{3}})+(?:{decimal}[0-9]+)?"
            if thousands
            else rf"[+-]?(?:[0-9]+(?:{decimal}[0-9]+)?|{decimal}[0-9]+)(?:[eE][+-]?[0-9]+)?"
        ),
    )
    for decimal, thousands in (
        (r"\.", ""),
        (",", ""),
        (r"\.", ","),
        (",", r"\."),
        (r"\.", _BLANK),
        (",", _BLANK),
    )
)

_NUMBER_FIRST = re.compile(rf"\$?\s*([+-]?(?:[0-9.,]|{_BLANK}(?=[0-9]{{3}}(?![0-9])))+)")

_LONGEST_NUMBER = 40  # characters; ours: a float is written with 24 at most
_BELOW_A_LIMIT = frozenset(
    {"dl", "<dl", "bdl", "<lod", "n.d."}
)  # laboratories' marks; common practice, no source
_LARGEST_NUMBER, _SMALLEST_NUMBER = 1e15, 1e-30  # ours: wider than any figure of soil, land or money


def _shown(text: str) -> str:
    """Quote a text for a message, shortened to 40 characters."""
    return repr(text if len(text) <= 40 else f"{text[:39]}…")


def _plain_decimal(text: str, decimal_comma: bool | None) -> str:
    """Return a number as digits with a decimal point, whatever marks it was written with."""
    bare = text.strip().replace("\N{MINUS SIGN}", "-")
    if len(bare) > _LONGEST_NUMBER:
        raise UnitError(f"{_shown(text)} is too long for a number", "write digits only, for example 12.5")
    readings = {
        re.sub(decimal, ".", re.sub(thousands, "", bare) if thousands else bare): None
        for decimal, thousands, shape in _WAYS
        if shape.fullmatch(bare)
    }
    if not readings:
        if re.fullmatch(r"[0-9 ]*[0-9]\s*/\s*[0-9]+|[0-9 ]*[¼-¾⅐-⅞]", bare):
            raise UnitError(f"{_shown(text)} is a fraction", "write it with decimals, for example 0.5")
        if bare.casefold() in _BELOW_A_LIMIT:
            fix = "leave it empty, or write the limit if the laboratory prints it: this is not zero"
            raise UnitError(f"{_shown(text)} says that less was there than the laboratory can find", fix)
        raise UnitError(f"{_shown(text)} is not a number", "write digits only, for example 12.5")
    plain, *other = readings
    for reading in readings:
        size = abs(float(reading))
        if size > _LARGEST_NUMBER or 0 < size < _SMALLEST_NUMBER:
            raise UnitError(
                f"{_shown(text)} is beyond any figure used here", "check the digits and the exponent"
            )
    if not other:
        return plain
    if "," in bare and decimal_comma is not None:
        return plain if decimal_comma else other[0]
    if "," not in bare and not decimal_comma:
        return plain
    raise AmbiguousNumberError(
        f"{_shown(text)} may be {plain} or {other[0]}: a mark before three digits can stand "
        "before decimals or between thousands",
        f"write {plain}0 or {other[0]}",
        (float(plain), float(other[0])),
    )


def read_number(text: str, decimal_comma: bool | None = None) -> float:
    """Read one decimal number as people and spreadsheets write it; units are not allowed.

    A comma, point or blank that can only be one thing is read as that: ``"5,8"`` and ``"0,125"`` have a
    decimal comma, ``"1,234,567"`` and ``"1 234,5"`` a mark between thousands.

    Parameters
    ----------
    text
        ``"1,250.5"``, ``"6.3"``, ``"−2"``, ``"1.4E-3"``.
    decimal_comma
        What a comma before exactly three digits is, as in ``"1,385"``: True for a decimal mark (its column or
        property writes decimals with commas), False for a mark between thousands, None when nobody said.

    Returns
    -------
    float
        Finite.

    Raises
    ------
    AmbiguousNumberError
        When ``"1,385"`` comes and nobody said, or ``"1.385"`` where decimals are written with commas.
    UnitError
        When the text is blank, not finite, beyond any figure used here, or anything but one number.

    Examples
    --------
    >>> read_number("1,250.5"), read_number("5,8"), read_number("1,385", decimal_comma=True)
    (1250.5, 5.8, 1.385)
    """
    return float(_plain_decimal(text, decimal_comma))


def decimal_comma_of(texts: Iterable[str]) -> bool | None:
    """Settle whether decimals are written with a comma, from the numbers that can be read in one way only.

    Parameters
    ----------
    texts
        Of one column, say; a dollar sign before a number and anything after it do not matter.

    Returns
    -------
    bool or None
        None when no number tells, or when numbers tell different things.

    Examples
    --------
    >>> decimal_comma_of(["1,385", "5,8"]), decimal_comma_of(["1,385", "12.5 lb"])
    (True, False)
    """
    told = set()
    for text in texts:
        if match := _NUMBER_FIRST.match(text.strip()):
            marks = {decimal for decimal, _thousands, shape in _WAYS if shape.fullmatch(match[1])}
            told |= marks if len(marks) == 1 else set()
    return told.pop() == "," if len(told) == 1 else None


def parse_money(text: str, decimal_comma: bool | None = None) -> Decimal:
    """Read a price; the sign or the code of the property's currency may stand beside it.

    Parameters
    ----------
    text
        ``"21"``, ``"$1,250.00"``.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When anything else stands beside the number (``"$21.00 ea"``).

    Examples
    --------
    >>> parse_money("$1,250.00")
    Decimal('1250.00')
    """
    stripped = text.strip()
    bare = stripped
    for mark in (money_sign(), currency_told()):
        bare = bare.removeprefix(mark).removesuffix(mark).strip()
    if decimal_comma is None and re.fullmatch(r"[1-9][0-9]{0,2}\.[0-9]{3}", bare):  # hardly tenths of cents
        whole = bare.replace(".", "")
        what = f"{_shown(text)} may be {bare} or {whole}: a point before three digits can stand either way"
        raise AmbiguousNumberError(what, f"write {bare}0 or {whole}.00", (float(bare), float(whole)))
    try:
        return Decimal(_plain_decimal(bare, decimal_comma))
    except AmbiguousNumberError:
        raise
    except UnitError as error:
        raise UnitError(
            f"{_shown(text)} is not a price in {currency_told()}", "write the number alone, for example 21.00"
        ) from error


# ---------------------------------------------------------------------------------------------
# Quantities

_LONGEST_QUANTITY = 100  # characters; ours
_UNIT = r"((?:[^\W\d_]|%)(?:[^\W_]|[ %/.,²³^])*)"
#: "1/1000 acre", "2 1/2 bags": a fraction as people write one, with or without a whole before it.
_FRACTION = re.compile(rf"(?:([0-9]{{1,6}})\s+)?([0-9]{{1,6}})\s*/\s*([0-9]{{1,6}})\s*{_UNIT}")
_QUANTITY = re.compile(
    rf"([+\N{{MINUS SIGN}}-]?(?:[0-9.,]|{_BLANK}(?=[0-9]{{3}}(?![0-9])))+(?:[eE][+-]?[0-9]+)?)"  # number
    r"(?![eExX][+-]?[0-9])"  # a figure that is none is not a figure and a unit: "1e309", "0x10"
    rf"\s*-?{_UNIT}"  # "50-lb bag"
)


def parse_quantity(text: str, decimal_comma: bool | None = None) -> Quantity:
    """Split text into a number and the unit exactly as written, without converting.

    Parameters
    ----------
    text
        ``"2 ton/acre"``.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When the text is not one number and then one unit.

    Examples
    --------
    >>> parse_quantity("60 bu/acre")
    Quantity(value=60.0, unit='bu/acre')
    """
    short = text.strip() if len(text) <= _LONGEST_QUANTITY else ""
    if part := _FRACTION.fullmatch(short):
        whole, above, below = (int(figure or 0) for figure in part.groups()[:3])
        decimal = f"{whole + above / below:.6g}" if below else "0.5"
        raise UnitError(f"{_shown(text)} is a fraction", f"write it as a decimal: {decimal} {part[4]}")
    match = _QUANTITY.fullmatch(short)
    if not match:
        raise UnitError(f"{_shown(text)} needs a number and a unit", "write for example '2 ton/acre'")
    return Quantity(read_number(match[1], decimal_comma), match[2])


#: Every unit that is understood, by its name in the registry. "ton" depends on the unit system.
_SPELLINGS: Mapping[str, str] = {
    "pound": "lb, lbs, pound, pounds",
    "ounce": "oz, ounce, ounces",
    "hundredweight": "cwt, hundredweight",
    "ton": "short ton, short tons, us ton, us tons",
    "tonne": "t, tonne, tonnes, metric ton, metric tons",
    "kilogram": "kg, kilogram, kilograms",
    "gram": "g, gram, grams",
    "milligram": "mg, milligram, milligrams",
    "gallon": "gal, gals, gallon, gallons",
    "quart": "qt, qts, quart, quarts",
    "pint": "pt, pts, pint, pints",
    "fluid_ounce": "fl oz, fluid ounce, fluid ounces",
    "liter": "l, liter, liters, litre, litres",
    "milliliter": "ml, milliliter, milliliters, millilitre, millilitres",
    "acre": "acre, acres, ac",
    "hectare": "ha, hectare, hectares",
    "decare": "daa, decare, decares",
    "foot": "ft, foot, feet",
    "inch": "in, inch, inches",
    "yard": "yd, yds, yard, yards",
    "mile": "mi, mile, miles",
    "rod": "rod, rods, rd",
    "chain": "chain, chains, ch",
    "link": "link, links, li",
    "meter": "m, meter, meters, metre, metres",
    "centimeter": "cm, centimeter, centimeters, centimetre, centimetres",
    "millimeter": "mm, millimeter, millimeters, millimetre, millimetres",
    "kilometer": "km, kilometer, kilometers, kilometre, kilometres",
    "second": "s, sec, second, seconds",
    "minute": "min, minute, minutes",
    "hour": "h, hr, hour, hours",
    "percent": "%, percent",
    "ppm": "ppm",
}
_NAMES: Mapping[str, str] = {word: name for name, words in _SPELLINGS.items() for word in words.split(", ")}
_LENGTHS = ("foot", "inch", "yard", "mile", "meter", "centimeter", "millimeter", "kilometer")
_TON: Mapping[str, str] = {"us": "ton", "metric": "tonne"}
_SPEEDS: Mapping[str, str] = {"mph": "mile/h", "kph": "km/h", "kmh": "km/h"}


def _term(term: str, system: str) -> PintQuantity[float]:
    """One side of a unit: ``lb``, ``1000 ft2``, ``sq ft``."""
    match = re.fullmatch(r"([0-9][0-9.,]*)? ?(?:(square|sq|cubic|cu) ?)?([a-z%][a-z ]*)([23])?", term)
    count, shape, word, power = match.groups() if match else (None, None, "", None)
    name = _TON[system] if word in ("ton", "tons") else _NAMES.get(word)
    exponent = int(power or {"s": 2, "c": 3}.get((shape or "-")[0], 1))
    if name is None or (power and shape) or (exponent > 1 and name not in _LENGTHS):
        raise UnitError(f"the unit {_shown(term)} is not known", "write for example lb, kg, gal, acre or ha")
    thousands = re.sub(r"^([1-9][0-9]{0,2})[.,]000$", r"\g<1>000", count or "1")  # nobody counts 1.000 as one
    number = read_number(thousands)
    if number == 0:
        raise UnitError(f"{_shown(term)} is nothing", "write how much, for example 1000 ft2")
    return registry().Quantity(number, registry().Unit(name) ** exponent)


def _measure(unit: str, system: str) -> PintQuantity[float]:
    """A unit as a quantity of the registry: one term, or one per another."""
    if system == "us" and re.search(r"\bT\b", unit):
        raise UnitError("T may be a ton or a tonne", "write ton or t")  # trade and SI differ
    tidy = re.sub(r"\bMg\b", "tonne", " ".join(unit.split()))  # a megagram; mg is a milligram
    tidy = tidy.lower().replace("²", "2").replace("³", "3")
    tidy = re.sub(r"(?<=[a-z])(?:\*\*|\^)(?=[23])|(?<=[a-z])\.", "", tidy)  # ft**2, m^3; sq. ft.
    top, *below = re.split(r" ?/ ?| per ", _SPEEDS.get(tidy, tidy), maxsplit=1)
    if top[:1].isdigit() and top != "1":
        raise UnitError(f"{_shown(unit)} begins with a number", "write the unit alone")
    measure = registry().Quantity(1.0) if top == "1" else _term(top, system)
    return measure / _term(below[0], system) if below else measure


@lru_cache(maxsize=1024)
def _factor(unit: str, to: str, system: str) -> float:
    import pint

    if _PACKAGE_WORDS.search(unit):
        raise UnitError(f"{_shown(unit)} names a package, not a unit", "write its weight, for example 150 lb")
    try:
        return float((_measure(unit, system) / _measure(to, system)).m_as("dimensionless"))
    except pint.DimensionalityError as error:
        raise UnitError(f"cannot read {_shown(unit)} as {to}", "check the unit") from error
    except UnitError as error:
        raise UnitError(f"cannot read {_shown(unit)} as {to}: {error.what}", error.fix) from error


def convert(value: float, unit: str, to: str, system: str = "us") -> float:
    """Convert a number between two units of the same dimension.

    Parameters
    ----------
    value
        Number in `unit`.
    unit, to
        Unit texts; trade spellings such as ``"lb/1000 ft2"`` and ``"ton/acre"`` are understood.
    system
        ``"us"`` or ``"metric"``: whether a ton is 2,000 lb or a tonne. A short ton is always the former.

    Returns
    -------
    float
        The number in `to`.

    Raises
    ------
    UnitError
        When a unit is unknown or the dimensions differ; the message names both units.

    Examples
    --------
    >>> round(convert(1, "ton/acre", "kg/ha"), 2)
    2241.7
    >>> convert(2.5, "ton/ha", "kg/ha", "metric")
    2500.0
    """
    return value * _factor(unit, to, check_system(system))


def _parse_as(
    text: str, to: str, kind: str, examples: tuple[str, str], system: str, decimal_comma: bool | None
) -> float:
    quantity = parse_quantity(text, decimal_comma)
    try:
        return convert(quantity.value, quantity.unit, to, system)
    except UnitError as error:
        example = examples[1 if system == "metric" else 0]
        raise UnitError(
            f"{_shown(text)} is not {kind}: {error.what}", f"write for example {example!r}"
        ) from error


def parse_mass(text: str, system: str = "us", decimal_comma: bool | None = None) -> float:
    """Read a mass such as ``"50 lb"`` or ``"1 ton"`` [kg].

    Parameters
    ----------
    text
        Number and unit.
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When it is not a mass.
    """
    return _parse_as(text, "kg", "a mass", ("50 lb", "25 kg"), system, decimal_comma)


def parse_length(text: str, system: str = "us", decimal_comma: bool | None = None) -> float:
    """Read a length such as ``"50 ft"`` [m].

    Parameters
    ----------
    text
        Number and unit.
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When it is not a length.
    """
    return _parse_as(text, "m", "a length", ("50 ft", "15 m"), system, decimal_comma)


def parse_area(text: str, system: str = "us", decimal_comma: bool | None = None) -> float:
    """Read an area such as ``"5 acre"`` or ``"21.8 ft2"`` [m2].

    Parameters
    ----------
    text
        Number and unit.
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When it is not an area.
    """
    return _parse_as(text, "m2", "an area", ("5 acre", "2 ha"), system, decimal_comma)


def parse_speed(text: str, system: str = "us", decimal_comma: bool | None = None) -> float:
    """Read a speed such as ``"5 mph"`` [m/s].

    Parameters
    ----------
    text
        Number and unit.
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When it is not a speed.
    """
    return _parse_as(text, "m/s", "a speed", ("5 mph", "8 km/h"), system, decimal_comma)


def parse_rate(text: str, system: str = "us", decimal_comma: bool | None = None) -> float:
    """Read a rate by weight such as ``"4 lb/1000 ft2"`` or ``"3 ton/acre"`` [kg/ha].

    Parameters
    ----------
    text
        Number and unit.
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When it is not a mass per area.

    Examples
    --------
    >>> round(parse_rate("4 lb/1000 ft2") / LB_ACRE_KG_HA, 2)
    174.24
    """
    return _parse_as(text, "kg/ha", "a rate by weight", ("200 lb/acre", "225 kg/ha"), system, decimal_comma)


def parse_density(text: str, system: str = "us", decimal_comma: bool | None = None) -> float:
    """Read a density such as ``"9 lb/gal"`` [kg/m3].

    Parameters
    ----------
    text
        Number and unit.
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When it is not a mass per volume.
    """
    return _parse_as(text, "kg/m3", "a density", ("9 lb/gal", "1.1 kg/l"), system, decimal_comma)


_PACKAGE_WORDS = re.compile(
    r"\b(bags?|jugs?|totes?|sacks?|drums?|pails?|buckets?|bulk|boxes|box|bottles?|ea|each)\b", re.IGNORECASE
)


def parse_package(
    text: str, density_kg_m3: float | None = None, system: str = "us", decimal_comma: bool | None = None
) -> float | None:
    """Read the net mass of a package such as ``"50 lb bag"`` or ``"2.5 gal jug"`` [kg].

    Parameters
    ----------
    text
        As written; words for the kind of package are ignored.
    density_kg_m3
        Needed for a volume [kg/m3].
    system
        As in `convert`.
    decimal_comma
        As in `read_number`.

    Returns
    -------
    float or None
        Net mass [kg]; None when the package is a volume and the density is not stated.

    Raises
    ------
    AmbiguousNumberError
        As in `read_number`.
    UnitError
        When the text has no number and unit of mass or volume, or the mass is not positive.

    Examples
    --------
    A 2.5 gallon jug at 9 lb per gallon holds 22.5 lb:

    >>> mass = parse_package("2.5 gal jug", 9 * LB_GAL_KG_M3)
    >>> mass is not None and round(mass / LB_KG, 2)
    22.5
    """
    bare = _PACKAGE_WORDS.sub(" ", text).strip()
    if not re.search(r"\d", bare):
        bare = f"1 {bare}"  # "ton"
    shown, example = f"package {_shown(text)}", "write for example '50 lb bag'"
    if re.search(r"\d\s+\d", bare):
        raise UnitError(f"{shown} holds two numbers", example)  # "2 500 lb bags" is not 2500 lb
    try:
        quantity = parse_quantity(bare, decimal_comma)
    except AmbiguousNumberError:
        raise
    except UnitError as error:
        raise UnitError(f"{shown} needs a number and a unit", example) from error
    if quantity.value <= 0:
        raise UnitError(f"{shown} is not more than zero", example)
    try:
        return convert(quantity.value, quantity.unit, "kg", system)
    except UnitError:
        pass
    try:
        volume_m3 = convert(quantity.value, quantity.unit, "m3", system)
    except UnitError as error:
        raise UnitError(f"{shown} is neither a mass nor a volume", example) from error
    return None if density_kg_m3 is None else volume_m3 * density_kg_m3


# ---------------------------------------------------------------------------------------------
# Formatting


def _trim(value: float, digits: int) -> str:
    return f"{value:,.{digits}f}"


def format_figure(value: float, significant: int = 4) -> str:
    """Write a bare number for a sentence: so many significant digits, no digit before the point lost.

    Parameters
    ----------
    value
        The number.
    significant
        Significant digits; trailing zeros are dropped.

    Examples
    --------
    >>> format_figure(22.5), format_figure(3.36375), format_figure(12345.6)
    ('22.5', '3.364', '12,346')
    """
    if value == 0:
        return "0"
    decimals = max(0, significant - 1 - math.floor(math.log10(abs(value))))
    text = _trim(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def check_system(system: str) -> str:
    """Return the unit system, or refuse an unknown one.

    Parameters
    ----------
    system
        ``"us"`` or ``"metric"``.

    Raises
    ------
    UnitError
        When it is neither.
    """
    if system not in SYSTEMS:
        raise UnitError(f"unit system {system!r} is not known", "use 'us' or 'metric'")
    return system


def format_area(area_m2: float, system: str = "us") -> str:
    """Write an area in acres (two decimals) or hectares (three).

    Parameters
    ----------
    area_m2
        Area [m2].
    system
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> format_area(4046.8564224)
    '1.00 acres'
    """
    if check_system(system) == "us":
        return f"{_trim(area_m2 / ACRE_M2, 2)} acres"
    return f"{_trim(area_m2 / HA_M2, 3)} ha"


def format_mass(mass_kg: float, system: str = "us") -> str:
    """Write a mass in pounds (or tons from 2,000 lb times 2 up), or kilograms (or tonnes).

    Parameters
    ----------
    mass_kg
        Mass [kg].
    system
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> format_mass(22.6796185)
    '50.0 lb'
    """
    if check_system(system) == "us":
        pounds = mass_kg / LB_KG
        if pounds >= 4000:
            return f"{_trim(pounds / 2000, 2)} tons"
        return f"{_trim(pounds, 1 if pounds < 1000 else 0)} lb"
    if mass_kg >= 2000:
        return f"{_trim(mass_kg / 1000, 2)} t"
    return f"{_trim(mass_kg, 1 if mass_kg < 1000 else 0)} kg"


def format_rate(rate_kg_ha: float, system: str = "us") -> str:
    """Write a rate in lb/acre or kg/ha; lb/acre from 4,000 up as tons.

    Parameters
    ----------
    rate_kg_ha
        Rate [kg/ha].
    system
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> format_rate(100 * LB_ACRE_KG_HA)
    '100 lb/acre'
    """
    per_area, unit, big, bigger = (
        (rate_kg_ha / LB_ACRE_KG_HA, "lb/acre", 2000, "tons/acre")
        if check_system(system) == "us"
        else (rate_kg_ha, "kg/ha", 1000, "t/ha")
    )
    if per_area >= 2 * big:
        return f"{_trim(per_area / big, 2)} {bigger}"
    digits = 0 if per_area >= 100 or math.isclose(per_area, round(per_area), abs_tol=1e-9) else 1
    return f"{_trim(per_area, digits)} {unit}"


def format_length(length_m: float, system: str = "us") -> str:
    """Write a length in feet or metres.

    Parameters
    ----------
    length_m
        Length [m].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    if check_system(system) == "us":
        return f"{_trim(length_m / FT_M, 0)} ft"
    return f"{_trim(length_m, 1)} m"
