"""Plots: the list with acres and crops, and one plot with everything that hangs on it."""

from __future__ import annotations

from loamwright import files, season
from loamwright.app.forms import form_of
from loamwright.app.pages import Ask, Reply, Route, Shown


def show(ask: Ask) -> Reply:
    """List the plots."""
    view = ask.desk.season
    areas = view.areas.values()
    filled = {
        "view": view,
        "gross_m2": sum(area.area_m2 for area in areas),
        "spread_m2": sum(area.spread_area_m2 for area in areas),
    }
    return Shown("app_plots.html", filled)


def show_one(ask: Ask) -> Reply:
    """Show one plot: what it is, what grows, its tests, needs, plan and record, each with its math."""
    view, words = ask.desk.season, ask.desk.words
    record = view.record
    plot = files.find(files.thing_of("plot"), record, ask.parts["plot"])
    assert words is not None
    said = next(one for one in words.plots if one.id == plot.plot_id)
    of_lines = [place for line in said.lines for place in line.cautions]
    thing = files.thing_of("cropping")
    mine = [item for item in record.croppings if item.plot_id == plot.plot_id]
    filled = {
        "plot": plot,
        "area": view.areas[plot.plot_id],
        "said": said,
        "cautions": list(dict.fromkeys([*said.cautions, *of_lines, *words.everywhere, *said.planners])),
        "words": words,
        "croppings": [(thing.name_of(item), item) for item in reversed(mine)],
        "tests": [test for test in record.soil_tests if test.plot_id == plot.plot_id],
        "parts_of": [part for part in record.parts if part.plot_id == plot.plot_id],
        "fields": form_of(record, "plot", plot.plot_id, {}, only=("name", "access", "notes")),
        "past": season.history(view, plot.plot_id)[0],
        "season_year": record.info.season,
        "problems": [p for p in view.problems if plot.plot_id in p.where],
    }
    return Shown("app_plot.html", filled)


ROUTES = (Route("/plots", show), Route("/plots/{plot}", show_one))
