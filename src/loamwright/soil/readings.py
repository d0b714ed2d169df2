"""What a lab number means: which test it was, in which unit, and for which slice of soil.

A soil reading is a record, not a float: 30 ppm by Bray P1 and 30 ppm by Mehlich-3 are different
facts. This file names the tests and buffers, brings a reading to the element and unit a table is
printed in, and holds the published formulas from one test to another, used only on request. It
refuses rather than guesses: an unnamed test or an unknown unit gives a `Missing` with the offending
value. Which report governs is `governing`' business; crops, rates and lime are further up.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from loamwright.soil.records import Reading, SoilTest
from loamwright.units import K_PER_K2O, LB_ACRE_KG_HA, P_PER_P2O5, PPM_PER_MEQ_100G, TON_ACRE_KG_HA
from loamwright.values import ARITHMETIC, Source, Step

INCH_M = 0.0254


# ---------------------------------------------------------------------------------------------
# Names


class Extractant(StrEnum):
    """The soil test a figure was read by. Only names: what each can be used for is the table's say."""

    BRAY_P1 = "Bray P1"
    BRAY_P2 = "Bray P2"
    OLSEN = "Olsen"
    MEHLICH_1 = "Mehlich-1"
    MEHLICH_3 = "Mehlich-3"  #: not said whether read by colour or by ICP
    MEHLICH_3_COLOR = "Mehlich-3 colorimetric"
    MEHLICH_3_ICP = "Mehlich-3 ICP"
    AMMONIUM_ACETATE = "ammonium acetate"
    MORGAN = "Morgan"
    MODIFIED_MORGAN = "modified Morgan"
    DTPA = "DTPA"
    HOT_WATER = "hot water"
    CALCIUM_PHOSPHATE = "calcium phosphate"
    AL = "AL"  #: ammonium lactate: P-AL and K-AL
    AMMONIUM_NITRATE = "ammonium nitrate"
    CAL = "calcium-acetate-lactate"  #: P-CAL and K-CAL


class Buffer(StrEnum):
    """The buffer a buffer pH or buffer index was read in."""

    SIKORA = "Sikora"
    SMP = "SMP"
    MEHLICH = "Mehlich"
    NCDA = "NCDA"  #: as run by the North Carolina state laboratory
    ADAMS_EVANS = "Adams-Evans"
    MOORE_SIKORA = "Moore-Sikora"
    WOODRUFF = "Woodruff"


_EXTRACTANT_SPELLINGS = {
    Extractant.BRAY_P1: "brayp1 bray1 braykurtzp1 weakbray brayweak p1 p1bray p1weakbray weakbrayp1",
    Extractant.BRAY_P2: "brayp2 bray2 strongbray braystrong p2 p2bray",
    Extractant.OLSEN: "olsen olsenp sodiumbicarbonate bicarbonate bicarb nahco3",
    Extractant.MEHLICH_1: "mehlich1 mehlichi m1 doubleacid",
    Extractant.MEHLICH_3: "mehlich3 mehlichiii m3",
    Extractant.MEHLICH_3_COLOR: (
        "mehlich3colorimetric mehlich3colourimetric mehlich3color mehlich3colour m3colorimetric "
        "m3color m3colour m3col"
    ),
    Extractant.MEHLICH_3_ICP: "mehlich3icp mehlichiiiicp m3icp mehlich3icpoes mehlich3icpaes icpm3",
    Extractant.AMMONIUM_ACETATE: (
        "ammoniumacetate nh4oac 1nnh4oac amac amacetate ammoniumacetateph7 neutralammoniumacetate "
        "1nammoniumacetate"
    ),
    Extractant.MORGAN: "morgan",
    Extractant.MODIFIED_MORGAN: "modifiedmorgan modmorgan mmorgan",
    Extractant.DTPA: "dtpa",
    Extractant.HOT_WATER: "hotwater hotwaterextractable",
    Extractant.CALCIUM_PHOSPHATE: "calciumphosphate monocalciumphosphate mcp",
    Extractant.AL: "al pal kal ammoniumlactate ammoniumlactateaceticacid egnerriehmdomingo",
    Extractant.AMMONIUM_NITRATE: "ammoniumnitrate nh4no3",
    Extractant.CAL: "cal calmethod calmethode calciumacetatelactate calciumacetatlactat",
}

#: Tests that no built-in table is written for: a guideline of one's own can be.
WITHOUT_TABLE = frozenset({Extractant.CAL})

_BUFFER_SPELLINGS = {
    Buffer.SIKORA: "sikora sikorabuffer sikora2",
    Buffer.SMP: "smp smpbuffer shoemakermcleanpratt",
    Buffer.MEHLICH: "mehlich mehlichbuffer",
    Buffer.NCDA: "ncda ncdabuffer ncdacs nc ncbuffer",
    Buffer.ADAMS_EVANS: "adamsevans ae",
    Buffer.MOORE_SIKORA: "mooresikora",
    Buffer.WOODRUFF: "woodruff",
}


def _bare(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.casefold())


_EXTRACTANTS = {word: name for name, words in _EXTRACTANT_SPELLINGS.items() for word in words.split()}
_BUFFERS = {word: name for name, words in _BUFFER_SPELLINGS.items() for word in words.split()}


@lru_cache(maxsize=8192)  # the same few hundred names are asked for at every plot
def plain_name(text: str) -> str:
    """Reduce a name to its words, so that dashes, capitals and spacing do not matter.

    Parameters
    ----------
    text
        A crop, material or method as written.

    Returns
    -------
    str

    Examples
    --------
    >>> plain_name("Grass–legume  Mixture")
    'grass legume mixture'
    """
    return re.sub(r"[^0-9a-z]+", " ", text.casefold()).strip()


def unit_of(rate_unit: str, what: str) -> str:
    """Write a rate unit with what it is a rate of.

    Parameters
    ----------
    rate_unit
        ``"lb/acre"``.
    what
        A nutrient or lime basis: ``"P2O5"``.

    Returns
    -------
    str

    Examples
    --------
    >>> unit_of("lb/acre", "P2O5")
    'lb P2O5/acre'
    """
    amount, _, per = rate_unit.partition("/")
    return f"{amount} {what}/{per}"


#: Units a guideline prints its rates in [kg/ha each]. A decare (daa) is 0.1 ha; a unit of an Irish bag is
#: taken as 1.25 kg/ha when it is per acre, as Agriland prints it (24 units/acre = 30 kg/ha).
RATE_UNITS_KG_HA = {
    "lb/acre": LB_ACRE_KG_HA,
    "ton/acre": TON_ACRE_KG_HA,
    "kg/ha": 1.0,
    "kg/daa": 10.0,
    "unit/acre": 1.25,
}


def rate_kg_ha(value: float, rate_unit: str) -> float:
    """Bring a guideline's rate to kilograms per hectare.

    Parameters
    ----------
    value
        Rate [`rate_unit`].
    rate_unit
        One of `RATE_UNITS_KG_HA`, which the reader of editions makes sure of.

    Returns
    -------
    float
        Rate [kg/ha].
    """
    return value * RATE_UNITS_KG_HA[rate_unit]


def read_extractant(text: str) -> Extractant | None:
    """Read the name of a soil test, whatever its spelling.

    Parameters
    ----------
    text
        As the lab writes it.

    Returns
    -------
    Extractant or None
        None when it is not known or not certain: ``"Bray"`` alone could be P1 or P2.

    Examples
    --------
    >>> read_extractant("Bray P-1")
    <Extractant.BRAY_P1: 'Bray P1'>
    >>> read_extractant("Bray") is None
    True
    """
    return _EXTRACTANTS.get(_bare(text))


def read_buffer(text: str) -> Buffer | None:
    """Read the name of a lime buffer, whatever its spelling.

    Parameters
    ----------
    text
        As the lab writes it.

    Returns
    -------
    Buffer or None
        None when it is not known.
    """
    return _BUFFERS.get(_bare(text))


@dataclass(frozen=True, slots=True)
class Missing:
    """A figure that cannot be used, and why.

    Parameters
    ----------
    reason
        Half a sentence with the offending value.
    """

    reason: str


# ---------------------------------------------------------------------------------------------
# Units

OHIO_UNITS = Source("Ohio State University, Agricultural Best Management Practices FAQ", "", "", "ppm x 2")
DAVIS_SLICE = Source("University of California Davis Analytical Laboratory, lime requirement page")

_UNIT_SPELLINGS = {
    "ppm": "ppm",
    "mg/kg": "ppm",
    "mgkg-1": "ppm",
    "lb/acre": "lb/acre",
    "lb/ac": "lb/acre",
    "lb/a": "lb/acre",
    "lbacre": "lb/acre",
    "pp2m": "lb/acre",
    "kg/ha": "kg/ha",
    "kg/hectare": "kg/ha",
    "mg/100g": "mg/100 g",
    "meq/100g": "meq/100 g",
    "me/100g": "meq/100 g",
    "cmol(+)/kg": "meq/100 g",
    "cmolc/kg": "meq/100 g",
    "mg/l": "mg/l",
    "mg/litre": "mg/l",
    "mg/dm3": "mg/l",
    "ncindex": "NC index",
    "ncdaindex": "NC index",
    "ncda&csindex": "NC index",
    "p-i": "NC index",
    "k-i": "NC index",
    "ukindex": "UK index",
    "irishindex": "Irish index",
    "irelandindex": "Irish index",
}

#: A laboratory's own scale: a figure on it is no amount and belongs to that laboratory's tables alone.
INDEX_UNITS = ("NC index", "UK index", "Irish index")
#: Units a guideline prints its soil classes in.
SOIL_UNITS = ("ppm", "lb/acre", "mg/100 g", "mg/l", *INDEX_UNITS)


def read_unit(text: str) -> str | None:
    """Read the unit of a soil figure: by weight, by area, by volume of soil, or a laboratory's index.

    Parameters
    ----------
    text
        As printed; mg/kg is ppm by weight.

    Returns
    -------
    str or None
        One of `SOIL_UNITS`, ``"kg/ha"`` or ``"meq/100 g"`` (of Ca, Mg, K); None when it is not
        known. An index must be named by its laboratory or country: a bare ``"index"`` could be any.

    Examples
    --------
    >>> read_unit("P-I"), read_unit("mg/dm3"), read_unit("index")
    ('NC index', 'mg/l', None)
    """
    spelled = re.sub(r"\s+", "", text.casefold()).replace("lbs", "lb").replace("pounds", "lb")
    spelled = spelled.replace("per", "/").replace("lb.", "lb")
    return _UNIT_SPELLINGS.get(spelled)


def slice_factor(thickness_m: float | None) -> tuple[float, Step, bool]:
    """Return lb/acre per ppm for a slice of soil, with its step.

    Notes
    -----
    2 for a 6 to 7 inch slice; otherwise 0.3 per inch, from 2.4 million pounds in an 8 inch slice.
    Both are customary weights for mineral soil, not measured densities.

    References
    ----------
    Ohio State University, agbmps.osu.edu, soil test report FAQ (60 lb/acre is 30 ppm); Penn State
    Agronomy Guide (ppm x 2 for about 6 to 7 inches); UC Davis Analytical Laboratory (8 inches weigh
    2.4 million lb).
    """
    if thickness_m is None:
        step = Step(
            "Depth not stated: taken as a 6 to 7 inch slice, 2 lb/acre per ppm",
            2.0,
            "lb/acre per ppm",
            OHIO_UNITS,
        )
        return 2.0, step, True
    inches = round(thickness_m / INCH_M, 3)
    if 6 <= inches <= 7:
        step = Step("A 6 to 7 inch slice holds 2 lb/acre per ppm", 2.0, "lb/acre per ppm", OHIO_UNITS)
        return 2.0, step, False
    factor = 0.3 * inches
    step = Step(
        f"A {inches:g} inch slice by weight, 0.3 million lb of soil per inch",
        factor,
        "lb/acre per ppm",
        DAVIS_SLICE,
    )
    return factor, step, True


def _thickness_m(test: SoilTest) -> float | None:
    if test.depth_bottom_m is None:
        return None
    return test.depth_bottom_m - (test.depth_top_m or 0.0)


_OXIDES = {"P2O5": ("P", P_PER_P2O5), "K2O": ("K", K_PER_K2O)}


def to_unit(
    test: SoilTest, reading: Reading, element: str, unit: str
) -> tuple[float, tuple[Step, ...], bool] | Missing:
    """Bring one reading to the element and unit a table is printed in.

    Parameters
    ----------
    test
        The report: its depth tells how heavy the slice of soil is.
    reading, element
        The reading, and what it is asked of: ``"P"``.
    unit
        One of `SOIL_UNITS`.

    Returns
    -------
    (float, tuple of Step, bool) or Missing
        Value [unit, element], how it came about, and whether something was assumed.
    """
    printed = read_unit(reading.unit)
    if printed is None:
        bare = " of which laboratory?" if "index" in reading.unit.casefold() else ""
        return Missing(
            f"the unit {reading.unit!r} of {element} is not understood{bare} "
            f"({', '.join((*SOIL_UNITS, 'mg/kg', 'kg/ha'))})"
        )
    value, steps, assumed = reading.value, [], False
    basis = reading.basis.strip() or element
    if basis.upper() in _OXIDES and _OXIDES[basis.upper()][0] == element:
        share = _OXIDES[basis.upper()][1]
        value *= share
        steps.append(
            Step(
                f"{basis} is {share:.4f} {element} by weight",
                value,
                f"{reading.unit} {element}",
                Source("exact definition", "standard atomic weights"),
            )
        )
    elif basis.casefold() != element.casefold():
        return Missing(f"the figure is in {basis!r}, which is not {element}")
    if printed == "meq/100 g":
        if element not in PPM_PER_MEQ_100G:
            return Missing(f"{reading.value:g} meq/100 g {element}: only Ca, Mg and K are counted by charge")
        value, printed = value * PPM_PER_MEQ_100G[element], "ppm"
        steps.append(
            Step(
                f"1 meq/100 g is {PPM_PER_MEQ_100G[element]:.1f} ppm {element}",
                value,
                f"ppm {element}",
                Source("exact definition", "standard atomic weights"),
            )
        )
    if printed == unit:
        return value, tuple(steps), assumed
    for own, other in ((printed, unit), (unit, printed)):
        if own in (*INDEX_UNITS, "mg/l"):
            kind = "a laboratory's own scale" if own in INDEX_UNITS else "per volume of soil"
            return Missing(f"{reading.value:g} {reading.unit!r} {element}: {own} is {kind}, not {other}")
    for old, new, factor in (("kg/ha", "lb/acre", 1 / LB_ACRE_KG_HA), ("mg/100 g", "ppm", 10.0)):
        if printed == old:
            value, printed = value * factor, new
            steps.append(Step(f"{old} as {new}", value, f"{new} {element}", Source("exact definition")))
    by_weight = "ppm" if unit == "mg/100 g" else unit
    if printed != by_weight:
        factor, step, assumed = slice_factor(_thickness_m(test))
        value = value / factor if by_weight == "ppm" else value * factor
        steps.extend((step, Step(f"{printed} as {by_weight}", value, f"{by_weight} {element}", ARITHMETIC)))
    if by_weight != unit:
        value /= 10
        steps.append(Step("ppm as mg/100 g", value, f"{unit} {element}", Source("exact definition")))
    return value, tuple(steps), assumed


# ---------------------------------------------------------------------------------------------
# From one soil test to another, only on request


@dataclass(frozen=True, slots=True)
class Conversion:
    """A published formula from one soil test to another.

    Parameters
    ----------
    element
        Symbol.
    sources
        Tests it starts from.
    target
        Test it gives.
    formula
        In words, for the step.
    intercept, slope
        ``result = intercept + slope x figure`` [ppm].
    source
        Who published it.
    """

    element: str
    sources: tuple[Extractant, ...]
    target: Extractant
    formula: str
    intercept: float
    slope: float
    source: Source


CONVERSIONS = (
    Conversion(
        "P",
        (Extractant.MEHLICH_3_ICP,),
        Extractant.BRAY_P1,
        "Bray P1 = -8.08 + 0.832 x Mehlich-3 ICP (Ohio soils)",
        -8.08,
        0.832,
        Source("Ohio State University, Agricultural Best Management Practices, soil test P FAQ"),
    ),
    Conversion(
        "K",
        (Extractant.MEHLICH_3, Extractant.MEHLICH_3_ICP, Extractant.MEHLICH_3_COLOR),
        Extractant.AMMONIUM_ACETATE,
        "Mehlich-3 K runs about 14 percent above ammonium acetate K, so it is divided by 1.14 (Ohio)",
        0.0,
        1 / 1.14,
        Source("Ohio State University, Tri-State Fertilizer Recommendations web summary", "2020"),
    ),
)


def conversion_for(element: str, have: Extractant, accepted: Sequence[Extractant]) -> Conversion | None:
    """Find the named formula that brings a test to one a table accepts."""
    return next(
        (c for c in CONVERSIONS if c.element == element and have in c.sources and c.target in accepted), None
    )
