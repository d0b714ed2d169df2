"""Flags of secondary nutrients and micronutrients against the published levels.

* Rutgers NJAES, Relative levels of nutrients: critical zinc 1.0 ppm (Mehlich-3) and boron 0.5 ppm; for
  Mehlich-3 in lb/acre the classes under "medium" end at 83 (Mg) and 1,007 (Ca).
* NDSU, 28 April 2022: corn with DTPA zinc below 1 ppm, zinc in the starter.
* University of Tennessee: sunflower with boron below 0.8 lb/acre, 1 lb B/acre.
* Ohio's Country Journal, 2014: dolomitic lime where soil Mg is under 50 ppm.
"""

from __future__ import annotations

import pytest

from loamwright.soil.records import Reading, SoilTest
from loamwright.soil.secondary import flag
from loamwright.values import Nutrient


def report(element: str, value: float, unit: str, test: str | None) -> SoilTest:
    """Make a report of one element, sampled 0 to 6 inches (2 lb/acre per ppm)."""
    reading = Reading(value, unit, test, element)
    return SoilTest("T1", "A", depth_top_m=0.0, depth_bottom_m=0.1524, readings={element: reading})


@pytest.mark.parametrize(
    ("element", "value", "unit", "test", "crop", "told"),
    [
        ("Zn", 0.9, "ppm", "DTPA", "corn", "North Dakota State Univ. calls low: zinc in the starter"),
        ("Zn", 1.0, "ppm", "DTPA", "corn", ""),  # "below 1 ppm"
        ("Zn", 0.9, "ppm", "DTPA", "oats", ""),  # printed for corn
        ("Zn", 0.9, "ppm", "Mehlich-3", "oats", "Rutgers NJAES calls low"),
        ("B", 0.4, "ppm", "hot water", "oats", "under 0.5 ppm, which Rutgers NJAES calls low"),
        ("B", 0.7, "lb/acre", "hot water", "sunflower", "1 lb B/acre on sunflower"),
        ("B", 0.35, "ppm", "hot water", "sunflowers", "1 lb B/acre on sunflower"),  # 0.7 lb/acre
        ("B", 0.6, "ppm", "hot water", "oats", ""),
        ("Mg", 49, "ppm", "ammonium acetate", "oats", "dolomitic lime where lime is due"),
        ("Mg", 50, "ppm", "ammonium acetate", "oats", ""),
        ("Mg", 41, "ppm", "Mehlich-3", "oats", "under 84 lb/acre, which Rutgers NJAES calls low"),  # 82
        ("Ca", 500, "ppm", "Mehlich-3", "oats", "under 1008 lb/acre, which Rutgers NJAES calls low"),  # 1000
        ("Ca", 510, "ppm", "Mehlich-3", "oats", ""),  # 1,020
        ("Ca", 100, "ppm", "ammonium acetate", "oats", ""),  # the level is not printed for that test
        ("S", 1, "ppm", "calcium phosphate", "alfalfa", ""),  # no level was read
    ],
)
def test_published_levels(element: str, value: float, unit: str, test: str, crop: str, told: str) -> None:
    found = flag([report(element, value, unit, test)], Nutrient(element), crop)
    assert told in found.text
    assert bool(found.text) is bool(told)


def test_what_was_held_against_what_is_written_down() -> None:
    found = flag([report("Mg", 60, "ppm", "Mehlich-3")], Nutrient.MG, "oats")
    told = [(step.value, step.source.publication) for step in found.steps if step.unit == ""]
    assert told == [  # 60 ppm are 120 lb/acre
        ("not low", "Ohio's Country Journal, Select a lime source based on ENP"),
        ("not low", "Rutgers NJAES, Relative levels of nutrients"),
    ]
    assert "the source names no soil test" in " ".join(step.what for step in found.steps)


def test_what_was_not_tested_is_not_low() -> None:
    found = flag([report("Mg", 40, "ppm", None)], Nutrient.ZN, "corn")
    assert (found.text, found.steps) == ("", ())
