"""A disguised map file opens no other file and no address: what the process really opens is watched."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import NamedTuple

SECRET = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"plot_id": "SECRET"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[-93.05, 46.05], [-93.049, 46.05], [-93.049, 46.051], [-93.05, 46.05]]],
            },
        }
    ],
}
VIRTUAL = (
    '<OGRVRTDataSource><OGRVRTLayer name="other"><SrcDataSource>{there}</SrcDataSource></OGRVRTLayer>'
    "</OGRVRTDataSource>"
)
REMOTE = VIRTUAL.format(there="/vsicurl/http://127.0.0.1:9/other.geojson")
ENTITY = (
    '<!DOCTYPE kml [<!ENTITY x SYSTEM "file://{there}">]><kml><Document><name>&x;</name></Document></kml>'
)


#: Measures every file it is told of, under a watch that counts sockets; prints code, output, sockets.
WATCHED = """
import contextlib, io, json, sys
from loamwright.commands import app
sockets = []
sys.addaudithook(lambda event, _args: event.startswith("socket.") and sockets.append(event))
told = []
for name in sys.argv[1:]:
    sockets.clear()
    with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.redirect_stderr(out):
        try:
            app(["measure", name, "--json"])
        except SystemExit as left:
            code = left.code
    told.append((code, out.getvalue(), list(sockets)))
print(json.dumps(told))
"""


class Measured(NamedTuple):
    code: int
    said: str
    sockets: list[str]


def measured(*paths: Path) -> list[Measured]:
    """Measure files in a process of their own."""
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, *map(str, paths)], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return [Measured(*told) for told in json.loads(done.stdout)]


def test_a_disguise_is_refused(tmp_path: Path) -> None:
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps(SECRET), encoding="utf-8")
    paths = []
    for ending in (".kml", ".kmz", ".gpx", ".shp", ".gpkg", ".fgb", ".zip"):
        for kind, content in {"virtual": VIRTUAL, "remote": REMOTE, "entity": ENTITY}.items():
            path = tmp_path / f"{kind}{ending}"
            path.write_text(content.replace("{there}", str(secret)), encoding="utf-8")
            for other in (".shx", ".dbf"):
                path.with_suffix(other).write_bytes(b"") if ending == ".shp" else None
            paths.append(path)
    for path, done in zip(paths, measured(*paths), strict=True):
        assert done.code == 2, path.name
        assert "SECRET" not in done.said, path.name
        assert done.sockets == [], path.name
        assert path.name in done.said


def test_a_disguise_inside_an_archive_is_refused(tmp_path: Path) -> None:
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps(SECRET), encoding="utf-8")
    paths = [tmp_path / "a.kmz", tmp_path / "b.zip"]
    for path, inner in zip(paths, ("doc.kml", "plots.shp"), strict=True):
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr(inner, VIRTUAL.replace("{there}", str(secret)))
    for done in measured(*paths):
        assert done.code == 2
        assert "is not" in done.said
        assert "SECRET" not in done.said


def test_honest_files_are_read(tmp_path: Path) -> None:
    """With what may stand before the first element: a mark of byte order, a declaration, a comment."""
    ring = "-93.05,46.05 -93.049,46.05 -93.049,46.051 -93.05,46.05"
    shape = f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
    body = f"<Document><Placemark><name>P</name>{shape}</outerBoundaryIs></Polygon></Placemark></Document>"
    space = 'xmlns="http://www.opengis.net/kml/2.2"'
    starts = ("", '<?xml version="1.0" encoding="UTF-8"?>\n', "<!-- made by hand -->\n", "\ufeff")
    paths = [tmp_path / f"plots{number}.kml" for number in range(len(starts))]
    for path, start in zip(paths, starts, strict=True):
        path.write_text(f"{start}<kml {space}>{body}</kml>", encoding="utf-8")
    for start, done in zip(starts, measured(*paths), strict=True):
        assert done.code in (0, 1), start
