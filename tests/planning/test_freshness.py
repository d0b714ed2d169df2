"""When a plan is old: what changed is named, and carrying it out is no change."""

from __future__ import annotations

import pytest

from loamwright.planning.freshness import Aged, bought_outside, figure, key, over_the_plan, what_aged

THEN = {
    key("need", "AF-03 N"): figure(23.25, "kg/ha"),
    key("offer", "O-1"): "Urea 46-0-0, 50 lb bag, 28.50",
    key("area", "AF-03"): figure(8400.123456789, "m2"),
}


def test_nothing_changed() -> None:
    assert what_aged(THEN, dict(THEN)) == ()


def test_a_figure_made_again_is_the_same_figure() -> None:
    assert what_aged(THEN, {**THEN, key("area", "AF-03"): figure(8400.1234568, "m2")}) == ()


def test_what_changed_is_named_with_both_values() -> None:
    now = {
        **THEN,
        key("need", "AF-03 N"): figure(0.0, "kg/ha"),
        key("offer", "O-1"): "Urea 46-0-0, 50 lb bag, 31.00",
    }
    texts = [str(aged) for aged in what_aged(THEN, now)]
    assert texts == [
        "need of AF-03 N: 23.25 kg/ha → 0 kg/ha",
        "offer O-1: Urea 46-0-0, 50 lb bag, 28.50 → Urea 46-0-0, 50 lb bag, 31.00",
    ]


def test_what_came_and_what_went() -> None:
    now = {key("need", "AF-03 N"): figure(23.25, "kg/ha"), key("area", "AF-03"): figure(8400.123456789, "m2")}
    now[key("decision", "AF-17 N")] = "0 kg/ha"
    assert what_aged(THEN, now) == (
        Aged("decision on AF-17 N", "", "0 kg/ha"),
        Aged("offer O-1", "Urea 46-0-0, 50 lb bag, 28.50", ""),
    )


def test_unknown_is_not_zero() -> None:
    then, now = {key("need", "A N"): figure(0.0, "kg/ha")}, {key("need", "A N"): figure(None)}
    assert [str(aged) for aged in what_aged(then, now)] == ["need of A N: 0 kg/ha → unknown"]


def test_a_plan_from_before_fingerprints_is_not_called_old() -> None:
    assert what_aged({}, THEN) == ()


def test_a_kind_nobody_knows_is_a_mistake_of_ours() -> None:
    with pytest.raises(ValueError, match="weather"):
        key("weather")


def test_lines_over_the_band() -> None:
    # 100 kg planned: 105 is within five percent, 106 is not.
    assert over_the_plan({"a": 100, "b": 100}, {"a": 105, "b": 106}, 1.05) == ("b",)


def test_buying_what_the_plan_asked_for_explains_itself() -> None:
    planned = {("Urea", "50 lb bag"): 47.0}
    book = [
        ("old", "Urea", "50 lb bag", 5.0),
        ("p1", "Urea", "50 lb bag", 40.0),
        ("p2", "Urea", "50 lb bag", 7.0),
    ]
    assert bought_outside(planned, ["old"], book) == {}
    more = [*book, ("p3", "Urea", "50 lb bag", 1.0), ("p4", "MAP", "50 lb bag", 2.0)]
    assert bought_outside(planned, ["old"], more) == {
        "bought:Urea, 50 lb bag": "1 packages",
        "bought:MAP, 50 lb bag": "2 packages",
    }
