"""The user's own aerial picture as a background: cut to the property, made smaller, put into the map.

This file answers "how does a GeoTIFF become a picture the field map can carry?". It reads the file with
rasterio (extra ``imagery``), lays it into the map's projection, cuts it to the property with a margin,
and codes it as JPEG. It measures nothing: areas come from boundaries, never from a picture.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from loamwright.errors import InputError, Level, MissingExtraError, Problem
from loamwright.fieldmap.records import Corners

if TYPE_CHECKING:
    import numpy as np
    from rasterio.io import DatasetReader
    from rasterio.vrt import WarpedVRT


#: Ground kept around the property, as a share of its longer side.
MARGIN = 0.08
#: JPEG quality; at 75 an aerial picture takes about a third of a byte per pixel.
QUALITY = 75


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture ready to be embedded.

    Parameters
    ----------
    data, media_type
        The coded picture, and its type (``"image/jpeg"``).
    bounds
        ((south, west), (north, east)) [degree].
    width_px, height_px
        Size [pixels].
    problems
        A note on the size, and on what the picture does not cover.
    """

    data: bytes
    media_type: str
    bounds: Corners
    width_px: int
    height_px: int
    problems: tuple[Problem, ...] = ()


def embed_picture(path: Path, bounds: Corners | None, longest_px: int = 2000) -> Picture:
    """Cut a GeoTIFF to the property and code it for a map.

    Parameters
    ----------
    path
        The picture.
    bounds
        ((south, west), (north, east)) of the property [degree]; None = the whole picture.
    longest_px
        Longer side at most [pixels].

    Returns
    -------
    Picture

    Raises
    ------
    InputError
        When it cannot be read, does not say where it lies, or does not reach the property.
    MissingExtraError
        When rasterio is not installed.

    Notes
    -----
    Leaflet stretches a picture evenly between two corners of a Web Mercator map, so the picture is
    warped to EPSG:3857 first; otherwise its middle would lie wrong.
    """
    try:
        import rasterio
        from rasterio.errors import NotGeoreferencedWarning, RasterioError
        from rasterio.vrt import WarpedVRT
    except ImportError as error:
        raise MissingExtraError(
            "embedding a picture needs the extra 'imagery': pip install 'loamwright[imagery]'"
        ) from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said in our own words by _check
            with rasterio.open(path) as source:
                _check(source, path)
                bilinear = rasterio.enums.Resampling.bilinear
                with WarpedVRT(source, crs="EPSG:3857", resampling=bilinear) as warped:
                    return _cut(warped, path, bounds, longest_px)
    except RasterioError as error:
        raise _refused(path, f"it cannot be read as a raster ({error})", "Give a GeoTIFF.") from error


def _refused(path: Path, what: str, fix: str) -> InputError:
    return InputError([Problem(f"{path}", what, fix)])


def _check(source: DatasetReader, path: Path) -> None:
    if source.crs is None:
        raise _refused(
            path,
            "the picture does not say where on the ground it lies (no coordinate system)",
            "Export it as a GeoTIFF with its coordinate system from the program it came from.",
        )
    kinds = set(source.dtypes)
    if kinds != {"uint8"}:
        raise _refused(
            path,
            f"the picture holds values of type {', '.join(sorted(kinds))}, not 8 bit colours",
            "Export it as an 8 bit RGB GeoTIFF.",
        )


def _mercator(lat: float, lon: float) -> tuple[float, float]:
    """Place on the Web Mercator plane [m]; EPSG:3857, IOGP Guidance Note 7-2, section 3.2.1.2."""
    radius = 6378137.0
    y = math.log(math.tan(math.pi / 4 + math.radians(lat) / 2))
    return radius * math.radians(lon), radius * y


def _degrees(x: float, y: float) -> tuple[float, float]:
    radius = 6378137.0
    lat = math.degrees(2 * math.atan(math.exp(y / radius)) - math.pi / 2)
    return lat, math.degrees(x / radius)


def _cut(warped: WarpedVRT, path: Path, bounds: Corners | None, longest_px: int) -> Picture:
    from rasterio.windows import from_bounds

    have = warped.bounds
    if bounds is None:
        west, south, east, north = wanted = tuple(have)
    else:
        west, south = _mercator(*bounds[0])
        east, north = _mercator(*bounds[1])
        margin = MARGIN * max(east - west, north - south)
        wanted = (west - margin, south - margin, east + margin, north + margin)
    left, bottom = max(wanted[0], have.left), max(wanted[1], have.bottom)
    right, top = min(wanted[2], have.right), min(wanted[3], have.top)
    if left >= right or bottom >= top:
        raise _refused(path, "the picture does not reach the property", "Choose a picture of this property.")
    window = from_bounds(left, bottom, right, top, warped.transform)
    scale = min(1.0, longest_px / max(window.width, window.height))
    width, height = max(1, round(window.width * scale)), max(1, round(window.height * scale))
    bands = [1, 2, 3] if warped.count >= 3 else [1]
    pixels = warped.read(bands, window=window, out_shape=(len(bands), height, width))
    mask = warped.dataset_mask(window=window, out_shape=(height, width))
    pixels[:, mask == 0] = 255  # outside the picture: white, not black
    data = _jpeg(pixels)
    corners = (_degrees(left, bottom), _degrees(right, top))
    metres = (right - left) / width * math.cos(math.radians(corners[0][0]))
    problems = [
        Problem(
            str(path),
            f"embedded as a picture of {width} x {height} pixels, about {metres:.2g} m each, "
            f"{len(data) / 1000:,.0f} kB",
            "",
            Level.NOTE,
        )
    ]
    if left > west or bottom > south or right < east or top < north:
        problems.append(
            Problem(
                str(path),
                "the picture covers only a part of the property",
                "The rest is plain paper.",
                Level.WARNING,
            )
        )
    return Picture(data, "image/jpeg", corners, width, height, tuple(problems))


def _jpeg(pixels: np.ndarray) -> bytes:
    from rasterio.io import MemoryFile

    bands, height, width = pixels.shape
    profile = {"driver": "JPEG", "count": bands, "height": height, "width": width, "dtype": "uint8"}
    with MemoryFile() as memory:
        with memory.open(**profile, QUALITY=QUALITY) as out:
            out.write(pixels)
        return bytes(memory.read())
