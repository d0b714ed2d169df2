"""Plots, what grows on them, where nothing is spread, and how big they are.

Shapes are in longitude, latitude on WGS84.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from shapely.geometry.base import BaseGeometry

from loamwright.values import Quantity, Step

#: A point, line or polygon, or several, in longitude, latitude on WGS84. It never changes: records share it.
Shape: TypeAlias = BaseGeometry

# ---------------------------------------------------------------------------------------------
# The property: plots, crops, keep-outs


@dataclass(frozen=True, slots=True)
class Plot:
    """One management unit. Its id is kept for ever.

    Parameters
    ----------
    plot_id, name
        Stable id, and what people call it.
    boundary
        Polygon or MultiPolygon, longitude-latitude on WGS84, checked.
    entrance
        (longitude, latitude) of the way in [degree], if known.
    access, notes
        Free text from the user.
    area_se_m2
        Standard error of the area [m2] when the boundary was walked with GPS; None otherwise.
    weight
        How much this plot matters when a budget is short [dimensionless, 1 = normal].
    extra
        Columns the user's file had that we do not use, kept.
    narrowest_m, weight_limit_kg
        Narrowest width of the way in [m], heaviest vehicle it carries [kg]; None = not stated.
    reach_months
        Months it can be reached, 1 to 12; empty = not stated.
    reach
        Spreader to whether it can get there; absent = not stated.
    bands
        Supply to the lowest and highest share of this plot's need that counts as met [fraction]; absent = as
        everywhere on the property.
    """

    plot_id: str
    name: str
    boundary: Shape
    entrance: tuple[float, float] | None = None
    access: str = ""
    notes: str = ""
    area_se_m2: float | None = None
    weight: float = 1.0
    extra: Mapping[str, str] = field(default_factory=dict)
    narrowest_m: float | None = None
    weight_limit_kg: float | None = None
    reach_months: tuple[int, ...] = ()
    reach: Mapping[str, bool] = field(default_factory=dict)
    bands: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cropping:
    """What grows on a plot in one season, or in one part of it: several follow each other.

    Parameters
    ----------
    plot_id, season
        Which plot, which season (calendar year).
    crop, previous_crop
        Names as the user wrote them; matched to a guideline's crop list, never guessed.
    yield_goal
        Expected yield as written (``Quantity(2, "ton/acre")``); None = not stated.
    legume_pct
        Share of legume in the stand [percent]; None = not stated.
    seeding
        True in the establishment year, False on an established stand, None = not stated.
    previous_stand
        Condition of the previous legume for credits (``"4-5 plants/ft2"``); empty if not stated.
    position
        Its place among the plot's crops of the season [1, 2, …].
    sown_on, ended_on
        When it was sown, and when it was cut for the last time or killed; None = not stated.
    use
        ``"harvested"``, ``"grazed"``, ``"browsed"``, ``"left"``; empty = not stated.
    yield_goal_how
        How the yield goal was set, as written.
    """

    plot_id: str
    season: int
    crop: str = ""
    previous_crop: str = ""
    yield_goal: Quantity | None = None
    legume_pct: float | None = None
    seeding: bool | None = None
    previous_stand: str = ""
    position: int = 1
    sown_on: dt.date | None = None
    ended_on: dt.date | None = None
    use: str = ""
    yield_goal_how: str = ""


@dataclass(frozen=True, slots=True)
class KeepOut:
    """Ground where nothing is spread, with a setback around it.

    Parameters
    ----------
    keepout_id, name
        Stable id and name.
    kind
        Water, well, sinkhole, ditch, rock, slope … as written.
    shape
        Any geometry, longitude-latitude on WGS84.
    setback_m
        Setback distance [m]; None = not stated (shown as missing, never taken as zero).
    setback_text, notes
        The setback as the user wrote it; free text.
    """

    keepout_id: str
    name: str
    kind: str
    shape: Shape
    setback_m: float | None = None
    setback_text: str = ""
    notes: str = ""


# ---------------------------------------------------------------------------------------------
# Area


@dataclass(frozen=True, slots=True)
class PlotArea:
    """Measured size of one plot.

    Parameters
    ----------
    plot_id
        Which plot.
    area_m2
        Geodesic area inside the boundary, holes taken out [m2].
    spread_area_m2
        Area left after keep-outs and setbacks [m2].
    perimeter_m
        Length of all rings [m].
    spread
        The spread area, longitude-latitude; None when nothing is left, or where figures alone are asked.
    parts, holes
        Number of polygons and of inner rings.
    area_se_m2
        Standard error [m2] when known (a GPS walk), else None.
    keepouts
        (keepout_id, area lost to it and its setback [m2]) for each keep-out that cuts the plot.
    missing_setbacks
        Ids of keep-outs near the plot whose setback is not stated.
    steps
        How the figures were reached.
    """

    plot_id: str
    area_m2: float
    spread_area_m2: float
    perimeter_m: float
    spread: Shape | None
    parts: int = 1
    holes: int = 0
    area_se_m2: float | None = None
    keepouts: tuple[tuple[str, float], ...] = ()
    missing_setbacks: tuple[str, ...] = ()
    steps: Sequence[Step] = ()


@dataclass(frozen=True, slots=True)
class PlotPart:
    """A part of a plot, drawn or stated, with samples and entries of its own.

    Parameters
    ----------
    part_id, plot_id, name
        Ids and name.
    area_m2
        Its size when it is stated [m2]; None = from the shape, or not stated.
    shape
        Polygon, longitude-latitude on WGS84; None = not drawn.
    notes
        Free text.
    """

    part_id: str
    plot_id: str
    name: str = ""
    area_m2: float | None = None
    shape: Shape | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """A track, gate, bridge, loading place or contact: how one gets there.

    Parameters
    ----------
    way_id, kind, name
        Id, what it is, what people call it.
    shape
        Line or point, longitude-latitude on WGS84.
    width_m, load_limit_kg
        Clear width [m], heaviest vehicle [kg]; None = not stated.
    notes
        Free text.
    """

    way_id: str
    kind: str
    shape: Shape
    name: str = ""
    width_m: float | None = None
    load_limit_kg: float | None = None
    notes: str = ""
