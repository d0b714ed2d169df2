"""What to buy and where to put it: the cheapest whole purchase that meets every need of a property.

`make_plan` checks what is asked, searches, and says honestly what it found: proved cheapest, best found
with its gap, or impossible with the reasons and everything else planned all the same. With a budget it
covers as much as the money can. The program is in `model`, the search in `search`, reasons for
what cannot be done in `shortfalls`, the words and sums of the answer in `lines`. Why a plan is what
it is: `reasons`. This file knows the order of these steps and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np

from loamwright.money import format_money
from loamwright.planning.inputs import (
    PlanPlot,
    Request,
    Terms,
    Ware,
    amount_text,
    band_of,
    check_request,
    machines_of,
    serving,
)
from loamwright.planning.lines import (
    counts,
    covered,
    loads_words,
    shopping,
    short_of_bands,
    spreads,
    spreads_of,
    write_plan,
)
from loamwright.planning.model import PlanModel, Solution, build, cell_values, coverage_cost, settle
from loamwright.planning.passes import need_cells, supply_keys
from loamwright.planning.records import DecideKind, LeftToDecide, Outcome, Plan, StillShort
from loamwright.planning.search import SMALL, Search, count_out, only, search
from loamwright.planning.shortfalls import Shortfall, limits_of_plots, limits_of_sellers
from loamwright.planning.solver import Effort, Flags, Floats, Found
from loamwright.supplies import Offer
from loamwright.values import Supply


def make_plan(
    plots: Sequence[PlanPlot], wares: Sequence[Ware], offers: Sequence[Offer], terms: Terms | None = None
) -> Plan:
    """Find the cheapest purchase and spreading that meets every need.

    Parameters
    ----------
    plots
        Plots with their demands, caps and limits.
    wares
        Products with what they deliver.
    offers
        Packages at a price.
    terms
        Costs, limits, gap, time and budget; None = the defaults of `Terms`.

    Returns
    -------
    Plan
        *Proved cheapest* when the cost is within the gap of a proved lower bound. *Best found* when the
        time ran out first, or when a budget does not reach for everything (then `gap` is that of the
        coverage). *Impossible* when some need cannot be met at all: `explanation` names plot, nutrient,
        limit and the least change that would do, and `lines` hold everything that can be done.

    Notes
    -----
    The plan does not depend on the order in which plots, wares and offers are given, nor, unless the time
    limit is reached, on the machine.

    Examples
    --------
    One hectare that needs 46 kg of nitrogen, and urea of 46 % in bags of 40 kg: 100 kg are spread, so
    three bags are bought and half a bag is left over.

    >>> from loamwright.planning.inputs import Demand
    >>> from loamwright.supplies import Form, Product
    >>> from loamwright.values import Nutrient, Supply
    >>> urea = Ware(Product("urea", Form.DRY, {Nutrient.N: 46}), {Supply.N: 0.46})
    >>> bag = Offer("u", "urea", "40 kg bag", 40.0, Decimal("25.00"))
    >>> plan = make_plan([PlanPlot("a", 1.0, (Demand(Supply.N, 46.0),))], [urea], [bag])
    >>> plan.outcome.value, round(plan.lines[0].mass_kg, 6), plan.buy[0].count, str(plan.total_cost)
    ('proved cheapest', 100.0, 3.0, '75.00')
    """
    request = check_request(plots, wares, offers, terms or Terms())
    whole = _for_needs(replace(request, terms=replace(request.terms, budget=None)))
    budget = request.terms.budget
    if budget is None:
        return whole.plan
    if whole.plan.total_cost <= budget and whole.has_plan:
        words = f"The budget of {format_money(budget)} is enough for everything that can be done."
        return replace(whole.plan, explanation=(words, *whole.plan.explanation))
    return _for_money(request, whole)


#: Most time for counting packages out [s]; on most machines it ends sooner, after a number of nodes.
_COUNTING_S = 30.0

# ---------------------------------------------------------------------------------------------
# Planning again, near a plan that is known

Likely = frozenset[tuple[str, str]]


def likely_of(plan: Plan) -> Likely:
    """(plot_id, product) of every line of a plan: where good plans for a like question put things."""
    return frozenset((line.plot_id, line.product) for line in plan.lines)


class Nearby:
    """Plans questions that are nearly one already answered, each in a small part of the time.

    Only the products a known plan puts on each plot are looked at, and those the linear relaxation of the new
    question would put there; a small question is planned in full. The gap is that among these choices, and
    the outcome is never *proved cheapest* of all plans.

    Parameters
    ----------
    likely
        (plot_id, product) of the known plan.
    """

    def __init__(self, likely: Likely) -> None:
        self.likely = likely
        self.looked_quickly = False
        self._values: Floats | None = None

    def plan(
        self,
        plots: Sequence[PlanPlot],
        wares: Sequence[Ware],
        offers: Sequence[Offer],
        terms: Terms,
        about: str = "",
    ) -> Plan:
        """Plan one question; the first plan found is where the others start from, where it fits them.

        With a product it is about, every place for that product is looked at instead of the relaxation's.
        """
        request = check_request(plots, wares, offers, replace(terms, budget=None))
        plan_model = build(request)
        if plan_model.passes.count <= SMALL:
            return make_plan(plots, wares, offers, terms)
        outcome, effort = Outcome.FOUND, Effort(time_limit_s=terms.time_limit_s)
        relaxed = plan_model.model.solve(effort, relaxed=True)
        if relaxed.found is Found.INFEASIBLE:
            outcome = Outcome.IMPOSSIBLE
            shares, _shortfalls = limits_of_plots(request)
            plan_model = build(request, shares)
            relaxed = plan_model.model.solve(effort, relaxed=True)
        if relaxed.found is not Found.OPTIMAL:
            return make_plan(plots, wares, offers, terms)
        model = only(plan_model, _near(plan_model, self.likely, relaxed.values, about))
        known = self._values
        start = known if known is not None and len(known) == len(model.cost) else None
        effort = Effort(_NEAR_GAP, min(_NEAR_S, terms.time_limit_s), nodes=_NEAR_NODES)
        solved = model.solve(effort, start=start)
        if not solved.has_values:
            solved = model.solve(replace(effort, time_limit_s=terms.time_limit_s))
        solution = settle(plan_model, solved.values) if solved.has_values else None
        if solution is None:
            return make_plan(plots, wares, offers, terms)
        self.looked_quickly = True
        if known is None:
            self._values = solved.values
        gap = max(0.0, solved.objective - solved.bound) / solved.objective if solved.objective > 0 else 0.0
        return replace(_written(plan_model, solution), outcome=outcome, gap=gap)


def spend(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    whole: Plan,
) -> Plan:
    """Cover as much as a budget can, near the plan that covers everything; a small question in full."""
    request = check_request(plots, wares, offers, terms)
    if build(request).passes.count <= SMALL:
        return make_plan(plots, wares, offers, terms)
    shares = np.ones(len(need_cells(request, supply_keys(request))))
    return _for_money(request, _Whole(whole, shares, (), -np.inf, has_plan=True), likely=likely_of(whole))


def _near(plan_model: PlanModel, likely: Likely, relaxed: Floats, about: str = "") -> Flags:
    request, passes = plan_model.request, plan_model.passes
    names = [ware.product.product for ware in request.wares]
    if about:
        asked = np.array([names[ware] == about for ware in passes.ware], bool)
    else:
        asked = np.asarray(relaxed[plan_model.amount] > 1e-6, bool)
    known = [
        (request.plots[plot].plot_id, names[ware]) in likely
        for plot, ware in zip(passes.plot, passes.ware, strict=True)
    ]
    return np.asarray(np.array(known, bool) | asked, bool)


#: How near to the best of the choices looked at; after how many nodes, and seconds, to stop all the same.
_NEAR_GAP, _NEAR_NODES, _NEAR_S = 3e-3, 40, 3.0
#: For each of the two looks at one budget [s].
_SPEND_S = 0.6


# ---------------------------------------------------------------------------------------------
# Meeting every need


class _Whole:
    """The plan without a budget, and what was learnt on the way."""

    def __init__(
        self, plan: Plan, shares: Floats, shortfalls: tuple[Shortfall, ...], bound: float, has_plan: bool
    ) -> None:
        self.plan, self.shares, self.shortfalls = plan, shares, shortfalls
        self.bound, self.has_plan = bound, has_plan


def _for_needs(request: Request) -> _Whole:
    terms = request.terms
    shares = np.ones(len(need_cells(request, supply_keys(request))))
    shortfalls: tuple[Shortfall, ...] = ()
    plan_model = build(request)
    found = search(plan_model, terms.gap, terms.time_limit_s)
    if found.solution is None and found.found is Found.INFEASIBLE:
        shares, shortfalls = limits_of_plots(request)
        plan_model = build(request, shares)
        found = search(plan_model, terms.gap, terms.time_limit_s)
    if found.solution is None and found.found is Found.INFEASIBLE:
        effort = Effort(gap=1e-4, time_limit_s=terms.time_limit_s)
        shares, more = limits_of_sellers(request, shares, effort)
        shortfalls = (*shortfalls, *more)
        plan_model = build(request, shares)
        found = search(plan_model, terms.gap, terms.time_limit_s)
    shortfalls = tuple(sorted(shortfalls, key=lambda one: (one.plot_id, one.supply)))
    if found.solution is None:
        words = f"No plan was found in {terms.time_limit_s:g} s; allow more time."
        explanation = (words, *(one.sentence(terms.units) for one in shortfalls))
        plan = replace(
            _nothing(request, explanation),
            outcome=Outcome.FOUND,
            gap=1.0,
            left_to_decide=_open_of(request, shortfalls),
        )
        return _Whole(plan, shares, shortfalls, found.bound, has_plan=False)
    weighed = _written(plan_model, found.solution)
    full: Plan | None = None
    lesser = _without_small_jobs(request, shares, weighed)
    if lesser is not None:
        again = build(request, lesser)
        fewer = search(again, terms.gap, terms.time_limit_s)
        if fewer.solution is not None:
            full, found, shares = weighed, fewer, lesser
            weighed = _written(plan_model, fewer.solution)
    plan = _counted(request, shares, found, weighed)
    choices = () if full is None else _left_as_choices(request, full, weighed, plan)
    cost = float(plan.total_cost)
    gap = max(0.0, (cost - found.bound) / cost) if cost > 0 else 0.0
    weighed_proved = found.found is Found.OPTIMAL
    proved = (weighed_proved and plan is weighed) or gap <= terms.gap
    plan = replace(
        plan,
        outcome=Outcome.IMPOSSIBLE if shortfalls else Outcome.PROVED if proved else Outcome.FOUND,
        gap=None if shortfalls else gap,
        explanation=(
            *_sentences(request, plan, weighed, found.bound, shortfalls, proved, weighed_proved),
            *(choice.words for choice in choices),
        ),
        left_to_decide=(*_open_of(request, shortfalls), *choices),
    )
    return _Whole(plan, shares, shortfalls, found.bound, has_plan=True)


def _without_small_jobs(request: Request, shares: Floats, plan: Plan) -> Floats | None:
    """Shares of the needs that are met without the jobs too small to be planned; None when there are none."""
    least = request.terms.least_job_share
    if least <= 0:
        return None
    supplies = supply_keys(request)
    wares = {ware.product.product: ware for ware in request.wares}
    product = {line.line_id: (line.product, line.mass_kg) for line in plan.lines}
    row = {(one.plot_id, one.supply): one for one in plan.coverage}
    numbers: dict[tuple[str, Supply], list[int]] = {}
    for number, cell in enumerate(need_cells(request, supplies)):
        numbers.setdefault((request.plots[cell.plot].plot_id, supplies[cell.supply]), []).append(number)
    lesser = shares.copy()
    for job in plan.jobs:
        plot = next(one for one in request.plots if one.plot_id == job.plot_id)
        brings: dict[Supply, float] = {}
        for line in job.line_ids:
            name, mass_kg = product[line]
            for supply, content in serving(plot, wares[name]).items():
                brings[supply] = brings.get(supply, 0.0) + content * mass_kg
        needed = [key for key in brings if (row.get((job.plot_id, key)) and row[job.plot_id, key].need_kg)]
        whole = {key: plot.whole_kg.get(key, row[job.plot_id, key].need_kg or 0.0) for key in needed}
        if not needed or any(brings[key] > least * whole[key] for key in needed):
            continue
        for key in needed:
            cover = row[job.plot_id, key]
            left = (cover.supplied_kg - brings[key]) / (band_of(plot, key).low * (cover.need_kg or 1.0))
            for number in numbers[job.plot_id, key]:
                lesser[number] = min(lesser[number], max(0.0, left) * (1 - 1e-9))
    return lesser if (lesser < shares).any() else None


def _open_of(request: Request, shortfalls: Sequence[Shortfall]) -> tuple[LeftToDecide, ...]:
    return tuple(one.to_decide(request.terms.units) for one in shortfalls)


def _left_as_choices(request: Request, full: Plan, weighed: Plan, plan: Plan) -> tuple[LeftToDecide, ...]:
    """Say which needs a plan leaves short of their bands, and what meeting them would cost.

    The money and the trips are those of the two plans with every amount weighed out, so that they differ in
    the small jobs alone.
    """
    already = {(row.plot_id, row.supply) for row in short_of_bands(request.plots, full)}
    short = tuple(
        StillShort(row.plot_id, row.supply, (row.need_kg or 0.0) - row.supplied_kg)
        for row in short_of_bands(request.plots, plan)
        if (row.plot_id, row.supply) not in already
    )
    if not short:
        return ()
    units = request.terms.units
    listed = "; ".join(
        f"{one.plot_id} stays {amount_text(one.mass_kg, one.supply, units)} short" for one in short
    )
    more = max(Decimal(0), full.total_cost - weighed.total_cost)
    trips = len(full.jobs) - len(weighed.jobs)
    counted = f" in {trips} small trip{'s' if trips != 1 else ''}" if trips > 0 else ""
    words = f"Left for you to choose: {listed}. Bringing it{counted} would cost {format_money(more)}."
    return (LeftToDecide(DecideKind.SMALL, words, short, more),)


def _counted(request: Request, shares: Floats, found: Search, weighed: Plan) -> Plan:
    """The same jobs with packages counted out on the plots, where that is asked for and comes off."""
    if request.terms.odd_amount_cost <= 0:
        return weighed
    counted = build(request, shares, weighed=weighed.lines)
    solution = count_out(found, counted, min(_COUNTING_S, request.terms.time_limit_s))
    return weighed if solution is None else _written(counted, solution)


def _written(plan_model: PlanModel, solution: Solution) -> Plan:
    request = plan_model.request
    passes = spreads(plan_model, solution)
    bought = shopping(request, passes, counts(plan_model, solution))
    empty = Plan("", Outcome.FOUND, None, Decimal(0), Decimal(0), Decimal(0), problems=request.problems)
    return write_plan(request, passes, bought, empty)


def _nothing(request: Request, explanation: tuple[str, ...]) -> Plan:
    """Write a plan that buys and spreads nothing."""
    empty = Plan("", Outcome.IMPOSSIBLE, None, Decimal(0), Decimal(0), Decimal(0), explanation=explanation)
    return write_plan(request, (), shopping(request, (), {}), replace(empty, problems=request.problems))


def _above_bands(request: Request, plan: Plan) -> Iterator[str]:
    """Say where more goes on than the band of a need: the edge binds only what is put on for that need."""
    plots = {plot.plot_id: plot for plot in request.plots}
    above = [
        f"{row.plot_id} {row.supply} {row.supplied_kg / row.need_kg:.0%}"
        for row in plan.coverage
        if row.need_kg
        and row.supplied_kg / row.need_kg > band_of(plots[row.plot_id], row.supply).high * (1 + 1e-6)
    ]
    if above:
        why = "products for other needs carry it along, or the smallest rate does"
        yield f"Above the band, as {why}: {', '.join(above)}."


def _at_settings(request: Request) -> str:
    return " and, what is loose, at logged spreader settings" if request.terms.logged_kg_ha else ""


def _sentences(
    request: Request,
    plan: Plan,
    weighed: Plan,
    bound: float,
    shortfalls: Sequence[Shortfall],
    proved: bool,
    weighed_proved: bool,
) -> tuple[str, ...]:
    def above(cost: Decimal) -> float:
        return max(0.0, float(cost) - bound) / float(cost) if cost > 0 else 0.0

    gap = above(plan.total_cost)
    rules = _rules(request)
    subject = "what can be met" if shortfalls else "these needs"
    words = []
    if shortfalls:
        number = len(shortfalls)
        words.append(
            f"{number} need{'s' if number > 1 else ''} cannot be met in full; everything else is planned."
        )
        words.extend(one.sentence(request.terms.units) for one in shortfalls)
    if not any(known for known in (row.need_kg for row in plan.coverage)):
        words.append("Nothing is needed that is known, so nothing is bought.")
    elif proved:
        words.append(
            f"Proved cheapest for {subject}{rules}: no other plan costs more than {_percent(gap)} less."
        )
    elif weighed_proved:
        more = plan.total_cost - weighed.total_cost
        beside = f"{format_money(abs(more))} {'more' if more >= 0 else 'less'}"
        words.append(
            f"Proved cheapest for {subject}{rules} within {_percent(above(weighed.total_cost))} if every "
            f"amount is weighed out: {format_money(weighed.total_cost)}. In whole and half packages on each "
            f"plot{_at_settings(request)}, as planned here, it costs {beside}."
        )
    else:
        seconds = f"{request.terms.time_limit_s:g} s"
        words.append(
            f"Best found for {subject}{rules} in {seconds}: a plan up to {_percent(gap)} cheaper may exist. "
            "Allow more time to look further."
        )
    words.append(_cost_sentence(request, plan))
    words.extend(_above_bands(request, plan))
    if request.terms.spare > 0 and plan.lines:
        share = f"{request.terms.spare * 100:.3g} %"
        words.append(f"{share} more than is spread is bought or in stock, for spills.")
    unknown: dict[str, list[str]] = {}
    for row in plan.coverage:
        if row.need_kg is None:
            unknown.setdefault(row.supply, []).append(row.plot_id)
    words.extend(
        f"{supply} is not in these totals for {', '.join(where)}: the need is unknown."
        for supply, where in sorted(unknown.items())
    )
    return tuple(words)


def _rules(request: Request) -> str:
    """Under which rules a plan is the cheapest: what shares a trip, how near to a need, which costs count."""
    mixed = "what may be mixed shares a trip" if request.terms.mixing else "nothing is mixed"
    banded = any(plot.bands for plot in request.plots)
    met = "needs met within their bands" if banded else "needs met in full"
    return f" ({mixed}, {met}, counting {_counted_costs(request)})"


def _counted_costs(request: Request) -> str:
    """Name the costs that have a price; what has none cannot make a plan dearer."""
    terms, machines = request.terms, machines_of(request.terms)
    fetched = terms.hauling_cost_per_kg > 0 or terms.cost_per_haul > 0
    named = (
        ("packages", True),
        ("delivery", any(offer.delivery_fee > 0 for offer in request.offers)),
        ("hauling", fetched or any(one.brings_loads for one in machines)),
        ("trips", any(one.cost_per_job > 0 or one.cost_per_ha > 0 for one in machines)),
        ("filling", any(one.cost_per_fill > 0 for one in machines)),
        ("handling", any(cost > 0 for cost in terms.handling_cost_per_kg.values())),
    )
    found = [name for name, counted in named if counted]
    return f"{', '.join(found[:-1])} and {found[-1]}" if len(found) > 1 else found[0]


def _percent(gap: float) -> str:
    return "0.01 %" if gap < 1e-4 else f"{gap * 100:.2f} %"


def _cost_sentence(request: Request, plan: Plan) -> str:
    parts = [f"packages {format_money(plan.purchase_cost)}"]
    if plan.delivery_cost:
        terms = request.terms
        fetched = terms.hauling_cost_per_kg > 0 or terms.cost_per_haul > 0
        hauled = " and hauling" if fetched or any(one.brings_loads for one in terms.machines) else ""
        parts.append(f"delivery{hauled} {format_money(plan.delivery_cost)}")
    if plan.spreading_cost:
        parts.append(f"spreading {format_money(plan.spreading_cost)}")
    if plan.filling_cost:
        parts.append(f"filling {format_money(plan.filling_cost)}")
    if plan.handling_cost:
        parts.append(f"handling {format_money(plan.handling_cost)}")
    loads = loads_words(request, plan)
    counted = f" Whole loads count, full or not: {loads}." if loads else ""
    return f"It costs {format_money(plan.total_cost)}: {', '.join(parts)}.{counted}"


# ---------------------------------------------------------------------------------------------
# Spending a budget


def _for_money(request: Request, whole: _Whole, cents_off: int = 0, likely: Likely | None = None) -> Plan:
    """Cover as much as the budget can, then do that for the least money.

    `cents_off` is kept back from the budget for the rounding of each pass to the cent. With `likely`, only
    these choices and those of the relaxation are looked at, and the gap is to the relaxation.
    """
    terms = request.terms
    assert terms.budget is not None
    plan_model = build(_a_little_less(request, cents_off), whole.shares, elastic=True)
    effort, base, bound = Effort(terms.gap, terms.time_limit_s / 2), plan_model.model, -np.inf
    if likely is not None:
        relaxed = replace(base, cost=coverage_cost(plan_model)).solve(effort, relaxed=True)
        if relaxed.has_values:
            base, bound = only(plan_model, _near(plan_model, likely, relaxed.values)), relaxed.objective
            effort = Effort(_NEAR_GAP, min(_SPEND_S, terms.time_limit_s / 2), nodes=_NEAR_NODES)
    most = replace(base.copy(), cost=coverage_cost(plan_model))
    most_found = most.solve(effort)
    bound = max(bound, most_found.bound) if likely is None else bound
    if not most_found.has_values:
        fixed = "the passes already fixed cost more than that" if terms.fixed else "it is not enough"
        words = f"Nothing can be planned for {format_money(terms.budget)}: {fixed}."
        return _nothing(request, (words,))
    shares = most_found.values[plan_model.share]
    cheap = base.copy()
    cheap.lower[plan_model.share] = np.clip(shares - 1e-7, 0.0, None)
    cheaper = cheap.solve(effort, start=most_found.values)
    best = cheaper if cheaper.has_values else most_found
    solution = settle(plan_model, best.values) or settle(plan_model, most_found.values)
    assert solution is not None
    plan = _written(plan_model, solution)
    if plan.total_cost > terms.budget and cents_off < 1000:  # the cents each pass is rounded to add up
        more = 2 * cents_off + 2 + int((plan.total_cost - terms.budget) * 100)
        return _for_money(request, whole, more, likely)
    value = covered(request.plots, request.wares, spreads_of(plan))
    possible = min(-bound, float(cell_values(plan_model) @ plan_model.met))
    gap = max(0.0, possible - value) / possible if possible > 0 else 0.0
    return replace(
        plan,
        outcome=Outcome.FOUND,
        gap=gap,
        explanation=_money_sentences(request, plan, whole, value, gap),
        left_to_decide=_open_of(request, whole.shortfalls),
    )


def _a_little_less(request: Request, cents_off: int) -> Request:
    assert request.terms.budget is not None
    budget = max(Decimal(0), request.terms.budget - Decimal(cents_off) / 100)
    return replace(request, terms=replace(request.terms, budget=budget))


def _money_sentences(
    request: Request, plan: Plan, whole: _Whole, value: float, gap: float
) -> tuple[str, ...]:
    budget = request.terms.budget
    assert budget is not None
    words = []
    if whole.has_plan:
        words.append(
            f"Everything that can be done would cost {format_money(whole.plan.total_cost)}; the budget is "
            f"{format_money(budget)}."
        )
    if plan.lines:
        words.append(
            f"It covers {value:.0%} of what is needed, weighed by plot, area and priority; no other use of "
            f"the money covers more than {_percent(gap)} more{_rules(request)}."
        )
        words.append(_cost_sentence(request, plan))
    else:
        cheapest = min((offer.price for offer in request.offers if offer.price is not None), default=None)
        least = "" if cheapest is None else f": the cheapest package on offer costs {format_money(cheapest)}"
        words.append(f"Nothing useful can be bought for {format_money(budget)}{least}.")
    words.extend(one.sentence(request.terms.units) for one in whole.shortfalls)
    return tuple(words)
