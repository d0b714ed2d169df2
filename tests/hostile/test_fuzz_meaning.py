"""Files made up from a known meaning: each figure is read as it was meant, or a sentence tells of it.

Hypothesis draws what a label or a laboratory means, and then how it is spelled, ordered, nested and damaged.
What comes out is held against what was meant, so that a figure taken wrongly, given to another row, sample or
depth, or lost without a word, fails. The seeds are fixed; the gate runs these in about a minute.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import tempfile
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from sample_view import sample_view

from loamwright.errors import InputError, Problem
from loamwright.files import price_list, read_sheet
from loamwright.files.sheets import Sample, SheetContents
from loamwright.handoff import write_lab_order
from loamwright.values import Nutrient

MANY = settings(
    max_examples=300,
    deadline=dt.timedelta(seconds=10),
    suppress_health_check=list(HealthCheck),
    database=None,
)

# ---------------------------------------------------------------------------------------------
# Labels

#: Column → nutrient of a label and the percent that one of the column is. Atomic masses of IUPAC 2021,
#: worked out by hand: P2O5 141.943 / (2 x 30.974), K2O 94.195 / (2 x 39.098), S 32.06 / 80.057 of SO3,
#: Mg 24.305 / 40.304 of MgO, Ca 40.078 / 56.077 of CaO. A short ton has 2,000 lb.
COLUMNS: dict[str, tuple[Nutrient, float]] = {
    **{nutrient.value.lower(): (nutrient, 1.0) for nutrient in Nutrient},
    "N (%)": (Nutrient.N, 1.0),
    "N (lb/ton)": (Nutrient.N, 0.05),
    "n_kg_per_t": (Nutrient.N, 0.1),
    "n_g_per_kg": (Nutrient.N, 0.1),
    "p2o5_lb_per_ton": (Nutrient.P2O5, 0.05),
    "k2o_kg_per_tonne": (Nutrient.K2O, 0.1),
    "p_element": (Nutrient.P2O5, 2.2914),
    "k_element": (Nutrient.K2O, 1.2046),
    "so3": (Nutrient.S, 0.40046),
    "mgo": (Nutrient.MG, 0.60304),
    "cao": (Nutrient.CA, 0.71469),
}
#: How a figure may be written, each with whether it means that figure at all.
SPELLED: Sequence[tuple[Callable[[str], str], bool]] = (
    (str, True),
    (lambda text: f" {text} ", True),
    (lambda text: f"{text} %", True),
    (lambda text: text.replace(".", ","), True),
    (lambda text: f"+{text}", True),
    (lambda text: f"{text}e0", True),
    (lambda text: f"<{text}", False),
    (lambda text: f"{text}-60", False),
    (lambda text: f"~{text}", False),
    (lambda text: f"-{text}", False),
    (lambda text: f"{text}x", False),
    (lambda text: f"{text} {text}", False),
    (lambda text: f"={text}", False),
    (lambda text: "".join(chr(0x660 + int(one)) if one.isdigit() else one for one in text), False),
)
PLAIN = st.builds(lambda tenths: f"{tenths / 10:g}", st.integers(1, 300))


@dataclass(frozen=True)
class Cell:
    """A figure as meant and as written; `value` None where what is written means no figure."""

    text: str
    value: float | None


@st.composite
def cells(draw: st.DrawFn) -> Cell:
    """A figure, oftenest in plain digits."""
    plain = draw(PLAIN)
    spell, means = draw(st.sampled_from((SPELLED[0],) * 8 + tuple(SPELLED)))
    return Cell(spell(plain), float(plain) if means else None)


@dataclass(frozen=True)
class Row:
    """One product: cells by column, and the price of its package."""

    analysis: dict[str, Cell]
    price: Cell


LABELS = st.lists(
    st.builds(
        Row, st.dictionaries(st.sampled_from(sorted(COLUMNS)), cells(), min_size=1, max_size=4), cells()
    ),
    min_size=1,
    max_size=4,
)


def as_csv(rows: Sequence[Row]) -> str:
    """The table, with a column for everything that some row states."""
    columns = list(dict.fromkeys(name for row in rows for name in row.analysis))
    held = io.StringIO()
    out = csv.writer(held)
    out.writerow(["product", "form", *columns, "package", "price"])
    for number, row in enumerate(rows):
        stated = [row.analysis[name].text if name in row.analysis else "" for name in columns]
        out.writerow([f"Odd {number}", "dry", *stated, "50 lb bag", row.price.text])
    return held.getvalue()


def told_of(problems: Sequence[Problem], row: int) -> bool:
    """Whether something is said of a row; the headings stand in row 1."""
    return any(f"row {row + 2}" in problem.where for problem in problems)


def faults_of_labels(rows: Sequence[Row], path: Path) -> Iterator[str]:
    """What was taken wrongly or lost without a word."""
    try:
        found = price_list(path)
    except InputError as error:
        if not all(problem.where and problem.what for problem in error.problems):
            yield "a refusal without a place or a sentence"
        return
    by_name = {product.product: product for product in found.products}
    prices = {offer.product: offer.price for offer in found.offers}
    for number, row in enumerate(rows):
        product, told = by_name.get(f"Odd {number}"), told_of(found.problems, number)
        if product is None:
            if not told:
                yield f"row {number} is lost"
            continue
        meant: dict[Nutrient, list[float | None]] = {}
        for name, cell in row.analysis.items():
            nutrient, share = COLUMNS[name]
            meant.setdefault(nutrient, []).append(None if cell.value is None else cell.value * share)
        for nutrient, figures in meant.items():
            read = product.analysis_pct.get(nutrient)
            if read is None:
                if not told:
                    yield f"{nutrient} of row {number} is lost"
            elif not any(one is not None and math.isclose(read, one, rel_tol=2e-4) for one in figures):
                yield f"{nutrient} of row {number} is {read}, meant was {figures}"
            elif not told and not all(
                one is not None and math.isclose(read, one, rel_tol=2e-3) for one in figures
            ):
                yield f"{nutrient} of row {number} is {read} out of {figures}, without a word"
        yield from (
            f"{nutrient} of row {number} from nowhere"
            for nutrient in product.analysis_pct
            if nutrient not in meant
        )
        if sum(product.analysis_pct.values()) > 100 and not told:
            yield f"row {number} holds more than 100 %"
        price = prices.get(f"Odd {number}")
        if price is None:
            if not told:
                yield f"the price of row {number} is lost"
        elif row.price.value is None or not math.isclose(float(price), row.price.value, rel_tol=1e-9):
            yield f"the price of row {number} is {price}, meant was {row.price}"


@pytest.mark.slow
def test_labels() -> None:
    read_well = []

    @seed(21)
    @MANY
    @given(LABELS)
    def holds(rows: list[Row]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "products.csv"
            path.write_text(as_csv(rows), encoding="utf-8")
            assert list(faults_of_labels(rows, path)) == [], path.read_text()
            read_well.append(all(cell.value is not None for row in rows for cell in row.analysis.values()))

    holds()
    assert sum(read_well) > 30  # files in which every cell means a figure


# ---------------------------------------------------------------------------------------------
# Results of a laboratory

#: Element, test id, what it is kept under, and the test the id names: rows of the Modus soil nomenclature.
TESTS = (
    ("pH", "S-PH-1:1.02.07", "pH", "1:1 water", "none"),
    ("BpH", "S-BPH-SIK1.02", "buffer pH", "Sikora", "none"),
    ("P", "S-P-B1-1:10.01.03", "P", "Bray P1", "ppm"),
    ("P", "S-P-M3.04", "P", "Mehlich-3 ICP", "ppm"),
    ("P", "S-P-BIC.04", "P", "Olsen", "lb/ac"),
    ("K", "S-K-NH4AC.05", "K", "ammonium acetate", "mg/kg"),
    ("Zn", "S-ZN-DTPA.05", "Zn", "DTPA", "ppm"),
    ("OM", "S-SOM-LOI.15", "OM", "loss on ignition", "%"),
)
UNITS = {"none": None, "ppm": "ppm", "mg/kg": "mg/kg", "lb/ac": "lb/acre", "%": "%"}


@dataclass(frozen=True)
class Result:
    """One result: row of `TESTS`, what stands for its value, and the number it means, if any."""

    test: int
    value: Any
    means: float | None


@dataclass(frozen=True)
class Slice:
    """The results of one sample in one depth [inch]."""

    label: str
    top: int
    bottom: int
    results: tuple[Result, ...]


@st.composite
def results(draw: st.DrawFn) -> Result:
    """A result, oftenest a plain number."""
    test = draw(st.integers(0, len(TESTS) - 1))
    number = draw(st.integers(30, 95)) / 10
    value, means = draw(
        st.sampled_from(
            [(number, number)] * 4
            + [(str(number), number), (f" {number} ", number), (f"{number}e0", number)]
            + [(f"<{number}", None), (f">{number}", None), ("ND", None), ("", None), (None, None)]
            + [(True, None), ([number, 2 * number], None), ({"at": number}, None), (math.inf, None)]
            + [("1e999", None), (f"{number} {number}", None), ("much", None), (f"{number} kg/t", None)]
        )
    )
    return Result(test, value, means)


SLICES = st.lists(
    st.builds(
        Slice,
        st.sampled_from(("A-1", "Creek & <b>", "=1+1", "7", "\u00c4cker")),
        st.just(0),
        st.sampled_from((4, 6, 8)),
        st.lists(results(), min_size=1, max_size=4, unique_by=lambda one: TESTS[one.test][0]).map(tuple),
    ),
    min_size=1,
    max_size=4,
    unique_by=lambda one: one.label,
)


def as_version_1(slices: Sequence[Slice]) -> dict[str, Any]:
    """The results as JSON of version 1; a depth is named by an id that the samples share."""
    ids = {bottom: f"D{bottom}" for bottom in sorted({one.bottom for one in slices})}
    refs = [
        {
            "DepthID": ids[bottom],
            "Name": f"0-{bottom} in",
            "StartingDepth": 0,
            "EndingDepth": bottom,
            "DepthUnit": "in",
        }
        for bottom in ids
    ]
    samples = [
        {
            "SampleMetaData": {"SampleNumber": str(100 + number), "FMISSampleID": one.label},
            "Depths": [
                {
                    "DepthID": ids[one.bottom],
                    "NutrientResults": [
                        dict(
                            zip(
                                ("Element", "Value", "ValueUnit", "ModusTestID"),
                                (row[0], made.value, row[4], row[1]),
                                strict=True,
                            )
                        )
                        for made in one.results
                        for row in (TESTS[made.test],)
                    ],
                }
            ],
        }
        for number, one in enumerate(slices)
    ]
    event = {"EventMetaData": {"EventDate": "2026-03-01"}, "LabMetaData": {"LabName": "Any (invented)"}}
    return {"Events": [event | {"EventSamples": {"Soil": {"DepthRefs": refs, "SoilSamples": samples}}}]}


def as_slim(slices: Sequence[Slice]) -> dict[str, Any]:
    """The same in the slim form."""
    return {
        "date": "2026-03-01",
        "lab": {"name": "Any (invented)"},
        "samples": {
            f"s{number}": {
                "source": {"sampleid": one.label},
                "depth": {"top": one.top, "bottom": one.bottom, "units": "in"},
                "results": {
                    str(place): dict(
                        zip(
                            ("analyte", "value", "units", "modusTestID"),
                            (row[0], made.value, row[4], row[1]),
                            strict=True,
                        )
                    )
                    for place, made in enumerate(one.results)
                    for row in (TESTS[made.test],)
                },
            }
            for number, one in enumerate(slices)
        },
    }


def as_xml(slices: Sequence[Slice]) -> str:
    """The same as XML of version 1: a list is an element that comes again."""
    tree = as_version_1(slices)["Events"][0]
    names = {
        "DepthRefs": "DepthRef",
        "SoilSamples": "SoilSample",
        "Depths": "Depth",
        "NutrientResults": "NutrientResult",
    }

    def put(parent: ET.Element, name: str, value: Any) -> None:
        if isinstance(value, list) and name in names:
            within = parent if name == "SoilSamples" else ET.SubElement(parent, name)
            for one in value:
                put(within, names[name], one)
        elif isinstance(value, list):
            for one in value:
                put(parent, name, one)
        elif isinstance(value, dict):
            made = ET.SubElement(parent, name)
            for key, inner in value.items():
                put(made, key, inner)
        else:
            ET.SubElement(parent, name).text = None if value is None else str(value)

    root = ET.Element("ModusResult", Version="1.0")
    put(root, "Event", tree)
    return ET.tostring(root, encoding="unicode")


def read_or_refused(path: Path) -> SheetContents | None:
    """What the file says; None where it is refused in a sentence."""
    try:
        return read_sheet(path)
    except InputError as error:
        if not all(problem.what for problem in error.problems):
            raise
        return None


FORMS: dict[str, tuple[str, Callable[[Sequence[Slice]], str]]] = {
    "version 1 JSON": ("m.json", lambda slices: json.dumps(as_version_1(slices))),
    "slim JSON": ("m.json", lambda slices: json.dumps(as_slim(slices))),
    "version 1 XML": ("m.xml", as_xml),
}


def faults_of_results(slices: Sequence[Slice], contents: SheetContents) -> Iterator[str]:
    """What was taken wrongly, given to another sample or depth, or lost without a word."""
    samples = [one for one in contents.samples if isinstance(one, Sample)]
    if [one.label for one in samples] != [one.label for one in slices]:
        yield f"the samples are {[one.label for one in samples]}"
        return
    for sample, meant in zip(samples, slices, strict=True):
        depth = sample.depth
        if depth is None or (depth.top, depth.bottom, depth.unit) != (meant.top, meant.bottom, "in"):
            yield f"the depth of {meant.label} is {depth}"
        if sample.sampled_on != dt.date(2026, 3, 1):
            yield f"the day of {meant.label} is {sample.sampled_on}"
        names = {TESTS[one.test][2] for one in meant.results}
        yield from (f"{name} of {meant.label} from nowhere" for name in sample.readings if name not in names)
        for result in meant.results:
            element, _ident, name, test, unit = TESTS[result.test]
            read = sample.readings.get(name, ())
            told = [*contents.remarks, *(one.about for one in contents.questions)]
            said = any(element in text for text in (*told, *(one.where for one in contents.left_out)))
            if len(read) > 1:
                yield f"{name} of {meant.label} is read {len(read)} times"
            for one in read:
                if one.value is not None and "unit" in one.candidates:
                    continue  # it carries a unit of its own, which is asked about
                if one.value is not None and (
                    result.means is None or not math.isclose(one.value, result.means)
                ):
                    yield f"{name} of {meant.label} is {one.value}, meant was {result.value!r}"
                if (one.extractant or one.method) != test:
                    yield f"{name} of {meant.label} is by {one.extractant or one.method}, not {test}"
                if one.unit != UNITS[unit]:
                    yield f"{name} of {meant.label} is in {one.unit}, not {unit}"
            if not read and result.value not in (None, "", "ND") and not said:
                yield f"{name} {result.value!r} of {meant.label} is lost"


@pytest.mark.slow
@pytest.mark.parametrize("form", FORMS)
def test_results_of_a_laboratory(form: str) -> None:
    name, write = FORMS[form]
    read_well = []

    @seed(22)
    @MANY
    @given(SLICES)
    def holds(slices: list[Slice]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            path.write_text(write(slices), encoding="utf-8")
            contents = read_or_refused(path)
            if contents is None:
                return
            assert list(faults_of_results(slices, contents)) == [], path.read_text()
            read_well.append(all(one.means is not None for part in slices for one in part.results))

    holds()
    assert sum(read_well) > 20


# ---------------------------------------------------------------------------------------------
# Parts of the wrong type, anywhere in a result file

WRONG: Sequence[Any] = (
    None,
    True,
    7,
    1e400,
    "",
    "x",
    [],
    {},
    [[]],
    [None],
    {"a": {}},
    ["x"],
    [{"Element": {}}],
)


def places(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a tree."""
    yield path
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, inner in items:
        yield from places(inner, (*path, key))


def with_part(node: Any, path: tuple[Any, ...], part: Any) -> Any:
    """The tree with another part at a place."""
    if not path:
        return part
    made = dict(node) if isinstance(node, dict) else list(node)
    made[path[0]] = with_part(node[path[0]], path[1:], part)
    return made


SOUND = (
    Slice("A-1", 0, 6, (Result(0, 6.1, 6.1), Result(2, 21, 21.0), Result(5, 140, 140.0))),
    Slice("A-2", 0, 8, (Result(3, 17, 17.0),)),
)


@pytest.mark.parametrize("whole", [as_version_1(SOUND), as_slim(SOUND)], ids=["version 1", "slim"])
def test_every_part_of_the_wrong_type(whole: dict[str, Any], tmp_path: Path) -> None:
    """All places by all wrong parts: a value or a refusal, and no figure that nobody wrote."""
    figures = {6.1, 21.0, 140.0, 17.0, 7.0}
    path = tmp_path / "m.json"
    tried = 0
    for place in places(whole):
        for part in WRONG:
            path.write_text(json.dumps(with_part(whole, place, part)), encoding="utf-8")
            tried += 1
            contents = read_or_refused(path)
            if contents is None:
                continue
            read = {
                one.value
                for sample in contents.samples
                for readings in sample.readings.values()
                for one in readings
                if one.value is not None
            }
            assert read <= figures, (place, part)
    assert tried > 500


# ---------------------------------------------------------------------------------------------
# Orders to a laboratory

ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)


@pytest.mark.slow
def test_an_order_comes_back_with_the_same_ids() -> None:
    """Whatever the plots and the laboratory are called, the order is XML, and its ids are the plots'."""
    view = sample_view(25)
    allowed = frozenset(range(0x20, 0x110000)) - frozenset(range(0xD800, 0xE000)) - {0xFFFE, 0xFFFF} | {
        9,
        10,
        13,
    }

    def kept(text: str) -> str:
        """What XML 1.0 allows (production 2); a parser reads each line end as a new line (2.11)."""
        shown = "".join(one for one in text if ord(one) in allowed)
        return shown.replace("\r\n", "\n").replace("\r", "\n")

    @seed(23)
    @MANY
    @given(ANY_TEXT, ANY_TEXT, st.integers(0, 30), st.integers(1, 40), st.sampled_from((0.0254, 0.01)))
    def holds(lab: str, name: str, top: int, thick: int, unit_m: float) -> None:
        plots = tuple(replace(plot, name=name) for plot in view.record.plots)
        season = replace(view, record=replace(view.record, plots=plots))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "order.xml"
            write_lab_order(season, path, lab, dt.date(2026, 4, 12), (top * unit_m, (top + thick) * unit_m))
            root = ET.parse(path).getroot()
            assert [one.text for one in root.iter("FMISSampleID")] == ["AF-07", "AF-09"]
            assert [one.text or "" for one in root.iter("LabName")] == [kept(lab)]
            assert {one.text or "" for one in root.iter("Comments")} == {kept(name)}
            (ref,) = root.iter("DepthRef")
            said = {child.tag: child.text for child in ref}
            metres = {"in": 0.0254, "cm": 0.01}[said["DepthUnit"] or ""]
            assert float(said["StartingDepth"] or "") * metres == pytest.approx(top * unit_m)
            assert float(said["EndingDepth"] or "") * metres == pytest.approx((top + thick) * unit_m)

    holds()
