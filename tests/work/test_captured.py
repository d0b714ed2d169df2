"""What was marked on the ground, against hand arithmetic and GeographicLib."""

from __future__ import annotations

import math

import pytest
from geographiclib.geodesic import Geodesic
from places import place
from sample_view import sample_view

from loamwright.errors import Level
from loamwright.units import ACRE_M2
from loamwright.work.captured import SIGMAS_OF_95, Captured, CapturedKind, Fix, offers

RECORD = sample_view(3).record


def fixes(*corners: tuple[float, float], accuracy_m: float = 5.0) -> tuple[Fix, ...]:
    return tuple(Fix(*place(corner), accuracy_m) for corner in corners)


def test_a_radius_of_95_percent() -> None:
    """Rayleigh: P(r < R) = 1 − exp(−R²/2σ²); 0.95 gives R = σ·√(2·2.995732) = 2.447747 σ."""
    assert pytest.approx(2.447747, abs=1e-6) == SIGMAS_OF_95


def test_a_walk_by_hand() -> None:
    """A square of 100 m by its corners, each ± 5 m at 95 %: σ = 5 / 2.448 = 2.043 m.

    Every |v(i+1) − v(i−1)| is a diagonal, √2 · 100 m: the standard error is σ/2 · √(4 · 2 · 100²) = 288.9 m²,
    which is 0.071 acre; the square is 10,000 m² = 2.47 acres.
    """
    walk = Captured("0123456789", CapturedKind.WALK, fixes((0, 0), (100, 0), (100, 100), (0, 100)), "AF-01")
    found = offers((walk,), RECORD)
    error_m2 = 5 / 2.447747 / 2 * math.sqrt(4 * 2 * 100**2)
    (said,) = [one for one in found.problems if "a walked boundary" in one.what]
    assert f"2.47 acres ± {error_m2 / ACRE_M2:.2f} acres" in said.what
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in RECORD.plots[0].boundary.exterior.coords[:-1]:
        polygon.AddPoint(lat, lon)
    _, _, area_m2 = polygon.Compute()
    assert f"on file {abs(area_m2) / ACRE_M2:.2f} acres" in said.what
    (feature,) = found.features["walked"]
    assert feature["properties"] == {"plot_id": "AF-01"}
    assert len(feature["geometry"]["coordinates"]) == 4


def test_spots_and_cores_are_told_and_a_keep_out_is_offered() -> None:
    marks = (
        Captured(
            "aaaaaaaaaa",
            CapturedKind.SPOT,
            fixes((0, 0)),
            "AF-01",
            "wet",
            "knee deep",
            "Sam",
            "2026-05-09T10:00:00Z",
        ),
        Captured("bbbbbbbbbb", CapturedKind.SPOT, fixes((1, 0)), "", "new keep-out", "old well"),
        Captured("cccccccccc", CapturedKind.CORE, fixes((2, 0)), "AF-02"),
    )
    found = offers(marks, RECORD)
    wet, well, core = found.problems
    assert (wet.where, wet.what) == (
        "marked on the ground, AF-01",
        "wet, ± 16 ft. knee deep (2026-05-09 Sam)",
    )
    assert {one.level for one in found.problems} == {Level.NOTE}
    assert "setback is not stated" in well.what
    assert core.what.startswith("soil core, ± 16 ft")
    assert [one["properties"]["name"] for one in found.features["keepouts"]] == ["old well"]
    assert [one["properties"]["what"] for one in found.features["seen"]] == ["wet", "soil core"]
    lon, lat = place((2, 0))
    assert found.features["seen"][1]["geometry"]["coordinates"] == [lon, lat]


def test_a_walk_that_encloses_nothing_is_refused() -> None:
    walk = Captured("dddddddddd", CapturedKind.WALK, fixes((0, 0), (10, 0)), "AF-01")
    found = offers((walk,), RECORD)
    assert "2 different places" in found.problems[0].what
    assert found.features == {}
