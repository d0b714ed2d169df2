"""Commands that draw: what a shape in a map file makes of the property, one change each.

The app draws the same by mouse, finger or keys; both end in the same functions of `upkeep`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loamwright.commands.answer import Answer, LayerName, PropertyPath, command, read, today
from loamwright.errors import InputError, Problem

if TYPE_CHECKING:
    from loamwright.land import Shape
    from loamwright.upkeep import Changed

app = typer.Typer(
    no_args_is_help=True, help="Draw and change boundaries with shapes from map files or typed sides."
)

PlotId = Annotated[str, typer.Argument(metavar="PLOT", help="Plot id.")]
OtherId = Annotated[str, typer.Argument(metavar="OTHER", help="Id of the neighbour.")]
Drawing = Annotated[
    Path, typer.Argument(metavar="FILE", help="Map file with one shape: GeoJSON, KML/KMZ, GPX, Shapefile …")
]
Name = Annotated[str, typer.Option(help="What people call it.")]
Middle = Annotated[str, typer.Option("--at", help="Its middle: latitude and longitude, '46.05, -93.05'.")]
Who = Annotated[str, typer.Option("--by", help="Who; the keeper named in the settings if not given.")]


def _drawn(file: Path, layer: str | None, keep: Callable[[Shape], Changed]) -> Answer:
    """Read the one shape of a file, keep what it does, and say what was found on both ways."""
    from loamwright import files

    shape, found = files.read_drawn(file, layer)
    done = keep(shape)
    return Answer(replace(done, problems=(*found, *done.problems)))


def _place(text: str) -> tuple[float, float]:
    """Read a latitude and a longitude as (longitude, latitude)."""
    from loamwright.units import read_number

    words = text.replace(",", " ").split()
    if len(words) != 2:
        fix = "Write latitude and longitude in degrees: '46.05, -93.05'."
        raise InputError([Problem("at", f"{text!r} is no place", fix)])
    lat, lon = (read("at", word, read_number) for word in words)
    return lon, lat


@command(app)
def draw(
    property_path: PropertyPath, file: Drawing, name: Name = "", layer: LayerName = None, by: Who = ""
) -> Answer:
    """Keep a boundary as a new plot, under the next free id."""
    from loamwright import upkeep

    return _drawn(file, layer, lambda shape: upkeep.draw_plot(property_path, shape, name, today(), by)[0])


@command(app)
def rectangle(
    property_path: PropertyPath,
    at: Middle,
    length: Annotated[str, typer.Option(help="Long side, '300 ft'.")],
    width: Annotated[str, typer.Option(help="Short side, '120 ft'.")],
    bearing: Annotated[float, typer.Option(help="Long side's direction, degrees clockwise from north.")] = 0,
    name: Name = "",
    by: Who = "",
) -> Answer:
    """Keep a rough rectangle of typed sides as a new plot."""
    from loamwright import land, upkeep
    from loamwright.units import parse_length

    sides = read("length", length, parse_length), read("width", width, parse_length)
    shape = land.rectangle(_place(at), *sides, bearing % 360)
    return Answer(upkeep.draw_plot(property_path, shape, name, today(), by)[0])


@command(app)
def circle(
    property_path: PropertyPath,
    at: Middle,
    across: Annotated[str, typer.Option(help="From side to side, '200 ft'.")],
    name: Name = "",
    by: Who = "",
) -> Answer:
    """Keep a rough circle of a typed width as a new plot."""
    from loamwright import land, upkeep
    from loamwright.units import parse_length

    shape = land.circle(_place(at), read("across", across, parse_length) / 2)
    return Answer(upkeep.draw_plot(property_path, shape, name, today(), by)[0])


@command(app)
def redraw(
    property_path: PropertyPath, plot: PlotId, file: Drawing, layer: LayerName = None, by: Who = ""
) -> Answer:
    """Give a plot another boundary; the one before is kept with its date."""
    from loamwright import upkeep

    return _drawn(file, layer, lambda shape: upkeep.redraw_plot(property_path, plot, shape, "", today(), by))


@command(app)
def hole(
    property_path: PropertyPath, plot: PlotId, file: Drawing, layer: LayerName = None, by: Who = ""
) -> Answer:
    """Take drawn ground out of a plot, as a hole, or as a bite where it reaches over the edge."""
    from loamwright import upkeep

    return _drawn(file, layer, lambda shape: upkeep.cut_hole(property_path, plot, shape, "", today(), by))


@command(app)
def split(
    property_path: PropertyPath, plot: PlotId, file: Drawing, layer: LayerName = None, by: Who = ""
) -> Answer:
    """Split a plot along a line: the largest piece keeps the id."""
    from loamwright import upkeep

    return _drawn(file, layer, lambda shape: upkeep.split_plot(property_path, plot, shape, "", today(), by))


@command(app)
def merge(
    property_path: PropertyPath,
    plots: Annotated[list[str], typer.Argument(metavar="PLOT PLOT…", help="The first keeps its id.")],
    by: Who = "",
) -> Answer:
    """Make one plot of several; the others are retired."""
    from loamwright import upkeep

    return Answer(upkeep.merge_plots(property_path, plots, today(), by))


@command(app)
def cut(property_path: PropertyPath, plot: PlotId, other: OtherId, by: Who = "") -> Answer:
    """Take the ground of a neighbour out of a plot that lies over it."""
    from loamwright import upkeep

    return Answer(upkeep.cut_out(property_path, plot, other, today(), by))


@command(app, "close-gap")
def close_gap(
    property_path: PropertyPath,
    plot: PlotId,
    other: OtherId,
    gap: Annotated[str | None, typer.Option(help="Widest gap that is closed; 3 m if not given.")] = None,
    by: Who = "",
) -> Answer:
    """Make two plots meet along one border, and say how much ground changed hands."""
    from loamwright import upkeep
    from loamwright.units import parse_length

    gap_m = upkeep.GAP_M if gap is None else read("gap", gap, parse_length)
    return Answer(upkeep.close_gap(property_path, plot, other, gap_m, today(), by))


@command(app)
def part(
    property_path: PropertyPath,
    plot: PlotId,
    file: Drawing,
    name: Name = "",
    layer: LayerName = None,
    by: Who = "",
) -> Answer:
    """Keep drawn ground as a part of a plot; what reaches beyond the plot is left off."""
    from loamwright import upkeep

    return _drawn(file, layer, lambda shape: upkeep.draw_part(property_path, plot, shape, name, today(), by))


@command(app, "keep-out")
def keep_out(
    property_path: PropertyPath,
    file: Drawing,
    kind: Annotated[str, typer.Option(help="Creek, pond, well, sinkhole, ditch …")] = "",
    setback: Annotated[str, typer.Option(help="'50 ft'; not stated, which is not zero, if left out.")] = "",
    name: Name = "",
    layer: LayerName = None,
    by: Who = "",
) -> Answer:
    """Keep a drawn place, line or ground where nothing is spread."""
    from loamwright import upkeep

    return _drawn(
        file,
        layer,
        lambda shape: upkeep.draw_keepout(property_path, shape, kind, name, setback, today(), by),
    )


@command(app)
def way(
    property_path: PropertyPath,
    file: Drawing,
    kind: Annotated[str, typer.Option(help="Track, gate, bridge or loading place.")] = "",
    name: Name = "",
    layer: LayerName = None,
    by: Who = "",
) -> Answer:
    """Keep a drawn line or place as a track, gate, bridge or loading place."""
    from loamwright import upkeep

    return _drawn(file, layer, lambda shape: upkeep.draw_way(property_path, shape, kind, name, today(), by))
