"""The demo: the invented property, built from its files, with everything that is made from it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from loamwright import (
    paper,
    store,
)
from loamwright import settings as settings_file
from loamwright.answers import (
    SeasonView,
)
from loamwright.errors import InputError, Problem
from loamwright.intake import PROPERTY_SUFFIX, import_files
from loamwright.planning import PlanOptions, make_plan
from loamwright.season import Progress, make_map, write_orders, write_reports

#: Endings of the files that go in after the property itself is made.
DEMO_SUFFIXES = (".geojson", ".csv", ".gpx")


@dataclass(frozen=True, slots=True)
class Demo:
    """The demo property, its season, and the files made from it."""

    property_path: Path
    view: SeasonView
    paths: tuple[Path, ...]


def source_files() -> Path:
    """Return the folder of the invented demo files, in the package or beside its sources.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        When neither is there.
    """
    packaged = Path(__file__).parent / "demo_data"
    checkout = Path(__file__).parents[2] / "demo_data"
    for folder in (packaged, checkout):
        if (folder / "plots.geojson").is_file():
            return folder
    raise InputError([Problem("demo_data", "the demo files are not installed", "Install the package again.")])


def build(folder: Path, today: dt.date, progress: Progress) -> Demo:
    """Build the invented demo property and run the whole chain on it.

    Parameters
    ----------
    folder
        Where to put it; made if missing. An older demo there is replaced.
    today
        Date for the age of tests and cautions.
    progress
        Told each stage.

    Returns
    -------
    Demo

    Raises
    ------
    InputError
        When the folder cannot be made, or holds another property under the demo's name.
    PropertyFileError
        When it holds something under that name that is no property file.
    """
    source = source_files()
    info = settings_file.info_from(source / "property.json")
    path = folder / f"alder_fork{PROPERTY_SUFFIX}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            [Problem(str(folder), f"no folder can be made here: {error.strerror}", "Name another.")]
        ) from error
    if path.exists():
        if store.load(path).info.name != info.name:
            raise InputError([Problem(str(path), "this is another property", "Name another folder.")])
        path.unlink()
    progress("reading the demo files")
    store.create(path, info)
    import_files(path, [file for file in sorted(source.iterdir()) if file.suffix in DEMO_SUFFIXES])
    season_view = make_plan(path, PlanOptions(), today, progress)
    progress("drawing the map")
    drawn = make_map(season_view, folder / "alder_fork.html")
    progress("printing the work orders")
    printed = write_orders(season_view, folder, paper.PaperOptions())
    progress("drawing the season picture")
    pictures = write_reports(season_view, folder, paper.PaperOptions())
    return Demo(path, season_view, (path, drawn.path, *printed.paths, *pictures.paths))
