"""What has been applied, what is left, and where it differs from the plan.

The record is append-only: a correction is a new entry that points to the one it replaces. This file
answers "which entries count?" and computes status and balance from them. It stores nothing.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from loamwright.errors import Level, Problem
from loamwright.land import PlotArea
from loamwright.needs import PlotNeeds
from loamwright.planning import Plan, PlanLine
from loamwright.supplies import Acidity, Form, Product, add_up, dose_limit, nitrogen_acidity
from loamwright.units import HA_M2
from loamwright.values import Settings, Timing
from loamwright.work.records import Application, Balance, Done, LineStatus, WorkState

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


def season_entries(applications: Sequence[Application], season: int) -> tuple[Application, ...]:
    """Return the standing entries whose date falls in a season (a calendar year).

    Parameters
    ----------
    applications
        All entries.
    season
        Calendar year.

    Returns
    -------
    tuple of Application
    """
    return tuple(e for e in entries_that_count(applications) if e.applied_on.year == season)


def applied_supplies(
    entries: Iterable[Application], contents: Mapping[str, Mapping[str, float]]
) -> tuple[Mapping[str, Mapping[str, float]], tuple[Problem, ...]]:
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
    applied: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    problems = []
    for entry in entries:
        if entry.product not in contents:
            problems.append(
                Problem(
                    f"record entry {entry.entry_id}, product",
                    f"{entry.product!r} applied on {entry.applied_on} is not among the products, so what it "
                    f"delivered to plot {entry.plot_id} is not counted",
                    "Import a products file that holds its label.",
                    Level.WARNING,
                )
            )
            continue
        for supply, fraction in contents[entry.product].items():
            applied[entry.plot_id][supply] += entry.mass_kg * fraction
    return {plot_id: dict(supplies) for plot_id, supplies in applied.items()}, tuple(problems)


def lime_entries(
    applications: Sequence[Application], sampled_on: Mapping[str, dt.date], season: int
) -> tuple[Application, ...]:
    """Return the standing entries whose lime a soil test has not seen yet.

    Parameters
    ----------
    applications
        All entries.
    sampled_on
        plot_id to the date of its newest sample with a pH.
    season
        For plots without one: entries of this calendar year count.

    Returns
    -------
    tuple of Application
        Entries on or after the sample; the lab's pH already shows the lime of those before it.
    """
    return tuple(
        entry
        for entry in entries_that_count(applications)
        if (
            entry.applied_on >= sampled_on[entry.plot_id]
            if entry.plot_id in sampled_on
            else entry.applied_on.year == season
        )
    )


def merge_lime(
    season: Mapping[str, Mapping[str, float]], since_sample: Mapping[str, Mapping[str, float]]
) -> Mapping[str, Mapping[str, float]]:
    """Take nutrients from this season's entries and lime from those since the soil sample.

    Parameters
    ----------
    season, since_sample
        Plot to supply key to delivered mass [kg].

    Returns
    -------
    mapping of plot_id to mapping of supply key to float
        Delivered [kg].
    """
    merged: dict[str, dict[str, float]] = defaultdict(dict)
    for source, lime in ((season, False), (since_sample, True)):
        for plot_id, supplies in source.items():
            merged[plot_id].update(
                {key: mass for key, mass in supplies.items() if key.startswith("lime ") is lime}
            )
    return dict(merged)


def _answers(entry: Application, line: PlanLine) -> bool:
    """Tell whether an entry reports on a plan line: by its id, else by plot, product and timing."""
    if entry.plot_id != line.plot_id or entry.product != line.product:
        return False
    if entry.line_id:
        return entry.line_id == line.line_id
    return None in (entry.timing, line.timing) or entry.timing is line.timing


def _state(planned_kg: float, applied_kg: float) -> WorkState:
    if applied_kg <= 0:
        return WorkState.NOTHING
    if applied_kg > planned_kg * OVER_FRACTION:
        return WorkState.OVER
    return WorkState.DONE if applied_kg >= planned_kg * DONE_FRACTION else WorkState.PART


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


def lines_answered(
    plan: Plan | None, applications: Sequence[Application], season: int
) -> Mapping[str, PlanLine]:
    """Find the plan line each standing entry of the season reports on.

    An entry that names no line goes to the first line that is not done yet, one of its own timing before
    others, so the doses of a split fill up one after the other. Entries the plan has `taken_off` are not
    set against its lines again.

    Parameters
    ----------
    plan
        The newest plan, or None.
    applications
        All entries, in the order they were recorded.
    season
        Calendar year.

    Returns
    -------
    mapping of entry_id to PlanLine
        In the order of the record. Entries that answer no line are absent.
    """
    lines = plan.lines if plan else ()
    off = taken_off(plan, applications)
    applied_kg: dict[str, float] = defaultdict(float)
    found: dict[str, PlanLine] = {}

    def is_open(line: PlanLine) -> bool:
        return _state(line.mass_kg, applied_kg[line.line_id]) in (WorkState.NOTHING, WorkState.PART)

    for entry in season_entries(applications, season):
        answered = [line for line in lines if entry.entry_id not in off and _answers(entry, line)]
        if answered:
            answered.sort(key=lambda line: line.timing is not entry.timing)
            line = next(filter(is_open, answered), answered[0])
            applied_kg[line.line_id] += entry.mass_kg
            found[entry.entry_id] = line
    return found


def line_statuses(
    plan: Plan | None, applications: Sequence[Application], season: int
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
    season
        Calendar year.

    Returns
    -------
    tuple of LineStatus
        Plan lines first, in plan order, then what was applied outside it.
    """
    lines = plan.lines if plan else ()
    found = lines_answered(plan, applications, season)
    matching: dict[str, list[Application]] = {line.line_id: [] for line in lines}
    outside: dict[tuple[str, str, Timing | None], list[Application]] = defaultdict(list)
    for entry in season_entries(applications, season):
        if entry.entry_id in found:
            matching[found[entry.entry_id].line_id].append(entry)
        elif entry.done is not Done.NOT_DONE:
            outside[entry.plot_id, entry.product, entry.timing].append(entry)
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
                _state(line.mass_kg, applied_kg),
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
        )
        for (plot_id, product, timing), group in outside.items()
    )
    return tuple(statuses)


def balances(
    needs_before: Mapping[str, PlotNeeds], applied: Mapping[str, Mapping[str, float]]
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
                Balance(plot_id, need.nutrient.value, need.mass_kg, delivered.get(need.nutrient.value, 0.0))
            )
        if plot.lime.basis is not None:
            key = f"lime {plot.lime.basis.value}"
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
