"""For scripts and notebooks: what ``import loamwright`` gives.

It stands beside the command line and makes the same calls, but answers in tables of pandas and geopandas and
in a folium map. Everything here can be had from the command line too.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from loamwright import fieldmap, files, land, season, supplies
from loamwright.errors import InputError, Problem
from loamwright.needs import LimeNeed, Need
from loamwright.supplies import Offer, Product
from loamwright.units import ACRE_M2, HA_M2, LB_ACRE_KG_HA, LB_KG
from loamwright.values import Nutrient

if TYPE_CHECKING:
    import folium
    import geopandas as gpd
    import pandas as pd


def measure(plots: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Measure polygons on the ellipsoid, whatever projection they come in.

    Parameters
    ----------
    plots
        Polygons or multipolygons; the frame must say its coordinate reference system.

    Returns
    -------
    geopandas.GeoDataFrame
        The same rows and columns, with ``area_m2`` [m2], ``acres`` and ``hectares`` added; a row without a
        polygon has no area (NaN), which is not zero.

    Raises
    ------
    InputError
        When the frame does not say its coordinate reference system.

    Examples
    --------
    A square of a thousandth of a degree at 46° N, in Minnesota:

    >>> import geopandas, shapely
    >>> box = shapely.box(-93.051, 46.05, -93.05, 46.051)
    >>> measured = measure(geopandas.GeoDataFrame(geometry=[box], crs=4326))
    >>> round(float(measured["acres"].iloc[0]), 3)
    2.126
    """
    if plots.crs is None:
        what = "the table of plots does not say its coordinate reference system"
        raise InputError([Problem("plots", what, "Set it first, for example plots.set_crs(4326).")])
    shapes = plots.geometry.to_crs(4326)
    polygons = shapes.where(shapes.geom_type.isin(["Polygon", "MultiPolygon"]), None)
    areas_m2 = land.areas_m2(polygons.array)
    return plots.assign(area_m2=areas_m2, acres=areas_m2 / ACRE_M2, hectares=areas_m2 / HA_M2)


def nutrients(product: Product) -> Mapping[Nutrient, float]:
    """Say what a product holds of each nutrient, from its guaranteed analysis or its ingredient.

    Parameters
    ----------
    product
        The label.

    Returns
    -------
    mapping of Nutrient to float
        Mass fraction [kg per kg product, N, P2O5, K2O, S … as guaranteed].

    Examples
    --------
    A liquid that is 32.5 % of the chemical urea is 15.2 % nitrogen:

    >>> from loamwright.supplies import Form
    >>> jug = Product("plant food", Form.LIQUID, ingredient="urea (pure)", ingredient_pct=32.5)
    >>> round(100 * nutrients(jug)[Nutrient.N], 1)
    15.2
    """
    return supplies.nutrient_fractions(product).fractions


def price_per_lb(offer: Offer, product: Product) -> Mapping[Nutrient, float]:
    """Say what a pound of each nutrient costs if the whole price is laid on it alone.

    Parameters
    ----------
    offer
        A package at a price.
    product
        Its label.

    Returns
    -------
    mapping of Nutrient to float
        Price [money per lb of the nutrient]; empty when the price or the net mass is not known.

    Examples
    --------
    Urea 46-0-0 at $25 for 50 lb holds 23 lb of nitrogen:

    >>> from loamwright.supplies import Form
    >>> urea = Product("urea", Form.DRY, {Nutrient.N: 46.0})
    >>> bag = Offer("u", "urea", "50 lb bag", 50 * LB_KG, Decimal("25.00"))
    >>> round(price_per_lb(bag, urea)[Nutrient.N], 3)
    1.087
    """
    rows = supplies.compare([product], [offer]).offers
    return {nutrient: price * LB_KG for row in rows for nutrient, price in row.price_per_kg.items()}


class Property(season.Season):
    """One season of a property for use from Python: it also answers in tables and as a map."""

    def plots_frame(self) -> gpd.GeoDataFrame:
        """Return the plots with their areas, one row a plot, longitude and latitude on WGS84.

        Returns
        -------
        geopandas.GeoDataFrame
            ``plot_id`` (the index), ``name``, ``crop``, ``area_m2``, ``spread_area_m2``, ``acres``,
            ``spread_acres``.
        """
        import geopandas as gpd

        rows = []
        for plot in self.record.plots:
            area, cropping = self.areas[plot.plot_id], self.croppings.get(plot.plot_id)
            rows.append(
                {
                    "plot_id": plot.plot_id,
                    "name": plot.name,
                    "crop": None if cropping is None else cropping.crop,
                    "area_m2": area.area_m2,
                    "spread_area_m2": area.spread_area_m2,
                    "acres": area.area_m2 / ACRE_M2,
                    "spread_acres": area.spread_area_m2 / ACRE_M2,
                }
            )
        shapes = gpd.GeoSeries([plot.boundary for plot in self.record.plots], crs=4326)
        columns = ("plot_id", "name", "crop", "area_m2", "spread_area_m2", "acres", "spread_acres")
        return gpd.GeoDataFrame(rows, columns=[*columns], geometry=shapes).set_index("plot_id")

    def needs_frame(self) -> pd.DataFrame:
        """Return what each plot needs, one row a plot and nutrient, lime included.

        Returns
        -------
        pandas.DataFrame
            ``plot_id``, ``supply`` (``"P2O5"``, ``"lime ENP"``; ``"lime"`` without a basis), ``state``,
            ``lb_per_acre``, ``lb``, ``reason``, ``sources``. An unknown figure is missing (NaN), never zero.
        """
        import pandas as pd

        rows = []
        for plot_id, found in self.needs.items():
            lime = found.lime
            every: list[tuple[str, Need | LimeNeed]] = [(need.nutrient, need) for need in found.needs]
            for supply, need in [*every, (lime.basis.supply if lime.basis else "lime", lime)]:
                rows.append(
                    {
                        "plot_id": plot_id,
                        "supply": str(supply),
                        "state": need.state.value,
                        "lb_per_acre": _per(need.rate_kg_ha, LB_ACRE_KG_HA),
                        "lb": _per(need.mass_kg, LB_KG),
                        "reason": need.reason,
                        "sources": "; ".join(dict.fromkeys(str(step.source) for step in need.steps)),
                    }
                )
        return pd.DataFrame(rows)

    def plan_frame(self) -> pd.DataFrame:
        """Return what the season's plan puts where, one row a plot and product.

        Returns
        -------
        pandas.DataFrame
            ``plot_id``, ``product``, ``timing``, ``lb_per_acre``, ``lb``; no row without a plan.
        """
        import pandas as pd

        lines = () if self.plan is None else self.plan.lines
        return pd.DataFrame(
            [
                {
                    "plot_id": line.plot_id,
                    "product": line.product,
                    "timing": None if line.timing is None else line.timing.value,
                    "lb_per_acre": line.rate_kg_ha / LB_ACRE_KG_HA,
                    "lb": line.mass_kg / LB_KG,
                }
                for line in lines
            ],
            columns=["plot_id", "product", "timing", "lb_per_acre", "lb"],
        )

    def map(self) -> folium.Map:
        """Return the field map; in a notebook it shows itself.

        Returns
        -------
        folium.Map
            Everything is in it: no network is asked.
        """
        return fieldmap.folium_map(self)


def _per(amount: float | None, unit: float) -> float | None:
    return None if amount is None else amount / unit


def open_property(path: str | Path, today: dt.date | None = None) -> Property:
    """Open a property file.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests and cautions; None = today.

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    return Property(files.load(Path(path)), today or dt.datetime.now().astimezone().date())


def plan(
    path: str | Path, budget: Decimal | None = None, gap: float = 0.001, time_limit_s: float = 60.0
) -> Property:
    """Find the cheapest purchase that meets every need of a property, and keep the plan in its file.

    Parameters
    ----------
    path
        The property file.
    budget
        Spend at most this [money]; None = meet every need.
    gap
        Proof wanted [fraction of cost].
    time_limit_s
        Time the solver may take [s].

    Returns
    -------
    Property
        With the new plan.

    Raises
    ------
    InputError
        When an option is out of range; nothing is stored.
    """
    today = dt.datetime.now().astimezone().date()
    season.make_plan(Path(path), season.PlanOptions(budget=budget, gap=gap, time_limit_s=time_limit_s), today)
    return open_property(path, today)
