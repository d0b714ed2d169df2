"""Map files in and out: GeoJSON, KML, KMZ, GPX, Shapefile, GeoPackage, FlatGeobuf.

This file answers "which shapes and which words are in this file, in longitude and latitude?" and
writes them back. It does not know what a plot or a keep-out is (`plots` does) and does not
judge a shape beyond whether its numbers can be a place on farmed ground.

References
----------
H. Butler and others, "The GeoJSON Format", RFC 7946, IETF, 2016.
"""

from __future__ import annotations

import io
import json
import re
import tempfile
import uuid
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.files.jsontext import read_json, without_collecting
from loamwright.files.what_it_is import refuse_a_disguise, refuse_no_file
from loamwright.files.whole import write_set
from loamwright.land import Shape, check_coordinates, geometry_type, placed_for_sure, shapes_from_geojson

_GEOGRAPHIC = "EPSG:4326"
#: Fields the KML reader adds by itself.
_KML_FIELDS = set(
    "id timestamp begin end altitudemode tessellate extrude visibility draworder icon".split()  # noqa: SIM905
)


@dataclass(frozen=True, slots=True)
class Feature:
    """One shape of a file with its words, as read.

    Parameters
    ----------
    where
        File, feature number and name, for messages.
    properties
        What the file says of it, as text; blank fields are left out.
    shape
        Longitude-latitude on WGS84, heights dropped, not yet checked as a plot.
    is_track
        True for a line: walked with GPS when it stands for a plot.
    """

    where: str
    properties: Mapping[str, str]
    shape: Shape
    is_track: bool


@dataclass(frozen=True, slots=True)
class ShapeFile:
    """What a map file holds.

    Parameters
    ----------
    path
        The file.
    features
        Its shapes; those that cannot be used are left out.
    problems
        What was found while reading.
    """

    path: Path
    features: tuple[Feature, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(slots=True)
class Found:
    """What a reader hands back: (place, properties, shape or None or problem) and remarks."""

    rows: list[tuple[str, dict[str, str], Shape | Problem | None]] = field(default_factory=list)
    remarks: list[Problem] = field(default_factory=list)


# ---------------------------------------------------------------------------------------------
# Reading


def read_shapes(path: Path, layer: str | None = None, document: Any = None) -> ShapeFile:
    """Read the shapes of a map file; a `document` is its JSON where that has been read already."""
    try:
        found = _reader(path)(path, layer) if document is None else _from_geojson(path, document)
        if not found.rows:
            fix = "Draw at least one boundary and save the file again."
            raise InputError([*found.remarks, Problem(path.name, "the file has no features", fix)])
    except InputError as refusal:
        return ShapeFile(path, (), refusal.problems)
    features, problems = judged(found)
    return ShapeFile(path, tuple(feature for feature in features if feature is not None), problems)


def read_drawn(path: Path, layer: str | None = None) -> tuple[Shape, tuple[Problem, ...]]:
    """Read the one shape of a map file, as something that was drawn.

    Parameters
    ----------
    path
        GeoJSON, KML/KMZ, GPX, Shapefile, GeoPackage.
    layer
        Which, when the file has several.

    Returns
    -------
    (Shape, tuple of Problem)
        Longitude-latitude on WGS84, every digit of every corner; what is doubtful about it.

    Raises
    ------
    InputError
        When the file cannot be read, or holds more than one shape.
    """
    found = read_shapes(path, layer)
    if has_errors(found.problems):
        raise InputError(found.problems)
    if len(found.features) > 1:
        what = f"the file has {len(found.features)} shapes, and one is asked for"
        raise InputError([Problem(path.name, what, "Save the one that is meant in a file of its own.")])
    (feature,) = found.features
    pieces = shapely.get_parts(feature.shape)
    return (pieces[0] if len(pieces) == 1 else feature.shape), found.problems


@dataclass(frozen=True, slots=True)
class Part:
    """Features of a file that follow each other.

    Parameters
    ----------
    start
        Place of the first in the file, from 0.
    columns
        What the file says of them, by column.
    shapes
        Longitude-latitude on WGS84; None where there is none or it cannot be read.
    faults
        Row → what is wrong with its shape: a note where it could be mended, else an error.
    remarks
        What was found while reading.
    """

    start: int
    columns: Mapping[str, np.ndarray]
    shapes: np.ndarray
    faults: Mapping[int, Problem]
    remarks: tuple[Problem, ...]


#: Kinds of file that can be read part by part, and how many features a part has.
_PARTED, PART = {".fgb", ".gpkg", ".shp"}, 100_000


@contextmanager
def _unsaid() -> Iterator[None]:
    """Keep the library's warnings back while a file is looked into; reading it tells them as problems."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def count_parted(path: Path, layer: str | None = None) -> int:
    """Return how many features a file holds that can be read part by part; 0 for any other file."""
    import pyogrio

    if path.suffix.lower() not in _PARTED or not path.is_file():
        return 0
    try:
        refuse_a_disguise(path)
        with _unsaid():
            about = pyogrio.read_info(str(path), layer=_the_layer(str(path), layer, path))
    except (InputError, RuntimeError, ValueError):  # said when it is read as a whole
        return 0
    return int(about["features"])


def read_part(path: Path, layer: str | None, wanted: Callable[[str], bool], start: int, most: int) -> Part:
    """Read so many features of a file that `count_parted` counts, with the columns that are wanted."""
    import pyogrio

    source = str(path)
    layer = _the_layer(source, layer, path)
    with _unsaid():
        names = [str(name) for name in pyogrio.read_info(source, layer=layer)["fields"]]
    which = {"columns": [name for name in names if wanted(name)], "max_features": most}
    meta, wkbs, columns, remarks = _raw(source, layer, path.name, path, skip_features=start, **which)
    shapes, faults = _shapes_in(wkbs)
    shapes, moved = _moved(shapes, meta["crs"], path)
    return Part(start, columns, shapes, faults, (*remarks, *moved))


#: Arrays of very many shapes into the little room of well-known binary, and back.
packed, unpacked = shapely.to_wkb, shapely.from_wkb


def judged(found: Found) -> tuple[list[Feature | None], tuple[Problem, ...]]:
    """Return each row a reader hands back as a feature, or None where it cannot be used; and the faults."""
    shapes = _stated(found)
    sure = placed_for_sure(shapes)
    tall = shapely.has_z(shapes) | shapely.has_m(shapes)
    shapes[tall] = shapely.force_2d(shapes[tall])
    is_line = np.isin(shapely.get_type_id(shapes), _LINES)
    features: list[Feature | None] = [None] * len(found.rows)
    problems = list(found.remarks)
    misplaced: dict[str, list[Problem]] = {}
    for index, (place, properties, shape) in enumerate(found.rows):
        where = named(place, properties)
        if shape is None:
            fix = "Draw its boundary or delete the feature."
            problems.append(Problem(where, "the feature has no shape (null geometry)", fix))
        elif isinstance(shape, Problem):
            problems.append(Problem(where, shape.what, shape.fix, shape.level))
        else:
            doubts = () if sure[index] else check_coordinates(shape, where)
            for doubt in doubts:
                misplaced.setdefault(doubt.fix, []).append(doubt)
            if not any(doubt.level is Level.ERROR for doubt in doubts):
                features[index] = Feature(where, properties, shapes[index], bool(is_line[index]))
    for same in misplaced.values():
        others = f" (and so for {len(same) - 1} more)" if len(same) > 1 else ""
        problems.append(Problem(same[0].where, same[0].what + others, same[0].fix, same[0].level))
    return features, tuple(problems)


def _stated(found: Found) -> np.ndarray:
    """Return the shapes of a reader's rows; None where there is none."""
    return np.array([s if isinstance(s, Shape) else None for _, _, s in found.rows], dtype=object)


_LINES = (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING)


def _reader(path: Path) -> Callable[[Path, str | None], Found]:
    """Return the reader for a path, or refuse it."""
    suffix = path.suffix.lower()
    refuse_no_file(path)
    if suffix not in _READERS:
        what = f"{suffix or 'a file without an ending'!r} is not a kind of map file that is read here"
        fix = f"Save it as one of {', '.join(_READERS)}."
        raise InputError([Problem(path.name, what, fix)])
    refuse_a_disguise(path)
    return _READERS[suffix]


def named(place: str, properties: Mapping[str, str]) -> str:
    """Return a place in a file with a short name behind it: the feature's name, else its id."""
    found = next((properties[name] for name in naming(properties) if properties[name]), "")
    short = found if len(found) <= 40 else found[:39] + "…"
    return f"{place} ({short})" if short else place


def naming(names: Iterable[str]) -> list[str]:
    """Return the columns a feature may be called by in messages, the best first."""
    lower = {name.lower(): name for name in names}
    return [lower[key] for key in ("name", "plot_id", "keepout_id", "id") if key in lower]


# GeoJSON


def _read_geojson(path: Path, _layer: str | None) -> Found:
    with without_collecting():
        return _from_geojson(path, read_json(path))


def _from_geojson(path: Path, document: Any) -> Found:
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "FeatureCollection" and isinstance(document.get("features"), list):
        items = document["features"]
    elif kind == "Feature":
        items = [document]
    elif isinstance(kind, str) and "coordinates" in document:
        items = [{"type": "Feature", "geometry": document, "properties": {}}]
    else:
        what = f"this is JSON but not GeoJSON (its type is {kind!r})"
        raise InputError([Problem(path.name, what, "Save the layer as GeoJSON.")])
    found = Found()
    geometries = [item.get("geometry") if isinstance(item, dict) else None for item in items]
    shapes = shapes_from_geojson(geometries)
    for number, (item, geometry, shape) in enumerate(zip(items, geometries, shapes, strict=True), start=1):
        where = f"{path.name}, feature {number}"
        if not isinstance(item, dict) or item.get("type") != "Feature":
            what = f"{_short(item)} is not a GeoJSON feature"
            found.rows.append((where, {}, Problem(where, what, "Save the layer again as GeoJSON.")))
            continue
        stated = item.get("properties")
        words = stated if isinstance(stated, dict) else {}
        if "id" in item and not any(key.lower() == "id" for key in words):
            words = {**words, "id": item["id"]}
        if _is_open(geometry):
            found.remarks.append(replace(_CLOSED, where=where))
        found.rows.append((where, _words(words), shape))
    return _in_degrees(found, _stated_crs(document, path), path)


_CLOSED = Problem(
    "", "the boundary's last point is not its first", "The ring was closed with a straight line.", Level.NOTE
)


def _is_open(geometry: Any) -> bool:
    """Tell whether a GeoJSON polygon has a ring that does not return to its start."""
    if not isinstance(geometry, dict) or not isinstance(geometry.get("coordinates"), list):
        return False
    coordinates = geometry["coordinates"]
    polygons = {"Polygon": [coordinates], "MultiPolygon": coordinates}.get(str(geometry.get("type")), [])
    rings = [ring for polygon in polygons if isinstance(polygon, list) for ring in polygon]
    return any(isinstance(ring, list) and len(ring) > 2 and ring[0] != ring[-1] for ring in rings)


def _stated_crs(document: Mapping[str, Any], path: Path) -> str:
    """Return the coordinate system an older GeoJSON names; RFC 7946 has only WGS84."""
    stated = document.get("crs")
    if stated is None:
        return _GEOGRAPHIC
    name = stated.get("properties", {}).get("name") if isinstance(stated, dict) else None
    if not isinstance(name, str):
        what = f"its coordinate system {_short(stated)} cannot be read"
        raise InputError([Problem(f"{path.name}, crs", what, "Export it again as WGS84 (EPSG:4326).")])
    return name


def _short(value: Any) -> str:
    text = json.dumps(value, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


# Formats read by GDAL


def _read_gdal(path: Path, layer: str | None) -> Found:
    """Read one layer of a file that keeps its layers apart."""
    return _read_layer(str(path), _the_layer(str(path), layer, path), path.name, path)


def _read_kml(path: Path, layer: str | None) -> Found:
    """Read all folders of a KML or KMZ, or the one asked for."""
    source = str(path)
    if path.suffix.lower() == ".kmz":
        with zipfile.ZipFile(path) as archive:
            inner = [name for name in archive.namelist() if name.lower().endswith(".kml")]
        if len(inner) == 1:  # read as an archive, the library forgets the fields that its schema names
            source = f"/vsizip/{path.resolve().as_posix()}/{inner[0]}"
    names = [name for name, _ in _layers(source, path)]
    found = Found()
    for name in names if layer is None else [_the_layer(source, layer, path)]:
        label = f"{path.name}, folder {name}" if len(names) > 1 else path.name
        part = _read_layer(source, name, label, path)
        for where, words, shape in part.rows:
            kept = {key: value for key, value in words.items() if key.lower() not in _KML_FIELDS}
            found.rows.append((where, kept, shape))
        found.remarks.extend(part.remarks)
    return found


def _read_gpx(path: Path, layer: str | None) -> Found:
    """Read tracks and routes, and the waypoints somebody named; all of them when there is nothing else."""
    found = Found()
    for name in ("tracks", "routes") if layer is None else (layer,):
        part = _read_layer(str(path), name, f"{path.name}, {name}", path)
        found.rows.extend(part.rows)
        found.remarks.extend(part.remarks)
    if layer is not None:
        return found
    waypoints = _read_layer(str(path), "waypoints", f"{path.name}, waypoints", path)
    if not found.rows:
        return waypoints
    named = [row for row in waypoints.rows if re.search(r"[^\W\d]", row[1].get("name", ""))]
    found.rows.extend(named)  # asked one by one what they are
    if unnamed := len(waypoints.rows) - len(named):
        what = f"{unnamed} waypoints without a name were left aside"
        fix = "Name those that are gates, wells or other places, or read them by themselves: layer waypoints."
        found.remarks.append(Problem(path.name, what, fix, Level.NOTE))
    return found


def _read_shapefile(path: Path, layer: str | None) -> Found:
    beside = {other.suffix.lower() for other in path.parent.iterdir() if other.stem == path.stem}
    missing = [suffix for suffix in (".shx", ".dbf") if suffix not in beside]
    if missing:
        what = f"{' and '.join(path.stem + suffix for suffix in missing)} is missing beside it"
        fix = "Copy all files of the Shapefile together (.shp, .shx, .dbf, .prj)."
        raise InputError([Problem(path.name, what, fix)])
    return _read_gdal(path, layer)


def _read_zip(path: Path, layer: str | None) -> Found:
    with zipfile.ZipFile(path) as archive:
        names = [name for name in archive.namelist() if not name.startswith("__MACOSX")]
    shapefiles = {Path(name).stem: name for name in names if name.lower().endswith(".shp")}
    if layer is not None:
        shapefiles = {stem: name for stem, name in shapefiles.items() if stem == layer}
    if len(shapefiles) != 1:
        inside = ", ".join(sorted(shapefiles) or sorted(names)[:5]) or "nothing"
        what = f"a zip must hold one Shapefile, and this one holds {inside}"
        raise InputError([Problem(path.name, what, "Zip one layer with all its files, or name the layer.")])
    inner = next(iter(shapefiles.values()))
    return _read_layer(f"/vsizip/{path.resolve().as_posix()}/{inner}", None, path.name, path)


def _layers(source: str, path: Path) -> list[tuple[str, str | None]]:
    import pyogrio

    try:
        with _unsaid():
            return [(str(name), kind) for name, kind in pyogrio.list_layers(source)]
    except (RuntimeError, ValueError) as error:
        raise InputError([_unreadable(path, error)]) from error


def _the_layer(source: str, layer: str | None, path: Path) -> str:
    """Return the layer to read: the one asked for, or the only one with shapes."""
    names = [name for name, kind in _layers(source, path) if kind is not None]
    if layer in names:
        return str(layer)
    if layer is None and len(names) == 1:
        return names[0]
    inside = ", ".join(names) or "none with shapes"
    what = (
        f"it has no layer {layer!r}; its layers: {inside}" if layer else f"it holds several layers: {inside}"
    )
    if not names:
        what = "it holds no layer with shapes"
    fix = "Name the layer to read, or export that one to a file of its own."
    raise InputError([Problem(path.name, what, fix)])


def _read_layer(source: str, layer: str | None, label: str, path: Path) -> Found:
    meta, wkbs, columns, remarks = _raw(source, layer, label, path)
    found = Found(remarks=remarks)
    if wkbs is None:
        return found
    shapes, faults = _shapes_in(wkbs)
    for index, shape in enumerate(shapes):
        place = f"{label}, feature {index + 1}"
        words = _words({name: column[index] for name, column in columns.items()})
        found.rows.append((place, words, faults.get(index) if shape is None else shape))
        if index in faults and shape is not None:
            found.remarks.append(replace(faults[index], where=named(place, words)))
    return _in_degrees(found, meta["crs"], path) if found.rows else found


def _shapes_in(wkbs: np.ndarray) -> tuple[np.ndarray, dict[int, Problem]]:
    """Return the shapes in well-known binary, and by row a ring that was closed or what cannot be read."""
    with np.errstate(invalid="ignore"):  # a number that is not one is reported when the shape is judged
        shapes = shapely.from_wkb(wkbs, on_invalid="ignore")
        amiss = [n for n in np.flatnonzero(shapely.is_missing(shapes)).tolist() if wkbs[n] is not None]
        shapes[amiss] = shapely.from_wkb(wkbs[amiss], on_invalid="fix")
    faults = {}
    for row in amiss:
        what = f"the shape cannot be read ({len(wkbs[row])} bytes)"
        unread = Problem("", what, "Export it again from the program it came from.")
        faults[row] = unread if shapes[row] is None else _CLOSED
    return shapes, faults


def _is_about_the_file(warning: warnings.WarningMessage) -> bool:
    """GDAL's messages come as plain RuntimeWarning, pyogrio's own as plain UserWarning; no others."""
    return (
        warning.category in (RuntimeWarning, UserWarning) and Path(warning.filename).parent.name == "pyogrio"
    )


def _raw(
    source: str, layer: str | None, label: str, path: Path, **which: Any
) -> tuple[Mapping[str, Any], Any, dict[str, Any], list[Problem]]:
    """Read what the file reader makes of a layer: about it, shapes, columns by name, its warnings."""
    import pyogrio.raw

    try:
        with warnings.catch_warnings(record=True) as said, np.errstate(all="ignore"):
            warnings.simplefilter("always")
            meta, _, shapes, columns = pyogrio.raw.read(source, layer=layer, **which)
    except (RuntimeError, ValueError, UnicodeDecodeError) as error:
        raise InputError([_unreadable(path, error)]) from error
    fix = "Look at the shapes on a map."
    remarks = [
        Problem(label, f"the file reader says: {message}", fix, Level.WARNING)
        for message in dict.fromkeys(str(warning.message) for warning in said if _is_about_the_file(warning))
    ]
    names = [str(name) for name in meta["fields"]]
    return meta, shapes, dict(zip(names, columns, strict=True)), remarks


def _unreadable(path: Path, error: Exception) -> Problem:
    reason = " ".join(str(error).split()).replace(str(path), path.name).rstrip(".")
    kind = path.suffix.lower().lstrip(".")
    what = f"this cannot be read as {kind}: {reason}"
    return Problem(path.name, what, "Save it again from the program it came from.")


_READERS: dict[str, Callable[[Path, str | None], Found]] = {
    ".geojson": _read_geojson,
    ".json": _read_geojson,
    ".kml": _read_kml,
    ".kmz": _read_kml,
    ".gpx": _read_gpx,
    ".shp": _read_shapefile,
    ".zip": _read_zip,
    ".gpkg": _read_gdal,
    ".fgb": _read_gdal,
}


class Nested(str):
    """A list or an object that a map file holds where one value is meant, as its JSON text."""

    __slots__ = ()


def _words(stated: Mapping[str, Any]) -> dict[str, str]:
    """Return what a file says of a feature as text: 7 and 7.0 are "7", blanks are left out."""
    words = {str(key): text_of(value) for key, value in stated.items()}
    return {key: text for key, text in words.items() if text}


def text_of(value: Any) -> str:
    """Return a value of a file as text; blank where it says nothing."""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        if np.isnan(value):
            return ""
        return repr(int(value)) if float(value).is_integer() else repr(float(value))
    if isinstance(value, np.datetime64):
        return "" if np.isnat(value) else str(value)
    if isinstance(value, dict | list):
        return Nested(json.dumps(value, ensure_ascii=False))
    return "" if value is None else str(value).strip()


def _in_degrees(found: Found, crs: str | None, path: Path) -> Found:
    """Turn shapes into longitude, latitude on WGS84, or refuse a file that does not say what it is in."""
    try:
        shapes, remarks = _moved(_stated(found), crs, path)
    except InputError as refusal:
        raise InputError([*found.remarks, *refusal.problems]) from refusal
    rows = [
        (where, words, shape if made is None else made)
        for (where, words, shape), made in zip(found.rows, shapes, strict=True)
    ]
    return Found(rows, [*found.remarks, *remarks])


def _moved(shapes: np.ndarray, crs: str | None, path: Path) -> tuple[np.ndarray, list[Problem]]:
    """Return shapes in longitude, latitude on WGS84, and what is to be said of it."""
    from pyproj import CRS, Transformer
    from pyproj.exceptions import ProjError

    if crs is None:
        missing = f"{path.stem}.prj is missing" if path.suffix.lower() == ".shp" else "it names none"
        what = f"the coordinate system is not known: {missing}"
        fix = "Export it again as WGS84 (EPSG:4326), with its .prj file if it is a Shapefile."
        raise InputError([Problem(path.name, what, fix)])
    try:
        system = CRS.from_user_input(crs)
        if system.equals(CRS.from_user_input(_GEOGRAPHIC), ignore_axis_order=True):
            return shapes, []
        transformer = Transformer.from_crs(system, _GEOGRAPHIC, always_xy=True)

        def moved(xy: np.ndarray) -> np.ndarray:
            return np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))

        shapes = shapely.transform(shapes, moved)
    except ProjError as error:
        what = f"its coordinate system {_short(crs)} cannot be turned into longitude, latitude"
        fix = "Export it again as WGS84 (EPSG:4326)."
        raise InputError([Problem(path.name, what, fix)]) from error
    accuracy_m = transformer.accuracy
    good = (
        f"positions are good to about {accuracy_m:g} m, areas far better"
        if accuracy_m > 0
        else "areas are kept"
    )
    what = f"its coordinates are in {system.name}"
    fix = f"They were converted to longitude, latitude; {good}."
    return shapes, [Problem(path.name, what, fix, Level.NOTE)]


def from_plane(corners: Sequence[tuple[float, float]], crs: str, path: Path) -> Shape:
    """Return a polygon of corners (east, north) of a named coordinate system in longitude, latitude.

    Raises
    ------
    InputError
        When the system is not known, or three corners are not given.
    """
    if len(corners) < 3:
        fix = "Give three corners or more."
        raise InputError([Problem(path.name, f"{len(corners)} corners enclose nothing", fix)])
    named_crs = f"EPSG:{crs}" if crs.isdigit() else crs
    shapes, _ = _moved(np.array([shapely.Polygon(corners)], dtype=object), named_crs, path)
    shape: Shape = shapes[0]
    return shape


# ---------------------------------------------------------------------------------------------
# Writing


class LayerKind(StrEnum):
    """A kind of map file that can be written, with the driver that writes it."""

    GEOJSON = "geojson"
    KML = "kml"
    SHAPEFILE = "shapefile"
    GEOPACKAGE = "geopackage"
    FLATGEOBUF = "flatgeobuf"
    GPX = "gpx"


_DRIVERS = {
    LayerKind.GEOJSON: "GeoJSON",
    LayerKind.KML: "LIBKML",
    LayerKind.SHAPEFILE: "ESRI Shapefile",
    LayerKind.GEOPACKAGE: "GPKG",
    LayerKind.FLATGEOBUF: "FlatGeobuf",
    LayerKind.GPX: "GPX",
}
#: RFC 7946 puts longitude first and outer rings counter-clockwise; fifteen decimals keep every digit.
#: A FlatGeobuf without an index keeps its features in order.
_OPTIONS = {
    LayerKind.GEOJSON: {"RFC7946": "YES", "COORDINATE_PRECISION": "15"},
    LayerKind.FLATGEOBUF: {"SPATIAL_INDEX": "NO"},
}
#: Field name and text limits of the dBASE table in a Shapefile [bytes].
DBF_NAME_BYTES, DBF_TEXT_BYTES = 10, 254
_GPX_FIELDS = ("name", "cmt", "desc", "src", "sym", "type")

#: What a field of a written layer may hold.
Value = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class LayerFeature:
    """One shape to write.

    Parameters
    ----------
    shape
        Any geometry, longitude-latitude on WGS84.
    properties
        Field name → value; None = blank. True and False are written as yes and no.
    """

    shape: Shape
    properties: Mapping[str, Value] = field(default_factory=dict)


def write_layer(
    path: Path, kind: LayerKind | str, features: Sequence[LayerFeature], layer: str
) -> tuple[Problem, ...]:
    """Write shapes as a map file of one layer.

    Parameters
    ----------
    path, kind
        As for `write_layers`.
    features, layer
        What to write, and the name of the layer.

    Returns
    -------
    tuple of Problem
        As for `write_layers`, which also says what is raised.
    """
    return write_layers(path, kind, ((layer, features),))


def write_layers(
    path: Path, kind: LayerKind | str, layers: Iterable[tuple[str, Sequence[LayerFeature]]]
) -> tuple[Problem, ...]:
    """Write shapes as a map file, in longitude, latitude on WGS84.

    Parameters
    ----------
    path
        Where to. A file that is there is replaced, and only once the new one is complete.
    kind
        One of `LayerKind`; only a GeoPackage holds more than one layer.
    layers
        Name and content of each.

    Returns
    -------
    tuple of Problem
        What the format could not hold: in a Shapefile names over 10 letters, text over 254 bytes,
        and points, lines and areas in one file (written to ``…_points.shp`` and so on); in GPX any
        field it has no place for. A note when nothing was written.

    Raises
    ------
    InputError
        When a file cannot be written.
    PropertyFileError
        When a property file is there.
    ValueError
        When `kind` is not a `LayerKind`.
    """
    kind = LayerKind(kind)
    problems: list[Problem] = []
    held = [(layer, features) for layer, features in layers if features]
    if not held:
        what = "there is nothing to write"
        return (Problem(path.name, what, "The file was not made.", Level.NOTE),)
    made: dict[Path, bytes] = {}
    try:
        if kind is LayerKind.SHAPEFILE:
            ((layer, features),) = held
            for ending, group in _by_dimension(features, path, problems).items():
                target = path.with_name(f"{path.stem}{ending}{path.suffix}")
                columns = _columns(group, kind, target, problems)
                made |= _parts_of(target, kind, [(target.stem, group, columns)])
        elif kind is LayerKind.GEOPACKAGE:
            made = _parts_of(path, kind, [(n, f, _columns(f, kind, path, problems)) for n, f in held])
        else:
            ((layer, features),) = held
            if kind is LayerKind.GPX:
                layer = "waypoints" if geometry_type(features[0].shape).endswith("Point") else "tracks"
            held_in_memory = io.BytesIO()
            _draw(held_in_memory, kind, layer, features, _columns(features, kind, path, problems), "w")
            made = {path: _whole_cdata(held_in_memory.getvalue())}
    except (OSError, RuntimeError, ValueError) as error:
        reason = " ".join(str(error).split())
        raise InputError(
            [Problem(str(path), f"it cannot be written: {reason}", "Make room on the disk, or export less.")]
        ) from error
    write_set(made)
    return tuple(problems)


def _by_dimension(
    features: Iterable[LayerFeature], path: Path, problems: list[Problem]
) -> dict[str, list[LayerFeature]]:
    """Part points, lines and areas, which a Shapefile cannot hold together."""
    groups: dict[str, list[LayerFeature]] = {}
    for feature in features:
        dimension = int(shapely.get_dimensions(feature.shape))
        groups.setdefault(("_points", "_lines", "_areas")[dimension], []).append(feature)
    if len(groups) == 1:
        return {"": next(iter(groups.values()))}
    names = ", ".join(f"{path.stem}{ending}{path.suffix}" for ending in groups)
    what = "a Shapefile holds one kind of shape"
    problems.append(Problem(path.name, what, f"Written as {names}.", Level.NOTE))
    return groups


def _columns(
    features: Sequence[LayerFeature], kind: LayerKind, path: Path, problems: list[Problem]
) -> dict[str, list[Value]]:
    """Return field name → one value per feature, within the limits of the format."""
    stated = list(dict.fromkeys(name for feature in features for name in feature.properties))
    columns: dict[str, list[Value]] = {}
    for name in stated:
        values = [feature.properties.get(name) for feature in features]
        values = [("yes" if value else "no") if isinstance(value, bool) else value for value in values]
        if kind is LayerKind.GPX and name not in _GPX_FIELDS:
            fix = f"Put it in one of {', '.join(_GPX_FIELDS)} to keep it."
            problems.append(
                Problem(path.name, f"GPX has no field {name!r}; it was left out", fix, Level.NOTE)
            )
            continue
        written = name
        if kind is LayerKind.KML:
            values = [v.replace("]]>", _CDATA_END) if isinstance(v, str) else v for v in values]
        if kind is LayerKind.SHAPEFILE:
            written = _dbf_name(name, columns)
            values = [
                _dbf_text(value, f"{path.name}, feature {i}, {name}", problems)
                for i, value in enumerate(values, 1)
            ]
            if written != name:
                what = f"field {name!r} is written as {written!r}"
                fix = "A Shapefile allows 10 letters; a GeoPackage has no such limit."
                problems.append(Problem(path.name, what, fix, Level.NOTE))
        columns[written] = values
    return columns


#: Stands for the end of a CDATA section in a text while the library writes it; nobody's text holds it.
_CDATA_END = f"<{uuid.uuid4().hex}>"


def _whole_cdata(written: bytes) -> bytes:
    """Write what would end a CDATA section so that it does not: the library puts texts into one unseen.

    References
    ----------
    W3C, Extensible Markup Language (XML) 1.0, fifth edition, 2008, section 2.7.
    """
    mark = _CDATA_END.strip("<>").encode()
    parted = written.replace(b"<" + mark + b">", b"]]]]><![CDATA[>")
    return parted.replace(b"&lt;" + mark + b"&gt;", b"]]&gt;")


def _cut_bytes(text: str, limit: int) -> str:
    """Return the longest start of a text that fits, never half a letter."""
    return text.encode()[:limit].decode(errors="ignore")


def _dbf_name(name: str, taken: Iterable[str]) -> str:
    used = {other.upper() for other in taken}
    short = _cut_bytes(name, DBF_NAME_BYTES)
    number = 1
    while short.upper() in used:
        short = _cut_bytes(name, DBF_NAME_BYTES - len(f"_{number}")) + f"_{number}"
        number += 1
    return short


def _dbf_text(value: Value, where: str, problems: list[Problem]) -> Value:
    if not isinstance(value, str) or len(value.encode()) <= DBF_TEXT_BYTES:
        return value
    kept = _cut_bytes(value, DBF_TEXT_BYTES)
    what = f"text of {len(value.encode())} bytes was cut to {len(kept.encode())}: it now ends {kept[-20:]!r}"
    fix = "A Shapefile allows 254 bytes; a GeoPackage has no such limit."
    problems.append(Problem(where, what, fix, Level.WARNING))
    return kept


#: One layer to draw: its name, its shapes, its fields.
_Drawn = tuple[str, Sequence[LayerFeature], Mapping[str, Sequence[Value]]]


def _parts_of(path: Path, kind: LayerKind, layers: Sequence[_Drawn]) -> dict[Path, bytes]:
    """Draw layers in a scratch folder, look whether all is there, and return its files, the named last."""
    import pyogrio

    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        draft = Path(folder) / path.name
        for number, (layer, features, columns) in enumerate(layers):
            _draw(draft, kind, layer, features, columns, "a" if number else "w")
        for layer, features, _ in layers:
            if pyogrio.read_info(draft, layer=layer, force_feature_count=True)["features"] != len(features):
                raise OSError("not all of it fits on the disk")
        order = sorted(Path(folder).iterdir(), key=lambda part: (part == draft, part.name))
        return {path.parent / part.name: part.read_bytes() for part in order}


def _draw(
    target: Path | io.BytesIO,
    kind: LayerKind,
    layer: str,
    features: Sequence[LayerFeature],
    columns: Mapping[str, Sequence[Value]],
    mode: str,
) -> None:
    """Let the map library write one layer."""
    import pyogrio.raw

    stated = [geometry_type(feature.shape) for feature in features]
    kinds = {kind.removeprefix("Multi") for kind in stated}
    several = any(kind.startswith("Multi") for kind in stated)
    only = next(iter(kinds)) if len(kinds) == 1 else None
    if kind is LayerKind.GPX and only == "LineString":
        several = True
    declared = "Unknown" if only is None else f"Multi{only}" if several else only
    values = [_column(column) for column in columns.values()]
    pyogrio.raw.write(
        target,
        packed(np.array([feature.shape for feature in features], dtype=object)),
        [data for data, _ in values],
        list(columns),
        field_mask=[mask for _, mask in values],
        layer=layer,
        driver=_DRIVERS[kind],
        geometry_type=declared,
        crs=_GEOGRAPHIC,
        promote_to_multi=several and only is not None and kind is not LayerKind.GEOJSON,
        encoding="UTF-8" if kind is LayerKind.SHAPEFILE else None,
        layer_options=_OPTIONS.get(kind),
        append=mode == "a",
    )


def _column(values: Sequence[Value]) -> tuple[np.ndarray, np.ndarray]:
    """Return a column in the narrowest of whole number, number and text, and where it is blank."""
    blank = np.array([value is None for value in values])
    stated = [value for value in values if value is not None]
    if stated and all(isinstance(value, int) for value in stated):
        return np.array([0 if value is None else value for value in values], dtype=np.int64), blank
    if stated and all(isinstance(value, int | float) for value in stated):
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64), blank
    return np.array([None if value is None else str(value) for value in values], dtype=object), blank
