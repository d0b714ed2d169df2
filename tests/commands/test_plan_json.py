"""What a program finds in `plan --json`: every key of its lines, jobs, cost and totals, and that they add up.

The keys are an agreement with whoever reads them; the sums are worked out here again.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from command_line import SEASON, run, worked_files, written

LINE = {
    *("line_id", "plot_id", "product", "timing", "rate_lb_per_acre", "mass_lb", "packages", "package"),
    *("steps", "job_id", "spreader", "window", "placement", "part"),
}
JOB = {
    *("job_id", "plot_id", "part", "products", "rate_lb_per_acre", "spreader", "window", "placement"),
    *("reason", "fills", "hours", "cost"),
}
WINDOW = {"from", "to", "label"}
COST = {"purchase", "delivery", "spreading", "filling", "handling", "hours", "total"}
PLAN = {
    *("plan_id", "outcome", "gap", "season", "lines", "buy", "coverage", "plot_costs", "explanation"),
    "left_to_decide",
    *("jobs", "cost", "currency", "totals", "cautions", "problems", "purchase_lists", "unknown"),
}


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder: Path = tmp_path_factory.mktemp("json")
    plots, tests, products = worked_files(folder)
    work = {
        "labour_per_hour": "20",
        "handling_per_ton": {"bag": "12"},
        "windows": [{"timing": "before planting", "from": "04-15", "to": "05-20"}],
    }
    spreader = {"name": "ATV spreader", "hopper": "100 lb", "swath": "20 ft", "speed": "5 mph"}
    chosen = {
        "lime_dose_limit": "noble-worked-in",
        "spreading_cost_per_pass": "8.00",
        "work": work,
        "spreaders": [spreader],
    }
    told = {"name": "Place", "season": SEASON, "units": "us", "settings": chosen}
    place = written(folder / "property.json", json.dumps(told))
    file = folder / "p.gpkg"
    run("new", file, "--name", "Place", "--season", SEASON)
    run("import", file, place, plots, tests, products)
    return run("plan", file).data


def test_every_key_of_the_agreement_is_there(plan: Any) -> None:
    assert plan.keys() >= PLAN
    assert plan["cost"].keys() >= COST
    assert plan["totals"].keys() == {"decided", "with_open"}
    assert plan["currency"] == "USD"
    assert plan["lines"]
    assert plan["jobs"]
    for line in plan["lines"]:
        assert line.keys() >= LINE
    for job in plan["jobs"]:
        assert job.keys() >= JOB
        assert job["products"]
    windows = [one["window"] for one in (*plan["lines"], *plan["jobs"]) if one["window"] is not None]
    assert windows
    assert all(window.keys() == WINDOW for window in windows)


def test_lines_belong_to_jobs_and_say_the_same(plan: Any) -> None:
    jobs = {job["job_id"]: job for job in plan["jobs"]}
    seen = []
    for line in plan["lines"]:
        job = jobs[line["job_id"]]
        same = ("plot_id", "spreader", "window", "placement", "part")
        assert [line[key] for key in same] == [job[key] for key in same]
        own = next(one for one in job["products"] if one["line_id"] == line["line_id"])
        assert (own["product"], own["packages"]) == (line["product"], line["packages"])
        assert own["mass_lb"] == pytest.approx(line["mass_lb"])
        seen.append(line["line_id"])
    assert sorted(seen) == sorted(one["line_id"] for job in plan["jobs"] for one in job["products"])


def test_costs_hours_and_fills_add_up(plan: Any) -> None:
    cost = plan["cost"]
    parts = [cost[key] for key in ("purchase", "spreading", "filling", "handling")]  # purchase: delivered
    assert cost["total"] == pytest.approx(sum(parts), abs=0.005)
    assert sum(plan["plot_costs"].values()) == pytest.approx(cost["total"], abs=0.005)
    assert sum(job["cost"] for job in plan["jobs"]) == pytest.approx(
        cost["spreading"] + cost["filling"], abs=0.005
    )
    assert sum(job["hours"] for job in plan["jobs"]) == pytest.approx(cost["hours"])
    assert plan["totals"]["decided"] == pytest.approx(cost["total"])
    for job in plan["jobs"]:
        mass = sum(one["mass_lb"] for one in job["products"])
        assert job["fills"] == math.ceil(mass / 100 - 1e-9)  # a hopper of 100 lb
    # 12 a ton of bags bought, to the cent an offer
    bags = [one for one in plan["buy"] if "bag" in one["package"]]
    assert cost["handling"] == pytest.approx(
        sum(one["count"] * 50 / 2000 * 12 for one in bags), abs=0.005 * len(bags)
    )
