"""Lime scores, amounts, doses and prices against printed examples and hand arithmetic.

Printed answers stand in ``published/lime_examples.csv`` (sources in ``lime_spreading_sources.csv``). Rows
marked *not here* are about how much lime a soil needs, or cannot be worked out from what was read; the
note says which.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import molmass
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loamwright.errors import InputError
from loamwright.supplies import lime_score
from loamwright.supplies.lime_score import (
    DOSE_LIMITS,
    FORMULAS,
    MATERIAL_RULES,
    LimeScore,
    LimeSize,
    adjust_rate,
    dose_limit,
    efficiency_percent,
    magnesium_note,
    offer_in_basis,
    printed_basis,
    product_for_need,
    score,
    split_doses,
)
from loamwright.supplies.records import Form, LimeLabel, Product
from loamwright.units import CACO3_PER_CA_OH_2, LB_ACRE_KG_HA, LB_KG, TON_ACRE_KG_HA, TON_KG
from loamwright.values import LABEL, LimeBasis, Nutrient

PUBLISHED = Path(__file__).parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def stone(label: LimeLabel, **more) -> Product:
    return Product("stone", Form.LIME, lime=label, **more)


def lb_per_ton(product: Product, basis: LimeBasis) -> float:
    fraction = score(product, basis).fraction
    assert fraction is not None
    return fraction * 2000


# ---------------------------------------------------------------------------------------------
# Printed answers

Inputs = dict[str, str]


def _iowa_label(inputs: Inputs, cce: float, moisture: float) -> LimeLabel:
    passing = {int(key.removeprefix("passing_")): float(v) for key, v in inputs.items() if "passing" in key}
    return LimeLabel(cce_pct=cce, passing_pct=passing, moisture_pct=moisture)


def iowa_fineness(inputs: Inputs) -> float:
    steps = score(stone(_iowa_label(inputs, 100, 0)), LimeBasis.ECCE).steps
    found = next(step.value for step in steps if step.what.startswith("fineness"))
    assert isinstance(found, float)
    return found


def iowa_score(inputs: Inputs) -> float:
    label = _iowa_label(inputs, float(inputs["cce"]), float(inputs["moisture"]))
    return lb_per_ton(stone(label), LimeBasis.ECCE)


def tons_from_score(inputs: Inputs) -> float:
    label = LimeLabel(enm_lb_per_ton=float(inputs["lb_per_ton"]))
    found = score(stone(label), LimeBasis(inputs["basis"]))
    need_kg_ha = float(inputs["need_lb"]) * LB_ACRE_KG_HA
    return product_for_need(need_kg_ha, found).amount / TON_ACRE_KG_HA


def rate_for_material(inputs: Inputs) -> float:
    rule = next(rule for rule in MATERIAL_RULES if rule.name == inputs["rule"])
    return adjust_rate(float(inputs["rate"]), rule, float(inputs["have"])).amount


def size_fraction(inputs: Inputs) -> float:
    high = float(inputs["high_mm"]) if inputs["high_mm"] else None
    size = LimeSize(float(inputs["low_mm"]), high, float(inputs["share"]), float(inputs["nv"]))
    found = efficiency_percent([size])
    assert found.fraction is not None
    return found.fraction * 100


def pure_compound(inputs: Inputs) -> float:
    assert inputs["compound"] == "Ca(OH)2"
    return CACO3_PER_CA_OH_2 * 100


KINDS: dict[str, Callable[[Inputs], float]] = {
    "iowa fineness": iowa_fineness,
    "iowa score": iowa_score,
    "tons from score": tons_from_score,
    "rate for material": rate_for_material,
    "size fraction": size_fraction,
    "pure compound": pure_compound,
}
EXAMPLES = rows("lime_examples.csv")


@pytest.mark.parametrize("row", [row for row in EXAMPLES if row["kind"] in KINDS], ids=lambda row: row["id"])
def test_printed_answer(row: dict[str, str]) -> None:
    inputs = dict(part.split("=", 1) for part in row["inputs"].split("; "))
    ours = KINDS[row["kind"]](inputs)
    decimals = len(row["exact"].partition(".")[2])
    assert ours == pytest.approx(float(row["exact"]), abs=0.5 * 10**-decimals + 1e-9)
    assert ours == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]) * (1 + 1e-9))


def test_every_example_is_worked_out_or_excused_and_its_source_spelled_out() -> None:
    named = {row["source"] for row in rows("lime_spreading_sources.csv")}
    for row in EXAMPLES:
        assert row["source"] in named
        assert (row["kind"] in KINDS) is (row["status"] == "ok")
        assert row["status"] == "ok" or row["note"]


# ---------------------------------------------------------------------------------------------
# Scores

# One stone: CCE 90 %; through 4, 8, 10, 20, 40, 50, 60, 100 mesh.
SIEVES = {4: 100.0, 8: 95.0, 10: 90.0, 20: 80.0, 40: 65.0, 50: 58.0, 60: 50.0, 100: 35.0}
STONE = stone(LimeLabel(cce_pct=90, passing_pct=SIEVES, moisture_pct=4))


@pytest.mark.parametrize(
    ("basis", "fineness_pct", "expected_lb_per_ton"),
    [
        # Iowa: 0.1×100 + 0.3×95 + 0.6×50 = 68.5; × 0.90 × 0.96 × 2000 = 1183.68
        (LimeBasis.ECCE, 68.5, 1183.68),
        # Missouri: (95−65)×0.25 + (65−50)×0.60 + 50×1.00 = 66.5; × 0.90 × 800 = 478.8
        (LimeBasis.ENM, 66.5, 478.8),
        # New York: (80−50)×0.40 + (50−35)×0.80 + 35×1.00 = 59; × 0.90 = 53.1 %, 1062 lb a ton
        (LimeBasis.ENV, 59.0, 1062.0),
        # Mississippi: (90−58)×0.5 + 58 = 74; × 0.90 = 66.6 %, 1332 lb a ton
        (LimeBasis.RNV, 74.0, 1332.0),
        # Michigan: (95−50)×0.5 + 50 = 72.5; × 0.90 = 65.25 %, 1305 lb a ton
        (LimeBasis.ECC, 72.5, 1305.0),
    ],
)
def test_one_stone_by_five_states(basis: LimeBasis, fineness_pct: float, expected_lb_per_ton: float) -> None:
    """Hand arithmetic on the factors each state publishes; the same stone scores five ways."""
    found = score(STONE, basis)
    assert lb_per_ton(STONE, basis) == pytest.approx(expected_lb_per_ton)
    by_class, (total, last) = found.steps[:-2], found.steps[-2:]
    assert sum(step.value for step in by_class) == pytest.approx(fineness_pct)
    assert total.value == pytest.approx(fineness_pct)
    assert last.value == pytest.approx(expected_lb_per_ton)
    assert {str(step.source) for step in found.steps} == {str(FORMULAS[basis].source)}


def test_the_steps_can_be_followed_by_hand() -> None:
    words = [step.what for step in score(STONE, LimeBasis.ENM).steps]
    assert words == [
        "through 8 mesh, held on 40: 30 % × 0.25",
        "through 40 mesh, held on 60: 15 % × 0.6",
        "through 60 mesh: 50 % × 1",
        "fineness: the classes added",
        "CCE 90 % × fineness 66.5 % × 800 lb",
    ]


@pytest.mark.parametrize("basis", FORMULAS)
def test_pure_fine_calcium_carbonate_scores_the_whole(basis: LimeBasis) -> None:
    """Everything through 100 mesh, CCE 100 %, dry: 2,000 lb a ton, but 800 lb ENM in Missouri."""
    flour = stone(LimeLabel(cce_pct=100, passing_pct={100: 100}, moisture_pct=0))
    assert lb_per_ton(flour, basis) == pytest.approx(800 if basis is LimeBasis.ENM else 2000)


@pytest.mark.parametrize("basis", FORMULAS)
def test_gravel_scores_nothing(basis: LimeBasis) -> None:
    """Nothing through 4 mesh means nothing through any finer sieve; Nebraska counts a tenth of it."""
    gravel = stone(LimeLabel(cce_pct=100, passing_pct={4: 0}, moisture_pct=0))
    assert score(gravel, basis).fraction == (0.1 if basis is LimeBasis.ECC_NEBRASKA else 0)


@pytest.mark.parametrize("basis", FORMULAS)
@given(data=st.data(), cce=st.floats(1, 108))
def test_finer_or_purer_never_scores_less(basis: LimeBasis, data: st.DataObject, cce: float) -> None:
    amounts = sorted(data.draw(st.lists(st.floats(0, 100), min_size=8, max_size=8)), reverse=True)
    passing = dict(zip(SIEVES, amounts, strict=True))
    finer = {mesh: pct + (100 - pct) * 0.5 for mesh, pct in passing.items()}
    base = lb_per_ton(stone(LimeLabel(cce, passing, 3)), basis)
    assert lb_per_ton(stone(LimeLabel(cce, finer, 3)), basis) >= base
    assert lb_per_ton(stone(LimeLabel(cce * 1.1, passing, 3)), basis) >= base
    assert 0 <= base <= FORMULAS[basis].pure_lb_per_ton * cce / 100 * (1 + 1e-12)


@pytest.mark.parametrize(
    ("label", "basis", "words"),
    [
        (LimeLabel(cce_pct=90, passing_pct={8: 95, 60: 50}), LimeBasis.ECCE, ("4 mesh", "moisture")),
        (LimeLabel(cce_pct=90, passing_pct={8: 95, 60: 50}), LimeBasis.ENM, ("40 mesh",)),
        (LimeLabel(passing_pct=SIEVES), LimeBasis.ECC, ("calcium carbonate equivalent",)),
        (LimeLabel(cce_pct=90, passing_pct={8: 50, 60: 70}), LimeBasis.ECC, ("must not rise",)),
        (LimeLabel(cce_pct=90, passing_pct=SIEVES), LimeBasis.ENP, ("Minnesota", "not been read")),
        (LimeLabel(cce_pct=90, passing_pct=SIEVES), LimeBasis.ENP_OHIO, ("Ohio", "moisture")),
        (LimeLabel(cce_pct=90, passing_pct=SIEVES), LimeBasis.EP, ("each size fraction",)),
        (LimeLabel(enp_lb_per_ton=1100), LimeBasis.CCE, ("no calcium carbonate equivalent",)),
    ],
)  # fmt: skip
def test_a_score_that_cannot_be_known_is_none_with_the_reason(
    label: LimeLabel, basis: LimeBasis, words: tuple[str, ...]
) -> None:
    found = score(stone(label), basis)
    assert found.fraction is None
    assert all(word in found.reason for word in words)


@pytest.mark.parametrize("basis", LimeBasis)
def test_a_fertilizer_has_no_lime_score(basis: LimeBasis) -> None:
    found = score(Product("urea", Form.DRY, {Nutrient.N: 46}), basis)
    assert found.fraction is None
    assert "urea has no lime label" in found.reason


def test_the_printed_score_beats_the_sieves_and_belongs_to_its_own_state() -> None:
    label = LimeLabel(cce_pct=90, passing_pct=SIEVES, moisture_pct=4, ecce_pct=55, enp_lb_per_ton=1100)
    assert score(stone(label), LimeBasis.ECCE).fraction == 0.55
    minnesota = score(stone(label), LimeBasis.ENP)
    assert minnesota.fraction == 0.55
    assert minnesota.steps[0].source is LABEL
    assert (
        "second hand" in score(stone(label), LimeBasis.ENP_OHIO).reason
    )  # by its own formula, not from 1,100
    ohio = LimeLabel(enp_lb_per_ton=1500, enp_state="Ohio")
    assert score(stone(ohio), LimeBasis.ENP_OHIO).fraction == 0.75
    assert score(stone(ohio), LimeBasis.ENP).fraction is None


@pytest.mark.parametrize(
    ("label", "basis"),
    [
        (LimeLabel(enp_lb_per_ton=1100), LimeBasis.ENP),
        (LimeLabel(enp_lb_per_ton=1100, enp_state="minnesota"), LimeBasis.ENP),
        (LimeLabel(enp_lb_per_ton=1100, enp_state="OH"), LimeBasis.ENP_OHIO),
        (LimeLabel(enp_lb_per_ton=1100, enp_state="Utah"), None),
        (LimeLabel(ecce_pct=60), LimeBasis.ECCE),
        (LimeLabel(enm_lb_per_ton=400), LimeBasis.ENM),
        (LimeLabel(cce_pct=90), None),
    ],
)
def test_which_score_a_label_prints(label: LimeLabel, basis: LimeBasis | None) -> None:
    assert printed_basis(label) is basis


def test_cce_alone_is_for_fine_lime_and_says_so() -> None:
    """Penn State: 95 % through 20 mesh, 60 % through 60, 50 % through 100 is fine-sized."""
    fine = score(stone(LimeLabel(cce_pct=95, passing_pct={20: 98, 60: 70, 100: 55})), LimeBasis.CCE)
    coarse = score(stone(LimeLabel(cce_pct=95, passing_pct={20: 80, 60: 50, 100: 35})), LimeBasis.CCE)
    unsieved = score(stone(LimeLabel(cce_pct=95)), LimeBasis.CCE)
    assert fine.fraction == coarse.fraction == unsieved.fraction == 0.95
    assert fine.reason == ""
    assert "80 % through 20 mesh, 95 % asked" in coarse.reason
    assert "not fully stated" in unsieved.reason


def test_moisture_a_formula_does_not_know_is_said_not_applied() -> None:
    wet = score(stone(LimeLabel(cce_pct=90, passing_pct=SIEVES, moisture_pct=8)), LimeBasis.ENM)
    assert wet.fraction == score(stone(LimeLabel(cce_pct=90, passing_pct=SIEVES)), LimeBasis.ENM).fraction
    assert "moisture" in wet.reason
    assert "8 %" in wet.reason


def test_pure_compounds_against_molmass() -> None:
    def mass(formula: str) -> float:
        return molmass.Formula(formula).mass

    assert pytest.approx(mass("CaCO3") / mass("Ca(OH)2"), rel=1e-4) == CACO3_PER_CA_OH_2


def test_western_australia_sums_size_by_size() -> None:
    """By the published rule: 60 % × 90 × 1 + 30 % × 80 × 0.5 + 10 % × 50 × 0.2 = 54 + 12 + 1 = 67 %."""
    found = efficiency_percent(
        [LimeSize(0, 0.5, 60, 90), LimeSize(0.5, 1.0, 30, 80), LimeSize(1.0, None, 10, 50)]
    )
    assert found.basis is LimeBasis.EP
    assert [step.value for step in found.steps] == pytest.approx([54, 12, 1, 67])


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ([LimeSize(0.25, 1.0, 50, 90)], "0.25-1 mm: it straddles the class edge of 0.5 mm"),
        ([LimeSize(0.5, None, 50, 90)], "over 0.5 mm: it straddles the class edge of 1 mm"),
        ([LimeSize(0, 0.5, 80, 90), LimeSize(0.5, 1, 40, 90)], "the shares add to 120 %"),
    ],
)
def test_sizes_that_do_not_fit_the_classes_are_refused(sizes: list[LimeSize], words: str) -> None:
    with pytest.raises(InputError, match=words):
        efficiency_percent(sizes)


# ---------------------------------------------------------------------------------------------
# Amounts and prices


def test_lime_needs_a_known_score_of_more_than_zero() -> None:
    unknown = score(stone(LimeLabel(cce_pct=90)), LimeBasis.ENP)
    with pytest.raises(InputError, match=r"stone, ENP: .*no Minnesota ENP is printed"):
        product_for_need(1000.0, unknown, "stone")
    with pytest.raises(InputError, match="its score is zero"):
        product_for_need(1000.0, LimeScore(LimeBasis.CCE, 0.0), "gravel")


def test_minnesota_wildlife_row_in_tons() -> None:
    """Univ. of Minnesota, Fertilizing wildlife food plots: buffer 6.3, Area 1: 3,500 lb ENP/acre, 3.5 tons
    of lime of 1,000 lb ENP a ton."""
    found = product_for_need(
        3500 * LB_ACRE_KG_HA, score(stone(LimeLabel(enp_lb_per_ton=1000)), LimeBasis.ENP)
    )
    assert found.amount / TON_ACRE_KG_HA == pytest.approx(3.5)
    assert found.steps[-1].what == "need ÷ 1,000 lb ENP per ton of the product"


def test_a_rate_cannot_be_adjusted_to_nothing() -> None:
    with pytest.raises(InputError, match="0 is not more than zero"):
        adjust_rate(2.0, MATERIAL_RULES[0], 0)


def test_ohio_cost_per_acre() -> None:
    """Ohio: cost = recommended tons / (ENP / 2000) × price; 2 tons, ENP 1,600, 24 dollars: 60 dollars an
    acre (arithmetic on the published formula). By effective tons: 30 dollars × 2 effective tons."""
    ohio = score(stone(LimeLabel(enp_lb_per_ton=1600, enp_state="Ohio")), LimeBasis.ENP_OHIO)
    found = offer_in_basis(TON_KG, Decimal(24), ohio)
    assert found is not None
    assert found.price_per_effective_ton == pytest.approx(30)
    assert found.effective_kg / LB_KG == pytest.approx(1600)
    assert found.price_per_effective_ton * 2 == pytest.approx(60)


def test_the_dearer_ton_can_be_the_cheaper_effective_ton() -> None:
    """Western Australia: effective cost = 100 / EP × cost delivered and spread. 40 at 87 % is 45.98, 35 at
    60 % is 58.33 (arithmetic on the published formula)."""
    good = offer_in_basis(TON_KG, Decimal(40), LimeScore(LimeBasis.EP, 0.87))
    poor = offer_in_basis(TON_KG, Decimal(35), LimeScore(LimeBasis.EP, 0.60))
    assert good is not None
    assert poor is not None
    assert good.price_per_effective_ton == pytest.approx(45.977, abs=1e-3)
    assert poor.price_per_effective_ton == pytest.approx(58.333, abs=1e-3)


def test_an_offer_without_price_or_score() -> None:
    unpriced = offer_in_basis(TON_KG, None, LimeScore(LimeBasis.CCE, 0.9))
    assert unpriced is not None
    assert unpriced.price_per_effective_ton is None
    assert unpriced.effective_kg / TON_KG == pytest.approx(0.9)
    assert offer_in_basis(TON_KG, Decimal(24), LimeScore(LimeBasis.CCE, None, "why")) is None


@given(price=st.decimals("0.01", "500", places=2), cce=st.floats(1, 100), tons=st.floats(0.02, 30))
def test_price_times_effective_tons_is_the_price(price: Decimal, cce: float, tons: float) -> None:
    found = offer_in_basis(tons * TON_KG, price, LimeScore(LimeBasis.CCE, cce / 100))
    assert found is not None
    assert found.price_per_effective_ton is not None
    assert found.price_per_effective_ton * found.effective_kg / TON_KG == pytest.approx(float(price))


# ---------------------------------------------------------------------------------------------
# Doses


@pytest.mark.parametrize(
    ("limit_id", "tons_acre", "doses"),
    [
        ("missouri-surface", 2, 1),  # 2 tons at a time
        ("missouri-surface", 3, 2),
        ("missouri-surface", 4.5, 3),
        ("noble-surface", 2.5, 1),  # 2.5 tons a year on the surface
        ("noble-surface", 4, 2),
        ("noble-worked-in", 4, 1),  # up to 4 tons worked in
        ("tennessee-no-till", 4, 1),
        ("oregon-top-dress", 3, 2),  # 1 to 2 tons
        ("penn-state-forage", 4, 1),
        ("penn-state-forage", 5, 2),  # above 4: half and half
        ("penn-state-forage", 10, 2),
        ("kansas-no-till", 1, 2),  # half the rate, twice as often
        # turf: 100 lb/1000 sq ft is 4,356 lb/acre, 2.178 tons
        ("penn-state-turf", 2.178, 1),
        ("penn-state-turf", 2.2, 2),
        ("penn-state-greens", 2.178, 4),  # 25 lb/1000 sq ft
    ],
)
def test_doses_by_published_limits(limit_id: str, tons_acre: float, doses: int) -> None:
    found = split_doses(tons_acre * TON_ACRE_KG_HA, dose_limit(limit_id))
    assert len(found.rates_kg_ha) == doses
    assert sum(found.rates_kg_ha) / TON_ACRE_KG_HA == pytest.approx(tons_acre)
    assert found.owed_kg_ha == pytest.approx(sum(found.rates_kg_ha[1:]))
    assert found.steps[0].source == dose_limit(limit_id).source


@pytest.mark.parametrize(("lb_per_100_sqft", "doses"), [(8, 1), (10, 1), (11, 2), (20, 2), (21, 3), (40, 3)])
def test_penn_state_garden_doses(lb_per_100_sqft: float, doses: int) -> None:
    """Penn State home garden sheet: 11-20 lb per 100 sq ft two doses, 21 or more three."""
    rate_kg_ha = lb_per_100_sqft * 435.6 * LB_ACRE_KG_HA
    assert len(split_doses(rate_kg_ha, dose_limit("penn-state-garden")).rates_kg_ha) == doses


@given(rate=st.floats(1, 1e5))
def test_doses_add_up_and_none_is_over_the_limit(rate: float) -> None:
    for limit in DOSE_LIMITS:
        found = split_doses(rate, limit)
        assert math.fsum(found.rates_kg_ha) == pytest.approx(rate)
        if limit.max_kg_ha is not None and limit.max_doses is None:
            assert max(found.rates_kg_ha) <= limit.max_kg_ha * (1 + 1e-6)


def test_an_unknown_limit_is_refused_and_the_known_ones_listed() -> None:
    with pytest.raises(InputError, match="'utah' is not known") as caught:
        dose_limit("utah")
    assert all(limit.limit_id in str(caught.value) for limit in DOSE_LIMITS)


def test_a_split_is_told_in_words() -> None:
    found = split_doses(3 * TON_ACRE_KG_HA, dose_limit("missouri-surface"))
    assert "in 2 doses" in found.steps[0].what
    assert "at most 2.00 tons/acre at once, two to three years apart (not worked in)" in found.steps[0].what
    assert found.steps[0].value == pytest.approx(1.5)


# ---------------------------------------------------------------------------------------------
# Magnesium


def test_magnesium_is_mentioned_only_where_the_soil_is_low() -> None:
    """Ohio: dolomitic lime where soil Mg is under 50 ppm; 13 % Mg is 260 lb a ton (0.13 × 2000)."""
    dolomite = stone(LimeLabel(cce_pct=100), analysis_pct={Nutrient.MG: 13}, dolomitic=True)
    calcite = stone(LimeLabel(cce_pct=95), dolomitic=False)
    silent = stone(LimeLabel(cce_pct=95))
    named = stone(LimeLabel(cce_pct=95), dolomitic=True)
    assert magnesium_note(dolomite, None) is None
    assert magnesium_note(dolomite, False) is None
    brings = magnesium_note(dolomite, True)
    assert brings is not None
    assert brings.value == pytest.approx(260)
    for product, word in ((calcite, "is not dolomitic"), (silent, "does not say"), (named, "is dolomitic")):
        note = magnesium_note(product, True)
        assert note is not None
        assert word in note.what


def test_every_formula_and_rule_names_its_source() -> None:
    for item in (*FORMULAS.values(), *MATERIAL_RULES, *DOSE_LIMITS):
        assert len(str(item.source)) > 10
    assert lime_score.FORMULAS.keys() == {
        LimeBasis.ECCE,
        LimeBasis.ENM,
        LimeBasis.ENV,
        LimeBasis.RNV,
        LimeBasis.ECC,
        LimeBasis.ECC_NEBRASKA,
        LimeBasis.AI,
        LimeBasis.ENP_OHIO,  # read at second hand, and said so
    }  # the states whose factors were read; Minnesota only from the label
