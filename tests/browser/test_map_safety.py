"""Nothing from outside, nothing but text from users, and readable for everyone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from chromium import DESK
from sample_view import HOSTILE, sample_view

from loamwright.fieldmap.page import Basemap, MapOptions, write_map

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]


@pytest.mark.parametrize("plots", [1, 25])
def test_hostile_text_is_text(open_page: Open, maps: Callable[..., Any], plots: int) -> None:
    page = open_page(maps(plots, hostile=True))
    page.tap("#tabs [data-view=plots]")
    view = sample_view(plots, hostile=True)
    shown = page.locator("#plots b").all_text_contents()
    assert shown == [f"{plot.plot_id} {plot.name}" for plot in view.record.plots]
    for place, plot in enumerate(view.record.plots[: len(HOSTILE)]):
        page.locator("#plots button").nth(place).tap()
        text = page.text_content("#view-plot")
        assert plot.name in text
        assert plot.notes in text
        assert plot.access in text
        for line in view.plan.lines:
            if line.plot_id == plot.plot_id:
                assert line.product in text
                assert line.package in text
                assert line.steps[0].what in text
        page.tap("#back")
    page.tap("#open-about")
    assert view.record.info.about in page.text_content("#about")
    assert view.plan.buy[0].seller in page.text_content("#about")
    page.locator("#about button", has_text="Close").tap()
    page.tap("#tabs [data-view=round]")
    page.locator("#view-round .row").first.tap()
    assert view.rounds[0].title in page.text_content("#view-round")
    page.locator(".thumb button", has_text="Part, or other").tap()
    page.fill("[name=note]", HOSTILE[1])
    page.locator("#check-off button.main").tap()
    page.tap("#tabs [data-view=records]")
    assert page.evaluate("window.pwned") is None
    # no element came out of a text
    assert (
        page.evaluate("document.querySelectorAll('img:not(.leaflet-tile), body b b, script[src]').length")
        == 0
    )
    assert page.title() == view.record.info.name.strip()


def test_a_script_that_got_in_would_not_run(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(1), attack=True)
    blocked = page.evaluate(
        """() => new Promise((resolve) => {
          document.addEventListener('securitypolicyviolation', (e) => resolve(e.effectiveDirective));
          const script = document.createElement('script');
          script.textContent = 'window.pwned = 1';
          document.body.append(script);
          setTimeout(() => resolve('nothing blocked'), 2000);
        })"""
    )
    assert blocked.startswith("script-src")
    assert page.evaluate("window.pwned") is None
    assert (
        page.evaluate("fetch('https://example.invalid/').then(() => 'reached', () => 'refused')") == "refused"
    )


def test_online_background_without_a_signal(open_page: Open, tmp_path: Path) -> None:
    made = write_map(sample_view(1), tmp_path / "map.html", MapOptions(basemap=Basemap.AERIAL))
    asked: list[str] = []
    page = open_page(made.path, attack=True)  # Chromium here resolves no host at all
    page.on("request", lambda request: asked.append(request.url))
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert page.locator("path.plot").count() == 1
    assert "U.S. Geological Survey" in page.inner_text(".leaflet-control-attribution")
    credit, where = (page.locator(one).bounding_box() for one in (".leaflet-control-attribution", "#locate"))
    assert credit["x"] + credit["width"] <= where["x"]  # the whole credit can be read
    page.tap("#tabs [data-view=plots]")
    page.locator("#plots button").tap()
    assert "What goes on" in page.inner_text("#view-plot")
    hosts = {urlsplit(url).hostname for url in asked if not url.startswith(("file:", "data:"))}
    assert hosts == {"basemap.nationalmap.gov"}


@pytest.mark.parametrize("text", [100, 200])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_no_accessibility_finding(
    open_page: Open, maps: Callable[..., Any], scheme: str, size: str, text: int
) -> None:
    sync_playwright = pytest.importorskip("axe_playwright_python.sync_playwright")
    axe = sync_playwright.Axe()
    options = {} if size == "phone" else {**DESK, "is_mobile": False, "has_touch": False}
    page = open_page(maps(25), color_scheme=scheme, **options)
    page.evaluate("(text) => { document.documentElement.style.fontSize = `${text}%`; }", text)

    def findings(where: str) -> list[str]:
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{where}: {wide} px wider than the screen"
        result = axe.run(page).response
        return [
            f"{where}: {one['id']} {node['html'][:120]} {node.get('failureSummary', '')}"
            for one in result["violations"]
            for node in one["nodes"]
        ]

    found = findings("map")
    page.click("#tabs [data-view=plots]")
    found += findings("list")
    page.locator("#plots button").nth(0).click()
    for summary in page.locator("#view-plot summary").all():
        summary.click()
    found += findings("plot")
    page.locator(".card button.form").first.click()
    found += findings("form")
    page.locator("#check-off button.main").click()
    page.click("#tabs [data-view=records]")
    page.locator("#view-records button", has_text="Mark a spot").click()
    found += findings("mark")
    page.locator("#mark button", has_text="Cancel").click()
    page.click("#tabs [data-view=records]")
    found += findings("records")
    page.locator("button", has_text="Show as a code").click()
    found += findings("code")
    page.locator("#code button", has_text="Close").click()
    page.click("#tabs [data-view=round]")
    page.locator("#view-round .row").first.click()
    found += findings("round")
    page.click("#open-about")
    found += findings("about")
    assert found == []
