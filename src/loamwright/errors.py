"""What goes wrong, and how it is told.

Programming mistakes and refusals raise one family of exceptions::

    LoamwrightError
    ├── InputError        the user's file or option cannot be used; carries Problems
    ├── UnitError         a number or a quantity is not understood (also a ValueError)
    │   └── AmbiguousNumberError   a number has two readings; carries both
    ├── PropertyFileError the property file is missing, not ours, busy or damaged
    └── MissingExtraError an optional dependency is not installed

Faults in *user data* are not exceptions while a file is being read: they are collected as
`Problem` values, each naming where, what and the fix, and shown together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """How serious a problem is."""

    ERROR = "error"  #: the item cannot be used and was left out
    WARNING = "warning"  #: used, but a person should look
    NOTE = "note"  #: used; something was repaired, assumed or ignored, and this says so


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in what the user brought.

    Parameters
    ----------
    where
        File, row or feature, and field: ``"soil_tests.csv, row 4, p_extractant"``.
    what
        What is wrong, with the offending value in the text.
    fix
        What the user can do about it.
    level
        Error (left out), warning (used) or note (repaired, assumed, ignored).
    question
        Id by which it is answered, ``--answer ID=CHOICE``; empty when it is no question.
    choices
        What it may be answered with.
    """

    where: str
    what: str
    fix: str
    level: Level = Level.ERROR
    question: str = ""
    choices: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.fix}" if self.fix else f"{self.where}: {self.what}"


class LoamwrightError(Exception):
    """Base of every error this package raises on purpose."""


class InputError(LoamwrightError):
    """The user's input cannot be used; nothing was changed.

    Parameters
    ----------
    problems
        The faults found, errors first if sorted by the caller. At least one.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class AnswerError(InputError):
    """An answer to a question is none of its choices; what it was about can still be read."""


class UnitError(LoamwrightError, ValueError):
    """A number or a quantity is not understood.

    Parameters
    ----------
    what
        What is wrong, with the offending text; ``"what; fix"`` where the fix is not given apart.
    fix
        What to write instead.
    """

    def __init__(self, what: str, fix: str = "") -> None:
        if not fix:
            what, _, fix = what.partition("; ")
        self.what = what
        self.fix = fix
        super().__init__(f"{what}; {fix}" if fix else what)

    def at(self, where: str) -> Problem:
        """Make a problem of it.

        Parameters
        ----------
        where
            The place it was written.

        Returns
        -------
        Problem

        Examples
        --------
        >>> str(UnitError("'5 lb' is not a speed", "write for example 5 mph").at("row 3, speed"))
        "row 3, speed: '5 lb' is not a speed. Write for example 5 mph."
        """
        fix = f"{self.fix[:1].upper()}{self.fix[1:]}" or "Correct it."
        return Problem(where, self.what, fix if fix.endswith((".", "!", "?")) else f"{fix}.")


class AmbiguousNumberError(UnitError):
    """A number that is read in two ways: ``"1,385"`` with a decimal comma or a thousands comma.

    Parameters
    ----------
    what
        What is wrong, with the offending text.
    fix
        What to write instead, with both readings.
    choices
        The readings: with the mark as decimal mark, with the mark between thousands.
    """

    def __init__(self, what: str, fix: str, choices: tuple[float, ...]) -> None:
        self.choices = choices
        super().__init__(what, fix)


class PropertyFileError(LoamwrightError):
    """The property file is missing, not ours, newer than this program, busy or damaged.

    Parameters
    ----------
    what
        What is wrong; after a semicolon, what to do.
    path
        The file; empty where the place that raises does not know it.
    """

    def __init__(self, what: str, path: str = "") -> None:
        self.what = what
        self.path = path
        super().__init__(f"{path}: {what}" if path else what)


class MissingExtraError(LoamwrightError):
    """An optional dependency is not installed; the message carries the install line."""


def has_errors(problems: Iterable[Problem]) -> bool:
    """Tell whether any problem is of level error.

    Parameters
    ----------
    problems
        The problems to look through.

    Returns
    -------
    bool
        True when at least one item was left out.
    """
    return any(p.level is Level.ERROR for p in problems)
