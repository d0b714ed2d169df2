"""The sheet of a user's own standard rates: crop, nutrient, rate, who, date, why.

A rate of it serves where the lab and the chosen publications give no figure, or leave a range to choose
from; it is named as the user's, with who set it, when and why. The sheet is read as an edition of its own,
so that a need can be walked back to its row.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loamwright.errors import InputError, Problem, has_errors
from loamwright.files.fields import Fields
from loamwright.files.named_columns import headings, rows_of
from loamwright.files.textrows import Table, read_table
from loamwright.files.whole import write_whole
from loamwright.needs import (
    Chosen,
    Crop,
    Guideline,
    RateRow,
    RateTable,
    Region,
    Status,
    read_chosen,
    write_chosen,
)
from loamwright.units import LB_ACRE_KG_HA
from loamwright.values import Nutrient, PropertyInfo, Source

COLUMNS = ("crop", "nutrient", "rate", "who", "date", "why")
_EXAMPLES = (("crop", "brassica"), ("who", "your name"), ("why", "the reason, or the publication"))
_ALIASES = {"by": "who", "set_by": "who", "on": "date", "reason": "why", "note": "why"}


@dataclass(frozen=True, slots=True)
class OwnRate:
    """One standard rate of the user.

    Parameters
    ----------
    crop
        As the user calls it.
    nutrient
        Which nutrient, as labels name it.
    rate_kg_ha, rate_text
        The rate [kg/ha], and as written.
    who, set_on, why
        Who set it, when, and why.
    """

    crop: str
    nutrient: Nutrient
    rate_kg_ha: float
    rate_text: str
    who: str
    set_on: dt.date
    why: str


def is_own_rates(table: Table) -> bool:
    """Tell whether a table has the columns of the sheet."""
    found = headings(table, COLUMNS, _ALIASES).places
    return {"crop", "nutrient", "rate"} <= found.keys() and ("who" in found or "why" in found)


def own_rates_from(table: Table) -> tuple[tuple[OwnRate, ...], tuple[Problem, ...]]:
    """Read the sheet; a row without a rate is still to be filled and passed over."""
    rows, problems = rows_of(table, COLUMNS, _ALIASES, COLUMNS)
    rates: list[OwnRate] = []
    seen: dict[tuple[str, Nutrient], int] = {}
    for row in rows:
        if not row.text("rate"):
            continue
        rate = read_own_rate(row)
        if rate is None:
            continue
        key = (rate.crop.casefold(), rate.nutrient)
        if key in seen:
            what = f"{rate.nutrient} of {rate.crop} stands in row {seen[key]} already"
            row.problem("nutrient", what, "Keep one row.")
        seen.setdefault(key, row.line)
        rates.append(rate)
    return tuple(rates), tuple(problems)


def read_own_rate(row: Fields) -> OwnRate | None:
    """Read one rate; None, with problems, when anything is missing or cannot be read."""
    crop, who, why = (row.required(name, example) for name, example in _EXAMPLES)
    nutrient = row.word("nutrient", Nutrient)
    if not row.text("nutrient"):
        row.required("nutrient", "N")
    rate_kg_ha = row.quantity("rate", "rate")
    set_on = row.date("date")
    if not row.text("date"):
        row.required("date", "2026-03-01")
    if row.bad or nutrient is None or rate_kg_ha is None or set_on is None:
        return None
    return OwnRate(crop, nutrient, rate_kg_ha, row.text("rate"), who, set_on, why)


def as_guideline(name: str, rates: Sequence[OwnRate]) -> Guideline:
    """Make the edition that answers with the sheet's rates."""
    crops = {rate.crop.casefold(): rate.crop for rate in rates}
    return Guideline(
        guideline_id=name,
        publisher="Your own",
        title="standard rates",
        edition=max((rate.set_on for rate in rates), default=dt.date.min).isoformat() if rates else "",
        url="",
        short="Your standard rates",
        status=Status.USER,
        region=Region("yours"),
        crops=tuple(map(Crop, crops.values())),
        tables=tuple(_table(rate, crops[rate.crop.casefold()]) for rate in rates),
        standard_rates=True,
    )


def _table(rate: OwnRate, crop: str) -> RateTable:
    metric = "ha" in rate.rate_text.casefold()
    value = rate.rate_kg_ha if metric else rate.rate_kg_ha / LB_ACRE_KG_HA
    row = RateRow({}, {}, round(value, 9), rate.why, 0)
    source = Source("user", rate.set_on.isoformat(), f"standard rates, set by {rate.who}", rate.rate_text)
    return RateTable(rate.nutrient, (crop,), "kg/ha" if metric else "lb/acre", (row,), source)


def load_own_rates(path: Path) -> Guideline:
    """Load the sheet as an edition.

    Raises
    ------
    InputError
        When the sheet cannot be read or a row cannot be used.
    """
    rates, problems = own_rates_from(read_table(path))
    if has_errors(problems):
        raise InputError(problems)
    return as_guideline(str(path), rates)


def with_sheet(info: PropertyInfo, sheet: Path) -> PropertyInfo:
    """Add a sheet to the guidelines a property asks."""
    entries = read_chosen(info.settings.guideline)
    chosen = Chosen(str(sheet.resolve()))
    setting = write_chosen((*(one for one in entries if one != chosen), chosen))
    return replace(info, settings=replace(info.settings, guideline=setting))


def add_own_rate(path: Path, rate: OwnRate) -> None:
    """Write one rate to the sheet, in place of an earlier one for the same crop and nutrient."""
    held: list[OwnRate] = []
    if path.exists():
        read, problems = own_rates_from(read_table(path))
        if has_errors(problems):
            raise InputError(problems)
        held = list(read)
    key = (rate.crop.casefold(), rate.nutrient)
    write_sheet(path, [*(one for one in held if (one.crop.casefold(), one.nutrient) != key), rate])


def write_sheet(path: Path, rates: Sequence[OwnRate], to_fill: Sequence[tuple[str, str]] = ()) -> None:
    """Write the sheet: the rates, then a row for each crop and nutrient that still has none."""
    rows = [(r.crop, r.nutrient.value, r.rate_text, r.who, r.set_on.isoformat(), r.why) for r in rates]
    blank = [(crop, nutrient, "", "", "", "") for crop, nutrient in to_fill]
    held = io.StringIO()
    csv.writer(held, lineterminator="\n").writerows([COLUMNS, *rows, *blank])
    write_whole(path, held.getvalue())
