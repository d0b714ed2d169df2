"""Which product, nutrient, rate or price was meant: the words of a question at the store.

This file answers "what did the user write?" for the questions of `shopping`. A name may be shortened as long
as it fits one product only; a rate must say of what, and a price per what. Nothing is guessed: whatever
may mean two things is refused with the choices.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from loamwright.errors import AmbiguousNumberError, InputError, Problem, UnitError
from loamwright.supplies.records import Offer, Product
from loamwright.units import convert, parse_mass, parse_money, parse_rate
from loamwright.values import LimeBasis, Nutrient, Supply

T = TypeVar("T")


def over_zero(parse: Callable[[str], float], example: str) -> Callable[[str], float]:
    """Make a parser that refuses zero and less, and tells how to write it right.

    Parameters
    ----------
    parse
        A parser of `units`.
    example
        Shown in the fix.

    Returns
    -------
    callable
        The same parser, but for zero and less.

    Raises
    ------
    UnitError
        Raised by the parser that is returned, when the text is not understood, or zero or less.

    Examples
    --------
    >>> over_zero(parse_mass, "50 lb")("2 kg")
    2.0
    """

    def checked(text: str) -> float:
        try:
            value = parse(text)
        except AmbiguousNumberError:
            raise
        except UnitError as error:
            raise UnitError(f"{text!r} is not understood; write for example {example!r}") from error
        if not value > 0:
            raise UnitError(f"{text!r} is not more than zero; write for example {example!r}")
        return value

    return checked


def parse_cost(text: str) -> Decimal:
    """Read money that is paid.

    Parameters
    ----------
    text
        ``"45"``, ``"$28.50"``.

    Returns
    -------
    Decimal

    Raises
    ------
    UnitError
        When it is not money, or negative.
    """
    amount = parse_money(text)
    if amount < 0:
        raise UnitError(f"{text!r} is negative; write what is paid, for example 28.50")
    return amount


# ---------------------------------------------------------------------------------------------
# Nutrients and lime scores


def _bare(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.casefold())


_BASES = {_bare(basis.value): basis for basis in LimeBasis if basis is not LimeBasis.PRODUCT}


def parse_basis(text: str) -> LimeBasis:
    """Read the name of a lime score.

    Parameters
    ----------
    text
        ``"ECCE"``, ``"ENP (Ohio)"``; case, spaces and brackets do not matter.

    Returns
    -------
    LimeBasis

    Raises
    ------
    UnitError
        When there is no such score.

    Examples
    --------
    >>> parse_basis("enp ohio").value
    'ENP (Ohio)'
    """
    basis = _BASES.get(_bare(text).removeprefix("lime"))
    if basis is None:
        choices = ", ".join(item.value for item in _BASES.values())
        raise UnitError(f"{text!r} is not a lime score; use one of: {choices}")
    return basis


def parse_supply(text: str) -> Supply:
    """Read the name of a nutrient or of a lime score.

    Parameters
    ----------
    text
        ``"N"``, ``"p2o5"``, ``"ENP"``, ``"lime ECCE"``; case does not matter. Phosphorus and potassium only
        in label basis: ``"P"`` could mean P or P2O5 and is refused.

    Returns
    -------
    str
        A supply key: ``"N"``, ``"P2O5"`` …, ``"lime ENP"`` …, or ``"product"``.

    Raises
    ------
    UnitError
        When it is none of these.

    Examples
    --------
    >>> parse_supply("p2o5").value, parse_supply("ENM").value
    ('P2O5', 'lime ENM')
    """
    bare = _bare(text)
    nutrients = {_bare(item.value): item.supply for item in Nutrient}
    if bare in nutrients:
        return nutrients[bare]
    if bare == Supply.PRODUCT:
        return Supply.PRODUCT
    try:
        return parse_basis(text).supply
    except UnitError as error:
        choices = ", ".join([*nutrients.values(), *(basis.value for basis in _BASES.values())])
        raise UnitError(
            f"{text!r} is not something a label states; use one of: {choices} "
            "(phosphorus counts as P2O5, potassium as K2O)"
        ) from error


# ---------------------------------------------------------------------------------------------
# Rates and prices


@dataclass(frozen=True, slots=True)
class NamedRate:
    """A rate with what it is a rate of.

    Parameters
    ----------
    supply
        Supply key; None when the text does not say.
    rate_kg_ha
        Rate of it [kg/ha].
    """

    supply: Supply | None
    rate_kg_ha: float


_RATE = re.compile(r"^\s*([+-]?[\d.,]+\s*[a-z]+)\.?(?:\s+(?:of\s+)?([^/]*?))?\s*(/.*)$", re.IGNORECASE)


def parse_named_rate(text: str) -> NamedRate:
    """Read a rate that names its nutrient or lime score between mass and area.

    Parameters
    ----------
    text
        ``"60 lb N/acre"``, ``"3000 lb ENP per acre"``, ``"2 lb/1000 ft2"``.

    Returns
    -------
    NamedRate

    Raises
    ------
    UnitError
        When it is not a rate by weight, names something unknown, or is not more than zero.

    Examples
    --------
    >>> found = parse_named_rate("60 lb N/acre")
    >>> str(found.supply), round(found.rate_kg_ha, 2)
    ('N', 67.25)
    """
    match = _RATE.match(re.sub(r"\s+per\s+", "/", text, flags=re.IGNORECASE))
    if match is None:
        raise UnitError(f"{text!r} is not a rate; write for example '60 lb N/acre' or '2 lb N/1000 ft2'")
    supply = parse_supply(match[2]) if match[2] else None
    try:
        rate_kg_ha = parse_rate(f"{match[1]}{match[3]}")
    except AmbiguousNumberError:
        raise
    except UnitError as error:
        raise UnitError(f"{text!r} is not a rate by weight; write for example '60 lb N/acre'") from error
    if not rate_kg_ha > 0:
        raise UnitError(f"{text!r} is not more than zero; write for example '60 lb N/acre'")
    return NamedRate(supply, rate_kg_ha)


def parse_lime_need(text: str) -> tuple[LimeBasis | None, float]:
    """Read a need of effective lime.

    Parameters
    ----------
    text
        ``"3000 lb ENP/acre"``; ``"3000 lb/acre"`` when the score is said elsewhere.

    Returns
    -------
    basis : LimeBasis or None
        Whose pounds; None when the text does not say.
    rate_kg_ha : float
        Effective lime [kg/ha].

    Raises
    ------
    UnitError
        When it is not such a rate.
    """
    found = parse_named_rate(text)
    if found.supply is None:
        return None, found.rate_kg_ha
    if not found.supply.is_lime:
        raise UnitError(f"{text!r} is not a need of lime; write for example '3000 lb ENP/acre'")
    return found.supply.basis, found.rate_kg_ha


def parse_seed_rate(text: str) -> float:
    """Read a rate of pure live seed.

    Parameters
    ----------
    text
        ``"10 lb/acre"`` or ``"10 lb PLS/acre"``.

    Returns
    -------
    float
        Pure live seed [kg/ha].

    Raises
    ------
    UnitError
        When it is not a rate of seed.
    """
    found = parse_named_rate(re.sub(r"\b(pls|pure live seed)\b", "", text, flags=re.IGNORECASE))
    if found.supply is not None:
        raise UnitError(f"{text!r} is not a rate of seed; write for example '10 lb/acre'")
    return found.rate_kg_ha


def _money_per(text: str, to: str, example: str) -> float:
    amount, slash, unit = re.sub(r"\s+per\s+", "/", text, flags=re.IGNORECASE).partition("/")
    try:
        if not slash:
            raise UnitError(text)
        price = convert(float(parse_money(amount)), f"1/{unit.strip()}", f"1/{to}")
    except AmbiguousNumberError:
        raise
    except UnitError as error:
        raise UnitError(f"{text!r} does not say a price per what; write for example {example!r}") from error
    if not price >= 0:
        raise UnitError(f"{text!r} is negative; write for example {example!r}")
    return price


def parse_price_per_mass(text: str) -> float:
    """Read a price by weight.

    Parameters
    ----------
    text
        ``"1.24/lb"``, ``"$560 per ton"``, ``"97.50/50 lb"``; what it is a price of is said elsewhere.

    Returns
    -------
    float
        Money per kilogram, unrounded.

    Raises
    ------
    UnitError
        When it is not money for a weight, or not more than zero.

    Examples
    --------
    >>> round(parse_price_per_mass("97.50/50 lb") * 0.45359237, 6)
    1.95
    """
    price = _money_per(text, "kg", "1.24/lb")
    if not price > 0:
        raise UnitError(f"{text!r} is not more than zero; write for example '1.24/lb'")
    return price


def parse_price_per_area(text: str) -> Decimal:
    """Read a price by area, such as what a pass of the spreader costs.

    Parameters
    ----------
    text
        ``"8.50/acre"``.

    Returns
    -------
    Decimal
        Money per hectare.

    Raises
    ------
    UnitError
        When it is not money for an area, or negative.
    """
    return Decimal(repr(_money_per(text, "ha", "8.50/acre")))


def _both_sides(text: str, example: str) -> tuple[str, str]:
    name, equals, amount = text.rpartition("=")
    if not equals or not name.strip():
        raise UnitError(f"{text!r} needs a name, an equals sign and an amount; write for example {example!r}")
    return name.strip(), amount.strip()


def parse_reference(text: str) -> tuple[str, float]:
    """Read what a nutrient costs elsewhere.

    Parameters
    ----------
    text
        ``"N=0.62/lb"``.

    Returns
    -------
    supply : str
        Supply key.
    price_per_kg : float
        Money per kilogram of it.

    Raises
    ------
    UnitError
        When either side is not understood.
    """
    name, amount = _both_sides(text, "N=0.62/lb")
    return parse_supply(name), parse_price_per_mass(amount)


def parse_part(text: str) -> tuple[str, float]:
    """Read one part of a mixture.

    Parameters
    ----------
    text
        ``"urea=100 lb"``.

    Returns
    -------
    words : str
        What stands for the product.
    mass_kg : float
        How much of it [kg].

    Raises
    ------
    UnitError
        When there is no name, or the amount is not a mass of more than zero.
    """
    name, amount = _both_sides(text, "urea=100 lb")
    return name, over_zero(parse_mass, "100 lb")(amount)


# ---------------------------------------------------------------------------------------------
# Names


def fitting(words: str, names: Sequence[str], details: Sequence[str] = ()) -> tuple[int, ...]:
    """Find what a shortened name may stand for.

    Examples
    --------
    >>> fitting("urea 46", ["Urea 46-0-0", "Urea solution 32.5 %"])
    (0,)
    """
    asked = " ".join(words.casefold().split())
    exact = tuple(place for place, name in enumerate(names) if asked == " ".join(name.casefold().split()))
    if exact or not asked:
        return exact
    texts = [
        " ".join(parts).casefold() for parts in (zip(names, details, strict=True) if details else zip(names))
    ]
    return tuple(place for place, text in enumerate(texts) if all(word in text for word in asked.split()))


def find_product(words: str, products: Sequence[Product]) -> Product:
    """Find the one product that is meant."""
    places = fitting(words, [product.product for product in products])
    if len(places) == 1:
        return products[places[0]]
    choices = ", ".join(repr(products[place].product) for place in places or range(len(products)))
    what = f"{words!r} may be several products" if places else f"{words!r} is not among the products"
    fix = "Write more of the name" if places else "Use one of them"
    raise InputError([Problem("product", what, f"{fix}: {choices}.")])


def find_offer(words: str, offers: Sequence[Offer]) -> Offer:
    """Find the one offer that is meant.

    Parameters
    ----------
    words
        Words that fit one offer, or its id.
    offers
        Those there are.

    Returns
    -------
    Offer

    Raises
    ------
    InputError
        When the words fit none, or several.
    """
    by_id = [offer for offer in offers if offer.offer_id == words.strip()]
    if by_id:
        return by_id[0]
    places = fitting(
        words, [offer.product for offer in offers], [f"{offer.package} {offer.seller}" for offer in offers]
    )
    if len(places) == 1:
        return offers[places[0]]
    found = [offers[place] for place in places] or offers
    choices = "; ".join(", ".join(filter(None, (o.product, o.package, o.seller))) for o in found)
    what = f"{words!r} may be several offers" if places else f"{words!r} is not among the offers"
    fix = "Add words of the package or seller, or write the offer_id" if places else "Use one of them"
    raise InputError([Problem("offer", what, f"{fix}: {choices}.")])
