"""The command line, assembled: read what was typed, call `season` or a neighbour once, return the answer.

What becomes of the answer is the same for every command: `answer`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from loamwright.commands import buy, crop_tables, keep, plan, shape, tailgate
from loamwright.commands.answer import (
    Answer,
    Asked,
    Commands,
    LayerName,
    OfSeason,
    Old,
    PropertyPath,
    command,
    read,
    read_answers,
    read_if_given,
    today,
    view_of,
)
from loamwright.errors import InputError, Problem
from loamwright.money import currency_told

app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    help="Map, plan and record the fertility of many small, irregular plots.",
)


Processes = Annotated[int, typer.Option(help="Of parts: processes to work in (extra `scale`).")]
Cluster = Annotated[
    str, typer.Option(metavar="ADDRESS", help="Of parts: a dask scheduler to work on; makes connections.")
]


def _show_version(wanted: bool) -> None:
    if wanted:
        from loamwright.version import __version__

        typer.echo(f"loamwright {__version__}")
        raise typer.Exit


@app.callback()
def start(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Say which version it is."),
    ] = False,
) -> None:
    """Map, plan and record the fertility of many small, irregular plots."""


app.add_typer(crop_tables.app, name="guideline")
app.add_typer(buy.app, name="buy")
app.add_typer(tailgate.app, name="tailgate")
app.add_typer(keep.season_app, name="season")
app.add_typer(shape.app, name="shape")


# ---------------------------------------------------------------------------------------------
# Without a property


@command(app, in_units=True)
def measure(
    asked: Asked,
    file: Annotated[
        Path,
        typer.Argument(
            help="Plot boundaries: GeoJSON, KML/KMZ, GPX, Shapefile, GeoPackage; or a table of corners, "
            "bearings and distances, sides and diagonals, offsets, circles (CSV, XLSX)."
        ),
    ],
    keepouts: Annotated[
        Path | None, typer.Option("--keep-outs", help="File of keep-outs to subtract with their setbacks.")
    ] = None,
    gps_sigma: Annotated[str, typer.Option(help="Standard error of a walked GPS fix.")] = "3 m",
    layer: LayerName = None,
    parts: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write tables of 25,000 plots here; go on where a run stopped."),
    ] = None,
    processes: Processes = 1,
    cluster: Cluster = "",
) -> Answer:
    """Measure the true acreage of the plots in a file; makes nothing, but tables when told where."""
    from loamwright import files, season
    from loamwright.units import parse_length

    sigma_m = read("gps sigma", gps_sigma, parse_length)
    if parts is not None:
        made = season.write_areas_in_parts(
            file, keepouts, layer, sigma_m, parts, processes, cluster, asked.progress
        )
        return Answer(made, from_file=True)
    _only_with({"processes": processes != 1, "cluster": cluster}, "plots measured in parts", _NAME_PARTS)
    found = files.measure(file, keepouts, today().year, sigma_m, layer, asked.progress)
    return Answer(found, files.units_in(file), from_file=True)


@command(app, in_units=True)
def compare(
    file: Annotated[Path, typer.Argument(help="A products file (CSV or XLSX), or a property file.")],
    steps: Annotated[bool, typer.Option("--steps", help="Print the label arithmetic of each offer.")] = False,
) -> Answer:
    """Compare offers by price per pound (or kilogram) of each nutrient, from the label."""
    from loamwright import files
    from loamwright.commands.results import OffersCompared

    found = files.compare(file)
    compared = OffersCompared(found.ranked(), found.problems, steps, found.cheapest(), currency_told())
    return Answer(compared, found.units, from_file=True)


@command(app, "read")
def read_file(
    file: Annotated[
        Path,
        typer.Argument(help="Lab sheet, price sheet, scale tickets: CSV, XLSX, text, Modus XML or JSON."),
    ],
    answer: Annotated[
        list[str] | None,
        typer.Option("--answer", metavar="ID=CHOICE", help="Answer a question the file raises; repeatable."),
    ] = None,
    profile: Annotated[
        Path | None, typer.Option(help="Profile of the lab or dealer, kept from an earlier file.")
    ] = None,
    save_profile: Annotated[
        Path | None, typer.Option(help="Keep the answers as a profile for the next file of this lab.")
    ] = None,
) -> Answer:
    """Tell what a lab, dealer or quarry file says, and what it does not tell; takes nothing in."""
    from loamwright import files
    from loamwright.commands.results import sheet_read

    known = files.load_profile(profile) if profile else None
    found = files.read_sheet(file, read_answers(answer or []), known)
    if save_profile is not None:
        files.save_profile(save_profile, files.keep_answers(found, earlier=known))
    return Answer(sheet_read(found))


@command(app)
def serve(
    property_path: Annotated[
        Path | None,
        typer.Argument(
            metavar="[PROPERTY]", help="The property file; chosen on the first page if not given."
        ),
    ] = None,
    lan: Annotated[
        bool, typer.Option("--lan", help="Also for phones in the same network, let in by a code.")
    ] = False,
    port: Annotated[
        int | None, typer.Option(help="Where; the usual one, or a free one, if not given.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open it in the browser.")] = True,
    shortcut: Annotated[
        bool, typer.Option("--shortcut", help="Only put an icon on the desktop that opens it.")
    ] = False,
) -> Answer:
    """Open the app in the browser: draw, enter, decide, plan, hand over and record; ends with Ctrl+C."""
    from loamwright.commands.opening import open_app, put_shortcut
    from loamwright.commands.results import FilesMade

    if shortcut:
        return Answer(FilesMade((put_shortcut(property_path),)))

    open_app(property_path, lan, port, browser)
    return Answer(FilesMade(()))


# ---------------------------------------------------------------------------------------------
# Making and filling a property


@command(app, in_units=True)
def demo(
    asked: Asked,
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Where to put the demo; made if missing.")
    ] = Path("alder-fork-demo"),
) -> Answer:
    """Build the invented demo property and run the whole chain on it.

    What is missing there is part of the show: it ends with exit code 0, where `plan` ends with 1 for the same
    warnings.
    """
    from loamwright import upkeep

    made = upkeep.build_demo(folder, today(), asked.progress)
    return Answer(made, made.view.record.info.units)


@command(app, in_units=True)
def new(
    asked: Asked,
    property_path: PropertyPath,
    name: Annotated[str, typer.Option(help="What people call the property.")],
    season_year: Annotated[
        int | None, typer.Option("--season", help="Season (year); this year if not given.")
    ] = None,
    settings: Annotated[
        Path | None, typer.Option(help="A property.json with the choices of the property.")
    ] = None,
) -> Answer:
    """Make an empty property file."""
    from loamwright import files
    from loamwright.commands.results import PropertyMade

    units = None if asked.units is None else asked.units.value
    files.new_property(property_path, name, season_year or today().year, settings, units)
    return Answer(PropertyMade(property_path))


@command(app, "import")
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
    preview: Annotated[
        bool, typer.Option("--preview", help="Say what would differ, and store nothing.")
    ] = False,
    answer: Annotated[
        list[str] | None,
        typer.Option("--answer", metavar="ID=CHOICE", help="Answer a question a file raises; repeatable."),
    ] = None,
    profile: Annotated[
        Path | None, typer.Option(help="Profile of the lab or dealer, kept from an earlier file.")
    ] = None,
    save_profile: Annotated[
        Path | None, typer.Option(help="Keep the answers, and which plot each label is, for the next file.")
    ] = None,
) -> Answer:
    """Take files into the property: maps, tables, what a lab, dealer or quarry sent.

    A blank keeps what is there; all of it is taken, or nothing; what a sheet does not tell is asked.
    """
    from loamwright import files as reading
    from loamwright import season

    found = reading.import_files(
        property_path,
        files,
        kind,
        layer,
        preview=preview,
        check=lambda record: season.worked_out(record, today()),
        answers=read_answers(answer or []),
        profile=reading.load_profile(profile) if profile else None,
        today=today(),
    )
    if save_profile is not None and found.profile is not None:
        reading.save_profile(save_profile, found.profile)
    return Answer(found, from_file=True)


# ---------------------------------------------------------------------------------------------
# Reading a property


@command(app, in_units=True)
def needs(
    asked: Asked,
    place: Annotated[
        Path,
        typer.Argument(
            metavar="PROPERTY", help="The property file (.gpkg); or a map file of plots, with TESTS."
        ),
    ],
    tests: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[TESTS]…", help="Tables of soil tests: needs of files, no property needed."),
    ] = None,
    of_season: OfSeason = None,
    guideline: Annotated[str, typer.Option(help="Of files: the guideline to ask.")] = "",
    layer: LayerName = None,
    parts: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Of files: write tables of 2,000 plots here; go on where a run stopped."
        ),
    ] = None,
    processes: Processes = 1,
    cluster: Cluster = "",
) -> Answer:
    """Show what each plot needs of each nutrient and of lime, and what is unknown."""
    from loamwright import files, season
    from loamwright.commands.results import SeasonNeeds

    if not tests:
        several = processes != 1
        stated = {
            "guideline": guideline,
            "layer": layer,
            "parts": parts,
            "processes": several,
            "cluster": cluster,
        }
        _only_with(stated, "files of plots and soil tests", "Leave it out, or give TESTS.")
        view = view_of(place, of_season)
        return Answer(SeasonNeeds(view), view.record.info.units)
    record = files.without_property(place, tests, of_season or today().year, today(), layer, guideline)
    if parts is None:
        _only_with({"processes": processes != 1, "cluster": cluster}, "needs written in parts", _NAME_PARTS)
        return Answer(SeasonNeeds(season.Season(record, today())))
    sources = (place, *tests)
    return Answer(
        season.write_needs_in_parts(record, sources, parts, today(), processes, cluster, asked.progress)
    )


_NAME_PARTS = "Leave it out, or name a folder with `parts`."


def _only_with(stated: Mapping[str, object], needed: str, fix: str) -> None:
    """Refuse options that mean nothing here."""
    told = [name for name, value in stated.items() if value]
    if told:
        raise InputError([Problem(name, f"this is only for {needed}", fix) for name in told])


@command(app, in_units=True)
def explain(
    property_path: PropertyPath,
    plot: Annotated[str, typer.Argument(help="Plot id.")],
    nutrient: Annotated[
        str | None, typer.Argument(help="N, P2O5, K2O, S, … or lime; all if not given.")
    ] = None,
) -> Answer:
    """Show the math of a plot: boundary, area, need, plan, with the source of each step."""
    from loamwright import season

    view = view_of(property_path)
    return Answer(season.explain(view, plot, nutrient), view.record.info.units)


@command(app, in_units=True)
def status(property_path: PropertyPath, of_season: OfSeason = None) -> Answer:
    """Show what is done, what is left and what each plot is still owed."""
    from loamwright import season
    from loamwright.commands.results import SeasonStatus

    view = view_of(property_path, of_season)
    found = SeasonStatus(view, season.acidity(view), season.lime_ledger(view))
    return Answer(found, view.record.info.units)


@command(app)
def sample(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Also write core places (GPX) and sampling sheets here."),
    ] = None,
    place: Annotated[
        str | None, typer.Option(help="Whose published advice to use; the property's setting if not given.")
    ] = None,
    cores: Annotated[
        int | None, typer.Option(min=1, max=100, help="Cores in one sample; by plot size if none.")
    ] = None,
    lab: Annotated[
        str | None, typer.Option(help="Also write an order to this laboratory (Modus submit file) to DIR.")
    ] = None,
    taken: Annotated[str | None, typer.Option(help="Day the cores were taken, for the order.")] = None,
    depth: Annotated[str | None, typer.Option(help="Slice sampled, for the order: '0-6 in'.")] = None,
) -> Answer:
    """Plan soil sampling: which plots are due and why, how many cores, and where."""
    from loamwright import files, handoff, season
    from loamwright.commands.results import SamplesPlanned

    if lab is not None and (folder is None or taken is None or depth is None):
        what = "an order to a laboratory needs a folder, the day and the depth of the cores"
        raise InputError([Problem("lab", what, "Give DIR, `taken` 2026-04-12 and `depth` '0-6 in'.")])
    view = view_of(property_path)
    day, slice_m = (
        read_if_given("taken", taken, lambda text: files.parse_date(text, view.record.info.units)),
        read_if_given("depth", depth, files.parse_depth),
    )
    view = season.with_sampling(view, place, cores)
    made = season.Written(()) if folder is None else season.write_sampling(view, folder)
    paths, problems = made.paths, made.problems
    if lab is not None and folder is not None and day is not None and slice_m is not None:
        order, noted = handoff.write_lab_order(view, folder / "lab_order.xml", lab, day, slice_m)
        paths, problems = (*paths, *order), (*problems, *noted)
    return Answer(SamplesPlanned(tuple(view.sampling.values()), paths, problems))


Planned = Annotated[bool, typer.Option("--planned", help="Count also what the season's plan still puts on.")]


@command(app, "history", in_units=True)
def show_history(
    property_path: PropertyPath,
    plot: Annotated[str | None, typer.Argument(help="Plot id; every plot if not given.")] = None,
    planned: Planned = False,
) -> Answer:
    """Show tests, what went on after the newest of them, and nutrient balances of past seasons."""
    from loamwright import season
    from loamwright.commands.results import Histories

    view = view_of(property_path)
    return Answer(Histories(season.history(view, plot, planned)), view.record.info.units)


@command(app, "project")
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
    planned: Planned = False,
) -> Answer:
    """Say where a soil test may go from what was put on after it and what the crop takes out."""
    from loamwright import season
    from loamwright.units import parse_rate
    from loamwright.values import Nutrient

    if nutrient.upper() not in ("P2O5", "K2O"):
        raise InputError([Problem("nutrient", f"{nutrient!r} has no soil test here", "Use P2O5 or K2O.")])
    view = view_of(property_path)
    rate = read_if_given("removed", removed, parse_rate)
    return Answer(season.project(view, plot, Nutrient(nutrient.upper()), rate, per_ppm, planned))


app.registered_commands += plan.app.registered_commands
app.registered_commands += keep.app.registered_commands


# ---------------------------------------------------------------------------------------------
# Handing off, and what comes back


@command(app, "map")
def make_map(
    property_path: PropertyPath,
    out_path: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="The map; beside the property if not given.")
    ] = None,
    round_id: Annotated[
        str | None, typer.Option("--round", help="Make it for one round only: its number or title.")
    ] = None,
    basemap: Annotated[
        str | None, typer.Option(help="aerial or topo: online background, off when there is no signal.")
    ] = None,
    image: Annotated[Path | None, typer.Option(help="Your own GeoTIFF to embed (extra: imagery).")] = None,
    reader: Annotated[
        str | None,
        typer.Option("--for", help="helper or planner; the planner's, with all, if not given."),
    ] = None,
    old: Old = False,
    of_season: OfSeason = None,
) -> Answer:
    """Make the field map: one file that opens on a phone without a signal."""
    from loamwright import season
    from loamwright.commands.results import FilesMade

    out_path = out_path or property_path.with_suffix(".html")
    view = view_of(property_path, of_season)
    season.refuse_old(view, "map", old)
    made = season.make_map(view, out_path, round_id, basemap, image, reader)
    return Answer(FilesMade((made.path,), made.problems, f"{made.size_bytes / 1000:,.0f} kB"))


@command(app)
def orders(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where; beside the property.")
    ] = None,
    paper: Annotated[str, typer.Option(help="us-letter or a4.")] = "us-letter",
    round_id: Annotated[
        list[str] | None, typer.Option("--round", help="Only these rounds: number or title; repeatable.")
    ] = None,
    reader: Annotated[
        str | None, typer.Option("--for", help="helper, planner or driver; all of them if not given.")
    ] = None,
    appendix: Annotated[bool, typer.Option(help="Show how each number was made, in a file.")] = True,
    old: Old = False,
    of_season: OfSeason = None,
) -> Answer:
    """Make the work orders (PDF), an edition for each reader, and the buying list."""
    from loamwright import season
    from loamwright.commands.results import FilesMade
    from loamwright.handoff import PaperOptions, check_paper, check_reader

    rounds = tuple(round_id) if round_id else None
    options = PaperOptions(check_paper(paper), rounds, appendix, check_reader(reader))
    view = view_of(property_path, of_season)
    season.refuse_old(view, "orders", old)
    made = season.write_orders(view, folder or property_path.parent, options)
    return Answer(FilesMade(made.paths, made.problems))


@command(app)
def report(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where; beside the property.")
    ] = None,
    paper: Annotated[str, typer.Option(help="us-letter or a4.")] = "us-letter",
    of_season: OfSeason = None,
) -> Answer:
    """Make the season picture (one page of charts) and the season record."""
    from loamwright import season
    from loamwright.commands.results import FilesMade
    from loamwright.handoff import PaperOptions, check_paper

    options = PaperOptions(check_paper(paper))
    made = season.write_reports(view_of(property_path, of_season), folder or property_path.parent, options)
    return Answer(FilesMade(made.paths, made.problems))


@command(app, in_units=True)
def record(
    property_path: PropertyPath,
    file: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE]...",
            help="Records of the map: file, pasted text, pictures of codes; or a CSV/XLSX of entries.",
        ),
    ] = None,
    plot: Annotated[str | None, typer.Option(help="Plot id, to enter one application by hand.")] = None,
    product: Annotated[str | None, typer.Option(help="Product applied.")] = None,
    amount: Annotated[str | None, typer.Option(help="'120 lb', '2.5 bags', '3 gal', '120 lb/acre'.")] = None,
    applied_on: Annotated[
        str | None, typer.Option("--on", help="Date, 2026-05-02; today if not given.")
    ] = None,
    operator: Annotated[str, typer.Option(help="Who spread it.")] = "",
    ground: Annotated[str, typer.Option(help="Ground state: dry, moist, wet, frozen …")] = "",
    weather: Annotated[str, typer.Option(help="Weather at the time.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    reason: Annotated[str, typer.Option(help="Why it differs from the plan.")] = "",
    corrects: Annotated[str, typer.Option(help="Id of the entry this one corrects.")] = "",
    area: Annotated[str | None, typer.Option(help="Ground it went on, '5 acre', when only a part.")] = None,
    part: Annotated[str, typer.Option(help="What that part is called.")] = "",
    job: Annotated[
        str | None, typer.Option(help="A job of the plan, or a plot with one job to do: all of its load.")
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option("--answer", metavar="ID=CHOICE", help="Answer what is asked of an entry; repeatable."),
    ] = None,
) -> Answer:
    """Take in what was applied; the same file twice changes nothing."""
    from loamwright import season

    given = [one for one in (file or None, plot, job) if one is not None]
    if len(given) != 1:
        what = "it needs one thing to record"
        fix = "Give a file, or `job`, or `plot` with `product` and `amount`."
        raise InputError([Problem("record", what, fix)])
    answers = read_answers(answer or [])
    now = dt.datetime.now().astimezone()
    entry = season.HandEntry(
        plot_id=plot or "",
        product=product or "",
        amount=amount or "",
        applied_on=applied_on,
        operator=operator,
        ground=ground,
        weather=weather,
        note=note,
        reason=reason,
        corrects=corrects,
        area=area,
        part=part,
    )
    if file:
        found = season.record_file(property_path, file[0], today(), answers, file[1:])
    elif job is not None:
        found = season.record_job(property_path, job, entry, now, answers)
    else:
        found = season.record_entry(property_path, entry, now, answers)
    return Answer(found, found.view.record.info.units)


@command(app, in_units=True)
def calibrate(
    property_path: PropertyPath,
    spreader: Annotated[str, typer.Option(help="Spreader tested.")],
    product: Annotated[str, typer.Option(help="Product in the hopper.")],
    setting: Annotated[str, typer.Option(help="Gate or dial setting tested.")],
    caught: Annotated[str, typer.Option(help="What fell on the tarp or in the pans: '0.11 lb', '14 fl oz'.")],
    catch_area: Annotated[str, typer.Option(help="Area of the tarp or pans, '21.8 ft2'.")],
    operator: Annotated[str, typer.Option(help="Who tested.")] = "",
    swath: Annotated[str | None, typer.Option(help="Swath width, '20 ft'.")] = None,
    speed: Annotated[str | None, typer.Option(help="Ground speed, '5 mph'.")] = None,
    tested_on: Annotated[str | None, typer.Option("--on", help="Date; today if not given.")] = None,
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
) -> Answer:
    """Log a catch or tarp test of a spreader and show the rate it gives."""
    from loamwright import files, season
    from loamwright.commands.results import CatchLogged

    test = season.CatchTest(
        spreader=spreader,
        product=product,
        setting=setting,
        operator=operator,
        caught=caught,
        catch_area=catch_area,
        swath=swath,
        speed=speed,
        tested_on=tested_on,
        note=note,
    )
    logged = CatchLogged(season.log_calibration(property_path, test, today()), caught)
    return Answer(logged, files.units_of(property_path))


@command(app)
def export(
    property_path: PropertyPath,
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help="What to write; `loamwright export help` lists the kinds.")
    ] = "",
    out_path: Annotated[Path | None, typer.Argument(metavar="FILE_OR_DIR", help="Where to write it.")] = None,
    old: Old = False,
    of_season: OfSeason = None,
) -> Answer:
    """Write the season for other programs: GIS layers, tables, GPS places, a machine task file."""
    from loamwright import handoff, season
    from loamwright.commands.results import ExportKinds, FilesMade

    if "help" in (str(property_path), kind):
        return Answer(ExportKinds({word: one.holds for word, one in handoff.KINDS.items()}))
    if not kind or out_path is None:
        missing = "FILE_OR_DIR" if kind else "KIND"
        fix = "`loamwright export help` lists the kinds; write PROPERTY KIND FILE_OR_DIR."
        raise InputError([Problem("export", f"{missing} is missing", fix)])
    view = view_of(property_path, of_season)
    handoff.check_kind(kind)
    if handoff.KINDS[kind].of_plan:
        season.refuse_old(view, "export", old)
    made = handoff.export(view, out_path, kind)
    return Answer(FilesMade(made.paths, made.problems))
