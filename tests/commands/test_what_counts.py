"""What a soil test has seen, by the one rule, for fertilizer, manure, compost and lime; parts; projections.

Red clover at 2 ton/acre, 9 ppm Bray P1, 95 ppm K, pH 5.4, on a square of a thousandth of a degree. Its
needs are those of `needs` before anything went on; what comes off is plain arithmetic from the labels.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from command_line import WHOLE_LIME, box, ran_well, run, worked_files
from places import independent_area_m2
from pypdf import PdfReader
from stories.test_plan_contents import map_contents
from stories.test_three_seasons import Clock

ACRES = independent_area_m2(box()[:-1]) / 4046.8564224
SEASON, SAMPLED = 2026, dt.date(2026, 4, 20)
BEFORE, AFTER = (SAMPLED + dt.timedelta(days=days) for days in (-3, 3))


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sampled on 20 April 2026; today is the first of June."""
    Clock(monkeypatch).set("2026-06-01")
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(tmp_path, SAMPLED))
    ran_well("set", path, "settings", WHOLE_LIME, "keeper=Steward", "least_job_share=0")
    return path


def need(path: Path, nutrient: str) -> dict[str, Any]:
    plots = {row["plot_id"]: row for row in run("needs", path).data["plots"]}
    if nutrient == "lime":
        return dict(plots["A-1"]["lime"])
    return dict(next(row for row in plots["A-1"]["needs"] if row["nutrient"] == nutrient))


def spread(path: Path, product: str, amount: str, on: dt.date) -> Any:
    done = run("record", path, "--plot", "A-1", "--product", product, "--amount", amount, "--on", on)
    assert done.code in (0, 1), done.text
    return done


# ---------------------------------------------------------------------------------------------
# Seen by the test, or not


@pytest.mark.parametrize(("on", "counts"), [(BEFORE, False), (SAMPLED, False), (AFTER, True)])
def test_fertilizer_by_the_day_of_the_sample(own: Path, on: dt.date, counts: bool) -> None:
    """40 lb of 0-0-60 are 24 lb K2O."""
    first = need(own, "K2O")["lb"]
    spread(own, "Potash 0-0-60", "40 lb", on)
    assert need(own, "K2O")["lb"] == pytest.approx(first - (24 if counts else 0))


@pytest.mark.parametrize(("on", "counts"), [(BEFORE, False), (SAMPLED, False), (AFTER, True)])
def test_lime_by_the_day_of_the_sample(own: Path, on: dt.date, counts: bool) -> None:
    """1,000 lb of a lime of 1,100 lb ENP a ton are 550 lb ENP."""
    first = need(own, "lime")["lb"]
    spread(own, "Ag lime", "1000 lb", on)
    assert need(own, "lime")["lb"] == pytest.approx(first - (550 if counts else 0))


@pytest.mark.parametrize("material", ["beef manure", "yard compost"])
@pytest.mark.parametrize(("on", "counts"), [(BEFORE, False), (SAMPLED, False), (AFTER, True)])
def test_manure_and_compost_by_the_day_of_the_sample(
    own: Path, material: str, on: dt.date, counts: bool
) -> None:
    """2 ton/acre at 8 lb K2O a ton, all of it usable by the keeper's own share: 16 lb K2O/acre."""
    first = need(own, "K2O")["lb_per_acre"]
    words = (f"material={material}", "amount=2 ton/acre", "k2o_lb_per_ton=8", "available_k2o_pct=100")
    ran_well("add", own, "organic", "M-1", "plot=A-1", f"applied_on={on}", *words)
    assert need(own, "K2O")["lb_per_acre"] == pytest.approx(first - (16 if counts else 0), abs=1e-6)
    steps = run("explain", own, "A-1", "K2O", as_json=False).text
    if not counts:
        assert str(SAMPLED) in steps
        assert "not taken off again" in steps


def test_the_same_day_is_before_and_said(own: Path) -> None:
    spread(own, "Potash 0-0-60", "40 lb", SAMPLED)
    (said,) = [p for p in run("needs", own).data["problems"] if "on the day" in p["what"]]
    assert "taken as before it" in said["what"]
    assert "K2O" in said["what"]
    assert said["level"] == "note"


def test_a_sample_without_a_date_is_asked_for_and_the_season_stands_in(own: Path) -> None:
    (row,) = ran_well("show", own, "soil-tests")["listed"]
    ran_well("set", own, "soil-test", row[0], "sampled_on=clear")
    (said,) = [p for p in run("needs", own).data["problems"] if "date of sampling" in p["what"]]
    assert f"soil test {row[0]}" in said["where"]
    assert f"set soil-test {row[0]} sampled_on=" in said["fix"]
    first = need(own, "K2O")["lb"]
    spread(own, "Potash 0-0-60", "40 lb", BEFORE)  # in the season: it counts until the date is known
    assert need(own, "K2O")["lb"] == pytest.approx(first - 24)


# ---------------------------------------------------------------------------------------------
# What went on after the newest test


def test_projections_count_from_the_newest_test_and_what_is_planned_when_asked(own: Path) -> None:
    """Bray P1 9 ppm. By E-2567 20 lb P2O5 move it by one ppm; the crop takes 10 lb/acre.

    MAP before the sample counts for nothing, 20 lb of it after bring 10.4 lb P2O5.
    """
    spread(own, "MAP 11-52-0", "50 lb", BEFORE)
    spread(own, "MAP 11-52-0", "20 lb", AFTER)
    words = ("project", own, "a-1", "P2O5", "--removed", "10 lb/acre")
    found = ran_well(*words)
    assert found["to_low_ppm"] == pytest.approx(9 + (20 * 0.52 / ACRES - 10) / 20)
    plan = run("plan", own).data
    planned = sum(line["mass_lb"] for line in plan["lines"] if line["product"] == "MAP 11-52-0")
    assert planned
    assert ran_well(*words)["to_low_ppm"] == pytest.approx(found["to_low_ppm"])
    with_plan = ran_well(*words, "--planned")
    assert with_plan["to_low_ppm"] == pytest.approx(9 + ((20 + planned) * 0.52 / ACRES - 10) / 20)
    assert any("with what is planned" in step["what"] for step in with_plan["steps"])

    rows = {r["supply"]: r for r in ran_well("history", own, "A-1")["plots"][0]["since_test"]}
    assert rows["P2O5"]["applied_lb"] == pytest.approx(20 * 0.52)
    assert rows["P2O5"]["planned_lb"] is None
    assert rows["P2O5"]["sampled_on"] == str(SAMPLED)
    assert "N" not in rows
    rows = {r["supply"]: r for r in ran_well("history", own, "A-1", "--planned")["plots"][0]["since_test"]}
    assert rows["P2O5"]["planned_lb"] == pytest.approx(planned * 0.52)
    # Half of it is put on: what is planned still is the other half.
    spread(own, "MAP 11-52-0", f"{planned / 2} lb", AFTER)
    rows = {r["supply"]: r for r in ran_well("history", own, "A-1", "--planned")["plots"][0]["since_test"]}
    assert rows["P2O5"]["applied_lb"] == pytest.approx((20 + planned / 2) * 0.52)


def test_milligrams_in_a_hundred_grams_are_projected_too(own: Path) -> None:
    """0.9 mg/100 g are 9 mg/kg, 9 ppm; 20 lb/acre out at 20 lb per ppm: 1 ppm lower."""
    (row,) = ran_well("show", own, "soil-tests")["listed"]
    ran_well("set", own, "soil-test", row[0], "p=0.9", "p_unit=mg/100 g")
    found = ran_well("project", own, "A-1", "P2O5", "--removed", "20 lb/acre")
    assert (found["from_ppm"], found["to_low_ppm"]) == pytest.approx((9, 8))


def test_planning_again_when_all_is_done_forgets_no_need(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All the K2O goes on, and a plan is made after: the season's crop has had it, and the next gets none."""
    first = need(own, "K2O")["lb"]
    run("plan", own)
    spread(own, "Potash 0-0-60", f"{first / 0.60} lb", dt.date(2026, 5, 20))
    run("plan", own, "--reason", "after spreading")
    rows = ran_well("history", own, "A-1")["plots"][0]["balances"]
    (k2o,) = [row for row in rows if row["supply"] == "K2O"]
    assert (k2o["need_lb"], k2o["applied_lb"]) == (pytest.approx(first), pytest.approx(first))
    Clock(monkeypatch).set("2027-03-01")
    ran_well("season", "next", own)
    assert need(own, "K2O")["lb"] == pytest.approx(first)  # nothing of it is left over for 2027


# ---------------------------------------------------------------------------------------------
# A part of a plot


def test_what_is_left_of_a_plot_is_a_job_with_its_acres_on_plan_order_and_map(
    own: Path, tmp_path: Path
) -> None:
    """40 lb K2O/acre are asked for; half the plot gets them all: 40 x A/2 / 0.60 lb of potash."""
    asked = need(own, "K2O")["lb_per_acre"]
    half = ACRES / 2
    amount = asked * half / 0.60
    done = run(
        *("record", own, "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", f"{amount} lb"),
        *("--area", f"{half} acre", "--part", "south", "--on", AFTER),
    )
    assert done.code in (0, 1), done.text
    rest = need(own, "K2O")
    assert rest["lb"] == pytest.approx(asked * half, rel=1e-6)
    assert rest["lb_per_acre"] == pytest.approx(asked)
    plan = run("plan", own).data
    (line,) = [one for one in plan["lines"] if one["product"] == "Potash 0-0-60"]
    assert line["rate_lb_per_acre"] == pytest.approx(line["mass_lb"] / half, rel=1e-3)
    assert any(f"{half:.2f} acres only" in one["text"] for one in plan["cautions"])
    ran_well("orders", own, tmp_path / "orders")
    ran_well("map", own, tmp_path / "map.html")
    pages = PdfReader(tmp_path / "orders" / "work_orders.pdf").pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert f"{half:.2f} acres of {ACRES:.2f} acres: the rest has had it" in text
    assert f"{half:.2f} acres" in map_contents(tmp_path / "map.html")
