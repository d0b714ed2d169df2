"""Area as it must behave for any plot, anywhere: drawn from star-shaped fields of 0.01 to 100 ha.

A field is given by a place, and by distances from it in sorted directions; GeographicLib lays it out
and measures it independently of the program.
"""

from __future__ import annotations

import itertools
import math

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from places import independent_area_m2

from loamwright.land.acreage import areas
from loamwright.land.boundaries import check_boundary
from loamwright.land.geometry import Plane, measure_boundary
from loamwright.land.records import KeepOut, Plot

Ring = list[tuple[float, float]]
#: The largest difference of two ways to the same area: a ten-millionth, and 0.02 m². The geodesic
#: area of an edge holds c² times a difference of azimuths; c², the authalic radius squared, is
#: 4.1e13 m², so the 53 bits of a double leave 4.1e13 · 2⁻⁵³ = 0.005 m² of noise on an edge.
CLOSE = {"rel": 1e-7, "abs": 0.02}


def ring_around(origin: tuple[float, float], azimuths: list[float], distances_m: list[float]) -> Ring:
    lon, lat = origin
    ring = []
    for azimuth, distance in zip(azimuths, distances_m, strict=True):
        there = Geodesic.WGS84.Direct(lat, lon, azimuth, distance, Geodesic.STANDARD | Geodesic.LONG_UNROLL)
        ring.append((there["lon2"], there["lat2"]))
    return ring


@st.composite
def fields(draw: st.DrawFn) -> tuple[tuple[float, float], Ring]:
    """Return a place and a simple ring around it; also across the 180th meridian."""
    lon = draw(st.one_of(st.floats(-180, 180), st.floats(179.99, 180), st.floats(-180, -179.99)))
    origin = (lon, draw(st.floats(-55, 68)))
    assume(max(map(abs, origin)) > 0.1)  # a field in the sea off Africa is refused: zeros, not places
    count = draw(st.integers(3, 24))
    scale = draw(st.floats(10, 500))
    # One corner in each slice of the circle, never more than half a turn from the next.
    slices = [draw(st.floats(0.1, 0.9)) for _ in range(count)]
    azimuths = [360 * (index + part) / count for index, part in enumerate(slices)]
    gaps = [(after - before) % 360 for before, after in itertools.pairwise([*azimuths, azimuths[0]])]
    assume(max(gaps) < 170)
    distances = [scale * draw(st.floats(0.4, 1.6)) for _ in range(count)]
    return origin, ring_around(origin, azimuths, distances)


def area_m2(ring: Ring, *holes: Ring) -> float:
    return measure_boundary(shapely.Polygon(ring, holes)).area_m2


@given(fields())
@settings(max_examples=100, deadline=None)
def test_area_agrees_with_geographiclib(field: tuple[tuple[float, float], Ring]) -> None:
    _, ring = field
    assert area_m2(ring) == pytest.approx(independent_area_m2(ring), **CLOSE)


@given(fields(), st.integers(0, 23), st.booleans())
@settings(max_examples=40, deadline=None)
def test_area_cares_neither_for_start_nor_for_direction(
    field: tuple[tuple[float, float], Ring], start: int, backwards: bool
) -> None:
    _, ring = field
    start %= len(ring)
    turned = ring[start:] + ring[:start]
    assert area_m2(turned[::-1] if backwards else turned) == pytest.approx(area_m2(ring), **CLOSE)


@given(fields(), st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_more_points_on_the_same_edges_change_nothing(
    field: tuple[tuple[float, float], Ring], pieces: int
) -> None:
    _, ring = field
    dense: Ring = []
    for (lon, lat), (lon2, lat2) in itertools.pairwise([*ring, ring[0]]):
        line = Geodesic.WGS84.InverseLine(lat, lon, lat2, lon2)
        spots = [
            line.Position(line.s13 * i / (pieces + 1), Geodesic.STANDARD | Geodesic.LONG_UNROLL)
            for i in range(pieces + 1)
        ]
        dense.extend((spot["lon2"], spot["lat2"]) for spot in spots)
    assert area_m2(dense) == pytest.approx(area_m2(ring), rel=1e-7, abs=0.005 * len(dense))


@given(fields(), st.floats(0.1, 0.6))
@settings(max_examples=40, deadline=None)
def test_a_hole_and_its_island_make_the_whole(field: tuple[tuple[float, float], Ring], share: float) -> None:
    origin, ring = field
    inner = []
    for lon, lat in ring:
        way = Geodesic.WGS84.Inverse(origin[1], origin[0], lat, lon)
        inner.extend(ring_around(origin, [way["azi1"]], [share * way["s12"]]))
    with_hole, island = area_m2(ring, inner), area_m2(inner)
    assert with_hole + island == pytest.approx(area_m2(ring), **CLOSE)
    both = shapely.MultiPolygon([shapely.Polygon(ring, [inner]), shapely.Polygon(inner)])
    assert measure_boundary(both).area_m2 == pytest.approx(area_m2(ring), **CLOSE)


@given(fields(), st.integers(0, 23), st.integers(1, 22))
@settings(max_examples=40, deadline=None)
def test_splitting_a_field_conserves_its_area(
    field: tuple[tuple[float, float], Ring], first: int, step: int
) -> None:
    """Cut from corner to corner through the middle, which a star-shaped field always holds."""
    origin, ring = field
    first %= len(ring)
    second = (first + 1 + step % (len(ring) - 1)) % len(ring)
    low, high = sorted((first, second))
    assume(high - low > 1 and (low > 0 or high < len(ring) - 1))
    left = [*ring[low : high + 1], origin]
    right = [*ring[high:], *ring[: low + 1], origin]
    assert area_m2(left) + area_m2(right) == pytest.approx(area_m2(ring), **CLOSE)


@given(fields(), st.floats(0.05, 1.5), st.floats(0, 360), st.one_of(st.just(0.0), st.floats(0.1, 60)))
@settings(max_examples=40, deadline=None)
def test_what_is_cut_away_and_what_is_left_make_the_whole(
    field: tuple[tuple[float, float], Ring], reach: float, azimuth: float, setback_m: float
) -> None:
    """Spread area and losses add up; the spread area agrees with a flat cut in an independent plane."""
    origin, ring = field
    size = Geodesic.WGS84.Inverse(origin[1], origin[0], ring[0][1], ring[0][0])["s12"]
    ((lon, lat),) = ring_around(origin, [azimuth], [reach * size])
    well = KeepOut("W", "", "well", shapely.Point(lon, lat), setback_m, "")
    plot = Plot("A", "", shapely.Polygon(ring))
    (measured,) = areas([plot], [well])
    assert measured.area_m2 == area_m2(ring)
    assert 0 <= measured.spread_area_m2 <= measured.area_m2 * (1 + 1e-9)
    lost = sum(m2 for _, m2 in measured.keepouts)
    assert measured.spread_area_m2 + lost == pytest.approx(measured.area_m2, **CLOSE)
    # Azimuthal distances from the well, by GeographicLib: true lengths and directions from there.
    flat = []
    for corner_lon, corner_lat in ring:
        way = Geodesic.WGS84.Inverse(lat, lon, corner_lat, corner_lon)
        flat.append((way["azi1"], way["s12"]))
    plane = shapely.Polygon([_polar(azi, distance) for azi, distance in flat])
    expected = plane.intersection(shapely.Point(0, 0).buffer(setback_m, quad_segs=256)).area
    # Corners of the setback may fall 0.03 % of the distance short: at most a ring that wide.
    missed = 2 * math.pi * setback_m * 0.0003 * setback_m
    assert expected - missed - 1e-3 <= lost <= expected + 1e-6 * measured.area_m2 + 1e-3


def _polar(azimuth: float, distance: float) -> tuple[float, float]:
    spot = shapely.affinity.rotate(shapely.Point(0, distance), -azimuth, origin=(0, 0))
    return spot.x, spot.y


@given(fields())
@settings(max_examples=40, deadline=None)
def test_a_sound_field_passes_the_check_unchanged_and_stays_so(
    field: tuple[tuple[float, float], Ring],
) -> None:
    _, ring = field
    given_ = shapely.Polygon(ring)
    boundary, problems = check_boundary(given_, "f")
    assert problems == ()
    assert boundary is not None
    assert measure_boundary(boundary).area_m2 == pytest.approx(area_m2(ring), **CLOSE)
    assert check_boundary(boundary, "f") == (boundary, ())


@given(fields())
@settings(max_examples=40, deadline=None)
def test_the_plane_agrees_with_the_geodesic_and_comes_back(field: tuple[tuple[float, float], Ring]) -> None:
    _, ring = field
    shape = shapely.Polygon(ring)
    plane = Plane.around([shape])
    flat = plane.flatten(shape)
    assert flat.area == pytest.approx(independent_area_m2(ring), **CLOSE)
    assert area_m2(list(plane.unflatten(flat).exterior.coords[:-1])) == pytest.approx(area_m2(ring), **CLOSE)
