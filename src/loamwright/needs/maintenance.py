"""The removal form of a recommendation: build up a poor soil, replace the harvest on a good one.

Between a critical level and a limit the crop's removal is put back; below the critical level a
build-up is added; above the limit nothing is due. Levels, limits and removals are data: a level that
is not set, or a build-up figure nobody stated, gives unknown with what to set, never a guess.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loamwright import soil
from loamwright.needs.classes import Span
from loamwright.needs.rates import Rate, Situation, goal_in, row_of, unknown
from loamwright.soil import Extractant, Missing, SoilValue, unit_of
from loamwright.values import Nutrient, Source, Step


@dataclass(frozen=True, slots=True)
class Level:
    """Critical level and maintenance limit for some crops and soils.

    Parameters
    ----------
    crops
        Crops it was printed for.
    cec
        Cation exchange capacity it is for [meq/100 g]; None = any.
    critical, limit
        Soil test below which build-up is due, and above which nothing is; None = not stated.
    line
        Line in the file.
    """

    crops: tuple[str, ...]
    cec: Span | None
    critical: float
    limit: float | None
    line: int


@dataclass(frozen=True, slots=True)
class Removal:
    """What a harvest takes away.

    Parameters
    ----------
    value
        Amount per unit of yield [lb].
    yield_unit
        ``"ton/acre"``, ``"bu/acre"``.
    source
        Publication and row.
    """

    value: float
    yield_unit: str
    source: Source


@dataclass(frozen=True, slots=True)
class Maintenance:
    """Removal in the maintenance range, removal and build-up below it, nothing above it.

    Parameters
    ----------
    nutrient, crops, rate_unit
        What it is for and in which unit it answers.
    element, soil_unit, extractants, assumed_extractants
        As in `RateTable`.
    levels
        Critical levels and limits.
    removals
        By crop name.
    extra
        Added to removal up to the limit (20 lb K2O in the Tri-State form).
    buildup_per_unit
        Pounds that raise the soil test by one unit; None = not stated; 0 = no build-up wanted.
    buildup_years
        Years the build-up is spread over.
    source
        Publication and table.

    Notes
    -----
    Between the critical level and the limit: ``yield x removal + extra``. Below the critical level:
    the same plus ``(critical - test) x buildup_per_unit / buildup_years``. Above the limit: zero.
    The extra stays in below the critical level so that the need never rises with the soil test.

    References
    ----------
    Ohio State University Extension ANR-96 (2020 form); E-2567 (1995) for pounds per ppm.
    """

    nutrient: Nutrient
    crops: tuple[str, ...]
    rate_unit: str
    element: str
    soil_unit: str
    extractants: tuple[Extractant, ...]
    levels: tuple[Level, ...]
    removals: Mapping[str, Removal]
    source: Source
    extra: float = 0.0
    buildup_per_unit: float | None = None
    buildup_years: float = 4.0
    assumed_extractants: Mapping[Extractant, str] = field(default_factory=dict)

    def rate(self, situation: Situation) -> Rate:
        """Answer for one plot.

        Parameters
        ----------
        situation
            What is known of it.

        Returns
        -------
        Rate
        """
        figure = soil.soil_value(
            situation.tests, self.element, self.soil_unit, self.extractants, situation.convert_extractants
        )
        if isinstance(figure, Missing):
            return unknown(figure.reason)
        steps = list(figure.steps)
        remark = self.assumed_extractants.get(figure.extractant) if figure.extractant else None
        if remark:
            steps.append(Step(remark, "assumed", "", self.source))
        level = self._level(situation)
        if isinstance(level, Missing):
            return unknown(level.reason, steps)
        assumed = figure.assumed or bool(remark)
        unit = f"{self.soil_unit} {self.element}"
        source = row_of(self.source, f"{situation.crop}" + (f", CEC {level.cec.text}" if level.cec else ""))
        steps.append(Step("Critical level", level.critical, unit, source))
        if level.limit is not None:
            steps.append(Step("Upper limit of the maintenance range", level.limit, unit, source))
        rate_unit = unit_of(self.rate_unit, self.nutrient.value)
        if level.limit is not None and figure.value > level.limit:
            steps.append(Step("Above the limit nothing is needed", 0.0, rate_unit, source))
            reason = f"{figure.value:g} {unit} is above the maintenance limit {level.limit:g}"
            return Rate(0.0, self.rate_unit, reason, tuple(steps), assumed)
        if level.limit is None and figure.value >= level.critical:
            return unknown(
                f"{figure.value:g} {unit} is above the critical level {level.critical:g}, and no upper "
                "limit of the maintenance range is set; set it in your own copy of the guideline",
                steps,
            )
        return self._maintain(situation, figure, level, steps, assumed, source)

    def _level(self, situation: Situation) -> Level | Missing:
        levels = [level for level in self.levels if situation.crop in level.crops]
        if not levels:
            return Missing(
                f"no critical level of {self.element} is set for {situation.crop}; "
                "set it in your own copy of the guideline"
            )
        if situation.cec_meq_100g is None and any(level.cec for level in levels):
            return Missing("the critical level goes by cation exchange capacity, which was not reported")
        fitting = [
            level
            for level in levels
            if level.cec is None
            or (situation.cec_meq_100g is not None and level.cec.contains(situation.cec_meq_100g))
        ]
        if not fitting:
            return Missing(f"no critical level of {self.element} is set for CEC {situation.cec_meq_100g:g}")
        return fitting[0]

    def _maintain(
        self,
        situation: Situation,
        figure: SoilValue,
        level: Level,
        steps: list[Step],
        assumed: bool,
        source: Source,
    ) -> Rate:
        rate_unit = unit_of(self.rate_unit, self.nutrient.value)
        removal = self.removals.get(situation.crop)
        if removal is None:
            return unknown(f"no {self.nutrient.value} removal is set for {situation.crop}", steps)
        if situation.yield_goal is None:
            return unknown("removal needs a yield goal and none is stated", steps)
        goal = goal_in(situation.yield_goal, removal.yield_unit)
        if isinstance(goal, Missing):
            return unknown(goal.reason, steps)
        per = removal.yield_unit.partition("/")[0]
        taken = goal * removal.value
        steps.append(
            Step(
                f"The harvest takes {removal.value:g} lb {self.nutrient.value} per {per} x {goal:g}",
                taken,
                rate_unit,
                removal.source,
            )
        )
        value = taken + self.extra
        if self.extra:
            steps.append(Step(f"Plus {self.extra:g}", value, rate_unit, source))
        short = level.critical - figure.value
        if short > 0:
            if self.buildup_per_unit is None:
                return unknown(
                    f"{figure.value:g} {self.soil_unit} {self.element} is under the critical level "
                    f"{level.critical:g}, and the pounds that raise the test by 1 {self.soil_unit} are not "
                    "set; set them in your own copy of the guideline (0 for no build-up)",
                    steps,
                )
            buildup = short * self.buildup_per_unit / self.buildup_years
            value += buildup
            steps += [
                Step(
                    f"Build-up: {short:g} {self.soil_unit} short x {self.buildup_per_unit:g} lb "
                    f"over {self.buildup_years:g} years",
                    buildup,
                    rate_unit,
                    source,
                ),
                Step("Removal and build-up", value, rate_unit, source),
            ]
        where = "below the critical level" if short > 0 else "in the maintenance range"
        reason = f"{figure.value:g} {self.soil_unit} {self.element} is {where}"
        return Rate(value, self.rate_unit, reason, tuple(steps), assumed)
