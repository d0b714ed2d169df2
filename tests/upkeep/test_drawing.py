"""Drawing as changes of a property: ids never used again, one journal entry each, undo, old states asked."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
import shapely
from places import box, polygon

from loamwright import files, land, upkeep
from loamwright.errors import InputError
from loamwright.upkeep.drawing import free_plot_id
from loamwright.values import PropertyInfo

TODAY = dt.date(2026, 5, 4)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "fields.gpkg"
    files.create(path, PropertyInfo("Drawn", 2026))
    return path


def plots(path: Path) -> dict[str, shapely.Polygon]:
    return {plot.plot_id: plot.boundary for plot in files.load(path).plots}


def acres(shape: shapely.Polygon) -> float:
    return float(land.areas_m2([shape])[0]) / 4046.8564224


def test_a_drawn_plot_has_its_acres_and_the_next_free_id(path: Path) -> None:
    # 100 m × 80.937128448 m = 2 international acres.
    done, plot_id = upkeep.draw_plot(path, polygon(box(0, 0, 100, 80.937128448)), "Home", TODAY, "")
    assert plot_id == "P-1"
    assert done.sentence == "Drew plot P-1, 2.00 acres."
    assert acres(plots(path)["P-1"]) == pytest.approx(2, rel=1e-6)
    _, second = upkeep.draw_plot(path, polygon(box(200, 0, 300, 100)), "", TODAY, "")
    upkeep.retire(path, "plot", second, "gone to the road", TODAY, "")
    _, third = upkeep.draw_plot(path, polygon(box(400, 0, 500, 100)), "", TODAY, "")
    assert (second, third) == ("P-2", "P-3")  # an id is never used again


def test_ids_follow_the_style_there_is(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 80)), "", TODAY, "")
    upkeep.rename(path, "plot", "P-1", "HILL-09", TODAY, "")
    assert free_plot_id(files.load(path)) in ("HILL-10", "P-2")


@pytest.mark.parametrize(
    ("corners", "why"),
    [
        ([(0, 0), (100, 100), (100, 0), (0, 100)], "crosses"),
        ([(0, 0), (0.5, 0), (0.5, 0.5), (0, 0.5)], "encloses"),
    ],
)
def test_what_is_no_plot_is_not_kept(path: Path, corners: list[tuple[float, float]], why: str) -> None:
    before = path.read_bytes()
    with pytest.raises(InputError, match=why):
        upkeep.draw_plot(path, polygon(corners), "", TODAY, "")
    assert path.read_bytes() == before


def test_the_same_ground_twice_is_refused_and_an_overlap_is_told(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "", TODAY, "")
    with pytest.raises(InputError, match="same boundary"):
        upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "", TODAY, "")
    done, _ = upkeep.draw_plot(path, polygon(box(80, 0, 200, 100)), "", TODAY, "")
    (told,) = done.problems
    assert "overlap by 2,000 m²" in told.what  # 20 m × 100 m
    drawn = upkeep.measure_drawn(files.load(path), polygon(box(90, 0, 200, 100)), own=("P-2",))
    assert drawn.area_m2 == pytest.approx(11_000, rel=1e-6)
    assert "1,000 m²" in drawn.problems[0].what


def test_redrawing_keeps_the_boundary_before_and_is_taken_back(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "", TODAY, "")
    first = plots(path)["P-1"]
    was = upkeep.shape_print(first)
    done = upkeep.redraw_plot(path, "P-1", polygon(box(0, 0, 100, 50)), was, TODAY, "")
    assert "→ 1.24 acres" in done.sentence  # 5,000 m² / 4,046.8564224 m²
    with pytest.raises(InputError, match="redrawn elsewhere") as asked:
        upkeep.redraw_plot(path, "P-1", polygon(box(0, 0, 100, 60)), was, TODAY, "")
    assert asked.value.problems[0].choices == ("mine", "theirs")
    upkeep.undo(path, None, TODAY, "")
    assert plots(path)["P-1"].equals(first)


def test_a_split_is_one_change_and_neighbours_still_match(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "West", TODAY, "")
    upkeep.draw_plot(path, polygon(box(100, 0, 200, 100)), "East", TODAY, "")
    upkeep.add(path, "cropping", "P-1", ["crop=oats"], TODAY, "")
    count = len(upkeep.changes(path))
    line = shapely.LineString(polygon([(-5, 50), (205 / 2, 50), (50, 51)]).exterior.coords[:2])
    done = upkeep.split_plot(path, "P-1", line, "", TODAY, "")
    assert len(upkeep.changes(path)) == count + 1
    found = plots(path)
    assert set(found) == {"P-1", "P-2", "P-3"}
    assert acres(found["P-1"]) + acres(found["P-3"]) == pytest.approx(10_000 / 4046.8564224, rel=1e-6)
    assert shapely.coverage_is_valid(list(found.values()))
    assert [c.crop for c in files.load(path).croppings] == ["oats", "oats"]
    assert "stay with it" in done.problems[0].what
    upkeep.merge_plots(path, ["P-1", "P-3"], TODAY, "")
    assert set(plots(path)) == {"P-1", "P-2"}
    assert acres(plots(path)["P-1"]) == pytest.approx(10_000 / 4046.8564224, rel=1e-6)


def test_a_hole_a_cut_and_a_closed_gap(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "", TODAY, "")
    upkeep.draw_plot(path, polygon(box(101, 0, 200, 100)), "", TODAY, "")
    upkeep.cut_hole(path, "P-1", polygon(box(40, 40, 60, 60)), "", TODAY, "")
    assert acres(plots(path)["P-1"]) == pytest.approx(9_600 / 4046.8564224, rel=1e-6)
    upkeep.close_gap(path, "P-1", "P-2", 3.0, TODAY, "")
    found = plots(path)
    assert shapely.coverage_is_valid(list(found.values()))
    # The strip of 1 m by 100 m between them went to one of the two.
    assert sum(map(acres, found.values())) == pytest.approx((9_600 + 10_000) / 4046.8564224, rel=1e-4)
    upkeep.draw_plot(path, polygon(box(150, -50, 250, 50)), "", TODAY, "")
    upkeep.cut_out(path, "P-3", "P-2", TODAY, "")
    assert plots(path)["P-3"].intersection(plots(path)["P-2"]).area < 1e-15


def test_keep_outs_ways_and_parts(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "", TODAY, "")
    place = shapely.Point(polygon(box(50, 50, 60, 60)).exterior.coords[0])
    done = upkeep.draw_keepout(path, place, "well", "", "50 ft", TODAY, "")
    assert done.problems == ()
    assert files.load(path).keepouts[0].setback_m == pytest.approx(15.24)  # 50 × 0.3048 m
    unknown = upkeep.draw_keepout(path, place, "sinkhole", "", "", TODAY, "")
    assert "not stated" in unknown.problems[0].what
    with pytest.raises(InputError, match="fifty"):
        upkeep.draw_keepout(path, place, "well", "", "fifty", TODAY, "")
    upkeep.draw_way(path, place, "gate", "North gate", TODAY, "")
    assert [(one.way_id, one.kind) for one in files.load(path).ways] == [("W-1", "gate")]
    upkeep.draw_part(path, "P-1", polygon(box(50, -20, 120, 120)), "east", TODAY, "")
    (part,) = files.load(path).parts
    assert acres(part.shape) == pytest.approx(5_000 / 4046.8564224, rel=1e-6)
    with pytest.raises(InputError, match="already"):
        upkeep.draw_part(path, "P-1", polygon(box(50, 0, 60, 10)), "East", TODAY, "")


def test_a_neighbour_gets_the_corners_that_lie_on_its_edge(path: Path) -> None:
    """Drawn beside, redrawn against, cut out of: every border is shared digit by digit, in one change."""
    upkeep.draw_plot(path, shapely.box(-93.05, 46.05, -93.049, 46.052), "", TODAY, "")
    beside = shapely.box(-93.049, 46.0505, -93.048, 46.0515)  # two corners within the long edge
    done, _ = upkeep.draw_plot(path, beside, "", TODAY, "")
    assert shapely.coverage_is_valid(list(plots(path).values()))
    assert len(plots(path)["P-1"].exterior.coords) == 5 + 2
    upkeep.undo(path, done.change_id, TODAY, "")
    assert len(plots(path)["P-1"].exterior.coords) == 5
    upkeep.draw_plot(path, shapely.box(-93.0485, 46.0505, -93.048, 46.0515), "", TODAY, "")
    (second,) = set(plots(path)) - {"P-1"}
    upkeep.redraw_plot(path, second, beside, "", TODAY, "")
    assert shapely.coverage_is_valid(list(plots(path).values()))
    _, third = upkeep.draw_plot(path, shapely.box(-93.0495, 46.0495, -93.047, 46.0508), "", TODAY, "")
    for other in ("P-1", second):
        upkeep.cut_out(path, third, other, TODAY, "")
    assert shapely.coverage_is_valid(list(plots(path).values()))


def test_a_hole_needs_ground(path: Path) -> None:
    upkeep.draw_plot(path, polygon(box(0, 0, 100, 100)), "", TODAY, "")
    line = shapely.LineString(polygon(box(10, 10, 60, 60)).exterior.coords[:3])
    with pytest.raises(InputError, match="no ground but a line"):
        upkeep.cut_hole(path, "P-1", line, "", TODAY, "")
    with pytest.raises(InputError, match="boundary"):
        upkeep.draw_plot(path, line, "", TODAY, "")
