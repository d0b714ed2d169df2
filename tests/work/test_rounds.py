"""Calibration, loads, time and rounds against printed examples, hand arithmetic and brute force.

Printed answers stand in ``published/spreading_examples.csv`` (sources in ``lime_spreading_sources.csv``).
Rows marked *not here* print no figure to work out; the note says what they are about.
"""

from __future__ import annotations

import csv
import datetime as dt
import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import place, square
from shapely import LineString

from loamwright.errors import InputError
from loamwright.land.acreage import places_m
from loamwright.land.records import KeepOut, Plot, PlotArea, Way
from loamwright.land.ways_in import WaysIn
from loamwright.planning.records import PlanLine
from loamwright.supplies.costs import product_needed
from loamwright.supplies.records import Form, LimeLabel, Product
from loamwright.values import Nutrient, Spreader, Timing
from loamwright.words import spread_words
from loamwright.work.calibration import (
    COURSE_M2,
    TARP_SIDE_M,
    calibrate,
    catch_rate_kg_ha,
    course_length_m,
    flow_per_s,
    rate_at_speed,
    rate_per_ha,
    rate_per_pass,
    settings_to_try,
    tolerance_band,
)
from loamwright.work.records import Stop
from loamwright.work.rounds import (
    field_capacity_m2_s,
    ground_m2,
    plan_loads,
    plan_rounds,
    spreader_for,
    visiting_order,
)

PUBLISHED = Path(__file__).parents[1] / "published"

# Units by a pint registry of our own making and by definition, not by the program.
_PINT = pint.UnitRegistry()
ACRE_M2, LB_KG, FT_M, MPH_M_S = 4046.8564224, 0.45359237, 0.3048, 0.44704
LB_ACRE = LB_KG / ACRE_M2 * 10_000


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---------------------------------------------------------------------------------------------
# Printed answers

Inputs = dict[str, float]


def tarps_per_acre(inputs: Inputs) -> float:
    assert pytest.approx(inputs["side_in"] * 0.0254) == TARP_SIDE_M
    return ACRE_M2 / TARP_SIDE_M**2


def tons_from_sheet(inputs: Inputs) -> float:
    return catch_rate_kg_ha(inputs["lb"] * LB_KG, inputs["sqft"] * FT_M**2) / LB_ACRE / 2000


def product_rate(inputs: Inputs) -> float:
    return product_needed(
        Product("p", Form.DRY, {Nutrient.N: inputs["pct"]}), "N", inputs["lb_per_1000"]
    ).amount


def share_of_acre(inputs: Inputs) -> float:
    assert pytest.approx(ACRE_M2 / inputs["share"]) == COURSE_M2
    return COURSE_M2 / FT_M**2


def course_ft(inputs: Inputs) -> float:
    return course_length_m(inputs["width_in"] * 0.0254, inputs["sqft"] * FT_M**2) / FT_M


def gal_per_acre(inputs: Inputs) -> float:
    flow = _PINT.Quantity(inputs["gpm"], "gallon/minute").m_as("m**3/s")
    m3_ha = rate_per_ha(flow, inputs["width_in"] * 0.0254, inputs["mph"] * MPH_M_S)
    return _PINT.Quantity(m3_ha * ACRE_M2 / 10_000, "m**3").m_as("gallon")


def gal_per_min(inputs: Inputs) -> float:
    m3_ha = _PINT.Quantity(inputs["gal_per_acre"], "gallon").m_as("m**3") / ACRE_M2 * 10_000
    flow = flow_per_s(m3_ha, inputs["width_in"] * 0.0254, inputs["mph"] * MPH_M_S)
    return _PINT.Quantity(flow, "m**3/s").m_as("gallon/minute")


def load_rate(inputs: Inputs) -> float:
    width_m = inputs["width_ft"] * FT_M * (1 - inputs["overlap_pct"] / 100)
    return catch_rate_kg_ha(inputs["lb"] * LB_KG, inputs["distance_ft"] * FT_M * width_m) / LB_ACRE


def at_speed(inputs: Inputs) -> float:
    return rate_at_speed(inputs["rate"], inputs["tested_mph"] * MPH_M_S, inputs["driven_mph"] * MPH_M_S)


def over_pct(inputs: Inputs) -> float:
    return (rate_at_speed(1.0, inputs["tested_mph"], inputs["driven_mph"]) - 1) * 100


def acres_per_hour(inputs: Inputs) -> float:
    per_s = field_capacity_m2_s(
        inputs["width_ft"] * FT_M, inputs["mph"] * MPH_M_S, inputs["efficiency_pct"] / 100
    )
    return per_s * 3600 / ACRE_M2


KINDS: dict[str, Callable[[Inputs], float]] = {
    "tarp share of an acre": tarps_per_acre,
    "tons per acre from a sheet": tons_from_sheet,
    "product for a nutrient": product_rate,
    "rate per pass": lambda inputs: rate_per_pass(inputs["rate"], int(inputs["passes"])),
    "share of an acre": share_of_acre,
    "course length": course_ft,
    "rate from flow": gal_per_acre,
    "flow for a rate": gal_per_min,
    "rate from a load": load_rate,
    "rate at another speed": at_speed,
    "over-application": over_pct,
    "field capacity": acres_per_hour,
}
EXAMPLES = rows("spreading_examples.csv")


@pytest.mark.parametrize("row", [row for row in EXAMPLES if row["kind"] in KINDS], ids=lambda row: row["id"])
def test_printed_answer(row: dict[str, str]) -> None:
    inputs = {key: float(value) for key, value in (part.split("=") for part in row["inputs"].split("; "))}
    ours = KINDS[row["kind"]](inputs)
    decimals = len(row["exact"].partition(".")[2])
    assert ours == pytest.approx(float(row["exact"]), abs=0.5 * 10**-decimals * (1 + 1e-9))
    assert ours == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]) * (1 + 1e-9))


def test_the_printed_tolerance_band() -> None:
    """SX-09, UMass: a target of 5.00 lb is met from 4.75 to 5.25."""
    row = next(row for row in EXAMPLES if row["kind"] == "tolerance band")
    low, high = (float(part) for part in row["printed"].split(" to "))
    assert tolerance_band(5.00) == pytest.approx((low, high))


def test_every_example_is_worked_out_or_excused_and_its_source_spelled_out() -> None:
    named = {row["source"] for row in rows("lime_spreading_sources.csv")}
    for row in EXAMPLES:
        assert set(row["source"].split(";")) <= named
        assert (row["kind"] in KINDS or row["kind"] == "tolerance band") is (row["status"] == "ok")
        assert row["status"] == "ok" or row["note"]


def test_pounds_on_the_56_inch_tarp_are_tons_per_acre() -> None:
    """Iowa State: the tarp is 1/2,000 acre (1/2000.2 exactly)."""
    assert catch_rate_kg_ha(3 * LB_KG, TARP_SIDE_M**2) / LB_ACRE / 2000 == pytest.approx(3, rel=2e-4)


def test_ounces_on_the_course_are_gallons_per_acre() -> None:
    """LSU: 128 fluid ounces make a gallon, so 14 oz on 1/128 acre are 14 gal/acre."""
    m3_ha = _PINT.Quantity(14, "fluid_ounce").m_as("m**3") / COURSE_M2 * 10_000
    assert _PINT.Quantity(m3_ha * ACRE_M2 / 10_000, "m**3").m_as("gallon") == pytest.approx(14)


# ---------------------------------------------------------------------------------------------
# Calibration


@given(
    rate=st.floats(1, 1e4),
    swath=st.floats(0.5, 40),
    speed=st.floats(0.2, 8),
    other=st.floats(0.2, 8),
)
def test_rate_flow_and_speed_close_the_circle(rate: float, swath: float, speed: float, other: float) -> None:
    flow = flow_per_s(rate, swath, speed)
    assert rate_per_ha(flow, swath, speed) == pytest.approx(rate)
    assert rate_at_speed(rate, speed, other) == pytest.approx(rate_per_ha(flow, swath, other))
    # what falls on a measured run is the same rate
    seconds = 10 / speed
    assert catch_rate_kg_ha(flow * seconds, 10 * swath) == pytest.approx(rate)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: catch_rate_kg_ha(1, 0), "catch_area_m2: 0"),
        (lambda: catch_rate_kg_ha(-1, 2), "caught_kg: -1"),
        (lambda: catch_rate_kg_ha(math.nan, 2), "caught_kg: nan"),
        (lambda: rate_per_ha(1, -3, 1), "swath_m: -3"),
        (lambda: flow_per_s(1, 3, 0), "speed_m_s: 0"),
        (lambda: rate_at_speed(1, 1, 0), "driven_m_s: 0"),
        (lambda: rate_per_pass(1, 0), "passes: 0"),
        (lambda: course_length_m(0), "width_m: 0"),
        (lambda: field_capacity_m2_s(5, 2, 70), "efficiency: 70 is more than 1"),
        (lambda: settings_to_try((), "s", "p", 0), "target_kg_ha: 0"),
        (lambda: plan_loads(0, Spreader("s", 10)), "total_kg: 0"),
        (lambda: plan_loads(10, Spreader("s", -4)), "hopper_kg: -4"),
    ],
)
def test_impossible_figures_are_refused_by_name(call: Callable[[], object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        call()


def test_nothing_caught_is_a_rate_of_zero_not_a_fault() -> None:
    assert catch_rate_kg_ha(0, 2) == 0


def logged(setting: str, rate_lb_acre: float, day: int = 1, spreader: str = "ATV", product: str = "urea"):
    """A test whose rate is chosen by what was caught on 100 m2."""
    caught_kg = rate_lb_acre * LB_ACRE / 100
    on = dt.date(2026, 4, day)
    return calibrate(f"{setting}-{day}", spreader, product, setting, "A", on, caught_kg, 100.0, 6.0, 2.0)


def test_the_log_entry_carries_the_rate_that_follows() -> None:
    """2 lb on a 56 in tarp is 2 tons an acre."""
    entry = calibrate("1", "truck", "lime", "4", "A", dt.date(2026, 4, 1), 2 * LB_KG, TARP_SIDE_M**2)
    assert entry.rate_kg_ha / LB_ACRE / 2000 == pytest.approx(2, rel=2e-4)
    assert entry.swath_m is None


def test_no_setting_is_ever_invented() -> None:
    others = [logged("3", 80, spreader="drop spreader"), logged("3", 80, product="potash")]
    advice = settings_to_try(others, "ATV", "urea", 80 * LB_ACRE)
    assert advice.settings == ()
    assert "no test of ATV with urea is logged" in advice.advice


@given(rates=st.lists(st.floats(1, 500), min_size=1, max_size=6), target=st.floats(1, 500))
def test_only_logged_settings_are_suggested_nearest_first(rates: list[float], target: float) -> None:
    log = [logged(str(index), rate) for index, rate in enumerate(rates)]
    found = settings_to_try(log, "atv", "Urea", target * LB_ACRE).settings
    assert {item.calibration.setting for item in found} == {test.setting for test in log}
    off = [abs(item.off_fraction) for item in found]
    assert off == sorted(off)
    for item in found:
        # 5 % either way, UMass Extension
        assert (
            item.within_band is (abs(item.off_fraction) <= 0.05) or abs(abs(item.off_fraction) - 0.05) < 1e-9
        )


def test_a_setting_can_be_brought_to_the_target_by_speed() -> None:
    """100 lb/acre at 2 m/s; for 80 lb/acre drive 2 × 100 / 80 = 2.5 m/s at the same flow."""
    best = settings_to_try([logged("4", 100)], "ATV", "urea", 80 * LB_ACRE).settings[0]
    assert best.speed_m_s == pytest.approx(2.5)
    assert best.off_fraction == pytest.approx(0.25)
    assert best.within_band is False


@pytest.mark.parametrize(
    ("target", "words"),
    [
        (98, "setting 4 was within 5% of the target"),
        (80, "between settings 3 (less) and 4 (more)"),
        (150, "gives more than 4"),
        (40, "gives less than 3"),
    ],
)
def test_advice_in_words(target: float, words: str) -> None:
    log = [logged("3", 60), logged("4", 100)]
    assert words in settings_to_try(log, "ATV", "urea", target * LB_ACRE).advice


def test_the_newest_test_of_a_setting_counts() -> None:
    log = [logged("4", 90, day=20), logged("4", 120, day=3)]
    found = settings_to_try(log, "ATV", "urea", 90 * LB_ACRE)
    assert [item.calibration.tested_on.day for item in found.settings] == [20]


# ---------------------------------------------------------------------------------------------
# Loads


def pounds(**stated: float) -> Spreader:
    return Spreader("ATV", **{f"{name}_kg": value * LB_KG for name, value in stated.items()})


def test_loads_in_whole_bags() -> None:
    """470 lb in 50 lb bags; a hopper of 120 lb takes 2 bags (100 lb), so 5 fills, the last 70 lb; a
    vehicle of 420 lb takes 8 bags (400 lb), so 2 trips."""
    found = plan_loads(470 * LB_KG, pounds(hopper=120, vehicle=420), 50 * LB_KG, "50 lb bag")
    assert found is not None
    assert (found.fills, found.trips, found.packages_per_fill) == (5, 2, 2)
    assert found.fill_kg / LB_KG == pytest.approx(100)
    assert found.last_fill_kg / LB_KG == pytest.approx(70)
    assert [step.value for step in found.steps] == pytest.approx([100, 5, 2])


def test_bulk_and_bags_bigger_than_the_hopper_go_by_weight() -> None:
    bulk = plan_loads(470 * LB_KG, pounds(hopper=120))
    opened = plan_loads(470 * LB_KG, pounds(hopper=20), 50 * LB_KG)
    assert bulk is not None
    assert opened is not None
    assert (bulk.fills, bulk.trips, bulk.packages_per_fill) == (4, None, None)  # 470 / 120 = 3.9
    assert (opened.fills, opened.packages_per_fill) == (24, None)  # 470 / 20 = 23.5


def test_an_exact_number_of_fills_is_not_one_more() -> None:
    found = plan_loads(3 * 0.1 * 1000 * LB_KG, pounds(hopper=100))  # 0.1 × 3 is not quite 0.3
    assert found is not None
    assert found.fills == 3
    assert found.last_fill_kg / LB_KG == pytest.approx(100)


def test_only_the_vehicle_stated_is_a_fill_and_says_so() -> None:
    found = plan_loads(30 * 2000 * LB_KG, pounds(vehicle=24_000))
    assert found is not None
    assert (found.fills, found.trips) == (3, 3)
    assert found.steps[0].value == "one vehicle load"


def test_nothing_stated_nothing_worked_out() -> None:
    assert plan_loads(100, Spreader("ATV")) is None


@given(total=st.floats(1, 1e5), hopper=st.floats(5, 5000), bag=st.one_of(st.none(), st.floats(1, 2000)))
def test_fills_carry_the_whole_and_the_last_is_the_rest(
    total: float, hopper: float, bag: float | None
) -> None:
    found = plan_loads(total, Spreader("s", hopper), bag)
    assert found is not None
    assert found.fill_kg <= hopper * (1 + 1e-9)
    assert (found.fills - 1) * found.fill_kg + found.last_fill_kg == pytest.approx(total)
    assert -1e-6 < found.last_fill_kg <= found.fill_kg * (1 + 1e-6)


# ---------------------------------------------------------------------------------------------
# Order

Places = list[tuple[float, float]]
_places = st.lists(
    st.tuples(st.integers(-1000, 1000), st.integers(-1000, 1000)).map(lambda p: (float(p[0]), float(p[1]))),
    min_size=1,
    max_size=6,
    unique=True,
)


def length(places: Places, order: tuple[int, ...], start: tuple[float, float]) -> float:
    stops = [start, *(places[i] for i in order), start]
    return sum(math.hypot(a[0] - b[0], a[1] - b[1]) for a, b in itertools.pairwise(stops))


@settings(max_examples=60, deadline=None)
@given(_places)
def test_every_place_once_and_near_the_shortest(places: Places) -> None:
    """Against all orders by brute force. 2-opt is not proved shortest; a tenth over is our allowance."""
    order = visiting_order(places, (0.0, 0.0))
    assert sorted(order) == list(range(len(places)))
    best = min(length(places, other, (0.0, 0.0)) for other in itertools.permutations(range(len(places))))
    assert length(places, order, (0.0, 0.0)) <= best * 1.10 + 1e-6


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1, 359), min_size=4, max_size=25, unique=True), st.randoms(use_true_random=False))
def test_places_on_a_circle_are_visited_around_it(degrees: list[int], random) -> None:
    """The shortest way through points in convex position is around the hull (Flood 1956: an optimal tour
    does not cross itself)."""
    random.shuffle(degrees)
    places = [(500 * math.cos(math.radians(d)), 500 * math.sin(math.radians(d))) for d in degrees]
    visited = [degrees[i] for i in visiting_order(places, (500.0, 0.0))]
    assert visited in (sorted(degrees), sorted(degrees, reverse=True))


def test_the_same_places_give_the_same_order_and_no_place_none() -> None:
    places = [(0.0, 50.0), (10.0, 0.0), (0.0, 50.0), (90.0, 90.0)]  # two plots at one gate
    assert visiting_order(places) == visiting_order(places)
    assert sorted(visiting_order(places)) == [0, 1, 2, 3]
    assert visiting_order([]) == ()


def test_three_hundred_places_take_no_time_and_leave_no_crossing() -> None:
    places = [((i * 7919) % 1009 * 1.0, (i * 104729) % 1013 * 1.0) for i in range(300)]
    order = visiting_order(places, (0.0, 0.0))
    stops = [(0.0, 0.0), *(places[i] for i in order), (0.0, 0.0)]
    legs = list(itertools.pairwise(stops))
    for (a, b), (c, d) in itertools.combinations(legs, 2):
        # no exchange of two legs may shorten the tour: that is what 2-opt promises
        assert math.dist(a, b) + math.dist(c, d) <= math.dist(a, c) + math.dist(b, d) + 1e-5


def test_where_ways_are_drawn_the_order_goes_along_them() -> None:
    """Three spurs of 500 m, 60 m apart, go off one lane; each has a plot at 250 m and one at its end.

    In straight lines the ends lie together: along the three, then back along the three in the middle. On the
    ways that is 1060 + 1060 + 250 + 560 + 560 + 250 = 3740 m; spur by spur it is 250 + 810 + 250 + 810 +
    250 + 870 = 3240 m, the shortest of all orders.
    """
    spurs = [(60.0 * spur, up) for spur in range(3) for up in (250.0, 500.0)]
    along = {
        (i, j): abs(a[1] - b[1]) if a[0] == b[0] else a[1] + abs(a[0] - b[0]) + b[1]
        for (i, a), (j, b) in itertools.permutations(enumerate(spurs), 2)
    }

    def driven(order: tuple[int, ...]) -> float:
        return sum(along[leg] for leg in itertools.pairwise([*order, order[0]]))

    assert min(driven(order) for order in itertools.permutations(range(6))) == 3240
    assert driven(visiting_order(spurs)) > 3240
    assert driven(visiting_order(spurs, along_m=along)) == 3240


def test_the_way_is_along_the_drawn_ones_and_what_a_straight_line_crosses_is_said() -> None:
    """A lane runs 400 m east; plots of 40 m lie north of it, touching it, at 0 and 360 m, and one across the
    creek, 200 m south of the lane.

    The lane is by the first up to 10 m past it, 50 m, and by the second from 350 m: 300 m lie between.
    """
    plots = [
        Plot(name, name, square(40, *at))
        for name, at in (("P1", (0, 0)), ("P2", (360, 0)), ("P3", (0, -240)))
    ]
    lane = Way("T", "track", LineString([place((0, 0)), place((400, 0))]))
    creek = KeepOut("K", "Creek", "creek", LineString([place((-50, -100)), place((450, -100))]))
    net, places = WaysIn([lane], plots, [creek]), places_m(plots)
    lines = [line(plot.plot_id, "Urea 46-0-0", 50) for plot in plots]
    (joined,) = plan_rounds(lines[:2], AREAS, places, [UREA], [ATV], ways=net)
    way = {step.what: step.value for step in joined.steps if "way" in step.what}
    assert way == {
        "way between the stops and back, along the drawn ways": pytest.approx(600 / 1609.344, rel=2e-3)
    }
    (across,) = plan_rounds([lines[0], lines[2]], AREAS, places, [UREA], [ATV], ways=net)
    way = {step.what: step.value for step in across.steps if "way" in step.what}
    straight = way.pop("way between the stops and back, in straight lines")
    assert straight == pytest.approx(480 / 1609.344, rel=5e-3)
    assert way == {
        "no drawn way from P1 to P3, and the straight line crosses": "Creek: cross only where one may"
    }


# ---------------------------------------------------------------------------------------------
# Rounds

ATV = Spreader(
    "ATV spreader", 100 * LB_KG, 400 * LB_KG, swath_m=20 * FT_M, speed_m_s=5 * MPH_M_S, field_efficiency=0.65
)
TRUCK = Spreader("lime truck", vehicle_kg=12 * 2000 * LB_KG)
UREA = Product("Urea 46-0-0", Form.DRY, {Nutrient.N: 46}, equipment=("drop spreader", "atv spreader"))
AG_LIME = Product("Ag lime", Form.LIME, lime=LimeLabel(enp_lb_per_ton=1100), equipment=("lime truck",))
POTASH = Product("Potash 0-0-60", Form.DRY, {Nutrient.K2O: 60})
PLACES = {"P1": (300.0, 0.0), "P2": (100.0, 0.0), "P3": (200.0, 0.0)}


def line(
    plot: str, product: str, lb: float, timing: Timing | None = None, bag_lb: float | None = 50
) -> PlanLine:
    packages = None if bag_lb is None else lb / bag_lb
    name = "" if bag_lb is None else f"{bag_lb:g} lb bag"
    return PlanLine(
        f"{plot}-{product}", plot, product, timing, 1.0, lb * LB_KG, packages, name
    )  # on all of it


def area(plot: str, acres: float) -> PlotArea:
    return PlotArea(plot, acres * ACRE_M2, acres * ACRE_M2, 1.0, None)


AREAS = {plot: area(plot, acres) for plot, acres in (("P1", 1.3), ("P2", 0.9), ("P3", 2.5))}
UREA_LINES = [line("P1", "Urea 46-0-0", 250), line("P2", "Urea 46-0-0", 130), line("P3", "Urea 46-0-0", 90)]


def test_a_round_by_hand() -> None:
    """From (0, 0) along a line: P2, P3, P1. 130 + 90 + 250 = 470 lb in fills of 100 lb (two 50 lb bags):
    5 fills, the last 70 lb; trips of 400 lb: 2. P2 starts in fill 1 and leaves 400 − 130 = 270 lb on the
    vehicle; P3 starts at 130 lb, fill 2, leaves 180; P1 starts at 220 lb, fill 3, leaves none.
    4.7 acres at 20 ft × 5 mph × 0.65 / 8.25 = 7.879 acres an hour take 0.5965 h. Way: 300 m and back."""
    (found,) = plan_rounds(UREA_LINES, AREAS, PLACES, [UREA], [ATV], (0.0, 0.0))
    assert [stop.plot_id for stop in found.stops] == ["P2", "P3", "P1"]
    assert [stop.load for stop in found.stops] == [1, 2, 3]
    assert [stop.left_on_vehicle_kg / LB_KG for stop in found.stops] == pytest.approx([270, 180, 0], abs=1e-9)
    assert (found.loads, found.trips) == (5, 2)
    assert found.last_load_kg is not None
    assert found.last_load_kg / LB_KG == pytest.approx(70)
    assert found.hours == pytest.approx(4.7 / (20 * 5 * 0.65 / 8.25), rel=1e-9)
    assert found.spreader == "ATV spreader"
    assert found.title == "Urea 46-0-0, any time, ATV spreader"
    way = next(step for step in found.steps if step.unit == "miles")
    assert way.value == pytest.approx(600 / 1609.344)
    assert [stop.line_id for stop in found.stops] == ["P2-Urea 46-0-0", "P3-Urea 46-0-0", "P1-Urea 46-0-0"]


def test_rounds_group_by_product_timing_and_spreader_in_calendar_order_lime_first() -> None:
    lines = [
        line("P1", "Urea 46-0-0", 50, Timing.TOPDRESS),
        line("P1", "Urea 46-0-0", 50, Timing.AT_PLANTING),
        line("P2", "Urea 46-0-0", 50, Timing.AT_PLANTING),
        line("P1", "Potash 0-0-60", 50),
        line("P1", "Ag lime", 4000, Timing.AT_PLANTING, None),
    ]
    found = plan_rounds(lines, AREAS, PLACES, [UREA, POTASH, AG_LIME], [ATV, TRUCK])
    assert [(item.product, item.timing, item.spreader, len(item.stops)) for item in found] == [
        ("Ag lime", Timing.AT_PLANTING, "lime truck", 1),
        ("Urea 46-0-0", Timing.AT_PLANTING, "ATV spreader", 2),
        ("Urea 46-0-0", Timing.TOPDRESS, "ATV spreader", 1),
        ("Potash 0-0-60", None, "", 1),
    ]
    assert len({item.round_id for item in found}) == 4
    assert found == plan_rounds(lines, AREAS, PLACES, [UREA, POTASH, AG_LIME], [ATV, TRUCK])


def test_the_first_spreader_named_that_the_property_has() -> None:
    assert spreader_for(UREA, [TRUCK, ATV]) is ATV  # "drop spreader" is named first but not owned
    drop = Spreader("Drop spreader")
    assert spreader_for(UREA, [ATV, drop]) is drop  # the label's order, not the property's
    assert spreader_for(POTASH, [ATV]) is None  # names none
    assert spreader_for(AG_LIME, [ATV]) is None
    assert spreader_for(None, [ATV]) is None


def test_what_is_not_stated_stays_unknown() -> None:
    (found,) = plan_rounds([line("P1", "Potash 0-0-60", 50)], AREAS, PLACES, [POTASH], [ATV])
    assert (found.loads, found.trips, found.last_load_kg, found.hours) == (None, None, None, None)
    assert found.stops[0].left_on_vehicle_kg is None
    (limed,) = plan_rounds([line("P1", "Ag lime", 50_000, None, None)], AREAS, PLACES, [AG_LIME], [TRUCK])
    assert (limed.loads, limed.trips, limed.hours) == (3, 3, None)  # 25 tons in 12 ton loads


def test_a_plot_without_a_place_comes_last_and_is_named() -> None:
    lines = [line("lost", "Urea 46-0-0", 50), *UREA_LINES]
    (found,) = plan_rounds(lines, AREAS, PLACES, [UREA], [ATV], (0.0, 0.0))
    assert found.stops[-1].plot_id == "lost"
    assert found.hours is None  # its area is not known either
    assert any("lost" in str(step.value) for step in found.steps)


def test_mixed_packages_are_carried_by_weight() -> None:
    lines = [line("P1", "Urea 46-0-0", 120), line("P2", "Urea 46-0-0", 30, bag_lb=40)]
    (found,) = plan_rounds(lines, AREAS, PLACES, [UREA], [Spreader("ATV spreader", 120 * LB_KG)])
    assert found.loads == 2  # 150 lb in 120 lb, no whole bags to count in


def test_nothing_to_spread_is_no_round() -> None:
    assert plan_rounds([], AREAS, PLACES, [UREA], [ATV]) == ()
    assert plan_rounds([line("P1", "Urea 46-0-0", 0)], AREAS, PLACES, [UREA], [ATV]) == ()


@settings(max_examples=60, deadline=None)
@given(masses=st.lists(st.floats(0.5, 900), min_size=1, max_size=12), hopper=st.floats(10, 300))
def test_every_pound_is_carried_and_loads_only_go_up(masses: list[float], hopper: float) -> None:
    lines = [line(f"P{i}", "Urea 46-0-0", lb, bag_lb=None) for i, lb in enumerate(masses)]
    places = {f"P{i}": (float(i * i % 17), float(i)) for i in range(len(masses))}
    (found,) = plan_rounds(lines, {}, places, [UREA], [Spreader("ATV spreader", hopper * LB_KG)])
    assert sum(stop.mass_kg for stop in found.stops) == pytest.approx(sum(masses) * LB_KG)
    loads = [stop.load for stop in found.stops]
    assert loads == sorted(loads)
    assert found.loads == math.ceil(sum(masses) / hopper - 1e-9)
    assert loads[-1] <= found.loads
    left = [stop.left_on_vehicle_kg for stop in found.stops]
    assert all(kg is not None and -1e-9 <= kg <= hopper * LB_KG * (1 + 1e-9) for kg in left)
    assert left[-1] == pytest.approx(0, abs=1e-6)


def test_what_goes_on_the_rest_of_a_plot_is_said_and_timed_with_its_acres() -> None:
    # 100 lb at 50 lb/acre go on 2 acres of the plot's 5
    stop = Stop("a", "L1", "urea", 100 * LB_KG, None, "", 50 * LB_ACRE)
    areas = {"a": SimpleNamespace(spread_area_m2=5 * ACRE_M2)}
    assert ground_m2(stop, areas) == pytest.approx(2 * ACRE_M2)  # type: ignore[arg-type]
    words = spread_words(stop.mass_kg, stop.rate_kg_ha, 5 * ACRE_M2, "us")
    assert words == "50 lb/acre on the rest, 2.00 acres"
    assert spread_words(250 * LB_KG, stop.rate_kg_ha, 5 * ACRE_M2, "us") == "50 lb/acre"
    none = replace(stop, rate_kg_ha=0.0)
    assert ground_m2(none, areas) == 5 * ACRE_M2  # type: ignore[arg-type]
