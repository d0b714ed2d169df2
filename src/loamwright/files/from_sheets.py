"""What a lab's, dealer's or quarry's sheet becomes in a property: soil tests, labels and prices, purchases.

This file answers "which plot is this sample of, and which of its figures may be kept?". What the sheet says
was read by `sheets`, as printed; here it is put into the columns of our own tables, so that one reader
(`tables`, `pricelists`) judges every figure. What the sheet leaves open is asked, each question once;
nothing is converted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from loamwright.errors import InputError, Level, Problem
from loamwright.files import guidelines, pricelists, tables
from loamwright.files.fields import key_of
from loamwright.files.sheets import (
    ALL_OF_IT,
    AS_SOLD,
    FAMILY_TESTS,
    NOT_KNOWN,
    LabReading,
    ManureSample,
    PlotMatch,
    Question,
    Sample,
    SheetAmount,
    SheetContents,
    SheetOffer,
    SheetRecommendation,
    match_plots,
)
from loamwright.files.textrows import Row, Table
from loamwright.needs import AcidityByPh
from loamwright.soil import SoilTest, read_unit
from loamwright.supplies import Movement, Offer, Product, StockEntry
from loamwright.units import TON_KG
from loamwright.values import Nutrient
from loamwright.work import Application, Done, PropertyRecord

#: Elements of a sheet and their columns.
_COLUMNS = {symbol: name for name, symbol in tables.ELEMENTS.items()}
_NUTRIENTS = {nutrient.value: nutrient.value.lower() for nutrient in Nutrient}
#: Figures of a label as a sheet names them, by the column they stand in.
_SCORES = {"enp_lb_ton": "enp", "enm_lb_ton": "enm"}
_TAKE_LIMIT, _LEAVE_OUT = "take the limit itself", "leave those figures out"
_SPREAD, _NOT_YET = "yes, on the day of each ticket", "not yet"
_CAROLINAS, _OTHER_LAB = "North Carolina's Ac", "another laboratory's acidity"
_NONE_OF_THEM = "none of them"
#: Columns that hold no figure of a test.
_ABOUT_A_SAMPLE = frozenset({"test_id", "plot_id", "lab", "sampled_on", "depth", "texture"})


@dataclass(frozen=True, slots=True)
class FromSheet:
    """What one sheet brings.

    Parameters
    ----------
    tests, products, offers, purchases, entries
        Records ready to keep.
    plots
        Plot id by sample label, to remember.
    problems
        Questions that are still open, as errors; and what was left out and why.
    answered
        Ids of the answers that were used.
    lasting
        Answers that hold for every file of the sender, by id.
    """

    tests: tuple[SoilTest, ...] = ()
    products: tuple[Product, ...] = ()
    offers: tuple[Offer, ...] = ()
    purchases: tuple[StockEntry, ...] = ()
    entries: tuple[Application, ...] = ()
    plots: Mapping[str, str] | None = None
    problems: tuple[Problem, ...] = ()
    answered: frozenset[str] = frozenset()
    lasting: Mapping[str, str] = field(default_factory=dict)


class _Asking:
    """Questions of taking a sheet in: answered, or noted."""

    def __init__(self, file: str, answers: Mapping[str, str]) -> None:
        self.file, self.answers = file, answers
        self.problems: list[Problem] = []
        self.used: set[str] = set()
        self.lasting: dict[str, str] = {}

    def ask(self, ident: str, about: str, where: str, choices: Sequence[str], kept_as: str = "") -> str:
        """The answer, or empty, with the question noted; `kept_as` = its id for later files."""
        answer = self.answers.get(ident) or self.answers.get(kept_as, "")
        if answer in choices:
            self.used.add(ident)
            if kept_as:
                self.lasting[kept_as] = answer
            return answer
        if all(problem.question != ident for problem in self.problems):
            what = f"{answer!r} is no answer: {about}" if answer else about
            fix = f"Choose one of: {', '.join(choices[:40])}."
            place = f"{self.file}, {where}" if where else self.file
            self.problems.append(Problem(place, what, fix, question=ident, choices=tuple(choices)))
        return ""

    def note(self, where: str, what: str, fix: str = "", level: Level = Level.NOTE) -> None:
        """Say what was left out, once."""
        problem = Problem(f"{self.file}, {where}" if where else self.file, what, fix, level)
        if problem not in self.problems:
            self.problems.append(problem)


def open_questions(contents: SheetContents) -> tuple[Problem, ...]:
    """Return what reading a sheet left open, as questions."""
    return tuple(
        Problem(
            f"{contents.file}, {one.where}",
            one.about,
            f"Choose one of: {', '.join(one.choices)}." + (f" Likely: {one.likely}." if one.likely else ""),
            question=one.id,
            choices=one.choices,
        )
        for one in contents.questions
    )


def take_sheet(
    contents: SheetContents,
    path: Path,
    record: PropertyRecord,
    answers: Mapping[str, str],
    remembered: Mapping[str, str],
    today: dt.date,
) -> FromSheet:
    """Turn what a sheet says into records of a property, or into the questions to answer first.

    Parameters
    ----------
    contents
        The sheet as read with the answers.
    path
        The file.
    record
        The property.
    answers
        Answers by question id.
    remembered
        Plot id by sample label, from a profile.
    today
        Date of entry for tickets.
    """
    asking = _Asking(contents.file, answers)
    asking.problems += open_questions(contents)
    if contents.kind == "products":
        return _prices(contents, path, record, asking)
    if contents.deliveries:
        return _tickets(contents, path, record, asking, today)
    soil = [sample for sample in contents.samples if isinstance(sample, Sample)]
    manure = [sample for sample in contents.samples if isinstance(sample, ManureSample)]
    if manure:
        raise InputError(_manure(contents, manure))
    return _soil(contents, path, soil, record, asking, remembered)


# ---------------------------------------------------------------------------------------------
# Soil tests


def _soil(
    contents: SheetContents,
    path: Path,
    samples: Sequence[Sample],
    record: PropertyRecord,
    asking: _Asking,
    remembered: Mapping[str, str],
) -> FromSheet:
    names = {plot.plot_id: "" if plot.name == plot.plot_id else plot.name for plot in record.plots}
    matches, questions = match_plots(samples, names, remembered, asking.answers)
    asking.problems += _as_problems(contents.file, questions)
    # An answer that a match was made by, and answers about two samples of one plot.
    asking.used |= {ident for ident in asking.answers if ident.startswith("plot.")}
    asking.lasting |= {
        ident: answer
        for ident, answer in asking.answers.items()
        if ident.endswith(".twice") and answer == ALL_OF_IT
    }
    rows: list[tuple[Sample, dict[str, str], SheetRecommendation | None]] = []
    kept: dict[str, str] = {}
    for sample, match in zip(samples, matches, strict=True):
        if match.plot_id is None:
            if match.how != "asked":
                kept[match.sample] = ""
                asking.note(
                    _place(sample), f"the sample {match.sample!r} is of no plot here, and is left out"
                )
            continue
        kept[match.sample] = match.plot_id
        if sample.depth is not None and sample.depth.top > 0:
            what = f"the slice {sample.depth.top:g}–{sample.depth.bottom:g} of {match.sample!r} is left out"
            asking.note(_place(sample), what, "Tables here go by the slice from the surface.")
            continue
        advice = _advice(sample, match, record, asking)
        row = _row(contents, sample, match, advice, asking)
        if any(text for column, text in row.items() if column not in _ABOUT_A_SAMPLE):
            rows.append((sample, row, advice))
    if any(problem.question for problem in asking.problems) or not rows:
        return FromSheet(problems=tuple(asking.problems), answered=frozenset(asking.used), plots=kept)
    columns = tuple(dict.fromkeys(name for _, row, _ in rows for name in row))
    lines = tuple(
        Row(number, tuple(row.get(name, "") for name in columns))
        for number, (_, row, _) in enumerate(rows, 1)
    )
    tests, problems = tables.soil_tests_from(Table(path, columns, lines), set(names))
    places = {f"row {number}": _place(sample) for number, (sample, _, _) in enumerate(rows, 1)}
    problems = tuple(_placed(problem, places) for problem in problems)
    made = []
    for test, (sample, _, advice) in zip(tests, rows, strict=False):
        crop = (advice.crop or "") if advice and test.recommendation else ""
        season = record.info.season if crop else None
        made.append(replace(test, analysed_on=sample.reported_on, rates_crop=crop, rates_season=season))
    return FromSheet(
        tests=tuple(made),
        plots=kept,
        problems=(*asking.problems, *problems),
        answered=frozenset(asking.used),
        lasting=asking.lasting,
    )


def _as_problems(file: str, questions: Iterable[Question]) -> list[Problem]:
    found = []
    for one in questions:
        likely = f" Likely: {one.likely}." if one.likely else ""
        fix = f"Choose one of: {', '.join(one.choices[:60])}.{likely}"
        found.append(Problem(f"{file}, {one.where}", one.about, fix, question=one.id, choices=one.choices))
    return found


def _place(sample: Sample) -> str:
    return sample.where or f"sample {sample.label or sample.lab_number or 'without a label'}"


def _placed(problem: Problem, places: Mapping[str, str]) -> Problem:
    """Name the sheet's own row in place of the row of our table."""
    file, _, rest = problem.where.partition(", ")
    row, _, field = rest.partition(", ")
    if row not in places:
        return problem
    return replace(problem, where=", ".join(filter(None, (file, places[row], field))))


def _row(
    contents: SheetContents,
    sample: Sample,
    match: PlotMatch,
    advice: SheetRecommendation | None,
    asking: _Asking,
) -> dict[str, str]:
    """One sample in the columns of our table of soil tests."""
    row = {
        "test_id": sample.lab_number or " ".join(filter(None, (match.sample, str(sample.sampled_on or "")))),
        "plot_id": match.plot_id or "",
        "lab": contents.lab or "",
    }
    if sample.sampled_on is not None:
        row["sampled_on"] = sample.sampled_on.isoformat()
    if sample.depth is not None:
        row["depth"] = f"{sample.depth.top:g}-{sample.depth.bottom:g} {sample.depth.unit or 'in'}"
    if sample.texture:
        row["texture"] = sample.texture
    ph = _water_ph(sample, asking)
    if ph is not None:
        row["ph"] = _figure(ph, "pH", asking)
    buffer = next(iter(sample.readings.get("buffer pH", ())), None)
    if buffer is not None and (text := _figure(buffer, "buffer pH", asking)):
        row["buffer_ph"] = text
        row["buffer_method"] = buffer.method or ""
    for name, column in (("OM", "organic_matter_pct"), ("CEC", "cec"), ("acidity", "acidity")):
        reading = next(iter(sample.readings.get(name, ())), None)
        if reading is None:
            continue
        if name == "acidity" and buffer is None and _is_carolinas(reading, sample, asking):
            row |= _carolinas_buffer(reading, sample, asking)
            continue
        if name != "OM" and reading.unit not in ("meq/100 g", None):
            asking.note(_place(sample), f"{name} in {reading.unit} is left out: it is kept in meq/100 g here")
            continue
        row[column] = _figure(reading, name, asking)
    for symbol, column in _COLUMNS.items():
        reading = _chosen(symbol, sample.readings.get(symbol, ()), sample, asking)
        if reading is None or not (text := _figure(reading, symbol, asking)):
            continue
        unit = _unit(reading, contents)
        if reading.unit == "index" and read_unit(unit) is None:
            whose = contents.lab or "a laboratory not named"
            what = f"{symbol} is left out: no table here reads an index of {whose}"
            asking.note("", what, "Ask the laboratory for the figure in ppm and its test.", Level.WARNING)
            continue
        if "basis" in reading.candidates:
            asking.note(
                "",
                f"{symbol} is left out: it is not known what it is of",
                "Ask the laboratory.",
                Level.WARNING,
            )
            continue
        extractant = reading.extractant or (
            "" if reading.unit == "index" else _asked_test(symbol, sample, asking)
        )
        if extractant == NOT_KNOWN:
            asking.note(
                "", f"{symbol} is left out: its test is not known", "Ask the laboratory.", Level.WARNING
            )
            continue
        sign = ">" if reading.above is not None else "<" if reading.below is not None else ""
        row[column] = f"{sign if reading.value is None else ''}{text}"
        row[f"{column}_unit"] = unit
        row[f"{column}_extractant"] = extractant
        if reading.basis:
            row[f"{column}_basis"] = reading.basis
    known = {"pH", "buffer pH", "OM", "CEC", "acidity", "base saturation", *_COLUMNS}
    for name in sample.readings:
        if name not in known:
            asking.note("", f"{name} is left out: no table here goes by it")
    return row | _rates(sample, advice, asking)


def _is_carolinas(reading: LabReading, sample: Sample, asking: _Asking) -> bool:
    """Whether acidity by volume, without a buffer pH, is what North Carolina works out from its buffer."""
    if reading.unit != "meq/100 cm3" or reading.value is None:
        return False
    about = f"whose acidity {reading.printed} meq/100 cm3 is: lime here goes by the buffer it was read in"
    return asking.ask("acidity", about, _place(sample), (_CAROLINAS, _OTHER_LAB), "acidity") == _CAROLINAS


def _carolinas_buffer(reading: LabReading, sample: Sample, asking: _Asking) -> dict[str, str]:
    """North Carolina's Ac as the buffer pH it was worked out from, by the formula printed with it."""
    rule = guidelines.load_guideline("ncda-lime").lime[0]
    if not isinstance(rule, AcidityByPh) or reading.value is None:
        return {}
    buffer_ph = rule.ceiling_ph - reading.value / rule.per_buffer_unit
    reckoned = f"{rule.ceiling_ph:g} - {reading.value:g} / {rule.per_buffer_unit:g} = {buffer_ph:.10g}"
    asking.note(
        _place(sample), f"Ac is kept as the buffer pH it comes from: {reckoned} ({rule.source.publication})"
    )
    return {"buffer_ph": f"{buffer_ph:.10g}", "buffer_method": rule.buffers[0]}


def _asked_test(symbol: str, sample: Sample, asking: _Asking) -> str:
    """The test of an element the sheet names none for; nitrate is the same by any."""
    if symbol == "NO3-N":
        return ""
    family = {"P": "P", "S": "S", "B": "B", "K": "cations", "Ca": "cations", "Mg": "cations"}.get(
        symbol, "metals"
    )
    ident = f"test.{family}"
    about = f"extractant of {symbol}: the sheet names none"
    return asking.ask(ident, about, _place(sample), (*FAMILY_TESTS[family], NOT_KNOWN), ident)


def _unit(reading: LabReading, contents: SheetContents) -> str:
    """The unit as our tables know it: an index names its laboratory."""
    if reading.unit == "index":
        return f"{contents.lab or ''} index".strip()
    return reading.unit or ""


def _water_ph(sample: Sample, asking: _Asking) -> LabReading | None:
    """The pH in water: a salt pH reads lower and is another figure."""
    readings = sample.readings.get("pH", ())
    salt = [one for one in readings if _is_salt(one.method)]
    water = [one for one in readings if one not in salt]
    if salt and not water:
        method = salt[0].method
        what = f"pH in {method} is left out: lime tables here go by pH in water"
        asking.note("", what, "Ask the lab for its figure in water.", Level.WARNING)
    if len({one.value for one in water}) > 1:
        places = _WHICH[: len(water)]
        printed = " and ".join(one.printed for one in water)
        about = f"pH is printed more than once, here {printed}; which of them is the pH in water"
        choice = asking.ask("use.pH", about, _place(sample), places, "use.pH")
        return water[places.index(choice)] if choice in places else None
    return water[0] if water else None


#: Columns of one figure, from left to right.
_WHICH = ("the first", "the second", "the third", "the fourth")


def _is_salt(method: str | None) -> bool:
    """Whether a pH was read in a salt solution (calcium chloride, potassium chloride)."""
    if method is None or "equivalent water" in method.casefold():
        return False
    plain = method.casefold().replace(" ", "")
    return any(salt in plain for salt in ("cacl", "kcl", "salt"))


def _figure(reading: LabReading, name: str, asking: _Asking) -> str:
    """A figure as text; what is below or above a limit is asked about once."""
    if reading.value is not None:
        return f"{reading.value:.10g}"
    limit = reading.below if reading.below is not None else reading.above
    if limit is None:
        what = f"{name} is {reading.printed!r}, {reading.note or 'which is no figure'}, and is left out"
        fix = "Ask the laboratory for its limit, and enter it as one: <1."
        asking.note("", what, fix, Level.WARNING)
        return ""
    about = f"some figures are given as limits only, for example {name} {reading.printed}"
    choice = asking.ask("limits", about, "", (_TAKE_LIMIT, _LEAVE_OUT), "limits")
    return f"{limit:.10g}" if choice == _TAKE_LIMIT else ""


def _chosen(
    symbol: str, readings: Sequence[LabReading], sample: Sample, asking: _Asking
) -> LabReading | None:
    """The one reading that is kept of an element: by one test, asked where a lab prints several."""
    by_test: dict[str, LabReading] = {}
    for reading in readings:
        by_test.setdefault(reading.extractant or "test not stated", reading)
    if len(by_test) < 2:
        return next(iter(by_test.values()), None)
    ident = f"use.{symbol}"
    listed = " and ".join(by_test)
    about = f"{symbol} was tested by {listed}; which test the needs go by"
    choice = asking.ask(ident, about, _place(sample), tuple(by_test), ident)
    if choice not in by_test and asking.answers.get(ident):
        return None
    return by_test.get(choice)


# --- the lab's own rates ---


def _advice(
    sample: Sample, match: PlotMatch, record: PropertyRecord, asking: _Asking
) -> SheetRecommendation | None:
    """The recommendation for the crop that grows on the plot."""
    found = sample.recommendations
    if not found:
        return None
    grown = {
        crop.crop.casefold(): crop.crop
        for crop in record.croppings
        if crop.plot_id == match.plot_id and crop.season == record.info.season and crop.crop
    }
    same = [one for one in found if one.crop and one.crop.casefold() in grown]
    if len(same) == 1:
        return same[0]
    crops = tuple(one.crop or "crop not named" for one in found)
    if len(found) == 1 and found[0].crop is None:
        return found[0]
    ident = f"advice.{key_of(match.sample)}"
    grows = f"; {', '.join(sorted(grown))} grows there" if grown else ""
    about = f"the lab's rates for {match.sample!r} were written for {', '.join(crops)}{grows}"
    kept_as = f"{ident}.{'+'.join(sorted(grown)) or 'no crop'}"  # holds as long as the same crop grows
    choice = asking.ask(ident, about, _place(sample), (*dict.fromkeys(crops), _NONE_OF_THEM), kept_as)
    chosen = next((one for one, crop in zip(found, crops, strict=True) if crop == choice), None)
    if chosen is None or len(grown) != 1:
        return chosen
    (crop,) = grown.values()
    return replace(chosen, crop=crop)  # the person says that they fit what grows, whatever the lab calls it


def _rates(sample: Sample, advice: SheetRecommendation | None, asking: _Asking) -> dict[str, str]:
    """The lab's own rates in our columns; a range is for the person to decide, a bare flag is said."""
    if advice is None:
        return {}
    row: dict[str, str] = {}
    units = {one.unit for name, one in advice.amounts.items() if name in _NUTRIENTS and one.flag is None}
    if len(units) > 1:
        listed = ", ".join(sorted(map(str, units)))
        asking.note(_place(sample), f"the lab's rates in several units ({listed}) are left out")
        return {}
    for name, amount in advice.amounts.items():
        if name == "lime":
            row |= _lime(sample, amount, asking)
        elif name not in _NUTRIENTS:
            asking.note("", f"the lab's rate of {name} is left out: it is no nutrient kept here")
        elif amount.low is not None and amount.high is not None:
            row[f"rec_{_NUTRIENTS[name]}"] = f"{amount.low:.10g} to {amount.high:.10g}"
            row["rec_unit"] = amount.unit or ""
        elif amount.value is None:
            said = amount.flag or "a flag"
            asking.note(_place(sample), f"the lab's {name}, {said}, is no rate and is left out")
        else:
            row[f"rec_{_NUTRIENTS[name]}"] = f"{amount.value:.10g}"
            row["rec_unit"] = amount.unit or ""
    if advice.lime_options:
        said = "; ".join(f"{one.value:g} {one.unit}" for one in advice.lime_options if one.value is not None)
        asking.note(_place(sample), f"the lab gives several lime rates ({said}); none is taken")
    return row


def _lime(sample: Sample, amount: SheetAmount, asking: _Asking) -> dict[str, str]:
    if amount.value is None:
        return {}
    if amount.value and not amount.basis:
        what = f"the lab's lime, {amount.value:g} {amount.unit}, is left out: it is not said of what"
        asking.note(_place(sample), what, "Set rec_lime with its unit: 3000 lb ENP/acre.", Level.WARNING)
        return {}
    mass, _, area = (amount.unit or "").partition("/")
    named = amount.basis and amount.basis != AS_SOLD and area
    unit = f"{mass} {amount.basis}/{area}" if named else amount.unit or ""
    return {"rec_lime": f"{amount.value:.10g}", "rec_lime_unit": unit or "lb ENP/acre"}


# ---------------------------------------------------------------------------------------------
# Prices and tickets


def _prices(contents: SheetContents, path: Path, record: PropertyRecord, asking: _Asking) -> FromSheet:
    if any(problem.question for problem in asking.problems):
        return FromSheet(problems=tuple(asking.problems))
    rows = [_price_row(offer, contents, asking) for offer in contents.offers]
    products, offers, problems = pricelists.products_from(_table(path, rows), record.products)
    for name, words in contents.charges.items():
        said = f"{name.replace('_', ' ')}, {words}"
        asking.note("", f"a charge stands in a sentence, and is not taken: {said}", "Enter it by hand.")
    for item in contents.left_out:
        asking.note("", f"left out: {item.what}: {item.where}")
    return FromSheet(products=products, offers=offers, problems=(*asking.problems, *problems))


def _table(path: Path, rows: Sequence[Mapping[str, str]]) -> Table:
    columns = tuple(dict.fromkeys(name for row in rows for name in row))
    lines = (Row(n, tuple(row.get(name, "") for name in columns)) for n, row in enumerate(rows, 1))
    return Table(path, columns, tuple(lines))


def _price_row(offer: SheetOffer, contents: SheetContents, asking: _Asking) -> dict[str, str]:
    row = {
        "product": offer.product,
        "form": offer.form or "",
        "seller": contents.seller or "",
        "package": _package(offer),
        "price": "" if offer.price is None else f"{offer.price:.10g}",
        "priced_on": contents.priced_on.isoformat() if contents.priced_on else "",
        **_label(offer.analysis),
    }
    if offer.density_lb_gal is not None:
        row["density"] = f"{offer.density_lb_gal:.10g} lb/gal"
    elif offer.density_kg_l is not None:
        row["density"] = f"{offer.density_kg_l:.10g} kg/L"
    if row["package"].endswith("bulk"):
        row["divisible"] = "yes"
    if offer.min_order:
        asking.note(offer.product, f"the smallest order, {offer.min_order}, is not taken", "Set min_order.")
    return row


def _package(offer: SheetOffer) -> str:
    """The package a price is of: a price per ton of bulk is of one ton."""
    if offer.per is None and offer.package == "bulk":
        return "1 ton bulk"
    if offer.per in (None, "each", "bag", "sack", "jug", "tote", "pail", "drum", "jar", "sac"):
        return offer.package or ""
    bulk = " bulk" if offer.package in (None, "bulk") else ""
    return f"1 {offer.per}{bulk}"


def _label(analysis: Mapping[str, float]) -> dict[str, str]:
    return {
        _SCORES.get(name, name.replace("_lb_ton", "_lb_per_ton")): f"{value:.10g}"
        for name, value in analysis.items()
    }


def _tickets(
    contents: SheetContents, path: Path, record: PropertyRecord, asking: _Asking, today: dt.date
) -> FromSheet:
    product = contents.product
    labelled_as = {label.product.casefold(): label.product for label in record.products}
    rows = []
    if product is not None and product.analysis:
        rows = [{"product": product.product, "form": product.form or "", **_label(product.analysis)}]
        labelled_as[product.product.casefold()] = product.product
    alone = product.product if product else ""
    for name in dict.fromkeys(one.product or alone for one in contents.deliveries):
        if name.casefold() not in labelled_as:
            what = f"no product here is called {name!r}, and the tickets do not say what is in it"
            asking.note("", what, "Add the product with its label first.", Level.ERROR)
    names = {plot.plot_id: "" if plot.name == plot.plot_id else plot.name for plot in record.plots}
    labelled = [Sample(name) for name in dict.fromkeys(one.plot for one in contents.deliveries) if name]
    spread = ""
    if labelled:
        about = "the tickets name fields; was each load spread there"
        spread = asking.ask("spread", about, "", (_SPREAD, _NOT_YET))
    matches: Mapping[str, str | None] = {}
    if spread == _SPREAD:
        matched, questions = match_plots(labelled, names, {}, asking.answers)
        asking.problems += _as_problems(contents.file, questions)
        asking.used |= {ident for ident in asking.answers if ident.startswith("plot.")}
        matches = {one.sample: one.plot_id for one in matched}
    for one in contents.deliveries:
        if one.date is None:
            asking.note(f"ticket {one.ticket}", "it has no date", "Write the day on it.", Level.ERROR)
    if any(one.question or one.level is Level.ERROR for one in asking.problems):
        return FromSheet(problems=tuple(asking.problems), answered=frozenset(asking.used))
    products, _, problems = pricelists.products_from(_table(path, rows)) if rows else ((), (), ())
    now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
    # the same ticket again is the same purchase and entry, so it keeps the time it was first taken in
    bought_at = {one.purchase_id: one.recorded_at for one in record.purchases}
    spread_at = {one.entry_id: one.recorded_at for one in record.applications}
    bought, entries = [], []
    for one in contents.deliveries:
        ident = f"ticket {one.ticket}"
        if one.net_tons is None and one.net_t is None:
            what = "it has no net weight, and is left out"
            asking.note(ident, what, "Enter the load by hand when its weight is known.", Level.WARNING)
            continue
        name = labelled_as[(one.product or alone).casefold()]
        mass_kg = one.net_tons * TON_KG if one.net_tons is not None else (one.net_t or 0.0) * 1000
        metric = one.net_tons is None
        bought.append(
            StockEntry(
                purchase_id=ident,
                kind=Movement.BOUGHT,
                product=name,
                package="1 t bulk" if metric else "1 ton bulk",
                package_kg=1000.0 if metric else TON_KG,
                count=mass_kg / (1000.0 if metric else TON_KG),
                dated=one.date or today,
                recorded_at=bought_at.get(ident, now),
                seller=contents.seller or "",
                note=f"scale ticket {one.ticket}",
            )
        )
        plot_id = matches.get(one.plot or "")
        if plot_id:
            entries.append(
                Application(
                    entry_id=ident,
                    plot_id=plot_id,
                    product=name,
                    done=Done.DONE,
                    applied_on=one.date or today,
                    mass_kg=mass_kg,
                    note=f"scale ticket {one.ticket}",
                    recorded_at=spread_at.get(ident, now),
                )
            )
    return FromSheet(
        products=products,
        purchases=tuple(bought),
        entries=tuple(entries),
        problems=(*asking.problems, *problems),
        answered=frozenset(asking.used),
    )


def _manure(contents: SheetContents, samples: Sequence[ManureSample]) -> list[Problem]:
    """Say how an analysis of manure comes in: with the day, the plot and the amount it was spread at."""
    found = []
    for sample in samples:
        figures = " ".join(
            f"{_NUTRIENTS[name]}_lb_per_ton={one.value:.10g}"
            for name, one in sample.readings.items()
            if name in _NUTRIENTS and one.value is not None and one.unit == "lb/ton"
        )
        what = "an analysis says what manure holds, not where it went"
        fix = (
            "When it is spread, write it down: add PROPERTY organic ID plot=… applied_on=… material=… "
            "amount=… "
            f"{figures or 'and its analysis'}"
        )
        where = f"{contents.file}, {sample.label or sample.lab_number or 'sample'}"
        found.append(Problem(where, what, fix))
    return found
