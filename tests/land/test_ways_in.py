"""Drawn ways: which of them lead to a plot, and what on them stops a vehicle. Places laid out in metres.

The opening must be 0.6 m wider than the vehicle (FAO, Farm structures in tropical climates, Vehicle access to
farmsteads).
"""

from __future__ import annotations

import pytest
import shapely
from places import Corner, place, square

from loamwright.land.records import KeepOut, Plot, Way
from loamwright.land.ways_in import WaysIn


def line(*corners: Corner) -> shapely.LineString:
    return shapely.LineString([place(corner) for corner in corners])


def point(east: float, north: float) -> shapely.Point:
    return shapely.Point(place((east, north)))


# A track runs east from the loading place at 0; a bridge at 200 m bears 700 kg; beyond it lies plot "far". A
# plot "near" lies by the track before it; "away" by no track. A path 3 m wide leads off to "side".
FAR, NEAR, SIDE, AWAY = (
    Plot("far", "far", square(40, 400, 0)),
    Plot("near", "near", square(40, 100, 5)),
    Plot("side", "side", square(40, 150, -180)),
    Plot("away", "away", square(40, 1000, 1000)),
)
PLOTS = (FAR, NEAR, SIDE, AWAY)
TRACK = Way("T", "track", line((0, 0), (400, 0)), width_m=4.0)
BRIDGE = Way("B", "bridge", point(200, 0), "plank bridge", load_limit_kg=700.0)
PATH = Way("P", "track", line((150, 0), (150, -180)), width_m=3.0)
LOADING = Way("L", "loading place", point(0, 0))
GATE = Way("G", "gate", point(0, 0), width_m=3.6)


@pytest.mark.parametrize(
    ("plot", "load_kg", "width_m", "stopped_by"),
    [
        ("far", 180.0, 1.2, None),
        ("far", 5000.0, 2.4, "B"),  # 5,000 over 700
        ("near", 5000.0, 2.4, None),  # the bridge is behind it
        ("near", 180.0, 3.5, "T"),  # 3.5 + 0.6 over 4.0
        ("side", 180.0, 2.4, None),  # 2.4 + 0.6 is 3.0
        ("side", 180.0, 2.5, "P"),
        ("side", 5000.0, 2.4, None),
        ("away", 5000.0, 3.5, None),  # no drawn way: not judged here
        ("far", None, None, None),  # nothing stated of the vehicle
    ],
)
def test_what_stops_a_vehicle(
    plot: str, load_kg: float | None, width_m: float | None, stopped_by: str | None
) -> None:
    stop = WaysIn((TRACK, BRIDGE, PATH, LOADING), PLOTS).stop(plot, load_kg, width_m)
    assert (None if stop is None else stop.way.way_id) == stopped_by
    if stopped_by is not None:
        assert stop is not None
        assert stop.by_load is (stopped_by == "B")


def test_another_way_round_is_found() -> None:
    # round by the south to the far plot, without the bridge
    round_by = Way("R", "track", line((100, 0), (100, -100), (400, -100), (400, -4)))
    assert WaysIn((TRACK, BRIDGE, LOADING, round_by), PLOTS).stop("far", 5000.0, 2.4) is None


def test_without_a_loading_place_one_comes_in_by_the_gates() -> None:
    net = WaysIn((TRACK, GATE), PLOTS)
    assert net.stop("near", 5000.0, 2.4) is None
    stop = net.stop("near", 5000.0, 3.1)  # 3.1 + 0.6 over the gate's 3.6, not over the track's 4.0
    assert stop is not None
    assert stop.way.way_id == "G"


def test_nothing_is_said_without_a_start_or_a_track() -> None:
    assert WaysIn((TRACK, BRIDGE), PLOTS).stop("far", 5000.0, 9.0) is None
    assert WaysIn((BRIDGE, LOADING), PLOTS).stop("far", 5000.0, 9.0) is None
    assert WaysIn((), ()).stop("far", 5000.0, 9.0) is None


def test_what_is_not_stated_of_a_way_stops_nobody() -> None:
    plain = Way("T", "track", TRACK.shape)
    assert WaysIn((plain, LOADING), PLOTS).stop("far", 50_000.0, 9.0) is None


def test_how_far_it_is_between_plots_along_the_ways() -> None:
    """The track is 5 m from "near", so within 10 m of it √(10² − 5²) = 8.66 m past its corner, to 148.66 m.
    It comes within 10 m of "far" at 390 m, and the path of "side", 150 m along, does 130 m down.
    """
    net = WaysIn((TRACK, BRIDGE, PATH, LOADING), PLOTS)
    names = [plot.plot_id for plot in PLOTS]
    near = net.lengths_m(names, 180.0, 1.2)
    assert near["near", "far"] == near["far", "near"] == pytest.approx(390 - 148.66, abs=0.3)
    assert near["near", "side"] == pytest.approx(150 - 148.66 + 130, abs=0.3)
    assert near["far", "side"] == pytest.approx(390 - 150 + 130, abs=0.3)
    assert not any("away" in pair for pair in near)
    # over the bridge of 700 kg goes no load of 5,000 kg
    assert set(net.lengths_m(names, 5000.0)) == {("near", "side"), ("side", "near")}


def test_a_straight_line_over_a_keep_out_is_named() -> None:
    creek = KeepOut("K-1", "Creek", "creek", line((250, -50), (250, 50)))
    pond = KeepOut("K-2", "", "pond", square(10, 300, 20))
    net = WaysIn((), PLOTS, (creek, pond))
    assert net.crossed("near", "far") == ("Creek", "K-2")  # from (120, 25) to (420, 20)
    assert net.crossed("near", "side") == ()
