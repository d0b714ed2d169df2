"""Count the pages of the demo's work orders by reader: ``python -m tests.benchmarks.bench_pages``.

It measures; nothing here passes or fails. About half a minute, most of it planning the demo.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

import pypdf

from loamwright import handoff, upkeep

#: What one set for every reader came to before there were editions, on the demo of that day [pages].
BEFORE = 39
#: The same on the demo of the day the editions were made, whose plan has 19 rounds [pages].
BEFORE_LATER = 50


def pages(path: Path) -> int:
    """Pages of a PDF, read by another library."""
    return len(pypdf.PdfReader(path).pages)


def main() -> None:
    """Build the demo and print one line for each reader, then one for each round."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        demo = upkeep.build_demo(folder, dt.datetime.now().astimezone().date(), lambda _stage: None)
        print(f"before: {BEFORE}, later {BEFORE_LATER} pages, one set for every reader")
        for reader, names in (
            ("helper", ["work_orders"]),
            ("driver", ["truck_sheet"]),
            ("planner", ["planner_orders", "arithmetic"]),
        ):
            files = [path for name in names if (path := folder / f"{name}.pdf").is_file()]
            # a plan without a round for the truck has no sheet for its driver
            sizes = " + ".join(f"{pages(file)} pages ({file.stat().st_size / 1000:.0f} kB)" for file in files)
            print(f"{reader}: {sizes}")
        for number, one in enumerate(demo.view.rounds, 1):
            options = handoff.PaperOptions(rounds=(str(number),), reader="helper")
            booklet = handoff.write_booklet(demo.view, folder / "round.pdf", options)
            print(f"round {number}, {len(one.stops)} stops: {booklet.pages} pages")


if __name__ == "__main__":
    main()
