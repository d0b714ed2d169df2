"""For every test: examples are drawn without a clock, as tests do not time; in the gate always the same."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

from loamwright.money import USUAL, tell_money_in

settings.register_profile("no clock", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("no clock")


@pytest.fixture(autouse=True)
def usual_money() -> None:
    """No test is told amounts in the currency of the property of another."""
    tell_money_in(USUAL)


@pytest.fixture(scope="session")
def the_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder `loamwright demo` makes, and what it told as `said.json`: made once for every file of tests.

    Whoever changes something copies it first.
    """
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "the-demo"
    if not shared.exists():
        made = tmp_path_factory.mktemp("made") / "alder-fork-demo"
        command = [sys.executable, "-m", "loamwright", "demo", str(made), "--json"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        (made / "said.json").write_text(done.stdout, encoding="utf-8")
        with contextlib.suppress(OSError):  # another worker was first
            made.rename(shared)
    return shared
