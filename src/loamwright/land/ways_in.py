"""Which drawn ways lead to a plot, and what on them stops a vehicle?

Tracks are lines; bridges and gates are points or lines on them, with the width and load they bear. One comes
in at a loading place or, where none is drawn, at a gate. A plot is led to by a track that comes near its
boundary. What is not stated of a way stops nobody, and a plot that no drawn way leads to is not judged here.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import LineString
from shapely.ops import substring

from loamwright.land.geometry import Plane, label_point
from loamwright.land.records import KeepOut, Plot, Way

#: A track this near to another, to what stands on it or to a plot meets it [m]; ours, a phone's fix or two.
MEETS_M = 10.0
#: An opening must be wider than the vehicle by this [m]: FAO, Farm structures in tropical climates, Vehicle
#: access to farmsteads (minimum, straight approach).
OPENING_M = 0.6


@dataclass(frozen=True, slots=True)
class Stop:
    """What keeps a vehicle from a plot.

    Parameters
    ----------
    way
        The track, bridge or gate in its way.
    by_load
        True = too heavy for it; False = too wide.
    """

    way: Way
    by_load: bool


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece of a track with everything one passes on it."""

    line: LineString
    passes: tuple[Way, ...]


class WaysIn:
    """The drawn ways of a property as a net.

    Parameters
    ----------
    ways
        Tracks, bridges, gates, loading places.
    plots
        The plots they may lead to.
    keepouts
        What a straight line between plots may cross.
    """

    def __init__(self, ways: Sequence[Way], plots: Sequence[Plot], keepouts: Sequence[KeepOut] = ()) -> None:
        self._plots = {plot.plot_id: plot for plot in plots}
        self._keepouts = keepouts
        self._pieces: list[_Piece] = []
        self._meets: list[list[int]] = []
        self._first: list[int] = []
        self._at: dict[str, list[int]] = {}
        self._spots: dict[str, list[_Spot]] = {}
        tracks = [way for way in ways if way.kind == "track"]
        if not tracks or not plots:
            return
        plane = Plane.around([plot.boundary for plot in plots])
        flat = {way.way_id: plane.flatten(shapely.force_2d(way.shape)) for way in ways}
        on_them = [way for way in ways if way.kind in ("bridge", "gate")]
        for track in tracks:
            for line in shapely.get_parts(shapely.line_merge(flat[track.way_id])):
                spots = [way for way in on_them if shapely.distance(line, flat[way.way_id]) <= MEETS_M]
                self._pieces.extend(_pieces(track, line, [(way, flat[way.way_id]) for way in spots]))
        lines = [piece.line for piece in self._pieces]
        self._meets = [
            [
                other
                for other, line in enumerate(lines)
                if other != number and float(shapely.distance(lines[number], line)) <= _TOUCH_M
            ]
            for number in range(len(lines))
        ]
        places = [flat[way.way_id] for way in ways if way.kind == "loading place"]
        nearest = [min(range(len(lines)), key=lambda n: float(shapely.distance(lines[n], p))) for p in places]
        self._first = [n for n in nearest if any(shapely.distance(lines[n], p) <= MEETS_M for p in places)]
        if not places:
            gated = [any(way.kind == "gate" for way in piece.passes) for piece in self._pieces]
            self._first = [number for number, gate in enumerate(gated) if gate]
        for plot in plots:
            ground = plane.flatten(plot.boundary)
            near = [n for n, line in enumerate(lines) if float(shapely.distance(line, ground)) <= MEETS_M]
            if near:
                self._at[plot.plot_id] = near
                self._spots[plot.plot_id] = [(n, at_m) for n in near for at_m in _beside_m(lines[n], ground)]

    def stop(self, plot_id: str, load_kg: float | None, width_m: float | None) -> Stop | None:
        """Name what keeps a vehicle from a plot; None when nothing drawn does.

        Parameters
        ----------
        plot_id
            Which plot.
        load_kg
            What the vehicle carries [kg]; None = not stated.
        width_m
            How wide it is [m]; None = not stated.

        Returns
        -------
        Stop or None
            What stands in the way of all ways there; None too where no drawn way leads there.
        """
        wanted = set(self._at.get(plot_id, ()))
        if not wanted or not self._first:
            return None
        stops = [_stop(piece, load_kg, width_m) for piece in self._pieces]
        if not wanted & self._spread(self._first, lambda _number: True):
            return None  # no drawn way leads there from where one comes in
        reached = self._spread(self._first, lambda number: stops[number] is None)
        if wanted & reached:
            return None
        # the first that stands in the way of what can be reached from where one comes in
        edge = [n for n in range(len(stops)) if stops[n] is not None]
        beside = [n for n in edge if n in self._first or reached & set(self._meets[n])]
        leads_on = [n for n in beside if wanted & self._spread([n], lambda _number: True)]
        return stops[(leads_on or edge)[0]]

    def lengths_m(
        self, plot_ids: Sequence[str], load_kg: float | None = None, width_m: float | None = None
    ) -> Mapping[tuple[str, str], float]:
        """Measure the shortest way between plots along the drawn ways that take a vehicle.

        Parameters
        ----------
        plot_ids
            Which plots.
        load_kg
            What the vehicle carries [kg]; None = not stated.
        width_m
            How wide it is [m]; None = not stated.

        Returns
        -------
        mapping of (plot_id, plot_id) to float
            [m], both ways round, from where a track leaves one plot to where one comes to the other; a pair
            that no drawn way joins is missing.
        """
        led_to = [plot_id for plot_id in plot_ids if plot_id in self._spots]
        if len(led_to) < 2:
            return {}
        legs = self._legs(load_kg, width_m)
        found = {}
        for here in led_to:
            far_m = _shortest_m(legs, [spot for spot in self._spots[here] if spot in legs])
            for there in led_to:
                length_m = min((far_m.get(spot, math.inf) for spot in self._spots[there]), default=math.inf)
                if there != here and length_m < math.inf:
                    found[here, there] = length_m
        return found

    def crossed(self, here: str, there: str) -> tuple[str, ...]:
        """Name the keep-outs that the straight line between two plots crosses, without their setbacks.

        Parameters
        ----------
        here, there
            The plots.

        Returns
        -------
        tuple of str
            Names, or ids where there is none.
        """
        ends = [self._plots[plot_id] for plot_id in (here, there)]
        line = LineString([plot.entrance or label_point(plot.boundary) for plot in ends])
        return tuple(
            one.name or one.keepout_id for one in self._keepouts if shapely.intersects(line, one.shape)
        )

    def _legs(self, load_kg: float | None, width_m: float | None) -> dict[_Spot, list[tuple[_Spot, float]]]:
        """The net as spots on pieces a vehicle may use, each with the next ones and how far they are."""
        may = [_stop(piece, load_kg, width_m) is None for piece in self._pieces]
        spots = {
            (number, end) for number, piece in enumerate(self._pieces) for end in (0.0, piece.line.length)
        }
        spots.update(spot for of_plot in self._spots.values() for spot in of_plot)
        joints = []
        for one, others in enumerate(self._meets):
            for other in others:
                if one < other and may[one] and may[other]:
                    lines = self._pieces[one].line, self._pieces[other].line
                    joints.append(((one, _nearest_m(*lines)), (other, _nearest_m(*reversed(lines)))))
                    spots.update(joints[-1])
        legs: dict[_Spot, list[tuple[_Spot, float]]] = {spot: [] for spot in spots if may[spot[0]]}
        pairs = [
            (one, other, other[1] - one[1])
            for one, other in itertools.pairwise(sorted(legs))
            if one[0] == other[0]
        ]
        pairs += [(*joint, 0.0) for joint in joints]
        for spot, next_spot, length_m in pairs:
            legs[spot].append((next_spot, length_m))
            legs[next_spot].append((spot, length_m))
        return legs

    def _spread(self, start: Sequence[int], may: Callable[[int], bool]) -> set[int]:
        """The pieces that can be reached over pieces one may use."""
        seen: set[int] = set()
        left = [number for number in start if may(number)]
        while left:
            number = left.pop()
            if number not in seen:
                seen.add(number)
                left.extend(other for other in self._meets[number] if may(other))
        return seen


#: A piece and how far along it [m].
_Spot = tuple[int, float]


def _nearest_m(line: LineString, other: shapely.Geometry) -> float:
    """How far along a line it comes nearest to something [m]."""
    return float(shapely.line_locate_point(line, shapely.get_point(shapely.shortest_line(line, other), 0)))


def _beside_m(line: LineString, ground: shapely.Geometry) -> tuple[float, ...]:
    """Where along a line one comes to some ground and leaves it [m]."""
    beside = shapely.get_coordinates(shapely.intersection(line, shapely.buffer(ground, MEETS_M)))
    along = [float(shapely.line_locate_point(line, shapely.Point(xy))) for xy in beside]
    return (min(along), max(along)) if along else (_nearest_m(line, ground),)


def _shortest_m(
    legs: Mapping[_Spot, Sequence[tuple[_Spot, float]]], start: Sequence[_Spot]
) -> Mapping[_Spot, float]:
    """How far each spot is from the nearest of some [m] (Dijkstra, Numerische Mathematik 1, 1959, 269)."""
    far_m: dict[_Spot, float] = {}
    heap = [(0.0, spot) for spot in start]
    heapq.heapify(heap)
    while heap:
        length_m, spot = heapq.heappop(heap)
        if spot not in far_m:
            far_m[spot] = length_m
            for other, more_m in legs[spot]:
                heapq.heappush(heap, (length_m + more_m, other))
    return far_m


#: Pieces cut from one track touch; tracks that end near each other meet [m].
_TOUCH_M = 5.0
#: How much of a track a point on it takes up, to either side [m].
_SPOT_M = 3.0


def _pieces(track: Way, line: LineString, spots: Sequence[tuple[Way, shapely.Geometry]]) -> list[_Piece]:
    """Cut a track where something stands on it, so that one may drive up to it."""
    cuts: list[tuple[float, float, Way]] = []
    for way, shape in spots:
        along = [float(line.project(shapely.Point(xy))) for xy in shapely.get_coordinates(shape)]
        cuts.append((max(0.0, min(along) - _SPOT_M), min(line.length, max(along) + _SPOT_M), way))
    ends = sorted({0.0, line.length, *(end for low, high, _way in cuts for end in (low, high))})
    found = []
    for low, high in itertools.pairwise(ends):
        middle = (low + high) / 2
        passed = tuple(way for start, end, way in cuts if start <= middle <= end)
        found.append(
            _Piece(LineString(shapely.get_coordinates(substring(line, low, high))), (track, *passed))
        )
    return found


def _stop(piece: _Piece, load_kg: float | None, width_m: float | None) -> Stop | None:
    for way in piece.passes:
        if load_kg is not None and way.load_limit_kg is not None and load_kg > way.load_limit_kg:
            return Stop(way, by_load=True)
        if width_m is not None and way.width_m is not None and width_m + OPENING_M > way.width_m:
            return Stop(way, by_load=False)
    return None
