"""Open a property and work its season out: areas, needs, rounds, cautions, each when it is first asked for.

The `Season` is what the other steps are given; each of its parts is one call to the package that does it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from loamwright import files, land, needs, planning, supplies, work
from loamwright.errors import InputError, Problem
from loamwright.land import Cropping, PlotArea
from loamwright.needs import Guideline, PlotNeeds
from loamwright.planning import Plan
from loamwright.soil import OrganicInput
from loamwright.supplies import Product
from loamwright.values import LimeBasis, Supply
from loamwright.work import (
    Balance,
    Caution,
    LineStatus,
    PropertyRecord,
    Round,
    SamplingPlan,
    SeasonView,
)

#: Called with a short text as each stage begins; screens show it, tests ignore it.
Progress = Callable[[str], None]


def quiet(_stage: str) -> None:
    """Report nothing."""


def product_contents(record: PropertyRecord) -> Mapping[str, Mapping[Supply, float]]:
    """Return what every product supplies, nutrients and lime in every basis its label allows [kg/kg]."""
    return {
        product.product: supplies.supply_fractions(product, tuple(LimeBasis)) for product in record.products
    }


def usable_shares(record: PropertyRecord) -> tuple[Product, ...]:
    """Fill in what the property's guideline prints as usable of its manures, where nobody stated it."""
    if not any(product.material for product in record.products):
        return record.products
    choice, _problems = files.load_choice_for(record.info.settings.guideline, record.editions)
    table = next((one.manure for one in choice.editions if one.manure is not None), None)
    return needs.with_usable_shares(record.products, table)


class Season(SeasonView):
    """One season of one property; each part is worked out when it is first asked for, and once.

    Parameters
    ----------
    record
        The property, as its file holds it.
    made_on
        Date for the age of tests and cautions.
    progress
        Told each stage as it begins.
    printed_on
        Date a season that is over is looked at; None = the season is the one at hand.

    Raises
    ------
    InputError
        By the part that needs it, when a setting names a guideline or place that is not built in.
    """

    def __init__(
        self,
        record: PropertyRecord,
        made_on: dt.date,
        progress: Progress = quiet,
        printed_on: dt.date | None = None,
    ) -> None:
        self._record = replace(record, products=usable_shares(record))
        self._made_on = made_on
        self._progress = progress
        self._printed_on = printed_on

    @property
    def record(self) -> PropertyRecord:
        """What the file holds."""
        return self._record

    @property
    def made_on(self) -> dt.date:
        """Date shown on the map and paper."""
        return self._made_on

    @property
    def stamp(self) -> str:
        """The date to print; of a season that is over, which it is and when it was printed again."""
        if self._printed_on is None:
            return work.stamp_of(self)
        return f"{self._printed_on.isoformat()} · season {self.record.info.season} printed again"

    @cached_property
    def areas(self) -> Mapping[str, PlotArea]:
        """Area of each plot, by plot_id."""
        self._progress("measuring plots")
        measured = land.areas(self.record.plots, self.record.keepouts, self.record.info.units)
        return {area.plot_id: area for area in measured}

    @cached_property
    def croppings(self) -> Mapping[str, Cropping]:
        """What grows now, by plot_id: of several crops of the season, the first that has not ended."""
        return work.current_croppings(self.record, self.made_on)

    @cached_property
    def contents(self) -> Mapping[str, Mapping[Supply, float]]:
        """What each product supplies [kg per kg], in every lime basis its label allows, by product."""
        return product_contents(self.record)

    @cached_property
    def _clocks(self) -> Mapping[str, needs.Clock]:
        """The dates that decide what counts, by plot_id."""
        return work.clocks(self.record, self.croppings, self.made_on)

    @cached_property
    def _placed(self) -> tuple[work.Application, ...]:
        """The entries, each with the ground its job was planned on."""
        return work.on_their_ground(self.record.applications, self.record.plans, self.areas)

    @cached_property
    def _ground(self) -> work.OnTheGround:
        """What went on the plots and counts against their needs."""
        record, settings = self.record, self.record.info.settings
        earlier = work.season_needs(record, self.contents)
        season, start = record.info.season, settings.season_start
        entries = work.with_the_ground(self._placed, record, self.areas)
        return work.on_the_ground(entries, self.contents, self.areas, self._clocks, season, start, earlier)

    @cached_property
    def _editions(self) -> tuple[needs.Choice, Guideline, tuple[Problem, ...]]:
        """The guidelines that are asked, the one for lime, and whether they are where the settings say."""
        settings, kept = self.record.info.settings, self.record.editions
        choice, problems = files.load_choice_for(settings.guideline, kept)
        lime, more = files.load_lime_for(settings.lime_guideline, kept)
        return choice, lime, tuple(dict.fromkeys((*problems, *more)))

    @property
    def _choice(self) -> needs.Choice:
        """The guidelines that are asked."""
        return self._editions[0]

    def _needs_with(self, ground: work.OnTheGround | None) -> Mapping[str, PlotNeeds]:
        record = self.record
        choice, lime_guideline, _ = self._editions
        tests = work.tests_with_their_crops(record)
        organic: dict[str, list[OrganicInput]] = {}
        for item in (*record.organic_inputs, *work.manure_of_earlier_seasons(record)):
            organic.setdefault(item.plot_id, []).append(item)
        found = {
            plot.plot_id: needs.plot_needs(
                plot,
                self.croppings.get(plot.plot_id),
                self.areas[plot.plot_id],
                tests.get(plot.plot_id, ()),
                choice,
                lime_guideline,
                record.info.settings,
                {} if ground is None else ground.whole_kg.get(plot.plot_id, {}),
                tuple(organic.get(plot.plot_id, ())),
                self.made_on,
                parts={} if ground is None else ground.parts.get(plot.plot_id, {}),
                clock=self._clocks[plot.plot_id],
                decisions=record.decisions,
                metric=record.info.units == "metric",
            )
            for plot in record.plots
        }
        return {
            plot_id: work.too_much_for_one_dose(record, self.contents, plot_needs)
            for plot_id, plot_needs in found.items()
        }

    @cached_property
    def needs_before(self) -> Mapping[str, PlotNeeds]:
        """What each plot needs before anything is taken off for what went on, by plot_id."""
        self._progress("reading soil tests and tables")
        return self._needs_with(None)

    @cached_property
    def needs(self) -> Mapping[str, PlotNeeds]:
        """What each plot still needs, by plot_id."""
        ground = self._ground
        return self._needs_with(ground) if ground.whole_kg or ground.parts else self.needs_before

    @cached_property
    def choices(self) -> tuple[work.ChoiceRow, ...]:
        """What is to decide, and what is decided."""
        return work.choices(self, self.contents)

    @cached_property
    def mixes(self) -> tuple[work.MixRow, ...]:
        """Which products' sharing a hopper is to decide, and which is decided."""
        record = self.record
        decided = record.info.settings.work.mixing
        return work.mix_rows(self, supplies.mixes(record.products, files.load_mixing(), decided))

    @cached_property
    def fingerprint(self) -> Mapping[str, str]:
        """What a plan made now would stand on."""
        stands = work.stands_on(self.record, self.needs_before, self.areas)
        return stands | work.noted_beside(self.record)

    @cached_property
    def aged(self) -> tuple[planning.Aged, ...]:
        """What the plan stood on that is not as it was; empty = it is not old, or its season is over."""
        if self._printed_on is not None:
            return ()
        return work.aged(self.record, self.plan, self.needs_before, self.areas)

    @property
    def plan(self) -> Plan | None:
        """The newest plan of the season, or None."""
        return self.record.plan

    @cached_property
    def statuses(self) -> tuple[LineStatus, ...]:
        """What became of each line of the plan."""
        info = self.record.info
        return work.line_statuses(
            self.plan, self._placed, info.season, info.settings.season_start, self.areas, self.record.plans
        )

    @cached_property
    def balances(self) -> tuple[Balance, ...]:
        """Need against what was put on, by plot and supply."""
        return work.balances(self.needs_before, self._ground.total_kg())

    @cached_property
    def rounds(self) -> tuple[Round, ...]:
        """The plan's lines as outings, in the order they would be done."""
        if self.plan is None:
            return ()
        self._progress("planning rounds")
        record = self.record
        places = land.places_m(record.plots)
        net = land.WaysIn(record.ways, record.plots, record.keepouts)
        spreaders = record.info.settings.spreaders
        return work.plan_rounds(self.plan.lines, self.areas, places, record.products, spreaders, ways=net)

    @cached_property
    def sampling(self) -> Mapping[str, SamplingPlan]:
        """Where and when to take soil cores, by plot_id."""
        self._progress("placing soil cores")
        guide = _sampling_guide(self.record.info.settings.sampling_guide)
        return work.plan_sampling(guide, self.record, self.areas, self.made_on)

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What to look out for."""
        fired = work.fire(
            files.load_caution_texts(),
            self.record,
            self.areas,
            self.croppings,
            self.needs,
            self.plan,
            self.made_on,
            files.load_mixing(),
        )
        return (*fired, *work.on_the_rest(self.needs, self.areas, self.record.info.units))

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """What a person should look at."""
        return (
            *self.record.problems,
            *self._editions[2],
            *land.find_overlaps(self.record.plots),
            *work.several_crops(self.record, self.croppings),
            *self._ground.problems,
            *work.unknown_corrections(self.record.applications),
            *dict.fromkeys(problem for found in self.needs.values() for problem in found.problems),
        )


def _sampling_guide(place: str) -> work.SamplingGuide:
    guides = files.load_sampling_guides()
    if place not in guides:
        choices = "; ".join(guides)
        what = f"no published sampling advice for {place!r} is built in"
        raise InputError([Problem("settings, sampling_guide", what, f"Use one of: {choices}.")])
    return guides[place]


def worked_out(record: PropertyRecord, today: dt.date) -> Season:
    """Work a season out as far as everything that may refuse, so that nothing unreadable is confirmed.

    Parameters
    ----------
    record
        The property as it would be.
    today
        Date for the age of tests and cautions.

    Returns
    -------
    Season
    """
    found = Season(record, today)
    _ = found.needs, found.balances, found.statuses, found.problems, found.aged
    return found


def with_sampling(view: SeasonView, place: str | None, cores: int | None) -> Season:
    """Ask for the soil sampling by another place's advice or with another number of cores.

    Parameters
    ----------
    view
        The season.
    place
        Place whose published advice is used; None = the property's setting.
    cores
        Cores in one sample [count]; None = the property's setting.

    Raises
    ------
    InputError
        When the cores are fewer than one.
    """
    if cores is not None and cores < 1:
        raise InputError([Problem("cores", f"{cores} is no number of cores", "Give 1 or more.")])
    settings = view.record.info.settings
    settings = replace(
        settings,
        sampling_guide=settings.sampling_guide if place is None else place,
        cores_per_sample=settings.cores_per_sample if cores is None else cores,
    )
    return Season(replace(view.record, info=replace(view.record.info, settings=settings)), view.made_on)


def view(path: Path, today: dt.date, season: int | None = None) -> Season:
    """Open a property file and compute its season.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests and cautions.
    season
        A season that is over, to be looked at or printed again as it ended; None = the one at hand.

    Returns
    -------
    SeasonView

    Raises
    ------
    InputError
        When nothing is known of that season.
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    record = files.load(path)
    if season is None or season == record.info.season:
        return Season(record, today)
    known = past_seasons(record)
    if season not in known:
        listed = ", ".join(map(str, (*known, record.info.season)))
        raise InputError([Problem("season", f"nothing is known of season {season}", f"There are: {listed}.")])
    _, last = needs.season_dates(season, record.info.settings.season_start)
    record = files.load(path, ground_on=min(today, last))
    tests = tuple(one for one in record.soil_tests if one.sampled_on is None or one.sampled_on <= last)
    then = replace(record, info=replace(record.info, season=season), soil_tests=tests)
    return Season(then, min(today, last), printed_on=today)


def past_seasons(record: PropertyRecord) -> tuple[int, ...]:
    """Return the seasons before the one at hand that the property knows something of.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    tuple of int
        Newest first.
    """
    known = {crop.season for crop in record.croppings} | {plan.season for plan in record.plans}
    return tuple(sorted((one for one in known if one < record.info.season), reverse=True))
