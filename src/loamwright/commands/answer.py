"""How a command answers: one value for programs and for people, and an exit code.

Exit codes: 0 done; 1 done, with warnings or open decisions; 2 refused, or a question: nothing was changed;
3 not possible; 70 an error of ours.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import click
import typer
from rich.console import Console

from loamwright.errors import InputError, Level, LoamwrightError, Problem, PropertyFileError, has_errors

if TYPE_CHECKING:
    from loamwright.season import Progress
    from loamwright.work import SeasonView


T = TypeVar("T")

DONE, WARNINGS, INPUT_PROBLEMS, NO_PLAN, OUR_ERROR = 0, 1, 2, 3, 70


class Units(StrEnum):
    """How amounts are shown to people."""

    US = "us"
    METRIC = "metric"


PropertyPath = Annotated[Path, typer.Argument(metavar="PROPERTY", help="The property file (.gpkg).")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for programs instead of tables.")]
LayerName = Annotated[str | None, typer.Option("--layer", help="Layer to read, when a file has several.")]
Old = Annotated[
    bool, typer.Option("--old", help="Hand out the plan although what it stood on has changed; it says so.")
]
InUnits = Annotated[
    Units | None, typer.Option("--units", help="Units for people; the property's own when not given.")
]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command found: the same thing for programs and for people.

    Parameters
    ----------
    data
        What ``--json`` prints.
    show
        Prints it for people.
    problems
        Shown after it; they decide between exit codes 0 and 1.
    no_plan
        True for exit code 3.
    from_file
        True when an error among the problems is a fault of the file asked about: exit code 2.
    undecided
        True when something is left to decide: exit code 1.
    """

    data: dict[str, Any]
    show: Callable[[Console], None]
    problems: tuple[Problem, ...] = ()
    no_plan: bool = False
    from_file: bool = False
    undecided: bool = False


def read(where: str, text: str, parse: Callable[[str], T]) -> T:
    """Read what was typed for one option or argument."""
    try:
        return parse(text)
    except ValueError as error:
        raise InputError([_problem(where, str(error))]) from error


def read_if_given(where: str, text: str | None, parse: Callable[[str], T]) -> T | None:
    """Read what was typed for one option or argument, if it was."""
    return None if text is None else read(where, text, parse)


def exit_code(answer: Answer) -> int:
    """Return the exit code an answer ends with."""
    if answer.no_plan:
        return NO_PLAN
    if answer.from_file and has_errors(answer.problems):
        return INPUT_PROBLEMS
    warned = any(problem.level is not Level.NOTE for problem in answer.problems)
    return WARNINGS if warned or answer.undecided else DONE


def give(answer: Answer, as_json: bool) -> None:
    """Print an answer and leave with its exit code."""
    from loamwright.commands import data, text

    if as_json:
        content = {**answer.data, "questions": data.questions(answer.problems)}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
    else:
        out = Console(highlight=False)
        answer.show(out)
        text.show_problems(out, answer.problems)
    raise typer.Exit(exit_code(answer))


def _problem(where: str, text: str) -> Problem:
    """Make a problem of a text that says what is wrong and, after a semicolon, what to do."""
    what, _, fix = text.partition("; ")
    return Problem(where, what, f"{fix[:1].upper()}{fix[1:]}." if fix else "")


def _problems_of(error: LoamwrightError) -> tuple[Problem, ...]:
    if isinstance(error, InputError):
        return error.problems
    if isinstance(error, PropertyFileError):
        return (_problem(error.path, error.what),)
    return (_problem("", str(error)),)


def refuse(error: LoamwrightError, as_json: bool) -> None:
    """Print why nothing was done and leave with exit code 2."""
    _print_refusal(_problems_of(error), as_json)
    raise typer.Exit(INPUT_PROBLEMS)


def _print_refusal(problems: tuple[Problem, ...], as_json: bool) -> None:
    from loamwright.commands import data, text

    if as_json:
        content = {"problems": data.problems(problems), "questions": data.questions(problems)}
        typer.echo(json.dumps(content, ensure_ascii=False, indent=2))
    else:
        text.show_problems(Console(stderr=True, highlight=False), problems)


@contextmanager
def refusals(as_json: bool) -> Iterator[None]:
    """Turn the package's own errors into exit code 2; let programming mistakes through."""
    try:
        yield
    except LoamwrightError as error:
        refuse(error, as_json)
    except (typer.Exit, typer.Abort, click.ClickException):
        raise
    except Exception as error:
        _own_fault(error, as_json)


def _own_fault(error: Exception, as_json: bool) -> None:
    """Say that this is an error of ours, and leave with a code of its own."""
    what = f"this is an error of ours, not of your input: {type(error).__name__}: {error}"
    problem = Problem("loamwright", what, "Please report it with the command and the file, if you may.")
    _print_refusal((problem,), as_json)
    raise typer.Exit(OUR_ERROR) from error


@contextmanager
def showing_progress(as_json: bool) -> Iterator[Progress]:
    """Show a moving line that names the stage, on a terminal and only there."""
    err = Console(stderr=True)
    if as_json or not err.is_terminal:
        yield lambda _stage: None
        return
    with err.status("starting …") as status:
        yield lambda stage: status.update(f"{stage} …")


def give_files(
    paths: tuple[Path, ...], problems: tuple[Problem, ...], as_json: bool, about: str = ""
) -> None:
    """Print which files were written and leave with the right exit code."""
    from loamwright.commands import data, text

    give(
        Answer(
            {"files": [str(path) for path in paths], "problems": data.problems(problems)},
            lambda out: text.show_paths(out, paths, about),
            problems,
        ),
        as_json,
    )


def view_of(property_path: Path) -> SeasonView:
    """Open a property file and compute its season as of today."""
    from loamwright import season

    return season.view(property_path, today())


def system_for(view: SeasonView, units: Units | None) -> str:
    """Return the unit system to show: the one asked for, else the property's own."""
    return view.record.info.units if units is None else units.value


def today() -> dt.date:
    """Return today's date where the user is."""
    return dt.datetime.now().astimezone().date()
