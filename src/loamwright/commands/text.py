"""What a person reads in the terminal: tables and sentences from values, in the user's units.

This file lays out text; it computes nothing but units. `TEXTS` names the text of each kind of result; those
of plans stand in `plan_text`, those of the store in `buy_text`. ``--json`` output is in `data`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from loamwright.commands.results import (
    CatchLogged,
    CropsAsked,
    EditionChecked,
    Editions,
    ExportKinds,
    FilesMade,
    Histories,
    OffersCompared,
    PropertyMade,
    SamplesPlanned,
    SeasonNeeds,
    SeasonStatus,
)
from loamwright.errors import Level, Problem
from loamwright.files import ChosenNow, Imported, LargeMeasured, Measured
from loamwright.land import PlotArea
from loamwright.money import format_money
from loamwright.needs import LimeNeed, Need
from loamwright.planning import Aged, LimeDose, Outcome
from loamwright.season import AreasWritten, NeedsWritten
from loamwright.supplies import Acidity, OfferComparison
from loamwright.units import (
    ACRE_M2,
    FT_M,
    GAL_M3,
    HA_M2,
    LB_KG,
    MILE_M,
    TON_KG,
    format_area,
)
from loamwright.upkeep import Demo
from loamwright.values import (
    ARITHMETIC,
    BOUNDARY,
    LAB,
    LABEL,
    USER,
    NeedState,
    Nutrient,
    Reckoned,
    Source,
    Step,
)
from loamwright.words import acidity_words, mass_words, rate_words
from loamwright.work import Caution, Projection, Recorded, SeasonView, Story

_COLOURS = {Level.ERROR: "bold red", Level.WARNING: "yellow", Level.NOTE: "cyan"}
#: Nutrients that have a column of their own.
SHOWN_NUTRIENTS = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O, Nutrient.S)


def table_of(title: str, *columns: str, numbers: Sequence[int] = ()) -> Table:
    """Begin a table."""
    table = Table(title=title, title_justify="left", header_style="bold", pad_edge=False, expand=False)
    for index, column in enumerate(columns):
        table.add_column(column, justify="right" if index in numbers else "left", overflow="fold")
    return table


#: As many answers to choose from are listed on the screen; all of them stand in the JSON.
MOST_CHOICES = 12


def show_problems(console: Console, problems: Iterable[Problem]) -> None:
    """Print problems, errors first, each with its fix."""
    order = {Level.ERROR: 0, Level.WARNING: 1, Level.NOTE: 2}
    for item in sorted(problems, key=lambda p: order[p.level]):
        colour = _COLOURS[item.level]
        console.print(
            f"[{colour}]{item.level.value}[/] {escape(item.where)}: {escape(item.what)}"
            + (f"\n      [dim]→ {escape(item.fix)}[/]" if item.fix else "")
            + (f"\n      [dim]{escape(_how_to_answer(item))}[/]" if item.question else "")
        )


def _how_to_answer(asked: Problem) -> str:
    """Say how a question is answered on the command line, and with what."""
    said = f"Answer with --answer {asked.question}=…"
    if not asked.choices:
        return said
    shown, more = asked.choices[:MOST_CHOICES], len(asked.choices) - MOST_CHOICES
    return f"{said}, one of: {', '.join(map(repr, shown))}" + (f" and {more} more" if more > 0 else "")


#: Sources that are no publication: said in words where they stand.
_PLAIN_SOURCES = frozenset(source.publication for source in (USER, LABEL, LAB, BOUNDARY, ARITHMETIC)) | {
    "exact definition",
    "common practice",
    "our default",
}

#: Values that mark a step as a sentence, not a figure, and how the sentence is introduced.
_MARKS = {"remark": "Note", "assumed": "Assumed"}


class Sources:
    """Numbers the publications of one story, so that each is written out once, at its end."""

    def __init__(self) -> None:
        self.numbers: dict[Source, int] = {}

    def cite(self, source: Source, said: str = "") -> str:
        """Write a publication as a number with the row it was read in, anything else in words."""
        if source.publication in _PLAIN_SOURCES:
            return str(source)
        number = self.numbers.setdefault(replace(source, row=""), len(self.numbers) + 1)
        row = "" if source.row in said else source.row
        return f"source {number}, {row}" if row else f"source {number}"

    def show(self, console: Console) -> None:
        """Print the list."""
        if self.numbers:
            console.print("[bold]Sources[/]")
        for source, number in self.numbers.items():
            console.print(f"  {number}  [dim]{escape(str(source))}[/]")


def show_steps(
    console: Console, steps: Iterable[Step], indent: str = "  ", sources: Sources | None = None
) -> None:
    """Print the arithmetic behind a number, a line a step, with its source."""
    for item in steps:
        told = str(item.source) if sources is None else sources.cite(item.source, item.what)
        source = f"[dim]({escape(told)})[/]"
        if isinstance(item.value, str) and item.value in _MARKS:
            console.print(f"{indent}{_MARKS[item.value]}: {escape(item.what)} {source}")
            continue
        if item.value is None:
            figure = "unknown"
        elif isinstance(item.value, str):
            figure = item.value
        else:
            figure = f"{item.value:,.4g}" if abs(item.value) < 1000 else f"{item.value:,.0f}"
        figure = f"{figure} {item.unit}".strip()
        console.print(f"{indent}{escape(item.what)} = [bold]{escape(figure)}[/] {source}")


#: From so many plots on they are printed a line each with tabs between, which a spreadsheet takes.
_LINES_FROM = 1000


def show_areas(console: Console, found: Measured | LargeMeasured, system: str) -> None:
    """Print gross and spread area of each plot, and the totals."""
    headings = ("plot", "name", "area", "spread area", "± (1 s.e.)", "remarks")
    total = sum(area.area_m2 for _, area in found.rows())
    spread = sum(area.spread_area_m2 for _, area in found.rows())
    totals = ("", "all plots", format_area(total, system), format_area(spread, system), "", "")
    rows = (_area_row(name, area, system) for name, area in found.rows())
    if len(found) >= _LINES_FROM:
        cells = ((" ".join(cell.split()) for cell in row) for row in chain([headings], rows, [totals]))
        lines = ("\t".join(row) for row in cells)
        while some := "\n".join(islice(lines, 1000)):
            console.file.write(f"{some}\n")  # the console itself would turn tabs into blanks
        return
    table = table_of("Plots", *headings, numbers=(2, 3, 4))
    for row in rows:
        table.add_row(*map(escape, row))
    table.add_section()
    table.add_row(*totals)
    console.print(table)


def _area_row(name: str, area: PlotArea, system: str) -> tuple[str, ...]:
    remarks = []
    if area.parts > 1:
        remarks.append(f"{area.parts} parts")
    if area.holes:
        remarks.append(f"{area.holes} hole{'s' if area.holes > 1 else ''}")
    if area.missing_setbacks:
        remarks.append("setback not stated: " + ", ".join(area.missing_setbacks))
    return (
        area.plot_id,
        name,
        format_area(area.area_m2, system),
        format_area(area.spread_area_m2, system),
        "" if area.area_se_m2 is None else format_area(area.area_se_m2, system),
        "; ".join(remarks),
    )


def _need_cell(need: Need | LimeNeed | None, system: str) -> str:
    if need is None:
        return "–"
    if need.state is NeedState.TO_DECIDE and need.between_kg_ha is not None:
        low, high = (rate_words(bound, system, need.supply) for bound in need.between_kg_ha)
        return f"[yellow]{low.partition(' ')[0]} to {high}?[/]"
    if need.state is NeedState.TO_DECIDE and need.published_kg_ha is not None:
        return f"[yellow]{rate_words(need.published_kg_ha, system, need.supply)}?[/]"
    if need.state is NeedState.UNKNOWN or need.rate_kg_ha is None:
        return "[yellow]unknown[/]"
    if need.state is NeedState.NONE:
        return "none*" if isinstance(need, Need) and need.assumed else "none"
    rate = ("at least " if need.at_least else "") + rate_words(need.rate_kg_ha, system, need.supply)
    return rate + ("*" if isinstance(need, Need) and need.assumed else "")


def show_unknown(
    console: Console, view: SeasonView, nutrients: Collection[Nutrient] = SHOWN_NUTRIENTS[:3]
) -> None:
    """Print which of these needs and of lime are unknown or to decide, and why; one reason once."""
    headings = {
        NeedState.UNKNOWN: "Unknown, so left out of the totals:",
        NeedState.TO_DECIDE: "Yours to decide, and left out of the totals until then (`loamwright decide`):",
    }
    for state, heading in headings.items():
        groups: dict[tuple[str, str], list[str]] = {}
        for plot in view.record.plots:
            needs = view.needs[plot.plot_id]
            reasons: dict[str, list[str]] = {}
            for need in needs.needs:
                if need.state is state and need.nutrient in nutrients:
                    reasons.setdefault(need.reason, []).append(need.nutrient.value)
            if needs.lime.state is state:
                reasons.setdefault(needs.lime.reason, []).append("lime")
            for reason, names in reasons.items():
                groups.setdefault((", ".join(names), reason), []).append(plot.plot_id)
        if groups:
            console.print(f"[yellow]{heading}[/]")
        for (which, reason), plot_ids in groups.items():
            console.print(f"  {escape(', '.join(plot_ids))} – {which}: {escape(reason)}")


def show_needs(console: Console, found: SeasonNeeds, system: str) -> None:
    """Print what each plot needs per area, and why some needs are unknown."""
    view = found.view
    columns = ("plot, crop", "spread area", *(n.value for n in SHOWN_NUTRIENTS), "lime")
    table = table_of(f"Needs, season {view.record.info.season}", *columns, numbers=range(1, len(columns)))
    for plot in view.record.plots:
        needs = view.needs[plot.plot_id]
        cropping = view.croppings.get(plot.plot_id)
        lime = _need_cell(needs.lime, system)
        if needs.lime.state is NeedState.NEEDED and needs.lime.basis is not None:
            lime += f" {needs.lime.basis.value}"
        table.add_row(
            f"{escape(plot.plot_id)} {escape(plot.name)}\n"
            f"[dim]{escape(cropping.crop if cropping and cropping.crop else 'crop not stated')}[/]",
            format_area(view.areas[plot.plot_id].spread_area_m2, system),
            *(_need_cell(needs.of(nutrient), system) for nutrient in SHOWN_NUTRIENTS),
            lime,
        )
    console.print(table)
    if any(need.assumed for needs in view.needs.values() for need in needs.needs):
        console.print("[dim]* a stated default of ours was used; `loamwright explain` shows it[/]")
    _show_standing(console, view)
    show_unknown(console, view, SHOWN_NUTRIENTS)


def _show_standing(console: Console, view: SeasonView) -> None:
    """Print which edition each need stands on and what that is good for; plots alike stand together."""
    groups: dict[tuple[str, str], dict[str, list[str]]] = {}
    for plot in view.record.plots:
        needs = view.needs[plot.plot_id]
        named = [(need.nutrient.value, need) for need in needs.needs if need.nutrient in SHOWN_NUTRIENTS]
        by_edition: dict[tuple[str, str], list[str]] = {}
        every: list[tuple[str, Need | LimeNeed]] = [*named, ("lime", needs.lime)]
        for name, need in every:
            if need.edition_status:
                by_edition.setdefault((need.edition, need.edition_status), []).append(name)
        for standing, names in by_edition.items():
            groups.setdefault(standing, {}).setdefault(", ".join(names), []).append(plot.plot_id)
    for (edition, status), which in groups.items():
        told = "; ".join(f"{names} of {', '.join(plot_ids)}" for names, plot_ids in which.items())
        name = f"{Path(edition).name} ({status})" if edition else f"the {status}"
        console.print(f"[dim]By {escape(name)}: {escape(told)}[/]")


def show_comparison(console: Console, found: OffersCompared, system: str) -> None:
    """Print the price of each nutrient in each offer, sorted, the cheapest of each marked."""
    unit, per = ("lb", LB_KG) if system == "us" else ("kg", 1.0)
    ton, tons = ("ton", 1.0) if system == "us" else ("t", 1000 / TON_KG)
    table = table_of(
        f"Price per {unit} of each nutrient, all credit to that nutrient; * the cheapest",
        "product",
        "package",
        "price",
        *(n.value for n in SHOWN_NUTRIENTS),
        "effective lime",
        numbers=range(2, 8),
    )

    def mark(item: OfferComparison, what: str) -> str:
        return " *" if found.cheapest.get(what) == item.offer.offer_id else ""

    for item in found.offers:
        prices = ((n, item.price_per_kg.get(n)) for n in SHOWN_NUTRIENTS)
        lime = "; ".join(
            f"{format_money(entry.price_per_effective_ton * tons)}/{ton} {entry.basis.value}"
            f"{mark(item, f'lime {entry.basis.value}')}"
            for entry in item.lime
            if entry.price_per_effective_ton is not None
        )
        table.add_row(
            escape(item.offer.product),
            escape(item.offer.package),
            "[yellow]missing[/]" if item.offer.price is None else format_money(item.offer.price),
            *(
                "" if price is None else f"{format_money(price * per)}{mark(item, n.value)}"
                for n, price in prices
            ),
            lime,
        )
    console.print(table)
    if found.with_steps:
        for item in found.offers:
            console.print(f"[bold]{escape(item.offer.product)}[/], {escape(item.offer.package)}")
            show_steps(console, item.steps)


#: How an outcome is said in the terminal.
OUTCOME_WORDS = {
    Outcome.PROVED: "[bold green]proved cheapest[/]",
    Outcome.FOUND: "[bold yellow]best found[/]",
    Outcome.IMPOSSIBLE: "[bold red]not every need can be met[/]",
}


def show_cautions(console: Console, cautions: Iterable[Caution], sources: Sources | None = None) -> None:
    """Print cautions, each with who has the last word."""
    for item in cautions:
        console.print(
            f"[yellow]{item.level}[/] {escape(item.text)} [dim]Last word: {escape(item.defers_to)}.[/]"
        )
        if sources is not None:
            published = f"{item.published} " if item.published else ""
            console.print(f"  [dim]{escape(f'{published}({sources.cite(item.source)})')}[/]")


def _show_made_before(console: Console, aged: Iterable[Aged]) -> None:
    """Say what the plan does not know."""
    for place, one in enumerate(aged):
        if place == 0:
            console.print("The plan was made before this changed:", markup=False)
        console.print(f"  {one}", markup=False)


def show_status(console: Console, found: SeasonStatus, system: str) -> None:
    """Print planned against applied, what each plot is still owed, and the lime used up."""
    view = found.view
    _show_made_before(console, view.aged)
    table = table_of(
        f"Done so far, season {view.record.info.season}",
        "plot",
        "product",
        "when",
        "planned",
        "status",
        "reason",
        numbers=(3,),
    )
    for row in view.statuses:
        table.add_row(
            escape(row.plot_id),
            escape(row.product),
            "any" if row.timing is None else row.timing.value,
            "" if row.beside_plan else mass_words(row.planned_kg, system),
            row.said(system),
            escape("; ".join(row.reasons)),
        )
    console.print(table)
    owed = table_of("Still owed", "plot", "nutrient", "need", "applied", "left", numbers=(2, 3, 4))
    for balance in view.balances:
        if balance.need_kg is not None and (balance.need_kg > 0 or balance.applied_kg > 0):
            owed.add_row(
                escape(balance.plot_id),
                balance.supply,
                mass_words(balance.need_kg, system, balance.supply),
                mass_words(balance.applied_kg, system, balance.supply),
                mass_words(max(balance.need_kg - balance.applied_kg, 0.0), system, balance.supply),
            )
    console.print(owed)
    _show_lime_doses(console, found.lime_doses, system)
    _show_acidity(console, found.acidity, system)


def _show_lime_doses(console: Console, doses: Sequence[LimeDose], system: str) -> None:
    """Print the lime still to come, dose by dose, with the season each is due."""
    if not doses:
        return
    columns = ("plot", "season", "lime", "dose", "by the rule of")
    table = table_of("Lime by the season it is due", *columns, numbers=(3,))
    for dose in doses:
        rate = rate_words(dose.rate_kg_ha, system, dose.supply)
        mass = mass_words(dose.mass_kg, system, dose.supply)
        table.add_row(
            escape(dose.plot_id),
            str(dose.season),
            dose.supply.name_alone,
            f"{rate}, {mass}",
            escape(dose.rule or "no rule chosen: all at once"),
        )
    console.print(table)


def show_sampling(console: Console, found: SamplesPlanned, _system: str) -> None:
    """Print which plots are due for a sample, why, and how many cores."""
    table = table_of("Soil samples", "plot", "due", "why", "cores", "published range", "depth", numbers=(3,))
    for item in found.plots:
        table.add_row(
            escape(item.plot_id),
            "[bold]yes[/]" if item.due else "no",
            escape(item.reason),
            str(item.cores),
            f"{item.cores_low}–{item.cores_high}",
            escape(item.depth_text),
        )
    console.print(table)
    show_paths(console, found.files)


def show_demo(console: Console, made: Demo, system: str) -> None:
    """Print the page a landowner reads, the files made, and what to try next."""
    _show_summary(console, made.view, system)
    show_paths(console, made.files)
    _show_next_steps(console, made.property_path)


def _show_summary(console: Console, view: SeasonView, system: str) -> None:
    """Print acres, dollars, bags, and what is missing and why."""
    info = view.record.info
    areas = view.areas.values()
    console.print(f"\n[bold]{escape(info.name)}[/], season {info.season}")
    if info.about:
        console.print(f"[dim]{escape(info.about)}[/]")
    gross = format_area(sum(a.area_m2 for a in areas), system)
    spread = format_area(sum(a.spread_area_m2 for a in areas), system)
    console.print(f"{len(view.areas)} plots, {gross} inside the boundaries, {spread} to spread on.")
    if view.plan is not None:
        plan = view.plan
        bags = sum(item.count for item in plan.buy if not item.count % 1)
        console.print(
            f"The plan ({OUTCOME_WORDS[plan.outcome]}) costs {format_money(plan.total_cost)}: "
            f"{format_money(plan.purchase_cost + plan.delivery_cost)} to buy {bags:,.0f} packages and loads, "
            f"{format_money(plan.spreading_cost)} for {len(plan.jobs)} trips over the plots."
        )
    show_unknown(console, view)


def show_paths(console: Console, paths: Iterable[Path], about: str = "") -> None:
    """Print the files that were written."""
    for index, path in enumerate(paths):
        console.print(f"wrote {escape(str(path))}" + (f" ({escape(about)})" if about and not index else ""))


def show_needs_written(console: Console, made: NeedsWritten, _system: str) -> None:
    """Say which tables of needs there are."""
    count = f"{made.plots:,} plots in {len(made.parts):,} tables"
    console.print(f"{count}: {made.made:,} worked out, {made.kept:,} there from before")
    _show_first_and_last(console, made.parts)


def show_areas_written(console: Console, made: AreasWritten, system: str) -> None:
    """Say which tables of areas there are, and what all plots measure."""
    area, spread = (format_area(one, system) for one in (made.total_area_m2, made.total_spread_area_m2))
    console.print(f"{made.plots:,} plots in {len(made.parts):,} tables: {area}, of it {spread} to spread")
    console.print(f"parts of the file: {made.made:,} measured now, {made.kept:,} kept from before")
    _show_first_and_last(console, made.parts)


def _show_first_and_last(console: Console, paths: Sequence[Path]) -> None:
    for path in (paths[0], paths[-1]) if len(paths) > 1 else paths:
        console.print(str(path), markup=False, soft_wrap=True)


def show_files(console: Console, made: FilesMade, _system: str) -> None:
    """Print the files that were written, and what is said of the first."""
    show_paths(console, made.files, made.about)


def show_export_kinds(console: Console, found: ExportKinds, _system: str) -> None:
    """Print the kinds of export and what each holds."""
    table = table_of("kinds of export", "KIND", "holds")
    for kind, holds in found.kinds.items():
        table.add_row(kind, holds)
    console.print(table)


def show_property(console: Console, made: PropertyMade, _system: str) -> None:
    """Print that the property is made, and what comes next."""
    path = escape(str(made.property))
    console.print(f"Made {path}. Next: loamwright import {path} FILE…")


def show_imported(console: Console, found: Imported, _system: str) -> None:
    """Print a sentence for each file taken in."""
    for sentence in found.taken:
        console.print(sentence, markup=False)
    changed = [difference for difference in found.differences if difference.state == "changed"]
    for difference in found.differences if found.preview else changed:
        console.print(f"  {difference.thing} {difference.name}: {difference.state}", markup=False)
        for field, before, after in difference.fields:
            console.print(f"    {field}: {before} → {after}", markup=False)
    counts = Counter(difference.state for difference in found.differences)
    if counts:
        told = ", ".join(
            f"{counts[state]} {state}" for state in ("added", "changed", "unchanged") if counts[state]
        )
        console.print(f"{told[:1].upper()}{told[1:]}.", markup=False)
    if found.preview:
        console.print("Nothing was stored: this was a preview.", markup=False)


def _show_next_steps(console: Console, property_path: Path) -> None:
    """Print the commands a newcomer would try next."""
    console.print("\n[bold]Try next[/]")
    for command in (
        f"loamwright explain {property_path} AF-01 P2O5",
        f"loamwright compare {property_path} --steps",
        f"loamwright why {property_path}",
        f"loamwright record {property_path} --plot AF-01 --product 'Potash 0-0-60' --amount '50 lb'",
        f"loamwright status {property_path}",
        f"loamwright export {property_path} geojson exports",
    ):
        console.print(f"  {command}", markup=False)


def show_guidelines(console: Console, found: Editions, _system: str) -> None:
    """Print the guideline editions with region, status and crops."""
    for item in found.editions:
        why = f": {item.why}" if item.why else ""
        console.print(f"[bold]{item.guideline_id}[/]  {escape(f'{item.status}{why}')}")
        for word, told in (
            ("", item.name),
            ("for ", item.region),
            ("crops: ", ", ".join(item.crops)),
            ("lime regions: ", ", ".join(item.lime_regions)),
            ("", item.about),
        ):
            if told:
                console.print(f"  {word}{escape(told)}")


def show_crops(console: Console, asked: CropsAsked, _system: str) -> None:
    """Print which guideline has which crop, by region."""
    found, crop = asked.found, escape(repr(asked.crop))
    if found.parts:
        console.print(
            f"{escape(asked.crop)} is a mixture of {escape(' and '.join(found.parts))}: say which rule "
            f"governs with `loamwright guideline use PROPERTY EDITION --crop {crop} --as CROP`"
        )
    if not found.listed and found.near:
        console.print(f"No built-in guideline names {crop}. Was {escape(' or '.join(found.near))} meant?")
    elif not found.listed and not asked.crop:
        console.print(f"No built-in guideline that names crops is for {escape(repr(asked.region))}.")
    elif not found.listed:
        console.print(
            f"No built-in guideline names {crop}: use your lab's recommendation, or set a rate of your own "
            "with `loamwright guideline rate`"
        )
    if found.listed:
        columns = ("region", "guideline", "status", "crop", "prints", "also called")
        table = table_of("Crops by guideline", *columns)
        for item in sorted(found.listed, key=lambda one: (one.region, one.edition)):
            prints = (*item.nutrients, *(() if item.target_ph is None else (f"pH {item.target_ph:g}",)))
            table.add_row(
                escape(item.region),
                item.edition,
                escape(str(item.status)),
                escape(item.crop),
                ", ".join(prints),
                escape(", ".join(item.also)),
            )
        console.print(table)


def show_chosen(console: Console, found: ChosenNow, _system: str) -> None:
    """Print which guidelines a property asks."""
    console.print(f"Asked for rates: {found.guideline}", markup=False)
    console.print(f"Asked for lime: {found.lime_guideline}", markup=False)


def show_edition(console: Console, checked: EditionChecked, _system: str) -> None:
    """Print that an edition of the user's own can be used."""
    console.print(f"{escape(str(checked.file))}: this guideline can be used.")


def show_story(console: Console, story: Story, system: str) -> None:
    """Print the whole chain of one plot, from the boundary to the packages."""
    plot, area = story.plot, story.area
    console.print(f"[bold]{escape(plot.plot_id)} {escape(plot.name)}[/]")
    if story.cropping is not None:
        goal = story.cropping.yield_goal
        console.print(
            f"  crop {escape(story.cropping.crop or 'not stated')}"
            + ("" if goal is None else f", yield goal {goal.value:g} {escape(goal.unit)}")
        )
    console.print(f"[bold]Area[/] {format_area(area.spread_area_m2, system)} to spread on")
    sources = Sources()
    show_steps(console, area.steps, sources=sources)
    every: tuple[Need | LimeNeed, ...] = (*story.needs, *(() if story.lime is None else (story.lime,)))
    for need in every:
        name = f"lime ({need.basis})" if isinstance(need, LimeNeed) and need.basis else None
        name = name or ("lime" if isinstance(need, LimeNeed) else need.nutrient.value)
        amount = ""
        if need.state is NeedState.NEEDED and need.rate_kg_ha is not None and need.mass_kg is not None:
            mass = mass_words(need.mass_kg, system, need.supply)
            amount = f" {rate_words(need.rate_kg_ha, system, need.supply)}, {mass} for the plot"
        state = "" if need.reason.startswith("None needed") else f" {need.state.value}"
        console.print(f"[bold]{name}[/]{state}{amount}: {escape(need.reason)}")
        show_steps(console, need.steps, sources=sources)
    _show_made_before(console, story.made_before)
    for line in story.lines:
        when = "any time" if line.timing is None else line.timing.value
        console.print(
            f"[bold]{escape(line.product)}[/] ({when}) {rate_words(line.rate_kg_ha, system)}, "
            f"{mass_words(line.mass_kg, system)} for the plot"
        )
        show_steps(console, line.steps, sources=sources)
    for item in story.purchases:
        console.print(
            f"  bought for the property: {item.count:,.6g} × {escape(item.product)} {escape(item.package)}"
            f" from {escape(item.seller)}, {format_money(item.cost)}"
        )
    show_cautions(console, story.cautions, sources)
    sources.show(console)


def show_history(console: Console, found: Histories, system: str) -> None:
    """Print tests over the years and each season's balance."""
    tests = table_of("Soil tests over the years", "plot", "figure", "test", "depth", "values", "per year")
    owed = table_of(
        "Needs and what was applied",
        "plot",
        "season",
        "nutrient",
        "need",
        "applied",
        "owed",
        numbers=(3, 4, 5),
    )
    since = table_of(
        "Put on after the newest sample", "plot", "supply", "sampled", "put on", "planned", numbers=(3, 4)
    )
    for history in found.plots:
        for one in history.since_test:
            planned = "" if one.planned_kg is None else mass_words(one.planned_kg, system, one.supply)
            applied = mass_words(one.applied_kg, system, one.supply)
            since.add_row(escape(history.plot_id), one.supply, str(one.sampled_on), applied, planned)
        for row in history.tests:
            tests.add_row(
                escape(history.plot_id),
                escape(row.figure),
                escape(f"{row.test} {row.unit}".strip()),
                escape(row.depth),
                "; ".join(f"{date} {value:g}" for date, value in row.points),
                "" if row.change_per_year is None else f"{row.change_per_year:+.2g}",
            )
        for balance in history.balances:
            owed.add_row(
                escape(history.plot_id),
                str(balance.season),
                escape(balance.supply),
                "unknown" if balance.need_kg is None else mass_words(balance.need_kg, system, balance.supply),
                mass_words(balance.applied_kg, system, balance.supply),
                "unknown" if balance.owed_kg is None else mass_words(balance.owed_kg, system, balance.supply),
            )
    console.print(tests)
    if since.row_count:
        console.print(since)
    console.print(owed)


def show_recorded(console: Console, found: Recorded, system: str) -> None:
    """Print what the record took in, what it knew already, and the conflicts."""
    console.print(
        f"{len(found.new)} new, {len(found.already_there)} already there, {len(found.conflicts)} in conflict"
    )
    for entry in found.new:
        console.print(
            f"  {entry.applied_on} {escape(entry.plot_id)}: {escape(entry.product)} {entry.done.value}, "
            f"{mass_words(entry.mass_kg, system)}"
            + (f", corrects {escape(entry.replaces)}" if entry.replaces else "")
            + (f" ({escape(entry.reason)})" if entry.reason else "")
        )
    touched = {(entry.plot_id, entry.product) for entry in found.new}
    for row in found.view.statuses:
        if (row.plot_id, row.product) in touched and not row.taken_off:
            console.print(f"  → {escape(row.plot_id)} {escape(row.product)}: {row.said(system)}")
    _receipt(console, found)


def _receipt(console: Console, found: Recorded) -> None:
    if found.receipt:
        console.print(f"Receipt {found.receipt}: whoever sent it types it on the map's Records page.")


def show_calibration(console: Console, logged: CatchLogged, system: str) -> None:
    """Print the rate a catch test gives."""
    test = logged.calibration
    console.print(
        f"{escape(test.spreader)}, {escape(test.product)}, setting {escape(test.setting)}: "
        f"{escape(logged.caught)} caught = {rate_words(test.rate_kg_ha, system)}"
    )


def show_projection(console: Console, found: Projection, _system: str) -> None:
    """Print where a soil test may go, or why that is unknown."""
    if found.to_low_ppm is None or found.to_high_ppm is None:
        console.print(f"{found.nutrient}: unknown, because {escape(found.reason)}")
        return
    ends = dict.fromkeys((f"{found.to_low_ppm:.1f}", f"{found.to_high_ppm:.1f}"))
    console.print(
        f"{found.nutrient}: from {found.from_ppm:g} ppm to {'–'.join(ends)} ppm, "
        "a rule of thumb for the plough layer"
    )
    show_steps(console, found.steps)


def _show_acidity(console: Console, acidity: Mapping[str, Acidity], system: str) -> None:
    """Print how much lime the season's nitrogen uses up."""
    for plot_id, found in acidity.items():
        told = acidity_words(found, system)
        console.print(escape(f"{plot_id}: the season's nitrogen uses up {told}"))


#: How the name of a figure ends → how it is written in US and in metric units.
_FIGURES: Mapping[str, Callable[[float, str], str]] = {
    "_kg_ha": lambda value, system: rate_words(value, system),
    "_m3_ha": lambda value, system: (
        f"{value * ACRE_M2 / HA_M2 / GAL_M3:,.4g} gal/acre" if system == "us" else f"{value * 1000:,.4g} L/ha"
    ),
    "_m2_h": lambda value, system: f"{format_area(value, system)} an hour",
    "_m2": lambda value, system: _small_area(value, system),
    "_m_s": lambda value, system: (
        f"{value * 3600 / MILE_M:,.4g} mph" if system == "us" else f"{value * 3.6:,.4g} km/h"
    ),
    "_per_kg": lambda value, system: f"{value * LB_KG:,.4f} a lb" if system == "us" else f"{value:,.4f} a kg",
    "_kg": lambda value, system: f"{value / LB_KG:,.6g} lb" if system == "us" else f"{value:,.6g} kg",
    "_m": lambda value, system: f"{value / FT_M:,.4g} ft" if system == "us" else f"{value:,.4g} m",
    "_pct": lambda value, _: f"{value:,.4g} %",
}


def _small_area(area_m2: float, system: str) -> str:
    """An area, in square feet or metres where an acre or hectare would hide it."""
    if area_m2 > 2000:
        return format_area(area_m2, system)
    return f"{area_m2 / FT_M**2:,.4g} sq ft" if system == "us" else f"{area_m2:,.4g} m²"


def show_reckoned(console: Console, found: Reckoned, system: str) -> None:
    """Print the figures of a question, then how they came about."""
    for name, value in found.figures.items():
        ending = next((end for end in _FIGURES if name.endswith(end)), "")
        told = _FIGURES[ending](value, system) if ending else f"{value:,.6g}"
        console.print(f"[bold]{name.removesuffix(ending).replace('_', ' ')}[/]: {told}")
    if found.said:
        console.print(found.said, markup=False)
    show_steps(console, found.steps)


#: What people read of each kind of result: printed to a console, in ``"us"`` or ``"metric"`` units.
TEXTS: Mapping[type, Callable[[Console, Any, str], None]] = {
    Measured: show_areas,
    LargeMeasured: show_areas,
    OffersCompared: show_comparison,
    Editions: show_guidelines,
    EditionChecked: show_edition,
    CropsAsked: show_crops,
    ChosenNow: show_chosen,
    Demo: show_demo,
    PropertyMade: show_property,
    Imported: show_imported,
    SeasonNeeds: show_needs,
    Story: show_story,
    SeasonStatus: show_status,
    SamplesPlanned: show_sampling,
    Histories: show_history,
    Projection: show_projection,
    FilesMade: show_files,
    AreasWritten: show_areas_written,
    NeedsWritten: show_needs_written,
    ExportKinds: show_export_kinds,
    Recorded: show_recorded,
    CatchLogged: show_calibration,
    Reckoned: show_reckoned,
}
