"""The cheapest single blend for a group of plots: against hand arithmetic and a scan of all recipes."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from command_line import SEASON, run, worked_files
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import bag, plot, ware

from loamwright.errors import Problem
from loamwright.planning.custom_blends import (
    BlendService,
    CustomBlend,
    blend_option,
    cheapest_recipe,
    order_blend,
)
from loamwright.planning.inputs import Band, Demand, PlanPlot, Terms
from loamwright.planning.planner import make_plan
from loamwright.planning.records import DecideKind, LeftToDecide, Outcome
from loamwright.values import Supply, Timing

UREA, TSP, POTASH = ware("urea", N=46), ware("tsp", P2O5=45), ware("potash", K2O=60)
WARES = [UREA, TSP, POTASH]
OFFERS = [bag("urea", "25.00"), bag("tsp", "25.00"), bag("potash", "25.00")]  # 1.00 a kg each
TERMS = Terms(gap=1e-6, spreading_cost_per_ha=Decimal(10))
BANDS = {Supply.P2O5: Band(0.95, 1.1), Supply.K2O: Band(0.95, 1.1)}
SERVICE = BlendService(("urea", "tsp", "potash"), seller="plant")


def test_plots_with_like_needs_get_exactly_them() -> None:
    # 46 N, 45 P2O5, 60 K2O a hectare: 100 of each, a blend of thirds: 15.3-15.0-20.0, 300 kg/ha at 1.00 and
    # one pass of 10: on 3 ha 900 + 30. Apart: 36 bags, 900, and three passes: 90.
    plots = [plot("a", 1.0, N=46, P2O5=45, K2O=60), plot("b", 2.0, N=92, P2O5=90, K2O=120)]
    found = order_blend(plots, WARES, OFFERS, TERMS, SERVICE)
    assert isinstance(found, CustomBlend)
    assert found.grade == "15.3-15.0-20.0"
    assert [fraction for _name, fraction in found.recipe] == pytest.approx([1 / 3] * 3)
    assert found.cost_bound == pytest.approx(900.0, rel=1e-5)
    assert found.ordered
    assert found.without.total_cost == Decimal("990.00")
    assert float(found.plan.total_cost) == pytest.approx(930.0, abs=0.05)
    assert {line.product for line in found.plan.lines} == {"custom blend 15.3-15.0-20.0"}
    assert len(found.plan.lines) == 2


def test_a_fee_that_eats_the_saving_leaves_the_blend_unordered() -> None:
    plots = [plot("a", 1.0, N=46, P2O5=45, K2O=60)]
    found = order_blend(plots, WARES, OFFERS, TERMS, replace(SERVICE, fee_per_kg=Decimal("0.10")))
    assert isinstance(found, CustomBlend)
    assert not found.ordered  # 30 of fee against 20 of passes
    assert found.plan.total_cost == found.without.total_cost
    assert "does not pay" in found.text[-1]


def test_a_plot_the_recipe_would_overdo_is_left_out() -> None:
    # Plot c needs N only and allows no P2O5.
    plots = [plot("a", 1.0, N=46, P2O5=45), plot("c", 1.0, {"P2O5": 0.0}, N=46)]
    found = order_blend(plots, WARES, OFFERS, TERMS, SERVICE)
    assert isinstance(found, CustomBlend)
    assert found.group == ("a",)
    assert found.left_out[0][0] == "c"
    assert "too unlike the others" in found.left_out[0][1]
    assert found.plan.outcome is Outcome.PROVED
    assert ("c", "urea") in {(line.plot_id, line.product) for line in found.plan.lines}


def test_two_meadows_share_a_recipe_that_keeps_the_caps_of_both() -> None:
    # Met from 95 % on: a 38 P2O5 and 57 K2O, b 28.5 and 76. With r = K2O over P2O5 from 1.5 to 2.67 a takes
    # 38 P2O5 and 38 r K2O, b 76 / r and 76. Cheapest without caps is r = 1.63, where b gets 46.5 P2O5, over
    # its 40; at r = 1.9 it gets 40 and a gets 72.2 K2O, under its 75. In all 78 P2O5 and 148.2 K2O: 173.33
    # tsp and 247 potash.
    a = replace(plot("a", 1.0, {"P2O5": 50.0, "K2O": 75.0}, P2O5=40, K2O=60), bands=BANDS)
    b = replace(plot("b", 1.0, {"P2O5": 40.0, "K2O": 100.0}, P2O5=30, K2O=80), bands=BANDS)
    found = order_blend([a, b], WARES, OFFERS, TERMS, replace(SERVICE, ingredients=("tsp", "potash")))
    assert isinstance(found, CustomBlend)
    assert (found.group, found.left_out) == (("a", "b"), ())
    tsp, potash = 78 / 0.45, 148.2 / 0.60
    assert dict(found.recipe) == pytest.approx(
        {"potash": potash / (tsp + potash), "tsp": tsp / (tsp + potash)}, rel=1e-5
    )
    assert found.cost_bound == pytest.approx(tsp + potash, rel=1e-5)


def test_named_meadows_get_a_recipe_for_what_they_share() -> None:
    # a needs N, b allows none, so with N no one recipe serves both. P2O5 and K2O they need alike, 45 and 60:
    # 100 of each a hectare, half and half.
    a = plot("a", 1.0, N=46, P2O5=45, K2O=60)
    b = plot("b", 1.0, {"N": 0.0}, P2O5=45, K2O=60)
    found = order_blend([a, b], WARES, OFFERS, TERMS, replace(SERVICE, group=("a", "b")))
    assert isinstance(found, CustomBlend)
    assert (found.group, found.left_out) == (("a", "b"), ())
    assert dict(found.recipe) == pytest.approx({"potash": 0.5, "tsp": 0.5})
    assert any("N is left to other products" in words for words in found.text)
    assert ("a", "urea") in {(line.plot_id, line.product) for line in found.plan.lines}


def test_a_blend_is_told_as_an_option_of_a_plan() -> None:
    # One blend in one pass of 10 against three products in three: 19.99 saved (its price for a
    # ton is rounded up), told in whole dollars; a fee of 30 eats it.
    plots = [plot("a", 1.0, N=46, P2O5=45, K2O=60)]
    plan = make_plan(plots, WARES, OFFERS, TERMS)
    option = blend_option(plots, WARES, OFFERS, TERMS, SERVICE, plan)
    assert isinstance(option, LeftToDecide)
    assert option.kind is DecideKind.BLEND
    assert "15.3-15.0-20.0" in option.words
    assert "would save about $20.00 and 2 trips" in option.words
    # one that does not pay, and none at all, are no choice
    dear = blend_option(plots, WARES, OFFERS, TERMS, replace(SERVICE, fee_per_kg=Decimal("0.10")), plan)
    assert isinstance(dear, str)
    assert "would not pay" in dear
    none = blend_option(plots, WARES, OFFERS, TERMS, replace(SERVICE, ingredients=("sand",)), plan)
    assert isinstance(none, str)
    assert "none of the ingredients" in none


def test_a_plants_own_bulk_price_comes_before_the_bags() -> None:
    # thirds of each at 0.50 instead of 1.00 a kg: half the ingredients' cost
    plots = [plot("a", 1.0, N=46, P2O5=45, K2O=60)]
    price = dict.fromkeys(("urea", "tsp", "potash"), 0.5)
    found = order_blend(plots, WARES, OFFERS, TERMS, replace(SERVICE, prices_per_kg=price))
    assert isinstance(found, CustomBlend)
    assert found.cost_bound == pytest.approx(150.0, rel=1e-5)
    assert found.ordered


def test_a_blend_goes_on_when_most_of_what_it_holds_is_needed() -> None:
    demands = (
        Demand(Supply.N, 46.0, Timing.TOPDRESS),
        Demand(Supply.K2O, 60.0, Timing.TOPDRESS),
        Demand(Supply.P2O5, 9.0, Timing.BEFORE_PLANTING),
    )
    one = PlanPlot("a", 1.0, demands)
    found = order_blend([one], WARES, OFFERS, TERMS, SERVICE)
    assert isinstance(found, CustomBlend)
    assert found.ware.product.timings == (Timing.TOPDRESS,)
    assert {name for name, _share in found.recipe} == {"urea", "potash"}


def test_a_blend_is_spread_by_what_spreads_all_its_parts() -> None:
    urea = replace(UREA, product=replace(UREA.product, equipment=("spinner", "drop")))
    potash = replace(POTASH, product=replace(POTASH.product, equipment=("drop", "by hand")))
    found = order_blend([plot("a", 1.0, N=46, K2O=60)], [urea, potash], OFFERS, TERMS, SERVICE)
    assert isinstance(found, CustomBlend)
    assert found.ware.product.equipment == ("drop",)


def test_what_an_ingredient_carries_along_need_not_be_met_by_the_blend() -> None:
    # map brings N; the 46 N are for urea, which the plant does not blend: 45 P2O5 and 60 K2O decide alone
    map_ = ware("map", N=11, P2O5=45)
    plots = [plot("a", 1.0, N=46, P2O5=45, K2O=60)]
    goods = [UREA, map_, POTASH], [*OFFERS, bag("map", "25.00")]
    found = order_blend(plots, *goods, TERMS, replace(SERVICE, ingredients=("map", "potash")))
    assert isinstance(found, CustomBlend)
    assert dict(found.recipe) == pytest.approx({"map": 0.5, "potash": 0.5})


def test_no_blend_without_ingredients_or_needs() -> None:
    plots = [plot("a", 1.0, N=46)]
    found = order_blend(plots, WARES, OFFERS, TERMS, BlendService(("peat",)))
    assert isinstance(found, Problem)
    assert "none of the ingredients" in found.what
    found = order_blend(plots, WARES, OFFERS, TERMS, BlendService(("tsp",)))
    assert isinstance(found, Problem)
    assert "nothing it holds is needed" in found.what


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1, 60), st.floats(1, 60)), min_size=1, max_size=5),
    st.floats(0.3, 3.0),
    st.floats(0.3, 3.0),
)
def test_the_recipe_is_the_cheapest_of_all(
    needs: list[tuple[float, float]], urea_price: float, tsp_price: float
) -> None:
    array, prices = np.array(needs), np.array([urea_price, tsp_price])
    found = cheapest_recipe(array, np.array([[0.46, 0.0], [0.0, 0.45]]), prices)
    assert found is not None
    # every recipe of a fraction f urea, in steps of a ten-thousandth: each plot takes what its needs ask
    f = np.linspace(1e-4, 1 - 1e-4, 9999)
    batch = np.maximum(array[:, :1] / (0.46 * f), array[:, 1:] / (0.45 * (1 - f))).sum(axis=0)
    scanned = (batch * (f * urea_price + (1 - f) * tsp_price)).min()
    assert found.cost <= scanned * (1 + 1e-6)
    assert found.cost == pytest.approx(scanned, rel=2e-3)
    assert found.bound == pytest.approx(found.cost, rel=2e-6)
    # and it serves every plot
    supply = found.mass_kg @ np.array([[0.46, 0.0], [0.0, 0.45]])
    assert (array / supply).max(axis=1).sum() <= 1 + 1e-9


def test_a_plants_terms_are_kept_and_every_plan_tells_its_blend(tmp_path: Path) -> None:
    # Red clover on P 9 ppm and K 95 ppm asks for P2O5 and K2O; the plant prices both below the bags.
    plots, tests, products = worked_files(tmp_path)
    file = tmp_path / "p.gpkg"
    run("new", file, "--name", "Place", "--season", SEASON)
    run("import", file, plots, tests, products)
    terms = "Plant; fee 10/ton; at least 0.1 ton; MAP 11-52-0=300/ton; Potash 0-0-60=200/ton"
    run("set", file, "settings", f"blending={terms}", "spreading_cost_per_pass=20")
    shown = next(one for one in run("show", file, "settings").data["fields"] if one["name"] == "blending")
    assert shown["value"].startswith("Plant; fee ")
    plan = run("plan", file).data
    told = [one for one in plan["explanation"] if "single blend" in one]
    assert len(told) == 1
    assert [one["words"] for one in plan["left_to_decide"] if one["kind"] == "a blend on offer"] == told
    assert "from Plant" in told[0]
    assert "would save about" in told[0]
    refused = run("set", file, "settings", "blending=Plant; MAP 11-52-0=300/ton")
    assert refused.code == 2
    assert refused.says("does not price two ingredients", "write for example")
