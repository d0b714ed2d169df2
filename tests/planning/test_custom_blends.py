"""The cheapest single blend for a group of plots: against hand arithmetic and a scan of all recipes."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import bag, plot, ware

from loamwright.errors import Problem
from loamwright.planning.custom_blends import BlendService, CustomBlend, cheapest_recipe, order_blend
from loamwright.planning.inputs import Terms
from loamwright.planning.records import Outcome

UREA, TSP, POTASH = ware("urea", N=46), ware("tsp", P2O5=45), ware("potash", K2O=60)
WARES = [UREA, TSP, POTASH]
OFFERS = [bag("urea", "25.00"), bag("tsp", "25.00"), bag("potash", "25.00")]  # 1.00 a kg each
TERMS = Terms(gap=1e-6, spreading_cost_per_ha=Decimal(10))
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
    assert "over the cap" in found.left_out[0][1]
    assert found.plan.outcome is Outcome.PROVED
    assert ("c", "urea") in {(line.plot_id, line.product) for line in found.plan.lines}


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
