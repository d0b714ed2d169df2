"""What forms call their fields, and their examples: words, no two alike, and every example can be typed."""

from __future__ import annotations

import re

import pytest

from loamwright import files
from loamwright.app.wording import example_of, label_of
from loamwright.files.kinds import read_value
from loamwright.files.things import THINGS
from loamwright.values import PropertyInfo, Settings, Spreader
from loamwright.work import PropertyRecord

RECORD = PropertyRecord(PropertyInfo("Own", 2026, settings=Settings(spreaders=(Spreader("lime truck"),))))
WORDS = (*THINGS, files.SETTINGS_WORD)


@pytest.mark.parametrize("word", WORDS)
def test_fields_are_called_by_words_and_no_two_alike(word: str) -> None:
    labels = [label_of(name) for name in files.fields_of(files.thing_of(word), RECORD)]
    assert sorted(labels) == sorted(set(labels))
    assert not [one for one in labels if re.search(r"[_*]|\bpct\b|\w\.\w", one)]


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("word", WORDS)
def test_every_example_can_be_typed(word: str, units: str) -> None:
    for field in files.fields_of(files.thing_of(word), RECORD).values():
        if example := example_of(field.name, field.kind.example, units == "metric"):
            assert read_value(field.kind, example, units) is not None, field.name


def test_families_of_fields_name_what_they_are_of() -> None:
    said = {name: label_of(name) for name in ("rec_p2o5", "no3_n_unit", "mg", "available_n_pct", "urea_n")}
    assert said == {
        "rec_p2o5": "lab's rate of P2O5",
        "no3_n_unit": "unit of NO3-N",
        "mg": "Mg",
        "available_n_pct": "N usable in the first season, %",
        "urea_n": "N as urea, %",
    }
    assert label_of("reach.lime truck") == "can lime truck get there?"
    assert label_of("sampled_on") == "sampled on"
