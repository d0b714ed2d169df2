"""Exact unit factors, and the only place where text becomes a quantity or a quantity text.

Inside the program numbers are plain floats in SI (see `values`). This module parses what people
write at the edge (``"50 lb"``, ``"2.5 gal"``, ``"4 lb/1000 ft2"``) and formats what they read, in
US customary or metric units. It knows dimensions, never basis: pounds of what is the caller's.

The acre is the international acre, 43,560 ft² of 0.3048 m feet exactly: NIST and NOAA retired the
US survey foot at the end of 2022 (Federal Register vol. 85 no. 193, 5 October 2020, p. 62698).
The pound is 0.45359237 kg, the gallon 231 in³ (NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

import math
import re
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import TYPE_CHECKING

from loamwright.errors import UnitError
from loamwright.values import Quantity

if TYPE_CHECKING:
    from pint import UnitRegistry


# Exact by definition.
FT_M = 0.3048
MILE_M = 5280 * FT_M
ACRE_M2 = 43560 * FT_M**2  # 4046.8564224
HA_M2 = 10_000.0
LB_KG = 0.45359237
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
CACO3_PER_N = _CACO3 / 2 / _N  # neutralizes one H+ for each N

SYSTEMS = ("us", "metric")


@lru_cache(maxsize=1)
def registry() -> UnitRegistry[float]:
    """Return the one pint registry, made on first use (about 0.2 s).

    Returns
    -------
    pint.UnitRegistry
        With ``acre`` redefined as the international acre and ``ton`` as the short ton.
    """
    import pint

    ureg: UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=False)
    for line in (
        "acre = 43560 * foot ** 2 = ac = acres",
        "ton = 2000 * pound = short_ton = tons",
        "tonne = 1000 * kilogram = t = metric_ton = tonnes",
        "gallon = 231 * inch ** 3 = gal = gallons",
        "hundredweight = 100 * pound = cwt",
        "sqft = foot ** 2 = sq_ft",
    ):
        ureg.define(line)
    return ureg


_NUMBER = re.compile(r"^[+-]?(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d+)?(?:[eE][+-]?\d+)?$")


def parse_number(text: str) -> float:
    """Read a plain decimal number; thousands commas are allowed, units are not.

    Parameters
    ----------
    text
        ``"1,250.5"``, ``"6.3"``.

    Returns
    -------
    float

    Raises
    ------
    UnitError
        When the text is empty, not finite, or anything but one number.

    Examples
    --------
    >>> parse_number("1,250.5")
    1250.5
    """
    stripped = text.strip()
    if not stripped or not _NUMBER.match(stripped) or not any(ch.isdigit() for ch in stripped):
        raise UnitError(f"{text!r} is not a number; write digits only, for example 12.5")
    value = float(stripped.replace(",", ""))
    if not math.isfinite(value):
        raise UnitError(f"{text!r} is not a finite number")
    return value


def parse_money(text: str) -> Decimal:
    """Read a price; one leading dollar sign and thousands commas are allowed.

    Parameters
    ----------
    text
        ``"21"``, ``"$1,250.00"``.

    Returns
    -------
    Decimal

    Raises
    ------
    UnitError
        When anything else stands beside the number (``"$21.00 ea"``).

    Examples
    --------
    >>> parse_money("$1,250.00")
    Decimal('1250.00')
    """
    stripped = text.strip()
    bare = stripped[1:].strip() if stripped.startswith("$") else stripped
    try:
        parse_number(bare)
        return Decimal(bare.replace(",", ""))
    except (UnitError, InvalidOperation) as error:
        raise UnitError(f"{text!r} is not a price; write the number alone, for example 21.00") from error


def parse_quantity(text: str) -> Quantity:
    """Split text into a number and the unit exactly as written, without converting.

    Parameters
    ----------
    text
        ``"2 ton/acre"``.

    Returns
    -------
    Quantity

    Raises
    ------
    UnitError
        When there is no number at the start or no unit after it.

    Examples
    --------
    >>> parse_quantity("60 bu/acre")
    Quantity(value=60.0, unit='bu/acre')
    """
    match = re.match(r"^\s*([+-]?[\d.,]+)\s*([^\s\d.,].*?)\s*$", text)
    if not match:
        raise UnitError(f"{text!r} needs a number and a unit, for example '2 ton/acre'")
    return Quantity(parse_number(match[1].rstrip(",")), match[2])


def _spelled_for_pint(unit: str) -> str:
    """Rewrite trade spellings (``1000 ft2``, ``sq ft``, ``lbs``) into pint's grammar."""
    spelled = re.sub(r"\bMg\b", "tonne", unit.strip())  # a megagram, before case is lost: mg is a milligram
    spelled = spelled.lower().replace("²", "2").replace("³", "3")
    spelled = re.sub(r"\bsq\.?\s*(ft|feet|foot|m|yd)\b", r"\1**2", spelled)
    spelled = re.sub(r"\bcu\.?\s*(ft|feet|foot|m|yd|in)\b", r"\1**3", spelled)
    spelled = re.sub(r"\b(ft|m|yd|in)\s*\^?\s*([23])\b", r"\1**\2", spelled)
    spelled = re.sub(r"\blbs?\.?(?![a-z])", "lb", spelled)
    spelled = re.sub(r"\bper\b", "/", spelled)
    spelled = re.sub(r"/\s*([\d.,]+)\s*([a-z])", lambda m: f"/({m[1].replace(',', '')} {m[2]}", spelled)
    if spelled.count("(") > spelled.count(")"):
        spelled += ")"
    return spelled


def convert(value: float, unit: str, to: str) -> float:
    """Convert a number between two units of the same dimension.

    Parameters
    ----------
    value
        Number in `unit`.
    unit, to
        Unit texts; trade spellings such as ``"lb/1000 ft2"`` and ``"ton/acre"`` are understood.

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
    """
    import pint

    if _PACKAGE_WORDS.search(unit):  # pint knows a bag of 94 lb (cement)
        raise UnitError(f"{unit!r} names a package, not a unit; write its weight, for example 150 lb")
    ureg = registry()
    try:
        scale = ureg.parse_expression(_spelled_for_pint(unit))
        return float(value * ureg.Quantity(scale).m_as(_spelled_for_pint(to)))
    except (pint.PintError, ValueError, TypeError, AttributeError, SyntaxError, AssertionError) as error:
        raise UnitError(f"cannot read {unit!r} as {to}; check the spelling of the unit") from error


def _parse_as(text: str, to: str, kind: str, example: str) -> float:
    quantity = parse_quantity(text)
    try:
        return convert(quantity.value, quantity.unit, to)
    except UnitError as error:
        raise UnitError(f"{text!r} is not {kind}; write for example {example!r}") from error


def parse_mass(text: str) -> float:
    """Read a mass such as ``"50 lb"`` or ``"1 ton"`` [kg].

    Parameters
    ----------
    text
        Number and unit.

    Returns
    -------
    float
        Mass [kg].

    Raises
    ------
    UnitError
        When it is not a mass.
    """
    return _parse_as(text, "kg", "a mass", "50 lb")


def parse_length(text: str) -> float:
    """Read a length such as ``"50 ft"`` [m].

    Parameters
    ----------
    text
        Number and unit.

    Returns
    -------
    float
        Length [m].

    Raises
    ------
    UnitError
        When it is not a length.
    """
    return _parse_as(text, "m", "a length", "50 ft")


def parse_area(text: str) -> float:
    """Read an area such as ``"5 acre"`` or ``"21.8 ft2"`` [m2].

    Parameters
    ----------
    text
        Number and unit.

    Returns
    -------
    float
        Area [m2].

    Raises
    ------
    UnitError
        When it is not an area.
    """
    return _parse_as(text, "m**2", "an area", "5 acre")


def parse_speed(text: str) -> float:
    """Read a speed such as ``"5 mph"`` [m/s].

    Parameters
    ----------
    text
        Number and unit.

    Returns
    -------
    float
        Speed [m/s].

    Raises
    ------
    UnitError
        When it is not a speed.
    """
    return _parse_as(text, "m/s", "a speed", "5 mph")


def parse_rate(text: str) -> float:
    """Read a rate by weight such as ``"4 lb/1000 ft2"`` or ``"3 ton/acre"`` [kg/ha].

    Parameters
    ----------
    text
        Number and unit.

    Returns
    -------
    float
        Mass per area [kg/ha].

    Raises
    ------
    UnitError
        When it is not a mass per area.

    Examples
    --------
    >>> round(parse_rate("4 lb/1000 ft2") / LB_ACRE_KG_HA, 2)
    174.24
    """
    return _parse_as(text, "kg/ha", "a rate by weight", "200 lb/acre")


def parse_density(text: str) -> float:
    """Read a density such as ``"9 lb/gal"`` [kg/m3].

    Parameters
    ----------
    text
        Number and unit.

    Returns
    -------
    float
        Density [kg/m3].

    Raises
    ------
    UnitError
        When it is not a mass per volume.
    """
    return _parse_as(text, "kg/m**3", "a density", "9 lb/gal")


_PACKAGE_WORDS = re.compile(
    r"\b(bags?|jugs?|totes?|sacks?|drums?|pails?|buckets?|bulk|boxes|box|bottles?|ea|each)\b", re.IGNORECASE
)


def parse_package(text: str, density_kg_m3: float | None = None) -> float | None:
    """Read the net mass of a package such as ``"50 lb bag"`` or ``"2.5 gal jug"`` [kg].

    Parameters
    ----------
    text
        As written; words for the kind of package are ignored.
    density_kg_m3
        Needed for a volume [kg/m3].

    Returns
    -------
    float or None
        Net mass [kg]; None when the package is a volume and the density is not stated.

    Raises
    ------
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
    if bare.lower() in {"ton", "tons", "tonne", "lb", "kg", "gal"}:
        bare = f"1 {bare}"
    try:
        quantity = parse_quantity(bare)
    except UnitError as error:
        raise UnitError(
            f"package {text!r} needs a number and a unit; write for example '50 lb bag'"
        ) from error
    if quantity.value <= 0:
        raise UnitError(f"package {text!r} must be more than zero")
    try:
        return convert(quantity.value, quantity.unit, "kg")
    except UnitError:
        pass
    try:
        volume_m3 = convert(quantity.value, quantity.unit, "m**3")
    except UnitError as error:
        raise UnitError(
            f"package {text!r} is neither a mass nor a volume; write for example '50 lb bag'"
        ) from error
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

    Returns
    -------
    str

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

    Returns
    -------
    str

    Raises
    ------
    UnitError
        When it is neither.
    """
    if system not in SYSTEMS:
        raise UnitError(f"unit system {system!r} is not known; use 'us' or 'metric'")
    return system


def format_area(area_m2: float, system: str = "us") -> str:
    """Write an area in acres (two decimals) or hectares (three).

    Parameters
    ----------
    area_m2
        Area [m2].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str

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

    Returns
    -------
    str

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

    Returns
    -------
    str

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


def format_money(amount: Decimal) -> str:
    """Write money in dollars and cents.

    Parameters
    ----------
    amount
        Money.

    Returns
    -------
    str

    Examples
    --------
    >>> format_money(Decimal("1250.5"))
    '$1,250.50'
    """
    return f"${amount:,.2f}"
