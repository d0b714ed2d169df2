"""The program taken apart: each plot alone at given prices, and the purchase alone.

What ties plots together is only that they share packages. With a price on each kilogram in place of that
tie, every plot is a small program of its own and so is the purchase (a Lagrangian relaxation). The sum of
their optima is a proved lower bound on the cost of any plan, for any prices; and the passes the plots
choose are a good place to look for one.

M. L. Fisher, The Lagrangian relaxation method for solving integer programming problems, Management Science
27 (1981) 1-18, doi 10.1287/mnsc.27.1.1.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from loamwright.plan_model import PlanModel
from loamwright.solver import Effort, Flags, Floats, Found, Ints, Model


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
        self.pools = plan_model.supply_row[plan_model.supply_row >= 0]
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
        array.tobytes() for array in (model.cost, model.upper, model.row_lower, model.index, model.value)
    )


def chosen(plan_model: PlanModel, values: Floats) -> Flags:
    """Tell which passes a solution makes.

    Parameters
    ----------
    plan_model, values
        The model and one value per column.

    Returns
    -------
    array of bool
        Per pass.
    """
    on = np.asarray(values[plan_model.amount] > 1e-7, bool)
    switch = plan_model.switch[plan_model.passes.job]
    on[switch >= 0] &= values[switch[switch >= 0]] > 0.5
    return on


def only(plan_model: PlanModel, passes: Flags, must: bool = False) -> Model:
    """Restrict the program to some passes.

    Parameters
    ----------
    plan_model
        The model.
    passes
        Passes that may be made; forced ones always may.
    must
        True to make all of their jobs for good, so that only amounts and packages are left to choose.

    Returns
    -------
    Model
    """
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
