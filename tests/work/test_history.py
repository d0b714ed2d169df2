"""History: like with like, season by season, and projections only from a stated figure.

Figures come from the publications named beside each check; the rest is hand arithmetic shown in the
comments.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from places import NOWHERE

from loamwright.errors import InputError
from loamwright.files.reference import load_change_figures
from loamwright.land.records import Plot
from loamwright.planning.records import Coverage, Outcome, Plan
from loamwright.soil.records import Reading, SoilTest
from loamwright.units import LB_ACRE_KG_HA, LB_KG
from loamwright.values import Nutrient, PropertyInfo, Supply
from loamwright.work.history import (
    ChangeFigure,
    SeasonBalance,
    plot_histories,
    project,
    reading_series,
    season_balances,
    user_figure,
)
from loamwright.work.records import Application, Done, PropertyRecord

FIGURES = load_change_figures()


def report(
    year: int, value: float, extractant: str = "Bray P1", unit: str = "ppm", **more: object
) -> SoilTest:
    readings = {"P": Reading(value, unit, extractant, "P")}
    return SoilTest(f"T{year}-{value}", "A1", dt.date(year, 9, 1), readings=readings, **more)  # type: ignore[arg-type]


# ---------------------------------------------------------------------------------------------
# Soil tests


def test_the_trend_is_the_least_squares_line() -> None:
    """Against numpy's polynomial fit on days since the first sample."""
    tests = [report(2019, 31), report(2021, 27), report(2023, 28), report(2025, 20)]
    (series,) = reading_series(tests)
    days = [(date - dt.date(2019, 9, 1)).days for date, _ in series.points]
    slope = np.polyfit(days, [31, 27, 28, 20], 1)[0] * 365.25
    assert series.change_per_year == pytest.approx(slope, rel=1e-9)
    assert series.change_per_year is not None
    assert series.change_per_year < 0


def test_order_of_reports_does_not_matter() -> None:
    tests = [report(2019, 31), report(2023, 28), report(2021, 27)]
    assert reading_series(tests) == reading_series(reversed(tests))


@pytest.mark.parametrize(
    "other",
    [
        report(2025, 28, "Mehlich-3"),
        report(2025, 28, unit="lb/acre"),
        report(2025, 28, depth_bottom_m=0.1016),
        replace(report(2025, 28), readings={"P": Reading(28, "ppm", "Bray P1", "P2O5")}),
    ],
    ids=["other test", "other unit", "other depth", "other basis"],
)
def test_unlike_numbers_are_never_joined(other: SoilTest) -> None:
    series = reading_series([report(2021, 30), other])
    assert len(series) == 2
    assert all(row.change_per_year is None for row in series)


def test_depths_are_told_in_the_propertys_units() -> None:
    # 8 inches are 20.32 cm (1 in = 2.54 cm).
    test = report(2021, 30, depth_bottom_m=8 * 0.0254)
    assert [reading_series([test], units)[0].depth for units in ("us", "metric")] == ["0-8 in", "0-20.32 cm"]


def test_spellings_of_one_test_are_joined() -> None:
    (series,) = reading_series([report(2021, 30, "Bray P-1"), report(2025, 26, "Bray P1")])
    assert [value for _, value in series.points] == [30, 26]


def test_samples_of_one_day_are_their_mean() -> None:
    (series,) = reading_series([report(2025, 20), report(2025, 26)])
    assert series.points == ((dt.date(2025, 9, 1), 23.0),)


def test_untested_is_absent_and_undated_has_no_place() -> None:
    assert reading_series([SoilTest("T", "A1", dt.date(2025, 9, 1))]) == ()
    assert reading_series([replace(report(2025, 20), sampled_on=None)]) == ()


def test_ph_and_organic_matter_have_their_own_lines() -> None:
    test = SoilTest(
        "T", "A1", dt.date(2025, 9, 1), ph=6.0, buffer_ph=6.5, buffer_method="Sikora", organic_matter_pct=3
    )
    assert [(row.figure, row.test, row.unit) for row in reading_series([test])] == [
        ("buffer pH", "Sikora", ""),
        ("organic matter", "", "percent"),
        ("pH", "", ""),
    ]


# ---------------------------------------------------------------------------------------------
# Seasons


def entry(key: str, on: dt.date, lb: float, product: str = "urea", **more: Any) -> Application:
    return Application(key, "A1", product, Done.DONE, on, lb * LB_KG, **more)


def plan(season: int, need_lb: float | None, counted: tuple[str, ...] = ()) -> Plan:
    need_kg = None if need_lb is None else need_lb * LB_KG
    zero = Decimal(0)
    coverage = (Coverage("A1", Supply("N"), need_kg, 0.0),)
    return Plan(
        f"P{season}",
        Outcome.PROVED,
        0.0,
        zero,
        zero,
        zero,
        (),
        (),
        coverage,
        season=season,
        counted_entries=counted,
    )


CONTENTS = {"urea": {"N": 0.46}, "potash": {"K2O": 0.60}}


def record(plans: tuple[Plan, ...], applications: tuple[Application, ...]) -> PropertyRecord:
    info = PropertyInfo("Invented", 2026)
    return PropertyRecord(info, plots=(Plot("A1", "", NOWHERE),), plans=plans, applications=applications)


def pounds(row: SeasonBalance) -> tuple[int, str, float | None, float, float | None]:
    def lb(mass_kg: float | None) -> float | None:
        return None if mass_kg is None else round(mass_kg / LB_KG, 6)

    return row.season, row.supply, lb(row.need_kg), lb(row.applied_kg) or 0.0, lb(row.owed_kg)


def test_need_less_applied_by_season() -> None:
    """2025: 80 lb N needed, 100 lb urea x 46 % = 46 lb on, 34 owed. 2026: 40 needed, nothing on."""
    made = record((plan(2025, 80), plan(2026, 40)), (entry("E1", dt.date(2025, 5, 1), 100),))
    balances, problems = season_balances(made, CONTENTS)
    assert [pounds(row) for row in balances] == [(2025, "N", 80, 46, 34), (2026, "N", 40, 0, 40)]
    assert problems == ()


def test_a_plan_made_after_a_pass_still_shows_the_whole_need() -> None:
    """The newer plan had 34 lb left to supply after counting 46 lb: the season's need was 80."""
    made = record((plan(2025, 80), plan(2025, 34, ("E1",))), (entry("E1", dt.date(2025, 5, 1), 100),))
    balances, _ = season_balances(made, CONTENTS)
    assert [pounds(row) for row in balances] == [(2025, "N", 80, 46, 34)]


def test_a_correction_of_what_a_plan_counted_leaves_the_need_as_it_was() -> None:
    """80 lb MAP x 52 % = 41.6 lb P2O5 were counted, 58.4 of 100 left. It was really 50 lb, then 60 lb:
    26 and 31.2 lb on, so 74 and 68.8 are owed of the same 100."""
    contents = {"MAP": {"P2O5": 0.52}}
    planned = plan(2026, 58.4, ("E1",))
    planned = replace(planned, coverage=(Coverage("A1", Supply("P2O5"), 58.4 * LB_KG, 0.0),))
    day = dt.date(2026, 5, 1)
    first = entry("E1", day, 80, "MAP")
    second = entry("E2", day, 50, "MAP", replaces="E1")
    third = entry("E3", day, 60, "MAP", replaces="E2")
    for entries, applied, owed in (
        ((first,), 41.6, 58.4),
        ((first, second), 26, 74),
        ((first, second, third), 31.2, 68.8),
    ):
        balances, _ = season_balances(record((planned,), entries), contents)
        assert [pounds(row) for row in balances] == [(2026, "P2O5", 100, applied, owed)]


def test_no_plan_means_the_need_is_unknown_not_zero() -> None:
    made = record((), (entry("E1", dt.date(2024, 5, 1), 100, "potash"),))
    balances, _ = season_balances(made, CONTENTS)
    assert [pounds(row) for row in balances] == [(2024, "K2O", None, 60, None)]


def test_an_unknown_need_stays_unknown() -> None:
    balances, _ = season_balances(record((plan(2025, None),), ()), CONTENTS)
    assert [pounds(row) for row in balances] == [(2025, "N", None, 0, None)]


def test_more_applied_than_needed_is_owed_less_than_nothing() -> None:
    made = record((plan(2025, 40),), (entry("E1", dt.date(2025, 5, 1), 100),))
    balances, _ = season_balances(made, CONTENTS)
    assert pounds(balances[0])[-1] == -6  # 40 - 46


def test_corrected_entries_count_once_and_unknown_products_are_named() -> None:
    wrong = entry("E1", dt.date(2025, 5, 1), 100)
    right = entry("E2", dt.date(2025, 5, 1), 50, replaces="E1")
    strange = entry("E3", dt.date(2025, 5, 1), 10, "mystery bag")
    balances, problems = season_balances(record((), (wrong, right, strange)), CONTENTS)
    assert [pounds(row) for row in balances] == [(2025, "N", None, 23, None)]  # 50 x 46 %
    (problem,) = problems
    assert "mystery bag" in problem.what


def test_histories_cover_every_plot() -> None:
    made = replace(record((plan(2025, 80),), ()), soil_tests=(report(2025, 20),))
    made = replace(made, plots=(*made.plots, Plot("B2", "", NOWHERE)))
    histories, _ = plot_histories(made, CONTENTS)
    assert list(histories) == ["A1", "B2"]
    assert len(histories["A1"].tests) == len(histories["A1"].balances) == 1
    assert histories["B2"].tests == histories["B2"].balances == ()


# ---------------------------------------------------------------------------------------------
# Projections


def test_published_figures() -> None:
    """E-2567 (1995): 20 lb P2O5 per ppm; 6 to 10 lb K2O per ppm by CEC."""
    phosphorus, potassium = FIGURES[Nutrient.P2O5], FIGURES[Nutrient.K2O]
    assert (phosphorus.lb_per_ppm_low, phosphorus.lb_per_ppm_high) == (20, 20)
    assert (potassium.lb_per_ppm_low, potassium.lb_per_ppm_high) == (6, 10)
    assert "E-2567" in phosphorus.source.publication
    assert phosphorus.source.edition == "1995"


def test_published_drawdown() -> None:
    """agprofessional.com (about 2012): corn of 150 bu takes 55 lb P2O5, 20 lb per ppm: falls about 3 ppm."""
    corn = project(Nutrient.P2O5, 30.0, "Bray P1", 0.0, 55 * LB_ACRE_KG_HA, FIGURES[Nutrient.P2O5])
    assert corn.to_low_ppm == corn.to_high_ppm == pytest.approx(30 - 55 / 20)
    assert round(30 - (corn.to_low_ppm or 0)) == 3
    assert corn.steps[3].source == FIGURES[Nutrient.P2O5].source


def test_a_range_stays_a_range() -> None:
    """120 lb K2O added, 60 out: 60 / 10 = 6 and 60 / 6 = 10 ppm up."""
    rates = 120 * LB_ACRE_KG_HA, 60 * LB_ACRE_KG_HA
    up = project(Nutrient.K2O, 100.0, "ammonium acetate", *rates, FIGURES[Nutrient.K2O])
    assert (up.to_low_ppm, up.to_high_ppm) == pytest.approx((106, 110))
    down = project(Nutrient.K2O, 100.0, "1N NH4OAc", *reversed(rates), FIGURES[Nutrient.K2O])
    assert (down.to_low_ppm, down.to_high_ppm) == pytest.approx((90, 94))


def test_balance_moves_nothing_and_the_floor_is_zero() -> None:
    even = project(Nutrient.P2O5, 12.0, "Bray P1", 50.0, 50.0, FIGURES[Nutrient.P2O5])
    assert even.to_low_ppm == even.to_high_ppm == 12.0
    gone = project(Nutrient.P2O5, 1.0, "Bray P1", 0.0, 500.0, FIGURES[Nutrient.P2O5])
    assert gone.to_low_ppm == 0.0


@pytest.mark.parametrize(
    ("extractant", "removed", "figure", "why"),
    [
        ("Bray P1", 50.0, None, "no figure for pounds of P2O5"),
        ("Bray P1", None, FIGURES[Nutrient.P2O5], "takes out is not stated"),
        ("Mehlich-3", 50.0, FIGURES[Nutrient.P2O5], "published for Bray P1, the test is Mehlich-3"),
        ("", 50.0, FIGURES[Nutrient.P2O5], "the test is not named"),
    ],
)
def test_unknown_stays_unknown(
    extractant: str, removed: float | None, figure: ChangeFigure | None, why: str
) -> None:
    answer = project(Nutrient.P2O5, 12.0, extractant, 0.0, removed, figure)
    assert answer.to_low_ppm is None
    assert answer.to_high_ppm is None
    assert why in answer.reason


def test_the_users_own_figure_fits_any_test() -> None:
    """18 lb per ppm, 36 lb added: 2 ppm up."""
    mine = user_figure(Nutrient.P2O5, 18)
    answer = project(Nutrient.P2O5, 12.0, "Mehlich-3", 36 * LB_ACRE_KG_HA, 0.0, mine)
    assert answer.to_high_ppm == pytest.approx(14)
    assert str(answer.steps[3].source) == "user"


@pytest.mark.parametrize("figure", [0.0, -20.0, float("nan")])
def test_a_users_figure_must_be_over_zero(figure: float) -> None:
    with pytest.raises(InputError, match=f"{figure:g} lb/acre per ppm is not over zero"):
        user_figure(Nutrient.P2O5, figure)
