"""The lime that a season's nitrogen uses up, plot by plot, against published figures and hand arithmetic.

Status and balance are held by ``properties/test_ledger_properties.py``.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from loamwright.supplies.records import Form, Product
from loamwright.units import LB_KG
from loamwright.values import Nutrient
from loamwright.work.ledger import acidity_left, season_entries
from loamwright.work.records import Application, Done

LABELS = (
    Product("Urea 46-0-0", Form.DRY, {Nutrient.N: 46}),
    Product("Ammonium sulfate 21-0-0-24S", Form.DRY, {Nutrient.N: 21, Nutrient.S: 24}),
    Product("Potash 0-0-60", Form.DRY, {Nutrient.K2O: 60}),
    Product("Blend 19-19-19", Form.DRY, {Nutrient.N: 19, Nutrient.P2O5: 19, Nutrient.K2O: 19}),
)


def entry(key: str, plot_id: str, product: str, pounds: float, **more: Any) -> Application:
    return Application(key, plot_id, product, Done.DONE, dt.date(2026, 5, 1), pounds * LB_KG, **more)


def test_each_plot_has_a_running_figure_in_two_conventions() -> None:
    """Alabama ANR-0174: 81 lb CaCO3 per 100 lb urea, 110 per 100 lb ammonium sulfate.

    A-1 got 200 lb urea and 100 lb ammonium sulfate: 162 + 110 = 272 lb by the published figures. The
    ceiling by hand (CaCO3 100.09, N 14.007: half of it is 3.573 for each hydrogen ion per N): 92 lb N x 1 x
    3.573 + 21 lb N x 2 x 3.573 = 328.7 + 150.1 = 478.8 lb. A-2 got potash only, which holds no nitrogen.
    """
    found = acidity_left(
        (
            entry("1", "A-1", "Urea 46-0-0", 200),
            entry("2", "A-2", "Potash 0-0-60", 100),
            entry("3", "A-1", "Ammonium sulfate 21-0-0-24S", 100),
        ),
        LABELS,
    )
    assert list(found) == ["A-1", "A-2"]
    published_kg, ceiling_kg = found["A-1"].published_kg, found["A-1"].ceiling_kg
    assert published_kg is not None
    assert ceiling_kg is not None
    assert published_kg / LB_KG == pytest.approx(272)
    assert ceiling_kg / LB_KG == pytest.approx(478.8, abs=0.1)
    assert found["A-1"].left_out == ()
    assert {step.source.publication[:7] for step in found["A-1"].steps} == {"Alabama", "IUPAC s"}
    assert (found["A-2"].published_kg, found["A-2"].ceiling_kg) == (0.0, 0.0)


def test_what_the_sum_lacks_is_named_and_never_taken_for_zero() -> None:
    found = acidity_left(
        (
            entry("1", "A-1", "Blend 19-19-19", 100),
            entry("2", "A-1", "Mystery bag", 50),
            entry("3", "A-2", "Urea 46-0-0", 100),
            entry("4", "A-2", "Mystery bag", 50),
        ),
        LABELS,
    )
    assert found["A-1"].published_kg is None
    assert found["A-1"].ceiling_kg is None
    assert [reason.partition(":")[0] for reason in found["A-1"].left_out] == ["Blend 19-19-19", "Mystery bag"]
    assert found["A-2"].published_kg == pytest.approx(81 * LB_KG)
    assert found["A-2"].left_out == ("Mystery bag: not among the products",)


def test_a_corrected_entry_counts_once_and_one_not_done_does_not() -> None:
    """100 lb urea entered for 1,000: 81 lb CaCO3, not 891."""
    entries = (
        entry("1", "A-1", "Urea 46-0-0", 1000),
        entry("2", "A-1", "Urea 46-0-0", 100, replaces="1"),
        Application("3", "A-2", "Urea 46-0-0", Done.NOT_DONE, dt.date(2026, 5, 1), 0.0),
    )
    found = acidity_left(season_entries(entries, 2026), LABELS)
    assert found["A-1"].published_kg == pytest.approx(81 * LB_KG)
    assert "A-2" not in found
