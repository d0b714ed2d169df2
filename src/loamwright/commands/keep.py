"""Commands that keep a property: show, set, add, retire, rename, undo, changes, check, purchase, decide …

Each reads what was asked, calls `upkeep` once and prints the answer.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from loamwright.commands.answer import (
    Answer,
    AsJson,
    InUnits,
    PropertyPath,
    give,
    give_files,
    read,
    refusals,
    system_for,
    today,
    view_of,
)

app = typer.Typer()
season_app = typer.Typer(no_args_is_help=True, help="Seasons: start the next one.")

Word = Annotated[
    str,
    typer.Argument(
        metavar="THING",
        help="plot, part, cropping, keep-out, way, spreader, soil-test, organic, product, offer, purchase, "
        "decision, settings.",
    ),
]
Who = Annotated[str, typer.Option("--by", help="Who; the keeper named in the settings if not given.")]
Fields = Annotated[list[str], typer.Argument(metavar="FIELD=VALUE…", help="What to set; 'clear' clears.")]


def _changed(found: Any, as_json: bool) -> None:
    """Print what a change did."""
    from loamwright.commands import data, text

    def show_it(out: Console) -> None:
        out.print(found.sentence, markup=False)
        text.show_fields(out, found.fields)
        if found.change_id:
            out.print(f"Change {found.change_id}; take it back with: undo {found.change_id}", markup=False)

    fields = [{"field": name, "before": old, "after": new} for name, old, new in found.fields]
    content = {"change": found.change_id or None, "what": found.sentence, "fields": fields}
    give(Answer({**content, "problems": data.problems(found.problems)}, show_it, found.problems), as_json)


@app.command()
def show(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str | None, typer.Argument(help="Its id or name; all are listed if not given.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Also the fields that are not stated.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show one thing with where each value came from, or list what there is."""
    from loamwright import upkeep
    from loamwright.commands import text

    with refusals(as_json):
        found = upkeep.show(property_path, thing, name)
        rows = [
            {"field": f.name, "value": f.value or None, "from": f.came_from or None, "help": f.help}
            for f in found.fields
        ]
        content = {"thing": found.word, "id": found.name or None, "fields": rows, "problems": []}
        listed = [{"id": ident, "about": about} for ident, about in found.listed]
        give(Answer({**content, "listed": listed}, lambda out: text.show_thing(out, found, every)), as_json)


@app.command("set")
def set_fields(
    property_path: PropertyPath,
    thing: Word,
    words: Annotated[
        list[str],
        typer.Argument(metavar="ID FIELD=VALUE…", help="Which one, and what to set; 'clear' clears."),
    ],
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Change named fields of one thing, and nothing else."""
    from loamwright import upkeep

    with refusals(as_json):
        name = " ".join(word for word in words if "=" not in word)
        texts = [word for word in words if "=" in word]
        _changed(upkeep.set_fields(property_path, thing, name, texts, today(), by), as_json)


@app.command()
def add(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str, typer.Argument(metavar="ID", help="Its id; never used again.")],
    fields: Fields,
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Add a cropping, part, spreader, soil test, manure, product or offer."""
    from loamwright import upkeep

    with refusals(as_json):
        _changed(upkeep.add(property_path, thing, name, fields, today(), by), as_json)


@app.command()
def retire(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str, typer.Argument(help="Its id or name; an application by its entry id.")],
    because: Annotated[str, typer.Option(help="Why.")] = "",
    anyway: Annotated[bool, typer.Option("--anyway", help="Also when something uses it.")] = False,
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Retire a thing: it stays in the history, and leaves lists, sums and plans."""
    from loamwright import upkeep

    with refusals(as_json):
        _changed(upkeep.retire(property_path, thing, name, because, today(), by, anyway), as_json)


@app.command()
def rename(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str, typer.Argument(help="The id it has.")],
    new_name: Annotated[
        str, typer.Argument(metavar="NEW", help="The id it gets; the old one still finds it.")
    ],
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Give a plot another id."""
    from loamwright import upkeep

    with refusals(as_json):
        _changed(upkeep.rename(property_path, thing, name, new_name, today(), by), as_json)


@app.command()
def undo(
    property_path: PropertyPath,
    number: Annotated[
        int | None, typer.Argument(help="Number of the change; the newest if not given.")
    ] = None,
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Take a change back, as a new change; refused when a later one was built on it."""
    from loamwright import upkeep

    with refusals(as_json):
        _changed(upkeep.undo(property_path, number, today(), by), as_json)


@app.command()
def changes(
    property_path: PropertyPath,
    number: Annotated[
        int | None, typer.Argument(help="One change in full; all are listed if not given.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List every change: when, who, by which command, what it did."""
    from loamwright import files, upkeep
    from loamwright.commands import text

    with refusals(as_json):
        found = files.read_journal(property_path)
        chosen = [change for change in found if number in (None, change.change_id)]
        rows = [
            {
                "change": change.change_id,
                "made_at": change.made_at,
                "made_by": change.made_by,
                "command": change.command,
                "undoes": change.undoes,
                "did": [
                    {"what": what, "before": before, "after": after}
                    for what, before, after in upkeep.described(change)
                ],
            }
            for change in chosen
        ]
        content: dict[str, Any] = {"changes": rows, "problems": []}
        give(Answer(content, lambda out: text.show_changes(out, rows, number is not None)), as_json)


@app.command()
def check(
    property_path: PropertyPath,
    mend: Annotated[
        bool,
        typer.Option("--mend", help="Take out triggers and views that are not ours; copies the file first."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Read the whole property file and name what is wrong with it."""
    from loamwright import files
    from loamwright.commands import data

    with refusals(as_json):
        found = files.check_property(property_path, mend, today())

        def show_it(out: Console) -> None:
            told = "nothing is wrong with it." if not found else f"{len(found)} found."
            out.print(f"{property_path}: {told}", markup=False)

        content = {"sound": not found, "problems": data.problems(found)}
        give(Answer(content, show_it, found), as_json)


@app.command()
def purchase(
    property_path: PropertyPath,
    product: Annotated[str, typer.Argument(help="Product.")],
    count: Annotated[str, typer.Argument(help="Packages; with --counted, all that are there.")],
    package: Annotated[str, typer.Option(help="Package, when it is offered in several.")] = "",
    paid: Annotated[str | None, typer.Option(help="Money in all.")] = None,
    on: Annotated[str | None, typer.Option(help="Date; today if not given.")] = None,
    seller: Annotated[str, typer.Option(help="Who sold it.")] = "",
    note: Annotated[str, typer.Option(help="Anything else.")] = "",
    received: Annotated[bool, typer.Option("--received", help="It came without being bought.")] = False,
    returned: Annotated[bool, typer.Option("--returned", help="It went back.")] = False,
    counted: Annotated[bool, typer.Option("--counted", help="This many are in the shed now.")] = False,
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Write down what was bought, received, returned or counted; stock follows from it and the record."""
    from loamwright import upkeep
    from loamwright.errors import InputError, Problem
    from loamwright.supplies import Movement
    from loamwright.units import parse_number

    with refusals(as_json):
        said = [
            kind
            for kind, given in (
                (Movement.RECEIVED, received),
                (Movement.RETURNED, returned),
                (Movement.COUNTED, counted),
            )
            if given
        ]
        if len(said) > 1:
            raise InputError([Problem("purchase", "it is one of received, returned, counted", "Give one.")])
        kind = said[0] if said else Movement.BOUGHT
        number = read("COUNT", count, parse_number)
        found = upkeep.purchase(
            property_path, product, number, kind, today(), by, package, paid, on, seller, note
        )
        _changed(found, as_json)


@app.command()
def stock(property_path: PropertyPath, as_json: AsJson = False, units: InUnits = None) -> None:
    """Show what is in the shed: counted, bought, less put on."""
    from loamwright import files, season
    from loamwright.commands import text

    with refusals(as_json):
        record = files.load(property_path)
        found = season.stock_of(record)
        rows = [
            {
                "product": item.product,
                "counted_kg": item.counted_kg,
                "bought_kg": item.bought_kg,
                "used_kg": item.used_kg,
                "left_kg": item.left_kg,
                "packages": {name: count for name, (count, _) in item.packages.items()},
            }
            for item in found.values()
        ]
        system = record.info.units if units is None else units.value
        content: dict[str, Any] = {"stock": rows, "problems": []}
        give(Answer(content, lambda out: text.show_stock(out, found.values(), system)), as_json)


@app.command()
def decide(
    property_path: PropertyPath,
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="[PLOT… NUTRIENT VALUE]",
            help="Plots, nutrient or lime, an amount or share: AF-17 N 50 %. Without: the list.",
        ),
    ] = [],  # noqa: B006 - typer asks for a list
    because: Annotated[str, typer.Option(help="Why.")] = "",
    any_crop: Annotated[bool, typer.Option("--any-crop", help="Whatever grows there.")] = False,
    by: Who = "",
    as_json: AsJson = False,
    units: InUnits = None,
) -> None:
    """Decide where the source leaves a choice; without a plot, list open and made decisions."""
    from loamwright import season, upkeep
    from loamwright.commands import data, text
    from loamwright.errors import InputError, Problem

    with refusals(as_json):
        if not words:
            view = view_of(property_path)
            rows = season.decisions_of(view)
            content: dict[str, Any] = {"decisions": [data.plain(row) for row in rows], "problems": []}
            give(
                Answer(
                    content,
                    lambda out: text.show_decisions(out, rows, system_for(view, units)),
                    undecided=any(row.open for row in rows),
                ),
                as_json,
            )
            return
        parts = [*words]
        value = parts.pop()
        if value == "%" and parts:
            value = f"{parts.pop()} %"
        elif "/" in value and len(parts) > 2 and not parts[-1].strip().isalpha():
            value = f"{parts.pop()} {value}"
        if len(parts) < 2:
            what = f"{' '.join(words)!r} is not a decision"
            raise InputError([Problem("decide", what, "Write: decide FILE PLOT NUTRIENT VALUE --because …")])
        *plots, supply = parts
        _changed(upkeep.decide(property_path, plots, supply, value, because, today(), by, any_crop), as_json)


@app.command()
def backup(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where; beside the property.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a dated, checked copy of the property file."""
    from loamwright import upkeep

    with refusals(as_json):
        give_files((upkeep.backup(property_path, folder, today()),), (), as_json)


@app.command()
def differs(
    property_path: PropertyPath,
    other: Annotated[Path, typer.Argument(help="Another copy of the same property.")],
    take: Annotated[
        list[str] | None, typer.Option(help="Take this change of the other copy over; 'all' takes every one.")
    ] = None,
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Hold two copies of a property against each other: what each has that the other lacks."""
    from loamwright import files, upkeep
    from loamwright.commands import text

    with refusals(as_json):
        if take:
            _changed(upkeep.take_over(property_path, other, take, today(), by), as_json)
        found = files.differences(property_path, other)

        def rows(side: Any) -> list[dict[str, Any]]:
            return [
                {
                    "id": change.uid[:8],
                    "made_at": change.made_at,
                    "made_by": change.made_by,
                    "command": change.command,
                }
                for change in side
            ]

        content: dict[str, Any] = {"only_here": rows(found.only_here), "only_there": rows(found.only_there)}
        give(
            Answer({**content, "problems": []}, lambda out: text.show_differences(out, content, other.name)),
            as_json,
        )


@app.command()
def note(
    property_path: PropertyPath,
    number: Annotated[str, typer.Argument(help="Number in the list of what a plan holds, for example 1.3.")],
    words: Annotated[str, typer.Argument(metavar="TEXT", help="The text; 'clear' takes it out.")],
    plot: Annotated[str, typer.Option(help="For one plot; else for the property.")] = "",
    by: Who = "",
    as_json: AsJson = False,
) -> None:
    """Fill an entry of the plan's checklist with free text: operator, county, parcel, soil series …"""
    from loamwright import upkeep

    with refusals(as_json):
        _changed(upkeep.fill_checklist(property_path, number, plot, words, today(), by), as_json)


@season_app.command("next")
def next_season(property_path: PropertyPath, by: Who = "", as_json: AsJson = False) -> None:
    """Start the next season: perennial stands go on, the rest is to decide."""
    from loamwright import upkeep
    from loamwright.commands import text

    with refusals(as_json):
        found = upkeep.start_next_season(property_path, today(), by)
        content = {
            "season": found.start.season,
            "change": found.change_id,
            "goes_on": list(found.start.goes_on),
            "to_decide": list(found.start.to_decide),
            "tests_due": dict(found.tests_due),
            "decisions_to_make_again": [decision.decision_id for decision in found.decisions],
            "problems": [],
        }
        give(
            Answer(
                content,
                lambda out: text.show_season_started(out, found),
                undecided=bool(found.start.to_decide),
            ),
            as_json,
        )
