"""What a person reckons at the tailgate, with a stopwatch, a tape, a scale and no property at hand.

This file answers "how far, how fast, how much an acre, and is it even?". Each answer carries its arithmetic.
What a catch means is `calibration`; nothing here is logged, and no spreader setting is ever invented.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from loamwright.errors import InputError, Problem
from loamwright.units import ACRE_M2, FT_M, GAL_M3, HA_M2, LB_ACRE_KG_HA, LB_KG, MILE_M, format_figure
from loamwright.values import ARITHMETIC, USER, Reckoned, Source, Step
from loamwright.work.calibration import (
    COURSE_M2,
    TARP_SIDE_M,
    catch_rate_kg_ha,
    course_length_m,
    positive,
    rate_at_speed,
    rate_per_ha,
)
from loamwright.work.rounds import field_capacity_m2_s

_TARP = Source("Iowa State Extension, J. Lorimor", "2001", "", "a 56 in square tarp is 1/2,000 acre")
_COURSE = Source(
    "LSU AgCenter, Ounces Equal Gallons", "", "", "1/128 acre: ounces caught are gallons an acre"
)
_CAPACITY = Source("Iowa State Extension PM 696", "", "", "acres an hour = width × speed × efficiency / 8.25")


def course(width_m: float, area_m2: float = COURSE_M2) -> Reckoned:
    """Say how far to drive so that a strip has a given area.

    Parameters
    ----------
    width_m
        Swath, row or nozzle spacing [m].
    area_m2
        Area of the strip [m2]; 1/128 acre when not said.

    Returns
    -------
    Reckoned
        ``length_m``.

    Raises
    ------
    InputError
        When a figure is not more than zero.
    """
    length_m = course_length_m(width_m, area_m2)
    shown = f"{format_figure(area_m2 / FT_M**2)} sq ft / {format_figure(width_m / FT_M)} ft wide"
    source = _COURSE if area_m2 == COURSE_M2 else ARITHMETIC
    steps = (Step(shown, length_m / FT_M, "ft", source),)
    said = ""
    if area_m2 == COURSE_M2:
        said = "Over this course fluid ounces caught from one outlet are gallons an acre."
    return Reckoned({"length_m": length_m}, steps, said)


def speed(distance_m: float, seconds: float) -> Reckoned:
    """Say how fast it went over a measured course.

    Parameters
    ----------
    distance_m, seconds
        Length [m] and time [s].

    Returns
    -------
    Reckoned
        ``speed_m_s``.

    Raises
    ------
    InputError
        When a figure is not more than zero.
    """
    positive(distance_m=distance_m, seconds=seconds)
    found = distance_m / seconds
    shown = f"{format_figure(distance_m / FT_M)} ft in {seconds:g} s, × 3,600 / 5,280"
    return Reckoned({"speed_m_s": found}, (Step(shown, found * 3600 / MILE_M, "mph", ARITHMETIC),))


def catch(caught_kg: float | None, caught_m3: float | None, area_m2: float) -> Reckoned:
    """Say what rate a catch on a known area is.

    Parameters
    ----------
    caught_kg, caught_m3
        What fell, by weight [kg] or, a liquid, by volume [m3]; one of the two.
    area_m2
        Of the tarp, trays or measured run [m2].

    Returns
    -------
    Reckoned
        ``rate_kg_ha`` or ``rate_m3_ha``.

    Raises
    ------
    InputError
        When the area is not more than zero, or the catch is negative.
    """
    square_feet = format_figure(area_m2 / FT_M**2)
    if caught_m3 is not None:
        rate = catch_rate_kg_ha(caught_m3, area_m2)
        shown = f"{caught_m3 / GAL_M3:.6g} gal on {square_feet} sq ft, × 43,560"
        step = Step(shown, rate * ACRE_M2 / HA_M2 / GAL_M3, "gal/acre", ARITHMETIC)
        return Reckoned({"rate_m3_ha": rate}, (step,))
    rate = catch_rate_kg_ha(caught_kg or 0.0, area_m2)
    shown = f"{(caught_kg or 0.0) / LB_KG:.6g} lb on {square_feet} sq ft, × 43,560"
    on_tarp = math.isclose(area_m2, TARP_SIDE_M**2, rel_tol=1e-3)
    source = _TARP if on_tarp else ARITHMETIC
    said = "On this tarp pounds are tons an acre." if on_tarp else ""
    return Reckoned({"rate_kg_ha": rate}, (Step(shown, rate / LB_ACRE_KG_HA, "lb/acre", source),), said)


def from_flow(flow_kg_s: float | None, flow_m3_s: float | None, swath_m: float, speed_m_s: float) -> Reckoned:
    """Say what rate a flow is at a width and a speed.

    Parameters
    ----------
    flow_kg_s, flow_m3_s
        Flow by weight [kg/s] or by volume [m3/s]; one of the two.
    swath_m, speed_m_s
        Working width [m], ground speed [m/s].

    Returns
    -------
    Reckoned
        ``rate_kg_ha`` or ``rate_m3_ha``.

    Raises
    ------
    InputError
        When a figure is not more than zero.

    Notes
    -----
    rate = flow / (width × speed).
    """
    width, mph = swath_m / FT_M, speed_m_s * 3600 / MILE_M
    place = f"at {width:.4g} ft wide and {mph:.4g} mph"
    if flow_m3_s is not None:
        rate = rate_per_ha(flow_m3_s, swath_m, speed_m_s)
        gallons = rate * ACRE_M2 / HA_M2 / GAL_M3
        shown = f"5,940 × {flow_m3_s * 60 / GAL_M3:.4g} gal/min {place}"
        return Reckoned({"rate_m3_ha": rate}, (Step(shown, gallons, "gal/acre", ARITHMETIC),))
    rate = rate_per_ha(flow_kg_s or 0.0, swath_m, speed_m_s)
    step = Step(f"flow {place}", rate / LB_ACRE_KG_HA, "lb/acre", ARITHMETIC)
    return Reckoned({"rate_kg_ha": rate}, (step,))


def changed(
    rate_kg_ha: float | None,
    rate_m3_ha: float | None,
    tested_m_s: float | None,
    driven_m_s: float | None,
    tested_swath_m: float | None,
    swath_m: float | None,
) -> Reckoned:
    """Say what a tested rate becomes at another speed or width, the flow staying what it was.

    Parameters
    ----------
    rate_kg_ha, rate_m3_ha
        As tested, by weight [kg/ha] or by volume [m3/ha]; one of the two.
    tested_m_s, driven_m_s
        Speeds [m/s]; both or neither.
    tested_swath_m, swath_m
        Widths [m]; both or neither.

    Returns
    -------
    Reckoned
        ``rate_kg_ha`` or ``rate_m3_ha``, and ``change_pct``.

    Raises
    ------
    InputError
        When neither pair is given, or a figure is not more than zero.

    Notes
    -----
    rate × tested / driven, for speed and width alike. For spreaders whose flow does not follow the wheels.
    """
    liquid = rate_m3_ha is not None
    tested = (rate_m3_ha if liquid else rate_kg_ha) or 0.0
    one, unit = (GAL_M3 * HA_M2 / ACRE_M2, "gal/acre") if liquid else (LB_ACRE_KG_HA, "lb/acre")
    found, steps = tested, []
    positive(rate=tested)
    if tested_m_s is not None and driven_m_s is not None:
        found = rate_at_speed(found, tested_m_s, driven_m_s)
        shown = f"× {tested_m_s * 3600 / MILE_M:.4g} / {driven_m_s * 3600 / MILE_M:.4g} mph"
        steps.append(Step(shown, found / one, unit, ARITHMETIC))
    if tested_swath_m is not None and swath_m is not None:
        positive(tested_swath=tested_swath_m, swath=swath_m)
        found = found * tested_swath_m / swath_m
        shown = f"× {tested_swath_m / FT_M:.4g} / {swath_m / FT_M:.4g} ft"
        steps.append(Step(shown, found / one, unit, ARITHMETIC))
    if not steps:
        what = "neither two speeds nor two widths are given"
        fix = "Give `tested` and `driven`, or `tested swath` and `swath`."
        raise InputError([Problem("change", what, fix)])
    said = "This holds where the flow does not follow the wheels; a ground-driven spreader keeps its rate."
    name = "rate_m3_ha" if liquid else "rate_kg_ha"
    return Reckoned({name: found, "change_pct": 100 * (found / tested - 1)}, tuple(steps), said)


def hour(swath_m: float, speed_m_s: float, efficiency: float) -> Reckoned:
    """Say how much is spread in an hour.

    Parameters
    ----------
    swath_m, speed_m_s
        Working width [m], ground speed [m/s].
    efficiency
        Share of the time that spreads [fraction].

    Returns
    -------
    Reckoned
        ``capacity_m2_h``.

    Raises
    ------
    InputError
        When a figure is out of range.
    """
    found = field_capacity_m2_s(swath_m, speed_m_s, efficiency) * 3600
    shown = f"{swath_m / FT_M:.4g} ft × {speed_m_s * 3600 / MILE_M:.4g} mph × {efficiency:.0%} / 8.25"
    return Reckoned({"capacity_m2_h": found}, (Step(shown, found / ACRE_M2, "acres/hour", _CAPACITY),))


def reach(package: float, rate_per_ha: float, swath_m: float | None) -> Reckoned:
    """Say how far a package goes at a rate.

    Parameters
    ----------
    package, rate_per_ha
        What is in it [kg or m3], and the rate in the same [kg/ha or m3/ha].
    swath_m
        Working width [m]; None = only the area.

    Returns
    -------
    Reckoned
        ``area_m2`` and, with a width, ``length_m``.

    Raises
    ------
    InputError
        When a figure is not more than zero.
    """
    positive(package=package, rate=rate_per_ha)
    area_m2 = package / rate_per_ha * HA_M2
    steps = [Step("package / rate", area_m2 / ACRE_M2, "acres", ARITHMETIC)]
    figures = {"area_m2": area_m2}
    if swath_m is not None:
        positive(swath=swath_m)
        figures["length_m"] = area_m2 / swath_m
        shown = f"that area / {swath_m / FT_M:.4g} ft wide"
        steps.append(Step(shown, area_m2 / swath_m / FT_M, "ft", ARITHMETIC))
    return Reckoned(figures, tuple(steps))


def evenness(catches: Sequence[float]) -> Reckoned:
    """Say how even a row of trays caught.

    Parameters
    ----------
    catches
        What each tray caught, in one unit, from left to right.

    Returns
    -------
    Reckoned
        ``variation_pct`` (sample standard deviation over mean) and the extremes.

    Raises
    ------
    InputError
        When there are fewer than three, one is negative, or nothing was caught.

    Notes
    -----
    Coefficient of variation: standard deviation with n − 1 over the mean. How much is good enough is said by
    the machine's manual and by whoever tests it; no bound is built in.
    """
    if len(catches) < 3:
        what = f"{len(catches)} trays do not show a pattern"
        raise InputError([Problem("even", what, "Give what each of three or more trays caught.")])
    if not all(math.isfinite(one) and one >= 0 for one in catches) or not sum(catches):
        what = "a catch is negative, or all are nothing"
        raise InputError([Problem("even", what, "Weigh the trays again.")])
    mean = statistics.fmean(catches)
    spread = statistics.stdev(catches)
    figures = {
        "variation_pct": 100 * spread / mean,
        "least_pct": 100 * min(catches) / mean,
        "most_pct": 100 * max(catches) / mean,
    }
    steps = (
        Step(f"mean of {len(catches)} trays", mean, "as weighed", USER),
        Step("standard deviation, n − 1", spread, "as weighed", ARITHMETIC),
        Step("standard deviation / mean", 100 * spread / mean, "%", ARITHMETIC),
    )
    return Reckoned(figures, steps)


def tarp(share_of_ton_m2: float | None, rate_kg_ha: float | None, side_m: float) -> Reckoned:
    """Say how large a square tarp is, and what falls on it at a rate.

    Parameters
    ----------
    share_of_ton_m2
        Area wanted [m2]; None = the side is given.
    rate_kg_ha
        Rate aimed at [kg/ha]; None = only the size.
    side_m
        Side of the tarp [m], where no area is wanted.

    Returns
    -------
    Reckoned
        ``side_m``, ``area_m2`` and, with a rate, ``caught_kg``.

    Raises
    ------
    InputError
        When a figure is not more than zero.
    """
    side = math.sqrt(share_of_ton_m2) if share_of_ton_m2 is not None else side_m
    positive(side=side)
    figures = {"side_m": side, "area_m2": side**2}
    steps = [Step("side × side", side**2 / FT_M**2, "sq ft", ARITHMETIC)]
    if rate_kg_ha is not None:
        positive(rate=rate_kg_ha)
        figures["caught_kg"] = rate_kg_ha * side**2 / HA_M2
        pounds = rate_kg_ha / LB_ACRE_KG_HA * side**2 / ACRE_M2
        steps.append(Step("rate × area of the tarp", pounds, "lb", ARITHMETIC))
    said = "On this tarp pounds are tons an acre." if math.isclose(side, TARP_SIDE_M, rel_tol=1e-3) else ""
    return Reckoned(figures, tuple(steps), said)
