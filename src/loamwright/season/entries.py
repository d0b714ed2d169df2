"""Take in what was done: a records file, an entry typed in, a spreader test."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from loamwright import files, work
from loamwright.errors import InputError, Level, Problem, UnitError, has_errors
from loamwright.planning import PlanLine
from loamwright.season.opening import Season, worked_out
from loamwright.work import (
    Application,
    Calibration,
    Done,
    Recorded,
    WorkState,
)


def record_file(
    path: Path,
    file: Path,
    today: dt.date,
    answers: Mapping[str, str] = MappingProxyType({}),
    others: Sequence[Path] = (),
) -> Recorded:
    """Take in records of the map, or a table of entries; twice changes nothing.

    Parameters
    ----------
    path
        The property file.
    file
        Records file (JSON), pasted text, a picture of a code; or a table: CSV, XLSX.
    today
        Date for the age of tests and cautions.
    answers
        Answers to what is asked of entries, by question id.
    others
        Further files with records, such as the other parts of a set of codes.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When an entry cannot be read, or something is asked of one and not answered; nothing was stored.
    MissingExtraError
        When a picture is to be read and the extra ``codes`` is not installed.
    """
    record = files.load(path)
    known = {plot.plot_id for plot in record.plots} | set(record.former_names)
    tables = [one for one in (file, *others) if one.suffix.lower() in files.SUFFIXES]
    if others and any(not files.holds_records(one) for one in tables):
        what = "a table of entries comes alone"
        raise InputError([Problem(tables[0].name, what, "Record one table after the other.")])
    captured: tuple[work.Captured, ...] = ()
    if tables and not files.holds_records(file):
        table = replace(files.read_table(file), system=record.info.units)
        entries, problems = files.applications_from(table, known, record)
    else:
        entries, captured, problems = files.brought_from(file, known, others)
    if has_errors(problems):
        raise InputError(problems)
    offers = work.offers(captured, record)
    if has_errors(offers.problems):
        raise InputError(offers.problems)
    marks = tuple(one.captured_id for one in captured)
    recorded = _append(path, entries, problems, today, answers, marks, marked=True)
    told = (*recorded.problems, *offers.problems, *_laid_down(path, marks, offers))
    return replace(recorded, problems=told)


def _laid_down(path: Path, marks: Sequence[str], offers: work.Offers) -> tuple[Problem, ...]:
    """Write what was marked on the ground to map files beside the property, to be looked at and imported."""
    told = []
    for name, features in offers.features.items():
        file = path.with_name(f"{path.stem}-{name}-{marks[0][:8]}.geojson")
        files.write_whole(file, json.dumps({"type": "FeatureCollection", "features": list(features)}))
        fix = f"Nothing has changed. Import {file.name} into {path.name}, first as a preview."
        if name == "seen":
            fix = "Nothing has changed. Open it in a map, or set what follows from it."
        told.append(Problem(file.name, f"{len(features)} marked on the ground", fix, Level.NOTE))
    return tuple(told)


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


def record_entry(
    path: Path, hand: HandEntry, now: dt.datetime, answers: Mapping[str, str] = MappingProxyType({})
) -> Recorded:
    """Add one application typed in.

    Parameters
    ----------
    path
        The property file.
    hand
        What was typed.
    now
        Time of entry.
    answers
        Answers to what is asked of it, by question id.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When plot, product, amount or date is not understood, or something is asked and not answered; nothing
        was stored.
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
    area_m2 = files.typed_options({"area": hand.area}, problems).quantity("area", "area")
    amount = work.Amount(0.0)
    try:
        if not hand.amount.strip():
            part = f" of the part {hand.part!r}" if hand.part else ""
            metric = record.info.units == "metric"
            examples = "'100 kg', '2 bags', '50 kg/ha'" if metric else "'100 lb', '2 bags', '50 lb/acre'"
            raise UnitError(f"how much{part} is on is not said", f"write for example {examples}")
        amount = work.read_amount(hand.amount, hand.product, hand.plot_id, area_m2, record)
    except UnitError as error:
        problems.append(error.at("amount"))
    typed = files.typed_options({"applied on": hand.applied_on}, problems, record.info.units)
    applied_on = typed.date("applied on")
    if problems:
        raise InputError(problems)
    entry = Application(
        entry_id=str(uuid.uuid4()),
        plot_id=hand.plot_id,
        product=hand.product,
        done=_done(amount.mass_kg, area_m2, hand.part),
        applied_on=applied_on or now.date(),
        mass_kg=amount.mass_kg,
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
    before = next((one for one in record.applications if one.entry_id == hand.corrects), None)
    if before is not None:  # what is not said anew stays as it was said
        line_id = before.line_id if (before.plot_id, before.product) == (hand.plot_id, hand.product) else ""
        told = ("operator", "ground", "weather", "note")
        entry = replace(
            entry,
            applied_on=applied_on or before.applied_on,
            timing=before.timing,
            line_id=line_id,
            equipment=before.equipment,
            method=before.method,
            time_of_day=before.time_of_day,
            forecast=before.forecast,
            **{name: getattr(entry, name) or getattr(before, name) for name in told},
        )
    read_as = amount.told("amount", hand.amount, record.info.units)
    return _append(path, (entry,), read_as, now.date(), answers)


def _done(mass_kg: float, area_m2: float | None, part: str) -> Done:
    """State follows amount and ground: nothing put on is not done, a part of the ground is a part."""
    if mass_kg <= 0:
        return Done.NOT_DONE
    return Done.PART if part or area_m2 is not None else Done.DONE


def record_job(
    path: Path,
    job: str,
    hand: HandEntry,
    now: dt.datetime,
    answers: Mapping[str, str] = MappingProxyType({}),
) -> Recorded:
    """Record a job of the plan as done: every product of its load, as planned, in one go.

    Parameters
    ----------
    path
        The property file.
    job
        Its id, or a plot on which one job is still to do.
    hand
        Date, operator, ground, weather, note, reason; `area` for a part of the ground, with that share of the
        amounts.
    now
        Time of entry.
    answers
        Answers to what is asked, by question id.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When there is no plan or no such job, or something is asked and not answered; nothing was stored.
    """
    view = worked_out(files.load(path), now.date())
    lines = _job_lines(view, job)
    problems: list[Problem] = []
    texts = {"applied on": hand.applied_on, "area": hand.area}
    typed = files.typed_options(texts, problems, view.record.info.units)
    area_m2, applied_on = typed.quantity("area", "area"), typed.date("applied on") or now.date()
    if problems:
        raise InputError(problems)
    whole_m2, job_m2 = view.areas[lines[0].plot_id].spread_area_m2, work.ground_m2(lines[0], view.areas)
    share = 1.0 if area_m2 is None or not job_m2 else min(1.0, area_m2 / job_m2)
    entries = [
        Application(
            entry_id=str(uuid.uuid4()),
            plot_id=line.plot_id,
            product=line.product,
            done=_done(line.mass_kg * share, area_m2, hand.part),
            applied_on=applied_on,
            mass_kg=line.mass_kg * share,
            timing=line.timing,
            line_id=line.line_id,
            equipment=line.spreader,
            operator=hand.operator,
            ground=hand.ground,
            weather=hand.weather,
            note=hand.note,
            reason=hand.reason,
            area_m2=job_m2 if area_m2 is None and job_m2 < whole_m2 else area_m2,
            part=hand.part,
            recorded_at=now.isoformat(timespec="seconds"),
        )
        for line in lines
    ]
    return _append(path, entries, (), now.date(), answers)


def _job_lines(view: Season, job: str) -> tuple[PlanLine, ...]:
    """The lines of a job, by its id, or by a plot with one job still to do."""
    plan = view.plan
    if plan is None:
        raise InputError([Problem("job", "this season has no plan yet", "Run `loamwright plan` first.")])
    left = {row.line_id for row in view.statuses if row.state in (WorkState.NOTHING, WorkState.PART)}
    named = [one for one in plan.jobs if one.job_id.casefold() == job.strip().casefold()]
    if not named:
        plots = {plot.plot_id: plot for plot in view.record.plots}
        try:
            plot_id = files.find(files.thing_of("plot"), view.record, job).plot_id
        except InputError:
            plot_id = ""
        named = [one for one in plan.jobs if one.plot_id == plot_id and left & set(one.line_ids)]
        if plot_id in plots and len(named) > 1:
            product_of = {line.line_id: line.product for line in plan.lines}
            loads = [
                (one.job_id, " + ".join(product_of[line_id] for line_id in one.line_ids)) for one in named
            ]
            listed = ", ".join(f"{job_id} ({load})" for job_id, load in loads)
            what = f"plot {plot_id} has {len(named)} jobs to do"
            raise InputError([Problem("job", what, f"Name one: {listed}.")])
    if not named:
        listed = ", ".join(one.job_id for one in plan.jobs if left & set(one.line_ids))
        what = f"there is no job {job!r} to do"
        raise InputError([Problem("job", what, f"There are: {listed or 'none left'}.")])
    line_of = {line.line_id: line for line in plan.lines}
    return tuple(line_of[line_id] for line_id in named[0].line_ids)


@dataclass(frozen=True, slots=True)
class CatchTest:
    """A catch or tarp test as typed; texts with units.

    Parameters
    ----------
    spreader, product, setting, operator
        As written.
    caught, catch_area
        What fell (``"0.11 lb"``; of a liquid ``"14 fl oz"``) on which area (``"21.8 ft2"``).
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
        When there is no such spreader or product, or a quantity or the date is not understood or cannot be;
        nothing was stored.
    """
    record = files.load(path)
    problems: list[Problem] = []
    named = {}
    for word, text in (("spreader", test.spreader), ("product", test.product)):
        thing = files.thing_of(word)
        if not thing.items(record):
            named[word] = text  # none is on file yet, so no name can be wrong
            continue
        try:
            named[word] = thing.name_of(files.find(thing, record, text))
        except InputError as error:
            problems.extend(error.problems)
    texts = {"caught": test.caught, "catch area": test.catch_area, "swath": test.swath, "speed": test.speed}
    typed = files.typed_options({**texts, "tested on": test.tested_on}, problems, record.info.units)

    def weight_kg(text: str) -> float | None:
        if "product" not in named:
            return None  # whose density it would be is refused already
        return work.weight_kg(text, named["product"], record, "write for example 0.11 lb or 14 fl oz")

    caught_kg, catch_area_m2 = (
        typed.quantity("caught", "caught", weight_kg),
        typed.quantity("catch area", "area"),
    )
    swath_m, speed_m_s = typed.quantity("swath", "swath"), typed.quantity("speed", "speed")
    tested_on = typed.date("tested on") or today
    if caught_kg is None or catch_area_m2 is None or problems:
        raise InputError(problems)
    calibration = work.calibrate(
        calibration_id=str(uuid.uuid4()),
        spreader=named["spreader"],
        product=named["product"],
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


def _correction_problems(corrects: str, applications: Sequence[Application]) -> Iterator[Problem]:
    """Check that the entry to correct is there and stands."""
    if corrects and corrects not in {entry.entry_id for entry in applications}:
        yield Problem("corrects", f"the record holds no entry {corrects!r}", "See `export … csv`.")
    for entry in applications:
        if corrects and entry.replaces == corrects:
            what = f"entry {corrects!r} is corrected already, by {entry.entry_id!r}"
            yield Problem("corrects", what, "Correct that one.")


def _append(
    path: Path,
    entries: Sequence[Application],
    problems: Sequence[Problem],
    today: dt.date,
    answers: Mapping[str, str],
    marks: Sequence[str] = (),
    *,
    marked: bool = False,
) -> Recorded:
    """Keep entries in one change, once everything that is asked of them is answered."""
    with files.edit(path, "record") as editor:
        before = worked_out(editor.record(), today)
        taken = work.take_in(entries, before.record, before.areas, today, answers, marked=marked)
        if has_errors(asked := (*problems, *taken.asked)):
            raise InputError(asked)
        appended = editor.append_applications(work.with_jobs(taken.ready, before.record))
        after = worked_out(editor.record(), today)
    return Recorded(
        appended.new,
        (*appended.already_there, *taken.same),
        appended.conflicts,
        after,
        (*problems, *appended.conflicts, *work.remarks(appended.new, appended.already_there, after.record)),
        work.receipt_of([*(entry.entry_id for entry in entries), *marks])
        if marked and not appended.conflicts
        else "",
    )
