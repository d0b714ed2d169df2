"""Would one blend, ordered for a group of plots, be the cheaper way, and which blend?

A blending plant mixes one recipe for one order; every plot of the group gets that recipe in a single pass,
at its own rate. The cheapest recipe is found here with a proof; whether to order it is then the planner's
choice, which gets the blend as one more offer. What a mixture guarantees is worked out in `blends`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_UP, Decimal

import numpy as np

from loamwright.errors import Problem
from loamwright.money import format_money, money_sign
from loamwright.planning.inputs import PlanPlot, Request, Terms, Ware, band_of, check_request, known_kg
from loamwright.planning.planner import Nearby, likely_of, make_plan
from loamwright.planning.records import DecideKind, LeftToDecide, Plan
from loamwright.planning.solver import Effort, Floats, Program
from loamwright.supplies import Form, Offer, Product, blend
from loamwright.units import (
    TON_KG,
    format_figure,
)
from loamwright.values import ARITHMETIC, Nutrient, Step, Supply, Timing

#: The recipe is proved cheapest to this [fraction].
_NEAR = 1e-6


@dataclass(frozen=True, slots=True)
class BlendService:
    """What a blending plant offers.

    Parameters
    ----------
    ingredients
        Products it blends, each at its lowest offered price by weight.
    fee_per_kg
        For blending [money per kg of blend].
    seller
        Who.
    group
        Plots that would get it; empty = every plot with a need.
    timing
        When it would be spread: needs tied to another time are left to other products; None = when most of
        what the ingredients hold is needed.
    min_order_kg
        Smallest order [kg].
    increment_kg
        Smallest step of an order [kg]; None = any amount.
    delivery_fee
        Once [money].
    prices_per_kg
        The plant's own prices of ingredients [money per kg], before the offers'.
    """

    ingredients: tuple[str, ...]
    fee_per_kg: Decimal = Decimal(0)
    seller: str = ""
    group: tuple[str, ...] = ()
    timing: Timing | None = None
    min_order_kg: float = 0.0
    increment_kg: float | None = None
    delivery_fee: Decimal = Decimal(0)
    prices_per_kg: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CustomBlend:
    """The cheapest recipe for a group of plots, and the plan that may order it.

    Parameters
    ----------
    ware, offer
        The blend as the planner sees it: one product, one offer.
    recipe
        (product, mass per mass of blend [fraction]), largest first.
    grade
        N-P2O5-K2O, to a tenth of a percent.
    group
        Plots the recipe was made for.
    left_out
        (plot_id, why) for plots the recipe would overdo.
    cost_bound
        Proved: no recipe for the group costs less for the ingredients [money].
    steps
        How the grade was reached.
    plan, without
        The property's plan with the blend on offer, and without it.
    ordered
        Whether the plan orders the blend.
    text
        The answer in sentences.
    """

    ware: Ware
    offer: Offer
    recipe: tuple[tuple[str, float], ...]
    grade: str
    group: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    cost_bound: float
    steps: tuple[Step, ...]
    plan: Plan
    without: Plan
    ordered: bool
    text: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Recipe:
    """Amounts of ingredients for one blend.

    Parameters
    ----------
    mass_kg
        Per ingredient [kg].
    cost, bound
        Of the ingredients, and the proved least any recipe costs [money].
    """

    mass_kg: Floats
    cost: float
    bound: float


def cheapest_recipe(
    needs_kg: Floats, contents: Floats, prices: Floats, kept: Floats | None = None
) -> Recipe | None:
    """Find the one mixture that meets several plots' needs for least money.

    Notes
    -----
    With u the masses of the ingredients, S(s) = Σ u × content the supply in the whole batch, and each plot
    taking the share w of the batch, plot p is served when w(p) ≥ need(p, s) / S(s) for every s. The shares
    add up to at most 1, so a batch will do exactly when g(S) = Σ_p max_s need(p, s) / S(s) ≤ 1. g is
    convex, so the cheapest batch is a convex program, solved by cutting planes (Kelley, The cutting-plane
    method for solving convex programs, J. SIAM 8, 1960, 703-712): each linear program gives a lower bound,
    and its batch scaled up by g gives a batch that will do. `kept` holds rows over the ingredients whose sum
    may not be above zero, which scaling does not change: a cap is kept at the rate that meets a need when
    need(p, s) × S(t) ≤ cap(p, t) × S(s).
    """
    wanted = needs_kg.sum(axis=0) > 0
    needs, held = needs_kg[:, wanted], contents[:, wanted]
    if not wanted.any() or (held.max(axis=0, initial=0.0) <= 0).any():
        return None
    cuts: list[tuple[Floats, float]] = [
        (row, float(total)) for row, total in zip(np.eye(needs.shape[1]), needs.sum(axis=0), strict=True)
    ]
    best = Recipe(np.zeros(len(prices)), math.inf, 0.0)
    for _round in range(500):
        program = Program()
        mass = program.add_columns(len(prices), cost=prices)
        number, width = len(cuts), len(prices)
        program.add_rows(
            number,
            np.repeat(np.arange(number), width),
            np.tile(mass, number),
            np.concatenate([held @ cut for cut, _least in cuts]),
            lower=np.array([least for _cut, least in cuts]),
        )
        if kept is not None and len(kept):
            number = len(kept)
            rows, columns = np.repeat(np.arange(number), width), np.tile(mass, number)
            program.add_rows(number, rows, columns, kept.ravel(), upper=0.0)
        solved = program.finish().solve(Effort())
        if not solved.has_values:
            return None
        supply = np.maximum(solved.values @ held, 1e-12)
        shares = needs / supply
        governing = shares.argmax(axis=1)
        load = float(shares.max(axis=1).sum())
        scaled = solved.values * max(1.0, load)
        if float(prices @ scaled) < best.cost:
            best = Recipe(scaled, float(prices @ scaled), best.bound)
        best = replace(best, bound=max(best.bound, solved.objective))
        if best.cost - best.bound <= _NEAR * best.cost:
            break
        # g(S) ≥ load + slope · (S − supply), and g ≤ 1 must hold: −slope · S ≥ load − slope · supply − 1
        slope = np.zeros(len(supply))
        np.add.at(slope, governing, -needs[np.arange(len(needs)), governing] / supply[governing] ** 2)
        least = load - float(slope @ supply) - 1.0
        scale = float(np.abs(slope).max())
        cuts.append((-slope / scale, least / scale))
    return best


def order_blend(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    service: BlendService,
    plan: Plan | None = None,
) -> CustomBlend | Problem:
    """Find the cheapest blend for a group of plots and let the planner decide whether to order it.

    Parameters
    ----------
    plots, wares, offers, terms
        As for `make_plan`.
    service
        What the plant blends, for which plots, at which fee.
    plan
        The property's plan without the blend, made from these; None = it is made here.

    Returns
    -------
    CustomBlend or Problem
        A problem when no blend can be made.

    Notes
    -----
    A blend is for the nutrients its ingredients hold most of; what they carry along is only kept under the
    caps, and what it leaves of other needs is planned besides. The recipe is proved cheapest for that, met
    to the lower edge of the bands within the caps and safe rates, at the ingredients' prices by weight.
    Where no one recipe does that for every plot, it is also tried with a nutrient less, which other products
    then bring, and with plots left out, those that need least first; of these that is taken which serves
    most: for plots that were named the most plots, then what is worth most at the ingredients' prices. The
    plan with the blend is proved cheapest among plans that use this recipe.
    """
    made = _made(plots, wares, offers, terms, service)
    if isinstance(made, Problem):
        return made
    with_blend = [_let_in(plot, made.ware, made.group, _names(wares)) for plot in plots]
    with_it = make_plan(with_blend, [*wares, made.ware], [*offers, made.offer], terms)
    without = make_plan(plots, wares, offers, terms) if plan is None else plan
    ordered = any(one.offer_id == made.offer.offer_id and one.count > 0 for one in with_it.buy)
    return CustomBlend(
        made.ware,
        made.offer,
        made.recipe,
        made.grade,
        made.group,
        made.left_out,
        made.cost_bound,
        made.steps,
        with_it,
        without,
        ordered,
        _sentences(made, with_it, without, ordered),
    )


def blend_option(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    service: BlendService,
    plan: Plan,
) -> LeftToDecide | str:
    """Say what a blend would bring to a plan, in a quick look near the plan.

    Parameters
    ----------
    plots, wares, offers, terms
        As for `make_plan`.
    service
        What the plant blends, at which fee.
    plan
        The plan made from these.

    Returns
    -------
    LeftToDecide or str
        What it is made of, what it costs, and between which sums ordering it would save, as far as the quick
        look proved either side, with every amount weighed out; or in a sentence why it would not pay, or
        why there is none.
    """
    made = _made(plots, wares, offers, terms, service)
    if isinstance(made, Problem):
        return f"{made.where[:1].upper()}{made.where[1:]}: {made.what}."
    plainly = replace(terms, odd_amount_cost=Decimal(0), least_job_share=0.0, budget=None)
    likely = likely_of(plan)
    without = Nearby(likely).plan(plots, wares, offers, plainly)
    name = made.ware.product.product
    nearby = Nearby(likely | {(plot_id, name) for plot_id in made.group})
    with_blend = [_let_in(plot, made.ware, made.group, _names(wares)) for plot in plots]
    with_it = nearby.plan(with_blend, [*wares, made.ware], [*offers, made.offer], plainly)
    saved = float(without.total_cost - with_it.total_cost)
    least = saved - float(without.total_cost) * (without.gap or 0.0)
    most = saved + float(with_it.total_cost) * (with_it.gap or 0.0)
    ordered = any(one.offer_id == made.offer.offer_id and one.count > 0 for one in with_it.buy)
    words = _recipe_words(made)
    if not ordered or saved <= 0:
        return f"{words} It would not pay."
    trips = len(without.jobs) - len(with_it.jobs)
    fewer = f" and {trips} trip{'s' if trips > 1 else ''}" if trips > 0 else ""
    low, high = (format_money(Decimal(round(sum_))) for sum_ in (max(0.0, least), most))
    said = low if low == high else f"{low} to {high}"
    words = f"{words} Ordering it would save about {said}{fewer}, every amount weighed out."
    return LeftToDecide(DecideKind.BLEND, words)


@dataclass(frozen=True, slots=True)
class _Made:
    """A recipe put on offer."""

    ware: Ware
    offer: Offer
    recipe: tuple[tuple[str, float], ...]
    grade: str
    group: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    left_to_others: tuple[Supply, ...]
    cost_bound: float
    steps: tuple[Step, ...]
    metric: bool


@dataclass(frozen=True, slots=True)
class _Group:
    """Plots that one recipe serves, and which of their needs it answers."""

    plots: tuple[PlanPlot, ...]
    keys: tuple[Supply, ...]
    recipe: Recipe
    left_out: tuple[tuple[str, str], ...]
    worth: float


def _made(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    service: BlendService,
) -> _Made | Problem:
    """Find group and recipe, and put the blend on offer."""
    request = check_request(plots, wares, offers, replace(terms, fixed=()))
    prices = {
        ware.product.product: _price_kg(request, ware.product.product, service)
        for ware in request.wares
        if ware.product.product in service.ingredients
    }
    parts = [ware for ware in request.wares if math.isfinite(prices.get(ware.product.product, math.inf))]
    where = f"custom blend of {', '.join(service.ingredients)}"
    if not parts:
        return Problem(where, "none of the ingredients is on offer at a usable price", "Add offers of them.")
    among = [plot for plot in request.plots if not service.group or plot.plot_id in service.group]
    for_keys = sorted({max(ware.contents, key=ware.contents.__getitem__) for ware in parts if ware.contents})
    timing = service.timing or _busiest(among, for_keys)
    service = replace(service, timing=timing)
    cost = np.array([prices[ware.product.product] for ware in parts])
    needing = [plot for plot in among if any(_asked(plot, for_keys, timing).values())]
    if not needing:
        return Problem(where, "nothing it holds is needed", "Choose other plots or ingredients.")
    found: list[_Group] = []
    for size in range(len(for_keys), 0, -1):
        found.extend(
            group
            for keys in itertools.combinations(for_keys, size)
            if size == len(for_keys) or size > 1
            if (group := _grouped(needing, keys, parts, cost, timing)).plots
        )
        if any(len(group.plots) == len(needing) for group in found):
            break  # every plot is served; fewer nutrients serve no more of them
    if not found:
        left_out = _grouped(needing, tuple(for_keys), parts, cost, timing).left_out
        told = "; ".join(": ".join(one) for one in left_out)
        what = f"no recipe serves a plot of the group within its caps ({told})"
        return Problem(where, what, "Choose other plots or ingredients.")
    best = max(found, key=lambda one: (len(one.plots) if service.group else 0, one.worth))
    return _on_offer(request, service, parts, best, tuple(key for key in for_keys if key not in best.keys))


def _grouped(
    plots: Sequence[PlanPlot],
    keys: tuple[Supply, ...],
    parts: Sequence[Ware],
    cost: Floats,
    timing: Timing | None,
) -> _Group:
    """Take plots into a group as long as one recipe serves them all, those that need most first."""
    price = {
        key: min(
            (
                float(one) / ware.contents[key]
                for ware, one in zip(parts, cost, strict=True)
                if ware.contents.get(key)
            ),
            default=0.0,
        )
        for key in keys
    }

    def worth(plot: PlanPlot) -> float:
        return sum(price[key] * kg for key, kg in _asked(plot, keys, timing).items())

    asking = [plot for plot in plots if any(_asked(plot, keys, timing).values())]
    together = _for_group(asking, keys, parts, cost, timing) if asking else None
    if together is not None:
        return _Group(tuple(asking), keys, together, (), sum(map(worth, asking)))
    group: list[PlanPlot] = []
    recipe = Recipe(np.zeros(len(parts)), math.inf, 0.0)
    left_out: list[tuple[str, str]] = []
    for plot in sorted(asking, key=lambda plot: (-worth(plot), plot.plot_id)):
        tried = _for_group([*group, plot], keys, parts, cost, timing)
        if tried is not None:
            group.append(plot)
            recipe = tried
        elif not group or _for_group([plot], keys, parts, cost, timing) is None:
            why = "no recipe of these ingredients meets its needs within its caps"
            left_out.append((plot.plot_id, why))
        else:
            why = "its needs are too unlike the others' for one recipe within the caps"
            left_out.append((plot.plot_id, why))
    group.sort(key=lambda plot: plot.plot_id)
    return _Group(tuple(group), keys, recipe, tuple(sorted(left_out)), sum(map(worth, group)))


def _for_group(
    group: Sequence[PlanPlot],
    keys: Sequence[Supply],
    parts: Sequence[Ware],
    cost: Floats,
    timing: Timing | None,
) -> Recipe | None:
    """The cheapest recipe that serves every plot of a group within its caps; None when there is none."""
    contents = np.array([[ware.contents.get(key, 0.0) for key in keys] for ware in parts])
    needs = np.array([list(_asked(plot, keys, timing).values()) for plot in group])
    return cheapest_recipe(needs, contents, cost, _kept(group, needs, contents, parts))


def _kept(group: Sequence[PlanPlot], needs: Floats, contents: Floats, parts: Sequence[Ware]) -> Floats:
    """Rows that keep caps and safe rates at the rate that meets each need of each plot."""
    rows = []
    for plot, need in zip(group, needs, strict=True):
        for governing in np.flatnonzero(need > 0):
            brought = contents[:, governing]
            for key, cap in plot.caps.items():
                held = np.array([ware.contents.get(key, 0.0) for ware in parts])
                if math.isfinite(cap) and held.any():
                    rows.append(need[governing] * held - cap * brought)
            for place, ware in enumerate(parts):
                if ware.product.max_rate_kg_ha is not None:
                    row = -ware.product.max_rate_kg_ha * plot.area_ha * brought
                    row[place] += need[governing]
                    rows.append(row)
    scaled = [row / max(float(np.abs(row).max()), 1e-12) for row in rows]
    return np.array(scaled).reshape(len(scaled), len(parts))


def _busiest(group: Sequence[PlanPlot], keys: Sequence[Supply]) -> Timing | None:
    """The time at which most of what these products hold is needed, by weight; None when needs are free."""
    total: dict[Timing | None, float] = {}
    for plot in group:
        for (supply, when), mass_kg in known_kg(plot).items():
            if supply in keys and supply not in plot.rest_ha:
                total[when] = total.get(when, 0.0) + mass_kg
    dated = {when: mass_kg for when, mass_kg in total.items() if when is not None}
    if not dated or max(dated.values()) < total.get(None, 0.0):
        return None
    return max(sorted(dated, key=list(Timing).index), key=lambda when: dated[when])


def _price_kg(request: Request, product: str, service: BlendService) -> float:
    if product in service.prices_per_kg:
        return service.prices_per_kg[product]
    prices = [
        float(offer.price) / offer.package_kg
        for offer in request.offers
        if offer.product == product
        and offer.offer_id not in request.stock_only
        and offer.price is not None
        and offer.package_kg
    ]
    return min(prices, default=math.inf)


def _asked(plot: PlanPlot, keys: Sequence[Supply], timing: Timing | None) -> dict[Supply, float]:
    """What one pass over all of a plot can answer: the lower edges of needs free in time or tied to it."""
    total = dict.fromkeys(keys, 0.0)
    for (supply, when), mass_kg in known_kg(plot).items():
        if supply in total and when in (None, timing) and supply not in plot.rest_ha:
            total[supply] += band_of(plot, supply).low * mass_kg
    return total


def _on_offer(
    request: Request,
    service: BlendService,
    parts: Sequence[Ware],
    group: _Group,
    left_to_others: tuple[Supply, ...],
) -> _Made:
    """Put the blend on offer."""
    recipe, terms = group.recipe, request.terms
    total = float(recipe.mass_kg.sum())
    used = [
        (ware, float(mass) / total)
        for ware, mass in zip(parts, recipe.mass_kg, strict=True)
        if mass > 1e-9 * total
    ]
    used.sort(key=lambda item: (-item[1], item[0].product.product))
    mixed = blend([(ware.product, fraction) for ware, fraction in used])
    supplied: dict[Supply, float] = {}
    for ware, fraction in used:
        for key, content in ware.contents.items():
            supplied[key] = supplied.get(key, 0.0) + content * fraction
    ware = _as_ware(f"custom blend {mixed.grade}", supplied, used, service.timing)
    metric = terms.units == "metric"
    ton_kg, ton = (1000.0, "t") if metric else (TON_KG, "ton")
    least = service.min_order_kg / ton_kg
    tons = 1.0 if math.isclose(least, round(least), abs_tol=1e-9) else least  # counted in its least order
    package_kg = tons * ton_kg
    price = Decimal(recipe.cost / total * package_kg) + service.fee_per_kg * Decimal(package_kg)
    offer = Offer(
        offer_id=f"{ware.product.product} by weight",
        product=ware.product.product,
        package=f"{tons:g} {ton} bulk",
        package_kg=package_kg,
        price=price.quantize(Decimal("0.01"), ROUND_UP),
        divisible=True,
        increment_kg=service.increment_kg,
        seller=service.seller,
        min_order=math.ceil(service.min_order_kg / package_kg - 1e-9),
        delivery_fee=service.delivery_fee,
    )
    names = tuple(plot.plot_id for plot in group.plots)
    recipe_named = tuple((one.product.product, fraction) for one, fraction in used)
    steps = (
        *mixed.steps,
        Step(
            f"price: ingredients {format_money(Decimal(recipe.cost).quantize(Decimal('0.01')))} for "
            f"{format_figure(total / package_kg)} × {offer.package}, and the blending fee",
            float(offer.price or 0),
            f"{money_sign()} per {offer.package}",
            ARITHMETIC,
        ),
    )
    return _Made(
        ware,
        offer,
        recipe_named,
        mixed.grade,
        names,
        group.left_out,
        left_to_others,
        recipe.bound,
        steps,
        metric,
    )


def _names(wares: Sequence[Ware]) -> frozenset[str]:
    return frozenset(one.product.product for one in wares)


def _as_ware(
    name: str, contents: Mapping[Supply, float], used: Sequence[tuple[Ware, float]], timing: Timing | None
) -> Ware:
    """The blend as a product: its analysis, and the safe rate at which its tightest part is at its own."""
    known = {nutrient.value for nutrient in Nutrient}
    safe = [
        ware.product.max_rate_kg_ha / fraction
        for ware, fraction in used
        if ware.product.max_rate_kg_ha is not None
    ]
    product = Product(
        product=name,
        form=Form.DRY,
        analysis_pct={Nutrient(key): content * 100 for key, content in contents.items() if key in known},
        max_rate_kg_ha=min(safe, default=None),
        equipment=_shared_equipment([ware for ware, _fraction in used]),
        timings=() if timing is None else (timing,),
        contains=tuple(sorted({word for ware, _fraction in used for word in ware.product.contains})),
    )
    return Ware(product, dict(contents))


def _shared_equipment(parts: Sequence[Ware]) -> tuple[str, ...]:
    """What spreads every part: a part that names none goes with anything."""
    named = [ware.product.equipment for ware in parts if ware.product.equipment]
    if not named:
        return ()
    others = [{name.casefold() for name in names} for names in named[1:]]
    return tuple(name for name in named[0] if all(name.casefold() in names for names in others))


def _let_in(plot: PlanPlot, ware: Ware, names: Sequence[str], others: frozenset[str]) -> PlanPlot:
    allowed = others if plot.allowed_products is None else plot.allowed_products
    if plot.plot_id in names:
        allowed = allowed | {ware.product.product}
    return replace(plot, allowed_products=allowed)


def _recipe_words(made: _Made) -> str:
    mix = ", ".join(f"{fraction:.1%} {name}" for name, fraction in made.recipe)
    assert made.offer.price is not None
    assert made.offer.package_kg is not None
    ton = "t" if made.metric else "ton"
    per_ton = made.offer.price * Decimal((1000.0 if made.metric else TON_KG) / made.offer.package_kg)
    seller = f" from {made.offer.seller}" if made.offer.seller else ""
    return (
        f"The cheapest single blend for {', '.join(made.group)} is {made.grade} ({mix}), "
        f"{format_money(per_ton.quantize(Decimal('0.01')))} per {ton}{seller}."
    )


def _sentences(made: _Made, plan: Plan, without: Plan, ordered: bool) -> tuple[str, ...]:
    words = [_recipe_words(made)]
    if made.left_to_others:
        others = " and ".join(made.left_to_others)
        words.append(f"{others} is left to other products: with it no one recipe serves these plots.")
    apart: dict[str, list[str]] = {}
    for plot_id, why in made.left_out:
        apart.setdefault(why, []).append(plot_id)
    words.extend(f"Not in the group: {', '.join(plots)}; {why}." for why, plots in apart.items())
    if ordered:
        saved = format_money(without.total_cost - plan.total_cost)
        words.append(
            f"Ordering it brings the plan to {format_money(plan.total_cost)}, {saved} less than without."
        )
    else:
        words.append(f"It does not pay: the plan without it costs {format_money(without.total_cost)}.")
    return tuple(words)
