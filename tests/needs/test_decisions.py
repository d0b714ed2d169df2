"""Decisions: where a source leaves a choice, and what a decision makes of the published rate."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from loamwright.errors import InputError
from loamwright.needs import decisions
from loamwright.needs.decisions import Decision
from loamwright.values import Source

MADE = Decision("D1", "AF-17", 2026, "N", "half is enough", dt.date(2026, 4, 1), share=0.5)
TON_ACRE = 907.18474 / 0.40468564224


@pytest.mark.parametrize(
    ("crop", "share", "open_"),
    [
        ("grass-legume hay", 30.0, True),
        ("grass-legume hay", 25.0, True),
        ("grass-legume hay", 24.9, False),
        ("grass-legume hay", None, True),
        ("grass hay", None, False),
        ("alfalfa", None, False),  # a pure legume is no mixture; guidelines print no N for it
        ("oats", None, False),
        ("hay meadow", 40.0, True),  # what was counted in the stand decides, not what the crop is called
        ("hay meadow", 10.0, False),
    ],
)
def test_nitrogen_on_a_mixture(crop: str, share: float | None, open_: bool) -> None:
    # Penn State Forages: above 25-30 percent legume no N; On Pasture (2013): 25 to 50 percent.
    assert (decisions.nitrogen_to_decide(crop, share) is not None) is open_


def test_the_threshold_is_a_setting() -> None:
    assert decisions.nitrogen_to_decide("grass-clover", 30.0, 40.0) is None


def test_a_flat_rate_on_ground_nobody_sampled_is_a_choice() -> None:
    table = Source("Somewhere Extension")
    assert decisions.unsampled_to_decide("K2O", False, table) is not None
    assert decisions.unsampled_to_decide("K2O", True, table) is None
    assert decisions.unsampled_to_decide("N", False, table) is None


def test_lime_above_one_dose_is_open_only_where_no_rule_is_set() -> None:
    # MU Extension: 2 tons/acre not worked in.
    assert decisions.lime_to_decide(2.0 * TON_ACRE, False) is None
    found = decisions.lime_to_decide(3.85 * TON_ACRE, False)
    assert found is not None
    assert "3.85 tons/acre" in found.why
    assert decisions.lime_to_decide(3.85 * TON_ACRE, True) is None
    # 3.85 ton/acre x 2.2417 (t/ha in a ton/acre: 0.90718474 / 0.40468564224) = 8.63 t/ha
    metric = decisions.lime_to_decide(3.85 * TON_ACRE, False, metric=True)
    assert metric is not None
    assert metric.why.startswith("8.63 t/ha of lime")


def test_a_share_and_an_amount() -> None:
    assert MADE.applied_to(80) == 40
    assert replace(MADE, share=None, rate_kg_ha=0.0).applied_to(80) == 0
    with pytest.raises(ValueError, match="one of them"):
        replace(MADE, rate_kg_ha=1.0)


def test_the_newest_for_this_crop_holds() -> None:
    later = replace(MADE, decision_id="D2", share=1.0)
    other_crop = replace(MADE, decision_id="D3", crop="oats", share=0.1)
    assert decisions.governing_decision([MADE, later, other_crop], "AF-17", 2026, "N", "hay") is later
    assert decisions.governing_decision([MADE, later, other_crop], "AF-17", 2026, "N", "Oats") is other_crop
    assert decisions.governing_decision([MADE], "AF-17", 2027, "N", "hay") is None
    assert decisions.governing_decision([MADE], "AF-17", 2026, "K2O", "hay") is None


def test_what_can_be_typed() -> None:
    kind, value = decisions.read_decision("40 lb/acre")
    # 40 lb/acre = 40 x 0.45359237 / 0.40468564224 = 44.83 kg/ha
    assert (kind, round(value, 2)) == ("rate_kg_ha", 44.83)
    assert decisions.read_decision("30 kg/ha") == ("rate_kg_ha", 30.0)
    for wrong in ("much", "-10 %", "40 lb"):
        with pytest.raises(InputError, match=wrong.split()[0]):
            decisions.read_decision(wrong)
