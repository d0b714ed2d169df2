"""The file with a property's name, season and choices, as a person writes it.

This file answers "what did the owner choose?". The file is JSON with quantities as text in any
unit (``"6 ft"``, ``"25 lb/acre"``); a missing key takes the stated default of `values.Settings`; an
unknown key is an error, because a misspelled choice would be no choice. See ``demo_data/property.json``.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

from loamwright.errors import InputError, Problem
from loamwright.files.fields import Fields
from loamwright.files.jsontext import read_json
from loamwright.files.kinds import CURRENCY, MONTH_DAY, Kind, read_value
from loamwright.files.reference import load_sampling_guides
from loamwright.files.work_rules import work_rules
from loamwright.supplies import DOSE_LIMITS
from loamwright.units import ACRE_M2, HA_M2, SYSTEMS, TON_KG
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
    return info_in(path, read_json(path))


def info_in(path: Path, content: object) -> PropertyInfo:
    """Read what stands in the JSON of a settings file."""
    if not isinstance(content, dict):
        raise InputError((Problem(path.name, "this is not a JSON object", "Start from the demo's file."),))
    problems: list[Problem] = []
    top = Fields(path.name, content, problems, typed=True)
    name = top.required("name")
    season = top.year("season") if top.stated("season", "2026") else None
    info = PropertyInfo(
        name=name,
        season=season or 0,
        about=top.text("about"),
        units=top.choice("units", SYSTEMS) or "us",
        currency=_kept_as(top, "currency", CURRENCY) or "USD",
        settings=_settings(top.inner("settings")),
    )
    top.finish()
    if problems:
        raise InputError(problems)
    return info


def looks_like(content: object) -> bool:
    """Tell whether the JSON of a file holds a property's name and season."""
    return isinstance(content, dict) and {"name", "season"} <= content.keys()


def _kept_as(keys: Fields, name: str, kind: Kind) -> str:
    """Read a text that is one kind of value and kept as text; empty when it is not stated."""
    text = keys.text(name)
    try:
        return str(read_value(kind, text)) if text else ""
    except ValueError as error:
        what, _, fix = str(error).partition("; ")
        keys.problem(name, what, f"{fix[:1].upper()}{fix[1:]}.")
        return ""


def _or(value: T | None, default: T) -> T:
    return default if value is None else value


def _surplus_limits(limits: Fields) -> tuple[Mapping[str, float], Mapping[str, float]]:
    fractions: dict[str, float | None] = {}
    rates: dict[str, float | None] = {}
    for supply in limits.matching(".*"):
        if supply not in _SUPPLIES:
            limits.problem(supply, f"{supply!r} is no supply", f"Use one of: {', '.join(_SUPPLIES)}.")
            continue
        limit = limits.inner(supply)
        fractions[supply], rates[supply] = (
            limit.number("fraction", "fraction"),
            limit.quantity("rate", "rate"),
        )
        limit.finish()
    return _stated(fractions), _stated(rates)


def _stated(values: Mapping[str, float | None]) -> Mapping[str, float]:
    return {name: value for name, value in values.items() if value is not None}


def _settings(keys: Fields) -> Settings:
    default = Settings()
    fractions, rates = _surplus_limits(keys.inner("surplus_limits"))
    per_acre, per_ha = keys.money("spreading_cost_per_acre"), keys.money("spreading_cost_per_ha")
    if per_acre is not None and per_ha is not None:
        keys.problem("spreading_cost_per_ha", "the cost is given per acre and per hectare", "Keep one.")
    if per_acre is not None:
        per_ha = per_acre * Decimal(HA_M2) / Decimal(ACRE_M2)
    per_ton = keys.money("hauling_cost_per_ton")
    most = keys.count("max_products_per_plot", "products")
    no_n = keys.number("legume_share_no_n_pct", "percent")
    settings = Settings(
        keeper=keys.text("keeper"),
        season_start=_kept_as(keys, "season_start", MONTH_DAY) or default.season_start,
        legume_share_no_n_pct=_or(no_n, default.legume_share_no_n_pct),
        guideline=keys.text("guideline") or default.guideline,
        lime_guideline=keys.text("lime_guideline") or default.lime_guideline,
        lime_region=keys.text("lime_region") or default.lime_region,
        lime_dose_limit=keys.choice("lime_dose_limit", [limit.limit_id for limit in DOSE_LIMITS]),
        sampling_guide=keys.choice("sampling_guide", tuple(load_sampling_guides())) or default.sampling_guide,
        cores_per_sample=keys.count("cores_per_sample", "cores"),
        test_age_limit_years=_or(keys.number("test_age_limit_years", "years"), default.test_age_limit_years),
        spreading_cost_per_ha=_or(per_ha, default.spreading_cost_per_ha),
        spreading_cost_per_pass=_or(keys.money("spreading_cost_per_pass"), default.spreading_cost_per_pass),
        hauling_cost_per_kg=default.hauling_cost_per_kg if per_ton is None else per_ton / Decimal(TON_KG),
        max_products_per_plot=most if keys.has("max_products_per_plot") else default.max_products_per_plot,
        surplus_limit_fraction=fractions,
        surplus_limit_kg_ha=rates,
        min_rate_kg_ha=keys.quantity("min_rate", "rate"),
        convert_extractants=_or(keys.yes_no("convert_extractants"), default.convert_extractants),
        default_yield_row=_or(keys.yes_no("default_yield_row"), default.default_yield_row),
        gps_sigma_m=_or(keys.quantity("gps_sigma", "fix error"), default.gps_sigma_m),
        spreaders=tuple(_spreader(one) for one in keys.inners("spreaders", "spreader")),
        work=work_rules(keys.inner("work")),
    )
    keys.finish()
    return settings


def _spreader(keys: Fields) -> Spreader:
    spreader = Spreader(
        name=keys.required("name", "ATV, as products name it in their equipment"),
        hopper_kg=keys.quantity("hopper", "load"),
        vehicle_kg=keys.quantity("vehicle", "load"),
        swath_m=keys.quantity("swath", "swath"),
        speed_m_s=keys.quantity("speed", "speed"),
        field_efficiency=keys.number("field_efficiency", "share of time"),
        heavy=keys.yes_no("heavy") or False,
        fill_minutes=keys.number("fill_minutes", "minutes"),
        cost_per_stop=keys.money("cost_per_stop"),
        cost_per_hour=keys.money("cost_per_hour"),
        cost_per_load=keys.money("cost_per_load"),
        width_m=keys.quantity("width", "swath"),
    )
    keys.finish()
    return spreader
