"""Walking a boundary, marking a spot, ticking a core; and what `record` makes of them at home."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from chromium import STAND_IN
from command_line import ran_well, run
from places import place

from loamwright.files import load

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]
DEMO = Path(__file__).parents[2] / "demo_data"


def at(page: Any, x: float, y: float, accuracy: float = 4.0) -> None:
    """Stand so many metres east and north of the tests' corner."""
    lon, lat = place((x, y))
    page.evaluate("([lat, lon, r]) => window.fix(lat, lon, r)", [lat, lon, accuracy])


def mark(page: Any, kind: str, plot: str = "", what: str = "", note: str = "") -> None:
    page.tap("#mark-here")
    page.locator("#mark label.pick", has_text=kind).tap()
    page.select_option("#mark [name=plot]", plot)
    if what:
        page.select_option("#mark [name=what]", what)
    page.fill("#mark [name=note]", note)
    page.locator("#mark .main").tap()


def test_what_is_marked_comes_home_and_changes_nothing(open_page: Open, tmp_path: Path) -> None:
    own = tmp_path / "own.gpkg"
    ran_well("new", own, "--name", "Demo ground", "--season", 2026)
    ran_well("import", own, DEMO / "plots.geojson", DEMO / "keepouts.geojson")
    ran_well("map", own)
    page = open_page(own.with_suffix(".html"))
    page.evaluate(STAND_IN)

    page.tap("#mark-here")
    page.locator("#mark .main").tap()
    assert "does not know its position yet" in page.inner_text("#mark .problem")
    page.locator("#mark button", has_text="Cancel").tap()

    at(page, 0, 0)
    mark(page, "This spot", "AF-02", "washed out", "the culvert")
    at(page, 30, 0)
    mark(page, "Soil core", "AF-03")
    at(page, 0, 0)
    mark(page, "Walk a boundary", "AF-01")
    corners = [(0, 0), (60, 0), (60, 60), (0, 60)]
    for (x0, y0), (x1, y1) in zip(corners, [*corners[1:], corners[0]], strict=True):
        for step in range(1, 7):  # every ten metres; a step of five is not taken
            at(page, x0 + (x1 - x0) * (step - 0.5) / 6, y0 + (y1 - y0) * (step - 0.5) / 6)
            at(page, x0 + (x1 - x0) * step / 6, y0 + (y1 - y0) * step / 6)
    said = page.inner_text("#walk p")
    assert "Walking AF-01: 25 fixes, about 0.89 acres so far" in said  # 3,600 m2 / 4,046.86
    page.reload()  # the walk under way is kept
    page.wait_for_selector("body[data-ready]")
    assert page.inner_text("#walk p") == said
    page.locator("#walk button", has_text="Finish").tap()
    assert page.is_hidden("#walk")

    page.tap("#tabs [data-view=records]")
    assert "3 kept here, 3 not handed over yet" in page.inner_text("#view-records")
    with page.expect_download() as download:
        page.locator("button", has_text="Save records file").tap()
    file = tmp_path / "sent.json"
    download.value.save_as(file)
    page.locator("button", has_text="I handed them over").tap()

    before = load(own)
    told = ran_well("record", own, file)
    texts = " ".join(problem["what"] for problem in told["problems"])
    assert "washed out" in texts
    assert "soil core" in texts
    walked = re.search(r"a walked boundary: ([\d.]+) acres ± ([\d.]+) acres", texts)
    assert walked
    assert float(walked[1]) == pytest.approx(0.89, abs=0.005)
    assert ran_well("record", own, file)["receipt"] == told["receipt"]
    after = load(own)
    assert (after.plots, after.keepouts) == (before.plots, before.keepouts)

    ident = json.loads(file.read_text("utf-8"))["captured"][0]["captured_id"][:8]
    offered = tmp_path / f"own-walked-{ident}.geojson"
    preview = json.dumps(run("import", own, offered, "--preview").data)
    assert "AF-01" in preview
    (core,) = [
        feature
        for feature in json.loads((tmp_path / f"own-seen-{ident}.geojson").read_text("utf-8"))["features"]
        if feature["properties"]["what"] == "soil core"
    ]
    assert core["geometry"]["coordinates"] == pytest.approx(place((30, 0)), abs=1e-7)

    page.fill("[name=receipt]", told["receipt"])
    page.locator("button", has_text="They arrived").tap()
    assert "Nothing is waiting here" in page.inner_text("#view-records")
    assert "arrived 20" in page.inner_text("#view-records")
