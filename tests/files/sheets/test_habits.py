"""The same figures in another habit: delimiters, marks, turned tables, merged cells, pages, renamed headings.

The expected figures are those of ``labs/expected.json``; only how they stand in the file is changed here.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.styles import Font

from loamwright.files.sheets import SheetContents, as_data, read_sheet

HERE = Path(__file__).parent
EXPECTED = json.loads((HERE / "labs" / "expected.json").read_text(encoding="utf-8"))["files"]
Rows = list[list[Any]]


def rows_of(name: str) -> Rows:
    """The cells of a lab file as text."""
    path = HERE / "labs" / name
    if path.suffix == ".xlsx":
        sheet = openpyxl.load_workbook(path).worksheets[0]
        return [[_text(cell.value) for cell in row] for row in sheet.iter_rows()]
    encoding, mark = ("cp1252", ";") if name == "dev07_norsk.csv" else ("utf-8", ",")
    return list(csv.reader(io.StringIO(path.read_bytes().decode(encoding), newline=""), delimiter=mark))


def _text(value: object) -> str:
    if isinstance(value, dt.datetime):
        return value.date().isoformat()
    return "" if value is None else str(value)


def written(path: Path, rows: Rows, mark: str = ",", encoding: str = "utf-8") -> Path:
    """Write cells as text."""
    text = io.StringIO()
    csv.writer(text, delimiter=mark, lineterminator="\n").writerows(rows)
    path.write_bytes(text.getvalue().encode(encoding))
    return path


def workbook(path: Path, rows: Rows, change: Callable[[Any], None] = lambda sheet: None) -> Path:
    """Write cells as a workbook: whole numbers and decimals as numbers, as a spreadsheet keeps them."""
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append([_stored(cell) for cell in row])
    change(sheet)
    book.save(path)
    return path


def _stored(cell: Any) -> Any:
    if not isinstance(cell, str) or not cell:
        return cell or None
    if re.fullmatch(r"[1-9]\d{0,5}|0", cell):
        return int(cell)
    return float(cell) if re.fullmatch(r"\d+\.\d+", cell) else cell


def turned(rows: Rows) -> Rows:
    """Rows as columns."""
    width = max(map(len, rows))
    return [list(column) for column in zip(*(row + [""] * (width - len(row)) for row in rows), strict=True)]


def with_decimal_comma(rows: Rows) -> Rows:
    """Decimal points as commas."""
    return [[re.sub(r"^(<?\d+)\.(\d+)$", r"\1,\2", str(cell)) for cell in row] for row in rows]


def figures(data: dict[str, Any]) -> list[Any]:
    """Every reading and amount of a file, without what was printed and what is asked."""
    found = []
    for sample in data.get("samples", []):
        named = (sample.get("label"), sample.get("sampled_on"), str(sample.get("depth")))
        for element, readings in sample["readings"].items():
            for reading in readings if isinstance(readings, list) else [readings]:
                keys = ("value", "unit", "extractant", "method", "below", "rating", "index", "state", "basis")
                found.append((*named, element, tuple((key, reading.get(key)) for key in keys)))
        found.append((*named, json.dumps(sample.get("recommendations"), sort_keys=True)))
    return sorted(found, key=str)


def same_as(name: str, path: Path) -> SheetContents:
    """Hold a changed file against the one it was made of; return what it says."""
    changed = read_sheet(path)
    assert figures(as_data(changed)) == figures(as_data(read_sheet(HERE / "labs" / name)))
    assert len(changed.samples) == len(EXPECTED[name]["samples"])
    return changed


SOIL = [name for name, file in EXPECTED.items() if file["kind"] == "soil tests"]
ONE_TABLE = ["dev01_midwest_codes.csv", "dev03_two_crops_unit_row.csv"]


@pytest.mark.parametrize("name", SOIL)
def test_semicolons(name: str, tmp_path: Path) -> None:
    same_as(name, written(tmp_path / "sheet.csv", rows_of(name), ";"))


@pytest.mark.parametrize("name", SOIL)
def test_tabs_in_utf_16(name: str, tmp_path: Path) -> None:
    contents = same_as(name, written(tmp_path / "sheet.txt", rows_of(name), "\t", "utf-16"))
    assert contents.encoding == "utf-16"


@pytest.mark.parametrize("name", [name for name in SOIL if name != "dev04_value_with_rating.csv"])
def test_decimal_commas(name: str, tmp_path: Path) -> None:
    """Target pH in a heading and dates keep their points; figures get commas."""
    same_as(name, written(tmp_path / "sheet.csv", with_decimal_comma(rows_of(name)), ";"))


@pytest.mark.parametrize("name", [*ONE_TABLE, "dev07_norsk.csv"])
def test_turned(name: str, tmp_path: Path) -> None:
    rows = rows_of(name)[:5]
    same_as(name, written(tmp_path / "sheet.csv", turned(rows)))


@pytest.mark.parametrize("name", SOIL)
def test_text_as_a_workbook(name: str, tmp_path: Path) -> None:
    same_as(name, workbook(tmp_path / "sheet.xlsx", rows_of(name)))


def test_turned_back(tmp_path: Path) -> None:
    """The turned report of dev08 upright: names, methods and units become three rows of headings."""
    rows = turned(rows_of("dev08_transposed.xlsx")[2:17])
    same = read_sheet(written(tmp_path / "sheet.csv", [["Bluff Creek Analytical (invented)"], [], *rows]))
    first = same.samples[0]
    assert (first.label, first.lab_number, str(first.sampled_on)) == ("AF-03", "B25-1181", "2025-08-19")
    assert [(r.value, r.unit, r.extractant) for r in first.readings["P"]] == [(22.0, "ppm", "Mehlich-3 ICP")]
    assert [(r.value, r.method) for r in first.readings["buffer pH"]] == [(6.8, "Sikora")]


def test_merged_titles(tmp_path: Path) -> None:
    title = [["Prairie Edge Soil Laboratory (invented)"], ["Report No: 88-2"], [""]]

    def merge(sheet: Any) -> None:
        for row in (1, 2):
            sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=12)

    name = "dev03_two_crops_unit_row.csv"
    contents = same_as(name, workbook(tmp_path / "sheet.xlsx", [*title, *rows_of(name)], merge))
    assert (contents.lab, contents.report) == ("Prairie Edge Soil Laboratory (invented)", "88-2")


def test_pages(tmp_path: Path) -> None:
    """A heading on every page, page numbers, and an average are no samples."""
    name = "dev04_value_with_rating.csv"
    rows = rows_of(name)
    pages = [*rows[:7], ["Page 1 of 2"], [], [rows[0][0]], [], *rows[4:6], *rows[7:9]]
    pages += [["Average", "", "", "", "48", "164", "1,504"], *rows[9:], ["Page 2 of 2"]]
    contents = same_as(name, written(tmp_path / "sheet.csv", pages))
    reasons = {(item.what, item.where, item.count) for item in contents.left_out}
    assert ("headings repeated on a further page", "rows 12, 13", 2) in reasons
    assert ("rows that sum up others", "row 16", 1) in reasons


def test_a_lone_cell_in_the_last_row(tmp_path: Path) -> None:
    def stray(sheet: Any) -> None:
        sheet.cell(1_048_576, 2).font = Font(bold=True)
        sheet.cell(1_048_576, 1).value = "end"

    same_as(
        "dev03_two_crops_unit_row.csv",
        workbook(tmp_path / "s.xlsx", rows_of("dev03_two_crops_unit_row.csv"), stray),
    )


def test_hidden_rows_are_asked_about(tmp_path: Path) -> None:
    def hide(sheet: Any) -> None:
        sheet.row_dimensions[4].hidden = True

    path = workbook(tmp_path / "sheet.xlsx", rows_of("dev03_two_crops_unit_row.csv"), hide)
    contents = read_sheet(path)
    (question,) = contents.questions
    assert (question.id, question.where) == ("hidden", "sheet 'Sheet', rows 4")
    assert [sample.label for sample in contents.samples] == ["Hay 1", "Draw plot"]
    shown = read_sheet(path, {"hidden": "read them"})
    assert [sample.label for sample in shown.samples] == ["Hay 1", "Hay 2", "Draw plot"]


def test_a_hidden_sheet_is_left_out(tmp_path: Path) -> None:
    def more(sheet: Any) -> None:
        other = sheet.parent.create_sheet("Old")
        for row in rows_of("dev01_midwest_codes.csv"):
            other.append(row)
        other.sheet_state = "hidden"

    name = "dev03_two_crops_unit_row.csv"
    contents = same_as(name, workbook(tmp_path / "sheet.xlsx", rows_of(name), more))
    assert ("hidden sheet", "sheet 'Old'") in {(item.what, item.where) for item in contents.left_out}


def test_one_sheet_for_each_field_beside_a_summary(tmp_path: Path) -> None:
    """A field's own sheet repeats what the summary says: it is not a second sample."""
    name = "dev03_two_crops_unit_row.csv"

    def more(sheet: Any) -> None:
        other = sheet.parent.create_sheet("Hay 1")
        for row in rows_of(name)[:3]:
            other.append([_stored(cell) for cell in row])

    contents = same_as(name, workbook(tmp_path / "sheet.xlsx", rows_of(name), more))
    assert "the same sample on a further sheet" in {item.what for item in contents.left_out}


def test_a_note_sheet_names_the_tests(tmp_path: Path) -> None:
    rows: Rows = [["Sample", "pH", "P ppm", "K ppm", "Depth"], ["A", 6.1, 20, 110, "0-6 in"]]

    def more(sheet: Any) -> None:
        sheet.parent.create_sheet("Methods").append(["P: Bray P1; K: ammonium acetate"])

    (sample,) = read_sheet(workbook(tmp_path / "sheet.xlsx", rows, more)).samples
    assert {name: r[0].extractant for name, r in sample.readings.items()} == {
        "pH": None,
        "P": "Bray P1",
        "K": "ammonium acetate",
    }


#: Headings of dev01 in other words of the same trade.
RENAMED = {
    "SAMPLE": "Sample ID",
    "LABNO": "Lab Number",
    "RECD": "Date Received",
    "RPTD": "Report Date",
    "OM": "Organic Matter, %",
    "P1": "Bray P-1",
    "P2": "Strong Bray",
    "BICARB_P": "Olsen P",
    "K": "Potassium",
    "MG": "Magnesium",
    "CA": "Calcium",
    "SPH": "Soil pH",
    "BPH": "Buffer pH",
    "CEC": "Cation Exchange Capacity meq/100g",
    "PCT_K": "% K Saturation",
    "PCT_MG": "Base Sat Mg",
    "PCT_CA": "Ca Sat %",
    "PCT_H": "%H",
    "S": "Sulphur",
    "ZN": "Zinc",
    "MN": "Manganese",
    "B": "Boron",
}


def test_renamed_headings(tmp_path: Path) -> None:
    name = "dev01_midwest_codes.csv"
    heading, *rows = rows_of(name)
    new = []
    for text in heading:
        bare = text.removesuffix("_RT")
        new.append(RENAMED.get(bare, bare) + (" Rating" if text != bare else ""))
    same_as(name, written(tmp_path / "sheet.csv", [new, *rows]))


@pytest.mark.parametrize(
    ("unit", "word"),
    [
        ("ppm", "ppm"),
        ("lb/A", "lb/acre"),
        ("lbs per acre", "lb/acre"),
        ("kg ha-1", "kg/ha"),
        ("mg/dm3", "mg/L"),
        ("mg/100g", "mg/100 g"),
        ("me/100g", "meq/100 g"),
        ("cmolc/kg", "cmol(+)/kg"),
        ("µg/g", "mg/kg"),
    ],
)
def test_a_unit_row_gives_the_unit(unit: str, word: str, tmp_path: Path) -> None:
    rows = rows_of("dev01_midwest_codes.csv")
    units = [
        unit if text in ("P1", "P2", "BICARB_P", "K", "MG", "CA", "S", "ZN", "MN", "B") else ""
        for text in rows[0]
    ]
    contents = read_sheet(written(tmp_path / "sheet.csv", [rows[0], units, *rows[1:]]))
    assert "unit" not in {question.id for question in contents.questions}
    assert {
        r.unit for s in contents.samples for name in ("P", "K", "B") for r in s.readings.get(name, ())
    } == {word}


# ---------------------------------------------------------------------------------------------
# Any mix of habits

SAMPLES = [
    {
        "label": "North 40",
        "lab": "A-101",
        "day": dt.date(2025, 3, 14),
        "pH": 6.1,
        "P": 22.5,
        "K": 1310.0,
        "Zn": 0.8,
    },
    {
        "label": "Creek, east",
        "lab": "A-102",
        "day": dt.date(2025, 3, 29),
        "pH": 5.4,
        "P": 8.0,
        "K": 96.0,
        "Zn": None,
    },
]
HEADINGS = {
    "label": ["Sample ID", "Field name", "Plot"],
    "lab": ["Lab No.", "Lab #", "LABNUM"],
    "day": ["Date sampled", "Sampled", "Collected"],
    "pH": ["pH", "Soil pH", "SOIL_PH"],
    "P": ["P", "Phosphorus", "PHOSPHORUS"],
    "K": ["K", "Potassium", "Potassium (K)"],
    "Zn": ["Zn", "Zinc"],
}
TESTS = {"P": "Mehlich 3", "K": "M3", "Zn": "DTPA"}


@st.composite
def habits(draw: st.DrawFn) -> dict[str, Any]:
    return {
        "comma": draw(st.booleans()),
        "date": draw(
            st.sampled_from(["%m/%d/%Y", "%d/%m/%Y", "%Y-%m-%d", "%d.%m.%Y", "%Y%m%d", "%b %d, %Y"])
        ),
        "stacked": draw(st.sampled_from(["one row", "units", "tests and units"])),
        "turned": draw(st.booleans()),
        "below": draw(st.sampled_from(["<0.1", "< 0.1"])),
        "order": draw(st.permutations(list(HEADINGS))),
        "names": {key: draw(st.sampled_from(words)) for key, words in HEADINGS.items()},
        "title": draw(st.booleans()),
    }


def as_file(habit: dict[str, Any], path: Path) -> Path:
    """Write the samples in a mix of habits."""

    def figure(value: float | None) -> str:
        text = habit["below"] if value is None else f"{value:.10g}"
        return text.replace(".", ",") if habit["comma"] else text

    def cell(sample: dict[str, Any], key: str) -> str:
        if key == "day":
            return sample["day"].strftime(habit["date"])
        return figure(sample[key]) if key in ("pH", "P", "K", "Zn") else sample[key]

    order = habit["order"]
    units = dict.fromkeys(TESTS, "ppm")
    names = dict(habit["names"])
    head: Rows = []
    if habit["stacked"] == "one row":
        names |= {key: f"{names[key]} ({TESTS[key]}) ppm" for key in TESTS}
    elif habit["stacked"] == "units":
        names |= {key: f"{names[key]} ({TESTS[key]})" for key in TESTS}
        head = [[units.get(key, "") for key in order]]
    else:
        head = [[TESTS.get(key, "") for key in order], [units.get(key, "") for key in order]]
    rows = [[names[key] for key in order], *head, *([cell(s, key) for key in order] for s in SAMPLES)]
    rows = turned(rows) if habit["turned"] else rows
    title: Rows = (
        [["Any Mix Laboratory (invented)"], ["Depth of samples 0-6 inches"], []] if habit["title"] else []
    )
    return written(path, [*title, *rows], ";" if habit["comma"] else ",")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(habit=habits())
def test_any_mix_of_habits_reads_back_the_same(habit: dict[str, Any], tmp_path: Path) -> None:
    contents = read_sheet(as_file(habit, tmp_path / "sheet.csv"))
    assert [question.id for question in contents.questions] == ([] if habit["title"] else ["depth"])
    for sample, expected in zip(contents.samples, SAMPLES, strict=True):
        assert (sample.label, sample.lab_number, sample.sampled_on) == (
            expected["label"],
            expected["lab"],
            expected["day"],
        )
        assert [r.value for r in sample.readings["pH"]] == [expected["pH"]]
        for element, test in (("P", "Mehlich-3"), ("K", "Mehlich-3"), ("Zn", "DTPA")):
            (reading,) = sample.readings[element]
            assert (reading.value, reading.unit, reading.extractant) == (expected[element], "ppm", test)
            assert reading.below == (0.1 if expected[element] is None else None)
