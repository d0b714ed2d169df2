"""Where on a plot are the soil cores taken, and in which order?

This file places a zig-zag of core points over the spread area: spread evenly, away from edges and
keep-outs, in walking order, and the same every time for the same plot. How many cores and how
far from the edge is the caller's to say (`sampling` knows the publications).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from loamwright.land.geometry import Plane, polygons_of, swath_direction
from loamwright.land.records import Shape

#: The margin is halved until at least this share of the plot is left inside it (our choice).
KEEP_SHARE = 0.1
#: Strips the plot is cut into along its length to find where each share of its area lies.
STRIPS = 200
#: A metre of walking outside the spread area counts as this many when the order is chosen
#: (our choice: enough to go around a pond, not enough to circle the plot for a corner).
OUTSIDE_FACTOR = 5.0


def usable_edge_m(spread: Shape | None, edge_m: float) -> float:
    """Return the distance from the edge that a plot has room for.

    Parameters
    ----------
    spread
        Spread area, Polygon or MultiPolygon; None when nothing is left.
    edge_m
        Distance wanted [m].

    Returns
    -------
    float
        `edge_m`, or the first of its half, quarter … that leaves at least a tenth of the plot [m].

    Raises
    ------
    ValueError
        When the distance is negative or not finite.

    Examples
    --------
    A strip 8 m wide has no room for 5 m on both sides, but for 2.5 m:

    >>> strip = Plane(-93.05, 46.05).unflatten(shapely.box(0, 0, 200, 8))
    >>> usable_edge_m(strip, 5.0)
    2.5
    """
    if not 0 <= edge_m < float("inf"):
        raise ValueError(f"edge_m is {edge_m}; it must be a distance of zero or more")
    if spread is None:
        return edge_m
    flat = Plane.around([spread]).flatten(spread)
    while edge_m > 0 and flat.buffer(-edge_m).area < KEEP_SHARE * flat.area:
        edge_m /= 2
    return edge_m


def sampling_points(spread: Shape | None, cores: int, edge_m: float) -> tuple[tuple[float, float], ...]:
    """Place soil cores in a zig-zag over a spread area.

    Parameters
    ----------
    spread
        Spread area, Polygon or MultiPolygon; None when nothing is left.
    cores
        Number of cores wanted [count].
    edge_m
        Distance to keep from edges and keep-outs [m]; see `usable_edge_m` for plots too small.

    Returns
    -------
    tuple of (float, float)
        Exactly `cores` places (longitude, latitude) in walking order; none when the spread area is
        empty.

    Raises
    ------
    ValueError
        When `cores` is less than one or `edge_m` is out of range.

    Notes
    -----
    The plot is turned so that its swaths run along x and shrunk by the edge distance. Each part
    gets cores by its area. Along a part, core i stands where i + ½ shares of its area are passed;
    across, the cores step up and down a zig-zag whose levels are as far apart as the cores.
    Where that walk would leave the spread area (around a pond, from arm to arm of a bent plot), the
    order is improved by reversing stretches of it until no reversal shortens the walk.
    """
    if cores < 1:
        raise ValueError(f"cores is {cores}; at least one is needed")
    edge_m = usable_edge_m(spread, edge_m)
    if spread is None:
        return ()
    plane = Plane.around([spread])
    turn = swath_direction(spread) - 90.0
    flat = affinity.rotate(plane.flatten(spread), turn, origin=(0.0, 0.0))
    inner = sorted(polygons_of(flat.buffer(-edge_m)), key=lambda part: (part.bounds[0], part.bounds[1]))
    places = [
        place
        for part, count in zip(inner, _shares(inner, cores), strict=True)
        for place in _zigzag(part, count)
    ]
    ordered = shapely.MultiPoint(_walkable(places, flat))
    turned = plane.unflatten(affinity.rotate(ordered, -turn, origin=(0.0, 0.0)))
    return tuple((float(lon), float(lat)) for lon, lat in shapely.get_coordinates(turned))


def _shares(parts: list[Polygon], cores: int) -> list[int]:
    """Share cores among parts by area: whole numbers that add up, the largest remainders first."""
    area = sum(part.area for part in parts)
    exact = [cores * part.area / area for part in parts]
    counts = [int(share) for share in exact]
    by_remainder = sorted(range(len(parts)), key=lambda i: (counts[i] - exact[i], i))
    for i in by_remainder[: cores - sum(counts)]:
        counts[i] += 1
    return counts


def _zigzag(part: Polygon, cores: int) -> list[tuple[float, float]]:
    """Place cores in one connected part that lies along x."""
    if cores == 0:
        return []
    west, south, east, north = part.bounds
    edges = np.linspace(west, east, STRIPS + 1)
    strips = [shapely.clip_by_rect(part, left, south, right, north).area for left, right in pairwise(edges)]
    passed = np.concatenate(([0.0], np.cumsum(strips)))
    along = np.interp((np.arange(cores) + 0.5) / cores * passed[-1], passed, edges)
    width = part.area / (east - west)
    levels = max(1, min(cores, round(width / (part.area / cores) ** 0.5)))
    rising = [*range(levels), *range(levels - 2, 0, -1)]
    shares = [(rising[i % len(rising)] + 0.5) / levels for i in range(cores)]
    return [_across(part, float(x), share, south, north) for x, share in zip(along, shares, strict=True)]


def _across(part: Polygon, x: float, share: float, south: float, north: float) -> tuple[float, float]:
    """Return the place at x with this share of the part's cross-section below it."""
    cut = part.intersection(LineString([(x, south - 1), (x, north + 1)]))
    pieces = sorted((piece.bounds[1], piece.bounds[3]) for piece in shapely.get_parts(cut).tolist())
    wanted = share * sum(top - bottom for bottom, top in pieces)
    for bottom, top in pieces:
        if wanted <= top - bottom:
            return x, bottom + wanted
        wanted -= top - bottom
    return x, pieces[-1][1]


def _walkable(places: list[tuple[float, float]], ground: BaseGeometry) -> list[tuple[float, float]]:
    """Reorder a walk that leaves the ground, by reversing stretches while that shortens it."""
    count = len(places)
    if count < 3 or LineString(places).covered_by(ground):
        return places
    cost = np.zeros((count, count))
    for i in range(count):
        for j in range(i):
            leg = LineString([places[i], places[j]])
            cost[i, j] = cost[j, i] = leg.length + OUTSIDE_FACTOR * leg.difference(ground).length
    order = list(range(count))

    def ends(before: int, first: int, last: int, after: int) -> float:
        """Cost of the two legs that join a stretch to the rest of the walk."""
        joined = cost[order[before], order[first]] if before >= 0 else 0.0
        return float(joined + (cost[order[last], order[after]] if after < count else 0.0))

    improved = True
    while improved:
        improved = False
        for i in range(count - 1):
            for j in range(i + 1, count):
                if ends(i - 1, j, i, j + 1) < ends(i - 1, i, j, j + 1) - 1e-6:
                    order[i : j + 1] = order[i : j + 1][::-1]
                    improved = True
    return [places[i] for i in order]
