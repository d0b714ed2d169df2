"""The records the program works out: areas, needs, plans, rounds, status, and a season as a whole.

This file answers "what does the program find, and what made each figure?". It holds no
arithmetic. Units and conventions are those of `values`: SI, basis in the name, ``None`` for
*unknown*, and the `Step` list that made an amount beside the amount.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from loamwright.decisions import Decision
from loamwright.errors import Problem
from loamwright.stock import StockEntry
from loamwright.values import (
    Application,
    Calibration,
    Cropping,
    KeepOut,
    LimeBasis,
    NeedState,
    Nutrient,
    Offer,
    OrganicInput,
    Outcome,
    Plot,
    PlotPart,
    Product,
    PropertyInfo,
    SoilTest,
    Source,
    Step,
    Timing,
    Way,
    WorkState,
)

# ---------------------------------------------------------------------------------------------
# Area


@dataclass(frozen=True, slots=True)
class PlotArea:
    """Measured size of one plot.

    Parameters
    ----------
    plot_id
        Which plot.
    area_m2
        Geodesic area inside the boundary, holes taken out [m2].
    spread_area_m2
        Area left after keep-outs and setbacks [m2].
    perimeter_m
        Length of all rings [m].
    spread_wkb
        The spread area as WKB, longitude-latitude; empty bytes when nothing is left.
    parts, holes
        Number of polygons and of inner rings.
    area_se_m2
        Standard error [m2] when known (a GPS walk), else None.
    keepouts
        (keepout_id, area lost to it and its setback [m2]) for each keep-out that cuts the plot.
    missing_setbacks
        Ids of keep-outs near the plot whose setback is not stated.
    steps
        How the figures were reached.
    """

    plot_id: str
    area_m2: float
    spread_area_m2: float
    perimeter_m: float
    spread_wkb: bytes
    parts: int = 1
    holes: int = 0
    area_se_m2: float | None = None
    keepouts: tuple[tuple[str, float], ...] = ()
    missing_setbacks: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()


# ---------------------------------------------------------------------------------------------
# Needs


@dataclass(frozen=True, slots=True)
class Credit:
    """Something that already supplies part of a gross need.

    Parameters
    ----------
    what
        ``"legume: harvested red clover"``, ``"applied 2026-05-02: urea"`` …
    rate_kg_ha
        Amount credited [kg/ha of the nutrient], never negative.
    source
        Where the figure comes from.
    """

    what: str
    rate_kg_ha: float
    source: Source


@dataclass(frozen=True, slots=True)
class Need:
    """What one plot needs of one nutrient this season.

    Parameters
    ----------
    plot_id, nutrient
        Which.
    state
        Needed, none (because …) or unknown (because …).
    reason
        One sentence a person can read.
    gross_kg_ha
        Before credits [kg/ha]; None when unknown.
    rate_kg_ha, mass_kg
        Still to be supplied per area [kg/ha] and for the plot's spread area [kg];
        0.0 when state is none, None when unknown.
    credits
        Taken off, line by line.
    timings
        (timing, share of the rate) when the source splits it; empty = one dose, any timing.
    steps
        The chain from lab number to pounds.
    assumed
        True when a default of ours was used (for example the lowest yield row).
    """

    plot_id: str
    nutrient: Nutrient
    state: NeedState
    reason: str
    gross_kg_ha: float | None = None
    rate_kg_ha: float | None = None
    mass_kg: float | None = None
    credits: tuple[Credit, ...] = ()
    timings: tuple[tuple[Timing, float], ...] = ()
    steps: tuple[Step, ...] = ()
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class LimeNeed:
    """What one plot needs of effective lime.

    Parameters
    ----------
    plot_id, state, reason
        Which, the three-valued answer, and why.
    basis
        What the rate is pounds of; None when unknown or none.
    rate_kg_ha, mass_kg
        Effective lime per area [kg basis/ha] and for the spread area [kg basis];
        0.0 when none, None when unknown.
    target_ph, depth_m
        Target pH, and the soil depth the rate treats [m].
    dolomitic
        True when soil Mg asks for dolomitic lime, False when not, None = not tested.
    steps
        The chain.
    """

    plot_id: str
    state: NeedState
    reason: str
    basis: LimeBasis | None = None
    rate_kg_ha: float | None = None
    mass_kg: float | None = None
    target_ph: float | None = None
    depth_m: float | None = None
    dolomitic: bool | None = None
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class PlotNeeds:
    """All needs of one plot: one `Need` per nutrient looked at, and lime."""

    plot_id: str
    needs: tuple[Need, ...]
    lime: LimeNeed
    problems: tuple[Problem, ...] = ()

    def of(self, nutrient: Nutrient) -> Need | None:
        """Return the need of one nutrient, or None when it was not looked at.

        Parameters
        ----------
        nutrient
            Which nutrient.

        Returns
        -------
        Need or None
        """
        return next((need for need in self.needs if need.nutrient is nutrient), None)


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
    supply: str
    need_kg: float | None
    supplied_kg: float


@dataclass(frozen=True, slots=True)
class Caution:
    """A usual caution that the data triggered.

    Parameters
    ----------
    rule
        Id in ``data/cautions.csv``.
    level
        ``"stop"``, ``"care"`` or ``"note"``.
    text
        What to do, with the figures of this case.
    published
        The figures its source prints; empty when it prints none.
    where
        Plot ids it applies to; empty = whole property.
    product
        Product it is about; empty = none in particular.
    source, defers_to
        Who says so; who has the last word (local rule, label, licensed practice).
    """

    rule: str
    level: str
    text: str
    where: tuple[str, ...]
    product: str
    source: Source
    defers_to: str
    published: str = ""


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


# ---------------------------------------------------------------------------------------------
# Status


@dataclass(frozen=True, slots=True)
class LineStatus:
    """Planned against applied for one plan line (or an unplanned application).

    Parameters
    ----------
    plot_id, product, timing, line_id
        Which line; line_id is empty for something applied without a plan.
    planned_kg, applied_kg
        Product [kg].
    state
        Computed status.
    reasons
        Reasons given where they differ.
    """

    plot_id: str
    product: str
    timing: Timing | None
    line_id: str
    planned_kg: float
    applied_kg: float
    state: WorkState
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Balance:
    """Need minus applied for one plot and nutrient (or lime) this season.

    Parameters
    ----------
    plot_id, supply
        Plot, and nutrient or ``"lime ENP"`` … as in `Coverage`.
    need_kg
        Before anything was applied this season [kg]; None = unknown.
    applied_kg
        Delivered so far this season [kg].
    """

    plot_id: str
    supply: str
    need_kg: float | None
    applied_kg: float


# ---------------------------------------------------------------------------------------------
# Rounds and sampling


@dataclass(frozen=True, slots=True)
class Stop:
    """One plot visited in a round, with what is put on it.

    Parameters
    ----------
    plot_id, line_id, product
        Which plan line this stop carries out.
    mass_kg, packages, package
        Product for this stop [kg], the same in packages [unrounded] and the package as written.
    rate_kg_ha
        Product per spread area [kg/ha].
    load
        Number of the hopper fill that starts this stop [1, 2, …].
    left_on_vehicle_kg
        Product still on the vehicle after the stop [kg]; None when the hopper size is not stated.
    """

    plot_id: str
    line_id: str
    product: str
    mass_kg: float
    packages: float | None
    package: str
    rate_kg_ha: float
    load: int = 1
    left_on_vehicle_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Round:
    """One outing: a product (or blend), a spreader and the plots in the order they are visited.

    Parameters
    ----------
    round_id, title
        Stable id and heading.
    product, timing, spreader
        What, when, with what (spreader name; empty = not chosen).
    stops
        In visiting order.
    loads, trips
        Hopper fills and vehicle trips [count]; None when the capacity is not stated.
    last_load_kg
        Product in the last hopper fill [kg]; None when the capacity is not stated.
    hours
        Estimated working time by effective field capacity [h]; None when swath, speed or
        efficiency is not stated.
    steps
        How loads and time were reached.
    """

    round_id: str
    title: str
    product: str
    timing: Timing | None
    spreader: str
    stops: tuple[Stop, ...]
    loads: int | None = None
    trips: int | None = None
    last_load_kg: float | None = None
    hours: float | None = None
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """Where to take cores on one plot, and why now.

    Parameters
    ----------
    plot_id
        Which plot.
    due, reason
        Whether a sample is due this season, and why or why not.
    cores, cores_low, cores_high
        Cores to take, and the published range it was chosen from [count].
    points
        Core places in walking order, (longitude, latitude) [degree].
    label
        Text for the sample bag.
    depth_text
        Depth to sample, as the source prints it.
    steps
        Sources of the counts and depth.
    """

    plot_id: str
    due: bool
    reason: str
    cores: int
    cores_low: int
    cores_high: int
    points: tuple[tuple[float, float], ...]
    label: str
    depth_text: str = ""
    steps: tuple[Step, ...] = ()


# ---------------------------------------------------------------------------------------------
# The property as a whole


@dataclass(frozen=True, slots=True)
class Retired:
    """Something that is retired: it stays in the file, and leaves lists, sums and plans.

    Parameters
    ----------
    word, name
        What kind of thing, and what it is called.
    on, because
        When, and why.
    """

    word: str
    name: str
    on: dt.date
    because: str


@dataclass(frozen=True, slots=True)
class PropertyRecord:
    """Everything the property file holds, as read; what is retired is named in `retired` only.

    Parameters
    ----------
    info, plots, croppings, keepouts, soil_tests, organic_inputs, products, offers, plans, applications
        As in the file, in the order they were added. Entries of retired plots are left out.
    calibrations, parts, ways, purchases, decisions
        Likewise.
    checklist
        (number of the list, plot_id or empty) to free text.
    former_names
        Name a plot had to the one it has.
    retired
        What left lists, sums and plans.
    problems
        What in the file could not be used, and why.
    property_uid
        The same in every copy of this property.
    editions
        Guideline edition as the settings name it to its files, as they were when it was chosen.
    """

    info: PropertyInfo
    plots: tuple[Plot, ...] = ()
    croppings: tuple[Cropping, ...] = ()
    keepouts: tuple[KeepOut, ...] = ()
    soil_tests: tuple[SoilTest, ...] = ()
    organic_inputs: tuple[OrganicInput, ...] = ()
    products: tuple[Product, ...] = ()
    offers: tuple[Offer, ...] = ()
    plans: tuple[Plan, ...] = ()
    applications: tuple[Application, ...] = ()
    calibrations: tuple[Calibration, ...] = ()
    parts: tuple[PlotPart, ...] = ()
    ways: tuple[Way, ...] = ()
    purchases: tuple[StockEntry, ...] = ()
    decisions: tuple[Decision, ...] = ()
    checklist: Mapping[tuple[str, str], str] = field(default_factory=dict)
    former_names: Mapping[str, str] = field(default_factory=dict)
    retired: tuple[Retired, ...] = ()
    problems: tuple[Problem, ...] = ()
    property_uid: str = ""
    editions: Mapping[str, Mapping[str, bytes]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SeasonView:
    """One season of one property, computed: what the map and the paper are drawn from.

    Parameters
    ----------
    record
        What the file holds.
    areas, croppings, needs
        By plot_id.
    plan
        The newest plan of the season, or None.
    statuses, balances
        Computed from the record.
    rounds
        The plan's lines as outings, in the order they would be done.
    sampling
        By plot_id.
    cautions, problems
        Everything to say.
    made_on
        Date shown on the map and paper.
    """

    record: PropertyRecord
    areas: Mapping[str, PlotArea]
    croppings: Mapping[str, Cropping]
    needs: Mapping[str, PlotNeeds]
    plan: Plan | None
    statuses: tuple[LineStatus, ...]
    balances: tuple[Balance, ...]
    rounds: tuple[Round, ...]
    sampling: Mapping[str, SamplingPlan]
    cautions: tuple[Caution, ...]
    problems: tuple[Problem, ...]
    made_on: dt.date


@dataclass(frozen=True, slots=True)
class Story:
    """Everything behind the numbers of one plot, in the order it happened.

    Parameters
    ----------
    plot, cropping, area
        The plot, what grows there, its size.
    needs, lime
        Needs asked for; lime is None when it was not.
    lines, purchases
        Plan lines of the plot, and the purchases they are filled from.
    cautions
        Cautions that apply.
    """

    plot: Plot
    cropping: Cropping | None
    area: PlotArea
    needs: tuple[Need, ...]
    lime: LimeNeed | None
    lines: tuple[PlanLine, ...]
    purchases: tuple[Purchase, ...]
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of entries offered to the record, and the season after it.

    Parameters
    ----------
    new, already_there
        Entries written now, and those the record held word for word.
    conflicts
        Entries not written, and why.
    view
        The season after it.
    problems
        Everything found on the way, conflicts included.
    """

    new: tuple[Application, ...]
    already_there: tuple[Application, ...]
    conflicts: tuple[Problem, ...]
    view: SeasonView
    problems: tuple[Problem, ...]
