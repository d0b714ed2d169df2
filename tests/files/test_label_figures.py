"""Labels as printed: a unit and a basis on every column, nitrogen in two parts, any state's lime score."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from command_line import SEASON, ran_well, run, written


def offered(tmp_path: Path, *lines: str) -> dict[str, Any]:
    file = written(tmp_path / "products.csv", "\n".join(lines) + "\n")
    return {offer["product"]: offer for offer in ran_well("compare", file)["offers"]}


@pytest.mark.parametrize(
    ("columns", "cells", "nutrient", "pounds"),
    [
        # a ton of 2,000 lb each time
        ("n", "3", "N", 60),
        ("N (lb/ton)", "60", "N", 60),
        ("n_kg_per_t", "30", "N", 60),
        ("n_g_per_kg", "30", "N", 60),
        ("p2o5_lb_per_ton", "50", "P2O5", 50),
        # 8.8 % P × 2.29137 = 20.164 % P2O5: superphosphate, labs/fertilizer_labels (vegetablesWA)
        ("p_element", "8.8", "P2O5", 403.28),
        ("k_element_kg_per_t", "200", "K2O", 481.84),  # 20 % K × 1.20460 × 2,000
        ("so3", "29", "S", 232.27),  # 29 % SO3 × 0.40046 = 11.613 % S
        ("mgo_pct", "25", "Mg", 301.52),  # × 0.60304
        ("cao", "14", "Ca", 200.11),  # × 0.71469
    ],
)
def test_each_column_in_its_unit_and_basis(
    columns: str, cells: str, nutrient: str, pounds: float, tmp_path: Path
) -> None:
    """Factors: atomic masses (IUPAC 2021), as in the conversions the sources print."""
    rows = (f"product,form,{columns},package,price", f"X,dry,{cells},1 ton bulk,100")
    found = offered(tmp_path, *rows)["X"]["nutrients_lb"]
    assert found == {nutrient: pytest.approx(pounds, rel=1e-4)}


def test_grams_in_a_litre_and_pounds_in_a_thousand_gallons(tmp_path: Path) -> None:
    """1.2 kg/l: 120 g/l is 10 %; 8.3454 lb in 1,000 gal are 1 kg/m3: 60 lb of 8.3454 lb/gal are 0.7189 %."""
    found = offered(
        tmp_path,
        "product,form,n_g_per_l,n_lb_per_1000_gal,density,package,price",
        "L,liquid,120,,1.2 kg/l,1 ton bulk,100",
        "S,liquid,,60,8.3454 lb/gal,1 ton bulk,100",
    )
    assert found["L"]["nutrients_lb"]["N"] == pytest.approx(200)
    assert found["S"]["nutrients_lb"]["N"] == pytest.approx(2000 * 60 / 8345.4, rel=1e-6)


def test_what_does_not_say_its_basis_is_refused(tmp_path: Path) -> None:
    file = written(tmp_path / "p.csv", "product,form,n,p,k,package,price\nX,dry,10,8,20,1 ton bulk,100\n")
    done = run("compare", file)
    assert done.code == 2
    assert done.says("P or P2O5", "p_element")
    assert done.says("K or K2O", "k2o")


def test_two_columns_that_contradict_each_other(tmp_path: Path) -> None:
    file = written(tmp_path / "p.csv", "product,form,s,so3,package,price\nX,dry,13,29,1 ton bulk,100\n")
    assert run("compare", file).says("so3", "13", "Correct one")


def test_nitrogen_of_manure_in_two_parts(tmp_path: Path) -> None:
    """12 + 48 lb/ton are 60 lb; available 90 % of the ammonium, 30 % of the organic: 25.2 / 60 = 42 %."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own", "--season", SEASON)
    head = "product,form,material,nh4_n_lb_per_ton,organic_n_lb_per_ton"
    head += ",available_nh4_n_pct,available_organic_n_pct"
    file = written(
        tmp_path / "p.csv", f"{head},package,price\nLitter,dry,poultry,12,48,90,30,1 ton bulk,30\n"
    )
    ran_well("import", path, file)
    said = run("show", path, "product", "Litter", "--all", as_json=False).text
    assert " 42" in said
    assert ran_well("compare", path)["offers"][0]["nutrients_lb"]["N"] == pytest.approx(60)


# ---------------------------------------------------------------------------------------------
# Lime


@pytest.mark.parametrize(
    ("columns", "cell", "basis", "pounds"),
    [
        ("rnv", "67", "RNV", 1340),
        ("rnv_lb_per_ton", "1340", "RNV", 1340),
        ("ecc", "55 %", "ECC", 1100),
        ("env", "80", "ENV", 1600),
        ("ep", "86.9", "EP", 1738),
        ("ai", "75", "AI", 1500),
        ("ecce", "62", "ECCE", 1240),
        ("ecce_lb_per_ton", "1240", "ECCE", 1240),
        ("enp", "1100", "ENP", 1100),
        ("enp_pct", "55", "ENP", 1100),
        ("enm", "400", "ENM", 400),
    ],
)
def test_any_printed_score_can_be_bought(
    columns: str, cell: str, basis: str, pounds: float, tmp_path: Path
) -> None:
    """A percent of 2,000 lb; a ton at $42 costs 42 / pounds × 2,000 an effective ton."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own", "--season", SEASON)
    file = written(
        tmp_path / "p.csv", f"product,form,{columns},package,price\nLime,lime,{cell},1 ton bulk,42\n"
    )
    ran_well("import", path, file)
    (offer,) = ran_well("compare", path)["offers"]
    assert (offer["effective_lime_basis"], offer["effective_lime_lb"]) == (basis, pytest.approx(pounds))
    assert offer["price_per_effective_ton"] == pytest.approx(42 / pounds * 2000)


def test_neutralizing_value_on_the_oxide_scale(tmp_path: Path) -> None:
    """NV 50 as CaO × 1.78480 = 89.24 % of calcium carbonate; NV alone may be either."""
    file = written(tmp_path / "p.csv", "product,form,nv_cao,package,price\nLime,lime,50,1 ton bulk,42\n")
    (offer,) = ran_well("compare", file)["offers"]
    assert offer["effective_lime_lb"] == pytest.approx(1784.8, rel=1e-4)
    written(file, "product,form,nv,cce,package,price\nLime,lime,50,,1 ton bulk,42\n")
    assert run("compare", file).says("nv", "CaO or calcium carbonate")


SIEVED = "product,form,cce,moisture,passing_8,passing_10,passing_20,passing_50,passing_60,package,price\n"


@pytest.mark.parametrize(
    ("basis", "pounds"),
    [
        # 90 % CCE; 95 % through 8, 92 through 10, 80 through 20, 60 through 50, 50 through 60; 4 % moisture.
        # Nebraska: 5 × 0.1 + 35 × 0.4 + 60 = 74.5 %; × 0.9 × 2,000 = 1,341
        ("ECC (Nebraska)", 1341),
        # Ontario: (92 − 50) × 0.4 + 50 = 66.8 %; × 0.9 × 2,000 = 1,202.4
        ("AI", 1202.4),
        # Ohio: (95 − 80) × 0.2 + (80 − 50) × 0.6 + 50 = 71 %; × 0.9 × 0.96 × 2,000 = 1,226.88
        ("ENP (Ohio)", 1226.88),
    ],
)
def test_the_formulas_of_nebraska_ontario_and_ohio(basis: str, pounds: float, tmp_path: Path) -> None:
    """Univ. of Nebraska, Soils Part 4; OMAFRA, Sources of Agricultural Limestone; BC factsheet 637.200-2."""
    file = written(tmp_path / "p.csv", SIEVED + "Lime,lime,90,4,95,92,80,60,50,1 ton bulk,42\n")
    (score,) = ran_well("buy", "lime", file, "Lime", "--basis", basis)["scores"]
    assert score["lb_per_ton"] == pytest.approx(pounds)


def test_the_ohio_method_as_british_columbia_prints_it(tmp_path: Path) -> None:
    """Lime A of factsheet 637.200-2: 78.8 below 60, 10.0 at 20 to 60, 2.4 at 8 to 20: fineness 85.28 %."""
    rows = "product,form,cce,moisture,passing_8,passing_20,passing_60,package,price\n"
    file = written(tmp_path / "p.csv", rows + "A,lime,100,0,91.2,88.8,78.8,1 ton bulk,42\n")
    (score,) = ran_well("buy", "lime", file, "A", "--basis", "ENP (Ohio)")["scores"]
    assert score["lb_per_ton"] == pytest.approx(85.28 * 20)
    assert "second hand" in score["reason"]


def test_a_formula_of_ones_own_with_its_source(tmp_path: Path) -> None:
    """The same lime: (92 − 50) × 0.4 + 50 = 66.8 %; × 0.9 × 2,000 = 1,202.4; less 4 % moisture 1,154.304."""
    file = written(tmp_path / "p.csv", SIEVED + "Lime,lime,90,4,95,92,80,60,50,1 ton bulk,42\n")
    own = ("buy", "lime", file, "Lime", "--formula", "10:0.4; 60:1")
    said = ran_well(*own, "--formula-source", "County bulletin 7, table 2")
    assert said["scores"][0]["lb_per_ton"] == pytest.approx(1202.4)
    assert any("County bulletin 7" in step["source"] for step in said["steps"])
    (dry,) = ran_well(*own, "--formula-source", "County bulletin 7", "--dry")["scores"]
    assert dry["lb_per_ton"] == pytest.approx(1154.304)
    assert run(*own).says("needs its source")
    assert run(*own[:-1], "60:1; 10:0.4", "--formula-source", "x").says("cannot be")
    assert run(*own[:-1], "fine", "--formula-source", "x").says("'fine'", "10:0.4; 60:1")


# ---------------------------------------------------------------------------------------------
# Side by side


def test_offers_are_sorted_and_the_cheapest_is_marked_in_the_propertys_units(tmp_path: Path) -> None:
    """Urea 28.50 / 23 lb = 1.239, 50 kg at 40 / 50.7 lb = 0.789; a ton of lime is a tonne in a
    metric property: 1,100 lb ENP per short ton are 55 %, 42 / 0.55 = 76.36 a tonne."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own", "--season", SEASON, "--units", "metric")
    ran_well("set", path, "settings", "currency=EUR")
    file = written(
        tmp_path / "p.csv",
        "product,form,n,p2o5,enp,package,price\nLime,lime,,,1100,1 ton bulk,42\n"
        "Urea,dry,46,,,50 lb bag,28.50\nUrea big,dry,46,,,50 kg bag,40\nTSP,dry,,46,,50 lb bag,30\n",
    )
    ran_well("import", path, file)
    said = ran_well("compare", path)
    assert [offer["product"] for offer in said["offers"]] == ["Urea big", "Urea", "TSP", "Lime"]
    names = {offer["offer_id"]: offer["product"] for offer in said["offers"]}
    assert {what: names[ident] for what, ident in said["cheapest"].items()} == {
        "N": "Urea big",
        "P2O5": "TSP",
        "lime ENP": "Lime",
    }
    assert said["currency"] == "EUR"
    text = run("compare", path, as_json=False).text
    assert "76.36/t ENP *" in text
    assert "€" in text or "EUR" in text
    assert "Price per kg" in text
    assert "/ton" not in text
