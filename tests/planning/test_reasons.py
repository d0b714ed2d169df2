"""Why a plan is what it is: figures against arithmetic done by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from plan_cases import bag, plot, ware

from loamwright.planning.inputs import Demand, FixedPass, PlanPlot, Terms, Ware, check_request
from loamwright.planning.planner import make_plan
from loamwright.planning.reasons import Reasons, explain, pound_prices
from loamwright.supplies.records import Offer
from loamwright.values import Supply, Timing

UREA, THIN, DAP = ware("urea", N=46), ware("thin", N=20), ware("dap", N=18, P2O5=46)
TERMS = Terms(gap=1e-6)


def explained(plots: list[PlanPlot], wares: list[Ware], offers: list[Offer], terms: Terms = TERMS) -> Reasons:
    return explain(plots, wares, offers, terms, make_plan(plots, wares, offers, terms))


def test_price_by_the_pound_is_that_of_the_product_that_brings_it() -> None:
    # Urea at 23.00 for 25 kg of 46 % N: 23 / 11.5 = 2.00 a kg, although the plan has half a bag left over.
    plots, offers = [plot("a", N=40.25)], [bag("urea", "23.00")]
    plan = make_plan(plots, [UREA], offers, TERMS)
    assert plan.buy[0].left_over_kg == pytest.approx(12.5)
    prices = pound_prices(check_request(plots, [UREA], offers, TERMS), plan)
    assert prices["N"] == pytest.approx(2.00)


def test_price_by_the_pound_of_two_nutrients_from_two_products() -> None:
    # dap for all the P2O5, urea for the rest of N. N costs 23 / 11.5 = 2.00; a bag of dap at 43.00 holds
    # 4.5 N worth 9.00 and 11.5 P2O5: (43 - 9) / 11.5 = 2.957 a kg.
    plots, offers = [plot("a", N=50, P2O5=23)], [bag("urea", "23.00"), bag("dap", "43.00")]
    plan = make_plan(plots, [UREA, DAP], offers, TERMS)
    prices = pound_prices(check_request(plots, [UREA, DAP], offers, TERMS), plan)
    assert prices == pytest.approx({"N": 2.00, "P2O5": 34 / 11.5})


def test_price_by_the_pound_with_stock_left_is_nothing() -> None:
    plots, offers = [plot("a", N=23)], [bag("urea", "23.00", in_stock=9.0)]
    plan = make_plan(plots, [UREA], offers, TERMS)
    assert pound_prices(check_request(plots, [UREA], offers, TERMS), plan)["N"] == pytest.approx(0.0)


def test_price_by_the_pound_is_unknown_where_the_passes_cannot_bring_more() -> None:
    # The user fixed exactly this much of the only source.
    terms = replace(TERMS, fixed=(FixedPass("a", "urea", 50.0),))
    found = explained([plot("a", N=23)], [UREA], [bag("urea", "23.00")], terms)
    assert found.nutrients[0].more is None
    assert "cannot be met" in found.nutrients[0].text


def test_what_a_nutrient_costs_in_whole_packages() -> None:
    # 50 kg of urea in 25s: two bags, 46.00. A tenth more is 55 kg: three bags, 23.00 for 2.3 kg N. Without
    # N nothing is bought.
    found = explained([plot("a", N=23)], [UREA], [bag("urea", "23.00")]).nutrients[0]
    assert (found.without, found.more) == (Decimal("46.00"), Decimal("23.00"))
    assert found.more_kg == pytest.approx(2.3)
    assert found.price_in_packages_per_kg == pytest.approx(10.0)
    assert "By the pound" in found.text
    assert "In whole packages" in found.text


def test_the_price_at_which_another_product_would_enter() -> None:
    # 46 N: 100 urea, four bags, 92.00. From thin at 20 %: 230 kg, ten bags of 25 (9.2): 9.20 a bag costs the
    # same. Mixed: three bags of urea bring 34.5, the other 11.5 take 57.5 thin, three bags for 23.00:
    # 7.67 a bag. Two of urea and 115 thin, five bags: 46 / 5 = 9.20. One of urea, 34.5 N left: 172.5, seven
    # bags: 69 / 7 = 9.857. So it enters at 9.85.
    found = explained([plot("a", N=46)], [UREA, THIN], [bag("urea", "23.00"), bag("thin", "15.00")])
    entry = found.entries[0]
    assert (entry.offer_id, entry.enters_at, entry.count) == ("thin bag", Decimal("9.85"), 7)
    assert "costs $15.00 and would enter at $9.85" in entry.text


def test_an_offer_nobody_needs_never_enters() -> None:
    potash = ware("potash", K2O=60)
    found = explained([plot("a", N=46)], [UREA, potash], [bag("urea", "23.00"), bag("potash", "15.00")])
    assert found.entries[0].enters_at is None
    assert "would not be used if it cost a cent" in found.entries[0].text


def test_ends_of_a_price_range_and_the_decisions_they_turn() -> None:
    # Urea at 23 (four bags, 92.00); at 30 four bags are 120, ten of thin at 11.00 are 110.
    offers = [
        bag("urea", "23.00", price_low=Decimal(20), price_high=Decimal(30)),
        bag("thin", "11.00"),
    ]
    found = explained([plot("a", N=46)], [UREA, THIN], offers)
    low, high = found.ranges
    assert (low.price, low.cost, low.changes) == (20, Decimal("80.00"), ())
    assert high.cost <= Decimal("110.00")
    assert high.changes
    assert any("turns on urea (25 kg bag)" in words for words in found.summary)


def test_plots_dearest_first_and_what_drives_the_cost() -> None:
    plots = [plot("a", 2.0, N=23), plot("b", 1.0, N=69, P2O5=5)]
    found = explained(plots, [UREA, DAP], [bag("urea", "23.00"), bag("dap", "43.00")])
    assert [one.plot_id for one in found.plots] == ["b", "a"]
    assert found.plots[1].cost_per_ha == (found.plots[1].cost / 2).quantize(Decimal("0.01"))
    assert found.nutrients[0].supply == "N"
    assert found.summary[0].startswith("N drives the cost")


def test_needs_tied_to_times_have_one_price() -> None:
    demands = (Demand(Supply("N"), 23.0, Timing.AT_PLANTING), Demand(Supply("N"), 11.5, Timing.TOPDRESS))
    plots, offers = [PlanPlot("a", 1.0, demands)], [bag("urea", "23.00")]
    plan = make_plan(plots, [UREA], offers, TERMS)
    assert pound_prices(check_request(plots, [UREA], offers, TERMS), plan) == pytest.approx({"N": 2.00})
