"""What a printed formula answers for one plot: a parabola of a laboratory's index, and a norm by yield.

A `Quadratic` falls with the soil test and is followed to its zero and no further; a `Norm` is a rate at a
printed yield with the change for another, and holds at one level of soil. Both are asked with a `Situation`
and answer with a `Rate`, like the tables of `rates`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loamwright import soil
from loamwright.needs.classes import Span, classified
from loamwright.needs.rates import OURS, Rate, Situation, goal_in, row_of, unknown
from loamwright.soil import Extractant, Missing, plain_name, unit_of
from loamwright.values import USER, Nutrient, Source, Step

#: Words of a report for a soil whose class is organic; "mineral-organic" is another class.
_ORGANIC = ("organic", "org", "peat", "muck")


@dataclass(frozen=True, slots=True)
class Parabola:
    """``squared x I2 + linear x I + constant``.

    Parameters
    ----------
    name
        Its number in print.
    squared, linear, constant
        As printed; a falling curve has a linear figure below zero.
    """

    name: str
    squared: float
    linear: float
    constant: float

    @property
    def zero(self) -> float | None:
        """Where it first reaches zero; None when it never does."""
        under_root = self.linear**2 - 4 * self.squared * self.constant
        return None if under_root < 0 else (-self.linear - math.sqrt(under_root)) / (2 * self.squared)

    @property
    def lowest(self) -> float:
        """Where it stops falling."""
        return -self.linear / (2 * self.squared)

    def at(self, value: float) -> float | None:
        """Return the rate at one figure of the soil.

        Parameters
        ----------
        value
            The soil figure.

        Returns
        -------
        float or None
            Zero from its zero on; None where it never reaches zero and no longer falls.
        """
        if self.zero is not None and value >= self.zero:
            return 0.0
        if value > self.lowest:
            return None
        return self.squared * value**2 + self.linear * value + self.constant


@dataclass(frozen=True, slots=True)
class Quadratic:
    """A rate by a falling parabola of a soil figure.

    Parameters
    ----------
    nutrient, crops, rate_unit
        What it is for and in which unit it answers.
    element, soil_unit, extractants
        The soil figure it goes by, its unit and the tests it was written for.
    curve, organic
        Equation for mineral soil; for organic soil, None = the same.
    margin
        How far the print lets a rate lie from the equation, in its unit; 0 = not printed.
    source
        Publication and table.

    References
    ----------
    NCDA&CS, Crop Fertilization Based on North Carolina Soil Tests, Circular No. 1, 2014, Table 2.4.
    """

    nutrient: Nutrient
    crops: tuple[str, ...]
    rate_unit: str
    element: str
    soil_unit: str
    extractants: tuple[Extractant, ...]
    curve: Parabola
    organic: Parabola | None
    margin: float
    source: Source

    def rate(self, situation: Situation) -> Rate:
        """Answer for one plot from its soil figure, up to the zero of the equation.

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
        steps, assumed, curve = list(figure.steps), figure.assumed, self.curve
        if self.organic is not None:
            soil_class = plain_name(situation.texture)
            if not soil_class:
                assumed = True
                steps.append(Step("Soil class not stated: mineral soil is taken", "mineral", "", OURS))
            elif soil_class.split()[0] in _ORGANIC:
                curve = self.organic
        value = curve.at(figure.value)
        found = f"{figure.value:g} {self.soil_unit} {self.element}"
        if value is None:
            return unknown(
                f"equation {curve.name} falls only up to {curve.lowest:.0f}, and {found} is beyond", steps
            )
        unit = unit_of(self.rate_unit, self.nutrient.value)
        source = row_of(self.source, f"equation {curve.name}")
        if value == 0 and curve.zero is not None:
            text = f"Equation {curve.name} reaches zero at {curve.zero:.1f}: none from there on"
        else:
            squared, linear = (
                f"{curve.squared:g} x {figure.value:g}²",
                f"{-curve.linear:g} x {figure.value:g}",
            )
            text = f"{squared} - {linear} + {curve.constant:g}"
        steps.append(Step(text, value, unit, source))
        if self.margin and value:
            text = f"The print lets the rate lie {self.margin:g} above or below the equation"
            steps.append(Step(text, "remark", "", source))
        reason = f"{found} by equation {curve.name}"
        return Rate(value, self.rate_unit, reason, tuple(steps), assumed)


@dataclass(frozen=True, slots=True)
class Norm:
    """A rate at a printed yield, with the change for another yield, at one level of soil.

    Parameters
    ----------
    nutrient, crop, rate_unit, rate_basis
        What it is for, in which unit it answers, and ``"P"`` or ``"K"`` when it is of the element.
    expected, yield_unit
        The printed yield.
    base, change, per_yield
        Rate at that yield, and what each `per_yield` more or less adds or takes off.
    element, soil_unit, extractants, holds
        The soil figure it holds at; None = it asks for none.
    note
        What a person should see beside it.
    source
        Publication and table.

    Notes
    -----
    ``base + (yield - expected) / per_yield x change``, never below zero.
    """

    nutrient: Nutrient
    crop: str
    rate_unit: str
    rate_basis: str
    expected: float
    yield_unit: str
    base: float
    change: float
    per_yield: float
    source: Source
    element: str = ""
    soil_unit: str = "ppm"
    extractants: tuple[Extractant, ...] = ()
    holds: Span | None = None
    note: str = ""

    @property
    def crops(self) -> tuple[str, ...]:
        """The one crop it is for."""
        return (self.crop,)

    def rate(self, situation: Situation) -> Rate:
        """Answer for one plot from its yield goal, where the soil is at the level the norm holds for.

        Parameters
        ----------
        situation
            What is known of it.

        Returns
        -------
        Rate
        """
        steps: list[Step] = []
        assumed = False
        if self.holds is not None:
            figure = soil.soil_value(
                situation.tests, self.element, self.soil_unit, self.extractants, situation.convert_extractants
            )
            if isinstance(figure, Missing):
                return unknown(figure.reason)
            steps.extend(figure.steps)
            if not self.holds.contains(classified(figure.value, [self.holds])):
                return unknown(
                    f"{figure.value:g} {self.soil_unit} {self.element} is outside {self.holds.text}, where "
                    "the norm holds; the corrections for other levels were not read",
                    steps,
                )
        goal = self.expected
        if situation.yield_goal is None:
            assumed = True
            steps.append(
                Step("No yield goal stated: the yield of the norm", self.expected, self.yield_unit, OURS)
            )
        else:
            asked = goal_in(situation.yield_goal, self.yield_unit)
            if isinstance(asked, Missing):
                return unknown(asked.reason, steps)
            goal = asked
            steps.append(Step("Yield goal", goal, self.yield_unit, USER))
        unit = unit_of(self.rate_unit, self.rate_basis or self.nutrient.value)
        source = row_of(self.source, self.crop)
        steps.append(Step(f"Norm at {self.expected:g} {self.yield_unit}", self.base, unit, source))
        value = max(0.0, self.base + (goal - self.expected) / self.per_yield * self.change)
        if goal != self.expected:
            text = f"{self.change:g} for each {self.per_yield:g} {self.yield_unit} more or less"
            steps.append(Step(text, value, unit, source))
        if self.note:
            steps.append(Step(self.note, "remark", "", source))
        reason = f"norm at {goal:g} {self.yield_unit}" + (f"; {self.note}" if self.note else "")
        return Rate(value, self.rate_unit, reason, tuple(steps), assumed, basis=self.rate_basis)
