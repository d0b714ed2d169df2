"""A property file that another program poisoned has a way out."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing
from pathlib import Path

from command_line import ran_well, run, worked_files


def test_a_poisoned_entry_is_named_and_withdrawn(tmp_path: Path) -> None:
    """An infinite amount another program wrote stops nothing for ever: check names it, and takes it back."""
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own", "--season", 2026)
    ran_well("import", path, *worked_files(tmp_path))
    entry = {"entry_id": "E-odd", "plot_id": "A-1", "product": "Potash 0-0-60", "done": "done"}
    entry |= {"applied_on": "2026-04-01", "mass_kg": math.inf, "recorded_at": "2026-04-01T10:00:00+00:00"}
    blank = ("line_id", "time_of_day", "operator", "equipment", "method", "ground", "weather", "forecast")
    entry |= dict.fromkeys((*blank, "note", "reason", "replaces"), "")
    with closing(sqlite3.connect(path)) as database, database:
        marks = ", ".join("?" * len(entry))
        into = f"INSERT INTO applications ({', '.join(entry)}) VALUES ({marks})"
        database.execute(into, tuple(entry.values()))
    refused = run("status", path)
    assert refused.code == 2
    assert refused.says("applications", "mass_kg 'inf'", "check")
    named = run("check", path)
    assert named.says("E-odd", "mass_kg 'inf'", "Withdraw it with check")
    mended = run("check", path, "--mend")
    assert mended.says("E-odd", "it is withdrawn", "Record what was really put on")
    assert run("status", path).code in (0, 1)
    assert len(list(tmp_path.glob("own.*.gpkg"))) == 1  # the copy made before
    history = run("history", path).data
    assert "inf" not in str(history).lower().replace("information", "").replace("info", "")
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("SELECT count(*) FROM applications").fetchone()[0] == 2
    changes = run("changes", path).data["changes"]
    assert [one["command"] for one in changes].count("withdraw E-odd, which cannot be read") == 1
    after = run("check", path)
    assert (after.code, len(after.problems)) == (0, 1)  # a note: nothing is left to mend
    assert after.says("E-odd", "it is withdrawn")
    assert run("undo", path).code == 0
    assert run("status", path).code in (0, 1)
