"""Legume and organic credits.

Sources: University of Minnesota Extension, Sunflower fertilizer recommendations, Table 1; manure
availability (percent of total N by species, method and year; 80 percent of P, 90 of K the season
after); Missouri EQ392 (M5: 8,250 lb P2O5 and 11,850 lb K2O at 95 percent are 7,838 and 11,258 lb).
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from need_builders import TODAY, texts

from loamwright.files import guidelines
from loamwright.needs.credits import CreditLine, CreditsFound, organic_credits, season_year
from loamwright.needs.seen import Clock, season_dates
from loamwright.soil.readings import Missing
from loamwright.soil.records import OrganicInput
from loamwright.values import Nutrient, Quantity

PUBLISHED = Path(__file__).parents[1] / "published"
CASES = {
    case["id"]: case
    for case in json.loads((PUBLISHED / "guidelines_worked_examples.json").read_text(encoding="utf-8"))[
        "cases"
    ]
}
FORAGE = guidelines.load_guideline("umn-forage-2011")
LB_ACRE = 0.45359237 / (43560 * 0.3048**2) * 10_000
METHOD = "broadcast incorporated 12-96 h"


def manure(**fields: Any) -> OrganicInput:
    """Make 3 ton/acre of beef manure with 11-7-10 lb a ton, spread last October."""
    values: dict[str, Any] = {
        "input_id": "M1",
        "plot_id": "A",
        "applied_on": dt.date(2025, 10, 18),
        "material": "beef",
        "method": METHOD,
        "amount": Quantity(3, "ton/acre"),
        "analysis_lb_per_ton": {Nutrient.N: 11, Nutrient.P2O5: 7, Nutrient.K2O: 10},
    }
    return OrganicInput(**{**values, **fields})


def count(
    organic: OrganicInput,
    nutrient: Nutrient = Nutrient.N,
    season: int = 2026,
    sampled_on: dt.date | None = dt.date(2025, 9, 1),
    area_ha: float = 0.40468564224,
    with_table: bool = True,
) -> CreditsFound:
    """Work out the credit of one input."""
    table = FORAGE.manure if with_table else None
    clock = Clock(*season_dates(season), sampled_on={nutrient.value: sampled_on})
    return organic_credits([organic], table, nutrient, season, clock, area_ha, TODAY)


def lb_acre(found: CreditsFound) -> float:
    """Return the only credit in lb/acre."""
    (line,) = found.lines
    return line.credit.rate_kg_ha / LB_ACRE


def reason(found: CreditsFound) -> str:
    """Return the only reason why nothing was counted."""
    assert found.lines == ()
    (problem,) = found.problems
    return problem.what


# ---------------------------------------------------------------------------------------------
# Manure


@pytest.mark.parametrize(
    ("species", "method", "season", "percent"),
    [
        ("beef", METHOD, 2026, 45),
        ("beef", "Broadcast, incorporated after 96 h", 2026, 25),
        ("beef", METHOD, 2027, 25),
        ("beef", METHOD, 2028, 10),
        ("dairy", "injected sweep", 2026, 55),
        ("swine", "injected knife or coulter", 2026, 70),
        ("Poultry", "broadcast incorporated under 12 h", 2026, 70),
    ],
)
def test_manure_nitrogen_by_species_method_and_year(
    species: str, method: str, season: int, percent: float
) -> None:
    """3 ton x 11 lb = 33 lb N; the table's percent of it."""
    found = count(manure(material=species, method=method), season=season)
    assert lb_acre(found) == pytest.approx(33 * percent / 100)
    first, second = found.lines[0].steps[:2]
    assert first.value == pytest.approx(33)
    assert second.value == pytest.approx(33 * percent / 100)
    assert f"year {season - 2025}" in second.source.row


def test_manure_p_and_k_count_once_and_only_when_the_soil_test_has_not_seen_them() -> None:
    """3 x 7 x 0.80 = 16.8 lb P2O5; 3 x 10 x 0.90 = 27 lb K2O."""
    assert lb_acre(count(manure(), Nutrient.P2O5)) == pytest.approx(16.8)
    assert lb_acre(count(manure(), Nutrient.K2O)) == pytest.approx(27)
    assert count(manure(), Nutrient.P2O5, season=2027) == CreditsFound()
    later = count(manure(), Nutrient.P2O5, sampled_on=dt.date(2026, 4, 1))
    assert (later.lines, later.problems) == ((), ())
    (step,) = later.seen  # said, not passed over: spread 2025-10-18, sampled 2026-04-01
    assert step.what == "beef, 3 ton/acre on 2025-10-18: already seen by the soil sample of 2026-04-01"
    years_after = count(manure(), Nutrient.P2O5, season=2028, sampled_on=dt.date(2026, 4, 1))
    assert (years_after.lines, years_after.problems) == ((), ())
    assert lb_acre(count(manure(), sampled_on=dt.date(2026, 4, 1))) == pytest.approx(
        14.85
    )  # N: no test sees it
    undated = count(manure(), Nutrient.K2O, sampled_on=None)
    assert undated.lines == ()  # the season's start, 2026-01-01, stands in for the date
    assert "before the season began on 2026-01-01: the sample has no date" in undated.seen[0].what


def test_an_amount_for_the_whole_plot_is_shared_over_its_spread_area() -> None:
    """6 tons on 2 acres (0.80937128448 ha) are 3 ton/acre."""
    found = count(manure(amount=Quantity(6, "ton")), area_ha=0.80937128448)
    assert lb_acre(found) == pytest.approx(14.85)


def test_compost_counts_by_the_users_own_share() -> None:
    """2 ton x 20 lb x 15 percent = 6 lb N in the first season; nothing is known of the second."""
    compost = manure(
        material="compost",
        method="surface",
        amount=Quantity(2, "ton/acre"),
        analysis_lb_per_ton={Nutrient.N: 20},
        available_pct={Nutrient.N: 15},
    )
    assert lb_acre(count(compost)) == pytest.approx(6)
    assert lb_acre(count(compost, with_table=False)) == pytest.approx(6)
    later = reason(count(compost, season=2027))
    assert "your usable percent is for the first season" in later
    assert "'compost' is not in the manure table" in later


def test_old_manure_is_not_brought_up_for_ever() -> None:
    """The table prints three years for beef and two for the rest: year 3 of dairy is open, year 4 is over."""
    assert "no figure was read for dairy manure in year 3" in reason(
        count(manure(material="dairy"), season=2028)
    )
    assert count(manure(material="dairy"), season=2029) == CreditsFound()
    assert count(manure(material="beef"), season=2029) == CreditsFound()


def test_missouri_shares() -> None:
    """M5, printed to the pound."""
    case = CASES["M5"]
    total = {Nutrient(name): pounds for name, pounds in case["inputs"]["total_lb"].items()}
    litter = manure(
        material="litter",
        amount=Quantity(1, "ton/acre"),
        analysis_lb_per_ton=total,
        available_pct=dict.fromkeys(total, case["inputs"]["percent"]),
    )
    for nutrient in total:
        answer = case["answer"][nutrient.value]
        # half a pound is printed up: 7,837.5 as 7,838
        assert lb_acre(count(litter, nutrient)) == pytest.approx(answer, abs=case["tolerance"] + 1e-6)


@pytest.mark.parametrize(
    ("found", "offending"),
    [
        (count(manure(material="llama")), "'llama' is not in the manure table (beef, dairy, poultry, swine)"),
        (count(manure(method="thrown")), "'thrown'"),
        (count(manure(material="poultry", method="injected sweep")), "leaves poultry, injected sweep blank"),
        (count(manure(material="dairy"), season=2028), "no figure was read for dairy manure in year 3"),
        (count(manure(analysis_lb_per_ton={})), "states no N"),
        (count(manure(amount=Quantity(900, "gal/acre"))), "900 'gal/acre' is not a weight"),
        (count(manure(applied_on=dt.date(2026, 6, 1))), "2026-06-01, after today (2026-05-20)"),
        (count(manure(available_pct={Nutrient.N: 130})), "130 percent"),
        (count(manure(amount=Quantity(-3, "ton/acre"))), "-3 ton/acre"),
        (count(manure(), with_table=False), "prints no usable shares"),
        (count(manure(amount=Quantity(6, "ton")), area_ha=0.0), "no spread area"),
    ],
)
def test_what_cannot_be_counted_is_named_and_counts_as_nothing(found: CreditsFound, offending: str) -> None:
    assert offending in reason(found)


@pytest.mark.parametrize(
    ("applied_on", "season", "year"),
    [
        (dt.date(2025, 10, 18), 2026, 1),
        (dt.date(2026, 4, 10), 2026, 1),
        (dt.date(2025, 8, 31), 2025, 1),
        (dt.date(2025, 9, 1), 2026, 1),
        (dt.date(2024, 10, 1), 2026, 2),
        (dt.date(2026, 10, 1), 2026, 0),
    ],
)
def test_which_season_of_its_effect(applied_on: dt.date, season: int, year: int) -> None:
    """Our rule: from September on it serves the next year's season first."""
    assert season_year(applied_on, season) == year


# ---------------------------------------------------------------------------------------------
# Legumes


@pytest.mark.parametrize(
    ("previous", "stand", "value"),
    [
        ("soybeans", "", 20),
        ("Field peas", "", 10),
        ("harvested red clover", "", 35),
        ("harvested alfalfa", "4-5 plants/ft2", 75),
        ("harvested alfalfa", "3 plants/ft2", 50),
        ("harvested alfalfa", "1 plant", 0),
        ("harvested alfalfa", "3.5", 75),  # halfway rounds up to 4
    ],
)
def test_sunflower_credits(previous: str, stand: str, value: float) -> None:
    found = FORAGE.legumes[0].credit(previous, stand)
    assert isinstance(found, CreditLine)
    assert found.credit.rate_kg_ha == pytest.approx(value * LB_ACRE)
    assert found.steps[0].value == value
    assert "Sunflower" in texts(found.steps)


def test_a_legume_credit_is_not_guessed() -> None:
    table = FORAGE.legumes[0]
    assert table.credit("red clover", "") is None  # printed for harvested red clover
    assert table.credit("corn", "") is None
    unstated = table.credit("harvested alfalfa", "good")
    assert isinstance(unstated, Missing)
    assert "'good'" in unstated.reason
    outside = table.credit("harvested alfalfa", "9 plants/ft2")
    assert isinstance(outside, Missing)
    assert "'9 plants/ft2' is outside the printed stands" in outside.reason
