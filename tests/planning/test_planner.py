"""The planner against arithmetic done by hand. Amounts are kilograms unless a comment says otherwise."""

from __future__ import annotations

import csv
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from plan_cases import assert_sound, bag, plot, short, ware

from loamwright.errors import Level
from loamwright.planning.inputs import Band, Demand, FixedPass, PlanPlot, Terms, Ware
from loamwright.planning.planner import make_plan
from loamwright.planning.purchase_lists import purchase_lists
from loamwright.planning.records import Outcome, Plan
from loamwright.supplies.records import Form, LimeLabel, Offer, Product
from loamwright.units import LB_ACRE_KG_HA, LB_KG
from loamwright.values import ARITHMETIC, LABEL, Supply, Timing

UREA, DAP, TSP, POTASH = (
    ware("urea", N=46),
    ware("dap", N=18, P2O5=46),
    ware("tsp", P2O5=45),
    ware("potash", K2O=60),
)


def planned(plots: list[PlanPlot], wares: list[Ware], offers: list[Offer], **terms: object) -> Plan:
    """Plan, and check what every plan promises."""
    on = Terms(**{"gap": 1e-6, **terms})  # type: ignore[arg-type]
    plan = make_plan(plots, wares, offers, on)
    assert_sound(plan, plots, wares, offers, on)
    return plan


def masses(plan: Plan) -> dict[tuple[str, str], float]:
    return {(line.plot_id, line.product): line.mass_kg for line in plan.lines}


def bought(plan: Plan) -> dict[str, float]:
    return {one.offer_id: one.count for one in plan.buy if one.count}


# ---------------------------------------------------------------------------------------------
# Whole packages, pooled over the property


def test_packages_are_pooled_over_the_property() -> None:
    # 23 N is 50 urea; on each of three plots that is 1.25 bags of 40: four bags for 3.75, not two a plot.
    plan = planned([plot(name, N=23) for name in "abc"], [UREA], [bag("urea", "25.00", 40)])
    assert plan.outcome is Outcome.PROVED
    assert bought(plan) == {"urea bag": 4}
    assert plan.total_cost == Decimal("100.00")
    assert masses(plan) == pytest.approx({(name, "urea"): 50.0 for name in "abc"})
    assert plan.buy[0].left_over_kg == pytest.approx(10.0)
    assert plan.lines[0].packages == pytest.approx(1.25)
    assert plan.plot_costs == {"a": Decimal("33.34"), "b": Decimal("33.33"), "c": Decimal("33.33")}


def test_one_product_for_two_needs_when_that_is_cheaper() -> None:
    # 46 P2O5 and 18 N: 100 dap does both for 4 × 30 = 120. Apart: tsp 102.2 (5 bags) and urea 39.1 (2 bags)
    # at 20 each = 140. With dap at 36 a bag (144) apart is cheaper.
    plots = [plot("a", N=18, P2O5=46)]
    offers = [bag("urea", "20.00"), bag("tsp", "20.00"), bag("dap", "30.00")]
    assert bought(planned(plots, [UREA, TSP, DAP], offers)) == {"dap bag": 4}
    offers[2] = bag("dap", "36.00")
    assert bought(planned(plots, [UREA, TSP, DAP], offers)) == {"urea bag": 2, "tsp bag": 5}


def test_what_a_leftover_is_worth_is_used() -> None:
    # Plot a takes 25 dap for its 11.5 P2O5: one bag exactly. Plot b needs 4.6 N: 10 urea, a bag of 25 at
    # 20.00, or 25.6 dap: a second bag at 15.00 would leave 0.1 N short (25 × 0.18 = 4.5), so urea it is.
    offers = [bag("urea", "20.00"), bag("dap", "15.00")]
    plots = [plot("a", P2O5=11.5), plot("b", N=4.6)]
    assert bought(planned(plots, [UREA, DAP], offers)) == {"urea bag": 1, "dap bag": 1}
    # With 4.5 N needed the second bag of dap does exactly.
    plots[1] = plot("b", N=4.5)
    assert bought(planned(plots, [UREA, DAP], offers)) == {"dap bag": 2}


def test_stock_on_hand_is_used_first_and_costs_nothing() -> None:
    # 100 urea needed; 1.5 bags of 40 on hand are 60; 40 more is one bag.
    plan = planned([plot("a", N=46)], [UREA], [bag("urea", "25.00", 40, in_stock=1.5)])
    assert bought(plan) == {"urea bag": 1}
    assert plan.buy[0].from_stock == pytest.approx(1.5)
    assert plan.total_cost == Decimal("25.00")
    # Stock of an offer without a price can be used, and is enough for 80.
    plan = planned([plot("a", N=36.8)], [UREA], [bag("urea", None, 40, in_stock=2.5)])
    assert plan.outcome is Outcome.PROVED
    assert plan.total_cost == 0
    assert plan.buy[0].left_over_kg == pytest.approx(20.0)
    assert [problem.level for problem in plan.problems] == [Level.WARNING]


# ---------------------------------------------------------------------------------------------
# Bulk, sellers, tiers


def test_a_spare_is_bought_on_top_and_not_spread() -> None:
    # 46 N is 100 urea, four bags of 25; a tenth to spare is 110, five bags
    plan = planned([plot("a", N=46)], [UREA], [bag("urea", "20.00")], spare=0.1)
    assert bought(plan) == {"urea bag": 5}
    assert masses(plan) == pytest.approx({("a", "urea"): 100.0})
    assert plan.buy[0].left_over_kg == pytest.approx(25.0)
    assert any(
        "10 % more than is spread is bought or in stock, for spills" in one for one in plan.explanation
    )
    # two bags of stock are counted with what is bought: 50 + 60 for 110
    stocked = planned([plot("a", N=46)], [UREA], [bag("urea", "20.00", in_stock=2)], spare=0.1)
    assert bought(stocked) == {"urea bag": 3}


def test_bulk_is_divisible_in_its_increments() -> None:
    # 100 urea: at 500 a ton by weight 50.00; in steps of 30 it takes 120: 60.00.
    any_amount = bag("urea", "500.00", 1000, divisible=True)
    plan = planned([plot("a", N=46)], [UREA], [any_amount])
    assert plan.total_cost == Decimal("50.00")
    assert plan.buy[0].count == pytest.approx(0.1)
    assert plan.lines[0].packages is None
    plan = planned([plot("a", N=46)], [UREA], [replace(any_amount, increment_kg=30.0)])
    assert plan.buy[0].count == pytest.approx(0.12)
    assert plan.total_cost == Decimal("60.00")
    assert plan.buy[0].left_over_kg == pytest.approx(20.0)


def test_bag_or_bulk_turns_on_the_delivery_fee() -> None:
    # 100 urea: four bags at 15 = 60, or bulk 50 and 20 for the truck. For 400: 240, or 200 + 20.
    offers = [
        bag("urea", "15.00", offer_id="bag", seller="store"),
        bag("urea", "500.00", 1000, "bulk", divisible=True, delivery_fee=Decimal(20), seller="co-op"),
    ]
    assert bought(planned([plot("a", N=46)], [UREA], offers)) == {"bag": 4}
    plan = planned([plot("a", N=184)], [UREA], offers)
    assert bought(plan) == {"bulk": pytest.approx(0.4)}
    assert (plan.purchase_cost, plan.delivery_cost) == (Decimal("200.00"), Decimal("20.00"))


def test_one_delivery_fee_per_seller_not_per_offer() -> None:
    # Both from one seller: 20 once. From two sellers: 20 twice.
    fee = Decimal(20)
    offers = [
        bag("urea", "25.00", 50, seller="A", delivery_fee=fee),
        bag("potash", "25.00", 50, seller="A", delivery_fee=fee),
    ]
    plots = [plot("a", N=23, K2O=30)]
    assert planned(plots, [UREA, POTASH], offers).delivery_cost == 20
    offers[1] = replace(offers[1], seller="B")
    assert planned(plots, [UREA, POTASH], offers).delivery_cost == 40
    # Unlike fees from one seller: the larger, once.
    offers[1] = replace(offers[1], seller="A", delivery_fee=Decimal(35))
    assert planned(plots, [UREA, POTASH], offers).delivery_cost == 35


def test_price_breaks_can_make_more_packages_cheaper() -> None:
    # Four bags needed: 4 × 20 = 80; from five on 15 each: 75, one bag left over.
    offer = bag("urea", "20.00", price_breaks=((5, Decimal(15)),))
    plan = planned([plot("a", N=46)], [UREA], [offer])
    assert bought(plan) == {"urea bag": 5}
    assert plan.buy[0].unit_price == 15
    assert plan.total_cost == 75
    # Not when the break is at six: 90.
    plan = planned([plot("a", N=46)], [UREA], [replace(offer, price_breaks=((6, Decimal(15)),))])
    assert bought(plan) == {"urea bag": 4}
    # A break that is dearer holds as well: from four bags on 22 each, so three here and one elsewhere at 21.
    offers = [
        replace(offer, price_breaks=((4, Decimal(22)),), offer_id="x"),
        bag("urea", "21.00", offer_id="y"),
    ]
    assert bought(planned([plot("a", N=46)], [UREA], offers)) == {"x": 3, "y": 1}


def test_order_limits_of_the_seller() -> None:
    # 100 urea. At least six bags at 10 = 60, against four at 16 = 64; at least seven: 70.
    offers = [bag("urea", "10.00", offer_id="many", min_order=6), bag("urea", "16.00", offer_id="few")]
    assert bought(planned([plot("a", N=46)], [UREA], offers)) == {"many": 6}
    offers[0] = replace(offers[0], min_order=7)
    assert bought(planned([plot("a", N=46)], [UREA], offers)) == {"few": 4}
    # Only three at 10: the fourth elsewhere.
    offers[0] = replace(offers[0], min_order=0, max_count=3)
    assert bought(planned([plot("a", N=46)], [UREA], offers)) == {"many": 3, "few": 1}


def test_hauling_is_paid_by_weight() -> None:
    # Four bags of 25 at 0.10 a kg: 10.00 more.
    plan = planned([plot("a", N=46)], [UREA], [bag("urea", "20.00")], hauling_cost_per_kg=Decimal("0.10"))
    assert (plan.purchase_cost, plan.delivery_cost) == (Decimal("80.00"), Decimal("10.00"))
    # It can turn the choice: 23 N is 50 urea or 127.8 of an 18 % product in 25s; 2 × 25 = 50 against
    # 6 × 8 = 48, but 5.00 against 15.00 to haul.
    thin = ware("thin", N=18)
    offers = [bag("urea", "25.00"), bag("thin", "8.00")]
    assert bought(planned([plot("a", N=23)], [UREA, thin], offers)) == {"thin bag": 6}
    assert bought(planned([plot("a", N=23)], [UREA, thin], offers, hauling_cost_per_kg=Decimal("0.10"))) == {
        "urea bag": 2
    }


# ---------------------------------------------------------------------------------------------
# Limits on a plot


def test_spreading_costs_can_outweigh_a_cheaper_pair() -> None:
    # dap alone 144 and one pass; urea and tsp 140 and two passes: at 5 a hectare one pass wins.
    plots = [plot("a", N=18, P2O5=46)]
    offers = [bag("urea", "20.00"), bag("tsp", "20.00"), bag("dap", "36.00")]
    plan = planned(plots, [UREA, TSP, DAP], offers, spreading_cost_per_ha=Decimal(5))
    assert bought(plan) == {"dap bag": 4}
    assert plan.spreading_cost == 5
    # On 1.7 ha: 1.7 × 5 + 2 = 10.50 a pass, to the cent.
    plan = planned(
        [plot("a", 1.7, P2O5=46)],
        [TSP],
        offers,
        spreading_cost_per_ha=Decimal(5),
        spreading_cost_per_pass=Decimal(2),
    )
    assert plan.spreading_cost == Decimal("10.50")


def test_the_smallest_practical_rate_is_kept_or_the_product_left_out() -> None:
    # 4.6 N on 1 ha is 10 urea; at least 30 must be spread if any is.
    plan = planned([plot("a", N=4.6)], [UREA], [bag("urea", "20.00")], min_rate_kg_ha=30.0)
    assert masses(plan) == pytest.approx({("a", "urea"): 30.0})
    # Not when N is capped at 10 (21.7 urea at most): a thinner product does it, 25.6 at 18 % is under 30,
    # so 30 are spread and bring 5.4 N.
    thin = ware("thin", N=18)
    plan = planned(
        [plot("a", 1.0, {"N": 10.0}, N=4.6)],
        [UREA, thin],
        [bag("urea", "20.00"), bag("thin", "40.00")],
        min_rate_kg_ha=30.0,
    )
    assert masses(plan) == pytest.approx({("a", "thin"): 30.0})
    # A product's own smallest rate wins over the property's.
    fine = ware("fine", N=46, min_rate=5.0)
    plan = planned([plot("a", N=4.6)], [fine], [bag("fine", "20.00")], min_rate_kg_ha=30.0)
    assert masses(plan) == pytest.approx({("a", "fine"): 10.0})


def test_the_largest_safe_rate_is_kept() -> None:
    # 46 N wants 100 urea; 60 are safe: 27.6 N, and the other 18.4 N from a dearer product, 102.2 at 18 %.
    safe, thin = ware("urea", N=46, max_rate=60.0), ware("thin", N=18)
    plan = planned([plot("a", N=46)], [safe, thin], [bag("urea", "20.00"), bag("thin", "30.00")])
    assert masses(plan)["a", "urea"] <= 60 + 1e-6
    assert plan.outcome is Outcome.PROVED
    assert not short(plan)


def test_caps_keep_surplus_down() -> None:
    # 18 N by dap would bring 46 P2O5; capped at 10 P2O5, 21.7 dap at most, the rest of N must be urea.
    offers = [bag("urea", "60.00"), bag("dap", "10.00")]
    assert bought(planned([plot("a", N=18)], [UREA, DAP], offers)) == {"dap bag": 4}
    plan = planned([plot("a", 1.0, {"P2O5": 10.0}, N=18)], [UREA, DAP], offers)
    assert "urea bag" in bought(plan)
    # Zero allowed: no dap at all, though a bag of urea costs six times as much.
    plan = planned([plot("a", 1.0, {"P2O5": 0.0}, N=18)], [UREA, DAP], offers)
    assert bought(plan) == {"urea bag": 2}


def test_at_most_so_many_products_on_a_plot_and_lime_is_not_counted() -> None:
    # N, P2O5 and K2O from three single products at 3 × 10, or from one nineteen at two bags of 40 each.
    nineteen = ware("nineteen", N=19, P2O5=19, K2O=19)
    lime = ware("lime", Form.LIME, lime_enp=0.5)
    wares = [UREA, TSP, POTASH, nineteen, lime]
    offers = [bag(name, "10.00") for name in ("urea", "tsp", "potash", "lime")] + [bag("nineteen", "40.00")]
    demands = (
        Demand(Supply("N"), 9.5),
        Demand(Supply("P2O5"), 9.5),
        Demand(Supply("K2O"), 9.5),
        Demand(Supply("lime ENP"), 10.0),
    )
    plots = [PlanPlot("a", 1.0, demands)]
    assert set(bought(planned(plots, wares, offers))) == {"urea bag", "tsp bag", "potash bag", "lime bag"}
    plan = planned(plots, wares, offers, max_products_per_plot=2)
    assert plan.outcome is Outcome.PROVED
    assert {line.product for line in plan.lines} >= {"nineteen", "lime"}


def test_what_is_free_in_time_moves_to_a_time_with_room() -> None:
    # Three single products free in time and urea tied to planting, two products at a time: two at any time
    # by name, the third beside the urea.
    sulfur = ware("sulfur", S=90)
    wares = [UREA, TSP, POTASH, sulfur]
    demands = (
        Demand(Supply("N"), 23.0, Timing.AT_PLANTING),
        Demand(Supply("P2O5"), 9.0),
        Demand(Supply("K2O"), 12.0),
        Demand(Supply("S"), 9.0),
    )
    plots = [PlanPlot("a", 1.0, demands)]
    offers = [bag(one.product.product, "20.00") for one in wares]
    plan = planned(plots, wares, offers, max_products_per_plot=2)
    assert plan.outcome is Outcome.PROVED
    assert {line.product: line.timing for line in plan.lines} == {
        "urea": Timing.AT_PLANTING,
        "potash": None,
        "sulfur": None,
        "tsp": Timing.AT_PLANTING,
    }
    # With one at a time there is room for urea and one other.
    plan = planned(plots, wares, offers, max_products_per_plot=1)
    assert plan.outcome is Outcome.IMPOSSIBLE
    assert "Allow 2 products" in " ".join(plan.explanation)


def test_products_only_where_and_when_they_may_be_used() -> None:
    # Plot b's spreader cannot handle urea.
    thin = ware("thin", N=18)
    plots = [plot("a", N=23), replace(plot("b", N=18), allowed_products=frozenset({"thin"}))]
    plan = planned(plots, [UREA, thin], [bag("urea", "10.00"), bag("thin", "30.00")])
    assert masses(plan) == pytest.approx({("a", "urea"): 50.0, ("b", "thin"): 100.0})
    # Urea only at planting: the top-dress share must be the other product.
    early = ware("urea", N=46, timings=(Timing.AT_PLANTING,))
    split = PlanPlot(
        "a", 1.0, (Demand(Supply("N"), 23.0, Timing.AT_PLANTING), Demand(Supply("N"), 9.0, Timing.TOPDRESS))
    )
    plan = planned([split], [early, thin], [bag("urea", "10.00"), bag("thin", "30.00")])
    assert {(line.product, line.timing): line.mass_kg for line in plan.lines} == pytest.approx(
        {("urea", Timing.AT_PLANTING): 50.0, ("thin", Timing.TOPDRESS): 50.0}
    )
    # A need free in time, a plot that is spread at planting only: the line says so.
    plan = planned([replace(plot("a", N=23), timings=(Timing.AT_PLANTING,))], [UREA], [bag("urea", "10.00")])
    assert [line.timing for line in plan.lines] == [Timing.AT_PLANTING]


def test_a_tied_need_counts_towards_the_free_one_not_the_other_way_round() -> None:
    # 9 N at top-dress by dap (50) brings 23 P2O5 on the way: no tsp needed.
    need = PlanPlot("a", 1.0, (Demand(Supply("N"), 9.0, Timing.TOPDRESS), Demand(Supply("P2O5"), 23.0)))
    plan = planned([need], [DAP, TSP, UREA], [bag("dap", "10.00"), bag("tsp", "10.00"), bag("urea", "30.00")])
    assert bought(plan) == {"dap bag": 2}
    assert [line.timing for line in plan.lines] == [Timing.TOPDRESS]


def test_lime_is_planned_with_the_rest() -> None:
    # 1,200 lb ENP at 400 lb ENP a ton is 3 tons (the arithmetic of MU Extension's published example of
    # 1,200 units at 400 a ton; P. Miller, How Much Lime To Apply, 921news.com, there in ENM).
    lime = ware("lime", Form.LIME, lime_enp=400 / 2000)
    plots = [PlanPlot("a", 1.0, (Demand(Supply("lime ENP"), 1200 * LB_KG),))]
    plan = planned(plots, [lime], [bag("lime", "30.00", 2000 * LB_KG)])
    assert bought(plan) == {"lime bag": 3}
    assert plan.total_cost == 90


# ---------------------------------------------------------------------------------------------
# What the user has fixed


def test_a_fixed_pass_is_kept_and_the_rest_planned_around_it() -> None:
    # The user puts 25 dap on a: 4.5 N and 11.5 P2O5. Left: 18.5 N: 40.2 urea, two bags.
    plan = planned(
        [plot("a", N=23, P2O5=11.5)],
        [UREA, DAP],
        [bag("urea", "20.00"), bag("dap", "99.00")],
        fixed=(FixedPass("a", "dap", 25.0),),
        spreading_cost_per_pass=Decimal(3),
    )
    assert masses(plan) == pytest.approx({("a", "dap"): 25.0, ("a", "urea"): 18.5 / 0.46})
    assert bought(plan) == {"urea bag": 2, "dap bag": 1}
    assert plan.spreading_cost == 6
    # Zero rules a product out.
    plan = planned(
        [plot("a", P2O5=11.5)],
        [DAP, TSP],
        [bag("tsp", "99.00"), bag("dap", "1.00")],
        fixed=(FixedPass("a", "dap", 0.0),),
    )
    assert {line.product for line in plan.lines} == {"tsp"}


@pytest.mark.parametrize(
    ("fixed", "words"),
    [
        ((FixedPass("zz", "urea", 10.0),), "plot is not known"),
        ((FixedPass("a", "peat", 10.0),), "product is not known"),
        (
            (FixedPass("a", "urea", 10.0), FixedPass("a", "urea", 40.0)),
            "40 kg contradicts the choice of 10 kg",
        ),
        ((FixedPass("a", "urea", 0.0), FixedPass("a", "urea", 40.0)), "contradicts"),
        ((FixedPass("a", "urea", 500.0),), "500 kg/ha is over the safe rate of 300"),
        ((FixedPass("a", "urea", 280.0),), "over the cap of 100"),
        ((FixedPass("a", "dap", 10.0),), "nobody offers"),
        ((FixedPass("a", "urea", float("nan")),), "nan kg"),
    ],
)
def test_a_fixed_choice_that_cannot_stand_is_told_and_the_rest_planned(
    fixed: tuple[FixedPass, ...], words: str
) -> None:
    urea, thin = ware("urea", N=46, max_rate=300.0), ware("thin", N=18)  # thin for what the choice leaves
    offers = [bag("urea", "20.00"), bag("thin", "90.00")]
    plan = planned([plot("a", 1.0, {"N": 100.0}, N=46)], [urea, thin, DAP], offers, fixed=fixed)
    assert any(words in problem.what for problem in plan.problems), [str(p) for p in plan.problems]
    assert plan.outcome is Outcome.PROVED
    assert not short(plan)


# ---------------------------------------------------------------------------------------------
# Honest outcomes


def test_no_offer_supplies_it_and_the_rest_is_planned() -> None:
    plan = planned([plot("a", N=46, B=1), plot("b", N=23)], [UREA], [bag("urea", "20.00")])
    assert plan.outcome is Outcome.IMPOSSIBLE
    assert plan.gap is None
    assert short(plan) == [("a", "B")]
    assert masses(plan) == pytest.approx({("a", "urea"): 100.0, ("b", "urea"): 50.0})
    assert any("Plot a" in words and "nothing on offer supplies B" in words for words in plan.explanation)


def test_colliding_caps_name_the_least_rise() -> None:
    # 18 N from dap alone is 100 dap and 46 P2O5; P2O5 is capped at 23, so half the N arrives. For all of it
    # the cap must rise to 46 (101.4 lb).
    plan = planned([plot("a", 1.0, {"P2O5": 23.0}, N=18)], [DAP], [bag("dap", "20.00")])
    assert plan.outcome is Outcome.IMPOSSIBLE
    assert masses(plan) == pytest.approx({("a", "dap"): 50.0})
    told = " ".join(plan.explanation)
    assert "the caps on surplus" in told
    assert "Raise the cap on P2O5 from 50.71 lb to 101.4 lb P2O5" in told


@pytest.mark.parametrize(
    ("wares", "plots", "terms", "words"),
    [
        # 46 N is 100 urea; 60 are safe
        ([ware("urea", N=46, max_rate=60.0)], [plot("a", N=46)], {}, "the largest safe rates"),
        # N and P2O5 from two products, one allowed
        ([UREA, TSP], [plot("a", N=46, P2O5=45)], {"max_products_per_plot": 1}, "Allow 2 products"),
        # 4.6 N is 10 urea; 30 at least bring 13.8, over the cap of 9
        (
            [UREA],
            [plot("a", 1.0, {"N": 9.0}, N=4.6)],
            {"min_rate_kg_ha": 30.0},
            "Raise the cap on N from 19.84 lb to 30.42",
        ),
        ([UREA], [replace(plot("a", N=46), allowed_products=frozenset({"dap"}))], {}, "may go on this plot"),
        ([UREA], [replace(plot("a", N=46), timings=())], {}, "can be spread at a time the plot is spread"),
        (
            [ware("urea", N=46, timings=(Timing.TOPDRESS,))],
            [PlanPlot("a", 1.0, (Demand(Supply("N"), 46.0, Timing.AT_PLANTING),))],
            {},
            "can be spread at planting",
        ),
    ],
)
def test_each_limit_that_stands_in_the_way_is_named(
    wares: list[Ware], plots: list[PlanPlot], terms: dict[str, object], words: str
) -> None:
    offers = [bag(one.product.product, "20.00") for one in wares]
    plan = planned([*plots, plot("z", N=23)], wares, offers, **terms)
    assert plan.outcome is Outcome.IMPOSSIBLE
    assert any(words in sentence for sentence in plan.explanation), plan.explanation
    assert all(plot_id == "a" for plot_id, _supply in short(plan))
    if not terms and not wares[0].product.timings:
        assert ("z", "urea") in masses(plan)


def test_what_a_short_plot_gets_is_what_its_lines_bring() -> None:
    # 100 kg P2O5, met from 95 kg on; tsp of 46 % at 100 kg/ha at most brings 46 kg, not 100 × 46 / 95.
    banded = replace(plot("a", P2O5=100.0), bands={Supply.P2O5: Band(0.95, 1.1)})
    tsp = ware("tsp", P2O5=46, max_rate=100.0)
    plan = planned([banded], [tsp], [bag("tsp", "20.00")], units="metric")
    assert masses(plan) == pytest.approx({("a", "tsp"): 100.0})
    assert any("needs 100 kg P2O5 and gets 46 kg:" in words for words in plan.explanation), plan.explanation
    # the seller has 4 bags of 25 kg only: the same 46 kg
    scarce = planned([banded], [TSP], [bag("tsp", "20.00", max_count=4)], units="metric")
    got = scarce.coverage[0].supplied_kg
    assert any(f"gets {got:.4g} kg:" in words for words in scarce.explanation), scarce.explanation


def test_lime_without_the_states_score_is_not_called_nothing() -> None:
    # its label has CCE and sieves; Minnesota's ENP is printed by the quarry or not at all.
    label = LimeLabel(cce_pct=92, passing_pct={8: 96, 20: 76, 60: 48}, moisture_pct=4)
    stone = Ware(Product("Ag lime", Form.LIME, lime=label), {})
    plan = planned([plot("a", **{"lime ENP": 50.0})], [stone], [bag("Ag lime", "4.00")])
    told = " ".join(plan.explanation)
    assert "nothing on offer supplies" not in told
    assert "Ag lime is lime, but its score in ENP is not known" in told
    assert "no Minnesota ENP is printed on the label" in told


def test_a_sellers_last_bags_are_shared_and_the_missing_ones_counted() -> None:
    # 100 urea each on two plots: eight bags of 25; the seller has five.
    plan = planned([plot("a", N=46), plot("b", N=46)], [UREA], [bag("urea", "20.00", max_count=5)])
    assert plan.outcome is Outcome.IMPOSSIBLE
    assert bought(plan) == {"urea bag": 5}
    assert sum(masses(plan).values()) == pytest.approx(125.0)
    assert any("3 more of urea (25 kg bag)" in sentence for sentence in plan.explanation)


def test_unknown_needs_are_left_out_and_named() -> None:
    demands = (Demand(Supply("N"), 46.0), Demand(Supply("P2O5"), None))
    plan = planned([PlanPlot("a", 1.0, demands)], [UREA, DAP], [bag("urea", "10.00"), bag("dap", "99.00")])
    assert plan.outcome is Outcome.PROVED
    assert [(row.supply, row.need_kg) for row in plan.coverage] == [("N", 46.0), ("P2O5", None)]
    assert any("P2O5 is not in these totals for a" in sentence for sentence in plan.explanation)


def test_nothing_needed_nothing_bought() -> None:
    plan = planned([plot("a", N=0)], [UREA], [bag("urea", "10.00")])
    assert (plan.outcome, plan.total_cost, plan.lines, plan.buy) == (Outcome.PROVED, 0, (), ())
    assert planned([], [], []).outcome is Outcome.PROVED


# ---------------------------------------------------------------------------------------------
# Bad input: a sentence each, and the rest is planned

GOOD = bag("urea", "20.00", offer_id="good")


@pytest.mark.parametrize(
    ("offer", "words"),
    [
        (bag("urea", None, offer_id="bad"), "price is missing"),
        (bag("urea", "0", offer_id="bad"), "price of $0.00"),
        (bag("urea", "-3", offer_id="bad"), "price of $-3.00"),
        (bag("urea", "1", 0.0, "bad"), "mass of 0 kg"),
        (bag("urea", "1", None, "bad"), "mass of 'bag' is not known"),
        (bag("peat", "1", offer_id="bad"), "'peat' is not among"),
        (bag("urea", "1", offer_id="bad", min_order=5, max_count=2), "at least 5, at most 2"),
        (bag("urea", "1", offer_id="bad", price_breaks=((3, Decimal(0)),)), "price break at 0"),
        (bag("urea", "1", offer_id="bad", delivery_fee=Decimal(-1)), "delivery fee of -1"),
        (bag("urea", "1", offer_id="bad", in_stock=-2.0), "-2 packages in stock"),
        (bag("urea", "1", offer_id="bad", divisible=True, increment_kg=0.0), "increment of 0 kg"),
    ],
)
def test_an_unusable_offer_is_told_and_left_out(offer: Offer, words: str) -> None:
    plan = planned([plot("a", N=46)], [UREA], [offer, GOOD])
    assert [problem.where for problem in plan.problems] == ["offer bad"]
    assert words in plan.problems[0].what
    assert plan.problems[0].fix
    assert bought(plan) == {"good": 4}


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (ware("bad", N=46, min_rate=90.0, max_rate=50.0), "at least 90 kg/ha (its own limit), at most 50"),
        (ware("bad", N=46, max_rate=5.0), "(the property's limit), at most 5"),
        (ware("bad", N=46, max_rate=0.0), "limits of None and 0.0"),
        (ware("bad", N=-46), "content of N of -0.46"),
    ],
)
def test_an_unusable_product_is_told_and_left_out(bad: Ware, words: str) -> None:
    plan = planned(
        [plot("a", N=46)], [UREA, bad], [GOOD, bag("bad", "1.00", offer_id="cheap")], min_rate_kg_ha=10.0
    )
    assert words in plan.problems[0].what
    assert bought(plan) == {"good": 4}


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (plot("bad", -1.0, N=46), "-1.0 ha"),
        (plot("bad", 0.0, N=46), "no spread area"),
        (plot("bad", 1.0, N=float("nan")), "negative or not a number"),
        (plot("bad", 1.0, N=-5), "negative or not a number"),
        (replace(plot("bad", 1.0), weight=-1.0), "weight of -1"),
        (plot("bad", 1.0, {"N": -3.0}), "cap of -3 kg on N"),
    ],
)
def test_an_unusable_plot_is_told_and_the_others_planned(bad: PlanPlot, words: str) -> None:
    plan = planned([plot("a", N=46), bad], [UREA], [GOOD])
    assert [problem.where for problem in plan.problems] == ["plot bad"]
    assert words in plan.problems[0].what
    assert bought(plan) == {"good": 4}


def test_the_same_id_twice_is_told() -> None:
    plan = planned([plot("a", N=46)], [UREA], [GOOD, replace(GOOD, price=Decimal(3))])
    assert "'good' is given twice" in plan.problems[0].what


# ---------------------------------------------------------------------------------------------
# Budget


def test_a_short_budget_goes_where_it_does_most() -> None:
    # Two bags (40) of four; plot b counts three times as much: b first.
    plots = [plot("a", N=23), replace(plot("b", N=23), weight=3.0)]
    plan = planned(plots, [UREA], [GOOD], budget=Decimal(45))
    assert plan.outcome is Outcome.FOUND
    assert masses(plan) == pytest.approx({("b", "urea"): 50.0})
    assert any("would cost $80.00; the budget is $45.00" in words for words in plan.explanation)
    # it covers 3 of 4 parts
    assert any("covers 75%" in words for words in plan.explanation)


def test_priorities_put_lime_first() -> None:
    lime = ware("lime", Form.LIME, lime_enp=0.5)
    demands = (Demand(Supply("N"), 23.0), Demand(Supply("lime ENP"), 25.0, priority=5.0))
    plan = planned(
        [PlanPlot("a", 1.0, demands)], [UREA, lime], [GOOD, bag("lime", "20.00")], budget=Decimal(40)
    )
    assert masses(plan) == pytest.approx({("a", "lime"): 50.0})


def test_a_budget_under_the_cheapest_package_is_told() -> None:
    plan = planned([plot("a", N=46)], [UREA], [GOOD], budget=Decimal(10))
    assert (plan.outcome, plan.lines, plan.total_cost) == (Outcome.FOUND, (), 0)
    assert any("the cheapest package on offer costs $20.00" in words for words in plan.explanation)


def test_a_budget_that_is_enough_changes_nothing() -> None:
    free = planned([plot("a", N=46)], [UREA], [GOOD])
    plan = planned([plot("a", N=46)], [UREA], [GOOD], budget=Decimal(80))
    assert plan.outcome is Outcome.PROVED
    assert replace(plan, explanation=()) == replace(free, explanation=())
    assert "enough" in plan.explanation[0]


# ---------------------------------------------------------------------------------------------
# Lines, steps, lists


def test_the_steps_of_a_line_are_arithmetic_one_can_redo() -> None:
    # 30 lb P2O5 on 2 acres by 0-46-0 of 46 %: 65.22 lb, 32.61 lb/acre, 1.304 bags of 50 lb.
    tsp = ware("tsp", P2O5=46)
    acres = 2 * 0.40468564224
    plan = planned([plot("a", acres, P2O5=30 * LB_KG)], [tsp], [bag("tsp", "30.00", 50 * LB_KG)])
    line = plan.lines[0]
    steps = {step.what: step for step in line.steps}
    values = [step.value for step in line.steps]
    assert values == pytest.approx([30.0, 0.46, 65.217391, 30.0, 32.608696, 1.3043478])
    assert line.steps[0].unit == "lb P2O5"
    assert [step.source for step in line.steps[:2]] == [ARITHMETIC, LABEL]
    assert "tsp on this plot: 30 lb P2O5 ÷ 0.46" in steps
    assert line.rate_kg_ha == pytest.approx(32.608696 * LB_ACRE_KG_HA)


def test_line_ids_do_not_change_with_amounts_or_season() -> None:
    first = planned([plot("a", N=46)], [UREA], [GOOD])
    second = planned([plot("a", N=23)], [UREA], [GOOD], season=2031)
    assert first.lines[0].line_id == second.lines[0].line_id
    assert first.plan_id != second.plan_id
    other = planned([plot("b", N=23)], [UREA], [GOOD])
    assert other.lines[0].line_id != first.lines[0].line_id


def test_each_timing_has_its_purchase_list() -> None:
    # 40 urea at planting and 40 at top-dress: bags of 25: two before planting, two more later (80 = 3.2).
    demands = (Demand(Supply("N"), 18.4, Timing.AT_PLANTING), Demand(Supply("N"), 18.4, Timing.TOPDRESS))
    offers = [GOOD]
    plan = planned([PlanPlot("a", 1.0, demands)], [UREA], offers)
    assert bought(plan) == {"good": 4}
    lists = purchase_lists(plan, offers)
    assert [(one.timing, one.buy[0].count, one.buy[0].cost) for one in lists] == [
        (Timing.AT_PLANTING, 2, Decimal("40.00")),
        (Timing.TOPDRESS, 2, Decimal("40.00")),
    ]
    assert sum(one.buy[0].left_over_kg for one in lists) == pytest.approx(20.0)
    # With a delivery fee all of it comes at once.
    offers = [replace(GOOD, delivery_fee=Decimal(9))]
    lists = purchase_lists(planned([PlanPlot("a", 1.0, demands)], [UREA], offers), offers)
    assert [(one.timing, one.buy[0].count) for one in lists] == [(Timing.AT_PLANTING, 4)]


# ---------------------------------------------------------------------------------------------
# Published blending examples

EXAMPLES = list(csv.DictReader((Path(__file__).parents[1] / "published" / "blending_examples.csv").open()))


def _pairs(text: str) -> dict[str, float]:
    return {
        key.strip(): float(value)
        for key, value in (part.split("=") for part in text.split(";") if part.strip())
    }


@pytest.mark.parametrize("row", EXAMPLES, ids=[row["id"] for row in EXAMPLES])
def test_published_blends_follow_from_the_same_restrictions(row: dict[str, str]) -> None:
    wares, offers = [], []
    package_kg = float(row["package_lb"] or 1) * LB_KG
    for part in row["products_pct"].split(" | "):
        name, contents = part.split(": ")
        made = Product(name, Form.DRY)
        wares.append(Ware(made, {key: pct / 100 for key, pct in _pairs(contents).items()}))
        offers.append(bag(name, "1.00", package_kg, divisible=not row["package_lb"]))
    fixed = tuple(
        FixedPass("batch", name, float(mass) * LB_KG)
        for name, mass in (part.split("=") for part in row["fixed_lb"].split(" | ") if part)
    )
    demands = tuple(Demand(key, mass * LB_KG) for key, mass in _pairs(row["needs_lb"]).items())
    asked = demands or tuple(Demand(key, 0.0) for key in ("N", "P2O5", "K2O"))
    plan = planned([PlanPlot("batch", 1.0, asked)], wares, offers, fixed=fixed)
    made_lb = {line.product: line.mass_kg / LB_KG for line in plan.lines}
    total_lb = sum(made_lb.values())
    kind, _space, rest = row["ask"].partition(" ")
    answer = {
        "mass": lambda: made_lb[rest.removeprefix("of ")],
        "filler": lambda: float(rest.removeprefix("to ")) - total_lb,
        "percent": lambda: (
            100 * next(c.supplied_kg for c in plan.coverage if c.supply == rest) / LB_KG / total_lb
        ),
        "packages": lambda: plan.lines[0].packages,
        "bought": lambda: plan.buy[0].count,
    }[kind]()
    assert plan.outcome is Outcome.PROVED
    assert answer == pytest.approx(float(row["expected"]), rel=2e-4)
    if not row["why"].startswith("PRINTED WRONG"):
        assert answer == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))
    else:
        assert abs(answer - float(row["printed"])) > float(row["tolerance"])
