"""Which plots, crops and keep-outs does a map file describe?

This file gives the shapes and words of a map file (`vectors`) their meaning: columns by name or
obvious alias, values with their units, boundaries checked, lines taken as GPS walks. A fault names
file, feature, field, value and fix, and its feature is left out whole; the rest is still read, so
that all faults are told at once. Whether anything is imported then is `season`'s decision.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import shapely

from loamwright.errors import InputError, Level, Problem, UnitError
from loamwright.files.fields import BOUNDS, Fields, Habits, key_of, looks, parse_place, shown, unused
from loamwright.files.vectors import Feature, Nested, ShapeFile
from loamwright.land import (
    DUPLICATE_SHARE,
    Cropping,
    KeepOut,
    Plot,
    Shape,
    areas_m2,
    bounds,
    check_boundaries,
    distance_m,
    label_point,
    mended,
    overlaps,
    walk_to_boundary,
)
from loamwright.needs import read_use
from loamwright.soil import Missing
from loamwright.units import ACRE_M2, format_area

#: Column → other names it goes by. Compared without capitals, spaces and punctuation; the ten-letter
#: names are what a Shapefile makes of the long ones.
PLOT_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "plot_id": ("plotid", "plot_no", "plot_number", "field_id", "plot", "id"),
    "name": ("plot_name", "field_name", "title", "label"),
    "crop": ("crop_name", "planting"),
    "previous_crop": ("previous_c", "prev_crop", "last_crop"),
    "previous_stand": ("previous_s", "prev_stand"),
    "yield_goal": ("yield", "expected_yield"),
    "legume_pct": ("legume", "legume_percent"),
    "seeding": ("new_seeding", "establishment"),
    "use": ("crop_use", "used_as"),
    "season": ("year",),
    "notes": ("note", "comment", "comments", "description", "desc", "remarks"),
    "access": ("directions",),
    "entrance": ("gate", "entry"),
    "weight": ("priority",),
}
KEEPOUT_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "keepout_id": ("keepoutid", "keep_out_id", "id"),
    "name": ("title", "label"),
    "kind": ("type", "feature_type"),
    "setback": ("setback_distance", "setback_di", "buffer"),
    "notes": ("note", "comment", "comments", "description", "desc", "remarks"),
}
_CROP_COLUMNS = ("crop", "previous_crop", "previous_stand", "yield_goal", "legume_pct", "seeding", "use")
#: Kinds of things that are ways, where every feature of a file is one.
WAYS = frozenset({"track", "gate", "bridge", "loading place", "contact"})
#: Less ground than this between its corners is no county anywhere on the globe [square degrees].
_SMALL_DEG2 = 0.01

#: An entrance farther than this from its plot is mentioned [m] (our choice).
FAR_ENTRANCE_M = 5_000.0
#: Pieces of one track that are farther apart than this many fix errors are two walks (our choice).
SAME_WALK_SIGMAS = 10.0


@dataclass(frozen=True, slots=True)
class PlotsRead:
    """Plots found in a file.

    Parameters
    ----------
    plots, croppings
        Those that can be used; a cropping only where the file says something of the crop.
    problems
        Everything found, reading included.
    """

    plots: tuple[Plot, ...]
    croppings: tuple[Cropping, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class KeepOutsRead:
    """Keep-outs found in a file.

    Parameters
    ----------
    keepouts
        Those that can be used.
    problems
        Everything found, reading included.
    """

    keepouts: tuple[KeepOut, ...]
    problems: tuple[Problem, ...]


# ---------------------------------------------------------------------------------------------
# Words of features


def rank_of(name: str, column: str) -> int | None:
    """Return how well a name in a file stands for a column of ours, 0 the best; None when it does not."""
    names = (column, *PLOT_COLUMNS[column])
    return names.index(plain) if (plain := key_of(name)) in names else None


@lru_cache(maxsize=1024)
def _layout(
    names: tuple[str, ...], columns: tuple[tuple[str, tuple[str, ...]], ...]
) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Return which of a feature's names stands for which column, and the names that stand for none."""
    left = {key_of(name): name for name in names}
    known = tuple(
        (column, left.pop(key))
        for column, aliases in columns
        if (key := next((key for key in (column, *aliases) if key in left), None)) is not None
    )
    return known, tuple(left.values())


def rows_of(shapes: ShapeFile, columns: Mapping[str, tuple[str, ...]]) -> list[Fields]:
    """The words of each feature under our column names; the exact name wins over an alias."""
    named: list[dict[str, tuple[str, str]]] = []
    extras: list[dict[str, str]] = []
    for stated in (feature.properties for feature in shapes.features):
        known, extra = _layout(tuple(stated), tuple(columns.items()))
        named.append({column: (name, stated[name]) for column, name in known})
        extras.append({name: stated[name] for name in extra})
    habits = Habits(lambda column: (words[column][1] for words in named if column in words))
    rows = [
        Fields(
            feature.where,
            {column: text for column, (_name, text) in words.items()},
            [],
            names={column: name for column, (name, _text) in words.items()},
            habits=habits,
            extra=extra,
        )
        for feature, words, extra in zip(shapes.features, named, extras, strict=True)
    ]
    for row, words in zip(rows, named, strict=True):
        for column, (_name, text) in words.items():
            if isinstance(text, Nested):
                what = f"{shown(text)} is a list or an object, and one value is meant"
                row.problem(column, what, "Write one value; of several crops, a table with a row for each.")
    return rows


def _unused_columns(rows: list[Fields], shapes: ShapeFile, kept: str) -> list[Problem]:
    return unused(shapes.path.name, list(dict.fromkeys(name for row in rows for name in row.extra)), kept)


# ---------------------------------------------------------------------------------------------
# Plots


def plots_from_shapes(
    shapes: ShapeFile, season: int, gps_sigma_m: float, unnamed_ok: bool = False
) -> PlotsRead:
    """Read the plots of a map file, and what grows on them."""
    rows = rows_of(shapes, PLOT_COLUMNS)
    problems = list(shapes.problems)
    has_ids = any(row.has("plot_id") for row in rows)
    if rows and not has_ids and any(row.has("name") for row in rows):
        problems.append(no_ids(shapes.path))
    plots: list[Plot] = []
    croppings: dict[str, Cropping] = {}
    wheres: list[str] = []
    ids = Ids("plot_id")
    outlines = outlines_of(shapes.features, gps_sigma_m)
    for number, (row, outline) in enumerate(zip(rows, outlines, strict=True), start=1):
        plot_id = row.text("plot_id") or ("" if has_ids else row.text("name"))
        if not plot_id and unnamed_ok:
            plot_id = str(number)
        row.add([*ids.check(plot_id, row.place("plot_id")), *outline.problems])
        _check_size(outline, row)
        plot = _plot(plot_id, outline, row)
        cropping = _cropping(plot_id, row, season)
        problems.extend(row.problems)
        if plot is None or row.bad:
            continue
        plots.append(plot)
        wheres.append(row.where)
        ids.take(plot_id, row.where)
        if cropping is not None:
            croppings[plot_id] = cropping
    twice = {pair.second: pair.first for pair in overlaps(plots, DUPLICATE_SHARE)}
    for second, first in twice.items():
        names = plots[first].plot_id, plots[second].plot_id
        problems.append(drawn_twice(*names, wheres[first], wheres[second]))
    kept = [plot for index, plot in enumerate(plots) if index not in twice]
    problems.extend(_unused_columns(rows, shapes, "not used here; kept with each plot"))
    return PlotsRead(
        tuple(kept),
        tuple(croppings[plot.plot_id] for plot in kept if plot.plot_id in croppings),
        tuple(problems),
    )


def no_ids(path: Path) -> Problem:
    """Say that a file has names only."""
    fix = "Add a plot_id column if names may change: an id stays for ever."
    return Problem(path.name, "no plot_id column; names are used as ids", fix, Level.NOTE)


def drawn_twice(first: str, second: str, first_where: str, second_where: str) -> Problem:
    """Refuse the second of two plots with one boundary."""
    what = f"plot {second!r} has the same boundary as plot {first!r}"
    fix = f"Delete one of them ({first_where}), or its acres and dollars count twice."
    return Problem(second_where, what, fix)


def like_others(path: Path, read: Iterable[Plot], known: Collection[str]) -> Iterator[Problem]:
    """Warn of new plots whose ids look like those of the property."""
    seen = {looks(ident): ident for ident in known}
    for plot in read:
        twin = seen.get(looks(plot.plot_id))
        if plot.plot_id not in known and twin is not None:
            what = f"plot_id {plot.plot_id!r} is new, and differs from {twin!r} only in capitals or width"
            fix = "If it is that plot, write its id as there; otherwise leave it."
            yield Problem(f"{path.name}, {plot.plot_id}", what, fix, Level.WARNING)


@dataclass(slots=True)
class Ids:
    """The ids of a file: each once, and none so like another that it may be a slip."""

    column: str
    taken: dict[str, str] = field(default_factory=dict)  # id → where
    folded: dict[str, str] = field(default_factory=dict)  # without capitals → the first such id

    def check(self, ident: str, where: str) -> list[Problem]:
        """Refuse a missing or repeated id; warn of one that looks like another."""
        if not ident:
            what = f"the feature has no {self.column}"
            return [Problem(where, what, "Give it a short id that will never change.")]
        if ident in self.taken:
            what = f"{self.column} {ident!r} is already used by {self.taken[ident]}"
            return [Problem(where, what, "Give each its own id, or join the shapes into one multipolygon.")]
        if twin := self.folded.get(looks(ident)):
            what = f"{self.column} {ident!r} differs from {twin!r} only in capitals or the width of letters"
            return [Problem(where, what, "Look whether both are meant.", Level.WARNING)]
        return []

    def take(self, ident: str, where: str) -> None:
        """Note an id as used."""
        self.taken[ident] = where
        self.folded.setdefault(looks(ident), ident)


@dataclass(frozen=True, slots=True)
class Outline:
    """A boundary as checked, None when it cannot be used; its standard error when it was walked."""

    boundary: Shape | None
    area_se_m2: float | None
    problems: tuple[Problem, ...]


def outlines_of(features: Sequence[Feature], gps_sigma_m: float) -> list[Outline]:
    """Return the boundary of each feature, drawn or walked."""
    drawn = [feature for feature in features if not feature.is_track]
    checked = iter(check_boundaries([item.shape for item in drawn], [item.where for item in drawn]))
    outlines = []
    for feature in features:
        if feature.is_track:
            outlines.append(_walked(feature, gps_sigma_m))
        else:
            boundary, problems = next(checked)
            outlines.append(Outline(boundary, None, problems))
    return outlines


def _plot(plot_id: str, outline: Outline, row: Fields) -> Plot | None:
    entrance, weight = row.read("entrance", parse_place), row.number("weight", "weight")
    if outline.boundary is None:
        return None
    if entrance is not None:
        _check_entrance(entrance, outline.boundary, row)
    return Plot(
        plot_id=plot_id,
        name=row.text("name") or plot_id,
        boundary=outline.boundary,
        entrance=entrance,
        access=row.text("access"),
        notes=row.text("notes"),
        area_se_m2=outline.area_se_m2,
        weight=1.0 if weight is None else weight,
        extra=row.extra,
    )


def _walked(feature: Feature, gps_sigma_m: float) -> Outline:
    """Return the boundary inside a walked line and the standard error of its area."""
    pieces = [list(piece.coords) for piece in shapely.get_parts(feature.shape).tolist() if not piece.is_empty]
    for before, after in pairwise(pieces):
        gap = distance_m(before[-1], after[0])
        if gap > SAME_WALK_SIGMAS * gps_sigma_m:
            what = f"the track is in {len(pieces)} pieces, and two of them are {gap:,.0f} m apart"
            fix = "Save each walk as a track of its own, or join the pieces."
            return Outline(None, None, (Problem(feature.where, what, fix),))
    fixes = [fix for piece in pieces for fix in piece]
    walk = walk_to_boundary(fixes, gps_sigma_m, where=feature.where)
    problems = list(walk.problems)
    if walk.area_m2 is not None and walk.area_se_m2 is not None:
        size = f"{format_area(walk.area_m2)} ± {format_area(walk.area_se_m2)}"
        what = f"a line is taken as walked with GPS: {size}"
        fix = f"The ± is one standard error, for {len(fixes)} fixes good to {gps_sigma_m:g} m each."
        problems.append(Problem(feature.where, what, fix, Level.NOTE))
    return Outline(walk.boundary, walk.area_se_m2, tuple(problems))


def _check_size(outline: Outline, row: Fields) -> None:
    """Refuse a boundary beyond the bound of areas."""
    if outline.boundary is None:
        return
    west, south, east, north = bounds(outline.boundary)
    if (east - west) * (north - south) < _SMALL_DEG2:
        return
    (area_m2,) = areas_m2([outline.boundary]).tolist()
    refusal = BOUNDS["area"].refusal(f"its area of {format_area(area_m2)}", area_m2 / ACRE_M2)
    if refusal is not None:
        row.problem("", refusal.what, f"{refusal.fix} Are the corners longitude and latitude in degrees?")


def _check_entrance(entrance: tuple[float, float], boundary: Shape, row: Fields) -> None:
    middle = label_point(boundary)
    far = distance_m(entrance, middle)
    if far <= FAR_ENTRANCE_M:
        return
    text = row.text("entrance")
    if abs(entrance[0]) <= 90 and distance_m((entrance[1], entrance[0]), middle) <= FAR_ENTRANCE_M:
        what = f"{text!r} is {far / 1000:,.0f} km from the plot, but close by when read the other way round"
        row.problem("entrance", what, "Write longitude first, then latitude.")
    else:
        what = f"{text!r} is {far / 1000:,.0f} km from the plot"
        row.problem("entrance", what, "Look whether that is the way in.", Level.WARNING)


def _use(text: str) -> str:
    read = read_use(text)
    if isinstance(read, Missing):
        raise UnitError(read.reason, "write harvested, grazed by beef cattle, browsed, or left")
    return text


def _cropping(plot_id: str, row: Fields, season: int) -> Cropping | None:
    if not any(row.has(column) for column in ("season", *_CROP_COLUMNS)):
        return None
    stated, legume = row.year("season"), row.percent("legume_pct")
    goal, seeding = row.amount("yield_goal", "yield", counted="counted yield"), row.yes_no("seeding")
    if not any(row.text(column) for column in _CROP_COLUMNS):
        return None
    return Cropping(
        plot_id=plot_id,
        season=season if stated is None else stated,
        crop=row.text("crop"),
        previous_crop=row.text("previous_crop"),
        yield_goal=goal,
        legume_pct=legume,
        seeding=seeding,
        previous_stand=row.text("previous_stand"),
        use=row.read("use", _use) or "",
    )


# ---------------------------------------------------------------------------------------------
# Keep-outs


def keepouts_from_shapes(shapes: ShapeFile) -> KeepOutsRead:
    """Read the keep-outs of a map file."""
    rows = rows_of(shapes, KEEPOUT_COLUMNS)
    problems = list(shapes.problems)
    ids = Ids("keepout_id")
    stated = {row.text("keepout_id") for row in rows}
    keepouts = []
    made_up = []
    for feature, row in zip(shapes.features, rows, strict=True):
        ident = row.text("keepout_id")
        if not ident:
            ident = next_id(key_of(row.text("kind")) or "keepout", stated, ids.taken)
            made_up.append(ident)
        row.add(ids.check(ident, row.place("keepout_id")))
        setback_m = row.quantity("setback", "setback")
        if not row.text("kind"):
            fix = "Write water, well, sinkhole, ditch, rock, road …: cautions depend on it."
            row.problem("kind", "the kind is blank", fix, Level.WARNING)
        shape = sound(feature, row)
        problems.extend(row.problems)
        if row.bad:
            continue
        ids.take(ident, feature.where)
        others = [f"{name}: {text}" for name, text in row.extra.items()]
        keepouts.append(
            KeepOut(
                keepout_id=ident,
                name=row.text("name"),
                kind=row.text("kind"),
                shape=shape,
                setback_m=setback_m,
                setback_text=row.text("setback"),
                notes="; ".join([*filter(None, [row.text("notes")]), *others]),
            )
        )
    if made_up:
        what = f"keep-outs without an id are called {', '.join(made_up)}"
        fix = "Add a keepout_id column to name them yourself."
        problems.append(Problem(shapes.path.name, what, fix, Level.NOTE))
    problems.extend(_unused_columns(rows, shapes, "not used here; kept in the notes of each keep-out"))
    return KeepOutsRead(tuple(keepouts), tuple(problems))


def next_id(kind: str, *taken: Container[str]) -> str:
    """Return the first id of a kind that is not taken: ``"creek-1"``."""
    number = 1
    while any(f"{kind}-{number}" in ids for ids in taken):
        number += 1
    return f"{kind}-{number}"


def sound(feature: Feature, row: Fields) -> Shape:
    """Return a keep-out's shape with crossings resolved so that all ground it touches is inside."""
    shape = feature.shape
    if shape.is_empty:
        row.problem("", "the feature has no shape", "Draw it or delete it.")
    if shape.is_empty or shape.is_valid:
        return shape
    what = f"the shape crosses or touches itself ({shapely.is_valid_reason(shape)})"
    fix = "It was cleaned so that everything inside its line is kept out; look at it on the map."
    row.problem("", what, fix, Level.NOTE)
    try:
        return mended(shape, row.where, by_structure=True)
    except InputError as refusal:
        row.add(refusal.problems)
        return shape


def looks_like(shapes: ShapeFile) -> str | None:
    """Say what a map file most likely holds."""
    if not shapes.features:
        return None
    names = {key_of(name) for feature in shapes.features for name in feature.properties}
    title = key_of(shapes.path.stem).replace("_", "")
    areas = [feature.is_track or _dimension(feature) == 2 for feature in shapes.features]
    kinds = {text.casefold() for feature in shapes.features if (text := _kind_of(feature))}
    if names & {"way_id", "wayid"} or (kinds and kinds <= WAYS):
        return "ways"
    if names & {"part_id", "partid"}:
        return "parts"
    only_plots = names & {"plot_id", "plotid", *_CROP_COLUMNS}
    only_keepouts = names & {"keepout_id", "keepoutid", "keep_out_id", "setback", "kind"}
    if bool(only_plots) != bool(only_keepouts):
        return "plots" if only_plots else "keepouts"
    for word, kind in (
        ("keepout", "keepouts"),
        ("setback", "keepouts"),
        ("plot", "plots"),
        ("field", "plots"),
    ):
        if word in title:
            return kind
    return "plots" if all(areas) else None


def _kind_of(feature: Feature) -> str:
    return next(
        (text for name, text in feature.properties.items() if key_of(name) in ("kind", "type")), ""
    ).strip()


def _dimension(feature: Feature) -> int:
    return int(shapely.get_dimensions(feature.shape))
