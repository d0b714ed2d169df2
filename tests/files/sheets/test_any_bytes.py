"""Whatever stands in a file, it is read, asked about or refused: no other error, and always an end."""

from __future__ import annotations

import contextlib
import csv
import io
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loamwright.errors import InputError
from loamwright.files.sheets import as_data, read_sheet

HERE = Path(__file__).parent
TEXTS = sorted([*(HERE / "labs").glob("*.csv"), *(HERE / "variants").glob("*.csv")])
WORDS = [
    "P ppm",
    "K",
    "Mg mg/kg",
    "pH",
    "Buffer pH (SMP)",
    "Lime to 6.5",
    "N lb/A",
    "P2O5",
    "Crop",
    "Sample",
    "Lab No",
    "Depth",
    "Date",
    "Sampled",
    "P Index",
    "K_RT",
    "Zn-AI",
    "Product",
    "Analysis",
    "$/ton",
    "Each",
    "Ticket",
    "Net lb",
    "Gross",
    "Analyte",
    "Result",
    "Units",
    "Qual",
    "MDL",
    "Moisture",
    "Dry basis %",
    "Total N kg/t",
    "1,385",
    "1.385",
    "<0.1",
    "> 5",
    "ND",
    "12 M",
    "5-10",
    "0-6 in",
    "0-6",
    "3/4/2025",
    "2025-13-01",
    "45727",
    "10-10-10",
    "21-0-0-24S",
    "ENP 1,74,0 lb/T",
    "4:3:4 (33)",
    "ND = below 1.000 ppm",
    "P, K in lb/acre",
    "Lime as limestone, NV 54",
    "--",
    "$",
    "nan",
    "1e999",
    "-5",
    "٣",
    "½",
    "=1+1",
    "'@x",
    "<script>",
    "\u202e",
    "\x00",
    "ﬃ",
]

QUIET = settings(
    max_examples=150, deadline=10_000, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def read_or_refuse(path: Path) -> None:
    with contextlib.suppress(InputError):
        as_data(read_sheet(path))


@QUIET
@given(
    rows=st.lists(st.lists(st.sampled_from(WORDS) | st.text(max_size=8), max_size=7), min_size=1, max_size=9)
)
def test_any_cells(rows: list[list[str]], tmp_path: Path) -> None:
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    path = tmp_path / "any.csv"
    path.write_text(text.getvalue(), encoding="utf-8", errors="surrogatepass")
    read_or_refuse(path)


@QUIET
@given(data=st.binary(max_size=300))
def test_any_bytes(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "any.bin"
    path.write_bytes(data)
    read_or_refuse(path)


@pytest.mark.parametrize("file", TEXTS, ids=lambda path: path.name)
@settings(max_examples=12, deadline=10_000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_sheet_with_damaged_cells(file: Path, data: st.DataObject, tmp_path: Path) -> None:
    rows = list(csv.reader(io.StringIO(file.read_text(encoding="cp1252"), newline="")))
    for _ in range(data.draw(st.integers(1, 6))):
        row = rows[data.draw(st.integers(0, len(rows) - 1))]
        if row:
            row[data.draw(st.integers(0, len(row) - 1))] = data.draw(st.sampled_from(WORDS))
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    path = tmp_path / "damaged.csv"
    path.write_text(text.getvalue(), encoding="utf-8")
    read_or_refuse(path)


@pytest.mark.parametrize(
    "name", ["m1_result_v1.xml", "m2_result_v1.json", "m3_slim.json", "m4_awkward_v1.xml"]
)
@settings(max_examples=40, deadline=10_000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_modus_file_with_damaged_parts(name: str, data: st.DataObject, tmp_path: Path) -> None:
    text = (HERE / "modus" / name).read_text(encoding="utf-8")
    start = data.draw(st.integers(0, len(text) - 1))
    end = data.draw(st.integers(start, min(len(text), start + 60)))
    path = tmp_path / name
    put = data.draw(
        st.sampled_from(["", "null", "[]", "{}", "1e999", "-1", '"x"', "true", "<x/>", "POINT(1.2.3 4)"])
    )
    path.write_text(text[:start] + put + text[end:], encoding="utf-8")
    read_or_refuse(path)
