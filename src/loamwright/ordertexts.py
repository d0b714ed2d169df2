"""Words that the pages of the work orders share: amounts, bags, states, cautions, steps.

This file answers "how is it said on paper?". Amounts come from the plan as they are; here they
become text, in the property's unit system, with whole packages beside them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from loamwright.answers import Caution, LineStatus, Round, SeasonView
from loamwright.paper import exact_mass, shortened
from loamwright.units import GAL_M3, LB_KG, format_figure
from loamwright.values import Form, Product, Step, Timing, WorkState

#: Package texts are cut to this on narrow pages [characters].
PACKAGE_LENGTH = 22


@dataclass(frozen=True, slots=True)
class CautionBrief:
    """A caution in a line or two, with its number in the full list and who has the last word."""

    number: str
    level: str
    text: str
    defers_to: str


@dataclass(frozen=True, slots=True)
class CautionRow:
    """A caution in full: where it applies, its source, and who has the last word."""

    number: str
    level: str
    text: str
    where: str
    source: str
    defers_to: str


@dataclass(frozen=True, slots=True)
class CautionsHere:
    """What to take care of in one place: the serious ones, and the numbers of the others."""

    briefs: tuple[CautionBrief, ...]
    more: str


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of an explanation."""

    what: str
    value: str
    unit: str
    source: str


def timing_words(timing: Timing | None) -> str:
    """Say when a pass is made.

    Parameters
    ----------
    timing
        When in the season; None = any time.

    Returns
    -------
    str
    """
    return timing.value if timing else "any time"


def packages_words(packages: float | None, package: str, mass_kg: float, system: str) -> str:
    """Say an amount in whole packages and the rest by weight.

    Parameters
    ----------
    packages
        Amount in packages, unrounded; None for bulk.
    package
        The package as written.
    mass_kg
        The amount [kg].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
        ``"3 × 50 lb bag + 21.5 lb"``, ``"21.5 lb of a 50 lb bag"`` or ``"bulk"``.

    Examples
    --------
    >>> packages_words(3.43, "50 lb bag", 3.43 * 50 * LB_KG, "us")
    '3 × 50 lb bag + 21.5 lb'
    """
    package = shortened(package, PACKAGE_LENGTH)
    if not packages:
        return "bulk"
    whole = math.floor(packages + 1e-9)
    rest_kg = max(mass_kg - whole * mass_kg / packages, 0.0)
    rest = exact_mass(rest_kg, system)
    if rest_kg < 0.02 * LB_KG:
        return f"{whole} × {package}"
    return f"{whole} × {package} + {rest}" if whole else f"{rest} of a {package}"


def carry_words(amounts: Iterable[tuple[float | None, str]]) -> str:
    """Say how many whole packages to load for passes that share opened ones.

    Parameters
    ----------
    amounts
        (packages, unrounded, or None for bulk; the package as written) of each pass.

    Returns
    -------
    str
        At most four kinds of package.

    Examples
    --------
    >>> carry_words([(1.6, "50 lb bag"), (0.7, "50 lb bag")])
    '3 × 50 lb bag'
    """
    sums: dict[str, float] = {}
    bulk = False
    for packages, package in amounts:
        if packages is None:
            bulk = True
        else:
            sums[package] = sums.get(package, 0.0) + packages
    parts = [
        f"{math.ceil(total - 1e-9)} × {shortened(package, PACKAGE_LENGTH)}" for package, total in sums.items()
    ]
    more = [f"and {len(parts) - 4} more kinds"] if len(parts) > 4 else []
    return ", ".join(parts[:4] + more + (["bulk"] if bulk else []))


def load_words(round_: Round) -> tuple[str, ...]:
    """Say which hopper fills each stop of a round uses.

    Parameters
    ----------
    round_
        The round.

    Returns
    -------
    tuple of str
        ``"4"``, or ``"4–6"`` when the hopper is filled again on the way; empty texts when the hopper's
        size is not stated.

    Notes
    -----
    A stop begins with the fill of its own number and ends with the one the next stop begins with.
    """
    if round_.loads is None:
        return tuple("" for _ in round_.stops)
    first = [stop.load for stop in round_.stops]
    last = [*first[1:], round_.loads]
    return tuple(str(a) if a >= b else f"{a}–{b}" for a, b in zip(first, last, strict=True))


def brought_kg(round_: Round) -> tuple[float, ...]:
    """Work out what the vehicle has to bring for each stop of a round.

    Parameters
    ----------
    round_
        The round.

    Returns
    -------
    tuple of float
        Product [kg]; zero when what is on the vehicle is enough, or is not known.

    Notes
    -----
    Brought = left after the stop + spread on it − left before it.
    """
    brought = []
    before_kg: float | None = 0.0
    for stop in round_.stops:
        after_kg = stop.left_on_vehicle_kg
        more_kg = 0.0
        if before_kg is not None and after_kg is not None:
            more_kg = after_kg + stop.mass_kg - before_kg
        brought.append(more_kg if more_kg > 0.001 * stop.mass_kg else 0.0)
        before_kg = after_kg
    return tuple(brought)


def volume_words(mass_kg: float, product: Product | None, system: str) -> str:
    """Say a liquid's mass as the operator measures it.

    Parameters
    ----------
    mass_kg
        Mass [kg].
    product
        The product, or None when its label is not in the file.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
        Gallons or litres; empty for anything but a liquid with a stated density.
    """
    if product is None or product.form is not Form.LIQUID or not product.density_kg_m3:
        return ""
    volume_m3 = mass_kg / product.density_kg_m3
    return f"{volume_m3 / GAL_M3:,.1f} gal" if system == "us" else f"{volume_m3 * 1000:,.1f} L"


def numbered(cautions: Iterable[Caution]) -> list[tuple[int, Caution]]:
    """Number cautions, each once, most serious first.

    Parameters
    ----------
    cautions
        All cautions of the season.

    Returns
    -------
    list of (int, Caution)
        Numbers as in the list "Cautions in full".
    """
    order = {"stop": 0, "care": 1, "note": 2}
    return list(enumerate(sorted(dict.fromkeys(cautions), key=lambda c: order.get(c.level, 3)), 1))


def cautions_here(
    cautions: Iterable[tuple[int, Caution]],
    plots: Iterable[str],
    products: Iterable[str],
    general: bool = False,
    place_only: bool = False,
) -> CautionsHere:
    """Pick the cautions for some plots and products.

    Published figures stand in the full list, as do plain notes.

    Parameters
    ----------
    cautions
        Numbered cautions.
    plots, products
        Where, and what is put on.
    general
        True to add those for the whole property.
    place_only
        True to say only those about the place itself; those about a product, which stand on the page
        of its round, are given by number.

    Returns
    -------
    CautionsHere
    """
    here, used = set(plots), set(products)
    fitting = [
        (number, c)
        for number, c in cautions
        if (here & set(c.where) if c.where else general) and (not c.product or c.product in used)
    ]
    briefs = []
    elsewhere, notes = [], []
    for number, c in fitting:
        if c.level == "note":
            notes.append(str(number))
        elif place_only and c.product:
            elsewhere.append(str(number))
        else:
            briefs.append(CautionBrief(str(number), c.level, c.text, c.defers_to))
    more = [f"{', '.join(elsewhere)} (on the round's page)"] if elsewhere else []
    more += [f"notes {', '.join(notes)}"] if notes else []
    return CautionsHere(tuple(briefs), "; ".join(more))


def caution_row(number: int, caution: Caution) -> CautionRow:
    """Lay a caution out in full.

    Parameters
    ----------
    number
        Its number.
    caution
        The caution.

    Returns
    -------
    CautionRow
    """
    where = ", ".join(caution.where) or "the whole property"
    text = f"{caution.text} Published: {caution.published}." if caution.published else caution.text
    return CautionRow(str(number), caution.level, text, where, str(caution.source), caution.defers_to)


def state_words(status: LineStatus | None, system: str) -> str:
    """Say what the record reports of a pass.

    Parameters
    ----------
    status
        Status of the planned line, or None.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
        Empty when nothing has been done yet.
    """
    if status is None or status.state is WorkState.NOTHING:
        return ""
    put_on = exact_mass(status.applied_kg, system)
    if status.state is WorkState.PART:
        left = exact_mass(max(status.planned_kg - status.applied_kg, 0.0), system)
        return f"PART DONE: {put_on} is on, {left} left"
    return f"ALREADY {'OVER' if status.state is WorkState.OVER else 'DONE'}: {put_on} is on. Skip."


def step_row(step: Step, source: str) -> StepRow:
    """Lay out one step of an explanation.

    Parameters
    ----------
    step
        The step.
    source
        Its source as it is to be shown.

    Returns
    -------
    StepRow
    """
    value = format_figure(step.value) if isinstance(step.value, (int, float)) else step.value or "not known"
    return StepRow(step.what, value, step.unit, source)


def step_words(step: Step) -> str:
    """Say a step in a sentence: what it is, a colon, the figure.

    Parameters
    ----------
    step
        The step.

    Returns
    -------
    str
    """
    row = step_row(step, "")
    return f"{row.what}: {row.value} {row.unit}".strip()


def label_of(name: str, view: SeasonView) -> Product | None:
    """Find a product's label.

    Parameters
    ----------
    name
        Product name.
    view
        The season.

    Returns
    -------
    Product or None
    """
    return next((product for product in view.record.products if product.product == name), None)
