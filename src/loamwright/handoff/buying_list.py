"""What to buy, from whom, for how much, and what is left over: the plan's purchases by seller.

This file answers "what do I order, and what will the bill be?". It adds up and writes the
spreadsheet; which packages are cheapest is decided in `planner`, and the printed page is made with
the work orders in `orders`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from loamwright.errors import Level, Problem
from loamwright.handoff.paper import PaperMade
from loamwright.handoff.workbook import (
    Cell,
    Column,
    Kept,
    Section,
    Sheet,
    cells_of,
    columns_of,
    in_units,
    texts_of,
    write_workbook,
)
from loamwright.money import format_money
from loamwright.planning import Plan, Purchase
from loamwright.supplies import Offer
from loamwright.units import (
    LB_KG,
)
from loamwright.values import Timing
from loamwright.words import mass_words
from loamwright.work import SeasonView


@dataclass(frozen=True, slots=True)
class BuyingLine:
    """One offer on the list.

    Parameters
    ----------
    product, package, timing
        What, how packed, and for which time of the season (None = any).
    count, from_stock
        Packages to buy and to take from stock [count].
    unit_price, cost
        Money.
    package_kg
        Net mass of one package [kg]; None when the offer is no longer in the file.
    left_over_kg
        Bought or in stock and not used [kg].
    priced_on
        Date of the price; None = not stated.
    """

    product: str
    package: str
    timing: Timing | None
    count: float
    from_stock: float
    unit_price: Decimal
    cost: Decimal
    package_kg: float | None
    left_over_kg: float
    priced_on: dt.date | None


@dataclass(frozen=True, slots=True)
class SellerOrder:
    """What one seller gets an order for.

    Parameters
    ----------
    seller
        As written; empty = not stated.
    lines
        Offers with something to buy.
    goods, delivery, total
        Money.
    """

    seller: str
    lines: tuple[BuyingLine, ...]
    goods: Decimal
    delivery: Decimal
    total: Decimal


@dataclass(frozen=True, slots=True)
class BuyingList:
    """The whole list.

    Parameters
    ----------
    orders
        One per seller, in the order of the plan.
    stock_only
        Lines that need nothing bought because stock is enough.
    goods, delivery, total
        Money over all sellers.
    problems
        Where the list and the plan do not say the same.
    """

    orders: tuple[SellerOrder, ...]
    stock_only: tuple[BuyingLine, ...]
    goods: Decimal
    delivery: Decimal
    total: Decimal
    problems: tuple[Problem, ...] = ()


def _line(purchase: Purchase, offer: Offer | None) -> BuyingLine:
    return BuyingLine(
        purchase.product,
        purchase.package,
        purchase.timing,
        purchase.count,
        purchase.from_stock,
        purchase.unit_price,
        purchase.cost,
        None if offer is None else offer.package_kg,
        purchase.left_over_kg,
        None if offer is None else offer.priced_on,
    )


def _disagreements(plan: Plan, goods: Decimal, delivery: Decimal, hauled: bool) -> tuple[Problem, ...]:
    """Where list and plan differ; what is paid for bringing goods oneself is in the plan alone, and said."""
    pairs = [("goods", goods, plan.purchase_cost), ("delivery", delivery, plan.delivery_cost)]
    more = plan.delivery_cost - delivery
    found = []
    if hauled and more > 0:
        pairs.pop()
        found.append(
            Problem(
                "buying list, hauling",
                f"{format_money(more)} for loads and ways are in the plan and go to none of these sellers",
                "Count them beside what is paid here.",
                Level.NOTE,
            )
        )
    found.extend(
        Problem(
            f"buying list, {what}",
            f"the lines add up to {format_money(listed)} and the plan holds {format_money(planned)}",
            "Make the plan again: a price or fee has changed since it was made.",
            Level.WARNING,
        )
        for what, listed, planned in pairs
        if listed != planned
    )
    return tuple(found)


def _list_of(view: SeasonView, plan: Plan) -> BuyingList:
    settings = view.record.info.settings
    hauled = settings.hauling_cost_per_kg > 0 or settings.work.cost_per_haul > 0
    hauled = hauled or any(one.cost_per_load for one in settings.spreaders)
    return buying_list(plan, {offer.offer_id: offer for offer in view.record.offers}, hauled)


def buying_list(plan: Plan, offers: Mapping[str, Offer], hauled: bool = False) -> BuyingList:
    """Group a plan's purchases by seller and add them up.

    Notes
    -----
    A seller's delivery fee is charged once per order: the highest fee among the offers bought there. `hauled`
    tells that the plan's delivery also holds loads and ways that are paid to nobody on the list.
    """
    by_seller: dict[str, list[Purchase]] = {}
    stock_only = []
    for purchase in plan.buy:
        if purchase.count > 0:
            by_seller.setdefault(purchase.seller, []).append(purchase)
        elif purchase.from_stock > 0:
            stock_only.append(_line(purchase, offers.get(purchase.offer_id)))
    orders = []
    for seller, purchases in by_seller.items():
        goods = sum((p.cost for p in purchases), Decimal(0))
        fees = [offers[p.offer_id].delivery_fee for p in purchases if p.offer_id in offers]
        delivery = max(fees, default=Decimal(0))
        lines = tuple(_line(p, offers.get(p.offer_id)) for p in purchases)
        orders.append(SellerOrder(seller, lines, goods, delivery, goods + delivery))
    goods = sum((order.goods for order in orders), Decimal(0))
    delivery = sum((order.delivery for order in orders), Decimal(0))
    return BuyingList(
        tuple(orders),
        tuple(stock_only),
        goods,
        delivery,
        goods + delivery,
        _disagreements(plan, goods, delivery, hauled),
    )


# ---------------------------------------------------------------------------------------------
# On paper


@dataclass(frozen=True, slots=True)
class BuyingRow:
    """One offer on the buying list."""

    product: str
    note: str
    package: str
    count: str
    mass: str
    from_stock: str
    unit_price: str
    cost: str
    left_over: str


@dataclass(frozen=True, slots=True)
class BuyingOrder:
    """One seller's part of the buying list."""

    seller: str
    lines: tuple[BuyingRow, ...]
    goods: str
    delivery: str
    total: str


@dataclass(frozen=True, slots=True)
class BuyingPage:
    """Everything `templates/buying_list.typ` shows."""

    title: str
    subtitle: str
    orders: tuple[BuyingOrder, ...]
    stock: tuple[BuyingRow, ...]
    goods: str
    delivery: str
    total: str
    remark: str


def _count(value: float) -> str:
    return f"{value:,.0f}" if math.isclose(value, round(value), abs_tol=1e-9) else f"{value:,.3f}"


def _notes(line: BuyingLine) -> str:
    notes = [f"for {line.timing.value}"] if line.timing else []
    return ", ".join(
        [*notes, f"price of {line.priced_on.isoformat()}" if line.priced_on else "price not dated"]
    )


def _money(amount: Decimal | None) -> str:
    return "" if amount is None else format_money(amount)


#: The list: every column once, for the workbook and for the page.
_LINES: tuple[Kept[BuyingLine], ...] = (
    Kept(Column("product", 32), lambda b: b.product, "product"),
    Kept(Column("package", 18), lambda b: b.package, "package"),
    Kept(
        Column("for", 14),
        lambda b: b.timing.value if b.timing else "any time",
        "note",
        lambda b, _system: _notes(b),
    ),
    Kept(Column("packages to buy", 10), lambda b: b.count, "count", lambda b, _system: _count(b.count)),
    Kept(
        None,
        lambda b: None if b.package_kg is None else b.count * b.package_kg / LB_KG,
        "mass",
        lambda b, s: "" if b.package_kg is None else mass_words(b.count * b.package_kg, s),
    ),
    Kept(
        Column("from stock", 10),
        lambda b: b.from_stock,
        "from_stock",
        lambda b, _system: _count(b.from_stock),
    ),
    Kept(
        Column("unit price $", 11, money=True),
        lambda b: b.unit_price,
        "unit_price",
        lambda b, _system: _money(b.unit_price),
    ),
    Kept(Column("cost $", 12, money=True), lambda b: b.cost, "cost", lambda b, _system: _money(b.cost)),
    Kept(
        Column("left over lb", 11, 1),
        lambda b: b.left_over_kg / LB_KG,
        "left_over",
        lambda b, s: mass_words(b.left_over_kg, s),
    ),
    Kept(Column("price of", 12), lambda b: b.priced_on),
)


def _buying_row(line: BuyingLine, system: str) -> BuyingRow:
    return BuyingRow(**texts_of(_LINES, line, system))


def buying_page(view: SeasonView) -> BuyingPage | None:
    """Work out everything that stands on the printed buying list."""
    if view.plan is None:
        return None
    listed = _list_of(view, view.plan)
    system = view.record.info.units
    return BuyingPage(
        f"Buying list {view.record.info.season}",
        f"{view.record.info.name}, made {view.stamp}",
        tuple(
            BuyingOrder(
                order.seller or "Seller not stated",
                tuple(_buying_row(line, system) for line in order.lines),
                format_money(order.goods),
                format_money(order.delivery),
                format_money(order.total),
            )
            for order in listed.orders
        ),
        tuple(_buying_row(line, system) for line in listed.stock_only),
        format_money(listed.goods),
        format_money(listed.delivery),
        format_money(listed.total),
        "; ".join(p.what for p in listed.problems),
    )


# ---------------------------------------------------------------------------------------------
# As a spreadsheet


def buying_sheet(view: SeasonView) -> Sheet | None:
    """Lay the buying list out as a sheet, a section per seller."""
    if view.plan is None:
        return None
    listed = _list_of(view, view.plan)

    def total(words: str, amount: Decimal) -> tuple[Cell, ...]:
        cells: dict[str, Cell] = {"product": words, "cost $": amount}
        return tuple(cells.get(column.name) for column in columns_of(_LINES))

    sections = []
    for order in listed.orders:
        name = order.seller or "seller not stated"
        goods = Section(
            name, tuple(cells_of(_LINES, line) for line in order.lines), total("goods", order.goods)
        )
        fee = Section("", (total("delivery", order.delivery),), total(f"total for {name}", order.total))
        sections += [goods, fee]
    if listed.stock_only:
        sections.append(
            Section("Enough in stock", tuple(cells_of(_LINES, line) for line in listed.stock_only))
        )
    sections.append(Section("", (), total("total to pay", listed.total)))
    title = (
        f"Buying list {view.plan.season or view.record.info.season}, {view.record.info.name}",
        f"made {view.stamp}, plan {view.plan.plan_id}: {view.plan.outcome.value}",
    )
    sheet = Sheet("Buying list", title, columns_of(_LINES), tuple(sections))
    return in_units(sheet, view.record.info.units)


def write_buying_list(view: SeasonView, path: Path) -> PaperMade:
    """Write the buying list as a spreadsheet (XLSX).

    Parameters
    ----------
    view
        The season.
    path
        File to write.

    Returns
    -------
    PaperMade
        With what list and plan disagree on; without a plan nothing is written and pages is 0.

    Raises
    ------
    InputError
        When the file cannot be written.
    """
    sheet = buying_sheet(view)
    if sheet is None or view.plan is None:
        name = view.record.info.name
        problem = Problem(name, "there is no plan, so there is no buying list", "Make a plan first.")
        return PaperMade(path, 0, (problem,))
    write_workbook(path, (sheet,), view.made_on)
    listed = _list_of(view, view.plan)
    return PaperMade(path, 1, listed.problems)
