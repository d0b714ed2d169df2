"""What a GIS changed in a property file: named, kept as a change that can be taken back, or put back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from command_line import SEASON, box, geojson, ran_well, run
from places import independent_area_m2

ACRE_M2 = 4046.8564224
LAYER = "plots"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    plots = geojson(
        tmp_path / "plots.geojson",
        ({"plot_id": "A-1", "crop": "oats"}, [box()]),
        ({"plot_id": "A-2", "crop": "oats"}, [box(-93.04)]),
    )
    run("import", path, plots)
    return path


def written_with_gdal(path: Path, boundary: shapely.Geometry) -> None:
    """Write the boundary of A-1 as GDAL does: an envelope in the header, a MultiPolygon."""
    made = path.parent / "gis.gpkg"
    frame = gpd.GeoDataFrame(geometry=[shapely.MultiPolygon([boundary])], crs="EPSG:4326")
    frame.to_file(made, layer="one", driver="GPKG")
    with closing(sqlite3.connect(made)) as gis:
        (blob,) = gis.execute("SELECT geom FROM one").fetchone()
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE plots SET boundary = ? WHERE plot_id = 'A-1'", (blob,))


def acres(path: Path, plot_id: str = "A-1") -> float:
    plots = {row["plot_id"]: row for row in run("measure", path, "--layer", "plots").data["plots"]}
    return float(plots[plot_id]["area_acres"])


def found(path: Path, *options: str) -> list[str]:
    data = run("check", path, *options).data
    return [f"{problem['where']}: {problem['what']}" for problem in data["problems"]]


def test_a_sound_file_is_sound_and_the_same_shape_written_anew_is_no_change(path: Path) -> None:
    assert found(path) == []
    written_with_gdal(path, shapely.Polygon(box()))
    assert found(path) == []


def test_a_moved_boundary_is_named_and_put_back(path: Path) -> None:
    before = acres(path)
    written_with_gdal(path, shapely.Polygon(box(size=0.0012)))
    (said,) = found(path)
    assert "plot A-1" in said
    wider = independent_area_m2(box(size=0.0012)[:-1]) / ACRE_M2
    assert f"a shape of {before:.2f} acres → a shape of {wider:.2f} acres" in said
    assert found(path, "--restore") == []
    assert acres(path) == pytest.approx(before)
    assert len(list(path.parent.glob("own.2*.gpkg"))) == 1  # the copy made first


def test_a_field_that_was_blank_is_named_when_another_program_fills_it(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE plots SET narrowest_m = 3.048 WHERE plot_id = 'A-1'")
    (said,) = found(path)
    assert "plot A-1: another program changed its narrowest: — → 10 ft" in said
    assert found(path, "--restore") == []


def test_a_value_that_could_not_be_typed_is_named_with_its_field(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE property SET test_age_limit_years = -1")
    assert found(path) == ["settings, test_age_limit_years: '-1' is not more than zero"]
    ran_well("set", path, "settings", "test_age_limit_years=4")
    assert found(path) == []


def test_what_is_put_back_stands_in_the_journal_with_what_the_other_program_wrote(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE plots SET name = 'Wider' WHERE plot_id = 'A-1'")
    assert found(path, "--restore", "--by", "Steward") == []
    newest = ran_well("changes", path)["changes"][-1]
    assert (newest["command"], newest["made_by"]) == ("put back what another program changed", "Steward")
    assert any("Wider" in str(row) for row in newest["did"])
    ran_well("undo", path)
    shown = {row["name"]: row["value"] for row in ran_well("show", path, "plot", "A-1")["fields"]}
    assert shown["name"] == "Wider"
    assert found(path) == []


@pytest.mark.parametrize("option", ["--accept", "--restore"])
def test_where_nothing_differs_nothing_is_written_and_no_copy_is_made(path: Path, option: str) -> None:
    held, beside = path.read_bytes(), sorted(path.parent.iterdir())
    assert found(path, option) == []
    assert path.read_bytes() == held
    assert sorted(path.parent.iterdir()) == beside


def test_a_moved_boundary_is_kept_as_a_change_and_taken_back(path: Path) -> None:
    before = acres(path)
    written_with_gdal(path, shapely.Polygon(box(size=0.0012)))
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE plots SET name = 'Wider' WHERE plot_id = 'A-1'")
    assert len(found(path)) == 2
    assert found(path, "--accept", "--by", "Steward") == []
    newest = ran_well("changes", path)["changes"][-1]
    assert (newest["command"], newest["made_by"]) == ("keep what another program changed", "Steward")
    wider = independent_area_m2(box(size=0.0012)[:-1]) / ACRE_M2
    assert acres(path) == pytest.approx(wider, rel=1e-6)
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT area_acres FROM plots WHERE plot_id = 'A-1'").fetchone()[
            0
        ] == pytest.approx(wider)
        assert db.execute("SELECT COUNT(*) FROM plot_boundaries").fetchone() == (1,)  # the one before is kept
    ran_well("undo", path)
    assert acres(path) == pytest.approx(before)
    assert found(path) == []


def test_a_plot_taken_out_is_put_back_and_not_kept_so(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute("DELETE FROM plots WHERE plot_id = 'A-2'")
    assert any("plot A-2: another program took it out" in said for said in found(path))
    held = path.read_bytes()
    assert run("check", path, "--accept").code == 2
    assert path.read_bytes() == held
    assert found(path, "--restore") == []
    assert acres(path, "A-2") == pytest.approx(independent_area_m2(box(-93.04)[:-1]) / ACRE_M2, rel=1e-6)


def test_a_boundary_that_crosses_itself_is_not_kept(path: Path) -> None:
    west, south = -93.05, 46.05
    bow_tie = [(west, south), (west + 0.001, south + 0.001), (west + 0.001, south), (west, south + 0.001)]
    written_with_gdal(path, shapely.Polygon(bow_tie))
    held = path.read_bytes()
    assert run("check", path, "--accept").says("plot A-1", "crosses itself")
    assert path.read_bytes() == held
    assert found(path, "--restore") == []


@pytest.mark.parametrize("option", ["--accept", "--restore"])
def test_a_plot_drawn_there_is_named_and_kept_or_taken_out(path: Path, option: str) -> None:
    with closing(sqlite3.connect(path)) as db, db:
        names = [row[1] for row in db.execute("PRAGMA table_info(plots)") if row[1] != "fid"]
        listed = ", ".join(names)
        own = listed.replace("plot_id", "'A-9'").replace("plot_key", "'A-9'")
        db.execute(f"INSERT INTO plots ({listed}) SELECT {own} FROM plots WHERE plot_id = 'A-2'")
    assert any("plot A-9: another program added it" in said for said in found(path))
    assert not any("A-9" in said for said in found(path, option))
    listed_now = [name for name, _ in ran_well("show", path, "plots")["listed"]]
    assert ("A-9" in listed_now) is (option == "--accept")


def test_both_at_once_are_refused(path: Path) -> None:
    assert run("check", path, "--accept", "--restore").says("both")


@pytest.mark.parametrize("key", ['["A-\x01"]', "[", "7", '{"a": 1}', ""])
def test_a_journal_that_cannot_be_read_is_named(path: Path, key: str) -> None:
    """Found by flipped bytes: the key of a row in the journal was no JSON any more."""
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE change_values SET row_key = ? WHERE table_name = 'plots'", (key,))
    assert any("its journal names a row by" in said for said in found(path))
    assert run("changes", path).says("its journal names a row by", "Restore it from a copy")
    assert run("needs", path).code in (0, 1)  # the property itself is whole
