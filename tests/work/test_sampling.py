"""Sampling plans: cores from the published range, places inside the plot, and who is due.

Published ranges are typed here from the places' own pages (source beside each); core counts are worked
out by hand in the comments. The property is invented.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from loamwright.files.reference import load_sampling_guides
from loamwright.land.records import Cropping, Plot, PlotArea
from loamwright.soil.records import LabRecommendation, Reading, SoilTest
from loamwright.supplies.records import Form, Product
from loamwright.units import ACRE_M2
from loamwright.values import PropertyInfo, Settings, Source
from loamwright.work.records import Application, Done, PropertyRecord
from loamwright.work.sampling import EDGE_M, SamplingGuide, core_count, plan_sampling, sample_due

GUIDES = load_sampling_guides()
MINNESOTA = GUIDES["Minnesota"]
TODAY = dt.date(2026, 5, 20)
SQUARE = shapely.box(-93.052, 46.050, -93.050, 46.0513)  # about 155 m by 145 m
LIME = Product("Ag lime", Form.LIME)
PHOSPHORUS = {"P": Reading(12, "ppm", "Bray P1", "P"), "K": Reading(110, "ppm", "ammonium acetate", "K")}


def soil_test(on: dt.date | None = dt.date(2025, 9, 14), **figures: Any) -> SoilTest:
    figures.setdefault("ph", 6.1)
    figures.setdefault("readings", PHOSPHORUS)
    return SoilTest(figures.pop("test_id", "T1"), "A1", on, **figures)


def a_property(**holds: Any) -> PropertyRecord:
    info = PropertyInfo("Alder Fork Preserve", 2026, settings=holds.pop("settings", Settings()))
    plots = (Plot("A1", "North Field", SQUARE),)
    return PropertyRecord(info, plots=plots, products=(LIME,), **holds)


def limed(on: dt.date) -> Application:
    return Application(f"E-{on}", "A1", "Ag lime", Done.DONE, on, 1000.0)


# ---------------------------------------------------------------------------------------------
# Published ranges


@pytest.mark.parametrize(
    ("place", "low", "high", "acres"),
    [
        ("Minnesota", 15, 30, 20),  # UMN Soil Testing Laboratory, How to Sample, Fields: level ground
        ("Minnesota, hilly", 15, 30, 5),  # same page: hilly ground
        ("Pennsylvania", 15, 20, 20),  # Penn State Agronomy Guide, Table 1-2-2: 10-20 acres at most
        ("Kansas", 12, 15, 4),  # K-State: 12-15 at least, 2-4 acres
        ("Kansas, better", 20, 30, None),  # K-State: 20-30 better
        ("Oklahoma", 15, 20, None),  # Oklahoma State sf1-98
        ("New York", 10, 15, 15),  # Ketterings and others: 10-15 cores, 10-15 acres
        ("Missouri", 20, 30, None),  # P. Miller, MU Extension
        ("Kentucky pasture", 3, 10, 20),  # UKY Grazer: 3-10 for 20 acres
        ("Florida pasture", 20, 20, None),  # UF: about 20
        ("North Carolina", 15, 20, None),  # NC State: cell or zone
    ],
)
def test_ranges_are_the_published_ones(place: str, low: int, high: int, acres: float | None) -> None:
    guide = GUIDES[place]
    assert (guide.cores_low, guide.cores_high, guide.acres_high) == (low, high, acres)
    assert guide.source.publication


def test_no_place_is_left_unchecked() -> None:
    assert len(GUIDES) == 11


def test_depth_is_told_as_printed() -> None:
    """UMN: 6-8 inches; pasture or sod 3 inches."""
    plan = plan_sampling(MINNESOTA, a_property(), area(2), TODAY)["A1"]
    assert plan.depth_text == "6-8 inches; pasture or sod 3 inches"
    assert any(step.value == plan.depth_text and step.source == MINNESOTA.source for step in plan.steps)


# ---------------------------------------------------------------------------------------------
# How many


@pytest.mark.parametrize(
    ("place", "acres", "cores"),
    [
        ("Minnesota", 8, 21),  # 15 + 15 x 8/20 = 21
        ("Minnesota", 0.5, 16),  # 15 + 15 x 0.5/20 = 15.375, rounded up
        ("Minnesota", 20, 30),  # the whole range at the limit
        ("Minnesota", 25, 30),  # never over the range
        ("Minnesota, hilly", 2, 21),  # 15 + 15 x 2/5 = 21
        ("New York", 3, 11),  # 10 + 5 x 3/15 = 11
        ("Kentucky pasture", 10, 7),  # 3 + 7 x 10/20 = 6.5, rounded up
        ("Oklahoma", 1, 20),  # no limit on land printed: high end
        ("Florida pasture", 1, 20),
    ],
)
def test_cores_follow_the_stated_rule(place: str, acres: float, cores: int) -> None:
    assert core_count(GUIDES[place], acres * ACRE_M2)[0] == cores


@given(st.floats(0.01, 200), st.floats(0.01, 200))
def test_cores_stay_in_the_range_and_grow_with_the_plot(one: float, other: float) -> None:
    small, large = sorted((one, other))
    for guide in GUIDES.values():
        few, many = core_count(guide, small * ACRE_M2)[0], core_count(guide, large * ACRE_M2)[0]
        assert guide.cores_low <= few <= many <= guide.cores_high


def test_the_range_and_its_source_ride_along() -> None:
    cores, steps = core_count(MINNESOTA, 8 * ACRE_M2)
    assert steps[0].value == "15 to 30"
    assert steps[0].source == MINNESOTA.source
    assert steps[-1].value == cores == 21
    assert "our rule" in str(steps[-1].source)


@pytest.mark.parametrize(("chosen", "beside"), [(12, "under"), (20, "within"), (40, "over")])
def test_the_users_own_number_of_cores_goes_before_the_rule(chosen: int, beside: str) -> None:
    """Minnesota prints 15 to 30; the user's number stands and is set beside that."""
    owner = a_property(settings=Settings(cores_per_sample=chosen))
    plan = plan_sampling(MINNESOTA, owner, area(8), TODAY)["A1"]
    assert (plan.cores, len(plan.points)) == (chosen, chosen)
    assert (plan.cores_low, plan.cores_high) == (15, 30)
    (own,) = [step for step in plan.steps if step.source.publication == "user"]
    assert own.what == f"your own number, {beside} that range"


def test_a_plot_over_the_limit_is_told_to_split() -> None:
    """25 acres over 20 acres a sample: two samples."""
    plan = plan_sampling(MINNESOTA, a_property(), area(25), TODAY)["A1"]
    (split,) = [step for step in plan.steps if step.unit == "samples"]
    assert split.value == 2
    assert "20 acres" in split.what


# ---------------------------------------------------------------------------------------------
# Where


def area(acres: float, shape: shapely.Geometry = SQUARE) -> dict[str, PlotArea]:
    spread = None if shape.is_empty else shape
    return {"A1": PlotArea("A1", acres * ACRE_M2, acres * ACRE_M2, 600.0, spread)}


def test_points_are_inside_and_off_the_edges() -> None:
    plan = plan_sampling(MINNESOTA, a_property(), area(5.5), TODAY)["A1"]
    assert len(plan.points) == plan.cores == 20  # 15 + 15 x 5.5/20 = 19.125, rounded up
    geod = Geod(ellps="WGS84")
    west, south, east, north = SQUARE.bounds
    for lon, lat in plan.points:
        assert SQUARE.contains(shapely.Point(lon, lat))
        gaps = [geod.inv(lon, lat, x, lat)[2] for x in (west, east)]
        gaps += [geod.inv(lon, lat, lon, y)[2] for y in (south, north)]
        assert min(gaps) >= EDGE_M - 0.01


def test_nothing_left_means_no_cores() -> None:
    plan = plan_sampling(MINNESOTA, a_property(), area(0, shapely.Polygon()), TODAY)["A1"]
    assert (plan.cores, plan.points, plan.due) == (0, (), False)
    assert "nothing of the plot is left" in plan.reason


def test_bag_label() -> None:
    plan = plan_sampling(MINNESOTA, a_property(), area(2), TODAY)["A1"]
    assert plan.label.splitlines() == [
        "Alder Fork Preserve",
        "Plot A1 North Field",
        "Sampled on:",
        "Depth: 6-8 inches; pasture or sod 3 inches",
    ]


def test_label_leaves_the_depth_open_where_none_is_printed() -> None:
    plan = plan_sampling(GUIDES["New York"], a_property(), area(2), TODAY)["A1"]
    assert plan.label.splitlines()[-1] == "Depth:"
    assert plan.depth_text == ""


# ---------------------------------------------------------------------------------------------
# Who is due


def due(**holds: Any) -> tuple[bool, str]:
    return sample_due("A1", a_property(**holds), TODAY)


def test_never_tested_is_due() -> None:
    assert due() == (True, "never tested")


def test_a_fresh_test_is_enough() -> None:
    is_due, reason = due(soil_tests=(soil_test(),))
    assert not is_due
    assert reason == "tested on 2025-09-14, within 4 years"


def test_older_than_the_limit_is_due() -> None:
    """14 September 2021 to 20 May 2026: 1,709 days, 4.68 years of 365.25 days."""
    is_due, reason = due(soil_tests=(soil_test(dt.date(2021, 9, 14)),))
    assert is_due
    assert "4.7 years old; the limit is 4" in reason
    longer = Settings(test_age_limit_years=5)
    assert not due(soil_tests=(soil_test(dt.date(2021, 9, 14)),), settings=longer)[0]


def test_undated_and_future_tests_do_not_count() -> None:
    assert due(soil_tests=(soil_test(None),))[0]
    assert due(soil_tests=(soil_test(TODAY + dt.timedelta(1)),))[0]


def test_an_incomplete_test_is_due_unless_the_lab_recommends() -> None:
    bare = soil_test(readings={"K": PHOSPHORUS["K"]})
    assert due(soil_tests=(bare,)) == (True, "the newest test, of 2025-09-14, has no P")
    assert not due(soil_tests=(replace(bare, recommendation=LabRecommendation()),))[0]
    beside = soil_test(test_id="T2", readings={"P": PHOSPHORUS["P"]})
    assert not due(soil_tests=(bare, beside))[0]  # two samples of one day complete each other


def test_ph_is_read_again_two_years_after_lime() -> None:
    """UTcrops, alfalfa: retest in two years; the age limit alone would allow four."""
    tests = (soil_test(dt.date(2023, 9, 1)),)
    is_due, reason = due(soil_tests=tests, applications=(limed(dt.date(2024, 5, 1)),))
    assert is_due
    assert "limed on 2024-05-01" in reason
    assert not due(soil_tests=tests, applications=(limed(dt.date(2024, 6, 1)),))[0]  # not two years yet
    assert not due(soil_tests=tests, applications=(limed(dt.date(2023, 5, 1)),))[0]  # before the sample


def test_a_corrected_lime_entry_does_not_count() -> None:
    tests = (soil_test(dt.date(2023, 9, 1)),)
    wrong = limed(dt.date(2024, 5, 1))
    none = replace(wrong, entry_id="E2", mass_kg=0.0, done=Done.NOT_DONE, replaces=wrong.entry_id)
    assert not due(soil_tests=tests, applications=(wrong, none))[0]


def test_a_new_stand_of_another_crop_on_an_old_sample_is_due() -> None:
    tests = (soil_test(dt.date(2024, 9, 1)),)
    clover = Cropping("A1", 2026, crop="red clover", previous_crop="rye", seeding=True)
    is_due, reason = due(soil_tests=tests, croppings=(clover,))
    assert is_due
    assert "new stand of red clover" in reason
    assert "under rye" in reason
    kept = replace(clover, seeding=False)
    same = replace(clover, previous_crop="Red clover")
    fresh = (soil_test(dt.date(2025, 9, 1)),)
    assert not due(soil_tests=tests, croppings=(kept,))[0]
    assert not due(soil_tests=tests, croppings=(same,))[0]
    assert not due(soil_tests=fresh, croppings=(clover,))[0]


def test_a_users_own_guide_works() -> None:
    guide = SamplingGuide("Ours", 8, 12, 4, "4 inches", "", "", Source("user"))
    assert core_count(guide, 2 * ACRE_M2)[0] == 10  # 8 + 4 x 2/4
