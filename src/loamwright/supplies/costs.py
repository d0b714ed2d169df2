"""What a purchase costs and what it may cost: amounts, whole packages, value, delivered and spread.

This file answers: how much product brings a pound of this; how many packages is that; what is a package
worth at the prices of its rivals, counting only what is needed; what does a nutrient rate cost once it is
bought, hauled and spread. It compares; it does not choose (the planner does).

Money that is paid is `Decimal`, to the cent. A price per kilogram and a value worked out from one are
ratios, plain floats, and are never rounded.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from loamwright.errors import InputError, Problem
from loamwright.money import format_money, money_sign
from loamwright.supplies.products import nutrient_fractions, supply_fractions
from loamwright.supplies.records import Offer, Product
from loamwright.units import (
    HA_M2,
    LB_KG,
    format_area,
    format_figure,
    format_mass,
    format_rate,
)
from loamwright.values import ARITHMETIC, USER, LimeBasis, Step, Supply

#: Supply key of the product itself, for a rate that names no nutrient.

# ---------------------------------------------------------------------------------------------
# Amounts


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount worked out, with its steps.

    Parameters
    ----------
    amount
        The figure, in the unit named by the function that made it.
    steps
        How it was reached.
    """

    amount: float
    steps: tuple[Step, ...]


def product_needed(product: Product, supply: Supply, amount: float) -> Amount:
    """Work out how much product brings an amount of one nutrient or of effective lime.

    Examples
    --------
    1 lb of N from 8-8-8 takes 12.5 lb:

    >>> from loamwright.supplies import Form
    >>> from loamwright.values import Nutrient
    >>> product_needed(Product("8-8-8", Form.DRY, {Nutrient.N: 8}), "N", 1).amount
    12.5
    """
    if supply is Supply.PRODUCT:
        return Amount(amount, ())
    fraction = _supply_fraction(product, supply)
    step = Step(
        f"{format_figure(amount)} {supply} ÷ {format_figure(fraction * 100)} % {supply} in {product.product}",
        amount / fraction,
        "product, same unit",
        ARITHMETIC,
    )
    label = (step for step in nutrient_fractions(product).steps if step.unit == f"% {supply}")
    return Amount(amount / fraction, (*label, step))


def _supply_fraction(product: Product, supply: Supply) -> float:
    bases = [basis for basis in LimeBasis if supply == basis.supply]
    fraction = supply_fractions(product, bases).get(supply)
    if not fraction:
        what = f"it guarantees no {supply}, so it cannot be measured out by it"
        raise InputError([Problem(f"product {product.product}", what, f"Choose a product with {supply}.")])
    return fraction


def product_on_area(product: Product, supply: Supply, rate_kg_ha: float, area_m2: float) -> Amount:
    """Work out how much product meets a rate on an area."""
    for name, value in (("rate", rate_kg_ha), ("area", area_m2)):
        if not (math.isfinite(value) and value > 0):
            what = f"the {name} {value:g} is not more than zero"
            raise InputError([Problem(f"amount of {product.product}", what, f"Give the {name}.")])
    supplied_kg = rate_kg_ha * area_m2 / HA_M2
    words = f"{format_rate(rate_kg_ha)} × {format_area(area_m2)}"
    steps = [Step(words, supplied_kg / LB_KG, f"lb {supply}", ARITHMETIC)]
    needed = product_needed(product, supply, supplied_kg)
    if supply is not Supply.PRODUCT:
        words = f"÷ {format_figure(supplied_kg / needed.amount * 100)} % {supply} in {product.product}"
        steps.extend(needed.steps[:-1])
        steps.append(Step(words, needed.amount / LB_KG, "lb product", ARITHMETIC))
    return Amount(needed.amount, tuple(steps))


@dataclass(frozen=True, slots=True)
class Packages:
    """Packages for a mass of product.

    Parameters
    ----------
    exact
        Mass over package [packages, unrounded].
    count
        Packages to buy: rounded up to whole ones, or to the increment of a bulk offer, and to the
        smallest order.
    left_over_kg
        Bought but not needed [kg].
    steps
        How it was reached.
    """

    exact: float
    count: float
    left_over_kg: float
    steps: tuple[Step, ...]


def packages_for(mass_kg: float, offer: Offer) -> Packages:
    """Work out how many packages of an offer hold a mass; always rounded up, never down.

    Examples
    --------
    357 lb in 50 lb bags is 7.14 bags, so 8 are bought:

    >>> bags = packages_for(357 * LB_KG, Offer("1", "28-14-5", "50 lb bag", 50 * LB_KG, None))
    >>> round(bags.exact, 2), bags.count, round(bags.left_over_kg / LB_KG, 6)
    (7.14, 8.0, 43.0)
    """
    package_kg = _package_kg(offer)
    exact = mass_kg / package_kg
    step = 1.0
    if offer.divisible:
        step = (offer.increment_kg or 0.0) / package_kg
    wanted = exact if step <= 0 else math.ceil(exact / step - 1e-9) * step
    count = max(wanted, float(offer.min_order)) if mass_kg > 0 else 0.0
    words = f"{format_mass(mass_kg)} ÷ {offer.package}"
    steps = [Step(words, exact, "packages", ARITHMETIC)]
    if count > exact:
        why = f"smallest order {offer.min_order}" if count > wanted else "rounded up"
        steps.append(Step(f"{offer.product}: {why}", count, "packages to buy", ARITHMETIC))
    return Packages(exact, count, max(0.0, count * package_kg - mass_kg), tuple(steps))


def _package_kg(offer: Offer) -> float:
    if offer.package_kg is None or not offer.package_kg > 0:
        what = f"the weight of {offer.package!r} is not known"
        raise InputError([Problem(f"offer {offer.product}", what, "Write a net weight, or add the density.")])
    return offer.package_kg


def price_at(offer: Offer, count: float) -> Decimal:
    """Return the unit price when so many packages are bought at once."""
    if offer.price is None or not offer.price > 0:
        shown = "missing" if offer.price is None else f"{offer.price}, not more than zero"
        what = f"the price of {offer.package!r} is {shown}"
        raise InputError([Problem(f"offer {offer.product}, price", what, "Write the price of one package.")])
    reached = [price for least, price in offer.price_breaks if count >= least]
    return reached[-1] if reached else offer.price


# ---------------------------------------------------------------------------------------------
# Money


@dataclass(frozen=True, slots=True)
class NutrientValue:
    """What an amount of nutrients is worth at given prices.

    Parameters
    ----------
    total
        Money, unrounded.
    parts
        Money by supply; those not counted are absent.
    steps
        How it was reached, also saying what was not counted.
    """

    total: float
    parts: Mapping[Supply, float]
    steps: tuple[Step, ...]


def value_nutrients(
    amounts_kg: Mapping[Supply, float],
    prices_per_kg: Mapping[Supply, float],
    needed: Collection[Supply] | None = None,
) -> NutrientValue:
    """Value amounts of nutrients at reference prices, counting only those that are needed."""
    parts: dict[Supply, float] = {}
    steps = []
    for supply, amount_kg in amounts_kg.items():
        pounds = amount_kg / LB_KG
        price = prices_per_kg.get(supply)
        if needed is not None and supply not in needed:
            steps.append(Step(f"{format_figure(pounds)} lb {supply}", "not needed, not counted", "", USER))
        elif price is None:
            steps.append(
                Step(f"{format_figure(pounds)} lb {supply}", "no reference price, not counted", "", USER)
            )
        else:
            parts[supply] = amount_kg * price
            words = f"{format_figure(pounds)} lb {supply} × {format_figure(price * LB_KG)} {money_sign()}/lb"
            steps.append(Step(words, parts[supply], money_sign(), USER))
    total = sum(parts.values())
    steps.append(Step("worth together", total, money_sign(), ARITHMETIC))
    return NutrientValue(total, parts, tuple(steps))


def value_against_references(
    product: Product,
    package_kg: float,
    prices_per_kg: Mapping[Supply, float],
    needed: Collection[Supply] | None = None,
) -> NutrientValue:
    """Value a package at the reference prices of the nutrients that are needed."""
    bases = [basis for basis in LimeBasis if basis.supply in prices_per_kg]
    amounts = {supply: package_kg * share for supply, share in supply_fractions(product, bases).items()}
    return value_nutrients(amounts, prices_per_kg, needed)


def break_even_price(
    product: Product, package_kg: float, supply: Supply, price_per_kg: float
) -> NutrientValue:
    """Find the package price at which one nutrient costs the same as in an alternative."""
    _supply_fraction(product, supply)
    return value_against_references(product, package_kg, {supply: price_per_kg}, {supply})


def price_after_credits(
    product: Product,
    offer: Offer,
    supply: Supply,
    prices_per_kg: Mapping[Supply, float],
    needed: Collection[Supply],
) -> Amount:
    """Find what one nutrient costs after the others in the package were credited at reference prices."""
    package_kg = _package_kg(offer)
    price = price_at(offer, 1)
    share_kg = package_kg * _supply_fraction(product, supply)
    others = set(needed) - {supply}
    credit = value_against_references(product, package_kg, prices_per_kg, others)
    left = float(price) - credit.total
    pounds = format_figure(share_kg / LB_KG)
    words = f"({format_money(price)} − {format_figure(credit.total)} credit) ÷ {pounds} lb {supply}"
    step = Step(words, left / share_kg * LB_KG, f"{money_sign()}/lb {supply}", ARITHMETIC)
    return Amount(left / share_kg, (*credit.steps, step))


@dataclass(frozen=True, slots=True)
class DeliveredCost:
    """What it costs to get a nutrient rate bought, hauled and spread on an area.

    Parameters
    ----------
    product_kg_ha, product_kg
        Product per area [kg/ha] and in all [kg].
    packages
        Packages, exact and to buy.
    purchase, delivery, hauling, spreading
        Money.
    cost_per_ha
        All of it per area [money/ha].
    cost_per_kg
        All of it per mass of the nutrient asked for [money/kg].
    steps
        How it was reached.
    """

    product_kg_ha: float
    product_kg: float
    packages: Packages
    purchase: Decimal
    delivery: Decimal
    hauling: Decimal
    spreading: Decimal
    cost_per_ha: float
    cost_per_kg: float
    steps: tuple[Step, ...]

    @property
    def total(self) -> Decimal:
        """Everything together [money]."""
        return self.purchase + self.delivery + self.hauling + self.spreading


def _cents(amount: Decimal | float) -> Decimal:
    return Decimal(amount).quantize(Decimal("0.01"), ROUND_HALF_UP)


def delivered_cost(
    product: Product,
    offer: Offer,
    supply: Supply,
    rate_kg_ha: float,
    area_m2: float,
    spreading_cost_per_ha: Decimal = Decimal(0),
    spreading_cost_per_pass: Decimal = Decimal(0),
    hauling_cost_per_kg: Decimal = Decimal(0),
) -> DeliveredCost:
    """Cost a nutrient rate on an area: whole packages, delivery, hauling and spreading.

    Notes
    -----
    Application cost can turn a ranking by product price around, so compare these totals.
    """
    needed = product_on_area(product, supply, rate_kg_ha, area_m2)
    packages = packages_for(needed.amount, offer)
    unit_price = price_at(offer, packages.count)
    purchase = _cents(unit_price * Decimal(str(packages.count)))
    hauled_kg = packages.count * _package_kg(offer)
    hauling = _cents(hauling_cost_per_kg * Decimal(hauled_kg))
    spreading = _cents(spreading_cost_per_ha * Decimal(area_m2 / HA_M2) + spreading_cost_per_pass)
    total = purchase + offer.delivery_fee + hauling + spreading
    supplied_kg = rate_kg_ha * area_m2 / HA_M2
    sign = money_sign()
    steps = (
        *needed.steps,
        *packages.steps,
        Step(
            f"{format_figure(packages.count)} × {format_money(unit_price)}", float(purchase), sign, ARITHMETIC
        ),
        Step("delivery", float(offer.delivery_fee), sign, USER),
        Step("hauling", float(hauling), sign, USER),
        Step("spreading, one pass", float(spreading), sign, USER),
        Step("together", float(total), sign, ARITHMETIC),
    )
    return DeliveredCost(
        needed.amount / area_m2 * HA_M2,
        needed.amount,
        packages,
        purchase,
        offer.delivery_fee,
        hauling,
        spreading,
        float(total) / area_m2 * HA_M2,
        float(total) / supplied_kg,
        steps,
    )
