"""The soil tests of a file: dates settled, tables read, samples put together and asked for what they lack.

How a table is read is told in `soil_tables` and `long_tables`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from loamwright.files.grids import Cell
from loamwright.files.sheets.figures import ColumnReader, slug, system_of
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.layout import Block
from loamwright.files.sheets.long_tables import read_long_table
from loamwright.files.sheets.recommended import settle_roles
from loamwright.files.sheets.records import Sample
from loamwright.files.sheets.sample_rows import SoilSheet
from loamwright.files.sheets.sampling_dates import (
    DATE_ROLES,
    DATED,
    DAY_OF_SAMPLING,
    SAME_AS_RECEIVED,
    Calendar,
    asked_depth,
    is_day,
)
from loamwright.files.sheets.soil_tables import read_table_of_samples
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.vocabulary import plain


def read_soil(blocks: Sequence[Block], statements: Statements, inquiry: Inquiry) -> list[Sample]:
    """Read the samples of all soil tables of a file."""
    tables = [block if is_long(block) else settle_roles(block, inquiry) for block in blocks]
    reader = ColumnReader(statements, inquiry)
    depths = (r.cells[at].text for block in tables for r in block.records[:5] for at in block.places("depth"))
    system = system_of((column.heading for block in tables for column in block.columns), depths)
    reader.settle_numbers((cell.text for block in tables for cell in _texts(block)), system)
    sheet = SoilSheet(statements, inquiry, reader, Calendar(inquiry), system)
    _settle_dates(sheet, tables)
    for rate in statements.rates:
        inquiry.leave_out("a rate in a sentence: enter it by hand where it is advice", f"{rate!r}")
    samples: list[Sample] = []
    for number, block in enumerate(tables):
        read = read_long_table(sheet, block) if is_long(block) else read_table_of_samples(sheet, block)
        samples.extend(replace(sample, table=number) for sample in read)
    return _completed(sheet, _without_twins(_joined(samples, inquiry), inquiry))


def _texts(block: Block) -> Iterable[Cell]:
    figures = block.places(
        "reading", "index", "recommendation", "lime", "ask", "result", "limit", "reporting_limit"
    )
    return (
        record.cells[place]
        for record in block.records
        for place in figures
        if record.cells[place].number is None
    )


def is_long(block: Block) -> bool:
    """Tell whether a table has a row for each analyte of each sample."""
    return {"analyte", "result"} <= block.roles()


# ---------------------------------------------------------------------------------------------
# Dates of the sheet


def _settle_dates(sheet: SoilSheet, blocks: Sequence[Block]) -> None:
    cells = [cell for role, cell in sheet.statements.pairs.items() if role in DATED]
    chains: list[list[Cell]] = [
        [sheet.statements.pairs[role] for role in DATE_ROLES if role in sheet.statements.pairs]
    ]
    names: dict[str, list[str]] = {}
    for block in blocks:
        places = block.places(*DATED)
        for place in places:
            names.setdefault(block.columns[place].role, []).append(block.columns[place].name)
        cells.extend(record.cells[place] for record in block.records for place in places)
        ordered = [place for role in DATE_ROLES for place in block.places(role)]
        chains.extend([record.cells[place] for place in ordered] for record in block.records)
    listed = ", ".join(name for group in names.values() for name in group) or "the lines above the table"
    sheet.calendar.settle(cells, chains, sheet.system, f"columns {listed}")
    columns = (
        [record.cells[place] for record in block.records]
        for block in blocks
        for place in block.places(*DATED)
    )
    sheet.calendar.settle_stored(columns, f"columns {listed}")
    known = {*names, *sheet.statements.pairs}
    if "dated" in known and "sampled" not in known:
        sheet.calendar.settle_meaning(names.get("dated", ["the date above the table"]))


# ---------------------------------------------------------------------------------------------
# All samples of a file


def _joined(samples: Sequence[Sample], inquiry: Inquiry) -> list[Sample]:
    """Put together what several tables say of one sample: results in one, recommendations in another."""
    done: list[Sample] = []
    by_name: dict[str, dict[int, list[int]]] = {}
    for sample in samples:
        names = [plain(name) for name in (sample.lab_number, sample.label) if name]
        tables = [table for name in names for table in by_name.get(name, {}).items()]
        places = sorted({place for table, found in tables if table != sample.table for place in found})
        place = next((at for at in places if _same_sample(done[at], sample)), None)
        if place is None:
            for name in names:
                by_name.setdefault(name, {}).setdefault(sample.table, []).append(len(done))
            done.append(sample)
            continue
        other = done[place]
        if other.readings == sample.readings and sample.readings:
            inquiry.leave_out(
                "the same sample on a further sheet", f"{sample.label or sample.lab_number}, {sample.where}"
            )
            continue
        done[place] = replace(
            other,
            readings={**other.readings, **sample.readings},
            recommendations=(*other.recommendations, *sample.recommendations),
            depth=other.depth or sample.depth,
            sampled_on=other.sampled_on or sample.sampled_on,
            crop=None if sample.recommendations else other.crop or sample.crop,
        )
    return done


def _same_sample(one: Sample, other: Sample) -> bool:
    if one.table == other.table or (one.depth and other.depth and one.depth != other.depth):
        return False
    if one.lab_number and other.lab_number:
        same = one.lab_number == other.lab_number
    else:
        same = bool(one.label) and plain(one.label or "") == plain(other.label or "")
    shared = set(one.readings) & set(other.readings)
    return same and all(one.readings[element] == other.readings[element] for element in shared)


def _without_twins(samples: list[Sample], inquiry: Inquiry) -> list[Sample]:
    """Ask about a sample that stands twice: a rerun or a correction must not count twice."""
    groups: dict[tuple[str, str, str], list[int]] = {}
    for place, sample in enumerate(samples):
        name = sample.lab_number or sample.label
        if name:
            groups.setdefault(
                (name, str(sample.depth), "" if sample.lab_number else str(sample.sampled_on)), []
            ).append(place)
    dropped: set[int] = set()
    for (name, _, _), places in groups.items():
        if len(places) < 2:
            continue
        answer = inquiry.ask(
            f"twice.{slug(name)}",
            f"sample {name} stands {len(places)} times: a rerun or a correction",
            ", ".join(samples[place].where for place in places),
            ("the last one stands", "the first one stands", "keep all"),
        )
        if answer == "the last one stands":
            dropped |= set(places[:-1])
        elif answer == "the first one stands":
            dropped |= set(places[1:])
        for place in places:
            if answer is None:
                samples[place] = replace(samples[place], candidates=(*samples[place].candidates, "readings"))
    for place in sorted(dropped):
        inquiry.leave_out("a sample that another row replaces", samples[place].where)
    return [sample for place, sample in enumerate(samples) if place not in dropped]


def _completed(sheet: SoilSheet, samples: Sequence[Sample]) -> list[Sample]:
    """Ask for what samples lack: label, sampling date, depth, and results that every plan needs."""
    done = list(samples)
    _ask_for_labels(sheet.inquiry, done)
    undated = [
        at
        for at, sample in enumerate(done)
        if sample.sampled_on is None and sample.dated is None and sample.where not in sheet.asked_for_day
    ]
    if undated:
        _ask_for_day(sheet, done, undated)
    bare = [at for at, sample in enumerate(done) if sample.depth is None]
    if bare:
        answer = sheet.inquiry.ask(
            "depth", "depth of the samples", _listed(done, bare), _DEPTHS[sheet.system], accepts=_is_depth
        )
        for at in bare:
            done[at] = replace(done[at], depth=asked_depth(answer))
    unmeasured = [
        at for at, sample in enumerate(done) if sample.depth is not None and sample.depth.unit is None
    ]
    if unmeasured:
        likely = {"us": "in", "metric": "cm"}.get(sheet.system)
        answer = sheet.inquiry.ask(
            "depth-unit", "unit of the depths", _listed(done, unmeasured), ("in", "cm"), likely
        )
        for at in unmeasured:
            depth = done[at].depth
            if depth is not None and answer is None and likely:
                done[at] = replace(done[at], depth=replace(depth, unit=likely, candidates=("unit",)))
            elif depth is not None and answer in ("in", "cm"):
                done[at] = replace(done[at], depth=replace(depth, unit=answer))
    for element in ("P", "K"):
        _ask_for_missing(sheet.inquiry, done, element)
    return done


def _ask_for_missing(inquiry: Inquiry, samples: Sequence[Sample], element: str) -> None:
    """Ask about topsoil samples without phosphorus or potassium: no plan can be made from them."""
    named = {_name_of(sample) for sample in samples if element in sample.readings}
    without = [
        at
        for at, one in enumerate(samples)
        if element not in one.readings and _is_topsoil(one) and _name_of(one) not in named
    ]
    if not without:
        return
    everywhere = not any(element in sample.readings for sample in samples)
    names = _listed(samples, without)
    ident = f"no-{element.lower()}" if everywhere else f"no-{element.lower()}.{slug(names)}"
    inquiry.ask(ident, f"no {element} result for {names}", names, ("not tested", "it comes in another file"))


_US_DEPTHS, _METRIC_DEPTHS = ("0-6 in", "0-7 in", "0-8 in"), ("0-10 cm", "0-15 cm", "0-20 cm")
_DEPTHS = {
    "us": (*_US_DEPTHS, "<depth, as 0-6 in>"),
    "metric": (*_METRIC_DEPTHS, "<depth, as 0-15 cm>"),
    "": (*_US_DEPTHS, *_METRIC_DEPTHS, "<depth, as 0-6 in>"),
}


def _name_of(sample: Sample) -> str:
    return sample.lab_number or sample.label or sample.where


def _is_depth(answer: str) -> bool:
    return asked_depth(answer) is not None


def _is_topsoil(sample: Sample) -> bool:
    return sample.depth is None or sample.depth.top == 0


def _listed(samples: Sequence[Sample], places: Sequence[int]) -> str:
    if len(places) == len(samples):
        return "all samples"
    names = [samples[at].label or samples[at].lab_number or samples[at].where for at in places]
    return ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")


#: Texts that a spreadsheet makes of a plot called 2-3 or a lab number such as 1E5.
_DAMAGED = re.compile(
    r"[0-9]{1,2}-[A-Za-z]{3}(?:-[0-9]{2,4})?|[A-Za-z]{3}-[0-9]{2}|[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9](?:\.[0-9]+)?E\+?[0-9]+"
)


def _ask_for_labels(inquiry: Inquiry, samples: list[Sample]) -> None:
    """Ask for names that are missing, or that a spreadsheet may have turned into something else."""
    for at, sample in enumerate(samples):
        damaged = [name for name in (sample.label, sample.lab_number) if name and _DAMAGED.fullmatch(name)]
        if damaged:
            about = (
                f"what {damaged[0]!r} was before a spreadsheet changed it: it looks like a date or a power"
            )
        elif sample.label is None and sample.lab_number is None:
            about = "a result without a sample name"
        else:
            continue
        ident = f"name.{slug(damaged[0] if damaged else sample.where)}"
        answer = inquiry.ask(ident, about, sample.where, ("<name>", *((damaged[0],) if damaged else ())))
        if answer is None:
            samples[at] = replace(sample, candidates=(*sample.candidates, "label"))
        elif answer != NOT_KNOWN and damaged and damaged[0] != sample.label:
            samples[at] = replace(sample, lab_number=answer)
        elif answer != NOT_KNOWN:
            samples[at] = replace(sample, label=answer)


def _ask_for_day(sheet: SoilSheet, samples: list[Sample], undated: Sequence[int]) -> None:
    received = all(samples[at].received_on is not None for at in undated)
    known = [
        role for role in ("received", "reported") if any(getattr(samples[at], f"{role}_on") for at in undated)
    ]
    if known:
        sheet.inquiry.remark(f"{' and '.join(known)} dates are there, the sampling date is not")
    choices = ("<day, as 2025-10-18>", *((SAME_AS_RECEIVED,) if received else ()))
    answer = sheet.inquiry.ask("sampled", DAY_OF_SAMPLING, _listed(samples, undated), choices, accepts=is_day)
    printed = read_printed_date(answer) if answer else None
    given = printed.in_order(None) if printed else None
    for at in undated:
        day = samples[at].received_on if answer == SAME_AS_RECEIVED else given
        samples[at] = replace(samples[at], sampled_on=day)
