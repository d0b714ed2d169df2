"""Measure the app: ``python -m tests.benchmarks.bench_app``.

On 200 plots of 60 corners (invented): time from start to the first page, size of the list of plots, time
from a moved corner to its acres, memory after 200 page loads, frame time while the map is panned. It
measures; nothing here passes or fails.
"""

from __future__ import annotations

import math
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

from loamwright import files, land
from loamwright.land import Plot
from loamwright.values import PropertyInfo

PLOTS, CORNERS, VISITS = 200, 60, 200
CHROMIUM = "/usr/bin/chromium"


def wobbly(east: float, north: float, number: int) -> land.Shape:
    """A plot of about two acres around a place, never quite round."""
    ring = []
    for i in range(CORNERS):
        turn = 2 * math.pi * i / CORNERS
        reach = 1 + 0.2 * math.sin(3 * turn + number) + 0.05 * math.cos(11 * turn)
        ring.append([east + 0.0006 * reach * math.cos(turn), north + 0.0004 * reach * math.sin(turn)])
    (shape,) = land.shapes_from_geojson([{"type": "Polygon", "coordinates": [[*ring, ring[0]]]}])
    assert isinstance(shape, land.Shape)
    return shape


def build(path: Path) -> None:
    """A property of 200 such plots in rows."""
    files.create(path, PropertyInfo("Two hundred plots (invented)", 2026))
    with files.edit(path) as editor:
        editor.put_plots(
            Plot(f"P-{n:03d}", f"Plot {n}", wobbly(-93.05 + 0.002 * (n % 20), 46.05 + 0.0012 * (n // 20), n))
            for n in range(PLOTS)
        )


def resident_mb(pid: int) -> float:
    """Memory a process holds now [MB]."""
    text = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+)", text)
    return float(found[1]) / 1024 if found else math.nan


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "many.gpkg"
        build(path)
        # As it is installed: with its bytecode, which the first run here writes.
        environment = os.environ | {"PYTHONUNBUFFERED": "1", "PYTHONPYCACHEPREFIX": f"{folder}/bytecode"}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        subprocess.run([sys.executable, "-c", "import loamwright.app.server"], env=environment, check=True)
        began = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-m", "loamwright", "serve", str(path), "--no-browser"],
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )
        try:
            assert process.stdout is not None
            address = ""
            while not (found := re.search(r"http://127\S+code=\S+", address)):
                address = process.stdout.readline()
            visit(found[0], began, process.pid)
        finally:
            process.terminate()


def visit(enter: str, began: float, pid: int) -> None:
    """Ask what a browser would, and say how long it took."""
    base = enter.partition("/enter")[0]
    with httpx.Client(timeout=60, headers={"origin": base}) as client:
        while True:
            try:
                first = client.get(enter, follow_redirects=True)
                break
            except httpx.ConnectError:
                time.sleep(0.01)
        print(f"start to first page: {time.perf_counter() - began:.2f} s (status {first.status_code})")
        listed = client.get(f"{base}/plots")
        print(f"list of {PLOTS} plots: {len(listed.content) / 1000:.0f} kB")
        shape = client.get(f"{base}/draw/shapes").json()["plots"][PLOTS // 2]["shape"]
        took = []
        for n in range(100):
            shape["coordinates"][0][5][0] += 1e-7 * (n % 3 - 1)
            start = time.perf_counter()
            client.post(f"{base}/draw/measure", json={"shape": shape, "own": ["P-100"]}).raise_for_status()
            took.append(1000 * (time.perf_counter() - start))
        p95 = statistics.quantiles(took, n=20)[-1]
        print(f"new acres: median {statistics.median(took):.1f} ms, p95 {p95:.1f} ms")
        for n in range(VISITS):
            client.get(f"{base}/{('plots', 'needs', 'draw', 'property')[n % 4]}")
        print(f"memory after {VISITS} more pages: {resident_mb(pid):.0f} MB")
    pan(client, base)


def pan(client: httpx.Client, base: str) -> None:
    """Pan the map in a real browser, and say how long its frames took."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return
    if not Path(CHROMIUM).exists():
        return
    cookies = [{"name": one.name, "value": one.value, "url": base} for one in client.cookies.jar]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": 1400, "height": 900}, bypass_csp=True)
        context.add_cookies(cookies)
        page = context.new_page()
        page.goto(f"{base}/draw")
        page.wait_for_selector("body[data-ready]")
        page.evaluate(
            """() => { window.frames_ = []; let last = performance.now();
            const tick = (now) => {
                window.frames_.push(now - last);
                last = now;
                requestAnimationFrame(tick);
            };
            requestAnimationFrame(tick); }"""
        )
        box = page.locator("#map").bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        for step in range(120):
            page.mouse.move(x + 2 * step, y + step)
        page.mouse.up()
        frames = page.evaluate("window.frames_")
        print(f"panning {PLOTS} plots: frame p95 {statistics.quantiles(frames, n=20)[-1]:.0f} ms")
        browser.close()


if __name__ == "__main__":
    main()
