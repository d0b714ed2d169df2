"""How amounts, packages and times are said: once, for screen, map and paper.

Amounts come as they are, in SI; here they become text in the property's unit system, with whole packages
beside them. The file takes records of `supplies` and `land` and knows no others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from loamwright.land import Way
from loamwright.supplies import Acidity, Form, Product
from loamwright.units import (
    GAL_M3,
    HA_M2,
    LB_ACRE_KG_HA,
    LB_KG,
    format_area,
    format_length,
    format_mass,
    format_rate,
)
from loamwright.values import Supply, Timing

#: Package texts are cut to this on narrow pages [characters].
PACKAGE_LENGTH = 22


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


def earlier_words(earlier_kg: float, system: str) -> str:
    """Say that a use was not taken off the shed because it is dated before the shed's book begins.

    Parameters
    ----------
    earlier_kg
        How much [kg].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    return (
        f"{mass_words(earlier_kg, system)} put on before the first day of its book is not taken off: if it "
        "came from these packages, date the purchase by the day they came, or write down a count"
    )


def not_in_book_words(put_on_kg: float, system: str) -> str:
    """Say that product was put on of which the shed's book knows nothing.

    Parameters
    ----------
    put_on_kg
        This season [kg].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    return (
        f"{mass_words(put_on_kg, system)} put on this season, and none was ever written down as bought or "
        "counted: write down the purchase, by the day it came"
    )


def acidity_words(acidity: Acidity, system: str) -> str:
    """Say how much lime nitrogen uses up: one figure by its source, and its bound.

    Parameters
    ----------
    acidity
        The figure, the bound and what they lack.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    sums = (
        ("by published figures", acidity.published_kg),
        ("at most, by stoichiometry", acidity.ceiling_kg),
    )
    told = ", ".join(f"{'unknown' if kg is None else mass_words(kg, system)} {name}" for name, kg in sums)
    left = f"; not counted: {', '.join(acidity.left_out)}" if acidity.left_out else ""
    return f"lime worth {told} (pure CaCO3){left}"


def spread_words(mass_kg: float, rate_kg_ha: float, plot_m2: float, system: str) -> str:
    """Say the rate of what is put on, with the acres where it goes on a part of the plot only.

    Parameters
    ----------
    mass_kg, rate_kg_ha
        How much [kg], and per area it goes on [kg/ha].
    plot_m2
        Spread area of the plot [m2].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    rate = rate_words(rate_kg_ha, system)
    ground_m2 = mass_kg / rate_kg_ha * HA_M2 if rate_kg_ha > 0 else plot_m2
    if ground_m2 >= plot_m2 * 0.999:
        return rate
    return f"{rate} on the rest, {format_area(ground_m2, system)}"


def packages_words(packages: float | None, package: str, mass_kg: float, system: str) -> str:
    """Say an amount in whole and half packages, or in whole ones and the rest by weight.

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
        ``"2.5 × 50 lb bag"``, ``"3 × 50 lb bag + 21.5 lb"``, ``"21.5 lb of a 50 lb bag"`` or ``"bulk"``.

    Examples
    --------
    >>> packages_words(3.43, "50 lb bag", 3.43 * 50 * LB_KG, "us")
    '3 × 50 lb bag + 21.5 lb'
    """
    package = shortened(package, PACKAGE_LENGTH)
    if not packages:
        return "bulk"
    halves = round(packages * 2)
    if halves and math.isclose(packages * 2, halves, abs_tol=1e-6):
        return f"{halves / 2:,g} × {package}"
    whole = math.floor(packages + 1e-9)
    rest_kg = max(mass_kg - whole * mass_kg / packages, 0.0)
    rest = mass_words(rest_kg, system)
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


def way_words(way: Way, system: str) -> str:
    """Name a way with its clear width, the vehicle it carries and the user's note.

    Parameters
    ----------
    way
        A track, gate, bridge, loading place or contact.
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
    """
    parts = [way.name or way.kind]
    if way.width_m is not None:
        parts.append(f"{format_length(way.width_m, system)} wide")
    if way.load_limit_kg is not None:
        parts.append(f"carries {mass_words(way.load_limit_kg, system)}")
    return ", ".join([*parts, way.notes] if way.notes else parts)


def shortened(text: str, most: int) -> str:
    """Return text cut to a length, with an ellipsis where it was cut.

    Parameters
    ----------
    text
        Any text.
    most
        Greatest length [characters].

    Returns
    -------
    str
    """
    return text if len(text) <= most else text[: most - 1] + "…"


def mass_words(mass_kg: float, system: str, supply: Supply | None = None) -> str:
    """Say a mass of a product, or of what it supplies.

    Parameters
    ----------
    mass_kg
        Mass [kg].
    system
        ``"us"`` or ``"metric"``.
    supply
        What it is a mass of; None = of a product. Effective lime is counted in pounds, however many: a ton
        of it is not a ton of lime.

    Examples
    --------
    >>> mass_words(2902.99, "us"), mass_words(2902.99, "us", Supply.LIME_ENP)
    ('6,400 lb (3.20 tons)', '6,400 lb')
    """
    short = format_mass(mass_kg, system)
    if not short.endswith((" tons", " t")):
        return short
    exact = f"{mass_kg / LB_KG:,.0f} lb" if system == "us" else f"{mass_kg:,.0f} kg"
    return exact if _is_effective_lime(supply) else f"{exact} ({short})"


def put_on_words(state: str, applied_kg: float, planned_kg: float, system: str) -> str:
    """Say how a planned line stands, alike on the phone, on paper and on the screen.

    Parameters
    ----------
    state
        A value of `WorkState`.
    applied_kg, planned_kg
        Product [kg].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    str
        ``"part: 100.0 lb of 150.0 lb is on"``; the state alone where nothing is on.
    """
    if applied_kg <= 0:
        return state
    return f"{state}: {format_mass(applied_kg, system)} of {format_mass(planned_kg, system)} is on"


def rate_words(rate_kg_ha: float, system: str, supply: Supply | None = None) -> str:
    """Say a rate of a product, or of what it supplies.

    Parameters
    ----------
    rate_kg_ha
        Rate [kg/ha].
    system
        ``"us"`` or ``"metric"``.
    supply
        As in `mass_words`.

    Examples
    --------
    >>> rate_words(5043.8, "us"), rate_words(5043.8, "us", Supply.LIME_ENP)
    ('2.25 tons/acre', '4,500 lb/acre')
    """
    if not _is_effective_lime(supply):
        return format_rate(rate_kg_ha, system)
    return f"{rate_kg_ha / LB_ACRE_KG_HA:,.0f} lb/acre" if system == "us" else f"{rate_kg_ha:,.0f} kg/ha"


def _is_effective_lime(supply: Supply | None) -> bool:
    return supply is not None and supply.is_lime and supply is not Supply.LIME_PRODUCT
