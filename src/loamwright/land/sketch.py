"""Plots and keep-outs as plain metres on paper, north up.

This file answers "what lines does a drawing of this plot have?": rings relative to a local
origin, x east and y north, that any template can scale to its page. It chooses no colours, sizes
or words, and measures nothing: figures beside a drawing come from `PlotArea`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from loamwright.land.acreage import setback_shape
from loamwright.land.geometry import Plane, label_point, polygons_of, swath_direction
from loamwright.land.records import KeepOut, Plot, PlotArea, Shape, Way

#: Room left around the plots, as a share of the drawing's larger side, and at least this far [m].
MARGIN_SHARE, MARGIN_M = 0.08, 8.0

#: (x, y): metres east and north of the drawing's origin.
Spot = tuple[float, float]
#: Corners in drawing order; the first is repeated at the end of a closed ring.
Line = tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class SketchPlot:
    """One plot as drawn.

    Parameters
    ----------
    plot_id, name
        As in `Plot`.
    rings
        Boundary, holes after their outer ring [m]; fill by the even-odd rule.
    spread_rings
        The same for what is left to spread; empty when it was not asked for or nothing is left.
    label
        Place with the most room for a label [m].
    entrance
        The way in [m], if known.
    """

    plot_id: str
    name: str
    rings: tuple[Line, ...]
    spread_rings: tuple[Line, ...]
    label: Spot
    entrance: Spot | None


@dataclass(frozen=True, slots=True)
class SketchKeepOut:
    """One keep-out as drawn, cut off at the edge of the drawing.

    Parameters
    ----------
    keepout_id, name, kind
        As in `KeepOut`.
    rings, lines, spots
        Its areas (even-odd), lines and points [m].
    setback_rings
        Outline of the setback around it [m]; empty when it has none.
    setback_known
        False when the setback is not stated.
    """

    keepout_id: str
    name: str
    kind: str
    rings: tuple[Line, ...]
    lines: tuple[Line, ...]
    spots: tuple[Spot, ...]
    setback_rings: tuple[Line, ...]
    setback_known: bool


@dataclass(frozen=True, slots=True)
class SketchWay:
    """A track, gate, bridge, loading place or contact as drawn.

    Parameters
    ----------
    way
        What it is.
    lines, spots
        Its lines and places inside the drawing [m].
    """

    way: Way
    lines: tuple[Line, ...]
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Sketch:
    """A drawing in metres, x east and y north, true north up.

    Parameters
    ----------
    origin
        (longitude, latitude) of x = 0, y = 0 [degree].
    extent
        (west, south, east, north) of the drawing, margin included [m].
    plots, keepouts
        What is drawn.
    swath_bearing_deg
        Bearing of the longest passes [degree, 0 to 180]; None on an overview or with nothing to
        spread.
    cores
        Soil core places in walking order [m].
    others, ways
        Plots that are only neighbours on an overview, and how one gets there.
    """

    origin: tuple[float, float]
    extent: tuple[float, float, float, float]
    plots: tuple[SketchPlot, ...]
    keepouts: tuple[SketchKeepOut, ...]
    swath_bearing_deg: float | None = None
    cores: tuple[Spot, ...] = ()
    others: tuple[SketchPlot, ...] = ()
    ways: tuple[SketchWay, ...] = ()


def outline(
    plot_area: PlotArea,
    plot: Plot,
    keepouts: Sequence[KeepOut],
    cores: Sequence[tuple[float, float]] = (),
) -> Sketch:
    """Draw one plot with its spread area and the keep-outs around it.

    Parameters
    ----------
    plot_area
        Its measured areas.
    plot
        The plot.
    keepouts
        All keep-outs of the property; those outside the drawing are left out.
    cores
        Soil core places (longitude, latitude) to draw [degree].

    Returns
    -------
    Sketch
    """
    plane = Plane.around([plot.boundary])
    drawn = _drawn(plot, plane, plot_area.spread)
    seen = [plane.flatten(plot.boundary), *([shapely.Point(drawn.entrance)] if drawn.entrance else [])]
    extent = _extent(seen)
    return Sketch(
        origin=(plane.lon, plane.lat),
        extent=extent,
        plots=(drawn,),
        keepouts=_drawn_keepouts(keepouts, plane, extent),
        swath_bearing_deg=None if plot_area.spread is None else swath_direction(plot_area.spread),
        cores=_spots(plane.flatten(shapely.MultiPoint(list(cores)))),
    )


def overview(
    plots: Sequence[Plot], keepouts: Sequence[KeepOut], others: Sequence[Plot] = (), ways: Sequence[Way] = ()
) -> Sketch:
    """Draw plots of a property on one sheet.

    Parameters
    ----------
    plots
        The plots; at least one. They and their ways in set the extent.
    keepouts, others, ways
        Keep-outs, neighbours and ways; what lies outside the drawing is left out.

    Returns
    -------
    Sketch

    Raises
    ------
    ValueError
        When there is no plot.
    """
    boundaries = [plot.boundary for plot in plots]
    plane = Plane.around(boundaries)
    gates = [shapely.Point(plot.entrance) for plot in plots if plot.entrance is not None]
    extent = _extent([plane.flatten(shape) for shape in (*boundaries, *gates)])
    sheet = shapely.box(*extent)
    return Sketch(
        origin=(plane.lon, plane.lat),
        extent=extent,
        plots=tuple(_drawn(plot, plane, None) for plot in plots),
        keepouts=_drawn_keepouts(keepouts, plane, extent),
        others=tuple(
            _drawn(plot, plane, None) for plot in others if sheet.intersects(plane.flatten(plot.boundary))
        ),
        ways=tuple(drawn for way in ways if (drawn := _drawn_way(way, plane, sheet))),
    )


def _drawn_way(way: Way, plane: Plane, sheet: BaseGeometry) -> SketchWay | None:
    inside = shapely.get_parts(plane.flatten(shapely.force_2d(way.shape)).intersection(sheet)).tolist()
    parts = [part for part in inside if not part.is_empty]
    lines = tuple(_spots(part) for part in parts if part.geom_type == "LineString")
    spots = tuple(_spots(part)[0] for part in parts if part.geom_type == "Point")
    return SketchWay(way, lines, spots) if parts else None


def _drawn(plot: Plot, plane: Plane, spread: Shape | None) -> SketchPlot:
    return SketchPlot(
        plot_id=plot.plot_id,
        name=plot.name,
        rings=_rings(plane.flatten(plot.boundary)),
        spread_rings=() if spread is None else _rings(plane.flatten(spread)),
        label=_spots(plane.flatten(shapely.Point(label_point(plot.boundary))))[0],
        entrance=_spots(plane.flatten(shapely.Point(plot.entrance)))[0] if plot.entrance else None,
    )


def _drawn_keepouts(
    keepouts: Sequence[KeepOut], plane: Plane, extent: tuple[float, float, float, float]
) -> tuple[SketchKeepOut, ...]:
    sheet = shapely.box(*extent)
    drawn = []
    for keepout in keepouts:
        shape = plane.flatten(shapely.force_2d(keepout.shape))
        ground = setback_shape(keepout, plane)
        if not (sheet.intersects(shape) or sheet.intersects(ground)):
            continue
        parts = shapely.get_parts(shapely.make_valid(shape).intersection(sheet)).tolist()
        parts = [part for part in parts if not part.is_empty]
        drawn.append(
            SketchKeepOut(
                keepout_id=keepout.keepout_id,
                name=keepout.name,
                kind=keepout.kind,
                rings=tuple(ring for part in parts for ring in _rings(part)),
                lines=tuple(_spots(part) for part in parts if part.geom_type == "LineString"),
                spots=tuple(_spots(part)[0] for part in parts if part.geom_type == "Point"),
                setback_rings=_rings(ground.intersection(sheet)) if keepout.setback_m else (),
                setback_known=keepout.setback_m is not None,
            )
        )
    return tuple(drawn)


def _extent(shapes: Sequence[BaseGeometry]) -> tuple[float, float, float, float]:
    west, south, east, north = (float(side) for side in shapely.total_bounds(list(shapes)))
    margin = max(MARGIN_M, MARGIN_SHARE * max(east - west, north - south))
    return west - margin, south - margin, east + margin, north + margin


def _rings(shape: BaseGeometry) -> tuple[Line, ...]:
    return tuple(
        _spots(ring) for polygon in polygons_of(shape) for ring in (polygon.exterior, *polygon.interiors)
    )


def _spots(shape: BaseGeometry) -> Line:
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(shape))
