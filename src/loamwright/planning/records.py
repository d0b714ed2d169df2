"""A plan: what to buy, what goes where, what it covers, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from loamwright.errors import Problem
from loamwright.values import Step, Supply, Timing


class Outcome(StrEnum):
    """What the planner can honestly say of its plan."""

    PROVED = "proved cheapest"
    FOUND = "best found"
    IMPOSSIBLE = "impossible"


# ---------------------------------------------------------------------------------------------
# Plan


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One pass: this much of this product on this plot at this time.

    Parameters
    ----------
    line_id
        Stable id, the same whenever the same plan is rendered again.
    plot_id, product, timing
        Where, what, when (None = any time that suits).
    rate_kg_ha, mass_kg
        Product per spread area [kg/ha] and in total [kg].
    packages
        Mass over the package size [packages, unrounded]; None for bulk.
    package
        The package this is counted in, as written.
    steps
        From need to product mass.
    """

    line_id: str
    plot_id: str
    product: str
    timing: Timing | None
    rate_kg_ha: float
    mass_kg: float
    packages: float | None = None
    package: str = ""
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class Purchase:
    """So many packages of one offer.

    Parameters
    ----------
    offer_id, product, package, seller
        Which offer.
    count
        Packages to buy [count; may be fractional only for divisible bulk].
    from_stock
        Packages used from stock [count].
    unit_price, cost
        Money; `cost` is without delivery fee.
    left_over_kg
        Bought or in stock but not used by the plan [kg].
    timing
        Purchase list it belongs to; None = any.
    """

    offer_id: str
    product: str
    package: str
    seller: str
    count: float
    from_stock: float
    unit_price: Decimal
    cost: Decimal
    left_over_kg: float = 0.0
    timing: Timing | None = None


@dataclass(frozen=True, slots=True)
class Coverage:
    """Need against supply for one plot and nutrient (or ``"lime ENP"`` …).

    Parameters
    ----------
    plot_id
        Which plot.
    supply
        A `Nutrient` value, or ``"lime "`` + a `LimeBasis` value.
    need_kg
        Still to be supplied [kg]; None = unknown (then nothing was planned for it).
    supplied_kg
        What the plan delivers [kg].
    """

    plot_id: str
    supply: Supply
    need_kg: float | None
    supplied_kg: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole-property plan and what can honestly be said of it.

    Parameters
    ----------
    plan_id
        Stable id.
    outcome, gap
        Three-valued outcome; relative gap between the plan's cost and the proved lower bound
        [fraction]; None when impossible.
    purchase_cost, spreading_cost, delivery_cost
        Money.
    lines, buy, coverage
        The passes, the shopping, and need against supply.
    plot_costs
        Each plot's share of the cost by plot_id [money]; the shares add up to the total.
    season
        Season the plan is for [calendar year].
    made_at
        ISO 8601 time it was made; empty until it is stored.
    reason
        Why this plan replaced the one before; empty for the first.
    counted_entries
        Ids of the record entries whose amounts were already taken off the needs.
    explanation
        Sentences: why it is what it is, or why it is impossible.
    problems
        What was left out and why.
    fingerprint
        What it stood on, from `freshness`; empty for a plan made before fingerprints.
    """

    plan_id: str
    outcome: Outcome
    gap: float | None
    purchase_cost: Decimal
    spreading_cost: Decimal
    delivery_cost: Decimal
    lines: tuple[PlanLine, ...] = ()
    buy: tuple[Purchase, ...] = ()
    coverage: tuple[Coverage, ...] = ()
    plot_costs: Mapping[str, Decimal] = field(default_factory=dict)
    season: int = 0
    made_at: str = ""
    reason: str = ""
    counted_entries: tuple[str, ...] = ()
    explanation: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    fingerprint: Mapping[str, str] = field(default_factory=dict)

    @property
    def total_cost(self) -> Decimal:
        """Purchase, delivery and spreading together [money]."""
        return self.purchase_cost + self.delivery_cost + self.spreading_cost
