"""Invented sheets in the habits of other labs, dealers and quarries, and what a careful person reads there.

Every figure is typed by hand from the sheet above it. Headings are common trade words, no source, or those of
the publications in `printed_headings.csv`.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from loamwright.errors import InputError
from loamwright.files.sheets import SheetContents, as_data, read_sheet


def sheet(tmp_path: Path, *lines: str, encoding: str = "utf-8", **answers: str) -> SheetContents:
    path = tmp_path / "sheet.csv"
    path.write_bytes(("\n".join(lines) + "\n").encode(encoding))
    return read_sheet(path, answers)


def asked(contents: SheetContents) -> set[str]:
    return {question.id for question in contents.questions}


def figures(contents: SheetContents, element: str) -> list[tuple[Any, ...]]:
    """Value, unit, extractant or method, and basis of one element, sample by sample."""
    return [
        (r.value, r.unit, r.extractant or r.method, r.basis)
        for one in contents.samples
        for r in one.readings.get(element, ())
    ]


def test_an_extractant_that_only_the_title_names(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Blackwater Ridge Agricultural Laboratory (invented),,,,,",
        "Report No: BR-25-0417,,,,,",
        "Extractant: Mehlich-3 (ICP),,,,,",
        "Sampling depth: 0-6 inches,,,,,",
        "Date Sampled: 04/17/2025,,Date Received: 04/21/2025,,,",
        "",
        "Lab #,Sample ID,pH,Buffer pH,P,K",
        ",,1:1,Sikora,lb/A,lb/A",
        "40121,North 8,6.2,7.6,44,212",
        "40123,Knob,6.9,,96,388",
        "Page 1 of 1,,,,,",
    )
    assert asked(contents) == set()
    assert figures(contents, "P") == [
        (44.0, "lb/acre", "Mehlich-3 ICP", None),
        (96.0, "lb/acre", "Mehlich-3 ICP", None),
    ]
    assert figures(contents, "buffer pH") == [(7.6, None, "Sikora", None)]
    assert [str(one.sampled_on) for one in contents.samples] == ["2025-04-17", "2025-04-17"]


def test_a_title_right_over_the_headings(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Prairie Edge Soil Laboratory (invented)",
        "Extractant: Bray P1,,Date sampled: 10/14/2026",
        "Lab No,Sample,Depth,pH,P ppm,K (ammonium acetate) ppm",
        "7-101,Lane field,0-6 in,5.4,9,95",
    )
    assert asked(contents) == set()
    assert figures(contents, "P") == [(9.0, "ppm", "Bray P1", None)]
    assert figures(contents, "K") == [(95.0, "ppm", "ammonium acetate", None)]
    assert contents.samples[0].sampled_on == dt.date(2026, 10, 14)


def test_a_sample_that_stands_twice_is_asked_about(tmp_path: Path) -> None:
    head = "Lab No,Sample,Sampled,Depth,pH,P (Bray P1) ppm,K (Mehlich 3) ppm"
    rows = (
        "40122,Lane,2025-04-17,0-6 in,5.7,18,150",
        "40122,Lane,2025-04-17,0-6 in,5.7,19,152",
    )
    assert asked(sheet(tmp_path, head, *rows)) == {"twice.40122"}
    last = sheet(tmp_path, head, *rows, **{"twice.40122": "the last one stands"})
    assert figures(last, "P") == [(19.0, "ppm", "Bray P1", None)]


def test_quebec(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Laboratoire Rivière-aux-Saules (inventé);;;;;;;",
        "Date de réception: 2025-10-21;;;;;;;",
        "Méthode: Mehlich-3;;;;;;;",
        "N° labo;N° échantillon;Profondeur;pH eau;pH tampon SMP;P (kg/ha);K (kg/ha);M.O. %",
        "L-881;Champ 3;0-17 cm;6,1;6,7;112;245;4,2",
        "L-883;Champ 5;0-17 cm;6,8;;<5;2 310;5,0",
    )
    assert asked(contents) == {"sampled"}  # the day of reception is not that of sampling
    first, second = contents.samples
    assert (first.label, first.lab_number, str(first.received_on)) == ("Champ 3", "L-881", "2025-10-21")
    assert figures(contents, "pH") == [(6.1, None, "water", None), (6.8, None, "water", None)]
    assert figures(contents, "buffer pH") == [(6.7, None, "SMP", None)]
    assert figures(contents, "K")[1] == (2310.0, "kg/ha", "Mehlich-3", None)
    assert (second.readings["P"][0].value, second.readings["P"][0].below) == (None, 5.0)
    assert "N" not in first.readings


def test_france(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Laboratoire d'agronomie du Val Clair (inventé);;;;;;",
        "Parcelle;Date de prélèvement;Profondeur (cm);pH eau;P2O5 Olsen (mg/kg);"
        "K2O échangeable (acétate d'ammonium) mg/kg;Matière organique (g/kg)",
        "Les Ormes;03/11/2025;0-25;7,9;42;188;21,4",
        "Le Pré;14/11/2025;0-25;6,4;28;240;34,0",
        encoding="cp1252",
    )
    assert asked(contents) == set()
    assert contents.encoding == "cp1252"
    assert figures(contents, "P")[0] == (42.0, "mg/kg", "Olsen", "P2O5")
    assert figures(contents, "K")[0] == (188.0, "mg/kg", "ammonium acetate", "K2O")
    assert figures(contents, "OM")[0] == (21.4, "g/kg", None, None)
    assert contents.samples[0].sampled_on == dt.date(2025, 11, 3)
    assert contents.samples[0].label == "Les Ormes"


def test_austria(tmp_path: Path) -> None:
    """CAL in mg of the element per 1,000 g (ÖNORM L 1087); classes in the cells; lime in dt CaO/ha."""
    contents = sheet(
        tmp_path,
        "Bodenlabor Steinfeld (erfunden);;;;;;",
        "Probenahme: 12.10.2025;;;;;;",
        "Labor-Nr.;Feldstück;Tiefe;pH (CaCl2);P (CAL);K (CAL);Kalkbedarf",
        ";;cm;;mg/1000g;mg/1000g;dt CaO/ha",
        "A-101;Hofacker;0-20;5,9;48 C;132 C;12",
        "A-103;Steinbruch;0-20;5,2;<10 A;61 A;25",
    )
    assert asked(contents) == set()
    assert figures(contents, "P")[0] == (48.0, "mg/kg", "calcium-acetate-lactate", None)
    assert [one.readings["P"][0].rating for one in contents.samples] == ["C", "A"]
    assert figures(contents, "pH")[0] == (5.9, None, "0.01 M CaCl2", None)
    (lime,) = as_data(contents)["samples"][1]["recommendations"]
    assert lime["lime"] == {"value": 25.0, "unit": "dt/ha", "basis": "CaO"}


def test_germany_with_three_rows_of_headings(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Schlag\tProben-Nr.\tDatum der Probenahme\tTiefe\tpH-Wert\tP2O5\tGK\tK2O\tGK",
        "\t\t\t\tCaCl2\tmg/100g\t\tmg/100g\t",
        "\t\t\t\t\tCAL\t\tCAL\t",
        "Am Bach\t1\t17.03.2025\t0-30 cm\t6,3\t18\tC\t22\tD",
        "Oberfeld\t2\t17.03.2025\t0-30 cm\t5,8\t7\tB\t11\tB",
        encoding="utf-16",
    )
    assert figures(contents, "P")[0] == (18.0, "mg/100 g", "calcium-acetate-lactate", "P2O5")
    assert [one.readings["K"][0].rating for one in contents.samples] == ["D", "B"]
    assert contents.samples[0].sampled_on == dt.date(2025, 3, 17)


def test_a_title_right_over_a_turned_table(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Foothills Soil Lab (invented),,",
        "Field,SW-12,NE-3",
        "Lab no.,FH-1,FH-2",
        "Sampled,2025-09-30,2025-09-30",
        "Depth,0-15 cm,15-60 cm",
        "pH (1:2),6.4,7.6",
        "Phosphorus modified Kelowna (ppm),18,<5",
        "Potassium ammonium acetate (ppm),188,160",
    )
    assert contents.lab == "Foothills Soil Lab (invented)"
    assert figures(contents, "P")[0] == (18.0, "ppm", "modified Kelowna", None)


def test_a_depth_that_became_a_date_is_asked_about(tmp_path: Path) -> None:
    """A spreadsheet that puts the month first makes 1 June of 6-1."""
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Sample ID", "Lab Number", "Date Sampled", "Depth", "pH", "P (Bray P1) ppm", "K (M3) ppm"])
    page.append(["A1", 5501, 45755, dt.date(2025, 6, 1), 6.1, 22, 140])
    page.append(["A1", 5502, 45755, "6-24 in", 6.6, 7, 120])
    path = tmp_path / "sheet.xlsx"
    book.save(path)
    contents = read_sheet(path)
    question = next(one for one in contents.questions if one.id == "depth.2025-06-01")
    assert "'2025-06-01'" in question.about
    assert question.where == "row 2, depth"
    assert contents.samples[0].depth is None
    answered = read_sheet(path, {"depth.2025-06-01": "0-6 in"})
    assert str(answered.samples[0].depth) == str(read_sheet(path, {question.id: "0-6 in"}).samples[0].depth)
    assert answered.samples[0].depth is not None
    assert answered.samples[0].depth.bottom == 6
    assert answered.samples[0].sampled_on == dt.date(2025, 4, 8)  # serial 45755


def test_lime_in_pounds_of_a_score(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Field ID,Serial,Sample date,Depth,pHs,N.A. meq/100g,P Bray 1 lb/A,K (NH4OAc) lb/A,ENM lb/A",
        'Creek 40,11,3/18/25,"0-6""",5.4,2.5,18,160,1200',
    )
    assert asked(contents) == set()
    assert figures(contents, "pH") == [(5.4, None, "salt pH", None)]
    assert figures(contents, "acidity") == [(2.5, "meq/100 g", "Woodruff", None)]
    (lime,) = as_data(contents)["samples"][0]["recommendations"]
    assert lime["lime"] == {"value": 1200.0, "unit": "lb/acre", "basis": "ENM"}


def test_a_unit_row_that_contradicts_its_heading(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,Sampled,Depth,pH,Phosphorus ppm,Potassium ppm",
        ",,in,,Olsen lb/A,NH4OAc ppm",
        "S1,2025-05-04,0-6,7.8,12,310",
    )
    (question,) = contents.questions
    assert question.about == "unit of 'Phosphorus ppm Olsen lb/A': it names lb/acre and ppm"
    assert contents.samples[0].readings["P"][0].unit is None


def test_a_grade_that_became_a_date_is_asked_about(tmp_path: Path) -> None:
    lines = (
        "Hollow Creek Farm Supply (invented),,,,",
        "Product,Analysis,Package,Price,Per",
        "Urea,46-0-0,Bulk,520.00,ton",
        "Starter,2010-10-10,50 lb bag,24.75,each",
    )
    contents = sheet(tmp_path, *lines)
    (question,) = contents.questions
    assert (question.id, "'2010-10-10'" in question.about) == ("grade.starter", True)
    urea, starter = contents.offers
    assert (urea.package, dict(starter.analysis), starter.candidates) == ("bulk", {}, ("analysis",))
    answered = sheet(tmp_path, *lines, **{"grade.starter": "10-10-10"})
    assert dict(answered.offers[1].analysis) == {"n": 10.0, "p2o5": 10.0, "k2o": 10.0}


def test_a_quarry_that_prints_only_a_score(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Granite Ledge Quarry (invented),,,,,,",
        "Material: Ag lime,,,,,,",
        "RNV 67,,,,,,",
        "CCE 91%,,,,,,",
        "Passing 10 mesh,88%,,,,,",
        "Moisture,3.5%,,,,,",
        "Ticket,Date,Truck,Gross lb,Tare lb,Net tons,Deliver to",
        "88121,2025-10-06,12,78040,28120,24.96,North 8",
        "88130,2025-10-07,7,VOID,,,",
        ",,,,,24.96,",
    )
    assert contents.kind == "lime tickets"
    assert contents.product is not None
    assert contents.product.product == "Ag lime"
    assert dict(contents.product.analysis) == {"rnv": 67.0, "cce": 91.0, "passing_10": 88.0, "moisture": 3.5}
    assert [(load.ticket, load.net_tons) for load in contents.deliveries] == [("88121", 24.96)]
    assert {item.what for item in contents.left_out} >= {
        "void ticket",
        "a weight without ticket and day: a sum",
    }


def test_a_manure_report_with_its_title(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Cedar Bluff Manure Testing (invented),,,",
        "Sample: Lagoon 2,,,",
        "Material: dairy slurry,,,",
        "Received: 2025-09-09,,,",
        "Analysis,As received,Unit,First year available",
        "Moisture,93.1,%,",
        "Total N (TKN),22.4,lb/1000 gal,",
        "Ammonium-N,11.0,lb/1000 gal,",
        "Phosphate (P2O5),9.8,lb/1000 gal,8.8",
    )
    data = as_data(contents)
    (one,) = data["samples"]
    assert (data["kind"], one["label"], one["material"]) == ("manure analysis", "Lagoon 2", "dairy slurry")
    assert one["received_on"] == "2025-09-09"
    readings = one["readings"]
    assert {name: readings[name]["value"] for name in ("N", "NH4-N", "P2O5")} == {
        "N": 22.4,
        "NH4-N": 11.0,
        "P2O5": 9.8,
    }


def test_rates_numbered_by_their_crop(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,Lab No,Sampled,Depth in,Soil pH,Bray P1 ppm,K (NH4OAc) ppm,"
        "Crop 1,N lb/a 1,P2O5 lb/a 1,K2O lb/a 1,Crop 2,N lb/a 2,P2O5 lb/a 2,K2O lb/a 2",
        "East 20,7-1,10/14/2025,0-6,5.9,14,121,Corn,150,60,60,Soybean,0,40,70",
    )
    assert asked(contents) == set()
    first, second = as_data(contents)["samples"][0]["recommendations"]
    assert (first["crop"], first["N"]["value"], first["K2O"]["value"]) == ("Corn", 150.0, 60.0)
    assert (second["crop"], second["N"]["value"], second["P2O5"]["value"]) == ("Soybean", 0.0, 40.0)
    assert set(contents.samples[0].readings) == {"pH", "P", "K"}


def test_acidity_of_a_lab_that_weighs_its_scoop(tmp_path: Path) -> None:
    """NCDA&CS prints Ac and CEC by volume (unit from memory): asked, not taken as by weight."""
    lines = ("Sample ID,Sampled,Depth,W/V,CEC,Ac,pH,P-I,K-I", "PAST1,2026-03-14,0-6 in,1.1,6.2,1.8,5.4,38,61")
    contents = sheet(tmp_path, "Indices from a Mehlich-3 extract,,,,,,,,", *lines)
    assert asked(contents) == {"unit.charge"}
    assert figures(contents, "acidity") == [(1.8, None, None, None)]
    told = sheet(tmp_path, *lines[:1], lines[1], **{"unit.charge": "meq/100 cm3"})
    assert figures(told, "acidity") == [(1.8, "meq/100 cm3", None, None)]


def test_pounds_of_phosphorus_beside_lime_are_a_test_where_a_rating_stands_beside(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Lab #,Sample ID,Crop,Soil pH,Lime (tons/A),P (lbs/A),Rating,K (lbs/A),Rating,N rec,P2O5 rec",
        "A-1,North 1,Corn,5.7,1.5,22,Low,140,Medium,120,80",
        "A-2,North 2,Corn,6.4,0,61,High,98,Low,120,0",
        "Extract: Mehlich-1",
    )
    assert figures(contents, "P") == [
        (22.0, "lb/acre", "Mehlich-1", None),
        (61.0, "lb/acre", "Mehlich-1", None),
    ]
    assert [one.readings["P"][0].rating for one in contents.samples] == ["Low", "High"]
    assert set(contents.samples[0].recommendations[0].amounts) == {"N", "P2O5", "lime"}


def test_pounds_of_an_element_beside_rates_are_asked_about(tmp_path: Path) -> None:
    beside_lime = sheet(tmp_path, "Sample,Lime T/A,P lb/A,K lb/A,pH", "A,1.5,22,140,5.8")
    assert asked(beside_lime) >= {"column.p-lb-a", "column.k-lb-a"}
    assert figures(beside_lime, "P") == [(22.0, "lb/acre", None, None)]
    beside_nitrogen = sheet(tmp_path, "Field,Crop,N lb/A,P lb/A,K lb/A,pH", "A,Corn,140,26,66,6.1")
    assert asked(beside_nitrogen) >= {"column.p-lb-a", "column.k-lb-a"}


def test_available_nitrogen_is_no_rate_and_no_ammonium(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,pH,Avail. N (kg/ha),Avail. P2O5 Olsen (kg/ha),Available K NH4OAc (kg/ha)",
        "S1,7.2,220,28,310",
    )
    assert figures(contents, "N") == [(220.0, "kg/ha", None, None)]
    assert figures(contents, "P") == [(28.0, "kg/ha", "Olsen", "P2O5")]
    assert contents.samples[0].recommendations == ()


def test_what_a_crop_gets_of_a_manure_is_not_what_is_in_it(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,Dry matter (%),N (%),Ammonium N (%),P2O5 (%),Available N year 1 (lb/ton)",
        "Barn,31,0.62,0.11,0.38,5.1",
    )
    assert (contents.samples[0].readings["N"].value, contents.samples[0].readings["N"].unit) == (0.62, "%")


def test_a_manure_report_with_a_unit_for_each_row(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Lab No,Sample,Units,Moisture,Total N,NH4-N,P2O5",
        "44,Pit,lb/1000 gal,95.1 %,28.2,14.1,11.0",
        "45,Stack,lb/ton,61 %,12.0,2.2,8.1",
    )
    assert [one.readings["N"].unit for one in contents.samples] == ["lb/1000 gal", "lb/ton"]


def test_a_class_beside_a_soil_test_is_its_rating(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,pH,Bray-P1 (ppm),STP class,M3-K (ppm),STK class",
        "1,5.9,14,L,151,Opt",
    )
    (one,) = contents.samples
    assert (one.soil_class, one.readings["P"][0].rating, one.readings["K"][0].rating) == (None, "L", "Opt")


def test_a_rating_without_its_figure_is_told(tmp_path: Path) -> None:
    contents = sheet(tmp_path, "Sample,pH,P rating,K rating", "A,6.1,Low,High")
    assert asked(contents) >= {"no-p", "no-k"}
    told = [item.where for item in contents.left_out if item.what == "a rating without its figure"]
    assert told == ["column 'P rating'", "column 'K rating'"]


def test_an_extractant_whose_name_begins_like_an_analyte(tmp_path: Path) -> None:
    """NH4OAc under a group "Potassium" is potassium, no ammonium."""
    contents = sheet(
        tmp_path,
        ",,Phosphorus,,Potassium,,Soil,Buffer,Organic",
        "Lab,Sample,Bray 1,Olsen,NH4OAc,,pH,pH,matter",
        "no.,ID,ppm,ppm,ppm,,1:1,SMP,%",
        "901,N40,14,,155,,5.9,6.6,3.1",
        "902,S40,,11,220,,7.6,,2.4",
    )
    assert set(contents.samples[0].readings) == {"P", "K", "pH", "buffer pH", "OM"}
    assert figures(contents, "K") == [
        (155.0, "ppm", "ammonium acetate", None),
        (220.0, "ppm", "ammonium acetate", None),
    ]


def test_units_of_spaced_text_stand_under_their_headings(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample      pH   P-M3    K-M3    OM",
        "            1:1  ppm     ppm     %",
        "North       6.1  24      143     2.9",
        "South hill  5.8  12      99      2.1",
    )
    assert figures(contents, "pH") == [(6.1, None, "1:1 water", None), (5.8, None, "1:1 water", None)]
    assert figures(contents, "K") == [(143.0, "ppm", "Mehlich-3", None), (99.0, "ppm", "Mehlich-3", None)]


def test_headings_made_for_machines(tmp_path: Path) -> None:
    contents = sheet(tmp_path, "SAMPLE_ID,SOIL_PH,P_M1_LBS_AC,K_M3_MG_KG", "A,5.6,31,120")
    assert figures(contents, "P") == [(31.0, "lb/acre", "Mehlich-1", None)]
    assert figures(contents, "K") == [(120.0, "mg/kg", "Mehlich-3", None)]


def test_calcium_acetate_lactate_in_a_long_table(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Probe;Feld;Parameter;Methode;Ergebnis;Einheit;Bearbeitung",
        "P1;Nordacker;pH-Wert;CaCl2;6,1;;x",
        "P1;Nordacker;Phosphor;CAL;6,4;mg/100 g;x",
        encoding="utf-16",
    )
    assert figures(contents, "P") == [(6.4, "mg/100 g", "calcium-acetate-lactate", None)]
    assert figures(contents, "pH") == [(6.1, None, "0.01 M CaCl2", None)]
    assert [item.where for item in contents.left_out] == ["column 'Bearbeitung'"]


def test_parzelle_names_the_plot_and_dl_is_a_lactate(tmp_path: Path) -> None:
    contents = sheet(tmp_path, "Parzelle;pH (CaCl2);P2O5-DL mg/100g", "12/1;5,7;11", "12/2;6,3;24")
    assert [one.label for one in contents.samples] == ["12/1", "12/2"]
    assert figures(contents, "P")[0] == (11.0, "mg/100 g", "calcium lactate", "P2O5")


def test_a_column_nobody_knows_may_name_the_plots(tmp_path: Path) -> None:
    lines = ("Lieblingsname;pH;P Olsen mg/kg;K NH4OAc mg/kg", "Hof;6,1;12;140", "Bach;5,9;8;120")
    contents = sheet(tmp_path, *lines)
    assert "label" in asked(contents)
    assert [one.label for one in contents.samples] == ["Hof", "Bach"]
    assert "label" not in asked(sheet(tmp_path, *lines, label="Lieblingsname"))


def test_an_extract_with_its_recipe_in_brackets(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path, "Sample,pH,P,K", ",,lb/A,lb/A", "Front,6.1,4,121", "Morgan extract (sodium acetate pH 4.8)"
    )
    assert figures(contents, "P") == [(4.0, "lb/acre", "Morgan", None)]


def test_a_sheet_that_holds_no_figure_is_no_soil_test(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no table of results, prices or tickets"):
        sheet(tmp_path, "Sample,Date,Crop,Area", "1,2025-10-14,Corn,4", "2,2025-10-15,Hay,3")


def test_lime_of_a_stated_score(tmp_path: Path) -> None:
    """Tons of a lime of 70 % are no tons of the score itself."""
    contents = sheet(tmp_path, "Sample,pH,P M3 ppm,K M3 ppm,Lime ton/ac (ENP basis 70%)", "X1,6.0,18,120,2.5")
    lime = contents.samples[0].recommendations[0].amounts["lime"]
    assert (lime.value, lime.unit, lime.basis) == (2.5, "ton/acre", "70% ENP")
    assert not asked(contents) & {"lime-unit", "lime-basis"}


def _grouped(tmp_path: Path, over: str, units: tuple[str, ...]) -> SheetContents:
    """A workbook with a test over its columns, in merged cells, and a row of units under their names."""
    book = openpyxl.Workbook()
    page = book.active
    rows = [
        ["Pine Ridge Soil Lab (invented)"],
        ["Date sampled: 2026-10-12; depth 0-6 in"],
        [],
        [None, None, over],
        ["Sample ID", "Soil pH", "P", "K", "Mg"],
        [None, None, *units],
        ["Pond Top", 6.1, 22, 88, 140],
        ["Long Field", 5.8, 14, 101, 99],
    ]
    for row in rows:
        page.append(row)
    page.merge_cells("C4:E4")
    path = tmp_path / "grouped.xlsx"
    book.save(path)
    return read_sheet(path, {})


def test_a_unit_row_that_contradicts_its_group_heading_is_asked_about(tmp_path: Path) -> None:
    """A ppm of a 7 in layer is about two pounds an acre: one of the two figures is twice the other."""
    found = _grouped(tmp_path, "Mehlich-3 extractable, lb/acre", ("ppm", "ppm", "ppm"))
    about = {question.about: question.choices for question in found.questions}
    assert about["unit of 'P ppm': it names ppm and lb/acre"][:2] == ("ppm", "lb/acre")
    assert figures(found, "P") == [(22.0, None, "Mehlich-3", None), (14.0, None, "Mehlich-3", None)]


@pytest.mark.parametrize("over", ["Mehlich-3 extractable, mg/kg", "Mehlich-3 (ppm)", "Mehlich III"])
def test_a_unit_row_that_says_the_same_in_other_words_is_not(tmp_path: Path, over: str) -> None:
    found = _grouped(tmp_path, over, ("ppm", "ppm", "ppm"))
    assert asked(found) == set()
    assert figures(found, "K") == [(88.0, "ppm", "Mehlich-3", None), (101.0, "ppm", "Mehlich-3", None)]
    assert {str(one.sampled_on) for one in found.samples} == {"2026-10-12"}
    assert {(one.depth.top, one.depth.bottom) for one in found.samples if one.depth} == {(0.0, 6.0)}


@pytest.mark.parametrize("heading", ["Nitrate ppm", "NO3 mg/kg", "Nitrat mg/kg"])
def test_a_bare_nitrate_is_asked_what_it_is_of(tmp_path: Path, heading: str) -> None:
    """Nitrate is 62 parts where its nitrogen is 14: taken for the other, it is four times too much."""
    contents = sheet(
        tmp_path,
        f"Sample,Sampled,Depth,pH,P (Bray P1) ppm,K ppm (NH4OAc),{heading}",
        "A,2026-10-01,0-6 in,6.6,14,90,12",
    )
    assert asked(contents) == {"basis.no3"}


def test_rates_numbered_by_their_crops_without_units_are_asked_their_unit_alone(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,Sampled,Depth,pH,P (Mehlich-3) lb/ac,K (Mehlich-3) lb/ac,"
        "Crop 1,N 1,P2O5 1,K2O 1,Crop 2,N 2,P2O5 2,K2O 2",
        "X,2026-04-02,0-6 in,6.4,44,160,Corn,150,40,60,Soybeans,0,20,40",
    )
    (question,) = contents.questions
    assert question.about.startswith("units of the recommendations")
    (sample,) = contents.samples
    assert [(one.crop, one.amounts["P2O5"].value) for one in sample.recommendations] == [
        ("Corn", 40.0),
        ("Soybeans", 20.0),
    ]


def test_both_brays_side_by_side(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Sample,Sampled,Depth,pH,P1 (Weak Bray) ppm,P2 (Strong Bray) ppm,K (NH4OAc) ppm",
        "X,2026-04-02,0-6 in,6.4,22,40,160",
    )
    assert asked(contents) == set()
    assert figures(contents, "P") == [(22.0, "ppm", "Bray P1", None), (40.0, "ppm", "Bray P2", None)]


def test_a_comma_in_a_depth_stands_before_decimals(tmp_path: Path) -> None:
    """Found by random cells: "1,385" as the top of a slice ended in an error of ours."""
    contents = sheet(
        tmp_path,
        "Sample;Sampled;From cm;To cm;pH;P (Bray P1) ppm;K (NH4OAc) ppm",
        "A;2026-04-01;1,385;15,5;6,4;22;160",
    )
    (sample,) = contents.samples
    assert sample.depth is not None
    assert (sample.depth.top, sample.depth.bottom) == (1.385, 15.5)


#: A laboratory that prints both of one test: 12 ppm P times 2 (an acre 6 2/3 in deep weighs 2 million
#: pounds) times 2.29 (141.94 / 61.95, atomic weights) are 55 lb P2O5 per acre in the soil, not to be spread.
_BOTH = (
    "Sample,Sampled,Depth,pH,Phosphorus,,,Potassium,,Pounds per acre needed,,",
    ",,,Water,Mehlich 3 ppm P,lb P2O5/ac,Rating,Mehlich 3 ppm K,Rating,N,P2O5,K2O",
    "Dell,2026-10-01,0-6 in,6.4,12,55,Low,104,Medium,20,45,60",
    "Spit,2026-10-01,0-6 in,6.6,55,252,Very high,190,High,0,0,0",
)


def rated(contents: SheetContents) -> list[tuple[Any, ...]]:
    return [(r.value, r.unit, r.extractant, r.rating) for one in contents.samples for r in one.readings["P"]]


def test_pounds_of_an_oxide_beside_its_test_are_the_soil_s_where_others_are_advised(tmp_path: Path) -> None:
    contents = sheet(tmp_path, *_BOTH)
    assert asked(contents) == set()
    assert rated(contents) == [
        (12.0, "ppm", "Mehlich-3", "Low"),
        (55.0, "lb/acre", "Mehlich-3", "Low"),
        (55.0, "ppm", "Mehlich-3", "Very high"),
        (252.0, "lb/acre", "Mehlich-3", "Very high"),
    ]
    assert "P in lb/acre is ppm by the lab" in contents.remarks
    advised = [(one.crop, one.amounts["P2O5"].value) for s in contents.samples for one in s.recommendations]
    assert advised == [(None, 45.0), (None, 0.0)]


def test_pounds_of_an_oxide_beside_its_test_are_asked_about_where_none_are_advised(tmp_path: Path) -> None:
    lines = [",".join(line.split(",")[:9]) for line in _BOTH]
    (question,) = sheet(tmp_path, *lines).questions
    assert question.about == "is 'lb P2O5/ac' a soil reading or a recommendation"
    advised = sheet(tmp_path, *lines, **{question.id: "recommendation"})
    assert rated(advised) == [
        (12.0, "ppm", "Mehlich-3", "Low"),
        (55.0, "ppm", "Mehlich-3", "Very high"),
    ]
    (first, _) = (one.amounts["P2O5"].value for s in advised.samples for one in s.recommendations)
    assert first == 55.0


@pytest.mark.parametrize(
    ("footer", "told"),
    [
        ("Hold samples 30 days. Nitrogen needed at Flat = 70 lb/A.", "'Nitrogen needed at Flat = 70 lb/A'"),
        ("Spit: 25 lbs K2O per acre each fall", "'Spit: 25 lbs K2O per acre each fall'"),
        ("N recommendation for oats,60 lb/acre", "'N recommendation for oats, 60 lb/acre'"),
        ("Lime needed on Spit 2 tons", "'Lime needed on Spit 2 tons'"),
        ("Empfehlung Spit 40 kg N/ha", "'Empfehlung Spit 40 kg N/ha'"),
        ("Multiply ppm by 2 for lb/acre", None),
        ("P and K are in lb/acre of a 6 in slice; phone 555 0100", None),
        ("ND = below 5 lb/acre", None),
    ],
)
def test_a_rate_in_a_sentence_is_told_and_not_lost(footer: str, told: str | None, tmp_path: Path) -> None:
    """A footer said how much nitrogen one plot needs; it went without a word."""
    contents = sheet(
        tmp_path,
        "Sample,Sampled,Depth,pH,P (Bray P1) ppm,K (NH4OAc) ppm",
        "Flat,2026-10-01,0-6 in,6.4,22,104",
        "Spit,2026-10-01,0-6 in,6.6,18,96",
        footer,
    )
    rates = [one.where for one in contents.left_out if one.what.startswith("a rate in a sentence")]
    assert rates == ([told] if told else [])


@pytest.mark.parametrize(
    "title",
    [
        'Sampled 10/22/2026    Depth 0-6"',
        "Sampled 10/22/2026. Sample depth 6 inches",
        '"Date sampled: 10/22/2026, depth: 6 in"',
        "Collected 2026-10-22,Sample depth: 6 inches",
    ],
)
def test_the_day_and_depth_a_line_over_the_table_states(title: str, tmp_path: Path) -> None:
    """Both were asked for, as if the file printed none."""
    contents = sheet(
        tmp_path,
        title,
        "Mehlich 3 extraction. Results in lbs/ac except where noted",
        "Sample,pH,P,K,S (ppm)",
        "Flat,6.4,44,208,11",
        "Spit,6.6,36,192,9",
    )
    assert asked(contents) == set()
    assert {(one.depth.top, one.depth.bottom, one.depth.unit) for one in contents.samples if one.depth} == {
        (0.0, 6.0, "in")
    }
    assert {str(one.sampled_on) for one in contents.samples} == {"2026-10-22"}
    assert [reading[:2] for reading in figures(contents, "K")] == [(208.0, "lb/acre"), (192.0, "lb/acre")]
    assert [reading[:2] for reading in figures(contents, "S")] == [(11.0, "ppm"), (9.0, "ppm")]


def test_the_depth_of_the_plow_is_not_that_of_the_samples(tmp_path: Path) -> None:
    contents = sheet(
        tmp_path,
        "Recommendations are for a plow depth of 8 inches",
        "Sample,Sampled,pH,P (Bray P1) ppm,K (NH4OAc) ppm",
        "Flat,2026-10-22,6.4,22,104",
    )
    assert asked(contents) == {"depth"}


def test_a_manure_report_of_one_sample_in_two_units(tmp_path: Path) -> None:
    """Its name stood in a line of more over the table: it became two samples, one called Solid."""
    contents = sheet(
        tmp_path,
        "Manure analysis report (invented),,",
        "Sample: Calf barn,Solid,As received",
        "Analyte,As received %,lb/ton",
        "Moisture,66.0,",
        "Total nitrogen (N),0.60,12.0",
        "Ammonium N,0.10,2.0",
        "P2O5,0.40,8.0",
        "K2O,0.50,10.0",
    )
    assert asked(contents) == set()
    (sample,) = contents.samples
    assert sample.label == "Calf barn"
    nitrogen = sample.readings["N"]
    assert (nitrogen.value, nitrogen.unit, nitrogen.state) == (12.0, "lb/ton", "as received")
