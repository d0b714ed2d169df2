"""Take in what was done: a records file, an entry typed in, a spreader test."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loamwright import files, needs, work
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.season.opening import worked_out
from loamwright.work import (
    Application,
    Calibration,
    Done,
    PropertyRecord,
    Recorded,
)

#: Asked of an entry that contradicts the recorded one of its id: take it as a correction?
Question = Callable[[Application, Application], bool]


def keep_what_is_recorded(_recorded: Application, _offered: Application) -> bool:
    """Answer no: the recorded entry stands, and the conflict is reported.

    Parameters
    ----------
    _recorded, _offered
        Not looked at.

    Returns
    -------
    bool
        False.
    """
    return False


def record_file(path: Path, file: Path, today: dt.date, asks: Question = keep_what_is_recorded) -> Recorded:
    """Take in a records file from the map, or a table of entries; twice changes nothing.

    Parameters
    ----------
    path
        The property file.
    file
        Records file (JSON), CSV or XLSX.
    today
        Date for the age of tests and cautions.
    asks
        Asked of each entry that contradicts the recorded one of its id; yes takes it as a correction.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When an entry cannot be read; nothing was stored.
    """
    record = files.load(path)
    known = {plot.plot_id for plot in record.plots} | set(record.former_names)
    if file.suffix.lower() in files.SUFFIXES:
        entries, problems = files.applications_from(files.read_table(file), known)
    else:
        entries, problems = files.records_from(file, known)
    if has_errors(problems):
        raise InputError(problems)
    return _append(path, _as_corrections(entries, record.applications, asks), problems, today)


@dataclass(frozen=True, slots=True)
class HandEntry:
    """One application typed in; texts as written, units included.

    Parameters
    ----------
    plot_id, product, amount
        Where, what, how much (``"120 lb"``); an amount of zero means not done.
    applied_on
        Date, or None for today.
    operator, ground, weather, note, reason
        As written.
    corrects
        Id of the entry this one corrects, or empty. Its timing is taken over, and its plan line when plot and
        product are the same.
    area, part
        Ground it went on (``"5 acre"``), and what that part is called; None, empty = the whole plot.
    """

    plot_id: str
    product: str
    amount: str
    applied_on: str | None = None
    operator: str = ""
    ground: str = ""
    weather: str = ""
    note: str = ""
    reason: str = ""
    corrects: str = ""
    area: str | None = None
    part: str = ""


def record_entry(path: Path, hand: HandEntry, now: dt.datetime) -> Recorded:
    """Add one application typed in.

    Parameters
    ----------
    path
        The property file.
    hand
        What was typed.
    now
        Time of entry.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When plot, product, amount or date is not understood; nothing was stored.
    """
    record = files.load(path)
    problems: list[Problem] = []
    for field, word in (("plot_id", "plot"), ("product", "product")):
        try:
            named = files.find(files.thing_of(word), record, getattr(hand, field))
            hand = replace(hand, **{field: getattr(named, field)})
        except InputError as error:
            problems.extend(error.problems)
    problems.extend(_correction_problems(hand.corrects, record.applications))
    words = {"amount": hand.amount, "applied on": hand.applied_on, "area": hand.area}
    typed = files.typed_options(words, problems)
    mass_kg = typed.quantity("amount", "mass") or 0.0
    area_m2 = typed.quantity("area", "area")
    applied_on = typed.date("applied on") or now.date()
    if problems:
        raise InputError(problems)
    before = next((entry for entry in record.applications if entry.entry_id == hand.corrects), None)
    timing, line_id = None, ""
    if before is not None:
        timing = before.timing
        line_id = before.line_id if (before.plot_id, before.product) == (hand.plot_id, hand.product) else ""
    entry = Application(
        entry_id=str(uuid.uuid4()),
        plot_id=hand.plot_id,
        product=hand.product,
        done=Done.DONE if mass_kg > 0 else Done.NOT_DONE,
        applied_on=applied_on,
        mass_kg=mass_kg,
        timing=timing,
        line_id=line_id,
        operator=hand.operator,
        ground=hand.ground,
        weather=hand.weather,
        note=hand.note,
        reason=hand.reason,
        replaces=hand.corrects,
        area_m2=area_m2,
        part=hand.part,
        recorded_at=now.isoformat(timespec="seconds"),
    )
    return _append(path, (entry,), (), now.date())


@dataclass(frozen=True, slots=True)
class CatchTest:
    """A catch or tarp test as typed; texts with units.

    Parameters
    ----------
    spreader, product, setting, operator
        As written.
    caught, catch_area
        What fell (``"0.11 lb"``) on which area (``"21.8 ft2"``).
    swath, speed
        Swath width and ground speed, or None.
    tested_on
        Date, or None for today.
    note
        Anything else.
    """

    spreader: str
    product: str
    setting: str
    operator: str
    caught: str
    catch_area: str
    swath: str | None = None
    speed: str | None = None
    tested_on: str | None = None
    note: str = ""


def log_calibration(path: Path, test: CatchTest, today: dt.date) -> Calibration:
    """Log a catch test and return it with the rate that follows.

    Parameters
    ----------
    path
        The property file.
    test
        What was typed.
    today
        Date when none was typed.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        When a quantity or the date is not understood or not possible; nothing was stored.
    """
    problems: list[Problem] = []
    texts = {"caught": test.caught, "catch area": test.catch_area, "swath": test.swath, "speed": test.speed}
    typed = files.typed_options({**texts, "tested on": test.tested_on}, problems)
    caught_kg, catch_area_m2 = typed.quantity("caught", "caught"), typed.quantity("catch area", "area")
    swath_m, speed_m_s = typed.quantity("swath", "swath"), typed.quantity("speed", "speed")
    tested_on = typed.date("tested on") or today
    if caught_kg is None or catch_area_m2 is None or problems:
        raise InputError(problems)
    calibration = work.calibrate(
        calibration_id=str(uuid.uuid4()),
        spreader=test.spreader,
        product=test.product,
        setting=test.setting,
        operator=test.operator,
        tested_on=tested_on,
        caught_kg=caught_kg,
        catch_area_m2=catch_area_m2,
        swath_m=swath_m,
        speed_m_s=speed_m_s,
        note=test.note,
    )
    with files.edit(path, "calibrate") as editor:
        editor.add_calibration(calibration)
    return calibration


def _as_corrections(
    entries: Sequence[Application], recorded: Sequence[Application], asks: Question
) -> tuple[Application, ...]:
    """Turn entries that contradict the record, and are wanted, into corrections of what stands there.

    The new id is made of the old one and the content, so that the same file again changes nothing.
    """
    known = {entry.entry_id: entry for entry in recorded}
    newer = {entry.replaces: entry.entry_id for entry in recorded if entry.replaces}
    result = []
    for entry in entries:
        before = known.get(entry.entry_id)
        if before is None or before == entry:
            result.append(entry)
            continue
        mark = hashlib.sha256(repr(entry).encode()).hexdigest()[:12]
        new_id = f"{entry.entry_id}-{mark}"
        if new_id in known:
            result.append(replace(entry, entry_id=new_id, replaces=known[new_id].replaces))
        elif asks(before, entry):
            standing = entry.entry_id
            while standing in newer:
                standing = newer[standing]
            result.append(replace(entry, entry_id=new_id, replaces=standing))
        else:
            result.append(entry)
    return tuple(result)


def _correction_problems(corrects: str, applications: Sequence[Application]) -> Iterator[Problem]:
    """Check that the entry to correct is there and stands."""
    if corrects and corrects not in {entry.entry_id for entry in applications}:
        yield Problem("corrects", f"the record holds no entry {corrects!r}", "See `export … csv`.")
    for entry in applications:
        if corrects and entry.replaces == corrects:
            what = f"entry {corrects!r} is corrected already, by {entry.entry_id!r}"
            yield Problem("corrects", what, "Correct that one.")


def _append(
    path: Path, entries: Sequence[Application], problems: Sequence[Problem], today: dt.date
) -> Recorded:
    with files.edit(path, "record") as editor:
        appended = editor.append_applications(entries)
        after = worked_out(editor.record(), today)
    return Recorded(
        appended.new,
        appended.already_there,
        appended.conflicts,
        after,
        (*problems, *appended.conflicts, *_other_seasons(appended.new, after.record)),
    )


def _other_seasons(entries: Sequence[Application], record: PropertyRecord) -> tuple[Problem, ...]:
    """Say which entries the status of the season leaves out, because of their date."""
    season, start = record.info.season, record.info.settings.season_start
    return tuple(
        Problem(
            f"entry {entry.entry_id}, applied_on",
            f"{entry.applied_on} is not in season {season}, so what went on plot {entry.plot_id} is kept "
            "but does not count in this season's status",
            "If the date is wrong, enter it again with `corrects` and this id.",
            Level.WARNING,
        )
        for entry in entries
        if needs.season_of(entry.applied_on, start) != season
    )
