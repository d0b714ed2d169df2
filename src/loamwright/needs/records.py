"""What a plot needs, what counts against it, and the steps that led there."""

from __future__ import annotations

from dataclasses import dataclass

from loamwright.errors import Problem
from loamwright.values import LimeBasis, NeedState, Nutrient, Source, Step, Supply, Timing

# ---------------------------------------------------------------------------------------------
# Needs


@dataclass(frozen=True, slots=True)
class Credit:
    """Something that already supplies part of a gross need.

    Parameters
    ----------
    what
        ``"legume: harvested red clover"``, ``"applied 2026-05-02: urea"`` …
    rate_kg_ha
        Amount credited [kg/ha of the nutrient], never negative.
    source
        Where the figure comes from.
    """

    what: str
    rate_kg_ha: float
    source: Source


@dataclass(frozen=True, slots=True)
class Need:
    """What one plot needs of one nutrient this season.

    Parameters
    ----------
    plot_id, nutrient
        Which.
    state
        Needed, none (because …) or unknown (because …).
    reason
        One sentence a person can read.
    gross_kg_ha
        Before credits [kg/ha]; None when unknown.
    rate_kg_ha, mass_kg
        Still to be supplied per area [kg/ha] and for the plot's spread area [kg];
        0.0 when state is none, None when unknown.
    credits
        Taken off, line by line.
    timings
        (timing, share of the rate) when the source splits it; empty = one dose, any timing.
    steps
        The chain from lab number to pounds.
    assumed
        True when a default of ours was used (for example the lowest yield row).
    published_kg_ha
        What the lab or guideline asks for, still to be supplied [kg/ha], where a person decides or has
        decided; None where there is nothing to decide.
    rest_m2
        Ground the amount is for [m2] when another part of the plot has got its share; None = all of it.
    topup_kg
        Still short, and too little for a trip: listed, not planned [kg].
    edition, edition_status
        Id of the edition it stands on and what that is good for (`Status`); ``"lab"`` for the lab's own
        figure, ``"your standard rate"`` for the user's; both empty when nothing answered.
    between_kg_ha
        Lowest and highest rate the print allows, where the choice is a person's, made or not [kg/ha]; None
        where the print leaves none.
    at_least
        True when the print ends before the case, so that more may be needed.
    """

    plot_id: str
    nutrient: Nutrient
    state: NeedState
    reason: str
    gross_kg_ha: float | None = None
    rate_kg_ha: float | None = None
    mass_kg: float | None = None
    credits: tuple[Credit, ...] = ()
    timings: tuple[tuple[Timing, float], ...] = ()
    steps: tuple[Step, ...] = ()
    assumed: bool = False
    published_kg_ha: float | None = None
    rest_m2: float | None = None
    topup_kg: float | None = None
    edition: str = ""
    edition_status: str = ""
    between_kg_ha: tuple[float, float] | None = None
    at_least: bool = False

    @property
    def supply(self) -> Supply:
        """What would meet it."""
        return self.nutrient.supply


@dataclass(frozen=True, slots=True)
class LimeNeed:
    """What one plot needs of effective lime.

    Parameters
    ----------
    plot_id, state, reason
        Which, the three-valued answer, and why.
    basis
        What the rate is pounds of; None when unknown or none.
    rate_kg_ha, mass_kg
        Effective lime per area [kg basis/ha] and for the spread area [kg basis];
        0.0 when none, None when unknown.
    target_ph, depth_m
        Target pH, and the soil depth the rate treats [m].
    dolomitic
        True when soil Mg asks for dolomitic lime, False when not, None = not tested.
    steps
        The chain.
    published_kg_ha, rest_m2, topup_kg, edition, edition_status, between_kg_ha, at_least
        As in `Need`.
    """

    plot_id: str
    state: NeedState
    reason: str
    basis: LimeBasis | None = None
    rate_kg_ha: float | None = None
    mass_kg: float | None = None
    target_ph: float | None = None
    depth_m: float | None = None
    dolomitic: bool | None = None
    steps: tuple[Step, ...] = ()
    published_kg_ha: float | None = None
    rest_m2: float | None = None
    topup_kg: float | None = None
    edition: str = ""
    edition_status: str = ""
    between_kg_ha: tuple[float, float] | None = None
    at_least: bool = False

    @property
    def supply(self) -> Supply | None:
        """What would meet it; None when its basis is not known."""
        return None if self.basis is None else self.basis.supply


@dataclass(frozen=True, slots=True)
class PlotNeeds:
    """All needs of one plot: one `Need` per nutrient looked at, and lime."""

    plot_id: str
    needs: tuple[Need, ...]
    lime: LimeNeed
    problems: tuple[Problem, ...] = ()

    def of(self, nutrient: Nutrient) -> Need | None:
        """Return the need of one nutrient, or None when it was not looked at.

        Parameters
        ----------
        nutrient
            Which nutrient.

        Returns
        -------
        Need or None
        """
        return next((need for need in self.needs if need.nutrient is nutrient), None)
