"""Manure, litter and compost analyses: per sample and nutrient the one figure that may be used.

Labs print one result several times: dry and as received, in percent and in pounds per ton, as P and as
P2O5, and as their own estimate of the first year. The figure as received in a unit of the product is
taken; the other form is kept beside it; estimates are left out, for availability is reckoned later.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from loamwright.files.grids import EMPTY, Cell
from loamwright.files.sheets.figures import ColumnReader, system_of
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.layout import Block, Record
from loamwright.files.sheets.records import LabReading, ManureSample
from loamwright.files.sheets.sampling_dates import DATE_ROLES, DATED, Calendar
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.words.figures import Printed
from loamwright.files.sheets.words.headings import Heading, read_heading
from loamwright.files.sheets.words.measures import find_units, read_unit, unit_named
from loamwright.files.sheets.words.vocabulary import Analyte, mentions, plain, tokens, vocabulary

AS_RECEIVED, DRY = "as received", "dry"
_PRODUCT_UNITS = (
    "lb/ton",
    "kg/t",
    "lb/1000 gal",
    "kg/m3",
    "lb/acre-inch",
    "%",
    "g/L",
    "lb/100 gal",
    "ppm",
    "mg/kg",
)
_UNIT_CHOICES = ("lb/ton", "lb/1000 gal", "kg/t", "kg/m3", "%", "g/kg DM")

#: Elements whose oxide is what fertilizer is reckoned in; of the others the element is.
_OXIDE_FIRST = frozenset({"P", "K"})


@dataclass(frozen=True, slots=True)
class _Entry:
    """One printed figure: of which sample, which analyte, in which unit and state."""

    sample: int
    analyte: Analyte
    unit: str | None
    state: str | None
    estimate: str | None
    cell: Cell
    where: str
    heading: str = ""
    candidates: tuple[str, ...] = ()


def is_manure(blocks: Iterable[Block], texts: Iterable[str]) -> bool:
    """Tell whether tables are of manure: by what is analysed, the states, or the words around."""
    names = {
        column.heading.analyte.name for block in blocks for column in block.columns if column.heading.analyte
    }
    units = {unit for block in blocks for column in block.columns for unit in column.heading.units}
    of_product = any(unit in vocabulary().units and unit_named(unit).measures == "product" for unit in units)
    signs = (
        bool(names & {"dry matter", "moisture"}),
        bool(names & {"organic N", "NH4-N"}) and bool(names & {"N", "P2O5", "P"}),
        of_product,
        any(mentions("manure", text) for text in texts),
        any(column.heading.state for block in blocks for column in block.columns),
    )
    return sum(signs) >= 2 and not names & {"buffer pH", "CEC"}


def read_manure(blocks: Sequence[Block], statements: Statements, inquiry: Inquiry) -> list[ManureSample]:
    """Read the manure samples of a file."""
    reader = ColumnReader(statements, inquiry)
    cells = [
        cell for block in blocks for record in block.records for cell in record.cells if cell.number is None
    ]
    reader.settle_numbers(
        (cell.text for cell in cells), system_of(c.heading for b in blocks for c in b.columns)
    )
    calendar = Calendar(inquiry)
    samples: list[ManureSample] = []
    for block in blocks:
        entries, heads = _turned(block) if block.turned else _upright(block)
        _settle_dates(calendar, block, statements)
        entries = _settled(entries, statements, inquiry)
        for number, record in heads.items():
            mine = [entry for entry in entries if entry.sample == number]
            samples.append(_sample(block, record, mine, statements, reader, calendar))
    _say_what_was_left(blocks, inquiry)
    return samples


# ---------------------------------------------------------------------------------------------
# Entries


@dataclass(frozen=True, slots=True)
class _Head:
    """One sample as the table names it."""

    label: str | None
    record: Record | None


def _upright(block: Block) -> tuple[list[_Entry], dict[int, _Head]]:
    labels = sorted(block.places("label"), key=lambda place: block.columns[place].heading.rank)
    entries, heads = [], {}
    for number, record in enumerate(block.records):
        label = next((record.cells[place].text for place in labels if record.cells[place].text), None)
        heads[number] = _Head(label, record)
        for place, column in enumerate(block.columns):
            heading = column.heading
            if heading.analyte is not None and heading.role in ("reading", "recommendation", "share"):
                beside = _unit_beside(block, record) if not heading.units else ()
                column_head = replace(heading, units=beside or heading.units)
                entries.append(_entry(number, heading, column_head, record.cells[place], record.where))
    return entries, heads


def _unit_beside(block: Block, record: Record) -> tuple[str, ...]:
    """The unit in a row's own column of units, for all its nutrients."""
    for place in block.places("units"):
        if (found := read_unit(record.cells[place].text)) is not None:
            return found.names
    return ()


def _turned(block: Block) -> tuple[list[_Entry], dict[int, _Head]]:
    """Read a table with analytes down: over each column of figures stand its sample, state and unit."""
    tops = [place for place, column in enumerate(block.columns) if column.heading.analyte is None]
    carried = dict.fromkeys(tops, "")
    entries: list[_Entry] = []
    heads: dict[int, _Head] = {}
    numbers: dict[str, int] = {}
    for record in block.records:
        for place in tops:
            carried[place] = record.cells[place].text or carried[place]
        over = [read_heading(text) for place in tops if (text := carried[place])]
        names = [heading.text for heading in over if not _is_column_kind(heading)]
        name = " ".join(names)
        number = numbers.setdefault(name, len(numbers))
        heads.setdefault(number, _Head(name or None, None))
        kind = _together([heading for heading in over if _is_column_kind(heading)])
        for place, column in enumerate(block.columns):
            if column.heading.analyte is not None and column.role in ("reading", "share"):
                entries.append(_entry(number, column.heading, kind, record.cells[place], record.where))
    return entries, heads


def _is_column_kind(heading: Heading) -> bool:
    """Whether a text over a column of figures says how they are printed, not whose they are."""
    words = tokens(find_units(heading.text).rest)
    for kind in ("state", "estimate", "filler"):
        _, words = vocabulary().words[kind].take(words)
    stated = (
        heading.state or heading.estimate or heading.units or heading.role in ("result", "analyte", "units")
    )
    return bool(stated) and not words


def _together(headings: Sequence[Heading]) -> Heading:
    return Heading(
        "",
        units=tuple(unit for heading in headings for unit in heading.units),
        state=next((heading.state for heading in headings if heading.state), None),
        estimate=next((heading.estimate for heading in headings if heading.estimate), None),
    )


def _entry(sample: int, row: Heading, column: Heading, cell: Cell, where: str) -> _Entry:
    assert row.analyte is not None
    unit = column.unit or row.unit
    state = column.state or row.state
    return _Entry(sample, row.analyte, unit, state, column.estimate or row.estimate, cell, where, row.text)


def _is_estimate(entry: _Entry) -> bool:
    """Of a manure "available N" is what a crop gets of it, not what is in it."""
    return entry.analyte.name != "NH4-N" and re.search(r"\bavail", plain(entry.heading)) is not None


def _settled(entries: list[_Entry], statements: Statements, inquiry: Inquiry) -> list[_Entry]:
    """Give each entry its unit and state: by the unit, by a sentence, else asked once."""
    done: list[_Entry] = []
    for entry in entries:
        if not entry.cell.text or entry.estimate or _is_estimate(entry):
            continue
        unit, state = entry.unit, entry.state
        candidates: list[str] = []
        if unit is None and entry.analyte.kind == "nutrient":
            unit = statements.unit_for(entry.analyte)
            if unit is None:
                answer = inquiry.ask(
                    "unit", "unit of the nutrients", "all columns without a unit", _UNIT_CHOICES
                )
                unit = None if answer == NOT_KNOWN else answer
        if unit == "g/kg DM":
            state = DRY
        elif state is None and unit is not None and "/" in unit and unit.partition("/")[2] in _VOLUMES:
            state = AS_RECEIVED
        if state is None and entry.analyte.kind == "nutrient":
            state = statements.state
            if state is None:
                answer = inquiry.ask(
                    "state",
                    "whether the figures are as received or of dry matter",
                    "all nutrients",
                    (AS_RECEIVED, DRY),
                    AS_RECEIVED,
                )
                state = AS_RECEIVED if answer is None else (None if answer == NOT_KNOWN else answer)
                candidates = ["state"] if answer is None else []
        done.append(replace(entry, unit=unit, state=state, candidates=tuple(candidates)))
    return done


#: A figure per volume is of the material as it is.
_VOLUMES = frozenset({"1000 gal", "100 gal", "m3", "L", "acre-inch", "gal"})


# ---------------------------------------------------------------------------------------------
# Samples


def _sample(
    block: Block,
    head: _Head,
    entries: Sequence[_Entry],
    statements: Statements,
    reader: ColumnReader,
    calendar: Calendar,
) -> ManureSample:
    best: dict[str, tuple[_Entry, Printed]] = {}
    for entry in entries:
        printed = reader.read(entry.cell, reader.decimal_comma, entry.analyte.name, entry.where)
        if printed.blank:
            continue
        name = entry.analyte.name
        if name not in best or _preference(entry) < _preference(best[name][0]):
            best[name] = entry, printed
    readings: dict[str, LabReading] = {}
    beside: dict[str, LabReading] = {}
    for name, (entry, printed) in best.items():
        if entry.analyte.kind != "nutrient" and name != "organic N":
            continue
        other = _other_form(entry.analyte, best)
        target = beside if other else readings
        target[name] = _reading(entry, printed)
    dates = {role: _cell(block, head, role, statements) for role in DATE_ROLES}
    if calendar.meaning in dates and not dates[calendar.meaning].text:
        dates[calendar.meaning] = _cell(block, head, "dated", statements)
    days = {role: calendar.date(cell, cell.text) for role, cell in dates.items()}
    material = (
        _cell(block, head, "material", statements).text or _cell(block, head, "sample_type", statements).text
    )
    return ManureSample(
        head.label or statements.pairs.get("label", EMPTY).text or None,
        _cell(block, head, "lab_number", statements).text or None,
        material or None,
        days["sampled"],
        days["received"],
        days["reported"],
        _percent(best.get("moisture")),
        _percent(best.get("dry matter")),
        readings,
        beside,
        candidates=tuple(f"{role}_on" for role, cell in dates.items() if calendar.is_candidate(cell)),
    )


def _preference(entry: _Entry) -> tuple[int, int]:
    """As received before not stated before dry; a unit of the product before percent."""
    states = (AS_RECEIVED, None, DRY)
    unit = _PRODUCT_UNITS.index(entry.unit) if entry.unit in _PRODUCT_UNITS else len(_PRODUCT_UNITS)
    return states.index(entry.state), unit


def _other_form(analyte: Analyte, best: dict[str, tuple[_Entry, Printed]]) -> bool:
    """Whether the same element stands in the form it is reckoned in as well."""
    forms = {
        entry.analyte.form == "oxide"
        for entry, _ in best.values()
        if entry.analyte.element == analyte.element
    }
    if len(forms) < 2:
        return False
    return (analyte.form == "oxide") != (analyte.element in _OXIDE_FIRST)


def _reading(entry: _Entry, printed: Printed) -> LabReading:
    understood = printed.value is not None or printed.below is not None
    return LabReading(
        printed.printed,
        printed.value,
        entry.unit,
        below=printed.below,
        state=entry.state,
        note=None if understood else "not understood as a figure",
        candidates=entry.candidates,
        heading=entry.heading,
    )


def _percent(found: tuple[_Entry, Printed] | None) -> float | None:
    if found is None or found[1].value is None:
        return None
    entry, value = found[0], found[1].value
    return round(value / 10, 6) if entry.unit in ("g/kg", "g/kg DM", "g/L", "kg/t") else value


def _cell(block: Block, head: _Head, role: str, statements: Statements) -> Cell:
    if head.record is not None:
        for place in block.places(role):
            if head.record.cells[place].text:
                return head.record.cells[place]
    return statements.pairs.get(role, EMPTY)


def _settle_dates(calendar: Calendar, block: Block, statements: Statements) -> None:
    cells = [record.cells[place] for record in block.records for place in block.places(*DATED)]
    cells.extend(cell for role, cell in statements.pairs.items() if role in DATED)
    headings = [column.heading for column in block.columns]
    calendar.settle(cells, (), system_of(headings), "the dates of this sheet")
    known = {*block.roles(), *statements.pairs}
    if "dated" in known and "sampled" not in known:
        names = [block.columns[place].name for place in block.places("dated")]
        calendar.settle_meaning(names or ["the date above the table"])


def _say_what_was_left(blocks: Sequence[Block], inquiry: Inquiry) -> None:
    texts = [
        cell.text
        for block in blocks
        for record in block.records
        for cell in record.cells
        if cell.number is None
    ]
    texts.extend(column.name for block in blocks for column in block.columns)
    found = (mentions("estimate", text) for text in texts)
    for word in dict.fromkeys(word.meaning for word in found if word):
        inquiry.leave_out(word, "columns of that kind")
        inquiry.remark(f"{word} is for one way of spreading; it is not part of the analysis")
    if any(mentions("state", text) and read_heading(text).state == DRY for text in texts):
        inquiry.leave_out(
            "figures of dry matter, where the same is printed as received", "columns of that kind"
        )
    for block in blocks:
        for column in block.columns:
            analyte = column.heading.analyte
            if (
                analyte is not None
                and analyte.kind != "nutrient"
                and analyte.name not in ("moisture", "dry matter", "organic N")
            ):
                inquiry.leave_out("no nutrient of a manure", f"{column.name!r}")
