"""Legends of the field map: figures sorted into a few classes with a colour and a pattern each.

This file answers "which class does a plot fall into?". Up to five different figures stand for
themselves; more are cut at round numbers. Texts beside figures ("unknown") are classes of their own.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence

from loamwright.fieldmap.records import MapChoice, MapClass
from loamwright.palette import Fill, sequence


def round_width(width: float) -> float:
    """Return the smallest of 1, 2, 2.5, 5, 10 times a power of ten that is not under a width.

    Examples
    --------
    >>> round_width(34.0)
    50.0
    """
    power: float = 10.0 ** math.floor(math.log10(width))
    return next(factor * power for factor in (1, 2, 2.5, 5, 10) if factor * power >= width * (1 - 1e-9))


def edges(values: Sequence[float]) -> tuple[float, ...]:
    """Cut a range of figures into at most five classes of one round width.

    Examples
    --------
    >>> edges([12.0, 31.0, 55.0, 78.0])
    (0.0, 20.0, 40.0, 60.0, 80.0)
    """
    low, high = min(values), max(values)
    width = round_width((high - low) / 5)
    while math.floor(high / width) - math.floor(low / width) + 1 > 5:
        width = round_width(width * 1.01)
    first, last = math.floor(low / width), math.floor(high / width)
    return tuple(round(width * place, 10) for place in range(first, last + 2))


def counted(
    key: str,
    label: str,
    rows: Sequence[tuple[str, Fill]],
    of: Sequence[int],
    shown: Sequence[str],
    note: str = "",
) -> MapChoice:
    """Make a choice of the map, leaving out legend rows that hold no plot."""
    count = Counter(of)
    kept = [place for place in range(len(rows)) if count[place]]
    classes = tuple(
        MapClass(rows[place][0], count[place], rows[place][1].colour, rows[place][1].pattern)
        for place in kept
    )
    return MapChoice(key, label, classes, tuple(kept.index(place) for place in of), tuple(shown), note)


def _span(low: str, high: str) -> str:
    """Write two figures as a span, with their unit once when it is the same."""
    figure, _, unit = low.partition(" ")
    return f"{figure if unit and high.endswith(' ' + unit) else low} to under {high}"


def graded(
    key: str,
    label: str,
    values: Sequence[float | str],
    shown: Sequence[str],
    *,
    palette: str,
    write: Callable[[float], str],
    special: Mapping[str, Fill],
    note: str = "",
) -> MapChoice:
    """Make a choice of the map that grades a figure per plot."""
    figures = sorted({round(v, 6) for v in values if isinstance(v, float)})
    rows = list(special.items())
    first = len(rows)
    inner: Sequence[float]
    if len(figures) <= 5:
        fills = sequence(palette, len(figures)) if figures else ()
        rows += [(write(value), fill) for value, fill in zip(figures, fills, strict=True)]
        inner = figures[1:]
    else:
        cuts = edges(figures)
        spans = zip(cuts[:-1], cuts[1:], sequence(palette, len(cuts) - 1), strict=True)
        rows += [(_span(write(low), write(high)), fill) for low, high, fill in spans]
        inner = cuts[1:-1]
    names = list(special)
    of = [
        names.index(value) if isinstance(value, str) else first + sum(round(value, 6) >= e for e in inner)
        for value in values
    ]
    return counted(key, label, rows, of, shown, note)
