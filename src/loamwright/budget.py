"""How much of the needs does each sum of money cover?

The curve of coverage against money, as a table of points: each is a plan of its own, the best use of that
much money. How the best use is found is in `planner`; drawing the curve is for others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from loamwright.answers import Plan
from loamwright.plan_inputs import PlanPlot, Terms, Ware
from loamwright.plan_lines import cents, covered, spreads_of
from loamwright.planner import make_plan
from loamwright.values import Offer


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The best use of one sum of money.

    Parameters
    ----------
    budget, cost
        What may be spent, and what is [money].
    covered
        Share of all known needs met, weighed by plot, area and priority [fraction].
    gap
        How much more, at most, that money could cover [fraction of what is covered at best]; for the
        last point the gap in cost.
    packages
        Packages to buy, bulk counted in its packages.
    plan
        The plan behind the point.
    """

    budget: Decimal
    cost: Decimal
    covered: float
    gap: float | None
    packages: float
    plan: Plan


def coverage_curve(
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    terms: Terms,
    points: int = 8,
    progress: Callable[[str], None] | None = None,
) -> tuple[CurvePoint, ...]:
    """Plan for rising budgets, up to the one that is enough for everything.

    Parameters
    ----------
    plots, wares, offers, terms
        As for `make_plan`; the budget in the terms is not looked at.
    points
        How many budgets, evenly spaced, the last one enough for all; at least 1.
    progress
        Told of each budget as its turn comes.

    Returns
    -------
    tuple of CurvePoint
        Rising. A plan found for less money stands in for one that turned out to cover less, so that more
        money never covers less.
    """
    whole = make_plan(plots, wares, offers, replace(terms, budget=None))
    curve: list[CurvePoint] = []
    for number in range(1, max(1, points) + 1):
        last = number == max(1, points)
        budget = whole.total_cost if last else cents(whole.total_cost * number / points)
        if progress is not None:
            progress(f"budget {number} of {points}")
        plan = whole if last else make_plan(plots, wares, offers, replace(terms, budget=budget))
        point = CurvePoint(
            budget=budget,
            cost=plan.total_cost,
            covered=covered(plots, wares, spreads_of(plan)),
            gap=plan.gap,
            packages=sum(one.count for one in plan.buy),
            plan=plan,
        )
        if curve and curve[-1].covered > point.covered:
            point = replace(curve[-1], budget=budget)
        curve.append(point)
    return tuple(curve)
