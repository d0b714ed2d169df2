"""What drawing does to plots, held against what any way of drawing keeps and sizes known by hand."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given
from hypothesis import strategies as st
from places import place
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from loamwright import land
from loamwright.errors import InputError

EARTH = Geodesic.WGS84
#: A plot of 0.002° at 46° N, about 155 m by 222 m, with a bite.
PLOT = Polygon(
    [
        (-93.05, 46.05),
        (-93.048, 46.05),
        (-93.048, 46.052),
        (-93.049, 46.0512),
        (-93.05, 46.052),
        (-93.05, 46.05),
    ]
)


BOW = Polygon([(-93.0495, 46.0505), (-93.049, 46.051), (-93.049, 46.0505), (-93.0495, 46.051)])


def area(shape: shapely.Geometry) -> float:
    return float(land.areas_m2([shape])[0])


def known_area(shape: Polygon) -> float:
    """Geodesic area by another library (GeographicLib)."""
    ring = EARTH.Polygon()
    for lon, lat in list(shape.exterior.coords)[:-1]:
        ring.AddPoint(lat, lon)
    return abs(ring.Compute(False, True)[2])


bearing = st.floats(0, math.pi)
offset = st.floats(-0.0004, 0.0004)


@given(bearing, offset, offset)
def test_a_split_keeps_every_square_metre_and_shares_its_corners(angle: float, dx: float, dy: float) -> None:
    middle = (-93.049 + dx, 46.0505 + dy)
    far = (0.01 * math.cos(angle), 0.01 * math.sin(angle))
    line = LineString([(middle[0] - far[0], middle[1] - far[1]), (middle[0] + far[0], middle[1] + far[1])])
    assume(PLOT.contains(Point(middle)))
    pieces = land.split(PLOT, line)
    assert shapely.coverage_is_valid(list(pieces))
    # A corner put on the chord of an east-west edge of length L leaves out ground of at most
    # 2/3 L · L² tan φ / 8R = 2/3 · 155 · 155² · 1.04 / (8 · 6.37e6) = 0.05 m² (a parallel's sagitta).
    assert sum(map(area, pieces)) == pytest.approx(area(PLOT), abs=0.06)
    again = land.merge(pieces)
    assert isinstance(again, Polygon)
    assert area(again) == pytest.approx(area(PLOT), abs=0.06)


def test_a_split_by_halves() -> None:
    """A box of 0.002° by 0.002° cut along its meridian: each half as GeographicLib measures it."""
    plot, line = box(-93.05, 46.05, -93.048, 46.052), LineString([(-93.049, 46.049), (-93.049, 46.053)])
    pieces = land.split(plot, line)
    assert len(pieces) == 2
    for piece in pieces:
        assert area(piece) == pytest.approx(known_area(piece), rel=1e-7)
    assert area(pieces[0]) == pytest.approx(area(pieces[1]), rel=1e-6)


def test_a_line_that_stops_a_little_short_is_carried_on_and_one_that_misses_is_refused() -> None:
    plot = box(-93.05, 46.05, -93.048, 46.052)
    # 0.0002° of longitude are about 15 m here, less than the 25 m a line is carried on.
    short = LineString([(-93.0498, 46.051), (-93.0482, 46.051)])
    assert len(land.split(plot, short)) == 2
    half = LineString([(-93.0495, 46.051), (-93.049, 46.051)])
    with pytest.raises(InputError, match="does not cross the plot from edge to edge"):
        land.split(plot, half)
    with pytest.raises(InputError, match="does not cross"):
        land.split(plot, LineString([(-93.06, 46.0), (-93.06, 46.1)]))


def test_a_part_the_line_leaves_alone_stays_with_the_largest_piece() -> None:
    plot = MultiPolygon([box(-93.05, 46.05, -93.048, 46.052), box(-93.046, 46.05, -93.045, 46.051)])
    pieces = land.split(plot, LineString([(-93.0493, 46.049), (-93.0493, 46.053)]))
    assert len(land.as_geojson(pieces[0])["coordinates"]) == 2
    assert sum(map(area, pieces)) == pytest.approx(area(plot), abs=0.02)


def test_a_hole_and_a_bite() -> None:
    plot, ring = box(-93.05, 46.05, -93.048, 46.052), box(-93.0495, 46.0505, -93.049, 46.051)
    left = land.cut_hole(plot, ring)
    assert len(left.interiors) == 1
    assert area(left) == pytest.approx(known_area(plot) - known_area(ring), rel=1e-7)
    over = box(-93.051, 46.051, -93.0495, 46.0515)
    bitten = land.cut_hole(plot, over)
    assert len(bitten.interiors) == 0
    assert area(bitten) == pytest.approx(area(plot) - area(plot.intersection(over)), abs=0.02)


@pytest.mark.parametrize(
    ("ring", "why"),
    [
        (box(-93.06, 46.05, -93.059, 46.051), "outside the plot"),
        (box(-93.06, 46.04, -93.04, 46.06), "nothing is left of the plot"),
        (
            Polygon([(-93.0495, 46.0505), (-93.049, 46.051), (-93.049, 46.0505), (-93.0495, 46.051)]),
            "crosses",
        ),
    ],
)
def test_a_hole_that_makes_no_sense_is_refused(ring: Polygon, why: str) -> None:
    with pytest.raises(InputError, match=why):
        land.cut_hole(box(-93.05, 46.05, -93.048, 46.052), ring)


def test_a_neighbour_is_cut_out_and_their_borders_match() -> None:
    plot, other = box(-93.05, 46.05, -93.048, 46.052), box(-93.0485, 46.051, -93.047, 46.053)
    left = land.cut_out(plot, other)
    assert left.intersection(other).area == 0
    here, there = land.matched([left, other])
    assert shapely.coverage_is_valid([here, there])
    with pytest.raises(InputError, match="share no ground"):
        land.cut_out(left, other)


def test_a_corner_on_a_neighbours_edge_is_put_into_it_digit_by_digit() -> None:
    left = box(-93.05, 46.05, -93.049, 46.052)
    right = Polygon([(-93.049, 46.05), (-93.048, 46.05), (-93.048, 46.051), (-93.049, 46.051)])
    here, there = land.matched([left, right])
    assert (-93.049, 46.051) in list(here.exterior.coords)
    assert there is right
    assert area(here) == pytest.approx(area(left), abs=0.01)


def test_only_the_neighbours_of_what_was_drawn_get_its_corners() -> None:
    """Two plots that never matched stay as they are when a third is drawn beside one of them."""
    west, east = box(-93.05, 46.05, -93.049, 46.052), box(-93.049, 46.0505, -93.048, 46.051)
    north = box(-93.0498, 46.052, -93.0492, 46.053)
    drawn, here, there = land.matched([north], [west, east])
    assert drawn is north
    assert there is east
    assert set(here.exterior.coords) - set(west.exterior.coords) == {(-93.0498, 46.052), (-93.0492, 46.052)}


@given(st.lists(st.floats(0.01, 0.99), min_size=1, max_size=12, unique=True), st.booleans())
def test_many_corners_on_one_edge_keep_their_order(shares: list[float], around_a_hole: bool) -> None:
    """However many plots stand on an edge: no sliver, no crossing, the same ground."""
    big = box(-93.05, 46.05, -93.04, 46.06)
    if around_a_hole:
        outer = box(-93.06, 46.04, -93.03, 46.07)
        big = Polygon(outer.exterior, [big.exterior])
    edges = sorted(-93.05 + 0.01 * share for share in {round(share, 6) for share in shares})
    down = 46.0595 if around_a_hole else 46.0605
    small = [box(a, min(46.06, down), b, max(46.06, down)) for a, b in pairwise(edges)]
    fitted = land.matched([big, *small])
    assert shapely.coverage_is_valid(list(fitted))
    assert all(one.is_valid for one in fitted)
    assert fitted[0].area == pytest.approx(big.area, rel=1e-12)
    assert len(shapely.get_coordinates(fitted[0])) == len(shapely.get_coordinates(big)) + len(edges) * bool(
        small
    )


@given(
    st.lists(st.floats(-0.4, 0.4), min_size=9, max_size=9),
    st.lists(st.floats(-0.4, 0.4), min_size=9, max_size=9),
)
def test_two_wobbly_borders_meet(mine: list[float], theirs: list[float]) -> None:
    """Two squares of 90 m with borders drawn by hand, up to 0.4 m off."""

    def at(east: float, north: float) -> tuple[float, float]:
        return place((east, north))

    def border(wobble: list[float]) -> list[tuple[float, float]]:
        return [at(45 + off, -45 + 10 * (i + 0.5)) for i, off in enumerate(wobble)]

    left = Polygon([at(-45, -45), at(45, -45), *border(mine), at(45, 45), at(-45, 45)])
    right = Polygon([at(135, -45), at(135, 45), at(45, 45), *reversed(border(theirs)), at(45, -45)])
    assume(left.is_valid and right.is_valid)
    if max(abs(a - b) for a, b in zip(mine, theirs, strict=True)) < 1e-6:
        return  # they meet already, which is refused
    here, there, moved = land.close_gap(left, right, 2.0)
    assert here.is_valid
    assert there.is_valid
    shared = [one for one in shapely.get_parts(here.intersection(there)) if one.area]
    assert sum(map(area, shared)) < 0.01
    # At most the strip of 0.8 m by 90 m between the two lines changes hands, counted in both.
    assert moved <= 2 * 0.8 * 90
    far = {tuple(corner) for corner in left.exterior.coords[:2]}
    assert far <= {tuple(corner) for corner in here.exterior.coords}  # nobody touched those


def test_plots_far_apart_have_no_gap_to_close() -> None:
    with pytest.raises(InputError, match="m apart"):
        land.close_gap(box(-93.05, 46.05, -93.049, 46.051), box(-93.04, 46.05, -93.039, 46.051), 3.0)


def test_typed_sides() -> None:
    """100 m by 60 m are 6,000 m² and a circle of 50 m radius is 7,853.98 m² (π · 50²), on a plane; on the
    ellipsoid a figure of this size is off by less than a millionth."""
    middle = (-93.05, 46.05)
    assert area(land.rectangle(middle, 100, 60, 30)) == pytest.approx(6000, rel=1e-6)
    assert area(land.circle(middle, 50)) == pytest.approx(math.pi * 2500, rel=1e-6)
    corners = list(land.rectangle(middle, 100, 60, 30).exterior.coords)
    sides = sorted(EARTH.Inverse(a[1], a[0], b[1], b[0])["s12"] for a, b in pairwise(corners))
    assert sides == pytest.approx([60, 60, 100, 100], rel=1e-6)
    for wrong in (0, -1, float("nan"), float("inf")):
        with pytest.raises(InputError):
            land.circle(middle, wrong)
        with pytest.raises(InputError):
            land.rectangle(middle, 100, wrong, 0)


def test_where_a_boundary_crosses_itself() -> None:
    crossing = land.crossing_of(BOW)
    assert crossing == pytest.approx((-93.04925, 46.05075), abs=1e-6)
    assert land.crossing_of(PLOT) is None
