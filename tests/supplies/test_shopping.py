"""The questions at the store, asked through the commands, against printed answers and hand arithmetic.

Each command is run as a user runs it, on a small products file, and its ``--json`` is held against figures
from outside the program: worked examples of extension publications (named beside each; the same ids as in
``published/materials_worked_examples.csv`` and ``published/lime_examples.csv``) or arithmetic written out.
Prices and sellers are invented.
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from command_line import ran_well, run, written
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from loamwright.commands.answer import read
from loamwright.commands.cli import app
from loamwright.errors import InputError, UnitError
from loamwright.files.pricelists import products_from
from loamwright.files.reference import known_materials
from loamwright.files.textrows import read_table
from loamwright.supplies import asking
from loamwright.units import LB_ACRE_KG_HA, LB_KG
from loamwright.values import LimeBasis

PRODUCTS = """\
product,form,n,p2o5,k2o,s,ingredient,ingredient_pct,density,package,price,seller,max_count,delivery_fee,max_rate
Urea 46-0-0,dry,46,0,0,,,,,50 lb bag,28.50,Hill Feed (invented),,,200 lb/acre
Jug of urea solution,liquid,,,,,urea,32.5,9 lb/gal,2.5 gal jug,18,Valley Hardware (invented),,,
MAP 11-52-0,dry,11,52,0,,,,,50 lb bag,34.00,Hill Feed (invented),,,
DAP 18-46-0,dry,18,46,0,,,,,50 lb bag,32.00,Hill Feed (invented),,,
Superphosphate 0-46-0,dry,0,46,0,,,,,50 lb bag,33.50,Hill Feed (invented),,,
Superphosphate 0-20-0,dry,0,20,0,,,,,50 lb bag,,Hill Feed (invented),,,
Potash 0-0-60,dry,0,0,60,,,,,50 lb bag,21.00,Hill Feed (invented),,,
Potash 0-0-60,dry,0,0,60,,,,,1 ton bulk,590,Co-op (invented),,45,
Lawn 28-14-5,dry,28,14,5,,,,,50 lb bag,40,Valley Hardware (invented),6,,
Garden 8-8-8,dry,8,8,8,,,,,50 lb bag,20,Valley Hardware (invented),,,
UAN 28-0-0,liquid,28,0,0,,,,10.6 lb/gal,275 gal tote,1080,Co-op (invented),,60,
Gypsum,dry,0,0,0,17,,,,40 lb bag,8.95,Valley Hardware (invented),,,
"""

LIMES = """\
product,form,cce,passing_4,passing_8,passing_60,moisture,enp,enp_state,enm,dolomitic,package,price,seller
Iowa stone,lime,92,100,90,55,2,,,,,1 ton bulk,30,Quarry (invented)
Ag lime,lime,92,,96,48,4,1100,,,no,1 ton bulk,42,Quarry (invented)
Pellets,lime,94,,100,95,0.5,1650,,,,50 lb bag,6.75,Hill Feed (invented)
Missouri stone,lime,65,,,,,,,400,,1 ton bulk,,Quarry (invented)
Ohio stone,lime,,,,,,1500,Ohio,,,1 ton bulk,35,Quarry (invented)
"""

#: Duryee, A Living from the Land: a home mix; two N contents assumed from the range of the time. And E177.
HOME_MIX = """\
product,form,n,p2o5,k2o,package,price
nitrate of soda,dry,16,,,,
sulphate of ammonia,dry,20.5,,,,
tankage,dry,7,,,,
superphosphate,dry,,16,,,
muriate,dry,,,50,,
Mixed 5.77-6-5,dry,5.77,6,5,1 ton,40
"""


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("store")
    texts = {"products": PRODUCTS, "limes": LIMES, "mix": HOME_MIX}
    return {name: str(written(folder / f"{name}.csv", text)) for name, text in texts.items()}


def answer(*args: str, code: int = 0) -> dict[str, Any]:
    done = run("buy", *args)
    assert done.code == code, done.text
    data: dict[str, Any] = done.data
    return data


def told(*args: str) -> str:
    """What a person reads, with blanks squeezed."""
    done = run("buy", *args, as_json=False)
    assert done.code in (0, 1), done.text
    return done.text


def printed_csv(*args: str) -> str:
    """The rows that ``--csv`` prints, with their line ends."""
    done = CliRunner().invoke(app, ["buy", "materials", *args, "--csv"])
    assert done.exit_code == 0, done.output
    return done.stdout


def step_values(data: dict[str, Any], unit: str) -> list[float]:
    return [step["value"] for step in data["steps"] if step["unit"] == unit]


# ---------------------------------------------------------------------------------------------
# Break-even


def test_the_jug_against_a_bag_of_urea(files: dict[str, str]) -> None:
    """By hand: 2.5 gal x 9 lb = 22.5 lb; x 32.5 % urea x 46 % N = 3.36375 lb N; $18 / 3.36375 = $5.351 a lb.
    A 50 lb bag of 46-0-0 at $28.50 holds 23 lb N: $1.2391 a lb. 3.36375 x 1.2391 = $4.168 a jug."""
    found = answer("break-even", files["products"], "jug", "N", "--against", "urea 46")
    assert found["break_even_price"] == pytest.approx(4.168, abs=0.0005)
    assert found["against"]["price_per_lb"] == pytest.approx(28.50 / 23)
    assert found["against"]["offer"]["product"] == "Urea 46-0-0"
    assert step_values(found, "lb N") == pytest.approx([3.36375, 23])
    assert step_values(found, "$/lb N") == pytest.approx([5.3512, 1.23913], abs=5e-5)
    read = told("break-even", files["products"], "jug", "n", "--against", "urea 46")
    assert "break-even price $4.17 a package, against $1.24/lb N" in read
    assert "Asked: $18.00" in read
    metric = told("break-even", files["products"], "jug", "N", "--against", "urea 46", "--units", "metric")
    assert "$2.73/kg N" in metric  # 1.23913 / 0.45359237 = 2.7318


def test_a_price_to_meet_may_be_given_for_any_weight(files: dict[str, str]) -> None:
    """3.36375 lb N x $1.24 = $4.171; the same as $2,480 a ton, $62 for 50 lb, and $2.7337 a kg."""
    for at in ("1.24/lb", "$1.24 per lb", "2,480.00/ton", "62/50 lb", "2.733732/kg"):
        found = answer("break-even", files["products"], "jug", "N", "--at", at)
        assert found["break_even_price"] == pytest.approx(4.17105, abs=1e-5), at
        assert found["against"]["offer"] is None


def test_at_the_break_even_price_both_cost_the_same(files: dict[str, str]) -> None:
    first = answer("break-even", files["products"], "lawn", "P2O5", "--against", "dap")
    price = f"{first['break_even_price']:.10f}"
    again = answer("break-even", files["products"], "lawn", "P2O5", "--against", "dap", "--price", price)
    here, there = step_values(again, "$/lb P2O5")
    assert here == pytest.approx(there)


def test_break_even_of_lime_in_the_pounds_of_one_state(files: dict[str, str]) -> None:
    """$42 for 1,100 lb ENP is $76.36 a ton ENP; a 50 lb bag of 1,650 lb ENP a ton holds 41.25 lb: $1.575."""
    found = answer("break-even", files["limes"], "pellets", "ENP", "--against", "ag lime")
    assert found["break_even_price"] == pytest.approx(1.575)
    assert step_values(found, "lb ENP") == pytest.approx([41.25, 1100])


# ---------------------------------------------------------------------------------------------
# Value


def test_a_mixed_fertilizer_at_given_prices(files: dict[str, str]) -> None:
    """E177: a ton of 5.77-6-5 with N at 17.5, P2O5 at 4 and K2O at 5 cents: printed 20.19 + 4.80 + 5.00 =
    $29.99 (tolerance: the printed lines are rounded)."""
    given_prices = ("--reference", "N=0.175/lb", "--reference", "p2o5=0.04/lb", "--reference", "K2O=0.05/lb")
    needs = ("--need", "N", "--need", "P2O5", "--need", "K2O")
    found = answer("value", files["mix"], "mixed", *needs, *given_prices)
    assert found["worth"] == pytest.approx(29.99, abs=0.011)
    assert [row["worth"] for row in found["needed"]] == pytest.approx([20.19, 4.80, 5.00], abs=0.006)


def test_references_are_the_cheapest_single_nutrient_offers(files: dict[str, str]) -> None:
    """By hand. N: urea 28.50 / 23 = 1.23913 (the jug is dearer). P2O5: superphosphate 33.50 / 23 = 1.45652;
    MAP brings N as well, 0-20-0 has no price. 50 lb DAP: 9 x 1.23913 + 23 x 1.45652 = 11.152 + 33.500 =
    $44.652. What is left of $32 for P2O5 after the N: (32 - 11.152) / 23 = 0.90643."""
    found = answer("value", files["products"], "dap", "--need", "N", "--need", "P2O5", code=1)
    n, p2o5 = found["needed"]
    assert n["reference"]["offer"]["product"] == "Urea 46-0-0"
    assert p2o5["reference"]["offer"]["product"] == "Superphosphate 0-46-0"
    assert (n["lb"], p2o5["lb"]) == pytest.approx((9, 23))
    assert (n["worth"], p2o5["worth"]) == pytest.approx((11.15217, 33.50), abs=1e-5)
    assert found["worth"] == pytest.approx(44.65217, abs=1e-5)
    assert p2o5["price_per_lb_after_credits"] == pytest.approx(0.90643, abs=1e-5)
    (missing,) = found["problems"]  # another offer might have been the cheapest
    assert missing["where"] == "products.csv, row 7, price"
    read = told("value", files["products"], "dap", "--need", "N", "--need", "P2O5")
    assert "Price of N elsewhere: Urea 46-0-0, 50 lb bag, the cheapest single-nutrient offer." in read
    assert "Worth $44.65 a package. Asked: $32.00." in read


def test_only_what_is_needed_counts(files: dict[str, str]) -> None:
    """Where the legume needs no N, DAP is worth its 23 lb P2O5 at 1.45652, $33.50; all of its price is then
    on them: 32 / 23 = 1.39130."""
    found = answer("value", files["products"], "dap", "--need", "P2O5", code=1)
    assert found["worth"] == pytest.approx(33.50)
    assert found["needed"][0]["price_per_lb_after_credits"] == pytest.approx(1.39130, abs=1e-5)
    assert {"what": "9 lb N", "value": "not needed, not counted", "unit": "", "source": "user"} in found[
        "steps"
    ]


def test_what_has_no_price_elsewhere_is_said_and_not_counted(files: dict[str, str]) -> None:
    found = answer("value", files["products"], "gypsum", "--need", "S", "--need", "N", code=1)
    assert found["worth"] == 0
    by_level = {problem["level"]: problem for problem in found["problems"] if "price" not in problem["where"]}
    assert "no single-nutrient offer of S has a price" in by_level["warning"]["what"]
    assert "--reference 'S=0.60/lb'" in by_level["warning"]["fix"]
    assert "it guarantees no N" in by_level["note"]["what"]


# ---------------------------------------------------------------------------------------------
# Amount


def test_whole_bags_reach_the_rate(files: dict[str, str]) -> None:
    """E093-E095, UF/IFAS: 100 lb N from 28-14-5 takes 357 lb, 7.14 bags of 50 lb. The article rounds down to
    7, which delivers 98 lb N; 8 are needed. The seller has 6."""
    found = answer("amount", files["products"], "lawn", "100 lb N/acre", "1 acre", code=1)
    assert found["product_lb"] == pytest.approx(357.14, abs=0.005)
    assert found["packages_exact"] == pytest.approx(7.14, abs=0.005)
    assert found["packages"] == 8
    assert found["left_over_lb"] == pytest.approx(400 - 357.142857)
    assert "8 packages are needed and the seller has 6" in found["problems"][0]["what"]


@pytest.mark.parametrize("rate", ["1 lb N/1000 ft2", "1 lb of N per 1,000 sq ft", "43.56 lb N/acre"])
def test_a_rate_on_a_lawn(files: dict[str, str], rate: str) -> None:
    """E101, LSU AgCenter: 12.5 lb of 8-8-8 for 1 lb N; an acre is 43.56 times 1,000 square feet."""
    found = answer("amount", files["products"], "garden", rate, "1000 ft2")
    assert found["product_lb"] == pytest.approx(12.5)
    assert found["product_lb_per_acre"] == pytest.approx(544.5)


def test_a_liquid_is_told_in_gallons(files: dict[str, str]) -> None:
    """E060, E061, Purdue: 28 % N at 10.6 lb/gal is 2.97 lb N a gallon, 20 gallons are 59.4 lb N."""
    found = answer("amount", files["products"], "uan", "59.36 lb N/acre", "10 acre")
    assert step_values(found, "lb N/gal") == pytest.approx([2.968])
    read = told("amount", files["products"], "uan", "59.36 lb N/acre", "10 acre")
    assert "2,120 lb (200.0 gal)" in read
    assert "212 lb/acre (20.0 gal)" in read


def test_bought_delivered_hauled_and_spread(files: dict[str, str]) -> None:
    """By hand: 40 lb N/acre on 2.5 acres is 100 lb N; / 0.46 = 217.39 lb; 4.348 bags, so 5 at 28.50 = 142.50;
    delivery 25; hauling 250 lb at 0.02 = 5; spreading 2.5 x 6 + 4 = 19; together 191.50, 76.60 an acre."""
    charges = ("--delivery", "25", "--hauling", "0.02/lb", "--spreading", "6/acre", "--trip", "4")
    found = answer("amount", files["products"], "urea 46", "40 lb N/acre", "2.5 acre", *charges)
    cost = found["cost"]
    kinds = ("purchase", "delivery", "hauling", "spreading", "total")
    assert [cost[kind] for kind in kinds] == [142.50, 25, 5, 19, 191.50]
    assert cost["total_per_acre"] == pytest.approx(76.60)
    assert cost["total_per_lb"] == pytest.approx(1.915)
    filed = answer("amount", files["products"], "potash bulk", "60 lb K2O/acre", "2 acre")
    assert filed["cost"]["delivery"] == 45  # as the file says


def test_a_rate_that_names_no_nutrient_is_one_of_the_product_and_says_so(files: dict[str, str]) -> None:
    """300 lb/acre on 2 acres is 600 lb, 12 bags at $20 = $240."""
    found = answer("amount", files["products"], "garden", "300 lb/acre", "2 acre")
    assert (found["rate_of"], found["product_lb"], found["packages"]) == ("product", pytest.approx(600), 12)
    assert found["cost"]["total"] == 240
    (note,) = found["problems"]
    assert "'300 lb/acre' names no nutrient" in note["what"]
    assert note["level"] == "note"
    named = answer("amount", files["products"], "garden", "2 lb/1000 ft2", "1 acre", "--of", "n")
    assert named["product_lb"] == pytest.approx(2 * 43.56 / 0.08)
    assert named["problems"] == []


def test_a_missing_price_leaves_the_amount_and_marks_the_cost(files: dict[str, str]) -> None:
    """40 lb P2O5 from 0-20-0 is 200 lb, 4 bags."""
    found = answer("amount", files["products"], "0-20-0", "40 lb P2O5/acre", "1 acre", code=1)
    assert (found["product_lb"], found["packages"], found["cost"]) == (pytest.approx(200), 4, None)
    assert "the price of '50 lb bag' is missing" in found["problems"][0]["what"]
    priced = answer(
        "amount", files["products"], "0-20-0", "40 lb P2O5/acre", "1 acre", "--price", "$19", code=0
    )
    assert priced["cost"]["total"] == 76


def test_a_rate_over_the_limit_of_the_product_is_said(files: dict[str, str]) -> None:
    """100 lb N/acre is 217 lb/acre of 46-0-0; the file allows 200."""
    found = answer("amount", files["products"], "urea 46", "100 lb N/acre", "1 acre", code=1)
    assert (
        "217 lb/acre is over the most the file allows in one pass, 200 lb/acre"
        in found["problems"][0]["what"]
    )


def test_lime_in_the_pounds_of_its_state(files: dict[str, str]) -> None:
    """3,000 lb ENP/acre / 1,100 lb a ton = 2.7273 tons an acre; on 2 acres 5.4545 tons, at $42 $229.09."""
    found = answer("amount", files["limes"], "ag lime", "3000 lb ENP/acre", "2 acre")
    assert found["product_lb"] == pytest.approx(2 * 6000 / 1.1)
    assert found["cost"]["purchase"] == pytest.approx(229.09)
    assert step_values(found, "lb ENP/ton") == [1100]


# ---------------------------------------------------------------------------------------------
# Mixtures


def test_the_grade_of_a_home_mix(files: dict[str, str]) -> None:
    """E155-E157, Duryee: 100 lb nitrate of soda, 230 sulphate of ammonia, 250 tankage, 1,140 superphosphate
    and 280 muriate make a ton printed as 4-9-7."""
    parts = ("nitrate=100 lb", "ammonia=230 lb", "tankage=250 lb", "superphosphate=1140 lb", "muriate=280 lb")
    found = answer("mix", files["mix"], *parts)
    assert found["total_lb"] == pytest.approx(2000)
    assert found["analysis_pct"] == pytest.approx({"N": 4.0325, "P2O5": 9.12, "K2O": 7})
    assert found["grade"] == "4.0-9.1-7.0"
    thinner = answer("mix", files["mix"], "muriate=100 lb", "--filler", "100 lb")
    assert thinner["analysis_pct"] == pytest.approx({"K2O": 25})


def test_a_ton_of_a_grade_with_filler(files: dict[str, str]) -> None:
    """E152, E154, NC State: a ton of 0-8-8 takes 800 lb of 0-20-0, 267 lb of 0-0-60 and 933 lb filler."""
    found = answer("formulate", files["products"], "0-8-8", "0-20-0", "potash")
    pounds = [part["lb"] for part in found["parts"]] + [found["filler_lb"]]
    assert pounds == pytest.approx([800, 267, 933], abs=0.5)
    assert found["grade"] == "0.0-8.0-8.0"
    half = answer("formulate", files["products"], "0-8-8", "0-20-0", "potash", "--batch", "1000 lb")
    assert half["parts"][0]["lb"] == pytest.approx(400)


# ---------------------------------------------------------------------------------------------
# Materials and seed


def test_published_figures_come_with_their_source_and_the_label_wins() -> None:
    """Virginia Tech SPES-199NP table 1: UAN 28 at 60 F 10.67 lb/gal. Alabama ANR-0174: ammonium sulfate
    21 % N, 24 % S."""
    uan = answer("materials", "uan 28")["materials"][0]
    assert uan["density_lb_per_gal"] == pytest.approx(10.67)
    assert uan["density_at"] == "60 F"
    assert "SPES-199NP" in uan["analysis_source"]
    (sulfate,) = answer("materials", "ammonium sulfate 21")["materials"]
    assert sulfate["analysis_pct"]["N"] == 21
    assert sulfate["analysis_pct"]["S"] == 24
    everything = answer("materials")
    assert len(everything["materials"]) == len(known_materials())
    assert "the label on the bag wins" in everything["note"]
    for said in (told("materials"), told("materials", "uan 28")):
        assert "the label on the bag wins" in said
    assert "SPES-199NP" in told("materials", "uan 28")


def test_rows_to_paste_are_read_back_as_the_same_materials(tmp_path: Path) -> None:
    pasted = printed_csv()
    rows = list(csv.DictReader(io.StringIO(pasted)))
    assert all("the label on the bag wins" in row["figures_from"] for row in rows)
    assert {row["package"] for row in rows} == {""}
    path = written(tmp_path / "products.csv", pasted)
    labels, offers, problems = products_from(read_table(path))
    assert offers == ()
    assert not [problem for problem in problems if problem.level.value == "error"]
    for label, known in zip(labels, known_materials(), strict=True):
        wanted = known.product
        assert (label.product, label.form, label.analysis_pct) == (
            wanted.product,
            wanted.form,
            wanted.analysis_pct,
        )
        assert label.density_kg_m3 == pytest.approx(wanted.density_kg_m3)
        assert (label.nitrogen_forms_pct, label.contains) == (wanted.nitrogen_forms_pct, wanted.contains)


def test_a_material_filled_in_is_an_offer(tmp_path: Path) -> None:
    """Pasted, with package and price added: $25 for 50 lb of 46-0-0 is $1.087 a lb N."""
    rows = list(csv.DictReader(io.StringIO(printed_csv("urea"))))
    path = tmp_path / "products.csv"
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerow({**rows[0], "package": "50 lb bag", "price": "25"})
    found = answer("break-even", str(path), "urea", "N", "--at", "1/lb")
    assert found["break_even_price"] == pytest.approx(23)
    assert step_values(found, "$/lb N") == pytest.approx([1.087, 1], abs=0.0005)


def test_pure_live_seed_and_its_price() -> None:
    """E217-E224, Penn State: 92 x 80 is 74 %; 99 x 90 is 89 %; 85 x 60 is 51 %. At $2.50 the 89 % seed costs
    2.81 a pound of pure live seed (the page slips to 3.00 and prints 3.30), at $1.95 the 51 % seed 3.82: the
    cheaper bag is the dearer seed. E227: 91 % of 96 % is 87.36 %."""
    first = answer("seed", "--purity", "92", "--germination", "80 %", "--rate", "10 lb PLS/acre")
    assert first["pure_live_seed_pct"] == pytest.approx(73.6)
    assert first["bulk_lb_per_acre"] == pytest.approx(10 / 0.736)
    assert first["price_per_lb_pure_live_seed"] is None
    dear = answer("seed", "--purity", "99", "--germination", "90", "--price", "2.50/lb")
    cheap = answer("seed", "--purity", "85", "--germination", "60", "--price", "97.50/50 lb")
    prices = (dear["price_per_lb_pure_live_seed"], cheap["price_per_lb_pure_live_seed"])
    assert prices == pytest.approx((2.81, 3.82), abs=0.005)
    assert answer("seed", "--purity", "96", "--germination", "91")["pure_live_seed_pct"] == pytest.approx(
        87.36
    )
    hard = answer("seed", "--purity", "98", "--germination", "70", "--hard", "20")
    assert hard["pure_live_seed_pct"] == pytest.approx(98 * 0.9)
    read = told("seed", "--purity", "99", "--germination", "90", "--price", "2.50/lb")
    assert "Pure live seed: 89.1%" in read
    assert "$2.81/lb of pure live seed" in read
    assert "Penn State Extension" in read


# ---------------------------------------------------------------------------------------------
# Lime


def test_the_iowa_example_with_its_steps(files: dict[str, str]) -> None:
    """LX-01, LX-02, Wisconsin slides: fineness 70 %, 1,262 lb ECCE a ton (printed 1,260). $30 for that is
    30 / 1262.24 x 2,000 = $47.53 an effective ton."""
    found = answer("lime", files["limes"], "iowa", "--basis", "ecce")
    (score,) = found["scores"]
    assert score["lb_per_ton"] == pytest.approx(1260, abs=5)
    assert step_values(found, "%")[-1] == pytest.approx(70)
    (offer,) = found["offers"]
    assert offer["effective"][0]["price_per_effective_ton"] == pytest.approx(47.53, abs=0.01)
    read = told("lime", files["limes"], "iowa", "--basis", "ECCE")
    assert "1,262" in read
    assert "Laboski" in read


def test_every_score_of_a_label_the_printed_one_first(files: dict[str, str]) -> None:
    found = answer("lime", files["limes"], "ag lime")
    assert found["scores"][0] == {"basis": "ENP", "lb_per_ton": pytest.approx(1100), "reason": ""}
    assert {score["basis"] for score in found["scores"]} == {b.value for b in LimeBasis} - {"product", "own"}
    new_york = next(score for score in found["scores"] if score["basis"] == "ENV")
    assert new_york["lb_per_ton"] is None
    assert "percent passing 20 mesh" in new_york["reason"]


@pytest.mark.parametrize(
    ("lime", "need", "tons"),
    [
        ("missouri", "1200 lb ENM/acre", 3.0),  # LX-04, MU Extension: 1,200 / 400
        ("ohio", "2 ton ENP (Ohio)/acre", 2.667),  # LX-07: 2 tons x 2,000 / 1,500, printed 2.7
    ],
)
def test_tons_for_a_need(files: dict[str, str], lime: str, need: str, tons: float) -> None:
    found = answer("lime", files["limes"], lime, "--need", need)
    assert found["product_lb_per_acre"] / 2000 == pytest.approx(tons, abs=0.0005)


def test_doses_by_a_named_rule(files: dict[str, str]) -> None:
    """MU Extension: 2 tons at a time when not worked in, so 3 tons are two doses of 1.5."""
    args = ("lime", files["limes"], "missouri", "--need", "1200 lb ENM/acre", "--doses", "missouri-surface")
    found = answer(*args)
    assert found["doses"]["lb_per_acre"] == pytest.approx([3000, 3000])
    assert "How Much Lime To Apply?" in found["doses"]["source"]
    assert "In 2 doses: 1.50 tons/acre, 1.50 tons/acre (Missouri, not worked in)" in told(*args)


def test_low_magnesium_asks_for_dolomite(files: dict[str, str]) -> None:
    asked = answer("lime", files["limes"], "ag lime", "--basis", "ENP", "--low-magnesium")
    assert "Ag lime is not dolomitic" in asked["steps"][-1]["what"]
    silent = answer("lime", files["limes"], "ag lime", "--basis", "ENP")
    assert not any("magnesium" in step["what"] for step in silent["steps"])


def test_a_score_the_label_cannot_have_is_unknown_with_the_reason(files: dict[str, str]) -> None:
    found = answer("lime", files["limes"], "missouri", "--basis", "ENV", code=1)
    assert found["scores"][0]["lb_per_ton"] is None
    assert "percent passing 20 mesh" in found["problems"][0]["what"]


# ---------------------------------------------------------------------------------------------
# From a property file, and what people read


def test_a_property_file_answers_as_its_price_list_does(files: dict[str, str], tmp_path: Path) -> None:
    settings = {
        "name": "Invented",
        "season": 2026,
        "units": "metric",
        "settings": {"spreading_cost_per_acre": 6},
    }
    about = written(tmp_path / "property.json", json.dumps(settings))
    path = str(tmp_path / "invented.gpkg")
    ran_well("new", path, "--name", "Invented", "--settings", about)
    assert run("import", path, files["products"]).code == 1  # one price is missing
    question = ("jug", "N", "--against", "urea 46")
    assert answer("break-even", path, *question) == answer("break-even", files["products"], *question)
    amount = answer("amount", path, "urea 46", "40 lb N/acre", "2.5 acre")
    assert amount["cost"]["spreading"] == 15  # 2.5 acres x 6 dollars, as the property says
    assert "44.8 kg/ha of N" in told("amount", path, "urea 46", "40 lb N/acre", "2.5 acre")  # 40 x 1.12085


@pytest.mark.parametrize(
    "question",
    [
        ("break-even", "products", "jug", "N", "--at", "1.24/lb"),
        ("value", "products", "dap", "--need", "N", "--reference", "N=0.60/lb"),
        ("amount", "products", "garden", "60 lb N/acre", "2.1 acre"),
        ("mix", "products", "urea 46=100 lb", "potash=50 lb"),
        ("formulate", "products", "10-10-10", "dap", "urea 46", "potash"),
        ("lime", "limes", "pellets", "--basis", "ENP"),
    ],
    ids=lambda question: question[0],
)
def test_every_number_is_printed_with_its_steps_and_sources(
    files: dict[str, str], question: tuple[str, ...]
) -> None:
    command, file, *rest = question
    shown = told(command, files[file], *rest)
    steps = answer(command, files[file], *rest)["steps"]
    assert steps
    for step in steps:
        assert step["what"] in shown
        assert f"({step['source']})" in shown


# ---------------------------------------------------------------------------------------------
# What cannot be answered


@pytest.mark.parametrize(
    ("question", "value", "fix"),
    [
        (("break-even", "products", "jug", "N"), "compares with one thing", "--against OFFER, or --at"),
        (("break-even", "products", "jug", "N", "--at", "1.24"), "'1.24'", "1.24/lb"),
        (
            ("break-even", "products", "jug", "N", "--at", "0/lb"),
            "'0/lb' is not more than zero",
            "rite for example",
        ),
        (("break-even", "products", "jug", "N", "--at", "-1/lb"), "'-1/lb' is negative", "1.24/lb"),
        (("break-even", "products", "jug", "P", "--at", "1/lb"), "'P' is not", "phosphorus counts as P2O5"),
        (("break-even", "products", "jug", "K2O", "--at", "1/lb"), "no K2O", "Choose a product with K2O"),
        (
            ("break-even", "products", "jog", "N", "--at", "1/lb"),
            "'jog' is not among",
            "Jug of urea solution",
        ),
        (("break-even", "products", "potash", "K2O", "--at", "1/lb"), "'potash' may be", "1 ton bulk, Co-op"),
        (("break-even", "products", "jug", "N", "--against", "0-20-0"), "price", "price of one package"),
        (("break-even", "products", "jug", "N", "--at", "1/lb", "--price", "18.oo"), "'18.oo'", "21.00"),
        (
            ("break-even", "products", "jug", "N", "--at", "1/lb", "--price", "-3"),
            "'-3' is negative",
            "28.50",
        ),
        (("break-even", "products", "jug", "N", "--at", "1/lb", "--price", "0"), "price 0", "in_stock"),
        (("break-even", "limes", "iowa", "ENM", "--at", "1/lb"), "40 mesh", "Ask the seller for its ENM"),
        (("break-even", "missing.csv", "jug", "N", "--at", "1/lb"), "missing.csv", "Check the name"),
        (("value", "products", "dap"), "what is needed is not said", "--need N"),
        (("value", "products", "dap", "--need", "lime"), "'lime' is not", "Use one of: N"),
        (("value", "products", "dap", "--need", "N", "--reference", "0.62/lb"), "'0.62/lb'", "N=0.62/lb"),
        (("amount", "products", "garden", "60 N/acre", "1 acre"), "'60 N/acre'", "60 lb N/acre"),
        (("amount", "products", "garden", "60 lb N", "1 acre"), "'60 lb N'", "60 lb N/acre"),
        (("amount", "products", "garden", "0 lb N/acre", "1 acre"), "'0 lb N/acre' is not more", "60 lb N"),
        (("amount", "products", "garden", "60 lb potash/acre", "1 acre"), "'potash'", "K2O"),
        (("amount", "products", "garden", "60 lb N/acre", "2.1"), "'2.1'", "'2.1 acre'"),
        (
            ("amount", "products", "garden", "60 lb N/acre", "0 acre"),
            "'0 acre' is not more",
            "rite for example",
        ),
        (("amount", "products", "garden", "60 lb N/acre", "1 acre", "--of", "K2O"), "'K2O'", "Say it once"),
        (
            ("amount", "products", "garden", "60 lb N/acre", "1 acre", "--spreading", "8.50"),
            "'8.50'",
            "/acre",
        ),
        (
            ("amount", "products", "garden", "60 lb N/acre", "1 acre", "--delivery", "-5"),
            "'-5'",
            "what is paid",
        ),
        (
            ("amount", "mix", "tankage", "60 lb N/acre", "1 acre"),
            "tankage: it has a label but no package or price",
            "Fill in package",
        ),
        (("mix", "products", "urea 46"), "'urea 46'", "urea=100 lb"),
        (("mix", "products", "urea 46=0 lb"), "'0 lb' is not more than zero", "rite for example"),
        (("mix", "products", "urea 46=10 gal"), "'10 gal'", "100 lb"),
        (("mix", "products", "urea 46=10 lb", "--filler", "-20 lb"), "'-20 lb'", "rite for example"),
        (("formulate", "products", "0-8", "0-20-0", "potash"), "'0-8'", "46-0-0"),
        (("formulate", "products", "0-8-8", "0-20-0"), "2 nutrients are wanted", "one carrier for each"),
        (("formulate", "products", "0-18-30", "0-20-0", "potash"), "140%", "stronger carriers"),
        (
            ("formulate", "products", "0-8-8", "0-20-0", "potash", "--batch", "-1 ton"),
            "'-1 ton'",
            "rite for example",
        ),
        (("lime", "products", "urea 46"), "Urea 46-0-0", "cce"),
        (("lime", "limes", "granite"), "'granite' is not among", "Ag lime"),
        (("lime", "limes", "ag lime", "--basis", "ABC"), "'ABC' is not a lime score", "ENP"),
        (("lime", "limes", "ag lime", "--need", "3000 lb/acre"), "which effective pounds", "lb ENP/acre"),
        (("lime", "limes", "ag lime", "--need", "60 lb N/acre"), "'60 lb N/acre'", "3000 lb ENP/acre"),
        (("lime", "limes", "ag lime", "--basis", "CCE", "--need", "1 ton ENP/acre"), "'CCE'", "No score"),
        (("lime", "limes", "ag lime", "--need", "1 ton ENM/acre"), "40 mesh", "Ask the seller for its ENM"),
        (
            ("lime", "limes", "ag lime", "--basis", "ENP", "--doses", "missouri-surface"),
            "none is given",
            "--need",
        ),
        (
            ("lime", "limes", "ag lime", "--need", "1 ton ENP/acre", "--doses", "utah"),
            "'utah' is not known",
            "missouri-surface",
        ),
    ],
)
def test_a_bad_question_is_refused_with_its_value_and_the_fix(
    files: dict[str, str], question: tuple[str, ...], value: str, fix: str
) -> None:
    command, file, *rest = question
    refused = answer(command, files.get(file, file), *rest, code=2)
    text = " ".join(
        f"{problem['where']}: {problem['what']} {problem['fix']}" for problem in refused["problems"]
    )
    assert value in text
    assert fix in text
    assert all(problem["fix"] for problem in refused["problems"])


@pytest.mark.parametrize(
    ("question", "value", "fix"),
    [
        (("materials", "granite"), "'granite'", "urea 46-0-0"),
        (("materials", "--csv"), "two answers", "Choose one"),
        (("seed", "--purity", "92", "--germination", "180"), "180 %", "Copy it from the tag"),
        (("seed", "--purity", "ninety", "--germination", "80"), "'ninety'", "12.5"),
        (("seed", "--purity", "92", "--germination", "80", "--hard", "30"), "110 %", "Copy it from the tag"),
        (("seed", "--purity", "0", "--germination", "80"), "purity 0 %", "Copy both"),
        (("seed", "--purity", "92", "--germination", "80", "--price", "50"), "'50'", "1.24/lb"),
        (("seed", "--purity", "92", "--germination", "80", "--rate", "10 lb"), "'10 lb'", "lb N/acre"),
    ],
)
def test_a_bad_tag_or_name_is_refused(question: tuple[str, ...], value: str, fix: str) -> None:
    refused = answer(*question, code=2)
    text = " ".join(f"{problem['what']} {problem['fix']}" for problem in refused["problems"])
    assert value in text
    assert fix in text


def test_a_row_left_out_is_named_when_its_product_is_asked_for(files: dict[str, str], tmp_path: Path) -> None:
    path = tmp_path / "products.csv"
    path.write_text(
        PRODUCTS + "Wrong 460,dry,460,,,,,,,50 lb bag,20,Hill Feed (invented),,,\n", encoding="utf-8"
    )
    refused = answer("amount", str(path), "wrong", "60 lb N/acre", "1 acre", code=2)
    assert any("row 14" in problem["where"] and "460" in problem["what"] for problem in refused["problems"])
    assert answer("amount", str(path), "garden", "60 lb N/acre", "1 acre")["problems"] == []


# ---------------------------------------------------------------------------------------------
# Words


@given(
    amount=st.floats(0.01, 10_000),
    supply=st.sampled_from(["N", "P2O5", "K2O", "S", "ENP", "ECCE", "ENP (Ohio)"]),
    between=st.sampled_from(["/", " per ", " / "]),
)
def test_a_rate_is_read_back_however_it_is_spelled(amount: float, supply: str, between: str) -> None:
    found = asking.parse_named_rate(f"{amount:.6f} lb {supply}{between}acre")
    assert found.supply is not None
    assert found.supply.removeprefix("lime ") == supply
    assert found.rate_kg_ha == pytest.approx(float(f"{amount:.6f}") * LB_ACRE_KG_HA)


def test_words_find_one_thing_or_none() -> None:
    names = ["Urea 46-0-0", "Urea solution", "urea"]
    assert asking.fitting("UREA", names) == (2,)  # called exactly so
    assert asking.fitting("46 urea", names) == (0,)
    assert asking.fitting("ure", names) == (0, 1, 2)
    assert asking.fitting("", names) == ()
    assert asking.fitting("urea mill", names, ["Hill", "Mill", "Hill"]) == (1,)


@pytest.mark.parametrize("text", ["P", "K", "phosphorus", "potash", "lime", "CaO", "x", "", "lime product"])
def test_a_name_that_is_no_guarantee_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="use one of: N, P2O5"):
        asking.parse_supply(text)


def test_a_price_needs_its_weight() -> None:
    assert asking.parse_price_per_mass("0.62/lb") * LB_KG == pytest.approx(0.62)
    for text in ("0.62", "0.62/acre", "lb", "0.62/50 lb bag"):
        with pytest.raises(InputError, match="price per what"):
            read("--at", text, asking.parse_price_per_mass)
