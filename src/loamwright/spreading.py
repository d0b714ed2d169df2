"""How a rate gets onto the ground: calibration, loads, time, and rounds that visit plots in order.

This file answers: what rate does a catch on a tarp mean; how do rate, width, speed and flow hang
together; how many fills and trips; how long; in which order to visit the plots. It never invents a gate
or spreader setting: only calibrations that were logged on this spreader with this product suggest one.
Straight-line distances stand for driving; tracks, gates and creeks are the operator's to know.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loamwright.answers import PlanLine, PlotArea, Round, Stop
from loamwright.errors import InputError, Problem
from loamwright.routes import tour_length_m, visiting_order
from loamwright.units import (
    ACRE_M2,
    FT_M,
    HA_M2,
    LB_ACRE_KG_HA,
    LB_KG,
    MILE_M,
    format_area,
    format_figure,
    format_length,
    format_mass,
)
from loamwright.values import ARITHMETIC, USER, Calibration, Form, Product, Source, Spreader, Step, Timing

_CAPACITY = Source(
    "Iowa State PM 696, Estimating Field Capacity of Farm Machines", "April 2001", "W·v·e / 8.25"
)

#: Side of the square tarp on which pounds caught are tons per acre [m]: 56 in, 1/2,000 acre.
TARP_SIDE_M = 56 * FT_M / 12
#: Area on which ounces of liquid caught are gallons per acre [m2]: 1/128 acre, 340.3 sq ft.
COURSE_M2 = ACRE_M2 / 128
#: A spreader counts as calibrated when the test is within this share of the target.
TOLERANCE = 0.05

# ---------------------------------------------------------------------------------------------
# Calibration


def _positive(**named: float) -> None:
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

    Parameters
    ----------
    caught_kg
        Product caught [kg]; zero when nothing fell.
    catch_area_m2
        Area it was caught on [m2]: tarp side squared, pans added, or distance × working width.

    Returns
    -------
    float
        Rate [kg/ha].

    Raises
    ------
    InputError
        When the area is not more than zero, or the catch is negative.

    References
    ----------
    Iowa State Extension, J. Lorimor, 2001: a 56 in square tarp is 1/2,000 acre, so that pounds on it are
    tons per acre.

    Examples
    --------
    >>> from loamwright.units import TON_ACRE_KG_HA
    >>> round(catch_rate_kg_ha(3 * LB_KG, TARP_SIDE_M**2) / TON_ACRE_KG_HA, 2)
    3.0
    """
    _positive(catch_area_m2=catch_area_m2)
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

    Parameters
    ----------
    width_m
        Working width, nozzle spacing or row width [m].
    area_m2
        Area of the strip [m2]; 1/128 acre unless said otherwise.

    Returns
    -------
    float
        Distance [m].

    Raises
    ------
    InputError
        When the width or the area is not more than zero.

    References
    ----------
    LSU AgCenter, Ounces Equal Gallons: at 20 in spacing 340 sq ft take 204 ft.
    """
    _positive(width_m=width_m, area_m2=area_m2)
    return area_m2 / width_m


def rate_per_ha(flow_per_s: float, swath_m: float, speed_m_s: float) -> float:
    """Work out the rate from flow, working width and speed; kilograms or cubic metres alike.

    Parameters
    ----------
    flow_per_s
        What leaves the spreader or boom [kg/s or m3/s].
    swath_m
        Working width [m].
    speed_m_s
        Ground speed [m/s].

    Returns
    -------
    float
        Rate [kg/ha or m3/ha].

    Raises
    ------
    InputError
        When a figure is not more than zero.

    Notes
    -----
    rate = flow / (width × speed). In gallons per minute, inches and miles per hour this is the published
    GPA = 5,940 × GPM / (mph × W).
    """
    _positive(flow_per_s=flow_per_s, swath_m=swath_m, speed_m_s=speed_m_s)
    return flow_per_s / (swath_m * speed_m_s) * HA_M2


def flow_per_s(rate_ha: float, swath_m: float, speed_m_s: float) -> float:
    """Work out the flow a rate asks for; kilograms or cubic metres alike.

    Parameters
    ----------
    rate_ha
        Rate [kg/ha or m3/ha].
    swath_m
        Working width [m].
    speed_m_s
        Ground speed [m/s].

    Returns
    -------
    float
        Flow [kg/s or m3/s].

    Raises
    ------
    InputError
        When a figure is not more than zero.
    """
    _positive(rate_ha=rate_ha, swath_m=swath_m, speed_m_s=speed_m_s)
    return rate_ha / HA_M2 * swath_m * speed_m_s


def rate_at_speed(rate_ha: float, tested_m_s: float, driven_m_s: float) -> float:
    """Work out the rate at another speed, the flow staying what it was.

    Parameters
    ----------
    rate_ha
        Rate in the test [any rate].
    tested_m_s, driven_m_s
        Speed in the test and speed driven [m/s].

    Returns
    -------
    float
        Rate, in the unit of `rate_ha`.

    Raises
    ------
    InputError
        When a speed is not more than zero.

    Notes
    -----
    rate × tested / driven: a tenth slower is a ninth more. For spreaders whose flow does not follow the
    wheels; a ground-driven one holds its rate.
    """
    _positive(tested_m_s=tested_m_s, driven_m_s=driven_m_s)
    return rate_ha * tested_m_s / driven_m_s


def tolerance_band(target: float, tolerance: float = TOLERANCE) -> tuple[float, float]:
    """Give the band a calibration must fall in.

    Parameters
    ----------
    target
        Rate wanted [any rate].
    tolerance
        Share either way [fraction]; 0.05 as published by UMass Extension unless said otherwise.

    Returns
    -------
    tuple of float
        Lowest and highest, in the unit of `target`.

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
    _positive(passes=passes)
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
    _positive(target_kg_ha=target_kg_ha)
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


# ---------------------------------------------------------------------------------------------
# Time and loads


def field_capacity_m2_s(swath_m: float, speed_m_s: float, efficiency: float) -> float:
    """Work out the area a machine covers in a second of working time.

    Parameters
    ----------
    swath_m
        Working width [m].
    speed_m_s
        Ground speed [m/s].
    efficiency
        Share of the time that is effective [fraction, up to 1].

    Returns
    -------
    float
        Effective field capacity [m2/s].

    Raises
    ------
    InputError
        When a figure is not more than zero, or the efficiency is over 1.

    Notes
    -----
    width × speed × efficiency; in feet, miles per hour and acres per hour the published W·v·e/8.25.

    References
    ----------
    Iowa State PM 696 (2001) and Ag Decision Maker A3-24.

    Examples
    --------
    A 40 ft spreader at 6 mph and 70 %: printed 20.4 acres an hour:

    >>> per_second = field_capacity_m2_s(40 * FT_M, 6 * MILE_M / 3600, 0.70)
    >>> round(per_second * 3600 / ACRE_M2, 2)
    20.36
    """
    _positive(swath_m=swath_m, speed_m_s=speed_m_s, efficiency=efficiency)
    if efficiency > 1:
        raise InputError(
            [
                Problem(
                    "spreading, efficiency",
                    f"{efficiency:g} is more than 1",
                    "Write it as a share of the time, for example 0.7.",
                )
            ]
        )
    return swath_m * speed_m_s * efficiency


@dataclass(frozen=True, slots=True)
class Loads:
    """Fills and trips for an amount of product.

    Parameters
    ----------
    fill_kg
        Product in a full fill [kg]: whole packages when the hopper takes at least one.
    fills
        Hopper fills [count].
    last_fill_kg
        Product in the last fill [kg].
    packages_per_fill
        Whole packages in a full fill [count]; None when not counted in packages.
    trip_kg, trips
        Product in a full trip [kg] and trips [count]; None when the vehicle's load is not stated.
    steps
        How it was reached.
    """

    fill_kg: float
    fills: int
    last_fill_kg: float
    packages_per_fill: int | None
    trip_kg: float | None
    trips: int | None
    steps: tuple[Step, ...]


def _whole_packages(capacity_kg: float, package_kg: float | None) -> tuple[float, int | None]:
    """What a hopper takes [kg], in whole packages where at least one fits."""
    if package_kg is None or package_kg > capacity_kg * (1 + 1e-9):
        return capacity_kg, None
    count = math.floor(capacity_kg / package_kg + 1e-9)
    return count * package_kg, count


def plan_loads(
    total_kg: float, spreader: Spreader, package_kg: float | None = None, package: str = "package"
) -> Loads | None:
    """Work out fills and trips for an amount of product.

    Parameters
    ----------
    total_kg
        Product to spread [kg].
    spreader
        What its hopper and vehicle hold. When only the vehicle's load is stated, a fill is taken as one
        vehicle load, and a step says so.
    package_kg
        Mass of a package [kg]; None for bulk.
    package
        The package as written.

    Returns
    -------
    Loads or None
        None when neither hopper nor vehicle is stated.

    Raises
    ------
    InputError
        When the amount, a capacity or the package is not more than zero.
    """
    hopper_kg, vehicle_kg = spreader.hopper_kg, spreader.vehicle_kg
    stated = {"hopper_kg": hopper_kg, "vehicle_kg": vehicle_kg, "package_kg": package_kg}
    _positive(total_kg=total_kg, **{name: value for name, value in stated.items() if value is not None})
    limits = [kg for kg in (hopper_kg, vehicle_kg) if kg is not None]
    if not limits:
        return None
    fill_kg, per_fill = _whole_packages(min(limits), package_kg)
    fills = math.ceil(total_kg / fill_kg - 1e-9)
    last_kg = total_kg - (fills - 1) * fill_kg
    steps = []
    if hopper_kg is None:
        steps.append(Step("hopper not stated; a fill is taken as", "one vehicle load", "", USER))
    if per_fill is not None and package_kg is not None:
        steps.append(
            Step(
                f"{spreader.name} takes {format_mass(min(limits))}, {per_fill} × {package or 'package'}",
                fill_kg / LB_KG,
                "lb a fill",
                USER,
            )
        )
    else:
        steps.append(Step(f"{spreader.name} takes a fill of", fill_kg / LB_KG, "lb", USER))
    steps.append(
        Step(
            f"{format_mass(total_kg)} ÷ {format_mass(fill_kg)} a fill, last one {format_mass(last_kg)}",
            float(fills),
            "fills",
            ARITHMETIC,
        )
    )
    trip_kg = trips = None
    if vehicle_kg is not None:
        trip_kg, _count = _whole_packages(vehicle_kg, package_kg)
        trips = math.ceil(total_kg / trip_kg - 1e-9)
        steps.append(
            Step(
                f"{format_mass(total_kg)} ÷ {format_mass(trip_kg)} a trip", float(trips), "trips", ARITHMETIC
            )
        )
    return Loads(fill_kg, fills, last_kg, per_fill, trip_kg, trips, tuple(steps))


# ---------------------------------------------------------------------------------------------
# Rounds


def spreader_for(product: Product | None, spreaders: Sequence[Spreader]) -> Spreader | None:
    """Choose the first spreader a product names that the property has.

    Parameters
    ----------
    product
        The product; None when it is not in the list.
    spreaders
        Equipment of the property.

    Returns
    -------
    Spreader or None
        None when the product names none, or none that the property has.
    """
    owned = {spreader.name.casefold(): spreader for spreader in spreaders}
    names = () if product is None else product.equipment
    return next((owned[name.casefold()] for name in names if name.casefold() in owned), None)


def plan_rounds(
    lines: Sequence[PlanLine],
    areas: Mapping[str, PlotArea],
    places: Mapping[str, tuple[float, float]],
    products: Sequence[Product],
    spreaders: Sequence[Spreader],
    start: tuple[float, float] | None = None,
) -> tuple[Round, ...]:
    """Group a plan's lines into rounds: one product, one timing, one spreader, plots in driving order.

    Parameters
    ----------
    lines
        The passes to make.
    areas
        By plot_id; a plot missing here leaves the time unknown.
    places
        plot_id → (x, y) of the plot in metres; a plot missing here comes last, in the order given.
    products
        Labels; they name the equipment.
    spreaders
        Equipment of the property.
    start
        Where rounds begin and fill up (x, y) [m]; None = at the first plot.

    Returns
    -------
    tuple of Round
        In calendar order, lime first within a timing; rounds of any timing come last.

    Notes
    -----
    Every fill is a full one until the last; `load` is the fill from which a stop begins. What is left on
    the vehicle is counted to the end of the trip where the vehicle's load is stated, else of the fill.
    """
    labels = {product.product: product for product in products}
    groups: dict[tuple[Timing | None, str, str], list[PlanLine]] = {}
    for line in lines:
        if line.mass_kg > 0:
            spreader = spreader_for(labels.get(line.product), spreaders)
            groups.setdefault((line.timing, line.product, spreader.name if spreader else ""), []).append(line)
    owned = {spreader.name: spreader for spreader in spreaders}
    calendar: list[Timing | None] = [*Timing, None]

    def when(key: tuple[Timing | None, str, str]) -> tuple[int, bool, str, str]:
        product = labels.get(key[1])
        return calendar.index(key[0]), product is None or product.form is not Form.LIME, key[1], key[2]

    rounds: list[Round] = []
    for key in sorted(groups, key=when):
        made = _round(key, groups[key], areas, places, owned.get(key[2]), start)
        taken = sum(other.round_id == made.round_id for other in rounds)
        rounds.append(replace(made, round_id=f"{made.round_id}-{taken + 1}") if taken else made)
    return tuple(rounds)


def _round(
    key: tuple[Timing | None, str, str],
    lines: Sequence[PlanLine],
    areas: Mapping[str, PlotArea],
    places: Mapping[str, tuple[float, float]],
    spreader: Spreader | None,
    start: tuple[float, float] | None,
) -> Round:
    """Order one group of lines and cut it into loads."""
    timing, product, _name = key
    placed = [line for line in lines if line.plot_id in places]
    order = visiting_order([places[line.plot_id] for line in placed], start)
    ordered = [placed[i] for i in order] + [line for line in lines if line.plot_id not in places]
    total_kg = sum(line.mass_kg for line in ordered)
    count = "1 stop" if len(ordered) == 1 else f"{len(ordered)} stops"
    steps = [Step(f"product for {count}", total_kg / LB_KG, "lb", ARITHMETIC)]
    package = ordered[0].package
    sizes = {round(line.mass_kg / line.packages, 9) for line in ordered if line.packages}
    same_package = len(sizes) == 1 and all(line.packages and line.package == package for line in ordered)
    loads = None
    if spreader is not None:
        loads = plan_loads(total_kg, spreader, sizes.pop() if same_package else None, package)
        steps.extend(loads.steps if loads else ())
    hours, time_steps = _hours(ordered, areas, spreader)
    steps.extend(time_steps)
    if len(placed) == len(ordered):
        way_m = tour_length_m([places[line.plot_id] for line in ordered], start)
        steps.append(
            Step("way between the stops and back, in straight lines", way_m / MILE_M, "miles", ARITHMETIC)
        )
    else:
        lost = ", ".join(line.plot_id for line in ordered[len(placed) :])
        steps.append(Step("way between the stops", f"unknown: no place for {lost}, put last", "", USER))
    words = [product, timing.value if timing else "any time", spreader.name if spreader else ""]
    slug = re.sub(r"[^a-z0-9]+", "-", " ".join(words).casefold()).strip("-")
    return Round(
        round_id=f"round-{slug}",
        title=", ".join(word for word in words if word),
        product=product,
        timing=timing,
        spreader=spreader.name if spreader else "",
        stops=_stops(ordered, loads),
        loads=loads.fills if loads else None,
        trips=loads.trips if loads else None,
        last_load_kg=loads.last_fill_kg if loads else None,
        hours=hours,
        steps=tuple(steps),
    )


def _stops(lines: Sequence[PlanLine], loads: Loads | None) -> tuple[Stop, ...]:
    stops = []
    total_kg = sum(line.mass_kg for line in lines)
    spread_kg = 0.0
    for line in lines:
        load, left_kg = 1, None
        if loads is not None:
            load = min(loads.fills, math.floor(spread_kg / loads.fill_kg + 1e-9) + 1)
            carried_kg = loads.trip_kg or loads.fill_kg
            after_kg = min(spread_kg + line.mass_kg, total_kg)
            brought_kg = min(math.ceil(after_kg / carried_kg - 1e-9) * carried_kg, total_kg)
            left_kg = max(0.0, brought_kg - after_kg)
        spread_kg += line.mass_kg
        stops.append(
            Stop(
                plot_id=line.plot_id,
                line_id=line.line_id,
                product=line.product,
                mass_kg=line.mass_kg,
                packages=line.packages,
                package=line.package,
                rate_kg_ha=line.rate_kg_ha,
                load=load,
                left_on_vehicle_kg=left_kg,
            )
        )
    return tuple(stops)


def _hours(
    lines: Sequence[PlanLine], areas: Mapping[str, PlotArea], spreader: Spreader | None
) -> tuple[float | None, tuple[Step, ...]]:
    """Working time of a round by effective field capacity, or None when something is not stated."""
    if spreader is None or any(line.plot_id not in areas for line in lines):
        return None, ()
    swath_m, speed_m_s, efficiency = spreader.swath_m, spreader.speed_m_s, spreader.field_efficiency
    if not (swath_m and speed_m_s and efficiency):
        return None, ()
    area_m2 = sum(areas[line.plot_id].spread_area_m2 for line in lines)
    per_s = field_capacity_m2_s(swath_m, speed_m_s, efficiency)
    hours = area_m2 / per_s / 3600
    capacity = Step(
        f"{format_length(swath_m)} × {format_figure(speed_m_s / MILE_M * 3600)} mph × {efficiency:g} ÷ 8.25",
        per_s * 3600 / ACRE_M2,
        "acres an hour",
        _CAPACITY,
    )
    time = Step(
        f"{format_area(area_m2)} ÷ {format_figure(per_s * 3600 / ACRE_M2)} acres an hour, one pass, "
        "without driving between plots",
        hours,
        "hours",
        ARITHMETIC,
    )
    return hours, (capacity, time)
