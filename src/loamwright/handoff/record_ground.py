"""What a season's record says of the ground: crops with their dates, soil tests, the checklist's free texts.

This file answers "what grew, on how many acres, by which tests, and who stands behind it?". The items are
those a written nutrient plan is asked for (Virginia 4VAC50-85-130, COMAR 15.20.08.04, Wisconsin NRCS 590 and
NR 243.19; numbers as in `data/plan_checklist.csv`). Land that carries two crops is counted once.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from loamwright.files import load_checklist
from loamwright.handoff.workbook import Cell, Column, Section, Sheet
from loamwright.land import Cropping
from loamwright.soil import SoilTest
from loamwright.units import ACRE_M2, format_area
from loamwright.work import SeasonView

#: Numbers of the checklist that stand in a column of the crops.
YIELDS = "7.1"


@dataclass(frozen=True, slots=True)
class CropRow:
    """One crop of one plot, ready to show."""

    plot_id: str
    name: str
    area: str
    crop: str
    previous_crop: str
    sown_on: str
    ended_on: str
    use: str
    yield_goal: str
    yield_goal_how: str
    taken: str


@dataclass(frozen=True, slots=True)
class TestedRow:
    """One soil test, ready to show."""

    plot_id: str
    test_id: str
    sampled_on: str
    sampled_by: str
    lab: str
    analysed_on: str
    figures: str


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One filled entry of the checklist."""

    number: str
    title: str
    plot_id: str
    text: str


@dataclass(frozen=True, slots=True)
class GroundTold:
    """All of it: the area under plan, the same by crop, crops, tests, notes."""

    total: str
    by_crop: tuple[tuple[str, str], ...]
    crops: tuple[CropRow, ...]
    tests: tuple[TestedRow, ...]
    notes: tuple[NoteRow, ...]


def _day(day: dt.date | None) -> str:
    return "not stated" if day is None else day.isoformat()


def _goal(cropping: Cropping) -> str:
    goal = cropping.yield_goal
    return "not stated" if goal is None else f"{goal.value:g} {goal.unit}"


def _crops(view: SeasonView) -> dict[str, list[Cropping]]:
    """The season's crops of each plot, in their order."""
    season = view.record.info.season
    found: dict[str, list[Cropping]] = {plot.plot_id: [] for plot in view.record.plots}
    for one in sorted(view.record.croppings, key=lambda c: c.position):
        if one.season == season and one.plot_id in found:
            found[one.plot_id].append(one)
    return found


def _figures(test: SoilTest) -> str:
    words = [
        f"{name} {value:g}{unit}"
        for name, value, unit in (
            ("pH", test.ph, ""),
            ("buffer pH", test.buffer_ph, ""),
            ("organic matter", test.organic_matter_pct, " %"),
        )
        if value is not None
    ]
    words += [
        f"{reading.basis or element} {reading}" + (f" ({reading.extractant})" if reading.extractant else "")
        for element, reading in test.readings.items()
    ]
    return ", ".join(words) or "no figures"


def ground_told(view: SeasonView) -> GroundTold:
    """Gather what the printed record says of the ground.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    GroundTold
    """
    system, record = view.record.info.units, view.record
    names = {plot.plot_id: plot.name for plot in record.plots}
    crops = _crops(view)
    area_m2: dict[str, float] = {}
    rows = []
    for plot_id, grown in crops.items():
        use = ", then ".join(one.crop or "not stated" for one in grown) or "no crop stated"
        area_m2[use] = area_m2.get(use, 0.0) + view.areas[plot_id].area_m2
        rows += [
            CropRow(
                plot_id,
                names[plot_id],
                format_area(view.areas[plot_id].area_m2, system),
                one.crop or "not stated",
                one.previous_crop or "not stated",
                _day(one.sown_on),
                _day(one.ended_on),
                one.use or "not stated",
                _goal(one),
                one.yield_goal_how or record.checklist.get(("4.2", plot_id), "not stated"),
                record.checklist.get((YIELDS, plot_id), "not stated"),
            )
            for one in grown
        ]
    tests = tuple(
        TestedRow(
            test.plot_id,
            test.test_id,
            _day(test.sampled_on),
            test.sampled_by or "not stated",
            test.lab or "not stated",
            _day(test.analysed_on),
            _figures(test),
        )
        for test in record.soil_tests
    )
    return GroundTold(
        format_area(sum(area_m2.values()), system),
        tuple((use, format_area(m2, system)) for use, m2 in sorted(area_m2.items(), key=lambda i: -i[1])),
        tuple(rows),
        tests,
        notes(view),
    )


def notes(view: SeasonView) -> tuple[NoteRow, ...]:
    """Return the filled entries of the checklist, in its order.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of NoteRow
    """
    filled = view.record.checklist
    return tuple(
        NoteRow(number, title, plot_id, text)
        for number, title in load_checklist().items()
        for (of, plot_id), text in sorted(filled.items())
        if of == number and text
    )


def ground_sheets(view: SeasonView, title: str) -> tuple[Sheet, ...]:
    """Lay the same out as sheets: crops, soil tests, checklist.

    Parameters
    ----------
    view
        The season.
    title
        Line over each sheet.

    Returns
    -------
    tuple of Sheet
        In acres, as every sheet before `workbook.in_units`.
    """
    record = view.record
    names = {plot.plot_id: plot.name for plot in record.plots}
    crops: list[tuple[Cell, ...]] = [
        (
            plot_id,
            names[plot_id],
            view.areas[plot_id].area_m2 / ACRE_M2,
            one.crop,
            one.previous_crop,
            None if one.yield_goal is None else _goal(one),
            one.yield_goal_how or record.checklist.get(("4.2", plot_id)),
            one.sown_on,
            one.ended_on,
            one.use,
            record.checklist.get((YIELDS, plot_id)),
        )
        for plot_id, grown in _crops(view).items()
        for one in grown
    ]
    tests: list[tuple[Cell, ...]] = [
        (
            test.plot_id,
            test.test_id,
            test.sampled_on,
            test.sampled_by,
            test.lab,
            test.analysed_on,
            _figures(test),
        )
        for test in record.soil_tests
    ]
    free = [(row.number, row.title, row.plot_id, row.text) for row in notes(view)]
    return (
        _sheet("Crops", title, _CROPS, crops),
        _sheet("Soil tests", title, _TESTED, tests),
        _sheet("Checklist", title, _NOTES, list(free)),
    )


_CROPS = (
    *(("plot", 10), ("plot name", 20), ("acres", 9), ("crop", 20), ("previous crop", 20), ("yield goal", 16)),
    *(("how it was set", 20), ("planted on", 12), ("harvested or ended on", 12), ("use", 12)),
    ("yield and residue removed", 24),
)
_TESTED = (
    *(("plot", 10), ("test", 14), ("sampled on", 12), ("sampled by", 20), ("laboratory", 20)),
    *(("analysed on", 12), ("figures", 60)),
)
_NOTES = (("number", 8), ("what is asked for", 40), ("plot", 10), ("text", 60))


def _sheet(name: str, title: str, heads: tuple[tuple[str, int], ...], rows: list[tuple[Cell, ...]]) -> Sheet:
    columns = tuple(Column(head, width, 2 if head == "acres" else None) for head, width in heads)
    return Sheet(name, (title,), columns, (Section("", tuple(rows)),))
