"""A property in North Carolina, and a guideline of one's own: chosen, filled in, used, explained.

Plots, reports and rates are invented. Expected amounts are worked out beside each check from the printed
tables: NCDA&CS Circular No. 1 (2014), Tables 2.3 and 2.4; NCDA&CS, note under the buffer table.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest
from command_line import SAMPLED, SEASON, TODAY, box, geojson, ran_well, run, written

Row = dict[str, object]

NORTH_CAROLINA = (-79.9, 35.4)


def plots(folder: Path, crops: dict[str, dict[str, Any]]) -> Path:
    """Write one square plot in North Carolina for each crop."""
    west, south = NORTH_CAROLINA
    squares = [
        ({"plot_id": plot_id, "name": plot_id, **words}, [box(west + 0.01 * place, south)])
        for place, (plot_id, words) in enumerate(crops.items())
    ]
    return geojson(folder / "plots.geojson", *squares)


def reports(folder: Path, rows: list[Row]) -> Path:
    """Write soil tests."""
    path = folder / "soil_tests.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return path


def report(
    plot_id: str, indices: tuple[float, float], ph: float, buffer: float, soil: str = "mineral"
) -> Row:
    """One report of the state laboratory: the indices of P and K, the pH and the buffer pH."""
    p, k = indices
    return {
        "test_id": f"N-{plot_id}",
        "plot_id": plot_id,
        "sampled_on": SAMPLED,
        "depth": "0-6 in",
        "ph": ph,
        "buffer_ph": buffer,
        "buffer_method": "NCDA",
        "texture": soil,
        "p": p,
        "p_unit": "P-I",
        "k": k,
        "k_unit": "K-I",
    }


def need(data: Any, plot_id: str, nutrient: str) -> dict[str, Any]:
    """Pick one need."""
    (plot,) = [one for one in data["plots"] if one["plot_id"] == plot_id]
    if nutrient == "lime":
        return dict(plot["lime"])
    (found,) = [one for one in plot["needs"] if one["nutrient"] == nutrient]
    return dict(found)


@pytest.fixture
def carolina(tmp_path: Path) -> Path:
    """Make a property with a deer plot, a mixture and a plot on organic soil."""
    path = tmp_path / "nc.gpkg"
    ran_well("new", path, "--name", "Sand Hills (invented)", "--season", SEASON)
    crops = {
        "P1": {"crop": "deer plot"},
        "P2": {"crop": "deer mix: clover + chicory"},
        "P3": {"crop": "Waterfowl"},
    }
    rows = [
        report("P1", (30, 55), 5.2, 6.3),
        report("P2", (50, 90), 5.6, 6.4),
        report("P3", (30, 20), 5.0, 6.2, "organic"),
    ]
    ran_well("import", path, plots(tmp_path, crops), reports(tmp_path, rows))
    ran_well("guideline", "use", path, "nc-wildlife-2014", "--lime", "ncda-lime")
    return path


def test_a_property_in_north_carolina_from_choice_to_plan(carolina: Path, tmp_path: Path) -> None:
    data = run("needs", carolina).data
    # P1, equation 14: 0.0116 x 30^2 - 2.75 x 30 + 150 = 77.94; 0.0116 x 55^2 - 2.75 x 55 + 150 = 33.84
    assert need(data, "P1", "P2O5")["lb_per_acre"] == pytest.approx(77.94)
    assert need(data, "P1", "K2O")["lb_per_acre"] == pytest.approx(33.84)
    nitrogen = need(data, "P1", "N")
    assert (nitrogen["state"], nitrogen["between_lb_per_acre"]) == ("to decide", [0.0, pytest.approx(60)])
    assert {need(data, "P1", n)["edition"] for n in ("N", "P2O5", "K2O")} == {"nc-wildlife-2014"}
    assert need(data, "P1", "P2O5")["edition_status"] == "default"
    # Lime: acidity (6.6 - 6.3) x 4 = 1.2; factor (6.0 - 5.2) / (6.6 - 5.2) = 0.5714; 0.6857 ton = 1,371 lb
    lime = need(data, "P1", "lime")
    assert (lime["basis"], lime["lb_per_acre"]) == ("product", pytest.approx(1371.43, abs=0.01))
    assert lime["edition"] == "ncda-lime"
    # P3 is organic: equation 18 for phosphate, 0.0120 x 900 - 90 + 120 = 40.8; potash by 14: 99.64
    assert need(data, "P3", "P2O5")["lb_per_acre"] == pytest.approx(40.8)
    assert need(data, "P3", "K2O")["lb_per_acre"] == pytest.approx(0.0116 * 400 - 55 + 150)
    # P2 asks which rule governs; index 90 is beyond the zero of equation 14 (85.1)
    assert run("needs", carolina).says("plot P2, crop", "a mixture of clover and chicory")
    mixture = ("--crop", "deer mix: clover + chicory", "--as", "Deer/Turkey")
    ran_well("guideline", "use", carolina, "nc-wildlife-2014", *mixture)
    data = run("needs", carolina).data
    assert need(data, "P2", "P2O5")["lb_per_acre"] == pytest.approx(41.5)
    assert (need(data, "P2", "K2O")["state"], need(data, "P2", "K2O")["lb_per_acre"]) == ("none", 0.0)

    # The range is one plot's to decide,
    (row,) = [row for row in run("decide", carolina).data["decisions"] if row["plot_id"] == "P1"]
    assert (row["open"], row["published_lb_per_acre"], row["between_lb_per_acre"][0]) == (True, None, 0.0)
    ran_well("decide", carolina, "P1", "N", "25 lb/acre", "--because", "clover in it")
    nitrogen = need(run("needs", carolina).data, "P1", "N")
    assert (nitrogen["state"], nitrogen["lb_per_acre"]) == ("needed", pytest.approx(25))
    # or decided by a standard rate of the user's, named as such.
    decided = ("--nutrient", "N", "--rate", "40 lb/acre", "--by", "A. Steward", "--why", "clover in the mix")
    ran_well("guideline", "rate", carolina, "--crop", "Deer/Turkey", *decided)
    nitrogen = need(run("needs", carolina).data, "P2", "N")
    assert (nitrogen["lb_per_acre"], nitrogen["edition_status"]) == (pytest.approx(40), "your standard rate")
    told = ran_well("explain", carolina, "P2", "N")["needs"][0]
    assert any(
        "set by A. Steward" in step["source"] and str(TODAY) in step["source"] for step in told["steps"]
    )

    offers = written(
        tmp_path / "products.csv",
        "product,form,n,p2o5,k2o,package,price,seller\n"
        "Urea 46-0-0,dry,46,0,0,50 lb bag,25.00,Feed store (invented)\n"
        "Triple 0-46-0,dry,0,46,0,50 lb bag,30.00,Feed store (invented)\n"
        "Potash 0-0-60,dry,0,0,60,50 lb bag,28.00,Feed store (invented)\n",
    )
    ran_well("import", carolina, offers)
    plan = run("plan", carolina).data
    assert {line["plot_id"] for line in plan["lines"]} == {"P1", "P2", "P3"}
    assert {row["nutrient"] for row in plan["coverage"] if row["supplied_lb"] > 0} == {"N", "P2O5", "K2O"}


def test_a_guideline_of_ones_own_is_made_filled_used_and_explained(carolina: Path, tmp_path: Path) -> None:
    guide = tmp_path / "my-guide"
    made = ran_well("guideline", "new", guide)["files"]
    assert [Path(file).name for file in made] == ["guideline.toml", "rates.csv"]
    empty = run("guideline", "check", guide)
    assert empty.code == 2
    assert empty.says("my-guide/rates.csv", "it has no usable rows")
    assert run("guideline", "new", guide).code == 2  # never written over

    (guide / "rates.csv").write_text(
        "crop,nutrient,Mehlich-3,rate,remark\n"
        "rape; turnips,N,,60 + 40,at seeding and after eight weeks\n"
        "rape; turnips,P2O5,0 to 25,80,\n"
        "rape; turnips,P2O5,26+,0,\n"
        "chicory,N,,30 to 50,\n",
        encoding="utf-8",
    )
    ran_well("guideline", "check", guide)
    crops = {"Q1": {"crop": "dwarf Essex"}, "Q2": {"crop": "chicory"}}
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own (invented)", "--season", SEASON)
    rows = [
        {
            "plot_id": plot_id,
            "sampled_on": SAMPLED,
            "depth": "0-6 in",
            "p": 20,
            "p_unit": "ppm",
            "p_extractant": "Mehlich-3",
        }
        for plot_id in crops
    ]
    ran_well("import", path, plots(tmp_path, crops), reports(tmp_path, rows))
    assert ran_well("guideline", "use", path, guide)["guideline"] == str(guide)
    data = run("needs", path).data
    nitrogen = need(data, "Q1", "N")
    assert (nitrogen["lb_per_acre"], nitrogen["edition_status"]) == (pytest.approx(100), "user")
    assert need(data, "Q1", "P2O5")["lb_per_acre"] == pytest.approx(80)  # 20 ppm: 0 to 25
    assert need(data, "Q2", "N")["between_lb_per_acre"] == [pytest.approx(30), pytest.approx(50)]
    steps = ran_well("explain", path, "Q1", "N")["needs"][0]["steps"]
    assert any("60 + 40" in step["what"] for step in steps)
    assert any(step["what"].startswith("Standing of") and step["value"] == "user" for step in steps)


def test_a_sheet_of_what_nothing_answers_is_filled_in_and_taken(carolina: Path, tmp_path: Path) -> None:
    (made,) = ran_well("guideline", "rate", carolina)["files"]
    sheet = Path(made)
    lines = list(csv.DictReader(sheet.read_text(encoding="utf-8").splitlines()))
    mixture = "deer mix: clover + chicory"
    asked = {(line["crop"], line["nutrient"]) for line in lines}
    assert {(mixture, "N"), (mixture, "P2O5"), (mixture, "K2O"), ("deer plot", "N")} <= asked
    filled = [
        line | {"rate": "40 kg/ha", "who": "A. Steward", "date": "2026-03-01", "why": "what we always did"}
        if (line["crop"], line["nutrient"]) == (mixture, "P2O5")
        else line
        for line in lines
    ]
    with sheet.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(lines[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(filled)
    assert ran_well("import", carolina, sheet)["taken"] == ["standard_rates.csv: 1 standard rate"]
    found = need(run("needs", carolina).data, "P2", "P2O5")
    # 40 kg/ha = 40 / 0.45359237 x 0.40468564224 = 35.69 lb/acre
    assert found["lb_per_acre"] == pytest.approx(40 / 0.45359237 * 0.40468564224)
    assert "what we always did" in found["reason"]
    (tmp_path / "standard_rates.csv").unlink()
    kept = run("needs", carolina)
    assert need(kept.data, "P2", "P2O5")["lb_per_acre"] == found["lb_per_acre"]
    assert kept.says("standard_rates.csv", "the copy kept in the property is used")
    other = need(run("needs", carolina).data, "P1", "P2O5")
    assert other["edition"] == "nc-wildlife-2014"


@pytest.mark.parametrize(
    ("words", "where", "offending"),
    [
        (("--nutrient", "P", "--rate", "60 lb/acre", "--by", "A", "--why", "b"), "--nutrient", "'P'"),
        (("--nutrient", "N", "--rate", "60", "--by", "A", "--why", "b"), "--rate", "'60'"),
        (("--nutrient", "N", "--rate", "60 lb/acre", "--why", "b"), "--by", "blank"),
        (("--nutrient", "N", "--rate", "60 lb/acre", "--by", "A"), "--why", "blank"),
        (("--nutrient", "N", "--rate", "-5 lb/acre", "--by", "A", "--why", "b"), "--rate", "'-5 lb/acre'"),
    ],
)
def test_a_standard_rate_that_lacks_something_is_refused(
    carolina: Path, words: tuple[str, ...], where: str, offending: str
) -> None:
    before = carolina.read_bytes()
    refused = run("guideline", "rate", carolina, "--crop", "rape", *words)
    assert refused.code == 2
    assert refused.says(where, offending)
    assert carolina.read_bytes() == before
    assert not (carolina.parent / "standard_rates.csv").exists()


def test_crops_are_listed_by_guideline_and_region_on_request() -> None:
    ladino = ran_well("guideline", "crops", "ladino")["crops"]
    assert {(row["edition"], row["crop"]) for row in ladino} == {
        ("removal-wider", "clovers"),
        ("removal-yearly", "clovers"),
    }
    carolina = ran_well("guideline", "crops", "--region", "north carolina")["crops"]
    assert [row["crop"] for row in carolina] == ["Deer/Turkey", "Upland Game", "Waterfowl"]
    assert carolina[0]["nutrients"] == ["N", "P2O5", "K2O", "Zn", "Mn"]
    mixed = ran_well("guideline", "crops", "deer mix: clover + chicory")
    assert mixed["parts"] == ["clover", "chicory"]
    assert ran_well("guideline", "crops", "birdsfoot trefoyl")["near"] == ["birdsfoot trefoil"]


def test_a_choice_that_cannot_be_used_changes_nothing(carolina: Path) -> None:
    before = carolina.read_bytes()
    for words, offending in (
        (("wisconsin",), "'wisconsin'"),
        (("nc-wildlife-2014", "--crop", "rape", "--as", "Elk"), "'Elk'"),
        (("--lime", "nc-wildlife-2014"), "no lime rule"),
        (("--depth", "quarter"), "'quarter'"),
        (("--crop", "rape"), "no edition is named"),
    ):
        refused = run("guideline", "use", carolina, *words)
        assert (refused.code, refused.says(offending)) == (2, True), words
        assert carolina.read_bytes() == before


def test_lime_for_a_shallow_sample_waits_for_a_rule_and_is_divided_over_seasons(tmp_path: Path) -> None:
    """Minnesota, Area 1, buffer 6.0: 5,000 lb ENP; a 0-4 inch sample halves it (E-2567): 2,500 lb.

    Missouri's rule takes 2 tons of product at once, two to three years apart. A lime of 1,000 lb ENP per ton
    brings 2,000 lb ENP in 2 tons: 2,000 lb now, and the other 500 lb two seasons later.
    """
    path = tmp_path / "lime.gpkg"
    settings = written(
        tmp_path / "property.json",
        f'{{"name": "Lime (invented)", "season": {SEASON}, "settings": '
        '{"lime_region": "Area 1", "lime_dose_limit": "missouri-surface"}}',
    )
    ran_well("new", path, "--name", "Lime (invented)", "--season", SEASON, "--settings", settings)
    square = geojson(
        tmp_path / "plots.geojson", ({"plot_id": "A", "name": "A", "crop": "red clover"}, [box()])
    )
    rows = [
        {
            "plot_id": "A",
            "sampled_on": SAMPLED,
            "depth": "0-4 in",
            "ph": 5.2,
            "buffer_ph": 6.0,
            "buffer_method": "Sikora",
        }
    ]
    lime = written(
        tmp_path / "products.csv",
        "product,form,enp,package,price,seller\nAg lime,lime,1000,1 ton bulk,40.00,Quarry (invented)\n",
    )
    ran_well("import", path, square, reports(tmp_path, rows), lime)
    asks = need(run("needs", path).data, "A", "lime")
    assert (asks["state"], asks["between_lb_per_acre"]) == (
        "to decide",
        [pytest.approx(2500), pytest.approx(5000)],
    )
    ran_well("decide", path, "A", "lime", "published", "--because", "worked in deep")
    assert need(run("needs", path).data, "A", "lime")["lb_per_acre"] == pytest.approx(5000)
    ran_well("undo", path)
    ran_well("guideline", "use", path, "--depth", "half")
    assert need(run("needs", path).data, "A", "lime")["lb_per_acre"] == pytest.approx(2500)
    doses = run("status", path).data["lime_doses"]
    assert [(dose["season"], dose["rate_lb_per_acre"]) for dose in doses] == [
        (SEASON, pytest.approx(2000)),
        (SEASON + 2, pytest.approx(500)),
    ]
    assert {dose["rule"] for dose in doses} == {"Missouri"}


def test_one_figure_of_acidity_in_status_and_caution(tmp_path: Path) -> None:
    """200 lb urea (92 lb N) uses up 162 lb of pure lime (Alabama: 81 lb per 100 lb), at most 328.7."""
    path = tmp_path / "acid.gpkg"
    ran_well("new", path, "--name", "Acid (invented)", "--season", SEASON)
    square = geojson(tmp_path / "plots.geojson", ({"plot_id": "A", "name": "A", "crop": "oats"}, [box()]))
    rows = [{"plot_id": "A", "sampled_on": SAMPLED, "depth": "0-6 in", "ph": 6.2}]
    urea = written(
        tmp_path / "products.csv",
        "product,form,n,package,price,seller\nUrea 46-0-0,dry,46,50 lb bag,25.00,Store\n",
    )
    ran_well("import", path, square, reports(tmp_path, rows), urea)
    run("record", path, "--plot", "A", "--product", "Urea 46-0-0", "--amount", "200 lb")
    acid = run("status", path).data["acidity"]["A"]
    assert acid["caco3_lb_published"] == pytest.approx(162)
    assert acid["caco3_lb_ceiling"] == pytest.approx(328.7, abs=0.1)
    cautions = ran_well("explain", path, "A")["cautions"]
    (said,) = [one["text"] for one in cautions if one["rule"] == "C-50"]
    assert "lime worth 162.0 lb by published figures, 328.7 lb at most" in said
