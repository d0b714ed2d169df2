"""Commands that keep a property: show, set, add, retire, rename, undo, changes, check, purchase, decide …

Each reads what was asked, calls `upkeep` once and prints the answer.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from loamwright.commands.answer import Answer, PropertyPath, command, read, read_answers, today

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
AnswersTyped = Annotated[
    list[str] | None, typer.Option("--answer", metavar="ID=CHOICE", help="Answer what is asked; repeatable.")
]
Fields = Annotated[list[str], typer.Argument(metavar="FIELD=VALUE…", help="What to set; 'clear' clears.")]


@command(app)
def show(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str | None, typer.Argument(help="Its id or name; all are listed if not given.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Also the fields that are not stated.")] = False,
) -> Answer:
    """Show one thing with where each value came from, or list what there is."""
    from loamwright import upkeep
    from loamwright.commands.results import ThingShown

    found = upkeep.show(property_path, thing, name)
    return Answer(ThingShown(found.word, found.name, found.fields, found.listed, every))


@command(app, "set")
def set_fields(
    property_path: PropertyPath,
    thing: Word,
    words: Annotated[
        list[str],
        typer.Argument(metavar="ID FIELD=VALUE…", help="Which one, what to set; 'clear' clears."),
    ],
    by: Who = "",
) -> Answer:
    """Change named fields of one thing, and nothing else."""
    from loamwright import upkeep

    name = " ".join(word for word in words if "=" not in word)
    texts = [word for word in words if "=" in word]
    return Answer(upkeep.set_fields(property_path, thing, name, texts, today(), by))


@command(app)
def add(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str, typer.Argument(metavar="ID", help="Its id; never used again.")],
    fields: Fields,
    by: Who = "",
) -> Answer:
    """Add a cropping, part, spreader, soil test, manure, product or offer."""
    from loamwright import upkeep

    return Answer(upkeep.add(property_path, thing, name, fields, today(), by))


@command(app)
def retire(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str, typer.Argument(help="Its id or name; an application by its entry id.")],
    because: Annotated[str, typer.Option(help="Why.")] = "",
    anyway: Annotated[bool, typer.Option("--anyway", help="Also when something uses it.")] = False,
    by: Who = "",
) -> Answer:
    """Retire a thing: it stays in the history, and leaves lists, sums and plans."""
    from loamwright import upkeep

    return Answer(upkeep.retire(property_path, thing, name, because, today(), by, anyway))


@command(app)
def rename(
    property_path: PropertyPath,
    thing: Word,
    name: Annotated[str, typer.Argument(help="The id it has.")],
    new_name: Annotated[
        str, typer.Argument(metavar="NEW", help="The id it gets; the old one still finds it.")
    ],
    by: Who = "",
) -> Answer:
    """Give a plot another id."""
    from loamwright import upkeep

    return Answer(upkeep.rename(property_path, thing, name, new_name, today(), by))


@command(app)
def undo(
    property_path: PropertyPath,
    number: Annotated[
        int | None, typer.Argument(help="Number of the change; the newest if not given.")
    ] = None,
    by: Who = "",
) -> Answer:
    """Take a change back, as a new change; refused when a later one was built on it."""
    from loamwright import upkeep

    return Answer(upkeep.undo(property_path, number, today(), by))


@command(app)
def changes(
    property_path: PropertyPath,
    number: Annotated[
        int | None, typer.Argument(help="One change in full; all are listed if not given.")
    ] = None,
) -> Answer:
    """List every change: when, who, by which command, what it did."""
    from loamwright import upkeep
    from loamwright.commands.results import JournalListed

    found = upkeep.changes(property_path)
    chosen = tuple(change for change in found if number in (None, change.change))
    return Answer(JournalListed(chosen, number is not None))


@command(app)
def check(
    property_path: PropertyPath,
    mend: Annotated[
        bool,
        typer.Option("--mend", help="Take out triggers and views that are not ours; copies the file first."),
    ] = False,
    accept: Annotated[
        bool,
        typer.Option(
            "--accept", help="Keep what another program changed, as a change; copies the file first."
        ),
    ] = False,
    restore: Annotated[
        bool,
        typer.Option("--restore", help="Put back what another program changed; copies the file first."),
    ] = False,
    by: Who = "",
) -> Answer:
    """Read the whole property file and name what is wrong with it, and what another program changed."""
    from loamwright import files
    from loamwright.commands.results import FileChecked
    from loamwright.errors import InputError, Problem

    if accept and restore:
        what = "what another program changed cannot be both kept and put back"
        raise InputError([Problem("accept", what, "Give `accept` or `restore`.")])
    if accept or restore:
        files.settle_outside(property_path, accept, today(), by)
    found = files.check_property(property_path, mend, today())
    return Answer(FileChecked(property_path, not found, found))


@command(app)
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
    answer: AnswersTyped = None,
) -> Answer:
    """Write down what was bought, received, returned or counted; stock follows from it and the record."""
    from loamwright import upkeep
    from loamwright.errors import InputError, Problem
    from loamwright.supplies import Movement
    from loamwright.units import read_number

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
    number = read("count", count, read_number)
    found = upkeep.purchase(
        *(property_path, product, number, kind, today(), by, package, paid, on, seller, note),
        answers=read_answers(answer or []),
    )
    return Answer(found)


@command(app, in_units=True)
def stock(property_path: PropertyPath) -> Answer:
    """Show what is in the shed: counted, bought, less put on."""
    from loamwright import files, work
    from loamwright.commands.results import StockListed

    record = files.load(property_path)
    listed = StockListed(tuple(work.stock_of(record).values()), work.not_in_book(record))
    return Answer(listed, record.info.units)


@command(app, in_units=True)
def decide(
    property_path: PropertyPath,
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="[PLOT… NUTRIENT VALUE | mix 'A + B' yes]",
            help="Plots, nutrient or lime, an amount or share: AF-17 N 50 %; or whether two products may "
            "share a hopper: mix 'A + B' yes. Without: the list.",
        ),
    ] = [],  # noqa: B006 - typer asks for a list
    because: Annotated[str, typer.Option(help="Why.")] = "",
    any_crop: Annotated[bool, typer.Option("--any-crop", help="Whatever grows there.")] = False,
    by: Who = "",
    answer: AnswersTyped = None,
) -> Answer:
    """Decide where the source leaves a choice; without a plot, list open and made decisions."""
    from loamwright import season, upkeep
    from loamwright.commands.results import ChoicesListed
    from loamwright.errors import InputError, Problem

    if not words:
        view = season.view(property_path, today())
        undecided = any(row.open for row in view.choices)
        return Answer(ChoicesListed(view.choices, view.mixes), view.record.info.units, undecided=undecided)
    parts = [*words]
    value = parts.pop()
    if parts and parts[0].casefold() == "mix":
        if value.casefold() not in ("yes", "no"):
            what = f"{value!r} is neither yes nor no"
            raise InputError([Problem("mix", what, "Write: decide FILE mix 'A + B' yes --because …")])
        pair = " ".join(parts[1:])
        may = value.casefold() == "yes"
        return Answer(upkeep.decide_mix(property_path, pair, may, because, today(), by))
    if value == "%" and parts:
        value = f"{parts.pop()} %"
    elif "/" in value and len(parts) > 2 and not parts[-1].strip().isalpha():
        value = f"{parts.pop()} {value}"
    if len(parts) < 2:
        what = f"{' '.join(words)!r} is not a decision"
        raise InputError([Problem("decide", what, "Write: decide FILE PLOT NUTRIENT VALUE --because …")])
    *plots, supply = parts
    answers = read_answers(answer or [])
    done = upkeep.decide(property_path, plots, supply, value, because, today(), by, any_crop, answers)
    return Answer(done)


@command(app)
def backup(
    property_path: PropertyPath,
    folder: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Where; beside the property.")
    ] = None,
) -> Answer:
    """Make a dated, checked copy of the property file."""
    from loamwright import upkeep
    from loamwright.commands.results import FilesMade

    return Answer(FilesMade((upkeep.backup(property_path, folder, today()),)))


@command(app)
def differs(
    property_path: PropertyPath,
    other: Annotated[Path, typer.Argument(help="Another copy of the same property.")],
    take: Annotated[
        list[str] | None, typer.Option(help="Take this change of the other copy over; 'all' takes every one.")
    ] = None,
    by: Who = "",
) -> Answer:
    """Hold two copies of a property against each other: what each has that the other lacks."""
    from loamwright import files, upkeep
    from loamwright.commands.results import CopiesCompared

    if take:
        return Answer(upkeep.take_over(property_path, other, take, today(), by))
    found = files.differences(property_path, other)
    system = files.units_of(property_path)
    here, there = (
        tuple(upkeep.change_row(change, system) for change in side)
        for side in (found.only_here, found.only_there)
    )
    return Answer(CopiesCompared(here, there, other))


@command(app)
def note(
    property_path: PropertyPath,
    number: Annotated[
        str | None, typer.Argument(help="Number in the list, for example 1.3; the list if not given.")
    ] = None,
    words: Annotated[str, typer.Argument(metavar="TEXT", help="The text; 'clear' takes it out.")] = "",
    plot: Annotated[str, typer.Option(help="For one plot; else for the property.")] = "",
    by: Who = "",
) -> Answer:
    """Fill an entry of the plan's checklist with free text: operator, county, parcel, soil series …"""
    from loamwright import upkeep
    from loamwright.commands.results import ChecklistShown
    from loamwright.errors import InputError, Problem

    if number is None:
        return Answer(ChecklistShown(upkeep.checklist(property_path)))
    if not words.strip():
        fix = "Write the text, or clear to take it out."
        raise InputError([Problem(f"note {number}", "no text is given", fix)])
    return Answer(upkeep.fill_checklist(property_path, number, plot, words, today(), by))


@command(season_app, "next")
def next_season(
    property_path: PropertyPath,
    by: Who = "",
    answer: AnswersTyped = None,
) -> Answer:
    """Start the next season: perennial stands go on, the rest is to decide."""
    from loamwright import upkeep

    found = upkeep.start_next_season(property_path, today(), by, read_answers(answer or []))
    return Answer(found, undecided=bool(found.to_decide))
