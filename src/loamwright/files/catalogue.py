"""The fields of everything people change: for each thing one table of name, kind and help.

This file answers "which fields has a soil test, and where in the record do they stand?". What is meant by a
typed name, and what the typed text makes of it: `things`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from operator import attrgetter
from typing import Any

from loamwright.files import kinds
from loamwright.files.kinds import Kind
from loamwright.files.pricelists import is_bulk
from loamwright.files.reference import load_calendar, load_ground_rules, load_sampling_guides
from loamwright.files.work_rules import BAND_SUPPLIES, PACKAGE_KINDS
from loamwright.land import KeepOut
from loamwright.soil import LabRecommendation, Reading, SoilTest
from loamwright.supplies import DOSE_LIMITS, Form, Handled, LimeLabel, Movement, Offer, Product
from loamwright.units import SYSTEMS
from loamwright.values import MixDecision, Nutrient, OwnWindow, PropertyInfo, Quantity, Timing, WorkRules
from loamwright.work import PropertyRecord


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a thing.

    Parameters
    ----------
    name
        As typed and shown.
    kind
        How it is read and written.
    help
        One line.
    get
        Record to value; None = not stated.
    put
        Record and value to the record with it; None clears.
    columns
        Columns of the property file it stands in, for where a value came from.
    """

    name: str
    kind: Kind
    help: str
    get: Callable[[Any], Any]
    put: Callable[[Any, Any], Any]
    columns: tuple[str, ...] = ()


def _plain(name: str, kind: Kind, help_: str, attribute: str = "", columns: tuple[str, ...] = ()) -> Field:
    """A field that is one attribute of the record; clearing gives the attribute's default."""
    attribute = attribute or name

    def put(record: Any, value: Any) -> Any:
        if value is None:
            value = _default(type(record), attribute)
        return replace(record, **{attribute: value})

    return Field(name, kind, help_, attrgetter(attribute), put, columns or (attribute,))


def _default(record: type, attribute: str) -> Any:
    for part in fields(record):
        if part.name == attribute:
            if callable(part.default_factory):
                return part.default_factory()
            if part.default.__class__.__name__ != "_MISSING_TYPE":
                return part.default
    return "" if record.__annotations__.get(attribute) == "str" else None


def _in_mapping(
    name: str, kind: Kind, help_: str, attribute: str, key: Any, columns: tuple[str, ...]
) -> Field:
    """A field that is one entry of a mapping; clearing takes the entry out."""

    def put(record: Any, value: Any) -> Any:
        held = dict(getattr(record, attribute))
        held.pop(key, None)
        if value is not None:
            held[key] = value
        return replace(record, **{attribute: held})

    return Field(name, kind, help_, lambda record: getattr(record, attribute).get(key), put, columns)


@dataclass(frozen=True, slots=True)
class Thing:
    """One kind of thing people change.

    Parameters
    ----------
    word, plural
        What it is called on the command line and in lists.
    table
        Its table in the property file.
    fields
        Its fields.
    items
        The property's things of this kind that are not retired.
    name_of
        The id it is called by.
    put
        Name of the editor's method that writes it.
    blank
        Makes a new one from the property and the id typed; None = it comes in by a map file or is made by
        another command.
    new_id_help
        What the id of a new one is.
    """

    word: str
    plural: str
    table: str
    fields: tuple[Field, ...]
    items: Callable[[PropertyRecord], Sequence[Any]]
    name_of: Callable[[Any], str]
    put: str
    blank: Callable[[PropertyRecord, str], Any] | None = None
    new_id_help: str = ""


# ---------------------------------------------------------------------------------------------
# Plots, parts, croppings, ways, keep-outs

PLOT = (
    _plain("name", kinds.TEXT, "what people call it"),
    _plain(
        "entrance", kinds.PLACE, "longitude, latitude of the way in", columns=("entrance_lon", "entrance_lat")
    ),
    _plain("access", kinds.TEXT, "free text about the way in; decides nothing"),
    _plain("notes", kinds.TEXT, "free text"),
    _plain("weight", kinds.within("weight"), "how much it matters when money is short; 1 = normal"),
    _plain("narrowest", kinds.LENGTH, "narrowest width of the way in", "narrowest_m"),
    _plain("weight_limit", kinds.MASS, "heaviest vehicle the way carries", "weight_limit_kg"),
    _plain("months", kinds.MONTHS, "months it can be reached", "reach_months"),
    _plain("bands", kinds.BANDS, "shares of its needs that count as met; clear = as on the property"),
)


def reach_field(spreader: str) -> Field:
    """Return the field that says whether a spreader can reach a plot."""
    help_ = f"can {spreader} get there? yes, no; clear = not stated"
    return _in_mapping(f"reach.{spreader}", kinds.FLAG, help_, "reach", spreader, ("reach",))


PART = (
    _plain("name", kinds.TEXT, "what people call it"),
    _plain("area", kinds.AREA, "its size, when no shape is drawn", "area_m2"),
    _plain("notes", kinds.TEXT, "free text"),
)
CROPPING = (
    _plain("crop", kinds.TEXT, "what grows, as the guideline names it"),
    _plain("previous_crop", kinds.TEXT, "what grew before"),
    _plain("previous_stand", kinds.TEXT, "its stand, for a legume credit: 4 plants/ft2"),
    _plain(
        "yield_goal",
        kinds.QUANTITY,
        "expected yield with its unit",
        columns=("yield_goal_value", "yield_goal_unit"),
    ),
    _plain("yield_goal_how", kinds.TEXT, "how the goal was set"),
    _plain("legume_pct", kinds.PERCENT, "share of legume in the stand"),
    _plain("seeding", kinds.FLAG, "yes in the establishment year, no on an established stand"),
    _plain("sown_on", kinds.DATE, "when it was sown: nitrogen counts from then"),
    _plain("ended_on", kinds.DATE, "when it was cut for the last time, grazed off or killed"),
    _plain("use", kinds.one_of("use", ("harvested", "grazed", "browsed", "left")), "what becomes of it"),
)
WAY = (
    _plain("name", kinds.TEXT, "what people call it"),
    _plain(
        "kind", kinds.one_of("kind", ("track", "gate", "bridge", "loading place", "contact")), "what it is"
    ),
    _plain("width", kinds.LENGTH, "clear width", "width_m"),
    _plain("load_limit", kinds.MASS, "heaviest vehicle", "load_limit_kg"),
    _plain("notes", kinds.TEXT, "free text"),
)


def _put_setback(record: KeepOut, value: float | None) -> KeepOut:
    return replace(
        record, setback_m=value, setback_text="" if value is None else kinds.LENGTH.write(value, "us")
    )


KEEPOUT = (
    _plain("name", kinds.TEXT, "what people call it"),
    _plain("kind", kinds.TEXT, "water, well, sinkhole, ditch, rock …"),
    Field(
        "setback",
        kinds.LENGTH,
        "distance kept from it; clear = not stated, which is not zero",
        attrgetter("setback_m"),
        _put_setback,
        ("setback_m",),
    ),
    _plain("notes", kinds.TEXT, "free text"),
)

# ---------------------------------------------------------------------------------------------
# Soil tests, manure

ELEMENTS = {"p": "P", "k": "K", "s": "S", "ca": "Ca", "mg": "Mg", "b": "B", "zn": "Zn", "mn": "Mn"} | {
    "cu": "Cu",
    "fe": "Fe",
    "no3_n": "NO3-N",
}
_NUTRIENTS = {nutrient.value.lower(): nutrient for nutrient in Nutrient}
_FIGURE = kinds.limited("reading")
#: What a lab may print phosphorus and potassium as.
_BASES = {"P": ("P", "P2O5"), "K": ("K", "K2O")}


def _reading_field(name: str, element: str, attribute: str, kind: Kind, help_: str) -> Field:
    def get(record: SoilTest) -> Any:
        held = record.readings.get(element)
        return None if held is None else (getattr(held, attribute) or None)

    def figure(record: SoilTest) -> Any:
        held = record.readings.get(element)
        return None if held is None else (held.sign, held.value)

    def put(record: SoilTest, value: Any) -> SoilTest:
        held = dict(record.readings)
        if attribute == "value" and value is None:
            held.pop(element, None)
        else:
            before = held.get(element, Reading(float("nan"), "", None, element))
            empty = None if attribute == "extractant" else ""
            change: dict[str, Any] = {attribute: empty if value is None else value}
            if attribute == "value":
                change["sign"], change["value"] = value
            held[element] = replace(before, **change)
        return replace(record, readings=held)

    return Field(
        name, kind, help_, figure if attribute == "value" else get, put, (f"soil_readings.{element}",)
    )


def advice_of(record: SoilTest) -> LabRecommendation:
    """Return the lab's own advice; an empty one when the report prints none."""
    return record.recommendation or LabRecommendation()


def _with_advice(record: SoilTest, advice: LabRecommendation) -> SoilTest:
    empty = not advice.rates and advice.lime is None and advice.credits_taken is None
    return replace(record, recommendation=None if empty else advice)


def _rec_unit(record: SoilTest) -> str | None:
    return next((rate.unit for rate in advice_of(record).rates.values()), None)


def _rec_field(name: str, nutrient: Nutrient) -> Field:
    def get(record: SoilTest) -> tuple[float, float | None] | None:
        rate = advice_of(record).rates.get(nutrient)
        return None if rate is None else (rate.value, advice_of(record).up_to.get(nutrient))

    def put(record: SoilTest, value: tuple[float, float | None] | None) -> SoilTest:
        advice = advice_of(record)
        rates, up_to = dict(advice.rates), dict(advice.up_to)
        unit = _rec_unit(record) or ""
        rates.pop(nutrient, None)
        up_to.pop(nutrient, None)
        if value is not None:
            rates[nutrient] = Quantity(value[0], unit)
        if value is not None and value[1] is not None:
            up_to[nutrient] = value[1]
        return _with_advice(record, replace(advice, rates=rates, up_to=up_to))

    help_ = f"the lab's own rate of {nutrient.value}, in rec_unit"
    return Field(
        f"rec_{name}", kinds.span("recommended rate"), help_, get, put, (f"lab_rates.{nutrient.value}",)
    )


def _put_rec_unit(record: SoilTest, value: str | None) -> SoilTest:
    rates = {
        nutrient: Quantity(rate.value, value or "") for nutrient, rate in advice_of(record).rates.items()
    }
    return _with_advice(record, replace(advice_of(record), rates=rates))


def _put_lime(record: SoilTest, value: Quantity | None) -> SoilTest:
    return _with_advice(record, replace(advice_of(record), lime=value))


def _put_taken(record: SoilTest, value: bool | None) -> SoilTest:
    return _with_advice(record, replace(advice_of(record), credits_taken=value))


def _depth(record: SoilTest) -> tuple[float | None, float | None] | None:
    return None if record.depth_bottom_m is None else (record.depth_top_m, record.depth_bottom_m)


def _put_depth(record: SoilTest, value: tuple[float, float] | None) -> SoilTest:
    top, bottom = value or (None, None)
    return replace(record, depth_top_m=top, depth_bottom_m=bottom)


SOIL_TEST = (
    _plain("plot", kinds.TEXT, "plot it was taken on", "plot_id"),
    _plain("part", kinds.TEXT, "part of the plot it stands for"),
    _plain("sampled_on", kinds.DATE, "day the cores were taken: decides what the test has seen"),
    _plain("analysed_on", kinds.DATE, "day the lab analysed it"),
    _plain("sampled_by", kinds.TEXT, "who took the cores"),
    _plain("lab", kinds.TEXT, "name of the lab"),
    Field("depth", kinds.DEPTH, "slice sampled", _depth, _put_depth, ("depth_top_m", "depth_bottom_m")),
    _plain("texture", kinds.TEXT, "soil texture"),
    _plain("ph", kinds.within("pH"), "pH in water"),
    _plain("buffer_ph", kinds.within("pH"), "buffer pH or index"),
    _plain("buffer_method", kinds.TEXT, "the buffer: Sikora, SMP"),
    _plain("organic_matter_pct", kinds.PERCENT, "organic matter"),
    _plain("cec", kinds.charge(), "exchange capacity [meq/100 g]", "cec_meq_100g"),
    _plain("acidity", kinds.charge(), "exchangeable acidity [meq/100 g]", "acidity_meq_100g"),
    *(
        field
        for name, element in ELEMENTS.items()
        for field in (
            _reading_field(name, element, "value", _FIGURE, f"{element} as printed"),
            _reading_field(f"{name}_unit", element, "unit", kinds.TEXT, f"unit of {element}: ppm, lb/acre"),
            _reading_field(
                f"{name}_extractant", element, "extractant", kinds.TEXT, f"test used for {element}"
            ),
            *(
                (
                    _reading_field(
                        f"{name}_basis",
                        element,
                        "basis",
                        kinds.one_of("basis", _BASES[element]),
                        f"what the figure of {element} is of",
                    ),
                )
                if element in _BASES
                else ()
            ),
        )
    ),
    *(_rec_field(name, nutrient) for name, nutrient in _NUTRIENTS.items()),
    Field(
        "rec_unit",
        kinds.TEXT,
        "unit of the lab's rates: lb/acre",
        _rec_unit,
        _put_rec_unit,
        ("lab_rates.unit",),
    ),
    Field(
        "rec_lime",
        kinds.QUANTITY,
        "the lab's own lime rate with its unit: 3000 lb ENP/acre",
        lambda record: advice_of(record).lime,
        _put_lime,
        ("lime_value", "lime_unit"),
    ),
    Field(
        "credits_taken",
        kinds.FLAG,
        "did the lab take credits off?",
        lambda record: advice_of(record).credits_taken,
        _put_taken,
        ("credits_taken",),
    ),
    _plain("rates_crop", kinds.TEXT, "crop the lab's rates were written for"),
    _plain("rates_season", kinds.YEAR, "season they were written for"),
)
_AVAILABLE = tuple(
    _in_mapping(
        f"available_{name}_pct",
        kinds.PERCENT,
        f"{nutrient.value} usable in the first season",
        "available_pct",
        nutrient,
        (f"available_{name}_pct",),
    )
    for name, nutrient in _NUTRIENTS.items()
)
ORGANIC = (
    _plain("plot", kinds.TEXT, "plot it went on", "plot_id"),
    _plain("applied_on", kinds.DATE, "day it was spread"),
    _plain("material", kinds.TEXT, "beef, poultry, compost …"),
    _plain("method", kinds.TEXT, "placement, as the table names it"),
    _plain("amount", kinds.QUANTITY, "how much: 3 ton/acre", columns=("amount_value", "amount_unit")),
    *(
        _in_mapping(
            f"{name}_lb_per_ton",
            kinds.within("content per ton"),
            f"{nutrient.value} by analysis",
            "analysis_lb_per_ton",
            nutrient,
            (f"{name}_lb_per_ton",),
        )
        for name, nutrient in _NUTRIENTS.items()
    ),
    *_AVAILABLE,
)

# ---------------------------------------------------------------------------------------------
# Products, offers, the shed


def _lime_field(name: str, kind: Kind, help_: str, attribute: str) -> Field:
    def get(record: Product) -> Any:
        held = None if record.lime is None else getattr(record.lime, attribute)
        return None if held in ("", {}) else held

    def put(record: Product, value: Any) -> Product:
        label = record.lime or LimeLabel()
        value = _default(LimeLabel, attribute) if value is None else value
        return replace(record, lime=replace(label, **{attribute: value}))

    return Field(name, kind, help_, get, put, (f"lime_{attribute}",))


PRODUCT = (
    _plain("form", kinds.word("form", Form), "dry, liquid or lime"),
    *(
        _in_mapping(
            name, kinds.PERCENT, f"guaranteed {nutrient.value}", "analysis_pct", nutrient, (f"{name}_pct",)
        )
        for name, nutrient in _NUTRIENTS.items()
    ),
    *(
        _in_mapping(
            f"{form}_n",
            kinds.PERCENT,
            f"{form} N, percent of product",
            "nitrogen_forms_pct",
            form,
            ("nitrogen_forms_pct",),
        )
        for form in ("urea", "nitrate", "ammoniacal")
    ),
    _plain("ingredient", kinds.TEXT, "when the label names an ingredient"),
    _plain("ingredient_pct", kinds.PERCENT, "its share of the product"),
    _plain("density", kinds.DENSITY, "of a liquid", "density_kg_m3"),
    _plain(
        "bucket",
        kinds.MASS,
        "what your bucket of it holds, weighed; loose goods are counted in it",
        "bucket_kg",
    ),
    _plain("min_rate", kinds.RATE, "smallest practical rate", "min_rate_kg_ha"),
    _plain("max_rate", kinds.RATE, "largest safe rate in one pass", "max_rate_kg_ha"),
    _plain("equipment", kinds.LIST, "spreaders that can handle it"),
    _plain("timing", kinds.words("timing", Timing), "when it may be used", "timings"),
    _plain("contains", kinds.LIST, "words that trigger cautions"),
    _plain("dolomitic", kinds.FLAG, "dolomitic lime?"),
    _plain("material", kinds.TEXT, "of manure or compost: beef, poultry, compost …"),
    _plain("method", kinds.TEXT, "how that is placed, as the guideline's table names it"),
    *_AVAILABLE,
    _lime_field(
        "cce", kinds.within("neutralizing value"), "calcium carbonate equivalent, percent", "cce_pct"
    ),
    _lime_field("sieves", kinds.SIEVES, "percent passing each mesh", "passing_pct"),
    _lime_field("moisture", kinds.PERCENT, "moisture of the lime", "moisture_pct"),
    _lime_field("enp", kinds.within("score per ton"), "lb per ton on the label", "enp_lb_per_ton"),
    _lime_field("ecce", kinds.within("neutralizing value"), "percent on the label", "ecce_pct"),
    _lime_field("enm", kinds.within("score per ton"), "lb per ton on the label", "enm_lb_per_ton"),
)


def _put_price(record: Offer, value: Decimal | None) -> Offer:
    return replace(record, price=value)


def _put_package(record: Offer, value: tuple[str, float | None] | None) -> Offer:
    """A package says what it holds and whether it is bulk; one of a volume leaves its mass to be stated."""
    package, mass_kg = value or ("", None)
    divisible = is_bulk(package) or record.increment_kg is not None
    return replace(record, package=package, package_kg=mass_kg, divisible=divisible)


def _put_increment(record: Offer, value: float | None) -> Offer:
    """A step to sell in says that it is sold by weight."""
    return replace(record, increment_kg=value, divisible=record.divisible or value is not None)


def _put_divisible(record: Offer, value: bool | None) -> Offer:
    if not value and record.increment_kg is not None:
        raise ValueError("it is sold in steps, so by weight; clear its increment for whole packages")
    return replace(record, divisible=bool(value))


OFFER = (
    _plain("product", kinds.TEXT, "product it is of"),
    Field("package", kinds.PACKAGE, "package as written: 50 lb bag", attrgetter("package"), _put_package),
    _plain("package_mass", kinds.MASS, "net mass of one package", "package_kg"),
    Field(
        "price", kinds.MONEY, "of one package; clear = missing", attrgetter("price"), _put_price, ("price",)
    ),
    _plain("price_low", kinds.MONEY, "lowest it may be"),
    _plain("price_high", kinds.MONEY, "highest it may be"),
    _plain("seller", kinds.TEXT, "who sells it"),
    _plain("priced_on", kinds.DATE, "day of the price"),
    _plain("min_order", kinds.count("packages"), "smallest order, packages"),
    _plain("max_count", kinds.count("packages"), "packages the seller has"),
    _plain("delivery_fee", kinds.MONEY, "once per order"),
    Field(
        "divisible", kinds.FLAG, "sold by weight?", attrgetter("divisible"), _put_divisible, ("divisible",)
    ),
    Field(
        "increment",
        kinds.MASS,
        "smallest step of what is sold by weight",
        attrgetter("increment_kg"),
        _put_increment,
        ("increment_kg",),
    ),
    _plain("handled", kinds.word("handling", Handled), "how it gets into the hopper; clear = as its package"),
)
PURCHASE = (
    _plain("kind", kinds.word("kind", Movement), "bought, received, returned, counted"),
    _plain("product", kinds.TEXT, "which product"),
    _plain("package", kinds.TEXT, "package as written"),
    _plain("count", kinds.within("count"), "packages"),
    _plain("dated", kinds.DATE, "the day"),
    _plain("paid", kinds.MONEY, "money in all"),
    _plain("seller", kinds.TEXT, "who sold it"),
    _plain("note", kinds.TEXT, "anything else"),
)
DECISION = (
    _plain("plot", kinds.TEXT, "plot it is about", "plot_id"),
    _plain("season", kinds.YEAR, "season it holds for"),
    _plain("supply", kinds.TEXT, "nutrient, or lime"),
    _plain("crop", kinds.TEXT, "crop it holds for; empty = any"),
    _plain("rate", kinds.RATE, "decided amount; 0 is one", "rate_kg_ha"),
    _plain("share", kinds.SHARE, "or a share of the published rate"),
    _plain("reason", kinds.TEXT, "why"),
    _plain("decided_on", kinds.DATE, "when"),
    _plain("made_by", kinds.TEXT, "who"),
)
SPREADER = (
    _plain("hopper", kinds.LOAD, "what one fill holds", "hopper_kg"),
    _plain("vehicle", kinds.LOAD, "what one trip carries", "vehicle_kg"),
    _plain("swath", kinds.SWATH, "working width", "swath_m"),
    _plain("speed", kinds.SPEED, "ground speed", "speed_m_s"),
    _plain("field_efficiency", kinds.SHARE, "effective share of the time"),
    _plain("heavy", kinds.FLAG, "goes only where a plot's reach says yes?"),
    _plain("fill_minutes", kinds.within("minutes"), "minutes for one fill"),
    _plain("cost_per_area", kinds.MONEY_PER_AREA, "for spreading", "cost_per_ha"),
    _plain("cost_per_stop", kinds.MONEY, "for going to a plot once"),
    _plain("cost_per_hour", kinds.MONEY, "for an hour's work"),
    _plain("cost_per_load", kinds.MONEY, "for each load it brings to the property, full or not"),
    _plain("width", kinds.LENGTH, "how wide it is on the way, not how wide it throws", "width_m"),
)

# ---------------------------------------------------------------------------------------------
# Settings


def _setting(name: str, kind: Kind, help_: str, attribute: str = "") -> Field:
    attribute = attribute or name

    def put(info: PropertyInfo, value: Any) -> PropertyInfo:
        value = _default(type(info.settings), attribute) if value is None else value
        return replace(info, settings=replace(info.settings, **{attribute: value}))

    return Field(name, kind, help_, attrgetter(f"settings.{attribute}"), put, (attribute,))


def _work(name: str, kind: Kind, help_: str, attribute: str = "") -> Field:
    """A field of how the work is done."""
    attribute = attribute or name

    def put(info: PropertyInfo, value: Any) -> PropertyInfo:
        work = info.settings.work
        value = _default(WorkRules, attribute) if value is None else value
        return replace(info, settings=replace(info.settings, work=replace(work, **{attribute: value})))

    return Field(name, kind, help_, attrgetter(f"settings.work.{attribute}"), put, ("work",))


def _work_entry(name: str, kind: Kind, help_: str, attribute: str, key: str) -> Field:
    """A field that is one entry of a mapping in how the work is done; clearing takes it out."""
    inner = _in_mapping(name, kind, help_, attribute, key, ("work",))

    def put(info: PropertyInfo, value: Any) -> PropertyInfo:
        return replace(info, settings=replace(info.settings, work=inner.put(info.settings.work, value)))

    return Field(name, kind, help_, lambda info: inner.get(info.settings.work), put, ("work",))


def _mix_field(one: str, other: str) -> Field:
    """The field of a decision on two products in one hopper."""
    pair = {one, other}

    def get(info: PropertyInfo) -> tuple[bool, str] | None:
        return next(((m.may, m.reason) for m in info.settings.work.mixing if {m.one, m.other} == pair), None)

    def put(info: PropertyInfo, value: tuple[bool, str] | None) -> PropertyInfo:
        work = info.settings.work
        kept = tuple(m for m in work.mixing if {m.one, m.other} != pair)
        made = () if value is None else (MixDecision(one, other, *value),)
        return replace(info, settings=replace(info.settings, work=replace(work, mixing=kept + made)))

    help_ = "may these two share a hopper? the product label has the last word"
    return Field(f"mix.{one} + {other}", kinds.MIX, help_, get, put, ("work",))


def window_field(label: str) -> Field:
    """Return the field of one of the user's own windows of work."""

    def get(info: PropertyInfo) -> OwnWindow | None:
        return next((one for one in info.settings.work.windows if one.label == label), None)

    def put(info: PropertyInfo, value: OwnWindow | None) -> PropertyInfo:
        work = info.settings.work
        kept = tuple(one for one in work.windows if one.label != label)
        made = () if value is None else (replace(value, label=label),)
        return replace(info, settings=replace(info.settings, work=replace(work, windows=kept + made)))

    return Field(f"window.{label}", kinds.WINDOW, "when this work is done here", get, put, ("work",))


def own_fields(info: PropertyInfo) -> tuple[Field, ...]:
    """Return the fields that a property has by what it holds: pairs decided, windows of its own."""
    work = info.settings.work
    return (
        *(_mix_field(decision.one, decision.other) for decision in work.mixing),
        *(window_field(window.label) for window in work.windows),
    )


def settings_fields() -> tuple[Field, ...]:
    """Return the fields of the settings."""
    doses = tuple(limit.limit_id for limit in DOSE_LIMITS)
    ruled = {rule.state for rule in load_ground_rules()} | {row.state for row in load_calendar()}
    states = tuple(sorted(ruled - {""}))
    return (
        _plain("name", kinds.TEXT, "what people call the property"),
        _plain("season", kinds.YEAR, "current season; the next one is started with: season next"),
        _plain("about", kinds.TEXT, "free text"),
        _plain("units", kinds.one_of("unit system", SYSTEMS), "how amounts are shown: us, metric"),
        _plain("currency", kinds.CURRENCY, "ISO 4217 code"),
        _setting("keeper", kinds.TEXT, "who changes things, unless another is said"),
        _setting(
            "season_start", kinds.MONTH_DAY, "month and day a season begins; from July on, the year before"
        ),
        _setting("guideline", kinds.TEXT, "edition the needs go by, or a folder of your own"),
        _setting("lime_guideline", kinds.TEXT, "edition the lime goes by"),
        _setting("lime_region", kinds.TEXT, "region its lime table asks for"),
        _setting("lime_dose_limit", kinds.one_of("lime rule", doses), "how much lime goes on at once"),
        _setting(
            "sampling_guide",
            kinds.one_of("sampling advice", tuple(load_sampling_guides())),
            "whose sampling advice is used",
        ),
        _setting(
            "cores_per_sample", kinds.within("cores", whole=True), "cores in one sample; clear = by size"
        ),
        _setting("test_age_limit_years", kinds.within("years"), "older tests warn"),
        _setting("legume_share_no_n_pct", kinds.PERCENT, "legume share from which N is to decide"),
        _setting("spreading_cost", kinds.MONEY_PER_AREA, "for one pass", "spreading_cost_per_ha"),
        _setting("spreading_cost_per_pass", kinds.MONEY, "for going to a plot once"),
        _setting(
            "max_products_per_plot", kinds.within("products", whole=True), "products on one plot and timing"
        ),
        _setting("min_rate", kinds.RATE, "smallest rate when the product states none", "min_rate_kg_ha"),
        _setting("convert_extractants", kinds.FLAG, "convert between soil tests by the named formula?"),
        _setting("default_yield_row", kinds.FLAG, "take the lowest yield row when none is stated?"),
        _setting("gps_sigma", kinds.LENGTH, "standard error of a walked fix", "gps_sigma_m"),
        _setting(
            "hauling", kinds.MONEY_PER_MASS, "for fetching what is not delivered", "hauling_cost_per_kg"
        ),
        _work(
            "state", kinds.one_of("state", states), "whose dates and ground rules hold; clear = none is shown"
        ),
        _work("labour_per_hour", kinds.MONEY, "what an hour is worth; 0 for volunteers"),
        _work("minutes_per_stop", kinds.within("minutes"), "getting to work on a plot"),
        _work("minutes_per_fill", kinds.within("minutes"), "filling a hopper once"),
        _work("weighing_out", kinds.MONEY, "worth of not weighing out part of a package", "odd_amount_cost"),
        _work("least_job_share", kinds.SHARE, "of a need: a smaller job or top-up is listed, not planned"),
        _work("spare", kinds.SHARE, "bought on top, for spills"),
        _work("cost_per_haul", kinds.MONEY, "one way to a seller and back, where nothing is delivered"),
        _work("haul_load", kinds.MASS, "what one haul brings", "haul_kg"),
        _work("blending", kinds.BLENDING, "a plant whose blend every plan tells the price of"),
        *(
            _work_entry(
                f"handling.{kind}",
                kinds.MONEY_PER_MASS,
                f"for handling what is handled so: {kind}",
                "handling_per_kg",
                kind,
            )
            for kind in PACKAGE_KINDS
        ),
        *(
            _work_entry(
                f"band.{supply}",
                kinds.BAND,
                f"share of a need of {supply} that counts as met",
                "bands",
                supply,
            )
            for supply in BAND_SUPPLIES
        ),
    )
