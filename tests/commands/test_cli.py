"""The command line: what each command prints for programs and for people, and how it ends.

Shapes and units of ``--json`` are contracts that other programs lean on; the figures in them are held
against arithmetic written beside each check.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main
from command_line import SEASON, WHOLE_LIME, box, geojson, ran_well, run, worked_files, written
from places import independent_area_m2

from loamwright.commands.cli import app

ROOT = Path(__file__).parents[2]
#: International acre, pound and foot: NIST Special Publication 811 (2008), Appendix B, exact.
ACRE_M2, LB_KG = 4046.8564224, 0.45359237


def commands(group: Any = None, before: str = "") -> Iterator[tuple[str, Any]]:
    """Every command of the program by its full name."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, f"{before}{name} ")
        else:
            yield before + name, command


COMMANDS = dict(commands())


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A planned property of two plots; tests that change it work on a copy."""
    folder = tmp_path_factory.mktemp("worked")
    path = folder / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(folder))
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("plan", path)
    return path


@pytest.fixture
def copy(worked: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(worked, tmp_path / "own.gpkg"))


# ---------------------------------------------------------------------------------------------
# Every command


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_json_and_help(name: str) -> None:
    flags = {flag for parameter in COMMANDS[name].params for flag in parameter.opts}
    assert "--json" in flags
    said = run(*name.split(), "--help", as_json=False)
    assert said.code == 0
    assert COMMANDS[name].help.split(".")[0].split("\n")[0][:40] in said.text


def test_the_readme_shows_every_command() -> None:
    """By its full name, or in the row of its group: ``loamwright buy …`` (`seed`, …)."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()

    def shown(name: str) -> bool:
        group, _, own = name.rpartition(" ")
        return any(
            re.search(rf"\bloamwright {name}\b", line)
            or (group and f"loamwright {group}" in line and f"`{own}`" in line)
            for line in lines
        )

    assert [name for name in COMMANDS if not shown(name)] == []


def test_without_a_command_the_help_is_shown() -> None:
    assert "measure" in run(as_json=False).text


# ---------------------------------------------------------------------------------------------
# measure


def test_measure_says_areas_in_square_metres_and_acres(tmp_path: Path) -> None:
    """Against GeographicLib; the second plot has a hole a fifth as wide."""
    outer, inner = box(), box(-93.0496, 46.0504, 0.0002)
    file = geojson(tmp_path / "p.geojson", ({"plot_id": "A-1", "name": "Alder"}, [outer, inner[::-1]]))
    said = ran_well("measure", file)
    assert said.keys() >= {"plots", "total_area_m2", "problems"}
    (plot,) = said["plots"]
    keys = {"plot_id", "name", "area_m2", "area_acres", "spread_area_m2", "perimeter_m", "problems"}
    assert plot.keys() >= keys
    area_m2 = independent_area_m2(outer[:-1]) - independent_area_m2(inner[:-1])
    assert plot["area_m2"] == pytest.approx(area_m2, abs=1e-3)
    assert plot["area_acres"] == pytest.approx(area_m2 / ACRE_M2, rel=1e-9)
    assert plot["spread_area_m2"] == pytest.approx(area_m2, abs=1e-3)
    assert (plot["plot_id"], plot["name"], plot["problems"]) == ("A-1", "Alder", [])
    assert said["total_area_m2"] == pytest.approx(area_m2, abs=1e-3)


def test_measure_gives_a_problem_to_the_plots_it_is_about(tmp_path: Path) -> None:
    file = geojson(
        tmp_path / "p.geojson",
        ({"plot_id": "A-1"}, [box()]),
        ({"plot_id": "A-2"}, [box(-93.0495)]),
        ({"plot_id": "A-22"}, [box(-93.03)]),
    )
    done = run("measure", file)
    assert done.code == 1
    about = {plot["plot_id"]: [p["what"] for p in plot["problems"]] for plot in done.data["plots"]}
    assert about["A-1"] == about["A-2"]
    assert "overlap" in about["A-1"][0]
    assert about["A-22"] == []


# ---------------------------------------------------------------------------------------------
# compare

#: product, package pounds, pounds of each nutrient, dollars per pound of each, by hand:
#: 50 × 0.46 = 23, 28.50 / 23 = 1.23913; 50 × 0.11 = 5.5, 34 / 5.5 = 6.18182; 50 × 0.52 = 26,
#: 34 / 26 = 1.30769; 2.5 gal × 9 lb/gal × 0.325 × 0.46 = 3.36375, 18 / 3.36375 = 5.35117;
#: 275 × 10.67 = 2934.25, × 0.28 = 821.59, 1080 / 821.59 = 1.314524.
COMPARED = [
    ("Urea 46-0-0", 50.0, {"N": 23.0}, {"N": 1.2391304}),
    ("MAP 11-52-0", 50.0, {"N": 5.5, "P2O5": 26.0}, {"N": 6.1818182, "P2O5": 1.3076923}),
    ("Urea solution", 22.5, {"N": 3.36375}, {"N": 5.3511706}),
    ("UAN 28-0-0", 2934.25, {"N": 821.59}, {"N": 1.3145243}),
]


@pytest.fixture(scope="module")
def offers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    file = tmp_path_factory.mktemp("offers") / "products.csv"
    file.write_text(
        "product,form,n,p2o5,k2o,ingredient,ingredient_pct,density,enp,package,price,seller\n"
        "Urea 46-0-0,dry,46,0,0,,,,,50 lb bag,28.50,Store\n"
        "MAP 11-52-0,dry,11,52,0,,,,,50 lb bag,34.00,Store\n"
        "Urea solution,liquid,,,,urea,32.5,9 lb/gal,,2.5 gal jug,18.00,Store\n"
        "UAN 28-0-0,liquid,28,0,0,,,10.67 lb/gal,,275 gal tote,1080.00,Co-op\n"
        "Ag lime,lime,,,,,,,1100,1 ton bulk,42.00,Quarry\n"
    )
    return {offer["product"]: offer for offer in ran_well("compare", file)["offers"]}


@pytest.mark.parametrize(("product", "package_lb", "nutrients_lb", "price_per_lb"), COMPARED)
def test_compare_says_pounds_and_dollars_a_pound(
    offers: dict[str, Any],
    product: str,
    package_lb: float,
    nutrients_lb: dict[str, float],
    price_per_lb: dict[str, float],
) -> None:
    offer = offers[product]
    assert offer["package_lb"] == pytest.approx(package_lb)
    assert {n: lb for n, lb in offer["nutrients_lb"].items() if lb} == pytest.approx(nutrients_lb)
    assert offer["price_per_lb"] == pytest.approx(price_per_lb)
    assert (offer["effective_lime_lb"], offer["price_per_effective_ton"]) == (None, None)
    assert all(step.keys() == {"what", "value", "unit", "source"} for step in offer["steps"])


def test_compare_says_effective_lime_and_its_price(offers: dict[str, Any]) -> None:
    """1,100 lb ENP in a ton at 42 dollars: 42 / 1100 × 2000 = 76.3636 dollars per ton of ENP."""
    lime = offers["Ag lime"]
    assert lime.keys() >= {
        *("product", "package", "price", "nutrients_lb", "price_per_lb"),
        *("effective_lime_lb", "price_per_effective_ton", "steps"),
    }
    assert (lime["product"], lime["package"], lime["price"]) == ("Ag lime", "1 ton bulk", 42.0)
    assert lime["effective_lime_lb"] == pytest.approx(1100)
    assert lime["effective_lime_basis"] == "ENP"
    assert lime["price_per_effective_ton"] == pytest.approx(76.363636)
    assert lime["price_per_lb"] == {}


def test_compare_reads_a_property_as_well(worked: Path) -> None:
    said = ran_well("compare", worked)
    assert {offer["product"] for offer in said["offers"]} == {"MAP 11-52-0", "Potash 0-0-60", "Ag lime"}


def test_compare_shows_people_the_same_prices_and_on_request_the_steps(worked: Path) -> None:
    """MAP at 34 dollars: 1.31 dollars a pound of P2O5; 34 / (26 × 0.45359237) = 2.88 a kilogram."""
    short = run("compare", worked, as_json=False).text
    assert "$1.31" in short
    assert "50 lb × 52 % P2O5" not in short
    assert "50 lb × 52 % P2O5" in run("compare", worked, "--steps", as_json=False).text
    assert "$2.88" in run("compare", worked, "--units", "metric", as_json=False).text


def test_compare_follows_the_units_and_the_money_of_a_property(tmp_path: Path) -> None:
    """A bag of 25 kg with 27 % N at 14.50 francs: 14.50 / 6.75 = 2.15 a kilogram of N."""
    path = tmp_path / "hof.gpkg"
    ran_well("new", path, "--name", "Hof", "--units", "metric")
    ran_well("set", path, "settings", "currency=CHF")
    listed = written(
        tmp_path / "preise.csv", "product;form;n;package;price;seller\nSalpeter;dry;27;25 kg bag;14,50;Land\n"
    )
    run("import", path, listed)
    told = run("compare", path, as_json=False).text
    assert "Price per kg of each nutrient" in told
    assert "CHF 2.15" in told


# ---------------------------------------------------------------------------------------------
# needs, plan, status: the figures of the worked property

#: Plot A-1: University of Minnesota Extension, "Fertilizing red clover, alsike clover and birdsfoot
#: trefoil", phosphate and potash tables at 2 ton/acre: Bray P1 6-10 ppm 25, K 81-120 ppm 40 lb/acre;
#: lime below pH 6.0: 3,000 lb ENP/acre. No nitrogen. A-2 was not sampled.
A1 = independent_area_m2(box()[:-1]) / ACRE_M2


def test_needs_has_a_state_and_amounts_for_every_nutrient(worked: Path) -> None:
    said = ran_well("needs", worked)
    assert [plot["plot_id"] for plot in said["plots"]] == ["A-1", "A-2"]
    plots = {plot["plot_id"]: {n["nutrient"]: n for n in plot["needs"]} for plot in said["plots"]}
    for nutrient, rate in (("P2O5", 25), ("K2O", 40)):
        need = plots["A-1"][nutrient]
        assert need.keys() >= {"state", "lb_per_acre", "lb", "steps"}
        assert need["state"] == "needed"
        assert need["lb_per_acre"] == pytest.approx(rate)
        assert need["lb"] == pytest.approx(rate * A1)
        assert need["steps"]
        other = plots["A-2"][nutrient]
        assert (other["state"], other["lb_per_acre"], other["lb"]) == ("unknown", None, None)
        assert "not tested" in other["reason"]
    assert (plots["A-1"]["N"]["state"], plots["A-1"]["N"]["lb"]) == ("none", 0.0)
    lime = said["plots"][0]["lime"]
    assert lime.keys() >= {"state", "lb_per_acre", "lb", "steps"}
    assert (lime["state"], lime["basis"]) == ("needed", "ENP")
    assert lime["lb_per_acre"] == pytest.approx(3000)
    assert lime["lb"] == pytest.approx(3000 * A1)


def test_plan_has_cost_lines_buy_and_coverage(copy: Path) -> None:
    """P2O5: 25 × 2.126 acre / 0.52 = 102.2 lb MAP; 2 bags of 50 lb are 97.8 % of it, inside the band of 95
    to 110 %: 2 at 34 = 68 dollars. K2O: 40 × 2.126 / 0.60 = 141.7 lb potash; 3 bags are 105.8 %, 1 of them in
    stock: 2 at 21 = 42 dollars. Lime: 95 % of 3,000 × 2.126 / 1,100 = 5.51 tons, in half-ton steps at 42.
    """
    said = ran_well("plan", copy)
    assert said.keys() >= {"outcome", "gap", "cost", "lines", "buy", "coverage", "cautions", "problems"}
    assert said["outcome"] == "proved cheapest"
    assert 0 <= said["gap"] <= 0.001
    map_lb, potash_lb = 100.0, 150.0
    assert 0.95 < map_lb * 0.52 / (25 * A1) < 1.1
    assert 0.95 < potash_lb * 0.60 / (40 * A1) < 1.1
    half_tons = -(-0.95 * 3000 * A1 / 1100 // 0.5)
    lime_cost = half_tons / 2 * 42
    assert said["cost"] == {
        "purchase": 68 + 42 + lime_cost,
        "delivery": 0.0,
        "spreading": 0.0,
        "filling": 0.0,
        "handling": 0.0,
        "hours": said["cost"]["hours"],
        "total": 68 + 42 + lime_cost,
    }
    assert said["currency"] == "USD"
    assert said["totals"] == {"decided": said["cost"]["total"], "with_open": said["cost"]["total"]}
    for job in said["jobs"]:
        assert job.keys() >= {
            *("job_id", "plot_id", "part", "products", "rate_lb_per_acre", "spreader", "window", "placement"),
            *("reason", "fills", "hours", "cost"),
        }
        assert all(p.keys() >= {"product", "mass_lb", "packages", "package"} for p in job["products"])
        assert job["window"] is None or job["window"].keys() == {"from", "to", "label"}
        assert job["window"] or job["reason"]
    for line in said["lines"]:
        assert line.keys() >= {"job_id", "spreader", "window", "placement", "part"}
    bought = {(p["product"], p["package"]): p for p in said["buy"]}
    assert all(p.keys() >= {"product", "package", "count", "unit_price", "cost"} for p in said["buy"])
    assert {key: (p["count"], p["unit_price"], p["cost"], p["from_stock"]) for key, p in bought.items()} == {
        ("MAP 11-52-0", "50 lb bag"): (2, 34.0, 68.0, 0),
        ("Potash 0-0-60", "50 lb bag"): (2, 21.0, 42.0, 1),
        ("Ag lime", "1 ton bulk"): (pytest.approx(half_tons / 2), 42.0, lime_cost, 0),
    }
    lines = {line["product"]: line for line in said["lines"]}
    keys = {"plot_id", "product", "rate_lb_per_acre", "mass_lb", "timing"}
    assert all(line.keys() >= keys and line["plot_id"] == "A-1" for line in said["lines"])
    assert lines["MAP 11-52-0"]["mass_lb"] == pytest.approx(map_lb, rel=1e-6)
    assert lines["MAP 11-52-0"]["rate_lb_per_acre"] == pytest.approx(map_lb / A1, rel=1e-6)
    assert lines["Potash 0-0-60"]["mass_lb"] == pytest.approx(potash_lb, rel=1e-6)
    coverage = {row["nutrient"]: row for row in said["coverage"]}
    assert all(row.keys() >= {"plot_id", "nutrient", "need_lb", "supplied_lb"} for row in said["coverage"])
    assert coverage["P2O5"]["need_lb"] == pytest.approx(25 * A1)
    assert coverage["P2O5"]["supplied_lb"] == pytest.approx(map_lb * 0.52, rel=1e-6)


def test_a_small_budget_covers_part_and_says_so(copy: Path) -> None:
    """60 dollars do not buy the 3 bags of phosphate and the lime."""
    done = run("plan", copy, "--budget", "$60")
    assert done.data["cost"]["total"] <= 60
    assert any(row["supplied_lb"] < row["need_lb"] * 0.999 for row in done.data["coverage"])
    assert done.data["explanation"]


def test_explain_tells_one_nutrient_or_all(worked: Path) -> None:
    one = ran_well("explain", worked, "A-1", "p2o5")
    assert [need["nutrient"] for need in one["needs"]] == ["P2O5"]
    assert one["lime"] is None
    assert [line["product"] for line in one["lines"]] == ["MAP 11-52-0"]
    everything = ran_well("explain", worked, "A-1")
    assert {need["nutrient"] for need in everything["needs"]} >= {"N", "P2O5", "K2O"}
    assert everything["lime"]["state"] == "needed"
    assert everything["area"]["area_acres"] == pytest.approx(A1)
    lime = ran_well("explain", worked, "A-1", "lime")
    assert (lime["needs"], [line["product"] for line in lime["lines"]]) == ([], ["Ag lime"])


def test_status_before_anything_is_done(worked: Path) -> None:
    said = ran_well("status", worked)
    assert {line["state"] for line in said["lines"]} == {"nothing yet"}
    keys = {
        "plot_id",
        "product",
        "timing",
        "line_id",
        "planned_lb",
        "applied_lb",
        "state",
        "reasons",
        "taken_off",
    }
    assert all(line.keys() == keys for line in said["lines"])
    owed = {row["nutrient"]: row for row in said["balance"] if row["plot_id"] == "A-1"}
    assert owed["P2O5"]["left_lb"] == owed["P2O5"]["need_lb"] == pytest.approx(25 * A1)
    unknown = {row["nutrient"]: row for row in said["balance"] if row["plot_id"] == "A-2"}
    assert (unknown["P2O5"]["need_lb"], unknown["P2O5"]["left_lb"]) == (None, None)


def test_sample_says_what_is_due_and_writes_places(worked: Path, tmp_path: Path) -> None:
    said = ran_well("sample", worked, tmp_path)
    plots = {plot["plot_id"]: plot for plot in said["plots"]}
    assert (plots["A-1"]["due"], plots["A-2"]["due"]) == (False, True)
    assert len(plots["A-2"]["points"]) == plots["A-2"]["cores"]
    assert {Path(file).suffix for file in said["files"]} == {".pdf", ".gpx"}
    assert all(Path(file).stat().st_size for file in said["files"])


def test_sample_writes_an_order_to_a_laboratory(worked: Path, tmp_path: Path) -> None:
    order = ("--lab", "Any Laboratory (invented)", "--taken", "2026-04-12", "--depth", "0-6 in")
    said = run("sample", worked, tmp_path, *order)
    assert said.code in (0, 1)
    assert str(tmp_path / "lab_order.xml") in said.data["files"]
    assert "<DepthUnit>in</DepthUnit>" in (tmp_path / "lab_order.xml").read_text(encoding="utf-8")
    assert run("sample", worked, tmp_path, *order[:4]).says("--lab", "needs a folder, the day and the depth")


def test_history_has_the_tests_of_each_plot(worked: Path) -> None:
    said = ran_well("history", worked)
    assert [plot["plot_id"] for plot in said["plots"]] == ["A-1", "A-2"]
    assert ran_well("history", worked, "A-1")["plots"] == said["plots"][:1]


def test_calibrate_logs_a_catch_and_says_the_rate(copy: Path) -> None:
    """0.11 lb on 21.8 ft2 is 0.11 × 43560 / 21.8 = 219.8 lb/acre: 246.36 kg/ha."""
    arguments = ("--spreader", "ATV spreader", "--product", "MAP 11-52-0", "--setting", "3")
    test = (*arguments, "--caught", "0.11 lb", "--catch-area", "21.8 ft2", "--swath", "20 ft")
    said = ran_well("calibrate", copy, *test)["calibration"]
    assert said["rate_kg_ha"] == pytest.approx(0.11 * LB_KG / (21.8 * 0.3048**2) * 10_000)
    assert "220 lb/acre" in run("calibrate", copy, *test, as_json=False).text


def test_calibrate_takes_a_liquid_by_volume_and_says_the_catch_as_typed(copy: Path) -> None:
    """A pint of 10.67 lb/gal weighs 10.67 / 8 = 1.33375 lb; on 1/128 acre that is 170.72 lb/acre."""
    ran_well("add", copy, "product", "UAN", "form=liquid", "n=28", "density=10.67 lb/gal")
    place = ("--setting", "3", "--catch-area", "340.3125 ft2", "--spreader", "ATV spreader")
    for caught in ("16 fl oz", "1 pt", "0.125 gal"):
        said = ran_well("calibrate", copy, *place, "--product", "UAN", "--caught", caught)["calibration"]
        assert said["caught_lb"] == pytest.approx(10.67 / 8)
        assert said["rate_lb_per_acre"] == pytest.approx(10.67 / 8 * 128)
    exact = run("calibrate", copy, *place, "--product", "UAN", "--caught", "0.11234567 lb", as_json=False)
    assert "0.11234567 lb caught" in exact.text
    dry = run("calibrate", copy, *place, "--product", "MAP 11-52-0", "--caught", "1 pt")
    assert dry.code == 2
    assert dry.says("--caught", "1 pt", "density")
    wrong = run("calibrate", copy, *place, "--product", "MAPP", "--caught", "1 pt")
    assert [problem["where"] for problem in wrong.data["problems"]] == ["--product"]


def test_guideline_list_and_check(tmp_path: Path) -> None:
    editions = ran_well("guideline", "list")["editions"]
    assert "umn-forage-2011" in {edition["guideline_id"] for edition in editions}
    done = run("guideline", "check", tmp_path)
    assert done.code == 2
    assert done.says("guideline.toml")
    built_in = ROOT / "src" / "loamwright" / "data" / "guidelines" / "umn-forage-2011"
    assert ran_well("guideline", "check", built_in) == {"problems": [], "questions": []}


# ---------------------------------------------------------------------------------------------
# What people read


@pytest.mark.parametrize("command", ["needs", "status", "sample", "history", "compare"])
def test_reading_a_property_changes_nothing(worked: Path, command: str) -> None:
    before = worked.read_bytes()
    for as_json in (True, False):
        assert run(command, worked, as_json=as_json).code == 0
    assert worked.read_bytes() == before


def test_units_are_the_propertys_unless_asked_otherwise(worked: Path, copy: Path) -> None:
    """25 lb/acre is 28.0 kg/ha; 2.126 acres are 0.860 ha. JSON keeps its units."""
    us, metric = (
        run("needs", worked, as_json=False).text,
        run("needs", worked, "--units", "metric", as_json=False).text,
    )
    assert "25 lb/acre" in us
    assert f"{A1:.2f} acres" in us
    assert "kg/ha" not in us
    assert "28.0 kg/ha" in metric
    assert f"{A1 * ACRE_M2 / 10_000:.3f} ha" in metric
    assert "lb/acre" not in metric
    assert run("needs", worked, "--units", "metric").data == run("needs", worked).data
    for command in (["plan", copy], ["status", copy], ["explain", copy, "A-1"]):
        text = run(*command, "--units", "metric", as_json=False).text
        assert "kg" in text


def test_a_metric_property_is_metric_without_asking(tmp_path: Path) -> None:
    path = tmp_path / "metric.gpkg"
    ran_well("new", path, "--name", "Metric", "--season", SEASON, "--units", "metric")
    ran_well("import", path, *worked_files(tmp_path))
    assert "28.0 kg/ha" in run("needs", path, as_json=False).text
    assert "25 lb/acre" in run("needs", path, "--units", "us", as_json=False).text


def test_what_is_unknown_is_listed_with_its_reason(worked: Path) -> None:
    text = run("needs", worked, as_json=False).text
    assert re.search(r"A-2 – P2O5: Phosphorus was not tested", text)
    assert re.search(r"A-2 – lime: Soil pH was not tested", text)


def test_names_are_shown_as_they_are(tmp_path: Path) -> None:
    """Brackets mean nothing to a reader, though the terminal library would take them for markup."""
    file = geojson(tmp_path / "p.geojson", ({"plot_id": "[bold]", "name": "[/] <script> [red]x"}, [box()]))
    text = run("measure", file, as_json=False).text
    assert "[bold]" in text
    assert "[/] <script> [red]x" in text


# ---------------------------------------------------------------------------------------------
# Exit codes


def test_done_is_zero_and_warnings_are_one(tmp_path: Path) -> None:
    file = geojson(
        tmp_path / "p.geojson", ({"plot_id": "A-1"}, [box()]), ({"plot_id": "A-2"}, [box(-93.0495)])
    )
    assert run("measure", geojson(tmp_path / "one.geojson", ({"plot_id": "A-1"}, [box()]))).code == 0
    assert run("measure", file).code == 1


@pytest.mark.parametrize("as_json", [True, False])
def test_input_problems_are_two_and_said_on_the_right_stream(tmp_path: Path, as_json: bool) -> None:
    done = run("status", tmp_path / "missing.gpkg", as_json=as_json)
    assert done.code == 2
    assert "missing.gpkg" in done.text
    assert "loamwright new" in done.text


def test_a_plan_leads_with_what_to_buy_and_do_in_eighty_columns(copy: Path) -> None:
    def said(*options: str) -> str:
        command = [sys.executable, "-m", "loamwright", "plan", str(copy), *options]
        narrow = {**os.environ, "COLUMNS": "80"}
        return subprocess.run(command, capture_output=True, text=True, check=True, env=narrow).stdout

    short = said()
    at = [short.index(word) for word in ("Plan: ", "To buy", "To do ", "Left to decide", "How sure")]
    assert at == sorted(at)
    assert max(len(line) for line in short.splitlines()) <= 80
    # what a page says of the time of year is said once, over the trips it holds for; no trip is lost
    words = " ".join(short.split())
    assert words.count("every year, any time of the season, top-dressed:") == 1
    to_do = words[words.index("To do ") : words.index("Left to decide")]
    assert f" {to_do.count('/acre ')} trips over the plots" in words
    assert "What goes where" not in short
    assert "What goes where" in said("--tables")


def test_no_plan_is_three_with_a_sentence_a_need(tmp_path: Path) -> None:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    plots, tests, _products = worked_files(tmp_path)
    ran_well("import", path, plots, tests)
    done = run("plan", path)
    assert done.code == 3
    assert (done.data["outcome"], done.data["gap"], done.data["buy"]) == ("impossible", None, [])
    for supply in ("P2O5", "K2O", "lime ENP"):
        assert [s for s in done.data["explanation"] if "A-1" in s and supply in s and "Add an offer" in s]
    people = run("plan", path, as_json=False)
    assert people.code == 3
    assert "nothing on offer supplies P2O5" in people.text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["explain", "PROPERTY", "A-9"], ["'A-9'", "A-1, A-2"]),
        (["explain", "PROPERTY", "A-1", "Q"], ["'Q'", "P2O5"]),
        (["history", "PROPERTY", "A-9"], ["'A-9'"]),
        (["map", "PROPERTY", "m.html", "--round", "R9"], ["'R9'", "--round"]),
        (["map", "PROPERTY", "m.html", "--basemap", "moon"], ["'moon'", "aerial"]),
        (["orders", "PROPERTY", "out", "--paper", "foolscap"], ["'foolscap'", "a4"]),
        (["orders", "PROPERTY", "out", "--round", "R9"], ["'R9'"]),
        (["export", "PROPERTY", "moon", "out"], ["'moon'", "geojson"]),
        (["plan", "PROPERTY", "--budget", "lots"], ["--budget", "'lots'"]),
        (["plan", "PROPERTY", "--budget", "-5"], ["--budget", "-5"]),
        (["plan", "PROPERTY", "--gap", "-1"], ["--gap", "-1"]),
        (["plan", "PROPERTY", "--gap", "nan"], ["--gap", "nan"]),
        (["plan", "PROPERTY", "--time-limit", "-3"], ["--time-limit", "-3"]),
        (["why", "PROPERTY", "--time-limit", "0"], ["--time-limit", "0 is not"]),
        (["habits", "PROPERTY", "--flat-rate", "much"], ["--flat-rate", "'much'"]),
        (["blend", "PROPERTY", "Potash 0-0-60", "MAP 11-52-0", "--fee", "-1"], ["--fee", "'-1'"]),
        (["blend", "PROPERTY", "Potash 0-0-60", "MAP 11-52-0", "--min-order", "x"], ["--min-order", "'x'"]),
        (["project", "PROPERTY", "A-1", "P2O5", "--removed", "some"], ["--removed", "'some'"]),
        (["import", "PROPERTY", "x.csv", "--as", "poems"], ["'poems'", "soil tests"]),
        (["record", "PROPERTY"], ["--plot"]),
        (["measure", "x.geojson", "--gps-sigma", "far"], ["--gps-sigma", "'far'"]),
    ],
)
def test_an_option_that_is_not_understood_changes_nothing(
    copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], words: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    before = copy.read_bytes()
    done = run(*(copy if word == "PROPERTY" else word for word in arguments))
    assert done.code == 2
    assert done.says(*words), done.text
    assert copy.read_bytes() == before
    assert [path.name for path in tmp_path.rglob("*")] == ["own.gpkg"]


@pytest.mark.parametrize("where", ["a file", "a file/below"])
@pytest.mark.parametrize("command", ["sample", "orders", "report", "export"])
def test_where_no_folder_can_be_nothing_is_written(
    worked: Path, tmp_path: Path, command: str, where: str
) -> None:
    (tmp_path / "a file").write_text("mine")
    kind = ["geojson"] if command == "export" else []
    done = run(command, worked, *kind, tmp_path / where)
    assert done.code == 2
    assert done.says(str(tmp_path / where))
    assert [path.read_text() for path in tmp_path.rglob("*")] == ["mine"]


def test_a_map_takes_no_folders_place(worked: Path, tmp_path: Path) -> None:
    done = run("map", worked, tmp_path)
    assert done.code == 2
    assert done.says(str(tmp_path))
    assert not list(tmp_path.parent.glob("*.part"))
    (tmp_path / "a file").write_text("mine")
    assert run("map", worked, tmp_path / "a file" / "below.html").code == 2


def test_nothing_is_written_over_a_property(copy: Path) -> None:
    """The export named season.gpkg, beside a property of that name; a map given the property's name."""
    property_path = copy.rename(copy.with_name("season.gpkg"))
    before = property_path.read_bytes()
    for arguments in (
        ("export", property_path, "geopackage", property_path.parent),
        ("map", property_path, property_path),
    ):
        done = run(*arguments)
        assert done.code == 2
        assert done.says(f"{property_path}: it is a property file")
        assert property_path.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "words"), [(None, "there is no file"), ("", "0 bytes"), ("a,b", "not a property file")]
)
def test_a_fault_of_the_property_file_names_the_file(tmp_path: Path, content: str | None, words: str) -> None:
    path = tmp_path / "lost.gpkg"
    if content is not None:
        path.write_text(content)
    (problem,) = run("status", path).data["problems"]
    assert problem["where"] == str(path)
    assert words in problem["what"]
    assert problem["fix"]


def test_a_correction_stays_with_the_job_it_corrects(copy: Path) -> None:
    """Checked off on the map for its line, after harvest; corrected by hand, which says neither."""
    (line,) = [line for line in ran_well("status", copy)["lines"] if line["product"] == "MAP 11-52-0"]
    first = {
        "entry_id": "E-1",
        "plot_id": "A-1",
        "product": "MAP 11-52-0",
        "done": "done",
        "applied_on": f"{SEASON}-05-02",
        "mass_kg": 100 * LB_KG,
        "timing": "after harvest",
        "line_id": line["line_id"],
    }
    records = copy.with_name("records.json")
    records.write_text(json.dumps({"format": "loamwright-records", "version": 1, "entries": [first]}))
    ran_well("record", copy, records)
    typed = ("--plot", "A-1", "--amount", "90 lb", "--on", f"{SEASON}-05-02", "--corrects")
    (entry,) = ran_well("record", copy, *typed, "E-1", "--product", "MAP 11-52-0")["new"]
    assert (entry["timing"], entry["line_id"], entry["replaces"]) == ("after harvest", line["line_id"], "E-1")
    other = run("record", copy, *typed, entry["entry_id"], "--product", "Potash 0-0-60").data["new"][0]
    assert (other["timing"], other["line_id"]) == ("after harvest", "")  # another product, not that line


def test_a_mistyped_option_is_refused_by_name(worked: Path) -> None:
    done = run("needs", worked, "--jsno", as_json=False)
    assert done.code == 2
    assert "--jsno" in done.text


# ---------------------------------------------------------------------------------------------
# The demo


def test_the_demo_is_made_anew_but_no_other_property_is_replaced(tmp_path: Path, copy: Path) -> None:
    other = tmp_path / "mine"
    other.mkdir()
    shutil.copy(copy, other / "alder_fork.gpkg")
    before = (other / "alder_fork.gpkg").read_bytes()
    done = run("demo", other)
    assert done.code == 2
    assert done.says("alder_fork.gpkg", "another property")
    assert (other / "alder_fork.gpkg").read_bytes() == before
    file = tmp_path / "a file"
    file.write_text("mine")
    refused = run("demo", file)
    assert refused.code == 2
    assert refused.says("a file")


def test_the_demo_tells_a_landowner_what_it_costs_and_what_is_missing(tmp_path: Path) -> None:
    done = run("demo", tmp_path, as_json=False)
    assert done.code == 0
    assert re.search(r"19 plots, [\d.]+ acres", done.text)
    assert re.search(r"costs \$[\d,]+\.\d\d: .* packages", done.text)
    assert re.search(r"AF-13 – N, P2O5, K2O: .*winter rye", done.text)
    assert "AF-16 – P2O5: Phosphorus was not tested" in done.text
    assert "Invented property" in done.text
    named = [Path(word) for word in re.findall(r"wrote (\S+)", done.text)]
    assert {path.suffix for path in named} == {".gpkg", ".html", ".pdf", ".xlsx"}
    assert all(path.stat().st_size for path in named)
    tried = re.findall(r"loamwright (\w+) ", done.text)
    assert tried
    assert set(tried) <= COMMANDS.keys()


def test_what_stays_short_stands_under_what_is_left_to_decide(tmp_path: Path) -> None:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    plots, tests, _products = worked_files(tmp_path)
    ran_well("import", path, plots, tests)
    said = run("plan", path, as_json=False).text
    decide, sure = said.index("Left to decide"), said.index("How sure it is")
    assert decide < said.index("Plot A-1 needs") < sure
    assert said.count("Plot A-1 needs") == said[decide:sure].count("Plot A-1 needs")
