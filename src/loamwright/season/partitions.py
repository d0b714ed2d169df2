"""What many plots need, worked out part by part: resumable, and by as many processes as there are.

This file answers "what do a hundred thousand plots need, when the machine may stop on the way?". Each part is
a table of its own, there whole or not at all; its name tells what it was made from, so that a run which is
begun again makes only what is missing. One process needs no engine; several are dask's (the extra ``scale``).
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from loamwright import files, handoff
from loamwright.errors import InputError, MissingExtraError, Problem
from loamwright.land import Cropping
from loamwright.season.opening import Progress, Season, quiet
from loamwright.soil import SoilTest
from loamwright.version import __version__
from loamwright.work import PropertyRecord

#: Plots in a part: some seconds of work (our choice).
PART = 2_000


@dataclass(frozen=True, slots=True)
class NeedsWritten:
    """The tables of needs of a large file.

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
    if processes < 1:
        raise InputError([Problem("processes", f"{processes} is no number of processes", "Give 1 or more.")])
    mark = _mark(record, made_of, today)
    count = len(record.plots)
    parts = [folder.resolve() / f"needs-{mark}-{n + 1:05}.csv" for n in range(-(-count // PART))]
    missing = [n for n, path in enumerate(parts) if not path.exists()]
    files.make_folder(folder)
    tasks = ((part, today, parts[n]) for n, part in _cut(record, set(missing)))
    began = time.monotonic()
    for done, _ in enumerate(_worked(list(tasks), processes, cluster), start=1):
        left_min = (time.monotonic() - began) / done * (len(missing) - done) / 60
        progress(f"part {done:,} of {len(missing):,}, some {left_min:.0f} min left")
    return NeedsWritten(tuple(parts), count, len(missing), len(parts) - len(missing), record.problems)


def _mark(record: PropertyRecord, made_of: Iterable[Path], today: dt.date) -> str:
    """A short name for everything the tables follow from."""
    told = f"{__version__} {PART} {today} {record.info}"
    digests = (sha256(path.read_bytes()).hexdigest() for path in made_of)
    return sha256(" ".join((told, *digests)).encode()).hexdigest()[:8]


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


_Task = tuple[PropertyRecord, dt.date, Path]


def _work(task: _Task) -> None:
    """Work out one part and write it."""
    record, today, path = task
    handoff.write_needs(Season(record, today), path)


def _worked(tasks: list[_Task], processes: int, cluster: str) -> Iterator[object]:
    """Do the tasks, and give something after each."""
    if processes == 1 and not cluster:
        yield from map(_work, tasks)
        return
    try:
        import distributed
    except ImportError as error:
        raise MissingExtraError(
            "several processes need the extra 'scale': pip install 'loamwright[scale]'; one needs nothing"
        ) from error
    own = {} if cluster else {"n_workers": processes, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.Client(cluster or None, **own) as client:
        held = client.map(_work, tasks, pure=False)
        for future in distributed.as_completed(held):
            yield future.result()
            future.release()
