"""Work planned and work done: entries, rounds, statuses, and a season as a whole.

It holds no arithmetic. Units and conventions are those of `values`: SI, basis in the name, ``None`` for
*unknown*, and the `Step` list that made an amount beside the amount.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from loamwright.errors import Problem
from loamwright.land import Cropping, KeepOut, Plot, PlotArea, PlotPart, Shape, Way
from loamwright.needs import Decision, LimeNeed, Need, PlotNeeds
from loamwright.planning import Aged, Plan, PlanLine, Purchase
from loamwright.soil import OrganicInput, SoilTest
from loamwright.supplies import Offer, Product, StockEntry
from loamwright.values import PropertyInfo, Source, Step, Supply, Timing
from loamwright.words import mass_words, put_on_words

if TYPE_CHECKING:
    from loamwright.work.open_questions import ChoiceRow


@dataclass(frozen=True, slots=True)
class Caution:
    """A usual caution that the data triggered.

    Parameters
    ----------
    rule
        Id in ``data/cautions.csv``.
    level
        ``"stop"``, ``"care"`` or ``"note"``.
    text
        What to do, with the figures of this case.
    published
        The figures its source prints; empty when it prints none.
    where
        Plot ids it applies to; empty = whole property.
    product
        Product it is about; empty = none in particular.
    source, defers_to
        Who says so; who has the last word (local rule, label, licensed practice).
    readers
        Who can act on it: ``"planner"``, ``"spreader"``, ``"driver"``, ``"record keeper"``.
    line
        The same in one line for whoever spreads or drives; empty = the text stands for it.
    """

    rule: str
    level: str
    text: str
    where: tuple[str, ...]
    product: str
    source: Source
    defers_to: str
    published: str = ""
    readers: tuple[str, ...] = ("planner", "spreader")
    line: str = ""


# ---------------------------------------------------------------------------------------------
# Status


@dataclass(frozen=True, slots=True)
class LineStatus:
    """Planned against applied for one plan line (or an unplanned application).

    Parameters
    ----------
    plot_id, product, timing, line_id
        Which line; line_id is empty for something applied without a plan.
    planned_kg, applied_kg
        Product [kg].
    state
        Computed status.
    reasons
        Reasons given where they differ.
    taken_off
        True for what was put on before the plan was made, which took it off.
    """

    plot_id: str
    product: str
    timing: Timing | None
    line_id: str
    planned_kg: float
    applied_kg: float
    state: WorkState
    reasons: tuple[str, ...] = ()
    taken_off: bool = False

    @property
    def beside_plan(self) -> str:
        """How it stands to the plan when it answers none of its lines; empty when it answers one."""
        if self.line_id:
            return ""
        return "before the plan" if self.taken_off else "not in the plan"

    def said(self, system: str) -> str:
        """Say how it stands, as phone and paper do; beside the plan, how much is on and that it is so.

        Parameters
        ----------
        system
            ``"us"`` or ``"metric"``.
        """
        if self.beside_plan:
            return f"{self.state.value}, {mass_words(self.applied_kg, system)}, {self.beside_plan}"
        return put_on_words(self.state.value, self.applied_kg, self.planned_kg, system)


@dataclass(frozen=True, slots=True)
class Balance:
    """Need minus applied for one plot and nutrient (or lime) this season.

    Parameters
    ----------
    plot_id, supply
        Plot, and nutrient or ``"lime ENP"`` … as in `Coverage`.
    need_kg
        Before anything was applied this season [kg]; None = unknown.
    applied_kg
        Delivered so far this season [kg].
    """

    plot_id: str
    supply: Supply
    need_kg: float | None
    applied_kg: float


# ---------------------------------------------------------------------------------------------
# Rounds and sampling


@dataclass(frozen=True, slots=True)
class Stop:
    """One plot visited in a round, with what is put on it.

    Parameters
    ----------
    plot_id, line_id, product
        Which plan line this stop carries out.
    mass_kg, packages, package
        Product for this stop [kg], the same in packages [unrounded] and the package as written.
    rate_kg_ha
        Product per spread area [kg/ha].
    load
        Number of the hopper fill that starts this stop [1, 2, …].
    left_on_vehicle_kg
        Product still on the vehicle after the stop [kg]; None when the hopper size is not stated.
    load_rate_kg_ha
        Of everything in the hopper, per spread area [kg/ha]: what the spreader is set to.
    """

    plot_id: str
    line_id: str
    product: str
    mass_kg: float
    packages: float | None
    package: str
    rate_kg_ha: float
    load: int = 1
    left_on_vehicle_kg: float | None = None
    load_rate_kg_ha: float = 0.0


@dataclass(frozen=True, slots=True)
class Round:
    """One outing: a load (one product, or several mixed), a spreader and the plots in visiting order.

    Parameters
    ----------
    round_id, title
        Stable id and heading.
    product, timing, spreader
        What (products mixed are joined by ``" + "``), when, with what (spreader name; empty = not chosen).
    stops
        In visiting order; a stop for each product of a mixed load.
    loads, trips
        Hopper fills and vehicle trips [count]; None when the capacity is not stated.
    last_load_kg
        Product in the last hopper fill [kg]; None when the capacity is not stated, and of a mixed load, whose
        fills are even.
    hours
        Estimated working time by effective field capacity [h]; None when swath, speed or
        efficiency is not stated.
    steps
        How loads and time were reached.
    """

    round_id: str
    title: str
    product: str
    timing: Timing | None
    spreader: str
    stops: tuple[Stop, ...]
    loads: int | None = None
    trips: int | None = None
    last_load_kg: float | None = None
    hours: float | None = None
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """Where to take cores on one plot, and why now.

    Parameters
    ----------
    plot_id
        Which plot.
    due, reason
        Whether a sample is due this season, and why or why not.
    cores, cores_low, cores_high
        Cores to take, and the published range it was chosen from [count].
    points
        Core places in walking order, (longitude, latitude) [degree].
    label
        Text for the sample bag.
    depth_text
        Depth to sample, as the source prints it.
    steps
        Sources of the counts and depth.
    """

    plot_id: str
    due: bool
    reason: str
    cores: int
    cores_low: int
    cores_high: int
    points: tuple[tuple[float, float], ...]
    label: str
    depth_text: str = ""
    steps: tuple[Step, ...] = ()


# ---------------------------------------------------------------------------------------------
# The property as a whole


@dataclass(frozen=True, slots=True)
class Retired:
    """Something that is retired: it stays in the file, and leaves lists, sums and plans.

    Parameters
    ----------
    word, name
        What kind of thing, and what it is called.
    on, because
        When, and why.
    """

    word: str
    name: str
    on: dt.date
    because: str


@dataclass(frozen=True, slots=True)
class FormerBoundary:
    """A boundary that a plot had.

    Parameters
    ----------
    plot_id
        The plot, as it is called today.
    boundary
        Longitude-latitude on WGS84.
    until
        The first day of the one that followed.
    """

    plot_id: str
    boundary: Shape
    until: dt.date


@dataclass(frozen=True, slots=True)
class PropertyRecord:
    """Everything the property file holds, as read; what is retired is named in `retired` only.

    Parameters
    ----------
    info, plots, croppings, keepouts, soil_tests, organic_inputs, products, offers, plans, applications
        As in the file, in the order they were added. Entries of retired plots are left out.
    calibrations, parts, ways, purchases, decisions
        Likewise.
    checklist
        (number of the list, plot_id or empty) to free text.
    former_names
        Name a plot had to the one it has.
    retired
        What left lists, sums and plans.
    problems
        What in the file could not be used, and why.
    property_uid
        The same in every copy of this property.
    editions
        Guideline edition as the settings name it to its files, as they were when it was chosen.
    former_boundaries, boundary_since
        Boundaries that plots had, those of retired plots too, and since when each has its present one, by
        plot_id; not of a record whose ground is of a past day.
    applications_of_retired
        Entries of plots that are retired: what they put on still lies there.
    """

    info: PropertyInfo
    plots: tuple[Plot, ...] = ()
    croppings: tuple[Cropping, ...] = ()
    keepouts: tuple[KeepOut, ...] = ()
    soil_tests: tuple[SoilTest, ...] = ()
    organic_inputs: tuple[OrganicInput, ...] = ()
    products: tuple[Product, ...] = ()
    offers: tuple[Offer, ...] = ()
    plans: tuple[Plan, ...] = ()
    applications: tuple[Application, ...] = ()
    calibrations: tuple[Calibration, ...] = ()
    parts: tuple[PlotPart, ...] = ()
    ways: tuple[Way, ...] = ()
    purchases: tuple[StockEntry, ...] = ()
    decisions: tuple[Decision, ...] = ()
    checklist: Mapping[tuple[str, str], str] = field(default_factory=dict)
    former_names: Mapping[str, str] = field(default_factory=dict)
    retired: tuple[Retired, ...] = ()
    problems: tuple[Problem, ...] = ()
    property_uid: str = ""
    editions: Mapping[str, Mapping[str, bytes]] = field(default_factory=dict)
    former_boundaries: tuple[FormerBoundary, ...] = field(default=(), compare=False)
    boundary_since: Mapping[str, dt.date] = field(default_factory=dict, compare=False)
    applications_of_retired: tuple[Application, ...] = field(default=(), compare=False)

    @property
    def plan(self) -> Plan | None:
        """The newest plan of the season, or None."""
        return next((plan for plan in reversed(self.plans) if plan.season == self.info.season), None)


class SeasonView(Protocol):
    """One season of one property: what the map and the paper are drawn from."""

    @property
    def record(self) -> PropertyRecord:
        """What the file holds."""

    @property
    def made_on(self) -> dt.date:
        """Date shown on the map and paper."""

    @property
    def areas(self) -> Mapping[str, PlotArea]:
        """By plot_id."""

    @property
    def croppings(self) -> Mapping[str, Cropping]:
        """What grows this season, by plot_id."""

    @property
    def needs(self) -> Mapping[str, PlotNeeds]:
        """By plot_id."""

    @property
    def plan(self) -> Plan | None:
        """The newest plan of the season, or None."""

    @property
    def statuses(self) -> tuple[LineStatus, ...]:
        """What became of each line of the plan."""

    @property
    def balances(self) -> tuple[Balance, ...]:
        """Need against what was put on."""

    @property
    def rounds(self) -> tuple[Round, ...]:
        """The plan's lines as outings, in the order they would be done."""

    @property
    def sampling(self) -> Mapping[str, SamplingPlan]:
        """By plot_id."""

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What to look out for."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What a person should look at."""

    @property
    def choices(self) -> tuple[ChoiceRow, ...]:
        """What is to decide, and what is decided."""

    @property
    def aged(self) -> tuple[Aged, ...]:
        """What the plan stood on that is not as it was; empty = the plan is not old."""

    @property
    def stamp(self) -> str:
        """The date to print, and on every page of an old plan that it is old."""
        return stamp_of(self)


@dataclass(frozen=True, slots=True)
class Story:
    """Everything behind the numbers of one plot, in the order it happened.

    Parameters
    ----------
    plot, cropping, area
        The plot, what grows there, its size.
    needs, lime
        Needs asked for; lime is None when it was not.
    lines, purchases
        Plan lines of the plot, and the purchases they are filled from.
    cautions
        Cautions that apply.
    made_before
        What has changed since the plan was made, which the lines and purchases do not know; empty = nothing.
    """

    plot: Plot
    cropping: Cropping | None
    area: PlotArea
    needs: tuple[Need, ...]
    lime: LimeNeed | None
    lines: tuple[PlanLine, ...]
    purchases: tuple[Purchase, ...]
    cautions: tuple[Caution, ...]
    made_before: tuple[Aged, ...] = ()


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of entries offered to the record, and the season after it.

    Parameters
    ----------
    new, already_there
        Entries written now, and those the record held word for word.
    conflicts
        Entries not written, and why.
    view
        The season after it.
    problems
        Everything found on the way, conflicts included.
    receipt
        Of a file all of which is on record: what its sender types to know that it arrived; else empty.
    """

    new: tuple[Application, ...]
    already_there: tuple[Application, ...]
    conflicts: tuple[Problem, ...]
    view: SeasonView
    problems: tuple[Problem, ...]
    receipt: str = ""


def receipt_of(entry_ids: Iterable[str]) -> str:
    """Return a short receipt of a set of entries, to be read out and typed.

    Parameters
    ----------
    entry_ids
        Ids of all of them, in any order.

    Returns
    -------
    str
        Six letters of Crockford's base 32: the low 30 bits of FNV-1a (32 bit; Fowler, Noll and Vo) of the
        sorted ids.

    Examples
    --------
    >>> receipt_of(["b", "a"]) == receipt_of(["a", "b"])
    True
    """
    mark = 0x811C9DC5
    for byte in "\n".join(sorted(entry_ids)).encode("utf-8"):
        mark = (mark ^ byte) * 0x01000193 % 2**32
    return "".join("0123456789ABCDEFGHJKMNPQRSTVWXYZ"[mark >> shift & 31] for shift in (25, 20, 15, 10, 5, 0))


class Done(StrEnum):
    """What an application entry reports."""

    DONE = "done"
    PART = "part"
    NOT_DONE = "not done"


class WorkState(StrEnum):
    """Status of one planned line, computed from the record."""

    NOTHING = "nothing yet"
    PART = "part"
    DONE = "done"
    OVER = "over"


# ---------------------------------------------------------------------------------------------
# Record


@dataclass(frozen=True, slots=True)
class Application:
    """One entry of the append-only record.

    Parameters
    ----------
    entry_id
        Globally unique id made where the entry was made (phone or program): importing the same
        entry twice changes nothing.
    plot_id, product, timing, line_id
        Where, what, when in the season; the planned line it answers, or empty.
    done
        Done, part, not done.
    applied_on, time_of_day
        Date; local time as written, or empty.
    mass_kg
        Product really applied [kg]; 0.0 when not done.
    area_m2
        Area covered [m2]; None = not stated.
    cost
        Money paid if different from the plan; None = not stated.
    operator, equipment, method, ground, weather, forecast, note
        As written.
    reason
        Why actual differs from planned.
    replaces
        entry_id this one corrects, or empty. The old entry stays.
    recorded_at
        ISO 8601 time of entry.
    part
        Part of the plot it went on; empty = the whole plot, unless `area_m2` says less.
    withdrawn
        True: what the entry it replaces says never happened.
    plan_id, job_id
        Plan and job of it that the entry answers, as the phone said or as found later; None = none.
    report_id
        Shared by the products of one load that were reported together (`entry_id` of the first); None = none.

    Notes
    -----
    What is named last is added when an entry is kept, where it does not say so. `repr` leaves it out: the ids
    of corrections are made of it, and are the same whatever plan stood when a file was read.
    """

    entry_id: str
    plot_id: str
    product: str
    done: Done
    applied_on: dt.date
    mass_kg: float
    timing: Timing | None = None
    line_id: str = ""
    time_of_day: str = ""
    area_m2: float | None = None
    cost: Decimal | None = None
    operator: str = ""
    equipment: str = ""
    method: str = ""
    ground: str = ""
    weather: str = ""
    forecast: str = ""
    note: str = ""
    reason: str = ""
    replaces: str = ""
    recorded_at: str = ""
    part: str = ""
    withdrawn: bool = False
    plan_id: str | None = field(default=None, repr=False)
    job_id: str | None = field(default=None, repr=False)
    report_id: str | None = field(default=None, repr=False)

    def as_kept(self, kept: Application) -> Application:
        """Return this entry with what was added when it was kept, to compare one that comes again with it.

        Parameters
        ----------
        kept
            The entry on file.

        Returns
        -------
        Application
        """
        answered = self.replaces or kept.replaces  # it may have been said to stand instead of another
        return replace(
            self,
            plan_id=kept.plan_id,
            job_id=kept.job_id,
            report_id=kept.report_id,
            line_id=self.line_id or kept.line_id,
            replaces=answered,
        )


@dataclass(frozen=True, slots=True)
class Calibration:
    """One catch or tarp test of a spreader.

    Parameters
    ----------
    calibration_id, spreader, product, setting, operator
        As written.
    tested_on
        Date.
    swath_m, speed_m_s
        Swath width [m], ground speed [m/s].
    caught_kg, catch_area_m2
        What fell on a known area [kg], [m2].
    rate_kg_ha
        The rate that follows [kg/ha].
    note
        As written.
    """

    calibration_id: str
    spreader: str
    product: str
    setting: str
    operator: str
    tested_on: dt.date
    swath_m: float | None
    speed_m_s: float | None
    caught_kg: float
    catch_area_m2: float
    rate_kg_ha: float
    note: str = ""


def stamp_of(view: SeasonView) -> str:
    """Return the date to print, and on every page of an old plan that it is old.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    str
    """
    made = view.made_on.isoformat()
    if not view.aged or view.plan is None:
        return made
    count = f"{len(view.aged)} changes" if len(view.aged) > 1 else f"this changed: {view.aged[0]}"
    return f"{made} · OLD PLAN of {view.plan.made_at[:10]}, made before {count}"
