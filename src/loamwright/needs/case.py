"""One plot's question, put together once: crop, soil, area, what the tables may be asked.

`nutrients` and `lime_need` both ask of the same `Case`, so that no reading is chosen twice.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from loamwright import soil
from loamwright.errors import Level, Problem
from loamwright.land import Cropping, Plot, PlotArea
from loamwright.needs.choice import Asked
from loamwright.needs.crops import CropNames
from loamwright.needs.decisions import Decision
from loamwright.needs.publication import Crop, Guideline
from loamwright.needs.rates import Situation
from loamwright.needs.seen import Clock, PartDone, growing_since, rest_of_plot, sample_dates, season_dates
from loamwright.soil import OrganicInput, SoilTest, unit_of
from loamwright.units import ACRE_M2, HA_M2, LB_ACRE_KG_HA, LB_KG
from loamwright.values import ARITHMETIC, BOUNDARY, Nutrient, Settings, Source, Step, Supply

ALWAYS = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O, Nutrient.S)
RECORD = Source("user", table="application record")
ASK_THE_LAB = "use your lab's recommendation"


@dataclass(frozen=True, slots=True)
class Case:
    """Everything asked about one plot, gathered once."""

    plot: Plot
    cropping: Cropping | None
    area: PlotArea
    tests: tuple[SoilTest, ...]
    asked: tuple[Asked, ...]
    names: CropNames
    lime_guideline: Guideline
    settings: Settings
    applied_kg: Mapping[Supply, float]
    organic: tuple[OrganicInput, ...]
    today: dt.date
    parts: Mapping[Supply, Sequence[tuple[float, float]]] = field(default_factory=dict)
    clock: Clock | None = None
    decisions: tuple[Decision, ...] = ()
    metric: bool = False

    @property
    def dates(self) -> Clock:
        """The dates that decide what counts: those given, else the season's, the crop's and the samples'."""
        if self.clock is not None:
            return self.clock
        start, end = season_dates(self.season, self.settings.season_start)
        sown = None if self.cropping is None else self.cropping.sown_on
        established = self.cropping is not None and self.cropping.seeding is False
        return Clock(start, end, growing_since(start, sown, established), None, sample_dates(self.tests))

    @property
    def leading(self) -> Asked:
        """The first edition that names the crop, else the first of all."""
        return next((one for one in self.asked if one.crop is not None), self.asked[0])

    @property
    def guideline(self) -> Guideline:
        """Its edition."""
        return self.leading.guideline

    @property
    def crop(self) -> Crop | None:
        """Its name of the crop."""
        return self.leading.crop

    @property
    def where(self) -> str:
        """Where a problem of this plot is."""
        return f"plot {self.plot.plot_id}"

    @property
    def crop_text(self) -> str:
        """The crop as the user wrote it; empty when none is stated."""
        return "" if self.cropping is None else self.cropping.crop.strip()

    @property
    def season(self) -> int:
        """The season asked about [year]."""
        return self.today.year if self.cropping is None else self.cropping.season

    @property
    def area_ha(self) -> float:
        """Area to spread on [ha]."""
        return self.area.spread_area_m2 / HA_M2

    def situation(self, crop: Crop) -> Situation:
        """What the conditions of a table are held against."""
        cropping = self.cropping
        assert cropping is not None
        textures = {test.texture for test in soil.newest(self.tests, lambda test: bool(test.texture))}
        return Situation(
            crop=crop.name,
            tests=self.tests,
            yield_goal=cropping.yield_goal,
            previous_crop=cropping.previous_crop.strip(),
            previous_stand=cropping.previous_stand.strip(),
            organic_matter_pct=mean_of([t.organic_matter_pct for t in self._stating("organic_matter_pct")]),
            cec_meq_100g=mean_of([t.cec_meq_100g for t in self._stating("cec_meq_100g")]),
            seeding=cropping.seeding,
            texture=textures.pop() if len(textures) == 1 else "",
            legume_pct=cropping.legume_pct,
            convert_extractants=self.settings.convert_extractants,
            lowest_yield=self.settings.default_yield_row,
            use=cropping.use,
        )

    def _stating(self, field: str) -> tuple[SoilTest, ...]:
        return soil.newest(self.tests, lambda test: getattr(test, field) is not None)


def mean_of(values: Sequence[float | None]) -> float | None:
    """Return the mean of what is stated; None when nothing is."""
    stated = [value for value in values if value is not None]
    return soil.mean(stated) if stated else None


def sentence(text: str) -> str:
    """Begin with a capital and end with one full stop."""
    return text[:1].upper() + text[1:].rstrip(".") + "."


def part_asks(
    case: Case, governing: Sequence[SoilTest], what: str, asks: Callable[[Case], bool]
) -> list[Problem]:
    """Say when the mean of several samples hides a part that would need something by itself."""
    if len(governing) < 2:
        return []
    asking = [test.part or test.test_id for test in governing if asks(replace(case, tests=(test,)))]
    if not asking:
        return []
    return [
        Problem(
            f"{case.where}, {what}",
            f"none by the mean of its samples, but {' and '.join(asking)} needs it by its own sample",
            "Make that part a plot of its own if it can be spread by itself",
            Level.WARNING,
        )
    ]


def set_aside(
    case: Case, what: str, said: str, test: SoilTest, governing: Sequence[SoilTest], level: Level
) -> Problem:
    """Say that a lab's rate gives way to a newer report that holds none."""
    dated, newer = (soil.sample_text(reports) for reports in ((test,), governing))
    return Problem(
        f"{case.where}, {what}, soil test {test.test_id}",
        f"the lab's {said} is not used ({dated}): a newer report holds none ({newer})",
        "If it still holds, decide that rate; if both are of one sampling, give them the same day",
        level,
    )


def area_steps(case: Case, net_kg_ha: float, mass_kg: float, what: str) -> tuple[Step, Step]:
    """Return the steps from a rate to the plot: rate [kg/ha] × area = mass [kg]."""
    area = case.area.spread_area_m2 / unit_m2(case)
    unit = "ha" if case.metric else "acres"
    words = f"{rate_words(case, net_kg_ha)} x {area:.6g} {unit}"
    return (
        Step("Spread area of the plot", area, unit, BOUNDARY),
        Step(words, mass_kg / unit_kg(case), f"{mass_unit(case)} {what}", ARITHMETIC),
    )


def unit_m2(case: Case) -> float:
    """Return the unit areas are told in [m2]."""
    return HA_M2 if case.metric else ACRE_M2


def unit_kg(case: Case) -> float:
    """Return the unit amounts are told in [kg]."""
    return 1.0 if case.metric else LB_KG


def mass_unit(case: Case) -> str:
    """Return the unit amounts are told in, as written."""
    return "kg" if case.metric else "lb"


def per_area(case: Case) -> str:
    """Return the unit rates are told in, as written."""
    return "kg/ha" if case.metric else "lb/acre"


def rate_shown(case: Case, rate_kg_ha: float) -> float:
    """Return a rate in the unit rates are told in."""
    return rate_kg_ha / (1.0 if case.metric else LB_ACRE_KG_HA)


def rate_words(case: Case, rate_kg_ha: float) -> str:
    """Say a rate, unrounded, in the unit rates are told in."""
    return f"{rate_shown(case, rate_kg_ha):.6g} {per_area(case)}"


def rate_step(case: Case, words: str, rate_kg_ha: float, of: str, source: Source) -> Step:
    """Return a step that ends in a rate of a nutrient or of a lime basis, in the unit rates are told in."""
    return Step(words, rate_shown(case, rate_kg_ha), unit_of(per_area(case), of), source)


def same_step(case: Case, rate_kg_ha: float, of: str) -> Step:
    """Return the step that says a rate again in the unit rates are told in."""
    return rate_step(case, f"The same in {per_area(case)}", rate_kg_ha, of, ARITHMETIC)


def on_the_rest(case: Case, supply: Supply, gross_kg_ha: float, net_kg_ha: float) -> PartDone:
    """Divide what is still to supply [kg/ha] between the part that got its share and the rest."""
    least = case.settings.work.least_job_share * gross_kg_ha
    parts = case.parts.get(supply, ())
    return rest_of_plot(net_kg_ha, case.area.spread_area_m2, parts, least_kg_ha=least)


def rest_steps(case: Case, supply: Supply, done: PartDone) -> tuple[Step, ...]:
    """Return the steps for a plot of which a part is done; none when it is all one."""
    if not case.parts.get(supply):
        return ()
    area_m2, unit = unit_m2(case), "ha" if case.metric else "acres"
    whole, gone = case.area.spread_area_m2 / area_m2, done.done_area_m2 / area_m2
    of = f"{mass_unit(case)} {supply.name_alone}"
    steps = [
        Step(
            f"{whole:.6g} {unit}, less {gone:.6g} that got their share: the rest",
            done.area_m2 / area_m2,
            unit,
            RECORD,
        ),
        Step("Still to supply on the rest", done.rest_kg / unit_kg(case), of, ARITHMETIC),
    ]
    if done.topup_kg > 0:
        text = "The other ground is still a little short, listed and not planned"
        steps.append(Step(text, done.topup_kg / unit_kg(case), of, ARITHMETIC))
    return tuple(steps)


def within_reach(case: Case, left_kg_ha: float, share: float) -> str:
    """Say that what is left is not worth a trip."""
    return (
        f"the {rate_shown(case, left_kg_ha):.3g} {per_area(case)} still short are within {share:.0%} of the "
        "need: listed as a top-up, not planned"
    )
