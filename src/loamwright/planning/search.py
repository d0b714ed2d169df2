"""How is the cheapest plan found, and how near to it is it proved?

A small program goes to the solver as it is. A larger one is searched in stages, each of which may already
be good enough:

1. the linear relaxation puts a price on each product;
2. at those prices every plot is solved alone, which proves a lower bound (see `search`);
3. the plots' own choices are joined: with those passes, what is the cheapest whole purchase?
4. the same at prices moved a little, which brings other choices, and the cheapest plan among all of them;
5. the whole program, started from the best plan so far.

What comes back is a solution that has been cleaned up and the best proved bound on the cost of any plan.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from loamwright.planning.model import PlanModel, Solution, settle
from loamwright.planning.solver import Effort, Flags, Floats, Found, Ints, Model, Solved

#: Programs with no more passes than this are solved as they are.
SMALL = 120
#: Where there are no more, the whole is solved from the first joined plan on: looking for more takes longer.
MIDDLING = 1500
#: A pass whose relaxed amount is no more than this share of its most is not made there.
_HARDLY = 1e-6
#: Rather than no plan at all, one this near to the cheapest of its passes is looked for, so long [s].
_ROUGHLY, _FIRST_PLAN_S = 0.05, 10.0
#: Counting packages out looks beyond the plan's own passes where good plans made no more than this.
_FEW = 300
#: Counting packages out ends after so many nodes, on every machine alike, or when its time is up.
_NODES = 500
#: Share of the work on the whole program that looks for better plans: tried on seven properties of 20 plots.
_LOOKOUT = 0.2
#: Prices are moved this often, each to between this share of itself and itself.
_ROUNDS, _LOWEST = 4, 0.85


@dataclass(frozen=True, slots=True)
class Stage:
    """What one stage of a search brought.

    Parameters
    ----------
    name
        Which stage.
    cost, bound
        Best plan and best bound after it [money]; infinite, minus infinite while there is none.
    seconds
        Since the search began [s].
    """

    name: str
    cost: float
    bound: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Search:
    """What a search brought.

    Parameters
    ----------
    found
        What can be said of it.
    solution
        Cleaned up; None when there is none.
    bound
        Proved lower bound on the objective.
    stages
        How it went.
    choices
        Passes that good plans were seen to make.
    """

    found: Found
    solution: Solution | None
    bound: float
    stages: tuple[Stage, ...]
    choices: Flags


def search(plan_model: PlanModel, gap: float, time_limit_s: float) -> Search:
    """Search for the cheapest plan."""
    run = _Run(plan_model, gap, time_limit_s)
    if plan_model.passes.count > SMALL:
        run.take_apart()
    if not run.impossible and not run.done():
        run.try_model("whole", plan_model.model, time_limit_s, proves=True)
    if run.values is None and not run.impossible and run.choices.any():
        run.first_plan()
    return run.result()


class _Run:
    """One search: the best plan and bound so far, and the clock."""

    def __init__(self, plan_model: PlanModel, gap: float, time_limit_s: float) -> None:
        self.plan_model, self.gap = plan_model, gap
        self.began = time.monotonic()
        self.deadline = self.began + time_limit_s
        self.values: Floats | None = None
        self.cost, self.bound = np.inf, -np.inf
        self.impossible = False
        self.stages: list[Stage] = []
        self.choices = np.zeros(plan_model.passes.count, bool)

    def left(self) -> float:
        return self.deadline - time.monotonic()

    def done(self) -> bool:
        return self.values is not None and self.cost - self.bound <= self.gap * abs(self.cost)

    def note(self, name: str) -> None:
        self.stages.append(Stage(name, self.cost, self.bound, time.monotonic() - self.began))

    def try_model(self, name: str, model: Model, seconds: float, proves: bool = False) -> Solved:
        """Solve the program, or a restriction of it, and keep what is better."""
        lookout = _LOOKOUT if proves else None
        effort = Effort(self.gap, max(0.1, min(seconds, self.left())), lookout=lookout)
        solved = model.solve(effort, start=self.values if proves else None)
        if solved.has_values and solved.objective < self.cost:
            self.values, self.cost = solved.values, solved.objective
        if proves:
            self.impossible = solved.found is Found.INFEASIBLE
            self.bound = max(self.bound, solved.bound)
        self.note(name)
        return solved

    def take_apart(self) -> None:
        """Stages 1 to 4."""
        plan_model, model = self.plan_model, self.plan_model.model
        relaxed = model.solve(Effort(time_limit_s=max(0.1, self.left())), relaxed=True)
        self.impossible = relaxed.found is Found.INFEASIBLE
        if relaxed.found is not Found.OPTIMAL:
            return
        self.bound = relaxed.objective
        self.note("linear relaxation")
        parts = Parts(plan_model)
        prices = np.maximum(0.0, -relaxed.duals[parts.pools])
        near = min(1e-4, self.gap / 10)
        apart = parts.solve(prices, near, time.monotonic() + 0.85 * self.left())
        self.impossible = not apart.feasible
        if self.impossible:
            return
        self.bound = max(self.bound, apart.bound)
        self.note("plots alone")
        self.choices = chosen(plan_model, apart.values)
        if np.isneginf(apart.bound):  # time was up before every plot was looked at: where not, as relaxed
            seen = np.unique(plan_model.passes.plot[self.choices])
            unseen = ~np.isin(plan_model.passes.plot, seen)
            self.choices |= unseen & (relaxed.values[plan_model.amount] > _HARDLY)
        joined = self.try_model(
            "their passes joined", only(plan_model, self.choices, must=True), 0.2 * self.left()
        )
        if not joined.has_values:
            self.try_model("their passes joined", only(plan_model, self.choices), 0.2 * self.left())
        if plan_model.passes.count <= MIDDLING:
            return
        random = np.random.default_rng(0)
        until = time.monotonic() + 0.3 * self.left()
        for _round in range(_ROUNDS):
            if self.done() or time.monotonic() > until:
                break
            moved = parts.solve(prices * random.uniform(_LOWEST, 1.0, len(prices)), near, until)
            self.choices |= chosen(plan_model, moved.values)
        if not self.done():
            self.try_model("more of their passes", only(plan_model, self.choices), 0.4 * self.left())

    def first_plan(self) -> None:
        """A plan of some kind from the passes seen so far, when the time was up before there was one."""
        effort = Effort(_ROUGHLY, _FIRST_PLAN_S)
        solved = only(self.plan_model, self.choices).solve(effort)
        if solved.has_values:
            self.values, self.cost = solved.values, solved.objective
        self.note("a first plan")

    def result(self) -> Search:
        solution = None if self.values is None else settle(self.plan_model, self.values)
        if solution is None:
            found = Found.INFEASIBLE if self.impossible else Found.NOTHING
        else:
            found = Found.OPTIMAL if self.done() else Found.LIMITED
        if solution is not None:
            self.choices = self.choices | (solution.mass_kg > 0)
        return Search(found, solution, self.bound, tuple(self.stages), self.choices)


# ---------------------------------------------------------------------------------------------
# Taken apart

# M. L. Fisher, The Lagrangian relaxation method for solving integer programming problems, Management Science
# 27 (1981) 1-18, doi 10.1287/mnsc.27.1.1. What ties plots together is only that they share packages and
# truckloads: with a price on each kilogram in place of that tie, every plot is a program of its own and so is
# the purchase.


@dataclass(frozen=True, slots=True)
class Part:
    """Some columns of the program with the rows that concern only them.

    Parameters
    ----------
    columns
        Their indices in the whole program.
    model
        The small program; its costs are set anew for each solve.
    """

    columns: Ints
    model: Model


@dataclass(frozen=True, slots=True)
class Apart:
    """Every part solved at one set of prices.

    Parameters
    ----------
    bound
        Proved lower bound on the cost of any plan; minus infinite when a part was not solved in time.
    values
        One per column of the whole program, as the plots chose.
    feasible
        False when some plot has no solution at all, and so the property has none.
    """

    bound: float
    values: Floats
    feasible: bool


class Parts:
    """A program cut along its pools.

    Parameters
    ----------
    plan_model
        The program.
    """

    def __init__(self, plan_model: PlanModel) -> None:
        self.plan_model = plan_model
        model = plan_model.model
        owner = plan_model.owner
        passes = plan_model.passes
        pools = plan_model.supply_row[plan_model.supply_row >= 0]
        self.pools = np.concatenate([pools, plan_model.load_rows])
        entry_row = np.repeat(np.arange(len(model.row_lower)), np.diff(model.starts))
        pooled = np.zeros(len(model.row_lower), bool)
        pooled[self.pools] = True
        self._pool_entries = np.flatnonzero(pooled[entry_row])
        self._pool_entry_row = entry_row[self._pool_entries]
        row_owner = np.full(len(model.row_lower), -2, np.int64)
        row_owner[entry_row] = owner[model.index]
        row_owner[pooled] = -2
        self.plots = [
            _cut(model, np.flatnonzero(owner == plot), np.flatnonzero(row_owner == plot))
            for plot in np.unique(passes.plot)
        ]
        self.purchase = _cut(model, np.flatnonzero(owner == -1), np.flatnonzero(row_owner == -1))

    def priced(self, prices: Floats) -> Floats:
        """Put a price on each pool row's imbalance.

        Parameters
        ----------
        prices
            Per pool row, zero or more.

        Returns
        -------
        array
            The objective of the program without its pool rows.
        """
        model = self.plan_model.model
        of_row = np.zeros(len(model.row_lower))
        of_row[self.pools] = prices
        cost = model.cost.copy()
        np.add.at(
            cost,
            model.index[self._pool_entries],
            of_row[self._pool_entry_row] * model.value[self._pool_entries],
        )
        return cost

    def solve(self, prices: Floats, gap: float, deadline: float) -> Apart:
        """Solve every part at given prices.

        Parameters
        ----------
        prices
            Per pool row, zero or more.
        gap
            Relative gap for each plot [fraction].
        deadline
            Time to stop at [s, of the monotonic clock].

        Returns
        -------
        Apart
        """
        cost = self.priced(prices)
        values = np.zeros(len(cost))
        bound = 0.0
        known: dict[bytes, tuple[float, Floats]] = {}
        for part in (*self.plots, self.purchase):
            left = deadline - time.monotonic()
            if left <= 0:
                return Apart(-np.inf, values, feasible=True)
            part.model.cost = cost[part.columns]
            key = _fingerprint(part.model)
            if key not in known:
                solved = part.model.solve(Effort(gap, left, light=True))
                if solved.found is Found.INFEASIBLE:
                    return Apart(np.inf, values, feasible=False)
                if not solved.has_values:
                    return Apart(-np.inf, values, feasible=True)
                known[key] = (solved.bound, solved.values)
            part_bound, values[part.columns] = known[key]
            bound += part_bound
        return Apart(bound, values, feasible=True)


def _cut(model: Model, columns: Ints, rows: Ints) -> Part:
    place = np.full(len(model.cost), -1, np.int64)
    place[columns] = np.arange(len(columns))
    lengths = np.diff(model.starts)[rows]
    starts = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    entries = np.repeat(model.starts[rows] - starts[:-1], lengths) + np.arange(int(lengths.sum()))
    return Part(
        columns,
        Model(
            cost=model.cost[columns],
            lower=model.lower[columns],
            upper=model.upper[columns],
            integer=model.integer[columns],
            row_lower=model.row_lower[rows],
            row_upper=model.row_upper[rows],
            starts=starts,
            index=place[model.index[entries]],
            value=model.value[entries],
        ),
    )


def _fingerprint(model: Model) -> bytes:
    """Alike plots have alike programs and need solving once."""
    return b"".join(
        array.tobytes()
        for array in (
            model.cost,
            model.lower,
            model.upper,
            model.row_lower,
            model.row_upper,
            model.index,
            model.value,
        )
    )


def chosen(plan_model: PlanModel, values: Floats) -> Flags:
    """Tell which passes a solution makes."""
    on = np.asarray(values[plan_model.amount] > 1e-7, bool)
    switch = plan_model.switch[plan_model.passes.job]
    on[switch >= 0] &= values[switch[switch >= 0]] > 0.5
    return on


def only(plan_model: PlanModel, passes: Flags, must: bool = False) -> Model:
    """Restrict the program to some passes."""
    model = plan_model.model.copy()
    may = passes | plan_model.passes.forced
    model.upper[plan_model.amount] = may.astype(float)
    jobs = np.zeros(plan_model.passes.jobs.count, bool)
    np.logical_or.at(jobs, plan_model.passes.job, may)
    switched = plan_model.switch >= 0
    model.upper[plan_model.switch[switched]] = jobs[switched]
    if must:
        model.lower[plan_model.switch[switched]] = jobs[switched]
    return model


# ---------------------------------------------------------------------------------------------
# Counting packages


def count_out(found: Search, counted: PlanModel, time_limit_s: float) -> Solution | None:
    """Put the passes of a plan on the ground in half packages, as cheaply as that can be done.

    Notes
    -----
    Every plot is counted out alone first, at what a kilogram costs; then the whole purchase is fitted to
    it; and in what time is left the whole is looked at again together.
    """
    assert found.solution is not None
    until = time.monotonic() + time_limit_s
    made = found.solution.mass_kg > 0
    model = only(counted, made, must=True)
    relaxed = model.solve(Effort(time_limit_s=time_limit_s), relaxed=True)
    if relaxed.found is not Found.OPTIMAL:
        return None
    parts = Parts(replace(counted, model=model))
    apart = parts.solve(np.maximum(0.0, -relaxed.duals[parts.pools]), 1e-3, until)
    start: Floats | None = None
    if apart.feasible and np.isfinite(apart.bound):
        fitted = model.copy()
        own = fitted.integer & (counted.owner >= 0)
        fitted.lower[own] = fitted.upper[own] = np.round(apart.values[own])
        solved = fitted.solve(Effort(1e-3, max(0.1, until - time.monotonic())))
        start = solved.values if solved.has_values else None
    wider = (model, only(counted, found.choices)) if found.choices.sum() <= _FEW else (model,)
    for place, program in enumerate(wider):
        left = (until - time.monotonic()) / (len(wider) - place)
        if left > 0.1 or start is None:
            better = program.solve(Effort(1e-3, max(0.1, left), nodes=_NODES), start=start)
            start = better.values if better.has_values else start
    return None if start is None else settle(counted, start)
