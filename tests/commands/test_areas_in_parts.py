"""Plots of a large file measured in parts: the figures of the plain command, going on where a run stopped.

The tables are held against what `measure` says of the same file, which the tests of areas hold against other
libraries.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import geopandas as gpd
import pytest
from command_line import run
from places import box, polygon

from loamwright import season
from loamwright.season import partitions


def map_file(folder: Path) -> Path:
    """Five plots, of which the second lies 20 m into the third and the last has the first one's id."""
    shapes = [
        polygon(box(0, 0, 100, 100), box(20, 20, 50, 50)),
        polygon(box(400, 0, 500, 100)),
        polygon(box(480, 0, 600, 100)),
        polygon([(800, 0), (900, 100), (900, 0), (800, 100)]),  # a bow-tie
        polygon(box(0, 400, 100, 500)),
    ]
    words = {"plot_id": ["A1", "A2", "A3", "A4", "A1"], "name": ["Pine", "Öst-Feld", "=1+1", "Tie", "Twice"]}
    path = folder / "land.fgb"
    gpd.GeoDataFrame(words, geometry=shapes, crs=4326).to_file(path, driver="FlatGeobuf", SPATIAL_INDEX="NO")
    return path


def keep_out(folder: Path) -> Path:
    path = folder / "keep.geojson"
    words = {"keepout_id": ["W"], "kind": ["well"], "setback": ["10 m"]}
    gpd.GeoDataFrame(words, geometry=[polygon(box(60, 60, 70, 70))], crs=4326).to_file(path)
    return path


def rows(paths: list[str]) -> list[dict[str, str]]:
    """Every row of some tables."""
    found: list[dict[str, str]] = []
    for path in paths:
        with Path(path).open(encoding="utf-8-sig", newline="") as file:
            found += list(csv.DictReader(file))
    return found


@pytest.fixture
def two_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(partitions, "MEASURED", 2)


@pytest.mark.usefixtures("two_at_a_time")
def test_the_tables_say_what_the_plain_command_says(tmp_path: Path) -> None:
    path, keep = map_file(tmp_path), keep_out(tmp_path)
    whole = run("measure", path, "--keep-outs", keep)
    parted = run("measure", path, "--keep-outs", keep, "--parts", tmp_path / "tables")
    assert (parted.code, parted.data["plots"], parted.data["made"]) == (whole.code, 3, 3)
    for name in ("total_area_acres", "total_spread_area_acres"):
        assert parted.data[name] == pytest.approx(whole.data[name], rel=1e-12)
    told = [
        (row["plot"], float(row["m²"]), float(row["m² to spread"]), float(row["acres"]), int(row["holes"]))
        for row in rows(parted.data["parts"])
    ]
    assert told == [
        (one["plot_id"], one["area_m2"], one["spread_area_m2"], one["area_acres"], one["holes"])
        for one in whole.data["plots"]
    ]
    # hand: 100 m x 100 m less 30 m x 30 m
    assert told[0][1] == pytest.approx(9_100, rel=0.01)
    assert told[0][2] < told[0][1]
    said = [sorted((one["where"], one["what"]) for one in done.data["problems"]) for done in (whole, parted)]
    assert said[0] == said[1]
    assert said[0]


@pytest.mark.usefixtures("two_at_a_time")
def test_what_was_measured_is_not_measured_again(tmp_path: Path) -> None:
    path = map_file(tmp_path)
    made = run("measure", path, "--parts", tmp_path / "tables").data
    kept = sorted((tmp_path / "tables").glob("reading-*"))
    kept[1].unlink()
    again = run("measure", path, "--parts", tmp_path / "tables").data
    assert (again["made"], again["kept"], again["parts"]) == (1, 2, made["parts"])
    assert again["total_area_acres"] == made["total_area_acres"]
    other = run("measure", path, "--gps-sigma", "5 m", "--parts", tmp_path / "tables").data
    assert (other["made"], set(other["parts"]) & set(made["parts"])) == (3, set())


@pytest.mark.usefixtures("two_at_a_time")
def test_a_run_that_is_stopped_goes_on_where_it_was(tmp_path: Path) -> None:
    path, told = map_file(tmp_path), []

    def stop(stage: str) -> None:
        told.append(stage)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        season.write_areas_in_parts(path, None, None, 3.0, tmp_path / "tables", progress=stop)
    assert told == ["part 1 of 3, some 0 min left"]
    assert not list((tmp_path / "tables").glob("areas-*"))
    done = season.write_areas_in_parts(path, None, None, 3.0, tmp_path / "tables")
    assert (done.made, done.kept, done.plots) == (2, 1, 3)


@pytest.mark.usefixtures("two_at_a_time")
def test_a_damaged_reading_is_named_with_the_way_out(tmp_path: Path) -> None:
    path = map_file(tmp_path)
    run("measure", path, "--parts", tmp_path / "tables")
    kept = sorted((tmp_path / "tables").glob("reading-*"))[2]
    kept.write_bytes(kept.read_bytes()[:-40])
    done = run("measure", path, "--parts", tmp_path / "tables")
    assert done.code == 2
    assert done.says(kept.name, "cannot be read", "Delete the file and run again")


@pytest.mark.usefixtures("two_at_a_time")
def test_several_processes_make_the_same_tables(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra scale is not installed")
    path = map_file(tmp_path)
    plain = run("measure", path, "--parts", tmp_path / "one").data
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        address = cluster.scheduler_address
        spread = run("measure", path, "--parts", tmp_path / "two", "--cluster", address).data
    assert rows(spread["parts"]) == rows(plain["parts"])
    assert spread["problems"] == plain["problems"]


def test_what_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = map_file(tmp_path)
    done = run("measure", path, "--processes", "2")
    assert done.code == 2
    assert done.says("--processes", "--parts")
    done = run("measure", keep_out(tmp_path), "--parts", tmp_path / "tables")
    assert done.code == 2
    assert done.says("keep.geojson", "cannot be read part by part", "FlatGeobuf")
    done = run("measure", tmp_path / "none.fgb", "--parts", tmp_path / "tables")
    assert done.code == 2
    assert done.says("none.fgb")
    monkeypatch.setitem(sys.modules, "distributed", None)
    done = run("measure", path, "--parts", tmp_path / "tables", "--processes", "2")
    assert done.code == 2
    assert done.says("loamwright[scale]")
