"""What a property holds, thing by thing, and what was changed in it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loamwright import files
from loamwright.files import Change, Thing


@dataclass(frozen=True, slots=True)
class ShownField:
    """One field of a thing as shown: its value as text and where it came from."""

    name: str
    value: str
    came_from: str
    help: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing, or the list of things of a kind.

    Parameters
    ----------
    word
        What kind.
    name
        Its id; empty for a list.
    fields
        Its fields.
    listed
        (id, name or crop …) of the things there are, for a list.
    """

    word: str
    name: str
    fields: tuple[ShownField, ...] = ()
    listed: tuple[tuple[str, str], ...] = ()


def show(path: Path, word: str, name: str | None) -> Shown:
    """Show one thing with where each value came from, or list what there is.

    Parameters
    ----------
    path
        The property file.
    word
        What kind of thing.
    name
        Its id or name; None = list them.

    Returns
    -------
    Shown

    Raises
    ------
    InputError
        When there is no such thing.
    """
    thing = files.thing_of(word)
    record = files.load(path)
    if name is None and thing.word != files.SETTINGS_WORD:
        rows = tuple((thing.name_of(item), _about(item)) for item in thing.items(record))
        return Shown(thing.word, "", listed=rows)
    item = files.find(thing, record, name or "")
    sources = _sources(thing, item, files.read_journal(path))
    rows_ = tuple(
        ShownField(
            field.name,
            files.text_of(field, item, record.info.units),
            next((sources[column] for column in field.columns if column in sources), ""),
            field.help,
        )
        for field in files.fields_of(thing, record).values()
    )
    return Shown(thing.word, thing.name_of(item), rows_)


def _about(item: Any) -> str:
    """A few words on a thing in a list."""
    for attribute in ("crop", "name", "kind", "material", "form", "package", "reason", "lab"):
        value = getattr(item, attribute, "")
        if value:
            return str(value)
    return ""


def _sources(thing: Thing, item: Any, changes: Sequence[Change]) -> Mapping[str, str]:
    """The newest change that wrote each column of a thing."""
    keys = _key(thing, item)
    found: dict[str, str] = {}
    for change in changes:
        for row in change.rows:
            own = row.table == thing.table and tuple(str(part) for part in row.key) == keys
            below = row.table in ("soil_readings", "lab_rates") and row.key[0] == keys[0]
            if own:
                found |= {column: str(change) for column in row.fields}
            elif below and thing.table == "soil_tests":
                found |= {f"{row.table}.{row.key[1]!s}": str(change), f"{row.table}.unit": str(change)}
    return found


def _key(thing: Thing, item: Any) -> tuple[str, ...]:
    """The key of a thing in the journal, as texts."""
    if thing.word == "cropping":
        return (item.plot_id, str(item.season), str(item.position))
    return ("1",) if thing.word == files.SETTINGS_WORD else (thing.name_of(item),)


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One change of the journal as listed.

    Parameters
    ----------
    change, id
        Its number in this file, and the first letters of its id in every copy.
    made_at, made_by, command, undoes
        As in the journal.
    did
        (what, before, after) row by row.
    """

    change: int
    id: str
    made_at: str
    made_by: str
    command: str
    undoes: int | None
    did: tuple[tuple[str, str, str], ...]


def change_row(change: Change, system: str) -> ChangeRow:
    """Return a change as listed.

    Parameters
    ----------
    change
        From the journal.
    system
        ``"us"`` or ``"metric"``: the units it is told in.

    Returns
    -------
    ChangeRow
    """
    head = (change.made_at, change.made_by, change.command, change.undoes)
    return ChangeRow(change.change_id, change.uid[:8], *head, tuple(described(change, system)))


def changes(path: Path) -> tuple[ChangeRow, ...]:
    """List every change made to a property, oldest first.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    tuple of ChangeRow
    """
    system = files.units_of(path)
    return tuple(change_row(change, system) for change in files.read_journal(path))


def described(change: Change, system: str) -> Iterator[tuple[str, str, str]]:
    """Say what a change did, row by row: what, before, after."""
    for row in change.rows:
        if row.kind == "changed":
            for field, (then, now) in row.fields.items():
                if row.table == "property" and field == "work":  # rules of work, kept as one text
                    yield from _rules_changed(row.name, then, now)
                else:
                    name, old = files.told(field, then, system)
                    yield f"{row.name}, {name}", _cell(old), _cell(files.told(field, now, system)[1])
        else:
            yield row.name, *(("—", "added") if row.kind == "added" else ("there", "taken out"))


def _rules_changed(name: str, then: object, now: object) -> Iterator[tuple[str, str, str]]:
    """Say which rules of work differ: those of one name before and after, in lists what came and went."""
    before, after = (json.loads(str(text)) if text else {} for text in (then, now))
    for key in dict.fromkeys((*before, *after)):
        old, new = before.get(key), after.get(key)
        if isinstance(old, list) or isinstance(new, list):
            old, new = (
                [each for each in one or [] if each not in (two or [])]
                for one, two in ((old, new), (new, old))
            )
        if old != new:
            yield f"{name}, {key.replace('_', ' ')}", _rule(old), _rule(new)


def _rule(value: object) -> str:
    """Write one rule of work."""
    if isinstance(value, dict):
        return _cell(", ".join(f"{key} {each}" for key, each in value.items()) or None)
    if isinstance(value, list):
        return _cell(
            "; ".join(_rule(each) if isinstance(each, dict) else str(each) for each in value) or None
        )
    return _cell(value if value != "" else None)


def _cell(value: object) -> str:
    if value is None:
        return "—"
    text = f"{value:.9g}" if isinstance(value, float) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}…"
