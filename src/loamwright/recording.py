"""What comes back: entries from the map or typed in, and catch tests of spreaders.

The record only grows. This file reads what is offered, appends it, and says what became of it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright import (
    cells,
    records,
    spreading,
    store,
    tablefiles,
    tables,
)
from loamwright.answers import (
    Recorded,
)
from loamwright.errors import InputError, Problem, UnitError, has_errors
from loamwright.season import view
from loamwright.units import parse_area, parse_length, parse_mass, parse_speed
from loamwright.values import (
    Application,
    Calibration,
    Done,
)


def _append(
    path: Path, entries: Sequence[Application], problems: Sequence[Problem], today: dt.date
) -> Recorded:
    with store.edit(path) as editor:
        appended = editor.append_applications(entries)
    return Recorded(
        appended.new,
        appended.already_there,
        appended.conflicts,
        view(path, today),
        (*problems, *appended.conflicts),
    )


def record_file(path: Path, file: Path, today: dt.date) -> Recorded:
    """Take in a records file from the map, or a table of entries; twice changes nothing.

    Parameters
    ----------
    path
        The property file.
    file
        Records file (JSON), CSV or XLSX.
    today
        Date for the age of tests and cautions.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When an entry cannot be read; nothing was stored.
    """
    known = {plot.plot_id for plot in store.load(path).plots}
    if file.suffix.lower() in tablefiles.SUFFIXES:
        entries, problems = tables.applications_from(tablefiles.read_table(file), known)
    else:
        entries, problems = records.records_from(file, known)
    if has_errors(problems):
        raise InputError(problems)
    return _append(path, entries, problems, today)


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
        Id of the entry this one corrects, or empty.
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
    record = store.load(path)
    problems = []
    if hand.plot_id not in {plot.plot_id for plot in record.plots}:
        problems.append(
            Problem("--plot", f"{hand.plot_id!r} is not a plot of this property", "See `status`.")
        )
    if hand.product not in {product.product for product in record.products}:
        names = ", ".join(product.product for product in record.products)
        problems.append(
            Problem("--product", f"{hand.product!r} is not a product here", f"Use one of: {names}.")
        )
    mass_kg, applied_on = 0.0, now.date()
    try:
        mass_kg = parse_mass(hand.amount)
    except UnitError as error:
        problems.append(Problem("--amount", str(error), "Write for example '120 lb'."))
    try:
        applied_on = now.date() if hand.applied_on is None else cells.parse_date(hand.applied_on)
    except UnitError as error:
        problems.append(Problem("--on", str(error), "Write for example 2026-05-02."))
    if problems:
        raise InputError(problems)
    entry = Application(
        entry_id=str(uuid.uuid4()),
        plot_id=hand.plot_id,
        product=hand.product,
        done=Done.DONE if mass_kg > 0 else Done.NOT_DONE,
        applied_on=applied_on,
        mass_kg=mass_kg,
        operator=hand.operator,
        ground=hand.ground,
        weather=hand.weather,
        note=hand.note,
        reason=hand.reason,
        replaces=hand.corrects,
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
    UnitError
        When a quantity is not understood.
    """
    calibration = spreading.calibrate(
        calibration_id=str(uuid.uuid4()),
        spreader=test.spreader,
        product=test.product,
        setting=test.setting,
        operator=test.operator,
        tested_on=today if test.tested_on is None else cells.parse_date(test.tested_on),
        caught_kg=parse_mass(test.caught),
        catch_area_m2=parse_area(test.catch_area),
        swath_m=None if test.swath is None else parse_length(test.swath),
        speed_m_s=None if test.speed is None else parse_speed(test.speed),
        note=test.note,
    )
    with store.edit(path) as editor:
        editor.add_calibration(calibration)
    return calibration
