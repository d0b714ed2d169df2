"""The words of lab, dealer and quarry sheets: which analyte, test, unit, column or remark a text names.

The words stand in the tables of ``data/sheets``, each with its source; this file reads them and finds
them in a text, longest first. It knows no laboratory and no layout.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Generic, TypeVar

T = TypeVar("T")

#: A word, a number (with ratio or decimals), or one of the signs that change a meaning.
_TOKEN = re.compile(r"[^\W0-9_]+|[0-9]+(?:[.:][0-9]+)*|[%#$€£&+/<>]")


@dataclass(frozen=True, slots=True)
class Analyte:
    """What a reading is a reading of: its name, and the element or quantity it is kept under."""

    name: str
    element: str
    form: str  #: "oxide" when the figure is of another basis, "form" when only the name differs
    kind: str  #: which tests it can be read by
    family: str  #: analytes that one question about the test asks for; empty when none is asked
    unit: str  #: the unit every lab prints, taken with a mark when the file names none
    factor: float | None


@dataclass(frozen=True, slots=True)
class LabTest:
    """An extractant or method: its word, the kind of analyte, the elements it is usual for."""

    name: str
    kind: str
    elements: tuple[str, ...]

    def fits(self, analyte: Analyte) -> bool:
        """Tell whether the test is one for this analyte."""
        return self.kind == analyte.kind

    def usual_for(self, analyte: Analyte) -> bool:
        """Tell whether labs use it for this element."""
        return self.fits(analyte) and ("*" in self.elements or analyte.element in self.elements)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit by its word in this program, what it measures, and the system it belongs to."""

    name: str
    measures: str
    system: str


@dataclass(frozen=True, slots=True)
class Word:
    """A word with a meaning: a rating, a blank, a quality-control row, a state of manure, a lime score."""

    kind: str
    meaning: str
    text: str


@dataclass(frozen=True, slots=True)
class ColumnWord:
    """What a whole heading says a column holds, and how good a candidate it is among its like."""

    role: str
    rank: int


@dataclass(frozen=True, slots=True)
class KnownHeading:
    """A heading whose parts cannot be read one by one: a code, or a text that must be asked about."""

    role: str
    analyte: str
    test: str
    unit: str
    note: str


@lru_cache(maxsize=50_000)
def plain(text: str) -> str:
    """Return a text in lower case, with camel case and underscores opened and signs made alike."""
    opened = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", unicodedata.normalize("NFKC", text)).replace("_", " ")
    opened = re.sub(r"\b[nN]\N{DEGREE SIGN}", "no ", opened)  # "N° échantillon" numbers, and is no nitrogen
    opened = re.sub("[\N{MINUS SIGN}\N{EN DASH}\N{EM DASH}]", "-", opened)
    return re.sub(r"\s+", " ", opened).strip().casefold()


@lru_cache(maxsize=50_000)
def tokens(text: str) -> tuple[str, ...]:
    """Return the words, numbers and meaningful signs of a text."""
    return tuple(_TOKEN.findall(plain(text)))


class Phrases(Generic[T]):
    """Phrases with what they mean; several meanings may share a phrase."""

    def __init__(self, pairs: Iterable[tuple[str, T]]) -> None:
        self._meanings: dict[tuple[str, ...], tuple[T, ...]] = {}
        for text, meaning in pairs:
            key = tokens(text)
            if key and meaning not in self._meanings.get(key, ()):
                self._meanings[key] = (*self._meanings.get(key, ()), meaning)
        self._squeezed = {"".join(key): found for key, found in self._meanings.items() if len(key) > 1}
        self._longest = max((len(key) for key in self._meanings), default=0)

    def whole(self, text: str) -> tuple[T, ...]:
        """Return what a text means as a whole; empty when unknown."""
        return self._meanings.get(tokens(text), ())

    def run_together(self, text: str) -> tuple[T, ...]:
        """Return what one word means whose parts are written without a blank ("SAMPLEID")."""
        words = tokens(text)
        return self._squeezed.get(words[0], ()) if len(words) == 1 else ()

    def take(self, words: Sequence[str]) -> tuple[list[tuple[T, ...]], tuple[str, ...]]:
        """Find phrases among words, longest first from the left; return meanings and the words left."""
        found: list[tuple[T, ...]] = []
        left: list[str] = []
        place = 0
        while place < len(words):
            for length in range(min(self._longest, len(words) - place), 0, -1):
                meaning = self._meanings.get(tuple(words[place : place + length]))
                if meaning:
                    found.append(meaning)
                    place += length
                    break
            else:
                left.append(words[place])
                place += 1
        return found, tuple(left)


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """All words, ready to be found."""

    analytes: Phrases[Analyte]
    tests: Phrases[LabTest]
    columns: Phrases[ColumnWord]
    headings: Phrases[KnownHeading]
    words: dict[str, Phrases[Word]]
    whole_words: dict[tuple[str, str], Word]
    units: dict[str, Unit]
    long_units: re.Pattern[str]
    unit_spellings: re.Pattern[str]
    unit_spelled: dict[str, str]
    rates: re.Pattern[str]
    tops: dict[str, tuple[str, ...]]
    pers: dict[str, tuple[str, ...]]
    analyte_names: dict[str, Analyte]
    test_names: dict[tuple[str, str], LabTest]
    customs: tuple[tuple[str, str, str], ...]


def table_rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of words."""
    text = (files("loamwright") / "data" / "sheets" / f"{name}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _spelled(row: dict[str, str]) -> list[str]:
    return row["spellings"].split("|") if row["spellings"] else []


def _alternatives(spellings: Iterable[str]) -> str:
    longest_first = sorted({plain(text) for text in spellings}, key=lambda text: (-len(text), text))
    return "|".join(re.escape(text).replace(r"\ ", r"\s*") for text in longest_first)


@lru_cache(maxsize=1)
def vocabulary() -> Vocabulary:
    """Read the tables of words, once."""
    analyte_rows, test_rows, unit_rows = table_rows("analytes"), table_rows("tests"), table_rows("units")
    analytes = {
        row["name"]: Analyte(
            row["name"],
            row["element"],
            row["form"],
            row["kind"],
            row["family"],
            row["unit"],
            float(row["factor"]) if row["factor"] else None,
        )
        for row in analyte_rows
    }
    tests = {
        (row["kind"], row["name"]): LabTest(row["name"], row["kind"], tuple(row["elements"].split()))
        for row in test_rows
    }
    words = [Word(row["kind"], row["meaning"], text) for row in table_rows("words") for text in _spelled(row)]
    spelled = {plain(text): row["unit"] for row in unit_rows for text in _spelled(row)}
    tops: dict[str, tuple[str, ...]] = {}
    pers: dict[str, tuple[str, ...]] = {}
    for row in table_rows("unit_words"):
        known = tops if row["place"] == "top" else pers
        for text in _spelled(row):
            known[squeezed_unit(text)] = (*known.get(squeezed_unit(text), ()), row["word"])
    not_inside = {
        plain(t)
        for r in unit_rows
        if r["measures"] in ("length", "area", "mass", "index")
        for t in _spelled(r)
    }
    lone = [text for text in spelled if text not in not_inside | {"-", "none"}]
    top, per = _alternatives(_unit_texts("top")), _alternatives(_unit_texts("per"))
    return Vocabulary(
        Phrases((text, analytes[row["name"]]) for row in analyte_rows for text in _spelled(row)),
        Phrases((text, tests[row["kind"], row["name"]]) for row in test_rows for text in _spelled(row)),
        Phrases(
            (t, ColumnWord(r["role"], int(r["rank"]))) for r in table_rows("columns") for t in _spelled(r)
        ),
        Phrases(
            (text, KnownHeading(row["role"], row["analyte"], row["test"], row["unit"], row["note"]))
            for row in table_rows("headings")
            for text in _spelled(row)
        ),
        {
            kind: Phrases((word.text, word) for word in words if word.kind == kind)
            for kind in {w.kind for w in words}
        },
        {(word.kind, plain(word.text)): word for word in words},
        {row["unit"]: Unit(row["unit"], row["measures"], row["system"]) for row in unit_rows},
        re.compile(rf"(?<![^\W_])(?:{_alternatives(t for t in lone if '/' in t)})(?![^\W_])"),
        re.compile(rf"%|(?<![^\W_])(?:{_alternatives(t for t in lone if '/' not in t)})(?![^\W_])"),
        {squeezed_unit(text): unit for text, unit in spelled.items()},
        re.compile(
            rf"(?<![^\W_])(?P<top>{top})\s*(?:of\s+)?(?P<what>(?!(?:{top})\b)[a-z][a-z0-9]{{0,6}})?\s*"
            rf"(?:(?:/|\bper\b)\s*(?P<per>{per})|\s(?P<inverse>{per})\s?\^?-1)(?![^\W_])"
        ),
        tops,
        pers,
        analytes,
        tests,
        tuple((row["test"], row["analyte"], row["method"]) for row in table_rows("customs")),
    )


def _unit_texts(place: str) -> list[str]:
    return [text for row in table_rows("unit_words") if row["place"] == place for text in _spelled(row)]


def squeezed_unit(text: str) -> str:
    """Return a unit's text without blanks."""
    return re.sub(r"\s+", "", plain(text))


def means(kind: str, text: str) -> Word | None:
    """Return the word of a kind that a whole text is, or None."""
    return vocabulary().whole_words.get((kind, plain(text)))


def mentions(kind: str, text: str) -> Word | None:
    """Return the first word of a kind that occurs in a text, or None."""
    found, _ = vocabulary().words[kind].take(tokens(text))
    return found[0][0] if found else None
