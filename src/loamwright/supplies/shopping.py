"""The questions of a person at the store, one function each, from a price list or a property.

At what price is it the better buy? What is it worth where only this is needed? How much of it, how many
packages, at what cost an acre? What is in the mix, and what makes the wanted grade? What does such a
material usually hold? What of the bag is live seed? What is this lime worth?

It knows which rooms answer and does no arithmetic of its own. What the user's words stand for is
`asking`; the plan for a whole property is `season`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.money import money_sign
from loamwright.supplies import costs, lime_score, products
from loamwright.supplies.asking import find_offer, fitting
from loamwright.supplies.costs import DeliveredCost, Packages
from loamwright.supplies.records import Form, Offer, Product
from loamwright.units import LB_KG, format_rate
from loamwright.values import USER, Source, Step, Supply


@dataclass(frozen=True, slots=True)
class PriceList:
    """Labels and offers to ask about.

    Parameters
    ----------
    name
        The file's name.
    products, offers
        What it holds.
    spreading_cost_per_ha, spreading_cost_per_pass
        What a pass costs, as a property says [money per ha], [money]; zero from a table.
    units
        How amounts are shown, as a property says; ``"us"`` from a table.
    problems
        What was found in the file; rows with an error are left out.
    """

    name: str
    products: tuple[Product, ...]
    offers: tuple[Offer, ...]
    spreading_cost_per_ha: Decimal = Decimal(0)
    spreading_cost_per_pass: Decimal = Decimal(0)
    units: str = "us"
    problems: tuple[Problem, ...] = ()


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


def doubts(prices: PriceList, *labels: Product) -> tuple[Problem, ...]:
    """What a person should look at on the labels an answer rests on."""
    named = dict.fromkeys(label.product for label in labels)
    by_name = {label.product: label for label in labels}
    return tuple(p for name in named for p in products.check_product(by_name[name], f"{prices.name}, {name}"))


def _named(offer: Offer) -> str:
    return f"{offer.product}, {offer.package}"


def _held(row: products.OfferComparison) -> Mapping[Supply, float]:
    """Supply key to what one package holds of it [kg]."""
    limes = {entry.basis.supply: entry.effective_kg for entry in row.lime}
    return {**{nutrient.supply: mass for nutrient, mass in row.nutrients_kg.items()}, **limes}


def _steps_about(row: products.OfferComparison, supply: Supply) -> tuple[Step, ...]:
    """The label arithmetic of one supply: what the package weighs, what it holds, what a pound costs."""
    units = {"lb", f"% {supply}", f"lb {supply}", f"{money_sign()}/lb {supply}"}
    scores = (entry.steps for entry in row.lime if entry.basis.supply == supply)
    return (*(step for step in row.steps if step.unit in units), *(step for part in scores for step in part))


# ---------------------------------------------------------------------------------------------
# At what price is it the better buy?


@dataclass(frozen=True, slots=True)
class Reference:
    """What a nutrient or effective lime costs elsewhere.

    Parameters
    ----------
    supply
        Supply key.
    price_per_kg
        Money per kilogram of it, unrounded.
    offer
        Where; None = the user's own figure.
    steps
        How it was reached.
    """

    supply: Supply
    price_per_kg: float
    offer: Offer | None
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class BreakEven:
    """The package price at which an offer is as cheap as another.

    Parameters
    ----------
    offer
        The offer asked about.
    supply
        Nutrient or effective lime compared; nothing else in the package is credited.
    reference
        What it is compared with.
    price
        Break-even price of one package [money, unrounded].
    steps
        How it was reached.
    problems
        Doubts about the labels.
    """

    offer: Offer
    supply: Supply
    reference: Reference
    price: float
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]


def _stated(supply: Supply, price_per_kg: float) -> Reference:
    step = Step(
        f"price of {supply} elsewhere, as given", price_per_kg * LB_KG, f"{money_sign()}/lb {supply}", USER
    )
    return Reference(supply, price_per_kg, None, (step,))


def _priced(label: Product, row: products.OfferComparison, supply: Supply) -> Reference:
    """All of an offer's price on one supply; refuses when price or supply is missing."""
    _check_score(label, supply)
    price = costs.price_after_credits(label, row.offer, supply, {}, ())
    return Reference(supply, price.amount, row.offer, _steps_about(row, supply))


def _check_score(label: Product, supply: Supply) -> None:
    """Refuse a lime whose score in this basis cannot be known, with the reason."""
    if supply.basis is not None:
        lime_score.product_for_need(1.0, lime_score.score(label, supply.basis), label.product)


def break_even(
    prices: PriceList,
    words: str,
    supply: Supply,
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
        raise InputError([Problem("break-even", what, "Give `against` OFFER, or `at` '1.24/lb'.")])
    _check_score(chosen.label, supply)
    worth = costs.break_even_price(chosen.label, chosen.package_kg, supply, reference.price_per_kg)
    steps = (*_steps_about(chosen.row, supply), *reference.steps, *worth.steps)
    return BreakEven(chosen.offer, supply, reference, worth.total, steps, doubts(prices, *labels))


# ---------------------------------------------------------------------------------------------
# What is it worth where only this is needed?


@dataclass(frozen=True, slots=True)
class Valued:
    """What a package is worth at the prices of its rivals.

    Parameters
    ----------
    offer
        The offer asked about.
    needed
        Supply keys that count.
    held_kg
        Supply key to what a package holds of it [kg].
    references
        What each costs elsewhere; a needed supply without one is not counted.
    parts
        Supply key to its share of the worth [money, unrounded].
    total
        Worth of one package [money, unrounded].
    after_credits
        Supply key to what it costs here once the others needed are credited [money/kg]; empty when the
        offer has no price.
    steps
        How it was reached.
    problems
        What could not be counted; what the file left out, when references were looked for in it; doubts
        about the label.
    """

    offer: Offer
    needed: tuple[Supply, ...]
    held_kg: Mapping[Supply, float]
    references: Mapping[Supply, Reference]
    parts: Mapping[Supply, float]
    total: float
    after_credits: Mapping[Supply, float]
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]


def value(
    prices: PriceList,
    words: str,
    needed: Sequence[Supply],
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
        raise InputError([Problem("value", what, "Name it: `need` N `need` P2O5.")])
    needed, given = tuple(dict.fromkeys(needed)), given or {}
    chosen = _choose(prices, words, price)
    held_kg = {supply: mass for supply, mass in _held(chosen.row).items() if supply in needed}
    references: dict[Supply, Reference] = {}
    looked_for = [supply for supply in held_kg if supply not in given]
    problems = [*doubts(prices, chosen.label), *(prices.problems if looked_for else ())]
    for supply in given:
        if supply not in needed:
            what = f"the price of {supply} is not used: it is not named as needed"
            problems.append(Problem("reference", what, f"Add `need` {supply!r}.", Level.NOTE))
    for supply in needed:
        if not held_kg.get(supply):
            what = f"it guarantees no {supply}, so nothing is counted for it"
            problems.append(Problem(f"product {chosen.label.product}", what, "", Level.NOTE))
            continue
        stated = _stated(supply, given[supply]) if supply in given else None
        found = stated or _cheapest(prices, supply, needed, chosen.offer)
        if found is None:
            what = f"no single-nutrient offer of {supply} has a price, so it is not counted"
            fix = f"Give its price: `reference` '{supply}=0.60/lb'."
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
        *(
            step
            for supply in held_kg
            for step in _steps_about(chosen.row, supply)
            if not step.unit.startswith(money_sign())
        ),
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
_GRADE = {Supply.N, Supply.P2O5, Supply.K2O}


def _cheapest(
    prices: PriceList, supply: Supply, needed: Sequence[Supply], but_not: Offer
) -> Reference | None:
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


@dataclass(frozen=True, slots=True)
class Charges:
    """What it costs beside the package price; None = as the file says.

    Parameters
    ----------
    delivery
        Once for the order [money].
    spreading_per_ha, spreading_per_pass
        For the pass [money/ha], and for going there once [money].
    hauling_per_kg
        For what is bought [money/kg].
    """

    delivery: Decimal | None = None
    spreading_per_ha: Decimal | None = None
    spreading_per_pass: Decimal | None = None
    hauling_per_kg: Decimal = Decimal(0)


#: Nothing charged but what the file says.
AS_FILED = Charges()


@dataclass(frozen=True, slots=True)
class AmountNeeded:
    """How much of an offer meets a rate on an area.

    Parameters
    ----------
    label, offer
        What is bought.
    supply
        What the rate is of: a supply key, or the product itself.
    rate_kg_ha, area_m2
        Rate of it [kg/ha] and spread area [m2].
    product_kg_ha, product_kg
        Product per area [kg/ha] and in all [kg].
    packages
        Packages, exact and to buy.
    cost
        Bought, delivered, hauled and spread; None when the price is missing.
    steps
        How it was reached.
    problems
        Limits of the label or the seller that it goes over; a missing price; doubts about the label.
    """

    label: Product
    offer: Offer
    supply: Supply
    rate_kg_ha: float
    area_m2: float
    product_kg_ha: float
    product_kg: float
    packages: Packages
    cost: DeliveredCost | None
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]


def amount(
    prices: PriceList,
    words: str,
    supply: Supply,
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
        What the rate is of: a supply key, or the product itself.
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
    score = None if supply.basis is None else lime_score.score(label, supply.basis)
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
            *doubts(prices, label),
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
