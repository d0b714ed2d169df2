"""An amount as it stands on the orders, and as people say it, comes home as the weight it is.

Two kinds of bag of one product are offered, one of them is planned and bought. Four bags of 25 kg are 100 kg.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import Ran, ran_well, run, written
from stories.test_metric_year import HA, hof
from stories.test_three_seasons import Clock

__all__ = ["hof"]

KG_LB = 1 / 0.45359237
NITRATE = "Ammonsalpeter 27"


@pytest.fixture
def farm(hof: Path, tmp_path: Path) -> Path:
    goods = written(
        tmp_path / "big.csv",
        f"product;form;n;p2o5;k2o;package;price;seller\n{NITRATE};dry;27;0;0;600 kg bag;390,00;Laden\n",
    )
    assert run("import", hof, goods).code in (0, 1)
    return hof


def put(farm: Path, amount: str, *more: object) -> Ran:
    return run("record", farm, "--plot", "W1", "--product", NITRATE, "--amount", amount, *more)


def on_kg(farm: Path, plot: str = "W1") -> float:
    lines = run("status", farm).data["lines"]
    return sum(one["applied_lb"] for one in lines if one["plot_id"] == plot) / KG_LB


def test_four_bags_are_of_the_kind_that_is_bought_and_it_says_so(farm: Path) -> None:
    refused = put(farm, "4 bags")
    assert refused.code == 2
    assert refused.says("2 kinds of package (25 kg bag, 600 kg bag)", "4 × 25 kg bag, or 100 kg")
    assert not refused.says(" lb")
    ran_well("purchase", farm, NITRATE, 12, "--package", "25 kg bag", "--paid", "174")
    told = put(farm, "4 bags")
    assert told.code in (0, 1)
    assert told.says("'4 bags' was read as 25 kg bag, 100.0 kg")
    assert on_kg(farm) == pytest.approx(100)
    ran_well("purchase", farm, NITRATE, 1, "--package", "600 kg bag", "--paid", "390")
    assert put(farm, "3 bags").says("2 kinds of package")


@pytest.mark.parametrize(
    ("text", "kg"),
    [("4 × 25 kg bag", 100.0), ("4 x 25 kg bags", 100.0), ("0.5 × 600 kg bag", 300.0), ("2 × 25kg", 50.0)],
)
def test_as_the_orders_print_it(farm: Path, text: str, kg: float) -> None:
    done = put(farm, text, "--answer", "amount=it is right")
    assert done.code in (0, 1), done.text
    assert on_kg(farm) == pytest.approx(kg)
    refused = put(farm, "4 × 40 kg bag")
    assert refused.says("does not come in '40 kg bag'", "25 kg bag, 600 kg bag")


def test_a_table_takes_what_the_command_takes_and_the_same_row_again_is_the_same(
    farm: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Clock(monkeypatch).set("2026-05-04")
    ran_well("purchase", farm, NITRATE, 12, "--package", "25 kg bag", "--paid", "174")
    sheet = written(
        tmp_path / "heft.csv",
        "plot_id;product;applied_on;done;amount\n"
        f"W1;{NITRATE};02.05.2026;done;4 bags\n"
        f"W2;{NITRATE};03.05.2026;done;40 kg/ha\n"
        f"W1;{NITRATE};03.05.2026;part;0,05 ton\n",
    )
    told = run("record", farm, sheet)
    assert told.code in (0, 1), told.text
    assert told.says("row 2", "'4 bags' was read as 25 kg bag, 100.0 kg")
    assert on_kg(farm) == pytest.approx(150)  # 100 kg, and a twentieth of a tonne
    assert on_kg(farm, "W2") == pytest.approx(40 * HA, rel=1e-6)
    again = run("record", farm, sheet)
    assert len(again.data["new"]) == 0
    # Another kind of bag in the shed makes the row two-sided: refused, nothing is written twice.
    bought = run("purchase", farm, NITRATE, 1, "--package", "600 kg bag", "--paid", "390")
    assert bought.code == 1  # what was put on before is told: it is not taken off these bags
    assert run("record", farm, sheet).says("row 2", "2 kinds of package")
    assert on_kg(farm) == pytest.approx(150)


def test_what_is_asked_of_an_entry_is_said_in_the_units_of_the_property(farm: Path) -> None:
    assert put(farm, "75 kg", "--on", "2026-05-01").code in (0, 1)
    assert put(farm, "75 kg", "--on", "2026-05-01").says("the same is recorded already: 75.0 kg on")
    assert put(farm, "5 stones").says("120 kg, 2.5 bags, 10 l, 130 kg/ha")
