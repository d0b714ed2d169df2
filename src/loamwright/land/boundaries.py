"""Is what was drawn a plot, and does any ground lie in two of them?

This file answers "can this boundary be used?" for one shape, and "is any ground counted twice?"
for many. It repairs what can be repaired without changing which ground is meant, says so, and
refuses the rest. It measures nothing of its own (`geometry` does) and reads no files.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely import GeometryType
from shapely.geometry import GeometryCollection, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from loamwright.errors import InputError, Level, Problem
from loamwright.land.acreage import title
from loamwright.land.geometry import Plane, beside, boxes_around, geodesic_area_m2, meeting, polygons_of
from loamwright.land.records import Plot, Shape
from loamwright.land.sizes import areas_m2, measure_polygons
from loamwright.units import format_area

#: A boundary that encloses less than this is no plot [m2] (our choice).
SMALLEST_PLOT_M2 = 1.0
#: A repair may change the area by this share and still be called the same shape (our choice).
REPAIR_SHARE = 0.001
#: Two boundaries that agree to this share are the same plot drawn twice (our choice).
DUPLICATE_SHARE = 0.99
#: An overlap or part narrower than this on average is a sliver [m] (our choice).
SLIVER_WIDTH_M = 1.0
#: A drawing or a walk that crosses itself more often than this is a scribble (our choice).
MOST_CROSSINGS = 500
#: Edges held against all others at once.
_EDGES_AT_ONCE = 256
#: Pairs of plots compared at once: a few ten thousand boundaries in memory.
_PAIRS_AT_ONCE = 20_000
#: Nearer than this to the crossing of equator and prime meridian there is only sea [degree] (our choice).
NOWHERE = 0.1
#: South of this nothing is farmed [degree]: the Antarctic Treaty area begins at 60° S.
SOUTH_LIMIT = -60.0
#: North of this a field is so unlikely that we ask [degree] (our choice).
CROP_LIMIT = 72.0


# ---------------------------------------------------------------------------------------------
# Checking


def check_coordinates(shape: Shape, where: str) -> tuple[Problem, ...]:
    """Say whether a shape's numbers can be longitude, latitude of a place where something grows.

    Parameters
    ----------
    shape
        Any geometry.
    where
        File and feature, for the message.

    Returns
    -------
    tuple of Problem
        Empty when all is well. An error for numbers that are not finite, too large to be degrees,
        or certainly in swapped order; a warning for a place too far north to farm.

    Notes
    -----
    Swapped order is only said where it is certain. (46.05, -93.05) cannot be longitude, latitude,
    and (40, -85) would be Antarctica; but (50, 8) is a place whichever way it is read, and passes.
    """
    coords = shapely.get_coordinates(shape)
    lon, lat = coords[:, 0], coords[:, 1]

    def first(bad: Any) -> tuple[float, float] | None:
        index = int(np.argmax(bad)) if bad.any() else -1
        return None if index < 0 else (float(lon[index]), float(lat[index]))

    if (at := first(~np.isfinite(coords).all(axis=1))) is not None:
        what = f"coordinate ({at[0]:g}, {at[1]:g}) is not a pair of finite numbers"
        return (Problem(where, what, "Draw the shape again or delete that vertex."),)
    if (at := first((np.abs(lat) < NOWHERE) & (np.abs(lon) < NOWHERE))) is not None:
        what = f"({at[0]:g}, {at[1]:g}) lies in the sea off Africa: a program that knew no place wrote zeros"
        return (Problem(where, what, "Draw the shape again or delete that vertex."),)
    if (at := first((np.abs(lat) > 90) & (np.abs(lat) <= 180) & (np.abs(lon) <= 90))) is not None:
        what = (
            f"latitude {at[1]:.6g} is outside -90 to 90, but ({at[0]:.6g}, {at[1]:.6g}) is a place when read "
            "the other way round: longitude and latitude are swapped"
        )
        return (Problem(where, what, "Write longitude first, then latitude."),)
    if (at := first((np.abs(lat) > 90) | (np.abs(lon) > 360))) is not None:
        what = (
            f"({at[0]:.10g}, {at[1]:.10g}) cannot be longitude, latitude; numbers this large are metres or "
            "feet of a projected coordinate system"
        )
        return (Problem(where, what, "Export the layer again as WGS84 (EPSG:4326)."),)
    if (at := first(lat < SOUTH_LIMIT)) is not None:
        what = f"latitude {at[1]:.6g} lies in Antarctica: longitude and latitude are swapped"
        return (Problem(where, what, "Write longitude first, then latitude."),)
    if (at := first(lat > CROP_LIMIT)) is not None:
        what = f"latitude {at[1]:.6g} is north of any cropland"
        fix = "Look at the plot on a map; if it is in the wrong place, longitude and latitude are swapped."
        return (Problem(where, what, fix, Level.WARNING),)
    return ()


def placed_for_sure(shapes: np.ndarray) -> np.ndarray:
    """Tell which of many shapes `check_coordinates` has nothing to say of.

    Parameters
    ----------
    shapes
        Geometries; None where there is none.

    Returns
    -------
    numpy.ndarray
        True where every number is a place where something grows; False where it must be looked at.
    """
    coords, owner = shapely.get_coordinates(shapes, return_index=True)
    lon, lat = coords[:, 0], coords[:, 1]
    with np.errstate(invalid="ignore"):
        fine = (np.abs(lon) <= 360) & (lat >= SOUTH_LIMIT) & (lat <= CROP_LIMIT)
        fine &= (np.abs(lon) >= NOWHERE) | (np.abs(lat) >= NOWHERE)
    sure: np.ndarray = ~shapely.is_missing(shapes)
    sure[owner[~fine]] = False
    return sure


def check_boundary(
    drawn: Shape, where: str, tolerance_m2: float = 0.0
) -> tuple[Shape | None, tuple[Problem, ...]]:
    """Check a boundary, repair what keeps its meaning, and refuse what does not.

    Parameters
    ----------
    drawn
        What the user drew, longitude-latitude on WGS84.
    where
        File and feature, for the messages.
    tolerance_m2
        Change of area a repair may make [m2]; never less than 0.1 % of the area. A GPS walk passes
        its own standard error here.

    Returns
    -------
    tuple of (Shape or None, tuple of Problem)
        Polygon or MultiPolygon ready to use, or None when refused; and what was found. Repairs
        are notes: a spike or touching point cleaned, parts that share an edge joined. Parts that
        overlap and pieces that are not polygons are warnings. Heights are dropped and rings are
        turned the GeoJSON way round without a word: neither has a meaning for area.

    Notes
    -----
    A repair keeps the meaning when the area it encloses equals the area of the rings as drawn. A
    bow-tie fails: as drawn its two halves cancel. So do a hole outside its boundary and a ring
    walked twice around.
    """
    notes: list[Problem] = []
    try:
        shape = _placed(drawn, where, notes)
        parts = [
            piece
            for polygon in _only_polygons(shape, where, notes)
            for piece in _repaired(polygon, where, tolerance_m2, notes)
        ]
        boundary = _joined(parts, where, notes)
    except InputError as refusal:
        return None, (*notes, *refusal.problems)
    area = geodesic_area_m2(boundary)
    if area < SMALLEST_PLOT_M2:
        return None, (*notes, _no_area(area, where))
    return shapely.orient_polygons(boundary), tuple(notes)


def check_boundaries(
    drawn: Sequence[Shape], wheres: Sequence[str]
) -> list[tuple[Shape | None, tuple[Problem, ...]]]:
    """Check many boundaries at once.

    Parameters
    ----------
    drawn
        What the user drew, longitude-latitude on WGS84.
    wheres
        File and feature of each, for the messages.

    Returns
    -------
    list of tuple of (Shape or None, tuple of Problem)
        For each what `check_boundary` gives for it.
    """
    shapes, sound = sound_polygons(np.array(drawn, dtype=object))
    sound[sound] = areas_m2(shapes[sound]) >= SMALLEST_PLOT_M2
    return [
        (ready, ()) if fine else check_boundary(shape, where)
        for ready, fine, shape, where in zip(shapes, sound, drawn, wheres, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Batch:
    """Many boundaries measured at once, one entry for each.

    Parameters
    ----------
    sound
        True for those that are plots as they stand; the others have no figures and must be checked.
    area_m2, perimeter_m
        Area and length of all rings [m2, m].
    parts, holes
        Polygons and inner rings [count].
    boxes
        Rows west, south, east, north [degree] around the boundary and its geodesic edges; NaN for none.
    """

    sound: np.ndarray
    area_m2: np.ndarray
    perimeter_m: np.ndarray
    parts: np.ndarray
    holes: np.ndarray
    boxes: np.ndarray


def measure_batch(drawn: np.ndarray) -> Batch:
    """Check and measure many boundaries at once.

    Parameters
    ----------
    drawn
        What the user drew, longitude-latitude on WGS84; None where there is no shape.

    Returns
    -------
    Batch
        Figures to the last digit as `areas` gives them for each plot by itself.
    """
    shapes, sound = sound_polygons(drawn)
    shapes[~sound] = None
    return _batch(shapes)


def measure_checked(boundaries: Sequence[Shape]) -> Batch:
    """Measure many boundaries that are checked already.

    Parameters
    ----------
    boundaries
        What `check_boundaries` gives.

    Returns
    -------
    Batch
        All of them sound.
    """
    return _batch(np.array(boundaries, dtype=object))


def _batch(shapes: np.ndarray) -> Batch:
    sizes = measure_polygons(shapes)
    sound = sizes.area_m2 >= SMALLEST_PLOT_M2
    boxes = np.where(sound[:, np.newaxis], boxes_around(shapes), np.nan)
    return Batch(sound, sizes.area_m2, sizes.perimeter_m, sizes.parts, sizes.holes, boxes)


def sound_polygons(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the shapes, and which of them are plots as they stand but for their size: valid, where something
    grows, without a jump at the 180th meridian. Those come back flat and turned the GeoJSON way round."""
    west, south, east, north = shapely.bounds(shapes).T
    placed = (west >= -180) & (east <= 180) & (east - west < 180)
    sound = placed & (south >= SOUTH_LIMIT) & (north <= CROP_LIMIT)
    sound &= np.isin(shapely.get_type_id(shapes), (GeometryType.POLYGON, GeometryType.MULTIPOLYGON))
    several = np.flatnonzero(shapely.get_num_geometries(shapes) > 1)
    parts, owner = shapely.get_parts(shapes[several], return_index=True)
    sound[several[owner[shapely.is_empty(parts)]]] = False
    sound[sound] = shapely.is_valid(shapes[sound])  # false also where a number is not finite
    shapes = shapes.copy()
    shapes[sound] = tidied(shapes[sound])
    return shapes, sound


def tidied(shapes: np.ndarray) -> np.ndarray:
    """Return boundaries that are plots as they stand the way `check_boundaries` hands them back.

    Parameters
    ----------
    shapes
        What `measure_batch` finds sound; None stays None.

    Returns
    -------
    numpy.ndarray
        Without heights, turned the GeoJSON way round, and one part alone as a polygon.
    """
    alone = (shapely.get_type_id(shapes) == GeometryType.MULTIPOLYGON) & (
        shapely.get_num_geometries(shapes) == 1
    )
    single = np.where(alone, shapely.get_geometry(shapes, 0), shapes)
    ready: np.ndarray = shapely.orient_polygons(shapely.force_2d(single))
    return ready


def _placed(drawn: Shape, where: str, notes: list[Problem]) -> BaseGeometry:
    """Return a shape laid flat, its longitudes running on across 180°, or refuse it."""
    if drawn.is_empty:
        raise InputError([Problem(where, "the feature has no shape", "Draw its boundary or delete it.")])
    for problem in check_coordinates(drawn, where):
        if problem.level is Level.ERROR:
            raise InputError([problem])
        notes.append(problem)
    shape = shapely.force_2d(drawn)
    start = float(beside(shapely.get_coordinates(shape)[0, 0], 0.0))
    shape = shapely.transform(shape, lambda xy: np.column_stack((beside(xy[:, 0], start), xy[:, 1])))
    west, _, east, _ = shape.bounds
    if east - west >= 180:
        what = f"the boundary spans {east - west:.0f} degrees of longitude"
        raise InputError([Problem(where, what, "Draw one plot, not half the globe.")])
    return shape


def _only_polygons(shape: BaseGeometry, where: str, notes: list[Problem]) -> list[Polygon]:
    polygons = polygons_of(shape)
    if not polygons:
        what = f"a plot needs an area, and this is a {shape.geom_type}"
        raise InputError([Problem(where, what, "Draw it as a polygon.")])
    if isinstance(shape, GeometryCollection):
        others = sorted({part.geom_type for part in shape.geoms} - {"Polygon", "MultiPolygon"})
        if others:
            what = f"besides its polygons the feature holds {', '.join(others)}"
            notes.append(Problem(where, what, "Only the polygons are used.", Level.WARNING))
    return polygons


#: What GEOS says of an invalid polygon, in words for the person who drew it.
_FAULTS = {
    "Self-intersection": "crosses itself",
    "Ring Self-intersection": "touches itself",
    "Hole lies outside shell": "has a hole outside it",
    "Holes are nested": "has a hole inside a hole",
    "Interior is disconnected": "is cut apart by its holes",
    "Too few points in geometry component": "has fewer than three corners",
}


def mended(shape: Shape, where: str, by_structure: bool = False) -> Shape:
    """Return a shape with its crossings resolved.

    Parameters
    ----------
    shape
        Any geometry.
    where
        File and feature, for the refusal.
    by_structure
        True keeps all ground inside its outer rings, False what lies an odd number of times inside.

    Returns
    -------
    Shape
        Valid.

    Raises
    ------
    InputError
        When it crosses itself in more places than any drawing does: resolving them takes memory that grows
        with their square.
    """
    if _crosses_often(shape):
        what = f"the shape crosses itself in more than {MOST_CROSSINGS:,} places"
        raise InputError([Problem(where, what, "Draw it again, or save the walk as a line once around it.")])
    if by_structure:
        return shapely.make_valid(shape, method="structure", keep_collapsed=True)
    return shapely.make_valid(shape)


def _crosses_often(shape: Shape) -> bool:
    """Count crossings of a shape's edges, until there are too many."""
    rings = [np.asarray(ring.coords)[:, :2] for ring in shapely.get_parts(shapely.boundary(shape)).tolist()]
    if not rings:
        return False
    ends = np.concatenate([np.stack((ring[:-1], ring[1:]), axis=1) for ring in rings])
    edges: Any = shapely.linestrings(ends)
    tree, found = shapely.STRtree(edges), 0
    for start in range(0, len(edges), _EDGES_AT_ONCE):
        some = edges[start : start + _EDGES_AT_ONCE]
        found += tree.query(some, predicate="intersects").shape[1]  # each crossing twice
        found -= 3 * len(some)  # itself and its two neighbours
        if found > 2 * MOST_CROSSINGS:
            return True
    return False


def _repaired(polygon: Polygon, where: str, tolerance_m2: float, notes: list[Problem]) -> list[Polygon]:
    """Return the polygon as valid pieces that enclose the same ground, or refuse it."""
    if polygon.is_valid:
        return [polygon]
    pieces = polygons_of(mended(polygon, where))
    if not pieces:
        raise InputError([_no_area(0.0, where)])
    reason = shapely.is_valid_reason(polygon)
    fault = _FAULTS.get(reason.partition("[")[0].strip(), "is not a proper polygon")
    place = re.search(r"\[(\S+) (\S+)\]", reason)
    at = f" at longitude {float(place[1]):.6f}, latitude {float(place[2]):.6f}" if place else ""
    drawn = geodesic_area_m2(polygon)
    enclosed = sum(geodesic_area_m2(piece) for piece in pieces)
    change = abs(enclosed - drawn)
    if change > max(tolerance_m2, REPAIR_SHARE * enclosed):
        inside = f"{drawn:,.0f}" if drawn > 0 else "nothing"
        what = (
            f"the boundary {fault}{at}, and its area depends on how that is read "
            f"({inside} or {enclosed:,.0f} m²)"
        )
        fix = "Move the corners so that the line runs around the plot once, or draw two plots."
        raise InputError([Problem(where, what, fix)])
    fix = f"It was cleaned; the area changed by {change:,.1f} m² of {enclosed:,.0f} m²."
    notes.append(Problem(where, f"the boundary {fault}{at}", fix, Level.NOTE))
    return pieces


def _no_area(area_m2: float, where: str) -> Problem:
    what = f"the boundary encloses {area_m2:.2f} m², which is no area to spread on"
    return Problem(where, what, "Draw it again around the ground it stands for.")


def _joined(parts: list[Polygon], where: str, notes: list[Problem]) -> Polygon | MultiPolygon:
    """Return the parts as one shape, counting ground that lies in two of them once."""
    if len(parts) == 1:
        return parts[0]
    together = MultiPolygon(parts)
    if together.is_valid:
        return together
    union = shapely.unary_union(parts)
    twice = sum(geodesic_area_m2(part) for part in parts) - geodesic_area_m2(union)
    if twice > SMALLEST_PLOT_M2:
        what = f"parts of the plot overlap by {twice:,.0f} m²"
        notes.append(Problem(where, what, "That ground is counted once.", Level.WARNING))
    else:
        what = "parts of the plot share an edge"
        notes.append(Problem(where, what, "They were joined.", Level.NOTE))
    return MultiPolygon(polygons_of(union)) if len(polygons_of(union)) > 1 else polygons_of(union)[0]


# ---------------------------------------------------------------------------------------------
# Overlaps


@dataclass(frozen=True, slots=True)
class Overlap:
    """Ground that lies in two plots.

    Parameters
    ----------
    first, second
        Positions of the two plots in the sequence looked at.
    area_m2
        Size of the shared ground [m2].
    share
        Shared ground over the ground of both together [fraction]; 1 = the same boundary.
    width_m
        Mean width of the shared ground [m]: twice its area over its perimeter.
    """

    first: int
    second: int
    area_m2: float
    share: float
    width_m: float


def overlaps(plots: Sequence[Plot], share: float = 0.0) -> tuple[Overlap, ...]:
    """Return every pair of plots that share more than a square metre.

    Parameters
    ----------
    plots
        Plots with checked boundaries.
    share
        The least share of their ground that is looked for [fraction].

    Returns
    -------
    tuple of Overlap
        By position of the first plot, then the second.
    """
    boundaries = np.array([plot.boundary for plot in plots], dtype=object)
    first, second = near_pairs(boxes_around(boundaries))
    if share > 0:  # what two share is at most the smaller
        sizes = areas_m2(boundaries)
        alike = np.minimum(sizes[first], sizes[second]) >= share * np.maximum(sizes[first], sizes[second])
        first, second = first[alike], second[alike]
    found = shared_ground(boundaries, first, second)
    return tuple(overlap for overlap in found if overlap.share >= share)


def near_pairs(boxes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return which boxes meet, from a spatial index.

    Parameters
    ----------
    boxes
        Rows west, south, east, north [degree]; NaN for none.

    Returns
    -------
    tuple of numpy.ndarray
        Rows of the first and of the second of each pair, the first before the second, in order.
    """
    first, second = meeting(boxes, boxes)
    ordered = np.unique(np.sort(np.stack((first, second)), axis=0)[:, first != second], axis=1)
    return ordered[0], ordered[1]


def shared_among(
    boundaries_of: Callable[[np.ndarray], np.ndarray], pairs: tuple[np.ndarray, np.ndarray]
) -> Iterator[Overlap]:
    """Return which of very many pairs of plots share more than a square metre.

    Parameters
    ----------
    boundaries_of
        Gives the checked boundaries of some rows.
    pairs
        What `near_pairs` gives.

    Yields
    ------
    Overlap
        In the order of the pairs. Only a few thousand boundaries are asked for at a time.
    """
    for start in range(0, len(pairs[0]), _PAIRS_AT_ONCE):
        some = np.stack(pairs)[:, start : start + _PAIRS_AT_ONCE]
        numbers, place = np.unique(some, return_inverse=True)
        for found in shared_ground(boundaries_of(numbers), *place.reshape(2, -1)):
            first, second = int(numbers[found.first]), int(numbers[found.second])
            yield replace(found, first=first, second=second)


def shared_ground(boundaries: np.ndarray, first: np.ndarray, second: np.ndarray) -> tuple[Overlap, ...]:
    """Return which pairs of plots, given by their positions, share more than a square metre: in the order
    of the pairs, each measured in the plane the first of the two lies in."""
    planes: dict[Plane, list[int]] = {}
    at = {int(index): Plane.at(boundaries[index]) for index in np.unique(first)}
    for pair, index in enumerate(first.tolist()):
        planes.setdefault(at[index], []).append(pair)
    found: dict[int, Overlap] = {}
    for plane, pairs in planes.items():
        here, place = np.unique(np.stack((first[pairs], second[pairs])), return_inverse=True)
        flat = plane.flatten(boundaries[here])
        a, b = flat[place.reshape(2, -1)]
        touching = np.flatnonzero(shapely.intersects(a, b))
        a, b = a[touching], b[touching]
        shared = shapely.intersection(a, b)
        m2 = shapely.area(shared)
        both = shapely.area(a) + shapely.area(b) - m2
        for n in np.flatnonzero(m2 > SMALLEST_PLOT_M2):
            pair = pairs[touching[n]]
            width = 2 * m2[n] / sum(piece.length for piece in polygons_of(shared[n]))
            found[pair] = Overlap(
                int(first[pair]), int(second[pair]), float(m2[n]), float(m2[n] / both[n]), float(width)
            )
    return tuple(found[pair] for pair in sorted(found))


def shares_within(boundary: Shape, others: Sequence[Shape]) -> tuple[float, ...]:
    """Say how much of a boundary's ground lies in each of others.

    Parameters
    ----------
    boundary, others
        Checked boundaries.

    Returns
    -------
    tuple of float
        One for each of the others, in their order [fraction of the ground of the boundary].
    """
    shapes = np.array([boundary, *others], dtype=object)
    second = np.arange(1, len(shapes))
    whole_m2 = measure_checked([boundary]).area_m2[0]
    found = [0.0] * len(others)
    for pair in shared_ground(shapes, np.zeros_like(second), second):
        found[pair.second - 1] = min(1.0, pair.area_m2 / whole_m2)
    return tuple(found)


def find_overlaps(plots: Sequence[Plot]) -> tuple[Problem, ...]:
    """Report plots that share ground, and plots with sliver parts.

    Parameters
    ----------
    plots
        Plots with checked boundaries.

    Returns
    -------
    tuple of Problem
        An error for the same boundary twice (its acres would be bought twice), a warning for a
        real overlap, a note for a sliver along a shared edge or a sliver part of one plot.
    """
    found = (overlap_problem(pair, plots[pair.first], plots[pair.second]) for pair in overlaps(plots))
    return (*found, *find_slivers(plots))


def overlap_problem(overlap: Overlap, first: Plot, second: Plot) -> Problem:
    """Put an overlap into words.

    Parameters
    ----------
    overlap
        The overlap.
    first, second
        The two plots.

    Returns
    -------
    Problem
        An error for the same boundary twice, a note for a sliver, a warning for anything else.
    """
    where = f"plots {title(first)} and {title(second)}"
    size = f"{overlap.area_m2:,.0f} m² ({format_area(overlap.area_m2)})"
    if overlap.share >= DUPLICATE_SHARE:
        what = f"both have the same boundary: {overlap.share:.1%} of their ground is shared"
        return Problem(where, what, "Delete one, or its acres and dollars count twice.")
    if overlap.width_m < SLIVER_WIDTH_M:
        what = f"they overlap in a sliver of {size}, {overlap.width_m:.1f} m wide on average"
        return Problem(where, what, "Snap the shared edge if it matters.", Level.NOTE)
    what = f"they overlap by {size}, which is counted in both"
    return Problem(where, what, "Redraw one so that they meet.", Level.WARNING)


def find_slivers(plots: Sequence[Plot]) -> tuple[Problem, ...]:
    """Report parts of plots that are too narrow to be meant.

    Parameters
    ----------
    plots
        Plots with checked boundaries.

    Returns
    -------
    tuple of Problem
        A note for each such part of a plot in several.
    """
    boundaries = np.array([plot.boundary for plot in plots], dtype=object)
    parts, owner = shapely.get_parts(boundaries, return_index=True)
    several = (np.bincount(owner, minlength=len(plots)) > 1)[owner]
    sizes = measure_polygons(parts[several])
    width_m = 2 * sizes.area_m2 / sizes.perimeter_m
    problems = []
    for n in np.flatnonzero(width_m < SLIVER_WIDTH_M):
        m2, plot = sizes.area_m2[n], plots[int(owner[several][n])]
        what = f"one of its parts is a sliver of {m2:,.1f} m², {width_m[n]:.1f} m wide on average"
        fix = "Delete that part if it was not meant."
        problems.append(Problem(f"plot {title(plot)}", what, fix, Level.NOTE))
    return tuple(problems)
