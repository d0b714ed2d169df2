"""How big is a plot, where is it, and how much of it is spread?

The rooms, from the ground up: `records` (plots, crops on them, keep-outs, areas), `sizes` (area and length
of many polygons at once), `geometry` (shapes and the plane they are handled in), `acreage` (what is spread:
boundary less keep-outs and setbacks), `boundaries` (is it drawn well?), `walks` (a boundary walked with a
receiver), `cores` (where to take soil cores), `shapes` (what drawing does to plots), `sketch` (the outline
that fits on paper).
"""

from loamwright.land.acreage import NEAR_M, areas, places_m, setback, whole_area, within_reach
from loamwright.land.boundaries import (
    DUPLICATE_SHARE,
    Batch,
    check_boundaries,
    check_coordinates,
    find_overlaps,
    find_slivers,
    measure_batch,
    measure_checked,
    near_pairs,
    overlap_problem,
    overlaps,
    placed_for_sure,
    shared_among,
    tidied,
)
from loamwright.land.cores import sampling_points, usable_edge_m
from loamwright.land.geometry import (
    BoundaryMeasure,
    as_geojson,
    as_wkb,
    bounds,
    distance_m,
    distances_m,
    from_wkb,
    geometry_type,
    label_point,
    measure_boundary,
    point_shape,
    same_shape,
    shapes_from_geojson,
    simplify_for_map,
    widest_m,
)
from loamwright.land.records import Cropping, KeepOut, Plot, PlotArea, PlotPart, Shape, Way
from loamwright.land.shapes import (
    circle,
    close_gap,
    crossing_of,
    cut_hole,
    cut_out,
    inside,
    matched,
    merge,
    rectangle,
    split,
)
from loamwright.land.sizes import areas_m2
from loamwright.land.sketch import Sketch, SketchKeepOut, outline, overview
from loamwright.land.walks import walk_to_boundary

__all__ = [
    "DUPLICATE_SHARE",
    "NEAR_M",
    "Batch",
    "BoundaryMeasure",
    "Cropping",
    "KeepOut",
    "Plot",
    "PlotArea",
    "PlotPart",
    "Shape",
    "Sketch",
    "SketchKeepOut",
    "Way",
    "areas",
    "areas_m2",
    "as_geojson",
    "as_wkb",
    "bounds",
    "check_boundaries",
    "check_coordinates",
    "circle",
    "close_gap",
    "crossing_of",
    "cut_hole",
    "cut_out",
    "distance_m",
    "distances_m",
    "find_overlaps",
    "find_slivers",
    "from_wkb",
    "geometry_type",
    "inside",
    "label_point",
    "matched",
    "measure_batch",
    "measure_boundary",
    "measure_checked",
    "merge",
    "near_pairs",
    "outline",
    "overlap_problem",
    "overlaps",
    "overview",
    "placed_for_sure",
    "places_m",
    "point_shape",
    "rectangle",
    "same_shape",
    "sampling_points",
    "setback",
    "shapes_from_geojson",
    "shared_among",
    "simplify_for_map",
    "split",
    "tidied",
    "usable_edge_m",
    "walk_to_boundary",
    "whole_area",
    "widest_m",
    "within_reach",
]
