"""Is what was drawn a plot, and does any ground lie in two of them?

This file answers "can this boundary be used?" for one shape, and "is any ground counted twice?"
for many. It repairs what can be repaired without changing which ground is meant, says so, and
refuses the rest. It measures nothing of its own (`geometry` does) and reads no files.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry import GeometryCollection, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from loamwright.errors import InputError, Level, Problem
from loamwright.land.acreage import title
from loamwright.land.geometry import Plane, beside, geodesic_area_m2, measure_boundary, polygons_of
from loamwright.land.records import Plot
from loamwright.units import format_area

#: A boundary that encloses less than this is no plot [m2] (our choice).
SMALLEST_PLOT_M2 = 1.0
#: A repair may change the area by this share and still be called the same shape (our choice).
REPAIR_SHARE = 0.001
#: Two boundaries that agree to this share are the same plot drawn twice (our choice).
DUPLICATE_SHARE = 0.99
#: An overlap or part narrower than this on average is a sliver [m] (our choice).
SLIVER_WIDTH_M = 1.0
#: South of this nothing is farmed [degree]: the Antarctic Treaty area begins at 60° S.
SOUTH_LIMIT = -60.0
#: North of this a field is so unlikely that we ask [degree] (our choice).
CROP_LIMIT = 72.0


# ---------------------------------------------------------------------------------------------
# Checking


def check_coordinates(wkb: bytes, where: str) -> tuple[Problem, ...]:
    """Say whether a shape's numbers can be longitude, latitude of a place where something grows.

    Parameters
    ----------
    wkb
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
    with np.errstate(invalid="ignore"):  # a number that is not one is reported below
        coords = shapely.get_coordinates(shapely.from_wkb(wkb, on_invalid="fix"))
    lon, lat = coords[:, 0], coords[:, 1]

    def first(bad: Any) -> tuple[float, float] | None:
        index = int(np.argmax(bad)) if bad.any() else -1
        return None if index < 0 else (float(lon[index]), float(lat[index]))

    if (at := first(~np.isfinite(coords).all(axis=1))) is not None:
        what = f"coordinate ({at[0]:g}, {at[1]:g}) is not a pair of finite numbers"
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


def check_boundary(
    wkb: bytes, where: str, tolerance_m2: float = 0.0
) -> tuple[bytes | None, tuple[Problem, ...]]:
    """Check a boundary, repair what keeps its meaning, and refuse what does not.

    Parameters
    ----------
    wkb
        What the user drew, longitude-latitude on WGS84.
    where
        File and feature, for the messages.
    tolerance_m2
        Change of area a repair may make [m2]; never less than 0.1 % of the area. A GPS walk passes
        its own standard error here.

    Returns
    -------
    tuple of (bytes or None, tuple of Problem)
        Polygon or MultiPolygon ready to use, or None when refused; and what was found. Repairs
        are notes: a ring closed, a spike or touching point cleaned, parts that share an edge
        joined. Parts that overlap and pieces that are not polygons are warnings. Heights are
        dropped and rings are turned the GeoJSON way round without a word: neither has a meaning
        for area.

    Notes
    -----
    A repair keeps the meaning when the area it encloses equals the area of the rings as drawn. A
    bow-tie fails: as drawn its two halves cancel. So do a hole outside its boundary and a ring
    walked twice around.
    """
    notes: list[Problem] = []
    try:
        shape = _read(wkb, where, notes)
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
    return shapely.to_wkb(shapely.orient_polygons(boundary)), tuple(notes)


def _read(wkb: bytes, where: str, notes: list[Problem]) -> BaseGeometry:
    """Read WKB as a flat shape whose longitudes run on across 180°, or refuse it."""
    try:
        with np.errstate(invalid="ignore"):
            shape = shapely.from_wkb(wkb)
    except shapely.errors.GEOSException:
        shape = shapely.from_wkb(wkb, on_invalid="fix")
        if shape is None:
            what = f"the shape cannot be read ({len(wkb)} bytes)"
            raise InputError(
                [Problem(where, what, "Export it again from the program it came from.")]
            ) from None
        what = "the boundary's last point was not its first"
        notes.append(Problem(where, what, "The ring was closed with a straight line.", Level.NOTE))
    if shape is None or shape.is_empty:
        raise InputError([Problem(where, "the feature has no shape", "Draw its boundary or delete it.")])
    for problem in check_coordinates(wkb, where):
        if problem.level is Level.ERROR:
            raise InputError([problem])
        notes.append(problem)
    shape = shapely.force_2d(shape)
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


def _repaired(polygon: Polygon, where: str, tolerance_m2: float, notes: list[Problem]) -> list[Polygon]:
    """Return the polygon as valid pieces that enclose the same ground, or refuse it."""
    if polygon.is_valid:
        return [polygon]
    pieces = polygons_of(shapely.make_valid(polygon))
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
        what = (
            f"the boundary {fault}{at}, and its area depends on how that is read "
            f"({drawn:,.0f} or {enclosed:,.0f} m²)"
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


def overlaps(plots: Sequence[Plot]) -> tuple[Overlap, ...]:
    """Return every pair of plots that share more than a square metre.

    Parameters
    ----------
    plots
        Plots with checked boundaries.

    Returns
    -------
    tuple of Overlap
        By position of the first plot, then the second.
    """
    if len(plots) < 2:
        return ()
    boundaries = [shapely.from_wkb(plot.boundary_wkb) for plot in plots]
    plane = Plane.around(boundaries)
    flat = [plane.flatten(boundary) for boundary in boundaries]
    found = []
    for first, second in sorted(zip(*shapely.STRtree(flat).query(flat, predicate="intersects"), strict=True)):
        if first >= second:
            continue
        shared = flat[first].intersection(flat[second])
        if shared.area > SMALLEST_PLOT_M2:
            both = flat[first].area + flat[second].area - shared.area
            width = 2 * shared.area / sum(piece.length for piece in polygons_of(shared))
            found.append(Overlap(int(first), int(second), shared.area, shared.area / both, width))
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
    problems = []
    for overlap in overlaps(plots):
        a, b = plots[overlap.first], plots[overlap.second]
        where = f"plots {title(a)} and {title(b)}"
        size = f"{overlap.area_m2:,.0f} m² ({format_area(overlap.area_m2)})"
        if overlap.share >= DUPLICATE_SHARE:
            what = f"both have the same boundary: {overlap.share:.1%} of their ground is shared"
            problems.append(Problem(where, what, "Delete one, or its acres and dollars count twice."))
        elif overlap.width_m < SLIVER_WIDTH_M:
            what = f"they overlap in a sliver of {size}, {overlap.width_m:.1f} m wide on average"
            problems.append(Problem(where, what, "Snap the shared edge if it matters.", Level.NOTE))
        else:
            what = f"they overlap by {size}, which is counted in both"
            problems.append(Problem(where, what, "Redraw one so that they meet.", Level.WARNING))
    for plot in plots:
        polygons = polygons_of(shapely.from_wkb(plot.boundary_wkb))
        for polygon in polygons if len(polygons) > 1 else []:
            part = measure_boundary(shapely.to_wkb(polygon))
            width = 2 * part.area_m2 / part.perimeter_m
            if width < SLIVER_WIDTH_M:
                what = (
                    f"one of its parts is a sliver of {part.area_m2:,.1f} m², {width:.1f} m wide on average"
                )
                fix = "Delete that part if it was not meant."
                problems.append(Problem(f"plot {title(plot)}", what, fix, Level.NOTE))
    return tuple(problems)
