"""Soil tables with one column for each analyte, upright or turned: readings and recommendations."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from loamwright.files.grids import Cell
from loamwright.files.sheets.figures import BUFFERS, FAMILY_TESTS, is_rating, printed_numbers, slug
from loamwright.files.sheets.inquiry import NOT_KNOWN
from loamwright.files.sheets.layout import Block, Record
from loamwright.files.sheets.recommended import (
    CropColumns,
    RateUnits,
    crop_columns,
    lime_is_advised,
    rate_units,
    recommendation,
)
from loamwright.files.sheets.records import LabReading, Sample, SheetRecommendation
from loamwright.files.sheets.sample_rows import (
    ASIDE,
    SoilSheet,
    label_columns,
    restated,
    sample_of,
    sample_records,
)
from loamwright.files.sheets.words.depths import Depth
from loamwright.files.sheets.words.figures import Printed
from loamwright.files.sheets.words.headings import Heading, read_heading


def read_table_of_samples(sheet: SoilSheet, block: Block) -> list[Sample]:
    """Read the samples of a table with one column for each analyte."""
    kept = sample_records(sheet, block)
    filled = _filled_figures(block, kept)
    _ask_about_columns(sheet, block, filled)
    block = _answered_columns(sheet, block)
    names = {column.heading: column.name for column in block.columns}
    figures = [place for place in filled if block.columns[place].role in ("reading", "index", "ask")]
    sheet.reader.understand([block.columns[place].heading for place in figures], names, sheet.system)
    columns = {place: [record.cells[place] for record in kept] for place in range(len(block.columns))}
    texts = {place: printed_numbers(cells) for place, cells in columns.items()}
    styles = {place: sheet.reader.style_of(cells) for place, cells in columns.items()}
    groups = crop_columns(block)
    amounts = sorted({place for group in groups for place in group.amounts})
    printed = [
        {
            place: sheet.reader.read(
                record.cells[place], styles[place], block.columns[place].name, record.where
            )
            for place in [*figures, *amounts]
        }
        for record in kept
    ]
    limes = [cells[place] for cells in printed for place in amounts if block.columns[place].role == "lime"]
    rates = rate_units(block, groups, sheet.statements, sheet.inquiry, sheet.system, lime_is_advised(limes))
    label_place, number_place, others = label_columns(sheet, block, kept)
    taken = {place: cells for place, cells in columns.items() if place != label_place}
    _leave_out_columns(sheet, block, taken)
    samples = []
    for row, record in enumerate(kept):
        shown = {place: texts[place][row] for place in figures}
        recommended = _recommendations(sheet, block, groups, rates, record, printed[row])
        sample = sample_of(sheet, block, record, label_place, number_place, others)
        sample = replace(sample, recommendations=recommended, crop=None if recommended else sample.crop)
        for depth, places in _by_depth(block, figures).items():
            readings = _readings(sheet, block, places, printed[row], shown, record)
            if readings or depth is None:
                samples.append(replace(sample, depth=depth or sample.depth, readings=readings))
                sample = replace(sample, recommendations=())
    return samples


def _filled_figures(block: Block, kept: Sequence[Record]) -> list[int]:
    places = block.places("reading", "index", "ask")
    return [place for place in places if any(record.cells[place].text for record in kept)]


def _ask_about_columns(sheet: SoilSheet, block: Block, filled: Sequence[int]) -> None:
    """Ask about headings that look like a nutrient and were not understood."""
    for place, column in enumerate(block.columns):
        if place in filled and column.role == "ask":
            analyte = column.heading.analyte
            tests = FAMILY_TESTS.get(analyte.family, BUFFERS) if analyte is not None else ()
            sheet.inquiry.ask(
                f"column.{slug(column.name)}",
                f"which test {column.name!r} is: {column.heading.note}",
                f"column {column.name!r}",
                (*tests, "leave out"),
            )
        elif not column.heading.known and _may_be_a_figure(block, place) and column.name:
            sheet.inquiry.ask(
                f"column.{slug(column.name)}",
                f"what the column {column.name!r} holds: its heading is not understood",
                f"column {column.name!r} ({column.letter})",
                ("<heading in other words>", "leave out"),
            )


def _may_be_a_figure(block: Block, place: int) -> bool:
    column = block.columns[place]
    if column.heading.analyte is not None or column.role == "lime":
        return True
    cells = [record.cells[place].text for record in block.records if record.cells[place].text]
    numbers = [text for text in cells if re.fullmatch(r"[<>]?\s*[0-9]+([.,][0-9]+)?( [A-Z]{1,2})?", text)]
    return column.role == "unknown" and bool(column.heading.units) and len(numbers) * 2 > len(cells)


def _answered_columns(sheet: SoilSheet, block: Block) -> Block:
    """Take the answers about columns: another heading, a test, or "leave out"."""
    columns = []
    for column in block.columns:
        answer = sheet.inquiry.answers.get(f"column.{slug(column.name)}")
        if answer is None or answer in ("reading", "recommendation"):
            columns.append(column)
        elif answer in (NOT_KNOWN, "leave out"):
            columns.append(replace(column, heading=replace(column.heading, role="aside", left=())))
        elif column.role == "ask" and column.heading.analyte is not None:
            heading = read_heading(f"{column.heading.analyte.name} {answer} {' '.join(column.heading.units)}")
            columns.append(replace(column, heading=heading if heading.known else column.heading))
        else:
            heading = read_heading(f"{answer} {' '.join(column.heading.units)}")
            columns.append(replace(column, heading=heading if heading.known else column.heading))
    return replace(block, columns=tuple(columns))


def _leave_out_columns(sheet: SoilSheet, block: Block, columns: Mapping[int, Sequence[Cell]]) -> None:
    for place in columns:
        column = block.columns[place]
        if column.role in ASIDE and any(cell.text for cell in columns[place]):
            sheet.inquiry.leave_out(ASIDE[column.role], f"column {column.name!r}")
        elif column.role == "unknown" and any(cell.text for cell in columns[place]):
            name = column.name or column.letter
            sheet.inquiry.leave_out("heading not understood", f"column {name!r}")
        elif column.role == "rating" and column.heading.analyte and any(c.text for c in columns[place]):
            element = column.heading.analyte.element
            if not any(
                other.role in ("reading", "index", "ask") and other.heading.analyte.element == element
                for other in block.columns
                if other.heading.analyte
            ):
                sheet.inquiry.leave_out("a rating without its figure", f"column {column.name!r}")


def _readings(
    sheet: SoilSheet,
    block: Block,
    figures: Sequence[int],
    printed: Mapping[int, Printed],
    texts: Mapping[int, str],
    record: Record,
) -> dict[str, tuple[LabReading, ...]]:
    found: dict[str, list[tuple[int, LabReading]]] = {}
    indices: dict[int, LabReading] = {}
    for place in figures:
        heading = block.columns[place].heading
        reading = sheet.reader.reading(heading, printed[place], texts[place])
        if reading is None:
            continue
        reading = replace(
            reading,
            heading=block.columns[place].name,
            rating=reading.rating or _rating_beside(block, place, record),
        )
        if heading.role == "index" and _has_concentration(block, heading, figures):
            indices[place] = reading
        elif heading.analyte is not None:
            found.setdefault(heading.analyte.element, []).append((place, reading))
    for place, index in indices.items():
        analyte = block.columns[place].heading.analyte
        if analyte is not None and analyte.element in found:
            mine = found[analyte.element]
            mine[0] = (mine[0][0], replace(mine[0][1], index=index.printed))
        elif analyte is not None:
            found[analyte.element] = [(place, index)]
    return {element: restated([reading for _, reading in readings]) for element, readings in found.items()}


def _has_concentration(block: Block, heading: Heading, figures: Sequence[int]) -> bool:
    return any(
        block.columns[place].role == "reading" and block.columns[place].heading.analyte == heading.analyte
        for place in figures
    )


def _rating_beside(block: Block, place: int, record: Record) -> str | None:
    """Return the rating in the column named for this reading, or in an unnamed rating column right of it."""
    if record.ratings:
        return record.ratings[place] or None
    mine = block.columns[place].heading
    for at, column in enumerate(block.columns):
        theirs = column.heading
        if column.role != "rating" or not record.cells[at].text:
            continue
        named = theirs.analyte is not None and theirs.analyte == mine.analyte
        same_test = not theirs.tests or theirs.tests == mine.tests
        unnamed = theirs.analyte is None and at == place + 1
        if ((named and same_test) or unnamed) and (is_rating(record.cells[at].text) or unnamed or named):
            return record.cells[at].text
    return _rating_of_the_group(block, place, record)


def _rating_of_the_group(block: Block, place: int, record: Record) -> str | None:
    """Return the one rating under a heading that names the element of this reading."""
    group, mine = block.columns[place].group, block.columns[place].heading.analyte
    over = read_heading(group).analyte if group else None
    if over is None or mine is None or over.element != mine.element:
        return None
    rated = [
        at for at, column in enumerate(block.columns) if column.role == "rating" and column.group == group
    ]
    return (record.cells[rated[0]].text or None) if len(rated) == 1 else None


def _recommendations(
    sheet: SoilSheet,
    block: Block,
    groups: Sequence[CropColumns],
    rates: RateUnits,
    record: Record,
    printed: Mapping[int, Printed],
) -> tuple[SheetRecommendation, ...]:
    texts = [cell.text for cell in record.cells]
    found = (recommendation(block, group, texts, printed, rates, sheet.statements) for group in groups)
    return tuple(one for one in found if one is not None)


def _by_depth(block: Block, figures: Sequence[int]) -> dict[Depth | None, list[int]]:
    """Group the columns by the depth in their heading ("NO3-N 6-24 in"); one depth is that of the sample."""
    depths = [block.columns[place].heading.depth for place in figures]
    named = list(dict.fromkeys(depth for depth in depths if depth is not None))
    if len(named) == 1:
        return {named[0]: list(figures)}
    groups: dict[Depth | None, list[int]] = {} if named and None not in depths else {None: []}
    for place, depth in zip(figures, depths, strict=True):
        groups.setdefault(depth, []).append(place)
    return groups
