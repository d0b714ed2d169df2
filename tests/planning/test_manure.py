"""Manure, litter and compost as materials a job can carry: what a crop can use of them, caps, later years.

Published: Montana State University, CNMP worksheet, step 5 (usable nitrogen of a solid manure, tons for a
need); University of Minnesota Extension, manure nutrient availability (beef, worked in within 12 to 96 hours:
45 % of the nitrogen in the first season, 25 % in the second; 80 % of the P2O5, 90 % of the K2O); Livestock
and Poultry Environmental Learning Center, Manure testing conversions (2.9 lb a ton is 12.2 lb in 1,000
gallons of 8.3 lb).
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from command_line import SEASON, box, geojson, ran_well, run, written
from plan_cases import bag, plot, ware

from loamwright.planning.inputs import FixedPass, Terms, Ware
from loamwright.planning.planner import make_plan
from loamwright.planning.records import Outcome
from loamwright.supplies.products import compare, supply_fractions
from loamwright.supplies.records import Form, Offer, Product
from loamwright.units import ACRE_M2, HA_M2, LB_KG, TON_KG
from loamwright.values import Nutrient, Supply

ACRE_HA = ACRE_M2 / HA_M2


def manure(available_pct: dict[Nutrient, float], **lb_per_ton: float) -> Ware:
    analysis = {Nutrient(key): value / 20 for key, value in lb_per_ton.items()}
    product = Product("manure", Form.DRY, analysis, material="beef", available_pct=available_pct)
    return Ware(product, supply_fractions(product, ()))


def tons_planned(of: Ware, **need_lb: float) -> float:
    field = plot("a", ACRE_HA, **{key: lb * LB_KG for key, lb in need_lb.items()})
    load = bag("manure", "10", TON_KG, divisible=True)
    plan = make_plan([field], [of], [load])
    assert plan.outcome is Outcome.PROVED
    return plan.lines[0].mass_kg / TON_KG


def test_tons_for_a_need_as_published() -> None:
    # step 5: 21 lb N a ton, of which 8.53 can be used; 160 lb to the acre need 18.8 tons (160 ÷ 8.53 = 18.76)
    assert tons_planned(manure({Nutrient.N: 853 / 21}, N=21), N=160) == pytest.approx(18.8, abs=0.05)
    # the same: 50 lb P2O5 at 18 lb a ton, 75 lb K2O at 26, all of it counted: 2.8 and 2.9 tons
    all_of_it = {Nutrient.P2O5: 100.0, Nutrient.K2O: 100.0}
    assert tons_planned(manure(all_of_it, P2O5=18), P2O5=50) == pytest.approx(2.8, abs=0.05)
    assert tons_planned(manure(all_of_it, K2O=26), K2O=75) == pytest.approx(2.9, abs=0.05)


def test_what_nobody_says_is_usable_is_not_counted() -> None:
    # 21 lb N a ton without a share: the manure serves its K2O, and urea brings the nitrogen
    silent = manure({Nutrient.K2O: 90.0}, N=21, K2O=20)
    field = plot("a", 1.0, N=46.0, K2O=18.0)
    goods = [silent, ware("urea", N=46)]
    plan = make_plan([field], goods, [bag("manure", "10", TON_KG, divisible=True), bag("urea", "20")])
    mass = {line.product: line.mass_kg for line in plan.lines}
    assert mass["manure"] == pytest.approx(18.0 / (0.01 * 0.9))
    assert mass["urea"] == pytest.approx(100.0)


@pytest.mark.parametrize(("cap_kg", "share"), [(50.0, 1.0), (40.0, 0.8)])
def test_all_of_the_phosphate_counts_against_its_cap(cap_kg: float, share: float) -> None:
    # 0.9 % P2O5, four fifths usable: 40 kg of usable P2O5 are 5,556 kg, which hold 50 kg in all. A cap of 50
    # lets them on; one of 40 lets on 4,444 kg, and 32 kg, four fifths of the need, can be used.
    litter = manure({Nutrient.P2O5: 80.0}, P2O5=18)
    field = plot("a", 1.0, caps={Supply.P2O5: cap_kg}, P2O5=40.0)
    plan = make_plan([field], [litter], [bag("manure", "10", TON_KG, divisible=True)])
    assert sum(row.supplied_kg for row in plan.coverage) == pytest.approx(40.0 * share, rel=1e-4)
    assert (plan.outcome is Outcome.IMPOSSIBLE) is (share < 1)


def test_a_fixed_load_over_the_cap_is_refused() -> None:
    litter = manure({Nutrient.P2O5: 80.0}, P2O5=18)
    field = plot("a", 1.0, caps={Supply.P2O5: 40.0}, P2O5=40.0)
    terms = Terms(fixed=(FixedPass("a", "manure", 5000.0),))  # 45 kg P2O5, of which 36 can be used
    plan = make_plan([field], [litter], [bag("manure", "10", TON_KG, divisible=True)], terms)
    assert any("over the cap of 40" in problem.what for problem in plan.problems)


# ---------------------------------------------------------------------------------------------
# A property with a heap to spread


def heap(folder: Path, columns: str, row: str) -> Path:
    """Import a property with one clover plot of P2O5 and K2O needs, and one offered manure."""
    crop = {"crop": "red clover", "yield_goal": "2 ton/acre", "seeding": "no", "legume_pct": 90}
    plots = geojson(folder / "plots.geojson", ({"plot_id": "A-1", **crop}, [box()]))
    sampled = dt.date(SEASON, 1, 2)
    tests = written(
        folder / "tests.csv",
        "plot_id,sampled_on,depth,ph,p,p_unit,p_extractant,k,k_unit,k_extractant\n"
        f"A-1,{sampled},0-6 in,6.8,9,ppm,Bray P1,95,ppm,ammonium acetate\n",
    )
    products = written(
        folder / "products.csv",
        f"product,form,material,method,package,price,seller,density,{columns}\nHeap,dry,{row}\n",
    )
    file = folder / "p.gpkg"
    run("new", file, "--name", "Heap", "--season", SEASON)
    taken = run("import", file, plots, tests, products)
    assert taken.code in (0, 1), taken.text
    return file


def job_of(file: Path) -> Any:
    return run("plan", file).data["jobs"][0]


def line_of(file: Path) -> tuple[Any, list[str]]:
    done = run("plan", file)
    lines = [line for line in done.data["lines"] if line["product"] == "Heap"]
    return (lines[0] if lines else None), done.problems


BEEF = "beef,broadcast incorporated 12-96 h,1 ton bulk,6,Neighbour,"


def test_the_guidelines_shares_serve_where_none_are_stated(tmp_path: Path) -> None:
    # Red clover, 2 tons, Bray P1 9 ppm, K 95 ppm: 25 lb P2O5 and 40 lb K2O an acre (Minnesota). A beef manure
    # of 7 lb P2O5 and 40 lb K2O a ton: 5.6 and 36 lb usable. P2O5 would take 25 ÷ 5.6 = 4.46 tons; with 4.46
    # tons come 161 lb K2O, past the cap on it (40 + the larger of 10 and 10 = 50, that is 1.39 tons).
    file = heap(tmp_path, "p2o5_lb_per_ton,k2o_lb_per_ton", f"{BEEF},7,40")
    shown = ran_well("show", file, "product", "Heap")
    assert "available_k2o_pct" in str(shown)
    line, _problems = line_of(file)
    assert line is not None
    # the cap counts what can be used of the K2O: 1.39 tons at the most
    assert line["rate_lb_per_acre"] / 2000 == pytest.approx(50 / 36, rel=0.01)
    assert job_of(file)["placement"] == "broadcast incorporated 12-96 h"
    said = " ".join(run("explain", file, "A-1", as_json=False).text.split())
    assert "K2O usable in the first season in 1 lb of Heap: 0.02 by analysis × 90 %" in said


def test_a_sheet_by_the_thousand_gallons(tmp_path: Path) -> None:
    # 12.2 lb in 1,000 gallons of 8.3 lb is 2.94 lb a ton: 0.147 %
    file = heap(tmp_path, "n_lb_per_1000_gal", "dairy,injected,1000 gal,60,Neighbour,8.3 lb/gal,12.2")
    shown = ran_well("show", file, "product", "Heap")
    percent = next(row for row in shown["fields"] if row["name"] == "n")["value"]
    assert float(str(percent).rstrip(" %")) == pytest.approx(0.147, abs=0.001)


def test_two_figures_that_differ_are_asked(tmp_path: Path) -> None:
    table = "product,form,material,package,price,n,n_lb_per_ton\nHeap,dry,beef,1 ton bulk,6,1.0,11\n"
    file = tmp_path / "p.gpkg"
    run("new", file, "--name", "Heap")
    refused = run("import", file, written(tmp_path / "products.csv", table))
    assert refused.code == 2
    assert refused.says("n_lb_per_ton", "0.55 %", "n says 1 %", "Correct one of them")


def test_a_material_the_guideline_does_not_print_is_named(tmp_path: Path) -> None:
    row = "goat,heaped,1 ton bulk,6,Neighbour,,7"
    line, problems = line_of(heap(tmp_path, "p2o5_lb_per_ton", row))
    assert line is None
    named = [one for one in problems if one.startswith("product Heap, P2O5")]
    assert len(named) == 1
    assert "goat" in named[0]
    assert "available_p2o5_pct" in named[0]


def test_a_share_the_user_states_goes_first(tmp_path: Path) -> None:
    # 7 lb P2O5 a ton, half usable by the user's lab: 25 lb take 7.14 tons, which hold 50 lb in all; the cap
    # on P2O5 (25 + the larger of 6.25 and 10 = 35 lb in all) lets on 5 tons
    file = heap(tmp_path, "p2o5_lb_per_ton,available_p2o5_pct", f"{BEEF},7,50")
    line, _problems = line_of(file)
    assert line["rate_lb_per_acre"] / 2000 == pytest.approx(35 / 7, rel=0.01)


def test_what_was_spread_feeds_the_next_season(tmp_path: Path) -> None:
    # 10 tons last spring on 2.1257 acres, 11 lb N a ton: 51.75 lb an acre, a quarter of it this season: 12.94
    file = heap(tmp_path, "n_lb_per_ton", f"{BEEF},11")
    last = dt.date(SEASON - 1, 4, 20)
    run("record", file, *("--plot", "A-1", "--product", "Heap", "--amount", "10 ton", "--on", last))
    run("set", file, "cropping", f"A-1 {SEASON}", "crop=grasses for hay and pasture", "yield_goal=4 ton/acre")
    said = " ".join(run("explain", file, "A-1", "N", as_json=False).text.split())
    assert "11 lb N per ton = 51.75 lb N/acre" in said
    assert "25 percent of it usable in season 2 = 12.94 lb N/acre" in said


def test_planned_manure_is_held_away_from_water(tmp_path: Path) -> None:
    # C-10 asks for the distances of a published example; the ditch runs along the plot's edge
    file = heap(tmp_path, "p2o5_lb_per_ton", f"{BEEF},7")
    ditch = geojson(
        tmp_path / "keepouts.geojson", ({"kind": "stream", "keepout_id": "W"}, [box(-93.049, 46.05)])
    )
    run("import", file, ditch)
    plan = run("plan", file).data
    assert any(line["product"] == "Heap" for line in plan["lines"])
    assert any(one["rule"] == "C-10" for one in plan["cautions"])


def test_a_manures_price_is_that_of_what_a_crop_can_use() -> None:
    """Litter of 62 lb N a ton (3.1 %) at $28, 60 % of it usable: 28 ÷ 37.2 = $0.753 a pound, and not 0.45.

    P2O5, whose usable share nobody stated, has no price: it is not zero and not all.
    """
    pound, ton = 0.45359237, 907.18474
    litter = Product(
        "litter",
        Form.DRY,
        {Nutrient.N: 3.1, Nutrient.P2O5: 2.5},
        material="poultry",
        available_pct={Nutrient.N: 60},
    )
    row = compare([litter], [Offer("1", "litter", "1 ton bulk", ton, Decimal(28))]).offers[0]
    assert row.price_per_kg[Nutrient.N] * pound == pytest.approx(28 / 37.2, rel=1e-9)
    assert Nutrient.P2O5 not in row.price_per_kg
    assert row.nutrients_kg[Nutrient.P2O5] == pytest.approx(50 * pound)
    assert any("is not stated: it has no price" in step.what for step in row.steps)
