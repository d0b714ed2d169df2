"""What a trip with each machine costs, and within which bands a need is met, by the property's settings.

Labour has an hourly value, zero for volunteers; the hours are told whatever it is. Pace from width, speed
and field efficiency: the published area per hour = width × speed × efficiency (Iowa State PM 696, April
2001).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from types import MappingProxyType

from loamwright.planning.inputs import Band, Machine
from loamwright.planning.records import Job
from loamwright.supplies import Handled, Offer, Product
from loamwright.units import HA_M2
from loamwright.values import Nutrient, Settings, Spreader, Supply

#: Within which shares of a need a plot may end, where the user says nothing. No published band was found, so
#: these are ours. What was found points this way: first get N right; slight variation of P2O5 and K2O is
#: corrected in later crops (Defra, Fertiliser Manual RB209, 2010); a plan's N rate shall not exceed the
#: crop's need (Commonwealth of Virginia, 4VAC50-85-140, 2024).
BANDS: Mapping[str, Band] = {
    Nutrient.N.value: Band(0.95, 1.0),
    Nutrient.P2O5.value: Band(0.95, 1.1),
    Nutrient.K2O.value: Band(0.95, 1.1),
    Nutrient.S.value: Band(0.95, 1.1),
    "lime": Band(0.95, 1.1),
}


def bands(
    supplies: Sequence[Supply],
    settings: Settings,
    on_plot: Mapping[str, tuple[float, float]] = MappingProxyType({}),
) -> Mapping[Supply, Band]:
    """Give the band of each supply: the plot's, else the user's, else ours; one with none is met exactly.

    Parameters
    ----------
    supplies
        Supply keys.
    settings
        The property's settings.
    on_plot
        The user's for one plot.

    Returns
    -------
    mapping of supply key to Band

    Examples
    --------
    >>> bands([Supply.N, Supply.B], Settings())[Supply.N]
    Band(low=0.95, high=1.0)
    """
    rules = settings.work.bands
    fallback = on_plot.get("*") or rules.get("*")
    own = {supply: Band(*ends) for supply, ends in rules.items()} if "*" not in on_plot else {}
    own |= {supply: Band(*ends) for supply, ends in on_plot.items()}
    usual: dict[Supply, Band | None] = {
        supply: BANDS.get("lime" if supply.is_lime else supply.value) for supply in supplies
    }
    every = None if fallback is None else Band(*fallback)
    found = {supply: own.get(supply) or every or usual[supply] for supply in supplies}
    return {supply: band for supply, band in found.items() if band is not None}


def band_words(
    found: Mapping[Supply, Band],
    settings: Settings,
    on_plots: Mapping[str, Mapping[str, tuple[float, float]]] = MappingProxyType({}),
) -> str:
    """Say between which shares needs count as met, and whose bands they are.

    Parameters
    ----------
    found
        Bands by supply, from `bands`.
    settings
        The property's settings.
    on_plots
        The user's for single plots, by plot_id.

    Returns
    -------
    str
        Empty when there are no bands.
    """
    named: dict[Band, list[str]] = {}
    for supply, band in found.items():
        named.setdefault(band, []).append(supply.value)
    if not named:
        return ""
    shares = [
        (f"from {band.low * 100:.4g} to {band.high * 100:.4g} %", f"({', '.join(names)})")
        for band, names in named.items()
    ]
    parts = [f"{share}{'' if place else ' of it'} {of}" for place, (share, of) in enumerate(shares)]
    ours = (
        " The bands are ours: no published one was found; set your own under `bands` in the settings or of a "
        "plot."
        if not settings.work.bands
        else ""
    )
    own = "; ".join(
        f"{plot_id} {', '.join(_own_words(supply, ends) for supply, ends in held.items())}"
        for plot_id, held in on_plots.items()
        if held
    )
    plots = f" Some plots have bands of their own: {own}." if own else ""
    return f"A need counts as met {', '.join(parts)}.{plots}{ours}"


def _own_words(supply: str, ends: tuple[float, float]) -> str:
    name = "everything" if supply == "*" else supply
    return f"{name} from {ends[0] * 100:.4g} to {ends[1] * 100:.4g} %"


def machines(settings: Settings) -> tuple[Machine, ...]:
    """Say what a trip with each spreader of the property costs.

    Parameters
    ----------
    settings
        The property's settings; a spreader without costs of its own has the property's.

    Returns
    -------
    tuple of Machine
        Empty when the property names no spreaders.
    """
    return tuple(_machine(spreader, settings) for spreader in settings.spreaders)


def _machine(spreader: Spreader, settings: Settings) -> Machine:
    rules = settings.work
    per_hour = rules.labour_per_hour + (spreader.cost_per_hour or Decimal(0))
    fill_minutes = rules.minutes_per_fill if spreader.fill_minutes is None else spreader.fill_minutes
    stop_h, fill_h = rules.minutes_per_stop / 60, fill_minutes / 60
    per_stop, per_ha = spreader.cost_per_stop, spreader.cost_per_ha
    per_stop = settings.spreading_cost_per_pass if per_stop is None else per_stop
    per_ha = settings.spreading_cost_per_ha if per_ha is None else per_ha
    hours_per_ha = None
    if spreader.swath_m and spreader.speed_m_s:
        pace = spreader.swath_m * spreader.speed_m_s * (spreader.field_efficiency or 1.0)
        hours_per_ha = HA_M2 / pace / 3600
    return Machine(
        name=spreader.name,
        cost_per_job=per_stop + per_hour * Decimal(str(stop_h)),
        cost_per_ha=per_ha + per_hour * Decimal(str(hours_per_ha or 0.0)),
        cost_per_fill=per_hour * Decimal(str(fill_h)),
        hopper_kg=spreader.hopper_kg or spreader.vehicle_kg,
        hours_per_job=stop_h,
        hours_per_ha=hours_per_ha,
        hours_per_fill=fill_h,
        cost_per_load=spreader.cost_per_load or Decimal(0),
        load_kg=spreader.vehicle_kg or spreader.hopper_kg,
    )


def hours_words(jobs: Sequence[Job], machines: Sequence[Machine]) -> str:
    """Say how long jobs take, and with what: getting to the plots, spreading, filling.

    Parameters
    ----------
    jobs
        Of a plan.
    machines
        The property's, from `machines`.

    Returns
    -------
    str
        Empty without jobs.
    """
    of_name = {machine.name: machine for machine in machines}
    timed = [job for job in jobs if job.hours is not None and job.spreader in of_name]
    paceless = Counter(job.spreader or "no machine" for job in jobs if job not in timed)
    going_h = math.fsum(of_name[job.spreader].hours_per_job for job in timed)
    filling_h = math.fsum(of_name[job.spreader].hours_per_fill * (job.fills or 0) for job in timed)
    all_h = math.fsum(job.hours or 0.0 for job in timed)
    parts = (
        (going_h, "getting to the plots"),
        (all_h - going_h - filling_h, "spreading"),
        (filling_h, "filling"),
    )
    told = ", ".join(f"{hours:.1f} h {doing}" for hours, doing in parts)
    said = [f"about {all_h:.0f} h ({told})"] if timed else []
    said += [
        f"no time for {count} trip{'' if count == 1 else 's'} with {name}: its pace is not stated"
        for name, count in sorted(paceless.items())
    ]
    return "; ".join(said)


def handling(
    offers: Sequence[Offer], products: Sequence[Product], settings: Settings
) -> Mapping[str, Decimal]:
    """Cost of handling each offer's packages [money per kg]; nothing until a rate is stated.

    Parameters
    ----------
    offers, products
        The offers and what they are of.
    settings
        The property's settings.

    Returns
    -------
    mapping of offer id to Decimal
    """
    rates = settings.work.handling_per_kg
    brought = {product.product for product in products if _brought_by_its_spreaders(product, settings)}
    found = {offer.offer_id: rates.get(_handled(offer, brought).value) for offer in offers}
    return {offer_id: rate for offer_id, rate in found.items() if rate}


def _brought_by_its_spreaders(product: Product, settings: Settings) -> bool:
    """Whether all that spreads a product are machines that bring it to the property in loads of their own."""
    names = {name.casefold() for name in product.equipment}
    able = [one for one in settings.spreaders if not names or one.name.casefold() in names]
    return bool(able) and all(one.cost_per_load is not None for one in able)


def _handled(offer: Offer, brought: Collection[str]) -> Handled:
    """As stated; else what machines bring is spread by the seller, other bulk is shovelled. Ours."""
    if offer.handled is not None:
        return offer.handled
    if not offer.divisible:
        return Handled.BAG
    return Handled.SELLER if offer.product in brought else Handled.SHOVELLED
