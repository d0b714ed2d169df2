"""Common materials with published figures: a starting point for typing in a product.

This file answers "what does this usually hold and weigh?". The figures are offered to a user, who holds
the label: nothing is filled in silently, and the label always wins. Figures that were not read in a
source are left blank in the table.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from loamwright.units import FT_M, LB_GAL_KG_M3, LB_KG
from loamwright.values import Form, Nutrient, Product, Source

_FORMS_OF_N = ("urea", "ammoniacal", "nitrate")


@dataclass(frozen=True, slots=True)
class KnownMaterial:
    """A common material as published.

    Parameters
    ----------
    product
        A product to start from, with its usual guarantee.
    density_at
        Temperature of a liquid's density as printed; empty when not printed or not a liquid.
    bulk_kg_m3
        Lowest and highest bulk density of a dry material [kg/m3]; None when not read. Weigh a bucket.
    remark
        Ranges and warnings.
    analysis_source, density_source
        Where the figures were read.
    """

    product: Product
    density_at: str
    bulk_kg_m3: tuple[float, float] | None
    remark: str
    analysis_source: Source
    density_source: Source | None


@lru_cache(maxsize=1)
def known_materials() -> tuple[KnownMaterial, ...]:
    """Read the table of common materials.

    Returns
    -------
    tuple of KnownMaterial

    Examples
    --------
    >>> known_materials()[0].product.product
    'urea 46-0-0'
    """
    text = resources.files("loamwright").joinpath("data", "materials.csv").read_text(encoding="utf-8")
    return tuple(_material(row) for row in csv.DictReader(text.splitlines()))


def _material(row: dict[str, str]) -> KnownMaterial:
    """Turn one row, in the units as printed, into a material."""
    columns = {nutrient: row.get(nutrient.value.lower(), "") for nutrient in Nutrient}
    low, high = row["lb_per_cu_ft_low"], row["lb_per_cu_ft_high"]
    lb_cu_ft = LB_KG / FT_M**3
    return KnownMaterial(
        product=Product(
            product=row["material"],
            form=Form(row["form"]),
            analysis_pct={nutrient: float(cell) for nutrient, cell in columns.items() if cell},
            density_kg_m3=float(row["lb_per_gal"]) * LB_GAL_KG_M3 if row["lb_per_gal"] else None,
            nitrogen_forms_pct={name: float(row[f"{name}_n"]) for name in _FORMS_OF_N if row[f"{name}_n"]},
            contains=tuple(filter(None, [row["contains"]])),
        ),
        density_at=row["density_at"],
        bulk_kg_m3=(float(low) * lb_cu_ft, float(high) * lb_cu_ft) if low and high else None,
        remark=row["remark"],
        analysis_source=Source(row["analysis_source"]),
        density_source=Source(row["density_source"]) if row["density_source"] else None,
    )
