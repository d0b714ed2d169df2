"""What a plan stands on, said in short texts, and what of it has changed since.

This file answers "what would make this plan old?". The comparison is `planning.what_aged`; here stands what
is compared: areas, needs, decisions, reach, offers, spreaders, settings, editions, and what was put on or
bought that the plan did not ask for.
"""

from __future__ import annotations

from collections.abc import Mapping

from loamwright import planning
from loamwright.land import PlotArea
from loamwright.needs import PlotNeeds
from loamwright.planning import Aged, Plan
from loamwright.supplies import Movement
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
        found[key("reach", plot.plot_id)] = ", ".join([*reach, plot.access]).strip(", ") or "not stated"
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
    for offer in record.offers:
        price = "no price" if offer.price is None else f"{offer.price:f}"
        breaks = "".join(f", {price:f} from {count}" for count, price in offer.price_breaks)
        found[key("offer", offer.offer_id)] = f"{offer.product}, {offer.package}, {price}{breaks}"
    for spreader in settings.spreaders:
        sizes = (spreader.hopper_kg, spreader.vehicle_kg, spreader.swath_m, spreader.speed_m_s)
        load = "" if spreader.cost_per_load is None else f", {spreader.cost_per_load} a load"
        found[key("spreader", spreader.name)] = ", ".join(figure(size) for size in sizes) + load
    for name in _PLANNED_BY:
        found[key("setting", name)] = str(getattr(settings, name))
    return found


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
    "work",
)


def _since_the_plan(record: PropertyRecord, plan: Plan) -> dict[str, str]:
    """Name what was put on or bought since a plan that it did not ask for."""
    season, start = record.info.season, record.info.settings.season_start
    off = taken_off(plan, record.applications)
    answered = lines_answered(plan, record.applications, season, start)
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
    known = plan.fingerprint.get(_PURCHASES, "").split()
    return found | dict(planning.bought_outside(wanted, known, book))


#: Where a fingerprint keeps the ids of the purchases that were known.
_PURCHASES = "purchases"


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
    then = {name: text for name, text in plan.fingerprint.items() if name != _PURCHASES}
    now = stands_on(record, needs_before, areas)
    return planning.what_aged(then, now | _since_the_plan(record, plan))


def known_purchases(record: PropertyRecord) -> dict[str, str]:
    """Return the entry of a fingerprint that names the purchases known when a plan is made.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    dict of str to str
    """
    return {_PURCHASES: " ".join(entry.purchase_id for entry in record.purchases)}
