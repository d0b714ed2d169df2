"""The whole job in the app, on a new property: by mouse, by finger on a narrow screen, with keys alone.

Boundaries, crops, two lab sheets, five products, decisions, plan, orders, the map file on a phone, a record
back from it, the next season. Every figure a page shows is held against the property file and the command
line.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest
from app_server import FLAGS, serving
from chromium import CHROMIUM, DESK, PHONE
from command_line import ran_well, written
from hands import Finger, Hand, Keys
from pypdf import PdfReader

from loamwright import files, season
from loamwright.money import format_money
from loamwright.units import ACRE_M2, format_area
from loamwright.words import mass_words

pytestmark = [pytest.mark.browser, pytest.mark.slow]

TODAY = dt.date(2026, 5, 4)

#: The first laboratory has a sheet of its own, which leaves open how it read P and K, and how deep.
FIRST_LAB = """Lab Alder (invented),,,,
Report 26011,,,,
Sample ID,Date sampled,pH,Phosphorus P (ppm),Potassium K (ppm)
P-1,2026-04-11,6.4,9,95
P-2,2026-04-11,6.6,14,72
"""
ANSWERS = {"test.P": "Bray P1", "test.cations": "ammonium acetate", "depth": "0-6 in"}
#: The second has filled in a table of ours, and recommends.
SECOND_LAB = """plot_id,sampled_on,lab,depth,ph,rec_n,rec_p2o5,rec_k2o,rec_unit,rec_lime,rec_lime_unit
P-3,2026-04-12,Lab Birch (invented),0-6 in,6.3,40,50,60,lb/acre,0,lb ENP/acre
P-4,2026-04-12,Lab Birch (invented),0-6 in,5.6,0,20,30,lb/acre,2000,lb ENP/acre
"""
PRICES = """product,form,n,p2o5,k2o,enp,package,price,seller
Urea 46-0-0,dry,46,0,0,,50 lb bag,28.50,Feed store (invented)
MAP 11-52-0,dry,11,52,0,,50 lb bag,34.00,Feed store (invented)
Potash 0-0-60,dry,0,0,60,,50 lb bag,21.00,Feed store (invented)
Ag lime,lime,,,,1100,1 ton bulk,42.00,Quarry (invented)
"""


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


class Job:
    """The app in a browser, and the file behind it."""

    def __init__(self, page: Any, hand: Hand, folder: Path) -> None:
        self.page, self.hand, self.folder = page, hand, folder
        self.path = folder / "home_ground.gpkg"

    def go(self, title: str) -> None:
        """Go to a page by the list of pages."""
        if self.page.locator("#steps").get_attribute("open") is None:
            self.hand.press(self.page.locator("#steps summary"))
        link = self.page.locator("#steps a").filter(has_text=title).first
        with self.page.expect_navigation():
            self.hand.press(link)

    def send(self, name: str) -> None:
        """Press a button that leads to a page."""
        with self.page.expect_navigation():
            self.hand.press(self.page.locator("main").get_by_role("button", name=name, exact=True).first)

    def follow(self, name: str) -> None:
        """Follow a link of the page."""
        with self.page.expect_navigation():
            self.hand.press(self.page.locator("main").get_by_role("link", name=name).first)

    def write(self, **texts: str) -> None:
        """Fill in fields by their id."""
        for name, text in texts.items():
            self.hand.write(self.page.locator(f"#{name.replace('_', '-')}"), text)

    def said(self, *words: str) -> None:
        text = self.page.locator("main").inner_text()
        for word in words:
            assert word in text, text


def begin(job: Job) -> None:
    """Make a property, with its machine."""
    page = job.page
    job.write(new_name="Home ground", new_folder=str(job.folder), new_season="2026")
    job.hand.press(page.locator("summary", has_text="A machine to spread with"))
    job.write(new_machine="ATV spreader", new_hopper="100 lb", new_swath="20 ft", new_speed="5 mph")
    job.send("Make it")
    assert files.load(job.path).info.name == "Home ground"


def kept(job: Job, tool: str) -> None:
    """Keep what was drawn, and see the acres it had while it was drawn in the file."""
    page = job.page
    shown = page.locator("#area").inner_text().partition(",")[0]
    job.hand.press(page.locator("#keep"))
    page.wait_for_selector("#back:visible")
    if tool == "plot":
        said = page.locator("#said").inner_text()
        assert said == f"Drew plot {said.split()[2].rstrip(',')}, {shown}."


def ring(job: Job, *corners: tuple[float, float]) -> None:
    job.hand.corners(*corners)
    job.hand.press(job.page.locator("#close"))
    job.page.wait_for_function("() => document.getElementById('area').dataset.m2")


def draw(job: Job) -> None:
    """Three plots: one gets a hole, one is split."""
    page, hand = job.page, job.hand
    page.wait_for_selector("body[data-ready]")
    for _ in range(2):
        hand.nearer()
    tool, which = page.locator("#tool"), page.locator("#which")
    hand.choose(tool, "plot")
    ring(job, (-3, 0), (0, 0), (0, 3), (-3, 3))
    hand.write(page.locator("#name"), "West")
    kept(job, "plot")
    hand.choose(tool, "plot")
    ring(job, (0, 0), (3, 0), (3, 3), (0, 3))
    hand.write(page.locator("#name"), "East")
    kept(job, "plot")
    hand.choose(tool, "hole")
    ring(job, (-2, 1), (-1, 1), (-1, 2), (-2, 2))
    kept(job, "hole")
    hand.choose(tool, "split")
    hand.choose(which, "P-2")
    hand.corners((1, 4), (1, -1))
    kept(job, "split")
    hand.choose(tool, "plot")
    ring(job, (-3, -3), (0, -3), (0, -1), (-3, -1))
    kept(job, "plot")
    assert page.broken == []
    plots = {plot.plot_id: plot.boundary for plot in files.load(job.path).plots}
    assert set(plots) == {"P-1", "P-2", "P-3", "P-4"}
    assert len(plots["P-1"].interiors) == 1


#: A mixture leaves its nitrogen to be decided; a clover asks for none.
CROPS = {
    "P-1": ("grass-legume mixture", "3 ton/acre", "30"),
    "P-2": ("red clover", "2 ton/acre", "90"),
    "P-3": ("brassica", "", ""),
    "P-4": ("red clover", "2 ton/acre", "90"),
}


def say_crops(job: Job) -> None:
    for plot, (crop, goal, share) in CROPS.items():
        job.go("Plots")
        job.follow("say what grows")
        assert job.page.input_value("#new-id") == plot
        job.write(f_crop=crop)
        if goal:
            job.write(f_yield_goal=goal, f_legume_pct=share)
        job.send("Add it")


def bring(
    job: Job, page_title: str, name: str, text: str, answers: Mapping[str, str] = MappingProxyType({})
) -> None:
    """Drop a file, answer what it leaves open, see what it holds, take it in."""
    file = written(job.folder / name, text)
    job.go(page_title)
    job.hand.bring(job.page.locator("form.drop input[type=file]"), file)
    job.send("Look at what they hold")
    for question, answer in answers.items():
        mark = job.page.locator(f"input[name='answer.{question}'][value='{answer}']")
        if not mark.count():
            job.send("Go on")  # some are asked once others are answered
        job.hand.mark(mark)
    if answers:
        job.send("Go on")
    job.send("Take them in")


def add_product(job: Job) -> None:
    """The fifth product is typed from its label, with its price."""
    job.go("Products and prices")
    job.follow("Add a product")
    job.write(new_id="Ammonium sulfate 21-0-0-24S", f_form="dry", f_n="21", f_s="24")
    job.send("Add it")
    job.follow("no price yet")
    job.write(new_id="AS-1", f_package="50 lb bag", f_price="24.00", f_seller="Feed store (invented)")
    job.send("Add it")
    record = files.load(job.path)
    assert len(record.products) == len(record.offers) == 5
    (typed,) = [offer for offer in record.offers if offer.offer_id == "AS-1"]
    assert typed.package_kg == pytest.approx(22.6796185)  # 50 lb × 0.45359237 kg


def decide(job: Job) -> None:
    job.go("Decisions")
    (row,) = [row for row in season.view(job.path, TODAY).choices if row.open]
    assert (row.plot_id, row.supply) == ("P-1", "N")
    job.hand.write(job.page.get_by_label("Amount or share"), "50 %")
    job.hand.write(job.page.get_by_label("Why"), "the clover feeds it")
    job.send("Decide N on P-1")
    job.said("Nothing is open.", "the clover feeds it")


def make_plan(job: Job) -> None:
    job.go("Plan")
    job.write(time_limit="5")
    job.send("Make the plan")
    job.page.wait_for_selector("text=To buy", timeout=90_000)
    plan = season.view(job.path, TODAY).plan
    assert plan is not None
    job.said(format_money(plan.total_cost), *(line.product for line in plan.buy))


def fetched(job: Job, name: str) -> Path:
    with job.page.expect_download() as download:
        job.hand.press(job.page.locator("main").get_by_role("link", name=name).first)
    path = job.folder / download.value.suggested_filename
    download.value.save_as(path)
    return path


def orders(job: Job) -> Path:
    """Paper with the same money and acres, and the map file."""
    job.go("Orders")
    archive = zipfile.ZipFile(fetched(job, "Planner's orders and buying list"))
    (name,) = [name for name in archive.namelist() if name.endswith("orders.pdf")]
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(archive.read(name))).pages)
    view = season.view(job.path, TODAY)
    assert view.plan is not None
    for plot in view.record.plots:
        assert format_area(view.areas[plot.plot_id].spread_area_m2, "us") in " ".join(text.split())
    return fetched(job, "Field map")


def check_off(job: Job, chromium: Any, map_file: Path) -> Path:
    """On a phone in the field, from the file alone: the first line of the first plot is done."""
    context = chromium.new_context(**PHONE, accept_downloads=True)
    phone = context.new_page()
    phone.goto(map_file.as_uri())
    phone.wait_for_selector("body[data-ready]")
    phone.tap("#tabs [data-view=plots]")
    area = season.view(job.path, TODAY).areas["P-1"].spread_area_m2
    assert format_area(area, "us") in phone.locator("#plots button").first.inner_text()
    phone.locator("#plots button").first.tap()
    phone.locator("[data-line] button.form").first.tap()
    phone.fill("[name=operator]", "Sam Alder (invented)")
    phone.fill("[name=date]", "2026-05-03")
    phone.locator("#check-off button.main").tap()
    phone.tap("#tabs [data-view=records]")
    with phone.expect_download() as download:
        phone.locator("button", has_text="Save records file").tap()
    path = job.folder / download.value.suggested_filename
    download.value.save_as(path)
    context.close()
    return path


def record(job: Job, records: Path) -> None:
    brought = len(json.loads(records.read_text(encoding="utf-8"))["entries"])  # one for each product of a mix
    for told in (f"{brought} new", f"0 new, {brought} already there"):
        job.go("Records")
        job.hand.bring(job.page.locator("#phone-file"), records)
        job.send("Take it in")
        job.said(told)
    entries = files.load(job.path).applications
    assert len(entries) == brought
    for entry in entries:
        assert (entry.plot_id, entry.operator) == ("P-1", "Sam Alder (invented)")
        job.said(mass_words(entry.mass_kg, "us"), entry.product)


def row_of(job: Job, plot: str) -> Any:
    link = job.page.locator(f"a[href^='/plots/{plot}']")
    return job.page.locator("main tbody tr").filter(has=link)


def figures_agree(job: Job) -> None:
    """Acres and needs as the pages show them: those of the file, and of the command line."""
    view = season.view(job.path, TODAY)
    exported = job.folder / "exported"
    ran_well("export", job.path, "geojson", exported, "--old")
    (boundaries,) = exported.glob("*plots*.geojson")
    measured = {plot["plot_id"]: plot["area_m2"] for plot in ran_well("measure", boundaries)["plots"]}
    assert measured == {name: area.area_m2 for name, area in view.areas.items()}  # to the last digit
    job.go("Plots")
    rows = job.page.locator("main tbody tr")
    assert rows.count() == len(view.areas)
    for row, area in zip(rows.all(), view.areas.values(), strict=True):
        assert row.locator("[data-label='Inside boundary']").inner_text() == format_area(area.area_m2, "us")
        spread = row.locator("[data-label='Spread area']").inner_text()
        assert spread == format_area(area.spread_area_m2, "us")
    job.go("Needs")
    for plot in ran_well("needs", job.path)["plots"]:
        row = row_of(job, plot["plot_id"])
        for need in plot["needs"]:
            cell = row.locator(f"[data-label='{need['nutrient']}']").inner_text().split()
            told = [need["state"]]
            if need["state"] == "needed":
                told = [f"{need['lb_per_acre']:.0f}", "lb/acre", f"{need['lb']:,.1f}", "lb"]
            assert cell == told
    # The second laboratory's 2,000 lb ENP to the acre of P-4.
    lime = row_of(job, "P-4").locator("[data-label='Lime']").inner_text()
    assert f"{2000 * view.areas['P-4'].spread_area_m2 / ACRE_M2:,.0f} lb" in lime


def whole_job(chromium: Any, hand: type[Hand], screen: dict[str, Any], folder: Path) -> None:
    """From an empty folder to the next season."""
    with serving(None, TODAY) as served:
        context = chromium.new_context(**screen, accept_downloads=True)
        context.set_default_timeout(15_000)
        page = context.new_page()
        page.broken = []
        page.on("pageerror", lambda error: page.broken.append(str(error)))
        page.goto(served.enter())
        job = Job(page, hand(page), folder)
        begin(job)
        draw(job)
        say_crops(job)
        bring(job, "Soil tests", "first.csv", FIRST_LAB, ANSWERS)
        bring(job, "Soil tests", "second.csv", SECOND_LAB)
        bring(job, "Products", "prices.csv", PRICES)
        add_product(job)
        decide(job)
        figures_agree(job)
        make_plan(job)
        record(job, check_off(job, chromium, orders(job)))
        job.go("History")
        job.send("Start season 2027")
        job.said("Season 2027 is started")
        assert files.load(job.path).info.season == 2027
        assert page.broken == []
        context.close()


def test_by_mouse(chromium: Any, tmp_path: Path) -> None:
    whole_job(chromium, Hand, DESK, tmp_path)


def test_by_finger(chromium: Any, tmp_path: Path) -> None:
    whole_job(chromium, Finger, PHONE, tmp_path)


def test_with_keys_alone(chromium: Any, tmp_path: Path) -> None:
    whole_job(chromium, Keys, DESK, tmp_path)
