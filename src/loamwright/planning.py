"""Planning a season: the plan itself, why it is what it is, tight budgets, habits, a blend to order.

Each function gathers the season, asks the planner's rooms one question and returns the answer. It does no
arithmetic; `targets` says what must be reached and what may not be exceeded.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from loamwright import (
    budget,
    budgetchart,
    custom_blends,
    habits,
    ledger,
    paper,
    plan_reasons,
    planner,
    store,
    tablefiles,
    tables,
    targets,
)
from loamwright.answers import Plan, SeasonView
from loamwright.errors import InputError, Problem, has_errors
from loamwright.season import Progress, compute, product_contents, quiet
from loamwright.values import Offer


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What may be asked of a plan.

    Parameters
    ----------
    budget
        Spend at most this [money]; None = meet every need.
    gap
        Proof wanted [fraction of cost].
    time_limit_s
        Time the solver may take [s].
    reason
        Why this plan replaces the one before.
    fixed
        Passes already decided on.
    """

    budget: Decimal | None = None
    gap: float = 0.001
    time_limit_s: float = 60.0
    reason: str = ""
    fixed: tuple[planner.FixedPass, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanningTask:
    """What the planner is asked.

    Parameters
    ----------
    plots, wares, offers, terms
        As `planner.make_plan` takes them.
    problems
        What was divided or left out on the way.
    """

    plots: tuple[planner.PlanPlot, ...]
    wares: tuple[planner.Ware, ...]
    offers: tuple[Offer, ...]
    terms: planner.Terms
    problems: tuple[Problem, ...]


def _faults(options: PlanOptions) -> Iterator[Problem]:
    """Name the options that ask for what no plan can be."""
    if options.budget is not None and options.budget < 0:
        what = f"{options.budget} is less than nothing"
        yield Problem("--budget", what, "Write what may be spent, for example 400.")
    if not 0 <= options.gap < 1:
        what = f"{options.gap:g} is not a share of the cost, from 0 to less than 1"
        yield Problem("--gap", what, "Write for example 0.001, a tenth of a percent.")
    if not (math.isfinite(options.time_limit_s) and options.time_limit_s > 0):
        what = f"{options.time_limit_s:g} is not a number of seconds above 0"
        yield Problem("--time-limit", what, "Write for example 60.")


def planning_task(view: SeasonView, options: PlanOptions) -> PlanningTask:
    """Gather what the planner is asked.

    Parameters
    ----------
    view
        The season.
    options
        What is asked of the plan.

    Returns
    -------
    PlanningTask

    Raises
    ------
    InputError
        When the budget, the gap or the time limit is out of range.
    """
    problems = tuple(_faults(options))
    if problems:
        raise InputError(problems)
    record = view.record
    settings = record.info.settings
    contents = product_contents(record)
    plots, problems = targets.plan_plots(
        record.plots,
        view.areas,
        view.needs,
        contents,
        record.products,
        settings,
        targets.lime_spread(record.applications, record.products, view.areas, settings, record.info.season),
    )
    return PlanningTask(
        plots=plots,
        wares=tuple(planner.Ware(product, contents[product.product]) for product in record.products),
        offers=record.offers,
        terms=planner.Terms(
            max_products_per_plot=settings.max_products_per_plot,
            spreading_cost_per_ha=settings.spreading_cost_per_ha,
            spreading_cost_per_pass=settings.spreading_cost_per_pass,
            min_rate_kg_ha=settings.min_rate_kg_ha,
            gap=options.gap,
            time_limit_s=options.time_limit_s,
            budget=options.budget,
            hauling_cost_per_kg=settings.hauling_cost_per_kg,
            fixed=options.fixed,
            season=record.info.season,
            units=record.info.units,
        ),
        problems=problems,
    )


def make_plan(path: Path, options: PlanOptions, today: dt.date, progress: Progress = quiet) -> SeasonView:
    """Plan the season of a property and keep the plan in its file.

    Parameters
    ----------
    path
        The property file.
    options
        What is asked of the plan.
    today
        Date for the age of tests and cautions.
    progress
        Told each stage.

    Returns
    -------
    SeasonView
        With the new plan.

    Raises
    ------
    InputError
        When an option is out of range; nothing is stored.
    """
    before = compute(store.load(path), today, progress)
    progress("finding the cheapest packages")
    entries = ledger.season_entries(before.record.applications, before.record.info.season)
    task = planning_task(before, options)
    made = planner.make_plan(task.plots, task.wares, task.offers, task.terms)
    made = replace(
        made,
        problems=(*task.problems, *made.problems),
        counted_entries=tuple(entry.entry_id for entry in entries),
    )
    with store.edit(path) as editor:
        editor.add_plan(made, options.reason)
    progress("checking cautions")
    return compute(store.load(path), today, progress)


def planned_view(view: SeasonView) -> Plan:
    """Return the season's plan, or refuse when there is none.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        When the season has no plan.
    """
    if view.plan is None:
        raise InputError([Problem("plan", "this season has no plan yet", "Run `loamwright plan` first.")])
    return view.plan


def reasons(view: SeasonView, time_limit_s: float, progress: Progress = quiet) -> plan_reasons.Reasons:
    """Say why the season's plan is what it is, by planning again with one thing changed at a time.

    Parameters
    ----------
    view
        The season, with a plan.
    time_limit_s
        For each new plan [s].
    progress
        Told each question.

    Returns
    -------
    plan_reasons.Reasons

    Raises
    ------
    InputError
        When the season has no plan.
    """
    plan = planned_view(view)
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    return plan_reasons.explain(task.plots, task.wares, task.offers, task.terms, plan, progress)


def compare_habits(
    view: SeasonView, own: Path | None, triple: str, flat_rate_kg_ha: float | None, time_limit_s: float
) -> habits.Compared:
    """Cost the usual ways of doing it on the same needs, beside the season's plan.

    Parameters
    ----------
    view
        The season.
    own
        The user's own list: a table of plot_id, product, amount and timing; None = none.
    triple
        Product of the flat-rate habit; empty = chosen and said.
    flat_rate_kg_ha
        Its rate [kg/ha]; None = chosen and said.
    time_limit_s
        For each plan [s].

    Returns
    -------
    habits.Compared

    Raises
    ------
    InputError
        When the list has an error.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    passes = () if own is None else read_passes(view, own)
    return habits.compare_habits(
        task.plots,
        task.wares,
        task.offers,
        task.terms,
        view.plan,
        own=passes,
        triple=triple,
        flat_rate_kg_ha=flat_rate_kg_ha,
    )


def read_passes(view: SeasonView, path: Path) -> tuple[planner.FixedPass, ...]:
    """Read a list of passes somebody has decided on.

    Parameters
    ----------
    view
        The season.
    path
        CSV or XLSX with plot_id, product, amount and timing.

    Returns
    -------
    tuple of planner.FixedPass

    Raises
    ------
    InputError
        When a row has an error.
    """
    plots = {plot.plot_id for plot in view.record.plots}
    labels = {product.product for product in view.record.products}
    passes, problems = tables.passes_from(tablefiles.read_table(path), plots, labels)
    if has_errors(problems):
        raise InputError(problems)
    return passes


def budget_curve(
    view: SeasonView, points: int, time_limit_s: float, progress: Progress = quiet
) -> tuple[budget.CurvePoint, ...]:
    """Show how much of the needs each sum of money covers.

    Parameters
    ----------
    view
        The season.
    points
        How many budgets, evenly spaced up to the one that is enough.
    time_limit_s
        For each plan [s].
    progress
        Told each budget.

    Returns
    -------
    tuple of budget.CurvePoint
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    return budget.coverage_curve(task.plots, task.wares, task.offers, task.terms, points, progress)


def draw_budget(view: SeasonView, curve: Sequence[budget.CurvePoint], path: Path) -> paper.PaperMade:
    """Draw the curve of coverage against dollars.

    Parameters
    ----------
    view
        The season.
    curve
        Its points.
    path
        ``.svg``, ``.png`` or ``.pdf``.

    Returns
    -------
    paper.PaperMade
    """
    return budgetchart.write_budget_chart(view, curve, path)


def order_blend(
    view: SeasonView, service: custom_blends.BlendService, time_limit_s: float
) -> custom_blends.CustomBlend:
    """Find the cheapest blend to have made for a group of plots, and whether to order it.

    Parameters
    ----------
    view
        The season.
    service
        What the plant blends, for which plots, at which fee.
    time_limit_s
        For each plan [s].

    Returns
    -------
    custom_blends.CustomBlend

    Raises
    ------
    InputError
        When no blend can be made; it says why.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    found = custom_blends.order_blend(task.plots, task.wares, task.offers, task.terms, service)
    if isinstance(found, Problem):
        raise InputError([found])
    return found


def purchase_lists(view: SeasonView) -> tuple[planner.PurchaseList, ...]:
    """Split the plan's purchases into what to have bought before each timing.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of planner.PurchaseList
        Empty without a plan.
    """
    return () if view.plan is None else planner.purchase_lists(view.plan, view.record.offers)
