"""Answers given once are kept as the profile of a lab or dealer, and the next file asks nothing."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from loamwright.errors import InputError
from loamwright.files.sheets import Profile, keep_answers, load_profile, read_sheet, save_profile

LABS = Path(__file__).parent / "labs"
CODES = LABS / "dev01_midwest_codes.csv"
ANSWERS = {
    "unit": "ppm",
    "test.cations": "Mehlich-3",
    "test.S": "Mehlich-3",
    "test.metals": "DTPA",
    "test.B": "hot water",
    "buffer": "Sikora",
    "sampled": "take the day received",
    "depth": "0-6 in",
}


def next_file(folder: Path) -> Path:
    """The next sheet of the same lab: other samples and figures, the same headings."""
    path = folder / "next.csv"
    text = CODES.read_text(encoding="utf-8").replace("PONDTOP", "NEW").replace("20251021", "20261103")
    path.write_text(text.replace(",88,L,", ",97,L,"), encoding="utf-8")
    return path


def test_answers_fill_in_what_the_sheet_does_not_say() -> None:
    contents = read_sheet(CODES, ANSWERS)
    assert contents.questions == ()
    (sample, *_) = contents.samples
    assert (
        sample.sampled_on,
        sample.depth and (sample.depth.top, sample.depth.bottom, sample.depth.unit),
    ) == (
        dt.date(2025, 10, 21),
        (0.0, 6.0, "in"),
    )
    tests = {name: (r[0].unit, r[0].extractant or r[0].method) for name, r in sample.readings.items()}
    assert tests["K"] == ("ppm", "Mehlich-3")
    assert tests["Zn"] == ("ppm", "DTPA")
    assert tests["buffer pH"] == (None, "Sikora")
    assert all(reading.candidates == () for readings in sample.readings.values() for reading in readings)


def test_the_next_file_of_a_lab_asks_nothing(tmp_path: Path) -> None:
    profile = keep_answers(read_sheet(CODES, ANSWERS), "Any Codes Laboratory")
    save_profile(tmp_path / "codes.json", profile)
    again = load_profile(tmp_path / "codes.json")
    assert again == profile
    contents = read_sheet(next_file(tmp_path), profile=again)
    assert contents.questions == ()
    first = contents.samples[0]
    assert (first.label, first.sampled_on, first.readings["K"][0].value) == ("NEW", dt.date(2026, 11, 3), 97)


def test_answers_about_one_file_are_not_kept() -> None:
    contents = read_sheet(CODES, ANSWERS | {"sampled": "2025-10-18"})
    assert contents.samples[0].sampled_on == dt.date(2025, 10, 18)
    assert "sampled" not in keep_answers(contents).answers


@pytest.mark.parametrize(
    ("name", "answers"),
    [
        (
            "dev04_value_with_rating.csv",
            {"date-meaning": "the day of sampling", "depth": "0-6 in", "lime-basis": "CCE"},
        ),
        (
            "dev05_index_report.csv",
            {"recommendation-unit": "lb/acre", "depth": "0-8 in", "lime-basis": "not known"},
        ),
        ("dev06_uk_indices.xlsx", {"depth": "0-15 cm"}),
        ("dev09_long_lims.csv", {"depth": "0-6 in"}),
        ("dev12_lime_tickets.csv", {"date-order": "month-day-year"}),
    ],
)
def test_every_lab_and_quarry_can_have_a_profile(name: str, answers: dict[str, str]) -> None:
    contents = read_sheet(LABS / name, answers)
    assert contents.questions == ()
    assert read_sheet(LABS / name, profile=keep_answers(contents)).questions == ()


def test_a_profile_of_another_form_is_not_used() -> None:
    profile = keep_answers(read_sheet(CODES, ANSWERS), "Any Codes Laboratory")
    contents = read_sheet(LABS / "dev06_uk_indices.xlsx", profile=profile)
    assert {question.id for question in contents.questions} == {"depth"}
    assert any("'Any Codes Laboratory' was not used" in remark for remark in contents.remarks)


def test_a_new_heading_needs_new_answers(tmp_path: Path) -> None:
    """A column the profile never saw may be in another unit: nothing is taken over."""
    profile = keep_answers(read_sheet(CODES, ANSWERS))
    lines = CODES.read_text(encoding="utf-8").split("\n")
    path = tmp_path / "more.csv"
    path.write_text("\n".join([f"{lines[0].strip()},CU", *(f"{line.strip()},1.2" for line in lines[1:5])]))
    assert {question.id for question in read_sheet(path, profile=profile).questions} == set(ANSWERS)


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"unit": "pppm"}, "'pppm' is no answer to the question unit"),
        ({"depth": "six"}, "'six' is no answer to the question depth"),
        ({"sampled": "3/4/2025"}, "'3/4/2025' is no answer to the question sampled"),
        ({"dept": "0-6 in"}, "no question is called dept"),
    ],
)
def test_an_answer_that_is_none_is_refused(answers: dict[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words.split("'")[-1]) as caught:
        read_sheet(CODES, answers)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "is no JSON"),
        ("[]", "is no profile"),
        ('{"format": "loamwright sheet profile 1"}', "lacks name, kind or headings"),
        (
            '{"format": "loamwright sheet profile 1", "name": "x", "kind": "y", "headings": [], '
            '"answers": {"a": 1}}',
            "holds an answer that is no text",
        ),
    ],
)
def test_a_damaged_profile_is_refused(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "profile.json"
    path.write_text(text)
    with pytest.raises(InputError, match=words):
        load_profile(path)
    with pytest.raises(InputError, match="cannot be read"):
        load_profile(tmp_path / "none.json")


def test_a_profile_fits_by_its_headings() -> None:
    profile = Profile("x", "soil tests", ("sample", "ph", "p"))
    assert profile.fits(("sample", "p"))
    assert not profile.fits(("sample", "k"))
    assert not profile.fits(())
