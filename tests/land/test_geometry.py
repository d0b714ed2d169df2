"""Areas against published polygons and surveys, and setbacks against school geometry."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from places import HOME, box, independent_area_m2, place, polygon, square
from pyproj import Transformer

from loamwright.errors import InputError
from loamwright.land import acreage, geometry
from loamwright.land.geometry import Plane, measure_boundary, widest_m
from loamwright.land.records import KeepOut, Plot
from loamwright.units import ACRE_M2, FT_M, HA_M2, MILE_M

CASES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "published" / "area_checks.json").read_text(encoding="utf-8")
)["cases"]
BY_ID = {case["id"]: case for case in CASES}


def published(kind: str) -> list[Any]:
    return [pytest.param(case, id=case["id"]) for case in CASES if case["kind"] == kind]


# Published polygons ------------------------------------------------------------------------------


@pytest.mark.parametrize("case", published("geodesic"))
def test_published_geodesic_polygons(case: dict[str, Any]) -> None:
    """The signs say which way a ring was drawn, which has no meaning for a plot."""
    measured = measure_boundary(shapely.Polygon([(lon, lat) for lat, lon in case["lat_lon"]]))
    assert measured.area_m2 == pytest.approx(abs(case["area"]), abs=case["area_tol"])
    if case["perimeter"] is not None:
        assert measured.perimeter_m == pytest.approx(case["perimeter"], abs=case["perimeter_tol"])


@pytest.mark.parametrize("case", published("geodesic_edges"))
def test_published_square_of_the_size_of_a_field(case: dict[str, Any]) -> None:
    lat, lon = case["start_lat_lon"]
    corners = [(lon, lat)]
    for azimuth, length in case["edges_azi_m"]:
        there = Geodesic.WGS84.Direct(lat, lon, azimuth, length)
        lat, lon = there["lat2"], there["lon2"]
        corners.append((lon, lat))
    measured = measure_boundary(shapely.Polygon(corners))
    assert measured.area_m2 == pytest.approx(case["area"], abs=case["area_tol"])
    # 1 km² in acres, as the source's note gives it.
    assert measured.area_m2 / ACRE_M2 == pytest.approx(247.105, abs=0.0005)


@pytest.mark.parametrize("case", published("planar"))
def test_published_surveys_laid_on_the_ellipsoid(case: dict[str, Any]) -> None:
    """A parcel surveyed in feet, laid down by the plane and measured geodesically, keeps its area."""
    flat = shapely.Polygon([(east * FT_M, north * FT_M) for north, east in case["north_east"]])
    measured = measure_boundary(Plane(*HOME).unflatten(flat))
    assert measured.area_m2 / FT_M**2 == pytest.approx(case["area"], abs=case["area_tol"])


@pytest.mark.parametrize("case", published("lat_dep"))
def test_published_traverse_laid_on_the_ellipsoid(case: dict[str, Any]) -> None:
    north = east = 0.0
    corners = []
    for latitude, departure in case["lat_dep"]:
        north, east = north + latitude, east + departure
        corners.append((east * FT_M, north * FT_M))
    measured = measure_boundary(Plane(*HOME).unflatten(shapely.Polygon(corners)))
    assert measured.area_m2 / FT_M**2 == pytest.approx(case["area"], abs=case["area_tol"])


def test_published_unit_definitions() -> None:
    def value(ident: str) -> Any:
        return pytest.approx(BY_ID[ident]["area"], abs=BY_ID[ident]["area_tol"])

    assert value("acre-international") == ACRE_M2
    assert pytest.approx(BY_ID["acre-sq-chains"]["area"], rel=1e-15) == ACRE_M2 / FT_M**2
    assert pytest.approx(BY_ID["section-acres"]["area"], rel=1e-15) == MILE_M**2 / ACRE_M2
    assert pytest.approx(BY_ID["quarter-quarter"]["area"], rel=1e-15) == (1320 * FT_M) ** 2 / ACRE_M2
    assert value("hectare-acres") == HA_M2 / ACRE_M2
    # Ours is not the retired survey acre, which is 4 parts per million larger.
    survey = BY_ID["acre-us-survey"]["area"]
    assert (survey / ACRE_M2 - 1) * 1e6 == value("acre-ratio-ppm")


def test_every_published_case_is_used() -> None:
    assert {case["kind"] for case in CASES} == {
        "geodesic",
        "geodesic_edges",
        "planar",
        "lat_dep",
        "conversion",
    }
    assert sum(case["kind"] == "conversion" for case in CASES) == 7  # the seven of the test above


# Traps ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("latitude", "overstated"), [(45.0, 1.00), (30.0, 0.338)])
def test_an_acre_is_an_acre_where_the_web_maps_projection_doubles_it(
    latitude: float, overstated: float
) -> None:
    """Mercator stretches lengths by 1/cos φ and areas by 1/cos² φ: 2 at 45°, 4/3 at 30°."""
    acre = polygon(box(0, 0, math.sqrt(ACRE_M2), math.sqrt(ACRE_M2)), origin=(-93.0, latitude))
    to_web = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    on_the_web_map = shapely.Polygon([to_web.transform(*corner) for corner in acre.exterior.coords]).area
    assert on_the_web_map / ACRE_M2 - 1 == pytest.approx(overstated, abs=0.005)
    assert measure_boundary(acre).area_m2 / ACRE_M2 == pytest.approx(1.0, abs=1e-6)


def test_the_180th_meridian_is_no_edge() -> None:
    ring = box(-100, -100, 100, 100)
    across = polygon(ring, origin=(180.0, -17.0))
    jumping = shapely.Polygon([(lon - 360 if lon > 180 else lon, lat) for lon, lat in across.exterior.coords])
    assert jumping.bounds[2] - jumping.bounds[0] > 359
    for shape in (across, jumping):
        assert measure_boundary(shape).area_m2 == pytest.approx(40_000, rel=1e-6)


def test_parts_and_holes_are_counted_and_holes_taken_out() -> None:
    shape = shapely.MultiPolygon(
        [
            polygon(box(0, 0, 100, 100), box(20, 20, 50, 50), box(60, 60, 70, 70)),
            polygon(box(200, 0, 230, 40)),
        ]
    )
    measured = measure_boundary(shape)
    # 100² − 30² − 10² + 30·40 = 10 200 m²; 4·100 + 4·30 + 4·10 + 2·(30 + 40) = 700 m.
    assert measured.area_m2 == pytest.approx(10_200, rel=1e-6)
    assert measured.perimeter_m == pytest.approx(700, rel=1e-6)
    assert (measured.parts, measured.holes) == (2, 2)


def test_a_line_has_no_area_to_measure() -> None:
    with pytest.raises(ValueError, match="LineString"):
        measure_boundary(shapely.LineString([(0, 0), (1, 1)]))


def test_distance_agrees_with_geographiclib_across_the_world() -> None:
    wellington, salamanca = (174.81, -41.32), (-5.50, 40.96)
    theirs = Geodesic.WGS84.Inverse(wellington[1], wellington[0], salamanca[1], salamanca[0])["s12"]
    assert geometry.distance_m(wellington, salamanca) == pytest.approx(theirs, abs=1e-3)


# The plane -----------------------------------------------------------------------------------------


def test_the_plane_keeps_area_and_nearly_length() -> None:
    """d²/8R² at 10 km is 10² / (8 · 6371²) = 3.1e-7: the most a length may be off there."""
    far = (HOME[0] + 0.0916, HOME[1] + 0.0636)  # 10 km away
    assert geometry.distance_m(HOME, far) == pytest.approx(10_000, abs=20)
    plane = Plane(*HOME)
    shape = polygon(box(0, 0, 300, 200), origin=far)
    flat = plane.flatten(shape)
    assert flat.area == pytest.approx(independent_area_m2(shape.exterior.coords[:-1]), rel=1e-8)
    assert flat.length == pytest.approx(1000.0, rel=3.2e-7 + 1e-8)
    back = plane.unflatten(flat)
    assert shapely.hausdorff_distance(shape, back) < 1e-11  # degrees: a micrometre


def test_north_is_up_in_the_plane() -> None:
    plane = Plane(*HOME)
    north = plane.flatten(shapely.Point(HOME[0], HOME[1] + 0.001))
    east = plane.flatten(shapely.Point(HOME[0] + 0.001, HOME[1]))
    assert north.x == pytest.approx(0, abs=1e-6)
    assert north.y > 100
    assert east.x > 70
    assert east.y == pytest.approx(0, abs=0.001)


def test_a_plane_straddles_the_180th_meridian() -> None:
    plane = Plane.around([polygon(box(-500, 0, 500, 10), origin=(180.0, -17.0))])
    assert abs(plane.lon) == pytest.approx(180.0, abs=1e-5)
    with pytest.raises(ValueError, match="at least one vertex"):
        Plane.around([])


# Keep-outs and setbacks: a 100 m square and school geometry --------------------------------------------


def plot(shape: bytes | None = None, **facts: Any) -> Plot:
    return Plot("A1", "Pine Flat", square(100) if shape is None else shape, **facts)


def keepout(shape: shapely.Geometry, setback_m: float | None, ident: str = "K1") -> KeepOut:
    text = "" if setback_m is None else f"{setback_m:g} m"
    return KeepOut(ident, "Heron Pond", "pond", shape, setback_m, text)


def line(*corners: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([place(corner) for corner in corners])


def spot(east: float, north: float) -> shapely.Point:
    return shapely.Point(place((east, north)))


POND = polygon(box(40, 40, 60, 60))
DITCH = line((50, -50), (50, 150))

#: (keep-out, setback, area lost in m², how). The rounded parts may fall 0.1 % short of a circle.
BY_HAND = [
    pytest.param(DITCH, 10.0, 2000.0, 0.0, id="ditch through the middle: 2·10 wide, 100 long"),
    pytest.param(POND, 0.0, 400.0, 0.0, id="pond 20 by 20 without a setback"),
    pytest.param(POND, 10.0, 1200.0, math.pi * 100, id="pond: 20² + 4·20·10 + π·10²"),
    pytest.param(spot(50, 50), 15.0, 0.0, math.pi * 225, id="well in the middle: π·15²"),
    pytest.param(spot(0, 0), 20.0, 0.0, math.pi * 100, id="well at a corner: a quarter of π·20²"),
    pytest.param(polygon(box(104, -50, 120, 150)), 10.0, 600.0, 0.0, id="lake 4 m outside: 6 m strip"),
    pytest.param(
        polygon(box(-50, -50, 50, 150)), None, 5000.0, 0.0, id="unknown setback: the half it covers"
    ),
]


@pytest.mark.parametrize(("shape", "setback_m", "straight_m2", "round_m2"), BY_HAND)
def test_setbacks_by_hand(
    shape: shapely.Geometry, setback_m: float | None, straight_m2: float, round_m2: float
) -> None:
    (measured,) = acreage.areas([plot()], [keepout(shape, setback_m)])
    lost = measured.area_m2 - measured.spread_area_m2
    assert measured.area_m2 == pytest.approx(10_000, rel=1e-7)
    assert lost == pytest.approx(straight_m2 + round_m2, abs=0.001 * round_m2 + 0.01)
    assert lost < straight_m2 + round_m2 + 0.01
    assert measured.keepouts == (("K1", pytest.approx(lost, abs=1e-9)),)


def test_no_spread_ground_is_nearer_than_the_setback_by_more_than_the_stated_error() -> None:
    setback = 15.24
    (measured,) = acreage.areas([plot()], [keepout(POND, setback)])
    plane = Plane(*HOME)
    left = plane.flatten(measured.spread)
    assert left.distance(plane.flatten(POND)) >= setback * (1 - 0.0004)


def test_a_plot_nothing_touches_keeps_every_digit() -> None:
    (measured,) = acreage.areas([plot()], [keepout(polygon(box(500, 0, 520, 20)), 10.0)])
    assert measured.spread == square(100)
    assert measured.spread_area_m2 == measured.area_m2 == measure_boundary(square(100)).area_m2
    assert measured.keepouts == ()
    assert measured.missing_setbacks == ()


def test_a_plot_inside_a_setback_has_nothing_left() -> None:
    (measured,) = acreage.areas([plot()], [keepout(spot(50, 50), 100.0)])
    assert measured.spread_area_m2 == 0
    assert measured.spread is None
    assert measured.keepouts == (("K1", pytest.approx(10_000, rel=1e-7)),)


def test_the_ground_kept_clear_is_drawn_at_the_setback() -> None:
    """Every corner of a well's ring lies 15 m from it by GeographicLib; a straight bank keeps 10 m."""
    ring = acreage.setback(keepout(spot(50, 50), 15.0))
    lon, lat = place((50, 50))
    for east, north in shapely.get_coordinates(ring):
        assert Geodesic.WGS84.Inverse(lat, lon, north, east)["s12"] == pytest.approx(15.0, abs=1e-4)
    bank = acreage.setback(keepout(DITCH, 10.0))
    assert bank.contains(spot(59.99, 50))
    assert not bank.contains(spot(60.01, 50))


@pytest.mark.parametrize("setback_m", [None, 0.0])
def test_no_ground_is_kept_clear_without_a_distance(setback_m: float | None) -> None:
    assert acreage.setback(keepout(POND, setback_m)) is None


def test_losses_of_overlapping_keepouts_add_up_to_what_is_gone() -> None:
    """Two ditches crossing: 2000 + 2000 − the 20 by 20 they share, which only the first is charged."""
    crossing = [keepout(DITCH, 10.0, "NS"), keepout(line((-50, 50), (150, 50)), 10.0, "EW")]
    (measured,) = acreage.areas([plot()], crossing)
    assert dict(measured.keepouts) == {
        "NS": pytest.approx(2000, abs=0.01),
        "EW": pytest.approx(1600, abs=0.01),
    }
    assert measured.area_m2 - measured.spread_area_m2 == pytest.approx(sum(m2 for _, m2 in measured.keepouts))
    (again,) = acreage.areas([plot()], [keepout(DITCH, 10.0, "NS"), keepout(DITCH, 10.0, "again")])
    assert dict(again.keepouts)["again"] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(("feet", "listed"), [(299.0, True), (301.0, False)])
def test_an_unstated_setback_within_300_ft_is_listed_and_never_taken_as_zero(
    feet: float, listed: bool
) -> None:
    stream = line((100 + feet * FT_M, -50), (100 + feet * FT_M, 150))
    (measured,) = acreage.areas([plot()], [keepout(stream, None)])
    assert measured.spread_area_m2 == measured.area_m2
    assert measured.missing_setbacks == (("K1",) if listed else ())
    assert any("not stated" in step.what and step.value is None for step in measured.steps) is listed


def test_a_stated_setback_of_zero_is_not_missing() -> None:
    (measured,) = acreage.areas([plot()], [keepout(DITCH, 0.0)])
    assert measured.missing_setbacks == ()
    assert measured.spread_area_m2 == measured.area_m2


def test_a_bow_tie_keepout_still_keeps_its_ground_clear() -> None:
    crossed = polygon([(40, 40), (60, 60), (60, 40), (40, 60)])  # two triangles of 20·10/2
    (measured,) = acreage.areas([plot()], [keepout(crossed, 0.0)])
    assert measured.area_m2 - measured.spread_area_m2 == pytest.approx(200, abs=0.01)


def test_the_steps_add_up_to_the_spread_area() -> None:
    ponds = [keepout(POND, 10.0, "P"), keepout(spot(0, 0), 20.0, "W")]
    (measured,) = acreage.areas([plot(area_se_m2=150.0)], ponds)
    gross, error, *losses, left = [step for step in measured.steps if step.unit == "acres"]
    assert gross.value == pytest.approx(10_000 / ACRE_M2, rel=1e-6)
    assert error.value == pytest.approx(150 / ACRE_M2)
    assert [step.what.startswith("Less pond Heron Pond") for step in losses] == [True, True]
    assert "10 m around it" in losses[0].what
    assert "beyond what is already taken off" in losses[1].what
    taken = sum(float(step.value or 0) for step in losses)
    assert left.value == pytest.approx(float(gross.value or 0) - taken, rel=1e-12)
    assert all(str(step.source) for step in measured.steps)
    assert measured.area_se_m2 == 150.0


def test_areas_come_in_the_order_of_the_plots() -> None:
    plots = [Plot(str(n), "", square(10 * n, west=200.0 * n)) for n in (3, 1, 2)]
    measured = acreage.areas(plots, [])
    assert [area.plot_id for area in measured] == ["3", "1", "2"]
    assert [round(area.area_m2) for area in measured] == [900, 100, 400]
    assert acreage.areas([], []) == ()


# Directions, labels, drawing -----------------------------------------------------------------------------


def turned(corners: list[tuple[float, float]], bearing: float) -> list[tuple[float, float]]:
    """Turn corners laid out along north by a bearing clockwise."""
    t = math.radians(bearing)
    return [(x * math.cos(t) + y * math.sin(t), -x * math.sin(t) + y * math.cos(t)) for x, y in corners]


@pytest.mark.parametrize("bearing", [0.0, 30.0, 90.0, 135.0, 179.0])
def test_swaths_run_along_a_strip(bearing: float) -> None:
    strip = polygon(turned(box(0, 0, 30, 200), bearing))
    off = abs(geometry.swath_direction(strip) - bearing) % 180
    assert min(off, 180 - off) < 0.01


def test_swaths_of_two_parts_follow_the_fewest_passes_of_both() -> None:
    """30 wide and 200 north, 30 wide and 100 east: north costs 30 + 100, east 200 + 30."""
    two = shapely.MultiPolygon([polygon(box(0, 0, 30, 200)), polygon(box(100, 0, 200, 30))])
    assert min(geometry.swath_direction(two), 180 - geometry.swath_direction(two)) < 0.01
    with pytest.raises(ValueError, match="no spread area"):
        geometry.swath_direction(shapely.Polygon())


def test_a_label_stands_inside_even_where_the_centroid_does_not() -> None:
    bent = polygon([(0, 0), (120, 0), (120, 100), (80, 100), (80, 20), (40, 20), (40, 100), (0, 100)])
    assert not bent.contains(bent.centroid)
    spot_ = shapely.Point(geometry.label_point(bent))
    assert bent.contains(spot_)
    # The largest circle of a 30 by 200 strip has a radius of 15 m and its centre on the middle line.
    strip = polygon(box(0, 0, 30, 200))
    flat = Plane(*HOME).flatten(shapely.Point(geometry.label_point(strip)))
    assert flat.x == pytest.approx(15, abs=0.2)
    assert 15 <= flat.y <= 185


def test_labels_of_lines_and_points() -> None:
    assert geometry.label_point(spot(3, 4)) == pytest.approx(place((3, 4)), abs=1e-9)
    assert geometry.label_point(DITCH) == pytest.approx(place((50, 50)), abs=1e-6)


def test_plots_stand_at_their_entrance_or_inside() -> None:
    """From the entrance 20 m south of one square to the middle of another 500 m east: √(500² + 70²)."""
    plots = [plot(entrance=place((50, -20))), Plot("B2", "", square(100, west=500))]
    spots = acreage.places_m(plots)
    assert math.dist(spots["A1"], spots["B2"]) == pytest.approx(math.hypot(500, 70), abs=0.2)
    assert acreage.places_m([]) == {}


def test_simplifying_moves_no_edge_farther_than_asked() -> None:
    wavy = [(x, 3 * math.sin(x / 5)) for x in range(200)] + [(199, 100), (0, 100)]
    shape = polygon(wavy, box(50, 40, 80, 60))
    drawn = geometry.simplify_for_map(shape, 2.0)
    assert len(shapely.get_coordinates(drawn)) < 100 < len(shapely.get_coordinates(shape))
    assert len(drawn.interiors) == 1
    plane = Plane(*HOME)
    moved = shapely.hausdorff_distance(plane.flatten(shape.exterior), plane.flatten(drawn.exterior))
    assert moved <= 2.0 + 1e-6


# In and out -------------------------------------------------------------------------------------------------


def test_geojson_there_and_back_keeps_every_digit() -> None:
    shape = shapely.MultiPolygon(
        [polygon(box(0, 0, 100, 100), box(20, 20, 50, 50)), polygon(box(200, 0, 230, 40))]
    )
    written = json.loads(json.dumps(geometry.as_geojson(shape)))
    assert written["type"] == "MultiPolygon"
    assert geometry.from_geojson(written) == shape
    assert geometry.from_geojson({"type": "Feature", "properties": {}, "geometry": written}) == shape


def test_an_open_geojson_ring_comes_out_closed() -> None:
    ring = [[-93.05, 46.05], [-93.04, 46.05], [-93.04, 46.06]]
    closed = geometry.from_geojson({"type": "Polygon", "coordinates": [ring]})
    assert closed.exterior.coords[0] == closed.exterior.coords[-1]


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"type": "Blob", "coordinates": [1, 2]}, "Blob"),
        ({"type": "Polygon", "coordinates": [[["east", "north"]]]}, "east"),
        ({"type": "Polygon"}, "Polygon"),
        ({"type": "Feature", "geometry": None}, "null"),
        ({"type": "Polygon", "coordinates": 7}, "7"),
    ],
)
def test_what_is_not_geojson_is_named(bad: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match="not a GeoJSON geometry") as refused:
        geometry.from_geojson(bad)
    assert said in str(refused.value)


def test_small_helpers() -> None:
    west, south, east, north = geometry.bounds(square(100))
    assert (west, south) == pytest.approx(HOME, abs=1e-8)  # due east dips 0.8 mm south in 100 m
    assert (east, north) == pytest.approx(place((100, 100)), abs=1e-6)
    assert geometry.geometry_type(geometry.point_shape(HOME)) == "Point"
    assert geometry.geometry_type(shapely.LineString([HOME, place((1, 1))])) == "LineString"
    assert geometry.bounds(shapely.LineString([HOME, place((1, 1))]))[:2] == pytest.approx(HOME)


def test_a_plot_is_as_wide_as_the_largest_circle_in_it() -> None:
    # a strip of 200 m by 5.5 m is 5.5 m wide; a square of 60 m is 60 m; of two parts the wider counts
    strip, field = polygon(box(0, 0, 200, 5.5)), square(60, 0, 100)
    assert widest_m(strip) == pytest.approx(5.5, abs=0.1)
    assert widest_m(field) == pytest.approx(60, abs=0.1)
    both = shapely.MultiPolygon([strip, field])
    assert widest_m(both) == pytest.approx(60, abs=0.1)
    assert widest_m(shapely.Polygon()) == 0
