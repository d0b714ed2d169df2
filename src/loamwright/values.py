"""The records that travel: what the user brings, frozen and typed, unit and basis in every name.

This file answers "what does the program know, and in which unit?". It holds no arithmetic; what is
worked out from it is in `answers`.

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


# ---------------------------------------------------------------------------------------------
# The property: plots, crops, keep-outs


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
    narrowest_m, weight_limit_kg
        Narrowest width of the way in [m], heaviest vehicle it carries [kg]; None = not stated.
    reach_months
        Months it can be reached, 1 to 12; empty = not stated.
    reach
        Spreader to whether it can get there; absent = not stated.
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
    narrowest_m: float | None = None
    weight_limit_kg: float | None = None
    reach_months: tuple[int, ...] = ()
    reach: Mapping[str, bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cropping:
    """What grows on a plot in one season, or in one part of it: several follow each other.

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
    position
        Its place among the plot's crops of the season [1, 2, …].
    sown_on, ended_on
        When it was sown, and when it was cut for the last time or killed; None = not stated.
    use
        ``"harvested"``, ``"grazed"``, ``"browsed"``, ``"left"``; empty = not stated.
    yield_goal_how
        How the yield goal was set, as written.
    """

    plot_id: str
    season: int
    crop: str = ""
    previous_crop: str = ""
    yield_goal: Quantity | None = None
    legume_pct: float | None = None
    seeding: bool | None = None
    previous_stand: str = ""
    position: int = 1
    sown_on: dt.date | None = None
    ended_on: dt.date | None = None
    use: str = ""
    yield_goal_how: str = ""


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
    setback_text, notes
        The setback as the user wrote it; free text.
    """

    keepout_id: str
    name: str
    kind: str
    shape_wkb: bytes
    setback_m: float | None = None
    setback_text: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class PlotPart:
    """A part of a plot, drawn or stated, with samples and entries of its own.

    Parameters
    ----------
    part_id, plot_id, name
        Ids and name.
    area_m2
        Its size when it is stated [m2]; None = from the shape, or not stated.
    shape_wkb
        Polygon, WKB, longitude-latitude on WGS84; None = not drawn.
    notes
        Free text.
    """

    part_id: str
    plot_id: str
    name: str = ""
    area_m2: float | None = None
    shape_wkb: bytes | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """A track, gate, bridge, loading place or contact: how one gets there.

    Parameters
    ----------
    way_id, kind, name
        Id, what it is, what people call it.
    shape_wkb
        Line or point, WKB, longitude-latitude on WGS84.
    width_m, load_limit_kg
        Clear width [m], heaviest vehicle [kg]; None = not stated.
    notes
        Free text.
    """

    way_id: str
    kind: str
    shape_wkb: bytes
    name: str = ""
    width_m: float | None = None
    load_limit_kg: float | None = None
    notes: str = ""


# ---------------------------------------------------------------------------------------------
# Soil tests and organic inputs


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
    analysed_on, sampled_by
        When the lab analysed it; who took the cores.
    rates_crop, rates_season
        Crop and season [calendar year] the lab's rates were written for; empty, None = not stated.
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
    analysed_on: dt.date | None = None
    sampled_by: str = ""
    rates_crop: str = ""
    rates_season: int | None = None


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
    part
        Part of the plot it went on; empty = the whole plot, unless `area_m2` says less.
    withdrawn
        True: what the entry it replaces says never happened.
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
    part: str = ""
    withdrawn: bool = False


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
    note
        As written.
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
# Settings and identity


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
    heavy
        True for a machine that goes only where a plot's reach says yes.
    fill_minutes
        For one fill [min]; None = not stated.
    cost_per_ha, cost_per_stop, cost_per_hour
        Money; None = not stated.
    """

    name: str
    hopper_kg: float | None = None
    vehicle_kg: float | None = None
    swath_m: float | None = None
    speed_m_s: float | None = None
    field_efficiency: float | None = None
    heavy: bool = False
    fill_minutes: float | None = None
    cost_per_ha: Decimal | None = None
    cost_per_stop: Decimal | None = None
    cost_per_hour: Decimal | None = None


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
    lime_dose_limit
        Id of the published rule for how much lime goes on at once (see `lime.DOSE_LIMITS`); empty =
        none chosen, and the whole need is planned as one dose.
    sampling_guide
        Place whose published sampling advice is used (see ``data/sampling_rules.csv``).
    cores_per_sample
        Cores in one sample [count]; None = by the size of the plot, within the published range.
    test_age_limit_years
        Older tests warn. 4 = the stricter of two published limits (see cautions C-44).
    spreading_cost_per_ha
        For one pass [money per ha].
    spreading_cost_per_pass
        For going to a plot once, whatever its size [money].
    hauling_cost_per_kg
        For bringing what is bought to the property [money per kg].
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
    keeper
        Who changes things, unless another is said; empty = nobody named.
    season_start
        Month and day a season begins, ``"09-01"``; from July on it lies in the year before.
    legume_share_no_n_pct
        Legume share from which nitrogen on a mixture is to decide [percent].
    topup_share, topup_cost
        Top-ups smaller than this share of a need [fraction], or cheaper than this [money], are listed
        instead of planned. Ours; common practice, no source.
    """

    guideline: str = "umn-forage-2011"
    lime_guideline: str = "umn-wildlife-lime"
    lime_region: str = ""
    lime_dose_limit: str = ""
    sampling_guide: str = "Minnesota"
    cores_per_sample: int | None = None
    test_age_limit_years: float = 4.0
    spreading_cost_per_ha: Decimal = Decimal(0)
    spreading_cost_per_pass: Decimal = Decimal(0)
    hauling_cost_per_kg: Decimal = Decimal(0)
    max_products_per_plot: int | None = 3
    surplus_limit_fraction: Mapping[str, float] = field(default_factory=dict)
    surplus_limit_kg_ha: Mapping[str, float] = field(default_factory=dict)
    min_rate_kg_ha: float | None = None
    convert_extractants: bool = False
    default_yield_row: bool = True
    gps_sigma_m: float = 3.0
    spreaders: tuple[Spreader, ...] = ()
    keeper: str = ""
    season_start: str = "01-01"
    legume_share_no_n_pct: float = 25.0
    topup_share: float = 0.05
    topup_cost: Decimal = Decimal(0)


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
    currency
        Of every price [ISO 4217 code].
    """

    name: str
    season: int
    about: str = ""
    units: str = "us"
    settings: Settings = field(default_factory=Settings)
    currency: str = "USD"
