"""Scale tickets of a quarry or dealer: loads, and the guaranteed analysis printed with them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from loamwright.errors import UnitError
from loamwright.files.grids import EMPTY, Cell, Line
from loamwright.files.sheets.figures import ColumnReader, slug, system_of
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.layout import Block, Record
from loamwright.files.sheets.records import Delivery, SheetProduct
from loamwright.files.sheets.sampling_dates import Calendar
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.words.guarantees import read_guarantee_line, read_guarantees
from loamwright.files.sheets.words.vocabulary import means
from loamwright.units import TON_KG, parse_mass, parse_quantity

_LB_PER_TON, _KG_PER_T = 2000, 1000

#: An answer to what a load weighs: its own weight, with a unit.
_A_WEIGHT = "<net weight, as 15.6 tons>"

#: Units of an answer that is kept in tonnes.
_METRIC = frozenset({"t", "tonne", "tonnes", "metric ton", "metric tons", "kg", "kilogram", "kilograms"})

#: A guarantee in a cell of its own is no longer than this [characters]: sentences promise other things.
_SHORT = 30

#: Tickets are weighed to the next 20 lb; a hundredth of a ton is that.
_SCALE_TON = 0.011


@dataclass(frozen=True, slots=True)
class Tickets:
    """What a sheet of tickets says."""

    product: SheetProduct | None
    deliveries: tuple[Delivery, ...]


@dataclass(frozen=True, slots=True)
class _Weight:
    """What a scale showed, in tons or tonnes."""

    value: float
    unit: Literal["tons", "t"]

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"

    @property
    def kg(self) -> float:
        """The same in the unit that tons and tonnes share."""
        return self.value * (TON_KG if self.unit == "tons" else _KG_PER_T)


@dataclass(frozen=True, slots=True)
class _Net:
    """Net weight of a load, a doubt about it, and what it may be instead."""

    weight: _Weight | None = None
    doubt: str | None = None
    choices: tuple[_Weight, ...] = ()


def read_tickets(blocks: Sequence[Block], statements: Statements, inquiry: Inquiry) -> Tickets:
    """Read the loads and the analysis of a sheet of tickets."""
    reader = ColumnReader(statements, inquiry)
    system = system_of(column.heading for block in blocks for column in block.columns)
    records = [record for block in blocks for record in block.records]
    reader.settle_numbers((cell.text for record in records for cell in record.cells), system)
    loads = [(block, record) for block in blocks if "ticket" in block.roles() for record in block.records]
    calendar = Calendar(inquiry)
    cells = [_cell(block, record, "dated") for block, record in loads]
    calendar.settle(cells, (), system, "date of the tickets")
    deliveries = []
    for block, record in loads:
        if any(means("void", cell.text) for cell in record.cells):
            inquiry.leave_out("void ticket", record.where)
        elif any(means("summary", cell.text.rstrip(":")) for cell in record.cells):
            inquiry.leave_out("sum of the tickets", record.where)
        elif not _cell(block, record, "ticket").text and not _cell(block, record, "dated", "sampled").text:
            inquiry.leave_out("a weight without ticket and day: a sum", record.where)
        else:
            deliveries.append(_delivery(block, record, reader, calendar))
    product = _product(blocks, statements, inquiry)
    _name_columns_left(blocks, product, inquiry)
    return Tickets(product, tuple(deliveries))


#: What a ticket's columns may hold and be taken.
_TAKEN = frozenset(
    {"ticket", "dated", "sampled", "plot", "label", "note", "gross", "tare", "net", "product", "material"}
)


def _other_columns(block: Block) -> Iterator[tuple[str, list[str]]]:
    """Columns of a table of tickets that hold anything else, with the different texts in them."""
    for place, column in enumerate(block.columns):
        texts = list(dict.fromkeys(record.cells[place].text for record in block.records))
        if column.role not in _TAKEN and any(texts):
            yield column.name, [text for text in texts if text]


def _name_columns_left(blocks: Sequence[Block], product: SheetProduct | None, inquiry: Inquiry) -> None:
    """Say which columns of the tickets are not taken; a guarantee that all of them repeat is."""
    for block in blocks:
        for name, texts in _other_columns(block) if "ticket" in block.roles() else ():
            found = read_guarantee_line(name, texts[0]) if len(texts) == 1 else None
            if product is None or found is None or product.analysis.get(found[0]) != found[1]:
                inquiry.leave_out("a column of the tickets: enter it by hand", f"{name!r}")


def _cell(block: Block, record: Record, *roles: str) -> Cell:
    places = block.places(*roles)
    return record.cells[places[0]] if places else EMPTY


def _delivery(block: Block, record: Record, reader: ColumnReader, calendar: Calendar) -> Delivery:
    ticket = _cell(block, record, "ticket").text
    net = _net(block, record, reader)
    weight = net.weight
    candidates = ["date"] if calendar.is_candidate(_cell(block, record, "dated")) else []
    if net.doubt:
        choices = (*dict.fromkeys(str(choice) for choice in net.choices), _A_WEIGHT)
        ident = f"weight.{slug(ticket)}"
        answer = reader.inquiry.ask(ident, net.doubt, record.where, choices, accepts=_is_weight)
        if answer is None:
            candidates.append("net_tons")
        else:
            weight = None if answer == NOT_KNOWN else _answered(answer)
    return Delivery(
        ticket,
        calendar.date(_cell(block, record, "dated", "sampled"), record.where),
        weight.value if weight is not None and weight.unit == "tons" else None,
        weight.value if weight is not None and weight.unit == "t" else None,
        plot=_cell(block, record, "plot", "label").text or None,
        note=_cell(block, record, "note").text or None,
        candidates=tuple(candidates),
    )


def _is_weight(answer: str) -> bool:
    try:
        return parse_mass(answer) > 0
    except UnitError:
        return False


def _answered(answer: str) -> _Weight:
    if parse_quantity(answer).unit.casefold() in _METRIC:
        return _Weight(parse_mass(answer) / _KG_PER_T, "t")
    return _Weight(parse_mass(answer) / TON_KG, "tons")


def _net(block: Block, record: Record, reader: ColumnReader) -> _Net:
    """Read the net weight, held against gross less tare and against itself in the other unit."""
    found: list[_Weight] = []
    unknown: _Net | None = None
    for place in block.places("net"):
        column = block.columns[place]
        value = reader.read(record.cells[place], reader.decimal_comma, column.name, record.where).value
        if value is None:
            continue
        if weight := _weight(value, column.heading.unit):
            found.append(weight)
        else:
            doubt = f"the unit of {column.name!r}: {record.cells[place].text}"
            unknown = _Net(None, doubt, (_Weight(value, "tons"), _Weight(value, "t")))
    if not found:
        return unknown or _Net()
    found = [weight for weight in found if weight.unit == "tons"] or found
    net = [weight for weight in found if round(weight.value, 2) == weight.value] or found
    values = [weight.value for weight in found]
    if max(values) - min(values) > _SCALE_TON:
        doubt = f"the net weights of the ticket differ: {' and '.join(map(str, found))}"
        return _Net(net[-1], doubt, tuple(found))
    gross, tare = _shown(block, record, reader, "gross"), _shown(block, record, reader, "tare")
    if gross is not None and tare is not None:
        less = _Weight(round((gross.kg - tare.kg) / _Weight(1, net[-1].unit).kg, 4), net[-1].unit)
        if abs(less.value - net[-1].value) > _SCALE_TON:
            doubt = f"net {net[-1]} is not gross {gross} less tare {tare}"
            return _Net(net[-1], doubt, tuple(one for one in (net[-1], less) if one.value > 0))
    return _Net(net[-1])


def _weight(value: float, unit: str | None) -> _Weight | None:
    if unit in ("ton", "lb"):
        return _Weight(value / _LB_PER_TON if unit == "lb" else value, "tons")
    if unit in ("t", "kg"):
        return _Weight(value / _KG_PER_T if unit == "kg" else value, "t")
    return None


def _shown(block: Block, record: Record, reader: ColumnReader, role: str) -> _Weight | None:
    """Read the gross or the tare weight."""
    for place in block.places(role):
        column = block.columns[place]
        value = reader.read(record.cells[place], reader.decimal_comma, column.name, record.where).value
        if value is not None and (weight := _weight(value, column.heading.unit)):
            return weight
    return None


# ---------------------------------------------------------------------------------------------
# Analysis


def _product(blocks: Sequence[Block], statements: Statements, inquiry: Inquiry) -> SheetProduct | None:
    analysis: dict[str, float] = {}
    for text in (cell.text for block in blocks for line in block.around for cell in line.cells):
        if len(text) <= _SHORT and (found := read_guarantees(text)).lime:  # "RNV 67" in a cell of its own
            analysis |= found.analysis
        elif len(text) > _SHORT and re.search(r"[0-9]\s*%", text):
            inquiry.leave_out("a guarantee in a sentence: enter it by hand", f"{text!r}")
    for name, value in _pairs(blocks):
        guaranteed = read_guarantee_line(name, value)
        if guaranteed is not None:
            analysis.setdefault(*guaranteed)
    names = Counter(
        _cell(block, record, "product").text
        for block in blocks
        if "ticket" in block.roles()
        for record in block.records
    )
    names.pop("", None)
    material = statements.pairs.get("material", EMPTY).text
    if not names and material:
        names[material] += 1
    if not names and not analysis:
        return None
    product = names.most_common(1)[0][0] if names else "lime"
    analysis = {**read_guarantees(product).analysis, **analysis}
    return SheetProduct(product, "lime" if _is_lime(analysis, product) else None, analysis)


def _is_lime(analysis: dict[str, float], product: str) -> bool:
    scores = {"cce", "nv", "enp", "ecce", "ecc", "enm", "env", "rnv", "ep"}
    return bool(scores & {name.removesuffix("_lb_ton") for name in analysis}) or "lime" in product.casefold()


def _pairs(blocks: Sequence[Block]) -> Iterable[tuple[str, str]]:
    """Names with values beside them: lines of two cells, tables without tickets, what all tickets repeat."""
    for block in blocks:
        for line in block.around:
            yield from _line_pairs(line)
        if "ticket" not in block.roles():
            for record in block.records[:1]:
                for column, cell in zip(block.columns, record.cells, strict=True):
                    yield column.name, cell.text
        else:
            yield from ((name, texts[0]) for name, texts in _other_columns(block) if len(texts) == 1)


def _line_pairs(line: Line) -> Iterable[tuple[str, str]]:
    texts = [line.text(place) for place in line.filled]
    if len(texts) == 2:
        yield texts[0], texts[1]
    for text in texts:
        name, mark, value = text.partition(":")
        if mark and value.strip():
            yield name, value.strip()
