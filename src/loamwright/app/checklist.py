"""The plan checklist: what a plan and its records are asked for as free text, and noting it."""

from __future__ import annotations

from itertools import groupby

from loamwright import upkeep
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, changed
from loamwright.errors import InputError, Problem


def show(ask: Ask) -> Reply:
    """Show every entry of the list with what is noted, by whom and when."""
    return _page(ask)


def _page(ask: Ask, problems: tuple[Problem, ...] = ()) -> Shown:
    entries = upkeep.checklist(ask.desk.path)
    filled = {
        "numbers": [tuple(rows) for _, rows in groupby(entries, key=lambda entry: entry.number)],
        "plots": [plot.plot_id for plot in ask.desk.season.record.plots],
        "typed": ask.form,
        "problems": [one for one in problems if not one.question],
        "questions": [one for one in problems if one.question],
    }
    return Shown("app_checklist.html", filled, 422 if problems else 200)


def note(ask: Ask) -> Reply:
    """Keep what was typed for one entry; an entry that was emptied is taken out."""
    form, answer = ask.form, ask.answers.get("text")
    number, was, text = (form.get(name, "").strip() for name in ("number", "was", "text"))
    back = f"/checklist#n-{number.replace('.', '-')}"
    if text == was or answer == "theirs":
        return Go(back)
    try:
        done = upkeep.fill_checklist(
            *(ask.desk.path, number, form.get("plot", ""), text or "clear", ask.desk.today, ""),
            was=None if answer == "mine" else was,
        )
    except InputError as error:
        return _page(ask, tuple(error.problems))
    return changed(back, done)


ROUTES = (Route("/checklist", show, note),)
