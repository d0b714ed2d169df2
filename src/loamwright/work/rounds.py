"""Loads, time, and rounds that visit plots in order.

This file answers: how many fills and trips; how long; in which order to visit the plots. Between plots that
drawn ways join, one drives along them; between others a straight line stands for driving, and what it crosses
that is kept out is said.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from loamwright.errors import InputError, Problem
from loamwright.land import PlotArea, WaysIn
from loamwright.planning import PlanLine
from loamwright.supplies import Form, Product
from loamwright.units import (
    ACRE_M2,
    LB_KG,
    MILE_M,
    format_area,
    format_figure,
    format_length,
    format_mass,
)
from loamwright.values import ARITHMETIC, BOUNDARY, USER, Source, Spreader, Step, Timing
from loamwright.words import mass_words
from loamwright.work.calibration import positive
from loamwright.work.ground import ground_m2
from loamwright.work.records import Round, Stop

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray


_CAPACITY = Source(
    "Iowa State PM 696, Estimating Field Capacity of Farm Machines", "April 2001", "W·v·e / 8.25"
)


# ---------------------------------------------------------------------------------------------
# Which round is meant


def find_round(rounds: Sequence[Round], asked: str) -> Round:
    """Find a round by what a person calls it.

    Parameters
    ----------
    rounds
        The rounds of a plan, in the order they are numbered on phone, paper and command line: from 1.
    asked
        Number, id or title, in any case.

    Returns
    -------
    Round

    Raises
    ------
    InputError
        When there is none; it lists those there are.
    """
    wanted = asked.strip().casefold()
    for number, one in enumerate(rounds, 1):
        if wanted in (str(number), f"round {number}", one.round_id.casefold(), one.title.casefold()):
            return one
    known = "; ".join(f"{number} = {one.title}" for number, one in enumerate(rounds, 1))
    fix = f"Give its number: {known}." if known else "Make a plan first: it has none yet."
    raise InputError([Problem("round", f"there is no round {asked!r}", fix)])


# ---------------------------------------------------------------------------------------------
# Time and loads


def field_capacity_m2_s(swath_m: float, speed_m_s: float, efficiency: float) -> float:
    """Work out the area a machine covers in a second of working time.

    Notes
    -----
    width × speed × efficiency; in feet, miles per hour and acres per hour the published W·v·e/8.25.

    References
    ----------
    Iowa State PM 696 (2001) and Ag Decision Maker A3-24.

    Examples
    --------
    A 40 ft spreader at 6 mph and 70 %: printed 20.4 acres an hour:

    >>> from loamwright.units import ACRE_M2, FT_M, MILE_M
    >>> per_second = field_capacity_m2_s(40 * FT_M, 6 * MILE_M / 3600, 0.70)
    >>> round(per_second * 3600 / ACRE_M2, 2)
    20.36
    """
    positive(swath_m=swath_m, speed_m_s=speed_m_s, efficiency=efficiency)
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
    """Work out fills and trips for an amount of product."""
    hopper_kg, vehicle_kg = spreader.hopper_kg, spreader.vehicle_kg
    stated = {"hopper_kg": hopper_kg, "vehicle_kg": vehicle_kg, "package_kg": package_kg}
    positive(total_kg=total_kg, **{name: value for name, value in stated.items() if value is not None})
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
    """Choose the first spreader a product names that the property has."""
    owned = {spreader.name.casefold(): spreader for spreader in spreaders}
    names = () if product is None else product.equipment
    return next((owned[name.casefold()] for name in names if name.casefold() in owned), None)


#: Between the products of a mixed load.
MIXED = " + "


def plan_rounds(
    lines: Sequence[PlanLine],
    areas: Mapping[str, PlotArea],
    places: Mapping[str, tuple[float, float]],
    products: Sequence[Product],
    spreaders: Sequence[Spreader],
    start: tuple[float, float] | None = None,
    ways: WaysIn | None = None,
) -> tuple[Round, ...]:
    """Group a plan's jobs into rounds: one kind of load, one timing, one spreader, plots in driving order.

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
    ways
        The drawn ways between plots; None = straight lines only.

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
    owned = {spreader.name: spreader for spreader in spreaders}
    loads: dict[tuple[str, Timing | None], list[PlanLine]] = {}
    for line in lines:
        if line.mass_kg > 0:
            loads.setdefault((line.job_id or line.line_id, line.timing), []).append(line)
    groups: dict[tuple[Timing | None, str, str], list[PlanLine]] = {}
    for load in loads.values():
        mixed = MIXED.join(sorted(line.product for line in load))
        spreader = owned.get(load[0].spreader) or spreader_for(labels.get(load[0].product), spreaders)
        key = (load[0].timing, mixed, spreader.name if spreader else "")
        groups.setdefault(key, []).extend(sorted(load, key=lambda line: line.product))
    calendar: list[Timing | None] = [*Timing, None]

    def when(key: tuple[Timing | None, str, str]) -> tuple[int, bool, str, str]:
        product = labels.get(key[1])
        return calendar.index(key[0]), product is None or product.form is not Form.LIME, key[1], key[2]

    rounds: list[Round] = []
    for key in sorted(groups, key=when):
        made = _round(key, groups[key], areas, places, owned.get(key[2]), start, ways)
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
    ways: WaysIn | None,
) -> Round:
    """Order one group of lines and cut it into loads."""
    timing, product, _name = key
    plots = list(dict.fromkeys(line.plot_id for line in lines))
    placed = [plot for plot in plots if plot in places]
    along_m = {} if ways is None else _along_m(ways, placed, spreader)
    number = {plot: place for place, plot in enumerate(placed)}
    known_m = {(number[one], number[other]): length_m for (one, other), length_m in along_m.items()}
    order = [placed[i] for i in visiting_order([places[plot] for plot in placed], start, known_m)]
    lost = [plot for plot in plots if plot not in places]
    ordered = [line for plot in (*order, *lost) for line in lines if line.plot_id == plot]
    total_kg = sum(line.mass_kg for line in ordered)
    count = "1 stop" if len(plots) == 1 else f"{len(plots)} stops"
    steps = [Step(f"product for {count}", total_kg / LB_KG, "lb", ARITHMETIC)]
    package = ordered[0].package
    sizes = {round(line.mass_kg / line.packages, 9) for line in ordered if line.packages}
    same_package = len(sizes) == 1 and all(line.packages and line.package == package for line in ordered)
    loads = fills = None
    if MIXED in product:  # each plot has its own mix, made up in even fills
        hopper_kg = hopper_of(spreader)
        if hopper_kg is not None:
            on = [sum(line.mass_kg for line in ordered if line.plot_id == plot) for plot in plots]
            fills = sum(fills_of(kg, hopper_kg) for kg in on)
            what = f"even fills of up to {format_mass(hopper_kg)}, plot by plot"
            steps.append(Step(what, float(fills), "fills", ARITHMETIC))
    elif spreader is not None:
        loads = plan_loads(total_kg, spreader, sizes.pop() if same_package else None, package)
        steps.extend(loads.steps if loads else ())
        fills = loads.fills if loads else None
    hours, time_steps = _hours(ordered, areas, spreader)
    steps.extend(time_steps)
    if not lost:
        steps.extend(_way_steps(order, places, start, along_m, ways))
    else:
        unplaced = f"unknown: no place for {', '.join(lost)}, put last"
        steps.append(Step("way between the stops", unplaced, "", USER))
    words = [product, timing.value if timing else "any time", spreader.name if spreader else ""]
    slug = re.sub(r"[^a-z0-9]+", "-", " ".join(words).casefold()).strip("-")
    return Round(
        round_id=f"round-{slug}",
        title=", ".join(word for word in words if word),
        product=product,
        timing=timing,
        spreader=spreader.name if spreader else "",
        stops=_stops(ordered, loads),
        loads=fills,
        trips=loads.trips if loads else None,
        last_load_kg=loads.last_fill_kg if loads else None,
        hours=hours,
        steps=tuple(steps),
    )


def _stops(lines: Sequence[PlanLine], loads: Loads | None) -> tuple[Stop, ...]:
    stops = []
    total_kg = sum(line.mass_kg for line in lines)
    spread_kg = 0.0
    rate: dict[str, float] = {}
    for line in lines:
        rate[line.plot_id] = rate.get(line.plot_id, 0.0) + line.rate_kg_ha
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
                load_rate_kg_ha=rate[line.plot_id],
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
    area_m2 = sum({line.plot_id: ground_m2(line, areas) for line in lines}.values())
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


#: Changes that save less than this are rounding, not shortening [m].
_LEAST_GAIN_M = 1e-6


def visiting_order(
    places: Sequence[tuple[float, float]],
    start: tuple[float, float] | None = None,
    along_m: Mapping[tuple[int, int], float] = MappingProxyType({}),
) -> tuple[int, ...]:
    """Put places in an order that is short to drive, from the start and back to it.

    `along_m` is the way between two places where it is known; between others the straight line stands for it.

    Notes
    -----
    Nearest neighbour, then stretches reversed (2-opt) and single stops moved as long as that shortens the
    tour. Good, not proved shortest; it is, in straight lines and with the places in convex position.
    """
    import numpy as np

    if not places:
        return ()
    points = np.array([places[0] if start is None else start, *places], dtype=float)
    far_m = np.hypot(*(points[:, None, :] - points[None, :, :]).transpose(2, 0, 1))
    for (one, other), length_m in along_m.items():
        far_m[one + 1, other + 1] = length_m
        if start is None and one == 0:  # the round begins at the first place
            far_m[0, other + 1] = far_m[other + 1, 0] = length_m
    left = set(range(1, len(points)))
    tour = [0]
    while left:
        here = far_m[tour[-1]]
        tour.append(min(left, key=lambda i: (here[i], i)))
        left.discard(tour[-1])
    while _reverse_stretches(tour, far_m) or _move_stops(tour, far_m):
        pass
    return tuple(i - 1 for i in tour[1:])


def _reverse_stretches(tour: list[int], far_m: NDArray[float64]) -> bool:
    """Reverse stretches where that shortens the tour (2-opt); tell whether anything was changed."""
    import numpy as np

    changed = False
    for i in range(len(tour) - 2):
        path = np.array([*tour[i + 1 :], tour[0]])  # where stretches i+1 … j may end, then the way back
        ends, after = path[:-1], path[1:]
        before_m = far_m[tour[i], path[0]] + far_m[ends, after]
        after_m = far_m[tour[i], ends] + far_m[path[0], after]
        gain_m = before_m - after_m
        best = int(np.argmax(gain_m))
        if gain_m[best] > _LEAST_GAIN_M:
            stop = i + 1 + best
            tour[i + 1 : stop + 1] = tour[i + 1 : stop + 1][::-1]
            changed = True
    return changed


def _move_stops(tour: list[int], far_m: NDArray[float64]) -> bool:
    """Move single stops to a better place in the tour; tell whether anything was changed."""
    import numpy as np

    changed = False
    for place in tour[1:]:
        at = tour.index(place)
        rest = np.array([*tour[:at], *tour[at + 1 :]])
        to_m = far_m[rest, place]
        added_m = to_m + np.roll(to_m, -1) - far_m[rest, np.roll(rest, -1)]  # put after each stop of the rest
        best = int(np.argmin(added_m))
        if added_m[at - 1] - added_m[best] > _LEAST_GAIN_M:
            tour[:] = [*rest[: best + 1].tolist(), place, *rest[best + 1 :].tolist()]
            changed = True
    return changed


def _along_m(
    ways: WaysIn, plots: Sequence[str], spreader: Spreader | None
) -> Mapping[tuple[str, str], float]:
    """The way between plots that drawn ways join, for the vehicle with what it carries [m]."""
    if spreader is None:
        return ways.lengths_m(plots)
    return ways.lengths_m(plots, spreader.vehicle_kg or spreader.hopper_kg, spreader.width_m)


def _way_steps(
    order: Sequence[str],
    places: Mapping[str, tuple[float, float]],
    start: tuple[float, float] | None,
    along_m: Mapping[tuple[str, str], float],
    ways: WaysIn | None,
) -> Iterator[Step]:
    """Say how long the way between the stops is, and what its straight lines cross."""
    legs = list(pairwise([*order, order[0]] if start is None else order))
    straight = [leg for leg in legs if leg not in along_m and leg[0] != leg[1]]
    straight_m = sum(math.dist(places[one], places[other]) for one, other in straight)
    if start is not None:
        straight_m += math.dist(start, places[order[0]]) + math.dist(places[order[-1]], start)
    driven_m = sum(along_m.get(leg, 0.0) for leg in legs)
    back = "way between the stops and back"
    if driven_m:
        yield Step(f"{back}, along the drawn ways", driven_m / MILE_M, "miles", BOUNDARY)
    if straight_m or (straight and not driven_m):
        rest = f"the rest of the {back}" if driven_m else back
        yield Step(f"{rest}, in straight lines", straight_m / MILE_M, "miles", ARITHMETIC)
    seen = set()
    for one, other in straight:
        names = () if ways is None else ways.crossed(one, other)
        if names and frozenset((one, other)) not in seen:
            seen.add(frozenset((one, other)))
            what = f"no drawn way from {one} to {other}, and the straight line crosses"
            yield Step(what, f"{', '.join(names)}: cross only where one may", "", BOUNDARY)


def load_words(round_: Round) -> tuple[str, ...]:
    """Say which hopper fills each stop of a round uses.

    Parameters
    ----------
    round_
        The round.

    Returns
    -------
    tuple of str
        ``"4"``, or ``"4–6"`` when the hopper is filled again on the way; empty texts when the hopper's
        size is not stated, or each plot has a mix of its own.

    Notes
    -----
    A stop begins with the fill of its own number and ends with the one the next stop begins with.
    """
    if round_.loads is None or round_.last_load_kg is None:
        return tuple("" for _ in round_.stops)
    first = [stop.load for stop in round_.stops]
    last = [*first[1:], round_.loads]
    return tuple(str(a) if a >= b else f"{a}–{b}" for a, b in zip(first, last, strict=True))


def brought_kg(round_: Round) -> tuple[float, ...]:
    """Work out what the vehicle has to bring for each stop of a round.

    Parameters
    ----------
    round_
        The round.

    Returns
    -------
    tuple of float
        Product [kg]; zero when what is on the vehicle is enough, or is not known.

    Notes
    -----
    Brought = left after the stop + spread on it − left before it.
    """
    brought = []
    before_kg: float | None = 0.0
    for stop in round_.stops:
        after_kg = stop.left_on_vehicle_kg
        more_kg = 0.0
        if before_kg is not None and after_kg is not None:
            more_kg = after_kg + stop.mass_kg - before_kg
        brought.append(more_kg if more_kg > 0.001 * stop.mass_kg else 0.0)
        before_kg = after_kg
    return tuple(brought)


def places_of(round_: Round) -> tuple[tuple[tuple[Stop, str, float], ...], ...]:
    """Put together what goes on each plot of a round: of a mixed load, every product of it.

    Parameters
    ----------
    round_
        The round.

    Returns
    -------
    tuple of tuple of (Stop, str, float)
        Plot by plot in visiting order; each product with its words of `load_words` and its `brought_kg` [kg].
    """
    by_plot: dict[str, list[tuple[Stop, str, float]]] = {}
    for one in zip(round_.stops, load_words(round_), brought_kg(round_), strict=True):
        by_plot.setdefault(one[0].plot_id, []).append(one)
    return tuple(map(tuple, by_plot.values()))


def hopper_of(spreader: Spreader | None) -> float | None:
    """Return what goes into one fill of a spreader [kg]; None when neither hopper nor vehicle is stated.

    Parameters
    ----------
    spreader
        The spreader, or None when it is not chosen.

    Returns
    -------
    float or None
    """
    held = [kg for kg in (spreader.hopper_kg, spreader.vehicle_kg) if kg] if spreader else []
    return min(held) if held else None


def fills_of(total_kg: float, hopper_kg: float) -> int:
    """Count the even fills an amount takes.

    Parameters
    ----------
    total_kg, hopper_kg
        The amount, and what one fill holds [kg].

    Returns
    -------
    int
    """
    return math.ceil(total_kg / hopper_kg - 1e-9)


def recipe_words(stops: Sequence[Stop], left: Sequence[float], hopper_kg: float | None, system: str) -> str:
    """Say how a mixed load is made up: as many even fills as the hopper needs, each with its share of all.

    Parameters
    ----------
    stops
        The products of the mix on one plot.
    left
        What is still to put on of each [kg].
    hopper_kg
        What one fill holds [kg], or None when it is not stated.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
        Empty when nothing is mixed, or nothing left.
    """
    total_kg = math.fsum(left)
    if len(stops) < 2 or not total_kg:
        return ""
    if hopper_kg is None:
        return "What the hopper holds is not stated: mix each fill in the same shares as the amounts here."
    fills = fills_of(total_kg, hopper_kg)
    shares = " + ".join(
        f"{mass_words(kg / fills, system)} {stop.product}" for stop, kg in zip(stops, left, strict=True) if kg
    )
    said = "1 fill" if fills == 1 else f"{fills} even fills, each"
    return f"{said}: {shares} = {mass_words(total_kg / fills, system)}"
