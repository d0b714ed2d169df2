"""Price sheets of dealers: sections with their own headings, grades, packages, prices, charges."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from loamwright.errors import UnitError
from loamwright.files.fields import DAY_FIRST, MONTH_FIRST
from loamwright.files.grids import Cell
from loamwright.files.reference import known_materials
from loamwright.files.sheets.figures import slug
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.layout import Block, Record
from loamwright.files.sheets.records import SheetOffer
from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.figures import decimal_comma_of, read_printed
from loamwright.files.sheets.words.guarantees import read_guarantees
from loamwright.files.sheets.words.measures import read_unit
from loamwright.files.sheets.words.vocabulary import means, mentions, plain
from loamwright.supplies import Form, KnownMaterial
from loamwright.units import LB_GAL_KG_M3, parse_density

_DATE = re.compile(
    r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}|[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2,4}"
    r"|[^\W0-9_]{3,9}\.? [0-9]{1,2},? [0-9]{4}|[0-9]{1,2}\.? [^\W0-9_]{3,9} [0-9]{4}"
)
_CURRENCIES = {
    "€": "EUR",
    "£": "GBP",
    "eur": "EUR",
    "gbp": "GBP",
    "nok": "NOK",
    "sek": "SEK",
    "dkk": "DKK",
    "kr": "kr",
}
_CHARGE = re.compile(
    r"(?P<before>[^$€£.;,]*?)\s*[$€£]?\s*(?P<amount>[0-9]+(?:[.,][0-9]+)?)\s*(?:kr\s*)?(?:/|\bper\b)\s*(?P<per>[^\W0-9_]+)(?P<after>[^.;,]*)"
)
_CHARGES = (
    ("rental", "spreader_rental"),
    ("spread", "spreading"),
    ("deliver", "delivery"),
    ("haul", "delivery"),
    ("freight", "delivery"),
    ("application", "application"),
    ("blend", "blending"),
)
_MONEY = re.compile(
    r"[$€£]\s*[0-9]|[0-9]\s*[%$€£]|[0-9]\s*(?:kr|eur|usd|gbp|dollars?)\b|[0-9]\s*(?:/|\bper\b)",
    re.IGNORECASE,
)
_FEE = re.compile(
    r"\b(?:charge|fee|surcharge|deposit|discount|delivery|delivered|freight|haul\w*|spread\w*|rental|application"
    r"|blend\w*|prepay|minimum|order|pallets?|tax|zuschlag|fracht|lieferung|livraison|frais)\b",
    re.IGNORECASE,
)
#: A package that is called by its size alone.
_ONE_OF = {"dt": "100 kg", "dz": "100 kg", "t": "1 t", "ton": "1 ton", "tonne": "1 t", "cwt": "100 lb"}
#: What a price is for that counts no package.
_PER_ONE = {"1 ton": "ton", "1 t": "t", "1 gal": "gal", "1 lb": "lb", "100 lb": "cwt", "100 kg": "dt"}
#: A package named before its size, "BigBag 600 kg", "Sack 25 kg".
_SIZED = re.compile(
    r"[^\W\d_][^0-9]*?(?P<number>[0-9][0-9.,]*)\s*(?P<unit>kg|t|lbs?|gal|l)\b\.?", re.IGNORECASE
)
#: A size in a product's name, and not a score or a price of a pound.
_NAMED_SIZE = re.compile(
    r"(?<![\d.,-])(?P<number>[0-9][0-9.,]*)\s*(?P<unit>kg|lbs?|#|gal)\b\.?(?!\s*(?:of\s+)?(?:/|per\b|[A-Z]{2,4}\b))"
)
#: A row that is no product but what its delivery or spreading costs.
_CHARGE_ROW = re.compile(
    r"(?i)(?:delivery|freight|hauling|spreading|custom spreading|fracht|lieferung|livraison"
    r"|.{0,30}\b(?:fee|charge|surcharge|deposit|tax|rental))"
)
_PACKED = re.compile(
    r"(?P<size>[0-9.,]+\s*(?:#|(?:short )?[^\W0-9_]+\.?))\s*(?P<kind>bag|sack|jug|tote|pail|drum|jar|sac)?s?"
)
#: Units a density is asked in where neither its cell nor its heading names one.
_DENSITIES = ("lb/gal", "kg/L")
_CONTAINERS = ("bag", "sack", "jug", "tote", "pail", "drum", "jar", "sac")
_CURRENCY = re.compile(r"(?i)[$€£]|\b(?:usd|eur|gbp|nok|sek|dkk|kr)\b")
#: A figure that names no unit, with or without the sign of a currency.
_BARE_FIGURE = re.compile(r"(?i)(?:[$€£]|(?:usd|eur|gbp|nok|sek|dkk|kr)\b)?\s*[0-9][0-9.,]*\s*[$€£]?")
#: What figures without a unit can be in a column of packages.
_PRICES, _SIZES = "prices", ("lb", "kg", "gal")
_UNITS = {
    "bags": "bag",
    "totes": "tote",
    "unit": "each",
    "ac": "acre",
    "acres": "acre",
    "tons": "ton",
    "tonne": "t",
    "tonnes": "t",
    "gallon": "gal",
    "mile": "mile",
    "mi": "mile",
    "lbs": "lb",
    "#": "lb",
    "hundredweight": "cwt",
}


#: A measure of liquids.
_LIQUID_MEASURE = re.compile(
    r"(?i)(?<![a-z])(?:gal(?:lons?)?|l|lit(?:er|re)s?|hl|qts?|quarts?|pts?|pints?|fl\.? ?oz)(?![a-z])"
)
#: What liquids are packed in, also where they are sold by weight.
_VESSEL = re.compile(r"(?i)\b(?:jugs?|totes?|drums?|pails?|jars?|bottles?|cans?|ibc|tanks?)\b")
#: What only dry goods are packed in.
_DRY_PACKAGE = re.compile(r"(?i)\b(?:bags?|bagged|sacks?|big ?bags?|sac)\b")


def read_offers(blocks: Sequence[Block], inquiry: Inquiry) -> list[SheetOffer]:
    """Read the offers of all sections."""
    cells = [cell for block in blocks for record in block.records for cell in record.cells]
    prices = [
        record.cells[place].text
        for block in blocks
        for record in block.records
        for place in block.places("price")
    ]
    comma = decimal_comma_of([_bare(text) for text in prices])
    comma = comma if comma is not None else decimal_comma_of(cell.text for cell in cells)
    if comma is None and any("$" in text for text in prices):
        comma = False
    offers: list[SheetOffer] = []
    for block in (_with_sizes(block, inquiry) for block in blocks):
        if "product" in block.roles():
            listed = [record for record in block.records if not _is_sentence(record)]
            for record in listed:
                if _CHARGE_ROW.fullmatch(_product_cell(block, record).text.strip()):
                    inquiry.leave_out("a charge: enter it by hand", record.where)
                else:
                    offers.extend(_offers(block, record, inquiry, comma))
            for place, column in enumerate(block.columns):
                if column.role == "unknown" and any(record.cells[place].text for record in listed):
                    inquiry.leave_out("a column whose heading is not understood", f"{column.name!r}")
    missing = [offer.product for offer in offers if offer.price is None]
    if missing:
        inquiry.remark(f"no price for {', '.join(missing)}")
    return offers


def _with_sizes(block: Block, inquiry: Inquiry) -> Block:
    """Tell sizes of packages from their prices, where figures without a unit stand under "Bag"."""
    columns = list(block.columns)
    for place in block.places("package") if "product" in block.roles() else ():
        heading, name = columns[place].heading, columns[place].name
        texts = [record.cells[place].text for record in block.records if record.cells[place].text]
        if heading.unit or not texts or not all(_BARE_FIGURE.fullmatch(text) for text in texts):
            continue
        answer: str | None = _PRICES
        if not any(_CURRENCY.search(text) for text in texts):
            about = f"whether the figures under {name!r} are prices or sizes"
            answer = inquiry.ask(f"column.{slug(name)}", about, f"column {name!r}", (_PRICES, *_SIZES))
        if answer == _PRICES:
            heading = replace(heading, role="price", per=plain(name) if plain(name) in _CONTAINERS else None)
        elif answer in _SIZES:
            heading = replace(heading, units=(answer,))
        else:
            heading = replace(heading, role="aside")
        columns[place] = replace(columns[place], heading=heading)
    return replace(block, columns=tuple(columns))


def _product_cell(block: Block, record: Record) -> Cell:
    """The cell that names the product: of an item's number and its description, the description."""
    places = [
        place
        for place, column in enumerate(block.columns)
        if "product" in (column.role, *column.heading.also)
    ]
    named = [place for place in places if re.search(r"[^\W\d_]", record.cells[place].text)]
    return record.cells[(named or places)[0]]


def _size(block: Block, record: Record) -> str:
    """The size of a package as printed, with the unit of its heading: "Weight (lb)" over 50."""
    for place in (*block.places("package"), *block.places("net")):
        text, unit = record.cells[place].text, block.columns[place].heading.unit
        if text:
            return f"{text} {unit}" if unit and re.fullmatch(r"[0-9.,]+", text) else text
    return ""


def _size_in(product: str) -> str:
    """The size a product's name ends in: "Urea 46-0-0 50 lb bag"; a score in pounds is none."""
    found = _NAMED_SIZE.search(product)
    return f"{found['number']} {found['unit']}" if found else ""


def _is_sentence(record: Record) -> bool:
    """Tell whether a row under a table is no product: it speaks of fees, or one cell of terms or money.

    A comma in a sentence without quotes has split it over several cells.
    """
    texts = [cell.text for cell in record.cells if cell.text]
    if texts and re.search(r"[$€£]\s*[0-9]", texts[0]) and _FEE.search(texts[0]):
        return True
    if len(texts) != 1:
        return False
    spoken = len(texts[0].split()) > 2 and (_FEE.search(texts[0]) or texts[0].rstrip().endswith("."))
    return bool(spoken) and not read_guarantees(texts[0]).analysis


def sentences_among(blocks: Sequence[Block]) -> list[str]:
    """Return the sentences that stand in rows under a table of products."""
    records = (record for block in blocks if "product" in block.roles() for record in block.records)
    return [
        ", ".join(cell.text for cell in record.cells if cell.text)
        for record in records
        if _is_sentence(record)
    ]


def _bare(text: str) -> str:
    return re.sub(r"(?i)[$€£]|\b(?:usd|eur|gbp|nok|sek|dkk|kr)\b\.?", "", text).strip().rstrip(",-")


def _offers(block: Block, record: Record, inquiry: Inquiry, comma: bool | None) -> list[SheetOffer]:
    """Read the offers of a row: one for each price in it."""

    def text(*roles: str) -> str:
        places = [
            at for at, column in enumerate(block.columns) if {column.role, *column.heading.also} & set(roles)
        ]
        return next((record.cells[place].text for place in places if record.cells[place].text), "")

    product, renamed = _product(_product_cell(block, record), inquiry, record.where)
    grade, unread = _grade(block, record, text("grade"), product, inquiry)
    found = read_guarantees(f"{grade} ; {product}" if grade else product)
    if re.search("[0-9]", grade) and not read_guarantees(grade).analysis:
        inquiry.leave_out(
            "a guarantee that is not understood: enter it by hand", f"{record.where}, {grade!r}"
        )
    analysis = dict(found.analysis) | _analysis_columns(block, record, comma)
    lime = found.lime or (mentions("lime", product) is not None and not set(analysis) - {"ca", "mg"})
    form = "lime" if lime else _form(block.title, product)
    offer = SheetOffer(
        product,
        analysis,
        form,
        package=_package(_size(block, record) or _size_in(product), block.title),
        min_order=text("min_order") or None,
        candidates=(*renamed, *unread),
    )
    offer = _with_density(block, record, offer, inquiry, comma)
    sold_by = text("price_unit") or text("units")
    priced = [
        priced
        for place in block.places("price")
        if (priced := _with_price(block, record, place, offer, sold_by, inquiry, comma)) is not None
    ]
    notes = [text("note"), text("quantity"), text("in_stock"), *_unpriced(block, record, bool(priced))]
    told = [_with_notes(one, notes, text("in_stock")) for one in priced or [offer]]
    words = f"{block.title} {' '.join(cell.text for cell in record.cells)}"
    return [kept for one in told if (kept := _with_form(one, words, inquiry, record.where)) is not None]


def _unpriced(block: Block, record: Record, priced: bool) -> list[str]:
    """What price columns hold that is no figure: "call"; beside another price with the column's name."""
    texts = [
        (block.columns[place].name, record.cells[place].text)
        for place in block.places("price")
        if not re.search("[0-9]", record.cells[place].text) and re.search(r"[^\W_]", record.cells[place].text)
    ]
    return [f"{name}: {text}" if priced else text for name, text in texts]


def _with_form(offer: SheetOffer, words: str, inquiry: Inquiry, where: str) -> SheetOffer | None:
    """Return an offer that is dry or liquid, or a question of which; None when that is not known.

    `words` are all of its row and section. What is sold by a measure of liquids, or weighed so, is liquid.
    What comes in bags, or by weight in no vessel, is dry, and so is a grade published of dry materials only.
    What a liquid that is sold by volume weighs is asked for, unless the unit of its density is.
    """
    by_volume = _LIQUID_MEASURE.search(f"{offer.per or ''} {offer.package or ''}") is not None
    weighed = offer.density_lb_gal is not None or offer.density_kg_l is not None
    if offer.form == "lime" or weighed:
        return replace(offer, form=offer.form or "liquid")
    published = _published(offer)
    if by_volume and any(question.id == "density-unit" for question in inquiry.questions):
        return replace(offer, form="liquid")
    if by_volume:
        return _with_asked_density(replace(offer, form="liquid"), published, inquiry, where)
    packed = offer.per == "each" and re.fullmatch(r"[0-9.,]+ (?:lb|kg)", offer.package or "")
    said = f"{words} {offer.per or ''}"
    dry = mentions("dry", offer.product) or _DRY_PACKAGE.search(said) or (packed and not _VESSEL.search(said))
    forms = {one.product.form for one in published}
    if offer.form is not None or dry or forms == {Form.DRY}:
        return offer
    likely = "liquid" if forms == {Form.LIQUID} else None
    about = f"whether {offer.product} is dry or liquid"
    answer = inquiry.ask(f"form.{slug(offer.product)}", about, where, ("dry", "liquid"), likely)
    if answer == NOT_KNOWN:
        inquiry.leave_out("an offer of which it is not known whether it is dry or liquid", where)
        return None
    if answer is None:
        return replace(offer, form=likely, candidates=(*offer.candidates, "form"))
    return replace(offer, form=answer)


def _published(offer: SheetOffer) -> tuple[KnownMaterial, ...]:
    """Common materials of the grade of an offer."""

    def grade(analysis: Mapping[str, float]) -> tuple[float, ...]:
        return tuple(analysis.get(name, 0.0) for name in ("n", "p2o5", "k2o"))

    wanted = grade(offer.analysis)
    if not any(wanted):
        return ()
    by_name = [
        (one, {nutrient.value.casefold(): share for nutrient, share in one.product.analysis_pct.items()})
        for one in known_materials()
    ]
    return tuple(one for one, analysis in by_name if grade(analysis) == wanted)


def _with_asked_density(
    offer: SheetOffer, published: Sequence[KnownMaterial], inquiry: Inquiry, where: str
) -> SheetOffer | None:
    """Return a liquid with what a gallon of it weighs, or the question; None when that is not known."""
    weights = {kg_m3 / LB_GAL_KG_M3 for one in published if (kg_m3 := one.product.density_kg_m3)}
    likely = weights.pop() if len(weights) == 1 else None
    answer = inquiry.ask(
        f"density.{slug(offer.product)}",
        f"what {offer.product} weighs: it is sold by volume, and nutrients are percent by weight",
        where,
        ("<weight, as 10.67 lb/gal or 1.28 kg/l>",),
        None if likely is None else f"{likely:.4g} lb/gal",
        accepts=_is_density,
    )
    if answer == NOT_KNOWN:
        inquiry.leave_out("a liquid sold by volume of which it is not known what it weighs", where)
        return None
    if answer is None:
        return replace(offer, density_lb_gal=likely, candidates=(*offer.candidates, "density_lb_gal"))
    return replace(offer, density_lb_gal=parse_density(answer) / LB_GAL_KG_M3)


def _is_density(answer: str) -> bool:
    try:
        return parse_density(answer) > 0
    except UnitError:
        return False


def _product(cell: Cell, inquiry: Inquiry, where: str) -> tuple[str, tuple[str, ...]]:
    """Return a product's name; a grade that a spreadsheet turned into a date is asked about."""
    damaged = re.fullmatch(
        r"[0-9]{1,2}-[A-Za-z]{3}-[0-9]{2}|[A-Za-z]{3}-[0-9]{2}|[0-9]{1,2}/[0-9]{1,2}/[0-9]{4}", cell.text
    )
    if cell.date is None and not damaged:
        return cell.text, ()
    date = cell.date
    if date is None and (printed := read_printed_date(cell.text)) is not None:
        date = printed.in_order(None)
    likely = f"{date.day}-{date.month}-{date.year % 100}" if date else None
    answer = inquiry.ask(
        f"product.{slug(cell.text)}",
        f"which product {cell.text!r} is: a spreadsheet may have turned a grade into a date",
        where,
        ("<name of the product>",),
        likely,
    )
    if answer and answer != NOT_KNOWN:
        return answer, ()
    return (likely or cell.text), ("product",)


def _grade(
    block: Block, record: Record, grade: str, product: str, inquiry: Inquiry
) -> tuple[str, tuple[str, ...]]:
    """Return a grade; one that a spreadsheet turned into a date (10-10-10) is asked about."""
    dated = any(record.cells[place].date is not None for place in block.places("grade"))
    if not dated and not _DATED_GRADE.fullmatch(grade):
        return grade, ()
    answer = inquiry.ask(
        f"grade.{slug(product)}",
        f"the grade of {product}: the sheet shows {grade!r}, a date a spreadsheet made of it",
        f"{record.where}, grade",
        ("<grade, as 10-10-10>",),
        accepts=lambda given: bool(read_guarantees(given).analysis),
    )
    return ("", ("analysis",)) if answer is None or answer == NOT_KNOWN else (answer, ())


#: A day as spreadsheets show it: 2010-10-10, 10/10/2010, 10-Oct-10.
_DATED_GRADE = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}.*|[0-9]{1,2}/[0-9]{1,2}/[0-9]{2,4}|[0-9]{1,2}-[A-Za-z]{3}-[0-9]{2,4}"
)


def _form(title: str, product: str) -> str | None:
    for kind in ("liquid", "dry"):
        if mentions(kind, title) or (kind == "liquid" and mentions(kind, product)):
            return kind
    return None


def _package(size: str, title: str) -> str | None:
    if plain(size) in ("bulk", "loose", "lose", "lose ware", "vrac", "en vrac"):
        return "bulk"
    if size:
        size = _ONE_OF.get(plain(size), size)
        if inside := _SIZED.fullmatch(size.strip()):  # "BigBag 600 kg"
            size = f"{inside['number']} {inside['unit']}"
        match = re.fullmatch(r"([0-9.,]+)\s*(#|[^\W0-9_]+\.?)\s*(?:bags?|sacks?|jugs?|totes?)?", size.strip())
        unit = read_unit(match[2]) if match else None
        return f"{match[1]} {unit.names[0] if unit else match[2].casefold()}" if match else size
    return "bulk" if "bulk" in plain(title).split() else None


def _analysis_columns(block: Block, record: Record, comma: bool | None) -> dict[str, float]:
    """Read columns such as "N %", "P2O5 %", "CCE"."""
    found = {}
    for place, column in enumerate(block.columns):
        heading = column.heading
        printed = read_printed(record.cells[place].text, comma)
        if heading.analyte is not None and heading.analyte.kind == "nutrient" and printed.value is not None:
            found[heading.analyte.name.casefold()] = printed.value
    return found


def _with_density(
    block: Block, record: Record, offer: SheetOffer, inquiry: Inquiry, comma: bool | None
) -> SheetOffer:
    """Take a density by the unit of its cell or heading; one without a unit is asked about."""
    for place in block.places("density"):
        column, text = block.columns[place], record.cells[place].text
        printed = read_printed(text, comma)
        if printed.blank:
            continue
        unit = printed.unit or column.heading.unit
        if printed.value is not None and unit is None:
            unit = inquiry.ask(
                "density-unit", f"unit of the densities under {column.name!r}", column.name, _DENSITIES
            )
            if unit in (None, NOT_KNOWN):
                continue
        if printed.value is not None and unit == "lb/gal":
            return replace(offer, density_lb_gal=printed.value)
        if printed.value is not None and unit in ("kg/L", "g/cm3"):
            return replace(offer, density_kg_l=printed.value)
        inquiry.leave_out("a density that is not understood: enter it by hand", f"{record.where}, {text!r}")
    return offer


def _with_price(
    block: Block,
    record: Record,
    place: int,
    offer: SheetOffer,
    sold_by: str,
    inquiry: Inquiry,
    comma: bool | None,
) -> SheetOffer | None:
    """Return the offer at the price of one column; None when the cell holds no price."""
    column = block.columns[place]
    text = record.cells[place].text
    match = re.fullmatch(r"(?P<money>.*?[0-9][0-9.,\s]*?)\s*(?:(?:/|per)\s*(?P<per>[^/]+?))?", _bare(text))
    printed = read_printed(match["money"], comma) if match else None
    if printed is None or printed.value is None:
        if printed is not None and printed.choices:
            inquiry.ask(
                f"price.{slug(offer.product)}",
                f"price {text!r} of {offer.product}",
                record.where,
                ("<number>",),
            )
        return None
    by_heading = column.heading.per
    if by_heading and sold_by and plain(by_heading) in ("unit", "units"):
        by_heading = sold_by  # "$/unit", and a column says which unit
    per = (match["per"] if match else None) or by_heading or sold_by
    per = "ton" if plain(per) == "t" and "$" in f"{text}{column.name}" else plain(per)
    per = _PER_ONE.get(per, per)
    if packed := _PACKED.fullmatch(per):
        offer = _in_package(block, record, offer, _package(packed["size"], ""), text, inquiry)
        per = packed["kind"] or "each"
    known = re.match(r"(?:short )?(tons?|tonnes?|t|gal|gallons?|lbs?|kg|cwt|dt|bags?|each)\b(?P<how>.*)", per)
    if known and (how := known["how"].strip(" ,()")):  # $/ton delivered
        per, offer = known[1], replace(offer, note=how)
    per = _UNITS.get(per, per) or ("each" if "each" in plain(column.name) else "")
    candidates = offer.candidates
    if not per:
        section = block.title or column.name
        answer = inquiry.ask(
            f"price-unit.{slug(section)}",
            f"what the prices under {column.name!r} are for",
            section,
            ("each", "ton", "t", "gal", "lb", "kg"),
            "each" if offer.package not in (None, "bulk") else None,
        )
        likely = "each" if offer.package not in (None, "bulk") else ""
        per, candidates = (answer, candidates) if answer else (likely, (*candidates, "per"))
    return replace(
        offer, price=printed.value, per=per or None, currency=currency_of(text), candidates=candidates
    )


def _in_package(
    block: Block, record: Record, offer: SheetOffer, sold_in: str | None, price: str, inquiry: Inquiry
) -> SheetOffer:
    """Return the offer in the package its price is for; one that a note contradicts is asked about."""
    noted = [
        package
        for place in block.places("note")
        if _PACKED.fullmatch(plain(record.cells[place].text))
        and (package := _package(record.cells[place].text, "")) != sold_in
    ]
    own = offer.package if offer.package not in (None, "bulk", sold_in) else next(iter(noted), None)
    if own is None or sold_in is None:
        return replace(offer, package=sold_in)
    answer = inquiry.ask(
        f"package.{slug(offer.product)}",
        f"which package {price!r} buys of {offer.product}: its column says {sold_in}, its row {own}",
        record.where,
        (own, sold_in),
        own,
    )
    if answer == NOT_KNOWN:
        return replace(offer, package=None)
    candidates = offer.candidates if answer else (*offer.candidates, "package")
    return replace(offer, package=answer or own, candidates=candidates)


def currency_of(text: str) -> str | None:
    """Return the currency a text names; a dollar sign names none of several."""
    return next(
        (
            code
            for sign, code in _CURRENCIES.items()
            if re.search(rf"(?<![a-z]){re.escape(sign)}(?![a-z])", plain(text))
        ),
        None,
    )


def _with_notes(offer: SheetOffer, texts: Sequence[str], stock: str) -> SheetOffer:
    notes = []
    for text in texts:
        minimum = re.fullmatch(r"(?i)min(?:imum)?\.?\s*(?:order\s*)?:?\s*(.+)", text)
        if minimum:
            offer = replace(offer, min_order=minimum[1])
        elif means("out of stock", text) and (plain(text) != "no" or text == stock):
            offer = replace(offer, in_stock=False)
        elif text == stock and plain(text) in ("yes", "in", "in stock"):
            offer = replace(offer, in_stock=True)
        elif text and not re.fullmatch(r"[$€£\s0-9.,/-]*(?:kr\.?)?(?:/\w+)?", text):
            notes.append(text)
    kept = [*([offer.note] if offer.note else []), *notes]
    return replace(offer, note="; ".join(dict.fromkeys(kept)) or None)


# ---------------------------------------------------------------------------------------------
# Around the sections


#: What stands before the day on which prices end.
_ENDS = re.compile(
    r"(?i)\b(?:thru|through|until|till|expires?|valid to|good to|bis|jusqu'au|gültig bis)\s*:?\s*$"
)


def price_date(lines: Iterable[str], inquiry: Inquiry, us: bool) -> dt.date | None:
    """Find the day the prices are of; a US sheet writes 2/3/26 month first."""
    for text in lines:
        for match in _DATE.finditer(text):
            printed = read_printed_date(match[0])
            if printed is None or _ENDS.search(text[: match.start()]):
                continue
            if printed.in_order(None) is not None:
                return printed.in_order(None)
            if us and printed.mark == "/":
                inquiry.remark(f"{match[0]} was read month first, as US price sheets write it")
                return printed.in_order(MONTH_FIRST)
            orders = tuple(printed.readings)
            likely = MONTH_FIRST if us else DAY_FIRST
            answer = inquiry.ask(
                "date-order", f"order of day and month in {match[0]!r}", "day of the prices", orders, likely
            )
            return printed.in_order(answer or likely)
    return None


def read_charges(lines: Iterable[str], inquiry: Inquiry) -> dict[str, str]:
    """Find charges for delivery, spreading and the like in sentences; what is not understood is left out."""
    charges: dict[str, str] = {}
    for text in lines:
        for sentence in _CLAUSES.split(text):
            _take_charges(sentence, charges, inquiry)
    if charges:
        inquiry.remark("the charges stand in a sentence: enter them by hand")
    return charges


#: Where one charge ends and the next begins: "$65/load. Spreading $9/ac, lime $14/ton".
_CLAUSES = re.compile(r"[.;](?=\s|$)|,(?=\s)")


def _take_charges(clause: str, charges: dict[str, str], inquiry: Inquiry) -> None:
    taken = False
    for match in _CHARGE.finditer(clause):
        said = plain(f"{match['before']} {match['after']}")
        kind = next((name for word, name in _CHARGES if word in said), None)
        if kind is None:
            continue
        name = f"lime_{kind}" if mentions("lime", said) else kind
        rest = re.sub(r"(?i)\b(spread|spreading|delivered|delivery)\b", "", match["after"]).strip()
        per = _UNITS.get(plain(match["per"]), plain(match["per"]))
        amount = f"{match['amount']} per {per}{' ' + rest if rest else ''}"
        charges[name] = f"{charges[name]}; {amount}" if name in charges else amount
        taken = True
    dated = read_printed_date(clause.strip()) is not None or _DATE.search(clause)
    speaks = _MONEY.search(clause) or (_FEE.search(clause) and re.search("[0-9]", clause))
    if not taken and speaks and not dated and not read_guarantees(clause).analysis:
        inquiry.leave_out("a charge in a sentence: enter it by hand", f"{clause.strip()!r}")
