"""Made-up properties to measure the planner on. Everything is invented; a seed gives the same one again.

Sizes, needs and prices are of the order of small wildlife and hay plots in the north-central US: plots of
0.1 to 1.5 ha, 0-100 kg N, 0-80 kg P2O5, 0-130 kg K2O a hectare, some lime, some S, some B; bags of 20 to
25 kg and a few bulk offers. Two kinds:

``plain``
    The settings a property starts with: no spreading costs, at most 3 products on a plot at a time.
``full``
    Everything at once: 12 $ a hectare and 4 $ for going there per pass, at least 40 kg/ha, caps on every
    surplus, at most 4 products on a plot at a time. This is what makes a plan hard to prove.
``jobs``
    The same with trips shared by what may be mixed (everything dry but urea with superphosphate or with
    34-0-0), needs met within bands of 95 to 110 % (nitrogen 95 to 100 %), and 1 $ for each fill of 100 kg.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from loamwright.planning.inputs import Band, Demand, Machine, PlanPlot, Terms, Ware
from loamwright.supplies.records import Form, Offer, Product
from loamwright.values import Nutrient, Supply, Timing

#: name, N, P2O5, K2O, S, B percent, lime ENP fraction, price per kg, bag kg
_GOODS = (
    ("urea", 46, 0, 0, 0, 0, 0, 0.62, 22.7),
    ("ammonium sulfate", 21, 0, 0, 24, 0, 0, 0.52, 22.7),
    ("monoammonium phosphate", 11, 52, 0, 0, 0, 0, 0.88, 22.7),
    ("diammonium phosphate", 18, 46, 0, 0, 0, 0, 0.86, 22.7),
    ("triple superphosphate", 0, 46, 0, 0, 0, 0, 0.80, 22.7),
    ("potash", 0, 0, 60, 0, 0, 0, 0.62, 22.7),
    ("potassium sulfate", 0, 0, 50, 17, 0, 0, 0.95, 22.7),
    ("10-10-10", 10, 10, 10, 0, 0, 0, 0.58, 18.1),
    ("19-19-19", 19, 19, 19, 0, 0, 0, 0.85, 22.7),
    ("borate", 0, 0, 0, 0, 15, 0, 2.20, 11.3),
    ("pelleted lime", 0, 0, 0, 0, 0, 0.80, 0.26, 18.1),
    ("field lime", 0, 0, 0, 0, 0, 0.55, 0.05, 907.2),
    ("6-24-24", 6, 24, 24, 0, 0, 0, 0.78, 22.7),
    ("langbeinite", 0, 0, 22, 22, 0, 0, 0.75, 22.7),
    ("34-0-0", 34, 0, 0, 0, 0, 0, 0.60, 22.7),
)
_KEYS = ("N", "P2O5", "K2O", "S", "B", "lime ENP")


@dataclass(frozen=True, slots=True)
class Case:
    """A property to plan."""

    plots: tuple[PlanPlot, ...]
    wares: tuple[Ware, ...]
    offers: tuple[Offer, ...]
    terms: Terms


def _goods(number: int, random: np.random.Generator) -> list[tuple[Ware, Offer]]:
    """Fifteen goods, then variants of them: a little weaker, dearer or cheaper, in other bags."""
    made = []
    for place in range(number):
        name, *percent, enp, price, bag_kg = _GOODS[place % len(_GOODS)]
        if place >= len(_GOODS):
            name = f"{name} {place // len(_GOODS) + 1}"
            factor = random.uniform(0.85, 1.0)
            percent = [round(value * factor, 1) for value in percent]
            enp, price = enp * factor, price * random.uniform(0.9, 1.15) * factor
            bag_kg = bag_kg * random.choice([0.5, 1.0, 2.0])
        contents = {Supply(key): value / 100 for key, value in zip(_KEYS, percent, strict=False) if value}
        if enp:
            contents[Supply.LIME_ENP] = enp
        analysis = {Nutrient(key): value * 100 for key, value in contents.items() if not key.is_lime}
        form = Form.LIME if enp else Form.DRY
        ware = Ware(Product(name, form, analysis), contents)
        cost = Decimal(str(round(price * bag_kg, 2)))
        made.append((ware, Offer(f"{name} bag", name, f"{bag_kg:.1f} kg bag", bag_kg, cost)))
    return made


def make_case(plots: int, offers: int, timings: int, kind: str, seed: int) -> Case:
    """Make up a property.

    Parameters
    ----------
    plots, offers, timings
        How many; with two timings every N need is split between them.
    kind
        ``"plain"``, ``"full"`` or ``"jobs"``.
    seed
        Which one.
    """
    random = np.random.default_rng(seed)
    goods = _goods(offers, random)
    full = kind in ("full", "jobs")
    made = []
    for number in range(plots):
        area = float(random.uniform(0.1, 1.5))
        rates = {
            "N": random.choice([0, 34, 67, 90]),
            "P2O5": random.choice([0, 22, 45, 67]),
            "K2O": random.choice([0, 34, 67, 112]),
            "S": random.choice([0, 0, 11, 22]),
            "B": random.choice([0, 0, 1.1]),
            "lime ENP": random.choice([0, 0, 1100, 2200]),
        }
        need = {key: float(rate * area * random.uniform(0.8, 1.2)) for key, rate in rates.items()}
        demands = []
        for key, mass in need.items():
            if key == "N" and timings == 2:
                demands.extend(
                    Demand(Supply(key), mass / 2, time) for time in (Timing.AT_PLANTING, Timing.TOPDRESS)
                )
            else:
                demands.append(Demand(Supply(key), mass))
        caps = {}
        if full:
            caps = {
                Supply(key): max(1.25 * need[key], need[key] + 11.2 * area) for key in ("N", "P2O5", "K2O")
            }
            caps[Supply.N] = max(caps[Supply.N], 45 * area)  # room for the N that comes with S
            caps[Supply.S] = need["S"] + 60 * area
            caps[Supply.B] = max(1.1 * need["B"], 0.1 * area)
            caps[Supply.LIME_ENP] = 1.1 * need["lime ENP"]
        made.append(PlanPlot(f"plot {number:04d}", area, tuple(demands), caps))
    terms = Terms(max_products_per_plot=3)
    if full:
        terms = Terms(
            max_products_per_plot=4,
            spreading_cost_per_ha=Decimal(12),
            spreading_cost_per_pass=Decimal(4),
            min_rate_kg_ha=40.0,
        )
        # borate is spread in small amounts
        goods = [
            (Ware(_fine(ware.product), ware.contents) if "B" in ware.contents else ware, offer)
            for ware, offer in goods
        ]
    wares = tuple(ware for ware, _ in goods)
    if kind == "jobs":
        bands = {Supply(key): Band(0.95, 1.1) for key in ("P2O5", "K2O", "S", "lime ENP")}
        bands[Supply.N] = Band(0.95, 1.0)
        made = [replace(plot, bands=bands) for plot in made]
        atv = Machine("ATV spreader", Decimal(4), Decimal(12), Decimal(1), 100.0)
        terms = replace(terms, mixing=_may_mix(wares), machines=(atv,))
    return Case(tuple(made), wares, tuple(offer for _, offer in goods), terms)


def _may_mix(wares: tuple[Ware, ...]) -> frozenset[frozenset[str]]:
    """Every pair of dry products but urea with superphosphate, and urea with 34-0-0."""
    apart = ({"urea", "triple superphosphate"}, {"urea", "34-0-0"})
    dry = [ware.product.product for ware in wares if ware.product.form is Form.DRY]
    return frozenset(
        frozenset((one, other))
        for one, other in itertools.combinations(dry, 2)
        if {_family(one), _family(other)} not in apart
    )


def _family(name: str) -> str:
    """The good a variant is of: "urea 2" is urea."""
    stem, _, number = name.rpartition(" ")
    return stem if number.isdigit() else name


def _fine(product: Product) -> Product:
    return Product(product.product, product.form, product.analysis_pct, min_rate_kg_ha=1.0)
