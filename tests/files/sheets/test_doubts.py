"""What cannot be known is asked, what cannot be read is refused: nothing becomes a silent zero or a guess."""

from __future__ import annotations

import datetime as dt
import zipfile
from pathlib import Path

import openpyxl
import pytest

from loamwright.errors import InputError
from loamwright.files.sheets import SheetContents, read_sheet

HEAD = "Sample,Lab No,Date sampled,Depth,pH,P (Bray P1) ppm,K (Mehlich 3) ppm"
ROW = "North,101,2025-03-14,0-6 in,6.1,22,140"


def sheet(
    tmp_path: Path, *lines: str, name: str = "sheet.csv", answers: dict[str, str] | None = None
) -> SheetContents:
    path = tmp_path / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_sheet(path, answers)


def asked(contents: SheetContents) -> set[str]:
    return {question.id for question in contents.questions}


def test_a_plain_sheet_asks_nothing(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ROW)
    assert asked(contents) == set()
    assert contents.samples[0].readings["P"][0].value == 22


# ---------------------------------------------------------------------------------------------
# Numbers


def test_a_comma_that_may_be_either_is_asked_about(tmp_path: Path) -> None:
    """1,385 alone does not tell; no column of the sheet has a number that does."""
    lines = ("Sample;Sampled;Depth;pH;P Olsen mg/kg;K Olsen mg/kg", "A;2025-03-14;0-15 cm;6;21;1,385")
    contents = sheet(tmp_path, *lines)
    assert asked(contents) == {"number.k-olsen-mg-kg"}
    assert contents.questions[0].about == "is '1,385' 1.385 or 1385"
    assert contents.samples[0].readings["K"][0].value is None
    decimal = sheet(tmp_path, *lines, answers={"number.k-olsen-mg-kg": "decimal comma"})
    assert decimal.samples[0].readings["K"][0].value == 1.385
    thousands = sheet(tmp_path, *lines, answers={"number.k-olsen-mg-kg": "comma between thousands"})
    assert thousands.samples[0].readings["K"][0].value == 1385


def test_another_column_settles_the_comma(tmp_path: Path) -> None:
    lines = ("Sample;Sampled;Depth;pH;P Olsen mg/kg;K Olsen mg/kg", "A;2025-03-14;0-15 cm;6,1;21;1,385")
    assert sheet(tmp_path, *lines).samples[0].readings["K"][0].value == 1.385


def test_a_number_with_both_marks_needs_no_question(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD.replace("ppm", "lb/A"), 'North,101,2025-03-14,0-6 in,6.1,22,"1,385.5"')
    assert contents.samples[0].readings["K"][0].value == 1385.5


@pytest.mark.parametrize("cell", ["12.3.4", "see note", "-5", "5-6", "1/2", "12 lb x"])
def test_a_cell_that_is_no_figure_is_asked_about(cell: str, tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, f"North,101,2025-03-14,0-6 in,6.1,{cell},140")
    (question,) = contents.questions
    assert question.id.startswith("cell.p-bray-p1-ppm.")
    assert repr(cell) in question.about
    reading = contents.samples[0].readings["P"][0]
    assert (reading.printed, reading.value, reading.candidates) == (cell, None, ("value",))
    given = sheet(tmp_path, HEAD, f"North,101,2025-03-14,0-6 in,6.1,{cell},140", answers={question.id: "17"})
    assert given.samples[0].readings["P"][0].value == 17


@pytest.mark.parametrize(("heading", "cell"), [("pH", "61"), ("Buffer pH (SMP)", "66"), ("OM %", "140")])
def test_a_figure_that_cannot_be_is_asked_about(heading: str, cell: str, tmp_path: Path) -> None:
    contents = sheet(tmp_path, f"{HEAD},{heading}", f"{ROW},{cell}")
    assert [question.about.startswith(repr(cell)) for question in contents.questions] == [True]


def test_the_lime_test_index_is_ten_times_the_buffer_ph(tmp_path: Path) -> None:
    """Soil sampling and interpretation (seed company agronomy page): 68 means buffer pH 6.8."""
    contents = sheet(tmp_path, f"{HEAD},LTI (SMP)", f"{ROW},68")
    (reading,) = contents.samples[0].readings["buffer pH"]
    assert (reading.printed, reading.value, reading.method) == ("68", 6.8, "SMP")


def test_below_a_limit_is_neither_zero_nor_the_limit(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, "North,101,2025-03-14,0-6 in,6.1,<0.4,> 500")
    p, k = (contents.samples[0].readings[name][0] for name in "PK")
    assert (p.value, p.below, k.value, k.above) == (None, 0.4, None, 500)


def test_not_detected_without_a_limit_says_so(tmp_path: Path) -> None:
    reading = sheet(tmp_path, HEAD, "North,101,2025-03-14,0-6 in,6.1,ND,140").samples[0].readings["P"][0]
    assert (reading.value, reading.below, reading.note) == (
        None,
        None,
        "not detected; the sheet gives no limit",
    )


@pytest.mark.parametrize("blank", ["", "n/a", "NT", "--", "not tested"])
def test_a_blank_is_not_tested(blank: str, tmp_path: Path) -> None:
    contents = sheet(
        tmp_path, f"{HEAD},Zn (DTPA) ppm", f"{ROW},{blank}", f"{ROW.replace('North,101', 'South,102')},1.1"
    )
    assert ["Zn" in sample.readings for sample in contents.samples] == [False, True]


# ---------------------------------------------------------------------------------------------
# Units, tests, headings


def test_a_unit_row_that_contradicts_the_heading_is_asked_about(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ",,,,,lb/A,ppm", ROW)
    (question,) = contents.questions
    assert set(question.choices) == {"ppm", "lb/acre", "not known"}
    reading = contents.samples[0].readings["P"][0]
    assert (reading.unit, reading.candidates) == (None, ("unit",))
    answered = sheet(tmp_path, HEAD, ",,,,,lb/A,ppm", ROW, answers={question.id: "lb/acre"})
    assert answered.samples[0].readings["P"][0].unit == "lb/acre"


def test_two_units_in_one_column(tmp_path: Path) -> None:
    """A cell that contradicts its heading is asked about; with no unit above, each keeps its own."""
    contents = sheet(tmp_path, HEAD, "North,101,2025-03-14,0-6 in,6.1,44 lb/A,140")
    assert [question.about for question in contents.questions] == ["unit of '44 lb/A': the heading says ppm"]
    assert contents.samples[0].readings["P"][0].candidates == ("unit",)
    bare = HEAD.replace(" ppm", "")
    rows = (
        "North,101,2025-03-14,0-6 in,6.1,44 lb/A,140 ppm",
        "South,102,2025-03-14,0-6 in,6.1,22 ppm,140 ppm",
    )
    each = sheet(tmp_path, bare, *rows)
    assert [sample.readings["P"][0].unit for sample in each.samples] == ["lb/acre", "ppm"]


def test_a_heading_that_looks_like_a_nutrient_and_is_not_understood_is_asked_about(tmp_path: Path) -> None:
    contents = sheet(tmp_path, f"{HEAD},K reserve quux ppm", f"{ROW},310")
    assert asked(contents) >= {"column.k-reserve-quux-ppm"}
    renamed = sheet(
        tmp_path,
        f"{HEAD},K reserve quux ppm",
        f"{ROW},310",
        answers={"column.k-reserve-quux-ppm": "K (HNO3) ppm"},
    )
    assert [(r.value, r.extractant) for r in renamed.samples[0].readings["K"]] == [
        (140.0, "Mehlich-3"),
        (310.0, "nitric acid"),
    ]
    without = sheet(
        tmp_path,
        f"{HEAD},K reserve quux ppm",
        f"{ROW},310",
        answers={"column.k-reserve-quux-ppm": "leave out"},
    )
    assert len(without.samples[0].readings["K"]) == 1


def test_a_share_of_the_exchange_capacity_is_no_nutrient(tmp_path: Path) -> None:
    contents = sheet(tmp_path, f"{HEAD},K %,% Ca Sat,BS-Mg,PERH", f"{ROW},3.1,61,14,22")
    assert {name: len(readings) for name, readings in contents.samples[0].readings.items()} == {
        "pH": 1,
        "P": 1,
        "K": 1,
    }
    assert [item.where for item in contents.left_out] == [
        "column 'K %'",
        "column '% Ca Sat'",
        "column 'BS-Mg'",
        "column 'PERH'",
    ]


def test_a_zinc_column_beside_rates_is_a_rate_and_alone_a_test(tmp_path: Path) -> None:
    advice = "Crop,N lb/A,P2O5 lb/A,K2O lb/A,Zn lb/A"
    contents = sheet(tmp_path, f"{HEAD},Zn (DTPA) ppm,{advice}", f"{ROW},0.4,Clover,0,60,120,5")
    (sample,) = contents.samples
    assert [(r.value, r.unit) for r in sample.readings["Zn"]] == [(0.4, "ppm")]
    assert {name: (a.value, a.unit) for name, a in sample.recommendations[0].amounts.items()} == {
        "N": (0.0, "lb/acre"),
        "P2O5": (60.0, "lb/acre"),
        "K2O": (120.0, "lb/acre"),
        "Zn": (5.0, "lb/acre"),
    }


def test_advice_around_the_table_becomes_no_unit(tmp_path: Path) -> None:
    notes = (
        '"Lime: do not apply more than 2 tons per acre at once. P and K move little in soil."',
        "Buffer pH is run below pH 6.5",
    )
    contents = sheet(tmp_path, *notes, "", f"{HEAD},Mg (Mehlich 3)", f"{ROW},88")
    assert asked(contents) == {"unit"}
    assert contents.samples[0].readings["Mg"][0].unit is None


# ---------------------------------------------------------------------------------------------
# Dates, names, depths


def test_a_date_with_two_readings_is_asked_about(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ROW.replace("2025-03-14", "3/4/2025"))
    (question,) = contents.questions
    assert question.id == "date-order"
    assert question.choices == ("month-day-year", "day-month-year", "not known")
    (sample,) = contents.samples
    assert (sample.sampled_on, sample.candidates) == (dt.date(2025, 3, 4), ("sampled_on",))
    other = sheet(
        tmp_path, HEAD, ROW.replace("2025-03-14", "3/4/2025"), answers={"date-order": "day-month-year"}
    )
    assert other.samples[0].sampled_on == dt.date(2025, 4, 3)


def test_receiving_after_sampling_settles_the_order(tmp_path: Path) -> None:
    """Sampled 5/3, received 4/4: day first gives 5 March and 4 April, month first 3 May and 4 April."""
    head, row = f"{HEAD},Received", f"{ROW.replace('2025-03-14', '5/3/2025')},4/4/2025"
    contents = sheet(tmp_path, head, row)
    assert asked(contents) == set()
    assert contents.samples[0].sampled_on == dt.date(2025, 3, 5)


def test_dates_a_spreadsheet_may_have_swapped_are_asked_about(tmp_path: Path) -> None:
    """18/02/2025 stayed a text where the month is expected first, so 5 February may be stored as 2 May."""
    book = openpyxl.Workbook()
    book.active.append(HEAD.split(","))
    book.active.append(["North", "1", dt.date(2025, 5, 2), "0-6 in", 6.1, 22, 140])
    book.active.append(["South", "2", "18/02/2025", "0-6 in", 6.1, 22, 140])
    path = tmp_path / "sheet.xlsx"
    book.save(path)
    assert asked(read_sheet(path)) == {"stored-dates"}
    swapped = read_sheet(path, {"stored-dates": "day and month swapped"})
    assert [sample.sampled_on for sample in swapped.samples] == [dt.date(2025, 2, 5), dt.date(2025, 2, 18)]


def test_a_received_date_is_no_sampling_date(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD.replace("Date sampled", "Received"), ROW)
    assert asked(contents) == {"sampled"}
    assert (contents.samples[0].sampled_on, contents.samples[0].received_on) == (None, dt.date(2025, 3, 14))


@pytest.mark.parametrize("day", ["14.13.2025", "2025-02-30", "Blorember 3, 2025", "99/99/99"])
def test_a_day_that_is_none_is_asked_about(day: str, tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ROW.replace("2025-03-14", f'"{day}"'))
    assert any(repr(day) in question.about for question in contents.questions)
    assert contents.samples[0].sampled_on is None


@pytest.mark.parametrize("day", ["31/02/2026", "week 41 2026"])
@pytest.mark.parametrize("in_title", [True, False])
def test_a_day_that_is_none_is_asked_about_once(day: str, in_title: bool, tmp_path: Path) -> None:
    ident = f"date.{day.replace('/', '-').replace(' ', '-')}"
    lines = (HEAD, ROW.replace("2025-03-14", day))
    if in_title:
        lines = (
            f"Date sampled: {day}",
            HEAD.replace("Date sampled", "Remark"),
            ROW.replace("2025-03-14", "wet"),
        )
    assert asked(sheet(tmp_path, *lines)) == {ident}
    known = sheet(tmp_path, *lines, answers={ident: "2026-10-07"})
    assert (asked(known), known.samples[0].sampled_on) == (set(), dt.date(2026, 10, 7))
    unknown = sheet(tmp_path, *lines, answers={ident: "not known"})
    assert (asked(unknown), unknown.samples[0].sampled_on) == (set(), None)


@pytest.mark.parametrize("name", ["3-Feb", "Feb-03", "2025-02-03", "1E+05"])
def test_a_name_a_spreadsheet_changed_is_asked_about(name: str, tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ROW.replace("North", name))
    (question,) = contents.questions
    assert repr(name) in question.about
    assert contents.samples[0].candidates == ("label",)
    assert (
        sheet(tmp_path, HEAD, ROW.replace("North", name), answers={question.id: "2-3"}).samples[0].label
        == "2-3"
    )


def test_leading_zeros_stay(tmp_path: Path) -> None:
    assert sheet(tmp_path, HEAD, ROW.replace("101", "00101")).samples[0].lab_number == "00101"


def test_a_depth_without_a_unit_is_asked_about(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ROW.replace("0-6 in", "0-6"))
    assert asked(contents) == {"depth-unit"}
    answered = sheet(tmp_path, HEAD, ROW.replace("0-6 in", "0-6"), answers={"depth-unit": "in"})
    assert str(answered.samples[0].depth and answered.samples[0].depth.unit) == "in"


def test_the_same_sample_twice_is_asked_about(tmp_path: Path) -> None:
    lines = (HEAD, ROW, ROW.replace(",22,", ",25,"))
    contents = sheet(tmp_path, *lines)
    assert asked(contents) == {"twice.101"}
    assert [sample.candidates for sample in contents.samples] == [("readings",), ("readings",)]
    last = sheet(tmp_path, *lines, answers={"twice.101": "the last one stands"})
    assert [sample.readings["P"][0].value for sample in last.samples] == [25]


def test_a_sample_without_phosphorus_is_a_question(tmp_path: Path) -> None:
    contents = sheet(tmp_path, HEAD, ROW, "South,102,2025-03-14,0-6 in,6.1,,140")
    assert [question.about for question in contents.questions] == ["no P result for South"]


def test_footers_and_averages_are_no_samples(tmp_path: Path) -> None:
    lines = ("Average,,,,6.1,22,140", "", "Samples are held 30 days.", "Reviewed by: A. Nobody,,,,,,")
    contents = sheet(tmp_path, HEAD, ROW, *lines)
    assert [sample.label for sample in contents.samples] == ["North"]
    assert [(item.what, item.where) for item in contents.left_out] == [("rows that sum up others", "row 3")]


# ---------------------------------------------------------------------------------------------
# Files that are none


def refused(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_sheet(path)
    return str(caught.value)


def test_files_that_hold_no_sheet(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    for data, words in (
        (b"", "the file is empty (0 bytes)"),
        (b"   \n\n", "the file is empty"),
        (b"%PDF-1.7 ...", "this is a PDF document"),
        (b"\xd0\xcf\x11\xe0 old", "this is an old XLS workbook"),
        (b"SQLite format 3\x00", "this is a database or property file"),
        (b"just words\nand more words\n", "no table of results, prices or tickets was found"),
        (b"PK\x03\x04 broken", "this is not an XLSX workbook that can be opened"),
        (b"a,b\n\x01\x02,3\n", "this is not text"),
        (b"<html><body>login</body></html>", "holds no Modus results"),
        (b"<a", "the XML is damaged"),
        (b"{", "the JSON is damaged"),
        (
            b'<!DOCTYPE x [<!ENTITY a "b">]><ModusResult>&a;</ModusResult>',
            "defines a document type or entities",
        ),
    ):
        path.write_bytes(data)
        assert words in refused(path), data
    assert "there is no file" in refused(tmp_path / "none.csv")
    assert "is a directory" in refused(tmp_path)


def test_a_workbook_that_unpacks_to_a_gigabyte_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bomb.xlsx"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("x", "w", force_zip64=True) as member,
    ):
        for _ in range(260):
            member.write(bytes(1_000_000))
    assert path.stat().st_size < 1_000_000
    assert "unpacks to 260,000,000 bytes" in refused(path)


def test_a_formula_without_a_result_is_asked_about(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(HEAD.split(","))
    book.active.append(["North", "1", "2025-03-14", "0-6 in", 6.1, "=11*2", 140])
    path = tmp_path / "sheet.xlsx"
    book.save(path)
    (formula, missing) = read_sheet(path).questions
    assert (formula.id, formula.where) == ("formula", "sheet 'Sheet', cells F2")
    assert missing.about == "no P result for all samples"


def test_a_grade_turned_into_a_date_is_asked_about(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Product", "Size", "Price each"])
    book.active.append([dt.date(2010, 10, 10), "50 lb", 17.49])
    path = tmp_path / "prices.xlsx"
    book.save(path)
    (question,) = read_sheet(path).questions
    assert (question.id, question.likely) == ("product.2010-10-10", "10-10-10")
    (offer,) = read_sheet(path, {"product.2010-10-10": "10-10-10"}).offers
    assert (offer.product, offer.price, offer.per) == ("10-10-10", 17.49, "each")


def test_a_ratio_is_no_grade(tmp_path: Path) -> None:
    """South African bags print a ratio and the total: 4:3:4 (33) is 12 % N, never 4 %."""
    (offer,) = sheet(tmp_path, "Product,Size,Price each", "4:3:4 (33),50 kg,410").offers
    assert offer.analysis == {}


def test_net_that_is_not_gross_less_tare_is_asked_about(tmp_path: Path) -> None:
    lines = ("Ticket,Date,Gross lb,Tare lb,Net lb,Product", "7,2026-04-09,60000,24000,38000,Ag lime")
    (question,) = sheet(tmp_path, *lines).questions
    assert question.about == "net 19 tons is not gross 30 tons less tare 12 tons"


@pytest.mark.parametrize(
    ("ph", "printed", "answer", "value"),
    [
        ("6", "1,234", "decimal comma", 1.234),
        ("6", "1,234", "comma between thousands", 1234),
        ("6,1", "1.234", "decimal comma", 1234),  # then the point stands between thousands
        ("6,1", "1.234", "comma between thousands", 1.234),
    ],
)
def test_an_answer_about_commas_holds_for_a_point_too(
    ph: str, printed: str, answer: str, value: float, tmp_path: Path
) -> None:
    lines = ("Sample;pH;P Olsen mg/kg;K Olsen mg/kg", f"A;{ph};18;{printed}")
    read = sheet(tmp_path, *lines, answers={"number.k-olsen-mg-kg": answer})
    assert read.samples[0].readings["K"][0].value == value


def test_a_rating_among_the_results_of_a_long_table_is_asked_about_and_left_out(tmp_path: Path) -> None:
    """Found by a random cell: `K_RT` names a rating of potassium and no figure of it."""
    text = (Path(__file__).parent / "labs" / "dev09_long_lims.csv").read_text(encoding="utf-8")
    contents = sheet(tmp_path, *text.replace('"pH","1:1 water"', '"K_RT","1:1 water"').splitlines())
    assert "column.k-rt" in asked(contents)
    assert all("pH" not in sample.readings for sample in contents.samples)
    assert any("K_RT" in left.where for left in contents.left_out)


PALMETTO = (
    "Date sampled: 10/26/2026",
    ",,Buffer,Soil,Mehlich-1 Extractable,,Ratings,",
    "Lab No.,Sample ID,pH,pH,P,K,P,K",
    ",,,,lbs/acre,lbs/acre,,",
    "88101,POND TOP,7.65,5.3,14,62,L,L",
    "88102,POND BOT,7.75,5.8,31,118,M,M",
    "Sampling depth 0-6 inches",
)


def test_what_stands_over_two_ph_columns_tells_them_apart(tmp_path: Path) -> None:
    """The failing case: the buffer's 7.65 was kept as the soil's pH, and 5.3 was lost."""
    contents = sheet(tmp_path, *PALMETTO)
    first = contents.samples[0].readings
    assert [one.value for one in first["buffer pH"]] == [7.65]
    assert [one.value for one in first["pH"]] == [5.3]
    assert [(one.value, one.rating) for one in first["P"]] == [(14, "L")]
    assert [(one.value, one.rating) for one in first["K"]] == [(62, "L")]
    turned = sheet(tmp_path, *(line.replace("Buffer,Soil", "Soil,Buffer") for line in PALMETTO))
    assert [one.value for one in turned.samples[0].readings["pH"]] == [7.65]
