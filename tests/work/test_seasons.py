"""What the next season starts with."""

from __future__ import annotations

from loamwright.land import Cropping
from loamwright.values import Quantity
from loamwright.work.seasons import is_perennial, next_season


def test_kinds_of_crops_by_their_names() -> None:
    perennial = ("alfalfa", "grass-legume", "clover-chicory", "red clover", "ryegrass", "birdsfoot trefoil")
    annual = ("oats", "oats-peas", "rye", "brassica", "winter rye and crimson clover", "corn")
    assert [is_perennial(crop) for crop in perennial] == [True] * 6
    assert [is_perennial(crop) for crop in annual] == [False] * 6
    assert is_perennial("potatoes") is None


def test_a_stand_goes_on_as_an_established_one() -> None:
    sown = Cropping("A", 2026, "alfalfa", "oats", Quantity(3, "ton/acre"), 90.0, True, "")
    found = next_season([sown], 2026, ["A"])
    assert found.croppings == (
        Cropping("A", 2027, "alfalfa", "alfalfa", Quantity(3, "ton/acre"), 90.0, False, ""),
    )
    assert (found.goes_on, found.to_decide) == (("A",), ())


def test_annual_ground_is_to_decide_and_remembers_its_last_crop() -> None:
    # Oats, then brassica: the brassica is the previous crop of the next season.
    two = [Cropping("A", 2026, "oats"), Cropping("A", 2026, "brassica")]
    found = next_season(two, 2026, ["A", "B"])
    assert found.croppings == (Cropping("A", 2027, previous_crop="brassica"), Cropping("B", 2027))
    assert found.to_decide == ("A", "B")


def test_what_was_sown_in_fall_for_the_next_season_is_left_alone() -> None:
    rye = Cropping("A", 2027, "rye")
    assert next_season([Cropping("A", 2026, "oats"), rye], 2026, ["A"]).croppings == ()
