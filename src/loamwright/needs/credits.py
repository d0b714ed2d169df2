"""What already supplies part of a need: legumes plowed down, manure, litter, compost.

This file answers "how many pounds per acre does this count for, by whose table, in which year?".
It never subtracts: `needs` decides whether a credit is due at all (a lab may have taken it already,
a table may split by previous crop) and keeps the result from going below zero. A credit that cannot
be worked out is named as a problem and counted as nothing, never guessed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from loamwright import soil
from loamwright.errors import Level, Problem, UnitError
from loamwright.needs.classes import Span, classified, leading_number
from loamwright.needs.records import Credit
from loamwright.needs.seen import Clock
from loamwright.soil import Missing, OrganicInput
from loamwright.supplies import Product
from loamwright.units import LB_ACRE_KG_HA, convert
from loamwright.values import LAB, LABEL, USER, Nutrient, Quantity, Source, Step

#: Spread from this month on, manure counts for the next calendar year's season. Ours; common practice.
SEASON_TURNS_IN_MONTH = 9


@dataclass(frozen=True, slots=True)
class CreditLine:
    """One credit with the steps behind it.

    Parameters
    ----------
    credit
        The amount and where it comes from.
    steps
        From the printed figures to the amount.
    """

    credit: Credit
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class CreditsFound:
    """Credits of one kind for one nutrient, and what could not be counted.

    Parameters
    ----------
    lines
        One per legume or organic input.
    problems
        Notes about what was not counted and why.
    seen
        One step for each application that is not counted because the soil was sampled after it.
    """

    lines: tuple[CreditLine, ...] = ()
    problems: tuple[Problem, ...] = ()
    seen: tuple[Step, ...] = ()


# ---------------------------------------------------------------------------------------------
# Legumes


@dataclass(frozen=True, slots=True)
class LegumeRow:
    """One printed line of a legume credit table.

    Parameters
    ----------
    previous_crops
        Names, any of which it is for.
    stand
        Plants per square foot; None = any.
    value
        Credit in the table's unit.
    line
        Line in the file.
    """

    previous_crops: tuple[str, ...]
    stand: Span | None
    value: float
    line: int


@dataclass(frozen=True, slots=True)
class LegumeTable:
    """Nitrogen that last year's legume leaves for this year's crop.

    Parameters
    ----------
    crops
        This year's crops it was printed for; empty = every crop of its guideline.
    rows
        Printed lines.
    rate_unit
        Unit of the credits.
    source
        Publication and table.
    note
        Footnote a person should see.
    """

    crops: tuple[str, ...]
    rows: tuple[LegumeRow, ...]
    rate_unit: str
    source: Source
    note: str = ""

    def credit(self, previous_crop: str, previous_stand: str) -> CreditLine | Missing | None:
        """Look up last year's crop.

        Parameters
        ----------
        previous_crop, previous_stand
            As the user wrote them; a stand of ``"4 plants/ft2"`` is read by its first number.

        Returns
        -------
        CreditLine, Missing or None
            None when the crop is not in the table (not a listed legume); Missing when it is but the
            stand is not stated or not printed.
        """
        wanted = soil.plain_name(previous_crop)
        rows = [row for row in self.rows if wanted in map(soil.plain_name, row.previous_crops)]
        if not rows:
            return None
        spans = [row.stand for row in rows if row.stand is not None]
        if spans:
            plants = leading_number(previous_stand)
            printed = ", ".join(span.text for span in spans)
            if plants is None:
                return Missing(
                    f"the credit after {previous_crop} goes by plants per square foot ({printed}), "
                    f"and the stand is {previous_stand.strip() or 'not stated'!r}"
                )
            counted = classified(plants, spans)
            rows = [row for row in rows if row.stand is not None and row.stand.contains(counted)]
            if not rows:
                return Missing(
                    f"{previous_stand!r} is outside the printed stands of {previous_crop} ({printed})"
                )
        row = rows[0]
        name = previous_crop.strip() + (f", {row.stand.text} plants/ft2" if row.stand else "")
        source = Source(self.source.publication, self.source.edition, self.source.table, name)
        step = Step(f"Credit after {name}", row.value, soil.unit_of(self.rate_unit, "N"), source)
        counted_kg_ha = soil.rate_kg_ha(row.value, self.rate_unit)
        return CreditLine(Credit(f"legume: {name}", counted_kg_ha, source), (step,))


# ---------------------------------------------------------------------------------------------
# Manure, litter, compost


@dataclass(frozen=True, slots=True)
class ManureTable:
    """Share of the nutrients in manure that a crop can use, by species, method and year.

    Parameters
    ----------
    nitrogen_pct
        (species, year after application) to method to percent of total N; None = left blank in print.
    first_year_pct
        Percent of total P2O5, K2O, S usable the season after application.
    source, first_year_source
        Publication and table, of either.
    note
        What the figures assume.
    """

    nitrogen_pct: Mapping[tuple[str, int], Mapping[str, float | None]]
    first_year_pct: Mapping[Nutrient, float]
    source: Source
    first_year_source: Source
    note: str = ""

    def share(
        self, organic: OrganicInput, nutrient: Nutrient, year: int
    ) -> tuple[float, Source] | Missing | None:
        """Return the usable percent of one nutrient in one year.

        Parameters
        ----------
        organic
            The application.
        nutrient
            Which nutrient.
        year
            1 = the first season it serves.

        Returns
        -------
        tuple of float and Source, or Missing, or None
            Percent and row; Missing when the table cannot say; None when nothing is left to count: P2O5,
            K2O and S after the first year, which the soil test then shows, and N after the last year
            printed for any species.
        """
        if year > max((printed for _, printed in self.nitrogen_pct), default=1):
            return None
        species = sorted({name for name, _ in self.nitrogen_pct})
        if soil.plain_name(organic.material) not in species:
            return Missing(f"{organic.material!r} is not in the manure table ({', '.join(species)})")
        if nutrient is not Nutrient.N:
            if year > 1:
                return None
            if nutrient not in self.first_year_pct:
                return Missing(f"no usable share of {nutrient.value} in manure was printed")
            percent = self.first_year_pct[nutrient]
            return percent, self.first_year_source
        row = self.nitrogen_pct.get((soil.plain_name(organic.material), year))
        if row is None:
            return Missing(
                f"no figure was read for {organic.material} manure in year {year} after application"
            )
        methods = {soil.plain_name(name): name for name in row}
        method = methods.get(soil.plain_name(organic.method))
        if method is None:
            return Missing(f"the method {organic.method!r} is not in the manure table ({'; '.join(row)})")
        printed = row[method]
        if printed is None:
            return Missing(f"the manure table leaves {organic.material}, {method} blank")
        where = f"{organic.material}, {method}, year {year}"
        return printed, Source(self.source.publication, self.source.edition, self.source.table, where)


def with_usable_shares(products: Sequence[Product], table: ManureTable | None) -> tuple[Product, ...]:
    """Fill in what a table prints as usable of manures in the first season, where nobody stated it.

    Parameters
    ----------
    products
        The property's products; those without a `material` stay as they are.
    table
        The guideline's shares; None = it prints none.

    Returns
    -------
    tuple of Product
        A stated share goes before the table's; what neither says stays open, and is not counted.
    """
    return tuple(
        product if table is None or not product.material else _with_shares(product, table)
        for product in products
    )


def _with_shares(product: Product, table: ManureTable) -> Product:
    as_input = OrganicInput("", "", dt.date.min, product.material, product.method, Quantity(0.0, "kg"))
    shares, source = dict(product.available_pct), product.available_source
    for nutrient in product.analysis_pct:
        found = table.share(as_input, nutrient, 1)
        if nutrient not in shares and isinstance(found, tuple):
            shares[nutrient], source = found
    return replace(product, available_pct=shares, available_source=source)


def season_year(applied_on: dt.date, season: int) -> int:
    """Count which season of an application's effect a season is.

    Parameters
    ----------
    applied_on
        The day it was spread.
    season
        Calendar year.

    Returns
    -------
    int
        1 = the first season it serves; less for a season before it.

    Examples
    --------
    >>> season_year(dt.date(2025, 10, 18), 2026)
    1
    """
    first = applied_on.year + (1 if applied_on.month >= SEASON_TURNS_IN_MONTH else 0)
    return season - first + 1


def organic_credits(
    inputs: Iterable[OrganicInput],
    table: ManureTable | None,
    nutrient: Nutrient,
    season: int,
    clock: Clock,
    area_ha: float,
    today: dt.date,
) -> CreditsFound:
    """Work out what manure, litter and compost still supply of one nutrient.

    Notes
    -----
    ``credit = amount x analysis x usable percent``. A usable percent the user states holds for the
    first season and goes before the table.
    """
    lines: list[CreditLine] = []
    problems: list[Problem] = []
    seen: list[Step] = []
    for organic in inputs:
        where = f"organic input {organic.input_id} of plot {organic.plot_id}"
        year = season_year(organic.applied_on, season)
        if year < 1:
            continue
        found = _organic_credit(organic, table, nutrient, year, clock, area_ha, today)
        if isinstance(found, CreditLine):
            lines.append(found)
        elif isinstance(found, Step):
            seen.append(found)
        elif isinstance(found, Missing):
            problems.append(
                Problem(
                    f"{where}, {nutrient.value}",
                    f"{found.reason}; nothing was taken off for it",
                    "State its analysis and the usable percent of the first season to have it counted"
                    if year == 1
                    else "Ask your lab what is still to be expected of it",
                    Level.NOTE,
                )
            )
    return CreditsFound(tuple(lines), tuple(problems), tuple(seen))


def _spread(organic: OrganicInput) -> str:
    return f"{organic.material}, {organic.amount.value:g} {organic.amount.unit} on {organic.applied_on}"


def _organic_credit(
    organic: OrganicInput,
    table: ManureTable | None,
    nutrient: Nutrient,
    year: int,
    clock: Clock,
    area_ha: float,
    today: dt.date,
) -> CreditLine | Missing | Step | None:
    if organic.applied_on > today:
        return Missing(f"it is dated {organic.applied_on}, after today ({today})")
    if nutrient is not Nutrient.N:
        if year > 1:
            return None  # the crop of its first season was given it
        verdict = clock.verdict(nutrient.value, organic.applied_on)
        if not verdict.counts:
            return Step(f"{_spread(organic)}: {verdict.why}", "not taken off again", "", LAB)
    stated = organic.available_pct.get(nutrient)
    if stated is not None and year == 1:
        share: tuple[float, Source] | Missing | None = (stated, USER)
    elif table is None:
        share = Missing("the guideline prints no usable shares for organic inputs")
    else:
        share = table.share(organic, nutrient, year)
    if isinstance(share, Missing) and stated is not None:
        return Missing(f"your usable percent is for the first season, and {share.reason}")
    if not isinstance(share, tuple):
        return share
    percent, source = share
    if not 0 <= percent <= 100:
        return Missing(f"a usable share of {percent:g} percent cannot be")
    total = organic.analysis_lb_per_ton.get(nutrient)
    if total is None:
        return Missing(f"the analysis states no {nutrient.value}")
    rate = _spread_kg_ha(organic, area_ha)
    if isinstance(rate, Missing):
        return rate
    supplied_kg_ha = rate * total / 2000
    credit_kg_ha = supplied_kg_ha * percent / 100
    if not credit_kg_ha >= 0:
        return Missing(f"{organic.amount.value:g} {organic.amount.unit} at {total:g} lb/ton cannot be")
    unit = f"lb {nutrient.value}/acre"
    what = _spread(organic)
    usable = f"{percent:g} percent of it usable in season {year}"
    steps = [
        Step(f"{what}, {total:g} lb {nutrient.value} per ton", supplied_kg_ha / LB_ACRE_KG_HA, unit, LABEL),
        Step(usable, credit_kg_ha / LB_ACRE_KG_HA, unit, source),
    ]
    if table is not None and table.note and source != USER:
        steps.append(Step(table.note, "remark", "", source))
    return CreditLine(Credit(what, credit_kg_ha, source), tuple(steps))


def _spread_kg_ha(organic: OrganicInput, area_ha: float) -> float | Missing:
    """Read the amount as a rate; an amount for the whole plot is shared over its spread area."""
    amount = organic.amount
    try:
        return convert(amount.value, amount.unit, "kg/ha")
    except UnitError:
        pass
    try:
        mass_kg = convert(amount.value, amount.unit, "kg")
    except UnitError:
        return Missing(f"the amount {amount.value:g} {amount.unit!r} is not a weight or a weight per area")
    if area_ha <= 0:
        return Missing("the plot has no spread area to share the amount over")
    return mass_kg / area_ha
