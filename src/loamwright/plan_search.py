"""How is the cheapest plan found, and how near to it is it proved?

A small program goes to the solver as it is. A larger one is searched in stages, each of which may already
be good enough:

1. the linear relaxation puts a price on each product;
2. at those prices every plot is solved alone, which proves a lower bound (see `plan_parts`);
3. the plots' own choices are joined: with those passes, what is the cheapest whole purchase?
4. the same at prices moved a little, which brings other choices, and the cheapest plan among all of them;
5. the whole program, started from the best plan so far.

What comes back is a solution that has been cleaned up and the best proved bound on the cost of any plan.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from loamwright.plan_model import PlanModel, Solution, settle
from loamwright.plan_parts import Parts, chosen, only
from loamwright.solver import Effort, Flags, Floats, Found, Model, Solved

#: Programs with no more passes than this are solved as they are.
SMALL = 120
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
    """Search for the cheapest plan.

    Parameters
    ----------
    plan_model
        The program, its objective the cost.
    gap
        Relative gap at which to stop [fraction].
    time_limit_s
        Most time [s]; cleaning up comes on top.

    Returns
    -------
    Search
    """
    run = _Run(plan_model, gap, time_limit_s)
    if plan_model.passes.count > SMALL:
        run.take_apart()
    if not run.impossible and not run.done():
        run.try_model("whole", plan_model.model, time_limit_s, proves=True)
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
        effort = Effort(self.gap, max(0.1, min(seconds, self.left())))
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
        apart = parts.solve(prices, near, self.deadline)
        self.impossible = not apart.feasible
        if self.impossible:
            return
        self.bound = max(self.bound, apart.bound)
        self.note("plots alone")
        self.choices = chosen(plan_model, apart.values)
        joined = self.try_model(
            "their passes joined", only(plan_model, self.choices, must=True), 0.2 * self.left()
        )
        if not joined.has_values:
            self.try_model("their passes joined", only(plan_model, self.choices), 0.2 * self.left())
        random = np.random.default_rng(0)
        until = time.monotonic() + 0.3 * self.left()
        for _round in range(_ROUNDS):
            if self.done() or time.monotonic() > until:
                break
            moved = parts.solve(prices * random.uniform(_LOWEST, 1.0, len(prices)), near, until)
            self.choices |= chosen(plan_model, moved.values)
        if not self.done():
            self.try_model("more of their passes", only(plan_model, self.choices), 0.4 * self.left())

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
# Counting packages


def count_out(found: Search, counted: PlanModel, time_limit_s: float) -> Solution | None:
    """Put the passes of a plan on the ground in half packages, as cheaply as that can be done.

    Parameters
    ----------
    found
        A search that found a plan; the jobs of its plan are kept.
    counted
        The same program with its packages counted (see `plan_model.build`).
    time_limit_s
        Most time [s].

    Returns
    -------
    Solution or None
        None when no plan came of it in time.

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
    left = until - time.monotonic()
    if left > 0.1 or start is None:
        better = model.solve(Effort(1e-3, max(0.1, left)), start=start)
        start = better.values if better.has_values else start
    return None if start is None else settle(counted, start)
