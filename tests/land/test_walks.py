"""The ± of a walked area: by hand, and against ten thousand noisy walks."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from places import box, place, polygon

from loamwright.errors import Level
from loamwright.land.walks import area_standard_error, walk_to_boundary
from loamwright.units import ACRE_M2


def lonlat(corners: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [place(corner) for corner in corners]


def bent_plot(count: int) -> np.ndarray:
    """Return fixes around an invented kidney-shaped plot of about a hectare [m]."""
    angle = np.linspace(0, 2 * math.pi, count, endpoint=False)
    radius = 55 + 12 * np.cos(2 * angle) - 9 * np.sin(3 * angle)
    return np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))


def shoelace(xy: np.ndarray) -> np.ndarray:
    """Return signed areas of many rings at once, shape (walks, fixes, 2)."""
    after = np.roll(xy, -1, axis=1)
    return (xy[..., 0] * after[..., 1] - after[..., 0] * xy[..., 1]).sum(axis=1) / 2


def as_fixes(xy: np.ndarray) -> list[tuple[float, float]]:
    return lonlat([(float(x), float(y)) for x, y in xy])


def test_a_rectangle_by_hand() -> None:
    """60 by 80 m: every |next − previous| is the 100 m diagonal, so σ/2 · √(4·100²) = 100 σ."""
    corners = lonlat(box(0, 0, 60, 80))
    assert area_standard_error(corners, 3.0) == pytest.approx(300.0, rel=1e-5)
    assert area_standard_error(corners, 0.0) == 0.0
    # Two independent fixes of four: variance doubles.
    assert area_standard_error(corners, 3.0, effective_vertices=2) == pytest.approx(
        300 * math.sqrt(2), rel=1e-5
    )
    assert area_standard_error(corners, 3.0, effective_vertices=99) == pytest.approx(300.0, rel=1e-5)


def test_independent_errors_against_ten_thousand_walks() -> None:
    """The spread of 10,000 sampled areas is itself known to 1/√(2·10,000) = 0.7 %: 3 of those."""
    truth, sigma = bent_plot(60), 0.5
    noise = np.random.default_rng(20260401).normal(0, sigma, (10_000, *truth.shape))
    spread = float(shoelace(truth + noise).std())
    assert area_standard_error(as_fixes(truth), sigma) == pytest.approx(spread, rel=0.021)


def test_coarse_errors_are_stated_on_the_safe_side() -> None:
    """With σ = 3 m and fixes 6 m apart the square of σ matters.

    A = ½ Σ v(i) × v(i+1), so each product e(i) × e(i+1) of errors adds ¼ · 2σ⁴ to the variance:
    n·σ⁴/2 = 60 · 81 / 2 = 2430 m⁴ over the first order. The sum over measured fixes adds, for each,
    σ²/4 times the mean of |e(i+1) − e(i−1)|², which is 4σ²: n·σ⁴ = 4860 m⁴.
    """
    truth, sigma = bent_plot(60), 3.0
    noise = np.random.default_rng(20260403).normal(0, sigma, (10_000, *truth.shape))
    variance = float(shoelace(truth + noise).var())
    first_order = area_standard_error(as_fixes(truth), sigma) ** 2
    assert variance == pytest.approx(first_order + 2430, rel=0.042)
    stated = np.mean([area_standard_error(as_fixes(truth + error), sigma) ** 2 for error in noise[:300]])
    assert stated == pytest.approx(first_order + 4860, rel=0.02)
    assert stated > variance


def test_drifting_errors_behave_as_fewer_fixes() -> None:
    """Neighbours alike by r = 0.8: 240 fixes say as much as 240·(1 − 0.8)/(1 + 0.8) = 26.7.

    The rule is first order in how fast the boundary turns beside how fast the drift dies out, so
    10 % is asked, not the 2 % of the test above.
    """
    truth, sigma, alike = bent_plot(240), 3.0, 0.8
    draws = np.random.default_rng(20260402).normal(0, 1, (10_000, 480, 2))
    drift = np.empty_like(draws)
    drift[:, 0] = draws[:, 0]
    for i in range(1, draws.shape[1]):
        drift[:, i] = alike * drift[:, i - 1] + math.sqrt(1 - alike**2) * draws[:, i]
    spread = float(shoelace(truth + sigma * drift[:, -240:]).std())
    fixes = as_fixes(truth)
    stated = area_standard_error(fixes, sigma, effective_vertices=240 * (1 - alike) / (1 + alike))
    assert stated == pytest.approx(spread, rel=0.10)
    assert area_standard_error(fixes, sigma) < 0.4 * spread  # calling them independent is 2.7 times too sure


@pytest.mark.parametrize(("sigma", "effective"), [(-1.0, None), (math.nan, None), (3.0, 0.0), (3.0, -4.0)])
def test_impossible_errors_are_named(sigma: float, effective: float | None) -> None:
    with pytest.raises(ValueError, match=r"sigma_m is (-1\.0|nan)|effective_vertices is (0\.0|-4\.0)"):
        area_standard_error(lonlat(box(0, 0, 60, 80)), sigma, effective)


def test_a_walk_becomes_a_boundary_with_steps() -> None:
    walk = walk_to_boundary(lonlat(box(0, 0, 60, 80)), sigma_m=3.0)
    assert walk.boundary is not None
    assert walk.area_m2 == pytest.approx(4800, rel=1e-6)
    assert walk.area_se_m2 == pytest.approx(300, rel=1e-5)
    area, sigma, error = walk.steps
    assert area.value == pytest.approx(4800 / ACRE_M2, rel=1e-6)
    assert (sigma.value, sigma.unit) == (3.0, "m")
    assert error.value == pytest.approx(300 / ACRE_M2, rel=1e-5)
    assert "4 fixes taken as independent" in error.what
    assert (
        "counted as 2 independent ones" in walk_to_boundary(lonlat(box(0, 0, 60, 80)), 3.0, 2).steps[2].what
    )


def test_standing_still_and_coming_back_change_nothing() -> None:
    ring = lonlat(box(0, 0, 60, 80))
    still = [ring[0], ring[0], ring[1], ring[1], ring[1], ring[2], ring[3], ring[0]]
    assert walk_to_boundary(still, 3.0) == walk_to_boundary(ring, 3.0)


def test_an_overrun_at_the_end_is_cleaned_within_the_standard_error() -> None:
    """The walker passes the start and crosses the first leg: a loop of about 18 m², under ± 100."""
    ring = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0), (0.0, 4.0), (6.0, -4.0), (-6.0, -4.0)]
    walk = walk_to_boundary(lonlat(ring), sigma_m=3.0, where="walk.gpx, tracks, feature 1")
    assert walk.area_m2 == pytest.approx(10_000, abs=100)
    assert [problem.level for problem in walk.problems] == [Level.NOTE]
    assert walk.problems[0].where == "walk.gpx, tracks, feature 1"


def test_a_figure_of_eight_is_refused() -> None:
    walk = walk_to_boundary(lonlat([(0, 0), (100, 100), (100, 0), (0, 100)]), 3.0)
    assert walk.boundary is walk.area_m2 is walk.area_se_m2 is None
    assert "crosses itself" in walk.problems[0].what


def test_a_walk_that_stops_far_from_its_start_is_mentioned() -> None:
    """Three sides of a 100 m square: 100 m missing of a perimeter of 400."""
    walk = walk_to_boundary(lonlat([(0, 0), (100, 0), (100, 100), (0, 100)]), 3.0)
    (problem,) = walk.problems
    assert problem.level is Level.WARNING
    assert "ends 100 m from where it began" in problem.what


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([], "0 different places"),
        ([(-93.05, 46.05)] * 5, "1 different places"),
        (lonlat([(0, 0), (50, 50)]), "2 different places"),
        ([(-93.05, 46.05), (-93.04, 46.05), (math.nan, 46.06)], "(nan, 46.06)"),
        ([(46.05, -93.05), (46.05, -93.04), (46.06, -93.04)], "swapped"),
        (lonlat([(0, 0), (50, 50), (100, 100)]), "no area"),
    ],
)
def test_walks_that_enclose_nothing_are_refused(points: list[tuple[float, float]], said: str) -> None:
    walk = walk_to_boundary(points, 3.0)
    assert walk.boundary is None
    assert said in str(walk.problems[-1])


@pytest.mark.parametrize(("spacing_m", "warned"), [(2.0, True), (8.0, False)])
def test_a_track_too_smooth_for_independent_errors_is_said(spacing_m: float, warned: bool) -> None:
    """Fixes 2 m apart: |next − previous|² is 16 m², under 4 · 3² = 36; 8 m apart: 256."""
    edge = shapely.LineString([*box(0, 0, 80, 80), (0, 0)])
    count = round(320 / spacing_m)
    spots = [edge.interpolate(i * spacing_m) for i in range(count)]
    walk = walk_to_boundary(lonlat([(spot.x, spot.y) for spot in spots]), 3.0)
    assert [problem.level for problem in walk.problems] == ([Level.WARNING] if warned else [])
    if warned:
        assert "160 fixes run smoother than independent errors of 3 m" in walk.problems[0].what
        assert walk_to_boundary(lonlat([(spot.x, spot.y) for spot in spots]), 3.0, 20.0).problems == ()


def test_a_dense_walk_around_a_known_shape() -> None:
    """100 fixes on the edges of a 100 m square, laid out by GeographicLib: the area is 10,000 m²."""
    edge = polygon(box(0, 0, 100, 100)).exterior
    fixes = [tuple(edge.interpolate(i / 100, normalized=True).coords[0]) for i in range(100)]
    walk = walk_to_boundary([(lon, lat) for lon, lat in fixes], 3.0)
    assert walk.area_m2 == pytest.approx(10_000, rel=0.01)
    # Along an edge the neighbours are 8 m apart: σ/2 · √(100 · 8²) = 120 m², a little less at corners.
    assert walk.area_se_m2 == pytest.approx(120, rel=0.05)
