"""What counts on each plot: the crop of the day, the dates that decide, the crop a lab's rates are for.

This file answers "which crop is asked about, and from which day does what went on count?", plot by plot, and
"what is in the shed?". The rule itself is `needs.Clock`; the sums are `ledger`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from loamwright import needs, soil, supplies
from loamwright.errors import Level, Problem
from loamwright.land import Cropping, PlotArea
from loamwright.needs import LimeNeed, Need, PlotNeeds
from loamwright.soil import OrganicInput, SoilTest
from loamwright.supplies import Offer
from loamwright.units import PCT_LB_TON, format_area
from loamwright.values import Quantity, Source
from loamwright.work.ledger import entries_that_count
from loamwright.work.records import Caution, PropertyRecord


def current_croppings(record: PropertyRecord, today: dt.date) -> Mapping[str, Cropping]:
    """Return what grows on each plot now: of several crops of the season, the first that has not ended.

    Parameters
    ----------
    record
        The property.
    today
        The day asked about.

    Returns
    -------
    mapping of plot_id to Cropping
        The season's last where all have ended.
    """
    found: dict[str, Cropping] = {}
    for item in sorted(record.croppings, key=lambda c: c.position):
        if item.season != record.info.season:
            continue
        held = found.get(item.plot_id)
        if held is None or (held.ended_on is not None and held.ended_on < today):
            found[item.plot_id] = item
    return found


def _before_it(mine: Sequence[Cropping], cropping: Cropping) -> dt.date | None:
    """The day the plot's cropping before this one ended, when it is stated."""
    earlier = [
        item.ended_on
        for item in mine
        if item.ended_on is not None and (item.season, item.position) < (cropping.season, cropping.position)
    ]
    return max(earlier, default=None)


def clocks(
    record: PropertyRecord, croppings: Mapping[str, Cropping], today: dt.date
) -> Mapping[str, needs.Clock]:
    """The dates that decide, plot by plot, what a soil test has seen and what a crop got.

    Parameters
    ----------
    record
        The property.
    croppings
        What grows on each plot now, by plot_id.
    today
        The day asked about.

    Returns
    -------
    mapping of plot_id to needs.Clock
    """
    settings = record.info.settings
    start, end = needs.season_dates(record.info.season, settings.season_start)
    found = {}
    reports: dict[str, list[SoilTest]] = {}
    for test in record.soil_tests:
        reports.setdefault(test.plot_id, []).append(test)
    grown: dict[str, list[Cropping]] = {}
    for item in record.croppings:
        grown.setdefault(item.plot_id, []).append(item)
    for plot in record.plots:
        cropping = croppings.get(plot.plot_id)
        mine = reports.get(plot.plot_id, ())
        tests = soil.usable_tests(mine, plot.plot_id, today, settings.test_age_limit_years).tests
        since = until = None
        if cropping is not None:
            ended_before = _before_it(grown[plot.plot_id], cropping)
            since = needs.growing_since(start, cropping.sown_on, cropping.seeding is False, ended_before)
            until = cropping.ended_on
        found[plot.plot_id] = needs.Clock(start, end, since, until, needs.sample_dates(tests))
    return found


def manure_of_earlier_seasons(record: PropertyRecord) -> tuple[OrganicInput, ...]:
    """Say which manures of the record may still feed this season's crop, as the credit tables ask.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    tuple of OrganicInput
        One for each standing entry of a manure, litter or compost put on a season or more ago; what it
        supplied in its own season stands in that season's balance.
    """
    manures = {product.product: product for product in record.products if product.material}
    return tuple(
        OrganicInput(
            entry.entry_id,
            entry.plot_id,
            entry.applied_on,
            manures[entry.product].material,
            manures[entry.product].method,
            Quantity(entry.mass_kg, "kg"),
            {nutrient: pct * PCT_LB_TON for nutrient, pct in manures[entry.product].analysis_pct.items()},
        )
        for entry in entries_that_count(record.applications)
        if entry.product in manures
        and entry.mass_kg > 0
        and needs.season_year(entry.applied_on, record.info.season) > 1
    )


def tests_with_their_crops(record: PropertyRecord) -> Mapping[str, tuple[SoilTest, ...]]:
    """Give each report with rates the crop and season it was written for, where the record tells.

    A report that does not say was written for the crop of the season its sample was taken in; a sample of
    the second half of the year, for the season after, as manure is counted.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    mapping of plot_id to tuple of SoilTest
    """
    start = record.info.settings.season_start
    grown: dict[tuple[str, int], str] = {}
    for item in record.croppings:
        if item.crop:
            grown.setdefault((item.plot_id, item.season), item.crop)
    tests: dict[str, list[SoilTest]] = {}
    for test in record.soil_tests:
        advice = test.recommendation
        if advice is not None and advice.rates and not test.rates_crop and test.sampled_on is not None:
            season = test.rates_season or needs.season_of(test.sampled_on, start)
            if test.rates_season is None and start == "01-01" and test.sampled_on.month >= FALL_FROM_MONTH:
                season += 1
            crop = grown.get((test.plot_id, season), "")
            if crop:
                test = replace(test, rates_crop=crop, rates_season=season)
        tests.setdefault(test.plot_id, []).append(test)
    return {plot_id: tuple(found) for plot_id, found in tests.items()}


#: A sample taken from this month on is for the next season's crop. Ours; common practice, no source.
FALL_FROM_MONTH = 9


def stock_of(record: PropertyRecord) -> Mapping[str, supplies.Stock]:
    """Add up what is in the shed: counted, bought, less put on.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    mapping of product to supplies.Stock
    """
    used = (
        supplies.Used(entry.product, entry.mass_kg, entry.applied_on, entry.recorded_at)
        for entry in entries_that_count(record.applications)
        if entry.mass_kg > 0
    )
    start = record.info.settings.season_start
    return supplies.stock(record.purchases, used, lambda day: needs.season_of(day, start))


def not_in_book(record: PropertyRecord) -> tuple[supplies.NotInBook, ...]:
    """Name what was put on this season and never bought, received or counted by the book.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    tuple of supplies.NotInBook
        In the order it was put on.
    """
    season, start = record.info.season, record.info.settings.season_start
    booked = {entry.product for entry in record.purchases}
    put_on: dict[str, float] = {}
    for entry in entries_that_count(record.applications):
        here = needs.season_of(entry.applied_on, start) == season
        if here and entry.mass_kg > 0 and entry.product not in booked:
            put_on[entry.product] = put_on.get(entry.product, 0.0) + entry.mass_kg
    return tuple(supplies.NotInBook(product, mass_kg) for product, mass_kg in put_on.items())


def offers_in_stock(record: PropertyRecord) -> tuple[Offer, ...]:
    """Return the offers with what is in the shed of each package.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    tuple of Offer
        A package that the shed's book does not name keeps the count its offer came with; of several offers
        of one package the first holds the stock.
    """
    stock = stock_of(record)
    told: set[tuple[str, str]] = set()
    offers = []
    for offer in record.offers:
        place = (offer.product, offer.package)
        held = stock[offer.product].packages.get(offer.package) if offer.product in stock else None
        if held is not None:
            offer = replace(offer, in_stock=max(0.0, held[0]) if place not in told else 0.0)
            told.add(place)
        offers.append(offer)
    return tuple(offers)


def several_crops(record: PropertyRecord, croppings: Mapping[str, Cropping]) -> Iterator[Problem]:
    """Say which of several crops of the season the needs are for.

    Parameters
    ----------
    record
        The property.
    croppings
        What grows on each plot now, by plot_id.

    Yields
    ------
    Problem
    """
    for plot_id, now in croppings.items():
        mine = [c for c in record.croppings if (c.plot_id, c.season) == (plot_id, now.season)]
        if len(mine) > 1:
            told = ", then ".join(c.crop or "no crop" for c in sorted(mine, key=lambda c: c.position))
            yield Problem(
                f"plot {plot_id}, crop",
                f"{told} in {now.season}: the needs shown are for {now.crop or 'no crop'}",
                f"When it has ended: set cropping '{plot_id} {now.season} {now.position}' ended_on=…",
                Level.NOTE,
            )


def on_the_rest(
    plot_needs: Mapping[str, PlotNeeds], areas: Mapping[str, PlotArea], units: str
) -> Iterator[Caution]:
    """Say on plan, order and map where a part of a plot has got its share, and how large the rest is.

    Parameters
    ----------
    plot_needs
        By plot_id.
    areas
        By plot_id.
    units
        ``"us"`` or ``"metric"``.

    Yields
    ------
    Caution
    """
    for plot_id, found in plot_needs.items():
        asked: list[tuple[str, Need | LimeNeed]] = [(need.nutrient.value, need) for need in found.needs]
        for supply, need in [*asked, ("lime", found.lime)]:
            if need.rest_m2 is None:
                continue
            done_m2 = areas[plot_id].spread_area_m2 - need.rest_m2
            text = (
                f"{format_area(done_m2, units)} of this plot have got their {supply}: what is planned of it "
                f"goes on the other {format_area(need.rest_m2, units)} only."
            )
            record = Source("user", table="application record")
            yield Caution(
                "part", "care", text, (plot_id,), "", record, "the application record", readers=("planner",)
            )
