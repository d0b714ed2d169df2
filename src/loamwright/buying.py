"""The questions of a person at the store, one function each, from a price list or a property.

At what price is it the better buy? What is it worth where only this is needed? How much of it, how many
packages, at what cost an acre? What is in the mix, and what makes the wanted grade? What does such a
material usually hold? What of the bag is live seed? What is this lime worth?

It knows which rooms answer and does no arithmetic of its own. What the user's words stand for is
`buying_words`; the plan for a whole property is `season`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from loamwright import blends, costs, lime, pricelists, products, seed, store, tablefiles
from loamwright.buying_answers import (
    AS_FILED,
    AmountNeeded,
    BreakEven,
    Charges,
    LimeAnswer,
    LimeQuestion,
    Mixture,
    PriceList,
    Reference,
    SeedAnswer,
    SeedTag,
    Valued,
)
from loamwright.buying_words import find_offer, find_product, fitting
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.intake import PROPERTY_SUFFIX
from loamwright.materials import KnownMaterial
from loamwright.units import LB_KG, format_figure, format_rate
from loamwright.values import ARITHMETIC, USER, Form, LimeBasis, Nutrient, Offer, Product, Source, Step

# ---------------------------------------------------------------------------------------------
# What there is to choose from


def price_list(path: Path) -> PriceList:
    """Read the labels and offers of a products file or of a property.

    Parameters
    ----------
    path
        CSV or XLSX file with products, packages and prices; or a property file.

    Returns
    -------
    PriceList

    Raises
    ------
    InputError
        When the file holds no usable label.
    """
    if path.suffix == PROPERTY_SUFFIX:
        record = store.load(path)
        settings = record.info.settings
        found = PriceList(
            path.name,
            record.products,
            record.offers,
            settings.spreading_cost_per_ha,
            settings.spreading_cost_per_pass,
            record.info.units,
        )
    else:
        labels, offers, problems = pricelists.products_from(tablefiles.read_table(path))
        found = PriceList(path.name, labels, offers, problems=problems)
    if not found.products:
        none = Problem(str(path), "it holds no products", "Name a products file, or import one first.")
        raise InputError(found.problems if has_errors(found.problems) else [none])
    return found


@dataclass(frozen=True, slots=True)
class _Chosen:
    """One offer that can be reckoned with: its label is there and its package has a weight."""

    label: Product
    offer: Offer
    package_kg: float
    row: products.OfferComparison


def _refusal(prices: PriceList, error: InputError) -> InputError:
    """Name the rows that were left out as well: what was asked for may be one of them."""
    left_out = (problem for problem in prices.problems if problem.level is Level.ERROR)
    return InputError((*error.problems, *left_out))


def _label(prices: PriceList, words: str) -> Product:
    try:
        return find_product(words, prices.products)
    except InputError as error:
        raise _refusal(prices, error) from error


def _choose(prices: PriceList, words: str, price: Decimal | None = None) -> _Chosen:
    offered = {offer.product for offer in prices.offers}
    fit = [label.product for label in prices.products if fitting(words, [label.product])]
    try:
        if fit and offered.isdisjoint(fit):
            what = "it has a label but no package or price"
            raise InputError([Problem(f"product {fit[0]}", what, "Fill in package and price in its row.")])
        offer = find_offer(words, prices.offers)
    except InputError as error:
        raise _refusal(prices, error) from error
    if price is not None:
        offer = replace(offer, price=price, price_breaks=())
    label = next((item for item in prices.products if item.product == offer.product), None)
    problems = products.check_offer(offer, label, f"offer {offer.product}")
    if label is None or offer.package_kg is None or has_errors(problems):
        raise InputError(problem for problem in problems if problem.level is Level.ERROR)
    return _Chosen(label, offer, offer.package_kg, products.compare([label], [offer]).offers[0])


def _doubts(prices: PriceList, *labels: Product) -> tuple[Problem, ...]:
    """What a person should look at on the labels an answer rests on."""
    named = dict.fromkeys(label.product for label in labels)
    by_name = {label.product: label for label in labels}
    return tuple(p for name in named for p in products.check_product(by_name[name], f"{prices.name}, {name}"))


def _named(offer: Offer) -> str:
    return f"{offer.product}, {offer.package}"


def _held(row: products.OfferComparison) -> Mapping[str, float]:
    """Supply key to what one package holds of it [kg]."""
    limes = {f"lime {entry.basis.value}": entry.effective_kg for entry in row.lime}
    return {**{nutrient.value: mass for nutrient, mass in row.nutrients_kg.items()}, **limes}


def _steps_about(row: products.OfferComparison, supply: str) -> tuple[Step, ...]:
    """The label arithmetic of one supply: what the package weighs, what it holds, what a pound costs."""
    units = {"lb", f"% {supply}", f"lb {supply}", f"$/lb {supply}"}
    scores = (entry.steps for entry in row.lime if f"lime {entry.basis.value}" == supply)
    return (*(step for step in row.steps if step.unit in units), *(step for part in scores for step in part))


# ---------------------------------------------------------------------------------------------
# At what price is it the better buy?


def _stated(supply: str, price_per_kg: float) -> Reference:
    step = Step(f"price of {supply} elsewhere, as given", price_per_kg * LB_KG, f"$/lb {supply}", USER)
    return Reference(supply, price_per_kg, None, (step,))


def _priced(label: Product, row: products.OfferComparison, supply: str) -> Reference:
    """All of an offer's price on one supply; refuses when price or supply is missing."""
    _check_score(label, supply)
    price = costs.price_after_credits(label, row.offer, supply, {}, ())
    return Reference(supply, price.amount, row.offer, _steps_about(row, supply))


def _check_score(label: Product, supply: str) -> None:
    """Refuse a lime whose score in this basis cannot be known, with the reason."""
    if supply.startswith("lime "):
        lime.product_for_need(1.0, lime.score(label, _basis_of(supply)), label.product)


def _basis_of(supply: str) -> LimeBasis:
    return LimeBasis(supply.removeprefix("lime "))


def break_even(
    prices: PriceList,
    words: str,
    supply: str,
    against: str | None = None,
    price_per_kg: float | None = None,
    price: Decimal | None = None,
) -> BreakEven:
    """Find the package price at which a nutrient costs the same as in another offer, or as a given price.

    Parameters
    ----------
    prices
        What there is to choose from.
    words
        The offer asked about.
    supply
        Supply key compared.
    against
        The other offer; None = compare with `price_per_kg`.
    price_per_kg
        What a kilogram costs elsewhere [money/kg]; None = compare with `against`.
    price
        What a package costs today, in place of the file's [money].

    Returns
    -------
    BreakEven

    Raises
    ------
    InputError
        When there is not exactly one thing to compare with, an offer is not found, or one of them cannot
        be reckoned.
    """
    chosen = _choose(prices, words, price)
    labels = [chosen.label]
    if against is not None and price_per_kg is None:
        rival = _choose(prices, against)
        labels.append(rival.label)
        reference = _priced(rival.label, rival.row, supply)
    elif price_per_kg is not None and against is None:
        reference = _stated(supply, price_per_kg)
    else:
        what = "it compares with one thing: another offer or a price"
        raise InputError([Problem("break-even", what, "Give --against OFFER, or --at '1.24/lb'.")])
    _check_score(chosen.label, supply)
    worth = costs.break_even_price(chosen.label, chosen.package_kg, supply, reference.price_per_kg)
    steps = (*_steps_about(chosen.row, supply), *reference.steps, *worth.steps)
    return BreakEven(chosen.offer, supply, reference, worth.total, steps, _doubts(prices, *labels))


# ---------------------------------------------------------------------------------------------
# What is it worth where only this is needed?


def value(
    prices: PriceList,
    words: str,
    needed: Sequence[str],
    given: Mapping[str, float] | None = None,
    price: Decimal | None = None,
) -> Valued:
    """Value a package at reference prices, counting only the nutrients that are needed.

    Parameters
    ----------
    prices
        What there is to choose from.
    words
        The offer asked about.
    needed
        Supply keys that count.
    given
        Supply key to its price elsewhere [money/kg], as the user says. The others take the cheapest
        single-nutrient offer of the list: one that brings no other of N, P2O5, K2O or those needed.
    price
        What a package costs today, in place of the file's [money].

    Returns
    -------
    Valued

    Raises
    ------
    InputError
        When nothing is named as needed, or the offer is not found or cannot be reckoned.
    """
    if not needed:
        what = "what is needed is not said, and only that counts"
        raise InputError([Problem("value", what, "Name it: --need N --need P2O5.")])
    needed, given = tuple(dict.fromkeys(needed)), given or {}
    chosen = _choose(prices, words, price)
    held_kg = {supply: mass for supply, mass in _held(chosen.row).items() if supply in needed}
    references: dict[str, Reference] = {}
    looked_for = [supply for supply in held_kg if supply not in given]
    problems = [*_doubts(prices, chosen.label), *(prices.problems if looked_for else ())]
    for supply in given:
        if supply not in needed:
            what = f"the price of {supply} is not used: it is not named as needed"
            problems.append(Problem("--reference", what, f"Add --need {supply!r}.", Level.NOTE))
    for supply in needed:
        if not held_kg.get(supply):
            what = f"it guarantees no {supply}, so nothing is counted for it"
            problems.append(Problem(f"product {chosen.label.product}", what, "", Level.NOTE))
            continue
        stated = _stated(supply, given[supply]) if supply in given else None
        found = stated or _cheapest(prices, supply, needed, chosen.offer)
        if found is None:
            what = f"no single-nutrient offer of {supply} has a price, so it is not counted"
            fix = f"Give its price: --reference '{supply}=0.60/lb'."
            problems.append(Problem(prices.name, what, fix, Level.WARNING))
        else:
            references[supply] = found
    per_kg = {supply: found.price_per_kg for supply, found in references.items()}
    worth = costs.value_against_references(chosen.label, chosen.package_kg, per_kg, needed)
    after = {
        supply: costs.price_after_credits(chosen.label, chosen.offer, supply, per_kg, needed)
        for supply in held_kg
        if chosen.offer.price is not None and held_kg[supply] > 0
    }
    steps = (
        *(step for supply in held_kg for step in _steps_about(chosen.row, supply) if "$" not in step.unit),
        *(step for found in references.values() for step in found.steps),
        *worth.steps,
        *(found.steps[-1] for found in after.values()),
    )
    return Valued(
        offer=chosen.offer,
        needed=needed,
        held_kg=held_kg,
        references=references,
        parts=worth.parts,
        total=worth.total,
        after_credits={supply: found.amount for supply, found in after.items()},
        steps=tuple(dict.fromkeys(steps)),
        problems=tuple(problems),
    )


#: Nothing that brings a second one of these is a single-nutrient product.
_GRADE = {Nutrient.N.value, Nutrient.P2O5.value, Nutrient.K2O.value}


def _cheapest(prices: PriceList, supply: str, needed: Sequence[str], but_not: Offer) -> Reference | None:
    """The cheapest other offer of this supply that brings no other of N, P2O5, K2O or what is needed."""
    counted = {*_GRADE, *needed}
    labels = {label.product: label for label in prices.products}
    found = [
        _priced(labels[row.offer.product], row, supply)
        for row in products.compare(prices.products, prices.offers).offers
        if row.offer.price is not None
        and row.offer.offer_id != but_not.offer_id
        and {key for key, mass in _held(row).items() if mass > 0 and key in counted} == {supply}
    ]
    best = min(found, key=lambda item: item.price_per_kg, default=None)
    if best is None or best.offer is None:
        return None
    words = f"{supply} elsewhere, the cheapest single-nutrient offer"
    return replace(best, steps=(Step(words, _named(best.offer), "", Source(prices.name)), *best.steps))


# ---------------------------------------------------------------------------------------------
# How much of it?


def amount(
    prices: PriceList,
    words: str,
    supply: str,
    rate_kg_ha: float,
    area_m2: float,
    charges: Charges = AS_FILED,
    price: Decimal | None = None,
) -> AmountNeeded:
    """Work out how much of an offer, and how many packages, meet a rate on an area, and the cost an acre.

    Parameters
    ----------
    prices
        What there is to choose from.
    words
        The offer asked about.
    supply
        What the rate is of: a supply key, or `costs.PRODUCT`.
    rate_kg_ha
        Rate of it [kg/ha].
    area_m2
        Spread area [m2].
    charges
        What it costs beside the package price.
    price
        What a package costs today, in place of the file's [money].

    Returns
    -------
    AmountNeeded

    Raises
    ------
    InputError
        When the offer is not found, cannot be weighed, or does not guarantee the supply.
    """
    chosen = _choose(prices, words, price)
    label, offer = chosen.label, chosen.offer
    if charges.delivery is not None:
        offer = replace(offer, delivery_fee=charges.delivery)
    _check_score(label, supply)
    per_area = costs.product_needed(label, supply, rate_kg_ha)
    on_area = costs.product_on_area(label, supply, rate_kg_ha, area_m2)
    packages = costs.packages_for(on_area.amount, offer)
    cost = None
    if offer.price is not None:
        per_ha, per_pass = charges.spreading_per_ha, charges.spreading_per_pass
        cost = costs.delivered_cost(
            label,
            offer,
            supply,
            rate_kg_ha,
            area_m2,
            prices.spreading_cost_per_ha if per_ha is None else per_ha,
            prices.spreading_cost_per_pass if per_pass is None else per_pass,
            charges.hauling_per_kg,
        )
    score = lime.score(label, _basis_of(supply)) if supply.startswith("lime ") else None
    liquid = products.liquid_content(label).steps if label.form is Form.LIQUID and label.density_kg_m3 else ()
    steps = (
        *(() if score is None else score.steps),
        *(step for step in liquid if step.unit == f"lb {supply}/gal"),
        *((*on_area.steps, *packages.steps) if cost is None else cost.steps),
    )
    return AmountNeeded(
        label=label,
        offer=offer,
        supply=supply,
        rate_kg_ha=rate_kg_ha,
        area_m2=area_m2,
        product_kg_ha=per_area.amount,
        product_kg=on_area.amount,
        packages=packages,
        cost=cost,
        steps=steps,
        problems=(
            *products.check_offer(offer, label, f"offer {offer.product}"),
            *_doubts(prices, label),
            *_over_limits(label, offer, per_area.amount, packages.count),
        ),
    )


def _over_limits(label: Product, offer: Offer, rate_kg_ha: float, count: float) -> tuple[Problem, ...]:
    found = []
    where = f"product {label.product}"
    most, least = label.max_rate_kg_ha, label.min_rate_kg_ha
    if most is not None and rate_kg_ha > most:
        what = f"{format_rate(rate_kg_ha)} is over the most the file allows in one pass, {format_rate(most)}"
        found.append(Problem(f"{where}, max_rate", what, "Split it, or choose another.", Level.WARNING))
    if least is not None and rate_kg_ha < least:
        what = f"{format_rate(rate_kg_ha)} is under the least that can be spread, {format_rate(least)}"
        found.append(Problem(f"{where}, min_rate", what, "Choose a weaker product.", Level.WARNING))
    if offer.max_count is not None and count > offer.max_count:
        what = f"{count:g} packages are needed and the seller has {offer.max_count}"
        found.append(Problem(f"offer {offer.product}, max_count", what, "Ask another seller.", Level.WARNING))
    return tuple(found)


# ---------------------------------------------------------------------------------------------
# What is in the mix?


def mix(prices: PriceList, parts: Sequence[tuple[str, float]], filler_kg: float = 0.0) -> Mixture:
    """Work out the grade of a mixture of products of the list.

    Parameters
    ----------
    prices
        What there is to choose from.
    parts
        (words for the product, mass [kg]).
    filler_kg
        Inert filler [kg].

    Returns
    -------
    Mixture

    Raises
    ------
    InputError
        When a product is not found or the amounts cannot be mixed.
    """
    made = blends.blend([(_label(prices, words), mass_kg) for words, mass_kg in parts], filler_kg)
    return Mixture(made, _doubts(prices, *(product for product, _ in made.parts)))


def formulate(
    prices: PriceList, grade_pct: Mapping[Nutrient, float], carriers: Sequence[str], batch_kg: float
) -> Mixture:
    """Work out the pounds of chosen products, and of filler, that make a grade.

    Parameters
    ----------
    prices
        What there is to choose from.
    grade_pct
        Wanted analysis [percent by weight]; what is zero is left to fall as it may.
    carriers
        Words for one product for each nutrient wanted.
    batch_kg
        Size of the batch [kg].

    Returns
    -------
    Mixture

    Raises
    ------
    InputError
        When a product is not found, or these cannot make that grade.
    """
    labels = [_label(prices, words) for words in carriers]
    return Mixture(blends.formulate(grade_pct, labels, batch_kg), _doubts(prices, *labels))


# ---------------------------------------------------------------------------------------------
# What does such a material usually hold?


def find_materials(known: Sequence[KnownMaterial], words: str = "") -> tuple[KnownMaterial, ...]:
    """List common materials with published figures.

    Parameters
    ----------
    known
        All of them.
    words
        Words of their names; empty = all.

    Returns
    -------
    tuple of KnownMaterial

    Raises
    ------
    InputError
        When no name holds these words; the message lists the names.
    """
    if not words.strip():
        return tuple(known)
    names = [material.product.product for material in known]
    places = fitting(words, names)
    if not places:
        what = f"{words!r} is not among the materials with published figures"
        raise InputError([Problem("material", what, f"Use words of: {', '.join(names)}.")])
    return tuple(known[place] for place in places)


# ---------------------------------------------------------------------------------------------
# What of the bag is live seed?


def live_seed(tag: SeedTag, price_per_kg: float | None, pls_rate_kg_ha: float | None) -> SeedAnswer:
    """Work out the pure live seed of a lot from its tag, what it costs, and how much to sow.

    Parameters
    ----------
    tag
        The tag.
    price_per_kg
        Price of the seed as bagged [money/kg]; None = not asked.
    pls_rate_kg_ha
        Rate of pure live seed wanted [kg/ha]; None = not asked.

    Returns
    -------
    SeedAnswer

    Raises
    ------
    InputError
        When a figure of the tag is not possible.
    """
    lot = seed.pure_live_seed(tag.purity_pct, tag.germination_pct, tag.hard_pct)
    bulk = format_figure(lot.bulk_per_pls)
    steps = list(lot.steps)
    pls_price = bulk_rate = None
    if price_per_kg is not None:
        pls_price = seed.price_of_pure_live_seed(price_per_kg, lot)
        words = f"{format_figure(price_per_kg * LB_KG)} $/lb as bagged × {bulk} lb"
        steps.append(Step(words, pls_price * LB_KG, "$/lb pure live seed", ARITHMETIC))
    if pls_rate_kg_ha is not None:
        bulk_rate = seed.bulk_rate_kg_ha(pls_rate_kg_ha, lot)
        words = f"{format_rate(pls_rate_kg_ha)} of pure live seed × {bulk}"
        steps.append(Step(words, format_rate(bulk_rate), "as bagged", ARITHMETIC))
    return SeedAnswer(lot, price_per_kg, pls_price, pls_rate_kg_ha, bulk_rate, tuple(steps))


# ---------------------------------------------------------------------------------------------
# What is this lime worth?


def lime_worth(prices: PriceList, words: str, question: LimeQuestion) -> LimeAnswer:
    """Score a lime, and work out how much of it meets a need, in which doses, and what it costs.

    Parameters
    ----------
    prices
        What there is to choose from.
    words
        The product asked about.
    question
        What is asked.

    Returns
    -------
    LimeAnswer

    Raises
    ------
    InputError
        When the product is not found or is no lime, a need has no basis or cannot be met, a rule is not
        known or has no need to divide.
    """
    limes = [item for item in prices.products if item.lime is not None]
    among_limes = fitting(words, [item.product for item in limes])
    label = find_product(words, limes) if among_limes else _label(prices, words)
    if label.lime is None:
        names = ", ".join(repr(item.product) for item in limes)
        fix = f"Use one of: {names}." if names else "Add cce, sieves or a printed score to its row."
        raise InputError([Problem(f"product {label.product}", "it has no lime label", fix)])
    basis, need_kg_ha = question.basis, question.need_kg_ha
    if need_kg_ha is not None and basis is None:
        what = "the need does not say which effective pounds it means"
        raise InputError([Problem("--need", what, "Write for example '3000 lb ENP/acre'.")])
    if question.limit_id and need_kg_ha is None:
        what = f"{question.limit_id!r} divides a need, and none is given"
        raise InputError([Problem("--doses", what, "Add --need '3000 lb ENP/acre'.")])
    first = lime.printed_basis(label.lime)
    bases = sorted((b for b in LimeBasis if b is not LimeBasis.PRODUCT), key=lambda b: b is not first)
    scores = tuple(lime.score(label, item) for item in (bases if basis is None else [basis]))
    steps = [step for score in scores for step in score.steps]
    product_kg_ha = doses = None
    if need_kg_ha is not None:
        needed = lime.product_for_need(need_kg_ha, scores[0], label.product)
        product_kg_ha = needed.amount
        steps.append(Step(f"need of {scores[0].basis.value}", format_rate(need_kg_ha), "", USER))
        steps.append(replace(needed.steps[-1], value=format_rate(product_kg_ha), unit="of product"))
        if question.limit_id:
            doses = lime.split_doses(product_kg_ha, lime.dose_limit(question.limit_id))
            steps.extend(doses.steps)
    magnesium = lime.magnesium_note(label, True) if question.low_magnesium else None
    offers = tuple(offer for offer in prices.offers if offer.product == label.product)
    asked = {score.basis: len(score.steps) for score in scores}
    rows = [
        (row.offer, tuple(entry for entry in row.lime if entry.basis in asked))
        for row in products.compare([label], offers).offers
    ]
    steps.extend(
        step for _, entries in rows for entry in entries for step in entry.steps[asked[entry.basis] :]
    )
    if magnesium is not None:
        steps.append(magnesium)
    unknown = (
        Problem(
            f"product {label.product}, {score.basis.value}",
            score.reason,
            "Ask the seller for the score, or for what is missing.",
            Level.WARNING,
        )
        for score in scores
        if score.fraction is None and basis is not None
    )
    return LimeAnswer(
        label=label,
        scores=scores,
        offers=tuple(rows),
        need_kg_ha=need_kg_ha,
        product_kg_ha=product_kg_ha,
        doses=doses,
        magnesium=magnesium,
        steps=tuple(steps),
        problems=(*unknown, *_doubts(prices, label)),
    )
