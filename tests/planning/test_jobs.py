"""Jobs: what shares a trip, what it costs, bands, counting packages, small jobs, against hand and milp."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from benchmarks.plain_jobs import plain_jobs
from benchmarks.properties import Case, make_case
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import bag, plot, ware
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from loamwright.planning.inputs import Band, Demand, Machine, PlanPlot, Terms, Ware
from loamwright.planning.planner import make_plan
from loamwright.planning.records import DecideKind, Outcome, Plan
from loamwright.supplies.records import Form, Offer
from loamwright.values import Supply, Timing

UREA, TSP, POTASH = ware("urea", N=46), ware("tsp", P2O5=46), ware("potash", K2O=60)
LIME = ware("lime", Form.LIME, lime_enp=0.5)
BAGS = [bag("urea", "20"), bag("tsp", "25"), bag("potash", "18"), bag("lime", "4")]
SPREADER = Machine("spreader", Decimal(10), Decimal(0))
ONE_HA = plot("a", 1.0, N=46.0, P2O5=46.0, K2O=60.0)


def mixing(*pairs: tuple[str, str]) -> frozenset[frozenset[str]]:
    return frozenset(frozenset(pair) for pair in pairs)


def loads(plan: Plan) -> list[set[str]]:
    name = {line.line_id: line.product for line in plan.lines}
    return sorted(({name[line] for line in job.line_ids} for job in plan.jobs), key=sorted)


# ---------------------------------------------------------------------------------------------
# By hand


def test_what_may_be_mixed_shares_a_trip() -> None:
    # 100 kg of each of three, four bags each: 4 × (20 + 25 + 18) = 252. Urea with potash, tsp with potash,
    # not urea with tsp: two trips of 10 do it; apart three.
    goods = ([ONE_HA], [UREA, TSP, POTASH], BAGS[:3])
    apart = make_plan(*goods, Terms(machines=(SPREADER,)))
    shared = make_plan(
        *goods, Terms(machines=(SPREADER,), mixing=mixing(("urea", "potash"), ("tsp", "potash")))
    )
    together = mixing(("urea", "potash"), ("tsp", "potash"), ("urea", "tsp"))
    everything = make_plan(*goods, Terms(machines=(SPREADER,), mixing=together))
    assert [one.total_cost for one in (apart, shared, everything)] == [282, 272, 262]
    assert len(loads(shared)) == 2
    assert not any({"urea", "tsp"} <= load for load in loads(shared))
    assert loads(everything) == [{"potash", "tsp", "urea"}]
    assert all(one.outcome is Outcome.PROVED for one in (apart, shared, everything))
    assert everything.spreading_cost == 10
    assert everything.jobs[0].rate_kg_ha == pytest.approx(300)


def test_the_proof_says_under_which_rules_it_holds() -> None:
    """What has a price is counted: bags and a trip of 10; then a fee of 5, filling and handling besides."""
    plain = make_plan([ONE_HA], [UREA, TSP, POTASH], BAGS, Terms(machines=(SPREADER,)))
    assert "(nothing is mixed, needs met in full, counting packages and trips):" in plain.explanation[0]
    banded = replace(ONE_HA, bands={Supply.N: Band(0.95, 1.0)})
    filled = replace(SPREADER, cost_per_fill=Decimal(1), hopper_kg=100.0)
    terms = Terms(
        machines=(filled,), mixing=mixing(("urea", "tsp")), handling_cost_per_kg={"urea bag": Decimal("0.01")}
    )
    offers = [replace(one, delivery_fee=Decimal(5)) for one in BAGS]
    rules = (
        "(what may be mixed shares a trip, needs met within their bands, counting packages, delivery, trips, "
        "filling and handling)"
    )
    assert rules in make_plan([banded], [UREA, TSP, POTASH], offers, terms).explanation[0]
    short = make_plan([banded], [UREA, TSP, POTASH], offers, replace(terms, budget=Decimal(60)))
    assert any(rules in sentence for sentence in short.explanation)


def test_lime_never_shares_a_trip_whatever_is_decided() -> None:
    plots = [plot("a", 1.0, **{"K2O": 60.0, "lime ENP": 500.0})]
    terms = Terms(machines=(SPREADER,), mixing=mixing(("potash", "lime")))
    plan = make_plan(plots, [POTASH, LIME], [BAGS[2], BAGS[3]], terms)
    assert loads(plan) == [{"lime"}, {"potash"}]


def test_what_is_free_in_time_rides_along() -> None:
    # nitrogen at planting, potash at any time: one trip, at planting.
    plots = [PlanPlot("a", 1.0, (Demand(Supply.K2O, 60.0), Demand(Supply.N, 46.0, Timing.AT_PLANTING)), {})]
    terms = Terms(machines=(SPREADER,), mixing=mixing(("urea", "potash")))
    plan = make_plan(plots, [UREA, POTASH], [BAGS[0], BAGS[2]], terms)
    (job,) = plan.jobs
    assert (job.timing, job.cost, len(job.line_ids)) == (Timing.AT_PLANTING, 10, 2)


def test_a_machine_goes_only_where_it_can_and_the_cheaper_one_goes() -> None:
    # filling: 100 kg in fills of 50 kg at 3 is 6; the wagon costs 4 a trip and takes it at once.
    barrow = Machine("barrow", Decimal(1), Decimal(0), Decimal(3), 50.0)
    wagon = Machine("wagon", Decimal(4), Decimal(0), Decimal(0), 500.0)
    near, far = (
        plot("near", 1.0, K2O=60.0),
        replace(plot("far", 1.0, K2O=60.0), machines=frozenset({"barrow"})),
    )
    plan = make_plan([near, far], [POTASH], [BAGS[2]], Terms(machines=(barrow, wagon)))
    jobs = {job.plot_id: job for job in plan.jobs}
    assert {name: (job.spreader, job.cost) for name, job in jobs.items()} == {
        "near": ("wagon", 4),
        "far": ("barrow", 7),
    }
    assert (jobs["far"].fills, plan.spreading_cost, plan.filling_cost) == (2, 5, 6)
    assert plan.total_cost == 8 * 18 + 11


def test_a_band_saves_the_package_a_few_pounds_would_cost() -> None:
    # 47 kg P2O5 are 102.2 kg tsp, five bags; four bags are 46 kg, 97.9 % of it.
    exact = make_plan([plot("a", 1.0, P2O5=47.0)], [TSP], [BAGS[1]])
    banded = replace(plot("a", 1.0, P2O5=47.0), bands={Supply.P2O5: Band(0.95, 1.1)})
    plan = make_plan([banded], [TSP], [BAGS[1]])
    assert (exact.total_cost, plan.total_cost, plan.outcome) == (125, 100, Outcome.PROVED)
    assert plan.lines[0].mass_kg == pytest.approx(100)


def test_inside_a_band_the_whole_need_is_met_where_it_costs_nothing() -> None:
    # 45 kg P2O5 are 97.8 kg; 95 % would be 92.9 kg, but the fourth bag is bought either way.
    banded = replace(plot("a", 1.0, P2O5=45.0), bands={Supply.P2O5: Band(0.95, 1.1)})
    plan = make_plan([banded], [TSP], [BAGS[1]])
    assert plan.lines[0].mass_kg == pytest.approx(45 / 0.46, rel=1e-6)


def test_what_is_carried_above_a_band_is_said() -> None:
    """46 kg P2O5 are 100 kg of map, whose 11 kg N are 110 % of the 10 kg that are asked for."""
    one = plot("a", 1.0, N=10.0, P2O5=46.0)
    banded = replace(one, bands={Supply.N: Band(0.95, 1.0), Supply.P2O5: Band(1.0, 1.1)})
    plan = make_plan([banded], [UREA, ware("map", N=11, P2O5=46)], [BAGS[0], bag("map", "20")])
    (said,) = [words for words in plan.explanation if words.startswith("Above the band")]
    assert said.endswith(": a N 110%.")
    exact = make_plan([plot("a", 1.0, N=11.0, P2O5=46.0)], [ware("map", N=11, P2O5=46)], [bag("map", "9")])
    assert not [words for words in exact.explanation if words.startswith("Above the band")]


def test_packages_are_counted_in_halves_inside_the_band() -> None:
    # 42 kg P2O5 are 91.3 kg tsp; 3.5 bags of 25 kg, 87.5 kg, are 95.8 % and need no scale.
    banded = replace(plot("a", 1.0, P2O5=42.0), bands={Supply.P2O5: Band(0.95, 1.1)})
    plan = make_plan([banded], [TSP], [BAGS[1]], Terms(odd_amount_cost=Decimal(5)))
    assert (plan.lines[0].packages * 2) % 1 == pytest.approx(0)
    assert 0.95 * 42 <= plan.coverage[0].supplied_kg <= 1.1 * 42
    # 20 kg N are 43.5 kg urea; from 41.3 to 43.5 kg there is no half bag of 12.5 kg: a part is weighed out.
    narrow = replace(plot("a", 1.0, N=20.0), bands={Supply.N: Band(0.95, 1.0)})
    weighed = make_plan([narrow], [UREA], [BAGS[0]], Terms(odd_amount_cost=Decimal(5)))
    assert 19 <= weighed.coverage[0].supplied_kg <= 20 + 1e-9
    assert weighed.total_cost == 40  # what it is worth not to weigh is no money


#: Potash by the ton, at 360 a 1,000 kg: bulk, which nobody counts.
LOOSE = Offer("loose", "potash", "1000 kg bulk", 1000.0, Decimal(360), divisible=True)


def test_loose_goods_go_on_at_a_logged_setting_inside_the_band() -> None:
    """60 kg K2O are 100 kg of 0-0-60; the band of 95 to 110 % is 95 to 110 kg, on one hectare.

    Of the settings logged for the wagon, 104 kg/ha lies in it, 112 and 90 do not: 104 kg at 0.36 are 37.44.
    """
    banded = replace(plot("a", 1.0, K2O=60.0), bands={Supply.K2O: Band(0.95, 1.1)})
    terms = Terms(machines=(SPREADER,), odd_amount_cost=Decimal(5))
    weighed = make_plan([banded], [POTASH], [LOOSE], terms)
    assert weighed.lines[0].mass_kg == pytest.approx(95)
    logged = replace(terms, logged_kg_ha={(SPREADER.name, "potash"): (112.0, 104.0, 90.0)})
    plan = make_plan([banded], [POTASH], [LOOSE], logged)
    assert plan.lines[0].mass_kg == pytest.approx(104)
    assert plan.purchase_cost == Decimal("37.44")
    assert any("logged setting" in step.what for step in plan.lines[0].steps)
    outside = replace(terms, logged_kg_ha={(SPREADER.name, "potash"): (112.0, 90.0)})
    assert make_plan([banded], [POTASH], [LOOSE], outside).lines[0].mass_kg == pytest.approx(95)
    # of two plots each has its own ground, and a spreader that cannot get there logs nothing for it
    off = replace(banded, machines=frozenset({"other"}))
    other = replace(SPREADER, name="other")
    plan = make_plan([off], [POTASH], [LOOSE], replace(logged, machines=(SPREADER, other)))
    assert plan.lines[0].mass_kg == pytest.approx(95)
    # the setting costs 9 kg x 0.36 = 3.24 more than weighing 95 kg out, which is worth 3 here
    cheap = replace(logged, odd_amount_cost=Decimal(3))
    assert make_plan([banded], [POTASH], [LOOSE], cheap).lines[0].mass_kg == pytest.approx(95)


def test_loose_goods_are_counted_out_in_a_stated_bucket() -> None:
    """60 kg K2O are 100 kg of 0-0-60; the band of 95 to 110 % is 95 to 110 kg.

    A bucket that holds 16 kg: 6 are 96 kg, the fewest halves of one inside the band (5.5 are 88). A logged
    setting inside the band comes before it, and bags before both.
    """
    banded = replace(plot("a", 1.0, K2O=60.0), bands={Supply.K2O: Band(0.95, 1.1)})
    bucket = replace(POTASH, product=replace(POTASH.product, bucket_kg=16.0))
    terms = Terms(machines=(SPREADER,), odd_amount_cost=Decimal(5), units="metric")
    (line,) = make_plan([banded], [bucket], [LOOSE], terms).lines
    assert (line.mass_kg, line.packages, line.package) == (
        pytest.approx(96),
        pytest.approx(6),
        "16 kg bucket",
    )
    assert line.steps[-1].what == "packages: 96 kg potash ÷ 16 kg in one 16 kg bucket"
    us = make_plan([banded], [bucket], [LOOSE], replace(terms, units="us"))
    assert us.lines[0].package == "35.27 lb bucket"  # 16 / 0.45359237
    logged = replace(terms, logged_kg_ha={(SPREADER.name, "potash"): (104.0,)})
    assert make_plan([banded], [bucket], [LOOSE], logged).lines[0].mass_kg == pytest.approx(104)
    (bagged,) = make_plan([banded], [bucket], [BAGS[2]], terms).lines
    assert (bagged.package, (bagged.packages or 0.3) * 2 % 1) == (BAGS[2].package, pytest.approx(0))


def test_a_logged_setting_meets_a_need_together_with_what_other_products_bring() -> None:
    """46 kg P2O5 are 100 kg of map with 11 kg N; of 60 kg N the band leaves 57 to 60, so 46 to 49 from uan.

    At 28 % that is 164.3 to 175 kg; the sprayer's setting of 170 kg/ha brings 47.6 kg, 58.6 in all.
    """
    one = plot("a", 1.0, N=60.0, P2O5=46.0)
    banded = replace(one, bands={Supply.N: Band(0.95, 1.0), Supply.P2O5: Band(1.0, 1.0)})
    sprayer = Machine("sprayer", Decimal(0))
    uan = ware("uan", Form.LIQUID, N=28)
    tote = Offer("tote", "uan", "1000 kg bulk", 1000.0, Decimal(300), divisible=True)
    terms = Terms(
        machines=(sprayer,),
        odd_amount_cost=Decimal(5),
        logged_kg_ha={("sprayer", "uan"): (150.0, 170.0, 180.0)},
    )
    plan = make_plan([banded], [uan, ware("map", N=11, P2O5=46)], [tote, bag("map", "20")], terms)
    assert {line.product: line.mass_kg for line in plan.lines} == pytest.approx({"map": 100, "uan": 170})
    (nitrogen,) = [row for row in plan.coverage if row.supply is Supply.N]
    assert nitrogen.supplied_kg == pytest.approx(58.6)


def test_a_job_for_a_few_percent_is_left_as_a_choice() -> None:
    # the wagon's lime may bring 450 of 500 kg; the last 50, 10 %, would be 100 kg of pellets by hand.
    stone = ware("stone", Form.LIME, lime_enp=0.5, max_rate=900.0)
    pellets = ware("pellets", Form.LIME, lime_enp=0.5, max_rate=150.0)
    goods = (
        [plot("a", 1.0, **{"lime ENP": 500.0})],
        [stone, pellets],
        [bag("stone", "1"), bag("pellets", "10")],
    )
    terms = Terms(machines=(SPREADER,))
    whole = make_plan(*goods, terms)
    left = make_plan(*goods, replace(terms, least_job_share=0.1, units="metric"))
    assert (len(whole.jobs), len(left.jobs)) == (2, 1)
    assert left.outcome is not Outcome.IMPOSSIBLE
    assert whole.total_cost - left.total_cost == 50  # a trip of 10 and four bags at 10
    (choice,) = left.left_to_decide
    assert (choice.kind, choice.cost) == (DecideKind.SMALL, 50)
    assert [(one.plot_id, one.supply) for one in choice.short] == [("a", "lime ENP")]
    assert choice.short[0].mass_kg == pytest.approx(50)
    assert choice.words in left.explanation
    assert "stays 50 kg lime ENP short" in choice.words
    assert "$50.00" in choice.words
    assert whole.left_to_decide == ()


def test_a_small_job_is_small_against_the_whole_need_of_the_season() -> None:
    # 60 of 64 kg N are on; the last 4, 6 % of 64 but all of what is left, are no job of their own at 10 %
    last = replace(plot("a", 1.0, N=4.0), whole_kg={Supply.N: 64.0})
    terms = Terms(machines=(SPREADER,), least_job_share=0.1, units="metric")
    plan = make_plan([last], [UREA], [BAGS[0]], terms)
    assert plan.jobs == ()
    assert any("a stays 4 kg N short" in said and "$30.00" in said for said in plan.explanation)
    assert len(make_plan([replace(last, whole_kg={})], [UREA], [BAGS[0]], terms).jobs) == 1


def test_what_only_the_rest_of_a_plot_needs_goes_on_the_rest_in_a_trip_of_its_own() -> None:
    # 46 kg P2O5 for the whole hectare, 23 kg N for the half that has none yet: urea in the same hopper would
    # put nitrogen on the half that has its share. 100 kg tsp, 50 kg urea: 4 × 25 + 2 × 20 = 140; trips
    # 10 + 1 ha × 6 and 10 + 0.5 ha × 6 = 29.
    half = replace(plot("a", 1.0, N=23.0, P2O5=46.0), rest_ha={Supply.N: 0.5})
    terms = Terms(machines=(Machine("m", Decimal(10), Decimal(6)),), mixing=mixing(("urea", "tsp")))
    plan = make_plan([half], [UREA, TSP], BAGS[:2], terms)
    assert plan.total_cost == 169
    assert loads(plan) == [{"tsp"}, {"urea"}]
    rest, whole = sorted(plan.jobs, key=lambda job: job.part != "rest")
    assert (rest.part, whole.part) == ("rest", "")
    assert (rest.rate_kg_ha, whole.rate_kg_ha) == pytest.approx((100.0, 100.0))
    urea = next(line for line in plan.lines if line.product == "urea")
    assert urea.rate_kg_ha == pytest.approx(50 / 0.5)
    assert any("the rest of the plot only" in step.what for step in urea.steps)
    # what serves a need of the whole plot goes on all of it, in one trip
    both = make_plan([half], [ware("dap", N=18, P2O5=46)], [bag("dap", "25")], terms)
    assert (len(both.jobs), both.jobs[0].part) == (1, "")
    # half of the diammonium phosphate lands beside the rest: 23 kg N there take 23 / (0.18 / 2) kg of it
    assert both.lines[0].mass_kg == pytest.approx(23 / 0.09)
    # the smallest and largest rates are those of the ground it goes on
    least = ware("urea", N=46, min_rate=60.0, max_rate=110.0)
    plan = make_plan([half], [least, TSP], BAGS[:2], terms)
    assert plan.outcome is Outcome.PROVED
    assert {line.product: line.mass_kg for line in plan.lines}["urea"] == pytest.approx(50.0)


def test_what_lands_beside_the_rest_of_a_plot_serves_nothing_there() -> None:
    """The failing case: all of the nitrogen of a phosphate on the whole plot was taken off the rest's need.

    46 kg P2O5 on the hectare are 100 kg of map; its 11 kg N land half on the half that has its share. The
    rest still lacks 23 - 5.5 = 17.5 kg, 17.5 / 0.46 kg of urea.
    """
    half = replace(plot("a", 1.0, N=23.0, P2O5=46.0), rest_ha={Supply.N: 0.5})
    plan = make_plan(
        [half], [UREA, ware("map", N=11, P2O5=46)], [BAGS[0], bag("map", "20")], Terms(units="metric")
    )
    spread = {line.product: line.mass_kg for line in plan.lines}
    assert spread == pytest.approx({"map": 100.0, "urea": 17.5 / 0.46})
    (nitrogen,) = [row for row in plan.coverage if row.supply is Supply.N]
    assert (nitrogen.need_kg, nitrogen.supplied_kg) == pytest.approx((23.0, 23.0))
    urea = next(line for line in plan.lines if line.product == "urea")
    assert any("5.5 from map" in step.what for step in urea.steps)


def test_where_nothing_gets_the_cheapest_change_that_would_help_is_said() -> None:
    # 500 kg of effective lime: 1,000 kg of stone at 1 a 25 kg bag and a truck trip of 60 are 100; pellets of
    # the same strength at 4 a bag and a wagon trip of 10 are 170.
    stone = ware("stone", Form.LIME, lime_enp=0.5)
    pellets = ware("pellets", Form.LIME, lime_enp=0.5)
    stone = replace(stone, product=replace(stone.product, equipment=("truck",)))
    pellets = replace(pellets, product=replace(pellets.product, equipment=("wagon",)))
    machines = (Machine("truck", Decimal(60)), Machine("wagon", Decimal(10)))
    off = {"truck": "it is heavy", "wagon": "the plot's reach says no"}
    one = replace(plot("a", **{"lime ENP": 500.0}), machines=frozenset(), allowed_products=frozenset())
    goods = [stone, pellets], [bag("stone", "1"), bag("pellets", "4")], Terms(machines=machines)
    plan = make_plan([replace(one, kept_off=off)], *goods)
    assert plan.outcome is Outcome.IMPOSSIBLE
    (open_,) = plan.left_to_decide
    assert open_.kind is DecideKind.SHORT
    assert [(one.plot_id, one.supply, one.mass_kg) for one in open_.short] == [("a", "lime ENP", 500)]
    said = open_.words
    assert said in plan.explanation
    assert "no machine gets to this plot (truck: it is heavy; wagon: the plot's reach says no)" in said
    assert "The cheapest change that would help: a way for truck; its lime ENP then costs $100.00" in said
    # a wagon gets there, but nothing it spreads is lime: the same, of the machines that do
    there = replace(one, machines=frozenset({"wagon"}), kept_off={"truck": "it is heavy"})
    plan = make_plan([there], [stone], [bag("stone", "1")], Terms(machines=machines))
    assert any("no machine that spreads stone gets to this plot" in words for words in plan.explanation)


# ---------------------------------------------------------------------------------------------
# By every way of doing it


def partitions(items: Sequence[int]) -> Iterator[list[list[int]]]:
    if not items:
        yield []
        return
    first, *rest = items
    for parts in partitions(rest):
        yield [[first], *parts]
        for place in range(len(parts)):
            yield [*parts[:place], [first, *parts[place]], *parts[place + 1 :]]


def cheapest_by_trying(one: PlanPlot, wares: Sequence[Ware], offers: Sequence[Offer], terms: Terms) -> float:
    """Every set of products, every way to load them, every count of bags; a linear program for the rest."""
    machine, best = terms.machines[0], math.inf
    trip = float(machine.cost_per_job) + float(machine.cost_per_ha) * one.area_ha
    need = {d.supply: d.mass_kg or 0.0 for d in one.demands}
    for counts in itertools.product(range(5), repeat=len(wares)):
        used = [w for w, count in enumerate(counts) if count]
        paid = sum(count * float(offers[w].price or 0) for w, count in enumerate(counts))
        allowed = [
            parts
            for parts in partitions(used)
            if all(
                frozenset((wares[a].product.product, wares[b].product.product)) in terms.mixing
                for part in parts
                for a, b in itertools.combinations(part, 2)
            )
        ]
        cost = paid + trip * min(len(parts) for parts in allowed)
        if cost >= best:
            continue
        left, right = [], []
        for key, mass in need.items():
            band = one.bands.get(key, Band())
            left.append([-wares[w].contents.get(key, 0.0) for w in used])
            right.append(-band.low * mass)
            alone = [float(len(set(wares[w].contents) & set(need)) == 1) for w in used]
            if math.isfinite(band.high) and any(alone):
                left.append([wares[w].contents.get(key, 0.0) * a for w, a in zip(used, alone, strict=True)])
                right.append(band.high * mass)
        limits = [(0.0, counts[w] * float(offers[w].package_kg or 0)) for w in used]
        if used and linprog(np.zeros(len(used)), left, right, bounds=limits).status == 0:
            best = cost
    return best


@pytest.mark.slow
@settings(max_examples=10, deadline=None)
@given(
    needs=st.tuples(*(st.floats(5, 40) for _ in range(3))),
    prices=st.tuples(*(st.integers(5, 40) for _ in range(4))),
    pairs=st.sets(st.sampled_from(list(itertools.combinations(("urea", "tsp", "potash", "mixed"), 2)))),
    trip=st.integers(0, 30),
)
def test_costs_what_trying_everything_finds(
    needs: tuple[float, ...], prices: tuple[int, ...], pairs: set[tuple[str, str]], trip: int
) -> None:
    wares = [UREA, TSP, POTASH, ware("mixed", N=15, P2O5=15, K2O=15)]
    offers = [bag(one.product.product, str(price)) for one, price in zip(wares, prices, strict=True)]
    one = plot("a", 1.0, N=needs[0], P2O5=needs[1], K2O=needs[2])
    one = replace(one, bands={Supply(key): Band(0.95, 1.1) for key in ("N", "P2O5", "K2O")})
    terms = Terms(machines=(Machine("m", Decimal(trip)),), mixing=mixing(*pairs), gap=1e-6)
    tried = cheapest_by_trying(one, wares, offers, terms)
    if math.isfinite(tried):
        assert float(make_plan([one], wares, offers, terms).total_cost) <= tried + 1e-6
        if tried <= 5 * min(prices):  # then no count beyond those tried is cheaper
            assert float(make_plan([one], wares, offers, terms).total_cost) == pytest.approx(tried)


# ---------------------------------------------------------------------------------------------
# Against the plain program, and properties


def few(case: Case, number: int) -> Case:
    names = {ware.product.product for ware in case.wares[:number]}
    return replace(
        case, wares=case.wares[:number], offers=tuple(o for o in case.offers if o.product in names)
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_cost_is_that_of_the_plain_program(seed: int) -> None:
    # scipy.optimize.milp on numbered trips with conflicts (tests/benchmarks/plain_jobs.py)
    case = make_case(2, 12, 2, "jobs", seed)
    plan = make_plan(case.plots, case.wares, case.offers, replace(case.terms, gap=1e-3, time_limit_s=30))
    plain = plain_jobs(case, 1e-3, 40, places=2)
    assert plan.outcome is Outcome.PROVED
    assert float(plan.total_cost) >= plain.bound - 0.05  # cents of the trips
    assert float(plan.total_cost) * (1 - 1.001e-3) <= plain.cost + 0.05


@pytest.mark.parametrize("seed", [4, 5])
def test_more_allowed_is_never_dearer_and_dearer_never_cheaper(seed: int) -> None:
    case = make_case(2, 10, 1, "jobs", seed)
    terms = replace(case.terms, gap=1e-4, time_limit_s=30)

    def cost(**changed: object) -> float:
        offers = changed.pop("offers", case.offers)
        plan = make_plan(case.plots, case.wares, offers, replace(terms, **changed))  # type: ignore[arg-type]
        return float(plan.total_cost)

    base = cost()
    fewer = frozenset(sorted(terms.mixing, key=sorted)[::2])
    assert base <= cost(mixing=fewer) * (1 + 2e-4)
    assert cost(mixing=fewer) <= cost(mixing=frozenset()) * (1 + 2e-4)
    dearer = tuple(replace(one, price=(one.price or Decimal(0)) * 2) for one in case.offers)
    assert base <= cost(offers=dearer) * (1 + 2e-4)
    assert cost(offers=tuple(reversed(case.offers))) == base


def test_no_job_breaks_mixing_reach_or_bands() -> None:
    case = make_case(12, 15, 2, "jobs", 6)
    plan = make_plan(case.plots, case.wares, case.offers, replace(case.terms, gap=0.01, time_limit_s=20))
    assert plan.outcome is Outcome.PROVED
    for load in loads(plan):
        assert all(frozenset(pair) in case.terms.mixing for pair in itertools.combinations(sorted(load), 2))
    need = {(row.plot_id, row.supply): row for row in plan.coverage}
    for row in need.values():
        if row.need_kg:
            assert row.supplied_kg >= (0.95 if row.supply != Supply.B else 1.0) * row.need_kg * (1 - 1e-6)
    assert sum((job.cost for job in plan.jobs), Decimal(0)) == plan.spreading_cost + plan.filling_cost
    assert sum(plan.plot_costs.values(), Decimal(0)) == plan.total_cost
    assert {line for job in plan.jobs for line in job.line_ids} == {line.line_id for line in plan.lines}


# ---------------------------------------------------------------------------------------------
# Truckloads


def limed(*areas_and_kg: tuple[str, float]) -> list[PlanPlot]:
    return [plot(name, 1.0, **{"lime ENP": kg / 2}) for name, kg in areas_and_kg]


TRUCK = Machine("truck", Decimal(0), Decimal(0), load_kg=10_000.0, cost_per_load=Decimal(100))
TRUCKED = replace(LIME, product=replace(LIME.product, equipment=("truck",)))
BY_HAND = ware("pellets", Form.LIME, lime_enp=0.5)
PELLETS = replace(BY_HAND, product=replace(BY_HAND.product, equipment=("spreader",)))
BULK = bag("lime", "20", 1000.0, divisible=True)


@pytest.mark.parametrize(
    ("second_kg", "loads_paid", "cost"),
    [
        (1_000.0, 1, 300),  # 10,000 kg: one load. 10 t × 20 + 100
        (2_000.0, 2, 420),  # 11,000 kg: the second load carries 1,000 kg and costs as much. 220 + 200
        (11_000.0, 2, 600),  # 20,000 kg: two full loads. 400 + 200
    ],
)
def test_a_second_load_for_a_little_is_priced_as_one(second_kg: float, loads_paid: int, cost: int) -> None:
    plan = make_plan(limed(("a", 9_000.0), ("b", second_kg)), [TRUCKED], [BULK], Terms(machines=(TRUCK,)))
    assert plan.outcome is Outcome.PROVED
    assert plan.total_cost == cost
    assert plan.delivery_cost == 100 * loads_paid
    assert sum(plan.plot_costs.values()) == cost
    said = next(one for one in plan.explanation if "Whole loads count" in one)
    assert (
        f"{loads_paid} load{'s' if loads_paid > 1 else ''} of lime by truck, ${100 * loads_paid}.00" in said
    )


def test_a_bag_in_place_of_the_second_load() -> None:
    # the last 1,000 kg: by truck 20 + a load of 100 = 120; in 25 kg bags of pellets at 2.50, 40 bags: 100
    pellets = bag("pellets", "2.50")
    terms = Terms(machines=(TRUCK, Machine("spreader")))
    plan = make_plan(limed(("a", 9_000.0), ("b", 2_000.0)), [TRUCKED, PELLETS], [BULK, pellets], terms)
    # b whole in pellets: 200 against 2 t by truck 40 + 100; a part of b in pellets leaves it two trips, free
    # here: 1,000 kg in pellets 100, 10,000 kg by one truck 200 + 100
    assert plan.total_cost == 400
    assert plan.delivery_cost == 100


def test_ways_to_a_seller_are_whole() -> None:
    # 12 bags of 25 kg are 300 kg: a way brings 200 kg, so two ways of 15; the shop across the road, 2 dearer
    # a bag, is a way too. Near: 12 × 20 + 30 = 270
    far = bag("urea", "20", seller="far")
    terms = Terms(cost_per_haul=Decimal(15), haul_kg=200.0)
    plan = make_plan([plot("a", 1.0, N=138.0)], [UREA], [far], terms)
    assert (plan.total_cost, plan.delivery_cost) == (270, 30)
    # delivered for 25 in place of two ways: 12 × 20 + 25
    both = [far, bag("urea", "20", seller="near", offer_id="delivered", delivery_fee=Decimal(25))]
    brought = make_plan([plot("a", 1.0, N=138.0)], [UREA], both, terms)
    assert (brought.total_cost, brought.delivery_cost) == (265, 25)


def test_what_a_machine_brings_is_not_fetched() -> None:
    # 9,000 kg of lime by a truck that brings it, one load of 100: 9 t × 20 + 100; no ways of 15 for it
    terms = Terms(
        machines=(TRUCK,), cost_per_haul=Decimal(15), haul_kg=1000.0, hauling_cost_per_kg=Decimal(1)
    )
    plan = make_plan(limed(("a", 9_000.0)), [TRUCKED], [BULK], terms)
    assert (plan.total_cost, plan.delivery_cost) == (280, 100)


@pytest.mark.parametrize("seed", range(6))
def test_loads_and_ways_cost_what_a_program_of_their_own_finds(seed: int) -> None:
    # Lime for three to five plots: by a truck that brings whole loads, or in bags fetched by whole ways, or
    # both. Written out for scipy: kilograms by truck and bag, a trip of each; whole loads, bags and ways.
    random = np.random.default_rng(seed)
    number = int(random.integers(3, 6))
    kg = np.round(random.uniform(300, 9000, number))
    load_kg, haul_kg, bag_kg = float(random.choice([5000, 10_000])), 1000.0, 25.0
    load, way, bulk_kg, bag_price = (
        100.0,
        float(random.choice([10, 25])),
        0.02,
        float(random.choice([1.5, 2.5])),
    )
    by_truck, by_hand = 20.0, 8.0
    n = number
    # columns: truck kg, bag kg, truck trip, hand trip (n each), loads, bags, ways
    cost = np.array([*[bulk_kg] * n, *[0.0] * n, *[by_truck] * n, *[by_hand] * n, load, bag_price, way])
    rows, low, high = [], [], []
    for p in range(n):
        row = np.zeros(4 * n + 3)
        row[p] = row[n + p] = 1
        rows.append(row)
        low.append(kg[p])
        high.append(np.inf)
        for first, switch in ((p, 2 * n + p), (n + p, 3 * n + p)):
            row = np.zeros(4 * n + 3)
            row[first], row[switch] = 1, -kg[p] - bag_kg
            rows.append(row)
            low.append(-np.inf)
            high.append(0)
    for members, column, size in (
        (range(n), 4 * n, load_kg),
        (range(n, 2 * n), 4 * n + 1, bag_kg),
    ):
        row = np.zeros(4 * n + 3)
        row[list(members)], row[column] = 1, -size
        rows.append(row)
        low.append(-np.inf)
        high.append(0)
    row = np.zeros(4 * n + 3)
    row[4 * n + 1], row[4 * n + 2] = bag_kg, -haul_kg
    rows.append(row)
    low.append(-np.inf)
    high.append(0)
    whole = np.array([0] * 2 * n + [1] * 2 * n + [1] * 3)
    upper = np.array([np.inf] * 2 * n + [1] * 2 * n + [np.inf] * 3)
    found = milp(
        cost,
        integrality=whole,
        bounds=Bounds(0, upper),
        constraints=LinearConstraint(np.array(rows), low, high),
        options={"mip_rel_gap": 1e-9},
    )
    truck = Machine("truck", Decimal(str(by_truck)), load_kg=load_kg, cost_per_load=Decimal(100))
    terms = Terms(
        machines=(truck, Machine("spreader", Decimal(str(by_hand)))),
        cost_per_haul=Decimal(str(way)),
        haul_kg=haul_kg,
        gap=1e-6,
    )
    plots = limed(*((f"p{place}", float(mass)) for place, mass in enumerate(kg)))
    offers = [bag("lime", "20", 1000.0, divisible=True), bag("pellets", f"{bag_price}", bag_kg)]
    plan = make_plan(plots, [TRUCKED, PELLETS], offers, terms)
    assert float(plan.total_cost) == pytest.approx(found.fun, abs=0.05)  # each amount of bulk to the cent
