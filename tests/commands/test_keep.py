"""Keeping a property from the command line: one grammar, refusals that change nothing, undo, seasons.

The law of the exit codes is held against the file itself: after code 2 its bytes are the same.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from command_line import SEASON, TODAY, planned_property, ran_well, run, worked_files, written
from pypdf import PdfReader


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return planned_property(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "own.gpkg"))


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_id(own: Path) -> str:
    (row,) = ran_well("show", own, "soil-tests")["listed"]
    return str(row[0])


test_id.__test__ = False  # type: ignore[attr-defined]


def value(own: Path, thing: str, name: str, field: str) -> str:
    rows = ran_well("show", own, thing, name, "--all")["fields"]
    (row,) = [row for row in rows if row["name"] == field]
    return str(row["value"])


# ---------------------------------------------------------------------------------------------
# One grammar


def test_a_split_of_more_than_all_is_refused_when_planned(own: Path) -> None:
    ran_well("set", own, "settings", "window.June=top-dress; 06-01 to 06-20; of N; share 60 %")
    ran_well("set", own, "settings", "window.fall=after harvest; 08-01 to 08-31; of N; share 60 %")
    before = digest(own)
    answer = run("plan", own)
    assert (answer.code, digest(own)) == (2, before)
    assert answer.says("windows of N", "the shares add up to 120%", "100 % at most")


def test_a_plot_has_bands_of_its_own(own: Path) -> None:
    ran_well("set", own, "plot", "A-1", "bands=N 95 % to 100 %; lime ENP 90 % to 110 %")
    assert value(own, "plot", "A-1", "bands") == "N 95 % to 100 %; lime ENP 90 % to 110 %"
    ran_well("rename", own, "plot", "A-1", "Creek")
    assert value(own, "plot", "Creek", "bands") == "N 95 % to 100 %; lime ENP 90 % to 110 %"
    before = digest(own)
    wrong = {"N 101 % to 110 %": "no band around the need", "Q 95 % to 100 %": "'Q 95 % to 100 %'"}
    for typed, said in wrong.items():
        answer = run("set", own, "plot", "Creek", f"bands={typed}")
        assert (answer.code, digest(own)) == (2, before)
        assert said in answer.text
    ran_well("set", own, "plot", "Creek", "bands=clear")
    assert value(own, "plot", "Creek", "bands") in ("", "—", "None")


def test_a_package_says_its_mass(own: Path) -> None:
    """Added or corrected, as when a price list is read: 50 lb and 25 lb, not what stood there before."""
    ran_well("add", own, "offer", "MAP-2", "product=MAP 11-52-0", "package=50 lb bag", "price=33")
    assert value(own, "offer", "MAP-2", "package_mass") == "50 lb"
    ran_well("set", own, "offer", "MAP-2", "package=25 lb bag")
    assert value(own, "offer", "MAP-2", "package_mass") == "25 lb"
    ran_well("set", own, "offer", "MAP-2", "package_mass=22.5 lb", "package=2.5 gal jug")
    assert value(own, "offer", "MAP-2", "package_mass") == "22.5 lb"
    ran_well("set", own, "offer", "MAP-2", "package=1 gal jug")
    assert value(own, "offer", "MAP-2", "package_mass") == ""  # a volume: unknown, not the one before
    ran_well("set", own, "offer", "MAP-2", "package=1 ton bulk")
    assert value(own, "offer", "MAP-2", "divisible") == "yes"
    ran_well("set", own, "offer", "MAP-2", "divisible=no", "package=1 ton bulk")
    assert value(own, "offer", "MAP-2", "divisible") == "no"
    ran_well("set", own, "offer", "MAP-2", "increment=100 lb", "package=ton")  # steps are of what is weighed
    assert value(own, "offer", "MAP-2", "divisible") == "yes"
    refused = run("set", own, "offer", "MAP-2", "divisible=no")
    assert refused.says("MAP-2, divisible", "Clear its increment")
    ran_well("set", own, "offer", "MAP-2", "divisible=no", "increment=clear")
    assert value(own, "offer", "MAP-2", "divisible") == "no"
    refused = run("set", own, "offer", "MAP-2", "package=a bag")
    assert refused.code == 2
    assert refused.says("MAP-2, package", "a bag")


def test_set_changes_the_named_field_and_nothing_else(own: Path) -> None:
    sample = test_id(own)
    before = {row["name"]: row["value"] for row in ran_well("show", own, "soil-test", sample)["fields"]}
    done = ran_well("set", own, "Soil test", sample.upper(), "ph=6.1")
    assert done["fields"] == [["ph", "5.4", "6.1"]]
    after = {row["name"]: row["value"] for row in ran_well("show", own, "soil-test", sample)["fields"]}
    assert after == {**before, "ph": "6.1"}


def test_a_value_says_which_change_it_came_from(own: Path) -> None:
    number = ran_well("set", own, "plot", "a-1", "narrowest=9 ft")["change_id"]
    (row,) = [r for r in ran_well("show", own, "plot", "A-1")["fields"] if r["name"] == "narrowest"]
    assert row["value"] == "9 ft"
    assert f"change {number} (" in row["came_from"]
    assert "by Steward" in row["came_from"]


def test_names_and_ids_in_any_case_and_near_spellings(own: Path) -> None:
    assert ran_well("show", own, "plot", "alder")["id"] == "A-1"
    assert run("show", own, "plot", "Aldr-1").code == 2
    assert run("show", own, "plt", "A-1").says("'plt'", "Did you mean plot")
    assert run("set", own, "plot", "A-1", "nme=x").says("'nme'", "Did you mean name?", "weight_limit")
    assert run("set", own, "plot", "A-1", "crop=rye").says("crop is a field of cropping")


def test_clearing_is_a_word_never_a_blank(own: Path) -> None:
    ran_well("set", own, "plot", "A-1", "notes=wet in May")
    assert run("set", own, "plot", "A-1", "notes=").says("the value is blank", "notes=clear")
    assert value(own, "plot", "A-1", "notes") == "wet in May"
    ran_well("set", own, "plot", "A-1", "notes=clear")
    assert value(own, "plot", "A-1", "notes") == ""


def test_two_crops_in_one_season_and_the_needs_say_whose_they_are(own: Path) -> None:
    ran_well("add", own, "cropping", f"A-1 {SEASON}", "crop=oats")
    assert len(ran_well("show", own, "croppings")["listed"]) == 3
    assert run("set", own, "cropping", "A-1", "use=left").says(
        "several croppings", f"'A-1 {SEASON} 2' (oats)"
    )
    needs = run("needs", own).data
    assert any("red clover, then oats" in p["what"] for p in needs["problems"])


# ---------------------------------------------------------------------------------------------
# Refused means unchanged


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("set", "plot", "A-1", "weight=heavy"), "'heavy'"),
        (("set", "plot", "Z-9", "name=x"), "Z-9"),
        (("set", "plot", "A-1", "entrance=500, 1"), "not on the globe"),
        (("set", "settings", "season_start=13-45"), "13-45"),
        (("set", "settings", "lime_dose_limit=much"), "much"),
        (("add", "soil-test", "T-9", "plot=Z-9", "ph=6"), "Z-9"),
        (("add", "soil-test", "T-9", "plot=A-1", "p=9"), "the unit of P 9 is missing"),
        (("add", "plot", "A-9", "name=x"), "not added by hand"),
        (("retire", "product", "Potash 0-0-60", "--because", "gone"), "in use"),
        (("retire", "plot", "A-1"), "no reason"),
        (("rename", "plot", "A-1", "A-2"), "another plot"),
        (("rename", "product", "Ag lime", "Lime"), "kept for ever"),
        (("undo", "99"), "no change 99"),
        (("purchase", "Moon dust", "3"), "Moon dust"),
        (("purchase", "Potash 0-0-60", "three"), "three"),
        (("decide", "A-1", "N", "much", "--because", "x"), "much"),
        (("decide", "A-1", "Q", "0", "--because", "x"), "'Q'"),
        (("decide", "A-1", "N", "0"), "no reason"),
        (("note", "99.9", "x"), "99.9"),
        (("record", "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "much"), "much"),
    ],
)
def test_refused_and_nothing_was_changed(own: Path, words: tuple[str, ...], said: str) -> None:
    before = digest(own)
    command, *rest = words
    done = run(command, own, *rest)
    assert (done.code, digest(own)) == (2, before), done.text
    assert said in done.text


@pytest.mark.parametrize(
    "words",
    [
        *(("show", "plots"), ("changes",), ("check",), ("needs",), ("status",), ("stock",), ("decide",)),
        *(("explain", "A-1"), ("history",), ("backup",)),
    ],
)
def test_looking_changes_nothing(own: Path, words: tuple[str, ...]) -> None:
    before = digest(own)
    command, *rest = words
    assert run(command, own, *rest).code in (0, 1)
    assert digest(own) == before


def test_a_guideline_that_was_moved_leaves_the_needs_and_every_command_working(own: Path) -> None:
    """Its copy in the property is used; without a copy what goes by it is unknown, never a failure."""
    with closing(sqlite3.connect(own)) as db, db:
        db.execute("UPDATE property SET guideline = 'moved-away'")
        db.execute("UPDATE kept_editions SET edition = 'moved-away' WHERE edition = 'umn-forage-2011'")
    kept = run("needs", own).data
    assert any("copy kept in the property is used" in p["what"] for p in kept["problems"])
    (need,) = [n for n in kept["plots"][0]["needs"] if n["nutrient"] == "P2O5"]
    assert need["state"] == "needed"
    with closing(sqlite3.connect(own)) as db, db:
        db.execute("DELETE FROM kept_editions")
    (gone,) = [n for n in run("needs", own).data["plots"][0]["needs"] if n["nutrient"] == "P2O5"]
    assert gone["state"] == "unknown"
    done = run("record", own, "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "10 lb")
    assert done.code in (0, 1)
    assert len(done.data["new"]) == 1
    for command in ("status", "history", "stock"):
        assert run(command, own).code in (0, 1)


# ---------------------------------------------------------------------------------------------
# Undo, retiring, renaming


def test_undo_and_undo_of_undo(own: Path) -> None:
    number = ran_well("set", own, "plot", "A-1", "name=North")["change_id"]
    undone = ran_well("undo", own)
    back = undone["change_id"]
    assert [(row[1], row[2]) for row in undone["fields"]] == [("North", "Alder")]  # before, after
    assert value(own, "plot", "A-1", "name") == "Alder"
    assert run("undo", own, number).says("taken back already", f"change {back}")
    ran_well("undo", own, back)
    assert value(own, "plot", "A-1", "name") == "North"


def test_undo_is_refused_when_a_later_change_builds_on_it(own: Path) -> None:
    first = ran_well("set", own, "plot", "A-1", "name=North")["change_id"]
    second = ran_well("set", own, "plot", "A-1", "name=South")["change_id"]
    before = digest(own)
    assert run("undo", own, first).says("name changed since", f"change {second}")
    assert digest(own) == before


def test_an_application_is_withdrawn_never_erased(own: Path) -> None:
    ran = run("record", own, "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "40 lb")
    entry = ran.data["new"][0]["entry_id"]
    assert run("status", own).data["balance"] != []
    ran_well("undo", own)
    with closing(sqlite3.connect(own)) as db:
        rows = db.execute("SELECT entry_id, withdrawn, replaces FROM applications ORDER BY fid").fetchall()
    assert [(row[1], row[2]) for row in rows] == [(0, ""), (1, entry)]
    k2o = [b for b in run("status", own).data["balance"] if (b["plot_id"], b["nutrient"]) == ("A-1", "K2O")]
    assert k2o[0]["applied_lb"] == 0


def test_a_correction_that_is_taken_back_leaves_what_it_corrected(own: Path) -> None:
    entry = ("--plot", "A-1", "--product", "Potash 0-0-60", "--on", str(TODAY))
    first = run("record", own, *entry, "--amount", "40 lb").data["new"][0]["entry_id"]

    def on_lb() -> float:
        rows = run("status", own).data["balance"]
        return sum(row["applied_lb"] for row in rows if (row["plot_id"], row["nutrient"]) == ("A-1", "K2O"))

    assert on_lb() == pytest.approx(24)  # 40 lb of 60 %
    second = run("record", own, *entry, "--amount", "35 lb", "--corrects", first)
    third = run("record", own, *entry, "--amount", "30 lb", "--corrects", second.data["new"][0]["entry_id"])
    assert third.data["new"]
    assert on_lb() == pytest.approx(18)
    ran_well("undo", own)
    assert on_lb() == pytest.approx(21)
    back = ran_well("undo", own)["change_id"]
    assert on_lb() == pytest.approx(24)
    ran_well("undo", own, back)
    assert on_lb() == pytest.approx(21)


def test_a_renamed_plot_keeps_everything_and_its_old_name_still_finds_it(own: Path, tmp_path: Path) -> None:
    before = [need["lb"] for need in run("needs", own).data["plots"][0]["needs"]]
    ran_well("rename", own, "plot", "A-1", "Creek")
    assert [need["lb"] for need in run("needs", own).data["plots"][0]["needs"]] == before
    assert ran_well("show", own, "plot", "a-1")["id"] == "Creek"
    # A records file made from the map of before still finds its plot.
    entry = {
        "entry_id": "E-1",
        "plot_id": "A-1",
        "product": "Potash 0-0-60",
        "done": "done",
        "applied_on": f"{SEASON}-01-02",
        "mass_kg": 5,
    }
    file = {"format": "loamwright-records", "version": 1, "entries": [entry]}
    records = written(tmp_path / "records.json", json.dumps(file))
    assert run("record", own, records).data["new"][0]["plot_id"] == "Creek"
    assert run("rename", own, "plot", "A-2", "A-1").says("once was")


def test_a_retired_plot_leaves_lists_and_plans_and_its_id_is_never_used_again(
    own: Path, tmp_path: Path
) -> None:
    assert run("retire", own, "plot", "A-1", "--because", "given back").says("the plan puts")
    done = run("retire", own, "plot", "A-1", "--because", "given back", "--anyway")
    assert done.code == 1  # it warns of what used it
    assert [row[0] for row in ran_well("show", own, "plots")["listed"]] == ["A-2"]
    assert {plot["plot_id"] for plot in run("needs", own).data["plots"]} == {"A-2"}
    assert run("show", own, "plot", "A-1").says("was retired on", "given back")
    assert run("import", own, worked_files(tmp_path)[0]).says("never used again")
    assert run("status", own).code in (0, 1)
    assert run("map", own, tmp_path / "m.html", "--old").code in (0, 1)


# ---------------------------------------------------------------------------------------------
# Somebody else's hand


def test_a_plot_deleted_with_a_gis_is_named_and_nothing_falls_over(own: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(own)) as db, db:
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute("DELETE FROM plots WHERE plot_id = 'A-1'")
    found = run("status", own)
    assert found.code in (0, 1)
    needs = run("needs", own).data
    assert any("plot 'A-1'" in p["what"] and "another program" in p["what"] for p in needs["problems"])
    for words in (("map", tmp_path / "m.html", "--old"), ("orders", tmp_path, "--old"), ("history",)):
        assert run(words[0], own, *words[1:]).code in (0, 1)
    assert not ran_or_warned(own)["sound"]


def ran_or_warned(own: Path) -> dict[str, object]:
    done = run("check", own)
    assert done.code in (0, 1)
    return dict(done.data)


def test_a_foreign_trigger_is_named_never_run_and_taken_out_on_request(own: Path) -> None:
    with closing(sqlite3.connect(own)) as db, db:
        db.execute("CREATE TRIGGER evil AFTER UPDATE ON plots BEGIN UPDATE soil_tests SET ph = 14; END")
    before = digest(own)
    assert run("set", own, "plot", "A-1", "name=x").says("trigger evil")
    assert digest(own) == before
    assert run("check", own).says("trigger evil")
    run("check", own, "--mend")
    ran_well("set", own, "plot", "A-1", "name=x")
    assert value(own, "soil-test", test_id(own), "ph") == "5.4"
    assert len(list(own.parent.glob("own.2*.gpkg"))) == 1  # the copy made before


def test_two_copies_are_held_against_each_other(own: Path, tmp_path: Path) -> None:
    other = Path(shutil.copy(own, tmp_path / "laptop.gpkg"))
    ran_well("set", own, "plot", "A-1", "name=Office")
    ran_well("set", other, "plot", "A-2", "notes=seen by the creek")
    found = ran_well("differs", own, other)
    assert [row["command"] for row in found["only_here"]] == ["set plot A-1 name=Office"]
    (there,) = found["only_there"]
    ran_well("differs", own, other, "--take", there["id"])
    assert value(own, "plot", "A-2", "notes") == "seen by the creek"
    assert ran_well("differs", own, other)["only_there"] == []


def test_a_copy_of_another_property_is_refused(own: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.gpkg"
    ran_well("new", other, "--name", "Elsewhere")
    assert run("differs", own, other).says("another property")


# ---------------------------------------------------------------------------------------------
# Buying, and a plan that knows its age


def test_carrying_a_plan_out_does_not_age_it_and_a_dearer_price_does(own: Path, tmp_path: Path) -> None:
    plan = run("plan", own, "--reason", "again").data
    buy = {row["product"]: row for row in plan["buy"]}
    ran_well("purchase", own, "MAP 11-52-0", buy["MAP 11-52-0"]["count"], "--paid", "34.00")
    line = next(row for row in plan["lines"] if row["product"] == "MAP 11-52-0")
    run("record", own, "--plot", "A-1", "--product", "MAP 11-52-0", "--amount", f"{line['mass_lb']} lb")
    assert run("status", own).data["plan_made_before"] == []
    assert run("map", own, tmp_path / "m.html").code == 0
    offer = next(row[0] for row in ran_well("show", own, "offers")["listed"] if "map" in row[0].lower())
    ran_well("set", own, "offer", offer, "price=50")
    (aged,) = run("status", own).data["plan_made_before"]
    assert "34.00 → MAP 11-52-0, 50 lb bag, 50" in aged
    for words in (("map", tmp_path / "m2.html"), ("orders", tmp_path), ("why",)):
        refused = run(words[0], own, *words[1:])
        assert refused.code == 2
        assert "34.00" in refused.text
    run("orders", own, tmp_path / "old", "--old")
    for name in ("work_orders.pdf", "planner_orders.pdf", "arithmetic.pdf"):
        pages = PdfReader(tmp_path / "old" / name).pages
        assert all("OLD PLAN" in page.extract_text() for page in pages)


def test_stock_is_counted_plus_bought_less_put_on(own: Path) -> None:
    ran_well("purchase", own, "potash 0-0-60", 2, "--counted")
    ran_well("purchase", own, "Potash 0-0-60", 3, "--paid", "63.00")
    run("record", own, "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "60 lb")
    (row,) = ran_well("stock", own)["stock"]
    # 2 + 3 bags of 50 lb less 60 lb: 190 lb.
    assert row["counted_lb"] + row["bought_lb"] - row["used_lb"] == pytest.approx(190)


def test_the_next_season(own: Path) -> None:
    done = run("season", "next", own)
    assert done.code == 0  # red clover goes on by itself: nothing is to decide
    assert (done.data["season"], done.data["goes_on"]) == (SEASON + 1, ["A-1", "A-2"])
    assert value(own, "cropping", f"A-1 {SEASON + 1}", "previous_crop") == "red clover"
    ran_well("undo", own)
    assert value(own, "settings", "", "season") == str(SEASON)


# ---------------------------------------------------------------------------------------------
# Import merges


def test_a_correction_with_two_columns_changes_one_figure_and_wipes_nothing(
    own: Path, tmp_path: Path
) -> None:
    sample = test_id(own)
    before = {row["name"]: row["value"] for row in ran_well("show", own, "soil-test", sample)["fields"]}
    fix = written(tmp_path / "fix.csv", f"test_id,plot_id,ph\n{sample},A-1,6.3\n")
    digest_before = digest(own)
    seen = run("import", own, fix, "--preview", "--as", "soil tests").data
    (found,) = seen["differences"]
    assert (found["state"], found["fields"]) == ("changed", [["ph", "5.4", "6.3"]])
    assert digest(own) == digest_before
    run("import", own, fix, "--as", "soil tests")
    after = {row["name"]: row["value"] for row in ran_well("show", own, "soil-test", sample)["fields"]}
    assert after == {**before, "ph": "6.3"}
    assert run("import", own, fix, "--as", "soil tests").data["differences"][0]["state"] == "unchanged"


def test_a_price_row_keeps_the_label(own: Path, tmp_path: Path) -> None:
    ran_well("set", own, "product", "Potash 0-0-60", "max_rate=200 lb/acre")
    prices = written(
        tmp_path / "prices.csv",
        "product,form,k2o,package,price,seller\nPotash 0-0-60,dry,60,50 lb bag,23.50,Store\n",
    )
    ran_well("import", own, prices)
    assert value(own, "product", "Potash 0-0-60", "max_rate") == "200 lb/acre"
    assert value(own, "product", "Potash 0-0-60", "k2o") == "60"
    offer = next(row[0] for row in ran_well("show", own, "offers")["listed"] if "potash" in row[0])
    assert value(own, "offer", offer, "price") == "23.50"


def test_settings_with_one_key_keep_the_rest(own: Path, tmp_path: Path) -> None:
    one = {"name": "Own ground", "season": SEASON, "settings": {"test_age_limit_years": 3}}
    ran_well("import", own, written(tmp_path / "property.json", json.dumps(one)))
    assert value(own, "settings", "", "lime_dose_limit") == "noble-worked-in"
    assert value(own, "settings", "", "keeper") == "Steward"
    assert value(own, "settings", "", "test_age_limit_years") == "3"


def test_our_own_zones_are_known_and_refused_as_plots(own: Path, tmp_path: Path) -> None:
    run("export", own, "geojson", tmp_path)
    zones = next(tmp_path.rglob("zones*.geojson"))
    assert run("import", own, zones, "--as", "plots").says("zones of a plan that loamwright wrote")


def test_a_season_of_a_year_to_come_is_not_started_by_a_second_press(own: Path) -> None:
    """The season at hand is this year's, so the first press starts the year to come."""
    assert run("season", "next", own).code == 0
    before = own.read_bytes()
    asked = run("season", "next", own)
    assert asked.code == 2
    assert [one["id"] for one in asked.data["questions"]] == [f"season-{SEASON + 2}"]
    assert own.read_bytes() == before
    again = run("season", "next", own, "--answer", f"season-{SEASON + 2}=start it")
    assert again.data["season"] == SEASON + 2


def test_a_season_that_is_over_is_printed_again_as_it_ended(own: Path, tmp_path: Path) -> None:
    run("plan", own)
    lines = run("status", own).data["lines"]
    before = {row["line_id"]: row["planned_lb"] for row in lines if row["line_id"]}
    assert before
    assert run("season", "next", own).code == 0
    then = run("status", own, "--season", SEASON).data["lines"]
    assert {row["line_id"]: row["planned_lb"] for row in then if row["line_id"]} == before
    assert not [row for row in run("status", own).data["lines"] if row["line_id"]]  # nothing is planned yet
    ran_well("orders", own, tmp_path / "again", "--season", SEASON)
    pages = PdfReader(tmp_path / "again" / "work_orders.pdf").pages
    assert all(f"season {SEASON} printed again" in page.extract_text() for page in pages)
    assert not any("OLD PLAN" in page.extract_text() for page in pages)
    unknown = run("orders", own, tmp_path, "--season", SEASON - 9)
    assert unknown.code == 2
    assert f"There are: {SEASON}, {SEASON + 1}." in unknown.text


def test_boundaries_go_out_while_the_plan_is_old_and_come_in_again_unchanged(
    own: Path, tmp_path: Path
) -> None:
    run("plan", own)
    ran_well("set", own, "cropping", "A-1", "yield_goal=4 ton/acre")
    assert run("export", own, "geojson", tmp_path / "all").code == 2  # the plan is old
    ran_well("export", own, "boundaries", tmp_path / "ground")
    again = run("import", own, *sorted((tmp_path / "ground").glob("*.geojson")), "--preview").data
    assert [row for row in again["differences"] if row["state"] != "unchanged"] == []


def test_a_decision_far_from_what_is_printed_is_asked_about(own: Path) -> None:
    """Red clover, Bray P1 9 ppm at 2 ton/acre: 25 lb P2O5/acre is printed; 90 is far from it, 30 is not."""
    before = digest(own)
    asked = run("decide", own, "A-1", "P2O5", "90 lb/acre", "--because", "it looks thin")
    assert asked.code == 2
    assert [one["id"] for one in asked.data["questions"]] == ["decide-A-1-P2O5"]
    assert "90 lb/acre is far from what is printed, 25 lb/acre" in asked.text
    assert digest(own) == before
    kept = ("--answer", "decide-A-1-P2O5=keep it")
    assert run("decide", own, "A-1", "P2O5", "90 lb/acre", "--because", "it looks thin", *kept).code == 0
    assert run("decide", own, "A-1", "P2O5", "30 lb/acre", "--because", "a little more").code == 0
    nothing = run("decide", own, "A-2", "P2O5", "50 %", "--because", "a guess")  # never sampled
    assert nothing.code == 2
    assert "no one published rate to take a share of" in nothing.text


def test_more_is_not_returned_than_there_is_without_a_word(own: Path) -> None:
    ran_well("purchase", own, "Potash 0-0-60", 2, "--counted")
    before = digest(own)
    asked = run("purchase", own, "Potash 0-0-60", 3, "--returned")
    assert asked.code == 2
    assert "150 lb of Potash 0-0-60 go back, and 100 lb are there" in asked.text.replace(".0 lb", " lb")
    assert digest(own) == before
    assert (
        run("purchase", own, "Potash 0-0-60", 3, "--returned", "--answer", "returned=it is right").code == 0
    )


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("soil-test", "TEST", "ph=13"), "is not between 2 and 12"),
        (("soil-test", "TEST", "k=300000"), "tenth of a plough layer"),
        (("settings", "cores_per_sample=200"), "whole number from 1 to 100"),
        (("settings", "cores_per_sample=2.5"), "is not a whole number"),
        (("settings", "max_products_per_plot=0"), "Write 1 or more"),
        (("settings", "test_age_limit_years=0"), "more than 0"),
        (("product", "Ag lime", "enp=9000"), "scores at most 2.5 lb per pound"),
        (("soil-test", "TEST", "rates_season=1907"), "is not between 1950 and 2099"),
        (("soil-test", "TEST", "rates_season=1907"), 'for example 2026."'),
        (("settings", "cost_per_haul=20000000"), "Write what it costs"),
    ],
)
def test_what_is_typed_is_held_to_the_bounds_of_files(own: Path, words: tuple[str, ...], why: str) -> None:
    before = digest(own)
    refused = run("set", own, *(test_id(own) if word == "TEST" else word for word in words))
    assert refused.code == 2
    assert why in refused.text
    assert digest(own) == before


def test_an_import_that_brought_a_product_and_its_load_is_taken_back(own: Path, tmp_path: Path) -> None:
    """The load was bought for good, so it is withdrawn; the product it is of stays with it."""
    tickets = written(
        tmp_path / "tickets.csv",
        "Savannah Ridge Quarry (invented)\n"
        "Ticket,Date,Product,ECCE %,Gross lb,Tare lb,Net lb\n"
        f"55231,{TODAY:%m/%d/%Y},Quarry lime,62,51340,26900,24440\n",
    )
    done = run("import", own, tickets)
    assert done.code in (0, 1), done.text
    lime = [row for row in ran_well("stock", own)["stock"] if row["product"] == "Quarry lime"]
    assert lime[0]["bought_lb"] == pytest.approx(24_440)
    told = ran_well("undo", own)
    assert ["product Quarry lime", "there", "taken out"] not in told["fields"]
    left = [row for row in ran_well("stock", own)["stock"] if row["product"] == "Quarry lime"]
    assert not left or left[0]["bought_lb"] == 0
    assert ran_well("check", own)["sound"]
    again = run("import", own, tickets)
    assert again.says("55231", "take back the change that retired it")
    ran_well("undo", own, told["change_id"])
    lime = [row for row in ran_well("stock", own)["stock"] if row["product"] == "Quarry lime"]
    assert lime[0]["bought_lb"] == pytest.approx(24_440)


@pytest.mark.parametrize("text", ["1.2", "1.2 meq/100 g", "1,2 cmol(+)/kg"])
def test_a_charge_is_typed_with_its_unit_or_without(own: Path, text: str) -> None:
    test = ran_well("show", own, "soil-tests")["listed"][0][0]
    ran_well("set", own, "soil-test", test, f"acidity={text}")
    shown = {row["name"]: row["value"] for row in ran_well("show", own, "soil-test", test)["fields"]}
    assert shown["acidity"] == "1.2 meq/100 g"


def test_a_charge_of_a_volume_of_soil_is_refused_with_the_way_to_it(own: Path) -> None:
    test = ran_well("show", own, "soil-tests")["listed"][0][0]
    told = run("set", own, "soil-test", test, "acidity=1.2 meq/100 cm3")
    assert told.says("is of a volume of soil", "weight per volume")
