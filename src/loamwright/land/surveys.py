"""How big is ground that was measured with a tape, a compass or a survey, and what shape has it?

Corners in metres, bearings and distances, sides and diagonals, offsets from a baseline, circle, trapezoid.
Everything is worked out in a plane, x east and y north; `placed` lays it on the map once the place of its
first corner is known. A plane is good enough for a tape: over a kilometre it errs by one part in a hundred
million.

References
----------
J. Mahun, Open Access Surveying Library, Traverse Computations, chapters G (area) and I (compass rule).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import shapely
from pyproj import Geod
from shapely.geometry import Polygon

from loamwright.errors import InputError, Problem
from loamwright.land.records import Shape
from loamwright.units import ACRE_M2, FT_M
from loamwright.values import USER, Source, Step

#: Legs that end farther from their start than this share of their length are no boundary: one is missing
#: or wrong (our choice).
OPEN_SHARE = 1 / 20
#: Places of a circle that is laid on the map [count].
_CIRCLE_PLACES = 96

_GEOD = Geod(ellps="WGS84")
_TRAVERSE = Source(
    "J. Mahun, Open Access Surveying Library, Traverse Computations",
    "",
    "chapters G (area), I (compass rule)",
)

#: (east, north) [m].
Spot = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Surveyed:
    """Ground as it was measured.

    Parameters
    ----------
    area_m2
        Its area [m2].
    perimeter_m
        Length of its boundary [m]; None where the figures do not tell.
    corners
        Its corners (east, north) of the first one, in walking order [m]; empty where the figures tell an
        area but no shape.
    gap_m
        Error of closure of bearings and distances [m]; None for everything else.
    checks
        What of the figures was not needed: (name, as measured, as it follows from the others) [m].
    steps
        How the area was reached.
    is_round
        True for a circle, whose corners lie around its middle.
    """

    area_m2: float
    perimeter_m: float | None
    corners: tuple[Spot, ...]
    gap_m: float | None = None
    checks: tuple[tuple[str, float, float], ...] = ()
    steps: tuple[Step, ...] = ()
    is_round: bool = False


def _refused(what: str, fix: str) -> InputError:
    return InputError([Problem("", what, fix)])


def _polygon(corners: Sequence[Spot], steps: Sequence[Step], gap_m: float | None = None) -> Surveyed:
    """Return the ground inside corners, moved so that the first one is the origin."""
    if len(corners) < 3:
        raise _refused(f"{len(corners)} corners enclose nothing", "Give three corners or more.")
    east, north = corners[0]
    moved = tuple((x - east, y - north) for x, y in corners)
    ring = Polygon(moved)
    if not ring.is_valid:
        reason = shapely.is_valid_reason(ring)
        raise _refused(f"the boundary crosses itself ({reason})", "Give the corners in walking order.")
    if ring.area <= 0:
        raise _refused("the corners lie in one line and enclose nothing", "Check the figures.")
    area = Step("area inside the corners", ring.area / ACRE_M2, "acre", _TRAVERSE)
    return Surveyed(ring.area, ring.length, moved, gap_m, steps=(*steps, area))


def from_corners(corners: Sequence[Spot]) -> Surveyed:
    """Measure ground by the plane coordinates of its corners.

    Parameters
    ----------
    corners
        (east, north) of each, in walking order [m]; the first may stand at the end again.

    Returns
    -------
    Surveyed

    Raises
    ------
    InputError
        When they are fewer than three, lie in one line, or their boundary crosses itself.
    """
    closed = len(corners) > 1 and math.dist(corners[0], corners[-1]) == 0
    kept = corners[:-1] if closed else corners
    return _polygon(kept, [Step(f"{len(kept)} corners", len(kept), "corners", USER)])


def traverse(legs: Sequence[tuple[float, float]]) -> Surveyed:
    """Measure ground by the bearings and distances walked around it.

    Parameters
    ----------
    legs
        (bearing, clockwise from north [degree]; distance [m]) of each side; the last one leads back.

    Returns
    -------
    Surveyed
        What is missing at the end is spread over the sides by their length (compass rule).

    Raises
    ------
    InputError
        When the last leg ends far from the start, a leg is negative, or nothing is enclosed.
    """
    shortest, length = min(distance for _, distance in legs), sum(distance for _, distance in legs)
    if shortest < 0 or not length:
        raise _refused(f"a leg of {shortest:g} m leads nowhere", "Write each distance with its unit.")
    moves = [
        (distance * math.sin(math.radians(bearing)), distance * math.cos(math.radians(bearing)))
        for bearing, distance in legs
    ]
    off = (sum(east for east, _ in moves), sum(north for _, north in moves))
    gap = math.hypot(*off)
    if gap > length * OPEN_SHARE:
        what = f"the legs end {gap:,.2f} m ({gap / FT_M:,.2f} ft) from where they began"
        raise _refused(what, "Give the leg that leads back to the start, or correct a bearing or distance.")
    spots: list[Spot] = [(0.0, 0.0)]
    for (east, north), (_, distance) in zip(moves[:-1], legs[:-1], strict=True):
        share = distance / length
        spots.append((spots[-1][0] + east - off[0] * share, spots[-1][1] + north - off[1] * share))
    steps = [
        Step(f"{len(legs)} legs", length, "m", USER),
        Step("error of closure", gap, "m", _TRAVERSE),
    ]
    return _polygon(spots, steps, gap)


def from_sides(corners: int, lengths: Mapping[tuple[int, int], float], bearing_deg: float = 0.0) -> Surveyed:
    """Measure ground by its sides and enough diagonals to cut it into triangles.

    Parameters
    ----------
    corners
        How many it has.
    lengths
        (corner, corner), counted from 0 in walking order, to the distance between them [m].
    bearing_deg
        Of the side from the first corner to the second [degree].

    Returns
    -------
    Surveyed
        Corners in the order of walking around to the right; each diagonal must lie inside.

    Raises
    ------
    InputError
        When a side or diagonal is missing or none, or three lengths make no triangle.
    """
    known = {tuple(sorted(pair)): length for pair, length in lengths.items()}
    for pair, length in known.items():
        if not length > 0:
            raise _refused(f"{_named(*pair)} of {length:g} m encloses nothing", "Write it with its unit.")
    sides = [tuple(sorted((n, (n + 1) % corners))) for n in range(corners)]
    missing = [_named(*side) for side in sides if side not in known]
    if missing:
        raise _refused(f"side {', '.join(missing)} is missing", "Give every side.")
    spots: dict[int, Spot] = {0: (0.0, 0.0), corners - 1: (0.0, known[0, corners - 1])}
    used = set(sides)
    if not _filled(0, corners - 1, known, spots, used):
        fix = "Give the diagonals that cut it into triangles: one for four corners, two for five."
        raise _refused("the diagonals do not cut it into triangles", fix)
    turn = math.radians(bearing_deg) - math.atan2(*spots[1])
    cosine, sine = math.cos(turn), math.sin(turn)
    placed = [
        (spots[n][0] * cosine + spots[n][1] * sine, spots[n][1] * cosine - spots[n][0] * sine)
        for n in range(corners)
    ]
    found = _polygon(placed, [Step(_named(*pair), length, "m", USER) for pair, length in known.items()])
    checks = [
        (_named(*pair), length, math.dist(placed[pair[0]], placed[pair[1]]))
        for pair, length in known.items()
        if pair not in used
    ]
    return Surveyed(found.area_m2, found.perimeter_m, found.corners, checks=tuple(checks), steps=found.steps)


def _named(first: int, second: int) -> str:
    return f"{chr(97 + first)}{chr(97 + second)}"


def _filled(
    first: int,
    last: int,
    known: Mapping[tuple[int, ...], float],
    spots: dict[int, Spot],
    used: set[tuple[int, ...]],
) -> bool:
    """Place the corners between two placed ones, triangle by triangle; False when a length is missing."""
    if last - first < 2:
        return True
    for middle in range(first + 1, last):
        pairs = ((first, middle), (middle, last))
        if not all(pair in known for pair in pairs):
            continue
        spot = _third(spots[first], spots[last], known[pairs[0]], known[pairs[1]])
        if spot is None:
            names = ", ".join(
                f"{_named(*pair)} {known[pair]:g} m" for pair in (*pairs, (first, last)) if pair in known
            )
            raise _refused(f"{names} make no triangle", "Measure the sides and the diagonal again.")
        tried = {**spots, middle: spot}
        if _filled(first, middle, known, tried, used) and _filled(middle, last, known, tried, used):
            spots.update(tried)
            used.update(pairs)
            return True
    return False


def _third(start: Spot, end: Spot, from_start: float, from_end: float) -> Spot | None:
    """Return the corner that lies at two distances from two others, to the left of the line between."""
    base = math.dist(start, end)
    along = (from_start**2 - from_end**2 + base**2) / (2 * base)
    height2 = from_start**2 - along**2
    if height2 < 0:
        return None
    east, north = (end[0] - start[0]) / base, (end[1] - start[1]) / base
    height = math.sqrt(height2)
    return start[0] + along * east - height * north, start[1] + along * north + height * east


def from_offsets(
    stations: Sequence[float], left: Sequence[float], right: Sequence[float], bearing_deg: float = 0.0
) -> Surveyed:
    """Measure ground by what lies to both sides of a straight baseline, straight between the offsets.

    Parameters
    ----------
    stations
        How far along the line each pair of offsets was taken, rising [m].
    left, right
        From the line to the boundary, at right angles [m]; 0 = the line itself is the boundary there.
    bearing_deg
        Of the line [degree].

    Returns
    -------
    Surveyed

    Raises
    ------
    InputError
        When the stations do not rise, an offset is negative, or nothing is enclosed.
    """
    if any(later <= earlier for earlier, later in pairwise(stations)):
        raise _refused("the stations do not rise along the line", "Give them in order from its start.")
    if any(offset < 0 for offset in (*left, *right)):
        raise _refused("an offset is negative", "Give offsets to the left and to the right apart.")
    bearing = math.radians(bearing_deg)
    east, north = math.sin(bearing), math.cos(bearing)

    def spot(along: float, beside: float) -> Spot:
        return along * east + beside * north, along * north - beside * east

    out = [spot(along, beside) for along, beside in zip(stations, right, strict=True)]
    back = [spot(along, -beside) for along, beside in zip(stations, left, strict=True)]
    ring = [*out, *reversed(back)]
    kept = [
        one for one, other in zip(ring, [*ring[1:], ring[0]], strict=True) if math.dist(one, other) > 1e-9
    ]
    origin = spot(stations[0], 0.0)
    found = _polygon(kept, [Step(f"{len(stations)} offsets", stations[-1] - stations[0], "m", USER)])
    moved = tuple((x - origin[0], y - origin[1]) for x, y in kept)
    return Surveyed(found.area_m2, found.perimeter_m, moved, steps=found.steps)


def circle_of(radius_m: float) -> Surveyed:
    """Measure a circle.

    Parameters
    ----------
    radius_m
        From its middle to its edge [m].

    Returns
    -------
    Surveyed
        Its corners lie around its middle and enclose the same area.

    Raises
    ------
    InputError
        When it is not more than zero.
    """
    _positive(radius=radius_m)
    area = math.pi * radius_m**2
    turns = [2 * math.pi * n / _CIRCLE_PLACES for n in range(_CIRCLE_PLACES)]
    reach = math.sqrt(area / (_CIRCLE_PLACES / 2 * math.sin(2 * math.pi / _CIRCLE_PLACES)))
    corners = tuple((reach * math.sin(turn), reach * math.cos(turn)) for turn in turns)
    steps = (
        Step("radius", radius_m, "m", USER),
        Step("area, π times the radius squared", area / ACRE_M2, "acre", USER),
    )
    return Surveyed(area, 2 * math.pi * radius_m, corners, steps=steps, is_round=True)


def trapezoid_of(
    one_m: float, other_m: float, height_m: float, shift_m: float | None = None, bearing: float = 0.0
) -> Surveyed:
    """Measure a trapezoid, or with a side of zero a triangle.

    Parameters
    ----------
    one_m, other_m
        Its parallel sides [m].
    height_m
        The distance between them, at right angles [m].
    shift_m
        How far along the first one, from its start, the other begins, to its right [m]; may be negative.
    bearing
        Of the first one [degree from north, clockwise].

    Returns
    -------
    Surveyed
        An area; without a shift its slanted sides, and with them its shape, do not follow.

    Raises
    ------
    InputError
        When a length is negative, or nothing is enclosed.
    """
    _positive(height=height_m, sides=max(one_m, other_m))
    if min(one_m, other_m) < 0:
        raise _refused(f"a side of {min(one_m, other_m):g} m is less than nothing", "Correct it.")
    area = (one_m + other_m) / 2 * height_m
    steps = (
        Step("parallel sides", one_m, "m", USER),
        Step("and", other_m, "m", USER),
        Step("distance between", height_m, "m", USER),
        Step("area, half their sum times the distance", area / ACRE_M2, "acre", USER),
    )
    if shift_m is None:
        return Surveyed(area, None, (), steps=steps)
    sides = ((0.0, 0.0), (0.0, one_m), (height_m, shift_m + other_m), (height_m, shift_m))
    turn = math.radians(bearing)
    turned = [
        (beside * math.cos(turn) + along * math.sin(turn), along * math.cos(turn) - beside * math.sin(turn))
        for beside, along in sides
    ]
    corners = [spot for at, spot in enumerate(turned) if math.dist(spot, turned[at - 1]) > 1e-9]
    return _polygon(corners, [*steps, Step("the other begins after", shift_m, "m", USER)])


def _positive(**lengths: float) -> None:
    for name, length in lengths.items():
        if not length > 0:
            raise _refused(f"a {name} of {length:g} m encloses nothing", "Write it with its unit.")


def placed(ground: Surveyed, start: tuple[float, float]) -> Shape:
    """Lay measured ground on the map.

    Parameters
    ----------
    ground
        With corners.
    start
        (longitude, latitude) of its first corner, or of the middle of a circle [degree].

    Returns
    -------
    Shape
        Longitude-latitude on WGS84.

    Raises
    ------
    InputError
        When the figures tell no shape.
    """
    if not ground.corners:
        raise _refused("these figures tell an area but no shape", "Give sides and a diagonal to place it.")
    n = len(ground.corners)
    bearings = [math.degrees(math.atan2(east, north)) for east, north in ground.corners]
    reach = [math.hypot(*corner) for corner in ground.corners]
    lon, lat, _ = _GEOD.fwd([start[0]] * n, [start[1]] * n, bearings, reach)
    return shapely.orient_polygons(Polygon(list(zip(lon, lat, strict=True))))


def ring_of(corners: Sequence[tuple[float, float]]) -> Shape:
    """Return the ground inside corners on the map, as stated; `check_boundaries` judges it.

    Parameters
    ----------
    corners
        (longitude, latitude) in walking order [degree].

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        When they are fewer than three.
    """
    if len(corners) < 3:
        raise _refused(f"{len(corners)} corners enclose nothing", "Give three corners or more.")
    return Polygon(list(corners))
