"""The records that travel between modules: frozen, typed, with unit and basis in every name.

This file answers "what does the program know, and in which unit?". It holds no arithmetic.

* Mass is kilograms, area square metres, rate kilograms per hectare, length metres, money Decimal.
* The basis is in the name or the type: ``p2o5`` is not P, ``k2o`` is not K, ``analysis_pct`` is
  percent by weight as guaranteed on a label.
* ``None`` always means *not tested* or *not stated*; it never means zero.
* Shapes are well-known binary (WKB) in longitude, latitude on WGS84; `geometry` reads them.
* Every amount carries the `Step` list that made it, and every step names its `Source`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from loamwright.errors import Problem

# ---------------------------------------------------------------------------------------------
# Sources and steps


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from.

    Parameters
    ----------
    publication
        Organisation and title, or one of ``"user"``, ``"label"``, ``"lab report"``,
        ``"boundary"``, ``"exact definition"``, ``"common practice"``, ``"arithmetic"``.
    edition, table, row
        Year or edition; table; row and column, as printed. Empty when it has none.
    """

    publication: str
    edition: str = ""
    table: str = ""
    row: str = ""

    def __str__(self) -> str:
        return ", ".join(part for part in (self.publication, self.edition, self.table, self.row) if part)


USER = Source("user")
LABEL = Source("label")
LAB = Source("lab report")
BOUNDARY = Source("boundary")
ARITHMETIC = Source("arithmetic")


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the arithmetic behind a number, in words a person can check by hand.

    Parameters
    ----------
    what
        The sentence: ``"2 ton/acre row, Bray P1 6-10 ppm"``.
    value
        The figure reached, in `unit`; None when it is unknown; text for a class or rating.
    unit
        Unit and basis: ``"lb P2O5/acre"``. Empty for text.
    source
        Where the figure or rule comes from.
    """

    what: str
    value: float | str | None
    unit: str
    source: Source


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit exactly as the user or lab wrote it.

    Parameters
    ----------
    value
        The number, unrounded.
    unit
        The unit as printed: ``"ton/acre"``, ``"bu/acre"``, ``"ppm"``.
    """

    value: float
    unit: str


# ---------------------------------------------------------------------------------------------
# Words with a fixed set of meanings


class Nutrient(StrEnum):
    """A nutrient in the basis a US label guarantees it."""

    N = "N"
    P2O5 = "P2O5"
    K2O = "K2O"
    S = "S"
    CA = "Ca"
    MG = "Mg"
    B = "B"
    ZN = "Zn"
    MN = "Mn"


class NeedState(StrEnum):
    """The three answers to "does the plot need it?"."""

    NEEDED = "needed"
    NONE = "none"
    UNKNOWN = "unknown"


class Form(StrEnum):
    """How a product is handled."""

    DRY = "dry"
    LIQUID = "liquid"
    LIME = "lime"


class Timing(StrEnum):
    """When in the season a pass is made, in calendar order."""

    BEFORE_PLANTING = "before planting"
    AT_PLANTING = "at planting"
    TOPDRESS = "top-dress"
    AFTER_HARVEST = "after harvest"


class Outcome(StrEnum):
    """What the planner can honestly say of its plan."""

    PROVED = "proved cheapest"
    FOUND = "best found"
    IMPOSSIBLE = "impossible"


class Done(StrEnum):
    """What an application entry reports."""

    DONE = "done"
    PART = "part"
    NOT_DONE = "not done"


class WorkState(StrEnum):
    """Status of one planned line, computed from the record."""

    NOTHING = "nothing yet"
    PART = "part"
    DONE = "done"
    OVER = "over"


# ---------------------------------------------------------------------------------------------
# The property: plots, keep-outs, crops


@dataclass(frozen=True, slots=True)
class Plot:
    """One management unit. Its id is kept for ever.

    Parameters
    ----------
    plot_id, name
        Stable id, and what people call it.
    boundary_wkb
        Polygon or MultiPolygon, WKB, longitude-latitude on WGS84, checked.
    entrance
        (longitude, latitude) of the way in [degree], if known.
    access, notes
        Free text from the user.
    area_se_m2
        Standard error of the area [m2] when the boundary was walked with GPS; None otherwise.
    weight
        How much this plot matters when a budget is short [dimensionless, 1 = normal].
    extra
        Columns the user's file had that we do not use, kept.
    """

    plot_id: str
    name: str
    boundary_wkb: bytes
    entrance: tuple[float, float] | None = None
    access: str = ""
    notes: str = ""
    area_se_m2: float | None = None
    weight: float = 1.0
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cropping:
    """What grows on a plot in one season.

    Parameters
    ----------
    plot_id, season
        Which plot, which season (calendar year).
    crop, previous_crop
        Names as the user wrote them; matched to a guideline's crop list, never guessed.
    yield_goal
        Expected yield as written (``Quantity(2, "ton/acre")``); None = not stated.
    legume_pct
        Share of legume in the stand [percent]; None = not stated.
    seeding
        True in the establishment year, False on an established stand, None = not stated.
    previous_stand
        Condition of the previous legume for credits (``"4-5 plants/ft2"``); empty if not stated.
    """

    plot_id: str
    season: int
    crop: str = ""
    previous_crop: str = ""
    yield_goal: Quantity | None = None
    legume_pct: float | None = None
    seeding: bool | None = None
    previous_stand: str = ""


@dataclass(frozen=True, slots=True)
class KeepOut:
    """Ground where nothing is spread, with a setback around it.

    Parameters
    ----------
    keepout_id, name
        Stable id and name.
    kind
        Water, well, sinkhole, ditch, rock, slope … as written.
    shape_wkb
        Any geometry, WKB, longitude-latitude on WGS84.
    setback_m
        Setback distance [m]; None = not stated (shown as missing, never taken as zero).
    setback_text
        The setback as the user wrote it.
    """

    keepout_id: str
    name: str
    kind: str
    shape_wkb: bytes
    setback_m: float | None = None
    setback_text: str = ""
    notes: str = ""


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
# Soil tests


@dataclass(frozen=True, slots=True)
class Reading:
    """One lab number with everything needed to know what it means.

    Parameters
    ----------
    value
        The number as printed.
    unit
        As printed: ``"ppm"``, ``"lb/acre"``, ``"mg/kg"``, ``"kg/ha"``.
    extractant
        As the lab names it (``"Bray P1"``); None = not stated.
    basis
        What the number is pounds of: ``"P"``, ``"P2O5"``, ``"K"`` …
    """

    value: float
    unit: str
    extractant: str | None
    basis: str


@dataclass(frozen=True, slots=True)
class LabRecommendation:
    """What the lab itself recommends, as printed.

    Parameters
    ----------
    rates
        Rate per nutrient as printed; a nutrient absent here has no recommendation.
    lime
        Lime as printed (``Quantity(3000, "lb ENP/acre")``); None = none printed.
    credits_taken
        True if the lab already took credits off, False if not, None = not stated.
    """

    rates: Mapping[Nutrient, Quantity] = field(default_factory=dict)
    lime: Quantity | None = None
    credits_taken: bool | None = None


@dataclass(frozen=True, slots=True)
class SoilTest:
    """One lab report for one sample of one plot.

    Parameters
    ----------
    test_id, plot_id
        Ids.
    sampled_on
        Date the cores were taken; None = not stated.
    lab
        Name as written.
    depth_top_m, depth_bottom_m
        Slice sampled [m]; None = not stated.
    ph, buffer_ph, buffer_method
        Soil pH in water; buffer pH or index and the buffer it was read in (``"Sikora"``).
    organic_matter_pct, cec_meq_100g, acidity_meq_100g
        Organic matter [percent]; cation exchange capacity and exchangeable acidity [meq/100 g].
    readings
        Lab numbers by element symbol: ``"P"``, ``"K"``, ``"S"``, ``"Ca"`` …
    recommendation
        The lab's own, if printed.
    part, texture
        Part of the plot the sample stands for; soil texture as written.
    """

    test_id: str
    plot_id: str
    sampled_on: dt.date | None = None
    lab: str = ""
    depth_top_m: float | None = None
    depth_bottom_m: float | None = None
    ph: float | None = None
    buffer_ph: float | None = None
    buffer_method: str | None = None
    organic_matter_pct: float | None = None
    cec_meq_100g: float | None = None
    acidity_meq_100g: float | None = None
    readings: Mapping[str, Reading] = field(default_factory=dict)
    recommendation: LabRecommendation | None = None
    part: str = ""
    texture: str = ""


@dataclass(frozen=True, slots=True)
class OrganicInput:
    """Manure, litter or compost put on a plot, now or in an earlier year, for its credit.

    Parameters
    ----------
    input_id, plot_id
        Ids.
    applied_on
        Date it was spread.
    material
        Species or material as the credit table names it: ``"beef"``, ``"poultry"``, ``"compost"``.
    method
        Placement as the credit table names it: ``"broadcast incorporated 12-96 h"`` …
    amount
        As written: ``Quantity(3, "ton/acre")``.
    analysis_lb_per_ton
        Lab total per nutrient in label basis [lb per short ton].
    available_pct
        First-year availability per nutrient when the user or lab states it [percent]; overrides
        the table.
    """

    input_id: str
    plot_id: str
    applied_on: dt.date
    material: str
    method: str
    amount: Quantity
    analysis_lb_per_ton: Mapping[Nutrient, float] = field(default_factory=dict)
    available_pct: Mapping[Nutrient, float] = field(default_factory=dict)


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


class LimeBasis(StrEnum):
    """What a pound of effective lime is a pound of. Never mixed, never converted silently."""

    ENP = "ENP"  #: effective neutralizing power, Minnesota (lb per ton on the label)
    ENP_OHIO = "ENP (Ohio)"
    ECCE = "ECCE"  #: effective calcium carbonate equivalent, Iowa
    ENM = "ENM"  #: effective neutralizing material, Missouri (pure fine CaCO3 = 800 lb/ton)
    ENV = "ENV"  #: effective neutralizing value, New York
    RNV = "RNV"  #: relative neutralizing value, Mississippi
    ECC = "ECC"  #: effective calcium carbonate, Michigan
    EP = "EP"  #: efficiency percent, Western Australia
    CCE = "CCE"  #: calcium carbonate equivalent without a fineness factor
    PRODUCT = "product"  #: tons of ground limestone as such, as a lab may print it


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
# Products and offers


@dataclass(frozen=True, slots=True)
class LimeLabel:
    """What a lime label or ticket states; None = not stated.

    Parameters
    ----------
    cce_pct
        Calcium carbonate equivalent [percent, dry basis as printed].
    passing_pct
        Mesh number → percent passing that sieve.
    moisture_pct
        Moisture [percent].
    enp_lb_per_ton, ecce_pct, enm_lb_per_ton
        The state's own score when the label prints it, in the printed unit.
    enp_state
        State of the printed ENP ("Minnesota", "Ohio"); empty = Minnesota.
    """

    cce_pct: float | None = None
    passing_pct: Mapping[int, float] = field(default_factory=dict)
    moisture_pct: float | None = None
    enp_lb_per_ton: float | None = None
    ecce_pct: float | None = None
    enm_lb_per_ton: float | None = None
    enp_state: str = ""


@dataclass(frozen=True, slots=True)
class Product:
    """What the label guarantees.

    Parameters
    ----------
    product
        Name; unique on a property.
    form
        Dry, liquid or lime.
    analysis_pct
        Guaranteed analysis [percent by weight] in label basis; a nutrient absent here is
        *not guaranteed*, which is not the same as zero.
    ingredient, ingredient_pct
        When the label states an ingredient instead (``"urea"``, 32.5).
    density_kg_m3
        For liquids and volume packages; None = not stated.
    lime
        Lime label; None for fertilizers.
    min_rate_kg_ha, max_rate_kg_ha
        Practical minimum and safe maximum product rate in one pass; None = no limit stated.
    equipment
        Spreaders that can handle it; empty = any.
    timings
        When it may be used; empty = any.
    nitrogen_forms_pct
        Percent of product that is N in a form: ``"urea"``, ``"nitrate"``, ``"ammoniacal"``.
    contains
        Words that trigger cautions: ``"ammonium nitrate"``, ``"hydrated lime"`` …
    dolomitic
        True / False when known.
    extra
        Columns kept from the user's file.
    """

    product: str
    form: Form
    analysis_pct: Mapping[Nutrient, float] = field(default_factory=dict)
    ingredient: str = ""
    ingredient_pct: float | None = None
    density_kg_m3: float | None = None
    lime: LimeLabel | None = None
    min_rate_kg_ha: float | None = None
    max_rate_kg_ha: float | None = None
    equipment: tuple[str, ...] = ()
    timings: tuple[Timing, ...] = ()
    nitrogen_forms_pct: Mapping[str, float] = field(default_factory=dict)
    contains: tuple[str, ...] = ()
    dolomitic: bool | None = None
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Offer:
    """A package of a product at a price from a seller on a date.

    Parameters
    ----------
    offer_id
        Stable id.
    product
        Name of the `Product`.
    package
        As written: ``"50 lb bag"``, ``"2.5 gal jug"``, ``"1 ton bulk"``.
    package_kg
        Net mass of one package [kg]; liquids by density. None = cannot be known (density missing).
    divisible
        True when sold by weight (bulk): any amount in steps of `increment_kg`.
    increment_kg
        Smallest step of a divisible offer [kg]; None = any amount.
    price
        For one package [money]; None = missing, and the offer is left out of plans.
    seller, priced_on
        Who and when.
    in_stock
        Packages already on hand, paid for [count].
    min_order
        Smallest order [packages]; 0 = none.
    max_count
        Packages the seller has [count]; None = no limit.
    delivery_fee
        Once per order from this seller [money].
    price_breaks
        (from this many packages, unit price): cheaper tiers, ascending.
    price_low, price_high
        Range the price may move in; None = not stated.
    """

    offer_id: str
    product: str
    package: str
    package_kg: float | None
    price: Decimal | None
    divisible: bool = False
    increment_kg: float | None = None
    seller: str = ""
    priced_on: dt.date | None = None
    in_stock: float = 0.0
    min_order: int = 0
    max_count: int | None = None
    delivery_fee: Decimal = Decimal(0)
    price_breaks: tuple[tuple[int, Decimal], ...] = ()
    price_low: Decimal | None = None
    price_high: Decimal | None = None


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
    explanation
        Sentences: why it is what it is, or why it is impossible.
    problems
        What was left out and why.
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
    explanation: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def total_cost(self) -> Decimal:
        """Purchase, delivery and spreading together [money]."""
        return self.purchase_cost + self.delivery_cost + self.spreading_cost


# ---------------------------------------------------------------------------------------------
# Record


@dataclass(frozen=True, slots=True)
class Application:
    """One entry of the append-only record.

    Parameters
    ----------
    entry_id
        Globally unique id made where the entry was made (phone or program): importing the same
        entry twice changes nothing.
    plot_id, product, timing, line_id
        Where, what, when in the season; the planned line it answers, or empty.
    done
        Done, part, not done.
    applied_on, time_of_day
        Date; local time as written, or empty.
    mass_kg
        Product really applied [kg]; 0.0 when not done.
    area_m2
        Area covered [m2]; None = not stated.
    cost
        Money paid if different from the plan; None = not stated.
    operator, equipment, method, ground, weather, forecast, note
        As written.
    reason
        Why actual differs from planned.
    replaces
        entry_id this one corrects, or empty. The old entry stays.
    recorded_at
        ISO 8601 time of entry.
    """

    entry_id: str
    plot_id: str
    product: str
    done: Done
    applied_on: dt.date
    mass_kg: float
    timing: Timing | None = None
    line_id: str = ""
    time_of_day: str = ""
    area_m2: float | None = None
    cost: Decimal | None = None
    operator: str = ""
    equipment: str = ""
    method: str = ""
    ground: str = ""
    weather: str = ""
    forecast: str = ""
    note: str = ""
    reason: str = ""
    replaces: str = ""
    recorded_at: str = ""


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


@dataclass(frozen=True, slots=True)
class Calibration:
    """One catch or tarp test of a spreader.

    Parameters
    ----------
    calibration_id, spreader, product, setting, operator
        As written.
    tested_on
        Date.
    swath_m, speed_m_s
        Swath width [m], ground speed [m/s].
    caught_kg, catch_area_m2
        What fell on a known area [kg], [m2].
    rate_kg_ha
        The rate that follows [kg/ha].
    """

    calibration_id: str
    spreader: str
    product: str
    setting: str
    operator: str
    tested_on: dt.date
    swath_m: float | None
    speed_m_s: float | None
    caught_kg: float
    catch_area_m2: float
    rate_kg_ha: float
    note: str = ""


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
class Spreader:
    """A spreader or vehicle of the property.

    Parameters
    ----------
    name
        As in `Product.equipment`.
    hopper_kg
        What one fill holds [kg]; None = not stated.
    vehicle_kg
        What the vehicle carries in one trip [kg]; None = not stated.
    swath_m, speed_m_s, field_efficiency
        Working width [m], ground speed [m/s], effective share of the time [fraction].
    """

    name: str
    hopper_kg: float | None = None
    vehicle_kg: float | None = None
    swath_m: float | None = None
    speed_m_s: float | None = None
    field_efficiency: float | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """Choices the user made for a property, each with our stated default.

    Parameters
    ----------
    guideline
        Guideline edition id (folder name in ``data/guidelines``).
    lime_guideline
        Edition whose lime table is used when the lab gives no lime recommendation.
    lime_region
        Region key the lime table asks for (``"Area 1"``); empty = not chosen, lime unknown.
    test_age_limit_years
        Older tests warn. 4 = the stricter of two published limits (see cautions C-44).
    spreading_cost_per_ha
        For one pass [money per ha].
    spreading_cost_per_pass
        For going to a plot once, whatever its size [money].
    max_products_per_plot
        Fertilizer products on one plot and timing; None = no limit.
    surplus_limit_fraction, surplus_limit_kg_ha
        How far over the need a nutrient may go: the larger of the two [fraction], [kg/ha];
        per supply key, ``"*"`` for the rest.
    min_rate_kg_ha
        Practical smallest product rate when the product states none [kg/ha].
    convert_extractants
        True only when the user asked for extractant conversion by the named formula.
    default_yield_row
        True = an unstated yield takes the guideline's lowest row, marked as assumed.
    gps_sigma_m
        Standard error of a walked GPS fix [m].
    spreaders
        Equipment of the property.
    """

    guideline: str = "umn-forage-2011"
    lime_guideline: str = "umn-wildlife-lime"
    lime_region: str = ""
    test_age_limit_years: float = 4.0
    spreading_cost_per_ha: Decimal = Decimal(0)
    spreading_cost_per_pass: Decimal = Decimal(0)
    max_products_per_plot: int | None = 3
    surplus_limit_fraction: Mapping[str, float] = field(default_factory=dict)
    surplus_limit_kg_ha: Mapping[str, float] = field(default_factory=dict)
    min_rate_kg_ha: float | None = None
    convert_extractants: bool = False
    default_yield_row: bool = True
    gps_sigma_m: float = 3.0
    spreaders: tuple[Spreader, ...] = ()


@dataclass(frozen=True, slots=True)
class PropertyInfo:
    """Name, place and season of a property.

    Parameters
    ----------
    name
        What people call it.
    season
        Current season [calendar year].
    about
        Free text; the demo says here that it is invented.
    units
        ``"us"`` or ``"metric"``: how numbers are shown.
    settings
        The user's choices.
    """

    name: str
    season: int
    about: str = ""
    units: str = "us"
    settings: Settings = field(default_factory=Settings)


@dataclass(frozen=True, slots=True)
class PropertyRecord:
    """Everything the property file holds, as read."""

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
