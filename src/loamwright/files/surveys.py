"""Plots measured by tape, compass or survey: corners, legs, sides and diagonals, offsets, circles.

This file answers "what ground do these rows go around, and where does it lie?". The areas are `land`'s.
Ground whose table gives the latitude and longitude of its first corner becomes a boundary; of other ground
the area is known, and that its place is not is said.

Columns, matched whatever their case; a unit stands behind a figure (``120 ft``) or in the heading
(``distance_ft``); of two units the smaller stands behind (``210 ft 6 in``, ``4 ch 50 li``).
`plot_id`, `name` and what grows there may stand in the first row of each plot.

==================  ==================================================================================
corners             latitude longitude; or east north (with crs, such as EPSG:32615, or unplaced)
legs                bearing distance, the last one leading back to the start
sides, diagonals    ab bc cd da ac … in one row: letters name the corners in walking order; of a triangle also
                    side a, side b, side c
offsets             station, and offset (to the right), or left and right
circle              radius, diameter or circumference
rectangle           length width
trapezoid           parallel_1 parallel_2 height, and shift: how far along the first the other begins
place               latitude longitude in the first row of a plot: its first corner, the middle of a circle,
                    the start of a baseline; bearing: of the first side, or of the baseline
==================  ==================================================================================
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from loamwright import land
from loamwright.errors import InputError, Level, Problem, UnitError
from loamwright.files import vectors
from loamwright.files.fields import Fields, key_of, shown
from loamwright.files.named_columns import rows_of
from loamwright.files.plots import PLOT_COLUMNS, rank_of
from loamwright.files.textrows import Table
from loamwright.files.vectors import Feature, ShapeFile
from loamwright.land import PlotArea, Surveyed
from loamwright.units import CHAIN_M, FT_M, format_area, parse_length, read_number

#: Closure worse than one part in so many is a warning (our choice).
GOOD_CLOSURE = 200
#: A check measured farther from what the other lengths make than this share is a warning (our choice).
GOOD_CHECK = 0.01
#: What a trapezoid lacks that is to be laid on the map.
_SHIFT = (
    "add a column shift, how far along parallel_1 the other side begins "
    "(half the difference of the two where both ends slant alike, 0 where the first is square)."
)
#: Answer to where ground lies that is not to be taken in.
LEAVE_OUT = "leave it out"

_ALIASES: Mapping[str, str] = {
    **dict.fromkeys(("azimuth", "course", "direction"), "bearing"),
    **dict.fromkeys(("dist",), "distance"),
    **dict.fromkeys(("chainage", "along", "sta"), "station"),
    **dict.fromkeys(("right", "offset_right", "right_offset"), "offset"),
    **dict.fromkeys(("offset_to_right", "offset_to_the_right"), "offset"),
    **dict.fromkeys(("offset_left", "left_offset", "offset_to_left", "offset_to_the_left"), "left"),
    **dict.fromkeys(("easting", "x"), "east"),
    **dict.fromkeys(("northing", "y"), "north"),
    **dict.fromkeys(("lat",), "latitude"),
    **dict.fromkeys(("lon", "lng", "long"), "longitude"),
    **dict.fromkeys(("circle_radius", "radius_of_circle"), "radius"),
    **dict.fromkeys(("across", "circle_diameter", "diameter_of_circle"), "diameter"),
    **dict.fromkeys(("around", "circle_circumference", "circumference_of_circle"), "circumference"),
    **dict.fromkeys(("side_1", "parallel_a", "parallel_side_1", "parallel_side_a", "base_1"), "parallel_1"),
    **dict.fromkeys(("side_2", "parallel_b", "parallel_side_2", "parallel_side_b", "base_2"), "parallel_2"),
    **dict.fromkeys(("between",), "height"),
    **dict.fromkeys(("lean", "set_back"), "shift"),
    **dict.fromkeys(("epsg", "coordinate_system"), "crs"),
}
_NAMES = frozenset(
    [
        "bearing",
        "distance",
        "station",
        "offset",
        "left",
        "east",
        "north",
        "latitude",
        "longitude",
        "radius",
        "diameter",
        "circumference",
        "length",
        "width",
        "parallel_1",
        "parallel_2",
        "height",
        "shift",
        "crs",
    ]
)
#: Columns that count or describe corners, and change nothing.
_ASIDES = frozenset(
    "corner point no number seq sequence from to elevation altitude z accuracy time leg line".split()  # noqa: SIM905
)
_ONE_ROW = frozenset({"radius", "diameter", "circumference", "width", "parallel_1"})
_PAIR = re.compile(r"(?:side_|diagonal_)?([a-h])_?([a-h])")
#: The three sides of a triangle in walking order; of more sides the corners must be named, for the diagonal.
_TRIANGLES: tuple[Mapping[str, str], ...] = (
    {"side_a": "ab", "side_b": "bc", "side_c": "ca"},
    {"side_1": "ab", "side_2": "bc", "side_3": "ca"},
)
_LONE_SIDE = re.compile(r"side_(?:[a-h]|[1-8])")
_UNIT = re.compile(
    r"(?P<name>.+?)_(?P<unit>ft|feet|foot|m|met(?:er|re)s?|yd|yards?|chains?|ch|rods?|rd"
    r"|links?|li|km|miles?)"
)
_BARE = re.compile(r"[0-9.,+\-\s]+")
_FEET_INCHES = re.compile(
    r"(?P<ft>[0-9]+)\s*(?:'|′|ft|feet)\s*(?P<inch>[0-9.]+)\s*(?:\"|″|''|in|inch|inches)", re.IGNORECASE
)
_CHAINS_LINKS = re.compile(
    r"(?P<ch>[0-9]+)\s*(?:ch|chains?)\b\.?,?\s*(?P<li>[0-9.]+)\s*(?:li|links?)\b\.?", re.IGNORECASE
)
_QUADRANT = re.compile(r"(?P<from>[NS])\s*(?P<angle>.*?)\s*(?P<to>[EW])", re.IGNORECASE)
_WINDS = {
    "n": 0.0,
    "north": 0.0,
    "e": 90.0,
    "east": 90.0,
    "s": 180.0,
    "south": 180.0,
    "w": 270.0,
    "west": 270.0,
}


@dataclass(frozen=True, slots=True)
class Unplaced:
    """Ground that was measured and lies nobody says where."""

    plot_id: str
    name: str
    where: str
    ground: Surveyed

    def area(self) -> PlotArea:
        """Return its size as that of a plot without keep-outs."""
        return PlotArea(
            self.plot_id,
            self.ground.area_m2,
            self.ground.area_m2,
            self.ground.perimeter_m or 0.0,
            None,
            steps=self.ground.steps,
        )


@dataclass(frozen=True, slots=True)
class Survey:
    """What a table of measurements holds.

    Parameters
    ----------
    shapes
        Ground that can be laid on the map, and everything found on the way.
    unplaced
        The rest.
    answered
        Ids of the answers that were used.
    """

    shapes: ShapeFile
    unplaced: tuple[Unplaced, ...]
    answered: frozenset[str] = frozenset()


def _columns(table: Table) -> dict[str, tuple[str, str]]:
    """The columns that measure, by the key of their heading: our name and the unit in the heading."""
    keys = [key_of(column) for column in table.columns]
    split = {key: ((key, ""), *_with_unit(key)) for key in keys}
    sides = {name for readings in split.values() for name, _ in readings if _LONE_SIDE.fullmatch(name)}
    triangle: Mapping[str, str] = next((one for one in _TRIANGLES if sides == set(one)), {})
    found = {}
    for key, readings in split.items():
        for bare, unit in readings:
            name = triangle.get(bare) or _ALIASES.get(bare, bare)
            pair = _PAIR.fullmatch(name)
            if name in _NAMES or (pair and pair[1] != pair[2]):
                found[key] = (f"{pair[1]}{pair[2]}" if pair else name, unit)
                break
    return found


def _with_unit(key: str) -> tuple[tuple[str, str], ...]:
    """The name and the unit of a heading that ends in one."""
    match = _UNIT.fullmatch(key)
    return ((match["name"], match["unit"]),) if match else ()


def _layout(names: Iterable[str]) -> str:
    """Tell how a table measures; empty when it does not."""
    have = set(names)
    if {"ab", "bc"} <= have:
        return "sides"
    if {"bearing", "distance"} <= have or ({"bearing", "length"} <= have and not have & _ONE_ROW):
        return "legs"
    if "station" in have and have & {"offset", "left"}:
        return "offsets"
    if {"east", "north"} <= have:
        return "plane"
    if have & _ONE_ROW and ({"length", "width"} <= have or have & (_ONE_ROW - {"width"})):
        return "one row"
    return "degrees" if {"latitude", "longitude"} <= have else ""


def is_survey(table: Table) -> bool:
    """Tell whether the rows of a table measure ground: by their columns, and no column of anything else."""
    columns = _columns(table)
    layout = _layout(name for name, _ in columns.values())
    if layout in ("", "sides", "legs", "offsets"):
        return bool(layout)
    others = {key for column in table.columns if (key := key_of(column)) and key not in columns}
    return all(
        key in _ASIDES or any(rank_of(key, name) is not None for name in PLOT_COLUMNS) for key in others
    )


# ---------------------------------------------------------------------------------------------
# Figures


def _length(name: str, unit: str, comma: bool | None) -> Callable[[str], float]:
    def read(text: str) -> float:
        if inches := _FEET_INCHES.fullmatch(text.strip()):
            return (read_number(inches["ft"]) + read_number(inches["inch"]) / 12) * FT_M
        if links := _CHAINS_LINKS.fullmatch(text.strip()):
            return (read_number(links["ch"]) + read_number(links["li"]) / 100) * CHAIN_M
        bare = _BARE.fullmatch(text.strip())
        if bare and not unit:
            fix = f"write '{text} ft' or '{text} m', or name the unit in the heading: {name}_ft"
            raise UnitError(f"{shown(text)} has no unit", fix)
        return parse_length(f"{text} {unit}" if bare else text, decimal_comma=comma)

    return read


def _angle(text: str) -> float:
    """Read degrees, with minutes and seconds where they are given."""
    bare = re.sub(r"[°º]|\bdeg(?:rees?)?\b|['′’]{1,2}|[\"″”]|\bmin\b|\bsec\b", " ", text.strip())
    parts = bare.split() if " " in bare.strip() else re.split(r"(?<=[0-9])-(?=[0-9])", bare.strip())
    if not 1 <= len(parts) <= 3:
        raise UnitError(f"{shown(text)} is no angle", "write degrees: 123.5, or 123°30'15\"")
    degrees, *rest = (read_number(part) for part in parts)
    if any(not 0 <= part < 60 for part in rest):
        raise UnitError(f"{shown(text)} has 60 minutes or seconds or more", "write degrees: 123.5")
    size = abs(degrees) + sum(part / (60.0, 3600.0)[n] for n, part in enumerate(rest))
    return -size if bare.strip().startswith("-") else size


def _bearing(text: str) -> float:
    """Read a bearing: clockwise from north, or of a quadrant (N 45°30' E)."""
    bare = re.sub(r"\b(?:due|bearing)\b", " ", text, flags=re.IGNORECASE).strip()
    if bare.casefold() in _WINDS:
        return _WINDS[bare.casefold()]
    quadrant = _QUADRANT.fullmatch(bare)
    angle = _angle(quadrant["angle"] if quadrant else bare)
    if not quadrant:
        if not -360 < angle <= 360:
            raise UnitError(f"{shown(text)} is no bearing", "write 0 to 360 degrees, or N 45 30 E")
        return angle % 360
    if not 0 <= angle <= 90:
        raise UnitError(
            f"{shown(text)} is no bearing of a quadrant", "write 0 to 90 degrees from north or south"
        )
    south, west = quadrant["from"].upper() == "S", quadrant["to"].upper() == "W"
    return (180 - angle if not west else 180 + angle) if south else (-angle % 360 if west else angle)


def _degrees(limit: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        hand = re.search(r"[NSEW]", text, re.IGNORECASE)
        value = _angle(re.sub(r"[NSEW]", " ", text, flags=re.IGNORECASE))
        value = -abs(value) if hand and hand[0].upper() in "SW" else value
        if abs(value) > limit:
            raise UnitError(f"{shown(text)} is beyond {limit:g} degrees", "latitude first, then longitude")
        return value

    return read


def parse_place(text: str) -> tuple[float, float]:
    """Read a latitude and a longitude as (longitude, latitude)."""
    parts = [part for part in re.split(r"[,;]", text) if part.strip()]
    parts = parts if len(parts) == 2 else text.split()
    if len(parts) != 2:
        raise UnitError(f"{shown(text)} is no place", "write latitude and longitude: 46.05, -93.05")
    return _degrees(180)(parts[1]), _degrees(90)(parts[0])


# ---------------------------------------------------------------------------------------------
# Rows


@dataclass(slots=True)
class _Reader:
    """Reads the rows of one table."""

    path: Path
    layout: str
    units: Mapping[str, str]
    problems: list[Problem]
    unitless: set[str] = field(default_factory=set)
    answered: set[str] = field(default_factory=set)

    def length(self, row: Fields, name: str) -> float | None:
        """Read a length; that a column names no unit is said once."""
        text, unit = row.text(name), self.units.get(name, "")
        if _BARE.fullmatch(text) and not unit and name in self.unitless:
            row.bad = True
            return None
        if _BARE.fullmatch(text) and not unit:
            self.unitless.add(name)
        return row.read(name, _length(name, unit, row.decimal_comma(name)))

    def needed(self, row: Fields, name: str) -> float:
        """Read a length that must be there."""
        return (self.length(row, name) if row.stated(name, "120 ft") else None) or 0.0

    def start(self, row: Fields) -> tuple[float, float] | None:
        """The place of the first corner, when a row states it."""
        lat, lon = row.read("latitude", _degrees(90)), row.read("longitude", _degrees(180))
        return None if lat is None or lon is None else (lon, lat)

    def ground(self, rows: Sequence[Fields]) -> Surveyed:
        """Measure what the rows of one plot go around."""
        first = rows[0]
        bearing = (first.read("bearing", _bearing) if self.layout != "legs" else None) or 0.0
        if self.layout == "plane":
            return land.from_corners([(self.needed(r, "east"), self.needed(r, "north")) for r in rows])
        if self.layout == "legs":
            name = "distance" if first.has("distance") else "length"
            legs = [
                (
                    (r.read("bearing", _bearing) if r.stated("bearing", "N 45 30 E") else 0.0) or 0.0,
                    self.needed(r, name),
                )
                for r in rows
            ]
            return land.traverse(legs)
        if self.layout == "offsets":
            stations = [self.needed(r, "station") for r in rows]
            left, right = ([self.length(r, name) or 0.0 for r in rows] for name in ("left", "offset"))
            return land.from_offsets(stations, left, right, bearing)
        if len(rows) > 1:
            first.problem("", f"{len(rows)} rows are of one plot", "Give each plot one row.")
        return self._sides(first, bearing) if self.layout == "sides" else self._one_row(first, bearing)

    def _sides(self, row: Fields, bearing: float) -> Surveyed:
        lengths = {
            (ord(name[0]) - 97, ord(name[1]) - 97): length
            for name in row.matching("[a-h][a-h]")
            if (length := self.length(row, name)) is not None
        }
        corners = 1 + max((max(pair) for pair in lengths), default=0)
        if corners < 3:
            row.problem("", "fewer than three sides are given", "Give ab, bc, … back to a, and diagonals.")
            return Surveyed(0.0, None, ())
        return land.from_sides(corners, lengths, bearing)

    def _one_row(self, row: Fields, bearing: float) -> Surveyed:
        for name, turns in (("radius", 1.0), ("diameter", 0.5), ("circumference", 1 / (2 * math.pi))):
            if row.has(name) and (size := self.length(row, name)) is not None:
                return land.circle_of(size * turns)
        if row.has("parallel_1") and row.text("parallel_1"):
            one, other, height = (self.needed(row, name) for name in ("parallel_1", "parallel_2", "height"))
            shift = self.length(row, "shift") if row.has("shift") else None
            return land.trapezoid_of(one, other, height, shift, bearing)
        length, width = self.needed(row, "length"), self.needed(row, "width")
        sides = {(0, 1): length, (1, 2): width, (2, 3): length, (0, 3): width}
        return land.from_sides(4, {**sides, (0, 2): (length**2 + width**2) ** 0.5}, bearing)


def read_survey(table: Table, answers: Mapping[str, str] | None = None) -> Survey:
    """Read a table of measurements.

    Parameters
    ----------
    table
        Rows for which `is_survey` holds.
    answers
        Where ground lies that its rows do not place: ``place.ID`` to "latitude, longitude".

    Returns
    -------
    Survey
        A plot with a fault is left out, with its problem.
    """
    columns = _columns(table)
    layout = _layout(name for name, _ in columns.values())
    if not layout:
        what = f"no columns that measure ground are among {', '.join(map(repr, table.columns))}"
        fix = (
            "Give latitude and longitude, bearing and distance, ab bc cd da ac, station and offset, "
            "radius, length and width, or parallel_1 parallel_2 height."
        )
        if sum(bool(_LONE_SIDE.match(key_of(column))) for column in table.columns) > len(_TRIANGLES[0]):
            fix = "Four sides and more need a diagonal, and so names of corners: ab bc cd da, and ac or bd."
        return Survey(ShapeFile(table.path, (), (Problem(table.path.name, what, fix),)), ())
    names = {name for name, _ in columns.values()}
    aliases = {key: name for key, (name, _) in columns.items()}
    measuring = {place for place, column in enumerate(table.columns) if key_of(column) in columns}
    rows, problems = rows_of(table, names, aliases, ())
    # What else the table says stays with the plot: `plots` reads it, and says what it does not use.
    problems[:] = [p for p in problems if p in table.problems or p.level is not Level.NOTE]
    reader = _Reader(table.path, layout, dict(columns.values()), problems)
    features: list[Feature] = []
    unplaced: list[Unplaced] = []
    for plot_id, (words, group) in _grouped(table, rows, measuring).items():
        found = _plot(reader, plot_id, words, group, answers or {})
        if isinstance(found, Feature):
            features.append(found)
        elif isinstance(found, Unplaced):
            unplaced.append(found)
    shapes = ShapeFile(table.path, tuple(features), tuple(problems))
    return Survey(shapes, tuple(unplaced), frozenset(reader.answered))


def _grouped(
    table: Table, rows: Sequence[Fields], measuring: set[int]
) -> dict[str, tuple[dict[str, str], list[Fields]]]:
    """The rows of each plot, and what its first row says besides; a blank id is that of the row above."""
    ids = [
        (rank, place)
        for place, column in enumerate(table.columns)
        for name, worst in (("plot_id", 0), ("name", 10))
        if place not in measuring and (found := rank_of(column, name)) is not None
        for rank in [found + worst]
    ]
    place = min(ids)[1] if ids else None
    groups: dict[str, tuple[dict[str, str], list[Fields]]] = {}
    current = table.path.stem
    for line, row in zip(table.rows, rows, strict=True):
        current = (line.cells[place].strip() if place is not None else "") or current
        words = {
            table.columns[n]: cell.strip()
            for n, cell in enumerate(line.cells)
            if n not in measuring and cell.strip() and key_of(table.columns[n]) not in _ASIDES
        }
        groups.setdefault(current, ({"plot_id": current} if place is None else words, []))[1].append(row)
    return groups


def _plot(
    reader: _Reader, plot_id: str, words: dict[str, str], rows: list[Fields], answers: Mapping[str, str]
) -> Feature | Unplaced | None:
    where = vectors.named(f"{reader.path.name}, row {rows[0].line}", {"plot_id": plot_id})
    try:
        if reader.layout == "degrees":
            ring = [reader.start(row) for row in rows if row.stated("latitude") and row.stated("longitude")]
            return (
                None
                if any(r.bad for r in rows)
                else _feature(where, words, land.ring_of([p for p in ring if p]))
            )
        crs = rows[0].text("crs")
        if crs and reader.layout == "plane":
            corners = [(r.number("east"), r.number("north")) for r in rows]
            spots = [(east, north) for east, north in corners if east is not None and north is not None]
            if any(row.bad for row in rows):
                return None
            return _feature(where, words, vectors.from_plane(spots, crs, reader.path))
        ground = reader.ground(rows)
        if any(row.bad for row in rows):
            return None
        start = reader.start(rows[0])
        answer = answers.get(f"place.{plot_id}", "")
        if start is None and answer:
            reader.answered.add(f"place.{plot_id}")
            start = None if answer == LEAVE_OUT else parse_place(answer)
        reader.problems.extend(_remarks(where, ground))
        if start is None or not ground.corners:
            name = next((words[n] for n in words if rank_of(n, "name") is not None), plot_id)
            return Unplaced(plot_id, name, where, ground)
        turnable = reader.layout in ("sides", "offsets", "one row") and not ground.is_round
        if turnable and not rows[0].text("bearing"):
            what = "it is laid on the map with its first side to the north: no bearing is given"
            reader.problems.append(
                Problem(where, what, "Its area is right; add a column bearing to turn it.", Level.NOTE)
            )
        return _feature(where, words, land.placed(ground, start))
    except InputError as error:
        if not any(row.bad for row in rows):  # what does not fit follows from what could not be read
            reader.problems.extend(Problem(where, one.what, one.fix, one.level) for one in error.problems)
    except UnitError as error:
        reader.problems.append(error.at(where))
    return None


def _feature(where: str, words: Mapping[str, str], shape: land.Shape) -> Feature:
    return Feature(where, words, shape, is_track=False)


def _remarks(where: str, ground: Surveyed) -> Iterable[Problem]:
    """Say how well the figures fit together."""
    if ground.gap_m is not None and ground.perimeter_m:
        parts = ground.perimeter_m / ground.gap_m if ground.gap_m > 1e-6 else None
        good = parts is None or parts >= GOOD_CLOSURE
        one_in = "exact" if parts is None else f"1 in {parts:,.0f}"
        what = f"error of closure {ground.gap_m:,.3f} m ({ground.gap_m / FT_M:,.3f} ft), {one_in}"
        fix = "It was spread over the sides by their length."
        if not good:
            fix += " Measure again what is doubtful: tape and compass do better than 1 in 200."
        yield Problem(where, what, fix, Level.NOTE if good else Level.WARNING)
    for name, measured_m, made_m in ground.checks:
        what = f"{name} was measured {measured_m:,.2f} m, and the other lengths make it {made_m:,.2f} m"
        good = abs(measured_m - made_m) <= GOOD_CHECK * made_m
        fix = "They fit." if good else "One of the lengths is wrong: measure again."
        yield Problem(where, what, fix, Level.NOTE if good else Level.WARNING)


def unplaced_note(item: Unplaced, system: str = "us") -> Problem:
    """Say that ground is known by its area only."""
    what = f"{format_area(item.ground.area_m2, system)}: an area without a shape on the map"
    fix = (
        "Add latitude and longitude of its first corner to place it."
        if item.ground.corners
        else f"Two sides and the distance between tell no shape: {_SHIFT}"
    )
    return Problem(item.where, what, fix, Level.NOTE)


def place_question(item: Unplaced, system: str = "us") -> Problem:
    """Ask where ground lies that is to be taken into a property."""
    what = f"where {item.plot_id} lies; measured are {format_area(item.ground.area_m2, system)}, and no place"
    choices: tuple[str, ...] = (LEAVE_OUT,)
    if item.ground.corners:
        choices = ("<latitude, longitude of its first corner, as 46.05, -93.05>", LEAVE_OUT)
    fix = f"Choose one of: {'; '.join(choices)}."
    if not item.ground.corners:
        fix = f"{fix} To place it, {_SHIFT}"
    return Problem(item.where, what, fix, question=f"place.{item.plot_id}", choices=choices)
