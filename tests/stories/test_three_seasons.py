"""A property kept for three seasons, and a metric one: each balance added up again by plain arithmetic.

Every command runs on the day the story says, by a clock that is set for it. Figures worked out by hand:

    the pounds a plot needs are read from `needs` on the first day (the tables behind them have tests of their
    own); what goes on, on which part, and what is left after it, is plain arithmetic from there
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from command_line import box, geojson, ran_well, run, written
from places import independent_area_m2

ACRES = independent_area_m2(box()[:-1]) / 4046.8564224


class Clock:
    """The day every command believes in."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._patch = monkeypatch

    def set(self, day: str) -> None:
        today = dt.date.fromisoformat(day)

        class Then(dt.datetime):
            @classmethod
            def now(cls, tz: dt.tzinfo | None = None) -> dt.datetime:  # type: ignore[override]
                return dt.datetime.combine(today, dt.time(12), tz or dt.UTC)

        class Module:
            """`datetime` with another clock."""

            datetime = Then
            date, time, timedelta, timezone, UTC, tzinfo = (
                dt.date,
                dt.time,
                dt.timedelta,
                dt.timezone,
                dt.UTC,
                dt.tzinfo,
            )

        for room in ("commands.answer", "commands.cli", "files.property_file", "upkeep.bookkeeping"):
            self._patch.setattr(f"loamwright.{room}.dt", Module)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)


def need(path: Path, plot: str, nutrient: str) -> dict[str, Any]:
    plots = {row["plot_id"]: row for row in run("needs", path).data["plots"]}
    if nutrient == "lime":
        return dict(plots[plot]["lime"])
    return dict(next(row for row in plots[plot]["needs"] if row["nutrient"] == nutrient))


def balance(path: Path, plot: str, nutrient: str) -> dict[str, Any]:
    rows = run("status", path).data["balance"]
    return dict(next(row for row in rows if (row["plot_id"], row["nutrient"]) == (plot, nutrient)))


def spread(path: Path, plot: str, product: str, amount: str, on: str) -> str:
    done = run("record", path, "--plot", plot, "--product", product, "--amount", amount, "--on", on)
    assert done.code in (0, 1), done.text
    return str(done.data["new"][0]["entry_id"])


@pytest.fixture
def kept(tmp_path: Path, clock: Clock) -> Path:
    """Fall 2025: two plots sampled in October, three products on offer; a season begins in September."""
    clock.set("2025-10-15")
    path = tmp_path / "kept.gpkg"
    ran_well("new", path, "--name", "Kept ground", "--season", 2026)
    ran_well("set", path, "settings", "season_start=09-01", "keeper=Steward", "least_job_share=0")
    clover = {"crop": "red clover", "yield_goal": "2 ton/acre", "seeding": "no", "legume_pct": 90}
    hay = {"crop": "grasses for hay and pasture", "yield_goal": "3 ton/acre", "seeding": "no"}
    plots = geojson(
        tmp_path / "plots.geojson",
        ({"plot_id": "A-1", "name": "Alder", **clover}, [box()]),
        ({"plot_id": "A-2", "name": "Meadow", **hay}, [box(-93.048)]),
    )
    tests = written(
        tmp_path / "tests.csv",
        "test_id,plot_id,sampled_on,depth,ph,p,p_unit,p_extractant,k,k_unit,k_extractant\n"
        "T-1,A-1,2025-10-10,0-6 in,6.8,9,ppm,Bray P1,60,ppm,ammonium acetate\n"
        "T-2,A-2,2025-10-10,0-6 in,6.8,40,ppm,Bray P1,200,ppm,ammonium acetate\n",
    )
    products = written(
        tmp_path / "products.csv",
        "product,form,n,p2o5,k2o,package,price,seller\n"
        "Urea 46-0-0,dry,46,0,0,50 lb bag,28.50,Store\n"
        "Potash 0-0-60,dry,0,0,60,50 lb bag,21.00,Store\n"
        "Triple 0-46-0,dry,0,46,0,50 lb bag,33.00,Store\n",
    )
    run("import", path, plots, tests, products)
    return path


def test_three_seasons(kept: Path, clock: Clock, tmp_path: Path) -> None:
    # Fall 2025. Potash in November after the October sample counts in spring: 100 lb x 0.60 = 60 lb K2O.
    first = need(kept, "A-1", "K2O")["lb"]
    clock.set("2025-11-05")
    spread(kept, "A-1", "Potash 0-0-60", "100 lb", "2025-11-05")
    clock.set("2026-03-01")
    assert need(kept, "A-1", "K2O")["lb"] == pytest.approx(max(first - 60, 0.0))
    row = balance(kept, "A-1", "K2O")
    assert (row["need_lb"], row["applied_lb"]) == (pytest.approx(first), pytest.approx(60))

    # Spring 2026: the lab corrects its figure; undone and done again the need is the same.
    before = need(kept, "A-1", "P2O5")["lb"]
    number = ran_well("set", kept, "soil-test", "T-1", "p=30")["change_id"]
    assert need(kept, "A-1", "P2O5")["lb"] < before
    ran_well("undo", kept, number)
    assert need(kept, "A-1", "P2O5")["lb"] == pytest.approx(before)

    # Part of the meadow: urea on half of A-2, 55 lb N/acre there where the guide asks for r lb/acre.
    asked = need(kept, "A-2", "N")["lb_per_acre"]
    half = ACRES / 2
    urea_lb = 55 * half / 0.46
    done = run(
        *("record", kept, "--plot", "A-2", "--product", "Urea 46-0-0", "--amount", f"{urea_lb} lb"),
        *("--area", f"{half} acre", "--part", "south"),
    )
    assert done.code in (0, 1), done.text
    rest = need(kept, "A-2", "N")
    assert rest["lb"] == pytest.approx(asked * half, rel=1e-4)  # the other half asks for all of it
    assert rest["lb_per_acre"] == pytest.approx(asked)
    assert rest["topup_lb"] == pytest.approx((asked - 55) * half, rel=1e-4)
    assert any("of this plot have got their N" in c["text"] for c in run("plan", kept).data["cautions"])

    # Buying what the plan asks for, and planning again, buys nothing twice.
    clock.set("2026-03-02")
    plan = run("plan", kept, "--reason", "to buy").data
    for buy in plan["buy"]:
        assert run("purchase", kept, buy["product"], buy["count"]).code in (0, 1)
    again = run("plan", kept, "--reason", "after buying").data
    assert sum(row["count"] for row in again["buy"]) == 0

    # A second crop in the season: the clover is killed in July, oats follow; its N counts from there.
    clock.set("2026-07-20")
    ran_well("add", kept, "cropping", "A-1 2026", "crop=oats", "yield_goal=60 bu/acre", "sown_on=2026-07-21")
    ran_well("set", kept, "cropping", "A-1 2026 1", "ended_on=2026-07-19")
    clock.set("2026-08-01")
    told = [p["what"] for p in run("needs", kept).data["problems"]]
    assert any("red clover, then oats in 2026: the needs shown are for oats" in what for what in told)
    oats = need(kept, "A-1", "N")
    if oats["lb"]:
        spread(kept, "A-1", "Urea 46-0-0", "10 lb", "2026-08-01")
        assert need(kept, "A-1", "N")["lb"] == pytest.approx(max(oats["lb"] - 4.6, 0.0))

    # The next season: the meadow goes on, the oats do not; the amounts of 2026 were for 2026's crop.
    clock.set("2026-09-05")
    started = run("season", "next", kept).data
    assert (started["season"], started["goes_on"], started["to_decide"]) == (2027, ["A-2"], ["A-1"])
    ran_well("set", kept, "cropping", "A-1 2027", "crop=red clover", "yield_goal=2 ton/acre", "seeding=yes")
    assert need(kept, "A-2", "N")["lb_per_acre"] == pytest.approx(asked)
    # K2O on A-1: the 60 lb that the sample of October has not seen were for the clover of 2026, which wanted
    # more by its plan. Nothing of them is left for 2027.
    assert balance(kept, "A-1", "K2O")["applied_lb"] == 0

    # A third season; the first two can still be looked at in the history, and the file is sound.
    clock.set("2027-09-05")
    assert run("season", "next", kept).data["season"] == 2028
    seasons = {row["season"] for row in run("history", kept, "A-2").data["plots"][0]["balances"]}
    assert 2026 in seasons
    assert ran_well("check", kept)["sound"]
    changes = ran_well("changes", kept)["changes"]
    assert [row["change"] for row in changes] == list(range(1, len(changes) + 1))
    assert {row["made_by"] for row in changes[1:]} == {"Steward"}


def test_a_labs_rate_for_corn_does_not_go_on_alfalfa_the_year_after(kept: Path, clock: Clock) -> None:
    clock.set("2026-04-01")
    rates = ("rec_n=140", "rec_unit=lb/acre", "rates_crop=corn", "rates_season=2026")
    ran_well("set", kept, "soil-test", "T-2", *rates)
    ran_well("set", kept, "cropping", "A-2", "crop=alfalfa")
    found = run("needs", kept).data
    assert any("140 lb/acre N was written for corn in 2026" in p["what"] for p in found["problems"])
    assert need(kept, "A-2", "N")["lb_per_acre"] != 140


def test_a_labs_rate_of_the_season_before_is_asked_about_for_the_same_crop(kept: Path, clock: Clock) -> None:
    """It is used only for the season it was written for; after that it stands as the published figure."""
    clock.set("2026-04-01")
    rates = ("rec_k2o=40", "rec_unit=lb/acre", "rates_crop=red clover", "rates_season=2026")
    ran_well("set", kept, "soil-test", "T-1", *rates)
    ran_well("set", kept, "cropping", "A-1", "crop=red clover")
    assert need(kept, "A-1", "K2O")["lb_per_acre"] == pytest.approx(40)
    run("season", "next", kept)

    asked = need(kept, "A-1", "K2O")
    assert (asked["state"], asked["lb_per_acre"]) == ("to decide", None)
    assert asked["published_lb_per_acre"] == pytest.approx(40)
    assert "written for red clover in 2026, and this is 2027" in asked["reason"]
    ran_well("decide", kept, "A-1", "K2O", "published", "--because", "the stand is as it was")
    assert need(kept, "A-1", "K2O")["lb_per_acre"] == pytest.approx(40)

    ran_well("undo", kept)
    assert need(kept, "A-1", "K2O")["state"] == "to decide"
    ran_well("set", kept, "soil-test", "T-1", "rates_season=2027")  # the lab said so
    assert need(kept, "A-1", "K2O")["lb_per_acre"] == pytest.approx(40)


def test_an_old_report_that_names_no_crop_and_season_is_asked_about(kept: Path, clock: Clock) -> None:
    clock.set("2026-04-01")
    ran_well("set", kept, "soil-test", "T-1", "rec_k2o=40", "rec_unit=lb/acre", "sampled_on=2023-10-01")
    asked = need(kept, "A-1", "K2O")
    assert asked["state"] == "to decide"
    assert "written for the crop of 2023, and this is 2026" in asked["reason"]


def test_potash_before_a_may_sample_is_not_taken_off(kept: Path, clock: Clock, tmp_path: Path) -> None:
    clock.set("2026-06-01")
    spread(kept, "A-1", "Potash 0-0-60", "100 lb", "2026-04-20")
    lab = "sampled_on=2026-05-10", "k=60", "k_unit=ppm", "k_extractant=ammonium acetate"
    ran_well("add", kept, "soil-test", "T-3", "plot=A-1", *lab, "depth=0-6 in")
    assert balance(kept, "A-1", "K2O")["applied_lb"] == 0


def test_a_metric_property_in_another_currency(tmp_path: Path, clock: Clock) -> None:
    """A tonne is a tonne; decisions and amounts in hectares and kilograms."""
    clock.set("2026-04-10")
    path = tmp_path / "moor.gpkg"
    ran_well("new", path, "--name", "Moorwiese (invented)", "--season", 2026, "--units", "metric")
    ran_well("set", path, "settings", "currency=EUR", "keeper=Hof")
    hay = {"crop": "grasses for hay and pasture", "yield_goal": "6 t/ha", "seeding": "no"}
    plots = geojson(tmp_path / "plots.geojson", ({"plot_id": "M-1", "name": "Moor", **hay}, [box()]))
    products = written(
        tmp_path / "products.csv",
        "product,form,n,p2o5,k2o,package,price,seller\n"
        "Calcium ammonium nitrate,dry,27,0,0,25 kg bag,14.00,Hof\n",
    )
    run("import", path, plots, products)
    ran_well("set", path, "cropping", "M-1", "yield_goal=6 t/ha")
    shown = {row["name"]: row["value"] for row in ran_well("show", path, "settings")["fields"]}
    assert (shown["currency"], shown["units"]) == ("EUR", "metric")
    ran_well("set", path, "product", "Calcium ammonium nitrate", "max_rate=0.5 ton/ha")
    rate = {
        r["name"]: r["value"] for r in ran_well("show", path, "product", "Calcium ammonium nitrate")["fields"]
    }
    assert rate["max_rate"] == "500 kg/ha"
    ran_well("decide", path, "M-1", "N", "60 kg/ha", "--because", "two cuts")
    hectares = independent_area_m2(box()[:-1]) / 10_000
    assert need(path, "M-1", "N")["lb"] * 0.45359237 == pytest.approx(60 * hectares, rel=1e-6)
    # 100 kg of 27 % are 27 kg N.
    done = run("record", path, "--plot", "M-1", "--product", "Calcium ammonium nitrate", "--amount", "100 kg")
    assert done.code in (0, 1), done.text
    assert balance(path, "M-1", "N")["applied_lb"] * 0.45359237 == pytest.approx(27)
    assert need(path, "M-1", "N")["lb"] * 0.45359237 == pytest.approx(60 * hectares - 27, rel=1e-6)
    ran_well("undo", path)
    assert balance(path, "M-1", "N")["applied_lb"] == 0
