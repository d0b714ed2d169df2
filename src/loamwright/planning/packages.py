"""What can be bought, in which packages, at which price, and how is it tied to what is spread?

The part of the program that plots share: price tiers of offers, orders and deliveries, stock, and one pool
for each product.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from loamwright.planning.inputs import Request, is_fetched, loads_of, machines_of
from loamwright.planning.passes import Passes
from loamwright.planning.solver import Floats, Ints, Program
from loamwright.supplies import Offer


@dataclass(frozen=True, slots=True)
class Tier:
    """One price of one offer, over a range of counts.

    Parameters
    ----------
    offer, ware
        Indices.
    unit_kg, unit_price
        What one unit of the count column is: a package, or an increment of bulk [kg], [money].
    packages_per_unit
        1 for packages; increment over package for bulk in increments.
    whole
        Whether the count must be whole.
    price
        For one package, exact.
    first, last
        Range of the count [units].
    """

    offer: int
    ware: int
    unit_kg: float
    unit_price: float
    packages_per_unit: float
    whole: bool
    price: Decimal
    first: float
    last: float


def list_tiers(request: Request, passes: Passes) -> tuple[Tier, ...]:
    """List the prices at which each useful offer can be bought, with the counts worth buying."""
    useful = np.zeros(len(request.wares))
    np.add.at(useful, passes.ware, passes.high_kg * (1 + request.terms.spare))
    ware_number = {ware.product.product: number for number, ware in enumerate(request.wares)}
    tiers: list[Tier] = []
    for number, offer in enumerate(request.offers):
        ware = ware_number[offer.product]
        if offer.offer_id not in request.stock_only and useful[ware] > 0:
            tiers.extend(_tiers_of(number, ware, offer, float(useful[ware])))
    return tuple(tiers)


def _tiers_of(number: int, ware: int, offer: Offer, useful_kg: float) -> list[Tier]:
    assert offer.price is not None
    assert offer.package_kg is not None
    whole = not offer.divisible or offer.increment_kg is not None
    in_steps = offer.divisible and offer.increment_kg is not None
    unit_kg = offer.increment_kg if in_steps and offer.increment_kg is not None else offer.package_kg
    per_unit = unit_kg / offer.package_kg if in_steps else 1.0
    most = math.inf if offer.max_count is None else float(offer.max_count)
    starts = [(0.0, offer.price), *((float(count), price) for count, price in offer.price_breaks)]
    tiers = []
    for place, (start, price) in enumerate(starts):
        end = starts[place + 1][0] if place + 1 < len(starts) else math.inf
        low, high = max(start, float(offer.min_order)), min(most, end)
        first, last = low / per_unit, high / per_unit
        if whole:
            first = float(math.ceil(first - 1e-9))
            last = math.floor(last + 1e-9) if last < math.inf else last
            if end <= most and last * per_unit > end - 1e-9:
                last -= 1  # the next price begins there
        worth = useful_kg / unit_kg
        last = min(last, max(first, math.ceil(worth - 1e-9) if whole else worth))
        if last < first or last <= 0:
            continue
        tiers.append(
            Tier(number, ware, unit_kg, float(price) * per_unit, per_unit, whole, price, first, last)
        )
    return tiers


@dataclass(frozen=True, slots=True)
class OfferColumns:
    """Columns per tier: how many, and whether an order is placed (-1 = no such column)."""

    count: Ints
    order: Ints


def seller_of(offer: Offer) -> str:
    """Name who delivers an offer: the seller, or the offer itself when no seller is stated."""
    return offer.seller or f"(seller of {offer.offer_id})"


def carrying_cost_per_kg(request: Request, offer: Offer) -> float:
    """Hauling where no delivery is paid, and handling, of one offer [money per kg]."""
    haul = float(request.terms.hauling_cost_per_kg) if is_fetched(request, offer) else 0.0
    return haul + float(request.terms.handling_cost_per_kg.get(offer.offer_id, Decimal(0)))


def add_offers(request: Request, program: Program, tiers: tuple[Tier, ...]) -> OfferColumns:
    """Add counts, orders and deliveries of the offers."""
    number = len(tiers)
    count = program.add_columns(
        number,
        cost=np.array(
            [
                tier.unit_price + carrying_cost_per_kg(request, request.offers[tier.offer]) * tier.unit_kg
                for tier in tiers
            ]
        ),
        upper=np.array([tier.last for tier in tiers]),
        integer=np.array([tier.whole for tier in tiers], bool),
    )
    of_offer: dict[int, list[int]] = {}
    for place, tier in enumerate(tiers):
        of_offer.setdefault(tier.offer, []).append(place)
    fees = {index: float(request.offers[index].delivery_fee) for index in of_offer}
    ordered = [
        place
        for place, tier in enumerate(tiers)
        if tier.first > (1.0 if tier.whole else 0.0) or len(of_offer[tier.offer]) > 1 or fees[tier.offer] > 0
    ]
    order = np.full(number, -1, np.int64)
    order[ordered] = program.add_columns(len(ordered), upper=1.0, integer=True)
    for place in ordered:
        tier = tiers[place]
        both = np.array([count[place], order[place]])
        program.add_rows(1, np.zeros(2, np.int64), both, np.array([1.0, -tier.last]), upper=0.0)
        if tier.first > 0:
            program.add_rows(1, np.zeros(2, np.int64), both, np.array([1.0, -tier.first]), lower=0.0)
    for places in of_offer.values():
        if len(places) > 1:
            columns = order[places]
            program.add_rows(1, np.zeros(len(places), np.int64), columns, np.ones(len(places)), upper=1.0)
    charging: dict[str, list[int]] = {}
    for place in ordered:
        if fees[tiers[place].offer] > 0:
            charging.setdefault(seller_of(request.offers[tiers[place].offer]), []).append(place)
    sellers = tuple(sorted(charging))
    fee = program.add_columns(len(sellers), cost=1.0)
    for column, seller in zip(fee, sellers, strict=True):
        for index in sorted({tiers[place].offer for place in charging[seller]}):
            places = [place for place in charging[seller] if tiers[place].offer == index]
            columns = np.append(order[places], column)
            values = np.append(np.full(len(places), fees[index]), -1.0)
            program.add_rows(1, np.zeros(len(columns), np.int64), columns, values, upper=0.0)
    _add_hauls(request, program, tiers, count)
    return OfferColumns(count, order)


def add_loads(request: Request, program: Program, passes: Passes, amount: Ints) -> Ints:
    """Count whole loads of each product that a machine brings to the property, shared by its plots."""
    rows: list[Ints] = []
    for place, machine in enumerate(machines_of(request.terms)):
        if not machine.brings_loads or machine.load_kg is None:
            continue
        here = np.flatnonzero(passes.jobs.machine[passes.job] == place)
        for ware in np.unique(passes.ware[here]):
            carried = here[passes.ware[here] == ware]
            loads = program.add_columns(
                1,
                cost=float(machine.cost_per_load),
                upper=loads_of(float(passes.high_kg[carried].sum()), machine.load_kg),
                integer=True,
            )
            columns = np.append(amount[carried], loads)
            values = np.append(passes.high_kg[carried] / machine.load_kg, -1.0)
            rows.append(program.add_rows(1, np.zeros(len(columns), np.int64), columns, values, upper=0.0))
    return np.concatenate([*rows, np.zeros(0, np.int64)])


def _add_hauls(request: Request, program: Program, tiers: tuple[Tier, ...], count: Ints) -> None:
    """Count whole ways to each seller who does not deliver for a fee."""
    terms = request.terms
    if terms.cost_per_haul <= 0 or not terms.haul_kg:
        return
    fetched: dict[str, list[int]] = {}
    for place, tier in enumerate(tiers):
        offer = request.offers[tier.offer]
        if is_fetched(request, offer):
            fetched.setdefault(seller_of(offer), []).append(place)
    for _seller, places in sorted(fetched.items()):
        hauls = program.add_columns(1, cost=float(terms.cost_per_haul), integer=True)
        columns = np.append(count[places], hauls)
        values = np.append(np.array([tiers[place].unit_kg for place in places]) / terms.haul_kg, -1.0)
        program.add_rows(1, np.zeros(len(columns), np.int64), columns, values, upper=0.0)


def stock_kg(request: Request) -> Floats:
    """Add up the stock on hand of each ware."""
    total = {ware.product.product: 0.0 for ware in request.wares}
    for offer in request.offers:
        assert offer.package_kg is not None
        total[offer.product] += offer.in_stock * offer.package_kg
    return np.array([total[ware.product.product] for ware in request.wares])


def add_pools(
    request: Request,
    program: Program,
    passes: Passes,
    amount: Ints,
    tiers: tuple[Tier, ...],
    count: Ints,
) -> tuple[Ints, Ints]:
    """Add one row per product: what is spread of it, and the spare, is bought or taken from stock."""
    wares = len(request.wares)
    on_hand = stock_kg(request)
    used = np.zeros(wares, bool)
    used[passes.ware] = True
    stocked = np.flatnonzero(used & (on_hand > 0))
    stock = np.full(wares, -1, np.int64)
    stock[stocked] = program.add_columns(len(stocked), upper=on_hand[stocked])
    tier_ware = np.array([tier.ware for tier in tiers], np.int64)
    unit = np.array([tier.unit_kg for tier in tiers])
    scale = np.ones(wares)
    if len(tiers):
        np.maximum.at(scale, tier_ware, unit)
    pooled = np.flatnonzero(used)
    place = np.full(wares, -1, np.int64)
    place[pooled] = np.arange(len(pooled))
    rows = np.concatenate([place[passes.ware], place[tier_ware], place[stocked]])
    columns = np.concatenate([amount, count, stock[stocked]])
    values = np.concatenate(
        [
            passes.high_kg * (1 + request.terms.spare) / scale[passes.ware],
            -unit / scale[tier_ware],
            -1.0 / scale[stocked],
        ]
    )
    supply_row = np.full(wares, -1, np.int64)
    supply_row[pooled] = program.add_rows(len(pooled), rows, columns, values, upper=0.0)
    return supply_row, stock
