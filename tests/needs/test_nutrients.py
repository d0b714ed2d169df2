"""What a plot needs: the whole chain from lab number to pounds, credits, refusals and lime.

Published answers come from ``tests/published/guidelines_worked_examples.json`` (each with its source,
tolerance and why); everything else is hand arithmetic beside the check. Cases of that list the engine
cannot express are named there under ``not_expressed``.
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from need_builders import (
    ACRE_M2,
    LB_KG,
    SAMPLED,
    TODAY,
    advice,
    area,
    crop,
    needs,
    plot,
    pounds,
    report,
    texts,
)
from places import square

from loamwright.errors import Level
from loamwright.files import guidelines
from loamwright.needs.choice import Choice
from loamwright.needs.decisions import Decision
from loamwright.needs.nutrients import plot_needs
from loamwright.needs.records import Need, PlotNeeds
from loamwright.soil.records import LabRecommendation, OrganicInput, Reading, SoilTest
from loamwright.units import LB_ACRE_KG_HA
from loamwright.values import LimeBasis, NeedState, Nutrient, Quantity, Settings, Supply, Timing

PUBLISHED = Path(__file__).parents[1] / "published"
CASES = json.loads((PUBLISHED / "guidelines_worked_examples.json").read_text(encoding="utf-8"))["cases"]
FORAGE = guidelines.load_guideline("umn-forage-2011")
OWN = guidelines.load_file(PUBLISHED / "guidelines_own_example")
CLOVER = report((8, "Bray P1"), (100, "ammonium acetate"), ph=6.4)


def of(found: PlotNeeds, nutrient: str) -> Need:
    """Return one need that must have been looked at."""
    need = found.of(Nutrient(nutrient))
    assert need is not None
    return need


def kinds(*wanted: str) -> list[Mapping[str, Any]]:
    """Published cases of some kinds."""
    return [case for case in CASES if case["kind"] in wanted]


# ---------------------------------------------------------------------------------------------
# Published answers


@pytest.mark.parametrize("case", kinds("needs"), ids=lambda case: case["id"])
def test_published_needs_with_their_classes(case: Mapping[str, Any]) -> None:
    inputs = case["inputs"]
    test = report(
        tuple(inputs["P"]) if "P" in inputs else None,
        tuple(inputs["K"]) if "K" in inputs else None,
        organic_matter_pct=inputs.get("organic_matter"),
    )
    grown = crop(
        inputs["crop"],
        inputs["yield"],
        inputs.get("yield_unit", "ton/acre"),
        previous_crop=inputs.get("previous_crop", ""),
    )
    found = needs([test], grown, acres=2.5)
    for nutrient, answer in case["answer"].items():
        need = of(found, nutrient)
        if need.state is NeedState.TO_DECIDE:  # nitrogen on a legume mixture: the figure stands beside it
            assert need.published_kg_ha == pytest.approx(answer * LB_ACRE_KG_HA, abs=case["tolerance"])
            continue
        assert pounds(found, nutrient) == pytest.approx(answer * 2.5, abs=case["tolerance"])
        assert need.state is (NeedState.NEEDED if answer else NeedState.NONE)
    for element, printed_class in case.get("intermediates", {}).items():
        need = of(found, {"P": "P2O5", "K": "K2O"}[element])
        assert printed_class in [step.value for step in need.steps]


@pytest.mark.parametrize("case", kinds("lab rates"), ids=lambda case: case["id"])
def test_a_labs_own_rates_are_used_as_printed(case: Mapping[str, Any]) -> None:
    """P11: Mehlich-1 figures beside it, which no built-in table could read."""
    test = report((43, "Mehlich-1"), (119, "Mehlich-1"), recommendation=advice(**case["inputs"]))
    found = needs([test], crop("orchard grass pasture", None))
    for nutrient, answer in case["answer"].items():
        assert pounds(found, nutrient) == pytest.approx(answer)
        step = of(found, nutrient).steps[0]
        assert (step.value, step.unit, step.source.publication) == (
            answer,
            f"lb {nutrient}/acre",
            "lab report",
        )


@pytest.mark.parametrize("case", kinds("lab lime"), ids=lambda case: case["id"])
def test_a_labs_own_lime_is_used_as_printed(case: Mapping[str, Any]) -> None:
    """L2 in pounds of ENM, L7 in tons of lime as such; pH 5.9 and no buffer would say something else."""
    lime = (case["inputs"]["lime"], case["inputs"]["lime_unit"])
    found = needs([report(ph=5.9, recommendation=advice(lime))], crop())
    assert found.lime.basis is not None
    assert case["unit"] == f"lb {found.lime.basis.value}/acre"
    assert pounds(found, "lime") == pytest.approx(case["answer"], abs=case["tolerance"])
    assert (found.lime.steps[0].value, found.lime.steps[0].unit) == lime


@pytest.mark.parametrize("case", kinds("legume credit"), ids=lambda case: case["id"])
def test_published_legume_credit(case: Mapping[str, Any], tmp_path: Path) -> None:
    """N1, Missouri: 195 lb for corn, 30 lb after soybeans, in a guideline of the user's own."""
    folder = Path(shutil.copytree(PUBLISHED / "guidelines_own_example", tmp_path / "corn"))
    inputs = case["inputs"]
    (folder / "guideline.toml").write_text(
        f"""format = 1
publisher = "University of Missouri"
title = "EQ392"
edition = "not shown"
[region]
name = "Missouri"
[[crop]]
name = "{inputs["crop"]}"
[[legume_credit]]
crops = ["{inputs["crop"]}"]
file = "credits.csv"
publication = "University of Missouri EQ392"
""",
        encoding="utf-8",
    )
    (folder / "credits.csv").write_text(
        f"previous crop,stand,rate\n{inputs['previous_crop']},,{inputs['credit']}\n", encoding="utf-8"
    )
    grown = crop(inputs["crop"], None, previous_crop=inputs["previous_crop"])
    guideline = guidelines.load_file(folder)
    for taken, answer in ((False, case["answer"]["N"]), (True, 195), (None, 195)):
        test = report(recommendation=advice(N=inputs["lab_n"], taken=taken))
        found = needs([test], grown, guideline=guideline)
        assert pounds(found, "N") == pytest.approx(answer)
    assert needs([report(recommendation=advice(N=195, taken=False))], grown, guideline=guideline).needs[
        0
    ].credits[0].rate_kg_ha == pytest.approx(30 * LB_KG / ACRE_M2 * 10_000)


@pytest.mark.parametrize("case", kinds("area"), ids=lambda case: case["id"])
def test_published_acres_times_rate(case: Mapping[str, Any]) -> None:
    """M6: 57 acres x 60 lb K2O = 3,420 lb."""
    test = report(recommendation=advice(K2O=case["inputs"]["K2O"]))
    found = needs([test], crop(), acres=case["inputs"]["acres"])
    assert pounds(found, "K2O") == pytest.approx(case["answer"]["K2O"], abs=case["tolerance"])


# ---------------------------------------------------------------------------------------------
# The chain


def test_a_number_can_be_walked_from_pounds_to_the_row_and_the_lab() -> None:
    """8 ppm Bray P1, red clover at 2 ton on 1.5 acres: 25 lb/acre, 37.5 lb."""
    found = needs([CLOVER], crop(), acres=1.5)
    need = of(found, "P2O5")
    walked = [(step.value, step.unit) for step in need.steps]
    assert walked == [
        (8, "ppm P"),
        ("Bray P1 6 to 10 ppm", ""),
        (2, "ton/acre"),
        (25, "lb P2O5/acre"),
        ("default", ""),  # what the edition is good for
        (pytest.approx(1.5), "acres"),
        (pytest.approx(37.5), "lb P2O5"),
    ]
    assert [step.source.publication for step in need.steps][-2:] == ["boundary", "arithmetic"]
    assert need.steps[3].source.row == "2 ton/acre, Bray P1 6 to 10 ppm"
    assert need.steps[-1].what == "25 lb/acre x 1.5 acres"
    assert need.rate_kg_ha == pytest.approx(25 * LB_KG / ACRE_M2 * 10_000)
    assert need.mass_kg == pytest.approx(37.5 * LB_KG)
    assert need.gross_kg_ha == need.rate_kg_ha
    assert not need.assumed


def test_a_metric_property_is_told_hectares_and_kilograms_after_the_sources_own_unit() -> None:
    """The table's 25 lb/acre is 25 × 0.45359237 kg / 0.40468564224 ha = 28.0213 kg/ha, on 1 ha 28.0213 kg."""
    need = of(needs([CLOVER], crop(), acres=10_000 / ACRE_M2, metric=True), "P2O5")
    row, same, area, mass = need.steps[3], *need.steps[-3:]
    assert (row.value, row.unit) == (25, "lb P2O5/acre")  # as printed
    assert (same.what, same.unit) == ("The same in kg/ha", "kg P2O5/ha")
    assert same.value == pytest.approx(28.0213, abs=1e-4)
    assert (area.value, area.unit) == (pytest.approx(1.0), "ha")
    assert (mass.value, mass.unit) == (pytest.approx(28.0213, abs=1e-4), "kg P2O5")
    assert mass.what == "28.0213 kg/ha x 1 ha"


def test_only_the_spread_area_counts() -> None:
    halved = replace(area(2), spread_area_m2=ACRE_M2)
    found = plot_needs(
        plot(),
        crop(),
        halved,
        [CLOVER],
        Choice((FORAGE,)),
        guidelines.load_guideline("umn-wildlife-lime"),
        Settings(),
        {},
        [],
        TODAY,
    )
    assert pounds(found, "P2O5") == pytest.approx(25)


def test_no_ground_left_is_no_need_and_not_a_division_by_zero() -> None:
    found = needs(
        [report((8, "Bray P1"), ph=5.5, buffer_ph=6.3, buffer_method="SMP")],
        crop(),
        acres=0,
        applied={"P2O5": 5},
    )
    assert (of(found, "P2O5").state, of(found, "P2O5").mass_kg) == (NeedState.NONE, 0.0)
    assert "no ground" in of(found, "P2O5").reason
    assert (found.lime.state, found.lime.mass_kg) == (NeedState.NONE, 0.0)


def test_a_default_of_ours_is_marked() -> None:
    found = needs([CLOVER], crop(goal=None))
    assert pounds(found, "P2O5") == pytest.approx(25)
    assert of(found, "P2O5").assumed
    assert "lowest printed row" in texts(of(found, "P2O5").steps)
    refused = needs([CLOVER], crop(goal=None), settings=Settings(default_yield_row=False))
    assert of(refused, "P2O5").state is NeedState.UNKNOWN


def test_unknown_none_and_needed_are_three_states() -> None:
    found = needs([CLOVER], crop())
    states = {need.nutrient.value: need.state for need in found.needs}
    assert states == {
        "N": NeedState.NONE,
        "P2O5": NeedState.NEEDED,
        "K2O": NeedState.NEEDED,
        "S": NeedState.UNKNOWN,
    }
    for need in found.needs:
        known = need.state is not NeedState.UNKNOWN
        assert (need.rate_kg_ha is not None) is known
        assert (need.mass_kg is not None) is known
        if need.state is NeedState.NONE:
            assert need.rate_kg_ha == need.mass_kg == 0.0
    assert "prints no S rule for red clover, and it was not tested" in of(found, "S").reason


# ---------------------------------------------------------------------------------------------
# What stays unknown


def lab_rate(value: float, unit: str, nutrient: str) -> PlotNeeds:
    """Ask with one lab rate in some unit."""
    printed = LabRecommendation({Nutrient(nutrient): Quantity(value, unit)})
    return needs([report(recommendation=printed)], crop())


@pytest.mark.parametrize(
    ("found", "nutrient", "offending"),
    [
        (needs([], crop()), "P2O5", "Phosphorus was not tested"),
        (needs([CLOVER], crop("brassica")), "P2O5", "'brassica': use your lab's recommendation"),
        (needs([CLOVER], crop("white clover")), "N", "'white clover'"),
        (needs([CLOVER], crop("")), "P2O5", "no crop is stated"),
        (needs([CLOVER], None), "K2O", "no crop is stated"),
        (needs([report((20, "Mehlich-3"))], crop()), "P2O5", "20 ppm P by Mehlich-3"),
        (needs([report((20, "Kelowna"))], crop()), "P2O5", "'Kelowna'"),
        (
            needs([report(readings={"P": Reading(20, "ppm", None, "P")})], crop()),
            "P2O5",
            "20 ppm P without naming",
        ),
        (needs([report(readings={"P": Reading(20, "mg/dm3", "Bray P1", "P")})], crop()), "P2O5", "'mg/dm3'"),
        (needs([report(k=(90, "Mehlich-1"))], crop()), "K2O", "90 ppm K by Mehlich-1"),
        (needs([CLOVER], crop(goal=60, unit="bu/acre")), "P2O5", "60 bu/acre"),
        (needs([CLOVER], crop("grasses for hay and pasture")), "P2O5", "prints no P2O5 rule for grasses"),
        (lab_rate(3, "bags/acre", "P2O5"), "P2O5", "'bags/acre'"),
        (lab_rate(30, "lb P/acre", "P2O5"), "P2O5", "30 lb P/acre is in P, not in P2O5"),
        (lab_rate(-5, "lb/acre", "K2O"), "K2O", "-5 lb/acre"),
    ],
)
def test_what_cannot_be_known_is_unknown_with_the_offending_value(
    found: PlotNeeds, nutrient: str, offending: str
) -> None:
    need = of(found, nutrient)
    assert need.state is NeedState.UNKNOWN
    assert need.rate_kg_ha is None
    assert need.mass_kg is None
    assert offending.casefold() in need.reason.casefold()


def test_an_unlisted_crop_is_pointed_out_once_with_what_there_is() -> None:
    found = needs([CLOVER], crop("brassica"))
    (problem,) = [p for p in found.problems if "crop" in p.where]
    assert "'brassica'" in problem.what
    assert "red clover" in problem.fix
    advised = needs([report(recommendation=advice(N=80))], crop("brassica"))
    assert not [p for p in advised.problems if "crop" in p.where]
    assert pounds(advised, "N") == pytest.approx(80)


def test_a_future_report_is_refused_and_an_older_one_serves() -> None:
    future = report((30, "Bray P1"), test_id="T2", sampled_on=dt.date(2026, 6, 1))
    found = needs([future, CLOVER], crop())
    assert pounds(found, "P2O5") == pytest.approx(25)
    assert any("2026-06-01" in p.what and p.level is Level.ERROR for p in found.problems)
    alone = needs([future], crop())
    assert of(alone, "P2O5").state is NeedState.UNKNOWN


def test_an_old_report_warns_and_a_missing_depth_is_a_marked_assumption() -> None:
    old = report((8, "Bray P1"), sampled_on=dt.date(2021, 4, 20), depth_bottom_m=None)
    levels = {p.level for p in needs([old], crop()).problems}
    assert levels == {Level.WARNING, Level.NOTE}


# ---------------------------------------------------------------------------------------------
# The lab first


def test_the_labs_figure_goes_before_the_guideline_nutrient_by_nutrient() -> None:
    test = replace(CLOVER, recommendation=advice(P2O5=33))
    found = needs([test], crop())
    assert pounds(found, "P2O5") == pytest.approx(33)
    assert pounds(found, "K2O") == pytest.approx(40)  # table: 81-120 ppm, 2 ton


def test_a_lab_rate_in_other_units_is_converted_with_a_step() -> None:
    """4 lb per 1,000 square feet are 4 x 43.56 = 174.24 lb/acre."""
    rec = LabRecommendation({Nutrient.N: Quantity(4, "lb N/1000 ft2")})
    found = needs([report(recommendation=rec)], crop("brassica"))
    assert pounds(found, "N") == pytest.approx(174.24)
    assert [s.value for s in of(found, "N").steps[:2]] == [4, pytest.approx(174.24)]


def test_a_lab_that_recommends_none_is_not_a_lab_that_is_silent() -> None:
    none = needs([report((3, "Bray P1"), recommendation=advice(P2O5=0))], crop())
    silent = needs([report((3, "Bray P1"), recommendation=advice(K2O=0))], crop())
    assert of(none, "P2O5").state is NeedState.NONE
    assert pounds(silent, "P2O5") == pytest.approx(35)


def test_two_lab_recommendations_of_one_day_are_averaged_and_one_alone_is_noted() -> None:
    """(20 + 40) / 2 = 30."""
    west, east = (
        report(test_id=name, recommendation=advice(K2O=rate)) for name, rate in (("W", 20), ("E", 40))
    )
    assert pounds(needs([west, east], crop()), "K2O") == pytest.approx(30)
    bare = report(k=(90, "ammonium acetate"), test_id="B")
    found = needs([west, bare], crop())
    assert pounds(found, "K2O") == pytest.approx(20)
    assert any("only 1 of 2 samples" in p.what for p in found.problems)


def test_a_newer_test_without_advice_goes_before_an_older_ones_advice() -> None:
    old = report(sampled_on=dt.date(2024, 4, 1), test_id="old", recommendation=advice(P2O5=99))
    assert pounds(needs([old, CLOVER], crop()), "P2O5") == pytest.approx(25)


def test_advice_of_this_season_that_a_newer_report_sets_aside_is_told() -> None:
    """The failing case: the lab advised none on one day, the next day's report advised nothing, and the need
    became unknown with no word of the advice.
    """
    day_before = SAMPLED - dt.timedelta(days=1)
    old = report(sampled_on=day_before, test_id="old", recommendation=advice(P2O5=0))

    def told(*tests: SoilTest) -> list[tuple[Level, str]]:
        found = needs(tests, crop())
        return [(one.level, one.what) for one in found.problems if "is not used" in one.what]

    by_table = f"the lab's 0 lb/acre P2O5 is not used (sampled {day_before}): a newer report holds none"
    assert told(old, CLOVER) == [(Level.NOTE, f"{by_table} (sampled {SAMPLED})")]
    unreadable = report((8, "no such test"), test_id="new")
    assert told(old, unreadable) == [(Level.WARNING, f"{by_table} (sampled {SAMPLED})")]
    assert told(old) == []
    assert told(CLOVER) == []
    both = replace(old, sampled_on=SAMPLED)  # of one day, the advice is used
    assert told(both, CLOVER) == []
    long_ago = replace(old, sampled_on=SAMPLED.replace(year=SAMPLED.year - 2))  # for another season's crop
    assert told(long_ago, CLOVER) == []


def test_lime_of_this_season_that_a_newer_report_sets_aside_is_told() -> None:
    """Asked for on one day; the next day's report has a pH above any limit and advises nothing."""
    day_before = SAMPLED - dt.timedelta(days=1)
    old = report(sampled_on=day_before, test_id="old", recommendation=advice((3, "ton/acre")))

    def told(*tests: SoilTest) -> list[tuple[Level, str]]:
        found = needs(tests, crop())
        return [
            (one.level, one.where) for one in found.problems if "ton/acre of lime is not used" in one.what
        ]

    ((level, where),) = told(old, replace(CLOVER, ph=7.0))
    assert level is Level.NOTE
    assert where.endswith("lime, soil test old")
    assert told(old) == []
    assert told(replace(old, sampled_on=SAMPLED), CLOVER) == []


def test_old_advice_is_a_choice_because_it_was_for_another_seasons_crop() -> None:
    old = report(sampled_on=dt.date(2024, 4, 1), recommendation=advice(P2O5=99))
    found = of(needs([old], crop()), "P2O5")
    assert found.state is NeedState.TO_DECIDE
    assert found.rate_kg_ha is None
    assert found.published_kg_ha == pytest.approx(99 * LB_ACRE_KG_HA)
    last_year = replace(old, sampled_on=dt.date(2025, 4, 1))  # a fall or spring sample for this crop
    assert pounds(needs([last_year], crop()), "P2O5") == pytest.approx(99)


def test_a_range_the_lab_prints_is_decided_in_it() -> None:
    """80 to 120 lb/acre: which of it is the person's to say; decided, it is taken as decided."""
    printed = LabRecommendation({Nutrient.N: Quantity(80, "lb/acre")}, up_to={Nutrient.N: 120})
    test = report(recommendation=printed)
    found = of(needs([test], crop()), "N")
    assert found.state is NeedState.TO_DECIDE
    assert found.rate_kg_ha is None
    assert found.between_kg_ha == pytest.approx((80 * LB_ACRE_KG_HA, 120 * LB_ACRE_KG_HA))
    assert any(step.value == "80 to 120" for step in found.steps)


def test_parts_sampled_on_different_days_of_a_year_stand_together() -> None:
    """West on 1 April 4 ppm, east on 3 April 12 ppm: (4 + 12) / 2 = 8, in 6 to 10, 25 lb at 2 ton."""
    west = report(p=(4, "Bray P1"), sampled_on=dt.date(2026, 4, 1), part="west", test_id="W")
    east = report(p=(12, "Bray P1"), sampled_on=dt.date(2026, 4, 3), part="east", test_id="E")
    assert pounds(needs([west, east], crop()), "P2O5") == pytest.approx(25)
    older = replace(west, sampled_on=dt.date(2025, 4, 1))  # another year: the newest alone, 15 lb
    assert pounds(needs([older, east], crop()), "P2O5") == pytest.approx(15)
    whole = replace(west, part="")  # a sample of the whole plot is older news than any part's
    assert pounds(needs([whole, east], crop()), "P2O5") == pytest.approx(15)
    again = replace(west, sampled_on=dt.date(2026, 3, 1), test_id="W0")  # of one part only the newest
    assert pounds(needs([again, west, east], crop()), "P2O5") == pytest.approx(25)


def test_an_undated_part_does_not_slip_in_beside_dated_ones() -> None:
    undated = report(p=(99, "Bray P1"), sampled_on=None, part="north", test_id="N")
    east = report(p=(12, "Bray P1"), part="east", test_id="E")
    assert pounds(needs([undated, east], crop()), "P2O5") == pytest.approx(15)


def test_a_part_that_asks_for_lime_is_not_hidden_by_the_mean() -> None:
    """pH 5.8 and 6.4: the mean 6.1 is not below 6.0, but the west by itself is."""
    buffered = {"buffer_ph": 6.6, "buffer_method": "Sikora"}
    west = report(ph=5.8, part="west", test_id="W", **buffered)
    east = report(ph=6.4, part="east", test_id="E", **buffered)
    found = needs([west, east], crop())
    assert found.lime.state is NeedState.NONE
    (told,) = [p for p in found.problems if p.where.endswith("lime")]
    assert "west needs it by its own sample" in told.what
    assert told.level is Level.WARNING
    assert not [p for p in needs([east], crop()).problems if p.where.endswith("lime")]


def test_a_part_that_asks_for_phosphate_is_not_hidden_by_the_mean() -> None:
    """8 and 40 ppm: the mean 24 asks for none, the north alone for 25 lb."""
    north = report(p=(8, "Bray P1"), part="north", test_id="N")
    south = report(p=(40, "Bray P1"), part="south", test_id="S")
    found = needs([north, south], crop())
    assert pounds(found, "P2O5") == 0
    assert any("north needs it by its own sample" in p.what for p in found.problems)


def test_an_old_report_that_still_gives_a_figure_draws_the_age_warning() -> None:
    """K of 2019 under a P test of 2026: the limit of 4 years holds for the K."""
    old = report(k=(50, "ammonium acetate"), sampled_on=dt.date(2019, 4, 1), test_id="old")
    new = report(p=(8, "Bray P1"), test_id="new")
    found = needs([old, new], crop())
    (warned,) = [p for p in found.problems if "the limit is 4 years" in p.what]
    assert "soil test old" in warned.where
    assert "no newer report states K" in warned.what
    newer = report(p=(8, "Bray P1"), k=(50, "ammonium acetate"), test_id="new")
    assert not [p for p in needs([old, newer], crop()).problems if "the limit is" in p.what]


def test_a_stand_in_yield_is_told_in_the_reason() -> None:
    """Oats after soybeans, no yield goal: the lowest printed row is 0 lb, and that is said to be ours."""
    tests = [report(organic_matter_pct=2.5)]
    oats = of(needs(tests, crop("oats", None, previous_crop="soybeans")), "N")
    assert (oats.state, oats.assumed) == (NeedState.NONE, True)
    assert "no yield goal is stated, so the lowest row stands" in oats.reason
    assert (
        "use your lab's recommendation"
        in of(needs(tests, crop("oats", 90, "bu/acre", previous_crop="corn")), "N").reason
    )


def test_mehlich_3_that_may_be_read_by_icp_is_told_what_to_ask() -> None:
    asked = of(needs([report(p=(22, "Mehlich-3"))], crop()), "P2O5")
    assert asked.state is NeedState.UNKNOWN
    assert "enter Mehlich-3 ICP, for which a published conversion exists" in asked.reason
    colour = of(needs([report(p=(22, "Mehlich-3 colorimetric"))], crop()), "P2O5")
    assert "conversion" not in colour.reason


# ---------------------------------------------------------------------------------------------
# Flags of secondary nutrients and micronutrients


def test_low_magnesium_without_a_rule_is_flagged_and_stays_unknown() -> None:
    """90 lb/acre of a 6 inch slice are 45 ppm, under Ohio's 50; 110 are 55."""
    low = report(readings={"Mg": Reading(90, "lb/acre", "ammonium acetate", "Mg")})
    need = of(needs([low], crop()), "Mg")
    assert (need.state, need.mass_kg) == (NeedState.UNKNOWN, None)
    assert "under 50 ppm" in need.reason
    assert "dolomitic lime where lime is due" in need.reason
    assert "= 45.0 ppm Mg" in texts(need.steps)
    enough = report(readings={"Mg": Reading(110, "lb/acre", "ammonium acetate", "Mg")})
    need = of(needs([enough], crop()), "Mg")
    assert "under 50" not in need.reason
    assert "not low" in texts(need.steps)


# ---------------------------------------------------------------------------------------------
# Credits

MANURE = OrganicInput(
    "M1",
    "A",
    dt.date(2025, 10, 18),
    "beef",
    "broadcast incorporated 12-96 h",
    Quantity(3, "ton/acre"),
    {Nutrient.N: 11, Nutrient.P2O5: 7, Nutrient.K2O: 10},
)


def test_manure_is_a_line_of_its_own_in_the_chain() -> None:
    """Grass at 3 ton: 90 lb N; manure 3 x 11 x 45 percent = 14.85; 75.15 left."""
    found = needs([], crop("grasses for hay and pasture", 3), organic=[MANURE])
    need = of(found, "N")
    assert pounds(found, "N") == pytest.approx(75.15)
    assert [round(credit.rate_kg_ha / (LB_KG / ACRE_M2 * 10_000), 9) for credit in need.credits] == [14.85]
    assert "45 percent of it usable in season 1" in texts(need.steps)
    assert "Still to supply: 90 - 14.85" in texts(need.steps)


def test_what_the_soil_sample_has_already_seen_is_said_in_the_chain() -> None:
    """The lab's 30 lb P2O5 of a sample taken half a year after the manure stands, and says why."""
    sampled = report(recommendation=advice(P2O5=30), sampled_on=dt.date(2026, 4, 12))
    found = needs([sampled], crop("brassica"), organic=[MANURE])
    assert pounds(found, "P2O5") == pytest.approx(30)
    chain = [step for step in of(found, "P2O5").steps if "already seen by the soil sample" in step.what]
    assert [step.what.partition(":")[0] for step in chain] == ["beef, 3 ton/acre on 2025-10-18"]
    assert not [step for step in of(found, "N").steps if "already seen" in step.what]


def test_manure_of_another_plot_is_not_credited() -> None:
    other = replace(MANURE, plot_id="B")
    assert pounds(needs([], crop("grasses for hay and pasture", 3), organic=[other]), "N") == pytest.approx(
        90
    )


@pytest.mark.parametrize(("taken", "answer"), [(True, 40), (None, 40), (False, 25.15)])
def test_a_lab_that_took_its_credits_is_not_credited_again(taken: bool | None, answer: float) -> None:
    test = report(recommendation=advice(N=40, taken=taken))
    found = needs([test], crop("brassica"), organic=[MANURE])
    assert pounds(found, "N") == pytest.approx(answer)
    noted = any("not taken off the lab's N" in p.what for p in found.problems)
    assert noted is (taken is None)  # what the user has answered needs no note
    chain = texts(of(found, "N").steps)
    assert ("your lab took it off already" in chain) is (taken is True)


def test_a_legume_credit_the_lab_may_have_taken_is_told() -> None:
    """UMN sunflower, Table 1: 35 lb after harvested red clover; the lab's report says 60 lb N."""
    sunflower = crop("sunflower", None, previous_crop="harvested red clover")
    silent = needs([report(recommendation=advice(N=60))], sunflower)
    assert pounds(silent, "N") == pytest.approx(60)
    assert any("harvested red clover was not taken off the lab's N" in p.what for p in silent.problems)
    left_out = needs([report(recommendation=advice(N=60, taken=False))], sunflower)
    assert pounds(left_out, "N") == pytest.approx(25)
    took = needs([report(recommendation=advice(N=60, taken=True))], sunflower)
    assert pounds(took, "N") == pytest.approx(60)
    assert not [p for p in took.problems if "not taken off" in p.what]


def test_a_credit_never_makes_a_need_negative() -> None:
    """30 ton of manure are 148.5 lb of usable N; the grass wants 60."""
    heavy = replace(MANURE, amount=Quantity(30, "ton/acre"))
    need = of(needs([], crop("grasses for hay and pasture", 2), organic=[heavy]), "N")
    assert (need.state, need.rate_kg_ha, need.mass_kg) == (NeedState.NONE, 0.0, 0.0)
    assert need.gross_kg_ha == pytest.approx(60 * LB_KG / ACRE_M2 * 10_000)
    assert "Credits cover it" in need.reason


def test_what_was_applied_this_season_is_taken_off_even_a_labs_figure() -> None:
    """10 lb on 2 acres are 5 lb/acre: 25 - 5 = 20 lb/acre, 40 lb; 33 - 5 = 28, 56 lb."""
    assert pounds(needs([CLOVER], crop(), acres=2, applied={"P2O5": 10}), "P2O5") == pytest.approx(40)
    lab = replace(CLOVER, recommendation=advice(P2O5=33, taken=True))
    found = needs([lab], crop(), acres=2, applied={"P2O5": 10})
    assert pounds(found, "P2O5") == pytest.approx(56)
    assert [credit.what for credit in of(found, "P2O5").credits] == ["applied since the soil was sampled"]
    done = needs([CLOVER], crop(), applied={"P2O5": 25})
    assert of(done, "P2O5").state is NeedState.NONE


@pytest.mark.parametrize("amount", [-1.0, float("nan"), float("inf")])
def test_an_impossible_applied_amount_is_a_programming_error(amount: float) -> None:
    with pytest.raises(ValueError, match=f"applied amount of N must be zero or more, not {amount * LB_KG!r}"):
        needs([CLOVER], crop(), applied={Supply.N: amount})


def test_a_split_uses_up_the_earliest_timing_first() -> None:
    """150 lb: 112.5 in spring, 37.5 in late August. 112.5 lb leave August; 60 lb leave 52.5 + 37.5."""
    grass = crop("grasses for hay and pasture", 5)
    assert of(needs([], grass), "N").timings == ((Timing.TOPDRESS, 0.75), (Timing.AFTER_HARVEST, 0.25))
    spring_done = of(needs([], grass, applied={Supply.N: 112.5}), "N")
    assert spring_done.timings == ((Timing.AFTER_HARVEST, pytest.approx(1.0)),)
    part = of(needs([], grass, applied={Supply.N: 60}), "N")
    assert part.timings == (
        (Timing.TOPDRESS, pytest.approx(52.5 / 90)),
        (Timing.AFTER_HARVEST, pytest.approx(37.5 / 90)),
    )


def test_a_table_by_previous_crop_takes_no_legume_credit_again(tmp_path: Path) -> None:
    """Oats after soybeans print 40; a credit table beside it must not take 20 off again."""
    folder = Path(shutil.copytree(guidelines.BUILT_IN / "umn-forage-2011", tmp_path / "mn"))
    main = folder / "guideline.toml"
    text = main.read_text(encoding="utf-8")
    assert 'crops = ["sunflower"]\nfile' in text
    main.write_text(
        text.replace('crops = ["sunflower"]\nfile', 'crops = ["sunflower", "oats"]\nfile'), encoding="utf-8"
    )
    grown = crop("oats", 90, "bu/acre", previous_crop="soybeans")
    found = needs([report(organic_matter_pct=2.0)], grown, guideline=guidelines.load_file(folder))
    assert pounds(found, "N") == pytest.approx(40)


def test_sunflower_credit_on_a_lab_figure_and_its_footnote() -> None:
    """100 - 50 after 3 plants per square foot of harvested alfalfa."""
    grown = crop("sunflower", None, previous_crop="harvested alfalfa", previous_stand="3 plants/ft2")
    test = report(recommendation=advice(N=100, taken=False))
    found = needs([test], grown)
    assert pounds(found, "N") == pytest.approx(50)
    assert "Add 20 lb when the third or fourth cut" in texts(of(found, "N").steps)
    unstated = needs([test], replace(grown, previous_stand=""))
    assert pounds(unstated, "N") == pytest.approx(100)
    assert any("plants per square foot" in p.what and p.level is Level.WARNING for p in unstated.problems)


def test_a_crop_without_a_printed_credit_gets_none_and_the_chain_says_so() -> None:
    grown = crop("brassica", None, previous_crop="soybean")
    found = needs([report(recommendation=advice(N=80, taken=False))], grown)
    assert pounds(found, "N") == pytest.approx(80)
    assert "No legume credit after soybean: Minnesota forage guide 2011 prints none" in texts(
        of(found, "N").steps
    )


# ---------------------------------------------------------------------------------------------
# The smaller nutrients


def test_others_are_looked_at_when_tested_advised_or_ruled_on() -> None:
    tested = needs([report(readings={"B": Reading(0.6, "ppm", "hot water", "B")})], crop())
    assert of(tested, "B").state is NeedState.UNKNOWN
    assert "prints no B rule for red clover: use your lab's" in of(tested, "B").reason
    assert tested.of(Nutrient.ZN) is None
    advised = needs([report(recommendation=advice(Zn=5))], crop())
    assert pounds(advised, "Zn") == pytest.approx(5)
    ruled = needs([], crop("alfalfa", 4))
    assert "10 to 25 lb S/acre" in of(ruled, "S").reason
    assert of(ruled, "S").state is NeedState.UNKNOWN


@pytest.mark.parametrize(("value", "answer"), [(3.0, 3.0), (3.1, 0.0)])
def test_boron_for_alfalfa_by_clemsons_flag(value: float, answer: float) -> None:
    """Sheet 050: soil boron under 3.1 lb/acre, 3 lb B/acre a year. It names no soil test: marked."""
    test = report(readings={"B": Reading(value, "lb/acre", "Mehlich-1", "B")})
    found = needs([test], crop("alfalfa", None), guideline="clemson-matrix")
    assert pounds(found, "B") == pytest.approx(answer)
    assert of(found, "B").assumed
    missing = needs([], crop("alfalfa", None), guideline="clemson-matrix")
    assert "Boron was not tested" in of(missing, "B").reason


# ---------------------------------------------------------------------------------------------
# Lime


ACID = report(ph=5.8, buffer_ph=6.3, buffer_method="Sikora")


def test_wildlife_lime_per_plot() -> None:
    """L5: 3,500 lb ENP/acre in Area 1; 1.5 acres take 5,250."""
    found = needs([ACID], crop("brassica"), acres=1.5).lime
    assert (found.state, found.basis, found.target_ph) == (NeedState.NEEDED, LimeBasis.ENP, 6.0)
    assert found.mass_kg == pytest.approx(5250 * LB_KG)
    assert found.steps[-1].what == "3500 lb/acre x 1.5 acres"


def test_the_labs_lime_goes_first_and_zero_is_none() -> None:
    assert pounds(
        needs([replace(ACID, recommendation=advice((2000, "lb ENP/acre")))], crop()), "lime"
    ) == pytest.approx(2000)
    none = needs([replace(ACID, recommendation=advice((0, "lb ENP/acre")))], crop()).lime
    assert (none.state, none.basis, none.mass_kg) == (NeedState.NONE, None, 0.0)
    bad = needs([replace(ACID, recommendation=advice((2, "bags/acre")))], crop()).lime
    assert (bad.state, bad.mass_kg) == (NeedState.UNKNOWN, None)
    assert "'bags/acre'" in bad.reason


def test_without_a_buffer_a_clover_takes_its_flat_rate_and_other_crops_stay_unknown() -> None:
    """L6: 3,000 lb ENP/acre."""
    bare = report(ph=5.8)
    clover = needs([bare], crop("red clover"))
    assert pounds(clover, "lime") == pytest.approx(3000)
    assert "the rate that Minnesota forage guide 2011 prints for red clover is used" in texts(
        clover.lime.steps
    )
    assert needs([bare], crop("brassica")).lime.state is NeedState.UNKNOWN
    assert pounds(needs([ACID], crop("red clover")), "lime") == pytest.approx(
        3500
    )  # with a buffer: the table
    wrong = replace(ACID, buffer_method="Mehlich")
    assert needs([wrong], crop("red clover")).lime.state is NeedState.UNKNOWN  # refused, not bypassed


def test_no_ph_is_unknown_and_never_none() -> None:
    for tests in ([], [report((8, "Bray P1"))]):
        lime = needs(tests, crop()).lime
        assert (lime.state, lime.rate_kg_ha, lime.mass_kg) == (NeedState.UNKNOWN, None, None)
        assert "pH was not tested" in lime.reason


def test_alfalfa_wants_more_than_the_wildlife_table_gives() -> None:
    """Minnesota: alfalfa 6.5 or higher; the table raises to 6.0 only."""
    assert "wants pH 6.5" in needs([ACID], crop("alfalfa")).lime.reason
    assert needs([replace(ACID, ph=6.6)], crop("alfalfa")).lime.state is NeedState.NONE


def test_penn_state_prints_its_own_target_for_alfalfa() -> None:
    """1,000 x 6.0 for target 7.0 (Penn State) although Minnesota asks 6.5 for alfalfa."""
    test = report(ph=5.5, acidity_meq_100g=6.0)
    found = needs([test], crop("alfalfa"), lime="psu-lime").lime
    assert found.mass_kg == pytest.approx(6000 * LB_KG)
    assert (found.basis, found.target_ph) == (LimeBasis.CCE, 7.0)


def test_a_lime_guideline_without_lime_is_unknown_or_the_crops_flat_rate() -> None:
    assert "has no lime rule" in needs([ACID], crop("brassica"), lime="clemson-matrix").lime.reason
    assert pounds(needs([ACID], crop(), lime="clemson-matrix"), "lime") == pytest.approx(3000)


def test_lime_applied_this_season_is_taken_off_in_its_own_basis_only() -> None:
    """3,500 - 1,000 = 2,500."""
    assert pounds(needs([ACID], crop(), applied={Supply.LIME_ENP: 1000}), "lime") == pytest.approx(2500)
    done = needs([ACID], crop(), applied={Supply.LIME_ENP: 4000}).lime
    assert (done.state, done.mass_kg) == (NeedState.NONE, 0.0)
    other = needs([ACID], crop(), applied={Supply.LIME_CCE: 1000})
    assert pounds(other, "lime") == pytest.approx(3500)
    assert any("known in CCE, and the need is in ENP" in p.what for p in other.problems)


def test_two_labs_lime_of_one_day_do_not_mix_bases() -> None:
    west = report(ph=5.5, test_id="W", recommendation=advice((2000, "lb ENP/acre")))
    east = report(ph=5.5, test_id="E", recommendation=advice((1, "ton/acre")))
    assert "ENP and product, which do not mix" in needs([west, east], crop()).lime.reason
    same = replace(east, recommendation=advice((3000, "lb ENP/acre")))
    assert pounds(needs([west, same], crop()), "lime") == pytest.approx(2500)


def test_magnesium_says_which_lime() -> None:
    low = replace(ACID, readings={"Mg": Reading(41, "ppm", "ammonium acetate", "Mg")})
    assert needs([low], crop()).lime.dolomitic is True
    assert needs([ACID], crop()).lime.dolomitic is None


def test_a_shallow_sample_asks_for_a_depth_rule_and_takes_the_one_chosen() -> None:
    """Buffer 6.3, Area 1: 3,500 lb ENP. E-2567 halves it for 0-4 inches; 4 of 6 inches is 2,333 lb."""
    shallow = replace(ACID, depth_bottom_m=4 * 0.0254)
    lime = needs([shallow], crop()).lime
    assert lime.state is NeedState.TO_DECIDE
    assert (lime.mass_kg, lime.rate_kg_ha) == (None, None)
    assert lime.published_kg_ha == pytest.approx(3500 * LB_KG / ACRE_M2 * 1e4)  # as printed
    assert "sampled to 4 inches" in lime.reason
    assert "choose a depth rule" in lime.reason
    assert lime.between_kg_ha == pytest.approx((1750 * LB_KG / ACRE_M2 * 1e4, 3500 * LB_KG / ACRE_M2 * 1e4))
    for rule, answer in (("half", 1750), ("in proportion", 3500 * 4 / 6), ("as printed", 3500)):
        setting = Settings(lime_region="Area 1", lime_guideline=f"umn-wildlife-lime; depth = {rule}")
        found = needs([shallow], crop(), lime=setting.lime_guideline, settings=setting)
        assert pounds(found, "lime") == pytest.approx(answer)
    decided = Decision("D1", "A", 2026, "lime", "half will do", TODAY, share=0.5)
    found = needs([shallow], crop(), decisions=[decided])
    assert pounds(found, "lime") == pytest.approx(1750)
    assert found.lime.state is NeedState.NEEDED
    three = replace(ACID, depth_bottom_m=3 * 0.0254)
    half = Settings(lime_region="Area 1", lime_guideline="umn-wildlife-lime; depth = half")
    assert pounds(needs([three], crop(), settings=half), "lime") == pytest.approx(1750)


# ---------------------------------------------------------------------------------------------
# Region and status


def test_a_guideline_outside_its_region_draws_a_notice_and_still_answers() -> None:
    """Columbus, Ohio, near 40.0 N, 83.0 W; Alder Fork, in Minnesota, near 46.05 N, 93.05 W."""
    ohio = needs([CLOVER], crop(), boundary=square(100, origin=(-83.0, 40.0)))
    notices = [p for p in ohio.problems if "was written for Minnesota" in p.what]
    assert len(notices) == 2  # the guideline, and the lime guideline
    assert all("near 40° N, 83° W" in p.what and p.level is Level.WARNING for p in notices)
    assert all("plot A" not in p.where for p in notices)  # one notice for a property, not one a plot
    assert pounds(ohio, "P2O5") == pytest.approx(25)
    assert needs([CLOVER], crop(), boundary=square(100)).problems == ()


def test_editions_not_meant_for_planning_say_so() -> None:
    here = square(100, origin=(-82.84, 34.68))  # Clemson, South Carolina
    clemson = needs([CLOVER], crop("alfalfa"), guideline="clemson-matrix", boundary=here)
    (said,) = [p for p in clemson.problems if "guideline clemson-matrix" in p.where]
    assert "selectable: phosphate and potash go by rating words" in said.what
    assert said.level is Level.NOTE
    removal = needs([CLOVER], crop("alfalfa"), guideline="removal-maintenance")
    assert any("levels you confirm yourself" in p.what for p in removal.problems)


# ---------------------------------------------------------------------------------------------
# The worked example of a user's own guideline


def test_a_users_own_guideline_runs_the_whole_chain() -> None:
    """12 ppm M3 ICP: 60 lb P2O5; after rye, 2 percent organic matter: 80 lb N; buffer 6.6: 2 ton CCE."""
    test = SoilTest(
        "T1",
        "A",
        sampled_on=SAMPLED,
        depth_bottom_m=7 * 0.0254,
        ph=5.7,
        buffer_ph=6.6,
        buffer_method="Sikora",
        organic_matter_pct=2.0,
        readings={"P": Reading(12, "ppm", "M3 ICP", "P")},
    )
    found = needs([test], crop("Turnips", None, previous_crop="rye"), guideline=OWN, lime=OWN, acres=2)
    assert pounds(found, "P2O5") == pytest.approx(120)
    assert pounds(found, "N") == pytest.approx(160)
    assert pounds(found, "lime") == pytest.approx(8000)
    assert found.lime.basis is LimeBasis.CCE
    assert of(found, "K2O").state is NeedState.UNKNOWN
    assert "Example brassica guide prints no K2O rule for brassica" in of(found, "K2O").reason
