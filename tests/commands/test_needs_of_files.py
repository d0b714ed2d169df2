"""Needs of two files, plots and soil tests, without a property: the same figures, whole or in parts.

The plain answer is held against that of a property made from the same files; parts against the plain answer.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import pytest
from command_line import SAMPLED, SEASON, TODAY, ran_well, run, worked_files

from loamwright import files, season
from loamwright.season import partitions


def rows(paths: tuple[Path, ...]) -> list[list[str]]:
    """Every row of some tables, below their headings."""
    found = []
    for path in paths:
        with path.open(encoding="utf-8", newline="") as file:
            found += list(csv.reader(file))[1:]
    return found


def test_needs_are_those_of_a_property_made_from_the_files(tmp_path: Path) -> None:
    plots, tests, _ = worked_files(tmp_path)
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, plots, tests)
    of_files = run("needs", plots, tests, "--season", SEASON)
    assert of_files.data["plots"] == run("needs", path).data["plots"]
    p2o5 = next(one for one in of_files.data["plots"][0]["needs"] if one["nutrient"] == "P2O5")
    # University of Minnesota Extension: red clover at 2 ton/acre, Bray P1 6 to 10 ppm = 25 lb/acre.
    assert p2o5["gross_lb_per_acre"] == pytest.approx(25)


def test_parts_hold_what_the_whole_holds_and_are_made_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plots, tests, _ = worked_files(tmp_path)
    whole = run("needs", plots, tests, "--parts", tmp_path / "whole").data
    monkeypatch.setattr(partitions, "PART", 1)
    made = run("needs", plots, tests, "--parts", tmp_path / "parts").data
    assert (whole["plots"], made["plots"], made["made"], made["kept"]) == (2, 2, 2, 0)
    parts = tuple(map(Path, made["parts"]))
    assert rows(parts) == rows(tuple(map(Path, whole["parts"])))
    assert {row[0] for row in rows(parts[:1])} == {"A-1"}
    before = parts[0].stat().st_mtime_ns
    parts[1].unlink()
    again = run("needs", plots, tests, "--parts", tmp_path / "parts").data
    assert (again["made"], again["kept"]) == (1, 1)
    assert parts[0].stat().st_mtime_ns == before
    tests.write_text(tests.read_text().replace("5.4,9,", "5.4,14,"))
    other = run("needs", plots, tests, "--parts", tmp_path / "parts").data
    assert (other["made"], set(other["parts"]) & set(made["parts"])) == (2, set())


def test_a_run_that_is_stopped_goes_on_where_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plots, tests, _ = worked_files(tmp_path)
    monkeypatch.setattr(partitions, "PART", 1)
    record = files.without_property(plots, [tests], SEASON, TODAY)
    told: list[str] = []

    def stop(stage: str) -> None:
        told.append(stage)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        season.write_needs_in_parts(record, (plots, tests), tmp_path / "parts", TODAY, progress=stop)
    assert told == ["part 1 of 2, some 0 min left"]
    done = season.write_needs_in_parts(record, (plots, tests), tmp_path / "parts", TODAY)
    assert (done.made, done.kept) == (1, 1)


def test_several_processes_make_the_same_tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra scale is not installed")
    plots, tests, _ = worked_files(tmp_path)
    monkeypatch.setattr(partitions, "PART", 1)
    plain = run("needs", plots, tests, "--parts", tmp_path / "one").data
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        address = cluster.scheduler_address
        spread = run("needs", plots, tests, "--parts", tmp_path / "two", "--cluster", address).data
    assert rows(tuple(map(Path, spread["parts"]))) == rows(tuple(map(Path, plain["parts"])))


def test_one_process_needs_no_engine_and_two_say_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plots, tests, _ = worked_files(tmp_path)
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert run("needs", plots, tests, "--parts", tmp_path / "one").code in (0, 1)
    done = run("needs", plots, tests, "--parts", tmp_path / "two", "--processes", "2")
    assert done.code == 2
    assert done.says("loamwright[scale]")


def test_what_is_refused(tmp_path: Path) -> None:
    plots, tests, _ = worked_files(tmp_path)
    done = run("needs", tmp_path / "own.gpkg", "--parts", tmp_path / "parts")
    assert done.code == 2
    assert done.says("--parts", "files of plots and soil tests")
    done = run("needs", plots, tests, "--processes", "2")
    assert done.code == 2
    assert done.says("--processes", "--parts")
    done = run("needs", plots, tests, "--parts", tmp_path / "parts", "--processes", "0")
    assert done.code == 2
    assert done.says("--processes", "0 is no number of processes")
    done = run("needs", plots, tests, tests)
    assert done.code == 2
    assert done.says("soil_tests.csv", f"A-1 {SAMPLED}", "stands in an earlier table too")
    tests.write_text(tests.read_text().replace("A-1", "A-9"))
    done = run("needs", plots, tests)
    assert done.code == 2
    assert done.says("soil_tests.csv, row 2", "'A-9'")
