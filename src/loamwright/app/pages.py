"""What a page is asked and what it answers, and the frame around every page.

This file answers "what came from the browser, and what goes back?". It knows templates and no network:
`server` turns requests into an `Ask` and an answer into bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files as package_files
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from loamwright import upkeep
from loamwright.app.desk import Desk
from loamwright.app.long_work import LongWork
from loamwright.app.wording import label_of
from loamwright.errors import InputError, LoamwrightError, Problem, PropertyFileError, UnitError
from loamwright.money import format_money
from loamwright.units import (
    format_area,
)
from loamwright.upkeep import Changed
from loamwright.words import mass_words, rate_words


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that was sent.

    Parameters
    ----------
    name
        What the sender calls it: shown, and read for its ending; never a path here.
    content
        Its bytes.
    """

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Ask:
    """What a browser asks.

    Parameters
    ----------
    desk, works
        The open property; what runs beside the pages.
    share
        Makes the address, with a new code, that lets one phone in; None = the app is for this computer only.
    parts, query
        Words of the address, and what stands after its question mark.
    form
        Fields of a form that was sent, the last of each name.
    every
        Every value of each field that was sent, in order.
    uploads
        Files that were sent.
    data
        What a script sent as JSON; None = nothing.
    """

    desk: Desk
    works: LongWork
    share: Callable[[], str] | None = None
    parts: Mapping[str, str] = field(default_factory=dict)
    query: Mapping[str, str] = field(default_factory=dict)
    form: Mapping[str, str] = field(default_factory=dict)
    every: Mapping[str, Sequence[str]] = field(default_factory=dict)
    uploads: Sequence[Upload] = ()
    data: Any = None

    @property
    def answers(self) -> Mapping[str, str]:
        """Answers to questions that a page asked, by question id."""
        named = ((key, text) for key, text in self.form.items() if key.startswith("answer."))
        return {key.removeprefix("answer."): text for key, text in named}


@dataclass(frozen=True, slots=True)
class Shown:
    """A page to show: template and what it is filled with; from where else it may fetch pictures."""

    template: str
    filled: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200
    origins: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Go:
    """Another page to go to, after something was done."""

    to: str


@dataclass(frozen=True, slots=True)
class Sent:
    """A file to save."""

    name: str
    content: bytes
    kind: str


@dataclass(frozen=True, slots=True)
class Told:
    """An answer to a script."""

    data: Mapping[str, Any]
    status: int = 200


Reply = Shown | Go | Sent | Told


@dataclass(frozen=True, slots=True)
class Route:
    """A page: the address, what it answers when read, and when a form is sent to it."""

    address: str
    read: Callable[[Ask], Reply] | None = None
    send: Callable[[Ask], Reply] | None = None


# ---------------------------------------------------------------------------------------------
# The frame


@dataclass(frozen=True, slots=True)
class Place:
    """One entry of the list of pages, and what is missing there."""

    address: str
    title: str
    missing: str = ""


#: The pages in the order of the job.
PLACES = (
    Place("/", "Start"),
    Place("/plots", "Plots"),
    Place("/ground", "Keep-outs and ways"),
    Place("/soil-tests", "Soil tests"),
    Place("/products", "Products and prices"),
    Place("/store", "At the store"),
    Place("/needs", "Needs"),
    Place("/decisions", "Decisions"),
    Place("/plan", "Plan"),
    Place("/orders", "Orders"),
    Place("/records", "Records"),
    Place("/stock", "Purchases and stock"),
    Place("/history", "History and next season"),
    Place("/checklist", "Plan checklist"),
    Place("/property", "Property"),
)


def problems_of(error: LoamwrightError) -> tuple[Problem, ...]:
    """Return what is wrong as problems, whatever said so."""
    if isinstance(error, InputError):
        return error.problems
    if isinstance(error, UnitError):
        return (error.at(""),)
    if isinstance(error, PropertyFileError):
        what, _, fix = error.what.partition("; ")
        where = Path(error.path).name if error.path else ""
        return (Problem(where, what, f"{fix[:1].upper()}{fix[1:]}." if fix else ""),)
    return (Problem("", str(error), ""),)


def day_of(ask: Ask) -> str:
    """Return the day of a form that was sent; an emptied one is not today, and is asked for."""
    day = ask.form.get("on", "").strip()
    if not day:
        what = "the day is blank"
        raise InputError([Problem("day", what, f"Write it; today is {ask.desk.today.isoformat()}.")])
    return day


def changed(to: str, done: Changed) -> Go:
    """Go back to a page after a change, which the page tells and offers to take back."""
    said = {"changed": str(done.change_id)} if done.change_id else {"said": done.sentence}
    if done.problems:
        said["look"] = " ".join(f"{one.what}. {one.fix}" for one in done.problems[:3])
    mark = "&" if "?" in to else "?"
    address, _, place = to.partition("#")
    return Go(f"{address}{mark}{urlencode(said)}{'#' + place if place else ''}")


def _flash(ask: Ask) -> Mapping[str, Any] | None:
    """What the last change did, for the head of the page it came back to."""
    look = ask.query.get("look", "")[:900]
    if ask.query.get("said"):
        return {"sentence": ask.query["said"][:400], "change": None, "did": (), "look": look}
    number = ask.query.get("changed", "")
    if not number.isdecimal() or not ask.desk.is_open:
        return None
    found = next((one for one in upkeep.changes(ask.desk.path) if one.change == int(number)), None)
    if found is None:
        return None
    return {"sentence": f"Done: {found.command}", "change": found, "did": found.did[:8], "look": look}


def render(ask: Ask, shown: Shown) -> str:
    """Fill a page's template, inside the frame of the app."""
    desk, filled = ask.desk, dict(shown.filled)
    problems: Iterable[Problem] = filled.pop("problems", ())
    filled |= {
        "places": PLACES,
        "is_open": desk.is_open,
        "property_name": "",
        "units": "us",
        "back": ask.query.get("from", ""),
        "problems": tuple(problems),
        "flash": None,
        "missing": {},
        "mark": "",
        "query": ask.query,
    }
    if desk.is_open:
        try:
            view = desk.season
            info = view.record.info
            filled |= {
                "property_name": f"{info.name}, season {info.season}",
                "units": info.units,
                "flash": _flash(ask),
                "missing": _missing(ask),
                "mark": desk.mark_text(),
            }
        except LoamwrightError as error:
            filled["problems"] = (*filled["problems"], *problems_of(error))
    return environment().get_template(shown.template).render(filled)


def _missing(ask: Ask) -> Mapping[str, str]:
    """What is missing at each step of the job; nothing that is missing blocks the next."""
    view = ask.desk.season
    record, found = view.record, dict[str, str]()

    def say(address: str, number: int, one: str, many: str) -> None:
        if number:
            found[address] = f"{number} {one if number == 1 else many}"

    if not record.plots:
        return {"/plots": "none yet"}
    say("/plots", sum(p.plot_id not in view.croppings for p in record.plots), "without crop", "without crop")
    tested = {test.plot_id for test in record.soil_tests}
    say("/soil-tests", sum(p.plot_id not in tested for p in record.plots), "plot untested", "plots untested")
    if not record.offers:
        found["/products"] = "none yet"
    say("/products", sum(o.price is None for o in record.offers), "price missing", "prices missing")
    unknown = sum(
        plot.lime.state == "unknown" or any(need.state == "unknown" for need in plot.needs[:3])
        for plot in view.needs.values()
    )
    say("/needs", unknown, "plot with unknown", "plots with unknown")
    say("/decisions", sum(row.open for row in view.choices), "open", "open")
    if view.plan is None:
        found["/plan"] = found["/orders"] = "no plan yet"
    elif view.aged:
        found["/plan"] = found["/orders"] = "plan is old"
    else:
        left = sum(bool(row.line_id) and row.state in ("nothing yet", "part") for row in view.statuses)
        say("/records", left, "line to do", "lines to do")
    return found


# ---------------------------------------------------------------------------------------------
# Templates


@cache
def environment() -> Environment:
    """Make the templates ready: everything a person wrote is escaped, a name that is not there is a fault."""

    def source(name: str) -> str | None:
        place = package_files("loamwright") / "templates" / name
        return place.read_text("utf-8") if place.is_file() else None

    made = Environment(
        loader=FunctionLoader(source),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "area": lambda area_m2, units: "" if area_m2 is None else format_area(area_m2, units),
        "mass": lambda mass_kg, units, supply=None: (
            "" if mass_kg is None else mass_words(mass_kg, units, supply)
        ),
        "rate": lambda rate, units, supply=None: "" if rate is None else rate_words(rate, units, supply),
        "money": lambda amount: "" if amount is None else format_money(amount),
        "address": lambda text: quote(str(text), safe=""),
        "label": label_of,
        "id": lambda text: Markup("".join(c if c.isalnum() else "-" for c in str(text))),
    }
    return made
