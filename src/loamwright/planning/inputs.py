"""What is the planner asked, and which of it can be planned?

The records a caller fills in (`PlanPlot`, `Demand`, `Ware`, `FixedPass`, `Terms`), and the check that puts
them in one canonical order and leaves out, with a sentence each, what cannot be planned: an offer without
a price, a package of zero mass, limits that cross, choices that contradict each other. What remains is
planned all the same. This file decides nothing about amounts.

A *supply key* names what a product delivers: a `Nutrient` value (``"N"``), or ``"lime "`` and a
`LimeBasis` value (``"lime ENP"``).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TypeVar

from loamwright.errors import Level, Problem
from loamwright.money import format_money
from loamwright.supplies import Form, Offer, Product
from loamwright.units import (
    LB_KG,
    format_figure,
)
from loamwright.values import Nutrient, Supply, Timing

_T = TypeVar("_T")

#: Calendar order of the timings; "any time" comes last.
TIMING_ORDER: Mapping[Timing | None, int] = {timing: place for place, timing in enumerate((*Timing, None))}


@dataclass(frozen=True, slots=True)
class Demand:
    """What one plot must get of one supply.

    Parameters
    ----------
    supply
        Supply key.
    mass_kg
        Still to be supplied [kg of the supply]; None = unknown, and then nothing is planned for it.
    timing
        When it must be supplied; None = at any time of the season.
    priority
        How much it counts against the plot's other demands when money is short [dimensionless].
    """

    supply: Supply
    mass_kg: float | None
    timing: Timing | None = None
    priority: float = 1.0


@dataclass(frozen=True, slots=True)
class Band:
    """Between which shares of a need a plot may end.

    Parameters
    ----------
    low
        This share counts as met [fraction, up to 1].
    high
        What is put on for the nutrient alone ends here [fraction, 1 or more]; infinite = no edge. What
        another nutrient's product carries along is held by the caps instead.
    """

    low: float = 1.0
    high: float = math.inf


#: All of the need, with no upper edge but the caps.
EXACT = Band()


@dataclass(frozen=True, slots=True)
class Machine:
    """What a trip with one machine costs.

    Parameters
    ----------
    name
        As products name it under equipment.
    cost_per_job
        For going to a plot once with one load [money].
    cost_per_ha
        For each hectare spread [money].
    cost_per_fill
        For each filling of the hopper [money].
    hopper_kg
        What one fill holds [kg]; None = not stated, and fills are not counted.
    cost_per_load, load_kg
        For each load of one product it brings to the property, full or not [money], and what one holds [kg];
        None = not stated, and loads are not counted.
    hours_per_job, hours_per_ha, hours_per_fill
        Time they take [h]; per hectare None = not stated, and no hours are told.
    """

    name: str
    cost_per_job: Decimal = Decimal(0)
    cost_per_ha: Decimal = Decimal(0)
    cost_per_fill: Decimal = Decimal(0)
    hopper_kg: float | None = None
    hours_per_job: float = 0.0
    hours_per_ha: float | None = None
    hours_per_fill: float = 0.0
    cost_per_load: Decimal = Decimal(0)
    load_kg: float | None = None

    @property
    def brings_loads(self) -> bool:
        """Whether the loads it brings cost something, and how many there are can be told."""
        return self.cost_per_load > 0 and bool(self.load_kg)


@dataclass(frozen=True, slots=True)
class PlanPlot:
    """One plot as the planner sees it.

    Parameters
    ----------
    plot_id
        Which plot.
    area_ha
        Spread area [ha].
    demands
        What it must get; one supply may be split over timings.
    caps
        Most that may be supplied over the season, per supply key [kg]; a key absent here is not capped.
    weight
        How much the plot matters when money is short [dimensionless, per hectare].
    allowed_products
        Products that may go on it; None = any.
    timings
        Times at which it can be spread; None = any.
    bands
        Within which shares of a need the plot may end, per supply key; a key absent here is `EXACT`.
    machines
        Names of the machines that can get there and work there; None = any.
    rest_ha
        Where a part of the plot has had its share of a supply: the ground that still asks for it [ha]; a
        supply absent here is asked for by all of it.
    kept_off
        Machine to why it cannot get there or work there.
    whole_kg
        The season's whole need per supply key, what was put on included [kg]; absent = what the demands ask.
    """

    plot_id: str
    area_ha: float
    demands: tuple[Demand, ...]
    caps: Mapping[Supply, float] = field(default_factory=dict)
    weight: float = 1.0
    allowed_products: frozenset[str] | None = None
    timings: tuple[Timing, ...] | None = None
    bands: Mapping[Supply, Band] = field(default_factory=dict)
    machines: frozenset[str] | None = None
    rest_ha: Mapping[Supply, float] = field(default_factory=dict)
    kept_off: Mapping[str, str] = field(default_factory=dict)
    whole_kg: Mapping[Supply, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ware:
    """A product and what it delivers.

    Parameters
    ----------
    product
        The product, with its rate limits and timings.
    contents
        Supply key to content [kg of the supply per kg product].
    """

    product: Product
    contents: Mapping[Supply, float]

    @property
    def capped(self) -> Mapping[Supply, float]:
        """What counts against caps [kg per kg]: the contents, and of a manure all of its P2O5.

        The share of it that the crop cannot use in the first season stays in the soil all the same.
        """
        whole = self.product.analysis_pct.get(Nutrient.P2O5)
        if not self.product.material or whole is None:
            return self.contents
        return {**self.contents, Supply.P2O5: whole / 100}


@dataclass(frozen=True, slots=True)
class FixedPass:
    """A pass the user has already decided on.

    Parameters
    ----------
    plot_id, product
        Where and what.
    mass_kg
        Exactly this much product [kg]; 0 = this product must not go there.
    timing
        When; None = at any time (for mass 0: at no time).
    """

    plot_id: str
    product: str
    mass_kg: float
    timing: Timing | None = None


@dataclass(frozen=True, slots=True)
class Terms:
    """On what terms to plan.

    Parameters
    ----------
    max_products_per_plot
        Fertilizer products on one plot and timing, lime not counted; None = no limit.
    spreading_cost_per_ha
        For one pass of one product [money per ha].
    spreading_cost_per_pass
        For going to a plot once with one product, whatever its size [money].
    min_rate_kg_ha
        Practical smallest product rate when the product states none [kg/ha]; None = no limit.
    hauling_cost_per_kg
        For bringing what is bought to the property [money per kg], where no delivery is paid; counted
        with delivery.
    cost_per_haul, haul_kg
        For one way to a seller and back, full or not, where no delivery is paid [money], and what it brings
        [kg]; None = hauls are not counted.
    handling_cost_per_kg
        For handling what is bought, by offer id [money per kg]; an offer absent here costs nothing.
    machines
        What a trip costs by machine; none = one machine for everything at the two costs above.
    mixing
        Pairs of products that may share a load; every other pair goes in trips of its own. Products of
        different form never share one.
    odd_amount_cost
        What it is worth not to have to weigh out a part of a package other than a half [money]. It steers
        the plan and is not part of its cost.
    logged_kg_ha
        (machine, product) to the rates that its logged settings gave [kg/ha]: where one of them keeps the
        needs inside their bands, a product not counted in packages is spread at it, at the same worth.
    least_job_share
        A job that brings no need more than this share of the season's whole need is left as a choice
        [fraction]; 0 = every job is planned.
    spare
        Share bought, or kept of the stock, on top of what is spread, for spills [fraction].
    gap
        Proof wanted: plan cost over proved lower bound [fraction].
    time_limit_s
        Most time for the search [s].
    budget
        Spend at most this [money] where it does most; None = meet every need.
    fixed
        Passes already decided on.
    season
        Season the plan is for [calendar year].
    units
        ``"us"`` or ``"metric"``: how the steps of a line are written.
    """

    max_products_per_plot: int | None = None
    spreading_cost_per_ha: Decimal = Decimal(0)
    spreading_cost_per_pass: Decimal = Decimal(0)
    min_rate_kg_ha: float | None = None
    hauling_cost_per_kg: Decimal = Decimal(0)
    cost_per_haul: Decimal = Decimal(0)
    haul_kg: float | None = None
    handling_cost_per_kg: Mapping[str, Decimal] = field(default_factory=dict)
    machines: tuple[Machine, ...] = ()
    mixing: frozenset[frozenset[str]] = frozenset()
    odd_amount_cost: Decimal = Decimal(0)
    logged_kg_ha: Mapping[tuple[str, str], tuple[float, ...]] = field(default_factory=dict)
    least_job_share: float = 0.0
    spare: float = 0.0
    gap: float = 0.001
    time_limit_s: float = 30.0
    budget: Decimal | None = None
    fixed: tuple[FixedPass, ...] = ()
    season: int = 0
    units: str = "us"


@dataclass(frozen=True, slots=True)
class Request:
    """What can be planned, in canonical order, and what was left out.

    Parameters
    ----------
    plots
        By plot_id; demands with unknown mass are kept, for the record.
    wares
        By product name.
    offers
        By offer_id; every one has a package mass, and a price or stock on hand.
    stock_only
        Ids of offers that cannot be bought (no usable price) but have stock on hand.
    terms
        With the fixed passes that do not contradict anything.
    problems
        What was left out and why.
    """

    plots: tuple[PlanPlot, ...]
    wares: tuple[Ware, ...]
    offers: tuple[Offer, ...]
    stock_only: frozenset[str]
    terms: Terms
    problems: tuple[Problem, ...]


def known_kg(plot: PlanPlot) -> dict[tuple[Supply, Timing | None], float]:
    """Add up a plot's known needs by supply and timing."""
    unknown = {demand.supply for demand in plot.demands if demand.mass_kg is None}
    total: dict[tuple[Supply, Timing | None], float] = {}
    for demand in plot.demands:
        if demand.mass_kg and demand.supply not in unknown:
            key = (demand.supply, demand.timing)
            total[key] = total.get(key, 0.0) + demand.mass_kg
    return total


def need_values(plot: PlanPlot) -> dict[tuple[Supply, Timing | None], float]:
    """Weigh a plot's known needs against those of other plots, for when money is short.

    Notes
    -----
    value = plot weight × area × priority × this need's part of what the plot needs of the supply.
    """
    known = known_kg(plot)
    whole: dict[str, float] = {}
    priority: dict[tuple[Supply, Timing | None], float] = {}
    for (supply, _timing), mass_kg in known.items():
        whole[supply] = whole.get(supply, 0.0) + mass_kg
    for demand in plot.demands:
        key = (demand.supply, demand.timing)
        priority[key] = max(priority.get(key, 0.0), demand.priority)
    return {
        key: plot.weight * plot.area_ha * priority[key] * mass_kg / whole[key[0]]
        for key, mass_kg in known.items()
    }


def band_of(plot: PlanPlot, supply: Supply) -> Band:
    """Give the band of one need of a plot."""
    return plot.bands.get(supply, EXACT)


def needed_kg(plot: PlanPlot) -> dict[Supply, float]:
    """Add up a plot's known needs by supply, all timings together [kg]."""
    total: dict[Supply, float] = {}
    for (supply, _timing), mass_kg in known_kg(plot).items():
        total[supply] = total.get(supply, 0.0) + mass_kg
    return total


def ground_ha(plot: PlanPlot, ware: Ware) -> float:
    """Give the ground a product goes on [ha]: the rest of the plot where all else has what it brings."""
    if not plot.rest_ha:
        return plot.area_ha
    needed = needed_kg(plot)
    served = [supply for supply, content in ware.contents.items() if content > 0 and supply in needed]
    if not served or any(supply not in plot.rest_ha for supply in served):
        return plot.area_ha
    return min(plot.area_ha, max(plot.rest_ha[supply] for supply in served))


def serving(plot: PlanPlot, ware: Ware) -> Mapping[Supply, float]:
    """Give what 1 kg of a product brings towards the plot's needs [kg], by supply.

    It is what the product holds. Where only the rest of the plot still asks for a supply, what lands beside
    that rest serves no need.
    """
    ground = ground_ha(plot, ware)
    if not plot.rest_ha or ground <= 0:
        return ware.contents
    return {
        supply: content * min(1.0, plot.rest_ha.get(supply, ground) / ground)
        for supply, content in ware.contents.items()
    }


def machines_of(terms: Terms) -> tuple[Machine, ...]:
    """List the machines, one without a name at the terms' own costs when none is given."""
    if terms.machines:
        return tuple(sorted(terms.machines, key=lambda one: one.name))
    return (Machine("", terms.spreading_cost_per_pass, terms.spreading_cost_per_ha),)


def is_fetched(request: Request, offer: Offer) -> bool:
    """Tell whether somebody goes for what is bought: it is not delivered for a fee, and not brought in loads.

    A product that only machines spread which bring their own loads to the property is brought by them.
    """
    if offer.delivery_fee > 0:
        return False
    handling = handlers(request, offer.product)
    return not handling or not all(machine.brings_loads for machine in handling)


def handlers(request: Request, product: str) -> list[Machine]:
    """Name the machines that can spread a product."""
    ware = next((one for one in request.wares if one.product.product == product), None)
    named = {name.casefold() for name in ware.product.equipment} if ware is not None else set()
    return [one for one in request.terms.machines if not named or one.name.casefold() in named]


def loads_of(mass_kg: float, load_kg: float) -> int:
    """Count whole loads: the last one need not be full.

    Examples
    --------
    >>> loads_of(11_000.0, 10_000.0), loads_of(10_000.0, 10_000.0)
    (2, 1)
    """
    return math.ceil(mass_kg / load_kg - 1e-6)


def fill_cost_per_kg(machine: Machine) -> float:
    """Filling the hopper [money per kg]: a part of a fill costs its part; zero for a hopper not stated."""
    return float(machine.cost_per_fill) / machine.hopper_kg if machine.hopper_kg else 0.0


def logged_kg(plot: PlanPlot, ware: Ware, near_kg: Sequence[float], terms: Terms) -> float:
    """Give the amount a logged spreader setting puts on a plot, the next to what it would get weighed out.

    Parameters
    ----------
    plot, ware
        Where and what.
    near_kg
        What goes on weighed out, time by time [kg].
    terms
        The settings' rates, and the smallest rate.

    Returns
    -------
    float
        [kg]; 0.0 where no setting is logged, or only such that are no rate for the product or over a cap.
    """
    least, most = lowest_rate_kg_ha(ware.product, terms), ware.product.max_rate_kg_ha or math.inf
    possible = [
        rate * ground_ha(plot, ware)
        for (machine, product), logged in terms.logged_kg_ha.items()
        if product == ware.product.product and (plot.machines is None or machine in plot.machines)
        for rate in logged
        if least <= rate <= most
    ]
    under_caps = [
        kg
        for kg in possible
        if all(part * kg <= plot.caps.get(supply, math.inf) for supply, part in ware.capped.items())
    ]
    # What is weighed out often stands at the lower edge of a band: the next rate above it comes first.
    away = [(kg < near * (1 - 1e-9), abs(kg - near), kg) for kg in under_caps for near in near_kg]
    return min(away, default=(False, 0.0, 0.0))[2]


#: A package heavier than this is not counted by halves on a plot [kg]; it is weighed like bulk. Ours.
LARGEST_COUNTED_KG = 60.0


def half_package_kg(ware: Ware, offers: Iterable[Offer]) -> float:
    """Half of the smallest package a product can be counted in on a plot.

    Parameters
    ----------
    ware
        The product; liquids are measured, not counted.
    offers
        All offers.

    Returns
    -------
    float
        [kg]; 0.0 when it is not counted.
    """
    if ware.product.form is Form.LIQUID:
        return 0.0
    sizes = [
        offer.package_kg
        for offer in offers
        if offer.product == ware.product.product
        and not offer.divisible
        and offer.package_kg
        and offer.package_kg <= LARGEST_COUNTED_KG
    ]
    return min(sizes) / 2 if sizes else 0.0


def half_bucket_kg(ware: Ware, offers: Iterable[Offer]) -> float:
    """Half of the bucket that loose goods are counted in.

    Parameters
    ----------
    ware
        The product.
    offers
        All offers.

    Returns
    -------
    float
        [kg]; 0.0 when no bucket is stated, or the product comes in packages a person counts.
    """
    bucket_kg = ware.product.bucket_kg
    return 0.0 if not bucket_kg or half_package_kg(ware, offers) > 0 else bucket_kg / 2


def offer_text(offer: Offer) -> str:
    """Name an offer for a sentence."""
    seller = f" from {offer.seller}" if offer.seller else ""
    return f"{offer.product} ({offer.package}{seller})"


def amount_text(mass_kg: float, of: str, units: str) -> str:
    """Write an amount for a sentence.

    Examples
    --------
    >>> amount_text(45.359237, "P2O5", "us")
    '100 lb P2O5'
    """
    number, unit = (mass_kg, "kg") if units == "metric" else (mass_kg / LB_KG, "lb")
    return f"{format_figure(number)} {unit} {of}"


def lowest_rate_kg_ha(product: Product, terms: Terms) -> float:
    """Return the smallest practical rate of a product."""
    if product.min_rate_kg_ha is not None:
        return product.min_rate_kg_ha
    return terms.min_rate_kg_ha or 0.0


def check_request(
    plots: Sequence[PlanPlot], wares: Sequence[Ware], offers: Sequence[Offer], terms: Terms
) -> Request:
    """Put what is asked in canonical order and leave out what cannot be planned."""
    problems: list[Problem] = []
    terms = _usable_terms(terms, problems)
    kept_plots = _usable_plots(plots, problems)
    kept_wares = _usable_wares(wares, terms, problems)
    kept_offers, stock_only = _usable_offers(offers, kept_wares, problems)
    fixed = _usable_choices(terms, kept_plots, kept_wares, kept_offers, problems)
    return Request(
        plots=tuple(kept_plots),
        wares=tuple(kept_wares),
        offers=tuple(kept_offers),
        stock_only=frozenset(stock_only),
        terms=replace(terms, fixed=tuple(fixed)),
        problems=tuple(problems),
    )


def _bad(number: float | None) -> bool:
    return number is not None and (not math.isfinite(number) or number < 0)


def _usable_terms(terms: Terms, problems: list[Problem]) -> Terms:
    changes: dict[str, object] = {}
    for name in ("spreading_cost_per_ha", "spreading_cost_per_pass", "hauling_cost_per_kg", "cost_per_haul"):
        amount: Decimal = getattr(terms, name)
        if not amount.is_finite() or amount < 0:
            problems.append(
                Problem(f"settings, {name}", f"{amount} is not a cost", "Give zero or more; zero was used.")
            )
            changes[name] = Decimal(0)
    if _bad(terms.min_rate_kg_ha):
        what = f"{terms.min_rate_kg_ha} kg/ha is not a rate"
        problems.append(Problem("settings, min_rate_kg_ha", what, "Give zero or more; no limit was used."))
        changes["min_rate_kg_ha"] = None
    if terms.max_products_per_plot is not None and terms.max_products_per_plot < 1:
        what = f"{terms.max_products_per_plot} products on a plot leaves nothing to plan"
        problems.append(Problem("settings, max_products_per_plot", what, "Give 1 or more; 1 was used."))
        changes["max_products_per_plot"] = 1
    if terms.budget is not None and (not terms.budget.is_finite() or terms.budget < 0):
        problems.append(Problem("budget", f"{terms.budget} is not a sum to spend", "Give zero or more."))
        changes["budget"] = Decimal(0)
    return replace(terms, **changes)  # type: ignore[arg-type]


def _once(items: Iterable[tuple[str, _T]], kind: str, problems: list[Problem]) -> dict[str, _T]:
    """Keep one of each id, in the order of the ids, and say so when an id comes twice."""
    kept: dict[str, _T] = {}
    for key, item in items:
        if key in kept and kept[key] != item:
            what = f"{kind} {key!r} is given twice, and not alike"
            problems.append(Problem(f"{kind} {key}", what, "Give each its own name; one was left out."))
            kept[key] = min(kept[key], item, key=repr)
        else:
            kept[key] = item
    return dict(sorted(kept.items()))


def _usable_plots(plots: Sequence[PlanPlot], problems: list[Problem]) -> list[PlanPlot]:
    kept = []
    for plot_id, plot in _once(((plot.plot_id, plot) for plot in plots), "plot", problems).items():
        where = f"plot {plot_id}"
        if _bad(plot.area_ha):
            what = f"a spread area of {plot.area_ha} ha cannot be planned"
            problems.append(Problem(where, what, "Check the boundary; the plot was left out."))
            continue
        good, bad = [], set()
        for demand in plot.demands:
            (bad.add(demand.supply) if _bad(demand.mass_kg) else good.append(demand))
        for supply in sorted(bad):
            what = f"a need of {supply} that is negative or not a number"
            problems.append(Problem(where, what, f"Check the need; {supply} was left out for this plot."))
        demands = tuple(
            sorted(
                (demand for demand in good if demand.supply not in bad),
                key=lambda demand: (demand.supply, TIMING_ORDER[demand.timing], demand.mass_kg or 0.0),
            )
        )
        caps = {supply: cap for supply, cap in sorted(plot.caps.items()) if not math.isnan(cap)}
        for supply, cap in caps.items():
            if cap < 0:
                what = f"a cap of {cap:g} kg on {supply}"
                problems.append(Problem(where, what, "A cap is zero or more; zero was used.", Level.WARNING))
        caps = {supply: max(0.0, cap) for supply, cap in caps.items()}
        plot = replace(plot, demands=demands, caps=caps)
        if plot.area_ha == 0 and known_kg(plot):
            problems.append(
                Problem(where, "there is no spread area, but something is needed", "Check the boundary.")
            )
            continue
        if _bad(plot.weight):
            what = f"a weight of {plot.weight}"
            problems.append(Problem(where, what, "Give zero or more; 1 was used.", Level.WARNING))
            plot = replace(plot, weight=1.0)
        kept.append(plot)
    return kept


def _usable_wares(wares: Sequence[Ware], terms: Terms, problems: list[Problem]) -> list[Ware]:
    kept = []
    for name, ware in _once(((ware.product.product, ware) for ware in wares), "product", problems).items():
        where = f"product {name}"
        product = ware.product
        low, high = lowest_rate_kg_ha(product, terms), product.max_rate_kg_ha
        wrong = [key for key, content in sorted(ware.contents.items()) if _bad(content)]
        if wrong:
            what = f"a content of {wrong[0]} of {ware.contents[wrong[0]]} kg per kg"
            problems.append(Problem(where, what, "Check the label; the product was left out."))
        elif _bad(product.min_rate_kg_ha) or _bad(high) or high == 0:
            what = f"rate limits of {product.min_rate_kg_ha} and {high} kg/ha"
            problems.append(Problem(where, what, "Give positive rates; the product was left out."))
        elif high is not None and low > high:
            whose = "its own" if product.min_rate_kg_ha is not None else "the property's"
            what = f"rate limits cross: at least {low:g} kg/ha ({whose} limit), at most {high:g} kg/ha"
            problems.append(Problem(where, what, "Lower the one or raise the other; it was left out."))
        else:
            contents = {key: value for key, value in sorted(ware.contents.items()) if value > 0}
            kept.append(Ware(product, contents))
    return kept


def _usable_offers(
    offers: Sequence[Offer], wares: Sequence[Ware], problems: list[Problem]
) -> tuple[list[Offer], set[str]]:
    known = {ware.product.product for ware in wares}
    kept, stock_only = [], set()
    for offer_id, offer in _once(((offer.offer_id, offer) for offer in offers), "offer", problems).items():
        where = f"offer {offer_id}"
        fault, fix = _package_fault(offer)
        if not fault and offer.product not in known:
            fault, fix = f"its product {offer.product!r} is not among the usable products", "Add its label."
        if fault:
            problems.append(Problem(where, fault, f"{fix} The offer was left out."))
            continue
        fault, fix = _price_fault(offer)
        if not fault:
            kept.append(replace(offer, price_breaks=tuple(sorted(offer.price_breaks))))
        elif offer.in_stock > 0:
            fix = f"{fix} Only the stock on hand was used."
            problems.append(Problem(where, fault, fix, Level.WARNING))
            kept.append(replace(offer, price_breaks=()))
            stock_only.add(offer_id)
        else:
            problems.append(Problem(where, fault, f"{fix} The offer was left out."))
    return kept, stock_only


def _package_fault(offer: Offer) -> tuple[str, str]:
    mass, step = offer.package_kg, offer.increment_kg
    if mass is None:
        return f"the mass of {offer.package!r} is not known", "State the density or the net weight."
    if not math.isfinite(mass) or mass <= 0:
        return f"the package {offer.package!r} has a mass of {mass:g} kg", "State its net weight."
    if step is not None and (not math.isfinite(step) or step <= 0):
        return f"an increment of {step:g} kg", "Give a positive increment, or none."
    if _bad(offer.in_stock):
        return f"{offer.in_stock:g} packages in stock", "Give zero or more."
    if offer.min_order < 0 or (offer.max_count is not None and offer.max_count < 0):
        return f"order limits of {offer.min_order} and {offer.max_count} packages", "Give zero or more."
    return "", ""


def _price_fault(offer: Offer) -> tuple[str, str]:
    prices = [price for _count, price in offer.price_breaks]
    if offer.price is None:
        return "the price is missing", "Ask the seller."
    if not offer.price.is_finite() or offer.price <= 0:
        money = format_money(offer.price) if offer.price.is_finite() else str(offer.price)
        return f"a price of {money} cannot be planned with", "Enter what one package costs."
    if any(not price.is_finite() or price <= 0 for price in prices):
        return f"a price break at {min(prices)}", "Enter what one package costs from that count on."
    if any(count < 1 for count, _price in offer.price_breaks):
        return "a price break that begins below one package", "Say from how many packages it holds."
    if offer.delivery_fee.is_finite() and offer.delivery_fee >= 0:
        if offer.max_count is not None and offer.min_order > offer.max_count:
            what = f"order limits cross: at least {offer.min_order}, at most {offer.max_count} packages"
            return what, "Ask the seller."
        return "", ""
    return f"a delivery fee of {offer.delivery_fee}", "Enter zero or what it costs."


def _usable_choices(
    terms: Terms,
    plots: Sequence[PlanPlot],
    wares: Sequence[Ware],
    offers: Sequence[Offer],
    problems: list[Problem],
) -> list[FixedPass]:
    """Keep the fixed passes that can stand together, in the order of plot, product and timing."""
    by_plot = {plot.plot_id: plot for plot in plots}
    by_name = {ware.product.product: ware for ware in wares}
    offered = {offer.product for offer in offers}
    kept: dict[tuple[str, str, Timing | None], FixedPass] = {}
    ordered = sorted(
        set(terms.fixed), key=lambda one: (one.plot_id, one.product, TIMING_ORDER[one.timing], one.mass_kg)
    )
    supplied: dict[tuple[str, Supply], float] = {}
    for choice in ordered:
        where = f"plot {choice.plot_id}, fixed choice of {choice.product}"
        plot, ware = by_plot.get(choice.plot_id), by_name.get(choice.product)
        key = (choice.plot_id, choice.product, choice.timing)
        rivals = [other for other in kept.values() if (other.plot_id, other.product) == key[:2]]
        rival = next(
            (
                other
                for other in rivals
                if other.timing == choice.timing or 0 in (other.mass_kg, choice.mass_kg)
            ),
            None,
        )
        fault = ""
        if plot is None:
            fault = "the plot is not known, or was left out"
        elif ware is None:
            fault = "the product is not known, or was left out"
        elif _bad(choice.mass_kg):
            fault = f"{choice.mass_kg} kg is not an amount"
        elif rival is not None:
            fault = f"{choice.mass_kg:g} kg contradicts the choice of {rival.mass_kg:g} kg"
        elif choice.mass_kg > 0:
            fault = _choice_fault(choice, plot, ware, terms, offered, supplied)
        if fault:
            problems.append(Problem(where, fault, "Change the choice; it was left out of this plan."))
            continue
        kept[key] = choice
        assert ware is not None
        for supply, content in ware.capped.items():
            at = (choice.plot_id, supply)
            supplied[at] = supplied.get(at, 0.0) + content * choice.mass_kg
    return list(kept.values())


def _choice_fault(
    choice: FixedPass,
    plot: PlanPlot,
    ware: Ware,
    terms: Terms,
    offered: set[str],
    supplied: Mapping[tuple[str, Supply], float],
) -> str:
    product = ware.product
    ground = ground_ha(plot, ware)
    rate = choice.mass_kg / ground if ground > 0 else math.inf
    low, high = lowest_rate_kg_ha(product, terms), product.max_rate_kg_ha
    if product.product not in offered:
        return "nobody offers the product at a usable price"
    if plot.allowed_products is not None and product.product not in plot.allowed_products:
        return "the product may not go on this plot"
    if choice.timing is not None and product.timings and choice.timing not in product.timings:
        return f"the product is not used at the time {choice.timing.value!r}"
    if choice.timing is not None and plot.timings is not None and choice.timing not in plot.timings:
        return f"the plot is not spread at the time {choice.timing.value!r}"
    if rate < low * (1 - 1e-9):
        return f"{rate:.4g} kg/ha is under the practical rate of {low:.4g} kg/ha"
    if high is not None and rate > high * (1 + 1e-9):
        return f"{rate:.4g} kg/ha is over the safe rate of {high:.4g} kg/ha"
    for supply, content in ware.capped.items():
        brought = supplied.get((plot.plot_id, supply), 0.0) + content * choice.mass_kg
        if brought > plot.caps.get(supply, math.inf) * (1 + 1e-9):
            return f"it brings {supply} to {brought:.4g} kg, over the cap of {plot.caps[supply]:.4g} kg"
    return ""


def is_lime(ware: Ware) -> bool:
    """Tell whether a ware counts as lime, which the limit on products per plot leaves out."""
    return ware.product.form is Form.LIME
