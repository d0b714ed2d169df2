"""The field map: one HTML file that opens from a file manager, with or without a signal.

This file answers "what does the page consist of, and what may it load?". It puts the data of
`contents` and the parts under ``templates/`` into one file with nothing outside: style, script and
Leaflet are in it, and a content security policy in the page forbids everything else. Only a map made
with an online background may ask that one host for pictures. What the map says is not decided here.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from loamwright.errors import Level, Problem
from loamwright.fieldmap.contents import map_data
from loamwright.fieldmap.editions import PLANNER
from loamwright.fieldmap.imagery import Picture, embed_picture
from loamwright.fieldmap.records import MapData, plain
from loamwright.fieldmap.still import still
from loamwright.files import refuse_to_replace, write_whole
from loamwright.work import SeasonView

if TYPE_CHECKING:
    import folium
    from branca.element import Figure
    from xyzservices import TileProvider


class Basemap(StrEnum):
    """Online backgrounds one may ask for; both are public-domain pictures of the U.S. Geological Survey."""

    AERIAL = "aerial"
    TOPO = "topo"


@dataclass(frozen=True, slots=True)
class MapOptions:
    """What kind of map to write.

    Parameters
    ----------
    round_id
        Make it for this round only; empty = the whole property.
    reader
        Whose edition, one of `EDITIONS`.
    basemap
        Online background; None = plain paper, and the page asks nothing of the network.
    picture
        The user's own GeoTIFF to embed as a background; None = none.
    picture_max_px
        Longest side of the embedded picture [pixels].
    """

    round_id: str = ""
    reader: str = PLANNER
    basemap: Basemap | None = None
    picture: Path | None = None
    picture_max_px: int = 2000


@dataclass(frozen=True, slots=True)
class MapMade:
    """The map that was written.

    Parameters
    ----------
    path, size_bytes
        Where, and how large [bytes].
    problems
        Notes on what was cut, made smaller or needs the network.
    """

    path: Path
    size_bytes: int
    problems: tuple[Problem, ...] = ()


#: The page's own script, in the order it is read.
SCRIPTS = (
    "ground.js",
    "fieldmap_core.js",
    "fieldmap_qr.js",
    "fieldmap_records.js",
    "fieldmap_checkoff.js",
    "fieldmap_codes.js",
    "fieldmap_handover.js",
    "fieldmap_draw.js",
    "fieldmap_place.js",
    "fieldmap_capture.js",
    "fieldmap_sheets.js",
    "fieldmap_start.js",
)

_DEFAULTS = MapOptions()


def write_map(view: SeasonView, path: Path, options: MapOptions = _DEFAULTS) -> MapMade:
    """Write the field map of a season as one self-contained HTML file.

    Parameters
    ----------
    view
        The season, computed.
    path
        The file to write; a file there is replaced once the new one is complete.
    options
        What kind of map.

    Returns
    -------
    MapMade

    Raises
    ------
    InputError
        When there is nothing to draw, the round is not known, the picture cannot be used, or the file
        cannot be written.
    PropertyFileError
        When the file is a property file.
    MissingExtraError
        When a picture is asked for and the extra ``imagery`` is not installed.
    """
    refuse_to_replace(path)  # before the work
    data = map_data(view, options.round_id, options.reader)
    picture = None
    if options.picture is not None:
        picture = embed_picture(options.picture, data.bounds, options.picture_max_px)
    html = page(data, options.basemap, picture).encode("utf-8")
    write_whole(path, html)
    problems = list(picture.problems) if picture else []
    if options.basemap:
        problems.append(
            Problem(
                "map, background",
                f"the {options.basemap} background is fetched from the network when the map is open",
                "Without a signal the map shows plain paper; embed your own picture for the field.",
                Level.NOTE,
            )
        )
    return MapMade(path, len(html), tuple(problems))


def folium_map(view: SeasonView, options: MapOptions = _DEFAULTS) -> folium.Map:
    """Make the field map of a season as a map that a notebook shows.

    Parameters
    ----------
    view
        The season, computed.
    options
        What kind of map; a picture of the user's own is not embedded.

    Returns
    -------
    folium.Map
        Inside the field map's page, which holds everything it needs.

    Raises
    ------
    InputError
        When there is nothing to draw, or the round is not known.
    """
    return _paged(map_data(view, options.round_id, options.reader), options.basemap, None)


def page(data: MapData, basemap: Basemap | None = None, picture: Picture | None = None) -> str:
    """Put the map's data into the page."""
    html: str = _paged(data, basemap, picture).get_root().render()
    return html


def _paged(data: MapData, basemap: Basemap | None, picture: Picture | None) -> folium.Map:
    """Make the map, inside its page."""
    paper = _paper(data)
    hosts = []
    if basemap:
        provider = _provider(basemap)
        hosts.append(f"https://{urlsplit(provider.url).hostname}")
        paper.add_child(_tiles(provider))
    if picture:
        paper.add_child(_overlay(picture))
    _figure(data, paper, hosts)
    return paper


# ---------------------------------------------------------------------------------------------
# Parts of the page


@lru_cache(maxsize=32)
def _part(name: str) -> str:
    return (files("loamwright") / "templates" / name).read_text("utf-8")


@lru_cache(maxsize=8)
def _script(name: str) -> str:
    """Return one of our scripts without the lines that hold a remark alone: the page is to stay small."""
    return re.sub(r"(?m)^[ \t]*//.*\n", "", _part(name))


def _leaflet(name: str) -> str:
    """Return a file of the Leaflet package, with its pictures in it and no address to look up."""
    folder = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    text = (folder / name).read_text("utf-8")

    def inlined(match: re.Match[str]) -> str:
        coded = base64.b64encode((folder / "images" / match[1]).read_bytes()).decode()
        return f"url(data:image/png;base64,{coded})"

    if name.endswith(".css"):
        text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)  # its comments name addresses
    text = re.sub(r"url\(images/([\w.-]+)\)", inlined, text)
    return re.sub(r"\n//# sourceMappingURL=\S+\s*$", "\n", text)


def _paper(data: MapData) -> folium.Map:
    """Make the folium map: no tiles, and Leaflet from the installed package instead of the network."""
    import folium
    from folium.template import Template

    class Paper(folium.Map):
        _template = Template(_part("fieldmap.html"))
        style = _part("look.css") + _part("ground.css") + _part("fieldmap.css")
        leaflet_style = _leaflet("leaflet.css")
        leaflet_program = _leaflet("leaflet.js")
        leaflet_license = _part("leaflet_license.txt")

    (south, west), (north, east) = data.bounds
    paper = Paper(
        location=((south + north) / 2, (west + east) / 2),
        tiles=None,
        zoom_start=15,
        zoom_control="topright",
        max_zoom=20,
        zoom_snap=0.25,
        bounce_at_zoom_limits=False,
    )
    paper.default_js = []
    paper.default_css = []
    paper._id = "fields"  # a name of our own instead of a random one: the page is the same at every remake
    return paper


def _figure(data: MapData, paper: folium.Map, hosts: Sequence[str]) -> Figure:
    """Put the map into the page, with the policy that lets this page's own scripts run and no others."""
    from branca.element import Figure
    from folium.template import Template

    class Page(Figure):
        _template = Template(_part("fieldmap_page.html"))
        policy = "{policy}"  # filled in when all scripts are written
        still: str
        data: str
        program: str

        def render(self, **options: object) -> str:
            html: str = super().render(**options)
            return html.replace(self.policy, _policy(html, hosts), 1)

    figure = Page()
    figure.title = data.title
    figure.still = Template(_part("fieldmap_still.html")).render(still=still(data))
    figure.data = _packed(data)
    figure.program = "\n".join(_script(name) for name in SCRIPTS)
    figure.add_child(paper)
    return figure


def _packed(data: MapData) -> str:
    """Write the data as JSON, gzip, base64: letters that can neither end a script nor start a tag."""
    text = json.dumps(plain(data), ensure_ascii=False, separators=(",", ":"))
    return base64.b64encode(gzip.compress(text.encode("utf-8"), mtime=0)).decode("ascii")


class _Scripts(HTMLParser):
    """Collects the text of the scripts a page runs, as a browser would find them."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside = tag == "script" and not attrs  # the data carry attributes and are not run
        if self._inside:
            self.texts.append("")

    def handle_endtag(self, tag: str) -> None:
        self._inside = False

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.texts[-1] += data


def _policy(html: str, hosts: Sequence[str]) -> str:
    """Allow the page's own scripts by their hash, its style, embedded pictures, and nothing else."""
    reader = _Scripts()
    reader.feed(html)
    reader.close()
    digests = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in reader.texts]
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        f"img-src {' '.join(('data:', *hosts))}; form-action 'none'; base-uri 'none'"
    )


# ---------------------------------------------------------------------------------------------
# Backgrounds


def _provider(basemap: Basemap) -> TileProvider:
    from xyzservices import providers

    return providers.USGS.USImagery if basemap is Basemap.AERIAL else providers.USGS.USTopo


def _tiles(provider: TileProvider) -> folium.TileLayer:
    import folium

    # The National Map has pictures down to about zoom 16 everywhere; closer in they are enlarged.
    tiles = folium.TileLayer(
        provider.build_url(fill_subdomain=False),
        attr=provider.attribution,
        name="background",
        max_zoom=20,
        max_native_zoom=16,
        control=False,
    )
    tiles._id = "online"
    return tiles


def _overlay(picture: Picture) -> folium.raster_layers.ImageOverlay:
    import folium

    overlay = folium.raster_layers.ImageOverlay(
        f"data:{picture.media_type};base64,{base64.b64encode(picture.data).decode()}",
        [list(corner) for corner in picture.bounds],
        pixelated=False,
        name="picture",
        control=False,
        alt="",
    )
    overlay._id = "own"
    return overlay
