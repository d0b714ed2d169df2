"""The file with a property's name, season and choices, as a person writes it.

This file answers "what did the owner choose?". The file is JSON with quantities as text in any
unit (``"6 ft"``, ``"25 lb/acre"``); a missing key takes the stated default of `values.Settings`; an
unknown key is an error, because a misspelled choice would be no choice. See ``demo_data/property.json``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

from loamwright.errors import InputError, Problem, UnitError
from loamwright.files.kinds import CURRENCY, MONTH_DAY, Kind, read_value
from loamwright.files.reference import load_sampling_guides
from loamwright.supplies import DOSE_LIMITS
from loamwright.units import (
    ACRE_M2,
    HA_M2,
    SYSTEMS,
    TON_KG,
    convert,
    parse_length,
    parse_mass,
    parse_money,
    parse_quantity,
    parse_rate,
)
from loamwright.values import LimeBasis, Nutrient, PropertyInfo, Settings, Spreader

T = TypeVar("T")

_SUPPLIES = ("*", *(n.value for n in Nutrient), *(basis.supply for basis in LimeBasis))


def info_from(path: Path) -> PropertyInfo:
    """Read a property's name, season and settings.

    Parameters
    ----------
    path
        JSON file.

    Returns
    -------
    PropertyInfo

    Raises
    ------
    InputError
        When the file cannot be read or any key or value is not understood; all faults at once.
    """
    content = _json(path)
    top = _Keys(path.name, content)
    season = top.take("season", _season)
    info = PropertyInfo(
        name=top.take("name", _text) or "",
        season=season or 0,
        about=top.take("about", _text) or "",
        units=top.take("units", _units) or "us",
        currency=top.take("currency", _kind(CURRENCY)) or "USD",
        settings=_settings(_Keys(f"{path.name}, settings", top.inner("settings"), top.problems)),
    )
    top.finish()
    for name in ("name", "season"):
        if content.get(name) in (None, ""):
            top.fault(name, f"{name} is missing", "Every property needs it.")
    if top.problems:
        raise InputError(top.problems)
    return info


def looks_like(path: Path) -> bool:
    """Tell whether a file holds a property's name and season."""
    try:
        return {"name", "season"} <= _json(path).keys()
    except InputError:
        return False


def _json(path: Path) -> Mapping[str, Any]:
    try:
        content = json.loads(path.read_bytes().decode("utf-8-sig"), parse_float=Decimal)
    except OSError as error:
        raise InputError(
            (Problem(str(path), f"cannot be read: {error.strerror}", "Check the name."),)
        ) from error
    except (ValueError, RecursionError) as error:
        raise InputError(
            (Problem(path.name, f"this is not JSON: {error}", "Correct the file, or start from the demo's."),)
        ) from error
    if not isinstance(content, dict):
        raise InputError((Problem(path.name, "this is not a JSON object", "Start from the demo's file."),))
    return content


class _Keys:
    """Takes known keys from one JSON object; what cannot be read or is left over is a problem."""

    def __init__(self, where: str, content: Mapping[str, Any], problems: list[Problem] | None = None) -> None:
        self.where, self.left = where, dict(content)
        self.problems: list[Problem] = [] if problems is None else problems

    def fault(self, name: str, what: str, fix: str) -> None:
        self.problems.append(Problem(f"{self.where}, {name}", what, fix))

    def take(self, name: str, parse: Callable[[Any], T]) -> T | None:
        """The parsed value, or None when the key is absent, null or wrong (then with a problem)."""
        value = self.left.pop(name, None)
        if value is None:
            return None
        try:
            return parse(value)
        except (UnitError, ValueError, TypeError, ArithmeticError) as error:
            what, _, fix = str(error).partition("; ")
            self.fault(name, what, f"{fix[:1].upper()}{fix[1:]}." if fix else "Correct the value.")
            return None

    def inner(self, name: str) -> Mapping[str, Any]:
        return self.take(name, _object) or {}

    def finish(self) -> None:
        for name in self.left:
            self.fault(name, f"the key {name!r} is not known", "Check its spelling against the demo's file.")


def _settings(keys: _Keys) -> Settings:
    default = Settings()
    fractions: dict[str, float] = {}
    amounts: dict[str, float] = {}
    limits = keys.inner("surplus_limits")
    for supply in limits:
        limit = _Keys(f"{keys.where}, surplus_limits", {supply: limits[supply]}, keys.problems)
        if supply not in _SUPPLIES:
            limit.fault(supply, f"{supply!r} is no supply", f"Use one of: {', '.join(_SUPPLIES)}.")
            continue
        inner = _Keys(f"{limit.where}, {supply}", limit.inner(supply), keys.problems)
        fraction, rate = inner.take("fraction", _share), inner.take("rate", _not_negative(parse_rate))
        inner.finish()
        if fraction is not None:
            fractions[supply] = fraction
        if rate is not None:
            amounts[supply] = rate
    age = keys.take("test_age_limit_years", _positive)
    per_acre, per_ha = (
        keys.take("spreading_cost_per_acre", _money),
        keys.take("spreading_cost_per_ha", _money),
    )
    if per_acre is not None and per_ha is not None:
        keys.fault("spreading_cost_per_ha", "the cost is given per acre and per hectare", "Keep one.")
    if per_acre is not None:
        per_ha = per_acre * Decimal(HA_M2) / Decimal(ACRE_M2)
    sigma = keys.take("gps_sigma", _not_negative(parse_length))
    products_given = "max_products_per_plot" in keys.left
    most = keys.take("max_products_per_plot", _count)
    per_ton = keys.take("hauling_cost_per_ton", _money)
    start = keys.take("season_start", _kind(MONTH_DAY))
    share_no_n = keys.take("legume_share_no_n_pct", _percent)
    topup = keys.take("topup_share", _share)
    settings = Settings(
        keeper=keys.take("keeper", _text) or "",
        season_start=start or default.season_start,
        legume_share_no_n_pct=default.legume_share_no_n_pct if share_no_n is None else share_no_n,
        topup_share=default.topup_share if topup is None else topup,
        topup_cost=keys.take("topup_cost", _money) or default.topup_cost,
        hauling_cost_per_kg=default.hauling_cost_per_kg if per_ton is None else per_ton / Decimal(TON_KG),
        guideline=keys.take("guideline", _text) or default.guideline,
        lime_guideline=keys.take("lime_guideline", _text) or default.lime_guideline,
        lime_region=keys.take("lime_region", _text) or default.lime_region,
        lime_dose_limit=keys.take("lime_dose_limit", _dose_limit) or default.lime_dose_limit,
        sampling_guide=keys.take("sampling_guide", _sampling_guide) or default.sampling_guide,
        cores_per_sample=keys.take("cores_per_sample", _cores),
        test_age_limit_years=default.test_age_limit_years if age is None else age,
        spreading_cost_per_ha=default.spreading_cost_per_ha if per_ha is None else per_ha,
        spreading_cost_per_pass=keys.take("spreading_cost_per_pass", _money)
        or default.spreading_cost_per_pass,
        max_products_per_plot=most if products_given else default.max_products_per_plot,
        surplus_limit_fraction=fractions,
        surplus_limit_kg_ha=amounts,
        min_rate_kg_ha=keys.take("min_rate", _not_negative(parse_rate)),
        convert_extractants=_default(keys.take("convert_extractants", _flag), default.convert_extractants),
        default_yield_row=_default(keys.take("default_yield_row", _flag), default.default_yield_row),
        gps_sigma_m=default.gps_sigma_m if sigma is None else sigma,
        spreaders=tuple(
            _spreader(_Keys(f"{keys.where}, spreader {place}", content, keys.problems))
            for place, content in enumerate(keys.take("spreaders", _objects) or (), 1)
        ),
    )
    keys.finish()
    return settings


def _spreader(keys: _Keys) -> Spreader:
    if not keys.left.get("name"):
        keys.fault("name", "name is missing", "Write it as products name it in their equipment.")
    spreader = Spreader(
        name=keys.take("name", _text) or "",
        hopper_kg=keys.take("hopper", _more_than_zero(parse_mass)),
        vehicle_kg=keys.take("vehicle", _more_than_zero(parse_mass)),
        swath_m=keys.take("swath", _more_than_zero(parse_length)),
        speed_m_s=keys.take("speed", _more_than_zero(_speed)),
        field_efficiency=keys.take("field_efficiency", _efficiency),
        heavy=keys.take("heavy", _flag) or False,
        fill_minutes=keys.take("fill_minutes", _share),
        cost_per_stop=keys.take("cost_per_stop", _money),
        cost_per_hour=keys.take("cost_per_hour", _money),
    )
    keys.finish()
    return spreader


# ---------------------------------------------------------------------------------------------
# One value


def _default(value: bool | None, default: bool) -> bool:
    return default if value is None else value


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is not text; put it in quotation marks")
    return value.strip()


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise TypeError(f"{value!r} is neither true nor false; write true or false")
    return value


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise TypeError(f"{value!r} is not a number; write it without quotation marks")
    return float(value)


def _positive(value: object) -> float:
    if not (number := _number(value)) > 0:
        raise ValueError(f"{number:g} is not more than zero; write a number over 0")
    return number


def _share(value: object) -> float:
    if (number := _number(value)) < 0:
        raise ValueError(f"{number:g} is negative; write a fraction, for example 0.25")
    return number


def _percent(value: object) -> float:
    if not 0 <= (number := _number(value)) <= 100:
        raise ValueError(f"{number:g} is not a percentage; write 0 to 100")
    return number


def _kind(kind: Kind) -> Callable[[object], str]:
    """Read a text as one kind of value that is kept as text."""
    return lambda value: str(read_value(kind, _text(value)))


def _efficiency(value: object) -> float:
    if not 0 < (number := _number(value)) <= 1:
        raise ValueError(f"{number:g} is not a share of the time; write a fraction, for example 0.65")
    return number


def _count(value: object) -> int:
    if (number := _number(value)) < 1 or not number.is_integer():
        raise ValueError(f"{number:g} is not a number of products; write 1 or more, or null for no limit")
    return int(number)


def _dose_limit(value: object) -> str:
    text = _text(value)
    known = [limit.limit_id for limit in DOSE_LIMITS]
    if text and text not in known:
        raise ValueError(f"{text!r} is no lime rule known here; use one of: {', '.join(known)}")
    return text


def _sampling_guide(value: object) -> str:
    text = _text(value)
    known = tuple(load_sampling_guides())
    if text and text not in known:
        listed = ", ".join(map(repr, known))
        raise ValueError(f"{text!r} has no sampling advice known here; use one of: {listed}")
    return text


def _cores(value: object) -> int:
    if not 1 <= (number := _number(value)) <= 100 or not number.is_integer():
        raise ValueError(f"{number:g} is not a number of cores; write a whole number from 1 to 100")
    return int(number)


def _season(value: object) -> int:
    if not 1900 <= (number := _number(value)) <= 9999 or not number.is_integer():
        raise ValueError(f"{number:g} is not a calendar year; write for example 2026")
    return int(number)


def _units(value: object) -> str:
    if value not in SYSTEMS:
        raise ValueError(f"{value!r} is no unit system; write us or metric")
    return str(value)


def _money(value: object) -> Decimal:
    amount = parse_money(str(value))
    if amount < 0:
        raise ValueError(f"{value!r} is negative; write what it costs")
    return amount


def _speed(text: str) -> float:
    quantity = parse_quantity(text)
    try:
        return convert(quantity.value, quantity.unit, "m/s")
    except UnitError as error:
        raise UnitError(f"{text!r} is not a speed; write for example 5 mph") from error


def _not_negative(parse: Callable[[str], float]) -> Callable[[object], float]:
    def checked(value: object) -> float:
        if (number := parse(_text(value))) < 0:
            raise ValueError(f"{value!r} is negative; write zero or more")
        return number

    return checked


def _more_than_zero(parse: Callable[[str], float]) -> Callable[[object], float]:
    def checked(value: object) -> float:
        if (number := parse(_text(value))) <= 0:
            raise ValueError(f"{value!r} is not more than zero; leave it out if it is not known")
        return number

    return checked


def _object(value: object) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise TypeError(f"{value!r} is not an object; write {{…}}")
    return value


def _objects(value: object) -> tuple[Mapping[str, Any], ...]:
    if not isinstance(value, list):
        raise TypeError(f"{value!r} is not a list; write […]")
    return tuple(_object(item) for item in value)
