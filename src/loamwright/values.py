"""The values every package shares: sources, steps, nutrients, lime bases, settings.

What only one package deals in stands in that package's `records`. The conventions hold for all of them:

* Mass is kilograms, area square metres, rate kilograms per hectare, length metres, money Decimal.
* The basis is in the name or the type: ``p2o5`` is not P, ``k2o`` is not K, ``analysis_pct`` is
  percent by weight as guaranteed on a label.
* ``None`` always means *not tested* or *not stated*; it never means zero.
* Shapes are well-known binary (WKB) in longitude, latitude on WGS84; `geometry` reads them.
* Every amount carries the `Step` list that made it, and every step names its `Source`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Any

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
class Reckoned:
    """Figures of one question, and how they came about.

    Parameters
    ----------
    figures
        Name with its unit (``"length_m"``, ``"rate_kg_ha"``) to figure, in SI; the first is the answer.
    steps
        How they were reached.
    said
        A sentence that belongs to them; empty = none.
    """

    figures: Mapping[str, float]
    steps: tuple[Step, ...]
    said: str = ""


class LaterSteps(Sequence[Step]):
    """Steps that are put into words when they are first looked at; otherwise like the tuple of them.

    Parameters
    ----------
    make
        Gives the steps; called once at most.
    """

    __slots__ = ("_made", "_make")

    def __init__(self, make: Callable[[], tuple[Step, ...]]) -> None:
        self._make = make
        self._made: tuple[Step, ...] | None = None

    def _steps(self) -> tuple[Step, ...]:
        if self._made is None:
            self._made = self._make()
        return self._made

    def __getitem__(self, index: Any) -> Any:
        return self._steps()[index]

    def __len__(self) -> int:
        return len(self._steps())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, tuple | LaterSteps) and self._steps() == tuple(other)

    def __hash__(self) -> int:
        return hash(self._steps())

    def __repr__(self) -> str:
        return repr(self._steps())

    def __reduce__(self) -> tuple[type[tuple[Step, ...]], tuple[tuple[Step, ...]]]:
        return tuple, (self._steps(),)


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

    @property
    def supply(self) -> Supply:
        """This nutrient as something a product supplies."""
        return Supply(self.value)


class NeedState(StrEnum):
    """The answers to "does the plot need it?"."""

    NEEDED = "needed"
    NONE = "none"
    UNKNOWN = "unknown"
    TO_DECIDE = "to decide"  #: the source leaves a choice, and nobody has made it


class Timing(StrEnum):
    """When in the season a pass is made, in calendar order."""

    BEFORE_PLANTING = "before planting"
    AT_PLANTING = "at planting"
    TOPDRESS = "top-dress"
    AFTER_HARVEST = "after harvest"


class LimeBasis(StrEnum):
    """What a pound of effective lime is a pound of. Never mixed, never converted silently."""

    ENP = "ENP"  #: effective neutralizing power, Minnesota (lb per ton on the label)
    ENP_OHIO = "ENP (Ohio)"
    ECCE = "ECCE"  #: effective calcium carbonate equivalent, Iowa
    ENM = "ENM"  #: effective neutralizing material, Missouri (pure fine CaCO3 = 800 lb/ton)
    ENV = "ENV"  #: effective neutralizing value, New York
    RNV = "RNV"  #: relative neutralizing value, Mississippi
    ECC = "ECC"  #: effective calcium carbonate, Michigan
    ECC_NEBRASKA = "ECC (Nebraska)"
    AI = "AI"  #: agricultural index, Ontario
    EP = "EP"  #: efficiency percent, Western Australia
    CCE = "CCE"  #: calcium carbonate equivalent without a fineness factor
    OWN = "own"  #: by a sieve formula the user gives, with its source
    PRODUCT = "product"  #: tons of ground limestone as such, as a lab may print it

    @property
    def supply(self) -> Supply:
        """What a lime scored in this basis supplies."""
        return Supply(f"lime {self.value}")


class Supply(StrEnum):
    """What a product can supply and a plot can need: a nutrient, or effective lime in one basis."""

    N = "N"
    P2O5 = "P2O5"
    K2O = "K2O"
    S = "S"
    CA = "Ca"
    MG = "Mg"
    B = "B"
    ZN = "Zn"
    MN = "Mn"
    LIME_ENP = "lime ENP"
    LIME_ENP_OHIO = "lime ENP (Ohio)"
    LIME_ECCE = "lime ECCE"
    LIME_ENM = "lime ENM"
    LIME_ENV = "lime ENV"
    LIME_RNV = "lime RNV"
    LIME_ECC = "lime ECC"
    LIME_ECC_NEBRASKA = "lime ECC (Nebraska)"
    LIME_AI = "lime AI"
    LIME_EP = "lime EP"
    LIME_CCE = "lime CCE"
    LIME_OWN = "lime own"
    LIME_PRODUCT = "lime product"
    PRODUCT = "product"  #: the product itself, whatever it holds

    @property
    def basis(self) -> LimeBasis | None:
        """The basis of effective lime; None for a nutrient."""
        return LimeBasis(self.value.removeprefix("lime ")) if self.value.startswith("lime ") else None

    @property
    def is_lime(self) -> bool:
        """True for effective lime."""
        return self.basis is not None

    @property
    def name_alone(self) -> str:
        """The nutrient, or the lime's basis, without the word lime."""
        return self.value.removeprefix("lime ")


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
    cost_per_load
        For each load of one product that it brings to the property, full or not [money]; None = not stated.
    width_m
        How wide it is on the way [m], which is not how wide it throws; None = not stated.
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
    cost_per_load: Decimal | None = None
    width_m: float | None = None


@dataclass(frozen=True, slots=True)
class MixDecision:
    """What the user decided for the property about one pair of products.

    Parameters
    ----------
    one, other
        Products, as labelled on the property.
    may
        Whether they may share a load.
    reason
        Why, in the user's words.
    """

    one: str
    other: str
    may: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Blending:
    """What a blending plant charges.

    Parameters
    ----------
    seller
        Who blends.
    prices_per_kg
        Ingredient, as labelled on the property, to the plant's price of it [money per kg].
    fee_per_kg
        For blending [money per kg of blend].
    min_order_kg
        Smallest order [kg].
    delivery_fee
        Once for an order [money].
    """

    seller: str
    prices_per_kg: Mapping[str, float]
    fee_per_kg: Decimal = Decimal(0)
    min_order_kg: float = 0.0
    delivery_fee: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class OwnWindow:
    """When the user does a kind of work, over what a published page says.

    Parameters
    ----------
    timing
        Which work of the season.
    opens, closes
        First and last day [month, day].
    crop
        Only for this crop; empty = any.
    label, placement
        In the user's words; empty = not said.
    of
        Only for this nutrient (``"lime"`` for lime) or this product; empty = any.
    share
        Of the need of that nutrient, what is due in this window [fraction]; None = it is not split.
    """

    timing: Timing
    opens: tuple[int, int]
    closes: tuple[int, int]
    crop: str = ""
    label: str = ""
    placement: str = ""
    of: str = ""
    share: float | None = None


@dataclass(frozen=True, slots=True)
class WorkRules:
    """How the work is done on a property, and what it costs beside the spreader itself.

    Every default is ours; no source was found, unless another is named.

    Parameters
    ----------
    state
        Whose dates and ground rules hold (``"Ohio"``); empty = not picked, and then none is shown.
    labour_per_hour
        Value of an hour [money]; zero for volunteers.
    minutes_per_stop, minutes_per_fill
        Getting to work on a plot, and filling a hopper once [min].
    odd_amount_cost
        What it is worth not to weigh out a part of a package other than a half [money].
    least_job_share
        A job that would bring no need more than this share of it, and what is left of a need of which most is
        on, is listed, not planned [fraction].
    spare
        Share bought on top for spills [fraction].
    handling_per_kg
        For handling what is bought, by how it gets into the hopper: ``"bag"``, ``"bulk shovelled"``,
        ``"bulk by auger"``, ``"spread by the seller"`` [money per kg]; none = not counted.
    bands
        Supply to the lowest and highest share of a need that counts as met, over the defaults [fraction].
    mixing
        Decisions on pairs of products.
    windows
        The user's own.
    cost_per_haul, haul_kg
        For one way to a seller and back, full or not, where no delivery is paid [money], and what it brings
        [kg]; None = not stated, and no hauls are counted.
    blending
        A plant whose blend every plan is told of; None = none.
    """

    state: str = ""
    labour_per_hour: Decimal = Decimal(0)
    minutes_per_stop: float = 10.0
    minutes_per_fill: float = 5.0
    odd_amount_cost: Decimal = Decimal(10)
    least_job_share: float = 0.1
    spare: float = 0.0
    handling_per_kg: Mapping[str, Decimal] = field(default_factory=dict)
    bands: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    mixing: tuple[MixDecision, ...] = ()
    windows: tuple[OwnWindow, ...] = ()
    cost_per_haul: Decimal = Decimal(0)
    haul_kg: float | None = None
    blending: Blending | None = None


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
        Id of the published rule for how much lime goes on at once (see `lime_score.DOSE_LIMITS`); empty =
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
    work
        How the work is done, and what it costs beside the spreader itself.
    keeper
        Who changes things, unless another is said; empty = nobody named.
    season_start
        Month and day a season begins, ``"09-01"``; from July on it lies in the year before.
    legume_share_no_n_pct
        Legume share from which nitrogen on a mixture is to decide [percent].
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
    work: WorkRules = WorkRules()
    keeper: str = ""
    season_start: str = "01-01"
    legume_share_no_n_pct: float = 25.0


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
