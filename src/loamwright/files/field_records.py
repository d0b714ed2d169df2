"""The records file that the field map exports: what was done, as entered on a phone.

This file answers "which entries does this file bring, and is each one whole?". The file is JSON::

    {"format": "loamwright-records", "version": 1, "entries": [{…}, …]}

Each entry names its fields as `records.Application` does: dates as ISO 8601 text, masses and areas as
numbers in kg and m2, money as text or number, null or absent for *not stated*. The file comes from
outside and may hold anything: nothing in it is trusted beyond its type. Whether an entry is new is
the property file's to say (`property_file`).
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Collection, Mapping
from dataclasses import MISSING, fields
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from loamwright.errors import Level, Problem
from loamwright.values import Timing
from loamwright.work import Application, Done

E = TypeVar("E", bound=StrEnum)

FORMAT = "loamwright-records"
VERSION = 1

#: Longest text taken in one field [characters]; a note is a few sentences.
TEXT_LIMIT = 10_000
#: Largest file read [bytes]; an entry is well under 1 kB.
SIZE_LIMIT = 50_000_000

_FIELDS = {part.name: part for part in fields(Application)}
_REQUIRED = tuple(name for name, part in _FIELDS.items() if part.default is MISSING)
_TEXTS = tuple(name for name, part in _FIELDS.items() if part.type == "str")


def records_from(
    path: Path, plot_ids: Collection[str] | None = None
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    """Read the entries of a records file.

    Parameters
    ----------
    path
        The file.
    plot_ids
        Plots of the property; an entry of another plot is an error. None = not checked here.

    Returns
    -------
    applications : tuple of Application
        The entries without an error, in file order; an entry that stands twice comes once.
    problems : tuple of Problem
        Errors name the entry by its place in the file and its id.
    """
    try:
        entries, problems = _entries(path)
    except _UnreadableError as error:
        return (), (error.problem,)
    applications: dict[str, Application] = {}
    for place, content in enumerate(entries, 1):
        reader = _Entry(f"{path.name}, entry {place}", content)
        entry = reader.application()
        if entry is not None and plot_ids is not None and entry.plot_id not in plot_ids:
            reader.error(
                "plot_id",
                f"there is no plot {entry.plot_id!r} on this property",
                "Was the file made from the map of another property?",
            )
        if entry is not None and applications.get(entry.entry_id, entry) != entry:
            reader.error(
                "entry_id",
                f"another entry of this file has the id {entry.entry_id!r} but says something else",
                "Keep one of them; a correction needs an id of its own.",
            )
        problems.extend(reader.problems)
        if entry is not None and not reader.bad:
            applications.setdefault(entry.entry_id, entry)
    return tuple(applications.values()), tuple(problems)


def looks_like(path: Path) -> bool:
    """Tell whether a file says that it is a records file, of whatever version."""
    try:
        content = json.loads(path.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(content, dict) and content.get("format") == FORMAT


class _UnreadableError(Exception):
    """The file as a whole cannot be used."""

    def __init__(self, path: Path, what: str, fix: str) -> None:
        self.problem = Problem(path.name or str(path), what, fix)
        super().__init__(what)


def _entries(path: Path) -> tuple[list[object], list[Problem]]:
    again = "Export the records from the map again."
    if path.is_dir():
        raise _UnreadableError(path, f"{str(path)!r} is a directory, not a records file", "Name the file.")
    try:
        if path.stat().st_size > SIZE_LIMIT:
            raise _UnreadableError(path, f"the file is larger than {SIZE_LIMIT:,} bytes", again)
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise _UnreadableError(
            path, f"there is no file {str(path)!r}", "Check the name and folder."
        ) from error
    except OSError as error:
        raise _UnreadableError(path, f"cannot be read: {error}", "Check that you may read it.") from error
    except UnicodeDecodeError as error:
        raise _UnreadableError(path, "the file is not UTF-8 text", again) from error
    if not text.strip():
        raise _UnreadableError(path, "the file is empty", again)
    try:
        content = json.loads(text, parse_float=Decimal, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise _UnreadableError(path, f"this is not the JSON of a records file: {error}", again) from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise _UnreadableError(path, f"the file does not say that its format is {FORMAT!r}", again)
    version, entries = content.get("version"), content.get("entries")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise _UnreadableError(path, f"the version {version!r} is not a number of a records version", again)
    if version > VERSION:
        raise _UnreadableError(
            path,
            f"the file is of version {version}, newer than version {VERSION} which this program reads",
            "Install the newer loamwright that made the map.",
        )
    if not isinstance(entries, list):
        raise _UnreadableError(path, "the file holds no list named 'entries'", again)
    if not entries:
        return [], [Problem(path.name, "the file holds no entries", "Nothing to do.", Level.NOTE)]
    return entries, []


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")


class _Entry:
    """Reads one entry field by field and collects what is wrong with it."""

    def __init__(self, where: str, content: object) -> None:
        self.where = where
        self.problems: list[Problem] = []
        self.bad = False
        self.content: Mapping[str, Any] = content if isinstance(content, dict) else {}
        if not isinstance(content, dict):
            self.error("", f"{_shown(content)} is not an entry", "Export the records from the map again.")
        elif isinstance(identity := content.get("entry_id"), str):
            self.where = f"{where} ({_shown(identity)})"

    def error(self, name: str, what: str, fix: str) -> None:
        self.problems.append(Problem(f"{self.where}, {name}" if name else self.where, what, fix))
        self.bad = True

    def application(self) -> Application | None:
        """The entry as a record, or None when a field cannot be used."""
        if not self.content:
            if not self.bad:
                self.error("", "the entry is empty", "Export the records from the map again.")
            return None
        for name in _REQUIRED:
            if self.content.get(name) in (None, ""):
                self.error(name, f"{name} is missing", "Every entry needs it.")
        unknown = [_shown(name) for name in self.content if name not in _FIELDS]
        if unknown:
            self.problems.append(
                Problem(
                    self.where,
                    f"the fields {', '.join(unknown)} are not known and were not stored",
                    "Nothing to do, unless a name is misspelled.",
                    Level.NOTE,
                )
            )
        texts = {name: self._text(name) for name in _TEXTS}
        done, timing = self._word("done", Done), self._word("timing", Timing)
        applied_on, cost = self._date("applied_on"), self._number("cost")
        mass_kg, area_m2 = self._number("mass_kg"), self._number("area_m2")
        if done is Done.NOT_DONE and mass_kg:
            self.error("mass_kg", f"not done, but the mass is {mass_kg} kg", "Say part, or a mass of 0.")
        if self.bad or done is None or applied_on is None or mass_kg is None:
            return None
        return Application(
            done=done,
            timing=timing,
            applied_on=applied_on,
            mass_kg=float(mass_kg),
            area_m2=None if area_m2 is None else float(area_m2),
            cost=cost,
            withdrawn=self.content.get("withdrawn") is True,
            **texts,
        )

    def _text(self, name: str) -> str:
        value = self.content.get(name)
        if value is None:
            return ""
        if not isinstance(value, str):
            self.error(name, f"{_shown(value)} is not text", "Export the records from the map again.")
            return ""
        if len(value) > TEXT_LIMIT:
            self.error(name, f"the text is longer than {TEXT_LIMIT:,} characters", "Shorten it.")
            return ""
        if any((ord(ch) < 32 and ch not in "\t\n\r") or 0xD800 <= ord(ch) <= 0xDFFF for ch in value):
            self.error(name, f"{_shown(value)} holds characters that cannot be stored", "Take them out.")
            return ""
        return value

    def _word(self, name: str, words: type[E]) -> E | None:
        value = self.content.get(name)
        if value in (None, ""):
            return None
        if isinstance(value, str) and value in {word.value for word in words}:
            return words(value)
        listed = ", ".join(word.value for word in words)
        self.error(name, f"{_shown(value)} is not one of: {listed}", "Use one of these words.")
        return None

    def _date(self, name: str) -> dt.date | None:
        value = self.content.get(name)
        if value in (None, ""):
            return None
        try:
            if isinstance(value, str):
                return dt.date.fromisoformat(value)
        except ValueError:
            pass
        self.error(name, f"{_shown(value)} is not a date", "Write it as 2026-05-02.")
        return None

    def _number(self, name: str) -> Decimal | None:
        value = self.content.get(name)
        if value in (None, ""):
            return None
        number = value
        if name == "cost" and isinstance(value, str):
            try:
                number = Decimal(value)
            except ArithmeticError:
                number = None
        if isinstance(number, bool) or not isinstance(number, (int, Decimal)):
            self.error(name, f"{_shown(value)} is not a number", "Write a number without unit.")
            return None
        if not Decimal(number).is_finite() or not math.isfinite(float(number)) or number < 0:
            self.error(name, f"{_shown(value)} is not a possible amount", "It must be zero or more.")
            return None
        return Decimal(number)


def _shown(value: object) -> str:
    """A value for a message: short, printable, in quotes when it is text."""
    text = ascii(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
