"""Which ways and parts of plots does a map file describe?

A track, gate, bridge, loading place or contact is a line or a point with its kind; a part is a polygon with
the plot it belongs to and a name. A fault names file, feature, field, value and fix.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loamwright import land
from loamwright.errors import InputError, Level, Problem
from loamwright.files.plots import WAYS, Ids, next_id, rows_of, sound
from loamwright.files.vectors import ShapeFile
from loamwright.land import Plot, PlotPart, Way

#: A part that is larger than what lies inside its plot by this factor reaches beyond it (our choice).
BEYOND = 1.01
#: What a way may be.
WAY_KINDS = tuple(sorted(WAYS))
WAY_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "way_id": ("wayid", "id"),
    "name": ("title", "label"),
    "kind": ("type", "feature_type", "way"),
    "width": ("clear_width",),
    "load_limit": ("weight_limit", "limit"),
    "notes": ("note", "comment", "comments", "description", "desc", "remarks"),
}
PART_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "part_id": ("partid",),
    "plot_id": ("plotid", "plot"),
    "name": ("part", "title", "label"),
    "notes": ("note", "comment", "comments", "description", "desc", "remarks"),
}


@dataclass(frozen=True, slots=True)
class WaysRead:
    """Ways found in a file, and everything found on the way."""

    ways: tuple[Way, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class PartsRead:
    """Parts of plots found in a file, and everything found on the way."""

    parts: tuple[PlotPart, ...]
    problems: tuple[Problem, ...]


def ways_from_shapes(shapes: ShapeFile, used: Sequence[str]) -> WaysRead:
    """Read the ways of a map file; `used` ids are not given again."""
    problems, ways = list(shapes.problems), []
    ids, rows = Ids("way_id"), rows_of(shapes, WAY_COLUMNS)
    stated = {row.text("way_id") for row in rows} | set(used)
    for feature, row in zip(shapes.features, rows, strict=True):
        ident = row.text("way_id") or next_id("way", stated, ids.taken)
        row.add(ids.check(ident, row.place("way_id")))
        kind = row.text("kind").casefold()
        if kind not in WAYS:
            what = f"{row.text('kind')!r} is no way" if kind else "it is not said what it is"
            row.problem("kind", what, f"Write one of: {', '.join(WAY_KINDS)}.")
        width_m, limit_kg = row.quantity("width", "swath"), row.quantity("load_limit", "load")
        shape = sound(feature, row)
        problems.extend(row.problems)
        if not row.bad:
            ids.take(ident, feature.where)
            ways.append(Way(ident, kind, shape, row.text("name"), width_m, limit_kg, row.text("notes")))
    return WaysRead(tuple(ways), tuple(problems))


def parts_from_shapes(shapes: ShapeFile, plots: Sequence[Plot]) -> PartsRead:
    """Read the parts of plots of a map file; what reaches beyond its plot is left off, and said."""
    problems, parts = list(shapes.problems), []
    ids, rows = Ids("part_id"), rows_of(shapes, PART_COLUMNS)
    known = {plot.plot_id.casefold(): plot for plot in plots}
    for feature, row in zip(shapes.features, rows, strict=True):
        plot_id, name = row.required("plot_id", "AF-17"), row.required("name", "south")
        plot = known.get(plot_id.casefold())
        if plot is None and plot_id:
            row.problem(
                "plot_id",
                f"there is no plot {plot_id!r}",
                f"There are: {', '.join(p.plot_id for p in plots)}.",
            )
        shape = sound(feature, row)
        inside = None
        if plot is not None:
            try:
                inside = land.inside(plot.boundary, shape)
            except InputError as error:
                row.add(Problem(row.place("name"), one.what, one.fix, one.level) for one in error.problems)
        ident = row.text("part_id") or (f"{plot.plot_id}/{name}" if plot is not None else "")
        if ident:
            row.add(ids.check(ident, row.place("name")))
        if inside is not None and not row.bad:
            ids.take(ident, feature.where)
            drawn_m2, kept_m2 = land.areas_m2([shape, inside])
            if drawn_m2 > kept_m2 * BEYOND:
                row.problem(
                    "name", f"it reaches beyond plot {plot_id}", "What lies outside was left off.", Level.NOTE
                )
            assert plot is not None
            parts.append(PlotPart(ident, plot.plot_id, name, None, inside, row.text("notes")))
        problems.extend(row.problems)
    return PartsRead(tuple(parts), tuple(problems))
