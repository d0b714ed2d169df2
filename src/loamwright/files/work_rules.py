"""How the work is done on a property, as a settings file writes it and the property file keeps it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from loamwright.errors import Problem, UnitError
from loamwright.files.fields import Fields
from loamwright.supplies import Handled, parse_cost, parse_price_per_mass
from loamwright.units import TON_KG, parse_mass
from loamwright.values import Blending, LimeBasis, MixDecision, Nutrient, OwnWindow, Timing, WorkRules

#: Supplies a band may be set for; ``"*"`` = every other one.
BAND_SUPPLIES = (
    "*",
    *(nutrient.value for nutrient in Nutrient),
    *(basis.supply.value for basis in LimeBasis),
)
#: Kinds of goods that are handled at a rate of their own.
PACKAGE_KINDS = tuple(kind.value for kind in Handled)


def work_rules(keys: Fields) -> WorkRules:
    """Read the rules; a missing key takes the stated default of `values.WorkRules`."""
    default = WorkRules()
    labour, odd = keys.money("labour_per_hour"), keys.money("weighing_out")
    haul = keys.money("cost_per_haul")
    stop, fill = keys.number("minutes_per_stop", "minutes"), keys.number("minutes_per_fill", "minutes")
    least, spare = keys.number("least_job_share", "share"), keys.number("spare", "share")
    rules = WorkRules(
        state=keys.text("state"),
        labour_per_hour=default.labour_per_hour if labour is None else labour,
        minutes_per_stop=default.minutes_per_stop if stop is None else stop,
        minutes_per_fill=default.minutes_per_fill if fill is None else fill,
        odd_amount_cost=default.odd_amount_cost if odd is None else odd,
        least_job_share=default.least_job_share if least is None else least,
        spare=default.spare if spare is None else spare,
        handling_per_kg=_handling(keys),
        cost_per_haul=default.cost_per_haul if haul is None else haul,
        haul_kg=keys.quantity("haul_load", "load"),
        blending=keys.read("blending", parse_blending),
        bands=_bands(keys.inner("bands")),
        mixing=tuple(_mix_decision(one) for one in keys.inners("mixing", "mixing")),
        windows=tuple(
            window for one in keys.inners("windows", "windows") if (window := _own_window(one)) is not None
        ),
    )
    keys.finish()
    return rules


def kept_rules(content: Mapping[str, object]) -> WorkRules:
    """Read the rules as the property file keeps them."""
    problems: list[Problem] = []
    rules = work_rules(Fields("property file, work", content, problems, typed=True))
    if problems:
        raise ValueError(f"{problems[0].where}: {problems[0].what}")
    return rules


def rules_to_keep(rules: WorkRules) -> Mapping[str, object]:
    """Write the rules as `work_rules` reads them; nothing when all is at its default."""
    if rules == WorkRules():
        return {}
    return {
        "state": rules.state,
        "labour_per_hour": str(rules.labour_per_hour),
        "minutes_per_stop": rules.minutes_per_stop,
        "minutes_per_fill": rules.minutes_per_fill,
        "weighing_out": str(rules.odd_amount_cost),
        "least_job_share": rules.least_job_share,
        "spare": rules.spare,
        "handling_per_kg": {kind: str(rate) for kind, rate in rules.handling_per_kg.items()},
        "cost_per_haul": str(rules.cost_per_haul),
        **({} if rules.haul_kg is None else {"haul_load": f"{rules.haul_kg!r} kg"}),
        **({} if rules.blending is None else {"blending": blending_text(rules.blending)}),
        "bands": {supply: list(ends) for supply, ends in rules.bands.items()},
        "mixing": [
            {"one": one.one, "other": one.other, "may": one.may, "reason": one.reason} for one in rules.mixing
        ],
        "windows": [
            {
                "timing": one.timing.value,
                "from": "{:02d}-{:02d}".format(*one.opens),
                "to": "{:02d}-{:02d}".format(*one.closes),
                "crop": one.crop,
                "label": one.label,
                "placement": one.placement,
                **({"of": one.of} if one.of else {}),
                **({} if one.share is None else {"share": one.share}),
            }
            for one in rules.windows
        ],
    }


def parse_blending(text: str) -> Blending:
    """Read a blending plant: ``"Co-op; fee 30/ton; at least 1 ton; delivery 60; Urea 46-0-0=800/ton"``."""
    seller, *parts = [part.strip() for part in text.split(";")]
    found = Blending(seller, {})
    for part in filter(None, parts):
        word, _, rest = part.partition(" ")
        product, _, price = part.rpartition("=")
        if product:
            prices = {**found.prices_per_kg, product.strip(): parse_price_per_mass(price)}
            found = replace(found, prices_per_kg=prices)
        elif word == "fee":
            found = replace(found, fee_per_kg=Decimal(repr(parse_price_per_mass(rest))))
        elif word == "delivery":
            found = replace(found, delivery_fee=parse_cost(rest))
        elif part.startswith("at least "):
            found = replace(found, min_order_kg=parse_mass(part.removeprefix("at least ")))
        else:
            raise UnitError(f"{part!r} is no part of a blending plant's terms", f"write for example {_PLANT}")
    if not seller or len(found.prices_per_kg) < 2:
        raise UnitError(f"{text!r} does not price two ingredients of a seller", f"write for example {_PLANT}")
    return found


_PLANT = "Co-op; fee 30/ton; at least 1 ton; delivery 60; Urea 46-0-0=800/ton; Potash 0-0-60=500/ton"


def blending_text(found: Blending) -> str:
    """Write a blending plant as `parse_blending` reads it."""
    return "; ".join(
        (
            found.seller,
            *([f"fee {found.fee_per_kg!s}/kg"] if found.fee_per_kg else []),
            *([f"at least {found.min_order_kg!r} kg"] if found.min_order_kg else []),
            *([f"delivery {found.delivery_fee!s}"] if found.delivery_fee else []),
            *(f"{product}={price!r}/kg" for product, price in found.prices_per_kg.items()),
        )
    )


def _handling(keys: Fields) -> Mapping[str, Decimal]:
    found = {}
    for name, mass_kg in (("handling_per_ton", Decimal(TON_KG)), ("handling_per_kg", Decimal(1))):
        rates = keys.inner(name)
        for kind in PACKAGE_KINDS:
            if (rate := rates.money(kind)) is not None:
                found[kind] = rate / mass_kg
        rates.finish()
    return found


def _bands(keys: Fields) -> Mapping[str, tuple[float, float]]:
    found = {}
    for supply in keys.matching(".*"):
        if supply not in BAND_SUPPLIES:
            keys.problem(supply, f"{supply!r} is no supply", f"Use one of: {', '.join(BAND_SUPPLIES)}.")
        elif ends := keys.numbers(supply, 2, "fraction"):
            if 0 < ends[0] <= 1 <= ends[1]:
                found[supply] = (ends[0], ends[1])
            else:
                fix = "Write the lowest and highest share of a need that is met: [0.95, 1.1]."
                keys.problem(supply, f"{list(ends)} is no band", fix)
    return found


def _mix_decision(keys: Fields) -> MixDecision:
    keys.stated("may", "true")
    decision = MixDecision(
        one=keys.required("one", "Urea 46-0-0"),
        other=keys.required("other", "Potash 0-0-60"),
        may=bool(keys.yes_no("may")),
        reason=keys.text("reason"),
    )
    keys.finish()
    return decision


def _own_window(keys: Fields) -> OwnWindow | None:
    stated = [keys.stated(name, example) for name, example in _WINDOW.items()]
    timing = keys.word("timing", Timing)
    opens, closes = keys.read("from", _month_day), keys.read("to", _month_day)
    crop, label, placement = keys.text("crop"), keys.text("label"), keys.text("placement")
    of, share = keys.text("of"), keys.number("share", "share")
    if share is not None and not of:
        keys.problem("share", "it says of no nutrient", "Add the nutrient it is a share of: of = N.")
    keys.finish()
    if not all(stated) or timing is None or opens is None or closes is None:
        return None
    return OwnWindow(timing, opens, closes, crop, label, placement, of, share)


_WINDOW = {"timing": "before planting", "from": "04-15", "to": "05-20"}


def _month_day(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"([0-9]{1,2})-([0-9]{1,2})", text)
    try:
        date = dt.date(2000, int(match[1]), int(match[2])) if match else None
    except ValueError:
        date = None
    if date is None:
        raise UnitError(f"{text!r} is no day of a year", "write month and day, for example 04-15")
    return date.month, date.day
