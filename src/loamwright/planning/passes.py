"""Which passes could be worth making, and between which amounts?

A *pass* is one product on one plot at one time. This file turns a checked request into arrays: the needs
(`Cell`), the contents and caps, and every pass with the least and the most that could be sensible. Which of
them are made is decided in `model`.

How a pass is bounded: no pass need be larger than the largest single need it serves would ask of it
alone, nor may it break a cap or the safe rate. These bounds are what makes the program tight.

When a pass may be made: a product that serves a need tied to a time gets a pass at each such time; what
only serves needs that are free in time gets one pass, at any time if nothing says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loamwright.planning.inputs import PlanPlot, Request, Ware, known_kg, lowest_rate_kg_ha
from loamwright.planning.solver import Flags, Floats, Ints
from loamwright.values import Supply, Timing

TIMES: tuple[Timing | None, ...] = (*Timing, None)
ANY_TIME = len(TIMES) - 1


@dataclass(frozen=True, slots=True)
class Cell:
    """One need: so much of a supply on a plot, at a time or at any.

    Parameters
    ----------
    plot, supply, time
        Indices into the request's plots, the model's supplies and `TIMES`.
    mass_kg
        Needed [kg].
    """

    plot: int
    supply: int
    time: int
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Passes:
    """Every pass that could be worth making, as parallel arrays.

    Parameters
    ----------
    plot, ware, time
        Indices of each pass.
    low_kg, high_kg
        Smallest amount if made at all, and most that is useful and allowed [kg].
    limit_kg
        Most that is allowed, useful or not [kg].
    cost
        For making it [money].
    forced
        True for passes the user has fixed.
    """

    plot: Ints
    ware: Ints
    time: Ints
    low_kg: Floats
    high_kg: Floats
    limit_kg: Floats
    cost: Floats
    forced: Flags

    @property
    def count(self) -> int:
        """Number of passes."""
        return len(self.plot)


# ---------------------------------------------------------------------------------------------
# Needs, contents, caps as arrays


def supply_keys(request: Request) -> tuple[Supply, ...]:
    """Name every supply that something delivers, something needs or something caps."""
    keys = {key for ware in request.wares for key in ware.contents}
    for plot in request.plots:
        keys.update(plot.caps, (demand.supply for demand in plot.demands))
    return tuple(sorted(keys))


def need_cells(request: Request, supplies: tuple[Supply, ...]) -> tuple[Cell, ...]:
    """List the known needs, plot by plot."""
    place = {supply: index for index, supply in enumerate(supplies)}
    return tuple(
        Cell(number, place[supply], TIMES.index(timing), mass_kg)
        for number, plot in enumerate(request.plots)
        for (supply, timing), mass_kg in sorted(
            known_kg(plot).items(), key=lambda item: (item[0][0], TIMES.index(item[0][1]))
        )
    )


def content_matrix(wares: tuple[Ware, ...], supplies: tuple[Supply, ...]) -> Floats:
    """Put the contents of the wares into one array."""
    return np.array([[ware.contents.get(key, 0.0) for key in supplies] for ware in wares]).reshape(
        len(wares), len(supplies)
    )


def cap_matrix(plots: tuple[PlanPlot, ...], supplies: tuple[Supply, ...]) -> Floats:
    """Put the caps of the plots into one array."""
    return np.array([[plot.caps.get(key, math.inf) for key in supplies] for plot in plots]).reshape(
        len(plots), len(supplies)
    )


# ---------------------------------------------------------------------------------------------
# Passes


def _may_go(request: Request) -> Flags:
    """[plot, ware]: offered or in stock, allowed on the plot, not ruled out by a fixed choice."""
    offered = {offer.product for offer in request.offers}
    names = [ware.product.product for ware in request.wares]
    sold = np.array([name in offered for name in names], bool)
    may = np.tile(sold, (len(request.plots), 1))
    for number, plot in enumerate(request.plots):
        if plot.allowed_products is not None:
            may[number] &= np.array([name in plot.allowed_products for name in names], bool)
    return may


def _times_open(request: Request) -> Flags:
    """[plot, ware, time]: times at which plot and product both allow a pass; any-time if neither minds."""
    all_times = np.ones(len(TIMES) - 1, bool)
    ware_times = np.array(
        [[not w.product.timings or time in w.product.timings for time in Timing] for w in request.wares], bool
    ).reshape(len(request.wares), len(TIMES) - 1)
    plot_times = np.array(
        [all_times if p.timings is None else [time in p.timings for time in Timing] for p in request.plots],
        bool,
    ).reshape(len(request.plots), len(TIMES) - 1)
    both = plot_times[:, None, :] & ware_times[None, :, :]
    return np.concatenate([both, both.all(axis=2, keepdims=True)], axis=2)


def list_passes(request: Request, content: Floats, caps: Floats, cells: tuple[Cell, ...]) -> Passes:
    """List the passes that could be worth making, with their bounds and costs."""
    tied = np.zeros((len(request.plots), content.shape[1], len(TIMES)))
    for cell in cells:
        tied[cell.plot, cell.supply, cell.time] += cell.mass_kg
    free = tied[:, :, ANY_TIME].copy()
    tied[:, :, ANY_TIME] = 0.0
    holds = content > 0
    serves_tied = np.einsum("ks,pst->pkt", holds, tied > 0) > 0
    serves_free = (free > 0) @ holds.T
    open_times = _times_open(request)
    may = _may_go(request)
    at = serves_tied & open_times
    loose = ~at.any(axis=2) & serves_free
    at |= loose[:, :, None] & _loose_times(open_times, request.terms.max_products_per_plot is not None)
    at &= may[:, :, None]
    plot, ware, time = (index.astype(np.int64) for index in np.nonzero(at))

    area = np.array([one.area_ha for one in request.plots])
    low_rate = np.array([lowest_rate_kg_ha(one.product, request.terms) for one in request.wares])
    high_rate = np.array([one.product.max_rate_kg_ha or math.inf for one in request.wares])
    low = low_rate[ware] * area[plot]
    useful = np.zeros(len(plot))
    limit = high_rate[ware] * area[plot]
    for supply in range(content.shape[1]):
        part = content[ware, supply]
        has = part > 0
        wanted = tied[plot, supply, time] + free[plot, supply]
        useful[has] = np.maximum(useful[has], wanted[has] / part[has])
        limit[has] = np.minimum(limit[has], caps[plot[has], supply] / part[has])
    high = np.minimum(np.maximum(useful, low), limit)
    keep = (high > 0) & (high >= low * (1 - 1e-12))
    low = np.minimum(low, high)
    cost = float(request.terms.spreading_cost_per_ha) * area[plot] + float(
        request.terms.spreading_cost_per_pass
    )
    found = Passes(plot, ware, time, low, high, limit, cost, np.zeros(len(plot), bool))
    return _with_choices(request, _take(found, keep), area)


def _loose_times(open_times: Flags, counted: bool) -> Flags:
    """Times for passes free in time: any-time when nothing restricts them, else the earliest open one.

    When products per plot are counted, every open time is kept, because one may be full.
    """
    anyhow = open_times[:, :, ANY_TIME]
    dated = open_times[:, :, :ANY_TIME] & ~anyhow[:, :, None]
    if not counted:
        dated = dated & (np.cumsum(dated, axis=2) == 1)
    return np.concatenate([dated, anyhow[:, :, None]], axis=2)


def _take(passes: Passes, keep: Flags | Ints) -> Passes:
    return Passes(
        passes.plot[keep],
        passes.ware[keep],
        passes.time[keep],
        passes.low_kg[keep],
        passes.high_kg[keep],
        passes.limit_kg[keep],
        passes.cost[keep],
        passes.forced[keep],
    )


def _with_choices(request: Request, passes: Passes, area: Floats) -> Passes:
    """Put the user's fixed passes in, and take out what they rule out."""
    if not request.terms.fixed:
        return passes
    plot_number = {plot.plot_id: number for number, plot in enumerate(request.plots)}
    ware_number = {ware.product.product: number for number, ware in enumerate(request.wares)}
    per_pass, per_ha = (
        float(request.terms.spreading_cost_per_pass),
        float(request.terms.spreading_cost_per_ha),
    )
    for choice in request.terms.fixed:
        plot, ware = plot_number[choice.plot_id], ware_number[choice.product]
        here = (passes.plot == plot) & (passes.ware == ware) & ~passes.forced
        time = TIMES.index(choice.timing)
        if choice.mass_kg == 0:
            out = here if choice.timing is None else here & (passes.time == time)
            passes = _take(passes, ~out)
            continue
        if choice.timing is None and here.any():
            time = int(passes.time[here].min())
        passes = _take(passes, ~(here & (passes.time == time)))
        passes = Passes(
            np.append(passes.plot, plot),
            np.append(passes.ware, ware),
            np.append(passes.time, time),
            np.append(passes.low_kg, choice.mass_kg),
            np.append(passes.high_kg, choice.mass_kg),
            np.append(passes.limit_kg, choice.mass_kg),
            np.append(passes.cost, per_ha * area[plot] + per_pass),
            np.append(passes.forced, True),
        )
    return _take(passes, np.lexsort((passes.time, passes.ware, passes.plot)))
