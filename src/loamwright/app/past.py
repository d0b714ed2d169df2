"""History and next season: tests and balances over the years, and starting the next."""

from __future__ import annotations

from collections.abc import Sequence

from loamwright import season, upkeep
from loamwright.app.pages import Ask, Go, Reply, Route, Shown
from loamwright.errors import InputError, Problem


def show(ask: Ask) -> Reply:
    """Show tests and balances, plot by plot, and what the next season would start with."""
    return _page(ask)


def _page(ask: Ask, problems: Sequence[Problem] = ()) -> Shown:
    view = ask.desk.season
    filled = {
        "view": view,
        "histories": season.history(view),
        "seasons": season.past_seasons(view.record),
        "names": {p.plot_id: p.name for p in view.record.plots},
        "questions": [one for one in problems if one.question],
        "problems": [one for one in problems if not one.question],
    }
    return Shown("app_history.html", filled, 422 if problems else 200)


def start_next(ask: Ask) -> Reply:
    """Start the next season."""
    if "leave it" in ask.answers.values():
        return Go("/history")
    try:
        started = upkeep.start_next_season(ask.desk.path, ask.desk.today, "", ask.answers)
    except InputError as error:
        return _page(ask, error.problems)
    return Shown("app_season.html", {"started": started})


ROUTES = (Route("/history", show, start_next),)
