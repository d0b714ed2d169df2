"""One row of a soil table as a sample: its names, dates, depth and area; and which rows are no samples."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from loamwright.files.grids import EMPTY, Cell
from loamwright.files.sheets.figures import ColumnReader, slug
from loamwright.files.sheets.inquiry import Inquiry
from loamwright.files.sheets.layout import Block, Record
from loamwright.files.sheets.records import Area, LabReading, Sample
from loamwright.files.sheets.sampling_dates import DATED, Calendar, asked_depth, depth_of
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.depths import Depth
from loamwright.files.sheets.words.headings import read_heading
from loamwright.files.sheets.words.vocabulary import means, plain

#: Units of a figure per area, which a lab works out from a concentration.
_PER_AREA = ("lb/acre", "kg/ha")

#: Roles of columns that are understood and not taken, with the reason.
ASIDE = {
    "share": "share of the exchange capacity, not a nutrient",
    "availability": "availability index for one crop",
    "aside": "not used",
    "note": "a note of the lab",
    "skip": "not used",
}


@dataclass(slots=True)
class SoilSheet:
    """Everything needed to read the soil tables of one sheet.

    `asked_for_day` holds the places of samples of whose printed day it was asked which it is.
    """

    statements: Statements
    inquiry: Inquiry
    reader: ColumnReader
    calendar: Calendar
    system: str = ""
    asked_for_day: set[str] = field(default_factory=set)


def sample_records(sheet: SoilSheet, block: Block) -> list[Record]:
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
        bare = re.sub(r"[\s#_-]*[0-9]+$", "", text)
        if means("quality control", bare):
            return "quality-control rows"
        if means("summary", bare.rstrip(":")):
            return "rows that sum up others"
    return None


def label_columns(
    sheet: SoilSheet, block: Block, kept: Sequence[Record]
) -> tuple[int | None, int | None, tuple[int, ...]]:
    """Choose the column that names the place, the one of the lab's number, and other names."""
    if block.turned and not block.places("label"):
        places = list(block.places("analyte"))
    else:
        places = list(block.places("label"))
    filled = [place for place in places if any(record.cells[place].text for record in kept)]
    filled.sort(key=lambda at: (not _names_places(block, at, kept), block.columns[at].heading.rank, at))
    numbers = [
        place for place in block.places("lab_number") if any(record.cells[place].text for record in kept)
    ]
    number = numbers[0] if numbers else None
    if not filled:
        return (_asked_label(sheet, block, kept) if number is None else None), number, ()
    label, *others = filled
    named = [place for place in filled if _names_places(block, place, kept)]
    running = [
        place for place in others if place not in named and block.columns[place].heading.rank in (1, 4)
    ]
    if number is None and running and label in named:
        number = running[-1]
        others.remove(number)
    rivals = [place for place in named if place in (label, *others)]
    if len(rivals) > 1:
        listed = [block.columns[place].name for place in rivals]
        answer = sheet.inquiry.ask(
            "label",
            f"which column names the plot: {' or '.join(listed)}",
            f"columns {', '.join(listed)}",
            listed,
            listed[0],
        )
        label = next((place for place in rivals if block.columns[place].name == answer), label)
        others = [place for place in filled if place not in (label, number)]
    return label, number, tuple(others)


def _asked_label(sheet: SoilSheet, block: Block, kept: Sequence[Record]) -> int | None:
    """Ask which column names the plots where no heading says so; the first of texts is the candidate."""
    places = [
        place
        for place, column in enumerate(block.columns)
        if column.role in ("unknown", "aside") and column.name and _names_places(block, place, kept)
    ]
    if not places:
        return None
    names = [block.columns[place].name for place in places]
    answer = sheet.inquiry.ask(
        "label",
        f"which column names the plot: {' or '.join(names)}",
        f"columns {', '.join(names)}",
        names,
        names[0],
    )
    return next((place for place in places if block.columns[place].name == (answer or names[0])), None)


def _names_places(block: Block, place: int, kept: Sequence[Record]) -> bool:
    """Whether a column's texts tell samples apart and are more than running numbers."""
    texts = {record.cells[place].text for record in kept} - {""}
    return len(texts) > 1 and not all(re.fullmatch(r"[0-9.]+", text) for text in texts)


def sample_of(
    sheet: SoilSheet,
    block: Block,
    record: Record,
    label: int | None,
    number: int | None,
    others: Sequence[int],
) -> Sample:
    """Read what a row says of its sample, all but the results."""
    pairs = sheet.statements.pairs
    name = record.cells[label].text if label is not None else ""
    if not name or (block.turned and read_heading(name).role == "result"):
        name = pairs.get("label", EMPTY).text
    lab_number = record.cells[number].text if number is not None else pairs.get("lab_number", EMPTY).text
    cells = {column.role: record.cells[place] for place, column in reversed(list(enumerate(block.columns)))}
    dates: dict[str, tuple[Cell, str]] = {}
    for role in DATED:
        cell = cells.get(role, EMPTY)
        cell = cell if cell.text else pairs.get(role, EMPTY)
        if cell.text:
            dates[sheet.calendar.meaning if role == "dated" else role] = (cell, role)
    read = {role: sheet.calendar.date(cell, record.where) for role, (cell, _) in dates.items()}
    days = [cell.text for role, (cell, _) in dates.items() if role in ("sampled", "dated")]
    if sheet.calendar.asked_days.intersection(days):
        sheet.asked_for_day.add(record.where)
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
        depth=_depth(sheet, record, depths),
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
        printed = sheet.reader.read(
            record.cells[place], sheet.reader.decimal_comma, column.name, record.where
        )
        unit = column.heading.unit or _area_unit(column.name)
        if printed.value is not None:
            return Area(printed.value, printed.unit or unit)
    return None


def _area_unit(name: str) -> str | None:
    words = plain(name)
    return "ha" if re.search(r"\bha\b|hectare", words) else ("acre" if "acre" in words else None)


def restated(readings: Sequence[LabReading]) -> tuple[LabReading, ...]:
    """Mark a figure per area, of the oxide too, that stands beside one in ppm: the lab restated it."""
    done = []
    for reading in readings:
        per_area = reading.unit in _PER_AREA
        source = [r for r in readings if r.unit in ("ppm", "mg/kg") and r.extractant == reading.extractant]
        if per_area and source and reading.derived_from is None:
            reading = replace(reading, derived_from=f"{source[0].unit} by the lab")
        done.append(reading)
    return tuple(
        sorted(
            done,
            key=lambda reading: reading.derived_from is not None and " by the lab" in reading.derived_from,
        )
    )


def _depth(sheet: SoilSheet, record: Record, texts: dict[str, tuple[str, str | None]]) -> Depth | None:
    """Read a record's depth; a cell that holds none is asked about: 6-1 may have become a day in June."""
    found = depth_of(texts, sheet.statements.depth)
    shown = texts.get("depth", ("", None))[0]
    if found is not None or not shown or means("not tested", shown):
        return found
    date = read_printed_date(shown) is not None
    why = ": a spreadsheet may have made a date of it" if date else ""
    answer = sheet.inquiry.ask(
        f"depth.{slug(shown)}",
        f"which depth {shown!r} is{why}",
        f"{record.where}, depth",
        ("<depth, as 0-6 in>",),
        accepts=lambda text: asked_depth(text) is not None,
    )
    return asked_depth(answer)
