"""One plot over the years: soil tests, needs against what was applied, and where the test may go.

This file answers "is the soil getting richer or poorer, and what is still owed from each season?". It
compares only like with like (same figure, test, unit and depth), never fills a gap, and projects a soil
test only with a pounds-per-ppm figure that the user or a publication gives. It does not decide needs.
"""

from __future__ import annotations

import datetime as dt
import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loamwright.errors import InputError, Problem
from loamwright.needs import sample_dates, season_of
from loamwright.planning import Plan
from loamwright.soil import INCH_M, SoilTest, read_extractant
from loamwright.units import LB_ACRE_KG_HA
from loamwright.values import ARITHMETIC, LAB, USER, Nutrient, Source, Step, Supply
from loamwright.work.ledger import applied_supplies, entries_that_count
from loamwright.work.records import Application, PropertyRecord

_DAYS_PER_YEAR = 365.25
_RECORD = Source("user", table="application record")

# ---------------------------------------------------------------------------------------------
# Soil tests over time


@dataclass(frozen=True, slots=True)
class ReadingSeries:
    """One figure of one plot over the years, each point by the same test, unit and depth.

    Parameters
    ----------
    plot_id
        Which plot.
    figure
        Element symbol with its basis (``"P"``, ``"P2O5"`` …), ``"pH"``, ``"buffer pH"`` or
        ``"organic matter"``.
    test, unit, depth
        Extractant or buffer, unit, and depth as text; empty when it has none or it is not stated.
    points
        (date, value), oldest first; samples of one date count as their mean.
    change_per_year
        Slope of the least-squares line [unit per year of 365.25 days]; None with fewer than two dates.
    """

    plot_id: str
    figure: str
    test: str
    unit: str
    depth: str
    points: tuple[tuple[dt.date, float], ...]
    change_per_year: float | None


def _depth(test: SoilTest, units: str) -> str:
    if test.depth_bottom_m is None:
        return ""
    size_m, unit = (0.01, "cm") if units == "metric" else (INCH_M, "in")
    return f"{(test.depth_top_m or 0.0) / size_m:.4g}-{test.depth_bottom_m / size_m:.4g} {unit}"


def _figures(test: SoilTest) -> Iterable[tuple[tuple[str, str, str], float]]:
    """Yield ((figure, test, unit), value) for everything a report states."""
    if test.ph is not None:
        yield ("pH", "", ""), test.ph
    if test.buffer_ph is not None:
        yield ("buffer pH", test.buffer_method or "", ""), test.buffer_ph
    if test.organic_matter_pct is not None:
        yield ("organic matter", "", "percent"), test.organic_matter_pct
    for element, reading in test.readings.items():
        named = read_extractant(reading.extractant) if reading.extractant else None
        name = reading.basis or element
        if reading.sign:
            name += ", less than" if reading.sign == "<" else ", more than"
        yield (name, named or reading.extractant or "", reading.unit), reading.value


def reading_series(tests: Iterable[SoilTest], units: str = "us") -> tuple[ReadingSeries, ...]:
    """Line up the soil tests of each plot, figure by figure; depths in inches, in a metric property in cm.

    Examples
    --------
    >>> old = SoilTest("T1", "A", dt.date(2021, 10, 1), ph=5.8)
    >>> new = SoilTest("T2", "A", dt.date(2025, 10, 1), ph=6.2)
    >>> round(reading_series([new, old])[0].change_per_year, 3)
    0.1
    """
    found: dict[tuple[str, str, str, str, str], dict[dt.date, list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for test in tests:
        if test.sampled_on is not None:
            for (figure, by, unit), value in _figures(test):
                found[test.plot_id, figure, by, unit, _depth(test, units)][test.sampled_on].append(value)
    series = []
    for (plot_id, figure, by, unit, depth), by_date in sorted(found.items()):
        points = tuple((date, statistics.fmean(values)) for date, values in sorted(by_date.items()))
        series.append(ReadingSeries(plot_id, figure, by, unit, depth, points, _slope(points)))
    return tuple(series)


def _slope(points: Sequence[tuple[dt.date, float]]) -> float | None:
    if len(points) < 2:
        return None
    years = [(date - points[0][0]).days / _DAYS_PER_YEAR for date, _ in points]
    return statistics.linear_regression(years, [value for _, value in points]).slope


# ---------------------------------------------------------------------------------------------
# Need and supply, season by season


@dataclass(frozen=True, slots=True)
class SeasonBalance:
    """Need against supply of one plot, nutrient (or lime) and season.

    Parameters
    ----------
    plot_id, season, supply
        Plot, calendar year, and nutrient or ``"lime ENP"`` … as in `Coverage`.
    need_kg
        Before anything was applied that season [kg]; None = unknown, or no plan was kept.
    applied_kg
        Delivered that season [kg].
    """

    plot_id: str
    season: int
    supply: Supply
    need_kg: float | None
    applied_kg: float

    @property
    def owed_kg(self) -> float | None:
        """Need less applied [kg]: negative when more was put on; None when the need is unknown."""
        return None if self.need_kg is None else self.need_kg - self.applied_kg


def season_balances(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]]
) -> tuple[tuple[SeasonBalance, ...], tuple[Problem, ...]]:
    """Set need against supply for every season that has a plan or an application.

    Notes
    -----
    A season's need is what its newest plan still had to supply, plus what that plan had already taken off
    (`Plan.counted_entries`), as those entries read then: a later correction changes what was applied, not
    what was needed.
    """
    standing = entries_that_count(record.applications)
    start = record.info.settings.season_start
    plans = _plans_by_season(record)
    seasons = sorted({*plans, *(season_of(entry.applied_on, start) for entry in standing)})
    balances: list[SeasonBalance] = []
    problems: list[Problem] = []
    for season in seasons:
        entries = [entry for entry in standing if season_of(entry.applied_on, start) == season]
        applied, found = applied_supplies(entries, contents)
        problems.extend(found)
        needs = _needs(plans.get(season, ()), record.applications, contents)
        delivered = {
            (plot_id, supply): kg for plot_id, by in applied.items() for supply, kg in by.items() if kg > 0
        }
        balances.extend(
            SeasonBalance(
                plot_id, season, supply, needs.get((plot_id, supply)), delivered.get((plot_id, supply), 0.0)
            )
            for plot_id, supply in sorted({*needs, *delivered})
        )
    return tuple(sorted(balances, key=lambda b: (b.plot_id, b.season, b.supply))), tuple(problems)


def season_needs(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]]
) -> Mapping[int, tuple[str, Mapping[tuple[str, Supply], float | None]]]:
    """Return what each season's crops needed before anything went on, and when that was planned.

    Parameters
    ----------
    record
        The property.
    contents
        Product name to supply key to mass fraction [kg per kg product].

    Returns
    -------
    mapping of season to (ISO 8601 time of its plan, mapping of (plot_id, supply) to float or None)
        [kg]; None = unknown. Seasons without a plan are absent.
    """
    return {
        season: (plans[-1].made_at, _needs(plans, record.applications, contents))
        for season, plans in _plans_by_season(record).items()
    }


def _plans_by_season(record: PropertyRecord) -> Mapping[int, Sequence[Plan]]:
    """The plans of each season, oldest first."""
    found: dict[int, list[Plan]] = defaultdict(list)
    for plan in record.plans:
        if plan.season:
            found[plan.season].append(plan)
    return found


def _needs(
    plans: Sequence[Plan], applications: Sequence[Application], contents: Mapping[str, Mapping[Supply, float]]
) -> dict[tuple[str, Supply], float | None]:
    """What a season's crops needed, by its plans, oldest first.

    The newest plan says it. Of what it has no need for any more because that was put on before, the plan
    before it does.
    """
    found: dict[tuple[str, Supply], float | None] = {}
    for plan in plans:
        counted, _ = applied_supplies(
            [e for e in applications if e.entry_id in plan.counted_entries], contents
        )
        done = {key: need for key, need in found.items() if counted.get(key[0], {}).get(key[1], 0.0) > 0}
        found = done | {
            (row.plot_id, row.supply): None
            if row.need_kg is None
            else row.need_kg + counted.get(row.plot_id, {}).get(row.supply, 0.0)
            for row in plan.coverage
        }
    return found


# ---------------------------------------------------------------------------------------------
# One plot


@dataclass(frozen=True, slots=True)
class SinceTest:
    """What went on a plot after the newest sample that speaks of it was taken.

    Parameters
    ----------
    supply
        A nutrient other than nitrogen, which no sample carries over, or ``"lime ENP"`` ….
    sampled_on
        The day of the newest sample.
    applied_kg
        Put on after that day [kg]; what went on before it, or on it, is in the sample.
    planned_kg
        What the season's plan still puts on [kg]; None = not asked for.
    """

    supply: Supply
    sampled_on: dt.date
    applied_kg: float
    planned_kg: float | None = None


def since_test(
    record: PropertyRecord,
    contents: Mapping[str, Mapping[Supply, float]],
    plot_id: str,
    open_kg: Mapping[str, float] | None = None,
) -> tuple[SinceTest, ...]:
    """Add up what went on a plot after its newest samples, supply by supply.

    Parameters
    ----------
    record
        The property.
    contents
        Product name to supply to mass fraction [kg per kg product].
    plot_id
        Which plot.
    open_kg
        Product to what a plan still puts on the plot [kg]; None = what is planned is not asked for.

    Returns
    -------
    tuple of SinceTest
        Supplies of which something went on, or is planned.
    """
    tests = [test for test in record.soil_tests if test.plot_id == plot_id and test.sampled_on is not None]
    days = sample_dates(tests)
    applied: dict[Supply, float] = defaultdict(float)
    planned: dict[Supply, float] = defaultdict(float)

    def sampled(supply: Supply) -> dt.date | None:
        return None if supply == Supply.N else days.get("lime" if supply.is_lime else supply.value)

    for entry in entries_that_count(record.applications):
        for supply, share in contents.get(entry.product, {}).items() if entry.plot_id == plot_id else ():
            day = sampled(supply)
            if day is not None and entry.applied_on > day:
                applied[supply] += share * entry.mass_kg
    for product, mass_kg in (open_kg or {}).items():
        for supply, share in contents.get(product, {}).items():
            planned[supply] += share * mass_kg
    found = []
    for supply in Supply:
        day = sampled(supply)
        if day is not None and (applied.get(supply) or planned.get(supply)):
            still = None if open_kg is None else planned.get(supply, 0.0)
            found.append(SinceTest(supply, day, applied.get(supply, 0.0), still))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class PlotHistory:
    """What the property file holds of one plot's past.

    Parameters
    ----------
    plot_id
        Which plot.
    tests
        Soil tests, figure by figure.
    balances
        Need against supply, season by season.
    since_test
        What went on after the newest samples.
    """

    plot_id: str
    tests: tuple[ReadingSeries, ...]
    balances: tuple[SeasonBalance, ...]
    since_test: tuple[SinceTest, ...] = ()


def plot_histories(
    record: PropertyRecord, contents: Mapping[str, Mapping[Supply, float]]
) -> tuple[Mapping[str, PlotHistory], tuple[Problem, ...]]:
    """Gather the history of every plot.

    Parameters
    ----------
    record
        The property.
    contents
        Product name to supply key to mass fraction [kg per kg product].

    Returns
    -------
    histories : mapping of plot_id to PlotHistory
        In the order of the property's plots.
    problems : tuple of Problem
        What could not be counted.
    """
    series = reading_series(record.soil_tests, record.info.units)
    balances, problems = season_balances(record, contents)
    histories = {
        plot.plot_id: PlotHistory(
            plot.plot_id,
            tuple(row for row in series if row.plot_id == plot.plot_id),
            tuple(row for row in balances if row.plot_id == plot.plot_id),
        )
        for plot in record.plots
    }
    return histories, problems


# ---------------------------------------------------------------------------------------------
# Where the soil test may go


@dataclass(frozen=True, slots=True)
class ChangeFigure:
    """How much nutrient moves a soil test by one ppm.

    Parameters
    ----------
    nutrient
        P2O5 or K2O.
    extractant
        The test the figure was published for; empty = any (the user's own figure).
    lb_per_ppm_low, lb_per_ppm_high
        Ends of the published range [lb nutrient per acre, per ppm]; equal for a single figure.
    source
        Publication or the user.
    """

    nutrient: Nutrient
    extractant: str
    lb_per_ppm_low: float
    lb_per_ppm_high: float
    source: Source


@dataclass(frozen=True, slots=True)
class Projection:
    """Where a soil test may go under a net gain or loss of a nutrient.

    Parameters
    ----------
    nutrient
        P2O5 or K2O.
    from_ppm
        Where it stands [ppm P or K].
    to_low_ppm, to_high_ppm
        Where it may go [ppm]; None = unknown, because `reason`.
    reason
        Why it is unknown; empty otherwise.
    steps
        The arithmetic.
    """

    nutrient: Nutrient
    from_ppm: float
    to_low_ppm: float | None
    to_high_ppm: float | None
    reason: str
    steps: tuple[Step, ...] = ()


def user_figure(nutrient: Nutrient, lb_per_ppm: float) -> ChangeFigure:
    """Make the user's own pounds-per-ppm figure.

    Parameters
    ----------
    nutrient
        P2O5 or K2O.
    lb_per_ppm
        Pounds of it per acre that move the soil test by one ppm [lb/acre per ppm], over zero.

    Returns
    -------
    ChangeFigure

    Raises
    ------
    InputError
        When the figure is not over zero.
    """
    if not lb_per_ppm > 0:
        what = f"{lb_per_ppm:g} lb/acre per ppm is not over zero"
        raise InputError([Problem(f"pounds of {nutrient} per ppm", what, "Give for example 20.")])
    return ChangeFigure(nutrient, "", lb_per_ppm, lb_per_ppm, USER)


def project(
    nutrient: Nutrient,
    from_ppm: float,
    extractant: str,
    added_kg_ha: float,
    removed_kg_ha: float | None,
    figure: ChangeFigure | None,
    after: str = "",
) -> Projection:
    """Project a soil test from what is added and what the crop takes out.

    Parameters
    ----------
    nutrient
        P2O5 or K2O.
    from_ppm
        The soil test [ppm P or K].
    extractant
        Test it was read by, as the lab names it.
    added_kg_ha, removed_kg_ha
        Added to and taken from the plot over the whole period [kg nutrient/ha]; removal None = not
        stated.
    figure
        Pounds per ppm from a publication or the user; None = there is none.
    after
        Since when what was added counts, in words; empty = not said.

    Returns
    -------
    Projection
        Unknown when the removal or the figure is missing, or the figure was published for another
        test.

    Notes
    -----
    ``change = (added - removed) / (lb per ppm)``, never below 0 ppm. A rule of thumb for the plough
    layer: soils differ widely.

    References
    ----------
    Tri-State Fertilizer Recommendations, E-2567 (1995): 20 lb P2O5, or 6 to 10 lb K2O by CEC, per ppm.

    Examples
    --------
    Corn that takes out 55 lb P2O5 with nothing added, at 20 lb per ppm: 55 / 20 = 2.75 ppm lower.

    >>> figure = user_figure(Nutrient.P2O5, 20)
    >>> round(project(Nutrient.P2O5, 30, "Bray P1", 0, 55 * LB_ACRE_KG_HA, figure).to_low_ppm, 2)
    27.25
    """

    def unknown(reason: str) -> Projection:
        return Projection(nutrient, from_ppm, None, None, reason)

    if figure is None:
        return unknown(f"no figure for pounds of {nutrient} per ppm is given")
    if removed_kg_ha is None:
        return unknown(f"how much {nutrient} the crop takes out is not stated")
    if figure.extractant and read_extractant(extractant) != read_extractant(figure.extractant):
        return unknown(
            f"the figure was published for {figure.extractant}, the test is {extractant or 'not named'}"
        )
    added_lb, removed_lb = added_kg_ha / LB_ACRE_KG_HA, removed_kg_ha / LB_ACRE_KG_HA
    net_lb = added_lb - removed_lb
    changes = sorted((net_lb / figure.lb_per_ppm_low, net_lb / figure.lb_per_ppm_high))
    low, high = (max(0.0, from_ppm + change) for change in changes)
    span = f"{figure.lb_per_ppm_low:g}"
    if figure.lb_per_ppm_high != figure.lb_per_ppm_low:
        span = f"{span} to {figure.lb_per_ppm_high:g}"
    unit = f"lb {nutrient}/acre"
    then: float | str = low if low == high else f"{low:.1f} to {high:.1f}"
    steps = (
        Step("soil test now", from_ppm, "ppm", LAB),
        Step(f"added {after}".strip(), added_lb, unit, _RECORD),
        Step(f"added less {removed_lb:.6g} taken out", net_lb, unit, ARITHMETIC),
        Step("moves the test by one ppm", span, unit, figure.source),
        Step("soil test then", then, "ppm", ARITHMETIC),
    )
    return Projection(nutrient, from_ppm, low, high, "", steps)
