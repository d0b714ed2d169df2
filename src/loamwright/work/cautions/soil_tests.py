"""Cautions about soil tests and what they say of phosphorus: age, ids, test names, P already high."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from loamwright.soil import (
    INDEX_UNITS,
    Extractant,
    SoilTest,
    SoilValue,
    newest,
    read_extractant,
    read_unit,
    soil_value,
    usable_tests,
)
from loamwright.units import ACRE_M2, format_area
from loamwright.values import Nutrient
from loamwright.work.cautions.facts import Case, CautionText, Finding, Rule

_DAYS_PER_YEAR = 365.25
#: The tests Ohio's stop level is printed for.
_STOP_TESTS = (
    Extractant.MEHLICH_3,
    Extractant.MEHLICH_3_COLOR,
    Extractant.MEHLICH_3_ICP,
    Extractant.BRAY_P1,
)


def _phosphorus_ppm(case: Case, plot_id: str, accepted: Sequence[Extractant] | None) -> SoilValue | None:
    """Return the governing phosphorus figure [ppm P], or None when there is none by such a test."""
    limit = case.record.info.settings.test_age_limit_years
    usable = usable_tests(case.tests_of(plot_id), plot_id, case.on_date, limit)
    found = soil_value(usable.tests, "P", "ppm", accepted)
    return found if isinstance(found, SoilValue) else None


def _phosphorus_high(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-15: a product with P2O5 planned where the soil test is above the stop level for its test."""
    stop = text.limits["stop"].value
    lines = case.lines_of(lambda product: case.fraction(product.product, Nutrient.P2O5) > 0)
    for product, planned in lines.items():
        high = {
            line.plot_id: figure
            for line in planned
            if (figure := _phosphorus_ppm(case, line.plot_id, _STOP_TESTS)) and figure.value > stop
        }
        if high:
            content = case.fraction(product, Nutrient.P2O5)
            rates = case.rates(line.rate_kg_ha * content for line in planned if line.plot_id in high)
            tested = ", ".join(dict.fromkeys(f"{f.value:g} ppm {f.extractant}" for f in high.values()))
            what = f"{product} brings {rates} of P2O5 to {case.names(high)}, where the soil test is {tested}."
            yield Finding(what, tuple(high), product)


def _phosphorus_at_site_level(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-16: a soil test above the checklist's level, by whatever test."""
    level = text.limits["checklist"].value
    high = {
        plot_id: figure
        for plot_id in case.plots
        if (figure := _phosphorus_ppm(case, plot_id, None)) and figure.value > level
    }
    if high:
        tested = ", ".join(f"{figure.value:g} ppm" for figure in high.values())
        yield Finding(f"The soil test of {case.names(high)} reads {tested} P.", tuple(high))


def _phosphorus_unclear(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-17: a phosphorus figure whose test is not named, or that is in P2O5 or pounds per acre."""
    doubts: dict[str, list[str]] = {"names no test we know": [], "is given as P2O5": [], "is not in ppm": []}
    for plot_id in case.plots:
        for test in newest(case.tests_of(plot_id), lambda test: "P" in test.readings):
            reading = test.readings["P"]
            if read_unit(reading.unit) in INDEX_UNITS:
                continue  # a laboratory's own scale, for that laboratory's tables
            found = (
                reading.extractant is None or read_extractant(reading.extractant) is None,
                reading.basis == "P2O5",
                read_unit(reading.unit) != "ppm",
            )
            for doubt, doubtful in zip(doubts, found, strict=True):
                if doubtful and plot_id not in doubts[doubt]:
                    doubts[doubt].append(plot_id)
    unclear = {doubt: plot_ids for doubt, plot_ids in doubts.items() if plot_ids}
    if unclear:
        sentences = [
            f"{case.names(plot_ids)}: the phosphorus figure {doubt}." for doubt, plot_ids in unclear.items()
        ]
        where = dict.fromkeys(plot_id for plot_ids in unclear.values() for plot_id in plot_ids)
        yield Finding(" ".join(sentences), tuple(where))


def _newest(case: Case, plot_id: str) -> tuple[SoilTest, ...]:
    """Return the reports of the newest sampling date up to the day; none when none is dated."""
    dated = [t for t in case.tests_of(plot_id) if t.sampled_on is not None and t.sampled_on <= case.on_date]
    return newest(dated, lambda _: True)


def _old_test(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-44: the newest test of a plot is older than the user's limit."""
    limit = case.record.info.settings.test_age_limit_years
    ages: dict[str, float] = {}
    for plot_id in case.plots:
        for test in _newest(case, plot_id):
            if test.sampled_on is not None:
                ages[plot_id] = (case.on_date - test.sampled_on).days / _DAYS_PER_YEAR
    old = {plot_id: age for plot_id, age in ages.items() if age > limit}
    if old:
        years = f"{min(old.values()):.1f}"
        longest = f"{max(old.values()):.1f}"
        span = years if years == longest else f"{years} to {longest}"
        what = f"The newest soil test of {case.names(old)} is {span} years old; your limit is {limit:g}."
        yield Finding(what, tuple(old))


def _much_land_per_sample(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-45: more land for each sample than the place whose sampling advice the user follows allows."""
    place = case.record.info.settings.sampling_guide
    limit = text.limits.get(place, text.limits["elsewhere"])
    whose = place if place in text.limits else "the strictest"
    most_m2 = limit.value * ACRE_M2
    per_sample = {
        plot_id: case.areas[plot_id].area_m2 / len(tests)
        for plot_id in case.plots
        if plot_id in case.areas and (tests := _newest(case, plot_id))
    }
    large = {plot_id: area_m2 for plot_id, area_m2 in per_sample.items() if area_m2 > most_m2}
    if large:
        most = format_area(max(large.values()), case.record.info.units)
        what = f"A sample of {case.names(large)} stands for up to {most} ({whose}: {limit.value:g} acres)."
        yield Finding(what, tuple(large))


def _without_plot(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-48: a soil test whose plot id matches no plot."""
    orphans = [test for test in case.record.soil_tests if test.plot_id not in case.plots]
    if orphans:
        listed = ", ".join(f"{test.test_id} (plot {test.plot_id!r})" for test in orphans)
        yield Finding(f"No plot for soil test {listed}.")


RULES: Mapping[str, Rule] = {
    "C-15": _phosphorus_high,
    "C-16": _phosphorus_at_site_level,
    "C-17": _phosphorus_unclear,
    "C-44": _old_test,
    "C-45": _much_land_per_sample,
    "C-48": _without_plot,
}
