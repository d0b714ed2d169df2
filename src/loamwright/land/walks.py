"""How big is a plot that somebody walked around with a GPS receiver, and how sure is that?

This file turns fixes in walking order into a boundary with an area and its standard error. It
reads no track file (`plots` does) and knows nothing about receivers: how far one fix is off
is the user's to say.

References
----------
The standard deviation of a GNSS-measured area, derived from the shoelace formula: Journal of the
Japanese Forest Society 100 (6), 193-200, 2018 (abstract read). G. Navratil, "Precision of area
computation", European user conference, Institute for Geoinformation, TU Vienna, 2003: error
propagation for independent and for correlated coordinates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from loamwright.errors import Level, Problem, has_errors
from loamwright.land.boundaries import check_boundary, check_coordinates
from loamwright.land.geometry import Plane, distance_m, measure_boundary
from loamwright.land.records import Shape
from loamwright.units import ACRE_M2, format_area
from loamwright.values import BOUNDARY, USER, Step

#: A gap between the end and the start of a walk is mentioned from this share of its length up
#: (our choice).
GAP_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Walk:
    """A walked boundary and what can be said of its size.

    Parameters
    ----------
    boundary
        Checked polygon; None when the walk encloses no usable plot.
    area_m2
        Geodesic area [m2]; None with no boundary.
    area_se_m2
        Standard error of that area [m2]; None with no boundary.
    steps
        How both were reached.
    problems
        What was found on the way.
    """

    boundary: Shape | None
    area_m2: float | None
    area_se_m2: float | None
    steps: tuple[Step, ...] = ()
    problems: tuple[Problem, ...] = ()


def area_standard_error(
    points: Sequence[tuple[float, float]], sigma_m: float, effective_vertices: float | None = None
) -> float:
    """Return the standard error of the area inside walked fixes.

    Notes
    -----
    The shoelace sum is linear in each vertex, so independent errors of variance σ² give::

        var(A) = σ²/4 · Σ |v(i+1) − v(i−1)|²

    to first order in σ, at the true vertices. The exact variance has n·σ⁴/2 more; taken at the
    measured fixes, as here, the sum has on average n·σ⁴ more, so it errs on the safe side. Both are
    small while fixes are several σ apart.

    Receivers drift, so errors of fixes taken a second apart are alike. With a correlation r between
    neighbours, n fixes say as much as n·(1−r)/(1+r) independent ones, and the variance grows by n over
    that number. The rule holds while the drift dies out over a stretch short beside the walk around.

    References
    ----------
    See the top of this file.

    Examples
    --------
    A square of 100 m sides by its four corners: every |v(i+1) − v(i−1)| is a diagonal, √2 · 100 m,
    so with σ = 3 m the standard error is 3/2 · √(4 · 2 · 100²) = 424 m².

    >>> plane = Plane(-93.05, 46.05)
    >>> square = plane.unflatten(shapely.box(0, 0, 100, 100)).exterior.coords[:-1]
    >>> round(area_standard_error(square, 3.0))
    424
    """
    if not (math.isfinite(sigma_m) and sigma_m >= 0):
        raise ValueError(f"sigma_m is {sigma_m}; it must be a distance of zero or more")
    if effective_vertices is not None and not effective_vertices > 0:
        raise ValueError(f"effective_vertices is {effective_vertices}; it must be more than zero")
    variance = sigma_m**2 / 4 * len(points) * _mean_square_m2(points)
    if effective_vertices is not None:
        variance *= len(points) / min(effective_vertices, len(points))
    return math.sqrt(variance)


def _mean_square_m2(points: Sequence[tuple[float, float]]) -> float:
    """Return the mean of |next − previous|² around the fixes."""
    walked = shapely.LineString(points)
    xy = shapely.get_coordinates(Plane.around([walked]).flatten(walked))
    across = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    return float((across**2).sum()) / len(points)


def walk_to_boundary(
    points: Sequence[tuple[float, float]],
    sigma_m: float,
    effective_vertices: float | None = None,
    where: str = "GPS walk",
) -> Walk:
    """Close a walk into a boundary with an area and its standard error.

    Parameters
    ----------
    points
        Fixes in walking order, (longitude, latitude) [degree]; coming back to the start is not
        needed.
    sigma_m
        Standard error of one fix in each direction [m].
    effective_vertices
        Number of fixes whose errors can be called independent [count]; None = all of them.
    where
        File and feature, for the messages.

    Returns
    -------
    Walk
        A loop where the line crosses itself (the overrun at the end of most walks) is cleaned when
        that moves the area by less than its own standard error; a larger one is refused.

    Raises
    ------
    ValueError
        When `sigma_m` or `effective_vertices` is out of range.

    Notes
    -----
    See `area_standard_error` for the formula. Errors that are independent jump: even for somebody
    standing still |next − previous|² averages 4σ². A track smoother than that shows that its errors
    are not independent, and that is said.

    Examples
    --------
    >>> ring = [(-93.05, 46.05), (-93.048, 46.05), (-93.048, 46.051), (-93.05, 46.051)]
    >>> walk = walk_to_boundary(ring, sigma_m=3.0)
    >>> walk.area_m2 is not None and round(walk.area_m2)
    17205
    """
    fixes = _moved(points)
    if len(fixes) < 3:
        what = f"the walk has {len(fixes)} different places"
        problem = Problem(where, what, "Walk all around the plot; at least three fixes are needed.")
        return Walk(None, None, None, problems=(problem,))
    with np.errstate(invalid="ignore"):  # a number that is not one is reported next
        line = shapely.LineString(fixes)
    if has_errors(misplaced := check_coordinates(line, where)):
        return Walk(None, None, None, problems=misplaced)
    error_m2 = area_standard_error(fixes, sigma_m, effective_vertices)
    boundary, problems = check_boundary(shapely.Polygon(fixes), where, tolerance_m2=error_m2)
    if boundary is None:
        return Walk(None, None, None, problems=problems)
    measure = measure_boundary(boundary)
    gap = distance_m(fixes[-1], fixes[0])
    if gap > GAP_SHARE * measure.perimeter_m:
        what = f"the walk ends {gap:,.0f} m from where it began"
        fix = "A straight line was drawn between; look whether that is the edge of the plot."
        problems = (*problems, Problem(where, what, fix, Level.WARNING))
    if effective_vertices is None and _mean_square_m2(fixes) < 4 * sigma_m**2:
        what = (
            f"its {len(fixes)} fixes run smoother than independent errors of {sigma_m:g} m could leave them, "
            f"so they drift together and the ± of {error_m2:,.0f} m² is too small"
        )
        fix = "Record a fix every ten paces instead, or take the ± as a lower limit."
        problems = (*problems, Problem(where, what, fix, Level.WARNING))
    return Walk(
        boundary=boundary,
        area_m2=measure.area_m2,
        area_se_m2=error_m2,
        steps=_steps(measure.area_m2, error_m2, len(fixes), sigma_m, effective_vertices),
        problems=problems,
    )


def goes_round(line: Shape) -> bool:
    """Tell whether a walked line goes around ground, or leads from one place to another.

    Parameters
    ----------
    line
        Longitude-latitude on WGS84.

    Returns
    -------
    bool
        True when it has three corners or more and its ends are nearer to each other than a quarter of what
        lies between them (our choice).
    """
    fixes = [(float(x), float(y)) for x, y in shapely.get_coordinates(line)]
    if len(set(fixes)) < 3:
        return False
    length = sum(distance_m(one, other) for one, other in pairwise(fixes))
    return distance_m(fixes[0], fixes[-1]) <= length / 4


def _moved(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the places without standing still and without the return to the start."""
    fixes = [point for i, point in enumerate(points) if i == 0 or point != points[i - 1]]
    return fixes[:-1] if len(fixes) > 1 and fixes[-1] == fixes[0] else fixes


def _steps(
    area_m2: float, error_m2: float, fixes: int, sigma_m: float, effective_vertices: float | None
) -> tuple[Step, ...]:
    counted = (
        f"{fixes} fixes taken as independent; receivers drift, so fixes close together say less than that"
        if effective_vertices is None or effective_vertices >= fixes
        else f"{fixes} fixes counted as {effective_vertices:g} independent ones"
    )
    return (
        Step(
            f"Inside the walk, geodesic on the WGS84 ellipsoid: {area_m2:,.1f} m² "
            f"({format_area(area_m2, 'metric')})",
            area_m2 / ACRE_M2,
            "acres",
            BOUNDARY,
        ),
        Step("Standard error of one fix, east and north", sigma_m, "m", USER),
        Step(
            f"Standard error of the area, σ/2 · √Σ|next − previous|², {counted}: {error_m2:,.1f} m²",
            error_m2 / ACRE_M2,
            "acres",
            BOUNDARY,
        ),
    )
