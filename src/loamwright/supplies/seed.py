"""Pure live seed: what of a bag of seed can grow, and what that costs.

This file answers "how many pounds from this bag make a pound of pure live seed, and at what price?" from
the figures of a seed tag. A coating is not a figure of its own here: the tag of coated seed already counts
it as inert, so its purity is lower. Whether to raise the rate of coated seed is disputed (University of
Kentucky no, a Texas trial yes); the tool shows the arithmetic and leaves the choice to the user.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loamwright.errors import InputError, Problem
from loamwright.units import format_figure
from loamwright.values import LABEL, Source, Step

_PENN_STATE = Source("Penn State Extension, Calculating the Price of Pure Live Seed")


@dataclass(frozen=True, slots=True)
class SeedLot:
    """Pure live seed in a lot.

    Parameters
    ----------
    pls_fraction
        Pure live seed per seed as bagged [kg/kg].
    bulk_per_pls
        Seed as bagged for a mass of pure live seed [kg/kg].
    steps
        How it was reached.
    """

    pls_fraction: float
    bulk_per_pls: float
    steps: tuple[Step, ...]


def pure_live_seed(purity_pct: float, germination_pct: float, hard_or_dormant_pct: float = 0.0) -> SeedLot:
    """Work out the pure live seed of a lot from its tag.

    Notes
    -----
    pure live seed = purity × (germination + hard or dormant, when counted); bulk = 1 / pure live seed.

    References
    ----------
    Penn State Extension, Calculating the Price of Pure Live Seed.

    Examples
    --------
    >>> round(pure_live_seed(92, 80).pls_fraction, 3), round(pure_live_seed(85, 60).bulk_per_pls, 2)
    (0.736, 1.96)
    """
    figures = {
        "purity": purity_pct,
        "germination": germination_pct,
        "hard or dormant seed": hard_or_dormant_pct,
        "germination with hard seed": germination_pct + hard_or_dormant_pct,
    }
    problems = [
        Problem(f"seed tag, {name}", f"{value:g} % is not between 0 and 100 %", "Copy it from the tag.")
        for name, value in figures.items()
        if not (math.isfinite(value) and 0 <= value <= 100)
    ]
    if problems:
        raise InputError(problems)
    live_pct = germination_pct + hard_or_dormant_pct
    fraction = purity_pct / 100 * live_pct / 100
    if fraction <= 0:
        what = f"purity {purity_pct:g} % and germination {live_pct:g} % leave no live seed"
        raise InputError([Problem("seed tag", what, "Copy both from the tag.")])
    words = f"purity {format_figure(purity_pct)} % × germination {format_figure(live_pct)} %"
    steps = (
        Step(words, fraction * 100, "% pure live seed", _PENN_STATE),
        Step("seed as bagged for a pound of pure live seed", 1 / fraction, "lb", LABEL),
    )
    return SeedLot(fraction, 1 / fraction, steps)


def price_of_pure_live_seed(price_per_kg: float, lot: SeedLot) -> float:
    """Work out what pure live seed costs.

    Examples
    --------
    $2.50 a pound at 99 % purity and 90 % germination:

    >>> round(price_of_pure_live_seed(2.50, pure_live_seed(99, 90)), 2)
    2.81
    """
    return price_per_kg * lot.bulk_per_pls


def bulk_rate_kg_ha(pls_kg_ha: float, lot: SeedLot) -> float:
    """Work out the seed as bagged for a rate of pure live seed."""
    return pls_kg_ha * lot.bulk_per_pls
