"""What a catch on a tarp means, and how rate, width, speed and flow hang together.

It never invents a gate or spreader setting: only calibrations that were logged on this spreader with this
product suggest one.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loamwright.errors import InputError, Problem
from loamwright.units import ACRE_M2, FT_M, HA_M2, LB_ACRE_KG_HA, format_figure, format_mass
from loamwright.values import USER, Step
from loamwright.work.records import Calibration

#: Side of the square tarp on which pounds caught are tons per acre [m]: 56 in, 1/2,000 acre.
TARP_SIDE_M = 56 * FT_M / 12
#: Area on which ounces of liquid caught are gallons per acre [m2]: 1/128 acre, 340.3 sq ft.
COURSE_M2 = ACRE_M2 / 128
#: A spreader counts as calibrated when the test is within this share of the target.
TOLERANCE = 0.05

# ---------------------------------------------------------------------------------------------
# Calibration


def positive(**named: float) -> None:
    """Refuse a figure that is not a finite number over zero, naming it."""
    bad = [
        Problem(f"spreading, {name}", f"{value:g} is not more than zero", "Measure it again, or correct it.")
        for name, value in named.items()
        if not (math.isfinite(value) and value > 0)
    ]
    if bad:
        raise InputError(bad)


def catch_rate_kg_ha(caught_kg: float, catch_area_m2: float) -> float:
    """Work out the rate from what fell on a known area: a tarp, pans, or a measured run.

    References
    ----------
    Iowa State Extension, J. Lorimor, 2001: a 56 in square tarp is 1/2,000 acre, so that pounds on it are
    tons per acre.

    Examples
    --------
    >>> from loamwright.units import LB_KG, TON_ACRE_KG_HA
    >>> round(catch_rate_kg_ha(3 * LB_KG, TARP_SIDE_M**2) / TON_ACRE_KG_HA, 2)
    3.0
    """
    positive(catch_area_m2=catch_area_m2)
    if not (math.isfinite(caught_kg) and caught_kg >= 0):
        raise InputError(
            [Problem("spreading, caught_kg", f"{caught_kg:g} is negative or not a number", "Weigh it again.")]
        )
    return caught_kg / catch_area_m2 * HA_M2


def calibrate(
    calibration_id: str,
    spreader: str,
    product: str,
    setting: str,
    operator: str,
    tested_on: dt.date,
    caught_kg: float,
    catch_area_m2: float,
    swath_m: float | None = None,
    speed_m_s: float | None = None,
    note: str = "",
) -> Calibration:
    """Make the log entry of a catch or tarp test, with the rate that follows.

    Parameters
    ----------
    calibration_id, spreader, product, setting, operator
        As written.
    tested_on
        Date.
    caught_kg, catch_area_m2
        What fell on a known area [kg], [m2].
    swath_m, speed_m_s
        Working width [m] and ground speed [m/s]; None = not noted.
    note
        As written.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        As `catch_rate_kg_ha`.
    """
    return Calibration(
        calibration_id=calibration_id,
        spreader=spreader,
        product=product,
        setting=setting,
        operator=operator,
        tested_on=tested_on,
        swath_m=swath_m,
        speed_m_s=speed_m_s,
        caught_kg=caught_kg,
        catch_area_m2=catch_area_m2,
        rate_kg_ha=catch_rate_kg_ha(caught_kg, catch_area_m2),
        note=note,
    )


def course_length_m(width_m: float, area_m2: float = COURSE_M2) -> float:
    """Work out how far to drive so that a strip of this width has a given area.

    References
    ----------
    LSU AgCenter, Ounces Equal Gallons: at 20 in spacing 340 sq ft take 204 ft.
    """
    positive(width_m=width_m, area_m2=area_m2)
    return area_m2 / width_m


def rate_per_ha(flow_per_s: float, swath_m: float, speed_m_s: float) -> float:
    """Work out the rate from flow, working width and speed; kilograms or cubic metres alike.

    Notes
    -----
    rate = flow / (width × speed). In gallons per minute, inches and miles per hour this is the published
    GPA = 5,940 × GPM / (mph × W).
    """
    positive(flow_per_s=flow_per_s, swath_m=swath_m, speed_m_s=speed_m_s)
    return flow_per_s / (swath_m * speed_m_s) * HA_M2


def flow_per_s(rate_ha: float, swath_m: float, speed_m_s: float) -> float:
    """Work out the flow a rate asks for; kilograms or cubic metres alike."""
    positive(rate_ha=rate_ha, swath_m=swath_m, speed_m_s=speed_m_s)
    return rate_ha / HA_M2 * swath_m * speed_m_s


def rate_at_speed(rate_ha: float, tested_m_s: float, driven_m_s: float) -> float:
    """Work out the rate at another speed, the flow staying what it was.

    Notes
    -----
    rate × tested / driven: a tenth slower is a ninth more. For spreaders whose flow does not follow the
    wheels; a ground-driven one holds its rate.
    """
    positive(tested_m_s=tested_m_s, driven_m_s=driven_m_s)
    return rate_ha * tested_m_s / driven_m_s


def tolerance_band(target: float, tolerance: float = TOLERANCE) -> tuple[float, float]:
    """Give the band a calibration must fall in.

    Examples
    --------
    >>> tolerance_band(5.00)
    (4.75, 5.25)
    """
    return target * (1 - tolerance), target * (1 + tolerance)


def rate_per_pass(rate_ha: float, passes: int = 2) -> float:
    """Divide a rate over passes that cross, usually two at right angles.

    Parameters
    ----------
    rate_ha
        Rate wanted in all [any rate].
    passes
        Number of passes over the same ground [count].

    Returns
    -------
    float
        Rate to set the spreader to, in the unit of `rate_ha`.

    Raises
    ------
    InputError
        When there is less than one pass.
    """
    positive(passes=passes)
    return rate_ha / passes


@dataclass(frozen=True, slots=True)
class SettingToTry:
    """A setting that was tested, and how to come nearer to the target with it.

    Parameters
    ----------
    calibration
        The logged test.
    off_fraction
        Its rate over the target, less one [fraction].
    within_band
        True when it is inside the tolerance band as tested.
    speed_m_s
        Speed at which the same flow gives the target [m/s]; None when the test noted no speed.
    """

    calibration: Calibration
    off_fraction: float
    within_band: bool
    speed_m_s: float | None


@dataclass(frozen=True, slots=True)
class SettingAdvice:
    """Settings worth trying for a rate, nearest first, and what to say with them.

    Parameters
    ----------
    settings
        From the log of this spreader and product only; empty when there is none.
    advice
        One sentence.
    steps
        The logged figures.
    """

    settings: tuple[SettingToTry, ...]
    advice: str
    steps: tuple[Step, ...]


def logged_rates(calibrations: Sequence[Calibration]) -> Mapping[tuple[str, str], tuple[float, ...]]:
    """Give the rates that logged settings gave.

    Parameters
    ----------
    calibrations
        The whole log; of several tests of one setting the newest counts.

    Returns
    -------
    mapping of (spreader, product) to tuple of float
        [kg/ha], as their newest tests write the names.
    """
    newest: dict[tuple[str, str], dict[str, float]] = {}
    for test in sorted(calibrations, key=lambda test: test.tested_on):
        if test.rate_kg_ha > 0:
            newest.setdefault((test.spreader, test.product), {})[test.setting] = test.rate_kg_ha
    return {names: tuple(rates.values()) for names, rates in newest.items()}


def settings_to_try(
    calibrations: Sequence[Calibration],
    spreader: str,
    product: str,
    target_kg_ha: float,
    tolerance: float = TOLERANCE,
) -> SettingAdvice:
    """Suggest settings for a rate from the log; never one that was not tested.

    Parameters
    ----------
    calibrations
        The whole log.
    spreader, product
        Only tests of this spreader with this product count.
    target_kg_ha
        Rate wanted in the pass to be made [kg/ha].
    tolerance
        Band within which a test counts as calibrated [fraction].

    Returns
    -------
    SettingAdvice

    Raises
    ------
    InputError
        When the target is not more than zero.
    """
    positive(target_kg_ha=target_kg_ha)
    low, high = tolerance_band(target_kg_ha, tolerance)
    tests = [
        test
        for test in calibrations
        if test.spreader.casefold() == spreader.casefold()
        and test.product.casefold() == product.casefold()
        and test.rate_kg_ha > 0
    ]
    newest = {test.setting: test for test in sorted(tests, key=lambda test: test.tested_on)}
    nearest = sorted(newest.values(), key=lambda test: (abs(test.rate_kg_ha - target_kg_ha), test.setting))
    settings = tuple(
        SettingToTry(
            test,
            test.rate_kg_ha / target_kg_ha - 1,
            low <= test.rate_kg_ha <= high,
            None if not test.speed_m_s else test.speed_m_s * test.rate_kg_ha / target_kg_ha,
        )
        for test in nearest
    )
    steps = tuple(
        Step(
            f"setting {test.setting}, tested {test.tested_on.isoformat()}: "
            f"{format_mass(test.caught_kg)} on {format_figure(test.catch_area_m2 / FT_M**2)} sq ft",
            test.rate_kg_ha / LB_ACRE_KG_HA,
            "lb/acre",
            USER,
        )
        for test in nearest
    )
    if not settings:
        advice = (
            f"no test of {spreader or 'this spreader'} with {product} is logged: do a tarp test first, "
            "starting low"
        )
    elif settings[0].within_band:
        first = settings[0].calibration.setting
        advice = f"setting {first} was within {tolerance:.0%} of the target when it was tested"
    else:
        below = next((s.calibration.setting for s in settings if s.off_fraction < 0), None)
        above = next((s.calibration.setting for s in settings if s.off_fraction > 0), None)
        if below is not None and above is not None:
            advice = f"the target lies between settings {below} (less) and {above} (more): test between them"
        else:
            beyond = "more" if above is None else "less"
            only = settings[0].calibration.setting
            advice = f"every logged test is off the same way: test a setting that gives {beyond} than {only}"
    return SettingAdvice(settings, advice, steps)
