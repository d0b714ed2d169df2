"""The walk that makes ``--json`` of any record: names, units and money, by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest
import shapely

from loamwright.commands import data
from loamwright.values import USER, Nutrient, Source, Step
from loamwright.work import Application, Balance, Done

#: International pound, acre: NIST Special Publication 811 (2008), Appendix B, exact; 1 ha = 10,000 m2.
LB_KG, ACRE_M2 = 0.45359237, 4046.8564224


@dataclass(frozen=True, slots=True)
class Sack:
    """A record no package knows."""

    sack_id: str
    mass_kg: float
    rate_kg_ha: float | None
    spread_area_m2: float
    walk_m: float
    price_per_kg: Mapping[Nutrient, float]
    cost_per_ha: float
    doses_kg: tuple[float, ...]
    fee: Decimal
    bought_on: dt.date
    shape: shapely.Point
    source: Source
    steps: tuple[Step, ...]
    file: Path


SACK = Sack(
    sack_id="S-1",
    mass_kg=45.359237,
    rate_kg_ha=None,
    spread_area_m2=2 * ACRE_M2,
    walk_m=12.5,
    price_per_kg={Nutrient.N: 2.0},
    cost_per_ha=100.0,
    doses_kg=(0.45359237, 0.0),
    fee=Decimal("8.505"),
    bought_on=dt.date(2026, 5, 2),
    shape=shapely.Point(1, 2),
    source=Source("A bulletin", "2024", "Table 1"),
    steps=(Step("weighed", 100.0, "lb", USER),),
    file=Path("a/b.csv"),
)


def test_units_are_read_from_the_names() -> None:
    """100 lb; 2 acres; 2 dollars a kilogram are 0.907185 a pound; 100 a hectare are 40.468564 an acre;
    12.5 m are 12.5 / 0.3048 = 41.0105 ft."""
    assert data.of(SACK) == {
        "sack_id": "S-1",
        "mass_lb": pytest.approx(100),
        "rate_lb_per_acre": None,
        "spread_area_acres": pytest.approx(2),
        "walk_ft": pytest.approx(41.0105, abs=1e-4),
        "price_per_lb": {"N": pytest.approx(2 * LB_KG)},
        "cost_per_acre": pytest.approx(100 * ACRE_M2 / 10_000),
        "doses_lb": [pytest.approx(1), 0.0],
        "fee": 8.5,  # to the cent, half to even
        "bought_on": "2026-05-02",
        "source": "A bulletin, 2024, Table 1",
        "steps": [{"what": "weighed", "value": 100.0, "unit": "lb", "source": "user"}],
        "file": "a/b.csv",
    }


def test_a_rate_is_pounds_an_acre() -> None:
    """112.085 kg/ha: 112.085 / 0.45359237 × 4046.8564224 / 10,000 = 100.0 lb/acre."""
    (step,) = data.of([Rate(112.0851156)])
    assert step == {"rate_lb_per_acre": pytest.approx(100, rel=1e-6)}


@dataclass(frozen=True, slots=True)
class Rate:
    rate_kg_ha: float


def test_what_is_beside_the_fields_has_its_unit_too() -> None:
    """10 lb needed, 4 applied: 6 left; unknown stays unknown; more than the need leaves nothing."""
    found = data.of(Balance("A-1", "P2O5", 10 * LB_KG, 4 * LB_KG))
    assert found["nutrient"] == "P2O5"
    assert found["left_lb"] == pytest.approx(6)
    assert data.of(Balance("A-1", "P2O5", None, LB_KG))["left_lb"] is None
    assert data.of(Balance("A-1", "P2O5", LB_KG, 4 * LB_KG))["left_lb"] == 0.0


def test_the_record_is_printed_as_it_is_kept() -> None:
    entry = Application("E-1", "A-1", "Urea", Done.DONE, dt.date(2026, 5, 2), 50 * LB_KG)
    found = data.of(entry)
    assert found["mass_kg"] == 50 * LB_KG
    assert found["mass_lb"] == pytest.approx(50)
    assert (found["done"], found["applied_on"], found["area_m2"]) == ("done", "2026-05-02", None)
