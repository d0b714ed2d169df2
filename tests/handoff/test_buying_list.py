"""The buying list: sums by hand, from the workbook as another library reads it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from sample_view import sample_view

from loamwright.errors import InputError
from loamwright.handoff.buying_list import buying_list, buying_page, write_buying_list
from loamwright.planning.records import Outcome, Plan, Purchase
from loamwright.supplies.records import Offer


def _offer(offer_id: str, seller: str, fee: str = "0", package_kg: float = 20.0) -> Offer:
    return Offer(
        offer_id,
        f"product {offer_id}",
        "bag",
        package_kg,
        Decimal("10"),
        seller=seller,
        delivery_fee=Decimal(fee),
    )


def _purchase(offer: Offer, count: float, cost: str, from_stock: float = 0.0) -> Purchase:
    return Purchase(
        offer.offer_id, offer.product, "bag", offer.seller, count, from_stock, Decimal("10"), Decimal(cost)
    )


def test_sellers_fees_and_stock_by_hand() -> None:
    # North: 3 × 10 + 2 × 10 = 50 and one delivery, the dearer of 15 and 25; South: 40, no fee.
    # Delivery 25; to pay 50 + 40 + 25 = 115. The third North offer is covered by stock.
    a, b, c, d = (
        _offer("a", "North", "15"),
        _offer("b", "North", "25"),
        _offer("c", "South"),
        _offer("d", "North"),
    )
    plan = Plan(
        "P",
        Outcome.PROVED,
        0.0,
        Decimal("90"),
        Decimal("7"),
        Decimal("25"),
        buy=(_purchase(a, 3, "30"), _purchase(c, 4, "40"), _purchase(b, 2, "20"), _purchase(d, 0, "0", 2)),
    )
    listed = buying_list(plan, {o.offer_id: o for o in (a, b, c, d)})
    assert [(o.seller, o.goods, o.delivery, o.total) for o in listed.orders] == [
        ("North", Decimal("50"), Decimal("25"), Decimal("75")),
        ("South", Decimal("40"), Decimal("0"), Decimal("40")),
    ]
    assert [line.product for line in listed.stock_only] == ["product d"]
    assert listed.total == Decimal("115")
    assert listed.problems == ()
    changed = buying_list(replace(plan, delivery_cost=Decimal("40")), {o.offer_id: o for o in (a, b, c, d)})
    assert "$25.00 and the plan holds $40.00" in changed.problems[0].what
    # where loads or ways are paid for, the other 15 are theirs: said, and no disagreement
    offers = {o.offer_id: o for o in (a, b, c, d)}
    hauled = buying_list(replace(plan, delivery_cost=Decimal("40")), offers, hauled=True)
    (told,) = hauled.problems
    assert "$15.00 for loads and ways" in told.what
    assert hauled.total == Decimal("115")
    short = buying_list(replace(plan, delivery_cost=Decimal("20")), offers, hauled=True)
    assert "$25.00 and the plan holds $20.00" in short.problems[0].what


def test_workbook_holds_the_same_money(tmp_path: Path) -> None:
    view = sample_view(25)
    made = write_buying_list(view, tmp_path / "buy.xlsx")
    assert (made.path, made.pages, made.problems) == (tmp_path / "buy.xlsx", 1, ())
    sheet = openpyxl.load_workbook(tmp_path / "buy.xlsx")["Buying list"]
    rows = [row for row in sheet.iter_rows(values_only=True) if row[0]]
    assert rows[0][0] == "Buying list 2026, Alder Fork Preserve"
    heads = next(row for row in rows if row[0] == "product")
    assert heads[3:7] == ("packages to buy", "from stock", "unit price $", "cost $")
    bags = [row for row in rows if row[1] == "50 lb bag"]
    for row in bags:
        assert row[3] == int(row[3])  # whole bags
        assert row[6] == pytest.approx(row[3] * row[5], abs=0.005)
    total = next(row for row in rows if row[0] == "total to pay")[6]
    goods = sum(row[6] for row in rows if row[0] == "goods")
    assert total == pytest.approx(goods, abs=0.005)
    assert total == pytest.approx(sum(r[6] for r in rows if r[1] in ("50 lb bag", "1 ton bulk")), abs=0.005)
    assert total == pytest.approx(float(view.plan.purchase_cost + view.plan.delivery_cost), abs=0.005)
    assert next(row for row in bags if row[0] == "Triple super 0-46-0")[4] == 2  # two bags in stock


def test_hostile_sellers_are_text(tmp_path: Path) -> None:
    write_buying_list(sample_view(25, hostile=True), tmp_path / "buy.xlsx")
    cells = [
        c for row in openpyxl.load_workbook(tmp_path / "buy.xlsx").active.iter_rows() for c in row if c.value
    ]
    assert all(cell.data_type in "sn" and cell.hyperlink is None for cell in cells)


def test_no_plan_writes_nothing_and_says_so(tmp_path: Path) -> None:
    view = sample_view(2, with_plan=False)
    made = write_buying_list(view, tmp_path / "buy.xlsx")
    assert made.pages == 0
    assert not (tmp_path / "buy.xlsx").exists()
    assert "there is no plan" in made.problems[0].what
    assert buying_page(view) is None
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        write_buying_list(sample_view(1), tmp_path / "file" / "buy.xlsx")
