"""Removal, build-up and maintenance.

Form: Ohio State ANR-96 (2020): between critical level and limit yield x removal (+ 20 for K2O), above it
nothing, below it build-up over four years; E-2567 (1995): 20 lb P2O5 per ppm. Removal: University of
Kentucky pss_views/142, alfalfa 14 lb P2O5 and 55 lb K2O a ton. Sums are worked by hand beside each case.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from need_builders import report, texts

from loamwright.files import guidelines
from loamwright.needs.maintenance import Maintenance
from loamwright.needs.rates import Rate, Situation
from loamwright.values import Quantity

PHOSPHATE, POTASH = guidelines.load_guideline("removal-maintenance").maintenances


def ask(
    rule: Maintenance, figure: float, crop: str = "alfalfa", cec: float | None = 12.0, goal: float = 5
) -> Rate:
    """Ask for alfalfa at 5 ton by Mehlich-3."""
    tests = (report(p=(figure, "Mehlich-3"), k=(figure, "Mehlich-3")),)
    unit = "ton/acre" if crop in ("alfalfa", "tall grass or legume forage") else "bu/acre"
    return rule.rate(Situation(crop, tests, Quantity(goal, unit), cec_meq_100g=cec))


def limit(rule: Maintenance, value: float) -> Maintenance:
    """Set the upper limit, as a user does in an own copy."""
    return replace(rule, levels=tuple(replace(level, limit=value) for level in rule.levels))


def test_in_the_maintenance_range_the_harvest_is_replaced() -> None:
    """5 ton x 14 = 70 P2O5; 5 x 55 + 20 = 295 K2O (Kentucky prints 70 and 275 removed)."""
    phosphate = ask(limit(PHOSPHATE, 50), 40)
    potash = ask(POTASH, 150)
    assert phosphate.value == pytest.approx(70)
    assert potash.value == pytest.approx(295)
    assert [step.value for step in potash.steps[-2:]] == [275, 295]
    assert "Kentucky" in potash.steps[-2].source.publication


def test_below_the_critical_level_build_up_is_added() -> None:
    """Critical 30, test 22: 8 ppm x 20 lb / 4 years = 40; 70 + 40 = 110."""
    found = ask(PHOSPHATE, 22)
    assert found.value == pytest.approx(110)
    assert [step.value for step in found.steps[-3:]] == pytest.approx([70, 40, 110])


def test_above_the_limit_nothing_is_due_and_no_yield_is_asked() -> None:
    """CEC over 5: limit 170."""
    tests = (report(k=(171, "Mehlich-3")),)
    assert POTASH.rate(Situation("alfalfa", tests, cec_meq_100g=12)).value == 0
    assert ask(POTASH, 170).value == pytest.approx(295)


def test_levels_go_by_exchange_capacity() -> None:
    """CEC 5 or less: 100 and 130; above: 120 and 170."""
    assert ask(POTASH, 131, cec=5.0).value == 0
    assert ask(POTASH, 131, cec=5.1).value == pytest.approx(295)
    assert "exchange capacity, which was not reported" in ask(POTASH, 131, cec=None).reason


def test_corn_by_the_bushel() -> None:
    """150 bu x 0.37 = 55.5 lb P2O5 (the bulletin's 150 bu crop: 55); critical 20, test 16: + 4 x 20 / 4."""
    assert ask(PHOSPHATE, 16, "corn", goal=150).value == pytest.approx(55.5 + 20)


@pytest.mark.parametrize(
    ("found", "offending"),
    [
        (ask(PHOSPHATE, 34), "34 ppm P is above the critical level 30, and no upper limit"),
        (ask(POTASH, 90), "90 ppm K is under the critical level 120, and the pounds"),
        (ask(PHOSPHATE, 10, "tall grass or legume forage"), "no critical level of P is set for tall grass"),
        (ask(limit(PHOSPHATE, 50), 40, "corn", goal=-1), "-1 bu/acre cannot be"),
        (PHOSPHATE.rate(Situation("alfalfa", (report(p=(22, "Mehlich-3")),))), "needs a yield goal"),
        (PHOSPHATE.rate(Situation("alfalfa", (report(p=(22, "Bray P1")),))), "22 ppm P by Bray P1"),
    ],
)
def test_what_is_not_set_is_unknown_with_what_to_set(found: Rate, offending: str) -> None:
    assert found.value is None
    assert offending in found.reason


def test_a_user_may_want_no_build_up_or_set_one() -> None:
    """0 = none wanted: 295. 8 lb K2O per ppm: (120 - 90) x 8 / 4 = 60; 295 + 60 = 355."""
    assert ask(replace(POTASH, buildup_per_unit=0.0), 90).value == pytest.approx(295)
    assert ask(replace(POTASH, buildup_per_unit=8.0), 90).value == pytest.approx(355)


def test_mehlich_3_by_icp_is_taken_as_meant_and_marked() -> None:
    tests = (report(p=(22, "M3 ICP")),)
    found = PHOSPHATE.rate(Situation("alfalfa", tests, Quantity(5, "ton/acre")))
    assert (found.value, found.assumed) == (pytest.approx(110), True)
    assert "ICP is taken as meant" in texts(found.steps)
