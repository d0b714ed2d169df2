"""What a plan stands on, said in short texts, and what of it has changed since.

This file answers "what would make this plan old?". The comparison is `planning.what_aged`; here stands what
is compared: areas, needs, decisions, reach, offers, spreaders, settings, editions, and what was put on or
bought that the plan did not ask for.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Collection, Mapping
from decimal import Decimal
from typing import Any

from loamwright import planning, supplies
from loamwright.land import PlotArea
from loamwright.needs import PlotNeeds
from loamwright.planning import Aged, Plan
from loamwright.supplies import Movement, Product
from loamwright.units import format_area, format_length, format_mass, format_rate, read_number
from loamwright.values import LimeBasis, WorkRules
from loamwright.work.counting import stock_of
from loamwright.work.ledger import OVER_FRACTION, lines_answered, season_entries, taken_off
from loamwright.work.records import PropertyRecord


def stands_on(
    record: PropertyRecord,
    needs_before: Mapping[str, PlotNeeds],
    areas: Mapping[str, PlotArea],
) -> dict[str, str]:
    """Say what a plan made now would stand on, one short text for each thing.

    Parameters
    ----------
    record
        The property.
    needs_before
        Needs before anything is taken off, by plot_id.
    areas
        By plot_id.

    Returns
    -------
    dict of str to str
    """
    key, figure = planning.key, planning.figure
    settings = record.info.settings
    found = {
        key("season"): str(record.info.season),
        key("guideline", "needs"): settings.guideline,
        key("guideline", "lime"): settings.lime_guideline,
    }
    for plot in record.plots:
        found[key("area", plot.plot_id)] = figure(areas[plot.plot_id].spread_area_m2, "m2")
        reach = [f"{name} {'yes' if can else 'no'}" for name, can in sorted(plot.reach.items())]
        if plot.weight_limit_kg is not None:
            reach.append(f"carries {figure(plot.weight_limit_kg, 'kg')}")
        if plot.reach_months:
            reach.append(f"months {' '.join(map(str, plot.reach_months))}")
        found[key("reach", plot.plot_id)] = ", ".join(reach) or "not stated"
        if plot.bands:
            found[key("setting", f"bands of {plot.plot_id}")] = _words(plot.bands)
    for plot_id, plot_needs in needs_before.items():
        for need in plot_needs.needs:
            found[key("need", f"{plot_id} {need.nutrient.value}")] = figure(need.rate_kg_ha, "kg/ha")
        basis = "" if plot_needs.lime.basis is None else f" {plot_needs.lime.basis.value}"
        found[key("need", f"{plot_id} lime")] = figure(plot_needs.lime.rate_kg_ha, f"kg/ha{basis}")
    for decision in record.decisions:
        if decision.season == record.info.season:
            amount = (
                figure(decision.rate_kg_ha, "kg/ha") if decision.share is None else f"{decision.share:.0%}"
            )
            found[key("decision", f"{decision.plot_id} {decision.supply}")] = amount
    for product in record.products:
        found[key("label", product.product)] = _label(product)
    for offer in record.offers:
        price = "no price" if offer.price is None else f"{offer.price:f}"
        breaks = "".join(f", {price:f} from {count}" for count, price in offer.price_breaks)
        handled = "" if offer.handled is None else f", {offer.handled}"
        found[key("offer", offer.offer_id)] = f"{offer.product}, {offer.package}, {price}{breaks}{handled}"
        if offer.in_stock:
            found[key("stock", f"{offer.product}, {offer.package}")] = f"{offer.in_stock:g}, by the offer"
    for spreader in settings.spreaders:
        loads = (figure(size, "kg") for size in (spreader.hopper_kg, spreader.vehicle_kg))
        sizes = (*loads, figure(spreader.swath_m, "m"), figure(spreader.speed_m_s, "m/s"))
        load = "" if spreader.cost_per_load is None else f", {spreader.cost_per_load} a load"
        found[key("spreader", spreader.name)] = ", ".join(sizes) + load
    for name in _PLANNED_BY:
        found[key("setting", name.replace("_", " "))] = _words(getattr(settings, name))
    for item in dataclasses.fields(WorkRules):
        found[key("setting", item.name.replace("_", " "))] = _words(getattr(settings.work, item.name))
    return found


def _label(product: Product) -> str:
    """What a plan takes from a label: what it supplies, its limits, where and when it may go."""
    held = supplies.supply_fractions(product, tuple(LimeBasis))
    parts = [f"{share:.6g} {supply}" for supply, share in held.items()]
    limits = (("at least", product.min_rate_kg_ha), ("at most", product.max_rate_kg_ha))
    parts += [f"{word} {planning.figure(rate, 'kg/ha')}" for word, rate in limits if rate is not None]
    parts += [*product.equipment, *(timing.value for timing in product.timings)]
    parts += [] if product.bucket_kg is None else [f"{planning.figure(product.bucket_kg, 'kg')} a bucket"]
    return ", ".join(parts) or "not stated"


def _words(value: Any) -> str:
    """A setting as a short text."""
    if isinstance(value, Mapping):
        return "; ".join(f"{name} {_words(held)}" for name, held in sorted(value.items())) or "none"
    if isinstance(value, tuple):
        return ", ".join(map(_words, value)) or "none"
    if dataclasses.is_dataclass(value):
        held = [_words(getattr(value, item.name)) for item in dataclasses.fields(value)]
        return " ".join(word for word in held if word)
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, float):
        return planning.figure(value)
    return "not stated" if value in (None, "") else str(value)


#: Settings that decide what is planned.
_PLANNED_BY = (
    "lime_dose_limit",
    "spreading_cost_per_ha",
    "spreading_cost_per_pass",
    "hauling_cost_per_kg",
    "max_products_per_plot",
    "surplus_limit_fraction",
    "surplus_limit_kg_ha",
    "min_rate_kg_ha",
)


def _since_the_plan(record: PropertyRecord, plan: Plan) -> dict[str, str]:
    """Name what was put on or bought since a plan that it did not ask for."""
    season, start = record.info.season, record.info.settings.season_start
    off = taken_off(plan, record.applications)
    answered = lines_answered(plan, record.applications, season, start, record.plans)
    outside: dict[str, float] = {}
    applied: dict[str, float] = {}
    for entry in season_entries(record.applications, season, start):
        if entry.entry_id in answered:
            line = answered[entry.entry_id]
            applied[line.line_id] = applied.get(line.line_id, 0.0) + entry.mass_kg
        elif entry.entry_id not in off and entry.mass_kg > 0:
            place = f"{entry.plot_id}, {entry.product}"
            outside[place] = outside.get(place, 0.0) + entry.mass_kg
    planned = {line.line_id: line.mass_kg for line in plan.lines}
    places = {line.line_id: f"{line.plot_id}, {line.product}" for line in plan.lines}
    for line_id in planning.over_the_plan(planned, applied, OVER_FRACTION):
        outside[places[line_id]] = applied[line_id] - planned[line_id]
    found = {planning.key("outside", place): planning.figure(kg, "kg") for place, kg in outside.items()}
    wanted: dict[tuple[str, str], float] = {}
    for buy in plan.buy:
        wanted[buy.product, buy.package] = wanted.get((buy.product, buy.package), 0.0) + buy.count
    book = [
        (e.purchase_id, e.product, e.package, -e.count if e.kind is Movement.RETURNED else e.count)
        for e in record.purchases
        if e.kind is not Movement.COUNTED
    ]
    known = _known_purchases(plan)
    return found | dict(planning.bought_outside(wanted, known, book)) | _counted_otherwise(record, known)


def _known_purchases(plan: Plan) -> list[str]:
    """Ids of the purchases a plan knew; plans of schema 3 and before parted them by blanks."""
    text = plan.fingerprint.get(_PURCHASES, "")
    return list(json.loads(text)) if text.startswith("[") else text.split()


def _counted_otherwise(record: PropertyRecord, known: Collection[str]) -> dict[str, str]:
    """Name counts of the shed since the plan that found other than what the book said."""
    found = {}
    for place, entry in enumerate(record.purchases):
        if entry.kind is not Movement.COUNTED or entry.purchase_id in known:
            continue
        used = tuple(one for one in record.applications if one.recorded_at < entry.recorded_at)
        book = dataclasses.replace(record, purchases=record.purchases[:place], applications=used)
        stock = stock_of(book).get(entry.product)
        by_offer = next(
            (o.in_stock for o in record.offers if (o.product, o.package) == (entry.product, entry.package)),
            0.0,
        )
        held = None if stock is None else stock.packages.get(entry.package)
        expected = by_offer if held is None else held[0]
        if abs(entry.count - expected) > max(0.5, (OVER_FRACTION - 1) * expected):
            counted = f"{entry.count:g} counted where {max(0.0, expected):.4g} were looked for"
            found[planning.key("stock", f"{entry.product}, {entry.package}, on {entry.dated}")] = counted
    return found


#: Where a fingerprint keeps the ids of the purchases that were known, and which wording its texts have.
_PURCHASES, _WORDING = "purchases", "wording"
#: Raised when the texts of `stands_on` change for kinds not in `_WORDED_ALIKE`; plans of schema 2 say none.
_WORDED = "2"
#: Kinds whose texts every version wrote alike: all that a plan of another wording can be held against.
_WORDED_ALIKE = tuple(
    planning.key(kind) for kind in ("area", "need", "decision", "offer", "guideline", "season")
)


def aged(
    record: PropertyRecord,
    plan: Plan | None,
    needs_before: Mapping[str, PlotNeeds],
    areas: Mapping[str, PlotArea],
) -> tuple[Aged, ...]:
    """What the plan stood on that is not as it was; carrying it out is no change.

    Parameters
    ----------
    record
        The property.
    plan
        The plan, or None.
    needs_before
        Needs before anything is taken off, by plot_id.
    areas
        By plot_id.

    Returns
    -------
    tuple of Aged
    """
    if plan is None or not plan.fingerprint:
        return ()
    then = {name: text for name, text in plan.fingerprint.items() if name not in (_PURCHASES, _WORDING)}
    now = stands_on(record, needs_before, areas)
    if plan.fingerprint.get(_WORDING) != _WORDED:
        then, now = (
            {name: text for name, text in one.items() if name.startswith(_WORDED_ALIKE)}
            for one in (then, now)
        )
    found = planning.what_aged(then, now | _since_the_plan(record, plan))
    units = record.info.units
    return tuple(_in_units(one, units) for one in found)


#: A figure of a fingerprint and its unit, and how the unit is said.
_FIGURE = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) (kg/ha|kg|m2|m)(?![\w/])")
_SAID = {"kg/ha": format_rate, "kg": format_mass, "m2": format_area, "m": format_length}


def _in_units(aged: Aged, units: str) -> Aged:
    """Say the figures of a fingerprint in the property's units, unless rounding would hide what differs."""
    then, now = (
        _FIGURE.sub(lambda figure: _SAID[figure[2]](read_number(figure[1]), units), text)
        for text in (aged.then, aged.now)
    )
    return aged if then == now else Aged(aged.what, then, now)


def noted_beside(record: PropertyRecord) -> dict[str, str]:
    """Return what a fingerprint notes beside the things stood on: purchases known, and its wording.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    dict of str to str
    """
    known = json.dumps([entry.purchase_id for entry in record.purchases])
    return {_PURCHASES: known, _WORDING: _WORDED}
