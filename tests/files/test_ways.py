"""Ways and parts of plots come in by a map file, as plots and keep-outs do."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from places import box, polygon
from shapely.geometry import mapping

from loamwright import files, land
from loamwright.errors import InputError
from loamwright.files.intake import Imported, import_files
from loamwright.land import Plot
from loamwright.values import PropertyInfo

FT_M, LB_KG = 0.3048, 0.45359237


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    files.create(path, PropertyInfo("Own", 2026))
    with files.edit(path) as editor:
        editor.put_plots([Plot("P1", "", polygon(box(0, 0, 100, 100)))])
    return path


def take(path: Path, *features: tuple[dict[str, Any], dict[str, Any]]) -> Imported:
    file = path.with_name("map.geojson")
    listed = [{"type": "Feature", "geometry": shape, "properties": words} for shape, words in features]
    file.write_text(json.dumps({"type": "FeatureCollection", "features": listed}))
    return import_files(path, [file])


TRACK = {"type": "LineString", "coordinates": [[-93.05, 46.05], [-93.049, 46.051]]}
GATE = {"type": "Point", "coordinates": [-93.05, 46.05]}


def test_ways_come_in_with_width_and_limit(path: Path) -> None:
    take(
        path,
        (TRACK, {"kind": "track", "name": "creek path", "width": "10 ft"}),
        (GATE, {"kind": "Bridge", "way_id": "B1", "load_limit": "8 ton"}),
    )
    track, bridge = sorted(files.load(path).ways, key=lambda way: way.kind, reverse=True)
    assert (track.way_id, track.kind, track.name) == ("way-1", "track", "creek path")
    assert track.width_m == pytest.approx(10 * FT_M)
    assert (bridge.way_id, bridge.kind) == ("B1", "bridge")
    assert bridge.load_limit_kg == pytest.approx(8 * 2000 * LB_KG)
    again = take(path, (GATE, {"way_id": "B1", "name": "plank bridge", "kind": "bridge"}))
    assert [one.fields for one in again.differences] == [(("name", "—", "plank bridge"),)]
    assert files.load(path).ways[-1].load_limit_kg == bridge.load_limit_kg  # what is not stated is kept


def test_a_part_is_cut_to_its_plot(path: Path) -> None:
    """The square reaches 20 m beyond the plot's 100 m: 50 m × 100 m of it are inside."""
    found = take(
        path, (mapping(polygon(box(50, 0, 120, 100))), {"part_id": "P1/east", "plot": "p1", "name": "east"})
    )
    (part,) = files.load(path).parts
    assert (part.part_id, part.plot_id, part.name) == ("P1/east", "P1", "east")
    assert float(land.areas_m2([part.shape])[0]) == pytest.approx(50 * 100, rel=2e-3)
    assert "it reaches beyond plot p1" in [one.what for one in found.problems]


@pytest.mark.parametrize(
    ("shape", "words", "said"),
    [
        (TRACK, {"way_id": "W1", "kind": "road"}, "feature 1.*kind: 'road'"),
        (TRACK, {"way_id": "W1"}, "feature 1.*kind: it is not said what it is"),
        (GATE, {"way_id": "W1", "kind": "gate", "width": "wide"}, "feature 1.*width: 'wide'"),
        (
            mapping(polygon(box(0, 0, 9, 9))),
            {"part_id": "x", "plot": "P7", "name": "n"},
            "there is no plot 'P7'",
        ),
        (
            mapping(polygon(box(900, 0, 909, 9))),
            {"part_id": "x", "plot": "P1", "name": "n"},
            "outside the plot",
        ),
    ],
)
def test_what_cannot_be_is_named_and_nothing_is_taken(
    path: Path, shape: dict[str, Any], words: dict[str, Any], said: str
) -> None:
    before = path.read_bytes()
    with pytest.raises(InputError, match=said):
        take(path, (shape, words))
    assert path.read_bytes() == before
