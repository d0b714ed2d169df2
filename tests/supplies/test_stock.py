"""The shed's book: counted + bought − put on, worked out by hand."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from loamwright.supplies.stock import Movement, StockEntry, Used, shopping, stock

LB = 0.45359237
BAG = 50 * LB


def entry(kind: Movement, count: float, on: str, at: str = "", package: str = "50 lb bag") -> StockEntry:
    size = BAG if package == "50 lb bag" else 40 * LB
    return StockEntry(f"{kind}-{on}-{at}", kind, "Urea", package, size, count, dt.date.fromisoformat(on), at)


def spread(lb: float, on: str, at: str = "") -> Used:
    return Used("Urea", lb * LB, dt.date.fromisoformat(on), at)


def test_counted_and_bought_less_put_on() -> None:
    # 2 bags counted, 10 bought, 1 returned: 11 x 50 = 550 lb; 600 − … 420 lb put on: 130 lb are left.
    book = [
        entry(Movement.COUNTED, 2, "2026-03-01"),
        entry(Movement.BOUGHT, 10, "2026-04-01"),
        entry(Movement.RETURNED, 1, "2026-04-05"),
    ]
    found = stock(book, [spread(300, "2026-05-02"), spread(120, "2026-05-09")])["Urea"]
    assert found.left_kg / LB == pytest.approx(130)
    assert found.packages["50 lb bag"][0] == pytest.approx(2.6)


def test_a_count_starts_afresh_and_what_went_on_before_it_is_in_it() -> None:
    book = [
        entry(Movement.BOUGHT, 10, "2026-04-01", "2026-04-01T10:00:00"),
        entry(Movement.COUNTED, 3, "2026-05-10", "2026-05-10T09:00:00"),
        entry(Movement.BOUGHT, 1, "2026-05-10", "2026-05-10T15:00:00"),
    ]
    used = [
        spread(320, "2026-05-02", "2026-05-02T12:00:00"),
        spread(60, "2026-05-10", "2026-05-10T18:00:00"),
    ]
    # 3 + 1 bags = 200 lb, less the 60 lb entered in the evening.
    assert stock(book, used)["Urea"].left_kg / LB == pytest.approx(140)


def test_more_put_on_than_was_known_of_shows_below_zero() -> None:
    book = [entry(Movement.COUNTED, 1, "2026-03-01")]
    assert stock(book, [spread(80, "2026-05-02")])["Urea"].left_kg / LB == pytest.approx(-30)


def test_two_packages_of_one_product_use_up_the_smaller_stock_first() -> None:
    book = [
        entry(Movement.COUNTED, 4, "2026-03-01"),
        entry(Movement.COUNTED, 1, "2026-03-01", package="40 lb bag"),
    ]
    found = stock(book, [spread(60, "2026-05-02")])["Urea"]
    assert found.packages["40 lb bag"][0] == pytest.approx(0)
    assert found.packages["50 lb bag"][0] == pytest.approx(3.6)  # 200 − 20 lb


def test_what_is_spent_and_what_is_still_to_spend() -> None:
    paid = StockEntry(
        "1", Movement.BOUGHT, "Urea", "50 lb bag", BAG, 30, dt.date(2026, 4, 1), paid=Decimal("840.00")
    )
    (line,) = shopping([("Urea", "50 lb bag", 47, Decimal("28.50"))], [paid])
    assert (line.left, line.spent, line.to_spend) == (17, Decimal("840.00"), Decimal("484.50"))


def test_buying_more_than_planned_leaves_nothing_to_buy() -> None:
    (line,) = shopping([("Urea", "50 lb bag", 2, Decimal(28))], [entry(Movement.RECEIVED, 3, "2026-04-01")])
    assert (line.left, line.to_spend, line.spent) == (0, 0, 0)


def test_without_a_count_the_book_begins_with_its_first_entry() -> None:
    # 600 lb spread in May from bags nobody wrote down; 5 bags bought in June, 1 of them spread: 200 lb left.
    book = [entry(Movement.BOUGHT, 5, "2026-06-01")]
    assert stock(book, [spread(600, "2026-05-09"), spread(50, "2026-06-02")])["Urea"].left_kg / LB == (
        pytest.approx(200)
    )


def test_what_is_dated_before_the_book_but_written_down_after_it_is_told_and_not_taken_off() -> None:
    # 5 bags written down on 1 June; in June 100 lb are entered that went on in May: from which bags? 600 lb
    # of May were on record already, and 400 of the year before: those of this season may be of the same heap.
    book = [entry(Movement.BOUGHT, 5, "2026-06-01", "2026-06-01T09:00:00")]
    late, known = (
        spread(100, "2026-05-09", "2026-06-03T09:00:00"),
        spread(600, "2026-05-09", "2026-05-09T18:00:00"),
    )
    before = spread(400, "2025-05-09", "2025-05-09T18:00:00")
    found = stock(book, [late, known, before])["Urea"]
    assert found.left_kg / LB == pytest.approx(250)
    assert found.earlier_kg / LB == pytest.approx(700)


def test_what_goes_on_the_day_it_comes_is_taken_off_whichever_is_written_down_first() -> None:
    # 8 bags come and 300 lb are spread on the same day; the bill is written down a month later: 100 lb left.
    book = [entry(Movement.BOUGHT, 8, "2026-03-02", "2026-04-02T20:00:00")]
    found = stock(book, [spread(300, "2026-03-02", "2026-03-02T18:00:00")])["Urea"]
    assert found.left_kg / LB == pytest.approx(100)
    assert found.earlier_kg == 0
