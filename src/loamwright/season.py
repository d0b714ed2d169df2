"""The whole story of one property and season: open → areas → needs → plan → hand off → record.

It knows the order of the steps and does no arithmetic of its own; each step is one call to the package that
does.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import math
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

from loamwright import fieldmap, files, handoff, land, needs, planning, soil, supplies, work
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.land import Cropping, PlotArea
from loamwright.needs import Guideline, LimeNeed, Need, PlotNeeds
from loamwright.planning import Plan
from loamwright.soil import SoilTest, read_unit
from loamwright.supplies import Acidity, Movement, Offer
from loamwright.units import (
    HA_M2,
    LB_ACRE_KG_HA,
    format_area,
    parse_area,
    parse_length,
    parse_mass,
    parse_speed,
)
from loamwright.values import ARITHMETIC, LimeBasis, NeedState, Nutrient, Source, Step, Supply
from loamwright.work import Application, Calibration, Done, PropertyRecord, Recorded, SeasonView, Story

#: Called with a short text as each stage begins; screens show it, tests ignore it.
Progress = Callable[[str], None]


def quiet(_stage: str) -> None:
    """Report nothing.

    Parameters
    ----------
    _stage
        Ignored.
    """


# ---------------------------------------------------------------------------------------------
# The season, computed


def product_contents(record: PropertyRecord) -> Mapping[str, Mapping[Supply, float]]:
    """Return what every product supplies, nutrients and effective lime in every basis its label allows.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    mapping of product to mapping of supply key to float
        Mass fraction [kg per kg product].
    """
    return {
        product.product: supplies.supply_fractions(product, tuple(LimeBasis)) for product in record.products
    }


def _edition(name: str, record: PropertyRecord) -> tuple[Guideline, tuple[Problem, ...]]:
    """Load an edition: built in or from its folder, else as the property has kept it, else an empty one."""
    try:
        return files.load_guideline(name), ()
    except InputError:
        kept = record.editions.get(name)
        fix = "Set it to one that is there: set settings guideline=…; see `guideline list`."
        if kept:
            try:
                found = files.load_kept_guideline(kept)
            except InputError as broken:
                error = broken
            else:
                what = f"the guideline {name!r} is not there any more; the copy kept in the property is used"
                return found, (Problem("settings, guideline", what, fix, Level.WARNING),)
        what = f"{error.problems[0].what}: what would go by it is unknown"
        return needs.missing_guideline(name), (Problem("settings, guideline", what, fix, Level.WARNING),)


@dataclass(frozen=True, slots=True)
class _Editions:
    """The two editions a property's needs go by."""

    guideline: Guideline
    lime: Guideline
    problems: tuple[Problem, ...]

    @classmethod
    def of(cls, record: PropertyRecord) -> _Editions:
        settings = record.info.settings
        guideline, problems = _edition(settings.guideline, record)
        lime, more = _edition(settings.lime_guideline, record)
        return cls(guideline, lime, tuple(dict.fromkeys((*problems, *more))))


def _all_needs(
    record: PropertyRecord,
    areas: Mapping[str, PlotArea],
    croppings: Mapping[str, Cropping],
    editions: _Editions,
    clocks: Mapping[str, needs.Clock],
    ground: work.OnTheGround | None,
    today: dt.date,
) -> Mapping[str, PlotNeeds]:
    tests = _with_their_crops(record)
    contents = product_contents(record)
    found = {
        plot.plot_id: needs.plot_needs(
            plot,
            croppings.get(plot.plot_id),
            areas[plot.plot_id],
            tests.get(plot.plot_id, ()),
            editions.guideline,
            editions.lime,
            record.info.settings,
            {} if ground is None else ground.whole_kg.get(plot.plot_id, {}),
            tuple(item for item in record.organic_inputs if item.plot_id == plot.plot_id),
            today,
            parts={} if ground is None else ground.parts.get(plot.plot_id, {}),
            clock=clocks[plot.plot_id],
            decisions=record.decisions,
        )
        for plot in record.plots
    }
    return {
        plot_id: _too_much_for_one_dose(record, contents, plot_needs) for plot_id, plot_needs in found.items()
    }


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


def _before_it(record: PropertyRecord, cropping: Cropping) -> dt.date | None:
    """The day the cropping before this one ended, when it is stated."""
    mine = [item for item in record.croppings if item.plot_id == cropping.plot_id]
    earlier = [
        item.ended_on
        for item in mine
        if item.ended_on is not None and (item.season, item.position) < (cropping.season, cropping.position)
    ]
    return max(earlier, default=None)


def _clocks(
    record: PropertyRecord, croppings: Mapping[str, Cropping], today: dt.date
) -> Mapping[str, needs.Clock]:
    """The dates that decide, plot by plot, what a soil test has seen and what a crop got."""
    settings = record.info.settings
    start, end = needs.season_dates(record.info.season, settings.season_start)
    clocks = {}
    for plot in record.plots:
        cropping = croppings.get(plot.plot_id)
        tests = soil.usable_tests(record.soil_tests, plot.plot_id, today, settings.test_age_limit_years).tests
        since = until = None
        if cropping is not None:
            ended_before = _before_it(record, cropping)
            since = needs.growing_since(start, cropping.sown_on, cropping.seeding is False, ended_before)
            until = cropping.ended_on
        clocks[plot.plot_id] = needs.Clock(start, end, since, until, needs.sample_dates(tests))
    return clocks


def _with_their_crops(record: PropertyRecord) -> Mapping[str, tuple[SoilTest, ...]]:
    """Give each report with rates the crop and season it was written for, where the record tells.

    A report that does not say was written for the crop of the season its sample was taken in; a sample of
    the second half of the year, for the season after, as manure is counted.
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
        for entry in work.entries_that_count(record.applications)
        if entry.mass_kg > 0
    )
    return supplies.stock(record.purchases, used)


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


def newest_plan(record: PropertyRecord) -> Plan | None:
    """Return the newest plan of the current season.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    Plan or None
    """
    plans = [plan for plan in record.plans if plan.season == record.info.season]
    return plans[-1] if plans else None


def _sampling_guide(place: str) -> work.SamplingGuide:
    guides = files.load_sampling_guides()
    if place not in guides:
        choices = "; ".join(guides)
        what = f"no published sampling advice for {place!r} is built in"
        raise InputError([Problem("settings, sampling_guide", what, f"Use one of: {choices}.")])
    return guides[place]


def _several_crops(record: PropertyRecord, croppings: Mapping[str, Cropping]) -> Iterator[Problem]:
    """Say which of several crops of the season the needs are for."""
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


def compute(record: PropertyRecord, today: dt.date, progress: Progress = quiet) -> SeasonView:
    """Compute one season of a property from what its file holds.

    Parameters
    ----------
    record
        The property.
    today
        Date for the age of tests and cautions.
    progress
        Told each stage.

    Returns
    -------
    SeasonView

    Raises
    ------
    InputError
        When a setting names a place without sampling advice.
    """
    progress("measuring plots")
    settings = record.info.settings
    areas = {area.plot_id: area for area in land.areas(record.plots, record.keepouts)}
    contents = product_contents(record)
    croppings = current_croppings(record, today)
    clocks = _clocks(record, croppings, today)
    season, start = record.info.season, settings.season_start
    ground = work.on_the_ground(
        record.applications, contents, areas, clocks, season, start, work.season_needs(record, contents)
    )
    progress("reading soil tests and tables")
    editions = _Editions.of(record)
    needs_before = _all_needs(record, areas, croppings, editions, clocks, None, today)
    something = ground.whole_kg or ground.parts
    plot_needs = (
        _all_needs(record, areas, croppings, editions, clocks, ground, today) if something else needs_before
    )
    plan = newest_plan(record)
    progress("planning rounds and samples")
    rounds = (
        ()
        if plan is None
        else work.plan_rounds(
            plan.lines,
            areas,
            land.places_m(record.plots),
            record.products,
            record.info.settings.spreaders,
        )
    )
    guide = _sampling_guide(record.info.settings.sampling_guide)
    texts = files.load_caution_texts()
    return SeasonView(
        record=record,
        areas=areas,
        croppings=croppings,
        needs=plot_needs,
        plan=plan,
        statuses=work.line_statuses(plan, record.applications, season, start),
        balances=work.balances(needs_before, ground.total_kg()),
        rounds=rounds,
        sampling=work.plan_sampling(guide, record, areas, today),
        cautions=(
            *work.fire(texts, record, areas, croppings, plot_needs, plan, today),
            *_on_the_rest(plot_needs, areas),
        ),
        problems=(
            *record.problems,
            *editions.problems,
            *land.find_overlaps(record.plots),
            *_several_crops(record, croppings),
            *ground.problems,
            *work.unknown_corrections(record.applications),
            *dict.fromkeys(problem for found in plot_needs.values() for problem in found.problems),
        ),
        made_on=today,
        aged=_aged(record, plan, needs_before, areas, editions),
    )


def _on_the_rest(
    plot_needs: Mapping[str, PlotNeeds], areas: Mapping[str, PlotArea]
) -> Iterator[work.Caution]:
    """Say on plan, order and map where a part of a plot has got its share, and how large the rest is."""
    for plot_id, found in plot_needs.items():
        asked: list[tuple[str, Need | LimeNeed]] = [(need.nutrient.value, need) for need in found.needs]
        for supply, need in [*asked, ("lime", found.lime)]:
            if need.rest_m2 is None:
                continue
            done_m2 = areas[plot_id].spread_area_m2 - need.rest_m2
            text = (
                f"{format_area(done_m2)} of this plot have got their {supply}: what is planned of it goes on "
                f"the other {format_area(need.rest_m2)} only."
            )
            record = Source("user", table="application record")
            yield work.Caution("part", "care", text, (plot_id,), "", record, "the application record")


def _stood_on(
    record: PropertyRecord,
    needs_before: Mapping[str, PlotNeeds],
    areas: Mapping[str, PlotArea],
    editions: _Editions,
) -> dict[str, str]:
    """Say what a plan made now would stand on, one short text for each thing."""
    key, figure = planning.key, planning.figure
    settings = record.info.settings
    found = {
        key("season"): str(record.info.season),
        key("guideline", "needs"): editions.guideline.name.strip(" ,") or settings.guideline,
        key("guideline", "lime"): editions.lime.name.strip(" ,") or settings.lime_guideline,
    }
    for plot in record.plots:
        found[key("area", plot.plot_id)] = figure(areas[plot.plot_id].spread_area_m2, "m2")
        reach = [f"{name} {'yes' if can else 'no'}" for name, can in sorted(plot.reach.items())]
        found[key("reach", plot.plot_id)] = ", ".join([*reach, plot.access]).strip(", ") or "not stated"
    for plot_id, plot_needs in needs_before.items():
        for need in plot_needs.needs:
            found[key("need", f"{plot_id} {need.nutrient.value}")] = figure(need.rate_kg_ha, "kg/ha")
        basis = "" if plot_needs.lime.basis is None else f" {plot_needs.lime.basis.value}"
        found[key("need", f"{plot_id} lime")] = figure(plot_needs.lime.rate_kg_ha, f"kg/ha{basis}")
    for decision in record.decisions:
        if decision.season == record.info.season:
            amount = (
                figure(decision.rate_kg_ha, "kg/ha") if decision.share is None else f"{decision.share:.0%}"
            )
            found[key("decision", f"{decision.plot_id} {decision.supply}")] = amount
    for offer in record.offers:
        price = "no price" if offer.price is None else f"{offer.price:f}"
        breaks = "".join(f", {price:f} from {count}" for count, price in offer.price_breaks)
        found[key("offer", offer.offer_id)] = f"{offer.product}, {offer.package}, {price}{breaks}"
    for spreader in settings.spreaders:
        sizes = (spreader.hopper_kg, spreader.vehicle_kg, spreader.swath_m, spreader.speed_m_s)
        found[key("spreader", spreader.name)] = ", ".join(figure(size) for size in sizes)
    for name in _PLANNED_BY:
        found[key("setting", name)] = str(getattr(settings, name))
    return found


#: Settings that decide what is planned.
_PLANNED_BY = (
    "lime_dose_limit",
    "spreading_cost_per_ha",
    "spreading_cost_per_pass",
    "hauling_cost_per_kg",
    "max_products_per_plot",
    "surplus_limit_fraction",
    "surplus_limit_kg_ha",
    "min_rate_kg_ha",
)


def _since_the_plan(record: PropertyRecord, plan: Plan) -> dict[str, str]:
    """Name what was put on or bought since a plan that it did not ask for."""
    season, start = record.info.season, record.info.settings.season_start
    off = work.taken_off(plan, record.applications)
    answered = work.lines_answered(plan, record.applications, season, start)
    outside: dict[str, float] = {}
    applied: dict[str, float] = {}
    for entry in work.season_entries(record.applications, season, start):
        if entry.entry_id in answered:
            line = answered[entry.entry_id]
            applied[line.line_id] = applied.get(line.line_id, 0.0) + entry.mass_kg
        elif entry.entry_id not in off and entry.mass_kg > 0:
            place = f"{entry.plot_id}, {entry.product}"
            outside[place] = outside.get(place, 0.0) + entry.mass_kg
    planned = {line.line_id: line.mass_kg for line in plan.lines}
    places = {line.line_id: f"{line.plot_id}, {line.product}" for line in plan.lines}
    for line_id in planning.over_the_plan(planned, applied, work.OVER_FRACTION):
        outside[places[line_id]] = applied[line_id] - planned[line_id]
    found = {planning.key("outside", place): planning.figure(kg, "kg") for place, kg in outside.items()}
    wanted: dict[tuple[str, str], float] = {}
    for buy in plan.buy:
        wanted[buy.product, buy.package] = wanted.get((buy.product, buy.package), 0.0) + buy.count
    book = [
        (e.purchase_id, e.product, e.package, -e.count if e.kind is Movement.RETURNED else e.count)
        for e in record.purchases
        if e.kind is not Movement.COUNTED
    ]
    known = plan.fingerprint.get(_PURCHASES, "").split()
    return found | dict(planning.bought_outside(wanted, known, book))


#: Where a fingerprint keeps the ids of the purchases that were known.
_PURCHASES = "purchases"


def _aged(
    record: PropertyRecord,
    plan: Plan | None,
    needs_before: Mapping[str, PlotNeeds],
    areas: Mapping[str, PlotArea],
    editions: _Editions,
) -> tuple[planning.Aged, ...]:
    """What the plan stood on that is not as it was; carrying it out is no change."""
    if plan is None or not plan.fingerprint:
        return ()
    then = {name: text for name, text in plan.fingerprint.items() if name != _PURCHASES}
    return planning.what_aged(
        then, _stood_on(record, needs_before, areas, editions) | _since_the_plan(record, plan)
    )


def fingerprint(view: SeasonView) -> Mapping[str, str]:
    """Return what a plan made from this season stands on.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    mapping of str to str
    """
    record = view.record
    editions = _Editions.of(record)
    croppings, clocks = view.croppings, _clocks(record, view.croppings, view.made_on)
    before = _all_needs(record, view.areas, croppings, editions, clocks, None, view.made_on)
    known = " ".join(entry.purchase_id for entry in record.purchases)
    return _stood_on(record, before, view.areas, editions) | {_PURCHASES: known}


@dataclass(frozen=True, slots=True)
class ChoiceRow:
    """One choice that the source leaves to a person, open or made.

    Parameters
    ----------
    plot_id, supply
        What it is about.
    open
        True = nobody has decided.
    published_kg_ha, decided_kg_ha
        What the lab or guideline asks for, and what was decided [kg/ha]; None = not known, not decided.
    mass_kg, cost
        What hangs on it: the published amount on the plot [kg], and about what that costs at the cheapest
        offer [money]; None = no offer supplies it.
    why, how
        Why it is a choice, or the reason given; how to decide.
    """

    plot_id: str
    supply: str
    open: bool
    published_kg_ha: float
    decided_kg_ha: float | None
    mass_kg: float
    cost: Decimal | None
    why: str
    how: str


def decisions_of(view: SeasonView) -> tuple[ChoiceRow, ...]:
    """List what is to decide in the season, and what is decided.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of ChoiceRow
        Open ones first.
    """
    contents = product_contents(view.record)
    rows = []
    for plot_id, plot_needs in view.needs.items():
        crop = view.croppings[plot_id].crop if plot_id in view.croppings else ""
        basis = None if plot_needs.lime.basis is None else plot_needs.lime.basis.supply
        everything: list[tuple[str, Supply | None, Need | LimeNeed]] = [
            (need.nutrient.value, Supply(need.nutrient.value), need) for need in plot_needs.needs
        ]
        everything.append(("lime", basis, plot_needs.lime))
        for supply, key, asked in everything:
            if asked.published_kg_ha is None:
                continue
            decision = needs.governing_decision(
                view.record.decisions, plot_id, view.record.info.season, supply, crop
            )
            mass_kg = asked.published_kg_ha * view.areas[plot_id].spread_area_m2 / HA_M2
            price = None if key is None else _cheapest_per_kg(view.record, contents, key)
            rows.append(
                ChoiceRow(
                    plot_id,
                    supply,
                    decision is None,
                    asked.published_kg_ha,
                    None if decision is None else decision.applied_to(asked.published_kg_ha),
                    mass_kg,
                    None if price is None else (price * Decimal(str(mass_kg))).quantize(Decimal("0.01")),
                    asked.reason if decision is None else decision.reason,
                    f"decide FILE {plot_id} {supply} '50 %' --because '…'",
                )
            )
    return tuple(sorted(rows, key=lambda row: not row.open))


def _cheapest_per_kg(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]], supply: Supply
) -> Decimal | None:
    """Price of a kilogram of a supply at the cheapest offer; None when nothing on offer supplies it."""
    prices = [
        offer.price / Decimal(str(offer.package_kg * contents[offer.product][supply]))
        for offer in record.offers
        if offer.price is not None and offer.package_kg and contents[offer.product].get(supply)
    ]
    return min(prices, default=None)


def with_published(found: Mapping[str, PlotNeeds], areas: Mapping[str, PlotArea]) -> Mapping[str, PlotNeeds]:
    """Return needs with the published figure in the place of everything that is still to decide.

    Parameters
    ----------
    found, areas
        By plot_id.

    Returns
    -------
    mapping of plot_id to PlotNeeds
    """

    def settled(need: N, area_ha: float) -> N:
        if need.state is not NeedState.TO_DECIDE or need.published_kg_ha is None:
            return need
        rate = need.published_kg_ha
        return replace(need, state=NeedState.NEEDED, rate_kg_ha=rate, mass_kg=rate * area_ha)

    result = {}
    for plot_id, plot_needs in found.items():
        area_ha = areas[plot_id].spread_area_m2 / HA_M2
        all_settled = tuple(settled(need, area_ha) for need in plot_needs.needs)
        result[plot_id] = replace(plot_needs, needs=all_settled, lime=settled(plot_needs.lime, area_ha))
    return result


def _too_much_for_one_dose(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]], found: PlotNeeds
) -> PlotNeeds:
    """Leave a lime need above one dose to decide where no dose rule is chosen."""
    lime = found.lime
    if lime.state is not NeedState.NEEDED or lime.basis is None or lime.published_kg_ha is not None:
        return found
    strengths = [content.get(lime.basis.supply, 0.0) for content in contents.values()]
    strongest = max(strengths, default=0.0)
    product = lime.rate_kg_ha / strongest if lime.rate_kg_ha is not None and strongest > 0 else None
    choice = needs.lime_to_decide(product, bool(record.info.settings.lime_dose_limit))
    if choice is None:
        return found
    reason = f"{choice.why[:1].upper()}{choice.why[1:]}."
    open_lime = replace(
        lime,
        state=NeedState.TO_DECIDE,
        reason=reason,
        published_kg_ha=lime.rate_kg_ha,
        rate_kg_ha=None,
        mass_kg=None,
    )
    return replace(found, lime=open_lime)


def refuse_old(view: SeasonView, what: str, old_ok: bool) -> None:
    """Refuse to hand out a plan that what it stood on has left behind.

    Parameters
    ----------
    view
        The season.
    what
        What was about to be handed out.
    old_ok
        True = asked for all the same.

    Raises
    ------
    InputError
        When the plan is old; it lists what changed.
    """
    if view.aged and not old_ok:
        assert view.plan is not None
        changed = "; ".join(str(aged) for aged in view.aged[:8])
        more = f"; and {len(view.aged) - 8} more" if len(view.aged) > 8 else ""
        text = f"the plan was made {view.plan.made_at[:10]}, before this changed: {changed}{more}"
        fix = "Plan again: loamwright plan; or hand out the old one, which says so, with --old."
        raise InputError([Problem(what, text, fix)])


def with_sampling(view: SeasonView, place: str | None, cores: int | None) -> SeasonView:
    """Plan the soil sampling again by another place's advice or with another number of cores.

    Parameters
    ----------
    view
        The season.
    place
        Place whose published advice is used; None = the property's setting.
    cores
        Cores in one sample [count]; None = the property's setting.

    Returns
    -------
    SeasonView

    Raises
    ------
    InputError
        When no advice of that place is built in, or the cores are fewer than one.
    """
    if cores is not None and cores < 1:
        raise InputError([Problem("--cores", f"{cores} is no number of cores", "Give 1 or more.")])
    settings = view.record.info.settings
    settings = replace(
        settings,
        sampling_guide=settings.sampling_guide if place is None else place,
        cores_per_sample=settings.cores_per_sample if cores is None else cores,
    )
    record = replace(view.record, info=replace(view.record.info, settings=settings))
    guide = _sampling_guide(settings.sampling_guide)
    planned = work.plan_sampling(guide, record, view.areas, view.made_on)
    return replace(view, record=record, sampling=planned)


def view(path: Path, today: dt.date) -> SeasonView:
    """Open a property file and compute its season.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests and cautions.

    Returns
    -------
    SeasonView

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    return compute(files.load(path), today)


# ---------------------------------------------------------------------------------------------
# Showing the math


def explain(view: SeasonView, plot_id: str, nutrient: str | None = None) -> Story:
    """Gather what stands behind the numbers of one plot.

    Parameters
    ----------
    view
        The season.
    plot_id
        Which plot.
    nutrient
        A `Nutrient` value or ``"lime"``, in any case; None = all.

    Returns
    -------
    Story

    Raises
    ------
    InputError
        When the plot or nutrient is not known.
    """
    plot = next((item for item in view.record.plots if item.plot_id == plot_id), None)
    if plot is None:
        known = ", ".join(item.plot_id for item in view.record.plots)
        raise InputError(
            [Problem("plot", f"{plot_id!r} is not a plot of this property", f"Use one of: {known}.")]
        )
    names = {item.value.casefold(): item for item in Nutrient}
    asked = None if nutrient is None else nutrient.casefold()
    if asked is not None and asked != "lime" and asked not in names:
        choices = ", ".join((*(item.value for item in Nutrient), "lime"))
        raise InputError([Problem("nutrient", f"{nutrient!r} is not known", f"Use one of: {choices}.")])
    found = view.needs[plot_id]
    contents = product_contents(view.record)
    lines = tuple(line for line in view.plan.lines if line.plot_id == plot_id) if view.plan else ()
    if asked is not None:
        lines = tuple(
            line
            for line in lines
            if any(
                supply.casefold() == asked or supply.startswith(f"{asked} ")
                for supply in contents.get(line.product, {})
            )
        )
    bought = {line.product for line in lines}
    return Story(
        plot=plot,
        cropping=view.croppings.get(plot_id),
        area=view.areas[plot_id],
        needs=tuple(need for need in found.needs if asked in (None, need.nutrient.value.casefold())),
        lime=found.lime if asked in (None, "lime") else None,
        lines=lines,
        purchases=tuple(item for item in view.plan.buy if item.product in bought) if view.plan else (),
        cautions=tuple(item for item in view.cautions if plot_id in item.where),
    )


def history(view: SeasonView, plot_id: str | None = None) -> tuple[work.PlotHistory, ...]:
    """Return tests and nutrient balances of past seasons.

    Parameters
    ----------
    view
        The season.
    plot_id
        One plot, or None for every plot.

    Returns
    -------
    tuple of history.PlotHistory

    Raises
    ------
    InputError
        When the plot is not known.
    """
    histories, _problems = work.plot_histories(view.record, product_contents(view.record))
    if plot_id is None:
        return tuple(histories.values())
    if plot_id not in histories:
        raise InputError([Problem("plot", f"{plot_id!r} is not a plot of this property", "")])
    return (histories[plot_id],)


def acidity(view: SeasonView) -> Mapping[str, Acidity]:
    """Say how much lime this season's nitrogen uses up, plot by plot.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    mapping of plot_id to Acidity
        Plots where something was applied.
    """
    entries = work.season_entries(
        view.record.applications, view.record.info.season, view.record.info.settings.season_start
    )
    return work.acidity_left(entries, view.record.products)


def project(
    view: SeasonView, plot_id: str, nutrient: Nutrient, removed_kg_ha: float | None, lb_per_ppm: float | None
) -> work.Projection:
    """Say where a plot's soil test may go from what was put on this season and what the crop takes out.

    Parameters
    ----------
    view
        The season.
    plot_id
        Which plot.
    nutrient
        P2O5 or K2O.
    removed_kg_ha
        Taken out by the crop [kg nutrient/ha]; None = not stated, and the answer is unknown.
    lb_per_ppm
        The user's own figure [lb nutrient/acre per ppm]; None = the published one.

    Returns
    -------
    history.Projection

    Raises
    ------
    InputError
        When the plot has no reading in ppm, or the nutrient has no soil test.
    """
    element = {Nutrient.P2O5: "P", Nutrient.K2O: "K"}.get(nutrient)
    tests = [
        test
        for test in view.record.soil_tests
        if test.plot_id == plot_id and element in test.readings and test.sampled_on is not None
    ]
    if element is None or not tests:
        what = f"plot {plot_id!r} has no dated soil test for {nutrient}"
        raise InputError(
            [Problem("project", what, "Name a plot with a P test for P2O5 or a K test for K2O.")]
        )
    newest = max(tests, key=lambda test: test.sampled_on or dt.date.min)
    reading = newest.readings[element]
    if read_unit(reading.unit) != "ppm":
        what = f"the newest {element} test of plot {plot_id} is in {reading.unit}"
        raise InputError([Problem("project", what, "A projection needs a reading in ppm.")])
    applied_kg = sum(
        row.applied_kg for row in view.balances if row.plot_id == plot_id and row.supply == nutrient.value
    )
    area_ha = view.areas[plot_id].spread_area_m2 / HA_M2
    figure = (
        files.load_change_figures().get(nutrient)
        if lb_per_ppm is None
        else work.user_figure(nutrient, lb_per_ppm)
    )
    added_kg_ha = applied_kg / area_ha if area_ha else 0.0
    return work.project(nutrient, reading.value, reading.extractant or "", added_kg_ha, removed_kg_ha, figure)


# ---------------------------------------------------------------------------------------------
# Handing off


def make_map(
    view: SeasonView,
    path: Path,
    round_id: str | None = None,
    basemap: str | None = None,
    image: Path | None = None,
) -> fieldmap.MapMade:
    """Write the field map.

    Parameters
    ----------
    view
        The season.
    path
        Where.
    round_id
        For this round only; None = the whole property.
    basemap
        ``"aerial"`` or ``"topo"`` for an online background; None = none.
    image
        The user's own GeoTIFF to embed, or None.

    Returns
    -------
    page.MapMade

    Raises
    ------
    InputError
        When the round or basemap is not known.
    """
    known = {item.round_id for item in view.rounds}
    if round_id is not None and round_id not in known:
        choices = ", ".join(sorted(known)) or "none yet: make a plan first"
        raise InputError([Problem("--round", f"{round_id!r} is not a round", f"Use one of: {choices}.")])
    if basemap is not None and basemap not in {item.value for item in fieldmap.Basemap}:
        raise InputError([Problem("--basemap", f"{basemap!r} is not known", "Use aerial or topo.")])
    options = fieldmap.MapOptions(
        round_id=round_id or "",
        basemap=None if basemap is None else fieldmap.Basemap(basemap),
        picture=image,
    )
    return fieldmap.write_map(view, path, options)


@dataclass(frozen=True, slots=True)
class Written:
    """Files that were written, and what they could not show."""

    paths: tuple[Path, ...]
    problems: tuple[Problem, ...] = ()


def _gathered(made: Sequence[handoff.PaperMade]) -> Written:
    return Written(
        tuple(item.path for item in made if item.pages),
        tuple(problem for item in made for problem in item.problems),
    )


def write_orders(view: SeasonView, folder: Path, options: handoff.PaperOptions) -> Written:
    """Write the work orders with the buying list (PDF), and the buying list as a spreadsheet.

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.
    options
        Paper size, rounds, appendix.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When there is no plan to print, a round is not known, or the folder cannot be written to.
    """
    if view.plan is None:
        raise InputError([Problem("orders", "this season has no plan yet", "Run `loamwright plan` first.")])
    return _gathered(
        (
            handoff.write_orders(view, folder / "work_orders.pdf", options),
            handoff.write_buying_list(view, folder / "buying_list.xlsx"),
        )
    )


def write_reports(view: SeasonView, folder: Path, options: handoff.PaperOptions) -> Written:
    """Write the season picture and the season record (PDF and spreadsheet).

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.
    options
        Paper size.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    return _gathered(
        (
            handoff.write_season_picture(view, folder / "season_picture.pdf", options),
            handoff.write_season_record(view, folder / "season_record.pdf", options),
            handoff.write_season_record(view, folder / "season_record.xlsx", options),
        )
    )


def write_sampling(view: SeasonView, folder: Path) -> Written:
    """Write core places for a GPS receiver and sampling sheets with bag labels.

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    sheets = _gathered((handoff.write_sampling_sheets(view, folder / "sampling_sheets.pdf"),))
    places = handoff.export(view, folder, "gpx")
    return Written((*sheets.paths, *places.paths), (*sheets.problems, *places.problems))


def export(view: SeasonView, kind: str, folder: Path) -> handoff.ExportMade:
    """Write the season for other programs.

    Parameters
    ----------
    view
        The season.
    kind
        A key of `exports.KINDS`.
    folder
        Where; made if missing.

    Returns
    -------
    exports.ExportMade

    Raises
    ------
    InputError
        When the kind is not known or the folder cannot be written.
    """
    return handoff.export(view, folder, kind)


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What may be asked of a plan.

    Parameters
    ----------
    budget
        Spend at most this [money]; None = meet every need.
    gap
        Proof wanted [fraction of cost].
    time_limit_s
        Time the solver may take [s].
    reason
        Why this plan replaces the one before.
    fixed
        Passes already decided on.
    published
        True = plan the published figure of what is still to decide; False = leave it, and say so.
    """

    budget: Decimal | None = None
    gap: float = 0.001
    time_limit_s: float = 60.0
    reason: str = ""
    fixed: tuple[planning.FixedPass, ...] = ()
    published: bool = False


@dataclass(frozen=True, slots=True)
class PlanningTask:
    """What the planner is asked.

    Parameters
    ----------
    plots, wares, offers, terms
        As `planner.make_plan` takes them.
    problems
        What was divided or left out on the way.
    """

    plots: tuple[planning.PlanPlot, ...]
    wares: tuple[planning.Ware, ...]
    offers: tuple[Offer, ...]
    terms: planning.Terms
    problems: tuple[Problem, ...]


def _faults(options: PlanOptions) -> Iterator[Problem]:
    """Name the options that ask for what no plan can be."""
    if options.budget is not None and options.budget < 0:
        what = f"{options.budget} is less than nothing"
        yield Problem("--budget", what, "Write what may be spent, for example 400.")
    if not 0 <= options.gap < 1:
        what = f"{options.gap:g} is not a share of the cost, from 0 to less than 1"
        yield Problem("--gap", what, "Write for example 0.001, a tenth of a percent.")
    if not (math.isfinite(options.time_limit_s) and options.time_limit_s > 0):
        what = f"{options.time_limit_s:g} is not a number of seconds above 0"
        yield Problem("--time-limit", what, "Write for example 60.")


def planning_task(view: SeasonView, options: PlanOptions) -> PlanningTask:
    """Gather what the planner is asked.

    Parameters
    ----------
    view
        The season.
    options
        What is asked of the plan.

    Returns
    -------
    PlanningTask

    Raises
    ------
    InputError
        When the budget, the gap or the time limit is out of range.
    """
    problems = tuple(_faults(options))
    if problems:
        raise InputError(problems)
    record = view.record
    settings = record.info.settings
    contents = product_contents(record)
    plots, problems = planning.plan_plots(
        record.plots,
        view.areas,
        with_published(view.needs, view.areas) if options.published else view.needs,
        contents,
        record.products,
        settings,
        work.lime_spread(record.applications, record.products, view.areas, settings, record.info.season),
    )
    return PlanningTask(
        plots=plots,
        wares=tuple(planning.Ware(product, contents[product.product]) for product in record.products),
        offers=offers_in_stock(record),
        terms=planning.Terms(
            max_products_per_plot=settings.max_products_per_plot,
            spreading_cost_per_ha=settings.spreading_cost_per_ha,
            spreading_cost_per_pass=settings.spreading_cost_per_pass,
            min_rate_kg_ha=settings.min_rate_kg_ha,
            gap=options.gap,
            time_limit_s=options.time_limit_s,
            budget=options.budget,
            hauling_cost_per_kg=settings.hauling_cost_per_kg,
            fixed=options.fixed,
            season=record.info.season,
            units=record.info.units,
        ),
        problems=problems,
    )


def make_plan(path: Path, options: PlanOptions, today: dt.date, progress: Progress = quiet) -> SeasonView:
    """Plan the season of a property and keep the plan in its file.

    Parameters
    ----------
    path
        The property file.
    options
        What is asked of the plan.
    today
        Date for the age of tests and cautions.
    progress
        Told each stage.

    Returns
    -------
    SeasonView
        With the new plan.

    Raises
    ------
    InputError
        When an option is out of range; nothing is stored.
    """
    before = compute(files.load(path), today, progress)
    progress("finding the cheapest packages")
    start = before.record.info.settings.season_start
    entries = work.season_entries(before.record.applications, before.record.info.season, start)
    task = planning_task(before, options)
    made = planning.make_plan(task.plots, task.wares, task.offers, task.terms)
    made = replace(
        made,
        lines=tuple(_spread_on_the_rest(line, before) for line in made.lines),
        problems=(*task.problems, *made.problems, *_left_open(before, options)),
        counted_entries=tuple(entry.entry_id for entry in entries),
        fingerprint=fingerprint(before),
    )
    progress("checking cautions")
    with files.edit(path, "plan") as editor:
        editor.add_plan(made, options.reason)
        return compute(editor.record(), today)


def _spread_on_the_rest(line: planning.PlanLine, view: SeasonView) -> planning.PlanLine:
    """Give a line that serves only the rest of a plot the rate of that rest, mass over its ground."""
    contents = product_contents(view.record).get(line.product, {})
    found = view.needs.get(line.plot_id)
    if found is None:
        return line
    served = [
        need.rest_m2
        for need in found.needs
        if need.state is NeedState.NEEDED and contents.get(Supply(need.nutrient.value), 0.0) > 0
    ]
    if not served or None in served:
        return line
    rest_m2 = max(area for area in served if area is not None)
    rate_kg_ha = line.mass_kg / rest_m2 * HA_M2
    step = Step(
        f"Spread on the rest of the plot only: {format_area(rest_m2)}",
        rate_kg_ha / LB_ACRE_KG_HA,
        f"lb {line.product}/acre",
        ARITHMETIC,
    )
    return replace(line, rate_kg_ha=rate_kg_ha, steps=(*line.steps, step))


def _left_open(view: SeasonView, options: PlanOptions) -> tuple[Problem, ...]:
    """Say what a plan left open, or took as published, with pounds and money."""
    rows = [row for row in decisions_of(view) if row.open]
    if not rows:
        return ()
    listed = ", ".join(f"{row.supply} on {row.plot_id}" for row in rows)
    cost = sum((row.cost for row in rows if row.cost is not None), Decimal(0))
    done = "planned as published" if options.published else "left out of this plan"
    what = f"{len(rows)} still to decide, {done}: {listed}; about {cost} at the cheapest offers"
    return (Problem("decisions", what, "See and make them with: decide.", Level.WARNING),)


def planned_view(view: SeasonView) -> Plan:
    """Return the season's plan, or refuse when there is none.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        When the season has no plan.
    """
    if view.plan is None:
        raise InputError([Problem("plan", "this season has no plan yet", "Run `loamwright plan` first.")])
    return view.plan


def reasons(view: SeasonView, time_limit_s: float, progress: Progress = quiet) -> planning.Reasons:
    """Say why the season's plan is what it is, by planning again with one thing changed at a time.

    Parameters
    ----------
    view
        The season, with a plan.
    time_limit_s
        For each new plan [s].
    progress
        Told each question.

    Returns
    -------
    reasons.Reasons

    Raises
    ------
    InputError
        When the season has no plan.
    """
    plan = planned_view(view)
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    return planning.explain(task.plots, task.wares, task.offers, task.terms, plan, progress)


def compare_habits(
    view: SeasonView, own: Path | None, triple: str, flat_rate_kg_ha: float | None, time_limit_s: float
) -> planning.Compared:
    """Cost the usual ways of doing it on the same needs, beside the season's plan.

    Parameters
    ----------
    view
        The season.
    own
        The user's own list: a table of plot_id, product, amount and timing; None = none.
    triple
        Product of the flat-rate habit; empty = chosen and said.
    flat_rate_kg_ha
        Its rate [kg/ha]; None = chosen and said.
    time_limit_s
        For each plan [s].

    Returns
    -------
    alternatives.Compared

    Raises
    ------
    InputError
        When the list has an error.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    passes = () if own is None else read_passes(view, own)
    return planning.compare_habits(
        task.plots,
        task.wares,
        task.offers,
        task.terms,
        view.plan,
        own=passes,
        triple=triple,
        flat_rate_kg_ha=flat_rate_kg_ha,
    )


def read_passes(view: SeasonView, path: Path) -> tuple[planning.FixedPass, ...]:
    """Read a list of passes somebody has decided on.

    Parameters
    ----------
    view
        The season.
    path
        CSV or XLSX with plot_id, product, amount and timing.

    Returns
    -------
    tuple of planner.FixedPass

    Raises
    ------
    InputError
        When a row has an error.
    """
    plots = {plot.plot_id for plot in view.record.plots}
    labels = {product.product for product in view.record.products}
    passes, problems = files.passes_from(files.read_table(path), plots, labels)
    if has_errors(problems):
        raise InputError(problems)
    return passes


def budget_curve(
    view: SeasonView, points: int, time_limit_s: float, progress: Progress = quiet
) -> tuple[planning.CurvePoint, ...]:
    """Show how much of the needs each sum of money covers.

    Parameters
    ----------
    view
        The season.
    points
        How many budgets, evenly spaced up to the one that is enough.
    time_limit_s
        For each plan [s].
    progress
        Told each budget.

    Returns
    -------
    tuple of alternatives.CurvePoint
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    return planning.coverage_curve(task.plots, task.wares, task.offers, task.terms, points, progress)


def draw_budget(view: SeasonView, curve: Sequence[planning.CurvePoint], path: Path) -> handoff.PaperMade:
    """Draw the curve of coverage against dollars.

    Parameters
    ----------
    view
        The season.
    curve
        Its points.
    path
        ``.svg``, ``.png`` or ``.pdf``.

    Returns
    -------
    paper.PaperMade
    """
    return handoff.write_budget_chart(view, curve, path)


def order_blend(
    view: SeasonView, service: planning.BlendService, time_limit_s: float
) -> planning.CustomBlend:
    """Find the cheapest blend to have made for a group of plots, and whether to order it.

    Parameters
    ----------
    view
        The season.
    service
        What the plant blends, for which plots, at which fee.
    time_limit_s
        For each plan [s].

    Returns
    -------
    custom_blends.CustomBlend

    Raises
    ------
    InputError
        When no blend can be made; it says why.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    found = planning.order_blend(task.plots, task.wares, task.offers, task.terms, service)
    if isinstance(found, Problem):
        raise InputError([found])
    return found


def purchase_lists(view: SeasonView) -> tuple[planning.PurchaseList, ...]:
    """Split the plan's purchases into what to have bought before each timing.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of planner.PurchaseList
        Empty without a plan.
    """
    return () if view.plan is None else planning.purchase_lists(view.plan, view.record.offers)


T = TypeVar("T")
N = TypeVar("N", Need, LimeNeed)


def _append(
    path: Path, entries: Sequence[Application], problems: Sequence[Problem], today: dt.date
) -> Recorded:
    with files.edit(path, "record") as editor:
        appended = editor.append_applications(entries)
        after = compute(editor.record(), today)
    return Recorded(
        appended.new,
        appended.already_there,
        appended.conflicts,
        after,
        (*problems, *appended.conflicts, *_other_seasons(appended.new, after.record)),
    )


def _other_seasons(entries: Sequence[Application], record: PropertyRecord) -> tuple[Problem, ...]:
    """Say which entries the status of the season leaves out, because of their date."""
    season, start = record.info.season, record.info.settings.season_start
    return tuple(
        Problem(
            f"entry {entry.entry_id}, applied_on",
            f"{entry.applied_on} is not in season {season}, so what went on plot {entry.plot_id} is kept "
            "but does not count in this season's status",
            "If the date is wrong, enter it again with --corrects and this id.",
            Level.WARNING,
        )
        for entry in entries
        if needs.season_of(entry.applied_on, start) != season
    )


#: Asked of an entry that contradicts the recorded one of its id: take it as a correction?
Question = Callable[[Application, Application], bool]


def keep_what_is_recorded(_recorded: Application, _offered: Application) -> bool:
    """Answer no: the recorded entry stands, and the conflict is reported.

    Parameters
    ----------
    _recorded, _offered
        Not looked at.

    Returns
    -------
    bool
        False.
    """
    return False


def _as_corrections(
    entries: Sequence[Application], recorded: Sequence[Application], asks: Question
) -> tuple[Application, ...]:
    """Turn entries that contradict the record, and are wanted, into corrections of what stands there.

    The new id is made of the old one and the content, so that the same file again changes nothing.
    """
    known = {entry.entry_id: entry for entry in recorded}
    newer = {entry.replaces: entry.entry_id for entry in recorded if entry.replaces}
    result = []
    for entry in entries:
        before = known.get(entry.entry_id)
        if before is None or before == entry:
            result.append(entry)
            continue
        mark = hashlib.sha256(repr(entry).encode()).hexdigest()[:12]
        new_id = f"{entry.entry_id}-{mark}"
        if new_id in known:
            result.append(replace(entry, entry_id=new_id, replaces=known[new_id].replaces))
        elif asks(before, entry):
            standing = entry.entry_id
            while standing in newer:
                standing = newer[standing]
            result.append(replace(entry, entry_id=new_id, replaces=standing))
        else:
            result.append(entry)
    return tuple(result)


def record_file(path: Path, file: Path, today: dt.date, asks: Question = keep_what_is_recorded) -> Recorded:
    """Take in a records file from the map, or a table of entries; twice changes nothing.

    Parameters
    ----------
    path
        The property file.
    file
        Records file (JSON), CSV or XLSX.
    today
        Date for the age of tests and cautions.
    asks
        Asked of each entry that contradicts the recorded one of its id; yes takes it as a correction.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When an entry cannot be read; nothing was stored.
    """
    record = files.load(path)
    known = {plot.plot_id for plot in record.plots}
    if file.suffix.lower() in files.SUFFIXES:
        entries, problems = files.applications_from(files.read_table(file), known)
    else:
        entries, problems = files.records_from(file, known)
    if has_errors(problems):
        raise InputError(problems)
    return _append(path, _as_corrections(entries, record.applications, asks), problems, today)


@dataclass(frozen=True, slots=True)
class HandEntry:
    """One application typed in; texts as written, units included.

    Parameters
    ----------
    plot_id, product, amount
        Where, what, how much (``"120 lb"``); an amount of zero means not done.
    applied_on
        Date, or None for today.
    operator, ground, weather, note, reason
        As written.
    corrects
        Id of the entry this one corrects, or empty. Its timing is taken over, and its plan line when plot and
        product are the same.
    """

    plot_id: str
    product: str
    amount: str
    applied_on: str | None = None
    operator: str = ""
    ground: str = ""
    weather: str = ""
    note: str = ""
    reason: str = ""
    corrects: str = ""


def record_entry(path: Path, hand: HandEntry, now: dt.datetime) -> Recorded:
    """Add one application typed in.

    Parameters
    ----------
    path
        The property file.
    hand
        What was typed.
    now
        Time of entry.

    Returns
    -------
    Recorded

    Raises
    ------
    InputError
        When plot, product, amount or date is not understood; nothing was stored.
    """
    record = files.load(path)
    problems: list[Problem] = []
    if hand.plot_id not in {plot.plot_id for plot in record.plots}:
        problems.append(
            Problem("--plot", f"{hand.plot_id!r} is not a plot of this property", "See `status`.")
        )
    if hand.product not in {product.product for product in record.products}:
        names = ", ".join(product.product for product in record.products)
        problems.append(
            Problem("--product", f"{hand.product!r} is not a product here", f"Use one of: {names}.")
        )
    problems.extend(_correction_problems(hand.corrects, record.applications))
    mass_kg = _read("--amount", hand.amount, parse_mass, problems) or 0.0
    if mass_kg < 0:
        problems.append(
            Problem("--amount", f"{hand.amount!r} is negative", "Correct an entry by a new one: --corrects.")
        )
    applied_on = _read("--on", hand.applied_on, files.parse_date, problems) or now.date()
    if problems:
        raise InputError(problems)
    before = next((entry for entry in record.applications if entry.entry_id == hand.corrects), None)
    timing, line_id = None, ""
    if before is not None:
        timing = before.timing
        line_id = before.line_id if (before.plot_id, before.product) == (hand.plot_id, hand.product) else ""
    entry = Application(
        entry_id=str(uuid.uuid4()),
        plot_id=hand.plot_id,
        product=hand.product,
        done=Done.DONE if mass_kg > 0 else Done.NOT_DONE,
        applied_on=applied_on,
        mass_kg=mass_kg,
        timing=timing,
        line_id=line_id,
        operator=hand.operator,
        ground=hand.ground,
        weather=hand.weather,
        note=hand.note,
        reason=hand.reason,
        replaces=hand.corrects,
        recorded_at=now.isoformat(timespec="seconds"),
    )
    return _append(path, (entry,), (), now.date())


def _correction_problems(corrects: str, applications: Sequence[Application]) -> Iterator[Problem]:
    """Check that the entry to correct is there and stands."""
    if corrects and corrects not in {entry.entry_id for entry in applications}:
        yield Problem("--corrects", f"the record holds no entry {corrects!r}", "See `export … csv`.")
    for entry in applications:
        if corrects and entry.replaces == corrects:
            what = f"entry {corrects!r} is corrected already, by {entry.entry_id!r}"
            yield Problem("--corrects", what, "Correct that one.")


def _read(option: str, text: str | None, parse: Callable[[str], T], problems: list[Problem]) -> T | None:
    """Read a typed option; None when it was not typed, or when it adds a problem instead."""
    try:
        return None if text is None else parse(text)
    except ValueError as error:
        what, _, fix = str(error).partition("; ")
        problems.append(Problem(option, what, f"{fix[:1].upper()}{fix[1:]}." if fix else ""))
        return None


@dataclass(frozen=True, slots=True)
class CatchTest:
    """A catch or tarp test as typed; texts with units.

    Parameters
    ----------
    spreader, product, setting, operator
        As written.
    caught, catch_area
        What fell (``"0.11 lb"``) on which area (``"21.8 ft2"``).
    swath, speed
        Swath width and ground speed, or None.
    tested_on
        Date, or None for today.
    note
        Anything else.
    """

    spreader: str
    product: str
    setting: str
    operator: str
    caught: str
    catch_area: str
    swath: str | None = None
    speed: str | None = None
    tested_on: str | None = None
    note: str = ""


def log_calibration(path: Path, test: CatchTest, today: dt.date) -> Calibration:
    """Log a catch test and return it with the rate that follows.

    Parameters
    ----------
    path
        The property file.
    test
        What was typed.
    today
        Date when none was typed.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        When a quantity or the date is not understood or not possible; nothing was stored.
    """
    problems: list[Problem] = []
    caught_kg = _read("--caught", test.caught, parse_mass, problems)
    catch_area_m2 = _read("--catch-area", test.catch_area, parse_area, problems)
    swath_m = _read("--swath", test.swath, parse_length, problems)
    speed_m_s = _read("--speed", test.speed, parse_speed, problems)
    tested_on = _read("--on", test.tested_on, files.parse_date, problems) or today
    if caught_kg is None or catch_area_m2 is None or problems:
        raise InputError(problems)
    calibration = work.calibrate(
        calibration_id=str(uuid.uuid4()),
        spreader=test.spreader,
        product=test.product,
        setting=test.setting,
        operator=test.operator,
        tested_on=tested_on,
        caught_kg=caught_kg,
        catch_area_m2=catch_area_m2,
        swath_m=swath_m,
        speed_m_s=speed_m_s,
        note=test.note,
    )
    with files.edit(path) as editor:
        editor.add_calibration(calibration)
    return calibration
