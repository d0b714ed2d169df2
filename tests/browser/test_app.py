"""The app's pages in a real Chromium: usable by everybody, closed to other sites, live between two tabs."""

from __future__ import annotations

import datetime as dt
import http.server
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from app_server import FLAGS, Served, serving
from chromium import CHROMIUM

from loamwright import fieldmap, files, season, upkeep
from loamwright.app import things
from loamwright.app.pages import PLACES
from loamwright.units import format_area

pytestmark = [pytest.mark.browser, pytest.mark.slow]

TODAY = dt.date(2026, 5, 4)
DEMO = Path(__file__).parents[2] / "demo_data"
WIDE, NARROW = {"width": 1400, "height": 900}, {"width": 360, "height": 740}


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


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's property with a plan, made quickly."""
    path = tmp_path_factory.mktemp("app") / "fields.gpkg"
    files.create(path, files.info_from(DEMO / "property.json"))
    files.import_files(path, [file for file in sorted(DEMO.iterdir()) if file.suffix in (".geojson", ".csv")])
    season.make_plan(path, season.PlanOptions(gap=0.05, time_limit_s=5), TODAY, lambda _: None)
    return path


@pytest.fixture(scope="module")
def served(path: Path) -> Iterator[Served]:
    with serving(path, TODAY) as app:
        yield app


def opened(chromium: Any, served: Served, **options: Any) -> Any:
    """A page of a device that came in by a code."""
    context = chromium.new_context(**({"viewport": WIDE} | options))
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.goto(served.enter())
    return page


#: Beside the pages of the job: forms, what is refused, and what is looked at before it is taken.
MORE = (
    "/draw",
    "/draw?plot=AF-01",
    "/plots/AF-01",
    "/edit/plot/AF-01",
    "/add/soil-test",
    "/edit/settings/settings",
    "/retire/plot/AF-01",
    "/edit/plot/none-such",
    "/property?check=yes",
    "/phone",
)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, NARROW], ids=["wide", "narrow"])
def test_every_page_is_usable_by_everybody(
    chromium: Any, served: Served, viewport: dict[str, int], scheme: str
) -> None:
    """No violation of WCAG as axe-core finds them, nothing wider than the screen, no fault of a script."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = opened(chromium, served, viewport=viewport, color_scheme=scheme, bypass_csp=True)
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    found = {}
    for address in [*(place.address for place in PLACES), *MORE]:
        page.goto(served.address + address)
        page.evaluate("for (const one of document.querySelectorAll('main details')) one.open = true")
        wrong = [f"{v['id']}: {v['nodes'][0]['html'][:90]}" for v in axe.run(page).response["violations"]]
        if page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
            wrong.append("wider than the screen")
        if wrong:
            found[address] = wrong
    page.context.close()
    assert found == {}
    assert broken == []


def test_a_form_with_an_error_leads_to_the_field(chromium: Any, served: Served) -> None:
    page = opened(chromium, served)
    page.goto(f"{served.address}/add/soil-test?plot=AF-01")
    page.fill("#new-id", "T-1")
    page.fill("#f-ph", "74")
    page.click("button.main")
    page.wait_for_selector("#f-ph[aria-invalid=true]")
    assert page.evaluate("document.activeElement.id") == "f-ph"
    assert page.input_value("#new-id") == "T-1"
    page.context.close()


def test_two_tabs_see_each_other(chromium: Any, served: Served, path: Path) -> None:
    first = opened(chromium, served)
    first.goto(f"{served.address}/plots/AF-02")
    typing = first.context.new_page()
    typing.goto(f"{served.address}/plots/AF-02")
    typing.fill("#plot-name", "half a na")
    upkeep.set_fields(path, "plot", "AF-02", ["notes=from the command line"], TODAY, "")
    first.wait_for_selector("#plot-notes[value='from the command line']")
    typing.wait_for_selector("#elsewhere:visible")
    assert typing.input_value("#plot-name") == "half a na"  # what is being typed is not thrown away
    first.context.close()


def test_the_answer_to_a_form_is_not_overtaken_by_news_of_its_own_change(
    chromium: Any, served: Served, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The change is told to every tab at once, also to the one whose answer is still on its way."""
    answer = things.changed

    def late(*words: Any) -> Any:
        time.sleep(1.5)
        return answer(*words)

    monkeypatch.setattr(things, "changed", late)
    page = opened(chromium, served)
    page.goto(f"{served.address}/plots/AF-04")
    page.fill("#plot-notes", "wet in May")
    page.locator("main button.main", has_text="Keep the changes").click()
    page.wait_for_url("**/plots/AF-04?changed=*")
    page.context.close()


def test_without_scripts_every_page_is_readable(chromium: Any, served: Served) -> None:
    page = opened(chromium, served, java_script_enabled=False)
    for place in PLACES:
        page.goto(served.address + place.address)
        assert page.locator("h1").inner_text() == place.title
    page.goto(f"{served.address}/needs")
    assert "AF-01" in page.locator("main").inner_text()
    page.context.close()


class _Foreign(http.server.BaseHTTPRequestHandler):
    """A page of another site that tries everything a page may try."""

    target = ""

    def do_GET(self) -> None:
        html = f"""<!DOCTYPE html><title>elsewhere</title>
        <img id="picture" src="{self.target}/plots">
        <form id="form" method="post" action="{self.target}/edit/plot/AF-03" target="frame">
        <input name="was.notes" value=""><input name="notes" value="stolen"></form>
        <iframe name="frame"></iframe>"""
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.end_headers()
        self.wfile.write(html.encode())

    def log_message(self, *_words: object) -> None:
        """Say nothing."""


def test_a_page_of_another_site_gets_nothing(chromium: Any, served: Served, path: Path) -> None:
    """A signed-in browser visits another site, which posts, fetches and asks under another name."""
    _Foreign.target = served.address
    foreign = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Foreign)
    threading.Thread(target=foreign.serve_forever, daemon=True).start()
    page = opened(chromium, served)
    before = path.read_bytes()
    statuses: list[int] = []
    page.goto("about:blank")
    page.context.on("response", lambda r: statuses.append(r.status) if served.address in r.url else None)
    page.goto(f"http://evil.example:{foreign.server_port}/")
    page.evaluate("document.getElementById('form').submit()")
    page.wait_for_timeout(500)
    fetched = page.evaluate(
        """async (target) => {
            const tried = [];
            const post = {method: "POST", credentials: "include", body: "x"};
            for (const init of [{}, {credentials: "include"}, post, {...post, mode: "no-cors"}]) {
                try { tried.push((await fetch(target + "/plots", init)).status); }
                catch { tried.push("refused"); }
            }
            try {
                await new Promise((good, bad) => {
                    const source = new EventSource(target + "/changes");
                    source.onmessage = good;
                    source.onerror = bad;
                });
                tried.push("heard");
            } catch { tried.push("refused"); }
            return tried;
        }""",
        served.address,
    )
    assert set(fetched) <= {"refused", 0}  # 0: an opaque answer, of which the page sees nothing
    assert path.read_bytes() == before
    assert statuses
    assert set(statuses) <= {401, 403}
    # The same server under a name that leads to it (rebinding).
    answer = page.goto(served.address.replace("127.0.0.1", "evil.example") + "/plots")
    assert answer.status == 403
    foreign.shutdown()
    page.context.close()


def test_the_map_is_drawn_as_the_field_map_is(
    chromium: Any, served: Served, path: Path, tmp_path: Path
) -> None:
    """One question, asked on both maps: the same key, the same fill on every plot, the same labels' words."""
    page = opened(chromium, served)
    page.goto(f"{served.address}/draw")
    page.wait_for_selector("#choice optgroup", state="attached")
    page.select_option("#choice", label="All products")
    fieldmap.write_map(season.view(path, TODAY), tmp_path / "map.html")
    field = page.context.new_page()
    field.goto((tmp_path / "map.html").as_uri())
    field.wait_for_selector("body[data-ready=yes]")
    fills = "[...document.querySelectorAll('path.plot')].map((one) => one.getAttribute('fill'))"
    assert len(set(page.evaluate(fills))) > 3
    assert page.evaluate(fills) == field.evaluate(fills)
    for part in ("question", "classes", "note"):
        said = field.text_content(f"#{part}")
        assert page.text_content(f"#{part}") == said != ""
    north = page.locator(".label", has_text="AF-17 North Meadow")
    assert "10.92 acres" in north.inner_text()
    page.context.close()


def test_the_first_plot_takes_the_five_actions_the_readme_names(
    chromium: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Install and `serve` are the first two; here are the other three, with no file before."""
    said = " ".join((DEMO.parent / "README.md").read_text("utf-8").split())
    assert "takes five actions: install, `serve`, fill in *New property*" in said
    assert "draw the shape, *Keep it*" in said
    monkeypatch.chdir(tmp_path)
    with serving(None, TODAY) as app:
        page = opened(chromium, app)
        page.fill("#new-name", "First ground")
        page.fill("#new-folder", str(tmp_path))
        page.fill("#new-at", "46.05, -93.05")
        page.get_by_role("button", name="Make it").click()  # 3: fill in *New property*
        page.wait_for_selector("body[data-ready]")
        box = page.locator("#map").bounding_box()
        east, north = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        for right, down in ((-80, -60), (80, -60), (80, 60), (-80, 60)):
            page.mouse.click(east + right, north + down)
        page.click("#close")  # 4: draw the shape
        page.wait_for_function("() => document.getElementById('area').dataset.m2")
        page.click("#keep")  # 5
        page.wait_for_selector("#back:visible")
        acres = page.locator("#said").inner_text()
        (path,) = tmp_path.glob("*.gpkg")
        (area,) = season.view(path, TODAY).areas.values()
        assert format_area(area.area_m2, "us") in acres
        page.context.close()


def test_a_plan_can_be_stopped(chromium: Any, served: Served, path: Path) -> None:
    page = opened(chromium, served)
    before = path.read_bytes()
    page.goto(f"{served.address}/plan")
    page.fill("#time-limit", "120")
    page.click("text=Look at other ways side by side")  # several plans: the longest work there is
    page.wait_for_selector("#stages li", timeout=30_000)
    other = page.context.new_page()
    other.goto(f"{served.address}/plots")  # a page stays quick meanwhile
    page.click("text=Stop it")
    page.wait_for_selector("text=it was stopped before it was ready")
    assert path.read_bytes() == before
    page.context.close()
