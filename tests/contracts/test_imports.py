"""Imports point one way: the contracts of ``pyproject.toml``, as import-linter checks them.

The contracts name each room once; this file also makes sure that no file of the package is outside
them, since a module no layer names could import anything.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

ROOT = Path(__file__).parents[2]
PYPROJECT = ROOT / "pyproject.toml"
PACKAGE = ROOT / "src" / "loamwright"


def test_contracts_are_kept(capsys: pytest.CaptureFixture[str]) -> None:
    status = lint_imports(config_filename=str(PYPROJECT), no_cache=True)
    assert status == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_every_room_has_a_layer() -> None:
    contracts = tomllib.loads(PYPROJECT.read_text())["tool"]["importlinter"]["contracts"]
    (layers,) = [contract["layers"] for contract in contracts if contract["type"] == "layers"]
    named = {room.strip(" ()") for layer in layers for room in layer.replace(":", "|").split("|")}
    rooms = {path.stem for path in PACKAGE.glob("*.py") if not path.stem.startswith("__")}
    rooms |= {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert rooms - named == set()
