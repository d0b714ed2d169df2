"""The machine around every command: refusals in its own words, errors of ours, a quick start."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import run
from rich.console import Console
from typer.testing import CliRunner

import loamwright
from loamwright import files
from loamwright.commands.answer import TRACEBACK, name_options
from loamwright.commands.cli import app
from loamwright.errors import Problem

PACKAGE = Path(loamwright.__file__).parent


# ---------------------------------------------------------------------------------------------
# An error of ours


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    def editions() -> None:
        raise KeyError("no such\nthing")

    monkeypatch.setattr(files, "guideline_editions", editions)


@pytest.mark.usefixtures("broken")
def test_an_error_of_ours_is_seventy_and_one_sentence() -> None:
    done = CliRunner().invoke(app, ["guideline", "list"], env={TRACEBACK: "", "COLUMNS": "240"})
    assert done.exit_code == 70
    assert done.stdout == ""
    assert "an error of ours" in done.stderr
    assert "KeyError" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.usefixtures("broken")
def test_an_error_of_ours_is_said_to_programs_too() -> None:
    done = CliRunner().invoke(app, ["guideline", "list", "--json"], env={TRACEBACK: ""})
    assert done.exit_code == 70
    (problem,) = json.loads(done.stdout)["problems"]
    assert problem.keys() == {"where", "what", "fix", "level"}
    assert problem["level"] == "error"
    assert "KeyError" in problem["what"]
    assert TRACEBACK in problem["fix"]


@pytest.mark.usefixtures("broken")
def test_the_traceback_is_for_those_who_ask() -> None:
    done = CliRunner().invoke(app, ["guideline", "list"], env={TRACEBACK: "1"})
    assert isinstance(done.exception, KeyError)


def test_an_answer_is_printed_whole_or_not_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    from loamwright.commands import text

    def show(console: Console, *_: object) -> None:
        console.print("the first half")
        raise ZeroDivisionError

    editions = next(kind for kind in text.TEXTS if kind.__name__ == "Editions")
    monkeypatch.setitem(text.TEXTS, editions, show)  # type: ignore[arg-type]
    done = CliRunner().invoke(app, ["guideline", "list"], env={TRACEBACK: ""})
    assert done.exit_code == 70
    assert done.stdout == ""


# ---------------------------------------------------------------------------------------------
# Options are named by the commands


def test_a_field_is_named_by_its_option() -> None:
    flags = {"time limit": "--time-limit", "need": "--need"}
    said = Problem("time limit", "it is negative", "Add `need` N; see `plan`.")
    assert name_options(said, flags) == Problem("--time-limit", "it is negative", "Add --need N; see `plan`.")
    elsewhere = Problem("prices.csv, need", "the need is odd", "State the need.")
    assert name_options(elsewhere, flags) == elsewhere


def options_named(source: str) -> list[str]:
    """Texts of a source that name an option; what its docstrings say is for its readers."""
    tree = ast.parse(source)
    said = {
        node.body[0].value
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef))
        and isinstance(node.body[0], ast.Expr)
    }
    texts = (n for n in ast.walk(tree) if isinstance(n, ast.Constant) and n not in said)
    return [n.value for n in texts if isinstance(n.value, str) and re.search(r"(^|\s)--[a-z]", n.value)]


def test_nothing_below_the_commands_names_an_option() -> None:
    found = {
        str(path.relative_to(PACKAGE)): named
        for path in PACKAGE.rglob("*.py")
        if path.parent.name != "commands" and (named := options_named(path.read_text(encoding="utf-8")))
    }
    assert found == {}
    assert options_named('fix = f"Add --need {supply}."') == ["Add --need "]


def test_what_the_walk_of_the_options_promises_holds_for_a_parameter_of_another_name(tmp_path: Path) -> None:
    """``--as`` is typed, `kind` is what the program calls it; ``--on`` and `applied_on` likewise."""
    path = tmp_path / "own.gpkg"
    assert run("new", path, "--name", "Own").code == 0
    assert run("import", path, tmp_path / "x.csv", "--as", "poems").says("--as", "'poems'")
    typed = ("--plot", "A", "--product", "B", "--amount", "1 lb", "--on", "someday")
    assert run("record", path, *typed).says("--on", "'someday'")


# ---------------------------------------------------------------------------------------------
# Starting


def test_help_loads_none_of_the_heavy_libraries() -> None:
    code = "import sys; from loamwright.commands import app; app(['--help'], standalone_mode=False); "
    code += "print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "measure" in done.stdout
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    assert loaded & {"numpy", "shapely", "pyproj", "geopandas", "highspy", "folium", "typst", "rich"} == set()
    assert {name for name in done.stderr.split() if name.startswith("loamwright.")} == {
        "loamwright.errors",
        "loamwright.money",
        "loamwright.version",
        *(
            f"loamwright.commands{room}"
            for room in (
                *("", ".answer", ".buy", ".cli", ".crop_tables", ".keep", ".plan", ".shape", ".tailgate"),
            )
        ),
    }
