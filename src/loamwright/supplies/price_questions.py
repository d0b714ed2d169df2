"""Questions around a price: another form of a nutrient, a list of pounds, two offers, holding and hauling.

This file answers "what is it worth, restated, held over, or carried here?". No property is needed. What an
offer holds and costs by the pound is `products` and `costs`.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from loamwright.errors import InputError, Problem
from loamwright.money import format_money
from loamwright.supplies.costs import value_nutrients
from loamwright.supplies.lime_score import LimeSize, efficiency_percent
from loamwright.supplies.records import Offer
from loamwright.units import (
    CA_PER_CAO,
    CACO3_PER_CA_OH_2,
    CACO3_PER_CAO,
    CACO3_PER_MGO,
    K_PER_K2O,
    LB_KG,
    MG_PER_MGO,
    MILE_M,
    P_PER_P2O5,
    S_PER_SO3,
    TON_KG,
    format_figure,
)
from loamwright.values import ARITHMETIC, USER, Reckoned, Source, Step, Supply

_WEIGHTS = Source("exact definition", "standard atomic weights (IUPAC 2021)")

#: (form, other form) → how much of the second one unit of the first is [kg/kg]; of a score, by the short ton.
_FORMS: Mapping[tuple[str, str], float] = {
    ("P2O5", "P"): P_PER_P2O5,
    ("K2O", "K"): K_PER_K2O,
    ("SO3", "S"): S_PER_SO3,
    ("MgO", "Mg"): MG_PER_MGO,
    ("CaO", "Ca"): CA_PER_CAO,
    ("CaO", "CaCO3"): CACO3_PER_CAO,
    ("MgO", "CaCO3"): CACO3_PER_MGO,
    ("Ca(OH)2", "CaCO3"): CACO3_PER_CA_OH_2,
    ("lb/ton", "%"): 100 / 2000,
}


def restated(amount: float, form: str, other: str) -> Reckoned:
    """Restate an amount or percentage of one form as another: K as K2O, burnt lime as carbonate.

    Parameters
    ----------
    amount
        In any unit; the answer is in the same.
    form, other
        ``"K"``, ``"K2O"``, ``"P"``, ``"P2O5"``, ``"S"``, ``"SO3"``, ``"Mg"``, ``"MgO"``, ``"Ca"``, ``"CaO"``,
        ``"CaCO3"``, ``"Ca(OH)2"``, in any case; or ``"lb/ton"`` and ``"%"``, of a lime's score.

    Returns
    -------
    Reckoned
        ``amount``.

    Raises
    ------
    InputError
        When the two do not hold the same thing, or the amount is negative.

    Notes
    -----
    By atomic weights. Lime's CaO, MgO and Ca(OH)2 are restated as the CaCO3 that neutralizes as much.
    """
    names = {name.casefold(): name for pair in _FORMS for name in pair}
    here, there = names.get(form.casefold()), names.get(other.casefold())
    factors = {**_FORMS, **{(b, a): 1 / factor for (a, b), factor in _FORMS.items()}}
    if here is None or there is None or (here, there) not in factors:
        listed = ", ".join(f"{a} and {b}" for a, b in _FORMS)
        what = f"{form!r} is not restated as {other!r}"
        raise InputError([Problem("restate", what, f"There are, both ways: {listed}.")])
    if amount < 0:
        raise InputError([Problem("amount", f"{amount:g} is less than nothing", "Give zero or more.")])
    factor = factors[here, there]
    found = amount * factor
    source = ARITHMETIC if there in ("%", "lb/ton") else _WEIGHTS
    step = Step(f"{format_figure(amount)} {here} × {factor:.4g}", found, there, source)
    return Reckoned({"amount": found}, (step,))


def worth(amounts_kg: Mapping[Supply, float], prices_per_kg: Mapping[Supply, float]) -> Reckoned:
    """Say what a list of pounds of nutrients is worth.

    Parameters
    ----------
    amounts_kg
        Supply to mass [kg].
    prices_per_kg
        Supply to price [money/kg]; one without a price is said and not counted.

    Returns
    -------
    Reckoned
        ``worth``.
    """
    found = value_nutrients(amounts_kg, prices_per_kg)
    return Reckoned({"worth": found.total}, found.steps)


def difference(first: Offer, second: Offer) -> Reckoned:
    """Say by how much one offer is dearer than another, by the weight of product.

    Parameters
    ----------
    first, second
        Offers with a price and a net weight.

    Returns
    -------
    Reckoned
        ``first_per_kg``, ``second_per_kg``, ``difference_per_kg``, ``difference_per_ton``.

    Raises
    ------
    InputError
        When a price or weight is not known.
    """
    prices = []
    steps = []
    for offer in (first, second):
        if offer.price is None or not offer.package_kg:
            what = f"the price or net weight of {offer.product}, {offer.package}, is not known"
            raise InputError([Problem("difference", what, "Set it first.")])
        price = float(offer.price) / offer.package_kg
        shown = f"{offer.product}: {format_money(offer.price)} / {offer.package_kg / LB_KG:.6g} lb"
        steps.append(Step(shown, price * LB_KG, "money/lb", ARITHMETIC))
        prices.append(price)
    apart = prices[0] - prices[1]
    steps.append(Step("the first less the second", apart * TON_KG, "money/ton", ARITHMETIC))
    figures = {"difference_per_ton": apart * TON_KG, "difference_per_kg": apart}
    return Reckoned({**figures, "first_per_kg": prices[0], "second_per_kg": prices[1]}, tuple(steps))


def carried(price: Decimal, months: float, rate_pct: float, storage: Decimal) -> Reckoned:
    """Say what it costs to buy early and hold: interest on the price, and storage.

    Parameters
    ----------
    price
        Paid now [money].
    months, rate_pct
        How long it is held [months]; interest a year [percent].
    storage
        For the whole time [money].

    Returns
    -------
    Reckoned
        ``charge`` and ``worth_later``: the price later at which buying now is no better.

    Raises
    ------
    InputError
        When a figure is negative, or longer than ten years.

    Notes
    -----
    Simple interest: price × rate × months / 12.
    """
    if not (0 <= months <= 120 and 0 <= rate_pct <= 100 and price >= 0 and storage >= 0):
        what = f"{months:g} months at {rate_pct:g} % is no charge"
        raise InputError([Problem("carry", what, "Give up to 120 months, and up to 100 % a year.")])
    interest = float(price) * rate_pct / 100 * months / 12
    charge = interest + float(storage)
    shown = f"{format_money(price)} × {rate_pct:g} % × {months:g} / 12"
    steps = [Step(shown, interest, "money", ARITHMETIC)]
    if storage:
        steps.append(Step("and storage", charge, "money", USER))
    return Reckoned({"charge": charge, "worth_later": float(price) + charge}, tuple(steps))


def hauled(distance_m: float, per_m: float, load_kg: float, amount_kg: float, empty_back: bool) -> Reckoned:
    """Say what hauling costs by distance and whole loads.

    Parameters
    ----------
    distance_m, per_m
        One way [m]; charge per distance driven [money/m].
    load_kg, amount_kg
        One load, and all that is hauled [kg].
    empty_back
        True = the way back is charged too.

    Returns
    -------
    Reckoned
        ``cost``, ``loads``, ``cost_per_ton``.

    Raises
    ------
    InputError
        When a figure is not more than zero.
    """
    named = {"distance": distance_m, "charge": per_m, "load": load_kg, "amount": amount_kg}
    wrong = [name for name, value in named.items() if not value > 0]
    if wrong:
        raise InputError(
            [Problem(name, "it is not more than zero", "Give more than zero.") for name in wrong]
        )
    loads = -int(-amount_kg // load_kg)
    ways = 2 if empty_back else 1
    cost = loads * distance_m * ways * per_m
    miles = distance_m / MILE_M
    shown = f"{loads} loads × {miles:.4g} miles × {ways} way{'s' if ways > 1 else ''} × {per_m * MILE_M:.4g}"
    steps = (
        Step(
            f"{amount_kg / TON_KG:.4g} tons / {load_kg / TON_KG:.4g} in a load",
            float(loads),
            "loads",
            ARITHMETIC,
        ),
        Step(shown, cost, "money", ARITHMETIC),
        Step("over the tons", cost / (amount_kg / TON_KG), "money/ton", ARITHMETIC),
    )
    return Reckoned({"cost": cost, "loads": float(loads), "cost_per_ton": cost / (amount_kg / TON_KG)}, steps)


def sizes_score(sizes: tuple[LimeSize, ...]) -> Reckoned:
    """Score a lime whose neutralizing value is stated size by size (Western Australia).

    Parameters
    ----------
    sizes
        Each with its sieves [mm], share and neutralizing value [percent].

    Returns
    -------
    Reckoned
        ``efficiency_pct``.

    Raises
    ------
    InputError
        When the shares do not add up to 100 percent, or a figure is out of range.
    """
    found = efficiency_percent(sizes)
    assert found.fraction is not None
    return Reckoned({"efficiency_pct": 100 * found.fraction}, found.steps)
