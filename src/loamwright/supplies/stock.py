"""What is in the shed: counted, bought, returned, put on.

This file answers "how much of each product is there, and what is still to buy of a plan?". Nothing is
typed twice: what the record says was spread has left the shed; what was bought has entered it; a count
starts afresh.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

_EARLIEST = dt.datetime.min.replace(tzinfo=dt.UTC)


class Movement(StrEnum):
    """What an entry of the shed's book says."""

    BOUGHT = "bought"
    RECEIVED = "received"
    RETURNED = "returned"
    COUNTED = "counted"


@dataclass(frozen=True, slots=True)
class StockEntry:
    """One entry of the shed's book: packages that came, went back, or were counted.

    Parameters
    ----------
    purchase_id
        Id.
    kind
        Bought (and paid), received (a gift, a transfer), returned, or counted.
    product, package, package_kg
        What; its package as written and net mass [kg].
    count
        Packages; of a count, all that were there.
    dated
        The day.
    recorded_at
        ISO 8601 time of entry; what was spread before a count is in it already.
    offer_id
        The offer it was bought by; empty when it was none of ours.
    paid
        Money in all; None = not stated.
    seller, made_by, note
        As written.
    """

    purchase_id: str
    kind: Movement
    product: str
    package: str
    package_kg: float
    count: float
    dated: dt.date
    recorded_at: str = ""
    offer_id: str = ""
    paid: Decimal | None = None
    seller: str = ""
    made_by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Used:
    """Product that left the shed: from a standing entry of the record.

    Parameters
    ----------
    product, mass_kg
        What, how much [kg].
    on, recorded_at
        The day, and ISO 8601 time of entry (empty when not known).
    """

    product: str
    mass_kg: float
    on: dt.date
    recorded_at: str = ""


@dataclass(frozen=True, slots=True)
class Stock:
    """What is there of one product.

    Parameters
    ----------
    product
        Which.
    counted_kg, bought_kg, used_kg
        At the newest count, since then in, since then out [kg].
    packages
        Package as written to (packages there, unrounded; net mass of one [kg]).
    earlier_kg
        Put on before the first day of its book, and so not taken off [kg]: of the season the book began in,
        or written down after it began.
    """

    product: str
    counted_kg: float
    bought_kg: float
    used_kg: float
    packages: Mapping[str, tuple[float, float]]
    earlier_kg: float = 0.0

    @property
    def left_kg(self) -> float:
        """Counted, and bought, less put on [kg]; below zero when more was put on than was known of."""
        return self.counted_kg + self.bought_kg - self.used_kg


def _moment(recorded_at: str, day: dt.date) -> dt.datetime:
    """When an entry was made, for putting entries in order; the end of its day when no time is known."""
    try:
        moment = dt.datetime.fromisoformat(recorded_at)
    except ValueError:
        moment = dt.datetime.combine(day, dt.time.max)
    return moment.astimezone(dt.UTC)


def stock(
    entries: Sequence[StockEntry],
    used: Iterable[Used],
    season_of: Callable[[dt.date], int] = lambda day: day.year,
) -> Mapping[str, Stock]:
    """Add up what is there, product by product.

    Parameters
    ----------
    entries
        The shed's book, in the order it was written; retired entries left out.
    used
        Standing entries of the record, of every season.
    season_of
        Season of a day [calendar year].

    Returns
    -------
    mapping of product to Stock
        Products the book names.

    Notes
    -----
    The newest count of a package starts it afresh: what was bought before is in it. What was spread and
    recorded before the newest count of any package of the product has left the shed already; without a count
    the book begins with the day of its first entry. What was
    spread since is taken from the smallest stock of packages first, so that opened ones are used up.

    Examples
    --------
    >>> book = [
    ...     StockEntry("1", Movement.COUNTED, "Urea", "50 lb bag", 20.0, 2, dt.date(2026, 3, 1)),
    ...     StockEntry("2", Movement.BOUGHT, "Urea", "50 lb bag", 20.0, 5, dt.date(2026, 4, 1)),
    ... ]
    >>> stock(book, [Used("Urea", 90.0, dt.date(2026, 5, 1))])["Urea"].left_kg
    50.0
    """
    result = {}
    used = tuple(used)
    for product in dict.fromkeys(entry.product for entry in entries):
        mine = [entry for entry in entries if entry.product == product]
        counts = [_moment(e.recorded_at, e.dated) for e in mine if e.kind is Movement.COUNTED]
        last_count = max(counts, default=_EARLIEST)
        counted_kg = bought_kg = 0.0
        packages: dict[str, tuple[float, float]] = {}
        for package in dict.fromkeys(entry.package for entry in mine):
            there = came_kg = at_count_kg = 0.0
            size_kg = next(entry.package_kg for entry in reversed(mine) if entry.package == package)
            for entry in mine:
                if entry.package != package:
                    continue
                if entry.kind is Movement.COUNTED:
                    there, at_count_kg, came_kg = entry.count, entry.count * entry.package_kg, 0.0
                else:
                    signed = -entry.count if entry.kind is Movement.RETURNED else entry.count
                    there, came_kg = there + signed, came_kg + signed * entry.package_kg
            counted_kg, bought_kg = counted_kg + at_count_kg, bought_kg + came_kg
            packages[package] = (there, size_kg)
        began, written = min((entry.dated, _moment(entry.recorded_at, entry.dated)) for entry in mine)
        out_kg = earlier_kg = 0.0
        for item in used:
            moment = _moment(item.recorded_at, item.on)
            if item.product != product:
                continue
            if moment >= last_count if counts else item.on >= began:
                out_kg += item.mass_kg
            elif not counts and (moment >= written or season_of(item.on) == season_of(began)):
                earlier_kg += item.mass_kg
        left = out_kg
        for package in sorted(packages, key=lambda name: packages[name][0] * packages[name][1]):
            there, size_kg = packages[package]
            taken = min(left, max(0.0, there) * size_kg)
            packages[package] = (there - taken / size_kg, size_kg)
            left -= taken
        result[product] = Stock(product, counted_kg, bought_kg, out_kg, packages, earlier_kg)
    return result


@dataclass(frozen=True, slots=True)
class NotInBook:
    """Product put on this season of which the shed's book says nothing: what is left is not known.

    Parameters
    ----------
    product
        Which.
    put_on_kg
        This season [kg].
    """

    product: str
    put_on_kg: float


@dataclass(frozen=True, slots=True)
class ToBuy:
    """One line of a plan's shopping, and how far it has got.

    Parameters
    ----------
    product, package
        Which.
    planned, bought
        Packages [count].
    spent
        Paid so far; None when a purchase does not say.
    to_spend
        For what is left, at the plan's price.
    """

    product: str
    package: str
    planned: float
    bought: float
    spent: Decimal | None
    to_spend: Decimal

    @property
    def left(self) -> float:
        """Packages still to buy [count], never below zero."""
        return max(0.0, self.planned - self.bought)


def shopping(
    wanted: Iterable[tuple[str, str, float, Decimal]], entries: Iterable[StockEntry]
) -> tuple[ToBuy, ...]:
    """Set what a plan buys against what was bought since it was made.

    Parameters
    ----------
    wanted
        (product, package, packages, price of one) of the plan.
    entries
        Bought, received and returned since.

    Returns
    -------
    tuple of ToBuy
        In the plan's order.
    """
    book = [entry for entry in entries if entry.kind is not Movement.COUNTED]
    lines = []
    for product, package, count, price in wanted:
        mine = [entry for entry in book if (entry.product, entry.package) == (product, package)]
        bought = sum(-e.count if e.kind is Movement.RETURNED else e.count for e in mine)
        priced = [entry.paid for entry in mine if entry.kind is Movement.BOUGHT]
        spent = None if None in priced else sum((paid for paid in priced if paid is not None), Decimal(0))
        left = max(0.0, count - bought)
        lines.append(ToBuy(product, package, count, bought, spent, price * Decimal(str(left))))
    return tuple(lines)
