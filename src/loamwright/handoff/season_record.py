"""The season's record as it is asked for on paper: what went where, when, by whom, in what weather.

This file answers "can I show what was applied?". One row per entry, corrections included, each
pointing to the entry it replaces; then the sums per plot, the spreader tests and the plans with the
reason each replaced the one before. Which entries count, and what they deliver, is `ledger` and
`products`; this file lays them out, prints them and writes the spreadsheet.

References
----------
The columns are those asked for by Ohio Administrative Code 901:5-4-04 (recordkeeping), COMAR
15.20.06.05 (Maryland, hired applicators), Wisconsin Administrative Code NR 243.19(2) and Idaho
Administrative Code 02.04.32.252, put side by side. What the program does not know of an entry, such as
the weather of the day after, has a blank column to fill in by hand (`BY_HAND`). The longest time any
source read asks for is five years: Idaho 02.04.32.252, all nutrient records.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import Level, Problem
from loamwright.handoff.paper import PaperMade, PaperOptions, check_paper, print_pages
from loamwright.handoff.workbook import Cell, Column, Section, Sheet, write_workbook
from loamwright.supplies import Product, nutrient_fractions, supply_fractions
from loamwright.units import (
    ACRE_M2,
    HA_M2,
    LB_ACRE_KG_HA,
    LB_KG,
    format_area,
    format_figure,
    format_length,
    format_money,
)
from loamwright.values import LimeBasis, Nutrient, Supply
from loamwright.words import mass_words, rate_words
from loamwright.work import Application, SeasonView, entries_that_count

KEEP_FOR = (
    "Keep at least five years, the longest of the rules read (Idaho Administrative Code 02.04.32.252); "
    "your state or programme may ask for longer."
)
#: Nutrients with a column of their own.
SHOWN = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O, Nutrient.S)


#: Columns some rule asks for and the program cannot know: left blank, to be filled in by hand.
BY_HAND = (
    "certificate holder",
    "weather 24 h before",
    "weather 24 h after",
    "hours to working in, rain or irrigation",
    "runoff seen",
    "loads",
    "receipt",
)
#: The same for the crop of each plot.
CROP_BY_HAND = ("planted on", "harvested on", "yield", "residue removed")


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry of the record, ready to show.

    ``counts`` says that it counts or which entry corrected it; ``nutrients`` are what it delivered,
    in the order of `SHOWN` and then lime.
    """

    entry_id: str
    counts: str
    replaces: str
    when: str
    plot_id: str
    name: str
    crop: str
    acres: str
    product: str
    analysis: str
    rate: str
    amount: str
    nutrients: tuple[str, ...]
    done: str
    operator: str
    equipment: str
    method: str
    ground: str
    weather: str
    forecast: str
    planned: str
    reason: str
    cost: str
    note: str
    recorded_at: str


@dataclass(frozen=True, slots=True)
class SumRow:
    """Need, applied and left of one supply on one plot."""

    plot_id: str
    supply: Supply
    need: str
    applied: str
    left: str


@dataclass(frozen=True, slots=True)
class TestRow:
    """One spreader test."""

    spreader: str
    product: str
    setting: str
    tested_on: str
    operator: str
    swath: str
    caught: str
    rate: str
    note: str


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One plan and why it replaced the one before."""

    plan_id: str
    made_at: str
    outcome: str
    cost: str
    reason: str


@dataclass(frozen=True, slots=True)
class RecordPage:
    """Everything `templates/season_record.typ` shows."""

    title: str
    property: str
    about: str
    paper: str
    footer: str
    made_on: str
    nutrient_heads: tuple[str, ...]
    entries: tuple[EntryRow, ...]
    sums: tuple[SumRow, ...]
    tests: tuple[TestRow, ...]
    plans: tuple[PlanRow, ...]
    by_hand: tuple[str, ...]
    keep_for: str


def _analysis(product: Product | None) -> str:
    if product is None:
        return "label not in the file"
    if product.lime is not None:
        known = [
            f"{words} {value:g}{unit}"
            for words, value, unit in (
                ("CCE", product.lime.cce_pct, " %"),
                ("ENP", product.lime.enp_lb_per_ton, " lb/ton"),
                ("ECCE", product.lime.ecce_pct, " %"),
                ("ENM", product.lime.enm_lb_per_ton, " lb/ton"),
            )
            if value is not None
        ]
        return ", ".join(known) or "lime, no score stated"
    parts = [f"{nutrient.value} {pct:g} %" for nutrient, pct in product.analysis_pct.items()]
    if product.ingredient and product.ingredient_pct is not None:
        parts.append(f"{product.ingredient} {product.ingredient_pct:g} %")
    return ", ".join(parts) or "no analysis stated"


@dataclass(frozen=True, slots=True)
class _Fact:
    """One entry with everything worked out, unformatted."""

    entry: Application
    counts: str
    name: str
    crop: str
    product: Product | None
    rate_kg_ha: float | None
    planned_kg: float | None
    nutrients_kg: Mapping[Nutrient, float]
    lime: str


def _delivered_lime(
    product: Product | None, mass_kg: float, system: str, settings_basis: tuple[LimeBasis, ...]
) -> str:
    if product is None or product.lime is None or not mass_kg:
        return ""
    supplies = supply_fractions(product, settings_basis)
    return ", ".join(
        f"{mass_words(fraction * mass_kg, system, supply)} {supply.name_alone}"
        for supply, fraction in supplies.items()
        if supply.is_lime
    )


def _facts(view: SeasonView) -> tuple[_Fact, ...]:
    record = view.record
    season = [e for e in record.applications if e.applied_on.year == record.info.season]
    corrected = {e.replaces: e.entry_id for e in record.applications if e.replaces}
    names = {plot.plot_id: plot.name for plot in record.plots}
    crops = {plot_id: cropping.crop for plot_id, cropping in view.croppings.items()}
    labels = {product.product: product for product in record.products}
    planned = {line.line_id: line.mass_kg for plan in record.plans for line in plan.lines}
    bases = tuple(dict.fromkeys(n.lime.basis for n in view.needs.values() if n.lime.basis is not None))
    facts = []
    for entry in season:
        product = labels.get(entry.product)
        fractions = nutrient_fractions(product).fractions if product is not None else {}
        rate = entry.mass_kg / (entry.area_m2 / HA_M2) if entry.area_m2 and entry.mass_kg else None
        facts.append(
            _Fact(
                entry,
                f"corrected by {corrected[entry.entry_id]}" if entry.entry_id in corrected else "counts",
                names.get(entry.plot_id, "plot not in the file"),
                crops.get(entry.plot_id, ""),
                product,
                rate,
                planned.get(entry.line_id),
                {nutrient: fraction * entry.mass_kg for nutrient, fraction in fractions.items()},
                _delivered_lime(product, entry.mass_kg, record.info.units, bases),
            )
        )
    return tuple(facts)


def _entry_row(fact: _Fact, system: str) -> EntryRow:
    entry = fact.entry
    when = f"{entry.applied_on.isoformat()} {entry.time_of_day}".strip()
    nutrients = tuple(
        mass_words(fact.nutrients_kg[n], system) if fact.nutrients_kg.get(n) else "" for n in SHOWN
    )
    return EntryRow(
        entry.entry_id,
        fact.counts,
        entry.replaces,
        when,
        entry.plot_id,
        fact.name,
        fact.crop or "not stated",
        "not stated" if entry.area_m2 is None else format_area(entry.area_m2, system),
        entry.product,
        _analysis(fact.product),
        "area not stated" if fact.rate_kg_ha is None else rate_words(fact.rate_kg_ha, system),
        mass_words(entry.mass_kg, system),
        (*nutrients, fact.lime),
        entry.done.value,
        entry.operator,
        entry.equipment or "not stated",
        entry.method or "not stated",
        entry.ground or "not stated",
        entry.weather or "not stated",
        entry.forecast or "not stated",
        "outside the plan" if fact.planned_kg is None else mass_words(fact.planned_kg, system),
        entry.reason,
        "" if entry.cost is None else format_money(entry.cost),
        entry.note,
        entry.recorded_at,
    )


def _missing_reasons(facts: tuple[_Fact, ...]) -> tuple[Problem, ...]:
    """Entries that differ from the plan by over 5 % and give no reason, which Idaho's rule asks for."""
    return tuple(
        Problem(
            f"record entry {fact.entry.entry_id}, reason",
            f"plot {fact.entry.plot_id} got {fact.entry.mass_kg / LB_KG:,.1f} lb of {fact.entry.product} "
            f"where {fact.planned_kg / LB_KG:,.1f} lb was planned, and no reason is given",
            "Record a correction that says why.",
            Level.WARNING,
        )
        for fact in facts
        if fact.counts == "counts"
        and fact.planned_kg
        and not fact.entry.reason
        and not math.isclose(fact.entry.mass_kg, fact.planned_kg, rel_tol=0.05)
    )


def record_page(view: SeasonView, paper: str) -> RecordPage:
    """Work out everything that stands on the printed record."""
    info, system = view.record.info, view.record.info.units

    def said(mass_kg: float | None, supply: Supply) -> str:
        return "not known" if mass_kg is None else mass_words(mass_kg, system, supply)

    sums = tuple(
        SumRow(
            b.plot_id,
            b.supply,
            said(b.need_kg, b.supply),
            said(b.applied_kg, b.supply),
            said(None if b.need_kg is None else max(b.need_kg - b.applied_kg, 0.0), b.supply),
        )
        for b in view.balances
        if b.need_kg or b.applied_kg or b.need_kg is None
    )
    tests = tuple(
        TestRow(
            c.spreader,
            c.product,
            c.setting,
            c.tested_on.isoformat(),
            c.operator,
            "not stated" if c.swath_m is None else format_length(c.swath_m, system),
            f"{mass_words(c.caught_kg, system)} on {format_figure(c.catch_area_m2)} m²",
            rate_words(c.rate_kg_ha, system),
            c.note,
        )
        for c in view.record.calibrations
    )
    plans = tuple(
        PlanRow(
            p.plan_id,
            p.made_at[:16].replace("T", " "),
            p.outcome.value,
            format_money(p.total_cost),
            p.reason or "first plan",
        )
        for p in view.record.plans
        if p.season in (0, info.season)
    )
    return RecordPage(
        title=f"Season record {info.season}, {info.name}",
        property=info.name,
        about=info.about,
        paper=check_paper(paper),
        footer=f"{info.name}, season record printed {view.made_on.isoformat()}",
        made_on=view.made_on.isoformat(),
        nutrient_heads=(*(n.value for n in SHOWN), "lime"),
        entries=tuple(_entry_row(fact, system) for fact in _facts(view)),
        sums=sums,
        tests=tests,
        plans=plans,
        by_hand=BY_HAND,
        keep_for=KEEP_FOR,
    )


_ENTRY_COLUMNS = (
    Column("entry", 14),
    Column("stands", 12),
    Column("corrects entry", 14),
    Column("date", 11),
    Column("time", 8),
    Column("plot", 10),
    Column("plot name", 20),
    Column("crop", 16),
    Column("acres covered", 9, 2),
    Column("product", 24),
    Column("analysis", 20),
    Column("rate lb/acre", 9, 1),
    Column("amount lb", 10, 1),
    *(Column(f"{n.value} lb", 8, 2) for n in SHOWN),
    Column("effective lime", 16),
    Column("reported", 9),
    Column("who applied", 16),
    Column("equipment", 16),
    Column("method", 14),
    Column("ground", 14),
    Column("frozen or snow", 8),
    Column("weather", 18),
    Column("forecast next day", 18),
    Column("planned lb", 10, 1),
    Column("reason if different", 24),
    Column("paid $", 10, money=True),
    Column("note", 24),
    Column("recorded at", 18),
    *(Column(name, 16) for name in BY_HAND),
)


def _frozen(ground: str) -> str:
    """Whether the ground was reported frozen or under snow; empty when it was not reported."""
    if not ground:
        return ""
    return "yes" if any(word in ground.casefold() for word in ("frozen", "snow")) else "no"


def _entry_cells(fact: _Fact) -> tuple[Cell, ...]:
    entry = fact.entry
    return (
        entry.entry_id,
        fact.counts,
        entry.replaces,
        entry.applied_on,
        entry.time_of_day,
        entry.plot_id,
        fact.name,
        fact.crop,
        None if entry.area_m2 is None else entry.area_m2 / ACRE_M2,
        entry.product,
        _analysis(fact.product),
        None if fact.rate_kg_ha is None else fact.rate_kg_ha / LB_ACRE_KG_HA,
        entry.mass_kg / LB_KG,
        *(fact.nutrients_kg[n] / LB_KG if n in fact.nutrients_kg else None for n in SHOWN),
        fact.lime,
        entry.done.value,
        entry.operator,
        entry.equipment,
        entry.method,
        entry.ground,
        _frozen(entry.ground),
        entry.weather,
        entry.forecast,
        None if fact.planned_kg is None else fact.planned_kg / LB_KG,
        entry.reason,
        entry.cost,
        entry.note,
        entry.recorded_at,
        *(None for _ in BY_HAND),
    )


def _crops_sheet(view: SeasonView, title: str) -> Sheet:
    columns = (
        Column("plot", 10),
        Column("plot name", 20),
        Column("crop", 20),
        Column("previous crop", 20),
        Column("yield goal", 16),
        *(Column(name, 16) for name in CROP_BY_HAND),
    )
    rows: list[tuple[Cell, ...]] = []
    for plot in view.record.plots:
        cropping = view.croppings.get(plot.plot_id)
        goal = cropping.yield_goal if cropping else None
        words = (cropping.crop, cropping.previous_crop) if cropping else (None, None)
        shown = f"{goal.value:g} {goal.unit}" if goal else None
        rows.append((plot.plot_id, plot.name, *words, shown, *(None for _ in CROP_BY_HAND)))
    return Sheet("Crops", (title,), columns, (Section("", tuple(rows)),))


def record_sheets(view: SeasonView) -> tuple[Sheet, ...]:
    """Lay the record out as sheets: entries, sums per plot, crops, spreader tests, plans."""
    info = view.record.info
    facts = _facts(view)
    standing = {e.entry_id for e in entries_that_count(view.record.applications)}
    counted = [f for f in facts if f.entry.entry_id in standing]
    totals: list[Cell] = [None] * len(_ENTRY_COLUMNS)
    totals[0] = "sum of entries that count"
    first = [column.name for column in _ENTRY_COLUMNS].index(f"{SHOWN[0].value} lb")
    for offset, nutrient in enumerate(SHOWN):
        totals[first + offset] = math.fsum(f.nutrients_kg.get(nutrient, 0.0) for f in counted) / LB_KG
    title = (f"Season record {info.season}, {info.name}", info.about, KEEP_FOR)
    entries = Section("", tuple(_entry_cells(fact) for fact in facts), tuple(totals))
    balance_columns = (
        Column("plot", 10),
        Column("supply", 12),
        Column("need lb", 11, 1),
        Column("applied lb", 11, 1),
        Column("left lb", 11, 1),
    )
    balances = tuple(
        (
            b.plot_id,
            b.supply,
            None if b.need_kg is None else b.need_kg / LB_KG,
            b.applied_kg / LB_KG,
            None if b.need_kg is None else max(b.need_kg - b.applied_kg, 0.0) / LB_KG,
        )
        for b in view.balances
    )
    test_columns = (
        Column("spreader", 18),
        Column("product", 24),
        Column("setting", 12),
        Column("tested on", 11),
        Column("operator", 16),
        Column("caught lb", 10, 3),
        Column("sheet m2", 10, 2),
        Column("rate lb/acre", 11, 1),
        Column("note", 24),
    )
    tests = tuple(
        (
            c.spreader,
            c.product,
            c.setting,
            c.tested_on,
            c.operator,
            c.caught_kg / LB_KG,
            c.catch_area_m2,
            c.rate_kg_ha / LB_ACRE_KG_HA,
            c.note,
        )
        for c in view.record.calibrations
    )
    plan_columns = (
        Column("plan", 20),
        Column("made at", 18),
        Column("outcome", 16),
        Column("total $", 12, money=True),
        Column("why it replaced the one before", 40),
    )
    plans = tuple((p.plan_id, p.made_at, p.outcome.value, p.total_cost, p.reason) for p in view.record.plans)
    return (
        Sheet("Applications", title, _ENTRY_COLUMNS, (entries,)),
        Sheet("Sums per plot", (title[0],), balance_columns, (Section("", balances),)),
        _crops_sheet(view, title[0]),
        Sheet("Spreader tests", (title[0],), test_columns, (Section("", tests),)),
        Sheet("Plans", (title[0],), plan_columns, (Section("", plans),)),
    )


def write_season_record(view: SeasonView, path: Path, options: PaperOptions | None = None) -> PaperMade:
    """Print the season's record, or write it as a spreadsheet.

    Parameters
    ----------
    view
        The season.
    path
        ``.xlsx`` writes the spreadsheet; ``.pdf``, ``.png`` and ``.svg`` print.
    options
        Paper size; None = letter.

    Returns
    -------
    PaperMade
        With a problem for each entry that differs from the plan and gives no reason.

    Raises
    ------
    InputError
        When the suffix or paper size is not known or the file cannot be written.
    """
    problems = _missing_reasons(_facts(view))
    if path.suffix.lower() == ".xlsx":
        sheets = record_sheets(view)
        write_workbook(path, sheets, view.made_on)
        return PaperMade(path, len(sheets), problems)
    page = record_page(view, (options or PaperOptions()).paper)
    made = print_pages("season_record", page, path, view.made_on)
    return PaperMade(made.path, made.pages, made.problems + problems)
