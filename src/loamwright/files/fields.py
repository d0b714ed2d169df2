"""The one reader of people's text: what does this cell, key, feature or typed option say, and can it be?

`Fields` serves a row of a table, the words of a map feature, an object of a JSON file, a section of a TOML
file and the options of a command alike. What is blank is not stated and comes back as None, never as zero;
what cannot be used becomes a problem that names the place, the value and what to write instead. Which fields
there are, and what they mean, is the business of the rooms above.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import TypeVar

from loamwright.errors import Level, Problem, UnitError, has_errors
from loamwright.units import (
    convert,
    decimal_comma_of,
    parse_area,
    parse_density,
    parse_length,
    parse_mass,
    parse_money,
    parse_quantity,
    parse_rate,
    parse_speed,
    read_number,
)
from loamwright.values import Quantity

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

#: Cell texts that mean "not stated". They are never zero.
BLANKS = frozenset({"", "-", "--", "–", "—", "n/a", "na", "nt", "not tested", "not stated", "unknown", "?"})
#: Longest text taken in one field [characters]; a note is a few sentences.
TEXT_LIMIT = 10_000
#: Which part of a date stands first, and the question which it is in a file that does not tell.
MONTH_FIRST, DAY_FIRST = "month-day-year", "day-month-year"
DATE_ORDER = "date-order"

_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})
_UNSTORABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]")


#: Blanks of other widths, and what shows nothing at all; joiners stay, since some scripts need them.
_ODD_BLANKS = re.compile("[\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000]")
_SHOWS_NOTHING = re.compile("[\u00ad\u200b\u2060\ufeff]")


def one_way_written(text: str) -> str:
    """Write letters that look the same in one way, so that an id is the same id from every program.

    References
    ----------
    Unicode Standard Annex 15, Unicode Normalization Forms: form C.

    Examples
    --------
    >>> one_way_written("Cafe\u0301\u00a07\u200b") == "Caf\u00e9 7"
    True
    """
    if text.isascii():
        return text
    return unicodedata.normalize("NFC", _SHOWS_NOTHING.sub("", _ODD_BLANKS.sub(" ", text)))


def looks(ident: str) -> str:
    """Return what an id looks like: without capitals, width and spacing of letters.

    References
    ----------
    Unicode Standard Annex 15: form KC.
    """
    return " ".join(unicodedata.normalize("NFKC", one_way_written(ident)).casefold().split())


# ---------------------------------------------------------------------------------------------
# What a figure can be


@dataclass(frozen=True, slots=True)
class Bound:
    """The figures that are possible at all.

    Parameters
    ----------
    low, high
        Ends [`unit`].
    unit
        Empty for a bare number.
    why
        A sentence for whoever wrote what lies outside.
    over
        True when `low` itself is not possible.
    negative
        A sentence for whoever wrote a negative figure.
    """

    low: float
    high: float
    unit: str
    why: str
    over: bool = False
    negative: str = "It cannot be negative."

    def refusal(self, shown: str, value: float | Decimal) -> UnitError | None:
        """Say what is wrong with a figure [`unit`]; None when it is possible."""
        if value < 0 <= self.low:
            return UnitError(f"{shown} is {'not more' if self.over else 'less'} than zero", self.negative)
        if value <= 0 and self.over:
            return UnitError(f"{shown} is not more than zero", self.why)
        if self.low <= value <= self.high:
            return None
        if self is BOUNDS["season"]:  # a year is written without a comma
            return UnitError(f"{shown} is not between {self.low:g} and {self.high:g}", self.why)
        ends = f"{self.low:,.10g} and {self.high:,.10g} {self.unit}".rstrip()
        return UnitError(f"{shown} is not between {ends}", self.why)


#: Every bound is ours, set where no honest figure comes near: it is there to catch slips, not to judge.
BOUNDS: Mapping[str, Bound] = {
    "pH": Bound(2, 12, "", "Nothing grows in soil below pH 2 or above pH 12; is the point missing?"),
    "percent": Bound(0, 100, "", "A share is never negative and never more than 100 %."),
    "fraction": Bound(0, 100, "", "Write a fraction, for example 0.25 for a quarter."),
    "share of time": Bound(0, 1, "", "Write a fraction of the time, for example 0.65.", over=True),
    "neutralizing value": Bound(
        0, 250, "", "Pure calcium carbonate has 100 %, magnesium oxide, the strongest, 248 %."
    ),
    "score per ton": Bound(0, 5_000, "", "A ton of 2,000 lb scores at most 2.5 lb per pound of lime."),
    "charge": Bound(0, 200, "", "Is the unit meq/100 g?"),
    "reading": Bound(0, 200_000, "", "200,000 lb/acre is a tenth of a plough layer of 2,000,000 lb/acre."),
    "recommended rate": Bound(0, 5_000, "", "Is it lb/acre or kg/ha of the nutrient?"),
    "recommended lime": Bound(0, 100_000, "", "100,000 lb is 50 tons; is the unit right?"),
    "content per ton": Bound(0, 2_000, "", "A ton holds 2,000 lb."),
    "depth": Bound(0, 10, "ft", "Soil is sampled by inches; is the unit right?"),
    "density": Bound(
        4, 25, "lb/gal", "Water weighs 8.3 lb/gal; what is spread does not weigh half or three times that."
    ),
    "rate": Bound(0, 200, "ton/acre", "200 tons an acre is a layer of about 2 inches."),
    "spread": Bound(0, 200, "ton/acre", "200 tons an acre is a layer of about 2 inches.", over=True),
    "yield": Bound(0, 100, "ton/acre", "100 tons an acre is no harvest; is the unit right?", over=True),
    "counted yield": Bound(0, 2_000, "", "Is the number by acre, and the unit right?", over=True),
    "package": Bound(0, 400_000, "lb", "That is 200 tons in one package.", over=True),
    "mass": Bound(
        *(0, 20_000_000, "lb", "That is 10,000 tons: more than any plot takes."),
        negative="A mass is never negative; correct an entry by a new one.",
    ),
    "caught": Bound(0, 10_000, "lb", "Write what the tray or tarp caught, for example 0.11 lb.", over=True),
    "load": Bound(0, 100_000, "lb", "Write what one load weighs, for example 100 lb.", over=True),
    "area": Bound(0, 100_000, "acre", "That is no plot but a county."),
    "setback": Bound(0, 10_000, "ft", "10,000 ft is nearly two miles; is the unit right?"),
    "swath": Bound(0, 300, "ft", "Write the width of one pass, for example 20 ft.", over=True),
    "speed": Bound(0, 60, "mph", "Write the speed while spreading, for example 5 mph.", over=True),
    "fix error": Bound(0, 300, "ft", "A fix that is off by 300 ft maps no plot."),
    "money": Bound(0, 10_000_000, "", "Write what it costs, not negative, in the currency alone."),
    "count": Bound(0, 1_000_000, "", "Write how many, not negative."),
    "products": Bound(1, 100, "", "Write 1 or more; null is no limit."),
    "cores": Bound(1, 100, "", "Write a whole number from 1 to 100."),
    "weight": Bound(0, 1_000, "", "Write 1 for a normal plot, 2 for one that matters twice.", over=True),
    "share": Bound(0, 1, "", "Write a share of the whole, for example 0.1."),
    "minutes": Bound(0, 600, "", "Write how many minutes, not negative."),
    "years": Bound(0, 50, "", "Write how many years, more than 0.", over=True),
    "season": Bound(1950, 2099, "", "Write the calendar year, for example 2026."),
    "printed rate": Bound(0, 1_000_000, "", "A printed figure is zero or more."),
    "figure": Bound(-1e9, 1e9, "", "Check the digits."),
}

#: Unit of a bound → how a text of that kind is read, and the unit it comes out in.
_KINDS: Mapping[str, tuple[Callable[..., float], str]] = {
    "lb": (parse_mass, "kg"),
    "acre": (parse_area, "m2"),
    "ft": (parse_length, "m"),
    "mph": (parse_speed, "m/s"),
    "ton/acre": (parse_rate, "kg/ha"),
    "lb/gal": (parse_density, "kg/m3"),
}


# ---------------------------------------------------------------------------------------------
# Names


@lru_cache(maxsize=1024)
def key_of(name: str) -> str:
    """Return the name of a column or property in the form it is looked up by."""
    return re.sub(r"[^a-z0-9]+", "_", name.strip().lower().replace("%", " pct ")).strip("_")


def shown(value: object) -> str:
    """Return a value for a message: short, printable, in quotes when it is text."""
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def unused(where: str, names: Sequence[str], done: str) -> list[Problem]:
    """Say which columns, properties or keys of a file are not used here."""
    if not names:
        return []
    most, one = 12, len(names) == 1
    listed = ", ".join(map(shown, names[:most]))
    if len(names) > most:
        listed += f" and {len(names) - most:,} more"
    what = f"{listed} {'is' if one else 'are'} {done}"
    return [Problem(where, what, "Check the spelling if it should be used.", Level.NOTE)]


# ---------------------------------------------------------------------------------------------
# Named texts


@dataclass(slots=True)
class Habits:
    """How one file writes what could be read in two ways: settled by its other values, said once."""

    values: Callable[[str], Iterable[str]] = lambda _name: ()
    system: str = "us"
    date_order: str | None = None
    can_ask: bool = False
    commas: dict[str, bool | None] = field(default_factory=dict)
    orders: dict[str, str | None] = field(default_factory=dict)
    said: set[str] = field(default_factory=set)

    def decimal_comma(self, name: str) -> bool | None:
        """Tell whether a field writes decimals with a comma; None when its values do not tell."""
        if name not in self.commas:
            self.commas[name] = decimal_comma_of(self.values(name))
        return self.commas[name]

    def order(self, name: str) -> str | None:
        """Tell which part of a field's dates stands first; None when nobody and none of its values says."""
        if name not in self.orders:
            self.orders[name] = self.date_order or order_of(self.values(name))
        return self.orders[name]


def stands(text: str) -> bool:
    """Tell whether a text means itself and can be kept: `Fields.text` gives it back."""
    return text.lower() not in BLANKS and len(text) <= TEXT_LIMIT and not _UNSTORABLE.search(text)


class Fields:
    """Named texts of one thing that a person wrote, read as values; what cannot be is a problem.

    Parameters
    ----------
    where
        The place in words: file and row, feature or section; empty for options of a command.
    texts
        Field to what stands there: texts, or the values of JSON and TOML.
    problems
        Where problems are added, in the order fields are read.
    names
        What the file itself calls a field, for messages.
    habits
        Of the whole file.
    typed
        True for JSON and TOML: numbers and truth stand without quotation marks, and a dash is a text.
    line
        Row in the file; 0 where there are no rows.
    extra
        Filled fields that are not known, as the file names them.

    Examples
    --------
    >>> found: list[Problem] = []
    >>> row = Fields("prices.csv, row 4", {"amount": "50 lb + 10 lb", "ph": "6,2"}, found)
    >>> row.quantity("amount", "mass") is None, row.number("ph", "pH"), found[0].where
    (True, 6.2, 'prices.csv, row 4, amount')
    """

    def __init__(
        self,
        where: str,
        texts: Mapping[str, object],
        problems: list[Problem],
        *,
        names: Mapping[str, str] | None = None,
        habits: Habits | None = None,
        typed: bool = False,
        line: int = 0,
        extra: Mapping[str, str] | None = None,
    ) -> None:
        self.where, self.problems, self.line = where, problems, line
        self.extra: Mapping[str, str] = extra or {}
        self.bad = False
        self._texts, self._typed = texts, typed
        self._names: Mapping[str, str] = names or {}
        self._habits = habits or Habits()
        self._asked: set[str] = set()

    @property
    def system(self) -> str:
        """Of units: a ton is a tonne in a metric property."""
        return self._habits.system

    # -- places and problems -------------------------------------------------------------------

    def place(self, name: str = "") -> str:
        """Return the place of a field in words."""
        return ", ".join(filter(None, (self.where, self._names.get(name, name))))

    def problem(self, name: str, what: str, fix: str, level: Level = Level.ERROR) -> None:
        """Add a problem about one field; an error marks the whole as bad."""
        self.add([Problem(self.place(name), what, fix, level)])

    def add(self, found: Iterable[Problem]) -> None:
        """Add problems found elsewhere; an error marks the whole as bad."""
        found = tuple(found)
        self.problems.extend(found)
        self.bad = self.bad or has_errors(found)

    def finish(self) -> None:
        """Add an error for every field nobody asked for: a misspelled choice would be no choice."""
        for name in self._texts:
            if name not in self._asked:
                self.problem(name, f"the key {shown(name)} is not known here", "Check its spelling.")

    # -- as it stands --------------------------------------------------------------------------

    def has(self, name: str) -> bool:
        """Tell whether a field is there, blank or not."""
        self._asked.add(name)
        return name in self._texts

    def matching(self, pattern: str) -> tuple[str, ...]:
        """Return the names of fields that match a pattern."""
        return tuple(name for name in self._texts if re.fullmatch(pattern, name))

    def value(self, name: str) -> object | None:
        """Return what stands in a field; None when nothing does."""
        self._asked.add(name)
        value = self._texts.get(name)
        if isinstance(value, str):
            value = one_way_written(value).strip()
            return None if not value or (not self._typed and value.lower() in BLANKS) else value
        return value

    def text(self, name: str) -> str:
        """Read a text; empty when it is not stated."""
        value = self.value(name)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.problem(name, f"{shown(value)} is not text", "Put it in quotation marks.")
        elif len(value) > TEXT_LIMIT:
            self.problem(name, f"the text is longer than {TEXT_LIMIT:,} characters", "Shorten it.")
        elif _UNSTORABLE.search(value):
            self.problem(name, f"{shown(value)} holds characters that cannot be stored", "Take them out.")
        else:
            return value
        return ""

    def required(self, name: str, example: str = "") -> str:
        """Read a text that must be there."""
        return self.text(name) if self.stated(name, example) else ""

    def stated(self, name: str, example: str = "") -> bool:
        """Tell whether a field says anything; that it does not is a problem."""
        if self.value(name) is None:
            missing = "missing" if self._typed else "blank"
            fix = f"Write it, for example {example}." if example else "It must be there."
            self.problem(name, f"{name} is {missing}", fix)
            return False
        return True

    # -- as a value ----------------------------------------------------------------------------

    def read(self, name: str, parse: Callable[[str], T]) -> T | None:
        """Read a text with a parser."""
        if name not in self._texts:  # most of a row's possible fields, in tables of many rows
            self._asked.add(name)
            return None
        text = self.text(name)
        return self._parsed(name, text, parse) if text else None

    def decimal_comma(self, name: str) -> bool | None:
        """Tell what a comma before three digits is in a field; None when its column does not tell."""
        return self._habits.decimal_comma(name)

    def number(self, name: str, kind: str = "figure", unit: str = "") -> float | None:
        """Read a bare number."""
        if self._typed:
            number = self._typed_number(name)
        else:
            number = self.read(name, lambda text: read_number(text, self.decimal_comma(name)))
        if number is not None and unit:
            number = convert(number, unit, _KINDS[BOUNDS[kind].unit][1])
        return self._possible(name, kind, number)

    def count(self, name: str, kind: str = "count") -> int | None:
        """Read a whole number."""
        value = self.number(name, kind)
        if value is not None and not value.is_integer():
            self.problem(name, f"{self._shown(name)} is not a whole number", "Write a whole number.")
            return None
        return None if value is None else int(value)

    def year(self, name: str) -> int | None:
        """Read a calendar year."""
        if self._typed:
            return self.count(name, "season")
        return self.read(name, parse_year)

    def limited(self, name: str, kind: str) -> tuple[str, float] | None:
        """Read a figure that may be a limit only, ``"<4"``: its sign and the figure."""
        read = self.read(name, lambda text: (parse_sign(text)[0], self._plain(name, parse_sign(text)[1])))
        return read if read is not None and self._inside(name, BOUNDS[kind], read[1]) else None

    def ranged(self, name: str, kind: str) -> tuple[float, float | None] | None:
        """Read a figure or a range, ``"80 to 120"``: its lower end, and its upper one if it has one."""

        def parse(text: str) -> tuple[float, float | None]:
            low, high = (self._plain(name, end) if end else None for end in parse_span(text))
            if low is None or (high is not None and high <= low):
                raise UnitError(f"{text!r} is no range", "write the lower end first: 80 to 120")
            return low, high

        read = self.read(name, parse)
        inside = read is not None and all(
            self._inside(name, BOUNDS[kind], end) for end in read if end is not None
        )
        return read if inside else None

    def _plain(self, name: str, text: str) -> float:
        return read_number(text, self.decimal_comma(name))

    def percent(self, name: str, kind: str = "percent") -> float | None:
        """Read a percentage, with or without its sign."""
        read = self.read(name, lambda text: parse_percent(text, self.decimal_comma(name)))
        return self._possible(name, kind, read)

    def quantity(
        self, name: str, kind: str, parse: Callable[[str], float | None] | None = None
    ) -> float | None:
        """Read a number with its unit [SI]."""
        plain, comma = _KINDS[BOUNDS[kind].unit][0], self.decimal_comma(name)
        read = self.read(name, parse or (lambda text: plain(text, self.system, comma)))
        return self._possible(name, kind, read)

    def amount(self, name: str, kind: str, counted: str = "") -> Quantity | None:
        """Read a number with its unit and keep both as written."""
        written = self.read(name, lambda text: parse_quantity(text, self.decimal_comma(name)))
        if written is None:
            return None
        bound = BOUNDS[kind]
        try:
            value = convert(written.value, written.unit, bound.unit)
        except UnitError:
            if not counted:
                self.quantity(name, kind)  # says what is wrong with the unit
                return None
            bound, value = BOUNDS[counted], written.value
        return written if self._inside(name, bound, value) else None

    def money(self, name: str, kind: str = "money") -> Decimal | None:
        """Read an amount of money, not negative."""
        value = self.value(name)
        if self._typed and isinstance(value, int | float) and not isinstance(value, bool):
            amount = self._parsed(name, repr(value), parse_money)
        else:
            amount = self.read(name, lambda text: parse_money(text, self.decimal_comma(name)))
        return amount if amount is not None and self._inside(name, BOUNDS[kind], amount) else None

    def date(self, name: str) -> dt.date | None:
        """Read a date; which part stands first is said once, and asked once where the file does not tell."""
        habits, text = self._habits, self.text(name) if name in self._texts else ""
        order = habits.order(name)
        try:
            day = parse_date(text, habits.system, order) if text else None
        except UnitError as error:
            problem = error.at(self.place(name))
            if isinstance(error, TwoDaysError) and habits.can_ask:
                if DATE_ORDER in habits.said:  # asked once for the file; no row stands without an answer
                    self.bad = True
                    return None
                habits.said.add(DATE_ORDER)
                choices = (DAY_FIRST, MONTH_FIRST)
                fix = f"Choose one of: {', '.join(choices)}."
                problem = replace(problem, fix=fix, question=DATE_ORDER, choices=choices)
            self.add([problem])
            return None
        if day is not None and "/" in text and not habits.date_order and "dates" not in habits.said:
            habits.said.add("dates")
            is_day_first = order == DAY_FIRST
            read_as, other = ("day/month", "month") if is_day_first else ("month/day", "day")
            what = f"{shown(text)} was read as {read_as}/year: {day.isoformat()}"
            fix = f"Write dates as 2026-04-12 if the {other} stands first in this file."
            self.problem(name, what, fix, Level.NOTE)
        return day

    def yes_no(self, name: str) -> bool | None:
        """Read yes or no, or true or false."""
        if not self._typed:
            return self.read(name, parse_yes_no)
        value = self.value(name)
        if isinstance(value, bool | None):
            return value
        self.problem(name, f"{shown(value)} is neither true nor false", "Write true or false.")
        return None

    def word(self, name: str, words: type[E]) -> E | None:
        """Read one of a fixed set of words, whatever its case and hyphens."""
        return self.read(name, lambda text: parse_word(text, words))

    def listed_words(self, name: str, words: type[E]) -> tuple[E, ...]:
        """Read words of a fixed set that stand between semicolons."""
        found = (self._parsed(name, text, lambda text: parse_word(text, words)) for text in self.listed(name))
        return tuple(word for word in found if word is not None)

    def listed(self, name: str) -> tuple[str, ...]:
        """Read a list whose items stand between semicolons."""
        return tuple(part.strip() for part in self.text(name).split(";") if part.strip())

    def choice(self, name: str, choices: Collection[str]) -> str:
        """Read one of a few texts, written as they are; empty when it is not stated."""
        text = self.text(name)
        if text and text not in choices:
            self.problem(name, f"{shown(text)} is not one of: {', '.join(choices)}", "Choose one of these.")
            return ""
        return text

    def numbers(self, name: str, count: int, kind: str = "figure") -> tuple[float, ...]:
        """Read a list of so many numbers; nothing when it is another list."""
        value = self.value(name)
        if value is None:
            return ()
        if not isinstance(value, list) or len(value) != count:
            self.problem(name, f"{shown(value)} is not a list of {count} numbers", "Write [a, b].")
            return ()
        places = {f"item {place}": item for place, item in enumerate(value, 1)}
        items = Fields(self.place(name), places, self.problems, typed=True)
        found = [items.number(place, kind) for place in places]
        self.bad = self.bad or items.bad
        return tuple(number for number in found if number is not None) if None not in found else ()

    def inner(self, name: str) -> Fields:
        """Return the object or section that stands in a field; an empty one when nothing does."""
        value = self.value(name)
        if not isinstance(value, dict | None):
            self.problem(name, f"{shown(value)} is not an object", "Write {…}.")
            value = None
        return Fields(self.place(name), value or {}, self.problems, typed=True)

    def inners(self, name: str, called: str) -> list[Fields]:
        """Return the objects of a list."""
        value = self.value(name) or []
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.problem(name, f"{shown(value)} is not a list of objects", "Write [{…}].")
            return []
        places = (self.place(f"{called} {number}") for number in range(1, len(value) + 1))
        return [
            Fields(place, item, self.problems, typed=True) for place, item in zip(places, value, strict=True)
        ]

    # -- inside --------------------------------------------------------------------------------

    def _shown(self, name: str) -> str:
        return shown(self.value(name))

    def _typed_number(self, name: str) -> float | None:
        value = self.value(name)
        if isinstance(value, bool) or not isinstance(value, int | float | None):
            self.problem(name, f"{shown(value)} is not a number", "Write digits without quotation marks.")
            return None
        try:
            return None if value is None else float(value)
        except OverflowError:  # an integer of 400 digits
            return math.inf

    def _parsed(self, name: str, text: str, parse: Callable[[str], T]) -> T | None:
        try:
            return parse(text)
        except UnitError as error:
            self.add([error.at(self.place(name))])
            return None

    def _inside(self, name: str, bound: Bound, value: float | Decimal) -> bool:
        """Tell whether a value [the bound's unit] is possible; say so when it is not."""
        refusal = bound.refusal(self._shown(name), value)
        if refusal is not None:
            self.add([refusal.at(self.place(name))])
        return refusal is None

    def _possible(self, name: str, kind: str, value: float | None) -> float | None:
        """Return a value [SI] if it is possible."""
        if value is None:
            return None
        bound = BOUNDS[kind]
        return value if self._inside(name, bound, _in_its_unit(bound, value)) else None


def _in_its_unit(bound: Bound, value: float) -> float:
    """Return a value [SI] in the unit of its bound."""
    return convert(value, _KINDS[bound.unit][1], bound.unit) if bound.unit else value


def impossible(kind: str, text: str, value: float) -> UnitError | None:
    """Say why a value [SI] read from a text is not possible; None when it is."""
    bound = BOUNDS[kind]
    return bound.refusal(shown(text), _in_its_unit(bound, value))


def parse_yes_no(text: str) -> bool:
    """Read yes or no, in any of the words for them."""
    plain = text.strip().lower()
    if plain not in _YES | _NO:
        raise UnitError(f"{shown(text)} is neither yes nor no", "write yes or no, or nothing")
    return plain in _YES


def parse_year(text: str) -> int:
    """Read a calendar year within `BOUNDS`."""
    if not re.fullmatch(r"[0-9]{1,9}", text.strip()):
        raise UnitError(f"{shown(text)} is not a calendar year", "write for example 2026")
    if refusal := BOUNDS["season"].refusal(shown(text), int(text)):
        raise refusal
    return int(text)


def parse_sign(text: str) -> tuple[str, str]:
    """Part ``"<4"`` into the sign of a limit, ``"<"`` or ``">"``, and the number; a plain number has none."""
    bare = text.strip()
    return (bare[:1], bare[1:].strip()) if bare[:1] in ("<", ">") else ("", bare)


def parse_span(text: str) -> tuple[str, str]:
    """Part ``"80 to 120"``, also written with a dash, into its ends; a single figure has no second one."""
    match = re.fullmatch(r"([^-–]*?[0-9])\s*(?:to|[-–])\s*([0-9].*)", text.strip())
    return (match[1].strip(), match[2].strip()) if match else (text.strip(), "")


def parse_place(text: str) -> tuple[float, float]:
    """Read a longitude and a latitude [degrees]; `UnitError` when the text is no place on the globe."""
    fix = 'write longitude, latitude: for example "-93.05, 46.05"'
    try:
        numbers = [read_number(part, decimal_comma=False) for part in re.split(r"[,;\s]+", text) if part]
    except UnitError:
        numbers = []
    if len(numbers) != 2:
        raise UnitError(f"{shown(text)} is not a longitude and a latitude", fix)
    lon, lat = numbers
    if abs(lat) > 90 or abs(lon) > 180:
        swapped = " (they look swapped)" if abs(lon) <= 90 and abs(lat) <= 180 else ""
        raise UnitError(f"{shown(text)} is not on the globe as longitude, latitude{swapped}", fix)
    return lon, lat


def typed_options(texts: Mapping[str, str | None], problems: list[Problem], system: str = "us") -> Fields:
    """Return what was typed for the options of a command, to be read as values.

    Parameters
    ----------
    texts
        Field to what was typed; None = not typed. What is typed must say something.
    problems
        Where problems are added.
    system
        ``"us"`` or ``"metric"``: how dates are meant.

    Returns
    -------
    Fields

    Examples
    --------
    >>> found: list[Problem] = []
    >>> typed = typed_options({"swath": "20 m", "speed": None}, found)
    >>> typed.quantity("swath", "swath"), typed.quantity("speed", "speed")
    (20.0, None)
    """
    typed = {name: text for name, text in texts.items() if text is not None}
    for name, text in typed.items():
        if text.strip().lower() in BLANKS:
            problems.append(Problem(name, f"{shown(text)} says nothing", "Write it, or leave it away."))
    return Fields("", typed, problems, habits=Habits(system=system))


def parse_word(text: str, words: type[E]) -> E:
    """Read one of a fixed set of words, whatever its case and hyphens."""
    plain = re.sub(r"[\s_-]+", "", text).lower()
    for word in words:
        if re.sub(r"[\s_-]+", "", word.value).lower() == plain:
            return word
    raise UnitError(f"{shown(text)} is not one of: {', '.join(w.value for w in words)}", "write one of these")


# ---------------------------------------------------------------------------------------------
# Parsers without a home of their own


def parse_percent(text: str, decimal_comma: bool | None = None) -> float:
    """Read a percentage, with or without its sign.

    Parameters
    ----------
    text
        ``"46"``, ``"46%"``, ``"46 %"``.
    decimal_comma
        As in `units.read_number`.

    Returns
    -------
    float
        [percent], whatever its size.

    Raises
    ------
    UnitError
        When it is not a number.

    Examples
    --------
    >>> parse_percent("46 %"), parse_percent("0,125%")
    (46.0, 0.125)
    """
    return read_number(text.strip().removesuffix("%"), decimal_comma)


_DATE = re.compile(
    r"(?P<y>\d{4})-(?P<m>\d{1,2})-(?P<d>\d{1,2})(?:[T ]\d{1,2}:\d{2}(?::\d{2})?[\d.:+Z-]*)?"
    r"|(?P<first>\d{1,2})(?P<mark>[/.])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4})",
    re.ASCII,
)
#: What people take a date for that could be two: by unit system and the mark between its parts.
_USUAL_ORDERS = {("us", "/"): MONTH_FIRST, ("metric", "."): DAY_FIRST}


class TwoDaysError(UnitError):
    """A date that could be two."""


def order_of(texts: Iterable[str]) -> str | None:
    """Tell which part stands first in dates of one column; None when none of them tells, or they differ."""
    told = set()
    for text in texts:
        if (match := _DATE.fullmatch(text.strip())) and match["mark"]:
            told |= {DAY_FIRST} if int(match["first"]) > 12 else set()
            told |= {MONTH_FIRST} if int(match["second"]) > 12 else set()
    return told.pop() if len(told) == 1 else None


def parse_date(text: str, system: str = "us", order: str | None = None) -> dt.date:
    """Read a date.

    Parameters
    ----------
    text
        ``"2026-04-12"``, with or without a time after it; ``"4/12/2026"`` or ``"12.4.2026"``.
    system
        ``"us"`` reads slashes month first, ``"metric"`` dots day first; the other mark only where it can
        be nothing else.
    order
        ``"month-day-year"`` or ``"day-month-year"`` where it is known; None = as usual.

    Returns
    -------
    date

    Raises
    ------
    UnitError
        When it is no date, could be two, or lies outside the years of `BOUNDS`.

    Examples
    --------
    >>> parse_date("4/12/2026").isoformat(), parse_date("12.4.2026", "metric").isoformat()
    ('2026-04-12', '2026-04-12')
    """
    fix = "write it as 2026-04-12"
    match = _DATE.fullmatch(text.strip())
    if match is None:
        raise UnitError(f"{shown(text)} is not understood as a date", fix)
    if match["y"]:
        year, *days = int(match["y"]), (int(match["m"]), int(match["d"]))
    else:
        year, first, second = (int(match[part]) for part in ("year", "first", "second"))
        order = order or _USUAL_ORDERS.get((system, match["mark"]))
        days = [(first, second)] * (order != DAY_FIRST) + [(second, first)] * (order != MONTH_FIRST)
    found = {dt.date(year, month, day) for month, day in days if _is_day(year, month, day)}
    if not found:
        raise UnitError(f"{shown(text)} is not a date", fix)
    if refusal := BOUNDS["season"].refusal(f"the year of {shown(text)}", year):
        raise refusal
    if len(found) > 1:
        one, other = sorted(found)
        raise TwoDaysError(f"{shown(text)} may be {one} or {other}", f"write {one} or {other}")
    return found.pop()


def _is_day(year: int, month: int, day: int) -> bool:
    return year > 0 and 1 <= month <= 12 and 1 <= day <= calendar.monthrange(year, month)[1]
