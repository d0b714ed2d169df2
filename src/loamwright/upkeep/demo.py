"""The demo: the invented property, built from its files, with everything that is made from it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from loamwright import files, handoff
from loamwright.errors import InputError, Problem
from loamwright.files import PROPERTY_SUFFIX, import_files
from loamwright.season import (
    PlanOptions,
    Progress,
    Season,
    make_map,
    make_plan,
    view,
    write_orders,
    write_reports,
)
from loamwright.upkeep.bookkeeping import decide
from loamwright.upkeep.editing import set_fields


@dataclass(frozen=True, slots=True)
class Demo:
    """The demo property, its season, and the files made from it."""

    property_path: Path
    view: Season
    files: tuple[Path, ...]


#: Endings of the files that go in after the property itself is made.
DEMO_SUFFIXES = (".geojson", ".csv", ".gpx")


def source_files() -> Path:
    """Return the folder of the invented demo files, in the package or beside its sources."""
    packaged = Path(__file__).parents[1] / "demo_data"
    checkout = Path(__file__).parents[3] / "demo_data"
    for folder in (packaged, checkout):
        if (folder / "plots.geojson").is_file():
            return folder
    raise InputError([Problem("demo_data", "the demo files are not installed", "Install the package again.")])


#: Plots whose grass is to yield although legumes feed it; the other mixtures are left to decide.
GRASS_FIRST = ("AF-03", "AF-17")


#: A plot whose only report, of 2021, carries the lab's rates: they go on once more, until a new sample.
OLD_REPORT, OLD_RATES = "AF-14", ("N", "P2O5", "K2O")

#: Who decides and enters things in the demo.
STEWARD = "Steward (invented)"

#: What the steward says of the way to each plot: foot paths carry no machine, the plank bridge no truck.
_TRUCK, _ON_FOOT = ("reach.lime truck=yes",), ("reach.ATV spreader=no", "reach.boom sprayer=no")
REACH: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(("AF-05", "AF-06", "AF-08", "AF-10", "AF-17", "AF-18"), _TRUCK),
    **dict.fromkeys(("AF-04", "AF-14", "AF-15"), _ON_FOOT),
    "AF-02": ("months=5-10",),
    "AF-07": ("weight_limit=1500 lb",),
    "AF-11": ("weight_limit=1500 lb", "reach.boom sprayer=no"),
    "AF-16": ("reach.boom sprayer=no",),
    "AF-19": ("reach.lime truck=no", "narrowest=18 ft"),
}


def _enter_reach(path: Path, today: dt.date) -> None:
    """Say of each plot what gets there."""
    for plot_id, fields in REACH.items():
        set_fields(path, "plot", plot_id, fields, today, STEWARD)


def _decide(path: Path, today: dt.date) -> None:
    """Make some of the demo's decisions; the others stay open."""
    steward = STEWARD
    for nutrient in OLD_RATES:
        decide(path, (OLD_REPORT,), nutrient, "published", "as in 2021 until fall's sample", today, steward)
    decide(path, GRASS_FIRST, "N", "published", "hay is cut here, grass first", today, steward)
    rows = view(path, today).choices
    limed = [row.plot_id for row in rows if row.open and row.supply == "lime"]
    if limed:
        decide(path, limed, "lime", "published", "the truck comes once", today, steward)


def build_demo(folder: Path, today: dt.date, progress: Progress) -> Demo:
    """Build the invented demo property and run the whole chain on it.

    Parameters
    ----------
    folder
        Where; made if missing.
    today
        Date of its decisions and plan.
    progress
        Told each stage.

    Returns
    -------
    Demo

    Raises
    ------
    InputError
        When the demo files are not installed, the folder cannot be made, or another property is there.
    """
    source = source_files()
    info = files.info_from(source / "property.json")
    path = folder / f"alder_fork{PROPERTY_SUFFIX}"
    files.make_folder(folder)
    if path.exists():
        if files.load(path).info.name != info.name:
            raise InputError([Problem(str(path), "this is another property", "Name another folder.")])
        files.remove(path)
    progress("reading the demo files")
    files.create(path, info)
    import_files(path, [file for file in sorted(source.iterdir()) if file.suffix in DEMO_SUFFIXES])
    _enter_reach(path, today)
    _decide(path, today)
    season_view = make_plan(path, PlanOptions(), today, progress)
    progress("drawing the map")
    drawn = make_map(season_view, folder / "alder_fork.html")
    progress("printing the work orders")
    printed = write_orders(season_view, folder, handoff.PaperOptions())
    progress("drawing the season picture")
    pictures = write_reports(season_view, folder, handoff.PaperOptions())
    return Demo(path, season_view, (path, drawn.path, *printed.paths, *pictures.paths))
