"""Names, units, conversions, which report governs, and printed classes.

Outside figures: Ohio State University agbmps FAQ (60 lb/acre is 30 ppm; 22 ppm Mehlich-3 ICP is 10 ppm
Bray P1), UC Davis Analytical Laboratory (8 inches weigh 2.4 million lb), Penn State Agronomy Guide
(P to P2O5 x 2.3, K to K2O x 1.2), and the abridged atomic weights through `molmass`.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
from pathlib import Path

import pytest
from molmass import Formula

from loamwright.errors import Level, UnitError
from loamwright.needs.classes import classified, leading_number, parse_span, round_half_up
from loamwright.soil.governing import SoilValue, newest, soil_value, usable_tests
from loamwright.soil.readings import (
    CONVERSIONS,
    Buffer,
    Extractant,
    Missing,
    plain_name,
    read_buffer,
    read_extractant,
    read_unit,
)
from loamwright.soil.records import Reading, SoilTest

PUBLISHED = Path(__file__).parents[1] / "published"
TODAY = dt.date(2026, 5, 20)
INCH = 0.0254


def report(
    value: float,
    unit: str = "ppm",
    extractant: str | None = "Bray P1",
    basis: str = "P",
    element: str = "P",
    bottom_in: float | None = 6,
    sampled_on: dt.date | None = dt.date(2026, 4, 1),
    **more: object,
) -> SoilTest:
    """Make a report with one figure."""
    fields: dict[str, object] = {"test_id": "T1", **more}
    return SoilTest(
        plot_id="A",
        sampled_on=sampled_on,
        depth_bottom_m=None if bottom_in is None else bottom_in * INCH,
        readings={element: Reading(value, unit, extractant, basis)},
        **fields,  # type: ignore[arg-type]
    )


def figure(*tests: SoilTest, element: str = "P", unit: str = "ppm", accepted: object = None) -> SoilValue:
    """Return a figure that must be there."""
    names = [Extractant.BRAY_P1, Extractant.OLSEN] if accepted is None else accepted
    found = soil_value(tests, element, unit, names)  # type: ignore[arg-type]
    assert isinstance(found, SoilValue), found
    return found


def refusal(*tests: SoilTest, element: str = "P", convert: bool = False, accepted: object = None) -> str:
    """Return the reason of a figure that must be missing."""
    names = [Extractant.BRAY_P1, Extractant.OLSEN] if accepted is None else accepted
    found = soil_value(tests, element, "ppm", names, convert)  # type: ignore[arg-type]
    assert isinstance(found, Missing), found
    return found.reason


# ---------------------------------------------------------------------------------------------
# Names


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Bray P-1", Extractant.BRAY_P1),
        ("Weak Bray", Extractant.BRAY_P1),
        ("strong bray", Extractant.BRAY_P2),
        ("olsen (bicarb)", None),
        ("Sodium bicarbonate", Extractant.OLSEN),
        ("Mehlich III", Extractant.MEHLICH_3),
        ("M3-ICP", Extractant.MEHLICH_3_ICP),
        ("Mehlich 3 colorimetric", Extractant.MEHLICH_3_COLOR),
        ("double acid", Extractant.MEHLICH_1),
        ("NH4OAc", Extractant.AMMONIUM_ACETATE),
        ("Modified Morgan", Extractant.MODIFIED_MORGAN),
        ("Bray", None),
        ("Mehlich", None),
        ("", None),
    ],
)
def test_a_soil_test_is_known_by_any_spelling_but_never_guessed(text: str, name: Extractant | None) -> None:
    assert read_extractant(text) is name


def test_every_soil_test_and_buffer_reads_its_own_name() -> None:
    assert [read_extractant(name.value) for name in Extractant] == list(Extractant)
    assert [read_buffer(name.value) for name in Buffer] == list(Buffer)


def test_names_are_compared_without_dashes_and_capitals() -> None:
    assert plain_name("Grass–Legume  mixture") == plain_name("grass-legume Mixture") != plain_name("grass")


# ---------------------------------------------------------------------------------------------
# Units


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("ppm", "ppm"),
        ("PPM", "ppm"),
        ("mg/kg", "ppm"),
        ("mg kg-1", "ppm"),
        ("lbs/ac", "lb/acre"),
        ("lb per acre", "lb/acre"),
        ("pounds/A", "lb/acre"),
        ("kg/ha", "kg/ha"),
        ("mg/dm3", "mg/l"),  # per volume of soil: not ppm
        ("meq/100 g", "meq/100 g"),
        ("cmol(+)/kg", "meq/100 g"),
        ("", None),
    ],
)
def test_units_of_soil_figures(text: str, unit: str | None) -> None:
    assert read_unit(text) == unit


def test_sixty_pounds_per_acre_are_thirty_ppm() -> None:
    """OSU agbmps FAQ: 60 lb/acre is 30 ppm."""
    found = figure(report(60, "lb/acre"))
    assert found.value == 30
    assert not found.assumed
    assert any(step.value == 2.0 and "Ohio State" in step.source.publication for step in found.steps)


def test_a_depth_not_stated_is_taken_as_the_usual_slice_and_marked() -> None:
    found = figure(report(60, "lb/acre", bottom_in=None))
    assert (found.value, found.assumed) == (30, True)
    assert any("Depth not stated" in step.what for step in found.steps)


def test_another_depth_scales_by_the_weight_of_soil_and_is_marked() -> None:
    """UC Davis: 8 inches weigh 2.4 million lb, so 1 ppm is 2.4 lb/acre and 60 lb/acre are 25 ppm."""
    found = figure(report(60, "lb/acre", bottom_in=8))
    assert found.value == pytest.approx(25, abs=1e-9)
    assert found.assumed


@pytest.mark.parametrize(("inches", "factor"), [(6, 2.0), (7, 2.0), (8, 2.4), (4, 1.2)])
def test_a_table_in_pounds_per_acre_takes_ppm_times_the_slice(inches: float, factor: float) -> None:
    assert figure(report(30, bottom_in=inches), unit="lb/acre").value == pytest.approx(30 * factor, abs=1e-9)


def test_kilograms_per_hectare() -> None:
    """1 lb/acre is 1.120851 kg/ha (exact definitions), so 112.0851 kg/ha are 100 lb/acre, 50 ppm."""
    lb_acre = 0.45359237 / (43560 * 0.3048**2) * 10_000
    assert figure(report(100 * lb_acre, "kg/ha")).value == pytest.approx(50, abs=1e-9)


def test_p2o5_is_not_p_and_k2o_is_not_k() -> None:
    """Independent factors by `molmass`; Penn State prints 2.3 and 1.2.

    Tolerance 1e-4: `molmass` averages isotopes, the program uses abridged five-figure weights.
    """
    p = 2 * Formula("P").mass / Formula("P2O5").mass
    k = 2 * Formula("K").mass / Formula("K2O").mass
    phosphate = figure(report(23, basis="P2O5"))
    potash = figure(
        report(120, extractant="ammonium acetate", basis="K2O", element="K"),
        element="K",
        accepted=[Extractant.AMMONIUM_ACETATE],
    )
    assert phosphate.value == pytest.approx(23 * p, rel=1e-4)
    assert potash.value == pytest.approx(120 * k, rel=1e-4)
    assert round(1 / p, 1) == 2.3
    assert round(1 / k, 1) == 1.2


@pytest.mark.parametrize(
    ("test", "offending"),
    [
        (report(12, extractant=None), "12 ppm P without naming the test"),
        (report(12, extractant="  "), "12 ppm P without naming the test"),
        (report(12, extractant="Kelowna"), "'Kelowna'"),
        (report(12, "mg/dm3"), "'mg/dm3'"),
        (report(12, basis="PO4"), "'PO4'"),
        (report(12, basis="K2O"), "'K2O'"),
        (
            report(12, extractant="Mehlich-1"),
            "12 ppm P by Mehlich-1: the table was written for Bray P1 or Olsen",
        ),
    ],
)
def test_what_cannot_be_read_is_refused_with_the_offending_value(test: SoilTest, offending: str) -> None:
    assert offending in refusal(test)


def test_not_tested_is_said_in_words() -> None:
    assert refusal(SoilTest("T1", "A")) == "phosphorus was not tested"


# ---------------------------------------------------------------------------------------------
# From one test to another


def test_conversion_is_refused_unless_asked_for() -> None:
    assert "conversion is switched off" in refusal(report(22, extractant="Mehlich-3 ICP"))


def test_the_ohio_formula_on_request() -> None:
    """OSU FAQ: 22 ppm Mehlich-3 ICP is 10 ppm Bray P1 (printed whole; -8.08 + 0.832 x 22 = 10.224)."""
    found = soil_value([report(22, extractant="M3 ICP")], "P", "ppm", [Extractant.BRAY_P1], convert=True)
    assert isinstance(found, SoilValue)
    assert found.value == pytest.approx(10.224, abs=1e-9)
    assert round(found.value) == 10
    assert found.assumed
    assert found.extractant is Extractant.BRAY_P1
    assert "Converted because you asked" in found.steps[-1].what
    assert "Ohio" in found.steps[-1].source.publication


def test_formulas_are_those_printed() -> None:
    with (PUBLISHED / "guidelines_soil_test_method_conversions.csv").open(encoding="utf-8") as handle:
        printed = {row["formula_or_ratio"] for row in csv.DictReader(handle)}
    phosphorus, potassium = CONVERSIONS
    assert f"Bray = {phosphorus.intercept:g} + {phosphorus.slope:g}*M3ICP" in printed
    assert "Mehlich-3 about 14 percent higher" in printed
    assert potassium.slope == pytest.approx(1 / 1.14)


def test_a_conversion_below_zero_is_refused_with_its_result() -> None:
    """-8.08 + 0.832 x 5 = -3.92."""
    assert "-3.9, below zero" in refusal(report(5, extractant="Mehlich-3 ICP"), convert=True)


def test_mehlich_3_without_icp_or_colour_is_not_converted_for_p() -> None:
    assert "20 ppm P by Mehlich-3:" in refusal(report(20, extractant="Mehlich-3"), convert=True)


# ---------------------------------------------------------------------------------------------
# Which report governs


def test_the_newest_report_that_states_the_figure_governs() -> None:
    old = report(8, sampled_on=dt.date(2022, 4, 1), test_id="old")
    new = report(14, sampled_on=dt.date(2025, 4, 1), test_id="new")
    ph_only = SoilTest("ph", "A", sampled_on=dt.date(2026, 4, 1), ph=6.1)
    undated = report(99, sampled_on=None, test_id="undated")
    assert figure(old, new, ph_only, undated).value == 14
    assert newest([old, undated], lambda _: True) == (old,)
    assert figure(undated).value == 99


def test_samples_of_one_day_are_averaged_and_say_so() -> None:
    """Hand arithmetic: (24 + 17) / 2 = 20.5."""
    found = figure(report(24, part="west"), report(17, test_id="T2", part="east"))
    assert found.value == 20.5
    assert "mean of 24 and 17" in found.steps[-1].what
    assert ["west" in step.what for step in found.steps[:2]] == [True, False]


def test_samples_of_one_day_in_two_units_are_averaged_in_the_tables_unit() -> None:
    """60 lb/acre is 30 ppm; the mean of 30 and 20 is 25."""
    assert figure(report(60, "lb/acre"), report(20, test_id="T2")).value == 25


def test_samples_of_one_day_by_two_tests_are_not_mixed() -> None:
    reason = refusal(report(24), report(12, extractant="Olsen", test_id="T2"))
    assert "Bray P1 and Olsen, which do not mix" in reason


@pytest.mark.parametrize(
    ("fields", "offending"),
    [
        ({"sampled_on": dt.date(2026, 6, 1)}, "2026-06-01, which is after today (2026-05-20)"),
        ({"ph": 63.0}, "63 is outside 0 to 14"),
        ({"buffer_ph": -1.0}, "-1 is outside 0 to 14"),
        ({"organic_matter_pct": 130.0}, "130 is outside 0 to 100"),
        ({"cec_meq_100g": -2.0}, "-2 is outside 0 or more"),
        ({"readings": {"P": Reading(-4, "ppm", "Bray P1", "P")}}, "-4 ppm"),
        ({"readings": {"P": Reading(math.nan, "ppm", "Bray P1", "P")}}, "nan ppm"),
        ({"depth_top_m": 0.2, "depth_bottom_m": 0.1}, "7.87402 to 3.93701 inches has no thickness"),
    ],
)
def test_a_report_with_an_impossible_figure_is_left_out_and_named(
    fields: dict[str, object], offending: str
) -> None:
    test = SoilTest("T9", "A", **fields)  # type: ignore[arg-type]
    found = usable_tests([test], "A", TODAY, 4)
    assert found.tests == ()
    assert [problem.level for problem in found.problems] == [Level.ERROR]
    assert offending in found.problems[0].what
    assert "T9" in found.problems[0].where


def test_age_depth_and_date_draw_remarks_but_the_report_is_used() -> None:
    """2021-04-20 to 2026-05-20 is 1856 days, 5.1 years."""
    old = report(8, sampled_on=dt.date(2021, 4, 20))
    no_depth = report(8, bottom_in=None)
    no_date = report(8, sampled_on=None)
    remarks = [usable_tests([test], "A", TODAY, 4) for test in (old, no_depth, no_date)]
    assert all(len(found.tests) == 1 for found in remarks)
    assert "5.1 years ago; the limit is 4 years" in remarks[0].problems[0].what
    assert remarks[0].problems[0].level is Level.WARNING
    assert "depth sampled is not stated" in remarks[1].problems[0].what
    assert remarks[1].problems[0].level is Level.NOTE
    assert "date of sampling is not stated" in remarks[2].problems[0].what
    assert usable_tests([old], "A", dt.date(2025, 4, 19), 4).problems == ()


def test_reports_of_other_plots_are_passed_over() -> None:
    assert usable_tests([SoilTest("T1", "B", ph=99.0)], "A", TODAY, 4) == usable_tests([], "A", TODAY, 4)


# ---------------------------------------------------------------------------------------------
# Printed classes


@pytest.mark.parametrize(
    ("text", "inside", "outside"),
    [
        ("6 to 10", [6, 8, 10], [5, 11]),
        ("6-10", [6, 10], [5.99, 10.01]),
        ("21+", [21, 500], [20]),
        ("<3", [0, 2.99], [3]),
        ("<=5", [5], [5.01]),
        (">5", [5.01], [5]),
        (">=6.5", [6.5], [6.4]),
        ("2", [2], [2.1]),
    ],
)
def test_a_printed_class_holds_what_it_says(text: str, inside: list[float], outside: list[float]) -> None:
    span = parse_span(text)
    assert all(span.contains(value) for value in inside)
    assert not any(span.contains(value) for value in outside)


@pytest.mark.parametrize(
    ("text", "offending"),
    [
        ("10 to 6", "'10 to 6' runs backwards"),
        ("low", "'low' is not a class"),
        ("10-Jun", "into a date"),
        ("", "''"),
    ],
)
def test_a_class_that_cannot_be_read_is_named(text: str, offending: str) -> None:
    with pytest.raises(UnitError, match=offending):
        parse_span(text)


@pytest.mark.parametrize(
    ("value", "as_read"), [(5.4, 5), (5.5, 6), (10.49, 10), (10.5, 11), (20.5, 21), (2.5, 3), (0.49, 0)]
)
def test_whole_number_classes_are_read_after_rounding_half_up(value: float, as_read: float) -> None:
    """The stated rule: Minnesota prints 0-5, 6-10 …; half goes up, as on paper (2.5 gives 3, not 2)."""
    spans = [parse_span(text) for text in ("0 to 5", "6 to 10", "11 to 15", "16 to 20", "21+")]
    assert classified(value, spans) == as_read
    assert sum(span.contains(classified(value, spans)) for span in spans) == 1


def test_classes_that_meet_are_read_unrounded() -> None:
    """Low organic matter is under 3 percent: 2.6 is low and must not be rounded up to 3."""
    spans = [parse_span("<3"), parse_span("3+")]
    assert classified(2.6, spans) == 2.6
    assert [span.contains(2.6) for span in spans] == [True, False]


def test_edges_with_decimals_round_to_those_decimals() -> None:
    assert classified(6.35, [parse_span("6.3"), parse_span("6.4")]) == 6.4
    assert round_half_up(6.349999999999, 1) == 6.4  # binary noise of 6.35
    assert round_half_up(1.005, 2) == 1.01


def test_a_text_begins_with_its_number() -> None:
    assert leading_number("4-5 plants/ft2") == 4
    assert leading_number("good") is None


def test_charge_is_weight_by_the_atomic_weights() -> None:
    """1 meq/100 g is 200.4 ppm Ca, 121.5 ppm Mg, 391 ppm K, here by another library (molmass)."""
    from molmass import Formula

    from loamwright.units import PPM_PER_MEQ_100G

    for element, charge in (("Ca", 2), ("Mg", 2), ("K", 1)):
        assert PPM_PER_MEQ_100G[element] == pytest.approx(10 * Formula(element).mass / charge, rel=1e-4)
