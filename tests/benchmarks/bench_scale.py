"""What do very many plots measure and need, in several processes? ``python -m tests.benchmarks.bench_scale``

Makes a map file of plots and a table of soil tests (``--plots 100000``; invented, the same every time),
measures them with ``loamwright measure PLOTS --parts DIR`` and works their needs out with ``loamwright needs
PLOTS TESTS --parts DIR`` in every way, and prints time, time of a plot on a core, memory, and whether the
tables are the same to the last byte. In between a run is killed and begun again. ``--areas`` only measures.
The ways with several processes need the extra ``scale``; the cluster is dask's own on this machine, reached
by its address. A million plots are reckoned from these by the number of plots. Pytest does not collect it.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from hashlib import sha256
from multiprocessing import get_context
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from rich.console import Console
from rich.table import Table

IN_A_TABLE = 50_000
CROPS = ("red clover", "alsike clover", "grass hay", "oats", "deer mix")
TESTED = "plot_id,sampled_on,depth,ph,buffer_ph,buffer_method,p,p_unit,p_extractant,k,k_unit,k_extractant"


def make_files(folder: Path, count: int, with_tests: bool) -> list[Path]:
    """Write plots of 40 corners on a grid in Minnesota, and tables with a soil test of each."""
    rng = np.random.default_rng(5)
    side = int(count**0.5) + 1
    lon, lat = -94.5 + np.arange(count) % side * 0.004, 45 + np.arange(count) // side * 0.003
    turns = (np.arange(40) + rng.uniform(0.1, 0.9, (count, 40))) * 2 * np.pi / 40
    radius = rng.uniform(0.6, 1.4, (count, 40)) * 0.0008
    rings = np.stack([lon[:, None] + radius * np.cos(turns), lat[:, None] + radius * np.sin(turns)], axis=2)
    shapes = shapely.polygons(np.concatenate([rings, rings[:, :1]], axis=1))
    ids = [f"P{number}" for number in range(count)]
    words = {"plot_id": ids, "crop": rng.choice(CROPS, count), "yield_goal": "2 ton/acre", "seeding": "no"}
    plots = folder / "plots.fgb"
    gpd.GeoDataFrame(words, geometry=shapes, crs=4326).to_file(plots, driver="FlatGeobuf", SPATIAL_INDEX="NO")
    made = [plots]
    for start in range(0, count if with_tests else 0, IN_A_TABLE):
        made.append(folder / f"tests-{start // IN_A_TABLE}.csv")
        with made[-1].open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file)
            rows.writerow(TESTED.split(","))
            for ident in ids[start : start + IN_A_TABLE]:
                acid = (round(rng.uniform(5, 7), 1), round(rng.uniform(6, 7), 1), "Sikora")
                p = (rng.integers(1, 40), "ppm", "Bray P1")
                k = (rng.integers(20, 250), "ppm", "ammonium acetate")
                rows.writerow((ident, "2026-03-01", "0-6 in", *acid, *p, *k))
    return made


def command(name: str, files: Sequence[Path], parts: Path, *more: str) -> list[str]:
    """Return the words of one run."""
    words = [sys.executable, "-m", "loamwright", name, *map(str, files)]
    return [*words, "--parts", str(parts), "--json", *more]


def run(words: Sequence[str]) -> tuple[float, float, float]:
    """Run a command: seconds, seconds of processors, largest memory of one of its processes [MB]."""
    began = time.monotonic()
    with tempfile.TemporaryFile() as said:
        started = subprocess.Popen(words, stdout=said, stderr=subprocess.STDOUT)
        _, status, used = os.wait4(started.pid, 0)
        started.returncode = os.waitstatus_to_exitcode(status)
        if started.returncode not in (0, 1):
            said.seek(0)
            raise SystemExit(said.read().decode())
    return time.monotonic() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def digest(parts: Path) -> str:
    """Return one digest of all tables of a run."""
    return sha256(b"".join(path.read_bytes() for path in sorted(parts.glob("*.csv")))).hexdigest()[:12]


def done(parts: Path) -> list[Path]:
    """Return what the parts of a run have left so far: readings of a map, or tables of needs."""
    return sorted(parts.glob("reading-*")) or sorted(parts.glob("needs-*"))


def killed_and_begun_again(words: Sequence[str], parts: Path) -> int:
    """Kill a run once a third of its parts is there, run it to its end, and say how many were kept."""
    wanted = len(done(parts.parent / "one")) // 3
    run_of = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    while len(done(parts)) < max(wanted, 1) and run_of.poll() is None:
        time.sleep(0.02)
    run_of.send_signal(signal.SIGKILL)
    run_of.wait()
    kept = len(done(parts))
    run(words)
    return kept


def every_way(name: str, files: Sequence[Path], count: int, folder: Path, screen: Console) -> None:
    """Run a command in every way and print the table."""
    table = Table(
        "way", "seconds", "ms of a core a plot", "peak MB", "a million, hours", "tables", title=name
    )

    def tell(way: str, parts: Path, *more: str) -> None:
        seconds, cores, peak = run(command(name, files, parts, *more))
        each_ms, million_h = cores / count * 1000, seconds / count * 1e6 / 3600
        row = (f"{seconds:.0f}", f"{each_ms:.3f}", f"{peak:.0f}", f"{million_h:.2f}", digest(parts))
        table.add_row(way, *row)

    with contextlib.ExitStack() as ends:
        tell("one process, no engine", folder / "one")
        kept = killed_and_begun_again(command(name, files, folder / "killed"), folder / "killed")
        with contextlib.suppress(ImportError):
            import distributed

            tell("two processes", folder / "two", "--processes", "2")
            local = distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None)
            address = ends.enter_context(local).scheduler_address
            tell("cluster of two workers (their time not counted)", folder / "cluster", "--cluster", address)
    screen.print(table)
    same = digest(folder / "killed") == digest(folder / "one")
    screen.print(f"killed: {kept} of {len(done(folder / 'one'))} parts kept; the same to the byte: {same}")


def main() -> None:
    """Measure every way and print the tables."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--plots", type=int, default=100_000)
    reader.add_argument("--areas", action="store_true", help="only measure")
    asked = reader.parse_args()
    screen = Console(width=110)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # in a process of its own: what this one holds would count as memory of those it starts
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as apart:
            plots, *tests = apart.submit(make_files, folder, asked.plots, not asked.areas).result()
        every_way("measure", [plots], asked.plots, folder / "areas", screen)
        if tests:
            every_way("needs", [plots, *tests], asked.plots, folder / "needs", screen)
        screen.print(f"{asked.plots:,} plots, {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
