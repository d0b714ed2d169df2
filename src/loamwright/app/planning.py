"""Plan: make it while the page stays quick, read it, ask why, and look at other ways side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from loamwright import season, work
from loamwright.app.long_work import Result
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, Told
from loamwright.errors import InputError, Problem, UnitError
from loamwright.money import format_money
from loamwright.planning import Job, PlanLine, hours_words, machines, when_and_how
from loamwright.units import (
    parse_money,
    read_number,
)
from loamwright.values import Timing
from loamwright.words import mass_words

PLANNING = "Planning"
REASONS = "Asking why"
VARIANTS = "Looking at other ways"


def make_plan(
    path: Path,
    today: dt.date,
    budget: Decimal | None,
    time_limit_s: float,
    reason: str,
    published: bool,
    progress: Callable[[str], None],
) -> Result:
    """Make and keep the plan, in the process of its own, and say what came of it."""
    options = season.PlanOptions(budget=budget, time_limit_s=time_limit_s, reason=reason, published=published)
    view = season.make_plan(path, options, today, progress)
    made = season.planned_view(view)
    said = f"The plan is {made.outcome.value}: {format_money(made.total_cost)}, {len(made.jobs)} trips."
    both = work.totals_told(view)
    return Result((said, f"{both}.") if both else (said,))


def ask_why(path: Path, today: dt.date, time_limit_s: float, progress: Callable[[str], None]) -> Result:
    """Ask what drives the cost, in the process of its own."""
    found = season.reasons(season.view(path, today), time_limit_s, progress)
    texts = [one.text for one in found.nutrients]
    texts += [one.text for one in found.entries]
    texts += [one.text for one in found.ranges]
    return Result((*found.summary, *texts))


def lay_beside(
    path: Path, today: dt.date, budget: Decimal | None, time_limit_s: float, progress: Callable[[str], None]
) -> Result:
    """Lay other ways to plan beside the plan, in the process of its own; nothing is kept."""
    view = season.view(path, today)
    units = view.record.info.units
    rows = []
    for one in season.what_if(view, season.OtherWays(budget, 0.5), time_limit_s, progress):
        lacks = ((row, (row.need_kg or 0.0) - row.supplied_kg) for row in one.short[:6])
        short = ", ".join(
            f"{row.plot_id} {row.supply} {mass_words(kg, units, row.supply)}" for row, kg in lacks
        )
        hours = f"{one.hours:.0f} h" if one.hours else ""
        amount = mass_words(one.mass_kg, units)
        rows.append((one.name, format_money(one.cost), str(one.trips), hours, amount, short or "nothing"))
    heads = ("Way", "Cost", "Trips", "Hours", "Product", "Left short")
    return Result(("Nothing of this is kept.",), heads, tuple(rows))


def show(ask: Ask) -> Reply:
    """Show the plan: what to buy, what to do when, what is left to decide."""
    view = ask.desk.season
    plan, words = view.plan, ask.desk.words
    line_of = {line.line_id: line for line in plan.lines} if plan else {}
    jobs: dict[Timing | None, dict[str, list[tuple[Job, list[PlanLine]]]]] = {}
    for timing in (*Timing, None):
        for job in plan.jobs if plan else ():
            if job.timing is timing:
                load = [line_of[line] for line in job.line_ids]
                jobs.setdefault(timing, {}).setdefault(when_and_how(job), []).append((job, load))
    filled = {
        "view": view,
        "plan": plan,
        "both_totals": work.totals_told(view),
        "words": words,
        "jobs": jobs,
        "hours": hours_words(plan.jobs, machines(view.record.info.settings)) if plan else "",
        "names": {plot.plot_id: plot.name for plot in view.record.plots},
        "running": ask.works.last,
        "estimate": ask.works.estimate_s(ask.works.last.title) if ask.works.last else None,
        "problems": () if ask.works.last is None or ask.works.busy else ask.works.last.problems,
        "rules": season.ground_rules(view),
    }
    return Shown("app_plan.html", filled)


def start(ask: Ask) -> Reply:
    """Start planning, or asking why."""
    form, desk = ask.form, ask.desk
    if form.get("what") == "stop":
        ask.works.stop()
        return Go("/plan")
    try:
        limit = read_number(form.get("time_limit", "").strip() or "30")
        budget = parse_money(form["budget"]) if form.get("budget", "").strip() else None
    except UnitError as error:
        raise InputError([error.at("plan")]) from error
    if not 1 <= limit <= 3600:
        what = f"{limit:g} s is no time to plan in"
        raise InputError([Problem("time limit", what, "Give from 1 to 3,600 seconds.")])
    asked = {"path": desk.path, "today": desk.today, "time_limit_s": limit}
    if form.get("what") == "why":
        season.refuse_old(desk.season, "why", old_ok=False)
        ask.works.start(REASONS, ask_why, asked)
        return Go("/plan")
    if form.get("what") == "beside":
        ask.works.start(VARIANTS, lay_beside, asked | {"budget": budget})
        return Go("/plan")
    told = {"reason": form.get("reason", "").strip(), "published": form.get("open") == "published"}
    ask.works.start(PLANNING, make_plan, asked | {"budget": budget} | told)
    return Go("/plan")


def how_far(ask: Ask) -> Reply:
    """Tell a script how far the work is."""
    last = ask.works.last
    if last is None:
        return Told({"running": False})
    return Told(
        {
            "running": last.ended is None,
            "title": last.title,
            "seconds": round(last.seconds, 1),
            "estimate": ask.works.estimate_s(last.title),
            "stages": [stage for _, stage in last.stages],
        }
    )


ROUTES = (Route("/plan", show, start), Route("/plan/progress", how_far))
