"""What a soil test has seen: the one rule for which amounts on the ground count against a need.

This file answers "is this already in the lab's figure, or must it be taken off the need?", for
fertilizer, manure, compost and lime alike:

* **Nitrogen** is not in the soil test. What went on since the cropping began counts: since its sown date,
  else since the cropping before it ended, else since the season's start.
* **Everything else** (P, K, S, Mg, micronutrients, lime) counts when it went on *after* the day the
  governing sample was taken. What went on before that day, or on it, the lab has seen.
* A sample without a date cannot tell: until it has one the season's start stands in for it, marked.
* What an earlier season's crop was given for itself is used up by that crop: of what went on since the
  sample, the needs of past seasons, as plans made after the sample state them, are taken first.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from loamwright import soil
from loamwright.soil import SoilTest
from loamwright.values import Nutrient

#: Supply that no soil test of these guidelines carries over.
NITROGEN = "N"


def season_dates(season: int, start: str = "01-01") -> tuple[dt.date, dt.date]:
    """Return the first and the last day of a season.

    Parameters
    ----------
    season
        Its name [calendar year].
    start
        Month and day it begins, ``"09-01"``. From July on it lies in the year before.

    Returns
    -------
    tuple of date

    Examples
    --------
    >>> [day.isoformat() for day in season_dates(2026, "09-01")]
    ['2025-09-01', '2026-08-31']
    """
    first, after = (_start(year, start) for year in (season, season + 1))
    return first, after - dt.timedelta(days=1)


def _start(season: int, start: str) -> dt.date:
    month, day = (int(part) for part in start.split("-"))
    return dt.date(season - (1 if month >= 7 else 0), month, day)


def season_of(day: dt.date, start: str = "01-01") -> int:
    """Return the season a day belongs to.

    Parameters
    ----------
    day
        Any day.
    start
        As in `season_dates`.

    Returns
    -------
    int

    Examples
    --------
    >>> season_of(dt.date(2025, 11, 3), "09-01"), season_of(dt.date(2025, 11, 3))
    (2026, 2025)
    """
    guess = day.year + 1
    while _start(guess, start) > day:
        guess -= 1
    return guess


def growing_since(
    season_start: dt.date,
    sown_on: dt.date | None = None,
    established: bool = False,
    ended_before: dt.date | None = None,
) -> dt.date:
    """Return the day from which nitrogen counts for a cropping.

    Parameters
    ----------
    season_start
        First day of its season.
    sown_on
        When it was sown; None = not stated.
    established
        True for a stand that was there before: its sown date says nothing of this season's nitrogen.
    ended_before
        When the cropping before it on the plot ended; None = not stated, or there was none.

    Returns
    -------
    date
    """
    if sown_on is not None and not established:
        return sown_on
    if ended_before is not None:
        return ended_before + dt.timedelta(days=1)
    return season_start


def element_of(nutrient: Nutrient) -> str:
    """Return the symbol a soil test reports for a nutrient."""
    return {Nutrient.P2O5: "P", Nutrient.K2O: "K"}.get(nutrient, nutrient.value)


def speaks_of(nutrient: Nutrient) -> Callable[[SoilTest], bool]:
    """Return a function that tells whether a report says something of a nutrient."""

    def speaks(test: SoilTest) -> bool:
        advice = test.recommendation
        return element_of(nutrient) in test.readings or (advice is not None and nutrient in advice.rates)

    return speaks


def speaks_of_lime(test: SoilTest) -> bool:
    """Tell whether a report says something of lime."""
    stated = (test.ph, test.buffer_ph, test.acidity_meq_100g)
    printed = test.recommendation is not None and test.recommendation.lime is not None
    return printed or any(value is not None for value in stated)


def sample_dates(tests: Sequence[SoilTest]) -> Mapping[str, dt.date | None]:
    """Return the day each supply's governing sample was taken.

    Parameters
    ----------
    tests
        Usable reports of one plot.

    Returns
    -------
    mapping of supply to date or None
        As `Clock.sampled_on` wants it; a supply nobody sampled is absent.
    """
    asked: dict[str, Callable[[SoilTest], bool]] = {n.value: speaks_of(n) for n in Nutrient}
    asked["lime"] = speaks_of_lime
    governing = {supply: soil.newest(tests, speaks) for supply, speaks in asked.items()}
    return {supply: soil.latest_date(found) for supply, found in governing.items() if found}


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether an amount counts against a need, and why."""

    counts: bool
    why: str


@dataclass(frozen=True, slots=True)
class Clock:
    """The dates that decide for one plot what counts.

    Parameters
    ----------
    season_start, season_end
        First and last day of the season asked about.
    growing_since
        Day from which nitrogen counts, from `growing_since`; None = the season's start.
    growing_until
        Last day of the cropping; None = the season's end.
    sampled_on
        Supply (a nutrient other than N, or ``"lime"``) to the day its governing sample was taken; None =
        the sample has no date. A supply that is absent has no sample at all.
    """

    season_start: dt.date
    season_end: dt.date
    growing_since: dt.date | None = None
    growing_until: dt.date | None = None
    sampled_on: Mapping[str, dt.date | None] = field(default_factory=lambda: MappingProxyType({}))

    def verdict(self, supply: str, applied_on: dt.date) -> Verdict:
        """Tell whether what went on that day counts against the need.

        Parameters
        ----------
        supply
            A nutrient, or ``"lime "`` and a basis.
        applied_on
            The day.

        Returns
        -------
        Verdict
        """
        if applied_on > self.season_end:
            return Verdict(False, f"after the season, which ends on {self.season_end}")
        if supply == NITROGEN:
            since = self.growing_since or self.season_start
            if applied_on < since:
                return Verdict(False, f"before this crop, which began on {since}")
            if self.growing_until is not None and applied_on > self.growing_until:
                return Verdict(False, f"after this crop, which ended on {self.growing_until}")
            return Verdict(True, f"since this crop began on {since}")
        key = "lime" if supply.startswith("lime") else supply
        sampled = self.sampled_on.get(key)
        if sampled is None:
            tells = "the sample has no date" if key in self.sampled_on else "there is no soil sample of it"
            counts = applied_on >= self.season_start
            side = "since" if counts else "before"
            return Verdict(counts, f"{side} the season began on {self.season_start}: {tells}")
        if applied_on > sampled:
            return Verdict(True, f"after the soil sample of {sampled}")
        if applied_on == sampled:
            return Verdict(False, f"on the day of the soil sample, {sampled}: taken as before it")
        return Verdict(False, f"already seen by the soil sample of {sampled}")

    def same_day(self, supply: str, applied_on: dt.date) -> bool:
        """Tell whether that day is the day of the sample that governs.

        Parameters
        ----------
        supply, applied_on
            As for `verdict`.
        """
        key = "lime" if supply.startswith("lime") else supply
        return supply != NITROGEN and self.sampled_on.get(key) == applied_on

    def counts(self, supply: str, applied_on: dt.date) -> bool:
        """Tell whether what went on that day counts; the short answer of `verdict`.

        Parameters
        ----------
        supply
            As for `verdict`.
        applied_on
            The day.
        """
        return self.verdict(supply, applied_on).counts


def left_of_earlier(
    given_kg: Mapping[int, float], needed_kg: Mapping[int, float | None], sampled_in: int, season: int
) -> float:
    """Return what earlier seasons' crops left of what went on since the sample, without this season's.

    Parameters
    ----------
    given_kg
        Season to what went on in it, since the sample [kg].
    needed_kg
        Season to what its crop needed [kg]; None or absent = not known, or known before the sample was taken:
        then nothing is taken.
    sampled_in
        Season the sample was taken in.
    season
        The season asked about.

    Returns
    -------
    float
        [kg], never below zero. A shortfall of one season is not carried: the crop is past.

    Examples
    --------
    Sampled in 2025, 90 kg given in 2026 to a crop that needed 60: 30 are left for 2027.

    >>> left_of_earlier({2026: 90.0}, {2026: 60.0}, 2025, 2027)
    30.0
    """
    left = 0.0
    for past in range(sampled_in, season):
        left = max(0.0, left + given_kg.get(past, 0.0) - (needed_kg.get(past) or 0.0))
    return left


@dataclass(frozen=True, slots=True)
class PartDone:
    """What one part of a plot got, and what is left for the rest.

    Parameters
    ----------
    area_m2
        Ground that still asks for it [m2]: what got nothing yet; where all of it got some, the parts that
        got far from enough.
    rest_kg
        Still to supply there [kg].
    done_area_m2, topup_kg
        The other ground [m2], and what it would still be short of [kg].
    """

    area_m2: float
    rest_kg: float
    done_area_m2: float
    topup_kg: float


#: An entry that covers less than this share of a plot is one on a part of it: ours, so that an area noted
#: to the tenth of an acre still is the whole plot.
WHOLE_FRACTION = 0.95


def rest_of_plot(
    gross_kg_ha: float,
    plot_area_m2: float,
    parts: Sequence[tuple[float, float]],
    whole_kg: float = 0.0,
    least_kg_ha: float = 0.0,
) -> PartDone:
    """Divide a need between the part of a plot that got something and the rest.

    Parameters
    ----------
    gross_kg_ha
        Need before what was put on [kg/ha].
    plot_area_m2
        Spread area [m2].
    parts
        (area [m2], amount [kg]) for each part that got some; parts do not overlap.
    whole_kg
        Put on the plot as a whole [kg].
    least_kg_ha
        What a part may be short of and ask for nothing more [kg/ha].

    Returns
    -------
    PartDone

    Raises
    ------
    ValueError
        When the parts are larger than the plot.

    Notes
    -----
    On each part: ``max(0, gross − whole − amount ÷ area)``; what a part got too much of does not feed the
    rest. A rest of less than a twentieth of the plot (`WHOLE_FRACTION`) is what areas noted to the tenth of
    an acre differ by: no ground to go to, and what it lacks is listed with the top-ups.

    Examples
    --------
    60 kg/ha on 4 ha; 110 kg went on 2 ha of it (55 kg/ha). The rest needs 2 x 60 = 120 kg, the done half
    is short of 2 x 5 = 10 kg.

    >>> done = rest_of_plot(60, 40_000, [(20_000, 110)])
    >>> done.rest_kg, done.topup_kg
    (120.0, 10.0)
    """
    covered = sum(area for area, _ in parts)
    if covered > plot_area_m2 * 1.001:
        raise ValueError(f"parts of {covered:.0f} m2 lie on a plot of {plot_area_m2:.0f} m2")
    rest_m2 = max(0.0, plot_area_m2 - covered)
    base = max(0.0, gross_kg_ha - (whole_kg / plot_area_m2 * 1e4 if plot_area_m2 else 0.0))
    short = [(area, max(0.0, base - kg / area * 1e4)) for area, kg in parts if area > 0]
    if covered > 0 and rest_m2 < (1 - WHOLE_FRACTION) * plot_area_m2:
        short.append((rest_m2, base))
        asking = [(area, lacks) for area, lacks in short[:-1] if lacks > least_kg_ha]
        asking_m2, asking_kg = (
            sum(area for area, _ in asking),
            sum(area * lacks for area, lacks in asking) / 1e4,
        )
        topup = sum(area * lacks for area, lacks in short) / 1e4 - asking_kg
        return PartDone(asking_m2, asking_kg, plot_area_m2 - asking_m2, max(0.0, topup))
    topup = sum(area * lacks for area, lacks in short) / 1e4
    return PartDone(rest_m2, base * rest_m2 / 1e4, min(covered, plot_area_m2), topup)
