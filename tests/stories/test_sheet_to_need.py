"""README's way from a laboratory's sheet to a need: the files as printed there, and the figures they give."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from command_line import ran_well, run, written

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SECTION = README.split("## From a lab's sheet to a need")[1].split("\n## ")[0]
TAPE, REPORT, TALK = re.findall(r"```\n(.*?)```", SECTION, flags=re.DOTALL)


def test_the_readmes_way_from_a_sheet_to_a_need(tmp_path: Path) -> None:
    """400 N, 300 E, 401 S, 300.5 W end 1 ft south, 0.5 ft west: √1.25 = 1.118 ft in 1,401.5 ft, 1 in 1,254.

    University of Minnesota Extension, clover phosphate table: 2 ton/acre, Bray P1 6 to 10 ppm, 25 lb/acre;
    by corners the ground is 400.5 × 300.25 ft near enough, 2.76 acres: 69 lb.
    """
    tape, report = written(tmp_path / "tape.csv", TAPE), written(tmp_path / "report.csv", REPORT)
    path = tmp_path / "my.gpkg"
    ran_well("new", path, "--name", "My place", "--season", "2026")
    placed = ran_well("import", path, tape)
    assert any("(1.118 ft), 1 in 1,254" in problem["what"] for problem in placed["problems"])
    asked = run("import", path, report)
    assert asked.code == 2
    assert {question["id"] for question in asked.data["questions"]} == {"depth", "plot.lanefield"}
    answers = ("--answer", "depth=0-6 in", "--answer", "plot.lanefield=Lane")
    ran_well("import", path, report, *answers, "--save-profile", tmp_path / "prairie.json")
    again = run("import", path, report, "--profile", tmp_path / "prairie.json", "--preview")
    assert again.data["questions"] == []
    (plot,) = ran_well("measure", tape)["plots"]
    assert plot["area_acres"] == pytest.approx(400.5 * 300.25 / 43_560, rel=2e-3)
    text = run("explain", path, "Lane", "P2O5", as_json=False).text
    for line in TALK.split("explain my.gpkg Lane P2O5\n")[1].strip().splitlines():
        assert " ".join(line.split()) in text
