"""Whose map is it? What a helper's edition leaves out of the planner's.

The planner's map holds everything; whoever spreads gets the same ground, stops and amounts without prices,
soil tests, needs and sources.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loamwright.fieldmap.records import MapCaution, MapData, MapPlot, MapRound

PLANNER, HELPER = "planner", "helper"
#: Editions of the field map, and what stands in them.
EDITIONS: Mapping[str, str] = {
    PLANNER: "everything, with how each number was made",
    HELPER: "for whoever spreads: no prices, soil tests or sources",
}
#: Questions of the map that a helper asks.
_HELPERS_LAYERS = ("work", "done", "sample")


def for_helper(data: MapData) -> MapData:
    """Leave out of a map what whoever spreads has no use for.

    Parameters
    ----------
    data
        Made with the cautions of that reader.

    Returns
    -------
    MapData
    """
    return replace(
        data,
        plots=tuple(map(_plot, data.plots)),
        rounds=tuple(map(_round, data.rounds)),
        layers=tuple(layer for layer in data.layers if layer.id in _HELPERS_LAYERS),
        cautions=tuple(map(_caution, data.cautions)),
        problems=(),
        texts=(),
        steps=(),
    )


def _plot(plot: MapPlot) -> MapPlot:
    return replace(
        plot,
        needs=(),
        lines=tuple(replace(line, steps=()) for line in plot.lines),
        cost="",
        tests=(),
        sampling=None if plot.sampling is None else replace(plot.sampling, steps=()),
        steps=(),
    )


def _round(one: MapRound) -> MapRound:
    return replace(one, steps=())


def _caution(one: MapCaution) -> MapCaution:
    return replace(one, source="")
