"""Bad input, each kind through the command line: named with file, place, value and fix; nothing stored.

And what good input does: what a file holds is told from its content, several files are one matter.
"""

from __future__ import annotations

import itertools
import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from command_line import SAMPLED, SEASON, box, geojson, ran_well, run, worked_files, written

from loamwright.errors import InputError
from loamwright.files.intake import read_settings

Maker = Callable[[Path], Path]
#: A bow-tie: the two diagonals are edges, so the line crosses itself in the middle.
BOW_TIE = [[-93.05, 46.05], [-93.049, 46.051], [-93.049, 46.05], [-93.05, 46.051], [-93.05, 46.05]]
FLAT = [[-93.05, 46.05], [-93.049, 46.05], [-93.048, 46.05], [-93.05, 46.05]]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A property with plots A-1 and A-2 and their tests and products."""
    folder = tmp_path_factory.mktemp("intake")
    path = folder / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(folder))
    return path


@pytest.fixture
def own(made: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "property"
    folder.mkdir()
    return Path(shutil.copy(made, folder / "own.gpkg"))


def refused(words: list[str], *arguments: object) -> None:
    """A command must end with 2, with one problem that holds all the words and a fix, said both ways."""
    done = run(*arguments)
    assert done.code == 2, done.text
    assert done.says(*words), done.problems
    assert all(
        problem["what"] and (problem["fix"] or "; " in problem["what"]) for problem in _errors(done.data)
    )
    people = run(*arguments, as_json=False)
    assert people.code == 2
    for word in words:
        assert word in people.text


def _errors(data: dict[str, list[dict[str, str]]]) -> list[dict[str, str]]:
    return [problem for problem in data["problems"] if problem["level"] == "error"]


# ---------------------------------------------------------------------------------------------
# Boundaries


def shapes(name: str, *rings: list[list[float]], ids: tuple[str, ...] = ("B-1", "B-2")) -> Maker:
    return lambda folder: geojson(
        folder / name, *(({"plot_id": plot_id}, [ring]) for plot_id, ring in zip(ids, rings, strict=False))
    )


def text(name: str, content: str) -> Maker:
    return lambda folder: written(folder / name, content)


def folder_named(name: str) -> Maker:
    def make(folder: Path) -> Path:
        (folder / name).mkdir()
        return folder / name

    return make


#: What is wrong, the file, and the words one message must hold: file, feature, offending value.
BAD_SHAPES: dict[str, tuple[Maker, list[str]]] = {
    "broken JSON": (text("plots.geojson", '{"type": "Feat'), ["plots.geojson", "line 1", "JSON", "Feat"]),
    "metres for degrees": (
        shapes("utm.geojson", [[e * 1e5 + 5e5, n * 1e5 + 5.1e6] for e, n in box(0, 0)]),
        ["utm.geojson", "feature 1", "500000", "5100000", "EPSG:4326"],
    ),
    "swapped": (
        shapes("swapped.geojson", [[lat, lon] for lon, lat in box()]),
        ["swapped.geojson", "feature 1", "-93.05", "swapped"],
    ),
    "self-crossing": (
        shapes("bow.geojson", BOW_TIE),
        ["bow.geojson", "feature 1", "B-1", "crosses itself", "-93.0495", "46.0505"],
    ),
    "zero area": (shapes("flat.geojson", FLAT), ["flat.geojson", "feature 1", "B-1", "0.00 m²"]),
    "the same boundary twice": (
        shapes("twin.geojson", box(-93.03), box(-93.03)),
        ["twin.geojson", "feature 2", "'B-2'", "'B-1'", "same boundary"],
    ),
    "the same id twice": (
        shapes("id.geojson", box(-93.03), box(-93.02), ids=("B-1", "B-1")),
        ["id.geojson", "feature 2", "'B-1'", "feature 1"],
    ),
    "no features": (shapes("none.geojson"), ["none.geojson", "no features"]),
    "empty": (text("empty.geojson", ""), ["empty.geojson", "0 bytes"]),
    "a folder": (folder_named("maps"), ["maps", "folder"]),
    "missing": (lambda folder: folder / "gone.geojson", ["gone.geojson", "there is no file"]),
    "not ours": (text("photo.jpg", "JFIF"), ["photo.jpg", "'.jpg'", ".geojson"]),
}


@pytest.mark.parametrize("case", BAD_SHAPES)
def test_bad_boundaries_are_named_and_nothing_is_stored(case: str, own: Path, tmp_path: Path) -> None:
    make, words = BAD_SHAPES[case]
    file, before = make(tmp_path), own.read_bytes()
    refused(words, "measure", file)
    refused(words, "import", own, file)
    assert own.read_bytes() == before


def test_a_boundary_the_property_has_already_is_refused(own: Path, tmp_path: Path) -> None:
    """A-1's square under another id."""
    before = own.read_bytes()
    refused(
        ["A-1", "C-1", "same boundary"], "import", own, shapes("again.geojson", box(), ids=("C-1",))(tmp_path)
    )
    assert own.read_bytes() == before


def test_one_id_in_two_files_is_refused(own: Path, tmp_path: Path) -> None:
    before = own.read_bytes()
    files = [
        shapes(name, box(west))(tmp_path) for name, west in (("a.geojson", -93.03), ("b.geojson", -93.02))
    ]
    refused(["b.geojson", "'B-1'"], "import", own, *files)
    assert own.read_bytes() == before


def test_a_negative_error_of_a_walk_is_refused(tmp_path: Path) -> None:
    file = geojson(tmp_path / "p.geojson", ({"plot_id": "A-1"}, [box()]))
    refused(["--gps-sigma", "-3 m"], "measure", file, "--gps-sigma", "-3 m")


def test_a_setback_that_is_not_a_length_is_refused(own: Path, tmp_path: Path) -> None:
    well = {
        "type": "Feature",
        "properties": {"keepout_id": "W", "kind": "well", "setback": "50 smoots"},
        "geometry": {"type": "Point", "coordinates": [-93.05, 46.05]},
    }
    file = written(
        tmp_path / "keepouts.geojson", json.dumps({"type": "FeatureCollection", "features": [well]})
    )
    before = own.read_bytes()
    refused(["keepouts.geojson", "feature 1", "setback", "'50 smoots'"], "import", own, file)
    assert own.read_bytes() == before


# ---------------------------------------------------------------------------------------------
# Soil tests

SOIL = "plot_id,sampled_on,ph,p,p_unit,p_extractant\n"
BAD_SOIL = {
    "unknown plot": (f"Z-9,{SAMPLED},6.4,9,ppm,Bray P1", ["row 2", "plot_id", "'Z-9'"]),
    "no extractant": (f"A-1,{SAMPLED},6.4,9,ppm,", ["row 2", "p_extractant", "P 9 ppm"]),
    "unit not understood": (f"A-1,{SAMPLED},6.4,9,furlongs,Bray P1", ["row 2", "p_unit", "'furlongs'"]),
    "negative reading": (f"A-1,{SAMPLED},6.4,-9,ppm,Bray P1", ["row 2", "'-9'"]),
    "impossible pH": (f"A-1,{SAMPLED},64,9,ppm,Bray P1", ["row 2", "ph", "'64'"]),
    "not a date": ("A-1,2026-13-01,6.4,9,ppm,Bray P1", ["row 2", "sampled_on", "2026-13-01"]),
    "heading only": ("", ["no rows"]),
}


@pytest.mark.parametrize("case", BAD_SOIL)
def test_bad_soil_tests_are_named_and_nothing_is_stored(case: str, own: Path, tmp_path: Path) -> None:
    row, words = BAD_SOIL[case]
    file, before = written(tmp_path / "soil_tests.csv", f"{SOIL}{row}\n"), own.read_bytes()
    refused(["soil_tests.csv", *words], "import", own, file)
    assert own.read_bytes() == before


def test_a_test_no_table_reads_leaves_the_need_unknown_and_says_so(own: Path, tmp_path: Path) -> None:
    """An extractant nobody knows is kept as the lab printed it, and never read as another."""
    file = written(tmp_path / "soil_tests.csv", f"{SOIL}A-2,{SAMPLED},6.4,9,ppm,Vinegar\n")
    run("import", own, file)
    done = run("needs", own)
    (p2o5,) = [need for need in done.data["plots"][1]["needs"] if need["nutrient"] == "P2O5"]
    assert (p2o5["state"], p2o5["lb"]) == ("unknown", None)
    assert "Vinegar" in p2o5["reason"]


def test_a_good_row_beside_a_bad_one_is_not_stored_either(own: Path, tmp_path: Path) -> None:
    rows = f"A-1,{SAMPLED},6.9,30,ppm,Bray P1\nA-2,{SAMPLED},6.4,9,ppm,\n"
    before = own.read_bytes()
    refused(["soil_tests.csv", "row 3"], "import", own, written(tmp_path / "soil_tests.csv", SOIL + rows))
    assert own.read_bytes() == before


def test_every_bad_row_is_named_at_once(own: Path, tmp_path: Path) -> None:
    rows = "".join(f"Z-{number},{SAMPLED},6.4,9,ppm,Bray P1\n" for number in range(10))
    done = run("import", own, written(tmp_path / "soil_tests.csv", SOIL + rows))
    assert len(_errors(done.data)) == 10
    assert [p["where"].split(", ")[1] for p in _errors(done.data)] == [f"row {n}" for n in range(2, 12)]


# ---------------------------------------------------------------------------------------------
# Products

GOODS = "product,form,n,p2o5,k2o,package,price,seller\n"
BAD_GOODS = {
    "negative analysis": ("Urea,dry,-46,0,0,50 lb bag,28.50,S", ["row 2", ", n", "'-46'", "negative"]),
    "over 100 %": ("Urea,dry,146,0,0,50 lb bag,28.50,S", ["row 2", ", n", "'146'", "100 %"]),
    "adds over 100 %": ("Mix,dry,46,40,30,50 lb bag,28.50,S", ["row 2", "116 %"]),
    "price with words": ("Potash,dry,0,0,60,50 lb bag,$21.00 ea,S", ["row 2", "price", "'$21.00 ea'"]),
    "negative price": ("Urea,dry,46,0,0,50 lb bag,-28.50,S", ["row 2", "price", "'-28.50'"]),
    "unit not understood": ("Urea,dry,46,0,0,50 smoot bag,28.50,S", ["row 2", "package", "'50 smoot bag'"]),
    "no package": ("Urea,dry,46,0,0,,28.50,S", ["row 2", "package", "blank"]),
    "unknown form": ("Urea,gas,46,0,0,50 lb bag,28.50,S", ["row 2", "form", "'gas'"]),
    "heading only": ("", ["no rows"]),
}


@pytest.mark.parametrize("case", BAD_GOODS)
def test_bad_products_are_named_and_nothing_is_stored(case: str, own: Path, tmp_path: Path) -> None:
    row, words = BAD_GOODS[case]
    file, before = written(tmp_path / "goods.csv", f"{GOODS}{row}\n"), own.read_bytes()
    refused(["goods.csv", *words], "compare", file)
    refused(["goods.csv", *words], "import", own, file)
    assert own.read_bytes() == before


def test_a_missing_price_is_a_warning_and_the_offer_stays_out_of_the_plan(own: Path, tmp_path: Path) -> None:
    """Pounds are still told; there is no price per pound, and the phosphate that has a price is bought."""
    file = written(tmp_path / "goods.csv", f"{GOODS}TSP,dry,0,46,0,50 lb bag,,S\n")
    compared = run("compare", file)
    assert compared.code == 1
    assert compared.says("goods.csv", "row 2", "price", "missing")
    (offer,) = compared.data["offers"]
    assert offer["price"] is None
    assert offer["nutrients_lb"]["P2O5"] == pytest.approx(23)
    assert offer["price_per_lb"] == {}
    taken = run("import", own, file)
    assert taken.code == 1
    assert taken.says("goods.csv", "row 2", "price", "missing")
    planned = run("plan", own)
    assert planned.code == 1
    assert planned.says("tsp", "price is missing")
    assert "TSP" not in {purchase["product"] for purchase in planned.data["buy"]}


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (text("nothing.csv", ""), ["nothing.csv", "0 bytes"]),
        (text("poem.csv", "roses,violets\nred,blue\n"), ["poem.csv"]),
        (folder_named("table.csv"), ["table.csv", "directory"]),
        (lambda folder: folder / "gone.csv", ["gone.csv", "no file"]),
        (text("sheet.xlsx", "PK\x03\x04 torn"), ["sheet.xlsx"]),
    ],
    ids=["empty", "not ours", "a folder", "missing", "torn workbook"],
)
def test_a_table_that_cannot_be_read_is_refused(
    make: Maker, words: list[str], own: Path, tmp_path: Path
) -> None:
    file, before = make(tmp_path), own.read_bytes()
    refused(words, "compare", file)
    refused(words, "import", own, file)
    assert own.read_bytes() == before


# ---------------------------------------------------------------------------------------------
# The property file


def geopackage_of_another_program(folder: Path) -> Path:
    path = folder / "other.gpkg"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript("PRAGMA application_id = 0x47504B47; CREATE TABLE t (a);")
    return path


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (text("own.gpkg", ""), ["own.gpkg", "0 bytes"]),
        (text("own.gpkg", "a letter"), ["own.gpkg", "not a property file"]),
        (geopackage_of_another_program, ["other.gpkg", "did not make", "import"]),
        (folder_named("own.gpkg"), ["own.gpkg", "directory"]),
        (lambda folder: folder / "own.gpkg", ["own.gpkg", "there is no file", "loamwright new"]),
    ],
    ids=["0 bytes", "not ours", "of another program", "a directory", "missing"],
)
@pytest.mark.parametrize("command", ["needs", "plan", "status", "import", "record", "export"])
def test_what_is_not_a_property_file_is_refused_and_left_alone(
    make: Maker, words: list[str], command: str, tmp_path: Path
) -> None:
    path = make(tmp_path)
    before = path.read_bytes() if path.is_file() else None
    rest = {
        "import": [geojson(tmp_path / "p.geojson", ({"plot_id": "A-1"}, [box()]))],
        "record": ["--plot", "A-1", "--product", "MAP", "--amount", "1 lb"],
        "export": ["csv", tmp_path / "out"],
    }
    refused(words, command, path, *rest.get(command, []))
    assert (path.read_bytes() if path.is_file() else None) == before


def test_a_property_is_not_made_over_another_file(own: Path) -> None:
    before = own.read_bytes()
    refused(["own.gpkg", "exists already"], "new", own, "--name", "Another")
    assert own.read_bytes() == before


@pytest.mark.parametrize(
    ("name", "arguments", "words"),
    [
        ("new.gpkg", ["--name", ""], ["--name", "''"]),
        ("new.gpkg", ["--name", "x", "--season", "26"], ["--season", "26"]),
        ("new.txt", ["--name", "x"], ["new.txt", "new.gpkg"]),
        ("no/such/new.gpkg", ["--name", "x"], ["no/such/new.gpkg", "folder"]),
    ],
)
def test_a_property_needs_a_name_a_year_and_a_place(
    name: str, arguments: list[str], words: list[str], tmp_path: Path
) -> None:
    refused(words, "new", tmp_path / name, *arguments)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", ["property.json", "JSON"]),
        ('{"name": "x", "season": 20260}', ["property.json", "season", "20260"]),
        ('{"name": "x", "season": 2026, "units": "furlongs"}', ["property.json", "units", "'furlongs'"]),
        (
            '{"name": "x", "season": 2026, "settings": {"min_rate": "25 smoots"}}',
            ["property.json", "min_rate", "'25 smoots'"],
        ),
        (
            '{"name": "x", "season": 2026, "settings": {"limeregion": "Area 1"}}',
            ["property.json", "'limeregion'"],
        ),
    ],
)
def test_bad_settings_make_no_property(content: str, words: list[str], tmp_path: Path) -> None:
    path = tmp_path / "new.gpkg"
    file = written(tmp_path / "property.json", content)
    refused(words, "new", path, "--name", "New", "--settings", file)
    assert not path.exists()


# ---------------------------------------------------------------------------------------------
# Good input


def test_files_may_come_in_any_order_and_are_one_matter(tmp_path: Path) -> None:
    """Soil tests before their plots, in every order; one bad file holds back all the others."""
    files = worked_files(tmp_path)
    bad = written(tmp_path / "goods.csv", f"{GOODS}Urea,dry,146,0,0,50 lb bag,28.50,S\n")
    answers = []
    for number, order in enumerate(itertools.permutations(files)):
        path = tmp_path / f"own{number}.gpkg"
        ran_well("new", path, "--name", "Own ground", "--season", SEASON)
        before = path.read_bytes()
        refused(["goods.csv", "'146'"], "import", path, *order, bad)
        assert path.read_bytes() == before
        ran_well("import", path, *order)
        answers.append(ran_well("needs", path))
    assert answers[0]["plots"]
    assert all(answer == answers[0] for answer in answers)


def test_faults_of_several_files_are_told_together(own: Path, tmp_path: Path) -> None:
    goods = written(tmp_path / "goods.csv", f"{GOODS}Urea,dry,146,0,0,50 lb bag,28.50,S\n")
    soil = written(tmp_path / "soil_tests.csv", f"{SOIL}Z-9,{SAMPLED},6.4,9,ppm,Bray P1\n")
    done = run("import", own, goods, soil, tmp_path / "gone.csv", shapes("bow.geojson", BOW_TIE)(tmp_path))
    assert {p["where"].split(",")[0] for p in _errors(done.data)} == {
        "goods.csv",
        "soil_tests.csv",
        "gone.csv",
        "bow.geojson",
    }


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (f"{SOIL}A-1,{SAMPLED},6.4,9,ppm,Bray P1", f"{SOIL}A-1,{SAMPLED},6.0,5,ppm,Bray P1", ["test_id"]),
        (f"{GOODS}U,dry,46,0,0,50 lb bag,28,S", f"{GOODS}U,dry,46,0,0,50 lb bag,29,S", ["offer_id"]),
        (f"{GOODS}U,dry,46,0,0,50 lb bag,28,S", f"{GOODS}U,dry,45,0,0,1 ton bulk,900,S", ["product", "'U'"]),
    ],
    ids=["one sample", "one offer", "two labels of one product"],
)
def test_two_files_that_contradict_each_other_are_refused(
    first: str, second: str, words: list[str], own: Path, tmp_path: Path
) -> None:
    files = [written(tmp_path / name, f"{text}\n") for name, text in (("a.csv", first), ("b.csv", second))]
    before = own.read_bytes()
    refused(["b.csv", *words], "import", own, *files)
    assert own.read_bytes() == before


def test_an_entry_the_record_contradicts_holds_back_everything(own: Path, tmp_path: Path) -> None:
    """The record is never rewritten, and no part of the import stays."""
    heading = "entry_id,plot_id,product,done,applied_on,amount\n"
    day = f"A-1,MAP 11-52-0,done,{SAMPLED}"
    ran_well("import", own, written(tmp_path / "done.csv", f"{heading}E1,{day},10 lb\n"))
    other = written(tmp_path / "other.csv", f"{heading}E1,{day},11 lb\nE2,{day},12 lb\n")
    goods = written(tmp_path / "goods.csv", f"{GOODS}Urea 46-0-0,dry,46,0,0,50 lb bag,28.50,S\n")
    before = run("status", own).data, run("compare", own).data
    refused(["E1", "mass_kg"], "import", own, other, goods)
    assert (run("status", own).data, run("compare", own).data) == before


def test_what_was_taken_is_said_and_what_it_replaces(own: Path, tmp_path: Path) -> None:
    plots, tests, _products = worked_files(tmp_path)
    again = ran_well("import", own, plots, tests)
    assert again["taken"] == ["plots.geojson: 2 plots", "soil_tests.csv: 1 soil test"]
    other = written(
        tmp_path / "goods.csv",
        f"{GOODS}MAP 11-52-0,dry,12,61,0,50 lb bag,36.00,Store\n"
        "Urea 46-0-0,dry,46,0,0,50 lb bag,28.50,Store\n",
    )
    (sentence,) = ran_well("import", own, other)["taken"]
    assert sentence == (
        "goods.csv: 2 offers of 2 products; replaced what was here of MAP 11-52-0, "
        "the offer MAP 11-52-0, 50 lb bag"
    )
    entries = written(
        tmp_path / "done.csv",
        f"plot_id,product,done,applied_on,amount\nA-1,MAP 11-52-0,done,{SAMPLED},10 lb\n",
    )
    assert ran_well("import", own, entries)["taken"] == ["done.csv: 1 application, 1 of them new"]
    assert ran_well("import", own, entries)["taken"] == ["done.csv: 1 application, 0 of them new"]


def test_settings_that_come_with_plots_hold_for_them(tmp_path: Path) -> None:
    """A new season in the settings is the season of the crops imported with them."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    plots, tests, _products = worked_files(tmp_path)
    settings = written(tmp_path / "property.json", json.dumps({"name": "Own ground", "season": SEASON + 1}))
    ran_well("import", path, plots, tests, settings)
    said = ran_well("needs", path)
    assert said["season"] == SEASON + 1
    (p2o5,) = [n for n in said["plots"][0]["needs"] if n["nutrient"] == "P2O5"]
    assert p2o5["state"] == "needed"  # the crop is known


def test_a_kind_can_be_named_when_the_content_does_not_tell(own: Path, tmp_path: Path) -> None:
    file = written(tmp_path / "thing.csv", "a,b\n1,2\n")
    refused(["thing.csv", "--as"], "import", own, file)
    refused(["thing.csv", "product"], "import", own, file, "--as", "products")


def test_a_layer_is_asked_for_when_a_file_has_several(own: Path, tmp_path: Path) -> None:
    """The property file itself is such a file, and its plots can go into another property."""
    path = tmp_path / "second.gpkg"
    ran_well("new", path, "--name", "Second", "--season", SEASON)
    refused(["own.gpkg", "plots", "keepouts"], "import", path, own)
    assert ran_well("import", path, own, "--layer", "plots")["taken"] == ["own.gpkg: 2 plots"]
    assert [plot["plot_id"] for plot in ran_well("needs", path)["plots"]] == ["A-1", "A-2"]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the administrator may read every file")
def test_a_file_that_may_not_be_read_is_named(own: Path, tmp_path: Path) -> None:
    file = written(tmp_path / "goods.csv", GOODS)
    file.chmod(0)
    refused(["goods.csv"], "import", own, file)


def test_a_guideline_folder_beside_the_settings_is_found_from_anywhere(tmp_path: Path) -> None:
    """The folder is named relative to property.json; a name that is neither folder nor edition is refused."""
    own = Path(__file__).parents[1] / "published" / "guidelines_own_example"
    shutil.copytree(own, tmp_path / "mine")
    settings = tmp_path / "property.json"
    settings.write_text('{"name": "P", "season": 2026, "settings": {"guideline": "mine"}}', encoding="utf-8")
    assert read_settings(settings).settings.guideline == str(tmp_path / "mine")
    settings.write_text('{"name": "P", "season": 2026, "settings": {"guideline": "my"}}', encoding="utf-8")
    with pytest.raises(InputError, match="'my'"):
        read_settings(settings)
