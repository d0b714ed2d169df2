"""A file measured part by part says what it says when it is read as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import pytest
import shapely
from command_line import run
from places import HOME, box, place, polygon, ring_wkb

from loamwright import files
from loamwright.commands import data as data_view
from loamwright.errors import InputError, Level, Problem
from loamwright.files import LargeMeasured, Measured, large_maps, vectors

Features = Sequence[tuple[Any, Mapping[str, str | None]]]
#: One shape of every kind a plot file may hold, 400 m apart, each with its words.
SOUND = polygon(box(0, 0, 100, 100), box(20, 20, 50, 50))
FEATURES: Features = [
    (SOUND, {"plot_id": "A1", "name": "Pine"}),
    (polygon(box(400, 0, 500, 100)), {"plot_id": "A2", "name": None}),
    (polygon(box(480, 0, 600, 100)), {"plot_id": "A3", "name": "Oak"}),  # 20 m of A2
    (polygon([(800, 0), (900, 100), (900, 0), (800, 100)]), {"plot_id": "A4", "name": "bow-tie"}),
    (None, {"plot_id": "A5", "name": "no shape"}),
    (polygon(box(0, 400, 100, 500)), {"plot_id": "A1", "name": "id twice"}),
    (polygon(box(400, 400, 500, 500)), {"plot_id": None, "name": "no id"}),
    (polygon(box(400, 400, 500, 500)), {"plot_id": "A8", "name": "drawn twice"}),
    (polygon(box(800, 400, 800.5, 400.5)), {"plot_id": "A9", "name": "too small"}),
    (polygon([(0, 800), (100, 800), (100, 900), (100, 960), (100, 900), (0, 900)]), {"plot_id": "B1"}),
    (
        shapely.MultiPolygon([polygon(box(400, 800, 500, 900)), polygon(box(600, 800, 600.4, 900))]),
        {"plot_id": "B2", "name": "with a sliver"},
    ),
    (polygon(box(800, 800, 900, 900)), {"plot_id": "a3", "name": "capitals"}),
    (shapely.LineString([place(c) for c in box(0, 1200, 60, 1280)]), {"plot_id": "B4", "name": "walked"}),
    (shapely.Point(HOME), {"plot_id": "B5", "name": "a point"}),
    (polygon(box(400, 1200, 500, 1300), origin=(20.0, 75.0)), {"plot_id": "B6", "name": "north"}),
    (polygon(box(400, 1200, 500, 1300), origin=(20.0, 76.0)), {"plot_id": "B7", "name": "north too"}),
]
#: An unclosed ring, an unclosed bow-tie, and a triangle, a kind that is not read.
AS_DRAWN: Features = [
    (ring_wkb(box(0, 1600, 100, 1700)), {"plot_id": "C1", "name": "open"}),
    (
        ring_wkb([(400, 1600), (500, 1700), (500, 1600), (400, 1700)]),
        {"plot_id": "C2", "name": "open bow-tie"},
    ),
    (ring_wkb([(0, 0), (9, 0), (9, 9), (0, 0)], kind=17), {"plot_id": "C3", "name": "triangle"}),
]


def write(path: Path, features: Features, crs: str = "EPSG:4326") -> Path:
    shapes = [shapely.to_wkb(s) if isinstance(s, shapely.Geometry) else s for s, _ in features]
    names = list(dict.fromkeys(name for _, words in features for name in words))
    pyogrio.raw.write(
        str(path),
        np.array(shapes, dtype=object),
        [np.array([words.get(name) for _, words in features], dtype=object) for name in names],
        names,
        driver={".fgb": "FlatGeobuf", ".gpkg": "GPKG", ".shp": "ESRI Shapefile"}[path.suffix],
        geometry_type="Polygon" if path.suffix == ".shp" else "Unknown",
        crs=crs,
        layer_options={} if path.suffix == ".shp" else {"SPATIAL_INDEX": "NO"},
    )
    return path


@pytest.fixture
def in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take every file for a large one, three features at a time."""
    monkeypatch.setattr("loamwright.files.intake.LARGE", 1)
    monkeypatch.setattr(vectors, "PART", 3)


def both(path: Path, monkeypatch: pytest.MonkeyPatch, **more: Any) -> tuple[Measured, LargeMeasured]:
    whole = files.measure(path, season=2026, **more)
    monkeypatch.setattr("loamwright.files.intake.LARGE", 1)
    monkeypatch.setattr(vectors, "PART", 3)
    parted = files.measure(path, season=2026, **more)
    assert isinstance(whole, Measured)
    assert isinstance(parted, LargeMeasured)
    return whole, parted


def said(problems: tuple[Problem, ...]) -> list[str]:
    """Return problems in any order."""
    return sorted(map(str, problems))


@pytest.mark.parametrize("suffix", [".fgb", ".gpkg"])
def test_parts_say_what_the_whole_says(suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures to the last digit, the same plots left out, the same problems, of every kind."""
    path = write(tmp_path / f"land{suffix}", FEATURES)
    whole, parted = both(path, monkeypatch)
    assert len(parted) == len(whole) == 10
    for (name, area), (its_name, its_area) in zip(whole.rows(), parted.rows(), strict=True):
        assert (its_name, its_area.steps) == (name, area.steps)
        for figure in ("plot_id", "area_m2", "spread_area_m2", "perimeter_m", "parts", "holes", "area_se_m2"):
            assert getattr(its_area, figure) == getattr(area, figure), (name, figure)
    far = (
        "north of any cropland"  # in reading said once with the number of the others, here once in each part
    )
    assert [sum(far in text for text in said(found.problems)) for found in (whole, parted)] == [3, 4]
    left_out = [text for text in said(whole.problems) if far not in text]
    assert [text for text in said(parted.problems) if far not in text] == left_out
    texts = " ".join(left_out)
    for kind in ("overlap", "same boundary", "already used", "capitals", "sliver", "crosses itself"):
        assert kind in texts
    for kind in ("null geometry", "no area", "walked with GPS", "a Point", "touches itself"):
        assert kind in texts


@pytest.mark.filterwarnings("ignore:Registering non-standard")
def test_shapes_mended_or_not_read_are_told_alike(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, parted = both(write(tmp_path / "land.gpkg", [*FEATURES[:2], *AS_DRAWN]), monkeypatch)
    assert [area.plot_id for _, area in parted.rows()] == ["A1", "A2", "C1"]
    assert [area.area_m2 for _, area in parted.rows()] == [area.area_m2 for _, area in whole.rows()]
    assert said(parted.problems) == said(whole.problems)
    texts = " ".join(said(whole.problems))
    assert [texts.count(kind) for kind in ("not its first", "crosses itself", "cannot be read")] == [2, 1, 1]


def test_keepouts_cut_the_plots_of_a_large_file_alike(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "land.fgb", FEATURES)
    keepouts = write(
        tmp_path / "keepouts.gpkg",
        [
            (shapely.Point(place((0, 0))), {"keepout_id": "K1", "kind": "well", "setback": "50 ft"}),
            (shapely.Point(place((450, 960))), {"keepout_id": "K2", "kind": "pond", "setback": None}),
        ],
    )
    whole, parted = both(path, monkeypatch, keepouts_path=keepouts)
    figures = [
        [
            (area.plot_id, area.spread_area_m2, area.keepouts, area.missing_setbacks)
            for _, area in found.rows()
        ]
        for found in (whole, parted)
    ]
    assert figures[0] == figures[1]
    assert any(cut for _, _, cut, _ in figures[0])
    assert any(missing for *_, missing in figures[0])
    assert data_view.of(parted)["total_spread_area_m2"] == data_view.of(whole)["total_spread_area_m2"]


def test_coordinates_of_a_map_projection_are_turned_into_degrees(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    corners = [(500_000, 5_100_000), (500_100, 5_100_000), (500_100, 5_100_100), (500_000, 5_100_100)]
    shapes = [
        shapely.transform(shapely.Polygon(corners), lambda xy, n=n: xy + np.array([200 * n, 0]))
        for n in range(7)
    ]
    features = [(shape, {"plot_no": str(n)}) for n, shape in enumerate(shapes)]
    whole, parted = both(write(tmp_path / "utm.fgb", features, crs="EPSG:32615"), monkeypatch)
    assert [area.area_m2 for _, area in parted.rows()] == [area.area_m2 for _, area in whole.rows()]
    assert said(parted.problems) == said(whole.problems)
    assert [area.plot_id for _, area in parted.rows()] == ["0", "1", "2", "3", "4", "5", "6"]


@pytest.mark.parametrize(
    "words",
    [
        [{"title": "North"}, {"title": "South"}, {"title": None}, {"title": "North"}],
        [{"soil": "sand"}] * 4,
        [
            {"field_id": None, "id": "7", "label": "x"},
            {"field_id": "F", "id": "8"},
            {"id": None},
            {"id": "F"},
        ],
        [{"plot_id": "n/a", "name": "?"}, {"plot_id": "B" * 10_001}, {"plot_id": "-"}, {"plot_id": "D"}],
        [{"name": "n/a"}, {"name": "B" * 10_001}, {"name": "C"}, {"name": None}],
    ],
    ids=["names only", "neither ids nor names", "two columns of ids", "no real ids", "no real names"],
)
def test_ids_are_found_alike(
    words: list[dict[str, str | None]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shapes = [polygon(box(200 * n, 0, 200 * n + 100, 100)) for n in range(len(words))]
    path = write(tmp_path / "land.gpkg", list(zip(shapes, words, strict=True)))
    whole, parted = both(path, monkeypatch)
    ids = [(name, area.plot_id) for name, area in whole.rows()]
    assert [(name, area.plot_id) for name, area in parted.rows()] == ids
    unused = [text for text in said(whole.problems) if "not used here" not in text]
    assert said(parted.problems) == sorted(set(unused))  # a name that is the id too is told of twice


@pytest.mark.usefixtures("in_parts")
def test_a_file_without_a_usable_plot_is_refused(tmp_path: Path) -> None:
    bow_tie, words = FEATURES[3]
    with pytest.raises(InputError, match="crosses itself"):
        files.measure(write(tmp_path / "land.fgb", [(bow_tie, words)] * 4))


@pytest.mark.usefixtures("in_parts")
def test_progress_names_the_plots_and_the_stage(tmp_path: Path) -> None:
    told: list[str] = []
    files.measure(write(tmp_path / "land.fgb", FEATURES[:7]), progress=told.append)
    assert told[:3] == [f"measuring plot {n} of 7" for n in (1, 4, 7)]
    assert told[3:] == ["comparing neighbours"]


def test_which_files_can_be_read_in_parts(tmp_path: Path) -> None:
    path = write(tmp_path / "land.fgb", FEATURES[:3])
    assert vectors.count_parted(path) == 3
    assert vectors.count_parted(write(tmp_path / "land.shp", FEATURES[:2])) == 2
    assert vectors.count_parted(tmp_path / "none.fgb") == 0
    assert vectors.count_parted(path, layer="no such layer") == 0
    assert vectors.count_parted(tmp_path / "land.geojson") == 0
    (tmp_path / "broken.fgb").write_bytes(b"not a map")
    assert vectors.count_parted(tmp_path / "broken.fgb") == 0
    assert large_maps.LARGE >= vectors.PART


def test_the_command_prints_a_large_file_as_it_prints_a_small_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path / "land.fgb", FEATURES)
    whole, told = run("measure", path), run("measure", path, as_json=False)
    monkeypatch.setattr("loamwright.files.intake.LARGE", 1)
    parted = run("measure", path)
    assert (parted.code, parted.data["plots"]) == (whole.code, whole.data["plots"])
    assert parted.data["total_area_m2"] == whole.data["total_area_m2"]
    assert list(parted.data) == list(whole.data)
    assert told.text.split("error")[0] == run("measure", path, as_json=False).text.split("error")[0]
    assert {problem.level for problem in files.measure(path).problems} == set(Level)


def test_very_many_plots_are_printed_a_line_each(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from typer.testing import CliRunner

    from loamwright.commands.cli import app

    monkeypatch.setattr("loamwright.commands.text._LINES_FROM", 2)
    path = write(tmp_path / "land.fgb", [FEATURES[0], (FEATURES[1][0], {"plot_id": "A\t2", "name": "Fen"})])
    lines = CliRunner().invoke(app, ["measure", str(path)]).stdout.splitlines()
    assert lines[0].split("\t")[:4] == ["plot", "name", "area", "spread area"]
    assert lines[1].split("\t") == ["A1", "Pine", "2.25 acres", "2.25 acres", "", "1 hole"]
    assert lines[2].split("\t")[:3] == ["A 2", "Fen", "2.47 acres"]
    # 100² − 30² and 100² m²: 19,100 / 4,046.8564224 = 4.72.
    assert lines[3].split("\t")[1:4] == ["all plots", "4.72 acres", "4.72 acres"]
