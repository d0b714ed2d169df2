"""Which built-in edition has a figure or a range for which crop name: for the README's table and its test.

It asks the rules what they hold, cell by cell, and not the engine that answers with them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from loamwright.files import guidelines
from loamwright.files.reference import crop_names
from loamwright.needs.publication import Guideline, Status
from loamwright.values import Nutrient

README = Path(__file__).parent.parent / "README.md"
#: A letter for each edition that prints rates: capital where it is whole and from its publisher's page.
LETTERS = {
    "umn-forage-2011": "A",
    "umn-oats": "B",
    "nc-wildlife-2014": "C",
    "osu-nitrogen": "D",
    "ontario-corn-p2o5": "e",
    "clemson-matrix": "f",
    "uk-silage-2010": "g",
    "ireland-2022": "h",
    "norway-nibio": "i",
    "removal-maintenance": "j",
    "removal-wider": "k",
    "removal-yearly": "m",
}
NONE = "–"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    crop: str
    nitrogen: str
    phosphate: str
    potash: str


def holds(guideline: Guideline, nutrient: Nutrient, crop: str) -> bool:
    """Tell whether an edition holds any figure or range for a nutrient of its own crop."""
    tables = [t for t in guideline.tables if t.nutrient is nutrient and crop in t.crops]
    if any(row.value is not None or row.between is not None for table in tables for row in table.rows):
        return True
    rules = (
        *guideline.equations,
        *guideline.quadratics,
        *guideline.norms,
        *guideline.maintenances,
        *guideline.takeaways,
    )
    return any(rule.nutrient is nutrient and crop in rule.crops for rule in rules)


def coverage(name: str, editions: tuple[str, ...] = tuple(LETTERS)) -> Row:
    """Work out one line; a mixture gets nothing until somebody says which rule governs."""
    cells = dict.fromkeys((Nutrient.N, Nutrient.P2O5, Nutrient.K2O), "")
    for edition in editions:
        guideline = guidelines.load_guideline(edition)
        crop = guideline.crop(*crop_names().same(name))
        for nutrient in cells:
            if crop is not None and holds(guideline, nutrient, crop.name):
                cells[nutrient] += LETTERS[edition]
    return Row(name, *(cell or NONE for cell in cells.values()))


def rows_of_readme() -> list[Row]:
    """Read the table between its two marks."""
    text = README.read_text(encoding="utf-8")
    table = text.partition("<!-- fifty crops -->")[2].partition("<!-- end -->")[0]
    lines = re.findall(r"^\| (.+?) \| (\S+) \| (\S+) \| (\S+) \|$", table, re.MULTILINE)
    return [Row(*cells) for cells in lines if cells[0] != "crop" and not cells[0].startswith("---")]


def every_edition_has_a_letter() -> bool:
    """Tell whether the letters cover the editions that print rates."""
    silent = (Status.CLASSES, Status.MAXIMUM)
    printing = {
        info.guideline_id
        for info in guidelines.guideline_editions()
        if info.status not in silent and info.crops and not info.guideline_id.endswith("-lime")
    }
    return printing == set(LETTERS)
