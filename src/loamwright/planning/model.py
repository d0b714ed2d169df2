"""What is the cheapest whole purchase that meets every need? The mixed-integer program itself.

`build` turns a checked request into one program over the whole property; `settle` cleans a solution up
(whole numbers exactly whole, nothing spread beyond what is needed). This file knows kilograms, limits and
costs; sentences about them are made in `lines` and `shortfalls`.

The program
-----------
Columns: the amount of each *pass* (product in a job) as a share of the most that pass could usefully be; a
switch for each *job* (one trip over a plot, at a time, with a machine and a load); half packages of each
product on a plot at a time, where they are asked for; whole packages of each offer and price tier; stock
taken; one delivery per seller ordered from (see `packages`).

Rows: each need met within its band; each cap kept; smallest rates; products per plot; product spread ≤
packages and stock; order sizes, price tiers and delivery fees. Which jobs and passes there are, and between
which amounts, is worked out in `passes`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loamwright.planning.inputs import (
    Request,
    band_of,
    half_bucket_kg,
    half_package_kg,
    is_lime,
    logged_kg,
    lowest_rate_kg_ha,
    need_values,
    needed_kg,
)
from loamwright.planning.packages import (
    Tier,
    add_loads,
    add_offers,
    add_pools,
    carrying_cost_per_kg,
    list_tiers,
)
from loamwright.planning.passes import (
    ANY_TIME,
    TIMES,
    Cell,
    Passes,
    cap_matrix,
    capped_matrix,
    content_matrix,
    list_passes,
    need_cells,
    supply_keys,
)
from loamwright.planning.records import PlanLine
from loamwright.planning.solver import Effort, Flags, Floats, Found, Ints, Model, Program
from loamwright.values import Supply


@dataclass(frozen=True, slots=True)
class Servings:
    """Each product on a plot at a time, whatever the job, as parallel arrays.

    Parameters
    ----------
    plot, ware
        Indices.
    of_pass
        The serving of each pass.
    half_kg
        Half a package, or what a logged setting puts on [kg]; zero where it is not counted.
    taken, halves, odd
        Column indices: used or not, half packages, and whether a part of one is weighed out on top; -1 =
        no such column.
    """

    plot: Ints
    ware: Ints
    of_pass: Ints
    half_kg: Floats
    taken: Ints
    halves: Ints
    odd: Ints


@dataclass(frozen=True, slots=True)
class PlanModel:
    """The program of one request, with the meaning of its columns.

    Parameters
    ----------
    request
        What was asked.
    supplies
        Supply keys in use.
    caps
        [plot, supply] kg, infinite where not capped.
    cells, met
        The needs, and the share of each the program must meet [fraction].
    passes, tiers
        Columns by meaning.
    amount, count, order, stock, share
        Column indices: amount per pass, count and order per tier (-1 = no order column), stock per ware
        (-1 = none), share met per cell (only when the needs are elastic).
    switch
        Column index per job, made or not; -1 = free to make.
    servings
        The products on a plot at a time, whatever the job, and their columns.
    owner
        Plot of each column; -1 for what plots share.
    switch_rows
        Rows that hold amounts under a switch, and what several loads of a day bring to one pass.
    over, over_at
        Columns by which a cap is exceeded [kg], and the (plot, supply) of each (only with soft caps).
    supply_row
        Row of the pool of each ware; -1 when it has none.
    load_rows
        Rows that count the loads a machine brings of a product.
    need_rows
        (row, cell indices) of every need row.
    total_rows
        Rows that only repeat for the whole property what needs and pools say, for the proof's sake.
    model
        The program.
    """

    request: Request
    supplies: tuple[Supply, ...]
    caps: Floats
    cells: tuple[Cell, ...]
    met: Floats
    passes: Passes
    tiers: tuple[Tier, ...]
    amount: Ints
    switch: Ints
    servings: Servings
    owner: Ints
    switch_rows: Ints
    count: Ints
    order: Ints
    stock: Ints
    share: Ints
    over: Ints
    over_at: tuple[tuple[int, int], ...]
    supply_row: Ints
    load_rows: Ints
    need_rows: tuple[tuple[int, tuple[int, ...]], ...]
    total_rows: Ints
    model: Model


@dataclass(frozen=True, slots=True)
class Solution:
    """Amounts of a plan, cleaned up.

    Parameters
    ----------
    mass_kg
        Per pass [kg]; zero for passes not made.
    units
        Per tier [units of the tier].
    stock_kg
        Per ware [kg].
    values
        The columns behind them.
    """

    mass_kg: Floats
    units: Floats
    stock_kg: Floats
    values: Floats


#: What the solver may leave of a constraint, so that one is not asked for what others only nearly give.
_ROUNDING = 1e-6

# ---------------------------------------------------------------------------------------------
# The program


def build(
    request: Request,
    met: Floats | None = None,
    elastic: bool = False,
    soft_caps: bool = False,
    weighed: Sequence[PlanLine] | None = None,
) -> PlanModel:
    """Write the program of a request; of a plan weighed out, the program that counts it out."""
    supplies = supply_keys(request)
    content = content_matrix(request.wares, supplies)
    caps = cap_matrix(request.plots, supplies)
    cells = need_cells(request, supplies)
    wanted = np.ones(len(cells)) if met is None else np.clip(met, 0.0, 1.0)
    bounding = np.full_like(caps, math.inf) if soft_caps else caps
    passes = list_passes(request, content, bounding, cells)
    tiers = list_tiers(request, passes)
    program = _Owned()
    amount = program.add_columns(
        passes.count,
        cost=passes.jobs.fill_cost_per_kg[passes.job] * passes.high_kg,
        lower=np.where(passes.forced, 1.0, 0.0),
        upper=1.0,
        owner=passes.plot,
    )
    switch, switch_rows = _add_jobs(request, program, passes, amount)
    servings, more_rows = _add_servings(request, program, passes, amount, weighed)
    switch_rows = np.concatenate([switch_rows, more_rows])
    counted_content = capped_matrix(request.wares, supplies)
    over, over_at = _add_caps(program, passes, amount, counted_content, caps, soft_caps)
    _add_edges(request, program, passes, amount, supplies)
    share = program.add_columns(
        len(cells) if elastic else 0,
        upper=wanted if elastic else 1.0,
        owner=np.array([cell.plot for cell in cells], np.int64) if elastic else -1,
    )
    need_rows = _add_needs(request, program, passes, amount, cells, wanted, share)
    pool = add_offers(request, program, tiers)
    supply_row, stock = add_pools(request, program, passes, amount, tiers, pool.count)
    load_rows = add_loads(request, program, passes, amount)
    total_rows = np.zeros(0, np.int64)
    if not elastic:
        total_rows = _add_totals(request, program, content, cells, wanted, tiers, pool.count, stock)
    if elastic and request.terms.budget is not None:
        cost = np.concatenate(program.costs())
        cost[servings.odd[servings.odd >= 0]] = 0.0
        paid = np.flatnonzero(cost)
        program.add_rows(
            1, np.zeros(len(paid), np.int64), paid, cost[paid], upper=float(request.terms.budget)
        )
    return PlanModel(
        request,
        supplies,
        caps,
        cells,
        wanted,
        passes,
        tiers,
        amount,
        switch,
        servings,
        program.owners(),
        switch_rows,
        pool.count,
        pool.order,
        stock,
        share,
        over,
        over_at,
        supply_row,
        load_rows,
        need_rows,
        total_rows,
        program.finish(),
    )


class _Owned(Program):
    """A program that remembers which plot a column belongs to."""

    def __init__(self) -> None:
        super().__init__()
        self._owner: list[Ints] = []

    def add_columns(
        self,
        count: int,
        cost: float | Floats = 0.0,
        lower: float | Floats = 0.0,
        upper: float | Floats = np.inf,
        integer: bool | Flags = False,
        owner: int | Ints = -1,
    ) -> Ints:
        self._owner.append(np.broadcast_to(np.asarray(owner, np.int64), count).copy())
        return super().add_columns(count, cost, lower, upper, integer)

    def owners(self) -> Ints:
        """Plot of each column; -1 for what plots share."""
        return np.concatenate([*self._owner, np.zeros(0, np.int64)])


def _least_share(request: Request, passes: Passes) -> Floats:
    """What one pass at its most counts towards the smallest rate of its job; zero where none is asked.

    In a mixed load every product counts by its own smallest rate: half of one product's and half of
    another's make a whole one.
    """
    share = np.zeros(passes.count)
    low = np.array([lowest_rate_kg_ha(ware.product, request.terms) for ware in request.wares])[passes.ware]
    low_kg = low * passes.area_ha
    jobs_with_least = np.ones(passes.jobs.count, bool)
    np.logical_and.at(jobs_with_least, passes.job, (low_kg > 0) & ~passes.forced)
    asked = jobs_with_least[passes.job]
    share[asked] = np.minimum(passes.high_kg[asked] / low_kg[asked], 1e4)
    return share


def _add_jobs(request: Request, program: _Owned, passes: Passes, amount: Ints) -> tuple[Ints, Ints]:
    """Add the on-off columns of jobs and their smallest rates."""
    jobs = passes.jobs
    least = _least_share(request, passes)
    several = np.bincount(passes.job, minlength=jobs.count) > 1
    needed = (jobs.cost > 0) | several
    needed[passes.job[least > 0]] = True
    switch = np.full(jobs.count, -1, np.int64)
    on = np.flatnonzero(needed)
    switch[on] = program.add_columns(
        len(on),
        cost=jobs.cost[on],
        lower=jobs.forced[on].astype(float),
        upper=1.0,
        integer=True,
        owner=jobs.plot[on],
    )
    held = np.flatnonzero((switch[passes.job] >= 0) & ~passes.forced)
    rows = np.arange(len(held))
    switch_rows = program.add_rows(
        len(held),
        np.concatenate([rows, rows]),
        np.concatenate([amount[held], switch[passes.job[held]]]),
        np.concatenate([np.ones(len(held)), -np.ones(len(held))]),
        upper=0.0,
    )
    low = np.flatnonzero(least > 0)
    with_least, row = np.unique(passes.job[low], return_inverse=True)
    program.add_rows(
        len(with_least),
        np.concatenate([row, np.arange(len(with_least))]),
        np.concatenate([amount[low], switch[with_least]]),
        np.concatenate([least[low], -np.ones(len(with_least))]),
        lower=0.0,
    )
    return switch, switch_rows


def _add_servings(
    request: Request, program: _Owned, passes: Passes, amount: Ints, weighed: Sequence[PlanLine] | None
) -> tuple[Servings, Ints]:
    """Add what belongs to a product on a plot at a time: the places it takes, and its half packages."""
    key = (passes.plot * len(TIMES) + passes.time) * max(1, len(request.wares)) + passes.ware
    _keys, first, of_pass = np.unique(key, return_index=True, return_inverse=True)
    plot, ware = passes.plot[first], passes.ware[first]
    number = len(first)
    forced = np.zeros(number, bool)
    np.logical_or.at(forced, of_pass, passes.forced)
    crowds = _crowds(request, plot, ware, passes.time[first], forced)
    crowded = np.zeros(number, bool)
    for members, _room in crowds:
        crowded[members] = True
    taken = np.full(number, -1, np.int64)
    on = np.flatnonzero(crowded & ~forced)
    taken[on] = program.add_columns(len(on), upper=1.0, integer=True, owner=plot[on])
    held = np.flatnonzero(taken[of_pass] >= 0)
    rows = np.arange(len(held))
    taken_rows = program.add_rows(
        len(held),
        np.concatenate([rows, rows]),
        np.concatenate([amount[held], taken[of_pass[held]]]),
        np.concatenate([np.ones(len(held)), -np.ones(len(held))]),
        upper=0.0,
    )
    program.add_rows(
        len(crowds),
        np.repeat(np.arange(len(crowds)), [len(members) for members, _room in crowds]),
        taken[np.concatenate([np.zeros(0, np.int64), *(members for members, _room in crowds)])],
        np.ones(sum(len(members) for members, _room in crowds)),
        upper=np.array([room for _members, room in crowds], float),
    )
    load_rows = _one_load_at_most(program, amount, of_pass)
    half, halves, odd = np.zeros(number), np.full(number, -1, np.int64), np.full(number, -1, np.int64)
    if weighed is not None:
        size, most = _sizes(request, plot, ware, weighed)
        half = np.where(forced, 0.0, size)
        halves, odd = _add_halves(request, program, passes, amount, of_pass, plot, half, most)
    servings = Servings(plot, ware, of_pass, half, taken, halves, odd)
    return servings, np.concatenate([taken_rows, load_rows])


def _one_load_at_most(program: _Owned, amount: Ints, of_pass: Ints) -> Ints:
    """Hold a product that two loads of the same day could carry to what one pass may bring."""
    several = np.bincount(of_pass) > 1 if len(of_pass) else np.zeros(0, bool)
    inside = np.flatnonzero(several[of_pass]) if len(of_pass) else np.zeros(0, np.int64)
    shared, row = np.unique(of_pass[inside], return_inverse=True)
    return program.add_rows(len(shared), row, amount[inside], np.ones(len(inside)), upper=1.0)


def _add_halves(
    request: Request,
    program: _Owned,
    passes: Passes,
    amount: Ints,
    of_pass: Ints,
    plot: Ints,
    half: Floats,
    most_halves: Floats,
) -> tuple[Ints, Ints]:
    """Count products by halves, or spread them at a logged setting; else they are weighed, which costs."""
    number = len(plot)
    halves, odd = np.full(number, -1, np.int64), np.full(number, -1, np.int64)
    price = float(request.terms.odd_amount_cost)
    most = np.zeros(number)
    np.maximum.at(most, of_pass, passes.high_kg)
    on = np.flatnonzero(half > 0)
    upper = np.minimum(np.floor(most[on] / half[on] + 1e-9), most_halves[on])
    halves[on] = program.add_columns(len(on), upper=upper, integer=True, owner=plot[on])
    odd[on] = program.add_columns(len(on), cost=price, upper=1.0, integer=True, owner=plot[on])
    inside = np.flatnonzero(half[of_pass] > 0)
    row = np.searchsorted(on, of_pass[inside])
    entries = (
        np.concatenate([row, np.arange(len(on))]),
        np.concatenate([amount[inside], halves[on]]),
        np.concatenate([passes.high_kg[inside] / half[of_pass[inside]], -np.ones(len(on))]),
    )
    program.add_rows(len(on), *entries, lower=0.0)
    program.add_rows(
        len(on),
        np.concatenate([entries[0], np.arange(len(on))]),
        np.concatenate([entries[1], odd[on]]),
        np.concatenate([entries[2], -np.ones(len(on))]),
        upper=0.0,
    )
    return halves, odd


def _sizes(request: Request, plot: Ints, ware: Ints, weighed: Sequence[PlanLine]) -> tuple[Floats, Floats]:
    """What each serving is counted in [kg], 0 = weighed, and how often at most.

    Packages by halves; what is not packed, once what a logged setting puts on, else by halves of a bucket.
    """
    halves = np.array([half_package_kg(one, request.offers) for one in request.wares])
    buckets = np.array([half_bucket_kg(one, request.offers) for one in request.wares])
    size = halves[ware]
    most = np.full(len(size), math.inf)
    near: dict[tuple[str, str], list[float]] = {}
    for line in weighed:
        near.setdefault((line.plot_id, line.product), []).append(line.mass_kg)
    for row in np.flatnonzero(size == 0) if request.terms.logged_kg_ha else ():
        place, goods = request.plots[plot[row]], request.wares[ware[row]]
        if amounts := near.get((place.plot_id, goods.product.product)):
            size[row], most[row] = logged_kg(place, goods, amounts, request.terms), 1.0
    loose = size == 0
    size[loose], most[loose] = buckets[ware[loose]], math.inf
    return size, most


def _crowds(request: Request, plot: Ints, ware: Ints, time: Ints, forced: Flags) -> list[tuple[Ints, int]]:
    """Name the servings that compete for places on a plot, and how many places there are.

    At each dated time a plot takes so many fertilizer products. Those at any time have as many places of
    their own; where nothing is mixed they may besides take places left over at the plot's dated times (see
    `lines.spreads`).
    """
    most = request.terms.max_products_per_plot
    if most is None:
        return []
    fertilizer = np.array([not is_lime(one) for one in request.wares], bool)[ware]
    crowds: list[tuple[Ints, int]] = []

    def add(members: Ints, places: int) -> None:
        if len(members) > places:
            held = int(forced[members].sum())
            crowds.append((members[~forced[members]], max(0, places - held)))

    for number in range(len(request.plots)):
        here = np.flatnonzero((plot == number) & fertilizer)
        dated = [here[time[here] == place] for place in range(ANY_TIME)]
        dated = [members for members in dated if len(members)]
        for members in dated:
            add(members, most)
        loose = here[time[here] == ANY_TIME]
        if request.terms.mixing:  # what is free in time has a place in every trip, not only one of its own
            add(loose, most)
        elif len(loose) > most:
            add(here, most * (1 + len(dated)))
    return crowds


def _add_caps(
    program: _Owned, passes: Passes, amount: Ints, content: Floats, caps: Floats, soft: bool
) -> tuple[Ints, tuple[tuple[int, int], ...]]:
    """Add a row for each cap that the plot's passes together could break; soft ones get a column."""
    columns: list[Ints] = []
    at: list[tuple[int, int]] = []
    for supply in range(content.shape[1]):
        brings = content[passes.ware, supply] * passes.high_kg
        reach = np.bincount(passes.plot, brings, minlength=len(caps))
        tight = (reach > caps[:, supply] * (1 + 1e-9)) & (soft | (caps[:, supply] > 0))
        part = np.flatnonzero(tight[passes.plot] & (brings > 0))
        plots, row = np.unique(passes.plot[part], return_inverse=True)
        scale = np.maximum(caps[plots, supply], 1e-3 * reach[plots])
        program_rows = [row]
        entries = [amount[part]]
        values = [brings[part] / scale[row]]
        if soft:
            over = program.add_columns(len(plots), owner=plots)
            columns.append(over)
            at.extend((int(plot), supply) for plot in plots)
            program_rows.append(np.arange(len(plots)))
            entries.append(over)
            values.append(-1.0 / scale)
        program.add_rows(
            len(plots),
            np.concatenate(program_rows),
            np.concatenate(entries),
            np.concatenate(values),
            upper=caps[plots, supply] / scale,
        )
    joined = np.concatenate(columns) if columns else np.zeros(0, np.int64)
    return joined, tuple(at)


def _add_edges(
    request: Request,
    program: _Owned,
    passes: Passes,
    amount: Ints,
    supplies: tuple[str, ...],
) -> None:
    """Hold what is put on for one nutrient alone under the upper edge of its band."""
    place = {key: number for number, key in enumerate(supplies)}
    first = np.searchsorted(passes.plot, np.arange(len(request.plots) + 1))
    for number, plot in enumerate(request.plots):
        need = needed_kg(plot)
        wanted = np.array([key in need for key in supplies], bool)
        here = np.arange(first[number], first[number + 1])
        for supply in sorted(need):
            high = band_of(plot, supply).high
            if not math.isfinite(high):
                continue
            column = place[supply]
            brings = passes.serving[here, column] * passes.high_kg[here]
            alone = (brings > 0) & ((passes.serving[here] > 0)[:, wanted].sum(axis=1) == 1)
            smallest = (passes.serving[here, column] * passes.low_kg[here])[alone].min(initial=math.inf)
            edge = high * need[supply]
            edge = max(edge, smallest) if math.isfinite(smallest) else edge
            if brings[alone & ~passes.forced[here]].sum() > edge:
                count = int(alone.sum())
                program.add_rows(
                    1,
                    np.zeros(count, np.int64),
                    amount[here[alone]],
                    brings[alone] / edge,
                    upper=max(1.0, float(brings[alone & passes.forced[here]].sum()) / edge),
                )


def _add_needs(
    request: Request,
    program: Program,
    passes: Passes,
    amount: Ints,
    cells: tuple[Cell, ...],
    met: Floats,
    share: Ints,
) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """Add one row for each need tied to a time, and one for the whole of each need free in time."""
    supplies = supply_keys(request)
    by_supply: dict[tuple[int, int], list[int]] = {}
    for number, cell in enumerate(cells):
        by_supply.setdefault((cell.plot, cell.supply), []).append(number)
    groups: list[tuple[int, int, int, tuple[int, ...]]] = []  # plot, supply, time, cells
    for (plot, supply), members in by_supply.items():
        groups.extend((plot, supply, cells[m].time, (m,)) for m in members if cells[m].time != ANY_TIME)
        if any(cells[m].time == ANY_TIME for m in members):
            groups.append((plot, supply, ANY_TIME, tuple(members)))
    first_pass = np.searchsorted(passes.plot, np.arange(max((cell.plot for cell in cells), default=0) + 2))
    rows: list[Ints] = []
    columns: list[Ints] = []
    values: list[Floats] = []
    lower = np.zeros(len(groups))
    for row, (plot, supply, time, served) in enumerate(groups):
        band = band_of(request.plots[plot], supplies[supply])
        total = band.low * sum(cells[m].mass_kg for m in served)
        here = np.arange(first_pass[plot], first_pass[plot + 1])
        brings = passes.serving[here, supply] * passes.high_kg[here]
        used = brings > 0
        if time != ANY_TIME:
            used &= passes.time[here] == time
        columns.append(amount[here[used]])
        values.append(brings[used] / total)
        rows.append(np.full(int(used.sum()), row))
        if len(share):
            columns.append(share[list(served)])
            values.append(np.array([-band.low * cells[m].mass_kg / total for m in served]))
            rows.append(np.full(len(served), row))
        else:
            lower[row] = sum(band.low * cells[m].mass_kg / total * met[m] for m in served)
    if not groups:
        return ()
    indices = program.add_rows(
        len(groups), np.concatenate(rows), np.concatenate(columns), np.concatenate(values), lower=lower
    )
    return tuple((int(index), group[3]) for index, group in zip(indices, groups, strict=True))


def _add_totals(
    request: Request,
    program: Program,
    content: Floats,
    cells: tuple[Cell, ...],
    met: Floats,
    tiers: tuple[Tier, ...],
    count: Ints,
    stock: Ints,
) -> Ints:
    """Ask that what is bought or in stock holds what all plots together need of each nutrient.

    The needs and the pools say as much; said of whole packages alone, the solver sees at once what rounding
    them up costs.
    """
    supplies = supply_keys(request)
    total = np.zeros(len(supplies))
    for cell, share in zip(cells, met, strict=True):
        total[cell.supply] += (
            band_of(request.plots[cell.plot], supplies[cell.supply]).low * cell.mass_kg * share
        )
    total *= (1 + request.terms.spare) * (1 - _ROUNDING)
    tier_ware = np.array([tier.ware for tier in tiers], np.int64)
    unit_kg = np.array([tier.unit_kg for tier in tiers])
    stocked = np.flatnonzero(stock >= 0)
    columns = np.concatenate([count, stock[stocked]])
    held = np.concatenate([content[tier_ware] * unit_kg[:, None], content[stocked]])
    asked = np.flatnonzero(total)
    row, place = np.nonzero(held[:, asked].T)
    return program.add_rows(
        len(asked), row, columns[place], held[place, asked[row]] / total[asked[row]], lower=1.0
    )


def coverage_cost(plan_model: PlanModel) -> Floats:
    """Give the objective that counts what is *not* met, for the elastic program."""
    value = cell_values(plan_model)
    cost = np.zeros(len(plan_model.model.cost))
    if len(plan_model.share):
        cost[plan_model.share] = -value
    return cost


def cell_values(plan_model: PlanModel) -> Floats:
    """Give what meeting each need is worth, as a share of everything."""
    of_plot = [need_values(plot) for plot in plan_model.request.plots]
    values = np.array(
        [of_plot[cell.plot][plan_model.supplies[cell.supply], TIMES[cell.time]] for cell in plan_model.cells]
    )
    whole = values.sum()
    return values / whole if whole > 0 else np.full(len(values), 1.0 / max(1, len(values)))


# ---------------------------------------------------------------------------------------------
# Cleaning a solution up


def settle(plan_model: PlanModel, values: Floats) -> Solution | None:
    """Make a solver's solution exact: whole numbers whole, nothing spread that is not needed.

    Notes
    -----
    With every whole number fixed the rest is a linear program. Among amounts that cost the same it takes
    those nearest to the whole need, and among these the least product by price, so that what is not needed
    stays in the bag and what is needed does not.
    """
    model = plan_model.model.copy()
    whole = model.integer
    model.lower[whole] = np.round(values[whole])
    model.upper[whole] = model.lower[whole]
    price = reference_prices(plan_model)
    passes = plan_model.passes
    model.cost[plan_model.amount] += 1e-5 * passes.high_kg * price[passes.ware]
    if len(plan_model.share):  # what was reached for is kept
        model.lower[plan_model.share] = np.maximum(0.0, values[plan_model.share] - 1e-9)
    columns = len(model.cost)
    if not len(plan_model.share):
        model = _towards_the_need(plan_model, model)
    solved = model.solve(Effort(), relaxed=True)
    if solved.found is not Found.OPTIMAL:
        slack = model.row_lower[[row for row, _cells in plan_model.need_rows]]
        model.row_lower[[row for row, _cells in plan_model.need_rows]] = slack * (1 - 1e-6)
        solved = model.solve(Effort(), relaxed=True)
        if solved.found is not Found.OPTIMAL:
            return None
    exact = np.clip(solved.values, model.lower, model.upper)[:columns]
    exact[whole] = model.lower[:columns][whole]
    return _read(plan_model, exact)


#: What the part of a need that its band forgives counts in settling, against the cost of everything.
_NEARNESS = 1e-4


def _towards_the_need(plan_model: PlanModel, model: Model) -> Model:
    """Ask for the whole need where a band asks for less, with a column for what is forgiven of it."""
    rows, full = [], []
    for row, members in plan_model.need_rows:
        cell = plan_model.cells[members[0]]
        low = band_of(plan_model.request.plots[cell.plot], plan_model.supplies[cell.supply]).low
        if low < 1 and all(plan_model.met[m] == 1 for m in members):
            rows.append(row)
            full.append(model.row_lower[row] / low)
    if not rows:
        return model
    at, wanted = np.array(rows), np.array(full)
    weight = _NEARNESS * max(1.0, float(np.abs(model.cost).max())) / len(rows)
    forgiven = wanted - model.row_lower[at]
    model.row_lower[at] = wanted
    number = np.arange(len(model.cost), len(model.cost) + len(rows))
    ends = model.starts[at + 1]
    order = np.argsort(ends, kind="stable")
    longer = np.zeros(len(model.starts), np.int64)
    np.add.at(longer, at + 1, 1)
    return Model(
        cost=np.concatenate([model.cost, np.full(len(rows), weight)]),
        lower=np.concatenate([model.lower, np.zeros(len(rows))]),
        upper=np.concatenate([model.upper, forgiven]),
        integer=np.concatenate([model.integer, np.zeros(len(rows), bool)]),
        row_lower=model.row_lower,
        row_upper=model.row_upper,
        starts=model.starts + np.cumsum(longer),
        index=np.insert(model.index, ends[order], number[order]),
        value=np.insert(model.value, ends[order], 1.0),
    )


def _read(plan_model: PlanModel, values: Floats) -> Solution:
    passes, servings = plan_model.passes, plan_model.servings
    share = values[plan_model.amount].copy()
    switch = plan_model.switch[passes.job]
    on = switch >= 0
    share[on] *= values[switch[on]] > 0.5
    share[share < 1e-7] = 0.0
    mass = share * passes.high_kg
    mass = _counted_out(mass, servings, values)
    mass = _topped_up(plan_model, mass, values)
    stock = np.zeros(len(plan_model.request.wares))
    has = plan_model.stock >= 0
    stock[has] = values[plan_model.stock[has]]
    return Solution(mass, values[plan_model.count], stock, values)


def _counted_out(mass: Floats, servings: Servings, values: Floats) -> Floats:
    """Make amounts in half packages exact."""
    total = np.zeros(len(servings.plot))
    np.add.at(total, servings.of_pass, mass)
    counted = np.flatnonzero((servings.half_kg > 0) & (total > 0))
    exact = total.copy()
    plain = counted[values[servings.odd[counted]] < 0.5]
    exact[plain] = values[servings.halves[plain]] * servings.half_kg[plain]
    factor = np.divide(exact, total, out=np.ones_like(total), where=total > 0)
    return np.asarray(mass * factor[servings.of_pass], float)


def _topped_up(plan_model: PlanModel, mass: Floats, values: Floats) -> Floats:
    """Raise amounts by the few parts in a billion that rounding in the solver left short."""
    passes = plan_model.passes
    mass = mass.copy()
    order = np.argsort(passes.plot, kind="stable")
    bounds = np.searchsorted(passes.plot[order], np.arange(len(plan_model.request.plots) + 1))
    for _row, members in plan_model.need_rows:
        cell = plan_model.cells[members[0]]
        part = values[plan_model.share] if len(plan_model.share) else plan_model.met
        low = band_of(plan_model.request.plots[cell.plot], plan_model.supplies[cell.supply]).low
        wanted = low * sum(plan_model.cells[m].mass_kg * float(part[m]) for m in members)
        here = order[bounds[cell.plot] : bounds[cell.plot + 1]]
        if len(members) == 1 and cell.time != ANY_TIME:
            here = here[passes.time[here] == cell.time]
        brings = passes.serving[here, cell.supply] * mass[here]
        got = float(brings.sum())
        if 0 < wanted - got <= 1e-5 * wanted and got > 0:
            mass[here[brings > 0]] *= wanted / got * (1 + 1e-15)
    return mass


def reference_prices(plan_model: PlanModel) -> Floats:
    """Give the lowest price by weight at which each ware can be had."""
    price = np.full(len(plan_model.request.wares), np.inf)
    request = plan_model.request
    for tier in plan_model.tiers:
        carrying = carrying_cost_per_kg(request, request.offers[tier.offer])
        price[tier.ware] = min(price[tier.ware], tier.unit_price / tier.unit_kg + carrying)
    return np.where(np.isfinite(price), price, 0.0)
