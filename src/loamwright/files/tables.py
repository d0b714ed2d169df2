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

import difflib
import hashlib
import re
from collections.abc import Collection, Iterable, Mapping
from typing import Literal

from loamwright.errors import Level, Problem, UnitError
from loamwright.files.fields import Fields, Headings, Notes, headings, unknown_columns
from loamwright.files.pricelists import PRODUCT_ALIASES, PRODUCT_FIELDS
from loamwright.files.textrows import Table
from loamwright.needs import read_lab_lime
from loamwright.planning import FixedPass
from loamwright.soil import (
    LabRecommendation,
    Missing,
    OrganicInput,
    Reading,
    SoilTest,
    read_buffer,
    read_extractant,
    read_unit,
)
from loamwright.units import convert, parse_mass, parse_quantity, parse_rate
from loamwright.values import Nutrient, Quantity, Timing
from loamwright.work import Application, Done

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
    "test_id",
    "plot_id",
    "part",
    "sampled_on",
    "lab",
    "depth",
    "texture",
    "ph",
    "buffer_ph",
    "buffer_method",
    "organic_matter_pct",
    "cec",
    "acidity",
    "extractant",
    "unit",
    *(f"{element}{suffix}" for element in ELEMENTS for suffix in ("", "_unit", "_extractant", "_basis")),
    *(f"rec_{nutrient}" for nutrient in _NUTRIENTS),
    "rec_unit",
    "rec_lime",
    "rec_lime_unit",
    "credits_taken",
)
_ORGANIC_ALIASES = _COMMON_ALIASES | {"date": "applied_on", "manure": "material", "rate": "amount"}
_ORGANIC_FIELDS = (
    "input_id",
    "plot_id",
    "applied_on",
    "material",
    "method",
    "amount",
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
    "line_id",
    "time_of_day",
    "operator",
    "equipment",
    "method",
    "ground",
    "weather",
    "forecast",
    "note",
    "reason",
    "replaces",
    "recorded_at",
)
_APPLICATION_FIELDS = (
    "entry_id",
    "part",
    "withdrawn",
    "plot_id",
    "product",
    "done",
    "applied_on",
    "timing",
    "amount",
    "mass_kg",
    "area",
    "area_acres",
    "area_m2",
    "cost",
    *_APPLICATION_TEXTS,
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
    priced = headings(table, PRODUCT_FIELDS, PRODUCT_ALIASES).places
    if "product" in priced and len(priced) > 1 and not has(_COMMON_ALIASES, "plot_id"):
        return "products"
    known = headings(table, _SOIL_FIELDS, _SOIL_ALIASES).places
    if "plot_id" in known and any(
        name in known for name in ("ph", "sampled_on", "rec_unit", "depth", *ELEMENTS)
    ):
        return "soil tests"
    return None


def _begin(
    table: Table, fields: Iterable[str], aliases: Mapping[str, str], needed: Iterable[str]
) -> tuple[Headings, Notes]:
    """Match the headings; say what is missing, doubled or not used, and that a table has no rows."""
    columns = headings(table, fields, aliases)
    notes = Notes([*table.problems, *columns.problems, *unknown_columns(table, columns, kept=False)])
    for name in needed:
        if name not in columns.places:
            notes.problems.append(
                Problem(
                    f"{table.path.name}, heading",
                    f"there is no column {name!r} among {', '.join(map(repr, table.columns))}",
                    f"Add a column named {name}.",
                )
            )
    if not table.rows:
        notes.problems.append(
            Problem(table.path.name, "the table has a heading but no rows", "Add one row for each item.")
        )
    return columns, notes


def _plot_id(fields: Fields, plot_ids: Collection[str]) -> str:
    plot_id = fields.required("plot_id", "AF-01")
    if plot_id and plot_id not in plot_ids:
        near = sorted(difflib.get_close_matches(plot_id, plot_ids, n=3))
        known = (
            f"Is {' or '.join(map(repr, near))} meant?"
            if near
            else "Import the plots first, or correct the id."
        )
        fields.problem("plot_id", f"there is no plot {plot_id!r} on this property", known)
    return plot_id


# ---------------------------------------------------------------------------------------------
# Soil tests


def soil_tests_from(
    table: Table, plot_ids: Collection[str]
) -> tuple[tuple[SoilTest, ...], tuple[Problem, ...]]:
    """Read soil tests."""
    columns, notes = _begin(table, _SOIL_FIELDS, _SOIL_ALIASES, ("plot_id",))
    tests: list[SoilTest] = []
    rows: dict[str, int] = {}
    for index in range(len(table.rows)) if "plot_id" in columns.places else ():
        fields = Fields(table, index, columns, notes)
        test = _soil_test(fields, plot_ids)
        if test.test_id in rows and not fields.bad:
            fields.problem(
                "test_id",
                f"row {rows[test.test_id]} is the same sample: {test.test_id!r}",
                "Delete one of the rows, or write the lab's number of each sample in test_id.",
            )
        if not fields.bad:
            rows[test.test_id] = fields.number
            tests.append(test)
    return tuple(tests), tuple(notes.problems)


def _soil_test(fields: Fields, plot_ids: Collection[str]) -> SoilTest:
    plot_id = _plot_id(fields, plot_ids)
    sampled_on, part, lab = fields.date("sampled_on"), fields.text("part"), fields.text("lab")
    top, bottom = fields.read("depth", parse_depth) or (None, None)
    readings = {
        symbol: reading
        for element, symbol in ELEMENTS.items()
        if (reading := _reading(fields, element, symbol)) is not None
    }
    made_id = " ".join(filter(None, (plot_id, str(sampled_on or "undated"), part, lab)))
    test = SoilTest(
        test_id=fields.text("test_id") or made_id,
        plot_id=plot_id,
        sampled_on=sampled_on,
        lab=lab,
        depth_top_m=top,
        depth_bottom_m=bottom,
        ph=fields.number_of("ph", 2, 12, "soil pH"),
        buffer_ph=fields.number_of("buffer_ph", 2, 12, "buffer pH"),
        buffer_method=_buffer_method(fields),
        organic_matter_pct=fields.percent("organic_matter_pct", "organic matter content"),
        cec_meq_100g=fields.number_of("cec", 0, 200, "cation exchange capacity [meq/100 g]"),
        acidity_meq_100g=fields.number_of("acidity", 0, 200, "exchangeable acidity [meq/100 g]"),
        readings=readings,
        recommendation=_recommendation(fields),
        part=part,
        texture=fields.text("texture"),
    )
    figures = (test.ph, test.buffer_ph, test.organic_matter_pct, test.cec_meq_100g, test.acidity_meq_100g)
    if not fields.bad and not readings and test.recommendation is None and figures == (None,) * 5:
        fields.problem("", "the row holds no figure of a soil test", "Fill it in, or delete the row.")
    return test


def _buffer_method(fields: Fields) -> str | None:
    text = fields.text("buffer_method")
    if text and read_buffer(text) is None:
        fields.problem(
            "buffer_method",
            f"the buffer {text!r} is not known here; the figure is kept, but no lime table can use it",
            "Write the buffer as the lab report names it, for example Sikora or SMP.",
            Level.WARNING,
        )
    if not text and fields.text("buffer_ph"):
        fields.problem(
            "buffer_method",
            f"the buffer of buffer pH {fields.text('buffer_ph')!r} is not stated",
            "Write the buffer as the lab report names it, for example Sikora or SMP.",
            Level.WARNING,
        )
    return text or None


def _reading(fields: Fields, element: str, symbol: str) -> Reading | None:
    value = fields.number_of(element, 0, None, f"soil test figure of {symbol}")
    if value is None:
        return None
    figure = fields.text(element)
    unit = fields.text(f"{element}_unit") or fields.text("unit")
    extractant = fields.text(f"{element}_extractant") or fields.text("extractant")
    if not unit:
        fields.problem(
            f"{element}_unit",
            f"the unit of {symbol} {figure} is missing",
            f"Write it in the column {element}_unit as the lab prints it: ppm, mg/kg, lb/acre or kg/ha.",
        )
    elif read_unit(unit) is None:
        fields.problem(
            f"{element}_unit",
            f"the unit {unit!r} of {symbol} {figure} is not understood",
            "Write ppm, mg/kg, lb/acre or kg/ha.",
        )
    if not extractant:
        fields.problem(
            f"{element}_extractant",
            f"the extractant of {symbol} {figure} {unit} is missing".replace("  ", " "),
            f"Write it in the column {element}_extractant as the lab names it, "
            f"for example {'Bray P1' if symbol == 'P' else 'Mehlich-3'}.",
        )
    elif read_extractant(extractant) is None:
        fields.problem(
            f"{element}_extractant",
            f"the extractant {extractant!r} is not known here; the figure is kept, but no table can use it",
            "Write it as the lab report names it, for example Bray P1, Olsen or Mehlich-3.",
            Level.WARNING,
        )
    return Reading(value, unit, extractant or None, fields.text(f"{element}_basis") or symbol)


def _recommendation(fields: Fields) -> LabRecommendation | None:
    stated = {
        nutrient: value
        for name, nutrient in _NUTRIENTS.items()
        if (value := fields.number_of(f"rec_{name}", 0, None, "recommended rate")) is not None
    }
    unit = fields.text("rec_unit")
    if stated and not unit:
        listed = ", ".join(f"{nutrient} {value:g}" for nutrient, value in stated.items())
        fields.problem(
            "rec_unit",
            f"the unit of the lab's recommendation ({listed}) is missing",
            "Write lb/acre or kg/ha.",
        )
    elif stated:
        fields.read("rec_unit", _rate_unit)
    lime = fields.number_of("rec_lime", 0, None, "recommended lime rate")
    lime_unit = fields.text("rec_lime_unit")
    if lime is not None and not lime_unit:
        fields.problem(
            "rec_lime_unit",
            f"the unit of the lab's lime recommendation ({lime:g}) is missing",
            "Write it as printed, for example lb ENP/acre or ton/acre.",
        )
    elif lime is not None and isinstance(read := read_lab_lime(Quantity(lime, lime_unit)), Missing):
        fields.problem(
            "rec_lime_unit", read.reason, "Write it as printed, for example lb ENP/acre or ton/acre."
        )
    credits_taken = fields.yes_or_no("credits_taken")
    if not stated and lime is None:
        return None
    return LabRecommendation(
        {nutrient: Quantity(value, unit) for nutrient, value in stated.items()},
        Quantity(lime, lime_unit) if lime is not None else None,
        credits_taken,
    )


def _rate_unit(unit: str) -> float:
    try:
        return convert(1.0, unit, "kg/ha")
    except UnitError as error:
        raise UnitError(f"{unit!r} is not a mass per area; write for example lb/acre") from error


def parse_depth(text: str) -> tuple[float, float]:
    """Read the slice a sample was taken from.

    Examples
    --------
    >>> parse_depth("0-6 in")
    (0.0, 0.1524)
    """
    match = re.fullmatch(r"(?:(\d+\.?\d*)\s*(?:-|–|to)\s*)?(\d+\.?\d*)\s*([a-zA-Z\"'.]+)", text.strip())
    try:
        if match is None:
            raise UnitError(text)
        unit = {'"': "in", "'": "ft"}.get(match[3], match[3].rstrip("."))
        top, bottom = (convert(float(figure or 0), unit, "m") for figure in match.group(1, 2))
    except UnitError as error:
        raise UnitError(f"the depth {text!r} is not understood; write for example 0-6 in") from error
    if bottom <= top:
        raise UnitError(f"the depth {text!r} has no thickness; write for example 0-6 in")
    return round(top, 9), round(bottom, 9)


# ---------------------------------------------------------------------------------------------
# Organic inputs


def organic_inputs_from(
    table: Table, plot_ids: Collection[str]
) -> tuple[tuple[OrganicInput, ...], tuple[Problem, ...]]:
    """Read manure, litter and compost put on plots."""
    needed = ("plot_id", "applied_on", "material", "amount")
    columns, notes = _begin(table, _ORGANIC_FIELDS, _ORGANIC_ALIASES, needed)
    inputs: list[OrganicInput] = []
    rows: dict[str, int] = {}
    for index in range(len(table.rows)) if all(name in columns.places for name in needed) else ():
        fields = Fields(table, index, columns, notes)
        plot_id = _plot_id(fields, plot_ids)
        fields.required("applied_on", "2026-04-12")
        fields.required("amount", "3 ton/acre")
        day, material = fields.date("applied_on"), fields.required("material", "beef")
        amount = fields.read("amount", _organic_amount)
        analysis = {
            nutrient: value
            for name, nutrient in _NUTRIENTS.items()
            if (value := fields.number_of(f"{name}_lb_per_ton", 0, 2000, "analysis [lb/ton]")) is not None
        }
        available = {
            nutrient: value
            for name, nutrient in _NUTRIENTS.items()
            if (value := fields.percent(f"available_{name}_pct", "availability")) is not None
        }
        if fields.bad or day is None or amount is None:
            continue
        input_id = fields.text("input_id") or f"{plot_id} {day.isoformat()} {material}"
        if input_id in rows:
            fields.problem(
                "input_id",
                f"row {rows[input_id]} is the same input: {input_id!r}",
                "Delete one of the rows, or give each its own input_id.",
            )
            continue
        rows[input_id] = fields.number
        inputs.append(
            OrganicInput(input_id, plot_id, day, material, fields.text("method"), amount, analysis, available)
        )
    return tuple(inputs), tuple(notes.problems)


def _organic_amount(text: str) -> Quantity:
    quantity = parse_quantity(text)
    if parse_rate(text) <= 0:
        raise UnitError(f"{text!r} must be more than zero; write for example 3 ton/acre")
    return quantity


# ---------------------------------------------------------------------------------------------
# Applications


def applications_from(
    table: Table, plot_ids: Collection[str]
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    """Read what was spread.

    Parameters
    ----------
    table
        The table. A row without entry_id gets one made from its content, so that reading the same
        file again gives the same ids.
    plot_ids
        Plots of the property; another plot is an error.

    Returns
    -------
    applications : tuple of Application
        From the rows without an error.
    problems : tuple of Problem
        In row order.
    """
    needed = ("plot_id", "product", "applied_on", "done")
    columns, notes = _begin(table, _APPLICATION_FIELDS, _APPLICATION_ALIASES, needed)
    applications: list[Application] = []
    rows: dict[str, int] = {}
    for index in range(len(table.rows)) if all(name in columns.places for name in needed) else ():
        fields = Fields(table, index, columns, notes)
        entry = _application(fields, plot_ids)
        if entry is None:
            continue
        if entry.entry_id in rows:
            fields.problem(
                "entry_id",
                f"row {rows[entry.entry_id]} is the same entry: {entry.entry_id!r}",
                "Delete one of the rows; if both happened, give each its own entry_id.",
            )
            continue
        rows[entry.entry_id] = fields.number
        applications.append(entry)
    return tuple(applications), tuple(notes.problems)


def _application(fields: Fields, plot_ids: Collection[str]) -> Application | None:
    plot_id, product = _plot_id(fields, plot_ids), fields.required("product", "Urea 46-0-0")
    fields.required("applied_on", "2026-05-02")
    fields.required("done", "done, part or not done")
    day, done, timing = (
        fields.date("applied_on"),
        fields.one_of("done", Done),
        fields.one_of("timing", Timing),
    )
    mass_kg = fields.read("amount", parse_mass)
    if mass_kg is None:
        mass_kg = fields.number_of("mass_kg", 0, None, "mass [kg]")
    if mass_kg is None and done is Done.NOT_DONE:
        mass_kg = 0.0
    if mass_kg is None and not fields.bad:
        fields.problem("amount", "the amount is blank", "Write what was spread, for example 150 lb.")
    if mass_kg is not None and mass_kg < 0:
        fields.problem("amount", f"{fields.text('amount')!r} is negative", "Correct an entry by a new one.")
    if mass_kg and done is Done.NOT_DONE:
        fields.problem(
            "done",
            f"not done, but the amount is {fields.text('amount')!r}",
            "Write part, or an amount of 0 lb.",
        )
    area_m2, cost = _area_m2(fields), fields.money("cost")
    if fields.bad or day is None or done is None or mass_kg is None:
        return None
    texts = {name: fields.text(name) for name in _APPLICATION_TEXTS}
    part = fields.text("part")
    content = (plot_id, product, done, day, timing or "", mass_kg, area_m2, cost, *texts.values())
    content = (*content, part) if part else content  # ids of tables from before parts stay
    made_id = f"table-{hashlib.sha256(repr(content).encode()).hexdigest()[:16]}"
    return Application(
        entry_id=fields.text("entry_id") or made_id,
        plot_id=plot_id,
        product=product,
        done=done,
        applied_on=day,
        mass_kg=mass_kg,
        timing=timing,
        area_m2=area_m2,
        cost=cost,
        part=part,
        withdrawn=fields.yes_or_no("withdrawn") or False,
        **texts,
    )


def _area_m2(fields: Fields) -> float | None:
    def parse_area(text: str) -> float:
        quantity = parse_quantity(text)
        try:
            return convert(quantity.value, quantity.unit, "m**2")
        except UnitError as error:
            raise UnitError(f"{text!r} is not an area; write for example 1.5 acre") from error

    area = fields.read("area", parse_area)
    if area is None and (acres := fields.number_of("area_acres", 0, None, "area [acre]")) is not None:
        area = convert(acres, "acre", "m**2")
    if area is None:
        area = fields.number_of("area_m2", 0, None, "area [m2]")
    if area is not None and area < 0:
        fields.problem("area", f"{fields.text('area')!r} is negative", "Write the area covered.")
    return area


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
    columns, notes = _begin(table, (*needed, "timing"), _APPLICATION_ALIASES, needed)
    passes: list[FixedPass] = []
    for index in range(len(table.rows)) if all(name in columns.places for name in needed) else ():
        fields = Fields(table, index, columns, notes)
        plot_id, product = _plot_id(fields, plot_ids), fields.required("product", "Urea 46-0-0")
        if product and product not in products:
            known = ", ".join(sorted(products))
            fields.problem(
                "product", f"{product!r} is not a product of the property", f"Use one of: {known}."
            )
        mass_kg, timing = fields.read("amount", parse_mass), fields.one_of("timing", Timing)
        if not fields.bad and not (mass_kg and mass_kg > 0):
            fields.problem("amount", f"{fields.text('amount')!r} is no amount", "Write for example 150 lb.")
        if not fields.bad and mass_kg is not None:
            passes.append(FixedPass(plot_id, product, mass_kg, timing))
    return tuple(passes), tuple(notes.problems)
