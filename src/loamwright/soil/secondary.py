"""What is known of S, Mg, Ca, B, Zn and Mn where a guideline prints no rate: is the soil test low?

This file answers "does some source call this figure low, and what does it advise?". A flag is a remark,
never an amount: the sources are of other states, most print no rate, and one that does (boron for
sunflower, Tennessee) is told but not planned. The need stays unknown until the lab or a guideline rates it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loamwright.soil import governing
from loamwright.soil.readings import Extractant, Missing, plain_name
from loamwright.soil.records import SoilTest
from loamwright.values import Nutrient, Source, Step

_RUTGERS = Source("Rutgers NJAES, Relative levels of nutrients")
_NDSU = Source("North Dakota State Univ., Fertilizer rates when costs are high, part 3", "2022-04-28")
_TENNESSEE = Source("Univ. of Tennessee, UTcrops, sunflower")


#: Soil magnesium under which Ohio advises dolomitic lime.
MAGNESIUM_FLOOR_PPM = 50.0
MAGNESIUM_SOURCE = Source("Ohio's Country Journal, Select a lime source based on ENP", "2014")


@dataclass(frozen=True, slots=True)
class LowLevel:
    """A soil test under which a source calls a nutrient low.

    Parameters
    ----------
    nutrient
        Which; its symbol is the one soil tests use.
    below, unit
        The level, in the printed unit.
    extractants
        Tests it was printed for; None = the source names none, any is taken as it is.
    advice
        What the source advises; empty when it only calls the figure low.
    crops
        Crops it was printed for; empty = any.
    source
        Who says so.
    """

    nutrient: Nutrient
    below: float
    unit: str
    extractants: tuple[Extractant, ...] | None
    advice: str
    crops: tuple[str, ...]
    source: Source


_MEHLICH_3 = (Extractant.MEHLICH_3, Extractant.MEHLICH_3_ICP)

#: Levels that were read. Rutgers' first class above "low" starts at 84 lb Mg and 1,008 lb Ca per acre.
LOW_LEVELS: tuple[LowLevel, ...] = (
    LowLevel(
        Nutrient.MG,
        MAGNESIUM_FLOOR_PPM,
        "ppm",
        None,
        "dolomitic lime where lime is due",
        (),
        MAGNESIUM_SOURCE,
    ),
    LowLevel(Nutrient.MG, 84.0, "lb/acre", _MEHLICH_3, "", (), _RUTGERS),
    LowLevel(Nutrient.CA, 1008.0, "lb/acre", _MEHLICH_3, "", (), _RUTGERS),
    LowLevel(
        Nutrient.B, 0.8, "lb/acre", None, "1 lb B/acre on sunflower", ("sunflower", "sunflowers"), _TENNESSEE
    ),
    LowLevel(Nutrient.B, 0.5, "ppm", None, "", (), _RUTGERS),
    LowLevel(
        Nutrient.ZN, 1.0, "ppm", (Extractant.DTPA,), "zinc in the starter", ("corn", "corn grain"), _NDSU
    ),
    LowLevel(Nutrient.ZN, 1.0, "ppm", _MEHLICH_3, "", (), _RUTGERS),
)


@dataclass(frozen=True, slots=True)
class Flag:
    """What published levels say of one nutrient on one plot.

    Parameters
    ----------
    text
        Half a sentence on the sources that call it low; empty when none does.
    steps
        The lab's figure and each level it was held against.
    """

    text: str
    steps: tuple[Step, ...]


def flag(tests: Sequence[SoilTest], nutrient: Nutrient, crop: str) -> Flag:
    """Hold a soil test of a secondary nutrient or micronutrient against the published levels.

    Parameters
    ----------
    tests
        Usable reports of one plot.
    nutrient
        Which nutrient.
    crop
        This season's crop as written.

    Returns
    -------
    Flag
        Without text and steps when it was not tested, or by a test no level was printed for.

    Examples
    --------
    >>> from loamwright.soil import Reading
    >>> report = SoilTest("T1", "A", readings={"Zn": Reading(0.6, "ppm", "DTPA", "Zn")})
    >>> flag([report], Nutrient.ZN, "corn").text
    'under 1 ppm, which North Dakota State Univ. calls low: zinc in the starter'
    """
    low: list[str] = []
    steps: list[Step] = []
    for level in LOW_LEVELS:
        if level.nutrient is not nutrient or (level.crops and plain_name(crop) not in level.crops):
            continue
        figure = governing.soil_value(tests, nutrient.value, level.unit, level.extractants)
        if isinstance(figure, Missing):
            continue
        steps.extend(step for step in figure.steps if step not in steps)
        who = level.source.publication.partition(",")[0]
        unnamed = "; the source names no soil test" if level.extractants is None else ""
        is_low = figure.value < level.below
        told = f"{who} calls {nutrient.value} low under {level.below:g} {level.unit}{unnamed}"
        steps.append(Step(told, "low" if is_low else "not low", "", level.source))
        if is_low:
            advice = f": {level.advice}" if level.advice else ""
            low.append(f"under {level.below:g} {level.unit}, which {who} calls low{advice}")
    return Flag("; ".join(low), tuple(steps))


def wants_dolomitic(tests: Sequence[SoilTest]) -> tuple[bool | None, tuple[Step, ...]]:
    """Tell whether soil magnesium asks for dolomitic lime.

    Parameters
    ----------
    tests
        Usable reports of one plot.

    Returns
    -------
    tuple of bool or None, and tuple of Step
        True under 50 ppm Mg, False from there up, None when magnesium was not tested or cannot be
        read.

    References
    ----------
    Ohio's Country Journal, August 2014: dolomitic lime where soil Mg is under 50 ppm (100 lb/acre).
    It names no extractant, so the lab's is taken as it is.
    """
    figure = governing.soil_value(tests, "Mg", "ppm", None)
    if isinstance(figure, Missing):
        return None, ()
    low = figure.value < MAGNESIUM_FLOOR_PPM
    text = (
        f"Magnesium under {MAGNESIUM_FLOOR_PPM:g} ppm asks for dolomitic lime; the source names no soil test"
    )
    answer = "dolomitic" if low else "either kind"
    return low, (*figure.steps, Step(text, answer, "", MAGNESIUM_SOURCE))
