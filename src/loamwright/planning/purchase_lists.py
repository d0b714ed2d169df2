"""What to have bought before each timing begins?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from loamwright.planning.inputs import TIMING_ORDER
from loamwright.planning.lines import SAME, cents
from loamwright.planning.records import Plan, Purchase
from loamwright.supplies import Offer
from loamwright.values import Timing


@dataclass(frozen=True, slots=True)
class PurchaseList:
    """What to have bought before one timing begins.

    Parameters
    ----------
    timing
        The timing; None = at any time.
    buy
        Purchases to make for it; over all lists they add up to the plan's.
    """

    timing: Timing | None
    buy: tuple[Purchase, ...]


def purchase_lists(plan: Plan, offers: Sequence[Offer]) -> tuple[PurchaseList, ...]:
    """Split a plan's shopping by the timing that first needs each package.

    Parameters
    ----------
    plan
        The plan.
    offers
        The offers it was made from.

    Returns
    -------
    tuple of PurchaseList
        In calendar order. An offer with a smallest order, a price break or a delivery fee is bought at
        once, for the first timing that uses it; so is bulk, and what stays in the bag counts to the last.
    """
    known = {offer.offer_id: offer for offer in offers}
    lists: dict[Timing | None, list[Purchase]] = {}
    use = _use_by_timing(plan)
    for purchase in plan.buy:
        offer = known[purchase.offer_id]
        times = sorted(use.get(purchase.product, {None: 0.0}), key=lambda timing: TIMING_ORDER[timing])
        at_once = offer.min_order > 1 or offer.price_breaks or offer.delivery_fee > 0 or offer.divisible
        several = sum(other.product == purchase.product for other in plan.buy) > 1 or purchase.from_stock > 0
        if len(times) == 1 or at_once or several or purchase.count == 0:
            lists.setdefault(times[0], []).append(replace(purchase, timing=times[0]))
            continue
        left, so_far = round(purchase.count), 0.0
        for place, timing in enumerate(times):
            so_far += use[purchase.product][timing]
            assert offer.package_kg is not None
            listed = round(purchase.count) - left
            wanted = math.ceil(so_far / offer.package_kg - SAME) - listed
            number = left if place == len(times) - 1 else min(left, wanted)
            if number > 0:
                lists.setdefault(timing, []).append(
                    replace(
                        purchase,
                        count=float(number),
                        cost=cents(number * purchase.unit_price),
                        left_over_kg=purchase.left_over_kg if left == number else 0.0,
                        timing=timing,
                    )
                )
                left -= number
    order = sorted(lists, key=lambda timing: TIMING_ORDER[timing])
    return tuple(PurchaseList(timing, tuple(lists[timing])) for timing in order)


def _use_by_timing(plan: Plan) -> dict[str, dict[Timing | None, float]]:
    use: dict[str, dict[Timing | None, float]] = {}
    for line in plan.lines:
        times = use.setdefault(line.product, {})
        times[line.timing] = times.get(line.timing, 0.0) + line.mass_kg
    return use
