"""A lab that prints P2O5 and K2O: every page says so, and every sum is of the element."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import SEASON, TODAY, ran_well, run, worked_files, written
from openpyxl import load_workbook


@pytest.fixture
def path(tmp_path: Path) -> Path:
    plots, _, products = worked_files(tmp_path)
    tests = written(
        tmp_path / "oxides.csv",
        "plot_id,sampled_on,depth,ph,p,p_unit,p_basis,p_extractant,k,k_unit,k_basis,k_extractant\n"
        f"A-1,{SEASON}-03-01,0-6 in,6.4,28,mg/kg,P2O5,Olsen,12,mg/100 g,K2O,ammonium acetate\n",
    )
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    run("import", path, plots, products, tests)
    return path


def test_the_record_names_the_oxide(path: Path, tmp_path: Path) -> None:
    run("plan", path)
    run("report", path, tmp_path / "out")
    (book,) = tmp_path.rglob("*.xlsx")
    cells = [str(cell.value) for sheet in load_workbook(book) for row in sheet for cell in row if cell.value]
    (figures,) = {cell for cell in cells if "Olsen" in cell}
    assert "P2O5 28 mg/kg (Olsen)" in figures
    assert "K2O 12 mg/100 g (ammonium acetate)" in figures


def test_the_basis_is_shown_and_set(path: Path) -> None:
    ((soil_test, _),) = run("show", path, "soil-test").data["listed"]

    def basis() -> str:
        fields = ran_well("show", path, "soil-test", soil_test)["fields"]
        return str(next(one["value"] for one in fields if one["name"] == "p_basis"))

    assert basis() == "P2O5"
    ran_well("set", path, "soil-test", soil_test, "p_basis=P")
    assert basis() == "P"
    assert run("set", path, "soil-test", soil_test, "p_basis=K2O").says("P, P2O5")


def test_a_projection_starts_from_the_element(path: Path) -> None:
    """28 mg/kg P2O5 hold 28 x 0.4364 = 12.2 ppm P (IUPAC atomic masses)."""
    entry = ("--plot", "A-1", "--product", "MAP 11-52-0", "--amount", "10 lb", "--on", str(TODAY))
    run("record", path, *entry, "--answer", "anything=yes")
    told = run("project", path, "A-1", "P2O5", "--per-ppm", "20").data
    assert told["from_ppm"] == pytest.approx(12.22, abs=0.01)
