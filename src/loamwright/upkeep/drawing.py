"""Drawing and redrawing: what a drawn shape makes of the property, one change each.

This file answers "what does this line do to the plots?". Shapes come in longitude, latitude; a boundary that
crosses itself is told and never kept as a plot. A shape drawn from an older state of the plot is asked about.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loamwright import files, land
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.files import Editor
from loamwright.land import KeepOut, Plot, PlotPart, Shape, Way
from loamwright.units import format_area
from loamwright.upkeep.transaction import Changed, changing
from loamwright.work import PropertyRecord

#: Widest gap between two plots that is closed for the asking [m] (our choice).
GAP_M = 3.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a shape on the map is, before it is kept.

    Parameters
    ----------
    area_m2, perimeter_m
        Inside the boundary, geodesic [m2]; length of its rings [m]. None when it cannot be a plot.
    problems
        What is wrong with it, and which plots it lies over.
    """

    area_m2: float | None
    perimeter_m: float | None
    problems: tuple[Problem, ...]


def shape_print(shape: Shape) -> str:
    """Return a short mark of a shape, the same as long as no corner moves.

    Parameters
    ----------
    shape
        Longitude-latitude on WGS84.

    Returns
    -------
    str
    """
    return hashlib.sha256(land.as_wkb(shape)).hexdigest()[:16]


def measure_drawn(record: PropertyRecord, shape: Shape, own: Collection[str] = ()) -> Drawn:
    """Measure a shape as it is drawn, and say what is wrong with it.

    Parameters
    ----------
    record
        The property.
    shape
        Polygon or MultiPolygon, longitude-latitude on WGS84.
    own
        Ids of the plots it is to take the place of.

    Returns
    -------
    Drawn
    """
    ready, problems = _checked(shape)
    if ready is None:
        return Drawn(None, None, problems)
    size = land.measure_boundary(ready)
    return Drawn(size.area_m2, size.perimeter_m, (*problems, *_over_others(record, ready, own)))


def _checked(shape: Shape) -> tuple[Shape | None, tuple[Problem, ...]]:
    """The boundary as it may be kept, or why it cannot be."""
    where = "boundary"
    placed = land.check_coordinates(shape, where)
    if has_errors(placed):
        return None, placed
    if crossing := land.crossing_of(shape):
        lon, lat = crossing
        what = f"the boundary crosses or touches itself near {lat:.5f}, {lon:.5f}"
        return None, (Problem(where, what, "Move a corner until no two sides cross."),)
    (found,) = land.check_boundaries([shape], [where])
    ready, problems = found
    return ready, (*placed, *problems)


def _over_others(record: PropertyRecord, shape: Shape, own: Collection[str]) -> tuple[Problem, ...]:
    """Which other plots a boundary lies over."""
    west, south, east, north = land.bounds(shape)
    near = []
    for plot in record.plots:
        w, s, e, n = land.bounds(plot.boundary)
        if plot.plot_id not in own and w <= east and west <= e and s <= north and south <= n:
            near.append(plot)
    this = Plot("this boundary", "", shape)
    pairs = [pair for pair in land.overlaps([this, *near]) if pair.first == 0]
    return tuple(land.overlap_problem(pair, this, near[pair.second - 1]) for pair in pairs)


def _ready(record: PropertyRecord, shape: Shape, own: Collection[str]) -> tuple[Shape, tuple[Problem, ...]]:
    """The boundary to keep and what to look at, or a refusal."""
    ready, problems = _checked(shape)
    if ready is not None:
        problems = (*problems, *_over_others(record, ready, own))
    if ready is None or has_errors(problems):
        raise InputError([problem for problem in problems if problem.level is Level.ERROR])
    return ready, problems


def free_plot_id(record: PropertyRecord) -> str:
    """Return the next plot id: in the style of those there are, and never one that was used.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    str
        ``"AF-20"`` after ``"AF-19"``; ``"P-1"`` in an empty property.
    """
    used = {plot.plot_id for plot in record.plots} | set(record.former_names)
    used |= {gone.name for gone in record.retired if gone.word == "plot"}
    styles: dict[str, list[str]] = {}
    for name in used:
        if match := re.fullmatch(r"(.*?)(\d{1,6})", name):
            styles.setdefault(match[1], []).append(match[2])
    if not styles:
        return "P-1"
    prefix = max(styles, key=lambda style: (len(styles[style]), style))
    digits = max(map(len, styles[prefix]))
    number = max(int(found) for found in styles[prefix]) + 1
    taken = {name.casefold() for name in used}
    while f"{prefix}{number:0{digits}d}".casefold() in taken:
        number += 1
    return f"{prefix}{number:0{digits}d}"


def _put(editor: Editor, record: PropertyRecord, plots: Sequence[Plot]) -> None:
    """Keep plots, and give them and their neighbours each other's corners, so that borders still match."""
    ids = {plot.plot_id for plot in plots}
    others = [one for one in record.plots if one.plot_id not in ids]
    fitted = land.matched([one.boundary for one in plots], [one.boundary for one in others])
    every = zip((*plots, *others), fitted, strict=True)
    editor.put_plots(
        [
            replace(one, boundary=shape)
            for one, shape in every
            if one.plot_id in ids or shape is not one.boundary
        ]
    )


def _told(shape: Shape, units: str) -> str:
    return format_area(land.measure_boundary(shape).area_m2, units)


def draw_plot(path: Path, shape: Shape, name: str, today: dt.date, by: str) -> tuple[Changed, str]:
    """Keep a drawn boundary as a new plot, under the next free id.

    Parameters
    ----------
    path
        The property file.
    shape
        Polygon or MultiPolygon, longitude-latitude on WGS84.
    name
        What people call it; empty = its id.
    today
        Date of the boundary.
    by
        Who.

    Returns
    -------
    (Changed, str)
        What was done, and the id.

    Raises
    ------
    InputError
        When the boundary crosses itself, encloses nothing, or is another plot's; nothing was changed.
    """
    with changing(path, today, "draw plot", by) as editor:
        record = editor.record()
        ready, problems = _ready(record, shape, ())
        plot_id = free_plot_id(record)
        _put(editor, record, [Plot(plot_id, name.strip() or plot_id, ready)])
    told = f"Drew plot {plot_id}, {_told(ready, record.info.units)}."
    return Changed(editor.change_id, told, problems=problems), plot_id


def redraw_plot(path: Path, plot_id: str, shape: Shape, was: str, today: dt.date, by: str) -> Changed:
    """Give a plot another boundary; the one before is kept with its date.

    Parameters
    ----------
    path
        The property file.
    plot_id
        Which.
    shape
        Polygon or MultiPolygon, longitude-latitude on WGS84.
    was
        `shape_print` of the boundary it was drawn from; empty = whatever stands.
    today
        Date of the boundary.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the boundary cannot be a plot, or another one stands by now; nothing was changed.
    """
    with changing(path, today, f"redraw plot {plot_id}", by) as editor:
        record = editor.record()
        plot = _plot(record, plot_id)
        _as_seen(plot, was, record.info.units)
        ready, problems = _ready(record, shape, (plot.plot_id,))
        _put(editor, record, [replace(plot, boundary=ready, area_se_m2=None)])
    before, after = (_told(one, record.info.units) for one in (plot.boundary, ready))
    told = f"Redrew plot {plot.plot_id}: {before} → {after}."
    return Changed(editor.change_id, told, (("boundary", before, after),), problems)


def _plot(record: PropertyRecord, plot_id: str) -> Plot:
    found: Plot = files.find(files.thing_of("plot"), record, plot_id)
    return found


def _neighbour(record: PropertyRecord, plot: Plot, other_id: str) -> Plot:
    other = _plot(record, other_id)
    if other.plot_id == plot.plot_id:
        what = f"plot {plot.plot_id} is no neighbour of itself"
        raise InputError([Problem("other", what, "Choose another plot.")])
    return other


def _as_seen(plot: Plot, was: str, units: str) -> None:
    """Ask when a plot is not as it was when its shape was taken up."""
    if was and was != shape_print(plot.boundary):
        now = _told(plot.boundary, units)
        what = f"plot {plot.plot_id} was redrawn elsewhere meanwhile; it is {now} there now"
        fix = "Load the map again to see it, or keep yours in its place."
        raise InputError([Problem("boundary", what, fix, question="boundary", choices=("mine", "theirs"))])


def _reshaped(
    path: Path,
    plot_id: str,
    left: Callable[[PropertyRecord, Plot], tuple[str, Shape]],
    command: str,
    was: str,
    today: dt.date,
    by: str,
) -> Changed:
    """Keep what an operation leaves of one plot; `left` says what it did, and the shape."""
    with changing(path, today, command, by) as editor:
        record = editor.record()
        plot = _plot(record, plot_id)
        _as_seen(plot, was, record.info.units)
        told, shape = left(record, plot)
        ready, problems = _ready(record, shape, (plot.plot_id,))
        _put(editor, record, [replace(plot, boundary=ready)])
    before, after = (_told(one, record.info.units) for one in (plot.boundary, ready))
    return Changed(editor.change_id, f"{told}: {before} → {after}.", (("boundary", before, after),), problems)


def cut_hole(path: Path, plot_id: str, ring: Shape, was: str, today: dt.date, by: str) -> Changed:
    """Take a drawn ring out of a plot, as a hole or as a bite over its edge.

    Parameters
    ----------
    path, plot_id
        Which plot.
    ring
        Polygon, longitude-latitude on WGS84.
    was
        `shape_print` of the boundary it was drawn on; empty = whatever stands.
    today
        Date of the boundary.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it lies outside or leaves nothing; nothing was changed.
    """

    def left(_record: PropertyRecord, plot: Plot) -> tuple[str, Shape]:
        return f"Cut a hole into plot {plot.plot_id}", land.cut_hole(plot.boundary, ring)

    return _reshaped(path, plot_id, left, f"hole in plot {plot_id}", was, today, by)


def cut_out(path: Path, plot_id: str, other_id: str, today: dt.date, by: str) -> Changed:
    """Take the ground of another plot out of this one.

    Parameters
    ----------
    path
        The property file.
    plot_id, other_id
        The plot that gives, and the one whose ground it is.
    today
        Date of the boundary.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When they share no ground or nothing is left; nothing was changed.
    """

    def left(record: PropertyRecord, plot: Plot) -> tuple[str, Shape]:
        other = _neighbour(record, plot, other_id)
        told = f"Cut plot {other.plot_id} out of plot {plot.plot_id}"
        return told, land.cut_out(plot.boundary, other.boundary)

    return _reshaped(path, plot_id, left, f"cut {other_id} out of {plot_id}", "", today, by)


def split_plot(path: Path, plot_id: str, line: Shape, was: str, today: dt.date, by: str) -> Changed:
    """Split a plot along a line: the largest piece keeps the id, the others get the next free ones.

    Parameters
    ----------
    path, plot_id
        Which plot.
    line
        The cut, longitude-latitude on WGS84.
    was
        `shape_print` of the boundary it was drawn on; empty = whatever stands.
    today
        Date of the boundaries.
    by
        Who.

    Returns
    -------
    Changed
        Neighbours that touch the cut get its corners in the same change, so that borders still match.

    Raises
    ------
    InputError
        When the line does not cross the plot; nothing was changed.
    """
    with changing(path, today, f"split plot {plot_id}", by) as editor:
        record = editor.record()
        plot = _plot(record, plot_id)
        _as_seen(plot, was, record.info.units)
        pieces = land.split(plot.boundary, line)
        made = [replace(plot, boundary=pieces[0])]
        for piece in pieces[1:]:
            known = replace(record, plots=(*record.plots, *made))
            new_id = free_plot_id(known)
            name = f"{plot.name}, part of {plot.plot_id}"
            new = replace(plot, plot_id=new_id, name=name, boundary=piece, entrance=None, area_se_m2=None)
            made.append(new)
        _put(editor, record, made)
        now = [c for c in record.croppings if c.plot_id == plot.plot_id and c.season == record.info.season]
        editor.put_croppings([replace(c, plot_id=one.plot_id) for one in made[1:] for c in now])
    sizes = ", ".join(f"{one.plot_id} {_told(one.boundary, record.info.units)}" for one in made)
    told = f"Split plot {plot.plot_id} into {sizes}."
    note = Problem(
        f"plot {plot.plot_id}",
        f"its soil tests stay with it, {', '.join(one.plot_id for one in made[1:])} has none yet; what was "
        "spread before today counts on each piece by its ground",
        "Give the new plot its own test, or type the same one in for it.",
        Level.NOTE,
    )
    return Changed(editor.change_id, told, problems=(note,))


def merge_plots(path: Path, plot_ids: Sequence[str], today: dt.date, by: str) -> Changed:
    """Make one plot of several: the first keeps its id, the others are retired.

    Parameters
    ----------
    path
        The property file.
    plot_ids
        Which; the first one stays.
    today
        Date of the boundary.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there are fewer than two, or one is not there; nothing was changed.
    """
    with changing(path, today, f"merge plots {' '.join(plot_ids)}", by) as editor:
        record = editor.record()
        plots = list({plot.plot_id: plot for plot in (_plot(record, name) for name in plot_ids)}.values())
        shape = land.merge([plot.boundary for plot in plots])
        ready, problems = _ready(record, shape, [plot.plot_id for plot in plots])
        editor.put_plots([replace(plots[0], boundary=ready, area_se_m2=None)])
        for plot in plots[1:]:
            editor.retire("plot", (plot.plot_id,), f"merged into plot {plots[0].plot_id}")
    gone = ", ".join(plot.plot_id for plot in plots[1:])
    told = f"Merged {gone} into plot {plots[0].plot_id}, {_told(ready, record.info.units)} now."
    return Changed(editor.change_id, told, problems=problems)


def close_gap(path: Path, plot_id: str, other_id: str, gap_m: float, today: dt.date, by: str) -> Changed:
    """Make two plots meet along one border.

    Parameters
    ----------
    path
        The property file.
    plot_id, other_id
        Which; where they overlap, the longer border decides.
    gap_m
        Widest gap closed [m].
    today
        Date of the boundaries.
    by
        Who.

    Returns
    -------
    Changed
        It says how much ground changed hands.

    Raises
    ------
    InputError
        When they are farther apart, or meet already; nothing was changed.
    """
    with changing(path, today, f"close gap {plot_id} {other_id}", by) as editor:
        record = editor.record()
        plot = _plot(record, plot_id)
        other = _neighbour(record, plot, other_id)
        here, there, moved_m2 = land.close_gap(plot.boundary, other.boundary, gap_m)
        _put(editor, record, [replace(plot, boundary=here), replace(other, boundary=there)])
    told = (
        f"Plots {plot.plot_id} and {other.plot_id} meet now; {format_area(moved_m2, record.info.units)} "
        f"({moved_m2:,.0f} m²) changed hands."
    )
    return Changed(editor.change_id, told)


def _free_id(used: Collection[str], prefix: str) -> str:
    taken = {name.casefold() for name in used}
    number = 1
    while f"{prefix}-{number}".casefold() in taken:
        number += 1
    return f"{prefix}-{number}"


def draw_keepout(
    path: Path, shape: Shape, kind: str, name: str, setback: str, today: dt.date, by: str
) -> Changed:
    """Keep a drawn point, line or polygon as ground where nothing is spread.

    Parameters
    ----------
    path
        The property file.
    shape
        Longitude-latitude on WGS84.
    kind, name
        Water, well, ditch …; what people call it.
    setback
        As typed, ``"50 ft"``; empty = not stated, which is not zero.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the shape or setback cannot be; nothing was changed.
    """
    _refuse_crossing(shape)
    problems: list[Problem] = []
    if not kind.strip():
        problems.append(Problem("kind", "it is not said what it is", "Write creek, pond, well …"))
    setback_m = files.typed_options({"setback": setback.strip() or None}, problems).quantity(
        "setback", "setback"
    )
    if problems:
        raise InputError(problems)
    with changing(path, today, "draw keep-out", by) as editor:
        record = editor.record()
        used = [one.keepout_id for one in record.keepouts] + [gone.name for gone in record.retired]
        made = KeepOut(_free_id(used, "KO"), name.strip(), kind.strip(), shape, setback_m, setback.strip())
        editor.put_keepouts([made])
    note = Problem(
        f"keep-out {made.keepout_id}",
        "its setback is not stated, and nothing but the shape itself is kept free",
        "State it by your local rule and the product label.",
        Level.WARNING,
    )
    told = f"Drew keep-out {made.keepout_id}, {made.kind}."
    return Changed(editor.change_id, told, problems=(note,) if setback_m is None else ())


def _refuse_crossing(shape: Shape) -> None:
    problems = land.check_coordinates(shape, "shape")
    if crossing := land.crossing_of(shape):
        what = f"the shape crosses itself near {crossing[1]:.5f}, {crossing[0]:.5f}"
        problems = (*problems, Problem("shape", what, "Move a corner until no two sides cross."))
    if has_errors(problems):
        raise InputError(problems)


def draw_way(path: Path, shape: Shape, kind: str, name: str, today: dt.date, by: str) -> Changed:
    """Keep a drawn line or point as a track, gate, bridge or loading place.

    Parameters
    ----------
    path
        The property file.
    shape
        Longitude-latitude on WGS84.
    kind, name
        What it is; what people call it.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it is not said what it is; nothing was changed.
    """
    _refuse_crossing(shape)
    if not kind.strip():
        fix = "Write for example track, gate, bridge or loading place."
        raise InputError([Problem("kind", "it is not said what it is", fix)])
    with changing(path, today, "draw way", by) as editor:
        record = editor.record()
        used = [one.way_id for one in record.ways] + [gone.name for gone in record.retired]
        made = Way(_free_id(used, "W"), kind.strip(), shape, name.strip())
        editor.put_ways([made])
    return Changed(editor.change_id, f"Drew way {made.way_id}, {made.kind}.")


def draw_part(path: Path, plot_id: str, shape: Shape, name: str, today: dt.date, by: str) -> Changed:
    """Keep a drawn polygon as a part of a plot.

    Parameters
    ----------
    path, plot_id
        Which plot.
    shape
        Polygon, longitude-latitude on WGS84; what reaches beyond the plot is left off.
    name
        What people call it.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it has no name, or lies outside the plot; nothing was changed.
    """
    _refuse_crossing(shape)
    if not name.strip():
        raise InputError([Problem("name", "the part has no name", "Write for example south or wet corner.")])
    with changing(path, today, f"draw part of plot {plot_id}", by) as editor:
        record = editor.record()
        plot = _plot(record, plot_id)
        inside = land.inside(plot.boundary, shape)
        part_id = f"{plot.plot_id}/{name.strip()}"
        if part_id.casefold() in {part.part_id.casefold() for part in record.parts}:
            what = f"plot {plot.plot_id} has a part {name.strip()!r} already"
            raise InputError([Problem("name", what, "Give this one another name.")])
        editor.put_parts([PlotPart(part_id, plot.plot_id, name.strip(), None, inside)])
    told = f"Drew part {part_id}, {_told(inside, record.info.units)}."
    return Changed(editor.change_id, told)
