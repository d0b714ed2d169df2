"""How large the field map is, how long it takes to make, and how soon it can be used.

Run it alone: ``python -m tests.benchmarks.bench_fieldmap``. It prints a table and ends with 1 when a
limit is broken. The limits are the project's own: 25 plots in 400 kB, made in 2 s and usable 1 s after
opening; 500 plots in 1.5 MB, 10 s and 3 s. "Usable" is the moment the page says it is ready, from the
start of navigation, in Chromium as installed (left out when there is none). The plots are the demo's, over
and over, with figures of their own in every step (`many_plots`), so that sizes are those of real seasons.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

from loamwright.fieldmap.page import write_map
from tests.benchmarks.many_plots import many_plots

LIMITS = {25: (400_000, 2.0, 1.0), 500: (1_500_000, 10.0, 3.0)}  # bytes, s to make, s until usable
CHROMIUM = shutil.which("chromium")


def seconds_until_usable(path: Path) -> float | None:
    """Open the map in a fresh browser window three times and take the middle time."""
    if CHROMIUM is None:
        return None
    from playwright.sync_api import sync_playwright

    times = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for _ in range(3):
            page = browser.new_page(viewport={"width": 360, "height": 740})
            page.goto("about:blank")
            start = time.perf_counter()
            page.goto(path.as_uri(), wait_until="commit")
            page.wait_for_selector("body[data-ready]")
            times.append(time.perf_counter() - start)
            page.close()
        browser.close()
    return sorted(times)[1]


def main() -> int:
    """Measure and print; 1 when a limit is broken."""
    broken = False
    print(f"{'plots':>6} {'bytes':>10} {'made s':>8} {'usable s':>9}")
    with tempfile.TemporaryDirectory() as folder:
        for plots, (most_bytes, most_make, most_open) in LIMITS.items():
            view = many_plots(plots)
            path = Path(folder) / f"{plots}.html"
            start = time.perf_counter()
            made = write_map(view, path)
            make = time.perf_counter() - start
            usable = seconds_until_usable(path)
            shown = "no browser" if usable is None else f"{usable:.2f}"
            print(f"{plots:>6} {made.size_bytes:>10,} {make:>8.2f} {shown:>9}")
            broken |= made.size_bytes > most_bytes or make > most_make or (usable or 0) > most_open
    return int(broken)


if __name__ == "__main__":
    sys.exit(main())
