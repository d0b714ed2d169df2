"""A user's own files, one command after the other: from boundaries to what is left to do.

A small property is made, filled, planned, mapped, printed, recorded and exported, only by commands.
Figures are worked out beside each check from the files `command_line.worked_files` writes.
"""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
import xml.etree.ElementTree as ET
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas
import openpyxl
import pypdf
import pytest
from command_line import (
    SAMPLED,
    SEASON,
    TODAY,
    WHOLE_LIME,
    box,
    geojson,
    ran_well,
    run,
    worked_files,
    written,
)
from places import independent_area_m2

#: International acre, pound and foot: NIST Special Publication 811 (2008), Appendix B, exact.
ACRE_M2, LB_KG = 4046.8564224, 0.45359237
#: Acres of A-1 by GeographicLib, and its phosphate at 25 lb/acre as pounds of 11-52-0.
A1 = independent_area_m2(box()[:-1]) / ACRE_M2
#: 25 × 2.126 / 0.52 = 102.2 lb of 11-52-0 meet the need; two whole bags, 100 lb, are 97.8 % of it and inside
#: the band of 95 to 110 %, so two bags are planned.
MAP_LB = 100.0
#: Likewise 40 × 2.126 / 0.60 = 141.7 lb of 0-0-60: three whole bags, 150 lb, are 105.8 %.
POTASH_LB = 150.0


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """New, import, plan: the first evening and the day at the store."""
    folder = tmp_path_factory.mktemp("own")
    path = folder / "own.gpkg"
    assert ran_well("new", path, "--name", "Own ground", "--season", SEASON)["property"] == str(path)
    plots, tests, products = worked_files(folder)
    assert ran_well("import", path, products)["taken"] == ["products.csv: 3 offers of 3 products"]
    assert ran_well("import", path, tests, plots)["taken"] == [
        "plots.geojson: 2 plots",
        "soil_tests.csv: 1 soil test",
    ]
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("plan", path)
    return path


@pytest.fixture
def own(planned: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(planned, tmp_path / "own.gpkg"))


def one(rows: list[dict[str, Any]], **wanted: object) -> dict[str, Any]:
    """The one row with these values."""
    (found,) = [row for row in rows if all(row[key] == value for key, value in wanted.items())]
    return found


# ---------------------------------------------------------------------------------------------
# Map, orders, report


def test_the_map_is_one_file_that_asks_for_nothing(own: Path) -> None:
    (file,) = ran_well("map", own)["files"]
    assert Path(file) == own.with_suffix(".html")
    page = Path(file).read_text(encoding="utf-8")
    assert "<script src=" not in page
    assert '<link rel="stylesheet" href="http' not in page


def test_a_map_of_one_round_has_that_round_alone(own: Path, tmp_path: Path) -> None:
    refused = run("map", own, tmp_path / "m.html", "--round", "?")
    rounds = refused.data["problems"][0]["fix"].removeprefix("Use one of: ").rstrip(".").split(", ")
    potash = next(name for name in rounds if "potash" in name)
    (file,) = ran_well("map", own, tmp_path / "m.html", "--round", potash)["files"]
    assert Path(file).stat().st_size > 100_000


@pytest.mark.parametrize("paper", ["us-letter", "a4"])
def test_the_orders_are_paper_and_a_spreadsheet(own: Path, tmp_path: Path, paper: str) -> None:
    """Letter is 612 × 792 points (8.5 × 11 in), A4 595 × 842 (ISO 216: 210 × 297 mm)."""
    files = ran_well("orders", own, tmp_path / "out", "--paper", paper)["files"]
    assert [Path(file).name for file in files] == [
        "work_orders.pdf",
        "planner_orders.pdf",
        "arithmetic.pdf",
        "buying_list.xlsx",
    ]
    pdf, sheet = Path(files[0]), Path(files[-1])
    reader = pypdf.PdfReader(pdf)
    size = tuple(round(float(side)) for side in reader.pages[0].mediabox[2:])
    assert size == ((612, 792) if paper == "us-letter" else (595, 842))
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    assert f"{MAP_LB:.1f} lb" in text
    bought = {row[0]: row for row in openpyxl.load_workbook(sheet).worksheets[0].values}
    assert bought["MAP 11-52-0"][3] == 2
    assert bought["total to pay"][6] == pytest.approx(68 + 42 + -(-0.95 * 3000 * A1 / 1100 // 0.5) / 2 * 42)


def test_the_reports_are_made_beside_the_property(own: Path) -> None:
    files = [Path(file) for file in ran_well("report", own)["files"]]
    assert {file.parent for file in files} == {own.parent}
    assert {file.suffix for file in files} == {".pdf", ".xlsx"}
    for file in files:
        if file.suffix == ".pdf":
            assert pypdf.PdfReader(file).pages


# ---------------------------------------------------------------------------------------------
# Record: by hand, by file, and put right


def test_a_day_by_hand_is_recorded_put_right_and_taken_off_the_next_plan(own: Path) -> None:
    """A bag of 50 lb, entered as 80 by mistake: 26 lb P2O5 of the 53.1 needed, 11-52-0 is half done."""
    by_hand = ("--plot", "A-1", "--product", "MAP 11-52-0", "--on", TODAY)
    first = ran_well("record", own, *by_hand, "--amount", "80 lb", "--operator", "Me", "--ground", "moist")
    (entry,) = first["new"]
    assert (entry["mass_lb"], entry["operator"], entry["ground"]) == (pytest.approx(80), "Me", "moist")
    line = one(first["status"]["lines"], product="MAP 11-52-0")
    assert (line["state"], line["applied_lb"]) == ("part", pytest.approx(80))

    correct = ("--corrects", entry["entry_id"])
    second = ran_well("record", own, *by_hand, "--amount", "50 lb", "--reason", "misread the bag", *correct)
    line = one(second["status"]["lines"], product="MAP 11-52-0")
    assert (line["applied_lb"], line["reasons"]) == (pytest.approx(50), ["misread the bag"])
    owed = one(second["status"]["balance"], plot_id="A-1", nutrient="P2O5")
    assert owed["applied_lb"] == pytest.approx(26)
    assert owed["left_lb"] == pytest.approx(25 * A1 - 26)
    with closing(sqlite3.connect(own)) as connection:  # both entries stay
        assert connection.execute("SELECT count(*) FROM applications").fetchone() == (2,)

    again = run("record", own, *by_hand, "--amount", "40 lb", *correct)
    assert again.code == 2
    assert again.says("--corrects", entry["entry_id"], second["new"][0]["entry_id"])

    plan = ran_well("plan", own, "--reason", "one bag is down")
    assert one(plan["coverage"], nutrient="P2O5")["need_lb"] == pytest.approx(25 * A1 - 26)
    # 27.1 lb P2O5 are left, 52.2 lb of 11-52-0; the band is one of the whole need, 53.1 lb, so that 26 lb,
    # one more bag, bring it to 97.8 %.
    assert one(plan["lines"], product="MAP 11-52-0")["mass_lb"] == pytest.approx(50)
    with closing(sqlite3.connect(own)) as connection:
        reasons = [reason for (reason,) in connection.execute("SELECT reason FROM plans ORDER BY fid")]
    assert reasons == ["", "one bag is down"]


def test_a_table_of_what_was_done_is_taken_once(own: Path, tmp_path: Path) -> None:
    rows = (
        "plot_id,product,done,applied_on,amount,timing,reason\n"
        f"A-1,Potash 0-0-60,done,{TODAY},{POTASH_LB:.4f} lb,top-dress,\n"
        f"A-1,MAP 11-52-0,not done,{TODAY},,,ground too wet\n"
    )
    file = written(tmp_path / "done.csv", rows)
    said = ran_well("record", own, file)
    assert len(said["new"]) == 2
    lines = said["status"]["lines"]
    assert one(lines, product="Potash 0-0-60")["state"] == "done"  # planned for any time, done at one
    wet = one(lines, product="MAP 11-52-0")
    assert (wet["state"], wet["reasons"]) == ("nothing yet", ["ground too wet"])
    again = ran_well("record", own, file)
    assert (again["new"], len(again["already_there"])) == ([], 2)
    assert again["status"] == said["status"]


def test_one_bad_entry_holds_back_the_file(own: Path, tmp_path: Path) -> None:
    entry = {
        "entry_id": "phone-1",
        "plot_id": "A-1",
        "product": "MAP 11-52-0",
        "done": "done",
        "applied_on": f"{TODAY}",
        "mass_kg": 10.0,
    }
    entries = [entry, entry | {"entry_id": "phone-2", "plot_id": "Z-9"}]
    content = {"format": "loamwright-records", "version": 1, "entries": entries}
    before = own.read_bytes()
    done = run("record", own, written(tmp_path / "records.json", json.dumps(content)))
    assert done.code == 2
    assert done.says("records.json", "entry 2", "plot_id", "'Z-9'")
    assert own.read_bytes() == before


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--amount", "-50 lb", ["--amount", "'-50 lb'", "negative"]),
        ("--amount", "50", ["--amount", "'50'", "unit"]),
        ("--amount", "50 ft", ["--amount", "'50 ft'"]),
        ("--amount", "nan lb", ["--amount", "'nan lb'"]),
        ("--on", "2026-13-01", ["--on", "'2026-13-01'"]),
        ("--plot", "Z-9", ["--plot", "'Z-9'"]),
        ("--product", "Moon dust", ["--product", "'Moon dust'", "MAP 11-52-0"]),
        ("--corrects", "nobody", ["--corrects", "'nobody'"]),
    ],
)
def test_a_slip_of_the_pen_is_refused(own: Path, option: str, value: str, words: list[str]) -> None:
    """The record only grows, so what cannot be true must not get into it."""
    typed = {"--plot": "A-1", "--product": "MAP 11-52-0", "--amount": "50 lb", "--on": f"{TODAY}"} | {
        option: value
    }
    before = own.read_bytes()
    done = run("record", own, *(word for pair in typed.items() for word in pair))
    assert done.code == 2
    assert done.says(*words), done.problems
    assert own.read_bytes() == before


def test_an_entry_of_another_season_is_kept_and_said_not_to_count(own: Path) -> None:
    typed = ("--plot", "A-1", "--product", "MAP 11-52-0", "--amount", "50 lb", "--on", f"{SEASON - 1}-10-01")
    done = run("record", own, *typed)
    assert done.code == 1
    assert done.says(f"{SEASON - 1}-10-01", f"season {SEASON}", "A-1")
    assert len(done.data["new"]) == 1
    assert {line["applied_lb"] for line in done.data["status"]["lines"]} == {0.0}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"--caught": "0.11"}, ["--caught", "'0.11'"]),
        ({"--catch-area": "21.8 lb"}, ["--catch-area", "'21.8 lb'"]),
        ({"--catch-area": "0 ft2"}, ["catch_area"]),
        ({"--speed": "5 ft"}, ["--speed", "'5 ft'"]),
        ({"--swath": "wide"}, ["--swath", "'wide'"]),
        ({"--on": "spring"}, ["--on", "'spring'"]),
    ],
)
def test_a_catch_test_with_a_slip_is_refused(own: Path, change: dict[str, str], words: list[str]) -> None:
    typed = {
        "--spreader": "ATV",
        "--product": "MAP 11-52-0",
        "--setting": "3",
        "--caught": "0.11 lb",
        "--catch-area": "21.8 ft2",
    } | change
    before = own.read_bytes()
    done = run("calibrate", own, *(word for pair in typed.items() for word in pair))
    assert done.code == 2
    assert done.says(*words), done.problems
    assert own.read_bytes() == before


def test_several_slips_are_told_together(own: Path) -> None:
    done = run("record", own, "--plot", "Z-9", "--product", "Moon dust", "--amount", "much", "--on", "spring")
    assert [problem["where"] for problem in done.data["problems"]] == [
        "--plot",
        "--product",
        "--amount",
        "--on",
    ]


# ---------------------------------------------------------------------------------------------
# Export, each kind read back by a general library


def read_geojson(folder: Path) -> None:
    plots = json.loads((folder / "plots.geojson").read_text())["features"]
    assert [plot["properties"]["plot_id"] for plot in plots] == ["A-1", "A-2"]
    assert plots[0]["geometry"]["type"] in {"Polygon", "MultiPolygon"}


def read_geopackage(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "season.gpkg")) as connection:
        layers = {name for (name,) in connection.execute("SELECT table_name FROM gpkg_contents")}
    assert "plots" in layers


def read_shapefile(folder: Path) -> None:
    content = (folder / "zones.shp").read_bytes()
    assert content[:4] == bytes.fromhex("0000270a")  # ESRI Shapefile Technical Description, 1998: code 9994
    assert {(folder / f"zones.{suffix}").is_file() for suffix in ("dbf", "shx", "prj")} == {True}


def read_kml(folder: Path) -> None:
    root = ET.parse(folder / "plots.kml").getroot()
    assert root.tag == "{http://www.opengis.net/kml/2.2}kml"
    names = {element.text for element in root.iter("{http://www.opengis.net/kml/2.2}name")}
    assert any("Alder" in str(name) for name in names)


def read_gpx(folder: Path) -> None:
    root = ET.parse(folder / "places.gpx").getroot()
    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"
    assert root.findall("{http://www.topografix.com/GPX/1/1}wpt")


def read_csv(folder: Path) -> None:
    rows = list(csv.DictReader((folder / "plan.csv").open(encoding="utf-8-sig", newline="")))
    row = next(row for row in rows if "MAP 11-52-0" in row.values())
    assert any(value and _number(value) == pytest.approx(MAP_LB, rel=1e-3) for value in row.values())


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def read_xlsx(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "season.xlsx")
    cells = {cell for sheet in book for row in sheet.values for cell in row}
    assert {"A-1", "A-2", "MAP 11-52-0"} <= cells


def read_taskfile(folder: Path) -> None:
    root = ET.parse(folder / "TASKDATA" / "TASKDATA.XML").getroot()
    assert root.tag == "ISO11783_TaskData"
    assert {field.get("C") for field in root.iter("PFD")} >= {"Alder"}


def read_boundaries(folder: Path) -> None:
    plots = geopandas.read_file(folder / "plots.geojson")
    assert list(plots.plot_id) == ["A-1", "A-2"]
    assert set(plots.crop) == {"red clover"}


READERS: dict[str, Callable[[Path], None]] = {
    "boundaries": read_boundaries,
    "geojson": read_geojson,
    "geopackage": read_geopackage,
    "shapefile": read_shapefile,
    "kml": read_kml,
    "gpx": read_gpx,
    "csv": read_csv,
    "xlsx": read_xlsx,
    "taskfile": read_taskfile,
}


@pytest.mark.parametrize("kind", READERS)
def test_every_kind_of_export_can_be_read_elsewhere(planned: Path, tmp_path: Path, kind: str) -> None:
    files = ran_well("export", planned, kind, tmp_path / "out")["files"]
    assert files
    assert all(Path(file).stat().st_size for file in files)
    READERS[kind](tmp_path / "out")


def test_the_kinds_of_export_are_these(planned: Path, tmp_path: Path) -> None:
    done = run("export", planned, "?", tmp_path / "out")
    assert done.code == 2
    kinds = [one.partition(" (")[0] for one in done.data["problems"][0]["fix"].split("; ")]
    assert [one.removeprefix("Use one of: ") for one in kinds] == list(READERS)


# ---------------------------------------------------------------------------------------------
# Properties with little in them


def started(folder: Path, *files: Path) -> Path:
    path = folder / "little.gpkg"
    ran_well("new", path, "--name", "Little", "--season", SEASON)
    if files:
        ran_well("import", path, *files)
    return path


def test_an_empty_property_says_that_it_is_empty(tmp_path: Path) -> None:
    path = started(tmp_path)
    for command in ("needs", "status", "sample", "history"):
        assert ran_well(command, path)
        assert run(command, path, as_json=False).code == 0
    assert ran_well("plan", path)["buy"] == []
    drawn = run("map", path)
    assert drawn.code == 2
    assert drawn.says("no plots", "Import plots first")


def test_without_soil_tests_the_needs_are_unknown_and_nothing_is_bought(tmp_path: Path) -> None:
    """In words: not tested, nothing that is known is needed, and a sample is due."""
    plots, _tests, products = worked_files(tmp_path)
    path = started(tmp_path, plots, products)
    needs = ran_well("needs", path)
    for plot in needs["plots"]:
        states = {need["nutrient"]: (need["state"], need["reason"]) for need in plot["needs"]}
        for nutrient in ("P2O5", "K2O"):
            assert states[nutrient][0] == "unknown"
            assert "not tested" in states[nutrient][1]
        assert plot["lime"]["state"] == "unknown"
    plan = ran_well("plan", path)
    assert (plan["lines"], plan["buy"], plan["cost"]["total"]) == ([], [], 0.0)
    assert any("Nothing is needed that is known" in sentence for sentence in plan["explanation"])
    assert all(plot["due"] for plot in ran_well("sample", path)["plots"])
    text = run("needs", path, as_json=False).text
    assert "A-1, A-2 – P2O5: Phosphorus was not tested" in text


def test_without_offers_there_is_no_plan_but_a_sentence_for_each_need(tmp_path: Path) -> None:
    """Orders can still be asked for: they hold what is planned, which is nothing."""
    plots, tests, _products = worked_files(tmp_path)
    path = started(tmp_path, plots, tests)
    before_planning = run("orders", path, tmp_path / "out")
    assert before_planning.code == 2
    assert before_planning.says("no plan", "loamwright plan")
    done = run("plan", path)
    assert done.code == 3
    assert done.data["cost"]["total"] == 0.0
    needed = {row["nutrient"]: row for row in done.data["coverage"]}
    assert needed["P2O5"]["need_lb"] == pytest.approx(25 * A1)
    assert needed["P2O5"]["supplied_lb"] == 0.0
    for supply in ("P2O5", "K2O", "lime ENP"):
        assert [s for s in done.data["explanation"] if f"nothing on offer supplies {supply}" in s]


def test_one_plot_goes_all_the_way(tmp_path: Path) -> None:
    """A lab's own advice, 20-30-40 lb/acre, on about half an acre, met by one bag of each of three."""
    side = 0.0005
    ring = box(size=side)
    acres = independent_area_m2(ring[:-1]) / ACRE_M2
    plot = geojson(
        tmp_path / "field.geojson", ({"plot_id": "F-1", "name": "Field", "crop": "oats-peas"}, [ring])
    )
    advice = written(
        tmp_path / "soil_tests.csv",
        "plot_id,sampled_on,lab,ph,rec_n,rec_p2o5,rec_k2o,rec_unit,rec_lime,rec_lime_unit\n"
        f"F-1,{SAMPLED},Own lab,6.5,20,30,40,lb/acre,0,lb ENP/acre\n",
    )
    goods = written(
        tmp_path / "goods.csv",
        "product,form,n,p2o5,k2o,package,price,seller\n"
        "Urea 46-0-0,dry,46,0,0,50 lb bag,28.50,Store\n"
        "TSP 0-46-0,dry,0,46,0,50 lb bag,33.50,Store\n"
        "Potash 0-0-60,dry,0,0,60,50 lb bag,21.00,Store\n",
    )
    path = started(tmp_path, advice, goods, plot)
    needs = {need["nutrient"]: need for need in ran_well("needs", path)["plots"][0]["needs"]}
    assert {n: needs[n]["lb"] for n in ("N", "P2O5", "K2O")} == pytest.approx(
        {"N": 20 * acres, "P2O5": 30 * acres, "K2O": 40 * acres}
    )
    plan = run("plan", path).data
    assert plan["outcome"] == "proved cheapest"
    masses = {line["product"]: line["mass_lb"] for line in plan["lines"]}
    assert masses == pytest.approx(
        {
            "Urea 46-0-0": 20 * acres / 0.46,
            "TSP 0-46-0": 30 * acres / 0.46,
            "Potash 0-0-60": 40 * acres / 0.60,
        },
        rel=1e-5,
    )
    assert plan["cost"]["purchase"] == 28.50 + 33.50 + 21.00  # a bag of each: 23.1, 34.7 and 35.4 lb
    for made in (
        run("map", path),
        run("orders", path, tmp_path / "out"),
        run("report", path, tmp_path / "out"),
    ):
        assert made.code in (0, 1)
        assert all(Path(file).is_file() for file in made.data["files"])
    for product, mass in masses.items():
        run("record", path, "--plot", "F-1", "--product", product, "--amount", f"{mass} lb", "--on", TODAY)
    status = run("status", path).data
    assert {line["state"] for line in status["lines"]} == {"done"}
    assert max(row["left_lb"] or 0 for row in status["balance"]) == pytest.approx(0, abs=1e-3)
