"""A property in euros: no screen, page, sheet or file shows a price with another currency's sign.

The sign is the only thing that hangs on the currency (ISO 4217 codes; EUR is written with the euro sign).
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import openpyxl
import pytest
from command_line import box, geojson, ran_well, run, written
from pypdf import PdfReader

from loamwright.money import format_money, tell_money_in


@pytest.fixture(scope="module")
def property_in_euros(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("euros")
    path = folder / "moor.gpkg"
    ran_well("new", path, "--name", "Moorwiese (invented)", "--units", "metric")
    ran_well("set", path, "settings", "currency=EUR", "keeper=Hof")
    hay = {"crop": "grasses for hay and pasture", "yield_goal": "6 t/ha", "seeding": "no"}
    plots = geojson(folder / "plots.geojson", ({"plot_id": "M-1", "name": "Moor", **hay}, [box()]))
    products = written(
        folder / "products.csv",
        "product,form,n,p2o5,k2o,package,price,seller,delivery_fee\n"
        "Calcium ammonium nitrate,dry,27,0,0,25 kg bag,€14.00,Hof,30 €\n"
        "Urea,dry,46,0,0,25 kg bag,21.00 EUR,Hof,\n",
    )
    assert run("import", path, plots, products).code in (0, 1)
    ran_well("decide", path, "M-1", "N", "60 kg/ha", "--because", "two cuts")
    assert run("plan", path).code in (0, 1)
    return path


def in_euros_alone(text: str) -> None:
    assert not re.search(r"\$\s?[0-9]", text), re.findall(r".{30}\$\s?[0-9].{10}", text)
    assert re.search(r"€[0-9]", text)


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "--tables"),
        ("why",),
        ("compare",),
        ("stock",),
        ("show", "offer"),
    ],
)
def test_every_screen(property_in_euros: Path, words: tuple[str, ...]) -> None:
    shown = run(words[0], property_in_euros, *words[1:], as_json=False)
    assert shown.code in (0, 1), shown.text
    in_euros_alone(shown.text) if words[0] not in ("stock", "show") else None
    assert "$" not in shown.text


def test_paper_and_sheets(property_in_euros: Path, tmp_path: Path) -> None:
    assert run("orders", property_in_euros, tmp_path).code in (0, 1)
    for paper in tmp_path.glob("*.pdf"):
        text = "".join(page.extract_text() for page in PdfReader(paper).pages)
        assert "$" not in text
    book = openpyxl.load_workbook(next(tmp_path.glob("*.xlsx")))
    headings = [str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row if cell.value]
    assert "cost €" in headings
    assert not any("$" in text for text in headings)
    formats = {cell.number_format for sheet in book for row in sheet.iter_rows() for cell in row}
    assert not any("$" in one for one in formats)


def test_the_field_map_and_the_tables(property_in_euros: Path, tmp_path: Path) -> None:
    assert run("map", property_in_euros, tmp_path / "map.html").code in (0, 1)
    page = (tmp_path / "map.html").read_text("utf-8")
    assert not re.search(r"\$[0-9]+(,[0-9]{3})*\.[0-9]{2}", page)
    assert run("export", property_in_euros, "csv", tmp_path / "tables").code in (0, 1)
    for table in (tmp_path / "tables").glob("*.csv"):
        heads = next(csv.reader(table.open(encoding="utf-8-sig")))
        assert not any("$" in head or "dollar" in head for head in heads)


def test_a_price_in_another_money_is_refused(property_in_euros: Path, tmp_path: Path) -> None:
    """Ten dollars are not ten euros."""
    products = written(
        tmp_path / "more.csv", "product,form,n,package,price,seller\nUreum,dry,46,25 kg bag,$21.00,Hof\n"
    )
    assert run("import", property_in_euros, products).says("$21.00", "EUR")


def test_signs_and_codes() -> None:
    try:
        tell_money_in("SEK")
        assert format_money(1250.5) == "SEK 1,250.50"
        tell_money_in("GBP")
        assert format_money(1250.5) == "£1,250.50"
    finally:
        tell_money_in("USD")
