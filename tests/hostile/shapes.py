"""Map files: shapes, words and archives that are broken, odd or far too much."""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Iterator
from typing import Any

from hostile.cases import Case

RING = [[-93.02, 46.05], [-93.019, 46.05], [-93.019, 46.051], [-93.02, 46.051], [-93.02, 46.05]]


def _feature(geometry: Any, **words: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": {"plot_id": "B-1", **words}, "geometry": geometry}


def _map(*features: Any) -> bytes:
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()


def _polygon(ring: Any) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [ring]}


def _moved(west: float, south: float, size: float) -> list[list[float]]:
    east, north = west + size, south + size
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


def _comb(teeth: int) -> list[list[float]]:
    """A comb in a square of a thousandth of a degree."""
    step = 0.001 / (2 * teeth)
    points = [[-93.02, 46.05]]
    for tooth in range(teeth):
        west = -93.02 + 2 * tooth * step
        points += [[west, 46.051], [west + step, 46.051], [west + step, 46.0502], [west + 2 * step, 46.0502]]
    return [*points, [-93.019, 46.05], [-93.02, 46.05]]


def _scribble(turns: int) -> list[list[float]]:
    """A line that winds around itself and crosses itself some `turns` times over."""
    points = []
    for step in range(turns * 12):
        angle, wide = step * 2.399963, 0.0005 * (0.3 + 0.7 * abs(math.sin(step * 0.37)))
        points.append([-93.02 + wide * math.cos(angle), 46.05 + wide * math.sin(angle)])
    return [*points, points[0]]


def _zip(blanks: int = 0, **members: bytes) -> bytes:
    """An archive; its members end in so many megabytes of blanks."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            with archive.open(name.replace("__", "."), "w", force_zip64=True) as member:
                member.write(content)
                for _ in range(blanks):
                    member.write(b" " * 1_000_000)
    return held.getvalue()


KML = (
    '<?xml version="1.0"?>{dtd}<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>{name}</name>'
    "<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs>"
    "</Polygon></Placemark></Document></kml>"
)
GPX = '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'
KML_RING = " ".join(f"{x},{y}" for x, y in RING)


def _fix(x: Any, y: Any) -> str:
    return f'<trkpt lat="{y}" lon="{x}"/>'


TRACK = "".join(_fix(*point) for point in RING)

#: Called → geometry, what must be said, and codes that are right.
GEOMETRIES: dict[str, tuple[Any, str, tuple[int, ...]]] = {
    "no geometry": (None, "B-1", (2,)),
    "a text": ("Polygon", "B-1", (2,)),
    "a number": (7, "B-1", (2,)),
    "a list": ([], "B-1", (2,)),
    "unknown type": ({"type": "Circle", "coordinates": []}, "Circle", (2,)),
    "type a list": ({"type": ["Polygon"], "coordinates": [RING]}, "B-1", (2,)),
    "no coordinates": ({"type": "Polygon"}, "B-1", (2,)),
    "coordinates null": ({"type": "Polygon", "coordinates": None}, "B-1", (2,)),
    "coordinates an object": ({"type": "Polygon", "coordinates": {"a": 1}}, "B-1", (2,)),
    "empty polygon": ({"type": "Polygon", "coordinates": []}, "B-1", (2,)),
    "empty ring": (_polygon([]), "B-1", (2,)),
    "a ring of one": (_polygon(RING[:1]), "B-1", (2,)),
    "a ring of two": (_polygon(RING[:2]), "B-1", (2,)),
    "one point five times": (_polygon([RING[0]] * 5), "B-1", (2,)),
    "on one line": (_polygon([[-93.02, 46], [-93.01, 46], [-93.0, 46], [-93.02, 46]]), "B-1", (2,)),
    "ring not deep enough": ({"type": "Polygon", "coordinates": RING}, "B-1", (2,)),
    "ring too deep": ({"type": "Polygon", "coordinates": [[[RING]]]}, "B-1", (2,)),
    "text coordinates": (_polygon([[str(x), str(y)] for x, y in RING]), "B-1", (2,)),
    "null coordinate": (_polygon([[None, 46.05], *RING[1:]]), "B-1", (2,)),
    "a coordinate missing": (_polygon([[-93.02], *RING[1:]]), "B-1", (2,)),
    "five coordinates": (_polygon([[x, y, 1, 2, 3] for x, y in RING]), "not a GeoJSON geometry", (2,)),
    "true for a coordinate": (_polygon([[True, 46.05], *RING[1:]]), "B-1", (2,)),
    "400 digits": (_polygon([[int("9" * 400), 46.05], *RING[1:]]), "", (2,)),
    "beyond the globe": (_polygon([[-993.02, 46.05], *RING[1:-1], [-993.02, 46.05]]), "-993.02", (2,)),
    "latitude 91": (_polygon(_moved(-93.0, 91.0, 0.001)), "91", (2,)),
    "metres": (_polygon(_moved(500_000.0, 5_100_000.0, 100.0)), "500", (2,)),
    "null island": (_polygon(_moved(0.0, 0.0, 0.001)), "B-1", (2,)),
    "a county": (_polygon(_moved(-93.5, 45.5, 0.6)), "no plot but a county", (2,)),
    "half the world": (_polygon([[-170, -80], [170, -80], [170, 80], [-170, 80], [-170, -80]]), "B-1", (2,)),
    "a stamp": (_polygon(_moved(-93.02, 46.05, 1e-7)), "B-1", (2,)),
    "bow tie": (_polygon([RING[0], RING[2], RING[1], RING[3], RING[0]]), "B-1", (2,)),
    "spike": (_polygon([*RING[:2], [-93.0, 46.0505], RING[1], *RING[2:]]), "It was cleaned", (0,)),
    "hole outside": ({"type": "Polygon", "coordinates": [RING, _moved(-92.0, 46.0, 0.001)]}, "B-1", (2,)),
    "hole over all": ({"type": "Polygon", "coordinates": [RING, RING]}, "B-1", (2,)),
    "parts that overlap": ({"type": "MultiPolygon", "coordinates": [[RING], [RING]]}, "B-1", (1,)),
    "empty multi": ({"type": "MultiPolygon", "coordinates": []}, "B-1", (2,)),
    "a point": ({"type": "Point", "coordinates": [-93.02, 46.05]}, "B-1", (2,)),
    "line of one point": ({"type": "LineString", "coordinates": [[-93.02, 46.05]]}, "B-1", (2,)),
    "line of none": ({"type": "LineString", "coordinates": []}, "B-1", (2,)),
    "collection": ({"type": "GeometryCollection", "geometries": [_polygon(RING)]}, "1 plot", (0,)),
    "collection in itself": (
        {"type": "GeometryCollection", "geometries": [{"type": "GeometryCollection", "geometries": []}]},
        "B-1",
        (2,),
    ),
    "comb of 20,000 teeth": (_polygon(_comb(20_000)), "1 plot", (0,)),
    "scribble": (_polygon(_scribble(130)), "B-1", (2,)),
    "scribble line": ({"type": "LineString", "coordinates": _scribble(130)}, "B-1", (2,)),
}

#: Called → bytes of a GeoJSON file, what must be said, codes.
DOCUMENTS: dict[str, tuple[bytes, str, tuple[int, ...]]] = {
    "empty": (b"", "empty", (2,)),
    "blanks": (b" \n", "empty", (2,)),
    "cut": (_map(_feature(_polygon(RING)))[:-40], "this is not", (2,)),
    "a list": (b"[]", "GeoJSON", (2,)),
    "a number": (b"7", "GeoJSON", (2,)),
    "null": (b"null", "GeoJSON", (2,)),
    "text": (b'"plots"', "GeoJSON", (2,)),
    "latin letters": (
        _map(_feature(_polygon(RING), name="K\xe4")).replace(b"\\u00e4", b"\xe4"),
        "UTF-8",
        (2,),
    ),
    "utf-16": (_map(_feature(_polygon(RING))).decode().encode("utf-16"), "UTF-8", (2,)),
    "zero bytes": (b"\x00" * 5000, "b.geojson", (2,)),
    "deep lists": (b"[" * 200_000, "b.geojson", (2,)),
    "deep objects": (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "b.geojson", (2,)),
    "features an object": (b'{"type":"FeatureCollection","features":{}}', "b.geojson", (2,)),
    "features missing": (b'{"type":"FeatureCollection"}', "b.geojson", (2,)),
    "no feature": (_map(), "b.geojson", (2,)),
    "features of null": (_map(None), "b.geojson", (2,)),
    "features of numbers": (_map(1, 2), "b.geojson", (2,)),
    "doubled key": (b'{"type":"FeatureCollection","features":[],"features":[]}', "twice", (2,)),
    "NaN": (_map(_feature(_polygon([[math.nan, 46.05], *RING[1:]]))), "b.geojson", (2,)),
    "Infinity": (_map(_feature(_polygon([[math.inf, 46.05], *RING[1:]]))), "b.geojson", (2,)),
    "1e400": (_map(_feature(_polygon(RING))).replace(b"-93.019", b"1e400"), "b.geojson", (2,)),
    "integer of 5,000 digits": (
        _map(_feature(_polygon(RING))).replace(b"46.051", b"9" * 5000),
        "b.geojson",
        (2,),
    ),
    "words a list": (
        _map({"type": "Feature", "properties": [1], "geometry": _polygon(RING)}),
        "no plot_id",
        (2,),
    ),
    "words null": (
        _map({"type": "Feature", "properties": None, "geometry": _polygon(RING)}),
        "no plot_id",
        (2,),
    ),
    "word a list": (_map(_feature(_polygon(RING), crop=["oats"])), "is a list or an object", (2,)),
    "word an object": (_map(_feature(_polygon(RING), crop={"a": 1})), "is a list or an object", (2,)),
    "word true": (_map(_feature(_polygon(RING), crop=True)), "1 plot", (0,)),
    "surrogate": (_map(_feature(_polygon(RING))).replace(b"B-1", b"B\\ud800"), "b.geojson", (2,)),
    "control characters": (_map(_feature(_polygon(RING))).replace(b"B-1", b"B\\u0000"), "b.geojson", (2,)),
    "id of 10,000 letters": (_map(_feature(_polygon(RING), plot_id="B" * 10_001)), "b.geojson", (2,)),
    "name of a million letters": (_map(_feature(_polygon(RING), name="n" * 1_000_000)), "b.geojson", (2,)),
    "id empty": (_map(_feature(_polygon(RING), plot_id="")), "no plot_id", (2,)),
    "id blank": (_map(_feature(_polygon(RING), plot_id=" \u00a0")), "no plot_id", (2,)),
    "id with zero width": (_map(_feature(_polygon(RING), plot_id="A\u200b-1")), "A-1", (0,)),
    "id with no-break": (_map(_feature(_polygon(RING), plot_id="A-1\u00a0")), "A-1", (0,)),
    "id in full width": (_map(_feature(_polygon(RING), plot_id="\uff21-1")), "1", (1,)),
    "ids that look alike": (
        _map(
            _feature(_polygon(RING), plot_id="caf\u00e9"),
            _feature(_polygon(_moved(-93.0, 46.0, 0.001)), plot_id="cafe\u0301"),
        ),
        "caf",
        (2,),
    ),
    "id in another case": (_map(_feature(_polygon(RING), plot_id="a-1")), "a-1", (1,)),
    "foreign system": (
        _map(_feature(_polygon(RING))).replace(
            b'"features"', b'"crs":{"properties":{"name":"EPSG:x"}},"features"'
        ),
        "EPSG:x",
        (2,),
    ),
    "system a number": (
        _map(_feature(_polygon(RING))).replace(b'"features"', b'"crs":7,"features"'),
        "7",
        (2,),
    ),
}

#: Called → file name, bytes, what must be said, codes.
OTHERS: dict[str, tuple[str, bytes, str, tuple[int, ...]]] = {
    "kml/empty": ("b.kml", b"<kml/>", "b.kml", (2,)),
    "kml/cut": ("b.kml", KML.format(dtd="", name="B", ring=KML_RING).encode()[:-60], "b.kml", (2,)),
    "kml/no numbers": ("b.kml", KML.format(dtd="", name="B", ring="a,b c,d").encode(), "b.kml", (2,)),
    "kml/one point": ("b.kml", KML.format(dtd="", name="B", ring="-93,46").encode(), "b.kml", (2,)),
    "kml/infinity": (
        "b.kml",
        KML.format(dtd="", name="B", ring=KML_RING.replace("46.051", "inf")).encode(),
        "b.kml",
        (2,),
    ),
    "kml/swapped": (
        "b.kml",
        KML.format(dtd="", name="B", ring=" ".join(f"{y},{x}" for x, y in RING)).encode(),
        "b.kml",
        (2,),
    ),
    "kml/entity bomb": (
        "b.kml",
        KML.format(
            dtd='<!DOCTYPE kml [<!ENTITY a "aaaaaaaaaa">'
            + "".join(f'<!ENTITY a{n} "{("&a" + (str(n - 1) if n else "") + ";") * 10}">' for n in range(9))
            + "]>",
            name="&a8;",
            ring=KML_RING,
        ).encode(),
        "b.kml",
        (2,),
    ),
    "kml/outside entity": (
        "b.kml",
        KML.format(
            dtd='<!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/passwd">]>', name="&x;", ring=KML_RING
        ).encode(),
        "not KML",
        (2,),
    ),
    "kml/not kml": ("b.kml", b"<html><body>404</body></html>", "not KML", (2,)),
    "kml/deep": ("b.kml", b"<kml>" + b"<Folder>" * 50_000, "b.kml", (2,)),
    "kmz/no zip": ("b.kmz", b"not a zip", "b.kmz", (2,)),
    "kmz/empty zip": ("b.kmz", _zip(), "b.kmz", (2,)),
    "kmz/no kml": ("b.kmz", _zip(x__txt=b"x"), "b.kmz", (2,)),
    "kmz/1 GB": ("b.kmz", _zip(1000, doc__kml=b"<kml>"), "unpacks to", (2,)),
    "zip/1 GB": ("b.zip", _zip(400, b__shp=b"\x00\x00\x27\x0a", b__dbf=b"", b__shx=b""), "unpacks to", (2,)),
    "zip/no shapes": ("b.zip", _zip(x__txt=b"x"), "b.zip", (2,)),
    "zip/empty shapes": ("b.zip", _zip(b__shp=b"", b__dbf=b"", b__shx=b""), "b.zip", (2,)),
    "zip/cut": ("b.zip", _zip(b__shp=b"\x00\x00\x27\x0a" * 50)[:-30], "b.zip", (2,)),
    "shp/alone": ("b.shp", b"\x00\x00\x27\x0a" + b"\x00" * 96, "missing", (2,)),
    "gpx/no track": ("b.gpx", GPX.format("").encode(), "b.gpx", (2,)),
    "gpx/one fix": (
        "b.gpx",
        GPX.format(f"<trk><trkseg>{_fix(-93.02, 46.05)}</trkseg></trk>").encode(),
        "b.gpx",
        (2,),
    ),
    "gpx/two fixes": (
        "b.gpx",
        GPX.format(f"<trk><trkseg>{_fix(-93.02, 46.05) * 2}</trkseg></trk>").encode(),
        "b.gpx",
        (2,),
    ),
    "gpx/empty segment": (
        "b.gpx",
        GPX.format(f"<trk><trkseg/><trkseg>{TRACK}</trkseg></trk>").encode(),
        "the walk ends",
        (2,),
    ),
    "gpx/only empty segments": ("b.gpx", GPX.format("<trk><trkseg/><trkseg/></trk>").encode(), "b.gpx", (2,)),
    "gpx/no segment": ("b.gpx", GPX.format("<trk><name>x</name></trk>").encode(), "b.gpx", (2,)),
    "gpx/latitude a word": (
        "b.gpx",
        GPX.format(f"<trk><trkseg>{_fix(-93.02, 'north') * 5}</trkseg></trk>").encode(),
        "b.gpx",
        (2,),
    ),
    "gpx/infinity": (
        "b.gpx",
        GPX.format(f"<trk><trkseg>{TRACK}{_fix(-93.02, 'inf')}</trkseg></trk>").encode(),
        "b.gpx",
        (2,),
    ),
    "gpx/no place": (
        "b.gpx",
        GPX.format("<trk><trkseg><trkpt/><trkpt/><trkpt/></trkseg></trk>").encode(),
        "b.gpx",
        (2,),
    ),
    "gpx/one fix beside a track": (
        "b.gpx",
        GPX.format(
            f"<trk><trkseg>{TRACK}</trkseg></trk><trk><trkseg>{_fix(-93, 46)}</trkseg></trk>"
        ).encode(),
        "b.gpx",
        (2,),
    ),
    "gpkg/empty": ("b.gpkg", b"", "empty", (2,)),
    "gpkg/head only": ("b.gpkg", b"SQLite format 3\x00", "b.gpkg", (2,)),
    "gpkg/noise": ("b.gpkg", b"SQLite format 3\x00" + bytes(range(256)) * 40, "b.gpkg", (2,)),
    "fgb/head only": ("b.fgb", b"fgb\x03fgb\x00", "b.fgb", (2,)),
    "fgb/noise": ("b.fgb", b"fgb\x03fgb\x00" + bytes(range(256)) * 4, "b.fgb", (2,)),
    "another format": ("b.dxf", b"0\nSECTION\n", "b.dxf", (2,)),
    "no ending": ("b", b"x", "b", (2,)),
    "a virtual source": ("b.vrt", b"<OGRVRTDataSource/>", "b.vrt", (2,)),
}


def cases() -> Iterator[Case]:
    """Every one brought as boundaries."""
    for called, (geometry, says, codes) in GEOMETRIES.items():
        yield Case(
            f"geojson/{called}",
            ("import", "P", "b.geojson"),
            says,
            {"b.geojson": _map(_feature(geometry))},
            codes,
        )
    for called, (content, says, codes) in DOCUMENTS.items():
        yield Case(
            f"geojson/document/{called}", ("import", "P", "b.geojson"), says, {"b.geojson": content}, codes
        )
    for called, (name, content, says, codes) in OTHERS.items():
        yield Case(called, ("import", "P", name), says, {name: content}, codes)
    for called, code, says in (
        ("a county", 2, "no plot but a county"),
        ("comb of 20,000 teeth", 0, "1.275"),
        ("scribble", 2, "more than 500 places"),
        ("null island", 2, "in the sea off Africa"),
        ("bow tie", 2, "crosses itself"),
        ("a point", 2, "this is a Point"),
    ):
        content = _map(_feature(GEOMETRIES[called][0]))
        yield Case(f"measure/{called}", ("measure", "b.geojson"), says, {"b.geojson": content}, (code,))
