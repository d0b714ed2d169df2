"""Lime is spread in March and its bill comes at the end of the month: what is in the heap is never guessed.

6 t bought, 2,930 kg (2.93 t) put on by the day they came: 3,070 kg are left.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import ran_well, run, written
from stories.test_metric_year import hof
from stories.test_three_seasons import Clock

__all__ = ["hof"]

KG_LB = 1 / 0.45359237


@pytest.fixture
def limed(hof: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    Clock(monkeypatch).set("2026-04-02")
    goods = written(
        tmp_path / "kalk.csv", "product;form;cce;package;price\nKalk lose;lime;92;1 t bulk;38,00\n"
    )
    ran_well("import", hof, goods)
    put = ("record", hof, "--plot", "W1", "--product", "Kalk lose", "--on")
    assert run(*put, "2026-03-02", "--amount", "1500 kg").code in (0, 1)
    assert run(*put, "2026-03-03", "--amount", "1430 kg", "--answer", "again=on top of it").code in (0, 1)
    return hof


def test_what_was_never_bought_has_a_line_and_says_so(limed: Path) -> None:
    listed = run("stock", limed).data
    assert listed["stock"] == []
    (one,) = listed["not_in_book"]
    assert one["product"] == "Kalk lose"
    assert one["put_on_lb"] == pytest.approx(2930 * KG_LB)
    told = run("stock", limed, as_json=False).text
    assert "Kalk lose: 2,930 kg (2.93 t) put on this season, and none was ever written down" in told


def test_a_purchase_dated_after_the_spreading_is_told_and_dated_by_its_day_it_is_right(limed: Path) -> None:
    late = run("purchase", limed, "Kalk lose", "6", "--on", "31.03.2026")
    assert late.code == 1
    assert late.says(
        "2,930 kg (2.93 t) put on before the first day of its book is not taken off", "the day it came"
    )
    assert "not taken off" in run("stock", limed, as_json=False).text
    ran_well("undo", limed)
    ran_well("purchase", limed, "Kalk lose", "6", "--on", "02.03.2026")
    (line,) = run("stock", limed).data["stock"]
    assert line["bought_lb"] - line["used_lb"] == pytest.approx(3070 * KG_LB)
    assert line["earlier_lb"] == 0
