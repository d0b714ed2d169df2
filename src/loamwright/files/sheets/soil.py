"""Soil tests of a sheet: samples with their readings and recommendations, from upright, turned or long tables."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from loamwright.files.sheets.calendar_dates import read_printed_date
from loamwright.files.sheets.figures import Printed
from loamwright.files.sheets.grids import EMPTY, Cell
from loamwright.files.sheets.headings import Heading, read_heading
from loamwright.files.sheets.layout import Block, Column, Record
from loamwright.files.sheets.questions import NOT_KNOWN, Inquiry
from loamwright.files.sheets.readings import BUFFERS, FAMILY_TESTS, ColumnReader, is_rating, printed_numbers, slug, system_of
from loamwright.files.sheets.recommended import (
    CropColumns,
    RateUnits,
    crop_columns,
    lime_is_advised,
    rate_units,
    recommendation,
    settle_roles,
)
from loamwright.files.sheets.records import Area, Depth, Reading, Sample, SheetRecommendation
from loamwright.files.sheets.sampling_dates import (
    DATE_ROLES,
    DATED,
    SAME_AS_RECEIVED,
    Calendar,
    asked_depth,
    depth_of,
)
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.vocabulary import means, plain

_PER_AREA = ("lb/acre", "kg/ha")

_ASIDE = {
    "share": "share of the exchange capacity, not a nutrient",
    "availability": "availability index for one crop",
    "aside": "not used",
    "note": "a note of the lab",
    "skip": "not used",
}


@dataclass(slots=True)
class SoilSheet:
    """Everything needed to read the soil tables of one sheet."""

    statements: Statements
    inquiry: Inquiry
    reader: ColumnReader
    calendar: Calendar
    system: str = ""


def read_soil(blocks: Sequence[Block], statements: Statements, inquiry: Inquiry, style: bool | None) -> list[Sample]:
    """Read the samples of all soil tables of a file."""
    tables = [block if _is_long(block) else settle_roles(block, inquiry) for block in blocks]
    reader = ColumnReader(statements, inquiry)
    reader.settle_numbers((cell.text for block in tables for cell in _texts(block)), style)
    headings = [column.heading for block in tables for column in block.columns]
    sheet = SoilSheet(statements, inquiry, reader, Calendar(inquiry), system_of(headings))
    _settle_dates(sheet, tables)
    samples: list[Sample] = []
    for number, block in enumerate(tables):
        read = _long(sheet, block) if _is_long(block) else _table(sheet, block)
        samples.extend(replace(sample, table=number) for sample in read)
    return _completed(sheet, _ask_for_twins(_joined(samples, inquiry), inquiry))


def _texts(block: Block) -> Iterable[Cell]:
    figures = block.places("reading", "index", "recommendation", "lime", "ask", "result", "limit", "reporting_limit")
    return (record.cells[place] for record in block.records for place in figures if record.cells[place].number is None)


def _is_long(block: Block) -> bool:
    return {"analyte", "result"} <= block.roles()


# ---------------------------------------------------------------------------------------------
# Dates of the sheet


def _settle_dates(sheet: SoilSheet, blocks: Sequence[Block]) -> None:
    cells = [cell for role, cell in sheet.statements.pairs.items() if role in DATED]
    chains: list[list[Cell]] = [[sheet.statements.pairs[role] for role in DATE_ROLES if role in sheet.statements.pairs]]
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
    columns = ([record.cells[place] for record in block.records] for block in blocks for place in block.places(*DATED))
    sheet.calendar.settle_stored(columns, f"columns {listed}")
    known = {*names, *sheet.statements.pairs}
    if "dated" in known and "sampled" not in known:
        sheet.calendar.settle_meaning(names.get("dated", ["the date above the table"]))


# ---------------------------------------------------------------------------------------------
# Tables with one column for each analyte


def _table(sheet: SoilSheet, block: Block) -> list[Sample]:
    kept = _kept(sheet, block)
    names = {column.heading: column.name for column in block.columns}
    filled = _filled_figures(block, kept)
    _ask_about_columns(sheet, block, filled)
    block = _answered_columns(sheet, block)
    figures = [place for place in filled if block.columns[place].role in ("reading", "index", "ask")]
    sheet.reader.understand([block.columns[place].heading for place in figures], names, sheet.system)
    columns = {place: [record.cells[place] for record in kept] for place in range(len(block.columns))}
    texts = {place: printed_numbers(cells) for place, cells in columns.items()}
    styles = {place: sheet.reader.style_of(cells) for place, cells in columns.items()}
    groups = crop_columns(block)
    amounts = sorted({place for group in groups for place in group.amounts})
    printed = [
        {
            place: sheet.reader.read(record.cells[place], styles[place], block.columns[place].name, record.where)
            for place in [*figures, *amounts]
        }
        for record in kept
    ]
    limes = [cells[place] for cells in printed for place in amounts if block.columns[place].role == "lime"]
    rates = rate_units(block, groups, sheet.statements, sheet.inquiry, sheet.system, lime_is_advised(limes))
    label_place, number_place, others = _label_columns(sheet, block, kept)
    _leave_out_columns(sheet, block, columns)
    samples = []
    for row, record in enumerate(kept):
        shown = {place: texts[place][row] for place in figures}
        recommended = _recommendations(sheet, block, groups, rates, record, printed[row])
        sample = _sample(sheet, block, record, label_place, number_place, others)
        sample = replace(sample, recommendations=recommended, crop=None if recommended else sample.crop)
        for depth, places in _by_depth(block, figures).items():
            readings = _readings(sheet, block, places, printed[row], shown, record)
            if readings or depth is None:
                samples.append(replace(sample, depth=depth or sample.depth, readings=readings))
                sample = replace(sample, recommendations=())
    return samples


def _kept(sheet: SoilSheet, block: Block) -> list[Record]:
    """Records of samples; quality-control rows and sums are left out and counted."""
    kept: list[Record] = []
    checks: Counter[str] = Counter()
    wheres: dict[str, list[str]] = {}
    named = block.places("label", "lab_number", "sample_type")
    if block.turned:
        named = (*named, *block.places("analyte"))
    for record in block.records:
        kind = _not_a_sample([record.cells[place].text for place in named])
        if kind is None:
            kept.append(record)
        else:
            checks[kind] += 1
            wheres.setdefault(kind, []).append(record.where)
    for kind, count in checks.items():
        sheet.inquiry.leave_out(kind, ", ".join(wheres[kind]), count)
    return kept


def _not_a_sample(texts: Sequence[str]) -> str | None:
    for text in texts:
        bare = re.sub(r"[\s#_-]*\d+$", "", text)
        if means("quality control", bare):
            return "quality-control rows"
        if means("summary", bare.rstrip(":")):
            return "rows that sum up others"
    return None


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
    numbers = [text for text in cells if re.fullmatch(r"[<>]?\s*\d+([.,]\d+)?( [A-Z]{1,2})?", text)]
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
    for place, column in enumerate(block.columns):
        if column.role in _ASIDE and any(cell.text for cell in columns[place]):
            sheet.inquiry.leave_out(_ASIDE[column.role], f"column {column.name!r}")
        elif column.role == "unknown" and any(cell.text for cell in columns[place]):
            name = column.name or column.letter
            sheet.inquiry.leave_out("heading not understood", f"column {name!r}")


# ---------------------------------------------------------------------------------------------
# Labels


def _label_columns(
    sheet: SoilSheet, block: Block, kept: Sequence[Record]
) -> tuple[int | None, int | None, tuple[int, ...]]:
    """Choose the column that names the place, the one of the lab's number, and other names."""
    if block.turned and not block.places("label"):
        places = list(block.places("analyte"))
    else:
        places = list(block.places("label"))
    filled = [place for place in places if any(record.cells[place].text for record in kept)]
    filled.sort(key=lambda at: (not _names_places(block, at, kept), block.columns[at].heading.rank, at))
    numbers = [place for place in block.places("lab_number") if any(record.cells[place].text for record in kept)]
    number = numbers[0] if numbers else None
    if not filled:
        return None, number, ()
    label, *others = filled
    named = [place for place in filled if _names_places(block, place, kept)]
    running = [place for place in others if place not in named and block.columns[place].heading.rank in (1, 4)]
    if number is None and running and label in named:
        number = running[-1]
        others.remove(number)
    rivals = [place for place in named if place in (label, *others)]
    if len(rivals) > 1:
        listed = [block.columns[place].name for place in rivals]
        answer = sheet.inquiry.ask(
            "label", f"which column names the plot: {' or '.join(listed)}", f"columns {', '.join(listed)}", listed, listed[0]
        )
        label = next((place for place in rivals if block.columns[place].name == answer), label)
        others = [place for place in filled if place not in (label, number)]
    return label, number, tuple(others)


def _names_places(block: Block, place: int, kept: Sequence[Record]) -> bool:
    """Whether a column's texts tell samples apart and are more than running numbers."""
    texts = {record.cells[place].text for record in kept} - {""}
    return len(texts) > 1 and not all(re.fullmatch(r"[\d.]+", text) for text in texts)


# ---------------------------------------------------------------------------------------------
# One sample


def _sample(
    sheet: SoilSheet, block: Block, record: Record, label: int | None, number: int | None, others: Sequence[int]
) -> Sample:
    pairs = sheet.statements.pairs
    name = record.cells[label].text if label is not None else pairs.get("label", EMPTY).text
    lab_number = record.cells[number].text if number is not None else pairs.get("lab_number", EMPTY).text
    cells = {column.role: record.cells[place] for place, column in reversed(list(enumerate(block.columns)))}
    dates: dict[str, tuple[Cell, str]] = {}
    for role in DATED:
        cell = cells.get(role, EMPTY)
        cell = cell if cell.text else pairs.get(role, EMPTY)
        if cell.text:
            dates[sheet.calendar.meaning if role == "dated" else role] = (cell, role)
    read = {role: sheet.calendar.date(cell, record.where) for role, (cell, _) in dates.items()}
    hanging = [f"{_field(role)}" for role, (cell, _) in dates.items() if sheet.calendar.is_candidate(cell)]
    depths = {
        column.role: (record.cells[place].text, column.heading.unit)
        for place, column in enumerate(block.columns)
        if column.role in ("depth", "depth_top", "depth_bottom")
    }
    return Sample(
        name or None,
        lab_number or None,
        tuple(record.cells[place].text for place in others if record.cells[place].text),
        sampled_on=read.get("sampled"),
        received_on=read.get("received"),
        reported_on=read.get("reported"),
        dated=read.get("dated"),
        depth=depth_of(depths, sheet.statements.depth),
        area=_area(sheet, block, record),
        crop=cells["crop"].text or None if "crop" in cells else None,
        previous_crop=cells["previous_crop"].text or None if "previous_crop" in cells else None,
        texture=cells["texture"].text or None if "texture" in cells else None,
        soil_class=cells["soil_class"].text or None if "soil_class" in cells else None,
        where=record.where,
        candidates=tuple(hanging),
    )


def _field(role: str) -> str:
    return role if role == "dated" else f"{role}_on"


def _area(sheet: SoilSheet, block: Block, record: Record) -> Area | None:
    for place in block.places("area"):
        column = block.columns[place]
        printed = sheet.reader.read(record.cells[place], sheet.reader.decimal_comma, column.name, record.where)
        unit = column.heading.unit or _area_unit(column.name)
        if printed.value is not None:
            return Area(printed.value, printed.unit or unit)
    return None


def _area_unit(name: str) -> str | None:
    words = plain(name)
    return "ha" if re.search(r"\bha\b|hectare", words) else ("acre" if "acre" in words else None)


def _readings(
    sheet: SoilSheet,
    block: Block,
    figures: Sequence[int],
    printed: Mapping[int, Printed],
    texts: Mapping[int, str],
    record: Record,
) -> dict[str, tuple[Reading, ...]]:
    found: dict[str, list[tuple[int, Reading]]] = {}
    indices: dict[int, Reading] = {}
    for place in figures:
        heading = block.columns[place].heading
        reading = sheet.reader.reading(heading, printed[place], texts[place])
        if reading is None:
            continue
        reading = replace(reading, rating=reading.rating or _rating_beside(block, place, record))
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
    return None


def restated(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Mark a figure per area that stands beside the same one in ppm as the lab's own restatement."""
    done = []
    for reading in readings:
        per_area = reading.unit in _PER_AREA
        source = [r for r in readings if r.unit in ("ppm", "mg/kg") and r.extractant == reading.extractant and r.basis == reading.basis]
        if per_area and source and reading.derived_from is None:
            reading = replace(reading, derived_from=f"{source[0].unit} by the lab")
        done.append(reading)
    return tuple(sorted(done, key=lambda reading: reading.derived_from is not None and " by the lab" in reading.derived_from))


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


# ---------------------------------------------------------------------------------------------
# Long tables: one row for each sample and analyte


@dataclass(frozen=True, slots=True)
class _Result:
    """One row of a long table."""

    record: Record
    heading: Heading
    name: str
    run: float


def _long(sheet: SoilSheet, block: Block) -> list[Sample]:
    kept = _kept(sheet, block)
    results = [result for record in kept if (result := _result(sheet, block, record)) is not None]
    names = {result.heading: result.name for result in results}
    sheet.reader.understand(list(names), names, sheet.system)
    label, number, others = _label_columns(sheet, block, kept)
    samples: dict[tuple[str, ...], Sample] = {}
    figures: dict[tuple[str, ...], list[_Result]] = {}
    for result in results:
        sample = _sample(sheet, block, result.record, label, number, others)
        key = (sample.lab_number or sample.label or "", str(sample.depth))
        samples.setdefault(key, sample)
        figures.setdefault(key, []).append(result)
    return [
        replace(sample, readings=_long_readings(sheet, block, sample, figures[key])) for key, sample in samples.items()
    ]


def _cell(block: Block, record: Record, *roles: str) -> Cell:
    places = block.places(*roles)
    return record.cells[places[0]] if places else EMPTY


def _result(sheet: SoilSheet, block: Block, record: Record) -> _Result | None:
    name = _cell(block, record, "analyte").text
    texts = (name, _cell(block, record, "method").text, _cell(block, record, "units").text)
    heading = read_heading(" ".join(text for text in texts if text))
    if not heading.known or heading.analyte is None or heading.role not in ("reading", "index"):
        by_name = read_heading(name)
        if by_name.role in _ASIDE:
            sheet.inquiry.leave_out(_ASIDE[by_name.role], f"{name!r}, {record.where}")
            return None
        answer = sheet.inquiry.ask(
            f"column.{slug(name)}",
            f"what {' '.join(text for text in texts if text)!r} is: it is not understood",
            record.where,
            ("<name in other words>", "leave out"),
        )
        heading = read_heading(answer) if answer else heading
        if not heading.known or heading.analyte is None:
            sheet.inquiry.leave_out("analyte not understood", f"{name!r}, {record.where}")
            return None
    run = re.sub(r"\D", "", _cell(block, record, "run").text)
    return _Result(record, heading, name, float(run or 0))


def _long_readings(
    sheet: SoilSheet, block: Block, sample: Sample, results: Sequence[_Result]
) -> dict[str, tuple[Reading, ...]]:
    by_heading: dict[tuple[str, str | None], list[tuple[_Result, Reading]]] = {}
    order: list[str] = []
    for result in results:
        reading = _long_reading(sheet, block, result)
        if reading is None or result.heading.analyte is None:
            continue
        element = result.heading.analyte.element
        order.append(element)
        by_heading.setdefault((element, reading.extractant or reading.method), []).append((result, reading))
    found: dict[str, list[Reading]] = {element: [] for element in order}
    for (element, _), readings in by_heading.items():
        found[element].append(_standing(sheet, sample, element, readings))
    return {element: restated(readings) for element, readings in found.items()}


def _standing(sheet: SoilSheet, sample: Sample, element: str, readings: Sequence[tuple[_Result, Reading]]) -> Reading:
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


def _long_reading(sheet: SoilSheet, block: Block, result: _Result) -> Reading | None:
    cell = _cell(block, result.record, "result")
    style = sheet.reader.decimal_comma
    printed = sheet.reader.read(cell, style, result.name, result.record.where)
    reading = sheet.reader.reading(result.heading, printed)
    if reading is None:
        return None
    qualifier = _cell(block, result.record, "qualifier").text
    if qualifier.upper() in ("U", "ND", "<", "BDL"):
        return replace(reading, value=None, below=printed.value if printed.value is not None else _limit(sheet, block, result))
    if printed.not_detected and reading.below is None:
        reading = replace(reading, below=_limit(sheet, block, result), note=None)
    rating = _cell(block, result.record, "rating").text
    return replace(reading, qualifier=qualifier or None, rating=reading.rating or rating or None)


def _limit(sheet: SoilSheet, block: Block, result: _Result) -> float | None:
    """Return the row's detection limit, or its reporting limit where there is no other."""
    for role in ("limit", "reporting_limit"):
        cell = _cell(block, result.record, role)
        value = sheet.reader.read(cell, sheet.reader.decimal_comma, role, result.record.where).value
        if value is not None:
            return value
    return None


# ---------------------------------------------------------------------------------------------
# All samples of a file


def _joined(samples: Sequence[Sample], inquiry: Inquiry) -> list[Sample]:
    """Put together what several tables say of one sample: results in one, recommendations in another."""
    done: list[Sample] = []
    for sample in samples:
        place = next((at for at, other in enumerate(done) if _same_sample(other, sample)), None)
        if place is None:
            done.append(sample)
            continue
        other = done[place]
        if other.readings == sample.readings and sample.readings:
            inquiry.leave_out("the same sample on a further sheet", f"{sample.label or sample.lab_number}, {sample.where}")
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


def _ask_for_twins(samples: list[Sample], inquiry: Inquiry) -> list[Sample]:
    """Ask about a sample that stands twice: a rerun or a correction must not count twice."""
    groups: dict[tuple[str, str, str], list[int]] = {}
    for place, sample in enumerate(samples):
        name = sample.lab_number or sample.label
        if name:
            groups.setdefault((name, str(sample.depth), "" if sample.lab_number else str(sample.sampled_on)), []).append(place)
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
    undated = [at for at, sample in enumerate(done) if sample.sampled_on is None and sample.dated is None]
    if undated:
        _ask_for_day(sheet, done, undated)
    bare = [at for at, sample in enumerate(done) if sample.depth is None]
    if bare:
        answer = sheet.inquiry.ask("depth", "depth of the samples", _listed(done, bare), _DEPTHS)
        for at in bare:
            done[at] = replace(done[at], depth=asked_depth(answer))
    unmeasured = [at for at, sample in enumerate(done) if sample.depth is not None and sample.depth.unit is None]
    if unmeasured:
        likely = {"us": "in", "metric": "cm"}.get(sheet.system)
        answer = sheet.inquiry.ask("depth-unit", "unit of the depths", _listed(done, unmeasured), ("in", "cm"), likely)
        for at in unmeasured:
            depth = done[at].depth
            if depth is not None and answer is None and likely:
                done[at] = replace(done[at], depth=replace(depth, unit=likely, candidates=("unit",)))
            elif depth is not None and answer in ("in", "cm"):
                done[at] = replace(done[at], depth=replace(depth, unit=answer))
    for element in ("P", "K"):
        without = [at for at, sample in enumerate(done) if element not in sample.readings and _is_topsoil(sample)]
        if without:
            sheet.inquiry.ask(
                f"no-{element.lower()}",
                f"no {element} result for {_listed(done, without)}",
                _listed(done, without),
                ("not tested", "it comes in another file"),
            )
    return done


_DEPTHS = ("0-6 in", "0-7 in", "0-8 in", "0-10 cm", "0-15 cm", "0-20 cm", "<depth, as 0-6 in>")


def _is_topsoil(sample: Sample) -> bool:
    return sample.depth is None or sample.depth.top == 0


def _listed(samples: Sequence[Sample], places: Sequence[int]) -> str:
    if len(places) == len(samples):
        return "all samples"
    names = [samples[at].label or samples[at].lab_number or samples[at].where for at in places]
    return ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")


def _ask_for_labels(inquiry: Inquiry, samples: list[Sample]) -> None:
    for at, sample in enumerate(samples):
        if sample.label is None and sample.lab_number is None:
            answer = inquiry.ask(
                f"name.{slug(sample.where)}", "a result without a sample name", sample.where, ("<name>", "leave out")
            )
            if answer and answer not in (NOT_KNOWN, "leave out"):
                samples[at] = replace(sample, label=answer)


def _ask_for_day(sheet: SoilSheet, samples: list[Sample], undated: Sequence[int]) -> None:
    received = all(samples[at].received_on is not None for at in undated)
    known = [role for role in ("received", "reported") if any(getattr(samples[at], f"{role}_on") for at in undated)]
    if known:
        sheet.inquiry.remark(f"{' and '.join(known)} dates are there, the sampling date is not")
    choices = ("<day, as 2025-10-18>", *((SAME_AS_RECEIVED,) if received else ()))
    answer = sheet.inquiry.ask("sampled", "day of sampling", _listed(samples, undated), choices)
    given = read_printed_date(answer).in_order(None) if answer and read_printed_date(answer) else None
    for at in undated:
        day = samples[at].received_on if answer == SAME_AS_RECEIVED else given
        samples[at] = replace(samples[at], sampled_on=day)
