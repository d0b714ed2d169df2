"""Core points: the number asked for, inside, spread evenly, walkable, and the same every time."""

from __future__ import annotations

from itertools import pairwise

import pytest
import shapely
from places import HOME, box, polygon
from shapely.geometry import LineString, Point

from loamwright.land.cores import sampling_points, usable_edge_m
from loamwright.land.geometry import Plane

PLANE = Plane(*HOME)


def lonlat(flat: shapely.Geometry) -> bytes:
    return PLANE.unflatten(flat)


def placed(flat: shapely.Geometry, cores: int, edge_m: float) -> list[Point]:
    points = sampling_points(lonlat(flat), cores, edge_m)
    return [PLANE.flatten(Point(point)) for point in points]


ROUND = Point(0, 0).buffer(70)
SHAPES = {
    "square": shapely.box(0, 0, 100, 100),
    "strip 8 m wide": shapely.affinity.rotate(shapely.box(0, 0, 200, 8), 33),
    "horseshoe": shapely.box(0, 0, 120, 100) - shapely.box(40, 30, 80, 101),
    "around a pond": ROUND - Point(5, 0).buffer(35),
    "two parts": shapely.union_all([shapely.box(0, 0, 80, 50), shapely.box(120, 20, 150, 50)]),
    "table top": shapely.box(0, 0, 2, 1),
    "bent": Point(0, 0).buffer(100) - Point(0, -40).buffer(95) - shapely.box(-200, -200, 200, -10),
    "wedge": shapely.Polygon([(0, 0), (150, 10), (20, 60)]),
    "sickle tip": shapely.Polygon([(0, 0), (200, 1), (0, 2)]),
}


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("cores", [1, 2, 7, 20, 40])
def test_exactly_as_many_as_asked_inside_and_off_the_edge(name: str, cores: int) -> None:
    shape = SHAPES[name]
    points = placed(shape, cores, 6.0)
    assert len(points) == cores
    assert len({(round(p.x, 4), round(p.y, 4)) for p in points}) == cores
    edge = usable_edge_m(lonlat(shape), 6.0)
    assert 0 < edge <= 6.0
    assert all(shape.contains(point) for point in points)
    assert min(shape.boundary.distance(point) for point in points) >= edge - 0.01


@pytest.mark.parametrize("name", ["square", "horseshoe", "around a pond", "bent", "wedge"])
def test_the_walk_stays_on_the_plot(name: str) -> None:
    walk = LineString(placed(SHAPES[name], 20, 6.0))
    assert walk.difference(SHAPES[name]).length < 0.02 * walk.length


def test_two_parts_are_crossed_between_once_and_share_by_area() -> None:
    """80·50 and 30·30 m shrunk by 6 m all round: 68·38 = 2584 and 18·18 = 324, so 18 and 2 of 20."""
    points = placed(SHAPES["two parts"], 20, 6.0)
    west = [point.x < 100 for point in points]
    assert sum(west) == 18
    assert west == sorted(west, reverse=True)


def test_every_quarter_of_a_square_gets_its_share() -> None:
    points = placed(SHAPES["square"], 16, 5.0)
    quarters = [(point.x > 50, point.y > 50) for point in points]
    assert all(3 <= quarters.count(quarter) <= 5 for quarter in set(quarters))
    assert len(set(quarters)) == 4


def test_it_is_a_zig_zag() -> None:
    """On a strip 200 by 40 m with 12 cores, the walk goes along and turns across several times."""
    points = placed(shapely.box(0, 0, 200, 40), 12, 5.0)
    along = [point.x for point in points]
    assert along == sorted(along) or along == sorted(along, reverse=True)
    steps = [after.y - before.y for before, after in pairwise(points)]
    turns = sum(before * after < 0 for before, after in pairwise(steps))
    assert turns >= 5


def test_the_same_plot_gets_the_same_cores() -> None:
    shape = polygon(box(0, 0, 90, 60))
    turned_ring = shapely.Polygon([*shape.exterior.coords[2:-1], *shape.exterior.coords[:3]])
    first = sampling_points(shape, 15, 6.0)
    assert sampling_points(shape, 15, 6.0) == first
    other = sampling_points(turned_ring, 15, 6.0)
    assert shapely.hausdorff_distance(shapely.MultiPoint(first), shapely.MultiPoint(other)) < 1e-7


def test_the_edge_shrinks_only_where_there_is_no_room() -> None:
    """A strip w wide keeps w − 2e: at 8 m, 6 and 3 m leave nothing and 2 m, so 3 m is used."""
    assert usable_edge_m(lonlat(SHAPES["square"]), 6.0) == 6.0
    assert usable_edge_m(lonlat(shapely.box(0, 0, 200, 8)), 6.0) == 3.0
    assert usable_edge_m(lonlat(SHAPES["square"]), 0.0) == 0.0
    assert usable_edge_m(None, 6.0) == 6.0


def test_nothing_to_sample_and_impossible_wishes() -> None:
    assert sampling_points(None, 15, 6.0) == ()
    with pytest.raises(ValueError, match="cores is 0"):
        sampling_points(lonlat(SHAPES["square"]), 0, 6.0)
    with pytest.raises(ValueError, match="edge_m is -1"):
        sampling_points(lonlat(SHAPES["square"]), 5, -1.0)
    with pytest.raises(ValueError, match="edge_m is nan"):
        usable_edge_m(lonlat(SHAPES["square"]), float("nan"))
