"""The season picture: bars as shares of their axes against hand figures, and one page whatever comes."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest
from sample_view import K_LB_ACRE, LIME_ENP_LB_ACRE, N_LB_ACRE, P_LB_ACRE, sample_view

from loamwright import palette
from loamwright.handoff import season_picture
from loamwright.handoff.paper import TEMPLATES
from loamwright.handoff.season_picture import ROWS, PicturePage, picture_page, write_season_picture


def _top(panel: season_picture.NeedPanel) -> float:
    return float(panel.axis[-1].text.replace(",", ""))


def test_bars_are_the_needs_by_hand() -> None:
    page = picture_page(sample_view(25), "us-letter")
    want = {"N": N_LB_ACRE, "P2O5": P_LB_ACRE, "K2O": K_LB_ACRE, "lime ENP": LIME_ENP_LB_ACRE}
    assert [panel.title for panel in page.panels] == list(want)  # the order a bag is printed in, then lime
    for panel in page.panels:
        for index, bar in enumerate(panel.bars):
            if panel.title == "P2O5" and index % 7 == 6:
                assert (bar.need, bar.words) == (None, "not known")
            elif (panel.title == "P2O5" and index % 4 == 3) or (panel.title == "lime ENP" and index % 5):
                assert (bar.supply, bar.words) == (0.0, "none")
            else:
                assert bar.need * _top(panel) == pytest.approx(want[panel.title])
                assert bar.supply * _top(panel) == pytest.approx(want[panel.title])
        assert all(0 <= (bar.need or 0) <= 1 and 0 <= bar.supply <= 1 for bar in panel.bars)


def test_dollars_and_work_add_up() -> None:
    view = sample_view(25)
    page = picture_page(view, "us-letter")
    dollars = sum(float(bar.words.replace("$", "").replace(",", "")) for bar in page.money)
    assert dollars == pytest.approx(float(view.plan.total_cost), abs=0.01)
    assert page.money[0].share == 1.0
    for bar in page.status:
        assert sum(piece.share for piece in bar.pieces) == pytest.approx(1.0)
    counts = {key.state: int(key.passes) for key in page.status_key}
    assert sum(counts.values()) == len(view.plan.lines)
    assert counts["over"] == 1
    assert {key.fill for key in page.status_key} <= set(palette.STATUS.values())  # the map's own fills


def test_soil_tests_join_only_what_one_method_read() -> None:
    view = sample_view(3)
    first, *rest = view.record.soil_tests
    older = replace(first, test_id="T-0", sampled_on=dt.date(2021, 7, 2), ph=5.0)
    other = replace(older.readings["P"], extractant="Mehlich-3", value=80.0)
    older = replace(older, readings={"P": other})
    page = picture_page(replace(view, record=replace(view.record, soil_tests=(older, first, *rest))), "a4")
    panels = {panel.title: panel for panel in page.trends}
    ph = next(line for line in panels["soil pH"].lines if line.plot_id == "AF-01")
    assert len(ph.points) == 2
    low, high = (float(panels["soil pH"].y_axis[i].text) for i in (0, -1))
    # 2 July is half way through the year; years 2021 to 2026 on the axis
    assert ph.points[0][0] == pytest.approx((0.5 - 0.0) / 5, abs=0.01)
    assert low + ph.points[0][1] * (high - low) == pytest.approx(5.0)
    assert low + ph.points[1][1] * (high - low) == pytest.approx(5.4)
    p = panels["P: Bray P1, ppm P"]
    assert all(len(line.points) == 1 for line in p.lines)
    assert p.remark == "1 test by another method is not drawn."


@pytest.mark.parametrize("plots", [1, 25, 500])
@pytest.mark.parametrize("hostile", [False, True])
def test_always_one_page(plots: int, hostile: bool, tmp_path: Path) -> None:
    made = write_season_picture(sample_view(plots, hostile=hostile), tmp_path / "season.pdf")
    reader = pypdf.PdfReader(tmp_path / "season.pdf")
    assert made.pages == len(reader.pages) == 1
    text = reader.pages[0].extract_text()
    assert "Need and supply" in text
    if plots == 500:
        assert f"{500 - ROWS + 1} smaller plots together" in text
    if hostile:
        assert "<script>" in text


def test_svg_and_png(tmp_path: Path) -> None:
    write_season_picture(sample_view(4), tmp_path / "season.svg")
    write_season_picture(sample_view(4), tmp_path / "season.png")
    svg = (tmp_path / "season.svg").read_text()
    assert svg.startswith("<svg")
    assert "<script" not in svg
    assert palette.BLUE in svg.lower()
    assert (tmp_path / "season.png").read_bytes().startswith(b"\x89PNG")


def test_without_a_plan_or_tests(tmp_path: Path) -> None:
    view = sample_view(2, with_plan=False)
    view = replace(view, record=replace(view.record, soil_tests=()))
    write_season_picture(view, tmp_path / "season.pdf")
    text = pypdf.PdfReader(tmp_path / "season.pdf").pages[0].extract_text()
    assert "No plan has been made." in text
    assert "Soil tests over time" not in text


def test_template_shows_every_field() -> None:
    source = (TEMPLATES / "season_picture.typ").read_text() + (TEMPLATES / "style.typ").read_text()
    records = [
        v for v in vars(season_picture).values() if dataclasses.is_dataclass(v) and isinstance(v, type)
    ]
    public = [
        r for r in records if r.__module__ == season_picture.__name__ and not r.__name__.startswith("_")
    ]
    assert PicturePage in public
    missing = {
        f.name for r in public for f in dataclasses.fields(r) if not re.search(rf"\.{f.name}\b", source)
    }
    assert missing == set()
