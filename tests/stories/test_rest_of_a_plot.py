"""A job on the rest of a plot, a part of which has got its share: planned, reported, and then done.

The failing case: the rest was reported as done as planned, by hand or by phone, and counted as if spread over
the whole plot; half of what it got was planned again.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from command_line import Ran, run, written

ACRE_M2, LB_KG = 4046.8564224, 0.45359237  # international acre and pound, by definition
PLOT, PRODUCT = "AF-17", "UAN solution 28-0-0"
DAY = "2026-06-20"


@pytest.fixture
def demo(the_demo: Path, tmp_path: Path) -> Path:
    """The demo: 600 lb of urea went on 5 of the meadow's 10.92 acres, the plan goes on with the rest."""
    return Path(shutil.copy(the_demo / "alder_fork.gpkg", tmp_path))


@pytest.fixture
def line(demo: Path) -> dict[str, Any]:
    lines = run("status", demo).data["lines"]
    (found,) = [row for row in lines if (row["plot_id"], row["product"]) == (PLOT, PRODUCT)]
    return dict(found)


@pytest.fixture
def rest_acres(demo: Path) -> float:
    return float(nitrogen(demo)["rest_acres"])


def nitrogen(demo: Path) -> dict[str, Any]:
    (plot,) = [plot for plot in run("needs", demo).data["plots"] if plot["plot_id"] == PLOT]
    return dict(next(need for need in plot["needs"] if need["nutrient"] == "N"))


def is_done(demo: Path, line: dict[str, Any]) -> bool:
    rows = {row["line_id"]: row for row in run("status", demo).data["lines"]}
    return bool(rows[line["line_id"]]["state"] == "done")


def by_hand(demo: Path, line: dict[str, Any], *words: str) -> Ran:
    amount = f"{line['planned_lb']} lb"
    return run("record", demo, "--plot", PLOT, "--product", PRODUCT, "--amount", amount, "--on", DAY, *words)


def by_phone(demo: Path, line: dict[str, Any], area_m2: float | None) -> Ran:
    entry = {
        "entry_id": "phone-1",
        "plot_id": PLOT,
        "product": PRODUCT,
        "done": "done",
        "applied_on": DAY,
        "mass_kg": line["planned_lb"] * LB_KG,
        "line_id": line["line_id"],
        "timing": line["timing"],
        "operator": "Helper",
        "area_m2": area_m2,
        "recorded_at": f"{DAY}T10:00:00",
    }
    file = demo.with_name("phone.json")
    file.write_text(json.dumps({"format": "loamwright-records", "version": 1, "entries": [entry]}))
    return run("record", demo, file)


@pytest.mark.parametrize(
    "how", ["by hand", "by hand, acres said", "by phone", "by phone, whole plot", "table"]
)
def test_the_rest_is_done_when_its_job_is_reported(
    demo: Path, line: dict[str, Any], rest_acres: float, how: str, tmp_path: Path
) -> None:
    asked = nitrogen(demo)
    if how == "by hand":
        told = by_hand(demo, line)
    elif how == "by hand, acres said":
        told = by_hand(demo, line, "--area", f"{rest_acres:.2f} acres", "--part", "the rest")
    elif how == "by phone":
        told = by_phone(demo, line, None)
    elif how == "by phone, whole plot":  # pages made before this said the whole plot's area
        told = by_phone(demo, line, 10.92 * ACRE_M2)
    else:
        rows = "entry_id,plot_id,product,done,applied_on,amount\n"
        row = f"t-1,{PLOT},{PRODUCT},done,{DAY},{line['planned_lb']} lb\n"
        told = run("import", demo, written(tmp_path / "done.csv", rows + row))
    assert told.code in (0, 1), told.text

    assert is_done(demo, line)
    left = nitrogen(demo)
    # UAN 28-0-0 went on the rest alone. What the rest lacks yet is asked of the rest; the ground that was
    # spread before stays as short as it was, 24 lb on 5 acres, which is no work.
    got = line["planned_lb"] * 0.28
    lacks = asked["lb"] - got
    assert left["rest_acres"] == pytest.approx(rest_acres, rel=2e-3)
    assert left["lb"] == pytest.approx(lacks, rel=2e-3)
    assert left["lb_per_acre"] == pytest.approx(lacks / rest_acres, rel=4e-3)
    assert left["topup_lb"] == pytest.approx(24, abs=0.1)


def test_half_of_the_rest_is_a_part_of_it(demo: Path, line: dict[str, Any], rest_acres: float) -> None:
    half = {**line, "planned_lb": line["planned_lb"] / 2}
    by_hand(demo, half, "--area", f"{rest_acres / 2:.2f} acres", "--part", "west half")
    assert not is_done(demo, line)
    got = line["planned_lb"] / 2 * 0.28 / (rest_acres / 2)  # lb N/acre on that half
    left = nitrogen(demo)
    assert left["rest_acres"] == pytest.approx(rest_acres / 2, abs=0.01)
    assert left["topup_lb"] == pytest.approx(24 + (60 - got) * rest_acres / 2, abs=0.5)


def test_a_job_recorded_by_its_name_states_its_ground(
    the_demo: Path, demo: Path, line: dict[str, Any], rest_acres: float
) -> None:
    plan = json.loads((the_demo / "said.json").read_text())["plan"]
    (job,) = [job for job in plan["jobs"] if job["plot_id"] == PLOT and line["line_id"] in str(job)]
    (entry,) = run("record", demo, "--job", job["job_id"], "--on", DAY).data["new"]
    assert entry["area_acres"] == pytest.approx(rest_acres)
    assert is_done(demo, line)
    third = f"{rest_acres / 3} acres"
    again = Path(shutil.copy(the_demo / "alder_fork.gpkg", demo.with_name("third.gpkg")))
    (entry,) = run("record", again, "--job", job["job_id"], "--on", DAY, "--area", third).data["new"]
    assert entry["mass_lb"] == pytest.approx(line["planned_lb"] / 3, rel=1e-6)
