"""How fast, how large and how true is measuring? Run ``python -m tests.benchmarks.bench_measure``.

Prints goal and measurement side by side; ``--plots 100000`` takes a smaller large file (from 100,000 on a
file is read part by part), ``--folder`` keeps the files that are made. Pytest does not collect it. Each
file is measured in a process of its own, whose greatest memory is the operating system's own figure.

Plots are made up and the same every time: star-shaped, 40 corners, 0.3 to 15 acres, on a jittered grid so
that the boxes of about half of them meet a neighbour's; one in a hundred is moved onto its neighbour and
one in ten thousand is its neighbour drawn again.

What the areas are held against is not the program's: every edge is cut along its geodesic by
`pyproj.Geod.npts`, in at least eight pieces of at most 50 m, and the corners are laid out by PROJ in an
equal-area plane centred on the plot, where the shoelace sum is exact but for the bend of the pieces (1e-5 m²
for one of 50 m). Karney's polygon areas serve as second opinion; each of their edges carries the rounding of
a term of 4.1e13 m² (0.0003 m² were met), so that below an acre they cannot tell 1e-7.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import shapely
from pyproj import Geod, Proj
from rich.console import Console
from rich.table import Table

from loamwright import files
from loamwright.land.sizes import areas_m2
from loamwright.units import ACRE_M2

GEOD = Geod(ellps="WGS84")
CORNERS = 40
SPACING_M = 300.0
DEGREE_M = 111_000.0
PIECE_M = 50.0


# ---------------------------------------------------------------------------------------------
# Plots


def stars(rng: np.random.Generator, lon: Any, lat: Any, size_m: Any, corners: int = CORNERS) -> np.ndarray:
    """Return closed rings, longitude and latitude, around places: one corner in each slice of a circle."""
    count = len(lon)
    turns = (np.arange(corners) + rng.uniform(0.1, 0.9, (count, corners))) * 2 * np.pi / corners
    radius = np.asarray(size_m)[:, None] * rng.uniform(0.6, 1.4, (count, corners))
    north = radius * np.sin(turns) / DEGREE_M
    east = radius * np.cos(turns) / DEGREE_M / np.cos(np.radians(lat))[:, None]
    ring = np.stack((lon[:, None] + east, lat[:, None] + north), axis=-1)
    return np.concatenate((ring, ring[:, :1]), axis=1)


def parcels(count: int) -> Iterator[np.ndarray]:
    """Return the WKB of plots on a jittered grid in Kansas, ten thousand at a time."""
    side = int(np.ceil(np.sqrt(count)))
    for start in range(0, count, 10_000):
        rng = np.random.default_rng(start)
        index = np.arange(start, min(start + 10_000, count))
        moved = rng.uniform(-20, 20, (2, len(index)))
        moved[0] += np.where(rng.uniform(size=len(index)) < 0.01, SPACING_M * 0.7, 0.0)
        lat = 36.0 + ((index // side) * SPACING_M + moved[1]) / DEGREE_M
        lon = -101.0 + ((index % side) * SPACING_M + moved[0]) / DEGREE_M / np.cos(np.radians(38.0))
        rings = stars(rng, lon, lat, rng.uniform(25, 110, len(index)))
        again = np.flatnonzero(rng.uniform(size=len(index)) < 0.0001)
        rings[again] = rings[again - 1]
        yield shapely.to_wkb(shapely.polygons(rings))


def write(path: Path, count: int) -> None:
    """Write plots with ids, in a process of its own that takes its memory with it."""
    driver = {".fgb": "FlatGeobuf", ".geojson": "GeoJSON"}[path.suffix]
    options = {"SPATIAL_INDEX": "NO"} if path.suffix == ".fgb" else {"COORDINATE_PRECISION": "15"}
    ids = np.array([f"P{number}" for number in range(count)], dtype=object)
    shapes = np.concatenate(list(parcels(count)))
    pyogrio.raw.write(
        str(path),
        shapes,
        [ids],
        ["plot_id"],
        driver=driver,
        geometry_type="Polygon",
        crs="EPSG:4326",
        layer_options=options,
    )


# ---------------------------------------------------------------------------------------------
# Truth


def true_area_m2(ring: np.ndarray) -> float:
    """Return the area of a closed ring whose edges are geodesics, by PROJ alone."""
    dense = []
    for (lon, lat), (lon2, lat2) in pairwise(ring):
        pieces = 7 + int(GEOD.inv(lon, lat, lon2, lat2)[2] // PIECE_M)
        dense += [(lon, lat), *GEOD.npts(lon, lat, lon2, lat2, pieces)]
    lons, lats = np.array([*dense, dense[0]]).T
    middle = (lons.min() + lons.max()) / 2, (lats.min() + lats.max()) / 2
    x, y = Proj(proj="laea", lon_0=middle[0], lat_0=middle[1], ellps="WGS84")(lons, lats)
    return abs(float(np.sum((x[1:] - x[:-1]) * (y[1:] + y[:-1]) / 2)))


def errors(count: int) -> tuple[float, float, float]:
    """Return the largest errors over plots of 0.1 to 1,000 acres from 70° S to 70° N: of ours against the
    truth, of Karney's against the truth, and of both against each other above an acre."""
    rng = np.random.default_rng(7)
    acres = np.exp(rng.uniform(np.log(0.1), np.log(1000), count))
    corners = rng.integers(3, 41, count)
    ours, karney, true = np.empty((3, count))
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, count) * np.sin(np.radians(70))))
    for n in range(count):
        size_m = [np.sqrt(acres[n] * ACRE_M2 / np.pi)]
        place = np.array([rng.uniform(-179, 179)]), lat[n : n + 1]
        (ring,) = stars(rng, *place, size_m, int(corners[n]))
        ring = ring + rng.uniform(0, 1) * 9 * (ring - ring[0]) * [1, 0]  # up to ten times longer east
        ours[n] = areas_m2([shapely.Polygon(ring)])[0]
        karney[n] = abs(GEOD.polygon_area_perimeter(*ring.T)[0])
        true[n] = true_area_m2(ring)
    large = true > ACRE_M2
    return (
        float(np.max(np.abs(ours / true - 1))),
        float(np.max(np.abs(karney / true - 1))),
        float(np.max(np.abs(ours / karney - 1)[large])),
    )


# ---------------------------------------------------------------------------------------------
# Speed


def ratio(count: int = 20_000, rounds: int = 5) -> tuple[float, float]:
    """Return microseconds a plot of a geodesic loop and of ours, each the best of some rounds, by turns."""
    shapes = np.concatenate([shapely.from_wkb(part) for part in parcels(count)])
    loop, ours = [], []
    for _ in range(rounds):
        began = time.process_time()
        for shape in shapes:
            lon, lat = shapely.get_coordinates(shape).T
            abs(GEOD.polygon_area_perimeter(lon, lat)[0])
        middle = time.process_time()
        areas_m2(shapes)
        loop.append(middle - began)
        ours.append(time.process_time() - middle)
    return min(loop) / count * 1e6, min(ours) / count * 1e6


def measure_file(path: Path, answer: Any) -> None:
    """Measure a file and tell the seconds and processor seconds of each stage, and the most memory [MB]."""
    marks = [("measuring", time.perf_counter(), time.process_time())]

    def told(stage: str) -> None:
        if stage.split()[0] != marks[-1][0]:
            marks.append((stage.split()[0], time.perf_counter(), time.process_time()))

    found = files.measure(path, progress=told)
    marks.append(("", time.perf_counter(), time.process_time()))
    stages = {name: (wall - began, cpu - busy) for (name, began, busy), (_, wall, cpu) in pairwise(marks)}
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    answer.put((stages, peak, len(found), len(found.problems)))


def alone(work: Any, *arguments: Any) -> Any:
    """Do some work in a fresh process and return its answer, if it gives one."""
    fresh = multiprocessing.get_context("spawn")
    answer = fresh.SimpleQueue()
    given = (*arguments, answer) if work is measure_file else arguments
    process = fresh.Process(target=work, args=given)
    process.start()
    told = answer.get() if work is measure_file else None
    process.join()
    return told


def command(path: Path) -> tuple[tuple[float, float], float]:
    """Return seconds, processor seconds and most memory [MB] of the whole command, its lines thrown away."""
    began, busy = time.perf_counter(), sum(os.times()[2:4])
    subprocess.run(
        [sys.executable, "-m", "loamwright", "measure", path], stdout=subprocess.DEVNULL, check=False
    )
    stage = time.perf_counter() - began, sum(os.times()[2:4]) - busy
    return stage, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def seconds(stage: tuple[float, float]) -> str:
    return f"{stage[0]:.1f} s ({stage[1]:.1f} s of processor)"


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--plots", type=int, default=1_000_000)
    reader.add_argument("--shapes", type=int, default=20_000)
    reader.add_argument("--folder", type=Path)
    asked = reader.parse_args()
    table = Table("what", "goal", "measured", title="Measuring")
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.folder or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        worst = errors(asked.shapes)
        what = f"largest error over {asked.shapes:,} plots of 0.1 to 1,000 acres, 70° S to 70° N"
        table.add_row(what, "1e-7", f"{worst[0]:.1e}")
        table.add_row("  (Karney's polygon areas, against the same)", "", f"{worst[1]:.1e}")
        table.add_row("  ours against Karney's, above an acre", "1e-7", f"{worst[2]:.1e}")
        loop, ours = ratio()
        table.add_row(
            "loop of geodesic areas ÷ ours, one core", "4", f"{loop / ours:.1f} ({loop:.1f} ÷ {ours:.1f} µs)"
        )
        for count, goal in ((2_000, ""), (20_000, "4 s, 400 MB")):
            path = folder / f"{count}.geojson"
            alone(write, path, count)
            stages, peak, plots, problems = alone(measure_file, path)
            said = f"{seconds(stages['measuring'])}, {peak:.0f} MB, {problems:,} problems"
            table.add_row(f"measure {plots:,} plots, GeoJSON", goal, said)
            stage, peak = command(path)
            table.add_row("  the whole command, printing included", "", f"{seconds(stage)}, {peak:.0f} MB")
        path = folder / f"{asked.plots}.fgb"
        if not path.exists():
            alone(write, path, asked.plots)
        stages, peak, plots, problems = alone(measure_file, path)
        table.add_row(
            f"measure {plots:,} plots, FlatGeobuf: read and measure", "40 s", seconds(stages["measuring"])
        )
        said = f"{seconds(stages['comparing'])}, {problems:,} problems"
        table.add_row("  overlaps, in a second reading", "40 s", said)
        table.add_row("  most memory", "1,500 MB", f"{peak:,.0f} MB")
        stage, peak = command(path)
        table.add_row("  the whole command, printing included", "", f"{seconds(stage)}, {peak:,.0f} MB")
    Console(width=140).print(table)


if __name__ == "__main__":
    main()
