"""The map's file: complete in itself, closed to the network, the same at every remake, small."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import hashlib
import json
import re
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest
from sample_view import sample_view

from loamwright.errors import InputError, Level, MissingExtraError
from loamwright.fieldmap import records
from loamwright.fieldmap.contents import map_data
from loamwright.fieldmap.page import SCRIPTS, Basemap, MapOptions, write_map

DEFAULTS = MapOptions()


class Parsed(HTMLParser):
    """Elements with their attributes, and the text of scripts and styles, by the standard library."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self.styles: list[str] = []
        self.data = ""
        self.title = ""
        self._into = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._into = tag
        if tag == "script":
            self._into = "data" if dict(attrs).get("id") == "map-data" else "script"
            if self._into == "script":
                self.scripts.append("")
        elif tag == "style":
            self.styles.append("")

    def handle_endtag(self, tag: str) -> None:
        self._into = ""

    def handle_data(self, data: str) -> None:
        if self._into == "script":
            self.scripts[-1] += data
        elif self._into == "style":
            self.styles[-1] += data
        elif self._into == "data":
            self.data += data
        elif self._into == "title":
            self.title += data


def made(tmp_path: Path, plots: int = 25, *, hostile: bool = False, options: MapOptions = DEFAULTS) -> str:
    return write_map(sample_view(plots, hostile=hostile), tmp_path / "map.html", options).path.read_text(
        "utf-8"
    )


def policy(page: Parsed) -> dict[str, list[str]]:
    text = next(a["content"] for t, a in page.elements if a.get("http-equiv") == "Content-Security-Policy")
    assert text is not None
    return {words[0]: words[1:] for part in text.split(";") if (words := part.split())}


def test_nothing_is_loaded_from_outside(tmp_path: Path) -> None:
    html = made(tmp_path)
    page = Parsed(html)
    assert not [tag for tag, _ in page.elements if tag in ("link", "iframe", "object", "embed", "base")]
    addresses = [
        value
        for _, attributes in page.elements
        for name, value in attributes.items()
        if name in ("src", "href", "srcset", "action", "poster", "data")
    ]
    assert addresses == ["#panel"]
    for style in page.styles:
        assert "@import" not in style
        assert all(m.startswith(("data:", "#")) for m in re.findall(r"url\(\s*['\"]?([^)'\"]*)", style))
    # what is left of addresses: names of XML vocabularies and Leaflet's own comment and credit
    known = ("http://www.w3.org/2000/svg", "https://leafletjs.com")
    assert {a for a in re.findall(r"https?://[\w./-]+[\w/]", html) if not a.startswith(known)} == set()
    assert "sourceMappingURL" not in html


def test_policy_allows_its_own_scripts_and_nothing_else(tmp_path: Path) -> None:
    """CSP level 3: a hash of the script's text allows that script only."""
    page = Parsed(made(tmp_path))
    rules = policy(page)
    assert rules["default-src"] == ["'none'"]
    assert rules["img-src"] == ["data:"]
    assert rules["form-action"] == rules["base-uri"] == ["'none'"]
    assert "connect-src" not in rules
    hashes = [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in page.scripts]
    assert len(hashes) == 3
    assert rules["script-src"] == [f"'sha256-{digest}'" for digest in hashes]


def test_hostile_text_adds_no_element(tmp_path: Path) -> None:
    tame = Parsed(made(tmp_path))
    page = Parsed(made(tmp_path, hostile=True))
    assert [tag for tag, _ in page.elements] == [tag for tag, _ in tame.elements]
    assert re.fullmatch(r"[A-Za-z0-9+/]+=*", page.data)  # base64 can neither end a script nor start a tag
    view = sample_view(25, hostile=True)
    content = json.loads(gzip.decompress(base64.b64decode(page.data)))
    assert [plot["name"] for plot in content["plots"]] == [plot.name for plot in view.record.plots]
    assert content == json.loads(json.dumps(records.plain(map_data(view))))
    assert page.title == view.record.info.name


def test_the_same_season_gives_the_same_bytes(tmp_path: Path) -> None:
    first = made(tmp_path)
    assert made(tmp_path) == first


# Limits of the field map as stated for this project: without imagery.
@pytest.mark.parametrize(("plots", "most_bytes"), [(1, 400_000), (25, 400_000), (500, 2_500_000)])
def test_size(tmp_path: Path, plots: int, most_bytes: int) -> None:
    result = write_map(sample_view(plots), tmp_path / "map.html")
    assert result.size_bytes == (tmp_path / "map.html").stat().st_size <= most_bytes


def test_page_and_data_name_the_same_fields() -> None:
    """Both ways: the script reads no field the data lack, and the data carry none nobody reads."""
    templates = files("loamwright") / "templates"
    script = "\n".join((templates / name).read_text("utf-8") for name in SCRIPTS)
    carried = {f.name for f in dataclasses.fields(records.MapData)}
    assert set(re.findall(r"\bdata\.([a-z_0-9]+)", script)) == carried
    for record in vars(records).values():
        if isinstance(record, type) and dataclasses.is_dataclass(record):
            for field in dataclasses.fields(record):
                read = rf"\.{field.name}\b|[{{,] ?{field.name}[ ,}}]"
                assert re.search(read, script), f"{record.__name__}.{field.name} is read by no script"


def test_scripts_never_make_markup_from_text() -> None:
    templates = files("loamwright") / "templates"
    for name in SCRIPTS:
        text = (templates / name).read_text("utf-8")
        for way in (
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "new Function",
        ):
            assert way not in text, f"{way} in {name}"


def test_every_template_part_of_the_map_is_used() -> None:
    there = {
        one.name for one in (files("loamwright") / "templates").iterdir() if one.name.startswith("fieldmap")
    }
    parts = {"fieldmap.html", "fieldmap.css", "fieldmap_page.html", "fieldmap_still.html"}
    assert there == (parts | set(SCRIPTS)) - {"ground.js"}


@pytest.mark.parametrize("basemap", list(Basemap))
def test_online_background_opens_one_host_only(tmp_path: Path, basemap: Basemap) -> None:
    options = MapOptions(basemap=basemap)
    result = write_map(sample_view(1), tmp_path / "map.html", options)
    html = result.path.read_text("utf-8")
    rules = policy(Parsed(html))
    assert rules["img-src"] == ["data:", "https://basemap.nationalmap.gov"]
    assert rules["default-src"] == ["'none'"]
    assert "U.S. Geological Survey" in html
    (note,) = result.problems
    assert note.level is Level.NOTE
    assert f"the {basemap} background is fetched from the network" in note.what


def test_missing_extra_names_the_install_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(MissingExtraError, match=r"pip install 'loamwright\[imagery\]'"):
        write_map(sample_view(1), tmp_path / "map.html", MapOptions(picture=tmp_path / "a.tif"))
    assert not (tmp_path / "map.html").exists()


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "taken").mkdir()
    with pytest.raises(InputError, match="taken: it cannot be written: it is a folder"):
        write_map(sample_view(1), tmp_path / "taken")
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        write_map(sample_view(1), tmp_path / "file" / "map.html")
    assert write_map(sample_view(1), tmp_path / "new" / "map.html").path.exists()
    assert [one.name for one in (tmp_path / "new").iterdir()] == ["map.html"]  # no half-written file left
