"""What ``--json`` prints of the answers of `shopping`: plain dictionaries whose keys carry the unit.

The rules are those of `data`: pounds, acres and dollars whatever ``--units`` says; ``null`` means not
stated, not asked or unknown. Prices per pound and worths are ratios and are not rounded.
"""

from __future__ import annotations

from collections.abc import Iterable

from loamwright.commands.data import Json, plain, problems, steps
from loamwright.errors import Problem
from loamwright.supplies import (
    AmountNeeded,
    BreakEven,
    KnownMaterial,
    LimeAnswer,
    Mixture,
    Offer,
    Reference,
    SeedAnswer,
    Valued,
)
from loamwright.units import ACRE_M2, HA_M2, LB_ACRE_KG_HA, LB_GAL_KG_M3, LB_KG


def _offer(offer: Offer) -> Json:
    return {
        "offer_id": offer.offer_id,
        "product": offer.product,
        "package": offer.package,
        "seller": offer.seller,
        "price": plain(offer.price),
    }


def _per_lb(price_per_kg: float | None) -> float | None:
    return None if price_per_kg is None else price_per_kg * LB_KG


def _lb_acre(rate_kg_ha: float | None) -> float | None:
    return None if rate_kg_ha is None else rate_kg_ha / LB_ACRE_KG_HA


def _reference(found: Reference) -> Json:
    return {
        "nutrient": found.supply,
        "price_per_lb": _per_lb(found.price_per_kg),
        "offer": None if found.offer is None else _offer(found.offer),
    }


def break_even(found: BreakEven) -> Json:
    """Return the shape of ``buy break-even --json``."""
    return {
        "offer": _offer(found.offer),
        "nutrient": found.supply,
        "against": _reference(found.reference),
        "break_even_price": found.price,
        "steps": steps(found.steps),
        "problems": problems(found.problems),
    }


def value(found: Valued) -> Json:
    """Return the shape of ``buy value --json``."""
    return {
        "offer": _offer(found.offer),
        "needed": [
            {
                "nutrient": supply,
                "lb": found.held_kg[supply] / LB_KG if supply in found.held_kg else None,
                "reference": _reference(found.references[supply]) if supply in found.references else None,
                "worth": found.parts.get(supply),
                "price_per_lb_after_credits": _per_lb(found.after_credits.get(supply)),
            }
            for supply in found.needed
        ],
        "worth": found.total,
        "steps": steps(found.steps),
        "problems": problems(found.problems),
    }


def amount(found: AmountNeeded, noted: Iterable[Problem]) -> Json:
    """Return the shape of ``buy amount --json``."""
    cost = found.cost
    return {
        "offer": _offer(found.offer),
        "rate_of": found.supply,
        "rate_lb_per_acre": _lb_acre(found.rate_kg_ha),
        "area_acres": found.area_m2 / ACRE_M2,
        "product_lb": found.product_kg / LB_KG,
        "product_lb_per_acre": _lb_acre(found.product_kg_ha),
        "packages_exact": found.packages.exact,
        "packages": found.packages.count,
        "left_over_lb": found.packages.left_over_kg / LB_KG,
        "cost": None
        if cost is None
        else {
            "purchase": plain(cost.purchase),
            "delivery": plain(cost.delivery),
            "hauling": plain(cost.hauling),
            "spreading": plain(cost.spreading),
            "total": plain(cost.total),
            "total_per_acre": cost.cost_per_ha * ACRE_M2 / HA_M2,
            "total_per_lb": _per_lb(cost.cost_per_kg),
        },
        "steps": steps(found.steps),
        "problems": problems(noted),
    }


def mixture(found: Mixture) -> Json:
    """Return the shape of ``buy mix --json`` and ``buy formulate --json``."""
    return {
        "parts": [{"product": product.product, "lb": mass / LB_KG} for product, mass in found.blend.parts],
        "filler_lb": found.blend.filler_kg / LB_KG,
        "total_lb": found.blend.mass_kg / LB_KG,
        "grade": found.blend.grade,
        "analysis_pct": plain(found.blend.analysis_pct),
        "steps": steps(found.blend.steps),
        "problems": problems(found.problems),
    }


def material(item: KnownMaterial) -> Json:
    """Return one common material."""
    density = item.product.density_kg_m3
    return {
        "material": item.product.product,
        "form": item.product.form.value,
        "analysis_pct": plain(item.product.analysis_pct),
        "nitrogen_forms_pct": plain(item.product.nitrogen_forms_pct),
        "contains": list(item.product.contains),
        "density_lb_per_gal": None if density is None else density / LB_GAL_KG_M3,
        "density_at": item.density_at,
        "bulk_kg_m3": plain(item.bulk_kg_m3),
        "remark": item.remark,
        "analysis_source": str(item.analysis_source),
        "density_source": None if item.density_source is None else str(item.density_source),
    }


def seed(found: SeedAnswer) -> Json:
    """Return the shape of ``buy seed --json``."""
    return {
        "pure_live_seed_pct": found.lot.pls_fraction * 100,
        "bulk_lb_per_lb_pure_live_seed": found.lot.bulk_per_pls,
        "price_per_lb": _per_lb(found.price_per_kg),
        "price_per_lb_pure_live_seed": _per_lb(found.pls_price_per_kg),
        "pure_live_seed_lb_per_acre": _lb_acre(found.pls_rate_kg_ha),
        "bulk_lb_per_acre": _lb_acre(found.bulk_rate_kg_ha),
        "steps": steps(found.steps),
    }


def lime(found: LimeAnswer) -> Json:
    """Return the shape of ``buy lime --json``."""
    doses = found.doses
    return {
        "product": found.label.product,
        "scores": [
            {
                "basis": score.basis.value,
                "lb_per_ton": None if score.fraction is None else score.fraction * 2000,
                "reason": score.reason,
            }
            for score in found.scores
        ],
        "offers": [
            {
                **_offer(offer),
                "effective": [
                    {
                        "basis": entry.basis.value,
                        "lb": entry.effective_kg / LB_KG,
                        "price_per_effective_ton": entry.price_per_effective_ton,
                    }
                    for entry in entries
                ],
            }
            for offer, entries in found.offers
        ],
        "need_lb_per_acre": _lb_acre(found.need_kg_ha),
        "product_lb_per_acre": _lb_acre(found.product_kg_ha),
        "doses": None
        if doses is None
        else {
            "rule": doses.limit.limit_id,
            "lb_per_acre": [_lb_acre(rate) for rate in doses.rates_kg_ha],
            "source": str(doses.limit.source),
        },
        "steps": steps(found.steps),
        "problems": problems(found.problems),
    }
