"""Areas of many polygons at once: against GeographicLib, against PROJ, and against themselves."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from places import HOME, box, independent_area_m2, polygon
from pyproj import Geod, Proj

from loamwright.land import sizes
from loamwright.land.geometry import measure_boundary
from loamwright.land.sizes import areas_m2, measure_polygons
from loamwright.units import ACRE_M2

Ring = list[tuple[float, float]]
GEOD = Geod(ellps="WGS84")
#: GeographicLib's own rounding: the area of an edge holds c² times a difference of azimuths, and c², the
#: authalic radius squared, is 4.1e13 m², so 53 bits leave 4.1e13 · 2⁻⁵³ = 0.005 m² on each edge.
NOISE_M2 = 0.005


@st.composite
def plots(draw: st.DrawFn) -> Ring:
    """Return a simple ring of 0.1 to 1,000 acres, roughly, between 70° S and 70° N, also across the 180th
    meridian; up to eight times longer one way than the other."""
    lon = draw(st.one_of(st.floats(-180, 180), st.floats(179.99, 180)))
    lat = draw(st.floats(-70, 70))
    acres = math.exp(draw(st.floats(math.log(0.1), math.log(1000))))
    stretch, bearing = draw(st.floats(1, 8)), draw(st.floats(0, 180))
    count = draw(st.integers(3, 30))
    slices = [draw(st.floats(0.1, 0.9)) for _ in range(count)]
    azimuths = [2 * math.pi * (index + part) / count for index, part in enumerate(slices)]
    gaps = [(b - a) % (2 * math.pi) for a, b in itertools.pairwise([*azimuths, azimuths[0]])]
    assume(max(gaps) < 3.0)
    size = math.sqrt(acres * ACRE_M2 / math.pi)
    ring = []
    for azimuth in azimuths:
        reach = size * draw(st.floats(0.6, 1.4))
        along = reach * math.cos(azimuth) * math.sqrt(stretch)
        across = reach * math.sin(azimuth) / math.sqrt(stretch)
        way = bearing + math.degrees(math.atan2(across, along))
        there = Geodesic.WGS84.Direct(
            lat, lon, way, math.hypot(along, across), Geodesic.STANDARD | Geodesic.LONG_UNROLL
        )
        ring.append((there["lon2"], there["lat2"]))
    return ring


def laid_flat_m2(ring: Ring, piece_m: float = 50.0) -> float:
    """Return the area of a ring by PROJ: edges cut along their geodesics into short pieces, corners laid
    out in an equal-area plane, the shoelace formula. It has no large term, so it can tell 1e-7 of a tenth
    of an acre. A piece of 50 m bends by less than 50³ · e²/(12 R) = 1e-5 m², e² being 0.0067."""
    dense: Ring = []
    for (lon, lat), (lon2, lat2) in itertools.pairwise([*ring, ring[0]]):
        pieces = int(GEOD.inv(lon, lat, lon2, lat2)[2] // piece_m)
        dense += [(lon, lat), *(GEOD.npts(lon, lat, lon2, lat2, pieces) if pieces else ())]
    lons, lats = np.array([*dense, dense[0]]).T
    x, y = Proj(proj="laea", lon_0=ring[0][0], lat_0=ring[0][1], ellps="WGS84")(lons, lats)
    return abs(float(np.sum((x[1:] - x[:-1]) * (y[1:] + y[:-1]) / 2)))


# Against others -----------------------------------------------------------------------------------


@given(plots())
@settings(max_examples=150, deadline=None)
def test_areas_agree_with_geographiclib(ring: Ring) -> None:
    (m2,) = areas_m2([shapely.Polygon(ring)])
    assert m2 == pytest.approx(independent_area_m2(ring), rel=1e-7, abs=NOISE_M2 * len(ring))


@given(plots())
@settings(max_examples=150, deadline=None)
def test_areas_agree_with_an_equal_area_plane_of_proj(ring: Ring) -> None:
    """To a ten-millionth, with nothing allowed for rounding: the smallest plot has 400 m²."""
    (m2,) = areas_m2([shapely.Polygon(ring)])
    assert m2 == pytest.approx(laid_flat_m2(ring), rel=1e-7)


@given(plots())
@settings(max_examples=100, deadline=None)
def test_lengths_agree_with_geographiclib(ring: Ring) -> None:
    """To a thousand-millionth: both carry the rounding of degrees, about 2 nm of an edge."""
    length = sum(
        Geodesic.WGS84.Inverse(lat, lon, lat2, lon2)["s12"]
        for (lon, lat), (lon2, lat2) in itertools.pairwise([*ring, ring[0]])
    )
    measured = measure_polygons([shapely.Polygon(ring)])
    assert measured.perimeter_m[0] == pytest.approx(length, rel=1e-9, abs=1e-8 * len(ring))


def test_an_edge_is_longer_than_its_chord() -> None:
    """Edges of 12 km, the longest the series is used for here: chord and arc differ by s²/24R² = 1.5e-7."""
    lons, lats, _ = GEOD.fwd([10.0] * 3, [30.0] * 3, [20.0, 140.0, 260.0], [7000.0] * 3)
    ring = list(zip(lons, lats, strict=True))
    length = sum(GEOD.inv(*a, *b)[2] for a, b in itertools.pairwise([*ring, ring[0]]))
    measured = measure_polygons([shapely.Polygon(ring)])
    assert measured.perimeter_m[0] == pytest.approx(length, rel=1e-10)
    assert measured.area_m2[0] != abs(GEOD.polygon_area_perimeter(lons, lats)[0])  # not by the other way


@given(plots(), st.floats(0.1, 0.6))
@settings(max_examples=50, deadline=None)
def test_holes_are_taken_out_and_parts_added(ring: Ring, share: float) -> None:
    shape = shapely.Polygon(ring)
    middle = shapely.Polygon(ring).centroid
    inner = shapely.affinity.scale(shape, share, share, origin=middle)
    assume(shape.contains(inner))
    both = shapely.MultiPolygon([shapely.Polygon(ring, [inner.exterior]), inner])
    whole, hole, holed, together = areas_m2([shape, inner, both.geoms[0], both])
    assert holed == pytest.approx(whole - hole, rel=1e-13)
    assert together == pytest.approx(whole, rel=1e-13)


def test_the_series_leaves_out_no_more_than_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Triangles of 3 to 300 km up to 85°, by the series alone: within length⁵ / (200 · radius³) an edge."""
    monkeypatch.setattr(sizes, "LEFT_OUT", math.inf)
    rng = np.random.default_rng(11)
    for lat in rng.uniform(-85, 85, 400):
        reach = math.exp(rng.uniform(math.log(2e3), math.log(2e5)))
        azimuths = np.sort(rng.uniform(0, 360, 3))
        lons, lats, _ = GEOD.fwd(np.zeros(3), np.full(3, lat), azimuths, reach * rng.uniform(0.4, 1, 3))
        if np.abs(lats).max() > 87:
            continue
        ring = list(zip(lons, lats, strict=True))
        parallel = 6_356_752.0 * np.cos(np.radians(np.abs(lats).max()))
        edges = [GEOD.inv(*a, *b)[2] for a, b in itertools.pairwise([*ring, ring[0]])]
        said = sum(edge**5 for edge in edges) / (200 * parallel**3)
        (m2,) = areas_m2([shapely.Polygon(ring)])
        assert abs(m2 - abs(GEOD.polygon_area_perimeter(lons, lats)[0])) <= said + 3 * NOISE_M2


# Out of the range of the series ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ring", "what"),
    [
        ([(-10, 40), (10, 40), (10, 60), (-10, 60)], "edges of 1,500 km"),
        ([(lon, 89.0) for lon in range(0, 360, 5)], "around the north pole"),
        ([(lon, -75.0) for lon in range(0, 360, 1)], "around the south pole, edges of 29 km"),
        (
            [(lon / 2, 89.985 + 0.004 * math.cos(math.radians(lon / 2))) for lon in range(720)],
            "around the north pole in small steps",
        ),
        ([(0.0, 89.9), (90.0, 89.9), (90.0, 89.99), (0.0, 89.99)], "beside a pole"),
        ([(0.0, 90.0), (0.0, 89.999), (60.0, 89.999)], "with a corner on a pole"),
        ([(0.0, 60.0), (0.6, 60.0), (0.6, 60.000001)], "a needle of 33 km by 11 cm"),
    ],
)
def test_what_the_series_cannot_measure_karneys_algorithm_does(ring: Ring, what: str) -> None:
    expected = independent_area_m2(ring)
    (m2,) = areas_m2([shapely.Polygon(ring)])
    assert m2 == pytest.approx(expected, rel=1e-12, abs=NOISE_M2 * len(ring)), what


def test_a_ring_that_jumps_at_the_180th_meridian() -> None:
    across = polygon(box(-100, -100, 100, 100), origin=(180.0, -17.0))
    jumping = shapely.Polygon([(lon - 360 if lon > 180 else lon, lat) for lon, lat in across.exterior.coords])
    assert areas_m2([across, jumping]) == pytest.approx([40_000, 40_000], rel=1e-6)


def test_numbers_that_are_not_finite_give_no_area() -> None:
    spoiled = shapely.Polygon([(0, 0), (1, math.nan), (1, 1)])
    assert math.isnan(areas_m2([spoiled])[0])


# Each alone ------------------------------------------------------------------------------------------


def many(count: int) -> list[shapely.Polygon]:
    """Return plots of all sizes all over the globe, some with a hole, some in two parts, some very long."""
    rng = np.random.default_rng(3)
    shapes: list[Any] = []
    for number in range(count):
        lon, lat = rng.uniform(-180, 180), rng.uniform(-70, 70)
        corners = int(rng.integers(3, 90))
        turns = np.linspace(0, 2 * np.pi, corners, endpoint=False)
        size = math.exp(rng.uniform(math.log(1e-4), math.log(0.02))) * rng.uniform(0.6, 1.4, corners)
        long = 30.0 if number % 50 == 0 else 1.0
        ring = np.column_stack((lon + long * size * np.cos(turns), lat + size * np.sin(turns)))
        hole = [lon, lat] + (ring - [lon, lat]) / 3
        shape = shapely.Polygon(ring, [hole] if number % 3 == 0 else [])
        shapes.append(shapely.MultiPolygon([shape, shapely.Polygon(ring + 1)]) if number % 7 == 0 else shape)
    return shapes


def test_a_plot_has_the_same_area_alone_and_in_any_company() -> None:
    """To the last bit: alone, among 2,500 (more than are measured at once), backwards, and by itself."""
    shapes = many(2500)
    together = measure_polygons(shapes)
    backwards = measure_polygons(shapes[::-1])
    for name in ("area_m2", "perimeter_m", "parts", "holes"):
        there, back = getattr(together, name), getattr(backwards, name)
        assert (there == back[::-1]).all()
        alone = [getattr(measure_polygons([shape]), name)[0] for shape in shapes[:600]]
        assert (there[:600] == alone).all()
    for shape, m2 in zip(shapes[:50], together.area_m2, strict=False):
        assert measure_boundary(shape).area_m2 == m2


def test_the_way_a_ring_was_drawn_moves_no_digit() -> None:
    shapes = many(300)
    assert (areas_m2(shapes) == areas_m2([shape.reverse() for shape in shapes])).all()


def test_no_shape_is_not_a_shape_without_area() -> None:
    found = measure_polygons([None, shapely.Polygon(), shapely.MultiPolygon(), polygon(box(0, 0, 10, 10))])
    assert np.isnan(found.area_m2[0])
    assert np.isnan(found.perimeter_m[0])
    assert found.area_m2[1:].tolist() == pytest.approx([0, 0, 100], rel=1e-6)
    assert found.parts.tolist() == [0, 0, 0, 1]
    assert len(areas_m2([])) == 0


def test_what_is_no_polygon_is_named() -> None:
    with pytest.raises(ValueError, match="LineString"):
        areas_m2([polygon(box(0, 0, 10, 10)), shapely.LineString([HOME, (0, 0)])])
