"""What a plot needs of each nutrient and of lime this season, and every step that says so.

The order is the same for every nutrient: the lab's own recommendation if it printed one, else the
chosen guideline; then credits, each a line (legume, manure, what was already applied); never below
zero; then times the spread area. What cannot be known is unknown, because, and stays so: no
neighbour crop, no assumed soil test, no guess. Steps are written in the printed US units, the
fields are SI.

Rules stated here once: no legume or manure credit is taken off a lab's figure unless the user says
the lab took none; what was applied this season, and lime since the sample, is always taken off; credits
use up the earliest timing first.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType

from loamwright import soil
from loamwright.errors import Level, Problem, UnitError
from loamwright.land import Cropping, Plot, PlotArea
from loamwright.needs.case import (
    ALWAYS,
    ASK_THE_LAB,
    RECORD,
    Case,
    area_steps,
    on_the_rest,
    part_asks,
    per_area,
    rate_shown,
    rate_step,
    rate_words,
    rest_steps,
    same_step,
    sentence,
    set_aside,
    within_reach,
)
from loamwright.needs.choice import Asked, Choice, answer, candidates
from loamwright.needs.credits import CreditLine, ManureTable, organic_credits
from loamwright.needs.decisions import (
    Decision,
    ToDecide,
    governing_decision,
    lab_rates_to_decide,
    nitrogen_to_decide,
    unsampled_to_decide,
)
from loamwright.needs.lime_need import lime_need
from loamwright.needs.publication import Guideline, Status, recommend
from loamwright.needs.rates import Rate, Situation
from loamwright.needs.records import Credit, Need, PlotNeeds
from loamwright.needs.seen import Clock, element_of, speaks_of
from loamwright.soil import Missing, OrganicInput, SoilTest, flag, rate_kg_ha, unit_of
from loamwright.units import HA_M2, K_PER_K2O, LB_ACRE_KG_HA, P_PER_P2O5, convert
from loamwright.values import (
    ARITHMETIC,
    LAB,
    USER,
    NeedState,
    Nutrient,
    Quantity,
    Settings,
    Source,
    Step,
    Supply,
    Timing,
)


def plot_needs(
    plot: Plot,
    cropping: Cropping | None,
    area: PlotArea,
    tests: Sequence[SoilTest],
    choice: Choice,
    lime_guideline: Guideline,
    settings: Settings,
    applied_kg: Mapping[Supply, float],
    organic: Sequence[OrganicInput],
    today: dt.date,
    *,
    parts: Mapping[Supply, Sequence[tuple[float, float]]] = MappingProxyType({}),
    clock: Clock | None = None,
    decisions: Sequence[Decision] = (),
    metric: bool = False,
) -> PlotNeeds:
    """Work out everything one plot needs this season.

    Parameters
    ----------
    plot
        Which plot.
    cropping
        What grows on it this season; None = not stated.
    area
        Its measured area; the spread area counts.
    tests, organic
        Soil reports and organic inputs of the property; those of other plots are passed over.
    choice, lime_guideline
        Editions asked where the lab recommends nothing, for nutrients and for lime.
    settings
        The user's choices.
    applied_kg
        Supply key to what is already on the plot as a whole and counts [kg], as in `Coverage.supply`.
    today
        Date the question is asked.
    parts
        Supply key to (area [m2], amount [kg]) of what went on part of the plot and counts.
    clock
        The dates that decide what counts, for manure and compost; None = the season's.
    decisions
        What people decided, in the order they did.
    metric
        True to tell areas and amounts in hectares and kilograms; rates stay in the unit of their source.

    Returns
    -------
    PlotNeeds
        N, P2O5, K2O and S always; the others when tested, recommended or ruled on.

    Raises
    ------
    ValueError
        When an applied amount is below zero or not finite.
    """
    for key, mass in applied_kg.items():
        if not (math.isfinite(mass) and mass >= 0):
            raise ValueError(f"applied amount of {key} must be zero or more, not {mass!r} kg")
    usable = soil.usable_tests(tests, plot.plot_id, today, settings.test_age_limit_years)
    case = Case(
        plot,
        cropping,
        area,
        usable.tests,
        choice.asked("" if cropping is None else cropping.crop),
        choice.names,
        lime_guideline,
        settings,
        applied_kg,
        tuple(item for item in organic if item.plot_id == plot.plot_id),
        today,
        parts=parts,
        clock=clock,
        decisions=tuple(decisions),
        metric=metric,
    )
    problems = [*usable.problems, *_notices(case)]
    needs = []
    for nutrient in _looked_at(case):
        need, found = _need(case, nutrient)
        needs.append(need)
        problems.extend(found)
    lime, found = lime_need(case)
    return PlotNeeds(plot.plot_id, tuple(needs), lime, tuple(dict.fromkeys((*problems, *found))))


# ---------------------------------------------------------------------------------------------
# What is said of the plot as a whole


def _notices(case: Case) -> list[Problem]:
    notices = []
    editions = {one.guideline.guideline_id: one.guideline for one in case.asked}
    for edition in {**editions, case.lime_guideline.guideline_id: case.lime_guideline}.values():
        where = f"settings, guideline {edition.guideline_id}"
        outside = _outside(case.plot, edition)
        if outside:
            notices.append(
                Problem(
                    where,
                    f"{edition.short} was written for {edition.region.name}; plots lie near {outside}",
                    "Use your lab's recommendation, or choose a guideline of your own state",
                    Level.WARNING,
                )
            )
        if edition.status is Status.CONFIRM:
            notices.append(
                Problem(
                    where,
                    f"{edition.short} is a form whose levels you confirm yourself",
                    "Copy it, set your own levels, and choose your copy",
                    Level.WARNING,
                )
            )
        elif edition.why:
            what = f"{edition.short} is {edition.status}: {edition.why}"
            notices.append(Problem(where, what, "Choose another if that does not suit you", Level.NOTE))
    if case.crop_text and case.crop is None and not _any_recommendation(case):
        notices.append(_not_named(case))
    return notices


def _not_named(case: Case) -> Problem:
    """Say that no edition names the crop, and what may have been meant."""
    editions = [one.guideline for one in case.asked]
    who = " and ".join(edition.short for edition in editions)
    listed = ", ".join(dict.fromkeys(crop.name for edition in editions for crop in edition.crops))
    verb = "does not name" if len(editions) == 1 else "do not name"
    what = f"{who} {verb} {case.crop_text!r}"
    fix = f"Use your lab's recommendation; it names {listed}"
    parts = case.names.parts(case.crop_text)
    if parts:
        what += f", a mixture of {' and '.join(parts)}"
        rules = candidates(case.asked, case.names, case.crop_text)
        could = f" (could be {', '.join(rules)})" if rules else ""
        fix = f"Say which rule governs{could}: '{case.crop_text} = EDITION as CROP' in the guideline setting"
    else:
        near = case.names.near(case.crop_text, [crop.name for edition in editions for crop in edition.crops])
        if near:
            fix = f"Was {' or '.join(near)} meant? {fix}"
    return Problem(f"{case.where}, crop", what, fix, Level.WARNING)


def _outside(plot: Plot, guideline: Guideline) -> str:
    """Return about where the plot lies when that is outside the guideline's box, else nothing."""
    if guideline.region.box is None:
        return ""
    from loamwright.land import bounds, label_point

    west, south, east, north = bounds(plot.boundary)
    if guideline.region.contains(west, south) and guideline.region.contains(east, north):
        return ""  # all of it is inside: nearly every plot
    box_west, box_south, box_east, box_north = guideline.region.box
    if west > box_east or east < box_west or south > box_north or north < box_south:
        longitude, latitude = (west + east) / 2, (south + north) / 2  # all of it is outside
    else:
        longitude, latitude = label_point(plot.boundary)
        if guideline.region.contains(longitude, latitude):
            return ""
    north_south, east_west = "NS"[latitude < 0], "EW"[longitude < 0]
    return f"{abs(latitude):.0f}° {north_south}, {abs(longitude):.0f}° {east_west}"


def _any_recommendation(case: Case) -> bool:
    return any(test.recommendation is not None and test.recommendation.rates for test in case.tests)


def _looked_at(case: Case) -> tuple[Nutrient, ...]:
    def spoken_of(nutrient: Nutrient) -> bool:
        return (
            nutrient in ALWAYS
            or any(map(speaks_of(nutrient), case.tests))
            or any(one.prints(nutrient) for one in case.asked)
        )

    return tuple(nutrient for nutrient in Nutrient if spoken_of(nutrient))


def _recommended(test: SoilTest, nutrient: Nutrient) -> Quantity | None:
    return None if test.recommendation is None else test.recommendation.rates.get(nutrient)


# ---------------------------------------------------------------------------------------------
# One nutrient


@dataclass(frozen=True, slots=True)
class _Gross:
    """A gross need before credits.

    `rate_kg_ha` is None when it is unknown. `credits_due` tells whether legume and manure credits
    are to be taken off: always on a guideline's figure, on a lab's only when it took none. `lab_took`
    is True when the user says that the lab took them.
    """

    rate_kg_ha: float | None
    reason: str
    steps: tuple[Step, ...]
    assumed: bool = False
    timings: tuple[tuple[Timing, float], ...] = ()
    credits_due: bool = True
    lab_took: bool = False
    from_lab: bool = False
    counts_previous_crop: bool = False
    problems: tuple[Problem, ...] = ()
    asked: Asked | None = None
    status: str = ""
    between_kg_ha: tuple[float, float] | None = None
    at_least: bool = False
    nitrate_counts: bool = False

    @property
    def edition(self) -> str:
        return "" if self.asked is None else self.asked.guideline.guideline_id


def _need(case: Case, nutrient: Nutrient) -> tuple[Need, list[Problem]]:
    governing = soil.newest(case.tests, speaks_of(nutrient))
    advised, problems = _for_this_crop(
        case, nutrient, [test for test in governing if _recommended(test, nutrient) is not None]
    )
    of_another_season = lab_rates_to_decide(case.season, advised)
    gross = (
        _from_lab(case, nutrient, governing, advised)
        if advised
        else _from_guideline(case, nutrient, governing)
    )
    problems.extend(gross.problems)
    if governing and all(_recommended(test, nutrient) is None for test in governing):
        problems.extend(
            _set_aside(case, nutrient, governing, Level.NOTE if gross.rate_kg_ha else Level.WARNING)
        )
    if gross.rate_kg_ha == 0 and not gross.from_lab:
        problems.extend(part_asks(case, governing, nutrient.value, _asks_for(nutrient)))
    plot_id, steps = case.plot.plot_id, list(gross.steps)
    decision = governing_decision(case.decisions, plot_id, case.season, nutrient.value, case.crop_text)
    if gross.rate_kg_ha is None and (decision is None or decision.rate_kg_ha is None):
        state = NeedState.UNKNOWN if gross.between_kg_ha is None else NeedState.TO_DECIDE
        reason = gross.reason
        if decision is not None:
            reason += f"; {decision.share:.0%} was decided, but no one figure is published: decide an amount"
        unknown = Need(
            plot_id,
            nutrient,
            state,
            sentence(reason),
            steps=tuple(steps),
            edition=gross.edition,
            edition_status=gross.status,
            between_kg_ha=gross.between_kg_ha,
        )
        return unknown, problems

    to_decide = of_another_season or _to_decide(case, nutrient, gross, governing)
    published = gross.rate_kg_ha if to_decide is not None or decision is not None else None
    if decision is not None:
        gross = _decided(case, nutrient, gross, decision)
        steps = list(gross.steps)
    assert gross.rate_kg_ha is not None
    lines: list[CreditLine] = []
    if gross.rate_kg_ha > 0:
        lines, remarks, found = _credits(case, nutrient, gross)
        problems.extend(found)
        steps.extend(remarks)
    for line in lines:
        steps.extend(line.steps)
        if unit_of(per_area(case), nutrient.value) not in {step.unit for step in line.steps}:
            steps.append(same_step(case, line.credit.rate_kg_ha, nutrient.value))
    credited = sum(line.credit.rate_kg_ha for line in lines)
    net = gross.rate_kg_ha - credited
    net = 0.0 if net < 1e-9 else net
    if lines:
        rates = (gross.rate_kg_ha, *(line.credit.rate_kg_ha for line in lines))
        shown = " - ".join(f"{rate_shown(case, rate):.6g}" for rate in rates)
        text = f"Still to supply: {shown}, never below zero"
        steps.append(rate_step(case, text, net, nutrient.value, ARITHMETIC))
    state, reason = NeedState.NEEDED, gross.reason
    supply = Supply(nutrient.value)
    done = on_the_rest(case, supply, gross.rate_kg_ha, net)
    if case.parts.get(supply) and done.area_m2 > 0:
        net = done.rest_kg / done.area_m2 * HA_M2
    topup_kg = done.topup_kg
    mass_kg = done.rest_kg if done.area_m2 > 0 else done.topup_kg
    share = case.settings.work.least_job_share
    little = share * gross.rate_kg_ha
    if net == 0:
        state = NeedState.NONE
        reason = (
            f"credits cover it: {gross.reason}" if gross.rate_kg_ha > 0 else f"none needed: {gross.reason}"
        )
    elif case.area_ha <= 0:
        state, net, reason = NeedState.NONE, 0.0, "the keep-outs leave no ground to spread on"
    elif case.applied_kg.get(supply, 0.0) > 0 and net <= little:
        state, topup_kg, reason = NeedState.NONE, mass_kg, within_reach(case, net, share)
    elif done.area_m2 == 0:
        state, topup_kg = NeedState.NONE, mass_kg
        reason = within_reach(case, mass_kg / case.area_ha, share)
    if state is NeedState.NONE:
        net = mass_kg = 0.0
    part_steps = rest_steps(case, supply, done)
    if state is NeedState.NEEDED:
        steps.extend(part_steps or area_steps(case, net, mass_kg, nutrient.value))
    found_need = Need(
        plot_id,
        nutrient,
        state,
        sentence(reason),
        gross_kg_ha=gross.rate_kg_ha,
        rate_kg_ha=net,
        mass_kg=mass_kg,
        credits=tuple(line.credit for line in lines),
        timings=_remaining(gross.timings, gross.rate_kg_ha, net) if state is NeedState.NEEDED else (),
        steps=tuple(steps),
        assumed=gross.assumed,
        published_kg_ha=published,
        rest_m2=done.area_m2 if part_steps and done.area_m2 > 0 and state is NeedState.NEEDED else None,
        topup_kg=topup_kg,
        edition=gross.edition,
        edition_status=gross.status,
        between_kg_ha=gross.between_kg_ha,
        at_least=gross.at_least,
    )
    if to_decide is not None and decision is None and state is NeedState.NEEDED:
        open_step = Step(f"To decide: {to_decide.why}", "to decide", "", to_decide.source)
        found_need = replace(
            found_need,
            state=NeedState.TO_DECIDE,
            reason=sentence(to_decide.why),
            rate_kg_ha=None,
            mass_kg=None,
            published_kg_ha=net,
            timings=(),
            steps=(*found_need.steps, open_step),
        )
    return found_need, problems


def _set_aside(
    case: Case, nutrient: Nutrient, governing: Sequence[SoilTest], level: Level
) -> Iterator[Problem]:
    """Say that a lab's rate for this season gives way to a newer report that holds none."""
    older = soil.newest(case.tests, lambda test: _recommended(test, nutrient) is not None)
    for test in _for_this_crop(case, nutrient, older)[0]:
        printed = _recommended(test, nutrient)
        if printed is None or lab_rates_to_decide(case.season, [test]) is not None:
            continue
        unit = printed.unit if nutrient.value in printed.unit else f"{printed.unit} {nutrient.value}"
        yield set_aside(case, nutrient.value, f"{printed.value:g} {unit}", test, governing, level)


def _for_this_crop(
    case: Case, nutrient: Nutrient, advised: Sequence[SoilTest]
) -> tuple[list[SoilTest], list[Problem]]:
    """Keep the lab's rates that were written for the crop asked about; ask about those for another."""
    kept, problems = [], []
    for test in advised:
        other_crop = test.rates_crop and not _same_crop(case, test.rates_crop)
        other_season = (
            test.rates_season is not None and test.rates_season != case.season and not test.rates_crop
        )
        if not other_crop and not other_season:
            kept.append(test)
            continue
        printed = _recommended(test, nutrient)
        assert printed is not None
        written = " in ".join(filter(None, (test.rates_crop, str(test.rates_season or ""))))
        problems.append(
            Problem(
                f"{case.where}, {nutrient.value}, soil test {test.test_id}",
                f"the lab's {printed.value:g} {printed.unit} {nutrient.value} was written for {written}, and "
                f"{case.crop_text or 'no crop'} grows in {case.season}: it is not used",
                f"If it fits, set soil-test {test.test_id} rates_crop='{case.crop_text}' "
                f"rates_season={case.season}",
                Level.WARNING,
            )
        )
    return kept, problems


def _same_crop(case: Case, crop: str) -> bool:
    """Tell whether two names mean one crop: as written, or as the guideline names it."""
    if crop.strip().casefold() == case.crop_text.casefold():
        return True
    named = case.guideline.crop(crop)
    return named is not None and named is case.crop


def _to_decide(
    case: Case, nutrient: Nutrient, gross: _Gross, governing: Sequence[SoilTest]
) -> ToDecide | None:
    """Say why this rate is a choice, when it is one; a lab's figure, and one's own, is used as written."""
    if gross.from_lab or gross.status == STANDARD_RATE or not gross.rate_kg_ha:
        return None
    if nutrient is Nutrient.N:
        share = None if case.cropping is None else case.cropping.legume_pct
        return nitrogen_to_decide(case.crop_text, share, case.settings.legume_share_no_n_pct)
    source = next((step.source for step in reversed(gross.steps) if step.source.table), ARITHMETIC)
    return unsampled_to_decide(nutrient.value, bool(governing), source)


def _decided(case: Case, nutrient: Nutrient, gross: _Gross, decision: Decision) -> _Gross:
    """Put a decision in the place of what is published, which stays in the steps."""
    rate = decision.applied_to(gross.rate_kg_ha or 0.0)
    what = decision.words(gross.rate_kg_ha, partial(rate_words, case), gross.between_kg_ha)
    step = rate_step(case, what, rate, nutrient.value, USER)
    return replace(
        gross,
        rate_kg_ha=rate,
        reason=f"decided: {decision.reason}",
        steps=(*gross.steps, step),
        assumed=False,
        timings=gross.timings if decision.share else (),
    )


def _asks_for(nutrient: Nutrient) -> Callable[[Case], bool]:
    return lambda part: bool(_from_guideline(part, nutrient, part.tests).rate_kg_ha)


def _remaining(
    timings: Sequence[tuple[Timing, float]], gross: float, net: float
) -> tuple[tuple[Timing, float], ...]:
    """Share what is still owed over the timings: what is already there counts for the earliest first."""
    there, result = gross - net, []
    for timing, share in timings:
        left = max(0.0, share * gross - there)
        there = max(0.0, there - share * gross)
        if left > 1e-9:
            result.append((timing, left / net))
    return tuple(result)


def _lab_rate(printed: Quantity, nutrient: Nutrient) -> float | Missing:
    """Read a lab's rate [kg/ha]; the unit may name the nutrient but no other basis."""
    unit = printed.unit
    for word in ("P2O5", "K2O", "P", "K", "N", "S"):
        if re.search(rf"\b{word}\b", unit, re.IGNORECASE) and word != nutrient.value:
            return Missing(f"the lab's rate {printed.value:g} {unit} is in {word}, not in {nutrient.value}")
    bare = re.sub(rf"\s*\b{nutrient.value}\b\s*", "", unit, flags=re.IGNORECASE)
    try:
        rate = convert(printed.value, bare, "kg/ha")
    except UnitError:
        return Missing(f"the unit of the lab's rate {printed.value:g} {unit!r} is not understood")
    return rate if rate >= 0 else Missing(f"the lab's rate {printed.value:g} {unit} cannot be")


def _up_to(test: SoilTest, nutrient: Nutrient) -> float | None:
    """The upper end of a range the lab prints, in the unit of the rate."""
    return None if test.recommendation is None else test.recommendation.up_to.get(nutrient)


def _from_lab(
    case: Case, nutrient: Nutrient, governing: Sequence[SoilTest], advised: Sequence[SoilTest]
) -> _Gross:
    steps: list[Step] = []
    problems: list[Problem] = []
    rates: list[float] = []
    highest: list[float] = []
    for test in advised:
        printed = _recommended(test, nutrient)
        assert printed is not None
        rate = _lab_rate(printed, nutrient)
        if isinstance(rate, Missing):
            return _Gross(None, rate.reason, tuple(steps))
        unit = printed.unit if nutrient.value in printed.unit else unit_of(printed.unit, nutrient.value)
        text = f"The lab's own recommendation, as printed ({soil.sample_text((test,))})"
        up_to = _up_to(test, nutrient)
        said = printed.value if up_to is None else f"{printed.value:g} to {up_to:g}"
        steps.append(Step(text, said, unit, LAB))
        rates.append(rate)
        upper = rate if up_to is None else _lab_rate(Quantity(up_to, printed.unit), nutrient)
        highest.append(rate if isinstance(upper, Missing) else upper)
    gross = soil.mean(rates)
    if highest != rates:
        reason = "the lab prints a range; the rate in it is yours to decide"
        between = (gross, soil.mean(highest))
        return _Gross(None, reason, tuple(steps), from_lab=True, status="lab", between_kg_ha=between)
    shown = rate_shown(case, gross)
    if len(rates) > 1:
        listed = " and ".join(f"{rate_shown(case, rate):.6g}" for rate in rates)
        text = f"Several samples count once each: mean of {listed}"
        steps.append(rate_step(case, text, gross, nutrient.value, ARITHMETIC))
    elif not math.isclose(steps[-1].value if isinstance(steps[-1].value, float | int) else 0.0, shown):
        steps.append(same_step(case, gross, nutrient.value))
    if len(advised) < len(governing):
        problems.append(
            Problem(
                f"{case.where}, {nutrient.value}",
                f"only {len(advised)} of {len(governing)} samples carry a recommendation",
                "Check the reports",
                Level.NOTE,
            )
        )
    taken = [test.recommendation.credits_taken for test in advised if test.recommendation is not None]
    return _Gross(
        gross,
        "the lab's own recommendation",
        tuple(steps),
        credits_due=all(answer is False for answer in taken),
        lab_took=any(answer is True for answer in taken),
        from_lab=True,
        status="lab",
        problems=tuple(problems),
    )


def _from_guideline(case: Case, nutrient: Nutrient, governing: Sequence[SoilTest]) -> _Gross:
    if not case.crop_text:
        return _Gross(None, "no crop is stated for this season", ())
    situations = {one.crop.name: case.situation(one.crop) for one in case.asked if one.crop is not None}
    found = answer(case.asked, nutrient, situations)
    rate, asked = found.rate, found.asked
    problems = tuple(_over_maximum(case, nutrient, rate, situations))
    if rate is None and found.own is None:
        return replace(_silent(case, nutrient), problems=problems)
    called, calls = _called(case, nutrient)
    if found.own is not None:
        assert found.own.crop is not None
        own = recommend(found.own.guideline, nutrient, situations[found.own.crop.name])
        return replace(
            _as_gross(case, nutrient, own, found.own, governing, calls),
            reason=f"your standard rate: {own.reason}" + ("" if rate is None else f" ({rate.reason})"),
            status=STANDARD_RATE,
            problems=(*problems, *_outside_range(case, nutrient, own, rate)),
        )
    assert rate is not None
    assert asked is not None
    gross = _as_gross(case, nutrient, rate, asked, governing, calls)
    reason = gross.reason + called if gross.rate_kg_ha is None else gross.reason
    return replace(gross, reason=reason, problems=problems)


#: What stands in place of an edition's status where the user's own rate is used.
STANDARD_RATE = "your standard rate"


def _silent(case: Case, nutrient: Nutrient) -> _Gross:
    """Say that none of the editions has a rule."""
    flagged = flag(case.tests, nutrient, case.crop_text)
    low = f"; the soil test is {flagged.text}" if flagged.text else ""
    called, calls = _called(case, nutrient)
    steps = (*flagged.steps, *calls)
    quiet = (Status.MAXIMUM, Status.CLASSES)
    publications = [one for one in case.asked if not one.guideline.standard_rates] or list(case.asked)
    publications = [one for one in publications if one.guideline.status not in quiet] or publications
    naming = [one for one in publications if one.crop is not None] or publications
    who = " and ".join(one.guideline.short for one in naming)
    if naming[0].crop is None:
        verb = "does not name" if len(naming) == 1 else "do not name"
        return _Gross(None, f"{who} {verb} {case.crop_text!r}: {ASK_THE_LAB}{low}{called}", steps)
    if all(one.guideline.status is Status.MAXIMUM for one in naming):
        return _Gross(None, f"{who} sets a maximum and prints no need: {ASK_THE_LAB}{low}{called}", steps)
    tested = any(element_of(nutrient) in test.readings for test in case.tests) or nutrient is Nutrient.N
    untested = "" if tested else ", and it was not tested"
    verb = "prints no" if len(naming) == 1 else "print no"
    lacks = f"{who} {verb} {nutrient.value} rule for {naming[0].crop.name}"
    return _Gross(None, f"{lacks}{untested}: {ASK_THE_LAB}{low}{called}", steps)


def _as_gross(
    case: Case,
    nutrient: Nutrient,
    rate: Rate,
    asked: Asked,
    governing: Sequence[SoilTest],
    calls: tuple[Step, ...],
) -> _Gross:
    """Bring a printed rate to kg/ha of the nutrient, and name the edition with its status."""
    factor = rate_kg_ha(1.0, rate.unit) if rate.unit else 1.0
    if rate.basis:
        factor /= {"P": P_PER_P2O5, "K": K_PER_K2O}[rate.basis]
    guideline = asked.guideline
    about = f"{guideline.status}" + (f": {guideline.why}" if guideline.why else "")
    steps = (*rate.steps, *calls, Step(f"Standing of {guideline.short}", about, "", Source(guideline.name)))
    status = str(guideline.status)
    if asked.put_in and asked.crop is not None:
        chosen = f"The rule for {asked.crop.name} stands in for {asked.put_in}"
        steps = (Step(chosen, "your choice", "", USER), *steps)
        status = f"{status}; the rule for {asked.crop.name}, put in by you"
    between = None if rate.between is None else (rate.between[0] * factor, rate.between[1] * factor)
    if rate.value is None:
        return _Gross(None, rate.reason, steps, asked=asked, status=status, between_kg_ha=between)
    gross = rate.value * factor
    if rate.unit != per_area(case) or rate.basis:
        restated = f"{rate.basis} as {nutrient.value}, in {per_area(case)}"
        same = same_step(case, gross, nutrient.value)
        steps = (*steps, replace(same, what=restated) if rate.basis else same)
    return _Gross(
        gross,
        rate.reason,
        steps,
        rate.assumed,
        rate.timings,
        counts_previous_crop=rate.counts_previous_crop,
        asked=asked,
        status=status,
        at_least=rate.at_least,
        nitrate_counts=rate.nitrate_counts,
    )


def _called(case: Case, nutrient: Nutrient) -> tuple[str, tuple[Step, ...]]:
    """Say what the chosen editions call the soil figure, in half a sentence and as steps."""
    words: list[str] = []
    steps: list[Step] = []
    for one in case.asked:
        for table in one.guideline.classes:
            found = table.word(case.tests, element_of(nutrient))
            if found is not None:
                words.append(f"{one.guideline.short} call it {found[0]}")
                steps.extend(found[1])
    return "".join(f"; {word}" for word in words), tuple(steps)


def _over_maximum(
    case: Case, nutrient: Nutrient, rate: Rate | None, situations: Mapping[str, Situation]
) -> list[Problem]:
    """Hold a need against the legal maxima among the chosen editions."""
    problems = []
    for one in case.asked:
        if one.guideline.status is not Status.MAXIMUM or one.crop is None or not one.prints(nutrient):
            continue
        most = recommend(one.guideline, nutrient, situations[one.crop.name])
        where = f"{case.where}, {nutrient.value}"
        if most.value is None:
            what = f"the legal maximum of {one.guideline.short} cannot be told: {most.reason}"
            problems.append(Problem(where, what, "Ask the authority it is from", Level.WARNING))
            continue
        limit = f"{most.value:g} {unit_of(most.unit, nutrient.value)} ({most.reason})"
        needed = _as_gross(case, nutrient, rate, one, (), ()).rate_kg_ha if rate is not None else None
        over = needed is not None and needed > rate_kg_ha(most.value, most.unit) + 1e-9
        more = ", and the need is more" if over else ""
        what = f"the legal maximum of {one.guideline.short} is {limit}{more}"
        fix = "Put on no more than the law allows; the authority has the last word"
        problems.append(Problem(where, what, fix, Level.WARNING if over else Level.NOTE))
    return problems


def _outside_range(case: Case, nutrient: Nutrient, own: Rate, printed: Rate | None) -> list[Problem]:
    """Say when the user's standard rate leaves the range a publication prints."""
    if printed is None or printed.between is None or own.value is None:
        return []
    factor = rate_kg_ha(1.0, printed.unit)
    low, high = (bound * factor for bound in printed.between)
    rate = rate_kg_ha(own.value, own.unit)
    if low - 1e-9 <= rate <= high + 1e-9:
        return []
    what = f"your standard rate of {own.value:g} {own.unit} lies outside the printed range"
    fix = f"{printed.between[0]:g} to {printed.between[1]:g} {printed.unit} is printed: check your rate"
    return [Problem(f"{case.where}, {nutrient.value}", what, fix, Level.NOTE)]


# ---------------------------------------------------------------------------------------------
# Credits


def _credits(
    case: Case, nutrient: Nutrient, gross: _Gross
) -> tuple[list[CreditLine], list[Step], list[Problem]]:
    """Collect the credit lines, remarks for the chain, and problems."""
    lines: list[CreditLine] = []
    remarks: list[Step] = []
    problems: list[Problem] = []
    found = organic_credits(
        case.organic,
        _manure_table(case, gross),
        nutrient,
        case.season,
        case.dates,
        case.area_ha,
        case.today,
    )
    remarks.extend(found.seen)
    legume = None
    if nutrient is Nutrient.N and not gross.counts_previous_crop:
        legume = _legume(case, gross)
    if gross.credits_due:
        lines.extend(found.lines)
        problems.extend(found.problems)
        if isinstance(legume, CreditLine):
            lines.append(legume)
        elif isinstance(legume, Missing):
            problems.append(
                Problem(
                    f"{case.where}, previous_stand",
                    f"{legume.reason}; no legume credit was taken",
                    "State the stand, for example 4 plants/ft2",
                    Level.WARNING,
                )
            )
        elif legume is not None:
            remarks.append(legume)
    else:
        left_out = (*found.lines, *([legume] if isinstance(legume, CreditLine) else []))
        if left_out:
            listed = "; ".join(line.credit.what for line in left_out)
            remark, problem = _left_to_the_lab(case, nutrient, listed, gross.lab_took)
            remarks.append(remark)
            problems.extend(problem)
    nitrate = _nitrate(case) if gross.nitrate_counts and nutrient is Nutrient.N else None
    if isinstance(nitrate, CreditLine):
        lines.append(nitrate)
    elif nitrate is not None:
        remarks.append(nitrate)
    applied = case.applied_kg.get(nutrient.supply, 0.0)
    if applied > 0 and case.area_ha > 0:
        rate = applied / case.area_ha
        counted = "since the crop began" if nutrient is Nutrient.N else "since the soil was sampled"
        steps = (rate_step(case, f"Applied {counted}", rate, nutrient.value, RECORD),)
        lines.append(CreditLine(Credit(f"applied {counted}", rate, RECORD), steps))
    return lines, remarks, problems


def _manure_table(case: Case, gross: _Gross) -> ManureTable | None:
    """Take the shares of the edition that answers, else of the first that prints any."""
    first = () if gross.asked is None else (gross.asked,)
    return next((one.guideline.manure for one in (*first, *case.asked) if one.guideline.manure), None)


def _nitrate(case: Case) -> CreditLine | Step:
    """Take off the nitrate-N a soil test found, in the slice that was sampled."""
    found = soil.soil_value(case.tests, "NO3-N", "lb/acre", None)
    if isinstance(found, Missing):
        return Step(f"No nitrate-N taken off: {found.reason}", "remark", "", LAB)
    rate = found.value * LB_ACRE_KG_HA
    steps = (*found.steps, Step("Nitrate-N already in the soil", found.value, "lb N/acre", LAB))
    return CreditLine(Credit("nitrate-N in the soil", rate, LAB), steps)


def _left_to_the_lab(
    case: Case, nutrient: Nutrient, listed: str, lab_took: bool
) -> tuple[Step, list[Problem]]:
    """Say that credits were not taken off a lab's figure, and why."""
    if lab_took:
        text = f"{listed}: your lab took it off already, as the soil test says"
        return Step(text, "not taken again", "", LAB), []
    text = f"not taken off the lab's {nutrient.value}: the report does not say whether the lab took it"
    problem = Problem(
        f"{case.where}, {nutrient.value}",
        f"{listed} was {text}",
        "Set credits_taken on the soil test: no if the lab did not count it, yes if it did",
        Level.NOTE,
    )
    return Step(f"{listed}: {text}", "remark", "", LAB), [problem]


def _legume(case: Case, gross: _Gross) -> CreditLine | Missing | Step | None:
    """Look up what last year's legume leaves: a credit, why it is missing, or a remark that none is due."""
    previous = "" if case.cropping is None else case.cropping.previous_crop.strip()
    if case.cropping is None or not previous:
        return None
    asked = gross.asked or case.leading
    crop_name = "" if asked.crop is None else asked.crop.name
    tables = [table for table in asked.guideline.legumes if not table.crops or crop_name in table.crops]
    if not tables:
        text = f"No legume credit after {previous}: {asked.guideline.short} prints none for {case.crop_text}"
        return Step(text, "none taken", "", ARITHMETIC) if gross.from_lab else None
    table = tables[0]
    found = table.credit(previous, case.cropping.previous_stand)
    if found is None:
        return Step(f"{previous} is not in the legume credit table", "none taken", "", table.source)
    if isinstance(found, CreditLine) and table.note:
        return replace(found, steps=(*found.steps, Step(table.note, "remark", "", table.source)))
    return found
