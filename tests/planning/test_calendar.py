"""Windows and placement, against the pages the calendar cites."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from loamwright.files import load_calendar, load_ground_rules
from loamwright.land.records import Cropping
from loamwright.planning.calendar import dated_jobs, placed_in_time
from loamwright.planning.inputs import Demand
from loamwright.planning.records import Job, PlanLine
from loamwright.values import OwnWindow, Supply, Timing, WorkRules

ROWS = load_calendar()
TODAY = dt.date(2026, 4, 1)


def dated(
    crop: str,
    seeding: bool | None,
    supply: Supply,
    rules: WorkRules | None = None,
    timing: Timing | None = None,
    months: tuple[int, ...] = (),
) -> Job:
    line = PlanLine("L", "a", "it", timing, 100.0, 10.0)
    job = Job("J", "a", timing, "", ("L",), 10.0, 100.0, Decimal(0))
    croppings = {"a": Cropping("a", 2026, crop, seeding=seeding)}
    serves = {"it": (supply,)}
    (found,) = dated_jobs(
        [job], [line], serves, croppings, ROWS, rules or WorkRules(), 2026, TODAY, {"a": months}
    )
    return found


def test_phosphate_for_a_clover_seeding_is_worked_in_before() -> None:
    # "broadcast and incorporate before seeding" (University of Minnesota Extension, red clover page)
    (demand,) = placed_in_time(
        [Demand(Supply.P2O5, 10.0)], Cropping("a", 2026, "red clover", seeding=True), ROWS, ""
    )
    assert demand.timing is Timing.BEFORE_PLANTING
    job = dated("red clover", True, Supply.P2O5, timing=Timing.BEFORE_PLANTING)
    assert job.window is not None
    assert (job.window.label, job.placement) == ("before seeding", "worked in before seeding")
    assert "University of Minnesota Extension" in job.reason


def test_a_states_days_hold_in_that_state_only() -> None:
    # 15 February to 15 March (University of Kentucky, Master Grazer); by 1 April it is past
    job = dated("grass pasture", False, Supply.N, WorkRules(state="Kentucky"))
    assert job.window is not None
    assert "past on 2026-03-15" in job.window.label
    assert (job.window.opens, job.window.closes) == (dt.date(2027, 2, 15), dt.date(2027, 3, 15))
    elsewhere = dated("grass pasture", False, Supply.N)
    assert elsewhere.window is None
    assert "no page read gives a time" in elsewhere.reason


def test_what_is_not_stated_is_a_reason() -> None:
    assert "not stated" in dated("red clover", None, Supply.P2O5).reason


def test_the_users_window_comes_before_any_page() -> None:
    own = OwnWindow(Timing.BEFORE_PLANTING, (4, 20), (5, 10), "red clover", "when the creek is down")
    job = dated("red clover", True, Supply.P2O5, WorkRules(windows=(own,)), Timing.BEFORE_PLANTING)
    assert job.window is not None
    assert job.window.label == "when the creek is down"
    assert (job.window.opens, job.window.closes) == (dt.date(2026, 4, 20), dt.date(2026, 5, 10))
    assert job.placement == "worked in before seeding"  # the page still says how


def test_a_window_ends_where_the_way_in_is_closed() -> None:
    own = OwnWindow(Timing.BEFORE_PLANTING, (4, 20), (5, 10))
    rules = WorkRules(windows=(own,))
    job = dated("red clover", True, Supply.P2O5, rules, Timing.BEFORE_PLANTING, (5, 6, 7, 8, 9, 10))
    assert job.window is not None
    assert (job.window.opens, job.window.closes) == (dt.date(2026, 5, 1), dt.date(2026, 5, 10))
    assert "the way in is open in May to October only" in job.reason
    shut = dated("red clover", True, Supply.P2O5, rules, Timing.BEFORE_PLANTING, (1, 2, 12))
    assert shut.window is not None
    assert (shut.window.opens, shut.window.closes) == (dt.date(2026, 4, 20), dt.date(2026, 5, 10))
    assert "the way in is open in December to February only, outside this window" in shut.reason
    undated = dated("red clover", True, Supply.P2O5, None, Timing.BEFORE_PLANTING, (4, 6))
    assert "the way in is open in April, June only" in undated.reason


def test_ground_rules_are_those_of_the_law_texts() -> None:
    rules = {(rule.state, rule.kind): rule for rule in load_ground_rules()}
    assert (
        "7 December to 15 February" in rules["Delaware", "not between"].rule
    )  # Nutrient Management section 6.0
    assert "more than 1 inch in 12 hours" in rules["Ohio", "rain"].rule  # Ohio Revised Code 905.326
    assert all(str(rule.source) for rule in rules.values())
