"""One hostile input: what is brought, by which command, and what must be said to it.

A case is data: files by name, the words typed, and a part of the sentence that must come. ``P`` stands for
a small property (one plot A-1, one soil test, three products), made once for each batch.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Case:
    """One input.

    Parameters
    ----------
    name
        Reader, class and variant, told apart by slashes.
    typed
        The command; ``P`` is the property.
    says
        Part of what must be printed, told as JSON; empty = whatever is said.
    files
        Name → content, laid beside the property.
    code
        Exit codes that are right: 2 refused or asked about, 0 and 1 read.
    sql
        Statements run on the property first, as another program might.
    bytes_at
        Place → byte, written into the property first.
    unless_taken
        Where it is not read as if nothing were (code 0), one of these is told; empty = nothing is asked.
    """

    name: str
    typed: tuple[str, ...]
    says: str = ""
    files: Mapping[str, bytes] = field(default_factory=dict)
    code: tuple[int, ...] = (2,)
    sql: tuple[str, ...] = ()
    bytes_at: Mapping[int, int] = field(default_factory=dict)
    unless_taken: tuple[str, ...] = ()


def one_by_one(cases: Iterable[Case]) -> tuple[Case, ...]:
    """Return cases, and fail when two have one name."""
    found = tuple(cases)
    names = [case.name for case in found]
    assert len(set(names)) == len(names), [name for name in names if names.count(name) > 1]
    return found
