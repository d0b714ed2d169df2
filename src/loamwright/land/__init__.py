"""How big is a plot, where is it, and how much of it is spread?

The rooms, from the ground up: `records` (plots, crops on them, keep-outs, areas), `geometry` (shapes and
the plane they are handled in), `acreage` (what is spread: boundary less keep-outs and setbacks),
`boundaries` (is it drawn well?), `walks` (a boundary walked with a receiver), `cores` (where to take soil
cores), `sketch` (the outline that fits on paper).
"""

from loamwright.land.acreage import NEAR_M, areas, places_m, setback_wkb
from loamwright.land.boundaries import (
    DUPLICATE_SHARE,
    check_boundary,
    check_coordinates,
    find_overlaps,
    overlaps,
)
from loamwright.land.cores import sampling_points, usable_edge_m
from loamwright.land.geometry import (
    as_geojson,
    bounds,
    distance_m,
    distances_m,
    from_geojson,
    geometry_type,
    label_point,
    measure_boundary,
    point_wkb,
    simplify_for_map,
)
from loamwright.land.records import Cropping, KeepOut, Plot, PlotArea, PlotPart, Way
from loamwright.land.sketch import Sketch, SketchKeepOut, outline, overview
from loamwright.land.walks import walk_to_boundary

__all__ = [
    "DUPLICATE_SHARE",
    "NEAR_M",
    "Cropping",
    "KeepOut",
    "Plot",
    "PlotArea",
    "PlotPart",
    "Sketch",
    "SketchKeepOut",
    "Way",
    "areas",
    "as_geojson",
    "bounds",
    "check_boundary",
    "check_coordinates",
    "distance_m",
    "distances_m",
    "find_overlaps",
    "from_geojson",
    "geometry_type",
    "label_point",
    "measure_boundary",
    "outline",
    "overlaps",
    "overview",
    "places_m",
    "point_wkb",
    "sampling_points",
    "setback_wkb",
    "simplify_for_map",
    "usable_edge_m",
    "walk_to_boundary",
]
