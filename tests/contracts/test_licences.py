"""Every library that comes with loamwright says under which licence it does."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

COMMAND = Path(__file__).parents[2] / ".ci" / "licences.py"


def test_every_library_states_its_licence() -> None:
    """Three as their own projects publish them: two that are asked for, and one behind another."""
    done = subprocess.run([sys.executable, COMMAND], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    of = {}
    for line in done.stdout.splitlines():
        if line.startswith("| ") and "packages" not in line:
            stated, names = (part.strip() for part in line.strip("|").split("|"))
            of |= dict.fromkeys(names.split(", "), stated)
    assert "MIT" in of["folium"]
    assert "BSD" in of["jinja2"]
    assert of["certifi"].startswith(("Mozilla Public License 2.0", "MPL-2.0"))  # behind pyogrio
