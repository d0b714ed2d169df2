"""Commands that plan, and that say why: ``plan``, ``why``, ``habits``, ``budget``, ``blend``."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from loamwright.commands.answer import (
    Answer,
    Asked,
    PropertyPath,
    command,
    read,
    read_if_given,
    today,
    view_of,
)
from loamwright.errors import UnitError

app = typer.Typer()

SolveTime = Annotated[float, typer.Option("--time-limit", help="Seconds each search may take.")]


class Open(StrEnum):
    """What to do with needs that are still to decide."""

    LEAVE = "leave"
    PUBLISHED = "published"


class WhyAsked(StrEnum):
    """What can be asked of a plan: `planning.Question`, and what turns on a soil test."""

    NUTRIENTS = "nutrients"
    OFFERS = "offers"
    PRICES = "prices"
    TESTS = "tests"


@command(app, in_units=True)
def plan(
    asked: Asked,
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
    tables: Annotated[
        bool, typer.Option("--tables", help="Print the long table of every product too.")
    ] = False,
) -> Answer:
    """Find the cheapest purchase of whole packages that meets every need, and keep the plan."""
    from loamwright import planning, season
    from loamwright.commands.results import PlanMade
    from loamwright.units import parse_money

    options = season.PlanOptions(
        budget=read_if_given("budget", budget, parse_money),
        gap=gap,
        time_limit_s=time_limit,
        reason=reason,
        fixed=() if fixed is None else season.read_passes(view_of(property_path), fixed),
        published=open_ is Open.PUBLISHED,
    )
    view = season.make_plan(property_path, options, today(), asked.progress)
    made = season.planned_view(view)
    return Answer(
        PlanMade(
            view,
            made,
            planning.purchase_lists(made, view.record.offers),
            season.ground_rules(view),
            tables,
            options.budget,
            season.close_calls(view),
            season.not_compared(view),
        ),
        view.record.info.units,
        no_plan=made.outcome is planning.Outcome.IMPOSSIBLE,
    )


@command(app, in_units=True)
def why(
    asked: Asked,
    property_path: PropertyPath,
    ask: Annotated[
        str | None,
        typer.Option(help="Only one question: nutrients, offers, prices or tests; all if not given."),
    ] = None,
    thorough: Annotated[
        bool, typer.Option("--thorough", help="Plan everything again for each question; takes minutes.")
    ] = False,
    time_limit: SolveTime = 20.0,
) -> Answer:
    """Say why the plan is what it is: what each nutrient costs, and at which price others would enter."""
    from loamwright import planning, season
    from loamwright.commands.results import ReasonsGiven

    view = view_of(property_path)
    season.refuse_old(view, "why", old_ok=False)
    asks = tuple(WhyAsked) if ask is None else (read("ask", ask, WhyAsked),)
    questions = [planning.Question(one.value) for one in asks if one is not WhyAsked.TESTS]
    return Answer(
        ReasonsGiven(
            season.reasons(view, time_limit, asked.progress, questions, thorough) if questions else None,
            season.close_calls(view) if WhyAsked.TESTS in asks else None,
            season.not_compared(view) if WhyAsked.TESTS in asks else (),
        ),
        view.record.info.units,
    )


@command(app)
def whatif(
    asked: Asked,
    property_path: PropertyPath,
    budget: Annotated[str | None, typer.Option(help="Also with this to spend.")] = None,
    dearer: Annotated[
        list[str] | None, typer.Option(help="Also with a product dearer: 'Potash 0-0-60=1.3'.")
    ] = None,
    lime_share: Annotated[float | None, typer.Option(help="Also with this share of the lime now.")] = None,
    crop: Annotated[list[str] | None, typer.Option(help="Also with another crop: 'AF-04=oats'.")] = None,
    rate: Annotated[
        list[str] | None, typer.Option(help="Also with a share of a nutrient's needs met: 'N=0.8'.")
    ] = None,
    without: Annotated[list[str] | None, typer.Option(help="Also without a machine: 'lime truck'.")] = None,
    time_limit: SolveTime = 20.0,
) -> Answer:
    """Lay other ways to plan side by side: dollars, trips, hours, pounds, what is left short."""
    from loamwright import season
    from loamwright.commands.results import Variants
    from loamwright.units import parse_money

    view = view_of(property_path)
    ways = season.OtherWays(
        read_if_given("budget", budget, parse_money),
        lime_share,
        dict(read("dearer", one, _times) for one in dearer or ()),
        dict(read("crop", one, _on_plot) for one in crop or ()),
        dict(read("rate", one, _share_of) for one in rate or ()),
        tuple(without or ()),
    )
    found = season.what_if(view, ways, time_limit, asked.progress)
    return Answer(Variants(found), view.record.info.units)


def _times(text: str) -> tuple[str, float]:
    """A product and how many times its price."""
    from loamwright.units import read_number

    product, _, factor = text.rpartition("=")
    try:
        times = read_number(factor)
    except UnitError as error:
        raise UnitError(f"{text!r} names no product and factor", "write for example Potash=1.3") from error
    if not (product.strip() and 0 <= times <= 1000):
        raise UnitError(f"{text!r} names no product and factor", "write for example Potash=1.3")
    return product.strip(), times


def _share_of(text: str) -> tuple[str, float]:
    """A nutrient and the share of its needs."""
    from loamwright.values import Nutrient

    name, share = _times(text)
    if name.upper() not in {nutrient.value for nutrient in Nutrient} or share > 1:
        raise UnitError(f"{text!r} names no nutrient and share", "write for example N=0.8")
    return name.upper(), share


def _on_plot(text: str) -> tuple[str, str]:
    """A plot and the crop on it."""
    plot, _, crop = (part.strip() for part in text.partition("="))
    if not (plot and crop):
        raise UnitError(f"{text!r} names no plot and crop", "write for example AF-04=oats")
    return plot, crop


@command(app, in_units=True)
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
) -> Answer:
    """Cost the usual ways of doing it on the same needs, with their shortages and surpluses."""
    from loamwright import season
    from loamwright.commands.results import HabitsCosted
    from loamwright.units import parse_rate

    view = view_of(property_path)
    rate = read_if_given("flat rate", flat_rate, parse_rate)
    found = season.compare_habits(view, own, triple, rate, time_limit)
    return Answer(HabitsCosted(found.habits, found.problems, found.plan), view.record.info.units)


@command(app)
def budget(
    asked: Asked,
    property_path: PropertyPath,
    points: Annotated[int, typer.Option(min=1, max=100, help="Points on the curve.")] = 8,
    chart: Annotated[
        Path | None, typer.Option(help="Also draw the curve to this file (.svg, .png or .pdf).")
    ] = None,
    time_limit: SolveTime = 20.0,
) -> Answer:
    """Show how much of the needs each sum of money covers."""
    from loamwright import handoff, season
    from loamwright.commands.results import BudgetCurve

    view = view_of(property_path)
    curve = season.coverage_curve(view, points, time_limit, asked.progress)
    drawn = () if chart is None else (handoff.write_budget_chart(view, curve, chart).path,)
    return Answer(BudgetCurve(curve, drawn))


@command(app, in_units=True)
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
    timing: Annotated[
        str | None, typer.Option(help="When it is spread; when most is needed if not given.")
    ] = None,
    price: Annotated[
        list[str] | None, typer.Option(help="The plant's price of an ingredient: 'Potash 0-0-60=560/ton'.")
    ] = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Put it among the products and offers, so that `plan` may buy it.")
    ] = False,
    time_limit: SolveTime = 20.0,
) -> Answer:
    """Find the cheapest blend to have made for a group of plots, and whether ordering it pays."""
    from loamwright import season
    from loamwright.planning import BlendService
    from loamwright.supplies import parse_cost
    from loamwright.units import TON_KG, parse_mass
    from loamwright.values import Timing

    view = view_of(property_path)
    service = BlendService(
        ingredients=tuple(ingredients),
        fee_per_kg=read("fee", fee, parse_cost) / Decimal(TON_KG),
        seller=seller,
        group=tuple(plots or ()),
        min_order_kg=read_if_given("min order", min_order, parse_mass) or 0.0,
        delivery_fee=read("delivery", delivery, parse_cost),
        timing=read_if_given("timing", timing, Timing),
        prices_per_kg=dict(read("price", one, _priced) for one in price or ()),
    )
    found = season.order_blend(view, service, time_limit)
    if keep:
        season.keep_blend(property_path, found)
    return Answer(found, view.record.info.units)


def _priced(text: str) -> tuple[str, float]:
    """An ingredient and what a kilogram of it costs at the plant."""
    from loamwright.supplies import parse_price_per_mass

    product, _, price = text.rpartition("=")
    if not product.strip():
        raise UnitError(f"{text!r} names no product and price", "write for example 'Urea 46-0-0=560/ton'")
    return product.strip(), parse_price_per_mass(price)
