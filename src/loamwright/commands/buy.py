"""The commands for a person at the store, ``loamwright buy …``: each asks one question of `supplies`."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from loamwright.commands.answer import Answer, Asked, command, read, read_if_given
from loamwright.errors import InputError, Level, Problem, UnitError

if TYPE_CHECKING:
    from loamwright.supplies import LimeSize

app = typer.Typer(
    no_args_is_help=True,
    help="At the store: is it the better buy, how much of it, what is in it.",
)

PriceFile = Annotated[
    Path, typer.Argument(metavar="FILE", help="A products file (CSV or XLSX), or a property file.")
]
OfferName = Annotated[
    str, typer.Argument(metavar="OFFER", help="Words that fit one offer: 'urea 50 lb'; or its offer_id.")
]
PackagePrice = Annotated[
    str | None, typer.Option("--price", help="Price of a package today, in place of the file's.")
]


@command(app, "break-even", in_units=True)
def break_even(
    file: PriceFile,
    offer: OfferName,
    nutrient: Annotated[
        str, typer.Argument(metavar="NUTRIENT", help="What is compared: N, P2O5, K2O, S, … or ENP, ECCE, …")
    ],
    against: Annotated[str | None, typer.Option(metavar="OFFER", help="The offer to compare with.")] = None,
    at: Annotated[str | None, typer.Option(metavar="PRICE", help="Or a price to meet, '1.24/lb'.")] = None,
    price: PackagePrice = None,
) -> Answer:
    """Find the price that makes it the better buy.

    At that price of a package a pound of the nutrient costs the same as in the other offer, or as the price
    given; nothing else in the package is credited.
    """
    from loamwright import files, supplies

    prices = files.price_list(file)
    found = supplies.break_even(
        prices,
        offer,
        read("nutrient", nutrient, supplies.parse_supply),
        against,
        read_if_given("at", at, supplies.parse_price_per_mass),
        read_if_given("price", price, supplies.parse_cost),
    )
    return Answer(found, prices.units)


@command(app, in_units=True)
def value(
    file: PriceFile,
    offer: OfferName,
    need: Annotated[
        list[str] | None,
        typer.Option("--need", help="Nutrient that is needed; once for each. Only these count."),
    ] = None,
    reference: Annotated[
        list[str] | None,
        typer.Option(
            help="What one costs elsewhere, 'N=0.62/lb'; else in the cheapest single-nutrient offer."
        ),
    ] = None,
    price: PackagePrice = None,
) -> Answer:
    """Value a package, counting only what is needed.

    Each nutrient counts at the price given, or at what it costs in the cheapest other single-nutrient offer:
    one that brings no other of N, P2O5, K2O or of those needed.
    """
    from loamwright import files, supplies

    prices = files.price_list(file)
    found = supplies.value(
        prices,
        offer,
        [read("need", text, supplies.parse_supply) for text in need or ()],
        dict(read("reference", text, supplies.parse_reference) for text in reference or ()),
        read_if_given("price", price, supplies.parse_cost),
    )
    return Answer(found, prices.units)


@command(app, in_units=True)
def amount(
    file: PriceFile,
    offer: OfferName,
    rate: Annotated[
        str, typer.Argument(metavar="RATE", help="'60 lb N/acre', '2 lb N/1000 ft2', '3000 lb ENP/acre'.")
    ],
    area: Annotated[str, typer.Argument(metavar="AREA", help="Area to spread on, '2.1 acre'.")],
    of: Annotated[
        str | None, typer.Option("--of", help="What the rate is of, when it does not say; else the product.")
    ] = None,
    delivery: Annotated[
        str | None, typer.Option(help="Delivery of the order, in place of the file's.")
    ] = None,
    spreading: Annotated[str | None, typer.Option(help="A pass of the spreader, '8.50/acre'.")] = None,
    trip: Annotated[str | None, typer.Option(help="Going there once, whatever the area.")] = None,
    hauling: Annotated[str | None, typer.Option(help="Hauling what is bought, '0.02/lb'.")] = None,
    price: PackagePrice = None,
) -> Answer:
    """Work out product, packages and cost for a rate.

    Packages exact and whole; the cost bought, delivered and spread, in all and an acre.
    """
    from loamwright import files, supplies
    from loamwright.supplies import Charges
    from loamwright.units import parse_area
    from loamwright.values import Supply

    prices = files.price_list(file)
    asked = read("rate", rate, supplies.parse_named_rate)
    named = read_if_given("of", of, supplies.parse_supply)
    if None not in (named, asked.supply) and named != asked.supply:
        what = f"{of!r} is not what the rate {rate!r} is of"
        raise InputError([Problem("of", what, "Say it once.")])
    supply = named or asked.supply
    charges = Charges(
        delivery=read_if_given("delivery", delivery, supplies.parse_cost),
        spreading_per_ha=read_if_given("spreading", spreading, supplies.parse_price_per_area),
        spreading_per_pass=read_if_given("trip", trip, supplies.parse_cost),
        hauling_per_kg=Decimal(0)
        if hauling is None
        else Decimal(repr(read("hauling", hauling, supplies.parse_price_per_mass))),
    )
    found = supplies.amount(
        prices,
        offer,
        supply or Supply.PRODUCT,
        asked.rate_kg_ha,
        read("area", area, supplies.over_zero(parse_area, "2.1 acre")),
        charges,
        read_if_given("price", price, supplies.parse_cost),
    )
    if supply is None:
        what = f"{rate!r} names no nutrient and was taken as a rate of {found.label.product} itself"
        note = Problem("rate", what, "For a nutrient add `of` N.", Level.NOTE)
        found = replace(found, problems=(note, *found.problems))
    return Answer(found, prices.units)


@command(app, in_units=True)
def mix(
    file: PriceFile,
    parts: Annotated[list[str], typer.Argument(metavar="PART…", help="'urea=100 lb' 'potash=50 lb' …")],
    filler: Annotated[str | None, typer.Option(help="Inert filler, '50 lb'; none if not given.")] = None,
) -> Answer:
    """Work out the grade of a mixture of products of the file."""
    from loamwright import files, supplies
    from loamwright.units import parse_mass

    prices = files.price_list(file)
    found = supplies.mix(
        prices,
        [read("part", text, supplies.parse_part) for text in parts],
        read_if_given("filler", filler, supplies.over_zero(parse_mass, "50 lb")) or 0.0,
    )
    return Answer(found, prices.units)


@command(app, in_units=True)
def formulate(
    file: PriceFile,
    grade: Annotated[str, typer.Argument(metavar="GRADE", help="Grade wanted, '10-10-10' or '15-0-15-5S'.")],
    carriers: Annotated[
        list[str], typer.Argument(metavar="PRODUCT…", help="One product for each nutrient of the grade.")
    ],
    batch: Annotated[str, typer.Option(help="Size of the batch.")] = "1 ton",
) -> Answer:
    """Work out what makes a grade, filler included."""
    from loamwright import files, supplies
    from loamwright.files import parse_grade
    from loamwright.units import parse_mass

    prices = files.price_list(file)
    found = supplies.formulate(
        prices,
        read("grade", grade, parse_grade),
        carriers,
        read("batch", batch, supplies.over_zero(parse_mass, "1 ton")),
    )
    return Answer(found, prices.units)


@command(app)
def materials(
    asked: Asked,
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="Words of a name; all if not given.")] = "",
    as_csv: Annotated[bool, typer.Option("--csv", help="Print rows for a products file.")] = False,
) -> Answer:
    """List published analyses of common materials.

    Typical figures to start from, with their sources; the label on the bag wins.
    """
    from loamwright import supplies
    from loamwright.commands.results import MaterialRows, Materials
    from loamwright.files import known_materials

    if as_csv and asked.as_json:
        raise InputError([Problem("materials", "--csv and --json are two answers", "Choose one.")])
    found = supplies.find_materials(known_materials(), name)
    return Answer(MaterialRows(found) if as_csv else Materials(found))


@command(app, in_units=True)
def seed(
    purity: Annotated[str, typer.Option(help="Pure seed on the tag, percent.")],
    germination: Annotated[str, typer.Option(help="Germination on the tag, percent.")],
    hard: Annotated[str, typer.Option(help="Hard or dormant seed to count as live, percent.")] = "0",
    price: Annotated[str | None, typer.Option(help="Price as bagged, '1.95/lb' or '97.50/50 lb'.")] = None,
    rate: Annotated[str | None, typer.Option(help="Pure live seed wanted, '10 lb/acre'.")] = None,
) -> Answer:
    """Work out pure live seed, its price, and the rate."""
    from loamwright import supplies
    from loamwright.files import parse_percent
    from loamwright.supplies import SeedTag

    tag = SeedTag(
        read("purity", purity, parse_percent),
        read("germination", germination, parse_percent),
        read("hard", hard, parse_percent),
    )
    found = supplies.live_seed(
        tag,
        read_if_given("price", price, supplies.parse_price_per_mass),
        read_if_given("rate", rate, supplies.parse_seed_rate),
    )
    return Answer(found)


@command(app, in_units=True)
def lime(
    file: PriceFile,
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="Words that fit one lime.")],
    basis: Annotated[
        str | None,
        typer.Option(help="Score wanted, with its steps: ENP, ECCE, ENM, ENV, CCE …; all if not given."),
    ] = None,
    need: Annotated[str | None, typer.Option(help="Effective lime wanted, '3000 lb ENP/acre'.")] = None,
    doses: Annotated[
        str,
        typer.Option(help="Divide the need by a published rule, 'missouri-surface'; a wrong id lists all."),
    ] = "",
    low_magnesium: Annotated[
        bool, typer.Option("--low-magnesium", help="The soil test is low in magnesium.")
    ] = False,
    formula: Annotated[
        str,
        typer.Option(help="Your own sieve formula, mesh:share from coarse to fine: '10:0.4; 60:1'."),
    ] = "",
    formula_source: Annotated[str, typer.Option(help="Where that formula was read.")] = "",
    dry: Annotated[bool, typer.Option("--dry", help="Your formula takes moisture off.")] = False,
) -> Answer:
    """Score a lime: tons for a need, doses, price.

    The score is what the label prints, else what a state's formula makes of it; no score is converted into
    another state's.
    """
    from loamwright import files, supplies
    from loamwright.supplies import LimeQuestion

    prices = files.price_list(file)
    wanted = read_if_given("basis", basis, supplies.parse_basis)
    stated, rate_kg_ha = read_if_given("need", need, supplies.parse_lime_need) or (None, None)
    if None not in (wanted, stated) and wanted is not stated:
        what = f"{basis!r} is not the score the need {need!r} is stated in"
        raise InputError([Problem("basis", what, "No score is converted into another.")])
    own = supplies.own_formula(formula, formula_source, takes_moisture=dry) if formula else None
    question = LimeQuestion(wanted or stated, rate_kg_ha, doses, low_magnesium, own)
    found = supplies.lime_worth(prices, product, question)
    return Answer(found, prices.units)


@command(app)
def restate(
    amount: Annotated[str, typer.Argument(help="A number: pounds, or percent.")],
    form: Annotated[
        str,
        typer.Argument(help="What it is of: K, K2O, P, P2O5, S, SO3, Mg, MgO, CaO, Ca(OH)2 …; or lb/ton, %."),
    ],
    other: Annotated[str, typer.Option("--as", help="What to restate it as.")],
) -> Answer:
    """Restate an amount of one form as another: K as K2O and back, burnt lime as carbonate."""
    from loamwright import supplies
    from loamwright.units import read_number

    return Answer(supplies.restated(read("amount", amount, read_number), form, other))


@command(app)
def worth(
    amounts: Annotated[
        list[str], typer.Argument(metavar="NUTRIENT=AMOUNT…", help="'N=50 lb' 'P2O5=20 lb' …")
    ],
    reference: Annotated[list[str], typer.Option(help="What one costs elsewhere, 'N=0.62/lb'; repeatable.")],
) -> Answer:
    """Say what a list of pounds of nutrients is worth."""
    from loamwright import supplies
    from loamwright.values import Supply

    def by_supply(text: str) -> tuple[Supply, float]:
        name, mass_kg = supplies.parse_part(text)
        return supplies.parse_supply(name), mass_kg

    prices = {
        supplies.parse_supply(name): price
        for name, price in (read("reference", text, supplies.parse_reference) for text in reference)
    }
    return Answer(supplies.worth(dict(read("amounts", text, by_supply) for text in amounts), prices))


@command(app)
def difference(
    file: PriceFile,
    first: OfferName,
    second: Annotated[str, typer.Argument(metavar="OFFER", help="The other offer.")],
) -> Answer:
    """Say by how much one offer is dearer than another, by the weight of product."""
    from loamwright import files, supplies

    prices = files.price_list(file)
    offers = [supplies.find_offer(words, prices.offers) for words in (first, second)]
    return Answer(supplies.difference(*offers), prices.units)


@command(app)
def carry(
    price: Annotated[str, typer.Argument(help="Paid now.")],
    months: Annotated[str, typer.Option(help="How long it is held.")],
    rate: Annotated[str, typer.Option(help="Interest a year, '8 %'.")],
    storage: Annotated[str, typer.Option(help="Storage in all.")] = "0",
) -> Answer:
    """Say what buying early and holding costs: interest and storage."""
    from loamwright import supplies
    from loamwright.files import parse_percent
    from loamwright.units import parse_money, read_number

    found = supplies.carried(
        read("price", price, parse_money),
        read("months", months, read_number),
        read("rate", rate, parse_percent),
        read("storage", storage, parse_money),
    )
    return Answer(found)


@command(app)
def haul(
    distance: Annotated[str, typer.Argument(help="One way, '30 miles'.")],
    amount: Annotated[str, typer.Argument(help="All that is hauled, '52 tons'.")],
    load: Annotated[str, typer.Option(help="One load, '20 tons'.")],
    charge: Annotated[str, typer.Option(help="For the distance driven, '4.50/mile'.")],
    one_way: Annotated[bool, typer.Option("--one-way", help="The way back is not charged.")] = False,
) -> Answer:
    """Say what hauling costs by distance and whole loads."""
    from loamwright import supplies
    from loamwright.units import parse_length, parse_mass

    found = supplies.hauled(
        read("distance", distance, parse_length),
        read("charge", charge, _per_distance),
        read("load", load, parse_mass),
        read("amount", amount, parse_mass),
        not one_way,
    )
    return Answer(found)


def _per_distance(text: str) -> float:
    """Read a charge for a distance, ``4.50/mile`` [money/m]."""
    from loamwright.units import convert, parse_money

    money, _, unit = text.partition("/")
    return float(parse_money(money)) / convert(1.0, unit.strip() or "mile", "m")


@command(app)
def sizes(
    fractions: Annotated[
        list[str],
        typer.Argument(
            metavar="FRACTION…", help="Sieve range in mm, share, neutralizing value: '0-0.5=60@95'."
        ),
    ],
) -> Answer:
    """Score a lime whose neutralizing value is stated size by size (Western Australia)."""
    from loamwright import supplies

    return Answer(supplies.sizes_score(tuple(read("fractions", text, _fraction) for text in fractions)))


def _fraction(text: str) -> LimeSize:
    """Read ``0.5-1=30@92`` or, the coarsest, ``1-=10@88``."""
    from loamwright.supplies import LimeSize
    from loamwright.units import read_number

    between, _, rest = text.partition("=")
    low, dash, high = between.partition("-")
    share, at, value = rest.partition("@")
    if not (dash and at and low.strip()):
        raise UnitError(f"{text!r} is no size fraction", "write for example 0-0.5=60@95, and 1-=10@88")
    upper = read_number(high) if high.strip() else None
    return LimeSize(read_number(low), upper, read_number(share), read_number(value))
