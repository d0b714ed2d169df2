"""The command line: read what was asked, call `season` or a neighbour once, print the answer.

Every command takes ``--json`` (for programs) and ``--units us|metric`` where it shows amounts. What an
answer is and how a command ends: `answer`.
"""

from __future__ import annotations

import datetime as dt
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console

from loamwright.commands import buy, keep, plan
from loamwright.commands.answer import (
    Answer,
    AsJson,
    InUnits,
    LayerName,
    Old,
    PropertyPath,
    Units,
    give,
    give_files,
    read,
    read_if_given,
    refusals,
    showing_progress,
    system_for,
    today,
    view_of,
)
from loamwright.errors import InputError, Level, Problem

if TYPE_CHECKING:
    from loamwright.season import Question
    from loamwright.work import Application


app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    help="Map, plan and record the fertility of many small, irregular plots.",
)
guideline_app = typer.Typer(no_args_is_help=True, help="Published guideline editions, and your own.")
app.add_typer(guideline_app, name="guideline")
app.add_typer(buy.app, name="buy")
app.add_typer(keep.season_app, name="season")


# ---------------------------------------------------------------------------------------------
# Without a property


@app.command()
def measure(
    file: Annotated[
        Path, typer.Argument(help="Plot boundaries: GeoJSON, KML/KMZ, GPX, Shapefile, GeoPackage.")
    ],
    keepouts: Annotated[
        Path | None, typer.Option("--keep-outs", help="File of keep-outs to subtract with their setbacks.")
    ] = None,
    gps_sigma: Annotated[str, typer.Option(help="Standard error of a walked GPS fix.")] = "3 m",
    layer: LayerName = None,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Measure the true acreage of the plots in a file; makes nothing."""
    from loamwright import files
    from loamwright.commands import data, text
    from loamwright.units import parse_length

    with refusals(as_json):
        found = files.measure(
            file, keepouts, today().year, read("--gps-sigma", gps_sigma, parse_length), layer
        )
        give(
            Answer(
                data.measured(found.plots, found.areas, found.problems),
                lambda out: text.show_areas(out, found.plots, found.areas, (units or Units.US).value),
                found.problems,
                from_file=True,
            ),
            as_json,
        )


@app.command()
def compare(
    file: Annotated[Path, typer.Argument(help="A products file (CSV or XLSX), or a property file.")],
    steps: Annotated[bool, typer.Option("--steps", help="Print the label arithmetic of each offer.")] = False,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Compare offers by price per pound of each nutrient, from the label."""
    from loamwright import files
    from loamwright.commands import data, text

    with refusals(as_json):
        found = files.compare(file)
        give(
            Answer(
                {
                    "offers": [data.offer(item) for item in found.offers],
                    "problems": data.problems(found.problems),
                },
                lambda out: text.show_comparison(out, found, steps, (units or Units.US).value),
                found.problems,
                from_file=True,
            ),
            as_json,
        )


@guideline_app.command("list")
def guideline_list(as_json: AsJson = False) -> None:
    """List the built-in guideline editions with their scope."""
    from loamwright import files
    from loamwright.commands import data, text

    with refusals(as_json):
        found = files.guideline_editions()
        give(
            Answer(
                {"editions": [data.plain(item) for item in found]},
                lambda out: text.show_guidelines(out, found),
            ),
            as_json,
        )


@guideline_app.command("check")
def guideline_check(
    file: Annotated[Path, typer.Argument(help="Folder or file of a guideline edition.")],
    as_json: AsJson = False,
) -> None:
    """Check a guideline of your own, row by row."""
    from loamwright import files
    from loamwright.commands import data

    with refusals(as_json):
        problems = files.check_guideline(file)
        if any(problem.level is Level.ERROR for problem in problems):
            raise InputError(problems)
        give(
            Answer(
                {"problems": data.problems(problems)},
                lambda out: out.print(f"{file}: this guideline can be used."),
                problems,
            ),
            as_json,
        )


# ---------------------------------------------------------------------------------------------
# Making and filling a property


@app.command()
def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Where to put the demo; made if missing.")
    ] = Path("alder-fork-demo"),
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Build the invented demo property and run the whole chain on it.

    What is missing there is part of the show: it ends with exit code 0, where `plan` ends with 1 for the same
    warnings.
    """
    from loamwright.commands import text
    from loamwright.commands.data import plan
    from loamwright.commands.demo import build

    with refusals(as_json):
        with showing_progress(as_json) as progress:
            made = build(folder, today(), progress)

        def show(out: Console) -> None:
            text.show_summary(out, made.view, system_for(made.view, units))
            text.show_paths(out, made.paths)
            text.show_next_steps(out, made.property_path)

        data: dict[str, Any] = {"files": [str(path) for path in made.paths], "plan": None}
        if made.view.plan is not None:
            data["plan"] = plan(made.view.plan, made.view.cautions, made.view.problems)
        give(Answer(data, show), as_json)


@app.command()
def new(
    property_path: PropertyPath,
    name: Annotated[str, typer.Option(help="What people call the property.")],
    season_year: Annotated[
        int | None, typer.Option("--season", help="Season (year); this year if not given.")
    ] = None,
    settings: Annotated[
        Path | None, typer.Option(help="A property.json with the choices of the property.")
    ] = None,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Make an empty property file."""
    from loamwright import files

    with refusals(as_json):
        files.new_property(
            property_path,
            name,
            season_year or today().year,
            settings,
            None if units is None else units.value,
        )
        give(
            Answer(
                {"property": str(property_path), "problems": []},
                lambda out: out.print(f"Made {property_path}. Next: loamwright import {property_path} FILE…"),
            ),
            as_json,
        )


@app.command("import")
def take_in(
    property_path: PropertyPath,
    files: Annotated[
        list[Path], typer.Argument(help="Plots, keep-outs, soil tests, products, manure, settings.")
    ],
    kind: Annotated[
        str | None,
        typer.Option("--as", help="What the files hold, when their content does not tell."),
    ] = None,
    layer: LayerName = None,
    as_json: AsJson = False,
) -> None:
    """Take files into the property; tells what each holds, and takes all of it or nothing."""
    from loamwright.commands import data
    from loamwright.files import import_files

    with refusals(as_json):
        found = import_files(property_path, files, kind, layer)

        def show(out: Console) -> None:
            for sentence in found.taken:
                out.print(sentence, markup=False)

        give(
            Answer(
                {"taken": list(found.taken), "problems": data.problems(found.problems)},
                show,
                found.problems,
            ),
            as_json,
        )


# ---------------------------------------------------------------------------------------------
# Reading a property


@app.command()
def needs(property_path: PropertyPath, as_json: AsJson = False, units: InUnits = None) -> None:
    """Show what each plot needs of each nutrient and of lime, and what is unknown."""
    from loamwright.commands import data, text

    with refusals(as_json):
        view = view_of(property_path)
        give(
            Answer(
                data.needs(view),
                lambda out: text.show_needs(out, view, system_for(view, units)),
                view.problems,
            ),
            as_json,
        )


@app.command()
def explain(
    property_path: PropertyPath,
    plot: Annotated[str, typer.Argument(help="Plot id.")],
    nutrient: Annotated[
        str | None, typer.Argument(help="N, P2O5, K2O, S, … or lime; all if not given.")
    ] = None,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Show the math of a plot: boundary, area, need, plan, with the source of each step."""
    from loamwright import season
    from loamwright.commands import data, text

    with refusals(as_json):
        view = view_of(property_path)
        story = season.explain(view, plot, nutrient)
        give(
            Answer(data.story(story), lambda out: text.show_story(out, story, system_for(view, units))),
            as_json,
        )


@app.command()
def status(property_path: PropertyPath, as_json: AsJson = False, units: InUnits = None) -> None:
    """Show what is done, what is left and what each plot is still owed."""
    from loamwright import season
    from loamwright.commands import data, text

    with refusals(as_json):
        view = view_of(property_path)
        acidity = season.acidity(view)

        def show(out: Console) -> None:
            text.show_status(out, view, system_for(view, units))
            text.show_acidity(out, acidity, system_for(view, units))

        give(
            Answer(
                {
                    **data.status(view),
                    "acidity": {plot_id: data.acidity(item) for plot_id, item in acidity.items()},
                },
                show,
                view.problems,
            ),
            as_json,
        )


@app.command()
def sample(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Also write core places (GPX) and sampling sheets here."),
    ] = None,
    place: Annotated[
        str | None, typer.Option(help="Whose published advice to use; the property's setting if not given.")
    ] = None,
    cores: Annotated[int | None, typer.Option(help="Cores in one sample; by plot size if none.")] = None,
    as_json: AsJson = False,
) -> None:
    """Plan soil sampling: which plots are due and why, how many cores, and where."""
    from loamwright import season
    from loamwright.commands import data, text

    with refusals(as_json):
        view = season.with_sampling(view_of(property_path), place, cores)
        made = season.Written(()) if folder is None else season.write_sampling(view, folder)

        def show(out: Console) -> None:
            text.show_sampling(out, view.sampling.values())
            text.show_paths(out, made.paths)

        give(
            Answer(
                {
                    "plots": data.sampling(view.sampling.values()),
                    "files": [str(path) for path in made.paths],
                    "problems": data.problems(made.problems),
                },
                show,
                made.problems,
            ),
            as_json,
        )


@app.command("history")
def show_history(
    property_path: PropertyPath,
    plot: Annotated[str | None, typer.Argument(help="Plot id; every plot if not given.")] = None,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Show tests and nutrient balances of past seasons."""
    from loamwright import season
    from loamwright.commands import data, text

    with refusals(as_json):
        view = view_of(property_path)
        found = season.history(view, plot)
        give(
            Answer(
                {"plots": [data.plain(item) for item in found]},
                lambda out: text.show_history(out, found, system_for(view, units)),
            ),
            as_json,
        )


@app.command("project")
def project_test(
    property_path: PropertyPath,
    plot: Annotated[str, typer.Argument(help="Plot id.")],
    nutrient: Annotated[str, typer.Argument(help="P2O5 or K2O.")],
    removed: Annotated[
        str | None, typer.Option(help="What the crop takes out, for example '30 lb/acre'.")
    ] = None,
    per_ppm: Annotated[
        float | None,
        typer.Option(help="Your own pounds per acre that move the test by 1 ppm; else the published."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say where a soil test may go from what was put on this season and what the crop takes out."""
    from loamwright import season
    from loamwright.commands import data, text
    from loamwright.units import parse_rate
    from loamwright.values import Nutrient

    with refusals(as_json):
        if nutrient.upper() not in ("P2O5", "K2O"):
            raise InputError([Problem("nutrient", f"{nutrient!r} has no soil test here", "Use P2O5 or K2O.")])
        view = view_of(property_path)
        rate = read_if_given("--removed", removed, parse_rate)
        found = season.project(view, plot, Nutrient(nutrient.upper()), rate, per_ppm)
        give(Answer(data.plain(found), lambda out: text.show_projection(out, found)), as_json)


app.registered_commands += plan.app.registered_commands
app.registered_commands += keep.app.registered_commands


# ---------------------------------------------------------------------------------------------
# Handing off, and what comes back


@app.command("map")
def make_map(
    property_path: PropertyPath,
    out_path: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="The map; beside the property if not given.")
    ] = None,
    round_id: Annotated[str | None, typer.Option("--round", help="Make it for one round only.")] = None,
    basemap: Annotated[
        str | None, typer.Option(help="aerial or topo: online background, off when there is no signal.")
    ] = None,
    image: Annotated[Path | None, typer.Option(help="Your own GeoTIFF to embed (extra: imagery).")] = None,
    old: Old = False,
    as_json: AsJson = False,
) -> None:
    """Make the field map: one file that opens on a phone without a signal."""
    from loamwright import season

    with refusals(as_json):
        view = view_of(property_path)
        season.refuse_old(view, "map", old)
        made = season.make_map(view, out_path or property_path.with_suffix(".html"), round_id, basemap, image)
        give_files((made.path,), made.problems, as_json, f"{made.size_bytes / 1000:,.0f} kB")


@app.command()
def orders(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where; beside the property.")
    ] = None,
    paper: Annotated[str, typer.Option(help="us-letter or a4.")] = "us-letter",
    round_id: Annotated[list[str] | None, typer.Option("--round", help="Only these rounds.")] = None,
    appendix: Annotated[bool, typer.Option(help="Add the pages that show how each number was made.")] = True,
    old: Old = False,
    as_json: AsJson = False,
) -> None:
    """Make the work orders and buying list (PDF), and the buying list as a spreadsheet."""
    from loamwright import season
    from loamwright.handoff import PaperOptions, check_paper

    with refusals(as_json):
        options = PaperOptions(check_paper(paper), tuple(round_id) if round_id else None, appendix)
        view = view_of(property_path)
        season.refuse_old(view, "orders", old)
        made = season.write_orders(view, folder or property_path.parent, options)
        give_files(made.paths, made.problems, as_json)


@app.command()
def report(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where; beside the property.")
    ] = None,
    paper: Annotated[str, typer.Option(help="us-letter or a4.")] = "us-letter",
    as_json: AsJson = False,
) -> None:
    """Make the season picture (one page of charts) and the season record."""
    from loamwright import season
    from loamwright.handoff import PaperOptions, check_paper

    with refusals(as_json):
        options = PaperOptions(check_paper(paper))
        made = season.write_reports(view_of(property_path), folder or property_path.parent, options)
        give_files(made.paths, made.problems, as_json)


class Conflicts(StrEnum):
    """What to do with an entry that contradicts the recorded one of its id."""

    ASK = "ask"  #: on a terminal; elsewhere the same as keep
    KEEP = "keep"
    CORRECT = "correct"


def _conflict_question(conflicts: Conflicts, as_json: bool) -> Question:
    from loamwright import season
    from loamwright.commands import text

    if conflicts is Conflicts.CORRECT:
        return lambda _recorded, _offered: True
    if conflicts is Conflicts.KEEP or as_json or not sys.stdin.isatty():
        return season.keep_what_is_recorded

    def asks(recorded: Application, offered: Application) -> bool:
        text.show_conflict(Console(stderr=True, highlight=False), recorded, offered)
        return typer.confirm("Take the new entry as a correction?", default=False, err=True)

    return asks


@app.command()
def record(
    property_path: PropertyPath,
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Records file from the map, or a CSV/XLSX of entries."),
    ] = None,
    plot: Annotated[str | None, typer.Option(help="Plot id, to enter one application by hand.")] = None,
    product: Annotated[str | None, typer.Option(help="Product applied.")] = None,
    amount: Annotated[str | None, typer.Option(help="Product applied, for example '120 lb'.")] = None,
    on: Annotated[str | None, typer.Option(help="Date, 2026-05-02; today if not given.")] = None,
    operator: Annotated[str, typer.Option(help="Who spread it.")] = "",
    ground: Annotated[str, typer.Option(help="Ground state: dry, moist, wet, frozen …")] = "",
    weather: Annotated[str, typer.Option(help="Weather at the time.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    reason: Annotated[str, typer.Option(help="Why it differs from the plan.")] = "",
    corrects: Annotated[str, typer.Option(help="Id of the entry this one corrects.")] = "",
    conflicts: Annotated[
        Conflicts, typer.Option(help="Entries of the file that contradict the record of the same id.")
    ] = Conflicts.ASK,
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Take in what was applied; the same file twice changes nothing."""
    from loamwright import season
    from loamwright.commands import data, text

    with refusals(as_json):
        if (file is None) == (plot is None):
            raise InputError(
                [Problem("record", "it needs a file, or --plot with --product and --amount", "")]
            )
        if file is not None:
            found = season.record_file(property_path, file, today(), _conflict_question(conflicts, as_json))
        else:
            found = season.record_entry(
                property_path,
                season.HandEntry(
                    plot or "",
                    product or "",
                    amount or "",
                    on,
                    operator,
                    ground,
                    weather,
                    note,
                    reason,
                    corrects,
                ),
                dt.datetime.now().astimezone(),
            )
        give(
            Answer(
                {
                    "new": [data.entry(item) for item in found.new],
                    "already_there": [item.entry_id for item in found.already_there],
                    "conflicts": data.problems(found.conflicts),
                    "status": data.status(found.view),
                    "problems": data.problems(found.problems),
                },
                lambda out: text.show_recorded(out, found, system_for(found.view, units)),
                found.problems,
            ),
            as_json,
        )


@app.command()
def calibrate(
    property_path: PropertyPath,
    spreader: Annotated[str, typer.Option(help="Spreader tested.")],
    product: Annotated[str, typer.Option(help="Product in the hopper.")],
    setting: Annotated[str, typer.Option(help="Gate or dial setting tested.")],
    caught: Annotated[str, typer.Option(help="What fell on the tarp or in the pans, '0.11 lb'.")],
    catch_area: Annotated[str, typer.Option(help="Area of the tarp or pans, '21.8 ft2'.")],
    operator: Annotated[str, typer.Option(help="Who tested.")] = "",
    swath: Annotated[str | None, typer.Option(help="Swath width, '20 ft'.")] = None,
    speed: Annotated[str | None, typer.Option(help="Ground speed, '5 mph'.")] = None,
    on: Annotated[str | None, typer.Option(help="Date; today if not given.")] = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Log a catch or tarp test of a spreader and show the rate it gives."""
    from loamwright import season
    from loamwright.commands import data, text

    with refusals(as_json):
        test = season.CatchTest(
            spreader, product, setting, operator, caught, catch_area, swath, speed, on, note
        )
        logged = season.log_calibration(property_path, test, today())
        system = "us" if units is None else units.value
        give(
            Answer(
                {"calibration": data.plain(logged)},
                lambda out: text.show_calibration(out, logged, system),
            ),
            as_json,
        )


@app.command()
def export(
    property_path: PropertyPath,
    kind: Annotated[str, typer.Argument(help="See `loamwright export PROPERTY help`.")],
    out_path: Annotated[Path, typer.Argument(metavar="FILE_OR_DIR")],
    old: Old = False,
    as_json: AsJson = False,
) -> None:
    """Write the season for other programs: GIS layers, tables, GPS places, a machine task file."""
    from loamwright import season

    with refusals(as_json):
        view = view_of(property_path)
        season.refuse_old(view, "export", old)
        made = season.export(view, kind, out_path)
        give_files(made.paths, made.problems, as_json)


def main() -> None:
    """Run the command line."""
    app()
