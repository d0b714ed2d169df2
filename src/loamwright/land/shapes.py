"""What drawing does to plots: a hole, a cut, a split, a merger, a border two plots share.

This file answers "what is left of the plot, and do its neighbours still fit?". Shapes come and go in
longitude, latitude on WGS84. What is cut is cut there, so that corners nobody touched stay as they are to the
last digit; distances (a line's end that stops short, a gap between two plots) are taken in a plane. Every
operation refuses what would leave no plot. An edge that is cut stays a geodesic piece by piece, which moves
the ground beside it by less than 0.1 m² where the edge is 150 m long.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np
import shapely
from pyproj import Geod
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from loamwright.errors import InputError, Problem
from loamwright.land.geometry import Plane, polygons_of
from loamwright.land.records import Shape
from loamwright.land.sizes import areas_m2

#: A line's end that stops inside the plot is lengthened by up to this [m] (our choice): a shaky finger.
REACH_M = 25.0
#: Pieces smaller than this are crumbs of the cut, not plots [m2] (our choice).
CRUMB_M2 = 1.0
#: A corner this near an edge lies on it [degree]: about a micrometre.
ON_EDGE_DEG = 1e-11
#: Straight pieces of a drawn circle [count].
CIRCLE_PIECES = 96

_GEOD = Geod(ellps="WGS84")


def _refused(what: str, fix: str) -> InputError:
    return InputError([Problem("shape", what, fix)])


def _whole(shape: BaseGeometry, what: str) -> Shape:
    """Return the polygons of a shape as one, without crumbs; refuse when none is left."""
    pieces = polygons_of(shape)
    kept = [piece for piece in pieces if areas_m2([piece])[0] >= CRUMB_M2]
    if not kept:
        raise _refused(what, "Take that step back, and draw it smaller.")
    joined = kept[0] if len(kept) == 1 else MultiPolygon(kept)
    return shapely.orient_polygons(joined)


def cut_hole(plot: Shape, ring: Shape) -> Shape:
    """Take a drawn ring out of a plot; one that reaches the edge takes a bite out of it.

    Parameters
    ----------
    plot, ring
        Polygons, longitude-latitude on WGS84.

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        When the ring is none or crosses itself, lies outside the plot, or leaves nothing of it.
    """
    if not polygons_of(ring):
        raise _refused("the hole is no ground but a line or a place", "Draw around what is taken out.")
    if not ring.is_valid:
        raise _refused(f"the hole crosses itself ({shapely.is_valid_reason(ring)})", "Draw it again.")
    if not plot.intersects(ring) or areas_m2([_polygonal(plot.intersection(ring))])[0] <= 0:
        raise _refused("the hole lies outside the plot", "Draw it inside, or over the edge.")
    return _whole(plot.difference(ring), "nothing is left of the plot")


def cut_out(plot: Shape, other: Shape) -> Shape:
    """Take the ground of another plot out of this one.

    Parameters
    ----------
    plot, other
        Polygons, longitude-latitude on WGS84.

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        When they share no ground, or nothing is left.
    """
    shared = _polygonal(plot.intersection(other))
    if shared.is_empty or areas_m2([shared])[0] < CRUMB_M2:
        raise _refused("the two plots share no ground", "There is nothing to cut out.")
    return _whole(plot.difference(other), "the other plot covers all of this one")


def _polygonal(shape: BaseGeometry) -> BaseGeometry:
    pieces = polygons_of(shape)
    return MultiPolygon(pieces) if pieces else Polygon()


def merge(plots: Sequence[Shape]) -> Shape:
    """Make one plot of several; borders that match digit by digit vanish, plots apart become its parts.

    Parameters
    ----------
    plots
        Polygons, longitude-latitude on WGS84; at least two.

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        When there are fewer than two.
    """
    if len(plots) < 2:
        raise _refused("one plot alone cannot be merged", "Choose the plots that become one.")
    return _whole(shapely.union_all(list(plots)), "nothing is left")


def split(plot: Shape, line: Shape, reach_m: float = REACH_M) -> tuple[Shape, ...]:
    """Cut a plot along a line into pieces that share the line's corners exactly.

    Parameters
    ----------
    plot
        Polygon or MultiPolygon, longitude-latitude on WGS84.
    line
        The cut; an end that stops inside the plot is lengthened straight on.
    reach_m
        By how much at most [m].

    Returns
    -------
    tuple of Shape
        At least two, the largest first; parts of the plot that the line leaves alone stay with the largest.

    Raises
    ------
    InputError
        When the line does not cross the plot from edge to edge.
    """
    if not isinstance(line, LineString):
        raise _refused("the cut is no line", "Draw a line across the plot.")
    cut = _lengthened(line, plot, reach_m)
    pieces: list[Polygon] = []
    rest: list[Polygon] = []
    for part in polygons_of(plot):
        faces = _faces(part, cut)
        if len(faces) > 1:
            pieces += faces
        else:
            rest.append(part)
    if not pieces:
        what = "the line does not cross the plot from edge to edge"
        raise _refused(what, "Begin it outside the plot, and end it outside.")
    pieces.sort(key=lambda piece: -float(areas_m2([piece])[0]))
    first: Shape = MultiPolygon([pieces[0], *rest]) if rest else pieces[0]
    return tuple(shapely.orient_polygons(piece) for piece in (first, *pieces[1:]))


def _faces(part: Polygon, cut: LineString) -> list[Polygon]:
    """The pieces a line cuts one polygon into."""
    noded = shapely.union_all([part.boundary, cut])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    return [face for face in faces.tolist() if part.contains(face.point_on_surface())]


def _lengthened(line: LineString, plot: Shape, reach_m: float) -> LineString:
    """Carry the ends of a line that stop inside the plot on to just beyond its edge, if it is near."""
    plane = Plane.around([plot])
    flat, ground = plane.flatten(line), plane.flatten(plot)
    corners = [tuple(corner) for corner in shapely.get_coordinates(line).tolist()]
    ends = shapely.get_coordinates(flat)
    for end, before in ((0, 1), (-1, -2)):
        if not ground.contains(Point(ends[end])):
            continue
        along = ends[end] - ends[before]
        far = ends[end] + along / np.hypot(*along) * reach_m
        way_out = LineString([ends[end], far]).intersection(ground.boundary)
        if way_out.is_empty:
            continue
        beyond = min(Point(ends[end]).distance(Point(p)) for p in shapely.get_coordinates(way_out)) + 0.5
        reached = plane.unflatten(Point(ends[end] + along / np.hypot(*along) * beyond))
        corners.insert(0 if end == 0 else len(corners), (reached.x, reached.y))
    return LineString(corners)


def matched(plots: Sequence[Shape], beside: Sequence[Shape] = ()) -> tuple[Shape, ...]:
    """Give every plot the corners its neighbours have on its edges, so that borders match digit by digit.

    Parameters
    ----------
    plots
        Polygons, longitude-latitude on WGS84.
    beside
        Further ones, that get corners of `plots` and not of each other.

    Returns
    -------
    tuple of Shape
        `plots` and `beside` in their order; one with no such corner is the same object.
    """
    every = [*plots, *beside]
    corners = [shapely.get_coordinates(plot) for plot in every]
    boxes = shapely.envelope(np.array(every, dtype=object))
    pairs = shapely.STRtree(boxes).query(boxes, predicate="dwithin", distance=ON_EDGE_DEG)
    found = list(every)
    for index, plot in enumerate(every):
        others = pairs[1][pairs[0] == index]
        near = [corners[i] for i in others if i != index and (i < len(plots) or index < len(plots))]
        if near:
            found[index] = _with_corners(plot, np.unique(np.concatenate(near), axis=0))
    return tuple(found)


def _with_corners(plot: Shape, corners: np.ndarray) -> Shape:
    """Put corners that lie on a plot's edges into its rings, unchanged."""
    west, south, east, north = shapely.bounds(plot)
    (x, y), margin = corners.T, ON_EDGE_DEG
    near = (west - margin <= x) & (x <= east + margin) & (south - margin <= y) & (y <= north + margin)
    own = set(map(tuple, shapely.get_coordinates(plot).tolist()))
    lying = [corner for corner in map(tuple, corners[near].tolist()) if corner not in own]
    if not lying:
        return plot
    parts = [[one.exterior, *one.interiors] for one in polygons_of(plot)]
    rings = [shapely.get_coordinates(ring) for part in parts for ring in part]
    edges = np.concatenate([np.stack((ring[:-1], ring[1:]), axis=1) for ring in rings])
    tree = shapely.STRtree(np.asarray(shapely.linestrings(edges)))
    asked, hit = tree.query(shapely.points(lying), predicate="dwithin", distance=ON_EDGE_DEG)
    on_edge: dict[int, list[tuple[float, ...]]] = {}
    for corner, edge in dict(zip(asked.tolist(), hit.tolist(), strict=True)).items():
        on_edge.setdefault(edge, []).append(lying[corner])
    if not on_edge:
        return plot
    first, made = 0, []
    for part in parts:
        new = []
        for _ in part:
            ring = rings.pop(0)
            inside = {edge - first: on for edge, on in on_edge.items() if 0 <= edge - first < len(ring) - 1}
            first += len(ring) - 1
            new.append(_with_inserted(ring, inside))
        made.append(Polygon(new[0], new[1:]))
    return made[0] if len(made) == 1 else MultiPolygon(made)


def _with_inserted(ring: np.ndarray, inside: Mapping[int, list[tuple[float, ...]]]) -> np.ndarray:
    """Put corners into a ring, behind the corner an edge begins at and in their order along it."""
    pieces, done = [], 0
    for edge in sorted(inside):
        start = tuple(ring[edge].tolist())
        pieces += [ring[done : edge + 1], np.array(sorted(inside[edge], key=partial(math.dist, start)))]
        done = edge + 1
    return np.concatenate([*pieces, ring[done:]])


def close_gap(plot: Shape, neighbour: Shape, gap_m: float) -> tuple[Shape, Shape, float]:
    """Make two plots meet along one border: gaps and overlaps narrower than a width vanish.

    Parameters
    ----------
    plot, neighbour
        Polygons, longitude-latitude on WGS84.
    gap_m
        Widest gap closed, and widest overlap settled [m].

    Returns
    -------
    (Shape, Shape, float)
        The two, and how much ground changed hands [m2].

    Raises
    ------
    InputError
        When they are farther apart, or nothing would change.
    """
    plane = Plane.around([plot, neighbour])
    before = plane.flatten(plot), plane.flatten(neighbour)
    if before[0].distance(before[1]) > gap_m:
        apart = before[0].distance(before[1])
        what = f"the two plots are {apart:.1f} m apart, and gaps up to {gap_m:g} m are closed"
        raise _refused(what, "Move a corner nearer first.")
    # Corners nearer than the gap to the other's border are drawn onto it, then both are cleaned together.
    drawn = shapely.snap(before[1], before[0], gap_m)
    drawn = drawn if drawn.is_valid else shapely.make_valid(drawn)
    after = shapely.coverage_clean(  # type: ignore[attr-defined] # newer than its stubs
        np.array([before[0], _polygonal(drawn)]), gap_width=gap_m
    )
    moved = sum(float(a.symmetric_difference(b).area) for a, b in zip(before, after, strict=True))
    if moved == 0 and before[0].boundary.intersection(before[1].boundary).length > 0:
        raise _refused("the two plots meet already", "There is no gap to close.")
    here, there = (
        _whole(_as_before(plane.unflatten(shape), (plot, neighbour)), "nothing is left of a plot")
        for shape in after
    )
    here, there = matched((here, there))
    return here, there, moved


def _as_before(shape: BaseGeometry, originals: Sequence[Shape]) -> BaseGeometry:
    """Put corners that did not move back to their very digits: the plane's way back is a nanometre off."""
    known = np.unique(shapely.get_coordinates(list(originals)), axis=0)
    tree = shapely.STRtree([Point(corner) for corner in known.tolist()])

    def back(xy: np.ndarray) -> np.ndarray:
        asked, found = tree.query_nearest(shapely.points(xy), max_distance=1e-9, all_matches=False)
        xy = xy.copy()
        xy[asked] = known[found]
        return xy

    return shapely.transform(shape, back)


def rectangle(middle: tuple[float, float], length_m: float, width_m: float, bearing_deg: float) -> Shape:
    """Lay a rectangle of typed sides around a place.

    Parameters
    ----------
    middle
        (longitude, latitude) [degree].
    length_m, width_m
        Sides [m].
    bearing_deg
        Direction of the long side, clockwise from north [degree].

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        When a side is not more than zero, or longer than 20 km; when the place is none.
    """
    for side in (length_m, width_m):
        if not 0 < side <= 20_000:
            raise _refused(f"{side:g} m is no side of a plot", "Type both sides with their unit.")
    reach = math.hypot(length_m, width_m) / 2
    turn = math.degrees(math.atan2(width_m, length_m))
    bearings = (bearing_deg - turn, bearing_deg + turn, bearing_deg + 180 - turn, bearing_deg + 180 + turn)
    return _around(middle, bearings, reach)


def circle(middle: tuple[float, float], radius_m: float) -> Shape:
    """Lay a circle of a typed radius around a place.

    Parameters
    ----------
    middle
        (longitude, latitude) [degree].
    radius_m
        Of a circle of the same area [m].

    Returns
    -------
    Shape
        A regular polygon of 96 corners that encloses what the circle does.

    Raises
    ------
    InputError
        When the radius is not more than zero, or longer than 10 km; when the place is none.

    Notes
    -----
    A regular polygon of n corners on a circle of radius R has the area n/2 · R² · sin(2π/n), so its corners
    stand at r · √(2π / (n · sin(2π/n))).
    """
    if not 0 < radius_m <= 10_000:
        raise _refused(f"{radius_m:g} m is no radius of a plot", "Type it with its unit.")
    n = CIRCLE_PIECES
    reach = radius_m * math.sqrt(2 * math.pi / (n * math.sin(2 * math.pi / n)))
    return _around(middle, [360 * i / n for i in range(n)], reach)


def _around(middle: tuple[float, float], bearings: Sequence[float], reach_m: float) -> Shape:
    n = len(bearings)
    if not (abs(middle[0]) <= 180 and abs(middle[1]) <= 90):
        what = f"{middle[1]:g}, {middle[0]:g} is no place on earth"
        raise _refused(what, "Latitude comes first, from -90 to 90; longitude from -180 to 180.")
    lon, lat, _ = _GEOD.fwd([middle[0]] * n, [middle[1]] * n, list(bearings), [reach_m] * n)
    return shapely.orient_polygons(Polygon(list(zip(lon, lat, strict=True))))


def inside(plot: Shape, shape: Shape) -> Shape:
    """Return what of a drawn shape lies inside a plot.

    Parameters
    ----------
    plot, shape
        Polygons, longitude-latitude on WGS84.

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        When nothing does.
    """
    return _whole(plot.intersection(shape), "the shape lies outside the plot")


def crossing_of(shape: Shape) -> tuple[float, float] | None:
    """Return a place where a shape's rings cross or touch themselves.

    Parameters
    ----------
    shape
        Any geometry, longitude-latitude on WGS84.

    Returns
    -------
    (float, float) or None
        Longitude, latitude [degree]; None for a sound shape, and for points and lines.
    """
    if shape.is_valid:
        return None
    reason = shapely.is_valid_reason(shape)
    if found := re.search(r"\[(\S+) (\S+?)\]", reason):
        place = shapely.get_coordinates(shapely.from_wkt(f"POINT ({found[1]} {found[2]})"))[0]
        return float(place[0]), float(place[1])
    corner = shapely.get_coordinates(shape)[0]
    return float(corner[0]), float(corner[1])
