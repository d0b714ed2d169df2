"""Checking off by one tap: as planned, taken back, with what shares the hopper; and where it has to ask."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sample_view import sample_view

from loamwright.fieldmap.page import write_map
from loamwright.work.records import PropertyRecord

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]


def on_day(page: Any, day: str) -> None:
    page.clock.set_fixed_time(dt.datetime.fromisoformat(f"{day}T09:30"))


def plot(page: Any, place: int) -> None:
    page.tap("#tabs [data-view=plots]")
    if page.is_visible("#back"):
        page.tap("#back")
    page.locator("#plots button").nth(place).tap()


def entries(page: Any) -> list[dict[str, Any]]:
    page.tap("#tabs [data-view=records]")
    page.locator("#view-records summary", has_text="As text").tap()
    found: list[dict[str, Any]] = json.loads(page.input_value("#records-text"))["entries"]
    return found


def test_done_is_one_tap_and_the_name_is_asked_once(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    on_day(page, "2026-05-09")
    plot(page, 0)
    page.locator("[data-line='L-AF-01-N'] .quick").tap()
    page.fill("#who [name=operator]", "Sam Nobody")
    page.locator("#who .main").tap()
    page.locator("#kept").wait_for()
    assert "● done" in page.inner_text("[data-line='L-AF-01-N']")
    page.locator("[data-line='L-AF-01-K2O'] .quick").tap()  # not asked again
    assert "● done" in page.inner_text("[data-line='L-AF-01-K2O']")
    assert page.locator("[data-line='L-AF-01-K2O'] .quick").is_disabled()
    first, second = entries(page)
    lines = {line.line_id: line for line in sample_view(25).plan.lines}
    for entry in (first, second):
        assert entry["mass_kg"] == pytest.approx(lines[entry["line_id"]].mass_kg, abs=1e-5)
        assert (entry["done"], entry["operator"], entry["applied_on"], entry["time_of_day"]) == (
            "done",
            "Sam Nobody",
            "2026-05-09",
            "09:30",
        )
    plot(page, 0)
    page.locator("[data-line='L-AF-01-limeENP'] .quick").tap()
    page.locator("#kept button").tap()  # taken back
    assert "○ nothing yet" in page.inner_text("[data-line='L-AF-01-limeENP']")
    assert len(entries(page)) == 2


def test_what_shares_a_hopper_goes_on_together(open_page: Open, tmp_path: Path) -> None:
    view = sample_view(25)
    assert view.plan is not None
    shared = {"L-AF-01-N", "L-AF-01-K2O"}
    lines = tuple(replace(one, job_id="J1" if one.line_id in shared else "") for one in view.plan.lines)
    plan = replace(view.plan, lines=lines)
    record: PropertyRecord = replace(view.record, plans=(plan,))
    path = tmp_path / "mix.html"
    write_map(replace(view, plan=plan, record=record), path)
    page = open_page(path)
    on_day(page, "2026-05-09")
    plot(page, 0)
    page.locator("[data-line='L-AF-01-N'] .quick").tap()
    page.locator("#who .main").tap()  # nobody wants to be named: it is not asked again
    page.locator("#kept").wait_for()
    said = page.inner_text("#kept p")
    assert "Urea 46-0-0" in said
    assert "Potash 0-0-60" in said
    products = {one.product for one in lines if one.line_id in shared}
    assert {entry["product"] for entry in entries(page)} == products
    assert {(entry["plan_id"], entry["job_id"]) for entry in entries(page)} == {(plan.plan_id, "J1")}

    # Half of it instead, on another phone: the same share of each product of the mix.
    page = open_page(path)
    on_day(page, "2026-05-09")
    plot(page, 0)
    page.locator("[data-line='L-AF-01-N'] .form").tap()
    assert "the same share of Potash 0-0-60, mixed with it" in page.inner_text("#check-off .planned")
    page.locator("#check-off .pick", has_text="Part").tap()
    page.locator("#check-off .shares button").nth(1).tap()
    page.fill("#check-off [name=reason]", "north end left, rain")
    page.locator("#check-off button.main").tap()
    of_product = {line.product: line for line in lines if line.line_id in shared}
    found = entries(page)
    assert {entry["product"] for entry in found} == products
    assert {entry["job_id"] for entry in found} == {"J1"}
    for entry in found:
        assert entry["mass_kg"] == pytest.approx(
            of_product[entry["product"]].mass_kg / 2, rel=2e-3
        )  # a thousandth of a bag
        assert (entry["done"], entry["reason"]) == ("part", "north end left, rain")
    assert len({entry["entry_id"] for entry in found}) == 2


def test_a_day_of_another_season_opens_the_form(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    on_day(page, "2031-05-09")
    plot(page, 0)
    page.locator("[data-line='L-AF-01-N'] .quick").tap()
    assert page.is_visible("#check-off")
    page.locator("#check-off button.main").tap()
    assert "outside season 2026" in page.inner_text("#check-off .problem")


def test_a_round_goes_on_by_itself(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    on_day(page, "2026-05-09")
    page.tap("#tabs [data-view=round]")
    row = page.locator("#view-round .row", has_text="Potash")
    assert row.locator("b").inner_text().startswith("3. ")  # its number everywhere
    row.tap()
    assert page.inner_text("#view-round h2").startswith("Round 3: ")
    page.locator(".thumb .quick").tap()
    page.locator("#who .main").tap()
    page.locator("#kept").wait_for()
    stops = len(sample_view(25).rounds[2].stops)
    for _ in range(stops):
        if page.locator(".thumb .quick").is_disabled():
            break
        page.locator(".thumb .quick").tap()
    page.tap("#back")
    open_left = page.locator("#view-round .row", has_text="Potash").locator("span").last.inner_text()
    part = [s for s in sample_view(25).statuses if s.product == "Potash 0-0-60" and s.state == "part"]
    assert open_left == "● all stops reported"
    assert len(entries(page)) == stops - sum(
        1 for s in sample_view(25).statuses if s.product == "Potash 0-0-60" and s.applied_kg
    )
    assert len(part) < stops
