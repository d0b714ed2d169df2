"""A property over the years: the ground of its time, things in use, copies, clocks and half-done upgrades."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from command_line import SEASON, box, geojson, planned_property, ran_well, run
from places import independent_area_m2
from pypdf import PdfReader

from loamwright import files, season, upkeep
from loamwright.errors import InputError

ACRES = independent_area_m2(box()[:-1]) / 4046.8564224
KEPT = Path(__file__).parents[1] / "files_kept" / "alder_fork.version-1.gpkg"


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return planned_property(tmp_path_factory.mktemp("years"))


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "own.gpkg"))


def value(own: Path, thing: str, name: str, field: str) -> str:
    rows = ran_well("show", own, thing, name, "--all")["fields"]
    (row,) = [row for row in rows if row["name"] == field]
    return str(row["value"])


# ---------------------------------------------------------------------------------------------
# The ground of its time


class NextYear(dt.date):
    """The calendar of a year from now."""

    @classmethod
    def today(cls) -> dt.date:
        now = dt.datetime.now().astimezone().date()
        return now.replace(year=now.year + 1, day=min(now.day, 28))


def test_a_past_season_is_looked_at_on_the_ground_of_its_time(
    own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A-1 is halved a year later, and A-2 given back: the season before still has both, whole.

    A square of a thousandth of a degree, measured by an independent library, and half of it after the cut.
    """
    ran_well("season", "next", own)
    next_year = NextYear.today()
    monkeypatch.setattr("loamwright.files.editor._today", lambda: next_year)
    west, south, east, north = -93.05, 46.05, -93.0495, 46.051
    half = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    ran_well("shape", "redraw", own, "A-1", geojson(tmp_path / "half.geojson", ({}, [half])))
    run("retire", own, "plot", "A-2", "--because", "given back", "--anyway")

    now = season.view(own, next_year)
    assert set(now.areas) == {"A-1"}
    assert now.areas["A-1"].area_m2 / 4046.8564224 == pytest.approx(ACRES / 2, rel=1e-4)
    then = season.view(own, next_year, SEASON)
    assert set(then.areas) == {"A-1", "A-2"}
    for plot_id in ("A-1", "A-2"):
        assert then.areas[plot_id].area_m2 / 4046.8564224 == pytest.approx(ACRES, rel=1e-6)
    lines = {line["line_id"]: line for line in run("status", own, "--season", SEASON).data["lines"]}
    assert {line["plot_id"] for line in lines.values()} == {"A-1"}
    run("report", own, tmp_path / "again", "--season", SEASON)
    told = " ".join(
        page.extract_text() for page in PdfReader(tmp_path / "again" / "season_picture.pdf").pages
    )
    assert "A-2" in told


# ---------------------------------------------------------------------------------------------
# Things in use


@pytest.mark.parametrize(
    ("thing", "name", "used"),
    [
        ("plot", "A-1", "the plan puts MAP 11-52-0 on it"),
        ("product", "MAP 11-52-0", "offer"),
        ("offer", "MAP", "the plan buys"),
        ("soil-test", "TEST", "it is the only soil test of plot A-1"),
        ("spreader", "Sled", "product Potash 0-0-60 needs it"),
        ("cropping", f"A-1 {SEASON}", "the plan puts MAP 11-52-0 on it"),
    ],
)
def test_what_is_in_use_is_retired_only_when_that_is_meant(
    own: Path, thing: str, name: str, used: str
) -> None:
    if thing == "spreader":
        ran_well("add", own, "spreader", "Sled", "swath=10 ft", "hopper=100 lb")
        ran_well("set", own, "product", "Potash 0-0-60", "equipment=Sled")
    listed = {"offer": "offers", "soil-test": "soil-tests"}.get(thing)
    if listed:
        rows = ran_well("show", own, listed)["listed"]
        name = next(
            str(row[0]) for row in rows if name == "TEST" or name.casefold() in str(row[0]).casefold()
        )
    before = digest(own)
    refused = run("retire", own, thing, name, "--because", "no more")
    assert refused.code == 2
    assert used in refused.text
    assert digest(own) == before
    done = run("retire", own, thing, name, "--because", "no more", "--anyway")
    assert done.code == 1
    assert used in done.text
    ran_well("undo", own)


# ---------------------------------------------------------------------------------------------
# Copies, and two programs


def test_taking_over_is_all_or_nothing(own: Path, tmp_path: Path) -> None:
    """Two changes of the laptop; the second meets a field the office changed too: neither is taken."""
    other = Path(shutil.copy(own, tmp_path / "laptop.gpkg"))
    ran_well("set", other, "plot", "A-2", "notes=seen by the creek")
    ran_well("set", other, "plot", "A-1", "name=Laptop")
    ran_well("set", own, "plot", "A-1", "name=Office")
    before = digest(own)
    refused = run("differs", own, other, "--take", "all")
    assert refused.code == 2
    assert "not here as it was there" in refused.text
    assert digest(own) == before
    first, second = ran_well("differs", own, other)["only_there"]
    assert run("differs", own, other, "--take", first["id"], "--take", "ffffffff").says("names no change")
    assert digest(own) == before
    taken = ran_well("differs", own, other, "--take", first["id"])
    assert value(own, "plot", "A-2", "notes") == "seen by the creek"
    assert [row["id"] for row in ran_well("differs", own, other)["only_there"]] == [second["id"]]
    # It is a change of this copy as any other: named, and taken back.
    (row,) = [c for c in ran_well("changes", own)["changes"] if c["change"] == taken["change_id"]]
    assert row["command"] == "take over: set plot A-2 notes=seen by the creek"
    ran_well("undo", own, taken["change_id"])
    assert value(own, "plot", "A-2", "notes") in ("", "None", "not stated")


def test_two_programs_on_one_plot_the_second_sees_the_first(own: Path) -> None:
    """A form that was opened before somebody else changed the same field asks; another field just goes."""
    today = dt.datetime.now().astimezone().date()
    ran_well("set", own, "plot", "A-1", "name=Theirs")
    with pytest.raises(InputError, match="it was Alder when you began, and is Theirs now"):
        upkeep.set_fields(own, "plot", "A-1", ["name=Mine"], today, "", {"name": "Alder"})
    assert value(own, "plot", "A-1", "name") == "Theirs"
    upkeep.set_fields(own, "plot", "A-1", ["notes=wet"], today, "", {"notes": ""})
    assert value(own, "plot", "A-1", "notes") == "wet"


# ---------------------------------------------------------------------------------------------
# Clocks and upgrades


def test_a_clock_that_jumps_back_loses_nothing_and_undoes_in_order(
    own: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The order of the journal is its numbers, not its times; stock goes by the order things were written."""
    ran_well("purchase", own, "Potash 0-0-60", 4, "--counted")
    back = dt.datetime(2001, 1, 1, 12, tzinfo=dt.UTC)

    class Then(dt.datetime):
        @classmethod
        def now(cls, tz: dt.tzinfo | None = None) -> dt.datetime:  # type: ignore[override]
            return back.astimezone(tz)

    class Module:
        """`datetime` with a clock that lost its battery."""

        datetime = Then
        date, time, timedelta, timezone, UTC = dt.date, dt.time, dt.timedelta, dt.timezone, dt.UTC

    for room in ("files.property_file", "upkeep.bookkeeping", "season.entries"):
        if hasattr(sys.modules[f"loamwright.{room}"], "dt"):
            monkeypatch.setattr(f"loamwright.{room}.dt", Module)
    ran_well("set", own, "plot", "A-1", "name=Later")
    told = ran_well("changes", own)["changes"]
    assert [row["change"] for row in told] == list(range(1, len(told) + 1))
    assert told[-1]["made_at"].startswith("2001") or told[0]["made_at"].startswith("2001")
    # One bag bought after the count: 4 + 1, whatever the clock says.
    ran_well("purchase", own, "Potash 0-0-60", 1, "--paid", "21.00")
    (row,) = [s for s in ran_well("stock", own)["stock"] if "Potash" in s["product"]]
    assert row["counted_lb"] + row["bought_lb"] == pytest.approx(250)
    ran_well("undo", own)
    ran_well("undo", own)
    assert value(own, "plot", "A-1", "name") == "Alder"
    assert ran_well("check", own)["sound"]


def plots_of(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as db:
        return [row[0] for row in db.execute("SELECT plot_id FROM plots ORDER BY fid")]


UPGRADE_AND_DIE = """
import os, sys
from pathlib import Path
from loamwright.files import property_file
whole = property_file._statements
def dying(script):
    for number, statement in enumerate(whole(script)):
        if number == int(sys.argv[2]):
            os.kill(os.getpid(), 9)
        yield statement
property_file._statements = dying
property_file.load(Path(sys.argv[1]))
"""


@pytest.mark.parametrize("statements", [1, 12, 40])
def test_an_upgrade_killed_half_way_is_done_by_the_next_program(statements: int, tmp_path: Path) -> None:
    path = Path(shutil.copy(KEPT, tmp_path / "old.gpkg"))
    died = subprocess.run(
        [sys.executable, "-c", UPGRADE_AND_DIE, str(path), str(statements)],
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(files.__file__).parents[2])},
    )
    assert died.returncode == -signal.SIGKILL
    (copy,) = tmp_path.glob("old.version-1.*.gpkg")
    with closing(sqlite3.connect(copy)) as db:
        assert db.execute("SELECT COUNT(*) FROM plots").fetchone() == (len(plots_of(KEPT)),)
    found = files.load(path)
    assert [plot.plot_id for plot in found.plots] == plots_of(KEPT)
    assert files.check_property(path, False, dt.datetime.now().astimezone().date()) == ()
