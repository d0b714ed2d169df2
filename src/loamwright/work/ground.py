"""Which ground of a plot a job goes on, and an entry went on.

A job may be planned on the rest of a plot, where a part has got its share. An entry that reports on such a
job as a whole went on that rest, whatever it says of its area or leaves unsaid.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial

from loamwright.land import PlotArea, measure_boundary, shares_within
from loamwright.needs import WHOLE_FRACTION
from loamwright.planning import Plan, PlanLine
from loamwright.units import HA_M2
from loamwright.work.records import Application, Done, FormerBoundary, PropertyRecord, Stop


def ground_m2(one: PlanLine | Stop, areas: Mapping[str, PlotArea]) -> float:
    """Give the ground a line or stop goes on: all of its plot, or the rest of it.

    Parameters
    ----------
    one
        The line or stop; a rate of zero says nothing of its ground.
    areas
        By plot_id.

    Returns
    -------
    float
        [m2].
    """
    whole_m2 = areas[one.plot_id].spread_area_m2
    if one.rate_kg_ha <= 0:
        return whole_m2
    covered_m2 = one.mass_kg / one.rate_kg_ha * HA_M2
    return covered_m2 if covered_m2 < 0.999 * whole_m2 else whole_m2


def lines_by_job(plans: Sequence[Plan]) -> Mapping[tuple[str | None, str | None, str], PlanLine]:
    """Give the planned line that an entry answers, by what the entry names.

    Parameters
    ----------
    plans
        Of any season.

    Returns
    -------
    mapping of (plan_id, job_id, product) to PlanLine
        Lines of no job are left out.
    """
    return {
        (plan.plan_id, line.job_id, line.product): line
        for plan in plans
        for line in plan.lines
        if line.job_id
    }


def on_their_ground(
    applications: Sequence[Application], plans: Sequence[Plan], areas: Mapping[str, PlotArea]
) -> tuple[Application, ...]:
    """Give entries that report on a job planned for the rest of a plot that ground, and one name for it.

    Parameters
    ----------
    applications
        All entries.
    plans
        All plans, with the jobs the entries name.
    areas
        By plot_id.

    Returns
    -------
    tuple of Application
        In the same order. An entry that states less ground than the job has is left as it is.
    """
    planned = lines_by_job(plans)

    def placed(entry: Application) -> Application:
        line = planned.get((entry.plan_id, entry.job_id, entry.product))
        if line is None or line.plot_id != entry.plot_id or entry.plot_id not in areas:
            return entry
        rest_m2, whole_m2 = ground_m2(line, areas), areas[entry.plot_id].spread_area_m2
        said_m2 = whole_m2 if entry.area_m2 is None else entry.area_m2
        if rest_m2 >= WHOLE_FRACTION * whole_m2 or said_m2 < WHOLE_FRACTION * rest_m2:
            return entry
        return replace(entry, area_m2=rest_m2, part=f"the rest of {rest_m2:.0f} m2")

    return tuple(placed(entry) for entry in applications)


#: Of less of the ground than this, a neighbour's border was only drawn better (ours) [fraction].
_DRAWN_BETTER = 0.02


def with_the_ground(
    applications: Sequence[Application], record: PropertyRecord, areas: Mapping[str, PlotArea]
) -> tuple[Application, ...]:
    """Let what was spread count where it lies: plots split off since, or that took ground, get their share.

    Parameters
    ----------
    applications
        All entries.
    record
        The property, with the boundaries its plots had.
    areas
        By plot_id.

    Returns
    -------
    tuple of Application
        In the same order, then those of retired plots whose ground is another plot's. An entry whose ground
        is now several plots stands once for each, with its share of the amount and of the area; ground that
        is in no plot today stays with the plot of the entry.

    Notes
    -----
    An amount is taken as spread evenly on what was inside the boundary on its day. On the day of the change
    itself the ground is as it was after it.
    """
    shares_elsewhere = cache(partial(_shares_elsewhere, record))  # most boundaries bear no entry

    def pieces(entry: Application) -> Iterator[Application]:
        mine = (one for one in record.former_boundaries if one.plot_id == entry.plot_id)
        former = next((one for one in mine if one.until > entry.applied_on), None)
        elsewhere = {} if former is None else shares_elsewhere(former)
        if former is None or not elsewhere:
            yield entry
            return
        stays = max(0.0, 1.0 - sum(elsewhere.values()))
        ground_m2 = entry.area_m2 or measure_boundary(former.boundary).area_m2
        for plot_id, share in {entry.plot_id: stays, **elsewhere}.items():
            if share > 0 and plot_id in areas:
                yield replace(
                    entry, plot_id=plot_id, mass_kg=entry.mass_kg * share, area_m2=ground_m2 * share
                )

    return tuple(
        piece for entry in (*applications, *record.applications_of_retired) for piece in pieces(entry)
    )


def _shares_elsewhere(record: PropertyRecord, former: FormerBoundary) -> Mapping[str, float]:
    """How much of a former boundary is in another plot's since [fraction], by plot_id."""
    others = [
        plot
        for plot in record.plots
        if plot.plot_id != former.plot_id
        and record.boundary_since.get(plot.plot_id, dt.date.min) >= former.until
    ]
    shares = shares_within(former.boundary, [plot.boundary for plot in others])
    return {plot.plot_id: share for plot, share in zip(others, shares, strict=True) if share >= _DRAWN_BETTER}


def covered_share(entries: Sequence[Application], of_m2: float | None) -> float:
    """Say how much of the ground of a job entries went on.

    Parameters
    ----------
    entries
        Those that report on it. One that states no area and no part went on all of it; one on a part without
        an area may have, and counts as all of it too.
    of_m2
        The ground of the job [m2]; None = not known, which counts as covered.

    Returns
    -------
    float
        [fraction, at most 1]
    """
    done = [entry for entry in entries if entry.done is not Done.NOT_DONE]
    if not of_m2 or any(entry.area_m2 is None for entry in done):
        return 1.0
    return min(1.0, sum(entry.area_m2 or 0.0 for entry in done) / of_m2)
