"""Soil tests: what each plot's tests say, which are due, and new ones typed in or dropped."""

from __future__ import annotations

from loamwright.app.pages import Ask, Reply, Route, Shown


def show(ask: Ask) -> Reply:
    """List tests by plot, with what is due."""
    view, words = ask.desk.season, ask.desk.words
    tests: dict[str, list[object]] = {plot.plot_id: [] for plot in view.record.plots}
    for test in view.record.soil_tests:
        tests.setdefault(test.plot_id, []).append(test)
    filled = {"view": view, "tests": tests, "words": words, "organic": view.record.organic_inputs}
    return Shown("app_tests.html", filled)


ROUTES = (Route("/soil-tests", show),)
