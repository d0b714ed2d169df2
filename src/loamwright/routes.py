"""In which order to visit places: a short way from a start through all of them and back.

Straight lines stand for driving; tracks, gates and creeks are the operator's to know.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

#: Changes that save less than this are rounding, not shortening [m].
_LEAST_GAIN_M = 1e-6


def visiting_order(
    places: Sequence[tuple[float, float]], start: tuple[float, float] | None = None
) -> tuple[int, ...]:
    """Put places in an order that is short to drive, from the start and back to it.

    Parameters
    ----------
    places
        (x, y) in metres.
    start
        Where the round begins and ends (x, y) [m]; None = at the first place.

    Returns
    -------
    tuple of int
        Indexes into `places`, in visiting order; the same input always gives the same order.

    Notes
    -----
    Nearest neighbour, then stretches reversed (2-opt) and single stops moved as long as that shortens the
    straight-line tour. Good, not proved shortest. With the places in convex position it is the shortest.
    """
    if not places:
        return ()
    points = [places[0] if start is None else start, *places]
    left = set(range(1, len(points)))
    tour = [0]
    while left:
        here = points[tour[-1]]
        tour.append(min(left, key=lambda i: (math.dist(here, points[i]), i)))
        left.discard(tour[-1])
    _shorten(tour, points)
    return tuple(i - 1 for i in tour[1:])


def _shorten(tour: list[int], points: Sequence[tuple[float, float]]) -> None:
    """Shorten a closed tour in place until neither kind of change helps; place 0 stays first."""
    import numpy as np

    xy = np.asarray(points, dtype=float)
    while _reverse_stretches(tour, xy) or _move_stops(tour, xy):
        pass


def _reverse_stretches(tour: list[int], xy: NDArray[float64]) -> bool:
    """Reverse stretches where that shortens the tour (2-opt); tell whether anything was changed."""
    import numpy as np

    changed = False
    for i in range(len(tour) - 2):
        path = xy[[*tour[i + 1 :], tour[0]]]  # where stretches i+1 … j may end, then the way back
        here, first = xy[tour[i]], path[0]
        ends, after = path[:-1], path[1:]
        before_m = np.hypot(*(first - here)) + np.hypot(*(after - ends).T)
        after_m = np.hypot(*(ends - here).T) + np.hypot(*(after - first).T)
        gain_m = before_m - after_m
        best = int(np.argmax(gain_m))
        if gain_m[best] > _LEAST_GAIN_M:
            stop = i + 1 + best
            tour[i + 1 : stop + 1] = tour[i + 1 : stop + 1][::-1]
            changed = True
    return changed


def _move_stops(tour: list[int], xy: NDArray[float64]) -> bool:
    """Move single stops to a better place in the tour; tell whether anything was changed."""
    import numpy as np

    changed = False
    for place in tour[1:]:
        at = tour.index(place)
        rest = [*tour[:at], *tour[at + 1 :]]
        legs_m = np.hypot(*(xy[rest] - xy[[*rest[1:], rest[0]]]).T)
        to_m = np.hypot(*(xy[rest] - xy[place]).T)
        added_m = to_m + np.roll(to_m, -1) - legs_m  # by putting it after each stop of the rest
        best = int(np.argmin(added_m))
        if added_m[at - 1] - added_m[best] > _LEAST_GAIN_M:
            tour[:] = [*rest[: best + 1], place, *rest[best + 1 :]]
            changed = True
    return changed


def tour_length_m(places: Sequence[tuple[float, float]], start: tuple[float, float] | None = None) -> float:
    """Measure the straight-line way through places in the order given, from the start and back.

    Parameters
    ----------
    places
        (x, y) in metres, in visiting order.
    start
        Where it begins and ends (x, y) [m]; None = at the first place.

    Returns
    -------
    float
        Length [m].
    """
    if not places:
        return 0.0
    home = places[0] if start is None else start
    stops = [home, *places, home]
    return sum(math.dist(a, b) for a, b in pairwise(stops))
