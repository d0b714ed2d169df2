"""A round's page: what to load, where to go in which order, how to set the spreader, who did it.

This file answers "what does one outing look like on paper?". Stops, loads and hours come from the
round as `rounds` planned it, settings from the log of calibrations; nothing is scaled or guessed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loamwright.files import load_caution_texts
from loamwright.handoff.paper import Figure
from loamwright.supplies import Form, Product
from loamwright.units import (
    FT_M,
    HA_M2,
    LB_KG,
    MILE_M,
    format_area,
    format_figure,
    format_length,
)
from loamwright.values import Step
from loamwright.words import (
    carry_words,
    mass_words,
    packages_words,
    rate_words,
    timing_words,
    volume_words,
)
from loamwright.work import (
    COURSE_M2,
    Calibration,
    Caution,
    LineStatus,
    Placed,
    Round,
    SeasonView,
    Stop,
    WorkState,
    brought_kg,
    ground_m2,
    hopper_of,
    load_words,
    places_of,
    rate_per_pass,
    recipe_words,
    settings_to_try,
)

#: Side of the square sheet the tarp test is worked out for [m], by unit system.
SHEET_SIDE_M = {"us": 10 * FT_M, "metric": 3.0}
_OUNCE_KG = LB_KG / 16


@dataclass(frozen=True, slots=True)
class StopRow:
    """One plot of a round."""

    order: str
    plot_id: str
    name: str
    area: str
    rate: str
    amount: str
    volume: str
    packages: str
    load: str
    bring: str
    left: str
    caught: str
    state: str


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One logged calibration, for one rate wanted."""

    wanted: str
    setting: str
    gave: str
    off: str
    swath: str
    speed: str
    speed_wanted: str
    tested: str
    note: str


@dataclass(frozen=True, slots=True)
class BeforeRow:
    """What must be known before the job, with its source and who has the last word."""

    about: str
    level: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class RoundSheet:
    """One round's page."""

    number: str
    title: str
    product: str
    timing: str
    spreader: str
    amount: str
    carry: str
    loads: str
    figures: tuple[Figure, ...]
    load_line: str
    before: tuple[BeforeRow, ...]
    plots: str
    stops: tuple[StopRow, ...]
    settings: tuple[SettingRow, ...]
    advice: str
    test_head: str
    test_text: str
    half_text: str
    cautions: CautionsHere


def caught_words(rate_kg_ha: float, product: Product | None, system: str) -> str:
    """What a test at the full rate catches: on the sheet, or of a liquid over the course."""
    if product is not None and product.form is Form.LIQUID:
        over = volume_words(rate_kg_ha / HA_M2 * COURSE_M2 * 128, product, system)  # a gallon is 128 fl oz
        return (
            over.replace("gal", "fl oz")
            if system == "us"
            else volume_words(rate_kg_ha / 100, product, system)
        )
    caught_kg = rate_kg_ha / HA_M2 * SHEET_SIDE_M[system] ** 2
    if caught_kg >= 2 * LB_KG:
        return mass_words(caught_kg, system)
    return f"{caught_kg / _OUNCE_KG:.1f} oz" if system == "us" else f"{caught_kg * 1000:.0f} g"


def sheet_words(product: Product | None, system: str) -> tuple[str, str]:
    """Heading of the test column and how to make the test."""
    if product is not None and product.form is Form.LIQUID:
        if system == "us":
            return (
                "In 1/128 acre",
                "Time the drive over 340 ft divided by the nozzle spacing in feet, at working speed. Catch "
                "one nozzle for that time: the fluid ounces are the gallons per acre, and should be the "
                "amount given for the plot (LSU AgCenter, 1/128 acre method).",
            )
        return (
            "On 100 m²",
            "Time the drive over 100 m divided by the boom's width in metres, at working speed. Catch all "
            "nozzles for that time: it should be the amount given for the plot.",
        )
    side = "10 ft × 10 ft" if system == "us" else "3 m × 3 m"
    return (
        f"On {side}",
        f"Lay out a sheet of {side}, drive over it as you will drive the plot, weigh what fell: one pass at "
        "the full rate leaves the amount given for the plot. Weigh the empty sheet first. Within 5 percent "
        "is close enough (UMass Extension, Rotary Spreader Calibration Procedures).",
    )


def _speed(speed_m_s: float | None, system: str) -> str:
    if speed_m_s is None:
        return "not stated"
    return f"{speed_m_s * 3600 / MILE_M:.1f} mph" if system == "us" else f"{speed_m_s * 3.6:.1f} km/h"


def left_kg(stop: Stop, statuses: Mapping[str, LineStatus]) -> float:
    """What is still to be put on: nothing once a line counts as done."""
    status = statuses.get(stop.line_id)
    if status is None:
        return stop.mass_kg
    if status.state in (WorkState.DONE, WorkState.OVER):
        return 0.0
    return max(stop.mass_kg - status.applied_kg, 0.0)


def set_to(stop: Stop) -> float:
    """The rate the spreader is set to [kg/ha]: that of everything in the hopper."""
    return stop.load_rate_kg_ha or stop.rate_kg_ha


def _targets(stops: Sequence[Stop], system: str) -> list[float]:
    """The rates wanted in a round [kg/ha], one of each as shown; the lowest and highest of many."""
    rates = list({rate_words(set_to(stop), system): set_to(stop) for stop in stops}.values())
    return rates if len(rates) <= 3 else [min(rates), max(rates)]


def _settings(
    round_: Round, targets: Sequence[float], calibrations: Sequence[Calibration], system: str
) -> tuple[tuple[SettingRow, ...], str]:
    """Logged tests of this spreader with this product, nearest first, and what to say of them."""
    rows, words = [], []
    for target in targets:
        advice = settings_to_try(calibrations, round_.spreader, round_.product, target)
        words.append(f"For {rate_words(target, system)}: {advice.advice}.")
        for found in advice.settings[:3]:
            test = found.calibration
            rows.append(
                SettingRow(
                    rate_words(target, system),
                    test.setting,
                    rate_words(test.rate_kg_ha, system),
                    f"{found.off_fraction:+.0%}",
                    "not stated" if test.swath_m is None else format_length(test.swath_m, system),
                    _speed(test.speed_m_s, system),
                    _speed(found.speed_m_s, system),
                    f"{test.tested_on.isoformat()} {test.operator}".strip(),
                    test.note,
                )
            )
    return tuple(rows), " ".join(dict.fromkeys(words))


def settings_words(round_: Round, calibrations: Sequence[Calibration], system: str) -> str:
    """What the log says of the rates wanted in a round, in a sentence each."""
    rows, advice = _settings(round_, _targets(round_.stops, system), calibrations, system)
    if not rows:
        return "No setting is logged for this load: catch a test first, starting low."
    tried = [
        f"Setting {row.setting} gave {row.gave} ({row.off} of {row.wanted}), tested {row.tested}."
        for row in rows
    ]
    return " ".join([advice, *dict.fromkeys(tried)])


def _half_text(targets: Sequence[float], system: str) -> str:
    low, high = (rate_words(rate_per_pass(rate), system) for rate in (min(targets), max(targets)))
    return f"{low} a pass." if low == high else f"half of each plot's rate, {low} to {high} a pass."


def _before(round_: Round, view: SeasonView, told: Placed) -> list[BeforeRow]:
    """Ground and weather to be seen on the day, for what is in the hopper."""
    names = {stop.product for stop in round_.stops}
    products = [product for product in view.record.products if product.product in names]
    return [
        BeforeRow(
            about,
            row.level,
            f"{row.text} Published: {row.published}." if row.published else row.text,
            f"{row.source}. Last word: {row.defers_to}.",
        )
        for about, row in told.before(load_caution_texts(), products, [stop.plot_id for stop in round_.stops])
    ]


def _water(plots: Sequence[str], view: SeasonView) -> list[BeforeRow]:
    """The distances to water that are taken out already, and those nobody has entered."""
    system = view.record.info.units
    taken = {
        f"{keepout.name or keepout.kind} {format_length(keepout.setback_m, system)}"
        for keepout in view.record.keepouts
        if keepout.setback_m
    }
    missing = {
        view_name
        for plot in dict.fromkeys(plots)
        for view_name in (_keepout_name(found, view) for found in view.areas[plot].missing_setbacks)
    }
    words = []
    if missing:
        words.append(f"No distance is entered for {', '.join(sorted(missing))}: ask before spreading there.")
    if taken:
        words.append(f"Taken out of the plots already: {', '.join(sorted(taken))}.")
    if not words:
        return []
    return [
        BeforeRow(
            "distance to water",
            "stop" if missing else "note",
            " ".join(words),
            "the property's keep-outs. Last word: state and local rule.",
        )
    ]


def _keepout_name(keepout_id: str, view: SeasonView) -> str:
    found = next((one for one in view.record.keepouts if one.keepout_id == keepout_id), None)
    return keepout_id if found is None else found.name or found.kind or keepout_id


def _counted(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _load_line(round_: Round, system: str) -> str:
    """How the loads were reached, in the steps of the round."""
    if round_.loads is None:
        return "Loads are not worked out: what the spreader or vehicle holds is not stated."
    text = _counted(round_.loads, "fill")
    if round_.loads > 1 and round_.last_load_kg is not None:
        text += f", the last one {mass_words(round_.last_load_kg, system)}"
    if round_.trips is not None:
        text += f"; {_counted(round_.trips, 'trip')} with the vehicle"
    return f"{text}. How: {'; '.join(step_words(step) for step in round_.steps)}."


def _recipes(round_: Round, view: SeasonView) -> list[str]:
    """What goes into each fill of a mixed load, plot by plot."""
    spreaders = view.record.info.settings.spreaders
    hopper_kg = hopper_of(next((one for one in spreaders if one.name == round_.spreader), None))
    system, said = view.record.info.units, []
    for place in places_of(round_):
        stops = [stop for stop, _, _ in place]
        recipe = recipe_words(stops, [stop.mass_kg for stop in stops], hopper_kg, system)
        said += [f"{stops[0].plot_id}: {recipe}"] if recipe else []
    return said


def _whole_packages(stops: Sequence[Stop], left: Sequence[float]) -> list[tuple[float | None, str]]:
    """Packages to carry of each product: an opened one goes on to the next plot, never to another product."""
    counts: dict[tuple[str, str], float | None] = {}
    for stop, kg in zip(stops, left, strict=True):
        if kg > 0:
            key = (stop.product, stop.package)
            before = counts.get(key, 0.0)
            more = None if stop.packages is None else stop.packages * kg / stop.mass_kg
            counts[key] = None if before is None or more is None else before + more
    return [
        (None if count is None else math.ceil(count - 1e-9), package)
        for (_, package), count in counts.items()
    ]


def round_sheet(
    number: int,
    round_: Round,
    view: SeasonView,
    statuses: Mapping[str, LineStatus],
    told: Placed,
    numbers: Mapping[Caution, int],
) -> RoundSheet:
    """Work out everything that stands on a round's page."""
    system = view.record.info.units
    product = label_of(round_.product, view)
    names = {plot.plot_id: plot.name for plot in view.record.plots}
    total_kg = math.fsum(stop.mass_kg for stop in round_.stops)
    mixed = len({stop.product for stop in round_.stops}) > 1
    area_m2 = math.fsum({stop.plot_id: ground_m2(stop, view.areas) for stop in round_.stops}.values())
    left = [left_kg(stop, statuses) for stop in round_.stops]
    carry = carry_words(_whole_packages(round_.stops, left))
    loads = "not known" if round_.loads is None else str(round_.loads)
    begun = not math.isclose(math.fsum(left), total_kg)
    figures = [Figure(mass_words(total_kg, system), "product in all")]
    if begun:
        figures.append(Figure(mass_words(math.fsum(left), system), "of it still to put on"))
    figures += [
        Figure(carry or "nothing", "to carry (opened bags are shared)"),
        Figure(format_area(area_m2, system), "to spread"),
        Figure(loads, "hopper loads" + (", whole round" if begun else "")),
    ]
    if round_.hours is not None:
        figures.append(Figure(f"{round_.hours:.1f} h", "about, without travel"))
    stops = tuple(
        StopRow(
            str(index),
            stop.plot_id,
            names.get(stop.plot_id, ""),
            format_area(ground_m2(stop, view.areas), system),
            rate_words(stop.rate_kg_ha, system),
            mass_words(stop.mass_kg, system) + (f" {stop.product}" if mixed else ""),
            volume_words(stop.mass_kg, product, system),
            packages_words(stop.packages, stop.package, stop.mass_kg, system),
            load,
            mass_words(more_kg, system) if more_kg else "",
            "" if stop.left_on_vehicle_kg is None else mass_words(stop.left_on_vehicle_kg, system),
            caught_words(set_to(stop), product, system),
            state_words(statuses.get(stop.line_id), system),
        )
        for index, (stop, load, more_kg) in enumerate(
            zip(round_.stops, load_words(round_), brought_kg(round_), strict=True), 1
        )
    )
    plots = [stop.plot_id for stop in round_.stops]
    targets = _targets(round_.stops, system)
    settings, advice = _settings(round_, targets, view.record.calibrations, system)
    return RoundSheet(
        str(number),
        round_.title,
        round_.product,
        timing_words(round_.timing),
        round_.spreader or "not chosen",
        mass_words(total_kg, system),
        carry,
        loads,
        tuple(figures),
        "; ".join([_load_line(round_, system), *_recipes(round_, view)]),
        (*_before(round_, view, told), *_water(plots, view)),
        str(len(set(plots))),
        stops,
        settings,
        advice,
        *sheet_words(product, system),
        _half_text(targets, system),
        cautions_here(told.with_product({stop.product for stop in round_.stops}, plots), numbers),
    )


@dataclass(frozen=True, slots=True)
class CautionBrief:
    """A caution in a line or two, with its number in the full list and who has the last word."""

    number: str
    level: str
    text: str
    defers_to: str


@dataclass(frozen=True, slots=True)
class CautionRow:
    """A caution in full: who can act on it, where it applies, its source, who has the last word."""

    number: str
    level: str
    text: str
    readers: str
    where: str
    source: str
    defers_to: str


@dataclass(frozen=True, slots=True)
class CautionsHere:
    """What to take care of in one place: the serious ones, and the numbers of the others."""

    briefs: tuple[CautionBrief, ...]
    more: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of an explanation."""

    what: str
    value: str
    unit: str
    source: str


def numbered(cautions: Iterable[Caution]) -> Mapping[Caution, int]:
    """Number cautions, each once, most serious first."""
    order = {"stop": 0, "care": 1, "note": 2}
    ranked = sorted(dict.fromkeys(cautions), key=lambda c: order.get(c.level, 3))
    return {caution: number for number, caution in enumerate(ranked, 1)}


def cautions_here(
    cautions: Iterable[Caution], numbers: Mapping[Caution, int], elsewhere: Iterable[Caution] = ()
) -> CautionsHere:
    """Say what was placed here (`Placed`): plain notes by their number in the full list.

    What stands on the round's page, too, is named by number.
    """
    here = sorted(cautions, key=lambda one: numbers[one])
    briefs = [CautionBrief(str(numbers[c]), c.level, c.text, c.defers_to) for c in here if c.level != "note"]
    there = [str(numbers[one]) for one in sorted(elsewhere, key=lambda one: numbers[one])]
    notes = [str(numbers[one]) for one in here if one.level == "note"]
    more = [f"{', '.join(there)} (on the round's page)"] if there else []
    more += [f"notes {', '.join(notes)}"] if notes else []
    return CautionsHere(tuple(briefs), "; ".join(more))


def caution_row(number: int, caution: Caution) -> CautionRow:
    """Lay a caution out in full."""
    where = ", ".join(caution.where) or "the whole property"
    text = f"{caution.text} Published: {caution.published}." if caution.published else caution.text
    readers = ", ".join(caution.readers)
    return CautionRow(
        str(number), caution.level, text, readers, where, str(caution.source), caution.defers_to
    )


def state_words(status: LineStatus | None, system: str) -> str:
    """Say what the record reports of a pass."""
    if status is None or status.state is WorkState.NOTHING:
        return ""
    said = status.said(system)
    if status.state is WorkState.PART:
        left = mass_words(max(status.planned_kg - status.applied_kg, 0.0), system)
        return f"{said}, {left} left"
    return f"{said}. Skip."


def step_row(step: Step, source: str) -> StepRow:
    """Lay out one step of an explanation."""
    value = format_figure(step.value) if isinstance(step.value, (int, float)) else step.value or "not known"
    return StepRow(step.what, value, step.unit, source)


def step_words(step: Step) -> str:
    """Say a step in a sentence: what it is, a colon, the figure."""
    row = step_row(step, "")
    return f"{row.what}: {row.value} {row.unit}".strip()


def label_of(name: str, view: SeasonView) -> Product | None:
    """Find a product's label."""
    return next((product for product in view.record.products if product.product == name), None)
