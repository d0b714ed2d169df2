"""What a plan costs as decided, and with what is still open, by hand."""

from __future__ import annotations

from decimal import Decimal

from loamwright.work import ChoiceRow, totals_of

OPEN = ChoiceRow("a", "N", True, 50.0, None, 50.0, Decimal(40), "", "")
RANGE = ChoiceRow("b", "N", True, None, None, 60.0, Decimal(30), "", "", (0.0, 60.0))
MADE = ChoiceRow("c", "N", False, 50.0, 50.0, 50.0, Decimal(99), "", "")
UNSOLD = ChoiceRow("d", "N", True, 50.0, None, 50.0, None, "", "")
ROWS = (OPEN, RANGE, MADE, UNSOLD)


def test_what_is_open_comes_on_top_of_what_is_decided() -> None:
    # 100 for what is decided (the row already made among it), 40 and 30 for what is open
    assert totals_of(Decimal(100), ROWS) == (Decimal(100), Decimal(170))


def test_a_plan_of_published_figures_holds_them_already_but_no_ranges() -> None:
    # 100 with the published 40 in it: 60 is decided; the range of 30 is still to come
    assert totals_of(Decimal(100), ROWS, published=True) == (Decimal(60), Decimal(130))


def test_nothing_open_is_one_figure_twice() -> None:
    assert totals_of(Decimal(100), (MADE,)) == (Decimal(100), Decimal(100))
