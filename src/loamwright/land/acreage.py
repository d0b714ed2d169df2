"""How much of a plot is spread: the boundary less keep-outs and the setbacks around them.

The boundary's own area is geodesic; what is cut off is cut in a plane that keeps areas true (`geometry`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby
from operator import itemgetter

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from loamwright.land.geometry import (
    BoundaryMeasure,
    Plane,
    boxes_around,
    label_point,
    measure_of,
    meeting,
    polygons_of,
)
from loamwright.land.records import KeepOut, Plot, PlotArea, Shape
from loamwright.land.sizes import areas_m2, measure_polygons
from loamwright.units import ACRE_M2, FT_M, HA_M2, format_area
from loamwright.values import ARITHMETIC, BOUNDARY, USER, LaterSteps, Source, Step

#: A keep-out whose setback is not stated is reported when it lies this near [m]: the largest
#: distance in Minnesota's manure setbacks (Rule 7020 table, as printed by the North Fork Crow
#: River Watershed District, "Manure Management").
NEAR_M = 300 * FT_M
#: Straight pieces per quarter turn of a setback's rounded corner. A piece leaves the true arc by at
#: most 1 − cos(45°/32) = 0.030 % of the setback, on the inside.
QUARTER_PIECES = 32


# ---------------------------------------------------------------------------------------------
# Areas of a property


@dataclass(frozen=True, slots=True)
class _Barrier:
    """A keep-out laid flat: its own shape, and the ground it keeps clear."""

    shape: BaseGeometry
    ground: BaseGeometry


def setback_shape(keepout: KeepOut, plane: Plane) -> BaseGeometry:
    """Return the ground a keep-out keeps clear: its shape and the setback around it.

    Notes
    -----
    Straight sides lie at the exact distance. A rounded corner is drawn with 32 straight pieces to
    the quarter turn, so it falls short of the true arc by at most 0.030 % of the setback
    (1 − cos(45°/32); 5 mm in 50 ft).
    """
    shape = shapely.make_valid(plane.flatten(shapely.force_2d(keepout.shape)))
    if not keepout.setback_m:
        return shape
    return shapely.buffer(shape, keepout.setback_m, quad_segs=QUARTER_PIECES)


def setback(keepout: KeepOut) -> Shape | None:
    """Return the ground a keep-out keeps clear, for drawing or for another program.

    Parameters
    ----------
    keepout
        The keep-out.

    Returns
    -------
    Shape or None
        Polygon or MultiPolygon in longitude, latitude: the keep-out and its setback. None when no
        setback is stated, or when it is zero.
    """
    if not keepout.setback_m:
        return None
    plane = Plane.around([keepout.shape])
    return plane.unflatten(setback_shape(keepout, plane))


def areas(plots: Sequence[Plot], keepouts: Sequence[KeepOut], system: str = "us") -> tuple[PlotArea, ...]:
    """Measure every plot of a property, and what is left of it to spread.

    Parameters
    ----------
    plots
        Plots with checked boundaries.
    keepouts
        Ground where nothing is spread. The setback is subtracted with it where it is stated; where
        it is not, only the shape itself is, and its id is listed for every plot within 300 ft.
    system
        ``"us"`` or ``"metric"``: the unit the steps end in, acres or hectares.

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
    boundaries = np.array([plot.boundary for plot in plots], dtype=object)
    gross = measure_polygons(boundaries)
    cuts = _cuts(boundaries, keepouts)
    left = [shape for index in sorted(cuts) for _, shape in cuts[index].left]
    measured = iter(areas_m2(left).tolist())
    return tuple(
        _plot_area(
            plot.plot_id,
            plot.boundary,
            measure_of(gross, index),
            plot.area_se_m2,
            cuts.get(index, _Cuts()),
            measured,
            system,
        )
        for index, plot in enumerate(plots)
    )


@dataclass(frozen=True, slots=True)
class _Cuts:
    """What keep-outs do to one plot: (keep-out, what is left after it), and those of unknown setback."""

    left: list[tuple[KeepOut, Shape]] = field(default_factory=list)
    missing: list[KeepOut] = field(default_factory=list)


def _cuts(boundaries: np.ndarray, keepouts: Sequence[KeepOut]) -> dict[int, _Cuts]:
    """Cut the plots that keep-outs come near, by position; the others are not looked at."""
    shapes = [shapely.force_2d(keepout.shape) for keepout in keepouts]
    pairs = zip(*meeting(boxes_around(boundaries), _reach(keepouts)), strict=True)
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
                cut.left.append((keepout, plane.unflatten(left)))
    return cuts


def _reach(keepouts: Sequence[KeepOut]) -> np.ndarray:
    """Return the boxes within which a plot is cut by a keep-out, or near one of unknown setback."""
    margin = np.array([NEAR_M if item.setback_m is None else item.setback_m for item in keepouts])
    return boxes_around([item.shape for item in keepouts], margin)


def within_reach(boxes: np.ndarray, keepouts: Sequence[KeepOut]) -> np.ndarray:
    """Return which of many plots a keep-out may cut or lie near.

    Parameters
    ----------
    boxes
        Rows west, south, east, north [degree] around the plots; NaN for none.
    keepouts
        Ground where nothing is spread.

    Returns
    -------
    numpy.ndarray
        Rows of `boxes`, in order; the other plots are spread to their boundaries.
    """
    rows: np.ndarray = np.unique(meeting(boxes, _reach(keepouts))[0])
    return rows


def whole_area(plot_id: str, gross: BoundaryMeasure, area_se_m2: float | None) -> PlotArea:
    """Return the area of a plot that no keep-out cuts, without its shape.

    Parameters
    ----------
    plot_id
        Which plot.
    gross
        Its measure.
    area_se_m2
        Standard error of a walked boundary's area [m2], or None.

    Returns
    -------
    PlotArea
        Its `spread` is None, though all of it is spread: for showing figures only.
    """
    return _plot_area(plot_id, None, gross, area_se_m2, _Cuts(), iter(()))


def _plot_area(
    plot_id: str,
    boundary: Shape | None,
    gross: BoundaryMeasure,
    area_se_m2: float | None,
    cuts: _Cuts,
    measured: Iterator[float],
    system: str = "us",
) -> PlotArea:
    left_m2 = gross.area_m2
    lost: list[tuple[KeepOut, float]] = []
    for keepout, _ in cuts.left:
        before, left_m2 = left_m2, min(left_m2, next(measured))  # a cut adds no ground, not even by rounding
        lost.append((keepout, before - left_m2))
    left = cuts.left[-1][1] if cuts.left else boundary
    return PlotArea(
        plot_id=plot_id,
        area_m2=gross.area_m2,
        spread_area_m2=left_m2,
        perimeter_m=gross.perimeter_m,
        spread=None if left is None or left.is_empty else left,
        parts=gross.parts,
        holes=gross.holes,
        area_se_m2=area_se_m2,
        keepouts=tuple((keepout.keepout_id, m2) for keepout, m2 in lost),
        missing_setbacks=tuple(keepout.keepout_id for keepout in cuts.missing),
        steps=LaterSteps(partial(_steps, gross, area_se_m2, lost, cuts.missing, left_m2, system)),
    )


def _steps(
    gross: BoundaryMeasure,
    area_se_m2: float | None,
    lost: Sequence[tuple[KeepOut, float]],
    missing: Sequence[KeepOut],
    left_m2: float,
    system: str,
) -> tuple[Step, ...]:
    steps = [_gross_step(gross, system)]
    if area_se_m2 is not None:
        what = "Standard error of that area, from walking it with GPS (±, about two times in three)"
        steps.append(_ground_step(what, area_se_m2, BOUNDARY, system))
    steps += [_loss_step(keepout, m2, n == 0, system) for n, (keepout, m2) in enumerate(lost)]
    for keepout in missing:
        near = "91 m" if system == "metric" else "300 ft"
        what = f"{title(keepout)} lies within {near} and its setback is not stated: none is subtracted"
        steps.append(Step(what, None, "", USER))
    if lost:
        what = f"Left to spread, measured the same way: {_square_metres(left_m2, system)}"
        steps.append(_ground_step(what, left_m2, ARITHMETIC, system))
    return tuple(steps)


def _ground_step(what: str, area_m2: float, source: Source, system: str) -> Step:
    """Return a step that ends in an area, in acres or hectares."""
    size, unit = (HA_M2, "ha") if system == "metric" else (ACRE_M2, "acres")
    return Step(what, area_m2 / size, unit, source)


def _square_metres(area_m2: float, system: str) -> str:
    """Write an area as it was measured, with hectares beside it where the step ends in acres."""
    return f"{area_m2:,.1f} m²" + ("" if system == "metric" else f" ({format_area(area_m2, 'metric')})")


def _cut(left: BaseGeometry, ground: BaseGeometry) -> BaseGeometry:
    """Take ground away, dropping crumbs below a square centimetre that arithmetic leaves behind."""
    pieces = [piece for piece in polygons_of(left.difference(ground)) if piece.area > 1e-4]
    return pieces[0] if len(pieces) == 1 else MultiPolygon(pieces)


def _gross_step(gross: BoundaryMeasure, system: str) -> Step:
    made_of = [f"{gross.parts} parts added"] if gross.parts > 1 else []
    made_of += [f"{gross.holes} hole{'s' * (gross.holes > 1)} taken out"] if gross.holes else []
    what = (
        f"Inside the boundary, geodesic on the WGS84 ellipsoid{''.join(f', {part}' for part in made_of)}: "
        f"{_square_metres(gross.area_m2, system)}"
    )
    return _ground_step(what, gross.area_m2, BOUNDARY, system)


def _loss_step(keepout: KeepOut, loss_m2: float, first: bool, system: str) -> Step:
    around = ""
    if keepout.setback_m:
        written = keepout.setback_text or f"{keepout.setback_m:g} m"
        around = f" and {written} around it (rounded corners within 0.03 % of that)"
    beyond = "" if first else ", beyond what is already taken off"
    what = f"Less {title(keepout)}{around}{beyond}: {loss_m2:,.1f} m²"
    return _ground_step(what, loss_m2, Source("user", row=f"keep-out {keepout.keepout_id}"), system)


def title(item: KeepOut | Plot) -> str:
    """Return what people call a plot or keep-out: kind, name and id, each once."""
    ident = item.plot_id if isinstance(item, Plot) else item.keepout_id
    kind = "" if isinstance(item, Plot) else item.kind
    name = item.name if item.name and item.name != ident else ""
    words = [word for word in (kind, name) if word]
    return f"{' '.join(words)} ({ident})" if words else ident


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
    plane = Plane.around([plot.boundary for plot in plots])
    points = [shapely.Point(plot.entrance or label_point(plot.boundary)) for plot in plots]
    return {
        plot.plot_id: (flat.x, flat.y) for plot, flat in zip(plots, map(plane.flatten, points), strict=True)
    }
