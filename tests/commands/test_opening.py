"""The icon on the desktop: a desktop entry as the freedesktop.org specification writes it (version 1.5)."""

from __future__ import annotations

import configparser
import sys
from pathlib import Path

import pytest

from loamwright.commands import opening


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="the entry is for Linux desktops")
def test_the_icon_starts_the_app_on_this_property(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DESKTOP_DIR", str(tmp_path / "Desktop"))
    monkeypatch.setattr(opening.shutil, "which", lambda _: None)
    path = tmp_path / 'my "100 %" $land.gpkg'
    path.touch()
    entry = opening.put_shortcut(path)
    reader = configparser.ConfigParser(interpolation=None)
    reader.optionxform = str  # type: ignore[assignment, method-assign] # keys keep their case
    reader.read_string(entry.read_text())
    section = reader["Desktop Entry"]
    assert section["Type"] == "Application"
    # Undone by hand after the specification: string escapes first, then the quotes of Exec, then %%.
    line = section["Exec"].replace("\\\\", "\\")
    words, word, inside, i = [], "", False, 0
    while i < len(line):
        if line[i] == "\\":
            word, i = word + line[i + 1], i + 1
        elif line[i] == '"':
            if inside:
                words.append(word.replace("%%", "%"))
            word, inside = "", not inside
        elif inside:
            word += line[i]
        i += 1
    assert words == [sys.executable, "-m", "loamwright", "serve", str(path.resolve())]
    assert entry.stat().st_mode & 0o100
