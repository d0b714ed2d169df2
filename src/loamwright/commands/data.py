"""What ``--json`` prints: one walk over any record, whose fields carry their unit in their names.

Other programs lean on these shapes, so they change only with a new key, never with another meaning. Keys
say pounds and acres whatever ``--units`` says; money is in the property's currency, which stands on top as
``currency`` (a sheet that is only read names its own, or none), and rounded to the cent, while prices per
pound and worths are ratios and are not rounded; ``null`` means not tested, not stated, not asked or unknown.
This file formats; it computes nothing but the unit of a number.

A key is the name of its field. Where it is another, or stands for no field, the tables below say so.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from decimal import Decimal
from enum import Enum
from pathlib import Path
from types import MappingProxyType
from typing import Any

from loamwright.commands.buy_text import LABEL_WINS
from loamwright.commands.results import (
    CropsAsked,
    EditionChecked,
    FilesMade,
    Materials,
    OffersCompared,
    PlanMade,
    ReasonsGiven,
    SeasonNeeds,
    SeasonStatus,
    SheetRead,
)
from loamwright.errors import Problem
from loamwright.files import LargeMeasured, Measured, as_data
from loamwright.land import PlotArea, Shape
from loamwright.needs import Credit, LimeNeed, Need, PlotNeeds
from loamwright.planning import (
    Coverage,
    CurvePoint,
    CustomBlend,
    Habit,
    Job,
    NutrientReason,
    Plan,
    PlotCost,
    Reasons,
    StillShort,
    Window,
)
from loamwright.season import Season
from loamwright.supplies import (
    Acidity,
    AmountNeeded,
    BreakEven,
    DeliveredCost,
    KnownMaterial,
    LimeAnswer,
    LimeDoses,
    LimeOffer,
    LimeScore,
    Mixture,
    Offer,
    OfferComparison,
    Reference,
    SeedAnswer,
    Valued,
)
from loamwright.units import ACRE_M2, FT_M, GAL_M3, HA_M2, LB_ACRE_KG_HA, LB_GAL_KG_M3, LB_KG, MILE_M
from loamwright.upkeep import Demo
from loamwright.values import NeedState, Reckoned, Source
from loamwright.work import (
    Application,
    Balance,
    Calibration,
    PlotHistory,
    Projection,
    Recorded,
    SeasonView,
    Story,
    planned_open,
    totals_of,
)

Json = dict[str, Any]

#: How a field's name ends, how its key does, and the figure: times this, over that.
UNITS = (
    ("_per_kg", "_per_lb", LB_KG, 1.0),
    ("_per_ha", "_per_acre", ACRE_M2, HA_M2),
    ("_kg_ha", "_lb_per_acre", 1.0, LB_ACRE_KG_HA),
    ("bulk_kg_m3", "bulk_lb_per_ft3", FT_M**3, LB_KG),
    ("_kg_m3", "_lb_per_gal", 1.0, LB_GAL_KG_M3),
    ("_kg", "_lb", 1.0, LB_KG),
    ("_m3_ha", "_gal_per_acre", ACRE_M2, HA_M2 * GAL_M3),
    ("_m2_h", "_acres_per_hour", 1.0, ACRE_M2),
    ("_m2", "_acres", 1.0, ACRE_M2),
    ("_m", "_ft", 1.0, FT_M),
    ("_m_s", "_mph", 3600.0, MILE_M),
)

#: Printed as they are kept, in SI, and in pounds and acres beside it, each source in its parts.
AS_KEPT = (Application, Calibration, PlotHistory, Projection)


#: A word of a key whose figure is money.
_MONEY = re.compile(
    r"(?:^|_)(?:price|cost|costs|worth|charge|paid|fee|budget|spent|goods|delivery|difference)(?:_|$)"
)


def tells_money(value: Any, key: str = "") -> bool:
    """Tell whether JSON holds an amount of money, by its keys; what comes as an iterator holds none."""
    if isinstance(value, Mapping):
        return any(tells_money(item, str(name)) for name, item in value.items())
    if isinstance(value, list):
        return any(tells_money(item, key) for item in value)
    return isinstance(value, int | float) and not isinstance(value, bool) and bool(_MONEY.search(key))


def of(value: Any) -> Any:
    """Turn any value of this package into JSON types, amounts in pounds and acres."""
    return _plain(value, _us)


def as_kept(value: Any) -> Any:
    """Turn any value of this package into JSON types, amounts as kept and in pounds and acres."""
    return _plain(value, _si)


def _plain(value: Any, record: Callable[[Any], Json]) -> Any:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Decimal):
        return float(round(value, 2))
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, Source) and record is _us:
        return str(value)
    if is_dataclass(value):
        return record(value)
    if isinstance(value, Mapping):
        return {str(_plain(key, record)): _plain(item, record) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(item, record) for item in value]
    return value


def _pairs(record: Any) -> Iterator[tuple[str, Any]]:
    """The fields of a record; shapes are left out."""
    for field in fields(record):
        value = getattr(record, field.name)
        if not isinstance(value, Shape):
            yield field.name, value


def _si(record: Any) -> Json:
    kept = {name: as_kept(value) for name, value in _pairs(record)}
    return kept | _named((name, value) for name, value in _pairs(record) if _unit_of(name))


def _us(record: Any) -> Json:
    kind = type(record)
    if kind in SPECIAL:
        return {key: of(value) for key, value in SPECIAL[kind](record).items()}
    more = _named(MORE[kind](record).items()) if kind in MORE else {}
    if kind in AS_KEPT:
        return _si(record) | more
    return _named(_pairs(record), KEYS.get(kind, {})) | more


def _named(pairs: Iterable[tuple[str, Any]], keys: Mapping[str, str | None] = MappingProxyType({})) -> Json:
    """Give each field its key, and an amount the unit its key says."""
    found = {}
    for name, value in pairs:
        ending = _unit_of(name)
        key = keys.get(name, name if ending is None else name.removesuffix(ending[0]) + ending[1])
        if key is not None:
            found[key] = of(value) if ending is None else _in_unit(value, *ending[2:])
    return found


def _unit_of(name: str) -> tuple[str, str, float, float] | None:
    """The row of `UNITS` that the name of a field ends in."""
    return next((row for row in UNITS if name.endswith(row[0])), None)


def _in_unit(value: Any, times: float, over: float) -> Any:
    if isinstance(value, Mapping):
        return {str(of(key)): _in_unit(item, times, over) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [_in_unit(item, times, over) for item in value]
    return None if value is None else float(value) * times / over


# ---------------------------------------------------------------------------------------------
# Where a key is not the name of its field


def _only(kind: type, **kept: str) -> Mapping[str, str | None]:
    """Leave out every field that is not named."""
    return {field.name: kept.get(field.name) for field in fields(kind)}


def _without(*names: str, **others: str) -> Mapping[str, str | None]:
    """Leave out these fields; others have another key."""
    return {**dict.fromkeys(names), **others}


#: Field to key; None = left out.
KEYS: Mapping[type, Mapping[str, str | None]] = {
    # needs
    Need: _without("plot_id", "timings", rate_kg_ha="lb_per_acre", mass_kg="lb"),
    LimeNeed: _without("plot_id", "depth_m", rate_kg_ha="lb_per_acre", mass_kg="lb"),
    Credit: {"rate_kg_ha": "lb_per_acre"},
    PlotArea: _only(PlotArea, area_m2="area_acres", spread_area_m2="spread_area_acres", steps="steps"),
    Story: _without("plot", "cropping", "made_before", purchases="buy"),
    # plan
    Coverage: {"supply": "nutrient"},
    Plan: _without(
        *("purchase_cost", "delivery_cost", "spreading_cost", "filling_cost", "handling_cost"),
        *("made_at", "reason", "counted_entries", "problems"),
    ),
    Job: _without("line_ids"),
    Window: {"opens": "from", "closes": "to"},
    StillShort: {"supply": "nutrient"},
    Reasons: {"entries": "offers_not_bought", "ranges": "price_ranges"},
    NutrientReason: _without(
        "more_kg", supply="nutrient", without="saved_without", more="added_for_a_tenth_more"
    ),
    PlotCost: _without("cost_per_ha"),
    Habit: _without("plan"),
    CurvePoint: _without("plan"),
    CustomBlend: _without(
        "ware", "offer", "recipe", "left_out", "cost_bound", "plan", "without", group="plots"
    ),
    # record
    Balance: {"supply": "nutrient"},
    Acidity: {"published_kg": "caco3_lb_published", "ceiling_kg": "caco3_lb_ceiling"},
    # store
    Offer: _only(
        Offer, offer_id="offer_id", product="product", package="package", seller="seller", price="price"
    ),
    OffersCompared: _without("with_steps"),
    OfferComparison: _without("offer", "lime"),
    Reference: _without("steps", supply="nutrient"),
    BreakEven: {"supply": "nutrient", "reference": "against", "price": "break_even_price"},
    Valued: _without("needed", "held_kg", "references", "parts", "after_credits", total="worth"),
    AmountNeeded: _without("label", "packages", supply="rate_of"),
    DeliveredCost: _without(
        *("product_kg_ha", "product_kg", "packages", "steps"),
        cost_per_ha="total_per_acre",
        cost_per_kg="total_per_lb",
    ),
    Mixture: _without("blend"),
    KnownMaterial: _without("product"),
    SeedAnswer: _without(
        "lot",
        pls_price_per_kg="price_per_lb_pure_live_seed",
        pls_rate_kg_ha="pure_live_seed_lb_per_acre",
        bulk_rate_kg_ha="bulk_lb_per_acre",
    ),
    LimeAnswer: _without("label", "offers", "magnesium"),
    LimeScore: _without("fraction", "steps"),
    LimeOffer: _without("steps", effective_kg="lb"),
    LimeDoses: _without("limit", "owed_kg_ha", "steps", rates_kg_ha="lb_per_acre"),
    # files
    FilesMade: _without("about"),
    EditionChecked: _without("file"),
}


def _job(job: Job, plan: Plan) -> Json:
    """A trip with the products of its load."""
    load = [line for line in plan.lines if line.line_id in job.line_ids]
    products = [
        {
            "line_id": line.line_id,
            "product": line.product,
            "mass_lb": line.mass_kg / LB_KG,
            "packages": line.packages,
            "package": line.package,
        }
        for line in load
    ]
    return {**of(job), "part": job.part or None, "products": products}


def _lines(plan: Plan) -> list[Json]:
    """The products of the jobs, each with when and how its job is done."""
    jobs = {line: job for job in plan.jobs for line in job.line_ids}
    rows = []
    for line in plan.lines:
        job = jobs.get(line.line_id)
        told = {
            "window": None if job is None else job.window,
            "placement": "" if job is None else job.placement,
            "part": None if job is None else job.part or None,
        }
        rows.append({**of(line), **told})
    return rows


def _offer_compared(row: OfferComparison) -> Json:
    best = row.lime[0] if row.lime else None
    return {
        **of(row.offer),
        "package_kg": row.offer.package_kg,
        "effective_lime_kg": None if best is None else best.effective_kg,
        "effective_lime_basis": None if best is None else best.basis,
        "price_per_effective_ton": None if best is None else best.price_per_effective_ton,
    }


def _valued(found: Valued) -> Json:
    return {
        "needed": [
            {
                "nutrient": supply,
                "lb": found.held_kg[supply] / LB_KG if supply in found.held_kg else None,
                "reference": found.references.get(supply),
                "worth": found.parts.get(supply),
                "price_per_lb_after_credits": found.after_credits[supply] * LB_KG
                if supply in found.after_credits
                else None,
            }
            for supply in found.needed
        ]
    }


def _material(item: KnownMaterial) -> Json:
    product = item.product
    return {
        "material": product.product,
        "form": product.form,
        "analysis_pct": product.analysis_pct,
        "nitrogen_forms_pct": product.nitrogen_forms_pct,
        "contains": product.contains,
        "density_lb_per_gal": None if product.density_kg_m3 is None else product.density_kg_m3 / LB_GAL_KG_M3,
    }


def _mixture(found: Mixture) -> Json:
    made = found.blend
    return {
        "parts": [{"product": label.product, "lb": mass_kg / LB_KG} for label, mass_kg in made.parts],
        "filler_kg": made.filler_kg,
        "total_kg": made.mass_kg,
        "grade": made.grade,
        "analysis_pct": made.analysis_pct,
        "steps": made.steps,
    }


#: What is printed beside the fields, in SI where the name says so.
MORE: Mapping[type, Callable[[Any], Json]] = {
    Need: lambda need: {"timings": [{"timing": timing, "share": share} for timing, share in need.timings]},
    Story: lambda story: {
        "plot_id": story.plot.plot_id,
        "name": story.plot.name,
        "plan_made_before": [str(aged) for aged in story.made_before],
        "crop": None if story.cropping is None else story.cropping.crop,
    },
    Plan: lambda plan: {
        "cost": {
            "purchase": plan.purchase_cost + plan.delivery_cost,
            "delivery": plan.delivery_cost,
            "spreading": plan.spreading_cost,
            "filling": plan.filling_cost,
            "handling": plan.handling_cost,
            "hours": plan.hours,
            "total": plan.total_cost,
        },
        "jobs": [_job(job, plan) for job in plan.jobs],
        "lines": _lines(plan),
    },
    Habit: lambda habit: {"cost": habit.plan.total_cost},
    CustomBlend: lambda found: {
        "recipe": [{"product": product, "share": share} for product, share in found.recipe],
        "left_out": [{"plot_id": plot_id, "why": why} for plot_id, why in found.left_out],
        "cost_with": found.plan.total_cost,
        "cost_without": found.without.total_cost,
    },
    Balance: lambda row: {"left_kg": None if row.need_kg is None else max(row.need_kg - row.applied_kg, 0.0)},
    Application: lambda entry: {"mass_kg": entry.mass_kg},
    OfferComparison: _offer_compared,
    Valued: _valued,
    AmountNeeded: lambda found: {
        "packages_exact": found.packages.exact,
        "packages": found.packages.count,
        "left_over_kg": found.packages.left_over_kg,
    },
    DeliveredCost: lambda cost: {"total": cost.total},
    Mixture: _mixture,
    Materials: lambda _found: {"note": LABEL_WINS},
    KnownMaterial: _material,
    SeedAnswer: lambda found: {
        "pure_live_seed_pct": found.lot.pls_fraction * 100,
        "bulk_lb_per_lb_pure_live_seed": found.lot.bulk_per_pls,
    },
    LimeAnswer: lambda found: {
        "product": found.label.product,
        "offers": [{**of(offer), "effective": entries} for offer, entries in found.offers],
    },
    LimeScore: lambda score: {"lb_per_ton": None if score.fraction is None else score.fraction * 2000},
    LimeDoses: lambda doses: {"rule": doses.limit.limit_id, "source": doses.limit.source},
}


# ---------------------------------------------------------------------------------------------
# Special shapes


def _measured(found: Measured | LargeMeasured) -> Json:
    """The plots of a large file come as an iterator, so that they need not all be held."""
    rows = _measured_rows(found)
    total = sum(area.area_m2 for _, area in found.rows())
    spread = sum(area.spread_area_m2 for _, area in found.rows())
    return {
        "plots": map(of, rows) if isinstance(found, LargeMeasured) else list(rows),
        "total_area_m2": total,
        "total_area_acres": total / ACRE_M2,
        "total_spread_area_m2": spread,
        "total_spread_area_acres": spread / ACRE_M2,
        "unplaced": [area.plot_id for _, area in getattr(found, "unplaced", ())],
        "problems": found.problems,
    }


def _measured_rows(found: Measured | LargeMeasured) -> Iterator[Json]:
    about = _about(found)
    for name, area in found.rows():
        yield {
            "plot_id": area.plot_id,
            "name": name,
            "area_m2": area.area_m2,
            "area_acres": area.area_m2 / ACRE_M2,
            "area_se_m2": area.area_se_m2,
            "area_se_acres": None if area.area_se_m2 is None else area.area_se_m2 / ACRE_M2,
            "spread_area_m2": area.spread_area_m2,
            "spread_area_acres": area.spread_area_m2 / ACRE_M2,
            "perimeter_m": area.perimeter_m or None,
            "perimeter_ft": area.perimeter_m / FT_M or None,
            "parts": area.parts,
            "holes": area.holes,
            "missing_setbacks": list(area.missing_setbacks),
            "steps": area.steps,
            "problems": about.get(area.plot_id, ()),
        }


def _about(found: Measured | LargeMeasured) -> dict[str, list[Problem]]:
    """Return the problems that name a plot, by its id as a word or its name in brackets."""
    if not found.problems:
        return {}
    named: dict[str, list[str]] = {}
    ids = set()
    for name, area in found.rows():
        ids.add(area.plot_id)
        named.setdefault(name, []).append(area.plot_id)
    about: dict[str, list[Problem]] = {}
    for problem in found.problems:
        where = problem.where
        starts = [match.start() for match in re.finditer(r"(?<![\w-])", where)]
        ends = [match.start() for match in re.finditer(r"(?![\w-])", where)]
        hits = ids.intersection(where[start:end] for start in starts for end in ends)
        opened = [match.end() for match in re.finditer(r"\(", where)]
        closed = [match.start() for match in re.finditer(r"\)", where)]
        for name in {where[start:end] for start in opened for end in closed}:
            hits.update(named.get(name, ()))
        for plot_id in hits:
            about.setdefault(plot_id, []).append(problem)
    return about


def _needs(found: SeasonNeeds) -> Json:
    view = found.view
    return {
        "season": view.record.info.season,
        "plots": [view.needs[plot.plot_id] for plot in view.record.plots],
        "problems": view.problems,
    }


def _unknown(needs: Iterable[PlotNeeds]) -> list[Json]:
    """The needs nothing was planned for because they are unknown, with the reason."""
    rows: list[Json] = []
    for plot in needs:
        named: list[tuple[str, Need | LimeNeed]] = [(need.nutrient.value, need) for need in plot.needs]
        rows.extend(
            {"plot_id": plot.plot_id, "nutrient": name, "reason": need.reason}
            for name, need in (*named, ("lime", plot.lime))
            if need.state is NeedState.UNKNOWN
        )
    return rows


def _plan(plan: Plan, view: Season) -> Json:
    decided, with_open = totals_of(plan.total_cost, view.choices, planned_open(plan, view.choices))
    money = {
        "currency": view.record.info.currency,
        "totals": {"decided": decided, "with_open": with_open},
    }
    return {**of(plan), **money, "cautions": view.cautions, "problems": (*plan.problems, *view.problems)}


def _status(view: SeasonView) -> Json:
    return {
        "season": view.record.info.season,
        "plan_made_before": [str(aged) for aged in view.aged or ()],
        "lines": view.statuses,
        "balance": view.balances,
        "problems": view.problems,
    }


def questions(problems: Iterable[Problem]) -> list[Json]:
    """Return the problems that are questions, with their ids and choices."""
    return [
        {"id": p.question, "where": p.where, "question": p.what, "choices": list(p.choices)}
        for p in problems
        if p.question
    ]


#: Answers whose shape is their own.
SPECIAL: Mapping[type, Callable[[Any], Json]] = {
    Problem: lambda p: {"where": p.where, "what": p.what, "fix": p.fix, "level": p.level},
    LargeMeasured: _measured,
    Measured: _measured,
    SeasonNeeds: _needs,
    PlanMade: lambda made: {
        **_plan(made.plan, made.view),
        "purchase_lists": made.purchase_lists,
        "ground_rules": made.ground_rules,
        "unknown": _unknown(made.view.needs.values()),
    },
    ReasonsGiven: lambda given: {
        **({} if given.reasons is None else of(given.reasons)),
        **(
            {}
            if given.close_calls is None
            else {"close_calls": given.close_calls, "not_compared": given.not_compared}
        ),
    },
    SeasonStatus: lambda found: {
        **_status(found.view),
        "lime_doses": found.lime_doses,
        "acidity": found.acidity,
    },
    CropsAsked: lambda asked: {
        "crops": asked.found.listed,
        "parts": asked.found.parts,
        "near": asked.found.near,
    },
    Recorded: lambda found: {
        "new": found.new,
        "already_there": [entry.entry_id for entry in found.already_there],
        "conflicts": found.conflicts,
        "status": _status(found.view),
        "problems": found.problems,
        "receipt": found.receipt or None,
    },
    SheetRead: lambda found: as_data(found.contents),
    Reckoned: lambda found: {
        **_named(found.figures.items(), {"length_m": "length_ft", "side_m": "side_ft"}),
        **{
            key: found.figures[name] / FT_M
            for name, key in (("length_m", "length_ft"), ("side_m", "side_ft"))
            if name in found.figures
        },
        "said": found.said,
        "steps": found.steps,
    },
    Demo: lambda made: {
        "files": made.files,
        "plan": None if made.view.plan is None else _plan(made.view.plan, made.view),
    },
}
