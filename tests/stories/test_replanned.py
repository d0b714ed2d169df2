"""Half is reported, the season is planned again, then the rest: nothing counts twice, or for other work."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from command_line import run

PLOT, PRODUCT = "AF-01", "MAP 11-52-0"


@pytest.fixture(scope="module")
def begun(the_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half of one job is on record; then the season is planned again."""
    demo = Path(shutil.copy(the_demo / "alder_fork.gpkg", tmp_path_factory.mktemp("begun")))
    half = f"{line_of(demo)['planned_lb'] / 2} lb"
    told = run("record", demo, *typed(half, "2026-05-20"))
    assert told.code in (0, 1), told.text
    again = run("plan", demo, "--reason", "half is on")
    assert again.code in (0, 1), again.text
    return demo


@pytest.fixture
def demo(begun: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(begun, tmp_path))


def typed(amount: str, day: str) -> tuple[str, ...]:
    return ("--plot", PLOT, "--product", PRODUCT, "--amount", amount, "--on", day)


def line_of(demo: Path) -> dict[str, Any]:
    rows = run("status", demo).data["lines"]
    (found,) = [row for row in rows if (row["plot_id"], row["product"]) == (PLOT, PRODUCT) and row["line_id"]]
    return dict(found)


def test_the_rest_is_reported_on_the_new_plan(the_demo: Path, demo: Path) -> None:
    planned = line_of(the_demo / "alder_fork.gpkg")["planned_lb"]
    left = line_of(demo)
    assert left["state"] == "nothing yet"
    # What was put on is taken off the need, not set against the new job: the two halves make the whole, up to
    # the whole bags that either plan comes out at.
    assert left["planned_lb"] == pytest.approx(planned / 2, rel=0.2)
    run("record", demo, *typed(f"{left['planned_lb']} lb", "2026-05-28"))
    assert line_of(demo)["state"] == "done"
    assert line_of(demo)["applied_lb"] == pytest.approx(left["planned_lb"])


def phone(demo: Path, said: dict[str, Any], mass_lb: float) -> None:
    """A phone's file of one entry that names plan and job."""
    entry = {
        "entry_id": "phone-1",
        "plot_id": PLOT,
        "product": PRODUCT,
        "done": "done",
        "applied_on": "2026-05-28",
        "mass_kg": mass_lb * 0.45359237,
        "operator": "Helper",
        "recorded_at": "2026-05-28T10:00:00",
        **said,
    }
    file = demo.with_name("phone.json")
    file.write_text(json.dumps({"format": "loamwright-records", "version": 2, "entries": [entry]}))
    told = run("record", demo, file)
    assert told.code in (0, 1), told.text


def test_a_phone_that_still_shows_the_old_plan_reports_on_the_same_job(the_demo: Path, demo: Path) -> None:
    """Its line and job are of the plan before; part and time are those of the new one: one job."""
    old = line_of(the_demo / "alder_fork.gpkg")
    plan = json.loads((the_demo / "said.json").read_text())["plan"]
    (job,) = [job for job in plan["jobs"] if job["plot_id"] == PLOT and old["line_id"] in str(job)]
    said = {"plan_id": plan["plan_id"], "job_id": job["job_id"]}
    phone(demo, said, line_of(demo)["planned_lb"])
    assert line_of(demo)["state"] == "done"
    again = run("record", demo, demo.with_name("phone.json"))
    assert (again.code, again.data["new"]) == (0, [])


def test_a_phone_of_a_plan_nobody_knows_counts_by_part_and_time(demo: Path) -> None:
    phone(demo, {"plan_id": "P-elsewhere", "job_id": "J-elsewhere"}, line_of(demo)["planned_lb"])
    assert line_of(demo)["state"] == "done"
