"""The same need, rate, amount and package count is said alike on screen, map, paper and JSON.

Two properties: the demo in US units, and the same ground in metric ones. The JSON gives the bare number;
every other medium has to say it in the same words.
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from command_line import run

from loamwright.fieldmap.contents import map_data
from loamwright.handoff.orders import orders_page
from loamwright.handoff.paper import PaperOptions
from loamwright.handoff.season_record import record_page
from loamwright.season import Season, view
from loamwright.values import NeedState
from loamwright.words import timing_words

DEMO = Path(__file__).parents[2] / "demo_data"
FILES = ("plots.geojson", "keepouts.geojson", "soil_tests.csv", "products.csv", "organic_inputs.csv")
LB_ACRE_PER_KG_HA = 0.45359237 / 4046.8564224 * 10_000  # NIST: pound and international acre


@pytest.fixture(scope="module", params=["us", "metric"])
def path(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp(request.param)
    settings = json.loads((DEMO / "property.json").read_text()) | {"units": request.param}
    (folder / "property.json").write_text(json.dumps(settings))
    made = folder / "place.gpkg"
    run("new", made, "--name", "Invented place", "--settings", folder / "property.json")
    run("import", made, *(DEMO / name for name in FILES))
    run("plan", made, "--gap", "0.02", "--time-limit", "10")
    return made


@pytest.fixture(scope="module")
def season(path: Path) -> Season:
    return view(path, dt.date(2026, 5, 1))


def test_a_need_is_said_alike(path: Path, season: Season) -> None:
    on_map = {plot.id: {need.what: need for need in plot.needs} for plot in map_data(season).plots}
    on_record = {(row.plot_id, row.supply): row for row in record_page(season, "us-letter").sums}
    screen = run("needs", path, as_json=False).text
    compared = 0
    for plot_id, found in season.needs.items():
        for need in (*found.needs, found.lime):
            if need.state is not NeedState.NEEDED or need.supply is None or not need.mass_kg:
                continue
            said = on_map[plot_id][str(need.supply)]
            assert said.rate in screen
            story = run("explain", path, plot_id, need.supply.partition(" ")[0], as_json=False).text
            assert f"{said.rate}, {said.mass} for the plot" in story
            assert on_record[plot_id, need.supply].need == said.mass
            compared += 1
    assert compared > 20


def test_effective_lime_is_counted_in_pounds_and_never_in_tons(path: Path, season: Season) -> None:
    figures = {row["plot_id"]: row["lime"] for row in ran_json(path)}
    for plot in map_data(season).plots:
        lime = figures[plot.id]
        for need in plot.needs:
            if need.what.startswith("lime ") and lime.get("lb_per_acre"):
                metric = season.record.info.units == "metric"
                rate = lime["lb_per_acre"] * (LB_ACRE_PER_KG_HA if metric else 1)
                assert need.rate == f"{rate:,.0f} {'kg/ha' if metric else 'lb/acre'}"


def ran_json(path: Path) -> list[dict[str, object]]:
    return run("needs", path).data["plots"]


def test_what_goes_on_is_said_alike(path: Path, season: Season) -> None:
    assert season.plan is not None
    on_map = {line.id: line for plot in map_data(season).plots for line in plot.lines}
    sheets = orders_page(season, PaperOptions()).plots
    on_paper = {(s.plot_id, row.product, row.timing): row for s in sheets for row in s.lines}
    screen = run("plan", path, "--tables", "--gap", "0.02", "--time-limit", "10", as_json=False).text
    for line in season.plan.lines:
        mapped, printed = (
            on_map[line.line_id],
            on_paper[line.plot_id, line.product, timing_words(line.timing)],
        )
        assert (mapped.rate, mapped.mass) == (printed.rate, printed.amount)
        assert (mapped.packages or "bulk") == printed.packages
        assert mapped.rate in screen
        assert mapped.mass in screen
        assert printed.packages in screen
