"""A plot that is split after it was spread: what lies on the ground counts on the piece it lies on."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from command_line import SEASON, ran_well, run, worked_files
from places import independent_area_m2

ON = dt.date(SEASON, 4, 13)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    plots, tests, products = worked_files(tmp_path, dt.date(SEASON, 3, 1))
    run("import", path, plots, tests, products)
    return path


def spread(path: Path, pounds: float, *more: str) -> None:
    entry = ("--plot", "A-1", "--product", "MAP 11-52-0", "--amount", f"{pounds} lb", "--on", str(ON))
    done = run("record", path, *entry, "--answer", "amount=it is right", *more)
    assert done.data.get("new"), done.text


def split(path: Path, share: float) -> str:
    """Cut A-1 from south to north so that this share of it lies west; give the id of the new plot."""
    lon = -93.05 + 0.001 * share
    line = {"type": "LineString", "coordinates": [[lon, 46.049], [lon, 46.052]]}
    file = path.parent / "line.geojson"
    file.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": line}))
    before = {row["plot_id"] for row in run("needs", path).data["plots"]}
    run("shape", "split", path, "A-1", file)
    (new,) = {row["plot_id"] for row in run("needs", path).data["plots"]} - before
    return new


def p2o5_on(path: Path) -> dict[str, float]:
    rows: list[dict[str, Any]] = run("status", path).data["balance"]
    return {row["plot_id"]: row["applied_lb"] for row in rows if row["nutrient"] == "P2O5"}


def test_each_piece_has_its_share_and_nothing_is_planned_twice(path: Path) -> None:
    spread(path, 20)
    new = split(path, 0.6)
    # 20 lb of 52 % P2O5 are 10.4 lb: 60 % of the ground keeps 6.24 lb, 40 % has 4.16 lb. By hand; the areas
    # of the two strips are as their widths, to the bend of a parallel over a thousandth of a degree.
    assert p2o5_on(path)["A-1"] == pytest.approx(6.24, rel=1e-4)
    whole = run("measure", path, "--layer", "plots").data["plots"]
    areas = {row["plot_id"]: row["area_m2"] for row in whole}
    west = [(-93.05, 46.05), (-93.0494, 46.05), (-93.0494, 46.051), (-93.05, 46.051)]
    assert areas["A-1"] == pytest.approx(independent_area_m2(west), rel=1e-6)
    applied = {row["plot_id"]: row for row in run("needs", path).data["plots"]}
    assert new in applied
    # the piece has no soil test of its own; with the same one typed in, what lies there comes off its need
    test = ("plot=" + new, f"sampled_on={SEASON}-03-01", "depth=0-6 in", "ph=5.4")
    figures = (
        "p=9",
        "p_unit=ppm",
        "p_extractant=Bray P1",
        "k=95",
        "k_unit=ppm",
        "k_extractant=ammonium acetate",
    )
    ran_well("add", path, "soil-test", "T-2", *test, *figures)
    assert p2o5_on(path)[new] == pytest.approx(4.16, rel=1e-4)
    # red clover, 2 ton/acre, Bray P1 6 to 10 ppm = 25 lb P2O5/acre (University of Minnesota Extension)
    rows = run("status", path).data["balance"]
    (left,) = [row for row in rows if (row["plot_id"], row["nutrient"]) == (new, "P2O5")]
    acres = areas[new] / 4046.8564224
    assert left["need_lb"] == pytest.approx(25 * acres, rel=1e-6)
    assert left["left_lb"] == pytest.approx(25 * acres - 4.16, rel=1e-3)


def test_what_goes_on_after_the_split_counts_where_it_is_said(path: Path) -> None:
    new = split(path, 0.6)
    entry = ("--plot", "A-1", "--product", "MAP 11-52-0", "--amount", "10 lb")
    assert run("record", path, *entry, "--answer", "amount=it is right").data["new"]
    on = p2o5_on(path)
    assert on["A-1"] == pytest.approx(5.2)
    assert on.get(new, 0.0) == 0


def test_a_boundary_drawn_smaller_keeps_what_was_spread(path: Path) -> None:
    """Ground that is in no plot now was a wrong boundary: nobody spread beyond the plot."""
    spread(path, 20)
    ring = [[-93.05, 46.05], [-93.0495, 46.05], [-93.0495, 46.051], [-93.05, 46.051], [-93.05, 46.05]]
    file = path.parent / "smaller.geojson"
    shape = {"type": "Polygon", "coordinates": [ring]}
    file.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shape}))
    run("shape", "redraw", path, "A-1", file)
    assert p2o5_on(path)["A-1"] == pytest.approx(10.4)


def test_a_season_before_the_split_counts_the_ground_once(tmp_path: Path) -> None:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON - 1)
    run("import", path, *worked_files(tmp_path, dt.date(SEASON - 1, 3, 1)))
    before = [row["plot_id"] for row in run("needs", path).data["plots"]]
    assert run("season", "next", path).code in (0, 1)
    new = split(path, 0.6)
    past = [row["plot_id"] for row in run("needs", path, "--season", SEASON - 1).data["plots"]]
    assert past == before
    assert new in [row["plot_id"] for row in run("needs", path).data["plots"]]


def test_what_was_spread_on_a_plot_that_is_merged_away_counts_on_its_ground(path: Path) -> None:
    new = split(path, 0.6)
    entry = ("--plot", new, "--product", "MAP 11-52-0", "--amount", "10 lb", "--answer", "amount=it is right")
    assert run("record", path, *entry, "--on", str(ON)).data["new"]
    assert run("shape", "merge", path, "A-1", new).code in (0, 1)
    assert [row["plot_id"] for row in run("needs", path).data["plots"]] == ["A-1", "A-2"]
    assert p2o5_on(path)["A-1"] == pytest.approx(5.2)  # 10 lb of 52 %
    # 25 lb/acre (University of Minnesota Extension, as above) on the 60 % that had none; 5.2 lb are on 40 %
    whole = run("measure", path, "--layer", "plots").data["plots"]
    acres = next(row["area_acres"] for row in whole if row["plot_id"] == "A-1")
    rows = {row["plot_id"]: row for row in run("needs", path).data["plots"]}
    (p2o5,) = [need for need in rows["A-1"]["needs"] if need["nutrient"] == "P2O5"]
    assert p2o5["lb"] == pytest.approx(25 * acres * 0.6, rel=0.02)
