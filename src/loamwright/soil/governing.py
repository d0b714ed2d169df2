"""Which soil report governs, and the one figure a table is asked with.

Rules stated here once:

* *Newest governs.* For each figure, the newest dated report that states it; undated reports only
  when no dated one does. A report dated after today is refused.
* *Several samples.* Those of the newest date stand together. Where they are of parts of the plot, so
  does the newest sample of every other part taken in the same calendar year. Their plain mean counts,
  every sample once, marked on the result. They must agree on the test used.
* *The table's own test.* A figure by another test is refused, unless the user asked for conversion
  and a named formula exists.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial

from loamwright.errors import Level, Problem
from loamwright.soil.readings import (
    INCH_M,
    INDEX_UNITS,
    Extractant,
    Missing,
    conversion_for,
    plain_name,
    read_extractant,
    read_unit,
    to_unit,
)
from loamwright.soil.records import SoilTest
from loamwright.values import ARITHMETIC, LAB, Step


@dataclass(frozen=True, slots=True)
class UsableTests:
    """The reports of one plot that may be used, and what is to be said about them.

    Parameters
    ----------
    tests
        Reports, those refused left out.
    problems
        Refusals (errors) and remarks (warnings, notes).
    """

    tests: tuple[SoilTest, ...]
    problems: tuple[Problem, ...] = ()


def check_test(test: SoilTest, today: dt.date) -> tuple[Problem, ...]:
    """Check one report for figures that cannot be."""
    where = f"soil test {test.test_id} of plot {test.plot_id}"
    problems = []
    if test.sampled_on is not None and test.sampled_on > today:
        problems.append(
            Problem(
                f"{where}, sampled_on",
                f"sampled on {test.sampled_on}, which is after today ({today})",
                "Correct the date",
            )
        )
    for field, value, low, high in (
        ("ph", test.ph, 0.0, 14.0),
        ("buffer_ph", test.buffer_ph, 0.0, 14.0),
        ("organic_matter_pct", test.organic_matter_pct, 0.0, 100.0),
        ("cec_meq_100g", test.cec_meq_100g, 0.0, math.inf),
        ("acidity_meq_100g", test.acidity_meq_100g, 0.0, math.inf),
    ):
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            allowed = f"{low:g} to {high:g}" if math.isfinite(high) else f"{low:g} or more"
            problems.append(
                Problem(f"{where}, {field}", f"{value:g} is outside {allowed}", "Correct the figure")
            )
    problems.extend(
        Problem(
            f"{where}, {element}",
            f"{reading} cannot be a soil test figure",
            "Correct the figure, or leave it blank when it was not tested",
        )
        for element, reading in test.readings.items()
        if not (math.isfinite(reading.value) and reading.value >= 0)
    )
    top, bottom = test.depth_top_m, test.depth_bottom_m
    if bottom is not None and bottom <= (top or 0.0):
        problems.append(
            Problem(
                f"{where}, depth",
                f"the slice {(top or 0.0) / INCH_M:g} to {bottom / INCH_M:g} inches has no thickness",
                "Write the depth as for example 0-6 in",
            )
        )
    return tuple(problems)


def usable_tests(
    tests: Iterable[SoilTest], plot_id: str, today: dt.date, age_limit_years: float
) -> UsableTests:
    """Choose the reports of one plot that may be used, and say what is doubtful about them.

    Parameters
    ----------
    tests
        Reports of any plots.
    plot_id
        Which plot.
    today
        Date the question is asked.
    age_limit_years
        An older governing report draws a warning [year of 365.25 days].

    Returns
    -------
    UsableTests
        Reports with impossible figures left out and named. Remarks on date and depth are made for the
        newest; the age limit holds for every report a figure is still taken from.
    """
    mine = [test for test in tests if test.plot_id == plot_id]
    problems: list[Problem] = []
    usable = []
    for test in mine:
        found = check_test(test, today)
        problems.extend(found)
        if not found:
            usable.append(test)
    newest_date = newest(usable, lambda _: True)
    for test in newest_date:
        where = f"soil test {test.test_id} of plot {plot_id}"
        if test.sampled_on is None:
            problems.append(
                Problem(
                    f"{where}, sampled_on",
                    "the date of sampling is not stated: its age is not known, and what went on since the "
                    "season began is taken off the need",
                    f"Set it: set soil-test {test.test_id} sampled_on=2026-04-11",
                    Level.WARNING,
                )
            )
        if test.depth_bottom_m is None:
            problems.append(
                Problem(
                    f"{where}, depth",
                    "the depth sampled is not stated; the depth the tables assume is taken",
                    "Enter the depth, for example 0-6 in",
                    Level.NOTE,
                )
            )
    for test, names in _standing(usable):
        if test.sampled_on is None or (today - test.sampled_on).days <= age_limit_years * 365.25:
            continue
        years = (today - test.sampled_on).days / 365.25
        alone = "" if test in newest_date else f"; no newer report states {' or '.join(names)}"
        problems.append(
            Problem(
                f"soil test {test.test_id} of plot {plot_id}, sampled_on",
                f"sampled on {test.sampled_on}, {years:.1f} years ago; "
                f"the limit is {age_limit_years:g} years{alone}",
                "Take a new sample before relying on it",
                Level.WARNING,
            )
        )
    return UsableTests(tuple(usable), tuple(problems))


def _standing(tests: Sequence[SoilTest]) -> list[tuple[SoilTest, list[str]]]:
    """Return the reports that a figure is still taken from, with the names of those figures."""
    figures: dict[str, Callable[[SoilTest], bool]] = {
        "pH": lambda test: test.ph is not None,
        "exchangeable acidity": lambda test: test.acidity_meq_100g is not None,
        "organic matter": lambda test: test.organic_matter_pct is not None,
        "exchange capacity": lambda test: test.cec_meq_100g is not None,
        "a recommendation": lambda test: test.recommendation is not None,
    }
    for element in dict.fromkeys(element for test in tests for element in test.readings):
        figures[element] = partial(_reads, element)
    names: dict[str, list[str]] = {}
    for name, states in figures.items():
        for test in newest(tests, states):
            names.setdefault(test.test_id, []).append(name)
    return [(test, names[test.test_id]) for test in tests if test.test_id in names]


def _reads(element: str, test: SoilTest) -> bool:
    return element in test.readings


def newest(tests: Iterable[SoilTest], states: Callable[[SoilTest], bool]) -> tuple[SoilTest, ...]:
    """Return the newest reports that state something: several when sampled the same day or by parts.

    Parameters
    ----------
    tests
        Usable reports of one plot.
    states
        Tells whether a report states what is asked.

    Returns
    -------
    tuple of SoilTest
        Undated reports only when no dated report states it; empty when none does.
    """
    stating = [test for test in tests if states(test)]
    dates = [test.sampled_on for test in stating if test.sampled_on is not None]
    if not dates:
        return tuple(stating)
    governing = max(dates)
    parts = {plain_name(test.part): governing for test in stating if test.sampled_on == governing}
    if "" not in parts:
        for test in stating:
            if test.part.strip() and test.sampled_on is not None and test.sampled_on.year == governing.year:
                part = plain_name(test.part)
                parts[part] = max(test.sampled_on, parts.get(part, test.sampled_on))
    return tuple(
        test
        for test in stating
        if test.sampled_on is not None and parts.get(plain_name(test.part)) == test.sampled_on
    )


def latest_date(tests: Iterable[SoilTest]) -> dt.date | None:
    """Return the date of the last of several samples.

    Parameters
    ----------
    tests
        Reports.

    Returns
    -------
    datetime.date or None
        None when no date is stated.
    """
    return max((test.sampled_on for test in tests if test.sampled_on is not None), default=None)


def sample_text(tests: Sequence[SoilTest]) -> str:
    """Name the sample or samples a figure comes from, for a step.

    Parameters
    ----------
    tests
        The reports.

    Returns
    -------
    str
        ``"sampled 2026-04-11, Lab A, west part"``.
    """
    days = sorted({test.sampled_on for test in tests if test.sampled_on is not None})
    date = f"sampled {' and '.join(map(str, days))}" if days else "date of sampling not stated"
    labs = sorted({test.lab for test in tests if test.lab})
    parts = [test.part for test in tests if test.part]
    return ", ".join([date, *labs, *([" and ".join(parts)] if parts else [])])


def mean(values: Sequence[float]) -> float:
    """Return the plain mean, free of binary noise (5.9 and 6.1 give 6.0).

    Parameters
    ----------
    values
        At least one.

    Returns
    -------
    float

    Examples
    --------
    >>> mean([6.3, 6.1])
    6.2
    """
    return round(math.fsum(values) / len(values), 9)


def mean_figure(
    tests: Sequence[SoilTest], values: Sequence[float], what: str, unit: str
) -> tuple[float, tuple[Step, ...]]:
    """Combine the same figure of several samples, and write it down.

    Parameters
    ----------
    tests
        The reports, one per value.
    values
        The figure in each, as printed and in one unit.
    what
        What the figure is: ``"soil pH"``.
    unit
        Unit for the step; empty for pH.

    Returns
    -------
    tuple of float and tuple of Step
        The figure and its step; with several samples their plain mean.
    """
    sampled = sample_text(tests)
    if len(values) == 1:
        return values[0], (Step(f"The lab read {what} ({sampled})", values[0], unit, LAB),)
    together = mean(values)
    each = tuple(
        Step(f"The lab read {what} ({sample_text((test,))})", value, unit, LAB)
        for test, value in zip(tests, values, strict=True)
    )
    listed = " and ".join(f"{value:g}" for value in values)
    return together, (
        *each,
        Step(f"Several samples count once each: mean of {listed}", together, unit, ARITHMETIC),
    )


# ---------------------------------------------------------------------------------------------
# One figure, ready for a table


@dataclass(frozen=True, slots=True)
class SoilValue:
    """One soil figure in the unit and by the test a table asks for.

    Parameters
    ----------
    element
        Symbol.
    value
        Unrounded figure [unit].
    unit
        One of `soil.SOIL_UNITS`.
    extractant
        The test it counts as; None when the table accepts any.
    steps
        From the printed lab number to this one.
    assumed
        True when a depth was assumed or a test was converted.
    """

    element: str
    value: float
    unit: str
    extractant: Extractant | None
    steps: tuple[Step, ...]
    assumed: bool = False


_NAMES = {
    "P": "phosphorus",
    "K": "potassium",
    "S": "sulfur",
    "Ca": "calcium",
    "Mg": "magnesium",
    "B": "boron",
    "Zn": "zinc",
    "Mn": "manganese",
}


def _one_extractant(
    tests: Sequence[SoilTest], element: str, accepted: Sequence[Extractant]
) -> Extractant | Missing:
    names: set[Extractant] = set()
    for test in tests:
        reading = test.readings[element]
        if reading.extractant is None or not reading.extractant.strip():
            if read_unit(reading.unit) in INDEX_UNITS and accepted:
                names.add(accepted[0])  # a laboratory's index says which test it is of
                continue
            return Missing(
                f"the report gives {reading.value:g} {reading.unit} {element} without naming the test"
            )
        name = read_extractant(reading.extractant)
        if name is None:
            return Missing(f"the soil test {reading.extractant!r} for {element} is not known")
        names.add(name)
    if len(names) > 1:
        listed = " and ".join(sorted(names))
        return Missing(f"the samples were tested for {element} by {listed}, which do not mix")
    return names.pop()


def soil_value(
    tests: Sequence[SoilTest],
    element: str,
    unit: str,
    accepted: Sequence[Extractant] | None,
    convert: bool = False,
) -> SoilValue | Missing:
    """Find one soil figure for a table: newest report, accepted test, the table's unit.

    Parameters
    ----------
    tests
        Usable reports of one plot.
    element
        Symbol: ``"P"``.
    unit
        Unit of the table's classes, one of `soil.SOIL_UNITS`.
    accepted
        Tests the table was written for; None = the source names none, any is taken as its own and
        marked as assumed.
    convert
        True when the user asked for conversion between tests by a named formula.

    Returns
    -------
    SoilValue or Missing

    Examples
    --------
    >>> from loamwright.soil import Reading
    >>> report = SoilTest("T1", "A", readings={"P": Reading(8, "ppm", "Bray P1", "P")})
    >>> figure = soil_value([report], "P", "ppm", [Extractant.BRAY_P1])
    >>> isinstance(figure, SoilValue) and figure.value
    8.0
    """
    name = _NAMES.get(element, element)
    governing = newest(tests, lambda test: element in test.readings)
    if not governing:
        return Missing(f"{name} was not tested")
    have: Extractant | None = None
    if accepted is not None:
        found = _one_extractant(governing, element, accepted)
        if isinstance(found, Missing):
            return found
        have = found
    values, conversions, assumed = [], [], accepted is None
    for test in governing:
        brought = to_unit(test, test.readings[element], element, unit)
        if isinstance(brought, Missing):
            return brought
        values.append(brought[0])
        conversions.append(brought[1])
        assumed = assumed or brought[2]
    steps = _value_steps(governing, element, unit, have, values, conversions)
    value = mean(values)
    if accepted is None or have is None or have in accepted:
        return SoilValue(element, value, unit, have, steps, assumed)

    written_for = " or ".join(accepted)
    formula = conversion_for(element, have, accepted)
    refused = f"{value:g} {unit} {element} by {have}: the table was written for {written_for}"
    if formula is None:
        return Missing(refused + _what_would_convert(element, have, accepted))
    if not convert:
        return Missing(f"{refused}; a published conversion exists but conversion is switched off")
    if unit != "ppm":
        return Missing(f"{refused}; the conversion formula is for ppm")
    converted = formula.intercept + formula.slope * value
    if converted < 0:
        return Missing(f"{refused}; the conversion {formula.formula} gives {converted:.1f}, below zero")
    step = Step(
        f"Converted because you asked: {formula.formula}", converted, f"ppm {element}", formula.source
    )
    return SoilValue(element, converted, unit, formula.target, (*steps, step), assumed=True)


def _what_would_convert(element: str, have: Extractant, accepted: Sequence[Extractant]) -> str:
    """Say when naming how a Mehlich-3 extract was read would open a published conversion."""
    by_icp = conversion_for(element, Extractant.MEHLICH_3_ICP, accepted)
    if have is not Extractant.MEHLICH_3 or by_icp is None:
        return ""
    return (
        f"; if your lab reads it by ICP, enter {Extractant.MEHLICH_3_ICP}, "
        "for which a published conversion exists"
    )


def _value_steps(
    tests: Sequence[SoilTest],
    element: str,
    unit: str,
    extractant: Extractant | None,
    values: Sequence[float],
    conversions: Sequence[tuple[Step, ...]],
) -> tuple[Step, ...]:
    name = _NAMES.get(element, element)
    steps: list[Step] = []
    for test, conversion in zip(tests, conversions, strict=True):
        reading = test.readings[element]
        by = extractant or reading.extractant or "test not named"
        printed = f"{reading.unit} {reading.basis or element}"
        limit = (
            f", printed {reading.sign}{reading.value:g}: the limit itself is taken" if reading.sign else ""
        )
        what = f"The lab read {name} by {by} ({sample_text((test,))}){limit}"
        steps.append(Step(what, reading.value, printed, LAB))
        steps.extend(conversion)
    if len(values) > 1:
        listed = " and ".join(f"{value:g}" for value in values)
        steps.append(
            Step(
                f"Several samples count once each: mean of {listed}",
                mean(values),
                f"{unit} {element}",
                ARITHMETIC,
            )
        )
    return tuple(steps)
