"""Commands about guidelines: which there are, which a property asks, rates and a guideline of one's own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loamwright.commands.answer import (
    Answer,
    AsJson,
    PropertyPath,
    give,
    give_files,
    read_if_given,
    refusals,
    today,
    view_of,
)
from loamwright.errors import InputError, Level, Problem

if TYPE_CHECKING:
    from rich.console import Console

    from loamwright.files import ChosenNow

app = typer.Typer(no_args_is_help=True, help="Published guideline editions, and your own.")


@app.command("list")
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


@app.command("crops")
def guideline_crops(
    crop: Annotated[
        str, typer.Argument(help="A crop or mixture as you call it; every crop if not given.")
    ] = "",
    region: Annotated[str, typer.Option(help="Only guidelines of this place.")] = "",
    as_json: AsJson = False,
) -> None:
    """List which guideline has which crop under which name, and what it prints for it."""
    from loamwright import files
    from loamwright.commands import data, text

    with refusals(as_json):
        found = files.list_crops(crop, region)
        give(Answer(data.plain(found), lambda out: text.show_crops(out, found, crop)), as_json)


@app.command("check")
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


@app.command("new")
def guideline_new(
    folder: Annotated[Path, typer.Argument(help="Folder to make, with two files to fill in.")],
    as_json: AsJson = False,
) -> None:
    """Make a guideline of your own to fill in: what it is, and one sheet of its rates."""
    from loamwright import files

    with refusals(as_json):
        give_files(files.new_guideline(folder), (), as_json)


@app.command("use")
def guideline_use(
    property_path: PropertyPath,
    editions: Annotated[
        list[str] | None, typer.Argument(metavar="[EDITION]…", help="Ids or folders, in the order to ask.")
    ] = None,
    crop: Annotated[str, typer.Option(help="Only for this crop, as your plots call it.")] = "",
    as_crop: Annotated[
        str, typer.Option("--as", help="Crop of the edition whose rule governs, for a mixture.")
    ] = "",
    add: Annotated[bool, typer.Option(help="Ask them after those already chosen.")] = False,
    lime: Annotated[str, typer.Option(help="Edition to ask for lime.")] = "",
    depth: Annotated[
        str, typer.Option(help="Lime for samples of another depth: half, in proportion, as printed.")
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Choose the guidelines a property asks, for any crop or for one; without any, show the choice."""
    from loamwright import files

    with refusals(as_json):
        if (crop or as_crop) and not editions:
            raise InputError([Problem("guideline use", "no edition is named", "Name one: `guideline list`.")])
        if as_crop and not crop:
            raise InputError([Problem("--as", "it needs --crop", "Name the crop as your plots call it.")])
        found = files.chosen(property_path)
        if editions:
            found = files.choose(property_path, editions, crop, as_crop, add)
        if lime or depth:
            found = files.choose_lime(property_path, lime, depth)
        _give_choice(found, as_json)


@app.command("rate")
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
    as_json: AsJson = False,
) -> None:
    """Set a standard rate of your own; without a rate, make a sheet of what nothing answers, to fill in."""
    from loamwright import files, season

    with refusals(as_json):
        if not any((crop, nutrient, rate, by, why)):
            unknown = season.without_a_rate(view_of(property_path))
            made = files.sheet_to_fill(property_path, unknown, sheet)
            give_files((made,), (), as_json, f"fill it in, then: loamwright import {property_path} {made}")
            return
        when = read_if_given("--on", on, files.parse_date) or today()
        found = files.set_own_rate(property_path, crop, nutrient, rate, by, why, when, sheet)
        _give_choice(found, as_json)


def _give_choice(found: ChosenNow, as_json: bool) -> None:
    from loamwright.commands import data

    def show(out: Console) -> None:
        out.print(f"Asked for rates: {found.guideline}", markup=False)
        out.print(f"Asked for lime: {found.lime_guideline}", markup=False)

    answer = {
        "guideline": found.guideline,
        "lime_guideline": found.lime_guideline,
        "problems": data.problems(found.problems),
    }
    give(Answer(answer, show, found.problems), as_json)
