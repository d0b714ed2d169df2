"""A plan: what to buy, what goes where, what it covers, and how sure that is."""

from __future__ import annotations

import datetime as dt
import math
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


class DecideKind(StrEnum):
    """What kind of thing a plan leaves to a person."""

    SHORT = "cannot be met"
    SMALL = "too small a job"
    BLEND = "a blend on offer"


@dataclass(frozen=True, slots=True)
class StillShort:
    """What a plan leaves one need short of.

    Parameters
    ----------
    plot_id, supply
        Which need.
    mass_kg
        Short of the whole need [kg].
    """

    plot_id: str
    supply: Supply
    mass_kg: float


@dataclass(frozen=True, slots=True)
class LeftToDecide:
    """One thing that a plan leaves to a person.

    Parameters
    ----------
    kind
        A need that cannot be met, a job too small to be planned, or a blend on offer.
    words
        The sentence of the explanation that says it.
    short
        The needs it is about; empty for a blend, and in plans kept before these were.
    cost
        What meeting them would add [money]; None = not one sum.
    """

    kind: DecideKind
    words: str
    short: tuple[StillShort, ...] = ()
    cost: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """When a job is done, as a published page or the user says.

    Parameters
    ----------
    label
        In words: ``"after the first cutting"``.
    opens, closes
        First and last day; None = by the state of the crop, not by a date.
    """

    label: str
    opens: dt.date | None = None
    closes: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One trip over one plot, in one window, with one machine and one load.

    Parameters
    ----------
    job_id
        Stable id, the same whenever the same plan is rendered again.
    plot_id, timing
        Where, and when in the season (None = any time that suits).
    spreader
        The machine; empty = not chosen.
    line_ids
        The products of its load: lines of the plan.
    mass_kg, rate_kg_ha
        The load in all [kg], and per spread area [kg/ha].
    cost
        Trip and filling [money].
    fills
        Fillings of the hopper [count]; None = hopper not stated.
    hours
        Spreading and filling [h]; None = not known.
    window, placement
        When it is done and how it is placed; None and empty where no page says, and then `reason` tells.
    reason
        Why there is no window or placement, or whose they are.
    part
        Id of the part of the plot it is for; empty = all of it.
    """

    job_id: str
    plot_id: str
    timing: Timing | None
    spreader: str
    line_ids: tuple[str, ...]
    mass_kg: float
    rate_kg_ha: float
    cost: Decimal
    fills: int | None = None
    hours: float | None = None
    window: Window | None = None
    placement: str = ""
    reason: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One product of a job: this much of it on this plot at this time.

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
    job_id, spreader
        The job it is part of, and that job's machine; empty for plans made before there were jobs.
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
    job_id: str = ""
    spreader: str = ""


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
    purchase_cost, spreading_cost, delivery_cost, filling_cost, handling_cost
        Money.
    jobs, lines, buy, coverage
        The trips, their products, the shopping, and need against supply.
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
    left_to_decide
        What a person decides on, each said by one of those sentences.
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
    left_to_decide: tuple[LeftToDecide, ...] = ()
    problems: tuple[Problem, ...] = ()
    jobs: tuple[Job, ...] = ()
    filling_cost: Decimal = Decimal(0)
    handling_cost: Decimal = Decimal(0)
    fingerprint: Mapping[str, str] = field(default_factory=dict)

    @property
    def total_cost(self) -> Decimal:
        """Purchase, delivery, spreading, filling and handling together [money]."""
        return (
            self.purchase_cost
            + self.delivery_cost
            + self.spreading_cost
            + self.filling_cost
            + self.handling_cost
        )

    @property
    def fills(self) -> int:
        """Fillings of hoppers whose size is stated [count]."""
        return sum(job.fills or 0 for job in self.jobs)

    @property
    def counted(self) -> tuple[int, int]:
        """Amounts in whole or half packages, of all amounts that come in packages [count]."""
        packaged = [line.packages for line in self.lines if line.packages is not None]
        return sum(packages * 2 % 1 == 0 for packages in packaged), len(packaged)

    @property
    def hours(self) -> float:
        """Spreading and filling of the jobs whose time is known [h]."""
        return math.fsum(job.hours for job in self.jobs if job.hours is not None)
