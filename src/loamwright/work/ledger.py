"""What has been applied, what is left, and where it differs from the plan.

The record is append-only: a correction is a new entry that points to the one it replaces. This file
answers "which entries count?" and computes status and balance from them. It stores nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from loamwright.errors import Level, Problem
from loamwright.land import PlotArea
from loamwright.needs import NITROGEN, WHOLE_FRACTION, Clock, PlotNeeds, left_of_earlier, season_of
from loamwright.planning import Plan, PlanLine
from loamwright.supplies import Acidity, Form, Product, add_up, dose_limit, nitrogen_acidity
from loamwright.units import HA_M2
from loamwright.values import Settings, Supply, Timing
from loamwright.work.ground import covered_share, ground_m2, lines_by_job
from loamwright.work.matching import Matching
from loamwright.work.records import Application, Balance, Done, LineStatus, PropertyRecord, WorkState

#: A line counts as done from this share of the planned mass: catch tests call a spreader calibrated
#: when it is within 5 % (UMass Extension, Rotary Spreader Calibration Procedures).
DONE_FRACTION = 0.95
#: ... and as over from this share.
OVER_FRACTION = 1.05


def entries_that_count(applications: Sequence[Application]) -> tuple[Application, ...]:
    """Drop the entries that a later entry corrects.

    Parameters
    ----------
    applications
        All entries, in the order they were recorded.

    Returns
    -------
    tuple of Application
        The entries that stand, in the same order. A chain of corrections leaves only its last.
    """
    replaced = {entry.replaces for entry in applications if entry.replaces}
    return tuple(entry for entry in applications if entry.entry_id not in replaced)


def with_jobs(entries: Sequence[Application], record: PropertyRecord) -> tuple[Application, ...]:
    """Name the plan and the job each new entry answers, and tie together the products reported as one load.

    An entry that says plan and job keeps them, whatever plan stands now; its line follows. One that names no
    line of the plan answers a job when it can be of one line only (`Matching`).

    Parameters
    ----------
    entries
        New entries, one a product.
    record
        The property they come to: its newest plan, and its entries. A correction of the same line takes over
        what the entry it corrects names.

    Returns
    -------
    tuple of Application
        In the same order. Entries of no job are as they were.
    """
    plan, start = record.plan, record.info.settings.season_start
    jobs = {line_id: job.job_id for job in plan.jobs for line_id in job.line_ids} if plan else {}
    fits = _matching(plan, record.applications, record.plans) if plan else None
    on_file = {entry.entry_id: entry for entry in record.applications}
    line_of_job = lines_by_job(record.plans)
    first: dict[tuple[str, ...], str] = {}

    def job_of(entry: Application) -> tuple[str, str] | None:
        if entry.plan_id and entry.job_id:
            return entry.plan_id, entry.job_id
        if plan is None or fits is None:
            return None
        line_id = entry.line_id
        if not line_id and season_of(entry.applied_on, start) == plan.season:
            answered = fits.lines(entry)
            line_id = answered[0].line_id if len(answered) == 1 else ""
        return (plan.plan_id, jobs[line_id]) if line_id in jobs else None

    named = []
    for said in entries:
        line = line_of_job.get((said.plan_id, said.job_id, said.product))
        entry = replace(said, line_id=said.line_id or ("" if line is None else line.line_id))
        before, job = on_file.get(entry.replaces), job_of(entry)
        if before is not None and before.job_id and before.line_id == entry.line_id:
            named.append(entry.as_kept(before))
        elif job is not None:
            report = (*job, str(entry.applied_on), entry.time_of_day, entry.operator, entry.part)
            report_id = first.setdefault(report, entry.entry_id)
            named.append(replace(entry, plan_id=job[0], job_id=job[1], report_id=report_id))
        else:
            named.append(entry)
    return tuple(named)


def season_entries(
    applications: Sequence[Application], season: int, start: str = "01-01"
) -> tuple[Application, ...]:
    """Return the standing entries whose date falls in a season.

    Parameters
    ----------
    applications
        All entries.
    season
        Calendar year.
    start
        Month and day a season begins, as in `Settings.season_start`.

    Returns
    -------
    tuple of Application
    """
    return tuple(e for e in entries_that_count(applications) if season_of(e.applied_on, start) == season)


def applied_supplies(
    entries: Iterable[Application], contents: Mapping[str, Mapping[Supply, float]]
) -> tuple[Mapping[str, Mapping[Supply, float]], tuple[Problem, ...]]:
    """Add up what the entries delivered, per plot and supply.

    Parameters
    ----------
    entries
        Standing entries.
    contents
        Product name to supply key (``"N"``, ``"lime ENP"`` …) to mass fraction [kg per kg product].

    Returns
    -------
    applied : mapping of plot_id to mapping of supply key to float
        Delivered [kg].
    problems
        Entries whose product is not in the property file: their nutrients cannot be counted.
    """
    applied: dict[str, dict[Supply, float]] = defaultdict(lambda: defaultdict(float))
    problems = []
    for entry in entries:
        if entry.product not in contents:
            problems.append(_no_label(entry))
            continue
        for supply, fraction in contents[entry.product].items():
            applied[entry.plot_id][supply] += entry.mass_kg * fraction
    return {plot_id: dict(supplies) for plot_id, supplies in applied.items()}, tuple(problems)


@dataclass(frozen=True, slots=True)
class OnTheGround:
    """What went on the plots and counts against their needs.

    Parameters
    ----------
    whole_kg
        Plot to supply key to what counts for the plot as a whole [kg].
    parts
        Plot to supply key to (area [m2], amount [kg]) of what went on part of it.
    problems
        Entries that cannot be counted, or not as they say.
    """

    whole_kg: Mapping[str, Mapping[Supply, float]]
    parts: Mapping[str, Mapping[Supply, tuple[tuple[float, float], ...]]]
    problems: tuple[Problem, ...] = ()

    def total_kg(self) -> Mapping[str, Mapping[Supply, float]]:
        """Return whole plots and parts together: plot to supply key to [kg]."""
        total = {plot_id: dict(supplies) for plot_id, supplies in self.whole_kg.items()}
        for plot_id, supplies in self.parts.items():
            mine = total.setdefault(plot_id, {})
            for supply, pieces in supplies.items():
                mine[supply] = mine.get(supply, 0.0) + sum(kg for _, kg in pieces)
        return total


def on_the_ground(
    applications: Sequence[Application],
    contents: Mapping[str, Mapping[Supply, float]],
    areas: Mapping[str, PlotArea],
    clocks: Mapping[str, Clock],
    season: int,
    start: str,
    earlier_needs: Mapping[int, tuple[str, Mapping[tuple[str, Supply], float | None]]],
) -> OnTheGround:
    """Add up what counts against each plot's needs, by the one rule of `Clock`.

    Parameters
    ----------
    applications
        All entries.
    contents
        Product name to supply key to mass fraction [kg per kg product].
    areas, clocks
        By plot_id: size, and the dates that decide.
    season, start
        Season asked about, and the month and day a season begins.
    earlier_needs
        Earlier season to when its plan was made, and what its crops needed by (plot_id, supply) [kg]; None =
        not known.

    Returns
    -------
    OnTheGround

    Notes
    -----
    Of a supply other than N and lime, what an earlier season's crop needed of what went on since the sample
    is taken first (`left_of_earlier`). An entry on less than `WHOLE_FRACTION` of a plot is one on a part;
    entries with the same name of a part lie on the same ground.
    """
    whole: dict[str, dict[Supply, float]] = defaultdict(lambda: defaultdict(float))
    parts: dict[str, dict[Supply, dict[str, tuple[float, float]]]] = defaultdict(lambda: defaultdict(dict))
    given: dict[tuple[str, Supply], dict[int, float]] = defaultdict(lambda: defaultdict(float))
    problems = []
    for entry in entries_that_count(applications):
        if entry.plot_id not in clocks or entry.mass_kg <= 0:
            continue
        supplies = contents.get(entry.product)
        in_season = season_of(entry.applied_on, start)
        if supplies is None:
            if in_season == season:
                problems.append(_no_label(entry))
            continue
        plot_m2 = areas[entry.plot_id].spread_area_m2
        partly = entry.area_m2 is not None and 0 < entry.area_m2 < plot_m2 * WHOLE_FRACTION
        clock = clocks[entry.plot_id]
        if in_season == season:
            problems.extend(_same_day(entry, [s for s, share in supplies.items() if share > 0], clock))
        for supply, fraction in supplies.items():
            if fraction <= 0 or not clock.counts(supply, entry.applied_on):
                continue
            mass_kg = entry.mass_kg * fraction
            lasting = supply == NITROGEN or supply.startswith("lime")
            if in_season != season and not lasting:
                given[entry.plot_id, supply][in_season] += mass_kg
            elif partly and in_season == season:
                assert entry.area_m2 is not None
                name = entry.part.strip().casefold() or entry.entry_id
                area, kg = parts[entry.plot_id][supply].get(name, (0.0, 0.0))
                parts[entry.plot_id][supply][name] = (max(area, entry.area_m2), kg + mass_kg)
            else:
                whole[entry.plot_id][supply] += mass_kg
    for (plot_id, supply), by_season in given.items():
        sampled = clocks[plot_id].sampled_on.get(supply)
        needed = {
            past: needs.get((plot_id, supply))
            for past, (made_at, needs) in earlier_needs.items()
            if sampled is None or made_at[:10] > sampled.isoformat()
        }
        sampled_in = min(by_season) if sampled is None else season_of(sampled, start)
        whole[plot_id][supply] += left_of_earlier(by_season, needed, sampled_in, season)
    pieces: dict[str, dict[Supply, tuple[tuple[float, float], ...]]] = defaultdict(dict)
    for plot_id, supplies_on in parts.items():
        for supply, named in supplies_on.items():
            if sum(area for area, _ in named.values()) > areas[plot_id].spread_area_m2 * 1.001:
                whole[plot_id][supply] += sum(kg for _, kg in named.values())
                problems.append(_too_much_ground(plot_id, supply))
            else:
                pieces[plot_id][supply] = tuple(named.values())
    return OnTheGround(
        {plot_id: dict(supplies) for plot_id, supplies in whole.items()}, dict(pieces), tuple(problems)
    )


def _same_day(entry: Application, supplies: Sequence[Supply], clock: Clock) -> tuple[Problem, ...]:
    """Say that what went on the day of the soil sample is taken as before it."""
    seen = dict.fromkeys(
        "lime" if supply.is_lime else supply.value
        for supply in supplies
        if clock.same_day(supply, entry.applied_on)
    )
    if not seen:
        return ()
    what = (
        f"its {', '.join(seen)} went on plot {entry.plot_id} on the day of the soil sample, "
        f"{entry.applied_on}: taken as before it, so not taken off the need"
    )
    fix = "If the cores were taken first, say so with a date a day later."
    return (Problem(f"record entry {entry.entry_id}", what, fix, Level.NOTE),)


def _no_label(entry: Application) -> Problem:
    return Problem(
        f"record entry {entry.entry_id}, product",
        f"{entry.product!r} applied on {entry.applied_on} is not among the products, so what it "
        f"delivered to plot {entry.plot_id} is not counted",
        "Import a products file that holds its label.",
        Level.WARNING,
    )


def _too_much_ground(plot_id: str, supply: str) -> Problem:
    return Problem(
        f"plot {plot_id}, {supply}",
        "the parts that entries say they went on are larger than the plot: counted as if on all of it",
        "Give entries on the same part the same name of a part.",
        Level.WARNING,
    )


def _state(planned_kg: float, applied_kg: float) -> WorkState:
    if applied_kg <= 0:
        return WorkState.NOTHING
    if applied_kg > planned_kg * OVER_FRACTION:
        return WorkState.OVER
    return WorkState.DONE if applied_kg >= planned_kg * DONE_FRACTION else WorkState.PART


def _with_ground(state: WorkState, share: float) -> WorkState:
    """A job whose amount is on, but not on all its ground, is a part of it."""
    whole = state in (WorkState.DONE, WorkState.OVER)
    return WorkState.PART if whole and share < DONE_FRACTION else state


def taken_off(plan: Plan | None, applications: Sequence[Application]) -> frozenset[str]:
    """Name the entries a plan has taken off the needs already, and every correction of them.

    Parameters
    ----------
    plan
        The newest plan, or None.
    applications
        All entries, in the order they were recorded.

    Returns
    -------
    frozenset of str
        Ids of entries. A correction of a correction is among them however long the chain is.
    """
    found = set(plan.counted_entries) if plan else set()
    for entry in applications:  # a correction stands after the entry it corrects
        if entry.replaces in found:
            found.add(entry.entry_id)
    return frozenset(found)


def _matching(plan: Plan, applications: Sequence[Application], plans: Sequence[Plan]) -> Matching:
    off = taken_off(plan, applications)
    return Matching(plan, plans, [entry for entry in applications if entry.entry_id in off])


def lines_answered(
    plan: Plan | None,
    applications: Sequence[Application],
    season: int,
    start: str = "01-01",
    plans: Sequence[Plan] = (),
) -> Mapping[str, PlanLine]:
    """Find the plan line each standing entry of the season reports on.

    Which lines it may be: `Matching`. Of those it goes to the first that is not done yet, so the doses of a
    split fill up one after the other. Entries the plan has `taken_off` are not set against its lines again.

    Parameters
    ----------
    plan
        The newest plan, or None.
    applications
        All entries, in the order they were recorded.
    season, start
        Calendar year, and the month and day a season begins.
    plans
        All plans, with the jobs that entries name.

    Returns
    -------
    mapping of entry_id to PlanLine
        In the order of the record. Entries that answer no line are absent.
    """
    if plan is None:
        return {}
    fits, off = _matching(plan, applications, plans), taken_off(plan, applications)
    applied_kg: dict[str, float] = defaultdict(float)
    found: dict[str, PlanLine] = {}

    def is_open(line: PlanLine) -> bool:
        return _state(line.mass_kg, applied_kg[line.line_id]) in (WorkState.NOTHING, WorkState.PART)

    for entry in season_entries(applications, season, start):
        answered = fits.lines(entry) if entry.entry_id not in off else ()
        if answered:
            line = next(filter(is_open, answered), answered[0])
            applied_kg[line.line_id] += entry.mass_kg
            found[entry.entry_id] = line
    return found


def line_statuses(
    plan: Plan | None,
    applications: Sequence[Application],
    season: int,
    start: str = "01-01",
    areas: Mapping[str, PlotArea] = MappingProxyType({}),
    plans: Sequence[Plan] = (),
) -> tuple[LineStatus, ...]:
    """Compare each plan line with the entries that answer it.

    Which line that is: `lines_answered`. Entries that answer none, because the plan has taken them off
    already or because nothing of the kind was planned, are listed with an empty line id.

    Parameters
    ----------
    plan
        The newest plan, or None.
    applications
        All entries, in the order they were recorded.
    season, start
        Calendar year, and the month and day a season begins.
    areas
        By plot_id: a line is done only when its ground is, too. A plot that is not named counts as covered.
    plans
        All plans, with the jobs that entries name.

    Returns
    -------
    tuple of LineStatus
        Plan lines first, in plan order, then what was applied outside it.
    """
    lines = plan.lines if plan else ()
    found = lines_answered(plan, applications, season, start, plans)
    matching: dict[str, list[Application]] = {line.line_id: [] for line in lines}
    outside: dict[tuple[str, str, Timing | None, bool], list[Application]] = defaultdict(list)
    off = taken_off(plan, applications)
    for entry in season_entries(applications, season, start):
        if entry.entry_id in found:
            matching[found[entry.entry_id].line_id].append(entry)
        elif entry.done is not Done.NOT_DONE:
            outside[entry.plot_id, entry.product, entry.timing, entry.entry_id in off].append(entry)
    statuses = []
    for line in lines:
        applied_kg = sum(e.mass_kg for e in matching[line.line_id])
        statuses.append(
            LineStatus(
                line.plot_id,
                line.product,
                line.timing,
                line.line_id,
                line.mass_kg,
                applied_kg,
                _with_ground(
                    _state(line.mass_kg, applied_kg),
                    covered_share(
                        matching[line.line_id], ground_m2(line, areas) if line.plot_id in areas else None
                    ),
                ),
                tuple(e.reason for e in matching[line.line_id] if e.reason),
            )
        )
    statuses.extend(
        LineStatus(
            plot_id,
            product,
            timing,
            "",
            0.0,
            sum(e.mass_kg for e in group),
            WorkState.DONE,
            tuple(e.reason for e in group if e.reason),
            counted,
        )
        for (plot_id, product, timing, counted), group in outside.items()
    )
    return tuple(statuses)


def balances(
    needs_before: Mapping[str, PlotNeeds], applied: Mapping[str, Mapping[Supply, float]]
) -> tuple[Balance, ...]:
    """Set each plot's need before anything was applied against what was delivered.

    Parameters
    ----------
    needs_before
        By plot_id, worked out without this season's applications.
    applied
        Plot to supply key to delivered mass [kg].

    Returns
    -------
    tuple of Balance
        One per plot and nutrient looked at, and one for lime where a basis is known.
    """
    rows = []
    for plot_id, plot in needs_before.items():
        delivered = dict(applied.get(plot_id, {}))
        for need in plot.needs:
            rows.append(
                Balance(plot_id, need.nutrient.supply, need.mass_kg, delivered.get(need.nutrient.supply, 0.0))
            )
        if plot.lime.basis is not None:
            key = plot.lime.basis.supply
            rows.append(Balance(plot_id, key, plot.lime.mass_kg, delivered.get(key, 0.0)))
    return tuple(rows)


def acidity_left(entries: Iterable[Application], labels: Iterable[Product]) -> Mapping[str, Acidity]:
    """Add up the lime that the nitrogen of these entries will use up, plot by plot.

    Parameters
    ----------
    entries
        Standing entries, of one season or of several.
    labels
        The property's products.

    Returns
    -------
    mapping of plot_id to Acidity
        Plots in the order of their first entry. The published figures and the stoichiometric ceiling are
        two conventions and are summed apart; what a sum lacks is named in `Acidity.left_out`.
    """
    known = {label.product: label for label in labels}
    parts: dict[str, list[Acidity]] = defaultdict(list)
    for entry in entries:
        if entry.mass_kg > 0:
            label = known.get(entry.product)
            parts[entry.plot_id].append(
                Acidity(None, None, (f"{entry.product}: not among the products",))
                if label is None
                else nitrogen_acidity(label, entry.mass_kg)
            )
    return {plot_id: add_up(found) for plot_id, found in parts.items()}


def unknown_corrections(applications: Sequence[Application]) -> tuple[Problem, ...]:
    """List corrections that leave open which entry counts.

    Parameters
    ----------
    applications
        All entries.

    Returns
    -------
    tuple of Problem
        Corrections of an entry the record does not hold, and of one that is corrected already: then
        both corrections count.
    """
    known = {entry.entry_id for entry in applications}
    first: dict[str, str] = {}
    problems = []
    for entry in applications:
        if not entry.replaces:
            continue
        where = f"record entry {entry.entry_id}, replaces"
        if entry.replaces not in known:
            what = f"it corrects entry {entry.replaces!r}, which is not in the record"
            fix = "Import the older records file as well; until then both may be counted."
            problems.append(Problem(where, what, fix, Level.WARNING))
        elif entry.replaces in first:
            what = f"it corrects entry {entry.replaces!r}, as entry {first[entry.replaces]!r} does already"
            fix = "Both corrections are counted: correct one of them to 0 lb."
            problems.append(Problem(where, what, fix, Level.WARNING))
        first.setdefault(entry.replaces, entry.entry_id)
    return tuple(problems)


def lime_spread(
    applications: Sequence[Application],
    products: Sequence[Product],
    areas: Mapping[str, PlotArea],
    settings: Settings,
    season: int,
) -> Mapping[str, float]:
    """Add up the lime that a dose planned now would come on top of, by the user's dose rule.

    Parameters
    ----------
    applications
        The record.
    products
        Products of the property.
    areas
        By plot_id.
    settings
        Name the published rule for one dose, or none.
    season
        Season planned for [calendar year].

    Returns
    -------
    mapping of plot_id to float
        Lime product spread in this season and as many before as the rule sets between doses [kg/ha].
    """
    if not settings.lime_dose_limit:
        return {}
    since = season - dose_limit(settings.lime_dose_limit).seasons_apart
    limes = {product.product for product in products if product.form is Form.LIME}
    spread: dict[str, float] = {}
    for entry in entries_that_count(applications):
        area_m2 = areas[entry.plot_id].spread_area_m2 if entry.plot_id in areas else 0.0
        if area_m2 > 0 and entry.product in limes and since < entry.applied_on.year <= season:
            rate = entry.mass_kg / area_m2 * HA_M2
            spread[entry.plot_id] = spread.get(entry.plot_id, 0.0) + rate
    return spread
