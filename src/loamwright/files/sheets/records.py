"""What a sheet says, as records: samples, readings, recommendations, offers, deliveries, questions.

The records keep what was printed, in the printed unit and on the printed basis; nothing is converted. A
field that hangs on an open question holds the likely answer and is named in `candidates`. One walk,
`as_data`, turns any record into plain data for JSON.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

from loamwright.files.sheets.words.depths import ALWAYS, Depth


@dataclass(frozen=True, slots=True)
class Area:
    """An area as printed."""

    value: float
    unit: str | None


@dataclass(frozen=True, slots=True)
class LabReading:
    """One figure of a lab, as printed and as understood.

    Parameters
    ----------
    printed
        Text of the cell.
    value
        The number [`unit`]; None when it is below or above a limit, or was not understood.
    unit
        Word of the vocabulary; None when the sheet does not say, and for pH.
    extractant, method
        The test: extractant of a nutrient, method of pH, buffer, organic matter, exchange capacity.
    basis
        What the figure is a figure of where it is not the element ("P2O5").
    below, above
        Limit of a figure given as "<1" or ">200"; never a value.
    rating, index, qualifier
        The lab's rating, its index beside a concentration, its remark code, as printed.
    as_printed
        Name the sheet uses where it differs from the name it is kept under ("SO4-S").
    derived_from
        What the lab calculated it from; None when it was measured.
    state
        "as received" or "dry", for manure.
    unit_inferred
        True when the sheet names no unit and every lab prints this one.
    note
        What else a person should know.
    candidates
        Fields that hang on an open question.
    heading
        The heading it stood under, for people.
    """

    printed: str
    value: float | None = field(metadata=ALWAYS)
    unit: str | None = field(metadata=ALWAYS)
    extractant: str | None = None
    method: str | None = None
    basis: str | None = None
    below: float | None = None
    above: float | None = None
    rating: str | None = None
    index: str | None = None
    qualifier: str | None = None
    as_printed: str | None = None
    derived_from: str | None = None
    state: str | None = None
    unit_inferred: bool = False
    note: str | None = None
    candidates: tuple[str, ...] = ()
    heading: str = field(default="", metadata={"hidden": True})


@dataclass(frozen=True, slots=True)
class SheetAmount:
    """A recommended amount: a value, a range, or a flag whose meaning the sheet does not give."""

    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str | None = None
    basis: str | None = None
    target_ph: float | None = None
    purpose: str | None = field(default=None, metadata={"name": "for"})
    flag: str | None = None
    candidates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetRecommendation:
    """The lab's own recommendation for one crop.

    `amounts` holds nutrients as the sheet names them ("P2O5") and "lime"; several lime rates, by target pH
    or use, stand in `lime_options`, of which a person must choose.
    """

    crop: str | None = field(metadata=ALWAYS)
    yield_goal: str | None = None
    amounts: Mapping[str, SheetAmount] = field(default_factory=dict, metadata={"flat": True})
    lime_options: tuple[SheetAmount, ...] = ()


@dataclass(frozen=True, slots=True)
class Sample:
    """One soil sample: one depth of one place on one day."""

    label: str | None = field(metadata=ALWAYS)
    lab_number: str | None = field(default=None, metadata=ALWAYS)
    other_labels: tuple[str, ...] = ()
    sampled_on: dt.date | None = field(default=None, metadata=ALWAYS)
    received_on: dt.date | None = None
    reported_on: dt.date | None = None
    dated: dt.date | None = None
    depth: Depth | None = field(default=None, metadata=ALWAYS)
    area: Area | None = None
    crop: str | None = None
    previous_crop: str | None = None
    texture: str | None = None
    soil_class: str | None = None
    at: tuple[float, ...] = ()
    readings: Mapping[str, tuple[LabReading, ...]] = field(default_factory=dict, metadata=ALWAYS)
    recommendations: tuple[SheetRecommendation, ...] = field(default=(), metadata=ALWAYS)
    corrects_earlier: bool = False
    notes: tuple[str, ...] = ()
    where: str = field(default="", metadata={"hidden": True})
    table: int = field(default=0, metadata={"hidden": True})
    candidates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ManureSample:
    """One manure, litter or compost analysis.

    `readings` are what may be used, one for each nutrient; `also_printed` says the same in another form
    (P beside P2O5) and must not be added.
    """

    label: str | None = field(metadata=ALWAYS)
    lab_number: str | None = None
    material: str | None = None
    sampled_on: dt.date | None = field(default=None, metadata=ALWAYS)
    received_on: dt.date | None = None
    reported_on: dt.date | None = None
    moisture_pct: float | None = None
    dry_matter_pct: float | None = None
    readings: Mapping[str, LabReading] = field(default_factory=dict, metadata=ALWAYS)
    also_printed: Mapping[str, LabReading] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    candidates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetProduct:
    """A product with its guaranteed analysis, as a quarry prints it under its tickets."""

    product: str
    form: str | None = None
    analysis: Mapping[str, float] = field(default_factory=dict, metadata={"flat": True})


@dataclass(frozen=True, slots=True)
class SheetOffer:
    """One line of a price sheet.

    `analysis` holds percentages by weight under "n", "p2o5", "cce", "passing_8" and so on, and lime scores
    in pounds per ton under names that say so.
    """

    product: str
    analysis: Mapping[str, float] = field(default_factory=dict, metadata={"flat": True})
    form: str | None = None
    price: float | None = field(default=None, metadata=ALWAYS)
    currency: str | None = None
    per: str | None = None
    package: str | None = None
    density_lb_gal: float | None = None
    density_kg_l: float | None = None
    min_order: str | None = None
    in_stock: bool | None = None
    note: str | None = None
    candidates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Delivery:
    """One load over a scale."""

    ticket: str
    date: dt.date | None = field(default=None, metadata=ALWAYS)
    net_tons: float | None = None
    net_t: float | None = None
    product: str | None = None
    plot: str | None = None
    note: str | None = None
    candidates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """Something the sheet does not tell, asked once.

    Parameters
    ----------
    id
        Name an answer is given under: ``unit``, ``depth``, ``test.K``.
    about
        What is asked.
    where
        Columns, rows or cells it is about.
    choices
        Answers that can be given; a choice in angle brackets stands for a text of that kind.
    likely
        The answer the values were filled in with; None when there is none.
    """

    id: str
    about: str
    where: str
    choices: tuple[str, ...] = field(metadata=ALWAYS)
    likely: str | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Rows, columns or sheets that were not taken, and why."""

    what: str
    where: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class SheetContents:
    """Everything one file says.

    Parameters
    ----------
    file
        Its name.
    kind
        "soil tests", "manure analysis", "products" or "lime tickets".
    lab, report
        Laboratory and report number; None when the file does not say.
    seller, priced_on, currency
        Of a price sheet or tickets.
    encoding
        Character set, where it is not UTF-8.
    samples
        Soil samples, or manure samples.
    offers, charges, product, deliveries
        Of a price sheet or tickets.
    questions
        What is asked, each once.
    left_out
        What was not taken.
    remarks
        What a person should know about what was taken.
    headings
        The headings, by which a profile knows the next file of this lab.
    answered
        Answers it was read with, by question id.
    """

    file: str
    kind: str
    lab: str | None = field(default=None, metadata=ALWAYS)
    report: str | None = None
    seller: str | None = None
    priced_on: dt.date | None = None
    currency: str | None = None
    encoding: str | None = None
    samples: tuple[Sample, ...] | tuple[ManureSample, ...] = field(default=(), metadata=ALWAYS)
    offers: tuple[SheetOffer, ...] = field(default=(), metadata=ALWAYS)
    charges: Mapping[str, str] = field(default_factory=dict)
    product: SheetProduct | None = None
    deliveries: tuple[Delivery, ...] = ()
    questions: tuple[Question, ...] = field(default=(), metadata=ALWAYS)
    left_out: tuple[LeftOut, ...] = field(default=(), metadata=ALWAYS)
    remarks: tuple[str, ...] = field(default=(), metadata=ALWAYS)
    headings: tuple[str, ...] = field(default=(), metadata={"hidden": True})
    answered: Mapping[str, str] = field(default_factory=dict, metadata={"hidden": True})


def _is_default(content: Any, default: Any) -> bool:
    return content is default or (type(content) is type(default) and content == default)


def as_data(value: Any) -> Any:
    """Turn a record into plain data: dictionaries, lists, texts, numbers.

    Parameters
    ----------
    value
        A record of this file, or what it holds.

    Returns
    -------
    object
        Fields by name; what is not stated is left out, except where its absence is an answer.

    Examples
    --------
    >>> as_data(LabReading("<1", None, "ppm", below=1.0))
    {'printed': '<1', 'value': None, 'unit': 'ppm', 'below': 1.0}
    """
    if is_dataclass(value) and not isinstance(value, type):
        data: dict[str, Any] = {}
        for item in fields(value):
            content = getattr(value, item.name)
            if item.metadata.get("hidden"):
                continue
            if item.metadata.get("flat"):
                data |= as_data(content)
            elif item.metadata.get("always") or not (_is_default(content, item.default) or content == {}):
                data[item.metadata.get("name", item.name)] = as_data(content)
        return data
    if isinstance(value, Mapping):
        return {key: as_data(content) for key, content in value.items()}
    if isinstance(value, (tuple, list)):
        return [as_data(content) for content in value]
    return value.isoformat() if isinstance(value, dt.date) else value
