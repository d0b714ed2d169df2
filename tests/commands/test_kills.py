"""The kills of `tests.benchmarks.kills`, a few of them, and what its judge must be able to see."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.benchmarks import kills

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
def test_nothing_confirmed_is_lost_and_nothing_is_half() -> None:
    words = [sys.executable, "-m", "tests.benchmarks.kills", "--kills", str(2 * len(kills.COMMANDS))]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=900, check=False)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert f"killed: {2 * len(kills.COMMANDS)} tried" in done.stdout


def known(folder: Path) -> kills.Known:
    """A command that writes one row and one file."""
    start = folder / "start"
    start.mkdir()
    with closing(sqlite3.connect(start / "own.gpkg")) as database:
        database.execute("CREATE TABLE things (name TEXT)")
    before = kills.rows_of(start / "own.gpkg")
    after = {"things": [{"name": "new"}]}
    return kills.Known(("set",), start, 1.0, before, after, set(), {"out/a.json"}, ("out/a.json",))


def judged(one: kills.Known, folder: Path, code: int, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the judge says of a folder; the program itself is not asked here."""
    folder.with_suffix(".said").touch()
    monkeypatch.setattr(kills, "checked", lambda _folder: "")
    monkeypatch.setattr(kills, "command_in", lambda _folder, _words: 0)
    monkeypatch.setattr(kills, "ended", lambda _child: 0)
    return list(kills.faults(one, folder, code))


def test_the_judge_sees_what_is_lost_half_and_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, place = known(tmp_path), tmp_path / "place"
    kills.fresh(place, one.start)
    told = judged(one, place, 0, monkeypatch)
    assert any("LOST: it was told as done, and is not there" in fault for fault in told)
    assert any("not written: ['out/a.json']" in fault for fault in told)
    (place / "out" / "a.json").write_text('{"half": ')
    (place / "own.gpkg.part").touch()
    told = judged(one, place, -signal.SIGKILL, monkeypatch)
    assert any(fault.startswith("a.json is half") for fault in told)
    assert "left over: own.gpkg.part" in told
    with closing(sqlite3.connect(place / "own.gpkg")) as database, database:
        database.execute("INSERT INTO things VALUES ('other')")
    assert any("neither the one before nor" in fault for fault in judged(one, place, 2, monkeypatch))


def test_the_judge_is_content_with_what_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, place = known(tmp_path), tmp_path / "place"
    kills.fresh(place, one.start, one.names)
    assert judged(one, place, 2, monkeypatch) == []
    (place / "out" / "a.json").write_text("{}")
    with closing(sqlite3.connect(place / "own.gpkg")) as database, database:
        database.execute("INSERT INTO things VALUES ('new')")
    assert judged(one, place, 0, monkeypatch) == []
    assert any("ended with 2, and the change is there" in f for f in judged(one, place, 2, monkeypatch))
