"""Label arithmetic and comparison against printed answers, hand arithmetic, and label law.

Every row of ``published/materials_worked_examples.csv`` whose kind the program can express is worked out
by the program's own functions. ``status`` says what to expect of the printed answer:

* ``ok``: it must be met within the tolerance (half of the last printed digit, or the reason given);
* ``printed from rounded figures``: met within the rounding of the printed figures it was made from;
* ``inputs inferred``: met, but the inputs were inferred from the answers, so it proves little;
* ``printed wrong`` / ``printed rounds down``: the print is wrong; the program must give ``exact`` instead.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import molmass
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loamwright.errors import InputError, Level, has_errors
from loamwright.files.reference import known_materials
from loamwright.supplies import lime_score
from loamwright.supplies.blends import blend, formulate, substitute
from loamwright.supplies.costs import (
    break_even_price,
    delivered_cost,
    packages_for,
    price_after_credits,
    price_at,
    product_needed,
    value_against_references,
    value_nutrients,
)
from loamwright.supplies.ingredients import INGREDIENTS, add_up, ingredient_content, restate
from loamwright.supplies.products import (
    check_offer,
    check_product,
    compare,
    liquid_content,
    nitrogen_acidity,
    nitrogen_forms,
    nutrient_fractions,
    supply_fractions,
    tank_error,
)
from loamwright.supplies.records import Form, LimeLabel, Offer, Product
from loamwright.supplies.seed import bulk_rate_kg_ha, price_of_pure_live_seed, pure_live_seed
from loamwright.units import (
    ACRE_M2,
    FT_M,
    HA_M2,
    LB_ACRE_KG_HA,
    LB_GAL_KG_M3,
    LB_KG,
    P_PER_P2O5,
    TON_KG,
    parse_package,
    parse_rate,
)
from loamwright.values import LABEL, LimeBasis, Nutrient

PUBLISHED = Path(__file__).parents[1] / "published"
N, P2O5, K2O = Nutrient.N, Nutrient.P2O5, Nutrient.K2O


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def dry(name: str = "product", **pct: float) -> Product:
    return Product(name, Form.DRY, {Nutrient(key): value for key, value in pct.items()})


def offer(product: str, pounds: float, price: object = None, package: str = "") -> Offer:
    money = None if price is None else Decimal(str(price))
    return Offer("offer", product, package or f"{pounds:g} lb bag", pounds * LB_KG, money)


def graded(grade: str) -> Product:
    n, p, k = (float(part) for part in grade.split("-"))
    return dry(grade, N=n, P2O5=p, K2O=k)


# ---------------------------------------------------------------------------------------------
# Printed answers, kind by kind

Inputs = dict[str, str]


def _number(inputs: Inputs, key: str) -> float:
    return float(inputs[key])


def price_per_lb(inputs: Inputs) -> float:
    label = dry(N=_number(inputs, "N_pct"))
    row = compare([label], [offer("product", _number(inputs, "package_lb"), inputs["price"])]).offers[0]
    return row.price_per_kg[N] * LB_KG


def nutrient_mass(inputs: Inputs) -> float:
    nutrient = Nutrient(inputs["nutrient"])
    label = Product("product", Form.DRY, {nutrient: _number(inputs, "pct")})
    row = compare([label], [offer("product", _number(inputs, "mass_lb"))]).offers[0]
    return row.nutrients_kg[nutrient] / LB_KG


def price_difference(inputs: Inputs) -> float:
    amount = {"N": _number(inputs, "lb")}
    a, b = (value_nutrients(amount, {"N": _number(inputs, key)}).total for key in ("a", "b"))
    return a - b


def price_per_lb_litter(inputs: Inputs) -> float:
    label = dry(N=_number(inputs, "available_lb_per_ton") / 2000 * 100)
    row = compare([label], [offer("product", 2000, inputs["price"])]).offers[0]
    return row.price_per_kg[N] * LB_KG


def lb_per_gal(inputs: Inputs) -> float:
    density = _number(inputs, "lb_per_gal") * LB_GAL_KG_M3
    label = Product("liquid", Form.LIQUID, {N: _number(inputs, "pct")}, density_kg_m3=density)
    return liquid_content(label).nutrients_kg_m3[N] / LB_GAL_KG_M3


def lb_from_gallons(inputs: Inputs) -> float:
    # a liquid of 10 lb/gal whose percent is chosen so that it holds the stated lb per gal
    return _number(inputs, "gal") * lb_per_gal(
        {"lb_per_gal": "10", "pct": str(_number(inputs, "lb_per_gal") * 10)}
    )


def shrink(inputs: Inputs) -> float:
    return tank_error(_number(inputs, "assumed"), _number(inputs, "true")) * 100


def product_for_nutrient(inputs: Inputs) -> float:
    return product_needed(dry(N=_number(inputs, "pct")), "N", _number(inputs, "amount")).amount


def product_for_area(inputs: Inputs) -> float:
    rate_kg_ha = parse_rate(f"{inputs['lb_per_1000_sqft']} lb/1000 sq ft")
    return rate_kg_ha * _number(inputs, "sqft") * FT_M**2 / HA_M2 / LB_KG


def bags(inputs: Inputs) -> float:
    return packages_for(_number(inputs, "lb") * LB_KG, offer("p", _number(inputs, "bag_lb"))).exact


def whole_bags(inputs: Inputs) -> float:
    return packages_for(_number(inputs, "lb") * LB_KG, offer("p", _number(inputs, "bag_lb"))).count


def grade_substitution(inputs: Inputs) -> float:
    recommended, have = dry("a", N=_number(inputs, "pct")), dry("b", N=_number(inputs, "have_pct"))
    return substitute(recommended, _number(inputs, "lb") * LB_KG, have, "N").mass_kg / LB_KG


def area_rate(inputs: Inputs) -> float:
    return _number(inputs, "lb_per_acre") * LB_ACRE_KG_HA / parse_rate(f"1 lb/{inputs['per_sqft']} sq ft")


def formulation(inputs: Inputs) -> float:
    target = {Nutrient(key): float(inputs[key]) for key in ("N", "P2O5", "K2O") if key in inputs}
    made = formulate(target, [graded(grade) for grade in inputs["carriers"].split(" and ")], TON_KG)
    masses = {product.product: mass for product, mass in made.parts} | {"filler": made.filler_kg}
    return masses[inputs["take"]] / LB_KG


def blend_percent(inputs: Inputs) -> float:
    parts = [part.split(" x ") for part in inputs["parts"].split(" and ")]
    mixed = blend([(graded(grade), float(pounds) * LB_KG) for pounds, grade in parts])
    return mixed.analysis_pct[Nutrient(inputs["nutrient"])]


def home_mix(inputs: Inputs) -> float:
    if inputs["give"] == "mixture":
        parts = [(dry("part", N=1), float(pounds) * LB_KG) for pounds in inputs["lb"].split(" and ")]
        return blend(parts).mass_kg / LB_KG
    if inputs["give"] == "nutrient":
        return nutrient_mass({"mass_lb": inputs["lb"], "nutrient": "P2O5", "pct": inputs["pct"]})
    return product_for_nutrient({"amount": inputs["lb"], "pct": inputs["pct"]})


def unit_restatement(inputs: Inputs) -> float:
    return restate(_number(inputs, "pct"), inputs["basis"]).pct / 100 * _number(inputs, "ton_lb")


def value_nutrient(inputs: Inputs) -> float:
    pounds, price = _number(inputs, "lb"), _number(inputs, "usd_per_lb")
    return value_nutrients({"N": pounds * LB_KG}, {"N": price / LB_KG}).total


def value_mixed(inputs: Inputs) -> float:
    figures = {key: value.split(" @ ") for key, value in inputs.items() if key != "lb"}
    amounts = {
        key: _number(inputs, "lb") * float(pct) / 100 * LB_KG for key, (pct, _price) in figures.items()
    }
    prices = {key: float(price) / LB_KG for key, (_pct, price) in figures.items()}
    return value_nutrients(amounts, prices).total


def constant(inputs: Inputs) -> float:
    if inputs["basis"] == "P2O5 to P":
        return P_PER_P2O5
    whole = 100 if inputs["basis"] == "bone phosphate" else 1
    return restate(whole, inputs["basis"]).pct


def lime_tons(inputs: Inputs) -> float:
    if "enm_lb_per_ton" in inputs:
        label = LimeLabel(enm_lb_per_ton=_number(inputs, "enm_lb_per_ton"))
        found = lime_score.score(Product("lime", Form.LIME, lime=label), LimeBasis.ENM)
        return lime_score.product_for_need(_number(inputs, "need_lb"), found).amount / 2000
    ohio = next(rule for rule in lime_score.MATERIAL_RULES if rule.name == "Ohio")
    return lime_score.adjust_rate(_number(inputs, "tons"), ohio, _number(inputs, "enp_lb_per_ton")).amount


def pls(inputs: Inputs) -> float:
    return (
        pure_live_seed(_number(inputs, "purity_pct"), _number(inputs, "germination_pct")).pls_fraction * 100
    )


def pls_bulk(inputs: Inputs) -> float:
    return pure_live_seed(_number(inputs, "pls_pct"), 100).bulk_per_pls


def pls_cost(inputs: Inputs) -> float:
    lot = pure_live_seed(_number(inputs, "purity_pct"), _number(inputs, "germination_pct"))
    return price_of_pure_live_seed(_number(inputs, "usd_per_lb"), lot)


KINDS: dict[str, Callable[[Inputs], float]] = {
    "price_per_lb_N": price_per_lb,
    "nutrient_mass": nutrient_mass,
    "price_difference_per_acre": price_difference,
    "price_per_lb_N_litter": price_per_lb_litter,
    "lb_nutrient_per_gal": lb_per_gal,
    "lb_N_from_gallons": lb_from_gallons,
    "liquid_temperature_shrink": shrink,
    "lb_product_per_lb_N": product_for_nutrient,
    "product_for_nutrient": product_for_nutrient,
    "product_for_area": product_for_area,
    "bags": bags,
    "whole_bags": whole_bags,
    "grade_substitution": grade_substitution,
    "area_rate_conversion": area_rate,
    "formulate_grade": formulation,
    "formulate_filler": formulation,
    "blend_analysis": blend_percent,
    "home_mix": home_mix,
    "unit_restatement": unit_restatement,
    "value_nutrient": value_nutrient,
    "value_mixed_fertilizer": value_mixed,
    "factor_table": product_for_nutrient,  # pounds a ton for each 1 %: 20 lb of the nutrient
    "constant": constant,
    "lime_tons": lime_tons,
    "pls": pls,
    "pls_bulk_per_lb": pls_bulk,
    "pls_cost": pls_cost,
}
NOT_OFFERED = {
    "cost_per_lb_plant_food": "adds pounds of N, P2O5 and K2O as if they cost the same, which they do not"
}
EXAMPLES = rows("materials_worked_examples.csv")


@pytest.mark.parametrize("row", [row for row in EXAMPLES if row["kind"] in KINDS], ids=lambda row: row["id"])
def test_printed_answer(row: dict[str, str]) -> None:
    inputs = dict(part.split("=", 1) for part in row["inputs"].split("; "))
    ours = KINDS[row["kind"]](inputs)
    printed, exact = float(row["printed"]), float(row["exact"])
    if row["unit"] == "fraction":
        printed, exact = printed * 100, exact * 100  # we answer in percent
    tolerance = float(row["tolerance"]) * (100 if row["unit"] == "fraction" else 1)
    assert ours == pytest.approx(exact, rel=1e-4, abs=0.5 * 10 ** -len(row["exact"].partition(".")[2]))
    if row["status"] in {"printed wrong", "printed rounds down"}:
        assert abs(ours - printed) > tolerance
    else:
        assert ours == pytest.approx(printed, abs=tolerance * (1 + 1e-9))


def test_every_kind_is_worked_out_or_excused() -> None:
    assert {row["kind"] for row in EXAMPLES} == set(KINDS) | set(NOT_OFFERED)
    assert not set(KINDS) & set(NOT_OFFERED)


def test_every_example_names_a_source_that_is_spelled_out() -> None:
    named = {row["source"] for row in rows("materials_sources.csv")}
    assert {row["source"] for row in EXAMPLES} <= named
    assert len({row["id"] for row in EXAMPLES}) == len(EXAMPLES)


# ---------------------------------------------------------------------------------------------
# Content


def jug(ingredient: str = "urea", pounds_per_gal: float = 9.0) -> Product:
    density = pounds_per_gal * LB_GAL_KG_M3
    return Product("jug", Form.LIQUID, ingredient=ingredient, ingredient_pct=32.5, density_kg_m3=density)


def jug_offer(product: Product, price: object = 18) -> Offer:
    package_kg = parse_package("2.5 gal jug", product.density_kg_m3)
    return Offer("jug", "jug", "2.5 gal jug", package_kg, Decimal(str(price)), seller="shop")


def test_the_jug_of_common_practice() -> None:
    """Hand arithmetic (common practice, no source): 2.5 × 9 = 22.5 lb; × 0.325 × 0.46 = 3.36375 lb N;
    18 / 3.36375 = 5.3512 dollars per lb N."""
    product = jug()
    row = compare([product], [jug_offer(product)]).offers[0]
    assert row.nutrients_kg[N] / LB_KG == pytest.approx(3.36375, rel=1e-12)
    assert row.price_per_kg[N] * LB_KG == pytest.approx(5.351170569, rel=1e-9)
    words = [step.what for step in row.steps]
    assert words[0].startswith("jug holds 32.5 % urea × 46 % N in it (fertilizer grade; the pure compound")
    assert "46.65 %" in words[0]
    assert words[1] == "2.5 gal jug: 2.5 gal × 9 lb/gal"
    assert words[2] == "22.5 lb × 14.95 % N"
    assert words[3] == "$18.00 ÷ 3.364 lb N, all of the price on it"
    assert [step.value for step in row.steps] == pytest.approx([14.95, 22.5, 3.36375, 5.351170569])
    assert all(str(step.source) for step in row.steps)


def test_an_ingredient_can_be_meant_in_three_ways() -> None:
    """32.5 % urea is 14.95 % N at the fertilizer grade of 46 % (RB209; UGA Circular 933) and 15.16 % as
    the pure chemical (ISO 22241-1 states pure urea); a label's own figure beats both."""
    pure = molmass.Formula("CO(NH2)2")
    n_in_urea = 2 * molmass.Formula("N").mass / pure.mass
    assert nutrient_fractions(jug("urea")).fractions[N] == pytest.approx(0.1495)
    assert nutrient_fractions(jug("urea (pure)")).fractions[N] == pytest.approx(0.325 * n_in_urea, rel=1e-4)
    assert nutrient_fractions(jug("pure urea")).fractions[N] == pytest.approx(0.1516, abs=5e-5)
    assert nutrient_fractions(jug("urea 46-0-0")).fractions[N] == pytest.approx(0.1495)
    assert nutrient_fractions(jug("Urea, 45 % N")).fractions[N] == pytest.approx(0.325 * 0.45)
    assert nutrient_fractions(jug("carbamide")).fractions[N] == pytest.approx(0.1495)


def test_an_ingredient_with_its_own_grade_needs_no_table() -> None:
    found = ingredient_content("methylene something 38-0-0")
    assert found is not None
    assert found.fractions == {N: 0.38}
    assert found.source is LABEL
    sulfate = ingredient_content("ammonium sulfate 21-0-0-24S")
    assert sulfate is not None
    assert sulfate.fractions == {N: 0.21, Nutrient.S: 0.24}


@pytest.mark.parametrize("text", ["", "unicorn dust", "pure unicorn dust"])
def test_an_unknown_ingredient_is_not_guessed(text: str) -> None:
    assert ingredient_content(text) is None


FORMULAS = {
    "urea": ("CO(NH2)2", {"N": ("N", 2)}),
    "ammonium nitrate": ("NH4NO3", {"N": ("N", 2)}),
    "ammonium sulfate": ("(NH4)2SO4", {"N": ("N", 2), "S": ("S", 1)}),
    "monoammonium phosphate": ("NH4H2PO4", {"N": ("N", 1), "P2O5": ("P2O5", 0.5)}),
    "diammonium phosphate": ("(NH4)2HPO4", {"N": ("N", 2), "P2O5": ("P2O5", 0.5)}),
    "potassium chloride": ("KCl", {"K2O": ("K2O", 0.5)}),
    "potassium sulfate": ("K2SO4", {"K2O": ("K2O", 1), "S": ("S", 1)}),
}


@pytest.mark.parametrize("item", INGREDIENTS, ids=lambda item: item.name)
def test_pure_ingredients_against_molmass(item) -> None:
    formula, parts = FORMULAS[item.name]
    whole = molmass.Formula(formula).mass
    assert {nutrient.value for nutrient in item.pure} == set(parts)
    for nutrient, share in item.pure.items():
        part, count = parts[nutrient.value]
        assert share == pytest.approx(count * molmass.Formula(part).mass / whole, rel=2e-4)


@pytest.mark.parametrize("item", INGREDIENTS, ids=lambda item: item.name)
def test_a_fertilizer_grade_never_beats_its_pure_compound(item) -> None:
    """Chemistry bounds the grade from above (KCl and urea come closest)."""
    for nutrient, pct in item.grade_pct.items():
        assert 0.7 * item.pure[nutrient] < pct / 100 <= item.pure[nutrient] * 1.0001
    assert str(item.grade_source)


def test_the_guarantee_beats_the_ingredient_which_fills_in_the_rest() -> None:
    label = Product("mix", Form.DRY, {N: 20}, ingredient="ammonium sulfate", ingredient_pct=100)
    content = nutrient_fractions(label)
    assert content.fractions == {N: 0.20, Nutrient.S: 0.24}
    assert content.steps[0].source is LABEL
    assert "Alabama Extension" in str(content.steps[1].source)


def test_a_nutrient_not_guaranteed_is_absent_and_a_guaranteed_zero_is_zero() -> None:
    content = nutrient_fractions(Product("urea", Form.DRY, {N: 46, P2O5: 0}))
    assert content.fractions == {N: 0.46, P2O5: 0.0}
    assert K2O not in content.fractions
    assert supply_fractions(Product("urea", Form.DRY, {N: 46, P2O5: 0}), ()) == {"N": 0.46}


def test_nitrogen_forms_from_label_then_ingredient_else_unknown() -> None:
    stated = Product("x", Form.DRY, {N: 28}, nitrogen_forms_pct={"urea": 14, "nitrate": 7})
    assert nitrogen_forms(stated) == {"urea": 0.14, "nitrate": 0.07}
    assert nitrogen_forms(jug()) == pytest.approx({"urea": 0.1495})
    nitrate = Product("x", Form.DRY, ingredient="ammonium nitrate", ingredient_pct=100)
    assert nitrogen_forms(nitrate) == pytest.approx({"ammoniacal": 0.17, "nitrate": 0.17})
    assert nitrogen_forms(dry(N=19, P2O5=19)) is None


def test_lime_is_a_supply_in_the_basis_its_label_allows() -> None:
    stone = Product("stone", Form.LIME, {Nutrient.CA: 32}, lime=LimeLabel(cce_pct=90, enp_lb_per_ton=1100))
    supplies = supply_fractions(stone, [LimeBasis.ENP, LimeBasis.ENP_OHIO, LimeBasis.CCE])
    assert supplies == pytest.approx({"Ca": 0.32, "lime ENP": 0.55, "lime CCE": 0.90})


@pytest.mark.parametrize(
    ("pct", "basis", "nutrient", "label_pct"),
    [
        (50, "SO3", Nutrient.S, 20.02),  # RB209: kieserite 50 % SO3; 0.40046
        (25, "MgO", Nutrient.MG, 15.08),  # RB209: kieserite 25 % MgO; 0.60304
        (19, "CaO", Nutrient.CA, 13.58),  # RB209: calcium nitrate 19 % CaO; 0.71470
        (10, "P", P2O5, 22.91),
        (10, "K", K2O, 12.05),
        (7, "NH3", N, 5.757),
    ],
)
def test_percents_in_another_basis(pct: float, basis: str, nutrient: Nutrient, label_pct: float) -> None:
    """Factors recomputed with two chemistry libraries in ``published/conversion_factors.csv``."""
    found = restate(pct, basis)
    assert found.nutrient is nutrient
    assert found.pct == pytest.approx(label_pct, abs=0.005)


def test_an_unknown_basis_is_refused_by_name() -> None:
    with pytest.raises(InputError, match="'plant food'"):
        restate(10, "plant food")


# ---------------------------------------------------------------------------------------------
# Faults


def faults(product: Product) -> list[str]:
    return [str(problem) for problem in check_product(product, "products.csv, row 3")]


@pytest.mark.parametrize(
    ("product", "field", "value"),
    [
        (dry(N=-5), "row 3, n:", "-5"),
        (dry(K2O=160), "row 3, k2o:", "160"),
        (dry(N=math.nan), "row 3, n:", "nan"),
        (dry(N=46, P2O5=46, K2O=19), "row 3, analysis:", "111 %"),
        (dry(), "row 3, analysis:", "no guarantee"),
        (Product(" ", Form.DRY, {N: 46}), "row 3, product:", "no name"),
        (Product("x", Form.DRY, ingredient="grit", ingredient_pct=32), "row 3, ingredient:", "'grit'"),
        (Product("x", Form.LIQUID, ingredient="urea"), "row 3, ingredient_pct:", "'urea'"),
        (Product("x", Form.LIQUID, ingredient="urea", ingredient_pct=132), "row 3, ingredient_pct:", "132"),
        (Product("x", Form.DRY, ingredient_pct=32), "row 3, ingredient_pct:", "32"),
        (Product("x", Form.LIQUID, {N: 28}, density_kg_m3=-1.0), "row 3, density:", "lb/gal"),
        (Product("x", Form.LIME), "row 3, form:", "lime label"),
        (Product("x", Form.LIME, lime=LimeLabel()), "row 3, cce:", "neither"),
        (Product("x", Form.LIME, lime=LimeLabel(cce_pct=260)), "row 3, cce:", "260"),
        (Product("x", Form.LIME, lime=LimeLabel(cce_pct=90, moisture_pct=-2)), "row 3, moisture:", "-2"),
        (Product("x", Form.LIME, lime=LimeLabel(enp_lb_per_ton=9000)), "row 3, enp:", "9000"),
        (Product("x", Form.LIME, lime=LimeLabel(90, {8: 120})), "row 3, passing_8:", "120"),
        (
            Product("x", Form.LIME, lime=LimeLabel(cce_pct=90, passing_pct={8: 50, 60: 70})),
            "row 3, passing_60:",
            "70 % passes 60 mesh",
        ),
        (
            Product("x", Form.DRY, {N: 46}, min_rate_kg_ha=200 * 1.12085116, max_rate_kg_ha=100),
            "row 3, min_rate:",
            "200 lb/acre",
        ),
        (Product("x", Form.DRY, {N: 46}, max_rate_kg_ha=-1.12085116), "row 3, max_rate:", "-1 lb/acre"),
    ],
)  # fmt: skip
def test_an_impossible_label_is_an_error_that_names_place_and_value(
    product: Product, field: str, value: str
) -> None:
    assert has_errors(check_product(product, "products.csv, row 3"))
    text = next(line for line in faults(product) if field in line)
    assert value in text.split(": ", 1)[1]


def test_the_sum_over_100_says_what_oxygen_does_to_it() -> None:
    """60 % P2O5 and 55 % K2O add to 115 %; as elements 60 × 0.43643 + 55 × 0.83015 = 71.8 %."""
    text = next(line for line in faults(dry(P2O5=60, K2O=55)) if "analysis" in line)
    assert "115 %" in text
    assert "71.84 %" in text


def test_potassium_metaphosphate_at_exactly_100_percent_is_possible() -> None:
    """KPO3 is P2O5 and K2O and nothing else: 60.1 + 39.9 = 100 (molmass)."""
    whole = 2 * molmass.Formula("KPO3").mass
    p, k = (molmass.Formula(part).mass / whole * 100 for part in ("P2O5", "K2O"))
    assert not has_errors(check_product(dry(P2O5=p, K2O=k), "row"))


@pytest.mark.parametrize(
    ("product", "words"),
    [
        (Product("x", Form.LIQUID, {N: 20}, ingredient="urea", ingredient_pct=32.5), ("20 % N", "14.95 %")),
        (Product("x", Form.DRY, {N: 28}, nitrogen_forms_pct={"urea": 20, "nitrate": 20}), ("40 %", "28 %")),
        (Product("x", Form.LIME, lime=LimeLabel(enp_lb_per_ton=65)), ("65 lb per ton", "percent")),
        (Product("x", Form.LIME, lime=LimeLabel(cce_pct=120)), ("120 %", "dolomite")),
        (Product("x", Form.LIME, lime=LimeLabel(enp_lb_per_ton=1200, enp_state="Utah")), ("'Utah'", "ENP")),
    ],
)
def test_a_doubtful_label_is_a_warning_and_still_used(product: Product, words: tuple[str, ...]) -> None:
    problems = check_product(product, "products.csv, row 3")
    assert [problem.level for problem in problems] == [Level.WARNING]
    assert all(word in str(problems[0]) for word in words)


@pytest.mark.parametrize("material", known_materials(), ids=lambda item: item.product.product)
def test_a_sound_label_has_no_problem(material) -> None:
    assert check_product(material.product, "row") == ()


def test_an_offer_that_cannot_be_priced_says_why() -> None:
    label = Product("UAN", Form.LIQUID, {N: 28})
    missing = check_offer(Offer("1", "UAN", "275 gal tote", None, None), label, "offers.csv, row 2")
    assert [problem.level for problem in missing] == [Level.ERROR, Level.WARNING]
    assert "'275 gal tote' is a volume" in str(missing[0])
    assert "density" in missing[0].where
    assert "price" in missing[1].where
    free = check_offer(offer("UAN", 50, 0), label, "offers.csv, row 2")
    assert "0 is not more than zero" in str(free[0])
    negative = check_offer(offer("UAN", 50, -3), label, "offers.csv, row 2")
    assert "-3 is not more than zero" in str(negative[0])
    unknown = check_offer(offer("gravel", 50, 3), None, "offers.csv, row 2")
    assert "'gravel' has no label" in str(unknown[0])


# ---------------------------------------------------------------------------------------------
# Comparison


def test_all_the_price_goes_on_each_nutrient_in_turn() -> None:
    """50 lb of 19-19-19 holds 9.5 lb of each; 30 / 9.5 = 3.158 dollars per lb of any one of them."""
    row = compare([graded("19-19-19")], [offer("19-19-19", 50, 30)]).offers[0]
    for nutrient in (N, P2O5, K2O):
        assert row.nutrients_kg[nutrient] / LB_KG == pytest.approx(9.5)
        assert row.price_per_kg[nutrient] * LB_KG == pytest.approx(30 / 9.5)


def test_a_missing_price_keeps_the_pounds_and_a_missing_density_keeps_nothing() -> None:
    uan = Product("UAN", Form.LIQUID, {N: 28})
    made = compare(
        [graded("46-0-0"), uan], [offer("46-0-0", 50), Offer("2", "UAN", "tote", None, Decimal(9))]
    )
    first, second = made.offers
    assert first.nutrients_kg[N] / LB_KG == pytest.approx(23)
    assert first.price_per_kg == {}
    assert second.nutrients_kg == {}
    assert {problem.level for problem in made.problems} == {Level.WARNING, Level.ERROR}


def test_a_bad_label_is_reported_once_and_only_if_it_is_offered() -> None:
    bad, unused = dry("bad", N=-5), dry("unused", N=-6)
    made = compare([bad, unused], [offer("bad", 50, 20), offer("bad", 40, 18)])
    assert [problem.what for problem in made.problems] == ["-5 is not between 0 and 100 %"]
    assert made.offers[0].nutrients_kg == {}


def test_lime_is_priced_per_effective_ton_in_its_own_basis_first() -> None:
    """42 dollars a ton at 1,100 lb ENP a ton: 42 / 1100 × 2000 = 76.36 dollars per ton ENP."""
    stone = Product("stone", Form.LIME, lime=LimeLabel(cce_pct=92, enp_lb_per_ton=1100))
    row = compare([stone], [offer("stone", 2000, 42)]).offers[0]
    assert [entry.basis for entry in row.lime] == [LimeBasis.ENP, LimeBasis.CCE]
    assert row.lime[0].effective_kg / LB_KG == pytest.approx(1100)
    assert row.lime[0].price_per_effective_ton == pytest.approx(76.3636, abs=1e-4)
    assert row.lime[1].price_per_effective_ton == pytest.approx(42 / 0.92)
    assert row.steps[-1].what == "$42.00 ÷ 1,840 lb CCE × 2,000"


@given(
    pct=st.floats(0.1, 60),
    pounds=st.floats(1, 4000),
    price=st.decimals("0.01", "5000", places=2),
    times=st.integers(2, 9),
)
def test_a_bigger_package_at_a_price_in_proportion_costs_the_same_per_pound(
    pct, pounds, price, times
) -> None:
    one, many = compare(
        [dry(N=pct)], [offer("product", pounds, price), offer("product", pounds * times, price * times)]
    ).offers
    assert many.nutrients_kg[N] == pytest.approx(one.nutrients_kg[N] * times)
    assert many.price_per_kg[N] == pytest.approx(one.price_per_kg[N])


def test_the_order_of_offers_changes_nothing() -> None:
    labels = [graded("46-0-0"), graded("0-0-60")]
    offers = [offer("46-0-0", 50, 28), offer("0-0-60", 50, 21)]
    assert compare(labels[::-1], offers[::-1]).offers == compare(labels, offers).offers[::-1]


# ---------------------------------------------------------------------------------------------
# Costs


def test_break_even_price_of_the_jug_against_a_bag_of_urea() -> None:
    """A 50 lb bag of 46-0-0 at 28.50: 28.50 / 23 = 1.2391 dollars per lb N. The jug's 3.36375 lb N are
    worth 4.168 dollars at that (hand arithmetic)."""
    bag = compare([graded("46-0-0")], [offer("46-0-0", 50, "28.50")]).offers[0]
    product = jug()
    found = break_even_price(product, 22.5 * LB_KG, "N", bag.price_per_kg[N])
    assert found.total == pytest.approx(3.36375 * 28.50 / 23)
    assert found.total == pytest.approx(4.168, abs=0.0005)
    at_that = compare([product], [jug_offer(product, f"{found.total:.10f}")]).offers[0]
    assert at_that.price_per_kg[N] == pytest.approx(bag.price_per_kg[N])


def test_break_even_of_lime_in_its_basis() -> None:
    """1,650 lb ENP a ton in 50 lb bags: 41.25 lb; at 76.3636 dollars per ton ENP worth 1.575 dollars."""
    pellets = Product("pellets", Form.LIME, lime=LimeLabel(enp_lb_per_ton=1650))
    found = break_even_price(pellets, 50 * LB_KG, "lime ENP", 76.3636363636 / TON_KG)
    assert found.total == pytest.approx(1.575, abs=1e-6)


def test_break_even_for_a_nutrient_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="guarantees no K2O"):
        break_even_price(graded("46-0-0"), 50 * LB_KG, "K2O", 1.0)


def test_a_co_nutrient_counts_only_where_it_is_needed() -> None:
    """50 lb DAP 18-46-0: 9 lb N at 0.60 and 23 lb P2O5 at 0.70 is 5.40 + 16.10 = 21.50 dollars; where the
    legume needs no N it is worth 16.10 (hand arithmetic)."""
    prices = {"N": 0.60 / LB_KG, "P2O5": 0.70 / LB_KG}
    dap = graded("18-46-0")
    both = value_against_references(dap, 50 * LB_KG, prices)
    assert both.parts == pytest.approx({"N": 5.40, "P2O5": 16.10})
    assert both.total == pytest.approx(21.50)
    legume = value_against_references(dap, 50 * LB_KG, prices, {"P2O5"})
    assert legume.total == pytest.approx(16.10)
    assert any(step.value == "not needed, not counted" for step in legume.steps)
    unpriced = value_against_references(dap, 50 * LB_KG, {"P2O5": 0.70 / LB_KG})
    assert unpriced.total == pytest.approx(16.10)
    assert any(step.value == "no reference price, not counted" for step in unpriced.steps)


def test_price_of_phosphate_after_the_nitrogen_was_credited() -> None:
    """32.00 for the bag above less 5.40 for N leaves 26.60 on 23 lb P2O5: 1.1565 (hand arithmetic)."""
    dap = graded("18-46-0")
    found = price_after_credits(dap, offer("18-46-0", 50, 32), "P2O5", {"N": 0.60 / LB_KG}, {"N", "P2O5"})
    assert found.amount * LB_KG == pytest.approx(26.60 / 23)
    not_needed = price_after_credits(dap, offer("18-46-0", 50, 32), "P2O5", {"N": 0.60 / LB_KG}, {"P2O5"})
    assert not_needed.amount * LB_KG == pytest.approx(32 / 23)


def test_whole_packages_are_rounded_up_and_never_by_a_hair() -> None:
    bag = offer("p", 50)
    assert packages_for(100 * LB_KG, bag).count == 2
    assert packages_for(100.0000001 * LB_KG, bag).count == 3
    assert packages_for(3 * 0.1 * 50 / 0.3 * LB_KG, bag).count == 1  # 0.1 × 3 / 0.3 is 1 but for the last bit
    assert packages_for(0, bag).count == 0


def test_bulk_goes_by_its_increment_and_the_smallest_order() -> None:
    bulk = Offer("1", "lime", "1 ton bulk", TON_KG, Decimal(42), True, 0.5 * TON_KG, min_order=3)
    assert packages_for(3.6 * TON_KG, bulk).count == 4.0
    assert packages_for(3.4 * TON_KG, bulk).count == 3.5
    assert packages_for(1.2 * TON_KG, bulk).count == 3.0
    free = Offer("1", "lime", "1 ton bulk", TON_KG, Decimal(42), True)
    assert packages_for(1.23 * TON_KG, free).count == pytest.approx(1.23)
    assert packages_for(1.23 * TON_KG, free).left_over_kg == pytest.approx(0, abs=1e-9)


@given(pounds=st.floats(0.01, 1e5), bag=st.floats(1, 2000))
def test_packages_always_hold_the_need_with_less_than_one_to_spare(pounds: float, bag: float) -> None:
    found = packages_for(pounds * LB_KG, offer("p", bag))
    assert found.count * bag >= pounds * (1 - 1e-9)
    assert (found.count - 1) * bag < pounds
    assert found.left_over_kg / LB_KG == pytest.approx(found.count * bag - pounds, abs=1e-6)


def test_price_breaks() -> None:
    tiers = ((20, Decimal("32.50")), (40, Decimal("31.00")))
    bag = Offer("1", "MAP", "50 lb bag", 50 * LB_KG, Decimal("34.00"), price_breaks=tiers)
    assert [price_at(bag, n) for n in (1, 19, 20, 39, 40, 400)] == [
        Decimal(text) for text in ("34.00", "34.00", "32.50", "32.50", "31.00", "31.00")
    ]
    with pytest.raises(InputError, match="missing"):
        price_at(offer("p", 50), 1)


def test_delivered_and_spread_cost() -> None:
    """40 lb N/acre on 2.5 acres from 46-0-0 in 50 lb bags at 28.50, by hand: 100 lb N; ÷ 0.46 = 217.39 lb;
    ÷ 50 = 4.348 bags, so 5 at 28.50 = 142.50; delivery 25; hauling 250 lb at 0.02 = 5.00; spreading
    2.5 × 6.00 + 4.00 = 19.00; together 191.50, 76.60 an acre, 1.915 per lb N."""
    bag = Offer("1", "46-0-0", "50 lb bag", 50 * LB_KG, Decimal("28.50"), delivery_fee=Decimal(25))
    per_acre = Decimal(6) / Decimal(ACRE_M2 / HA_M2)
    found = delivered_cost(
        graded("46-0-0"),
        bag,
        "N",
        40 * LB_ACRE_KG_HA,
        2.5 * ACRE_M2,
        per_acre,
        Decimal(4),
        Decimal("0.02") / Decimal(LB_KG),
    )
    assert found.product_kg / LB_KG == pytest.approx(217.391304, rel=1e-8)
    assert found.product_kg_ha / LB_ACRE_KG_HA == pytest.approx(86.956522, rel=1e-8)
    assert found.packages.exact == pytest.approx(4.347826, rel=1e-6)
    assert found.packages.count == 5
    money = (found.purchase, found.delivery, found.hauling, found.spreading, found.total)
    assert money == tuple(Decimal(text) for text in ("142.50", "25", "5.00", "19.00", "191.50"))
    assert found.cost_per_ha * ACRE_M2 / HA_M2 == pytest.approx(76.60)
    assert found.cost_per_kg * LB_KG == pytest.approx(1.915)
    assert [step.value for step in found.steps][:3] == pytest.approx([100, 46, 217.391304])


def test_spreading_can_turn_a_ranking_around() -> None:
    """Oklahoma State (nitrogen source selection) says application cost can reverse a ranking: the cheaper
    pound here needs a dearer pass."""
    rate, area = 40 * LB_ACRE_KG_HA, ACRE_M2
    cheap = delivered_cost(graded("28-0-0"), offer("28-0-0", 2000, 300), "N", rate, area, Decimal(60))
    dear = delivered_cost(graded("46-0-0"), offer("46-0-0", 50, 30), "N", rate, area, Decimal(15))
    prices = compare(
        [graded("28-0-0"), graded("46-0-0")], [offer("28-0-0", 2000, 300), offer("46-0-0", 50, 30)]
    )
    assert prices.offers[0].price_per_kg[N] < prices.offers[1].price_per_kg[N]
    assert cheap.total > dear.total


@pytest.mark.parametrize(
    ("rate", "area", "word"), [(0, 1, "rate 0"), (1, -4, "area -4"), (math.nan, 1, "nan")]
)
def test_a_cost_needs_a_rate_and_an_area(rate: float, area: float, word: str) -> None:
    with pytest.raises(InputError, match=word):
        delivered_cost(graded("46-0-0"), offer("46-0-0", 50, 30), "N", rate, area)


def test_what_cannot_be_weighed_or_measured_out_is_refused_with_its_name() -> None:
    with pytest.raises(InputError, match="'275 gal tote'"):
        packages_for(1.0, Offer("1", "UAN", "275 gal tote", None, Decimal(9)))
    with pytest.raises(InputError, match="gravel: it guarantees no N"):
        product_needed(dry("gravel", K2O=1), "N", 1.0)
    with pytest.raises(InputError, match="UAN, density"):
        liquid_content(Product("UAN", Form.LIQUID, {N: 28}))
    with pytest.raises(InputError, match="true_kg_m3: 0"):
        tank_error(1270, 0)


# ---------------------------------------------------------------------------------------------
# Blends and seed


def test_a_formulated_ton_has_the_grade_it_was_made_for() -> None:
    """A ton of 10-10-10 from DAP, urea and potash, by hand: DAP 200 / 0.46 = 434.78 lb brings 78.26 lb N;
    urea (200 − 78.26) / 0.46 = 264.65 lb; potash 200 / 0.60 = 333.33 lb; filler 967.23 lb."""
    carriers = [graded("18-46-0"), graded("46-0-0"), graded("0-0-60")]
    made = formulate({N: 10, P2O5: 10, K2O: 10}, carriers, TON_KG)
    assert [mass / LB_KG for _product, mass in made.parts] == pytest.approx(
        [434.7826, 264.6503, 333.3333], abs=1e-3
    )
    assert made.filler_kg / LB_KG == pytest.approx(967.2338, abs=1e-3)
    assert made.analysis_pct == pytest.approx({N: 10, P2O5: 10, K2O: 10})
    assert made.grade == "10.0-10.0-10.0"


@given(st.lists(st.floats(1, 500), min_size=3, max_size=3))
def test_formulating_the_analysis_of_a_blend_gives_the_blend_back(pounds: list[float]) -> None:
    carriers = [graded("18-46-0"), graded("46-0-0"), graded("0-0-60")]
    mixed = blend(
        [(product, mass * LB_KG) for product, mass in zip(carriers, pounds, strict=True)], 50 * LB_KG
    )
    again = formulate(mixed.analysis_pct, carriers, mixed.mass_kg)
    assert [mass / LB_KG for _product, mass in again.parts] == pytest.approx(pounds, rel=1e-6)
    assert again.filler_kg / LB_KG == pytest.approx(50, rel=1e-5)


@pytest.mark.parametrize(
    ("target", "grades", "words"),
    [
        ({N: 40, K2O: 30}, ["46-0-0", "0-0-60"], "137% of the batch"),
        ({N: 1, P2O5: 20}, ["18-46-0", "46-0-0"], "less than nothing of 46-0-0"),
        ({N: 10, K2O: 10}, ["46-0-0", "21-0-0"], "no carrier of its own"),
        ({N: 10}, ["46-0-0", "21-0-0"], "1 nutrients are wanted"),
    ],
)
def test_a_grade_that_cannot_be_made_says_why(target, grades: list[str], words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        formulate(target, [graded(grade) for grade in grades], TON_KG)


def test_a_negative_part_cannot_be_mixed() -> None:
    with pytest.raises(InputError, match="46-0-0: -1 kg"):
        blend([(graded("46-0-0"), -1.0)])


def test_a_substitute_shows_what_else_it_brings() -> None:
    """100 lb of 10-10-10 (10 lb N) against urea: 10 / 0.46 = 21.74 lb, and 10 lb P2O5 and K2O less."""
    found = substitute(graded("10-10-10"), 100 * LB_KG, graded("46-0-0"), "N")
    assert found.mass_kg / LB_KG == pytest.approx(21.7391, abs=1e-4)
    change = {nutrient.value: kg / LB_KG for nutrient, kg in found.change_kg.items()}
    assert change == pytest.approx({"N": 0, "P2O5": -10, "K2O": -10}, abs=1e-9)


def test_the_cheaper_bag_of_seed_can_be_the_dearer_seed() -> None:
    """Penn State: lot A at $1.95 (85 % × 60 %) is $3.82 a pound of pure live seed, lot B at $2.50
    (99 % × 90 %) is $2.81 (exact; the page itself slips to $3.00 for lot B)."""
    a, b = pure_live_seed(85, 60), pure_live_seed(99, 90)
    assert price_of_pure_live_seed(1.95, a) == pytest.approx(3.82, abs=0.005)
    assert price_of_pure_live_seed(2.50, b) == pytest.approx(2.81, abs=0.005)


def test_hard_seed_counts_only_when_asked() -> None:
    assert pure_live_seed(98, 70).pls_fraction == pytest.approx(0.686)  # 0.98 × 0.70
    assert pure_live_seed(98, 70, 20).pls_fraction == pytest.approx(0.882)  # 0.98 × 0.90
    assert bulk_rate_kg_ha(10, pure_live_seed(80, 50)) == pytest.approx(25)  # 10 / 0.40


@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ((120, 80), "purity: 120 %"),
        ((98, -1), "germination: -1 %"),
        ((98, 90, 20), "110 %"),
        ((0, 80), "no live seed"),
    ],
)
def test_an_impossible_seed_tag_is_refused_with_its_figure(tag, words: str) -> None:
    with pytest.raises(InputError, match=words):
        pure_live_seed(*tag)


# ---------------------------------------------------------------------------------------------
# Acidity of nitrogen


@pytest.mark.parametrize(
    ("product", "per_100_lb"),
    [
        (graded("46-0-0"), None),
        (dry("Urea 46-0-0", N=46), 81),
        (dry("ammonium sulfate 21-0-0-24S", N=21, S=24), 110),
        (dry("Ammonium nitrate 34-0-0", N=34), 61),
        (dry("UAN solution 28-0-0", N=28), 49),
        (dry("UAN solution 32-0-0", N=32), 55),
        (dry("Blend 19-19-19", N=19, P2O5=19, K2O=19), None),
        (Product("house brand", Form.DRY, {N: 46}, contains=("urea",)), 81),
    ],
)
def test_published_acidity(product: Product, per_100_lb: float | None) -> None:
    """Alabama Extension ANR-0174: lb CaCO3 per 100 lb of product. A blend is not guessed at."""
    found = nitrogen_acidity(product, 100 * LB_KG)
    if per_100_lb is None:
        assert found.published_kg is None
        assert product.product in found.left_out[0]
    else:
        assert found.published_kg is not None
        assert found.published_kg / LB_KG == pytest.approx(per_100_lb)
        assert "ANR-0174" in str(found.steps[0].source)


def test_the_ceiling_is_another_convention_and_says_so() -> None:
    """Pitfalls of acid equivalents: ammonium sulfate 5.2 lb CaCO3 per lb N as published against 7.1 by
    stoichiometry; urea 1.8 against 3.6 (molmass: CaCO3 over 2 N)."""
    per_n = molmass.Formula("CaCO3").mass / 2 / molmass.Formula("N").mass
    sulfate = nitrogen_acidity(dry("ammonium sulfate", N=21), 100 * LB_KG)
    urea = nitrogen_acidity(dry("urea", N=46), 100 * LB_KG)
    assert sulfate.published_kg is not None
    assert sulfate.ceiling_kg is not None
    assert urea.published_kg is not None
    assert urea.ceiling_kg is not None
    assert sulfate.ceiling_kg / LB_KG / 21 == pytest.approx(2 * per_n, rel=1e-4)
    assert urea.ceiling_kg / LB_KG / 46 == pytest.approx(per_n, rel=1e-4)
    assert (sulfate.published_kg / LB_KG / 21, urea.published_kg / LB_KG / 46) == pytest.approx(
        (5.2, 1.8), abs=0.05
    )
    assert "published" in sulfate.steps[0].what
    assert "ceiling" in sulfate.steps[1].what


def test_a_urea_solution_counts_its_urea() -> None:
    """100 lb of a 32.5 % urea solution: 32.5 lb urea × 0.81 = 26.3 lb CaCO3."""
    found = nitrogen_acidity(jug(), 100 * LB_KG)
    assert found.published_kg is not None
    assert found.published_kg / LB_KG == pytest.approx(26.325)


def test_a_second_hand_figure_is_not_used() -> None:
    found = nitrogen_acidity(dry("DAP 18-46-0", N=18, P2O5=46), 100 * LB_KG)
    assert found.published_kg is None
    assert found.ceiling_kg is not None
    assert "diammonium phosphate" in found.left_out[0]


def test_no_nitrogen_no_acid() -> None:
    assert nitrogen_acidity(dry("Potash 0-0-60", N=0, K2O=60), 100.0).published_kg == 0.0


def test_a_season_of_nitrogen_adds_up_each_convention_by_itself() -> None:
    """100 lb urea (81) and 200 lb ammonium sulfate (220) make 301 lb CaCO3 as published; DAP counts only
    under the ceiling: 46 × 3.5728 + 42 × 2 × 3.5728 + 18 × 1.5 × 3.5728 = 560.9 lb (molmass)."""
    per_n = molmass.Formula("CaCO3").mass / 2 / molmass.Formula("N").mass
    parts = [
        nitrogen_acidity(dry("urea", N=46), 100 * LB_KG),
        nitrogen_acidity(dry("ammonium sulfate", N=21), 200 * LB_KG),
        nitrogen_acidity(dry("DAP", N=18, P2O5=46), 100 * LB_KG),
        nitrogen_acidity(graded("19-19-19"), 100 * LB_KG),
    ]
    found = add_up(parts)
    assert found.published_kg is not None
    assert found.ceiling_kg is not None
    assert found.published_kg / LB_KG == pytest.approx(301)
    assert found.ceiling_kg / LB_KG == pytest.approx((46 + 84 + 27) * per_n, rel=1e-4)
    assert [reason.split(":")[0] for reason in found.left_out] == ["diammonium phosphate", "19-19-19"]
    assert add_up([parts[3]]).published_kg is None


# ---------------------------------------------------------------------------------------------
# Common materials


@pytest.mark.parametrize("material", known_materials(), ids=lambda item: item.product.product)
def test_a_material_agrees_with_the_grade_in_its_own_name_and_names_its_source(material) -> None:
    grade = re.search(r"(\d+(?:\.\d+)?)-(\d+)-(\d+)", material.product.product)
    if grade:
        stated = [material.product.analysis_pct[nutrient] for nutrient in (N, P2O5, K2O)]
        assert stated == [float(part) for part in grade.groups()]
    assert str(material.analysis_source)
    has_density = material.product.density_kg_m3 is not None or material.bulk_kg_m3 is not None
    assert has_density is (material.density_source is not None)


def test_material_densities_as_printed() -> None:
    """Virginia Tech SPES-199NP Table 1: UAN 28 weighs 10.67 lb/gal at 60 F; the trade sheet gives granular
    urea 44-48 lb per cubic foot (1 lb/ft³ is 16.018463 kg/m³ by definition)."""
    known = {item.product.product: item for item in known_materials()}
    uan = known["UAN solution 28-0-0"].product
    assert uan.density_kg_m3 == pytest.approx(10.67 * 119.826427317, rel=1e-9)
    assert known["urea 46-0-0"].bulk_kg_m3 == pytest.approx((44 * 16.01846337, 48 * 16.01846337), rel=1e-8)
