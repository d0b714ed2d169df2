"""Where the phone is, on the field map: against geopandas and GeographicLib."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import pytest
from chromium import DESK, STAND_IN
from command_line import ran_well
from geographiclib.geodesic import Geodesic
from sample_view import sample_view

from loamwright.units import FT_M

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]
DEMO = Path(__file__).parents[2] / "demo_data"
LENGTHS = {"ft": FT_M, "mile": 5280 * FT_M, "miles": 5280 * FT_M}
#: Outlines on the page lose corners that stand out less than 0.4 m: so near an edge a point decides nothing.
DOUBT_M = 0.5


@pytest.fixture(scope="module")
def demo_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("here") / "demo.gpkg"
    ran_well("new", path, "--name", "Demo ground", "--season", 2026)
    ran_well("import", path, DEMO / "plots.geojson", DEMO / "keepouts.geojson")
    ran_well("map", path)
    return path.with_suffix(".html")


def told(page: Any, before: str) -> str:
    """What the page says once it no longer says what it said before."""
    page.wait_for_function("(text) => document.getElementById('where').textContent !== text", arg=before)
    return str(page.inner_text("#where"))


def test_two_hundred_places_are_named_rightly(open_page: Open, demo_map: Path) -> None:
    """By geopandas in UTM zone 15 (EPSG:32615; its scale is within 0.04 % there), from the file as drawn."""
    plots = geopandas.read_file(DEMO / "plots.geojson")
    plots["label"] = plots["plot_id"] + " " + plots["name"]
    ground = plots.to_crs(32615)
    west, south, east, north = plots.total_bounds
    rng = random.Random(11)
    page = open_page(demo_map, permissions=["geolocation"])
    inside = outside = 0
    before = ""
    while inside + outside < 200:
        lng, lat = rng.uniform(west, east), rng.uniform(south, north)
        spot = geopandas.GeoSeries.from_xy([lng], [lat], crs=4326).to_crs(32615).iloc[0]
        if ground.boundary.distance(spot).min() < DOUBT_M:
            continue
        holders = ground[ground.contains(spot)]
        far = ground.distance(spot).sort_values()
        if holders.empty and far.iloc[1] - far.iloc[0] < 1:
            continue  # two plots as near as each other
        page.context.set_geolocation({"latitude": lat, "longitude": lng, "accuracy": 0.3})
        if not before:
            page.tap("#locate")
            page.locator("#where", has_text="±").wait_for()
        said = before = told(page, before)
        if len(holders):
            inside += 1
            assert said.startswith(f"You are in {' and '.join(holders['label'])}, ± ")
        else:
            outside += 1
            label = ground.loc[far.index[0], "label"]
            found = re.match(
                rf"Nearest: {re.escape(label)}, its edge ([\d.,]+) (ft|miles?) [NESW]+ \(\d+°\)", said
            )
            assert found, (said, label)
            metres = float(found[1].replace(",", "")) * LENGTHS[found[2]]
            # written to 1 ft below 50 ft, to 5 ft below 300 ft, to 10 ft or 0.01 mile beyond (8 m)
            assert metres == pytest.approx(far.iloc[0], rel=0.005, abs=8 if far.iloc[0] > 400 else 2)
    assert inside > 30
    assert outside > 30


def test_an_edge_nearer_than_the_phone_knows_is_told(open_page: Open, demo_map: Path) -> None:
    plots = geopandas.read_file(DEMO / "plots.geojson")
    middle = plots.iloc[0].geometry.representative_point()
    here = {"latitude": middle.y, "longitude": middle.x, "accuracy": 500}
    page = open_page(demo_map, geolocation=here, permissions=["geolocation"])
    page.tap("#locate")
    page.locator("#where", has_text="±").wait_for()
    assert re.match(rf"You are in {plots.iloc[0].plot_id} .*; its edge is \d+ ft", page.inner_text("#where"))


def test_ground_of_a_keep_out_is_told(open_page: Open, demo_map: Path) -> None:
    keepouts = geopandas.read_file(DEMO / "keepouts.geojson")
    shape = keepouts[keepouts.geometry.geom_type == "Polygon"].iloc[0]
    spot = shape.geometry.representative_point()
    here = {"latitude": spot.y, "longitude": spot.x, "accuracy": 5}
    page = open_page(demo_map, geolocation=here, permissions=["geolocation"])
    page.tap("#locate")
    page.locator("#where", has_text="±").wait_for()
    assert f"Keep-out: {shape['name']}" in page.inner_text("#where")
    assert "Spread nothing here" in page.inner_text("#where")


def test_where_am_i(open_page: Open, maps: Callable[..., Any]) -> None:
    # 0.001 degree north of the south-west corner of the sample ground
    here = {"latitude": 46.0495, "longitude": -93.0512, "accuracy": 8}
    page = open_page(maps(25), geolocation=here, permissions=["geolocation"])
    page.tap("#locate")
    page.locator("#where", has_text="±").wait_for()
    text = page.inner_text("#where")
    assert ", ± 26 ft" in text  # 8 m is 26.2 ft
    page.tap("#tabs [data-view=plots]")
    page.select_option("#sort", "near")
    nearest = page.locator("#plots b").first.text_content()
    assert nearest in text

    page.select_option("#sort", "file")  # a chosen plot: its way in, by GeographicLib
    page.locator("#plots button").nth(2).tap()
    entrance = sample_view(25).record.plots[2].entrance
    way = Geodesic.WGS84.Inverse(here["latitude"], here["longitude"], entrance[1], entrance[0])
    said = re.search(
        r"To AF-03 Plot 3: entrance ([\d,.]+) (ft|miles) (\w+) \((\d+)°\)\.", page.inner_text("#where")
    )
    unit = LENGTHS[said[2]]
    # shown to 10 ft, or 0.01 mile, and the browser's sphere is up to 0.5 % off
    assert float(said[1].replace(",", "")) * unit == pytest.approx(way["s12"], rel=0.005, abs=10)
    assert abs((float(said[4]) - way["azi1"] + 180) % 360 - 180) < 1
    # the accuracy ring is 8 m in radius on the screen's own scale
    metres = page.evaluate(
        """() => { const map = window.map_fields; let ring;
        map.eachLayer((layer) => { if (layer instanceof L.Circle) ring = layer; });
        const c = ring.getLatLng(), edge = map.latLngToLayerPoint(c).add([ring._radius, 0]);
        return map.distance(c, map.layerPointToLatLng(edge)); }"""
    )
    assert metres == pytest.approx(8, abs=1)
    page.tap("#locate")
    assert page.inner_text("#where") == ""


def test_where_am_i_refused(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25), permissions=[])
    page.tap("#locate")
    page.locator("#where", has_text="did not allow").wait_for()
    assert page.get_attribute("#locate", "aria-pressed") == "false"


def middle_of_screen(page: Any) -> tuple[float, float]:
    lat, lng = page.evaluate("() => { const c = window.map_fields.getCenter(); return [c.lat, c.lng]; }")
    return lat, lng


def test_a_lost_fix_is_told_and_found_again(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    page.evaluate(STAND_IN)
    page.tap("#locate")
    page.evaluate("window.lose(3)")
    assert "still looking" in page.inner_text("#where")
    assert page.get_attribute("#locate", "aria-pressed") == "true"
    page.evaluate("window.fix(46.0495, -93.0512, 8)")
    found = page.inner_text("#where")
    page.evaluate("window.lose(2)")
    lost = page.inner_text("#where")
    assert re.match(r"Position lost at \d\d:\d\d\. ", lost)
    assert lost.split(". ", 1)[1] == found.replace("You are in", "You were in")
    page.evaluate("window.fix(46.0495, -93.0512, 8)")
    assert page.inner_text("#where") == found


def test_the_map_follows_until_it_is_moved(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25), **DESK, is_mobile=False, has_touch=False)
    page.evaluate(STAND_IN)
    page.click("#locate")
    for lat in (46.0495, 46.0505):
        page.evaluate("(lat) => window.fix(lat, -93.0512, 8)", lat)
        assert middle_of_screen(page) == pytest.approx((lat, -93.0512), abs=1e-5)
    assert page.is_hidden("#mine")
    page.focus(".folium-map")
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(400)
    moved = middle_of_screen(page)
    page.evaluate("window.fix(46.052, -93.0512, 8)")
    assert middle_of_screen(page) == pytest.approx(moved, abs=1e-5)
    page.click("#mine")
    assert middle_of_screen(page) == pytest.approx((46.052, -93.0512), abs=1e-5)
    page.click("#whole")  # every plot is on the screen, and the map stays there
    page.evaluate("window.fix(46.0525, -93.0512, 8)")
    south, west, north, east = page.evaluate(
        "() => { const b = window.map_fields.getBounds(); "
        "return [b.getSouth(), b.getWest(), b.getNorth(), b.getEast()]; }"
    )
    for plot in sample_view(25).record.plots:
        x0, y0, x1, y1 = plot.boundary.bounds
        assert west <= x0 < x1 <= east
        assert south <= y0 < y1 <= north


def test_scale_north_and_the_phones_navigation(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    for view in ("map", "plots", "round", "records"):
        page.tap(f"#tabs [data-view={view}]")
        assert page.is_visible("#scale")
    size = float(page.inner_text("#scale-size").split()[0].replace(",", "")) * FT_M
    metres = page.evaluate(
        """() => { const map = window.map_fields, width = document.getElementById("scale-size").offsetWidth;
        const y = map.getSize().y / 2;
        return map.distance(map.containerPointToLatLng([50, y]),
          map.containerPointToLatLng([50 + width, y])); }"""
    )
    assert metres == pytest.approx(size, rel=0.03)  # a pixel of 44 or more, and Leaflet's sphere
    page.tap("#tabs [data-view=plots]")
    page.locator("#plots button").nth(2).tap()
    lng, lat = sample_view(25).record.plots[2].entrance
    assert page.locator("#view-plot a[href^='geo:']").get_attribute("href") == f"geo:{lat:.6f},{lng:.6f}"
