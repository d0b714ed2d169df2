"""What is repaired, what is refused, and which ground is counted twice."""

from __future__ import annotations

from typing import Any

import pytest
import shapely
from places import HOME, box, place, polygon, square

from loamwright.errors import Level, Problem
from loamwright.land.boundaries import check_boundary, check_coordinates, find_overlaps, overlaps
from loamwright.land.geometry import measure_boundary
from loamwright.land.records import Plot


def checked(shape: shapely.Geometry, **more: Any) -> tuple[shapely.Geometry | None, tuple[Problem, ...]]:
    return check_boundary(shape, "plots.geojson, feature 3 (Pine)", **more)


def refused(shape: shapely.Geometry) -> str:
    boundary, problems = checked(shape)
    assert boundary is None
    assert problems[-1].level is Level.ERROR
    assert problems[-1].where == "plots.geojson, feature 3 (Pine)"
    assert problems[-1].fix
    return str(problems[-1])


def test_a_sound_boundary_passes_without_a_word() -> None:
    shape = polygon(box(0, 0, 100, 100), box(20, 20, 50, 50))
    boundary, problems = checked(shape)
    assert problems == ()
    assert boundary is not None
    assert shapely.equals(boundary, shape)


@pytest.mark.parametrize("turn", [False, True])
def test_rings_come_out_the_geojson_way_round(turn: bool) -> None:
    """RFC 7946, section 3.1.6: outer rings counter-clockwise, holes clockwise."""
    shape = polygon(box(0, 0, 100, 100), box(20, 20, 50, 50))
    boundary, problems = checked(shape.reverse() if turn else shape)
    assert boundary is not None
    assert boundary.exterior.is_ccw
    assert not boundary.interiors[0].is_ccw
    assert problems == ()


def test_heights_are_dropped() -> None:
    tall = shapely.force_3d(polygon(box(0, 0, 100, 100)), 312.0)
    boundary, _ = checked(tall)
    assert boundary is not None
    assert not shapely.has_z(boundary)


def test_a_bow_tie_is_refused_at_its_crossing() -> None:
    """Two triangles of 100·50/2 m² drawn in opposite directions: 0 or 5,000 m²."""
    said = refused(polygon([(0, 0), (100, 100), (100, 0), (0, 100)]))
    lon, lat = place((50, 50))
    assert f"longitude {lon:.6f}, latitude {lat:.6f}" in said
    assert "crosses itself" in said
    assert "0 or 5,000 m²" in said


def test_a_ring_walked_twice_around_is_refused() -> None:
    ring = [(0, 0), (100, 0), (100, 100), (0, 100)]
    inner = [(5, 5), (95, 5), (95, 95), (5, 95)]
    assert "crosses itself" in refused(polygon([*ring, (0, 2), *inner]))


def test_a_hole_outside_its_boundary_is_refused() -> None:
    said = refused(polygon(box(0, 0, 100, 100), box(200, 0, 250, 50)))
    assert "has a hole outside it" in said
    assert "7,500 or 12,500 m²" in said  # 100² − 50², or 100² + 50²


def test_a_spike_is_cleaned_and_said() -> None:
    boundary, problems = checked(polygon([(0, 0), (100, 0), (300, 0), (100, 0), (100, 100), (0, 100)]))
    assert boundary is not None
    assert measure_boundary(boundary).area_m2 == pytest.approx(10_000, rel=1e-6)
    assert [problem.level for problem in problems] == [Level.NOTE]
    assert "changed by 0.0 m² of 10,000 m²" in problems[0].fix


def test_a_ring_that_touches_itself_is_cleaned_without_changing_its_area() -> None:
    """A square with a triangular bay that closes at one corner: 100² − 60·30/2."""
    ring = [(0, 0), (50, 0), (20, 30), (80, 30), (50, 0), (100, 0), (100, 100), (0, 100)]
    boundary, problems = checked(polygon(ring))
    assert boundary is not None
    measured = measure_boundary(boundary)
    assert measured.area_m2 == pytest.approx(9_100, rel=1e-5)
    assert measured.holes == 1
    assert "touches itself" in problems[0].what


def test_a_small_loop_passes_only_within_the_tolerance_given() -> None:
    """A loop of about 12 m² on a plot of 10,000: over 0.1 %, under a standard error of 100 m²."""
    ring = [(0, 0), (100, 0), (100, 100), (0, 100), (0, 4), (6, -4), (-6, -4)]
    assert "crosses itself" in refused(polygon(ring))
    boundary, problems = checked(polygon(ring), tolerance_m2=100.0)
    assert boundary is not None
    assert problems[0].level is Level.NOTE


def test_parts_that_overlap_are_counted_once_and_said() -> None:
    two = shapely.MultiPolygon([polygon(box(0, 0, 100, 100)), polygon(box(50, 0, 150, 100))])
    boundary, problems = checked(two)
    assert boundary is not None
    assert measure_boundary(boundary).area_m2 == pytest.approx(15_000, rel=1e-6)
    assert problems[0].level is Level.WARNING
    assert "overlap by 5,000 m²" in problems[0].what


def test_parts_cut_at_the_180th_meridian_are_joined() -> None:
    """RFC 7946, section 3.1.9, asks writers to cut there."""
    two = shapely.MultiPolygon(
        [shapely.box(179.999, -17, 180, -16.999), shapely.box(-180, -17, -179.999, -16.999)]
    )
    boundary, problems = checked(two)
    assert boundary is not None
    assert measure_boundary(boundary).parts == 1
    assert measure_boundary(boundary).area_m2 == pytest.approx(measure_boundary(two).area_m2, rel=1e-9)
    assert "share an edge" in problems[0].what


def test_a_ring_across_the_180th_meridian_is_one_small_plot() -> None:
    jumping = shapely.Polygon([(179.999, -17), (-179.999, -17), (-179.999, -16.999), (179.999, -16.999)])
    boundary, problems = checked(jumping)
    assert boundary is not None
    west, _, east, _ = boundary.bounds
    assert east - west == pytest.approx(0.002)
    assert problems == ()


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        (polygon([(0, 0), (50, 50), (100, 100)]), "encloses 0."),
        (polygon(box(0, 0, 0.5, 0.5)), "encloses 0.25 m²"),
        (shapely.Polygon(), "no shape"),
        (shapely.Point(HOME), "this is a Point"),
        (shapely.LineString([HOME, place((1, 1))]), "this is a LineString"),
        (shapely.Polygon([(0, 60), (120, 60), (-120, 60)]), "spans 240 degrees of longitude"),
    ],
)
def test_what_encloses_no_ground_is_refused(shape: shapely.Geometry, said: str) -> None:
    assert said in refused(shape)


def test_polygons_in_a_collection_are_used_and_the_rest_is_said() -> None:
    mixed = shapely.GeometryCollection([shapely.Point(HOME), polygon(box(0, 0, 100, 100))])
    boundary, problems = checked(mixed)
    assert boundary is not None
    assert measure_boundary(boundary).area_m2 == pytest.approx(10_000, rel=1e-6)
    assert problems[0].level is Level.WARNING
    assert "Point" in problems[0].what


# Coordinates ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place_", "level", "said"),
    [
        ((float("nan"), 46.05), Level.ERROR, "(nan, 46.05)"),
        ((float("inf"), 46.05), Level.ERROR, "(inf, 46.05)"),
        ((46.05, -93.05), Level.ERROR, "(46.05, -93.05) is a place when read the other way round"),
        ((40.0, -85.0), Level.ERROR, "latitude -85 lies in Antarctica"),
        ((531234.1, 5098877.2), Level.ERROR, "(531234.1, 5098877.2) cannot be longitude, latitude"),
        ((1000.0, 45.0), Level.ERROR, "(1000, 45)"),
        ((10.0, 75.0), Level.WARNING, "latitude 75"),
    ],
)
def test_numbers_that_cannot_be_a_field(place_: tuple[float, float], level: Level, said: str) -> None:
    (problem,) = check_coordinates(shapely.Point(place_), "f")
    assert problem.level is level
    assert said in problem.what
    assert problem.fix


@pytest.mark.parametrize(
    "place_", [HOME, (8.0, 50.0), (50.0, 8.0), (179.9995, -17.0), (180.0005, -17.0), (-70.0, -55.0)]
)
def test_numbers_that_may_be_a_field_pass(place_: tuple[float, float]) -> None:
    """(8, 50) and (50, 8) are both farmed: swapping them cannot be seen from the numbers."""
    assert check_coordinates(shapely.Point(place_), "f") == ()


# Overlaps ------------------------------------------------------------------------------------------


def test_overlaps_by_hand() -> None:
    """20 by 100 m shared by two squares of 100 m: 2000 of 18 000; 2·2000/240 = 16.7 m wide."""
    plots = [
        Plot("A", "", square(100)),
        Plot("B", "", square(100, west=80)),
        Plot("C", "", square(100, west=300)),
    ]
    (found,) = overlaps(plots)
    assert (found.first, found.second) == (0, 1)
    assert found.area_m2 == pytest.approx(2000, rel=1e-5)
    assert found.share == pytest.approx(1 / 9, rel=1e-5)
    assert found.width_m == pytest.approx(4000 / 240, rel=1e-5)
    (problem,) = find_overlaps(plots)
    assert problem.level is Level.WARNING
    assert "plots A and B" in problem.where
    assert "2,000 m² (0.49 acres)" in problem.what


def test_a_boundary_drawn_twice_is_an_error() -> None:
    again = polygon(box(0, 0, 100, 100.2))
    (problem,) = find_overlaps([Plot("A", "Pine", square(100)), Plot("B", "Oak", again)])
    assert problem.level is Level.ERROR
    assert "Pine (A)" in problem.where
    assert "99.8%" in problem.what


def test_a_sliver_along_a_shared_edge_is_a_note() -> None:
    (problem,) = find_overlaps([Plot("A", "", square(100)), Plot("B", "", square(100, west=99.7))])
    assert problem.level is Level.NOTE
    assert "sliver of 30 m²" in problem.what
    assert "0.3 m wide" in problem.what  # 2·30 / (2·(100 + 0.3)) = 0.299


def test_neighbours_that_meet_exactly_share_nothing() -> None:
    corner, far = place((100, 0)), place((100, 100))
    left = shapely.Polygon([place((0, 0)), corner, far, place((0, 100))])
    right = shapely.Polygon([corner, place((200, 0)), place((200, 100)), far])
    assert find_overlaps([Plot("A", "", left), Plot("B", "", right)]) == ()


def test_a_sliver_part_is_noted() -> None:
    two = shapely.MultiPolygon([polygon(box(0, 0, 100, 100)), polygon(box(200, 0, 200.4, 100))])
    (problem,) = find_overlaps([Plot("A", "", two)])
    assert problem.level is Level.NOTE
    assert "40.0 m²" in problem.what
    assert overlaps([Plot("A", "", two)]) == ()
