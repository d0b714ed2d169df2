"""Where the chosen tables know nothing of a crop or region just written, it is said at once."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from places import box, polygon

from loamwright import files, upkeep
from loamwright.errors import InputError, Level
from loamwright.land import Plot
from loamwright.values import PropertyInfo

TODAY = dt.date(2026, 4, 20)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    files.create(path, PropertyInfo("Own", 2026))
    with files.edit(path) as editor:
        editor.put_plots([Plot("P1", "", polygon(box(0, 0, 100, 100)))])
    return path


def test_a_crop_no_chosen_guideline_names_is_told_with_near_names(path: Path) -> None:
    done = upkeep.add(path, "cropping", "P1", ["crop=alfalfa hy"], TODAY, "")
    assert "none of the chosen guidelines names 'alfalfa hy'" in [one.what for one in done.problems]
    assert "Did you mean" in done.problems[0].fix
    assert done.problems[0].level is Level.WARNING
    mended = upkeep.set_fields(path, "cropping", "P1", ["crop=red clover"], TODAY, "")
    assert mended.problems == ()


def test_a_region_no_lime_table_has_is_refused_with_those_it_has(path: Path) -> None:
    """The Minnesota lime table is printed for Area 1 and Area 2."""
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"has no region 'Area 7'.*Area 1, Area 2"):
        upkeep.set_fields(path, "settings", "", ["lime_region=Area 7"], TODAY, "")
    assert path.read_bytes() == before
    assert upkeep.set_fields(path, "settings", "", ["lime_region=Area 2"], TODAY, "").problems == ()
