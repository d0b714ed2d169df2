"""From the features of a file to plots, crops and keep-outs; every bad value named where it stands."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
import shapely
from places import HOME, box, place, polygon, square

from loamwright.errors import Level, Problem, has_errors
from loamwright.files.plots import keepouts_from_shapes, looks_like, plots_from_shapes
from loamwright.files.vectors import Feature, LayerFeature, ShapeFile, read_shapes, write_layer
from loamwright.land.acreage import areas
from loamwright.land.geometry import measure_boundary
from loamwright.units import FT_M
from loamwright.values import Quantity


def shapes(*features: tuple[shapely.Geometry, Mapping[str, str]], name: str = "land.geojson") -> ShapeFile:
    made = []
    for number, (shape, words) in enumerate(features, start=1):
        track = shape.geom_type.endswith("LineString")
        made.append(Feature(f"{name}, feature {number}", words, shape, track))
    return ShapeFile(Path(name), tuple(made))


def errors(problems: tuple[Problem, ...]) -> list[str]:
    return [str(problem) for problem in problems if problem.level is Level.ERROR]


def squares(*words: Mapping[str, str]) -> ShapeFile:
    """Return one square per plot, 200 m apart."""
    return shapes(*((square(100, west=200.0 * number), facts) for number, facts in enumerate(words)))


WALK = shapely.LineString([place(corner) for corner in box(0, 0, 60, 80)])


# Plots ------------------------------------------------------------------------------------------------


def test_every_column_of_a_plot() -> None:
    lon, lat = place((50, -20))
    read = plots_from_shapes(
        squares(
            {
                "plot_id": "A1", "name": "Pine Flat", "crop": "red clover", "previous_crop": "oats",
                "previous_stand": "4-5 plants/ft2", "yield_goal": "2 ton/acre", "legume_pct": "40%",
                "seeding": "Yes", "season": "2025", "notes": "wet end", "access": "by the gate",
                "entrance": f"{lon}, {lat}", "weight": "2", "soil": "sandy loam",
            }
        ),
        2026,
        3.0,
    )  # fmt: skip
    (plot,) = read.plots
    assert (plot.plot_id, plot.name, plot.notes, plot.access) == ("A1", "Pine Flat", "wet end", "by the gate")
    assert plot.entrance == pytest.approx((lon, lat))
    assert plot.weight == 2.0
    assert plot.area_se_m2 is None
    assert dict(plot.extra) == {"soil": "sandy loam"}
    assert measure_boundary(plot.boundary).area_m2 == pytest.approx(10_000, rel=1e-6)
    (cropping,) = read.croppings
    assert cropping.plot_id == "A1"
    assert cropping.season == 2025
    assert (cropping.crop, cropping.previous_crop) == ("red clover", "oats")
    assert cropping.previous_stand == "4-5 plants/ft2"
    assert cropping.yield_goal == Quantity(2.0, "ton/acre")
    assert cropping.legume_pct == 40.0
    assert cropping.seeding is True
    (note,) = read.problems
    assert note.level is Level.NOTE
    assert note.where == "land.geojson"
    assert "soil" in note.what


def test_blank_is_not_stated_and_never_zero() -> None:
    read = plots_from_shapes(squares({"plot_id": "A1"}), 2026, 3.0)
    assert read.problems == ()
    assert read.croppings == ()
    (plot,) = read.plots
    assert plot.name == "A1"
    assert (plot.entrance, plot.area_se_m2, plot.weight) == (None, None, 1.0)
    (cropping,) = plots_from_shapes(squares({"plot_id": "A1", "crop": "rye"}), 2026, 3.0).croppings
    assert cropping.season == 2026
    assert (cropping.yield_goal, cropping.legume_pct, cropping.seeding) == (None, None, None)


@pytest.mark.parametrize(
    "words",
    [
        {"PLOT_ID": "7", "Field Name": "Pine", "Crop": "rye", "Previous-Crop": "oats"},
        {"Plot No": "7", "TITLE": "Pine", "crop_name": "rye", "previous_c": "oats"},
        {"id": "7", "label": "Pine", "CROP": "rye", "last crop": "oats"},
    ],
)
def test_columns_go_by_other_names(words: dict[str, str]) -> None:
    read = plots_from_shapes(squares(words), 2026, 3.0)
    assert read.problems == ()
    assert (read.plots[0].plot_id, read.plots[0].name) == ("7", "Pine")
    assert (read.croppings[0].crop, read.croppings[0].previous_crop) == ("rye", "oats")


def test_the_exact_name_wins_over_an_alias_and_the_other_is_kept() -> None:
    read = plots_from_shapes(squares({"id": "99", "plot_id": "A1"}), 2026, 3.0)
    assert read.plots[0].plot_id == "A1"
    assert dict(read.plots[0].extra) == {"id": "99"}


BAD = [
    ("yield_goal", "2", "'2' needs a number and a unit"),
    ("yield_goal", "lots", "'lots'"),
    ("yield_goal", "-2 ton/acre", "'-2 ton/acre' is not more than zero"),
    ("legume_pct", "140", "'140' is not between 0 and 100"),
    ("legume_pct", "most", "'most' is not a number"),
    ("seeding", "maybe", "'maybe' is neither yes nor no"),
    ("season", "next", "'next' is not a calendar year"),
    ("weight", "0", "'0' is not more than zero"),
    ("weight", "high", "'high' is not a number"),
    ("entrance", "the gate", "'the gate'"),
    ("entrance", "-93.05", "'-93.05' is not a longitude and a latitude"),
    ("entrance", "46.05, -93.05", "they look swapped"),
]


@pytest.mark.parametrize(("column", "text", "said"), BAD)
def test_a_bad_value_names_feature_column_and_text_and_drops_the_plot(
    column: str, text: str, said: str
) -> None:
    read = plots_from_shapes(
        squares({"plot_id": "A1", "crop": "rye", column: text}, {"plot_id": "B2"}), 2026, 3.0
    )
    (error,) = [problem for problem in read.problems if problem.level is Level.ERROR]
    assert error.where == f"land.geojson, feature 1, {column}"
    assert said in error.what
    assert error.fix
    assert [plot.plot_id for plot in read.plots] == ["B2"]
    assert read.croppings == ()


def test_ten_bad_features_give_ten_problems() -> None:
    read = plots_from_shapes(
        squares(*({"plot_id": f"P{n}", "weight": f"w{n}"} for n in range(10))), 2026, 3.0
    )
    assert read.plots == ()
    assert len(errors(read.problems)) == 10
    assert all(f"'w{n}'" in error for n, error in enumerate(errors(read.problems)))


def test_a_repeated_id_is_refused_and_names_both() -> None:
    read = plots_from_shapes(squares({"plot_id": "A1"}, {"plot_id": "A1"}, {"plot_id": "a1"}), 2026, 3.0)
    (error,) = errors(read.problems)
    assert error.startswith(
        "land.geojson, feature 2, plot_id: plot_id 'A1' is already used by land.geojson, feature 1"
    )
    assert [plot.plot_id for plot in read.plots] == ["A1", "a1"]
    (warning,) = [problem for problem in read.problems if problem.level is Level.WARNING]
    assert "'a1' differs from 'A1' only in capitals" in warning.what


def test_the_same_boundary_twice_is_refused_and_names_both() -> None:
    read = plots_from_shapes(
        shapes((square(100), {"plot_id": "A1"}), (square(100), {"plot_id": "B2", "crop": "rye"})), 2026, 3.0
    )
    (error,) = errors(read.problems)
    assert "feature 2: plot 'B2' has the same boundary as plot 'A1'" in error
    assert "feature 1" in error
    assert [plot.plot_id for plot in read.plots] == ["A1"]
    assert read.croppings == ()


def test_features_without_ids() -> None:
    named = squares({"name": "Pine"}, {"name": "Oak"})
    read = plots_from_shapes(named, 2026, 3.0)
    assert [plot.plot_id for plot in read.plots] == ["Pine", "Oak"]
    assert [problem.level for problem in read.problems] == [Level.NOTE]
    assert "names are used as ids" in read.problems[0].what
    # Once a file has ids, a feature without one is a fault even when it is named.
    (error,) = errors(plots_from_shapes(squares({"plot_id": "A1"}, {"name": "Oak"}), 2026, 3.0).problems)
    assert "feature 2, plot_id: the feature has no plot_id" in error
    bare = squares({}, {"crop": "rye"})
    assert len(errors(plots_from_shapes(bare, 2026, 3.0).problems)) == 2
    numbered = plots_from_shapes(bare, 2026, 3.0, unnamed_ok=True)
    assert [plot.plot_id for plot in numbered.plots] == ["1", "2"]
    assert numbered.croppings[0].plot_id == "2"


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        (shapely.Point(HOME), "this is a Point"),
        (polygon([(0, 0), (100, 100), (100, 0), (0, 100)]), "crosses itself"),
        (polygon([(0, 0), (50, 50), (100, 100)]), "encloses 0."),
        (shapely.LineString([HOME, place((9, 9))]), "2 different places"),
    ],
)
def test_shapes_that_are_no_plot_are_named(shape: shapely.Geometry, said: str) -> None:
    read = plots_from_shapes(shapes((shape, {"plot_id": "A1"})), 2026, 3.0)
    assert read.plots == ()
    (error,) = errors(read.problems)
    assert error.startswith("land.geojson, feature 1: ")
    assert said in error


def test_a_line_is_a_walk_with_its_standard_error() -> None:
    """60 by 80 m by its corners and σ = 3 m: ± 300 m² (hand arithmetic in test_walks)."""
    read = plots_from_shapes(shapes((WALK, {"plot_id": "W1"})), 2026, 3.0)
    (plot,) = read.plots
    assert measure_boundary(plot.boundary).area_m2 == pytest.approx(4800, rel=1e-6)
    assert plot.area_se_m2 == pytest.approx(300, rel=1e-5)
    note = next(problem for problem in read.problems if problem.level is Level.NOTE)
    assert "1.19 acres ± 0.07 acres" in note.what  # 4800 and 300 over 4046.86
    assert "4 fixes good to 3 m each" in note.fix
    (measured,) = areas(read.plots, [])
    assert measured.area_se_m2 == plot.area_se_m2


def test_pieces_of_a_track_are_joined_when_near_and_refused_when_far() -> None:
    corners = [place(corner) for corner in box(0, 0, 60, 80)]
    near = shapely.MultiLineString([[corners[0], corners[1], place((60, 70))], [corners[2], corners[3]]])
    read = plots_from_shapes(shapes((near, {"plot_id": "W1"})), 2026, 3.0)
    assert measure_boundary(read.plots[0].boundary).area_m2 == pytest.approx(4800, rel=1e-6)
    far = shapely.MultiLineString([corners, [place((x + 500, y)) for x, y in box(0, 0, 60, 80)]])
    (error,) = errors(plots_from_shapes(shapes((far, {"plot_id": "W1"})), 2026, 3.0).problems)
    assert "in 2 pieces" in error
    assert "506 m apart" in error  # from (0, 80) to (500, 0): √(500² + 80²)


def test_an_entrance_far_from_its_plot() -> None:
    lon, lat = HOME
    origin = (85.0, 46.05)  # a place whose longitude could be a latitude
    swapped = shapes((square(100, origin=origin), {"plot_id": "A1", "entrance": "46.05 85.0"}))
    (error,) = errors(plots_from_shapes(swapped, 2026, 3.0).problems)
    assert "'46.05 85.0'" in error
    assert "the other way round" in error
    away = squares({"plot_id": "A1", "entrance": f"{lon}, {lat - 1}"})
    read = plots_from_shapes(away, 2026, 3.0)
    assert len(read.plots) == 1
    assert read.problems[0].level is Level.WARNING
    assert "111 km from the plot" in read.problems[0].what


def test_problems_of_reading_come_along() -> None:
    noted = Problem("land.geojson", "its coordinates are in another system", "Converted.", Level.NOTE)
    given = squares({"plot_id": "A1"})
    assert plots_from_shapes(ShapeFile(given.path, given.features, (noted,)), 2026, 3.0).problems == (noted,)
    assert keepouts_from_shapes(ShapeFile(given.path, (), (noted,))).problems == (noted,)


def test_plots_survive_a_shapefile(tmp_path: Path) -> None:
    words = {
        "plot_id": "A1",
        "name": "Pine",
        "crop": "rye",
        "previous_crop": "oats",
        "previous_stand": "thin",
    }
    write_layer(tmp_path / "plots.shp", "shapefile", [LayerFeature(square(100), words)], "plots")
    (cropping,) = plots_from_shapes(read_shapes(tmp_path / "plots.shp"), 2026, 3.0).croppings
    assert (cropping.previous_crop, cropping.previous_stand) == ("oats", "thin")


# Keep-outs ---------------------------------------------------------------------------------------------

CREEK = shapely.LineString([place((0, 0)), place((50, 300))])
WELL = shapely.Point(HOME)


def test_every_column_of_a_keepout() -> None:
    read = keepouts_from_shapes(
        shapes(
            (
                CREEK,
                {
                    "keepout_id": "K1",
                    "name": "Alder Fork",
                    "kind": "creek",
                    "setback": "50 ft",
                    "notes": "flows",
                },
            )
        )
    )
    (creek,) = read.keepouts
    assert (creek.keepout_id, creek.name, creek.kind, creek.notes) == ("K1", "Alder Fork", "creek", "flows")
    assert creek.setback_m == pytest.approx(50 * FT_M, rel=1e-12)
    assert creek.setback_text == "50 ft"
    assert creek.shape == CREEK
    assert read.problems == ()


def test_a_blank_setback_stays_unknown_and_zero_stays_zero() -> None:
    read = keepouts_from_shapes(
        shapes(
            (WELL, {"keepout_id": "W", "kind": "well"}),
            (CREEK, {"keepout_id": "C", "kind": "creek", "setback": "0 ft"}),
        )
    )
    assert [keepout.setback_m for keepout in read.keepouts] == [None, 0.0]
    assert [keepout.setback_text for keepout in read.keepouts] == ["", "0 ft"]


def test_ids_are_made_from_the_kind_and_said() -> None:
    read = keepouts_from_shapes(
        shapes(
            (WELL, {"kind": "Dug well"}),
            (CREEK, {"kind": "creek", "keepout_id": "creek-1"}),
            (CREEK, {"kind": "creek"}),
            (WELL, {"kind": "Dug well"}),
            (WELL, {"name": "what is this"}),
        )
    )
    idents = [keepout.keepout_id for keepout in read.keepouts]
    assert idents == ["dug_well-1", "creek-1", "creek-2", "dug_well-2", "keepout-1"]
    note = next(problem for problem in read.problems if problem.level is Level.NOTE)
    assert "dug_well-1, creek-2, dug_well-2, keepout-1" in note.what
    warning = next(problem for problem in read.problems if problem.level is Level.WARNING)
    assert warning.where == "land.geojson, feature 5, kind"


@pytest.mark.parametrize(
    ("setback", "said"),
    [
        ("50", "'50' needs a number and a unit"),
        ("-50 ft", "'-50 ft' is less than zero"),
        ("3 lb", "'3 lb'"),
        ("far", "'far'"),
    ],
)
def test_a_bad_setback_is_named_and_its_keepout_left_out(setback: str, said: str) -> None:
    read = keepouts_from_shapes(shapes((WELL, {"keepout_id": "W", "kind": "well", "setback": setback})))
    assert read.keepouts == ()
    (error,) = errors(read.problems)
    assert error.startswith("land.geojson, feature 1, setback: ")
    assert said in error


def test_a_repeated_keepout_id_is_refused() -> None:
    twice = ((WELL, {"keepout_id": "K", "kind": "well"}), (CREEK, {"keepout_id": "K", "kind": "creek"}))
    read = keepouts_from_shapes(shapes(*twice))
    assert len(read.keepouts) == 1
    assert "keepout_id 'K' is already used by land.geojson, feature 1" in errors(read.problems)[0]


def test_other_columns_of_a_keepout_go_to_its_notes() -> None:
    read = keepouts_from_shapes(
        shapes((WELL, {"keepout_id": "W", "kind": "well", "note": "old", "depth": "20 ft"}))
    )
    assert read.keepouts[0].notes == "old; depth: 20 ft"
    assert not has_errors(read.problems)
    assert "depth" in read.problems[0].what


def test_a_crossed_keepout_keeps_all_its_ground() -> None:
    crossed = polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    read = keepouts_from_shapes(shapes((crossed, {"keepout_id": "P", "kind": "pond"})))
    assert read.problems[0].level is Level.NOTE
    assert measure_boundary(read.keepouts[0].shape).area_m2 == pytest.approx(5000, rel=1e-5)


# What a file holds ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "kind"),
    [
        (shapes((square(100), {"plot_id": "A"})), "plots"),
        (shapes((square(100), {"name": "x", "crop": "rye"})), "plots"),
        (shapes((square(100), {"name": "x", "kind": "pond"})), "keepouts"),
        (shapes((CREEK, {"name": "x", "Setback": "5 ft"})), "keepouts"),
        (shapes((square(100), {"name": "x"}), name="Keep-outs 2026.kml"), "keepouts"),
        (shapes((square(100), {"name": "x"})), "plots"),
        (shapes((WALK, {"name": "x"}), name="track.gpx"), "plots"),
        (shapes((WELL, {"name": "x"})), None),  # a well, a gate, a loading place: asked
        (shapes((WELL, {"name": "x"}), (square(100), {"name": "y"})), None),
        (shapes(), None),
    ],
)
def test_what_a_file_most_likely_holds(made: ShapeFile, kind: str | None) -> None:
    assert looks_like(made) == kind
