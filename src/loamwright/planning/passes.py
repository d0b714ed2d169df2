"""Which jobs could be worth doing, what may each carry, and between which amounts?

A *job* is one trip over one plot at one time with one machine and one load; a *pass* is one product of that
load. This file turns a checked request into arrays: the needs (`Cell`), the contents and caps, every job
with what the trip costs, and every pass with the least and the most that could be sensible. Which of them
are made is decided in `model`.

What a job may carry: products of one form that the machine can handle and that may all be mixed with each
other. Only the largest such sets are jobs; what is not needed of one stays out of the hopper.

How a pass is bounded: no pass need be larger than the largest single need it serves would ask of it
alone (up to the upper edge of its band), nor may it break a cap or the safe rate. These bounds are what
makes the program tight.

When a pass may be made: a product that serves a need tied to a time gets a pass at each such time; what
only serves needs that are free in time gets one pass at any time if nothing says otherwise, and may ride
along with the plot's trips at tied times.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loamwright.planning.inputs import (
    Machine,
    PlanPlot,
    Request,
    Ware,
    band_of,
    fill_cost_per_kg,
    ground_ha,
    known_kg,
    lowest_rate_kg_ha,
    machines_of,
    serving,
)
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
class Jobs:
    """Every trip that could be worth making, as parallel arrays.

    Parameters
    ----------
    plot, time, machine
        Indices of each job; the machine into `inputs.machines_of`.
    cost
        For making it [money].
    fill_cost_per_kg
        For filling the hopper [money per kg]: a part of a fill costs its part.
    forced
        True when it carries a pass the user has fixed.
    """

    plot: Ints
    time: Ints
    machine: Ints
    cost: Floats
    fill_cost_per_kg: Floats
    forced: Flags

    @property
    def count(self) -> int:
        """Number of jobs."""
        return len(self.plot)


@dataclass(frozen=True, slots=True)
class Passes:
    """Every product that could be worth putting into a job, as parallel arrays.

    Parameters
    ----------
    plot, ware, time, job
        Indices of each pass; the job into `jobs`.
    low_kg, high_kg
        Smallest amount if the job carries nothing else, and most that is useful and allowed [kg].
    limit_kg
        Most that is allowed, useful or not [kg].
    forced
        True for passes the user has fixed.
    area_ha
        The ground each goes on [ha].
    serving
        [pass, supply]: what 1 kg brings towards the plot's need of it [kg].
    jobs
        The trips.
    """

    plot: Ints
    ware: Ints
    time: Ints
    job: Ints
    low_kg: Floats
    high_kg: Floats
    limit_kg: Floats
    forced: Flags
    area_ha: Floats
    serving: Floats
    jobs: Jobs

    @property
    def count(self) -> int:
        """Number of passes."""
        return len(self.plot)


# ---------------------------------------------------------------------------------------------
# Needs, contents, caps as arrays


def supply_keys(request: Request) -> tuple[Supply, ...]:
    """Name every supply that something delivers, something needs or something caps."""
    keys = {key for ware in request.wares for key in ware.capped}
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
        if band_of(plot, supply).low > 0
    )


def content_matrix(wares: tuple[Ware, ...], supplies: tuple[Supply, ...]) -> Floats:
    """Put the contents of the wares into one array."""
    return _matrix([ware.contents for ware in wares], supplies)


def capped_matrix(wares: tuple[Ware, ...], supplies: tuple[Supply, ...]) -> Floats:
    """Put what counts of the wares against caps into one array."""
    return _matrix([ware.capped for ware in wares], supplies)


def _matrix(held: Sequence[Mapping[Supply, float]], supplies: tuple[Supply, ...]) -> Floats:
    rows = [[one.get(key, 0.0) for key in supplies] for one in held]
    return np.array(rows).reshape(len(held), len(supplies))


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
    """List the jobs and passes that could be worth making, with their bounds and costs."""
    tied = np.zeros((len(request.plots), content.shape[1], len(TIMES)))
    for cell in cells:
        tied[cell.plot, cell.supply, cell.time] += cell.mass_kg
    free = tied[:, :, ANY_TIME].copy()
    tied[:, :, ANY_TIME] = 0.0
    at = _worth_it(request, content, tied, free)
    return _Lister(request, content, caps, tied, free).passes(at)


def _worth_it(request: Request, content: Floats, tied: Floats, free: Floats) -> Flags:
    """[plot, ware, time]: where a product would serve a need and may be spread."""
    holds = content > 0
    serves_tied = np.einsum("ks,pst->pkt", holds, tied > 0) > 0
    serves_free = (free > 0) @ holds.T
    open_times = _times_open(request)
    at: Flags = np.asarray(serves_tied & open_times, bool)
    loose = ~at.any(axis=2) & serves_free
    loose_at = _loose_times(open_times, request.terms.max_products_per_plot is not None)
    at = at | (loose[:, :, None] & loose_at)
    if request.terms.mixing:  # what is free in time may ride along with a trip made anyway
        trips = np.array((tied > 0).any(axis=1), bool).reshape(len(request.plots), len(TIMES))
        trips[:, ANY_TIME] = False
        at = at | (serves_free[:, :, None] & open_times & trips[:, None, :])
    return np.asarray(at & _may_go(request)[:, :, None], bool)


def _loose_times(open_times: Flags, counted: bool) -> Flags:
    """Times for passes free in time: any-time when nothing restricts them, else the earliest open one.

    When products per plot are counted, every open time is kept, because one may be full.
    """
    anyhow = open_times[:, :, ANY_TIME]
    dated = open_times[:, :, :ANY_TIME] & ~anyhow[:, :, None]
    if not counted:
        dated = dated & (np.cumsum(dated, axis=2) == 1)
    return np.concatenate([dated, anyhow[:, :, None]], axis=2)


class _Lister:
    """Collects jobs and passes, plot by plot."""

    def __init__(self, request: Request, content: Floats, caps: Floats, tied: Floats, free: Floats) -> None:
        self.request, self.content, self.caps = request, content, caps
        self.counted = capped_matrix(request.wares, supply_keys(request))
        self.tied, self.free = tied, free
        self.machines = machines_of(request.terms)
        self.loads = _Loads(request, self.machines)
        self.low_rate = np.array([lowest_rate_kg_ha(one.product, request.terms) for one in request.wares])
        self.high_rate = np.array([one.product.max_rate_kg_ha or math.inf for one in request.wares])
        self.edge = np.ones((len(request.plots), content.shape[1]))
        place = {key: number for number, key in enumerate(supply_keys(request))}
        for number, plot in enumerate(request.plots):
            for supply in plot.bands:
                high = band_of(plot, supply).high
                if supply in place and math.isfinite(high):
                    self.edge[number, place[supply]] = high
        self.ground = np.tile(np.array([[plot.area_ha] for plot in request.plots]), (1, len(request.wares)))
        for number, plot in enumerate(request.plots):
            if plot.rest_ha:
                self.ground[number] = [ground_ha(plot, ware) for ware in request.wares]
        self.rows: list[tuple[int, int, int, int]] = []  # plot, ware, time, job
        self.jobs: list[tuple[int, int, int]] = []  # plot, time, machine
        self.fixed_kg: dict[int, float] = {}  # row of a fixed pass to its mass

    def passes(self, at: Flags) -> Passes:
        """List everything."""
        for choice in self.request.terms.fixed:
            if choice.mass_kg == 0:
                plot, ware = self._numbers(choice.plot_id, choice.product)
                if choice.timing is None:
                    at[plot, ware, :] = False
                else:
                    at[plot, ware, TIMES.index(choice.timing)] = False
        fixed: dict[tuple[int, int], dict[int, float]] = {}
        for choice in self.request.terms.fixed:
            if choice.mass_kg > 0:
                plot, ware = self._numbers(choice.plot_id, choice.product)
                time = TIMES.index(choice.timing)
                if choice.timing is None and at[plot, ware].any():
                    time = int(np.flatnonzero(at[plot, ware])[0])
                at[plot, ware, time] = True
                fixed.setdefault((plot, time), {})[ware] = choice.mass_kg
        for plot in range(len(self.request.plots)):
            for time in range(len(TIMES)):
                here = [int(ware) for ware in np.flatnonzero(at[plot, :, time])]
                if here:
                    self._add(plot, time, here, fixed.get((plot, time), {}))
        return self._finish()

    def _numbers(self, plot_id: str, product: str) -> tuple[int, int]:
        plots = {plot.plot_id: number for number, plot in enumerate(self.request.plots)}
        wares = {ware.product.product: number for number, ware in enumerate(self.request.wares)}
        return plots[plot_id], wares[product]

    def _bounds(self, plot: int, ware: int, time: int) -> tuple[float, float, float]:
        """Smallest, most useful and most allowed amount of one pass [kg]."""
        area = float(self.ground[plot, ware])
        part = self._serving(np.array([plot]), np.array([ware]))[0]
        has = part > 0
        wanted = (self.tied[plot, has, time] + self.free[plot, has]) * self.edge[plot, has]
        low = float(self.low_rate[ware] * area)
        useful = float((wanted / part[has]).max(initial=0.0))
        counted = self.counted[ware]
        within = (self.caps[plot, counted > 0] / counted[counted > 0]).min(initial=math.inf)
        limit = float(min(self.high_rate[ware] * area, within))
        return low, min(max(useful, low), limit), limit

    def _serving(self, plot: Ints, ware: Ints) -> Floats:
        """[pass, supply]: the contents, less what lands beside the rest of a plot that still asks."""
        result: Floats = self.content[ware]
        partly = np.array([bool(one.rest_ha) for one in self.request.plots], bool)
        for row in np.flatnonzero(partly[plot]):
            brought = serving(self.request.plots[plot[row]], self.request.wares[ware[row]])
            result[row] = [brought.get(key, 0.0) for key in supply_keys(self.request)]
        return result

    def _add(self, plot: int, time: int, wares: list[int], fixed: dict[int, float]) -> None:
        """Add the jobs of one plot at one time."""
        bounds = {ware: self._bounds(plot, ware, time) for ware in wares if ware not in fixed}
        useful = [ware for ware in wares if ware in fixed or bounds[ware][1] > 0]
        placed: set[int] = set()
        for machine, members in self._loads_on(plot, useful):
            reach = sum(
                bounds[w][1] / bounds[w][0] if bounds[w][0] > 0 else 1.0 for w in members if w in bounds
            )
            mine = [ware for ware in members if ware in fixed and ware not in placed]
            if reach < 1 - 1e-12 and not mine:
                continue
            placed.update(mine)
            job = len(self.jobs)
            self.jobs.append((plot, time, machine))
            for ware in members:
                if ware in mine:
                    self.fixed_kg[len(self.rows)] = fixed[ware]
                if ware in mine or ware not in fixed:
                    self.rows.append((plot, ware, time, job))
        for ware in sorted(set(fixed) - placed):  # decided on although no machine is known to do it
            self.fixed_kg[len(self.rows)] = fixed[ware]
            self.rows.append((plot, ware, time, len(self.jobs)))
            self.jobs.append((plot, time, 0))

    def _loads_on(self, plot: int, wares: list[int]) -> list[tuple[int, tuple[int, ...]]]:
        """(machine, products) of each job; what goes on a part of the plot shares no load with the rest."""
        reach = self.request.plots[plot].machines
        return [
            load
            for area in np.unique(self.ground[plot, wares])
            if wares
            for load in self.loads.of(tuple(w for w in wares if self.ground[plot, w] == area), reach)
        ]

    def _finish(self) -> Passes:
        plot, ware, time, job = np.array(self.rows, np.int64).reshape(len(self.rows), 4).T
        bounds = np.array(
            [
                (kg, kg, kg) if (kg := self.fixed_kg.get(row)) is not None else self._bounds(p, w, t)
                for row, (p, w, t, _job) in enumerate(self.rows)
            ]
        ).reshape(len(self.rows), 3)
        forced = np.zeros(len(self.rows), bool)
        forced[list(self.fixed_kg)] = True
        held = np.zeros(len(self.jobs), bool)
        held[job[forced]] = True
        at = np.array(self.jobs, np.int64).reshape(len(self.jobs), 3)
        area = self.ground[plot, ware]
        job_area = np.zeros(len(self.jobs))
        job_area[job] = area
        per_job = np.array([float(one.cost_per_job) for one in self.machines])
        per_ha = np.array([float(one.cost_per_ha) for one in self.machines])
        per_kg = np.array([fill_cost_per_kg(one) for one in self.machines])
        jobs = Jobs(
            at[:, 0],
            at[:, 1],
            at[:, 2],
            per_job[at[:, 2]] + per_ha[at[:, 2]] * job_area,
            per_kg[at[:, 2]],
            held,
        )
        low, high, limit = bounds[:, 0], bounds[:, 1], bounds[:, 2]
        return Passes(
            plot,
            ware,
            time,
            job,
            np.minimum(low, high),
            high,
            limit,
            forced,
            area,
            self._serving(plot, ware),
            jobs,
        )


# ---------------------------------------------------------------------------------------------
# Loads


class _Loads:
    """Which products may share a load, worked out once for each set of products and machines."""

    def __init__(self, request: Request, machines: tuple[Machine, ...]) -> None:
        self.wares, self.machines = request.wares, machines
        self.named = bool(request.terms.machines)
        names = [ware.product.product for ware in request.wares]
        number = {name: place for place, name in enumerate(names)}
        self.mixes: dict[int, set[int]] = {place: set() for place in range(len(names))}
        for pair in request.terms.mixing:
            one, other = sorted(pair) if len(pair) == 2 else (*pair, *pair)
            if one in number and other in number and one != other:
                left, right = number[one], number[other]
                if request.wares[left].product.form is request.wares[right].product.form:
                    self.mixes[left].add(right)
                    self.mixes[right].add(left)
        self.known: dict[
            tuple[tuple[int, ...], frozenset[str] | None], list[tuple[int, tuple[int, ...]]]
        ] = {}

    def of(self, wares: tuple[int, ...], reach: frozenset[str] | None) -> list[tuple[int, tuple[int, ...]]]:
        """(machine, products) of each job worth looking at, given what is useful at one place and time."""
        key = (wares, reach)
        if key not in self.known:
            self.known[key] = self._found(wares, reach)
        return self.known[key]

    def _found(
        self, wares: tuple[int, ...], reach: frozenset[str] | None
    ) -> list[tuple[int, tuple[int, ...]]]:
        found: list[tuple[int, frozenset[int]]] = []
        for place, machine in enumerate(self.machines):
            if self.named and reach is not None and machine.name not in reach:
                continue
            handled = {ware for ware in wares if self._handles(machine, ware)}
            found.extend((place, load) for load in _together(handled, self.mixes))
        kept = [
            (place, load)
            for place, load in found
            if not any(
                load <= bigger
                and (place, load) != (other, bigger)
                and self._no_dearer(other, bigger, place, load)
                for other, bigger in found
            )
        ]
        return [
            (place, tuple(sorted(load)))
            for place, load in sorted(kept, key=lambda one: (sorted(one[1]), one[0]))
        ]

    def _handles(self, machine: Machine, ware: int) -> bool:
        equipment = {name.casefold() for name in self.wares[ware].product.equipment}
        return not self.named or not equipment or machine.name.casefold() in equipment

    def _no_dearer(self, other: int, bigger: frozenset[int], place: int, load: frozenset[int]) -> bool:
        """Whether a job with the other machine does all of this and never costs more."""
        one, two = self.machines[other], self.machines[place]
        costs = (float(one.cost_per_job), float(one.cost_per_ha), fill_cost_per_kg(one), *_load_costs(one))
        against = (float(two.cost_per_job), float(two.cost_per_ha), fill_cost_per_kg(two), *_load_costs(two))
        if load == bigger and costs == against:
            return other < place
        return all(ours <= theirs for ours, theirs in zip(costs, against, strict=True))


def _load_costs(machine: Machine) -> tuple[float, float]:
    """What loads cost, as two figures of which lower is never dearer: for one, and how little it holds."""
    if not machine.brings_loads or machine.load_kg is None:
        return 0.0, 0.0
    return float(machine.cost_per_load), 1.0 / machine.load_kg


def _together(wares: set[int], mixes: dict[int, set[int]]) -> list[frozenset[int]]:
    """List the largest sets of products that may all be mixed with each other.

    C. Bron and J. Kerbosch, Algorithm 457: finding all cliques of an undirected graph, Communications of the
    ACM 16 (1973) 575-577.
    """
    found: list[frozenset[int]] = []

    def grow(chosen: set[int], open_: set[int], closed: set[int]) -> None:
        if not open_ and not closed:
            found.append(frozenset(chosen))
            return
        pivot = max(sorted(open_ | closed), key=lambda ware: len(mixes[ware] & open_))
        for ware in sorted(open_ - mixes[pivot]):
            grow(chosen | {ware}, open_ & mixes[ware], closed & mixes[ware])
            open_.discard(ware)
            closed.add(ware)

    if wares:
        grow(set(), set(wares), set())
    return sorted(found, key=sorted)
