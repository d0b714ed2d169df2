"""How much lime a plot needs: as the lab wrote it, else by the guideline, less what is on.

The published forms of lime tables are `lime_rules`; which stone fills the need is the planner's.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from loamwright import soil
from loamwright.errors import Level, Problem, UnitError
from loamwright.needs.case import (
    ASK_THE_LAB,
    RECORD,
    Case,
    area_steps,
    on_the_rest,
    part_asks,
    per_area,
    rate_step,
    rate_words,
    rest_steps,
    same_step,
    sentence,
    set_aside,
    within_reach,
)
from loamwright.needs.choice import lime_depth_rule
from loamwright.needs.decisions import governing_decision, lab_rates_to_decide
from loamwright.needs.lime_rules import LimeAnswer, LimeCase
from loamwright.needs.publication import Guideline
from loamwright.needs.records import LimeNeed
from loamwright.needs.seen import speaks_of_lime
from loamwright.soil import Missing, SoilTest, rate_kg_ha
from loamwright.units import CACO3_PER_CAO, HA_M2, LB_ACRE_KG_HA, convert, read_number
from loamwright.values import ARITHMETIC, LAB, USER, LimeBasis, NeedState, Quantity, Step

# ---------------------------------------------------------------------------------------------
# What the lab printed

_BASIS_WORDS = {
    "enp": LimeBasis.ENP,
    "ecce": LimeBasis.ECCE,
    "enm": LimeBasis.ENM,
    "env": LimeBasis.ENV,
    "rnv": LimeBasis.RNV,
    "ecc": LimeBasis.ECC,
    "ep": LimeBasis.EP,
    "cce": LimeBasis.CCE,
    "caco3": LimeBasis.CCE,
    "cao": LimeBasis.CCE,
    "nv": LimeBasis.CCE,
}
#: Words of the CaO scale: what neutralizes as much as so much calcium oxide.
_ON_THE_CAO_SCALE = frozenset({"cao", "nv"})
#: A score the rate is of, before or after its word: "70% ENP", "NV 54".
_SCORED = re.compile(
    rf"(?P<before>[0-9]+(?:\.[0-9]+)?)\s*%?\s*(?=(?:{'|'.join(_BASIS_WORDS)})\b)"
    rf"|(?<=[a-z0-9])\s+(?P<after>[0-9]+(?:\.[0-9]+)?)\s*%?(?=\s*/)"
)
_FILLER = re.compile(r"\(ohio\)|\b(?:ohio|of|ground|ag|agricultural|aglime|limestone|lime|product)\b")


def read_lab_lime(printed: Quantity) -> tuple[LimeBasis, float] | Missing:
    """Read the lime rate a lab printed, with the basis named in its unit.

    Parameters
    ----------
    printed
        Number and unit as printed: ``Quantity(3000, "lb ENP/acre")``, ``Quantity(2, "ton/acre")``.

    Returns
    -------
    tuple of LimeBasis and float, or Missing
        Basis (lime as such when the unit names none; Minnesota's ENP unless it says Ohio) and rate
        [kg basis/ha]; Missing when the unit is not understood.

    Examples
    --------
    >>> read_lab_lime(Quantity(1000, "kg CCE/ha"))
    (<LimeBasis.CCE: 'CCE'>, 1000.0)
    >>> read_lab_lime(Quantity(2, "t 50% CCE/ha"))
    (<LimeBasis.CCE: 'CCE'>, 1000.0)
    """
    text = printed.unit.casefold()
    words = re.findall(r"[a-z]+\d?", text)
    named = {_BASIS_WORDS[word] for word in words if word in _BASIS_WORDS}
    if len(named) > 1:
        return Missing(f"the lime unit {printed.unit!r} names more than one basis")
    basis = named.pop() if named else LimeBasis.PRODUCT
    if basis is LimeBasis.ENP and "ohio" in words:
        basis = LimeBasis.ENP_OHIO
    share = CACO3_PER_CAO if _ON_THE_CAO_SCALE & set(words) else 1.0
    bare = text
    if basis is not LimeBasis.PRODUCT and (scored := _SCORED.search(text)):
        share *= read_number(scored["before"] or scored["after"]) / 100
        bare = text[: scored.start()] + " " + text[scored.end() :]
    bare = _FILLER.sub(" ", bare)
    for word in _BASIS_WORDS:
        bare = re.sub(rf"\b{word}\b", " ", bare)
    bare, decitonnes = re.subn(r"^\s*dt\b", "t", bare)  # 100 kg
    share *= 0.1 if decitonnes else 1.0
    try:
        rate_kg_ha = share * convert(
            printed.value, re.sub(r"\s+", " ", bare).replace(" /", "/").strip(), "kg/ha"
        )
    except UnitError:
        return Missing(f"the lime rate {printed.value:g} {printed.unit!r} is not understood")
    if not rate_kg_ha >= 0:
        return Missing(f"the lime rate {printed.value:g} {printed.unit} cannot be")
    return basis, rate_kg_ha


def _asks_for_lime(part: Case) -> bool:
    return _lime_from_guideline(part)[0].state is NeedState.NEEDED


# ---------------------------------------------------------------------------------------------
# Lime


def _set_aside(case: Case, governing: Sequence[SoilTest], state: NeedState) -> Iterator[Problem]:
    """Say that a lab's lime of this season gives way to a newer report that holds none."""
    level = Level.WARNING if state is NeedState.UNKNOWN else Level.NOTE
    for test in soil.newest(case.tests, lambda test: _lab_lime(test) is not None):
        lime = _lab_lime(test)
        if lime is not None and lab_rates_to_decide(case.season, [test]) is None:
            yield set_aside(case, "lime", f"{lime.value:g} {lime.unit} of lime", test, governing, level)


def _lab_lime(test: SoilTest) -> Quantity | None:
    return None if test.recommendation is None else test.recommendation.lime


def lime_need(case: Case) -> tuple[LimeNeed, list[Problem]]:
    """Return the lime a plot needs, in the basis its source uses."""
    governing = soil.newest(case.tests, speaks_of_lime)
    printed = [test for test in governing if _lab_lime(test) is not None]
    answer, edition = (_lime_from_lab(printed), None) if printed else _lime_from_guideline(case)
    if answer.state is NeedState.NONE and not printed:
        parts = part_asks(case, governing, "lime", _asks_for_lime)
    else:
        parts = []
    dolomitic, magnesium = soil.wants_dolomitic(case.tests)
    problems = [*parts, *([] if printed else _set_aside(case, governing, answer.state))]
    need = LimeNeed(
        case.plot.plot_id,
        answer.state,
        sentence(answer.reason),
        target_ph=answer.target_ph,
        depth_m=answer.depth_m,
        dolomitic=dolomitic,
        steps=(*answer.steps, *magnesium),
        edition="" if edition is None else edition.guideline_id,
        edition_status="lab" if edition is None else edition.status,
        at_least=answer.at_least,
    )
    if answer.between is not None:
        low, high = (rate_kg_ha(rate, answer.unit) for rate in answer.between)
        need = replace(need, between_kg_ha=(low, high))
    if answer.state is NeedState.UNKNOWN:
        return need, problems
    if answer.state is NeedState.NONE or answer.value is None or answer.basis is None:
        return replace(need, rate_kg_ha=0.0, mass_kg=0.0), problems
    problems.extend(_other_basis(case, answer.basis))
    owed = _lime_owed(case, replace(need, state=NeedState.NEEDED), answer, magnesium)
    if need.state is NeedState.TO_DECIDE and owed.state is NeedState.NEEDED and owed.published_kg_ha is None:
        published = owed.rate_kg_ha  # as printed; a person chooses
        return replace(
            owed, state=need.state, published_kg_ha=published, rate_kg_ha=None, mass_kg=None
        ), problems
    return owed, problems


def _lime_owed(case: Case, need: LimeNeed, answer: LimeAnswer, magnesium: Sequence[Step]) -> LimeNeed:
    assert answer.value is not None
    assert answer.basis is not None
    gross = rate_kg_ha(answer.value, answer.unit)
    of = answer.basis.value
    steps = list(answer.steps)
    if answer.unit != per_area(case):
        steps.append(same_step(case, gross, of))
    supply = answer.basis.supply
    decision = governing_decision(case.decisions, case.plot.plot_id, case.season, "lime", case.crop_text)
    if decision is not None and decision.basis not in ("", of):
        was = f"{rate_words(case, decision.applied_to(0.0))} {decision.basis}"
        why = f"decided on {decision.decided_on}: {was}; what is asked for is in {of} now, so decide again"
        return replace(
            need, state=NeedState.TO_DECIDE, published_kg_ha=gross, basis=answer.basis, reason=sentence(why)
        )
    if decision is not None:
        need = replace(need, published_kg_ha=gross, reason=sentence(f"decided: {decision.reason}"))
        what = decision.words(gross, partial(rate_words, case))
        gross = decision.applied_to(gross)
        steps.append(rate_step(case, what, gross, of, USER))
    applied = case.applied_kg.get(supply, 0.0)
    net = gross
    if applied > 0 and case.area_ha > 0:
        there = applied / case.area_ha
        net = 0.0 if gross - there < 1e-9 else gross - there
        steps += [
            rate_step(case, "Spread since the soil was sampled", there, of, RECORD),
            rate_step(case, "Still to supply, never below zero", net, of, ARITHMETIC),
        ]
    done = on_the_rest(case, supply, gross, net)
    mass_kg = done.rest_kg if done.area_m2 > 0 else done.topup_kg
    share = case.settings.work.least_job_share
    covered = f"what was applied covers it: {answer.reason}" if gross > 0 else f"none: {need.reason}"
    none = replace(need, state=NeedState.NONE, rate_kg_ha=0.0, mass_kg=0.0)
    if net == 0 or mass_kg == 0:
        return replace(none, reason=sentence(covered), steps=(*steps, *magnesium))
    if case.area_ha <= 0:
        return replace(none, reason="The keep-outs leave no ground to spread on.", steps=(*steps, *magnesium))
    little = mass_kg <= share * gross * case.area_ha
    if done.area_m2 == 0 or (little and (applied > 0 or case.parts.get(supply))):
        reason = sentence(within_reach(case, mass_kg / case.area_ha, share))
        return replace(none, reason=reason, topup_kg=mass_kg, steps=(*steps, *magnesium))
    part = rest_steps(case, supply, done)
    steps.extend(part or area_steps(case, net, mass_kg, answer.basis.value))
    return replace(
        need,
        basis=answer.basis,
        rate_kg_ha=mass_kg / done.area_m2 * HA_M2 if case.parts.get(supply) else net,
        mass_kg=mass_kg,
        steps=(*steps, *magnesium),
        rest_m2=done.area_m2 if part and done.area_m2 > 0 else None,
        topup_kg=done.topup_kg if done.area_m2 > 0 else 0.0,
    )


def _other_basis(case: Case, basis: LimeBasis) -> list[Problem]:
    """Say when lime was applied that cannot be counted, because its worth is known in another basis only."""
    keys = [key for key, mass in case.applied_kg.items() if key.is_lime and mass > 0]
    if not keys or basis.supply in keys:
        return []
    return [
        Problem(
            f"{case.where}, lime",
            f"the lime already spread is known in {', '.join(key[5:] for key in keys)}, and the need is in "
            f"{basis.value}: nothing was taken off",
            f"Add the {basis.value} of that product's label",
            Level.WARNING,
        )
    ]


def _lime_from_lab(printed: Sequence[SoilTest]) -> LimeAnswer:
    steps: list[Step] = []
    rates: list[float] = []
    bases: set[LimeBasis] = set()
    for test in printed:
        assert test.recommendation is not None
        quantity = test.recommendation.lime
        assert quantity is not None
        read = read_lab_lime(quantity)
        if isinstance(read, Missing):
            return LimeAnswer(NeedState.UNKNOWN, read.reason, steps=tuple(steps))
        text = f"The lab's own lime recommendation, as printed ({soil.sample_text((test,))})"
        steps.append(Step(text, quantity.value, quantity.unit, LAB))
        if re.search(r"[0-9]\s*%|\b(?:nv|cao|dt)\b", quantity.unit.casefold()):
            basis_text = f"lb {read[0].value}/acre"
            steps.append(
                Step(
                    "The same in calcium carbonate or the score itself",
                    read[1] / LB_ACRE_KG_HA,
                    basis_text,
                    ARITHMETIC,
                )
            )
        bases.add(read[0])
        rates.append(read[1])
    if len(bases) > 1:
        listed = " and ".join(sorted(basis.value for basis in bases))
        return LimeAnswer(
            NeedState.UNKNOWN,
            f"the samples print lime in {listed}, which do not mix",
            steps=tuple(steps),
        )
    basis, rate = bases.pop(), soil.mean(rates)
    if len(rates) > 1:
        unit = f"lb {basis.value}/acre"
        text = "Several samples count once each: their mean"
        steps.append(Step(text, rate / LB_ACRE_KG_HA, unit, ARITHMETIC))
    if rate == 0:
        return LimeAnswer(NeedState.NONE, "the lab recommends no lime", 0.0, steps=tuple(steps))
    return LimeAnswer(
        NeedState.NEEDED, "the lab's own recommendation", rate / LB_ACRE_KG_HA, "lb/acre", basis, tuple(steps)
    )


def _lime_from_guideline(case: Case) -> tuple[LimeAnswer, Guideline]:
    """Ask the lime edition; a crop's flat rate in one of the others serves where a buffer is missing."""
    own = case.lime_guideline.crop(*case.names.same(case.crop_text)) if case.crop_text else None
    crops = (own, *(one.crop for one in case.asked))
    targets = [crop.target_ph for crop in crops if crop is not None and crop.target_ph is not None]
    asked = LimeCase(
        case.tests,
        case.settings.lime_region,
        targets[0] if targets else None,
        lime_depth_rule(case.settings.lime_guideline),
    )
    rule = case.lime_guideline.lime_rule(own)
    flats = [(one, one.guideline.lime_rule(one.crop)) for one in case.asked]
    if rule is None:
        reason = f"{case.lime_guideline.short} has no lime rule"
        answer = LimeAnswer(NeedState.UNKNOWN, f"{reason}: {ASK_THE_LAB}", lacks_buffer=True)
    else:
        answer = rule.rate(asked)
    if not answer.lacks_buffer:
        return answer, case.lime_guideline
    for one, flat in flats:
        if flat is not None and flat is not rule and flat.crops:
            text = f"{answer.reason}: the rate that {one.guideline.short} prints for {case.crop_text} is used"
            found = flat.rate(asked)
            step = Step(sentence(text), "remark", "", ARITHMETIC)
            return replace(found, steps=(*found.steps, step)), one.guideline
    return answer, case.lime_guideline
