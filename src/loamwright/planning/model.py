"""What is the cheapest whole purchase that meets every need? The mixed-integer program itself.

`build` turns a checked request into one program over the whole property; `settle` cleans a solution up
(whole numbers exactly whole, nothing spread beyond what is needed). This file knows kilograms, limits and
costs; sentences about them are made in `lines` and `shortfalls`.

The program
-----------
Columns: the amount of each *pass* (product on plot at a time) as a share of the most that pass could
usefully be; a switch for each pass that costs something to make, has a smallest rate or is counted; whole
packages of each offer and price tier; stock taken; one delivery per seller ordered from.

Rows: each need met; each cap kept; smallest rates; products per plot; product spread ≤ packages and stock;
order sizes, price tiers and delivery fees. Which passes there are, and between which amounts, is worked
out in `passes`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from loamwright.planning.inputs import Request, is_lime, need_values
from loamwright.planning.passes import (
    ANY_TIME,
    TIMES,
    Cell,
    Passes,
    cap_matrix,
    content_matrix,
    list_passes,
    need_cells,
    supply_keys,
)
from loamwright.planning.solver import Effort, Floats, Found, Ints, Model, Program
from loamwright.supplies import Offer
from loamwright.values import Supply


@dataclass(frozen=True, slots=True)
class Tier:
    """One price of one offer, over a range of counts.

    Parameters
    ----------
    offer, ware
        Indices.
    unit_kg, unit_price
        What one unit of the count column is: a package, or an increment of bulk [kg], [money].
    packages_per_unit
        1 for packages; increment over package for bulk in increments.
    whole
        Whether the count must be whole.
    price
        For one package, exact.
    first, last
        Range of the count [units].
    """

    offer: int
    ware: int
    unit_kg: float
    unit_price: float
    packages_per_unit: float
    whole: bool
    price: Decimal
    first: float
    last: float


@dataclass(frozen=True, slots=True)
class PlanModel:
    """The program of one request, with the meaning of its columns.

    Parameters
    ----------
    request
        What was asked.
    supplies
        Supply keys in use.
    content
        [ware, supply] kg per kg.
    caps
        [plot, supply] kg, infinite where not capped.
    cells, met
        The needs, and the share of each the program must meet [fraction].
    passes, tiers
        Columns by meaning.
    amount, switch, count, order, stock, share
        Column indices: amount and switch per pass (-1 = no switch), count and order per tier (-1 = no
        order column), stock per ware (-1 = none), share met per cell (only when the needs are elastic).
    switch_rows
        Rows that hold each switched amount under its switch.
    over, over_at
        Columns by which a cap is exceeded [kg], and the (plot, supply) of each (only with soft caps).
    supply_row
        Row of the pool of each ware; -1 when it has none.
    need_rows
        (row, cell indices) of every need row.
    model
        The program.
    """

    request: Request
    supplies: tuple[Supply, ...]
    content: Floats
    caps: Floats
    cells: tuple[Cell, ...]
    met: Floats
    passes: Passes
    tiers: tuple[Tier, ...]
    amount: Ints
    switch: Ints
    switch_rows: Ints
    count: Ints
    order: Ints
    stock: Ints
    share: Ints
    over: Ints
    over_at: tuple[tuple[int, int], ...]
    supply_row: Ints
    need_rows: tuple[tuple[int, tuple[int, ...]], ...]
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


# ---------------------------------------------------------------------------------------------
# Offers


def list_tiers(request: Request, passes: Passes) -> tuple[Tier, ...]:
    """List the prices at which each useful offer can be bought, with the counts worth buying."""
    useful = np.zeros(len(request.wares))
    np.add.at(useful, passes.ware, passes.high_kg)
    ware_number = {ware.product.product: number for number, ware in enumerate(request.wares)}
    tiers: list[Tier] = []
    for number, offer in enumerate(request.offers):
        ware = ware_number[offer.product]
        if offer.offer_id not in request.stock_only and useful[ware] > 0:
            tiers.extend(_tiers_of(number, ware, offer, float(useful[ware])))
    return tuple(tiers)


def _tiers_of(number: int, ware: int, offer: Offer, useful_kg: float) -> list[Tier]:
    assert offer.price is not None
    assert offer.package_kg is not None
    whole = not offer.divisible or offer.increment_kg is not None
    in_steps = offer.divisible and offer.increment_kg is not None
    unit_kg = offer.increment_kg if in_steps and offer.increment_kg is not None else offer.package_kg
    per_unit = unit_kg / offer.package_kg if in_steps else 1.0
    most = math.inf if offer.max_count is None else float(offer.max_count)
    starts = [(0.0, offer.price), *((float(count), price) for count, price in offer.price_breaks)]
    tiers = []
    for place, (start, price) in enumerate(starts):
        end = starts[place + 1][0] if place + 1 < len(starts) else math.inf
        low, high = max(start, float(offer.min_order)), min(most, end)
        first, last = low / per_unit, high / per_unit
        if whole:
            first = float(math.ceil(first - 1e-9))
            last = math.floor(last + 1e-9) if last < math.inf else last
            if end <= most and last * per_unit > end - 1e-9:
                last -= 1  # the next price begins there
        worth = useful_kg / unit_kg
        last = min(last, max(first, math.ceil(worth - 1e-9) if whole else worth))
        if last < first or last <= 0:
            continue
        tiers.append(
            Tier(number, ware, unit_kg, float(price) * per_unit, per_unit, whole, price, first, last)
        )
    return tiers


# ---------------------------------------------------------------------------------------------
# The program


def build(
    request: Request, met: Floats | None = None, elastic: bool = False, soft_caps: bool = False
) -> PlanModel:
    """Write the program of a request."""
    supplies = supply_keys(request)
    content = content_matrix(request.wares, supplies)
    caps = cap_matrix(request.plots, supplies)
    cells = need_cells(request, supplies)
    wanted = np.ones(len(cells)) if met is None else np.clip(met, 0.0, 1.0)
    bounding = np.full_like(caps, math.inf) if soft_caps else caps
    passes = list_passes(request, content, bounding, cells)
    tiers = list_tiers(request, passes)
    program = Program()
    amount = program.add_columns(
        passes.count,
        cost=np.where(passes.forced, passes.cost, 0.0),
        lower=np.where(passes.forced, 1.0, 0.0),
        upper=1.0,
    )
    switch, switch_rows = _add_switches(request, program, passes, amount)
    over, over_at = _add_caps(program, passes, amount, content, caps, soft_caps)
    share = program.add_columns(len(cells) if elastic else 0, upper=wanted if elastic else 1.0)
    need_rows = _add_needs(program, passes, amount, content, cells, wanted, share)
    pool = _add_offers(request, program, tiers)
    supply_row, stock = _add_pools(request, program, passes, amount, tiers, pool.count)
    if elastic and request.terms.budget is not None:
        cost = np.concatenate(program.costs())
        paid = np.flatnonzero(cost)
        program.add_rows(
            1, np.zeros(len(paid), np.int64), paid, cost[paid], upper=float(request.terms.budget)
        )
    return PlanModel(
        request,
        supplies,
        content,
        caps,
        cells,
        wanted,
        passes,
        tiers,
        amount,
        switch,
        switch_rows,
        pool.count,
        pool.order,
        stock,
        share,
        over,
        over_at,
        supply_row,
        need_rows,
        program.finish(),
    )


def _add_switches(request: Request, program: Program, passes: Passes, amount: Ints) -> tuple[Ints, Ints]:
    """Add the on-off columns: where a pass costs money, has a smallest rate, or is counted."""
    crowds = _crowds(request, passes)
    counted = np.zeros(passes.count, bool)
    for members, _room in crowds:
        counted[members] = True
    needed = ((passes.cost > 0) | (passes.low_kg > 0) | counted) & ~passes.forced
    switch = np.full(passes.count, -1, np.int64)
    on = np.flatnonzero(needed)
    switch[on] = program.add_columns(len(on), cost=passes.cost[on], upper=1.0, integer=True)
    rows = np.arange(len(on))
    switch_rows = program.add_rows(
        len(on),
        np.concatenate([rows, rows]),
        np.concatenate([amount[on], switch[on]]),
        np.concatenate([np.ones(len(on)), -np.ones(len(on))]),
        upper=0.0,
    )
    least = on[passes.low_kg[on] > 0]
    rows = np.arange(len(least))
    program.add_rows(
        len(least),
        np.concatenate([rows, rows]),
        np.concatenate([amount[least], switch[least]]),
        np.concatenate([np.ones(len(least)), -passes.low_kg[least] / passes.high_kg[least]]),
        lower=0.0,
    )
    program.add_rows(
        len(crowds),
        np.repeat(np.arange(len(crowds)), [len(members) for members, _room in crowds]),
        switch[np.concatenate([np.zeros(0, np.int64), *(members for members, _room in crowds)])],
        np.ones(sum(len(members) for members, _room in crowds)),
        upper=np.array([room for _members, room in crowds], float),
    )
    return switch, switch_rows


def _crowds(request: Request, passes: Passes) -> list[tuple[Ints, int]]:
    """Name the passes that compete for places on a plot, and how many places there are.

    At each dated time a plot takes so many fertilizer products. Passes at any time have as many places of
    their own, and may besides take places left over at the plot's dated times (see
    `lines.spreads`).
    """
    most = request.terms.max_products_per_plot
    if most is None:
        return []
    fertilizer = np.array([not is_lime(ware) for ware in request.wares], bool)[passes.ware]
    first = np.searchsorted(passes.plot, np.arange(len(request.plots) + 1))
    crowds: list[tuple[Ints, int]] = []

    def add(members: Ints, places: int) -> None:
        if len(members) > places:
            forced = int(passes.forced[members].sum())
            crowds.append((members[~passes.forced[members]], max(0, places - forced)))

    for plot in range(len(request.plots)):
        here = np.arange(first[plot], first[plot + 1])
        here = here[fertilizer[here]]
        dated = [here[passes.time[here] == time] for time in range(ANY_TIME)]
        dated = [members for members in dated if len(members)]
        for members in dated:
            add(members, most)
        if (passes.time[here] == ANY_TIME).sum() > most:
            add(here, most * (1 + len(dated)))
    return crowds


def _add_caps(
    program: Program, passes: Passes, amount: Ints, content: Floats, caps: Floats, soft: bool
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
            over = program.add_columns(len(plots))
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


def _add_needs(
    program: Program,
    passes: Passes,
    amount: Ints,
    content: Floats,
    cells: tuple[Cell, ...],
    met: Floats,
    share: Ints,
) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """Add one row for each need tied to a time, and one for the whole of each need free in time."""
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
        total = sum(cells[m].mass_kg for m in served)
        here = np.arange(first_pass[plot], first_pass[plot + 1])
        brings = content[passes.ware[here], supply] * passes.high_kg[here]
        used = brings > 0
        if time != ANY_TIME:
            used &= passes.time[here] == time
        columns.append(amount[here[used]])
        values.append(brings[used] / total)
        rows.append(np.full(int(used.sum()), row))
        if len(share):
            columns.append(share[list(served)])
            values.append(np.array([-cells[m].mass_kg / total for m in served]))
            rows.append(np.full(len(served), row))
        else:
            lower[row] = sum(cells[m].mass_kg / total * met[m] for m in served)
    if not groups:
        return ()
    indices = program.add_rows(
        len(groups), np.concatenate(rows), np.concatenate(columns), np.concatenate(values), lower=lower
    )
    return tuple((int(index), group[3]) for index, group in zip(indices, groups, strict=True))


@dataclass(frozen=True, slots=True)
class _Pool:
    count: Ints
    order: Ints


def seller_of(offer: Offer) -> str:
    """Name who delivers an offer: the seller, or the offer itself when no seller is stated."""
    return offer.seller or f"(seller of {offer.offer_id})"


def _add_offers(request: Request, program: Program, tiers: tuple[Tier, ...]) -> _Pool:
    haul = float(request.terms.hauling_cost_per_kg)
    number = len(tiers)
    count = program.add_columns(
        number,
        cost=np.array([tier.unit_price + haul * tier.unit_kg for tier in tiers]),
        upper=np.array([tier.last for tier in tiers]),
        integer=np.array([tier.whole for tier in tiers], bool),
    )
    of_offer: dict[int, list[int]] = {}
    for place, tier in enumerate(tiers):
        of_offer.setdefault(tier.offer, []).append(place)
    fees = {index: float(request.offers[index].delivery_fee) for index in of_offer}
    ordered = [
        place
        for place, tier in enumerate(tiers)
        if tier.first > (1.0 if tier.whole else 0.0) or len(of_offer[tier.offer]) > 1 or fees[tier.offer] > 0
    ]
    order = np.full(number, -1, np.int64)
    order[ordered] = program.add_columns(len(ordered), upper=1.0, integer=True)
    for place in ordered:
        tier = tiers[place]
        both = np.array([count[place], order[place]])
        program.add_rows(1, np.zeros(2, np.int64), both, np.array([1.0, -tier.last]), upper=0.0)
        if tier.first > 0:
            program.add_rows(1, np.zeros(2, np.int64), both, np.array([1.0, -tier.first]), lower=0.0)
    for places in of_offer.values():
        if len(places) > 1:
            columns = order[places]
            program.add_rows(1, np.zeros(len(places), np.int64), columns, np.ones(len(places)), upper=1.0)
    charging: dict[str, list[int]] = {}
    for place in ordered:
        if fees[tiers[place].offer] > 0:
            charging.setdefault(seller_of(request.offers[tiers[place].offer]), []).append(place)
    sellers = tuple(sorted(charging))
    fee = program.add_columns(len(sellers), cost=1.0)
    for column, seller in zip(fee, sellers, strict=True):
        for index in sorted({tiers[place].offer for place in charging[seller]}):
            places = [place for place in charging[seller] if tiers[place].offer == index]
            columns = np.append(order[places], column)
            values = np.append(np.full(len(places), fees[index]), -1.0)
            program.add_rows(1, np.zeros(len(columns), np.int64), columns, values, upper=0.0)
    return _Pool(count, order)


def stock_kg(request: Request) -> Floats:
    """Add up the stock on hand of each ware."""
    total = {ware.product.product: 0.0 for ware in request.wares}
    for offer in request.offers:
        assert offer.package_kg is not None
        total[offer.product] += offer.in_stock * offer.package_kg
    return np.array([total[ware.product.product] for ware in request.wares])


def _add_pools(
    request: Request,
    program: Program,
    passes: Passes,
    amount: Ints,
    tiers: tuple[Tier, ...],
    count: Ints,
) -> tuple[Ints, Ints]:
    """Add one row per product: what is spread of it is bought or taken from stock."""
    wares = len(request.wares)
    on_hand = stock_kg(request)
    used = np.zeros(wares, bool)
    used[passes.ware] = True
    stocked = np.flatnonzero(used & (on_hand > 0))
    stock = np.full(wares, -1, np.int64)
    stock[stocked] = program.add_columns(len(stocked), upper=on_hand[stocked])
    tier_ware = np.array([tier.ware for tier in tiers], np.int64)
    unit = np.array([tier.unit_kg for tier in tiers])
    scale = np.ones(wares)
    if len(tiers):
        np.maximum.at(scale, tier_ware, unit)
    pooled = np.flatnonzero(used)
    place = np.full(wares, -1, np.int64)
    place[pooled] = np.arange(len(pooled))
    rows = np.concatenate([place[passes.ware], place[tier_ware], place[stocked]])
    columns = np.concatenate([amount, count, stock[stocked]])
    values = np.concatenate(
        [
            passes.high_kg / scale[passes.ware],
            -unit / scale[tier_ware],
            -1.0 / scale[stocked],
        ]
    )
    supply_row = np.full(wares, -1, np.int64)
    supply_row[pooled] = program.add_rows(len(pooled), rows, columns, values, upper=0.0)
    return supply_row, stock


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
    With every whole number fixed the rest is a linear program; among amounts that cost the same it takes
    the least product by price, so that what is not needed stays in the bag.
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
    solved = model.solve(Effort(), relaxed=True)
    if solved.found is not Found.OPTIMAL:
        slack = model.row_lower[[row for row, _cells in plan_model.need_rows]]
        model.row_lower[[row for row, _cells in plan_model.need_rows]] = slack * (1 - 1e-6)
        solved = model.solve(Effort(), relaxed=True)
        if solved.found is not Found.OPTIMAL:
            return None
    exact = np.clip(solved.values, model.lower, model.upper)
    exact[whole] = model.lower[whole]
    return _read(plan_model, exact)


def _read(plan_model: PlanModel, values: Floats) -> Solution:
    passes = plan_model.passes
    share = values[plan_model.amount].copy()
    on = plan_model.switch >= 0
    share[on] *= values[plan_model.switch[on]] > 0.5
    share[share < 1e-7] = 0.0
    mass = share * passes.high_kg
    mass = _topped_up(plan_model, mass, values)
    stock = np.zeros(len(plan_model.request.wares))
    has = plan_model.stock >= 0
    stock[has] = values[plan_model.stock[has]]
    return Solution(mass, values[plan_model.count], stock, values)


def _topped_up(plan_model: PlanModel, mass: Floats, values: Floats) -> Floats:
    """Raise amounts by the few parts in a billion that rounding in the solver left short."""
    passes, content = plan_model.passes, plan_model.content
    mass = mass.copy()
    order = np.argsort(passes.plot, kind="stable")
    bounds = np.searchsorted(passes.plot[order], np.arange(len(plan_model.request.plots) + 1))
    for _row, members in plan_model.need_rows:
        cell = plan_model.cells[members[0]]
        if len(plan_model.share):
            wanted = sum(plan_model.cells[m].mass_kg * float(values[plan_model.share[m]]) for m in members)
        else:
            wanted = sum(plan_model.cells[m].mass_kg * float(plan_model.met[m]) for m in members)
        here = order[bounds[cell.plot] : bounds[cell.plot + 1]]
        if len(members) == 1 and cell.time != ANY_TIME:
            here = here[passes.time[here] == cell.time]
        brings = content[passes.ware[here], cell.supply] * mass[here]
        got = float(brings.sum())
        if 0 < wanted - got <= 1e-5 * wanted and got > 0:
            mass[here[brings > 0]] *= wanted / got * (1 + 1e-15)
    return mass


def reference_prices(plan_model: PlanModel) -> Floats:
    """Give the lowest price by weight at which each ware can be had."""
    price = np.full(len(plan_model.request.wares), np.inf)
    haul = float(plan_model.request.terms.hauling_cost_per_kg)
    for tier in plan_model.tiers:
        price[tier.ware] = min(price[tier.ware], tier.unit_price / tier.unit_kg + haul)
    return np.where(np.isfinite(price), price, 0.0)
