"""Which lines of a plan an entry of the record may report on.

An entry says so by plan and job, where it was reported against this plan; else by its plan line. What was
reported against another plan is held against this one by plot, product, part and window: the same line may
stand in both and mean other ground, or another time of the year.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence

from loamwright.planning import Job, Plan, PlanLine, Window
from loamwright.values import Timing
from loamwright.work.records import Application

#: Windows of one job in two plans may lie a year apart: one that is past is planned for the next year.
_YEAR = dt.timedelta(days=365)


class Matching:
    """A plan, to hold entries against.

    Parameters
    ----------
    plan
        The newest plan.
    plans
        All plans of the property, with the jobs that entries name.
    taken
        Entries the plan has taken off the needs: a part they name is ground that has got its share.
    """

    def __init__(self, plan: Plan, plans: Iterable[Plan], taken: Iterable[Application]) -> None:
        self._plan_id = plan.plan_id
        self._lines: dict[tuple[str, str], list[PlanLine]] = defaultdict(list)
        for line in plan.lines:
            self._lines[line.plot_id, line.product].append(line)
        self._job = {line_id: job for job in plan.jobs for line_id in job.line_ids}
        self._then = {(one.plan_id, job.job_id): job for one in plans for job in one.jobs}
        self._had = parts_named(taken)

    def lines(self, entry: Application) -> Sequence[PlanLine]:
        """Return the lines an entry may report on, the likeliest first.

        Parameters
        ----------
        entry
            Of the season, and not taken off.

        Returns
        -------
        sequence of PlanLine
        """
        same = self._lines.get((entry.plot_id, entry.product), [])
        if entry.plan_id and entry.job_id:
            if entry.plan_id == self._plan_id:
                return [line for line in same if line.job_id == entry.job_id]
            return self._of_another_plan(entry, same)
        if entry.line_id:
            return [line for line in same if line.line_id == entry.line_id]
        fitting = [
            line for line in same if _alike(entry.timing, line.timing) and self._its_ground(entry, line)
        ]
        return self._by_day(entry, fitting) if entry.timing is None else self._sorted(entry, fitting)

    def _its_ground(self, entry: Application, line: PlanLine) -> bool:
        """A job for the rest of a plot is not on a part that had its share before."""
        return not self._part(line) or not self._had & parts_named([entry])

    def _of_another_plan(self, entry: Application, same: Sequence[PlanLine]) -> list[PlanLine]:
        then = self._then.get((entry.plan_id or "", entry.job_id or ""))
        timing = entry.timing or (then.timing if then else None)
        return [
            line
            for line in same
            if _alike(timing, line.timing)
            and (then.part if then else "") == self._part(line)
            and self._same_time(entry, timing, then, line)
        ]

    def _same_time(self, entry: Application, timing: Timing | None, then: Job | None, line: PlanLine) -> bool:
        was, window = then.window if then else None, self._window(line)
        if was is not None and window is not None and was.opens and window.opens:
            return _meet(was, window)
        return None not in (timing, line.timing) or _holds(window, entry.applied_on) is not False

    def _by_day(self, entry: Application, lines: Sequence[PlanLine]) -> list[PlanLine]:
        """Of lines at several times, those whose window holds the day, or is open already."""
        day = entry.applied_on
        windows = {line.line_id: self._window(line) for line in lines}
        now = [line for line in lines if _holds(windows[line.line_id], day) is not False]
        begun = [
            line for line in lines if not ((one := windows[line.line_id]) and one.opens and one.opens > day)
        ]
        return self._sorted(entry, now or begun or lines)

    def _sorted(self, entry: Application, lines: Sequence[PlanLine]) -> list[PlanLine]:
        """Lines of its own time before others, and open ones before those without days."""

        def place(line: PlanLine) -> tuple[bool, bool]:
            return line.timing is not entry.timing, not _holds(self._window(line), entry.applied_on)

        return sorted(lines, key=place)

    def _part(self, line: PlanLine) -> str:
        return self._job[line.line_id].part if line.line_id in self._job else ""

    def _window(self, line: PlanLine) -> Window | None:
        return self._job[line.line_id].window if line.line_id in self._job else None


def parts_named(entries: Iterable[Application]) -> frozenset[tuple[str, str]]:
    """Name the parts of plots that entries say they went on.

    Parameters
    ----------
    entries
        Of any plots.

    Returns
    -------
    frozenset of (plot_id, name of a part in small letters)
    """
    return frozenset(
        (entry.plot_id, entry.part.strip().casefold()) for entry in entries if entry.part.strip()
    )


def _alike(one: Timing | None, other: Timing | None) -> bool:
    return None in (one, other) or one is other


def _holds(window: Window | None, day: dt.date) -> bool | None:
    """Whether a day lies in a window; None = the window has no days."""
    if window is None or window.opens is None or window.closes is None:
        return None
    return window.opens <= day <= window.closes


def _meet(one: Window, other: Window) -> bool:
    """Whether two windows share a day of the year."""
    if one.opens is None or one.closes is None or other.opens is None or other.closes is None:
        return True
    return any(
        one.opens <= other.closes + shift and other.opens + shift <= one.closes
        for shift in (-_YEAR, dt.timedelta(0), _YEAR)
    )
