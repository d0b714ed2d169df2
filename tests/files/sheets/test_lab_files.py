"""Sheets as labs, dealers and quarries send them, against what a perfect reader gets from each.

`labs/` holds twelve invented files in the habits of public example files and printed reports, with every
figure typed by hand in ``expected.json``; `variants/` holds further invented ones, whose expected figures
were typed from the file by hand too. An expected record may say less than the reader does; readings may not.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from loamwright.files.sheets import as_data, read_sheet

HERE = Path(__file__).parent
LABS = json.loads((HERE / "labs" / "expected.json").read_text(encoding="utf-8"))["files"]
VARIANTS = json.loads((HERE / "variants" / "expected.json").read_text(encoding="utf-8"))

#: Notes for people in expected.json; what must be asked stands in `ASKED` by question.
NOTES = {"habits", "must_ask", "must_say", "must_not", "checks"}

#: The questions each file must raise, and no others: ``must_ask`` of expected.json, question by question.
ASKED = {
    "dev01_midwest_codes.csv": {
        "unit",
        "test.cations",
        "test.S",
        "test.metals",
        "test.B",
        "buffer",
        "sampled",
        "depth",
    },
    "dev02_stacked_headings.xlsx": set(),
    "dev03_two_crops_unit_row.csv": set(),
    "dev04_value_with_rating.csv": {"date-meaning", "depth", "lime-basis"},
    "dev05_index_report.csv": {"recommendation-unit", "lime-basis", "depth"},
    "dev06_uk_indices.xlsx": {"depth"},
    "dev07_norsk.csv": set(),
    "dev08_transposed.xlsx": set(),
    "dev09_long_lims.csv": {"depth"},
    "dev10_litter_report.xlsx": set(),
    "dev11_dealer_prices.csv": set(),
    "dev12_lime_tickets.csv": {"date-order"},
}

#: What must be said, by file: words that one of the remarks or of the reasons for leaving out holds.
SAID = {
    "dev01_midwest_codes.csv": ["received and reported dates are there, the sampling date is not", "PCT_K"],
    "dev02_stacked_headings.xlsx": ["Total bases", "Invoice"],
    "dev03_two_crops_unit_row.csv": ["recommended as ECC, not as product", "K sat"],
    "dev04_value_with_rating.csv": ["a range", "several lime rates"],
    "dev05_index_report.csv": ["cannot go into a table printed in ppm", "'$' for Mg is a flag", "Ca%"],
    "dev06_uk_indices.xlsx": ["mg/L is per volume", "NV is on the CaO scale (pure CaCO3 is 56)"],
    "dev07_norsk.csv": ["1 mg/100 g is 10 mg/kg", "no built-in table is written for K by nitric acid"],
    "dev08_transposed.xlsx": ["Zn ND"],
    "dev09_long_lims.csv": ["run 2 replaces 121", "quality-control rows"],
    "dev10_litter_report.xlsx": ["first year", "not part of the analysis"],
    "dev11_dealer_prices.csv": ["no price for Boron 15% gran, Triple super 0-46-0", "enter them by hand"],
    "dev12_lime_tickets.csv": ["void ticket", "sum of the tickets"],
}


def missing(expected: Any, got: Any, path: str = "") -> list[str]:
    """What of an expected value is not there, by path; null is the same as not stated."""
    if isinstance(expected, dict):
        if not isinstance(got, dict):
            return [f"{path}: expected a record, got {got!r}"]
        lost = [
            fault
            for key, value in expected.items()
            if key not in NOTES
            for fault in missing(value, got.get(key), f"{path}.{key}")
        ]
        if path.endswith(".readings"):
            lost += [f"{path}.{key}: not in the file" for key in sorted(set(got) - set(expected))]
        return lost
    if isinstance(expected, list):
        if not isinstance(got, list) or len(got) != len(expected):
            return [f"{path}: expected {expected!r}, got {got!r}"]
        return [
            fault
            for number, (one, other) in enumerate(zip(expected, got, strict=True))
            for fault in missing(one, other, f"{path}[{number}]")
        ]
    return [] if expected == got else [f"{path}: expected {expected!r}, got {got!r}"]


def test_the_comparison_sees_what_is_lost() -> None:
    assert missing({"a": [1]}, {"a": [2]}) == [".a[0]: expected 1, got 2"]
    assert missing({"readings": {}}, {"readings": {"K": []}}, "x") == ["x.readings.K: not in the file"]
    assert missing([1], [1, 2])
    assert missing({"a": {}}, {"a": 1})
    assert not missing({"a": None}, {})


@pytest.mark.parametrize("name", LABS)
def test_a_lab_file_says_what_a_perfect_reader_gets(name: str) -> None:
    assert missing(LABS[name], as_data(read_sheet(HERE / "labs" / name))) == []


@pytest.mark.parametrize("name", LABS)
def test_a_lab_file_asks_what_must_be_asked_and_nothing_else(name: str) -> None:
    asked = {question.id for question in read_sheet(HERE / "labs" / name).questions}
    assert asked == ASKED[name]
    assert bool(asked) == bool(LABS[name].get("must_ask"))


@pytest.mark.parametrize("name", LABS)
def test_a_lab_file_is_told_about(name: str) -> None:
    contents = read_sheet(HERE / "labs" / name)
    told = " | ".join([*contents.remarks, *(f"{item.where}: {item.what}" for item in contents.left_out)])
    assert [words for words in SAID[name] if words not in told] == []


def test_quality_control_rows_are_counted() -> None:
    """Two blanks and a duplicate: 25J0912-MB, 25J0912-LCS, and the second Bray figure of -01."""
    contents = read_sheet(HERE / "labs" / "dev09_long_lims.csv")
    assert [item.count for item in contents.left_out if item.what == "quality-control rows"] == [3]


def full(reading: list[Any], soil: bool, element: str) -> dict[str, Any]:
    """An expected figure written short: value (or "<limit"), unit, test or state, and the rest."""
    value, unit, third, *rest = reading
    below = float(value[1:]) if isinstance(value, str) else None
    what: dict[str, Any] = {"value": None if below is not None else value, "unit": unit, "below": below}
    if not soil:
        what["state"] = third
    elif element in METHODS:
        what["method"] = third
    else:
        what["extractant"] = third
    return what | (rest[0] if rest else {})


METHODS = {
    "pH",
    "buffer pH",
    "OM",
    "organic carbon",
    "EC",
    "CEC",
    "acidity",
    "P buffering index",
    "P saturation",
}


def written_out(expected: dict[str, Any]) -> dict[str, Any]:
    """An expected file in the long form of expected.json."""
    whole = {key: value for key, value in expected.items() if key not in ("samples", "asks")}
    soil = expected["kind"] == "soil tests"
    for sample in expected.get("samples", []):
        record = dict(sample)
        for key in ("readings", "also_printed"):
            if key in sample:
                record[key] = {
                    element: [full(one, True, element) for one in figures]
                    if soil
                    else full(figures, False, element)
                    for element, figures in sample[key].items()
                }
        if isinstance(sample.get("depth"), list):
            record["depth"] = dict(zip(("top", "bottom", "unit"), sample["depth"], strict=True))
        whole.setdefault("samples", []).append(record)
    return whole


@pytest.mark.parametrize("name", VARIANTS)
def test_a_further_file_says_what_stands_in_it(name: str) -> None:
    contents = read_sheet(HERE / "variants" / name)
    assert missing(written_out(VARIANTS[name]), as_data(contents)) == []
    assert sorted(question.id for question in contents.questions) == VARIANTS[name]["asks"]


def test_every_file_is_tested() -> None:
    suffixes = {".csv", ".xlsx", ".txt"}
    assert {path.name for path in (HERE / "labs").iterdir() if path.suffix in suffixes} == set(LABS)
    assert {path.name for path in (HERE / "variants").iterdir() if path.suffix in suffixes} == set(VARIANTS)
