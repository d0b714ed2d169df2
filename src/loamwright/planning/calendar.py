"""When is this work done, and how is it placed, as a published page or the user says?

A row speaks of crops, of a stand that is being established or is established, and of one supply. Rows whose
days hold in one state only are looked at when that state is picked. The user's own windows come before any
page; where no page says anything, that is the answer.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from loamwright.errors import Problem
from loamwright.land import Cropping
from loamwright.planning.inputs import TIMING_ORDER, Demand
from loamwright.planning.records import Job, PlanLine, Window
from loamwright.values import OwnWindow, Source, Supply, Timing, WorkRules


@dataclass(frozen=True, slots=True)
class CalendarRow:
    """What a page says of one supply on some crops.

    Parameters
    ----------
    crops
        Words of crop names it speaks of.
    stand
        ``"establishing"``, ``"established"`` or ``"any"``.
    supply
        A nutrient, or ``"lime"``.
    state
        State whose days it prints; empty = by the state of the crop, anywhere.
    timing
        When in the season; None = at any time.
    label, placement
        In words.
    opens, closes
        First and last day [month, day]; None = not by a date.
    source
        Who says so.
    share
        Of the need, what is due then [fraction]; None = it is not split.
    """

    crops: tuple[str, ...]
    stand: str
    supply: str
    state: str
    timing: Timing | None
    label: str
    placement: str
    opens: tuple[int, int] | None
    closes: tuple[int, int] | None
    source: Source
    share: float | None = None


@dataclass(frozen=True, slots=True)
class GroundRule:
    """A rule of one state on ground, dates or rain, for that state only.

    Parameters
    ----------
    state, kind, what, rule, who
        Where, what kind, what it holds for, what it says, whom it binds.
    source
        The text of law or notice.
    """

    state: str
    kind: str
    what: str
    rule: str
    who: str
    source: Source


def _stand(cropping: Cropping | None) -> str:
    if cropping is None or cropping.seeding is None:
        return ""
    return "establishing" if cropping.seeding else "established"


def row_for(
    rows: Sequence[CalendarRow],
    cropping: Cropping | None,
    supply: Supply,
    timing: Timing | None,
    state: str,
) -> CalendarRow | None:
    """Find what is said of one supply on one crop at one time; the picked state's rows come first."""
    fitting = _rows_for(rows, cropping, supply, timing, state)
    return min(fitting, key=lambda row: (row.state == "", row.timing != timing), default=None)


def _rows_for(
    rows: Sequence[CalendarRow],
    cropping: Cropping | None,
    supply: Supply,
    timing: Timing | None,
    state: str,
) -> list[CalendarRow]:
    if cropping is None:
        return []
    words = cropping.crop.casefold()
    key = "lime" if supply.is_lime else supply.value
    return [
        row
        for row in rows
        if row.supply == key
        and row.stand in ("any", _stand(cropping))
        and row.state in ("", state)
        and (timing is None or row.timing in (None, timing))
        and any(re.search(rf"\b{re.escape(crop)}", words) for crop in row.crops)
    ]


def placed_in_time(
    demands: Sequence[Demand],
    cropping: Cropping | None,
    rows: Sequence[CalendarRow],
    rules: WorkRules,
    whole_kg: Mapping[Supply, float] = MappingProxyType({}),
) -> tuple[Demand, ...]:
    """Tie needs to the times the user, or else a page, gives them, split where they say so.

    Parameters
    ----------
    demands
        What a plot must get.
    cropping
        What grows there.
    rows
        The calendar.
    rules
        Hold the user's own windows and the state picked.
    whole_kg
        The season's whole need per supply [kg], what was put on included; absent = what the demands ask.

    Returns
    -------
    tuple of Demand
        A need that already has a time keeps it, unless the user splits it.
    """
    placed: list[Demand] = []
    for supply in dict.fromkeys(demand.supply for demand in demands):
        mine = [demand for demand in demands if demand.supply == supply]
        own = _own_of(rules.windows, cropping, supply)
        shares: list[tuple[Timing | None, float]] = [
            (one.timing, one.share) for one in own if one.share is not None
        ]
        if not shares:
            timed = [demand for demand in mine if demand.timing is not None]
            mine = [demand for demand in mine if demand.timing is None]
            placed.extend(timed)
            row = row_for(rows, cropping, supply, None, rules.state)
            if own:
                shares = [(own[0].timing, 1.0)]
            elif row is not None and row.share is not None and not timed:
                said = _rows_for(rows, cropping, supply, None, rules.state)
                shares = [(one.timing, one.share or 0.0) for one in said if one.source == row.source]
            elif row is not None and row.timing is not None:
                shares = [(row.timing, 1.0)]
        placed.extend(_shared(mine, shares, whole_kg.get(supply)) if shares else mine)
    return tuple(placed)


def _shared(
    demands: Sequence[Demand], shares: Sequence[tuple[Timing | None, float]], whole_kg: float | None
) -> list[Demand]:
    """Divide a need over times: shares of the whole need, what is on counts for the earliest first."""
    if not demands or any(demand.mass_kg is None for demand in demands):
        return list(demands)
    left_kg = math.fsum(demand.mass_kg or 0.0 for demand in demands)
    if len(shares) == 1 and shares[0][1] >= 1.0:
        return [replace(demand, timing=shares[0][0]) for demand in demands]
    whole_kg = max(left_kg, whole_kg or 0.0)
    on_kg = whole_kg - left_kg
    free = 1.0 - math.fsum(share for _timing, share in shares)
    parts = sorted(shares, key=lambda one: TIMING_ORDER[one[0]])
    found = []
    for timing, share in (*parts, *([(None, free)] if free > 1e-9 else [])):
        already_kg = min(on_kg, share * whole_kg)
        on_kg -= already_kg
        if share * whole_kg - already_kg > 1e-9 * whole_kg:
            found.append(replace(demands[0], mass_kg=share * whole_kg - already_kg, timing=timing))
    return found


def _own_of(windows: Sequence[OwnWindow], cropping: Cropping | None, supply: Supply) -> list[OwnWindow]:
    """The user's windows for one supply; those for the crop come before those for any."""
    crop = "" if cropping is None else cropping.crop.casefold()
    fitting = [one for one in windows if one.crop.casefold() in ("", crop) and _is_of(one, supply)]
    return [one for one in fitting if one.crop] or fitting


def _is_of(window: OwnWindow, supply: Supply) -> bool:
    key = "lime" if supply.is_lime else supply.value
    return window.of.casefold() in (supply.value.casefold(), key.casefold())


def split_faults(windows: Sequence[OwnWindow]) -> tuple[Problem, ...]:
    """Name splits of the user's that cannot be: more than the whole, or two parts at one time.

    Parameters
    ----------
    windows
        The user's own.

    Returns
    -------
    tuple of Problem
    """
    groups: dict[tuple[str, str], list[OwnWindow]] = {}
    for one in windows:
        if one.share is not None:
            groups.setdefault((one.of.casefold(), one.crop.casefold()), []).append(one)
    found = []
    for group in groups.values():
        where = f"settings, windows of {group[0].of}{f' on {group[0].crop}' if group[0].crop else ''}"
        total = math.fsum(one.share or 0.0 for one in group)
        if total > 1 + 1e-9:
            what = f"the shares add up to {total:.0%}"
            found.append(Problem(where, what, "Let them add up to 100 % at most."))
        times = [one.timing.value for one in group]
        twice = next((time for time in times if times.count(time) > 1), "")
        if twice:
            what = f"two parts are due at one time of the season, {twice}"
            found.append(Problem(where, what, "Give the later part a later time, or make them one."))
    return tuple(found)


def dated_jobs(
    jobs: Sequence[Job],
    lines: Sequence[PlanLine],
    serves: Mapping[str, Sequence[Supply]],
    croppings: Mapping[str, Cropping],
    rows: Sequence[CalendarRow],
    rules: WorkRules,
    season: int,
    today: dt.date,
    reach_months: Mapping[str, Sequence[int]] = MappingProxyType({}),
    methods: Mapping[str, str] = MappingProxyType({}),
) -> tuple[Job, ...]:
    """Give every job its window and placement, or the reason why it has none.

    Parameters
    ----------
    jobs, lines
        Of the plan.
    serves
        Product to the supplies it delivers.
    croppings
        By plot_id.
    rows
        The calendar.
    rules
        Hold the user's own windows and the state picked.
    season
        Calendar year.
    today
        A window that has closed before today is said to be past, with the next one.
    reach_months
        Months in which a plot can be reached, by plot_id; none = not stated, at any time.
    methods
        Product to the placement its usable shares hold for: manure is placed so, whatever a page says.

    Returns
    -------
    tuple of Job
    """
    product = {line.line_id: line.product for line in lines}
    dated = []
    for job in jobs:
        load = [product[line] for line in job.line_ids]
        found = _dated(job, load, serves, croppings, rows, rules, season, today)
        placed = next((methods[name] for name in load if methods.get(name)), found.placement)
        months = tuple(reach_months.get(job.plot_id, ()))
        dated.append(_when_open(replace(found, placement=placed), months))
    return tuple(dated)


def _dated(
    job: Job,
    products: Sequence[str],
    serves: Mapping[str, Sequence[Supply]],
    croppings: Mapping[str, Cropping],
    rows: Sequence[CalendarRow],
    rules: WorkRules,
    season: int,
    today: dt.date,
) -> Job:
    cropping = croppings.get(job.plot_id)
    supplies = sorted({supply for name in products for supply in serves.get(name, ())})
    own = _own(rules.windows, job.timing, cropping, products, supplies)
    found = [row for key in supplies if (row := row_for(rows, cropping, key, job.timing, rules.state))]
    row = min(found, key=lambda one: (one.opens is None, one.timing != job.timing), default=None)
    placement = row.placement if row is not None else ""
    if own is not None:
        window = _within(own.label or job_time(job), own.opens, own.closes, season, today)
        reason = "by the user's own window"
        return replace(job, window=window, placement=own.placement or placement, reason=reason)
    if row is not None:
        window = _within(row.label, row.opens, row.closes, season, today)
        return replace(job, window=window, placement=placement, reason=row.source.publication)
    if job.timing is not None:
        window = Window(job_time(job))
        return replace(
            job, window=window, reason="the need's own source gives the time; no page read says how"
        )
    crop = cropping.crop if cropping is not None and cropping.crop else "a crop that is not stated"
    if cropping is not None and cropping.seeding is None:
        return replace(job, reason="whether the stand is being established is not stated")
    return replace(job, reason=f"no page read gives a time for this on {crop}; any time that suits")


def _when_open(job: Job, months: Sequence[int]) -> Job:
    """Cut a window down to the months in which the plot can be reached, and say so."""
    if not months:
        return job
    said = f"the way in is open in {_months_words(months)} only"
    window = job.window
    if window is not None and window.opens is not None and window.closes is not None:
        days = [
            day
            for number in range((window.closes - window.opens).days + 1)
            if (day := window.opens + dt.timedelta(number)).month in months
        ]
        if days:
            window = replace(window, opens=days[0], closes=days[-1])
        else:
            said = f"{said}, outside this window"
    return replace(job, window=window, reason="; ".join(word for word in (job.reason, said) if word))


def _months_words(months: Sequence[int]) -> str:
    """``"May to October"``, over the turn of the year too; months with gaps between them are listed."""
    known = sorted(set(months))
    first = next((month for month in known if (month - 2) % 12 + 1 not in known), known[0])
    run = [(first - 1 + step) % 12 + 1 for step in range(len(known))]
    names = [calendar.month_name[month] for month in (run if set(run) == set(known) else known)]
    if len(names) > 2 and set(run) == set(known):
        return f"{names[0]} to {names[-1]}"
    return ", ".join(names)


def job_time(job: Job) -> str:
    """Name the time of a job in the season."""
    return "any time" if job.timing is None else job.timing.value


def when_and_how(job: Job) -> str:
    """Say when a job is done and how it is placed, each said once.

    Parameters
    ----------
    job
        A job with its window.

    Returns
    -------
    str
    """
    if job.window is None:
        when = "any time that suits" if job.timing is None else job.timing.value
    else:
        days = (job.window.opens, job.window.closes)
        dated = "" if None in days else f", {' to '.join(day.isoformat() for day in days if day is not None)}"
        when = f"{job.window.label}{dated}"
    return f"{when}, {job.placement}" if job.placement and job.placement not in when else when


def _own(
    windows: Sequence[OwnWindow],
    timing: Timing | None,
    cropping: Cropping | None,
    products: Sequence[str],
    supplies: Sequence[Supply],
) -> OwnWindow | None:
    """The user's window for a load: for what it holds before any other, for the crop before any."""
    crop = "" if cropping is None else cropping.crop.casefold()
    names = {name.casefold() for name in products}

    def fits(one: OwnWindow) -> bool:
        if one.of.casefold() in names:  # what is free in time goes on in its product's window
            return timing in (None, one.timing)
        return one.timing is timing and (not one.of or any(_is_of(one, supply) for supply in supplies))

    fitting = [one for one in windows if one.crop.casefold() in ("", crop) and fits(one)]
    return min(fitting, key=lambda one: (one.of == "", one.crop == ""), default=None)


def _within(
    label: str, opens: tuple[int, int] | None, closes: tuple[int, int] | None, season: int, today: dt.date
) -> Window:
    """A window in the season's year; one that is past is followed by the next year's."""
    if opens is None or closes is None:
        return Window(label)
    first, last = _day(season, opens), _day(season + (closes < opens), closes)
    if last < today:
        following = (_day(first.year + 1, opens), _day(last.year + 1, closes))
        return Window(f"{label} (past on {last.isoformat()}; the next one)", *following)
    return Window(label, first, last)


def _day(year: int, month_day: tuple[int, int]) -> dt.date:
    month, day = month_day
    if (month, day) == (2, 29):
        day = 28
    return dt.date(year, month, day)
