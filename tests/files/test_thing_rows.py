"""Tables of a few columns that correct things: a blank keeps, a word clears, crops of a plot are several."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import pytest
from places import box, polygon

from loamwright import files
from loamwright.errors import InputError
from loamwright.files.intake import Imported, import_files
from loamwright.land import Cropping, Plot
from loamwright.soil import Reading, SoilTest
from loamwright.supplies import Form, Offer, Product
from loamwright.values import PropertyInfo, Settings, Spreader
from loamwright.work import PropertyRecord


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    files.create(path, PropertyInfo("Own", 2026, settings=Settings(spreaders=(Spreader("lime truck"),))))
    tested = SoilTest("T-1", "P1", lab="A lab", ph=6.1, readings={"P": Reading(9.0, "ppm", "Bray P1", "P")})
    with files.edit(path) as editor:
        editor.put_plots(
            Plot(f"P{n}", "", polygon(box(200 * n, 0, 200 * n + 100, 100)), access="by the gate")
            for n in (1, 2)
        )
        editor.put_croppings([Cropping("P1", 2026, "corn", "soybean")])
        editor.put_soil_tests([tested])
        editor.put_products([Product("Urea 46-0-0", Form.DRY)])
        editor.put_offers([Offer("U", "Urea 46-0-0", "50 lb bag", 22.68, None, seller="a store")])
    return path


def take(path: Path, rows: list[str], preview: bool = False) -> Imported:
    table = path.with_name("changes.csv")
    with table.open("w", newline="") as file:
        csv.writer(file).writerows(row.split(",") for row in rows)
    return import_files(path, [table], preview=preview)


def held(path: Path) -> PropertyRecord:
    return files.load(path)


def test_two_columns_correct_one_figure_and_nothing_else(path: Path) -> None:
    """A correction with two columns once wiped pH, P, K and dates."""
    (before,) = held(path).soil_tests
    found = take(path, ["test_id,ph", "T-1,6.4"])
    (after,) = held(path).soil_tests
    assert after.ph == 6.4
    assert (after.lab, after.readings, after.plot_id) == (before.lab, before.readings, before.plot_id)
    assert [(one.name, one.state, one.fields) for one in found.differences] == [
        ("T-1", "changed", (("ph", "6.1", "6.4"),))
    ]


def test_a_blank_keeps_and_a_word_clears(path: Path) -> None:
    take(path, ["plot_id,access,notes,reach.lime truck,weight limit", "P1,clear,wet,no,8 ton", "p2,,low,,"])
    one, two = held(path).plots
    assert (one.access, one.notes, one.reach) == ("", "wet", {"lime truck": False})
    # 8 short tons of 2,000 lb of 0.45359237 kg
    assert one.weight_limit_kg == pytest.approx(8 * 2000 * 0.45359237)
    assert (two.access, two.notes, two.reach) == ("by the gate", "low", {})
    take(
        path, ["test_id,plot_id,ph,p,p_unit", "T-1,P1,clear,,"]
    )  # every column of it is one of a soil test's
    (tested,) = held(path).soil_tests
    assert tested.ph is None
    assert tested.readings["P"].value == 9.0


def test_several_crops_of_a_plot_are_several_one_after_the_other(path: Path) -> None:
    """Oats then brassica was refused once, or the second replaced the first silently."""
    rows = [
        "plot_id,season,crop,sown_on",
        "P1,2026,oat,2026-04-20",
        "P2,,red clover,",
        "P1,2026,turnip,2026-08-01",
    ]
    take(path, rows)
    found = {(c.plot_id, c.position): (c.crop, c.previous_crop, c.sown_on) for c in held(path).croppings}
    assert found == {
        ("P1", 1): ("oat", "soybean", dt.date(2026, 4, 20)),
        ("P1", 2): ("turnip", "", dt.date(2026, 8, 1)),
        ("P2", 1): ("red clover", "", None),
    }
    again = take(path, rows)
    assert {one.state for one in again.differences} == {"unchanged"}


def test_a_preview_says_it_and_stores_nothing(path: Path) -> None:
    before = path.read_bytes()
    found = take(path, ["offer_id,price", "u,28.50"], preview=True)
    assert [(one.thing, one.fields) for one in found.differences] == [("offer", (("price", "—", "28.50"),))]
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["test_id,ph", "T-9,6.4"], r"changes.csv, row 2: soil-test: there is no soil-test 'T-9'"),
        (["test_id,ph", "T-1,74"], r"changes.csv, row 2: soil-test T-1, ph: '74' is not between 2 and 12"),
        (["test_id,ph", "T-1,6.4", ",6.5"], r"changes.csv, row 3: it names no soil-test"),
        (["test_id,ph", "T-1,6.4", "T-1,6.5"], r"changes.csv, row 3: T-1 stands in two rows"),
        (["plot_id,crop,sown", "P1,oat,2026-04-01"], r"column sown: there is no field of a cropping 'sown'"),
        (["plot_id,crop", "P9,oat"], r"changes.csv, row 2: plot: there is no plot 'P9'"),
    ],
)
def test_what_cannot_be_is_named_by_its_row_and_nothing_is_taken(
    path: Path, rows: list[str], said: str
) -> None:
    before = path.read_bytes()
    with pytest.raises(InputError, match=said):
        take(path, rows)
    assert path.read_bytes() == before
