"""What the field map says about a season: a `SeasonView` turned into the page's `MapData`.

This file answers "which text, class and shape stands where on the map?". It works out no need, plan
or status; it puts what others worked out into words and classes, in the property's unit system.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from string import ascii_uppercase
from typing import Any

from loamwright import land
from loamwright.errors import InputError, Level, Problem
from loamwright.fieldmap.editions import PLANNER, for_helper
from loamwright.fieldmap.legends import counted, graded
from loamwright.fieldmap.records import (
    Corners,
    MapCaution,
    MapChoice,
    MapClass,
    MapData,
    MapEntry,
    MapJob,
    MapKeepOut,
    MapLayer,
    MapLine,
    MapNeed,
    MapPlot,
    MapRound,
    MapSampling,
    MapStop,
    MapWay,
    MassUnit,
    Polygons,
    Ring,
)
from loamwright.files import load_caution_texts
from loamwright.land import Cropping, Plot, PlotArea
from loamwright.money import format_money
from loamwright.needs import LimeNeed, Need, season_dates
from loamwright.palette import (
    CAUTION,
    NONE_NEEDED,
    NOTHING,
    SAMPLING,
    STATUS,
    UNKNOWN,
    product_fill,
)
from loamwright.planning import Coverage, PlanLine, Window
from loamwright.soil import SoilTest
from loamwright.units import (
    ACRE_M2,
    FT_M,
    HA_M2,
    LB_ACRE_KG_HA,
    LB_KG,
    MILE_M,
    TON_KG,
    format_area,
    format_length,
)
from loamwright.values import NeedState, Step, Supply
from loamwright.words import (
    PACKAGE_LENGTH,
    mass_words,
    packages_words,
    rate_words,
    shortened,
    spread_words,
    way_words,
)
from loamwright.work import (
    DONE_FRACTION,
    MOST_KG_HA,
    OVER_FRACTION,
    SPREADER,
    TOO_MUCH,
    Application,
    Balance,
    Caution,
    CautionText,
    Round,
    SeasonView,
    Stop,
    WorkState,
    ground_m2,
    hopper_of,
    lines_answered,
    parts_named,
    placed,
    places_of,
    recipe_words,
    season_entries,
    taken_off,
    totals_told,
)

#: Longitude and latitude are kept to this many decimals of a degree: 0.1 m on the ground.
PLACES = 6
#: Boundaries lose no corner that stands out more than this from its neighbours [m].
OUTLINE_TOLERANCE_M = 0.4

_NO_PLAN = "There is no plan yet for this season."
_LEVELS = ("stop", "care", "note")


def map_data(view: SeasonView, round_id: str = "", reader: str = PLANNER) -> MapData:
    """Put a season into the words, classes and shapes of the field map.

    Parameters
    ----------
    view
        The season, computed.
    round_id
        For one round only; empty = the whole property.
    reader
        Whose edition, one of `EDITIONS`: a helper's holds no prices, soil tests, needs or sources, and of the
        cautions those that whoever spreads can act on, a line each.

    Returns
    -------
    MapData
        Every text in the property's units, ready to show.

    Raises
    ------
    InputError
        When the property has no plots, or the round is not known.
    """
    if not view.record.plots:
        raise InputError(
            [Problem("map", "the property has no plots, so there is nothing to draw", "Import plots first.")]
        )
    contents = _Contents(view, _chosen_round(view, round_id), reader)
    return contents.data() if reader == PLANNER else for_helper(contents.data())


def map_layers(view: SeasonView) -> tuple[MapLayer, ...]:
    """Return the questions a map answers by colouring the plots.

    Parameters
    ----------
    view
        The season, computed.

    Returns
    -------
    tuple of MapLayer
        Classes and labels for the plots in the order of ``view.record.plots``.
    """
    return _Contents(view, None, PLANNER).layers()


def squares(units: str) -> tuple[tuple[float, ...], tuple[str, ...]]:
    """Return the squares that may be drawn on a map, to be counted.

    Parameters
    ----------
    units
        Unit system of the property: ``us`` or ``metric``.

    Returns
    -------
    tuple of float, tuple of str
        Widths [m], smallest first, and the same in words.
    """
    us = units == "us"
    steps = (10, 25, 50, 100, 250, 500, 1000, 2500, 5280) if us else (5, 10, 25, 50, 100, 250, 500, 1000)
    return (
        tuple(step * (FT_M if us else 1.0) for step in steps),
        tuple(f"{step:,} {'ft' if us else 'm'}" for step in steps),
    )


def _chosen_round(view: SeasonView, round_id: str) -> Round | None:
    if not round_id:
        return None
    for one in view.rounds:
        if one.round_id == round_id:
            return one
    known = ", ".join(one.round_id for one in view.rounds) or "there are none"
    raise InputError([Problem("map, round", f"there is no round {round_id!r}", f"Choose one of: {known}.")])


# ---------------------------------------------------------------------------------------------
# Texts and shapes


class _Tables:
    """Each text and each step stands in the page once."""

    def __init__(self) -> None:
        self._texts: dict[str, int] = {}
        self._steps: dict[tuple[int, int, int, int], int] = {}

    def _text(self, text: str) -> int:
        return self._texts.setdefault(text, len(self._texts))

    def places(self, steps: Iterable[Step]) -> tuple[int, ...]:
        places = []
        for step in steps:
            words = (step.what, _figure(step.value), step.unit, str(step.source))
            what, value, unit, source = (self._text(word) for word in words)
            places.append(self._steps.setdefault((what, value, unit, source), len(self._steps)))
        return tuple(places)

    def texts(self) -> tuple[str, ...]:
        return tuple(self._texts)

    def steps(self) -> tuple[tuple[int, int, int, int], ...]:
        return tuple(self._steps)


def _figure(value: float | str | None) -> str:
    """Write a step's value so that it can be checked by hand: four decimals, more when small."""
    if value is None:
        return "unknown"
    if isinstance(value, str):
        return value
    if value and abs(value) < 0.01:
        return f"{value:.4g}"
    return f"{value:,.4f}".rstrip("0").rstrip(".")


def _spot(point: Sequence[float]) -> tuple[float, float]:
    """Turn longitude, latitude into the page's latitude, longitude."""
    return round(float(point[1]), PLACES), round(float(point[0]), PLACES)


@dataclass(frozen=True, slots=True)
class _Shape:
    points: Ring = ()
    paths: tuple[Ring, ...] = ()
    polygons: Polygons = ()


def _shape(shape: land.Shape | None) -> _Shape:
    if shape is None:
        return _Shape()
    return _shape_of(land.as_geojson(land.simplify_for_map(shape, OUTLINE_TOLERANCE_M)))


def _shape_of(shape: Mapping[str, Any]) -> _Shape:
    kind = shape["type"]
    if kind == "GeometryCollection":
        parts = [_shape_of(part) for part in shape["geometries"]]
        return _Shape(
            tuple(point for part in parts for point in part.points),
            tuple(path for part in parts for path in part.paths),
            tuple(polygon for part in parts for polygon in part.polygons),
        )
    places = shape["coordinates"] if kind.startswith("Multi") else [shape["coordinates"]]
    if kind.endswith("Point"):
        return _Shape(points=tuple(_spot(place) for place in places))
    if kind.endswith("LineString"):
        return _Shape(paths=tuple(tuple(_spot(point) for point in path) for path in places))
    return _Shape(
        polygons=tuple(tuple(tuple(_spot(p) for p in ring) for ring in polygon) for polygon in places)
    )


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def _days(window: Window | None) -> tuple[str, str]:
    """First and last day of a window as text; empty where it has none."""
    if window is None or window.opens is None or window.closes is None:
        return "", ""
    return window.opens.isoformat(), window.closes.isoformat()


def _own(text: str) -> str:
    """Fence off a text a person wrote inside a sentence of ours, so that its direction stays its own.

    First strong isolate and pop directional isolate (Unicode Standard Annex 9) around anything that is
    not plain ASCII.
    """
    return text if text.isascii() else f"\u2068{text}\u2069"


def _packages(packages: float | None, package: str, mass_kg: float, units: str) -> str:
    """Say an amount in whole packages and the rest by weight; empty for bulk."""
    if packages is None:
        return ""
    short = shortened(package, PACKAGE_LENGTH)
    return packages_words(packages, short, mass_kg, units).replace(short, _own(short))


def _some_area(area_m2: float, units: str) -> str:
    """Write an area that is more than zero, also where its figure would be rounded to zero."""
    least_m2 = 0.01 * ACRE_M2 if units == "us" else 0.001 * HA_M2
    if area_m2 >= least_m2 / 2:
        return format_area(area_m2, units)
    return f"less than {format_area(least_m2, units)}"


def _crop(cropping: Cropping | None) -> str:
    if cropping is None or not cropping.crop:
        return "crop not stated"
    words = [_own(cropping.crop)]
    if cropping.previous_crop:
        words.append(f"after {_own(cropping.previous_crop)}")
    if cropping.yield_goal:
        words.append(f"goal {cropping.yield_goal.value:g} {cropping.yield_goal.unit}")
    return ", ".join(words)


def _test(test: SoilTest) -> str:
    words = [f"{test.sampled_on or 'date not stated'}, {_own(test.lab) or 'lab not stated'}"]
    if test.part:
        words.append(_own(test.part))
    words.append("pH not tested" if test.ph is None else f"pH {test.ph:g}")
    if test.buffer_ph is not None:
        words.append(f"buffer {test.buffer_ph:g} ({test.buffer_method or 'method not stated'})")
    if test.organic_matter_pct is not None:
        words.append(f"organic matter {test.organic_matter_pct:g} %")
    for element, reading in test.readings.items():
        extractant = reading.extractant or "extractant not stated"
        words.append(f"{reading.basis or element} {reading} ({extractant})")
    return "; ".join(words)


# ---------------------------------------------------------------------------------------------
# The contents


class _Contents:
    """One map in the making: the view, the plots chosen, and the tables shared by all parts."""

    def __init__(self, view: SeasonView, only: Round | None, reader: str) -> None:
        self.view = view
        self.reader = reader
        self.only = only
        self.units = view.record.info.units
        self.tables = _Tables()
        self.rounds = (only,) if only else view.rounds
        chosen = {stop.plot_id for stop in only.stops} if only else None
        self.plots = tuple(p for p in view.record.plots if chosen is None or p.plot_id in chosen)
        self.others = tuple(p for p in view.record.plots if chosen is not None and p.plot_id not in chosen)
        self.place_of = {plot.plot_id: place for place, plot in enumerate(self.plots)}
        self.lines: dict[str, list[PlanLine]] = defaultdict(list)
        planned = {stop.line_id for stop in only.stops} if only else None
        for line in view.plan.lines if view.plan else ():
            if planned is None or line.line_id in planned:
                self.lines[line.plot_id].append(line)
        self.status = {s.line_id: s for s in view.statuses if s.line_id}
        covered = view.plan.coverage if view.plan else ()
        self.coverage: dict[tuple[str, str], Coverage] = {(c.plot_id, c.supply): c for c in covered}
        self.balance: dict[tuple[str, str], Balance] = {(b.plot_id, b.supply): b for b in view.balances}
        self.tests: dict[str, list[SoilTest]] = defaultdict(list)
        for test in view.record.soil_tests:
            self.tests[test.plot_id].append(test)
        self.entries: dict[str, list[Application]] = defaultdict(list)
        for entry in season_entries(
            view.record.applications, view.record.info.season, view.record.info.settings.season_start
        ):
            self.entries[entry.plot_id].append(entry)
        self.answered = lines_answered(
            view.plan,
            view.record.applications,
            view.record.info.season,
            view.record.info.settings.season_start,
            view.record.plans,
        )
        self.counted = taken_off(view.plan, view.record.applications)
        self.had = parts_named(e for e in view.record.applications if e.entry_id in self.counted)
        self.job_of = {
            line_id: job for job in (view.plan.jobs if view.plan else ()) for line_id in job.line_ids
        }
        here = [c for c in view.cautions if not c.where or any(w in self.place_of for w in c.where)]
        self.told = placed(here, PLANNER if reader == PLANNER else SPREADER)
        ranked = (c for level in _LEVELS for c in self.told.cautions if c.level == level)
        self.cautions = tuple(dict.fromkeys(ranked))
        self.at = {caution: place for place, caution in enumerate(self.cautions)}
        self.rows: dict[str, CautionText] = {}
        self.before = {one.round_id: self.before_round(one) for one in self.rounds}

    def data(self) -> MapData:
        view, info = self.view, self.view.record.info
        us = self.units == "us"
        plots = tuple(self.plot(plot) for plot in self.plots)
        rounds = tuple(self.round(one) for one in self.rounds)
        area_m2, length, long = (ACRE_M2, FT_M, MILE_M) if us else (HA_M2, 1.0, 1000.0)
        grid_m, grid_labels = squares(self.units)
        first, last = season_dates(info.season, info.settings.season_start)
        products = sorted({p.product for p in view.record.products} | {n.product for n in self.all_lines()})
        said: tuple[Caution | CautionText, ...] = (*self.cautions, *self.rows.values())
        return MapData(
            edition=self.reader,
            title=info.name,
            season=str(info.season),
            about=info.about,
            made_on=view.stamp,
            plan_id=view.plan.plan_id if view.plan else "",
            store_key=f"loamwright/{info.name}/{info.season}",
            units=self.units,
            summary=self.summary(),
            plots=plots,
            context=tuple(polygon for plot in self.others for polygon in _shape(plot.boundary).polygons),
            keepouts=self.keepouts(),
            ways=self.ways(),
            layers=self.layers(),
            rounds=rounds,
            cautions=tuple(
                MapCaution(
                    c.level,
                    self.told.words(c),
                    f"{c.source}: {c.published}" if c.published else str(c.source),
                    c.defers_to,
                    c.product if isinstance(c, Caution) else "",
                )
                for c in said
            ),
            everywhere=self.places(self.told.everywhere({s.product for r in self.rounds for s in r.stops})),
            problems=tuple(str(problem) for problem in self.problems()),
            products=tuple(products),
            equipment=tuple(spreader.name for spreader in info.settings.spreaders),
            mass_units=(MassUnit("lb", LB_KG), MassUnit("tons", TON_KG))
            if us
            else (MassUnit("kg", 1.0), MassUnit("t", 1000.0)),
            area_unit="acres" if us else "ha",
            area_unit_m2=area_m2,
            length_unit="ft" if us else "m",
            length_unit_m=length,
            long_unit="miles" if us else "km",
            long_unit_m=long,
            grid_m=grid_m,
            grid_labels=grid_labels,
            earlier_jobs=self.earlier_jobs(),
            known_entries=tuple(entry.entry_id for entry in view.record.applications),
            counted_entries=tuple(
                entry.entry_id for entry in view.record.applications if entry.entry_id in self.counted
            ),
            done_fraction=DONE_FRACTION,
            over_fraction=OVER_FRACTION,
            sane_fraction=TOO_MUCH,
            sane_kg_m2=MOST_KG_HA / HA_M2,
            season_from=first.isoformat(),
            season_to=last.isoformat(),
            bounds=self.bounds(),
            start_round=self.only.round_id if self.only else "",
            texts=self.tables.texts(),
            steps=self.tables.steps(),
        )

    # --- words for the whole ---------------------------------------------------------------------

    def all_lines(self) -> list[PlanLine]:
        return [line for plot in self.plots for line in self.lines[plot.plot_id]]

    def problems(self) -> tuple[Problem, ...]:
        both = self.view.problems + (self.view.plan.problems if self.view.plan else ())
        order = list(Level)
        return tuple(sorted(dict.fromkeys(both), key=lambda problem: order.index(problem.level)))

    def summary(self) -> tuple[str, ...]:
        areas = [self.view.areas[p.plot_id] for p in self.plots if p.plot_id in self.view.areas]
        total = format_area(sum(a.spread_area_m2 for a in areas), self.units)
        said = [f"{_count(len(self.plots), 'plot')}, {total} to spread on."]
        plan = self.view.plan
        if plan is None:
            return (*said, _NO_PLAN)
        if self.only:
            return (*said, f"This map is made for one round: {_own(self.only.title)}.")
        if self.reader != PLANNER:
            return (*said, f"Plan {plan.plan_id}, for whoever spreads.")
        gap = f" (within {plan.gap:.2%} of the proved lowest cost)" if plan.gap else ""
        said.append(f"Plan {plan.plan_id}: {plan.outcome}{gap}, {format_money(plan.total_cost)}.")
        if told := totals_told(self.view):
            said.append(f"{told}.")
        for one in plan.buy:
            stock = f" and take {one.from_stock:,.4g} from stock" if one.from_stock else ""
            seller = f" from {_own(one.seller)}" if one.seller else ""
            said.append(
                f"Buy {one.count:,.4g} × {_own(one.package)} of {_own(one.product)}{seller}{stock}: "
                f"{format_money(one.cost)}."
            )
        return (*said, *plan.explanation)

    def bounds(self) -> Corners:
        boxes = [land.bounds(plot.boundary) for plot in self.plots]
        west, south = min(b[0] for b in boxes), min(b[1] for b in boxes)
        east, north = max(b[2] for b in boxes), max(b[3] for b in boxes)
        return _spot((west, south)), _spot((east, north))

    def keepouts(self) -> tuple[MapKeepOut, ...]:
        found = []
        for keepout in self.view.record.keepouts:
            shape = _shape(keepout.shape)
            stated = keepout.setback_m is not None
            text = keepout.setback_text
            if keepout.setback_m is not None:
                text = f"setback {_own(text) or format_length(keepout.setback_m, self.units)}"
            name = ", ".join(
                _own(word) for word in (keepout.name or keepout.keepout_id, keepout.kind) if word
            )
            found.append(
                MapKeepOut(
                    name,
                    text if stated else "setback not stated",
                    stated,
                    shape.points,
                    shape.paths,
                    shape.polygons,
                    _shape(land.setback(keepout)).polygons,
                )
            )
        return tuple(found)

    def ways(self) -> tuple[MapWay, ...]:
        found = []
        for way in self.view.record.ways:
            shape = _shape(way.shape)
            found.append(MapWay(way.kind, _own(way_words(way, self.units)), shape.points, shape.paths))
        return tuple(found)

    # --- one plot --------------------------------------------------------------------------------

    def plot(self, plot: Plot) -> MapPlot:
        view, plot_id = self.view, plot.plot_id
        area = view.areas.get(plot_id)
        spread = area.spread if area else None
        cut = bool(area and area.keepouts)
        history = [
            f"{e.applied_on} {e.time_of_day}".strip()
            + f": {_own(e.product)}, {e.done}, {mass_words(e.mass_kg, self.units)}"
            + (f", by {_own(e.operator)}" if e.operator else "")
            for e in self.entries[plot_id]
        ]
        cost = view.plan.plot_costs.get(plot_id) if view.plan else None
        return MapPlot(
            id=plot_id,
            name=plot.name or plot_id,
            crop=_crop(view.croppings.get(plot_id)),
            area=format_area(area.spread_area_m2, self.units) if area else "not measured",
            area_notes=self.area_notes(area) if area else (),
            spread_m2=round(area.spread_area_m2, 2) if area else 0.0,
            outline=_shape(plot.boundary).polygons,
            spread=_shape(spread).polygons if cut else (),
            middle=_spot(land.label_point(plot.boundary if spread is None else spread)),
            entrance=_spot(plot.entrance) if plot.entrance else None,
            access=plot.access,
            notes=plot.notes,
            needs=self.needs(plot_id),
            lines=tuple(self.line(line) for line in self.lines[plot_id]),
            cost="" if cost is None else format_money(cost),
            cautions=self.places(self.told.on_plots([plot_id])),
            planners=self.planners(plot_id),
            tests=tuple(_test(test) for test in self.tests[plot_id]),
            history=tuple(history),
            on_file=tuple(
                MapEntry(
                    *(e.entry_id, e.product, e.mass_kg, str(e.timing or ""), e.line_id),
                    area_m2=None if e.area_m2 is None else round(e.area_m2, 1),
                    applied_on=e.applied_on.isoformat(),
                    plan_id=e.plan_id or "",
                    job_id=e.job_id or "",
                    had_share=True if self.had & parts_named([e]) else None,
                )
                for e in self.entries[plot_id]
                if self.answered.get(e.entry_id) in self.lines[plot_id]
            ),
            sampling=self.sampling(plot_id),
            steps=self.tables.places(area.steps) if area else (),
        )

    def area_notes(self, area: PlotArea) -> tuple[str, ...]:
        notes = [f"{format_area(area.area_m2, self.units)} inside the boundary"]
        if area.area_se_m2 is not None:
            notes.append(f"walked with GPS: ± {format_area(area.area_se_m2, self.units)} (standard error)")
        if area.parts > 1:
            notes.append(f"in {area.parts} parts")
        if area.holes:
            notes.append(f"with {_count(area.holes, 'hole')}")
        names = {k.keepout_id: _own(k.name or k.keepout_id) for k in self.view.record.keepouts}
        for key, lost_m2 in area.keepouts:
            notes.append(f"{_some_area(lost_m2, self.units)} kept free for {names.get(key, key)}")
        for key in area.missing_setbacks:
            notes.append(f"setback of {names.get(key, key)} not stated: ask before spreading near it")
        return tuple(notes)

    def needs(self, plot_id: str) -> tuple[MapNeed, ...]:
        needs = self.view.needs.get(plot_id)
        if needs is None:
            return ()
        found = []
        every: tuple[Need | LimeNeed, ...] = (*needs.needs, needs.lime)
        for need in every:
            key = _supply(need)
            covered, left = self.coverage.get((plot_id, key)), self.balance.get((plot_id, key))
            owed = max(0.0, left.need_kg - left.applied_kg) if left and left.need_kg is not None else None
            found.append(
                MapNeed(
                    key,
                    need.state,
                    need.reason,
                    "" if need.rate_kg_ha is None else rate_words(need.rate_kg_ha, self.units, need.supply),
                    "" if need.mass_kg is None else mass_words(need.mass_kg, self.units, need.supply),
                    tuple(
                        f"{c.what}: {rate_words(c.rate_kg_ha, self.units)} ({c.source})"
                        for c in (need.credits if isinstance(need, Need) else ())
                    ),
                    mass_words(covered.supplied_kg, self.units, need.supply) if covered else "",
                    mass_words(left.applied_kg, self.units, need.supply) if left and left.applied_kg else "",
                    "" if owed is None else mass_words(owed, self.units, need.supply),
                    self.tables.places(need.steps),
                )
            )
        return tuple(found)

    def line(self, line: PlanLine) -> MapLine:
        status, job = self.status.get(line.line_id), self.job_of.get(line.line_id)
        ground = ground_m2(line, self.view.areas)
        is_rest = ground < self.view.areas[line.plot_id].spread_area_m2
        return MapLine(
            line.line_id,
            line.product,
            str(line.timing or ""),
            self.spread(line),
            mass_words(line.mass_kg, self.units),
            _packages(line.packages, line.package, line.mass_kg, self.units),
            line.mass_kg,
            line.package,
            line.mass_kg / line.packages if line.packages else None,
            line.job_id,
            status.reasons if status else (),
            self.tables.places(line.steps),
            round(ground, 2) if is_rest else None,
            *(("", "", "") if job is None else (job.part, *_days(job.window))),
            self.places(self.told.with_product([line.product], [line.plot_id])),
        )

    def earlier_jobs(self) -> tuple[MapJob, ...]:
        """Jobs of plans before this one that tell more than the line an entry names."""
        now = self.view.plan
        return tuple(
            MapJob(plan.plan_id, job.job_id, str(job.timing or ""), job.part, *_days(job.window))
            for plan in self.view.record.plans
            if now is not None and plan.season == now.season and plan.plan_id != now.plan_id
            for job in plan.jobs
        )

    def spread(self, one: PlanLine | Stop) -> str:
        area_m2 = self.view.areas[one.plot_id].spread_area_m2
        return spread_words(one.mass_kg, one.rate_kg_ha, area_m2, self.units)

    def sampling(self, plot_id: str) -> MapSampling | None:
        plan = self.view.sampling.get(plot_id)
        if plan is None:
            return None
        return MapSampling(
            plan.due,
            plan.reason,
            f"{_count(plan.cores, 'core')} (published range {plan.cores_low} to {plan.cores_high})",
            plan.depth_text,
            plan.label,
            tuple(_spot(point) for point in plan.points) if plan.due else (),
            self.tables.places(plan.steps),
        )

    # --- rounds ----------------------------------------------------------------------------------

    def round(self, one: Round) -> MapRound:
        total = sum(stop.mass_kg for stop in one.stops)
        places = places_of(one)
        spreaders = self.view.record.info.settings.spreaders
        hopper_kg = hopper_of(next((each for each in spreaders if each.name == one.spreader), None))
        facts = [f"{_count(len(places), 'stop')}, {mass_words(total, self.units)} of {_own(one.product)}"]
        if one.loads is not None:
            trips = f", {_count(one.trips, 'trip')}" if one.trips else ""
            facts.append(f"{_count(one.loads, 'load')}{trips}")
        else:
            facts.append("loads unknown: the spreader's capacity is not stated")
        if one.last_load_kg is not None:
            facts.append(f"last load {mass_words(one.last_load_kg, self.units)}")
        facts += self.time_of(one)
        return MapRound(
            one.round_id,
            1 + self.view.rounds.index(one),
            one.title,
            one.spreader,
            tuple(facts),
            tuple(self.stop(place, hopper_kg) for place in places),
            self.tables.places(one.steps),
            self.before[one.round_id],
        )

    def places(self, cautions: Iterable[Caution]) -> tuple[int, ...]:
        """Where cautions stand in the map's list, most serious first."""
        return tuple(sorted(self.at[one] for one in cautions))

    def planners(self, plot_id: str) -> tuple[int, ...]:
        """What only the planner acts on: to be settled, or of a product that is not in hand on this plot."""
        if self.reader != PLANNER:
            return ()
        in_hand = {line.product for line in self.lines[plot_id]}
        shown = {*self.told.on_plots([plot_id]), *self.told.with_product(in_hand, [plot_id])}
        return self.places(one for one in self.cautions if plot_id in one.where and one not in shown)

    def before_round(self, one: Round) -> tuple[int, ...]:
        """What must be seen on the day before a round: listed once, behind what the data called for."""
        names = {stop.product for stop in one.stops}
        products = [product for product in self.view.record.products if product.product in names]
        rows = self.told.before(load_caution_texts(), products, [stop.plot_id for stop in one.stops])
        named = {  # a planner's text is about the word before it, as on paper; a helper's line says all
            row.rule: row
            if row.line == self.told.words(row)
            else replace(row, text=f"{about.capitalize()}: {row.text}")
            for about, row in rows
        }
        self.rows |= named
        order = list(self.rows)
        return tuple(len(self.cautions) + order.index(row.rule) for _, row in rows)

    def time_of(self, one: Round) -> list[str]:
        """Say how long a round takes: by its jobs, with their fillings, where the plan tells."""
        plan, lines = self.view.plan, {stop.line_id for stop in one.stops}
        ids = {line.job_id for line in plan.lines if line.line_id in lines} if plan else set()
        hours = [job.hours for job in plan.jobs if job.job_id in ids] if plan else []
        known = [each for each in hours if each is not None]
        if known and len(known) == len(ids):
            return [f"about {math.fsum(known):.1f} h with filling, without the way there"]
        return [] if one.hours is None else [f"about {one.hours:.1f} h of spreading alone"]

    def stop(self, place: Sequence[tuple[Stop, str, float]], hopper_kg: float | None) -> MapStop:
        """One plot of a round; what shares the hopper is one stop, with what goes into each fill."""
        stops = [stop for stop, _, _ in place]
        first, load, more_kg = place[0]
        masses = [mass_words(stop.mass_kg, self.units) for stop in stops]
        if len(stops) > 1:
            packages = [_packages(s.packages, s.package, s.mass_kg, self.units) for s in stops]
            parts = [
                f"{bags} = {mass} {stop.product}" if bags else f"{mass} {stop.product}"
                for stop, mass, bags in zip(stops, masses, packages, strict=True)
            ]
            rate = rate_words(first.load_rate_kg_ha, self.units)
            recipe = recipe_words(stops, [stop.mass_kg for stop in stops], hopper_kg, self.units)
            return MapStop(
                self.place_of[first.plot_id],
                first.line_id,
                " + ".join(parts),
                "",
                f"{rate} of the mix",
                others=tuple(stop.line_id for stop in stops[1:]),
                recipe=recipe,
            )
        left_kg = first.left_on_vehicle_kg
        return MapStop(
            self.place_of[first.plot_id],
            first.line_id,
            masses[0],
            _packages(first.packages, first.package, first.mass_kg, self.units),
            self.spread(first),
            load,
            mass_words(more_kg, self.units) if more_kg else "",
            "" if left_kg is None else mass_words(left_kg, self.units),
        )

    # --- layers ----------------------------------------------------------------------------------

    def layers(self) -> tuple[MapLayer, ...]:
        return (
            MapLayer("work", "Goes on", "What goes on each plot?", self.work_choices()),
            MapLayer("need", "Needs", "What does each plot need?", self.need_choices()),
            MapLayer("done", "Done", "What is done?", (self.status_choice(),)),
            MapLayer("cost", "Cost", "What does each plot cost?", (self.cost_choice(),)),
            MapLayer("caution", "Cautions", "Where is care needed?", (self.caution_choice(),)),
            MapLayer("sample", "Sampling", "Where are soil samples due?", (self.sampling_choice(),)),
        )

    def rate_figure(self, rate_kg_ha: float) -> float:
        """Return a rate in the unit it is shown in, for cutting classes at round numbers."""
        return rate_kg_ha / LB_ACRE_KG_HA if self.units == "us" else rate_kg_ha

    def rate_text(self, figure: float, supply: Supply | None = None) -> str:
        return rate_words(figure * LB_ACRE_KG_HA if self.units == "us" else figure, self.units, supply)

    def work_choices(self) -> tuple[MapChoice, ...]:
        plan = self.view.plan
        planned = sorted({line.product for line in plan.lines}) if plan else []
        letters = {name: _letter(place) for place, name in enumerate(planned)}  # the same on every map
        names = sorted({line.product for line in self.all_lines()})
        choices = [self.every_product(letters, names)]
        for name in names:
            per_plot = [[n for n in self.lines[p.plot_id] if n.product == name] for p in self.plots]
            mass = sum(line.mass_kg for lines in per_plot for line in lines)
            bagged = [line for lines in per_plot for line in lines if line.packages is not None]
            pieces = ""
            if bagged and len({line.package for line in bagged}) == 1:
                count = sum(n.packages or 0.0 for n in bagged)
                pieces = f" = {_packages(count, bagged[0].package, mass, self.units)}"
            choices.append(
                graded(
                    f"product {name}",
                    f"{letters[name]} = {_own(name)}",
                    [
                        self.rate_figure(sum(n.rate_kg_ha for n in lines)) if lines else "none of it here"
                        for lines in per_plot
                    ],
                    [
                        " + ".join(
                            _packages(n.packages, n.package, n.mass_kg, self.units)
                            or mass_words(n.mass_kg, self.units)
                            for n in lines
                        )
                        for lines in per_plot
                    ],
                    palette="BuPu",
                    write=self.rate_text,
                    special={"none of it here": NOTHING},
                    note=f"In all {mass_words(mass, self.units)}{pieces}. Exact amounts: packages are "
                    "rounded up once, on the buying list.",
                )
            )
        return tuple(choices)

    def every_product(self, letters: Mapping[str, str], names: Sequence[str]) -> MapChoice:
        """Colour the plots by what goes on: one product by its fill, several as bands side by side."""
        order = {product.product: place for place, product in enumerate(self.view.record.products)}
        fills = {name: product_fill(order.get(name, 0)) for name in letters}
        sets = [tuple(sorted({line.product for line in self.lines[p.plot_id]})) for p in self.plots]
        count = Counter(sets)
        rows = sorted(count, key=lambda one: (len(one) != 0, len(one), one))
        classes = []
        for row in rows:
            fill = fills[row[0]] if len(row) == 1 else NOTHING
            label = " + ".join(letters[name] for name in row) or "nothing planned"
            if len(row) == 1:
                label = f"{label} = {_own(row[0])}"
            bands = tuple(fills[name].colour for name in row) if len(row) > 1 else ()
            classes.append(MapClass(label, count[row], fill.colour, fill.pattern, bands))
        values = tuple(" ".join(letters[name] for name in row) for row in sets)
        key = "\n".join(f"{letters[name]} = {_own(name)}" for name in names)
        note = key if self.view.plan else _NO_PLAN
        of = tuple(rows.index(row) for row in sets)
        return MapChoice("all", "All products", tuple(classes), of, values, note)

    def need_choices(self) -> tuple[MapChoice, ...]:
        by_plot = [self.view.needs.get(p.plot_id) for p in self.plots]
        keys = dict.fromkeys(need.nutrient for needs in by_plot if needs for need in needs.needs)
        choices = [
            self.need_choice(nutrient, [needs.of(nutrient) if needs else None for needs in by_plot])
            for nutrient in keys
        ]
        bases = dict.fromkeys(_supply(needs.lime) for needs in by_plot if needs and needs.lime.basis)
        for key in bases or ["lime"]:
            limes = [n.lime if n and _supply(n.lime) in (key, "lime") else None for n in by_plot]
            choices.append(self.need_choice(key, limes))
        return tuple(choices)

    def need_choice(self, label: str, needs: Sequence[Need | LimeNeed | None]) -> MapChoice:
        values: list[float | str] = []
        shown = []
        for need in needs:
            if need is None or need.state is NeedState.UNKNOWN or need.rate_kg_ha is None:
                values.append("unknown")
                shown.append("?")
            elif need.state is NeedState.NONE or need.rate_kg_ha == 0:
                values.append("none needed")
                shown.append("0")
            else:
                values.append(self.rate_figure(need.rate_kg_ha))
                shown.append(rate_words(need.rate_kg_ha, self.units, need.supply))
        total = sum(need.mass_kg or 0.0 for need in needs if need)
        supply = next((need.supply for need in needs if need and need.supply), None)
        missing = values.count("unknown")
        note = f"In all {mass_words(total, self.units, supply)} of {label} still to be supplied."
        if missing:
            note += f" Not counted: {_count(missing, 'plot')} where it is unknown."
        return graded(
            label,
            label,
            values,
            shown,
            palette="YlGnBu",
            write=partial(self.rate_text, supply=supply),
            special={"none needed": NONE_NEEDED, "unknown": UNKNOWN},
            note=note,
        )

    def status_choice(self) -> MapChoice:
        """Classes only: the page counts the lines itself, with what was checked off on the phone."""
        names = ["nothing planned", *(state.value for state in WorkState)]
        fills = [NOTHING, *(STATUS[state.value] for state in WorkState)]
        classes = tuple(MapClass(n, 0, f.colour, f.pattern) for n, f in zip(names, fills, strict=True))
        of = tuple(0 for _ in self.plots)
        note = "By the record, and by what was checked off on this phone."
        return MapChoice("status", "Status", classes, of, tuple("" for _ in self.plots), note)

    def cost_choice(self) -> MapChoice:
        plan = self.view.plan
        costs = [plan.plot_costs.get(p.plot_id) if plan else None for p in self.plots]
        note = _NO_PLAN
        if plan:
            note = (
                f"{format_money(plan.total_cost)} in all: products {format_money(plan.purchase_cost)}, "
                f"delivery {format_money(plan.delivery_cost)}, spreading {format_money(plan.spreading_cost)}."
            )
        return graded(
            "cost",
            "Cost",
            [float(cost) if cost else "no cost" for cost in costs],
            [format_money(cost) if cost else "" for cost in costs],
            palette="YlOrBr",
            write=lambda figure: format_money(figure).removesuffix(".00"),
            special={"no cost": NOTHING},
            note=note,
        )

    def caution_choice(self) -> MapChoice:
        rows = [("none of its own", NOTHING)] + [(level, CAUTION[level]) for level in _LEVELS]
        of, shown = [], []
        for plot in self.plots:
            levels = [c.level for c in self.cautions if plot.plot_id in c.where]
            of.append(1 + _LEVELS.index(levels[0]) if levels else 0)
            shown.append(", ".join(f"{n} {level}" for level, n in Counter(levels).items()))
        everywhere = sum(not c.where for c in self.cautions)
        note = f"{_count(everywhere, 'caution')} for the whole property beside these." if everywhere else ""
        return counted("caution", "Cautions", rows, of, shown, note)

    def sampling_choice(self) -> MapChoice:
        rows = [("not due", SAMPLING[False]), ("sample due", SAMPLING[True])]
        plans = [self.view.sampling.get(p.plot_id) for p in self.plots]
        of = [int(bool(plan and plan.due)) for plan in plans]
        shown = [_count(plan.cores, "core") if plan and plan.due else "" for plan in plans]
        return counted("sample", "Sampling", rows, of, shown, "Core places are drawn when you come close.")


def _supply(need: Need | LimeNeed) -> str:
    """Return the supply key of a need: the nutrient, or lime with its basis when it has one."""
    if isinstance(need, Need):
        return need.nutrient.value
    return need.basis.supply if need.basis else "lime"


def _letter(place: int) -> str:
    """A, B … Z, AA, AB …"""
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        name = ascii_uppercase[rest] + name
    return name
