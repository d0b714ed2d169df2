"""How near each plot lies to each keep-out.

This file answers "how many metres from the plot's boundary to the creek, the well, the road?", for
rules that speak of ground *near* something. It cuts nothing: setbacks are `geometry.areas`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import shapely

from loamwright.geometry import Plane
from loamwright.values import KeepOut, Plot


def distances_m(plots: Sequence[Plot], keepouts: Sequence[KeepOut]) -> Mapping[tuple[str, str], float]:
    """Measure the gap between every plot and every keep-out.

    Parameters
    ----------
    plots
        Plots with checked boundaries.
    keepouts
        Keep-outs of any shape; their setbacks play no part here.

    Returns
    -------
    mapping of (plot_id, keepout_id) to float
        Shortest distance between boundary and shape [m]; 0.0 where they touch or overlap.

    Notes
    -----
    Taken in one plane around the plots (`geometry.Plane`), whose lengths are true to a few parts per
    million within 10 km.
    """
    if not plots or not keepouts:
        return {}
    boundaries = [shapely.from_wkb(plot.boundary_wkb) for plot in plots]
    plane = Plane.around(boundaries)
    shapes = [plane.flatten(shapely.force_2d(shapely.from_wkb(keepout.shape_wkb))) for keepout in keepouts]
    gaps = {}
    for plot, boundary in zip(plots, boundaries, strict=True):
        flat = plane.flatten(boundary)
        for keepout, shape in zip(keepouts, shapes, strict=True):
            gaps[plot.plot_id, keepout.keepout_id] = float(shapely.distance(flat, shape))
    return gaps
