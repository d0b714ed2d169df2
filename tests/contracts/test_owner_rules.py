"""Rules of the house that no other tool checks: markup, machine paths, the top level, sources of data."""

from __future__ import annotations

import csv
import json
import re
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "loamwright"
DATA = PACKAGE / "data"

TOP_LEVEL = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "README.md",
    "demo_data",
    "maps",
    "pyproject.toml",
    "src",
    "tests",
}
#: Put together here so that this file does not hold what it looks for.
MACHINE_PATHS = re.compile(
    "|".join(f"(?<![\\w.])/{folder}/" for folder in ("work", "tmp", "farm", "root", "home", "Users"))
    + r"|\b[A-Z]:\\Users"
)
MARKUP = tuple("<" + tag for tag in ("div", "script", "html"))


def repository_files() -> list[Path]:
    """Files git knows or would take in."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout.decode()
    return [path for name in listed.split("\0") if name and (path := ROOT / name).is_file()]


FILES = repository_files()


def text_of(path: Path) -> str | None:
    """Text of a file; None when it is binary."""
    raw = path.read_bytes()
    return None if b"\0" in raw[:8192] else raw.decode("utf-8", errors="replace")


def test_git_was_asked() -> None:
    assert PACKAGE / "values.py" in FILES


def test_the_top_level_holds_only_what_belongs_there() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in FILES} <= TOP_LEVEL


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_markup_in_python(path: Path) -> None:
    text = path.read_text(encoding="utf-8").casefold()
    assert [tag for tag in MARKUP if tag in text] == []


def test_no_path_of_a_machine() -> None:
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in FILES
        if (text := text_of(path)) is not None and (match := MACHINE_PATHS.search(text))
    ]
    assert found == []


def test_the_path_rule_can_see_one() -> None:
    for folder in ("work", "home"):
        assert MACHINE_PATHS.search(f"see /{folder}/someone/file.csv")
        assert not MACHINE_PATHS.search(f"https://example.org/{folder}/page and src/{folder}/x")


# ---------------------------------------------------------------------------------------------
# Data


def keys_of(value: Any) -> set[str]:
    """Every key anywhere in nested tables."""
    if isinstance(value, dict):
        return set(value) | {key for inner in value.values() for key in keys_of(inner)}
    if isinstance(value, list):
        return {key for inner in value for key in keys_of(inner)}
    return set()


def names_a_source(path: Path) -> bool:
    """A table does in every row, an edition file somewhere in it."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".csv":
        rows = list(csv.DictReader(text.splitlines()))
        columns = [name for name in (rows[0] if rows else ()) if re.fullmatch(r"(\w+_)?source", name)]
        return bool(columns) and all(any(row[name].strip() for name in columns) for row in rows)
    if path.suffix == ".toml":
        return not SOURCE_KEYS.isdisjoint(keys_of(tomllib.loads(text)))
    if path.suffix == ".json":
        return not SOURCE_KEYS.isdisjoint(keys_of(json.loads(text)))
    return False


SOURCE_KEYS = {"source", "publication", "publisher"}
NOT_DATA = {".sql", ".py", ".pyc"}  # statements and code
DATA_FILES = sorted(path for path in DATA.rglob("*") if path.is_file() and path.suffix not in NOT_DATA)


@pytest.mark.parametrize("path", DATA_FILES, ids=lambda p: str(p.relative_to(DATA)))
def test_every_data_file_names_its_source(path: Path) -> None:
    """In each row, or in the edition file beside it, which then names the table."""
    if names_a_source(path):
        return
    beside = [other for other in path.parent.glob("*.toml") if other != path and names_a_source(other)]
    assert any(path.name in other.read_text(encoding="utf-8") for other in beside)
