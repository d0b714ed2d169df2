"""Long soil tables: one row for each sample and analyte, as laboratory systems write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from loamwright.files.grids import EMPTY, Cell
from loamwright.files.sheets.figures import slug
from loamwright.files.sheets.layout import Block, Record
from loamwright.files.sheets.records import LabReading, Sample
from loamwright.files.sheets.sample_rows import (
    ASIDE,
    SoilSheet,
    label_columns,
    restated,
    sample_of,
    sample_records,
)
from loamwright.files.sheets.words.headings import Heading, read_heading
from loamwright.units import read_number


@dataclass(frozen=True, slots=True)
class _Result:
    """One row of a long table."""

    record: Record
    heading: Heading
    name: str
    run: float


def read_long_table(sheet: SoilSheet, block: Block) -> list[Sample]:
    """Read the samples of a long table."""
    kept = sample_records(sheet, block)
    results = [result for record in kept if (result := _result(sheet, block, record)) is not None]
    names = {result.heading: result.name for result in results}
    sheet.reader.understand(list(names), names, sheet.system)
    label, number, others = label_columns(sheet, block, kept)
    for place in block.places("unknown"):
        if any(record.cells[place].text for record in kept):
            column = block.columns[place]
            sheet.inquiry.leave_out("heading not understood", f"column {column.name or column.letter!r}")
    samples: dict[tuple[str, ...], Sample] = {}
    figures: dict[tuple[str, ...], list[_Result]] = {}
    for result in results:
        sample = sample_of(sheet, block, result.record, label, number, others)
        key = (sample.lab_number or sample.label or "", str(sample.depth))
        samples.setdefault(key, sample)
        figures.setdefault(key, []).append(result)
    return [
        replace(sample, readings=_long_readings(sheet, block, sample, figures[key]))
        for key, sample in samples.items()
    ]


def _cell(block: Block, record: Record, *roles: str) -> Cell:
    places = block.places(*roles)
    return record.cells[places[0]] if places else EMPTY


def _is_figure(heading: Heading) -> bool:
    return heading.known and heading.analyte is not None and heading.role in ("reading", "index")


def _result(sheet: SoilSheet, block: Block, record: Record) -> _Result | None:
    name = _cell(block, record, "analyte").text
    texts = (name, _cell(block, record, "method").text, _cell(block, record, "units").text)
    heading = read_heading(" ".join(text for text in texts if text))
    if not _is_figure(heading):
        by_name = read_heading(name)
        if by_name.role in ASIDE:
            sheet.inquiry.leave_out(ASIDE[by_name.role], f"{name!r}, {record.where}")
            return None
        answer = sheet.inquiry.ask(
            f"column.{slug(name)}",
            f"what {' '.join(text for text in texts if text)!r} is: it is not understood",
            record.where,
            ("<name in other words>", "leave out"),
        )
        heading = read_heading(answer) if answer else heading
        if not _is_figure(heading):
            sheet.inquiry.leave_out("analyte not understood", f"{name!r}, {record.where}")
            return None
    run = re.sub(r"[^0-9]", "", _cell(block, record, "run").text)
    return _Result(record, heading, name, read_number(run) if run else 0.0)


def _long_readings(
    sheet: SoilSheet, block: Block, sample: Sample, results: Sequence[_Result]
) -> dict[str, tuple[LabReading, ...]]:
    by_heading: dict[tuple[str, str | None], list[tuple[_Result, LabReading]]] = {}
    order: list[str] = []
    for result in results:
        reading = _long_reading(sheet, block, result)
        if reading is None or result.heading.analyte is None:
            continue
        element = result.heading.analyte.element
        order.append(element)
        by_heading.setdefault((element, reading.extractant or reading.method), []).append((result, reading))
    found: dict[str, list[LabReading]] = {element: [] for element in order}
    for (element, _), readings in by_heading.items():
        found[element].append(_standing(sheet, sample, element, readings))
    return {element: restated(readings) for element, readings in found.items()}


def _standing(
    sheet: SoilSheet, sample: Sample, element: str, readings: Sequence[tuple[_Result, LabReading]]
) -> LabReading:
    """Choose the last run; the same result twice without a run is asked about."""
    if len(readings) == 1:
        return readings[0][1]
    runs = [result.run for result, _ in readings]
    if len(set(runs)) == len(runs):
        ordered = sorted(readings, key=lambda pair: pair[0].run)
        last, earlier = ordered[-1], ordered[-2]
        note = f"run {last[0].run:g} replaces {earlier[1].printed}"
        sheet.inquiry.remark(f"{sample.label or sample.lab_number}: {note} ({element})")
        return replace(last[1], note=note)
    printed = [reading.printed for _, reading in readings]
    answer = sheet.inquiry.ask(
        f"twice.{slug(sample.lab_number or sample.label or 'sample')}.{slug(element)}",
        f"{element} of {sample.label or sample.lab_number} is printed more than once: {', '.join(printed)}",
        ", ".join(result.record.where for result, _ in readings),
        tuple(printed),
        printed[0],
    )
    chosen = next((reading for _, reading in readings if reading.printed == answer), readings[0][1])
    return chosen if answer else replace(chosen, candidates=(*chosen.candidates, "value"))


def _long_reading(sheet: SoilSheet, block: Block, result: _Result) -> LabReading | None:
    cell = _cell(block, result.record, "result")
    style = sheet.reader.decimal_comma
    printed = sheet.reader.read(cell, style, result.name, result.record.where)
    reading = sheet.reader.reading(result.heading, printed)
    if reading is None:
        return None
    qualifier = _cell(block, result.record, "qualifier").text
    if qualifier.upper() in ("U", "ND", "<", "BDL"):
        return replace(
            reading,
            heading=result.name,
            value=None,
            below=printed.value if printed.value is not None else _limit(sheet, block, result),
        )
    if printed.not_detected and reading.below is None:
        reading = replace(reading, below=_limit(sheet, block, result), note=None)
    rating = _cell(block, result.record, "rating").text
    return replace(
        reading, heading=result.name, qualifier=qualifier or None, rating=reading.rating or rating or None
    )


def _limit(sheet: SoilSheet, block: Block, result: _Result) -> float | None:
    """Return the row's detection limit, or its reporting limit where there is no other."""
    for role in ("limit", "reporting_limit"):
        cell = _cell(block, result.record, role)
        value = sheet.reader.read(cell, sheet.reader.decimal_comma, role, result.record.where).value
        if value is not None:
            return value
    return None
