"""The demo kept for three seasons: its balances added up again from the labels by plain arithmetic.

0-0-60 holds 60 % K2O, urea 46 % N. What a plot needs before anything went on is read once, on the first day;
the tables behind it have tests of their own (`test_demo_story`).
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from command_line import ran_well, run
from pypdf import PdfReader
from stories.test_three_seasons import Clock, balance, need, spread

UREA, POTASH = "Urea 46-0-0", "Potash 0-0-60"


@pytest.mark.slow
def test_three_seasons_of_the_demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock(monkeypatch)
    clock.set("2026-09-25")
    run("demo", tmp_path)
    path = tmp_path / "alder_fork.gpkg"
    ran_well("set", path, "settings", "season_start=09-01", "least_job_share=0", "keeper=Steward")

    # Fall 2026: potash before the sample is in it, potash after it is not.
    spread(path, "AF-17", POTASH, "100 lb", "2026-09-20")
    clock.set("2026-10-05")
    lab = ("sampled_on=2026-10-01", "depth=0-6 in", "ph=6.6", "lab=Lab Alder (invented)")
    figures = ("p=9", "p_unit=ppm", "p_extractant=Bray P1", "k=60", "k_unit=ppm")
    ran_well(
        *("add", path, "soil-test", "F-17", "plot=AF-17", *lab, *figures),
        "k_extractant=ammonium acetate",
    )
    started = run("season", "next", path).data
    assert started["season"] == 2027
    assert {"AF-17", "AF-18"} <= set(started["goes_on"])  # hay goes on
    assert {"AF-04", "AF-09"} <= set(started["to_decide"])  # brassica and oats do not
    # The lab's rates of 2026 were for the hay of 2026: they go on by decision.
    assert need(path, "AF-18", "N")["state"] == "to decide"
    ran_well("decide", path, "AF-18", "N", "published", "--because", "the same hay")
    k2o, nitrogen = need(path, "AF-17", "K2O"), need(path, "AF-18", "N")
    assert balance(path, "AF-17", "K2O")["applied_lb"] == 0  # the 100 lb of September: seen
    clock.set("2026-11-05")
    spread(path, "AF-17", POTASH, "200 lb", "2026-11-05")
    assert need(path, "AF-17", "K2O")["lb"] == pytest.approx(max(0.0, k2o["lb"] - 200 * 0.60))

    # Spring 2027: urea on the hay; the lab corrects its figure, and that is taken back.
    clock.set("2027-04-20")
    spread(path, "AF-18", UREA, "100 lb", "2027-04-20")
    assert need(path, "AF-18", "N")["lb"] == pytest.approx(max(0.0, nitrogen["lb"] - 100 * 0.46))
    before = need(path, "AF-17", "P2O5")["lb"]
    number = ran_well("set", path, "soil-test", "F-17", "p=40")["change_id"]
    assert need(path, "AF-17", "P2O5")["lb"] < before
    ran_well("undo", path, number)
    assert need(path, "AF-17", "P2O5")["lb"] == pytest.approx(before)

    # Another crop, and two crops in one season: the needs are those of what grows.
    ran_well("set", path, "cropping", "AF-04 2027", "crop=oats", "yield_goal=60 bu/acre")
    shown = {f["name"]: f["value"] for f in ran_well("show", path, "cropping", "AF-04 2027")["fields"]}
    assert shown["previous_crop"] == "brassica"
    ran_well(
        "set", path, "cropping", "AF-09 2027", "crop=oats", "yield_goal=60 bu/acre", "sown_on=2027-04-15"
    )

    # Part of a meadow: 40 lb N/acre are decided; 4 acres get 60 lb N each, the rest still asks for 40.
    ran_well("decide", path, "AF-17", "N", "40 lb/acre", "--because", "thin stand")
    whole = need(path, "AF-17", "N")
    assert whole["lb_per_acre"] == pytest.approx(40)
    meadow = whole["lb"] / 40
    done = run(
        *("record", path, "--plot", "AF-17", "--product", UREA, "--amount", f"{4 * 60 / 0.46} lb"),
        *("--area", "4 acre", "--part", "east", "--on", "2027-04-19"),
    )
    assert done.code in (0, 1), done.text
    rest = need(path, "AF-17", "N")
    assert rest["lb"] == pytest.approx((meadow - 4) * 40, rel=1e-4)
    assert rest["lb_per_acre"] == pytest.approx(40)

    # Plan, buy what it asks for, plan again: nothing is bought twice, and the plan is not old for it.
    plan = run("plan", path, "--gap", "0.02", "--time-limit", "20", "--reason", "spring").data
    for buy in plan["buy"]:
        if buy["count"]:
            words = ("--package", buy["package"], "--paid", buy["cost"])
            bought = run("purchase", path, buy["product"], buy["count"], *words)
            assert bought.code in (0, 1), bought.text
    assert run("status", path).data["plan_made_before"] == []
    again = run("plan", path, "--gap", "0.02", "--time-limit", "20", "--reason", "all is bought").data
    assert again["cost"]["purchase"] <= 0.05 * plan["cost"]["purchase"]

    # Summer: the oats are cut, brassica follows on the same ground.
    clock.set("2027-08-01")
    added = run("add", path, "cropping", "AF-09 2027", "crop=brassica", "sown_on=2027-07-25")
    assert added.code == 1  # the page that was chosen does not name it, and that is said
    ran_well("set", path, "cropping", "AF-09 2027 1", "ended_on=2027-07-20")
    told = [p["what"] for p in run("needs", path).data["problems"]]
    assert any("oats, then brassica in 2027: the needs shown are for brassica" in what for what in told)

    # The third season. What was 2027's is printed again as it ended, to the pound.
    ended = {
        (row["plot_id"], row["nutrient"]): (row["need_lb"], row["applied_lb"])
        for row in run("status", path).data["balance"]
    }
    assert ended["AF-17", "K2O"] == (pytest.approx(k2o["lb"]), pytest.approx(120))
    assert ended["AF-18", "N"] == (pytest.approx(nitrogen["lb"]), pytest.approx(46))
    assert ended["AF-17", "N"][1] == pytest.approx(240)
    clock.set("2027-09-05")
    third = run("season", "next", path).data
    assert third["season"] == 2028
    assert ("AF-17", "N", "thin stand") in {tuple(row) for row in third["decide_again"]}
    then = {
        (row["plot_id"], row["nutrient"]): (row["need_lb"], row["applied_lb"])
        for row in run("status", path, "--season", 2027).data["balance"]
    }
    for key in (("AF-17", "K2O"), ("AF-18", "N"), ("AF-17", "N")):
        assert then[key] == pytest.approx(ended[key])
    run("report", path, tmp_path / "again", "--season", 2027)
    pages = PdfReader(tmp_path / "again" / "season_record.pdf").pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "200.0 lb" in text
    # Nothing of it is owed to, or left over for, the third season: the hay of 2027 has had its potash.
    left = max(0.0, 120 - k2o["lb"])
    assert balance(path, "AF-17", "K2O")["applied_lb"] == pytest.approx(left, abs=1e-6)
    assert balance(path, "AF-18", "N")["applied_lb"] == 0

    assert ran_well("check", path)["sound"]
    changes = ran_well("changes", path)["changes"]
    assert [row["change"] for row in changes] == list(range(1, len(changes) + 1))


README = Path(__file__).parents[2] / "README.md"


def test_the_readmes_change_undo_and_next_season_are_what_happens(
    the_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every line under a command of that section stands in what it prints; dates and numbers may move."""
    shutil.copytree(the_demo, tmp_path / "alder-fork-demo")
    monkeypatch.chdir(tmp_path)
    section = README.read_text(encoding="utf-8").split("## Change it, take it back")[1].split("## A tour")[0]
    blocks = re.findall(r"^\$ loamwright (.*)\n((?:(?!\$|```).*\n)*)", section, re.M)
    assert len(blocks) == 5
    for typed, lines in blocks:
        printed = _undated(run(*typed.split(), as_json=False).text)
        for line in lines.splitlines():
            assert _undated(" ".join(line.split())) in printed, (typed, line)


def _undated(text: str) -> str:
    """Text without its dates, and numbers of changes and years, which move with the day and the demo."""
    return re.sub(r"\d{4}-\d\d-\d\d|(?<=[Cc]hange )\d+|(?<=undo )\d+|20\d\d", "#", text)
