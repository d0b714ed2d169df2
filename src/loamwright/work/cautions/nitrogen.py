"""Cautions about nitrogen: what is lost to the air, burns leaves, crowds legumes or sours the soil."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from loamwright.supplies import Form, Product, add_up
from loamwright.units import HA_M2, LB_ACRE_KG_HA, parse_rate
from loamwright.values import NeedState, Nutrient, Timing
from loamwright.words import acidity_words
from loamwright.work.cautions.facts import (
    Case,
    CautionText,
    Finding,
    Rule,
    dates,
    grouped,
    listed,
    plots_of,
    recorded_on_ground,
)
from loamwright.work.cautions.phrases import (
    is_kind,
    is_legume,
    legume_shares,
    made_of,
    rain_chance_pct,
    rain_depth,
    says,
    worked_in,
)
from loamwright.work.ledger import acidity_left
from loamwright.work.records import Application

_DAMP = r"\b(damp|moist|wet|dew|dewy)\b"
_WITH_SEED = r"with (the )?seed|in[- ]furrow|pop-?up|seed[- ]row"
#: Nitrogen up to this rides along with a phosphate and is no dressing [kg N/ha]. Ours: the planner's cap.
_RIDES_ALONG_KG_HA = 10 * LB_ACRE_KG_HA
_SAND = r"(coarse |fine |very fine )?(loamy )?sands?"


def _has_urea(product: Product) -> bool:
    return made_of(product, "urea") is not None


def _urea_on_surface(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-01: urea planned, or put on within the published days and neither worked in nor rained on."""
    days = text.limits["days"].value
    planned = case.lines_of(_has_urea)
    lying = grouped(
        (entry.product, entry)
        for entry in _urea_entries(case, case.season_entries)
        if 0 <= (case.on_date - entry.applied_on).days <= days
        and not worked_in(entry)
        and not says(f"{entry.weather}; {entry.note}", r"\brain|irrigat")
    )
    for product in dict.fromkeys((*planned, *lying)):
        lines, entries = planned.get(product, ()), lying.get(product, ())
        known = made_of(case.products[product], "urea") or ""
        sentences = []
        if lines:
            rates = case.rates(line.rate_kg_ha for line in lines)
            carries = "" if "urea" in product.casefold() else " carries urea"
            sentences.append(f"{product}{known}{carries}: {rates} planned on {case.names(plots_of(lines))}.")
        if entries:
            sentences.append(
                f"{product}{known} went on {case.names(plots_of(entries))} on {dates(entries)}; "
                "neither working in nor rain is recorded."
            )
        yield Finding(" ".join(sentences), plots_of((*lines, *entries)), product)


def _urea_entries(case: Case, entries: Iterable[Application]) -> Iterator[Application]:
    for entry in entries:
        if entry.product in case.products and _has_urea(case.products[entry.product]):
            yield entry


def _urea_on_damp_ground(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-02: urea left on a surface recorded as damp, wet or dewy, with no real rain in the forecast."""
    enough = text.limits["rain"]
    yield from recorded_on_ground(
        case,
        (
            entry
            for entry in _urea_entries(case, case.season_entries)
            if says(entry.ground, _DAMP)
            and not worked_in(entry)
            and not _rain_expected(entry.forecast, enough.value, enough.unit)
        ),
    )


def _rain_expected(forecast: str, depth: float, unit: str) -> bool:
    """Tell whether a forecast promises so much rain: as certain, or with an even chance at least."""
    chance_pct = rain_chance_pct(forecast)
    return rain_depth(forecast, unit) >= depth and (chance_pct is None or chance_pct >= 50)


def _urea_on_snow(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-03: urea put on ground recorded as snow-covered."""
    entries = _urea_entries(case, case.season_entries)
    yield from recorded_on_ground(case, (e for e in entries if says(e.ground, "snow")))


def _after_harvest(case: Case) -> dict[str, dict[str, float]]:
    """Nitrogen planned or recorded after harvest: product to plot to rate [kg N/ha]."""
    rates: dict[str, dict[str, float]] = {}
    for line in case.open_lines:
        rate = line.rate_kg_ha * case.fraction(line.product, Nutrient.N)
        if line.timing is Timing.AFTER_HARVEST and rate > 0:
            by_plot = rates.setdefault(line.product, {})
            by_plot[line.plot_id] = by_plot.get(line.plot_id, 0.0) + rate
    for entry in case.season_entries:
        nitrogen_kg = entry.mass_kg * case.fraction(entry.product, Nutrient.N)
        area_m2 = _area_m2(case, entry)
        if entry.timing is Timing.AFTER_HARVEST and nitrogen_kg > 0 and area_m2:
            by_plot = rates.setdefault(entry.product, {})
            by_plot[entry.plot_id] = by_plot.get(entry.plot_id, 0.0) + nitrogen_kg / area_m2 * HA_M2
    return rates


def _area_m2(case: Case, entry: Application) -> float | None:
    """Area an entry covered: as written, else the plot's spread area; None when neither is known."""
    if entry.area_m2:
        return entry.area_m2
    area = case.areas.get(entry.plot_id)
    return area.spread_area_m2 if area is not None and area.spread_area_m2 > 0 else None


def _fall_nitrogen(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-04: nitrogen planned or recorded after harvest, where no guideline asks for it then."""
    for product, rates in _after_harvest(case).items():
        unasked = {
            plot_id: rate for plot_id, rate in rates.items() if not _asked_after_harvest(case, plot_id)
        }
        if unasked:
            brings = f"{product} brings {case.rates(unasked.values())} of N"
            yield Finding(f"{brings} to {case.names(unasked)} after harvest.", tuple(unasked), product)


def _asked_after_harvest(case: Case, plot_id: str) -> bool:
    """Tell whether the source of the need splits nitrogen so that a share is due after harvest."""
    need = case.needs[plot_id].of(Nutrient.N) if plot_id in case.needs else None
    return need is not None and any(timing is Timing.AFTER_HARVEST for timing, _ in need.timings)


def _fall_nitrogen_on_vulnerable_ground(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-05: nitrogen after harvest on sand or loamy sand, or by a sinkhole."""
    for product, rates in _after_harvest(case).items():
        why = {plot_id: reason for plot_id in rates if (reason := _vulnerable(case, plot_id))}
        if why:
            reasons = listed(why.values())
            what = f"{product} is meant for {case.names(why)} after harvest: {reasons}."
            yield Finding(what, tuple(why), product)


def _vulnerable(case: Case, plot_id: str) -> str:
    for test in case.tests_of(plot_id):
        if re.fullmatch(_SAND, test.texture.strip().casefold()):
            return f"the soil test says {test.texture.strip()}"
    area = case.areas.get(plot_id)
    near = (*(key for key, _ in area.keepouts), *area.missing_setbacks) if area is not None else ()
    if any(key in case.keepouts and is_kind(case.keepouts[key], "sinkhole") for key in near):
        return "there is a sinkhole at the plot"
    return ""


def _fertilizer_with_seed(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-18: fertilizer recorded as placed with the seed, over the limit or with urea or thiosulfate."""
    found: list[tuple[str, tuple[Application, float]]] = []
    for entry in case.season_entries:
        product, area_m2 = case.products.get(entry.product), _area_m2(case, entry)
        if product is None or area_m2 is None or not says(entry.method, _WITH_SEED):
            continue
        salts = sum(case.fraction(entry.product, salt) for salt in (Nutrient.N, Nutrient.K2O, Nutrient.S))
        rate = entry.mass_kg * salts / area_m2 * HA_M2
        never = _has_urea(product) or made_of(product, "thiosulfate") is not None
        if never or rate > _seed_limit_kg_ha(case, entry.plot_id, text):
            found.append((entry.product, (entry, rate)))
    for name, hits in grouped(found).items():
        where = plots_of(entry for entry, _ in hits)
        rates = case.rates(rate for _, rate in hits)
        yield Finding(
            f"{name} was placed with the seed on {case.names(where)}: {rates} of N + K2O + S.", where, name
        )


def _seed_limit_kg_ha(case: Case, plot_id: str, text: CautionText) -> float:
    """Take the limit by the plot's cation exchange capacity; the lower one when it is not tested."""
    capacities = [test.cec_meq_100g for test in case.tests_of(plot_id) if test.cec_meq_100g is not None]
    high = bool(capacities) and min(capacities) > text.limits["cec"].value
    limit = text.limits["high_cec" if high else "low_cec"]
    return parse_rate(f"{limit.value:g} {limit.unit}")


def _starter_salt(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-19: N or K2O planned at planting."""
    lines = [
        line
        for line in case.open_lines
        if line.timing is Timing.AT_PLANTING
        and case.fraction(line.product, Nutrient.N) + case.fraction(line.product, Nutrient.K2O) > 0
    ]
    if lines:
        products = listed(line.product for line in lines)
        where = plots_of(lines)
        yield Finding(f"{products} planned at planting on {case.names(where)}.", where)


def _leaf_burn(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-21: a liquid that carries urea planned on a standing crop."""
    liquids = case.lines_of(lambda product: product.form is Form.LIQUID and _has_urea(product))
    for product, lines in liquids.items():
        on_leaves = []
        for line in lines:
            cropping = case.croppings.get(line.plot_id)
            standing = line.timing is None and cropping is not None and cropping.seeding is False
            if line.timing is Timing.TOPDRESS or standing:
                on_leaves.append(line)
        if on_leaves:
            where = plots_of(on_leaves)
            rates = case.rates(line.rate_kg_ha for line in on_leaves)
            yield Finding(f"{rates} of {product} on the green crop of {case.names(where)}.", where, product)


def _nitrogen_on_legumes(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-22: nitrogen asked for, or more than rides along, on a stand with the published share of legume."""
    least = text.limits["legume"].value
    planned: dict[str, float] = {}
    for line in case.open_lines:
        rate = line.rate_kg_ha * case.fraction(line.product, Nutrient.N)
        if rate > 0 and is_legume(case.croppings.get(line.plot_id), least):
            planned[line.plot_id] = planned.get(line.plot_id, 0.0) + rate
    asked = [plot_id for plot_id in planned if _nitrogen_asked(case, plot_id)]
    rates = {
        plot_id: rate
        for plot_id, rate in planned.items()
        if plot_id in asked or rate > _RIDES_ALONG_KG_HA * (1 + 1e-9)
    }
    if rates:
        shares = legume_shares(case.croppings[plot_id] for plot_id in rates)
        what = f"{case.rates(rates.values())} of N on {case.names(rates)}, {shares}."
        if asked:
            where = "" if len(asked) == len(rates) else f" on {case.names(asked)}"
            what += f" Your guideline or lab asks for it{where}: weigh the two."
        yield Finding(what, tuple(rates))


def _nitrogen_asked(case: Case, plot_id: str) -> bool:
    need = case.needs[plot_id].of(Nutrient.N) if plot_id in case.needs else None
    return need is not None and need.state is NeedState.NEEDED


def _acid_from_nitrogen(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-50: nitrogen recorded since pH was last read."""
    nitrogen_kg: dict[str, float] = {}
    since: list[Application] = []
    for entry in case.entries:
        read = [
            t.sampled_on
            for t in case.tests_of(entry.plot_id)
            if t.ph is not None and t.sampled_on is not None
        ]
        added_kg = entry.mass_kg * case.fraction(entry.product, Nutrient.N)
        if read and entry.applied_on > max(read) and added_kg > 0:
            nitrogen_kg[entry.plot_id] = nitrogen_kg.get(entry.plot_id, 0.0) + added_kg
            since.append(entry)
    if nitrogen_kg:
        acid = add_up(tuple(acidity_left(since, case.record.products).values()))
        yield Finding(
            f"{case.mass(sum(nitrogen_kg.values()))} of N has gone on {case.names(nitrogen_kg)} since pH was "
            f"last read: it uses up {acidity_words(acid, case.record.info.units)}.",
            tuple(nitrogen_kg),
        )


RULES: Mapping[str, Rule] = {
    "C-01": _urea_on_surface,
    "C-02": _urea_on_damp_ground,
    "C-03": _urea_on_snow,
    "C-04": _fall_nitrogen,
    "C-05": _fall_nitrogen_on_vulnerable_ground,
    "C-18": _fertilizer_with_seed,
    "C-19": _starter_salt,
    "C-21": _leaf_burn,
    "C-22": _nitrogen_on_legumes,
    "C-50": _acid_from_nitrogen,
}
