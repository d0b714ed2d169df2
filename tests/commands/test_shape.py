"""Drawing from the command line: what the map of the app does, with shapes from files and typed sides."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import shapely
from command_line import SEASON, ran_well, run, written
from places import box, independent_area_m2, place, polygon

from loamwright import files
from loamwright.units import ACRE_M2


def drawn(path: Path, *shapes: shapely.Geometry) -> Path:
    """Write shapes as another program would."""
    features = [
        {"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(s)} for s in shapes
    ]
    return written(path, json.dumps({"type": "FeatureCollection", "features": features}))


def acres(path: Path) -> dict[str, float]:
    """Acres by plot, as `measure` says them of what was exported."""
    out = path.parent / "out"
    ran_well("export", path, "geojson", out, "--old")
    (file,) = out.glob("*plots*.geojson")
    return {plot["plot_id"]: plot["area_acres"] for plot in ran_well("measure", file)["plots"]}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A plot of 100 m by 100 m, P-1."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    file = drawn(tmp_path / "square.geojson", polygon(box(0, 0, 100, 100)))
    said = ran_well("shape", "draw", path, file, "--name", "Home")
    assert said["sentence"] == "Drew plot P-1, 2.47 acres."  # 10,000 m² / 4,046.8564224 m²
    return path


def test_split_merge_hole_and_undo(own: Path, tmp_path: Path) -> None:
    line = drawn(tmp_path / "cut.geojson", shapely.LineString([place((30, -5)), place((30, 105))]))
    ran_well("shape", "split", own, "P-1", line)
    # 70 m × 100 m and 30 m × 100 m
    assert acres(own) == pytest.approx({"P-1": 7_000 / ACRE_M2, "P-2": 3_000 / ACRE_M2}, rel=1e-5)
    ran_well("shape", "merge", own, "P-1", "P-2")
    assert acres(own) == pytest.approx({"P-1": 10_000 / ACRE_M2}, rel=1e-6)
    pond = drawn(tmp_path / "pond.geojson", polygon(box(40, 40, 60, 60)))
    said = ran_well("shape", "hole", own, "P-1", pond)
    assert acres(own) == pytest.approx({"P-1": 9_600 / ACRE_M2}, rel=1e-6)
    ran_well("undo", own, said["change_id"])
    assert acres(own) == pytest.approx({"P-1": 10_000 / ACRE_M2}, rel=1e-6)


def test_cut_close_gap_and_redraw(own: Path, tmp_path: Path) -> None:
    ran_well("shape", "draw", own, drawn(tmp_path / "b.geojson", polygon(box(101, 0, 201, 100))))
    said = ran_well("shape", "close-gap", own, "P-1", "P-2", "--gap", "2 m")
    assert "changed hands" in said["sentence"]
    # Nothing but the strip of 1 m × 100 m was there to give.
    assert sum(acres(own).values()) == pytest.approx(20_100 / ACRE_M2, rel=1e-4)
    over = run("shape", "draw", own, drawn(tmp_path / "c.geojson", polygon(box(150, 50, 250, 150))))
    assert over.code == 1  # it lies over P-2, which is told
    assert over.says("overlap by 2,5")
    ran_well("shape", "cut", own, "P-3", "P-2")
    assert acres(own)["P-3"] == pytest.approx((10_000 - 51 * 50) / ACRE_M2, rel=1e-2)
    ran_well("shape", "redraw", own, "P-3", drawn(tmp_path / "d.geojson", polygon(box(150, 100, 250, 150))))
    assert acres(own)["P-3"] == pytest.approx(5_000 / ACRE_M2, rel=1e-6)


def test_typed_sides(own: Path) -> None:
    ran_well("shape", "rectangle", own, "--at", "46.06, -93.05", "--length", "660 ft", "--width", "66 ft")
    ran_well("shape", "circle", own, "--at", "46.07 -93.05", "--across", "235.5 ft")
    # A furlong by a chain is an acre; a circle of one acre is 2 · √(43,560 / π) = 235.50 ft across.
    assert acres(own)["P-2"] == pytest.approx(1, rel=1e-5)
    assert acres(own)["P-3"] == pytest.approx(1, rel=1e-4)


def test_keep_outs_ways_and_parts(own: Path, tmp_path: Path) -> None:
    well = drawn(tmp_path / "well.geojson", shapely.Point(place((50, 50))))
    unsaid = run("shape", "keep-out", own, well, "--kind", "well")
    assert unsaid.code == 1
    assert unsaid.says("setback is not stated")
    ran_well("shape", "keep-out", own, well, "--kind", "well", "--setback", "50 ft")
    ran_well("shape", "way", own, well, "--kind", "gate", "--name", "North gate")
    south = drawn(tmp_path / "south.geojson", polygon(box(-10, -10, 110, 50)))
    ran_well("shape", "part", own, "P-1", south, "--name", "south")
    record = files.load(own)
    assert [one.setback_m for one in record.keepouts] == [None, pytest.approx(15.24)]  # 50 × 0.3048 m
    assert [one.name for one in record.ways] == ["North gate"]
    assert [one.name for one in record.parts] == ["south"]


BOW = [(0, 200), (100, 300), (100, 200), (0, 300)]
SHORT = shapely.LineString([place((30, 40)), place((30, 60))])  # 40 m from either edge


@pytest.mark.parametrize(
    ("words", "shapes", "why"),
    [
        (("draw",), (polygon(BOW),), ("crosses or touches itself",)),
        (("draw",), (polygon(box(0, 0, 100, 100)),), ("same boundary",)),
        (("draw",), (polygon(box(0, 200, 9, 209)), polygon(box(0, 300, 9, 309))), ("2 shapes",)),
        (("draw",), (SHORT,), ("needs an area", "LineString")),
        (("split", "P-1"), (SHORT,), ("does not cross", "Begin it outside")),
        (("split", "P-1"), (polygon(box(0, 0, 9, 9)),), ("the cut is no line",)),
        (("split", "P-9"), (SHORT,), ("P-9",)),
        (("hole", "P-1"), (SHORT,), ("no ground",)),
        (("hole", "P-1"), (polygon(box(200, 0, 300, 100)),), ("outside the plot",)),
        (("hole", "P-1"), (polygon(box(-1, -1, 101, 101)),), ("nothing is left",)),
        (("part", "P-1"), (polygon(box(0, 0, 50, 100)),), ("no name",)),
        (("way",), (SHORT,), ("what it is",)),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) and isinstance(value[0], str) else "",
)
def test_what_is_refused_leaves_the_file_alone(
    own: Path, tmp_path: Path, words: tuple[str, ...], shapes: tuple[shapely.Geometry, ...], why: tuple[str]
) -> None:
    before = hashlib.sha256(own.read_bytes()).hexdigest()
    what, *ids = words
    said = run("shape", what, own, *ids, drawn(tmp_path / "s.geojson", *shapes))
    assert said.code == 2, said.text
    assert said.says(*why), said.problems
    assert hashlib.sha256(own.read_bytes()).hexdigest() == before


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("merge", "P-1"), "one plot alone"),
        (("cut", "P-1", "P-1"), "P-1"),
        (("close-gap", "P-1", "P-1"), "P-1"),
        (("rectangle", "--at", "46.05", "--length", "9 m", "--width", "9 m"), "'46.05' is no place"),
        (("rectangle", "--at", "46.05, -93.05", "--length", "9", "--width", "9 m"), "unit"),
        (("circle", "--at", "96.05, -93.05", "--across", "90 m"), "96.05"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_what_is_typed_wrong_is_refused(own: Path, words: tuple[str, ...], why: str) -> None:
    before = hashlib.sha256(own.read_bytes()).hexdigest()
    what, *rest = words
    said = run("shape", what, own, *rest)
    assert said.code == 2, said.text
    assert said.says(why), said.problems
    assert hashlib.sha256(own.read_bytes()).hexdigest() == before


def test_a_drawn_plot_is_taken_back_had_again_and_taken_over(own: Path, tmp_path: Path) -> None:
    """Its acres for a GIS follow from the shape: 10,000 m2 and 400 m2 are 2.471 and 0.0988 acres."""
    copy = Path(shutil.copy(own, tmp_path / "laptop.gpkg"))
    small = drawn(tmp_path / "small.geojson", polygon(box(200, 0, 220, 20)))
    drew = ran_well("shape", "draw", own, small)["change_id"]
    ran_well("undo", own, ran_well("undo", own, drew)["change_id"])
    other = drawn(tmp_path / "other.geojson", polygon(box(0, 200, 20, 220)))
    ran_well("shape", "draw", copy, other, "--name", "Laptop's")
    (there,) = ran_well("differs", own, copy)["only_there"]
    refused = run("differs", own, copy, "--take", there["id"])
    assert refused.code == 2  # both copies gave the id P-2
    assert "there is another one by now" in refused.text
    ran_well("rename", own, "plot", "P-2", "Creek")
    with closing(sqlite3.connect(own)) as db:
        rows = db.execute("SELECT plot_id, area_acres FROM plots ORDER BY fid").fetchall()
    assert [name for name, _ in rows] == ["P-1", "Creek"]
    assert [acres for _, acres in rows] == pytest.approx([10_000 / ACRE_M2, 400 / ACRE_M2], rel=1e-4)


def test_a_plot_drawn_in_another_copy_is_taken_over(own: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copy(own, tmp_path / "laptop.gpkg"))
    small = drawn(tmp_path / "small.geojson", polygon(box(200, 0, 220, 20)))
    ran_well("shape", "draw", copy, small, "--name", "Laptop's")
    ran_well("differs", own, copy, "--take", "all")
    assert acres(own) == pytest.approx({"P-1": 10_000 / ACRE_M2, "P-2": 400 / ACRE_M2}, rel=1e-4)


def test_a_phones_gate_is_offered_as_a_way_and_its_plots_are_measured(tmp_path: Path) -> None:
    """A gate among polygons was refused, and ground called after a pond was not measured as a plot."""
    ring = [[-93.05, 46.05], [-93.048, 46.05], [-93.048, 46.052], [-93.05, 46.052], [-93.05, 46.05]]
    corners = " ".join(f"{lon},{lat}" for lon, lat in ring)
    area = f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{corners}</coordinates></LinearRing>"
    file = written(
        tmp_path / "phone.kml",
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<Placemark><name>Pond Top</name>{area}</outerBoundaryIs></Polygon></Placemark>"
        "<Placemark><name>Gate</name><Point><coordinates>-93.051,46.05</coordinates></Point></Placemark>"
        "</Document></kml>",
    )
    found = run("measure", file)
    assert found.code == 0
    (plot,) = found.data["plots"]
    assert plot["area_m2"] == pytest.approx(independent_area_m2(ring[:-1]), rel=1e-9)
    assert found.says("Gate", "it is no plot and was not measured")

    own = tmp_path / "own.gpkg"
    ran_well("new", own, "--name", "Own ground", "--season", 2026)
    asked = {one["id"]: one["choices"] for one in run("import", own, file).data["questions"]}
    assert "gate" in asked["feature.2"]
    answers = ("--answer", "feature.1=plot", "--answer", "feature.2=gate")
    assert run("import", own, file, *answers).code in (0, 1)
    assert [name for name, _ in ran_well("show", own, "ways")["listed"]] == ["way-1"]
    assert [name for name, _ in ran_well("show", own, "plots")["listed"]] == ["Pond Top"]
