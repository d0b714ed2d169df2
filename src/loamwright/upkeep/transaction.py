"""One change of a property: opened, worked out and confirmed in one transaction, or not at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from loamwright import files, season
from loamwright.errors import Problem
from loamwright.files import Editor


@dataclass(frozen=True, slots=True)
class Changed:
    """What one change did.

    Parameters
    ----------
    change_id
        Its number in the journal; 0 = nothing differed, nothing was written.
    sentence
        What was changed, for people.
    fields
        (field, before, after) as texts.
    problems
        What to look at afterwards.
    """

    change_id: int
    sentence: str
    fields: tuple[tuple[str, str, str], ...] = ()
    problems: tuple[Problem, ...] = ()


@contextmanager
def changing(path: Path, today: dt.date, command: str, by: str = "") -> Iterator[Editor]:
    """Open a property for one change that is confirmed only if its season can be worked out.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests and cautions.
    command
        What makes the change, for the journal.
    by
        Who; empty = the keeper that the settings name.

    Yields
    ------
    Editor
    """
    with files.edit(path, command, by) as editor:
        yield editor
        season.worked_out(editor.record(), today)
