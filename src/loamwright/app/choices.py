"""Decisions: what the sources leave to a person, and what was decided."""

from __future__ import annotations

from loamwright import upkeep
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, changed
from loamwright.errors import InputError


def show(ask: Ask) -> Reply:
    """List what is open, then what is decided."""
    return _page(ask)


def _page(ask: Ask, error: InputError | None = None) -> Shown:
    rows, pairs = ask.desk.season.choices, ask.desk.season.mixes
    filled = {
        "open_rows": [row for row in rows if row.open],
        "made_rows": [row for row in rows if not row.open],
        "open_pairs": [row for row in pairs if row.open],
        "made_pairs": [row for row in pairs if not row.open],
        "typed": ask.form,
        "problems": [one for one in error.problems if not one.question] if error else (),
        "questions": [one for one in error.problems if one.question] if error else (),
    }
    return Shown("app_decisions.html", filled, 422 if error else 200)


def decide(ask: Ask) -> Reply:
    """Write a decision down, for one plot or several that are alike."""
    form = ask.form
    plots = ask.every.get("plot", ())
    value = form.get("value", "").strip()
    if "leave it" in ask.answers.values():
        return Go("/decisions")
    supply, because = form.get("supply", ""), form.get("because", "")
    try:
        done = upkeep.decide(
            ask.desk.path, plots, supply, value, because, ask.desk.today, "", answers=ask.answers
        )
    except InputError as error:
        return _page(ask, error)
    return changed("/decisions", done)


def decide_mix(ask: Ask) -> Reply:
    """Write down whether two products may share a hopper."""
    form = ask.form
    may, because = form.get("may") == "yes", form.get("because", "")
    try:
        done = upkeep.decide_mix(ask.desk.path, form.get("pair", ""), may, because, ask.desk.today, "")
    except InputError as error:
        return _page(ask, error)
    return changed("/decisions", done)


ROUTES = (Route("/decisions", show, decide), Route("/decisions/mix", send=decide_mix))
