"""Small plots, reports and areas for the tests of needs. All invented; nothing here is checked against."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from places import square

from loamwright.files import guidelines
from loamwright.land.records import Cropping, Plot, PlotArea
from loamwright.needs.choice import Choice
from loamwright.needs.decisions import Decision
from loamwright.needs.nutrients import plot_needs
from loamwright.needs.publication import Guideline
from loamwright.needs.records import PlotNeeds
from loamwright.soil.records import LabRecommendation, OrganicInput, Reading, SoilTest
from loamwright.values import Nutrient, Quantity, Settings, Step, Supply

#: Exact definitions, written out here and not taken from the program.
ACRE_M2 = 43560 * 0.3048**2
LB_KG = 0.45359237
TODAY = dt.date(2026, 5, 20)
#: A hectare in Minnesota.
FIELD = square(100)
SAMPLED = dt.date(2026, 4, 1)


def plot(boundary: shapely.Polygon = FIELD) -> Plot:
    """Make plot A."""
    return Plot("A", "Plot A", boundary)


def area(acres: float = 1.0) -> PlotArea:
    """Make its area."""
    return PlotArea("A", acres * ACRE_M2, acres * ACRE_M2, 0.0, None)


def crop(name: str = "red clover", goal: float | None = 2, unit: str = "ton/acre", **more: Any) -> Cropping:
    """Say what grows on it."""
    return Cropping("A", 2026, name, yield_goal=None if goal is None else Quantity(goal, unit), **more)


def report(p: tuple[float, str] | None = None, k: tuple[float, str] | None = None, **more: Any) -> SoilTest:
    """Make a lab report with P and K in ppm by a named test, 0 to 6 inches deep."""
    readings = {
        element: Reading(figure[0], "ppm", figure[1], element)
        for element, figure in (("P", p), ("K", k))
        if figure is not None
    }
    more.setdefault("sampled_on", SAMPLED)
    more.setdefault("test_id", "T1")
    more.setdefault("depth_bottom_m", 6 * 0.0254)
    return SoilTest(plot_id="A", readings={**readings, **more.pop("readings", {})}, **more)


def advice(
    lime: tuple[float, str] | None = None, taken: bool | None = None, **rates: float
) -> LabRecommendation:
    """Make a lab's own recommendation in lb/acre."""
    return LabRecommendation(
        {Nutrient(name): Quantity(value, "lb/acre") for name, value in rates.items()},
        None if lime is None else Quantity(*lime),
        taken,
    )


def needs(
    tests: Sequence[SoilTest] = (),
    cropping: Cropping | None = None,
    *,
    acres: float = 1.0,
    guideline: Guideline | str = "umn-forage-2011",
    lime: Guideline | str = "umn-wildlife-lime",
    settings: Settings | None = None,
    applied: Mapping[str, float] | None = None,
    organic: Sequence[OrganicInput] = (),
    boundary: shapely.Polygon = FIELD,
    decisions: Sequence[Decision] = (),
    metric: bool = False,
) -> PlotNeeds:
    """Ask for the needs of plot A; `applied` in pounds."""
    return plot_needs(
        plot(boundary),
        cropping,
        area(acres),
        tests,
        guidelines.load_choice(guideline) if isinstance(guideline, str) else Choice((guideline,)),
        guidelines.load_lime_guideline(lime) if isinstance(lime, str) else lime,
        settings or Settings(lime_region="Area 1"),
        {Supply(key): pounds * LB_KG for key, pounds in (applied or {}).items()},
        organic,
        TODAY,
        decisions=decisions,
        metric=metric,
    )


def pounds(found: PlotNeeds, nutrient: str) -> float | None:
    """Return pounds still to be supplied of a nutrient, or of lime."""
    mass = (
        found.lime.mass_kg if nutrient == "lime" else getattr(found.of(Nutrient(nutrient)), "mass_kg", None)
    )
    return None if mass is None else mass / LB_KG


def texts(steps: Sequence[Step]) -> str:
    """Join a chain for reading."""
    return "\n".join(f"{s.what} = {s.value} {s.unit} [{s.source}]" for s in steps)
