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
from functools import cached_property
from pathlib import Path

from loamwright import fieldmap, files, handoff, land, needs, planning, supplies, work
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.land import Cropping, PlotArea
from loamwright.needs import Guideline, PlotNeeds
from loamwright.planning import Plan
from loamwright.soil import read_unit
from loamwright.supplies import Acidity, Offer
from loamwright.units import HA_M2, LB_ACRE_KG_HA, format_area
from loamwright.values import ARITHMETIC, LimeBasis, NeedState, Nutrient, Step, Supply
from loamwright.work import (
    Application,
    Balance,
    Calibration,
    Caution,
    Done,
    LineStatus,
    PropertyRecord,
    Recorded,
    Round,
    SamplingPlan,
    SeasonView,
    Story,
)

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

    Raises
    ------
    InputError
        By the part that needs it, when a setting names a guideline or place that is not built in.
    """

    def __init__(self, record: PropertyRecord, made_on: dt.date, progress: Progress = quiet) -> None:
        self._record = record
        self._made_on = made_on
        self._progress = progress

    @property
    def record(self) -> PropertyRecord:
        """What the file holds."""
        return self._record

    @property
    def made_on(self) -> dt.date:
        """Date shown on the map and paper."""
        return self._made_on

    @cached_property
    def areas(self) -> Mapping[str, PlotArea]:
        """Area of each plot, by plot_id."""
        self._progress("measuring plots")
        return {area.plot_id: area for area in land.areas(self.record.plots, self.record.keepouts)}

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
    def _ground(self) -> work.OnTheGround:
        """What went on the plots and counts against their needs."""
        record, settings = self.record, self.record.info.settings
        earlier = work.season_needs(record, self.contents)
        season, start = record.info.season, settings.season_start
        return work.on_the_ground(
            record.applications, self.contents, self.areas, self._clocks, season, start, earlier
        )

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
                tuple(item for item in record.organic_inputs if item.plot_id == plot.plot_id),
                self.made_on,
                parts={} if ground is None else ground.parts.get(plot.plot_id, {}),
                clock=self._clocks[plot.plot_id],
                decisions=record.decisions,
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
    def fingerprint(self) -> Mapping[str, str]:
        """What a plan made now would stand on."""
        stands = work.stands_on(self.record, self.needs_before, self.areas)
        return stands | work.known_purchases(self.record)

    @cached_property
    def aged(self) -> tuple[planning.Aged, ...]:
        """What the plan stood on that is not as it was; empty = the plan is not old."""
        return work.aged(self.record, self.plan, self.needs_before, self.areas)

    @cached_property
    def plan(self) -> Plan | None:
        """The newest plan of the season, or None."""
        plans = [plan for plan in self.record.plans if plan.season == self.record.info.season]
        return plans[-1] if plans else None

    @cached_property
    def statuses(self) -> tuple[LineStatus, ...]:
        """What became of each line of the plan."""
        info = self.record.info
        return work.line_statuses(
            self.plan, self.record.applications, info.season, info.settings.season_start
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
        return work.plan_rounds(
            self.plan.lines, self.areas, places, record.products, record.info.settings.spreaders
        )

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
        )
        return (*fired, *work.on_the_rest(self.needs, self.areas))

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
        fix = "Plan again: loamwright plan; or hand out the old one, which says so, with `old`."
        raise InputError([Problem(what, text, fix)])


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


def view(path: Path, today: dt.date) -> Season:
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
    return Season(files.load(path), today)


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
    plot = files.find(files.thing_of("plot"), view.record, plot_id)
    plot_id = plot.plot_id
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
    return (histories[files.find(files.thing_of("plot"), view.record, plot_id).plot_id],)


def without_a_rate(view: SeasonView) -> tuple[tuple[str, str], ...]:
    """Name what no laboratory and no guideline gives a figure for, or leaves a range to choose from.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of (crop, nutrient)
        N, P2O5 and K2O of the crops grown, each once.
    """
    asked = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)
    pairs = [
        (view.croppings[plot_id].crop, need.nutrient.value)
        for plot_id, found in view.needs.items()
        for need in found.needs
        if need.nutrient in asked
        if (need.state is NeedState.UNKNOWN and not need.edition)
        or (need.state is NeedState.TO_DECIDE and need.published_kg_ha is None)
        if plot_id in view.croppings and view.croppings[plot_id].crop
    ]
    return tuple(dict.fromkeys(pairs))


def lime_ledger(view: SeasonView) -> tuple[planning.LimeDose, ...]:
    """Say which lime doses are due in which season, by the dose rule of the property.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of planning.LimeDose
    """
    record = view.record
    settings, season = record.info.settings, record.info.season
    spread = work.lime_spread(record.applications, record.products, view.areas, settings, season)
    return planning.lime_ledger(
        record.plots, view.needs, product_contents(record), record.products, settings, spread, season
    )


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
        raise InputError([Problem("round", f"{round_id!r} is not a round", f"Use one of: {choices}.")])
    if basemap is not None and basemap not in {item.value for item in fieldmap.Basemap}:
        raise InputError([Problem("basemap", f"{basemap!r} is not known", "Use aerial or topo.")])
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
    mix_undecided
        True to let products share a load about which no page says anything: what deciding them could bring.
    """

    budget: Decimal | None = None
    gap: float = 0.001
    time_limit_s: float = 60.0
    reason: str = ""
    fixed: tuple[planning.FixedPass, ...] = ()
    published: bool = False
    mix_undecided: bool = False


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
        yield Problem("budget", what, "Write what may be spent, for example 400.")
    if not 0 <= options.gap < 1:
        what = f"{options.gap:g} is not a share of the cost, from 0 to less than 1"
        yield Problem("gap", what, "Write for example 0.001, a tenth of a percent.")
    if not (math.isfinite(options.time_limit_s) and options.time_limit_s > 0):
        what = f"{options.time_limit_s:g} is not a number of seconds above 0"
        yield Problem("time limit", what, "Write for example 60.")


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
        work.with_published(view.needs, view.areas) if options.published else view.needs,
        contents,
        record.products,
        settings,
        work.lime_spread(record.applications, record.products, view.areas, settings, record.info.season),
        {(row.plot_id, row.supply): row.need_kg for row in view.balances if row.need_kg is not None},
    )
    calendar = files.load_calendar()
    plots = tuple(
        replace(
            plot,
            demands=planning.placed_in_time(
                plot.demands, view.croppings.get(plot.plot_id), calendar, settings.work.state
            ),
        )
        for plot in plots
    )
    answers = supplies.mixes(record.products, files.load_mixing(), settings.work.mixing)
    return PlanningTask(
        plots=plots,
        wares=tuple(planning.Ware(product, contents[product.product]) for product in record.products),
        offers=work.offers_in_stock(record),
        terms=planning.Terms(
            max_products_per_plot=settings.max_products_per_plot,
            spreading_cost_per_ha=settings.spreading_cost_per_ha,
            spreading_cost_per_pass=settings.spreading_cost_per_pass,
            min_rate_kg_ha=settings.min_rate_kg_ha,
            gap=options.gap,
            time_limit_s=options.time_limit_s,
            budget=options.budget,
            hauling_cost_per_kg=settings.hauling_cost_per_kg,
            handling_cost_per_kg=planning.handling(record.offers, settings),
            machines=planning.machines(settings),
            mixing=supplies.pairs_that_may(answers, undecided=options.mix_undecided),
            odd_amount_cost=settings.work.odd_amount_cost,
            least_job_share=settings.work.least_job_share,
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
    before = Season(files.load(path), today, progress)
    progress("finding the cheapest packages")
    info = before.record.info
    entries = work.season_entries(before.record.applications, info.season, info.settings.season_start)
    task = planning_task(before, options)
    made = planning.make_plan(task.plots, task.wares, task.offers, task.terms)
    rules, info = before.record.info.settings.work, before.record.info
    contents = product_contents(before.record)
    lines = tuple(_spread_on_the_rest(line, before) for line in made.lines)
    made = replace(
        made, lines=lines, jobs=tuple(_job_on_the_rest(job, made.lines, lines) for job in made.jobs)
    )
    made = replace(
        made,
        jobs=planning.dated_jobs(
            made.jobs,
            made.lines,
            {product: tuple(held) for product, held in contents.items()},
            before.croppings,
            files.load_calendar(),
            rules,
            info.season,
            today,
        ),
        problems=(*task.problems, *made.problems, *_left_open(before, options)),
        counted_entries=tuple(entry.entry_id for entry in entries),
        fingerprint=before.fingerprint,
    )
    with files.edit(path, "plan") as editor:
        editor.add_plan(made, options.reason)
        worked_out(editor.record(), today)
    progress("checking cautions")
    return Season(files.load(path), today, progress)


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


def _job_on_the_rest(
    job: planning.Job, before: Sequence[planning.PlanLine], after: Sequence[planning.PlanLine]
) -> planning.Job:
    """Give a job all of whose lines go on the rest of a plot the rate of that rest."""
    pairs = [(old, new) for old, new in zip(before, after, strict=True) if new.line_id in job.line_ids]
    if not pairs or any(old.rate_kg_ha == new.rate_kg_ha for old, new in pairs):
        return job
    return replace(job, rate_kg_ha=sum(new.rate_kg_ha for _, new in pairs), part="rest")


def _left_open(view: Season, options: PlanOptions) -> tuple[Problem, ...]:
    """Say what a plan left open, or took as published, with pounds and money."""
    rows = [row for row in view.choices if row.open]
    if not rows:
        return ()
    listed = ", ".join(f"{row.supply} on {row.plot_id}" for row in rows)
    cost = sum((row.cost for row in rows if row.cost is not None), Decimal(0))
    done = "left out of this plan"
    if options.published:
        ranges = any(row.published_kg_ha is None for row in rows)
        done = "planned as published" + (", printed ranges left out" if ranges else "")
    what = f"{len(rows)} still to decide, {done}: {listed}; about {cost} at the cheapest offers"
    return (Problem("decisions", what, "See and make them with: decide.", Level.WARNING),)


def what_if(
    view: SeasonView,
    budget: Decimal | None,
    dearer: Mapping[str, float],
    lime_share: float | None,
    time_limit_s: float,
    progress: Progress = quiet,
) -> tuple[planning.Variant, ...]:
    """Lay other ways to plan beside the plan; nothing is kept.

    Parameters
    ----------
    view
        The season.
    budget
        Also with this to spend [money]; None = not.
    dearer
        Product to how many times its price: one variant each.
    lime_share
        Also with this share of the lime now [fraction]; None = not.
    time_limit_s
        For each plan [s].
    progress
        Told each variant.

    Returns
    -------
    tuple of planning.Variant
        The plan itself, no mixing, and every pair mixed that no page forbids come first.
    """
    task = planning_task(view, PlanOptions(time_limit_s=time_limit_s))
    freely = planning_task(view, PlanOptions(time_limit_s=time_limit_s, mix_undecided=True))
    plots, offers, terms = task.plots, task.offers, task.terms
    asked = [
        planning.Asked("as planned", plots, offers, terms),
        planning.Asked("nothing mixed", plots, offers, replace(terms, mixing=frozenset())),
        planning.Asked("all mixed that no page forbids", plots, offers, freely.terms),
    ]
    if budget is not None:
        asked.append(planning.Asked("with the budget", plots, offers, replace(terms, budget=budget)))
    for product, times in dearer.items():
        changed = tuple(
            replace(one, price=one.price * Decimal(str(times)), price_breaks=())
            if one.product == product and one.price is not None
            else one
            for one in offers
        )
        asked.append(planning.Asked(f"{product} at {times:g} times its price", plots, changed, terms))
    if lime_share is not None:
        less = tuple(
            replace(
                plot,
                demands=tuple(
                    replace(one, mass_kg=one.mass_kg * lime_share)
                    if one.supply.is_lime and one.mass_kg is not None
                    else one
                    for one in plot.demands
                ),
            )
            for plot in plots
        )
        asked.append(planning.Asked(f"{lime_share:.0%} of the lime now", less, offers, terms))
    return planning.what_if(asked, task.wares, progress)


def ground_rules(view: SeasonView) -> tuple[planning.GroundRule, ...]:
    """Say which rules on ground, dates and rain the picked state has; none until one is picked.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of planning.GroundRule
    """
    state = view.record.info.settings.work.state.casefold()
    return tuple(rule for rule in files.load_ground_rules() if rule.state.casefold() == state)


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


def reasons(
    view: SeasonView,
    time_limit_s: float,
    progress: Progress = quiet,
    questions: Sequence[planning.Question] = tuple(planning.Question),
) -> planning.Reasons:
    """Say why the season's plan is what it is, by planning again with one thing changed at a time.

    Parameters
    ----------
    view
        The season, with a plan.
    time_limit_s
        For each new plan [s].
    progress
        Told each question.
    questions
        Which to ask.

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
    return planning.explain(task.plots, task.wares, task.offers, task.terms, plan, progress, questions)


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


def _append(
    path: Path, entries: Sequence[Application], problems: Sequence[Problem], today: dt.date
) -> Recorded:
    with files.edit(path, "record") as editor:
        appended = editor.append_applications(entries)
        after = worked_out(editor.record(), today)
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
            "If the date is wrong, enter it again with `corrects` and this id.",
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
    known = {plot.plot_id for plot in record.plots} | set(record.former_names)
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
    area, part
        Ground it went on (``"5 acre"``), and what that part is called; None, empty = the whole plot.
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
    area: str | None = None
    part: str = ""


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
    for field, word in (("plot_id", "plot"), ("product", "product")):
        try:
            named = files.find(files.thing_of(word), record, getattr(hand, field))
            hand = replace(hand, **{field: getattr(named, field)})
        except InputError as error:
            problems.extend(error.problems)
    problems.extend(_correction_problems(hand.corrects, record.applications))
    words = {"amount": hand.amount, "applied on": hand.applied_on, "area": hand.area}
    typed = files.typed_options(words, problems)
    mass_kg = typed.quantity("amount", "mass") or 0.0
    area_m2 = typed.quantity("area", "area")
    applied_on = typed.date("applied on") or now.date()
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
        area_m2=area_m2,
        part=hand.part,
        recorded_at=now.isoformat(timespec="seconds"),
    )
    return _append(path, (entry,), (), now.date())


def _correction_problems(corrects: str, applications: Sequence[Application]) -> Iterator[Problem]:
    """Check that the entry to correct is there and stands."""
    if corrects and corrects not in {entry.entry_id for entry in applications}:
        yield Problem("corrects", f"the record holds no entry {corrects!r}", "See `export … csv`.")
    for entry in applications:
        if corrects and entry.replaces == corrects:
            what = f"entry {corrects!r} is corrected already, by {entry.entry_id!r}"
            yield Problem("corrects", what, "Correct that one.")


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
    texts = {"caught": test.caught, "catch area": test.catch_area, "swath": test.swath, "speed": test.speed}
    typed = files.typed_options({**texts, "tested on": test.tested_on}, problems)
    caught_kg, catch_area_m2 = typed.quantity("caught", "caught"), typed.quantity("catch area", "area")
    swath_m, speed_m_s = typed.quantity("swath", "swath"), typed.quantity("speed", "speed")
    tested_on = typed.date("tested on") or today
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
    with files.edit(path, "calibrate") as editor:
        editor.add_calibration(calibration)
    return calibration
