"""Tables in: files to rows, rows to records, and a problem for everything that cannot be used.

Expected values are hand arithmetic or exact definitions (NIST Handbook 44, Appendix C: 1 lb =
0.45359237 kg, 1 gal = 231 in3, 1 in = 25.4 mm), shown beside each check.
"""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.files import field_records, pricelists, settings, tables, textrows
from loamwright.files.jsontext import read_json
from loamwright.handoff import workbook
from loamwright.soil.records import Reading
from loamwright.supplies.records import Form
from loamwright.values import Nutrient, PropertyInfo, Quantity, Timing
from loamwright.work.records import Done, PropertyRecord

LB = 0.45359237
ACRE = 4046.8564224
PLOTS = ("A-1", "A-2", "A-3")
BARE = PropertyRecord(PropertyInfo("Bare (invented)", 2026))


def table(tmp_path: Path, text: str, name: str = "file.csv") -> textrows.Table:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8", newline="")
    return textrows.read_table(path)


def errors(problems: tuple[Problem, ...]) -> list[Problem]:
    return [problem for problem in problems if problem.level is Level.ERROR]


def only(problems: tuple[Problem, ...], level: Level = Level.ERROR) -> Problem:
    (problem,) = (p for p in problems if p.level is level)
    return problem


# ---------------------------------------------------------------------------------------------
# Files to rows


def test_row_numbers_are_those_a_spreadsheet_shows(tmp_path: Path) -> None:
    read = table(tmp_path, 'plot_id,note\n\nA-1,"two\nlines"\n,\nA-2,x\n')
    assert [(row.number, row.cells) for row in read.rows] == [(3, ("A-1", "two\nlines")), (5, ("A-2", "x"))]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_delimiters_and_encodings(tmp_path: Path, delimiter: str, encoding: str) -> None:
    path = tmp_path / "file.csv"
    path.write_bytes(f"plot_id{delimiter}note\r\nA-1{delimiter}Wiese süd\r\n".encode(encoding))
    read = textrows.read_table(path)
    assert (read.columns, read.rows[0].cells, read.problems) == (
        ("plot_id", "note"),
        ("A-1", "Wiese süd"),
        (),
    )


def test_windows_1252_is_read_and_said(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes("plot_id,note\nA-1,½ bag left – café\n".encode("cp1252"))
    read = textrows.read_table(path)
    assert read.rows[0].cells[1] == "½ bag left – café"
    assert "Windows-1252" in only(read.problems, Level.NOTE).what


def test_guarded_text_comes_back_as_it_was(tmp_path: Path) -> None:
    texts = ["=1+1", "+1 bag", "-5", "@home", "plain", "it's", "'quoted'", "a,b;c\td", '"']
    sheet = workbook.Sheet(
        "t",
        (),
        (workbook.Column("plot_id"), workbook.Column("note")),
        (workbook.Section("", tuple(("A", t) for t in texts)),),
    )
    workbook.write_csv(tmp_path / "out.csv", sheet)
    assert [row.cells[1] for row in textrows.read_table(tmp_path / "out.csv").rows] == texts


def test_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    page.title = "prices"
    page.append(["product", "n", "price", "priced_on", "in_stock", "package"])
    page.append(["Urea", 0.46, 28.5, dt.date(2026, 3, 20), 2, "50 lb bag"])
    page["B2"].number_format = "0%"
    book.create_sheet("more").append(["x"])
    book.save(tmp_path / "prices.bin")
    read = textrows.read_table(tmp_path / "prices.bin")  # told from its content, not its name
    assert read.rows[0].cells == ("Urea", "46%", "28.5", "2026-03-20", "2", "50 lb bag")
    assert "'more'" in only(read.problems, Level.NOTE).what
    products, offers, problems = pricelists.products_from(read)
    assert not has_errors(problems)
    assert products[0].analysis_pct == {Nutrient.N: 46.0}
    assert (offers[0].price, offers[0].priced_on, offers[0].in_stock) == (
        Decimal("28.5"),
        dt.date(2026, 3, 20),
        2,
    )


def test_formula_without_result_is_named(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["product", "price", "package"])
    book.active.append(["Urea", "=20+8", "50 lb bag"])
    book.save(tmp_path / "prices.xlsx")
    problem = only(textrows.read_table(tmp_path / "prices.xlsx").problems)
    assert "row 2" in problem.where
    assert "B2" in problem.where
    assert "=20+8" in problem.what


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.csv", b"", "0 bytes"),
        ("blank.csv", b" \r\n\r\n,,\r\n", "no filled cell"),
        ("picture.csv", b"\x89PNG\r\n\x1a\n\x00\x00", "not text"),
        ("cp1252hole.csv", b"plot_id\n\x81\n", "not text"),
        ("file.gpkg", b"SQLite format 3\x00...", "database"),
        ("doc.csv", b"%PDF-1.7", "PDF"),
        ("old.xls", b"\xd0\xcf\x11\xe0\xa1\xb1", "XLS"),
        ("plots.geojson", b' {"type": "FeatureCollection"}', "JSON"),
        ("page.csv", b"<html>", "XML or HTML"),
        ("broken.xlsx", b"PK\x03\x04nothing", "XLSX"),
        ("quote.csv", b'product,note\nUrea,"not closed\n', "split into cells"),
    ],
)
def test_files_that_are_no_tables(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        textrows.read_table(path)
    (problem,) = caught.value.problems
    assert name in problem.where
    assert words in problem.what
    assert problem.fix


def test_directory_and_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a directory"):
        textrows.read_table(tmp_path)
    with pytest.raises(InputError, match=r"no file '.*gone\.csv'"):
        textrows.read_table(tmp_path / "gone.csv")


@given(st.binary(max_size=200))
def test_any_bytes_are_a_table_or_an_input_error(content: bytes) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.csv"
        path.write_bytes(content)
        try:
            read = textrows.read_table(path)
        except InputError:
            return
        tables.kind_of(read)
        for row in read.rows:
            assert len(row.cells) == len(read.columns)


def test_row_longer_than_the_heading(tmp_path: Path) -> None:
    read = table(tmp_path, "plot_id,note\nA-1,wet, low corner\nA-2,dry\n")
    problem = only(read.problems)
    assert "row 2" in problem.where
    assert "low corner" in problem.what
    assert [row.number for row in read.rows] == [3]


@pytest.mark.parametrize(
    ("heading", "kind"),
    [
        ("plot_id,pH,Buffer pH,P,P_unit", "soil tests"),
        ("Field,Sample Date", "soil tests"),
        ("product,n,price", "products"),
        ("Product Name,Package Size,Price", "products"),
        ("plot_id,applied_on,material,amount", "organic inputs"),
        ("plot_id,product,applied_on,done,amount", "applications"),
        ("name,colour", None),
        ("plot_id,name", None),
    ],
)
def test_kind_is_told_from_the_columns(tmp_path: Path, heading: str, kind: str | None) -> None:
    assert tables.kind_of(table(tmp_path, f"{heading}\n{'x,' * heading.count(',')}x\n")) == kind


def test_two_columns_for_one_thing(tmp_path: Path) -> None:
    _, problems = tables.soil_tests_from(
        table(tmp_path, "plot_id,OM,Organic Matter %,ph\nA-1,3,4,6\n"), PLOTS
    )
    assert "'OM'" in only(problems).what
    assert "'Organic Matter %'" in only(problems).what


# ---------------------------------------------------------------------------------------------
# Soil tests


def test_soil_test_row(tmp_path: Path) -> None:
    read = table(
        tmp_path,
        "Plot_ID,Sampled_On,Lab,Depth,pH,Buffer_pH,Buffer_method,OM,P,P_unit,P_extractant,K,K_unit,"
        "K_extractant,rec_n,rec_k2o,rec_unit,rec_lime,rec_lime_unit,credits_taken,CEC\n"
        "A-1,2026-04-11,Lab Alder,0-6 in,5.4,6.3,Sikora,4.4%,18,ppm,Bray P1,n/a,,,"
        "0,60,lb/acre,3000,lb ENP/acre,no,\n",
    )
    (test,), problems = tables.soil_tests_from(read, PLOTS)
    assert problems == ()
    assert (test.plot_id, test.sampled_on, test.ph, test.buffer_ph) == ("A-1", dt.date(2026, 4, 11), 5.4, 6.3)
    assert (test.depth_top_m, test.depth_bottom_m) == (0.0, pytest.approx(6 * 0.0254, abs=1e-12))
    assert test.readings == {"P": Reading(18.0, "ppm", "Bray P1", "P")}  # K: n/a is not tested, not zero
    assert test.cec_meq_100g is None
    assert test.recommendation is not None
    assert test.recommendation.rates == {  # a printed 0 is a recommendation; a blank P2O5 is none
        Nutrient.N: Quantity(0.0, "lb/acre"),
        Nutrient.K2O: Quantity(60.0, "lb/acre"),
    }
    assert test.recommendation.lime == Quantity(3000.0, "lb ENP/acre")
    assert test.recommendation.credits_taken is False


def test_same_file_gives_the_same_ids(tmp_path: Path) -> None:
    text = "plot_id,sampled_on,part,ph\nA-1,2026-04-11,west,6.0\nA-1,2026-04-11,east,6.1\n"
    first, _ = tables.soil_tests_from(table(tmp_path, text), PLOTS)
    again, _ = tables.soil_tests_from(table(tmp_path, text, "copy.csv"), PLOTS)
    assert first == again
    assert len({test.test_id for test in first}) == 2


SOIL_HEADING = (
    "plot_id,sampled_on,depth,ph,p,p_unit,p_extractant,organic_matter_pct,"
    "rec_n,rec_unit,rec_lime,rec_lime_unit\n"
)
BAD_SOIL_ROWS = [
    ("A-9,2026-04-11,0-6 in,6.0,,,,,,,,", "plot_id", "'A-9'"),
    ("A-1,2026-04-11,0-6 in,6.0,12,ppm,,,,,,", "p_extractant", "P 12 ppm"),
    ("A-1,2026-04-11,0-6 in,6.0,12,,Bray P1,,,,,", "p_unit", "P 12"),
    ("A-1,2026-04-11,0-6 in,6.0,12,furlongs,Bray P1,,,,,", "p_unit", "'furlongs'"),
    ("A-1,2026-04-11,0-6 in,64,,,,,,,,", "ph", "'64'"),
    ("A-1,31/31/2026,0-6 in,6.0,,,,,,,,", "sampled_on", "'31/31/2026'"),
    ("A-1,2026-04-11,shallow,6.0,,,,,,,,", "depth", "'shallow'"),
    ("A-1,2026-04-11,6-0 in,6.0,,,,,,,,", "depth", "'6-0 in'"),
    ("A-1,2026-04-11,0-6 in,6.0,-3,ppm,Bray P1,,,,,", "p", "'-3'"),
    ("A-1,2026-04-11,0-6 in,6.0,<five,ppm,Bray P1,,,,,", "p", "'five'"),
    ("A-1,2026-04-11,0-6 in,6.0,,,,104,,,,", "organic_matter_pct", "'104'"),
    ("A-1,2026-04-11,0-6 in,6.0,,,,,40,,,", "rec_unit", "N 40"),
    ("A-1,2026-04-11,0-6 in,6.0,,,,,40,bags,,", "rec_unit", "'bags'"),
    ("A-1,2026-04-11,0-6 in,6.0,,,,,,,3000,", "rec_lime_unit", "3000"),
    ("A-1,2026-04-11,0-6 in,6.0,,,,,,,3000,lb ENP", "rec_lime_unit", "'lb ENP'"),
    ("A-1,2026-04-11,0-6 in,,,,,,,,,", "", "no figure"),
    (",2026-04-11,0-6 in,6.0,,,,,,,,", "plot_id", "blank"),
]


@pytest.mark.parametrize(("row", "field", "value"), BAD_SOIL_ROWS, ids=[r[1] + r[2] for r in BAD_SOIL_ROWS])
def test_bad_soil_row(tmp_path: Path, row: str, field: str, value: str) -> None:
    good = "A-2,2026-04-11,0-6 in,6.2,9,ppm,Bray P1,3,,,,\n"
    tests, problems = tables.soil_tests_from(table(tmp_path, SOIL_HEADING + good + row + "\n"), PLOTS)
    assert [test.plot_id for test in tests] == ["A-2"]
    problem = only(problems)
    assert problem.where == ("file.csv, row 3" + (f", {field}" if field else ""))
    assert value in problem.what
    assert problem.fix


def test_a_limit_is_kept_as_a_limit_and_a_range_as_a_range(tmp_path: Path) -> None:
    rows = "A-1,2026-04-11,0-6 in,6.0,<5,ppm,Bray P1,,80 to 120,lb/acre,,\n"
    (test,), problems = tables.soil_tests_from(table(tmp_path, SOIL_HEADING + rows), PLOTS)
    assert not errors(problems)
    assert (test.readings["P"].sign, test.readings["P"].value) == ("<", 5.0)
    assert test.recommendation is not None
    assert test.recommendation.rates[Nutrient.N] == Quantity(80, "lb/acre")
    assert test.recommendation.up_to == {Nutrient.N: 120}


@pytest.mark.parametrize("text", ["120 to 80", "80 to", "to 80", "80 to 120 to 140"])
def test_what_is_no_range_is_refused(tmp_path: Path, text: str) -> None:
    rows = f"A-1,2026-04-11,0-6 in,6.0,,,,,{text},lb/acre,,\n"
    _, problems = tables.soil_tests_from(table(tmp_path, SOIL_HEADING + rows), PLOTS)
    assert [problem.where for problem in errors(problems)] == ["file.csv, row 2, rec_n"]


def test_ten_bad_rows_give_ten_problems(tmp_path: Path) -> None:
    rows = [row for row, _, _ in BAD_SOIL_ROWS[:10]]
    tests, problems = tables.soil_tests_from(table(tmp_path, SOIL_HEADING + "\n".join(rows)), PLOTS)
    assert tests == ()
    assert [problem.where.split(", ")[1] for problem in errors(problems)] == [
        f"row {n}" for n in range(2, 12)
    ]


def test_unknown_plot_suggests_the_near_one(tmp_path: Path) -> None:
    _, problems = tables.soil_tests_from(table(tmp_path, "plot_id,ph\nAF-O1,6\n"), ["AF-01", "AF-12"])
    assert "'AF-01'" in only(problems).fix


def test_month_first_dates_are_said_once(tmp_path: Path) -> None:
    text = "plot_id,sampled_on,ph\nA-1,4/12/2026,6\nA-2,4/13/2026,6\n"
    tests, problems = tables.soil_tests_from(table(tmp_path, text), PLOTS)
    assert [test.sampled_on for test in tests] == [dt.date(2026, 4, 12), dt.date(2026, 4, 13)]
    assert "month/day/year" in only(problems, Level.NOTE).what


def test_unknown_extractant_is_kept_and_said(tmp_path: Path) -> None:
    text = "plot_id,p,p_unit,p_extractant\nA-1,12,ppm,Gibberish\n"
    (test,), problems = tables.soil_tests_from(table(tmp_path, text), PLOTS)
    assert test.readings["P"].extractant == "Gibberish"
    assert "'Gibberish'" in only(problems, Level.WARNING).what


def test_unknown_columns_are_listed(tmp_path: Path) -> None:
    _, problems = tables.soil_tests_from(table(tmp_path, "plot_id,ph,moon,colour\nA-1,6,full,red\n"), PLOTS)
    assert "'moon', 'colour'" in only(problems, Level.NOTE).what


@pytest.mark.parametrize(
    ("text", "top_in", "bottom_in"),
    [("0-6 in", 0, 6), ("6 in", 0, 6), ("2–8 inches", 2, 8), ("0 to 15.24 cm", 0, 6), ('0-4"', 0, 4)],
)
def test_depth(text: str, top_in: float, bottom_in: float) -> None:
    assert tables.parse_depth(text) == pytest.approx((top_in * 0.0254, bottom_in * 0.0254), abs=1e-9)


# ---------------------------------------------------------------------------------------------
# Products and offers


def test_product_row(tmp_path: Path) -> None:
    text = (
        "product,form,ingredient,ingredient_pct,density,package,price,seller,max_rate,timing,equipment,colour\n"
        "Jug,liquid,urea,32.5,9 lb/gal,2.5 gal jug,18,Seller,20 gal/acre,"
        "top-dress; At Planting,sprayer,blue\n"
    )
    (product,), (offer,), problems = pricelists.products_from(table(tmp_path, text))
    assert not has_errors(problems)
    # 2.5 gal x 9 lb/gal = 22.5 lb; 20 gal/acre x 9 lb/gal = 180 lb/acre
    assert offer.package_kg == pytest.approx(22.5 * LB, rel=1e-12)
    assert product.max_rate_kg_ha == pytest.approx(180 * LB / ACRE * 10_000, rel=1e-12)
    assert product.timings == (Timing.TOPDRESS, Timing.AT_PLANTING)
    assert product.extra == {"colour": "blue"}
    assert "'colour'" in only(problems, Level.NOTE).what


def test_offer_row(tmp_path: Path) -> None:
    text = (
        "product;form;k2o;package;price;in_stock;min_order;max_count;delivery_fee;increment;price_breaks;price_low\n"
        'Potash;dry;60;1 ton bulk;"$1,590.00";0.5;1;9;45;0.25 ton;"40:1500; 10:1550";1400\n'
    )
    _, (offer,), problems = pricelists.products_from(table(tmp_path, text))
    assert problems == ()
    assert (offer.price, offer.delivery_fee, offer.price_low) == (Decimal("1590.00"), 45, 1400)
    assert offer.package_kg == pytest.approx(2000 * LB, rel=1e-12)
    assert offer.divisible
    assert offer.increment_kg == pytest.approx(500 * LB, rel=1e-12)
    assert offer.price_breaks == ((10, Decimal(1550)), (40, Decimal(1500)))
    assert (offer.in_stock, offer.min_order, offer.max_count) == (0.5, 1, 9)


def test_an_offer_in_steps_is_sold_by_weight_whatever_its_package_is_called(tmp_path: Path) -> None:
    """The failing case: a "ton" in steps of 100 lb was sold by whole tons, and 161 lb cost a ton."""
    head = "product,form,n,p2o5,package,price,increment,divisible\n"
    _, (offer,), _ = pricelists.products_from(table(tmp_path, f"{head}DAP,dry,18,46,ton,790,100 lb,\n"))
    assert (offer.divisible, offer.increment_kg) == (True, pytest.approx(100 * LB))
    _, (offer,), _ = pricelists.products_from(table(tmp_path, f"{head}DAP,dry,18,46,ton,790,,\n"))
    assert (offer.divisible, offer.increment_kg) == (False, None)
    _, offers, problems = pricelists.products_from(
        table(tmp_path, f"{head}DAP,dry,18,46,ton,790,100 lb,no\n")
    )
    assert offers == ()
    assert only(problems, Level.ERROR).what == "it is sold in steps of 100 lb, yet not by weight"


def test_zero_and_blank_guarantee_differ(tmp_path: Path) -> None:
    (product,), _, _ = pricelists.products_from(table(tmp_path, "product,form,n,p2o5,k2o\nUrea,dry,46,0,\n"))
    assert product.analysis_pct == {Nutrient.N: 46.0, Nutrient.P2O5: 0.0}


def test_one_product_several_packages(tmp_path: Path) -> None:
    text = (
        "product,form,k2o,package,price,seller\nPotash,dry,60,50 lb bag,21,A\nPOTASH,,,1 ton bulk,590,B\n"
        "Potash,dry,60,50 lb bag,20,B\n"
    )
    products, offers, problems = pricelists.products_from(table(tmp_path, text))
    assert not has_errors(problems)
    assert [product.product for product in products] == ["Potash"]
    assert [(offer.product, offer.price) for offer in offers] == [
        ("Potash", 21),
        ("Potash", 590),
        ("Potash", 20),
    ]
    assert len({offer.offer_id for offer in offers}) == 3


@pytest.mark.parametrize(
    ("second", "named"),
    [
        ("Potash,dry,62,,1 ton bulk,590", "analysis_pct K2O"),
        ("Potash,liquid,60,,1 ton bulk,590", "form"),
        ("Potash,dry,60,100 lb/acre,1 ton bulk,590", "max_rate_kg_ha"),
    ],
)
def test_label_that_contradicts_itself(tmp_path: Path, second: str, named: str) -> None:
    text = f"product,form,k2o,max_rate,package,price\nPotash,dry,60,200 lb/acre,50 lb bag,21\n{second}\n"
    products, offers, problems = pricelists.products_from(table(tmp_path, text))
    problem = only(problems)
    assert problem.where == "file.csv, row 3"
    assert "'Potash'" in problem.what
    assert "row 2" in problem.what
    assert named in problem.what
    assert (len(products), len(offers)) == (1, 1)


PRODUCT_HEADING = (
    "product,form,n,p2o5,k2o,package,price,max_rate,density,timing,price_breaks,in_stock,priced_on\n"
)
BAD_PRODUCT_ROWS = [
    ("X,dry,-46,0,0,50 lb bag,21,,,,,,", "n", "'-46'"),
    ("X,dry,146,0,0,50 lb bag,21,,,,,,", "n", "'146'"),
    ("X,dry,46,30,30,50 lb bag,21,,,,,,", "analysis", "106"),
    ("X,dry,46,0,0,50 lb bag,$21.00 ea,,,,,,", "price", "'$21.00 ea'"),
    ("X,dry,46,0,0,50 lb bag,-21,,,,,,", "price", "'-21'"),
    ("X,dry,46,0,0,50 stone-weights,21,,,,,,", "package", "'50 stone-weights'"),
    ("X,dry,46,0,0,,21,,,,,,", "package", "blank"),
    ("X,dry,46,0,0,50 lb bag,21,200 lb,,,,,", "max_rate", "'200 lb'"),
    ("X,gas,46,0,0,50 lb bag,21,,,,,,", "form", "'gas'"),
    ("X,dry,46,0,0,50 lb bag,21,,9 lb,,,,", "density", "'9 lb'"),
    ("X,dry,46,0,0,50 lb bag,21,,,at dusk,,,", "timing", "'at dusk'"),
    ("X,dry,46,0,0,50 lb bag,21,,,,ten:19,,", "price_breaks", "'ten:19'"),
    ("X,dry,46,0,0,50 lb bag,21,,,,,-1,", "in_stock", "'-1'"),
    ("X,dry,46,0,0,50 lb bag,21,,,,,,spring", "priced_on", "'spring'"),
    (",dry,46,0,0,50 lb bag,21,,,,,,", "product", "blank"),
    ("X,liquid,28,0,0,275 gal tote,900,,,,,,", "density", "'275 gal tote'"),
    ('X,dry,"4,6,0",0,0,50 lb bag,21,,,,,,', "n", "'4,6,0'"),
]


@pytest.mark.parametrize(
    ("row", "field", "value"), BAD_PRODUCT_ROWS, ids=[r[1] + r[2] for r in BAD_PRODUCT_ROWS]
)
def test_bad_product_row(tmp_path: Path, row: str, field: str, value: str) -> None:
    good = "Potash,dry,,,60,50 lb bag,21,,,,,,\n"
    _, offers, problems = pricelists.products_from(table(tmp_path, PRODUCT_HEADING + good + row + "\n"))
    assert [offer.product for offer in offers] == ["Potash"]
    problem = only(problems)
    assert problem.where == f"file.csv, row 3, {field}"
    assert value in problem.what
    assert problem.fix


def test_ten_bad_product_rows_give_ten_problems(tmp_path: Path) -> None:
    rows = [row.replace("X,", f"X{n},", 1) for n, (row, _, _) in enumerate(BAD_PRODUCT_ROWS[:10])]
    _, offers, problems = pricelists.products_from(table(tmp_path, PRODUCT_HEADING + "\n".join(rows)))
    assert offers == ()
    assert sorted(int(p.where.split(", ")[1].removeprefix("row ")) for p in errors(problems)) == list(
        range(2, 12)
    )


def test_missing_price_keeps_the_offer(tmp_path: Path) -> None:
    _, (offer,), problems = pricelists.products_from(
        table(tmp_path, "product,form,n,package,price\nUrea,dry,46,50 lb bag,\n")
    )
    assert offer.price is None
    problem = only(problems, Level.WARNING)
    assert "row 2" in problem.where
    assert "'50 lb bag'" in problem.what


def test_label_without_offer(tmp_path: Path) -> None:
    products, offers, problems = pricelists.products_from(table(tmp_path, "product,form,n\nUrea,dry,46\n"))
    assert (len(products), offers, problems) == (1, (), ())


def test_same_offer_twice(tmp_path: Path) -> None:
    text = "product,form,n,package,price\nUrea,dry,46,50 lb bag,21\nUrea,dry,46,50 lb bag,22\n"
    _, offers, problems = pricelists.products_from(table(tmp_path, text))
    assert [offer.price for offer in offers] == [21]
    assert "row 2" in only(problems).what


@pytest.mark.parametrize(
    ("columns", "cells", "form"),
    [
        ("cce,enp", "92,1100", Form.LIME),
        ("n,density", "28,10.67 lb/gal", Form.LIQUID),
        ("n", "46", Form.DRY),
    ],
)
def test_form_not_stated_is_said(tmp_path: Path, columns: str, cells: str, form: Form) -> None:
    (product,), _, problems = pricelists.products_from(table(tmp_path, f"product,{columns}\nX,{cells}\n"))
    assert product.form is form
    assert form.value in only(problems, Level.NOTE).what


def test_lime_label(tmp_path: Path) -> None:
    text = "product,form,cce,passing_8,Passing 60,moisture,enp,dolomitic\nAg lime,lime,92,96,48,4,1100,no\n"
    (product,), _, problems = pricelists.products_from(table(tmp_path, text))
    assert problems == ()
    assert product.lime is not None
    assert product.lime.passing_pct == {8: 96.0, 60: 48.0}
    assert (product.lime.cce_pct, product.lime.enp_lb_per_ton, product.dolomitic) == (92.0, 1100.0, False)
    assert product.lime.ecce_pct is None


def test_grade(tmp_path: Path) -> None:
    (product,), _, problems = pricelists.products_from(
        table(tmp_path, "product,form,grade\nAmmonium sulfate,dry,21-0-0-24S\n")
    )
    assert not problems
    assert product.analysis_pct == {
        Nutrient.N: 21.0,
        Nutrient.P2O5: 0.0,
        Nutrient.K2O: 0.0,
        Nutrient.S: 24.0,
    }
    _, _, problems = pricelists.products_from(table(tmp_path, "product,form,grade,n\nUrea,dry,46-0-0,45\n"))
    assert "'46-0-0'" in only(problems).what
    _, _, problems = pricelists.products_from(table(tmp_path, "product,form,grade\nUrea,dry,46%\n"))
    assert "'46%'" in only(problems).what


# ---------------------------------------------------------------------------------------------
# Organic inputs and applications


def test_organic_input(tmp_path: Path) -> None:
    text = (
        "plot_id,applied_on,material,method,amount,n_lb_per_ton,available_n_pct\n"
        "A-1,2025-10-18,beef,surface,3 ton/acre,11,\nA-2,2025-10-18,beef,surface,3 tons,11,40\n"
    )
    (first,), problems = tables.organic_inputs_from(table(tmp_path, text), PLOTS)
    assert first.amount == Quantity(3.0, "ton/acre")
    assert first.analysis_lb_per_ton == {Nutrient.N: 11.0}
    assert first.available_pct == {}
    assert "'3 tons'" in only(problems).what


APPLICATION_HEADING = "entry_id,plot_id,product,done,applied_on,amount,area,timing,cost\n"


def test_application(tmp_path: Path) -> None:
    text = APPLICATION_HEADING + (
        "E1,A-1,Urea,done,2026-05-02,150 lb,1.5 acre,top-dress,$12.50\nE2,A-2,Urea,Not Done,2026-05-02,,,,\n"
    )
    (first, second), problems = tables.applications_from(table(tmp_path, text), PLOTS, BARE)
    assert problems == ()
    assert first.mass_kg == pytest.approx(150 * LB, rel=1e-12)
    assert first.area_m2 == pytest.approx(1.5 * ACRE, rel=1e-12)
    assert (first.timing, first.cost, first.done) == (Timing.TOPDRESS, Decimal("12.50"), Done.DONE)
    assert (second.done, second.mass_kg, second.area_m2, second.cost) == (Done.NOT_DONE, 0.0, None, None)


def test_application_without_id_gets_the_same_one_each_time(tmp_path: Path) -> None:
    text = APPLICATION_HEADING + ",A-1,Urea,done,2026-05-02,150 lb,,,\n,A-1,Urea,done,2026-05-02,151 lb,,,\n"
    first, _ = tables.applications_from(table(tmp_path, text), PLOTS, BARE)
    again, _ = tables.applications_from(table(tmp_path, text, "again.csv"), PLOTS, BARE)
    assert first == again
    assert first[0].entry_id != first[1].entry_id


@pytest.mark.parametrize(
    ("row", "field", "value"),
    [
        ("E1,A-9,Urea,done,2026-05-02,150 lb,,,", "plot_id", "'A-9'"),
        ("E1,A-1,Urea,maybe,2026-05-02,150 lb,,,", "done", "'maybe'"),
        ("E1,A-1,Urea,done,2026-05-02,,,,", "amount", "blank"),
        ("E1,A-1,Urea,done,2026-05-02,-5 lb,,,", "amount", "'-5 lb'"),
        ("E1,A-1,Urea,done,2026-05-02,3 bags,,,", "amount", "0 kinds of package"),
        ("E1,A-1,Urea,not done,2026-05-02,5 lb,,,", "done", "'5 lb'"),
        ("E1,A-1,Urea,done,2026-13-02,5 lb,,,", "applied_on", "'2026-13-02'"),
        ("E1,A-1,Urea,done,2026-05-02,5 lb,3 lb,,", "area", "'3 lb'"),
        ("E0,A-1,Urea,done,2026-05-02,6 lb,,,", "entry_id", "row 2"),
    ],
)
def test_bad_application_row(tmp_path: Path, row: str, field: str, value: str) -> None:
    good = "E0,A-1,Urea,done,2026-05-02,150 lb,,,\n"
    entries, problems = tables.applications_from(
        table(tmp_path, APPLICATION_HEADING + good + row + "\n"), PLOTS, BARE
    )
    assert [entry.entry_id for entry in entries] == ["E0"]
    problem = only(problems)
    assert problem.where == f"file.csv, row 3, {field}"
    assert value in problem.what


# ---------------------------------------------------------------------------------------------
# The phone's records file

ENTRY = {
    "entry_id": "e-1",
    "plot_id": "A-1",
    "product": "Urea",
    "done": "part",
    "applied_on": "2026-05-02",
    "mass_kg": 12.5,
    "timing": "top-dress",
    "area_m2": None,
    "cost": "3.10",
    "note": "<script>alert(1)</script> שדה 🍀",
}


def records_file(tmp_path: Path, content: object) -> Path:
    path = tmp_path / "records.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def wrapped(*entries: object) -> dict[str, object]:
    return {"format": "loamwright-records", "version": 1, "entries": list(entries)}


def test_records_file(tmp_path: Path) -> None:
    (entry,), problems = field_records.records_from(records_file(tmp_path, wrapped(ENTRY, ENTRY)), PLOTS)
    assert problems == ()
    assert (entry.mass_kg, entry.done, entry.timing) == (12.5, Done.PART, Timing.TOPDRESS)
    assert (entry.cost, entry.area_m2, entry.applied_on) == (Decimal("3.10"), None, dt.date(2026, 5, 2))
    assert entry.note == ENTRY["note"]


@pytest.mark.parametrize(
    ("change", "field", "value"),
    [
        ({"entry_id": ""}, "entry_id", "missing"),
        ({"plot_id": "Z-9"}, "plot_id", "'Z-9'"),
        ({"done": "almost"}, "done", "'almost'"),
        ({"done": ["done"]}, "done", "['done']"),
        ({"applied_on": "yesterday"}, "applied_on", "'yesterday'"),
        ({"applied_on": 20260502}, "applied_on", "20260502"),
        ({"mass_kg": -1}, "mass_kg", "-1"),
        ({"mass_kg": "12"}, "mass_kg", "'12'"),
        ({"mass_kg": True}, "mass_kg", "True"),
        ({"mass_kg": None}, "mass_kg", "missing"),
        ({"done": "not done"}, "mass_kg", "12.5"),
        ({"cost": "3 dollars"}, "cost", "'3 dollars'"),
        ({"cost": "NaN"}, "cost", "'NaN'"),
        ({"note": {"a": 1}}, "note", "{'a': 1}"),
        ({"note": "x" * 10_001}, "note", "10,000"),
        ({"note": "bell \u0007"}, "note", "\\x07"),
        ({"note": "\ud800"}, "note", "\\ud800"),
    ],
)
def test_bad_record(tmp_path: Path, change: dict[str, object], field: str, value: str) -> None:
    path = records_file(tmp_path, wrapped({**ENTRY, "entry_id": "e-0"}, {**ENTRY, **change}))
    entries, problems = field_records.records_from(path, PLOTS)
    assert [entry.entry_id for entry in entries] == ["e-0"]
    problem = only(problems)
    assert problem.where.startswith("records.json, entry 2")
    assert problem.where.endswith(f", {field}")
    assert value in problem.what


def test_same_id_with_other_content(tmp_path: Path) -> None:
    entries, problems = field_records.records_from(
        records_file(tmp_path, wrapped(ENTRY, {**ENTRY, "mass_kg": 13}))
    )
    assert [entry.mass_kg for entry in entries] == [12.5]
    assert "'e-1'" in only(problems).what


def test_a_text_of_version_1_still_reads() -> None:
    """As a phone copied it before entries named plan and job."""
    kept = Path(__file__).parent.parent / "files_kept" / "alder_fork.records-1.json"
    entries, problems = field_records.records_from(kept)
    assert problems == ()
    assert [(entry.plot_id, entry.mass_kg, entry.line_id) for entry in entries] == [
        ("AF-06", 2263.01566, "L7720f4a3634f"),
        ("AF-08", 3879.0192, "L6c55405fee93"),
    ]
    assert {(entry.plan_id, entry.job_id) for entry in entries} == {(None, None)}


def test_an_entry_names_plan_and_job(tmp_path: Path) -> None:
    named = {**ENTRY, "entry_id": "e-2", "plan_id": "P-1", "job_id": "J-1"}
    content = {**wrapped(ENTRY, named), "version": 2}
    (plain, entry), problems = field_records.records_from(records_file(tmp_path, content))
    assert problems == ()
    assert (plain.plan_id, plain.job_id) == (None, None)
    assert (entry.plan_id, entry.job_id) == ("P-1", "J-1")


def test_unknown_field_is_said(tmp_path: Path) -> None:
    entries, problems = field_records.records_from(
        records_file(tmp_path, wrapped({**ENTRY, "__class__": "x"}))
    )
    assert len(entries) == 1
    assert "'__class__'" in only(problems, Level.NOTE).what


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "empty"),
        ("{", "not the JSON"),
        ("[]", "'loamwright-records'"),
        ({"format": "other", "version": 1, "entries": []}, "'loamwright-records'"),
        ({"format": "loamwright-records", "version": 3, "entries": []}, "version 3"),
        ({"format": "loamwright-records", "version": "1", "entries": []}, "'1'"),
        ({"format": "loamwright-records", "version": 1, "entries": {}}, "'entries'"),
        ('{"format": "loamwright-records", "version": 1, "entries": [NaN]}', "NaN"),
        ("[" * 100_000, "not the JSON"),
        ('{"format": "loamwright-records", "version": 1, "entries": [' + "9" * 5000 + "]}", "not the JSON"),
    ],
)
def test_files_that_are_no_records(tmp_path: Path, content: object, words: str) -> None:
    entries, problems = field_records.records_from(records_file(tmp_path, content))
    assert entries == ()
    problem = only(problems)
    assert problem.where == "records.json"
    assert words in problem.what


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(st.lists(st.dictionaries(st.sampled_from([*ENTRY, "reason"]), JSON_VALUES) | JSON_VALUES, max_size=3))
def test_any_entries_are_records_or_problems(entries: list[object]) -> None:
    import tempfile

    mixed = [{**ENTRY, **entry} if isinstance(entry, dict) else entry for entry in entries]
    with tempfile.TemporaryDirectory() as folder:
        path = records_file(Path(folder), json.dumps(wrapped(*mixed)))
        read, problems = field_records.records_from(path, PLOTS)
    assert len(read) <= len(mixed)
    for entry in read:
        assert entry.plot_id in PLOTS
        assert 0 <= entry.mass_kg < float("inf")
        entry.note.encode()
    if mixed and not read:
        assert problems


def test_json_files_are_told_apart(tmp_path: Path) -> None:
    record_file = records_file(tmp_path, {"format": "loamwright-records", "version": 7})
    about = settings_file(tmp_path)
    other = tmp_path / "plots.geojson"
    other.write_text('{"type": "FeatureCollection", "name": "x", "features": []}')
    broken = tmp_path / "broken.json"
    broken.write_text("{")
    contents = [read_json(path) for path in (record_file, about, other)]
    assert [field_records.looks_like(content) for content in contents] == [True, False, False]
    assert [settings.looks_like(content) for content in contents] == [False, True, False]
    for path in (broken, tmp_path):
        with pytest.raises(InputError, match=path.name):
            read_json(path)


# ---------------------------------------------------------------------------------------------
# Name, season and settings


def settings_file(tmp_path: Path, **changes: object) -> Path:
    content: dict[str, object] = {"name": "Test", "season": 2026, "settings": {}}
    content.update(changes)
    path = tmp_path / "property.json"
    path.write_text(json.dumps({k: v for k, v in content.items() if v != "drop"}), encoding="utf-8")
    return path


def test_settings(tmp_path: Path) -> None:
    info = settings.info_from(
        settings_file(
            tmp_path,
            settings={
                "spreading_cost_per_acre": "6.00",
                "min_rate": "25 lb/acre",
                "max_products_per_plot": None,
                "lime_dose_limit": "missouri-surface",
                "sampling_guide": "Minnesota, hilly",
                "cores_per_sample": 18,
                "surplus_limits": {
                    "N": {"fraction": 0.1, "rate": "10 lb/acre"},
                    "lime ENP": {"fraction": 0.2},
                },
                "spreaders": [{"name": "ATV", "hopper": "100 lb", "swath": "20 ft", "speed": "5 mph"}],
            },
        )
    )
    chosen = info.settings
    lb_acre = LB / ACRE * 10_000  # 1.12085 kg/ha
    assert float(chosen.spreading_cost_per_ha) == pytest.approx(6 / ACRE * 10_000, rel=1e-12)
    assert chosen.min_rate_kg_ha == pytest.approx(25 * lb_acre, rel=1e-12)
    assert chosen.max_products_per_plot is None
    assert (chosen.lime_dose_limit, chosen.sampling_guide) == ("missouri-surface", "Minnesota, hilly")
    assert chosen.cores_per_sample == 18
    assert chosen.surplus_limit_fraction == {"N": 0.1, "lime ENP": 0.2}
    assert chosen.surplus_limit_kg_ha == {"N": pytest.approx(10 * lb_acre, rel=1e-12)}
    (spreader,) = chosen.spreaders
    assert spreader.hopper_kg == pytest.approx(100 * LB, rel=1e-12)
    assert spreader.swath_m == pytest.approx(20 * 0.3048, rel=1e-12)
    assert spreader.speed_m_s == pytest.approx(5 * 1609.344 / 3600, rel=1e-12)
    assert spreader.vehicle_kg is None
    assert (chosen.test_age_limit_years, chosen.lime_region, info.units) == (4.0, "", "us")  # stated defaults


@pytest.mark.parametrize(
    ("changes", "where", "value"),
    [
        ({"name": "drop"}, "property.json, name", "missing"),
        ({"season": "2026"}, "property.json, season", "'2026'"),
        ({"units": "imperial"}, "property.json, units", "'imperial'"),
        ({"colour": "red"}, "property.json, colour", "'colour'"),
        ({"settings": {"lime_regon": "Area 1"}}, "settings, lime_regon", "'lime_regon'"),
        ({"settings": {"min_rate": "25 lb"}}, "settings, min_rate", "'25 lb'"),
        ({"settings": {"min_rate": 25}}, "settings, min_rate", "25"),
        ({"settings": {"spreading_cost_per_acre": "6 ea"}}, "spreading_cost_per_acre", "'6 ea'"),
        ({"settings": {"surplus_limits": {"P": {"fraction": 1}}}}, "surplus_limits, P", "'P'"),
        ({"settings": {"surplus_limits": {"N": {"fraction": -1}}}}, "surplus_limits, N, fraction", "-1"),
        ({"settings": {"spreaders": [{"hopper": "100 lb"}]}}, "spreader 1, name", "missing"),
        ({"settings": {"spreaders": [{"name": "A", "speed": "5 lb"}]}}, "spreader 1, speed", "'5 lb'"),
        ({"settings": {"max_products_per_plot": 0}}, "max_products_per_plot", "0"),
        ({"settings": {"lime_dose_limit": "utah"}}, "lime_dose_limit", "'utah'"),
        ({"settings": {"sampling_guide": "Utah"}}, "sampling_guide", "'Utah'"),
        ({"settings": {"cores_per_sample": 0}}, "cores_per_sample", "0"),
        ({"settings": {"cores_per_sample": 12.5}}, "cores_per_sample", "12.5"),
        ({"settings": []}, "property.json, settings", "[]"),
    ],
)
def test_bad_settings(tmp_path: Path, changes: dict[str, object], where: str, value: str) -> None:
    with pytest.raises(InputError) as caught:
        settings.info_from(settings_file(tmp_path, **changes))
    (problem,) = caught.value.problems
    assert problem.where.endswith(where)
    assert value in problem.what


@pytest.mark.parametrize(
    ("content", "words"), [("", "not JSON"), ("[1]", "not a JSON object"), ("{", "not JSON")]
)
def test_settings_file_that_is_none(tmp_path: Path, content: str, words: str) -> None:
    path = tmp_path / "property.json"
    path.write_text(content)
    with pytest.raises(InputError, match=words):
        settings.info_from(path)
    with pytest.raises(InputError, match="cannot be read"):
        settings.info_from(tmp_path)
