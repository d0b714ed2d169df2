"""A disguised map file opens no other file and no address: what the process really opens is watched."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

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


def measured(file: Path) -> subprocess.CompletedProcess[str]:
    """Measure a file in a process of its own, under a watch that writes down every socket."""
    watch = (
        "import sys; from loamwright.commands import app\n"
        "def seen(event, args):\n"
        "    if event.startswith('socket.'): print('SOCKET', event, file=sys.stderr)\n"
        "sys.addaudithook(seen); app(['measure', sys.argv[1], '--json'])"
    )
    return subprocess.run(
        [sys.executable, "-c", watch, str(file)], capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("ending", [".kml", ".kmz", ".gpx", ".shp", ".gpkg", ".fgb", ".zip"])
@pytest.mark.parametrize("content", [VIRTUAL, REMOTE, ENTITY])
def test_a_disguise_is_refused(tmp_path: Path, ending: str, content: str) -> None:
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps(SECRET), encoding="utf-8")
    file = tmp_path / f"plots{ending}"
    file.write_text(content.replace("{there}", str(secret)), encoding="utf-8")
    for other in (".shx", ".dbf"):
        file.with_suffix(other).write_bytes(b"") if ending == ".shp" else None
    done = measured(file)
    assert done.returncode == 2, done.stdout
    assert "SECRET" not in done.stdout + done.stderr.replace(str(secret), "")
    assert "SOCKET" not in done.stderr
    assert file.name in done.stdout


def test_a_disguise_inside_an_archive_is_refused(tmp_path: Path) -> None:
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps(SECRET), encoding="utf-8")
    for name, inner in (("a.kmz", "doc.kml"), ("b.zip", "plots.shp")):
        with zipfile.ZipFile(tmp_path / name, "w") as archive:
            archive.writestr(inner, VIRTUAL.replace("{there}", str(secret)))
        done = measured(tmp_path / name)
        assert done.returncode == 2
        assert "is not" in done.stdout
        assert "SECRET" not in done.stdout


def test_honest_files_are_read(tmp_path: Path) -> None:
    """With what may stand before the first element: a mark of byte order, a declaration, a comment."""
    ring = "-93.05,46.05 -93.049,46.05 -93.049,46.051 -93.05,46.05"
    shape = f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
    body = f"<Document><Placemark><name>P</name>{shape}</outerBoundaryIs></Polygon></Placemark></Document>"
    space = 'xmlns="http://www.opengis.net/kml/2.2"'
    for start in ("", '<?xml version="1.0" encoding="UTF-8"?>\n', "<!-- made by hand -->\n", "\ufeff"):
        file = tmp_path / "plots.kml"
        file.write_text(f"{start}<kml {space}>{body}</kml>", encoding="utf-8")
        assert measured(file).returncode in (0, 1), start
