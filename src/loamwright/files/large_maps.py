"""Measuring a map file that holds more plots than there is room for.

This file answers what `measure` answers of any file, for one that is read part by part: figures are kept,
shapes are not. Only ids, names and shapes are looked at. A shape that is a plot as it stands is measured
with thousands of others at once; any other goes through the same checks as in a small file. Overlaps are
looked for among plots whose boxes meet, in a second reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from loamwright import land
from loamwright.errors import InputError, Problem, has_errors
from loamwright.files import plots, vectors
from loamwright.files.fields import Fields, stands
from loamwright.land import DUPLICATE_SHARE, BoundaryMeasure, KeepOut, Plot, PlotArea, Shape

#: From so many features on a file is measured part by part.
LARGE = 100_000


@dataclass(frozen=True, slots=True)
class LargeMeasured:
    """The sizes of the plots of a large file, and what was found on the way.

    Parameters
    ----------
    ids, names
        Of each plot.
    area_m2, perimeter_m, parts, holes
        As for one boundary.
    area_se_m2
        Standard error of a walked area [m2]; NaN for none.
    cut
        Areas of the plots a keep-out cuts or lies near, by position; all of any other is spread.
    problems
        What was found.
    """

    ids: Sequence[str]
    names: Sequence[str]
    area_m2: np.ndarray
    perimeter_m: np.ndarray
    parts: np.ndarray
    holes: np.ndarray
    area_se_m2: np.ndarray
    cut: Mapping[int, PlotArea]
    problems: tuple[Problem, ...]

    def __len__(self) -> int:
        return len(self.ids)

    def rows(self) -> Iterator[tuple[str, PlotArea]]:
        """Return name and area of each plot; the areas come without shapes."""
        figures = zip(
            *(column.tolist() for column in (self.area_m2, self.perimeter_m, self.parts, self.holes)),
            self.area_se_m2.tolist(),
            strict=True,
        )
        for index, (area_m2, perimeter_m, parts, holes, se_m2) in enumerate(figures):
            gross = BoundaryMeasure(area_m2, perimeter_m, parts, holes)
            se = None if se_m2 != se_m2 else se_m2  # NaN is unlike itself
            area = self.cut.get(index) or land.whole_area(self.ids[index], gross, se)
            yield self.names[index], area


def measure_large(
    path: Path,
    layer: str | None,
    keepouts: Sequence[KeepOut],
    gps_sigma_m: float,
    progress: Callable[[str], None],
) -> LargeMeasured:
    """Measure the plots of a file that `vectors.count_parted` counts."""
    survey = _Survey(path, layer, vectors.count_parted(path, layer))
    survey.read(gps_sigma_m, progress)
    survey.name()
    progress("comparing neighbours")
    survey.compare(keepouts)
    kept = np.flatnonzero(survey.usable)
    if not len(kept):
        raise InputError(survey.problems)
    renumbered = (np.cumsum(survey.usable) - 1).tolist()
    return LargeMeasured(
        [survey.ids[index] for index in kept.tolist()],
        [survey.names[index] or survey.ids[index] for index in kept.tolist()],
        survey.area_m2[kept],
        survey.perimeter_m[kept],
        survey.parts[kept],
        survey.holes[kept],
        survey.area_se_m2[kept],
        {renumbered[index]: area for index, area in survey.cut.items()},
        tuple(survey.problems),
    )


@dataclass(slots=True)
class _Survey:
    """What is known of each feature of a large file, filled in reading by reading."""

    path: Path
    layer: str | None
    count: int
    ids: list[str] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)  # what a message calls a feature by
    id_columns: list[str] = field(default_factory=list)  # where its id stands
    has_ids: bool = False
    has_names: bool = False
    refused: list[int] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    cut: dict[int, PlotArea] = field(default_factory=dict)
    repaired: dict[int, Shape] = field(default_factory=dict)  # boundaries that are not as drawn
    read_well: np.ndarray = field(init=False)
    usable: np.ndarray = field(init=False)
    area_m2: np.ndarray = field(init=False)
    perimeter_m: np.ndarray = field(init=False)
    area_se_m2: np.ndarray = field(init=False)
    parts: np.ndarray = field(init=False)
    holes: np.ndarray = field(init=False)
    boxes: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.read_well, self.usable = np.zeros((2, self.count), dtype=bool)
        self.area_m2, self.perimeter_m, self.area_se_m2 = np.full((3, self.count), np.nan)
        self.parts, self.holes = np.zeros((2, self.count), dtype=np.int32)
        self.boxes = np.full((self.count, 4), np.nan)

    def where(self, index: int) -> str:
        """Return how a feature is called in messages."""
        return vectors.named(f"{self.path.name}, feature {index + 1}", {"name": self.labels[index]})

    def as_plots(self, rows: Sequence[int], wkbs: np.ndarray) -> list[Plot]:
        """Return some features as plots."""
        boundaries = vectors.unpacked(wkbs[rows])
        return [
            Plot(self.ids[index], self.names[index] or self.ids[index], boundary)
            for index, boundary in zip(rows, boundaries, strict=True)
        ]

    def read(self, gps_sigma_m: float, progress: Callable[[str], None]) -> None:
        """Read every feature: its words, and the figures of its boundary."""
        remarks: dict[Problem, None] = {}
        for part in vectors.read_parts(self.path, self.layer, _is_wanted):
            progress(f"measuring plot {part.start + 1:,} of {self.count:,}")
            remarks |= dict.fromkeys(part.remarks)
            texts = {name: [*map(vectors.text_of, column)] for name, column in part.columns.items()}
            ids, id_columns = _first_told(texts, _names_for(texts, "plot_id"), len(part.shapes))
            names, name_columns = _first_told(texts, _names_for(texts, "name"), len(part.shapes))
            self.has_ids, self.has_names = self.has_ids or any(ids), self.has_names or any(names)
            self.labels += _first_told(texts, vectors.naming(texts), len(part.shapes))[0]
            self.id_columns += id_columns
            self.ids += self._read_texts("plot_id", ids, id_columns, part.start)
            self.names += self._read_texts("name", names, name_columns, part.start)
            batch = land.measure_batch(part.shapes)
            self._put(np.arange(part.start, part.start + len(part.shapes)), batch)
            odd = np.flatnonzero(~batch.sound).tolist()
            shapes = {n: part.faults.get(n) if part.shapes[n] is None else part.shapes[n] for n in odd}
            self._check({part.start + n: shape for n, shape in shapes.items()}, gps_sigma_m)
            mended = [n for n in part.faults if part.shapes[n] is not None]
            self.problems += [replace(part.faults[n], where=self.where(part.start + n)) for n in mended]
        self.problems[:0] = remarks

    def _read_texts(
        self, column: str, texts: Sequence[str], names: Sequence[str], start: int
    ) -> Iterator[str]:
        """Return texts as a small file's are read: a dash says nothing, what cannot be kept is refused."""
        for index, text in enumerate(texts, start):
            if text and not stands(text):
                name = names[index - start]
                row = Fields(self.where(index), {column: text}, self.problems, names={column: name})
                yield row.text(column)
                self.refused += [index] if row.bad else []
            else:
                yield text

    def _put(self, rows: np.ndarray, batch: land.Batch) -> None:
        self.usable[rows] = self.read_well[rows] = batch.sound
        self.area_m2[rows], self.perimeter_m[rows] = batch.area_m2, batch.perimeter_m
        self.parts[rows], self.holes[rows], self.boxes[rows] = batch.parts, batch.holes, batch.boxes

    def _check(self, shapes: Mapping[int, Shape | Problem | None], gps_sigma_m: float) -> None:
        """Take the features that are not plots as they stand through the checks of a small file."""
        found = vectors.Found([(self.where(n), {}, shape) for n, shape in shapes.items()])
        features, problems = vectors.judged(found)
        self.problems.extend(problems)
        read = {n: item for n, item in zip(shapes, features, strict=True) if item is not None}
        outlines = plots.outlines_of([*read.values()], gps_sigma_m)
        for index, outline in zip(read, outlines, strict=True):
            self.read_well[index] = True
            self.problems.extend(outline.problems)
            if outline.boundary is not None and not has_errors(outline.problems):
                self.repaired[index] = outline.boundary
                self._put(np.array([index]), land.measure_checked([outline.boundary]))
                self.area_se_m2[index] = np.nan if outline.area_se_m2 is None else outline.area_se_m2

    def name(self) -> None:
        """Give every plot its id, and leave out those that have another's."""
        for index in self.refused:
            self.leave_out(index)
        if not self.has_ids:
            if self.has_names:
                self.problems.append(plots.no_ids(self.path))
            self.ids = list(self.names)
            self.id_columns = ["plot_id"] * self.count
        numbers = np.cumsum(self.read_well).tolist()
        self.ids = [ident or str(number) for ident, number in zip(self.ids, numbers, strict=True)]
        if len({ident.casefold() for ident in self.ids}) == self.count:
            return
        taken = plots.Ids("plot_id")
        for index in np.flatnonzero(self.read_well).tolist():
            where = self.where(index)
            found = taken.check(self.ids[index], f"{where}, {self.id_columns[index] or 'plot_id'}")
            self.problems.extend(found)
            if has_errors(found):
                self.leave_out(index)
            elif self.usable[index]:
                taken.take(self.ids[index], where)

    def leave_out(self, index: int) -> None:
        """Use a feature no further."""
        self.usable[index] = False
        self.boxes[index] = np.nan

    def compare(self, keepouts: Sequence[KeepOut]) -> None:
        """Look for ground that lies in two plots, for slivers, and for what keep-outs cut off."""
        pairs = land.near_pairs(self.boxes)
        near = land.within_reach(self.boxes, keepouts)
        several = np.flatnonzero(self.usable & (self.parts > 1))
        wkbs = self._packed(np.unique(np.concatenate((*pairs, near, several))))
        overlaps = list(land.shared_among(lambda rows: vectors.unpacked(wkbs[rows]), pairs))
        twice = {pair.second: pair.first for pair in overlaps if pair.share >= DUPLICATE_SHARE}
        for second, first in twice.items():
            wheres = self.where(first), self.where(second)
            self.problems.append(plots.drawn_twice(self.ids[first], self.ids[second], *wheres))
            self.leave_out(second)
        for pair in overlaps:
            if pair.first not in twice and pair.second not in twice:
                two = self.as_plots([pair.first, pair.second], wkbs)
                self.problems.append(land.overlap_problem(pair, *two))
        for some in _some_at_once(several[self.usable[several]]):
            self.problems.extend(land.find_slivers(self.as_plots(some, wkbs)))
        for some in _some_at_once(near[self.usable[near]]):
            areas = land.areas(self.as_plots(some, wkbs), keepouts)
            self.cut |= dict(zip(some, areas, strict=True))

    def _packed(self, wanted: np.ndarray) -> np.ndarray:
        """Read the boundaries of some plots, packed to save room; the others are left out."""
        wkbs = np.full(self.count, None, dtype=object)
        if not len(wanted):
            return wkbs
        for part in vectors.read_parts(self.path, self.layer, lambda _name: False):
            low, high = np.searchsorted(wanted, (part.start, part.start + len(part.shapes)))
            rows = wanted[low:high]
            wkbs[rows] = vectors.packed(land.tidied(part.shapes[rows - part.start]))
        for index, boundary in self.repaired.items():
            wkbs[index] = land.as_wkb(boundary)
        return wkbs


def _some_at_once(rows: np.ndarray) -> Iterator[list[int]]:
    for start in range(0, len(rows), 10_000):
        yield rows[start : start + 10_000].tolist()


def _is_wanted(name: str) -> bool:
    """Tell whether a column of the file may hold an id or a name."""
    return bool(_names_for([name], "plot_id") or _names_for([name], "name") or vectors.naming([name]))


def _names_for(names: Iterable[str], column: str) -> list[str]:
    """Return the names in a file that stand for a column of ours, the best first."""
    ranks = {name: plots.rank_of(name, column) for name in names}
    return sorted((n for n, rank in ranks.items() if rank is not None), key=lambda n: ranks[n] or 0)


def _first_told(
    texts: Mapping[str, list[str]], names: Sequence[str], count: int
) -> tuple[list[str], list[str]]:
    """Return for each feature the first text of some columns that is not blank, and the column's name."""
    if not names:
        return [""] * count, [""] * count
    if len(names) == 1:
        return texts[names[0]], [names[0]] * count
    told = [
        next(((text, name) for text, name in zip(row, names, strict=True) if text), ("", ""))
        for row in zip(*(texts[name] for name in names), strict=True)
    ]
    return [text for text, _ in told], [name for _, name in told]
