"""Modus result files, against what a perfect reader gets from four invented ones; test ids by their parts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from loamwright.errors import InputError
from loamwright.files.sheets import Sample, as_data, read_sheet
from loamwright.files.sheets.modus_ids import read_test_id

HERE = Path(__file__).parent / "modus"
EXPECTED = json.loads((HERE / "expected.json").read_text(encoding="utf-8"))


def short(sample: dict[str, Any]) -> dict[str, Any]:
    """A sample as expected.json writes it: figures as value, unit, test."""
    depth = sample["depth"]
    readings = {}
    for name, figures in sample["readings"].items():
        readings[name] = []
        for one in figures:
            parts = [one["value"], one["unit"], one.get("extractant") or one.get("method")]
            parts += [one["derived_from"]] if "derived_from" in one else []
            parts += [{"below": one["below"]}] if "below" in one else []
            readings[name].append(parts)
    advice = []
    for item in sample["recommendations"]:
        amounts = {
            k: [v for v in a.values() if not isinstance(v, list)] for k, a in item.items() if k != "crop"
        }
        advice.append({"crop": item["crop"], **amounts})
    return {
        "label": sample["label"],
        "sampled_on": sample["sampled_on"],
        "depth": None if depth is None else [depth["top"], depth["bottom"], depth["unit"]],
        "readings": readings,
        "recommendations": advice,
        **{key: sample[key] for key in ("received_on", "lab_number", "at") if sample.get(key)},
        "fallback_labels": sample.get("other_labels", []),
    }


def agrees(expected: dict[str, Any], sample: dict[str, Any]) -> None:
    got = short(sample)
    for key, value in expected.items():
        if key not in ("must_say", "must_ask", "could_do", "depths", "samples"):
            assert got[key] == value, key


@pytest.mark.parametrize("name", ["m1_result_v1.xml", "m2_result_v1.json"])
def test_a_version_1_file(name: str) -> None:
    contents = read_sheet(HERE / name)
    (sample,) = as_data(contents)["samples"]
    agrees(EXPECTED[name], sample)
    assert contents.questions == ()
    assert (contents.lab, contents.report) == ("Bluff Creek Analytical (invented)", "B25-118")


def test_a_calculated_figure_is_kept_apart() -> None:
    contents = read_sheet(HERE / "m1_result_v1.xml")
    assert any("P in ppm is calculated by the lab" in remark for remark in contents.remarks)


def test_a_slim_file_with_defaults_and_a_sample_without_test_id() -> None:
    contents = read_sheet(HERE / "m3_slim.json")
    samples = as_data(contents)["samples"]
    for expected, sample in zip(EXPECTED["m3_slim.json"]["samples"], samples, strict=True):
        agrees(expected, sample)
    (question,) = contents.questions
    assert (question.id, question.about) == ("test.P", "extractant of P: no test id given")
    named = read_sheet(HERE / "m3_slim.json", {"test.P": "Mehlich-3"})
    trail = named.samples[1]
    assert isinstance(trail, Sample)
    assert trail.readings["P"][0].extractant == "Mehlich-3"


def test_an_awkward_file() -> None:
    contents = read_sheet(HERE / "m4_awkward_v1.xml")
    expected = EXPECTED["m4_awkward_v1.xml"]
    samples = as_data(contents)["samples"]
    for part, sample in zip(expected["depths"], samples, strict=True):
        agrees({**expected, **part}, sample)
    assert [sample["corrects_earlier"] for sample in samples] == [True, True]
    for words in (
        "this report corrects an earlier one of sample 7",
        "S-XX-LAB.99 is not a known test id: the figure is kept, its test not named",
        "sample 7: the depth 'Unknown Depth' has a name only",
    ):
        assert words in contents.remarks
    assert contents.questions == ()


@pytest.mark.parametrize(
    ("ident", "name", "test"),
    [
        ("S-PH-1:1.02.07", "pH", "1:1 water"),
        ("S-PH-1:2.02.07", "pH", "1:2 water"),
        ("S-PH-1:1.02.08", "pH", "0.01 M CaCl2 1:1"),
        ("S-PH-1:5.02.08", "pH", "0.01 M CaCl2 1:5"),
        ("S-PH-SP.02", "pH", "saturated paste"),
        ("S-BPH-SMPB.02", "buffer pH", "SMP"),
        ("S-BPH-SIK1.02", "buffer pH", "Sikora"),
        ("S-BPH-MEB.02", "buffer pH", "Mehlich"),
        ("S-BPH-AEB.02", "buffer pH", "Adams-Evans"),
        ("S-BPH-MAEB.02", "buffer pH", "modified Adams-Evans"),
        ("S-BPH-WB.02", "buffer pH", "Woodruff"),
        ("S-SOM-LOI.15", "OM", "loss on ignition"),
        ("S-SOM-WB.01.09", "OM", "Walkley-Black"),
        ("S-P-B1-1:10.01.03", "P", "Bray P1"),
        ("S-P-B1-1:7.01.03", "P", "Bray P1 (1:7)"),
        ("S-P-B2-1:10.01.03", "P", "Bray P2"),
        ("S-P-BK.23", "P", None),
        ("S-P-BIC.04", "P", "Olsen"),
        ("S-P-M3.01.03", "P", "Mehlich-3 colorimetric"),
        ("S-P-M3.04", "P", "Mehlich-3 ICP"),
        ("S-P-M1.04", "P", "Mehlich-1"),
        ("S-P-MMOR.01.03", "P", "modified Morgan"),
        ("S-P-LANC.04", "P", "Lancaster"),
        ("S-P-COL.01", "P", "Colwell"),
        ("S-K-NH4AC.05", "K", "ammonium acetate"),
        ("S-K-M3.05", "K", "Mehlich-3"),
        ("S-K-M3.20", "K", None),
        ("S-K-M3.21", "K", None),
        ("S-CA-MOR.05", "Ca", "Morgan"),
        ("S-SO4-1:5.13", "SO4-S", "calcium phosphate"),
        ("S-S-NH4AC.05", "S", "ammonium acetate"),
        ("S-S-KCL.05", "S", "KCl"),
        ("S-ZN-DTPA.05", "Zn", "DTPA"),
        ("S-ZN-HCL.05", "Zn", "HCl"),
        ("S-MN-PHOS.05", "Mn", "phosphoric acid"),
        ("S-B-HW.01.10", "B", "hot water"),
        ("S-B-DTPA-SORB.05", "B", "DTPA-sorbitol"),
        ("S-B-CACL2.23", "B", "hot CaCl2"),
        ("S-CEC.19", "CEC", "calculated"),
        ("S-AC-KCL.12", "acidity", "KCl"),
        ("S-NO3-1:5.01.01", "NO3-N", "KCl"),
        ("L_MODV2_SOIL_P_004", "P", "Bray P1"),
        ("L_MODV2_SOIL_P_032", "P", "Mehlich-3 ICP"),
        ("L_MODV2_SOIL_P_033", "P", "Mehlich-3 colorimetric"),
        ("L_MODV2_SOIL_K_002", "K", "ammonium acetate"),
        ("L_MODV2_SOIL_BPH_006", "buffer pH", "Moore-Sikora"),
    ],
)
def test_an_id_says_analyte_and_test(ident: str, name: str, test: str | None) -> None:
    """Meanings as in the Modus soil nomenclature; P_032 and P_033 by their own names."""
    found = read_test_id(ident)
    assert found.analyte is not None
    assert (found.analyte.name, found.test) == (name, test)


@pytest.mark.parametrize(("ident", "test"), [("S-P-NCINDX", "Mehlich-3"), ("S-K-NCINDX", "Mehlich-3")])
def test_an_index_is_told_from_a_concentration(ident: str, test: str) -> None:
    assert (read_test_id(ident).index, read_test_id(ident).test) == (True, test)


@pytest.mark.parametrize("ident", ["S-P-M3BRAYP1.19", "S-ZN-M3DTPA.19"])
def test_a_calculated_id_is_told_from_a_measured_one(ident: str) -> None:
    assert read_test_id(ident).calculated


@pytest.mark.parametrize(
    "ident", [None, "", "none", "S-XX-LAB.99", "L_MODV2_SOIL_PH_011", "S-ASH-LOI.15", "P"]
)
def test_an_unknown_id_names_no_test(ident: str | None) -> None:
    """PH_011 is named after one salt and made with another; ash is not organic matter."""
    assert not read_test_id(ident).known


def test_results_keyed_by_element(tmp_path: Path) -> None:
    """The schema's own example wraps the file and keys the results by element."""
    event = json.loads((HERE / "m2_result_v1.json").read_text(encoding="utf-8"))
    results = event["Events"][0]["EventSamples"]["Soil"]["SoilSamples"][0]["Depths"][0]
    results["NutrientResults"] = {one.pop("Element"): one for one in results["NutrientResults"]}
    path = tmp_path / "wrapped.json"
    path.write_text(json.dumps({"ModusResult": event}))
    (sample,) = as_data(read_sheet(path))["samples"]
    agrees(EXPECTED["m2_result_v1.json"], sample)


def test_a_missing_unit_is_asked_about(tmp_path: Path) -> None:
    text = (HERE / "m2_result_v1.json").read_text(encoding="utf-8")
    text = text.replace('"Value": 17, "ValueUnit": "ppm",', '"Value": 17,')
    path = tmp_path / "bare.json"
    path.write_text(text)
    assert [question.id for question in read_sheet(path).questions] == ["unit"]


@pytest.mark.parametrize(
    "data", ["<ModusResult/>", "{}", "[]", '{"samples": []}', "<a>" * 3000 + "</a>" * 3000]
)
def test_what_holds_no_results_is_refused(data: str, tmp_path: Path) -> None:
    path = tmp_path / "none.xml"
    path.write_text(data)
    with pytest.raises(InputError, match=r"no Modus results|nested more than"):
        read_sheet(path)


def test_a_value_that_carries_another_unit_is_asked_about(tmp_path: Path) -> None:
    """17 lb/acre is some 8.5 ppm: read as 17 ppm it would be twice too much."""
    text = (HERE / "m2_result_v1.json").read_text(encoding="utf-8")
    path = tmp_path / "two_units.json"
    path.write_text(
        text.replace('"Value": 17, "ValueUnit": "ppm",', '"Value": "17 lb/ac", "ValueUnit": "ppm",')
    )
    (question,) = read_sheet(path).questions
    assert question.about == "unit of '17 lb/ac': the result says ppm"
    (sample,) = read_sheet(path, {question.id: "lb/acre"}).samples
    assert isinstance(sample, Sample)
    assert (sample.readings["P"][0].value, sample.readings["P"][0].unit) == (17, "lb/acre")


@pytest.mark.parametrize("value", ["[17, 19]", "true", '{"low": 17}'])
def test_a_value_that_is_not_one_figure_is_told(value: str, tmp_path: Path) -> None:
    text = (HERE / "m2_result_v1.json").read_text(encoding="utf-8")
    path = tmp_path / "two.json"
    path.write_text(
        text.replace('"Value": 17, "ValueUnit": "ppm",', f'"Value": {value}, "ValueUnit": "ppm",')
    )
    contents = read_sheet(path)
    (sample,) = contents.samples
    assert isinstance(sample, Sample)
    assert "P" not in sample.readings
    assert [(one.what, one.where[:5]) for one in contents.left_out] == [
        ("a result whose value is not one figure", "'P': ")
    ]


@pytest.mark.parametrize("day", ["31/02/2026", "03/04/2026"])
def test_a_day_that_can_be_read_in_no_or_in_two_ways_is_asked_by_what_stands_there(
    day: str, tmp_path: Path
) -> None:
    text = (HERE / "m1_result_v1.xml").read_text(encoding="utf-8")
    file = tmp_path / "day.xml"
    file.write_text(text.replace("<EventDate>2025-08-19<", f"<EventDate>{day}<"), encoding="utf-8")
    (question,) = read_sheet(file).questions
    assert (question.id, question.about) == ("sampled", f"day of sampling: which day {day!r} is")
    (sample,) = as_data(read_sheet(file, {"sampled": "2026-04-03"}))["samples"]
    assert sample["sampled_on"] == "2026-04-03"
