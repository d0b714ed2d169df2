"""The user's own picture: lies where it should, cut and made smaller, and refused with a reason."""

from __future__ import annotations

import base64
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import TODAY, ran_well, worked_files
from pyproj import Transformer
from sample_view import sample_view

from loamwright.errors import InputError, Level
from loamwright.fieldmap.imagery import embed_picture
from loamwright.fieldmap.page import MapOptions, write_map

rasterio = pytest.importorskip("rasterio", reason="the extra 'imagery' (rasterio) is not installed")

BOUNDS = ((46.045, -93.055), (46.055, -93.045))
TO_UTM = Transformer.from_crs("EPSG:4326", "EPSG:32615", always_xy=True)  # UTM zone 15 north
TO_MERCATOR = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
MARKS = [(46.0470, -93.0530), (46.0500, -93.0500), (46.0538, -93.0462)]


def picture(
    path: Path, *, crs: str | None = "EPSG:32615", dtype: str = "uint8", bands: int = 3, **box: float
) -> Path:
    """Write a grey picture, 1 m a pixel, with red squares of 11 m at the marks."""
    south, west, north, east = (
        box.get(k, v) for k, v in (("south", 46.04), ("west", -93.06), ("north", 46.06), ("east", -93.04))
    )
    left, bottom = TO_UTM.transform(west, south)
    right, top = TO_UTM.transform(east, north)
    width, height = int(right - left), int(top - bottom)
    pixels = np.full((bands, height, width), 120, dtype=dtype)
    for lat, lon in MARKS:
        x, y = TO_UTM.transform(lon, lat)
        row, column = int(top - y), int(x - left)
        if 6 <= row < height - 6 and 6 <= column < width - 6:
            pixels[0, row - 5 : row + 6, column - 5 : column + 6] = 250
            pixels[1:, row - 5 : row + 6, column - 5 : column + 6] = 0
    profile: dict[str, Any] = {
        "driver": "GTiff",
        "count": bands,
        "height": height,
        "width": width,
        "dtype": dtype,
    }
    if crs:
        profile |= {"crs": crs, "transform": rasterio.transform.from_origin(left, top, 1, 1)}
    with rasterio.open(path, "w", **profile) as out:
        out.write(pixels)
    return path


def test_marks_lie_where_the_map_draws_them(tmp_path: Path) -> None:
    """Leaflet spreads the picture evenly over its Web Mercator box; pyproj says where each mark falls in it.

    Tolerance: one pixel of 1 m in each direction plus half a pixel of rounding.
    """
    made = embed_picture(picture(tmp_path / "a.tif"), BOUNDS)
    with rasterio.MemoryFile(made.data) as memory, memory.open() as jpeg:
        assert jpeg.driver == "JPEG"
        pixels = jpeg.read()
    assert pixels.shape == (3, made.height_px, made.width_px)
    (south, west), (north, east) = made.bounds
    left, bottom = TO_MERCATOR.transform(west, south)
    right, top = TO_MERCATOR.transform(east, north)
    red = (pixels[0].astype(int) - pixels[1]) > 120
    rows, columns = np.nonzero(red)
    for lat, lon in MARKS:
        x, y = TO_MERCATOR.transform(lon, lat)
        column = (x - left) / (right - left) * made.width_px
        row = (top - y) / (top - bottom) * made.height_px
        near = (abs(columns - column) < 15) & (abs(rows - row) < 15)
        assert near.any()
        pixel_m = (right - left) / made.width_px * math.cos(math.radians(lat))
        assert abs(columns[near].mean() + 0.5 - column) * pixel_m < 1.6
        assert abs(rows[near].mean() + 0.5 - row) * pixel_m < 1.6


def test_cut_to_the_property_and_made_smaller(tmp_path: Path) -> None:
    made = embed_picture(picture(tmp_path / "a.tif"), BOUNDS, longest_px=300)
    assert max(made.width_px, made.height_px) == 300
    (south, west), (north, east) = made.bounds
    assert 46.04 < south < 46.045 < 46.055 < north < 46.06
    assert -93.06 < west < -93.055 < -93.045 < east < -93.04
    (note,) = made.problems
    assert note.level is Level.NOTE
    assert f"{made.width_px} x {made.height_px} pixels" in note.what
    # 0.01 degree of latitude is 1111 m (WGS84, 46 N); with 8 % on each side 1289 m over 300 pixels
    assert "about 4.3 m each" in note.what


def test_one_band_and_partial_cover(tmp_path: Path) -> None:
    path = picture(tmp_path / "grey.tif", bands=1, east=-93.05)
    made = embed_picture(path, BOUNDS)
    assert [p.level for p in made.problems] == [Level.NOTE, Level.WARNING]
    assert "covers only a part" in made.problems[1].what
    assert made.bounds[1][1] < -93.045


def test_in_the_map(tmp_path: Path) -> None:
    path = picture(tmp_path / "a.tif")
    result = write_map(sample_view(1), tmp_path / "map.html", MapOptions(picture=path, picture_max_px=400))
    plain = write_map(sample_view(1), tmp_path / "plain.html")
    html = result.path.read_text("utf-8")
    embedded = html.partition("data:image/jpeg;base64,")[2].partition('"')[0]
    assert base64.b64decode(embedded).startswith(b"\xff\xd8\xff")  # a JPEG's first marker, ISO/IEC 10918-1
    assert result.size_bytes - plain.size_bytes == pytest.approx(len(embedded), abs=1500)
    assert str(path) in str(result.problems[0])


def test_bad_pictures_are_refused_by_name(tmp_path: Path) -> None:
    cases = {
        picture(tmp_path / "nowhere.tif", crs=None): "no coordinate system",
        picture(tmp_path / "deep.tif", dtype="uint16"): "values of type uint16, not 8 bit",
        picture(tmp_path / "elsewhere.tif", south=46.2, north=46.21): "does not reach the property",
        tmp_path / "missing.tif": "cannot be read as a raster",
        tmp_path: "cannot be read as a raster",
    }
    (tmp_path / "text.tif").write_text("not a picture")
    (tmp_path / "empty.tif").write_bytes(b"")
    cases |= {tmp_path / "text.tif": "cannot be read as a raster", tmp_path / "empty.tif": "cannot be read"}
    for path, why in cases.items():
        with pytest.raises(InputError, match=why) as caught:
            embed_picture(path, BOUNDS)
        assert caught.value.problems[0].where == str(path)
        assert caught.value.problems[0].fix


def test_a_picture_by_the_command_line(tmp_path: Path) -> None:
    """The size is said, the picture is in the page, and the page still asks for nothing outside."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", TODAY.year)
    ran_well("import", path, worked_files(tmp_path)[0])
    plain = Path(ran_well("map", path)["files"][0]).stat().st_size
    made = ran_well("map", path, tmp_path / "map.html", "--image", picture(tmp_path / "own.tif"))
    (note,) = made["problems"]
    said = re.fullmatch(
        r"embedded as a picture of (\d+) x (\d+) pixels, about 1 m each, ([\d,]+) kB", note["what"]
    )
    assert said, note
    # Two squares of a thousandth of a degree, one of them 0.002 degree east: 0.003 by 0.001 degree, with
    # a margin of 8 % of the longer side all round, at one degree of longitude = 77.3 km here, in 1 m pixels.
    assert int(said[1]) == pytest.approx(0.003 * 77_300 * 1.16, rel=0.02)
    html = (tmp_path / "map.html").read_text("utf-8")
    assert "data:image/jpeg;base64," in html
    assert "img-src data:;" in html
    grown = (tmp_path / "map.html").stat().st_size - plain
    assert grown == pytest.approx(int(said[3].replace(",", "")) * 1000 * 4 / 3, abs=1500)  # base64: 4 for 3
