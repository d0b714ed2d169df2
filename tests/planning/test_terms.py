"""What trips cost by the settings, the bands, and where a machine can go, by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from places import place, square
from shapely import LineString, Point

from loamwright.land.records import Plot, Way
from loamwright.land.ways_in import WaysIn
from loamwright.planning.inputs import Band
from loamwright.planning.records import Job
from loamwright.planning.targets import kept_off, reachable_machines, reachable_products
from loamwright.planning.terms import band_words, bands, handling, hours_words, machines
from loamwright.supplies.records import Form, Handled, Offer, Product
from loamwright.units import FT_M, HA_M2, MILE_M
from loamwright.values import Settings, Spreader, Supply, WorkRules

ATV = Spreader("ATV", 45.0, 180.0, 20 * FT_M, 5 * MILE_M / 3600, 0.65)
TRUCK = Spreader("truck", heavy=True)
LIME = Product("lime", Form.LIME, equipment=("truck",))
UREA = Product("urea", Form.DRY, equipment=("ATV",))


def plot(access: str = "", **reach: bool) -> Plot:
    return Plot("a", "A", b"", access=access, reach=reach)


def let_in(one: Plot, settings: Settings, widest_m: float = math.inf) -> frozenset[str] | None:
    return reachable_machines(settings, kept_off(one, settings, widest_m))


def test_an_hour_of_labour_is_counted_in_trips_acres_and_fills() -> None:
    # 20 ft × 5 mph × 0.65 / 8.25 = 7.879 acres an hour (Iowa State PM 696), 2.471 acres a hectare: 0.3136 h.
    # 12 $ an hour: 10 minutes a stop are 2 $, 5 minutes a fill 1 $.
    rules = WorkRules(labour_per_hour=Decimal(12))
    settings = Settings(spreading_cost_per_pass=Decimal(4), spreaders=(ATV,), work=rules)
    (machine,) = machines(settings)
    assert float(machine.cost_per_job) == pytest.approx(4 + 2)
    assert float(machine.cost_per_fill) == pytest.approx(1)
    hours = HA_M2 / 4046.8564224 / (20 * 5 * 0.65 / 8.25)
    assert machine.hours_per_ha == pytest.approx(hours, rel=1e-4)
    assert float(machine.cost_per_ha) == pytest.approx(12 * hours, rel=1e-4)


def test_a_spreaders_own_costs_come_before_the_propertys() -> None:
    own = Spreader("hired", cost_per_stop=Decimal(30), cost_per_ha=Decimal(15), fill_minutes=0.0)
    settings = Settings(
        spreading_cost_per_pass=Decimal(4), spreading_cost_per_ha=Decimal(9), spreaders=(own,)
    )
    (machine,) = machines(settings)
    assert (machine.cost_per_job, machine.cost_per_ha) == (30, 15)
    assert machine.hours_per_ha is None  # width and speed are not stated: no hours are told


def test_hours_are_told_by_what_they_go_into() -> None:
    """Three trips of 10 min: 0.5 h; 2 + 4 + 3 fills of 5 min: 0.75 h; the rest of 2.75 h is spreading."""
    settings = Settings(spreaders=(ATV, replace(ATV, name="boom", speed_m_s=None)))
    found = machines(settings)
    done = [Job(f"J{n}", "a", None, "ATV", (), 1, 1, Decimal(0), n, 2.75 / 3) for n in (2, 4, 3)]
    sprayed = Job("J9", "a", None, "boom", (), 1, 1, Decimal(0), 5, None)
    said = "about 3 h (0.5 h getting to the plots, 1.5 h spreading, 0.8 h filling)"
    assert hours_words(done, found) == said
    assert (
        hours_words([*done, sprayed], found)
        == f"{said}; no time for 1 trip with boom: its pace is not stated"
    )
    assert hours_words([], found) == ""


def test_handling_goes_by_how_it_gets_into_the_hopper() -> None:
    """Bags 20 a tonne, shovelled 30, by auger 4, nothing for what the seller's truck brings and spreads."""
    rates = {"bag": "0.020", "bulk shovelled": "0.030", "bulk by auger": "0.004"}
    spreaders = (ATV, replace(TRUCK, cost_per_load=Decimal(100)))
    settings = Settings(
        spreaders=spreaders,
        work=WorkRules(handling_per_kg={kind: Decimal(rate) for kind, rate in rates.items()}),
    )
    price = Decimal(1)
    offers = (
        Offer("bagged", "urea", "50 lb bag", 22.7, price),
        Offer("heap", "urea", "1 ton bulk", 907.2, price, True),
        Offer("bin", "urea", "1 ton bulk", 907.2, price, True, handled=Handled.AUGER),
        Offer("stone", "lime", "1 ton bulk", 907.2, price, True),
        Offer("dumped", "lime", "1 ton bulk", 907.2, price, True, handled=Handled.SHOVELLED),
    )
    assert handling(offers, (UREA, LIME), settings) == {
        "bagged": Decimal("0.020"),
        "heap": Decimal("0.030"),
        "bin": Decimal("0.004"),
        "dumped": Decimal("0.030"),
    }
    own_truck = replace(settings, spreaders=(ATV, TRUCK))  # one that is not said to bring loads is theirs
    assert handling(offers, (UREA, LIME), own_truck)["stone"] == Decimal("0.030")


def test_the_users_band_comes_before_ours() -> None:
    settings = Settings(work=WorkRules(bands={"N": (0.9, 1.05)}))
    found = bands([Supply.N, Supply.K2O, Supply.LIME_ENP, Supply.B], settings)
    assert found == {
        Supply.N: Band(0.9, 1.05),
        Supply.K2O: Band(0.95, 1.1),
        Supply.LIME_ENP: Band(0.95, 1.1),
    }


def test_a_plots_band_comes_before_the_propertys() -> None:
    settings = Settings(work=WorkRules(bands={"N": (0.9, 1.05), "*": (0.85, 1.15)}))
    asked = [Supply.N, Supply.K2O, Supply.B]
    named = bands(asked, settings, {"N": (1.0, 1.0)})
    assert named == {
        Supply.N: Band(1.0, 1.0),
        Supply.K2O: Band(0.85, 1.15),
        Supply.B: Band(0.85, 1.15),
    }
    every = bands(asked, settings, {"*": (0.8, 1.2), "B": (1.0, 1.0)})
    assert every == {
        Supply.N: Band(0.8, 1.2),
        Supply.K2O: Band(0.8, 1.2),
        Supply.B: Band(1.0, 1.0),
    }


def test_a_heavy_machine_goes_only_where_reach_says_yes() -> None:
    settings = Settings(spreaders=(ATV, TRUCK))
    assert let_in(plot(), settings) == {"ATV"}
    assert let_in(plot(truck=True), settings) == {"ATV", "truck"}
    assert let_in(plot(ATV=False), settings) == set()
    assert let_in(plot("truck from the road"), settings) == {"truck"}
    assert let_in(plot(), Settings()) is None
    assert reachable_products([LIME, UREA], let_in(plot(), settings)) == {"urea"}
    assert reachable_products([LIME, UREA], let_in(plot(ATV=False), settings)) == set()
    assert reachable_products([LIME, UREA], let_in(plot(), Settings())) == {"lime", "urea"}
    anywhere = Product("seed coat", Form.DRY)  # names no equipment: any machine that gets there
    assert reachable_products([anywhere], let_in(plot(), settings)) == {"seed coat"}
    assert reachable_products([anywhere], let_in(plot(ATV=False), settings)) == set()


def test_a_load_heavier_than_the_way_carries_stays_off_whatever_reach_says() -> None:
    # 12,000 kg, 26,455 lb, of load alone are over a bridge for 5,000 kg, 11,023 lb; what the truck
    # itself weighs comes on top
    truck = Spreader("truck", vehicle_kg=12_000.0, heavy=True)
    bridge = replace(plot(truck=True), weight_limit_kg=5_000.0)
    settings = Settings(spreaders=(ATV, truck))
    assert let_in(bridge, settings) == {"ATV"}
    assert kept_off(bridge, settings) == {
        "truck": "its load of 26,455 lb is more than the 11,023 lb the way carries"
    }
    assert let_in(replace(bridge, weight_limit_kg=13_000.0), settings) == {"ATV", "truck"}


def test_a_swath_wider_than_the_plot_stays_off_unless_reach_says_yes() -> None:
    # a trail 5 m wide; the ATV throws 20 ft, 6.1 m, the hand spreader 8 ft
    hand = Spreader("hand", swath_m=8 * FT_M)
    settings = Settings(spreaders=(ATV, hand))
    assert let_in(plot(), settings, widest_m=5.0) == {"hand"}
    assert kept_off(plot(), settings, widest_m=5.0) == {
        "ATV": "it spreads 20 ft wide and the plot is 16 ft at its widest"
    }
    assert let_in(plot(ATV=True), settings, widest_m=5.0) == {"ATV", "hand"}


def test_why_a_machine_stays_off_is_told() -> None:
    settings = Settings(spreaders=(ATV, TRUCK))
    assert kept_off(plot(ATV=False), settings) == {
        "ATV": "the plot's reach says no",
        "truck": "it is heavy, and the plot's reach does not say yes",
    }
    assert kept_off(plot("truck from the road"), settings) == {"ATV": "the access note names truck only"}
    assert kept_off(plot(), Settings()) == {}


def test_the_bands_are_said_with_their_size() -> None:
    named = bands([Supply.N, Supply.P2O5, Supply.K2O, Supply.B, Supply.LIME_ENP], Settings())
    assert band_words(named, Settings()) == (
        "A need counts as met from 95 to 100 % of it (N), from 95 to 110 % (P2O5, K2O, lime ENP). "
        "The bands are ours: no published one was found; set your own under `bands` in the settings or of a "
        "plot."
    )
    own = Settings(work=WorkRules(bands={"*": (0.9, 1.2)}))
    assert band_words(bands([Supply.N], own), own) == "A need counts as met from 90 to 120 % of it (N)."
    assert band_words({}, own) == ""
    on_plots = {"b": {"N": (1.0, 1.0), "*": (0.8, 1.2)}, "c": {}}
    assert band_words(bands([Supply.N], own), own, on_plots) == (
        "A need counts as met from 90 to 120 % of it (N). Some plots have bands of their own: "
        "b N from 100 to 100 %, everything from 80 to 120 %."
    )


def test_drawn_ways_stop_a_spreader_whatever_reach_says() -> None:
    # a bridge of 700 kg, 1,543 lb, between the loading place and the plot; the truck carries 12,000 kg
    at = [place(corner) for corner in ((0, 0), (200, 0), (400, 0))]
    ways = (
        Way("T", "track", LineString((at[0], at[2])), "lane", width_m=3.0),
        Way("B", "bridge", Point(at[1]), "plank bridge", load_limit_kg=700.0),
        Way("L", "loading place", Point(at[0])),
    )
    field = Plot("a", "A", square(40, 400, 0), reach={"truck": True})
    net = WaysIn(ways, [field])
    truck, wide = replace(TRUCK, vehicle_kg=12_000.0), replace(ATV, width_m=2.5)
    off = kept_off(field, Settings(spreaders=(truck, ATV, wide)), ways=net)
    assert off["truck"] == "its load of 26,455 lb is more than the 1,543 lb that the plank bridge carries"
    # 2.5 m and the 0.6 m an opening must be wider make 3.1; the one that states no width is not judged
    assert off["ATV"] == "it is 8.2 ft wide, and the track lane of 9.8 ft must be 2 ft wider"
    assert kept_off(field, Settings(spreaders=(ATV,)), ways=net) == {}


def test_a_spreader_wider_than_the_plots_way_in_stays_off() -> None:
    settings = Settings(spreaders=(replace(ATV, width_m=1.2),))
    narrow, wide = replace(plot(ATV=True), narrowest_m=1.7), replace(plot(), narrowest_m=1.8)
    assert kept_off(narrow, settings, units="metric") == {
        "ATV": "it is 1.2 m wide, and the way in 1.7 m at its narrowest must be 0.6 m wider"
    }
    assert kept_off(wide, settings) == {}
