"""Where to take soil cores on each plot, how many, and why now.

This file answers "does this plot need a sample this season, how many cores, where do they go, and what
is written on the bag?". The ranges are a place's published ones (`SamplingGuide`). The number inside a
range is the user's or, unless he states one, ours; the distance kept from edges and the crop-change rule
are ours and say so. It writes no files.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loamwright.land import Cropping, Plot, PlotArea, sampling_points, usable_edge_m
from loamwright.soil import SoilTest
from loamwright.supplies import Form
from loamwright.units import ACRE_M2, FT_M
from loamwright.values import BOUNDARY, USER, Source, Step
from loamwright.work.ledger import entries_that_count
from loamwright.work.records import PropertyRecord, SamplingPlan

#: Cores keep this far from edges and keep-outs [m]. Common practice, no source: sources say to stay away
#: from fence rows and field edges without giving a distance.
EDGE_M = 5.0
OUR_EDGE = Source("common practice", "", "", "no source: our distance")

#: pH is read again this long after lime [year].
LIME_RECHECK_YEARS = 2.0
LIME_RECHECK = Source(
    "Univ. of Tennessee, UTcrops, alfalfa; Univ. of Georgia (D. Kissel)",
    "",
    "",
    "retest two years after lime",
)

OUR_RULE = Source(
    "arithmetic", "", "", "our rule: low end of the range on the smallest plot, high end at the limit"
)

_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class SamplingGuide:
    """One place's published advice on composite soil samples.

    Parameters
    ----------
    place
        Name the user picks it by.
    cores_low, cores_high
        Cores in one sample [count].
    acres_high
        Most land one sample may stand for [acre], as printed; None when the source gives none.
    depth, repeat, note
        Depth, interval and remarks as printed; empty when it gives none.
    source
        Where it was published.
    """

    place: str
    cores_low: int
    cores_high: int
    acres_high: float | None
    depth: str
    repeat: str
    note: str
    source: Source


def core_count(
    guide: SamplingGuide, spread_area_m2: float, chosen: int | None = None
) -> tuple[int, tuple[Step, ...]]:
    """Choose the cores for one sample: the user's number, else from the published range by plot size.

    Notes
    -----
    ``cores = low + (high - low) * min(1, acres / acres_high)``, rounded up; the high end where the
    source sets no limit on land per sample. The rule is ours; the ends are published.

    Examples
    --------
    Minnesota prints 15 to 30 cores and 20 acres on level ground; 8 acres: 15 + 15 * 8 / 20 = 21.

    >>> guide = SamplingGuide("Minnesota", 15, 30, 20, "6-8 inches", "", "", Source("example"))
    >>> core_count(guide, 8 * ACRE_M2)[0]
    21
    """
    acres = spread_area_m2 / ACRE_M2
    span = guide.cores_high - guide.cores_low
    published = Step(
        f"cores in one sample, {guide.place}",
        f"{guide.cores_low} to {guide.cores_high}",
        "cores",
        guide.source,
    )
    size = Step("area the sample stands for", acres, "acre", BOUNDARY)
    if chosen is not None:
        beside = "under" if chosen < guide.cores_low else "over" if chosen > guide.cores_high else "within"
        return chosen, (
            published,
            size,
            Step(f"your own number, {beside} that range", float(chosen), "cores", USER),
        )
    if guide.acres_high is None:
        highest = Step(
            "no limit on land per sample printed: high end", float(guide.cores_high), "cores", OUR_RULE
        )
        return guide.cores_high, (published, size, highest)
    share = min(1.0, acres / guide.acres_high)
    cores = math.ceil(round(guide.cores_low + span * share, 6))
    what = (
        f"{guide.cores_low} + {span} x {min(acres, guide.acres_high):.2f} / {guide.acres_high:g}, rounded up"
    )
    return cores, (published, size, Step(what, float(cores), "cores", OUR_RULE))


def _samples(guide: SamplingGuide, spread_area_m2: float) -> tuple[Step, ...]:
    """Say when one sample would stand for more land than the source allows."""
    acres = spread_area_m2 / ACRE_M2
    if guide.acres_high is None or acres <= guide.acres_high:
        return ()
    samples = math.ceil(acres / guide.acres_high)
    what = f"one sample stands for at most {guide.acres_high:g} acres: split the plot, so many cores in each"
    return (Step(what, float(samples), "samples", guide.source),)


def _years(earlier: dt.date, later: dt.date) -> float:
    return (later - earlier).days / _DAYS_PER_YEAR


def _missing(test: SoilTest) -> tuple[str, ...]:
    """Name what a test would have to hold to plan from it; nothing when the lab made its own plan."""
    if test.recommendation is not None:
        return ()
    found = {"pH": test.ph is not None, "P": "P" in test.readings, "K": "K" in test.readings}
    return tuple(name for name, there in found.items() if not there)


def _crop_change(croppings: Sequence[Cropping], season: int, sampled_on: dt.date) -> str:
    """Say when a new stand of another crop stands on a sample from before last season (our rule)."""
    by_season = {cropping.season: cropping for cropping in croppings}
    now, then = by_season.get(season), by_season.get(sampled_on.year)
    if now is None or now.seeding is not True or sampled_on.year >= season - 1:
        return ""
    before = then.crop if then is not None and then.crop else now.previous_crop
    if not before or not now.crop or before.casefold() == now.crop.casefold():
        return ""
    return f"a new stand of {now.crop} is seeded and the sample was taken under {before}"


def sample_due(plot_id: str, record: PropertyRecord, on_date: dt.date) -> tuple[bool, str]:
    """Tell whether a plot needs a soil sample this season, and why or why not."""
    tests = [test for test in record.soil_tests if test.plot_id == plot_id]
    if not tests:
        return True, "never tested"
    dated = [
        (test.sampled_on, test)
        for test in tests
        if test.sampled_on is not None and test.sampled_on <= on_date
    ]
    if not dated:
        return True, "no test carries a sampling date up to today"
    sampled_on = max(date for date, _ in dated)
    newest = [test for date, test in dated if date == sampled_on]
    reasons = []
    age, limit = _years(sampled_on, on_date), record.info.settings.test_age_limit_years
    if age > limit:
        reasons.append(f"the newest test, of {sampled_on}, is {age:.1f} years old; the limit is {limit:g}")
    missing = set(_missing(newest[0])).intersection(*(_missing(test) for test in newest[1:]))
    if missing:
        named = ", ".join(name for name in ("pH", "P", "K") if name in missing)
        reasons.append(f"the newest test, of {sampled_on}, has no {named}")
    limes = {product.product for product in record.products if product.form is Form.LIME}
    limed = [
        entry.applied_on
        for entry in entries_that_count(record.applications)
        if entry.plot_id == plot_id
        and entry.product in limes
        and entry.mass_kg > 0
        and entry.applied_on > sampled_on
    ]
    if limed and _years(min(limed), on_date) >= LIME_RECHECK_YEARS:
        reasons.append(f"limed on {min(limed)} and pH not read since; {LIME_RECHECK.row}")
    change = _crop_change(
        [cropping for cropping in record.croppings if cropping.plot_id == plot_id],
        record.info.season,
        sampled_on,
    )
    if change:
        reasons.append(change)
    if reasons:
        return True, "; ".join(reasons)
    return False, f"tested on {sampled_on}, within {limit:g} years"


def _label(property_name: str, plot: Plot, depth: str) -> str:
    name = "" if plot.name in ("", plot.plot_id) else f" {plot.name}"
    lines = (
        property_name,
        f"Plot {plot.plot_id}{name}",
        "Sampled on:",
        f"Depth: {depth}" if depth else "Depth:",
    )
    return "\n".join(lines)


def plan_sampling(
    guide: SamplingGuide, record: PropertyRecord, areas: Mapping[str, PlotArea], on_date: dt.date
) -> Mapping[str, SamplingPlan]:
    """Plan soil cores for every plot: how many, where, in which order, and whether they are due.

    Parameters
    ----------
    guide
        The place whose published ranges are used; the user's choice.
    record
        The property.
    areas
        Measured plots by plot_id.
    on_date
        Date the plan is for.

    Returns
    -------
    mapping of plot_id to SamplingPlan
        In the order of the property's plots. A plot with nothing left inside its keep-outs gets no
        cores and is not due.
    """
    plans: dict[str, SamplingPlan] = {}
    for plot in record.plots:
        area = areas[plot.plot_id]
        cores = 0
        steps: tuple[Step, ...] = ()
        points: tuple[tuple[float, float], ...] = ()
        if area.spread_area_m2 <= 0:
            due, reason = False, "nothing of the plot is left outside the keep-outs"
        else:
            cores, steps = core_count(guide, area.spread_area_m2, record.info.settings.cores_per_sample)
            steps += _samples(guide, area.spread_area_m2)
            edge_ft = usable_edge_m(area.spread, EDGE_M) / FT_M
            steps += (
                Step("kept away from edges and keep-outs where there is room", edge_ft, "ft", OUR_EDGE),
            )
            points = sampling_points(area.spread, cores, EDGE_M)
            due, reason = sample_due(plot.plot_id, record, on_date)
        if guide.depth:
            steps += (Step("depth of the cores", guide.depth, "", guide.source),)
        plans[plot.plot_id] = SamplingPlan(
            plot_id=plot.plot_id,
            due=due,
            reason=reason,
            cores=cores,
            cores_low=guide.cores_low,
            cores_high=guide.cores_high,
            points=points,
            label=_label(record.info.name, plot, guide.depth),
            depth_text=guide.depth,
            steps=steps,
        )
    return plans
