"""What a pound of a lime product is worth, how much of it to buy, and how much to spread at once.

This file answers: how many effective pounds are in a pound of this product, by which state's rule; how
much product meets a need; what an effective ton costs; and into how many doses a large rate is split.
How much lime a soil needs is not asked here, nor (see `ingredients`) how much nitrogen will use up.

The states' scores are not interchangeable. The same stone scores differently under each table, and
Missouri's pound is smaller still (pure fine calcium carbonate scores 800 lb ENM a ton, 2,000 lb ECCE).
So a score is always tied to its `LimeBasis` and nothing here converts one into another. Only sieve
factors that were read are built in, each with where; Ohio's were read at second hand, and that is said. A
Minnesota ENP is taken from the printed label only. A formula of the user's own comes with its source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from loamwright.errors import InputError, Problem
from loamwright.money import format_money, money_sign
from loamwright.supplies.records import LimeLabel, Product
from loamwright.units import (
    LB_ACRE_KG_HA,
    TON_ACRE_KG_HA,
    TON_KG,
    format_figure,
    format_rate,
    read_number,
)
from loamwright.values import ARITHMETIC, LABEL, LimeBasis, Nutrient, Source, Step

# ---------------------------------------------------------------------------------------------
# Sources

_IOWA = Source(
    "Univ. of Wisconsin-Madison Soil Science, C. Laboski, Liming Terminology and Analysis",
    "",
    "Iowa ECCE (example credited to J. Sawyer, Iowa State)",
)
_MISSOURI = Source("Missouri Agricultural Experiment Station, Ag Lime Control Service", "", "ENM")
_NEW_YORK = Source("Cornell Univ., Northeast Region CCA study material, Soil Fertility", "", "PO 41")
_MISSISSIPPI = Source("Mississippi State Univ. Extension P3762, Agricultural Limestone's Neutralizing Value")
_MICHIGAN = Source("MSU Extension, J. Isleib, Selecting a liming material, Part 1")
_PENN_STATE = Source("Penn State Agronomy Guide", "", "Part 1 Section 2, Limestone recommendation")
_NEBRASKA = Source("Univ. of Nebraska, Soils Part 4: Soil pH, Quality of Agricultural Limestone")
_ONTARIO = Source("OMAFRA, Sources of Agricultural Limestone", "", "fineness rating, Agricultural Index")
_OHIO_METHOD = Source(
    "British Columbia Ministry of Agriculture, Soil Factsheet 637.200-2", "2015", "method developed in Ohio"
)
_E2567 = Source(
    "MSU Bulletin E-2567, Vitosh, Johnson, Mengel, Tri-state Fertilizer Recommendations", "1995", "lime"
)
_OHIO = Source("OSU Extension, G. LaBarge, Comparing the cost of lime sources", "April 2023")
_OHIO_MG = Source("Ohio's Country Journal, Select a lime source based on ENP", "August 2014")
_WEST_AUSTRALIA = Source(
    "Western Australia DPIRD, Comparing limes", "2018", "Tables 1 and 2", "efficiency percent"
)

# ---------------------------------------------------------------------------------------------
# The score of a product


@dataclass(frozen=True, slots=True)
class SieveFormula:
    """A state's formula: calcium carbonate equivalent times what the sieves say.

    Parameters
    ----------
    basis, place
        What it scores, and whose formula it is.
    classes
        (mesh, share of full effect) for material that passes this sieve and is held on the next,
        from coarse to fine; what the coarsest sieve holds counts nothing. Mesh 0 is no sieve: all passes it.
    pure_lb_per_ton
        What a ton of pure, fine calcium carbonate scores [lb per short ton].
    takes_moisture
        True when the formula discounts moisture.
    source
        Where the factors were read.
    remark
        How far the score can be trusted; empty = fully read.
    """

    basis: LimeBasis
    place: str
    classes: tuple[tuple[int, float], ...]
    pure_lb_per_ton: float
    takes_moisture: bool
    source: Source
    remark: str = ""


#: Formulas whose every factor was read. Iowa prints its factors for cumulative percent passing
#: (0.1 of 4 mesh + 0.3 of 8 mesh + 0.6 of 60 mesh), which is the same as 0.1, 0.4 and 1.0 by class.
FORMULAS: Mapping[LimeBasis, SieveFormula] = {
    formula.basis: formula
    for formula in (
        SieveFormula(LimeBasis.ECCE, "Iowa", ((4, 0.1), (8, 0.4), (60, 1.0)), 2000.0, True, _IOWA),
        SieveFormula(LimeBasis.ENM, "Missouri", ((8, 0.25), (40, 0.60), (60, 1.0)), 800.0, False, _MISSOURI),
        SieveFormula(
            LimeBasis.ENV, "New York", ((20, 0.40), (60, 0.80), (100, 1.0)), 2000.0, False, _NEW_YORK
        ),
        SieveFormula(LimeBasis.RNV, "Mississippi", ((10, 0.5), (50, 1.0)), 2000.0, False, _MISSISSIPPI),
        SieveFormula(LimeBasis.ECC, "Michigan", ((8, 0.5), (60, 1.0)), 2000.0, False, _MICHIGAN),
        SieveFormula(
            LimeBasis.ECC_NEBRASKA, "Nebraska", ((0, 0.10), (8, 0.40), (50, 1.0)), 2000.0, False, _NEBRASKA
        ),
        SieveFormula(LimeBasis.AI, "Ontario", ((10, 0.40), (60, 1.0)), 2000.0, False, _ONTARIO),
        SieveFormula(
            *(LimeBasis.ENP_OHIO, "Ohio", ((8, 0.20), (20, 0.60), (60, 1.0)), 2000.0, True, _OHIO_METHOD),
            remark="the factors of the Ohio formula were read at second hand; a printed ENP comes first",
        ),
    )
}


def own_formula(text: str, source: str, *, takes_moisture: bool) -> SieveFormula:
    """Read a sieve formula of the user's own.

    Parameters
    ----------
    text
        Mesh and the share of full effect of what passes it and is held on the next, from coarse to fine:
        ``"10:0.4; 60:1"``. What the coarsest holds counts nothing; mesh 0 is no sieve.
    source
        Where it was read.
    takes_moisture
        True when moisture is taken off.

    Returns
    -------
    SieveFormula
        Scored as percent of pure calcium carbonate.

    Raises
    ------
    InputError
        When a part is no mesh and share, the meshes do not rise, or the source is blank.
    """
    found = re.findall(r"([0-9]+)\s*:\s*([0-9]*\.?[0-9]+)", text)
    if not found or re.sub(r"([0-9]+)\s*:\s*([0-9]*\.?[0-9]+)|[;,\s]", "", text):
        raise InputError(
            [Problem("formula", f"{text!r} is no sieve formula", "Write for example 10:0.4; 60:1.")]
        )
    classes = tuple((round(read_number(mesh)), read_number(share)) for mesh, share in found)
    meshes = [mesh for mesh, _ in classes]
    if meshes != sorted(set(meshes)) or any(not 0 <= share <= 1 for _, share in classes):
        fix = "Give rising meshes, and shares from 0 to 1."
        raise InputError([Problem("formula", f"{text!r} cannot be", fix)])
    if not source.strip():
        fix = "Say where it was read: publication and table."
        raise InputError([Problem("formula source", "a formula needs its source", fix)])
    named = Source(f"user, after {source.strip()}")
    return SieveFormula(LimeBasis.OWN, "own", classes, 2000.0, takes_moisture, named)


def score_by(product: Product, formula: SieveFormula) -> LimeScore:
    """Score a lime by a given formula, whatever its label prints.

    Parameters
    ----------
    product
        With its lime label.
    formula
        One of `FORMULAS`, or `own_formula`.

    Returns
    -------
    LimeScore
    """
    if product.lime is None:
        return LimeScore(formula.basis, None, f"{product.product} has no lime label")
    return _by_formula(product.lime, formula)


#: Penn State takes calcium carbonate equivalent alone, for lime this fine (mesh, least percent passing).
FINE_SIZED: tuple[tuple[int, float], ...] = ((20, 95.0), (60, 60.0), (100, 50.0))


@dataclass(frozen=True, slots=True)
class LimeScore:
    """What a product is worth in one basis.

    Parameters
    ----------
    basis
        Whose pounds.
    fraction
        Effective mass, in the basis' own pounds, per mass of product [kg/kg]; None = cannot be known.
    reason
        Why it cannot be known, or a remark on how far it can be trusted; may be empty.
    steps
        How it was reached.
    """

    basis: LimeBasis
    fraction: float | None
    reason: str = ""
    steps: tuple[Step, ...] = ()


def score(product: Product, basis: LimeBasis) -> LimeScore:
    """Score a lime product in one basis: from the printed label first, else by the state's formula.

    Parameters
    ----------
    product
        With its lime label.
    basis
        Whose pounds.

    Returns
    -------
    LimeScore
        With the reason where the score cannot be known.

    Notes
    -----
    score = CCE/100 × fineness/100 × pure score (× dry matter in Iowa), with fineness the sum over size
    classes of percent in the class × its factor. A percent passing that is not stated is deduced only
    where it must be: 100 when a finer sieve passes 100, 0 when a coarser one passes 0.

    References
    ----------
    See `FORMULAS` and `FINE_SIZED`: each formula carries its source.

    Examples
    --------
    The Iowa example of the Wisconsin slides, printed as 1,260 lb ECCE a ton:

    >>> from loamwright.supplies import Form
    >>> stone = LimeLabel(cce_pct=92, passing_pct={4: 100, 8: 90, 60: 55}, moisture_pct=2)
    >>> iowa = score(Product("stone", Form.LIME, lime=stone), LimeBasis.ECCE)
    >>> round(iowa.fraction * 2000, 2)
    1262.24
    """
    label = product.lime
    if label is None:
        return LimeScore(basis, None, f"{product.product} has no lime label")
    printed = _printed_score(label, basis)
    if printed is not None:
        return printed
    if basis in FORMULAS:
        return _by_formula(label, FORMULAS[basis])
    if basis is LimeBasis.CCE:
        return _by_cce(label)
    if basis is LimeBasis.PRODUCT:
        step = Step("a ton as the lab prints it, taken for a ton of this product", 1.0, "lb per lb", LABEL)
        return LimeScore(basis, 1.0, "the lab's tons say nothing of quality: compare CCE yourself", (step,))
    if basis is LimeBasis.EP:
        return LimeScore(
            basis, None, "Western Australia needs the neutralizing value of each size fraction by itself"
        )
    if basis is LimeBasis.OWN:
        return LimeScore(basis, None, "no formula of your own is given")
    return LimeScore(
        basis,
        None,
        "no Minnesota ENP is printed on the label, and it is not computed here: "
        "the sieve factors of that formula have not been read",
    )


def printed_basis(label: LimeLabel) -> LimeBasis | None:
    """Name the basis of the score a label prints, or None when it prints none."""
    if label.enp_lb_per_ton is not None:
        state = label.enp_state.strip().casefold()
        if state in {"", "minnesota", "mn"}:
            return LimeBasis.ENP
        if state in {"ohio", "oh"}:
            return LimeBasis.ENP_OHIO
    if label.ecce_pct is not None:
        return LimeBasis.ECCE
    if label.enm_lb_per_ton is not None:
        return LimeBasis.ENM
    return next((LimeBasis(name) for name in label.scores_pct), None)


def _printed_score(label: LimeLabel, basis: LimeBasis) -> LimeScore | None:
    """Return the score the label itself prints in this basis, if it does."""
    if basis in {LimeBasis.ENP, LimeBasis.ENP_OHIO} and printed_basis(label) is basis:
        printed, unit, whole = label.enp_lb_per_ton, f"lb {basis.value}/ton", 2000.0
    elif basis is LimeBasis.ECCE:
        printed, unit, whole = label.ecce_pct, "% ECCE", 100.0
    elif basis is LimeBasis.ENM:
        printed, unit, whole = label.enm_lb_per_ton, "lb ENM/ton", 2000.0
    else:
        printed, unit, whole = label.scores_pct.get(basis.value), f"% {basis.value}", 100.0
    if printed is None:
        return None
    step = Step("score printed on the label", printed, unit, LABEL)
    return LimeScore(basis, printed / whole, "", (step,))


def _passing(label: LimeLabel, mesh: int) -> float | None:
    """Percent through a sieve as stated, or where the stated ones leave only one answer."""
    stated = label.passing_pct.get(mesh) if mesh else 100.0
    if stated is not None:
        return stated
    if any(finer > mesh and pct >= 100 for finer, pct in label.passing_pct.items()):
        return 100.0
    if any(coarser < mesh and pct <= 0 for coarser, pct in label.passing_pct.items()):
        return 0.0
    return None


def _by_formula(label: LimeLabel, formula: SieveFormula) -> LimeScore:
    passing = {mesh: _passing(label, mesh) for mesh, _factor in formula.classes}
    missing = [f"percent passing {mesh} mesh" for mesh, pct in passing.items() if pct is None]
    if label.cce_pct is None:
        missing.insert(0, "calcium carbonate equivalent")
    if formula.takes_moisture and label.moisture_pct is None:
        missing.append("moisture")
    known = {mesh: pct for mesh, pct in passing.items() if pct is not None}
    if missing or label.cce_pct is None:
        return LimeScore(
            formula.basis,
            None,
            f"the {formula.place} formula needs {', '.join(missing)}, which the label does not state",
        )
    amounts = list(known.values())
    if amounts != sorted(amounts, reverse=True):
        return LimeScore(
            formula.basis, None, "the percent passing must not rise from a coarser sieve to a finer one"
        )
    steps = []
    fineness_pct = 0.0
    meshes = [*known, None]
    for (mesh, factor), finer in zip(formula.classes, meshes[1:], strict=True):
        held_pct = known[mesh] - (known[finer] if finer is not None else 0.0)
        part = held_pct * factor
        size = f"through {mesh} mesh" if mesh else "all"
        size += "" if finer is None else f", held on {finer}" + ("" if mesh else " mesh")
        steps.append(Step(f"{size}: {format_figure(held_pct)} % × {factor:g}", part, "%", formula.source))
        fineness_pct += part
    steps.append(Step("fineness: the classes added", fineness_pct, "%", formula.source))
    value = label.cce_pct / 100 * fineness_pct / 100 * formula.pure_lb_per_ton
    words = f"CCE {format_figure(label.cce_pct)} % × fineness {format_figure(fineness_pct)} %"
    reason = formula.remark
    if formula.takes_moisture and label.moisture_pct is not None:
        value *= (100 - label.moisture_pct) / 100
        words += f" × dry matter {format_figure(100 - label.moisture_pct)} %"
    elif label.moisture_pct:
        reason = (
            f"the {formula.place} formula has no term for moisture; "
            f"the ticket states {format_figure(label.moisture_pct)} %"
        )
    words += f" × {format_figure(formula.pure_lb_per_ton)} lb"
    steps.append(Step(words, value, f"lb {formula.basis.value}/ton", formula.source))
    return LimeScore(formula.basis, value / 2000, reason, tuple(steps))


def _by_cce(label: LimeLabel) -> LimeScore:
    if label.cce_pct is None:
        return LimeScore(LimeBasis.CCE, None, "the label states no calcium carbonate equivalent")
    coarse = [
        f"{format_figure(pct)} % through {mesh} mesh, {least:g} % asked"
        for mesh, least in FINE_SIZED
        if (pct := _passing(label, mesh)) is not None and pct < least
    ]
    if coarse:
        reason = "coarser than Penn State's fine-sized lime (" + "; ".join(coarse) + "): expect less"
    elif any(_passing(label, mesh) is None for mesh, _least in FINE_SIZED):
        reason = "fineness is not fully stated; the rule is for fine-sized lime"
    else:
        reason = ""
    step = Step("calcium carbonate equivalent, no factor for fineness", label.cce_pct, "% CCE", _PENN_STATE)
    return LimeScore(LimeBasis.CCE, label.cce_pct / 100, reason, (step,))


@dataclass(frozen=True, slots=True)
class LimeSize:
    """One size fraction of a lime with its own neutralizing value.

    Parameters
    ----------
    low_mm, high_mm
        Sieve openings the fraction lies between [mm]; `high_mm` None = everything larger.
    share_pct
        Share of the lime in this fraction [percent by weight].
    nv_pct
        Neutralizing value of this fraction [percent of pure CaCO3].
    """

    low_mm: float
    high_mm: float | None
    share_pct: float
    nv_pct: float


#: Western Australia: (largest opening, factor) from fine to coarse.
_WA_FACTORS = ((0.5, 1.0), (1.0, 0.5), (math.inf, 0.2))


def efficiency_percent(sizes: Sequence[LimeSize]) -> LimeScore:
    """Score a lime by Western Australia's efficiency percent, size fraction by size fraction.

    Notes
    -----
    EP = Σ share × neutralizing value × factor; factor 1 up to 0.5 mm, 0.5 up to 1 mm, 0.2 above.

    References
    ----------
    Department of Primary Industries and Regional Development, Western Australia, Comparing limes, 2018.
    """
    steps = []
    total_pct = 0.0
    for size in sizes:
        high_mm = math.inf if size.high_mm is None else size.high_mm
        text = f"{size.low_mm:g}-{high_mm:g} mm" if size.high_mm is not None else f"over {size.low_mm:g} mm"
        factor = next(factor for edge_mm, factor in _WA_FACTORS if high_mm <= edge_mm)
        crossed = [edge_mm for edge_mm, _factor in _WA_FACTORS if size.low_mm < edge_mm < high_mm]
        if crossed:
            what = f"it straddles the class edge of {crossed[0]:g} mm"
            raise InputError([Problem(f"lime size {text}", what, "Split it at 0.5 mm and 1 mm.")])
        part = size.share_pct * size.nv_pct / 100 * factor
        steps.append(
            Step(
                f"{text}: {format_figure(size.share_pct)} % × neutralizing value "
                f"{format_figure(size.nv_pct)} % × {factor:g}",
                part,
                "% EP",
                _WEST_AUSTRALIA,
            )
        )
        total_pct += part
    shares = sum(size.share_pct for size in sizes)
    if shares > 100 + 1e-9:
        raise InputError(
            [Problem("lime sizes", f"the shares add to {format_figure(shares)} %", "They may reach 100 %.")]
        )
    steps.append(Step("the size fractions added", total_pct, "% EP", _WEST_AUSTRALIA))
    return LimeScore(LimeBasis.EP, total_pct / 100, "", tuple(steps))


# ---------------------------------------------------------------------------------------------
# How much product, and what it costs


@dataclass(frozen=True, slots=True)
class LimeAmount:
    """An amount of lime product for an effective need.

    Parameters
    ----------
    amount
        Product, in the unit the need was given in [kg or kg/ha].
    steps
        How it was reached.
    """

    amount: float
    steps: tuple[Step, ...]


def product_for_need(need: float, lime_score: LimeScore, product: str = "the product") -> LimeAmount:
    """Work out how much product delivers an effective need of the same basis.

    Notes
    -----
    product = need / score; in trade units tons = lb needed / lb per ton (Missouri, Minnesota), or
    recommended tons × 2,000 / ENP (Ohio).

    Examples
    --------
    1,200 lb ENM an acre from lime of 400 lb ENM a ton is 3 tons an acre (Missouri column):

    >>> lime_score = LimeScore(LimeBasis.ENM, 400 / 2000)
    >>> round(product_for_need(1200 * LB_ACRE_KG_HA, lime_score).amount / TON_ACRE_KG_HA, 9)
    3.0
    """
    fraction = lime_score.fraction
    if not fraction:
        why = lime_score.reason or "its score is zero"
        raise InputError(
            [
                Problem(
                    f"{product}, {lime_score.basis.value}",
                    f"how much of it is needed cannot be worked out: {why}",
                    f"Ask the seller for its {lime_score.basis.value}, or choose another lime.",
                )
            ]
        )
    step = Step(
        f"need ÷ {format_figure(fraction * 2000)} lb {lime_score.basis.value} per ton of {product}",
        need / fraction,
        "same unit as the need, product",
        ARITHMETIC,
    )
    return LimeAmount(need / fraction, (*lime_score.steps, step))


@dataclass(frozen=True, slots=True)
class MaterialRule:
    """The quality a published lime rate assumes.

    Parameters
    ----------
    name
        Whose rates.
    assumed
        The score they assume, in `unit`.
    unit
        Unit of that score.
    source
        Who says so.
    """

    name: str
    assumed: float
    unit: str
    source: Source


#: Rates of these publications are for lime of the quality named.
MATERIAL_RULES: tuple[MaterialRule, ...] = (
    MaterialRule("Penn State", 100.0, "% CCE", _PENN_STATE),
    MaterialRule("Tri-State E-2567", 90.0, "% neutralizing value", _E2567),
    MaterialRule("Ohio", 2000.0, "lb ENP/ton", _OHIO),
)


def adjust_rate(table_rate: float, rule: MaterialRule, have: float) -> LimeAmount:
    """Turn a published rate for lime of an assumed quality into the rate for the lime at hand.

    Notes
    -----
    rate × assumed / have: 100/CCE in Pennsylvania, 0.90/neutralizing value in E-2567, 2000/ENP in Ohio.

    Examples
    --------
    75 lb per 1,000 sq ft at 80 % CCE is 93.75 (printed 94, Penn State turf):

    >>> adjust_rate(75, MATERIAL_RULES[0], 80).amount
    93.75
    """
    if have <= 0:
        raise InputError(
            [Problem(f"lime, {rule.unit}", f"{have:g} is not more than zero", "Take it from the label.")]
        )
    amount = table_rate * rule.assumed / have
    words = f"rate × {format_figure(rule.assumed)} ÷ {format_figure(have)} {rule.unit}"
    return LimeAmount(amount, (Step(words, amount, "same unit as the rate", rule.source),))


@dataclass(frozen=True, slots=True)
class LimeOffer:
    """What a package of lime holds and costs in one basis.

    Parameters
    ----------
    basis
        Whose pounds.
    effective_kg
        Effective lime in one package [kg of the basis].
    price_per_effective_ton
        Money per 2,000 effective pounds of this basis; None when the price is missing.
    steps
        How it was reached.
    """

    basis: LimeBasis
    effective_kg: float
    price_per_effective_ton: float | None
    steps: tuple[Step, ...] = ()


def offer_in_basis(package_kg: float, price: Decimal | None, lime_score: LimeScore) -> LimeOffer | None:
    """Work out the effective lime in a package and the price of an effective ton.

    Notes
    -----
    Only prices of the same basis may be compared.
    """
    if not lime_score.fraction:
        return None
    name = lime_score.basis.value
    effective_kg = package_kg * lime_score.fraction
    tons = effective_kg / TON_KG
    steps = [
        *lime_score.steps,
        Step(
            f"{format_figure(package_kg / TON_KG * 2000)} lb × "
            f"{format_figure(lime_score.fraction * 2000)} lb {name} per ton ÷ 2,000",
            tons * 2000,
            f"lb {name}",
            ARITHMETIC,
        ),
    ]
    per_ton = None
    if price is not None:
        per_ton = float(price) / tons
        steps.append(
            Step(
                f"{format_money(price)} ÷ {format_figure(tons * 2000)} lb {name} × 2,000",
                per_ton,
                f"{money_sign()}/ton {name}",
                ARITHMETIC,
            )
        )
    return LimeOffer(lime_score.basis, effective_kg, per_ton, tuple(steps))


# ---------------------------------------------------------------------------------------------
# How much at once


@dataclass(frozen=True, slots=True)
class DoseLimit:
    """The most lime one published rule puts on at a time.

    Parameters
    ----------
    limit_id, place
        Short id for choosing it, and whose rule it is.
    method
        What it is for: on the surface, worked in …
    max_kg_ha
        Most product in one dose [kg/ha]; None when the rule only says to divide.
    max_doses
        The number of doses the rule divides into at most; None = as many as it takes.
    apart
        Time between doses in our words; empty when the source prints none.
    seasons_apart
        Seasons from one dose to the next [count]: 0 = all doses may go on in one season. 1 where the
        source prints no time (ours).
    source
        Who says so.
    """

    limit_id: str
    place: str
    method: str
    max_kg_ha: float | None
    max_doses: int | None
    apart: str
    seasons_apart: int
    source: Source


#: Time between doses that all go on in one season, worked in at different depths.
SAME_SEASON = "the same season"


def _per_area(pounds: float, square_feet: float) -> float:
    return pounds * 43560 / square_feet * LB_ACRE_KG_HA


#: Published rules; the user picks one. They disagree, because ground and method differ.
DOSE_LIMITS: tuple[DoseLimit, ...] = (
    DoseLimit(
        "missouri-surface", "Missouri", "not worked in", 2 * TON_ACRE_KG_HA, None, "two to three years", 2,
        Source("MU Extension, P. Miller, How Much Lime To Apply?"),
    ),
    DoseLimit(
        "noble-surface", "Oklahoma and Texas", "on the surface", 2.5 * TON_ACRE_KG_HA, None, "a year", 1,
        Source("Samuel Roberts Noble Foundation, J. Ball, 10 liming questions", "February 2002"),
    ),
    DoseLimit(
        "noble-worked-in", "Oklahoma and Texas", "worked in", 4 * TON_ACRE_KG_HA, None, "", 1,
        Source("Samuel Roberts Noble Foundation, J. Ball, 10 liming questions", "February 2002"),
    ),
    DoseLimit(
        "tennessee-no-till", "Tennessee", "no-till or established alfalfa", 4 * TON_ACRE_KG_HA, None,
        "two years, after a new soil test", 2,
        Source("University of Tennessee, UTcrops, alfalfa"),
    ),
    DoseLimit(
        "oregon-top-dress", "Western Oregon", "top-dressed on perennials or no-till (1 to 2 tons/acre)",
        2 * TON_ACRE_KG_HA, None, "", 1,
        Source("Oregon State Univ. EM 9057, Anderson and others", "2013, rev. 2021"),
    ),
    DoseLimit(
        "penn-state-forage", "Pennsylvania", "worked in: half ploughed in, half worked into the surface",
        4 * TON_ACRE_KG_HA, 2, SAME_SEASON, 0,
        Source("Penn State Forages, Liming Practices, pre-establishment"),
    ),
    DoseLimit(
        "penn-state-turf", "Pennsylvania", "on the surface of turf", _per_area(100, 1000), None,
        "four to six months", 0,
        Source("Penn State AASL, commercial turf maintenance report notes"),
    ),
    DoseLimit(
        "penn-state-greens", "Pennsylvania", "on greens and tees", _per_area(25, 1000), None,
        "four to six months", 0,
        Source("Penn State AASL, commercial turf maintenance report notes"),
    ),
    DoseLimit(
        "penn-state-garden", "Pennsylvania", "on a garden's surface", _per_area(10, 100), 3, "six months", 0,
        Source("Penn State AASL, home garden report notes"),
    ),
    DoseLimit(
        "kansas-no-till", "Kansas", "on the surface of no-till: half the rate, twice as often", None, 2, "",
        1,
        Source("K-State, D. Mengel, Guidelines for applying lime to no-till"),
    ),
)  # fmt: skip


def dose_limit(limit_id: str) -> DoseLimit:
    """Return a published dose limit by its id.

    Parameters
    ----------
    limit_id
        As in `DOSE_LIMITS`.

    Returns
    -------
    DoseLimit

    Raises
    ------
    InputError
        When there is none of that id; the message lists those there are.
    """
    for limit in DOSE_LIMITS:
        if limit.limit_id == limit_id:
            return limit
    names = ", ".join(limit.limit_id for limit in DOSE_LIMITS)
    raise InputError([Problem("lime dose limit", f"{limit_id!r} is not known", f"Choose one of: {names}.")])


@dataclass(frozen=True, slots=True)
class LimeDoses:
    """A lime rate divided into doses.

    Parameters
    ----------
    limit
        The rule that was chosen.
    rates_kg_ha
        Product in each dose [kg/ha], in order.
    owed_kg_ha
        Product still owed after the first dose [kg/ha].
    steps
        How it was reached.
    """

    limit: DoseLimit
    rates_kg_ha: tuple[float, ...]
    owed_kg_ha: float
    steps: tuple[Step, ...]


def split_doses(rate_kg_ha: float, limit: DoseLimit) -> LimeDoses:
    """Divide a lime rate into the fewest equal doses a published rule allows.

    Notes
    -----
    Equal doses are our choice (common practice, no source): a small last dose is hard to spread evenly.
    """
    if limit.max_kg_ha is None:
        count = limit.max_doses or 1
    else:
        count = max(1, math.ceil(rate_kg_ha / limit.max_kg_ha - 1e-9))
        if limit.max_doses is not None:
            count = min(count, limit.max_doses)
    dose = rate_kg_ha / count
    most = "" if limit.max_kg_ha is None else f", at most {format_rate(limit.max_kg_ha)} at once"
    apart = f", {limit.apart} apart" if limit.apart and count > 1 else ""
    doses = "1 dose" if count == 1 else f"{count} doses"
    words = f"{format_rate(rate_kg_ha)} in {doses}{most}{apart} ({limit.method})"
    step = Step(words, dose / TON_ACRE_KG_HA, "ton/acre each", limit.source)
    return LimeDoses(limit, (dose,) * count, rate_kg_ha - dose, (step,))


def magnesium_note(product: Product, dolomitic_needed: bool | None) -> Step | None:
    """Say whether a lime brings magnesium where the soil test asks for it.

    References
    ----------
    Ohio: dolomitic lime where soil Mg is under 50 ppm; otherwise cost and even spreading decide.
    """
    if not dolomitic_needed:
        return None
    magnesium_pct = product.analysis_pct.get(Nutrient.MG)
    if magnesium_pct:
        pounds = magnesium_pct / 100 * 2000
        return Step(f"soil magnesium is low; {product.product} brings Mg", pounds, "lb Mg/ton", LABEL)
    if product.dolomitic:
        return Step(f"soil magnesium is low; {product.product} is dolomitic", "suits", "", _OHIO_MG)
    said = "is not dolomitic" if product.dolomitic is False else "does not say whether it is dolomitic"
    return Step(f"soil magnesium is low and {product.product} {said}", "ask for dolomitic", "", _OHIO_MG)
