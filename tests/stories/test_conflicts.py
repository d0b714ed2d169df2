"""Two accounts of one job: the record keeps the first, asks, and takes the second only as a correction."""

from __future__ import annotations

import json
from pathlib import Path

from command_line import run

ENTRY = {
    "entry_id": "phone-1",
    "plot_id": "AF-01",
    "product": "MAP 11-52-0",
    "done": "done",
    "applied_on": "2026-05-20",
    "mass_kg": 45.359237,
    "recorded_at": "2026-05-20T10:00:00",
}


def records(path: Path, **changes: object) -> Path:
    content = {"format": "loamwright-records", "version": 1, "entries": [{**ENTRY, **changes}]}
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def applied_lb(property_path: Path) -> float:
    """Pounds of MAP the status shows on the plot."""
    lines = run("status", property_path).data["lines"]
    return sum(
        row["applied_lb"] for row in lines if (row["plot_id"], row["product"]) == ("AF-01", "MAP 11-52-0")
    )


def test_a_second_account_corrects_only_when_wanted(tmp_path: Path) -> None:
    """45.359237 kg is 100 lb and 36.2873896 kg is 80 lb, by the exact pound."""
    folder = tmp_path / "demo"
    assert run("demo", folder).code == 0
    property_path = folder / "alder_fork.gpkg"
    first = records(tmp_path / "first.json")
    second = records(tmp_path / "second.json", mass_kg=36.2873896, note="weighed again")

    assert len(run("record", property_path, first).data["new"]) == 1
    assert round(applied_lb(property_path), 6) == 100

    kept = run("record", property_path, second)
    assert (kept.code, kept.data["new"], len(kept.data["conflicts"])) == (1, [], 1)
    assert round(applied_lb(property_path), 6) == 100

    taken = run("record", property_path, second, "--conflicts", "correct")
    assert [entry["replaces"] for entry in taken.data["new"]] == ["phone-1"]
    assert round(applied_lb(property_path), 6) == 80

    for _again in range(2):
        again = run("record", property_path, second, "--conflicts", "correct")
        assert (again.data["new"], len(again.data["already_there"])) == ([], 1)
    assert round(applied_lb(property_path), 6) == 80
