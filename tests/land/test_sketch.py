"""Drawings in metres: north up, to scale, cut off at the sheet."""

from __future__ import annotations

import pytest
import shapely
from places import HOME, box, place, polygon, square

from loamwright.land.acreage import areas
from loamwright.land.records import KeepOut, Plot
from loamwright.land.sketch import Line, outline, overview

PLOT = Plot("A1", "Pine Flat", polygon(box(0, 0, 60, 200), box(20, 20, 40, 40)), entrance=place((30, -25)))
CREEK = KeepOut("K1", "Alder Fork", "creek", shapely.LineString([place((10, -5000)), place((10, 5000))]), 5.0)
WELL = KeepOut("K2", "Dug well", "well", shapely.Point(place((50, 150))), None)
FAR = KeepOut("K3", "Heron Pond", "pond", square(50, west=3000), 10.0)


def area_of(ring: Line) -> float:
    return float(shapely.Polygon(ring).area)


def test_an_outline_is_to_scale_and_north_up() -> None:
    (measured,) = areas([PLOT], [CREEK, WELL, FAR])
    drawn = outline(measured, PLOT, [CREEK, WELL, FAR], cores=[place((30, 100)), place((30, 120))])
    (plot,) = drawn.plots
    outer, hole = plot.rings
    assert area_of(outer) == pytest.approx(12_000, rel=1e-6)
    assert area_of(hole) == pytest.approx(400, rel=1e-6)
    assert outer[0] == outer[-1]
    # Origin in the middle of the plot: corners at ±30, ±100.
    xs, ys = zip(*outer, strict=True)
    assert (min(xs), max(xs), min(ys), max(ys)) == pytest.approx((-30, 30, -100, 100), abs=0.01)
    assert drawn.origin == pytest.approx(place((30, 100)), abs=1e-7)
    assert plot.entrance == pytest.approx((0, -125), abs=0.01)
    assert drawn.cores == (pytest.approx((0, 0), abs=0.01), pytest.approx((0, 20), abs=0.01))
    # The creek's 10 m band is gone from the spread area: 10 · 200 off the west, the hole stays.
    spread = [abs(area_of(ring)) for ring in plot.spread_rings]
    assert max(spread) == pytest.approx(45 * 200, rel=1e-4)  # east of the band, hole still to be taken
    assert min(drawn.swath_bearing_deg or 0, 180 - (drawn.swath_bearing_deg or 0)) < 0.1


def test_the_sheet_holds_the_plot_and_its_entrance_and_cuts_the_rest() -> None:
    (measured,) = areas([PLOT], [CREEK, WELL, FAR])
    drawn = outline(measured, PLOT, [CREEK, WELL, FAR])
    west, south, east, north = drawn.extent
    # Height 225 with the entrance; margin max(8, 8 % of 225) = 18.
    assert (west, south, east, north) == pytest.approx((-48, -143, 48, 118), abs=0.1)
    creek, well = drawn.keepouts
    assert [creek.keepout_id, well.keepout_id] == ["K1", "K2"]
    (line,) = creek.lines
    assert {round(y) for _, y in line} == {-143, 118}
    assert creek.setback_known
    assert creek.setback_rings
    assert well.spots == (pytest.approx((20, 50), abs=0.01),)
    assert not well.setback_known
    assert well.setback_rings == ()


def test_an_overview_shows_every_plot_and_no_swaths() -> None:
    other = Plot("B2", "Oak Bench", square(100, west=500))
    pond = KeepOut("K4", "Heron Pond", "pond", square(40, west=300), 10.0)
    drawn = overview([PLOT, other], [pond, FAR])
    assert [plot.plot_id for plot in drawn.plots] == ["A1", "B2"]
    assert all(plot.spread_rings == () for plot in drawn.plots)
    assert drawn.swath_bearing_deg is None
    (shown,) = drawn.keepouts
    assert area_of(shown.rings[0]) == pytest.approx(1600, rel=1e-5)
    # 40² + 4·40·10 + π·10², the circle within 0.1 %
    assert area_of(shown.setback_rings[0]) == pytest.approx(1600 + 1600 + 314.16, abs=0.4)
    for plot in drawn.plots:
        assert shapely.Polygon(plot.rings[0]).contains(shapely.Point(plot.label))
    with pytest.raises(ValueError, match="at least one vertex"):
        overview([], [])


def test_a_plot_with_nothing_left_is_still_drawn() -> None:
    everywhere = KeepOut("K", "", "well", shapely.Point(HOME), 1000.0)
    (measured,) = areas([PLOT], [everywhere])
    drawn = outline(measured, PLOT, [everywhere])
    assert drawn.plots[0].spread_rings == ()
    assert drawn.plots[0].rings
    assert drawn.swath_bearing_deg is None


def test_a_setback_may_reach_in_where_its_keep_out_does_not() -> None:
    """The plot is 60 m wide from x = 0; a well at x = 400 m with 350 m around it reaches to x = 50 m."""
    far = KeepOut("K4", "Far well", "well", shapely.Point(place((400, 150))), 350.0)
    (measured,) = areas([PLOT], [far])
    (shown,) = outline(measured, PLOT, [far]).keepouts
    assert (shown.rings, shown.lines, shown.spots) == ((), (), ())
    assert shown.setback_rings
