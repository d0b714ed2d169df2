"""How is a mixed-integer linear program handed to the solver, and what came back?

A `Program` is filled with columns and rows by the planner's rooms and solved by HiGHS. This file knows
nothing of plots or products; no other file knows HiGHS.

HiGHS: Q. Huangfu and J. A. J. Hall, Parallelizing the dual revised simplex method, Mathematical
Programming Computation 10 (2018) 119-142, doi 10.1007/s12532-017-0130-5; MIT licence.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


class Found(Enum):
    """What the solver can say."""

    OPTIMAL = "optimal within the gap"
    LIMITED = "a solution, stopped by a limit"
    NOTHING = "no solution before the limit"
    INFEASIBLE = "no solution exists"


@dataclass(frozen=True, slots=True)
class Solved:
    """Answer to one program.

    Parameters
    ----------
    found
        What can be said of it.
    values
        One per column; empty when there is no solution.
    objective, bound
        Value reached, and the proved bound on the best possible.
    duals
        Row duals of a continuous program; empty for an integer one.
    """

    found: Found
    values: Floats
    objective: float
    bound: float
    duals: Floats

    @property
    def has_values(self) -> bool:
        """Whether there is a solution to read."""
        return self.found in (Found.OPTIMAL, Found.LIMITED)


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to try.

    Parameters
    ----------
    gap
        Relative gap at which to stop [fraction].
    time_limit_s
        Seconds.
    nodes
        Most nodes of the search tree; None = no limit. Unlike seconds, it ends at the same place on every
        machine.
    lookout
        Share of the work that goes into looking for better solutions, not into the proof [fraction]; None =
        the solver's own.
    light
        True for very small programs: presolve and heuristics cost more than they save there.
    """

    gap: float = 1e-6
    time_limit_s: float = 60.0
    light: bool = False
    lookout: float | None = None
    nodes: int | None = None


_EMPTY = np.zeros(0)


class Program:
    """A minimisation under linear constraints, some columns whole numbers.

    Columns and rows are added in blocks of arrays, so that a thousand plots build as fast as ten.
    Bounds, costs and integer flags may be changed between solves through the public arrays.
    """

    def __init__(self) -> None:
        self._cost: list[Floats] = []
        self._lower: list[Floats] = []
        self._upper: list[Floats] = []
        self._integer: list[Flags] = []
        self._row_lower: list[Floats] = []
        self._row_upper: list[Floats] = []
        self._entry_row: list[Ints] = []
        self._entry_col: list[Ints] = []
        self._entry_value: list[Floats] = []
        self.columns = 0
        self.rows = 0

    def add_columns(
        self,
        count: int,
        cost: float | Floats = 0.0,
        lower: float | Floats = 0.0,
        upper: float | Floats = np.inf,
        integer: bool | Flags = False,
    ) -> Ints:
        """Add columns."""
        self._cost.append(np.broadcast_to(np.asarray(cost, float), count).copy())
        self._lower.append(np.broadcast_to(np.asarray(lower, float), count).copy())
        self._upper.append(np.broadcast_to(np.asarray(upper, float), count).copy())
        self._integer.append(np.broadcast_to(np.asarray(integer, bool), count).copy())
        first = self.columns
        self.columns += count
        return np.arange(first, first + count)

    def add_rows(
        self,
        count: int,
        row: Ints,
        column: Ints,
        value: Floats,
        lower: float | Floats = -np.inf,
        upper: float | Floats = np.inf,
    ) -> Ints:
        """Add constraints ``lower ≤ Σ value × column ≤ upper``."""
        first = self.rows
        self._entry_row.append(np.asarray(row, np.int64) + first)
        self._entry_col.append(np.asarray(column, np.int64))
        self._entry_value.append(np.asarray(value, float))
        self._row_lower.append(np.broadcast_to(np.asarray(lower, float), count).copy())
        self._row_upper.append(np.broadcast_to(np.asarray(upper, float), count).copy())
        self.rows += count
        return np.arange(first, first + count)

    def costs(self) -> list[Floats]:
        """Return the objective of the columns added so far, block by block."""
        return self._cost

    def finish(self) -> Model:
        """Join the blocks into one model."""
        row = np.concatenate([*self._entry_row, np.zeros(0, np.int64)])
        col = np.concatenate([*self._entry_col, np.zeros(0, np.int64)])
        value = np.concatenate([*self._entry_value, _EMPTY])
        order = np.lexsort((col, row))
        starts = np.searchsorted(row[order], np.arange(self.rows + 1))
        return Model(
            cost=np.concatenate([*self._cost, _EMPTY]),
            lower=np.concatenate([*self._lower, _EMPTY]),
            upper=np.concatenate([*self._upper, _EMPTY]),
            integer=np.concatenate([*self._integer, np.zeros(0, bool)]),
            row_lower=np.concatenate([*self._row_lower, _EMPTY]),
            row_upper=np.concatenate([*self._row_upper, _EMPTY]),
            starts=starts,
            index=col[order],
            value=value[order],
        )


@dataclass(slots=True)
class Model:
    """A finished program; its arrays may be changed between solves, its pattern may not.

    Parameters
    ----------
    cost, lower, upper, integer
        Per column.
    row_lower, row_upper
        Per row.
    starts, index, value
        Coefficients, row by row (compressed sparse rows).
    """

    cost: Floats
    lower: Floats
    upper: Floats
    integer: Flags
    row_lower: Floats
    row_upper: Floats
    starts: Ints
    index: Ints
    value: Floats

    def copy(self) -> Model:
        """Return a copy whose bounds, costs and integer flags can be changed alone."""
        return Model(
            self.cost.copy(),
            self.lower.copy(),
            self.upper.copy(),
            self.integer.copy(),
            self.row_lower.copy(),
            self.row_upper.copy(),
            self.starts,
            self.index,
            self.value,
        )

    def solve(self, effort: Effort, start: Floats | None = None, relaxed: bool = False) -> Solved:
        """Solve it."""
        import highspy

        if not len(self.cost):  # HiGHS does not answer for a program without columns
            possible = bool(((self.row_lower <= 0) & (self.row_upper >= 0)).all())
            value = 0.0 if possible else np.inf
            found = Found.OPTIMAL if possible else Found.INFEASIBLE
            return Solved(found, _EMPTY, value, value, np.zeros(len(self.row_lower)))
        integer = self.integer if not relaxed else np.zeros_like(self.integer)
        solver = _solver(effort)
        solver.passModel(self._for_solver(integer))
        if start is not None and integer.any():
            given = highspy.HighsSolution()
            given.col_value = list(start)
            solver.setSolution(given)
        if solver.run() == highspy.HighsStatus.kError:  # another user of the library set its threads
            solver.resetGlobalScheduler(True)
            solver.run()
        solved = _read(solver, bool(integer.any()))
        if start is not None and solved.has_values and not self._adds_up(solved):
            return self.solve(effort, relaxed=relaxed)
        return solved

    def _adds_up(self, solved: Solved) -> bool:
        """Whether the objective is that of the values: HiGHS 1.16 may hand a start back as optimal."""
        return bool(np.isclose(self.cost @ solved.values, solved.objective, rtol=1e-6, atol=1e-6))

    def _for_solver(self, integer: Flags) -> Any:
        import highspy

        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.cost), len(self.row_lower)
        lp.col_cost_, lp.col_lower_, lp.col_upper_ = self.cost, self.lower, self.upper
        lp.row_lower_, lp.row_upper_ = self.row_lower, self.row_upper
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = self.starts.astype(np.int32)
        lp.a_matrix_.index_ = self.index.astype(np.int32)
        lp.a_matrix_.value_ = self.value
        if integer.any():
            whole, any_number = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
            lp.integrality_ = [whole if flag else any_number for flag in integer]
        return lp


def _solver(effort: Effort) -> Any:
    """Return HiGHS set up the same way every time: one thread, fixed seed, silent."""
    import highspy

    class Silent(highspy.Highs):
        """HiGHS that is silent from the start: its greeting is printed when callbacks are enabled."""

        def enableCallbacks(self) -> None:  # noqa: N802 (its name there)
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    solver: Any = Silent()  # type: ignore[no-untyped-call]
    for option, value in (
        ("threads", 1),
        ("random_seed", 0),
        ("mip_rel_gap", effort.gap),
        ("mip_abs_gap", 1e-7),
        ("time_limit", max(0.05, effort.time_limit_s)),
        ("mip_feasibility_tolerance", 1e-7),
    ):
        solver.setOptionValue(option, value)
    if effort.nodes is not None:
        solver.setOptionValue("mip_max_nodes", effort.nodes)
    if effort.lookout is not None:
        solver.setOptionValue("mip_heuristic_effort", effort.lookout)
        # Of ten properties of 20 plots with jobs and two timings six are proved to 0.1 % in 10 s without it,
        # four with it.
        solver.setOptionValue("mip_heuristic_run_rens", False)
    if effort.light:
        solver.setOptionValue("presolve", "off")
        solver.setOptionValue("mip_heuristic_effort", 0.0)
        solver.setOptionValue("mip_heuristic_run_feasibility_jump", False)
        solver.setOptionValue("mip_detect_symmetry", False)
    return solver


def _read(solver: Any, is_integer: bool) -> Solved:
    from highspy import HighsModelStatus as Status
    from highspy import SolutionStatus

    status, info = solver.getModelStatus(), solver.getInfo()
    if status in (Status.kInfeasible, Status.kUnboundedOrInfeasible):
        return Solved(Found.INFEASIBLE, _EMPTY, np.inf, np.inf, _EMPTY)
    if info.primal_solution_status != SolutionStatus.kSolutionStatusFeasible:
        bound = info.mip_dual_bound if is_integer else -np.inf
        return Solved(Found.NOTHING, _EMPTY, np.inf, bound, _EMPTY)
    solution = solver.getSolution()
    objective = float(info.objective_function_value)
    found = Found.OPTIMAL if status == Status.kOptimal else Found.LIMITED
    values = np.array(solution.col_value)
    if is_integer:
        return Solved(found, values, objective, float(info.mip_dual_bound), _EMPTY)
    bound = objective if found is Found.OPTIMAL else -np.inf
    return Solved(found, values, objective, bound, np.array(solution.row_dual))
