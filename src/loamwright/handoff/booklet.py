"""A round's pages for whoever carries it out: the helper with a spreader, or the driver of a truck.

This file answers "what do I load, where do I go, how do I get in, what do I keep away from?" and no more:
no prices, soil tests, sources or other plots' advice, and no plot without work. Figures come from the plan
and the round as they are; cautions are those the reader can act on, in one line, said once.
"""

from __future__ import annotations

import calendar
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from loamwright.errors import InputError, Problem
from loamwright.files import load_caution_texts
from loamwright.handoff.drawings import Drawing, plot_drawing, round_drawing
from loamwright.handoff.paper import PaperMade, PaperOptions, check_paper, print_pages
from loamwright.handoff.round_sheets import (
    caught_words,
    label_of,
    left_kg,
    set_to,
    settings_words,
    sheet_words,
    state_words,
)
from loamwright.land import Plot
from loamwright.planning import when_and_how
from loamwright.supplies import Form, Product
from loamwright.units import ACRE_M2, HA_M2, LB_KG, format_area, format_length
from loamwright.words import mass_words, packages_words, rate_words, timing_words, volume_words, way_words
from loamwright.work import (
    DRIVER,
    SPREADER,
    LineStatus,
    Round,
    SeasonView,
    Stop,
    find_round,
    ground_m2,
    hopper_of,
    placed,
    places_of,
    recipe_words,
)

#: Pounds in a short ton, kilograms in a tonne, by unit system.
_TON_KG = {"us": 2000 * LB_KG, "metric": 1000.0}
#: Room for a round's map beside the text, and across the page [mm].
_BESIDE_MM, _ACROSS_MM = (84.0, 62.0), (182.0, 86.0)
#: A round of more plots than this has its map across the page [count].
_BESIDE = 3


@dataclass(frozen=True, slots=True)
class Item:
    """One product on one plot."""

    product: str
    amount: str
    packages: str


@dataclass(frozen=True, slots=True)
class PlaceToGo:
    """One plot of a round."""

    order: str
    plot_id: str
    name: str
    ground: str
    when: str
    rate: str
    items: tuple[Item, ...]
    recipe: str
    catch: str
    way_in: str
    keep_off: str
    note: str
    state: str


@dataclass(frozen=True, slots=True)
class RoundPages:
    """One round as its reader carries it out."""

    number: str
    product: str
    timing: str
    spreader: str
    carry: tuple[Item, ...]
    fills: str
    map: Drawing | None
    across: bool
    places: tuple[PlaceToGo, ...]
    setting: str
    look_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Booklet:
    """Everything `templates/booklet.typ` shows."""

    title: str
    paper: str
    footer: str
    reader: str
    contacts: tuple[str, ...]
    loading: tuple[str, ...]
    passages: tuple[str, ...]
    elsewhere: str
    everyday: tuple[str, ...]
    tests: tuple[str, ...]
    rounds: tuple[RoundPages, ...]


# ---------------------------------------------------------------------------------------------
# Getting there


def _ways(view: SeasonView, *kinds: str) -> tuple[str, ...]:
    """Name ways of some kinds."""
    units = view.record.info.units
    return tuple(way_words(way, units) for way in view.record.ways if way.kind in kinds)


def _passages(view: SeasonView, rounds: Sequence[Round]) -> tuple[str, ...]:
    """Name gates and bridges, and which of them no load of these rounds may cross."""
    used, units = {one.spreader for one in rounds}, view.record.info.units
    machines = [one for one in view.record.info.settings.spreaders if one.name in used]
    load_kg = max((one.vehicle_kg or one.hopper_kg or 0.0 for one in machines), default=0.0)
    said = []
    for way in view.record.ways:
        if way.kind in ("gate", "bridge"):
            too_weak = way.load_limit_kg is not None and load_kg > way.load_limit_kg
            wrong = f": do not cross it, your load is up to {mass_words(load_kg, units)}" if too_weak else ""
            said.append(way_words(way, units) + wrong)
    return tuple(said)


def _way_in(plot: Plot, system: str, with_place: bool) -> str:
    parts = [plot.access.rstrip(".")] if plot.access else []
    if plot.narrowest_m is not None:
        parts.append(f"narrowest place {format_length(plot.narrowest_m, system)}")
    if plot.weight_limit_kg is not None:
        parts.append(f"carries at most {mass_words(plot.weight_limit_kg, system)}")
    if plot.reach_months:
        parts.append(f"open {_months(plot.reach_months)}")
    if with_place and plot.entrance is not None:
        parts.append(f"way in at {plot.entrance[1]:.5f}, {plot.entrance[0]:.5f}")
    return "; ".join(parts)


def _months(months: Sequence[int]) -> str:
    """Name months, runs of them by first and last.

    Examples
    --------
    >>> _months((5, 6, 7, 10))
    'May to Jul, Oct'
    """
    runs = [
        [month for _, month in run] for _, run in groupby(enumerate(sorted(months)), lambda p: p[1] - p[0])
    ]
    names = calendar.month_abbr
    return ", ".join(
        names[run[0]] if len(run) == 1 else f"{names[run[0]]} to {names[run[-1]]}" for run in runs
    )


def _keep_off(plot: Plot, view: SeasonView) -> str:
    """What to stay away from on a plot, and how far; a distance nobody entered is said to be missing."""
    system, area = view.record.info.units, view.areas[plot.plot_id]
    names = {keepout.keepout_id: keepout for keepout in view.record.keepouts}
    parts = []
    for key in dict.fromkeys([*(key for key, _ in area.keepouts), *area.missing_setbacks]):
        keepout = names.get(key)
        called = keepout.name or keepout.kind if keepout else key
        if keepout is not None and keepout.setback_m:
            parts.append(f"{format_length(keepout.setback_m, system)} off {called}")
        elif key in area.missing_setbacks:
            parts.append(f"{called}: NO DISTANCE ENTERED, ask before you spread near it")
        else:
            parts.append(f"off {called}")
    return "; ".join(parts)


# ---------------------------------------------------------------------------------------------
# What goes where


class _Words:
    """How amounts are said to one reader."""

    def __init__(self, view: SeasonView, driver: bool) -> None:
        self.view, self.driver, self.system = view, driver, view.record.info.units

    def when(self, stop: Stop) -> str:
        """Window and placement of a stop's job; empty where no page and nobody says one."""
        jobs = self.view.plan.jobs if self.view.plan else ()
        job = next((one for one in jobs if stop.line_id in one.line_ids), None)
        return when_and_how(job) if job is not None and (job.window or job.placement) else ""

    def amount(self, mass_kg: float, product: Product | None) -> str:
        if self.driver:
            unit = "tons" if self.system == "us" else "t"
            return f"{mass_kg / _TON_KG[self.system]:,.2f} {unit}"
        volume = volume_words(mass_kg, product, self.system)
        said = mass_words(mass_kg, self.system)
        return f"{volume} ({said})" if volume else said

    def rate(self, rate_kg_ha: float, product: Product | None) -> str:
        if self.driver:
            unit_m2, unit = (ACRE_M2, "acre") if self.system == "us" else (HA_M2, "ha")
            return f"{self.amount(rate_kg_ha / HA_M2 * unit_m2, product)}/{unit}"
        if product is None or product.form is not Form.LIQUID:
            return rate_words(rate_kg_ha, self.system)
        unit_m2, unit = (ACRE_M2, "acre") if self.system == "us" else (HA_M2, "ha")
        volume = volume_words(rate_kg_ha / HA_M2 * unit_m2, product, self.system)
        said = rate_words(rate_kg_ha, self.system)
        return f"{volume}/{unit} ({said})" if volume else said

    def item(self, stop: Stop, mass_kg: float) -> Item:
        packages = None if stop.packages is None else stop.packages * mass_kg / stop.mass_kg
        return Item(
            stop.product,
            self.amount(mass_kg, label_of(stop.product, self.view)),
            packages_words(packages, stop.package, mass_kg, self.system) if mass_kg else "nothing",
        )


def _ground(stop: Stop, view: SeasonView) -> str:
    """The ground of a stop; where it is a part of the plot, of how much."""
    system, whole_m2 = view.record.info.units, view.areas[stop.plot_id].spread_area_m2
    here_m2 = ground_m2(stop, view.areas)
    said = format_area(here_m2, system)
    if here_m2 >= whole_m2:
        return said
    return f"{said} of {format_area(whole_m2, system)}: the rest has had it, ask which"


def _fills(round_: Round, system: str) -> str:
    """How the loads of one product fall."""
    if round_.loads is None or round_.last_load_kg is None:
        return "What the spreader holds is not stated."
    if round_.loads == 1:
        return f"1 fill: {mass_words(round_.last_load_kg, system)}"
    full_kg = (math.fsum(stop.mass_kg for stop in round_.stops) - round_.last_load_kg) / (round_.loads - 1)
    said = f"{round_.loads} fills: {round_.loads - 1} of {mass_words(full_kg, system)}, the last "
    said += mass_words(round_.last_load_kg, system)
    return f"{said}; {round_.trips} trips" if (round_.trips or 0) > 1 else said


def _place(
    number: int,
    stops: Sequence[tuple[Stop, str, float]],
    round_: Round,
    words: _Words,
    statuses: dict[str, LineStatus],
) -> PlaceToGo:
    view, system = words.view, words.system
    plot = next(plot for plot in view.record.plots if plot.plot_id == stops[0][0].plot_id)
    first = stops[0][0]
    left = [left_kg(stop, statuses) for stop, _, _ in stops]
    states = [state_words(statuses.get(stop.line_id), system) for stop, _, _ in stops]
    mixed = len({stop.product for stop in round_.stops}) > 1
    spreader = next((one for one in view.record.info.settings.spreaders if one.name == round_.spreader), None)
    recipe = recipe_words([stop for stop, _, _ in stops], left, hopper_of(spreader), system)
    if not mixed and round_.loads != 1:
        _, load, more_kg = stops[0]
        parts = [f"fill {load}" if load else "", f"bring {words.amount(more_kg, None)}" if more_kg else ""]
        if first.left_on_vehicle_kg:
            parts.append(f"{words.amount(first.left_on_vehicle_kg, None)} left on the vehicle after it")
        recipe = "; ".join(part for part in parts if part)
    product = label_of(first.product, view)
    return PlaceToGo(
        str(number),
        plot.plot_id,
        plot.name,
        _ground(first, view),
        words.when(first),
        words.rate(set_to(first), None if mixed else product),
        tuple(words.item(stop, stop.mass_kg) for stop, _, _ in stops),
        recipe,
        "" if words.driver else caught_words(set_to(first), product, system),
        _way_in(plot, system, with_place=words.driver),
        _keep_off(plot, view),
        plot.notes,
        "; ".join(
            f"{stop.product}: {state}" if mixed else state
            for (stop, _, _), state in zip(stops, states, strict=True)
            if state
        ),
    )


def _look_out(round_: Round, view: SeasonView, reader: str) -> list[tuple[str, str]]:
    """The lines this reader can act on in a round, as (line, plots where it is not all of them)."""
    plots = list(dict.fromkeys(stop.plot_id for stop in round_.stops))
    used = {stop.product for stop in round_.stops}
    products = [product for product in view.record.products if product.product in used]
    found: dict[str, set[str]] = {}
    told = placed(view.cautions, reader)
    for _, row in told.before(load_caution_texts(), products, plots):
        found[told.words(row)] = set(plots)
    for caution in (*told.everywhere(used), *told.with_product(used, plots), *told.on_plots(plots)):
        here = set(caution.where) & set(plots) if caution.where else set(plots)
        found.setdefault(told.words(caution), set()).update(here)
    return [
        (line, "" if where == set(plots) else ", ".join(plot for plot in plots if plot in where))
        for line, where in found.items()
    ]


def _carried(round_: Round, words: _Words, statuses: dict[str, LineStatus]) -> tuple[Item, ...]:
    """All of each product for a round, packages opened on one plot used up on the next."""
    items = []
    for product in dict.fromkeys(stop.product for stop in round_.stops):
        stops = [stop for stop in round_.stops if stop.product == product]
        left = [left_kg(stop, statuses) for stop in stops]
        total_kg = math.fsum(left)
        counts = [
            None if stop.packages is None else stop.packages * kg / stop.mass_kg
            for stop, kg in zip(stops, left, strict=True)
        ]
        packages = None if None in counts else math.fsum(count or 0.0 for count in counts)
        items.append(
            Item(
                product,
                words.amount(total_kg, label_of(product, words.view)),
                packages_words(packages, stops[0].package, total_kg, words.system) if total_kg else "nothing",
            )
        )
    return tuple(items)


def _tests(rounds: Iterable[Round], view: SeasonView) -> tuple[str, ...]:
    """How to catch a test, once for dry products and once for liquids."""
    labels = [label_of(stop.product, view) for one in rounds for stop in one.stops]
    words = dict.fromkeys(sheet_words(product, view.record.info.units) for product in labels)
    return tuple(f"{head}: {how.split(' (')[0].rstrip('.')}." for head, how in words)


def _round_map(plots: Sequence[Plot], view: SeasonView, across: bool) -> Drawing:
    record, system = view.record, view.record.info.units
    if len(plots) == 1:
        area = view.areas[plots[0].plot_id]
        return plot_drawing(plots[0], area, record.keepouts, system, _BESIDE_MM, large=True)
    most_mm = _ACROSS_MM if across else _BESIDE_MM
    return round_drawing(plots, record.plots, record.keepouts, record.ways, system, most_mm)


def _round_pages(
    number: int, round_: Round, words: _Words, look_out: Iterable[tuple[str, str]]
) -> RoundPages:
    view, system = words.view, words.system
    statuses = {status.line_id: status for status in view.statuses if status.line_id}
    places = places_of(round_)
    known = {plot.plot_id: plot for plot in view.record.plots}
    plots = [known[stops[0][0].plot_id] for stops in places]
    mixed = len({stop.product for stop in round_.stops}) > 1
    across = len(plots) > _BESIDE
    return RoundPages(
        str(number),
        round_.product,
        timing_words(round_.timing),
        round_.spreader or "not chosen",
        _carried(round_, words, statuses),
        "" if mixed else _fills(round_, system),
        _round_map(plots, view, across),
        across,
        tuple(_place(order, stops, round_, words, statuses) for order, stops in enumerate(places, 1)),
        "" if words.driver else settings_words(round_, view.record.calibrations, system),
        tuple(f"{line} ({where})" if where else line for line, where in look_out),
    )


def _chosen(view: SeasonView, options: PaperOptions, driver: bool) -> tuple[tuple[Round, ...], str]:
    """The rounds to print and what is said of the others: heavy machines have a driver of their own."""
    heavy = {one.name for one in view.record.info.settings.spreaders if one.heavy}
    mine = tuple(one for one in view.rounds if (one.spreader in heavy) == driver)
    if options.rounds is not None:
        asked = tuple(find_round(view.rounds, name) for name in options.rounds)
        return tuple(one for one in asked if options.reader or one in mine), ""
    others = [str(number) for number, one in enumerate(view.rounds, 1) if one not in mine]
    if not others:
        return mine, ""
    whose = "are done with spreaders" if driver else "are done by truck: see the driver's sheet"
    return mine, f"Rounds {', '.join(others)} {whose}."


def has_rounds(view: SeasonView, options: PaperOptions, driver: bool) -> bool:
    """Tell whether there is a round for this reader.

    Parameters
    ----------
    view
        The season.
    options
        Which rounds; None = all.
    driver
        True for the driver of a heavy machine, False for whoever spreads.

    Returns
    -------
    bool

    Raises
    ------
    InputError
        When a round is not known.
    """
    return bool(_chosen(view, options, driver)[0])


def booklet(view: SeasonView, options: PaperOptions, driver: bool = False) -> Booklet:
    """Work out everything that stands in a booklet."""
    rounds, elsewhere = _chosen(view, options, driver)
    reader = DRIVER if driver else SPREADER
    numbers = {one.round_id: number for number, one in enumerate(view.rounds, 1)}
    told = [_look_out(one, view, reader) for one in rounds]
    told_of = Counter(line for one in told for line, _ in one)
    everyday = [line for line, count in told_of.items() if len(rounds) > 1 and count > len(rounds) / 2]
    words = _Words(view, driver)
    info = view.record.info
    what = "Truck driver's sheet" if driver else "Work orders"
    if len(rounds) == 1:
        what += f", round {numbers[rounds[0].round_id]}"
    return Booklet(
        f"{what}, {info.name} {info.season}",
        check_paper(options.paper),
        f"{what}, {info.name}, {view.stamp}",
        reader,
        _ways(view, "contact"),
        _ways(view, "loading place"),
        _passages(view, rounds),
        elsewhere,
        tuple(everyday),
        () if driver else _tests(rounds, view),
        tuple(
            _round_pages(
                numbers[one.round_id], one, words, [found for found in lines if found[0] not in everyday]
            )
            for one, lines in zip(rounds, told, strict=True)
        ),
    )


def write_booklet(
    view: SeasonView, path: Path, options: PaperOptions | None = None, driver: bool = False
) -> PaperMade:
    """Print the helper's edition of the work orders, or the truck driver's sheet.

    Parameters
    ----------
    view
        The season.
    path
        PDF to write (``.png`` and ``.svg`` make one file per page).
    options
        Paper size and rounds; None = all rounds of this reader, on letter paper.
    driver
        True for the rounds of heavy machines, by tons and with the limits of the way.

    Returns
    -------
    PaperMade

    Raises
    ------
    InputError
        When an option is not known, no round is there for this reader, or the file cannot be written.
    """
    page = booklet(view, options or PaperOptions(), driver)
    if not page.rounds:
        what = "no round is done with a heavy machine" if driver else "there is no round to spread"
        fix = "Make a plan first, or ask for the driver's sheet."
        if driver:
            fix = "Set `heavy` on the truck and plan again."
        raise InputError([Problem("orders", what, fix)])
    return print_pages("booklet", page, path, view.made_on)
