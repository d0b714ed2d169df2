"""From needs to what the planner must reach and may not exceed, plot by plot.

This file answers "how much of each nutrient must a plot get, how much more may it get, and which
products can be spread there at all?". The amounts are the needs themselves; the caps on surplus are
ours (stated below, each open to the user's settings), because no source prints one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from loamwright.errors import Level, Problem
from loamwright.land import OPENING_M, Plot, PlotArea, Stop, Way, WaysIn, widest_m
from loamwright.needs import LimeNeed, Need, PlotNeeds
from loamwright.planning.inputs import Band, Demand, PlanPlot, amount_text
from loamwright.planning.terms import bands
from loamwright.supplies import SAME_SEASON, Product, dose_limit
from loamwright.units import FT_M, HA_M2, LB_ACRE_KG_HA, format_figure, format_length
from loamwright.values import NeedState, Nutrient, Settings, Spreader, Supply, Timing


@dataclass(frozen=True, slots=True)
class SurplusLimit:
    """How far supply may go beyond a need.

    Parameters
    ----------
    fraction
        Over a known need [fraction of the need].
    kg_ha
        Over a known need [kg/ha]; the larger of the two applies.
    none_kg_ha
        Where none is needed [kg/ha].
    unknown_kg_ha
        Where the need is unknown [kg/ha].
    """

    fraction: float
    kg_ha: float
    none_kg_ha: float
    unknown_kg_ha: float


#: Our defaults; common practice, no source, except the reasons named. Nutrients absent are not capped.
#: P: none where the test says none is needed, the crop gains nothing (caution C-15). N on legumes feeds
#: the grass (C-22); 10 lb/acre leaves room for the N that comes with a phosphate. B: the window between
#: enough and toxic is narrow (C-20). S: 25 lb/acre is the top of the published range for alfalfa
#: (University of Minnesota Extension crop news, December 2021). Lime: a tenth over.
SURPLUS_LIMITS: Mapping[str, SurplusLimit] = {
    Nutrient.N.value: SurplusLimit(0.10, 5 * LB_ACRE_KG_HA, 10 * LB_ACRE_KG_HA, 0.0),
    Nutrient.P2O5.value: SurplusLimit(0.25, 10 * LB_ACRE_KG_HA, 0.0, 0.0),
    Nutrient.K2O.value: SurplusLimit(0.25, 10 * LB_ACRE_KG_HA, 10 * LB_ACRE_KG_HA, 0.0),
    Nutrient.S.value: SurplusLimit(0.25, 25 * LB_ACRE_KG_HA, 25 * LB_ACRE_KG_HA, 25 * LB_ACRE_KG_HA),
    Nutrient.B.value: SurplusLimit(0.05, 0.0, 0.0, 0.0),
    "lime": SurplusLimit(0.10, 0.0, 0.0, 0.0),
}


#: When money is short, a share of a plot's lime counts this many times a share of a nutrient: where pH is
#: what limits, lime is the first dollar to spend. Ours; common practice, no source.
LIME_PRIORITY = 3.0


def surplus_limit(supply: Supply, settings: Settings) -> SurplusLimit | None:
    """Return the cap on surplus for one supply: the user's for it, else ours, else the user's ``"*"``."""
    default = SURPLUS_LIMITS.get("lime" if supply.is_lime else supply)
    named = supply in settings.surplus_limit_fraction or supply in settings.surplus_limit_kg_ha
    if default is not None and not named:
        return default
    key = supply if named else "*"
    fraction = settings.surplus_limit_fraction.get(key)
    kg_ha = settings.surplus_limit_kg_ha.get(key)
    if fraction is None and kg_ha is None:
        return None
    kg_ha = 0.0 if kg_ha is None else kg_ha
    unknown_kg_ha = kg_ha if default is None else default.unknown_kg_ha
    return SurplusLimit(0.0 if fraction is None else fraction, kg_ha, kg_ha, unknown_kg_ha)


def _cap_kg(need: Need | LimeNeed | None, limit: SurplusLimit, area_ha: float) -> float:
    if need is None or need.state is NeedState.UNKNOWN or need.mass_kg is None:
        return limit.unknown_kg_ha * area_ha
    if need.state is NeedState.NONE:
        return limit.none_kg_ha * area_ha
    return need.mass_kg + max(limit.fraction * need.mass_kg, limit.kg_ha * area_ha)


def lime_this_season(
    lime: LimeNeed,
    contents: Mapping[str, Mapping[Supply, float]],
    products: Sequence[Product],
    settings: Settings,
    spread_kg_ha: float,
) -> float:
    """Divide a lime need that is more than one dose carries.

    Notes
    -----
    The weakest lime that can reach the plot decides: what is left of the dose limit [kg/ha] times its
    effective share is planned, so that whichever lime is bought stays within the rule. A rule that only
    says to halve takes half, the lime already spread included. Doses that all go on in one season are
    planned together.
    """
    if not settings.lime_dose_limit or lime.rate_kg_ha is None or lime.basis is None:
        return 1.0
    limit = dose_limit(settings.lime_dose_limit)
    supply = lime.basis.supply
    strengths = [contents[item.product].get(supply, 0.0) for item in products]
    weakest = min((strength for strength in strengths if strength > 0), default=None)
    if weakest is None or limit.apart == SAME_SEASON:
        return 1.0
    wanted_kg_ha = lime.rate_kg_ha / weakest
    if limit.max_kg_ha is None:
        dose_kg_ha = (wanted_kg_ha + spread_kg_ha) / (limit.max_doses or 1)
    else:
        dose_kg_ha = limit.max_kg_ha
    return min(1.0, max(0.0, dose_kg_ha - spread_kg_ha) / wanted_kg_ha)


@dataclass(frozen=True, slots=True)
class LimeDose:
    """One dose of a plot's lime, in the season it is due.

    Parameters
    ----------
    plot_id, season
        Where, and when it is due [calendar year].
    supply
        Effective lime in the basis of the need.
    rate_kg_ha, mass_kg
        Effective lime [kg/ha] and on the plot [kg].
    rule
        Whose published rule divides the need; empty when none is chosen and all of it is due at once.
    """

    plot_id: str
    season: int
    supply: Supply
    rate_kg_ha: float
    mass_kg: float
    rule: str


def lime_ledger(
    plots: Sequence[Plot],
    needs: Mapping[str, PlotNeeds],
    contents: Mapping[str, Mapping[Supply, float]],
    products: Sequence[Product],
    settings: Settings,
    lime_spread_kg_ha: Mapping[str, float],
    season: int,
    ways: Sequence[Way] = (),
) -> tuple[LimeDose, ...]:
    """Divide each plot's lime into doses, with the season each is due.

    Parameters
    ----------
    plots
        Plots of the property.
    needs
        By plot_id; what was spread since the soil was sampled is off already.
    contents
        Product name to supply key to mass fraction [kg per kg product].
    products
        Products of the property.
    settings
        Name the published rule for one dose, or none.
    lime_spread_kg_ha
        Lime product that a dose now would come on top of, by plot_id [kg/ha].
    season
        The season now [calendar year].
    ways
        Ways drawn on the property.

    Returns
    -------
    tuple of LimeDose
        In the order of the plots and seasons; nothing for a plot that needs none.
    """
    doses: list[LimeDose] = []
    net = WaysIn(ways, plots)
    rule = dose_limit(settings.lime_dose_limit) if settings.lime_dose_limit else None
    for plot in plots:
        lime = needs[plot.plot_id].lime
        if lime.state is not NeedState.NEEDED or lime.basis is None or not lime.rate_kg_ha:
            continue
        off = kept_off(plot, settings, _widest_m(plot, settings), ways=net)
        let_in = reachable_products(products, reachable_machines(settings, off))
        reaching = [p for p in products if p.product in let_in]
        spread_kg_ha = lime_spread_kg_ha.get(plot.plot_id, 0.0)
        whole = lime_this_season(lime, contents, reaching, settings, 0.0)
        share = lime_this_season(lime, contents, reaching, settings, spread_kg_ha)
        left, year = 1.0, season
        while left > 1e-9:
            share = min(left, share)
            if share > 1e-9:
                rate, mass = share * lime.rate_kg_ha, share * (lime.mass_kg or 0.0)
                place = rule.place if rule is not None else ""
                doses.append(LimeDose(plot.plot_id, year, lime.basis.supply, rate, mass, place))
            left -= share
            year += max(1, rule.seasons_apart) if rule is not None else 1
            share = whole
    return tuple(doses)


def _divided(shares: Mapping[str, float], settings: Settings) -> tuple[Problem, ...]:
    """Say once which plots get part of their lime now, by whose rule, and when the rest is due."""
    if not shares:
        return ()
    limit = dose_limit(settings.lime_dose_limit)
    told = ", ".join(f"{plot_id} {share:.0%}" for plot_id, share in shares.items())
    apart = f"; the rest after {limit.apart}" if limit.apart else ""
    return (
        Problem(
            f"lime of {', '.join(shares)}",
            f"the need is more than one dose carries by the rule of {limit.place} ({limit.method}; "
            f"{limit.source}). Planned now: {told}{apart}",
            "The rest stays owed; `status` shows it.",
            Level.NOTE,
        ),
    )


def _left_out(plot_ids: Sequence[str]) -> tuple[Problem, ...]:
    """Say once which plots have no ground to spread on."""
    if not plot_ids:
        return ()
    return (
        Problem(
            f"plots {', '.join(plot_ids)}",
            "the keep-outs and their setbacks leave no ground to spread on, so nothing is planned there",
            "If that is not meant, check the keep-outs.",
            Level.NOTE,
        ),
    )


def _of_the_whole(
    demands: tuple[Demand, ...],
    usual: Mapping[Supply, Band],
    whole_kg: Mapping[Supply, float],
) -> Mapping[Supply, Band]:
    """Hold bands against the season's whole need of the ground, of which a part may have been put on already.

    What is still needed but lies inside the band is met: no trip is planned for it.
    """
    left: dict[Supply, float] = {}
    for demand in demands:
        left[demand.supply] = left.get(demand.supply, 0.0) + (demand.mass_kg or 0.0)
    held = dict(usual)
    for supply, left_kg in left.items():
        band, whole = usual.get(supply), whole_kg.get(supply, left_kg)
        if band is None or whole <= left_kg * (1 + 1e-9):
            continue
        low_kg = left_kg - (1 - band.low) * whole
        held[supply] = Band(max(0.0, low_kg) / left_kg, 1 + (band.high - 1) * whole / left_kg)
    return held


def _demands(plot: PlotNeeds) -> tuple[Demand, ...]:
    demands: list[Demand] = []
    for need in plot.needs:
        if need.state is not NeedState.NEEDED or not need.mass_kg:
            continue
        splits: tuple[tuple[Timing | None, float], ...] = need.timings or ((None, 1.0),)
        demands.extend(Demand(need.nutrient.supply, need.mass_kg * share, timing) for timing, share in splits)
    if plot.lime.mass_kg and plot.lime.basis is not None:
        demands.append(Demand(plot.lime.basis.supply, plot.lime.mass_kg, None, LIME_PRIORITY))
    return tuple(demands)


def _rest_ha(plot: PlotNeeds) -> Mapping[Supply, float]:
    """The ground that still asks for a supply, where a part of the plot has had its share [ha]."""
    found = {
        need.nutrient.supply: need.rest_m2 / HA_M2
        for need in plot.needs
        if need.state is NeedState.NEEDED and need.rest_m2
    }
    if plot.lime.rest_m2 and plot.lime.basis is not None and plot.lime.state is NeedState.NEEDED:
        found[plot.lime.basis.supply] = plot.lime.rest_m2 / HA_M2
    return found


def kept_off(
    plot: Plot,
    settings: Settings,
    widest_m: float = math.inf,
    units: str = "us",
    ways: WaysIn | None = None,
) -> dict[str, str]:
    """Name the spreaders that cannot get to a plot or work there, each with the reason.

    A load heavier than the way carries, and a spreader wider than its opening, stays off whatever else is
    said, by what is stated of the plot or of the ways drawn. Then what the plot's reach says comes first; a
    heavy machine goes only where it says yes. Where it says nothing, a spreader stays off that throws wider
    than the plot is anywhere, and, where the access note names spreaders, every other one.
    """
    access = plot.access.casefold()
    named = [one.name for one in settings.spreaders if one.name.casefold() in access]
    found = {}
    for one in settings.spreaders:
        load_kg, limit_kg = one.vehicle_kg or one.hopper_kg, plot.weight_limit_kg
        said = plot.reach.get(one.name)
        if load_kg is not None and limit_kg is not None and load_kg > limit_kg:
            load, limit = (amount_text(kg, "", units).strip() for kg in (load_kg, limit_kg))
            found[one.name] = f"its load of {load} is more than the {limit} the way carries"
        elif _too_wide(one.width_m, plot.narrowest_m):
            wide, narrow, more = (_width(m, units) for m in (one.width_m, plot.narrowest_m, OPENING_M))
            found[one.name] = (
                f"it is {wide} wide, and the way in {narrow} at its narrowest must be {more} wider"
            )
        elif (stop := None if ways is None else ways.stop(plot.plot_id, load_kg, one.width_m)) is not None:
            found[one.name] = _stop_words(stop, one, units)
        elif said is not None:
            if not said:
                found[one.name] = "the plot's reach says no"
        elif one.swath_m is not None and one.swath_m > widest_m:
            swath, width = format_length(one.swath_m, units), format_length(widest_m, units)
            found[one.name] = f"it spreads {swath} wide and the plot is {width} at its widest"
        elif named:
            if one.name not in named:
                found[one.name] = f"the access note names {', '.join(named)} only"
        elif one.heavy:
            found[one.name] = "it is heavy, and the plot's reach does not say yes"
    return found


def _too_wide(width_m: float | None, opening_m: float | None) -> bool:
    """Tell whether an opening is too narrow for a vehicle; what is not stated is not."""
    return width_m is not None and opening_m is not None and width_m + OPENING_M > opening_m


def _stop_words(stop: Stop, one: Spreader, units: str) -> str:
    name = stop.way.name or stop.way.way_id
    way = f"the {name}" if stop.way.kind in name else f"the {stop.way.kind} {name}"
    if stop.by_load:
        load, limit = (
            amount_text(kg or 0.0, "", units).strip()
            for kg in (one.vehicle_kg or one.hopper_kg, stop.way.load_limit_kg)
        )
        return f"its load of {load} is more than the {limit} that {way} carries"
    wide, opening, more = (_width(m, units) for m in (one.width_m, stop.way.width_m, OPENING_M))
    return f"it is {wide} wide, and {way} of {opening} must be {more} wider"


def _width(width_m: float | None, units: str) -> str:
    """A width to a tenth: what decides whether a vehicle gets through."""
    number, unit = (width_m or 0.0, "m") if units == "metric" else ((width_m or 0.0) / FT_M, "ft")
    return f"{format_figure(round(number, 1))} {unit}"


def _widest_m(plot: Plot, settings: Settings) -> float:
    """How wide a plot is at its widest [m], where some spreader could be too wide for it."""
    swath_m = max((one.swath_m or 0.0 for one in settings.spreaders), default=0.0)
    return (widest_m(plot.boundary) if swath_m > 0 else 0.0) or math.inf


def reachable_machines(settings: Settings, off: Mapping[str, str]) -> frozenset[str] | None:
    """Name the spreaders that nothing keeps off; None = the property names no spreaders."""
    if not settings.spreaders:
        return None
    return frozenset(one.name for one in settings.spreaders if one.name not in off)


def reachable_products(products: Sequence[Product], reaching: frozenset[str] | None) -> frozenset[str]:
    """Name the products that a spreader of those that get there can put on a plot."""
    if reaching is None:
        return frozenset(product.product for product in products)
    usable = {name.casefold() for name in reaching}
    return frozenset(
        product.product
        for product in products
        if usable and (not product.equipment or usable & {name.casefold() for name in product.equipment})
    )


def plan_plots(
    plots: Sequence[Plot],
    areas: Mapping[str, PlotArea],
    needs: Mapping[str, PlotNeeds],
    contents: Mapping[str, Mapping[Supply, float]],
    products: Sequence[Product],
    settings: Settings,
    lime_spread_kg_ha: Mapping[str, float] = MappingProxyType({}),
    whole_kg: Mapping[tuple[str, Supply], float] = MappingProxyType({}),
    units: str = "us",
    ways: Sequence[Way] = (),
) -> tuple[tuple[PlanPlot, ...], tuple[Problem, ...]]:
    """Turn needs into the planner's plots: demands, caps on surplus, products that can get there.

    Parameters
    ----------
    plots
        Plots of the property.
    areas, needs
        By plot_id.
    contents
        Product name to supply key to mass fraction [kg per kg product].
    products
        Products on offer.
    settings
        The property's settings.
    lime_spread_kg_ha
        Lime that a dose planned now comes on top of, by plot_id, from `lime_spread` [kg/ha].
    whole_kg
        (plot_id, supply key) to the season's need before anything was put on [kg]: bands are shares of it.
    units
        ``"us"`` or ``"metric"``: how the reasons for what stays off a plot are written.
    ways
        Ways drawn on the property: what stands on them stops a spreader too heavy or too wide.

    Returns
    -------
    plots : tuple of PlanPlot
        Plots with a spread area, whether or not anything is needed there.
    problems : tuple of Problem
        Plots that are kept out as a whole, and lime that is divided over seasons.
    """
    left_out: list[str] = []
    divided: dict[str, float] = {}
    supplies = sorted({supply for content in contents.values() for supply in content})
    net = WaysIn(ways, plots)
    result = []
    for plot in plots:
        area_ha = areas[plot.plot_id].spread_area_m2 / HA_M2
        if area_ha <= 0:
            left_out.append(plot.plot_id)
            continue
        plot_needs = needs[plot.plot_id]
        off = kept_off(plot, settings, _widest_m(plot, settings), units, net)
        machines = reachable_machines(settings, off)
        allowed = reachable_products(products, machines)
        lime_share = 1.0
        if plot_needs.lime.state is NeedState.NEEDED:
            reaching = [product for product in products if product.product in allowed]
            spread_kg_ha = lime_spread_kg_ha.get(plot.plot_id, 0.0)
            lime_share = lime_this_season(plot_needs.lime, contents, reaching, settings, spread_kg_ha)
            if lime_share < 1.0:
                divided[plot.plot_id] = lime_share
        lime = replace(
            plot_needs.lime,
            mass_kg=None if plot_needs.lime.mass_kg is None else plot_needs.lime.mass_kg * lime_share,
        )
        caps = {}
        for supply in supplies:
            limit = surplus_limit(supply, settings)
            if limit is None:
                continue
            if supply.is_lime:
                wanted = plot_needs.lime.basis is not None and supply == plot_needs.lime.basis.supply
                if plot_needs.lime.state is NeedState.NEEDED and not wanted:
                    continue  # scored in another basis than the need: the need's own basis caps it
                caps[supply] = _cap_kg(lime, limit, area_ha)  # over what is planned now
            else:
                caps[supply] = _cap_kg(plot_needs.of(Nutrient(supply)), limit, area_ha)
        demands = _demands(replace(plot_needs, lime=lime))
        rest_ha = _rest_ha(plot_needs)
        whole = {key: kg for (plot_id, key), kg in whole_kg.items() if plot_id == plot.plot_id}
        asked_kg = {key: kg * rest_ha.get(key, area_ha) / area_ha for key, kg in whole.items()}
        result.append(
            PlanPlot(
                plot_id=plot.plot_id,
                area_ha=area_ha,
                demands=demands,
                caps=caps,
                weight=plot.weight,
                allowed_products=allowed,
                bands=_of_the_whole(demands, bands(supplies, settings, plot.bands), asked_kg),
                machines=machines,
                kept_off=off,
                rest_ha=rest_ha,
                whole_kg=whole,
            )
        )
    return tuple(result), (*_left_out(left_out), *_divided(divided, settings))
