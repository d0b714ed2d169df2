"""History and next season: tests and balances over the years, and starting the next."""

from __future__ import annotations

from loamwright import season, upkeep
from loamwright.app.pages import Ask, Reply, Route, Shown


def show(ask: Ask) -> Reply:
    """Show tests and balances, plot by plot, and what the next season would start with."""
    view = ask.desk.season
    filled = {
        "view": view,
        "histories": season.history(view),
        "names": {p.plot_id: p.name for p in view.record.plots},
    }
    return Shown("app_history.html", filled)


def start_next(ask: Ask) -> Reply:
    """Start the next season."""
    started = upkeep.start_next_season(ask.desk.path, ask.desk.today, "")
    return Shown("app_season.html", {"started": started})


ROUTES = (Route("/history", show, start_next),)
