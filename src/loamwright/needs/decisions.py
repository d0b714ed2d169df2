"""What a person decides where the source leaves a choice, and what is still to decide.

This file answers "is this need asked of a person first, why, and what was decided?". It knows the four
places where a published figure is a choice: nitrogen on a legume mixture, a rate on ground nobody
sampled, a lab's rate of another season, lime above one dose where no dose rule is set. (A printed range,
and lime for a sample of another depth than its table assumes, are choices that the tables themselves
leave: `rates`, `lime_rules`.) It applies a decision to a published rate; the published figure stays
beside it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from loamwright.errors import InputError, Problem
from loamwright.soil import SoilTest
from loamwright.values import LAB, Source

#: Legume share from which nitrogen is a choice [percent of the stand]; `Settings.legume_share_no_n_pct`.
LEGUME_SHARE_PCT = 25.0
LEGUME_SOURCE = Source(
    "Penn State Forages, Nitrogen Management for Legumes & Grass Mixtures: no N above 25 to 30 percent; "
    "On Pasture, Concentrating on Nutrients (2013): 25 to 50 percent"
)
#: Lime product that one pass may carry where nobody chose a rule [kg/ha]: the lowest published limit for
#: fields, 2 tons/acre (MU Extension, P. Miller, How Much Lime To Apply?).
ONE_DOSE_KG_HA = 2 * 907.18474 / 0.40468564224
DOSE_SOURCE = Source("MU Extension, P. Miller, How Much Lime To Apply?: 2 tons/acre not worked in")

_LEGUMES = re.compile(r"clover|alfalfa|lucerne|trefoil|vetch|sainfoin|legume|peas?\b|lespedeza|medic", re.I)
_PARTNERS = re.compile(
    r"grass|mix|timothy|brome|fescue|rye|oats?\b|barley|wheat|triticale|chicory|brassica|meadow|pasture|hay",
    re.I,
)


@dataclass(frozen=True, slots=True)
class Decision:
    """What somebody decided about one nutrient, or lime, of one plot and season.

    Parameters
    ----------
    decision_id, plot_id, season
        Ids and season [calendar year].
    supply
        A `Nutrient` value, ``"lime"``, or ``"lime ENP"``: an amount of lime is of a basis.
    reason
        Why.
    decided_on, made_by
        When, and who.
    crop
        The crop it was decided for; empty = whatever grows there.
    rate_kg_ha
        Decided amount [kg/ha]; 0.0 is one. None = `share` decides.
    share
        Share of the published rate [fraction]; None = `rate_kg_ha` decides.
    """

    decision_id: str
    plot_id: str
    season: int
    supply: str
    reason: str
    decided_on: dt.date
    made_by: str = ""
    crop: str = ""
    rate_kg_ha: float | None = None
    share: float | None = None

    def __post_init__(self) -> None:
        if (self.rate_kg_ha is None) == (self.share is None):
            raise ValueError("a decision is an amount or a share, one of them")
        if (self.rate_kg_ha or 0.0) < 0 or (self.share or 0.0) < 0:
            raise ValueError("a decision is zero or more")

    def applied_to(self, published_kg_ha: float) -> float:
        """Return the decided rate.

        Parameters
        ----------
        published_kg_ha
            What the lab or the guideline says [kg/ha].

        Returns
        -------
        float
            [kg/ha]
        """
        if self.share is not None:
            return self.share * published_kg_ha
        return self.rate_kg_ha or 0.0

    @property
    def basis(self) -> str:
        """The basis an amount of lime was decided in: ``"ENP"``; empty = of no basis."""
        return self.supply.partition(" ")[2]

    def words(
        self,
        published_kg_ha: float | None,
        said: Callable[[float], str],
        between_kg_ha: tuple[float, float] | None = None,
    ) -> str:
        """Say what was decided, beside the published rate.

        Parameters
        ----------
        published_kg_ha
            What the lab or the guideline says [kg/ha]; None when it prints no one figure.
        said
            Says a rate [kg/ha] in the property's units.
        between_kg_ha
            The range it prints [kg/ha]; None when it prints none.

        Returns
        -------
        str
        """
        who = f" by {self.made_by}" if self.made_by else ""
        how = "" if self.share is None else f"{self.share:.0%} of it, "
        if published_kg_ha is not None:
            beside = f"{said(published_kg_ha)} is published"
        elif between_kg_ha is not None:
            low, high = between_kg_ha
            beside = f"{said(low).partition(' ')[0]} to {said(high)} is published"
        else:
            beside = "nothing is published"
        rate = said(self.applied_to(published_kg_ha or 0.0))
        return f"Decided{who} on {self.decided_on}: {how}{rate}, where {beside} ({self.reason})"


def governing_decision(
    decisions: Iterable[Decision], plot_id: str, season: int, supply: str, crop: str
) -> Decision | None:
    """Return the decision that holds for a need: the newest of its plot, season and supply, for this crop.

    Parameters
    ----------
    decisions
        In the order they were made.
    plot_id, season, supply, crop
        The need.

    Returns
    -------
    Decision or None
    """
    found = None
    for decision in decisions:
        about = decision.supply.partition(" ")[0]
        if (decision.plot_id, decision.season, about) == (plot_id, season, supply) and (
            not decision.crop or decision.crop.casefold() == crop.casefold()
        ):
            found = decision
    return found


@dataclass(frozen=True, slots=True)
class ToDecide:
    """A choice that the source leaves to a person.

    Parameters
    ----------
    why
        One sentence.
    source
        Where it says that it is a choice.
    """

    why: str
    source: Source


def is_legume_mixture(crop: str) -> bool:
    """Tell by its name whether a crop is a mixture with a legume in it.

    Parameters
    ----------
    crop
        As the user wrote it.

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_legume_mixture(name) for name in ("grass-legume hay", "clover-chicory", "alfalfa", "rye")]
    [True, True, False, False]
    """
    return bool(_LEGUMES.search(crop) and _PARTNERS.search(_LEGUMES.sub("", crop)))


def nitrogen_to_decide(
    crop: str, legume_pct: float | None, limit_pct: float = LEGUME_SHARE_PCT
) -> ToDecide | None:
    """Tell whether nitrogen on this stand is a choice: by the share stated, else by what the crop is called.

    Parameters
    ----------
    crop
        As written.
    legume_pct
        Share of legume [percent]; None = not stated.
    limit_pct
        Share from which it is a choice [percent].

    Returns
    -------
    ToDecide or None
        A stand at or above the limit, or a mixture whose share nobody stated.
    """
    if legume_pct is None:
        if not is_legume_mixture(crop):
            return None
        return ToDecide(
            f"{crop} holds legumes that feed the grass, and their share is not stated: from {limit_pct:g} % "
            "on, sources leave the nitrogen off",
            LEGUME_SOURCE,
        )
    if legume_pct >= limit_pct:
        return ToDecide(
            f"{legume_pct:g} % of {crop} is legume: from {limit_pct:g} % on, sources leave the nitrogen off",
            LEGUME_SOURCE,
        )
    return None


def lab_rates_to_decide(season: int, advised: Sequence[SoilTest]) -> ToDecide | None:
    """Tell whether a lab's rates are those of another season, and a choice therefore.

    A report that names no season, nor a crop of the record that tells it, counts as one of another season
    when its sample was taken before the calendar year that precedes this one.

    Parameters
    ----------
    season
        The season asked about [calendar year].
    advised
        Reports whose rates were written for the crop that grows.

    Returns
    -------
    ToDecide or None
    """
    for test in advised:
        if test.rates_season is not None and test.rates_season != season:
            written = " in ".join(filter(None, (test.rates_crop, str(test.rates_season))))
        elif test.rates_season is None and test.sampled_on is not None and test.sampled_on.year < season - 1:
            written = f"the crop of {test.sampled_on.year}"
        else:
            continue
        return ToDecide(
            f"the lab's rates (soil test {test.test_id}) were written for {written}, and this is {season}: "
            "as published, another amount, or a new sample",
            LAB,
        )
    return None


def unsampled_to_decide(supply: str, sampled: bool, source: Source) -> ToDecide | None:
    """Tell whether a rate stands on no soil sample and is a choice therefore.

    Parameters
    ----------
    supply
        A nutrient, or ``"lime"``. Nitrogen rates go by the crop and are no such choice.
    sampled
        Whether a sample of the plot speaks of it.
    source
        Where the flat rate is printed.

    Returns
    -------
    ToDecide or None
    """
    if sampled or supply == "N":
        return None
    return ToDecide(f"nobody sampled this ground for {supply}: the rate is a flat one", source)


def lime_to_decide(product_kg_ha: float | None, rule_set: bool, metric: bool = False) -> ToDecide | None:
    """Tell whether a lime need is above one dose while no dose rule is set.

    Parameters
    ----------
    product_kg_ha
        Lime product the need takes [kg/ha]; None = no lime on offer scores it.
    rule_set
        Whether the property has chosen a dose rule.
    metric
        True to say it in tonnes a hectare, False in tons an acre.

    Returns
    -------
    ToDecide or None
    """
    if rule_set or product_kg_ha is None or product_kg_ha <= ONE_DOSE_KG_HA * (1 + 1e-9):
        return None
    tonnes = f"{product_kg_ha / 1000:.2f} t/ha"
    tons = f"{product_kg_ha * 0.40468564224 / 907.18474:.2f} tons/acre"
    return ToDecide(
        f"{tonnes if metric else tons} of lime is more than one pass should carry, and no dose rule is "
        "chosen (settings, lime_dose_limit)",
        DOSE_SOURCE,
    )


def read_decision(text: str) -> tuple[str, float]:
    """Read what was decided: an amount, or a share of the published rate.

    Parameters
    ----------
    text
        ``"0"``, ``"40 lb/acre"``, ``"50 %"``, ``"published"``.

    Returns
    -------
    kind : str
        ``"rate_kg_ha"`` or ``"share"``.
    value : float
        [kg/ha] or [fraction].

    Raises
    ------
    InputError
        When it is none of these.

    Examples
    --------
    >>> read_decision("50 %"), read_decision("0"), read_decision("published")
    (('share', 0.5), ('rate_kg_ha', 0.0), ('share', 1.0))
    """
    from loamwright.units import parse_rate, read_number

    plain = text.strip().casefold()
    try:
        if plain in ("published", "as published"):
            return "share", 1.0
        if plain.endswith("%"):
            kind, value = "share", read_number(plain.removesuffix("%")) / 100
        elif plain in ("0", "none", "nothing"):
            kind, value = "rate_kg_ha", 0.0
        else:
            kind, value = "rate_kg_ha", parse_rate(text)
    except ValueError as error:
        raise InputError(
            [
                Problem(
                    "decide",
                    f"{text!r} is not understood: {str(error).partition('; ')[0]}",
                    "Write an amount (40 lb/acre, 0) or a share of the published rate (50 %, published).",
                )
            ]
        ) from error
    if value < 0:
        raise InputError([Problem("decide", f"{text!r} is negative", "Write zero or more.")])
    return kind, value
