"""Which planned line an entry answers, what that makes of the line, and what a plot is still owed.

All amounts are round numbers, so that each expected figure is worked out in the comment beside it.
Replay and correction chains over random histories: ``properties/test_ledger_properties.py``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from loamwright.errors import Level
from loamwright.needs.records import LimeNeed, Need, PlotNeeds
from loamwright.planning.records import Job, Outcome, Plan, PlanLine, Window
from loamwright.values import LimeBasis, NeedState, Nutrient, Timing
from loamwright.work.ledger import (
    applied_supplies,
    balances,
    lines_answered,
    season_entries,
    unknown_corrections,
)
from loamwright.work.ledger import line_statuses as line_statuses_of_season
from loamwright.work.records import Application, Done, LineStatus, WorkState

SPRING, FALL = Timing.TOPDRESS, Timing.AFTER_HARVEST


def line(line_id: str, timing: Timing | None = None, product: str = "Urea", kg: float = 100.0) -> PlanLine:
    return PlanLine(line_id, "A-1", product, timing, kg, kg)


def plan(*lines: PlanLine, counted: Sequence[str] = ()) -> Plan:
    no_cost = Decimal(0)
    return Plan(
        "P", Outcome.PROVED, 0.0, no_cost, no_cost, no_cost, lines=lines, counted_entries=tuple(counted)
    )


def entry(entry_id: str, kg: float, **more: Any) -> Application:
    words = {"plot_id": "A-1", "product": "Urea", "applied_on": dt.date(2026, 5, 1)} | more
    return Application(entry_id=entry_id, done=Done.DONE if kg else Done.NOT_DONE, mass_kg=kg, **words)


def line_statuses(made: Plan | None, entries: Sequence[Application]) -> tuple[LineStatus, ...]:
    return line_statuses_of_season(made, entries, 2026)


def states(found: Sequence[LineStatus]) -> list[tuple[str, float, str]]:
    return [(row.line_id, row.applied_kg, row.state.value) for row in found]


@pytest.mark.parametrize(
    ("applied_kg", "state"),
    [
        (0.0, WorkState.NOTHING),
        (1.0, WorkState.PART),
        (94.9, WorkState.PART),
        (95.0, WorkState.DONE),
        (100.0, WorkState.DONE),
        (105.0, WorkState.DONE),
        (105.1, WorkState.OVER),
    ],
)
def test_a_line_is_done_within_five_percent(applied_kg: float, state: WorkState) -> None:
    """UMass Extension, Rotary Spreader Calibration Procedures: within 5 % is close enough."""
    (row,) = line_statuses(plan(line("L")), [entry("e", applied_kg)])
    assert (row.planned_kg, row.applied_kg, row.state) == (100.0, applied_kg, state)


def test_portions_add_up_and_reasons_are_kept_in_order() -> None:
    entries = [entry("1", 30, reason="rain"), entry("2", 0, reason="too wet"), entry("3", 66)]
    (row,) = line_statuses(plan(line("L")), entries)
    assert (row.applied_kg, row.state, row.reasons) == (96.0, WorkState.DONE, ("rain", "too wet"))


@pytest.mark.parametrize(
    "other", [{"plot_id": "A-2"}, {"product": "MAP"}, {"line_id": "L-of-an-older-plan"}, {"timing": FALL}]
)
def test_an_entry_that_answers_no_line_is_listed_beside_the_plan(other: dict[str, Any]) -> None:
    found = line_statuses(plan(line("L", SPRING)), [entry("e", 40, **other)])
    assert states(found) == [("L", 0.0, "nothing yet"), ("", 40.0, "done")]
    assert found[1].planned_kg == 0.0


def test_a_line_for_any_time_is_answered_by_an_entry_of_any_time() -> None:
    """A table of entries says when; the plan left it open."""
    assert states(line_statuses(plan(line("L")), [entry("e", 100, timing=SPRING)])) == [("L", 100.0, "done")]


def test_an_entry_that_names_its_line_goes_there_whatever_its_timing() -> None:
    lines = plan(line("spring", SPRING), line("fall", FALL))
    found = line_statuses(lines, [entry("e", 100, line_id="fall", timing=SPRING)])
    assert states(found) == [("spring", 0.0, "nothing yet"), ("fall", 100.0, "done")]


def test_the_doses_of_a_split_fill_up_one_after_the_other() -> None:
    """Typed in by hand, entries name neither line nor timing."""
    lines = plan(line("spring", SPRING), line("fall", FALL))
    first, second, third = entry("1", 60), entry("2", 40), entry("3", 100)
    assert states(line_statuses(lines, [first, second])) == [
        ("spring", 100.0, "done"),
        ("fall", 0.0, "nothing yet"),
    ]
    assert states(line_statuses(lines, [first, second, third])) == [
        ("spring", 100.0, "done"),
        ("fall", 100.0, "done"),
    ]
    fall_first = line_statuses(lines, [entry("1", 100, timing=FALL), entry("2", 100)])
    assert states(fall_first) == [("spring", 100.0, "done"), ("fall", 100.0, "done")]


def test_what_a_plan_has_taken_off_is_not_set_against_it_again() -> None:
    """Nor is a correction of it: 40 kg were taken off, and it was really 25."""
    first, corrected = entry("1", 40), entry("2", 25, replaces="1")
    new_plan = plan(line("L"), counted=["1"])
    assert states(line_statuses(new_plan, [first])) == [("L", 0.0, "nothing yet"), ("", 40.0, "done")]
    found = line_statuses(new_plan, [first, corrected])
    assert states(found) == [("L", 0.0, "nothing yet"), ("", 25.0, "done")]
    again = entry("3", 30, replaces="2")  # and the correction of the correction: it was 30
    found = line_statuses(new_plan, [first, corrected, again, entry("4", 10)])
    assert states(found) == [("L", 10.0, "part"), ("", 30.0, "done")]  # 4 is new work


def test_without_a_plan_everything_applied_is_listed_once_per_product() -> None:
    found = line_statuses(None, [entry("1", 40), entry("2", 2), entry("3", 7, product="MAP"), entry("4", 0)])
    assert [(row.product, row.applied_kg) for row in found] == [("Urea", 42.0), ("MAP", 7.0)]


def test_corrections_and_other_years_do_not_count() -> None:
    """1 → 2 → 3 leaves 3; 4 is last year's."""
    entries = [
        entry("1", 100),
        entry("2", 50, replaces="1"),
        entry("3", 75, replaces="2"),
        entry("4", 10, applied_on=dt.date(2025, 10, 1)),
    ]
    assert [e.entry_id for e in season_entries(entries, 2026)] == ["3"]
    assert [e.entry_id for e in season_entries(entries, 2025)] == ["4"]


def test_corrections_that_leave_open_what_counts_are_named() -> None:
    found = unknown_corrections(
        [
            entry("1", 100),
            entry("2", 50, replaces="1"),
            entry("3", 75, replaces="1"),
            entry("4", 1, replaces="lost"),
        ]
    )
    assert [p.where for p in found] == ["record entry 3, replaces", "record entry 4, replaces"]
    assert "'1'" in found[0].what
    assert "'2'" in found[0].what
    assert "'lost'" in found[1].what
    assert {p.level for p in found} == {Level.WARNING}


def test_a_product_without_a_label_is_not_counted_as_nothing_in_silence() -> None:
    """100 kg urea at 46 % N and 10 kg of something unknown."""
    applied, problems = applied_supplies(
        [entry("1", 100), entry("2", 10, product="Old sack")], {"Urea": {"N": 0.46}}
    )
    assert applied == {"A-1": {"N": pytest.approx(46.0)}}
    (problem,) = problems
    assert "'Old sack'" in problem.what
    assert "A-1" in problem.what


def test_the_balance_sets_needs_against_what_was_delivered() -> None:
    """N 60 kg needed and 46 delivered; K2O unknown stays unknown; lime in the need's own basis."""
    needs = PlotNeeds(
        "A-1",
        (
            Need("A-1", Nutrient.N, NeedState.NEEDED, "", 60, 60, 60.0),
            Need("A-1", Nutrient.K2O, NeedState.UNKNOWN, "not tested"),
        ),
        LimeNeed("A-1", NeedState.NEEDED, "", LimeBasis.ENP, 1000, 1000.0),
    )
    found = balances({"A-1": needs}, {"A-1": {"N": 46.0, "lime ENP": 300.0, "lime CCE": 900.0}})
    assert [(row.supply, row.need_kg, row.applied_kg) for row in found] == [
        ("N", 60.0, 46.0),
        ("K2O", None, 0.0),
        ("lime ENP", 1000.0, 300.0),
    ]


def test_what_went_on_before_a_plan_is_told_apart_from_what_it_did_not_ask_for() -> None:
    before, strange = entry("old", 40), entry("new", 30, product="Lime")
    found = line_statuses(plan(line("L"), counted=["old"]), [before, strange])
    assert [(row.product, row.beside_plan) for row in found] == [
        ("Urea", ""),
        ("Urea", "before the plan"),
        ("Lime", "not in the plan"),
    ]


def with_jobs(made: Plan, plan_id: str, **jobs: dict[str, Any]) -> Plan:
    """A plan of that id, with a job for each line: line id to what its job says."""
    lines = tuple(replace(one, job_id=f"J-{one.line_id}") for one in made.lines)
    trips = tuple(
        Job(
            f"J-{one.line_id}",
            "A-1",
            one.timing,
            "",
            (one.line_id,),
            100,
            100,
            Decimal(0),
            **jobs[one.line_id],
        )
        for one in lines
    )
    return replace(made, plan_id=plan_id, lines=lines, jobs=trips, season=2026)


def days(opens: tuple[int, int], closes: tuple[int, int], year: int = 2026) -> dict[str, Any]:
    return {"window": Window("by the calendar", dt.date(year, *opens), dt.date(year, *closes))}


def answered(new: Plan, old: Plan, *entries: Application) -> dict[str, str]:
    found = lines_answered(new, entries, 2026, plans=(old, new))
    return {entry_id: one.line_id for entry_id, one in found.items()}


def told(entry_id: str, plan_id: str, line_id: str, **more: Any) -> Application:
    """An entry that says against which plan and job it was reported, as the phone does."""
    return entry(entry_id, 40, line_id=line_id, plan_id=plan_id, job_id=f"J-{line_id}", **more)


def test_an_entry_reported_against_this_plan_answers_the_job_it_names() -> None:
    """Whatever its timing: it was said of that job."""
    made = with_jobs(plan(line("may", SPRING), line("oct", FALL)), "P-2", may={}, oct={})
    assert answered(made, made, told("e", "P-2", "oct", timing=SPRING)) == {"e": "oct"}


def test_a_job_of_another_plan_for_all_of_a_plot_never_ticks_off_the_rest_of_it() -> None:
    old = with_jobs(plan(line("L", SPRING)), "P-1", L={})
    rest = with_jobs(plan(line("L", SPRING)), "P-2", L={"part": "rest"})
    assert answered(rest, old, told("e", "P-1", "L")) == {}
    assert answered(old, rest, told("e", "P-2", "L")) == {}
    assert answered(replace(rest, plan_id="P-3"), rest, told("e", "P-2", "L")) == {"e": "L"}
    assert answered(replace(old, plan_id="P-3"), old, told("e", "P-1", "L")) == {"e": "L"}


def test_a_job_of_another_plan_is_matched_whatever_its_line_is_called_now() -> None:
    old = with_jobs(plan(line("old", SPRING)), "P-1", old={})
    new = with_jobs(plan(line("new", SPRING), line("fall", FALL)), "P-2", new={}, fall={})
    assert answered(new, old, told("e", "P-1", "old")) == {"e": "new"}


def test_a_spring_job_of_another_plan_never_ticks_off_a_fall_job() -> None:
    """Two crops in one year: what is `before planting` in May is no answer to `before planting` in August."""
    before = Timing.BEFORE_PLANTING
    may, august = days((4, 15), (5, 31)), days((8, 1), (9, 1))
    old = with_jobs(plan(line("L", before)), "P-1", L=may)
    assert answered(with_jobs(plan(line("L", before)), "P-2", L=august), old, told("e", "P-1", "L")) == {}
    assert answered(with_jobs(plan(line("L", before)), "P-2", L=may), old, told("e", "P-1", "L")) == {
        "e": "L"
    }
    # Planned again after the window has closed, the next year's is named: it is the same job.
    late = with_jobs(plan(line("L", before)), "P-2", L=days((4, 15), (5, 31), 2027))
    assert answered(late, old, told("e", "P-1", "L")) == {"e": "L"}
    # And by the time in the season where no page gives days.
    fall = with_jobs(plan(line("L", FALL)), "P-2", L={})
    assert answered(fall, with_jobs(plan(line("L", SPRING)), "P-1", L={}), told("e", "P-1", "L")) == {}


def test_an_entry_without_a_time_goes_to_the_job_whose_window_holds_its_day() -> None:
    """Two doses of 100: 20 more in May than the spring's are too much of it, not some of the fall's."""
    made = plan(line("may", SPRING), line("oct", FALL))
    made = with_jobs(made, "P", may=days((4, 15), (5, 31)), oct=days((9, 15), (10, 31)))
    in_may = [entry("1", 100), entry("2", 20)]
    assert states(line_statuses(made, in_may)) == [("may", 120.0, "over"), ("oct", 0.0, "nothing yet")]
    in_june = [replace(one, applied_on=dt.date(2026, 6, 2)) for one in in_may]  # late, but not for October
    assert states(line_statuses(made, in_june)) == [("may", 120.0, "over"), ("oct", 0.0, "nothing yet")]
    in_october = [replace(one, applied_on=dt.date(2026, 10, 2)) for one in in_may]
    assert states(line_statuses(made, in_october)) == [("may", 0.0, "nothing yet"), ("oct", 120.0, "over")]


def test_a_part_that_had_its_share_never_ticks_off_the_rest() -> None:
    """The east half was spread before the plan was made; more on it is none of the rest's."""
    east = entry("1", 40, part="East half")
    made = with_jobs(plan(line("L", SPRING), counted=["1"]), "P", L={"part": "rest"})
    again, west = entry("2", 10, part="east half"), entry("3", 50, part="west half")
    assert answered(made, made, east, again, west) == {"3": "L"}
