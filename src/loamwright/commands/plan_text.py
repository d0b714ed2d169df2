"""What a person reads of a plan and its reasons: tables and sentences, in the user's units.

Like `text`, it lays out text and computes nothing but units.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from rich.console import Console
from rich.markup import escape

from loamwright.commands.results import BudgetCurve, HabitsCosted, PlanMade
from loamwright.commands.text import (
    OUTCOME_WORDS,
    show_cautions,
    show_paths,
    show_problems,
    show_steps,
    show_unknown,
    table_of,
)
from loamwright.planning import Coverage, CustomBlend, Plan, PurchaseList, Reasons
from loamwright.units import ACRE_M2, HA_M2, format_money
from loamwright.values import Supply
from loamwright.words import mass_words, packages_words, rate_words
from loamwright.work import SeasonView


def show_plan(console: Console, made: PlanMade, system: str) -> None:
    """Print the plan, when to have bought what, and what is unknown or to be looked out for."""
    _show_plan(console, made.plan, made.view, system)
    _show_purchase_lists(console, made.purchase_lists)
    show_unknown(console, made.view)
    show_cautions(console, made.view.cautions)


def _show_plan(console: Console, plan: Plan, view: SeasonView, system: str) -> None:
    """Print the outcome, the buying list, each pass and what is left short or over."""
    gap = "" if plan.gap is None else f" (gap {plan.gap:.2%})"
    console.print(f"Plan: {OUTCOME_WORDS[plan.outcome]}{gap}, total {format_money(plan.total_cost)}")
    console.print(
        f"  purchase {format_money(plan.purchase_cost)}, delivery {format_money(plan.delivery_cost)}, "
        f"spreading {format_money(plan.spreading_cost)}"
    )
    buy = table_of(
        "To buy", "product", "package", "seller", "count", "from stock", "each", "cost", numbers=(3, 4, 5, 6)
    )
    for item in plan.buy:
        buy.add_row(
            escape(item.product),
            escape(item.package),
            escape(item.seller),
            f"{item.count:,.3g}" if item.count % 1 else f"{item.count:,.0f}",
            f"{item.from_stock:,.3g}" if item.from_stock else "",
            format_money(item.unit_price),
            format_money(item.cost),
        )
    console.print(buy)
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
    for sentence in plan.explanation:
        console.print(f"• {escape(sentence)}")


def _show_purchase_lists(console: Console, lists: tuple[PurchaseList, ...]) -> None:
    """Print what to have bought before each timing, when the plan has more than one."""
    if len(lists) < 2:
        return
    for item in lists:
        when = "for any time" if item.timing is None else f"before {item.timing.value}"
        bought = "; ".join(
            f"{purchase.count:,.6g} × {purchase.product} {purchase.package}"
            for purchase in item.buy
            if purchase.count
        )
        console.print(f"To have bought {when}: {escape(bought or 'nothing, the stock is enough')}")


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
            "" if per_area is None else f"${per_area:,.2f}/{acre_or_ha}",
        )
    console.print(table)


def _listed(rows: Iterable[Coverage], system: str) -> str:
    totals: dict[Supply, float] = {}
    for row in rows:
        totals[row.supply] = totals.get(row.supply, 0.0) + abs((row.need_kg or 0.0) - row.supplied_kg)
    said = (f"{supply} {mass_words(mass, system, supply)}" for supply, mass in totals.items())
    return ", ".join(said) or "none"


def show_habits(console: Console, found: HabitsCosted, system: str) -> None:
    """Print the usual ways of doing it beside the plan."""
    table = table_of("On the same needs", "way", "cost", "needs covered", "short", "over", numbers=(1, 2))
    if found.view.plan is not None:
        table.add_row("the plan", format_money(found.view.plan.total_cost), "", "", "")
    for habit in found.habits:
        table.add_row(
            escape(habit.name),
            format_money(habit.plan.total_cost),
            f"{habit.covered:.0%}",
            _listed(habit.short, system),
            _listed(habit.surplus, system),
        )
    console.print(table)
    for habit in found.habits:
        console.print(f"[bold]{escape(habit.name)}[/]: {escape(habit.how)} {escape(habit.beside)}")
        for sentence in habit.broken:
            console.print(f"  [yellow]{escape(sentence)}[/]")


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
    for plot_id, reason in found.left_out:
        console.print(f"  {escape(plot_id)} left out: {escape(reason)}")
    show_steps(console, found.steps)
    show_problems(console, found.plan.problems)


#: What people read of each kind of result about plans, as in `text`.
TEXTS: Mapping[type, Callable[[Console, Any, str], None]] = {
    PlanMade: show_plan,
    Reasons: show_reasons,
    HabitsCosted: show_habits,
    BudgetCurve: show_budget,
    CustomBlend: show_blend,
}
