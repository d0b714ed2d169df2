"""What a caution rule may look at, and the words it answers with.

This file answers "which products, lines, entries and keep-outs is this rule about?". It holds no rule:
those are grouped by topic in the files beside it.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

from loamwright.land import Cropping, KeepOut, Plot, PlotArea, distances_m
from loamwright.needs import PlotNeeds
from loamwright.planning import Plan, PlanLine
from loamwright.soil import SoilTest
from loamwright.supplies import MixTable, Product, nutrient_fractions
from loamwright.units import LB_ACRE_KG_HA, format_mass, format_rate
from loamwright.values import Nutrient, Quantity, Source
from loamwright.work.ledger import entries_that_count, line_statuses, season_entries
from loamwright.work.records import Application, LineStatus, PropertyRecord, WorkState

Item = TypeVar("Item")

#: Names written out before "and 4 more".
NAMES_SHOWN = 3
#: Less than this left in the shed is the dust of rounding, not a stock [kg]. Ours.
CRUMBS_KG = 0.5


@dataclass(frozen=True, slots=True)
class CautionText:
    """One row of ``data/cautions.csv``: what a rule says, whoever it is about.

    Parameters
    ----------
    rule
        Id.
    level
        ``"stop"``, ``"care"`` or ``"note"``.
    text
        What to do.
    published
        The published figures, as printed; may be empty.
    limits
        Those of the figures that the rule compares with, by name.
    source, defers_to
        Who says so; who has the last word.
    readers
        Who can act on it: ``"planner"``, ``"spreader"``, ``"driver"``, ``"record keeper"``.
    line
        The same in one line for whoever spreads or drives; empty for the others.
    """

    rule: str
    level: str
    text: str
    published: str
    limits: Mapping[str, Quantity]
    source: Source
    defers_to: str
    readers: tuple[str, ...]
    line: str


@dataclass(frozen=True, slots=True)
class Finding:
    """Where one rule applies.

    Parameters
    ----------
    detail
        A sentence with the figures of this case.
    where
        Plot ids; empty = whole property.
    product
        Product it is about; empty = none in particular.
    """

    detail: str
    where: tuple[str, ...] = ()
    product: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """One property on one day, as the rules see it.

    Parameters
    ----------
    record, areas, croppings, needs, plan, on_date
        What `fire` was given.
    plots, products, keepouts
        The record's, by id or name.
    contents
        Nutrient fractions by product name [kg per kg product].
    entries
        Record entries that stand and put something on the ground, oldest first.
    season_entries
        Those of the property's season.
    statuses
        Planned against applied, for the plan's lines.
    open_lines
        Lines of the plan with something left to do.
    gaps_m
        Distance by (plot_id, keepout_id) [m].
    mixing
        The published pairs that may or may not share a hopper.
    """

    record: PropertyRecord
    areas: Mapping[str, PlotArea]
    croppings: Mapping[str, Cropping]
    needs: Mapping[str, PlotNeeds]
    plan: Plan | None
    on_date: dt.date
    plots: Mapping[str, Plot]
    products: Mapping[str, Product]
    keepouts: Mapping[str, KeepOut]
    contents: Mapping[str, Mapping[Nutrient, float]]
    entries: tuple[Application, ...]
    season_entries: tuple[Application, ...]
    statuses: tuple[LineStatus, ...]
    open_lines: tuple[PlanLine, ...]
    gaps_m: Mapping[tuple[str, str], float]
    mixing: MixTable

    def names(self, plot_ids: Iterable[str]) -> str:
        """Name plots in a sentence: all of a few, the first of many."""
        return few(self.plots[key].name or key if key in self.plots else key for key in plot_ids)

    def rates(self, rates_kg_ha: Iterable[float]) -> str:
        """Write one rate, or the range several rates lie in."""
        written = sorted(rates_kg_ha)
        low, high = (format_rate(rate, self.record.info.units) for rate in (written[0], written[-1]))
        if low == high:
            return low
        number, _, unit = low.partition(" ")
        return f"{number if high.endswith(f' {unit}') else low} to {high}"

    def effective_rates(self, rates_kg_ha: Iterable[float]) -> str:
        """Write rates of effective lime, which people count in pounds and not in tons."""
        unit, per = ("lb/acre", LB_ACRE_KG_HA) if self.record.info.units == "us" else ("kg/ha", 1.0)
        written = sorted(rate / per for rate in rates_kg_ha)
        ends = dict.fromkeys(f"{figure:,.0f}" for figure in (written[0], written[-1]))
        return f"{' to '.join(ends)} {unit}"

    def mass(self, mass_kg: float) -> str:
        """Write a mass in the property's units."""
        return format_mass(mass_kg, self.record.info.units)

    def fraction(self, product: str, nutrient: Nutrient) -> float:
        """Return the guaranteed fraction of a nutrient in a product; 0.0 when it is not guaranteed."""
        return self.contents.get(product, {}).get(nutrient, 0.0)

    def tests_of(self, plot_id: str) -> tuple[SoilTest, ...]:
        """Return the soil tests of one plot, as entered."""
        return tuple(test for test in self.record.soil_tests if test.plot_id == plot_id)

    def lines_of(self, wanted: Callable[[Product], object]) -> Mapping[str, tuple[PlanLine, ...]]:
        """Group the open lines of the products that pass a test, by product."""
        kept = (line for line in self.open_lines if line.product in self.products)
        return grouped((line.product, line) for line in kept if wanted(self.products[line.product]))

    def stored(self) -> Mapping[str, Stock]:
        """Return what lies in the shed, now or when the plan is done."""
        on_hand: dict[str, float] = defaultdict(float)
        left_over: dict[str, float] = defaultdict(float)
        bought = {purchase.offer_id for purchase in self.plan.buy} if self.plan is not None else set()
        for offer in self.record.offers:
            kept_kg = offer.in_stock * (offer.package_kg or 0.0)
            on_hand[offer.product] += kept_kg
            if offer.offer_id not in bought:
                left_over[offer.product] += kept_kg
        for purchase in self.plan.buy if self.plan is not None else ():
            left_over[purchase.product] += purchase.left_over_kg
        both = (*on_hand.items(), *left_over.items())
        products = {name for name, kept_kg in both if kept_kg > CRUMBS_KG}
        return {name: Stock(on_hand[name], left_over[name]) for name in sorted(products)}

    def kept(self, stock: Stock) -> str:
        """Say how much of a product is kept."""
        if stock.on_hand_kg > CRUMBS_KG:
            return f"{self.mass(stock.on_hand_kg)} on hand"
        return f"{self.mass(stock.left_over_kg)} left over when the plan is done"


@dataclass(frozen=True, slots=True)
class Stock:
    """How much of a product is kept.

    Parameters
    ----------
    on_hand_kg
        In the shed now [kg].
    left_over_kg
        In the shed when the plan is done [kg].
    """

    on_hand_kg: float
    left_over_kg: float


def open_case(
    record: PropertyRecord,
    areas: Mapping[str, PlotArea],
    croppings: Mapping[str, Cropping],
    needs: Mapping[str, PlotNeeds],
    plan: Plan | None,
    on_date: dt.date,
    mixing: MixTable,
) -> Case:
    """Lay out a property for the rules."""
    in_season = season_entries(record.applications, record.info.season, record.info.settings.season_start)
    info = record.info
    statuses = line_statuses(
        plan, record.applications, info.season, info.settings.season_start, plans=record.plans
    )
    still_open = {
        status.line_id for status in statuses if status.state in (WorkState.NOTHING, WorkState.PART)
    }
    spread = sorted(
        (entry for entry in entries_that_count(record.applications) if entry.mass_kg > 0),
        key=lambda entry: entry.applied_on,
    )
    return Case(
        record=record,
        areas=areas,
        croppings=croppings,
        needs=needs,
        plan=plan,
        on_date=on_date,
        plots={plot.plot_id: plot for plot in record.plots},
        products={product.product: product for product in record.products},
        keepouts={keepout.keepout_id: keepout for keepout in record.keepouts},
        contents={product.product: nutrient_fractions(product).fractions for product in record.products},
        entries=tuple(spread),
        season_entries=tuple(entry for entry in in_season if entry.mass_kg > 0),
        statuses=tuple(status for status in statuses if status.line_id),
        open_lines=tuple(line for line in plan.lines if line.line_id in still_open)
        if plan is not None
        else (),
        gaps_m=distances_m(record.plots, record.keepouts),
        mixing=mixing,
    )


def grouped(pairs: Iterable[tuple[str, Item]]) -> Mapping[str, tuple[Item, ...]]:
    """Gather items under their keys, keys and items in the order they came."""
    groups: dict[str, list[Item]] = defaultdict(list)
    for key, item in pairs:
        groups[key].append(item)
    return {key: tuple(items) for key, items in groups.items()}


def plots_of(items: Iterable[PlanLine | Application]) -> tuple[str, ...]:
    """Return the plot ids of lines or entries, each once, in order."""
    return tuple(dict.fromkeys(item.plot_id for item in items))


def recorded_on_ground(case: Case, entries: Iterable[Application]) -> Iterator[Finding]:
    """Report entries by product, with their dates and the ground as written."""
    for product, found in grouped((entry.product, entry) for entry in entries).items():
        grounds = listed(f'"{entry.ground}"' for entry in found)
        where = plots_of(found)
        yield Finding(
            f"{product} went on {case.names(where)} on {dates(found)}, ground {grounds}.", where, product
        )


def listed(names: Iterable[str]) -> str:
    """Write names as a sentence does, each once: ``"a, b and c"``."""
    each = list(dict.fromkeys(names))
    return f"{', '.join(each[:-1])} and {each[-1]}" if len(each) > 1 else "".join(each)


def few(names: Iterable[str]) -> str:
    """Write names as a sentence does: all of a few, the first of many.

    Examples
    --------
    >>> few("abcdefg")
    'a, b, c and 4 more'
    """
    each = list(dict.fromkeys(names))
    if len(each) > NAMES_SHOWN + 1:
        return f"{', '.join(each[:NAMES_SHOWN])} and {len(each) - NAMES_SHOWN} more"
    return listed(each)


def dates(entries: Iterable[Application]) -> str:
    """Write the dates of entries, each once."""
    return listed(sorted(str(entry.applied_on) for entry in entries))


#: A rule: given the property and its row of the table, it yields where it applies, at most once per
#: product.
Rule = Callable[[Case, CautionText], Iterable[Finding]]
