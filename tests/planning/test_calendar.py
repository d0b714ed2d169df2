"""Windows and placement, against the pages the calendar cites."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest

from loamwright.files import load_calendar, load_ground_rules
from loamwright.land.records import Cropping
from loamwright.planning.calendar import dated_jobs, placed_in_time, split_faults
from loamwright.planning.inputs import Demand
from loamwright.planning.records import Job, PlanLine, Window
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
        [Demand(Supply.P2O5, 10.0)], Cropping("a", 2026, "red clover", seeding=True), ROWS, WorkRules()
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


GRASS = Cropping("a", 2026, "grass pasture", seeding=False)
JUNE = OwnWindow(Timing.TOPDRESS, (6, 1), (6, 20), "", "June", of="N", share=0.6)
AUGUST = OwnWindow(Timing.AFTER_HARVEST, (8, 1), (8, 31), "", "August", of="N", share=0.4)


def times(rules: WorkRules, kg: float, whole: float, supply: Supply = Supply.N) -> dict[Timing | None, float]:
    found = placed_in_time([Demand(supply, kg)], GRASS, ROWS, rules, {supply: whole})
    return {one.timing: pytest.approx(one.mass_kg) for one in found}


def test_wisconsin_halves_are_two_trips() -> None:
    """Half early June, half mid-August (University of Wisconsin-Madison Extension, 2020): 50 and 50 kg."""
    rules = WorkRules(state="Wisconsin")
    assert times(rules, 100, 100) == {Timing.TOPDRESS: 50, Timing.AFTER_HARVEST: 50}
    june = dated("grass pasture", False, Supply.N, rules, Timing.TOPDRESS)
    august = dated("grass pasture", False, Supply.N, rules, Timing.AFTER_HARVEST)
    assert june.window is not None
    assert august.window is not None
    assert (june.window.opens, june.window.closes) == (dt.date(2026, 6, 1), dt.date(2026, 6, 10))
    assert (august.window.opens, august.window.closes) == (dt.date(2026, 8, 10), dt.date(2026, 8, 20))
    # a need whose own source gives its time is not split by another's page
    kept = placed_in_time([Demand(Supply.N, 100.0, Timing.TOPDRESS)], GRASS, ROWS, rules)
    assert kept == (Demand(Supply.N, 100.0, Timing.TOPDRESS),)


def test_the_users_split_comes_over_any_other() -> None:
    """60 and 40 of 100 kg; with 70 on, June's 60 are met and 30 of August's 40 are left; K2O is not split."""
    rules = WorkRules(state="Wisconsin", windows=(JUNE, AUGUST))
    assert times(rules, 100, 100) == {Timing.TOPDRESS: 60, Timing.AFTER_HARVEST: 40}
    assert times(rules, 30, 100) == {Timing.AFTER_HARVEST: 30}
    assert times(rules, 50, 50, Supply.K2O) == {None: 50}
    over = placed_in_time([Demand(Supply.N, 100.0, Timing.TOPDRESS)], GRASS, ROWS, rules)
    assert {one.timing: one.mass_kg for one in over} == {Timing.TOPDRESS: 60, Timing.AFTER_HARVEST: 40}
    half = WorkRules(windows=(replace(JUNE, share=0.5),))
    assert times(half, 100, 100) == {Timing.TOPDRESS: 50, None: 50}  # the rest is free in time
    on_clover = WorkRules(windows=(replace(JUNE, crop="red clover"),))
    assert times(on_clover, 100, 100) == {None: 100}


def test_a_window_of_one_nutrient_or_product_is_for_that_alone() -> None:
    lime = OwnWindow(Timing.AFTER_HARVEST, (9, 1), (10, 31), "", "when it is dry", of="lime")
    rules = WorkRules(windows=(lime,))
    assert times(rules, 900, 900, Supply.LIME_ENP) == {Timing.AFTER_HARVEST: 900}
    assert times(rules, 10, 10) == {None: 10}
    found = dated("grass pasture", False, Supply.LIME_ENP, rules, Timing.AFTER_HARVEST)
    assert found.window == Window("when it is dry", dt.date(2026, 9, 1), dt.date(2026, 10, 31))
    assert dated("grass pasture", False, Supply.N, rules, Timing.AFTER_HARVEST).window != found.window
    of_it = WorkRules(windows=(replace(lime, of="IT", opens=(5, 1)),))  # the product of these jobs
    free = dated("grass pasture", False, Supply.N, of_it)
    assert free.window == Window("when it is dry", dt.date(2026, 5, 1), dt.date(2026, 10, 31))


def test_splits_that_cannot_be_are_named() -> None:
    (over,) = split_faults([JUNE, replace(AUGUST, share=0.6)])
    assert (over.where, over.what) == ("settings, windows of N", "the shares add up to 120%")
    (twice,) = split_faults([JUNE, replace(AUGUST, timing=Timing.TOPDRESS)])
    assert "at one time of the season, top-dress" in twice.what
    assert (
        split_faults([JUNE, AUGUST, replace(JUNE, crop="oats"), OwnWindow(Timing.TOPDRESS, (1, 1), (2, 1))])
        == ()
    )


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
