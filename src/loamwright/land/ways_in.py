"""Which drawn ways lead to a plot, and what on them stops a vehicle?

Tracks are lines; bridges and gates are points or lines on them, with the width and load they bear. One comes
in at a loading place or, where none is drawn, at a gate. A plot is led to by a track that comes near its
boundary. What is not stated of a way stops nobody, and a plot that no drawn way leads to is not judged here.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import LineString
from shapely.ops import substring

from loamwright.land.geometry import Plane
from loamwright.land.records import Plot, Way

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

    line: shapely.Geometry
    passes: tuple[Way, ...]


class WaysIn:
    """The drawn ways of a property as a net.

    Parameters
    ----------
    ways
        Tracks, bridges, gates, loading places.
    plots
        The plots they may lead to.
    """

    def __init__(self, ways: Sequence[Way], plots: Sequence[Plot]) -> None:
        self._pieces: list[_Piece] = []
        self._meets: list[list[int]] = []
        self._first: list[int] = []
        self._at: dict[str, list[int]] = {}
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
        found.append(_Piece(substring(line, low, high), (track, *passed)))
    return found


def _stop(piece: _Piece, load_kg: float | None, width_m: float | None) -> Stop | None:
    for way in piece.passes:
        if load_kg is not None and way.load_limit_kg is not None and load_kg > way.load_limit_kg:
            return Stop(way, by_load=True)
        if width_m is not None and way.width_m is not None and width_m + OPENING_M > way.width_m:
            return Stop(way, by_load=False)
    return None
