"""Jobs and mixing written plainly, for `scipy.optimize.milp`: a second opinion and a yardstick.

Trips are numbered places: at each time of a plot there are so many, each made or not; a product is put into
a place or not; two products that may not be mixed are never in the same one. One big M for all, nothing
bounded by what a plot needs, packages as whole numbers, one machine. The planner lists loads instead and
knows no places.
"""

from __future__ import annotations

import itertools
import math
import time
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from loamwright.planning.inputs import band_of, lowest_rate_kg_ha
from loamwright.supplies.records import Form
from loamwright.values import Timing
from tests.benchmarks.properties import Case


@dataclass(frozen=True, slots=True)
class PlainJobs:
    """What the plain program brought: best cost and bound [money], and the time it took [s]."""

    cost: float
    bound: float
    seconds: float


class _Rows:
    """Columns and rows as they come."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.upper: list[float] = []
        self.whole: list[int] = []
        self.entries: list[tuple[int, int, float]] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def column(self, cost: float = 0.0, upper: float = math.inf, whole: bool = False) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, entries: list[tuple[int, float]], low: float, high: float) -> None:
        self.entries.extend((len(self.low), column, value) for column, value in entries)
        self.low.append(low)
        self.high.append(high)


def plain_jobs(case: Case, gap: float, seconds: float, places: int) -> PlainJobs:
    """Solve it; `places` trips for dry products, as many for lime, at each time of a plot."""
    terms, wares, offers = case.terms, case.wares, case.offers
    machine = terms.machines[0]
    per_kg = float(machine.cost_per_fill) / machine.hopper_kg if machine.hopper_kg else 0.0
    big = 2 * max((d.mass_kg or 0.0) / 0.05 for p in case.plots for d in p.demands)
    rows = _Rows()
    spread: list[list[tuple[int, float]]] = [[] for _ in wares]
    for plot in case.plots:
        tied = sorted({d.timing for d in plot.demands if d.timing is not None and d.mass_kg})
        times: list[Timing | None] = [*tied, None]
        amounts: dict[tuple[int, Timing | None], list[int]] = {}
        for when in times:
            used: dict[int, list[int]] = {}
            for form in (Form.DRY, Form.LIME):
                mine = [w for w, ware in enumerate(wares) if ware.product.form is form]
                for _place in range(places if mine else 0):
                    trip = float(machine.cost_per_job) + float(machine.cost_per_ha) * plot.area_ha
                    made = rows.column(trip, 1.0, whole=True)
                    inside = {}
                    smallest = []
                    for w in mine:
                        mass, there = rows.column(per_kg), rows.column(0.0, 1.0, whole=True)
                        inside[w] = there
                        used.setdefault(w, []).append(there)
                        amounts.setdefault((w, when), []).append(mass)
                        spread[w].append((mass, 1.0))
                        rows.row([(mass, 1.0), (there, -big)], -math.inf, 0.0)
                        rows.row([(there, 1.0), (made, -1.0)], -math.inf, 0.0)
                        least = lowest_rate_kg_ha(wares[w].product, terms) * plot.area_ha
                        smallest.append((mass, 1.0 / least))
                    rows.row([*smallest, (made, -1.0)], 0.0, math.inf)
                    for one, other in itertools.combinations(mine, 2):
                        names = frozenset((wares[one].product.product, wares[other].product.product))
                        if names not in terms.mixing:
                            rows.row([(inside[one], 1.0), (inside[other], 1.0)], -math.inf, 1.0)
            if terms.max_products_per_plot is not None:
                counted = []
                for w, places_of in used.items():
                    if wares[w].product.form is Form.DRY:
                        taken = rows.column(0.0, 1.0)
                        counted.append((taken, 1.0))
                        for there in places_of:
                            rows.row([(taken, 1.0), (there, -1.0)], 0.0, math.inf)
                rows.row(counted, -math.inf, float(terms.max_products_per_plot))
        need: dict[str, float] = {}
        for demand in plot.demands:
            need[demand.supply] = need.get(demand.supply, 0.0) + (demand.mass_kg or 0.0)
        for key in {*need, *plot.caps}:
            band = band_of(plot, key)
            holding = [(w, ware.contents[key]) for w, ware in enumerate(wares) if key in ware.contents]
            every = [(a, c) for w, c in holding for when in times for a in amounts[w, when]]
            rows.row(every, band.low * need.get(key, 0.0), plot.caps.get(key, math.inf))
            for when in tied:
                part = sum(d.mass_kg or 0.0 for d in plot.demands if (d.supply, d.timing) == (key, when))
                rows.row([(a, c) for w, c in holding for a in amounts[w, when]], band.low * part, math.inf)
            wanted = {supply for supply, mass in need.items() if mass > 0}
            if key in wanted and math.isfinite(band.high):
                alone = [(w, c) for w, c in holding if len(wanted & set(wares[w].contents)) == 1]
                least = [c * lowest_rate_kg_ha(wares[w].product, terms) * plot.area_ha for w, c in alone]
                edge = max(band.high * need[key], min(least, default=0.0))
                rows.row([(a, c) for w, c in alone for t in times for a in amounts[w, t]], -math.inf, edge)
    for w, ware in enumerate(wares):
        mine = [
            (rows.column(float(offer.price or 0), math.inf, whole=True), -float(offer.package_kg or 1))
            for offer in offers
            if offer.product == ware.product.product
        ]
        rows.row([*spread[w], *mine], -math.inf, 0.0)
    at = np.array([(r, c) for r, c, _v in rows.entries]).T
    shape = (len(rows.low), len(rows.cost))
    matrix = coo_array(([v for _r, _c, v in rows.entries], (at[0], at[1])), shape=shape).tocsr()
    began = time.monotonic()
    found = milp(
        np.array(rows.cost),
        integrality=np.array(rows.whole),
        bounds=Bounds(0, np.array(rows.upper)),
        constraints=LinearConstraint(matrix, rows.low, rows.high),
        options={"mip_rel_gap": gap, "time_limit": seconds},
    )
    cost = float(found.fun) if found.x is not None else math.inf
    bound = float(found.mip_dual_bound) if found.mip_dual_bound is not None else -math.inf
    return PlainJobs(cost, bound, time.monotonic() - began)
