"""One job told by two phones, or by phone and paper: what is asked, what is added, that nothing doubles."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import pytest
from command_line import TODAY, Ran, run

#: A day still to come.
SOON = (TODAY + dt.timedelta(days=2)).isoformat()
LB_KG = 0.45359237  # the exact pound
PLOT, PRODUCT = "AF-01", "MAP 11-52-0"


@pytest.fixture
def demo(the_demo: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(the_demo / "alder_fork.gpkg", tmp_path))


def of_job(demo: Path) -> dict[str, float]:
    lines = run("status", demo).data["lines"]
    (found,) = [row for row in lines if (row["plot_id"], row["product"]) == (PLOT, PRODUCT)]
    return found


def brings(demo: Path, ident: str, mass_lb: float, *words: str, **changes: object) -> Ran:
    """What a phone's file of one entry comes to."""
    entry = {
        "entry_id": ident,
        "plot_id": PLOT,
        "product": PRODUCT,
        "done": "done",
        "applied_on": "2026-05-20",
        "mass_kg": mass_lb * LB_KG,
        "operator": f"Helper {ident}",
        "recorded_at": "2026-05-20T10:00:00",
        **changes,
    }
    file = demo.with_name(f"{ident}.json")
    file.write_text(json.dumps({"format": "loamwright-records", "version": 1, "entries": [entry]}))
    return run("record", demo, file, *words)


def asked(ran: Ran) -> list[str]:
    assert ran.code == 2, ran.text
    return [one["id"] for one in ran.data["questions"]]


@pytest.mark.parametrize(
    ("answer", "new", "times"), [("the same work", 0, 1), ("instead of it", 1, 1), ("on top of it", 1, 2)]
)
def test_two_phones_report_one_job(demo: Path, answer: str, new: int, times: int) -> None:
    planned = of_job(demo)["planned_lb"]
    assert len(brings(demo, "a1", planned).data["new"]) == 1
    before = demo.read_bytes()
    assert asked(brings(demo, "b1", planned)) == ["again.b1"]
    assert demo.read_bytes() == before
    settled = brings(demo, "b1", planned, "--answer", f"again.b1={answer}")
    assert len(settled.data["new"]) == new
    assert of_job(demo)["applied_lb"] == pytest.approx(times * planned, rel=1e-3)
    if new:  # the same file once more changes nothing and asks nothing
        again = brings(demo, "b1", planned)
        assert again.code in (0, 1), again.text
        assert again.data["new"] == []
        assert of_job(demo)["applied_lb"] == pytest.approx(times * planned, rel=1e-3)


def test_what_the_phone_told_is_asked_about_when_it_is_typed_from_paper(demo: Path) -> None:
    planned = of_job(demo)["planned_lb"]
    brings(demo, "a1", planned)
    typed = ("--plot", PLOT, "--product", PRODUCT, "--operator", "Steward", "--amount", f"{planned} lb")
    assert asked(run("record", demo, *typed)) == ["again"]
    assert run("record", demo, *typed, "--answer", "again=the same work").data["new"] == []
    assert of_job(demo)["applied_lb"] == pytest.approx(planned, rel=1e-3)


def test_parts_are_added_until_they_are_more_than_the_job(demo: Path) -> None:
    """0.5 + 0.55 = 1.05 of the job is added; with 0.1 more it is 1.15, past the 1.1 that is let through."""
    planned = of_job(demo)["planned_lb"]
    assert len(brings(demo, "a1", 0.5 * planned, done="part", part="east").data["new"]) == 1
    assert len(brings(demo, "b1", 0.55 * planned, done="part", part="west").data["new"]) == 1
    assert of_job(demo)["applied_lb"] == pytest.approx(1.05 * planned, rel=1e-3)
    assert asked(brings(demo, "c1", 0.1 * planned, done="part", part="gate")) == ["again.c1"]


@pytest.mark.parametrize(
    ("answer", "stands_lb"), [("the same work", 80), ("instead of it", 90), ("on top of it", 170)]
)
def test_two_files_correct_one_entry(demo: Path, answer: str, stands_lb: float) -> None:
    """100 lb, corrected to 80 by one file and to 90 by another: 80 + 90 = 170 only if somebody says so."""
    brings(demo, "a1", 100)
    assert len(brings(demo, "b1", 80, replaces="a1", reason="weighed").data["new"]) == 1
    second = {"replaces": "a1", "reason": "counted bags"}
    assert asked(brings(demo, "c1", 90, **second)) == ["again.c1"]
    assert of_job(demo)["applied_lb"] == pytest.approx(80)
    brings(demo, "c1", 90, "--answer", f"again.c1={answer}", **second)
    assert of_job(demo)["applied_lb"] == pytest.approx(stands_lb)


def in_one_file(demo: Path, *entries: dict[str, object]) -> tuple[object, ...]:
    """The words that bring a file of several entries."""
    file = demo.with_name("both.json")
    same = {"plot_id": PLOT, "product": PRODUCT, "done": "done", "applied_on": "2026-05-20"}
    whole = [{**same, "recorded_at": "2026-05-20T10:00:00", "operator": "Helper", **one} for one in entries]
    file.write_text(json.dumps({"format": "loamwright-records", "version": 2, "entries": whole}))
    return "record", demo, file


@pytest.mark.parametrize(
    ("answer", "times"), [("the same work", 1), ("instead of it", 1), ("on top of it", 2)]
)
def test_two_entries_of_one_file_claim_one_job(demo: Path, answer: str, times: int) -> None:
    planned = of_job(demo)["planned_lb"]
    both = [{"entry_id": key, "mass_kg": planned * LB_KG, "operator": key} for key in ("a1", "b1")]
    words, before = in_one_file(demo, *both), demo.read_bytes()
    assert asked(run(*words)) == ["again.b1"]
    assert demo.read_bytes() == before
    assert run(*words, "--answer", f"again.b1={answer}").code in (0, 1)
    assert of_job(demo)["applied_lb"] == pytest.approx(times * planned, rel=1e-3)


@pytest.mark.parametrize(
    ("answer", "stands_lb"), [("the same work", 80), ("instead of it", 90), ("on top of it", 170)]
)
def test_two_lines_of_one_file_correct_one_entry(demo: Path, answer: str, stands_lb: float) -> None:
    brings(demo, "a1", 100)
    corrects = {"replaces": "a1", "reason": "weighed"}
    both = [{"entry_id": k, "mass_kg": lb * LB_KG, **corrects} for k, lb in (("b1", 80), ("c1", 90))]
    words = in_one_file(demo, *both)
    assert asked(run(*words)) == ["again.c1"]
    assert run(*words, "--answer", f"again.c1={answer}").code in (0, 1)
    assert of_job(demo)["applied_lb"] == pytest.approx(stands_lb)


@pytest.mark.parametrize("turned", [False, True])
def test_an_entry_and_its_correction_come_in_one_file(demo: Path, turned: bool) -> None:
    """Nothing is asked: only the correction stands, whichever comes first."""
    planned = of_job(demo)["planned_lb"]
    both = [
        {"entry_id": "a1", "mass_kg": planned * LB_KG},
        {"entry_id": "b1", "mass_kg": planned * 0.98 * LB_KG, "replaces": "a1", "reason": "weighed"},
    ]
    told = run(*in_one_file(demo, *(reversed(both) if turned else both)))
    assert told.code in (0, 1), told.text
    assert of_job(demo)["applied_lb"] == pytest.approx(0.98 * planned, rel=1e-3)


def test_what_an_unknown_product_brought_is_said_to_be_unknown(demo: Path) -> None:
    told = brings(demo, "a1", 50, product="Neighbour's mix")
    assert len(told.data["new"]) == 1
    assert told.says("Neighbour's mix", "unknown")


def test_an_undo_takes_a_whole_file_back(demo: Path) -> None:
    file = demo.with_name("both.json")
    brings(demo, "a1", 50)
    kept = of_job(demo)["applied_lb"]
    entry = {"plot_id": PLOT, "product": PRODUCT, "done": "part", "applied_on": "2026-05-21", "mass_kg": 1.0}
    entries = [{**entry, "entry_id": ident, "recorded_at": "2026-05-21T10:00:00"} for ident in ("b1", "c1")]
    for one, part in zip(entries, ("east", "west"), strict=True):
        one["part"] = part
    file.write_text(json.dumps({"format": "loamwright-records", "version": 1, "entries": entries}))
    assert len(run("record", demo, file).data["new"]) == 2
    assert of_job(demo)["applied_lb"] > kept
    taken_back = run("undo", demo)
    assert taken_back.code == 0, taken_back.text
    assert of_job(demo)["applied_lb"] == kept
    again = run("record", demo, file)  # the file comes once more: it is not lost without a word
    assert (again.code, again.data["new"]) == (1, [])
    assert sum("was taken back: it does not count" in said for said in again.problems) == 2


def test_a_report_on_a_plan_that_is_not_kept_here_says_so(demo: Path) -> None:
    told = brings(demo, "c1", 100, plan_id="another-plan", job_id="J-none")
    assert told.code in (0, 1), told.text
    assert told.says("job J-none of plan another-plan", "not kept here", "differs")
    assert not brings(demo, "c2", 0, done="not done", reason="rain", applied_on="2026-05-21").says(
        "not kept here"
    )


@pytest.mark.parametrize(
    ("kind", "changes"),
    [
        ("amount", {"times": 100}),  # a hundred times the plan, past the 1.5 that is let through
        ("date", {"applied_on": SOON}),
        ("again", {}),
    ],
)
@pytest.mark.parametrize("verb", ["record", "import"])
def test_both_roads_ask_the_same_of_a_report(
    demo: Path, kind: str, changes: dict[str, object], verb: str
) -> None:
    """`record` and `import` ask alike, store nothing until it is answered, and take it as it was answered."""
    planned = of_job(demo)["planned_lb"]
    if kind == "again":
        brings(demo, "a1", planned)
    said = dict(changes)
    times = float(said.pop("times", 1))  # type: ignore[arg-type]
    words = in_one_file(demo, {"entry_id": "b1", "mass_kg": times * planned * LB_KG, **said})[2]
    before = demo.read_bytes()
    assert asked(run(verb, demo, words)) == [f"{kind}.b1"]
    assert demo.read_bytes() == before
    answer = "on top of it" if kind == "again" else "it is right"
    taken = run(verb, demo, words, "--answer", f"{kind}.b1={answer}")
    assert taken.code in (0, 1), taken.text
    if kind == "date":
        return
    on_lb = (times + 1 if kind == "again" else times) * planned
    assert of_job(demo)["applied_lb"] == pytest.approx(on_lb, rel=1e-3)
    again = run(verb, demo, words)  # the same file once more asks nothing
    assert again.code in (0, 1), again.text


@pytest.mark.parametrize("verb", ["record", "import"])
def test_a_book_asks_of_each_line_by_itself(demo: Path, verb: str) -> None:
    """Two lines whose ids begin alike are two questions: one answer must not settle both."""
    book = demo.with_name("book.csv")
    rows = [f"spring-2026-{n},AF-0{n},MAP 11-52-0,done,{SOON},10 lb,Steward" for n in (1, 2)]
    book.write_text("\n".join(["entry_id,plot_id,product,done,applied_on,amount,operator", *rows]) + "\n")
    words = (verb, demo, book)
    assert asked(run(*words)) == ["date.spring-2026-1", "date.spring-2026-2"]
    assert asked(run(*words, "--answer", "date.spring-2026-1=it is right")) == ["date.spring-2026-2"]


def test_an_import_looks_at_a_report_without_keeping_it(demo: Path) -> None:
    """A preview shows what will be asked, and an answer nobody asked for is refused."""
    file = in_one_file(demo, {"entry_id": "b1", "mass_kg": 1.0, "applied_on": SOON})[2]
    before = demo.read_bytes()
    seen = run("import", demo, file, "--preview")
    assert [one["id"] for one in seen.data["questions"]] == ["date.b1"]
    strange = run("import", demo, file, "--answer", "date.b1=it is right", "--answer", "date.c1=it is right")
    assert strange.says("no question is called date.c1")
    assert demo.read_bytes() == before


@pytest.mark.parametrize("verb", ["record", "import"])
def test_a_report_names_a_plot_by_its_former_id(demo: Path, verb: str) -> None:
    """A phone whose page is older than a plot's new id: its file is held against that plot, twice alike."""
    planned = of_job(demo)["planned_lb"]
    file = in_one_file(demo, {"entry_id": "b1", "mass_kg": 100 * planned * LB_KG})[2]
    assert run("rename", demo, "plot", PLOT, "N-01").code == 0
    assert asked(run(verb, demo, file)) == ["amount.b1"]
    assert run(verb, demo, file, "--answer", "amount.b1=it is right").code in (0, 1)
    assert run(verb, demo, file).code in (0, 1)


@pytest.mark.parametrize("verb", ["record", "import"])
def test_a_book_of_another_season_is_told_of_once(demo: Path, verb: str) -> None:
    book = demo.with_name("book.csv")
    rows = [f"b{n},AF-0{n},MAP 11-52-0,done,2024-05-2{n},10 lb,Steward" for n in (1, 2, 3)]
    book.write_text("\n".join(["entry_id,plot_id,product,done,applied_on,amount,operator", *rows]) + "\n")
    told = [text for text in run(verb, demo, book).problems if "of season 2024, not of 2026" in text]
    assert len(told) == 1
    assert told[0].startswith("3 entries, applied_on")


@pytest.mark.parametrize("verb", ["record", "import"])
@pytest.mark.parametrize("done", ["done", "part"])
def test_nothing_put_on_is_never_done(demo: Path, verb: str, done: str) -> None:
    file = in_one_file(demo, {"entry_id": "b1", "mass_kg": 0, "done": done})[2]
    assert run(verb, demo, file).says("entry b1, amount", f"reported as {done}, and the amount is zero")


def test_every_screen_and_page_says_in_the_same_words_how_a_job_stands(demo: Path) -> None:
    """`record`, `status` and paper: one sentence, where `status` had the bare word."""
    from loamwright import season
    from loamwright.handoff.round_sheets import state_words

    planned = of_job(demo)["planned_lb"]
    sentence = f"part: 40.0 lb of {planned:.1f} lb is on"
    words = ("--plot", PLOT, "--product", PRODUCT, "--operator", "Steward", "--amount", "40 lb")
    recorded = run("record", demo, *words, "--reason", "rain", as_json=False)
    assert f"→ {PLOT} {PRODUCT}: {sentence}" in recorded.text
    assert sentence in run("status", demo, as_json=False).text
    view = season.view(demo, TODAY)
    (row,) = [one for one in view.statuses if (one.plot_id, one.product) == (PLOT, PRODUCT)]
    assert state_words(row, "us").startswith(f"{sentence}, ")
    (beside,) = [one.said("us") for one in view.statuses if one.plot_id == "AF-03" and one.beside_plan]
    assert beside == "done, 150.0 lb, before the plan"  # as the demo's record has it
    open_rows = [one for one in view.statuses if one.line_id and not one.applied_kg]
    assert {one.said("us") for one in open_rows} == {"nothing yet"}
