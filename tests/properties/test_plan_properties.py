"""What must hold of every plan: hypothesis makes up small properties and looks for a counterexample."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from plan_cases import assert_sound, bag, brute_force_cost, plot, short, ware

from loamwright.planning import search
from loamwright.planning.inputs import Demand, PlanPlot, Terms, Ware, check_request
from loamwright.planning.model import build
from loamwright.planning.planner import make_plan
from loamwright.planning.records import Outcome
from loamwright.planning.solver import Effort, Found
from loamwright.supplies.records import Offer
from loamwright.values import Supply, Timing

pytestmark = pytest.mark.slow

TINY = settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
SMALL = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))

WARES = (
    ware("urea", N=46),
    ware("dap", N=18, P2O5=46),
    ware("ten-ten", N=10, P2O5=10),
    ware("tsp", P2O5=45),
)
_amounts = st.sampled_from([0.0, 4.0, 9.0, 11.5, 23.0, 31.0])
_prices = st.integers(500, 4000).map(lambda cents: Decimal(cents) / 100)


@st.composite
def tiny(draw: st.DrawFn) -> tuple[list[PlanPlot], list[Ware], list[Offer], Terms]:
    """One or two plots, two products with one offer each, needs of a few bags."""
    wares = draw(
        st.lists(st.sampled_from(WARES), min_size=1, max_size=2, unique_by=lambda w: w.product.product)
    )
    wares = [
        Ware(
            replace(
                one.product,
                min_rate_kg_ha=draw(st.sampled_from([None, None, 30.0])),
                max_rate_kg_ha=draw(st.sampled_from([None, None, 80.0])),
            ),
            one.contents,
        )
        for one in wares
    ]
    offers = [
        bag(
            one.product.product,
            "1",
            draw(st.sampled_from([20.0, 25.0])),
            in_stock=draw(st.sampled_from([0.0, 0.0, 0.5])),
            min_order=draw(st.sampled_from([0, 0, 2])),
            max_count=draw(st.sampled_from([None, None, 3])),
            delivery_fee=draw(st.sampled_from([Decimal(0), Decimal(0), Decimal("9.50")])),
            seller=draw(st.sampled_from(["A", "B"])),
            price_breaks=(),
        )
        for one in wares
    ]
    offers = [replace(one, price=draw(_prices)) for one in offers]
    if draw(st.booleans()):
        first = offers[0]
        assert first.price is not None
        offers[0] = replace(first, price_breaks=((3, first.price * Decimal("0.8")),))
    plots = []
    for name in ("a", "b")[: draw(st.integers(1, 2))]:
        caps = {"N": 40.0} if draw(st.booleans()) else {}
        plots.append(
            plot(name, draw(st.sampled_from([0.4, 1.0])), caps, N=draw(_amounts), P2O5=draw(_amounts))
        )
    terms = Terms(
        max_products_per_plot=draw(st.sampled_from([None, 1, 2])),
        spreading_cost_per_ha=draw(st.sampled_from([Decimal(0), Decimal(7)])),
        spreading_cost_per_pass=draw(st.sampled_from([Decimal(0), Decimal(3)])),
        gap=1e-6,
    )
    return plots, wares, offers, terms


@TINY
@given(tiny())
def test_tiny_properties_equal_brute_force(
    case: tuple[list[PlanPlot], list[Ware], list[Offer], Terms],
) -> None:
    plots, wares, offers, terms = case
    most = 5
    plan = make_plan(plots, wares, offers, terms)
    assert_sound(plan, plots, wares, offers, terms)
    assume(all(one.count <= most for one in plan.buy))
    best = brute_force_cost(plots, wares, offers, terms, most)
    if best is None:
        assert plan.outcome is Outcome.IMPOSSIBLE
        assert short(plan)
        assert any("cannot be met" in words for words in plan.explanation)
    else:
        assert plan.outcome is Outcome.PROVED
        assert not short(plan)
        assert float(plan.total_cost) == pytest.approx(
            best, abs=0.02
        )  # half a cent for each of up to 4 passes


LARGER_WARES = (
    *WARES,
    ware("map", N=11, P2O5=52, timings=(Timing.BEFORE_PLANTING, Timing.AT_PLANTING)),
    ware("potash", K2O=60),
    ware("ams", N=21, S=24, min_rate=20.0),
    ware("nineteen", N=19, P2O5=19, K2O=19, max_rate=250.0),
)


@st.composite
def small(draw: st.DrawFn) -> tuple[list[PlanPlot], list[Ware], list[Offer], Terms]:
    """Up to four plots, needs tied to times or free, up to six products, bags and bulk."""
    wares = draw(
        st.lists(st.sampled_from(LARGER_WARES), min_size=2, max_size=6, unique_by=lambda w: w.product.product)
    )
    offers = []
    for one in wares:
        name = one.product.product
        offers.append(
            replace(bag(name, "1", 25.0), price=draw(_prices), in_stock=draw(st.sampled_from([0.0, 1.5])))
        )
        if draw(st.booleans()):
            step = draw(st.sampled_from([None, 50.0]))
            bulk = bag(
                name, "1", 1000.0, f"{name} bulk", divisible=True, increment_kg=step, delivery_fee=Decimal(20)
            )
            offers.append(replace(bulk, price=draw(_prices) * 20))
    plots = []
    for name in ("a", "b", "c", "d")[: draw(st.integers(1, 4))]:
        demands = [Demand(Supply("P2O5"), draw(_amounts)), Demand(Supply("K2O"), draw(_amounts))]
        for timing in draw(st.sets(st.sampled_from([None, Timing.AT_PLANTING, Timing.TOPDRESS]), max_size=2)):
            demands.append(Demand(Supply("N"), draw(_amounts), timing))
        if draw(st.booleans()):
            demands.append(Demand(Supply("S"), draw(st.sampled_from([None, 3.0]))))
        caps = draw(st.sampled_from([{}, {"N": 70.0}, {"P2O5": 33.0, "K2O": 40.0}]))
        plots.append(PlanPlot(name, draw(st.sampled_from([0.3, 0.8, 1.5])), tuple(demands), caps))
    terms = Terms(
        max_products_per_plot=draw(st.sampled_from([None, 2, 3])),
        spreading_cost_per_ha=draw(st.sampled_from([Decimal(0), Decimal("7.5")])),
        spreading_cost_per_pass=draw(st.sampled_from([Decimal(0), Decimal(3)])),
        min_rate_kg_ha=draw(st.sampled_from([None, 10.0])),
        hauling_cost_per_kg=draw(st.sampled_from([Decimal(0), Decimal("0.02")])),
        gap=1e-6,
        time_limit_s=60,
    )
    return plots, wares, offers, terms


Case = tuple[list[PlanPlot], list[Ware], list[Offer], Terms]


@SMALL
@given(small())
def test_what_a_plan_promises_adds_up(case: Case) -> None:
    plots, wares, offers, terms = case
    plan = make_plan(plots, wares, offers, terms)
    assert_sound(plan, plots, wares, offers, terms)
    assert (plan.outcome is Outcome.PROVED) == (not short(plan))


@SMALL
@given(small(), st.randoms(use_true_random=False))
def test_the_order_of_plots_products_and_offers_changes_nothing(case: Case, random: object) -> None:
    plots, wares, offers, terms = case
    mixed = [list(plots), list(wares), list(offers)]
    for items in mixed:
        random.shuffle(items)  # type: ignore[attr-defined]
    mixed_plots = [replace(one, demands=tuple(reversed(one.demands))) for one in mixed[0]]
    assert make_plan(mixed_plots, mixed[1], mixed[2], terms) == make_plan(plots, wares, offers, terms)


@SMALL
@given(small(), st.data())
def test_a_dearer_offer_never_lowers_the_cost(case: Case, data: st.DataObject) -> None:
    plots, wares, offers, terms = case
    number = data.draw(st.integers(0, len(offers) - 1))
    price = offers[number].price
    assert price is not None
    dearer = [*offers]
    dearer[number] = replace(offers[number], price=price * 2)
    before, after = make_plan(plots, wares, offers, terms), make_plan(plots, wares, dearer, terms)
    assume(before.outcome is Outcome.PROVED)
    assert after.outcome is Outcome.PROVED
    assert (
        float(after.total_cost) >= float(before.total_cost) * (1 - 2e-6) - 0.1
    )  # cents of each pass and haul


@SMALL
@given(small(), st.data())
def test_one_more_offer_never_raises_the_cost(case: Case, data: st.DataObject) -> None:
    plots, wares, offers, terms = case
    number = data.draw(st.integers(0, len(offers) - 1))
    fewer = [one for place, one in enumerate(offers) if place != number]
    before, after = make_plan(plots, wares, fewer, terms), make_plan(plots, wares, offers, terms)
    assume(before.outcome is Outcome.PROVED)
    assert after.outcome is Outcome.PROVED
    assert float(after.total_cost) <= float(before.total_cost) * (1 + 2e-6) + 0.1


@SMALL
@given(small(), st.sampled_from([20, 60, 150]))
def test_a_budget_is_kept_and_more_money_never_covers_less(case: Case, dollars: int) -> None:
    plots, wares, offers, terms = case
    terms = replace(terms, gap=1e-4)
    whole = make_plan(plots, wares, offers, terms)
    assume(whole.outcome is Outcome.PROVED)
    plan = make_plan(plots, wares, offers, replace(terms, budget=Decimal(dollars)))
    assert_sound(plan, plots, wares, offers, terms)
    if whole.total_cost <= dollars:
        assert not short(plan)
    else:
        assert plan.total_cost <= dollars
        assert plan.outcome is Outcome.FOUND
        assert short(plan)


@SMALL
@given(small())
def test_the_search_in_stages_agrees_with_the_whole_program(case: Case) -> None:
    plots, wares, offers, terms = case
    request = check_request(plots, wares, offers, terms)
    plan_model = build(request)
    whole = plan_model.model.solve(Effort(1e-6, 60))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "SMALL", -1)
        staged = search.search(plan_model, 1e-6, 60)
    if whole.found is Found.INFEASIBLE:
        assert staged.found is Found.INFEASIBLE
        return
    assert staged.solution is not None
    cost = float(plan_model.model.cost @ staged.solution.values)
    assert cost == pytest.approx(whole.objective, rel=3e-6, abs=1e-6)
    for stage in staged.stages:  # a bound is a bound at every stage, and a plan is never under it
        assert stage.bound <= whole.objective * (1 + 1e-6) + 1e-6
        assert stage.cost >= whole.bound * (1 - 1e-6) - 1e-6
