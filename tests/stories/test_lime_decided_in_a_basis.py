"""An amount of lime is decided in the basis that was asked for; in another it is another amount."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import SEASON, ran_well, run, worked_files


def lime(path: Path) -> dict[str, object]:
    rows = {row["plot_id"]: row for row in run("needs", path).data["plots"]}
    return dict(rows["A-1"]["lime"])


def test_a_decision_does_not_change_its_basis(tmp_path: Path) -> None:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    run("import", path, *worked_files(tmp_path))
    before = lime(path)
    assert before["basis"] == "ENP"
    because = ("--because", "worked in shallow", "--answer", "decide-A-1-lime=keep it")
    ran_well("decide", path, "A-1", "lime", "2000 lb/acre", *because)
    assert lime(path)["lb_per_acre"] == pytest.approx(2000)
    (report,) = (name for name, _ in run("show", path, "soil-test").data["listed"])
    run("set", path, "soil-test", report, "rec_lime=1500 lb CCE/acre")
    after = lime(path)
    assert after["basis"] == "CCE"
    assert after["state"] == "to decide"
    assert "ENP" in str(after["reason"])
    assert "decide again" in str(after["reason"])
    ran_well("decide", path, "A-1", "lime", "1400 lb/acre", "--because", "as the lab says")
    assert lime(path)["lb_per_acre"] == pytest.approx(1400)
    # a share is a share of whatever is asked for
    ran_well("decide", path, "A-1", "lime", "50 %", "--because", "half now")
    assert lime(path)["lb_per_acre"] == pytest.approx(750)
