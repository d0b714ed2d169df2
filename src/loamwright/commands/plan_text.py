"""What a person reads of a plan and its reasons: tables and sentences, in the user's units.

Like `text`, it lays out text and computes nothing but units.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.padding import Padding

from loamwright.commands.results import BudgetCurve, HabitsCosted, PlanMade, ReasonsGiven, Variants
from loamwright.commands.text import (
    OUTCOME_WORDS,
    show_cautions,
    show_paths,
    show_problems,
    show_steps,
    show_unknown,
    table_of,
)
from loamwright.money import format_money
from loamwright.planning import (
    Coverage,
    CustomBlend,
    Job,
    Outcome,
    Plan,
    PlanLine,
    Purchase,
    PurchaseList,
    Reasons,
    hours_words,
    machines,
    when_and_how,
)
from loamwright.season import CloseCall, NotCompared
from loamwright.units import (
    ACRE_M2,
    HA_M2,
)
from loamwright.values import Supply, Timing
from loamwright.words import mass_words, packages_words, rate_words, spread_words
from loamwright.work import SeasonView, totals_told


def show_plan(console: Console, made: PlanMade, system: str) -> None:
    """Print what to buy, what to do when, and what is left to decide; the long tables when asked."""
    plan, view = made.plan, made.view
    console.print(
        f"Plan: {OUTCOME_WORDS[plan.outcome]}{_gap_words(made)}, total {format_money(plan.total_cost)}"
    )
    if told := totals_told(view):
        console.print(f"  {told}", markup=False)
    costs = (
        ("purchase", plan.purchase_cost),
        ("delivery", plan.delivery_cost),
        ("spreading", plan.spreading_cost),
        ("filling", plan.filling_cost),
        ("handling", plan.handling_cost),
    )
    told = ", ".join(f"{name} {format_money(cost)}" for name, cost in costs if cost)
    console.print(f"  {told or 'nothing to pay'}")
    trips = len(plan.jobs)
    hours = hours_words(plan.jobs, machines(view.record.info.settings))
    console.print(
        f"  {trips} trip{'' if trips == 1 else 's'} over the plots"
        + (f", {plan.fills} hopper fills" if plan.fills else "")
        + (f", {hours}" if hours else "")
    )
    counted, packaged = plan.counted
    if counted < packaged:
        console.print(
            f"  {counted} of {packaged} packaged amounts in whole or half packages, the rest weighed"
        )
    _show_buying(console, plan)
    _show_jobs(console, plan, view, system)
    console.print("\n[bold]Left to decide[/]")
    decide = dict.fromkeys(one.words for one in plan.left_to_decide)
    for sentence in decide:
        _print_in(console, 0, f"• {escape(sentence)}")
    show_unknown(console, view)
    _show_close_calls(console, made.close_calls[:_CLOSEST], made.not_compared, system)
    if len(made.close_calls) > _CLOSEST:
        more = len(made.close_calls) - _CLOSEST
        console.print(f"  {more} more: loamwright why … --ask tests")
    console.print("\n[bold]How sure it is, and before you begin[/]")
    for sentence in plan.explanation:
        if sentence not in decide:
            _print_in(console, 0, f"• {escape(sentence)}")
    for rule in made.ground_rules:
        said = f"{rule.state}, {rule.what}: {rule.rule} ({rule.who}; {rule.source})."
        console.print(f"[yellow]Before any job[/] {escape(said)} Last word: the state.")
    _show_cautions(console, made)
    if made.tables:
        _show_purchase_lists(console, made.purchase_lists)
        _show_tables(console, plan, view, system)


#: Needs that turn on a soil test which a plan tells of; the others are asked for.
_CLOSEST = 3


def _show_cautions(console: Console, made: PlanMade) -> None:
    """What must stop a job in full; the others are counted, and stand on the orders and the map."""
    cautions = made.view.cautions
    if made.tables:
        show_cautions(console, cautions)
        return
    show_cautions(console, [one for one in cautions if one.level == "stop"])
    others = sum(one.level != "stop" for one in cautions)
    if others:
        told = f"{others} more caution{'' if others == 1 else 's'}"
        console.print(f"{told} on the orders and the map, each where it applies; all here with --tables.")


def _gap_words(made: PlanMade) -> str:
    """How near the plan is to the best there could be: in cost, or with a budget in what it covers."""
    gap = made.plan.gap
    if gap is None:
        return ""
    size = "under 0.01 %" if gap < 1e-4 else f"{gap * 100:.2f} %"
    short_of_money = made.budget is not None and made.plan.outcome is Outcome.FOUND
    return f" for the budget (gap in what it covers {size})" if short_of_money else f" (gap {size})"


def _show_buying(console: Console, plan: Plan) -> None:
    """What to buy, seller by seller, as one would go there."""
    console.print("\n[bold]To buy[/]" if plan.buy else "\n[bold]Nothing to buy[/]")
    sellers: dict[str, list[Purchase]] = {}
    for item in plan.buy:
        sellers.setdefault(item.seller or "seller not named" if item.count else "the shed", []).append(item)
    for seller in sorted(sellers, key=lambda name: (name == "the shed", name)):
        total = sum((item.cost for item in sellers[seller]), Decimal(0))
        cost = f", {format_money(total)}" if total else ""
        console.print(f"  From {escape(seller)}{cost}")
        for item in sellers[seller]:
            number = item.count or item.from_stock
            count, shed = (f"{n:,.2f}".rstrip("0").rstrip(".") for n in (number, item.from_stock))
            stock = f" (and {shed} from the shed)" if item.count and item.from_stock else ""
            money = f"  {format_money(item.cost)}" if item.count else ""
            _print_in(console, 4, f"{count} × {escape(item.package)} {escape(item.product)}{stock}{money}")


def _print_in(console: Console, by: int, text: str) -> None:
    """Print a paragraph moved in from the edge, its further lines too."""
    console.print(Padding(text, (0, 0, 0, by), expand=False))


def _amount(line: PlanLine, system: str) -> str:
    """One product of a load, in packages where they come out whole or half."""
    if line.packages is not None and (line.packages * 2) % 1 == 0:
        return f"{packages_words(line.packages, line.package, line.mass_kg, system)} {line.product}"
    return f"{mass_words(line.mass_kg, system)} {line.product}"


def _show_jobs(console: Console, plan: Plan, view: SeasonView, system: str) -> None:
    """What to do when: trips by time of the season, each with its load; what several share is said once."""
    names = {plot.plot_id: plot.name for plot in view.record.plots}
    line_of = {line.line_id: line for line in plan.lines}
    for timing in (*Timing, None):
        jobs = [job for job in plan.jobs if job.timing is timing]
        if not jobs:
            continue
        heading = "any time of the season" if timing is None else timing.value
        console.print(f"\n[bold]To do {heading}[/]")
        told: dict[str, list[Job]] = {}
        for job in jobs:
            told.setdefault(when_and_how(job), []).append(job)
        for said in sorted(told, key=lambda words: words != heading):
            inward = 2 if said == heading else 4
            if said != heading:
                _print_in(console, 2, f"{escape(said)}:")
            for job in told[said]:
                load = [line_of[line] for line in job.line_ids]
                parts = " + ".join(_amount(line, system) for line in load)
                mixed = ", mixed" if len(load) > 1 else ""
                spreader = f" with {job.spreader}" if job.spreader else ""
                area_m2 = view.areas[job.plot_id].spread_area_m2
                rate = spread_words(job.mass_kg, job.rate_kg_ha, area_m2, system)
                plot = f"[bold]{escape(job.plot_id)}[/] {escape(names.get(job.plot_id, ''))}"
                _print_in(console, inward, f"{plot}: {escape(parts)}{mixed}")
                _print_in(console, inward + 2, f"{rate}{escape(spreader)}")


def _show_tables(console: Console, plan: Plan, view: SeasonView, system: str) -> None:
    """The long table: every product of every job."""
    names = {plot.plot_id: plot.name for plot in view.record.plots}
    lines = table_of(
        "What goes where", "plot", "name", "product", "when", "rate", "total", "packages", numbers=(4, 5, 6)
    )
    for line in plan.lines:
        lines.add_row(
            escape(line.plot_id),
            escape(names.get(line.plot_id, "")),
            escape(line.product),
            "any" if line.timing is None else line.timing.value,
            rate_words(line.rate_kg_ha, system),
            mass_words(line.mass_kg, system),
            escape(packages_words(line.packages, line.package, line.mass_kg, system)),
        )
    console.print(lines)


def _show_purchase_lists(console: Console, lists: tuple[PurchaseList, ...]) -> None:
    """Print what to have bought before each timing, when the plan has more than one."""
    if len(lists) < 2:
        return
    for item in lists:
        when = "for any time" if item.timing is None else f"for {item.timing.value}"
        bought = "; ".join(
            f"{purchase.count:,.6g} × {purchase.product} {purchase.package}"
            for purchase in item.buy
            if purchase.count
        )
        console.print(f"To have bought {when}: {escape(bought or 'nothing, the stock is enough')}")


def show_why(console: Console, given: ReasonsGiven, system: str) -> None:
    """Print why the plan is what it is, and which test figures decide most."""
    if given.reasons is not None:
        show_reasons(console, given.reasons, system)
    if given.close_calls is not None:
        _show_close_calls(console, given.close_calls, given.not_compared, system)


def _show_close_calls(
    console: Console, calls: Sequence[CloseCall], others: Sequence[NotCompared], system: str
) -> None:
    console.print(
        "\n[bold]What another soil test could change[/]\n"
        "  Each figure moved by a tenth, each pH by 0.1 (ours: what a lab may be off by); needs that turn:"
    )
    for one in calls:
        rate, other = (
            rate_words(kg_ha, system) if kg_ha else "none" for kg_ha in (one.rate_kg_ha, one.other_kg_ha)
        )
        word = "more" if one.more_kg > 0 else "less"
        cost = "" if one.cost is None else f", about {format_money(abs(one.cost))} {word}"
        _print_in(
            console,
            2,
            f"[bold]{escape(one.plot_id)}[/] {escape(one.supply)}: {escape(one.figure)} asks for {rate}, "
            f"{escape(one.moved_to)} for {other} ({mass_words(abs(one.more_kg), system)} {word}{cost})",
        )
    if not calls:
        console.print("  None: no need that is worked out turns on a figure that near.")
    if others:
        listed = ", ".join(f"{one.plot_id} {one.supply}" for one in others)
        said = f"Not compared while still to decide, though a figure may turn them: {listed}."
        _print_in(console, 2, escape(said))


def show_reasons(console: Console, found: Reasons, system: str) -> None:
    """Print what drives the cost, what nutrients cost, and what would change the plan."""
    for sentence in found.summary:
        console.print(f"• {escape(sentence)}")
    for heading, texts in (
        ("What each nutrient costs", [item.text for item in found.nutrients]),
        ("Offers not bought, and the price at which they would be", [item.text for item in found.entries]),
        ("If prices move", [item.text for item in found.ranges]),
    ):
        if texts:
            console.print(f"\n[bold]{heading}[/]")
            for text in texts:
                console.print(f"  {escape(text)}")
    table = table_of("What each plot costs", "plot", "cost", "per area", numbers=(1, 2))
    acre_or_ha, per = ("acre", ACRE_M2 / HA_M2) if system == "us" else ("ha", 1.0)
    for item in found.plots:
        per_area = None if item.cost_per_ha is None else float(item.cost_per_ha) * per
        table.add_row(
            escape(item.plot_id),
            format_money(item.cost),
            "" if per_area is None else f"{format_money(per_area)}/{acre_or_ha}",
        )
    console.print(table)


def _listed(rows: Iterable[Coverage], system: str) -> str:
    totals: dict[Supply, float] = {}
    for row in rows:
        totals[row.supply] = totals.get(row.supply, 0.0) + abs((row.need_kg or 0.0) - row.supplied_kg)
    said = (f"{supply} {mass_words(mass, system, supply)}" for supply, mass in totals.items())
    return ", ".join(said) or "none"


#: Sentences of one kind shown on the screen; the rest are counted.
_SHOWN = 4


def show_habits(console: Console, found: HabitsCosted, system: str) -> None:
    """Print the usual ways of doing it beside the plan."""
    table = table_of("On the same needs", "way", "cost", "needs covered", "short", "over", numbers=(1, 2))
    for habit in (*([] if found.plan is None else [found.plan]), *found.habits):
        table.add_row(
            f"{escape(habit.name)}, {len(habit.plan.jobs)} trips",
            format_money(habit.plan.total_cost),
            f"{habit.covered:.0%}",
            _listed(habit.short, system),
            _listed(habit.surplus, system),
        )
    console.print(table)
    for habit in found.habits:
        console.print(f"[bold]{escape(habit.name)}[/]: {escape(habit.how)} {escape(habit.beside)}")
        for sentence in habit.broken[:_SHOWN]:
            console.print(f"  [yellow]{escape(sentence)}[/]")
        if len(habit.broken) > _SHOWN:
            console.print(f"  [yellow]and {len(habit.broken) - _SHOWN} more like these (all with --json)[/]")


def show_variants(console: Console, found: Variants, system: str) -> None:
    """Print ways to plan side by side."""
    table = table_of("What if", "way", "cost", "trips", "hours", "product", "short", numbers=(1, 2, 3, 4))
    for one in found.variants:
        table.add_row(
            escape(one.name),
            format_money(one.cost),
            str(one.trips),
            f"{one.hours:.0f}" if one.hours else "",
            mass_words(one.mass_kg, system),
            _listed(one.short, system),
        )
    console.print(table)


def show_budget(console: Console, found: BudgetCurve, _system: str) -> None:
    """Print coverage against dollars."""
    table = table_of("Budget", "budget", "spent", "needs covered", "packages", numbers=range(4))
    for point in found.points:
        table.add_row(
            format_money(point.budget),
            format_money(point.cost),
            f"{point.covered:.0%}",
            f"{point.packages:,.0f}",
        )
    console.print(table)
    show_paths(console, found.files)


def show_blend(console: Console, found: CustomBlend, system: str) -> None:
    """Print the recipe, its grade, and whether ordering it pays."""
    for sentence in found.text:
        console.print(f"• {escape(sentence)}")
    table = table_of(f"Blend {found.grade}", "product", "share", "in the order", numbers=(1, 2))
    mass_kg = sum(line.mass_kg for line in found.plan.lines if line.product == found.ware.product.product)
    for product, share in found.recipe:
        table.add_row(escape(product), f"{share:.1%}", mass_words(share * mass_kg, system))
    console.print(table)
    show_steps(console, found.steps)
    show_problems(console, found.plan.problems)


#: What people read of each kind of result about plans, as in `text`.
TEXTS: Mapping[type, Callable[[Console, Any, str], None]] = {
    PlanMade: show_plan,
    Variants: show_variants,
    ReasonsGiven: show_why,
    HabitsCosted: show_habits,
    BudgetCurve: show_budget,
    CustomBlend: show_blend,
}
