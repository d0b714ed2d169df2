"""Many plots at once are what each is alone: checks, overlaps and cuts against trying every pair."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from places import HOME, box, place, polygon, square
from pyproj import Proj

from loamwright.errors import InputError
from loamwright.land import geometry
from loamwright.land.acreage import NEAR_M, areas, within_reach
from loamwright.land.boundaries import (
    check_boundaries,
    check_boundary,
    find_overlaps,
    find_slivers,
    measure_batch,
    near_pairs,
    overlap_problem,
    overlaps,
    placed_for_sure,
    shared_among,
    tidied,
)
from loamwright.land.geometry import boxes_around, meeting, shapes_from_geojson
from loamwright.land.records import KeepOut, Plot

Corner = tuple[float, float]
#: Places where boxes are easily got wrong: home, the 180th meridian from either side, the far north.
ORIGINS = (HOME, (180.0, -17.0), (-179.9999, 52.0), (20.0, 69.0))


@st.composite
def crowds(draw: st.DrawFn) -> tuple[Corner, list[shapely.Polygon]]:
    """Return up to ten triangles and quadrilaterals within a few hundred metres of each other."""
    origin = draw(st.sampled_from(ORIGINS))
    shapes = []
    for _ in range(draw(st.integers(2, 10))):
        east, north = draw(st.floats(-250, 250)), draw(st.floats(-250, 250))
        reach = [draw(st.floats(5, 120)) for _ in range(draw(st.integers(3, 4)))]
        turns = [2 * math.pi * index / len(reach) for index in range(len(reach))]
        ring = [(east + r * math.cos(t), north + r * math.sin(t)) for r, t in zip(reach, turns, strict=True)]
        shapes.append(polygon(ring, origin=origin))
    return origin, shapes


def flat(shape: Any, origin: Corner) -> Any:
    """Lay a shape flat with PROJ around a place, longitudes on either side of the 180th meridian."""
    project = Proj(proj="laea", lon_0=origin[0], lat_0=origin[1], ellps="WGS84")
    return shapely.transform(shape, lambda xy: np.column_stack(project(xy[:, 0], xy[:, 1])))


def plots_of(shapes: list[Any]) -> list[Plot]:
    checked = [check_boundary(shape, "f")[0] for shape in shapes]
    return [Plot(str(n), "", boundary) for n, boundary in enumerate(checked) if boundary is not None]


# Overlaps ------------------------------------------------------------------------------------------


@given(crowds())
@settings(max_examples=80, deadline=None)
def test_overlaps_from_the_index_are_those_of_trying_every_pair(
    crowd: tuple[Corner, list[shapely.Polygon]],
) -> None:
    origin, shapes = crowd
    laid = [flat(shape, origin) for shape in shapes]
    expected = {}
    for (i, a), (j, b) in itertools.combinations(enumerate(laid), 2):
        m2 = a.intersection(b).area
        if abs(m2 - 1) < 1e-3:  # on the limit: the two planes may differ
            return
        if m2 > 1:
            expected[i, j] = m2, m2 / a.union(b).area
    found = overlaps(plots_of(shapes))
    assert [(pair.first, pair.second) for pair in found] == sorted(expected)
    for pair in found:
        m2, share = expected[pair.first, pair.second]
        assert pair.area_m2 == pytest.approx(m2, rel=1e-6, abs=1e-6)
        assert pair.share == pytest.approx(share, rel=1e-6)
    least = [pair for pair in found if pair.share >= 0.25]
    assert overlaps(plots_of(shapes), share=0.25) == tuple(least)


def test_neighbours_across_the_180th_meridian_are_found_from_either_side() -> None:
    west, east = square(100, west=-50, origin=(180.0, -17.0)), square(100, west=20, origin=(-180.0, -17.0))
    for pair in ([west, east], [east, west]):
        (found,) = overlaps([Plot("A", "", pair[0]), Plot("B", "", pair[1])])
        assert found.area_m2 == pytest.approx(30 * 100, rel=1e-5)


def test_a_long_geodesic_side_bulges_beyond_its_corners_box() -> None:
    """A side of 0.5° along 60° N rises by Δλ² sin φ cos φ / 8 = 4.1e-6 rad, 26 m, above its ends."""
    long = shapely.Polygon([(10.0, 59.99), (10.5, 59.99), (10.5, 60.0), (10.0, 60.0)])
    small = polygon(box(-20, 5, 20, 60), origin=(10.25, 60.0))
    assert long.bounds[3] < small.bounds[1]
    (found,) = overlaps(plots_of([long, small]))
    rise = 6.396e6 * math.radians(0.5) ** 2 * math.sin(math.pi / 3) * math.cos(math.pi / 3) / 8
    assert rise == pytest.approx(26.4, abs=0.2)
    assert found.area_m2 == pytest.approx(40 * (rise - 5), rel=0.03)


def test_meeting_boxes_are_those_of_trying_every_pair() -> None:
    rng = np.random.default_rng(5)
    west, south = rng.uniform(-200, 200, 60), rng.uniform(-60, 60, 60)
    shapes = shapely.box(west, south, west + rng.uniform(0, 20, 60), south + rng.uniform(0, 20, 60))
    boxes = boxes_around([*shapes, shapely.Polygon()])
    others = boxes_around(shapes[:30], rng.uniform(0, 1e5, 30))
    expected = [
        (i, j)
        for i, j in itertools.product(range(60), range(30))
        if boxes[i, 1] <= others[j, 3]
        and others[j, 1] <= boxes[i, 3]
        and any(
            boxes[i, 0] + turn <= others[j, 2] and others[j, 0] <= boxes[i, 2] + turn
            for turn in (-360, 0, 360)
        )
    ]
    assert list(zip(*map(np.ndarray.tolist, meeting(boxes, others)), strict=True)) == expected
    assert len(meeting(boxes[60:], others)[0]) == 0


def test_pairs_can_be_compared_some_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    shapes = np.array([square(100, west=60.0 * n) for n in range(12)], dtype=object)
    plots = [Plot(str(n), "", shape) for n, shape in enumerate(shapes)]
    monkeypatch.setattr("loamwright.land.boundaries._PAIRS_AT_ONCE", 3)
    boxes = measure_batch(shapes).boxes
    found = tuple(shared_among(shapes.__getitem__, near_pairs(boxes)))
    assert found == overlaps(plots)
    assert len(found) == 11
    said = [overlap_problem(pair, plots[pair.first], plots[pair.second]) for pair in found]
    assert tuple(said) == find_overlaps(plots)


def test_slivers_are_found_among_many() -> None:
    sliver = shapely.MultiPolygon([polygon(box(0, 0, 100, 100)), polygon(box(200, 0, 200.4, 100))])
    broad = shapely.MultiPolygon([polygon(box(0, 0, 100, 100)), polygon(box(200, 0, 240, 100))])
    plots = [Plot("A", "", broad), Plot("B", "", square(0.5)), Plot("C", "Oak", sliver)]
    (problem,) = find_slivers(plots)
    assert "Oak (C)" in problem.where
    assert "40.0 m²" in problem.what
    assert find_slivers([]) == ()


# Checks --------------------------------------------------------------------------------------------

SOUND = polygon(box(0, 0, 100, 100), box(20, 20, 50, 50))
APART = polygon(box(200, 0, 300, 100))
#: Shapes of every kind a check knows: as they stand, repaired, refused.
KINDS: list[Any] = [
    SOUND,
    SOUND.reverse(),
    shapely.force_3d(SOUND, 300.0),
    shapely.MultiPolygon([SOUND]),
    shapely.MultiPolygon([SOUND, APART]),
    shapely.MultiPolygon([SOUND, shapely.Polygon()]),
    shapely.MultiPolygon([SOUND, SOUND]),
    shapely.GeometryCollection([SOUND, shapely.Point(HOME)]),
    polygon([(0, 0), (100, 100), (100, 0), (0, 100)]),
    polygon([(0, 0), (100, 0), (100, 100), (100, 160), (100, 100), (0, 100)]),
    polygon(box(0, 0, 0.5, 0.5)),
    polygon(box(0, 0, 100, 100), origin=(180.0, -17.0)),
    shapely.Polygon([(179.999, 1), (-179.999, 1), (-179.999, 1.001), (179.999, 1.001)]),
    polygon(box(0, 0, 100, 100), origin=(20.0, 75.0)),
    polygon(box(0, 0, 100, 100), origin=(20.0, -65.0)),
    shapely.Polygon([(46.05, -93.05), (46.06, -93.05), (46.06, -93.04)]),
    shapely.Polygon([(5e5, 5e6), (6e5, 5e6), (6e5, 6e6)]),
    shapely.Polygon([(0, 0), (1, math.inf), (1, 1)]),
    shapely.Polygon(),
    shapely.LineString([HOME, place((100, 100))]),
]


@pytest.mark.filterwarnings("ignore:invalid value encountered")
def test_many_checks_at_once_say_what_each_alone_says() -> None:
    wheres = [f"f, feature {n}" for n in range(len(KINDS))]
    together = check_boundaries(KINDS, wheres)
    assert together == [check_boundary(shape, where) for shape, where in zip(KINDS, wheres, strict=True)]
    # Without a word: the first six, and the two at the 180th meridian, whose longitudes are moved.
    assert sum(not problems for _, problems in together) == 8
    assert check_boundaries([], []) == []


@pytest.mark.filterwarnings("ignore:invalid value encountered")
def test_a_batch_has_the_figures_of_the_checked_boundaries() -> None:
    given_ = np.array([*KINDS, None], dtype=object)
    batch = measure_batch(given_)
    assert batch.sound.sum() == 6
    for index in np.flatnonzero(batch.sound):
        boundary, problems = check_boundary(given_[index], "f")
        assert (tidied(given_[[index]])[0], problems) == (boundary, ())
        assert boundary is not None
        alone = geometry.measure_boundary(boundary)
        figures = batch.area_m2, batch.perimeter_m, batch.parts, batch.holes
        assert tuple(figure[index] for figure in figures) == (
            alone.area_m2, alone.perimeter_m, alone.parts, alone.holes
        )  # fmt: skip
        west, south, east, north = batch.boxes[index]
        bounds = geometry.bounds(boundary)
        assert (west, south, east, north) == pytest.approx(bounds, abs=1e-6)
    assert np.isnan(batch.boxes[~batch.sound]).all()


@pytest.mark.filterwarnings("ignore:invalid value encountered")
def test_places_that_are_sure_need_no_second_look() -> None:
    from loamwright.land.boundaries import check_coordinates

    shapes = np.array([*KINDS, None], dtype=object)
    sure = placed_for_sure(shapes)
    for shape, fine in zip(KINDS, sure, strict=False):
        assert fine == (check_coordinates(shape, "f") == ())
    assert not sure[-1]


# Cuts ----------------------------------------------------------------------------------------------


def keepout(ident: str, shape: Any, setback_m: float | None) -> KeepOut:
    return KeepOut(ident, "", "water", shape, setback_m)


@given(crowds(), st.lists(st.tuples(st.floats(-300, 300), st.floats(-300, 300)), min_size=1, max_size=6))
@settings(max_examples=40, deadline=None)
def test_cuts_from_the_index_are_those_of_trying_every_keepout(
    crowd: tuple[Corner, list[shapely.Polygon]], spots: list[Corner]
) -> None:
    """Each plot alone with each keep-out alone: which cut it, and which of unknown setback are near."""
    origin, shapes = crowd
    setbacks = itertools.cycle([0.0, 12.0, None, 40.0])
    keepouts = [
        keepout(f"K{n}", polygon(box(e, n_, e + 15, n_ + 15), origin=origin), next(setbacks))
        for n, (e, n_) in enumerate(spots)
    ]
    plots = plots_of(shapes)
    for plot, measured in zip(plots, areas(plots, keepouts), strict=True):
        ground = flat(plot.boundary, origin)
        cutting, near = [], []
        for item in keepouts:
            shape = flat(item.shape, origin)
            reach = shape.buffer(item.setback_m or 0.0, quad_segs=32)
            shared = ground.intersection(reach).area
            if 0 < shared < 1e-2:  # a touch, which two planes may see differently
                return
            cutting += [item.keepout_id] if shared else []
            near += [item.keepout_id] if item.setback_m is None and ground.distance(shape) <= NEAR_M else []
        assert [ident for ident, _ in measured.keepouts] == cutting
        assert list(measured.missing_setbacks) == near
    reached = set(within_reach(boxes_around([p.boundary for p in plots]), keepouts))
    assert reached >= {n for n, area in enumerate(areas(plots, keepouts)) if area.keepouts}


def test_no_plot_moves_a_digit_of_another() -> None:
    """Alone with its keep-outs, and in a property that reaches across a continent, in either order."""
    ditch = keepout("D", shapely.LineString([place((50, -50)), place((50, 150))]), 10.0)
    well = keepout("W", shapely.Point(place((5, 5))), 15.24)
    here = Plot("A", "", square(100))
    far = [Plot(f"F{n}", "", square(100, origin=(-70.0 - n, 30.0 + n / 2))) for n in range(20)]
    (alone,) = areas([here], [ditch, well])
    for plots in ([here, *far], [*far, here], [*far[:9], here, *far[9:]]):
        found = {area.plot_id: area for area in areas(plots, [well, ditch][::-1])}
        assert found["A"] == alone
    assert len(alone.keepouts) == 2


# GeoJSON -------------------------------------------------------------------------------------------


def alone(geometry_: Any) -> Any:
    """Read one geometry: its shape, or the problem it is refused with."""
    if geometry_ is None:
        return None
    try:
        return geometry.from_geojson(geometry_)
    except InputError as refusal:
        return refusal.problems[0]


def test_shapes_read_together_are_those_read_alone() -> None:
    ring = [[0, 0], [1, 0], [1, 1.5], [0, 0]]
    given_: list[Any] = [
        None,
        {"type": "Polygon", "coordinates": [ring]},
        {"type": "Polygon", "coordinates": [[[x * 9, y * 9] for x, y in ring], ring]},
        {"type": "Polygon", "coordinates": [ring[:3]]},
        {"type": "Polygon", "coordinates": [[[x, y, 7] for x, y in ring]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 0, 5], [1, 1], [0, 0]]]},
        {"type": "Polygon", "coordinates": []},
        {"type": "Polygon", "coordinates": [[["0", "0"], ["1", "0"], ["1", "1"], ["0", "0"]]]},
        {"type": "Polygon", "coordinates": [[[True, False], [1, 0], [1, 1], [True, False]]]},
        {"type": "Polygon", "coordinates": ["ring"]},
        {"type": "Polygon", "coordinates": [["ab", "cd", "ef", "ab"]]},
        {"type": "MultiPolygon", "coordinates": [[ring]]},
        {"type": "Point", "coordinates": [1, 2]},
        {"type": "Blob"},
        7,
        "Polygon",
        [ring],
    ]
    together = shapes_from_geojson(given_)
    for geometry_, found in zip(given_, together, strict=True):
        assert shapes_from_geojson([geometry_]) == [found]
        assert found == alone(geometry_)
    huge = {"type": "Polygon", "coordinates": [[*ring[:3], [10**400, 0], ring[0]]]}
    quoted, sound = shapes_from_geojson([huge, given_[1]])
    assert "is not a GeoJSON geometry" in str(quoted)
    assert sound == together[1]
    assert shapes_from_geojson([]) == []
