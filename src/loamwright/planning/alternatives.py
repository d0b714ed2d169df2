"""What would the usual ways of doing it cost, and what would they leave short or overdo?

Three habits, costed on the same needs and the same offers as the plan: one triple-number product everywhere
at a flat rate; single products, nutrient by nutrient; and the user's own list. Each is written out as a
plan of its own so that it can be laid beside the real one: in whole and half bags where the plan counts them,
met from the lower edge of the same bands, summed up the same way. A habit keeps no caps and no smallest
rates: what it breaks is told.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from loamwright.errors import Problem
from loamwright.money import format_money
from loamwright.planning.inputs import (
    Demand,
    FixedPass,
    PlanPlot,
    Request,
    Terms,
    Ware,
    amount_text,
    band_of,
    check_request,
    half_bucket_kg,
    half_package_kg,
    is_lime,
    known_kg,
)
from loamwright.planning.lines import (
    Spread,
    cents,
    coverage,
    covered,
    shopping,
    short_of_bands,
    spreads_of,
    write_plan,
)
from loamwright.planning.planner import make_plan, spend
from loamwright.planning.records import Coverage, Outcome, Plan
from loamwright.supplies import Offer
from loamwright.units import (
    format_rate,
)
from loamwright.values import Supply, Timing

_TRIPLE = (Supply.N, Supply.P2O5, Supply.K2O)


@dataclass(frozen=True, slots=True)
class Habit:
    """A usual way of doing it, costed.

    Parameters
    ----------
    name, how
        What it is called, and how its amounts were worked out.
    plan
        Lines, shopping, coverage and cost.
    covered
        Share of all known needs met [fraction].
    short
        Needs left short.
    surplus
        Supplies beyond the need, `need_kg` 0.0 where none was asked for.
    broken
        Caps it breaks, a sentence each.
    beside
        How it compares with the plan, in one sentence; empty when there is none to compare with.
    """

    name: str
    how: str
    plan: Plan
    covered: float
    short: tuple[Coverage, ...]
    surplus: tuple[Coverage, ...]
    broken: tuple[str, ...]
    beside: str


@dataclass(frozen=True, slots=True)
class Compared:
    """Habits beside a plan.

    Parameters
    ----------
    habits
        Those that could be costed.
    plan
        The plan they are laid beside, summed up the same way; None without one.
    problems
        Why others could not.
    """

    habits: tuple[Habit, ...]
    problems: tuple[Problem, ...]
    plan: Habit | None = None


def compare_habits(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    plan: Plan | None = None,
    own: Sequence[FixedPass] = (),
    triple: str = "",
    flat_rate_kg_ha: float | None = None,
) -> Compared:
    """Cost the usual ways of doing it on the same needs.

    Parameters
    ----------
    plots, wares, offers, terms
        As for `make_plan`.
    plan
        The plan to lay them beside; None = none.
    own
        The user's own list: so much of a product on a plot; empty = none.
    triple
        Product of the flat-rate habit; empty = the offered product with N, P2O5 and K2O in which
        they cost least.
    flat_rate_kg_ha
        Rate of the flat-rate habit [kg/ha]; None = the rate at which the property as a whole gets all of
        its N, P2O5 and K2O.

    Returns
    -------
    Compared
    """
    request = check_request(plots, wares, offers, replace(terms, budget=None, fixed=()))
    problems: list[Problem] = []
    habits = []
    flat = _flat(request, triple, flat_rate_kg_ha, problems)
    if flat is not None:
        habits.append(_costed(request, f"{flat[0]} everywhere", flat[1], flat[2], plan))
    singles = _singles(request, problems)
    if singles:
        how = "For each nutrient the product that brings most of it for the money, the others not counted."
        habits.append(_costed(request, "single products", how, singles, plan))
    if own:
        lines = _own(request, own, problems)
        habits.append(_costed(request, "own list", "As the user lists it.", lines, plan))
    beside = None if plan is None else _summed_up(request, "the plan", "", plan, None)
    return Compared(tuple(habits), tuple(problems), beside)


# ---------------------------------------------------------------------------------------------
# The habits


def _flat(
    request: Request, triple: str, rate_kg_ha: float | None, problems: list[Problem]
) -> tuple[str, str, list[Spread]] | None:
    """One product with N, P2O5 and K2O, everywhere at one rate."""
    offered = {offer.product for offer in request.offers}
    usable = [ware for ware in request.wares if ware.product.product in offered]
    mixed = [ware for ware in usable if all(ware.contents.get(key, 0.0) > 0 for key in _TRIPLE)]
    if triple:
        mixed = [ware for ware in usable if ware.product.product == triple]
    if not mixed:
        what = f"{triple!r} is not on offer" if triple else "no product with N, P2O5 and K2O is on offer"
        problems.append(Problem("habit of one product everywhere", what, "Add an offer of one."))
        return None
    ware = min(mixed, key=lambda one: (_price_of_nutrients(request, one), _unlike(one), one.product.product))
    name = ware.product.product
    needed = [plot for plot in request.plots if known_kg(plot)]
    area_ha = math.fsum(plot.area_ha for plot in needed)
    how = ""
    if rate_kg_ha is None:
        rates = {}
        for key in _TRIPLE:
            total = math.fsum(
                band_of(plot, key).low * kg
                for plot in needed
                for (supply, _t), kg in known_kg(plot).items()
                if supply == key
            )
            if ware.contents.get(key, 0.0) > 0 and area_ha > 0:
                rates[key] = total / ware.contents[key] / area_ha
        if not rates or max(rates.values()) <= 0:
            what = f"nothing that {name} supplies is needed"
            problems.append(Problem("habit of one product everywhere", what, "There is nothing to compare."))
            return None
        governing = max(sorted(rates), key=lambda key: rates[key])
        rate_kg_ha = rates[governing]
        how = f", at which the property as a whole gets all of its N, P2O5 and K2O ({governing} asks most)"
    shown = format_rate(rate_kg_ha, request.terms.units)
    lines = [
        Spread(plot.plot_id, name, None, _counted_kg(request, ware, rate_kg_ha * plot.area_ha, math.inf))
        for plot in needed
    ]
    return name, f"{name} on every plot that needs anything, at {shown}{how}.", lines


def _unlike(ware: Ware) -> float:
    """How unlike the three numbers of a product are: 0 for 10-10-10."""
    numbers = [ware.contents.get(key, 0.0) for key in _TRIPLE]
    return round((max(numbers) - min(numbers)) / max(*numbers, 1e-9), 3)


def _price_of_nutrients(request: Request, ware: Ware) -> float:
    """What a kilogram of N, P2O5 and K2O together costs in a product."""
    held = math.fsum(ware.contents.get(key, 0.0) for key in _TRIPLE)
    return round(_price_kg(request, ware) / max(held, 1e-9), 6)


def _price_kg(request: Request, ware: Ware) -> float:
    prices = [
        float(offer.price) / offer.package_kg
        for offer in request.offers
        if offer.product == ware.product.product
        and offer.price is not None
        and offer.package_kg
        and offer.offer_id not in request.stock_only
    ]
    return min(prices, default=math.inf)


def _singles(request: Request, problems: list[Problem]) -> list[Spread]:
    """Each need from the product that is cheapest for it alone, without counting what else that brings."""
    sources: dict[Supply, Ware] = {}
    lines: dict[tuple[str, str, Timing | None], float] = {}
    for plot in request.plots:
        for (supply, timing), mass_kg in known_kg(plot).items():
            ware = sources.get(supply) or _single_source(request, supply)
            if ware is None:
                what = f"nothing on offer supplies {supply}"
                where = f"habit of single products, plot {plot.plot_id}"
                problems.append(Problem(where, what, "It was left short."))
                continue
            sources[supply] = ware
            band = band_of(plot, supply)
            exact_kg = mass_kg / ware.contents[supply]
            key = (plot.plot_id, ware.product.product, timing)
            counted_kg = _counted_kg(request, ware, band.low * exact_kg, band.high * exact_kg)
            lines[key] = lines.get(key, 0.0) + counted_kg
    return [Spread(*key, mass_kg) for key, mass_kg in sorted(lines.items(), key=lambda item: str(item[0]))]


def _single_source(request: Request, supply: Supply) -> Ware | None:
    """Cheapest for one supply among products of that nutrient alone, else among all that hold it."""
    holding = [
        ware
        for ware in request.wares
        if ware.contents.get(supply, 0.0) > 0 and math.isfinite(_price_kg(request, ware))
    ]
    alone = [
        ware
        for ware in holding
        if is_lime(ware) == supply.is_lime
        and not any(ware.contents.get(other, 0.0) > 0 for other in _TRIPLE if other != supply)
    ]
    return min(
        alone or holding,
        key=lambda ware: (_price_kg(request, ware) / ware.contents[supply], ware.product.product),
        default=None,
    )


def _own(request: Request, own: Sequence[FixedPass], problems: list[Problem]) -> list[Spread]:
    plots = {plot.plot_id for plot in request.plots}
    offered = {offer.product for offer in request.offers}
    names = {ware.product.product for ware in request.wares} & offered
    lines = []
    for one in own:
        where = f"own list, {one.product} on plot {one.plot_id}"
        if one.plot_id not in plots:
            problems.append(Problem(where, f"plot {one.plot_id!r} is not known", "It was left out."))
        elif one.product not in names:
            problems.append(Problem(where, f"{one.product!r} is not on offer", "It was left out."))
        elif not (math.isfinite(one.mass_kg) and one.mass_kg >= 0):
            problems.append(Problem(where, f"{one.mass_kg} kg is not an amount", "It was left out."))
        elif one.mass_kg > 0:
            lines.append(Spread(one.plot_id, one.product, one.timing, one.mass_kg))
    return sorted(lines, key=lambda line: (line.plot_id, line.product, str(line.timing)))


# ---------------------------------------------------------------------------------------------
# Costing


def _costed(request: Request, name: str, how: str, lines: Sequence[Spread], plan: Plan | None) -> Habit:
    bought = shopping(request, lines, _one_offer_each(request, lines))
    empty = Plan("", Outcome.FOUND, None, Decimal(0), Decimal(0), Decimal(0), explanation=(how,))
    return _summed_up(request, name, how, write_plan(request, lines, bought, empty), plan)


def _summed_up(request: Request, name: str, how: str, made: Plan, plan: Plan | None) -> Habit:
    """Hold what is spread against the needs and their bands, the plan's and every habit's alike."""
    known = {plot.plot_id for plot in request.plots}
    lines = [line for line in spreads_of(made) if line.plot_id in known]
    share = covered(request.plots, request.wares, lines)
    rows = coverage(_asked_for_all(request), request.wares, lines)
    short = short_of_bands(request.plots, made)
    surplus = tuple(
        row for row in rows if row.need_kg is not None and row.supplied_kg > row.need_kg * (1 + 1e-6)
    )
    caps = {(plot.plot_id, supply): cap for plot in request.plots for supply, cap in plot.caps.items()}
    units = request.terms.units
    broken = tuple(
        f"Plot {row.plot_id}: {amount_text(row.supplied_kg, row.supply, units)}, over the cap of "
        f"{amount_text(caps[row.plot_id, row.supply], row.supply, units)}."
        for row in rows
        if row.supplied_kg > caps.get((row.plot_id, row.supply), math.inf) * (1 + 1e-6) + 1e-9
    )
    most = {offer.offer_id: offer.max_count for offer in request.offers}
    beyond = tuple(
        f"It takes {one.count:g} of {one.product} ({one.package}); the seller has {most[one.offer_id]}."
        for one in made.buy
        if one.count > (most.get(one.offer_id) or math.inf)
    )
    broken = (*broken, *beyond)
    return Habit(name, how, made, share, short, surplus, broken, _beside(request, made, share, short, plan))


def _counted_kg(request: Request, ware: Ware, low_kg: float, high_kg: float) -> float:
    """An amount as a person would count it out: whole and half packages where they fall inside the band."""
    half_kg = half_package_kg(ware, request.offers) or half_bucket_kg(ware, request.offers)
    half_kg = half_kg if request.terms.odd_amount_cost > 0 else 0.0
    if half_kg <= 0:
        return low_kg
    counted_kg = math.ceil(low_kg / half_kg - 1e-9) * half_kg
    return counted_kg if counted_kg <= high_kg * (1 + 1e-9) else low_kg


def _asked_for_all(request: Request) -> list[PlanPlot]:
    """The plots, with a need of nothing for every nutrient they did not ask for; lime counts in one basis."""
    keys = sorted({key for ware in request.wares for key in ware.contents if not Supply(key).is_lime})
    plots = []
    for plot in request.plots:
        asked = {demand.supply for demand in plot.demands}
        none = tuple(Demand(key, 0.0) for key in keys if key not in asked)
        plots.append(replace(plot, demands=(*plot.demands, *none)))
    return plots


def _one_offer_each(request: Request, lines: Sequence[Spread]) -> dict[str, tuple[Decimal, Decimal, float]]:
    """Buy each product from the one offer that covers it for least money, stock used first."""
    wanted: dict[str, float] = {}
    for line in lines:
        wanted[line.product] = wanted.get(line.product, 0.0) + line.mass_kg
    bought: dict[str, tuple[Decimal, Decimal, float]] = {}
    for product, mass_kg in sorted(wanted.items()):
        offers = [offer for offer in request.offers if offer.product == product]
        need_kg = mass_kg - sum(offer.in_stock * (offer.package_kg or 0.0) for offer in offers)
        choices = [
            (
                packages > (offer.max_count or math.inf),  # an offer that has enough goes first
                packages * price + offer.delivery_fee,
                offer.offer_id,
                packages,
                price,
                offer,
            )
            for offer in offers
            if offer.offer_id not in request.stock_only
            for packages, price in [_packages(offer, need_kg)]
        ]
        if need_kg > 1e-9 * mass_kg and choices:
            _scarce, _cost, offer_id, packages, price, offer = min(choices, key=lambda choice: choice[:3])
            bought[offer_id] = (packages, price, float(packages) * (offer.package_kg or 0.0))
    return bought


def _packages(offer: Offer, need_kg: float) -> tuple[Decimal, Decimal]:
    """Packages of an offer that hold so much, and the price each has at that count."""
    assert offer.package_kg is not None
    assert offer.price is not None
    exact = max(need_kg / offer.package_kg, float(offer.min_order))
    if not offer.divisible:
        packages = Decimal(math.ceil(exact - 1e-9))
    elif offer.increment_kg is not None:
        steps = math.ceil(exact * offer.package_kg / offer.increment_kg - 1e-9)
        packages = steps * Decimal(str(offer.increment_kg)) / Decimal(str(offer.package_kg))
    else:
        packages = Decimal(math.ceil(exact * 10_000 - 1e-4)) / 10_000
    price = offer.price
    for count, tier in offer.price_breaks:
        price = tier if packages >= count else price
    return packages, price


def _beside(request: Request, made: Plan, share: float, short: Sequence[Coverage], plan: Plan | None) -> str:
    if plan is None:
        return ""
    known = {plot.plot_id for plot in request.plots}
    lines = [line for line in spreads_of(plan) if line.plot_id in known]
    planned = covered(request.plots, request.wares, lines)
    difference = made.total_cost - plan.total_cost
    money = (
        "It costs the same as the plan"
        if difference == 0
        else f"It costs {format_money(abs(difference))} {'more' if difference > 0 else 'less'} than the plan"
    )
    needs = f"covers {share:.0%} of what is needed where the plan covers {planned:.0%}"
    left = f", and leaves {len(short)} need{'s' if len(short) != 1 else ''} short" if short else ""
    return f"{money}, {needs}{left}."


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The best use of one sum of money.

    Parameters
    ----------
    budget, cost
        What may be spent, and what is [money].
    covered
        Share of all known needs met, weighed by plot, area and priority [fraction].
    gap
        How much more, at most, that money could cover [fraction of what is covered at best]; for the
        last point the gap in cost.
    packages
        Packages to buy, bulk counted in its packages.
    plan
        The plan behind the point.
    """

    budget: Decimal
    cost: Decimal
    covered: float
    gap: float | None
    packages: float
    plan: Plan


@dataclass(frozen=True, slots=True)
class Variant:
    """One way to plan, beside the plan.

    Parameters
    ----------
    name
        What is different.
    cost, trips, hours, mass_kg
        Money, trips over plots, hours of spreading and filling, product in all [kg].
    short
        Needs left short of their bands.
    outcome
        What can be said of it.
    """

    name: str
    cost: Decimal
    trips: int
    hours: float
    mass_kg: float
    short: tuple[Coverage, ...]
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Asked:
    """What a variant is planned from."""

    name: str
    plots: tuple[PlanPlot, ...]
    offers: tuple[Offer, ...]
    terms: Terms


def dearer(offers: Sequence[Offer], product: str, times: float) -> tuple[Offer, ...]:
    """Give the offers with one product at so many times its price, price breaks left out.

    Parameters
    ----------
    offers
        The offers.
    product
        Which.
    times
        Factor on its price.

    Returns
    -------
    tuple of Offer
    """
    return tuple(
        replace(one, price=one.price * Decimal(str(times)), price_breaks=())
        if one.product == product and one.price is not None
        else one
        for one in offers
    )


def with_share(plots: Sequence[PlanPlot], share: float, of: Callable[[Supply], bool]) -> tuple[PlanPlot, ...]:
    """Give the plots with a share of some of their needs.

    Parameters
    ----------
    plots
        The plots.
    share
        Of those needs [fraction].
    of
        Tells of a supply whether it is one of them.

    Returns
    -------
    tuple of PlanPlot
    """
    return tuple(
        replace(
            plot,
            demands=tuple(
                replace(one, mass_kg=one.mass_kg * share)
                if of(one.supply) and one.mass_kg is not None
                else one
                for one in plot.demands
            ),
        )
        for plot in plots
    )


def what_if(
    asked: Sequence[Asked], wares: Sequence[Ware], progress: Callable[[str], None] | None = None
) -> tuple[Variant, ...]:
    """Plan every variant and lay them side by side; nothing is kept.

    Parameters
    ----------
    asked
        The variants.
    wares
        Products with what they deliver.
    progress
        Told of each variant as its turn comes.

    Returns
    -------
    tuple of Variant
    """
    found = []
    for one in asked:
        if progress is not None:
            progress(one.name)
        plan = make_plan(one.plots, wares, one.offers, one.terms)
        found.append(variant_of(one.name, plan, one.plots))
    return tuple(found)


def variant_of(name: str, plan: Plan, plots: Sequence[PlanPlot]) -> Variant:
    """Sum a plan up, to stand beside others."""
    short = short_of_bands(plots, plan)
    mass_kg = math.fsum(line.mass_kg for line in plan.lines)
    return Variant(name, plan.total_cost, len(plan.jobs), plan.hours, mass_kg, short, plan.outcome)


def coverage_curve(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    points: int = 8,
    progress: Callable[[str], None] | None = None,
    plan: Plan | None = None,
) -> tuple[CurvePoint, ...]:
    """Plan for rising budgets, up to the one that is enough for everything.

    Parameters
    ----------
    plots, wares, offers, terms
        As for `make_plan`; the budget in the terms is not looked at.
    points
        How many budgets, evenly spaced, the last one enough for all; at least 1.
    progress
        Told of each budget as its turn comes.
    plan
        The plan that is enough for everything, when it is known; None = it is made first.

    Returns
    -------
    tuple of CurvePoint
        Rising. A plan found for less money stands in for one that turned out to cover less, so that more
        money never covers less.
    """
    whole = plan or make_plan(plots, wares, offers, replace(terms, budget=None))
    curve: list[CurvePoint] = []
    for number in range(1, max(1, points) + 1):
        last = number == max(1, points)
        budget = whole.total_cost if last else cents(whole.total_cost * number / points)
        if progress is not None:
            progress(f"budget {number} of {points}")
        made = whole if last else spend(plots, wares, offers, replace(terms, budget=budget), whole)
        point = CurvePoint(
            budget=budget,
            cost=made.total_cost,
            covered=covered(plots, wares, spreads_of(made)),
            gap=made.gap,
            packages=sum(one.count for one in made.buy),
            plan=made,
        )
        if curve and curve[-1].covered > point.covered:
            point = replace(curve[-1], budget=budget)
        curve.append(point)
    return tuple(curve)
