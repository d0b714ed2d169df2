"""Every page opens, every change is one journal entry that can be taken back, and nothing typed is lost."""

from __future__ import annotations

import datetime as dt
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from app_visitor import Visitor, words

from loamwright import files, season, upkeep
from loamwright.app.pages import PLACES

LB = 0.45359237  # kg, by definition
TODAY = dt.date(2026, 5, 4)


@pytest.mark.parametrize("address", [place.address for place in PLACES])
def test_every_page_opens(visitor: Visitor, address: str) -> None:
    answer = visitor.get(address)
    assert answer.status_code == 200, words(answer.text)
    assert 'lang="en"' in answer.text
    # A strict policy lets no script or style run that stands in the page itself.
    assert "<script>" not in answer.text
    assert " style=" not in answer.text
    assert " on" not in "".join(answer.text.split("<body")[0].split("<script")[1:])


def test_one_plot_shows_its_area_as_the_program_measures_it(visitor: Visitor) -> None:
    from loamwright import season
    from loamwright.units import ACRE_M2

    view = season.view(visitor.path, TODAY)
    acres = view.areas["AF-01"].spread_area_m2 / ACRE_M2
    assert f"{acres:.2f} acres to spread on" in visitor.text("/plots/AF-01")


def test_only_what_was_typed_over_is_changed(visitor: Visitor) -> None:
    form = visitor.form("/edit/plot/AF-01?from=/plots/AF-01")
    before = files.load(visitor.path)
    answer = visitor.send("/edit/plot/AF-01", **form | {"notes": "wet in <May>"})
    assert "wet in <May>" in words(answer.text)
    assert "<May>" not in answer.text  # it is text, not a tag
    after = files.load(visitor.path)
    (was,) = [p for p in before.plots if p.plot_id == "AF-01"]
    (now,) = [p for p in after.plots if p.plot_id == "AF-01"]
    assert now.notes == "wet in <May>"
    assert (now.name, now.access, now.boundary) == (was.name, was.access, was.boundary)
    newest = upkeep.changes(visitor.path)[-1]
    assert [what for what, _, _ in newest.did] == ["plot AF-01, notes"]


def test_a_change_is_taken_back_on_the_page_it_came_to(visitor: Visitor) -> None:
    form = visitor.form("/edit/plot/AF-01?from=/plots/AF-01")
    answer = visitor.send("/edit/plot/AF-01", **form | {"notes": "wet"})
    assert "Take it back" in answer.text
    number = upkeep.changes(visitor.path)[-1].change
    visitor.send(f"/undo/{number}")
    (plot,) = [p for p in files.load(visitor.path).plots if p.plot_id == "AF-01"]
    assert plot.notes == form["notes"]


def test_a_wrong_value_is_told_beside_its_field_and_nothing_typed_is_lost(visitor: Visitor) -> None:
    name = files.load(visitor.path).soil_tests[0].test_id
    form = visitor.form(f"/edit/soil-test/{name}")
    count = len(upkeep.changes(visitor.path))
    answer = visitor.send(f"/edit/soil-test/{name}", **form | {"ph": "74", "lab": "Another lab"})
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text
    assert "74" in words(answer.text.split('id="f-ph-wrong"')[1][:200])
    assert 'value="Another lab"' in answer.text
    assert len(upkeep.changes(visitor.path)) == count


def test_a_page_is_not_left_for_another_site(visitor: Visitor) -> None:
    form = visitor.form("/edit/plot/AF-01")
    answer = visitor.client.post(
        "/edit/plot/AF-01",
        data=form | {"notes": "dry", "from": "//evil.example/"},
        headers={"origin": "http://127.0.0.1:8743"},
        follow_redirects=False,
    )
    assert answer.headers["location"].startswith("/plots/AF-01?")


def test_a_dropped_file_is_looked_at_before_it_is_taken(visitor: Visitor) -> None:
    sheet = b"test_id,plot_id,sampled_on,ph\nNEW-1,AF-02,2026-04-20,6.1\n"
    count = len(files.load(visitor.path).soil_tests)
    looked = visitor.send(
        "/bring", files={"files": ("../../etc/tests.csv", sheet, "text/csv")}, **{"from": "/soil-tests"}
    )
    assert "NEW-1" in words(looked.text)
    assert len(files.load(visitor.path).soil_tests) == count
    heap = str(looked.url).rpartition("/")[2]
    visitor.send(f"/bring/{heap}", what="take")
    assert files.load(visitor.path).soil_tests[-1].ph == 6.1


def test_what_is_missing_is_said_and_blocks_nothing(visitor: Visitor) -> None:
    assert "Plan no plan yet" in visitor.text("/")
    assert visitor.get("/orders").status_code == 200


def test_a_property_that_is_moved_away_is_told(visitor: Visitor) -> None:
    visitor.path.rename(visitor.path.with_name("elsewhere.gpkg"))
    answer = visitor.get("/plots")
    assert answer.status_code == 422
    assert "moved, renamed" in words(answer.text)


def test_another_program_is_seen(visitor: Visitor) -> None:
    visitor.get("/plots/AF-01")
    upkeep.set_fields(visitor.path, "plot", "AF-01", ["notes=by hand"], TODAY, "")
    assert "by hand" in visitor.get("/plots/AF-01").text


def test_a_form_filled_from_an_old_state_is_asked_about(visitor: Visitor) -> None:
    form = visitor.form("/edit/plot/AF-01?from=/plots/AF-01")
    upkeep.set_fields(visitor.path, "plot", "AF-01", ["notes=by the office"], TODAY, "")
    answer = visitor.send("/edit/plot/AF-01", **form | {"notes": "from the field", "access": "east gate"})
    assert answer.status_code == 422
    told = words(answer.text)
    assert "by the office now" in told
    assert 'value="from the field"' in answer.text  # what was typed stands beside what is there
    held = {plot.plot_id: plot for plot in files.load(visitor.path).plots}["AF-01"]
    assert (held.notes, held.access) == ("by the office", form["access"])
    again = dict(re.findall(r'<input[^>]*name="([^"]+)"[^>]*value="([^"]*)"', answer.text))
    visitor.send("/edit/plot/AF-01", **again)
    held = {plot.plot_id: plot for plot in files.load(visitor.path).plots}["AF-01"]
    assert (held.notes, held.access) == ("from the field", "east gate")


def test_a_labs_sheet_is_asked_about_on_the_page_and_then_taken(visitor: Visitor) -> None:
    sheet = (
        b"Willow Lab (invented)\nField,Lab No,Date sampled,pH,P Bray P1 ppm,K ppm (ammonium acetate)\n"
        b"AF-02,701,2026-04-20,6.1,12,88\nElbow plot,702,2026-04-20,6.4,15,90\n"
    )
    looked = visitor.send("/bring", files={"files": ("willow.csv", sheet)}, **{"from": "/soil-tests"})
    heap = str(looked.url).rpartition("/")[2]
    told = words(looked.text)
    assert "depth of the samples" in told
    assert "which plot the sample 'Elbow plot' is of" in told
    assert "Take them in" not in told
    answers = {"answer.depth": "0-6 in", "answer.plot.elbowplot": "AF-03", "what": "answer"}
    ready = visitor.send(f"/bring/{heap}", **answers)
    assert "Take them in" in words(ready.text)
    visitor.send(f"/bring/{heap}", what="take")
    tests = {test.test_id: test for test in files.load(visitor.path).soil_tests}
    assert (tests["701"].plot_id, tests["702"].plot_id) == ("AF-02", "AF-03")


def test_what_is_asked_of_an_entry_is_answered_on_the_page(visitor: Visitor) -> None:
    typed = {"plot": "AF-01", "product": "Urea 46-0-0", "amount": "40 lb", "on": "2026-05-02"}
    visitor.send("/records", **typed)
    asked = visitor.send("/records", **typed)
    assert asked.status_code == 422
    assert "the same is recorded already" in words(asked.text)
    assert 'value="on top of it"' in asked.text
    assert len(files.load(visitor.path).applications) == 1
    visitor.send("/records", **typed, **{"answer.again": "on top of it"})
    assert [one.mass_kg for one in files.load(visitor.path).applications] == pytest.approx([40 * LB] * 2)


def test_an_emptied_day_is_asked_for_and_what_was_typed_stays(visitor: Visitor) -> None:
    """A day pasted as 12.03.2027 leaves a browser's date field empty: it was kept as today's."""
    typed = {"plot": "AF-01", "product": "Urea 46-0-0", "amount": "40 lb", "on": ""}
    asked = visitor.send("/records", **typed)
    assert asked.status_code == 422
    assert "the day is blank" in words(asked.text)
    assert 'value="40 lb"' in asked.text
    assert files.load(visitor.path).applications == ()
    bought = {"product": "Urea 46-0-0", "count": "2", "kind": "bought", "on": ""}
    asked = visitor.send("/stock", **bought)
    assert asked.status_code == 422
    assert "the day is blank" in words(asked.text)
    assert files.load(visitor.path).purchases == ()
    for page in ("/records", "/stock"):  # a browser asks by itself
        days = re.findall(r'<input[^>]*name="on"[^>]*>', visitor.get(page).text)
        assert days
        assert all(" required" in day for day in days)


def test_a_file_waits_for_its_answers(visitor: Visitor) -> None:
    table = b"plot_id,product,done,amount,applied_on,operator\nAF-01,Urea 46-0-0,done,40 lb,2026-06-20,Ash\n"
    asked = visitor.send("/records", files={"file": ("done.csv", table)})
    assert "2026-06-20 is still to come" in words(asked.text)
    waiting = re.search(r'name="waiting" value="([^"]+)"', asked.text)
    question = re.search(r'name="(answer\.date[^"]*)"', asked.text)
    assert waiting
    assert question
    visitor.send("/records", waiting=waiting[1], **{question[1]: "it is right"})
    assert [one.applied_on.isoformat() for one in files.load(visitor.path).applications] == ["2026-06-20"]
    again = visitor.send("/records", waiting=waiting[1])
    assert "not held any more" in words(again.text)


def test_the_amount_filled_in_can_be_sent_and_the_rest_of_a_part_is_offered(visitor: Visitor) -> None:
    season.make_plan(visitor.path, season.PlanOptions(time_limit_s=3), TODAY)
    line = next(
        row for row in season.view(visitor.path, TODAY).statuses if row.line_id and row.planned_kg > 100
    )

    def offered() -> str:
        cell = visitor.get("/records").text.partition(f'value="{line.plot_id}"><input type="hidden"')
        found = re.search(r'name="amount"[^>]*value="([^"]*)"', cell[2])
        assert found
        return found[1]

    assert float(offered().removesuffix(" lb")) * LB == pytest.approx(line.planned_kg, rel=1e-5)
    form = {"plot": line.plot_id, "product": line.product, "on": "2026-05-02"}
    visitor.send("/records", **form, amount="40 lb", reason="rain")
    assert float(offered().removesuffix(" lb")) * LB == pytest.approx(line.planned_kg - 40 * LB, rel=1e-5)
    visitor.send("/records", **form, amount=offered(), operator="Ash")
    assert sum(one.mass_kg for one in files.load(visitor.path).applications) == pytest.approx(
        line.planned_kg, rel=1e-5
    )


def test_a_new_property_that_was_refused_can_be_sent_again(visitor: Visitor, tmp_path: Path) -> None:
    form = {"name": "Birch Knoll", "folder": str(tmp_path), "season": "2026", "units": "metric", "at": ""}
    refused = visitor.send("/new", **form, currency="Euro", machine="")
    assert "not a currency code" in words(refused.text), refused.text[:400]
    made = visitor.send("/new", **form, currency="EUR", machine="")
    assert files.load(tmp_path / "birch_knoll.gpkg").info.currency == "EUR", words(made.text)[:400]


def test_hopper_mates_are_decided_on_a_page(visitor: Visitor) -> None:
    pair = "Blend 19-19-19 + Urea 46-0-0"
    assert f"{pair}: they may not , it caked in the shed last spring" in visitor.text("/decisions")
    answer = visitor.send("/decisions/mix", pair=pair, may="yes", because="a dry bag kept for a week")
    assert f"{pair}: they may , a dry bag kept for a week" in words(answer.text)
    refused = visitor.send("/decisions/mix", pair=pair, may="no", because="")
    assert refused.status_code == 422
    assert "no reason is given" in words(refused.text)


def test_an_unknown_need_has_ways_on_and_a_wrong_crop_is_told_at_once(visitor: Visitor) -> None:
    unknown = visitor.get("/plots/AF-13").text
    assert "To know it:" in unknown
    assert "/add/soil-test?plot=AF-13&amp;from=%2Fplots%2FAF-13" in unknown
    assert "does not name &#39;winter rye&#39;" in visitor.get("/needs").text
    form = visitor.form("/edit/cropping/AF-13%202026?from=/plots/AF-13")
    said = words(visitor.send("/edit/cropping/AF-13%202026", **form | {"crop": "red clovr"}).text)
    assert "None of the chosen guidelines names 'red clovr'. Did you mean red clover?" in said
    mended = words(visitor.send("/edit/cropping/AF-13%202026", **form | {"crop": "red clover"}).text)
    assert "None of the chosen guidelines" not in mended


def test_each_reader_gets_their_orders(visitor: Visitor) -> None:
    """Booklet, driver's sheet and the planner's set are offered; a round alone by its number."""
    season.make_plan(visitor.path, season.PlanOptions(time_limit_s=3), TODAY)
    page = visitor.get("/orders").text
    for what in ("helper", "driver", "planner"):
        assert f'href="/orders/{what}?' in page
    assert visitor.get("/orders/planner").content[:2] == b"PK"  # orders, arithmetic and list in one archive
    assert visitor.get("/orders/helper?round=1").content[:5] == b"%PDF-"
    assert "no round" in words(visitor.get("/orders/helper?round=99").text)
    assert 'href="/orders/helper?round=1"' in page


# ---------------------------------------------------------------------------------------------
# The plan checklist


def test_the_checklist_page_has_a_place_for_each_entry(visitor: Visitor) -> None:
    shown = visitor.text("/checklist")
    for number, title in files.load_checklist().items():
        assert f"{number} {title[:1].upper()}{title[1:]}" in shown


def test_an_entry_is_noted_by_whom_and_when_is_told_and_taken_back(visitor: Visitor) -> None:
    upkeep.fill_checklist(visitor.path, "1.4", "", "Parcel 7", TODAY, "Ada")
    shown = visitor.text("/checklist")
    assert "by Ada" in shown
    answer = visitor.send("/checklist", number="1.3", plot="", was="", text="Some <County>")
    assert "<County>" not in answer.text  # it is text, not a tag
    assert files.load(visitor.path).checklist[("1.3", "")] == "Some <County>"
    newest = upkeep.changes(visitor.path)[-1]
    assert f"change {newest.change}" in words(answer.text)
    visitor.send(f"/undo/{newest.change}", **{"from": "/checklist"})
    assert ("1.3", "") not in files.load(visitor.path).checklist
    assert files.load(visitor.path).checklist[("1.4", "")] == "Parcel 7"


def test_an_entry_of_one_plot_stands_beside_that_of_the_property_and_is_cleared(visitor: Visitor) -> None:
    visitor.send("/checklist", number="4.8", plot="AF-01", was="", text="wet in May")
    card = visitor.get("/checklist").text.split('id="n-4-8"')[1].split("</section>")[0]
    assert [label in card for label in (">The property<", ">Plot AF-01<", "<option>AF-01")] == [
        True,
        True,
        False,
    ]
    visitor.send("/checklist", number="4.8", plot="", was="", text="thin stands")
    kept = {key: text for key, text in files.load(visitor.path).checklist.items() if key[0] == "4.8"}
    assert kept == {("4.8", ""): "thin stands", ("4.8", "AF-01"): "wet in May"}
    visitor.send("/checklist", number="4.8", plot="AF-01", was="wet in May", text="")
    assert ("4.8", "AF-01") not in files.load(visitor.path).checklist
    assert files.load(visitor.path).checklist[("4.8", "")] == "thin stands"


def test_an_entry_somebody_else_wrote_meanwhile_is_asked_about(visitor: Visitor) -> None:
    upkeep.fill_checklist(visitor.path, "1.3", "", "Theirs", TODAY, "")
    mine = {"number": "1.3", "plot": "", "was": "", "text": "Mine"}
    answer = visitor.send("/checklist", **mine)
    assert answer.status_code == 422
    assert "It was empty when you began, and is Theirs now" in words(answer.text)
    assert 'value="Mine"' in answer.text
    assert files.load(visitor.path).checklist[("1.3", "")] == "Theirs"
    visitor.send("/checklist", **mine | {"answer.text": "mine"})
    assert files.load(visitor.path).checklist[("1.3", "")] == "Mine"


def test_a_number_or_plot_that_is_not_there_is_told(visitor: Visitor) -> None:
    for fields, told in (
        ({"number": "9.9", "plot": ""}, "'9.9' is no number of the list"),
        ({"number": "1.3", "plot": "ZZ"}, "ZZ"),
    ):
        answer = visitor.send("/checklist", was="", text="x", **fields)
        assert answer.status_code == 422
        assert told in words(answer.text)


@pytest.mark.parametrize(("answer", "name"), [("keep", "By GIS"), ("restore", "Creek bend")])
def test_what_another_program_changed_is_kept_or_put_back_on_the_page(
    visitor: Visitor, answer: str, name: str
) -> None:
    def plot_name() -> str:
        return next(p.name for p in files.load(visitor.path).plots if p.plot_id == "AF-01")

    upkeep.set_fields(visitor.path, "plot", "AF-01", ("name=Creek bend",), TODAY, "")
    assert "Keep what another program changed" not in visitor.text("/property?check=yes")
    with closing(sqlite3.connect(visitor.path)) as db, db:
        db.execute("UPDATE plots SET name = 'By GIS' WHERE plot_id = 'AF-01'")
    told = visitor.text("/property?check=yes")
    assert "another program changed its name: Creek bend → By GIS" in told
    after = words(visitor.send("/property?check=yes", outside=answer).text)
    assert "Take it back" in after
    assert "Everything is as it should be." in after
    assert plot_name() == name
