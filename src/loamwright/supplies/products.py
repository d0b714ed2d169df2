"""What is in a package, and what does a pound of it cost: label arithmetic and comparison.

This file answers: how much of each nutrient is in a pound of this product and in this package; is the
label possible; what does a pound of each nutrient cost in this offer and in that one. What a purchase
costs in whole packages, hauled and spread, is in `costs`; what to buy is the planner's to find.

Percent is percent by weight in label basis: N, P2O5, K2O, and the element for the rest. A nutrient that
a label does not name is *not guaranteed*; that is not zero, and it is never counted.

Money that is paid is `Decimal`. A price per kilogram is a ratio, a plain float, and is never rounded.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from loamwright.errors import InputError, Level, Problem, UnitError
from loamwright.money import format_money, money_sign
from loamwright.supplies import lime_score
from loamwright.supplies.ingredients import (
    INGREDIENTS,
    Acidity,
    IngredientContent,
    acidifier,
    acidity,
    ingredient_content,
    without_grade,
)
from loamwright.supplies.lime_score import LimeOffer
from loamwright.supplies.records import Form, LimeLabel, Offer, Product
from loamwright.units import (
    CACO3_PER_CA_OH_2,
    CACO3_PER_CAO,
    CACO3_PER_DOLOMITE,
    CACO3_PER_MGO,
    GAL_M3,
    K_PER_K2O,
    LB_ACRE_KG_HA,
    LB_GAL_KG_M3,
    LB_KG,
    P_PER_P2O5,
    format_figure,
    format_rate,
    parse_package,
)
from loamwright.values import ARITHMETIC, LABEL, LimeBasis, Nutrient, Step, Supply

# ---------------------------------------------------------------------------------------------
# Content


@dataclass(frozen=True, slots=True)
class NutrientContent:
    """What a product is made of, as far as its label says.

    Parameters
    ----------
    fractions
        Nutrient in label basis per product [kg/kg]; a nutrient absent here is not guaranteed.
    steps
        Where each figure comes from.
    problems
        What could not be used.
    """

    fractions: Mapping[Nutrient, float]
    steps: tuple[Step, ...] = ()
    problems: tuple[Problem, ...] = ()


def nutrient_fractions(product: Product) -> NutrientContent:
    """Read a product's nutrient content from its guarantee, else from its ingredient.

    Parameters
    ----------
    product
        The label. A guaranteed nutrient is taken as guaranteed; the ingredient fills in the rest.

    Returns
    -------
    NutrientContent

    Notes
    -----
    From an ingredient: percent of the ingredient × percent of the nutrient in it. An ingredient may be
    written with its own figure (``"urea 46-0-0"``, ``"urea 46 % N"``), as the fertilizer grade
    (``"urea"``, 46 % N as guaranteed) or as the chemical (``"urea (pure)"``, 46.65 % N).

    References
    ----------
    Label law: percent by weight, phosphorus as P2O5 and potassium as K2O, the rest as elements (South
    Dakota 38-19-5, New York AGM 143); a zero guarantee need not appear (Montana 4.12.604).

    Examples
    --------
    >>> solution = Product("jug", Form.LIQUID, ingredient="urea", ingredient_pct=32.5)
    >>> round(nutrient_fractions(solution).fractions[Nutrient.N], 4)
    0.1495
    """
    where = f"product {product.product}"
    fractions: dict[Nutrient, float] = {}
    steps: list[Step] = []
    problems = [*_analysis_problems(product, where), *_ingredient_problems(product, where)]
    for nutrient, pct in product.analysis_pct.items():
        if _is_percent(pct):
            fractions[nutrient] = pct / 100
            if pct > 0:
                says = "'s analysis states" if product.material else " guarantees"
                steps.append(Step(f"{product.product}{says}", pct, f"% {nutrient.value}", LABEL))
    ingredient = ingredient_content(product.ingredient)
    share_pct = product.ingredient_pct
    if ingredient is not None and share_pct is not None and _is_percent(share_pct):
        for nutrient, share in ingredient.fractions.items():
            if nutrient not in fractions:
                fractions[nutrient] = share_pct / 100 * share
                steps.append(_ingredient_step(product.product, share_pct, ingredient, nutrient))
    return NutrientContent(fractions, tuple(steps), tuple(problems))


def _ingredient_step(
    product: str, ingredient_pct: float, ingredient: IngredientContent, nutrient: Nutrient
) -> Step:
    """Spell out percent of ingredient × percent of nutrient, and which sense of the word was used."""
    share = ingredient.fractions[nutrient]
    words = (
        f"{product} holds {format_figure(ingredient_pct)} % {ingredient.name} × "
        f"{format_figure(share * 100)} % {nutrient.value} in it ({ingredient.kind}"
    )
    pure = ingredient.known.pure.get(nutrient) if ingredient.known else None
    if pure is not None and not math.isclose(pure, share):
        words += f"; the pure compound would be {format_figure(pure * 100)} %"
    return Step(f"{words})", ingredient_pct * share, f"% {nutrient.value}", ingredient.source)


def nitrogen_forms(product: Product) -> Mapping[str, float] | None:
    """Tell in which forms a product's nitrogen is: urea, ammoniacal, nitrate …"""
    if product.nitrogen_forms_pct:
        return {form: pct / 100 for form, pct in product.nitrogen_forms_pct.items()}
    ingredient = ingredient_content(product.ingredient)
    known = ingredient.known if ingredient else None
    nitrogen = nutrient_fractions(product).fractions.get(Nutrient.N)
    if known is None or not known.nitrogen_forms or nitrogen is None:
        return None
    return {form: share * nitrogen for form, share in known.nitrogen_forms.items()}


def usable_fractions(product: Product) -> Mapping[Nutrient, float]:
    """Give what a crop can use of a product in the first season.

    Parameters
    ----------
    product
        The label, or the analysis of a manure, litter or compost.

    Returns
    -------
    mapping of Nutrient to float
        [kg/kg]; all that is guaranteed of a fertilizer. A nutrient of a manure whose usable share is not
        stated is absent.

    Notes
    -----
    ``usable = analysis x usable percent``, as in a published worksheet: 18 lb P2O5 a ton answer 50 lb with
    2.8 tons when all of it counts (Montana State University, CNMP worksheet, step 5).

    Examples
    --------
    >>> litter = Product("litter", Form.DRY, {Nutrient.P2O5: 3.1}, material="poultry",
    ...     available_pct={Nutrient.P2O5: 80})
    >>> round(usable_fractions(litter)[Nutrient.P2O5], 5)
    0.0248
    """
    held = nutrient_fractions(product).fractions
    if not product.material and not product.available_pct:
        return held
    shares = {nutrient: product.available_pct.get(nutrient) for nutrient in held}
    if not product.material:
        shares = {nutrient: 100.0 if share is None else share for nutrient, share in shares.items()}
    return {nutrient: held[nutrient] * share / 100 for nutrient, share in shares.items() if share is not None}


def supply_fractions(product: Product, bases: Collection[LimeBasis]) -> Mapping[Supply, float]:
    """Give everything a product supplies under the keys the planner uses.

    Parameters
    ----------
    product
        The label.
    bases
        Lime bases that needs are stated in.

    Returns
    -------
    mapping of str to float
        ``"N"``, ``"P2O5"`` … and ``"lime ENP"`` … to supply per product [kg/kg]; only what is more than
        zero, and of a manure what a crop can use in the first season. A lime whose score cannot be known in
        a basis has no key for it.
    """
    content = usable_fractions(product)
    supplies: dict[Supply, float] = {
        nutrient.supply: share for nutrient, share in content.items() if share > 0
    }
    for basis in bases:
        fraction = lime_score.score(product, basis).fraction
        if fraction:
            supplies[basis.supply] = fraction
    return supplies


# ---------------------------------------------------------------------------------------------
# Faults of a label or an offer


def _is_percent(value: float) -> bool:
    return math.isfinite(value) and 0 <= value <= 100


def _percent_problem(where: str, name: str, value: float) -> Problem | None:
    if _is_percent(value):
        return None
    wrong = "is not a number" if not math.isfinite(value) else "is not between 0 and 100 %"
    return Problem(f"{where}, {name}", f"{value:g} {wrong}", "Write percent by weight as on the label.")


def _analysis_problems(product: Product, where: str) -> list[Problem]:
    found = [
        problem
        for nutrient, pct in product.analysis_pct.items()
        if (problem := _percent_problem(where, nutrient.value.lower(), pct))
    ]
    total_pct = sum(pct for pct in product.analysis_pct.values() if _is_percent(pct))
    if not found and total_pct > 100 + 1e-9:
        elements_pct = sum(
            pct * {Nutrient.P2O5: P_PER_P2O5, Nutrient.K2O: K_PER_K2O}.get(nutrient, 1.0)
            for nutrient, pct in product.analysis_pct.items()
        )
        found.append(
            Problem(
                f"{where}, analysis",
                f"the guarantees add to {format_figure(total_pct)} %, more than the whole product",
                "Check the label; P2O5 and K2O count with their oxygen "
                f"(as elements the sum is {format_figure(elements_pct)} %).",
            )
        )
    return found


def _ingredient_problems(product: Product, where: str) -> list[Problem]:
    pct = product.ingredient_pct
    level = Level.WARNING if product.analysis_pct else Level.ERROR
    if not product.ingredient:
        if pct is None:
            return []
        return [
            Problem(
                f"{where}, ingredient_pct", f"{pct:g} % of what is not said", "Name the ingredient.", level
            )
        ]
    if pct is None:
        what = f"how much {product.ingredient!r} is in it is not said"
        return [Problem(f"{where}, ingredient_pct", what, "Write its percent by weight.", level)]
    problem = _percent_problem(where, "ingredient_pct", pct)
    if problem:
        return [problem]
    if ingredient_content(product.ingredient) is None:
        known = ", ".join(item.name for item in INGREDIENTS)
        return [
            Problem(
                f"{where}, ingredient",
                f"{product.ingredient!r} is not in the table",
                f"Write its own grade beside it (for example 'urea 46-0-0'), or use one of: {known}.",
                level,
            )
        ]
    return []


def check_product(product: Product, where: str) -> tuple[Problem, ...]:
    """List what is impossible or doubtful on a label.

    Parameters
    ----------
    product
        The label as read.
    where
        File and row, put before the field in each problem.

    Returns
    -------
    tuple of Problem
        Errors for what cannot be, warnings for what a person should look at.
    """
    found = [*_analysis_problems(product, where), *_ingredient_problems(product, where)]
    if not product.product.strip():
        found.append(Problem(f"{where}, product", "the product has no name", "Give it one."))
    if product.form is Form.LIME:
        if product.lime is None:
            found.append(Problem(f"{where}, form", "'lime' without a lime label", "Add cce, sieves or enp."))
    elif not product.analysis_pct and not product.ingredient:
        found.append(
            Problem(f"{where}, analysis", "no guarantee and no ingredient", "Copy the label's percentages.")
        )
    if product.lime is not None:
        found.extend(_lime_problems(product.lime, where))
    if product.density_kg_m3 is not None and not product.density_kg_m3 > 0:
        shown = f"{product.density_kg_m3 / LB_GAL_KG_M3:g} lb/gal is not more than zero"
        found.append(
            Problem(f"{where}, density", shown, "Take it from the ticket, for example 10.67 lb/gal.")
        )
    found.extend(_form_problems(product, where))
    found.extend(_rate_problems(product, where))
    return tuple(found)


def _form_problems(product: Product, where: str) -> list[Problem]:
    """Guarantee against ingredient, and nitrogen forms against total nitrogen."""
    found = []
    ingredient = ingredient_content(product.ingredient)
    if ingredient and product.ingredient_pct is not None:
        for nutrient, share in ingredient.fractions.items():
            made_pct = product.ingredient_pct * share
            stated = product.analysis_pct.get(nutrient)
            if stated is not None and abs(stated - made_pct) > _ROUNDING_PCT:
                found.append(
                    Problem(
                        f"{where}, {nutrient.value.lower()}",
                        f"{format_figure(stated)} % {nutrient.value} is guaranteed, but "
                        f"{format_figure(product.ingredient_pct)} % {ingredient.name} makes "
                        f"{format_figure(made_pct)} %",
                        "The guarantee is used; check both figures.",
                        Level.WARNING,
                    )
                )
    total_pct = product.analysis_pct.get(Nutrient.N)
    forms_pct = sum(product.nitrogen_forms_pct.values())
    if total_pct is not None and forms_pct > total_pct + _ROUNDING_PCT:
        found.append(
            Problem(
                f"{where}, nitrogen forms",
                f"they add to {format_figure(forms_pct)} % but total N is {format_figure(total_pct)} %",
                "The total is used; check the label.",
                Level.WARNING,
            )
        )
    return found


#: Labels print whole or half percents; a difference up to this is rounding (common practice, no source).
_ROUNDING_PCT = 0.5


def _rate_problems(product: Product, where: str) -> list[Problem]:
    found = []
    low, high = product.min_rate_kg_ha, product.max_rate_kg_ha
    for name, value in (("min_rate", low), ("max_rate", high)):
        if value is not None and not (math.isfinite(value) and value >= 0):
            what = f"{value / LB_ACRE_KG_HA:g} lb/acre is not a rate"
            found.append(Problem(f"{where}, {name}", what, "Write for example 200 lb/acre."))
    if low is not None and high is not None and low > high:
        what = f"the least rate, {format_rate(low)}, is over the most, {format_rate(high)}"
        found.append(Problem(f"{where}, min_rate", what, "Swap or correct them."))
    return found


def _lime_problems(label: LimeLabel, where: str) -> list[Problem]:
    most_pct = CACO3_PER_MGO * 100  # nothing neutralizes more than pure magnesium oxide
    found = []
    bounds = (
        ("cce", label.cce_pct, most_pct, "%"),
        ("moisture", label.moisture_pct, 100.0, "%"),
        ("enp", label.enp_lb_per_ton, most_pct * 20, "lb/ton"),
        ("ecce", label.ecce_pct, most_pct, "%"),
        ("enm", label.enm_lb_per_ton, most_pct * 8, "lb/ton"),
        *((name.casefold(), pct, most_pct, "%") for name, pct in label.scores_pct.items()),
        *((f"passing_{mesh}", pct, 100.0, "%") for mesh, pct in sorted(label.passing_pct.items())),
    )
    for name, value, most, unit in bounds:
        if value is not None and not (math.isfinite(value) and 0 <= value <= most + 1e-9):
            found.append(
                Problem(
                    f"{where}, {name}",
                    f"{value:g} {unit} is not between 0 and {format_figure(most)} {unit}",
                    "Copy it from the label or ticket, in that unit.",
                )
            )
    if label.cce_pct is not None and CACO3_PER_DOLOMITE * 100 < label.cce_pct <= most_pct:
        found.append(
            Problem(
                f"{where}, cce",
                f"{label.cce_pct:g} % is more than pure dolomite ({CACO3_PER_DOLOMITE:.1%})",
                f"Only hydrated (pure {CACO3_PER_CA_OH_2:.0%}) or burnt lime (pure {CACO3_PER_CAO:.0%}) does "
                "that, and both are caustic; check the figure.",
                Level.WARNING,
            )
        )
    sieves = sorted(label.passing_pct.items())
    for (coarse, coarse_pct), (fine, fine_pct) in pairwise(sieves):
        if fine_pct > coarse_pct:
            found.append(
                Problem(
                    f"{where}, passing_{fine}",
                    f"{fine_pct:g} % passes {fine} mesh but only {coarse_pct:g} % the coarser {coarse}",
                    "A finer sieve cannot pass more; check the columns.",
                )
            )
    if label.enp_lb_per_ton is not None and 0 < label.enp_lb_per_ton <= 120:
        found.append(
            Problem(
                f"{where}, enp",
                f"{label.enp_lb_per_ton:g} lb per ton is very little; some labels also print a percent ENP",
                "Copy the pounds per ton, not the percent.",
                Level.WARNING,
            )
        )
    if label.enp_lb_per_ton is not None and lime_score.printed_basis(label) not in _ENP:
        found.append(
            Problem(
                f"{where}, enp",
                f"ENP of {label.enp_state!r} is not a basis known here",
                "State Minnesota or Ohio, or leave it out.",
                Level.WARNING,
            )
        )
    named = (label.cce_pct, label.enp_lb_per_ton, label.ecce_pct, label.enm_lb_per_ton)
    if all(value is None for value in named) and not label.scores_pct:
        found.append(
            Problem(
                f"{where}, cce",
                "neither CCE nor ENP, ECCE, ENM or another score is stated",
                "Ask the seller for one.",
            )
        )
    return found


_ENP = (LimeBasis.ENP, LimeBasis.ENP_OHIO)


def check_offer(offer: Offer, product: Product | None, where: str) -> tuple[Problem, ...]:
    """List what keeps an offer from being priced.

    Parameters
    ----------
    offer
        The offer.
    product
        Its product; None when no product has that name.
    where
        File and row, put before the field in each problem.

    Returns
    -------
    tuple of Problem
        A missing price is a warning (the offer is left out of plans); the rest are errors.
    """
    found = []
    if product is None:
        found.append(Problem(f"{where}, product", f"{offer.product!r} has no label", "Add the product."))
    if offer.package_kg is None:
        what = f"{offer.package!r} is a volume and the density is not stated, so its weight is unknown"
        found.append(Problem(f"{where}, density", what, "Add the density, for example 10.67 lb/gal."))
    elif not offer.package_kg > 0:
        found.append(
            Problem(f"{where}, package", f"{offer.package!r} has no weight", "Write its net weight.")
        )
    if offer.price is None:
        found.append(
            Problem(
                f"{where}, price",
                f"the price of {offer.package!r} is missing",
                "Left out of plans and prices until it has one.",
                Level.WARNING,
            )
        )
    elif not offer.price > 0:
        shown = f"the price {offer.price} is not more than zero"
        found.append(
            Problem(f"{where}, price", shown, "Write the price; stock already paid for goes in in_stock.")
        )
    return tuple(found)


# ---------------------------------------------------------------------------------------------
# Comparison


@dataclass(frozen=True, slots=True)
class OfferComparison:
    """What one package holds and what each nutrient in it costs.

    Parameters
    ----------
    offer
        The offer.
    nutrients_kg
        Nutrient in one package [kg, label basis].
    price_per_kg
        Package price over that nutrient alone, all credit to it [money/kg]; absent when the price, the
        weight or the nutrient is missing.
    lime
        Effective lime and its price in each basis the label allows, the one it prints first.
    steps
        The arithmetic.
    """

    offer: Offer
    nutrients_kg: Mapping[Nutrient, float]
    price_per_kg: Mapping[Nutrient, float]
    lime: tuple[LimeOffer, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Offers side by side.

    Parameters
    ----------
    offers
        In the order given.
    problems
        What could not be compared, and why.
    units
        Of the property they stand in, ``"us"`` or ``"metric"``; ``"us"`` for a file.
    """

    offers: tuple[OfferComparison, ...]
    problems: tuple[Problem, ...]
    units: str = "us"

    def ranked(self) -> tuple[OfferComparison, ...]:
        """Sort the offers: by what each mostly brings, its cheapest pound first, missing prices last."""
        return tuple(sorted(self.offers, key=_rank))

    def cheapest(self) -> Mapping[str, str]:
        """Name the cheapest offer of each nutrient, and of each lime basis that is printed, by offer id."""
        prices: dict[str, dict[str, float]] = {}
        for row in self.offers:
            own = {nutrient.value: price for nutrient, price in row.price_per_kg.items()}
            if row.lime and row.lime[0].price_per_effective_ton is not None:
                own[f"lime {row.lime[0].basis.value}"] = row.lime[0].price_per_effective_ton
            for what, price in own.items():
                prices.setdefault(what, {})[row.offer.offer_id] = price
        return {what: min(found, key=lambda ident: found[ident]) for what, found in prices.items()}


def _rank(row: OfferComparison) -> tuple[int, str, bool, float]:
    order = list(Nutrient)
    if row.nutrients_kg:
        main = max(row.nutrients_kg, key=lambda nutrient: row.nutrients_kg[nutrient])
        price = row.price_per_kg.get(main)
        return order.index(main), "", price is None, price or 0.0
    if row.lime:
        price = row.lime[0].price_per_effective_ton
        return len(order), row.lime[0].basis.value, price is None, price or 0.0
    return len(order) + 1, "", True, 0.0


def compare(products: Sequence[Product], offers: Sequence[Offer]) -> Comparison:
    """Work out what each package holds and what a pound of each nutrient costs in it.

    Parameters
    ----------
    products
        Labels.
    offers
        Packages and prices; the price of a single package counts, without delivery.

    Returns
    -------
    Comparison

    Notes
    -----
    price per pound = package price / pounds of that nutrient, all of the price on it; of a manure the pounds
    a crop can use in the first season. Such prices rank single-nutrient products; for the rest see
    `value_against_references`.

    Examples
    --------
    A 2.5 gallon jug at 9 lb per gallon holding 32.5 % urea of 46 % N, for 18 dollars:

    >>> density = 9 * LB_GAL_KG_M3
    >>> jug = Product("jug", Form.LIQUID, ingredient="urea", ingredient_pct=32.5, density_kg_m3=density)
    >>> offer = Offer("1", "jug", "2.5 gal jug", parse_package("2.5 gal jug", density), Decimal(18))
    >>> row = compare([jug], [offer]).offers[0]
    >>> round(row.nutrients_kg[Nutrient.N] / LB_KG, 2), round(row.price_per_kg[Nutrient.N] * LB_KG, 2)
    (3.36, 5.35)
    """
    labels = {product.product: product for product in products}
    used = {offer.product for offer in offers}
    problems: list[Problem] = []
    for name, label in labels.items():
        if name in used:
            problems.extend(nutrient_fractions(label).problems)
    rows = []
    for offer in offers:
        product = labels.get(offer.product)
        problems.extend(check_offer(offer, product, f"offer {offer.product}, {offer.package}"))
        rows.append(_compare_one(product, offer))
    return Comparison(tuple(rows), tuple(problems))


def _compare_one(label: Product | None, offer: Offer) -> OfferComparison:
    if label is None or offer.package_kg is None or not offer.package_kg > 0:
        return OfferComparison(offer, {}, {}, (), ())
    price = offer.price if offer.price is not None and offer.price > 0 else None
    content = nutrient_fractions(label)
    steps = [*content.steps, _package_step(label, offer, offer.package_kg)]
    usable = usable_fractions(label)
    nutrients_kg: dict[Nutrient, float] = {}
    price_per_kg: dict[Nutrient, float] = {}
    for nutrient, fraction in content.fractions.items():
        mass_kg = offer.package_kg * fraction
        nutrients_kg[nutrient] = mass_kg
        if mass_kg <= 0:
            continue
        pounds, name = mass_kg / LB_KG, nutrient.value
        words = f"{format_figure(offer.package_kg / LB_KG)} lb × {format_figure(fraction * 100)} % {name}"
        steps.append(Step(words, pounds, f"lb {name}", ARITHMETIC))
        if nutrient not in usable:
            words = f"what a crop can use of the {name} in the first season is not stated: it has no price"
            steps.append(Step(words, None, "", LABEL))
            continue
        if not math.isclose(usable[nutrient], fraction):
            share = usable[nutrient] / fraction
            words = f"{format_figure(share * 100)} % of the {name} is for the crop of the first season"
            mass_kg = offer.package_kg * usable[nutrient]
            pounds = mass_kg / LB_KG
            steps.append(Step(words, pounds, f"lb {name}", ARITHMETIC))
        if mass_kg <= 0:
            continue
        if price is not None:
            price_per_kg[nutrient] = float(price) / mass_kg
            words = f"{format_money(price)} ÷ {format_figure(pounds)} lb {name}, all of the price on it"
            steps.append(Step(words, float(price) / pounds, f"{money_sign()}/lb {name}", ARITHMETIC))
    limes = _lime_offers(label, offer.package_kg, price)
    steps.extend(step for entry in limes for step in entry.steps)
    return OfferComparison(offer, nutrients_kg, price_per_kg, limes, tuple(steps))


def _lime_offers(label: Product, package_kg: float, price: Decimal | None) -> tuple[LimeOffer, ...]:
    if label.lime is None:
        return ()
    first = lime_score.printed_basis(label.lime)
    bases = [basis for basis in LimeBasis if basis not in (LimeBasis.PRODUCT, LimeBasis.OWN)]
    bases.sort(key=lambda basis: basis is not first)
    entries = (
        lime_score.offer_in_basis(package_kg, price, lime_score.score(label, basis)) for basis in bases
    )
    return tuple(entry for entry in entries if entry is not None)


def _package_step(label: Product, offer: Offer, package_kg: float) -> Step:
    """State the net weight, with the density where the package is a volume."""
    density = label.density_kg_m3
    try:
        is_volume = parse_package(offer.package, decimal_comma=False) is None
    except UnitError:
        is_volume = False
    if density is None or not is_volume:
        return Step(f"net weight of {offer.package}", package_kg / LB_KG, "lb", LABEL)
    gallons = package_kg / density / GAL_M3
    words = f"{offer.package}: {format_figure(gallons)} gal × {format_figure(density / LB_GAL_KG_M3)} lb/gal"
    return Step(words, package_kg / LB_KG, "lb", LABEL)


# ---------------------------------------------------------------------------------------------
# Liquids and acidity


@dataclass(frozen=True, slots=True)
class LiquidContent:
    """What a volume of a liquid holds.

    Parameters
    ----------
    nutrients_kg_m3
        Nutrient per volume [kg/m3, label basis].
    steps
        In pounds per gallon.
    """

    nutrients_kg_m3: Mapping[Nutrient, float]
    steps: tuple[Step, ...]


def liquid_content(product: Product) -> LiquidContent:
    """Work out the nutrients in a volume of a liquid.

    Examples
    --------
    28 % N at 10.6 lb per gallon is 2.97 lb N per gallon (Purdue example):

    >>> uan = Product("UAN", Form.LIQUID, {Nutrient.N: 28}, density_kg_m3=10.6 * LB_GAL_KG_M3)
    >>> round(liquid_content(uan).nutrients_kg_m3[Nutrient.N] / LB_GAL_KG_M3, 3)
    2.968
    """
    density = product.density_kg_m3
    if density is None:
        what = "the density is not stated, so gallons cannot become pounds"
        raise InputError(
            [Problem(f"product {product.product}, density", what, "Add it, for example 10.67 lb/gal.")]
        )
    content = nutrient_fractions(product)
    nutrients = {nutrient: density * fraction for nutrient, fraction in content.fractions.items()}
    steps = tuple(
        Step(
            f"{format_figure(density / LB_GAL_KG_M3)} lb/gal × "
            f"{format_figure(content.fractions[nutrient] * 100)} % {nutrient.value}",
            mass / LB_GAL_KG_M3,
            f"lb {nutrient.value}/gal",
            ARITHMETIC,
        )
        for nutrient, mass in nutrients.items()
    )
    return LiquidContent(nutrients, (*content.steps, *steps))


def tank_error(assumed_kg_m3: float, true_kg_m3: float) -> float:
    """Work out how wrong a tank dipped by volume is when the liquid has cooled or warmed.

    Examples
    --------
    >>> round(tank_error(10.6, 10.74), 4)
    0.0132
    """
    for name, value in (("assumed_kg_m3", assumed_kg_m3), ("true_kg_m3", true_kg_m3)):
        if not (math.isfinite(value) and value > 0):
            what = f"{value:g} is not more than zero"
            raise InputError([Problem(f"tank, {name}", what, "Take the density from the ticket.")])
    return true_kg_m3 / assumed_kg_m3 - 1


def nitrogen_acidity(product: Product, mass_kg: float) -> Acidity:
    """Work out the lime that the nitrogen in an amount of product will use up.

    Parameters
    ----------
    product
        The label. The material is known by its ingredient, by its name without the grade, or by what it
        contains; blends are not guessed at.
    mass_kg
        Product applied [kg].

    Returns
    -------
    Acidity
        Zero when the product guarantees no nitrogen; unknown, with the reason, when the material is not
        in the table.
    """
    nitrogen = nutrient_fractions(product).fractions.get(Nutrient.N, 0.0)
    if nitrogen <= 0:
        return Acidity(0.0, 0.0)
    ingredient = ingredient_content(product.ingredient)
    if ingredient is not None and product.ingredient_pct is not None:
        row = acidifier(ingredient.name, ingredient.fractions.get(Nutrient.N, 0.0) * 100)
        share = product.ingredient_pct / 100
    else:
        names = (without_grade(product.product), *product.contains)
        row = next((row for name in names if (row := acidifier(name, nitrogen * 100))), None)
        share = 1.0
    if row is None:
        return Acidity(None, None, (f"{product.product}: not a single nitrogen material of the table",))
    return acidity(row, mass_kg * share, mass_kg * nitrogen)
