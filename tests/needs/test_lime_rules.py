"""Lime requirements and lab lime.

Sources: University of Minnesota Extension, wildlife food plots (lime table) and red clover page;
Penn State Agronomy Guide; NCDA&CS note under the buffer table (its example prints 0.76 where
1.2 x 0.625 is 0.75); E-2567 for half the rate under no-till; Ohio's Country Journal 2014 for magnesium.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from need_builders import report, texts

from loamwright.files import guidelines
from loamwright.needs.lime_need import read_lab_lime
from loamwright.needs.lime_rules import LimeAnswer, LimeCase
from loamwright.soil.readings import Missing
from loamwright.soil.records import Reading, SoilTest
from loamwright.soil.secondary import wants_dolomitic
from loamwright.values import LimeBasis, NeedState, Quantity

PUBLISHED = Path(__file__).parents[1] / "published"
CASES = {
    case["id"]: case
    for case in json.loads((PUBLISHED / "guidelines_worked_examples.json").read_text(encoding="utf-8"))[
        "cases"
    ]
}
(WILDLIFE,) = guidelines.load_guideline("umn-wildlife-lime").lime
(PENN_STATE,) = guidelines.load_guideline("psu-lime").lime
(CAROLINA,) = guidelines.load_guideline("ncda-lime").lime
(OWN,) = guidelines.load_file(PUBLISHED / "guidelines_own_example").lime
(FLAT,) = guidelines.load_guideline("umn-forage-2011").lime


def acid(ph: float = 5.5, buffer: float | None = 6.3, method: str | None = "Sikora", **more: Any) -> SoilTest:
    """Make a report of pH and buffer."""
    return report(ph=ph, buffer_ph=buffer, buffer_method=method, **more)


def wildlife(*tests: SoilTest, region: str = "Area 1", target: float | None = None) -> LimeAnswer:
    """Ask the wildlife table."""
    return WILDLIFE.rate(LimeCase(tests, region, target))


def test_every_cell_of_the_wildlife_table_answers() -> None:
    with (PUBLISHED / "guidelines_umn_wildlife_lime_target_6_0.csv").open(encoding="utf-8") as handle:
        for row in csv.DictReader(handle):
            for region in ("Area 1", "Area 2"):
                printed = float(row[f"{region.lower().replace(' ', '')}_enp_lb_per_acre"])
                found = wildlife(acid(buffer=float(row["buffer_index"])), region=region)
                assert found.value == printed
                assert found.state is (NeedState.NEEDED if printed else NeedState.NONE)


@pytest.mark.parametrize("case_id", ["L5", "L5b"])
def test_published_wildlife_examples(case_id: str) -> None:
    case = CASES[case_id]
    found = wildlife(acid(case["inputs"]["ph"], case["inputs"]["buffer"]), region=case["inputs"]["region"])
    assert found.value == pytest.approx(case["answer"], abs=case["tolerance"])
    assert (found.basis, found.target_ph) == (LimeBasis.ENP, 6.0)
    assert found.steps[-2].source.row == f"buffer index 6.3, {case['inputs']['region']}"


def test_lime_is_due_below_the_trigger_only_and_needs_no_buffer_above_it() -> None:
    """Minnesota reads the buffer only when soil pH is below 6.0."""
    assert wildlife(acid(6.0, None)).state is NeedState.NONE
    assert wildlife(acid(6.0, None), region="").state is NeedState.NONE
    assert wildlife(acid(5.99)).state is NeedState.NEEDED


def test_the_buffer_index_is_read_to_the_printed_decimal_half_up() -> None:
    """6.34 reads as 6.3 (3,500), 6.35 as 6.4 (3,000)."""
    assert wildlife(acid(buffer=6.34)).value == 3500
    assert wildlife(acid(buffer=6.35)).value == 3000


@pytest.mark.parametrize(
    ("found", "offending"),
    [
        (wildlife(acid(buffer=6.9)), "buffer index 6.9 is outside the table's rows (6.8 to 6.0)"),
        (
            wildlife(acid(method="Mehlich")),
            "the buffer was Mehlich, and the table was written for Sikora or SMP",
        ),
        (wildlife(acid(method="Adams-Evans")), "Adams-Evans"),
        (wildlife(acid(method="home brew")), "home brew"),
        (wildlife(acid(method=None)), "buffer 6.3 without naming the buffer"),
        (wildlife(acid(buffer=None)), "no buffer pH or buffer index was reported"),
        (wildlife(acid(), region=""), "no region is chosen; the table has Area 1, Area 2"),
        (wildlife(acid(), region="Area 3"), "'Area 3'"),
        (wildlife(acid(), target=6.5), "the crop wants pH 6.5 and this table only raises to 6"),
        (wildlife(acid(texture="muck")), "'muck'"),
        (wildlife(report()), "soil pH was not tested"),
        (wildlife(), "soil pH was not tested"),
    ],
)
def test_what_the_wildlife_table_cannot_answer_is_unknown(found: LimeAnswer, offending: str) -> None:
    assert (found.state, found.value) == (NeedState.UNKNOWN, None)
    assert offending in found.reason


def test_a_crop_that_wants_a_higher_ph_is_none_only_when_it_has_it() -> None:
    assert wildlife(acid(6.5), target=6.5).state is NeedState.NONE
    assert wildlife(acid(6.2), target=6.5).state is NeedState.UNKNOWN


def test_an_older_buffer_is_not_mixed_with_a_newer_ph() -> None:
    old = acid(5.4, 6.2, test_id="old", sampled_on=dt.date(2024, 4, 1))
    new = acid(5.6, None, test_id="new")
    found = wildlife(old, new)
    assert (found.state, found.lacks_buffer) == (NeedState.UNKNOWN, True)


def test_a_region_is_known_whatever_its_capitals() -> None:
    """Buffer index 6.3: 3,500 lb ENP in Area 1; there is no Area 3."""
    rule = guidelines.load_guideline("umn-wildlife-lime").lime_rule(None)
    assert rule is not None
    answers = [rule.rate(LimeCase((acid(5.6, 6.3),), region)) for region in ("area 1", "AREA-1", "Area 3")]
    assert [answer.value for answer in answers] == [3500, 3500, None]
    assert "'Area 3' is not in the table" in answers[2].reason


def test_samples_of_one_day_are_averaged() -> None:
    """pH (5.4 + 5.8) / 2 = 5.6; buffer (6.2 + 6.4) / 2 = 6.3: 3,500 lb ENP in Area 1."""
    found = wildlife(acid(5.4, 6.2, part="west"), acid(5.8, 6.4, test_id="T2", part="east"))
    assert found.value == 3500
    assert [s.value for s in found.steps if "mean of" in s.what] == [5.6, 6.3]


def test_the_sourest_soil_needs_at_least_the_last_row() -> None:
    """The table ends at buffer index 6.0 with 5,000 lb ENP in Area 1 (second copy, last row)."""
    with (PUBLISHED / "guidelines_umn_wildlife_lime_target_6_0.csv").open(encoding="utf-8") as handle:
        last = list(csv.DictReader(handle))[-1]
    found = wildlife(acid(buffer=5.4))
    assert (last["buffer_index"], found.value) == ("6.0", float(last["area1_enp_lb_per_acre"]))
    assert (found.state, found.at_least) == (NeedState.NEEDED, True)
    assert "at least" in found.reason
    assert "under the table's last row" in texts(found.steps)
    assert not wildlife(acid(buffer=6.0)).at_least


def test_a_sample_of_another_depth_asks_until_a_rule_is_chosen() -> None:
    """Minnesota's rates assume 6 to 8 inches; no rule for other depths was read there."""
    found = wildlife(acid(depth_bottom_m=4 * 0.0254))
    assert (found.state, found.value, found.between) == (NeedState.TO_DECIDE, 3500, (1750, 3500))
    assert "sampled to 4 inches" in found.reason
    deep = wildlife(acid(depth_bottom_m=10 * 0.0254))
    assert deep.between == (3500, pytest.approx(3500 * 10 / 8))  # half is printed for shallow samples only
    # the rate treats 6 inches when a sample of 6 to 8 was taken, so the caution about depth can compare
    assert wildlife(acid()).depth_m == pytest.approx(6 * 0.0254)


def test_red_clover_takes_a_flat_rate_on_acid_soil() -> None:
    case = CASES["L6"]
    found = FLAT.rate(LimeCase((acid(case["inputs"]["ph"], None),)))
    assert (found.value, found.basis) == (case["answer"], LimeBasis.ENP)
    assert FLAT.rate(LimeCase((acid(6.0, None),))).state is NeedState.NONE
    assert FLAT.rate(LimeCase(())).state is NeedState.UNKNOWN


@pytest.mark.parametrize(
    "case", [case for case in CASES.values() if case["kind"] == "psu"], ids=lambda c: c["id"]
)
def test_penn_state_formulas(case: dict[str, Any]) -> None:
    inputs = case["inputs"]
    target = {"alfalfa": 7.0}.get(inputs["crop"])
    test = report(ph=inputs["ph"], acidity_meq_100g=inputs["acidity"])
    found = PENN_STATE.rate(LimeCase((test,), target_ph=target))
    assert found.value == pytest.approx(case["answer"])
    if case["answer"]:
        assert (found.basis, found.depth_m) == (LimeBasis.CCE, pytest.approx(0.1778))  # 7 inches


def penn_state(**fields: Any) -> LimeAnswer:
    """Ask Penn State's formulas."""
    target = fields.pop("target", None)
    return PENN_STATE.rate(LimeCase((report(**fields),), target_ph=target))


@pytest.mark.parametrize(
    ("found", "offending"),
    [
        (penn_state(ph=6.0, acidity_meq_100g=4.0), "acidity 4 meq/100 g and pH 6"),  # the page is silent here
        (penn_state(ph=6.0), "exchangeable acidity was not reported"),
        (penn_state(acidity_meq_100g=3.0), "soil pH was not tested"),
        (penn_state(ph=6.0, acidity_meq_100g=3.0, buffer_method="SMP"), "the buffer was SMP"),
        (penn_state(ph=6.0, acidity_meq_100g=3.0, target=7.5), "the crop wants pH 7.5"),
    ],
)
def test_what_penn_state_does_not_say_is_unknown(found: LimeAnswer, offending: str) -> None:
    assert found.state is NeedState.UNKNOWN
    assert offending in found.reason


def test_high_acidity_needs_no_ph() -> None:
    """840 x 5 = 4,200: the line above 4.0 has no condition on pH."""
    assert penn_state(acidity_meq_100g=5.0).value == pytest.approx(4200)


def test_north_carolina_example_with_its_intermediates() -> None:
    """Buffer 6.3 gives acidity (6.6 - 6.3) x 4 = 1.2; factor (6.0 - 5.0) / (6.6 - 5.0) = 0.625."""
    case = CASES["L1"]
    found = CAROLINA.rate(LimeCase((acid(case["inputs"]["ph"], 6.3, "NCDA"),)))
    by_name = {step.what.split(":")[0]: step.value for step in found.steps}
    assert by_name["Acidity"] == pytest.approx(case["inputs"]["acidity"])
    assert by_name["pH factor"] == pytest.approx(case["intermediates"]["factor"])
    assert found.value == pytest.approx(case["answer"], abs=case["tolerance"])
    assert found.value == pytest.approx(0.75)  # the arithmetic; the page prints 0.76
    assert (found.unit, found.basis) == ("ton/acre", LimeBasis.PRODUCT)
    assert "Target of the page's own example" in texts(found.steps)


def carolina(
    ph: float, buffer: float | None = 6.3, method: str = "NCDA", target: float | None = None
) -> LimeAnswer:
    """Ask North Carolina's formula."""
    return CAROLINA.rate(LimeCase((acid(ph, buffer, method),), target_ph=target))


def test_north_carolina_limits() -> None:
    assert carolina(6.0).state is NeedState.NONE
    assert carolina(5.0, 6.6).state is NeedState.NONE  # no acidity
    assert carolina(5.0, 6.7).state is NeedState.NONE
    assert "not 6.6" in carolina(5.0, target=6.6).reason
    assert "SMP" in carolina(5.0, method="SMP").reason
    assert carolina(5.0, None).lacks_buffer


def own(buffer: float, target: float | None = 6.5, inches: float = 6, ph: float = 5.5) -> LimeAnswer:
    """Ask the worked example: columns are targets, half the rate to 4 inches."""
    return OWN.rate(LimeCase((acid(ph, buffer, depth_bottom_m=inches * 0.0254),), target_ph=target))


def test_a_table_by_target_takes_the_column_that_reaches_it() -> None:
    """The example's rows: 6.8: 0, 1; 6.6: 1, 2; 6.4: 2, 3 ton CCE for 6.0 and 6.5."""
    assert [own(6.6, target).value for target in (5.8, 6.0, 6.2, 6.5)] == [1, 1, 2, 2]
    assert own(6.8, 6.0).state is NeedState.NONE
    assert own(6.6, 6.5, ph=6.5).state is NeedState.NONE
    assert "the crop wants pH 7.0 and the table stops at 6.5" in own(6.6, 7.0).reason
    assert "no target pH is known" in own(6.6, None).reason


def test_a_printed_depth_rule_halves_the_rate() -> None:
    """E-2567, 1995: half the rate for no-till and established forage, sampled 0 to 4 inches."""
    found = own(6.4, inches=4)
    assert found.value == 1.5
    assert "0.5 of the rate" in texts(found.steps)
    assert "E-2567" in texts(found.steps)
    assert found.depth_m == pytest.approx(4 * 0.0254)  # scaled to the slice sampled
    assert own(6.4, inches=5).state is NeedState.TO_DECIDE  # no rule for 5 inches


# ---------------------------------------------------------------------------------------------
# The lab's own lime


LB_ACRE = 0.45359237 / (43560 * 0.3048**2) * 10_000  # kg/ha in a lb/acre
CAO_TO_CACO3 = (40.078 + 12.011 + 3 * 15.999) / (40.078 + 15.999)  # IUPAC 2021: Ca, C, O [g/mol]


@pytest.mark.parametrize(
    ("value", "unit", "basis", "lb_acre"),
    [
        (3000, "lb ENP/acre", LimeBasis.ENP, 3000),
        (1600, "lb ENM/acre", LimeBasis.ENM, 1600),
        (2, "ton ENP (Ohio)/acre", LimeBasis.ENP_OHIO, 4000),
        (2.5, "tons/acre", LimeBasis.PRODUCT, 5000),
        (0.5, "ton/acre", LimeBasis.PRODUCT, 1000),
        (1, "ton ag lime/acre", LimeBasis.PRODUCT, 2000),
        (4000, "lb CCE/acre", LimeBasis.CCE, 4000),
        (4000, "lb CaCO3/ac", LimeBasis.CCE, 4000),
        (3000, "lb ECCE per acre", LimeBasis.ECCE, 3000),
        (50, "lb/1000 ft2", LimeBasis.PRODUCT, 50 * 43.56),
        (0, "lb ENP/acre", LimeBasis.ENP, 0),
        (2, "ton 70% ENP/acre", LimeBasis.ENP, 2800),  # 2 × 2000 × 0.70
        (1, "ton ground limestone ECCE 65/acre", LimeBasis.ECCE, 1300),  # 2000 × 0.65
        # a kg CaO neutralizes as much as the 1.78481 kg CaCO3 of the same moles: 25 dt are 2500 kg
        (25, "dt CaO/ha", LimeBasis.CCE, 2500 * CAO_TO_CACO3 / LB_ACRE),
        (2, "t ground limestone NV 54/ha", LimeBasis.CCE, 2000 * 0.54 * CAO_TO_CACO3 / LB_ACRE),
        (25, "dt CaCO3/ha", LimeBasis.CCE, 2500 / LB_ACRE),
    ],
)
def test_lab_lime_keeps_its_basis(value: float, unit: str, basis: LimeBasis, lb_acre: float) -> None:
    """L2 (Missouri: lb ENM), L7 (Georgia: tons as such); 1,000 square feet are 1/43.56 acre."""
    found = read_lab_lime(Quantity(value, unit))
    assert not isinstance(found, Missing)
    assert found[0] is basis
    assert found[1] == pytest.approx(lb_acre * LB_ACRE, rel=1e-9)


@pytest.mark.parametrize(
    ("value", "unit"),
    [(2, "bags/acre"), (2, "lb"), (-1, "ton/acre"), (2, "lb ENP CCE/acre"), (float("nan"), "ton/acre")],
)
def test_lab_lime_that_cannot_be_read_is_refused(value: float, unit: str) -> None:
    found = read_lab_lime(Quantity(value, unit))
    assert isinstance(found, Missing)
    assert unit in found.reason


# ---------------------------------------------------------------------------------------------
# Magnesium


@pytest.mark.parametrize(("value", "answer"), [(49.9, True), (50.0, False), (120.0, False)])
def test_dolomitic_lime_under_fifty_ppm(value: float, answer: bool) -> None:
    found, steps = wants_dolomitic([report(readings={"Mg": Reading(value, "ppm", "Mehlich-3", "Mg")})])
    assert found is answer
    assert "Ohio's Country Journal" in texts(steps)


def test_magnesium_in_pounds_per_acre_and_untested() -> None:
    """The source prints it both ways: 50 ppm is 100 lb/acre."""
    low = report(readings={"Mg": Reading(99, "lb/acre", None, "Mg")})
    enough = report(readings={"Mg": Reading(100, "lb/acre", None, "Mg")})
    assert (wants_dolomitic([low])[0], wants_dolomitic([enough])[0]) == (True, False)
    assert wants_dolomitic([report()]) == (None, ())
    # By charge: 0.40 × 121.5 = 48.6 ppm is low, 0.42 × 121.5 = 51.0 ppm is not (24.305 g/mol, 2 charges).
    for charge, wanted in ((0.40, True), (0.42, False)):
        counted = replace(low, readings={"Mg": Reading(charge, "meq/100 g", None, "Mg")})
        assert wants_dolomitic([counted])[0] is wanted
    unread = replace(low, readings={"Mg": Reading(99, "spoonfuls", None, "Mg")})
    assert wants_dolomitic([unread])[0] is None
