"""What comes out when products are mixed, and what to mix for a grade.

This file answers: which grade is this mixture; how many pounds of each carrier, and how much filler, make
a ton of a wanted grade; how much of another product replaces one that was recommended. Which mixture is
cheapest is the planner's to find; which products may be mixed at all is said by `cautions`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loamwright.errors import InputError, Problem
from loamwright.supplies.costs import product_needed
from loamwright.supplies.products import nutrient_fractions
from loamwright.supplies.records import Product
from loamwright.units import LB_KG, format_figure
from loamwright.values import ARITHMETIC, Nutrient, Step, Supply

_NPK = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)


@dataclass(frozen=True, slots=True)
class Blend:
    """A mixture of products.

    Parameters
    ----------
    parts
        (product, mass [kg]) in the order given.
    filler_kg
        Inert filler [kg].
    mass_kg
        All together [kg].
    analysis_pct
        What the mixture guarantees, from what its parts guarantee [percent by weight, label basis].
    steps
        How it was reached.
    """

    parts: tuple[tuple[Product, float], ...]
    filler_kg: float
    mass_kg: float
    analysis_pct: Mapping[Nutrient, float]
    steps: tuple[Step, ...]

    @property
    def grade(self) -> str:
        """N-P2O5-K2O to a tenth of a percent."""
        return "-".join(f"{self.analysis_pct.get(nutrient, 0.0):.1f}" for nutrient in _NPK)


def blend(parts: Sequence[tuple[Product, float]], filler_kg: float = 0.0) -> Blend:
    """Work out the analysis of a mixture.

    Parameters
    ----------
    parts
        (product, mass [kg]).
    filler_kg
        Inert filler [kg].

    Returns
    -------
    Blend

    Raises
    ------
    InputError
        When a mass is negative or all are zero.

    Notes
    -----
    percent = Σ mass × percent / total mass. A nutrient that a part does not guarantee is not counted for
    it, so the mixture may hold more.
    """
    wrong = [f"{product.product}: {mass:g} kg" for product, mass in parts if mass < 0]
    total_kg = sum(mass for _product, mass in parts) + filler_kg
    if wrong or filler_kg < 0 or total_kg <= 0:
        what = f"these amounts cannot be mixed: {', '.join(wrong) or f'{total_kg:g} kg in all'}"
        raise InputError([Problem("blend", what, "Give amounts over zero.")])
    masses_kg: dict[Nutrient, float] = {}
    steps = []
    for product, mass_kg in parts:
        for nutrient, fraction in nutrient_fractions(product).fractions.items():
            masses_kg[nutrient] = masses_kg.get(nutrient, 0.0) + mass_kg * fraction
            if fraction > 0:
                words = (
                    f"{format_figure(mass_kg / LB_KG)} lb {product.product} × "
                    f"{format_figure(fraction * 100)} % {nutrient.value}"
                )
                steps.append(Step(words, mass_kg * fraction / LB_KG, f"lb {nutrient.value}", ARITHMETIC))
    analysis = {nutrient: mass / total_kg * 100 for nutrient, mass in masses_kg.items()}
    steps.extend(
        Step(
            f"{format_figure(masses_kg[nutrient] / LB_KG)} lb {nutrient.value} ÷ "
            f"{format_figure(total_kg / LB_KG)} lb",
            pct,
            f"% {nutrient.value}",
            ARITHMETIC,
        )
        for nutrient, pct in analysis.items()
    )
    return Blend(tuple(parts), filler_kg, total_kg, analysis, tuple(steps))


def formulate(target_pct: Mapping[Nutrient, float], carriers: Sequence[Product], batch_kg: float) -> Blend:
    """Work out the pounds of each carrier, and of filler, that make a grade.

    Parameters
    ----------
    target_pct
        Wanted analysis [percent by weight]; nutrients absent or zero are left to fall as they may.
    carriers
        As many products as nutrients wanted; a carrier may bring several.
    batch_kg
        Size of the batch [kg].

    Returns
    -------
    Blend
        Its analysis also shows what the carriers bring beside the target.

    Raises
    ------
    InputError
        When the carriers cannot make that grade, or do not fit into the batch.

    Notes
    -----
    One linear equation for each wanted nutrient: Σ mass × fraction = batch × target. With more carriers
    than nutrients there is a choice, and then the cheapest is the planner's to find.

    Examples
    --------
    A ton of 0-8-8 takes 800 lb of 0-20-0 (NC State example), and filler:

    >>> from loamwright.supplies import Form
    >>> carriers = [
    ...     Product("0-20-0", Form.DRY, {Nutrient.P2O5: 20}),
    ...     Product("0-0-60", Form.DRY, {Nutrient.K2O: 60}),
    ... ]
    >>> made = formulate({Nutrient.P2O5: 8, Nutrient.K2O: 8}, carriers, 2000 * LB_KG)
    >>> [round(mass / LB_KG, 1) for _product, mass in made.parts], round(made.filler_kg / LB_KG, 1)
    ([800.0, 266.7], 933.3)
    """
    import numpy as np

    wanted = [nutrient for nutrient, pct in target_pct.items() if pct > 0]
    name = ", ".join(f"{target_pct[nutrient]:g} % {nutrient.value}" for nutrient in wanted)
    used = ", ".join(product.product for product in carriers)
    if len(wanted) != len(carriers):
        what = f"{len(wanted)} nutrients are wanted ({name}) from {len(carriers)} carriers ({used})"
        raise InputError([Problem("blend", what, "Name one carrier for each nutrient.")])
    contents = [nutrient_fractions(product).fractions for product in carriers]
    matrix = np.array([[content.get(nutrient, 0.0) for content in contents] for nutrient in wanted])
    goal_kg = np.array([batch_kg * target_pct[nutrient] / 100 for nutrient in wanted])
    try:
        masses_kg = [float(mass) for mass in np.linalg.solve(matrix, goal_kg)]
    except np.linalg.LinAlgError:
        what = f"{used} cannot make {name}: one nutrient has no carrier of its own"
        raise InputError([Problem("blend", what, "Choose other carriers.")]) from None
    negative = [product.product for product, mass in zip(carriers, masses_kg, strict=True) if mass < -1e-9]
    filler_kg = batch_kg - sum(masses_kg)
    if negative:
        what = f"{name} would take less than nothing of {', '.join(negative)}"
        raise InputError([Problem("blend", what, "Choose carriers with less of the other nutrients.")])
    if filler_kg < -1e-9 * batch_kg:
        what = f"the carriers of {name} weigh {sum(masses_kg) / batch_kg:.0%} of the batch"
        raise InputError([Problem("blend", what, "Lower the grade or choose stronger carriers.")])
    return blend(list(zip(carriers, masses_kg, strict=True)), max(0.0, filler_kg))


@dataclass(frozen=True, slots=True)
class Substitution:
    """Another product in place of a recommended one.

    Parameters
    ----------
    mass_kg
        Of the other product [kg].
    change_kg
        How much more (or less, negative) of each nutrient that brings [kg].
    steps
        How it was reached.
    """

    mass_kg: float
    change_kg: Mapping[Nutrient, float]
    steps: tuple[Step, ...]


def substitute(recommended: Product, mass_kg: float, instead: Product, supply: Supply) -> Substitution:
    """Work out how much of another product brings the same amount of one nutrient.

    Examples
    --------
    40 lb of a 5 % N product is 25 lb of an 8 % one (UMaine example):

    >>> from loamwright.supplies import Form
    >>> five, eight = (Product(f"{n}-0-0", Form.DRY, {Nutrient.N: n}) for n in (5, 8))
    >>> round(substitute(five, 40 * LB_KG, eight, "N").mass_kg / LB_KG, 6)
    25.0
    """
    per_kg = product_needed(recommended, supply, 1.0).amount
    nutrient_kg = mass_kg / per_kg
    needed = product_needed(instead, supply, nutrient_kg)
    before, after = nutrient_fractions(recommended).fractions, nutrient_fractions(instead).fractions
    change = {
        nutrient: needed.amount * after.get(nutrient, 0.0) - mass_kg * before.get(nutrient, 0.0)
        for nutrient in {**before, **after}
    }
    pounds, nutrient_lb = format_figure(mass_kg / LB_KG), format_figure(nutrient_kg / LB_KG)
    words = f"{pounds} lb {recommended.product} hold {nutrient_lb} lb {supply}, as much as {instead.product}"
    step = Step(words, needed.amount / LB_KG, "lb", ARITHMETIC)
    return Substitution(needed.amount, change, (step,))
