"""One rule of ``--json`` over all commands: JSON whatever happens, and figures in pounds, acres and feet.

A key ends in its unit. Where a figure is also given as it is kept, in kilograms or square metres, the same
figure in pounds or acres stands beside it, so that a program can read every command in one system.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main
from command_line import SEASON, TODAY, WHOLE_LIME, ran_well, run, worked_files, written
from typer.testing import CliRunner

from loamwright.commands.cli import app

#: International acre, pound, foot: NIST Special Publication 811 (2008), Appendix B, exact.
ACRE_M2, LB_KG, FT_M = 4046.8564224, 0.45359237, 0.3048

#: How the name of a figure kept in SI ends, how its twin does, and how many of the twin one of it is.
TWINS = (
    ("_kg_ha", "_lb_per_acre", ACRE_M2 / 10_000 / LB_KG),
    ("_per_kg", "_per_lb", LB_KG),
    ("_per_ha", "_per_acre", ACRE_M2 / 10_000),
    ("_kg", "_lb", 1 / LB_KG),
    ("_m2", "_acres", 1 / ACRE_M2),
    ("_m_s", "_mph", 3600 / 5280 / FT_M),
    ("_m", "_ft", 1 / FT_M),
)
METRIC = re.compile(r"_(kg|ha|m2|m|km|l|m3|t|cm|mm|m_s|kmh|km_h)$")


def commands(group: Any = None, before: str = "") -> Iterator[str]:
    """Every command of the program by its full name."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, f"{before}{name} ")
        else:
            yield before + name


#: What each command is run with; P is the property, and the others are files of `folder`.
RUNS: dict[str, tuple[str, ...]] = {
    "measure": ("plots.geojson",),
    "compare": ("products.csv",),
    "read": ("lab.csv",),
    "import": ("P", "plots.geojson", "--preview"),
    "needs": ("P",),
    "explain": ("P", "A-1"),
    "status": ("P",),
    "sample": ("P",),
    "history": ("P",),
    "project": ("P", "A-1", "P2O5", "--removed", "30 lb/acre"),
    "plan": ("P", "--time-limit", "5"),
    "why": ("P",),
    "whatif": ("P", "--time-limit", "2"),
    "habits": ("P", "--time-limit", "2"),
    "budget": ("P", "--time-limit", "2"),
    "show": ("P", "plot", "A-1"),
    "set": ("P", "plot", "A-1", "notes=x"),
    "add": ("P", "part", "A-1", "name=north", "area=0.2 acre"),
    "changes": ("P",),
    "check": ("P",),
    "purchase": ("P", "Potash 0-0-60", "2"),
    "stock": ("P",),
    "differs": ("P", "P"),
    "calibrate": (
        *("P", "--spreader", "Cone", "--product", "Potash 0-0-60", "--setting", "4"),
        *("--caught", "0.11 lb", "--catch-area", "21.8 ft2"),
    ),
    "record": (
        *("P", "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "50 lb"),
        *("--on", str(TODAY), "--operator", "Kim"),
    ),
    "buy break-even": ("products.csv", "MAP", "P2O5", "--at", "1.24/lb"),
    "buy value": ("products.csv", "MAP", "--need", "P2O5", "--reference", "P2O5=0.7/lb"),
    "buy amount": ("products.csv", "MAP", "60 lb P2O5/acre", "2.1 acre"),
    "buy materials": (),
    "buy lime": ("products.csv", "lime"),
    "buy restate": ("10", "K", "--as", "K2O"),
    "buy worth": ("N=50 lb", "--reference", "N=0.62/lb"),
    "buy difference": ("products.csv", "MAP", "Potash"),
    "buy carry": ("100", "--months", "6", "--rate", "8 %"),
    "buy haul": ("30 miles", "52 tons", "--load", "20 tons", "--charge", "4.50/mile"),
    "buy sizes": ("0-0.5=60@95", "0.5-1=40@90"),
    "tailgate course": ("30 in",),
    "tailgate speed": ("100 ft", "17"),
    "tailgate rate": ("0.11 lb", "21.8 ft2"),
    "tailgate flow": ("12 lb/min", "--swath", "20 ft", "--speed", "5 mph"),
    "tailgate change": ("120 lb/acre", "--tested", "3 mph", "--driven", "4 mph"),
    "tailgate hour": ("--swath", "20 ft", "--speed", "5 mph", "--efficiency", "70 %"),
    "tailgate bag": ("50 lb", "120 lb/acre", "--swath", "20 ft"),
    "tailgate even": ("1", "1.1", "0.9", "1"),
    "tailgate tarp": (),
    "season next": ("P",),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("json")
    path = made / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(made))
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("add", path, "spreader", "Cone", "swath=20 ft")
    ran_well("plan", path)
    written(
        made / "lab.csv",
        "Lab No,Sample,pH,P (Bray P1) ppm,K (Mehlich 3) ppm,Depth\n101,A-1,6.1,22,140,0-6 in\n",
    )
    return made


def lone_metric(value: Any, place: str = "") -> Iterator[str]:
    """Keys in metric units without the same figure in customary units beside it."""
    if isinstance(value, list):
        for item in value:
            yield from lone_metric(item, f"{place}[]")
    if not isinstance(value, dict):
        return
    for key, item in value.items():
        if key == "fingerprint":  # marks that are compared, not figures
            continue
        yield from lone_metric(item, f"{place}.{key}")
        if not METRIC.search(key):
            continue
        twin = next((key.removesuffix(si) + us for si, us, _ in TWINS if key.endswith(si)), None)
        factor = next((factor for si, _, factor in TWINS if key.endswith(si)), 0.0)
        if twin is None or twin not in value:
            yield f"{place}.{key}"
        elif isinstance(item, int | float) and value[twin] != pytest.approx(item * factor, rel=1e-6):
            yield f"{place}.{key} against {twin}"


@pytest.mark.parametrize("name", RUNS)
def test_every_figure_is_in_pounds_acres_and_feet(name: str, folder: Path, tmp_path: Path) -> None:
    own = Path(shutil.copy(folder / "own.gpkg", tmp_path / "own.gpkg"))
    files = {"P": own} | {path.name: path for path in folder.iterdir() if path.suffix in (".csv", ".geojson")}
    done = run(*name.split(), *(files.get(word, word) for word in RUNS[name]))
    assert done.code in (0, 1), done.text
    assert list(lone_metric(done.data)) == []


def money_in(value: Any, key: str = "") -> Iterator[str]:
    """Keys of figures that are money, by the words people use for it."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from money_in(item, name)
    elif isinstance(value, list):
        for item in value:
            yield from money_in(item, key)
    elif isinstance(value, int | float) and {"price", "cost", "worth", "paid", "charge"} & set(
        key.split("_")
    ):
        yield key


@pytest.mark.parametrize("name", sorted(set(RUNS) - {"read"}))
def test_money_stands_under_its_currency(name: str, folder: Path, tmp_path: Path) -> None:
    """The currency of the property, here Swiss francs (ISO 4217); where there is no property, US dollars."""
    own = Path(shutil.copy(folder / "own.gpkg", tmp_path / "own.gpkg"))
    ran_well("set", own, "settings", "currency=CHF")
    files = {"P": own} | {path.name: path for path in folder.iterdir() if path.suffix in (".csv", ".geojson")}
    said = run(*name.split(), *(files.get(word, word) for word in RUNS[name])).data
    if list(money_in(said)):
        assert said["currency"] == ("CHF" if "P" in RUNS[name] else "USD")
    assert bool(list(money_in(said))) or not name.startswith(("buy worth", "buy haul", "buy carry", "budget"))


@pytest.mark.parametrize("name", list(commands()))
def test_a_mistyped_command_line_is_said_in_json(name: str) -> None:
    """With JSON asked for, a mistake of typing is one problem in JSON, and exit code 2."""
    done = run(*name.split(), "--no-such-option")
    assert done.code == 2
    (problem,) = done.data["problems"]
    assert "no-such-option" in problem["what"] or "Missing argument" in problem["what"]
    assert problem["fix"]


def test_a_missing_argument_is_named() -> None:
    for typed, name in ((("measure",), "file"), (("tailgate", "course"), "width")):
        done = run(*typed)
        assert done.code == 2
        (problem,) = done.data["problems"]
        assert problem["where"] == name
        assert "Missing argument" in problem["what"]
        assert f"{' '.join(typed)} --help" in problem["fix"]
    for typed in (("nosuch",), ()):
        assert run(*typed).code == 2


def test_people_are_told_on_the_other_stream() -> None:
    done = CliRunner().invoke(app, ["measure"])
    assert done.exit_code == 2
    assert (done.stdout, "Missing argument" in done.stderr) == ("", True)


def test_the_kinds_of_export_are_listed_without_a_property() -> None:
    """As the help of the command promises."""
    assert "export help" in run("export", "--help", as_json=False).text
    kinds = ran_well("export", "help")["kinds"]
    assert {"geojson", "shapefile", "gpx", "csv", "taskfile"} <= set(kinds)
    assert "csv" in run("export", "help", as_json=False).text
    assert run("export", "no.gpkg").says("KIND is missing", "export help")
    assert run("export", "no.gpkg", "csv").says("FILE_OR_DIR is missing")
