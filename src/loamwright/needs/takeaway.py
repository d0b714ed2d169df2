"""What leaves a plot in a year, and so must be put back: by harvest, by grazing, by browsing, or nothing.

The need is the printed removal per unit of yield times what is taken. An animal keeps only a part of what
it eats; the part is used where a source prints one for that animal, and is unknown where none does, as for
deer. The soil is not asked, so this is a way to hold a level, never a table of a university.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from loamwright.errors import UnitError
from loamwright.needs.rates import Rate, Situation, goal_in, unknown
from loamwright.soil import Missing, plain_name, unit_of
from loamwright.units import parse_quantity
from loamwright.values import USER, Nutrient, Quantity, Source, Step

#: What can become of a crop.
USES = ("harvested", "grazed", "browsed", "left")


@dataclass(frozen=True, slots=True)
class Taken:
    """What a unit of yield takes along.

    Parameters
    ----------
    low, high
        Amount per unit of yield, in the rate's mass; the same when one figure is printed.
    yield_unit, rate_unit
        ``"ton/acre"`` and ``"lb/acre"``; ``"t/ha"`` and ``"kg/ha"``.
    note
        What the figure is of.
    source
        Publication and row.
    """

    low: float
    high: float
    yield_unit: str
    rate_unit: str
    note: str
    source: Source


@dataclass(frozen=True, slots=True)
class Kept:
    """Share of what it eats that an animal keeps.

    Parameters
    ----------
    names
        What the animal is called.
    share
        Kept [fraction].
    source
        Who says so.
    """

    names: tuple[str, ...]
    share: float
    source: Source


@dataclass(frozen=True, slots=True)
class Use:
    """What becomes of a crop, as the user said it.

    Parameters
    ----------
    kind
        One of `USES`; empty = not stated.
    animal
        Which animal, when it is said.
    take
        What leaves the plot, when it is said.
    """

    kind: str = ""
    animal: str = ""
    take: Quantity | None = None


def read_use(text: str) -> Use | Missing:
    """Read what becomes of a crop.

    Parameters
    ----------
    text
        ``"harvested"``, ``"grazed by beef cattle"``, ``"browsed, 0.5 ton/acre"``, ``"left"``.

    Returns
    -------
    Use or Missing
        Missing when it is none of these.

    Examples
    --------
    >>> read_use("grazed by beef cattle").animal
    'beef cattle'
    """
    words = text.strip()
    if not words:
        return Use()
    kind = next((use for use in USES if words.casefold().startswith(use)), None)
    if kind is None:
        return Missing(f"the use {words!r} is none of {', '.join(USES)}")
    rest = words[len(kind) :].strip(" ,:;")
    figure = re.search(r"\d", rest)
    take = None
    if figure is not None:
        try:
            take = parse_quantity(rest[figure.start() :])
        except UnitError as error:
            return Missing(f"the take in {words!r} is not understood: {error}")
        rest = rest[: figure.start()].strip(" ,:;")
    return Use(kind, plain_name(re.sub(r"^by\b", "", rest)), take)


@dataclass(frozen=True, slots=True)
class Takeaway:
    """Removal by harvest for one nutrient.

    Parameters
    ----------
    nutrient
        Which nutrient.
    taken
        By crop name.
    kept
        Animals whose share is printed.
    source
        What the list is called.
    """

    nutrient: Nutrient
    taken: Mapping[str, Taken]
    kept: tuple[Kept, ...]
    source: Source

    @property
    def crops(self) -> tuple[str, ...]:
        """Crops with a printed removal."""
        return tuple(self.taken)

    def rate(self, situation: Situation) -> Rate:
        """Answer for one plot from what is taken off it in a year.

        Parameters
        ----------
        situation
            What is known of it.

        Returns
        -------
        Rate
            ``yield x removal``, times the share an animal keeps where it is grazed.
        """
        row = self.taken[situation.crop]
        unit = unit_of(row.rate_unit, self.nutrient.value)
        use = read_use(situation.use)
        if isinstance(use, Missing):
            return unknown(use.reason)
        if not use.kind:
            return unknown(f"what leaves depends on the use, which is not stated ({', '.join(USES)})")
        if use.kind == "left":
            step = Step("The crop is left: nothing leaves the plot", 0.0, unit, USER)
            return Rate(0.0, row.rate_unit, "the crop is left, so nothing leaves the plot", (step,))
        steps = [Step("What becomes of the crop", situation.use.strip(), "", USER)]
        share = 1.0
        if use.kind == "grazed":
            found = next((kept for kept in self.kept if use.animal in map(plain_name, kept.names)), None)
            if found is None:
                named = "which animal grazes is not stated" if not use.animal else f"none for {use.animal!r}"
                known = ", ".join(kept.names[0] for kept in self.kept)
                return unknown(f"what an animal keeps is printed for {known}; {named}", steps)
            share = found.share
            steps.append(Step("Kept by the animal of what it eats", share * 100, "percent", found.source))
        if use.kind == "browsed" and use.take is None:
            return unknown(
                "what browsing takes and what comes back was found in no source; state a take, for example "
                "'browsed, 0.5 ton/acre'",
                steps,
            )
        amount = situation.yield_goal if use.take is None else use.take
        if amount is None:
            return unknown("removal needs a yield goal and none is stated", steps)
        goal = goal_in(amount, row.yield_unit)
        if isinstance(goal, Missing):
            return unknown(goal.reason, steps)
        per = row.yield_unit.partition("/")[0]
        mass = row.rate_unit.partition("/")[0]
        figure = f"{row.low:g}" if row.low == row.high else f"{row.low:g} to {row.high:g}"
        part = "" if share == 1 else f" x {share:g}"
        low, high = row.low * goal * share, row.high * goal * share
        text = f"It takes {figure} {mass} {self.nutrient.value} per {per} x {goal:g}{part}"
        same = row.low == row.high
        steps.append(Step(text, low if same else f"{low:g} to {high:g}", unit, row.source))
        if row.note:
            steps.append(Step(row.note[0].upper() + row.note[1:], "remark", "", row.source))
        if use.kind == "browsed":
            steps.append(Step("Nothing counted as returned: no source prints it", "remark", "", USER))
        reason = f"{figure} {mass} per {per} leave with {goal:g} {row.yield_unit}{part}"
        if not same:
            reason = (
                f"the print gives {low:.3g} to {high:.3g} {unit} ({reason}): which rate is yours to decide"
            )
            return Rate(None, row.rate_unit, reason, tuple(steps), between=(low, high))
        return Rate(low, row.rate_unit, reason, tuple(steps), assumed=use.kind == "browsed")
