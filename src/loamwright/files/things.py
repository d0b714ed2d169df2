"""What can be shown, set, added, retired and renamed, and the fields each thing has.

This file answers "which thing is meant, which of its fields, and what does the typed text make of it?".
One table of fields per thing: name, kind (its reader and writer), help. A wrong name or field is told with
what there is, and with the nearest spelling. It changes records in memory; writing is `property_file`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Any

from loamwright.errors import InputError, Problem
from loamwright.files.catalogue import (
    CROPPING,
    DECISION,
    ELEMENTS,
    KEEPOUT,
    OFFER,
    ORGANIC,
    PART,
    PLOT,
    PRODUCT,
    PURCHASE,
    SOIL_TEST,
    SPREADER,
    WAY,
    Field,
    Thing,
    advice_of,
    own_fields,
    reach_field,
    settings_fields,
    window_field,
)
from loamwright.files.fields import typed_options
from loamwright.files.kinds import CLEAR_WORDS, read_value
from loamwright.land import Cropping, PlotPart
from loamwright.money import tell_money_in
from loamwright.needs import Decision
from loamwright.soil import OrganicInput, SoilTest
from loamwright.supplies import Form, Offer, Product, StockEntry
from loamwright.values import Spreader
from loamwright.work import PropertyRecord

# ---------------------------------------------------------------------------------------------
# The things


def cropping_name(item: Cropping) -> str:
    """Return what a cropping is called: plot, season, and its place when it is not the first.

    Parameters
    ----------
    item
        The cropping.

    Returns
    -------
    str
        ``"AF-03 2026"``, ``"AF-03 2026 2"``.
    """
    place = f" {item.position}" if item.position > 1 else ""
    return f"{item.plot_id} {item.season}{place}"


def _blank_cropping(record: PropertyRecord, name: str) -> Cropping:
    plot_id, season, position = _cropping_parts(record, name)
    taken = [c.position for c in record.croppings if (c.plot_id, c.season) == (plot_id, season)]
    return Cropping(plot_id, season, position=position or max(taken, default=0) + 1)


def _cropping_parts(record: PropertyRecord, name: str) -> tuple[str, int, int]:
    """Read "PLOT [SEASON [PLACE]]"; 0 = no place named."""
    match = re.fullmatch(r"(.+?)(?:\s+(\d{4})(?:\s+(\d))?)?", name.strip())
    assert match is not None
    plot = find(THINGS["plot"], record, match[1])
    return plot.plot_id, int(match[2] or record.info.season), int(match[3] or 0)


def _blank_part(record: PropertyRecord, name: str) -> PlotPart:
    plot_name, _, part = name.partition("/")
    plot = find(THINGS["plot"], record, plot_name.strip())
    return PlotPart(f"{plot.plot_id}/{part.strip() or len(record.parts) + 1}", plot.plot_id)


THINGS: Mapping[str, Thing] = {
    thing.word: thing
    for thing in (
        Thing("plot", "plots", "plots", PLOT, attrgetter("plots"), attrgetter("plot_id"), "put_plots"),
        Thing(
            "part",
            "parts of plots",
            "plot_parts",
            PART,
            attrgetter("parts"),
            attrgetter("part_id"),
            "put_parts",
            _blank_part,
            "plot and name: AF-17/south",
        ),
        Thing(
            "cropping",
            "croppings",
            "croppings",
            CROPPING,
            attrgetter("croppings"),
            cropping_name,
            "put_croppings",
            _blank_cropping,
            "plot, and a season if it is not this one: 'AF-03 2027'",
        ),
        Thing(
            "keep-out",
            "keep-outs",
            "keepouts",
            KEEPOUT,
            attrgetter("keepouts"),
            attrgetter("keepout_id"),
            "put_keepouts",
        ),
        Thing("way", "ways", "ways", WAY, attrgetter("ways"), attrgetter("way_id"), "put_ways"),
        Thing(
            "spreader",
            "spreaders",
            "spreaders",
            SPREADER,
            attrgetter("info.settings.spreaders"),
            attrgetter("name"),
            "put_spreaders",
            lambda _record, name: Spreader(name),
            "its name, as products name it in their equipment",
        ),
        Thing(
            "soil-test",
            "soil tests",
            "soil_tests",
            SOIL_TEST,
            attrgetter("soil_tests"),
            attrgetter("test_id"),
            "put_soil_tests",
            lambda _record, name: SoilTest(name, ""),
            "lab number or any id; with plot=…",
        ),
        Thing(
            "organic",
            "organic inputs",
            "organic_inputs",
            ORGANIC,
            attrgetter("organic_inputs"),
            attrgetter("input_id"),
            "put_organic_inputs",
            lambda _record, name: OrganicInput(name, "", None, "", "", None),  # type: ignore[arg-type]
            "any id; with plot=…",
        ),
        Thing(
            "product",
            "products",
            "products",
            PRODUCT,
            attrgetter("products"),
            attrgetter("product"),
            "put_products",
            lambda _record, name: Product(name, Form.DRY),
            "its name",
        ),
        Thing(
            "offer",
            "offers",
            "offers",
            OFFER,
            attrgetter("offers"),
            attrgetter("offer_id"),
            "put_offers",
            lambda _record, name: Offer(name, "", "", None, None),
            "any id; with product=… and package=…",
        ),
        Thing(
            "purchase",
            "purchases",
            "purchases",
            PURCHASE,
            attrgetter("purchases"),
            attrgetter("purchase_id"),
            "put_purchases",
        ),
        Thing(
            "decision",
            "decisions",
            "decisions",
            DECISION,
            attrgetter("decisions"),
            attrgetter("decision_id"),
            "put_decisions",
        ),
    )
}

SETTINGS_WORD = "settings"


def settings_thing() -> Thing:
    """Return the settings as a thing of one item.

    Returns
    -------
    Thing
    """
    return Thing(
        SETTINGS_WORD,
        "settings",
        "property",
        settings_fields(),
        lambda record: (record.info,),
        lambda _info: SETTINGS_WORD,
        "put_info",
    )


def thing_of(word: str) -> Thing:
    """Return the kind of thing a word names, in any case, singular or plural.

    Parameters
    ----------
    word
        ``"plot"``, ``"soil tests"`` …

    Returns
    -------
    Thing

    Raises
    ------
    InputError
        When there is no such thing; it lists what there is.
    """
    plain = re.sub(r"[\s_]+", "-", word.strip().casefold())
    known = {**{name: name for name in THINGS}, SETTINGS_WORD: SETTINGS_WORD, "setting": SETTINGS_WORD}
    known |= {re.sub(r"\s+", "-", thing.plural): name for name, thing in THINGS.items()}
    known |= {"test": "soil-test", "tests": "soil-test", "soiltest": "soil-test", "crop": "cropping"}
    known |= {"keepout": "keep-out", "keepouts": "keep-out", "organic-input": "organic", "manure": "organic"}
    if plain not in known:
        raise InputError([_not_there("thing", word, "thing that can be changed", (*THINGS, SETTINGS_WORD))])
    name = known[plain]
    return settings_thing() if name == SETTINGS_WORD else THINGS[name]


def _near(typed: str, known: Sequence[str]) -> list[str]:
    """Names near to what was typed: the same but for zeros, else alike, else with a word that is alike."""
    bare = _without_zeros(typed)
    if same := [name for name in known if _without_zeros(name) == bare]:
        return same[:3]
    folded = {name.casefold(): name for name in known}
    if alike := difflib.get_close_matches(typed.casefold(), folded, 3, 0.6):
        return [folded[name] for name in alike]
    words: dict[str, list[str]] = {}
    for name in known:
        for part in name.casefold().split():
            words.setdefault(part, []).append(name)
    close = difflib.get_close_matches(typed.casefold(), words, 3, 0.75)
    return list(dict.fromkeys(name for word in close for name in words[word]))[:3]


def _without_zeros(name: str) -> str:
    """A name without case, marks and leading zeros: `AF-01`, `af 1` and `AF1` are one."""
    return re.sub(r"0*([0-9]+)", r"\1", re.sub(r"[\W_]+", "", name.casefold()))


def _not_there(where: str, typed: str, what: str, known: Sequence[str]) -> Problem:
    """Say that there is no such thing, with the nearest spelling, or with what there is."""
    near = _near(typed, known)
    listed = ", ".join(list(known)[:60]) + (" …" if len(known) > 60 else "")
    fix = f"Did you mean {' or '.join(near)}? " if near else ""
    there = f"There are: {listed}." if known else "There is none yet."
    return Problem(where, f"there is no {what} {typed!r}", f"{fix}{there}")


def find(thing: Thing, record: PropertyRecord, name: str) -> Any:
    """Find one thing by its id, or by the name people call it, in any case.

    Parameters
    ----------
    thing
        Which kind.
    record
        The property.
    name
        As typed; for a cropping ``"AF-03"``, ``"AF-03 2026"`` or ``"AF-03 2026 2"``.

    Returns
    -------
    record

    Raises
    ------
    InputError
        When there is none, or the name fits several.
    """
    items = thing.items(record)
    if thing.word == SETTINGS_WORD:
        return items[0]
    if thing.word == "cropping":
        plot_id, season, position = _cropping_parts(record, name)
        mine = [
            c for c in items if (c.plot_id, c.season) == (plot_id, season) and position in (0, c.position)
        ]
        if not mine:
            what = f"plot {plot_id} has no {f'{position}. ' if position else ''}cropping in {season}"
            raise InputError([Problem("cropping", what, f"Add it: add cropping '{plot_id} {season}' crop=…")])
        if len(mine) > 1:
            listed = ", ".join(f"'{cropping_name(c)}' ({c.crop or 'no crop'})" for c in mine)
            what = f"plot {plot_id} has several croppings in {season}"
            raise InputError([Problem("cropping", what, f"Name one: {listed}.")])
        return mine[0]
    folded = name.strip().casefold()
    for item in items:
        if thing.name_of(item) == name.strip():
            return item
    for item in items:
        if thing.name_of(item).casefold() == folded:
            return item
    if thing.word == "plot":
        alias = {former.casefold(): now for former, now in record.former_names.items()}
        for item in items:
            if item.plot_id == alias.get(folded):
                return item
    named = [item for item in items if str(getattr(item, "name", "")).casefold() == folded]
    if len(named) == 1:
        return named[0]
    ids = [thing.name_of(item) for item in items]
    if len(named) > 1:
        listed = ", ".join(thing.name_of(item) for item in named)
        raise InputError([Problem(thing.word, f"{name!r} is the name of several", f"Use an id: {listed}.")])
    gone = next((r for r in record.retired if r.word == thing.word and r.name.casefold() == folded), None)
    if gone is not None:
        what = f"{thing.word} {gone.name} was retired on {gone.on}: {gone.because}"
        raise InputError(
            [Problem(thing.word, what, "Take that change back to have it again: see `changes`.")]
        )
    raise InputError([_not_there(thing.word, name, thing.word, ids)])


def fields_of(thing: Thing, record: PropertyRecord) -> Mapping[str, Field]:
    """Return the fields of a thing by name; a plot has one of reach for each spreader.

    Parameters
    ----------
    thing
        Which kind.
    record
        The property.

    Returns
    -------
    mapping of str to Field
    """
    found = {field.name: field for field in thing.fields}
    if thing.word == "plot":
        found |= {
            field.name: field for field in (reach_field(s.name) for s in record.info.settings.spreaders)
        }
    if thing.word == SETTINGS_WORD:
        found |= {field.name: field for field in own_fields(record.info)}
    return found


#: Settings that say how the others of one command are to be read.
_SAID_FIRST = ("units", "currency")


def assigned(thing: Thing, record: PropertyRecord, item: Any, texts: Sequence[str]) -> Any:
    """Change the named fields of a thing, and nothing else.

    Parameters
    ----------
    thing, item
        Which.
    record
        The property.
    texts
        ``"field=value"`` each. A blank value is refused; ``clear`` clears.

    Returns
    -------
    record
        Changed.

    Raises
    ------
    InputError
        When a field is not known or a value is not of its kind; all faults at once.
    """
    known = fields_of(thing, record)
    system = record.info.units
    if thing.word == SETTINGS_WORD:  # a window is made by setting it
        named = (text.partition("=")[0].strip() for text in texts)
        new = (name[len("window.") :].strip() for name in named if name.casefold().startswith("window."))
        known = {field.name: field for field in map(window_field, filter(None, new))} | dict(known)
    folded = {name.casefold().replace(" ", "_"): name for name in known}
    where = thing.word if thing.word == SETTINGS_WORD else f"{thing.word} {thing.name_of(item)}"
    problems: list[Problem] = []
    seen: set[str] = set()
    for text in sorted(texts, key=_turn):
        typed, equals, value = text.partition("=")
        name = folded.get(typed.strip().casefold().replace(" ", "_"))
        if name in seen:
            problems.append(Problem(f"{where}, {name}", "it is set twice", "Set it once."))
            continue
        if name is not None:
            seen.add(name)
        if not equals:
            problems.append(
                Problem(where, f"{text!r} sets nothing", "Write field=value, for example name=North.")
            )
        elif name is None:
            problems.append(_not_a_field(thing, where, typed.strip(), list(known)))
        elif not value.strip():
            fix = f"Write {name}=clear to clear it; a blank changes nothing."
            problems.append(Problem(f"{where}, {name}", "the value is blank", fix))
        else:
            try:
                field = known[name]
                cleared = value.strip().casefold() in CLEAR_WORDS
                item = field.put(item, None if cleared else read_value(field.kind, value.strip(), system))
                if thing.word == SETTINGS_WORD and name in _SAID_FIRST:
                    system = item.units
                    tell_money_in(item.currency)
            except ValueError as error:
                what, _, fix = str(error).partition("; ")
                fix = (
                    f"{fix[:1].upper()}{fix[1:].rstrip('.')}."
                    if fix
                    else f"Write for example {known[name].kind.example}."
                )
                problems.append(Problem(f"{where}, {name}", what, fix))
    problems.extend(_unfinished(thing, where, record, item))
    if problems:
        raise InputError(problems)
    return item


def _turn(typed: str) -> int:
    """Which is read first, whatever the order typed: a package says its mass unless that is stated, steps say
    that it is sold by weight, a figure is there before its unit, or the unit is lost, and prices are read in
    the currency and units set beside.
    """
    name = typed.partition("=")[0].strip().casefold()
    if name in ("package", *_SAID_FIRST):
        return 0
    return 1 if name == "increment" else 3 if name.endswith("_unit") else 2


def unknown_field(thing: Thing, where: str, typed: str, record: PropertyRecord) -> Problem:
    """Say that a thing has no such field, with the nearest spelling, or with the fields there are."""
    return _not_a_field(thing, where, typed, list(fields_of(thing, record)))


def _not_a_field(thing: Thing, where: str, typed: str, known: Sequence[str]) -> Problem:
    elsewhere = next(
        (
            other.word
            for other in THINGS.values()
            if other is not thing and typed.casefold() in {field.name for field in other.fields}
        ),
        None,
    )
    problem = _not_there(where, typed, f"field of a {thing.word}", known)
    if elsewhere is None or "Did you mean" in problem.fix:
        return problem
    return replace(problem, fix=f"{typed} is a field of {elsewhere}. {problem.fix}")


def _unfinished(thing: Thing, where: str, record: PropertyRecord, item: Any) -> list[Problem]:
    """What a whole record still lacks, or what in it cannot be."""
    problems = []
    if isinstance(item, SoilTest):
        for element, reading in item.readings.items():
            name = next(name for name, symbol in ELEMENTS.items() if symbol == element)
            if reading.value != reading.value:
                what = f"{element} has a unit or test, but no figure"
                problems.append(Problem(f"{where}, {name}", what, f"Set {name}= as the lab prints it."))
            elif not reading.unit:
                what = f"the unit of {element} {reading.sign}{reading.value:g} is missing"
                problems.append(Problem(f"{where}, {name}_unit", what, f"Set {name}_unit=ppm, as printed."))
        if any(not rate.unit for rate in advice_of(item).rates.values()):
            what = "the unit of the lab's rates is missing"
            problems.append(Problem(f"{where}, rec_unit", what, "Set rec_unit=lb/acre, as printed."))
    if isinstance(item, Decision) and (item.rate_kg_ha is None) == (item.share is None):
        problems.append(Problem(where, "a decision is a rate or a share", "Clear one of them."))
    if isinstance(item, OrganicInput):
        problems.extend(
            Problem(f"{where}, {name}", f"{name} is missing", f"Write {name}=…")
            for name in ("applied_on", "material", "amount")
            if not getattr(item, name)
        )
    if isinstance(item, Offer | StockEntry) and item.product not in {p.product for p in record.products}:
        names = [product.product for product in record.products]
        problems.append(_not_there(f"{where}, product", item.product, "product", names))
    if isinstance(item, SoilTest | OrganicInput | Decision) and item.plot_id not in {
        plot.plot_id for plot in record.plots
    }:
        names = [plot.plot_id for plot in record.plots]
        problems.append(_not_there(f"{where}, plot", item.plot_id, "plot", names))
    if isinstance(item, Cropping) and item.sown_on and item.ended_on and item.ended_on < item.sown_on:
        what = f"it ended on {item.ended_on}, before it was sown on {item.sown_on}"
        problems.append(Problem(f"{where}, ended_on", what, "Correct one of the dates."))
    return problems


def added(thing: Thing, record: PropertyRecord, name: str, texts: Sequence[str]) -> Any:
    """Make a new thing.

    Parameters
    ----------
    thing
        Which kind.
    record
        The property.
    name
        Its id.
    texts
        ``"field=value"`` each.

    Returns
    -------
    record

    Raises
    ------
    InputError
        When it cannot be made this way, its id is taken, or a field is wrong.
    """
    if thing.blank is None:
        how = {
            "plot": "import FILE, with its boundary",
            "keep-out": "import FILE, with its shape",
            "way": "import FILE, with its line or point",
            "purchase": "purchase PROPERTY PRODUCT COUNT",
            "decision": "decide PROPERTY PLOT NUTRIENT VALUE",
        }.get(thing.word, "set")
        raise InputError([Problem(thing.word, f"a {thing.word} is not added by hand", f"Use: {how}.")])
    taken = {thing.name_of(item).casefold() for item in thing.items(record)}
    taken |= {gone.name.casefold() for gone in record.retired if gone.word == thing.word}
    told = typed_options({"name": name}, found := list[Problem]()).text("name")
    if found or not told:
        what = found[0].what if found else f"{name!r} is no name"
        raise InputError([Problem(f"{thing.word}, name", what, "Write a short name.")])
    item = thing.blank(record, told)
    if thing.name_of(item).casefold() in taken:
        there = f"there is a {thing.word} {thing.name_of(item)!r} already, or there was one"
        what = f"{there}: an id is never used again"
        raise InputError(
            [Problem(thing.word, what, f"Change it with set, or give another id: {thing.new_id_help}.")]
        )
    return assigned(thing, record, item, texts)


def differing(
    thing: Thing, record: PropertyRecord, before: Any, after: Any
) -> tuple[tuple[str, str, str], ...]:
    """Say which fields of a thing differ, as texts.

    Parameters
    ----------
    thing
        Which kind.
    record
        The property.
    before, after
        The two.

    Returns
    -------
    tuple of (field, before, after)
        ``"—"`` stands for not stated.
    """
    system = record.info.units
    found = []
    known = dict(fields_of(thing, record))
    if thing.word == SETTINGS_WORD:  # either may hold a pair or a window the other lacks
        known |= {field.name: field for info in (before, after) for field in own_fields(info)}
    for field in known.values():
        old, new = (text_of(field, item, system) for item in (before, after))
        if old != new:
            found.append((field.name, old or "—", new or "—"))
    return tuple(found)


def impossible_values(record: PropertyRecord) -> Iterator[Problem]:
    """Name the values that another program wrote and that could not have been typed.

    Each is written as text and read again, as `assigned` reads what is typed: one door for both.

    Parameters
    ----------
    record
        The property.

    Yields
    ------
    Problem
        The thing, its field, what is wrong with the value, and how to set another.
    """
    system = record.info.units
    for thing in (*THINGS.values(), settings_thing()):
        for item in thing.items(record):
            name = thing.word if thing.word == SETTINGS_WORD else f"{thing.word} {thing.name_of(item)}"
            for field in fields_of(thing, record).values():
                text = text_of(field, item, system)
                try:
                    if text:
                        read_value(field.kind, text, system)
                except ValueError as error:
                    what = str(error).partition("; ")[0]
                    fix = f"Set {field.name} anew, for example {field.kind.example}."
                    yield Problem(f"{name}, {field.name}", what, fix)


def text_of(field: Field, item: Any, system: str) -> str:
    """Return the value of one field as text; empty when it is not stated.

    Parameters
    ----------
    field
        Which.
    item
        The thing.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    value = field.get(item)
    if value is None or value == "" or value == () or value == {}:
        return ""
    return field.kind.write(value, system)
