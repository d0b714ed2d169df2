"""How a command answers: one machine around every command.

A command reads what was typed, calls once and returns an `Answer`. `command` adds the rest: ``--json`` and
``--units``, the moving line that names the stage, the refusals, and the exit code. What is printed follows
from the type of the result alone: `data` for programs, `text` and its neighbours for people.

Exit codes: 0 done; 1 done, with warnings or open decisions; 2 refused, or a question: nothing was changed;
3 not possible; 70 an error of ours.
"""

from __future__ import annotations

import datetime as dt
import errno
import inspect
import os
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar, cast

import typer
from typer.core import TyperGroup

from loamwright.errors import (
    InputError,
    Level,
    LoamwrightError,
    Problem,
    PropertyFileError,
    UnitError,
    has_errors,
)
from loamwright.money import USUAL, tell_money_in

if TYPE_CHECKING:
    from loamwright.season import Progress, Season


T = TypeVar("T")

DONE, WARNINGS, INPUT_PROBLEMS, NO_PLAN, OUR_ERROR = 0, 1, 2, 3, 70

#: Set to anything, an error of ours ends in Python's traceback in place of one sentence.
TRACEBACK = "LOAMWRIGHT_TRACEBACK"


class Units(StrEnum):
    """How amounts are shown to people."""

    US = "us"
    METRIC = "metric"


PropertyPath = Annotated[Path, typer.Argument(metavar="PROPERTY", help="The property file (.gpkg).")]
LayerName = Annotated[str | None, typer.Option("--layer", help="Layer to read, when a file has several.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for programs instead of tables.")]
Old = Annotated[
    bool, typer.Option("--old", help="Hand out the plan although what it stood on has changed; it says so.")
]
OfSeason = Annotated[
    int | None, typer.Option("--season", help="A season that is over, as it ended; this one if not given.")
]
InUnits = Annotated[
    Units | None, typer.Option("--units", help="Units for people; the property's own when not given.")
]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command found.

    Parameters
    ----------
    result
        Its type chooses what ``--json`` prints and what people read. Its problems, if it has any, are shown
        after it and decide between exit codes 0 and 1.
    units
        How amounts are shown when ``--units`` does not say, ``"us"`` or ``"metric"``.
    no_plan
        True for exit code 3.
    from_file
        True when an error among the problems is a fault of the file asked about: exit code 2.
    undecided
        True when something is left to decide: exit code 1.
    """

    result: Any
    units: str = Units.US.value
    no_plan: bool = False
    from_file: bool = False
    undecided: bool = False

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What was found on the way."""
        return tuple(getattr(self.result, "problems", ()))


@dataclass(frozen=True, slots=True)
class Asked:
    """How an answer is wanted, for the few commands that have to know.

    Parameters
    ----------
    as_json
        True when a program asks.
    units
        What ``--units`` says, or None.
    progress
        Shows the stage begun, on a terminal and only there.
    """

    as_json: bool
    units: Units | None
    progress: Progress


# ---------------------------------------------------------------------------------------------
# The machine


def command(
    group: typer.Typer, name: str | None = None, *, in_units: bool = False
) -> Callable[[Callable[..., Answer]], Callable[..., Answer]]:
    """Make a function that returns an `Answer` a command of a group.

    Parameters
    ----------
    group
        Where it belongs.
    name
        Its name; the function's when not given.
    in_units
        True when it shows amounts, and so takes ``--units``.
    """

    def make(function: Callable[..., Answer]) -> Callable[..., Answer]:
        typed = list(inspect.signature(function, eval_str=True).parameters.values())
        wants_asked = bool(typed) and typed[0].annotation is Asked
        added = {"as_json": (AsJson, False)} | ({"units": (InUnits, None)} if in_units else {})
        parameters = [
            inspect.Parameter("context", inspect.Parameter.KEYWORD_ONLY, annotation=typer.Context),
            *(
                p.replace(kind=inspect.Parameter.KEYWORD_ONLY, annotation=_with_our_reader(p.annotation))
                for p in typed[wants_asked:]
            ),
            *(
                inspect.Parameter(key, inspect.Parameter.KEYWORD_ONLY, annotation=kind, default=default)
                for key, (kind, default) in added.items()
            ),
        ]

        def run(*, context: typer.Context, as_json: bool, units: Units | None = None, **words: Any) -> None:
            def call(progress: Progress) -> Answer:
                asked = Asked(as_json, units, progress)
                return function(asked, **words) if wants_asked else function(**words)

            raise typer.Exit(_answered(call, as_json, units, _flags(context)))

        run.__doc__ = function.__doc__
        run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        run.__annotations__ = {p.name: p.annotation for p in parameters}
        group.command(name or function.__name__)(run)
        return function

    return make


def _with_our_reader(annotation: Any) -> Any:
    """Let a figure typed for a command be read as every other figure is, within the ends it states."""
    told = getattr(annotation, "__metadata__", ())
    if not told:
        return annotation
    kind, info = annotation.__origin__, told[0]
    if kind in (int, int | None, float, float | None):
        whole = kind in (int, int | None)
        low, high = (-_MOST if info.min is None else info.min), (_MOST if info.max is None else info.max)
        info.parser = lambda text: _figure(str(text), whole, low, high)
    return annotation


#: Largest figure typed for an option by itself: ours, wider than any count, year or time limit.
_MOST = 1_000_000


def _figure(text: str, whole: bool, low: float, high: float) -> float:
    from loamwright.units import read_number

    try:
        value = read_number(text)
    except UnitError as error:
        raise typer.BadParameter(str(error)) from error
    if whole and not value.is_integer():
        raise typer.BadParameter(f"{text!r} is not a whole number")
    if not low <= value <= high:
        raise typer.BadParameter(f"{text!r} is not between {low:,} and {high:,}")
    return int(value) if whole else value


def _answered(
    call: Callable[[Progress], Answer], as_json: bool, units: Units | None, flags: Mapping[str, str]
) -> int:
    """Call, print the answer or why there is none, and return the exit code."""
    tell_money_in(USUAL)  # until a property says otherwise
    try:
        with _showing_progress(as_json) as progress:
            answer = call(progress)
        answer = replace(answer, result=_naming_options(answer.result, flags))
        system = answer.units if units is None else units.value
        for piece in _json_of(answer.result) if as_json else _text_of(answer, system):
            _say(piece)
        return exit_code(answer)
    except LoamwrightError as error:
        _refuse([name_options(problem, flags) for problem in _problems_of(error)], as_json)
        return INPUT_PROBLEMS
    except (typer.Abort, typer.Exit, BrokenPipeError):
        raise
    except OSError as error:
        if error.errno != errno.ENAMETOOLONG:
            return _our_error(error, as_json)
        called = str(error.filename)
        what = f"no file can have a name of {len(called):,} letters: {called[:60]}…"
        _refuse([Problem(called[:60], what, "Give a shorter name.")], as_json)
        return INPUT_PROBLEMS
    except Exception as error:
        return _our_error(error, as_json)


def _our_error(error: Exception, as_json: bool) -> int:
    if os.environ.get(TRACEBACK):
        raise error
    what = f"this is an error of ours, not of your input: {type(error).__name__}: {error}"
    fix = f"Please report it, with what the same command prints when {TRACEBACK}=1 is set."
    _refuse([Problem("loamwright", " ".join(what.split()), fix)], as_json)
    return OUR_ERROR


def _text_of(answer: Answer, system: str) -> Iterator[str]:
    """Lay out an answer and its problems: all of it, before any of it is printed."""
    from loamwright.commands import buy_text, keep_text, plan_text, sheet_text, text
    from loamwright.commands.terminal import Terminal

    rooms = (text, plan_text, buy_text, sheet_text, keep_text)
    texts = {kind: show for room in rooms for kind, show in room.TEXTS.items()}
    console = Terminal()
    with console.capture() as printed:
        texts[type(answer.result)](console, answer.result, system)
        text.show_problems(console, answer.problems)
    yield printed.get()


def _json_of(found: Any) -> Iterator[str]:
    """Write JSON in one piece; a list that comes as an iterator an item to a line, without holding it."""
    import json

    from loamwright.commands import data
    from loamwright.commands.results import SheetRead
    from loamwright.money import currency_told

    values = data.of(found)
    if "currency" not in values and not isinstance(found, SheetRead) and data.tells_money(values):
        values = {**values, "currency": currency_told()}
    problems = found["problems"] if isinstance(found, dict) else getattr(found, "problems", ())
    if "questions" not in values:  # a sheet brings questions of its own
        values = {**values, "questions": data.questions(problems)}
    if not any(isinstance(value, Iterator) for value in values.values()):
        yield json.dumps(values, ensure_ascii=False, indent=2) + "\n"
        return
    for place, (key, value) in enumerate(values.items()):
        yield f"{',' if place else '{'}\n  {json.dumps(key)}: "
        if not isinstance(value, Iterator):
            yield json.dumps(value, ensure_ascii=False)
            continue
        items = (json.dumps(item, ensure_ascii=False) for item in value)
        before = "["
        while some := ",\n    ".join(islice(items, 1000)):
            yield f"{before}\n    {some}"
            before = ","
        yield "\n  ]"
    yield "\n}\n"


def _say(text: str) -> None:
    """Print; half a letter, which no stream takes, as JSON and people both write it."""
    typer.echo(text.encode("utf-8", "backslashreplace").decode("utf-8"), nl=False)


def _refuse(problems: list[Problem], as_json: bool) -> None:
    if as_json:
        _say("".join(_json_of({"problems": problems})))
    else:
        from loamwright.commands import text
        from loamwright.commands.terminal import Terminal

        text.show_problems(Terminal(stderr=True), problems)


def read_answers(texts: Sequence[str]) -> dict[str, str]:
    """Read ``--answer ID=CHOICE``, as often as it was given."""
    answers = {}
    for text in texts:
        ident, mark, choice = text.partition("=")
        if not mark or not ident.strip() or not choice.strip():
            raise InputError([Problem("answer", f"{text!r} is no answer", 'Write depth="0-6 in".')])
        answers[ident.strip()] = choice.strip()
    return answers


def exit_code(answer: Answer) -> int:
    """Return the exit code an answer ends with."""
    if answer.no_plan:
        return NO_PLAN
    if answer.from_file and has_errors(answer.problems):
        return INPUT_PROBLEMS
    warned = any(problem.level is not Level.NOTE for problem in answer.problems)
    return WARNINGS if warned or answer.undecided else DONE


@contextmanager
def _showing_progress(as_json: bool) -> Iterator[Progress]:
    """Show a moving line that names the stage, on a terminal and only there.

    It begins with the first stage. A stage begun after the end, while the answer is laid out, is not shown:
    nothing may move while lines are printed.
    """
    if as_json or not sys.stderr.isatty():
        yield lambda _stage: None
        return
    from loamwright.commands.terminal import Terminal

    err = Terminal(stderr=True)
    line = err.status("")
    over = False

    def show(stage: str) -> None:
        if not over:
            line.update(f"{stage} …")
            line.start()

    try:
        yield show
    finally:
        over = True
        line.stop()


class Commands(TyperGroup):
    """All commands; what was typed wrongly is told as JSON too, where JSON was asked for."""

    def main(self, args: Sequence[str] | None = None, *rest: Any, **words: Any) -> Any:
        """Run what was typed; end with its exit code."""
        typed = list(sys.argv[1:] if args is None else args)
        if "--json" not in typed:
            return super().main(args, *rest, **words)
        try:
            ended = super().main(typed, *rest, **{**words, "standalone_mode": False})
        except _UsageError as error:
            sys.exit(_mistyped(error))
        sys.exit(ended if isinstance(ended, int) else DONE)


#: The library's mistakes of typing; it shows the class of one of them only.
_UsageError = cast("type[Exception]", typer.BadParameter.__bases__[0])


def _mistyped(error: Exception) -> int:
    """Print what is wrong with a command line as JSON, and return the exit code."""
    context, said = getattr(error, "ctx", None), getattr(error, "format_message", lambda: str(error))()
    called = context.command_path if context is not None else "loamwright"
    where = getattr(getattr(error, "param", None), "name", None) or called
    _refuse([Problem(where, said.rstrip("."), f"See `{called} --help`.")], True)
    return INPUT_PROBLEMS


# ---------------------------------------------------------------------------------------------
# Problems in the words of the command line


def _flags(context: typer.Context) -> Mapping[str, str]:
    """Return the options of a command by what the rest of the program calls them: the fields typed."""
    flags = {}
    for parameter in context.command.params:
        flag = parameter.opts[0]
        if flag.startswith("--"):
            flags[flag.removeprefix("--").replace("-", " ")] = flag
            flags[(parameter.name or "").replace("_", " ")] = flag
    return flags


def name_options(problem: Problem, flags: Mapping[str, str]) -> Problem:
    """Name each field by its option: "time limit" as ``--time-limit``, a fix's `` `need` `` as ``--need``."""
    where = flags.get(problem.where, problem.where)
    fix = re.sub("`([^`]+)`", lambda found: flags.get(found[1], found[0]), problem.fix)
    return replace(problem, where=where, fix=fix)


def _naming_options(result: Any, flags: Mapping[str, str]) -> Any:
    if all(field.name != "problems" for field in fields(result)):
        return result
    return replace(result, problems=tuple(name_options(problem, flags) for problem in result.problems))


def read(where: str, text: str, parse: Callable[[str], T]) -> T:
    """Read what was typed for one option or argument."""
    try:
        return parse(text)
    except UnitError as error:
        raise InputError([error.at(where)]) from error
    except ValueError as error:
        if not (isinstance(parse, type) and issubclass(parse, StrEnum)):
            raise
        words = ", ".join(word.value for word in parse)
        raise InputError([Problem(where, f"{text!r} is not known", f"Use one of: {words}.")]) from error


def read_if_given(where: str, text: str | None, parse: Callable[[str], T]) -> T | None:
    """Read what was typed for one option or argument, if it was."""
    return None if text is None else read(where, text, parse)


def _problem(where: str, text: str) -> Problem:
    """Make a problem of a text that says what is wrong and, after a semicolon, what to do."""
    what, _, fix = text.partition("; ")
    return Problem(where, what, f"{fix[:1].upper()}{fix[1:]}." if fix else "")


def _problems_of(error: LoamwrightError) -> tuple[Problem, ...]:
    if isinstance(error, InputError):
        return error.problems
    if isinstance(error, UnitError):
        return (error.at(""),)
    if isinstance(error, PropertyFileError):
        return (_problem(error.path, error.what),)
    return (_problem("", str(error)),)


# ---------------------------------------------------------------------------------------------
# What most commands begin with


def view_of(property_path: Path, of_season: int | None = None) -> Season:
    """Open a property file and compute its season as of today, or one that is over."""
    from loamwright import season

    return season.view(property_path, today(), of_season)


def today() -> dt.date:
    """Return today's date where the user is."""
    return dt.datetime.now().astimezone().date()
