"""What the questions of `buying` ask and answer: frozen records, figures with their steps.

This file holds no arithmetic. Supply keys are those of the planner: ``"N"``, ``"P2O5"`` …, ``"lime ENP"`` …;
`costs.PRODUCT` stands for the product itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from loamwright.blends import Blend
from loamwright.costs import DeliveredCost, Packages
from loamwright.errors import Problem
from loamwright.lime import LimeDoses, LimeOffer, LimeScore
from loamwright.seed import SeedLot
from loamwright.values import LimeBasis, Offer, Product, Step

# ---------------------------------------------------------------------------------------------
# What there is to choose from


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


# ---------------------------------------------------------------------------------------------
# Price and worth


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

    supply: str
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
    supply: str
    reference: Reference
    price: float
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]


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
    needed: tuple[str, ...]
    held_kg: Mapping[str, float]
    references: Mapping[str, Reference]
    parts: Mapping[str, float]
    total: float
    after_credits: Mapping[str, float]
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]


# ---------------------------------------------------------------------------------------------
# How much of it


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
        What the rate is of: a supply key, or `costs.PRODUCT`.
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
    supply: str
    rate_kg_ha: float
    area_m2: float
    product_kg_ha: float
    product_kg: float
    packages: Packages
    cost: DeliveredCost | None
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]


# ---------------------------------------------------------------------------------------------
# Mixtures


@dataclass(frozen=True, slots=True)
class Mixture:
    """A mixture of products of the list.

    Parameters
    ----------
    blend
        Its parts and analysis.
    problems
        Doubts about the labels.
    """

    blend: Blend
    problems: tuple[Problem, ...]


# ---------------------------------------------------------------------------------------------
# Seed


@dataclass(frozen=True, slots=True)
class SeedTag:
    """The figures of a seed tag.

    Parameters
    ----------
    purity_pct, germination_pct, hard_pct
        Pure seed, germination, and hard or dormant seed to be counted as live [percent].
    """

    purity_pct: float
    germination_pct: float
    hard_pct: float = 0.0


@dataclass(frozen=True, slots=True)
class SeedAnswer:
    """Pure live seed of a lot, its price, and the seed as bagged for a rate.

    Parameters
    ----------
    lot
        Pure live seed in it.
    price_per_kg, pls_price_per_kg
        Price as bagged and of pure live seed [money/kg]; None = no price given.
    pls_rate_kg_ha, bulk_rate_kg_ha
        Rate of pure live seed asked for, and of seed as bagged [kg/ha]; None = no rate given.
    steps
        How it was reached.
    """

    lot: SeedLot
    price_per_kg: float | None
    pls_price_per_kg: float | None
    pls_rate_kg_ha: float | None
    bulk_rate_kg_ha: float | None
    steps: tuple[Step, ...]


# ---------------------------------------------------------------------------------------------
# Lime


@dataclass(frozen=True, slots=True)
class LimeQuestion:
    """What is asked about a lime.

    Parameters
    ----------
    basis
        Score wanted; None = every score the label may have.
    need_kg_ha
        Effective lime wanted, in pounds of `basis` [kg/ha]; None = not asked.
    limit_id
        Published rule for how much goes on at once (`lime.DOSE_LIMITS`); empty = not asked.
    low_magnesium
        True when the soil test shows low magnesium.
    """

    basis: LimeBasis | None = None
    need_kg_ha: float | None = None
    limit_id: str = ""
    low_magnesium: bool = False


@dataclass(frozen=True, slots=True)
class LimeAnswer:
    """What a lime is worth, how much of it is needed, in which doses, and what an effective ton costs.

    Parameters
    ----------
    label
        The product.
    scores
        In each basis asked; a score that cannot be known carries the reason.
    offers
        Every offer of it with its worth in each of those bases.
    need_kg_ha, product_kg_ha
        Effective lime asked for, and the product that brings it [kg/ha]; None = not asked.
    doses
        The product divided by the rule; None = not asked.
    magnesium
        What to say of magnesium, or None.
    steps
        How it was reached.
    problems
        What cannot be known; doubts about the label.
    """

    label: Product
    scores: tuple[LimeScore, ...]
    offers: tuple[tuple[Offer, tuple[LimeOffer, ...]], ...]
    need_kg_ha: float | None
    product_kg_ha: float | None
    doses: LimeDoses | None
    magnesium: Step | None
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]
