"""The helper's map: the same ground, stops and amounts, without prices, soil tests, needs and sources."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sample_view import sample_view

from loamwright import season
from loamwright.errors import InputError
from loamwright.fieldmap import map_data, plain
from loamwright.fieldmap.editions import HELPER
from loamwright.fieldmap.page import MapOptions, write_map


def test_a_helper_is_told_the_same_work_on_the_same_ground() -> None:
    planner, helper = (map_data(sample_view(25), "", reader) for reader in ("planner", HELPER))
    for theirs, own in zip(planner.plots, helper.plots, strict=True):
        assert (own.id, own.name, own.outline, own.area) == (
            theirs.id,
            theirs.name,
            theirs.outline,
            theirs.area,
        )
        assert [(line.id, line.mass, line.packages, line.rate) for line in own.lines] == [
            (line.id, line.mass, line.packages, line.rate) for line in theirs.lines
        ]
    assert [one.stops for one in helper.rounds] == [one.stops for one in planner.rounds]
    assert helper.keepouts == planner.keepouts
    assert helper.counted_entries == planner.counted_entries


def test_a_helper_is_told_no_price_soil_test_need_or_source() -> None:
    view = sample_view(25)
    helper = map_data(view, "", HELPER)
    text = json.dumps(plain(helper))
    assert "$" in json.dumps(plain(map_data(view)))
    assert "$" not in text
    assert [plot for plot in helper.plots if plot.needs or plot.tests or plot.cost or plot.steps] == []
    assert [layer.id for layer in helper.layers] == ["work", "done", "sample"]
    assert [one.source for one in helper.cautions if one.source] == []
    assert helper.problems == ()


def test_a_helper_gets_the_cautions_of_whoever_spreads_a_line_each() -> None:
    view = sample_view(25)
    theirs = {(one.level, one.line or one.text) for one in view.cautions if "spreader" in one.readers}
    found = map_data(view, "", HELPER)
    assert {(one.level, one.text) for one in found.cautions} == theirs
    assert {place for plot in found.plots for place in plot.cautions} <= set(range(len(found.cautions)))


def test_the_helpers_page_is_smaller_than_the_planners(tmp_path: Path) -> None:
    view = sample_view(25)
    planner = write_map(view, tmp_path / "planner.html")
    helper = write_map(view, tmp_path / "helper.html", MapOptions(reader=HELPER))
    assert helper.size_bytes < planner.size_bytes


def test_another_reader_is_refused_with_those_there_are(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no edition for 'driver'"):
        season.make_map(sample_view(1), tmp_path / "map.html", reader="driver")
