"""Habits costed beside the plan, and the budget curve: against arithmetic done by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from plan_cases import bag, plot, ware

from loamwright.planning.alternatives import compare_habits, coverage_curve, dearer, with_share
from loamwright.planning.inputs import Band, FixedPass, Terms
from loamwright.planning.planner import make_plan
from loamwright.values import Supply

UREA, TSP, POTASH = ware("urea", N=46), ware("tsp", P2O5=45), ware("potash", K2O=60)
TRIPLE = ware("19-19-19", N=19, P2O5=19, K2O=19)
WARES = [UREA, TSP, POTASH, TRIPLE]
OFFERS = [bag("urea", "20.00"), bag("tsp", "25.00"), bag("potash", "22.00"), bag("19-19-19", "30.00")]
PLOTS = [plot("a", 1.0, {"P2O5": 30.0}, N=46, P2O5=9, K2O=12), plot("b", 1.0, {"P2O5": 5.0}, N=23)]
TERMS = Terms(gap=1e-6)


def test_one_product_everywhere_at_a_flat_rate() -> None:
    # 69 N on 2 ha ask 69 / 0.19 / 2 = 181.6 kg/ha: 363.2 kg, 15 bags of 25, 450.00. Plot a gets 34.5 of 46
    # N; plot b 34.5 P2O5 where 5 are allowed.
    plan = make_plan(PLOTS, WARES, OFFERS, TERMS)
    habit = compare_habits(PLOTS, WARES, OFFERS, TERMS, plan).habits[0]
    assert habit.plan.lines[0].rate_kg_ha == pytest.approx(69 / 0.19 / 2)
    assert habit.plan.total_cost == Decimal("450.00")
    assert [(row.plot_id, row.supply) for row in habit.short] == [("a", "N")]
    assert habit.short[0].supplied_kg == pytest.approx(34.5)
    assert ("b", "P2O5") in [(row.plot_id, row.supply) for row in habit.surplus]
    assert any(words.startswith("Plot b:") and "P2O5" in words for words in habit.broken)
    assert "more than the plan" in habit.beside
    assert "leaves 1 need short" in habit.beside


def test_a_stated_product_and_rate() -> None:
    # 100 kg/ha of 19-19-19 on 2 ha: 200 kg, 8 bags, 240.00; plot a gets 19 of 46 N.
    found = compare_habits(PLOTS, WARES, OFFERS, TERMS, triple="19-19-19", flat_rate_kg_ha=100.0)
    assert found.habits[0].plan.total_cost == Decimal("240.00")
    assert found.habits[0].beside == ""


def test_single_products_nutrient_by_nutrient() -> None:
    # 150 urea (6 bags), 20 tsp and 20 potash (a bag each): 120 + 25 + 22 = 167.00, nothing short.
    habit = compare_habits(PLOTS, WARES, OFFERS, TERMS).habits[1]
    assert habit.name == "single products"
    assert habit.plan.total_cost == Decimal("167.00")
    assert habit.short == ()
    assert habit.covered == pytest.approx(1.0)


def test_habits_are_counted_in_the_same_bags_and_held_to_the_same_bands_as_the_plan() -> None:
    # 42 kg P2O5 met from 39.9 on. Plan and single products alike: 3.5 bags of 25 kg, 87.5 kg of tsp of 45 %,
    # bring 39.4, too little; 4 bags bring 45, inside 110 %. Four bags, 100.00, and what is over 42 is told.
    one = replace(plot("a", 1.0, P2O5=42.0), bands={Supply.P2O5: Band(0.95, 1.1)})
    terms = Terms(gap=1e-6, odd_amount_cost=Decimal(5))
    plan = make_plan([one], WARES, OFFERS, terms)
    found = compare_habits([one], WARES, OFFERS, terms, plan)
    assert found.plan is not None
    singles = found.habits[1]
    for row in (found.plan, singles):
        assert row.plan.total_cost == Decimal("100.00")
        assert row.plan.lines[0].mass_kg == pytest.approx(100.0)
        assert (row.short, row.covered) == ((), 1.0)
        assert [(over.supply, over.supplied_kg) for over in row.surplus] == [("P2O5", pytest.approx(45.0))]
    assert compare_habits([one], WARES, OFFERS, terms).plan is None


def test_the_users_own_list_is_costed_on_the_same_needs() -> None:
    own = [FixedPass("a", "urea", 60.0), FixedPass("zz", "urea", 1.0), FixedPass("a", "peat", 1.0)]
    found = compare_habits(PLOTS, WARES, OFFERS, TERMS, own=own)
    habit = found.habits[2]
    assert habit.plan.total_cost == Decimal("60.00")  # 60 kg: three bags of 25
    assert {(row.plot_id, row.supply) for row in habit.short} == {
        ("a", "N"),
        ("a", "P2O5"),
        ("a", "K2O"),
        ("b", "N"),
    }
    told = {problem.what for problem in found.problems}
    assert told == {"'peat' is not on offer", "plot 'zz' is not known"}


def test_no_triple_product_on_offer_is_told() -> None:
    found = compare_habits(PLOTS, WARES[:3], OFFERS[:3], TERMS)
    assert [habit.name for habit in found.habits] == ["single products"]
    assert "no product with N, P2O5 and K2O" in found.problems[0].what


def test_a_dearer_product_and_a_share_of_a_need_leave_everything_else() -> None:
    offers = (bag("urea", "20.00", price_breaks=((10, Decimal(18)),)), bag("tsp", "25.00"))
    up = dearer(offers, "urea", 1.5)
    assert [(one.price, one.price_breaks) for one in up] == [(30, ()), (25, ())]
    needing = [plot("a", N=46, **{"lime ENP": 100.0})]
    (limed,) = with_share(needing, 0.25, lambda supply: supply.is_lime)
    assert {one.supply: one.mass_kg for one in limed.demands} == {"N": 46, "lime ENP": 25}
    (fed,) = with_share(needing, 0.5, lambda supply: supply is Supply.N)
    assert {one.supply: one.mass_kg for one in fed.demands} == {"N": 23, "lime ENP": 100}


def test_the_curve_rises_to_everything() -> None:
    # Four bags of urea for two plots of 50 kg each; each bag is a quarter of what is needed.
    plots = [plot("a", N=23), plot("b", N=23)]
    curve = coverage_curve(plots, [UREA], [bag("urea", "20.00")], TERMS, points=4)
    assert [point.budget for point in curve] == [20, 40, 60, 80]
    assert [point.covered for point in curve] == pytest.approx([0.25, 0.5, 0.75, 1.0])
    assert [point.packages for point in curve] == [1, 2, 3, 4]
    assert all(point.cost <= point.budget for point in curve)
