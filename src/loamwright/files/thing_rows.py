"""Tables whose columns are fields of a thing: corrections of a few columns, croppings, reach, ways.

This file answers "which things does such a table change, and how?". A row names one thing by its id and says
what changes: a blank keeps what is there, the word `clear` clears it. Several rows of one plot and season are
its croppings one after the other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from loamwright.errors import InputError, Problem
from loamwright.files.fields import key_of
from loamwright.files.kinds import CLEAR_WORDS
from loamwright.files.textrows import Table
from loamwright.files.things import THINGS, added, assigned, fields_of, find, thing_of, unknown_field
from loamwright.work import PropertyRecord

#: Thing to the columns its id may stand in.
_IDS: Mapping[str, tuple[str, ...]] = {
    "cropping": ("plot_id", "plot"),
    "plot": ("plot_id", "plot"),
    "part": ("part_id", "part"),
    "keep-out": ("keepout_id", "keep_out"),
    "way": ("way_id", "way"),
    "spreader": ("spreader",),
    "soil-test": ("test_id",),
    "organic": ("input_id",),
    "product": ("product",),
    "offer": ("offer_id",),
    "purchase": ("purchase_id",),
}
#: Columns that say which cropping of a plot, beside its plot.
_WHICH = ("season", "position")


@dataclass(frozen=True, slots=True)
class ThingRows:
    """What a table changes.

    Parameters
    ----------
    word
        Which kind of thing.
    items
        The things as they become.
    """

    word: str
    items: tuple[Any, ...]


def changes_things(table: Table, record: PropertyRecord) -> str | None:
    """Tell which kind of thing a table changes: its id stands in it, and all else is fields of it."""
    filled = {place for row in table.rows for place, cell in enumerate(row.cells) if cell.strip()}
    named = [key_of(column) for place, column in enumerate(table.columns) if place in filled]
    for word, ids in _IDS.items():
        fields = _fields(word, record)
        others = [name for name in named if name not in ids and not (word == "cropping" and name in _WHICH)]
        if len(others) < len(named) and others and set(others) <= fields.keys():
            return word
    return None


def unknown_columns(table: Table, record: PropertyRecord) -> list[Problem]:
    """Say which columns are no fields of the thing a table seems to change; empty when none seems meant."""
    named = [column for column in table.columns if column.strip()]
    best: tuple[int, str, list[str]] = (0, "", [])
    for word, ids in _IDS.items():
        known = {*_fields(word, record), *ids, *(_WHICH if word == "cropping" else ())}
        strange = [column for column in named if key_of(column) not in known]
        if any(key_of(column) in ids for column in named):
            best = max(best, (len(named) - len(strange), word, strange), key=lambda one: one[0])
    known_ones, word, strange = best
    if known_ones < 2:  # an id alone stands in many a table that is not ours
        return []
    return [
        unknown_field(THINGS[word], f"{table.path.name}, column {column}", column, record)
        for column in strange
    ]


def has_clear_words(table: Table) -> bool:
    """Tell whether a cell says that something is cleared: only a table of changes can."""
    return any(cell.strip().casefold() in CLEAR_WORDS for row in table.rows for cell in row.cells)


def _fields(word: str, record: PropertyRecord) -> Mapping[str, str]:
    """Name the fields of a thing by what a column of theirs may be called."""
    found = {key_of(name): name for name in fields_of(THINGS[word], record)}
    return found | ({"plot_id": "plot"} if "plot" in found else {})


def rows_of_things(table: Table, word: str, record: PropertyRecord) -> ThingRows:
    """Read the things a table changes.

    Parameters
    ----------
    table
        As it stands in the file.
    word
        Which kind of thing.
    record
        The property, with the plots of the same import.

    Returns
    -------
    ThingRows

    Raises
    ------
    InputError
        When a thing is not there or a value is not of its kind: every row's faults at once.
    """
    thing = thing_of(word)
    known = _fields(word, record)
    problems, items = [], dict[str, Any]()
    seen: Counter[str] = Counter()
    for row in table.rows:
        where = f"{table.path.name}, row {row.number}"
        cells = dict(zip(map(key_of, table.columns), row.cells, strict=True))
        name = _name(cells, word, record, seen)
        try:
            if not name:
                raise InputError([Problem("", "it names no " + word, f"Fill in the column {_IDS[word][0]}.")])
            texts = [
                f"{known[key]}={value.strip()}"
                for key, value in cells.items()
                if key in known and value.strip()
            ]
            item = _changed(word, record, name, texts)
            key = thing.name_of(item)
            if key in items:
                raise InputError([Problem("", f"{key} stands in two rows", "Make one row of them.")])
            items[key] = item
        except InputError as error:
            problems += [
                Problem(f"{where}: {one.where}".removesuffix(": "), one.what, one.fix)
                for one in error.problems
            ]
    if problems:
        raise InputError(problems)
    return ThingRows(word, tuple(items.values()))


def _name(cells: Mapping[str, str], word: str, record: PropertyRecord, seen: Counter[str]) -> str:
    """Return what the thing of a row is called; of croppings the next in line where no place is stated."""
    name = next((cells[key].strip() for key in _IDS[word] if cells.get(key, "").strip()), "")
    if word != "cropping" or not name:
        return name
    season = cells.get("season", "").strip() or str(record.info.season)
    group = f"{name.casefold()} {season}"
    seen[group] += 1
    position = cells.get("position", "").strip() or str(seen[group])
    return f"{name} {season} {position}"


def _changed(word: str, record: PropertyRecord, name: str, texts: Sequence[str]) -> Any:
    thing = THINGS[word]
    try:
        item = find(thing, record, name)
    except InputError:
        if word not in ("cropping", "spreader"):
            raise  # a new one of these needs more than some of its fields
        return added(thing, record, name, texts)
    return assigned(thing, record, item, texts)
