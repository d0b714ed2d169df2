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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from loamwright.errors import Level, Problem
from loamwright.handoff.paper import PaperMade, PaperOptions, check_paper, print_pages
from loamwright.handoff.record_ground import GroundTold, ground_sheets, ground_told
from loamwright.handoff.workbook import (
    Cell,
    Column,
    Kept,
    Section,
    Sheet,
    cells_of,
    columns_of,
    in_units,
    texts_of,
    write_workbook,
)
from loamwright.money import format_money
from loamwright.needs import season_of
from loamwright.planning import Plan
from loamwright.supplies import Product, nutrient_fractions, supply_fractions
from loamwright.units import (
    ACRE_M2,
    FT_M,
    HA_M2,
    LB_ACRE_KG_HA,
    LB_KG,
    format_area,
    format_figure,
    format_length,
)
from loamwright.values import LimeBasis, Nutrient
from loamwright.words import mass_words, rate_words
from loamwright.work import Application, Balance, Calibration, SeasonView, entries_that_count, lines_by_job

R = TypeVar("R")

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
    supply: str
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
    ground: GroundTold


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
    start = record.info.settings.season_start
    season = [e for e in record.applications if season_of(e.applied_on, start) == record.info.season]
    corrected = {e.replaces: e.entry_id for e in record.applications if e.replaces}
    names = {plot.plot_id: plot.name for plot in record.plots}
    crops = {plot_id: cropping.crop for plot_id, cropping in view.croppings.items()}
    labels = {product.product: product for product in record.products}
    planned = {line.line_id: line for plan in record.plans for line in plan.lines}
    of_job = lines_by_job(record.plans)
    bases = tuple(dict.fromkeys(n.lime.basis for n in view.needs.values() if n.lime.basis is not None))
    facts = []
    for entry in season:
        product = labels.get(entry.product)
        fractions = nutrient_fractions(product).fractions if product is not None else {}
        job = entry.plan_id, entry.job_id, entry.product
        line = planned.get(entry.line_id) or of_job.get(job)
        rate = entry.mass_kg / (entry.area_m2 / HA_M2) if entry.area_m2 and entry.mass_kg else None
        facts.append(
            _Fact(
                entry,
                f"corrected by {corrected[entry.entry_id]}" if entry.entry_id in corrected else "counts",
                names.get(entry.plot_id, "plot not in the file"),
                crops.get(entry.plot_id, ""),
                product,
                rate,
                None if line is None else line.mass_kg,
                {nutrient: fraction * entry.mass_kg for nutrient, fraction in fractions.items()},
                _delivered_lime(product, entry.mass_kg, record.info.units, bases),
            )
        )
    return tuple(facts)


def _frozen(ground: str) -> str:
    """Whether the ground was reported frozen or under snow; empty when it was not reported."""
    if not ground:
        return ""
    return "yes" if any(word in ground.casefold() for word in ("frozen", "snow")) else "no"


def _stated(field: str) -> Callable[[_Fact, str], str]:
    """Say a field of the entry, or that it was not stated."""
    return lambda fact, _system: getattr(fact.entry, field) or "not stated"


def _nutrient_lb(nutrient: Nutrient) -> Callable[[_Fact], Cell]:
    return lambda fact: fact.nutrients_kg[nutrient] / LB_KG if nutrient in fact.nutrients_kg else None


def _blank(_fact: _Fact) -> Cell:
    """A column that is filled in by hand."""
    return None


#: The entries: every column once, for the workbook and for the page.
_ENTRIES: tuple[Kept[_Fact], ...] = (
    Kept(Column("entry", 14), lambda f: f.entry.entry_id, "entry_id"),
    Kept(Column("stands", 12), lambda f: f.counts, "counts"),
    Kept(Column("corrects entry", 14), lambda f: f.entry.replaces, "replaces"),
    Kept(
        Column("date", 11),
        lambda f: f.entry.applied_on,
        "when",
        lambda f, _system: f"{f.entry.applied_on.isoformat()} {f.entry.time_of_day}".strip(),
    ),
    Kept(Column("time", 8), lambda f: f.entry.time_of_day),
    Kept(Column("plot", 10), lambda f: f.entry.plot_id, "plot_id"),
    Kept(Column("plot name", 20), lambda f: f.name, "name"),
    Kept(Column("crop", 16), lambda f: f.crop, "crop", lambda f, _system: f.crop or "not stated"),
    Kept(
        Column("acres covered", 9, 2),
        lambda f: None if f.entry.area_m2 is None else f.entry.area_m2 / ACRE_M2,
        "acres",
        lambda f, system: "not stated" if f.entry.area_m2 is None else format_area(f.entry.area_m2, system),
    ),
    Kept(Column("product", 24), lambda f: f.entry.product, "product"),
    Kept(Column("analysis", 20), lambda f: _analysis(f.product), "analysis"),
    Kept(
        Column("rate lb/acre", 9, 1),
        lambda f: None if f.rate_kg_ha is None else f.rate_kg_ha / LB_ACRE_KG_HA,
        "rate",
        lambda f, system: "area not stated" if f.rate_kg_ha is None else rate_words(f.rate_kg_ha, system),
    ),
    Kept(
        Column("amount lb", 10, 1),
        lambda f: f.entry.mass_kg / LB_KG,
        "amount",
        lambda f, system: mass_words(f.entry.mass_kg, system),
    ),
    *(Kept(Column(f"{n.value} lb", 8, 2), _nutrient_lb(n)) for n in SHOWN),
    Kept(Column("effective lime", 16), lambda f: f.lime),
    Kept(Column("reported", 9), lambda f: f.entry.done.value, "done"),
    Kept(Column("who applied", 16), lambda f: f.entry.operator, "operator"),
    Kept(Column("equipment", 16), lambda f: f.entry.equipment, "equipment", _stated("equipment")),
    Kept(Column("method", 14), lambda f: f.entry.method, "method", _stated("method")),
    Kept(Column("ground", 14), lambda f: f.entry.ground, "ground", _stated("ground")),
    Kept(Column("frozen or snow", 8), lambda f: _frozen(f.entry.ground)),
    Kept(Column("weather", 18), lambda f: f.entry.weather, "weather", _stated("weather")),
    Kept(Column("forecast next day", 18), lambda f: f.entry.forecast, "forecast", _stated("forecast")),
    Kept(
        Column("planned lb", 10, 1),
        lambda f: None if f.planned_kg is None else f.planned_kg / LB_KG,
        "planned",
        lambda f, system: "outside the plan" if f.planned_kg is None else mass_words(f.planned_kg, system),
    ),
    Kept(Column("reason if different", 24), lambda f: f.entry.reason, "reason"),
    Kept(
        Column("paid $", 10, money=True),
        lambda f: f.entry.cost,
        "cost",
        lambda f, _system: "" if f.entry.cost is None else format_money(f.entry.cost),
    ),
    Kept(Column("note", 24), lambda f: f.entry.note, "note"),
    Kept(Column("recorded at", 18), lambda f: f.entry.recorded_at, "recorded_at"),
    *(Kept(Column(name, 16), _blank) for name in BY_HAND),
)


def _entry_row(fact: _Fact, system: str) -> EntryRow:
    nutrients = tuple(
        mass_words(fact.nutrients_kg[n], system) if fact.nutrients_kg.get(n) else "" for n in SHOWN
    )
    return EntryRow(nutrients=(*nutrients, fact.lime), **texts_of(_ENTRIES, fact, system))


def _mass(balance: Balance, mass_kg: float | None, system: str) -> str:
    return "not known" if mass_kg is None else mass_words(mass_kg, system, balance.supply)


def _pounds(mass_kg: float | None) -> float | None:
    return None if mass_kg is None else mass_kg / LB_KG


def _left_kg(balance: Balance) -> float | None:
    return None if balance.need_kg is None else max(balance.need_kg - balance.applied_kg, 0.0)


#: Need, applied and left of each supply on each plot.
_SUMS: tuple[Kept[Balance], ...] = (
    Kept(Column("plot", 10), lambda b: b.plot_id, "plot_id"),
    Kept(Column("supply", 12), lambda b: b.supply, "supply"),
    Kept(Column("need lb", 11, 1), lambda b: _pounds(b.need_kg), "need", lambda b, s: _mass(b, b.need_kg, s)),
    Kept(
        Column("applied lb", 11, 1),
        lambda b: _pounds(b.applied_kg),
        "applied",
        lambda b, s: _mass(b, b.applied_kg, s),
    ),
    Kept(
        Column("left lb", 11, 1),
        lambda b: _pounds(_left_kg(b)),
        "left",
        lambda b, s: _mass(b, _left_kg(b), s),
    ),
)

#: Catch tests of spreaders.
_TESTS: tuple[Kept[Calibration], ...] = (
    Kept(Column("spreader", 18), lambda c: c.spreader, "spreader"),
    Kept(Column("product", 24), lambda c: c.product, "product"),
    Kept(Column("setting", 12), lambda c: c.setting, "setting"),
    Kept(Column("tested on", 11), lambda c: c.tested_on, "tested_on"),
    Kept(Column("operator", 16), lambda c: c.operator, "operator"),
    Kept(
        Column("swath ft", 9, 1),
        lambda c: None if c.swath_m is None else c.swath_m / FT_M,
        "swath",
        lambda c, system: "not stated" if c.swath_m is None else format_length(c.swath_m, system),
    ),
    Kept(
        Column("caught lb", 10, 3),
        lambda c: c.caught_kg / LB_KG,
        "caught",
        lambda c, s: f"{mass_words(c.caught_kg, s)} on {format_figure(c.catch_area_m2)} m²",
    ),
    Kept(Column("sheet m2", 10, 2), lambda c: c.catch_area_m2),
    Kept(
        Column("rate lb/acre", 11, 1),
        lambda c: c.rate_kg_ha / LB_ACRE_KG_HA,
        "rate",
        lambda c, system: rate_words(c.rate_kg_ha, system),
    ),
    Kept(Column("note", 24), lambda c: c.note, "note"),
)

#: Plans of the season.
_PLANS: tuple[Kept[Plan], ...] = (
    Kept(Column("plan", 20), lambda p: p.plan_id, "plan_id"),
    Kept(
        Column("made at", 18), lambda p: p.made_at, "made_at", lambda p, _s: p.made_at[:16].replace("T", " ")
    ),
    Kept(Column("outcome", 16), lambda p: p.outcome.value, "outcome"),
    Kept(
        Column("total $", 12, money=True),
        lambda p: p.total_cost,
        "cost",
        lambda p, _s: format_money(p.total_cost),
    ),
    Kept(
        Column("why it replaced the one before", 40),
        lambda p: p.reason,
        "reason",
        lambda p, _s: p.reason or "first plan",
    ),
)


def _missing_reasons(facts: tuple[_Fact, ...], system: str) -> tuple[Problem, ...]:
    """Entries that differ from the plan by over 5 % and give no reason, which Idaho's rule asks for."""
    return tuple(
        Problem(
            f"record entry {fact.entry.entry_id}, reason",
            f"plot {fact.entry.plot_id} got {mass_words(fact.entry.mass_kg, system)} of {fact.entry.product} "
            f"where {mass_words(fact.planned_kg, system)} was planned, and no reason is given",
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

    return RecordPage(
        title=f"Season record {info.season}, {info.name}",
        property=info.name,
        about=info.about,
        paper=check_paper(paper),
        footer=f"{info.name}, season record printed {view.stamp}",
        made_on=view.stamp,
        nutrient_heads=(*(n.value for n in SHOWN), "lime"),
        entries=tuple(_entry_row(fact, system) for fact in _facts(view)),
        sums=tuple(
            SumRow(**texts_of(_SUMS, b, system))
            for b in view.balances
            if b.need_kg or b.applied_kg or b.need_kg is None
        ),
        tests=tuple(TestRow(**texts_of(_TESTS, c, system)) for c in view.record.calibrations),
        plans=tuple(
            PlanRow(**texts_of(_PLANS, p, system)) for p in view.record.plans if p.season in (0, info.season)
        ),
        by_hand=BY_HAND,
        keep_for=KEEP_FOR,
        ground=ground_told(view),
    )


def _table(name: str, title: tuple[str, ...], table: Sequence[Kept[R]], records: Sequence[R]) -> Sheet:
    rows = tuple(cells_of(table, record) for record in records)
    return Sheet(name, title, columns_of(table), (Section("", rows),))


def record_sheets(view: SeasonView) -> tuple[Sheet, ...]:
    """Lay the record out as sheets: entries, sums, crops, soil tests, checklist, spreader tests, plans."""
    info = view.record.info
    facts = _facts(view)
    standing = {e.entry_id for e in entries_that_count(view.record.applications)}
    counted = [f for f in facts if f.entry.entry_id in standing]
    totals: list[Cell] = [None] * len(columns_of(_ENTRIES))
    totals[0] = "sum of entries that count"
    first = [column.name for column in columns_of(_ENTRIES)].index(f"{SHOWN[0].value} lb")
    for offset, nutrient in enumerate(SHOWN):
        totals[first + offset] = math.fsum(f.nutrients_kg.get(nutrient, 0.0) for f in counted) / LB_KG
    title = (f"Season record {info.season}, {info.name}", info.about, KEEP_FOR)
    entries = Section("", tuple(cells_of(_ENTRIES, fact) for fact in facts), tuple(totals))
    sheets = (
        Sheet("Applications", title, columns_of(_ENTRIES), (entries,)),
        _table("Sums per plot", title[:1], _SUMS, view.balances),
        *ground_sheets(view, title[0]),
        _table("Spreader tests", title[:1], _TESTS, view.record.calibrations),
        _table("Plans", title[:1], _PLANS, view.record.plans),
    )
    return tuple(in_units(sheet, info.units) for sheet in sheets)


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
    problems = _missing_reasons(_facts(view), view.record.info.units)
    if path.suffix.lower() == ".xlsx":
        sheets = record_sheets(view)
        write_workbook(path, sheets, view.made_on)
        return PaperMade(path, len(sheets), problems)
    page = record_page(view, (options or PaperOptions()).paper)
    made = print_pages("season_record", page, path, view.made_on)
    return PaperMade(made.path, made.pages, made.problems + problems)
