"""What is each feature of a map file that holds plots and other things: a gate, a lane, a pond?

This file answers "which features are no plots, and what are they?". A phone saves what was walked and what
was marked in one file. A point, a line that does not come back to its start, and ground that is called a pond
are asked about one by one; nothing is refused for standing beside plots.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loamwright import land
from loamwright.errors import Level, Problem
from loamwright.files.fields import key_of
from loamwright.files.plots import WAYS
from loamwright.files.vectors import Feature, ShapeFile

#: Answers besides the kinds of ways.
PLOT, KEEP_OUT, LEAVE_OUT = "plot", "keep-out", "leave it out"

#: Words in a name that hint at what a feature is (ours); the answer is still the user's.
_HINTS: Mapping[str, str] = {
    "gate": "gate",
    "entrance": "gate",
    "bridge": "bridge",
    "ford": "bridge",
    "landing": "loading place",
    "loading": "loading place",
    "staging": "loading place",
    "lane": "track",
    "track": "track",
    "road": "track",
    "drive": "track",
    "trail": "track",
    "way": "track",
}
_KEEP_OUTS = re.compile(
    r"\b(well|pond|creek|stream|brook|river|lake|spring|sinkhole|ditch|wetland|marsh|slough|seep|culvert|rock)s?\b"
)


@dataclass(frozen=True, slots=True)
class Sorted:
    """The features of a file by what they are, and what is still to be asked.

    Parameters
    ----------
    plots, keepouts, ways
        Files of these features alone; the problems of reading stand with the plots.
    asked
        A question for each feature that does not tell, as errors.
    answered
        Ids of the answers that were used.
    """

    plots: ShapeFile
    keepouts: ShapeFile
    ways: ShapeFile
    asked: tuple[Problem, ...]
    answered: frozenset[str]


def sort_out(shapes: ShapeFile, answers: Mapping[str, str]) -> Sorted:
    """Tell the plots of a map file from what else it holds.

    Parameters
    ----------
    shapes
        A file that holds plots.
    answers
        What features are, ``feature.NUMBER`` to the kind of a way, `PLOT`, `KEEP_OUT` or `LEAVE_OUT`.

    Returns
    -------
    Sorted
    """
    found: dict[str, list[Feature]] = {PLOT: [], KEEP_OUT: [], "way": [], LEAVE_OUT: []}
    asked, answered = [], set()
    for number, feature in enumerate(shapes.features, start=1):
        kind = _said(feature) or ("" if _is_odd(feature) else PLOT)
        choices = _choices(feature)
        ident = f"feature.{number}"
        if not kind and answers.get(ident) in choices:
            kind = answers[ident]
            answered.add(ident)
        if not kind:
            asked.append(_question(feature, ident, choices))
        elif kind in WAYS:
            found["way"].append(_with_kind(feature, kind))
        else:
            found[kind].append(_with_kind(feature, _keepout_kind(feature)) if kind == KEEP_OUT else feature)
    plots = replace(shapes, features=tuple(found[PLOT]))
    keepouts, ways = (replace(shapes, features=tuple(found[key]), problems=()) for key in (KEEP_OUT, "way"))
    return Sorted(plots, keepouts, ways, tuple(asked), frozenset(answered))


def with_ground(shapes: ShapeFile) -> tuple[ShapeFile, tuple[Problem, ...]]:
    """Take what has an area, for measuring it where nobody is asked; say what has none, or is hardly a plot.

    Parameters
    ----------
    shapes
        Any map file.

    Returns
    -------
    ground : ShapeFile
        The features that enclose ground. All of them where none does, to be refused one by one.
    notes : tuple of Problem
        What was left out, and what by its name may be ground that is kept out.
    """
    ground, notes = [], []
    for feature in shapes.features:
        if _said(feature) or not (_is_ground(feature) or _names_a_plot(feature)):
            what, fix = "it is no plot and was not measured", "`import` asks what it is."
            notes.append(Problem(feature.where, what, fix, Level.NOTE))
            continue
        ground.append(feature)
        if _is_odd(feature):
            what, fix = "by its name it may be ground that is kept out", "`import` asks what it is."
            notes.append(Problem(feature.where, what, fix, Level.NOTE))
    return (replace(shapes, features=tuple(ground)), tuple(notes)) if ground else (shapes, ())


def _words(feature: Feature) -> str:
    names = [text for name, text in feature.properties.items() if key_of(name) in ("name", "title", "label")]
    return " ".join(names).casefold()


def _said(feature: Feature) -> str:
    """Return the kind of way a feature says it is; empty when it says nothing of the sort."""
    for name, text in feature.properties.items():
        if key_of(name) in ("kind", "type", "way") and text.casefold() in WAYS:
            return text.casefold()
    return ""


def _names_a_plot(feature: Feature) -> bool:
    return any(key_of(name) in ("plot_id", "plotid") for name in feature.properties)


def _is_ground(feature: Feature) -> bool:
    if land.geometry_type(feature.shape).endswith("Polygon"):
        return True
    return feature.is_track and land.goes_round(feature.shape)


def _is_odd(feature: Feature) -> bool:
    if _names_a_plot(feature):
        return False
    return not _is_ground(feature) or (not feature.is_track and bool(_KEEP_OUTS.search(_words(feature))))


def _choices(feature: Feature) -> tuple[str, ...]:
    shape = land.geometry_type(feature.shape)
    if shape.endswith("Polygon"):
        return (KEEP_OUT, PLOT, LEAVE_OUT)
    ways = ("track", "bridge") if feature.is_track else ("gate", "bridge", "loading place", "contact")
    return (*ways, KEEP_OUT, *((PLOT,) if feature.is_track else ()), LEAVE_OUT)


def _keepout_kind(feature: Feature) -> str:
    hint = _KEEP_OUTS.search(_words(feature))
    return hint[1] if hint else ""


def _question(feature: Feature, ident: str, choices: Sequence[str]) -> Problem:
    words = _words(feature)
    hints = [kind for word, kind in _HINTS.items() if re.search(rf"\b{word}", words) and kind in choices]
    likely = KEEP_OUT if _KEEP_OUTS.search(words) else (hints[0] if hints else "")
    shape = {"Point": "a place", "LineString": "a line that does not come back to its start"}.get(
        land.geometry_type(feature.shape).removeprefix("Multi"), "ground that may be kept out"
    )
    guess = f" Likely: {likely}." if likely else ""
    fix = f"Choose one of: {', '.join(choices)}.{guess}"
    return Problem(feature.where, f"what this is: {shape}", fix, question=ident, choices=tuple(choices))


def _with_kind(feature: Feature, kind: str) -> Feature:
    if not kind or any(key_of(name) in ("kind", "type") for name in feature.properties):
        return feature
    return replace(feature, properties={**feature.properties, "kind": kind})
