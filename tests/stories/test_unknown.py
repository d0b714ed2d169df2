"""What is not known stays not known, from the soil test to the plan, the map, the paper and the exports.

Two plots were never sampled or were read by another test than the table's; one was. Every place a figure
could appear is asked: the unknown must be absent or blank with its reason, and must never be a zero.
"""

from __future__ import annotations

import base64
import csv
import gzip
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
from command_line import SAMPLED, SEASON, WHOLE_LIME, box, geojson, ran_well, run, worked_files, written

#: Nothing is known of the phosphate, potash and lime of these.
UNKNOWN = {"A-2", "A-3"}
UNKNOWN_SUPPLIES = ("P2O5", "K2O", "lime")


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A-1 with a full test, A-2 never sampled, A-3 read by Mehlich-3 and Mehlich-1, pH not read."""
    folder = tmp_path_factory.mktemp("unknown")
    path = folder / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    plots, tests, products = worked_files(folder)
    third = geojson(
        folder / "third.geojson",
        (
            {"plot_id": "A-3", "name": "Cedar", "crop": "red clover", "yield_goal": "2 ton/acre"},
            [box(-93.046)],
        ),
    )
    other = written(
        folder / "other.csv",
        "plot_id,sampled_on,depth,p,p_unit,p_extractant,k,k_unit,k_extractant\n"
        f"A-3,{SAMPLED},0-6 in,22,ppm,Mehlich-3,60,ppm,Mehlich-1\n",
    )
    ran_well("import", path, plots, third, tests, other, products)
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("plan", path)
    return path


def numbers(found: object) -> Iterator[float]:
    """Every number in an answer, however deep."""
    if isinstance(found, dict):
        for value in found.values():
            yield from numbers(value)
    elif isinstance(found, list):
        for value in found:
            yield from numbers(value)
    elif isinstance(found, (int, float)) and not isinstance(found, bool):
        yield float(found)


def test_the_need_has_a_reason_and_no_figure(planned: Path) -> None:
    plots = {plot["plot_id"]: plot for plot in run("needs", planned).data["plots"]}
    reasons = {
        ("A-2", "P2O5"): "not tested",
        ("A-2", "K2O"): "not tested",
        ("A-2", "lime"): "pH was not tested",
        ("A-3", "P2O5"): "22 ppm P by Mehlich-3: the table was written for Bray P1 or Olsen",
        ("A-3", "K2O"): "60 ppm K by Mehlich-1",
        ("A-3", "lime"): "pH was not tested",
    }
    for (plot_id, supply), reason in reasons.items():
        needs = {need["nutrient"]: need for need in plots[plot_id]["needs"]}
        need = plots[plot_id]["lime"] if supply == "lime" else needs[supply]
        assert need["state"] == "unknown"
        assert reason in need["reason"]
        assert list(numbers({key: value for key, value in need.items() if key != "steps"})) == []


def test_the_plan_neither_buys_nor_covers_it(planned: Path) -> None:
    plan = run("plan", planned).data
    assert {line["plot_id"] for line in plan["lines"]} == {"A-1"}
    rows = {(row["plot_id"], row["nutrient"].split()[0]) for row in plan["coverage"]}
    assert not {(plot_id, supply) for plot_id in UNKNOWN for supply in UNKNOWN_SUPPLIES} & rows


def test_the_balance_is_blank_and_not_settled(planned: Path) -> None:
    rows = [row for row in run("status", planned).data["balance"] if row["plot_id"] in UNKNOWN]
    asked = [row for row in rows if row["nutrient"] in UNKNOWN_SUPPLIES]
    assert len(asked) == 4
    assert all(row["need_lb"] is None and row["left_lb"] is None for row in asked)


def test_the_map_says_unknown_and_why(planned: Path, tmp_path: Path) -> None:
    page = tmp_path / "own.html"
    run("map", planned, page)
    packed = re.search(r'id="map-data">(.*?)</script>', page.read_text(encoding="utf-8"), re.S)
    assert packed
    data: dict[str, Any] = json.loads(gzip.decompress(base64.b64decode(packed[1])))
    for plot in data["plots"]:
        if plot["id"] in UNKNOWN:
            shown = {need["what"]: need for need in plot["needs"]}
            for supply in UNKNOWN_SUPPLIES:
                assert shown[supply]["state"] == "unknown"
                assert shown[supply]["reason"]
                assert not {"rate", "mass", "supplied", "left"} & shown[supply].keys()


def test_the_work_orders_list_it_as_left_out(planned: Path, tmp_path: Path) -> None:
    run("orders", planned, tmp_path)
    pages = pypdf.PdfReader(tmp_path / "planner_orders.pdf").pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    _, _, left_out = text.partition("Not in these orders, and why")
    assert left_out
    for words in ("A-2: P2O5: Phosphorus was not tested", "A-3: K2O: 60 ppm K by Mehlich-1", "lime: Soil pH"):
        assert words in left_out


def test_the_exports_leave_it_blank(planned: Path, tmp_path: Path) -> None:
    run("export", planned, "geojson", tmp_path / "layers")
    layer = json.loads((tmp_path / "layers" / "plots.geojson").read_text(encoding="utf-8"))
    for feature in layer["features"]:
        said = feature["properties"]
        if said["plot_id"] in UNKNOWN:
            for supply in ("p2o5", "k2o", "lime"):
                assert (said[f"need_{supply}_state"], said[f"need_{supply}_lb_acre"]) == ("unknown", None)
    run("export", planned, "csv", tmp_path / "tables")
    with (tmp_path / "tables" / "needs.csv").open(encoding="utf-8", newline="") as handle:
        rows = [row for row in csv.DictReader(handle) if row["plot"] in UNKNOWN]
    asked = [row for row in rows if row["supply"] in UNKNOWN_SUPPLIES]
    assert len(asked) == 6
    assert {(row["state"], row["lb/acre"], row["lb"]) for row in asked} == {("unknown", "", "")}
    assert all(row["why"] for row in asked)


def test_explain_gives_the_reason_for_a_plot_without_a_figure(planned: Path) -> None:
    text = run("explain", planned, "A-2", "P2O5", as_json=False).text
    assert "P2O5 unknown: Phosphorus was not tested." in text
    assert "lb P2O5" not in text
