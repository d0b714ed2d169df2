"""What many plots measure and need, worked out part by part: resumable, and by several processes.

This file answers "what do a hundred thousand plots need, when the machine may stop on the way?". What a part
gives is a file of its own, there whole or not at all; its name tells what it was made from, so that a run
which is begun again makes only what is missing. One process needs no engine; several are dask's (the extra
``scale``).
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from hashlib import file_digest, sha256
from itertools import islice
from pathlib import Path
from typing import TypeVar

from loamwright import files, handoff
from loamwright.errors import InputError, MissingExtraError, Problem
from loamwright.land import Cropping, PlotArea
from loamwright.season.opening import Progress, Season, quiet
from loamwright.soil import SoilTest
from loamwright.version import __version__
from loamwright.work import PropertyRecord

#: Plots in a part whose needs are worked out, and in one that is measured: some seconds of work (our choice).
PART, MEASURED = 2_000, 25_000

_Task = TypeVar("_Task")
_Row = tuple[str, PlotArea]


@dataclass(frozen=True, slots=True)
class TablesWritten:
    """The tables made of a large file.

    Parameters
    ----------
    parts
        One file a part, in the order of the plots.
    plots
        In all of them [count].
    made, kept
        Parts worked out now, and parts that were there from an earlier run [count].
    problems
        What was found while reading.
    """

    parts: tuple[Path, ...]
    plots: int
    made: int
    kept: int
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class NeedsWritten(TablesWritten):
    """Tables of what each plot needs."""


@dataclass(frozen=True, slots=True)
class AreasWritten(TablesWritten):
    """Tables of what each plot measures, and what all of them do.

    Parameters
    ----------
    parts, plots, problems
        As in `TablesWritten`.
    made, kept
        Parts of the file measured now, and parts that an earlier run had measured [count].
    total_area_m2, total_spread_area_m2
        Inside the boundaries, and of it what is spread [m2].
    """

    total_area_m2: float
    total_spread_area_m2: float


def write_needs_in_parts(
    record: PropertyRecord,
    made_of: Iterable[Path],
    folder: Path,
    today: dt.date,
    processes: int = 1,
    cluster: str = "",
    progress: Progress = quiet,
) -> NeedsWritten:
    """Write what each plot needs, a CSV table a part; parts that are there already stay.

    Parameters
    ----------
    record
        Plots, croppings and soil tests.
    made_of
        The files they were read from: another content makes other parts.
    folder
        Where the tables go.
    today
        Date for the age of tests.
    processes
        Processes of this machine to work in [count].
    cluster
        Address of a dask scheduler to work on instead; its workers see the folder. Empty = none.
    progress
        Told after each part how far it is, and how long the rest may take.

    Returns
    -------
    NeedsWritten

    Raises
    ------
    InputError
        When a table cannot be written, or there are fewer than one process.
    MissingExtraError
        When several processes are asked for without the extra ``scale``.
    """
    mark = _mark(f"{PART} {today} {record.info}", made_of)
    count = len(record.plots)
    parts = _paths(folder, f"needs-{mark}", count, PART, "csv")
    missing = {n for n, path in enumerate(parts) if not path.exists()}
    tasks = [(part, today, parts[n]) for n, part in _cut(record, missing)]
    _work_through(_write_needs, tasks, folder, processes, cluster, progress)
    return NeedsWritten(parts, count, len(missing), len(parts) - len(missing), record.problems)


def write_areas_in_parts(
    path: Path,
    keepouts_path: Path | None,
    layer: str | None,
    gps_sigma_m: float,
    folder: Path,
    processes: int = 1,
    cluster: str = "",
    progress: Progress = quiet,
) -> AreasWritten:
    """Measure the plots of a large file and write a CSV table a part.

    What each part of the file gave is kept beside the tables; a run that was stopped goes on with it. The
    plots of all parts are then held against each other, here and at once: an id that stands twice, ground
    that lies in two plots.

    Parameters
    ----------
    path
        FlatGeobuf, GeoPackage or Shapefile.
    keepouts_path
        File with keep-outs to subtract, or None.
    layer
        Layer of the file to read, when it has several.
    gps_sigma_m
        Standard error of a walked GPS fix [m].
    folder
        Where the tables go.
    processes, cluster, progress
        As in `write_needs_in_parts`.

    Returns
    -------
    AreasWritten

    Raises
    ------
    InputError
        When the file cannot be read part by part, no plot can be measured, a table cannot be written, or
        there are fewer than one process.
    MissingExtraError
        When several processes are asked for without the extra ``scale``.
    """
    count = files.count_in_parts(path, layer)
    made_of = (path,) if keepouts_path is None else (path, keepouts_path)
    mark = _mark(f"{MEASURED} {layer} {gps_sigma_m}", made_of)
    readings = _paths(folder, f"reading-{mark}", count, MEASURED, "npz")
    missing = [n for n, kept in enumerate(readings) if not kept.exists()]
    tasks = [(path.resolve(), layer, n * MEASURED, MEASURED, gps_sigma_m, readings[n]) for n in missing]
    _work_through(_read_areas, tasks, folder, processes, cluster, progress)
    found = files.measure_readings(path, readings, keepouts_path, gps_sigma_m, layer, progress)
    parts = _paths(folder, f"areas-{mark}", len(found), MEASURED, "csv")
    progress("writing the tables")
    area_m2 = spread_m2 = 0.0
    for table, rows in zip(parts, _some(found.rows(), MEASURED), strict=True):
        area_m2 += sum(area.area_m2 for _, area in rows)
        spread_m2 += sum(area.spread_area_m2 for _, area in rows)
        if not table.exists():
            handoff.write_areas(rows, table)
    kept = len(readings) - len(missing)
    return AreasWritten(parts, len(found), len(missing), kept, found.problems, area_m2, spread_m2)


def _mark(told: str, made_of: Iterable[Path]) -> str:
    """A short name for everything the tables follow from."""
    digests = []
    for path in made_of:
        with path.open("rb") as file:
            digests.append(file_digest(file, "sha256").hexdigest())
    return sha256(" ".join((__version__, told, *digests)).encode()).hexdigest()[:8]


def _paths(folder: Path, name: str, count: int, size: int, ending: str) -> tuple[Path, ...]:
    """Where each part goes, of so many plots cut by so many."""
    return tuple(folder.resolve() / f"{name}-{n + 1:05}.{ending}" for n in range(-(-count // size)))


def _some(rows: Iterator[_Row], size: int) -> Iterator[list[_Row]]:
    while some := list(islice(rows, size)):
        yield some


def _cut(record: PropertyRecord, wanted: set[int]) -> Iterator[tuple[int, PropertyRecord]]:
    """Cut out the parts that are wanted, each with what belongs to its plots."""
    part_of = {plot.plot_id: place // PART for place, plot in enumerate(record.plots)}
    crops: dict[int, list[Cropping]] = {}
    tests: dict[int, list[SoilTest]] = {}
    for cropping in record.croppings:
        crops.setdefault(part_of[cropping.plot_id], []).append(cropping)
    for report in record.soil_tests:
        tests.setdefault(part_of[report.plot_id], []).append(report)
    for n in sorted(wanted):
        own = record.plots[n * PART : (n + 1) * PART]
        grown, reports = tuple(crops.get(n, ())), tuple(tests.get(n, ()))
        yield n, replace(record, plots=own, croppings=grown, soil_tests=reports, problems=())


def _write_needs(task: tuple[PropertyRecord, dt.date, Path]) -> None:
    """Work out the needs of one part and write them."""
    record, today, path = task
    handoff.write_needs(Season(record, today), path)


def _read_areas(task: tuple[Path, str | None, int, int, float, Path]) -> None:
    """Measure one part of a file and keep what it gave."""
    files.keep_reading(*task)


def _work_through(
    work: Callable[[_Task], None],
    tasks: list[_Task],
    folder: Path,
    processes: int,
    cluster: str,
    progress: Progress,
) -> None:
    """Do the tasks, each of which leaves a file in the folder, and tell after each how it goes."""
    if processes < 1:
        raise InputError([Problem("processes", f"{processes} is no number of processes", "Give 1 or more.")])
    files.make_folder(folder)
    began = time.monotonic()
    for done, _ in enumerate(_worked(work, tasks, processes, cluster), start=1):
        left_min = (time.monotonic() - began) / done * (len(tasks) - done) / 60
        progress(f"part {done:,} of {len(tasks):,}, some {left_min:.0f} min left")


def _worked(
    work: Callable[[_Task], None], tasks: list[_Task], processes: int, cluster: str
) -> Iterator[object]:
    """Do the tasks, and give something after each."""
    if processes == 1 and not cluster:
        yield from map(work, tasks)
        return
    try:
        import distributed
    except ImportError as error:
        raise MissingExtraError(
            "several processes need the extra 'scale': pip install 'loamwright[scale]'; one needs nothing"
        ) from error
    own = {} if cluster else {"n_workers": processes, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.Client(cluster or None, **own) as client:
        held = client.map(work, tasks, pure=False)
        for future in distributed.as_completed(held):
            yield future.result()
            future.release()
