"""What ``--json`` prints: values turned into plain dictionaries whose keys carry the unit.

Other programs lean on these shapes, so they change only with a new key, never with another meaning.
Keys say pounds and acres (or m2) whatever ``--units`` says. Money is a number of dollars rounded to
the cent; ``null`` means not tested, not stated or unknown. This file formats; it computes nothing but
the unit of a number.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from enum import Enum
from typing import Any

from loamwright.errors import Problem
from loamwright.land import Plot, PlotArea
from loamwright.needs import LimeNeed, Need, PlotNeeds
from loamwright.planning import (
    Coverage,
    CurvePoint,
    CustomBlend,
    Habit,
    Plan,
    PlanLine,
    Purchase,
    PurchaseList,
    Reasons,
)
from loamwright.supplies import Acidity, LimeOffer, OfferComparison
from loamwright.units import ACRE_M2, LB_ACRE_KG_HA, LB_KG
from loamwright.values import NeedState, Step
from loamwright.work import Application, Caution, LineStatus, Round, SamplingPlan, SeasonView, Story

Json = dict[str, Any]


def _pounds(mass_kg: float | None) -> float | None:
    return None if mass_kg is None else mass_kg / LB_KG


def _lb_acre(rate_kg_ha: float | None) -> float | None:
    return None if rate_kg_ha is None else rate_kg_ha / LB_ACRE_KG_HA


def _dollars(amount: Decimal | None) -> float | None:
    return None if amount is None else float(round(amount, 2))


def plain(value: Any) -> Any:
    """Turn any value of this package into JSON types, field by field, without changing a unit."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        pairs = ((f.name, getattr(value, f.name)) for f in dataclasses.fields(value))
        return {name: plain(v) for name, v in pairs if not isinstance(v, bytes)}
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(v) for key, v in value.items()}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Decimal):
        return _dollars(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(v) for v in value]
    return value


def step(item: Step) -> Json:
    """Return one step with its source spelled out."""
    return {"what": item.what, "value": item.value, "unit": item.unit, "source": str(item.source)}


def steps(items: Iterable[Step]) -> list[Json]:
    """Return the steps as a list."""
    return [step(item) for item in items]


def problems(items: Iterable[Problem]) -> list[Json]:
    """Return problems with where, what, fix and level."""
    return [{"where": p.where, "what": p.what, "fix": p.fix, "level": p.level.value} for p in items]


def questions(items: Iterable[Problem]) -> list[Json]:
    """Return the problems that are questions, with their ids and choices."""
    return [
        {"id": p.question, "where": p.where, "question": p.what, "choices": list(p.choices)}
        for p in items
        if p.question
    ]


def _about(plot: Plot, problem: Problem) -> bool:
    """Tell whether a problem names a plot, by its id as a word or its name in brackets."""
    named = rf"(?<![\w-]){re.escape(plot.plot_id)}(?![\w-])"
    return f"({plot.name})" in problem.where or re.search(named, problem.where) is not None


def measured(plots: Iterable[Plot], areas: Mapping[str, PlotArea], found: Iterable[Problem]) -> Json:
    """Return the shape of ``measure FILE --json``."""
    found = list(found)
    rows: list[Json] = []
    measured_areas = []
    for plot in plots:
        area = areas[plot.plot_id]
        measured_areas.append(area)
        rows.append(
            {
                "plot_id": plot.plot_id,
                "name": plot.name,
                "area_m2": area.area_m2,
                "area_acres": area.area_m2 / ACRE_M2,
                "area_se_m2": area.area_se_m2,
                "spread_area_m2": area.spread_area_m2,
                "spread_area_acres": area.spread_area_m2 / ACRE_M2,
                "perimeter_m": area.perimeter_m,
                "parts": area.parts,
                "holes": area.holes,
                "missing_setbacks": list(area.missing_setbacks),
                "steps": steps(area.steps),
                "problems": problems(p for p in found if _about(plot, p)),
            }
        )
    return {
        "plots": rows,
        "total_area_m2": sum(area.area_m2 for area in measured_areas),
        "total_spread_area_m2": sum(area.spread_area_m2 for area in measured_areas),
        "problems": problems(found),
    }


def _need(need: Need) -> Json:
    return {
        "nutrient": need.nutrient.value,
        "state": need.state.value,
        "reason": need.reason,
        "gross_lb_per_acre": _lb_acre(need.gross_kg_ha),
        "lb_per_acre": _lb_acre(need.rate_kg_ha),
        "lb": _pounds(need.mass_kg),
        "assumed": need.assumed,
        "credits": [
            {"what": c.what, "lb_per_acre": _lb_acre(c.rate_kg_ha), "source": str(c.source)}
            for c in need.credits
        ],
        "timings": [{"timing": timing.value, "share": share} for timing, share in need.timings],
        "steps": steps(need.steps),
    }


def _lime(lime: LimeNeed) -> Json:
    return {
        "state": lime.state.value,
        "reason": lime.reason,
        "basis": None if lime.basis is None else lime.basis.value,
        "lb_per_acre": _lb_acre(lime.rate_kg_ha),
        "lb": _pounds(lime.mass_kg),
        "target_ph": lime.target_ph,
        "dolomitic": lime.dolomitic,
        "steps": steps(lime.steps),
    }


def plot_needs(plot: PlotNeeds) -> Json:
    """Return one plot's needs: a list per nutrient, and lime."""
    return {
        "plot_id": plot.plot_id,
        "needs": [_need(need) for need in plot.needs],
        "lime": _lime(plot.lime),
        "problems": problems(plot.problems),
    }


def needs(view: SeasonView) -> Json:
    """Return the shape of ``needs PROPERTY --json``."""
    return {
        "season": view.record.info.season,
        "plots": [plot_needs(view.needs[plot.plot_id]) for plot in view.record.plots],
        "problems": problems(view.problems),
    }


def offer(item: OfferComparison) -> Json:
    """Return one compared offer."""
    best: LimeOffer | None = item.lime[0] if item.lime else None
    return {
        "offer_id": item.offer.offer_id,
        "product": item.offer.product,
        "package": item.offer.package,
        "seller": item.offer.seller,
        "price": _dollars(item.offer.price),
        "package_lb": _pounds(item.offer.package_kg),
        "nutrients_lb": {n.value: _pounds(kg) for n, kg in item.nutrients_kg.items()},
        "price_per_lb": {n.value: price * LB_KG for n, price in item.price_per_kg.items()},
        "effective_lime_lb": None if best is None else _pounds(best.effective_kg),
        "effective_lime_basis": None if best is None else best.basis.value,
        "price_per_effective_ton": None if best is None else best.price_per_effective_ton,
        "steps": steps(item.steps),
    }


def caution(item: Caution) -> Json:
    """Return one caution with its source and who has the last word."""
    return {**plain(item), "source": str(item.source)}


def _line(line: PlanLine) -> Json:
    return {
        "line_id": line.line_id,
        "plot_id": line.plot_id,
        "product": line.product,
        "rate_lb_per_acre": _lb_acre(line.rate_kg_ha),
        "mass_lb": _pounds(line.mass_kg),
        "packages": line.packages,
        "package": line.package,
        "timing": None if line.timing is None else line.timing.value,
        "steps": steps(line.steps),
    }


def _purchase(item: Purchase) -> Json:
    return {
        "offer_id": item.offer_id,
        "product": item.product,
        "package": item.package,
        "seller": item.seller,
        "count": item.count,
        "from_stock": item.from_stock,
        "unit_price": _dollars(item.unit_price),
        "cost": _dollars(item.cost),
        "left_over_lb": _pounds(item.left_over_kg),
        "timing": None if item.timing is None else item.timing.value,
    }


def plan(made: Plan, cautions: Iterable[Caution], found: Iterable[Problem]) -> Json:
    """Return the shape of ``plan PROPERTY --json``."""
    return {
        "plan_id": made.plan_id,
        "season": made.season,
        "outcome": made.outcome.value,
        "gap": made.gap,
        "cost": {
            "purchase": _dollars(made.purchase_cost + made.delivery_cost),
            "delivery": _dollars(made.delivery_cost),
            "spreading": _dollars(made.spreading_cost),
            "total": _dollars(made.total_cost),
        },
        "lines": [_line(line) for line in made.lines],
        "buy": [_purchase(item) for item in made.buy],
        "coverage": [_coverage(row) for row in made.coverage],
        "plot_costs": {plot_id: _dollars(cost) for plot_id, cost in made.plot_costs.items()},
        "explanation": list(made.explanation),
        "cautions": [caution(item) for item in cautions],
        "problems": problems((*made.problems, *found)),
    }


def status_row(row: LineStatus) -> Json:
    """Return planned against applied for one line."""
    return {
        "plot_id": row.plot_id,
        "product": row.product,
        "timing": None if row.timing is None else row.timing.value,
        "line_id": row.line_id,
        "planned_lb": _pounds(row.planned_kg),
        "applied_lb": _pounds(row.applied_kg),
        "state": row.state.value,
        "reasons": list(row.reasons),
    }


def status(view: SeasonView) -> Json:
    """Return the shape of ``status PROPERTY --json``."""
    return {
        "season": view.record.info.season,
        "plan_made_before": [str(aged) for aged in view.aged],
        "lines": [status_row(row) for row in view.statuses],
        "balance": [
            {
                "plot_id": row.plot_id,
                "nutrient": row.supply,
                "need_lb": _pounds(row.need_kg),
                "applied_lb": _pounds(row.applied_kg),
                "left_lb": None if row.need_kg is None else _pounds(max(row.need_kg - row.applied_kg, 0.0)),
            }
            for row in view.balances
        ],
        "problems": problems(view.problems),
    }


def entry(item: Application) -> Json:
    """Return one record entry, its mass in pounds beside the kilograms."""
    return {**plain(item), "mass_lb": _pounds(item.mass_kg)}


def rounds(items: Iterable[Round]) -> list[Json]:
    """Return rounds with pounds at every stop."""
    return [
        {
            "round_id": item.round_id,
            "title": item.title,
            "product": item.product,
            "timing": None if item.timing is None else item.timing.value,
            "spreader": item.spreader,
            "loads": item.loads,
            "trips": item.trips,
            "last_load_lb": _pounds(item.last_load_kg),
            "hours": item.hours,
            "stops": [
                {
                    "plot_id": stop.plot_id,
                    "line_id": stop.line_id,
                    "mass_lb": _pounds(stop.mass_kg),
                    "rate_lb_per_acre": _lb_acre(stop.rate_kg_ha),
                    "packages": stop.packages,
                    "package": stop.package,
                    "load": stop.load,
                    "left_on_vehicle_lb": _pounds(stop.left_on_vehicle_kg),
                }
                for stop in item.stops
            ],
            "steps": steps(item.steps),
        }
        for item in items
    ]


def sampling(items: Iterable[SamplingPlan]) -> list[Json]:
    """Return sampling plans with core places as longitude, latitude."""
    return [{**plain(item), "steps": steps(item.steps)} for item in items]


def story(item: Story) -> Json:
    """Return everything behind the numbers of one plot."""
    return {
        "plot_id": item.plot.plot_id,
        "name": item.plot.name,
        "crop": None if item.cropping is None else item.cropping.crop,
        "area": {
            "area_acres": item.area.area_m2 / ACRE_M2,
            "spread_area_acres": item.area.spread_area_m2 / ACRE_M2,
            "steps": steps(item.area.steps),
        },
        "needs": [_need(need) for need in item.needs],
        "lime": None if item.lime is None else _lime(item.lime),
        "lines": [_line(line) for line in item.lines],
        "buy": [_purchase(purchase) for purchase in item.purchases],
        "cautions": [caution(one) for one in item.cautions],
    }


def purchase_list(item: PurchaseList) -> Json:
    """Return what to have bought before one timing."""
    return {
        "timing": None if item.timing is None else item.timing.value,
        "buy": [_purchase(purchase) for purchase in item.buy],
    }


def _per_lb(price_per_kg: float | None) -> float | None:
    return None if price_per_kg is None else price_per_kg * LB_KG


def reasons(found: Reasons) -> Json:
    """Return why the plan is what it is; prices by the pound, packages at their price."""
    return {
        "summary": list(found.summary),
        "nutrients": [
            {
                "nutrient": item.supply,
                "need_lb": _pounds(item.need_kg),
                "price_per_lb": _per_lb(item.price_per_kg),
                "price_in_packages_per_lb": _per_lb(item.price_in_packages_per_kg),
                "saved_without": _dollars(item.without),
                "added_for_a_tenth_more": _dollars(item.more),
                "certain_to": _dollars(item.certain_to),
                "text": item.text,
            }
            for item in found.nutrients
        ],
        "offers_not_bought": [plain(item) for item in found.entries],
        "price_ranges": [plain(item) for item in found.ranges],
        "plots": [{"plot_id": item.plot_id, "cost": _dollars(item.cost)} for item in found.plots],
    }


def _coverage(row: Coverage) -> Json:
    return {
        "plot_id": row.plot_id,
        "nutrient": row.supply,
        "need_lb": _pounds(row.need_kg),
        "supplied_lb": _pounds(row.supplied_kg),
    }


def habit(item: Habit) -> Json:
    """Return one habit, costed, with its shortages and surpluses."""
    return {
        "name": item.name,
        "how": item.how,
        "cost": _dollars(item.plan.total_cost),
        "covered": item.covered,
        "short": [_coverage(row) for row in item.short],
        "surplus": [_coverage(row) for row in item.surplus],
        "broken": list(item.broken),
        "beside": item.beside,
    }


def curve_point(point: CurvePoint) -> Json:
    """Return one point of the budget curve."""
    return {
        "budget": _dollars(point.budget),
        "cost": _dollars(point.cost),
        "covered": point.covered,
        "gap": point.gap,
        "packages": point.packages,
    }


def custom_blend(found: CustomBlend) -> Json:
    """Return a blend to have made: recipe, grade, cost with and without it."""
    return {
        "grade": found.grade,
        "recipe": [{"product": product, "share": share} for product, share in found.recipe],
        "plots": list(found.group),
        "left_out": [{"plot_id": plot_id, "why": why} for plot_id, why in found.left_out],
        "ordered": found.ordered,
        "cost_with": _dollars(found.plan.total_cost),
        "cost_without": _dollars(found.without.total_cost),
        "text": list(found.text),
        "steps": steps(found.steps),
    }


def acidity(item: Acidity) -> Json:
    """Return how much lime nitrogen uses up, as pounds of pure CaCO3."""
    return {
        "caco3_lb_published": _pounds(item.published_kg),
        "caco3_lb_ceiling": _pounds(item.ceiling_kg),
        "left_out": list(item.left_out),
        "steps": steps(item.steps),
    }


def unknown(view: SeasonView) -> list[Json]:
    """List the needs nothing was planned for because they are unknown, with the reason."""
    rows: list[Json] = []
    for plot in view.needs.values():
        every: tuple[tuple[str, Need | LimeNeed], ...] = (
            *((need.nutrient.value, need) for need in plot.needs),
            ("lime", plot.lime),
        )
        rows.extend(
            {"plot_id": plot.plot_id, "nutrient": name, "reason": need.reason}
            for name, need in every
            if need.state is NeedState.UNKNOWN
        )
    return rows
