"""Cautions about the work: stock, spills, speed, pattern, calibration, mixed loads, planned and applied."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterator, Mapping

from loamwright.planning import PlanLine
from loamwright.supplies import MixAnswer, Product, may_mix
from loamwright.units import read_number
from loamwright.values import Nutrient
from loamwright.work.cautions.facts import (
    Case,
    CautionText,
    Finding,
    Rule,
    dates,
    few,
    grouped,
    listed,
    plots_of,
)
from loamwright.work.cautions.phrases import is_fertilizer, says
from loamwright.work.records import Application, Calibration, Done, WorkState

_GRAZED = r"graz|pasture|paddock|\bcattle\b|\bsheep\b|\bgoats?\b|\bhorses?\b"
#: An application this recent is still shown on a grazed plot [day]. Ours: the source gives no count.
_STOCK_DAYS = 30

_NOTED_CV = r"\bcv\b\D{0,6}(\d{1,3}(?:\.\d{1,3})?)\s*%"


def _stock(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-37: fertilizer planned, or lately put, on a plot that is grazed by what the user wrote."""
    grazed = {
        plot_id
        for plot_id, plot in case.plots.items()
        if says(f"{case.croppings[plot_id].crop if plot_id in case.croppings else ''}; {plot.notes}", _GRAZED)
    }
    planned = [
        line for lines in case.lines_of(is_fertilizer).values() for line in lines if line.plot_id in grazed
    ]
    lately = [
        entry
        for entry in case.entries
        if entry.plot_id in grazed
        and entry.product in case.products
        and is_fertilizer(case.products[entry.product])
        and 0 <= (case.on_date - entry.applied_on).days <= _STOCK_DAYS
    ]
    jobs: tuple[PlanLine | Application, ...] = (*planned, *lately)
    if jobs:
        where = plots_of(jobs)
        spread = f", spread on {dates(lately)}" if lately else ""
        yield Finding(f"Fertilizer where stock may graze: {case.names(where)}{spread}.", where)


def _spills(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-38: a plot that takes more than one hopper fill, or an entry that tells of a spill."""
    hoppers = [s for s in case.record.info.settings.spreaders if s.hopper_kg is not None]
    refilled: list[PlanLine] = []
    for product, lines in case.lines_of(lambda _: True).items():
        fills = [s.hopper_kg or 0.0 for s in hoppers if _can_spread(s.name, case.products[product])]
        refilled.extend(line for line in lines if fills and line.mass_kg > max(fills))
    told = [
        entry
        for entry in case.season_entries
        if says(f"{entry.note}; {entry.reason}", r"spill|heap|\bpiles?\b")
    ]
    sentences = []
    if refilled:
        sentences.append(f"More than one hopper fill on {case.names(plots_of(refilled))}.")
    if told:
        sentences.append(f"A spill is noted on {case.names(plots_of(told))}, {dates(told)}.")
    if sentences:
        yield Finding(" ".join(sentences), plots_of((*refilled, *told)))


def _can_spread(spreader: str, product: Product) -> bool:
    return not product.equipment or spreader.casefold() in {name.casefold() for name in product.equipment}


def _speed_drift(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-41: a spreader's working speed differs from the speed it was last calibrated at."""
    least_pct = text.limits["speed"].value
    sentences = []
    for spreader in case.record.info.settings.spreaders:
        tests = [
            test
            for test in case.record.calibrations
            if test.spreader.casefold() == spreader.name.casefold() and test.speed_m_s
        ]
        if not tests or not spreader.speed_m_s:
            continue
        calibrated = max(tests, key=lambda test: test.tested_on).speed_m_s or spreader.speed_m_s
        if abs(spreader.speed_m_s / calibrated - 1) * 100 >= least_pct - 1e-9:
            change_pct = (calibrated / spreader.speed_m_s - 1) * 100
            more = "more" if change_pct > 0 else "less"
            sentences.append(
                f"{spreader.name} is to work at another speed than it was calibrated at: "
                f"{abs(change_pct):.0f} % {more} product."
            )
    if sentences:
        yield Finding(" ".join(sentences))


def _uneven(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-42: a noted coefficient of variation over the limit, or stripes noted."""
    newest: dict[str, Calibration] = {}
    for calibration in sorted(case.record.calibrations, key=lambda calibration: calibration.tested_on):
        newest[calibration.product] = calibration
    striped = grouped(
        (entry.product, entry)
        for entry in case.season_entries
        if says(f"{entry.note}; {entry.reason}", r"\bstrip(es|ed|y|ing)\b")
    )
    for product in dict.fromkeys((*newest, *striped)):
        limit = text.limits["nitrogen" if case.fraction(product, Nutrient.N) > 0 else "other"].value
        sentences = []
        test = newest.get(product)
        noted = None if test is None else re.search(_NOTED_CV, test.note.casefold())
        if test is not None and noted is not None and read_number(noted[1]) > limit:
            sentences.append(
                f"{test.spreader} spread {product} with a coefficient of variation of {noted[1]} % "
                f"on {test.tested_on}; the limit is {limit:g} %."
            )
        entries = striped.get(product, ())
        if entries:
            sentences.append(
                f"Stripes noted with {product} on {case.names(plots_of(entries))}, {dates(entries)}."
            )
        if sentences:
            yield Finding(" ".join(sentences), plots_of(entries), product)


def _calibration_stale(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-43: a planned product never calibrated, or by another operator, or too many jobs ago."""
    own = [spreader.name for spreader in case.record.info.settings.spreaders]
    mine = case.lines_of(lambda product: not own or any(_can_spread(name, product) for name in own))
    never: list[str] = []
    stale: list[str] = []
    where: list[PlanLine] = []
    for product, lines in mine.items():
        tests = [t for t in case.record.calibrations if t.product.casefold() == product.casefold()]
        if not tests:
            never.append(product)
        elif reasons := _stale(case, max(tests, key=lambda test: test.tested_on), text.limits["jobs"].value):
            stale.append(f"{product} {reasons}.")
        else:
            continue
        where.extend(lines)
    if where:
        sentences = [f"No calibration is logged with {few(never)}.", *stale] if never else stale
        yield Finding(" ".join(sentences), plots_of(where))


def _stale(case: Case, test: Calibration, most_jobs: float) -> str:
    """Say what has happened since a calibration that asks for another; empty when nothing has."""
    since = [
        entry
        for entry in case.entries
        if entry.product.casefold() == test.product.casefold() and entry.applied_on >= test.tested_on
    ]
    jobs = len({entry.applied_on for entry in since})
    others = {e.operator for e in since if e.operator and e.operator.casefold() != test.operator.casefold()}
    reasons = []
    if jobs >= most_jobs:
        reasons.append(f"{jobs} jobs since")
    if test.operator and others:
        reasons.append(f"{listed(sorted(others))} spread since, {test.operator} calibrated")
    return f"was calibrated on {test.tested_on}: {'; '.join(reasons)}" if reasons else ""


def _differs(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-49: a finished line off its plan by more than the tolerance, with no reason given."""
    tolerance = text.limits["tolerance"].value / 100
    finished = {(entry.plot_id, entry.product) for entry in case.season_entries if entry.done is Done.DONE}
    off = [
        status
        for status in case.statuses
        if status.state is not WorkState.NOTHING
        and not status.reasons
        and (status.plot_id, status.product) in finished
        and abs(status.applied_kg - status.planned_kg) > tolerance * status.planned_kg
    ]
    for product, statuses in grouped((status.product, status) for status in off).items():
        amounts = ", ".join(
            f"{case.names([s.plot_id])} {case.mass(s.applied_kg)} for {case.mass(s.planned_kg)}"
            for s in statuses
        )
        where = tuple(dict.fromkeys(status.plot_id for status in statuses))
        yield Finding(f"{product}, applied for planned: {amounts}.", where, product)


def _do_not_keep(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-52: a planned load holds products that may be mixed only to be spread at once."""
    decisions = case.record.info.settings.work.mixing
    loads = grouped((line.job_id, line) for line in case.open_lines if line.job_id)
    met: dict[tuple[str, str], list[PlanLine]] = {}
    for load in loads.values():
        known = sorted((line for line in load if line.product in case.products), key=lambda one: one.product)
        for one, other in itertools.combinations(known, 2):
            pair = (case.products[one.product], case.products[other.product])
            if may_mix(*pair, case.mixing, decisions).answer is MixAnswer.AT_ONCE:
                met.setdefault((one.product, other.product), []).append(one)
    often = Counter(product for pair in met for product in pair)
    about = grouped(
        (max(pair, key=lambda name: (often[name], name)), (pair, lines)) for pair, lines in met.items()
    )
    for product, found in about.items():
        others = [name for pair, _lines in found for name in pair if name != product]
        where = plots_of(line for _pair, lines in found for line in lines)
        yield Finding(
            f"{product} shares a hopper with {listed(others)} on {case.names(where)}.", where, product
        )


RULES: Mapping[str, Rule] = {
    "C-37": _stock,
    "C-38": _spills,
    "C-41": _speed_drift,
    "C-42": _uneven,
    "C-43": _calibration_stale,
    "C-49": _differs,
    "C-52": _do_not_keep,
}
