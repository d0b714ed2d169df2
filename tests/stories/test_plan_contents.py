"""What a written nutrient plan must hold, entry by entry: each has a place, is stored, shown and printed.

The entries are those asked for by Virginia Admin. Code 4VAC50-85-130 and -140, COMAR 15.20.08.04 and .05
(Maryland), Wisconsin NRCS 590 (December 2015) with ATCP 50.04 and NR 243.19(2), the EQIP nutrient management
plan checklist of March 2010 and Polk and Dane County's 590 lists, as read; numbers as in
`plan_checklist.csv`.
"""

from __future__ import annotations

import base64
import gzip
import json
import re
from collections.abc import Mapping
from pathlib import Path

import pytest
from command_line import SAMPLED, SEASON, WHOLE_LIME, ran_well, run, worked_files, written
from places import independent_area_m2
from pypdf import PdfReader

from loamwright.files import load_checklist

CREEK = {
    "type": "Feature",
    "properties": {"keepout_id": "K-1", "name": "Creek", "kind": "water", "setback": "25 ft"},
    "geometry": {"type": "LineString", "coordinates": [[-93.0505, 46.0505], [-93.0495, 46.0505]]},
}
#: Squares of a thousandth of a degree, two of them [acres], by an independent library.
ONE = independent_area_m2([[-93.05, 46.05], [-93.049, 46.05], [-93.049, 46.051], [-93.05, 46.051]])
ACRES = 2 * ONE / 4046.8564224

#: Number, what is asked for, the document that holds it ("note" = free text, in the record), and what stands
#: there. 2.11 (legible), 3.2 (an approved laboratory), 4.9 (fields may be grouped) and 4.10 (starter, a
#: caution that fires by the product) ask for no entry.
ASKED = [
    *(("1.1", "operator", "note", ""), ("1.2", "who prepared it", "note", ""), ("1.3", "county", "note", "")),
    ("1.4", "parcels", "note", ""),
    ("1.5", "acres under plan", "record", f"{ACRES:.2f} acres under plan"),
    ("1.6", "acres by use", "record", f"red clover {ACRES:.2f} acres"),
    ("1.7", "date prepared", "orders", "work orders made"),
    *(("1.8", "period", "note", ""), ("1.9", "livestock", "note", "")),
    *((number, "boundaries and areas", "map", '"A-1"') for number in ("2.1", "2.2", "2.3")),
    ("2.4", "aerial photo", "map help", "--image"),
    *((number, "sensitive places", "map", "Creek") for number in ("2.5", "2.7", "2.8", "2.10")),
    ("2.6", "setbacks", "map", "25 ft"),
    *(("2.9", "storage", "note", ""), ("2.12", "soil series", "note", "")),
    *(("3.1", "test results", "record", "P 9 ppm (Bray P1)"), ("3.3", "test age", "sample", "due")),
    *(("3.4", "land per sample", "sample", "cores"), ("3.5", "one id", "record", "A-1")),
    ("3.6", "who sampled, when analysed", "record", "A. Sampler"),
    ("3.7", "manure analysis", "show organic", "n_lb_per_ton"),
    *(("4.1", "crops and tillage", "note", ""), ("4.1", "previous crop", "record", "oats of last year")),
    *(("4.2", "how the goal was set", "note", ""), ("4.2", "yield goal", "record", "2 ton/acre")),
    ("4.3", "need by table", "explain", "University of Minnesota"),
    ("4.4", "every source counted", "explain", "Still to supply"),
    ("4.5", "rate for each field", "needs", "lb_per_acre"),
    ("4.6", "source, rate, time, place", "orders", "MAP 11-52-0"),
    *(("4.7", "lime", "needs", "lime"), ("4.8", "reason for another rate", "note", "")),
    ("4.8", "reason of a decision", "explain", "thin stand"),
    ("4.11", "alternatives", "note", ""),
    *(("5.1", "restriction of each place", "note", ""), ("5.1", "restriction", "orders", "Creek")),
    *(("5.2", "P and N risk", "note", ""), ("5.3", "soil loss", "note", "")),
    ("5.4", "who has the last word", "orders", "Last word"),
    ("7.1", "yields taken", "note", ""),
]


def map_contents(page: Path) -> str:
    """The data embedded in a field map, as text."""
    packed = re.search(r'id="map-data">(.*?)</script>', page.read_text(encoding="utf-8"), re.S)
    assert packed
    return gzip.decompress(base64.b64decode(packed[1])).decode("utf-8")


@pytest.fixture(scope="module")
def documents(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, str]:
    """A property with every entry filled, and what its documents say."""
    folder = tmp_path_factory.mktemp("contents")
    path = folder / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    keepouts = written(
        folder / "keepouts.geojson", json.dumps({"type": "FeatureCollection", "features": [CREEK]})
    )
    run("import", path, *worked_files(folder), keepouts)
    ran_well("set", path, "settings", WHOLE_LIME, "keeper=Steward")
    (row,) = ran_well("show", path, "soil-tests")["listed"]
    ran_well("set", path, "soil-test", row[0], "sampled_by=A. Sampler", f"analysed_on={SAMPLED}")
    ran_well("set", path, "cropping", "A-1", "previous_crop=oats of last year")
    for number in load_checklist():
        ran_well("note", path, number, f"text of {number}", *(("--plot", "A-1") if number == "7.1" else ()))
    manure = ("plot=A-1", "material=beef manure", "amount=2 ton/acre", "n_lb_per_ton=10")
    ran_well("add", path, "organic", "M-1", *manure, f"applied_on={SAMPLED}")
    run("decide", path, "A-1", "K2O", "50 lb/acre", "--because", "thin stand")
    run("record", path, "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "10 lb")
    run("plan", path)
    run("orders", path, folder / "orders")
    run("report", path, folder / "report")
    run("map", path, folder / "map.html")

    def pdf(name: Path) -> str:
        return " ".join(" ".join(page.extract_text() for page in PdfReader(name).pages).split())

    return {
        "path": str(path),
        "record": pdf(folder / "report" / "season_record.pdf"),
        "orders": pdf(folder / "orders" / "planner_orders.pdf"),
        "map": map_contents(folder / "map.html"),
        "map help": run("map", "--help", as_json=False).text,
        "sample": run("sample", path).text,
        "needs": run("needs", path).text,
        "explain": run("explain", path, "A-1", as_json=False).text,
        "show organic": run("show", path, "organic", "M-1", "--all", as_json=False).text,
        "note": run("note", path, as_json=False).text,
    }


@pytest.mark.parametrize(("number", "what", "where", "stands"), ASKED)
def test_every_entry_has_a_place(
    number: str, what: str, where: str, stands: str, documents: Mapping[str, str]
) -> None:
    if where == "note":
        assert f"text of {number}" in documents["record"], what
        assert f"text of {number}" in documents["note"], what
        return
    assert stands in documents[where], what


def test_an_entry_that_is_not_filled_is_not_printed(documents: Mapping[str, str], tmp_path: Path) -> None:
    path = Path(documents["path"])
    ran_well("note", path, "5.3", "clear")
    run("report", path, tmp_path)
    text = " ".join(p.extract_text() for p in PdfReader(tmp_path / "season_record.pdf").pages)
    assert "soil loss result" not in text
    (row,) = [one for one in ran_well("note", path)["entries"] if one["number"] == "5.3"]
    assert row["text"] == ""
