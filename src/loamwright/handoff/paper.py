"""From what stands on a page to a file.

This file answers "how does a page get onto paper?": a page's data goes to its Typst template as
JSON and comes back as PDF, PNG or SVG, set in the fonts that come with Typst, so that the same data
prints alike on any machine. What users wrote travels as data and is shown, never read as markup.
What stands on the pages is decided in `orders`, `sampling_sheets`, `season_record` and
`season_picture`; plots are drawn by `drawings`.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from loamwright.errors import InputError, Level, Problem
from loamwright.files import write_set
from loamwright.money import format_money
from loamwright.work import SeasonView, both_totals

TEMPLATES = Path(__file__).parents[1] / "templates"
#: Paper sizes offered, by the name Typst gives them.
PAPERS = ("us-letter", "a4")
#: Who reads work orders, and what stands in their edition.
READERS: Mapping[str, str] = {
    "helper": "for whoever spreads: a booklet of the rounds, no prices and no arithmetic",
    "planner": "everything: orders, buying list, cautions with their sources, and the arithmetic",
    "driver": "for the truck: stops, tons, approach, limits",
}
#: Kinds of file a page can become, by suffix.
FORMATS: dict[str, Literal["pdf", "png", "svg"]] = {".pdf": "pdf", ".png": "png", ".svg": "svg"}


@dataclass(frozen=True, slots=True)
class PaperOptions:
    """Choices for printed pages.

    Parameters
    ----------
    paper
        ``"us-letter"`` or ``"a4"``.
    rounds
        Numbers, ids or titles of the rounds to print, with the plots they visit; None = all.
    appendix
        True to print how each number was made, in a file of its own.
    reader
        A key of `READERS`: whose edition of the work orders; None = every one there is something for.
    """

    paper: str = "us-letter"
    rounds: tuple[str, ...] | None = None
    appendix: bool = True
    reader: str | None = None


@dataclass(frozen=True, slots=True)
class PaperMade:
    """What was written.

    Parameters
    ----------
    path
        The file.
    pages
        Pages (or sheets of a workbook) in it; 0 when there was nothing to print and no file was made.
    problems
        What the pages could not show.
    """

    path: Path
    pages: int
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure in a frame.

    Parameters
    ----------
    value
        The figure with its unit.
    label
        What it is.
    """

    value: str
    label: str


# ---------------------------------------------------------------------------------------------
# Pages


#: Invisible marks that turn the direction of the text after them, neighbouring figures included.
_TURNING = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_RIGHT_TO_LEFT = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
#: A run of right-to-left words with the spaces and marks between them.
_RUN = re.compile(f"[{_RIGHT_TO_LEFT}](?:[^\\w\\d]*[{_RIGHT_TO_LEFT}])*")
_CONTROL = re.compile("[\x00-\x1f\x7f]")


def printable(text: str) -> str:
    """Return text that cannot turn or hide its neighbours on a page.

    References
    ----------
    Unicode Standard Annex 9, Unicode Bidirectional Algorithm: first strong isolate (U+2068) and pop
    directional isolate (U+2069).
    """
    clean = _TURNING.sub("", _CONTROL.sub(" ", text))
    return _RUN.sub(lambda run: f"\u2068{run[0]}\u2069", clean)


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return printable(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    return round(value, 3) if isinstance(value, float) else value


def _beyond_our_fonts(text: str) -> set[str]:
    """Characters the fonts that come with Typst may lack: they hold Latin, Greek, Cyrillic, Hebrew,
    Arabic, punctuation, arrows and mathematics, not emoji or the scripts further east."""
    return {ch for ch in text if ch >= "\u0700" and not "\u1e00" <= ch <= "\u2bff" and ch != "\ufe0f"}


def check_paper(paper: str) -> str:
    """Return the paper size, or refuse one that is not offered.

    Parameters
    ----------
    paper
        ``"us-letter"`` or ``"a4"``.

    Returns
    -------
    str

    Raises
    ------
    InputError
        When it is neither.
    """
    if paper not in PAPERS:
        raise InputError(
            (
                Problem(
                    "paper", f"{paper!r} is not a paper size we print on", f"Use one of {', '.join(PAPERS)}."
                ),
            )
        )
    return paper


def check_reader(reader: str | None) -> str | None:
    """Return the reader, or refuse one that has no edition.

    Parameters
    ----------
    reader
        A key of `READERS`, or None for all.

    Returns
    -------
    str or None

    Raises
    ------
    InputError
        When it is none of them.
    """
    if reader is not None and reader not in READERS:
        known = "; ".join(f"{name}: {what}" for name, what in READERS.items())
        raise InputError((Problem("for", f"{reader!r} has no work orders", f"Use one of these. {known}."),))
    return reader


def print_pages(template: str, page: object, path: Path, made_on: dt.date) -> PaperMade:
    """Print one document.

    Notes
    -----
    Structure tags for screen readers are left out: they make a set of orders six times larger, and
    the field map is the form to read aloud. The text itself can be searched and copied.
    """
    import typst

    kind = FORMATS.get(path.suffix.lower())
    if kind is None:
        names = ", ".join(FORMATS)
        raise InputError(
            (Problem(str(path), f"{path.suffix!r} is not a kind of page", f"End it in {names}."),)
        )
    data = json.dumps(_plain(page), ensure_ascii=False)
    strange = _beyond_our_fonts(data)
    compiler = typst.Compiler(
        str(TEMPLATES / f"{template}.typ"),
        root=str(TEMPLATES),
        ignore_system_fonts=not strange,  # the machine's fonts only where ours have no letter
        sys_inputs={"data": data},
    )
    stamp = dt.datetime.combine(made_on, dt.time(12), dt.UTC)
    made = compiler.compile(format=kind, ppi=150, timestamp=int(stamp.timestamp()), pdf_tags=False)
    pages = int(json.loads(compiler.query("<pages>", field="value", one=True)))
    files = [content for content in (made if isinstance(made, list) else [made]) if content is not None]
    targets = [
        path if len(files) == 1 else path.with_stem(f"{path.stem}-{i}") for i in range(1, len(files) + 1)
    ]
    write_set(dict(zip(targets, files, strict=True)))
    problems: tuple[Problem, ...] = ()
    if strange:
        shown = " ".join(sorted(strange)[:8])
        problems = (
            Problem(
                str(path),
                f"names hold characters our print fonts lack ({shown}); they come from this machine's fonts "
                "or print as empty boxes",
                "Look at the pages before you hand them out.",
                Level.NOTE,
            ),
        )
    return PaperMade(targets[0], pages, problems)


def money_figures(view: SeasonView) -> tuple[Figure, ...]:
    """Frame both totals of a plan while something is still to decide."""
    found = both_totals(view)
    if found is None:
        return ()
    decided, with_open = map(format_money, found)
    return (
        Figure(decided, "for what is decided"),
        Figure(f"about {with_open}", "with what is still open, as published"),
    )
