"""What a soil test has seen: the rule's own cases, with dates and amounts worked out by hand."""

from __future__ import annotations

import datetime as dt

import pytest

from loamwright.needs import seen
from loamwright.needs.seen import Clock

D = dt.date.fromisoformat
YEAR_2026 = {"season_start": D("2026-01-01"), "season_end": D("2026-12-31")}


@pytest.mark.parametrize("supply", ["P2O5", "K2O", "S", "Mg", "B", "Zn"])
def test_potash_in_november_after_an_october_sample_counts_in_spring(supply: str) -> None:
    clock = Clock(**YEAR_2026, sampled_on={supply: D("2025-10-10")})
    assert clock.counts(supply, D("2025-11-05"))
    assert clock.verdict(supply, D("2025-11-05")).why == "after the soil sample of 2025-10-10"


def test_potash_in_april_before_a_may_sample_does_not_count() -> None:
    clock = Clock(**YEAR_2026, sampled_on={"K2O": D("2026-05-10")})
    assert not clock.counts("K2O", D("2026-04-20"))


def test_the_same_day_is_before_and_says_so() -> None:
    clock = Clock(**YEAR_2026, sampled_on={"K2O": D("2026-05-10"), "lime": D("2026-05-10")})
    for supply in ("K2O", "lime ENP"):
        verdict = clock.verdict(supply, D("2026-05-10"))
        assert not verdict.counts
        assert "on the day of the soil sample, 2026-05-10: taken as before it" in verdict.why


def test_lime_of_any_basis_goes_by_the_sample_that_speaks_of_lime() -> None:
    clock = Clock(**YEAR_2026, sampled_on={"K2O": D("2026-04-01"), "lime": D("2023-04-01")})
    assert clock.counts("lime ENP", D("2024-06-01"))
    assert not clock.counts("K2O", D("2024-06-01"))


def test_nitrogen_counts_since_the_crop_was_sown_whatever_the_sample() -> None:
    clock = Clock(**YEAR_2026, growing_since=D("2025-09-12"), sampled_on={"N": D("2026-04-01")})
    assert clock.counts("N", D("2025-09-12"))
    assert not clock.counts("N", D("2025-09-11"))


def test_nitrogen_for_the_second_crop_counts_from_the_end_of_the_first() -> None:
    ended = D("2026-07-20")
    first = Clock(**YEAR_2026, growing_since=D("2026-04-15"), growing_until=ended)
    second = Clock(**YEAR_2026, growing_since=seen.growing_since(D("2026-01-01"), ended_before=ended))
    assert (first.counts("N", D("2026-06-01")), second.counts("N", D("2026-06-01"))) == (True, False)
    assert (first.counts("N", D("2026-07-25")), second.counts("N", D("2026-07-25"))) == (False, True)


def test_an_established_stand_counts_from_the_season_not_from_a_sowing_years_ago() -> None:
    assert seen.growing_since(D("2026-01-01"), D("2022-08-20"), established=True) == D("2026-01-01")
    assert seen.growing_since(D("2026-01-01"), D("2025-08-20")) == D("2025-08-20")


def test_a_sample_without_a_date_is_marked_and_the_season_stands_in() -> None:
    clock = Clock(**YEAR_2026, sampled_on={"K2O": None})
    verdict = clock.verdict("K2O", D("2026-03-01"))
    assert verdict.counts
    assert "the sample has no date" in verdict.why
    assert not clock.counts("K2O", D("2025-11-01"))
    assert "no soil sample of it" in clock.verdict("P2O5", D("2026-03-01")).why


def test_nothing_after_the_season_counts_when_it_is_looked_at_later() -> None:
    clock = Clock(**YEAR_2026, sampled_on={"K2O": D("2025-10-01")})
    assert not clock.counts("K2O", D("2027-03-01"))


def test_seasons_by_their_start() -> None:
    assert seen.season_dates(2026) == (D("2026-01-01"), D("2026-12-31"))
    for day, season in (("2025-08-31", 2025), ("2025-09-01", 2026), ("2026-08-31", 2026)):
        assert seen.season_of(D(day), "09-01") == season
    assert seen.season_of(D("2026-03-14"), "03-15") == 2025
    assert seen.season_of(D("2026-03-15"), "03-15") == 2026


def test_what_an_earlier_crop_needed_is_not_carried_to_the_next() -> None:
    # Sampled in fall 2025; 60 kg in 2026 for a crop that needed 60: nothing is left for 2027.
    assert seen.left_of_earlier({2026: 60.0}, {2026: 60.0}, 2025, 2027) == 0
    # 40 in the fall of the sample and 60 in 2026 against 60: 40 are left.
    assert seen.left_of_earlier({2025: 40.0, 2026: 60.0}, {2026: 60.0}, 2025, 2027) == 40
    # A need that nobody knows takes nothing.
    assert seen.left_of_earlier({2026: 60.0}, {2026: None}, 2025, 2027) == 60
    # A shortfall of 2026 (10 against 60) is not owed to 2027's account.
    assert seen.left_of_earlier({2026: 10.0, 2027: 80.0}, {2026: 60.0, 2027: 60.0}, 2025, 2028) == 20


def test_six_hundred_pounds_of_urea_on_five_of_ten_point_nine_acres() -> None:
    # 600 lb x 0.46 = 276 lb N on 5 acres = 55.2 lb/acre where 60 was asked.
    # The rest: 5.9 acres x 60 = 354 lb. The done part is short of 5 x 4.8 = 24 lb.
    acre, lb = 4046.8564224, 0.45359237
    done = seen.rest_of_plot(60 * lb / acre * 1e4, 10.9 * acre, [(5 * acre, 276 * lb)])
    assert done.area_m2 / acre == pytest.approx(5.9)
    assert done.rest_kg / lb == pytest.approx(354)
    assert done.topup_kg / lb == pytest.approx(24)


def test_too_much_on_a_part_does_not_feed_the_rest() -> None:
    done = seen.rest_of_plot(60, 40_000, [(20_000, 500)])
    assert (done.rest_kg, done.topup_kg) == (120, 0)


def test_a_sliver_that_rounded_acres_leave_is_no_ground_to_go_to() -> None:
    """39,999 of 40,000 m2 got 55 of 60 kg/ha: 5 x 3.9999 + 60 x 0.0001 = 20.0055 kg, listed, not planned."""
    done = seen.rest_of_plot(60, 40_000, [(39_999, 55 * 3.9999)], least_kg_ha=6)
    assert (done.area_m2, done.rest_kg, done.done_area_m2) == (0, 0, 40_000)
    assert done.topup_kg == pytest.approx(20.0055)


def test_of_two_parts_the_one_far_from_enough_still_asks() -> None:
    """2 ha got 55 of 60 kg/ha, short of 2 x 5 = 10 kg; 2 ha got 20, short of 2 x 40 = 80 kg."""
    done = seen.rest_of_plot(60, 40_000, [(20_000, 110), (20_000, 40)], least_kg_ha=6)
    assert (done.area_m2, done.rest_kg) == (20_000, 80)
    assert (done.done_area_m2, done.topup_kg) == (20_000, 10)


def test_parts_larger_than_the_plot_are_refused() -> None:
    with pytest.raises(ValueError, match="50000 m2 lie on a plot of 40000 m2"):
        seen.rest_of_plot(60, 40_000, [(30_000, 1), (20_000, 1)])
