"""Measuring a map file that holds more plots than there is room for.

This file answers what `measure` answers of any file, for one that is read part by part: figures are kept,
shapes are not. Only ids, names and shapes are looked at. A shape that is a plot as it stands is measured
with thousands of others at once; any other goes through the same checks as in a small file. What a part
gave is a `Reading`, which other processes can make and which can be kept as a file; joined, the readings
are the whole. Overlaps are looked for among plots whose boxes meet, in a second reading of the file.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

from loamwright import land
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.files import plots, vectors
from loamwright.files.fields import Fields, stands
from loamwright.files.what_it_is import refuse_no_file
from loamwright.files.whole import write_whole
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
    readings: Iterable[Reading] | None = None,
) -> LargeMeasured:
    """Measure the plots of a file that `vectors.count_parted` counts.

    `readings` are those of its parts where they have been made, in the order of the file.
    """
    if readings is None:
        readings = _read_all(path, layer, gps_sigma_m, progress)
    survey = _Survey(path, layer, Reading.joined(path.name, readings))
    survey.name()
    progress("comparing neighbours")
    survey.compare(keepouts)
    known = survey.known
    kept = np.flatnonzero(known.usable)
    if not len(kept):
        raise InputError(survey.problems)
    renumbered = (np.cumsum(known.usable) - 1).tolist()
    return LargeMeasured(
        [survey.ids[index] for index in kept.tolist()],
        [known.names[index] or survey.ids[index] for index in kept.tolist()],
        known.area_m2[kept],
        known.perimeter_m[kept],
        known.parts[kept],
        known.holes[kept],
        known.area_se_m2[kept],
        {renumbered[index]: area for index, area in survey.cut.items()},
        tuple(survey.problems),
    )


def count_in_parts(path: Path, layer: str | None = None) -> int:
    """Count the features of a map file that can be read part by part.

    Parameters
    ----------
    path
        FlatGeobuf, GeoPackage or Shapefile.
    layer
        Layer of the file to read, when it has several.

    Returns
    -------
    int

    Raises
    ------
    InputError
        When it is another kind of file, cannot be read, or holds nothing.
    """
    count = vectors.count_parted(path, layer)
    if not count:
        refuse_no_file(path)
        what = "this cannot be read part by part, or holds no feature"
        fix = "Save it as FlatGeobuf (.fgb), GeoPackage or Shapefile, or measure it in one go."
        raise InputError([Problem(path.name, what, fix)])
    return count


def keep_reading(
    path: Path, layer: str | None, start: int, most: int, gps_sigma_m: float, kept: Path
) -> None:
    """Measure a part of a large map file and keep what it gave, for `measure_readings`.

    Parameters
    ----------
    path, layer
        The file, and which of its layers.
    start, most
        Place of the part's first feature, from 0, and how many it has at most [count].
    gps_sigma_m
        Standard error of a walked GPS fix [m].
    kept
        The file to keep it in; there whole or not at all.

    Raises
    ------
    InputError
        When the part cannot be read, or its file not be written.
    """
    write_whole(kept, read_part(path, layer, start, most, gps_sigma_m).packed())


def measure_readings(
    path: Path,
    readings: Sequence[Path],
    keepouts_path: Path | None = None,
    gps_sigma_m: float = 3.0,
    layer: str | None = None,
    progress: Callable[[str], None] = lambda _stage: None,
) -> LargeMeasured:
    """Measure the plots of a large map file all of whose parts `keep_reading` has read.

    Parameters
    ----------
    path, keepouts_path, gps_sigma_m, layer, progress
        As in `intake.measure`.
    readings
        What was kept of each part, in the order of the file.

    Returns
    -------
    LargeMeasured

    Raises
    ------
    InputError
        When a reading is damaged, or no plot can be measured.
    """
    held = keepouts_of(keepouts_path)
    parts = (_reading(kept) for kept in readings)
    large = measure_large(path, layer, held.keepouts, gps_sigma_m, progress, parts)
    return replace(large, problems=(*large.problems, *held.problems))


def _reading(kept: Path) -> Reading:
    try:
        return Reading.unpacked(kept.read_bytes())
    except (OSError, ValueError, KeyError, TypeError, EOFError, BadZipFile) as error:
        what = "what was kept of this part cannot be read"
        raise InputError([Problem(kept.name, what, "Delete the file and run again.")]) from error


def keepouts_of(path: Path | None) -> plots.KeepOutsRead:
    """Read the keep-outs to subtract, where a file of them is given."""
    return (
        plots.KeepOutsRead((), ()) if path is None else plots.keepouts_from_shapes(vectors.read_shapes(path))
    )


def _read_all(
    path: Path, layer: str | None, gps_sigma_m: float, progress: Callable[[str], None]
) -> Iterator[Reading]:
    count = vectors.count_parted(path, layer)
    for start in range(0, count, vectors.PART):
        progress(f"measuring plot {start + 1:,} of {count:,}")
        yield read_part(path, layer, start, vectors.PART, gps_sigma_m)


def read_part(path: Path, layer: str | None, start: int, most: int, gps_sigma_m: float) -> Reading:
    """Read features of a large file that follow each other.

    Parameters
    ----------
    path, layer
        The file, and which of its layers.
    start, most
        Place of the first in the file, from 0, and how many at most [count].
    gps_sigma_m
        Standard error of a walked GPS fix [m].

    Returns
    -------
    Reading
    """
    return _read(path.name, vectors.read_part(path, layer, _is_wanted, start, most), gps_sigma_m)


#: What a reading holds of each feature, as arrays and as texts.
_FIGURES = ("read_well", "usable", "area_m2", "perimeter_m", "area_se_m2", "parts", "holes", "boxes")
_TEXTS = ("ids", "names", "labels", "id_columns")


@dataclass(slots=True)
class Reading:
    """What is known of some features of a large file that follow each other.

    Parameters
    ----------
    file
        Its name.
    start
        Place of the first in the file, from 0.
    ids, names
        As the file tells them; empty where it does not.
    labels, id_columns
        What a message calls a feature by, and where its id stands.
    area_m2, perimeter_m, area_se_m2, parts, holes, boxes
        Figures of each boundary; NaN for none.
    read_well, usable
        Whether it is a shape, and whether that can be a plot.
    refused
        Those whose id or name cannot be kept, by their place here.
    repaired
        Boundaries that are not as drawn, by their place here, as well-known binary.
    remarks, problems
        What was found in the file, and in its features.
    """

    file: str
    start: int
    ids: list[str]
    names: list[str]
    labels: list[str]
    id_columns: list[str]
    refused: list[int] = field(default_factory=list)
    repaired: dict[int, bytes] = field(default_factory=dict)
    remarks: list[Problem] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    read_well: np.ndarray = field(init=False)
    usable: np.ndarray = field(init=False)
    area_m2: np.ndarray = field(init=False)
    perimeter_m: np.ndarray = field(init=False)
    area_se_m2: np.ndarray = field(init=False)
    parts: np.ndarray = field(init=False)
    holes: np.ndarray = field(init=False)
    boxes: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.labels)
        self.read_well, self.usable = np.zeros((2, count), dtype=bool)
        self.area_m2, self.perimeter_m, self.area_se_m2 = np.full((3, count), np.nan)
        self.parts, self.holes = np.zeros((2, count), dtype=np.int32)
        self.boxes = np.full((count, 4), np.nan)

    def __len__(self) -> int:
        return len(self.labels)

    def where(self, index: int) -> str:
        """Return how a feature is called in messages."""
        return vectors.named(f"{self.file}, feature {self.start + index + 1}", {"name": self.labels[index]})

    def put(self, rows: np.ndarray, batch: land.Batch) -> None:
        """Keep the figures of some boundaries."""
        self.usable[rows] = self.read_well[rows] = batch.sound
        self.area_m2[rows], self.perimeter_m[rows] = batch.area_m2, batch.perimeter_m
        self.parts[rows], self.holes[rows], self.boxes[rows] = batch.parts, batch.holes, batch.boxes

    @classmethod
    def joined(cls, file: str, readings: Iterable[Reading]) -> Reading:
        """Return the readings of a file's parts as one; a remark that several made is made once."""
        texts: dict[str, Any] = {name: [] for name in _TEXTS}
        figures: dict[str, list[np.ndarray]] = {name: [] for name in _FIGURES}
        refused: list[int] = []
        repaired: dict[int, bytes] = {}
        remarks: dict[Problem, None] = {}
        problems: list[Problem] = []
        for part in readings:
            refused += [part.start + index for index in part.refused]
            repaired |= {part.start + index: boundary for index, boundary in part.repaired.items()}
            remarks |= dict.fromkeys(part.remarks)
            problems += part.problems
            for name, some in texts.items():
                some += getattr(part, name)
            for name, several in figures.items():
                several.append(getattr(part, name))
        whole = cls(file, 0, **texts, refused=refused, repaired=repaired, problems=problems)
        whole.remarks = list(remarks)
        for name, several in figures.items():
            setattr(whole, name, np.concatenate([getattr(whole, name)[:0], *several]))
        return whole

    def packed(self) -> bytes:
        """Return all of it as the content of a file."""
        told = {
            "file": self.file,
            "start": self.start,
            **{name: getattr(self, name) for name in _TEXTS},
            "refused": self.refused,
            "repaired": [[index, boundary.hex()] for index, boundary in self.repaired.items()],
            **{name: [_as_row(one) for one in getattr(self, name)] for name in ("remarks", "problems")},
        }
        content = io.BytesIO()
        words = np.frombuffer(json.dumps(told).encode(), dtype=np.uint8)
        np.savez(content, words=words, **{name: getattr(self, name) for name in _FIGURES})
        return content.getvalue()

    @classmethod
    def unpacked(cls, content: bytes) -> Reading:
        """Return the reading whose `packed` content this is."""
        with np.load(io.BytesIO(content), allow_pickle=False) as held:
            told = json.loads(held["words"].tobytes())
            told["repaired"] = {index: bytes.fromhex(text) for index, text in told["repaired"]}
            for name in ("remarks", "problems"):
                told[name] = [_from_row(row) for row in told[name]]
            reading = cls(**told)
            for name in _FIGURES:
                setattr(reading, name, held[name])
        return reading


def _as_row(problem: Problem) -> list[object]:
    return [
        problem.where,
        problem.what,
        problem.fix,
        problem.level.value,
        problem.question,
        list(problem.choices),
    ]


def _from_row(row: list[Any]) -> Problem:
    where, what, fix, level, question, choices = row
    return Problem(where, what, fix, Level(level), question, tuple(choices))


def _read(file: str, part: vectors.Part, gps_sigma_m: float) -> Reading:
    """Read every feature of a part: its words, and the figures of its boundary."""
    texts = {name: [*map(vectors.text_of, column)] for name, column in part.columns.items()}
    count = len(part.shapes)
    ids, id_columns = _first_told(texts, _names_for(texts, "plot_id"), count)
    names, name_columns = _first_told(texts, _names_for(texts, "name"), count)
    labels = _first_told(texts, vectors.naming(texts), count)[0]
    reading = Reading(file, part.start, [], [], labels, id_columns, remarks=list(part.remarks))
    reading.ids += _read_texts(reading, "plot_id", ids, id_columns)
    reading.names += _read_texts(reading, "name", names, name_columns)
    batch = land.measure_batch(part.shapes)
    reading.put(np.arange(count), batch)
    odd = np.flatnonzero(~batch.sound).tolist()
    shapes = {n: part.faults.get(n) if part.shapes[n] is None else part.shapes[n] for n in odd}
    _check(reading, shapes, gps_sigma_m)
    mended = [n for n in part.faults if part.shapes[n] is not None]
    reading.problems += [replace(part.faults[n], where=reading.where(n)) for n in mended]
    return reading


def _read_texts(reading: Reading, column: str, texts: Sequence[str], columns: Sequence[str]) -> Iterator[str]:
    """Return texts as a small file's are read: a dash says nothing, what cannot be kept is refused."""
    for index, text in enumerate(texts):
        if text and not stands(text):
            names = {column: columns[index]}
            row = Fields(reading.where(index), {column: text}, reading.problems, names=names)
            yield row.text(column)
            reading.refused += [index] if row.bad else []
        else:
            yield text


def _check(reading: Reading, shapes: Mapping[int, Shape | Problem | None], gps_sigma_m: float) -> None:
    """Take the features that are not plots as they stand through the checks of a small file."""
    found = vectors.Found([(reading.where(n), {}, shape) for n, shape in shapes.items()])
    features, problems = vectors.judged(found)
    reading.problems.extend(problems)
    read = {n: item for n, item in zip(shapes, features, strict=True) if item is not None}
    outlines = plots.outlines_of([*read.values()], gps_sigma_m)
    for index, outline in zip(read, outlines, strict=True):
        reading.read_well[index] = True
        reading.problems.extend(outline.problems)
        if outline.boundary is not None and not has_errors(outline.problems):
            reading.repaired[index] = land.as_wkb(outline.boundary)
            reading.put(np.array([index]), land.measure_checked([outline.boundary]))
            reading.area_se_m2[index] = np.nan if outline.area_se_m2 is None else outline.area_se_m2


@dataclass(slots=True)
class _Survey:
    """The plots of a large file beside each other: whose id is whose, and what lies on what."""

    path: Path
    layer: str | None
    known: Reading
    ids: list[str] = field(init=False)
    problems: list[Problem] = field(init=False)
    cut: dict[int, PlotArea] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.ids = self.known.ids
        self.problems = [*self.known.remarks, *self.known.problems]

    def as_plots(self, rows: Sequence[int], wkbs: np.ndarray) -> list[Plot]:
        """Return some features as plots."""
        boundaries = vectors.unpacked(wkbs[rows])
        return [
            Plot(self.ids[index], self.known.names[index] or self.ids[index], boundary)
            for index, boundary in zip(rows, boundaries, strict=True)
        ]

    def name(self) -> None:
        """Give every plot its id, and leave out those that have another's."""
        known = self.known
        for index in known.refused:
            self.leave_out(index)
        columns = known.id_columns
        if not any(known.ids):
            if any(known.names):
                self.problems.append(plots.no_ids(self.path))
            self.ids, columns = known.names, ["plot_id"] * len(known)
        numbers = np.cumsum(known.read_well).tolist()
        self.ids = [ident or str(number) for ident, number in zip(self.ids, numbers, strict=True)]
        if len({ident.casefold() for ident in self.ids}) == len(known):
            return
        taken = plots.Ids("plot_id")
        for index in np.flatnonzero(known.read_well).tolist():
            where = known.where(index)
            found = taken.check(self.ids[index], f"{where}, {columns[index] or 'plot_id'}")
            self.problems.extend(found)
            if has_errors(found):
                self.leave_out(index)
            elif known.usable[index]:
                taken.take(self.ids[index], where)

    def leave_out(self, index: int) -> None:
        """Use a feature no further."""
        self.known.usable[index] = False
        self.known.boxes[index] = np.nan

    def compare(self, keepouts: Sequence[KeepOut]) -> None:
        """Look for ground that lies in two plots, for slivers, and for what keep-outs cut off."""
        known = self.known
        pairs = land.near_pairs(known.boxes)
        near = land.within_reach(known.boxes, keepouts)
        several = np.flatnonzero(known.usable & (known.parts > 1))
        wkbs = self._packed(np.unique(np.concatenate((*pairs, near, several))))
        overlaps = list(land.shared_among(lambda rows: vectors.unpacked(wkbs[rows]), pairs))
        twice = {pair.second: pair.first for pair in overlaps if pair.share >= DUPLICATE_SHARE}
        for second, first in twice.items():
            wheres = known.where(first), known.where(second)
            self.problems.append(plots.drawn_twice(self.ids[first], self.ids[second], *wheres))
            self.leave_out(second)
        for pair in overlaps:
            if pair.first not in twice and pair.second not in twice:
                two = self.as_plots([pair.first, pair.second], wkbs)
                self.problems.append(land.overlap_problem(pair, *two))
        for some in _some_at_once(several[known.usable[several]]):
            self.problems.extend(land.find_slivers(self.as_plots(some, wkbs)))
        for some in _some_at_once(near[known.usable[near]]):
            areas = land.areas(self.as_plots(some, wkbs), keepouts)
            self.cut |= dict(zip(some, areas, strict=True))

    def _packed(self, wanted: np.ndarray) -> np.ndarray:
        """Read the boundaries of some plots, packed to save room; the others are left out."""
        wkbs = np.full(len(self.known), None, dtype=object)
        if not len(wanted):
            return wkbs
        for start in range(0, len(self.known), vectors.PART):
            part = vectors.read_part(self.path, self.layer, lambda _name: False, start, vectors.PART)
            low, high = np.searchsorted(wanted, (part.start, part.start + len(part.shapes)))
            rows = wanted[low:high]
            wkbs[rows] = vectors.packed(land.tidied(part.shapes[rows - part.start]))
        for index, boundary in self.known.repaired.items():
            wkbs[index] = boundary
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
