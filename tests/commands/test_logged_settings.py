"""A logged tarp test steers the plan: loose goods go on at its rate where that is inside the band."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import SAMPLED, SEASON, TODAY, box, geojson, ran_well, run, written


def rate(path: Path) -> float:
    (line,) = run("plan", path).data["lines"]
    return float(line["rate_lb_per_acre"])


def test_loose_potash_goes_on_at_the_logged_setting(tmp_path: Path) -> None:
    """The lab asks for 60 lb K2O/acre, 100 lb of 0-0-60; from 95 to 110 lb is inside the band.

    0.24 lb caught on 100 sq ft are 0.24 x 43,560 / 100 = 104.5 lb/acre; 43,560 sq ft are an acre.
    """
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("add", path, "spreader", "drop spreader", "swath=4 ft")
    plots = geojson(tmp_path / "plots.geojson", ({"plot_id": "A-1", "crop": "oats"}, [box()]))
    tests = written(
        tmp_path / "tests.csv",
        "plot_id,sampled_on,lab,depth,rec_n,rec_p2o5,rec_k2o,rec_unit\n"
        f"A-1,{SAMPLED},Lab Birch (invented),0-6 in,0,0,60,lb/acre\n",
    )
    goods = written(
        tmp_path / "products.csv",
        "product,form,n,p2o5,k2o,package,price,seller\n"
        "Potash 0-0-60,dry,0,0,60,1 ton bulk,640,Co-op (invented)\n",
    )
    run("import", path, plots, tests, goods)
    assert rate(path) == pytest.approx(95)
    test = (
        "--spreader",
        "drop spreader",
        "--product",
        "Potash 0-0-60",
        "--setting",
        "5",
        "--operator",
        "Sam",
    )
    ran_well("calibrate", path, *test, "--caught", "0.24 lb", "--catch-area", "100 ft2", "--on", TODAY)
    plan = run("plan", path, "--reason", "the drop spreader was tested").data
    assert plan["lines"][0]["rate_lb_per_acre"] == pytest.approx(0.24 * 43_560 / 100)
    assert any("logged setting of the drop spreader" in step["what"] for step in plan["lines"][0]["steps"])
