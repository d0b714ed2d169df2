"""Every export is opened again by a general library and compared with the season it came from."""

from __future__ import annotations

import csv
import json
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pyogrio
import pytest
import shapely
from pyproj import Geod, Transformer
from sample_view import HOSTILE, K_LB_ACRE, N_LB_ACRE, P_LB_ACRE, POTASH, UREA, sample_view

from loamwright.errors import InputError, Level
from loamwright.files.plots import keepouts_from_shapes, plots_from_shapes
from loamwright.files.vectors import read_shapes
from loamwright.handoff.exports import KINDS, export, rate_columns
from loamwright.handoff.workbook import FORMULA_STARTS, guarded
from loamwright.units import ACRE_M2
from loamwright.work.records import SeasonView

GEOD = Geod(ellps="WGS84")
#: lb of product per acre, by hand: need over content.
RATES = {"urea": N_LB_ACRE / 0.46, "triple": P_LB_ACRE / 0.46, "potash": K_LB_ACRE / 0.60, "lime": 4000.0}


def geodesic_m2(shape: shapely.Geometry) -> float:
    return (
        abs(GEOD.geometry_area_perimeter(shapely.geometry.polygon.orient(shape))[0])
        if isinstance(shape, shapely.Polygon)
        else sum(geodesic_m2(part) for part in shape.geoms)
    )


def fresh(plots: int = 25, hostile: bool = False) -> SeasonView:
    """A season in which nothing has been applied yet."""
    view = sample_view(plots, hostile=hostile)
    return replace(view, statuses=(), record=replace(view.record, applications=()))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("hostile", [False, True])
def test_every_kind_writes_files(kind: str, hostile: bool, tmp_path: Path) -> None:
    made = export(sample_view(25, hostile=hostile), tmp_path / "new" / "folder", kind)
    assert made.paths
    assert all(path.stat().st_size > 0 for path in made.paths)
    assert all(problem.level is not Level.ERROR for problem in made.problems)


@pytest.mark.parametrize(
    ("kind", "file", "layer"),
    [
        ("geojson", "zones.geojson", None),
        ("geopackage", "season.gpkg", "zones"),
        ("shapefile", "zones.shp", None),
    ],
)
def test_zones_reopen_with_the_same_areas_and_rates(
    kind: str, file: str, layer: str | None, tmp_path: Path
) -> None:
    view = fresh()
    export(view, tmp_path, kind)
    frame = pyogrio.read_dataframe(tmp_path / file, layer=layer)
    assert len(frame) == 25
    assert frame.crs.to_epsg() == 4326
    rates = [name for name in frame.columns if name.lower().startswith(("rate_", "r1_", "r2_", "r3_", "r4_"))]
    assert len(rates) == 4
    for row in frame.itertuples():
        area = view.areas[row.plot_id]
        assert geodesic_m2(row.geometry) == pytest.approx(area.spread_area_m2, rel=1e-6)
        assert row.acres == pytest.approx(area.spread_area_m2 / ACRE_M2, rel=1e-9)
        planned = {line.product.split()[0].lower() for line in view.plan.lines if line.plot_id == row.plot_id}
        planned = {"lime" if word == "ag" else word for word in planned}
        for name in rates:
            word = next(w for w in RATES if w in name.lower())
            expected = RATES[word] if word in planned else 0.0
            assert getattr(row, name) == pytest.approx(expected, rel=1e-9), (row.plot_id, name)


def test_begun_passes_have_rate_zero_and_are_named(tmp_path: Path) -> None:
    view = sample_view(25)
    made = export(view, tmp_path, "geopackage")
    frame = pyogrio.read_dataframe(tmp_path / "season.gpkg", layer="zones").set_index("plot_id")
    (column,) = [name for name in frame.columns if "urea" in name]
    assert frame.loc["AF-03", column] == 0
    assert UREA in frame.loc["AF-03", "begun"]
    assert frame.loc["AF-01", column] == pytest.approx(RATES["urea"])
    begun = sum(status.state.value != "nothing yet" for status in view.statuses)
    assert f"{begun} passes" in made.problems[0].what


def test_shapefile_names_and_texts_fit(tmp_path: Path) -> None:
    made = export(fresh(hostile=True), tmp_path, "shapefile")
    info = pyogrio.read_info(tmp_path / "zones.shp")
    assert all(len(name) <= 10 for name in info["fields"])
    assert len(set(info["fields"])) == len(info["fields"])
    assert any("was cut to" in problem.what for problem in made.problems)  # the 300-character name
    with (tmp_path / "zones_columns.csv").open(encoding="utf-8", newline="") as handle:
        legend = {row["field in a Shapefile"]: row["product"] for row in csv.DictReader(handle)}
    assert set(legend) == {name for name in info["fields"] if name.startswith("R")}
    assert any(name.endswith(UREA) for name in legend.values())


def test_rate_columns_of_like_names_stay_apart() -> None:
    (line,) = [line for line in sample_view(1).plan.lines if line.product == UREA]
    lines = [replace(line, product=f"Urea blend number {n}") for n in range(12)]
    columns = rate_columns(lines)
    assert len({c.short for c in columns}) == len({c.name for c in columns}) == 12
    assert max(len(c.short) for c in columns) <= 10


def test_plots_come_back_through_our_own_reader(tmp_path: Path) -> None:
    view = sample_view(25)
    export(view, tmp_path, "geojson")
    read = plots_from_shapes(read_shapes(tmp_path / "plots.geojson"), 2026, 3.0)
    assert [plot.plot_id for plot in read.plots] == [plot.plot_id for plot in view.record.plots]
    for plot, original in zip(read.plots, view.record.plots, strict=True):
        assert plot.name == original.name
        area = geodesic_m2(plot.boundary)
        assert area == pytest.approx(view.areas[plot.plot_id].area_m2, rel=1e-6)
        assert (plot.entrance is None) == (original.entrance is None)
    crops = {c.plot_id: (c.crop, c.yield_goal) for c in read.croppings}
    assert crops == {p: (c.crop, c.yield_goal) for p, c in view.croppings.items()}
    kept = keepouts_from_shapes(read_shapes(tmp_path / "keepouts.geojson"))
    assert {k.keepout_id: k.setback_m for k in kept.keepouts} == pytest.approx(
        {k.keepout_id: k.setback_m for k in view.record.keepouts}
    )


def test_setbacks_are_as_far_as_they_say(tmp_path: Path) -> None:
    """The creek keeps 50 ft = 15.24 m on both sides: GEOS in UTM 15N, whose scale here is 1 to 0.04 %."""
    view = sample_view(25)
    export(view, tmp_path, "geojson")
    frame = pyogrio.read_dataframe(tmp_path / "setbacks.geojson")
    assert list(frame.keepout_id) == ["KO-creek", "KO-well"]  # the pond's is not stated: no ring
    utm = Transformer.from_crs(4326, 32615, always_xy=True)
    ring, creek = (
        shapely.transform(shape, lambda xy: np.column_stack(utm.transform(xy[:, 0], xy[:, 1])))
        for shape in (frame.geometry[0].exterior, view.record.keepouts[0].shape)
    )
    far = [creek.distance(shapely.Point(corner)) for corner in shapely.get_coordinates(ring)]
    assert max(far) == pytest.approx(15.24, rel=6e-4)
    assert min(far) == pytest.approx(15.24, rel=6e-4)


def test_geopackage_layers(tmp_path: Path) -> None:
    export(sample_view(25), tmp_path, "geopackage")
    export(sample_view(25), tmp_path, "geopackage")  # again: replaced, not doubled
    names = [name for name, _ in pyogrio.list_layers(tmp_path / "season.gpkg")]
    assert names == ["plots", "zones", "keepouts", "setbacks", "cores"]
    assert pyogrio.read_info(tmp_path / "season.gpkg", layer="plots")["features"] == 25
    plots = pyogrio.read_dataframe(tmp_path / "season.gpkg", layer="plots").set_index("plot_id")
    assert plots.loc["AF-07", "need_p2o5_state"] == "unknown"
    assert math.isnan(plots.loc["AF-07", "need_p2o5_lb_acre"])  # unknown is blank, not zero
    assert plots.loc["AF-04", "need_p2o5_state"] == "none"
    assert plots.loc["AF-04", "need_p2o5_lb_acre"] == 0


def test_kml_and_gpx_reopen(tmp_path: Path) -> None:
    view = sample_view(25)
    export(view, tmp_path, "kml")
    export(view, tmp_path, "gpx")
    plots = pyogrio.read_dataframe(tmp_path / "plots.kml")
    assert len(plots) == 25
    assert "Urea 46-0-0, top-dress: 87.0 lb/acre" in " ".join(plots["description"])  # 40 / 0.46 = 86.96
    total = sum(geodesic_m2(shape) for shape in plots.geometry)
    assert total == pytest.approx(sum(area.area_m2 for area in view.areas.values()), rel=1e-6)
    points = pyogrio.read_dataframe(tmp_path / "places.gpx", layer="waypoints")
    ways_in = sum(plot.entrance is not None for plot in view.record.plots)
    cores = sum(len(s.points) for s in view.sampling.values() if s.due)
    assert len(points) == 25 + ways_in
    marks = pyogrio.read_dataframe(tmp_path / "cores.gpx", layer="waypoints")
    assert len(marks) == cores
    assert set(marks["sym"]) == {"Dot"}
    assert set(points["sym"]) == {"Flag", "Gate"}
    found = points.set_index("name").geometry["AF-01 way in"]
    assert (found.x, found.y) == pytest.approx(view.record.plots[0].entrance, abs=1e-7)
    assert sum(name.startswith("AF-07 core") for name in marks["name"]) == 15


def test_outlines_are_the_ground_to_spread_and_close(tmp_path: Path) -> None:
    """A receiver draws the edge; polygonized again by shapely it holds the spread area (WGS84, PROJ)."""
    view = sample_view(25)
    export(view, tmp_path, "gpx")
    tracks = pyogrio.read_dataframe(tmp_path / "outlines.gpx", layer="tracks").set_index("name")
    for plot in view.record.plots:
        lines = tracks.geometry[f"{plot.plot_id} {plot.name}"]
        rings = [shapely.Polygon(line) for line in lines.geoms]
        whole = rings[0]
        for ring in rings[1:]:
            whole = whole.symmetric_difference(ring)  # a hole takes away, a further part adds
        spread = view.areas[plot.plot_id].spread_area_m2
        assert geodesic_m2(whole) == pytest.approx(spread, rel=1e-5)
        assert f"{spread / ACRE_M2:.2f} acres to spread" in tracks["desc"][f"{plot.plot_id} {plot.name}"]


def test_the_stops_of_rounds_have_numbers_and_amounts(tmp_path: Path) -> None:
    view = sample_view(25)
    export(view, tmp_path, "rounds")
    points = pyogrio.read_dataframe(tmp_path / "rounds.gpx", layer="waypoints").set_index("name")
    assert len(points) == sum(len({stop.plot_id for stop in one.stops}) for one in view.rounds)
    stop = view.rounds[2].stops[1]
    text = points["desc"][f"3.2 {stop.plot_id}"]
    acres = view.areas[stop.plot_id].spread_area_m2 / ACRE_M2
    assert f"; 50 lb/acre; {POTASH} {50 * acres:.1f} lb" in text  # 30 lb K2O/acre at 60 %
    assert "50 lb bag" in text


def test_kml_is_coloured_by_product_and_has_ids(tmp_path: Path) -> None:
    """OGC KML: aabbggrr colours, ids that are XML names and used once, styles that are there."""
    view = sample_view(25, hostile=True)
    export(view, tmp_path, "kml")
    kml = "{http://www.opengis.net/kml/2.2}"
    root = ET.parse(tmp_path / "plots.kml").getroot()
    styles = {style.get("id") for style in root.iter(f"{kml}Style")}
    used, ids = [], []
    for mark, plot in zip(root.iter(f"{kml}Placemark"), view.record.plots, strict=True):
        ids.append(mark.get("id") or "")
        (url,) = mark.findall(f"{kml}styleUrl")
        used.append((url.text or "").removeprefix("#"))
        assert mark.findtext(f"{kml}description", "").startswith(f"{plot.plot_id}, ")
    assert set(used) <= styles
    assert len(set(used)) > 1
    assert len(set(ids)) == 25
    assert all(re.fullmatch(r"[A-Za-z_][A-Za-z0-9_.-]*", name) for name in ids)
    colours = [node.text or "" for node in root.iter(f"{kml}color")]
    assert all(re.fullmatch(r"[0-9a-f]{8}", colour) for colour in colours)
    heaviest = {}
    for line in view.plan.lines:
        heaviest[line.plot_id] = max(heaviest.get(line.plot_id, (0.0, "")), (line.mass_kg, line.product))
    by_style: dict[str, set[str]] = {}
    for plot, style in zip(view.record.plots, used, strict=True):
        by_style.setdefault(style, set()).add(heaviest[plot.plot_id][1] if plot.plot_id in heaviest else "")
    assert all(len(products) == 1 for products in by_style.values())


@pytest.mark.parametrize("kind", ["kml", "gpx", "geojson", "geopackage"])
def test_hostile_names_come_back_as_written(kind: str, tmp_path: Path) -> None:
    view = sample_view(25, hostile=True)
    made = export(view, tmp_path, kind)
    layer = {"geopackage": "plots", "gpx": "waypoints"}.get(kind)
    frame = pyogrio.read_dataframe(made.paths[0], layer=layer)
    values = {str(value) for name in frame.columns if name != "geometry" for value in frame[name].dropna()}
    for text in HOSTILE[:4]:
        assert any(text in value for value in values), text


def test_control_characters_do_not_break_xml(tmp_path: Path) -> None:
    view = sample_view(2)
    plots = tuple(replace(p, name="form\x0cfeed \x00 bell\x07") for p in view.record.plots)
    view = replace(view, record=replace(view.record, plots=plots))
    for kind, file in (("kml", "plots.kml"), ("gpx", "places.gpx")):
        export(view, tmp_path, kind)
        assert len(pyogrio.read_dataframe(tmp_path / file)) >= 2


def _cells(book: openpyxl.Workbook) -> list[openpyxl.cell.Cell]:
    return [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]


@pytest.mark.parametrize("hostile", [False, True])
def test_workbook_holds_no_formula(hostile: bool, tmp_path: Path) -> None:
    view = sample_view(25, hostile=hostile)
    export(view, tmp_path, "xlsx")
    book = openpyxl.load_workbook(tmp_path / "season.xlsx")
    cells = _cells(book)
    assert all(cell.data_type != "f" for cell in cells)
    assert all(cell.hyperlink is None for cell in cells)
    if hostile:
        assert any(str(cell.value).startswith("=HYPERLINK") for cell in cells)  # there as text
    plan = book["Plan"]
    rows = [row for row in plan.iter_rows(min_row=2, values_only=True) if row[0]]
    assert len(rows) == len(view.plan.lines)
    # every pass, to a thousandth of a pound, from acres and the rates by hand
    for row in rows:
        acres = view.areas[row[0]].spread_area_m2 / ACRE_M2
        word = next((w for w in ("urea", "triple", "potash") if w in row[1].lower()), "lime")
        assert row[4] == pytest.approx(acres * RATES[word], abs=1e-3)


def test_csv_starts_no_formula_and_keeps_every_digit(tmp_path: Path) -> None:
    view = sample_view(25, hostile=True)
    for path in export(view, tmp_path, "csv").paths:
        with path.open(encoding="utf-8", newline="") as handle:
            for row in csv.reader(handle):
                for cell in row:
                    number = cell.replace("-", "", 1).replace(".", "", 1).replace("e", "", 1).isdigit()
                    assert number or not cell.startswith(FORMULA_STARTS), cell
    with (tmp_path / "plan.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert [float(row["lb/acre"]) * 0.45359237 / 0.40468564224 for row in rows] == pytest.approx(
        [line.rate_kg_ha for line in view.plan.lines], rel=1e-12
    )
    # OWASP's list of starting characters
    assert [guarded(text)[0] for text in ("=1", "+1", "-1", "@a", "\tb", "\rc")] == ["'"] * 6


def test_a_metric_property_is_exported_in_its_units(tmp_path: Path) -> None:
    """The same season twice: 1 lb/acre = 0.45359237 kg / 0.40468564224 ha, 1 acre = 0.40468564224 ha."""
    per_rate, per_area = 0.45359237 / 0.40468564224, 0.40468564224
    us, metric = (sample_view(4, units=units) for units in ("us", "metric"))
    for kind in ("csv", "geojson"):
        export(us, tmp_path / "us", kind)
        export(metric, tmp_path / "metric", kind)

    def table(folder: str, name: str) -> list[dict[str, str]]:
        with (tmp_path / folder / name).open(encoding="utf-8", newline="") as handle:
            return list(csv.DictReader(handle))

    for name, pairs in {
        "plots.csv": {"acres": ("hectares", per_area), "acres to spread": ("hectares to spread", per_area)},
        "needs.csv": {"lb/acre": ("kg/ha", per_rate), "lb": ("kg", 0.45359237)},
        "plan.csv": {"lb/acre": ("kg/ha", per_rate), "lb": ("kg", 0.45359237)},
        "applications.csv": {
            "amount lb": ("amount kg", 0.45359237),
            "rate lb/acre": ("rate kg/ha", per_rate),
        },
        "spreader_tests.csv": {"swath ft": ("swath m", 0.3048)},
    }.items():
        here, there = table("us", name), table("metric", name)
        assert here, name
        for column, (other, factor) in pairs.items():
            for one, two in zip(here, there, strict=True):
                assert column not in two
                if one[column]:
                    assert float(two[other]) == pytest.approx(float(one[column]) * factor), (name, column)
    zones = [json.loads((tmp_path / f / "zones.geojson").read_text("utf-8")) for f in ("us", "metric")]
    first, second = (layer["features"][0]["properties"] for layer in zones)
    assert second["hectares"] == pytest.approx(first["acres"] * per_area, rel=1e-6)
    rates = {name: value for name, value in first.items() if name.endswith("_lb_acre")}
    assert rates
    for name, value in rates.items():
        assert second[name.replace("_lb_acre", "_kg_ha")] == pytest.approx(value * per_rate, rel=1e-6)


def test_unknown_kind_and_unusable_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'dwg' is not a kind of export"):
        export(sample_view(1), tmp_path, "dwg")
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="file"):
        export(sample_view(1), tmp_path / "file" / "in", "csv")


@pytest.mark.parametrize("kind", KINDS)
def test_a_season_without_plan_or_plots_does_not_break(kind: str, tmp_path: Path) -> None:
    export(sample_view(3, with_plan=False), tmp_path / "no plan", kind)
    view = sample_view(1)
    bare = replace(
        view,
        record=replace(view.record, plots=(), croppings=(), keepouts=(), applications=()),
        areas={},
        needs={},
        plan=None,
        statuses=(),
        balances=(),
        rounds=(),
        sampling={},
    )
    export(bare, tmp_path / "bare", kind)
