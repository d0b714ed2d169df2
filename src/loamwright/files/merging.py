"""How what a file brings is merged with what the property holds: a blank keeps, a word clears.

This file answers "what does the merged record say, and where does it differ from before?". Only what a file
states changes anything.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

from loamwright.files.things import differing, fields_of, text_of, thing_of
from loamwright.land import Shape, same_shape
from loamwright.work import PropertyRecord

R = TypeVar("R")


def merged(old: R, new: R) -> R:
    """Return a record with everything `new` states, and what `old` holds where `new` is blank.

    Parameters
    ----------
    old, new
        Of one type and id. A field at its default, or empty, is blank; mappings are merged entry by entry,
        records within records field by field.

    Returns
    -------
    record

    Examples
    --------
    >>> from loamwright.land import Cropping
    >>> held = Cropping("A", 2026, "oats", "rye", legume_pct=10.0)
    >>> merged(held, Cropping("A", 2026, "barley")).previous_crop
    'rye'
    """
    changes: dict[str, Any] = {}
    for part in fields(old):  # type: ignore[arg-type]
        before, after = getattr(old, part.name), getattr(new, part.name)
        if _blank(part, after) or _same(before, after):
            changes[part.name] = before
        elif isinstance(after, Mapping) and isinstance(before, Mapping):
            changes[part.name] = {**before, **after}
        elif is_dataclass(after) and type(after) is type(before) and _has_blanks(after):
            changes[part.name] = merged(before, after)
    return replace(new, **changes)  # type: ignore[type-var]


def _same(before: object, after: object) -> bool:
    """Tell values that only a way of writing sets apart: the turn of a ring, the last digit of a figure."""
    if isinstance(before, Shape) and isinstance(after, Shape):
        return same_shape(before, after)
    if isinstance(before, float) and isinstance(after, float):
        return math.isclose(before, after, rel_tol=1e-14)
    return False


def _blank(part: Any, value: object) -> bool:
    if value is None or value == "" or value == () or value == {}:
        return True
    return part.default is not MISSING and value == part.default


def _has_blanks(record: Any) -> bool:
    """Tell records whose fields may be left out from values such as a quantity, which are whole."""
    return any(part.default is not MISSING or part.default_factory is not MISSING for part in fields(record))


@dataclass(frozen=True, slots=True)
class Difference:
    """What an import would change, or has changed, about one thing.

    Parameters
    ----------
    thing, name
        What kind, and its id.
    state
        ``"added"``, ``"changed"`` or ``"unchanged"``.
    fields
        (field, before, after) as texts.
    """

    thing: str
    name: str
    state: str
    fields: tuple[tuple[str, str, str], ...] = ()


def differences(
    word: str, record: PropertyRecord, held: Mapping[str, R], items: Iterable[R]
) -> Iterator[Difference]:
    """Hold what would be stored against what the property holds.

    Parameters
    ----------
    word
        What kind of thing.
    record
        The property.
    held
        What it holds, by id.
    items
        What would be stored, merged.

    Yields
    ------
    Difference
    """
    thing = thing_of(word)
    known = fields_of(thing, record)
    for item in items:
        name = thing.name_of(item)
        before = held.get(name)
        if before is None:
            told = ((field.name, text_of(field, item, record.info.units)) for field in known.values())
            yield Difference(word, name, "added", tuple((field, "—", text) for field, text in told if text))
        else:
            changed = differing(thing, record, before, item)
            yield Difference(word, name, "changed" if changed or before != item else "unchanged", changed)
