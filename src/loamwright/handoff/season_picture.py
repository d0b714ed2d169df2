"""The season on one page: needs and supply, dollars, work done, and where the soil is going.

This file answers "how does the season look as a whole?". It turns the season's figures into bars and
lines as shares of an axis; `templates/season_picture.typ` draws them, in the map's palette, so that a
grey print still reads. It works out nothing that the plan and the record do not already say.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from loamwright.handoff.paper import (
    Figure,
    PaperMade,
    PaperOptions,
    check_paper,
    money_figures,
    print_pages,
)
from loamwright.money import format_money
from loamwright.palette import BLUE, BLUISH_GREEN, ORANGE, STATUS, Fill
from loamwright.soil import SoilTest
from loamwright.units import (
    ACRE_M2,
    HA_M2,
    LB_KG,
    format_area,
)
from loamwright.values import NeedState, Nutrient, Supply
from loamwright.words import mass_words
from loamwright.work import SeasonView, WorkState

#: Plots drawn by themselves; the smallest beyond them are added into one row.
ROWS = 34
#: Soil-test figures drawn: element symbol and what it is called.
TRENDS = ("pH", "P", "K")


@dataclass(frozen=True, slots=True)
class AxisMark:
    """One mark on an axis: where, as a share of its length, and its text."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class NeedBar:
    """Need and supply of one row, as shares of the axis; need None = unknown."""

    need: float | None
    supply: float
    words: str


@dataclass(frozen=True, slots=True)
class NeedPanel:
    """One nutrient's column of bars."""

    title: str
    axis: tuple[AxisMark, ...]
    bars: tuple[NeedBar, ...]


@dataclass(frozen=True, slots=True)
class MoneyBar:
    """Dollars for one thing, as a share of the longest bar."""

    label: str
    share: float
    words: str


@dataclass(frozen=True, slots=True)
class StatusPiece:
    """Part of a status bar: share of the product's planned mass, and how it is filled."""

    share: float
    fill: Fill


@dataclass(frozen=True, slots=True)
class StatusBar:
    """One product's planned mass by state of the work."""

    label: str
    pieces: tuple[StatusPiece, ...]
    words: str


@dataclass(frozen=True, slots=True)
class StatusKey:
    """One row of the status legend."""

    state: str
    fill: Fill
    passes: str


@dataclass(frozen=True, slots=True)
class TrendLine:
    """One plot's tests over time, as shares of both axes (y upwards)."""

    plot_id: str
    points: tuple[tuple[float, float], ...]
    label_at: float | None


@dataclass(frozen=True, slots=True)
class TrendPanel:
    """One soil-test figure over time."""

    title: str
    x_axis: tuple[AxisMark, ...]
    y_axis: tuple[AxisMark, ...]
    lines: tuple[TrendLine, ...]
    remark: str


@dataclass(frozen=True, slots=True)
class PicturePage:
    """Everything `templates/season_picture.typ` shows."""

    title: str
    about: str
    paper: str
    footer: str
    figures: tuple[Figure, ...]
    rows: tuple[str, ...]
    need_unit: str
    panels: tuple[NeedPanel, ...]
    money: tuple[MoneyBar, ...]
    status: tuple[StatusBar, ...]
    status_key: tuple[StatusKey, ...]
    trends: tuple[TrendPanel, ...]
    supply_colour: str
    money_colour: str
    trend_colour: str


# ---------------------------------------------------------------------------------------------
# Axes


def _nice_top(value: float) -> float:
    """The next 1, 2, 2.5 or 5 times a power of ten at or above a value."""
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * power >= value * (1 - 1e-9))


def _axis(top: float) -> tuple[AxisMark, ...]:
    return tuple(AxisMark(share, f"{top * share:,.6g}") for share in (0.0, 0.5, 1.0))


def _span_axis(low: float, high: float) -> tuple[float, float, tuple[AxisMark, ...]]:
    """A round span around some values, with three marks."""
    reach = max(high - low, abs(high) * 0.1, 0.1)
    low, high = low - reach * 0.08, high + reach * 0.08
    step = _nice_top(reach / 2.5)
    start = math.floor(low / step + 1e-9) * step
    end = start + step * max(math.ceil((high - start) / step - 1e-9), 1)
    count = round((end - start) / step)
    marks = tuple(AxisMark(i / count, f"{start + i * step:.6g}") for i in range(count + 1))
    return start, end, marks


# ---------------------------------------------------------------------------------------------
# Needs and supply


@dataclass(frozen=True, slots=True)
class _Row:
    label: str
    plots: tuple[str, ...]
    area_m2: float


def _rows(view: SeasonView) -> tuple[_Row, ...]:
    """Plots with something to spread on; beyond `ROWS` the smallest share one row."""
    plots = [p for p in view.record.plots if view.areas[p.plot_id].spread_area_m2 > 0]
    alone = plots
    if len(plots) > ROWS:
        by_size = sorted(plots, key=lambda p: view.areas[p.plot_id].spread_area_m2, reverse=True)
        chosen = {p.plot_id for p in by_size[: ROWS - 1]}
        alone = [p for p in plots if p.plot_id in chosen]
    rows = [
        _Row(f"{p.plot_id} {p.name}".strip(), (p.plot_id,), view.areas[p.plot_id].spread_area_m2)
        for p in alone
    ]
    rest = [p.plot_id for p in plots if p not in alone]
    if rest:
        area = math.fsum(view.areas[plot_id].spread_area_m2 for plot_id in rest)
        rows.append(_Row(f"{len(rest)} smaller plots together", tuple(rest), area))
    return tuple(rows)


def _per_area(mass_kg: float, area_m2: float, system: str) -> float:
    return mass_kg / LB_KG / (area_m2 / ACRE_M2) if system == "us" else mass_kg / (area_m2 / HA_M2)


def _unplanned(view: SeasonView, row: _Row, supply: Supply) -> str:
    """What to say of a row the plan holds nothing about for a supply."""
    states = set()
    for plot_id in row.plots:
        needs = view.needs.get(plot_id)
        if needs is not None:
            found = [n.state for n in needs.needs if n.nutrient.value == supply]
            states.update([needs.lime.state] if supply.is_lime else found)
    if states == {NeedState.NONE}:
        return "none"
    return "not known" if states == {NeedState.UNKNOWN} else ""


def _rank(supply: Supply) -> tuple[int, str]:
    """Place of a supply among the panels."""
    if supply.startswith("lime"):
        return 3, supply
    place = list(Nutrient).index(Nutrient(supply))
    return place if place < 3 else place + 1, supply


def _panels(view: SeasonView, rows: Sequence[_Row]) -> tuple[NeedPanel, ...]:
    """One panel per supply that any plot needs or gets: N, P2O5, K2O, lime, then others; at most six."""
    system = view.record.info.units
    cover = {(c.plot_id, c.supply): c for c in (view.plan.coverage if view.plan else ())}
    found_any = {c.supply for c in cover.values() if c.need_kg or c.supplied_kg or c.need_kg is None}
    supplies = sorted(found_any, key=_rank)
    panels = []
    for supply in supplies[:6]:
        values: list[tuple[float | None, float, str]] = []
        for row in rows:
            found = [cover[plot_id, supply] for plot_id in row.plots if (plot_id, supply) in cover]
            known = [c.need_kg for c in found if c.need_kg is not None]
            need = _per_area(math.fsum(known), row.area_m2, system)
            supplied = _per_area(math.fsum(c.supplied_kg for c in found), row.area_m2, system)
            words = "" if need or supplied else "none"
            if not found:
                words = _unplanned(view, row, supply)
            elif not known:
                words = "not known"
            values.append((need if known else None, supplied, words))
        top = _nice_top(max((max(need or 0.0, supplied) for need, supplied, _ in values), default=0.0))
        bars = tuple(
            NeedBar(None if need is None else need / top, supplied / top, words)
            for need, supplied, words in values
        )
        panels.append(NeedPanel(supply, _axis(top), bars))
    return tuple(panels)


# ---------------------------------------------------------------------------------------------
# Dollars and work


def _money(view: SeasonView) -> tuple[MoneyBar, ...]:
    if view.plan is None:
        return ()
    amounts: dict[str, Decimal] = {}
    for purchase in view.plan.buy:
        amounts[purchase.product] = amounts.get(purchase.product, Decimal(0)) + purchase.cost
    amounts["delivery"] = view.plan.delivery_cost
    amounts["spreading"] = view.plan.spreading_cost
    ordered = sorted(((v, k) for k, v in amounts.items() if v), key=lambda pair: pair[0], reverse=True)
    shown, rest = (ordered, []) if len(ordered) <= 10 else (ordered[:9], ordered[9:])
    if rest:
        shown.append((sum((v for v, _ in rest), Decimal(0)), f"{len(rest)} smaller"))
    most = max((value for value, _ in shown), default=Decimal(1))
    return tuple(MoneyBar(label, float(value / most), format_money(value)) for value, label in shown)


def _status(view: SeasonView) -> tuple[tuple[StatusBar, ...], tuple[StatusKey, ...]]:
    """Planned mass by product and state; a part-done pass is split into what is on and what is not."""
    system = view.record.info.units
    planned = [s for s in view.statuses if s.line_id]
    masses: dict[str, dict[WorkState, float]] = {}
    for row in planned:
        mass = masses.setdefault(row.product, dict.fromkeys(WorkState, 0.0))
        if row.state is WorkState.PART:
            on = min(row.applied_kg, row.planned_kg)
            mass[WorkState.PART] += on
            mass[WorkState.NOTHING] += row.planned_kg - on
        else:
            mass[row.state] += row.planned_kg
    order = (WorkState.DONE, WorkState.OVER, WorkState.PART, WorkState.NOTHING)
    bars = []
    for product, mass in masses.items():
        total = math.fsum(mass.values())
        pieces = tuple(
            StatusPiece(mass[state] / total, STATUS[state.value]) for state in order if total and mass[state]
        )
        on_kg = math.fsum(row.applied_kg for row in planned if row.product == product)
        bars.append(
            StatusBar(product, pieces, f"{mass_words(on_kg, system)} on, of {mass_words(total, system)}")
        )
    counts = Counter(row.state for row in planned)
    key = tuple(StatusKey(state.value, STATUS[state.value], str(counts[state])) for state in order)
    return tuple(bars), key


# ---------------------------------------------------------------------------------------------
# Soil tests over time


def _year(day: dt.date) -> float:
    start = dt.date(day.year, 1, 1)
    return day.year + (day - start).days / (dt.date(day.year + 1, 1, 1) - start).days


def _series(tests: Sequence[SoilTest], what: str) -> tuple[str, list[tuple[str, float, float]], int]:
    """(unit and method, [(plot, year, value)], tests left out): one method only, the commonest."""
    found: dict[str, list[tuple[str, float, float]]] = {}
    for test in tests:
        if test.sampled_on is None:
            continue
        if what == "pH":
            if test.ph is not None:
                found.setdefault("in water", []).append((test.plot_id, _year(test.sampled_on), test.ph))
            continue
        reading = test.readings.get(what)
        if reading is not None and not reading.sign:  # a limit is no point of a line
            method = f"{reading.extractant or 'extractant not stated'}, {reading.unit} {reading.basis}"
            found.setdefault(method, []).append((test.plot_id, _year(test.sampled_on), reading.value))
    if not found:
        return "", [], 0
    method = max(found, key=lambda key: len(found[key]))
    return method, found[method], sum(len(v) for v in found.values()) - len(found[method])


def _trend(tests: Sequence[SoilTest], what: str) -> TrendPanel | None:
    method, series, left_out = _series(tests, what)
    if not series:
        return None
    start, end, y_axis = _span_axis(min(v for _, _, v in series), max(v for _, _, v in series))
    first, last = math.floor(min(y for _, y, _ in series)), math.ceil(max(y for _, y, _ in series) + 1e-9)
    years = max(last - first, 1)
    step = math.ceil(years / 4)
    x_axis = tuple(
        AxisMark((year - first) / years, str(year)) for year in range(first, first + years + 1, step)
    )
    by_plot: dict[str, list[tuple[float, float]]] = {}
    for plot_id, year, value in sorted(series, key=lambda row: row[1]):
        by_plot.setdefault(plot_id, []).append(((year - first) / years, (value - start) / (end - start)))
    taken: list[float] = []
    lines = []
    for plot_id, points in sorted(by_plot.items(), key=lambda item: item[1][-1][1]):
        height = points[-1][1]
        free = all(abs(height - other) >= 0.07 for other in taken)
        if free:
            taken.append(height)
        lines.append(TrendLine(plot_id, tuple(points), height if free else None))
    remark = f"{left_out} tests by other methods are not drawn." if left_out else ""
    if left_out == 1:
        remark = "1 test by another method is not drawn."
    title = "soil pH" if what == "pH" else f"{what}: {method}"
    return TrendPanel(title, x_axis, y_axis, tuple(lines), remark)


# ---------------------------------------------------------------------------------------------
# The page


def _figures(view: SeasonView, status: Mapping[WorkState, int]) -> tuple[Figure, ...]:
    system = view.record.info.units
    spread = math.fsum(area.spread_area_m2 for area in view.areas.values())
    figures = [
        Figure(str(len(view.record.plots)), "plots"),
        Figure(format_area(spread, system), "to spread on"),
    ]
    if view.plan is not None:
        done = status.get(WorkState.DONE, 0) + status.get(WorkState.OVER, 0)
        figures += [
            Figure(format_money(view.plan.total_cost), f"in all, {view.plan.outcome.value}"),
            *money_figures(view),
            Figure(f"{done} of {len(view.plan.lines)}", "passes done"),
        ]
    return tuple(figures)


def picture_page(view: SeasonView, paper: str) -> PicturePage:
    """Work out everything that stands on the season picture."""
    info = view.record.info
    rows = _rows(view)
    status, key = _status(view)
    counts = Counter(s.state for s in view.statuses if s.line_id)
    trends = (_trend(view.record.soil_tests, what) for what in TRENDS)
    return PicturePage(
        title=f"{info.name}, season {info.season}",
        about=info.about,
        paper=check_paper(paper),
        footer=f"{info.name}, season picture made {view.stamp}",
        figures=_figures(view, counts),
        rows=tuple(row.label for row in rows),
        need_unit="lb/acre" if info.units == "us" else "kg/ha",
        panels=_panels(view, rows),
        money=_money(view),
        status=status,
        status_key=key,
        trends=tuple(panel for panel in trends if panel is not None),
        supply_colour=BLUE,
        money_colour=ORANGE,
        trend_colour=BLUISH_GREEN,
    )


def write_season_picture(view: SeasonView, path: Path, options: PaperOptions | None = None) -> PaperMade:
    """Draw the season on one page.

    Parameters
    ----------
    view
        The season.
    path
        ``.pdf``, ``.svg`` or ``.png``.
    options
        Paper size; None = letter.

    Returns
    -------
    PaperMade

    Raises
    ------
    InputError
        When the paper size or suffix is not known or the file cannot be written.
    """
    page = picture_page(view, (options or PaperOptions()).paper)
    return print_pages("season_picture", page, path, view.made_on)
