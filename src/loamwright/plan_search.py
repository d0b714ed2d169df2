"""How is the cheapest plan found, and how near to it is proved?

One search over the program of `plan_model`; what it returns is a solution that has been cleaned up and a
proved lower bound on the cost of any plan.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from loamwright.plan_model import PlanModel, Solution, settle
from loamwright.solver import Effort, Found


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
    seconds
        Time taken [s].
    """

    found: Found
    solution: Solution | None
    bound: float
    seconds: float


def search(plan_model: PlanModel, gap: float, time_limit_s: float) -> Search:
    """Search for the cheapest plan.

    Parameters
    ----------
    plan_model
        The program, its objective the cost.
    gap
        Relative gap at which to stop [fraction].
    time_limit_s
        Most time [s].

    Returns
    -------
    Search
    """
    began = time.monotonic()
    solved = plan_model.model.solve(Effort(gap, time_limit_s))
    solution = settle(plan_model, solved.values) if solved.has_values else None
    return Search(solved.found, solution, solved.bound, time.monotonic() - began)
