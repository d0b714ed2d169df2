"""What a person at the store reads: the answers of `shopping` as sentences and tables, and rows to paste.

This file lays out text; it computes nothing but units. ``--json`` output is in `data`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from rich.console import Console
from rich.markup import escape

from loamwright.commands.results import MaterialRows, Materials
from loamwright.commands.text import show_steps, table_of
from loamwright.money import format_money
from loamwright.supplies import (
    AmountNeeded,
    BreakEven,
    Form,
    KnownMaterial,
    LimeAnswer,
    Mixture,
    Offer,
    Product,
    SeedAnswer,
    Valued,
)
from loamwright.units import (
    ACRE_M2,
    GAL_M3,
    HA_M2,
    LB_GAL_KG_M3,
    LB_KG,
    TON_ACRE_KG_HA,
    TON_KG,
    format_area,
    format_figure,
)
from loamwright.values import Nutrient, Supply
from loamwright.words import mass_words, rate_words

#: Said wherever published figures of a material are shown.
LABEL_WINS = "Published typical figures, to start from; the label on the bag wins."


def _named(offer: Offer) -> str:
    return escape(f"{offer.product}, {offer.package}")


def _dollars(amount: float | Decimal) -> str:
    money = Decimal(amount)
    return f"-{format_money(-money)}" if round(money, 2) < 0 else format_money(abs(money))


def _per_mass(price_per_kg: float, system: str) -> str:
    unit, mass_kg = ("lb", LB_KG) if system == "us" else ("kg", 1.0)
    return f"{_dollars(price_per_kg * mass_kg)}/{unit}"


def _asked(offer: Offer) -> str:
    return "no price stated" if offer.price is None else format_money(offer.price)


def show_break_even(console: Console, found: BreakEven, system: str) -> None:
    """Print the package price at which an offer is as cheap as what it is compared with."""
    elsewhere = _per_mass(found.reference.price_per_kg, system)
    other = "" if found.reference.offer is None else f" in {_named(found.reference.offer)}"
    console.print(
        f"{_named(found.offer)}: break-even price [bold]{_dollars(found.price)}[/] a package, against "
        f"{elsewhere} {found.supply}{other}. Asked: {_asked(found.offer)}."
    )
    show_steps(console, found.steps)


def show_value(console: Console, found: Valued, system: str) -> None:
    """Print what a package is worth, nutrient by nutrient, beside what is asked for it."""
    table = table_of(
        f"{_named(found.offer)}: what is needed of it",
        "needed",
        "in a package",
        "price elsewhere",
        "worth",
        "price here, the others credited",
        numbers=(1, 2, 3, 4),
    )
    for supply in found.needed:
        reference = found.references.get(supply)
        here = found.after_credits.get(supply)
        table.add_row(
            supply,
            mass_words(found.held_kg[supply], system) if supply in found.held_kg else "not guaranteed",
            "" if reference is None else _per_mass(reference.price_per_kg, system),
            _dollars(found.parts[supply]) if supply in found.parts else "not counted",
            "" if here is None else _per_mass(here, system),
        )
    console.print(table)
    for supply, reference in found.references.items():
        if reference.offer is not None:
            console.print(
                f"Price of {supply} elsewhere: {_named(reference.offer)}, the cheapest single-nutrient offer."
            )
    console.print(f"Worth [bold]{_dollars(found.total)}[/] a package. Asked: {_asked(found.offer)}.")
    show_steps(console, found.steps)


def _volume(mass_kg: float, label: Product, system: str) -> str:
    """Add the volume of a liquid whose density is known, in brackets."""
    if label.form is not Form.LIQUID or label.density_kg_m3 is None:
        return ""
    volume_m3 = mass_kg / label.density_kg_m3
    amount = f"{volume_m3 / GAL_M3:,.1f} gal" if system == "us" else f"{volume_m3 * 1000:,.0f} L"
    return f" ({amount})"


def show_amount(console: Console, found: AmountNeeded, system: str) -> None:
    """Print how much product and how many packages, and what they cost delivered and spread."""
    area, area_m2 = ("acre", ACRE_M2) if system == "us" else ("ha", HA_M2)
    of = "the product itself" if found.supply is Supply.PRODUCT else found.supply
    per_area_kg = found.product_kg_ha * area_m2 / HA_M2
    in_all = mass_words(found.product_kg, system) + _volume(found.product_kg, found.label, system)
    console.print(
        f"{rate_words(found.rate_kg_ha, system)} of {of} on {format_area(found.area_m2, system)}: "
        f"[bold]{in_all}[/] of {escape(found.label.product)}, {rate_words(found.product_kg_ha, system)}"
        + _volume(per_area_kg, found.label, system)
    )
    console.print(
        f"Packages ({escape(found.offer.package)}): {found.packages.exact:,.2f} exactly, buy "
        f"[bold]{found.packages.count:,.6g}[/]; {mass_words(found.packages.left_over_kg, system)} left over"
    )
    cost = found.cost
    if cost is not None:
        table = table_of("Cost", "", "in all", numbers=(1,))
        for name, money in (
            ("purchase", cost.purchase),
            ("delivery", cost.delivery),
            ("hauling", cost.hauling),
            ("spreading, one pass", cost.spreading),
            ("together", cost.total),
            (f"together, per {area}", cost.cost_per_ha * area_m2 / HA_M2),
        ):
            table.add_row(name, _dollars(money))
        if found.supply is not Supply.PRODUCT:
            table.add_row(f"together, for {found.supply}", _per_mass(cost.cost_per_kg, system))
        console.print(table)
    show_steps(console, found.steps)


def show_mixture(console: Console, found: Mixture, system: str) -> None:
    """Print the parts and the grade of a mixture."""
    made = found.blend
    table = table_of(f"Mixture of {mass_words(made.mass_kg, system)}", "part", "amount", numbers=(1,))
    for product, mass_kg in made.parts:
        table.add_row(escape(product.product), mass_words(mass_kg, system))
    if made.filler_kg > 0:
        table.add_row("filler", mass_words(made.filler_kg, system))
    console.print(table)
    rest = [n for n in made.analysis_pct if n not in (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)]
    others = "".join(f", {format_figure(made.analysis_pct[n])} % {n.value}" for n in rest)
    console.print(f"Grade [bold]{made.grade}[/]{others}")
    show_steps(console, made.steps)


def _analysis(product: Product) -> str:
    return ", ".join(f"{pct:g} % {nutrient.value}" for nutrient, pct in product.analysis_pct.items() if pct)


def _density(product: Product) -> str:
    return "" if product.density_kg_m3 is None else f"{product.density_kg_m3 / LB_GAL_KG_M3:.4g} lb/gal"


def show_materials(console: Console, found: Materials, _system: str) -> None:
    """Print common materials with their published analysis; one alone in full, with its sources."""
    if len(found.materials) == 1:
        _show_material(console, found.materials[0])
    else:
        table = table_of("Common materials", "material", "form", "analysis", "density", "remark")
        for item in found.materials:
            product = item.product
            table.add_row(
                escape(product.product),
                product.form.value,
                _analysis(product),
                _density(product),
                escape(item.remark),
            )
        console.print(table)
        console.print("[dim]Name one for its sources; --csv prints rows for a products file.[/]")
    console.print(LABEL_WINS)


def _show_material(console: Console, item: KnownMaterial) -> None:
    product = item.product
    console.print(f"[bold]{escape(product.product)}[/] ({product.form.value}): {_analysis(product)}")
    forms = ", ".join(f"{pct:g} % {form}" for form, pct in product.nitrogen_forms_pct.items())
    lines = [
        ("nitrogen as", forms),
        ("analysis from", str(item.analysis_source)),
        ("density", f"{_density(product)} {f'at {item.density_at}' if item.density_at else ''}".strip()),
    ]
    if item.bulk_kg_m3 is not None:
        low, high = item.bulk_kg_m3
        lines.append(("bulk density", f"{low:,.0f} to {high:,.0f} kg/m3; weigh a bucket of yours"))
    lines.append(("density from", "" if item.density_source is None else str(item.density_source)))
    lines.append(("remark", item.remark))
    for name, text in lines:
        if text:
            console.print(f"  {name}: {escape(text)}")


#: Columns of the rows to paste: what a label states, what the user fills in, and where the figures are from.
_COLUMNS = (
    *("product", "form", *(nutrient.value.lower() for nutrient in Nutrient)),
    *("urea_n", "ammoniacal_n", "nitrate_n", "contains", "density"),
    *("package", "price", "seller", "priced_on", "figures_from"),
)


def show_material_rows(console: Console, found: MaterialRows, _system: str) -> None:
    """Print materials as rows of a products file, package and price left to fill in."""
    rows = io.StringIO()
    writer = csv.DictWriter(rows, _COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for item in found.materials:
        product = item.product
        writer.writerow(
            {
                "product": product.product,
                "form": product.form.value,
                **{n.value.lower(): f"{pct:g}" for n, pct in product.analysis_pct.items()},
                **{f"{form}_n": f"{pct:g}" for form, pct in product.nitrogen_forms_pct.items()},
                "contains": "; ".join(product.contains),
                "density": _density(product),
                "figures_from": f"{LABEL_WINS} {item.analysis_source}",
            }
        )
    console.out(rows.getvalue(), highlight=False, end="")


def show_seed(console: Console, found: SeedAnswer, system: str) -> None:
    """Print the pure live seed of a lot, its price, and the seed as bagged for a rate."""
    console.print(f"Pure live seed: [bold]{found.lot.pls_fraction:.1%}[/]")
    if found.price_per_kg is not None and found.pls_price_per_kg is not None:
        console.print(
            f"Price: [bold]{_per_mass(found.pls_price_per_kg, system)}[/] of pure live seed, "
            f"{_per_mass(found.price_per_kg, system)} as bagged"
        )
    if found.pls_rate_kg_ha is not None and found.bulk_rate_kg_ha is not None:
        console.print(
            f"Sow [bold]{rate_words(found.bulk_rate_kg_ha, system)}[/] as bagged for "
            f"{rate_words(found.pls_rate_kg_ha, system)} of pure live seed"
        )
    show_steps(console, found.steps)


def show_lime(console: Console, found: LimeAnswer, system: str) -> None:
    """Print a lime's scores, the price of an effective ton, and the product for a need, dose by dose."""
    unit, parts = ("lb per ton", 2000) if system == "us" else ("kg per tonne", 1000)
    name = escape(found.label.product)
    scores = table_of(f"{name}: effective lime", "score", unit, "remark", numbers=(1,))
    for score in found.scores:
        figure = "[yellow]unknown[/]" if score.fraction is None else f"{score.fraction * parts:,.0f}"
        scores.add_row(score.basis.value, figure, escape(score.reason))
    console.print(scores)
    ton, ton_kg = ("ton", TON_KG) if system == "us" else ("tonne", 1000.0)
    prices = table_of(
        f"Price of an effective {ton}", "package", "seller", "price", "score", f"per {ton}", numbers=(2, 4)
    )
    for offer, entries in found.offers:
        for entry in entries:
            per_ton = entry.price_per_effective_ton
            prices.add_row(
                escape(offer.package),
                escape(offer.seller),
                _asked(offer),
                entry.basis.value,
                "" if per_ton is None else _dollars(per_ton / TON_KG * ton_kg),
            )
    if prices.row_count:
        console.print(prices)
    if found.need_kg_ha is not None and found.product_kg_ha is not None:
        console.print(
            f"{rate_words(found.need_kg_ha, system)} of {found.scores[0].basis.value} take "
            f"[bold]{_lime_rate(found.product_kg_ha, system)}[/] of {name}"
        )
    if found.doses is not None:
        rates = found.doses.rates_kg_ha
        count = "1 dose" if len(rates) == 1 else f"{len(rates)} doses"
        limit = escape(f"{found.doses.limit.place}, {found.doses.limit.method}")
        console.print(f"In {count}: {', '.join(_lime_rate(rate, system) for rate in rates)} ({limit})")
    if len(found.scores) == 1:
        show_steps(console, found.steps)
    else:
        console.print(
            "[dim]--basis names one score and shows its steps; two states' scores do not compare.[/]"
        )


def _lime_rate(rate_kg_ha: float, system: str) -> str:
    """A lime rate in tons, as lime is bought."""
    if system == "us":
        return f"{rate_kg_ha / TON_ACRE_KG_HA:,.2f} tons/acre"
    return f"{rate_kg_ha / 1000:,.2f} t/ha"


#: What people read of each kind of result at the store, as in `text`.
TEXTS: Mapping[type, Callable[[Console, Any, str], None]] = {
    BreakEven: show_break_even,
    Valued: show_value,
    AmountNeeded: show_amount,
    Mixture: show_mixture,
    Materials: show_materials,
    MaterialRows: show_material_rows,
    SeedAnswer: show_seed,
    LimeAnswer: show_lime,
}
