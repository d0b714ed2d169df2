"""README's Python runs as it is printed, on the demo, and gives the figures the command line gives."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
from pathlib import Path

import folium
import geopandas
import pandas as pd
import pytest
from command_line import run
from geographiclib.geodesic import Geodesic

import loamwright
from loamwright.errors import InputError

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def folder(the_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("python")
    shutil.copytree(ROOT / "demo_data", made / "demo_data")
    shutil.copytree(the_demo, made / "alder-fork-demo")
    return made


def test_the_readmes_code_runs(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = re.findall(r"^```python\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 2
    monkeypatch.chdir(folder)
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        for block in blocks:
            exec(compile(block, "README.md", "exec"), {})
    said = printed.getvalue()
    assert "15.2% nitrogen" in said
    assert "$6.27 a pound of nitrogen" in said  # 20 lb × 15.16 % N = 3.032 lb; 19.00 ÷ 3.032 = 6.27


def test_frames_hold_what_the_command_line_says(folder: Path) -> None:
    path = folder / "alder-fork-demo" / "alder_fork.gpkg"
    place = loamwright.open_property(path)
    needs = place.needs_frame().set_index(["plot_id", "supply"])
    compared = 0
    for plot in run("needs", path).data["plots"]:
        for need in plot["needs"]:
            row = needs.loc[(plot["plot_id"], need["nutrient"])]
            assert row.state == need["state"]
            if need["lb"] is None:
                assert pd.isna(row.lb)
            else:
                assert row.lb == pytest.approx(need["lb"])
                compared += 1
    assert compared > 20
    lines = run("plan", path).data["lines"]
    assert len(loamwright.open_property(path).plan_frame()) == len(lines)


def test_measure_agrees_with_geographiclib_in_any_projection(folder: Path) -> None:
    plots = geopandas.read_file(folder / "demo_data" / "plots.geojson")
    single = plots[plots.geometry.geom_type == "Polygon"]
    measured = loamwright.measure(single.to_crs(26915))  # UTM zone 15 N, metres
    for shape, area_m2 in zip(single.geometry, measured["area_m2"], strict=True):
        ring = Geodesic.WGS84.Polygon()
        for lon, lat in list(shape.exterior.coords)[:-1]:
            ring.AddPoint(lat, lon)
        holes = 0.0
        for hole in shape.interiors:
            inner = Geodesic.WGS84.Polygon()
            for lon, lat in list(hole.coords)[:-1]:
                inner.AddPoint(lat, lon)
            holes += abs(inner.Compute()[2])
        assert area_m2 == pytest.approx(abs(ring.Compute()[2]) - holes, rel=1e-6)


def test_a_frame_that_does_not_say_where_it_is_is_refused() -> None:
    frame = geopandas.GeoDataFrame(geometry=geopandas.points_from_xy([0.0], [0.0]))
    with pytest.raises(InputError, match="coordinate reference system"):
        loamwright.measure(frame)


def test_the_map_is_folium_and_needs_no_network(folder: Path) -> None:
    shown = loamwright.open_property(folder / "alder-fork-demo" / "alder_fork.gpkg").map()
    assert isinstance(shown, folium.Map)
    page = shown.get_root().render()
    assert "http-equiv" in page
    assert not re.search(r"<(script|link)[^>]+(src|href)=.https?:", page)
    assert "iframe" in shown._repr_html_()
