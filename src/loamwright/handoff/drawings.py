"""From ground to a drawing on paper: to a round scale, north up, readable without colour.

This file answers "how big, and where on the page?". `sketch` lays plots out in metres; here they are
fitted to the page, a scale bar is chosen and labels are moved off each other. How a shape or mark
looks is `templates/style.typ`.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from loamwright.land import KeepOut, Plot, PlotArea, Sketch, SketchKeepOut, Way, outline, overview
from loamwright.units import FT_M
from loamwright.work import SamplingPlan

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Shape:
    """One thing on the ground, in metres east and north of a local origin.

    Parameters
    ----------
    kind
        How it is drawn: ``"plot"``, ``"spread"``, ``"field"``, ``"field-off"``, ``"keepout"``,
        ``"buffer"``, ``"walk"``, ``"track"``.
    rings
        Rings, holes included, or one line.
    closed
        False for a line.
    """

    kind: str
    rings: tuple[tuple[Point, ...], ...]
    closed: bool = True


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark at one place, in metres (or, on a drawing, millimetres).

    Parameters
    ----------
    kind
        ``"entrance"``, ``"gate"`` (a small entrance), ``"core"``, ``"stop"``, ``"well"``, ``"dot"``,
        ``"label"`` or ``"small-label"``.
    x, y
        Place.
    text
        Beside or inside the mark; may be empty.
    """

    kind: str
    x: float
    y: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing to scale, north up, in millimetres from its top left corner.

    Parameters
    ----------
    width_mm, height_mm
        Size on paper [mm].
    scale
        ``"1 : 500"``.
    bar_mm, bar_text
        Length of the scale bar on paper [mm], and what it stands for.
    shapes, marks
        What is drawn, back to front.
    swath
        Two ends of the arrow along which to drive; empty = none.
    """

    width_mm: float
    height_mm: float
    scale: str
    bar_mm: float
    bar_text: str
    shapes: tuple[Shape, ...]
    marks: tuple[Mark, ...]
    swath: tuple[Point, ...] = ()


_SCALE_STEPS = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0)
_BAR_STEPS = (1.0, 2.0, 4.0, 5.0)
_LONGEST_BAR_MM = 45.0


def _scale_denominator(needed: float) -> float:
    """The next round scale at or above what is needed."""
    power = 10.0 ** math.floor(math.log10(max(needed, 1.0)))
    for step in (*_SCALE_STEPS, 10.0):
        if step * power >= needed * (1 - 1e-9):
            return step * power
    return 10.0 * power


def _scale_bar(denominator: float, system: str) -> tuple[float, str]:
    """Longest round length that fits, as millimetres on paper and as text."""
    metres, unit = (FT_M, "ft") if system == "us" else (1.0, "m")
    most = _LONGEST_BAR_MM * denominator / 1000 / metres
    power = 10.0 ** math.floor(math.log10(most))
    length = max(step * power for step in _BAR_STEPS if step * power <= most)
    return length * metres * 1000 / denominator, f"{length:,.0f} {unit}"


def draw(
    shapes: Sequence[Shape],
    marks: Sequence[Mark],
    extent: tuple[float, float, float, float],
    most_mm: Point,
    system: str,
    swath: tuple[Point, float] | None = None,
) -> Drawing:
    """Fit a piece of ground into a drawing at the largest round scale."""
    west, south, east, north = extent
    denominator = _scale_denominator(
        max((east - west) * 1000 / most_mm[0], (north - south) * 1000 / most_mm[1])
    )
    mm = 1000 / denominator

    def place(x: float, y: float) -> Point:
        return (x - west) * mm, (north - y) * mm

    placed = tuple(
        Shape(s.kind, tuple(tuple(place(x, y) for x, y in ring) for ring in s.rings), s.closed)
        for s in shapes
        if s.rings
    )
    width, height = (east - west) * mm, (north - south) * mm
    arrow: tuple[Point, ...] = ()
    if swath is not None:
        (x, y), bearing = swath
        mid_x, mid_y = place(x, y)
        half = min(width, height) * 0.16
        step_x, step_y = half * math.sin(math.radians(bearing)), -half * math.cos(math.radians(bearing))
        arrow = ((mid_x - step_x, mid_y - step_y), (mid_x + step_x, mid_y + step_y))
    bar_mm, bar_text = _scale_bar(denominator, system)
    return Drawing(
        width,
        height,
        f"1 : {denominator:,.0f}",
        bar_mm,
        bar_text,
        placed,
        tuple(Mark(m.kind, *place(m.x, m.y), m.text) for m in marks),
        arrow,
    )


def apart(drawing: Drawing, large: bool = False) -> Drawing:
    """Move labels off each other; a label that finds no free place within reach is left out.

    Labels are 8.5 and 6.5 points high, or all 11 (large).
    """
    marks = [spot for spot in drawing.marks if not spot.kind.endswith("label")]
    signs = [_around(m.x, m.y, *_SIGN_MM[m.kind]) for m in marks if m.kind in _SIGN_MM]
    labels: list[_Box] = []
    kept = []
    for spot in drawing.marks:
        if not spot.kind.endswith("label"):
            kept.append(spot)
            continue
        boxes = [box for box in _tries(spot, large) if _inside(box, drawing) and not _touches(box, labels)]
        free = [box for box in boxes if not _touches(box, signs)] or boxes  # on a sign rather than nowhere
        if free:
            west, north, east, south = free[0]
            labels.append(free[0])
            kept.append(dataclasses.replace(spot, x=(west + east) / 2, y=(north + south) / 2))
    return dataclasses.replace(drawing, marks=tuple(kept))


_Box = tuple[float, float, float, float]
#: Half the width and height that signs take on paper [mm].
_SIGN_MM = {
    "entrance": (2.1, 2.4),
    "gate": (1.1, 1.2),
    "well": (1.3, 1.3),
    "stop": (3.0, 3.0),
    "dot": (0.9, 0.9),
}


def _around(x: float, y: float, half_w: float, half_h: float) -> _Box:
    return x - half_w, y - half_h, x + half_w, y + half_h


def _tries(spot: Mark, large: bool) -> list[_Box]:
    """Where a label may stand: at its place, then around it, nearest first."""
    small = spot.kind.startswith("small")
    half_w = (1.06 if large else 0.62 if small else 0.82) * min(len(spot.text), 18) + 0.6
    half_h = 2.3 if large else 1.3 if small else 1.8
    places = [(0.0, 0.0)]
    for reach in (1.0, 2.0):
        turns = [turn * math.pi / 4 for turn in range(8)]
        places += [(reach * half_w * math.sin(t), reach * 2 * half_h * math.cos(t)) for t in turns]
    return [_around(spot.x + x, spot.y + y, half_w, half_h) for x, y in places]


def _inside(box: _Box, drawing: Drawing) -> bool:
    return box[0] > 0 and box[1] > 0 and box[2] < drawing.width_mm and box[3] < drawing.height_mm


def _touches(box: _Box, others: Sequence[_Box]) -> bool:
    return any(box[0] < t[2] and box[2] > t[0] and box[1] < t[3] and box[3] > t[1] for t in others)


# ---------------------------------------------------------------------------------------------
# The three drawings


def _middle(points: Sequence[Point]) -> Point:
    return (
        (min(x for x, _ in points) + max(x for x, _ in points)) / 2,
        (min(y for _, y in points) + max(y for _, y in points)) / 2,
    )


def _keepout(item: SketchKeepOut) -> tuple[list[Shape], list[Mark]]:
    shapes, marks = [], []
    if item.setback_rings:
        shapes.append(Shape("buffer", item.setback_rings))
    if item.rings:
        shapes.append(Shape("keepout", item.rings))
    lines = [line for line in item.lines if line]
    shapes += [Shape("keepout", (line,), closed=False) for line in lines]
    marks += [Mark("well", x, y) for x, y in item.spots]
    places = [_middle(item.rings[0])] if item.rings else []
    places += [line[len(line) // 2] for line in lines] + list(item.spots)
    if places and item.name:
        marks.append(Mark("small-label", *places[0], item.name))
    return shapes, marks


def _plot_sketch(sketch: Sketch, most_mm: Point, system: str, cores: bool, large: bool = False) -> Drawing:
    plot = sketch.plots[0]
    whole = plot.spread_rings == plot.rings
    shapes = [Shape("field", plot.rings)] if whole else [Shape("plot", plot.rings)]
    shapes += [] if whole else [Shape("spread", plot.spread_rings)]
    marks: list[Mark] = []
    for item in sketch.keepouts:
        more, spots = _keepout(item)
        shapes += more
        marks += spots
    if plot.entrance is not None:
        marks.append(Mark("entrance", *plot.entrance, "way in"))
    if cores:
        marks += [Mark("core", x, y, str(number)) for number, (x, y) in enumerate(sketch.cores, 1)]
    swath = None
    if sketch.swath_bearing_deg is not None and not cores:
        swath = (plot.label, sketch.swath_bearing_deg)
    if cores and len(sketch.cores) > 1:
        shapes.append(Shape("walk", (sketch.cores,), closed=False))
    return apart(draw(shapes, marks, sketch.extent, most_mm, system, swath), large)


def plot_drawing(
    plot: Plot,
    area: PlotArea,
    keepouts: Sequence[KeepOut],
    system: str,
    most_mm: Point = (112.0, 88.0),
    large: bool = False,
) -> Drawing:
    """Draw one plot with the area to spread, keep-outs, way in and driving direction."""
    return _plot_sketch(outline(area, plot, keepouts), most_mm, system, cores=False, large=large)


def round_drawing(
    stops: Sequence[Plot],
    plots: Sequence[Plot],
    keepouts: Sequence[KeepOut],
    ways: Sequence[Way],
    system: str,
    most_mm: Point,
) -> Drawing:
    """Draw the plots of a round, numbered in visiting order, with neighbours, keep-outs and ways."""
    visited = {plot.plot_id for plot in stops}
    sketch = overview(stops, keepouts, [plot for plot in plots if plot.plot_id not in visited], ways)
    shapes = [Shape("field-off", plot.rings) for plot in sketch.others]
    shapes += [Shape("field", plot.rings) for plot in sketch.plots]
    marks: list[Mark] = []
    names: list[Mark] = []
    for item in sketch.keepouts:
        more, spots = _keepout(item)
        shapes += more
        marks += [spot for spot in spots if spot.kind != "small-label"]
        names += [spot for spot in spots if spot.kind == "small-label"]
    for found in sketch.ways:
        way = found.way
        shapes += [Shape("track", (line,), closed=False) for line in found.lines if way.kind == "track"]
        places = list(found.spots) or [line[len(line) // 2] for line in found.lines]
        marks += [Mark("dot", *spot) for spot in places if way.kind != "track"]
        if places and (way.name or way.kind != "track"):
            names.append(Mark("small-label", *places[0], way.name or way.kind))
    for number, plot in enumerate(sketch.plots, 1):
        if plot.entrance is not None:
            marks.append(Mark("gate", *plot.entrance))
        marks.append(Mark("stop", *plot.label, str(number)))
    marks += [Mark("label", *plot.label, plot.plot_id) for plot in sketch.plots]
    return apart(draw(shapes, [*marks, *names], sketch.extent, most_mm, system), large=True)


def sampling_drawing(
    plot: Plot,
    area: PlotArea,
    keepouts: Sequence[KeepOut],
    sampling: SamplingPlan,
    system: str,
    most_mm: Point = (182.0, 120.0),
) -> Drawing:
    """Draw one plot with its soil cores numbered in walking order."""
    return _plot_sketch(outline(area, plot, keepouts, sampling.points), most_mm, system, cores=True)


def overview_drawing(
    plots: Sequence[Plot],
    keepouts: Sequence[KeepOut],
    planned: Collection[str],
    system: str,
    most_mm: Point = (182.0, 84.0),
) -> Drawing | None:
    """Draw the whole property with plot ids."""
    if not plots:
        return None
    sketch = overview(plots, keepouts)
    shapes: list[Shape] = []
    marks: list[Mark] = []
    names: list[Mark] = []
    for item in sketch.keepouts:
        more, spots = _keepout(item)
        shapes += [shape for shape in more if shape.kind != "buffer"]
        marks += [mark for mark in spots if mark.kind != "small-label"]
        names += [mark for mark in spots if mark.kind == "small-label"]
    label = "label" if len(sketch.plots) <= 40 else "small-label"
    for plot in sketch.plots:
        shapes.append(Shape("field" if plot.plot_id in planned else "field-off", plot.rings))
        if plot.entrance is not None and len(sketch.plots) <= 60:
            marks.append(Mark("gate", *plot.entrance))
        marks.append(Mark(label, *plot.label, plot.plot_id))
    marks += names  # the plots' ids get their places first
    return apart(draw(shapes, marks, sketch.extent, most_mm, system))
