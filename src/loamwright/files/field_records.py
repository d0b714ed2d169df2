"""The records file that the field map exports: what was done, as entered on a phone.

This file answers "which entries does this file bring, and is each one whole?". The file is JSON::

    {"format": "loamwright-records", "version": 2, "entries": [{…}, …], "captured": [{…}, …]}

Each entry names its fields as `records.Application` does: dates as ISO 8601 text, masses and areas as
numbers in kg and m2, money as text or number, null or absent for *not stated*. Since version 2 an entry on
a planned job names plan and job, and not its line; a file of version 1 reads as before. The file comes from
outside and may hold anything: nothing in it is trusted beyond its type. Whether an entry is new is
the property file's to say (`property_file`). The same content may come as pasted text or as codes
(`record_codes`).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import MISSING, fields
from pathlib import Path

from loamwright.errors import InputError, Level, Problem
from loamwright.files.fields import Fields, shown, unused
from loamwright.files.jsontext import json_in, read_text
from loamwright.files.record_codes import PICTURES, contents_of, holds_codes, texts_in_picture
from loamwright.values import Timing
from loamwright.work import Application, Captured, CapturedKind, Done, Fix

FORMAT = "loamwright-records"
VERSION = 2

_CALLED = "the JSON of a records file"
_AGAIN = "Export the records from the map again."
_FIELDS = {part.name: part for part in fields(Application)}
_REQUIRED = tuple(name for name, part in _FIELDS.items() if part.default is MISSING)
_TEXTS = tuple(name for name, part in _FIELDS.items() if part.type == "str")


def holds_records(path: Path) -> bool:
    """Tell whether a file is to be read as records of the map, by its name, and a text by what stands in it.

    Parameters
    ----------
    path
        A file; one that cannot be read holds none.

    Returns
    -------
    bool
    """
    suffix = path.suffix.lower()
    if suffix != ".txt":
        return suffix == ".json" or suffix in PICTURES
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return False
    return holds_codes(text) or f'"{FORMAT}"' in text


def records_from(
    path: Path, plot_ids: Collection[str] | None = None, others: Sequence[Path] = ()
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    """Read the entries of a records file, of text that was pasted, or of pictures of codes.

    Parameters
    ----------
    path
        The file: JSON as the map saves it, a text with that JSON or with codes in it, a picture of a code.
    plot_ids
        Plots of the property; an entry of another plot is an error. None = not checked here.
    others
        Further files read with it: the other parts of a set of codes.

    Returns
    -------
    applications : tuple of Application
        The entries without an error, in file order; an entry that stands twice comes once.
    problems : tuple of Problem
        Errors name the entry by its place in the file and its id.

    Raises
    ------
    MissingExtraError
        When a picture is to be read and the extra ``codes`` is not installed.
    """
    contents, told = _contents((path, *others))
    entries, problems = _entries_in(contents, plot_ids)
    return entries, (*told, *problems)


def brought_from(
    path: Path, plot_ids: Collection[str] | None = None, others: Sequence[Path] = ()
) -> tuple[tuple[Application, ...], tuple[Captured, ...], tuple[Problem, ...]]:
    """Read entries, and what was marked on the ground, from the files that `records_from` reads.

    Parameters
    ----------
    path, plot_ids, others
        As of `records_from`.

    Returns
    -------
    entries : tuple of Application
    captured : tuple of Captured
        What can be used, in file order; what stands twice comes once.
    problems : tuple of Problem
        Errors name it by its place in the file.

    Raises
    ------
    MissingExtraError
        When a picture is to be read and the extra ``codes`` is not installed.
    """
    contents, told = _contents((path, *others))
    entries, problems = _entries_in(contents, plot_ids)
    captured, found = _captured_in(contents, plot_ids)
    return entries, captured, (*told, *problems, *found)


#: Name for messages and content of each records file.
_Contents = Sequence[tuple[str, object]]


def _entries_in(
    contents: _Contents, plot_ids: Collection[str] | None
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    problems: list[Problem] = []
    entries: dict[str, Application] = {}
    for name, content in contents:
        read, found = records_in(Path(name), content, plot_ids)
        entries.update((entry.entry_id, entry) for entry in read)
        problems.extend(found)
    return tuple(entries.values()), tuple(problems)


def _captured_in(
    contents: _Contents, plot_ids: Collection[str] | None
) -> tuple[tuple[Captured, ...], tuple[Problem, ...]]:
    problems: list[Problem] = []
    found: dict[str, Captured] = {}
    for name, content in contents:
        items = content.get("captured", []) if isinstance(content, dict) else []
        if not isinstance(items, list):
            problems.append(Problem(name, f"captured is {shown(items)}, not a list", _AGAIN))
            continue
        for place, item in enumerate(items, 1):
            one = _captured(f"{name}, marked {place}", item, plot_ids, problems)
            if one is not None:
                found.setdefault(one.captured_id, one)
    return tuple(found.values()), tuple(problems)


def _captured(
    where: str, item: object, plot_ids: Collection[str] | None, problems: list[Problem]
) -> Captured | None:
    if not isinstance(item, dict):
        problems.append(Problem(where, f"{shown(item)} is nothing that was marked", _AGAIN))
        return None
    row = Fields(where, item, problems, typed=True)
    row.stated("captured_id")
    kind = row.word("kind", CapturedKind)
    names = ("captured_id", "plot_id", "what", "note", "operator", "taken_at")
    texts = {name: row.text(name) for name in names}
    fixes = []
    told = item.get("fixes")
    for place, fix in enumerate(told if isinstance(told, list) else [], 1):
        whole = isinstance(fix, list) and len(fix) == 3 and all(type(one) in (int, float) for one in fix)
        if not whole or not (-90 <= fix[0] <= 90 and -180 <= fix[1] <= 180 and 0 < fix[2] < 100_000):
            row.problem("fixes", f"fix {place}, {shown(fix)}, is no latitude, longitude and accuracy", _AGAIN)
            break
        fixes.append(Fix(fix[1], fix[0], fix[2]))
    if not fixes and not row.bad:
        row.problem("fixes", "it has no place", _AGAIN)
    if plot_ids is not None and texts["plot_id"] and texts["plot_id"] not in plot_ids:
        what = f"there is no plot {texts['plot_id']!r} on this property"
        row.problem("plot_id", what, "Was the file made from the map of another property?")
    return None if row.bad or kind is None else Captured(kind=kind, fixes=tuple(fixes), **texts)


def _contents(paths: Sequence[Path]) -> tuple[list[tuple[str, object]], tuple[Problem, ...]]:
    """Read the contents of records files out of JSON, pasted text and codes."""
    contents: list[tuple[str, object]] = []
    codes: list[tuple[str, str]] = []
    problems: list[Problem] = []
    for file in paths:
        try:
            if file.suffix.lower() in PICTURES:
                codes.append((file.name, texts_in_picture(file)))
                continue
            text = read_text(file, _CALLED, _AGAIN)
            if holds_codes(text):
                codes.append((file.name, text))
            else:
                contents.append((file.name, json_in(_bare(text), file.name, _CALLED, _AGAIN, strict=True)))
        except InputError as error:
            problems.extend(error.problems)
    try:
        contents.extend(contents_of(codes))
    except InputError as error:
        problems.extend(error.problems)
    return contents, tuple(problems)


def _bare(text: str) -> str:
    """Take the JSON out of a message: from its first bracket to its last, when it names the format."""
    first, last = text.find("{"), text.rfind("}")
    return text[first : last + 1] if f'"{FORMAT}"' in text and 0 <= first < last else text


def records_in(
    path: Path, content: object, plot_ids: Collection[str] | None = None
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    """Read the entries that stand in the JSON of a records file."""
    try:
        entries = _entries(path, content)
    except InputError as error:
        return (), error.problems
    problems: list[Problem] = []
    if not entries and not (isinstance(content, dict) and content.get("captured")):
        problems.append(Problem(path.name, "the file holds no entries", "Nothing to do.", Level.NOTE))
    applications: dict[str, Application] = {}
    for place, item in enumerate(entries, 1):
        where = f"{path.name}, entry {place}"
        if not isinstance(item, dict) or not item:
            what = f"{shown(item)} is not an entry" if item else "the entry is empty"
            problems.append(Problem(where, what, _AGAIN))
            continue
        identity = item.get("entry_id")
        where = f"{where} ({shown(identity)})" if isinstance(identity, str) else where
        row = Fields(where, item, problems, typed=True)
        entry = _application(row)
        unknown = [name for name in item if name not in _FIELDS]
        problems.extend(unused(where, unknown, "not known and not stored"))
        if entry is not None and plot_ids is not None and entry.plot_id not in plot_ids:
            what = f"there is no plot {entry.plot_id!r} on this property"
            row.problem("plot_id", what, "Was the file made from the map of another property?")
        if entry is not None and applications.get(entry.entry_id, entry) != entry:
            what = f"another entry of this file has the id {entry.entry_id!r} but says something else"
            row.problem("entry_id", what, "Keep one of them; a correction needs an id of its own.")
        if entry is not None and not row.bad:
            applications.setdefault(entry.entry_id, entry)
    return tuple(applications.values()), tuple(problems)


def looks_like(content: object) -> bool:
    """Tell whether the JSON of a file says that it is a records file, of whatever version."""
    return isinstance(content, dict) and content.get("format") == FORMAT


def _entries(path: Path, content: object) -> list[object]:
    def refusal(what: str, fix: str = _AGAIN) -> InputError:
        return InputError([Problem(path.name, what, fix)])

    if not isinstance(content, dict) or not looks_like(content):
        raise refusal(f"the file does not say that its format is {FORMAT!r}")
    version, entries = content.get("version"), content.get("entries")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise refusal(f"the version {shown(version)} is not a number of a records version")
    if version > VERSION:
        what = f"the file is of version {version}, newer than version {VERSION} which this program reads"
        raise refusal(what, "Install the newer loamwright that made the map.")
    if not isinstance(entries, list):
        raise refusal("the file holds no list named 'entries'")
    return entries


def _application(row: Fields) -> Application | None:
    """The entry as a record, or None when a field cannot be used."""
    for name in _REQUIRED:
        row.stated(name)
    texts = {name: row.text(name) for name in _TEXTS}
    plan_id, job_id = row.text("plan_id") or None, row.text("job_id") or None
    done, timing = row.word("done", Done), row.word("timing", Timing)
    applied_on, cost = row.date("applied_on"), row.money("cost")
    mass_kg, area_m2 = row.number("mass_kg", "mass", "kg"), row.number("area_m2", "area", "m2")
    if done is Done.NOT_DONE and mass_kg:
        row.problem("mass_kg", f"not done, but the mass is {mass_kg:g} kg", "Say part, or a mass of 0.")
    if row.bad or done is None or applied_on is None or mass_kg is None:
        return None
    return Application(
        done=done,
        timing=timing,
        applied_on=applied_on,
        mass_kg=mass_kg,
        area_m2=area_m2,
        cost=cost,
        withdrawn=row.yes_no("withdrawn") or False,
        **texts,
        plan_id=plan_id,
        job_id=job_id,
    )
