"""The map without its script: what a file preview shows, which runs none.

This file answers "which lines and texts stand there?": outlines as SVG paths, the stops of each round and the
amounts of each plot, all of it taken from the page's own `MapData`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from loamwright.fieldmap.records import MapData, MapPlot, Polygons, Ring

#: Width of the picture [units of its own].
WIDTH = 1000


@dataclass(frozen=True, slots=True)
class StillPlot:
    """A plot on the picture, and what goes on it.

    Parameters
    ----------
    path, x, y
        Its outline as SVG path data, and where its id stands.
    id, name, area
        As on the map.
    lines
        One text for each planned product: product, packages, mass, rate.
    """

    path: str
    x: int
    y: int
    id: str
    name: str
    area: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StillRound:
    """A round and its stops, one text each.

    Parameters
    ----------
    title, facts, stops
        Number with heading, what is said of the whole, and the stops in order.
    """

    title: str
    facts: str
    stops: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Still:
    """All that ``templates/fieldmap_still.html`` shows.

    Parameters
    ----------
    title, season, made_on, height
        Heading texts, and the height of the picture.
    plots, rounds
        In the order of the map.
    kept_off, kept_off_lines, ways
        SVG path data of keep-outs with their setbacks, of keep-outs that are lines, and of ways.
    keepouts
        Name and setback of each keep-out.
    """

    title: str
    season: str
    made_on: str
    height: int
    plots: tuple[StillPlot, ...]
    rounds: tuple[StillRound, ...]
    kept_off: str
    kept_off_lines: str
    ways: str
    keepouts: tuple[str, ...]


def still(data: MapData) -> Still:
    """Draw the map once, for readers that run no script.

    Parameters
    ----------
    data
        What the page shows.

    Returns
    -------
    Still
    """
    places = [point for plot in data.plots for point in _points(plot.outline)]
    south, north = min(lat for lat, _ in places), max(lat for lat, _ in places)
    west, east = min(lng for _, lng in places), max(lng for _, lng in places)
    narrow = math.cos(math.radians((south + north) / 2))
    scale = WIDTH / max((east - west) * narrow, (north - south) / 2, 1e-6)

    def spot(point: tuple[float, float]) -> tuple[int, int]:
        return round((point[1] - west) * narrow * scale), round((north - point[0]) * scale)

    def line(ring: Ring, closed: bool) -> str:
        spots = [spot(point) for point in ring]
        kept = [one for i, one in enumerate(spots) if i == 0 or one != spots[i - 1]]
        return "M" + "L".join(f"{x} {y}" for x, y in kept) + ("z" if closed else "")

    def area(polygons: Polygons) -> str:
        return "".join(line(ring, True) for polygon in polygons for ring in polygon)

    def drawn(plot: MapPlot) -> StillPlot:
        x, y = spot(plot.middle)
        amounts = tuple(
            ", ".join(filter(None, (one.product, one.packages, one.mass, one.rate))) for one in plot.lines
        )
        return StillPlot(area(plot.outline), x, y, plot.id, plot.name, plot.area, amounts)

    rounds = tuple(
        StillRound(
            f"Round {one.number}: {one.title}",
            "; ".join(one.facts),
            tuple(
                f"{data.plots[stop.plot].id} {data.plots[stop.plot].name}: "
                + ", ".join(filter(None, (stop.packages, stop.mass, stop.rate)))
                for stop in one.stops
            ),
        )
        for one in data.rounds
    )
    return Still(
        title=data.title,
        season=data.season,
        made_on=data.made_on,
        height=round((north - south) * scale),
        plots=tuple(drawn(plot) for plot in data.plots),
        rounds=rounds,
        kept_off="".join(area(one.ground or one.polygons) for one in data.keepouts),
        kept_off_lines="".join(line(path, False) for one in data.keepouts for path in one.paths),
        ways="".join(line(path, False) for one in data.ways for path in one.paths),
        keepouts=tuple(f"{one.name}: {one.setback}" for one in data.keepouts),
    )


def _points(polygons: Polygons) -> Iterable[tuple[float, float]]:
    return (point for polygon in polygons for ring in polygon for point in ring)
