"""Why is the plan what it is? Marginal prices, what would enter at which price, what a nutrient costs.

Two kinds of figure, and every one says which it is. *By the pound*: the passes and orders stay as planned
and packages could be split; this is the dual of a linear program, exact but blind to whole packages. *In
whole packages*: the property is planned again with one thing changed, and the difference is the answer;
this counts every bag, and is as certain as the two plans are proved.
"""

from __future__ import annotations

import contextvars
import math
import os
import threading
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, Decimal
from enum import StrEnum
from typing import Any, TypeVar

import numpy as np

from loamwright.money import format_money
from loamwright.planning.inputs import (
    Demand,
    PlanPlot,
    Request,
    Terms,
    Ware,
    amount_text,
    check_request,
    machines_of,
    offer_text,
)
from loamwright.planning.lines import spreads_of, trips
from loamwright.planning.model import PlanModel, build
from loamwright.planning.passes import TIMES
from loamwright.planning.planner import Nearby, likely_of, make_plan
from loamwright.planning.records import Outcome, Plan
from loamwright.planning.solver import Effort, Flags, Floats, Found
from loamwright.supplies import Offer
from loamwright.units import (
    LB_KG,
)
from loamwright.values import Supply

#: Questions answered at the same time, at most one a core (our choice: each holds a model of the property).
AT_ONCE = 4
T = TypeVar("T")

#: How much more of a nutrient is asked for when the cost of more is worked out [fraction].
MORE = 0.1
_CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class NutrientReason:
    """What one supply costs.

    Parameters
    ----------
    supply
        Supply key.
    need_kg
        Known needs of the property [kg].
    price_per_kg
        By the pound: what one more kilogram, spread like the needs, adds [money per kg]; None when the
        plan's passes cannot bring more.
    without
        In whole packages: saved if this supply were not asked for at all [money].
    more, more_kg
        In whole packages: added if a tenth more were needed everywhere [money], [kg].
    price_in_packages_per_kg
        `more` over `more_kg` [money per kg]; None when a tenth more cannot be planned.
    certain_to
        The two costs in whole packages are certain to within this [money].
    text
        All of it in sentences that say which figure is which.
    """

    supply: Supply
    need_kg: float
    price_per_kg: float | None
    without: Decimal | None
    more: Decimal | None
    more_kg: float
    price_in_packages_per_kg: float | None
    certain_to: Decimal
    text: str


@dataclass(frozen=True, slots=True)
class EntryPrice:
    """At which price an offer that is not bought would be.

    Parameters
    ----------
    offer_id, product
        The offer.
    price
        Asked now [money].
    enters_at
        Price of one package at and below which buying it would not cost more than the plan [money];
        None when nobody would want it for nothing.
    count
        Packages that would then be bought.
    certain_to
        The price is certain to within this [money]: the gaps of the plans compared, per package.
    text
        In a sentence.
    """

    offer_id: str
    product: str
    price: Decimal
    enters_at: Decimal | None
    count: float
    certain_to: Decimal
    text: str


@dataclass(frozen=True, slots=True)
class PriceRange:
    """What changes when the price of one offer moves to an end of its range.

    Parameters
    ----------
    offer_id
        The offer.
    price
        The price tried [money].
    cost
        Of the plan at that price [money].
    changes
        What would be bought otherwise, a phrase each; empty when the decisions stay.
    text
        In a sentence.
    """

    offer_id: str
    price: Decimal
    cost: Decimal
    changes: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class PlotCost:
    """What one plot costs.

    Parameters
    ----------
    plot_id
        Which plot.
    cost
        Its share of the plan [money].
    cost_per_ha
        The same per spread area [money per ha]; None without an area.
    """

    plot_id: str
    cost: Decimal
    cost_per_ha: Decimal | None


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why a plan is what it is.

    Parameters
    ----------
    nutrients
        Dearest first.
    entries
        Offers not bought, those nearest to entering first.
    ranges
        Ends of stated price ranges.
    plots
        Dearest first.
    summary
        Sentences: what drives the cost.
    """

    nutrients: tuple[NutrientReason, ...]
    entries: tuple[EntryPrice, ...]
    ranges: tuple[PriceRange, ...]
    plots: tuple[PlotCost, ...]
    summary: tuple[str, ...]


class Question(StrEnum):
    """What can be asked of a plan, one at a time."""

    NUTRIENTS = "nutrients"  #: what each nutrient costs
    OFFERS = "offers"  #: at which price what is not bought would be
    PRICES = "prices"  #: what changes within the stated price ranges


def explain(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    plan: Plan,
    progress: Callable[[str], None] | None = None,
    questions: Collection[Question] = tuple(Question),
    thorough: bool = False,
) -> Reasons:
    """Say why a plan is what it is, by planning again with one thing changed at a time.

    Parameters
    ----------
    plots, wares, offers, terms
        What the plan was made from; the budget is not looked at, the time limit holds for each new plan.
    plan
        The plan to explain.
    progress
        Told of each question as its turn comes.
    questions
        Which to ask; what each plot costs is always told.
    thorough
        True to plan the whole property again for each question, which takes minutes; else only the products
        that the plan, or the relaxation of the question, puts on each plot are looked at.

    Returns
    -------
    Reasons
    """
    tell = _Told(progress or (lambda _stage: None))
    terms = replace(terms, budget=None)
    near = None if thorough else Nearby(likely_of(plan))
    if near is not None or terms.odd_amount_cost or terms.least_job_share:
        # The questions are about prices: every amount weighed out and every job planned, on both sides.
        # Near the plan, all of them start from this one, whichever is answered first.
        terms = replace(terms, odd_amount_cost=Decimal(0), least_job_share=0.0)
        tell("the plan as it is, every amount weighed out")
        plan = (make_plan if near is None else near.plan)(plots, wares, offers, terms)
    tell("prices by the pound")
    by_the_pound = pound_prices(check_request(plots, wares, offers, terms), plan)
    asked = _Asked(plots, wares, offers, terms, plan, by_the_pound, near)
    bought = {one.offer_id for one in plan.buy if one.count > 0}
    in_order = sorted((one for one in offers if _can_be_bought(one)), key=lambda one: one.offer_id)
    others = [one for one in in_order if one.offer_id not in bought] if Question.OFFERS in questions else []
    moved = [
        (one, price)
        for one in (in_order if Question.PRICES in questions else ())
        for price in (one.price_low, one.price_high)
        if price is not None and price > 0 and price != one.price
    ]
    supplies = asked.supplies() if Question.NUTRIENTS in questions else []
    tell.begin(len(supplies) + len(others) + len(moved))
    with ThreadPoolExecutor(max_workers=max(1, min(AT_ONCE, os.cpu_count() or 1))) as pool:

        def ask(words: str, question: Callable[..., T], *about: Any) -> Future[T]:
            def answer() -> T:
                tell(words)
                return question(*about)

            return pool.submit(contextvars.copy_context().run, answer)

        # The solver lets other threads run. Those that plan most often come first: all end about together.
        asked_entries = [
            ask(f"at which price {offer_text(offer)} would enter", asked.entry, offer) for offer in others
        ]
        asked_nutrients = [
            ask(f"what {supply} costs", asked.nutrient, supply, by_the_pound.get(supply))
            for supply in supplies
        ]
        asked_ranges = [
            ask(f"{offer_text(offer)} at {format_money(price)}", asked.at_price, offer, price)
            for offer, price in moved
        ]
    nutrients = [one.result() for one in asked_nutrients]
    entries = [one.result() for one in asked_entries]
    ranges = [one.result() for one in asked_ranges]
    nutrients.sort(key=lambda one: (-(one.without or Decimal(0)), one.supply))
    entries.sort(key=lambda one: (-_nearness(one), one.offer_id))
    area = {plot.plot_id: plot.area_ha for plot in plots}
    shares = [
        PlotCost(
            plot_id,
            cost,
            (cost / Decimal(str(area[plot_id]))).quantize(_CENT) if area.get(plot_id, 0.0) > 0 else None,
        )
        for plot_id, cost in sorted(plan.plot_costs.items(), key=lambda item: (-item[1], item[0]))
    ]
    return Reasons(
        tuple(nutrients),
        tuple(entries),
        tuple(ranges),
        tuple(shares),
        _summary(plan, nutrients, entries, ranges, {one.offer_id: offer_text(one) for one in offers}),
    )


class _Told:
    """Progress with the number of the question and how long the others will about take."""

    def __init__(self, progress: Callable[[str], None]) -> None:
        self.progress, self.number, self.total, self.began = progress, 0, 0, 0.0
        self.one_by_one = threading.Lock()

    def begin(self, total: int) -> None:
        self.total, self.began = total, time.monotonic()

    def __call__(self, words: str) -> None:
        if not self.total:
            self.progress(words)
            return
        with self.one_by_one:
            took_s = time.monotonic() - self.began
            left_s = took_s / self.number * (self.total - self.number) if self.number else 0.0
            about = f", about {left_s:.0f} s left" if self.number else ""
            self.number += 1
            self.progress(f"{words} ({self.number} of {self.total}{about})")


def _can_be_bought(offer: Offer) -> bool:
    return offer.price is not None and offer.price > 0 and bool(offer.package_kg and offer.package_kg > 0)


def _nearness(entry: EntryPrice) -> float:
    return float(entry.enters_at / entry.price) if entry.enters_at is not None else -1.0


# ---------------------------------------------------------------------------------------------
# By the pound: the dual of the plan's linear program


def pound_prices(request: Request, plan: Plan) -> Mapping[Supply, float]:
    """Marginal price of each supply with the plan's passes and orders kept and packages divisible.

    Notes
    -----
    The switches of the program are fixed to the plan's passes, the orders to the plan's purchases, and the
    counts are continuous. The dual of a need's row is what one more unit of that need costs; weighed by the
    needs, it is the price of one more kilogram spread like the needs.
    """
    plan_model = build(request)
    model = plan_model.model.copy()
    passes = plan_model.passes
    on = _made(plan_model, plan)
    jobs = np.zeros(passes.jobs.count, bool)
    np.logical_or.at(jobs, passes.job, on | passes.forced)
    switched = plan_model.switch >= 0
    model.lower[plan_model.switch[switched]] = jobs[switched]
    model.upper[plan_model.switch[switched]] = jobs[switched]
    # an amount is not held to what is needed today, only to what is allowed
    roomy = np.where(np.isfinite(passes.limit_kg), passes.limit_kg / passes.high_kg, math.inf)
    model.upper[plan_model.amount] = np.where(on | passes.forced, np.maximum(1.0, roomy), 0.0)
    model.row_upper[plan_model.switch_rows] = math.inf
    model.row_lower[plan_model.total_rows] = -math.inf  # a price is that of a need's row alone
    _fix_orders(plan_model, plan, model.lower, model.upper)
    solved = model.solve(Effort(), relaxed=True)
    if solved.found is not Found.OPTIMAL:
        return {}
    dual: dict[Supply, float] = {}
    mass: dict[Supply, float] = {}
    for row, members in plan_model.need_rows:
        supply = plan_model.supplies[plan_model.cells[members[0]].supply]
        dual[supply] = dual.get(supply, 0.0) + max(0.0, float(solved.duals[row]))
    for cell in plan_model.cells:
        supply = plan_model.supplies[cell.supply]
        mass[supply] = mass.get(supply, 0.0) + cell.mass_kg
    return {supply: total / mass[supply] for supply, total in dual.items()}


def _made(plan_model: PlanModel, plan: Plan) -> Flags:
    """Which passes of the program a plan makes: each load in a job that can carry all of it."""
    passes, request = plan_model.passes, plan_model.request
    jobs = passes.jobs
    names = [ware.product.product for ware in request.wares]
    members: dict[int, dict[str, int]] = {}
    for number in range(passes.count):
        members.setdefault(int(passes.job[number]), {})[names[passes.ware[number]]] = number
    machine = [one.name for one in machines_of(request.terms)]
    on = np.zeros(passes.count, bool)
    for load in trips(request, spreads_of(plan)).values():
        products = {one.product for one in load}
        able = [
            job
            for job, carried in members.items()
            if request.plots[jobs.plot[job]].plot_id == load[0].plot_id
            and TIMES[jobs.time[job]] in (load[0].timing, None)
            and products <= carried.keys()
        ]
        for job in sorted(
            able,
            key=lambda job: (
                TIMES[jobs.time[job]] is None and load[0].timing is not None,
                machine[jobs.machine[job]] != load[0].machine,
                job,
            ),
        )[:1]:
            on[[members[job][product] for product in products]] = True
    return on


def _fix_orders(plan_model: PlanModel, plan: Plan, lower: Floats, upper: Floats) -> None:
    """Keep the orders of the plan, at any count within the price tier."""
    count = {one.offer_id: one.count for one in plan.buy if one.count > 0}
    for column, order, tier in zip(plan_model.count, plan_model.order, plan_model.tiers, strict=True):
        offer = plan_model.request.offers[tier.offer]
        units = count.get(offer.offer_id, 0.0) / tier.packages_per_unit
        bought = units > 0 and tier.first - 1e-6 <= units <= tier.last + 1e-6
        if order >= 0:
            lower[order] = upper[order] = float(bought)
        if bought:
            upper[column] = math.inf if offer.max_count is None else offer.max_count / tier.packages_per_unit
            if order >= 0:
                upper[column] = tier.last


# ---------------------------------------------------------------------------------------------
# In whole packages: planning again


class _Asked:
    """What the plan was made from, to ask again with one thing changed."""

    def __init__(
        self,
        plots: Sequence[PlanPlot],
        wares: Sequence[Ware],
        offers: Sequence[Offer],
        terms: Terms,
        plan: Plan,
        by_the_pound: Mapping[Supply, float],
        near: Nearby | None,
    ) -> None:
        self.by_the_pound, self.near = by_the_pound, near
        self.plots, self.wares, self.offers, self.terms, self.plan = plots, wares, offers, terms, plan
        gap = plan.gap if plan.gap is not None else terms.gap
        self.base_doubt = plan.total_cost * Decimal(str(gap))

    def supplies(self) -> list[Supply]:
        """Supplies with a known need."""
        return sorted({demand.supply for plot in self.plots for demand in plot.demands if demand.mass_kg})

    def again(
        self,
        plots: Sequence[PlanPlot] | None = None,
        offers: Sequence[Offer] | None = None,
        about: str = "",
    ) -> Plan:
        plots = self.plots if plots is None else plots
        offers = self.offers if offers is None else offers
        if self.near is None:
            return make_plan(plots, self.wares, offers, self.terms)
        return self.near.plan(plots, self.wares, offers, self.terms, about)

    def nutrient(self, supply: Supply, price_per_kg: float | None) -> NutrientReason:
        need_kg = sum(
            demand.mass_kg or 0.0 for plot in self.plots for demand in plot.demands if demand.supply == supply
        )
        units = self.terms.units
        unit_kg, unit = (1.0, "kg") if units == "metric" else (LB_KG, "lb")
        doubt = self.base_doubt
        without_plan = self.again([_scaled(plot, supply, 0.0) for plot in self.plots])
        without = self.plan.total_cost - without_plan.total_cost
        more_plan = self.again([_scaled(plot, supply, 1.0 + MORE) for plot in self.plots])
        more_kg = MORE * need_kg
        same = (more_plan.outcome is Outcome.IMPOSSIBLE) == (self.plan.outcome is Outcome.IMPOSSIBLE)
        more = more_plan.total_cost - self.plan.total_cost if same else None
        in_packages = float(more) / more_kg if more is not None and more_kg > 0 else None
        doubt = max(doubt, *(self._doubt(one) for one in (without_plan, more_plan)))
        words = [f"{amount_text(need_kg, supply, units)} are needed."]
        if price_per_kg is None:
            words.append("By the pound: the plan's passes cannot bring more of it.")
        else:
            money = format_money(Decimal(price_per_kg * unit_kg).quantize(_CENT))
            words.append(
                f"By the pound (passes and orders as planned, packages divisible): one more {unit} costs "
                f"{money}."
            )
        if in_packages is None or more is None:
            words.append("In whole packages (planned again): a tenth more cannot be met.")
        else:
            each = format_money(Decimal(in_packages * unit_kg).quantize(_CENT))
            words.append(
                "In whole packages (planned again): "
                f"a tenth more costs {format_money(more)}, {each} a {unit}."
            )
        words.append(f"Without it the plan would cost {format_money(without)} less.")
        near = "" if self.near is None else " among the products the plan and its relaxation put on each plot"
        words.append(f"Planned-again costs are certain to {format_money(doubt.quantize(_CENT))}{near}.")
        return NutrientReason(
            supply,
            need_kg,
            price_per_kg,
            without,
            more,
            more_kg,
            in_packages,
            doubt.quantize(_CENT),
            " ".join(words),
        )

    def _doubt(self, plan: Plan) -> Decimal:
        gap = plan.gap if plan.gap is not None else self.terms.gap
        return plan.total_cost * Decimal(str(gap))

    def entry(self, offer: Offer) -> EntryPrice:
        """Find the highest price at which an offer not bought would pay.

        At a price p the best plan costs f(p). Where f(p) is below today's cost the plan buys n of the offer
        and pays c for everything else; at (today − c) / n that plan costs what today's does. Planning again
        at that price either finds nothing better, and it is the answer, or gives the next, higher price
        (Dinkelbach, On nonlinear fractional programming, Management Science 13, 1967, 492-498).
        """
        assert offer.price is not None
        price, count, doubt = self._guess(offer), 0.0, self.base_doubt
        for _round in range(8):
            plan = self._priced(offer, price)
            number = sum(one.count for one in plan.buy if one.offer_id == offer.offer_id)
            if number <= 0 and count == 0 and price > _CENT:
                price = _CENT  # the guess was too high
                continue
            if number <= 0:
                break
            other = plan.total_cost - sum(
                (one.cost for one in plan.buy if one.offer_id == offer.offer_id), Decimal(0)
            )
            doubt = (self.base_doubt + self._doubt(plan)) / Decimal(str(number))
            pays = ((self.plan.total_cost - other) / Decimal(str(number))).quantize(_CENT, ROUND_DOWN)
            if pays <= price:
                count = count or number
                break
            price, count = min(pays, offer.price), number
            if price == offer.price:
                break
        now, doubt, name = format_money(offer.price), doubt.quantize(_CENT), offer_text(offer)
        if count <= 0:
            text = f"{name} at {now} would not be used if it cost a cent."
            if self.near is not None and self.near.looked_quickly:
                text = f"{name} at {now}: no place was found for it even at a cent, in a quick look."
            return EntryPrice(offer.offer_id, offer.product, offer.price, None, 0.0, Decimal(0), text)
        give = f", give or take {format_money(doubt)}" if doubt else ""
        if price >= offer.price:
            text = f"{name} at {now} would do as well as what the plan buys{give}."
        else:
            enters = format_money(price)
            text = f"{name} costs {now} and would enter at {enters}{give}, {count:.4g} of them."
        return EntryPrice(offer.offer_id, offer.product, offer.price, price, count, doubt, text)

    def _guess(self, offer: Offer) -> Decimal:
        """A price to begin at: three quarters of what a package is worth by the pound."""
        contents = {ware.product.product: ware.contents for ware in self.wares}.get(offer.product, {})
        worth = sum(self.by_the_pound.get(key, 0.0) * content for key, content in contents.items())
        guess = Decimal(0.75 * worth * (offer.package_kg or 0.0)).quantize(_CENT)
        assert offer.price is not None
        return min(max(_CENT, guess), offer.price)

    def _priced(self, offer: Offer, price: Decimal) -> Plan:
        assert offer.price is not None
        ratio = price / offer.price
        breaks = tuple(
            (count, max(_CENT, (tier * ratio).quantize(_CENT))) for count, tier in offer.price_breaks
        )
        changed = replace(offer, price=price, price_breaks=breaks)
        return self.again(
            offers=[changed if one is offer else one for one in self.offers], about=offer.product
        )

    def at_price(self, offer: Offer, price: Decimal) -> PriceRange:
        """Plan again with one price moved to an end of its range."""
        plan = self._priced(offer, price)
        names = {one.offer_id: offer_text(one) for one in self.offers}
        before = {one.offer_id: one.count for one in self.plan.buy}
        after = {one.offer_id: one.count for one in plan.buy}
        changes = tuple(
            f"{after.get(key, 0.0):.4g} of {names.get(key, key)} instead of {before.get(key, 0.0):.4g}"
            for key in sorted({*before, *after})
            if not math.isclose(before.get(key, 0.0), after.get(key, 0.0), abs_tol=1e-3)
        )
        decisions = f"buy {', '.join(changes)}" if changes else "the same purchase stays best"
        text = (
            f"If {offer_text(offer)} costs {format_money(price)}: {decisions}; the plan then costs "
            f"{format_money(plan.total_cost)}."
        )
        return PriceRange(offer.offer_id, price, plan.total_cost, changes, text)


def _scaled(plot: PlanPlot, supply: Supply, factor: float) -> PlanPlot:
    """A plot that needs more or nothing of one supply; its cap moves along so that more is allowed."""
    extra_kg = sum(
        (demand.mass_kg or 0.0) * max(0.0, factor - 1.0) for demand in plot.demands if demand.supply == supply
    )
    demands = tuple(
        Demand(one.supply, one.mass_kg * factor, one.timing, one.priority)
        if one.supply == supply and one.mass_kg is not None
        else one
        for one in plot.demands
    )
    caps = {key: cap + (extra_kg if key == supply else 0.0) for key, cap in plot.caps.items()}
    return replace(plot, demands=demands, caps=caps)


def _summary(
    plan: Plan,
    nutrients: Sequence[NutrientReason],
    entries: Sequence[EntryPrice],
    ranges: Sequence[PriceRange],
    names: Mapping[str, str],
) -> tuple[str, ...]:
    words = []
    if nutrients and nutrients[0].without and plan.total_cost > 0:
        first = nutrients[0]
        assert first.without is not None
        words.append(
            f"{first.supply} drives the cost: of {format_money(plan.total_cost)} the plan would save "
            f"{format_money(first.without)} without it."
        )
    near = [one for one in entries if one.enters_at is not None]
    if near:
        words.append(f"Nearest to being bought: {near[0].text}")
    moving = sorted({names[one.offer_id] for one in ranges if one.changes})
    if moving:
        words.append(f"Within the stated price ranges the purchase turns on {', '.join(moving)}.")
    elif ranges:
        words.append("Within the stated price ranges the same purchase stays best.")
    return tuple(words)
