"""Price lists: rows of products, packages and prices become labels and offers.

This file answers "what do these labels guarantee, and at what price are they sold?". One row is one
offer; the same product may stand on several rows with different packages or sellers, and then its
label may be left blank after the first row, but must not contradict it. Label arithmetic is
`products`.

Columns: product form grade · n p2o5 k2o s ca mg b zn mn, or so3 mgo cao p_element k_element, in percent by
weight or with a unit (see `label_figures`) · urea_n nitrate_n
ammoniacal_n (percent of product) · ingredient ingredient_pct density · cce passing_8 passing_20 … (any
mesh) moisture enp enp_state ecce enm rnv ecc env ep ai nv_cao dolomitic · of manure, litter and compost:
material method, nh4_n and organic_n in place of n, available_n_pct … (or of both parts) · min_rate max_rate
equipment timing contains · offer_id package price seller priced_on in_stock min_order max_count delivery_fee
divisible increment price_breaks (``10:19.50; 40:18.00``) price_low price_high. Lists stand between
semicolons.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import TypeVar

from loamwright.errors import AmbiguousNumberError, Level, Problem, UnitError, has_errors
from loamwright.files.fields import Fields, key_of, shown
from loamwright.files.label_figures import ANALYSIS, read_figures
from loamwright.files.named_columns import rows_of
from loamwright.files.textrows import Table
from loamwright.supplies import Form, Handled, LimeLabel, Offer, Product, check_offer, check_product
from loamwright.units import (
    CACO3_PER_CAO,
    PCT_LB_TON,
    convert,
    parse_money,
    parse_package,
    parse_quantity,
    parse_rate,
    read_number,
)
from loamwright.values import LimeBasis, Nutrient, Timing

D = TypeVar("D", Product, LimeLabel)

#: Other names of columns.
PRODUCT_ALIASES = {
    "name": "product",
    "product_name": "product",
    "analysis": "grade",
    "nitrogen": "n",
    "phosphate": "p2o5",
    "potash": "k2o",
    "sulfur": "s",
    "calcium": "ca",
    "magnesium": "mg",
    "boron": "b",
    "zinc": "zn",
    "manganese": "mn",
    "package_size": "package",
    "size": "package",
    "unit_price": "price",
    "cost": "price",
    "vendor": "seller",
    "supplier": "seller",
    "dealer": "seller",
    "price_date": "priced_on",
    "stock": "in_stock",
    "on_hand": "in_stock",
    "timings": "timing",
    "moisture_pct": "moisture",
    "cce_pct": "cce",
    "enp_lb_per_ton": "enp",
    "ecce_pct": "ecce",
    "enm_lb_per_ton": "enm",
    "rnv_pct": "rnv",
    "ecc_pct": "ecc",
    "env_pct": "env",
    "ep_pct": "ep",
    "nv_cao_pct": "nv_cao",
    "nv_caco3": "cce",
    "nv_pct": "nv",
    "agricultural_index": "ai",
}
_NUTRIENTS = {nutrient.value.lower(): nutrient for nutrient in Nutrient}
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_N_FORMS = ("urea_n", "nitrate_n", "ammoniacal_n")
PASSING = r"passing_(\d{1,4})"
#: Printed scores that are kept as percent: 100 % is 2,000 lb per ton.
_SCORES = {
    "rnv": LimeBasis.RNV,
    "ecc": LimeBasis.ECC,
    "ecc_nebraska": LimeBasis.ECC_NEBRASKA,
    "env": LimeBasis.ENV,
    "ep": LimeBasis.EP,
    "ai": LimeBasis.AI,
}
#: Names of columns.
PRODUCT_FIELDS = (
    *("product", "form", "grade", *_NUTRIENTS, *_N_FORMS, "ingredient", "ingredient_pct", "density"),
    *("cce", "moisture", "enp", "enp_state", "ecce", "enm", "dolomitic", "min_rate", "max_rate"),
    *("ecce_lb_per_ton", "enp_pct", "nv", "nv_cao", *_SCORES, *(f"{name}_lb_per_ton" for name in _SCORES)),
    *("material", "method", *(f"available_{name}_pct" for name in (*_NUTRIENTS, "nh4_n", "organic_n"))),
    *("equipment", "timing", "contains", "offer_id", "package", "price", "seller", "priced_on", "in_stock"),
    *("min_order", "max_count", "delivery_fee", "divisible", "increment"),
    *("price_breaks", "price_low", "price_high", "handled", "bucket"),
)
_OFFER_FIELDS = ("package", "price", "seller", "priced_on", "in_stock", "price_breaks")


@dataclass(frozen=True, slots=True)
class _Label:
    """What one row says of a product: the label, the form if stated, the row."""

    product: Product
    form: Form | None
    row: int


def products_from(
    table: Table, held: Sequence[Product] = ()
) -> tuple[tuple[Product, ...], tuple[Offer, ...], tuple[Problem, ...]]:
    """Read labels and offers; what a label leaves blank is as `held` has it of that product."""
    rows, problems = rows_of(
        table, PRODUCT_FIELDS, PRODUCT_ALIASES, ("product",), patterns=(PASSING, ANALYSIS), kept=True
    )
    labels = _merged_labels(rows)
    known = {_name_key(label.product): label for label in held}
    products = {name: _finished(label, known.get(name), table, problems) for name, label in labels.items()}
    offers: list[Offer] = []
    first_rows: dict[str, int] = {}
    for row in rows:
        product = products.get(_name_key(row.text("product")))
        offer = _offer(row, product)
        if offer is None:
            continue
        if offer.offer_id in first_rows:
            row.problem(
                "package",
                f"row {first_rows[offer.offer_id]} is the same offer: {offer.offer_id!r}",
                "Delete one of the rows, or give each its own offer_id.",
            )
            continue
        first_rows[offer.offer_id] = row.line
        offers.append(offer)
    return tuple(p for p in products.values() if p is not None), tuple(offers), tuple(problems)


def _name_key(name: str) -> str:
    return " ".join(name.casefold().split())


# ---------------------------------------------------------------------------------------------
# Labels


def _merged_labels(rows: list[Fields]) -> dict[str, _Label]:
    """One label per product name from all its rows; a row that contradicts an earlier one is bad."""
    labels: dict[str, _Label] = {}
    for row in rows:
        label = _label(row)
        if row.bad:
            continue
        key = _name_key(label.product.product)
        if key not in labels:
            labels[key] = label
            continue
        first = labels[key]
        merged, clashes = _merge(first.product, label.product)
        if first.form is not None and label.form is not None and first.form is not label.form:
            clashes = (*clashes, "form")
        if clashes:
            row.problem(
                "",
                f"the label of {label.product.product!r} differs from row {first.row} "
                f"in {', '.join(clashes)}",
                "Correct the row, leave its label blank, or give the product a name of its own.",
            )
            continue
        labels[key] = _Label(merged, first.form or label.form, first.row)
    return labels


def _merge(first: D, second: D) -> tuple[D, tuple[str, ...]]:
    """Fill what the first label leaves open from the second; name what both state differently."""
    changes: dict[str, object] = {}
    clashes: list[str] = []
    for part in fields(first):
        ours, theirs = getattr(first, part.name), getattr(second, part.name)
        if part.name in ("product", "form") or theirs in (None, "", (), {}) or ours == theirs:
            continue
        if isinstance(ours, LimeLabel) and isinstance(theirs, LimeLabel):
            changes[part.name], inner = _merge(ours, theirs)
            clashes.extend(inner)
        elif part.name == "extra":
            changes[part.name] = {**theirs, **ours}
        elif isinstance(ours, Mapping):
            clashes.extend(
                f"{part.name} {key}" for key in theirs if ours.get(key, theirs[key]) != theirs[key]
            )
            changes[part.name] = {**theirs, **ours}
        elif ours in (None, "", ()):
            changes[part.name] = theirs
        else:
            clashes.append(part.name)
    return replace(first, **changes), tuple(clashes)  # type: ignore[arg-type]


def _label(row: Fields) -> _Label:
    name = row.required("product", "Urea 46-0-0")
    density = row.quantity("density", "density")
    figures = read_figures(row, density)
    forms = {form.removesuffix("_n"): value for form in _N_FORMS if (value := row.percent(form)) is not None}
    if figures.ammoniacal_pct is not None:
        forms.setdefault("ammoniacal", figures.ammoniacal_pct)
    available = {} if figures.available_n_pct is None else {Nutrient.N: figures.available_n_pct}
    product = Product(
        product=name,
        form=Form.DRY,
        analysis_pct=_analysis(row, figures.analysis_pct),
        ingredient=row.text("ingredient"),
        ingredient_pct=row.percent("ingredient_pct"),
        density_kg_m3=density,
        bucket_kg=row.quantity("bucket", "load"),
        lime=_lime_label(row),
        min_rate_kg_ha=_rate(row, "min_rate", density),
        max_rate_kg_ha=_rate(row, "max_rate", density),
        equipment=row.listed("equipment"),
        timings=row.listed_words("timing", Timing),
        nitrogen_forms_pct=forms,
        contains=row.listed("contains"),
        dolomitic=row.yes_no("dolomitic"),
        extra=row.extra,
        material=row.text("material"),
        method=row.text("method"),
        available_pct=available
        | {
            nutrient: share
            for name, nutrient in _NUTRIENTS.items()
            if (share := row.percent(f"available_{name}_pct")) is not None
        },
    )
    return _Label(product, row.word("form", Form), row.line)


def _analysis(row: Fields, analysis: Mapping[Nutrient, float]) -> Mapping[Nutrient, float]:
    """Hold the columns against the grade, where there is one."""
    graded = row.read("grade", parse_grade)
    if graded is None:
        return analysis
    for nutrient, value in graded.items():
        if analysis.get(nutrient, value) != value:
            row.problem(
                "grade",
                f"{row.text('grade')!r} says {value:g} % {nutrient}, its own column {analysis[nutrient]:g} %",
                "Correct one of them.",
            )
    return {**graded, **analysis}


def parse_grade(text: str) -> Mapping[Nutrient, float]:
    """Read a grade as printed on a bag.

    Parameters
    ----------
    text
        ``"21-0-0-24S"``: N, P2O5, K2O, then further nutrients with their symbol.

    Returns
    -------
    mapping of Nutrient to float
        [percent by weight]

    Raises
    ------
    UnitError
        When it is not understood.

    Examples
    --------
    >>> {str(k): v for k, v in parse_grade("21-0-0-24S").items()}
    {'N': 21.0, 'P2O5': 0.0, 'K2O': 0.0, 'S': 24.0}
    """
    parts = [part.strip() for part in text.replace("–", "-").split("-")]
    symbols = {nutrient.value.lower(): nutrient for nutrient in Nutrient}
    try:
        if len(parts) < 3:
            raise UnitError(text)
        first = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)
        grade = {nutrient: read_number(part) for nutrient, part in zip(first, parts, strict=False)}
        for part in parts[3:]:
            figure = part.rstrip(_LETTERS)
            grade[symbols[part.removeprefix(figure).lower()]] = read_number(figure)
    except (UnitError, KeyError) as error:
        raise UnitError(f"{shown(text)} is not a grade", "write for example 46-0-0 or 21-0-0-24S") from error
    return grade


def _lime_label(row: Fields) -> LimeLabel | None:
    shares = {name: row.percent(name) for name in row.matching(PASSING)}
    label = LimeLabel(
        cce_pct=row.percent("cce", "neutralizing value"),
        passing_pct={
            int(name.removeprefix("passing_")): share for name, share in shares.items() if share is not None
        },
        moisture_pct=row.percent("moisture"),
        enp_lb_per_ton=row.number("enp", "score per ton"),
        ecce_pct=row.percent("ecce", "neutralizing value"),
        enm_lb_per_ton=row.number("enm", "score per ton"),
        enp_state=row.text("enp_state"),
        scores_pct=_scores(row),
    )
    if (per_ton := row.number("ecce_lb_per_ton", "score per ton")) is not None:
        label = replace(label, ecce_pct=per_ton / PCT_LB_TON)
    if (percent := row.percent("enp_pct", "neutralizing value")) is not None:
        label = replace(label, enp_lb_per_ton=percent * PCT_LB_TON)
    if (oxide := row.percent("nv_cao", "neutralizing value")) is not None:
        label = replace(label, cce_pct=oxide * CACO3_PER_CAO)
        told = f"{oxide:g} % on the CaO scale is {oxide * CACO3_PER_CAO:.4g} % CCE"
        row.problem("nv_cao", told, "Restated as labels here are written.", Level.NOTE)
    if row.text("nv"):
        fix = "Name the column nv_cao, or cce when it is of calcium carbonate."
        row.problem("nv", "it does not say of what: CaO or calcium carbonate", fix)
    return None if label == LimeLabel() else label


def _scores(row: Fields) -> Mapping[str, float]:
    """Any other score a label prints, in percent or in pounds per ton."""
    found = {}
    for name, basis in _SCORES.items():
        percent, pounds = (
            row.percent(name, "neutralizing value"),
            row.number(f"{name}_lb_per_ton", "score per ton"),
        )
        percent = percent if pounds is None else pounds / PCT_LB_TON
        if percent is not None:
            found[basis.value] = percent
    return found


def _rate(row: Fields, name: str, density: float | None) -> float | None:
    """A product rate by weight, or by volume when the density is known [kg/ha]."""

    comma = row.decimal_comma(name)

    def parse(text: str) -> float:
        try:
            return parse_rate(text, row.system, comma)
        except UnitError:
            if density is None:
                raise
            quantity = parse_quantity(text, comma)
            return convert(quantity.value, quantity.unit, "m3/ha") * density

    return row.quantity(name, "rate", parse)


def _finished(label: _Label, known: Product | None, table: Table, problems: list[Problem]) -> Product | None:
    """The product with its form settled and its label checked; None when the label has an error."""
    where = f"{table.path.name}, row {label.row}"
    form, product = label.form, label.product
    if known is not None:
        form, (product, _) = form or known.form, _merge(product, known)  # what is stated anew stands
        product = replace(product, product=known.product)
    if form is None:
        form, why = (
            (Form.LIME, "it has a lime label")
            if product.lime is not None
            else (Form.LIQUID, "it has a density")
            if product.density_kg_m3 is not None
            else (Form.DRY, "it has neither a lime label nor a density")
        )
        what = f"the form of {product.product!r} is not stated and was read as {form.value}: {why}"
        fix = "Write dry, liquid or lime in the column form."
        problems.append(Problem(f"{where}, form", what, fix, Level.NOTE))
    product = replace(product, form=form)
    found = check_product(product, where)
    problems.extend(found)
    return None if has_errors(found) else product


# ---------------------------------------------------------------------------------------------
# Offers


def is_bulk(package: str) -> bool:
    """Whether a package is sold by weight, as its words say."""
    return bool(re.search(r"\bbulk\b", package, re.IGNORECASE))


def _offer(row: Fields, product: Product | None) -> Offer | None:
    """The offer of a row; None when the row states a label only or cannot be used."""
    if not any(row.text(name) for name in _OFFER_FIELDS):
        return None
    density = product.density_kg_m3 if product is not None else None
    package = row.required("package", "50 lb bag")
    comma, price_comma = row.decimal_comma("package"), row.decimal_comma("price")
    package_kg = row.quantity(
        "package", "package", lambda text: parse_package(text, density, row.system, comma)
    )
    price = row.money("price")
    increment = row.quantity("increment", "package")
    stated = row.yes_no("divisible")
    if stated is False and increment is not None:
        what = f"it is sold in steps of {row.text('increment')}, yet not by weight"
        row.problem("divisible", what, "Write yes, or leave the increment blank for whole packages.")
    divisible = is_bulk(package) or increment is not None if stated is None else stated
    low, high = row.money("price_low"), row.money("price_high")
    if low is not None and high is not None and low > high:
        row.problem(
            "price_low",
            f"the low price {row.text('price_low')} is over the high price {row.text('price_high')}",
            "Exchange them.",
        )
    seller = row.text("seller")
    offer = Offer(
        offer_id=row.text("offer_id") or offer_id(row.text("product"), package, seller),
        product=product.product if product is not None else row.text("product"),
        package=package,
        package_kg=package_kg,
        price=price,
        divisible=divisible,
        increment_kg=increment,
        seller=seller,
        priced_on=row.date("priced_on"),
        in_stock=row.number("in_stock", "count") or 0.0,
        min_order=row.count("min_order") or 0,
        max_count=row.count("max_count"),
        delivery_fee=row.money("delivery_fee") or Decimal(0),
        price_breaks=row.read("price_breaks", lambda text: parse_price_breaks(text, price_comma)) or (),
        price_low=low,
        price_high=high,
        handled=row.word("handled", Handled),
    )
    if product is None or row.bad:
        return None
    problems = check_offer(offer, product, row.where)
    row.add(problems)
    return None if has_errors(problems) else offer


def offer_id(product: str, package: str, seller: str) -> str:
    """Return the id of an offer, the same whenever the same package of the same seller is read again.

    Examples
    --------
    >>> offer_id("Urea 46-0-0", "50 lb bag", "Mill Co-op")
    'urea-46-0-0.50-lb-bag.mill-co-op'
    """
    return ".".join(key_of(part).replace("_", "-") for part in (product, package, seller) if part)


def parse_price_breaks(text: str, decimal_comma: bool | None = None) -> tuple[tuple[int, Decimal], ...]:
    """Read cheaper prices from a number of packages up; the comma is as in `units.read_number`.

    Examples
    --------
    >>> parse_price_breaks("10:19.50; 40:18.00")
    ((10, Decimal('19.50')), (40, Decimal('18.00')))
    """
    breaks: dict[int, Decimal] = {}
    example = "write for example 10:19.50; 40:18.00"
    for part in filter(None, (part.strip() for part in text.split(";"))):
        count, _colon, price = part.partition(":")
        try:
            number, amount = read_number(count), parse_money(price, decimal_comma)
        except AmbiguousNumberError:
            raise
        except UnitError as error:
            raise UnitError(f"{shown(text)} is not a list of price breaks", example) from error
        if number < 1 or not number.is_integer() or number in breaks:
            raise UnitError(f"{shown(text)} is not a list of price breaks", example)
        if amount < 0:
            raise UnitError(f"{shown(text)} holds a negative price", example)
        breaks[int(number)] = amount
    return tuple(sorted(breaks.items()))
