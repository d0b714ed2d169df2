"""Every hostile input meets its sentence: no traceback, nothing over ten seconds, nothing taken in silently.

The cases run in processes of their own, some hundred in each, with a limit on memory (`hostile.batch`). The
gate runs all of them; the quick suite every hundred-and-fiftieth.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from hostile.cases import Case, one_by_one

MODULES = ("figures", "shapes", "sheets", "settings", "property_files")
TESTS = Path(__file__).parents[1]


def run_batch(module: str, step: int) -> Iterator[dict[str, Any]]:
    """Run every `step`-th case of a module in a process of its own."""
    paths = os.pathsep.join([str(TESTS), str(TESTS.parent), os.environ.get("PYTHONPATH", "")])
    words = [sys.executable, "-m", "hostile.batch", module, str(step)]
    done = subprocess.run(
        words,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": paths},
        timeout=900,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    for line in done.stdout.splitlines():
        yield json.loads(line)


def faults(case: Case, ended: dict[str, Any]) -> Iterator[str]:
    """What is not as it must be."""
    if ended["code"] not in case.code:
        yield f"it ended with {ended['code']}, not {case.code}"
    if json.dumps(case.says, ensure_ascii=False)[1:-1] not in ended["said"]:
        yield f"nothing says {case.says!r}"
    if ended["code"] and case.unless_taken and not any(one in ended["said"] for one in case.unless_taken):
        yield f"none of {case.unless_taken} is told"
    if ended["code"] == 2 and ended["changed"]:
        yield "it was refused, and the property changed"


def judge(module: str, step: int) -> None:
    """Run cases, and say every fault at once."""
    cases = {case.name: case for case in one_by_one(importlib.import_module(f"hostile.{module}").cases())}
    told, run = [], 0
    for ended in run_batch(module, step):
        if "peak_mb" in ended:
            assert ended["peak_mb"] < 700  # 500 over what the libraries take
        else:
            run += 1
            told += [
                f"{ended['name']}: {one}: {ended['said'][:300]}"
                for one in faults(cases[ended["name"]], ended)
            ]
    assert told == []
    assert run > 0


@pytest.mark.parametrize("module", MODULES)
def test_some_hostile_inputs(module: str) -> None:
    judge(module, 150)


@pytest.mark.slow
@pytest.mark.parametrize("module", MODULES)
def test_every_hostile_input(module: str) -> None:
    judge(module, 1)


def test_the_corpus_is_as_large_as_it_says() -> None:
    """At least 500 inputs, each with a name of its own."""
    count = {
        module: len(one_by_one(importlib.import_module(f"hostile.{module}").cases())) for module in MODULES
    }
    assert sum(count.values()) >= 500
    assert min(count.values()) >= 50
