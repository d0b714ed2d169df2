"""Shapes for tests, laid out in metres around a place by GeographicLib, not by the program.

A corner (east, north) is reached by one geodesic of length √(east² + north²) in that direction.
Over a few hundred metres the ellipsoid is flat to better than 1 part in 10⁸, so the area of such a
shape is what school geometry says.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence

import shapely
from geographiclib.geodesic import Geodesic

Corner = tuple[float, float]
#: The invented Alder Fork Preserve lies near here.
HOME = (-93.05, 46.05)
#: The boundary of a plot whose ground plays no part in a test.
NOWHERE = shapely.Polygon()


def place(corner: Corner, origin: Corner = HOME) -> Corner:
    """Return (longitude, latitude) of a corner east and north of an origin [m]."""
    east, north = corner
    azimuth = math.degrees(math.atan2(east, north))
    there = Geodesic.WGS84.Direct(
        origin[1], origin[0], azimuth, math.hypot(east, north), Geodesic.LONG_UNROLL | Geodesic.STANDARD
    )
    return there["lon2"], there["lat2"]


def polygon(corners: Sequence[Corner], *holes: Sequence[Corner], origin: Corner = HOME) -> shapely.Polygon:
    """Return a polygon from corners in metres."""
    rings = [[place(corner, origin) for corner in ring] for ring in (corners, *holes)]
    return shapely.Polygon(rings[0], rings[1:])


def box(west: float, south: float, east: float, north: float) -> list[Corner]:
    """Return the corners of an upright rectangle [m]."""
    return [(west, south), (east, south), (east, north), (west, north)]


def square(side: float, west: float = 0.0, south: float = 0.0, origin: Corner = HOME) -> shapely.Polygon:
    """Return a square of a side in metres."""
    return polygon(box(west, south, west + side, south + side), origin=origin)


def ring_wkb(corners: Sequence[Corner], kind: int = 3) -> bytes:
    """Write a ring as it comes, closed or not, as well-known binary by hand.

    OGC 06-103r4: kind 3 is a polygon, 17 a triangle.
    """
    points = b"".join(struct.pack("<dd", *place(corner)) for corner in corners)
    return struct.pack("<BIII", 1, kind, 1, len(corners)) + points


def independent_area_m2(ring: Sequence[Corner]) -> float:
    """Return the geodesic area of a ring of (longitude, latitude), by GeographicLib for Python."""
    measured = Geodesic.WGS84.Polygon()
    for lon, lat in ring:
        measured.AddPoint(lat, lon)
    return abs(float(measured.Compute()[2]))
