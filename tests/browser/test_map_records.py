"""Check-offs on the phone: kept, corrected, exported, and read back by the program."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sample_view import ACRE_M2, N_LB_ACRE, sample_view

from loamwright.files.field_records import records_from
from loamwright.units import LB_KG, format_mass
from loamwright.values import Timing
from loamwright.work import receipt_of
from loamwright.work.records import Done

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]


def check_off(page: Any, plot: int, line: str) -> None:
    page.tap("#tabs [data-view=plots]")
    if page.is_visible("#back"):
        page.tap("#back")
    page.locator("#plots button").nth(plot).tap()
    page.locator(f"[data-line='{line}'] button.form").tap()


def saved(page: Any, folder: Path) -> Path:
    page.tap("#tabs [data-view=records]")
    with page.expect_download() as download:
        page.locator("button", has_text="Save records file").tap()
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return path


def test_check_off_reload_export_import(open_page: Open, maps: Callable[..., Any], tmp_path: Path) -> None:
    page = open_page(maps(25))
    acres = sample_view(25).areas["AF-01"].spread_area_m2 / ACRE_M2
    check_off(page, 0, "L-AF-01-N")  # as planned
    page.fill("[name=operator]", "Sam Alder")
    page.fill("[name=date]", "2026-05-09")
    page.fill("[name=time]", "07:45")
    page.fill("[name=ground]", "moist")
    page.fill("[name=weather]", "60 F, calm")
    page.fill("[name=note]", "two passes, half rate each")
    page.locator("#check-off button.main").tap()
    assert "● done" in page.inner_text("[data-line='L-AF-01-N']")

    check_off(page, 0, "L-AF-01-limeENP")  # part, in pounds
    assert page.input_value("[name=operator]") == "Sam Alder"  # remembered
    page.locator("#check-off label", has_text="Part").tap()
    page.select_option("[name=unit]", label="lb")
    page.fill("[name=amount]", "1000")
    page.locator("#check-off button.main").tap()
    assert page.inner_text("#check-off .problem") == "Write the reason: it differs from the plan."
    page.fill("[name=reason]", "rain or wet ground")
    page.locator("#check-off button.main").tap()

    check_off(page, 2, "L-AF-03-K2O")
    page.locator("#check-off label", has_text="Not done").tap()
    assert not page.is_visible("[name=amount]")
    page.fill("[name=reason]", "could not reach the plot")
    page.locator("#check-off button.main").tap()
    assert "not done: could not reach the plot" in page.inner_text("[data-line='L-AF-03-K2O']")

    page.reload()
    page.wait_for_selector("body[data-ready]")
    page.tap("#tabs [data-view=records]")
    assert page.locator("ol.entries li").count() == 3
    assert "3 kept here, 3 not handed over yet." in page.inner_text("#view-records")

    path = saved(page, tmp_path)
    assert path.name.startswith("alder-fork-preserve-records-")
    raw = json.loads(path.read_text("utf-8"))
    assert (raw["format"], raw["version"]) == ("loamwright-records", 2)
    entries, problems = records_from(path, [plot.plot_id for plot in sample_view(25).record.plots])
    assert problems == ()
    urea, lime, potash = entries
    assert {uuid.UUID(entry.entry_id).version for entry in entries} == {4}
    assert (urea.plot_id, urea.product, urea.line_id) == ("AF-01", "Urea 46-0-0", "L-AF-01-N")
    assert (urea.done, urea.timing) == (Done.DONE, Timing.TOPDRESS)
    assert (str(urea.applied_on), urea.time_of_day) == ("2026-05-09", "07:45")
    assert urea.mass_kg == pytest.approx(N_LB_ACRE / 0.46 * acres * LB_KG, abs=1e-5)  # kept to 5 decimals
    assert urea.area_m2 == pytest.approx(acres * ACRE_M2, abs=0.0005 * ACRE_M2)  # shown to 0.001 acre
    assert (urea.operator, urea.equipment, urea.ground) == ("Sam Alder", "ATV spreader", "moist")
    assert (urea.weather, urea.note) == ("60 F, calm", "two passes, half rate each")
    assert (lime.done, lime.reason) == (Done.PART, "rain or wet ground")
    assert lime.mass_kg == pytest.approx(453.59237, abs=1e-5)  # 1000 lb
    assert (potash.done, potash.mass_kg, potash.area_m2) == (Done.NOT_DONE, 0.0, None)
    assert "3 kept here, 3 not handed over yet." in page.inner_text("#view-records")
    assert "1,000 lb (453.59 kg)" in page.inner_text("#view-records")

    again, _ = records_from(saved(page, tmp_path))
    assert again == entries  # the same ids and the same content however often it is exported


def test_correcting(open_page: Open, maps: Callable[..., Any], tmp_path: Path) -> None:
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    page.tap("#tabs [data-view=records]")
    page.locator("ol.entries button", has_text="Correct").tap()
    page.fill("[name=note]", "never sent: written anew")
    page.locator("#check-off button.main").tap()
    assert page.locator("ol.entries li").count() == 1
    (first,), _ = records_from(saved(page, tmp_path))
    assert (first.note, first.replaces) == ("never sent: written anew", "")

    page.locator("ol.entries button", has_text="Correct").tap()  # sent by now: the old entry stays
    page.locator("#check-off label", has_text="Part").tap()
    page.fill("[name=amount]", "0.5")
    page.fill("[name=reason]", "ran out of product")
    page.locator("#check-off button.main").tap()
    old, new = records_from(saved(page, tmp_path))[0]
    assert old == first
    assert new.replaces == first.entry_id
    page.tap("#tabs [data-view=plots]")
    acres = sample_view(25).areas["AF-01"].spread_area_m2 / ACRE_M2
    planned = format_mass(N_LB_ACRE / 0.46 * acres * LB_KG)
    said = page.inner_text("[data-line='L-AF-01-N']")
    assert f"◐ part: 25.0 lb of {planned} is on" in said  # half a 50 lb bag, not both


def test_removing_and_bad_input(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    keep, problem = page.locator("#check-off button.main"), page.locator("#check-off .problem")
    page.fill("[name=amount]", "")
    keep.tap()
    assert problem.inner_text() == "Write the amount as a number, zero or more."
    page.fill("[name=amount]", "-3")
    keep.tap()
    assert problem.inner_text() == "Write the amount as a number, zero or more."
    page.fill("[name=amount]", "0")
    keep.tap()
    assert problem.inner_text() == "An amount of zero is “Not done”."
    page.fill("[name=amount]", "9")
    keep.tap()
    assert "times what is planned. Press Keep again if it is so." in problem.inner_text()
    keep.tap()
    assert problem.inner_text() == "Write the reason: it differs from the plan."
    page.fill("[name=reason]", "gate stuck")
    page.fill("[name=date]", "")
    keep.tap()
    assert problem.inner_text() == "Write the date."
    page.fill("[name=date]", "2026-05-09")
    keep.tap()
    assert "▲ over" in page.inner_text("[data-line='L-AF-01-N']")
    page.tap("#tabs [data-view=records]")
    page.locator("ol.entries button", has_text="Remove").tap()
    assert "Nothing is waiting here" in page.inner_text("#view-records")
    page.tap("#tabs [data-view=plots]")
    page.tap("#back")
    page.locator("#plots button").nth(0).tap()
    assert "○ nothing yet" in page.inner_text("[data-line='L-AF-01-N']")


def test_something_not_planned(open_page: Open, maps: Callable[..., Any], tmp_path: Path) -> None:
    page = open_page(maps(25))
    page.tap("#tabs [data-view=plots]")
    page.locator("#plots button").nth(3).tap()
    page.locator("button", has_text="Something else").tap()
    page.locator("#check-off button.main").tap()
    assert page.inner_text("#check-off .problem") == "Choose the product."
    page.select_option("[name=product]", "Triple super 0-46-0")
    page.fill("[name=amount]", "12.5")
    page.locator("#check-off button.main").tap()
    (entry,), problems = records_from(saved(page, tmp_path))
    assert problems == ()
    assert (entry.plot_id, entry.product, entry.line_id, entry.timing) == (
        "AF-04",
        "Triple super 0-46-0",
        "",
        None,
    )
    assert entry.mass_kg == pytest.approx(12.5 * 0.45359237, abs=1e-5)  # kept to 5 decimals


def test_done_layer_follows_the_phone(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(1))
    page.locator("#questions label", has_text="Done").tap()
    page.tap("#tabs [data-view=plots]")
    before = page.text_content("#plots li")
    assert "1 of 4 done" in before  # sample_view: the 2nd line of every six is done on file
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    page.tap("#back")
    assert "2 of 4 done" in page.text_content("#plots li")


def test_two_windows_lose_nothing(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    other = page.context.new_page()
    other.goto(maps(25).as_uri())
    other.wait_for_selector("body[data-ready]")
    page.bring_to_front()
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    other.bring_to_front()
    check_off(other, 1, "L-AF-02-K2O")
    other.locator("#check-off button.main").tap()
    for each in (other, page):
        each.bring_to_front()
        each.tap("#tabs [data-view=records]")
        each.locator("ol.entries > li").nth(1).wait_for()


def test_browser_that_keeps_nothing_says_so(
    open_page: Open, maps: Callable[..., Any], tmp_path: Path
) -> None:
    page = open_page(maps(25))
    page.context.add_init_script(
        "Object.defineProperty(window, 'localStorage', {get() { throw new Error('no'); }})"
    )
    page.reload()
    page.wait_for_selector("body[data-ready]")
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    page.tap("#tabs [data-view=records]")
    assert "Send your records before you close the page" in page.inner_text("#view-records")
    assert len(records_from(saved(page, tmp_path))[0]) == 1


def test_sending_through_the_phone(open_page: Open, maps: Callable[..., Any]) -> None:
    """What the share sheet gets is the same file; when it is dismissed, nothing counts as sent."""
    page = open_page(maps(25))
    page.context.add_init_script(
        """Object.defineProperty(navigator, 'canShare', {value: () => true});
        Object.defineProperty(navigator, 'share', {value: async ({ files }) => {
          if (window.dismissed) throw new DOMException('closed', 'AbortError');
          window.handed = [files[0].name, files[0].type, await files[0].text()];
        }});"""
    )
    page.reload()
    page.wait_for_selector("body[data-ready]")
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    page.tap("#tabs [data-view=records]")
    page.evaluate("window.dismissed = true")
    page.locator("button", has_text="Send records").tap()
    assert "1 kept here, 1 not handed over yet." in page.inner_text("#view-records")
    page.evaluate("window.dismissed = false")
    page.locator("button", has_text="Send records").tap()
    page.locator(
        "#view-records", has_text="1 kept here, 0 not handed over yet, 1 without a receipt."
    ).wait_for()
    name, kind, text = page.evaluate("window.handed")
    assert name.endswith(".json.txt")
    assert kind == "text/plain"  # what every phone lets a page share
    assert json.loads(text)["entries"][0]["line_id"] == "L-AF-01-N"


def test_a_part_is_asked_how_much_and_never_supposed(open_page: Open, maps: Callable[..., Any]) -> None:
    """Part with the amount untouched was stored as the whole once, and became done."""
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    keep, problem = page.locator("#check-off button.main"), page.locator("#check-off .problem")
    planned = float(page.input_value("[name=amount]"))
    page.locator("#check-off label", has_text="Part").tap()
    assert page.input_value("[name=amount]") == ""
    keep.tap()
    assert problem.inner_text().startswith("Say how much is on")
    page.locator(".shares button", has_text="½").tap()
    assert float(page.input_value("[name=amount]")) == pytest.approx(planned / 2, abs=0.001)
    keep.tap()
    assert problem.inner_text() == "Write the reason: it differs from the plan."
    page.fill("[name=reason]", "the north end is left: too wet")
    page.fill("[name=amount]", str(planned))
    keep.tap()
    assert problem.inner_text().startswith("That is all of the")
    page.locator(".shares button", has_text="½").tap()
    keep.tap()
    assert "◐ part" in page.inner_text("[data-line='L-AF-01-N']")
    check_off(page, 0, "L-AF-01-N")  # the rest is proposed; less than that is no "done"
    page.fill("[name=amount]", "0.01")
    keep.tap()
    assert "choose Part, or correct the amount." in problem.inner_text()


def test_what_was_just_kept_can_be_taken_back(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    assert page.inner_text("#kept p").startswith("Kept: AF-01 ")
    page.locator("#kept button").tap()
    assert "○ nothing yet" in page.inner_text("[data-line='L-AF-01-N']")
    assert not page.is_visible("#kept")


def test_a_half_filled_form_outlives_leaving_it(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    page.fill("[name=operator]", "Sam Alder")
    page.fill("[name=note]", "half way through")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    check_off(page, 0, "L-AF-01-N")
    assert page.input_value("[name=note]") == "half way through"
    assert page.inner_text("#check-off .problem") == "As you left it."
    page.locator("#check-off button.main").tap()
    check_off(page, 0, "L-AF-01-K2O")  # another form begins empty
    assert page.input_value("[name=note]") == ""


def test_a_day_to_come_or_of_another_season_is_asked_about(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    keep, problem = page.locator("#check-off button.main"), page.locator("#check-off .problem")
    page.fill("[name=date]", "2099-01-01")
    keep.tap()
    assert problem.inner_text().startswith("That day is still to come.")
    page.fill("[name=date]", "2019-05-01")
    keep.tap()
    assert problem.inner_text().startswith("That day is outside season 2026.")
    keep.tap()  # it is so
    assert "● done" in page.inner_text("[data-line='L-AF-01-N']")


def test_saved_is_not_sent_and_sent_is_not_arrived(
    open_page: Open, maps: Callable[..., Any], tmp_path: Path
) -> None:
    page = open_page(maps(25))
    check_off(page, 0, "L-AF-01-N")
    page.locator("#check-off button.main").tap()
    path = saved(page, tmp_path)
    shown = page.locator("#view-records")
    assert "1 kept here, 1 not handed over yet." in shown.inner_text()
    assert "copied or saved, not handed over yet" in shown.inner_text()
    page.locator("button", has_text="I handed them over").tap()
    assert "1 kept here, 0 not handed over yet, 1 without a receipt." in shown.inner_text()
    page.fill("[name=receipt]", "AAAAAA")
    page.locator("button", has_text="They arrived").tap()
    assert "no receipt yet" in shown.inner_text()
    entries, _ = records_from(path)
    page.fill("[name=receipt]", receipt_of(entry.entry_id for entry in entries).lower())
    page.locator("button", has_text="They arrived").tap()
    assert "1 kept here, 0 not handed over yet." in shown.inner_text()
    assert "arrived 20" in shown.inner_text()
