"""Sampling sheets: a page and a bag label for every plot that is due, and why the others can wait."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pypdf
from sample_view import sample_view

from loamwright.handoff.sampling_sheets import sampling_page, write_sampling_sheets


def test_sheets_for_the_plots_that_are_due(tmp_path: Path) -> None:
    view = sample_view(25)
    made = write_sampling_sheets(view, tmp_path / "sampling.pdf")
    texts = [" ".join(p.extract_text().split()) for p in pypdf.PdfReader(tmp_path / "sampling.pdf").pages]
    assert made.pages == len(texts) == 4  # overview, two plots, labels
    acres = view.areas["AF-07"].spread_area_m2 / 4046.8564224
    assert f"AF-07 Old pasture 7 {acres:.2f} acres 15 6-8 in never sampled" in texts[0]
    assert "AF-01 Old pasture 1: sampled in 2025" in texts[0]
    assert "Invented Extension, Taking Soil Samples, 2023" in texts[1]
    for number in range(1, 16):
        assert f" {number} " in texts[1]  # every core is numbered on the sketch
    assert "AF-07 2026" in texts[3]
    assert "AF-09 2026" in texts[3]


def test_cores_are_drawn_where_the_plan_puts_them() -> None:
    view = sample_view(25)
    sheet = next(s for s in sampling_page(view, "a4").sheets if s.plot_id == "AF-07")
    cores = [mark for mark in sheet.drawing.marks if mark.kind == "core"]
    points = view.sampling["AF-07"].points
    assert [mark.text for mark in cores] == [str(n) for n in range(1, 16)]
    # further east is further right, further north is further up, in the same order
    assert sorted(range(15), key=lambda i: cores[i].x) == sorted(range(15), key=lambda i: points[i][0])
    assert sorted(range(15), key=lambda i: -cores[i].y) == sorted(range(15), key=lambda i: points[i][1])


def test_nothing_due_is_said(tmp_path: Path) -> None:
    view = sample_view(3)
    view = replace(view, sampling={k: replace(s, due=False) for k, s in view.sampling.items()})
    made = write_sampling_sheets(view, tmp_path / "sampling.pdf")
    assert made.pages == 1
    assert "no plot is due" in made.problems[0].what


def test_hostile_labels_are_text(tmp_path: Path) -> None:
    write_sampling_sheets(sample_view(25, hostile=True), tmp_path / "sampling.pdf")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "sampling.pdf").pages)
    assert "<script>window.pwned=1</script>" in text.replace("\n", "").replace("\u200b", "")
