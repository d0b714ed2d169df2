"""What is to decide in a season, and what is decided, with pounds and money.

This file answers "which choices are open, and what hangs on them?". Where a source leaves a choice is
`needs.decisions`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TypeVar

from loamwright import needs
from loamwright.land import PlotArea
from loamwright.money import format_money
from loamwright.needs import LimeNeed, Need, PlotNeeds
from loamwright.planning import Plan
from loamwright.supplies import Mix, MixAnswer
from loamwright.units import HA_M2
from loamwright.values import NeedState, Supply, Timing
from loamwright.work.records import PropertyRecord, SeasonView

N = TypeVar("N", Need, LimeNeed)


@dataclass(frozen=True, slots=True)
class ChoiceRow:
    """One choice that the source leaves to a person, open or made.

    Parameters
    ----------
    plot_id, supply
        What it is about.
    open
        True = nobody has decided.
    published_kg_ha, decided_kg_ha
        What the lab or guideline asks for, and what was decided [kg/ha]; None = no one figure, not decided.
    mass_kg, cost
        What hangs on it: the amount on the plot [kg], decided or, where nobody has, published (the highest
        of a range, 0.0 when nothing is), and about what that costs at the cheapest offer [money]; None = no
        offer supplies it.
    why, how
        Why it is a choice, or the reason given; how to decide.
    between_kg_ha
        The printed range, where a range is the choice [kg/ha]; None where it is not.
    """

    plot_id: str
    supply: str
    open: bool
    published_kg_ha: float | None
    decided_kg_ha: float | None
    mass_kg: float
    cost: Decimal | None
    why: str
    how: str
    between_kg_ha: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class MixRow:
    """Two products of which no page says whether they may share a hopper, or on which somebody decided.

    Parameters
    ----------
    one, other
        Products, in the order of their names.
    open
        True = nobody has decided.
    may
        What was decided; None = nothing.
    why
        Why it is a choice, or the reason given.
    plots
        Plots that get both at one time in trips of their own: each is a trip that mixing could save.
    saving
        What those trips cost, on each plot the cheaper of the two [money].
    """

    one: str
    other: str
    open: bool
    may: bool | None
    why: str
    plots: tuple[str, ...]
    saving: Decimal = Decimal(0)


def mix_rows(view: SeasonView, answers: Sequence[Mix]) -> tuple[MixRow, ...]:
    """List the pairs of products whose mixing is to decide because the plan spreads both, and those decided.

    Parameters
    ----------
    view
        The season; without a plan nothing is to decide.
    answers
        What is said of every pair of dry products.

    Returns
    -------
    tuple of MixRow
        Open ones first, those that could save most trips foremost.
    """
    jobs: dict[tuple[str, Timing | None, str], set[str]] = defaultdict(set)
    for line in view.plan.lines if view.plan else ():
        jobs[(line.plot_id, line.timing, line.product)].add(line.job_id)
    cost = {job.job_id: job.cost for job in view.plan.jobs} if view.plan else {}
    saving: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    together: dict[tuple[str, str], list[str]] = defaultdict(list)
    for (plot_id, timing, product), ids in jobs.items():
        for (other_id, other_timing, other), other_ids in jobs.items():
            if (other_id, other_timing) == (plot_id, timing) and product < other and not ids & other_ids:
                together[(product, other)].append(plot_id)
                saving[(product, other)] += min(cost[job] for job in (*ids, *other_ids))
    decided = {frozenset((one.one, one.other)): one for one in view.record.info.settings.work.mixing}
    rows = []
    for mix in answers:
        decision = decided.get(frozenset((mix.one, mix.other)))
        pair = (min(mix.one, mix.other), max(mix.one, mix.other))
        plots = tuple(dict.fromkeys(together[pair]))
        if decision is not None:
            rows.append(MixRow(mix.one, mix.other, False, decision.may, decision.reason, plots, saving[pair]))
        elif mix.answer is MixAnswer.NOT_STATED and plots:
            rows.append(MixRow(mix.one, mix.other, True, None, mix.because, plots, saving[pair]))
    return tuple(sorted(rows, key=lambda row: (not row.open, -len(row.plots), row.one, row.other)))


def choices(view: SeasonView, contents: Mapping[str, Mapping[Supply, float]]) -> tuple[ChoiceRow, ...]:
    """List what is to decide in the season, and what is decided.

    Parameters
    ----------
    view
        The season.
    contents
        Product name to supply to mass fraction [kg per kg product].

    Returns
    -------
    tuple of ChoiceRow
        Open ones first.
    """
    rows = []
    for plot_id, plot_needs in view.needs.items():
        crop = view.croppings[plot_id].crop if plot_id in view.croppings else ""
        basis = None if plot_needs.lime.basis is None else plot_needs.lime.basis.supply
        everything: list[tuple[str, Supply | None, Need | LimeNeed]] = [
            (need.nutrient.value, Supply(need.nutrient.value), need) for need in plot_needs.needs
        ]
        everything.append(("lime", basis, plot_needs.lime))
        for supply, key, asked in everything:
            decision = needs.governing_decision(
                view.record.decisions, plot_id, view.record.info.season, supply, crop
            )
            published, between = asked.published_kg_ha, asked.between_kg_ha
            if published is None and between is None and (decision is None or asked.rate_kg_ha is None):
                continue
            what = "AMOUNT" if published is None else "'50 %'"
            settled = decision is not None and asked.state is not NeedState.TO_DECIDE
            highest = published if published is not None else between[1] if between is not None else 0.0
            decided = decision.applied_to(published or 0.0) if settled and decision is not None else None
            mass_kg = (highest if decided is None else decided) * view.areas[plot_id].spread_area_m2 / HA_M2
            rows.append(
                ChoiceRow(
                    plot_id,
                    supply,
                    not settled,
                    published,
                    decided,
                    mass_kg,
                    None if key is None else cost_at_cheapest(view.record, contents, key, mass_kg),
                    decision.reason if settled and decision is not None else asked.reason,
                    f"decide FILE {plot_id} {supply} {what}, and why",
                    between,
                )
            )
    return tuple(sorted(rows, key=lambda row: not row.open))


def planned_open(plan: Plan, rows: Sequence[ChoiceRow]) -> frozenset[tuple[str, str]]:
    """Name what is still open and stands in a plan by its published figure.

    Parameters
    ----------
    plan
        The plan.
    rows
        What is to decide, from `choices`.

    Returns
    -------
    frozenset of (plot_id, nutrient or "lime")
    """
    needed = {
        (row.plot_id, "lime" if row.supply.is_lime else row.supply.value)
        for row in plan.coverage
        if row.need_kg
    }
    return frozenset(
        (row.plot_id, row.supply)
        for row in rows
        if row.open and row.published_kg_ha is not None and (row.plot_id, row.supply) in needed
    )


def totals_of(
    total_cost: Decimal, rows: Sequence[ChoiceRow], planned: Collection[tuple[str, str]] = ()
) -> tuple[Decimal, Decimal]:
    """Give what a plan costs for what is decided, and with what is still open, at the cheapest offers.

    Parameters
    ----------
    total_cost
        Of the plan [money].
    rows
        What is to decide, from `choices`.
    planned
        What of it the plan holds already, from `planned_open`; printed ranges it leaves out.

    Returns
    -------
    decided, with_open : Decimal
        Money; what no offer supplies is in neither.
    """
    held = left_out = Decimal(0)
    for row in rows:
        if row.open and row.cost is not None:
            if (row.plot_id, row.supply) in planned:
                held += row.cost
            else:
                left_out += row.cost
    return max(Decimal(0), total_cost - held), total_cost + left_out


def both_totals(view: SeasonView) -> tuple[Decimal, Decimal] | None:
    """Give both totals of the season's plan.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    (decided, with_open) or None
        None without a plan, or when nothing is open: then there is one total.
    """
    if view.plan is None or not any(row.open for row in view.choices):
        return None
    return totals_of(view.plan.total_cost, view.choices, planned_open(view.plan, view.choices))


def totals_told(view: SeasonView) -> str:
    """Say both totals of the season's plan in a sentence.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    str
        Empty where there is one total.
    """
    found = both_totals(view)
    if found is None:
        return ""
    decided, with_open = map(format_money, found)
    count = sum(row.open for row in view.choices)
    return (
        f"{decided} for what is decided; about {with_open} with the published figures for the {count} "
        "still to decide"
    )


def cost_at_cheapest(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]], supply: Supply, mass_kg: float
) -> Decimal | None:
    """Say about what an amount of a supply costs: at the cheapest offer, packages not rounded.

    Parameters
    ----------
    record
        The property.
    contents
        Product name to supply to mass fraction [kg per kg product].
    supply
        Of what.
    mass_kg
        How much [kg]; less than zero for what is saved.

    Returns
    -------
    Decimal or None
        Money, to the cent; None when nothing on offer supplies it.
    """
    price = _cheapest_per_kg(record, contents, supply)
    return None if price is None else (price * Decimal(str(mass_kg))).quantize(Decimal("0.01"))


def _cheapest_per_kg(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]], supply: Supply
) -> Decimal | None:
    """Price of a kilogram of a supply at the cheapest offer; None when nothing on offer supplies it."""
    prices = [
        offer.price / Decimal(str(offer.package_kg * contents[offer.product][supply]))
        for offer in record.offers
        if offer.price is not None and offer.package_kg and contents[offer.product].get(supply)
    ]
    return min(prices, default=None)


def with_published(found: Mapping[str, PlotNeeds], areas: Mapping[str, PlotArea]) -> Mapping[str, PlotNeeds]:
    """Return needs with the published figure in the place of everything that is still to decide.

    Parameters
    ----------
    found, areas
        By plot_id.

    Returns
    -------
    mapping of plot_id to PlotNeeds
    """

    def settled(need: N, area_ha: float) -> N:
        if need.state is not NeedState.TO_DECIDE or need.published_kg_ha is None:
            return need
        rate = need.published_kg_ha
        return replace(need, state=NeedState.NEEDED, rate_kg_ha=rate, mass_kg=rate * area_ha)

    result = {}
    for plot_id, plot_needs in found.items():
        area_ha = areas[plot_id].spread_area_m2 / HA_M2
        all_settled = tuple(settled(need, area_ha) for need in plot_needs.needs)
        result[plot_id] = replace(plot_needs, needs=all_settled, lime=settled(plot_needs.lime, area_ha))
    return result


def too_much_for_one_dose(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]], found: PlotNeeds
) -> PlotNeeds:
    """Leave a lime need above one dose to decide where no dose rule is chosen.

    Parameters
    ----------
    record
        The property.
    contents
        Product name to supply to mass fraction [kg per kg product].
    found
        What the plot needs.

    Returns
    -------
    PlotNeeds
    """
    lime = found.lime
    if lime.state is not NeedState.NEEDED or lime.basis is None or lime.published_kg_ha is not None:
        return found
    strengths = [content.get(lime.basis.supply, 0.0) for content in contents.values()]
    strongest = max(strengths, default=0.0)
    product = lime.rate_kg_ha / strongest if lime.rate_kg_ha is not None and strongest > 0 else None
    choice = needs.lime_to_decide(
        product, bool(record.info.settings.lime_dose_limit), record.info.units == "metric"
    )
    if choice is None:
        return found
    reason = f"{choice.why[:1].upper()}{choice.why[1:]}."
    open_lime = replace(
        lime,
        state=NeedState.TO_DECIDE,
        reason=reason,
        published_kg_ha=lime.rate_kg_ha,
        rate_kg_ha=None,
        mass_kg=None,
    )
    return replace(found, lime=open_lime)
