"""A lab's report of a soil sample, and the analysis of manure or compost."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from loamwright.values import Nutrient, Quantity

# ---------------------------------------------------------------------------------------------
# Soil tests and organic inputs


@dataclass(frozen=True, slots=True)
class Reading:
    """One lab number with everything needed to know what it means.

    Parameters
    ----------
    value
        The number as printed.
    unit
        As printed: ``"ppm"``, ``"lb/acre"``, ``"mg/kg"``, ``"kg/ha"``.
    extractant
        As the lab names it (``"Bray P1"``); None = not stated.
    basis
        What the number is pounds of: ``"P"``, ``"P2O5"``, ``"K"`` …
    sign
        ``"<"`` or ``">"`` where the lab prints a limit only: the number is that limit. Empty = a figure.
    """

    value: float
    unit: str
    extractant: str | None
    basis: str
    sign: str = ""

    def __str__(self) -> str:
        return f"{self.sign}{self.value:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class LabRecommendation:
    """What the lab itself recommends, as printed.

    Parameters
    ----------
    rates
        Rate per nutrient as printed; a nutrient absent here has no recommendation.
    lime
        Lime as printed (``Quantity(3000, "lb ENP/acre")``); None = none printed.
    credits_taken
        True if the lab already took credits off, False if not, None = not stated.
    up_to
        Where the lab prints a range, its upper end in the unit of the rate, which is the lower end.
    """

    rates: Mapping[Nutrient, Quantity] = field(default_factory=dict)
    lime: Quantity | None = None
    credits_taken: bool | None = None
    up_to: Mapping[Nutrient, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SoilTest:
    """One lab report for one sample of one plot.

    Parameters
    ----------
    test_id, plot_id
        Ids.
    sampled_on
        Date the cores were taken; None = not stated.
    lab
        Name as written.
    depth_top_m, depth_bottom_m
        Slice sampled [m]; None = not stated.
    ph, buffer_ph, buffer_method
        Soil pH in water; buffer pH or index and the buffer it was read in (``"Sikora"``).
    organic_matter_pct, cec_meq_100g, acidity_meq_100g
        Organic matter [percent]; cation exchange capacity and exchangeable acidity [meq/100 g].
    readings
        Lab numbers by element symbol: ``"P"``, ``"K"``, ``"S"``, ``"Ca"`` …
    recommendation
        The lab's own, if printed.
    part, texture
        Part of the plot the sample stands for; soil texture as written.
    analysed_on, sampled_by
        When the lab analysed it; who took the cores.
    rates_crop, rates_season
        Crop and season [calendar year] the lab's rates were written for; empty, None = not stated.
    """

    test_id: str
    plot_id: str
    sampled_on: dt.date | None = None
    lab: str = ""
    depth_top_m: float | None = None
    depth_bottom_m: float | None = None
    ph: float | None = None
    buffer_ph: float | None = None
    buffer_method: str | None = None
    organic_matter_pct: float | None = None
    cec_meq_100g: float | None = None
    acidity_meq_100g: float | None = None
    readings: Mapping[str, Reading] = field(default_factory=dict)
    recommendation: LabRecommendation | None = None
    part: str = ""
    texture: str = ""
    analysed_on: dt.date | None = None
    sampled_by: str = ""
    rates_crop: str = ""
    rates_season: int | None = None


@dataclass(frozen=True, slots=True)
class OrganicInput:
    """Manure, litter or compost put on a plot, now or in an earlier year, for its credit.

    Parameters
    ----------
    input_id, plot_id
        Ids.
    applied_on
        Date it was spread.
    material
        Species or material as the credit table names it: ``"beef"``, ``"poultry"``, ``"compost"``.
    method
        Placement as the credit table names it: ``"broadcast incorporated 12-96 h"`` …
    amount
        As written: ``Quantity(3, "ton/acre")``.
    analysis_lb_per_ton
        Lab total per nutrient in label basis [lb per short ton].
    available_pct
        First-year availability per nutrient when the user or lab states it [percent]; overrides
        the table.
    """

    input_id: str
    plot_id: str
    applied_on: dt.date
    material: str
    method: str
    amount: Quantity
    analysis_lb_per_ton: Mapping[Nutrient, float] = field(default_factory=dict)
    available_pct: Mapping[Nutrient, float] = field(default_factory=dict)
