"""Sheets to take soil cores by: where to walk, how deep, and a label for every bag.

This file answers "what do I carry when I sample?". Which plots are due, how many cores and where is
`sampling`; this file lays the sheets out and prints them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import Level, Problem
from loamwright.handoff.drawings import Drawing, sampling_drawing
from loamwright.handoff.paper import PaperMade, PaperOptions, check_paper, print_pages
from loamwright.land import Plot
from loamwright.units import format_area
from loamwright.work import SamplingPlan, SeasonView

#: Places to stay away from, in our words.
AVOID = (
    "Leave out old fence rows, dead furrows, manure, lime and ash piles, feeding and shade places, low wet "
    "spots, and ground within 300 ft of a crushed-limestone road (University of Minnesota Soil Testing "
    "Laboratory, How to Sample; the road distance is 150 ft in Missouri). Take each core to the same depth, "
    "mix all cores of a plot in a clean plastic pail, and fill the bag from the mix (common practice, no "
    "source)."
)


@dataclass(frozen=True, slots=True)
class SamplingSheet:
    """One plot's sheet."""

    plot_id: str
    name: str
    crop: str
    area: str
    access: str
    cores: str
    range: str
    depth: str
    reason: str
    label: tuple[str, ...]
    drawing: Drawing
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RestRow:
    """A plot that needs no sample now, and why."""

    plot_id: str
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class SamplingPage:
    """Everything `templates/sampling.typ` shows."""

    title: str
    property: str
    paper: str
    footer: str
    made_on: str
    avoid: str
    sheets: tuple[SamplingSheet, ...]
    rest: tuple[RestRow, ...]


def _sheet(plot: Plot, sampling: SamplingPlan, view: SeasonView) -> SamplingSheet:
    system = view.record.info.units
    area = view.areas[plot.plot_id]
    cropping = view.croppings.get(plot.plot_id)
    low, high = sampling.cores_low, sampling.cores_high
    return SamplingSheet(
        plot.plot_id,
        plot.name,
        cropping.crop if cropping and cropping.crop else "crop not stated",
        format_area(area.spread_area_m2, system),
        plot.access,
        str(sampling.cores),
        f"published range {low} to {high}" if low != high else f"published {low}",
        sampling.depth_text or "depth not stated",
        sampling.reason,
        tuple(line for line in sampling.label.splitlines() if line.strip()),
        sampling_drawing(plot, area, view.record.keepouts, sampling, system),
        tuple(dict.fromkeys(f"{step.what}: {step.source}" for step in sampling.steps)),
    )


def sampling_page(view: SeasonView, paper: str) -> SamplingPage:
    """Work out everything that stands on the sampling sheets."""
    info = view.record.info
    plans = [
        (plot, view.sampling[plot.plot_id]) for plot in view.record.plots if plot.plot_id in view.sampling
    ]
    return SamplingPage(
        title=f"Soil sampling {info.season}, {info.name}",
        property=info.name,
        paper=check_paper(paper),
        footer=f"{info.name}, sampling sheets made {view.made_on.isoformat()}",
        made_on=view.made_on.isoformat(),
        avoid=AVOID,
        sheets=tuple(_sheet(plot, plan, view) for plot, plan in plans if plan.due),
        rest=tuple(RestRow(plot.plot_id, plot.name, plan.reason) for plot, plan in plans if not plan.due),
    )


def write_sampling_sheets(view: SeasonView, path: Path, options: PaperOptions | None = None) -> PaperMade:
    """Print a sheet for every plot that is due, and the bag labels.

    Parameters
    ----------
    view
        The season.
    path
        PDF to write (``.png`` and ``.svg`` make one file per page).
    options
        Paper size; None = letter.

    Returns
    -------
    PaperMade
        With a note when no plot is due; the page then lists why.

    Raises
    ------
    InputError
        When the paper size or suffix is not known or the file cannot be written.
    """
    page = sampling_page(view, (options or PaperOptions()).paper)
    made = print_pages("sampling", page, path, view.made_on)
    if page.sheets:
        return made
    note = Problem(
        view.record.info.name,
        "no plot is due for a soil sample, so the sheets only list why",
        "Nothing to do.",
        Level.NOTE,
    )
    return PaperMade(made.path, made.pages, (*made.problems, note))
