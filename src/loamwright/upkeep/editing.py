"""Setting, adding, retiring and renaming a thing, and taking a change back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from loamwright import files, season, work
from loamwright.errors import InputError, Level, Problem
from loamwright.files import Editor, Thing
from loamwright.land import Cropping
from loamwright.upkeep.showing import _key, described
from loamwright.upkeep.transaction import Changed, changing
from loamwright.values import PropertyInfo
from loamwright.work import PropertyRecord


def set_fields(
    path: Path,
    word: str,
    name: str,
    texts: Sequence[str],
    today: dt.date,
    by: str,
    expected: Mapping[str, str] | None = None,
) -> Changed:
    """Change named fields of one thing, and nothing else.

    Parameters
    ----------
    path
        The property file.
    word, name
        Which thing.
    texts
        ``"field=value"`` each.
    today
        Date for the season worked out.
    by
        Who.
    expected
        Field to the text it was changed from, where the change was made from something seen before: a form.
        None = whatever stands.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the thing, a field or a value is wrong, or a field holds something else by now than was expected;
        nothing was changed.
    """
    thing = files.thing_of(word)
    with changing(path, today, f"set {thing.word} {name} {' '.join(texts)}".strip(), by) as editor:
        record = editor.record()
        item = files.find(thing, record, name)
        _as_expected(thing, record, item, expected or {})
        after = files.assigned(thing, record, item, texts)
        fields = files.differing(thing, record, item, after)
        problems = _what_tables_say(record, after, {field for field, _, _ in fields})
        if isinstance(after, PropertyInfo):
            _editions_are_there(record, after, {field for field, _, _ in fields})
        if fields:
            _put(editor, thing, after)
    title = thing.word if thing.word == files.SETTINGS_WORD else f"{thing.word} {thing.name_of(item)}"
    told = f"Changed {title}." if fields else f"{title} is as you say already; nothing was changed."
    return Changed(editor.change_id, told[:1].upper() + told[1:], fields, problems)


def _editions_are_there(record: PropertyRecord, info: PropertyInfo, fields: Collection[str]) -> None:
    """Refuse editions just named that cannot be loaded."""
    found: tuple[Problem, ...] = ()
    if "guideline" in fields:
        found += files.load_choice_for(info.settings.guideline, record.editions)[1]
    if "lime_guideline" in fields and info.settings.lime_guideline:
        found += files.load_lime_for(info.settings.lime_guideline, record.editions)[1]
    missing = [replace(problem, level=Level.ERROR) for problem in found if problem.level is not Level.NOTE]
    if missing:
        raise InputError(missing)


def _what_tables_say(record: PropertyRecord, item: Any, fields: Collection[str]) -> tuple[Problem, ...]:
    """Say where the chosen tables know nothing of a crop just written; refuse a region no lime table has."""
    if isinstance(item, Cropping) and "crop" in fields and item.crop:
        return _crop_unknown(record, item)
    if isinstance(item, PropertyInfo) and "lime_region" in fields and item.settings.lime_region:
        guideline, _ = files.load_lime_for(item.settings.lime_guideline, record.editions)
        rule = guideline.lime_rule(None)
        regions = () if rule is None else rule.regions
        if regions and item.settings.lime_region not in regions:
            what = f"{guideline.guideline_id} has no region {item.settings.lime_region!r}"
            raise InputError([Problem("settings, lime_region", what, f"Use one of: {', '.join(regions)}.")])
        if not regions:
            what = f"{guideline.guideline_id} asks for no region, so it changes nothing"
            return (Problem("settings, lime_region", what, "Leave it, or clear it.", Level.NOTE),)
    return ()


def _crop_unknown(record: PropertyRecord, item: Cropping) -> tuple[Problem, ...]:
    choice, _ = files.load_choice_for(record.info.settings.guideline, record.editions)
    if any(asked.crop is not None for asked in choice.asked(item.crop)):
        return ()
    found = files.list_crops(item.crop)
    fix = "Its needs stay unknown until a lab's own rates come in, or a guideline that names it is chosen"
    if found.near:
        fix = f"Did you mean {' or '.join(found.near)}? {fix}"
    elif found.listed:
        named = ", ".join(dict.fromkeys(one.edition for one in found.listed))
        fix = f"{fix}; it stands in: {named}"
    what = f"none of the chosen guidelines names {item.crop!r}"
    name = files.thing_of("cropping").name_of(item)
    return (Problem(f"cropping {name}, crop", what, f"{fix}.", Level.WARNING),)


def _as_expected(thing: Thing, record: PropertyRecord, item: Any, expected: Mapping[str, str]) -> None:
    """Ask about fields that somebody else has changed since they were seen."""
    problems = []
    for field in files.fields_of(thing, record).values():
        now = files.text_of(field, item, record.info.units)
        if expected.get(field.name, now) != now:
            was = expected[field.name]
            what = f"it was {was or 'not stated'} when you began, and is {now or 'not stated'} now"
            fix = "Somebody changed it meanwhile: keep what is there, or keep yours in its place."
            where = f"{thing.word} {thing.name_of(item)}, {field.name}"
            problems.append(Problem(where, what, fix, question=field.name, choices=("theirs", "mine")))
    if problems:
        raise InputError(problems)


def _put(editor: Editor, thing: Thing, item: Any) -> None:
    if thing.word == files.SETTINGS_WORD:
        editor.put_info(item)
    else:
        getattr(editor, thing.put)([item])


def add(path: Path, word: str, name: str, texts: Sequence[str], today: dt.date, by: str) -> Changed:
    """Add one thing.

    Parameters
    ----------
    path
        The property file.
    word, name
        What kind, and its id.
    texts
        ``"field=value"`` each.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it cannot be made this way, its id is taken, or a field is wrong; nothing was changed.
    """
    thing = files.thing_of(word)
    with changing(path, today, f"add {thing.word} {name} {' '.join(texts)}".strip(), by) as editor:
        record = editor.record()
        item = files.added(thing, record, name, texts)
        problems = _what_tables_say(record, item, {"crop"})
        _put(editor, thing, item)
        shown = ((f.name, files.text_of(f, item, record.info.units)) for f in thing.fields)
        fields = tuple((field, "—", value) for field, value in shown if value)
    return Changed(editor.change_id, f"Added {thing.word} {thing.name_of(item)}.", fields, problems)


def uses_of(thing: Thing, record: PropertyRecord, item: Any) -> tuple[str, ...]:
    """Say what uses a thing now.

    Parameters
    ----------
    thing, item
        Which.
    record
        The property.

    Returns
    -------
    tuple of str
    """
    plan = season.Season(record, dt.date.max).plan
    lines = plan.lines if plan else ()
    done = {entry.line_id for entry in work.entries_that_count(record.applications)}
    open_lines = [line for line in lines if line.line_id not in done]
    name = thing.name_of(item)
    found: list[str] = []
    if thing.word == "plot":
        found += [f"the plan puts {line.product} on it" for line in open_lines if line.plot_id == name]
    if thing.word == "cropping" and item.season == record.info.season:
        found += [
            f"the plan puts {line.product} on it" for line in open_lines if line.plot_id == item.plot_id
        ]
        found += [
            f"{decision.supply} is decided for it"
            for decision in record.decisions
            if (decision.plot_id, decision.season, decision.crop) == (item.plot_id, item.season, item.crop)
        ]
    if thing.word == "product":
        found += [f"offer {offer.offer_id} sells it" for offer in record.offers if offer.product == name]
        found += [f"the plan puts it on {line.plot_id}" for line in open_lines if line.product == name]
        left = work.stock_of(record).get(name)
        if left is not None and left.left_kg > 0.5:
            found.append(f"{left.left_kg:.0f} kg of it are in stock")
    if thing.word == "offer" and plan:
        found += [f"the plan buys {buy.count:g} of it" for buy in plan.buy if buy.offer_id == name]
    if thing.word == "spreader":
        found += [
            f"product {product.product} needs it"
            for product in record.products
            if name.casefold() in {kind.casefold() for kind in product.equipment}
        ]
    if thing.word == "soil-test":
        mine = [t for t in record.soil_tests if t.plot_id == item.plot_id and t.test_id != name]
        if not mine:
            found.append(f"it is the only soil test of plot {item.plot_id}")
    if thing.word == "part":
        found += [
            f"soil test {t.test_id} is of it"
            for t in record.soil_tests
            if t.part in (name, item.name) and t.part
        ]
    return tuple(dict.fromkeys(found))


def retire(
    path: Path, word: str, name: str, because: str, today: dt.date, by: str, anyway: bool = False
) -> Changed:
    """Retire a thing: it stays in the history, and leaves lists, sums and plans.

    Parameters
    ----------
    path
        The property file.
    word, name
        Which thing; an application by its entry id is withdrawn.
    because
        Why.
    today
        Date for the season worked out.
    by
        Who.
    anyway
        True also when something uses it.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there is no such thing, no reason, or something uses it; nothing was changed.
    """
    if not because.strip():
        raise InputError([Problem("retire", "no reason is given", "Say why with `because`.")])
    if word.strip().casefold() in ("application", "entry"):
        with changing(path, today, f"withdraw {name}", by) as editor:
            editor.withdraw(name, because)
        return Changed(
            editor.change_id, f"Withdrew entry {name}: it counts no more, and stays in the record."
        )
    thing = files.thing_of(word)
    if thing.word == files.SETTINGS_WORD:
        raise InputError([Problem("retire", "settings are not retired", "Set them to something else.")])
    with changing(path, today, f"retire {thing.word} {name}", by) as editor:
        record = editor.record()
        item = files.find(thing, record, name)
        uses = uses_of(thing, record, item)
        if uses and not anyway:
            listed = "; ".join(uses[:12]) + (" …" if len(uses) > 12 else "")
            what = f"{thing.word} {thing.name_of(item)} is in use: {listed}"
            raise InputError([Problem("retire", what, "See to those first, or add `anyway`.")])
        editor.retire(thing.word, _key(thing, item), because)
    warned = tuple(Problem("retire", use, "Look at it.", Level.WARNING) for use in uses)
    return Changed(editor.change_id, f"Retired {thing.word} {thing.name_of(item)}.", problems=warned)


def rename(path: Path, word: str, name: str, new_name: str, today: dt.date, by: str) -> Changed:
    """Call a plot something else; what it was called stays its own.

    Parameters
    ----------
    path
        The property file.
    word, name, new_name
        Which, and its new id.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When it is no plot, there is no such plot, or the new id is taken; nothing was changed.
    """
    thing = files.thing_of(word)
    if thing.word != "plot":
        what = f"the id of a {thing.word} is kept for ever"
        raise InputError([Problem("rename", what, f"Change its name: set {thing.word} '{name}' name=…")])
    with changing(path, today, f"rename plot {name} {new_name}", by) as editor:
        plot = files.find(thing, editor.record(), name)
        if plot.plot_id == new_name.strip():
            return Changed(editor.change_id, f"Plot {plot.plot_id} is called that; nothing was changed.", ())
        editor.rename_plot(plot.plot_id, new_name.strip())
    return Changed(
        editor.change_id,
        f"Plot {plot.plot_id} is called {new_name.strip()} now; {plot.plot_id} still finds it.",
        (("plot_id", plot.plot_id, new_name.strip()),),
    )


def undo(path: Path, change_id: int | None, today: dt.date, by: str) -> Changed:
    """Take a change back as a new change.

    Parameters
    ----------
    path
        The property file.
    change_id
        Its number; None = the newest that stands.
    today
        Date for the season worked out.
    by
        Who.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When there is none, it is taken back already, or a later change is built on it; nothing was changed.
    """
    named = "" if change_id is None else f" {change_id}"
    with changing(path, today, f"undo{named}", by) as editor:
        change = editor.undo(change_id)
    undone = next(one for one in files.read_journal(path) if one.change_id == editor.change_id)
    return Changed(editor.change_id, f"Took back {change}.", tuple(described(undone, files.units_of(path))))
