"""Which plot a sample is of: by its names, in a step of its own, remembered for the next file.

Names are the same when only capitals, blanks, dashes or accents differ. A near spelling is offered, never
taken; a name that is on two plots, or on two samples of one depth, is asked about.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loamwright.files.sheets.records import ManureSample, Question, Sample

#: How alike two names must be to be offered as one (ours; 1 is the same).
NEAR = 0.72

NO_PLOT = "no plot of this property"
ALL_OF_IT, OF_ANOTHER = "all are of this plot", "one is of another plot"


@dataclass(frozen=True, slots=True)
class PlotMatch:
    """The plot of one sample.

    Parameters
    ----------
    sample
        The sample's label as printed, or its lab number when it has none.
    plot_id
        The plot; None while a question is open, and for a sample of no plot.
    how
        "remembered", "answered", "id", "name", or "asked".
    """

    sample: str
    plot_id: str | None
    how: str


def match_plots(
    samples: Sequence[Sample | ManureSample],
    plots: Mapping[str, str],
    remembered: Mapping[str, str] | None = None,
    answers: Mapping[str, str] | None = None,
) -> tuple[tuple[PlotMatch, ...], tuple[Question, ...]]:
    """Match samples with plots.

    Parameters
    ----------
    samples
        Samples of a file, in its order.
    plots
        Name by plot id; an empty name where a plot has none.
    remembered
        Plot id by sample label, from a profile; empty for a label of no plot.
    answers
        Answers by question id.

    Returns
    -------
    tuple of PlotMatch and tuple of Question
        One match for each sample, and what must be asked first.

    Examples
    --------
    >>> matches, questions = match_plots([Sample("creek_bottom")], {"P1": "Creek Bottom"})
    >>> matches[0].plot_id, questions
    ('P1', ())
    """
    known = {**(remembered or {})}
    given = answers or {}
    matches: list[PlotMatch] = []
    questions: dict[str, Question] = {}
    for sample in samples:
        name = sample.label or sample.lab_number or ""
        match, question = _match(sample, name, plots, known, given)
        matches.append(match)
        if question is not None:
            questions.setdefault(question.id, question)
    for question in _twins(samples, matches, plots, given):
        questions.setdefault(question.id, question)
    return tuple(matches), tuple(questions.values())


def _key(text: str) -> str:
    bare = unicodedata.normalize("NFKD", text).casefold()
    return re.sub(r"[^a-z0-9]+", "", "".join(sign for sign in bare if not unicodedata.combining(sign)))


def _match(
    sample: Sample | ManureSample,
    name: str,
    plots: Mapping[str, str],
    remembered: Mapping[str, str],
    answers: Mapping[str, str],
) -> tuple[PlotMatch, Question | None]:
    ident = f"plot.{_key(name) or 'unnamed'}"
    answer = answers.get(ident)
    if answer is not None:
        meant = [NO_PLOT] if answer == NO_PLOT else _named(answer, plots)
        if len(meant) == 1:
            return PlotMatch(name, meant[0] if meant[0] in plots else None, "answered"), None
        about = f"{answer!r} names {'more than one plot' if meant else 'no plot of this property'}"
        question = Question(ident, f"{about}: which plot is the sample {name!r} of", name, (*plots, NO_PLOT))
        return PlotMatch(name, None, "asked"), question
    if remembered.get(name) in plots:
        return PlotMatch(name, remembered[name], "remembered"), None
    others = sample.other_labels if isinstance(sample, Sample) else ()
    for text in (name, *others):
        found = _named(text, plots)
        if len(found) == 1:
            return PlotMatch(name, found[0], "id" if _key(found[0]) == _key(text) else "name"), None
        if found:
            about = f"{text!r} names more than one plot"
            return PlotMatch(name, None, "asked"), Question(ident, about, name, (*found, NO_PLOT))
    if remembered.get(name) == "":
        return PlotMatch(name, None, "remembered"), None
    near = _near((name, *others), plots)
    choices = (*near, *(plot_id for plot_id in plots if plot_id not in near), NO_PLOT)
    about = f"which plot the sample {name!r} is of"
    return PlotMatch(name, None, "asked"), Question(ident, about, name, choices, near[0] if near else None)


def _named(text: str, plots: Mapping[str, str]) -> list[str]:
    """Plots of this id or name, however it is written."""
    key = _key(text)
    return [plot_id for plot_id, name in plots.items() if key and key in (_key(plot_id), _key(name))]


def _near(names: Sequence[str], plots: Mapping[str, str]) -> list[str]:
    """Plots whose id or name is spelled nearly like one of the names, nearest first."""
    scores = {
        plot_id: max(
            difflib.SequenceMatcher(None, _key(text), _key(own)).ratio()
            for text in names
            for own in (plot_id, plot or plot_id)
        )
        for plot_id, plot in plots.items()
    }
    return [plot_id for plot_id, score in sorted(scores.items(), key=lambda item: -item[1]) if score >= NEAR]


def _twins(
    samples: Sequence[Sample | ManureSample],
    matches: Sequence[PlotMatch],
    plots: Mapping[str, str],
    answers: Mapping[str, str],
) -> list[Question]:
    """Ask about two samples of one plot at one depth: parts of it, or one of another plot."""
    places = [
        (match.plot_id, str(sample.depth) if isinstance(sample, Sample) else "")
        for sample, match in zip(samples, matches, strict=True)
    ]
    found = []
    for (plot_id, depth), count in Counter(places).items():
        ident = f"plot.{_key(plot_id or '')}.twice"
        if plot_id is None or count < 2 or answers.get(ident) == ALL_OF_IT:
            continue
        names = [
            match.sample for match, place in zip(matches, places, strict=True) if place == (plot_id, depth)
        ]
        about = f"{count} samples are of plot {plot_id}: {', '.join(names)}"
        if answers.get(ident) != OF_ANOTHER:
            found.append(Question(ident, about, plot_id, (ALL_OF_IT, OF_ANOTHER)))
            continue
        asked = {name: f"plot.{_key(name)}" for name in names}
        found.extend(
            Question(one, f"which plot the sample {name!r} is of", name, (*plots, NO_PLOT))
            for name, one in asked.items()
            if one not in answers
        )
    return found
