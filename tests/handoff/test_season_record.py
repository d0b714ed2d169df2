"""The season record: the columns the rules ask for, corrections that stay visible, sums by hand."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import openpyxl
import pypdf
import pytest
from command_line import planned_property, run
from sample_view import UREA, sample_view

from loamwright.handoff import season_record
from loamwright.handoff.season_record import write_season_record
from loamwright.units import ACRE_M2, LB_KG
from loamwright.work.records import Application, Done, SeasonView

#: Ledger columns asked for (Ohio Adm. Code 901:5-4-04, COMAR 15.20.06.05, Wis. NR 243.19(2), Idaho
#: 02.04.32.252) and the column of ours that answers each.
ASKED = {
    "date": "date",
    "place or field id": "plot",
    "acres applied": "acres covered",
    "product": "product",
    "analysis": "analysis",
    "rate": "rate lb/acre",
    "total amount": "amount lb",
    "who applied": "who applied",
    "certificate holder": "certificate holder",
    "method": "method",
    "soil condition": "ground",
    "frozen or snow, yes or no": "frozen or snow",
    "weather at time": "weather",
    "forecast for next day": "forecast next day",
    "weather 24 h before": "weather 24 h before",
    "weather 24 h after": "weather 24 h after",
    "time to incorporation, rain or irrigation": "hours to working in, rain or irrigation",
    "runoff seen on frozen ground": "runoff seen",
    "daily log of loads": "loads",
    "purchase receipts": "receipt",
    "nutrients applied per field, N": "N lb",
    "nutrients applied per field, P": "P2O5 lb",
    "reason when actual differs from plan": "reason if different",
}


def corrected() -> SeasonView:
    """Two entries on one plot: 100 lb of urea over 1.25 acres, corrected to 90 lb."""
    view = sample_view(4)
    first = Application(
        "E-1",
        "AF-02",
        UREA,
        Done.DONE,
        dt.date(2026, 5, 1),
        100 * LB_KG,
        area_m2=1.25 * ACRE_M2,
        operator="A. Helper",
        ground="damp",
        weather="60 F, calm",
        recorded_at="2026-05-01T18:00:00",
    )
    second = replace(first, entry_id="E-2", mass_kg=90 * LB_KG, replaces="E-1", reason="bag was short")
    other_year = replace(first, entry_id="E-0", applied_on=dt.date(2025, 5, 1))
    return replace(view, record=replace(view.record, applications=(other_year, first, second)))


def _rows(path: Path, sheet: str) -> list[dict[str, object]]:
    page = openpyxl.load_workbook(path)[sheet]
    lines = list(page.iter_rows(values_only=True))
    head = next(i for i, line in enumerate(lines) if line[1] is not None)
    return [dict(zip(lines[head], line, strict=True)) for line in lines[head + 1 :]]


def test_workbook_answers_every_column_asked_for(tmp_path: Path) -> None:
    made = write_season_record(corrected(), tmp_path / "record.xlsx")
    assert made.pages == 7  # entries, sums, crops, soil tests, checklist, spreader tests, plans
    rows = _rows(tmp_path / "record.xlsx", "Applications")
    assert {asked: ours for asked, ours in ASKED.items() if ours not in rows[0]} == {}
    # what the program cannot know is a blank to fill in by hand, never a guess
    assert all(row[name] is None for row in rows for name in season_record.BY_HAND)
    crops = _rows(tmp_path / "record.xlsx", "Crops")
    assert [row["plot"] for row in crops] == ["AF-01", "AF-02", "AF-03", "AF-04"]
    # Idaho 02.04.32.252: crop, planting, harvest, yield, residue removed
    asked = {"crop", "planted on", "harvested or ended on", "yield and residue removed"}
    assert asked <= set(crops[0])


@pytest.mark.parametrize(
    ("ground", "shown"),
    [("snow-covered", "yes"), ("Frozen hard", "yes"), ("moist", "no"), ("", None)],
)
def test_frozen_ground_is_answered_from_what_was_reported(
    tmp_path: Path, ground: str, shown: str | None
) -> None:
    view = corrected()
    entries = tuple(replace(entry, ground=ground) for entry in view.record.applications)
    view = replace(view, record=replace(view.record, applications=entries))
    write_season_record(view, tmp_path / "record.xlsx")
    first = _rows(tmp_path / "record.xlsx", "Applications")[0]
    assert (first["ground"], first["frozen or snow"]) == (ground or None, shown)


def test_corrections_point_to_the_old_entry_and_only_the_new_one_is_summed(tmp_path: Path) -> None:
    write_season_record(corrected(), tmp_path / "record.xlsx")
    first, second, total = _rows(tmp_path / "record.xlsx", "Applications")
    assert (first["entry"], first["stands"], first["corrects entry"]) == ("E-1", "corrected by E-2", None)
    assert (second["entry"], second["stands"], second["corrects entry"]) == ("E-2", "counts", "E-1")
    # 100 lb over 1.25 acres = 80 lb/acre; 90 lb × 46 % = 41.4 lb N, the corrected 46 lb not counted
    assert first["rate lb/acre"] == pytest.approx(80)
    assert first["acres covered"] == pytest.approx(1.25)
    assert second["N lb"] == pytest.approx(41.4)
    assert total["entry"] == "sum of entries that count"
    assert total["N lb"] == pytest.approx(41.4)
    assert first["P2O5 lb"] is None  # urea guarantees none: blank, not zero


def test_printed_record_says_the_same(tmp_path: Path) -> None:
    made = write_season_record(corrected(), tmp_path / "record.pdf")
    reader = pypdf.PdfReader(tmp_path / "record.pdf")
    assert made.pages == len(reader.pages)
    page = reader.pages[0]
    assert page.mediabox.width > page.mediabox.height
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    for part in (
        "corrected by E-2",
        "Corrects E-1",
        "100.0 lb",
        "90.0 lb",
        "41.4 lb",
        "80 lb/acre",
        "A. Helper",
        "Ground: damp",
        "Weather: 60 F, calm",
        "Why different: bag was short",
        "Forecast: not stated.",
        "By hand, where your rule asks for it: certificate holder",
        "Keep at least five years",
        "gate 4",
        "PLAN-2026-1",
    ):
        assert part in text, part
    assert "E-0" not in text  # last season's


def test_a_difference_without_a_reason_is_named(tmp_path: Path) -> None:
    view = sample_view(25)
    over = next(a for a in view.record.applications if a.reason == "gate stuck open")
    silent = tuple(replace(a, reason="") if a is over else a for a in view.record.applications)
    view = replace(view, record=replace(view.record, applications=silent))
    (problem,) = write_season_record(view, tmp_path / "record.xlsx").problems
    assert over.entry_id in problem.where
    put_on, planned = (float(x) for x in re.findall(r"([\d.]+) lb", problem.what))
    assert put_on == pytest.approx(1.3 * planned, rel=0.002)  # as the sample has it


def test_hostile_record_is_text_everywhere(tmp_path: Path) -> None:
    view = sample_view(25, hostile=True)
    write_season_record(view, tmp_path / "record.xlsx")
    write_season_record(view, tmp_path / "record.pdf")
    book = openpyxl.load_workbook(tmp_path / "record.xlsx")
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row if c.value is not None]
    assert all(cell.data_type != "f" for cell in cells)
    text = re.sub(
        r"\s+", "", "".join(p.extract_text() for p in pypdf.PdfReader(tmp_path / "record.pdf").pages)
    )
    assert "<script>window.pwned=1</script>" in text
    assert all("/Annots" not in page for page in pypdf.PdfReader(tmp_path / "record.pdf").pages)


def test_an_empty_record_prints(tmp_path: Path) -> None:
    view = sample_view(1)
    empty = replace(
        view, record=replace(view.record, applications=(), calibrations=(), plans=()), balances=()
    )
    write_season_record(empty, tmp_path / "record.pdf")
    assert "Nothing has been recorded" in pypdf.PdfReader(tmp_path / "record.pdf").pages[0].extract_text()


def test_work_planned_by_an_earlier_plan_of_the_season_is_no_work_outside_the_plan(tmp_path: Path) -> None:
    path = planned_property(tmp_path)
    lines = run("status", path).data["lines"]
    (planned,) = [row["planned_lb"] for row in lines if row["product"] == "MAP 11-52-0"]
    entry = ("--plot", "A-1", "--product", "MAP 11-52-0", "--amount", f"{planned} lb")
    assert run("record", path, *entry, "--answer", "anything=yes").data["new"]
    assert run("plan", path, "--reason", "the rest").code in (0, 1)
    run("report", path, tmp_path / "out")
    (book,) = (tmp_path / "out").rglob("*.xlsx")
    rows = [*openpyxl.load_workbook(book)["Applications"].iter_rows(values_only=True)]
    heading = next(row for row in rows if row and "planned lb" in row)
    (done,) = [row for row in rows if row and "MAP 11-52-0" in row and isinstance(row[0], str)]
    assert done[heading.index("planned lb")] == pytest.approx(planned)
