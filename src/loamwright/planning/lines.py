"""What does the plan say? Passes with their steps, shopping, coverage and costs to the cent.

This file turns the amounts the solver found into the records that travel. Money is added up here in
`Decimal` from whole counts and prices, and supply is added up again in plain Python from the label's
contents: nothing of the solver's own arithmetic reaches the reader. It chooses nothing.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

import numpy as np

from loamwright.money import format_money
from loamwright.planning.inputs import (
    TIMING_ORDER,
    Machine,
    PlanPlot,
    Request,
    Ware,
    amount_text,
    band_of,
    fill_cost_per_kg,
    ground_ha,
    half_bucket_kg,
    is_fetched,
    is_lime,
    known_kg,
    loads_of,
    lowest_rate_kg_ha,
    machines_of,
    need_values,
    serving,
)
from loamwright.planning.model import PlanModel, Solution
from loamwright.planning.packages import seller_of
from loamwright.planning.passes import TIMES
from loamwright.planning.records import Coverage, Job, Plan, PlanLine, Purchase
from loamwright.supplies import Offer, Product
from loamwright.units import ACRE_M2, HA_M2, LB_ACRE_KG_HA, LB_KG, format_figure
from loamwright.values import ARITHMETIC, LABEL, Step, Supply, Timing

_CENT = Decimal("0.01")
#: Two amounts this close are the same amount [fraction].
SAME = 1e-6


def cents(amount: Decimal) -> Decimal:
    """Round money to the cent, half up."""
    return amount.quantize(_CENT, ROUND_HALF_UP)


@dataclass(frozen=True, slots=True)
class Bought:
    """Shopping of a plan with the money that is not on a price tag.

    Parameters
    ----------
    buy
        One entry per offer bought or taken from stock.
    delivery
        Seller to delivery fee [money].
    hauling, handling
        Offer id to cost [money].
    loads
        (machine, product) to whole loads it brings [count] and their cost [money].
    hauls
        Seller to ways there and back [count] and their cost [money].
    """

    buy: tuple[Purchase, ...]
    delivery: Mapping[str, Decimal]
    hauling: Mapping[str, Decimal]
    handling: Mapping[str, Decimal]
    loads: Mapping[tuple[str, str], tuple[int, Decimal]]
    hauls: Mapping[str, tuple[int, Decimal]]

    @property
    def brought(self) -> Decimal:
        """What bringing it all to the property costs [money]."""
        parts = (*self.delivery.values(), *self.hauling.values())
        whole = (*self.loads.values(), *self.hauls.values())
        return sum((*parts, *(cost for _count, cost in whole)), Decimal("0.00"))


@dataclass(frozen=True, slots=True)
class Spread:
    """So much of a product on a plot at a time, without its words.

    Parameters
    ----------
    plot_id, product, timing
        Where, what, when.
    mass_kg
        Product [kg].
    machine, trip
        With which machine, and in which trip; an empty trip is found when the plan is written.
    """

    plot_id: str
    product: str
    timing: Timing | None
    mass_kg: float
    machine: str = ""
    trip: str = ""


# ---------------------------------------------------------------------------------------------
# From columns to amounts


def spreads(plan_model: PlanModel, solution: Solution) -> tuple[Spread, ...]:
    """Name the passes a solution makes.

    Where there are more products at any time than a plot takes at once, the last of them by name are put at
    dated times that have room.
    """
    request, passes = plan_model.request, plan_model.passes
    machines = machines_of(request.terms)
    lime = {ware.product.product for ware in request.wares if is_lime(ware)}
    merged: dict[tuple[int, int, int], Spread] = {}
    for i in np.flatnonzero(solution.mass_kg > 0):
        key = (int(passes.plot[i]), int(passes.ware[i]), int(passes.time[i]))
        job = int(passes.job[i])
        if key in merged:  # in two loads of one day: both trips are made, one of them takes it all
            merged[key] = replace(merged[key], mass_kg=merged[key].mass_kg + float(solution.mass_kg[i]))
            continue
        merged[key] = Spread(
            request.plots[key[0]].plot_id,
            request.wares[key[1]].product.product,
            TIMES[key[2]],
            float(solution.mass_kg[i]),
            machines[passes.jobs.machine[job]].name,
            f"{job}",
        )
    found = list(merged.values())
    by_plot: dict[str, list[Spread]] = {}
    for one in sorted(found, key=lambda one: (one.plot_id, TIMING_ORDER[one.timing], one.product)):
        by_plot.setdefault(one.plot_id, []).append(one)
    dated: dict[str, set[Timing]] = {}
    for plot, ware, time in zip(passes.plot, passes.ware, passes.time, strict=True):
        timing = TIMES[time]
        if timing is not None and request.wares[ware].product.product not in lime:
            dated.setdefault(request.plots[plot].plot_id, set()).add(timing)
    most = request.terms.max_products_per_plot
    placed = [
        one
        for plot_id, lines in by_plot.items()
        for one in (lines if most is None else _placed(lines, lime, most, dated.get(plot_id, set())))
    ]
    return tuple(sorted(placed, key=lambda one: (one.plot_id, TIMING_ORDER[one.timing], one.product)))


def _placed(lines: Sequence[Spread], lime: set[str], most: int, dated: set[Timing]) -> list[Spread]:
    """Put what does not fit at any time at the plot's dated times, the earliest with room."""
    loose = [one for one in lines if one.timing is None and one.product not in lime]
    taken = dict.fromkeys(sorted(dated, key=TIMING_ORDER.__getitem__), 0)
    for one in lines:
        if one.timing in taken and one.product not in lime:
            taken[one.timing] += 1
    moved = {}
    for one in loose[most:]:
        timing = next((time for time, number in taken.items() if number < most), None)
        if timing is not None:
            taken[timing] += 1
            moved[one.product] = timing
    return [
        replace(one, timing=moved[one.product], trip="")
        if one.timing is None and one.product in moved
        else one
        for one in lines
    ]


def counts(plan_model: PlanModel, solution: Solution) -> dict[str, tuple[Decimal, Decimal, float]]:
    """Read how many packages of which offer a solution buys."""
    bought: dict[str, tuple[Decimal, Decimal, float]] = {}
    for tier, units in zip(plan_model.tiers, solution.units, strict=True):
        offer = plan_model.request.offers[tier.offer]
        if tier.whole:
            number = round(float(units))
            packages = Decimal(number)
            if tier.packages_per_unit != 1.0 and offer.increment_kg and offer.package_kg:
                packages = packages * Decimal(str(offer.increment_kg)) / Decimal(str(offer.package_kg))
        else:
            packages = Decimal(math.ceil(min(float(units) * 10_000, 1e15) - 1e-4)) / 10_000
        if packages > 0:
            assert offer.package_kg is not None
            bought[offer.offer_id] = (packages, tier.price, float(packages) * offer.package_kg)
    return bought


def spreads_of(plan: Plan) -> tuple[Spread, ...]:
    """Take the amounts out of a plan that is already written."""
    return tuple(
        Spread(line.plot_id, line.product, line.timing, line.mass_kg, line.spreader, line.job_id)
        for line in plan.lines
    )


# ---------------------------------------------------------------------------------------------
# Trips


def trips(request: Request, passes: Sequence[Spread]) -> dict[str, list[Spread]]:
    """Group passes into trips: the trips they already have, the rest into loads that may be mixed."""
    grouped: dict[str, list[Spread]] = {}
    ground = _Ground(request)
    for one in passes:
        if one.trip:
            grouped.setdefault(one.trip, []).append(one)
    loose = sorted(
        (one for one in passes if not one.trip),
        key=lambda one: (one.plot_id, TIMING_ORDER[one.timing], one.product),
    )
    for one in loose:
        place = next(
            (
                trip
                for trip, load in grouped.items()
                if load[0].plot_id == one.plot_id
                and load[0].timing == one.timing
                and ground.of(load[0]) == ground.of(one)
                and all(frozenset((other.product, one.product)) in request.terms.mixing for other in load)
            ),
            f"loose {len(grouped)}",
        )
        grouped.setdefault(place, []).append(one)
    return grouped


def trip_machine(request: Request, load: Sequence[Spread]) -> Machine:
    """The machine of a trip: the one it was planned with, else the cheapest that handles the load there."""
    machines = machines_of(request.terms)
    named = next((one for one in machines if one.name == load[0].machine), None)
    if named is not None:
        return named
    reach = next((plot.machines for plot in request.plots if plot.plot_id == load[0].plot_id), None)
    equipment = [
        {name.casefold() for name in ware.product.equipment}
        for ware in request.wares
        if ware.product.product in {one.product for one in load}
    ]
    able = [
        one
        for one in machines
        if (reach is None or one.name in reach)
        and all(not names or one.name.casefold() in names for names in equipment)
    ]
    return min(able or machines, key=lambda one: (one.cost_per_job, one.cost_per_ha, one.name))


def trip_cost(machine: Machine, area_ha: float) -> Decimal:
    """Cost of going over a plot once with one load [money], to the cent; filling comes on top."""
    return cents(machine.cost_per_ha * Decimal(str(area_ha)) + machine.cost_per_job)


def filling_cost(machine: Machine, mass_kg: float) -> Decimal:
    """Cost of filling so much into the hopper [money], to the cent."""
    return cents(Decimal(str(fill_cost_per_kg(machine) * mass_kg)))


# ---------------------------------------------------------------------------------------------
# Shopping


def shopping(
    request: Request, passes: Sequence[Spread], bought: Mapping[str, tuple[Decimal, Decimal, float]]
) -> Bought:
    """Write the shopping list of amounts to spread and packages to buy."""
    used: dict[str, float] = {}
    times: dict[str, set[Timing | None]] = {}
    for one in passes:
        used[one.product] = used.get(one.product, 0.0) + one.mass_kg
        times.setdefault(one.product, set()).add(one.timing)
    haul = request.terms.hauling_cost_per_kg
    buy: list[Purchase] = []
    fees: dict[str, Decimal] = {}
    hauling: dict[str, Decimal] = {}
    handling: dict[str, Decimal] = {}
    fetched_kg: dict[str, float] = {}
    largest_first = sorted(request.offers, key=lambda offer: (-(offer.package_kg or 0.0), offer.offer_id))
    from_stock: dict[str, float] = {}
    for offer in largest_first:
        assert offer.package_kg is not None
        taken = min(used.get(offer.product, 0.0), offer.in_stock * offer.package_kg)
        from_stock[offer.offer_id] = taken
        used[offer.product] = used.get(offer.product, 0.0) - taken
    for offer in largest_first:
        assert offer.package_kg is not None
        packages, price, mass_kg = bought.get(offer.offer_id, (Decimal(0), offer.price or Decimal(0), 0.0))
        stock_kg = from_stock[offer.offer_id]
        if packages <= 0 and stock_kg <= 0:
            continue
        spread = min(used.get(offer.product, 0.0), mass_kg)
        used[offer.product] = used.get(offer.product, 0.0) - spread
        left_kg = mass_kg - spread + offer.in_stock * offer.package_kg - stock_kg
        when = times.get(offer.product, set())
        buy.append(
            Purchase(
                offer_id=offer.offer_id,
                product=offer.product,
                package=offer.package,
                seller=offer.seller,
                count=float(packages),
                from_stock=stock_kg / offer.package_kg,
                unit_price=price,
                cost=cents(packages * price),
                left_over_kg=left_kg if left_kg > SAME * offer.package_kg else 0.0,
                timing=next(iter(when)) if len(when) == 1 else None,
            )
        )
        if packages > 0:
            seller = seller_of(offer)
            fees[seller] = max(fees.get(seller, Decimal(0)), offer.delivery_fee)
            if is_fetched(request, offer):
                fetched_kg[seller] = fetched_kg.get(seller, 0.0) + mass_kg
                hauling[offer.offer_id] = cents(haul * Decimal(str(mass_kg)))
            per_kg = request.terms.handling_cost_per_kg.get(offer.offer_id, Decimal(0))
            handling[offer.offer_id] = cents(per_kg * Decimal(str(mass_kg)))
    buy.sort(key=lambda one: (one.product, one.offer_id))
    delivery = {seller: cents(fee) for seller, fee in sorted(fees.items())}
    return Bought(
        tuple(buy), delivery, hauling, handling, _loads(request, passes), _hauls(request, fetched_kg)
    )


def _brought_kg(request: Request, passes: Sequence[Spread]) -> dict[tuple[Machine, str], dict[str, float]]:
    """(machine, product) to what a machine that brings its own loads puts on each plot [kg], by names."""
    brought: dict[tuple[Machine, str], dict[str, float]] = {}
    for load in trips(request, passes).values():
        machine = trip_machine(request, load)
        for one in load if machine.brings_loads else ():
            on = brought.setdefault((machine, one.product), {})
            on[one.plot_id] = on.get(one.plot_id, 0.0) + one.mass_kg
    return dict(sorted(brought.items(), key=lambda item: (item[0][0].name, item[0][1])))


def _loads(request: Request, passes: Sequence[Spread]) -> dict[tuple[str, str], tuple[int, Decimal]]:
    """Whole loads of each product that machines bring, and their cost."""
    found = {}
    for (machine, product), on in _brought_kg(request, passes).items():
        count = loads_of(sum(on.values()), machine.load_kg or math.inf)
        found[machine.name, product] = (count, cents(machine.cost_per_load * count))
    return found


def loads_words(request: Request, plan: Plan) -> str:
    """Say how many loads and ways a plan pays for; empty when none."""
    size = {offer.offer_id: offer.package_kg or 0.0 for offer in request.offers}
    free = {offer.offer_id: seller_of(offer) for offer in request.offers if is_fetched(request, offer)}
    fetched_kg: dict[str, float] = {}
    for one in plan.buy:
        if one.offer_id in free and one.count > 0:
            seller = free[one.offer_id]
            fetched_kg[seller] = fetched_kg.get(seller, 0.0) + one.count * size[one.offer_id]
    told = [
        f"{count} load{'s' if count > 1 else ''} of {product} by {machine}, {format_money(cost)}"
        for (machine, product), (count, cost) in _loads(request, spreads_of(plan)).items()
    ]
    told += [
        f"{count} way{'s' if count > 1 else ''} to {seller}, {format_money(cost)}"
        for seller, (count, cost) in _hauls(request, fetched_kg).items()
    ]
    return "; ".join(told)


def _hauls(request: Request, fetched_kg: Mapping[str, float]) -> dict[str, tuple[int, Decimal]]:
    """Ways to sellers and back, and their cost."""
    terms = request.terms
    if terms.cost_per_haul <= 0 or not terms.haul_kg:
        return {}
    counted = {seller: loads_of(kg, terms.haul_kg) for seller, kg in sorted(fetched_kg.items())}
    return {seller: (count, cents(terms.cost_per_haul * count)) for seller, count in counted.items()}


# ---------------------------------------------------------------------------------------------
# Coverage and costs


def coverage(
    plots: Sequence[PlanPlot], wares: Sequence[Ware], passes: Sequence[Spread]
) -> tuple[Coverage, ...]:
    """Add up, in plain arithmetic, what each plot gets of what was asked for."""
    of_product = {ware.product.product: ware for ware in wares}
    of_plot = {plot.plot_id: plot for plot in plots}
    brought: dict[tuple[str, str], float] = {}
    for one in passes:
        for supply, content in serving(of_plot[one.plot_id], of_product[one.product]).items():
            key = (one.plot_id, supply)
            brought[key] = brought.get(key, 0.0) + content * one.mass_kg
    rows = []
    for plot in plots:
        known = known_kg(plot)
        unknown = {demand.supply for demand in plot.demands if demand.mass_kg is None}
        for supply in sorted({demand.supply for demand in plot.demands}):
            masses = [mass for (key, _timing), mass in known.items() if key == supply]
            need = None if supply in unknown else math.fsum(masses)
            rows.append(Coverage(plot.plot_id, supply, need, brought.get((plot.plot_id, supply), 0.0)))
    return tuple(rows)


def short_of_bands(plots: Sequence[PlanPlot], plan: Plan) -> tuple[Coverage, ...]:
    """Name the needs a plan leaves short of the lower edge of their bands.

    Parameters
    ----------
    plots
        As they were planned.
    plan
        The plan.

    Returns
    -------
    tuple of Coverage
    """
    of_plot = {plot.plot_id: plot for plot in plots}
    return tuple(
        row
        for row in plan.coverage
        if row.need_kg
        and row.plot_id in of_plot
        and row.supplied_kg < band_of(of_plot[row.plot_id], row.supply).low * row.need_kg * (1 - 1e-6)
    )


def covered(plots: Sequence[PlanPlot], wares: Sequence[Ware], passes: Sequence[Spread]) -> float:
    """Tell which share of all known needs is met, weighed by plot, area and priority."""
    of_product = {ware.product.product: ware for ware in wares}
    of_plot = {plot.plot_id: plot for plot in plots}
    brought: dict[tuple[str, str, Timing | None], float] = {}
    for one in passes:
        for supply, content in serving(of_plot[one.plot_id], of_product[one.product]).items():
            at = (one.plot_id, supply, one.timing)
            brought[at] = brought.get(at, 0.0) + content * one.mass_kg
    whole = met = 0.0
    for plot in plots:
        values, known = need_values(plot), known_kg(plot)
        for (supply, timing), value in values.items():
            need_kg = known[supply, timing]
            got_kg = brought.get((plot.plot_id, supply, timing), 0.0)
            if timing is None:
                got_kg = math.fsum(kg for at, kg in brought.items() if at[:2] == (plot.plot_id, supply))
                got_kg -= math.fsum(
                    min(kg, brought.get((plot.plot_id, supply, time), 0.0))
                    for (key, time), kg in known.items()
                    if key == supply and time is not None
                )
            whole += value
            low = band_of(plot, supply).low
            met += value * (min(1.0, max(0.0, got_kg) / (low * need_kg)) if low > 0 else 1.0)
    return met / whole if whole > 0 else 1.0


def share_out(total: Decimal, weights: Mapping[str, float]) -> dict[str, Decimal]:
    """Split money by weights, to the cent, so that the parts add up exactly."""
    whole = math.fsum(weights.values())
    if not weights or whole <= 0:
        weights = dict.fromkeys(weights, 1.0)
        whole = float(len(weights))
    number = int((total / _CENT).to_integral_value())
    exact = {key: number * weight / whole for key, weight in sorted(weights.items())}
    parts = {key: math.floor(amount) for key, amount in exact.items()}
    by_remainder = sorted(exact, key=lambda key: (parts[key] - exact[key], key))
    for place in range(number - sum(parts.values())):
        parts[by_remainder[place % len(by_remainder)]] += 1
    return {key: part * _CENT for key, part in parts.items()}


def plot_costs(request: Request, passes: Sequence[Spread], bought: Bought) -> dict[str, Decimal]:
    """Share the whole cost out to the plots."""
    costs = {plot.plot_id: Decimal(0) for plot in request.plots}
    ground = _Ground(request)
    by_product: dict[str, dict[str, float]] = {}
    everything: dict[str, float] = {}
    for load in trips(request, passes).values():
        machine, plot_id = trip_machine(request, load), load[0].plot_id
        costs[plot_id] += trip_cost(machine, ground.of(load[0]))
        costs[plot_id] += filling_cost(machine, math.fsum(one.mass_kg for one in load))
    for one in passes:
        weights = by_product.setdefault(one.product, {})
        weights[one.plot_id] = weights.get(one.plot_id, 0.0) + one.mass_kg
        everything[one.plot_id] = everything.get(one.plot_id, 0.0) + one.mass_kg
    spare = everything or {plot.plot_id: plot.area_ha for plot in request.plots}
    of_seller: dict[str, dict[str, float]] = {}
    offers = {offer.offer_id: offer for offer in request.offers}
    for purchase in bought.buy:
        weights = by_product.get(purchase.product, spare)
        money = purchase.cost + bought.hauling.get(purchase.offer_id, Decimal(0))
        money += bought.handling.get(purchase.offer_id, Decimal(0))
        for plot_id, part in share_out(money, weights).items():
            costs[plot_id] += part
        if purchase.count > 0:
            mine = of_seller.setdefault(seller_of(offers[purchase.offer_id]), {})
            for plot_id, mass in weights.items():
                mine[plot_id] = mine.get(plot_id, 0.0) + mass
    fees = [*bought.delivery.items(), *((seller, cost) for seller, (_count, cost) in bought.hauls.items())]
    for seller, fee in fees:
        for plot_id, part in share_out(fee, of_seller.get(seller, spare)).items():
            costs[plot_id] += part
    for (machine, product), weights in _brought_kg(request, passes).items():
        _count, cost = bought.loads[machine.name, product]
        for plot_id, part in share_out(cost, weights).items():
            costs[plot_id] += part
    return costs


# ---------------------------------------------------------------------------------------------
# Lines and their steps


def line_id(plot_id: str, product: str, timing: Timing | None) -> str:
    """Name a pass the same way in every plan."""
    text = "\x1f".join((plot_id, product, "" if timing is None else timing.value))
    return "L" + hashlib.sha256(text.encode()).hexdigest()[:12]


def job_id(load: Sequence[Spread], machine: Machine) -> str:
    """Name a job the same way in every plan."""
    timing = load[0].timing
    words = [load[0].plot_id, "" if timing is None else timing.value, machine.name]
    text = "\x1f".join((*words, *sorted(one.product for one in load)))
    return "J" + hashlib.sha256(text.encode()).hexdigest()[:12]


class _Ground:
    """The ground each product of a plan goes on: a plot, or the rest of it."""

    def __init__(self, request: Request) -> None:
        self.plots = {plot.plot_id: plot for plot in request.plots}
        self.wares = {ware.product.product: ware for ware in request.wares}

    def of(self, one: Spread) -> float:
        """Its size [ha]."""
        return ground_ha(self.plots[one.plot_id], self.wares[one.product])

    def is_part(self, one: Spread) -> bool:
        """Whether it is less than the plot."""
        return self.of(one) < self.plots[one.plot_id].area_ha * (1 - SAME)


def jobs(request: Request, passes: Sequence[Spread]) -> tuple[Job, ...]:
    """Write out the trips, by plot and time."""
    ground = _Ground(request)
    made = []
    for load in trips(request, passes).values():
        machine, first = trip_machine(request, load), load[0]
        mass_kg = math.fsum(one.mass_kg for one in load)
        area_ha = ground.of(first)
        fills = math.ceil(mass_kg / machine.hopper_kg - SAME) if machine.hopper_kg else None
        made.append(
            Job(
                job_id=job_id(load, machine),
                plot_id=first.plot_id,
                timing=first.timing,
                spreader=machine.name,
                line_ids=tuple(line_id(one.plot_id, one.product, one.timing) for one in load),
                mass_kg=mass_kg,
                rate_kg_ha=mass_kg / area_ha if area_ha > 0 else 0.0,
                cost=trip_cost(machine, area_ha) + filling_cost(machine, mass_kg),
                fills=fills,
                hours=_hours(machine, area_ha, fills),
                part="rest" if ground.is_part(first) else "",
            )
        )
    limes = {ware.product.product for ware in request.wares if is_lime(ware)}
    lime_lines = {line_id(one.plot_id, one.product, one.timing) for one in passes if one.product in limes}

    def place(job: Job) -> tuple[str, int, bool, str]:  # lime before what is worked in with it
        return job.plot_id, TIMING_ORDER[job.timing], not lime_lines & set(job.line_ids), job.job_id

    return tuple(sorted(made, key=place))


def _hours(machine: Machine, area_ha: float, fills: int | None) -> float | None:
    """Spreading and filling [h]; None where the machine's pace is not stated."""
    if machine.hours_per_ha is None:
        return None
    return machine.hours_per_job + machine.hours_per_ha * area_ha + machine.hours_per_fill * (fills or 0)


def lines(
    request: Request, passes: Sequence[Spread], bought: Bought, made: Sequence[Job] = ()
) -> tuple[PlanLine, ...]:
    """Write out the passes with rate, packages and the arithmetic behind them."""
    job_of = {line: job for job in made for line in job.line_ids}
    plots = {plot.plot_id: plot for plot in request.plots}
    wares = {ware.product.product: ware for ware in request.wares}
    packages = _main_package(request, bought)
    by_plot: dict[str, list[Spread]] = {}
    for one in passes:
        by_plot.setdefault(one.plot_id, []).append(one)
    result = []
    for one in passes:
        plot, ware = plots[one.plot_id], wares[one.product]
        area_ha = ground_ha(plot, ware)
        offer = packages.get(one.product)
        package, package_kg = _counted_in(ware, offer, request)
        number = round(one.mass_kg / package_kg, 9) if package_kg else None
        job = job_of.get(line_id(one.plot_id, one.product, one.timing))
        steps = _Words(request.terms.units).steps(plot, ware, one, by_plot[one.plot_id], wares, request)
        result.append(
            PlanLine(
                line_id=line_id(one.plot_id, one.product, one.timing),
                plot_id=one.plot_id,
                product=one.product,
                timing=one.timing,
                rate_kg_ha=one.mass_kg / area_ha if area_ha > 0 else 0.0,
                mass_kg=one.mass_kg,
                packages=number,
                package=package,
                steps=(*steps, *_Words(request.terms.units).package_steps(one, package, package_kg, number)),
                job_id=job.job_id if job else "",
                spreader=job.spreader if job else "",
            )
        )
    return tuple(result)


def _counted_in(ware: Ware, offer: Offer | None, request: Request) -> tuple[str, float | None]:
    """What a product is counted in, and its mass [kg]: its package, a bucket, or nothing for loose goods."""
    if offer is None:
        return "", None
    if not offer.divisible:
        return offer.package, offer.package_kg
    if half_bucket_kg(ware, request.offers) > 0 and ware.product.bucket_kg:
        return amount_text(ware.product.bucket_kg, "bucket", request.terms.units), ware.product.bucket_kg
    return offer.package, None


def _main_package(request: Request, bought: Bought) -> dict[str, Offer]:
    """For each product the offer that most of it comes from."""
    offers = {offer.offer_id: offer for offer in request.offers}
    best: dict[str, tuple[float, Offer]] = {}
    for purchase in bought.buy:
        offer = offers[purchase.offer_id]
        mass = (purchase.count + purchase.from_stock) * (offer.package_kg or 0.0)
        if purchase.product not in best or mass > best[purchase.product][0]:
            best[purchase.product] = (mass, offer)
    return {product: offer for product, (_mass, offer) in best.items()}


def _when(timing: Timing | None) -> str:
    return "" if timing is None else f", {timing.value}"


class _Words:
    """Steps of a line in the reader's units."""

    def __init__(self, system: str) -> None:
        metric = system == "metric"
        self.mass_unit, self.mass_kg = ("kg", 1.0) if metric else ("lb", LB_KG)
        self.rate_unit, self.rate_kg_ha = ("kg/ha", 1.0) if metric else ("lb/acre", LB_ACRE_KG_HA)
        self.area_unit, self.area_ha = ("ha", 1.0) if metric else ("acre", ACRE_M2 / HA_M2)

    def mass(self, kg: float, of: str) -> str:
        return f"{format_figure(kg / self.mass_kg)} {self.mass_unit} {of}"

    def steps(
        self,
        plot: PlanPlot,
        ware: Ware,
        one: Spread,
        on_plot: Sequence[Spread],
        wares: Mapping[str, Ware],
        request: Request,
    ) -> list[Step]:
        """From need to product mass and rate."""
        steps: list[Step] = []
        setter = ""
        known, serves = known_kg(plot), serving(plot, ware)
        for supply, content in ware.contents.items():
            needs = {t: kg for (key, t), kg in known.items() if key == supply}
            if not needs:
                continue
            timing, need_kg, others = _row_served(supply, one, needs, on_plot, plot, wares)
            unit = f"{self.mass_unit} {supply}"
            steps.append(
                Step(f"{supply} this plot needs{_when(timing)}", need_kg / self.mass_kg, unit, ARITHMETIC)
            )
            steps.append(self._held(ware.product, supply, content))
            held, content = content, serves[supply]
            if content < held:
                share = content / held
                words = f"share of it that lands on the rest of the plot, which alone asks for {supply}"
                steps.append(Step(words, share, "", ARITHMETIC))
            others_kg = math.fsum(kg for _name, kg in others)
            if not setter and math.isclose(others_kg + content * one.mass_kg, need_kg, rel_tol=SAME):
                setter = self._sum(supply, content, need_kg, others)
        if not setter:
            setter = self._limit(plot, ware, one, request)
        mass = one.mass_kg / self.mass_kg
        unit = f"{self.mass_unit} {one.product}"
        steps.append(Step(f"{one.product} on this plot: {setter}", mass, unit, ARITHMETIC))
        for supply, content in ware.contents.items():
            words = f"{supply} it brings: {format_figure(mass)} × {format_figure(content)}"
            steps.append(Step(words, mass * content, f"{self.mass_unit} {supply}", ARITHMETIC))
        ground = ground_ha(plot, ware)
        if ground > 0:
            area = f"{format_figure(ground / self.area_ha)} {self.area_unit}"
            if ground < plot.area_ha * (1 - SAME):
                area = f"{area}, the rest of the plot only"
            steps.append(
                Step(
                    f"rate: {self.mass(one.mass_kg, one.product)} ÷ {area}",
                    one.mass_kg / ground / self.rate_kg_ha,
                    f"{self.rate_unit} {one.product}",
                    ARITHMETIC,
                )
            )
        return steps

    def _held(self, product: Product, supply: Supply, content: float) -> Step:
        """How much of a supply is in the product: of a manure, how much of that a crop can use."""
        unit = f"{self.mass_unit} {supply}"
        usable = {nutrient.value: share for nutrient, share in product.available_pct.items()}
        share = usable.get(supply)
        words = f"{supply} in 1 {self.mass_unit} of {product.product}"
        source = LABEL
        if share is not None:
            whole = content * 100 / share if share else 0.0
            placed = f", {product.method}" if product.method else ""
            words = (
                f"{supply} usable in the first season in 1 {self.mass_unit} of {product.product}: "
                f"{format_figure(whole)} by analysis × {share:g} %{placed}"
            )
            source = product.available_source
        return Step(words, content, f"{unit} per {self.mass_unit}", source)

    def _sum(
        self, supply: Supply, content: float, need_kg: float, others: Sequence[tuple[str, float]]
    ) -> str:
        need = format_figure(need_kg / self.mass_kg)
        if not others:
            return f"{need} {self.mass_unit} {supply} ÷ {format_figure(content)}"
        brought = " − ".join(f"{format_figure(kg / self.mass_kg)} from {name}" for name, kg in others)
        return f"({need} − {brought}) {self.mass_unit} {supply} ÷ {format_figure(content)}"

    def _limit(self, plot: PlanPlot, ware: Ware, one: Spread, request: Request) -> str:
        ground = ground_ha(plot, ware)
        low = lowest_rate_kg_ha(ware.product, request.terms) * ground
        logged = request.terms.logged_kg_ha.get((one.machine, one.product), ())
        high = (ware.product.max_rate_kg_ha or math.inf) * ground
        if (one.plot_id, one.product) in {(fixed.plot_id, fixed.product) for fixed in request.terms.fixed}:
            return "fixed by the user"
        if any(math.isclose(one.mass_kg, rate * ground, rel_tol=SAME) for rate in logged):
            return f"the rate that a logged setting of the {one.machine} gives × area"
        if low > 0 and math.isclose(one.mass_kg, low, rel_tol=SAME):
            return "the smallest practical rate × area"
        if math.isclose(one.mass_kg, high, rel_tol=SAME):
            return "the largest safe rate × area"
        for supply, content in ware.capped.items():
            cap = plot.caps.get(supply, math.inf)
            if content > 0 and math.isclose(one.mass_kg * content, cap, rel_tol=SAME):
                return f"as much as the cap of {self.mass(cap, supply)} allows"
        return "what the packages bought and the plot's other products leave to it"

    def package_steps(
        self, one: Spread, package: str, package_kg: float | None, number: float | None
    ) -> list[Step]:
        if package_kg is None or number is None:
            return []
        words = (
            f"packages: {self.mass(one.mass_kg, one.product)} ÷ {self.mass(package_kg, f'in one {package}')}"
        )
        return [Step(words, number, package, ARITHMETIC)]


def _row_served(
    supply: Supply,
    one: Spread,
    needs: Mapping[Timing | None, float],
    on_plot: Sequence[Spread],
    plot: PlanPlot,
    wares: Mapping[str, Ware],
) -> tuple[Timing | None, float, list[tuple[str, float]]]:
    """Find the need a pass answers, and what the plot's other passes bring towards it."""
    timing = one.timing if one.timing in needs else None
    need_kg = needs[timing] if timing is not None else math.fsum(needs.values())
    others = [
        (
            other.product + _when(other.timing),
            serving(plot, wares[other.product])[supply] * other.mass_kg,
        )
        for other in on_plot
        if other is not one
        and wares[other.product].contents.get(supply, 0.0) > 0
        and (timing is None or other.timing == timing)
    ]
    return timing, need_kg, others


# ---------------------------------------------------------------------------------------------
# The plan as a whole


def plan_id(season: int, passes: Iterable[PlanLine], buy: Iterable[Purchase]) -> str:
    """Name a plan by what it says."""
    words = [str(season)]
    words.extend(f"{line.line_id} {line.mass_kg:.6g}" for line in passes)
    words.extend(f"{one.offer_id} {one.count:.6g} {one.from_stock:.6g}" for one in buy)
    return "P" + hashlib.sha256("\x1f".join(words).encode()).hexdigest()[:12]


def write_plan(request: Request, passes: Sequence[Spread], bought: Bought, plan: Plan) -> Plan:
    """Fill a plan in: lines, shopping, coverage and costs."""
    made = jobs(request, passes)
    written = lines(request, passes, bought, made)
    machine = {one.name: one for one in machines_of(request.terms)}
    filling = {job.job_id: filling_cost(machine[job.spreader], job.mass_kg) for job in made}
    return replace(
        plan,
        plan_id=plan_id(request.terms.season, written, bought.buy),
        purchase_cost=sum((one.cost for one in bought.buy), Decimal("0.00")),
        spreading_cost=sum((job.cost - filling[job.job_id] for job in made), Decimal("0.00")),
        filling_cost=sum(filling.values(), Decimal("0.00")),
        handling_cost=sum(bought.handling.values(), Decimal("0.00")),
        jobs=made,
        delivery_cost=bought.brought,
        lines=written,
        buy=bought.buy,
        coverage=coverage(request.plots, request.wares, passes),
        plot_costs=plot_costs(request, passes, bought),
        season=request.terms.season,
    )
