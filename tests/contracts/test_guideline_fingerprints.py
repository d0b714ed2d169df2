"""No figure of a built-in edition changes unnoticed: each file is held to its SHA-256.

A slip of the hand is mended in the edition and in ``tests/published``, and the fingerprint
here is renewed in the same change. A new edition of a publication is a new folder, not a change.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from loamwright.files.guidelines import BUILT_IN

FINGERPRINTS = Path(__file__).parent.parent / "published" / "guidelines_fingerprints.json"


def fingerprint(path: Path) -> str:
    """Hash a text file whatever its line ends."""
    text = path.read_text(encoding="utf-8").replace("\r\n", "\n")
    return hashlib.sha256(text.encode()).hexdigest()


def found() -> dict[str, str]:
    """Hash every file of every built-in edition."""
    files = sorted(path for path in BUILT_IN.rglob("*") if path.is_file())
    return {path.relative_to(BUILT_IN).as_posix(): fingerprint(path) for path in files}


def test_built_in_editions_are_unchanged() -> None:
    assert found() == json.loads(FINGERPRINTS.read_text(encoding="utf-8"))
