"""Units: exact factors against definitions and chemistry libraries, parsing, formatting, refusals.

Second opinions from outside: a pint registry of our own making, molmass and periodictable, and the
published factors in ``published/conversion_factors.csv`` (sources in ``materials_sources.csv``).
"""

from __future__ import annotations

import csv
import math
from decimal import Decimal
from pathlib import Path

import molmass
import periodictable
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loamwright import units, values
from loamwright.errors import UnitError

PUBLISHED = Path(__file__).parent / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---------------------------------------------------------------------------------------------
# Exact definitions

# NIST Handbook 44 Appendix C: international foot 0.3048 m, avoirdupois pound 0.45359237 kg, US gallon
# 231 cubic inches, acre 43,560 square feet, short ton 2,000 lb. Worked out by hand to the last digit.
DEFINITIONS = {
    "FT_M": "0.3048",
    "MILE_M": "1609.344",  # 5280 × 0.3048
    "ACRE_M2": "4046.8564224",  # 43560 × 0.3048²
    "HA_M2": "10000",
    "LB_KG": "0.45359237",
    "TON_KG": "907.18474",  # 2000 × 0.45359237
    "GAL_M3": "0.003785411784",  # 231 × 0.0254³
}


@pytest.mark.parametrize(("name", "exact"), DEFINITIONS.items())
def test_constants_are_the_definitions(name: str, exact: str) -> None:
    assert getattr(units, name) == pytest.approx(float(exact), rel=1e-14)


def test_rates_and_densities_follow_from_the_definitions() -> None:
    # 0.45359237 / 4046.8564224 × 10000 and 0.45359237 / 0.003785411784, by hand with 12 digits
    assert pytest.approx(1.12085115619, rel=1e-11) == units.LB_ACRE_KG_HA
    assert pytest.approx(2241.70231239, rel=1e-11) == units.TON_ACRE_KG_HA
    assert pytest.approx(119.826427317, rel=1e-11) == units.LB_GAL_KG_M3


def test_the_acre_is_the_international_acre_not_the_survey_acre() -> None:
    survey = pint.UnitRegistry().Quantity(1, "acre").m_as("m**2")  # pint's own is the survey acre
    assert survey / units.ACRE_M2 - 1 == pytest.approx(4.0e-6, rel=0.01)
    assert units.convert(1, "acre", "m**2") == pytest.approx(4046.8564224, rel=1e-14)


# ---------------------------------------------------------------------------------------------
# Chemistry


@pytest.mark.parametrize(
    "row", rows("conversion_factors.csv"), ids=lambda row: f"{row['quantity']}-{row['source']}"
)
def test_factors_against_two_chemistry_libraries_and_print(row: dict[str, str]) -> None:
    def ratio(mass) -> float:
        return float(row["count"]) * mass(row["part"]) / (float(row["whole_count"]) * mass(row["whole"]))

    by_periodictable = ratio(lambda formula: periodictable.formula(formula).mass)
    by_molmass = ratio(lambda formula: molmass.Formula(formula).mass)
    # the two libraries carry different sets of atomic weights: mass fractions agree within 5e-5
    assert by_periodictable == pytest.approx(float(row["factor_periodictable"]), abs=6e-6)
    assert by_molmass == pytest.approx(float(row["factor_molmass"]), abs=6e-5)
    if row["constant"]:
        ours = getattr(units, row["constant"])
        assert ours == pytest.approx(by_periodictable, rel=1e-6)
        assert ours == pytest.approx(by_molmass, rel=1.5e-4)
    if row["published"]:
        digits = len(row["published"].split(".")[1])
        agrees = abs(by_periodictable - float(row["published"])) <= 0.5 * 10**-digits + 5e-6
        assert agrees is (row["differs"] == "no")
        # several printed factors are off in the fourth digit


def test_every_chemical_constant_is_checked() -> None:
    checked = {row["constant"] for row in rows("conversion_factors.csv")} - {""}
    chemical = {name for name in vars(units) if "_PER_" in name and not name.startswith("_")}
    assert chemical == checked


def test_factor_sources_are_spelled_out() -> None:
    named = {row["source"] for row in rows("materials_sources.csv")}
    assert {row["source"] for row in rows("conversion_factors.csv")} - {""} <= named


# ---------------------------------------------------------------------------------------------
# Reading


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1, "lb/acre", "kg/ha", 1.12085115619),
        (1, "lbs/ac", "kg/ha", 1.12085115619),
        (1, "lb per acre", "kg/ha", 1.12085115619),
        # 1 lb/1000 ft² is 43.56 lb/acre, by the definition of the acre
        (4, "lb/1000 ft2", "kg/ha", 4 * 43.56 * 1.12085115619),
        (4, "lb/1000 sq ft", "kg/ha", 4 * 43.56 * 1.12085115619),
        (4, "lbs per 1,000 sq. ft.", "kg/ha", 4 * 43.56 * 1.12085115619),
        (5, "lb/100 sq ft", "kg/ha", 5 * 435.6 * 1.12085115619),
        (3, "ton/acre", "kg/ha", 3 * 2241.70231239),
        (3, "t/ha", "kg/ha", 3000),
        (3, "Mg/ha", "kg/ha", 3000),  # a megagram; a milligram would be a billionth
        (3, "mg/kg", "g/kg", 0.003),
        (1, "cwt", "kg", 45.359237),
        (2, "oz", "lb", 0.125),
        (12, "in", "ft", 1),
        (60, "mph", "ft/s", 88),
        (1, "lb/cu ft", "kg/m**3", 16.018463374),  # 0.45359237 / 0.3048³
    ],
)
def test_convert_understands_trade_spellings(value: float, unit: str, to: str, expected: float) -> None:
    assert units.convert(value, unit, to) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("system_unit", ["lb", "short_ton", "ounce", "kg", "tonne", "gram"])
@given(value=st.floats(1e-3, 1e6))
def test_convert_agrees_with_a_pint_registry_of_its_own(system_unit: str, value: float) -> None:
    theirs = _PINT.Quantity(value, {"tonne": "metric_ton"}.get(system_unit, system_unit)).m_as("kg")
    assert units.convert(value, system_unit, "kg") == pytest.approx(theirs, rel=1e-12)


_PINT = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("value", "unit", "to"), [(1, "foo", "kg"), (1, "", "kg"), (50, "lb", "lb/acre"), (1, "bu/acre", "kg/ha")]
)
def test_convert_refuses_and_names_both_units(value: float, unit: str, to: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.convert(value, unit, to)
    assert repr(unit) in str(caught.value)
    assert to in str(caught.value)


@pytest.mark.parametrize(
    ("text", "value"), [("1,250.5", 1250.5), (" 6.3 ", 6.3), ("-2", -2.0), (".5", 0.5), ("1e3", 1000.0)]
)
def test_parse_number(text: str, value: float) -> None:
    assert units.parse_number(text) == value


@pytest.mark.parametrize(
    "text", ["", " ", ".", "1,25", "nan", "inf", "1e400", "12 lb", "1_000", "twelve", "--1"]
)
def test_parse_number_refuses_and_shows_the_text(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_number(text)
    assert repr(text) in str(caught.value)


@given(st.decimals(0, 10**7, places=2))
def test_money_survives_writing_and_reading(amount: Decimal) -> None:
    assert units.parse_money(units.format_money(amount)) == amount


@pytest.mark.parametrize("text", ["$21.00 ea", "21 dollars", "€5", "", "$", "21.00/bag"])
def test_parse_money_refuses_and_shows_the_text(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_money(text)
    assert repr(text) in str(caught.value)


def test_parse_quantity_keeps_the_unit_as_written() -> None:
    assert units.parse_quantity("3,000 lb ENP/acre") == values.Quantity(3000.0, "lb ENP/acre")
    assert units.parse_quantity("60 bu/acre") == values.Quantity(60.0, "bu/acre")


@pytest.mark.parametrize("text", ["lb/acre", "60", "", "1.2.3 lb", "2 1/2 ton"])
def test_parse_quantity_refuses_and_shows_the_text(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_quantity(text)
    assert text.split(" ")[0] in str(caught.value)


@pytest.mark.parametrize(
    ("parse", "text", "si"),
    [
        (units.parse_mass, "50 lb", 22.6796185),
        (units.parse_mass, "1 ton", 907.18474),
        (units.parse_length, "50 ft", 15.24),
        (units.parse_rate, "200 lb/acre", 224.170231239),
        (units.parse_density, "10.67 lb/gal", 10.67 * 119.826427317),
    ],
)
def test_parse_to_si(parse, text: str, si: float) -> None:
    assert parse(text) == pytest.approx(si, rel=1e-10)


@pytest.mark.parametrize(
    ("parse", "text", "kind"),
    [
        (units.parse_mass, "50 gal", "a mass"),
        (units.parse_length, "50 lb", "a length"),
        (units.parse_rate, "50 lb", "a rate by weight"),
        (units.parse_rate, "5 gal/acre", "a rate by weight"),
        (units.parse_density, "9 lb", "a density"),
    ],
)
def test_parse_refuses_another_dimension_and_says_which(parse, text: str, kind: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text)
    assert repr(text) in str(caught.value)
    assert kind in str(caught.value)


def test_parse_package() -> None:
    assert units.parse_package("50 lb bag") == pytest.approx(22.6796185)
    assert units.parse_package("1 ton bulk") == pytest.approx(907.18474)
    assert units.parse_package("ton") == pytest.approx(907.18474)
    assert units.parse_package("1,000 lb tote") == pytest.approx(453.59237)
    # 2.5 gal × 9 lb/gal = 22.5 lb
    jug = units.parse_package("2.5 gal jug", 9 * 119.826427317)
    assert jug == pytest.approx(22.5 * 0.45359237, rel=1e-10)


def test_a_volume_without_a_density_has_no_known_mass() -> None:
    assert units.parse_package("2.5 gal jug") is None


@pytest.mark.parametrize("text", ["0 lb bag", "-5 lb bag", "bag", "2 x 25 lb", "50 ft roll", ""])
def test_parse_package_refuses_and_shows_the_text(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_package(text)
    assert repr(text) in str(caught.value)


# ---------------------------------------------------------------------------------------------
# Writing, and back again


@given(st.integers(1, 9_999), st.sampled_from(units.SYSTEMS))
def test_mass_survives_writing_and_reading(tenths: int, system: str) -> None:
    mass_kg = tenths / 10 * (units.LB_KG if system == "us" else 1.0)
    assert units.parse_mass(units.format_mass(mass_kg, system)) == pytest.approx(mass_kg, rel=1e-12)


@given(st.floats(0.5, 1e6), st.sampled_from(units.SYSTEMS))
def test_mass_is_written_to_within_its_last_digit(mass_kg: float, system: str) -> None:
    text = units.format_mass(mass_kg, system)
    number, unit = text.split(" ")
    decimals = len(number.split(".")[1]) if "." in number else 0
    last_digit_kg = units.convert(10**-decimals, unit, "kg")
    assert units.parse_mass(text) == pytest.approx(mass_kg, abs=0.5 * last_digit_kg * (1 + 1e-9))


@given(st.floats(0.1, 50_000), st.sampled_from(units.SYSTEMS))
def test_rate_is_written_to_within_its_last_digit(rate_kg_ha: float, system: str) -> None:
    text = units.format_rate(rate_kg_ha, system)
    number, unit = text.split(" ")
    decimals = len(number.split(".")[1]) if "." in number else 0
    last_digit_kg_ha = units.convert(10**-decimals, unit, "kg/ha")
    assert units.parse_rate(text) == pytest.approx(rate_kg_ha, abs=0.5 * last_digit_kg_ha * (1 + 1e-9))


@given(st.integers(1, 100_000))
def test_whole_feet_survive_writing_and_reading(feet: int) -> None:
    assert units.parse_length(units.format_length(feet * 0.3048)) == pytest.approx(feet * 0.3048, rel=1e-12)


@given(st.floats(1e-6, 1e9), st.integers(1, 6))
def test_figure_keeps_its_significant_digits(value: float, significant: int) -> None:
    back = float(units.format_figure(value, significant).replace(",", ""))
    last_digit = min(10.0 ** (math.floor(math.log10(value)) - significant + 1), 1.0)
    assert back == pytest.approx(value, abs=0.5 * last_digit * (1 + 1e-9))


def test_formats_people_read() -> None:
    assert units.format_area(4046.8564224) == "1.00 acres"
    assert units.format_area(10_000, "metric") == "1.000 ha"
    assert units.format_mass(22.6796185) == "50.0 lb"
    assert units.format_mass(907.18474 * 2) == "2.00 tons"
    assert units.format_mass(2500, "metric") == "2.50 t"
    assert units.format_rate(100 * units.LB_ACRE_KG_HA) == "100 lb/acre"
    assert units.format_rate(12.5 * units.LB_ACRE_KG_HA) == "12.5 lb/acre"
    assert units.format_rate(2 * units.TON_ACRE_KG_HA) == "2.00 tons/acre"
    assert units.format_money(Decimal("1250.5")) == "$1,250.50"
    assert units.format_figure(0) == "0"


def test_an_unknown_unit_system_is_refused_by_name() -> None:
    with pytest.raises(UnitError, match="'imperial'"):
        units.format_area(1.0, "imperial")
