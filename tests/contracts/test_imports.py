"""Imports point one way, and a package is imported by its face: what ``pyproject.toml`` cannot say alone.

The layers stand in ``pyproject.toml`` and import-linter checks them. This file makes sure that nothing lies
outside them, and that no one reaches past a package's face into its rooms.
"""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest
from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

ROOT = Path(__file__).parents[2]
PYPROJECT = ROOT / "pyproject.toml"
PACKAGE = ROOT / "src" / "loamwright"
PACKAGES = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}


def test_contracts_are_kept(capsys: pytest.CaptureFixture[str]) -> None:
    status = lint_imports(config_filename=str(PYPROJECT), no_cache=True)
    assert status == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_every_room_has_a_layer() -> None:
    contracts = tomllib.loads(PYPROJECT.read_text())["tool"]["importlinter"]["contracts"]
    (layers,) = [contract["layers"] for contract in contracts if contract["type"] == "layers"]
    named = {room.strip(" ()") for layer in layers for room in layer.replace(":", "|").split("|")}
    rooms = {path.stem for path in PACKAGE.glob("*.py") if not path.stem.startswith("__")}
    assert (rooms | PACKAGES) - named == set()


def past_a_face(package: str, source: str) -> list[str]:
    """Imports in a source file of `package` that reach into a room of another package."""
    modules = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            modules += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            modules.append(node.module)
    reached = [module.split(".") for module in modules if module.startswith("loamwright.")]
    return [".".join(parts) for parts in reached if len(parts) > 2 and parts[1] != package]


def test_a_package_is_imported_only_by_its_face() -> None:
    found = {}
    for path in PACKAGE.rglob("*.py"):
        home = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        if reached := past_a_face(home, path.read_text(encoding="utf-8")):
            found[str(path.relative_to(PACKAGE))] = reached
    assert found == {}


def test_the_face_rule_can_see_one() -> None:
    assert past_a_face("files", "from loamwright.needs.rates import Cell") == ["loamwright.needs.rates"]
    assert past_a_face("needs", "from loamwright.needs.rates import Cell") == []
    assert past_a_face("files", "from loamwright.needs import Cell") == []


def test_every_name_of_a_face_is_there_and_in_use() -> None:
    """A face holds what the rest of the house uses: a name nobody outside asks for is private."""
    sources = {path: path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py")}
    unused = []
    for package in PACKAGES:
        face = ast.parse(sources[PACKAGE / package / "__init__.py"])
        names = {
            alias.asname or alias.name
            for n in ast.walk(face)
            if isinstance(n, ast.ImportFrom)
            for alias in n.names
        }
        outside = "\n".join(
            text for path, text in sources.items() if path.relative_to(PACKAGE).parts[0] != package
        )
        unused += [f"{package}.{name}" for name in sorted(names - {"annotations"}) if name not in outside]
    assert unused == []
