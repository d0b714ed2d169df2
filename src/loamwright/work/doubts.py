"""What is asked about an entry before it is kept: an amount no field takes, work twice, a day to come.

This file answers "can this be what happened?". Nothing is refused that could be true: it is asked, and an
answer, or a reason written with the entry, lets it through. What cannot be true on any field is refused.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from loamwright.errors import Level, Problem
from loamwright.land import PlotArea
from loamwright.planning import Plan, PlanLine
from loamwright.units import HA_M2, TON_ACRE_KG_HA, format_area, format_mass, format_rate
from loamwright.work.ledger import DONE_FRACTION, entries_that_count, lines_answered, taken_off
from loamwright.work.records import Application, Done, PropertyRecord

#: More than this share of the plan is asked about (our choice).
TOO_MUCH = 1.5
#: No spreader puts more on in one go [kg/ha]: 20 tons an acre (our choice; lime and manure lie below).
MOST_KG_HA = 20 * TON_ACRE_KG_HA
#: Parts of one job may add up to this share of it before it is asked about (our choice).
PARTS_SHARE = 1.1
#: A stated area may be this share of the plot's before it cannot be right (our choice: it may be paced).
MOST_GROUND = 1.05

RIGHT = "it is right"
ON_TOP, INSTEAD, SAME = "on top of it", "instead of it", "the same work"


def doubts(
    entry: Application,
    record: PropertyRecord,
    areas: Mapping[str, PlotArea],
    plan: Plan | None,
    today: dt.date,
    mark: str = "",
) -> Iterator[Problem]:
    """Yield what is asked, or refused, about an entry.

    Parameters
    ----------
    entry
        Offered, not recorded yet.
    record, areas, plan
        What the property holds, the size of its plots, the newest plan.
    today
        Days after it are asked about.
    mark
        Put behind the id of each question, where several entries are offered at once.
    """
    where = f"entry on {entry.plot_id}" if not mark else f"entry {entry.entry_id}"

    def asked(kind: str, what: str, fix: str, *choices: str) -> Problem:
        ident = f"{kind}.{mark}" if mark else kind
        return Problem(where, what, fix, question=ident, choices=choices)

    if entry.applied_on > today:
        what = f"{entry.applied_on} is still to come"
        yield asked("date", what, "Correct the day, or say that it is right.", RIGHT)
    if entry.withdrawn or entry.done is Done.NOT_DONE:
        return
    if entry.mass_kg == 0:
        what = f"it is reported as {entry.done.value}, and the amount is zero"
        yield Problem(f"{where}, amount", what, "Write how much is on, or `not done`.")
        return
    ground = areas.get(entry.plot_id)
    if ground is not None:
        yield from _too_large(entry, ground, where, record.info.units)
        yield from (asked("amount", *found) for found in _too_much(entry, record, ground, plan))
    twice = _corrected(entry, record) if entry.replaces else _again(entry, record, plan)
    yield from (asked("again", *found) for found in twice)


def _too_large(entry: Application, ground: PlotArea, where: str, units: str) -> Iterator[Problem]:
    if entry.area_m2 is not None and entry.area_m2 > MOST_GROUND * ground.area_m2:
        stated, there = format_area(entry.area_m2, units), format_area(ground.area_m2, units)
        what = f"{stated} were covered, and plot {entry.plot_id} has {there}"
        yield Problem(f"{where}, area", what, "Correct the area, or name the other plot for the rest.")


def _too_much(
    entry: Application, record: PropertyRecord, ground: PlotArea, plan: Plan | None
) -> Iterator[tuple[str, ...]]:
    if entry.reason:
        return  # said why
    units = record.info.units
    spread_m2 = entry.area_m2 or ground.spread_area_m2
    rate = entry.mass_kg / spread_m2 * HA_M2 if spread_m2 else 0.0
    if rate > MOST_KG_HA:
        told = f"{format_mass(entry.mass_kg, units)} of {entry.product} is {format_rate(rate, units)}"
        what = f"{told}, which no spreader puts on"
        yield what, "Correct the amount, or say that it is right.", RIGHT
        return
    line = _line(entry, record, plan)
    if line is not None and entry.mass_kg > TOO_MUCH * line.mass_kg:
        times = entry.mass_kg / line.mass_kg
        put_on, planned = format_mass(entry.mass_kg, units), format_mass(line.mass_kg, units)
        what = f"{put_on} is {times:.3g} times the {planned} planned"
        yield what, "Correct the amount, give a `reason`, or say that it is right.", RIGHT


def _line(entry: Application, record: PropertyRecord, plan: Plan | None) -> PlanLine | None:
    """The line of the plan an entry would answer."""
    offered = replace(entry, entry_id="offered")
    settings = record.info.settings
    entries = (*record.applications, offered)
    found = lines_answered(plan, entries, record.info.season, settings.season_start, record.plans)
    return found.get("offered")


def _again(entry: Application, record: PropertyRecord, plan: Plan | None) -> Iterator[tuple[str, ...]]:
    """Whether the same work is on record already."""
    units = record.info.units
    standing = [one for one in entries_that_count(record.applications) if one.entry_id != entry.entry_id]
    alike = [
        one
        for one in standing
        if (one.plot_id, one.product) == (entry.plot_id, entry.product) and one.done is not Done.NOT_DONE
    ]
    twin = next((one for one in alike if _same_work(one, entry)), None)
    if twin is not None:
        yield _asked_again(twin, units, "the same is recorded already")
        return
    line = _line(entry, record, plan)
    mine = _of_line(line, alike, record, plan) if line is not None else []
    if line is None or not mine:
        return
    on_kg = sum(one.mass_kg for one in mine)
    if on_kg >= DONE_FRACTION * line.mass_kg and entry.done is Done.DONE:
        yield _asked_again(mine[-1], units, "this job is recorded as done already")
    elif on_kg + entry.mass_kg > PARTS_SHARE * line.mass_kg and not entry.reason:
        more, planned = format_mass(on_kg + entry.mass_kg, units), format_mass(line.mass_kg, units)
        yield _asked_again(mine[-1], units, f"with it {more} would be on, of {planned} planned")


def _corrected(entry: Application, record: PropertyRecord) -> Iterator[tuple[str, ...]]:
    """Whether the entry it corrects is corrected already, so that both corrections would count."""
    standing = entries_that_count(record.applications)
    others = [one for one in standing if one.replaces == entry.replaces and one.entry_id != entry.entry_id]
    if others:
        yield _asked_again(others[-1], record.info.units, f"entry {entry.replaces} is corrected already")


def _of_line(
    line: PlanLine, alike: Sequence[Application], record: PropertyRecord, plan: Plan | None
) -> list[Application]:
    settings = record.info.settings
    off = taken_off(plan, record.applications)
    entries = record.applications
    found = lines_answered(plan, entries, record.info.season, settings.season_start, record.plans)
    ids = {entry_id for entry_id, answered in found.items() if answered.line_id == line.line_id}
    return [one for one in alike if one.entry_id in ids - off]


def _same_work(one: Application, other: Application) -> bool:
    return (one.applied_on, one.part, one.operator) == (other.applied_on, other.part, other.operator) and (
        abs(one.mass_kg - other.mass_kg) < 1e-6
    )


def _asked_again(before: Application, units: str, what: str) -> tuple[str, ...]:
    who = f" by {before.operator}" if before.operator else ""
    amount = format_mass(before.mass_kg, units)
    told = f"{what}: {amount} on {before.applied_on}{who} (entry {before.entry_id})"
    return told, "Say how this one stands to it.", ON_TOP, INSTEAD, SAME


def settled(
    entry: Application, found: Sequence[Problem], answers: Mapping[str, str]
) -> tuple[Application | None, tuple[Problem, ...]]:
    """Take an entry as it was answered.

    Parameters
    ----------
    entry
        As offered.
    found
        What `doubts` asked.
    answers
        By question id.

    Returns
    -------
    (Application or None, tuple of Problem)
        The entry to keep, as a correction where that was said, None where it is the same work as one on
        record; and what is still open.
    """
    still: list[Problem] = []
    for problem in found:
        answer = answers.get(problem.question, "") if problem.question else ""
        if problem.level is not Level.ERROR:
            continue
        if not answer:
            still.append(problem)
        elif answer not in problem.choices:
            still.append(replace(problem, what=f"{answer!r} is none of the answers; {problem.what}"))
        elif answer == SAME:
            return None, ()
        elif answer == INSTEAD:
            entry = replace(entry, replaces=problem.what.rpartition("(entry ")[2].rstrip(")"))
    return entry, tuple(still)
