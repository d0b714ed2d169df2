"""Cautions about lime: dose, date, depth, pounds of what, caustic forms, mixing, magnesium."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping

from loamwright.planning import PlanLine
from loamwright.soil import newest
from loamwright.supplies import Form, Product, dose_limit
from loamwright.units import convert, parse_rate
from loamwright.values import LimeBasis, NeedState, Nutrient, Timing
from loamwright.work.cautions.facts import Case, CautionText, Finding, Rule, few, listed, plots_of
from loamwright.work.cautions.phrases import is_fertilizer, is_legume, legume_shares, made_of

_MONTH_DAYS = 365.25 / 12
#: A rate over a limit by less than this is the solver's rounding, not a heavier dose [fraction].
_SOLVER_NOISE = 1e-3


def _is_lime(product: Product) -> bool:
    return product.form is Form.LIME


def _more_than_one_dose(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-24: more lime in one pass than the limit the user chose, else the strictest for the surface."""
    chosen = case.record.info.settings.lime_dose_limit
    limit = dose_limit(chosen or "missouri-surface")
    most = limit.max_kg_ha
    if most is None:
        return  # a rule that divides the rate whatever its size sets no most
    place = f"{limit.place} puts on at most {case.rates([most])}"
    most *= 1 + _SOLVER_NOISE
    by_plot: dict[str, list[PlanLine]] = {}
    for product, lines in case.lines_of(_is_lime).items():
        heavy = [line for line in lines if line.rate_kg_ha > most]
        if heavy:
            where = plots_of(heavy)
            rates = case.rates(line.rate_kg_ha for line in heavy)
            yield Finding(
                f"{rates} of {product} in one pass on {case.names(where)}; {place}.", where, product
            )
        for line in lines:
            by_plot.setdefault(line.plot_id, []).append(line)
    together = {
        plot_id: sum(line.rate_kg_ha for line in lines)
        for plot_id, lines in by_plot.items()
        if all(line.rate_kg_ha <= most for line in lines)
    }
    over = {plot_id: rate for plot_id, rate in together.items() if rate > most}
    if over:
        names = few(line.product for plot_id in over for line in by_plot[plot_id])
        what = f"{case.rates(over.values())} of lime in all ({names}) on {case.names(over)}; {place}."
        yield Finding(what, tuple(over))


def _late_for_seeding(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-25: lime planned, or put on too short a time ago, where a legume is seeded this season."""
    months = text.limits["months"].value
    seeded = {
        plot_id: cropping
        for plot_id, cropping in case.croppings.items()
        if cropping.seeding is True and is_legume(cropping, 1.0)
    }
    late = {
        line.plot_id
        for lines in case.lines_of(_is_lime).values()
        for line in lines
        if line.timing is not Timing.AFTER_HARVEST
    }
    since = case.on_date - dt.timedelta(days=months * _MONTH_DAYS)
    late |= {
        entry.plot_id
        for entry in case.entries
        if entry.product in case.products
        and _is_lime(case.products[entry.product])
        and entry.applied_on > since
    }
    where = tuple(plot_id for plot_id in seeded if plot_id in late)
    if where:
        shares = legume_shares(seeded[plot_id] for plot_id in where)
        yield Finding(
            f"Lime and a legume seeding ({shares}) fall in one season on {case.names(where)}.", where
        )


def _other_depth(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-26: a shallow sample, and a lime rate that treats a deeper slice."""
    limit = text.limits["depth"]
    shallow_m = convert(limit.value, limit.unit, "m")
    deeper = []
    for plot_id, needs in case.needs.items():
        bottoms = [
            test.depth_bottom_m
            for test in newest(case.tests_of(plot_id), lambda test: test.ph is not None)
            if test.depth_bottom_m is not None
        ]
        lime = needs.lime
        if lime.state is not NeedState.NEEDED or lime.depth_m is None or not bottoms:
            continue
        if max(bottoms) <= shallow_m + 0.001 and lime.depth_m > max(bottoms) + 0.001:
            deeper.append(plot_id)
    if deeper:
        sampled = f"{case.names(deeper)} sampled to {limit.value:g} inches or less"
        yield Finding(f"{sampled}; the lime rate treats a deeper slice.", tuple(deeper))


def _effective_pounds(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-27: a lime need in effective pounds."""
    owed = {
        plot_id: needs.lime
        for plot_id, needs in case.needs.items()
        if needs.lime.state is NeedState.NEEDED
        and needs.lime.basis not in (None, LimeBasis.PRODUCT)
        and needs.lime.rate_kg_ha is not None
    }
    if owed:
        bases = listed(sorted(str(lime.basis) for lime in owed.values()))
        rates = case.effective_rates(lime.rate_kg_ha or 0.0 for lime in owed.values())
        what = f"The lime need of {case.names(owed)} is {rates} of {bases}, not of product."
        yield Finding(what, tuple(owed))


def _too_thin(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-28: a thin rate of a lime that is not pelletized."""
    thin = text.limits["thin"]
    most = parse_rate(f"{thin.value:g} {thin.unit}")
    fine = case.lines_of(lambda product: _is_lime(product) and made_of(product, "pelletized") is None)
    for product, lines in fine.items():
        few = [line for line in lines if line.rate_kg_ha <= most * (1 + 1e-9)]
        if few:
            where = plots_of(few)
            yield Finding(
                f"{case.rates(line.rate_kg_ha for line in few)} of {product} on {case.names(where)}.",
                where,
                product,
            )


def _caustic(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-29: hydrated, quick or burnt lime planned or on hand."""
    planned = case.lines_of(lambda product: made_of(product, "caustic lime") is not None)
    stored = [
        name
        for name in case.stored()
        if name in case.products and made_of(case.products[name], "caustic lime") is not None
    ]
    for name in dict.fromkeys((*planned, *stored)):
        known = made_of(case.products[name], "caustic lime") or ""
        yield Finding(f"{name} is a caustic lime{known}.", plots_of(planned.get(name, ())), name)


def _reacts_with_lime(case: Case, product: Product) -> bool:
    ammonium = any(
        percent > 0 and "ammoni" in form.casefold() for form, percent in product.nitrogen_forms_pct.items()
    )
    named = any(
        made_of(product, material) is not None
        for material in ("ammonium nitrate", "ammonium sulfate", "DAP", "MAP", "UAN")
    )
    phosphate = case.fraction(product.product, Nutrient.P2O5) > 0
    return is_fertilizer(product) and (ammonium or named or phosphate)


def _with_fertilizer(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-30: lime and an ammonium or phosphate fertilizer at one time, or on one day, on a plot."""
    jobs = [(line.plot_id, line.product, f"{line.timing or 'with no time set'}") for line in case.open_lines]
    jobs += [(entry.plot_id, entry.product, str(entry.applied_on)) for entry in case.season_entries]
    limed: set[tuple[str, str]] = set()
    fed: dict[tuple[str, str], str] = {}
    for plot_id, name, when in jobs:
        product = case.products.get(name)
        if product is None:
            continue
        if _is_lime(product):
            limed.add((plot_id, when))
        elif _reacts_with_lime(case, product):
            fed.setdefault((plot_id, when), name)
    both = {key: name for key, name in fed.items() if key in limed}
    if both:
        where = tuple(dict.fromkeys(plot_id for plot_id, _ in both))
        when = listed(dict.fromkeys(when for _, when in both))
        what = f"Lime and fertilizer ({few(both.values())}) both go on {case.names(where)}, {when}."
        yield Finding(what, where)


def _wash_out(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-31: a lime job still to do."""
    for product, lines in case.lines_of(_is_lime).items():
        yield Finding(f"Lime job: {product}.", plots_of(lines), product)


def _magnesium_low(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-51: a lime without magnesium planned where soil magnesium asks for dolomitic lime."""

    def lacks_magnesium(product: Product) -> bool:
        return _is_lime(product) and not product.dolomitic and Nutrient.MG not in product.analysis_pct

    for product, lines in case.lines_of(lacks_magnesium).items():
        low = [
            line
            for line in lines
            if line.plot_id in case.needs and case.needs[line.plot_id].lime.dolomitic is True
        ]
        if low:
            where = plots_of(low)
            said = "is not dolomitic" if case.products[product].dolomitic is False else "may not be dolomitic"
            yield Finding(
                f"Soil magnesium is low on {case.names(where)}, and {product} {said}.", where, product
            )


RULES: Mapping[str, Rule] = {
    "C-24": _more_than_one_dose,
    "C-25": _late_for_seeding,
    "C-26": _other_depth,
    "C-27": _effective_pounds,
    "C-28": _too_thin,
    "C-29": _caustic,
    "C-30": _with_fertilizer,
    "C-31": _wash_out,
    "C-51": _magnesium_low,
}
