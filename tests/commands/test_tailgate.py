"""The published examples of spreading by command, and the price questions by hand arithmetic."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from command_line import ran_well, run

PUBLISHED = Path(__file__).parents[1] / "published" / "spreading_examples.csv"


def _rows(kind: str) -> list[dict[str, str]]:
    with PUBLISHED.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == kind]
    return [row | dict(pair.split("=") for pair in row["inputs"].split("; ")) for row in rows]


def _is(found: float, row: dict[str, str]) -> bool:
    """Within the tolerance the published figure was printed to; its source is named in the row."""
    return abs(found - float(row["printed"])) <= float(row["tolerance"])


@pytest.mark.parametrize("row", _rows("course length"), ids=lambda row: row["id"])
def test_course_length(row: dict[str, str]) -> None:
    found = ran_well("tailgate", "course", f"{row['width_in']} in", "--area", f"{row['sqft']} ft2")
    assert _is(found["length_ft"], row)


@pytest.mark.parametrize("row", _rows("field capacity"), ids=lambda row: row["id"])
def test_acres_an_hour(row: dict[str, str]) -> None:
    swath, speed, share = f"{row['width_ft']} ft", f"{row['mph']} mph", f"{row['efficiency_pct']} %"
    found = ran_well("tailgate", "hour", "--swath", swath, "--speed", speed, "--efficiency", share)
    assert _is(found["capacity_acres_per_hour"], row)


@pytest.mark.parametrize("row", _rows("rate from flow"), ids=lambda row: row["id"])
def test_rate_from_flow(row: dict[str, str]) -> None:
    place = ("--swath", f"{row['width_in']} in", "--speed", f"{row['mph']} mph")
    assert _is(ran_well("tailgate", "flow", f"{row['gpm']} gal/min", *place)["rate_gal_per_acre"], row)


@pytest.mark.parametrize("row", _rows("tons per acre from a sheet"), ids=lambda row: row["id"])
def test_a_catch_on_a_sheet(row: dict[str, str]) -> None:
    found = ran_well("tailgate", "rate", f"{row['lb']} lb", f"{row['sqft']} ft2")
    assert _is(found["rate_lb_per_acre"] / 2000, row)


@pytest.mark.parametrize("unit", ["gal", "lb"])
def test_another_speed(unit: str) -> None:
    """NC State turf: at the same pressure twice the speed turns 20 gal/acre into 10; by weight alike."""
    found = ran_well("tailgate", "change", f"20 {unit}/acre", "--tested", "3 mph", "--driven", "6 mph")
    assert found[f"rate_{unit}_per_acre"] == pytest.approx(10)
    assert found["change_pct"] == pytest.approx(-50)


def test_a_tarp_of_56_inches_is_a_two_thousandth_of_an_acre() -> None:
    """Iowa State Extension (J. Lorimor, 2001): so pounds on it are tons an acre."""
    found = ran_well("tailgate", "tarp", "--rate", "3 ton/acre")
    assert 1 / found["area_acres"] == pytest.approx(2000, abs=0.5)
    assert found["caught_lb"] == pytest.approx(3, abs=0.002)


def test_a_flow_by_weight_another_width_and_the_side_of_a_tarp() -> None:
    # 5 mph are 440 ft/min; × 20 ft / 43,560 = 0.20202 acre/min; 12 lb/min / 0.20202 = 59.4 lb/acre
    flow = ran_well("tailgate", "flow", "12 lb/min", "--swath", "20 ft", "--speed", "5 mph")
    assert flow["rate_lb_per_acre"] == pytest.approx(59.4)
    # the same flow over 24 ft in place of 20: 120 × 20 / 24 = 100
    wider = ran_well("tailgate", "change", "120 lb/acre", "--tested-swath", "20 ft", "--swath", "24 ft")
    assert wider["rate_lb_per_acre"] == pytest.approx(100)
    # 43.56 ft2 = 6.6 ft × 6.6 ft
    assert ran_well("tailgate", "tarp", "--area", "43.56 ft2")["side_ft"] == pytest.approx(6.6)
    # 50 lb at 120 lb/acre go over 5/12 acre, whatever the width
    assert ran_well("tailgate", "bag", "50 lb", "120 lb/acre")["area_acres"] == pytest.approx(5 / 12)


def test_a_stopwatch_a_bag_and_trays() -> None:
    # 100 ft in 17 s: 100 / 17 × 3600 / 5280 = 4.0107 mph
    assert ran_well("tailgate", "speed", "100 ft", "17")["speed_mph"] == pytest.approx(4.0107, abs=1e-4)
    assert ran_well("tailgate", "speed", "100 ft", "0:17")["speed_mph"] == pytest.approx(4.0107, abs=1e-4)
    # 50 lb at 120 lb/acre: 0.41667 acre; × 43,560 / 20 ft = 907.5 ft
    bag = ran_well("tailgate", "bag", "50 lb", "120 lb/acre", "--swath", "20 ft")
    assert (bag["area_acres"], bag["length_ft"]) == (pytest.approx(5 / 12), pytest.approx(907.5))
    # 10 12 11 9 13: mean 11, squares 1+1+0+4+4 = 10, sd = √(10/4) = 1.5811, CV 14.374 %
    even = ran_well("tailgate", "even", 10, 12, 11, 9, 13)
    assert even["variation_pct"] == pytest.approx(14.3739, abs=1e-3)
    with_units = ran_well("tailgate", "even", "10 g", "12 g", "0.011 kg", "9 g", "13 g")
    assert with_units["variation_pct"] == pytest.approx(14.3739, abs=1e-3)
    # 14 fl oz on 1/128 acre are 14 gal/acre (LSU AgCenter, Ounces Equal Gallons)
    caught = ran_well("tailgate", "rate", "14 fl oz", "340.3125 ft2")
    assert caught["rate_gal_per_acre"] == pytest.approx(14)


def test_a_share_of_an_acre_and_a_run_are_areas() -> None:
    # LSU AgCenter, Ounces Equal Gallons: 14 fl oz on 1/128 acre are 14 gal/acre
    assert ran_well("tailgate", "rate", "14 fl oz", "1/128 acre")["rate_gal_per_acre"] == pytest.approx(14)
    # 43,560 / 10 / 20 ft = 217.8 ft
    course = ran_well("tailgate", "course", "20 ft", "--area", "1/10 acre")
    assert course["length_ft"] == pytest.approx(217.8)
    # 43,560 / 1,000 = 43.56 sq ft, a square of 6.6 ft
    assert ran_well("tailgate", "tarp", "--area", "1/1000 acre")["side_ft"] == pytest.approx(6.6)
    # UC (load method): load / (distance × width / 43,560) = 50 / (400 × 20 / 43,560) = 272.25 lb/acre
    run_of = ran_well("tailgate", "rate", "50 lb", "20 ft x 400 ft")
    assert run_of["rate_lb_per_acre"] == pytest.approx(272.25)


def test_a_jug_goes_as_far_as_its_gallons() -> None:
    # 2.5 / 12 = 0.208333 acre; × 43,560 / 20 ft = 453.75 ft
    jug = ran_well("tailgate", "bag", "2.5 gal", "12 gal/acre", "--swath", "20 ft")
    assert (jug["area_acres"], jug["length_ft"]) == (pytest.approx(2.5 / 12), pytest.approx(453.75))


def test_trays_in_mixed_units_are_told_in_that_of_the_first() -> None:
    # 14, 15 and (1 pt) 16 fl oz: mean 15, squares 1 + 0 + 1 = 2, sd = √(2/2) = 1, CV 1/15 = 6.667 %
    even = ran_well("tailgate", "even", "14 fl oz", "15 fl oz", "1 pt")
    assert even["variation_pct"] == pytest.approx(100 / 15)
    assert [step["value"] for step in even["steps"][:2]] == [pytest.approx(15), pytest.approx(1)]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (("even", "1", "2"), ("2 trays",)),
        (("even", "0", "0", "0"), ("nothing",)),
        (("course", "0 ft"), ("0",)),
        (("speed", "100 ft", "0"), ("0",)),
        (("rate", "3", "21.8 ft2"), ("3",)),
        (("rate", "3 acre", "21.8 ft2"), ("3 acre", "neither")),
        (("rate", "3 lb", "1/0 acre"), ("1/0 acre", "1/128 acre")),
        (("even", "14 fl oz", "15 g", "13 fl oz"), ("by weight", "by volume")),
        (("bag", "50 lb", "12 gal/acre"), ("50 lb", "12 gal/acre", "both by weight")),
        (("change", "20 gal", "--tested", "3 mph", "--driven", "6 mph"), ("20 gal", "neither")),
        (("flow", "3 gal", "--swath", "20 ft", "--speed", "5 mph"), ("3 gal",)),
        (("hour", "--swath", "20 ft", "--speed", "5 mph", "--efficiency", "170 %"), ("efficiency",)),
        (("tarp", "5 ft", "--area", "20 ft2"), ("side and area",)),
        (("change", "100 lb/acre", "--tested", "3 mph"), ("neither",)),
    ],
)
def test_what_cannot_be_is_told(typed: tuple[str, ...], words: tuple[str, ...]) -> None:
    ran = run("tailgate", *typed)
    assert ran.code == 2
    assert ran.says(*words), ran.text


def test_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ran_well("tailgate", "rate", "3 lb", "21.8 ft2")
    assert list(tmp_path.iterdir()) == []


# ---------------------------------------------------------------------------------------------
# Price questions


def test_forms_are_restated_by_atomic_weights() -> None:
    """Against molmass: K2O holds 83.0 % K, P2O5 43.6 % P; CaO counts as 1.785 times its weight of CaCO3."""
    from molmass import Formula

    def mass(text: str) -> float:
        return float(Formula(text).mass)

    def of(amount: str, form: str, other: str) -> float:
        return float(ran_well("buy", "restate", amount, form, "--as", other)["amount"])

    assert of("100", "K", "K2O") == pytest.approx(100 * mass("K2O") / (2 * mass("K")), rel=1e-4)
    assert of("100", "k2o", "k") == pytest.approx(100 * 2 * mass("K") / mass("K2O"), rel=1e-4)
    assert of("100", "P2O5", "P") == pytest.approx(100 * 2 * mass("P") / mass("P2O5"), rel=1e-4)
    assert of("100", "CaO", "CaCO3") == pytest.approx(100 * mass("CaCO3") / mass("CaO"), rel=1e-4)
    assert of("100", "Ca(OH)2", "CaCO3") == pytest.approx(100 * mass("CaCO3") / mass("CaO2H2"), rel=1e-4)
    # of a ton of 2,000 lb: 1,240 lb ECCE are 62 %; Iowa's example, 1,262.24 lb, 63.112 %
    assert of("1240", "lb/ton", "%") == pytest.approx(62)
    assert of("62", "%", "lb/ton") == pytest.approx(1240)
    assert run("buy", "restate", "100", "K", "--as", "P").code == 2


def test_worth_carrying_and_hauling_by_hand() -> None:
    prices = ("--reference", "N=0.62/lb", "--reference", "P2O5=0.50/lb")
    # 50 × 0.62 + 20 × 0.50 = 41.00
    assert ran_well("buy", "worth", "N=50 lb", "P2O5=20 lb", *prices)["worth"] == pytest.approx(41)
    # 1,000 × 8 % × 6/12 = 40
    carry = ran_well("buy", "carry", "1000", "--months", "6", "--rate", "8 %")
    assert (carry["charge"], carry["worth_later"]) == (pytest.approx(40), pytest.approx(1040))
    # 52 tons in loads of 20: 3 loads × 30 miles × 2 × 4.50 = 810
    haul = ran_well("buy", "haul", "30 miles", "52 tons", "--load", "20 tons", "--charge", "4.50/mile")
    assert (haul["cost"], haul["loads"]) == (pytest.approx(810), 3)
    exact = ran_well("buy", "haul", "10 miles", "40 tons", "--load", "20 tons", "--charge", "1/mile")
    assert exact["loads"] == 2


def test_a_lime_by_the_value_of_each_size() -> None:
    """Western Australia DPIRD, Comparing limes, 2018, Tables 1, 2: 5 % at 90 is 4.5, 48 % at 90.5 is 43.4."""
    found = ran_well("buy", "sizes", "0-0.125=5@90", "0.125-0.25=48@90.5")
    assert [step["value"] for step in found["steps"][:2]] == [pytest.approx(4.5), pytest.approx(43.44)]
    assert found["efficiency_pct"] == pytest.approx(4.5 + 43.44)


def test_two_offers_by_the_ton(tmp_path: Path) -> None:
    file = tmp_path / "p.csv"
    rows = "product,n,package,price\nUrea,46,50 lb bag,28.50\nUrea bulk,46,1 ton bulk,612\n"
    file.write_text(rows, encoding="utf-8")
    found = ran_well("buy", "difference", file, "50 lb", "1 ton")
    # 28.50 / 50 × 2000 − 612 = 528
    assert found["difference_per_ton"] == pytest.approx(528)


def test_which_version_it_is() -> None:
    from loamwright.version import __version__

    assert run("--version", as_json=False).text == f"loamwright {__version__}"
