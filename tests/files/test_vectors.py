"""Map files: every format there and back, and every kind of broken file named with its fault."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import warnings
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import pytest
import shapely
from places import HOME, box, place, polygon, ring_wkb, square
from pyproj import Transformer

from loamwright.errors import InputError, Level
from loamwright.files.vectors import (
    LayerFeature,
    LayerKind,
    ShapeFile,
    read_shapes,
    write_layer,
    write_layers,
)
from loamwright.land.geometry import measure_boundary

RING = [list(place(corner)) for corner in [*box(0, 0, 100, 100), (0.0, 0.0)]]


def geojson(path: Path, *geometries: Any, **more: Any) -> Path:
    features = [
        {
            "type": "Feature",
            "properties": {"plot_id": f"A{number}", "name": f"Plot {number}"},
            "geometry": geometry,
        }
        for number, geometry in enumerate(geometries, start=1)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features, **more}), encoding="utf-8")
    return path


def polygon_of(ring: list[list[float]]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [ring]}


def refused(shapes: ShapeFile) -> str:
    assert shapes.features == ()
    assert shapes.problems
    assert shapes.problems[-1].level is Level.ERROR
    assert shapes.problems[-1].fix
    assert shapes.path.name in shapes.problems[-1].where
    return str(shapes.problems[-1])


# There and back --------------------------------------------------------------------------------------

WRITTEN = [
    LayerFeature(
        square(100), {"plot_id": "7", "name": "Pine Flat", "rank": 1, "share": 0.25, "seeding": True}
    ),
    LayerFeature(
        polygon(box(200, 0, 300, 100), box(220, 20, 260, 60)),
        {"plot_id": "B2", "name": "Bächle <script>", "rank": None, "share": None, "seeding": False},
    ),
    LayerFeature(
        shapely.MultiPolygon([polygon(box(400, 0, 450, 50)), polygon(box(500, 0, 550, 50))]),
        {"plot_id": "C3", "name": "Two parts", "rank": 3, "share": 1.5, "seeding": None},
    ),
]
FORMATS = [
    (LayerKind.GEOJSON, ".geojson"),
    (LayerKind.KML, ".kml"),
    (LayerKind.KML, ".kmz"),
    (LayerKind.SHAPEFILE, ".shp"),
    (LayerKind.GEOPACKAGE, ".gpkg"),
    (LayerKind.FLATGEOBUF, ".fgb"),
]


@pytest.mark.parametrize(("kind", "suffix"), FORMATS)
def test_every_format_there_and_back(tmp_path: Path, kind: LayerKind, suffix: str) -> None:
    path = tmp_path / f"plots{suffix}"
    assert write_layer(path, kind, WRITTEN, "plots") == ()
    if suffix == ".kmz":  # a KML in an archive
        written = path.read_bytes()
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("doc.kml", written)
    back = read_shapes(path)
    assert back.problems == ()
    found = {feature.properties["plot_id"]: feature for feature in back.features}
    assert set(found) == {"7", "B2", "C3"}
    for feature in WRITTEN:
        read = found[str(feature.properties["plot_id"])]
        assert not read.is_track
        # Coordinates survive to the last digit, give or take the text of a double.
        assert shapely.hausdorff_distance(feature.shape, read.shape) < 1e-13
        measured = measure_boundary(read.shape)
        assert measured.area_m2 == pytest.approx(measure_boundary(feature.shape).area_m2, rel=1e-9)
        words = {key.lower(): value for key, value in read.properties.items()}
        assert words["name"] == feature.properties["name"]
        assert words.get("rank") == (str(feature.properties["rank"]) if feature.properties["rank"] else None)
        assert words.get("seeding") == {True: "yes", False: "no", None: None}[feature.properties["seeding"]]  # type: ignore[index]
    assert found["7"].where == f"{path.name}, feature 1 (Pine Flat)"
    assert float(found["C3"].properties["share"]) == 1.5


@pytest.mark.parametrize("field", ["name", "description", "plot_id"])
def test_the_end_of_a_cdata_section_is_text_in_kml(tmp_path: Path, field: str) -> None:
    said = ["a ]]> b <b>&amp;</b> ]]]]>> ]]", "]]>", "<![CDATA[ x ]]> <![CDATA["]
    write_layer(
        tmp_path / "p.kml", "kml", [LayerFeature(square(100), {field: text}) for text in said], "plots"
    )
    # Read by Python's own XML parser, which knows nothing of how it was written.
    texts = [one.text for one in ET.parse(tmp_path / "p.kml").iter()]
    assert set(said) <= set(texts)


def test_writing_leaves_nothing_else_behind(tmp_path: Path) -> None:
    write_layer(tmp_path / "plots.shp", "shapefile", WRITTEN, "plots")
    assert {path.suffix for path in tmp_path.iterdir()} == {".shp", ".shx", ".dbf", ".prj", ".cpg"}
    assert (tmp_path / "plots.cpg").read_text() == "UTF-8"


def test_a_geopackage_holds_several_layers(tmp_path: Path) -> None:
    path = tmp_path / "property.gpkg"
    keepouts = [LayerFeature(shapely.Point(HOME), {"kind": "well"})]
    write_layers(path, "geopackage", [("plots", WRITTEN), ("keepouts", keepouts)])
    assert len(read_shapes(path, layer="plots").features) == 3
    assert read_shapes(path, layer="keepouts").features[0].properties == {"kind": "well"}
    assert "it holds several layers: plots, keepouts" in refused(read_shapes(path))
    assert "it has no layer 'trails'" in refused(read_shapes(path, layer="trails"))


def test_geojson_is_written_as_the_standard_has_it(tmp_path: Path) -> None:
    """RFC 7946, section 3.1.6: outer rings counter-clockwise; section 4: no crs member."""
    path = tmp_path / "plots.geojson"
    clockwise = square(100).reverse()
    write_layer(path, "geojson", [LayerFeature(clockwise, {"plot_id": "A"})], "plots")
    document = json.loads(path.read_text(encoding="utf-8"))
    assert "crs" not in document
    assert shapely.Polygon(document["features"][0]["geometry"]["coordinates"][0]).exterior.is_ccw


def test_points_and_tracks_go_to_gpx(tmp_path: Path) -> None:
    cores = [
        LayerFeature(shapely.Point(place((i, 0))), {"name": f"core {i}", "plot_id": "A"}) for i in (1, 2)
    ]
    (note,) = write_layer(tmp_path / "cores.gpx", "gpx", cores, "cores")
    assert note.level is Level.NOTE
    assert "'plot_id'" in note.what
    back = read_shapes(tmp_path / "cores.gpx")
    assert [feature.properties["name"] for feature in back.features] == ["core 1", "core 2"]
    assert back.features[0].shape.distance(shapely.Point(place((1, 0)))) < 1e-8
    path = LayerFeature(shapely.LineString([place((0, 0)), place((9, 9))]), {"name": "way in"})
    assert write_layer(tmp_path / "way.gpx", "gpx", [path], "ways") == ()
    assert read_shapes(tmp_path / "way.gpx").features[0].is_track


# Limits of a Shapefile ---------------------------------------------------------------------------------


def test_long_field_names_are_cut_told_and_kept_apart(tmp_path: Path) -> None:
    words = {"application_n": "1", "application_p": "2", "Applicatio": "3", "ok": "4"}
    problems = write_layer(tmp_path / "z.shp", "shapefile", [LayerFeature(square(100), words)], "z")
    back = read_shapes(tmp_path / "z.shp").features[0].properties
    assert back == {"applicatio": "1", "applicat_1": "2", "Applicat_2": "3", "ok": "4"}
    assert ["'application_n' is written as 'applicatio'" in str(problem) for problem in problems].count(
        True
    ) == 1
    assert len(problems) == 3
    assert {problem.level for problem in problems} == {Level.NOTE}


def test_long_text_is_cut_between_letters_and_told(tmp_path: Path) -> None:
    """ä is two bytes in UTF-8: 253 letters x and one ä are 255 bytes, so the ä must go whole."""
    text = "x" * 253 + "ä"
    feature = LayerFeature(square(100), {"plot_id": "A", "notes": text})
    (problem,) = write_layer(tmp_path / "z.shp", "shapefile", [feature], "z")
    assert problem.level is Level.WARNING
    assert problem.where == "z.shp, feature 1, notes"
    assert "255 bytes was cut to 253" in problem.what
    assert read_shapes(tmp_path / "z.shp").features[0].properties["notes"] == "x" * 253
    assert write_layer(tmp_path / "z.gpkg", "geopackage", [feature], "z") == ()
    assert read_shapes(tmp_path / "z.gpkg").features[0].properties["notes"] == text


def test_mixed_shapes_become_one_shapefile_each(tmp_path: Path) -> None:
    mixed = [
        LayerFeature(square(100), {"kind": "pond"}),
        LayerFeature(shapely.LineString([HOME, place((9, 9))]), {"kind": "creek"}),
        LayerFeature(shapely.Point(HOME), {"kind": "well"}),
    ]
    (note,) = write_layer(tmp_path / "k.shp", "shapefile", mixed, "k")
    assert "k_areas.shp, k_lines.shp, k_points.shp" in note.fix
    kinds = {
        ending: read_shapes(tmp_path / f"k_{ending}.shp").features[0].properties["kind"]
        for ending in ("areas", "lines", "points")
    }
    assert kinds == {"areas": "pond", "lines": "creek", "points": "well"}
    assert write_layer(tmp_path / "k.geojson", "geojson", mixed, "k") == ()
    assert len(read_shapes(tmp_path / "k.geojson").features) == 3


def test_nothing_to_write_makes_no_file(tmp_path: Path) -> None:
    (note,) = write_layer(tmp_path / "z.gpkg", "geopackage", [], "trails")
    assert note.what == "there is nothing to write"
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written: a part of its folder's name is a file"):
        write_layer(tmp_path / "file" / "z.gpkg", "geopackage", WRITTEN, "z")
    with pytest.raises(ValueError, match="dxf"):
        write_layer(tmp_path / "z.dxf", "dxf", WRITTEN, "z")


# Other ways in -------------------------------------------------------------------------------------------


def test_what_the_reader_says_of_the_file_is_told_and_what_libraries_say_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plots.gpkg"
    write_layer(path, LayerKind.GEOPACKAGE, WRITTEN, "plots")
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("ALTER TABLE plots ADD COLUMN sown DATE DEFAULT 'in spring'")
    read = pyogrio.raw.read

    def talkative(*args: Any, **options: Any) -> Any:
        for category in (DeprecationWarning, FutureWarning, np.exceptions.VisibleDeprecationWarning):
            warnings.warn_explicit("a unit is deprecated", category, pyogrio.raw.__file__, 1)
        warnings.warn("overflow encountered in cast", RuntimeWarning, stacklevel=1)
        assert not np.isfinite(np.float64(1e308) * 10)
        return read(*args, **options)

    monkeypatch.setattr(pyogrio.raw, "read", talkative)
    problems = read_shapes(path).problems
    assert problems
    for problem in problems:
        assert "in spring" in problem.what
        assert problem.level is Level.WARNING


def test_numbers_and_blanks_become_text(tmp_path: Path) -> None:
    path = tmp_path / "p.geojson"
    words = {
        "plot_id": 7,
        "acres": 2.0,
        "ph": 6.25,
        "done": True,
        "tags": ["a"],
        "empty": None,
        "blank": "  ",
    }
    feature = {"type": "Feature", "id": "x9", "properties": words, "geometry": polygon_of(RING)}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
    assert read_shapes(path).features[0].properties == {
        "plot_id": "7", "acres": "2", "ph": "6.25", "done": "yes", "tags": '["a"]', "id": "x9",
    }  # fmt: skip


def test_a_single_feature_or_geometry_is_a_file_too(tmp_path: Path) -> None:
    (tmp_path / "one.geojson").write_text(
        json.dumps({"type": "Feature", "properties": None, "geometry": polygon_of(RING)})
    )
    (tmp_path / "bare.json").write_bytes(b"\xef\xbb\xbf" + json.dumps(polygon_of(RING)).encode())
    for name in ("one.geojson", "bare.json"):
        (feature,) = read_shapes(tmp_path / name).features
        assert measure_boundary(feature.shape).area_m2 == pytest.approx(10_000, rel=1e-6)


def test_an_open_ring_is_closed_and_said(tmp_path: Path) -> None:
    shapes = read_shapes(geojson(tmp_path / "p.geojson", polygon_of(RING[:-1])))
    assert len(shapes.features) == 1
    assert "feature 1" in shapes.problems[0].where
    assert "not its first" in shapes.problems[0].what


KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document>
<Folder><name>plots</name><Placemark id="x1"><name>Pine</name><description>wet end</description>
<ExtendedData><Data name="crop"><value>red clover</value></Data></ExtendedData>
<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon>
</Placemark></Folder>
<Folder><name>wells</name><Placemark><name>Dug well</name>
<Point><coordinates>-93.05,46.05,312</coordinates></Point></Placemark></Folder></Document></kml>"""


def test_all_folders_of_a_kml_are_read_without_its_housekeeping(tmp_path: Path) -> None:
    path = tmp_path / "farm.kml"
    path.write_text(KML.format(ring=" ".join(f"{lon},{lat},300" for lon, lat in RING)), encoding="utf-8")
    plot, well = read_shapes(path).features
    assert plot.properties == {"Name": "Pine", "description": "wet end", "crop": "red clover"}
    assert plot.where == "farm.kml, folder plots, feature 1 (Pine)"
    assert not shapely.has_z(plot.shape)
    assert measure_boundary(plot.shape).area_m2 == pytest.approx(10_000, rel=1e-6)
    assert well.where == "farm.kml, folder wells, feature 1 (Dug well)"
    assert [feature.where for feature in read_shapes(path, layer="wells").features] == [well.where]


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="46.05" lon="-93.05"><name>Well</name></wpt>
<wpt lat="46.051" lon="-93.05"><name>017</name></wpt>
{track}</gpx>"""
TRACK = "<trk><name>Pine walk</name><trkseg>{points}</trkseg></trk>"


def gpx(path: Path, corners: list[list[float]]) -> Path:
    points = "".join(f'<trkpt lat="{lat}" lon="{lon}"><ele>300</ele></trkpt>' for lon, lat in corners)
    path.write_text(GPX.format(track=TRACK.format(points=points) if corners else ""), encoding="utf-8")
    return path


def test_tracks_of_a_gpx_are_walks_and_waypoints_without_a_name_are_said(tmp_path: Path) -> None:
    shapes = read_shapes(gpx(tmp_path / "walk.gpx", RING))
    walk, named = shapes.features
    assert (named.where, named.is_track) == ("walk.gpx, waypoints, feature 1 (Well)", False)
    assert walk.is_track
    assert walk.where == "walk.gpx, tracks, feature 1 (Pine walk)"
    assert walk.shape.geoms[0].coords[0] == pytest.approx(RING[0])
    assert "1 waypoints without a name were left aside" in shapes.problems[0].what
    well, mark = read_shapes(gpx(tmp_path / "wells.gpx", [])).features
    assert (well.properties, mark.properties) == ({"name": "Well"}, {"name": "017"})


def utm_plot() -> tuple[np.ndarray, Transformer]:
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32615", always_xy=True)
    ring = shapely.transform(
        shapely.Polygon(RING), lambda xy: np.column_stack(to_utm.transform(xy[:, 0], xy[:, 1]))
    )
    return np.array([shapely.to_wkb(ring)], dtype=object), to_utm


def write_utm(path: Path, crs: str | None = "EPSG:32615") -> Path:
    shapes, _ = utm_plot()
    driver = {".shp": "ESRI Shapefile", ".gpkg": "GPKG", ".fgb": "FlatGeobuf"}[path.suffix]
    columns = [np.array(["A1"], dtype=object)]
    pyogrio.raw.write(path, shapes, columns, ["plot_id"], driver=driver, geometry_type="Polygon", crs=crs)
    return path


@pytest.mark.parametrize("suffix", [".shp", ".gpkg", ".fgb"])
def test_other_coordinate_systems_are_converted_and_said(tmp_path: Path, suffix: str) -> None:
    shapes = read_shapes(write_utm(tmp_path / f"utm{suffix}"))
    (feature,) = shapes.features
    assert shapely.hausdorff_distance(feature.shape, shapely.Polygon(RING)) < 1e-9
    assert shapes.problems[0].level is Level.NOTE
    assert "UTM zone 15N" in shapes.problems[0].what.replace("_", " ")


def test_an_older_geojson_that_names_its_system_is_converted(tmp_path: Path) -> None:
    shapes, _ = utm_plot()
    geometry = json.loads(shapely.to_geojson(shapely.from_wkb(shapes[0])))
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32615"}}
    (feature,) = read_shapes(geojson(tmp_path / "utm.geojson", geometry, crs=crs)).features
    assert shapely.hausdorff_distance(feature.shape, shapely.Polygon(RING)) < 1e-9
    same = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    assert read_shapes(geojson(tmp_path / "same.geojson", polygon_of(RING), crs=same)).problems == ()


def test_a_zipped_shapefile(tmp_path: Path) -> None:
    write_layer(tmp_path / "plots.shp", "shapefile", WRITTEN, "plots")
    archive = tmp_path / "plots.zip"
    with zipfile.ZipFile(archive, "w") as zipped:
        for suffix in ("shp", "shx", "dbf", "prj", "cpg"):
            zipped.write(tmp_path / f"plots.{suffix}", f"export/plots.{suffix}")
    shapes = read_shapes(archive)
    assert [feature.properties["plot_id"] for feature in shapes.features] == ["7", "B2", "C3"]
    assert shapes.features[1].where == "plots.zip, feature 2 (Bächle <script>)"


# Broken files ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("cut.geojson", '{"type": "FeatureCollection",\n "features": [{"type"', "line 2, column 22"),
        ("cut.geojson", '{"type": "FeatureCollection",\n "features": [{"type"', '[{"type"\''),
        ("kml.geojson", "<?xml version='1.0'?>", "near '<?xml versio'"),
        ("list.json", "[1, 2]", "its type is None"),
        ("topo.json", '{"type": "Topology", "objects": {}}', "its type is 'Topology'"),
        ("deep.json", "[" * 100_000, "JSON"),
        ("none.geojson", '{"type": "FeatureCollection", "features": []}', "has no features"),
        ("odd.geojson", '{"type": "FeatureCollection", "features": {}}', "its type is 'FeatureCollection'"),
        ("zero.geojson", "", "0 bytes"),
        ("zero.gpkg", "", "0 bytes"),
        ("text.gpkg", "this is not a database", "cannot be read as gpkg"),
        ("text.kml", "this is not XML", "cannot be read as kml"),
        ("text.kmz", "this is not a zip", "cannot be read as kmz"),
        ("text.gpx", "this is not XML", "cannot be read as gpx"),
        ("text.fgb", "this is not a FlatGeobuf", "cannot be read as fgb"),
        ("text.zip", "this is not a zip", "not a zip archive"),
        ("plots.dbf", "x", "Give plots.shp"),
        ("plots.dwg", "x", "'.dwg' is not a kind of map file"),
        ("plots", "x", "without an ending"),
    ],
)
def test_files_that_cannot_be_read(tmp_path: Path, name: str, content: str, said: str) -> None:
    (tmp_path / name).write_text(content, encoding="utf-8")
    assert said in refused(read_shapes(tmp_path / name))


def test_bytes_that_are_not_utf8(tmp_path: Path) -> None:
    (tmp_path / "latin.geojson").write_bytes('{"name": "Bächle"}'.encode("latin-1"))
    assert "byte 12 is not UTF-8" in refused(read_shapes(tmp_path / "latin.geojson"))


def test_a_folder_and_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert "is a folder" in refused(read_shapes(tmp_path))
    assert "there is no file" in refused(read_shapes(tmp_path / "plots.geojson"))


def test_a_shapefile_without_its_helpers(tmp_path: Path) -> None:
    path = write_utm(tmp_path / "utm.shp")
    (tmp_path / "utm.prj").unlink()
    said = refused(read_shapes(path))
    assert "coordinate system is not known: utm.prj is missing" in said
    assert "EPSG:4326" in said
    (tmp_path / "utm.shx").unlink()
    assert "utm.shx is missing" in refused(read_shapes(path))


def test_a_zip_without_one_shapefile(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as zipped:
        zipped.writestr("readme.txt", "hello")
    assert "this one holds readme.txt" in refused(read_shapes(tmp_path / "a.zip"))


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_geopackage_without_a_system_is_refused(tmp_path: Path) -> None:
    assert "coordinate system is not known" in refused(
        read_shapes(write_utm(tmp_path / "utm.gpkg", crs=None))
    )


@pytest.mark.parametrize(
    ("crs", "said"),
    [
        ({"type": "name", "properties": {"name": "our own grid"}}, "our own grid"),
        ({"type": "link", "properties": {"href": "grid.prj"}}, "grid.prj"),
    ],
)
def test_a_system_that_cannot_be_converted_is_named(tmp_path: Path, crs: Any, said: str) -> None:
    assert said in refused(read_shapes(geojson(tmp_path / "p.geojson", polygon_of(RING), crs=crs)))


def test_projected_numbers_in_a_geojson_are_refused_once_for_the_file(tmp_path: Path) -> None:
    shapes, to_utm = utm_plot()
    geometry = json.loads(shapely.to_geojson(shapely.from_wkb(shapes[0])))
    said = refused(read_shapes(geojson(tmp_path / "utm.geojson", geometry, geometry, geometry)))
    easting, northing = to_utm.transform(*RING[0])
    assert f"({easting:.10g}, {northing:.10g})" in said
    assert "feature 1 (Plot 1)" in said
    assert "and so for 2 more" in said
    assert "EPSG:4326" in said


def test_swapped_longitude_and_latitude_are_refused(tmp_path: Path) -> None:
    swapped = polygon_of([[lat, lon] for lon, lat in RING])
    said = refused(read_shapes(geojson(tmp_path / "p.geojson", swapped)))
    assert "latitude -93.05" in said
    assert "longitude first" in said


@pytest.mark.filterwarnings("ignore:Registering non-standard")
def test_an_unclosed_ring_is_closed_and_said_and_a_kind_nobody_reads_is_refused(tmp_path: Path) -> None:
    triangle = ring_wkb([(0, 0), (9, 0), (9, 9), (0, 0)], kind=17)
    drawn = [ring_wkb(box(0, 0, 100, 100)), triangle, shapely.to_wkb(square(100))]
    pyogrio.raw.write(
        tmp_path / "land.gpkg",
        np.array(drawn, dtype=object),
        [np.array(["open", "triangle", "closed"], dtype=object)],
        ["name"],
        driver="GPKG",
        geometry_type="Unknown",
        crs="EPSG:4326",
    )
    shapes = read_shapes(tmp_path / "land.gpkg")
    assert [feature.properties["name"] for feature in shapes.features] == ["open", "closed"]
    for feature in shapes.features:
        assert measure_boundary(feature.shape).area_m2 == pytest.approx(10_000, rel=1e-6)
    closed, unread = shapes.problems
    assert (closed.where, closed.level) == ("land.gpkg, feature 1 (open)", Level.NOTE)
    assert "not its first" in closed.what
    assert (unread.where, unread.level) == ("land.gpkg, feature 2 (triangle)", Level.ERROR)
    assert f"cannot be read ({len(triangle)} bytes)" in unread.what


def test_bad_features_are_named_and_the_rest_is_read(tmp_path: Path) -> None:
    path = geojson(
        tmp_path / "p.geojson",
        polygon_of(RING),
        None,
        {"type": "Blob", "coordinates": []},
        polygon_of([["a", "b"]]),  # type: ignore[list-item]
    )
    document = json.loads(path.read_text())
    document["features"].append("not a feature")
    path.write_text(json.dumps(document))
    shapes = read_shapes(path)
    assert [feature.properties["plot_id"] for feature in shapes.features] == ["A1"]
    said = [str(problem) for problem in shapes.problems]
    assert len(said) == 4
    assert "feature 2 (Plot 2): the feature has no shape (null geometry)" in said[0]
    assert "feature 3 (Plot 3)" in said[1]
    assert "Blob" in said[1]
    assert '"a"' in said[2]
    assert 'feature 5: "not a feature"' in said[3]


def test_what_the_library_says_of_a_file_is_a_problem_and_no_warning_of_pythons(tmp_path: Path) -> None:
    """Bytes 68 to 71 of an SQLite file hold its application id (SQLite, Database File Format, 1.3.17)."""
    path = write_utm(tmp_path / "plots.gpkg")
    content = bytearray(path.read_bytes())
    content[68:72] = b"\x47\xf2\x4b\x47"
    path.write_bytes(content)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        shapes = read_shapes(path)
    assert any("bad application_id" in problem.what for problem in shapes.problems)
