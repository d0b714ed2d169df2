"""What the analysis columns of a label, ticket or manure sheet say, in the basis and unit of a label.

This file answers "how much N, P2O5, K2O … is in it, by weight?". A column is named for what it is of and its
unit (``p2o5_lb_per_ton``, ``K2O (kg/t)``, ``so3``, ``n_g_per_l``); without a unit it is percent. What labels
here are not printed in is restated, and that is said. Nitrogen of manure may stand in two parts.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from loamwright.errors import Level
from loamwright.files.fields import Fields
from loamwright.units import (
    CA_PER_CAO,
    GAL_M3,
    K_PER_K2O,
    LB_GAL_KG_M3,
    LB_KG,
    MG_PER_MGO,
    P_PER_P2O5,
    PCT_LB_TON,
    S_PER_SO3,
)
from loamwright.values import Nutrient

_NUTRIENTS = {nutrient.value.lower(): nutrient for nutrient in Nutrient}
#: Other forms: the nutrient of a label, and how much of it one part of the form is.
_FORMS: Mapping[str, tuple[Nutrient, float]] = {
    "so3": (Nutrient.S, S_PER_SO3),
    "mgo": (Nutrient.MG, MG_PER_MGO),
    "cao": (Nutrient.CA, CA_PER_CAO),
    "p_element": (Nutrient.P2O5, 1 / P_PER_P2O5),
    "k_element": (Nutrient.K2O, 1 / K_PER_K2O),
    "elemental_p": (Nutrient.P2O5, 1 / P_PER_P2O5),
    "elemental_k": (Nutrient.K2O, 1 / K_PER_K2O),
}
#: Columns that may be either: on one bag P is phosphate, on another the element.
_UNCLEAR = {"p": "p2o5", "k": "k2o"}
_AMMONIUM, _ORGANIC = ("nh4_n", "ammonium_n"), ("organic_n", "org_n")
#: Unit to how much of it is one percent by weight; None = by the density.
_UNITS: Mapping[str, float | None] = {
    "": 1.0,
    "pct": 1.0,
    "lb_ton": PCT_LB_TON,
    "kg_t": 10.0,
    "kg_tonne": 10.0,
    "g_kg": 10.0,
    "lb_1000_gal": None,
    "lb_gal": None,
    "kg_m3": None,
    "g_l": None,
}
#: Of the units by volume: how much a kilogram in a cubic metre is of each.
_PER_VOLUME = {"lb_1000_gal": 1000 * GAL_M3 / LB_KG, "lb_gal": 1 / LB_GAL_KG_M3, "kg_m3": 1.0, "g_l": 1.0}
_WHAT = "|".join((*_NUTRIENTS, *_FORMS, *_UNCLEAR, *_AMMONIUM, *_ORGANIC))
_UNIT = "pct|(?:lb|kg|g)_(?:per_)?(?:ton|tonne|t|1000_gal|gal|m3|l|kg)"
#: Names of analysis columns.
ANALYSIS = rf"(?:{_WHAT})(?:_(?:{_UNIT}))?"
_COLUMN = re.compile(rf"({_WHAT})(?:_({_UNIT}))?")


@dataclass(frozen=True, slots=True)
class Figures:
    """What analysis columns say [percent by weight].

    Parameters
    ----------
    analysis_pct
        By nutrient, in label basis.
    ammoniacal_pct
        Nitrogen that is ammonium; None = not stated.
    available_n_pct
        Share of the nitrogen that the crop can use this year, from its two parts; None = not stated.
    """

    analysis_pct: Mapping[Nutrient, float]
    ammoniacal_pct: float | None
    available_n_pct: float | None


def read_figures(row: Fields, density_kg_m3: float | None) -> Figures:
    """Read the analysis columns of a row; two that contradict each other are a problem."""
    found: dict[Nutrient, tuple[str, float]] = {}
    parts: dict[str, float] = {}
    for name in row.matching(ANALYSIS):
        split = _COLUMN.fullmatch(name)
        assert split is not None
        what, unit = split[1], (split[2] or "").replace("_per_", "_")
        percent = _percent(row, name, unit, density_kg_m3)
        if percent is None:
            continue
        if what in _UNCLEAR:
            oxide = _UNCLEAR[what]
            fix = f"Rename it {oxide}, or {what}_element when the label gives the element."
            row.problem(name, f"it does not say whether it is {what.upper()} or {oxide.upper()}", fix)
            continue
        if what in (*_AMMONIUM, *_ORGANIC):
            parts["ammonium" if what in _AMMONIUM else "organic"] = percent
            continue
        nutrient, share = (_NUTRIENTS[what], 1.0) if what in _NUTRIENTS else _FORMS[what]
        if share != 1.0:
            told = f"{percent:.4g} % {what.split('_')[0].upper()} is {percent * share:.4g} % {nutrient.value}"
            row.problem(name, told, "Restated as labels here are written.", Level.NOTE)
        _take(row, name, found, nutrient, percent * share)
    if len(parts) == 2:
        _take(row, "nh4_n", found, Nutrient.N, sum(parts.values()))
    analysis = {nutrient: percent for nutrient, (_name, percent) in found.items()}
    return Figures(analysis, parts.get("ammonium"), _available(row, parts))


def _percent(row: Fields, name: str, unit: str, density_kg_m3: float | None) -> float | None:
    if unit in ("", "pct"):
        return row.percent(name)
    value = row.number(name, "content per ton")
    per_cent = _UNITS[unit]
    if value is None or per_cent is not None:
        return value if value is None or per_cent is None else value / per_cent
    if density_kg_m3 is None:
        what = f"{value:g} by volume of a material whose weight is not stated"
        row.problem(name, what, "Write its density, for example 8.4 lb/gal.")
        return None
    return 100 * value / _PER_VOLUME[unit] / density_kg_m3


def _take(
    row: Fields, name: str, found: dict[Nutrient, tuple[str, float]], nutrient: Nutrient, percent: float
) -> None:
    first, value = found.setdefault(nutrient, (name, percent))
    if not math.isclose(value, percent, rel_tol=1e-3, abs_tol=1e-6):
        what = f"{row.text(name)} is {percent:.3g} % {nutrient.value}, and {first} says {value:.3g} %"
        row.problem(name, what, "Correct one of them.")


def _available(row: Fields, parts: Mapping[str, float]) -> float | None:
    """What of the nitrogen the crop can use this year, when it is stated for both parts."""
    shares = {part: row.percent(f"available_{column}_pct") for part, column in _PARTS.items()}
    total = sum(parts.values())
    if len(parts) < 2 or not total or any(share is None for share in shares.values()):
        return None
    return sum(parts[part] * (share or 0.0) for part, share in shares.items()) / total


_PARTS = {"ammonium": "nh4_n", "organic": "organic_n"}
