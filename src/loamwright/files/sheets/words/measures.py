"""Units as printed: ``lb P2O5/A``, ``me/100g``, ``kg ha-1`` become words of this program.

A unit may hold what it is a unit of ("lb ENP/acre"); that basis is returned apart. What a unit is worth
in another is no concern of this file.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import product

from loamwright.files.sheets.words.vocabulary import Unit, plain, squeezed_unit, vocabulary


@dataclass(frozen=True, slots=True)
class PrintedUnits:
    """The units a text names, what they are units of, and the text that is left without them."""

    names: tuple[str, ...]
    bases: tuple[str, ...]
    rest: str


NO_UNITS = PrintedUnits((), (), "")


def _combined(top: str, per: str) -> str | None:
    known = vocabulary()
    for above, below in product(known.tops.get(top, ()), known.pers.get(per, ())):
        name = f"{above}/{below}"
        if name in known.units:
            return name
        spelled = known.unit_spelled.get(squeezed_unit(name))
        if spelled:
            return spelled
    return None


def find_units(text: str) -> PrintedUnits:
    """Take every unit out of a text."""
    known = vocabulary()
    names: list[str] = []
    bases: list[str] = []

    def lone(match: re.Match[str]) -> str:
        names.append(known.unit_spelled[squeezed_unit(match[0])])
        return " "

    def combined(match: re.Match[str]) -> str:
        per = match["per"] or match["inverse"]
        name = _combined(squeezed_unit(match["top"]), squeezed_unit(per))
        if name is None:
            return match[0]
        names.append(name)
        bases.extend([match["what"]] if match["what"] else [])
        return " "

    rest = known.long_units.sub(lone, plain(text))
    rest = known.unit_spellings.sub(lone, known.rates.sub(combined, rest))
    return PrintedUnits(tuple(dict.fromkeys(names)), tuple(dict.fromkeys(bases)), rest)


def read_unit(text: str) -> PrintedUnits | None:
    """Read a text that is a unit and nothing else ("lb K2O/A", "inches"); None when it is not."""
    bare = plain(text).strip(" -=_()[]")
    spelled = vocabulary().unit_spelled.get(squeezed_unit(bare))
    if spelled:
        return PrintedUnits((spelled,), (), "")
    found = find_units(bare)
    return found if found.names and not re.sub(r"[\W_]+", "", found.rest) else None


def unit_named(name: str) -> Unit:
    """Return a unit by its word."""
    return vocabulary().units[name]


def systems(names: tuple[str, ...]) -> set[str]:
    """Return the systems of units, "us" or "metric", that units belong to."""
    return {vocabulary().units[name].system for name in names} - {""}
