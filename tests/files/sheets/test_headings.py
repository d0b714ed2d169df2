"""Headings as labs print them, units as they spell them, and the words this program reads them as.

`printed_headings.csv` holds headings read in publications and public example files, with what each of them
means by that publication; name, unit and test were typed from there, in this program's words.
"""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

import pytest

from loamwright.files.sheets.words.headings import is_subheading, read_heading
from loamwright.files.sheets.words.measures import find_units, read_unit
from loamwright.files.sheets.words.vocabulary import table_rows, vocabulary

PRINTED = list(
    csv.DictReader(Path(__file__).with_name("printed_headings.csv").read_text(encoding="utf-8").splitlines())
)

#: Words for units, extractants and methods that readers, ``--json`` and tests share.
UNITS = [
    "%",
    "cm",
    "cmol(+)/kg",
    "dS/m",
    "g/cm3",
    "g/kg DM",
    "ha",
    "in",
    "index",
    "kg/L",
    "kg/ha",
    "kg/m3",
    "kg/t",
    "lb/acre",
    "lb/ton",
    "meq/100 cm3",
    "meq/100 g",
    "mg/100 g",
    "mg/L",
    "mg/kg",
    "ppm",
    "ppm CaCO3/pH",
    "t/ha",
    "ton/acre",
]
EXTRACTANTS = [
    "Bray P1",
    "Bray P2",
    "Colwell",
    "DTPA",
    "HCl",
    "KCl",
    "KCl-40",
    "Mehlich-1",
    "Mehlich-3",
    "Mehlich-3 ICP",
    "Morgan",
    "Olsen",
    "ammonium acetate",
    "ammonium lactate",
    "ammonium nitrate",
    "calcium phosphate",
    "hot CaCl2",
    "hot water",
    "modified Morgan",
    "nitric acid",
]
METHODS = [
    "0.01 M CaCl2",
    "0.01 M CaCl2 1:5",
    "1:1 water",
    "1:5",
    "SMP",
    "Sikora",
    "Walkley-Black",
    "Woodruff",
    "loss on ignition",
    "equivalent water pH (calculated by the lab)",
    "modified Mehlich",
    "salt pH",
    "water",
    "water 1:5",
]


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: row["heading"])
def test_a_printed_heading_means_what_its_publication_says(row: dict[str, str]) -> None:
    heading = read_heading(row["heading"])
    assert heading.role == row["role"]
    assert heading.left == ()
    if row["role"] == "lime":
        assert row["name"] in (heading.basis or "", f"{heading.target_ph or ''}", "")
    else:
        assert (heading.analyte.name if heading.analyte else "") == row["name"]
    assert (heading.unit or "") == row["unit"]
    assert [test.name for test in heading.tests] == ([row["test"]] if row["test"] else [])


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_is_read_as_its_own_word(unit: str) -> None:
    found = read_unit(unit)
    assert found is not None
    assert found.names == (unit,)


@pytest.mark.parametrize("test", EXTRACTANTS)
def test_an_extractant_is_read_as_its_own_word(test: str) -> None:
    element = {"DTPA": "Zn", "HCl": "Zn", "KCl": "NO3-N", "KCl-40": "S", "hot water": "B", "hot CaCl2": "B"}
    element |= {
        "calcium phosphate": "S",
        "ammonium nitrate": "K",
        "nitric acid": "K",
        "ammonium acetate": "K",
    }
    heading = read_heading(f"{element.get(test, 'P')} ({test}) ppm")
    assert [found.name for found in heading.tests] == [test]
    assert heading.known


@pytest.mark.parametrize("method", METHODS)
def test_a_method_is_read_as_its_own_word(method: str) -> None:
    what = {
        "SMP": "Buffer pH",
        "Sikora": "Buffer pH",
        "Woodruff": "Buffer pH",
        "modified Mehlich": "Buffer pH",
    }
    what |= {"Walkley-Black": "OM", "loss on ignition": "OM", "1:5": "EC"}
    heading = read_heading(f"{what.get(method, 'pH')} ({method})".replace("pH (calculated by the lab)", ""))
    assert [found.name for found in heading.tests] == [method]


@pytest.mark.parametrize(
    ("text", "unit", "basis"),
    [
        ("lb P2O5/A", "lb/acre", "p2o5"),
        ("#ENP/A", "lb/acre", "enp"),
        ("lbs. per acre", "lb/acre", None),
        ("lb/1000 gal", "lb/1000 gal", None),
        ("Lbs/Ton", "lb/ton", None),
        ("kg N/m3", "kg/m3", "n"),
        ("kg/1000 L", "kg/m3", None),
        ("kg/tonne", "kg/t", None),
        ("T/ac", "ton/acre", None),
        ("me/100g", "meq/100 g", None),
        ("mEq/100 cm³", "meq/100 cm3", None),
        ("cmol(+) kg-1", "cmol(+)/kg", None),
        ("mg kg⁻¹", "mg/kg", None),
        ("µg/g", "mg/kg", None),
        ("mg/dm3", "mg/L", None),
        ("mmhos/cm", "dS/m", None),
        ("mS/cm", "dS/m", None),
        ("g/cc", "g/cm3", None),
        ("lb/1000 sq ft", "lb/1000 ft2", None),
        ("----- meq/100g -----", "meq/100 g", None),
    ],
)
def test_a_unit_as_labs_spell_it(text: str, unit: str, basis: str | None) -> None:
    found = read_unit(text)
    assert found is not None
    assert (found.names, found.bases) == ((unit,), (basis,) if basis else ())


@pytest.mark.parametrize("text", ["Mg", "K/Mg", "N/A", "units/acre", "SMP/A&E", "S", "ton of lime"])
def test_a_word_is_no_unit(text: str) -> None:
    assert read_unit(text) is None


def test_magnesium_in_milligrams() -> None:
    found = find_units("Mg mg/l")
    assert (found.names, found.bases, found.rest.strip()) == (("mg/L",), (), "mg")


@pytest.mark.parametrize(
    "text", ["lb/A", "1:1", "SMP", "% LOI", "inches", "Start", "-----", "hot H2O", "s.u."]
)
def test_a_cell_under_a_heading_belongs_to_it(text: str) -> None:
    assert is_subheading(text)


@pytest.mark.parametrize("text", ["12", "5.6", "<1", "43 M", "North field", "2025-03-04"])
def test_a_cell_of_a_sample_does_not(text: str) -> None:
    assert not is_subheading(text)


TABLES = (
    "analytes",
    "tests",
    "units",
    "unit_words",
    "columns",
    "headings",
    "words",
    "customs",
    "modus_parts",
)


@pytest.mark.parametrize("table", [*TABLES, "modus_numbers"])
def test_every_word_names_a_source_that_is_listed(table: str) -> None:
    listed = {row["key"] for row in table_rows("sources")}
    cited = {key for row in table_rows(table) for key in row["source"].split("|")}
    assert cited - listed == set()


def test_every_listed_source_is_used() -> None:
    listed = {row["key"] for row in table_rows("sources")}
    cited = {
        key
        for table in (*TABLES, "modus_numbers")
        for r in table_rows(table)
        for key in r["source"].split("|")
    }
    assert listed - cited == set()


def test_the_tables_are_all_read() -> None:
    folder = files("loamwright") / "data" / "sheets"
    names = {path.name.removesuffix(".csv") for path in folder.iterdir()}
    assert names == {*TABLES, "modus_numbers", "sources"}


def test_tests_and_headings_name_what_is_known() -> None:
    known = vocabulary()
    for row in table_rows("headings"):
        assert not row["analyte"] or row["analyte"] in known.analyte_names or row["analyte"] == "lime"
        if row["test"]:
            kind = known.analyte_names[row["analyte"]].kind
            assert (kind, row["test"]) in known.test_names
    for row in table_rows("modus_numbers"):
        kind = known.analyte_names[row["analyte"]].kind
        assert not row["test"] or (kind, row["test"]) in known.test_names


@pytest.mark.parametrize("text", ["Target pH", "Desired pH", "Optimum P ppm", "K goal", "pH Sollwert"])
def test_a_figure_to_aim_at_is_no_reading(text: str) -> None:
    """A sheet that prints a target beside the measured figure must not give two readings of one analyte."""
    assert read_heading(text).role == "aside"


@pytest.mark.parametrize(
    ("text", "role", "name"),
    [
        ("N\N{DEGREE SIGN} échantillon", "label", ""),
        ("N\N{DEGREE SIGN} labo", "lab_number", ""),
        ("pH eau", "reading", "pH"),
        ("pH tampon", "reading", "buffer pH"),
        ("Kali", "reading", "K2O"),
        ("Phosphat", "reading", "P2O5"),
        ("Kalkbedarf dt CaO/ha", "lime", ""),
        ("Calcaire actif", "aside", ""),
        ("Ton %", "aside", ""),
    ],
)
def test_words_of_other_languages_that_look_like_something_else(text: str, role: str, name: str) -> None:
    """A sample's number is no nitrogen; German "Kali" and "Phosphat" are oxides, "Ton" is clay.

    Common trade words, no source.
    """
    heading = read_heading(text)
    assert (heading.role, heading.analyte.name if heading.analyte else "") == (role, name)
    assert heading.left == ()
