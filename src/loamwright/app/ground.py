"""Keep-outs and ways: where nothing is spread, and how one gets there."""

from __future__ import annotations

from loamwright.app.pages import Ask, Reply, Route, Shown


def show(ask: Ask) -> Reply:
    """List them."""
    record = ask.desk.season.record
    return Shown("app_ground.html", {"keepouts": record.keepouts, "ways": record.ways})


ROUTES = (Route("/ground", show),)
