"""Commands that plan, and that say why: ``plan``, ``why``, ``habits``, ``budget``, ``blend``.

Each reads what was asked, calls `planning` once and prints the answer.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from loamwright.commands.answer import (
    Answer,
    AsJson,
    InUnits,
    PropertyPath,
    give,
    read,
    read_if_given,
    refusals,
    showing_progress,
    system_for,
    today,
    view_of,
)

app = typer.Typer()

SolveTime = Annotated[float, typer.Option("--time-limit", help="Seconds each search may take.")]


class Open(StrEnum):
    """What to do with needs that are still to decide."""

    LEAVE = "leave"
    PUBLISHED = "published"


@app.command()
def plan(
    property_path: PropertyPath,
    budget: Annotated[str | None, typer.Option(help="Spend at most this, where it does most.")] = None,
    fixed: Annotated[
        Path | None, typer.Option(help="Passes already decided on: CSV of plot_id, product, amount, timing.")
    ] = None,
    gap: Annotated[float, typer.Option(help="Proof wanted: 0.001 = within a tenth of a percent.")] = 0.001,
    time_limit: SolveTime = 60.0,
    reason: Annotated[str, typer.Option(help="Why this plan replaces the one before.")] = "",
    open_: Annotated[
        Open, typer.Option("--open", help="What is still to decide: leave it out, or plan it as published.")
    ] = Open.LEAVE,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Find the cheapest purchase of whole packages that meets every need, and keep the plan."""
    from loamwright import season
    from loamwright.commands import data, plan_text, text
    from loamwright.planning import Outcome
    from loamwright.units import parse_money

    with refusals(as_json):
        options = season.PlanOptions(
            budget=read_if_given("--budget", budget, parse_money),
            gap=gap,
            time_limit_s=time_limit,
            reason=reason,
            fixed=() if fixed is None else season.read_passes(view_of(property_path), fixed),
            published=open_.value == "published",
        )
        with showing_progress(as_json) as progress:
            view = season.make_plan(property_path, options, today(), progress)
        made = season.planned_view(view)
        lists = season.purchase_lists(view)

        def show(out: Console) -> None:
            plan_text.show_plan(out, made, view, system_for(view, units))
            plan_text.show_purchase_lists(out, lists)
            text.show_unknown(out, view)
            text.show_cautions(out, view.cautions)

        give(
            Answer(
                {
                    **data.plan(made, view.cautions, view.problems),
                    "purchase_lists": [data.purchase_list(item) for item in lists],
                    "unknown": data.unknown(view),
                },
                show,
                (*made.problems, *view.problems),
                no_plan=made.outcome is Outcome.IMPOSSIBLE,
            ),
            as_json,
        )


@app.command()
def why(
    property_path: PropertyPath,
    time_limit: SolveTime = 20.0,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Say why the plan is what it is: what each nutrient costs, and at which price others would enter."""
    from loamwright import season
    from loamwright.commands import data, plan_text

    with refusals(as_json):
        view = view_of(property_path)
        season.refuse_old(view, "why", old_ok=False)
        with showing_progress(as_json) as progress:
            found = season.reasons(view, time_limit, progress)
        give(
            Answer(
                data.reasons(found),
                lambda out: plan_text.show_reasons(out, found, system_for(view, units)),
            ),
            as_json,
        )


@app.command()
def habits(
    property_path: PropertyPath,
    own: Annotated[
        Path | None, typer.Option(help="Your own list: CSV of plot_id, product, amount, timing.")
    ] = None,
    triple: Annotated[str, typer.Option(help="Product of the flat-rate habit; chosen when not given.")] = "",
    flat_rate: Annotated[
        str | None, typer.Option(help="Its rate, for example '300 lb/acre'; chosen when not given.")
    ] = None,
    time_limit: SolveTime = 20.0,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Cost the usual ways of doing it on the same needs, with their shortages and surpluses."""
    from loamwright import season
    from loamwright.commands import data, plan_text
    from loamwright.units import parse_rate

    with refusals(as_json):
        view = view_of(property_path)
        rate = read_if_given("--flat-rate", flat_rate, parse_rate)
        found = season.compare_habits(view, own, triple, rate, time_limit)
        give(
            Answer(
                {
                    "habits": [data.habit(item) for item in found.habits],
                    "problems": data.problems(found.problems),
                },
                lambda out: plan_text.show_habits(out, found, view, system_for(view, units)),
                found.problems,
            ),
            as_json,
        )


@app.command()
def budget(
    property_path: PropertyPath,
    points: Annotated[int, typer.Option(min=1, help="Points on the curve.")] = 8,
    chart: Annotated[
        Path | None, typer.Option(help="Also draw the curve to this file (.svg, .png or .pdf).")
    ] = None,
    time_limit: SolveTime = 20.0,
    as_json: AsJson = False,
) -> None:
    """Show how much of the needs each sum of money covers."""
    from loamwright import season
    from loamwright.commands import data, plan_text, text

    with refusals(as_json):
        view = view_of(property_path)
        with showing_progress(as_json) as progress:
            curve = season.budget_curve(view, points, time_limit, progress)
        drawn = () if chart is None else (season.draw_budget(view, curve, chart),)

        def show(out: Console) -> None:
            plan_text.show_budget(out, curve)
            text.show_paths(out, [item.path for item in drawn])

        give(
            Answer(
                {
                    "points": [data.curve_point(point) for point in curve],
                    "files": [str(item.path) for item in drawn],
                },
                show,
            ),
            as_json,
        )


@app.command()
def blend(
    property_path: PropertyPath,
    ingredients: Annotated[list[str], typer.Argument(help="Products the plant blends, two or more.")],
    fee: Annotated[str, typer.Option(help="Blending fee for a ton [money].")] = "0",
    delivery: Annotated[str, typer.Option(help="Delivery fee for the order [money].")] = "0",
    min_order: Annotated[str | None, typer.Option(help="Smallest order, for example '1 ton'.")] = None,
    seller: Annotated[str, typer.Option(help="Who blends.")] = "",
    plots: Annotated[
        list[str] | None, typer.Option("--plot", help="Only for these plots; every plot with a need if none.")
    ] = None,
    time_limit: SolveTime = 20.0,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Find the cheapest blend to have made for a group of plots, and whether ordering it pays."""
    from loamwright import season
    from loamwright.commands import data, plan_text
    from loamwright.planning import BlendService
    from loamwright.supplies import parse_cost
    from loamwright.units import TON_KG, parse_mass

    with refusals(as_json):
        view = view_of(property_path)
        service = BlendService(
            ingredients=tuple(ingredients),
            fee_per_kg=read("--fee", fee, parse_cost) / Decimal(TON_KG),
            seller=seller,
            group=tuple(plots or ()),
            min_order_kg=read_if_given("--min-order", min_order, parse_mass) or 0.0,
            delivery_fee=read("--delivery", delivery, parse_cost),
        )
        found = season.order_blend(view, service, time_limit)
        give(
            Answer(
                data.custom_blend(found),
                lambda out: plan_text.show_blend(out, found, system_for(view, units)),
            ),
            as_json,
        )
