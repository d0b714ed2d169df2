"""Plan a season, keep the plan, and ask why it is what it is and what else could be done."""

from __future__ import annotations

import datetime as dt
import math
import operator
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import partial
from pathlib import Path

from loamwright import files, planning, supplies, work
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.land import Cropping
from loamwright.planning import LeftToDecide, Plan
from loamwright.season.opening import Progress, Season, product_contents, quiet, worked_out
from loamwright.supplies import Offer, Product
from loamwright.values import NeedState, Supply, WorkRules
from loamwright.work import (
    SeasonView,
)


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
    published
        True = plan the published figure of what is still to decide; False = leave it, and say so.
    mix_undecided
        True to let products share a load about which no page says anything: what deciding them could bring.
    """

    budget: Decimal | None = None
    gap: float = 0.001
    time_limit_s: float = 60.0
    reason: str = ""
    fixed: tuple[planning.FixedPass, ...] = ()
    published: bool = False
    mix_undecided: bool = False


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

    plots: tuple[planning.PlanPlot, ...]
    wares: tuple[planning.Ware, ...]
    offers: tuple[Offer, ...]
    terms: planning.Terms
    problems: tuple[Problem, ...]


def _faults(options: PlanOptions) -> Iterator[Problem]:
    """Name the options that ask for what no plan can be."""
    if options.budget is not None and options.budget < 0:
        what = f"{options.budget} is less than nothing"
        yield Problem("budget", what, "Write what may be spent, for example 400.")
    if not 0 <= options.gap < 1:
        what = f"{options.gap:g} is not a share of the cost, from 0 to less than 1"
        yield Problem("gap", what, "Write for example 0.001, a tenth of a percent.")
    if not (math.isfinite(options.time_limit_s) and options.time_limit_s > 0):
        what = f"{options.time_limit_s:g} is not a number of seconds above 0"
        yield Problem("time limit", what, "Write for example 60.")


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
        When the budget, the gap or the time limit is out of range, or the user's own splits cannot be.
    """
    record = view.record
    settings = record.info.settings
    problems = (*_faults(options), *planning.split_faults(settings.work.windows))
    if problems:
        raise InputError(problems)
    contents = product_contents(record)
    plots, problems = planning.plan_plots(
        record.plots,
        view.areas,
        work.with_published(view.needs, view.areas) if options.published else view.needs,
        contents,
        record.products,
        settings,
        work.lime_spread(record.applications, record.products, view.areas, settings, record.info.season),
        {(row.plot_id, row.supply): row.need_kg for row in view.balances if row.need_kg is not None},
        record.info.units,
        record.ways,
    )
    problems = (*problems, *_shares_not_stated(record.products))
    calendar = files.load_calendar()
    plots = tuple(
        replace(
            plot,
            demands=planning.placed_in_time(
                plot.demands,
                view.croppings.get(plot.plot_id),
                calendar,
                settings.work,
                {
                    key: kg * plot.rest_ha.get(key, plot.area_ha) / plot.area_ha
                    for key, kg in plot.whole_kg.items()
                },
            ),
        )
        for plot in plots
    )
    answers = supplies.mixes(record.products, files.load_mixing(), settings.work.mixing)
    return PlanningTask(
        plots=plots,
        wares=tuple(planning.Ware(product, contents[product.product]) for product in record.products),
        offers=work.offers_in_stock(record),
        terms=planning.Terms(
            max_products_per_plot=settings.max_products_per_plot,
            spreading_cost_per_ha=settings.spreading_cost_per_ha,
            spreading_cost_per_pass=settings.spreading_cost_per_pass,
            min_rate_kg_ha=settings.min_rate_kg_ha,
            gap=options.gap,
            time_limit_s=options.time_limit_s,
            budget=options.budget,
            hauling_cost_per_kg=settings.hauling_cost_per_kg,
            cost_per_haul=settings.work.cost_per_haul,
            haul_kg=settings.work.haul_kg,
            handling_cost_per_kg=planning.handling(record.offers, record.products, settings),
            machines=planning.machines(settings),
            mixing=supplies.pairs_that_may(answers, undecided=options.mix_undecided),
            odd_amount_cost=settings.work.odd_amount_cost,
            logged_kg_ha=work.logged_rates(record.calibrations),
            least_job_share=settings.work.least_job_share,
            spare=settings.work.spare,
            fixed=options.fixed,
            season=record.info.season,
            units=record.info.units,
        ),
        problems=problems,
    )


def _shares_not_stated(products: Sequence[Product]) -> Iterator[Problem]:
    """Name what manures hold that is not counted, because nobody says how much of it a crop can use."""
    for product in products:
        silent = [
            nutrient.value
            for nutrient, pct in product.analysis_pct.items()
            if product.material and pct > 0 and nutrient not in product.available_pct
        ]
        if silent:
            yield Problem(
                f"product {product.product}, {', '.join(silent)}",
                f"neither the label nor the guideline says which share of it a crop can use from "
                f"{product.material!r}{f', {product.method}' if product.method else ''} in the first season, "
                "so it is not counted",
                f"Ask your lab and enter it: set product with available_{silent[0].lower()}_pct=….",
                Level.WARNING,
            )


def make_plan(path: Path, options: PlanOptions, today: dt.date, progress: Progress = quiet) -> Season:
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
    Season
        With the new plan.

    Raises
    ------
    InputError
        When an option is out of range; nothing is stored.
    """
    before = Season(files.load(path), today, progress)
    progress("finding the cheapest packages")
    info = before.record.info
    entries = work.season_entries(before.record.applications, info.season, info.settings.season_start)
    task = planning_task(before, options)
    made = planning.make_plan(task.plots, task.wares, task.offers, task.terms)
    rules = info.settings.work
    contents = product_contents(before.record)
    blends = _blends(task, made, rules, progress)
    made = replace(
        made,
        jobs=planning.dated_jobs(
            made.jobs,
            made.lines,
            {product: tuple(held) for product, held in contents.items()},
            before.croppings,
            files.load_calendar(),
            rules,
            info.season,
            today,
            {plot.plot_id: plot.reach_months for plot in before.record.plots},
            {product.product: product.method for product in before.record.products},
        ),
        explanation=(
            *made.explanation,
            *_bands_said(task, before),
            *(blend.words if isinstance(blend, LeftToDecide) else blend for blend in blends),
        ),
        left_to_decide=(
            *made.left_to_decide,
            *(blend for blend in blends if isinstance(blend, LeftToDecide)),
        ),
        problems=(*task.problems, *made.problems, *_left_open(before, options)),
        counted_entries=tuple(entry.entry_id for entry in entries),
        fingerprint=before.fingerprint,
    )
    with files.edit(path, "plan") as editor:
        editor.add_plan(made, options.reason)
        worked_out(editor.record(), today)
    progress("checking cautions")
    return Season(files.load(path), today, progress)


def _bands_said(task: PlanningTask, view: SeasonView) -> tuple[str, ...]:
    """Say how near to a need is near enough, of the needs that are planned."""
    needed = {demand.supply for plot in task.plots for demand in plot.demands if demand.mass_kg}
    ordered = [supply for supply in Supply if supply in needed]
    settings = view.record.info.settings
    own = {plot.plot_id: plot.bands for plot in view.record.plots}
    words = planning.band_words(planning.bands(ordered, settings), settings, own)
    return (words,) if words else ()


def _blends(
    task: PlanningTask, made: Plan, rules: WorkRules, progress: Progress
) -> tuple[LeftToDecide | str, ...]:
    """Say what the blending plant's cheapest blend would cost, and what it would save."""
    plant = rules.blending
    if plant is None or not made.lines or task.terms.budget is not None:
        return ()
    progress(f"a blend from {plant.seller}")
    service = planning.BlendService(
        ingredients=tuple(plant.prices_per_kg),
        fee_per_kg=plant.fee_per_kg,
        seller=plant.seller,
        min_order_kg=plant.min_order_kg,
        delivery_fee=plant.delivery_fee,
        prices_per_kg=plant.prices_per_kg,
    )
    return (planning.blend_option(task.plots, task.wares, task.offers, task.terms, service, made),)


def _left_open(view: Season, options: PlanOptions) -> tuple[Problem, ...]:
    """Say what a plan left open, or took as published, with pounds and money."""
    rows = [row for row in view.choices if row.open]
    if not rows:
        return ()
    listed = ", ".join(f"{row.supply} on {row.plot_id}" for row in rows)
    cost = sum((row.cost for row in rows if row.cost is not None), Decimal(0))
    done = "left out of this plan"
    if options.published:
        ranges = any(row.published_kg_ha is None for row in rows)
        done = "planned as published" + (", printed ranges left out" if ranges else "")
    what = f"{len(rows)} still to decide, {done}: {listed}; about {cost} at the cheapest offers"
    return (Problem("decisions", what, "See and make them with: decide.", Level.WARNING),)


@dataclass(frozen=True, slots=True)
class OtherWays:
    """What to plan otherwise, one variant each, to stand beside the plan.

    Parameters
    ----------
    budget
        With this to spend [money]; None = not asked.
    lime_share
        With this share of the lime now [fraction]; None = not asked.
    dearer
        Product to how many times its price.
    crops
        Plot to another crop on it.
    rates
        Supply to the share of its needs that is met [fraction].
    without
        Machines that are not to be had.
    """

    budget: Decimal | None = None
    lime_share: float | None = None
    dearer: Mapping[str, float] = field(default_factory=dict)
    crops: Mapping[str, str] = field(default_factory=dict)
    rates: Mapping[str, float] = field(default_factory=dict)
    without: Sequence[str] = ()


def what_if(
    view: SeasonView, ways: OtherWays, time_limit_s: float, progress: Progress = quiet
) -> tuple[planning.Variant, ...]:
    """Lay other ways to plan beside the plan; nothing is kept.

    Parameters
    ----------
    view
        The season.
    ways
        What is asked.
    time_limit_s
        For each plan [s].
    progress
        Told each variant.

    Returns
    -------
    tuple of planning.Variant
        The plan itself (made anew where it is old), no mixing, and every pair mixed that no page forbids
        come first.

    Raises
    ------
    InputError
        When a plot or machine is not known, or no machine would be left.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    freely = planning_task(view, PlanOptions(time_limit_s=time_limit_s, mix_undecided=True))
    plots, offers, terms = task.plots, task.offers, task.terms
    asked = [
        planning.Asked("planned anew" if view.aged else "as planned", plots, offers, terms),
        planning.Asked("nothing mixed", plots, offers, replace(terms, mixing=frozenset())),
        planning.Asked("all mixed that no page forbids", plots, offers, freely.terms),
    ]
    if ways.budget is not None:
        limited = replace(terms, budget=ways.budget)
        asked.append(planning.Asked("with the budget", plots, offers, limited))
    for product, times in ways.dearer.items():
        changed = planning.dearer(offers, product, times)
        asked.append(planning.Asked(f"{product} at {times:g} times its price", plots, changed, terms))
    if ways.lime_share is not None:
        less = planning.with_share(plots, ways.lime_share, lambda supply: supply.is_lime)
        asked.append(planning.Asked(f"{ways.lime_share:.0%} of the lime now", less, offers, terms))
    for name, share in ways.rates.items():
        less = planning.with_share(plots, share, partial(operator.eq, Supply(name)))
        asked.append(planning.Asked(f"{share:.0%} of the {name}", less, offers, terms))
    for text, crop in ways.crops.items():
        plot_id = files.find(files.thing_of("plot"), view.record, text).plot_id
        other = _growing(view, plot_id, crop)
        grown = planning_task(other, PlanOptions(time_limit_s=time_limit_s)).plots
        needs = other.needs[plot_id]
        open_ones = [one.nutrient.value for one in needs.needs[:3] if one.state in _OPEN]
        open_ones += ["lime"] if needs.lime.state in _OPEN else []
        lacking = f" ({', '.join(open_ones)} not known)" if open_ones else ""
        asked.append(planning.Asked(f"{crop} on {plot_id}{lacking}", grown, offers, terms))
    for text in ways.without:
        machine = files.find(files.thing_of("spreader"), view.record, text).name
        left = tuple(one for one in terms.machines if one.name != machine)
        if not left:
            what = f"without {machine} no machine is left"
            raise InputError([Problem("without", what, "Add the machine that would do its work.")])
        asked.append(planning.Asked(f"without {machine}", plots, offers, replace(terms, machines=left)))
    return planning.what_if(asked, task.wares, progress)


#: Needs that no plan can meet, as there is no figure.
_OPEN = (NeedState.UNKNOWN, NeedState.TO_DECIDE)


def _growing(view: SeasonView, plot_id: str, crop: str) -> Season:
    """The season with another crop on a plot; goal, legumes and the lab's rates were those of the one now."""
    record = view.record
    now = view.croppings.get(plot_id) or Cropping(plot_id, record.info.season)
    others = tuple(one for one in record.croppings if one != now)
    tests = tuple(
        replace(test, rates_crop=test.rates_crop or now.crop) if test.plot_id == plot_id else test
        for test in record.soil_tests
    )
    return Season(
        replace(
            record,
            soil_tests=tests,
            croppings=(*others, replace(now, crop=crop, yield_goal=None, legume_pct=None)),
        ),
        view.made_on,
    )


def ground_rules(view: SeasonView) -> tuple[planning.GroundRule, ...]:
    """Say which rules on ground, dates and rain the picked state has; none until one is picked.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of planning.GroundRule
    """
    state = view.record.info.settings.work.state.casefold()
    return tuple(rule for rule in files.load_ground_rules() if rule.state.casefold() == state)


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


def reasons(
    view: SeasonView,
    time_limit_s: float,
    progress: Progress = quiet,
    questions: Sequence[planning.Question] = tuple(planning.Question),
    thorough: bool = False,
) -> planning.Reasons:
    """Say why the season's plan is what it is, by planning again with one thing changed at a time.

    Parameters
    ----------
    view
        The season, with a plan.
    time_limit_s
        For each new plan [s].
    progress
        Told each question.
    questions
        Which to ask.
    thorough
        True to plan everything again for each question.

    Returns
    -------
    reasons.Reasons

    Raises
    ------
    InputError
        When the season has no plan.
    """
    plan = planned_view(view)
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    return planning.explain(
        task.plots, task.wares, task.offers, task.terms, plan, progress, questions, thorough
    )


def coverage_curve(
    view: Season, points: int, time_limit_s: float, progress: Progress = quiet
) -> tuple[planning.CurvePoint, ...]:
    """Say how much of the needs each sum of money covers.

    Parameters
    ----------
    view
        The season; a plan that is not old and covers everything is the last point.
    points
        How many.
    time_limit_s
        For each plan [s].
    progress
        Told each budget.

    Returns
    -------
    tuple of planning.CurvePoint
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    whole = _whole_plan(view, task)
    return planning.coverage_curve(task.plots, task.wares, task.offers, task.terms, points, progress, whole)


def _whole_plan(view: Season, task: PlanningTask) -> Plan | None:
    """The season's plan, if it is not old and was not made for a budget."""
    whole = None if view.aged or view.plan is None else view.plan
    return None if whole is not None and planning.short_of_bands(task.plots, whole) else whole


def compare_habits(
    view: SeasonView, own: Path | None, triple: str, flat_rate_kg_ha: float | None, time_limit_s: float
) -> planning.Compared:
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
    alternatives.Compared

    Raises
    ------
    InputError
        When the list has an error.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    passes = () if own is None else read_passes(view, own)
    found = planning.compare_habits(
        task.plots,
        task.wares,
        task.offers,
        task.terms,
        None if view.aged else view.plan,
        own=passes,
        triple=triple,
        flat_rate_kg_ha=flat_rate_kg_ha,
    )
    if not view.aged:
        return found
    what = f"the plan is left out: it was made before this changed: {'; '.join(map(str, view.aged[:8]))}"
    return replace(found, problems=(*found.problems, Problem("habits", what, "Plan again.", Level.NOTE)))


def read_passes(view: SeasonView, path: Path) -> tuple[planning.FixedPass, ...]:
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
    passes, problems = files.passes_from(files.read_table(path), plots, labels)
    if has_errors(problems):
        raise InputError(problems)
    return passes


def order_blend(view: Season, service: planning.BlendService, time_limit_s: float) -> planning.CustomBlend:
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
    products, plots = files.thing_of("product"), files.thing_of("plot")
    service = replace(
        service,
        ingredients=tuple(files.find(products, view.record, one).product for one in service.ingredients),
        group=tuple(files.find(plots, view.record, one).plot_id for one in service.group),
        prices_per_kg={
            files.find(products, view.record, one).product: price
            for one, price in service.prices_per_kg.items()
        },
    )
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    plan = _whole_plan(view, task)
    found = planning.order_blend(task.plots, task.wares, task.offers, task.terms, service, plan)
    if isinstance(found, Problem):
        raise InputError([found])
    return found


def keep_blend(path: Path, found: planning.CustomBlend) -> None:
    """Put a blend among the property's products and offers, so that the next plan may buy it.

    Parameters
    ----------
    path
        The property file.
    found
        The blend; the same blend again takes the place of what was kept.
    """
    with files.edit(path, "blend") as editor:
        editor.put_products([found.ware.product])
        editor.put_offers([found.offer])
