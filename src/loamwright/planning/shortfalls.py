"""Which needs cannot be met, what stands in the way, and what is the least change that would do?

The planner asks here when its program has no solution. Each plot is looked at alone first (what its own
limits allow, as if the sellers had everything), then the whole property (what the sellers and the stock
have). What can be reached is returned as a share of each need, so that the rest is planned all the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from loamwright.money import format_money
from loamwright.planning.inputs import (
    PlanPlot,
    Request,
    Ware,
    amount_text,
    band_of,
    is_lime,
    offer_text,
)
from loamwright.planning.model import PlanModel, build, coverage_cost
from loamwright.planning.passes import TIMES, need_cells, supply_keys
from loamwright.planning.records import DecideKind, LeftToDecide, StillShort
from loamwright.planning.solver import Effort, Flags, Floats
from loamwright.supplies import Offer, score
from loamwright.values import Supply, Timing

#: A need met to this share counts as met [fraction].
_FULL = 1 - 1e-6


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One need that cannot be met.

    Parameters
    ----------
    plot_id, supply, timing
        Which need.
    need_kg, possible_kg
        Needed, and the part that the plan delivers [kg].
    because
        What stands in the way.
    change
        The least change we found that would make it possible.
    """

    plot_id: str
    supply: Supply
    timing: Timing | None
    need_kg: float
    possible_kg: float
    because: str
    change: str

    def sentence(self, units: str) -> str:
        """Say it."""
        when = "" if self.timing is None else f" {self.timing.value}"
        got = amount_text(self.possible_kg, "", units).strip() if self.possible_kg > 0 else "none of it"
        need = amount_text(self.need_kg, self.supply, units)
        return f"Plot {self.plot_id} needs {need}{when} and gets {got}: {self.because}. {self.change}"

    def to_decide(self, units: str) -> LeftToDecide:
        """Return it as a thing for a person to decide on."""
        short = StillShort(self.plot_id, self.supply, self.need_kg - self.possible_kg)
        return LeftToDecide(DecideKind.SHORT, self.sentence(units), (short,))


def _delivered_kg(plot: PlanPlot, supply: Supply, need_kg: float, reached: float) -> float:
    """What is put on for a need of which a share is reached: the share is of the lower edge of its band."""
    return float(band_of(plot, supply).low * need_kg * reached)


def limits_of_plots(request: Request) -> tuple[Floats, tuple[Shortfall, ...]]:
    """Find, plot by plot, which share of each need the plot's own limits allow."""
    cells = need_cells(request, supply_keys(request))
    shares = np.ones(len(cells))
    shortfalls: list[Shortfall] = []
    of_plot: dict[int, list[int]] = {}
    for number, cell in enumerate(cells):
        of_plot.setdefault(cell.plot, []).append(number)
    for plot_number, members in of_plot.items():
        alone = only_plot(request, plot_number)
        reached = _reach(alone)
        short = reached < _FULL
        if not short.any():
            continue
        shares[members] = np.where(short, reached, 1.0)
        shortfalls.extend(_explained(alone, reached))
    return shares, tuple(shortfalls)


def only_plot(request: Request, number: int) -> Request:
    """Cut a request down to one plot."""
    plot = request.plots[number]
    fixed = tuple(one for one in request.terms.fixed if one.plot_id == plot.plot_id)
    return replace(request, plots=(plot,), terms=replace(request.terms, fixed=fixed, budget=None))


def _reach(alone: Request) -> Floats:
    """Share of each need of one plot that its own limits allow, as if everything were on sale."""
    plan_model = build(alone, elastic=True)
    return _shares(plan_model, pooled=False, effort=Effort(gap=1e-6, time_limit_s=5.0, light=True))


def _shares(plan_model: PlanModel, pooled: bool, effort: Effort) -> Floats:
    model = plan_model.model.copy()
    model.cost = coverage_cost(plan_model)
    if not pooled:
        rows = plan_model.supply_row[plan_model.supply_row >= 0]
        model.row_upper[rows] = math.inf
    solved = model.solve(effort)
    if not solved.has_values:  # fixed choices that cannot stand together with the limits
        return np.zeros(len(plan_model.cells))
    return np.asarray(np.clip(solved.values[plan_model.share], 0.0, 1.0), float)


# ---------------------------------------------------------------------------------------------
# Why, for one plot


def _explained(alone: Request, reached: Floats) -> list[Shortfall]:
    supplies = supply_keys(alone)
    cells = need_cells(alone, supplies)
    plot = alone.plots[0]
    found = []
    open_needs = []
    for number in (int(short) for short in np.flatnonzero(reached < _FULL)):
        cell = cells[number]
        supply, timing = supplies[cell.supply], TIMES[cell.time]
        because, change = _no_source(alone, plot, supply, timing)
        if not because:
            open_needs.append(number)
            continue
        possible = _delivered_kg(plot, supply, cell.mass_kg, reached[number])
        found.append(Shortfall(plot.plot_id, supply, timing, cell.mass_kg, possible, because, change))
    if open_needs:
        because, change = _collision(alone, np.isin(np.arange(len(cells)), open_needs))
        for number in open_needs:
            cell = cells[number]
            supply = supplies[cell.supply]
            possible = _delivered_kg(plot, supply, cell.mass_kg, reached[number])
            found.append(
                Shortfall(
                    plot.plot_id,
                    supply,
                    TIMES[cell.time],
                    cell.mass_kg,
                    possible,
                    because,
                    change,
                )
            )
    return found


def _names(wares: Sequence[Ware]) -> str:
    return ", ".join(ware.product.product for ware in wares)


def _no_source(alone: Request, plot: PlanPlot, supply: Supply, timing: Timing | None) -> tuple[str, str]:
    """Say why no product can bring a supply here at all; empty when one can."""
    holding = [ware for ware in alone.wares if ware.contents.get(supply, 0.0) > 0]
    offered = {offer.product for offer in alone.offers}
    sold = [ware for ware in holding if ware.product.product in offered]
    if not sold:
        what = f"nothing on offer supplies {supply}"
        basis = Supply(supply).basis
        unscored = [ware for ware in alone.wares if is_lime(ware)]
        if unscored and basis is not None and not holding:
            told = "; ".join(
                f"{_names([ware])} is lime, but its score in {basis} is not known: "
                f"{score(ware.product, basis).reason}"
                for ware in unscored
            )
            return told, f"Ask the seller for its {basis} and enter it with the product."
        if holding:
            what = f"{_names(holding)} would supply {supply}, but nobody offers it at a usable price"
        return what, f"Add an offer of a product that contains {supply}."
    let_in = [
        ware
        for ware in sold
        if plot.allowed_products is None or ware.product.product in plot.allowed_products
    ]
    ruled_out = {one.product for one in alone.terms.fixed if one.mass_kg == 0 and one.timing is None}
    open_here = [ware for ware in let_in if ware.product.product not in ruled_out]
    if not let_in and plot.kept_off:
        return _out_of_reach(alone, plot, supply, sold)
    if not let_in:
        return (
            f"of what supplies {supply} ({_names(sold)}) nothing may go on this plot",
            "Let one of them on, or offer a product the plot's spreaders can handle.",
        )
    if not open_here:
        return f"the user ruled {_names(let_in)} out on this plot", "Take that choice back."
    when = set(Timing) if timing is None else {timing}
    in_time = [
        ware
        for ware in open_here
        if (not ware.product.timings or when & set(ware.product.timings))
        and (plot.timings is None or when & set(plot.timings))
    ]
    if not in_time:
        time = "at a time the plot is spread" if timing is None else timing.value
        return (
            f"of what supplies {supply} ({_names(open_here)}) nothing can be spread {time}",
            "Move the need to another time, or offer a product for that time.",
        )
    return "", ""


def _handles(machine: str, ware: Ware) -> bool:
    names = {name.casefold() for name in ware.product.equipment}
    return not names or machine.casefold() in names


def _out_of_reach(alone: Request, plot: PlanPlot, supply: Supply, sold: Sequence[Ware]) -> tuple[str, str]:
    """Say which machines do not get to a plot, why, and with which of them the need would cost least."""
    off = {
        machine: why
        for machine, why in sorted(plot.kept_off.items())
        if any(_handles(machine, ware) for ware in sold)
    }
    told = "; ".join(f"{machine}: {why}" for machine, why in off.items())
    spreads = f" that spreads {_names(sold)}" if plot.machines else ""
    because = f"no machine{spreads} gets to this plot ({told})"
    costs = []
    for machine in off:
        carried = {ware.product.product for ware in alone.wares if _handles(machine, ware)}
        there = replace(
            plot,
            machines=(plot.machines or frozenset()) | {machine},
            allowed_products=(plot.allowed_products or frozenset()) | carried,
            demands=tuple(one for one in plot.demands if one.supply == supply),
        )
        solved = build(replace(alone, plots=(there,))).model.solve(Effort(1e-3, 5.0))
        if solved.has_values:
            costs.append((solved.objective, machine))
    if not costs:
        return because, f"Find a way for one of them, or another product that supplies {supply}."
    cost, machine = min(costs)
    money = format_money(Decimal(cost).quantize(Decimal("0.01")))
    return (
        because,
        f"The cheapest change that would help: a way for {machine}; its {supply} then costs {money} alone.",
    )


@dataclass(frozen=True, slots=True)
class _Loosening:
    """One kind of limit, how to lift it, and how to say what lifting it takes."""

    because: str
    lift: Callable[[Request], Request]
    change: Callable[[Request], str]


def _collision(alone: Request, short: Flags) -> tuple[str, str]:
    """Find the limits that collide on one plot: lift them one at a time, then two, then all."""
    loosenings = (
        _Loosening("the caps on surplus", _without_caps, _cap_change),
        _Loosening("the limit on products per plot", _without_count, _count_change),
        _Loosening("the smallest practical rates", _without_low_rates, lambda _r: _LOW_RATE_CHANGE),
        _Loosening("the largest safe rates", _without_high_rates, lambda _r: _HIGH_RATE_CHANGE),
        _Loosening("the user's fixed choices", _without_choices, lambda _r: "Take a fixed choice back."),
        _Loosening("the times at which things can be spread", _without_times, lambda _r: _TIME_CHANGE),
    )

    def enough(request: Request) -> bool:
        return bool((_reach(request)[short] >= _FULL).all())

    ways = [one for one in loosenings if enough(one.lift(alone))]
    if ways:
        because = "in the way: " + ", with ".join(one.because for one in ways)
        return because, " Or: ".join(one.change(alone) for one in ways)
    for place, one in enumerate(loosenings):
        for other in loosenings[place + 1 :]:
            if enough(other.lift(one.lift(alone))):
                because = f"in the way, together: {one.because} and {other.because}"
                return because, f"{one.change(other.lift(alone))} {other.change(one.lift(alone))}"
    return "several limits of the plot and of the products collide", "Lift two or more of them."


_LOW_RATE_CHANGE = "Allow a smaller rate of one of the products, or add a finer one."
_HIGH_RATE_CHANGE = "Split the need over two times, or add a stronger product."
_TIME_CHANGE = "Let the plot be spread at another time."


def _without_caps(request: Request) -> Request:
    return replace(request, plots=tuple(replace(plot, caps={}) for plot in request.plots))


def _without_count(request: Request) -> Request:
    return replace(request, terms=replace(request.terms, max_products_per_plot=None))


def _with_rates(request: Request, low: bool, high: bool) -> Request:
    wares = tuple(
        replace(
            ware,
            product=replace(
                ware.product,
                min_rate_kg_ha=ware.product.min_rate_kg_ha if low else 0.0,
                max_rate_kg_ha=ware.product.max_rate_kg_ha if high else None,
            ),
        )
        for ware in request.wares
    )
    return replace(request, wares=wares)


def _without_low_rates(request: Request) -> Request:
    return _with_rates(request, low=False, high=True)


def _without_high_rates(request: Request) -> Request:
    return _with_rates(request, low=True, high=False)


def _without_choices(request: Request) -> Request:
    return replace(request, terms=replace(request.terms, fixed=()))


def _without_times(request: Request) -> Request:
    wares = tuple(replace(ware, product=replace(ware.product, timings=())) for ware in request.wares)
    return replace(request, wares=wares, plots=tuple(replace(plot, timings=None) for plot in request.plots))


def _cap_change(alone: Request) -> str:
    """Say by how much which caps would have to rise: the least rise, as shares of the plot's needs."""
    shares = _reach(_without_caps(alone))
    plan_model = build(alone, met=np.where(shares < _FULL, shares * (1 - 1e-6), 1.0), soft_caps=True)
    model = plan_model.model.copy()
    model.row_upper[plan_model.supply_row[plan_model.supply_row >= 0]] = math.inf
    model.cost[:] = 0.0
    plot = alone.plots[0]
    for column, (_plot, supply) in zip(plan_model.over, plan_model.over_at, strict=True):
        key = plan_model.supplies[supply]
        need = sum(demand.mass_kg or 0.0 for demand in plot.demands if demand.supply == key)
        model.cost[column] = 1.0 / max(need, plot.caps[key], 1e-3)
    solved = model.solve(Effort(gap=1e-4, time_limit_s=5.0, light=True))
    if not solved.has_values:
        return "Raise the caps."
    rises = []
    for column, (_plot, supply) in zip(plan_model.over, plan_model.over_at, strict=True):
        over_kg = float(solved.values[column])
        key = plan_model.supplies[supply]
        if over_kg > 1e-6 * max(1.0, plot.caps[key]):
            units = alone.terms.units
            old = amount_text(plot.caps[key], "", units).strip()
            new = amount_text(plot.caps[key] + over_kg, key, units)
            rises.append(f"the cap on {key} from {old} to {new}")
    return f"Raise {' and '.join(rises)}." if rises else "Raise the caps."


def _count_change(alone: Request) -> str:
    least = alone.terms.max_products_per_plot or 0
    full = _reach(_without_count(alone))
    for most in range(least + 1, least + 10):
        terms = replace(alone.terms, max_products_per_plot=most)
        if (_reach(replace(alone, terms=terms)) >= full - 1e-6).all():
            return f"Allow {most} products on the plot at one time, instead of {least}."
    return "Allow more products on the plot at one time."


# ---------------------------------------------------------------------------------------------
# What the sellers have


def limits_of_sellers(
    request: Request, shares: Floats, effort: Effort
) -> tuple[Floats, tuple[Shortfall, ...]]:
    """Find which share of each need can be met with what the sellers and the stock have."""
    plan_model = build(replace(request, terms=replace(request.terms, budget=None)), shares, elastic=True)
    reached = np.minimum(shares, _shares(plan_model, pooled=True, effort=effort))
    missing = shares - reached > 1 - _FULL
    because, change = _scarce(request, shares, effort)
    found = []
    for number in np.flatnonzero(missing):
        cell = plan_model.cells[number]
        plot, supply = request.plots[cell.plot], plan_model.supplies[cell.supply]
        found.append(
            Shortfall(
                plot.plot_id,
                supply,
                TIMES[cell.time],
                cell.mass_kg,
                _delivered_kg(plot, supply, cell.mass_kg, reached[number]),
                because,
                change,
            )
        )
    return np.where(missing, reached, shares), tuple(found)


def _scarce(request: Request, shares: Floats, effort: Effort) -> tuple[str, str]:
    """Name the offers that would have to hold more, and how much more."""
    endless = tuple(replace(offer, max_count=None) for offer in request.offers)
    more = replace(request, offers=endless)
    plan_model = build(more, shares)
    solved = plan_model.model.solve(replace(effort, gap=max(effort.gap, 0.01)))
    limited = [offer for offer in request.offers if _is_limited(offer, request)]
    because = f"there is not enough on offer ({', '.join(offer_text(offer) for offer in limited)})"
    if not solved.has_values:
        return because, "Find another offer of one of these products, or another product."
    extra = []
    for number, offer in enumerate(request.offers):
        bought = sum(
            float(solved.values[column]) * tier.packages_per_unit
            for column, tier in zip(plan_model.count, plan_model.tiers, strict=True)
            if tier.offer == number
        )
        if offer.max_count is not None and bought > offer.max_count + 1e-6:
            extra.append(f"{math.ceil(bought - offer.max_count - 1e-6)} more of {offer_text(offer)}")
    return because, f"It would take {' and '.join(extra)}." if extra else "Find another offer."


def _is_limited(offer: Offer, request: Request) -> bool:
    return offer.max_count is not None or offer.offer_id in request.stock_only
