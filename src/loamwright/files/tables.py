"""What the columns of the user's tables mean: soil tests, organic inputs, applications; and which is which.

This file answers "what did the user bring in this table?" and turns its rows into records with a
problem for every cell that cannot be used. Rows without an error are always returned, for showing;
whether a file with errors is imported is the caller's decision (`errors.has_errors`). Files are read
by `textrows`, cells by `fields`, price lists by `pricelists`.

Columns, matched whatever their case (``…`` stands for a nutrient: n, p2o5, k2o, s, ca, mg, b, zn, mn;
``#`` for an element: p, k, s, ca, mg, b, zn, mn, cu, fe, no3_n):

===============  ====================================================================================
soil tests       test_id plot_id part sampled_on lab depth texture ph buffer_ph buffer_method
                 organic_matter_pct cec acidity · # #_unit #_extractant #_basis · extractant and unit
                 for all elements of the row · rec_… rec_unit rec_lime rec_lime_unit credits_taken
organic inputs   input_id plot_id applied_on material method amount …_lb_per_ton available_…_pct
applications     entry_id plot_id product done applied_on time_of_day timing amount area cost operator
                 equipment method ground weather forecast note reason replaces recorded_at line_id
products         see `pricelists`
===============  ====================================================================================
"""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import re
from collections.abc import Collection, Mapping
from typing import Literal

from loamwright.errors import Level, Problem, UnitError
from loamwright.files.fields import BOUNDS, Fields, key_of, shown
from loamwright.files.label_figures import ANALYSIS
from loamwright.files.named_columns import headings, rows_of
from loamwright.files.pricelists import PASSING, PRODUCT_ALIASES, PRODUCT_FIELDS
from loamwright.files.sheets.words.vocabulary import vocabulary
from loamwright.files.textrows import Table
from loamwright.needs import read_lab_lime
from loamwright.planning import FixedPass
from loamwright.soil import (
    INDEX_UNITS,
    WITHOUT_TABLE,
    LabRecommendation,
    Missing,
    OrganicInput,
    Reading,
    SoilTest,
    read_buffer,
    read_extractant,
    read_unit,
)
from loamwright.units import convert, read_number
from loamwright.values import Nutrient, Quantity, Timing
from loamwright.work import Amount, Application, Done, PropertyRecord, read_amount

TableKind = Literal["soil tests", "products", "organic inputs", "applications"]

#: Elements a lab reads, by column name.
ELEMENTS = {
    "p": "P",
    "k": "K",
    "s": "S",
    "ca": "Ca",
    "mg": "Mg",
    "b": "B",
    "zn": "Zn",
    "mn": "Mn",
    "cu": "Cu",
    "fe": "Fe",
    "no3_n": "NO3-N",
}
_NUTRIENTS = {nutrient.value.lower(): nutrient for nutrient in Nutrient}

_COMMON_ALIASES = {"plot": "plot_id", "field": "plot_id", "field_id": "plot_id", "plotid": "plot_id"}

_SOIL_ALIASES = _COMMON_ALIASES | {
    "lab_number": "test_id",
    "lab_no": "test_id",
    "sample_id": "test_id",
    "date": "sampled_on",
    "sampled": "sampled_on",
    "sample_date": "sampled_on",
    "laboratory": "lab",
    "soil_ph": "ph",
    "ph_water": "ph",
    "water_ph": "ph",
    "buffer_index": "buffer_ph",
    "ph_buffer": "buffer_ph",
    "buffer": "buffer_method",
    "om": "organic_matter_pct",
    "om_pct": "organic_matter_pct",
    "organic_matter": "organic_matter_pct",
    "cec_meq_100g": "cec",
    "acidity_meq_100g": "acidity",
    "phosphorus": "p",
    "potassium": "k",
    "nitrate_n": "no3_n",
}
_SOIL_FIELDS = (
    *("test_id", "plot_id", "part", "sampled_on", "lab", "depth", "texture", "ph", "buffer_ph"),
    *("buffer_method", "organic_matter_pct", "cec", "acidity", "extractant", "unit"),
    *(f"{element}{suffix}" for element in ELEMENTS for suffix in ("", "_unit", "_extractant", "_basis")),
    *(f"rec_{nutrient}" for nutrient in _NUTRIENTS),
    *("rec_unit", "rec_lime", "rec_lime_unit", "credits_taken"),
)
_ORGANIC_ALIASES = _COMMON_ALIASES | {"date": "applied_on", "manure": "material", "rate": "amount"}
_ORGANIC_FIELDS = (
    *("input_id", "plot_id", "applied_on", "material", "method", "amount"),
    *(f"{nutrient}_lb_per_ton" for nutrient in _NUTRIENTS),
    *(f"available_{nutrient}_pct" for nutrient in _NUTRIENTS),
)
_APPLICATION_ALIASES = _COMMON_ALIASES | {
    "date": "applied_on",
    "time": "time_of_day",
    "status": "done",
    "mass": "amount",
    "weight": "amount",
    "who": "operator",
    "notes": "note",
    "ground_state": "ground",
    "acres": "area_acres",
}
_APPLICATION_TEXTS = (
    *("line_id", "time_of_day", "operator", "equipment", "method", "ground", "weather", "forecast"),
    *("note", "reason", "replaces", "recorded_at"),
)
_APPLICATION_FIELDS = (
    *("entry_id", "plot_id", "product", "done", "applied_on", "timing", "amount", "mass_kg"),
    *("area", "area_acres", "area_m2", "cost", "part", "withdrawn", *_APPLICATION_TEXTS),
)


def kind_of(table: Table) -> TableKind | None:
    """Tell what a table holds from its columns."""

    def has(aliases: Mapping[str, str], *names: str) -> bool:
        found = headings(table, names, aliases).places
        return all(name in found for name in names)

    if has(_APPLICATION_ALIASES, "plot_id", "product", "applied_on"):
        return "applications"
    if has(_ORGANIC_ALIASES, "plot_id", "material"):
        return "organic inputs"
    priced = headings(table, PRODUCT_FIELDS, PRODUCT_ALIASES, (ANALYSIS,)).places
    if "product" in priced and len(priced) > 1 and not has(_COMMON_ALIASES, "plot_id"):
        return "products"
    known = headings(table, _SOIL_FIELDS, _SOIL_ALIASES).places
    if "plot_id" in known and any(
        name in known for name in ("ph", "sampled_on", "rec_unit", "depth", *ELEMENTS)
    ):
        return "soil tests"
    return None


def is_ours(table: Table, kind: TableKind) -> bool:
    """Tell whether every column of a table is one of ours: then nothing in it needs a lab's reader."""
    if kind == "products":
        found = headings(table, PRODUCT_FIELDS, PRODUCT_ALIASES, (PASSING, ANALYSIS))
        return "package" in found.places
    named = {key_of(column) for column in table.columns}
    return bool({"plot_id", "entry_id"} & named)


def _is_first(row: Fields, name: str, key: str, what: str, fix: str, lines: dict[str, int]) -> bool:
    """Tell whether a row is the first with its key; say so when it is not."""
    if key in lines:
        row.problem(name, f"row {lines[key]} is the same {what}: {key!r}", fix)
        return False
    lines[key] = row.line
    return True


def _plot_id(row: Fields, plot_ids: Collection[str]) -> str:
    plot_id = row.required("plot_id", "AF-01")
    if plot_id and plot_id not in plot_ids:
        near = sorted(difflib.get_close_matches(plot_id, plot_ids, n=3))
        meant = " or ".join(map(repr, near))
        fix = f"Is {meant} meant?" if near else "Import the plots first, or correct the id."
        row.problem("plot_id", f"there is no plot {plot_id!r} on this property", fix)
    return plot_id


# ---------------------------------------------------------------------------------------------
# Soil tests


def soil_tests_from(
    table: Table, plot_ids: Collection[str], today: dt.date = dt.date.max
) -> tuple[tuple[SoilTest, ...], tuple[Problem, ...]]:
    """Read soil tests; one of a day to come is none."""
    rows, problems = rows_of(table, _SOIL_FIELDS, _SOIL_ALIASES, ("plot_id",))
    tests: list[SoilTest] = []
    lines: dict[str, int] = {}
    fix = "Delete one of the rows, or write the lab's number of each sample in test_id."
    for row in rows:
        test = _soil_test(row, plot_ids)
        if test.sampled_on is not None and test.sampled_on > today:
            what = f"{test.sampled_on} is still to come, so nothing was sampled then"
            row.problem("sampled_on", what, "Write the day the cores were taken.")
        if not row.bad and _is_first(row, "test_id", test.test_id, "sample", fix, lines):
            tests.append(test)
    return tuple(tests), tuple(problems)


def _soil_test(row: Fields, plot_ids: Collection[str]) -> SoilTest:
    plot_id = _plot_id(row, plot_ids)
    sampled_on, part, lab = row.date("sampled_on"), row.text("part"), row.text("lab")
    top, bottom = row.read("depth", parse_depth) or (None, None)
    readings = {
        symbol: reading
        for element, symbol in ELEMENTS.items()
        if (reading := _reading(row, element, symbol)) is not None
    }
    made_id = " ".join(filter(None, (plot_id, str(sampled_on or "undated"), part, lab)))
    test = SoilTest(
        test_id=row.text("test_id") or made_id,
        plot_id=plot_id,
        sampled_on=sampled_on,
        lab=lab,
        depth_top_m=top,
        depth_bottom_m=bottom,
        ph=row.number("ph", "pH"),
        buffer_ph=row.number("buffer_ph", "pH"),
        buffer_method=_buffer_method(row),
        organic_matter_pct=row.percent("organic_matter_pct"),
        cec_meq_100g=row.number("cec", "charge"),
        acidity_meq_100g=row.number("acidity", "charge"),
        readings=readings,
        recommendation=_recommendation(row),
        part=part,
        texture=row.text("texture"),
    )
    figures = (test.ph, test.buffer_ph, test.organic_matter_pct, test.cec_meq_100g, test.acidity_meq_100g)
    if not row.bad and not readings and test.recommendation is None and figures == (None,) * 5:
        row.problem("", "the row holds no figure of a soil test", "Fill it in, or delete the row.")
    return test


def _buffer_method(row: Fields) -> str | None:
    text = row.text("buffer_method")
    if text and read_buffer(text) is None:
        row.problem(
            "buffer_method",
            f"the buffer {text!r} is not known here; the figure is kept, but no lime table can use it",
            "Write the buffer as the lab report names it, for example Sikora or SMP.",
            Level.WARNING,
        )
    if not text and row.text("buffer_ph"):
        row.problem(
            "buffer_method",
            f"the buffer of buffer pH {row.text('buffer_ph')!r} is not stated",
            "Write the buffer as the lab report names it, for example Sikora or SMP.",
            Level.WARNING,
        )
    return text or None


def _reading(row: Fields, element: str, symbol: str) -> Reading | None:
    figured = row.limited(element, "reading")
    if figured is None:
        return None
    sign, value = figured
    figure = row.text(element)
    unit = row.text(f"{element}_unit") or row.text("unit")
    extractant = row.text(f"{element}_extractant") or row.text("extractant")
    if not unit:
        row.problem(
            f"{element}_unit",
            f"the unit of {symbol} {figure} is missing",
            f"Write it in the column {element}_unit as the lab prints it: ppm, mg/kg, lb/acre or kg/ha.",
        )
    elif read_unit(unit) is None:
        row.problem(
            f"{element}_unit",
            f"the unit {unit!r} of {symbol} {figure} is not understood",
            "Write ppm, mg/kg, lb/acre or kg/ha; mg/l, mg/100 g; an index with its laboratory, as NC index.",
        )
    if not extractant and (read_unit(unit) in INDEX_UNITS or symbol == "NO3-N"):
        pass  # an index says which test it is of; nitrate dissolves in water, and no table asks for its test
    elif not extractant:
        row.problem(
            f"{element}_extractant",
            f"the extractant of {symbol} {figure} {unit} is missing".replace("  ", " "),
            f"Write it in the column {element}_extractant as the lab names it, "
            f"for example {'Bray P1' if symbol == 'P' else 'Mehlich-3'}.",
        )
    elif (known := read_extractant(extractant)) is None or known in WITHOUT_TABLE:
        if known is not None or ("nutrient", extractant) in vocabulary().test_names:
            what = f"no built-in table is written for {symbol} by {extractant}; the figure is kept"
            fix = "Use the lab's recommendation, or a guideline of your own for that test."
        else:
            what = f"the extractant {extractant!r} is not known here; it is kept, but no table can use it"
            fix = "Write it as the lab report names it, for example Bray P1, Olsen or Mehlich-3."
        row.problem(
            f"{element}_extractant",
            what,
            fix,
            Level.WARNING,
        )
    return Reading(value, unit, extractant or None, row.text(f"{element}_basis") or symbol, sign)


def _recommendation(row: Fields) -> LabRecommendation | None:
    stated = {
        nutrient: ends
        for name, nutrient in _NUTRIENTS.items()
        if (ends := row.ranged(f"rec_{name}", "recommended rate")) is not None
    }
    unit = row.text("rec_unit")
    if stated and not unit:
        listed = ", ".join(f"{nutrient} {low:g}" for nutrient, (low, _) in stated.items())
        row.problem(
            "rec_unit",
            f"the unit of the lab's recommendation ({listed}) is missing",
            "Write lb/acre or kg/ha.",
        )
    elif stated:
        row.read("rec_unit", _rate_unit)
    lime = row.number("rec_lime", "recommended lime")
    lime_unit = row.text("rec_lime_unit")
    if lime is not None and not lime_unit:
        row.problem(
            "rec_lime_unit",
            f"the unit of the lab's lime recommendation ({lime:g}) is missing",
            "Write it as printed, for example lb ENP/acre or ton/acre.",
        )
    elif lime is not None and isinstance(read := read_lab_lime(Quantity(lime, lime_unit)), Missing):
        row.problem("rec_lime_unit", read.reason, "Write it as printed, for example lb ENP/acre or ton/acre.")
    credits_taken = row.yes_no("credits_taken")
    if not stated and lime is None:
        return None
    return LabRecommendation(
        {nutrient: Quantity(low, unit) for nutrient, (low, _) in stated.items()},
        Quantity(lime, lime_unit) if lime is not None else None,
        credits_taken,
        {nutrient: high for nutrient, (_, high) in stated.items() if high is not None},
    )


def _rate_unit(unit: str) -> float:
    try:
        return convert(1.0, unit, "kg/ha")
    except UnitError as error:
        raise UnitError(f"{unit!r} is not a mass per area; write for example lb/acre") from error


def parse_depth(text: str) -> tuple[float, float]:
    """Read the slice a sample was taken from.

    Parameters
    ----------
    text
        ``"0-6 in"``, ``"0 to 15 cm"``; one figure is a slice from the surface down.

    Returns
    -------
    tuple of float
        Top and bottom [m].

    Raises
    ------
    UnitError
        When it is no depth, has no thickness, or is beyond any depth sampled.

    Examples
    --------
    >>> parse_depth("0-6 in")
    (0.0, 0.1524)
    """
    figure = r"\d+(?:[.,]\d+)?"
    match = re.fullmatch(rf"(?:({figure})\s*(?:-|–|to)\s*)?({figure})\s*([a-zA-Z\"'.]+)", text.strip())
    try:
        if match is None:
            raise UnitError(text)
        unit = {'"': "in", "'": "ft"}.get(match[3], match[3].rstrip("."))
        top, bottom = (convert(read_number(part or "0"), unit, "ft") for part in match.group(1, 2))
    except UnitError as error:
        raise UnitError(f"the depth {shown(text)} is not understood", "write for example 0-6 in") from error
    if bottom <= top:
        raise UnitError(f"the depth {shown(text)} has no thickness", "write for example 0-6 in")
    if refusal := BOUNDS["depth"].refusal(f"the depth {shown(text)}", bottom):
        raise refusal
    return round(convert(top, "ft", "m"), 9), round(convert(bottom, "ft", "m"), 9)


# ---------------------------------------------------------------------------------------------
# Organic inputs


def organic_inputs_from(
    table: Table, plot_ids: Collection[str]
) -> tuple[tuple[OrganicInput, ...], tuple[Problem, ...]]:
    """Read manure, litter and compost put on plots."""
    needed = ("plot_id", "applied_on", "material", "amount")
    rows, problems = rows_of(table, _ORGANIC_FIELDS, _ORGANIC_ALIASES, needed)
    inputs: list[OrganicInput] = []
    lines: dict[str, int] = {}
    fix = "Delete one of the rows, or give each its own input_id."
    for row in rows:
        plot_id = _plot_id(row, plot_ids)
        row.stated("applied_on", "2026-04-12")
        row.stated("amount", "3 ton/acre")
        day, material = row.date("applied_on"), row.required("material", "beef")
        amount = row.amount("amount", "spread")
        analysis = {
            nutrient: value
            for name, nutrient in _NUTRIENTS.items()
            if (value := row.number(f"{name}_lb_per_ton", "content per ton")) is not None
        }
        available = {
            nutrient: value
            for name, nutrient in _NUTRIENTS.items()
            if (value := row.percent(f"available_{name}_pct")) is not None
        }
        if row.bad or day is None or amount is None:
            continue
        input_id = row.text("input_id") or f"{plot_id} {day.isoformat()} {material}"
        if _is_first(row, "input_id", input_id, "input", fix, lines):
            method = row.text("method")
            inputs.append(OrganicInput(input_id, plot_id, day, material, method, amount, analysis, available))
    return tuple(inputs), tuple(problems)


# ---------------------------------------------------------------------------------------------
# Applications


def applications_from(
    table: Table, plot_ids: Collection[str], record: PropertyRecord
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    """Read what was spread.

    Parameters
    ----------
    table
        The table. A row without entry_id gets one made from its content, so that reading the same
        file again gives the same ids.
    plot_ids
        Plots of the property; another plot is an error.
    record
        The property, for amounts in packages, by volume, or so much on every acre.

    Returns
    -------
    applications : tuple of Application
        From the rows without an error.
    problems : tuple of Problem
        In row order.
    """
    needed = ("plot_id", "product", "applied_on", "done")
    rows, problems = rows_of(table, _APPLICATION_FIELDS, _APPLICATION_ALIASES, needed)
    applications: list[Application] = []
    lines: dict[str, int] = {}
    fix = "Delete one of the rows; if both happened, give each its own entry_id."
    for row in rows:
        entry = _application(row, plot_ids, record)
        if entry is not None and _is_first(row, "entry_id", entry.entry_id, "entry", fix, lines):
            applications.append(entry)
    return tuple(applications), tuple(problems)


def _application(row: Fields, plot_ids: Collection[str], record: PropertyRecord) -> Application | None:
    plot_id, product = _plot_id(row, plot_ids), row.required("product", "Urea 46-0-0")
    row.stated("applied_on", "2026-05-02")
    row.stated("done", "done, part or not done")
    day, done, timing = row.date("applied_on"), row.word("done", Done), row.word("timing", Timing)
    area_m2, cost = _area_m2(row), row.money("cost")
    written: list[Amount] = []

    def amount(text: str) -> float:
        comma = row.decimal_comma("amount")
        written.append(read_amount(text, product, plot_id or "", area_m2, record, comma))
        return written[0].mass_kg

    mass_kg = row.quantity("amount", "mass", amount)
    for one in written:
        row.add(one.told(row.place("amount"), row.text("amount"), record.info.units))
    if mass_kg is None:
        mass_kg = row.number("mass_kg", "mass", "kg")
    if mass_kg is None and done is Done.NOT_DONE:
        mass_kg = 0.0
    if mass_kg is None and not row.bad:
        row.problem("amount", "the amount is blank", "Write what was spread, for example 150 lb.")
    if mass_kg and done is Done.NOT_DONE:
        row.problem(
            "done",
            f"not done, but the amount is {row.text('amount')!r}",
            "Write part, or an amount of 0 lb.",
        )
    if row.bad or day is None or done is None or mass_kg is None:
        return None
    texts = {name: row.text(name) for name in _APPLICATION_TEXTS}
    part = row.text("part")
    # An entry in packages stays the same entry when another package is bought or planned later.
    said: object = row.text("amount") if any(one.packages for one in written) else mass_kg
    content = (plot_id, product, done, day, timing or "", said, area_m2, cost, *texts.values())
    content = (*content, part) if part else content  # ids of tables from before parts stay
    made_id = f"table-{hashlib.sha256(repr(content).encode()).hexdigest()[:16]}"
    return Application(
        entry_id=row.text("entry_id") or made_id,
        plot_id=plot_id,
        product=product,
        done=done,
        applied_on=day,
        mass_kg=mass_kg,
        timing=timing,
        area_m2=area_m2,
        cost=cost,
        part=part,
        withdrawn=row.yes_no("withdrawn") or False,
        **texts,
    )


def _area_m2(row: Fields) -> float | None:
    area_m2 = row.quantity("area", "area")
    if area_m2 is None:
        area_m2 = row.number("area_acres", "area", "acre")
    return row.number("area_m2", "area", "m2") if area_m2 is None else area_m2


# ---------------------------------------------------------------------------------------------
# Passes somebody has decided on


def passes_from(
    table: Table, plot_ids: Collection[str], products: Collection[str]
) -> tuple[tuple[FixedPass, ...], tuple[Problem, ...]]:
    """Read a list of passes: so much of a product on a plot, at a time.

    Parameters
    ----------
    table
        The table, with plot_id, product and amount; timing may be blank.
    plot_ids, products
        Of the property; others are errors.

    Returns
    -------
    passes : tuple of FixedPass
        From the rows without an error.
    problems : tuple of Problem
        In row order.
    """
    needed = ("plot_id", "product", "amount")
    rows, problems = rows_of(table, (*needed, "timing"), _APPLICATION_ALIASES, needed)
    passes: list[FixedPass] = []
    for row in rows:
        plot_id, product = _plot_id(row, plot_ids), row.required("product", "Urea 46-0-0")
        if product and product not in products:
            known = ", ".join(sorted(products))
            what = f"{product!r} is not a product of the property"
            row.problem("product", what, f"Use one of: {known}.")
        mass_kg, timing = row.quantity("amount", "mass"), row.word("timing", Timing)
        if not row.bad and not (mass_kg and mass_kg > 0):
            row.problem("amount", f"{row.text('amount')!r} is no amount", "Write for example 150 lb.")
        if not row.bad and mass_kg is not None:
            passes.append(FixedPass(plot_id, product, mass_kg, timing))
    return tuple(passes), tuple(problems)
