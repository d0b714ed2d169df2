"""Commands about guidelines: which there are, which a property asks, rates and a guideline of one's own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from loamwright.commands.answer import Answer, PropertyPath, command, read_if_given, today, view_of
from loamwright.errors import InputError, Problem, has_errors

app = typer.Typer(no_args_is_help=True, help="Published guideline editions, and your own.")


@command(app, "list")
def guideline_list() -> Answer:
    """List the built-in guideline editions with their scope."""
    from loamwright import files
    from loamwright.commands.results import Editions

    return Answer(Editions(files.guideline_editions()))


@command(app, "crops")
def guideline_crops(
    crop: Annotated[
        str, typer.Argument(help="A crop or mixture as you call it; every crop if not given.")
    ] = "",
    region: Annotated[str, typer.Option(help="Only guidelines of this place.")] = "",
) -> Answer:
    """List which guideline has which crop under which name, and what it prints for it."""
    from loamwright import files
    from loamwright.commands.results import CropsAsked

    return Answer(CropsAsked(crop, region, files.list_crops(crop, region)))


@command(app, "check")
def guideline_check(
    file: Annotated[Path, typer.Argument(help="Folder or file of a guideline edition.")],
) -> Answer:
    """Check a guideline of your own, row by row."""
    from loamwright import files
    from loamwright.commands.results import EditionChecked

    problems = files.check_guideline(file)
    if has_errors(problems):
        raise InputError(problems)
    return Answer(EditionChecked(file, problems))


@command(app, "new")
def guideline_new(
    folder: Annotated[Path, typer.Argument(help="Folder to make, with two files to fill in.")],
) -> Answer:
    """Make a guideline of your own to fill in: what it is, and one sheet of its rates."""
    from loamwright import files
    from loamwright.commands.results import FilesMade

    return Answer(FilesMade(files.new_guideline(folder)))


@command(app, "use")
def guideline_use(
    property_path: PropertyPath,
    editions: Annotated[
        list[str] | None, typer.Argument(metavar="[EDITION]…", help="Ids or folders, in the order to ask.")
    ] = None,
    crop: Annotated[str, typer.Option(help="Only for this crop, as your plots call it.")] = "",
    as_crop: Annotated[
        str, typer.Option("--as", help="Crop of the edition whose rule governs, for a mixture.")
    ] = "",
    add: Annotated[bool, typer.Option("--add", help="Ask them after those already chosen.")] = False,
    lime: Annotated[str, typer.Option(help="Edition to ask for lime.")] = "",
    depth: Annotated[
        str, typer.Option(help="Lime for samples of another depth: half, in proportion, as printed.")
    ] = "",
) -> Answer:
    """Choose the guidelines a property asks, for any crop or for one; without any, show the choice."""
    from loamwright import files

    if (crop or as_crop) and not editions:
        raise InputError([Problem("EDITION", "no edition is named", "See `loamwright guideline list`.")])
    if as_crop and not crop:
        raise InputError([Problem("--as", "it needs --crop", "Name the crop as your plots call it.")])
    found = files.chosen(property_path)
    if editions:
        found = files.choose(property_path, editions, crop, as_crop, add)
    if lime or depth:
        found = files.choose_lime(property_path, lime, depth)
    return Answer(found)


@command(app, "rate")
def guideline_rate(
    property_path: PropertyPath,
    crop: Annotated[str, typer.Option(help="Crop, as your plots call it.")] = "",
    nutrient: Annotated[str, typer.Option(help="N, P2O5, K2O, S, …")] = "",
    rate: Annotated[str, typer.Option(help="For example '60 lb/acre'.")] = "",
    by: Annotated[str, typer.Option(help="Who sets it.")] = "",
    why: Annotated[str, typer.Option(help="Why, or from which publication.")] = "",
    on: Annotated[str | None, typer.Option(help="Date; today if not given.")] = None,
    sheet: Annotated[
        Path | None, typer.Option(help="Your sheet; standard_rates.csv beside the property if not given.")
    ] = None,
) -> Answer:
    """Set a standard rate of your own; without a rate, make a sheet of what nothing answers, to fill in."""
    from loamwright import files, season
    from loamwright.commands.results import FilesMade

    if not any((crop, nutrient, rate, by, why)):
        made = files.sheet_to_fill(property_path, season.without_a_rate(view_of(property_path)), sheet)
        return Answer(FilesMade((made,), about=f"fill it in, then: loamwright import {property_path} {made}"))
    system = files.load(property_path).info.units
    when = read_if_given("on", on, lambda text: files.parse_date(text, system)) or today()
    return Answer(files.set_own_rate(property_path, crop, nutrient, rate, by, why, when, sheet))
