"""How fast and how near to proof is the planner? Run ``python -m tests.benchmarks.bench_planner``.

Prints the tables below; ``--quick`` runs one property of each size. Pytest does not collect it. Times are
wall seconds on whatever machine runs it; properties are made up in `properties` and the same every time.

1. Targets: plans by `make_plan`, everything included (checking, search, writing the plan out).
2. The same properties by other means: the same program written plainly (one big M, no bounds from needs,
   no scaling) for `scipy.optimize.milp`; a greedy hand method (each need from the product cheapest for it,
   packages rounded up); the bound of the plain linear relaxation.
3. What each strengthening buys: best cost and bound after each stage of the search.
4. Jobs and mixing against the same question written plainly (`plain_jobs`) for scipy: the time each takes
   to the same gap, or the gap it has when the time is up.

``--jobs`` runs the properties with jobs only.
"""

from __future__ import annotations

import argparse
import math
import resource
import statistics
import sys
import time
from dataclasses import dataclass, replace

import numpy as np
from rich.console import Console
from rich.table import Table
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from loamwright.planning.alternatives import compare_habits
from loamwright.planning.inputs import check_request, is_lime
from loamwright.planning.model import build
from loamwright.planning.planner import make_plan
from loamwright.planning.records import Outcome
from loamwright.planning.search import search
from loamwright.planning.solver import Effort
from loamwright.values import Timing
from tests.benchmarks.plain_jobs import plain_jobs
from tests.benchmarks.properties import Case, make_case


@dataclass(frozen=True, slots=True)
class Target:
    """A size, and what is asked of it."""

    plots: int
    offers: int
    timings: int
    gap: float
    seconds: float
    seeds: tuple[int, ...]

    @property
    def name(self) -> str:
        return f"{self.plots:,} × {self.offers} × {self.timings}"


TARGETS = (
    Target(20, 15, 2, 0.001, 10, (1, 2, 3, 4, 5, 6, 7)),
    Target(100, 30, 2, 0.005, 10, (1, 2, 3)),
    Target(1000, 30, 1, 0.005, 60, (1,)),
)
KINDS = ("plain", "full", "jobs")


def peak_gb() -> float:
    """Most memory this process has held so far [GB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2


# ---------------------------------------------------------------------------------------------
# The same program, written plainly


@dataclass(frozen=True, slots=True)
class Plain:
    """What the plain program brought."""

    cost: float
    bound: float
    relaxed: float
    seconds: float


def plain_milp(case: Case, gap: float, seconds: float) -> Plain:
    """Write the program the textbook way and give it to scipy.

    Every product may go on every plot at each time the plot has a need for, and once at any time; ``mass ≤
    M × switch`` with one M for all; packages as whole numbers without bounds. Nothing is left out, scaled
    or bounded by what a plot needs.
    """
    plots, wares, offers, terms = case.plots, case.wares, case.offers, case.terms
    times: list[list[Timing | None]] = [
        [*sorted({d.timing for d in p.demands if d.timing is not None and d.mass_kg}), None] for p in plots
    ]
    number = {offer.product: place for place, offer in enumerate(offers)}
    pairs = [(p, w, t) for p in range(len(plots)) for w in range(len(wares)) for t in range(len(times[p]))]
    n = len(pairs)
    column = {pair: place for place, pair in enumerate(pairs)}
    big = 2 * max(d.mass_kg / 0.05 for p in plots for d in p.demands)
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    low: list[float] = []
    high: list[float] = []

    def add(entries: list[tuple[int, float]], lower: float, upper: float) -> None:
        rows.extend([len(low)] * len(entries))
        columns.extend(place for place, _value in entries)
        values.extend(value for _place, value in entries)
        low.append(lower)
        high.append(upper)

    for p, plot in enumerate(plots):
        for key in {demand.supply for demand in plot.demands} | set(plot.caps):
            holding = [(w, ware.contents[key]) for w, ware in enumerate(wares) if key in ware.contents]
            everywhere = [(column[p, w, t], c) for w, c in holding for t in range(len(times[p]))]
            need = sum(demand.mass_kg or 0.0 for demand in plot.demands if demand.supply == key)
            add(everywhere, need, plot.caps.get(key, math.inf))
            for t, timing in enumerate(times[p]):
                tied = sum(d.mass_kg or 0.0 for d in plot.demands if d.supply == key and d.timing == timing)
                if timing is not None and tied > 0:
                    add([(column[p, w, t], c) for w, c in holding], tied, math.inf)
        for t in range(len(times[p])):
            counted = [(n + column[p, w, t], 1.0) for w, ware in enumerate(wares) if not is_lime(ware)]
            add(counted, -math.inf, float(terms.max_products_per_plot or n))
            for w, ware in enumerate(wares):
                amount, switch = column[p, w, t], n + column[p, w, t]
                own = ware.product.min_rate_kg_ha
                least = (own if own is not None else terms.min_rate_kg_ha or 0.0) * plot.area_ha
                add([(amount, 1.0), (switch, -big)], -math.inf, 0.0)
                if least > 0:
                    add([(amount, 1.0), (switch, -least)], 0.0, math.inf)
    for w, ware in enumerate(wares):
        offer = number[ware.product.product]
        spread = [(column[p, w, t], 1.0) for p in range(len(plots)) for t in range(len(times[p]))]
        add([*spread, (2 * n + offer, -float(offers[offer].package_kg or 1))], -math.inf, 0.0)
    made = [
        float(terms.spreading_cost_per_ha) * plots[p].area_ha + float(terms.spreading_cost_per_pass)
        for p, _w, _t in pairs
    ]
    cost = np.array([0.0] * n + made + [float(offer.price or 0) for offer in offers])
    matrix = coo_array((values, (rows, columns)), shape=(len(low), len(cost))).tocsr()
    upper = np.array([math.inf] * n + [1.0] * n + [math.inf] * len(offers))
    whole = np.array([0] * n + [1] * n + [1] * len(offers))
    began = time.monotonic()
    limits = {"mip_rel_gap": gap, "time_limit": seconds}
    constraint = LinearConstraint(matrix, low, high)
    found = milp(cost, integrality=whole, bounds=Bounds(0, upper), constraints=constraint, options=limits)
    took = time.monotonic() - began
    relaxed = milp(cost, bounds=Bounds(0, upper), constraints=constraint)
    return Plain(
        float(found.fun) if found.x is not None else math.inf,
        float(found.mip_dual_bound) if found.mip_dual_bound is not None else -math.inf,
        float(relaxed.fun),
        took,
    )


def greedy_cost(case: Case) -> float:
    """Cost of the hand method: every need from the product cheapest for it alone, packages rounded up."""
    found = compare_habits(case.plots, case.wares, case.offers, case.terms)
    return float(next(habit.plan.total_cost for habit in found.habits if habit.name == "single products"))


# ---------------------------------------------------------------------------------------------
# Tables


def percent(part: float) -> str:
    return "–" if not math.isfinite(part) else f"{part * 100:.2f} %"


def targets_table(targets: tuple[Target, ...], kinds: tuple[str, ...]) -> Table:
    table = Table(title="1. Targets")
    names = (
        "plots × offers × timings",
        "kind",
        "asked",
        "median s",
        "worst s",
        "of processor",
        "median gap",
        "worst gap",
    )
    for name in (*names, "proved", "peak GB so far"):
        table.add_column(name, justify="right")
    for target in targets:
        for kind in kinds:
            seconds, worked, gaps, proved = [], [], [], 0
            for seed in target.seeds:
                case = make_case(target.plots, target.offers, target.timings, kind, seed)
                terms = replace(case.terms, gap=target.gap, time_limit_s=target.seconds)
                began, began_work = time.monotonic(), time.process_time()
                plan = make_plan(case.plots, case.wares, case.offers, terms)
                seconds.append(time.monotonic() - began)
                worked.append(time.process_time() - began_work)
                gaps.append(math.inf if plan.gap is None else plan.gap)
                proved += plan.outcome is Outcome.PROVED
            table.add_row(
                target.name,
                kind,
                f"≤ {target.gap:.1%} in {target.seconds:g} s",
                f"{statistics.median(seconds):.2f}",
                f"{max(seconds):.2f}",
                f"{statistics.median(worked):.2f}",
                percent(statistics.median(gaps)),
                percent(max(gaps)),
                f"{proved} of {len(target.seeds)}",
                f"{peak_gb():.2f}",
            )
    return table


def methods_table(sizes: tuple[Target, ...], seconds: float) -> Table:
    table = Table(title=f"2. The same property by other means, {seconds:g} s each (costs against ours)")
    for name in ("size", "kind", "ours $", "gap", "plain milp", "its gap", "by hand", "plain LP bound"):
        table.add_column(name, justify="right")
    for size in sizes:
        for kind in KINDS[:2]:
            case = make_case(size.plots, size.offers, size.timings, kind, 1)
            terms = replace(case.terms, gap=size.gap, time_limit_s=seconds)
            plan = make_plan(case.plots, case.wares, case.offers, terms)
            plain = plain_milp(case, size.gap, seconds)
            ours = float(plan.total_cost)
            table.add_row(
                size.name,
                kind,
                f"{ours:,.2f}",
                percent(math.inf if plan.gap is None else plan.gap),
                f"{plain.cost / ours - 1:+.2%}" if math.isfinite(plain.cost) else "nothing found",
                percent((plain.cost - plain.bound) / plain.cost if math.isfinite(plain.cost) else math.inf),
                f"{greedy_cost(case) / ours - 1:+.1%}",
                f"{plain.relaxed / ours - 1:+.1%}",
            )
    return table


def stages_table(sizes: tuple[Target, ...], seconds: float) -> Table:
    table = Table(title="3. What each step buys")
    for name in ("size", "kind", "step", "cost $", "bound $", "gap", "at s"):
        table.add_column(name, justify="right")
    for size in sizes:
        for kind in KINDS[:2]:
            case = make_case(size.plots, size.offers, size.timings, kind, 1)
            plan_model = build(check_request(case.plots, case.wares, case.offers, case.terms))
            plain = plain_milp(case, size.gap, 0.1)
            table.add_row(size.name, kind, "plain linear relaxation", "", f"{plain.relaxed:,.2f}", "", "")
            direct = plan_model.model.solve(Effort(size.gap, seconds))
            rows = [("tight bounds, solver alone", direct.objective, direct.bound, seconds)]
            found = search(plan_model, size.gap, seconds)
            rows.extend((one.name, one.cost, one.bound, one.seconds) for one in found.stages)
            for name, cost, bound, at in rows:
                known = math.isfinite(cost)
                table.add_row(
                    "",
                    "",
                    name,
                    f"{cost:,.2f}" if known else "–",
                    f"{bound:,.2f}",
                    percent((cost - bound) / cost) if known else "–",
                    f"≤ {at:.0f}" if name.startswith("tight") else f"{at:.2f}",
                )
    return table


def jobs_table(sizes: tuple[Target, ...], seconds: float) -> Table:
    table = Table(title=f"4. Jobs and mixing, written plainly for scipy, at most {seconds:g} s")
    for name in ("size", "asked", "ours s", "ours $", "our gap", "plain s", "plain against ours", "its gap"):
        table.add_column(name, justify="right")
    for size in sizes:
        case = make_case(size.plots, size.offers, size.timings, "jobs", 1)
        terms = replace(case.terms, gap=size.gap, time_limit_s=seconds)
        began = time.monotonic()
        plan = make_plan(case.plots, case.wares, case.offers, terms)
        took = time.monotonic() - began
        plain = plain_jobs(case, size.gap, seconds, places=2)
        ours = float(plan.total_cost)
        found = math.isfinite(plain.cost)
        table.add_row(
            size.name,
            f"≤ {size.gap:.1%}",
            f"{took:.1f}",
            f"{ours:,.2f}",
            percent(math.inf if plan.gap is None else plan.gap),
            f"{plain.seconds:.1f}",
            f"{plain.cost / ours - 1:+.2%}" if found else "nothing found",
            percent((plain.cost - plain.bound) / plain.cost if found else math.inf),
        )
    return table


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="one property of each size")
    parser.add_argument("--jobs", action="store_true", help="only properties with jobs and mixing")
    asked = parser.parse_args()
    quick = asked.quick
    targets = tuple(replace(one, seeds=one.seeds[:1]) for one in TARGETS) if quick else TARGETS
    console = Console(width=120)
    console.print(targets_table(targets, ("jobs",) if asked.jobs else KINDS))
    console.print(jobs_table(TARGETS[:2], 30 if quick else 60))
    if asked.jobs:
        return 0
    console.print(methods_table(TARGETS[:2], 5 if quick else 10))
    console.print(stages_table(TARGETS[:2], 5 if quick else 10))
    return 0


if __name__ == "__main__":
    sys.exit(main())
