"""Drawing in the app by mouse, by finger on a narrow screen, by keys alone: kept is what was shown."""

from __future__ import annotations

import datetime as dt
import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from app_server import FLAGS, Served, serving
from chromium import CHROMIUM, PHONE

from loamwright import files, land
from loamwright.units import format_area
from loamwright.values import PropertyInfo

pytestmark = [pytest.mark.browser, pytest.mark.slow]

TODAY = dt.date(2026, 5, 4)
AREA_IS = "(before) => document.getElementById('area').textContent.startsWith(before)"
AREA_CHANGED = "(before) => !document.getElementById('area').textContent.startsWith(before)"
PANE = "() => document.querySelector('.leaflet-map-pane').style.transform"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright (test extra) is not installed")
    if not Path(CHROMIUM).exists():
        reason = f"no Chromium at {CHROMIUM}; install it to run the browser tests"
        if os.environ.get("LOAMWRIGHT_REQUIRE_BROWSER"):
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "fields.gpkg"
    files.create(path, PropertyInfo("Drawn", 2026))
    return path


@pytest.fixture
def served(path: Path) -> Iterator[Served]:
    with serving(path, TODAY) as app:
        yield app


def opened(chromium: Any, served: Served, **options: Any) -> Any:
    context = chromium.new_context(**({"viewport": {"width": 1400, "height": 900}} | options))
    context.set_default_timeout(15_000)
    page = context.new_page()
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.broken = broken
    page.goto(served.enter())
    page.goto(f"{served.address}/draw")
    page.wait_for_selector("body[data-ready]")
    return page


def at(page: Any, x: float, y: float) -> tuple[float, float]:
    """A place of the map as shares of its width and height, in pixels of the page."""
    box = page.locator("#map").bounding_box()
    return box["x"] + x * box["width"], box["y"] + y * box["height"]


SQUARE = ((0.3, 0.3), (0.6, 0.3), (0.6, 0.6), (0.3, 0.6))
BOW = ((0.3, 0.3), (0.6, 0.6), (0.6, 0.3), (0.3, 0.6))


def draw(page: Any, places: tuple[tuple[float, float], ...] = SQUARE) -> None:
    """Draw a new plot by mouse."""
    page.select_option("#tool", "plot")
    for place in places:
        page.mouse.click(*at(page, *place))
    page.click("#close")


def shown_area(page: Any) -> str:
    page.wait_for_function("() => document.getElementById('area').dataset.m2")
    return str(page.locator("#area").inner_text()).partition(",")[0]


def kept(path: Path) -> dict[str, Any]:
    return {plot.plot_id: plot.boundary for plot in files.load(path).plots}


def acres_of(shape: Any) -> str:
    """The program's own figure for the boundary in the file, as the command line shows it."""
    return format_area(land.measure_boundary(shape).area_m2, "us")


def test_a_plot_drawn_by_mouse_has_the_acres_shown(chromium: Any, served: Served, path: Path) -> None:
    page = opened(chromium, served, bypass_csp=True)
    draw(page)
    shown = shown_area(page)
    shown_m2 = float(page.locator("#area").get_attribute("data-m2"))
    page.fill("#name", "Home <b>field</b>")
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    (shape,) = kept(path).values()
    assert acres_of(shape) == shown
    assert land.measure_boundary(shape).area_m2 == shown_m2  # to the last digit
    page.goto(f"{served.address}/plots/P-1")
    assert shown in page.locator("main").inner_text()
    assert "Home <b>field</b>" in page.locator("h1").inner_text()
    assert page.broken == []
    page.context.close()


def test_a_plot_drawn_by_finger_on_a_narrow_screen(chromium: Any, served: Served, path: Path) -> None:
    page = opened(chromium, served, bypass_csp=True, **PHONE)
    page.locator("#map").scroll_into_view_if_needed()
    page.select_option("#tool", "plot")
    page.locator("#map").scroll_into_view_if_needed()
    for place in ((0.3, 0.3), (0.7, 0.3), (0.7, 0.7), (0.3, 0.7)):
        page.touchscreen.tap(*at(page, *place))
    page.locator("#close").tap()
    shown = shown_area(page)
    page.locator("#keep").tap()
    page.wait_for_selector("text=Drew plot P-1")
    assert acres_of(kept(path)["P-1"]) == shown
    assert page.broken == []
    page.context.close()


def test_a_plot_drawn_with_keys_alone(chromium: Any, served: Served, path: Path) -> None:
    page = opened(chromium, served, bypass_csp=True)
    page.focus("#tool")
    page.keyboard.type("draw a new plot")
    assert page.locator("#tool").input_value() == "plot"
    page.focus("#map")
    # Enter puts a corner in the middle; the arrows move the map below it.
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        page.keyboard.press("Enter")
        page.keyboard.press(key)
        page.wait_for_timeout(400)  # the map glides
    page.keyboard.press("Enter")
    page.focus("#close")
    page.keyboard.press("Enter")
    shown = shown_area(page)
    corner = page.locator("[data-corner='0,0,1']")
    corner.focus()
    page.keyboard.press("Shift+ArrowUp")
    page.wait_for_function(AREA_CHANGED, arg=shown)
    page.keyboard.press("Control+z")
    page.wait_for_function(AREA_IS, arg=shown)
    page.focus("#keep")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Drew plot P-1")
    assert acres_of(kept(path)["P-1"]) == shown
    assert page.broken == []
    page.context.close()


def test_what_crosses_itself_is_told_and_stays_a_draft(chromium: Any, served: Served, path: Path) -> None:
    page = opened(chromium, served, bypass_csp=True)
    draw(page, BOW)
    page.wait_for_selector("#wrong >> text=crosses")
    page.click("#keep")
    page.wait_for_selector("#wrong >> text=crosses")
    assert kept(path) == {}
    page.reload()
    page.wait_for_selector("body[data-ready]")
    page.wait_for_selector("text=not kept yet")
    assert page.locator(".corner").count() == 4
    assert page.broken == []
    page.context.close()


def test_a_corner_is_dragged_by_finger_while_another_was_moved_by_mouse(
    chromium: Any, served: Served, path: Path
) -> None:
    """Mixed input: the map must not pan below the finger, the shape must not tear."""
    page = opened(chromium, served, bypass_csp=True, viewport={"width": 1200, "height": 900}, has_touch=True)
    draw(page)
    first = shown_area(page)
    page.locator("#map").scroll_into_view_if_needed()
    x, y = at(page, 0.3, 0.3)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 40, y - 40, steps=5)
    page.mouse.up()
    page.wait_for_function(AREA_CHANGED, arg=first)
    center = page.evaluate(PANE)
    second = shown_area(page)
    cdp = page.context.new_cdp_session(page)
    page.locator("#map").scroll_into_view_if_needed()
    x, y = at(page, 0.6, 0.6)
    cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 6):
        point = {"x": x + 8 * step, "y": y + 8 * step}
        cdp.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.wait_for_function(AREA_CHANGED, arg=second)
    assert page.evaluate(PANE) == center
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    assert len(kept(path)["P-1"].exterior.coords) == 5
    page.context.close()


def test_split_hole_merge_and_take_back(chromium: Any, served: Served, path: Path) -> None:
    page = opened(chromium, served, bypass_csp=True)
    draw(page)
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    whole = land.measure_boundary(kept(path)["P-1"]).area_m2
    page.select_option("#tool", "split")
    for place in ((0.45, 0.2), (0.45, 0.7)):
        page.mouse.click(*at(page, *place))
    page.click("#keep")
    page.wait_for_selector("text=Split plot P-1 into")
    halves = [land.measure_boundary(shape).area_m2 for shape in kept(path).values()]
    assert sum(halves) == pytest.approx(whole, rel=1e-5)
    page.select_option("#tool", "hole")
    for place in ((0.35, 0.4), (0.4, 0.4), (0.4, 0.5), (0.35, 0.5)):
        page.mouse.click(*at(page, *place))
    page.click("#close")
    # Which plot it is cut from may be said afterwards; the drawing stays.
    left = min(kept(path), key=lambda name: kept(path)[name].centroid.x)
    page.select_option("#which", "P-1" if left == "P-2" else "P-2")
    page.select_option("#which", left)
    page.click("#keep")
    page.wait_for_selector("text=Cut a hole into plot")
    assert sum(len(shape.interiors) for shape in kept(path).values()) == 1
    page.click("#back")
    page.wait_for_selector("text=Took back")
    assert sum(len(shape.interiors) for shape in kept(path).values()) == 0
    page.select_option("#tool", "merge")
    for box in page.locator("input[name=merge]").all():
        box.check()
    page.click("#keep")
    page.wait_for_selector("text=Merged")
    assert list(kept(path)) == ["P-1"]
    assert page.broken == []
    page.context.close()


def test_a_drawing_outlives_a_look_at_other_tools(chromium: Any, served: Served, path: Path) -> None:
    """Arrow keys go through the list one by one, and each step chooses a tool."""
    page = opened(chromium, served, bypass_csp=True)
    draw(page)
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    page.select_option("#tool", "plot")
    for place in SQUARE[:3]:
        page.mouse.click(*at(page, *place))
    view = page.evaluate(PANE)
    page.focus("#tool")
    for _ in range(9):
        page.keyboard.press("ArrowDown")
    assert page.input_value("#tool") == "way"
    for _ in range(9):
        page.keyboard.press("ArrowUp")
    assert page.input_value("#tool") == "plot"
    assert page.evaluate(PANE) == view
    assert page.locator(".corner").count() == 3
    page.click("#leave")
    page.select_option("#tool", "plot")
    assert page.locator(".corner").count() == 0
    assert page.broken == []
    page.context.close()


def test_a_draft_is_kept_without_its_steps_where_they_do_not_fit(
    chromium: Any, served: Served, path: Path
) -> None:
    page = opened(chromium, served, bypass_csp=True)
    page.evaluate(
        """() => {
            const set = Storage.prototype.setItem;
            Storage.prototype.setItem = function (key, value) {
                if (value.length > 1000) throw new DOMException("full", "QuotaExceededError");
                set.call(this, key, value);
            };
        }"""
    )
    page.select_option("#tool", "plot")
    for step in range(8):
        page.mouse.click(*at(page, 0.5 + 0.2 * math.cos(step), 0.5 + 0.2 * math.sin(step)))
    page.reload()
    page.wait_for_selector("text=not kept yet")
    assert page.locator(".corner").count() == 8
    assert page.broken == []
    page.context.close()


def test_a_name_is_of_one_plot(
    chromium: Any, served: Served, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also: the page's own change is never told as somebody else's, however late the server tells of it."""
    monkeypatch.setattr("loamwright.app.server.LOOK_EVERY_S", 60.0)
    page = opened(chromium, served, bypass_csp=True)
    page.select_option("#tool", "plot")
    page.fill("#name", "Home")
    draw(page)
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    draw(page, ((0.65, 0.3), (0.8, 0.3), (0.8, 0.6)))
    assert not page.is_visible("#elsewhere")  # this very page changed the property
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-2")
    assert [plot.name for plot in files.load(path).plots] == ["Home", "P-2"]
    page.context.close()


def test_a_corner_on_a_neighbours_edge_becomes_the_neighbours_too(
    chromium: Any, served: Served, path: Path
) -> None:
    page = opened(chromium, served, bypass_csp=True)
    draw(page)
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    # The first two within a few pixels of the eastern edge, not at its corners.
    draw(page, ((0.605, 0.4), (0.605, 0.5), (0.8, 0.5), (0.8, 0.4)))
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-2")
    assert shapely.coverage_is_valid(list(kept(path).values()))
    shared = kept(path)["P-1"].intersection(kept(path)["P-2"])
    assert shared.length > 0
    page.context.close()


def test_a_geotiff_lies_below_where_it_says(
    chromium: Any, served: Served, path: Path, tmp_path: Path
) -> None:
    """A picture of 0.01 by 0.01 degrees far from where the map stands; and one that does not say where."""
    rasterio = pytest.importorskip("rasterio", reason="the extra 'imagery' (rasterio) is not installed")
    profile = {"driver": "GTiff", "count": 3, "height": 100, "width": 100, "dtype": "uint8"}
    grid = rasterio.transform.from_origin(-90.0, 44.01, 0.0001, 0.0001)
    for name, more in (("here.tif", {"crs": "EPSG:4326", "transform": grid}), ("nowhere.tif", {})):
        with rasterio.open(tmp_path / name, "w", **profile, **more) as out:
            out.write(np.full((3, 100, 100), 90, dtype="uint8"))
    page = opened(chromium, served, bypass_csp=False)
    page.locator("summary", has_text="A picture below").click()
    page.set_input_files("#picture", tmp_path / "nowhere.tif")
    page.wait_for_selector("#pin-told >> text=does not say where on the ground it lies")
    page.set_input_files("#picture", tmp_path / "here.tif")
    page.wait_for_selector("#pin-told >> text=It lies below")
    shown = page.locator(".leaflet-below-pane img")
    assert shown.evaluate("(one) => one.decode().then(() => one.naturalWidth)") > 0
    box, around = shown.bounding_box(), page.locator("#map").bounding_box()
    assert box["x"] >= around["x"]  # the map went there
    # A degree of latitude is 1 / cos(44.005°) as long as one of longitude on the map.
    assert box["height"] / box["width"] == pytest.approx(1 / math.cos(math.radians(44.005)), rel=0.01)
    draw(page)
    page.click("#keep")
    page.wait_for_selector("text=Drew plot P-1")
    west, south, east, north = kept(path)["P-1"].bounds
    assert -90.0 < west < east < -89.99
    assert 44.0 < south < north < 44.01
    page.click("#pin-away")
    assert shown.count() == 0
    assert page.broken == []
    page.context.close()


def test_the_drawing_outlives_a_server_that_goes_away(chromium: Any, path: Path) -> None:
    with serving(path, TODAY) as served:
        page = opened(chromium, served, bypass_csp=True)
        draw(page)
        shown_area(page)
    page.click("#keep")
    page.wait_for_selector("#wrong >> text=does not answer")
    assert page.locator(".corner").count() == 4
    assert kept(path) == {}
    page.context.close()


def test_from_the_installed_program_to_a_plot_with_acres(chromium: Any, tmp_path: Path) -> None:
    """Two commands (install, serve), then: fill in one form, draw one shape, keep it. A finished shape counts
    as one action, as does a form: five in all, README promises six."""
    actions = ["pip install", "loamwright serve"]
    with serving(None, TODAY) as served:
        page = chromium.new_context(viewport={"width": 1400, "height": 900}, bypass_csp=True).new_page()
        page.goto(served.enter())
        page.fill("#new-name", "My first place")
        page.fill("#new-folder", str(tmp_path))
        page.fill("#new-at", "46.05, -93.05")
        page.click("text=Make it")
        actions.append("make the property")
        page.wait_for_selector("body[data-ready]")
        for place in SQUARE:
            page.mouse.click(*at(page, *place))
        page.mouse.click(*at(page, *SQUARE[0]))  # the first corner again closes the shape
        actions.append("draw the shape")
        shown = shown_area(page)
        page.click("#keep")
        actions.append("keep it")
        page.wait_for_selector("text=Drew plot P-1")
        page.context.close()
    assert len(actions) <= 6
    assert acres_of(kept(tmp_path / "my_first_place.gpkg")["P-1"]) == shown
