"""The helper's map: the same ground, stops and amounts, without prices, soil tests, needs and sources."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from sample_view import UREA, GivenSeason, sample_view

from loamwright import season
from loamwright.errors import InputError
from loamwright.fieldmap import map_data, plain
from loamwright.fieldmap.editions import HELPER
from loamwright.fieldmap.page import MapOptions, write_map
from loamwright.handoff import PaperOptions
from loamwright.handoff.booklet import booklet


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
    before = {place for one in found.rounds for place in one.cautions}  # seen on the day, not by the data
    told = [one for place, one in enumerate(found.cautions) if place not in before]
    assert {(one.level, one.text) for one in told} == theirs
    assert [plot.id for plot in found.plots if plot.planners] == []


def with_cautions(view: GivenSeason) -> GivenSeason:
    """A caution for every place and reader, each with words of its own."""
    about = view.cautions[1]
    first, second = (plot.plot_id for plot in view.record.plots[:2])
    told = [
        ("wet everywhere", (), "", ("planner", "spreader")),
        ("soft bank", (first,), "", ("spreader",)),
        ("urea here", (first, second), UREA, ("spreader", "driver")),
        ("no potash product in hand", (second,), "Never bought 0-0-0", ("spreader",)),
        ("leave nitrogen out", (first,), UREA, ("planner",)),
        ("tarp the load", (), "", ("driver",)),
    ]
    return replace(
        view,
        cautions=tuple(
            replace(
                about,
                rule=f"T-{n}",
                text=f"{text}, in full",
                line=text,
                where=where,
                product=product,
                readers=readers,
            )
            for n, (text, where, product, readers) in enumerate(told)
        ),
    )


def test_phone_and_paper_tell_a_helper_the_same_on_every_round() -> None:
    """One source decides: the booklet prints of a round what the phone shows on it, no more, no less."""
    view = with_cautions(sample_view(25))
    phone, paper = map_data(view, "", HELPER), booklet(view, PaperOptions())
    texts = [one.text for one in phone.cautions]
    shown = {text for text in texts if text in ("wet everywhere", "soft bank", "urea here")}
    assert shown == {"wet everywhere", "soft bank", "urea here"}
    pages = {page.number: page for page in paper.rounds}
    assert len(pages) >= 2
    for one in phone.rounds:
        page = pages.pop(str(one.number), None)
        if page is None:  # a round of the truck: its sheet is the driver's
            continue
        places = [*phone.everywhere, *one.cautions]
        for stop in one.stops:
            plot = phone.plots[stop.plot]
            places += plot.cautions
            places += [
                at for line in plot.lines if line.id in (stop.line, *stop.others) for at in line.cautions
            ]
        printed = {line.partition(" (AF-")[0] for line in (*paper.everyday, *page.look_out)}
        on_all = {line for line in paper.everyday if line not in {texts[at] for at in places}}
        assert printed - on_all == {texts[at] for at in places}


def test_advice_against_a_rate_stands_beside_no_rate_on_the_planners_phone() -> None:
    """Neither with the product nor with the ground: only where it is settled, as on paper's cover."""
    found = map_data(with_cautions(sample_view(25)))
    texts = [one.text for one in found.cautions]
    (first, second, *_others) = found.plots
    assert [texts[at] for at in first.planners] == ["leave nitrogen out, in full"]
    assert [texts[at] for at in second.planners] == ["no potash product in hand, in full"]
    assert [texts[at] for at in first.cautions] == ["soft bank, in full"]
    urea = [line for line in first.lines if line.product == UREA]
    assert [[texts[at] for at in line.cautions] for line in urea] == [["urea here, in full"]] * len(urea)
    assert {texts[at] for at in found.everywhere} == {"wet everywhere, in full", "tarp the load, in full"}


def test_the_helpers_page_is_smaller_than_the_planners(tmp_path: Path) -> None:
    view = sample_view(25)
    planner = write_map(view, tmp_path / "planner.html")
    helper = write_map(view, tmp_path / "helper.html", MapOptions(reader=HELPER))
    assert helper.size_bytes < planner.size_bytes


def test_another_reader_is_refused_with_those_there_are(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no edition for 'driver'"):
        season.make_map(sample_view(1), tmp_path / "map.html", reader="driver")
