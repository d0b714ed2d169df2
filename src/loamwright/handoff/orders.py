"""The planner's edition of the work orders: who goes where with what, and why this much.

This file answers "what must the planner have at hand?": a cover with the map and the rounds, a page per
round, a page per plot with its sketch, the buying list and the cautions in full; in a file of their own,
the steps behind each number. What helpers and drivers get is in `booklet`. It decides what stands there
and formats it; `paper` prints it, `templates/orders.typ` lays it out, and every amount comes from the
plan as it is.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import Level
from loamwright.handoff.buying_list import BuyingPage, buying_page
from loamwright.handoff.drawings import Drawing, overview_drawing, plot_drawing
from loamwright.handoff.paper import (
    Figure,
    PaperMade,
    PaperOptions,
    check_paper,
    money_figures,
    print_pages,
)
from loamwright.handoff.round_sheets import (
    CautionRow,
    CautionsHere,
    RoundSheet,
    StepRow,
    caution_row,
    cautions_here,
    label_of,
    numbered,
    round_sheet,
    state_words,
    step_row,
    step_words,
)
from loamwright.land import Plot
from loamwright.money import format_money
from loamwright.needs import LimeNeed, Need
from loamwright.planning import PlanLine, when_and_how
from loamwright.supplies import supply_fractions
from loamwright.units import (
    format_area,
)
from loamwright.values import LimeBasis, NeedState, Source, Step, Timing
from loamwright.words import (
    mass_words,
    packages_words,
    rate_words,
    spread_words,
    timing_words,
    volume_words,
)
from loamwright.work import (
    PLANNER,
    Caution,
    LineStatus,
    Placed,
    Round,
    SeasonView,
    find_round,
    load_words,
    placed,
)

#: A plot's page holds the arithmetic of this many passes; beyond, it is in the appendix only [count].
CHAINED = 3
#: Titles longer than this stand once, in the appendix's list, and are given by number [characters].
NUMBERED_FROM = 24
#: Needs that a page tells the reason of instead of an amount.
_OPEN = (NeedState.UNKNOWN, NeedState.TO_DECIDE)

# ---------------------------------------------------------------------------------------------
# What stands on the pages. Texts are ready to show; names are those in templates/orders.typ.


@dataclass(frozen=True, slots=True)
class PassRow:
    """One pass over a plot."""

    order: str
    product: str
    timing: str
    rate: str
    amount: str
    volume: str
    packages: str
    carry: str
    round: str
    state: str


@dataclass(frozen=True, slots=True)
class Why:
    """Where a product's amount on a plot comes from, in a few lines."""

    product: str
    text: str


@dataclass(frozen=True, slots=True)
class PlotSheet:
    """One plot's page."""

    plot_id: str
    name: str
    crop: str
    access: str
    notes: str
    spread: str
    gross: str
    area_se: str
    setbacks: str
    drawing: Drawing | None
    lines: tuple[PassRow, ...]
    when: tuple[str, ...]
    unknown: tuple[str, ...]
    cautions: CautionsHere
    why: tuple[Why, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A number of the appendix and its steps."""

    title: str
    steps: tuple[StepRow, ...]


@dataclass(frozen=True, slots=True)
class PlotSteps:
    """All numbers of one plot."""

    plot_id: str
    name: str
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class OrdersPage:
    """Everything `templates/orders.typ` shows."""

    title: str
    property: str
    about: str
    paper: str
    footer: str
    made_on: str
    plan_line: str
    totals: tuple[Figure, ...]
    overview: Drawing | None
    open_questions: tuple[str, ...]
    settle: CautionsHere
    cautions: CautionsHere
    rounds: tuple[RoundSheet, ...]
    plots: tuple[PlotSheet, ...]
    buying: BuyingPage | None
    all_cautions: tuple[CautionRow, ...]


@dataclass(frozen=True, slots=True)
class ArithmeticPage:
    """Everything `templates/arithmetic.typ` shows.

    ``sources`` are the publications that the steps give by number, from 1.
    """

    title: str
    paper: str
    footer: str
    appendix: tuple[PlotSteps, ...]
    sources: tuple[str, ...]


# ---------------------------------------------------------------------------------------------
# Plots


def _need_text(need: Need | LimeNeed, name: str, system: str) -> str:
    """A need, its reason, and the most precise source behind it."""
    rate = "" if need.rate_kg_ha is None else f" {rate_words(need.rate_kg_ha, system, need.supply)}"
    printed = [step.source for step in need.steps if step.source.table or step.source.edition]
    rows = [source for source in printed if source.row] or printed
    basis = f" {need.basis.value}" if isinstance(need, LimeNeed) and need.basis else ""
    text = f"{name}{basis} needed{rate}: {need.reason.rstrip('.')}"
    return f"{text} [{rows[-1]}]" if rows else text


def _why(line: PlanLine, view: SeasonView, system: str, chained: bool) -> Why:
    """The needs a product answers on a plot, then the arithmetic of the amount."""
    product = label_of(line.product, view)
    needs = view.needs.get(line.plot_id)
    parts = []
    if product is not None and needs is not None:
        supplies = supply_fractions(product, tuple(LimeBasis))
        answered = [
            _need_text(need, need.nutrient.value, system)
            for need in needs.needs
            if need.state is NeedState.NEEDED and supplies.get(need.nutrient.supply)
        ]
        lime = needs.lime
        if lime.state is NeedState.NEEDED and lime.basis and supplies.get(lime.basis.supply):
            answered.append(_need_text(lime, "lime", system))
        parts += answered
    chain = " → ".join(step_words(step) for step in line.steps) if chained else "see the arithmetic"
    if line.steps:
        parts.append(f"Arithmetic: {chain}")
    return Why(line.product, ". ".join(parts) + ("." if parts else ""))


def _setbacks(plot: Plot, view: SeasonView, system: str) -> str:
    area = view.areas[plot.plot_id]
    names = {k.keepout_id: k for k in view.record.keepouts}
    cut = [
        f"{names[key].name or key} {names[key].setback_text or 'no setback stated'}"
        for key, _ in area.keepouts
        if key in names
    ]
    missing = [names[key].name or key for key in area.missing_setbacks if key in names]
    parts = [f"Taken off: {', '.join(cut)}."] if cut else []
    if missing:
        parts.append(f"Setback NOT stated for {', '.join(missing)}: ask before spreading near it.")
    return " ".join(parts)


def _unknown(plot_id: str, view: SeasonView) -> tuple[str, ...]:
    """What is not known or not decided of a plot's needs: each reason once, behind its supplies."""
    needs = view.needs.get(plot_id)
    if needs is None:
        return ("needs have not been worked out",)
    by_reason: dict[str, list[str]] = {}
    for need in needs.needs:
        if need.state in _OPEN:
            by_reason.setdefault(need.reason, []).append(need.nutrient.value)
    if needs.lime.state in _OPEN:
        by_reason.setdefault(needs.lime.reason, []).append("lime")
    return tuple(f"{', '.join(supplies)}: {reason}" for reason, supplies in by_reason.items())


def _in_season_order(lines: Iterable[PlanLine]) -> list[PlanLine]:
    order = {timing: index for index, timing in enumerate(Timing)}
    return sorted(lines, key=lambda line: -1 if line.timing is None else order[line.timing])


def _when(lines: Sequence[PlanLine], view: SeasonView) -> Iterator[str]:
    """Window and placement of each job of a plot, with who says so."""
    product = {line.line_id: line.product for line in lines}
    for job in view.plan.jobs if view.plan else ():
        load = [product[line] for line in job.line_ids if line in product]
        if load and (job.window or job.placement):
            said = f" ({job.reason})" if job.reason else ""
            yield f"{' + '.join(load)}: {when_and_how(job)}{said}"


def _plot_sheet(
    plot: Plot,
    lines: Sequence[PlanLine],
    rounds: Mapping[str, str],
    view: SeasonView,
    statuses: Mapping[str, LineStatus],
    told: Placed,
    numbers: Mapping[Caution, int],
    appendix: bool,
) -> PlotSheet:
    system = view.record.info.units
    area = view.areas[plot.plot_id]
    cropping = view.croppings.get(plot.plot_id)
    crop = cropping.crop if cropping and cropping.crop else "crop not stated"
    if cropping and cropping.yield_goal:
        crop += f", yield goal {cropping.yield_goal.value:g} {cropping.yield_goal.unit}"
    ordered = _in_season_order(lines)
    rows = tuple(
        PassRow(
            str(index),
            line.product,
            timing_words(line.timing),
            spread_words(line.mass_kg, line.rate_kg_ha, area.spread_area_m2, system),
            mass_words(line.mass_kg, system),
            volume_words(line.mass_kg, label_of(line.product, view), system),
            packages_words(line.packages, line.package, line.mass_kg, system),
            ""
            if line.packages is None
            else f"{line.packages:.2f} packages, carry {math.ceil(line.packages - 1e-9)}",
            rounds.get(line.line_id, "no round"),
            state_words(statuses.get(line.line_id), system),
        )
        for index, line in enumerate(ordered, 1)
    )
    return PlotSheet(
        plot.plot_id,
        plot.name,
        crop,
        plot.access,
        plot.notes,
        format_area(area.spread_area_m2, system),
        format_area(area.area_m2, system),
        "" if area.area_se_m2 is None else f" ± {format_area(area.area_se_m2, system)} (walked)",
        _setbacks(plot, view, system),
        plot_drawing(plot, area, view.record.keepouts, system),
        rows,
        tuple(_when(ordered, view)),
        _unknown(plot.plot_id, view),
        cautions_here(
            told.on_plots([plot.plot_id]),
            numbers,
            told.with_product({line.product for line in lines}, [plot.plot_id]),
        ),
        tuple(_why(line, view, system, not appendix or len(ordered) <= CHAINED) for line in ordered),
    )


# ---------------------------------------------------------------------------------------------
# Appendix and cover


class _Publications:
    """The publications behind the steps: each gets a number, and stands in full once."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def cited(self, source: Source) -> str:
        """Write a source with the number of its publication; "label" and the like as they are."""
        title = ", ".join(part for part in (source.publication, source.edition) if part)
        if len(title) <= NUMBERED_FROM:
            return str(source)
        number = self._numbers.setdefault(title, len(self._numbers) + 1)
        return ", ".join(part for part in (f"[{number}]", source.table, source.row) if part)

    def titles(self) -> tuple[str, ...]:
        return tuple(self._numbers)


def _appendix(
    plot: Plot, lines: Sequence[PlanLine], view: SeasonView, publications: _Publications
) -> PlotSteps:
    system = view.record.info.units

    def rows(steps: Iterable[Step]) -> tuple[StepRow, ...]:
        return tuple(step_row(step, publications.cited(step.source)) for step in steps)

    parts = [
        Part(
            f"{line.product}, {timing_words(line.timing)}: {mass_words(line.mass_kg, system)}",
            rows(line.steps),
        )
        for line in lines
    ]
    needs = view.needs.get(plot.plot_id)
    for need in needs.needs if needs else ():
        credits_ = tuple(
            StepRow(
                f"credit: {c.what}",
                rate_words(c.rate_kg_ha, system),
                need.nutrient.value,
                publications.cited(c.source),
            )
            for c in need.credits
        )
        title = f"Need of {need.nutrient.value}: {need.state.value}. {need.reason}"
        parts.append(Part(title, rows(need.steps) + credits_))
    if needs:
        title = f"Need of lime: {needs.lime.state.value}. {needs.lime.reason}"
        parts.append(Part(title, rows(needs.lime.steps)))
    parts.append(Part("Area to spread on", rows(view.areas[plot.plot_id].steps)))
    return PlotSteps(plot.plot_id, plot.name, tuple(part for part in parts if part.steps))


def _plan_line(view: SeasonView) -> str:
    plan = view.plan
    if plan is None:
        return "No plan has been made."
    text = f"Plan {plan.plan_id}: {plan.outcome.value}"
    if plan.gap:
        text += f", at most {plan.gap:.2%} above the lowest possible cost"
    return f"{text}. Made {plan.made_at[:10]}." if plan.made_at else f"{text}."


def _open_questions(view: SeasonView, plots: Sequence[Plot]) -> tuple[str, ...]:
    """What is not known, each reason once with the plots it holds for; then the problems found."""
    by_reason: dict[str, list[str]] = {}
    for plot in plots:
        for text in _unknown(plot.plot_id, view):
            by_reason.setdefault(text, []).append(plot.plot_id)
    lines = [f"{', '.join(where)}: {text}" for text, where in by_reason.items()]
    found = (*view.problems, *(view.plan.problems if view.plan else ()))
    lines += [str(problem) for problem in dict.fromkeys(found) if problem.level is not Level.NOTE]
    return tuple(dict.fromkeys(lines))


def _chosen_rounds(view: SeasonView, options: PaperOptions) -> tuple[Round, ...]:
    if options.rounds is None:
        return view.rounds
    return tuple(find_round(view.rounds, asked) for asked in options.rounds)


def orders_page(view: SeasonView, options: PaperOptions) -> OrdersPage:
    """Work out everything that stands on the work orders."""
    info, system = view.record.info, view.record.info.units
    rounds = _chosen_rounds(view, options)
    numbers = {round_.round_id: number for number, round_ in enumerate(view.rounds, 1)}
    stops = {
        stop.line_id: (numbers[round_.round_id], load)
        for round_ in rounds
        for stop, load in zip(round_.stops, load_words(round_), strict=True)
    }
    places = {
        line_id: f"{number}, load {load}" if load else f"{number}"
        for line_id, (number, load) in stops.items()
    }
    by_plot = _lines_by_plot(view, None if options.rounds is None else rounds)
    lines = [line for lines in by_plot.values() for line in lines]
    plots = [p for p in view.record.plots if options.rounds is None or p.plot_id in by_plot]
    statuses = {status.line_id: status for status in view.statuses if status.line_id}
    spread_m2 = math.fsum(view.areas[plot_id].spread_area_m2 for plot_id in by_plot)
    totals = [
        Figure(str(len(by_plot)), "plots to visit"),
        Figure(format_area(spread_m2, system), "to spread on"),
        Figure(str(len({line.job_id or line.line_id for line in lines})), "trips"),
        Figure(mass_words(math.fsum(line.mass_kg for line in lines), system), "product in all"),
    ]
    if view.plan is not None and options.rounds is None:
        totals.append(Figure(format_money(view.plan.total_cost), "bought, delivered and spread"))
        totals.extend(money_figures(view))
    products = [line.product for line in lines]
    told, order = placed(view.cautions, PLANNER), numbered(view.cautions)
    visited = set(by_plot)
    mine = [
        caution
        for caution in order
        if options.rounds is None
        or ((not caution.where or visited & set(caution.where)) and caution.product in ("", *products))
    ]
    return OrdersPage(
        title=f"Work orders {info.season}, {info.name}",
        property=info.name,
        about=info.about,
        paper=check_paper(options.paper),
        footer=f"{info.name}, work orders made {view.stamp}",
        made_on=view.stamp,
        plan_line=_plan_line(view),
        totals=tuple(totals),
        overview=overview_drawing(view.record.plots, view.record.keepouts, by_plot, system),
        open_questions=_open_questions(view, plots),
        settle=cautions_here([one for one in mine if one in told.to_settle and one.level != "note"], order),
        cautions=cautions_here(told.everywhere(products), order),
        rounds=tuple(round_sheet(numbers[r.round_id], r, view, statuses, told, order) for r in rounds),
        plots=tuple(
            _plot_sheet(p, by_plot.get(p.plot_id, ()), places, view, statuses, told, order, options.appendix)
            for p in plots
        ),
        buying=None if options.rounds is not None else buying_page(view),
        all_cautions=tuple(caution_row(order[caution], caution) for caution in mine),
    )


def _lines_by_plot(view: SeasonView, rounds: Iterable[Round] | None) -> dict[str, list[PlanLine]]:
    """The plan's lines by plot: all of them, or those of some rounds."""
    kept = None if rounds is None else {stop.line_id for one in rounds for stop in one.stops}
    by_plot: dict[str, list[PlanLine]] = {}
    for line in view.plan.lines if view.plan else ():
        if kept is None or line.line_id in kept:
            by_plot.setdefault(line.plot_id, []).append(line)
    return by_plot


def arithmetic_page(view: SeasonView, options: PaperOptions) -> ArithmeticPage:
    """Work out the steps behind each number, of all plots or those of some rounds."""
    info = view.record.info
    by_plot = _lines_by_plot(view, None if options.rounds is None else _chosen_rounds(view, options))
    plots = [p for p in view.record.plots if options.rounds is None or p.plot_id in by_plot]
    publications = _Publications()
    steps = tuple(_appendix(plot, by_plot.get(plot.plot_id, ()), view, publications) for plot in plots)
    return ArithmeticPage(
        f"How each number was made, {info.season}, {info.name}",
        check_paper(options.paper),
        f"{info.name}, arithmetic of the work orders made {view.stamp}",
        steps,
        publications.titles(),
    )


def write_orders(view: SeasonView, path: Path, options: PaperOptions | None = None) -> PaperMade:
    """Print the planner's edition of the work orders.

    Parameters
    ----------
    view
        The season.
    path
        PDF to write (``.png`` and ``.svg`` make one file per page).
    options
        Paper size, rounds to print, appendix or not; None = all, on letter paper.

    Returns
    -------
    PaperMade

    Raises
    ------
    InputError
        When an option is not known or the file cannot be written.
    """
    page = orders_page(view, options or PaperOptions())
    return print_pages("orders", page, path, view.made_on)


def write_arithmetic(view: SeasonView, path: Path, options: PaperOptions | None = None) -> PaperMade:
    """Print how each number of the work orders was made.

    Parameters
    ----------
    view
        The season.
    path
        PDF to write (``.png`` and ``.svg`` make one file per page).
    options
        Paper size and rounds; None = all, on letter paper.

    Returns
    -------
    PaperMade

    Raises
    ------
    InputError
        When an option is not known or the file cannot be written.
    """
    return print_pages("arithmetic", arithmetic_page(view, options or PaperOptions()), path, view.made_on)
