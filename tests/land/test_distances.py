"""Distances from plots to keep-outs, against geodesic lines laid with pyproj."""

from __future__ import annotations

import pytest
import shapely
from pyproj import Geod

from loamwright.land.geometry import distances_m
from loamwright.land.records import KeepOut, Plot

GEOD = Geod(ellps="WGS84")
SQUARE = Plot("A1", "", shapely.box(-93.051, 46.050, -93.049, 46.051))


def keepout(shape: shapely.Geometry) -> KeepOut:
    return KeepOut("K1", "", "creek", shape)


@pytest.mark.parametrize("metres", [1.0, 91.44, 304.8])
def test_a_point_due_east_of_the_edge(metres: float) -> None:
    lon, lat, _ = GEOD.fwd(-93.049, 46.0505, 90.0, metres)
    gap = distances_m([SQUARE], [keepout(shapely.Point(lon, lat))])["A1", "K1"]
    assert gap == pytest.approx(metres, abs=1e-3)  # a plane true to parts per million at this size


def test_touching_and_crossing_are_no_distance() -> None:
    creek = shapely.LineString([(-93.06, 46.0505), (-93.04, 46.0505)])
    assert distances_m([SQUARE], [keepout(creek)])["A1", "K1"] == 0.0


def test_heights_do_not_matter() -> None:
    flat, high = shapely.Point(-93.0, 46.05), shapely.Point(-93.0, 46.05, 300.0)
    assert distances_m([SQUARE], [keepout(flat)]) == distances_m([SQUARE], [keepout(high)])


def test_nothing_to_measure() -> None:
    assert distances_m([], [keepout(shapely.Point(0, 0))]) == {}
    assert distances_m([SQUARE], []) == {}
