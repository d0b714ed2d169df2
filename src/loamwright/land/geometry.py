"""Boundary → true area → the part of it that is spread.

This file answers "how big is the plot really, and how much of it gets spread?". Areas are geodesic
on the WGS84 ellipsoid, whatever the ring order, holes, parts or the 180th meridian (`sizes`).
Distances (setbacks, overlaps, edges) are taken in a plane that keeps areas true: see `Plane`.

It reads no files (`plots` does), judges no drawing (`boundaries`), walks no GPS track
(`walks`), places no soil cores (`cores`) and lays out no sketch (`sketch`). Shapes come and go in
longitude, latitude on WGS84.

References
----------
C. F. F. Karney, "Algorithms for geodesics", Journal of Geodesy 87, 43-55, 2013 (distance).
J. P. Snyder, "Map Projections: A Working Manual", USGS Professional Paper 1395, 1987, pp. 182-190
(Lambert azimuthal equal-area).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain
from typing import Any, TypeVar

import numpy as np
import shapely
from pyproj import Geod, Proj
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from loamwright.errors import InputError, Problem
from loamwright.land.records import KeepOut, Plot, Shape
from loamwright.land.sizes import Sizes, measure_polygons

_GEOD = Geod(ellps="WGS84")
_Shape = TypeVar("_Shape", bound=BaseGeometry)


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
        """Return the plane a shape lies in, of a fixed grid of them over the globe: touching at whole
        tenths of a degree, at most 8 km from its middle, and the same whatever other shapes there are."""
        middle = cls.around([shape])
        return cls(round(middle.lon, 1), round(middle.lat, 1))

    def flatten(self, shape: _Shape) -> _Shape:
        """Lay a shape, or an array of shapes, flat."""
        project = _projection(self.lon, self.lat)
        return shapely.transform(shape, lambda xy: np.column_stack(project(xy[:, 0], xy[:, 1])))

    def unflatten(self, shape: _Shape) -> _Shape:
        """Put a flat shape back on the ellipsoid."""
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

    Examples
    --------
    >>> float(beside(-179.9, 179.9))
    180.1
    """
    return lon - 360.0 * np.round((lon - reference) / 360.0)


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """Return the polygons in a shape, in order; lines and points are passed over."""
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


def measure_boundary(boundary: Shape) -> BoundaryMeasure:
    """Measure a polygon on the WGS84 ellipsoid.

    Parameters
    ----------
    boundary
        Polygon or MultiPolygon in longitude, latitude; an empty one measures zero.

    Returns
    -------
    BoundaryMeasure

    Raises
    ------
    ValueError
        When the shape is not a polygon.

    Notes
    -----
    Edges are geodesics, rings may run either way, and holes are subtracted: `sizes` gives
    the same figure to the last digit for one polygon and for a million.

    Examples
    --------
    A square degree on the equator:

    >>> round(measure_boundary(shapely.box(0, 0, 1, 1)).area_m2 / 1e6)
    12309
    """
    return measure_of(measure_polygons([boundary]), 0)


def measure_of(sizes: Sizes, index: int) -> BoundaryMeasure:
    """Return one of many sizes."""
    area_m2, perimeter_m = float(sizes.area_m2[index]), float(sizes.perimeter_m[index])
    return BoundaryMeasure(area_m2, perimeter_m, int(sizes.parts[index]), int(sizes.holes[index]))


def geodesic_area_m2(shape: BaseGeometry) -> float:
    """Return the geodesic area of a polygon that is already in hand."""
    return float(measure_polygons([shape]).area_m2[0])


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


#: Shapes read from JSON at once, to hold their corners twice no longer than need be.
_SHAPES_AT_ONCE = 1000
#: The fewest metres in a degree of latitude, and of longitude at the equator (110.57 and 111.32 km).
_DEGREE_M = 110_000.0


def boxes_around(shapes: Sequence[BaseGeometry] | np.ndarray, margin_m: Any = 0.0) -> np.ndarray:
    """Return the box around each shape, its geodesic edges and a margin: rows west, south, east, north
    [degree], west within -180 to 180; NaN for an empty shape.

    Notes
    -----
    A geodesic between two places Δλ of longitude apart rises above their latitudes by at most
    Δλ²/8 · sin φ cos φ ≤ Δλ²/16 (the height of a great circle's arc over its parallel).
    """
    west, south, east, north = shapely.bounds(shapes).T
    turn = beside(west, 0.0) - west
    up = np.degrees(np.radians(east - west) ** 2 / 16) + margin_m / _DEGREE_M
    farthest = np.minimum(np.maximum(np.abs(south), np.abs(north)) + up, 89.0)
    aside = margin_m / _DEGREE_M / np.cos(np.radians(farthest))
    return np.column_stack((west + turn - aside, south - up, east + turn + aside, north + up))


def meeting(boxes: np.ndarray, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return which boxes meet which others, row numbers pair by pair in order, from a spatial index; also
    across the 180th meridian."""
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
# Directions and places


def swath_direction(spread: Shape) -> float:
    """Return the bearing along which passes are longest and fewest.

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
    >>> strip = shapely.box(0, 0, 0.001, 0.01)  # ten times longer north than east
    >>> round(swath_direction(strip))
    0
    """
    polygons = polygons_of(spread)
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


#: Corners nearer than this are one: a micrometre, what a text of fifteen decimals may lose [degree].
SAME_CORNER = 1e-11


def same_shape(one: Shape, other: Shape) -> bool:
    """Tell whether two shapes have the same corners within a micrometre, whichever way their rings turn.

    Parameters
    ----------
    one, other
        Any geometries, longitude-latitude.

    Returns
    -------
    bool
    """
    return bool(shapely.equals_exact(shapely.normalize(one), shapely.normalize(other), tolerance=SAME_CORNER))


def label_point(shape: Shape) -> tuple[float, float]:
    """Return the place with the most room around it, for a label.

    Parameters
    ----------
    shape
        Any geometry with a vertex, longitude-latitude.

    Returns
    -------
    tuple of float
        (longitude, latitude): centre of the largest circle inside the largest polygon, middle of
        the longest line, or the first point.
    """
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


def widest_m(shape: Shape) -> float:
    """Return how wide a shape is at its widest: the diameter of the largest circle inside it.

    Parameters
    ----------
    shape
        Polygon or MultiPolygon, longitude-latitude.

    Returns
    -------
    float
        [m]; 0.0 for a shape without a polygon.
    """
    if shape.is_empty:
        return 0.0
    plane = Plane.around([shape])
    circles = [
        shapely.maximum_inscribed_circle(polygon, tolerance=0.05)
        for polygon in polygons_of(plane.flatten(shapely.force_2d(shape)))
    ]
    return 2 * max((float(circle.length) for circle in circles), default=0.0)


def bounds(shape: Shape) -> tuple[float, float, float, float]:
    """Return the box around a shape.

    Parameters
    ----------
    shape
        Any geometry, longitude-latitude.

    Returns
    -------
    tuple of float
        (west, south, east, north) [degree].
    """
    west, south, east, north = shape.bounds
    return float(west), float(south), float(east), float(north)


def simplify_for_map(shape: Shape, tolerance_m: float) -> Shape:
    """Drop vertices that a map cannot show. For drawing only: never measure the result.

    Parameters
    ----------
    shape
        Any geometry, longitude-latitude.
    tolerance_m
        No point of the outline moves farther than this [m].

    Returns
    -------
    Shape
        With as many parts and holes as before.
    """
    plane = Plane.around([shape])
    flat = shapely.simplify(plane.flatten(shape), tolerance_m, preserve_topology=True)
    return plane.unflatten(flat)


# ---------------------------------------------------------------------------------------------
# In and out


def as_geojson(shape: Shape) -> dict[str, Any]:
    """Return a shape as a GeoJSON geometry (RFC 7946).

    Parameters
    ----------
    shape
        Any geometry, longitude-latitude.

    Returns
    -------
    dict
        ``{"type": …, "coordinates": …}``, every digit kept.
    """
    geometry: dict[str, Any] = json.loads(shapely.to_geojson(shape))
    return geometry


def from_geojson(obj: Mapping[str, Any]) -> Shape:
    """Read a GeoJSON geometry or feature, unchecked.

    Parameters
    ----------
    obj
        A geometry, or a Feature whose geometry is read. Heights are kept for the check to drop.

    Returns
    -------
    Shape
        Open rings come out closed.

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
    is_feature = isinstance(obj, Mapping) and obj.get("type") == "Feature"
    geometry: Any = obj.get("geometry") if is_feature else obj
    try:
        _only_numbers(geometry)
        return shapely.geometry.shape(geometry)
    except (
        shapely.errors.ShapelyError,
        ValueError,
        TypeError,
        KeyError,
        AttributeError,
        IndexError,
        OverflowError,
    ) as error:
        text = json.dumps(geometry, default=str)
        what = f"{text if len(text) <= 60 else text[:57] + '...'} is not a GeoJSON geometry"
        problem = Problem("GeoJSON", what, "Give it a known type and its coordinates.")
        raise InputError([problem]) from error


def _only_numbers(geometry: Any) -> None:
    """Raise `TypeError` for coordinates that are texts or truths: the library takes them for figures."""
    waiting = [geometry]
    while waiting:
        item = waiting.pop()
        if isinstance(item, Mapping):
            waiting.extend(item.get(key) for key in ("coordinates", "geometries") if key in item)
        elif isinstance(item, (list, tuple)):
            waiting.extend(item)
        elif isinstance(item, bool) or not isinstance(item, (int, float)):
            raise TypeError(item)


def shapes_from_geojson(geometries: Sequence[Any]) -> list[Shape | Problem | None]:
    """Read many GeoJSON geometries, unchecked.

    Parameters
    ----------
    geometries
        As parsed from JSON; None = no shape.

    Returns
    -------
    list of (Shape or Problem or None)
        Each; where it is not a GeoJSON geometry, a problem that quotes it.

    Examples
    --------
    >>> shapes_from_geojson([None, {"type": "Blob"}])[1].what
    '{"type": "Blob"} is not a GeoJSON geometry'
    """
    found: list[Shape | Problem | None] = []
    for start in range(0, len(geometries), _SHAPES_AT_ONCE):
        some = geometries[start : start + _SHAPES_AT_ONCE]
        plain = [index for index, geometry in enumerate(some) if _is_plain_polygon(geometry)]
        try:
            shapes = _plain_polygons([some[index]["coordinates"] for index in plain])
        except (OverflowError, shapely.errors.GEOSException):
            # A whole number beyond every double, or a ring that ends in none: quoted below.
            plain, shapes = [], []
        ready = dict(zip(plain, shapes, strict=True))
        found.extend(
            ready[index] if index in ready else _one_shape(geometry) for index, geometry in enumerate(some)
        )
    return found


def _plain_polygons(polygons: Sequence[Sequence[Any]]) -> list[Shape]:
    """Return polygons of plain rings."""
    rings = [ring for polygon in polygons for ring in polygon]
    numbers = list(chain.from_iterable(chain.from_iterable(rings)))
    corners = np.array(numbers, dtype=np.float64).reshape(-1, 2)
    of_ring = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    of_polygon = np.repeat(np.arange(len(polygons)), [len(polygon) for polygon in polygons])
    drawn: Any = shapely.linearrings(corners, indices=of_ring)
    shapes: Any = shapely.polygons(drawn, indices=of_polygon)
    return list(shapes)


def _is_plain_polygon(geometry: Any) -> bool:
    """Tell whether a geometry is a polygon of flat rings of numbers, which need no closer look."""
    if not isinstance(geometry, dict) or geometry.get("type") != "Polygon":
        return False
    rings = geometry.get("coordinates")
    return (
        isinstance(rings, list)
        and bool(rings)
        and all(
            isinstance(ring, list)
            and len(ring) >= 4
            and set(map(type, ring)) == {list}
            and set(map(len, ring)) == {2}
            and set(map(type, chain.from_iterable(ring))) <= {float, int}
            for ring in rings
        )
    )


def _one_shape(geometry: Any) -> Shape | Problem | None:
    try:
        return None if geometry is None else from_geojson(geometry)
    except InputError as refusal:
        return refusal.problems[0]


def as_wkb(shape: Shape) -> bytes:
    """Return a shape as well-known binary, for a file.

    Parameters
    ----------
    shape
        Any geometry.

    Returns
    -------
    bytes
        Every digit kept, the least significant byte first.

    References
    ----------
    "OpenGIS Implementation Standard for Geographic information - Simple feature access - Part 1: Common
    architecture", OGC 06-103r4, 2011, clause 8.

    Examples
    --------
    >>> from_wkb(as_wkb(point_shape((-93.05, 46.05)))) == point_shape((-93.05, 46.05))
    True
    """
    return shapely.to_wkb(shape, byte_order=1)


def from_wkb(wkb: bytes) -> Shape:
    """Read a shape from well-known binary.

    Parameters
    ----------
    wkb
        What a file holds, in either byte order.

    Returns
    -------
    Shape

    Raises
    ------
    ValueError
        When it is not well-known binary.
    """
    try:
        return shapely.from_wkb(wkb)
    except shapely.errors.ShapelyError as error:
        raise ValueError(f"{len(wkb)} bytes are not a shape: {error}") from error


def geometry_type(shape: Shape) -> str:
    """Return the kind of a shape: ``"Polygon"``, ``"MultiLineString"``, ``"Point"`` …

    Parameters
    ----------
    shape
        Any geometry.

    Returns
    -------
    str
    """
    return str(shape.geom_type)


def point_shape(place: tuple[float, float]) -> Shape:
    """Return a place as a shape.

    Parameters
    ----------
    place
        (longitude, latitude) [degree].

    Returns
    -------
    Shape
    """
    return shapely.Point(place)


def outlines_of(shape: Shape) -> Shape:
    """Return the edges of an area as lines.

    Parameters
    ----------
    shape
        Polygon or MultiPolygon, longitude-latitude.

    Returns
    -------
    Shape
        Every ring, holes included.
    """
    return shapely.boundary(shape)


def distances_m(plots: Sequence[Plot], keepouts: Sequence[KeepOut]) -> Mapping[tuple[str, str], float]:
    """Measure the gap between every plot and every keep-out.

    Parameters
    ----------
    plots
        Plots with checked boundaries.
    keepouts
        Keep-outs of any shape; their setbacks play no part here.

    Returns
    -------
    mapping of (plot_id, keepout_id) to float
        Shortest distance between boundary and shape [m]; 0.0 where they touch or overlap.

    Notes
    -----
    Taken in one plane around the plots (`geometry.Plane`), whose lengths are true to a few parts per
    million within 10 km.
    """
    if not plots or not keepouts:
        return {}
    boundaries = [plot.boundary for plot in plots]
    plane = Plane.around(boundaries)
    shapes = [plane.flatten(shapely.force_2d(keepout.shape)) for keepout in keepouts]
    gaps = {}
    for plot, boundary in zip(plots, boundaries, strict=True):
        flat = plane.flatten(boundary)
        for keepout, shape in zip(keepouts, shapes, strict=True):
            gaps[plot.plot_id, keepout.keepout_id] = float(shapely.distance(flat, shape))
    return gaps
