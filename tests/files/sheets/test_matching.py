"""Samples are matched with plots by their names; near spellings are offered, what was said is remembered."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loamwright.files.sheets import PlotMatch, Sample, match_plots, read_sheet

PLOTS = {"P1": "Creek Bottom", "P2": "Pond top", "P3": "Lane, east", "P4": "Øvre jordet", "AF-03": ""}


@pytest.mark.parametrize(
    ("label", "plot_id", "how"),
    [
        ("P1", "P1", "id"),
        ("p-2", "P2", "id"),
        ("af03", "AF-03", "id"),
        ("creek_bottom", "P1", "name"),
        ("CREEK  BOTTOM", "P1", "name"),
        ("PONDTOP", "P2", "name"),
        ("Lane east", "P3", "name"),
    ],
)
def test_the_same_name_in_another_spelling(label: str, plot_id: str, how: str) -> None:
    matches, questions = match_plots([Sample(label)], PLOTS)
    assert (matches, questions) == ((PlotMatch(label, plot_id, how),), ())


@pytest.mark.parametrize(
    ("label", "nearest"), [("Creek Botom", "P1"), ("Pond topp", "P2"), ("Lane East 2", "P3")]
)
def test_a_near_spelling_is_offered_not_taken(label: str, nearest: str) -> None:
    (match,), (question,) = match_plots([Sample(label)], PLOTS)
    assert (match.plot_id, match.how) == (None, "asked")
    assert (question.likely, question.choices[0], question.choices[-1]) == (
        nearest,
        nearest,
        "no plot of this property",
    )


def test_a_strange_name_is_asked_about_without_an_offer() -> None:
    (match,), (question,) = match_plots([Sample("SAMPLE 7")], PLOTS)
    assert match.plot_id is None
    assert question.likely is None
    assert set(question.choices) == {*PLOTS, "no plot of this property"}


def test_answers_and_memory() -> None:
    matches, questions = match_plots([Sample("SAMPLE 7")], PLOTS, answers={"plot.sample7": "P3"})
    assert (matches[0].plot_id, questions) == ("P3", ())
    matches, questions = match_plots([Sample("SAMPLE 7")], PLOTS, remembered={"SAMPLE 7": "P3"})
    assert (matches[0], questions) == (PlotMatch("SAMPLE 7", "P3", "remembered"), ())
    matches, questions = match_plots([Sample("X")], PLOTS, answers={"plot.x": "no plot of this property"})
    assert (matches[0].plot_id, questions) == (None, ())
    gone, (question,) = match_plots([Sample("SAMPLE 7")], PLOTS, remembered={"SAMPLE 7": "P99"})
    assert (gone[0].plot_id, question.id) == (None, "plot.sample7")


def test_another_label_of_the_sheet_may_name_the_plot() -> None:
    matches, _ = match_plots([Sample("1", other_labels=("Creek Bottom",))], PLOTS)
    assert matches[0] == PlotMatch("1", "P1", "name")


def test_a_name_on_two_plots_is_asked_about() -> None:
    (match,), (question,) = match_plots([Sample("Hill")], {"A": "Hill", "B": "hill"})
    assert match.plot_id is None
    assert question.about == "'Hill' names more than one plot"
    assert question.choices == ("A", "B", "no plot of this property")


def test_two_samples_of_one_plot_are_asked_about_but_two_depths_are_not() -> None:
    top = Sample("Creek Bottom", "1")
    _, (question,) = match_plots([top, Sample("P1", "2")], PLOTS)
    assert question.about == "2 samples are of plot P1: Creek Bottom, P1"
    sheet = Path(__file__).parent / "labs" / "dev02_stacked_headings.xlsx"
    gate = [
        replace(sample, label="P1") for sample in read_sheet(sheet).samples[:2] if isinstance(sample, Sample)
    ]
    assert match_plots(gate, PLOTS)[1] == ()


def test_a_lab_file_against_a_property() -> None:
    samples = read_sheet(Path(__file__).parent / "labs" / "dev01_midwest_codes.csv").samples
    matches, questions = match_plots(
        samples, {"1": "Pond Top", "2": "Two Corners", "3": "Lane E", "4": "Creek W"}
    )
    assert [match.plot_id for match in matches] == ["1", None, "3", "4"]
    assert [(question.id, question.likely) for question in questions] == [("plot.2corners", "2")]
