"""What a label guarantees, what somebody asks for a package of it, and what is published of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from loamwright.values import USER, Nutrient, Source, Timing


@dataclass(frozen=True, slots=True)
class KnownMaterial:
    """A common material as published.

    Parameters
    ----------
    product
        A product to start from, with its usual guarantee.
    density_at
        Temperature of a liquid's density as printed; empty when not printed or not a liquid.
    bulk_kg_m3
        Lowest and highest bulk density of a dry material [kg/m3]; None when not read. Weigh a bucket.
    remark
        Ranges and warnings.
    analysis_source, density_source
        Where the figures were read.
    """

    product: Product
    density_at: str
    bulk_kg_m3: tuple[float, float] | None
    remark: str
    analysis_source: Source
    density_source: Source | None


class Form(StrEnum):
    """How a product is handled."""

    DRY = "dry"
    LIQUID = "liquid"
    LIME = "lime"


class Handled(StrEnum):
    """How what is bought gets from where it is put down into the hopper, which is what handling it costs."""

    BAG = "bag"
    SHOVELLED = "bulk shovelled"
    AUGER = "bulk by auger"
    SELLER = "spread by the seller"


# ---------------------------------------------------------------------------------------------
# Products and offers


@dataclass(frozen=True, slots=True)
class LimeLabel:
    """What a lime label or ticket states; None = not stated.

    Parameters
    ----------
    cce_pct
        Calcium carbonate equivalent [percent, dry basis as printed].
    passing_pct
        Mesh number → percent passing that sieve.
    moisture_pct
        Moisture [percent].
    enp_lb_per_ton, ecce_pct, enm_lb_per_ton
        The state's own score when the label prints it, in the printed unit.
    enp_state
        State of the printed ENP ("Minnesota", "Ohio"); empty = Minnesota.
    scores_pct
        Any other score it prints, by its basis (``"RNV"``) [percent].
    """

    cce_pct: float | None = None
    passing_pct: Mapping[int, float] = field(default_factory=dict)
    moisture_pct: float | None = None
    enp_lb_per_ton: float | None = None
    ecce_pct: float | None = None
    enm_lb_per_ton: float | None = None
    enp_state: str = ""
    scores_pct: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Product:
    """What the label guarantees.

    Parameters
    ----------
    product
        Name; unique on a property.
    form
        Dry, liquid or lime.
    analysis_pct
        Guaranteed analysis [percent by weight] in label basis; a nutrient absent here is
        *not guaranteed*, which is not the same as zero.
    ingredient, ingredient_pct
        When the label states an ingredient instead (``"urea"``, 32.5).
    density_kg_m3
        For liquids and volume packages; None = not stated.
    lime
        Lime label; None for fertilizers.
    min_rate_kg_ha, max_rate_kg_ha
        Practical minimum and safe maximum product rate in one pass; None = no limit stated.
    equipment
        Spreaders that can handle it; empty = any.
    timings
        When it may be used; empty = any.
    nitrogen_forms_pct
        Percent of product that is N in a form: ``"urea"``, ``"nitrate"``, ``"ammoniacal"``.
    contains
        Words that trigger cautions: ``"ammonium nitrate"``, ``"hydrated lime"`` …
    dolomitic
        True / False when known.
    extra
        Columns kept from the user's file.
    material, method
        Of manure, litter or compost: what it is (``"beef"``, ``"compost"``) and how it is placed, as the
        guideline's table of usable shares names them; empty for everything else.
    available_pct
        Of what the analysis states, the share a crop can use in the first season [percent]; a nutrient of a
        `material` absent here is *not stated*, and is not counted.
    available_source
        Whose shares they are.
    bucket_kg
        What the user's own bucket of it holds, weighed, to count loose goods in [kg]; None = not stated.
    """

    product: str
    form: Form
    analysis_pct: Mapping[Nutrient, float] = field(default_factory=dict)
    ingredient: str = ""
    ingredient_pct: float | None = None
    density_kg_m3: float | None = None
    lime: LimeLabel | None = None
    min_rate_kg_ha: float | None = None
    max_rate_kg_ha: float | None = None
    equipment: tuple[str, ...] = ()
    timings: tuple[Timing, ...] = ()
    nitrogen_forms_pct: Mapping[str, float] = field(default_factory=dict)
    contains: tuple[str, ...] = ()
    dolomitic: bool | None = None
    extra: Mapping[str, str] = field(default_factory=dict)
    material: str = ""
    method: str = ""
    available_pct: Mapping[Nutrient, float] = field(default_factory=dict)
    available_source: Source = USER
    bucket_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """A package of a product at a price from a seller on a date.

    Parameters
    ----------
    offer_id
        Stable id.
    product
        Name of the `Product`.
    package
        As written: ``"50 lb bag"``, ``"2.5 gal jug"``, ``"1 ton bulk"``.
    package_kg
        Net mass of one package [kg]; liquids by density. None = cannot be known (density missing).
    divisible
        True when sold by weight (bulk): any amount in steps of `increment_kg`.
    increment_kg
        Smallest step of a divisible offer [kg]; None = any amount.
    price
        For one package [money]; None = missing, and the offer is left out of plans.
    seller, priced_on
        Who and when.
    in_stock
        Packages already on hand, paid for [count].
    min_order
        Smallest order [packages]; 0 = none.
    max_count
        Packages the seller has [count]; None = no limit.
    delivery_fee
        Once per order from this seller [money].
    price_breaks
        (from this many packages, unit price): cheaper tiers, ascending.
    price_low, price_high
        Range the price may move in; None = not stated.
    handled
        How it gets into the hopper; None = not stated: packages as bags, what is sold by weight shovelled.
    """

    offer_id: str
    product: str
    package: str
    package_kg: float | None
    price: Decimal | None
    divisible: bool = False
    increment_kg: float | None = None
    seller: str = ""
    priced_on: dt.date | None = None
    in_stock: float = 0.0
    min_order: int = 0
    max_count: int | None = None
    delivery_fee: Decimal = Decimal(0)
    price_breaks: tuple[tuple[int, Decimal], ...] = ()
    price_low: Decimal | None = None
    price_high: Decimal | None = None
    handled: Handled | None = None
