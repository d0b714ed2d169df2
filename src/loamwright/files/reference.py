"""Small published tables that come with the program: cautions, sampling advice, ppm per pound.

This file answers "what does the table say?": it reads the CSV files of ``data/`` and returns the
records of the rooms that use them. Guideline editions have their own reader (`guidelines`).
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib import resources

from loamwright.needs import CropName, CropNames
from loamwright.planning import CalendarRow, GroundRule
from loamwright.supplies import Form, KnownMaterial, Material, MixAnswer, MixRule, MixTable, Product
from loamwright.units import FT_M, LB_GAL_KG_M3, LB_KG, parse_quantity
from loamwright.values import Nutrient, Quantity, Source, Timing
from loamwright.work import CautionText, ChangeFigure, SamplingGuide


def _rows(name: str) -> Iterator[dict[str, str]]:
    text = resources.files("loamwright").joinpath("data", name).read_text(encoding="utf-8")
    yield from csv.DictReader(text.splitlines())


def _limits(cell: str) -> Mapping[str, Quantity]:
    """Read ``"chance=50 percent; rain=1 inch"``."""
    pairs = (part.strip().split("=", 1) for part in cell.split(";") if part.strip())
    return {name: parse_quantity(written) for name, written in pairs}


def load_caution_texts() -> Mapping[str, CautionText]:
    """Read the table of usual cautions.

    Returns
    -------
    mapping of rule id to CautionText
        In the order of the table.

    Examples
    --------
    >>> load_caution_texts()["C-15"].limits["stop"]
    Quantity(value=50.0, unit='ppm')
    """
    return {
        row["rule"]: CautionText(
            rule=row["rule"],
            level=row["level"],
            text=row["text"],
            published=row["published"],
            limits=_limits(row["limits"]),
            source=Source(row["source"]),
            defers_to=row["defers_to"],
            readers=tuple(row["readers"].split("; ")),
            line=row["line"],
        )
        for row in _rows("cautions.csv")
    }


def load_sampling_guides() -> Mapping[str, SamplingGuide]:
    """Read the published advice on soil samples.

    Returns
    -------
    mapping of place to SamplingGuide
        In the order of the table; the first is the one shown when the user has not picked.

    Examples
    --------
    >>> load_sampling_guides()["Minnesota"].cores_high
    30
    """
    return {
        row["place"]: SamplingGuide(
            place=row["place"],
            cores_low=int(row["cores_low"]),
            cores_high=int(row["cores_high"]),
            acres_high=float(row["acres_high"]) if row["acres_high"] else None,
            depth=row["depth"],
            repeat=row["repeat"],
            note=row["note"],
            source=Source(row["source"]),
        )
        for row in _rows("sampling_rules.csv")
    }


def load_change_figures() -> Mapping[Nutrient, ChangeFigure]:
    """Read how many pounds move a soil test by one ppm, where a source says so.

    Returns
    -------
    mapping of Nutrient to ChangeFigure

    Examples
    --------
    >>> load_change_figures()[Nutrient.P2O5].lb_per_ppm_low
    20.0
    """
    return {
        Nutrient(row["nutrient"]): ChangeFigure(
            nutrient=Nutrient(row["nutrient"]),
            extractant=row["extractant"],
            lb_per_ppm_low=float(row["lb_per_ppm_low"]),
            lb_per_ppm_high=float(row["lb_per_ppm_high"]),
            source=Source(row["source"], row["edition"], "", row["row"]),
        )
        for row in _rows("soil_test_change.csv")
    }


@lru_cache(maxsize=1)
def crop_names() -> CropNames:
    """Read what crops are called besides their usual names.

    Returns
    -------
    CropNames

    Examples
    --------
    >>> crop_names().of("ladino").name
    'white clover'
    """

    def listed(cell: str) -> tuple[str, ...]:
        return tuple(part.strip() for part in cell.split(";") if part.strip())

    return CropNames(
        tuple(
            CropName(
                row["name"], row["botanical"], row["kind"], listed(row["other names"]), listed(row["forms"])
            )
            for row in _rows("crop_names.csv")
        )
    )


_FORMS_OF_N = ("urea", "ammoniacal", "nitrate")


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


def load_checklist() -> Mapping[str, str]:
    """Read the list of what a plan and its records hold, as far as it is free text.

    Returns
    -------
    mapping of number to title
        In the order of the list.

    Examples
    --------
    >>> load_checklist()["1.3"]
    'county and watershed'
    """
    return {row["number"]: row["title"] for row in _rows("plan_checklist.csv")}


def load_mixing() -> MixTable:
    """Read which materials may share a hopper, by whom it is said.

    Returns
    -------
    MixTable

    Examples
    --------
    >>> [rule.answer.value for rule in load_mixing().rules if rule.one == "urea"][:2]
    ['no', 'no']
    """
    materials = tuple(
        Material(row["material"], _guarantees(row), Source(row["source"]))
        for row in _rows("mixing_materials.csv")
    )
    rules = tuple(
        MixRule(
            row["one"],
            row["other"],
            MixAnswer(row["answer"]),
            row["condition"],
            Source(row["source"], row["year"]),
        )
        for row in _rows("mixing.csv")
    )
    return MixTable(materials, rules)


def load_calendar() -> tuple[CalendarRow, ...]:
    """Read when published pages say what is spread, and how it is placed.

    Returns
    -------
    tuple of CalendarRow

    Examples
    --------
    >>> load_calendar()[0].label
    'before seeding'
    """
    return tuple(
        CalendarRow(
            crops=tuple(row["crops"].split("|")),
            stand=row["stand"],
            supply=row["supply"],
            state=row["state"],
            timing=Timing(row["timing"]) if row["timing"] else None,
            label=row["label"],
            placement=row["placement"],
            opens=_month_day(row["opens"]),
            closes=_month_day(row["closes"]),
            source=Source(row["source"], row["year"]),
            share=float(row["share"]) if row["share"] else None,
        )
        for row in _rows("calendar.csv")
    )


def load_ground_rules() -> tuple[GroundRule, ...]:
    """Read the rules of states on ground, dates and rain; each holds in its own state only.

    Returns
    -------
    tuple of GroundRule

    Examples
    --------
    >>> load_ground_rules()[0].state
    'Delaware'
    """
    return tuple(
        GroundRule(
            state=row["state"],
            kind=row["kind"],
            what=row["what"],
            rule=row["rule"],
            who=row["who"],
            source=Source(row["source"], row["year"]),
        )
        for row in _rows("ground_rules.csv")
    )


def _month_day(cell: str) -> tuple[int, int] | None:
    """Read ``"02-15"``."""
    month, _, day = cell.partition("-")
    return (int(month), int(day)) if cell else None


def _guarantees(row: Mapping[str, str]) -> Mapping[Nutrient, tuple[float, float]]:
    """Lowest and highest guarantee of each nutrient a material holds [percent]."""
    ranges = {
        nutrient: (float(row[f"{nutrient.value.lower()}_low"]), float(row[f"{nutrient.value.lower()}_high"]))
        for nutrient in (Nutrient.N, Nutrient.P2O5, Nutrient.K2O, Nutrient.S, Nutrient.B)
    }
    return {nutrient: ends for nutrient, ends in ranges.items() if ends[1] > 0}
