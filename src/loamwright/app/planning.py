"""Plan: make it while the page stays quick, read it, ask why, and look at other ways side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from loamwright import season
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, Told
from loamwright.errors import InputError, Problem, UnitError
from loamwright.units import format_money, parse_money, read_number
from loamwright.values import Timing

PLANNING = "Planning"
REASONS = "Asking why"


def make_plan(
    path: Path,
    today: dt.date,
    budget: Decimal | None,
    time_limit_s: float,
    reason: str,
    published: bool,
    progress: Callable[[str], None],
) -> str:
    """Make and keep the plan, in the process of its own, and say what came of it."""
    options = season.PlanOptions(budget=budget, time_limit_s=time_limit_s, reason=reason, published=published)
    made = season.planned_view(season.make_plan(path, options, today, progress))
    return f"The plan is {made.outcome.value}: {format_money(made.total_cost)}, {len(made.jobs)} trips."


def ask_why(path: Path, today: dt.date, time_limit_s: float, progress: Callable[[str], None]) -> str:
    """Ask what drives the cost, in the process of its own; the answer as lines."""
    found = season.reasons(season.view(path, today), time_limit_s, progress)
    texts = (*found.summary, *(one.text for one in found.nutrients), *(one.text for one in found.entries))
    return "\n".join((*texts, *(one.text for one in found.ranges)))


def show(ask: Ask) -> Reply:
    """Show the plan: what to buy, what to do when, what is left to decide."""
    view = ask.desk.season
    plan, words = view.plan, ask.desk.words
    line_of = {line.line_id: line for line in plan.lines} if plan else {}
    jobs = (
        [
            (
                timing,
                [
                    (job, [line_of[line] for line in job.line_ids])
                    for job in plan.jobs
                    if job.timing is timing
                ],
            )
            for timing in (*Timing, None)
        ]
        if plan
        else []
    )
    filled = {
        "view": view,
        "plan": plan,
        "words": words,
        "jobs": [(timing, found) for timing, found in jobs if found],
        "names": {plot.plot_id: plot.name for plot in view.record.plots},
        "running": ask.works.last,
        "estimate": ask.works.estimate_s(PLANNING),
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
    if form.get("what") == "why":
        season.refuse_old(desk.season, "why", old_ok=False)
        arguments = {"path": desk.path, "today": desk.today, "time_limit_s": limit}
        ask.works.start(REASONS, ask_why, arguments)
        return Go("/plan")
    arguments = {
        "path": desk.path,
        "today": desk.today,
        "budget": budget,
        "time_limit_s": limit,
        "reason": form.get("reason", "").strip(),
        "published": form.get("open") == "published",
    }
    ask.works.start(PLANNING, make_plan, arguments)
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
