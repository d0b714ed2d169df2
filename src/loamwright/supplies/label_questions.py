"""Questions about figures on labels, tags and tickets: a mix, its ingredients, live seed, a lime's worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loamwright.errors import InputError, Level, Problem
from loamwright.money import money_sign
from loamwright.supplies import blends, lime_score, products, seed
from loamwright.supplies.asking import find_product, fitting
from loamwright.supplies.blends import Blend
from loamwright.supplies.lime_score import LimeDoses, LimeOffer, LimeScore, SieveFormula
from loamwright.supplies.records import KnownMaterial, Offer, Product
from loamwright.supplies.seed import SeedLot
from loamwright.supplies.shopping import PriceList, _refusal, doubts
from loamwright.units import LB_KG, format_figure, format_rate
from loamwright.values import ARITHMETIC, USER, LimeBasis, Nutrient, Step


def named_label(prices: PriceList, words: str) -> Product:
    """Find a label by words of its name; a refusal names the rows left out as well."""
    try:
        return find_product(words, prices.products)
    except InputError as error:
        raise _refusal(prices, error) from error


# ---------------------------------------------------------------------------------------------
# What is in the mix?


def mix(prices: PriceList, parts: Sequence[tuple[str, float]], filler_kg: float = 0.0) -> Mixture:
    """Work out the grade of a mixture of products of the list.

    Parameters
    ----------
    prices
        What there is to choose from.
    parts
        (words for the product, mass [kg]).
    filler_kg
        Inert filler [kg].

    Returns
    -------
    Mixture

    Raises
    ------
    InputError
        When a product is not found or the amounts cannot be mixed.
    """
    made = blends.blend([(named_label(prices, words), mass_kg) for words, mass_kg in parts], filler_kg)
    return Mixture(made, doubts(prices, *(product for product, _ in made.parts)))


def formulate(
    prices: PriceList, grade_pct: Mapping[Nutrient, float], carriers: Sequence[str], batch_kg: float
) -> Mixture:
    """Work out the pounds of chosen products, and of filler, that make a grade.

    Parameters
    ----------
    prices
        What there is to choose from.
    grade_pct
        Wanted analysis [percent by weight]; what is zero is left to fall as it may.
    carriers
        Words for one product for each nutrient wanted.
    batch_kg
        Size of the batch [kg].

    Returns
    -------
    Mixture

    Raises
    ------
    InputError
        When a product is not found, or these cannot make that grade.
    """
    labels = [named_label(prices, words) for words in carriers]
    return Mixture(blends.formulate(grade_pct, labels, batch_kg), doubts(prices, *labels))


# ---------------------------------------------------------------------------------------------
# What does such a material usually hold?


def find_materials(known: Sequence[KnownMaterial], words: str = "") -> tuple[KnownMaterial, ...]:
    """List common materials with published figures.

    Parameters
    ----------
    known
        All of them.
    words
        Words of their names; empty = all.

    Returns
    -------
    tuple of KnownMaterial

    Raises
    ------
    InputError
        When no name holds these words; the message lists the names.
    """
    if not words.strip():
        return tuple(known)
    names = [material.product.product for material in known]
    places = fitting(words, names)
    if not places:
        what = f"{words!r} is not among the materials with published figures"
        raise InputError([Problem("material", what, f"Use words of: {', '.join(names)}.")])
    return tuple(known[place] for place in places)


# ---------------------------------------------------------------------------------------------
# What of the bag is live seed?


def live_seed(tag: SeedTag, price_per_kg: float | None, pls_rate_kg_ha: float | None) -> SeedAnswer:
    """Work out the pure live seed of a lot from its tag, what it costs, and how much to sow.

    Parameters
    ----------
    tag
        The tag.
    price_per_kg
        Price of the seed as bagged [money/kg]; None = not asked.
    pls_rate_kg_ha
        Rate of pure live seed wanted [kg/ha]; None = not asked.

    Returns
    -------
    SeedAnswer

    Raises
    ------
    InputError
        When a figure of the tag is not possible.
    """
    lot = seed.pure_live_seed(tag.purity_pct, tag.germination_pct, tag.hard_pct)
    bulk = format_figure(lot.bulk_per_pls)
    steps = list(lot.steps)
    pls_price = bulk_rate = None
    if price_per_kg is not None:
        pls_price = seed.price_of_pure_live_seed(price_per_kg, lot)
        words = f"{format_figure(price_per_kg * LB_KG)} {money_sign()}/lb as bagged × {bulk} lb"
        steps.append(Step(words, pls_price * LB_KG, f"{money_sign()}/lb pure live seed", ARITHMETIC))
    if pls_rate_kg_ha is not None:
        bulk_rate = seed.bulk_rate_kg_ha(pls_rate_kg_ha, lot)
        words = f"{format_rate(pls_rate_kg_ha)} of pure live seed × {bulk}"
        steps.append(Step(words, format_rate(bulk_rate), "as bagged", ARITHMETIC))
    return SeedAnswer(lot, price_per_kg, pls_price, pls_rate_kg_ha, bulk_rate, tuple(steps))


# ---------------------------------------------------------------------------------------------
# What is this lime worth?


def lime_worth(prices: PriceList, words: str, question: LimeQuestion) -> LimeAnswer:
    """Score a lime, and work out how much of it meets a need, in which doses, and what it costs.

    Parameters
    ----------
    prices
        What there is to choose from.
    words
        The product asked about.
    question
        What is asked.

    Returns
    -------
    LimeAnswer

    Raises
    ------
    InputError
        When the product is not found or is no lime, a need has no basis or cannot be met, a rule is not
        known or has no need to divide.
    """
    limes = [item for item in prices.products if item.lime is not None]
    among_limes = fitting(words, [item.product for item in limes])
    label = find_product(words, limes) if among_limes else named_label(prices, words)
    if label.lime is None:
        names = ", ".join(repr(item.product) for item in limes)
        fix = f"Use one of: {names}." if names else "Add cce, sieves or a printed score to its row."
        raise InputError([Problem(f"product {label.product}", "it has no lime label", fix)])
    basis, need_kg_ha = question.basis, question.need_kg_ha
    if need_kg_ha is not None and basis is None:
        what = "the need does not say which effective pounds it means"
        raise InputError([Problem("need", what, "Write for example '3000 lb ENP/acre'.")])
    if question.limit_id and need_kg_ha is None:
        what = f"{question.limit_id!r} divides a need, and none is given"
        raise InputError([Problem("doses", what, "Add `need` '3000 lb ENP/acre'.")])
    first = lime_score.printed_basis(label.lime)
    known = (b for b in LimeBasis if b not in (LimeBasis.PRODUCT, LimeBasis.OWN))
    bases = sorted(known, key=lambda b: b is not first)
    scores = tuple(lime_score.score(label, item) for item in (bases if basis is None else [basis]))
    if question.formula is not None:
        scores = (lime_score.score_by(label, question.formula),)
    steps = [step for score in scores for step in score.steps]
    product_kg_ha = doses = None
    if need_kg_ha is not None:
        needed = lime_score.product_for_need(need_kg_ha, scores[0], label.product)
        product_kg_ha = needed.amount
        steps.append(Step(f"need of {scores[0].basis.value}", format_rate(need_kg_ha), "", USER))
        steps.append(replace(needed.steps[-1], value=format_rate(product_kg_ha), unit="of product"))
        if question.limit_id:
            doses = lime_score.split_doses(product_kg_ha, lime_score.dose_limit(question.limit_id))
            steps.extend(doses.steps)
    magnesium = lime_score.magnesium_note(label, True) if question.low_magnesium else None
    offers = tuple(offer for offer in prices.offers if offer.product == label.product)
    asked = {score.basis: len(score.steps) for score in scores}
    rows = [
        (row.offer, tuple(entry for entry in row.lime if entry.basis in asked))
        for row in products.compare([label], offers).offers
    ]
    steps.extend(
        step for _, entries in rows for entry in entries for step in entry.steps[asked[entry.basis] :]
    )
    if magnesium is not None:
        steps.append(magnesium)
    unknown = (
        Problem(
            f"product {label.product}, {score.basis.value}",
            score.reason,
            "Ask the seller for the score, or for what is missing.",
            Level.WARNING,
        )
        for score in scores
        if score.fraction is None and basis is not None
    )
    return LimeAnswer(
        label=label,
        scores=scores,
        offers=tuple(rows),
        need_kg_ha=need_kg_ha,
        product_kg_ha=product_kg_ha,
        doses=doses,
        magnesium=magnesium,
        steps=tuple(steps),
        problems=(*unknown, *doubts(prices, label)),
    )


# ---------------------------------------------------------------------------------------------
# Mixtures


@dataclass(frozen=True, slots=True)
class Mixture:
    """A mixture of products of the list.

    Parameters
    ----------
    blend
        Its parts and analysis.
    problems
        Doubts about the labels.
    """

    blend: Blend
    problems: tuple[Problem, ...]


# ---------------------------------------------------------------------------------------------
# Seed


@dataclass(frozen=True, slots=True)
class SeedTag:
    """The figures of a seed tag.

    Parameters
    ----------
    purity_pct, germination_pct, hard_pct
        Pure seed, germination, and hard or dormant seed to be counted as live [percent].
    """

    purity_pct: float
    germination_pct: float
    hard_pct: float = 0.0


@dataclass(frozen=True, slots=True)
class SeedAnswer:
    """Pure live seed of a lot, its price, and the seed as bagged for a rate.

    Parameters
    ----------
    lot
        Pure live seed in it.
    price_per_kg, pls_price_per_kg
        Price as bagged and of pure live seed [money/kg]; None = no price given.
    pls_rate_kg_ha, bulk_rate_kg_ha
        Rate of pure live seed asked for, and of seed as bagged [kg/ha]; None = no rate given.
    steps
        How it was reached.
    """

    lot: SeedLot
    price_per_kg: float | None
    pls_price_per_kg: float | None
    pls_rate_kg_ha: float | None
    bulk_rate_kg_ha: float | None
    steps: tuple[Step, ...]


# ---------------------------------------------------------------------------------------------
# Lime


@dataclass(frozen=True, slots=True)
class LimeQuestion:
    """What is asked about a lime.

    Parameters
    ----------
    basis
        Score wanted; None = every score the label may have.
    need_kg_ha
        Effective lime wanted, in pounds of `basis` [kg/ha]; None = not asked.
    limit_id
        Published rule for how much goes on at once (`lime_score.DOSE_LIMITS`); empty = not asked.
    low_magnesium
        True when the soil test shows low magnesium.
    formula
        The user's own sieve formula, which then scores it alone; None = not given.
    """

    basis: LimeBasis | None = None
    need_kg_ha: float | None = None
    limit_id: str = ""
    low_magnesium: bool = False
    formula: SieveFormula | None = None


@dataclass(frozen=True, slots=True)
class LimeAnswer:
    """What a lime is worth, how much of it is needed, in which doses, and what an effective ton costs.

    Parameters
    ----------
    label
        The product.
    scores
        In each basis asked; a score that cannot be known carries the reason.
    offers
        Every offer of it with its worth in each of those bases.
    need_kg_ha, product_kg_ha
        Effective lime asked for, and the product that brings it [kg/ha]; None = not asked.
    doses
        The product divided by the rule; None = not asked.
    magnesium
        What to say of magnesium, or None.
    steps
        How it was reached.
    problems
        What cannot be known; doubts about the label.
    """

    label: Product
    scores: tuple[LimeScore, ...]
    offers: tuple[tuple[Offer, tuple[LimeOffer, ...]], ...]
    need_kg_ha: float | None
    product_kg_ha: float | None
    doses: LimeDoses | None
    magnesium: Step | None
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]
