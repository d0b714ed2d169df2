"""Short makers for planner tests, and a brute-force planner to hold the real one against."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from scipy.optimize import linprog

from loamwright.planning.inputs import Demand, PlanPlot, Terms, Ware
from loamwright.planning.records import Plan
from loamwright.supplies.records import Form, Offer, Product
from loamwright.values import Nutrient, Supply, Timing


def ware(name: str, form: Form = Form.DRY, lime_enp: float | None = None, **analysis_pct: float) -> Ware:
    """A product with its analysis in percent: ``ware("urea", N=46)``.

    Limits are set with ``min_rate``, ``max_rate`` [kg/ha] and ``timings``, given among the keywords.
    """
    low = analysis_pct.pop("min_rate", None)
    high = analysis_pct.pop("max_rate", None)
    timings = analysis_pct.pop("timings", ())
    analysis = {Nutrient(key): value for key, value in analysis_pct.items()}
    product = Product(name, form, analysis, min_rate_kg_ha=low, max_rate_kg_ha=high, timings=tuple(timings))  # type: ignore[arg-type]
    contents = {key.supply: value / 100 for key, value in analysis.items()}
    if lime_enp is not None:
        contents[Supply.LIME_ENP] = lime_enp
    return Ware(product, contents)


def bag(
    product: str, price: str | None, kg: float | None = 25.0, offer_id: str = "", **more: object
) -> Offer:
    """An offer: ``bag("urea", "20.00", 25)``."""
    money = None if price is None else Decimal(price)
    return Offer(offer_id or f"{product} bag", product, f"{kg:g} kg bag" if kg else "bag", kg, money, **more)  # type: ignore[arg-type]


def plot(
    plot_id: str, area_ha: float = 1.0, caps: dict[str, float] | None = None, **needs: float
) -> PlanPlot:
    """A plot with needs free in time, in kg: ``plot("a", 1.0, N=46)``."""
    demands = tuple(Demand(Supply(key), mass) for key, mass in needs.items())
    return PlanPlot(plot_id, area_ha, demands, caps or {})


def assert_sound(
    plan: Plan, plots: Sequence[PlanPlot], wares: Sequence[Ware], offers: Sequence[Offer], terms: Terms
) -> None:
    """Check everything a plan promises whatever its outcome, in arithmetic of its own."""
    contents = {one.product.product: one.contents for one in wares}
    products = {one.product.product: one.product for one in wares}
    area = {one.plot_id: one.area_ha for one in plots}
    known_offers = {one.offer_id: one for one in offers}
    # money: packages × price to the cent, spreading per pass, shares that add up
    purchase = sum((Decimal(str(one.count)) * one.unit_price for one in plan.buy), Decimal(0))
    assert abs(purchase - plan.purchase_cost) <= Decimal("0.005") * max(1, len(plan.buy))
    assert sum((one.cost for one in plan.buy), Decimal(0)) == plan.purchase_cost
    assert sum(plan.plot_costs.values(), Decimal(0)) == plan.total_cost
    for one in plan.buy:
        offer = known_offers[one.offer_id]
        if not offer.divisible:
            assert one.count == int(one.count)
        assert one.from_stock <= offer.in_stock + 1e-9
        assert offer.max_count is None or one.count <= offer.max_count
        assert one.count == 0 or one.count >= offer.min_order
    # product: what is spread was bought or on hand, the rest is left over
    spread: dict[str, float] = {}
    for line in plan.lines:
        spread[line.product] = spread.get(line.product, 0.0) + line.mass_kg
        assert line.rate_kg_ha * area[line.plot_id] == _near(line.mass_kg)
        product = products[line.product]
        if product.max_rate_kg_ha is not None:
            assert line.rate_kg_ha <= product.max_rate_kg_ha * (1 + 1e-6)
        low = product.min_rate_kg_ha if product.min_rate_kg_ha is not None else terms.min_rate_kg_ha or 0.0
        assert line.rate_kg_ha >= low * (1 - 1e-6)
        if line.timing is not None and product.timings:
            assert line.timing in product.timings
    for name, mass in spread.items():
        have = sum(
            (one.count + one.from_stock) * (known_offers[one.offer_id].package_kg or 0.0)
            for one in plan.buy
            if one.product == name
        )
        assert mass <= have * (1 + 1e-6) + 1e-9
    # products per plot and time
    if terms.max_products_per_plot is not None:
        number: dict[tuple[str, Timing | None], set[str]] = {}
        for line in plan.lines:
            if products[line.product].form is not Form.LIME:
                number.setdefault((line.plot_id, line.timing), set()).add(line.product)
        assert all(len(names) <= terms.max_products_per_plot for names in number.values())
    # supply against need and caps
    for one_plot in plots:
        brought: dict[str, float] = {}
        for line in plan.lines:
            if line.plot_id == one_plot.plot_id:
                for key, content in contents[line.product].items():
                    brought[key] = brought.get(key, 0.0) + content * line.mass_kg
        for row in plan.coverage:
            if row.plot_id == one_plot.plot_id:
                assert row.supplied_kg == _near(brought.get(row.supply, 0.0))
        for key, cap in one_plot.caps.items():
            assert brought.get(key, 0.0) <= max(0.0, cap) * (1 + 1e-6) + 1e-9


def short(plan: Plan) -> list[tuple[str, str]]:
    """Needs a plan leaves short by more than a billionth."""
    return [
        (row.plot_id, row.supply)
        for row in plan.coverage
        if row.need_kg is not None and row.supplied_kg < row.need_kg * (1 - 1e-9)
    ]


class _Near:
    def __init__(self, value: float) -> None:
        self.value = value

    def __eq__(self, other: object) -> bool:
        return isinstance(other, float) and math.isclose(self.value, other, rel_tol=1e-9, abs_tol=1e-12)

    def __hash__(self) -> int:
        return hash(self.value)


def _near(value: float) -> _Near:
    return _Near(value)


def brute_force_cost(
    plots: Sequence[PlanPlot], wares: Sequence[Ware], offers: Sequence[Offer], terms: Terms, most: int
) -> float | None:
    """Cheapest cost by trying every set of passes and every count of packages up to `most`.

    Needs free in time only; one offer per product. For each set of passes and counts, cheapest first, a
    plain linear program says whether amounts exist. None when nothing up to `most` does.
    """
    pairs = [(p, w) for p in range(len(plots)) for w in range(len(wares))]
    per_ha, per_pass = float(terms.spreading_cost_per_ha), float(terms.spreading_cost_per_pass)
    candidates = []
    for on in itertools.product((False, True), repeat=len(pairs)):
        passes = [pair for pair, yes in zip(pairs, on, strict=True) if yes]
        if terms.max_products_per_plot is not None and any(
            sum(p == number for p, _w in passes) > terms.max_products_per_plot for number in range(len(plots))
        ):
            continue
        made = sum(per_ha * plots[p].area_ha + per_pass for p, _w in passes)
        for counts in itertools.product(range(most + 1), repeat=len(offers)):
            fees: dict[str, float] = {}
            paid = 0.0
            allowed = True
            for offer, count in zip(offers, counts, strict=True):
                if count and (count < offer.min_order or count > (offer.max_count or math.inf)):
                    allowed = False
                price = offer.price
                for start, tier in offer.price_breaks:
                    price = tier if count >= start else price
                paid += count * float(price or 0)
                if count:
                    fees[offer.seller] = max(fees.get(offer.seller, 0.0), float(offer.delivery_fee))
            if allowed:
                candidates.append((made + paid + sum(fees.values()), passes, counts))
    candidates.sort(key=lambda one: one[0])
    for cost, passes, counts in candidates:
        if _could_do(plots, wares, offers, passes, counts) and _amounts_exist(
            plots, wares, offers, terms, passes, counts
        ):
            return cost
    return None


def _could_do(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    passes: Sequence[tuple[int, int]],
    counts: Sequence[int],
) -> bool:
    """Rule most candidates out by hand: a need without a pass, or more needed in all than is bought."""
    have = {
        offer.product: (count + offer.in_stock) * (offer.package_kg or 0.0)
        for offer, count in zip(offers, counts, strict=True)
    }
    needed: dict[str, float] = {}
    for number, one in enumerate(plots):
        for demand in one.demands:
            if demand.mass_kg and not any(
                p == number and wares[w].contents.get(demand.supply, 0.0) > 0 for p, w in passes
            ):
                return False
            needed[demand.supply] = needed.get(demand.supply, 0.0) + (demand.mass_kg or 0.0)
    return all(
        sum(have.get(one.product.product, 0.0) * one.contents.get(key, 0.0) for one in wares) >= mass - 1e-6
        for key, mass in needed.items()
    )


def _amounts_exist(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    passes: Sequence[tuple[int, int]],
    counts: Sequence[int],
) -> bool:
    left: list[list[float]] = []
    right: list[float] = []
    for number, one in enumerate(plots):
        for demand in one.demands:
            left.append([-wares[w].contents.get(demand.supply, 0.0) * (p == number) for p, w in passes])
            right.append(-(demand.mass_kg or 0.0))
        for key, cap in one.caps.items():
            left.append([wares[w].contents.get(key, 0.0) * (p == number) for p, w in passes])
            right.append(cap)
    for number, one_ware in enumerate(wares):
        have = sum(
            (count + offer.in_stock) * (offer.package_kg or 0.0)
            for offer, count in zip(offers, counts, strict=True)
            if offer.product == one_ware.product.product
        )
        left.append([float(w == number) for _p, w in passes])
        right.append(have)
    bounds = []
    for p, w in passes:
        product = wares[w].product
        low = product.min_rate_kg_ha if product.min_rate_kg_ha is not None else terms.min_rate_kg_ha or 0.0
        high = math.inf if product.max_rate_kg_ha is None else product.max_rate_kg_ha * plots[p].area_ha
        bounds.append((low * plots[p].area_ha, high))
    if not passes:
        return all(limit >= 0 for limit in right)
    # counts that only just do are kept: the planner allows a millionth as well
    result = linprog(
        np.zeros(len(passes)), A_ub=np.array(left), b_ub=np.array(right) + 1e-9, bounds=bounds, method="highs"
    )
    return bool(result.status == 0)
