"""May these products share a hopper, and who says so?

Four answers: *yes*, *at once* (mix and spread the same day), *no*, and *not stated*. What is not stated is
planned apart, and the saving it would bring is the user's to decide. Lime, dry fertilizer and liquids never
share a load: ammonium fertilizers and phosphates react with lime (Fertilizer Compatibility and Storage,
SEAP-3024, International Plant Nutrition Institute, 2013).

A label names no compatibility, so a product is recognised as a material by its guaranteed analysis; a
compound or blend is not recognised, and nothing is stated about it.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from loamwright.supplies.records import Form, Product
from loamwright.values import MixDecision, Nutrient, Source


class MixAnswer(StrEnum):
    """What is said of two products in one hopper."""

    YES = "yes"
    AT_ONCE = "at once"
    NO = "no"
    NOT_STATED = "not stated"


#: Answers under which two products may share a load.
MAY_SHARE = frozenset({MixAnswer.YES, MixAnswer.AT_ONCE})


@dataclass(frozen=True, slots=True)
class Material:
    """How a material is recognised on a label.

    Parameters
    ----------
    name
        As the pairs name it.
    percent
        Nutrient to the lowest and highest guarantee [percent]; every other nutrient but Ca and Mg is absent.
    source
        Where the guarantees were read.
    """

    name: str
    percent: Mapping[Nutrient, tuple[float, float]]
    source: Source


@dataclass(frozen=True, slots=True)
class MixRule:
    """What a publication says of one pair of materials.

    Parameters
    ----------
    one, other
        Names of materials.
    answer, condition
        What it says, and under which condition.
    source
        Who says so.
    """

    one: str
    other: str
    answer: MixAnswer
    condition: str
    source: Source


@dataclass(frozen=True, slots=True)
class MixTable:
    """The published pairs and the materials they speak of."""

    materials: tuple[Material, ...]
    rules: tuple[MixRule, ...]


@dataclass(frozen=True, slots=True)
class Mix:
    """The answer for two products.

    Parameters
    ----------
    one, other
        Products.
    answer, because
        The answer, and what it rests on.
    source
        Who says so; None for what nobody states.
    """

    one: str
    other: str
    answer: MixAnswer
    because: str
    source: Source | None


#: Nutrients a material may name or not.
_CARRIED = frozenset({Nutrient.CA, Nutrient.MG})


def material_of(product: Product, table: MixTable) -> str:
    """Recognise the material of a product by its guaranteed analysis; empty when the table has none."""
    if product.form is not Form.DRY:
        return ""
    seen: dict[Nutrient, float] = {
        nutrient: percent
        for nutrient, percent in product.analysis_pct.items()
        if percent and nutrient not in _CARRIED
    }
    for material in table.materials:
        if seen.keys() == material.percent.keys() and all(
            low <= seen[nutrient] <= high for nutrient, (low, high) in material.percent.items()
        ):
            return material.name
    return ""


def may_mix(one: Product, other: Product, table: MixTable, decisions: Sequence[MixDecision] = ()) -> Mix:
    """Tell whether two products may share a load.

    Parameters
    ----------
    one, other
        The products.
    table
        The published pairs.
    decisions
        The user's own; they settle only what is not stated, and may forbid anything.

    Returns
    -------
    Mix
    """
    names = (one.product, other.product)
    if one.form is not other.form or one.form is not Form.DRY:
        return Mix(*names, MixAnswer.NO, "lime, dry fertilizer and liquids go on in trips of their own", None)
    found = _published(one, other, table)
    for decision in decisions:
        if {decision.one, decision.other} != set(names):
            continue
        because = f"decided for this property: {decision.reason}".rstrip(": ")
        if not decision.may:
            return Mix(*names, MixAnswer.NO, because, None)
        if found.answer is MixAnswer.NOT_STATED:
            return Mix(*names, MixAnswer.AT_ONCE, because, None)
    return found


def _published(one: Product, other: Product, table: MixTable) -> Mix:
    names = (one.product, other.product)
    materials = (material_of(one, table), material_of(other, table))
    if "" in materials:
        unknown = " and ".join(name for name, known in zip(names, materials, strict=True) if not known)
        return Mix(*names, MixAnswer.NOT_STATED, f"no page read names {unknown}", None)
    if materials[0] == materials[1]:
        return Mix(*names, MixAnswer.YES, f"both are {materials[0]}", None)
    for rule in table.rules:
        if {rule.one, rule.other} == set(materials):
            return Mix(*names, rule.answer, rule.condition, rule.source)
    return Mix(*names, MixAnswer.NOT_STATED, f"no page read states {materials[0]} with {materials[1]}", None)


def mixes(
    products: Sequence[Product], table: MixTable, decisions: Sequence[MixDecision] = ()
) -> tuple[Mix, ...]:
    """Answer for every pair of dry products.

    Parameters
    ----------
    products
        Products of the property.
    table, decisions
        As `may_mix`.

    Returns
    -------
    tuple of Mix
        In the order of the products' names.
    """
    dry = sorted((one for one in products if one.form is Form.DRY), key=lambda one: one.product)
    return tuple(may_mix(one, other, table, decisions) for one, other in itertools.combinations(dry, 2))


def pairs_that_may(found: Sequence[Mix], undecided: bool = False) -> frozenset[frozenset[str]]:
    """Take the pairs that may share a load out of a list of answers.

    Parameters
    ----------
    found
        The answers.
    undecided
        True to let pairs share a load that nobody states anything about: what deciding them could bring.

    Returns
    -------
    frozenset of frozenset of str
    """
    allowed = MAY_SHARE | {MixAnswer.NOT_STATED} if undecided else MAY_SHARE
    return frozenset(frozenset((mix.one, mix.other)) for mix in found if mix.answer in allowed)
