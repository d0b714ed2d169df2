"""Units: exact factors against definitions and chemistry libraries, parsing, formatting, refusals.

Second opinions from outside: a pint registry of our own making, molmass and periodictable, and the
published factors in ``published/conversion_factors.csv`` (sources in ``materials_sources.csv``).
"""

from __future__ import annotations

import csv
import math
import re
from decimal import Decimal
from pathlib import Path

import molmass
import periodictable
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loamwright import units, values
from loamwright.errors import AmbiguousNumberError, UnitError
from loamwright.money import format_money

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
    # NIST, "U.S. Survey Foot: Revised Unit Conversion Factors" (in force 1 January 2023), row acre:
    # 4046.856 422 4 m² with the international foot, 4046.872 609 874 m² with the survey foot. What pint calls
    # an acre has changed from one to the other and does not count here.
    assert pytest.approx(4046.8564224, rel=1e-14) == units.ACRE_M2
    assert units.convert(1, "acre", "m2") == pytest.approx(4046.8564224, rel=1e-14)
    assert units.parse_area("1 acre") / 4046.872609874 - 1 == pytest.approx(-4.0e-6, rel=0.01)


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
    # Charge to weight is no mass fraction: tests/soil/test_readings.py holds it against a chemistry library.
    assert chemical - {"PPM_PER_MEQ_100G"} == checked


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
        (1, "lb/ft³", "kg/m^3", 16.018463374),
        (1, "square yard", "sq. ft.", 9),
        (1, "cu yd", "ft3", 27),
        # NIST Handbook 44, Appendix C: gallon 231 in³, quart 57.75, pint 28.875, fluid ounce 1.8046875
        (1, "qt", "in3", 57.75),
        (1, "pt", "in3", 28.875),
        (1, "fl. oz.", "in3", 1.8046875),
        (1, "fluid ounce", "mL", 29.5735295625),  # 1.8046875 × 2.54³
        (1, "gal", "L", 3.785411784),
        (1, "oz/1000 ft2", "lb/acre", 43.56 / 16),
        (1, "lb/1000 gal", "kg/m3", 0.119826427317),
        (1, "lb/ton", "kg/t", 0.5),
        (1, "lb/short ton", "lb/US ton", 1),
        (1, "mg/100 g", "mg/kg", 10),
        (1, "ppm", "mg/kg", 1),
        (1, "%", "g/kg", 10),
        (1, "g/l", "mg/L", 1000),
        (1, "lb/1.000 sq ft", "lb/1000 ft2", 1),  # a thousand with the mark of much of Europe
        (1, "1/ton", "1/lb", 0.0005),
        (1, "1/50 lb", "1/lb", 0.02),
        (100, "ft/min", "m/s", 0.508),  # 30.48 m in 60 s
        (36, "km/h", "m/s", 10),
    ],
)
def test_convert_understands_trade_spellings(value: float, unit: str, to: str, expected: float) -> None:
    assert units.convert(value, unit, to) == pytest.approx(expected, rel=1e-10)


_PINT = pint.UnitRegistry()
_THEIRS = {  # units of ours that pint's own registry knows by another name
    "sq ft": "foot**2",
    "ft2": "foot**2",
    "m2": "meter**2",
    "cu yd": "yard**3",
    "ton": "short_ton",
    "short ton": "short_ton",
    "tonne": "metric_ton",
    "fl oz": "fluid_ounce",
    "mph": "mile/hour",
}


@pytest.mark.parametrize(
    "unit",
    [
        *(
            "lb",
            "ounce",
            "ton",
            "short ton",
            "kg",
            "tonne",
            "gram",
            "mg",
            "gal",
            "quart",
            "pint",
            "fl oz",
            "L",
            "mL",
        ),
        *(
            "hectare",
            "sq ft",
            "ft2",
            "m2",
            "cu yd",
            "foot",
            "inch",
            "yard",
            "mile",
            "cm",
            "mm",
            "km",
            "mph",
            "hour",
        ),
    ],
)
@given(value=st.floats(1e-3, 1e6))
def test_units_agree_with_a_pint_registry_of_its_own(unit: str, value: float) -> None:
    theirs = _PINT.Quantity(value, _THEIRS.get(unit, unit)).to_base_units()
    base = {
        "kilogram": "kg",
        "meter": "m",
        "meter ** 2": "m2",
        "meter ** 3": "m3",
        "meter / second": "m/s",
        "second": "s",
    }[str(theirs.units)]
    assert units.convert(value, unit, base) == pytest.approx(theirs.m, rel=1e-12)


def test_a_ton_is_a_tonne_in_a_metric_property_unless_the_word_says_otherwise() -> None:
    assert units.parse_rate("2.5 ton/ha", "metric") == pytest.approx(2500, rel=1e-12)
    assert units.parse_mass("1 ton", "metric") == pytest.approx(1000, rel=1e-12)
    assert units.parse_package("1 ton bulk", system="metric") == pytest.approx(1000, rel=1e-12)
    assert units.parse_mass("1 T", "metric") == pytest.approx(1000, rel=1e-12)
    for system in units.SYSTEMS:
        assert units.parse_mass("1 short ton", system) == pytest.approx(907.18474, rel=1e-12)
        assert units.parse_mass("1 US ton", system) == pytest.approx(907.18474, rel=1e-12)
        assert units.parse_mass("1 t", system) == pytest.approx(1000, rel=1e-12)
    with pytest.raises(UnitError, match="T may be a ton or a tonne"):
        units.parse_rate("2 T/acre")


@pytest.mark.parametrize(
    ("value", "unit", "to"), [(1, "foo", "kg"), (1, "", "kg"), (50, "lb", "lb/acre"), (1, "bu/acre", "kg/ha")]
)
def test_convert_refuses_and_names_both_units(value: float, unit: str, to: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.convert(value, unit, to)
    assert repr(unit) in str(caught.value)
    assert to in str(caught.value)


# Resolution 10 of the 22nd General Conference on Weights and Measures (2003): the decimal marker is the point
# or the comma on the line, and only a space may stand between groups of three digits. English print has a
# comma there, much of Europe a point.
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1,250.5", 1250.5),
        (" 6.3 ", 6.3),
        ("-2", -2.0),
        ("\N{MINUS SIGN}2", -2.0),
        ("+2", 2.0),
        (".5", 0.5),
        ("5,8", 5.8),
        ("0,125", 0.125),  # a group of thousands does not begin with zero
        ("1385,250", 1385.25),  # nor has it four digits before the mark
        ("1,234,567", 1234567.0),
        ("1.234.567", 1234567.0),
        ("1.234.567,5", 1234567.5),
        ("1,234,567.25", 1234567.25),
        ("1 234,5", 1234.5),
        ("1\N{NO-BREAK SPACE}234.5", 1234.5),
        ("1\N{THIN SPACE}234\N{THIN SPACE}567", 1234567.0),
        (
            "1\N{NARROW NO-BREAK SPACE}234,567",
            1234.567,
        ),  # the blank is between thousands, so the comma is not
        ("1.385", 1.385),
        ("1e3", 1000.0),
        ("1,385E+03", 1385.0),  # a spreadsheet's power of ten has one digit before the decimal mark
    ],
)
def test_read_number(text: str, value: float) -> None:
    assert units.read_number(text) == value


def test_a_comma_before_three_digits_is_settled_by_who_reads_or_asked() -> None:
    assert units.read_number("1,385", decimal_comma=True) == 1.385
    assert units.read_number("1,385", decimal_comma=False) == 1385.0
    for text, decimal_comma in (("1,385", None), ("1.385", True)):
        with pytest.raises(AmbiguousNumberError) as caught:
            units.read_number(text, decimal_comma)
        assert caught.value.choices == (1.385, 1385.0)
        assert text in caught.value.what
        for reading in re.findall(r"[0-9.]+", caught.value.fix):  # what we tell people to write is understood
            assert units.read_number(reading) in caught.value.choices


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            " ",
            ".",
            ",",
            "5.",
            "5,",
            "--1",
            "1 23",
            "1,23.4",
            "12,34,567",
            "1.2.3",
            "twelve",
            "12 lb",
            "(5)",
        ),
        *(
            "nan",
            "inf",
            "-Infinity",
            "1e400",
            "1e309",
            "1e99",
            "1e-50",
            "1_000",
            "0x10",
            "2+3",
            "2**9",
            "1/2",
        ),
        *("1 1/2", "½", "2 ½", "5²", "٣", "1\n2", "9" * 400, "1" + "0" * 5000),
    ],
)
def test_read_number_refuses_and_shows_the_text(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.read_number(text)
    assert repr(text[:39])[:-1] in caught.value.what
    assert caught.value.fix
    assert str(caught.value) == f"{caught.value.what}; {caught.value.fix}"
    assert len(caught.value.what) < 120


@given(st.text(st.sampled_from("0123456789.,eE+- /½\N{NO-BREAK SPACE}"), max_size=60))
def test_every_text_is_a_finite_number_or_refused(text: str) -> None:
    try:
        told = math.isfinite(units.read_number(text))
    except UnitError as error:
        told = bool(error.what and error.fix)
    assert told


@given(st.floats(-1e14, 1e14).filter(lambda x: x == 0 or abs(x) > 1e-29), st.sampled_from((".", ",")))
def test_numbers_survive_writing_and_reading(value: float, mark: str) -> None:
    shortest = repr(value).replace(".", mark)
    assert units.read_number(shortest, decimal_comma=mark == ",") == value
    for blank in " \N{NO-BREAK SPACE}\N{THIN SPACE}\N{NARROW NO-BREAK SPACE}":
        grouped = f"{value:,.4f}".replace(",", blank).replace(".", mark)
        assert units.read_number(grouped) == round(value, 4)


@given(st.decimals(0, 10**7, places=2))
def test_money_survives_writing_and_reading(amount: Decimal) -> None:
    assert units.parse_money(format_money(amount)) == amount


@pytest.mark.parametrize("text", ["$21.00 ea", "21 dollars", "€5", "", "$", "21.00/bag"])
def test_parse_money_refuses_and_shows_the_text(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        units.parse_money(text)
    assert repr(text) in str(caught.value)


def test_quantities_follow_the_rule_of_numbers() -> None:
    assert units.parse_rate("2,5 t/ha") == pytest.approx(2500, rel=1e-12)
    assert units.parse_mass("0,125 kg") == 0.125
    assert units.parse_mass("1 234,5 kg") == pytest.approx(1234.5, rel=1e-12)
    assert units.parse_mass("1,385 kg", decimal_comma=False) == pytest.approx(1385, rel=1e-12)
    assert units.parse_mass("1,385 kg", decimal_comma=True) == pytest.approx(1.385, rel=1e-12)
    assert units.parse_money("12,50") == Decimal("12.50")
    asked = {
        units.parse_mass: "1,385 kg",
        units.parse_length: "1,385 m",
        units.parse_area: "1,385 m2",
        units.parse_speed: "1,385 m/s",
        units.parse_rate: "1,385 kg/ha",
        units.parse_density: "1,385 kg/m3",
        units.parse_package: "1,385 kg bag",
        units.parse_quantity: "1,385 bu",
        units.parse_money: "$1,385",
    }
    for parse, text in asked.items():
        with pytest.raises(AmbiguousNumberError) as caught:
            parse(text)
        assert caught.value.choices == (1.385, 1385.0)


# Nothing in a text is worked out: these were read as 550 lb, 200 lb, nothing, and powers that never ended.
EXPRESSIONS = """
50 lb + 10 lb | 100 lb (2) | (50 lb) | 2*50 lb | 50*2 lb | 9**9**9 lb | 1/0 lb | 50 lb**9 | 50 lb**0.5
50 lb 10 oz | 50 lb lb | 50 lb-10 lb | 50 - 60 lb | 50 lb or 60 lb | 1/2 ton | ½ lb | 5² lb | $50 lb | 50 lb;
5 Mlb | 5 klb | 50 pounds_force | 50 lbf | 50 stone | 50 bags | 50 degF | 1_000 lb | nan lb | inf lb
٥ lb | 50 lb/0 | 50 gal/acre | 50 %
"""
NOT_ONE_QUANTITY = [
    *(text.strip() for text in EXPRESSIONS.replace("\n", "|").split("|") if text.strip()),
    "9" * 400 + " lb",
    "50 " + "l" * 5000,
    "50 " + "(" * 5000,
]


@pytest.mark.parametrize("text", NOT_ONE_QUANTITY, ids=[text[:20] for text in NOT_ONE_QUANTITY])
def test_nothing_is_worked_out_from_a_text(text: str) -> None:
    for parse in (units.parse_mass, units.parse_package):
        with pytest.raises(UnitError) as caught:
            parse(text)
        assert repr(text[:39])[:-1] in caught.value.what
        assert caught.value.fix


@pytest.mark.parametrize(
    "text",
    [
        "5 lb/0 acre",
        "5 lb/acre/acre",
        "5 lb/(acre)",
        "5 lb/acre**2",
        "5 lb/acre2",
        "5 lb/-3 acre",
        "5 /acre",
        "5 lb/",
    ],
)
def test_a_rate_has_one_unit_per_another(text: str) -> None:
    with pytest.raises(UnitError, match=r"is not a rate by weight|needs a number and a unit") as caught:
        units.parse_rate(text)
    assert repr(text) in caught.value.what


@given(st.text(st.sampled_from("0123456789.,-+*/()^² eEklbMgtonsqfacrhz%\N{NO-BREAK SPACE}_"), max_size=30))
def test_every_text_is_a_finite_amount_or_refused(text: str) -> None:
    for parse in (units.parse_mass, units.parse_rate, units.parse_area, units.parse_package):
        try:
            told = math.isfinite(parse(text) or 0.0)
        except UnitError as error:
            told = bool(error.what and error.fix)
        assert told


def test_parse_quantity_keeps_the_unit_as_written() -> None:
    assert units.parse_quantity("3,000 lb ENP/acre", decimal_comma=False) == values.Quantity(
        3000.0, "lb ENP/acre"
    )
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
    assert units.parse_package("1,000 lb tote", decimal_comma=False) == pytest.approx(453.59237)
    # 2.5 gal × 9 lb/gal = 22.5 lb
    assert units.parse_package("50-lb bag") == pytest.approx(22.6796185)  # was minus fifty
    jug = units.parse_package("2.5 gal jug", 9 * 119.826427317)
    assert jug == pytest.approx(22.5 * 0.45359237, rel=1e-10)


def test_a_volume_without_a_density_has_no_known_mass() -> None:
    assert units.parse_package("2.5 gal jug") is None


@pytest.mark.parametrize(
    "text", ["0 lb bag", "-5 lb bag", "bag", "2 x 25 lb", "2 500 lb totes", "50 ft roll", ""]
)
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
    assert units.parse_mass(text, decimal_comma=False) == pytest.approx(
        mass_kg, abs=0.5 * last_digit_kg * (1 + 1e-9)
    )


@given(st.floats(0.1, 50_000), st.sampled_from(units.SYSTEMS))
def test_rate_is_written_to_within_its_last_digit(rate_kg_ha: float, system: str) -> None:
    text = units.format_rate(rate_kg_ha, system)
    number, unit = text.split(" ")
    decimals = len(number.split(".")[1]) if "." in number else 0
    last_digit_kg_ha = units.convert(10**-decimals, unit, "kg/ha")
    assert units.parse_rate(text, decimal_comma=False) == pytest.approx(
        rate_kg_ha, abs=0.5 * last_digit_kg_ha * (1 + 1e-9)
    )


@given(st.floats(0, 1e8), st.sampled_from(units.SYSTEMS))
def test_area_and_length_are_written_to_within_their_last_digit(size: float, system: str) -> None:
    # acres have two decimals, hectares three, feet none, metres one
    area_last_m2, length_last_m = (40.468564224, 0.3048) if system == "us" else (10.0, 0.1)
    area_m2 = units.parse_area(units.format_area(size, system), system, decimal_comma=False)
    length_m = units.parse_length(units.format_length(size, system), system, decimal_comma=False)
    assert area_m2 == pytest.approx(size, abs=0.5 * area_last_m2 * (1 + 1e-6))
    assert length_m == pytest.approx(size, abs=0.5 * length_last_m * (1 + 1e-6))


@given(st.integers(1, 100_000))
def test_whole_feet_survive_writing_and_reading(feet: int) -> None:
    read_m = units.parse_length(units.format_length(feet * 0.3048), decimal_comma=False)
    assert read_m == pytest.approx(feet * 0.3048, rel=1e-12)


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
    assert format_money(Decimal("1250.5")) == "$1,250.50"
    assert units.format_figure(0) == "0"


def test_an_unknown_unit_system_is_refused_by_name() -> None:
    with pytest.raises(UnitError, match="'imperial'"):
        units.format_area(1.0, "imperial")


def test_our_definitions_are_those_of_a_units_library() -> None:
    """Each unit as pint's own definitions have it; those that have been of either foot are left out.

    NIST Handbook 44, Appendix C, surveyors' measure: a chain (ch) is 66 ft, 4 rods (rd), 100 links (li).
    """
    library = pint.UnitRegistry()
    names = [line.partition(" ")[0] for line in units._DEFINITIONS.split("\n") if line]
    assert len(names) == 33
    lengths = [units.parse_length(text) for text in ("1 chain", "4 rods", "100 links", "66 ft")]
    lengths += [units.parse_length(text) for text in ("1 ch", "4 rd", "100 li")]
    assert lengths == pytest.approx([66 * 0.3048] * 7, rel=1e-15)
    assert round(units.CHAIN_M, 4) == 20.1168  # 66 · 0.3048
    for name in set(names) - {"acre", "decare", "chain", "rod", "link"}:
        ours, theirs = (one.Quantity(1.0, name).to_base_units() for one in (units.registry(), library))
        assert ours.m == pytest.approx(theirs.to(str(ours.u)).m, rel=1e-15), name


@pytest.mark.parametrize(("text", "decimal"), [("1/1000 acre", "0.001 acre"), ("2 1/2 bags", "2.5 bags")])
def test_a_fraction_is_told_its_decimal(text: str, decimal: str) -> None:
    with pytest.raises(UnitError, match=f"is a fraction; write it as a decimal: {decimal}"):
        units.parse_quantity(text)
