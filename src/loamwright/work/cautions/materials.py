"""Cautions about the products themselves: boron, potassium in forage, storage, tanks, oxidizers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from loamwright.errors import UnitError
from loamwright.supplies import Form, Product
from loamwright.units import LB_GAL_KG_M3, parse_rate
from loamwright.values import Nutrient
from loamwright.work.cautions.facts import Case, CautionText, Finding, Rule, listed, plots_of
from loamwright.work.cautions.phrases import made_of, says

#: Less than this in the shed is not worth a caution about damp [kg]. Ours: about a fifth of a bag.
_SCRAPS_KG = 5.0
_FORAGE = r"\bhay\b|pasture|meadow|graz|alfalfa|forage|grass"


def _boron(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-20: boron over the published rate, or any on corn or soybean."""
    alfalfa, common = (parse_rate(f"{text.limits[name].value:g} lb/acre") for name in ("alfalfa", "common"))
    for product, lines in case.lines_of(
        lambda product: case.fraction(product.product, Nutrient.B) > 0
    ).items():
        content = case.fraction(product, Nutrient.B)
        risky = []
        for line in lines:
            crop = case.croppings[line.plot_id].crop if line.plot_id in case.croppings else ""
            limit = alfalfa if says(crop, "alfalfa|lucerne") else common
            if line.rate_kg_ha * content > limit * (1 + 1e-9) or says(crop, r"\bcorn\b|maize|soybean"):
                risky.append(line)
        if risky:
            where = plots_of(risky)
            rates = case.rates(line.rate_kg_ha * content for line in risky)
            yield Finding(f"{product} brings {rates} of boron to {case.names(where)}.", where, product)


def _potassium_over_removal(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-23: more K2O planned on a forage than its stated yield takes out."""
    per_ton = text.limits["removal"].value
    planned: dict[str, float] = {}
    for line in case.open_lines:
        added = line.rate_kg_ha * case.fraction(line.product, Nutrient.K2O)
        planned[line.plot_id] = planned.get(line.plot_id, 0.0) + added
    over: dict[str, tuple[float, float]] = {}
    for plot_id, rate_kg_ha in planned.items():
        cropping = case.croppings.get(plot_id)
        if cropping is None or cropping.yield_goal is None or not says(cropping.crop, _FORAGE):
            continue
        try:
            harvest_kg_ha = parse_rate(f"{cropping.yield_goal.value:g} {cropping.yield_goal.unit}")
        except UnitError:
            continue  # a yield in bushels or bales says nothing of tons of forage
        removed_kg_ha = harvest_kg_ha / 2000 * per_ton
        if rate_kg_ha > removed_kg_ha * (1 + 1e-9):
            over[plot_id] = rate_kg_ha, removed_kg_ha
    if over:
        rates = case.rates(rate for rate, _ in over.values())
        taken = case.rates(removed for _, removed in over.values())
        what = f"{rates} of K2O planned on {case.names(over)}; the stated yield takes out about {taken}."
        yield Finding(what, tuple(over))


def _ammonium_nitrate(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-32: solid ammonium nitrate planned or kept."""

    def holds(product: Product) -> bool:
        return product.form is not Form.LIQUID and made_of(product, "ammonium nitrate") is not None

    planned, stored = case.lines_of(holds), case.stored()
    kept = [name for name in stored if name in case.products and holds(case.products[name])]
    for name in dict.fromkeys((*planned, *kept)):
        known = made_of(case.products[name], "ammonium nitrate") or ""
        lines = planned.get(name, ())
        amounts = []
        if lines:
            amounts.append(f"{case.mass(sum(line.mass_kg for line in lines))} planned")
        if name in stored:
            amounts.append(case.kept(stored[name]))
        yield Finding(f"{name} is ammonium nitrate{known}: {', '.join(amounts)}.", plots_of(lines), name)


def _tank_strength(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-33: a liquid of at least the published weight planned or kept."""
    heavy, water = text.limits["heavy"].value, text.limits["water"].value
    planned, stored = case.lines_of(lambda product: product.form is Form.LIQUID), case.stored()
    for name, product in case.products.items():
        if product.form is not Form.LIQUID or product.density_kg_m3 is None:
            continue
        lb_per_gal = product.density_kg_m3 / LB_GAL_KG_M3
        if lb_per_gal >= heavy - 1e-9 and (name in planned or name in stored):
            what = f"{name} weighs {lb_per_gal:.2f} lb/gal, specific gravity {lb_per_gal / water:.2f}."
            yield Finding(what, plots_of(planned.get(name, ())), name)


def _tank_corrosion(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-34: UAN kept."""
    for name, stock in case.stored().items():
        product = case.products.get(name)
        if (
            product is not None
            and product.form is Form.LIQUID
            and (known := made_of(product, "UAN")) is not None
        ):
            yield Finding(f"{name} is UAN{known}, which attacks metal: {case.kept(stock)}.", (), name)


def _salting_out(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-35: a liquid of a grade with a published salt-out temperature kept."""
    for name, stock in case.stored().items():
        product = case.products.get(name)
        if product is None or product.form is not Form.LIQUID:
            continue
        grade = "-".join(
            f"{product.analysis_pct.get(n, 0.0):g}" for n in (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)
        )
        if grade in text.limits:
            what = f"{name} ({grade}) salts out at {text.limits[grade].value:g} F: {case.kept(stock)}."
            yield Finding(what, (), name)


def _damp_storage(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-36: dry materials with a published critical humidity kept."""
    kept = []
    for name, stock in case.stored().items():
        product = case.products.get(name)
        if product is None or product.form is not Form.DRY:
            continue
        if max(stock.on_hand_kg, stock.left_over_kg) < _SCRAPS_KG:
            continue
        found = [material for material in text.limits if made_of(product, material) is not None]
        if found:
            damp = min(text.limits[material].value for material in found)
            kept.append(f"{name} over {damp:g} % ({case.kept(stock)})")
    if kept:
        yield Finding(f"Takes up water from damp air: {listed(kept)}.")


RULES: Mapping[str, Rule] = {
    "C-20": _boron,
    "C-23": _potassium_over_removal,
    "C-32": _ammonium_nitrate,
    "C-33": _tank_strength,
    "C-34": _tank_corrosion,
    "C-35": _salting_out,
    "C-36": _damp_storage,
}
