"""Boundary → true area → the part of it that is spread.

This file answers "how big is the plot really, and how much of it gets spread?". Areas are geodesic
on the WGS84 ellipsoid, whatever the ring order, holes, parts or the 180th meridian (`plane_areas`).
Distances (setbacks, overlaps, edges) are taken in a plane that keeps areas true: see `Plane`.

It reads no files (`boundaries` does), judges no drawing (`boundary_checks`), walks no GPS track
(`walks`), places no soil cores (`cores`) and lays out no sketch (`sketch`). Shapes come and go as
well-known binary (WKB) in longitude, latitude on WGS84.

References
----------
C. F. F. Karney, "Algorithms for geodesics", Journal of Geodesy 87, 43-55, 2013 (distance).
J. P. Snyder, "Map Projections: A Working Manual", USGS Professional Paper 1395, 1987, pp. 182-190
(Lambert azimuthal equal-area).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from itertools import groupby
from operator import itemgetter
from typing import Any, TypeVar

import numpy as np
import shapely
from pyproj import Geod, Proj
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from loamwright.answers import PlotArea
from loamwright.errors import InputError, Problem
from loamwright.plane_areas import Sizes, areas_m2, measure_polygons
from loamwright.units import ACRE_M2, FT_M, format_area
from loamwright.values import ARITHMETIC, BOUNDARY, USER, KeepOut, LaterSteps, Plot, Source, Step

_GEOD = Geod(ellps="WGS84")
_Shape = TypeVar("_Shape", bound=BaseGeometry)

#: A keep-out whose setback is not stated is reported when it lies this near [m]: the largest
#: distance in Minnesota's manure setbacks (Rule 7020 table, as printed by the North Fork Crow
#: River Watershed District, "Manure Management").
NEAR_M = 300 * FT_M
#: Straight pieces per quarter turn of a setback's rounded corner. A piece leaves the true arc by at
#: most 1 − cos(45°/32) = 0.030 % of the setback, on the inside.
QUARTER_PIECES = 32


# ---------------------------------------------------------------------------------------------
# The plane


@lru_cache(maxsize=64)
def _projection(lon: float, lat: float) -> Proj:
    return Proj(proj="laea", lon_0=lon, lat_0=lat, ellps="WGS84", units="m")


@dataclass(frozen=True, slots=True)
class Plane:
    """A flat sheet that keeps areas true: Lambert azimuthal equal-area, x east and y north [m].

    Parameters
    ----------
    lon, lat
        Where the sheet touches the ellipsoid [degree].

    Notes
    -----
    Area is exact everywhere. Length is off by about d²/8R², d being the distance from the
    touching point: 0.3 parts per million at 10 km, 8 at 50 km. Round coordinates there and back
    agree to better than a micrometre.
    """

    lon: float
    lat: float

    @classmethod
    def around(cls, shapes: Iterable[BaseGeometry]) -> Plane:
        """Return the plane centred on some shapes, on either side of the 180th meridian.

        Parameters
        ----------
        shapes
            Shapes in longitude, latitude; at least one vertex between them.

        Returns
        -------
        Plane

        Raises
        ------
        ValueError
            When there is no vertex to centre on.

        Examples
        --------
        >>> Plane.around([shapely.box(-93.06, 46.04, -93.04, 46.06)])
        Plane(lon=-93.05, lat=46.05)
        """
        coords = shapely.get_coordinates(list(shapes))
        if not len(coords):
            raise ValueError("a plane needs at least one vertex to centre on")
        lons = beside(coords[:, 0], float(coords[0, 0]))
        lats = coords[:, 1]
        lon = float(beside((lons.min() + lons.max()) / 2, 0.0))
        return cls(round(lon, 7), round(float(lats.min() + lats.max()) / 2, 7))

    @classmethod
    def at(cls, shape: BaseGeometry) -> Plane:
        """Return the plane a shape lies on, of a fixed grid of them over the globe.

        Parameters
        ----------
        shape
            In longitude, latitude; at least one vertex.

        Returns
        -------
        Plane
            Touching at whole tenths of a degree, at most 8 km from the middle of the shape. The same
            whatever other shapes there are, so what is cut or compared in it depends on nothing else.
        """
        middle = cls.around([shape])
        return cls(round(middle.lon, 1), round(middle.lat, 1))

    def flatten(self, shape: _Shape) -> _Shape:
        """Lay a shape, or an array of shapes, flat.

        Parameters
        ----------
        shape
            In longitude, latitude [degree].

        Returns
        -------
        shape
            The same kind, in metres east and north of the centre.
        """
        project = _projection(self.lon, self.lat)
        return shapely.transform(shape, lambda xy: np.column_stack(project(xy[:, 0], xy[:, 1])))

    def unflatten(self, shape: _Shape) -> _Shape:
        """Put a flat shape back on the ellipsoid.

        Parameters
        ----------
        shape
            In metres east and north of the centre.

        Returns
        -------
        shape
            The same kind, in longitude, latitude, with longitudes running on across 180°.
        """
        project = _projection(self.lon, self.lat)

        def back(xy: np.ndarray) -> np.ndarray:
            x, y = xy[:, 0], xy[:, 1]
            lon, lat = project(x, y, inverse=True)
            there_x, there_y = project(lon, lat)  # PROJ's way back is a short series, half a millimetre off
            lon, lat = project(2 * x - there_x, 2 * y - there_y, inverse=True)
            return np.column_stack((beside(np.asarray(lon), self.lon), lat))

        return shapely.transform(shape, back)


def beside(lon: Any, reference: float) -> Any:
    """Move longitudes by whole turns to lie within half a turn of a reference.

    Parameters
    ----------
    lon
        One longitude or an array of them [degree].
    reference
        The longitude to stay beside [degree].

    Returns
    -------
    float or numpy.ndarray
        Same shape as `lon`.

    Examples
    --------
    >>> float(beside(-179.9, 179.9))
    180.1
    """
    return lon - 360.0 * np.round((lon - reference) / 360.0)


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """Return the polygons in a shape, in order; lines and points are passed over.

    Parameters
    ----------
    shape
        Any geometry, collections included.

    Returns
    -------
    list of Polygon
        Empty ones left out.
    """
    return [
        part
        for part in shapely.get_parts(shapely.get_parts(shape)).tolist()
        if isinstance(part, Polygon) and not part.is_empty
    ]


# ---------------------------------------------------------------------------------------------
# Measuring


@dataclass(frozen=True, slots=True)
class BoundaryMeasure:
    """Size of a polygon on the ellipsoid.

    Parameters
    ----------
    area_m2
        Geodesic area, holes taken out [m2].
    perimeter_m
        Length of all rings, holes included [m].
    parts, holes
        Polygons and inner rings [count].
    """

    area_m2: float
    perimeter_m: float
    parts: int
    holes: int


def measure_boundary(wkb: bytes) -> BoundaryMeasure:
    """Measure a polygon on the WGS84 ellipsoid.

    Parameters
    ----------
    wkb
        Polygon or MultiPolygon in longitude, latitude; empty bytes measure zero.

    Returns
    -------
    BoundaryMeasure

    Raises
    ------
    ValueError
        When the shape is not a polygon.

    Notes
    -----
    Edges are geodesics, rings may run either way, and holes are subtracted: `plane_areas`, which gives
    the same figure to the last digit for one polygon and for a million.

    Examples
    --------
    A square degree on the equator:

    >>> square = shapely.to_wkb(shapely.box(0, 0, 1, 1))
    >>> round(measure_boundary(square).area_m2 / 1e6)
    12309
    """
    return _measured(measure_polygons([_read(wkb)]), 0)


def _read(wkb: bytes) -> BaseGeometry:
    return shapely.from_wkb(wkb) if wkb else Polygon()


def _measured(sizes: Sizes, index: int) -> BoundaryMeasure:
    return BoundaryMeasure(
        float(sizes.area_m2[index]),
        float(sizes.perimeter_m[index]),
        int(sizes.parts[index]),
        int(sizes.holes[index]),
    )


def geodesic_area_m2(shape: BaseGeometry) -> float:
    """Return the geodesic area of a polygon that is already in hand.

    Parameters
    ----------
    shape
        Polygon or MultiPolygon in longitude, latitude.

    Returns
    -------
    float
        Area [m2].
    """
    return float(areas_m2([shape])[0])


def distance_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the geodesic distance between two places.

    Parameters
    ----------
    a, b
        (longitude, latitude) [degree].

    Returns
    -------
    float
        Distance on the WGS84 ellipsoid [m].

    Examples
    --------
    >>> round(distance_m((0.0, 0.0), (1.0, 0.0)), 1)
    111319.5
    """
    return float(_GEOD.inv(a[0], a[1], b[0], b[1])[2])


#: The fewest metres in a degree of latitude, and of longitude at the equator (110.57 and 111.32 km).
_DEGREE_M = 110_000.0


def boxes_around(shapes: Sequence[BaseGeometry] | np.ndarray, margin_m: Any = 0.0) -> np.ndarray:
    """Return the box around each shape, its geodesic edges and a margin.

    Parameters
    ----------
    shapes
        In longitude, latitude.
    margin_m
        Metres to add on each side, for all or for each.

    Returns
    -------
    numpy.ndarray
        One row each: west, south, east, north [degree], west within -180 to 180; NaN for an empty shape.

    Notes
    -----
    A geodesic between two places Δλ of longitude apart rises above their latitudes by at most
    Δλ²/8 sin φ cos φ ≤ Δλ²/16 (the sagitta of a great circle).
    """
    west, south, east, north = shapely.bounds(shapes).T
    turn = beside(west, 0.0) - west
    up = np.degrees(np.radians(east - west) ** 2 / 16) + margin_m / _DEGREE_M
    farthest = np.minimum(np.maximum(np.abs(south), np.abs(north)) + up, 89.0)
    aside = margin_m / _DEGREE_M / np.cos(np.radians(farthest))
    return np.column_stack((west + turn - aside, south - up, east + turn + aside, north + up))


def meeting(boxes: np.ndarray, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return which boxes meet which others, also across the 180th meridian.

    Parameters
    ----------
    boxes, others
        Rows of `boxes_around`.

    Returns
    -------
    tuple of numpy.ndarray
        Rows of `boxes` and of `others`, pair by pair, in order; each pair once.
    """
    here, there = (np.flatnonzero(np.isfinite(rows).all(axis=1)) for rows in (boxes, others))
    if not (len(here) and len(there)):
        return here[:0], there[:0]
    tree = shapely.STRtree(shapely.box(*others[there].T))
    west, east = others[there, 0].min(), others[there, 2].max()
    found = []
    for turn in (0.0, -360.0, 360.0):
        within = here[(boxes[here, 2] + turn >= west) & (boxes[here, 0] + turn <= east)]
        first, second = tree.query(shapely.box(*(boxes[within] + [turn, 0.0, turn, 0.0]).T))
        found.append(np.stack((within[first], there[second])))
    first, second = np.unique(np.concatenate(found, axis=1), axis=1)
    return first, second


# ---------------------------------------------------------------------------------------------
# Areas of a property


@dataclass(frozen=True, slots=True)
class _Barrier:
    """A keep-out laid flat: its own shape, and the ground it keeps clear."""

    shape: BaseGeometry
    ground: BaseGeometry


def setback_shape(keepout: KeepOut, plane: Plane) -> BaseGeometry:
    """Return the ground a keep-out keeps clear: its shape and the setback around it.

    Parameters
    ----------
    keepout
        The keep-out; an unstated setback adds nothing to its own shape.
    plane
        Plane to work in.

    Returns
    -------
    shape
        Flat, in the plane's metres.

    Notes
    -----
    Straight sides lie at the exact distance. A rounded corner is drawn with 32 straight pieces to
    the quarter turn, so it falls short of the true arc by at most 0.030 % of the setback
    (1 − cos(45°/32); 5 mm in 50 ft).
    """
    shape = shapely.make_valid(plane.flatten(shapely.force_2d(shapely.from_wkb(keepout.shape_wkb))))
    if not keepout.setback_m:
        return shape
    return shapely.buffer(shape, keepout.setback_m, quad_segs=QUARTER_PIECES)


def setback_wkb(keepout: KeepOut) -> bytes:
    """Return the ground a keep-out keeps clear, for drawing or for another program.

    Parameters
    ----------
    keepout
        The keep-out.

    Returns
    -------
    bytes
        Polygon or MultiPolygon in longitude, latitude: the keep-out and its setback. Empty when no
        setback is stated, or when it is zero.
    """
    if not keepout.setback_m:
        return b""
    plane = Plane.around([shapely.from_wkb(keepout.shape_wkb)])
    return shapely.to_wkb(plane.unflatten(setback_shape(keepout, plane)))


def areas(plots: Sequence[Plot], keepouts: Sequence[KeepOut]) -> tuple[PlotArea, ...]:
    """Measure every plot of a property, and what is left of it to spread.

    Parameters
    ----------
    plots
        Plots with checked boundaries.
    keepouts
        Ground where nothing is spread. The setback is subtracted with it where it is stated; where
        it is not, only the shape itself is, and its id is listed for every plot within 300 ft.

    Returns
    -------
    tuple of PlotArea
        In the order of `plots`. The area lost to each keep-out is what it takes beyond the
        keep-outs before it, so that area minus all losses is the spread area.

    Notes
    -----
    Keep-outs are cut in the equal-area `Plane` the plot lies in, and what is left is measured as the
    plot itself is. A plot that nothing cuts keeps its boundary and area to the last digit, and none
    depends on the others.
    """
    if not plots:
        return ()
    boundaries = shapely.from_wkb([plot.boundary_wkb for plot in plots])
    gross = measure_polygons(boundaries)
    cuts = _cuts(boundaries, keepouts)
    left = [_read(wkb) for index in sorted(cuts) for _, wkb in cuts[index].left]
    measured = iter(areas_m2(left).tolist())
    return tuple(
        _plot_area(plot, _measured(gross, index), cuts.get(index, _Cuts()), measured)
        for index, plot in enumerate(plots)
    )


@dataclass(frozen=True, slots=True)
class _Cuts:
    """What keep-outs do to one plot: (keep-out, what is left after it), and those of unknown setback."""

    left: list[tuple[KeepOut, bytes]] = field(default_factory=list)
    missing: list[KeepOut] = field(default_factory=list)


def _cuts(boundaries: np.ndarray, keepouts: Sequence[KeepOut]) -> dict[int, _Cuts]:
    """Cut the plots that keep-outs come near, by position; the others are not looked at."""
    shapes = [shapely.force_2d(shapely.from_wkb(keepout.shape_wkb)) for keepout in keepouts]
    reach = np.array([NEAR_M if k.setback_m is None else k.setback_m for k in keepouts])
    pairs = zip(*meeting(boxes_around(boundaries), boxes_around(shapes, reach)), strict=True)
    made: dict[tuple[int, Plane], _Barrier] = {}
    cuts: dict[int, _Cuts] = {}
    for index, near in groupby(pairs, key=itemgetter(0)):
        plane = Plane.at(boundaries[index])
        flat = left = plane.flatten(boundaries[index])
        cuts[index] = cut = _Cuts()
        for _, number in near:
            keepout = keepouts[number]
            if (number, plane) not in made:
                ground = setback_shape(keepout, plane)
                made[number, plane] = _Barrier(plane.flatten(shapes[number]), ground)
            barrier = made[number, plane]
            if keepout.setback_m is None and flat.distance(barrier.shape) <= NEAR_M:
                cut.missing.append(keepout)
            if barrier.ground.area > 0 and flat.intersection(barrier.ground).area > 0:
                left = _cut(left, barrier.ground)
                left_wkb = b"" if left.is_empty else shapely.to_wkb(plane.unflatten(left))
                cut.left.append((keepout, left_wkb))
    return cuts


def _plot_area(plot: Plot, gross: BoundaryMeasure, cuts: _Cuts, measured: Iterator[float]) -> PlotArea:
    left_m2 = gross.area_m2
    lost: list[tuple[KeepOut, float]] = []
    for keepout, _ in cuts.left:
        before, left_m2 = left_m2, next(measured)
        lost.append((keepout, before - left_m2))
    return PlotArea(
        plot_id=plot.plot_id,
        area_m2=gross.area_m2,
        spread_area_m2=left_m2,
        perimeter_m=gross.perimeter_m,
        spread_wkb=cuts.left[-1][1] if cuts.left else plot.boundary_wkb,
        parts=gross.parts,
        holes=gross.holes,
        area_se_m2=plot.area_se_m2,
        keepouts=tuple((keepout.keepout_id, m2) for keepout, m2 in lost),
        missing_setbacks=tuple(keepout.keepout_id for keepout in cuts.missing),
        steps=LaterSteps(partial(_steps, gross, plot.area_se_m2, lost, cuts.missing, left_m2)),
    )


def _steps(
    gross: BoundaryMeasure,
    area_se_m2: float | None,
    lost: Sequence[tuple[KeepOut, float]],
    missing: Sequence[KeepOut],
    left_m2: float,
) -> tuple[Step, ...]:
    steps = [_gross_step(gross)]
    if area_se_m2 is not None:
        what = "Standard error of that area, from walking it with GPS (±, about two times in three)"
        steps.append(Step(what, area_se_m2 / ACRE_M2, "acres", BOUNDARY))
    steps += [_loss_step(keepout, m2, first=n == 0) for n, (keepout, m2) in enumerate(lost)]
    for keepout in missing:
        what = f"{title(keepout)} lies within 300 ft and its setback is not stated: none is subtracted"
        steps.append(Step(what, None, "", USER))
    if lost:
        what = f"Left to spread, measured the same way: {left_m2:,.1f} m² ({format_area(left_m2, 'metric')})"
        steps.append(Step(what, left_m2 / ACRE_M2, "acres", ARITHMETIC))
    return tuple(steps)


def _cut(left: BaseGeometry, ground: BaseGeometry) -> BaseGeometry:
    """Take ground away, dropping crumbs below a square centimetre that arithmetic leaves behind."""
    pieces = [piece for piece in polygons_of(left.difference(ground)) if piece.area > 1e-4]
    return pieces[0] if len(pieces) == 1 else MultiPolygon(pieces)


def _gross_step(gross: BoundaryMeasure) -> Step:
    made_of = [f"{gross.parts} parts added"] if gross.parts > 1 else []
    made_of += [f"{gross.holes} hole{'s' * (gross.holes > 1)} taken out"] if gross.holes else []
    what = (
        f"Inside the boundary, geodesic on the WGS84 ellipsoid{''.join(f', {part}' for part in made_of)}: "
        f"{gross.area_m2:,.1f} m² ({format_area(gross.area_m2, 'metric')})"
    )
    return Step(what, gross.area_m2 / ACRE_M2, "acres", BOUNDARY)


def _loss_step(keepout: KeepOut, loss_m2: float, first: bool) -> Step:
    around = ""
    if keepout.setback_m:
        written = keepout.setback_text or f"{keepout.setback_m:g} m"
        around = f" and {written} around it (rounded corners within 0.03 % of that)"
    beyond = "" if first else ", beyond what is already taken off"
    what = f"Less {title(keepout)}{around}{beyond}: {loss_m2:,.1f} m²"
    return Step(what, loss_m2 / ACRE_M2, "acres", Source("user", row=f"keep-out {keepout.keepout_id}"))


def title(item: KeepOut | Plot) -> str:
    """Return what people call a plot or keep-out: kind, name and id, each once.

    Parameters
    ----------
    item
        Plot or keep-out.

    Returns
    -------
    str
        ``"pond Heron Pond (K1)"``, ``"Pine Flat (A1)"`` or just the id.
    """
    ident = item.plot_id if isinstance(item, Plot) else item.keepout_id
    kind = "" if isinstance(item, Plot) else item.kind
    name = item.name if item.name and item.name != ident else ""
    words = [word for word in (kind, name) if word]
    return f"{' '.join(words)} ({ident})" if words else ident


# ---------------------------------------------------------------------------------------------
# Directions and places


def swath_direction(spread_wkb: bytes) -> float:
    """Return the bearing along which passes are longest and fewest.

    Parameters
    ----------
    spread_wkb
        Spread area, Polygon or MultiPolygon.

    Returns
    -------
    float
        Bearing clockwise from true north [degree, 0 to 180].

    Raises
    ------
    ValueError
        When there is nothing to spread on.

    Notes
    -----
    Passes number width over swath, so the fewest, and on average the longest, run across the
    smallest width. The smallest width of a convex outline lies square to one of its sides (the
    rotating-calipers theorem), so each side of the parts' convex hulls is tried and the widths of
    the parts are added.

    References
    ----------
    H. Freeman and R. Shapira, "Determining the minimum-area encasing rectangle for an arbitrary
    closed curve", Communications of the ACM 18 (7), 409-413, 1975 (a side of the hull lies flush).

    Examples
    --------
    >>> strip = shapely.to_wkb(shapely.box(0, 0, 0.001, 0.01))  # ten times longer north than east
    >>> round(swath_direction(strip))
    0
    """
    polygons = polygons_of(shapely.from_wkb(spread_wkb)) if spread_wkb else []
    if not polygons:
        raise ValueError("there is no spread area to drive over")
    plane = Plane.around(polygons)
    corners = [shapely.get_coordinates(plane.flatten(polygon).convex_hull) for polygon in polygons]
    sides = np.concatenate([np.diff(ring, axis=0) for ring in corners])
    bearings = np.mod(np.arctan2(sides[:, 0], sides[:, 1]), math.pi)
    across = np.column_stack((np.cos(bearings), -np.sin(bearings)))
    widths = sum(np.ptp(ring @ across.T, axis=0) for ring in corners)
    best = float(np.degrees(bearings[np.lexsort((bearings, np.round(widths, 6)))[0]]))
    return best % 180.0


def label_point(wkb: bytes) -> tuple[float, float]:
    """Return the place with the most room around it, for a label.

    Parameters
    ----------
    wkb
        Any geometry with a vertex, longitude-latitude.

    Returns
    -------
    tuple of float
        (longitude, latitude): centre of the largest circle inside the largest polygon, middle of
        the longest line, or the first point.
    """
    shape = shapely.from_wkb(wkb)
    plane = Plane.around([shape])
    flat = plane.flatten(shapely.force_2d(shape))
    polygons = polygons_of(flat)
    if polygons:
        roomiest = max(polygons, key=lambda polygon: polygon.area)
        spot = shapely.get_point(shapely.maximum_inscribed_circle(roomiest), 0)
    else:
        parts = shapely.get_parts(flat).tolist()
        longest = max(parts, key=lambda part: part.length)
        spot = shapely.line_interpolate_point(longest, 0.5, normalized=True) if longest.length else parts[0]
    lon, lat = shapely.get_coordinates(plane.unflatten(spot))[0]
    return float(lon), float(lat)


def places_m(plots: Sequence[Plot]) -> Mapping[str, tuple[float, float]]:
    """Place the plots of a property on one flat sheet, for distances between them.

    Parameters
    ----------
    plots
        Plots with checked boundaries.

    Returns
    -------
    mapping of plot_id to tuple of float
        Entrance where it is known, else a point inside: x east, y north [m] of the property's middle.
    """
    if not plots:
        return {}
    plane = Plane.around([shapely.from_wkb(plot.boundary_wkb) for plot in plots])
    points = [shapely.Point(plot.entrance or label_point(plot.boundary_wkb)) for plot in plots]
    return {
        plot.plot_id: (flat.x, flat.y) for plot, flat in zip(plots, map(plane.flatten, points), strict=True)
    }


def bounds(wkb: bytes) -> tuple[float, float, float, float]:
    """Return the box around a shape.

    Parameters
    ----------
    wkb
        Any geometry, longitude-latitude.

    Returns
    -------
    tuple of float
        (west, south, east, north) [degree].
    """
    west, south, east, north = shapely.from_wkb(wkb).bounds
    return float(west), float(south), float(east), float(north)


def simplify_for_map(wkb: bytes, tolerance_m: float) -> bytes:
    """Drop vertices that a map cannot show. For drawing only: never measure the result.

    Parameters
    ----------
    wkb
        Any geometry, longitude-latitude.
    tolerance_m
        No point of the outline moves farther than this [m].

    Returns
    -------
    bytes
        WKB with as many parts and holes as before.
    """
    shape = shapely.from_wkb(wkb)
    plane = Plane.around([shape])
    flat = shapely.simplify(plane.flatten(shape), tolerance_m, preserve_topology=True)
    return shapely.to_wkb(plane.unflatten(flat))


# ---------------------------------------------------------------------------------------------
# In and out of WKB


def as_geojson(wkb: bytes) -> dict[str, Any]:
    """Return a shape as a GeoJSON geometry (RFC 7946).

    Parameters
    ----------
    wkb
        Any geometry, longitude-latitude.

    Returns
    -------
    dict
        ``{"type": …, "coordinates": …}``, every digit kept.
    """
    geometry: dict[str, Any] = json.loads(shapely.to_geojson(shapely.from_wkb(wkb)))
    return geometry


def from_geojson(obj: Mapping[str, Any]) -> bytes:
    """Read a GeoJSON geometry or feature, unchecked.

    Parameters
    ----------
    obj
        A geometry, or a Feature whose geometry is read. Heights are kept for the check to drop.

    Returns
    -------
    bytes
        WKB. Open rings come out closed.

    Raises
    ------
    InputError
        When it is not a GeoJSON geometry.

    Examples
    --------
    >>> point = from_geojson({"type": "Point", "coordinates": [-93.05, 46.05]})
    >>> bounds(point)
    (-93.05, 46.05, -93.05, 46.05)
    """
    geometry: Any = obj.get("geometry") if obj.get("type") == "Feature" else obj
    try:
        return shapely.to_wkb(shapely.geometry.shape(_in_arrays(geometry)))
    except (
        shapely.errors.ShapelyError,
        ValueError,
        TypeError,
        KeyError,
        AttributeError,
        IndexError,
    ) as error:
        text = json.dumps(geometry, default=str)
        what = f"{text if len(text) <= 60 else text[:57] + '...'} is not a GeoJSON geometry"
        problem = Problem("GeoJSON", what, "Give it a known type and its coordinates.")
        raise InputError([problem]) from error


def _in_arrays(geometry: Any) -> Any:
    """Return a GeoJSON polygon with its rings as arrays, which are read twice as fast as lists."""
    if geometry["type"] != "Polygon":
        return geometry
    try:
        return {"type": "Polygon", "coordinates": [np.array(ring) for ring in geometry["coordinates"]]}
    except ValueError:  # corners of unlike length
        return geometry


def geometry_type(wkb: bytes) -> str:
    """Return the kind of a shape: ``"Polygon"``, ``"MultiLineString"``, ``"Point"`` …

    Parameters
    ----------
    wkb
        Any geometry.

    Returns
    -------
    str
    """
    return str(shapely.from_wkb(wkb).geom_type)


def point_wkb(place: tuple[float, float]) -> bytes:
    """Return a place as WKB.

    Parameters
    ----------
    place
        (longitude, latitude) [degree].

    Returns
    -------
    bytes
    """
    return shapely.to_wkb(shapely.Point(place))


def line_wkb(places: Sequence[tuple[float, float]]) -> bytes:
    """Return a path as WKB.

    Parameters
    ----------
    places
        (longitude, latitude) of at least two places [degree].

    Returns
    -------
    bytes
    """
    return shapely.to_wkb(shapely.LineString(places))
