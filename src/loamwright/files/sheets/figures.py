"""From a column's heading and a cell to a reading: unit, test, limit, rating, and what must be asked.

Units and tests come from the heading, from a sentence around the table, or from an answer, in this order.
What none of them tells is asked once for all columns alike; the figure is kept without it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from loamwright.files.grids import Cell
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.records import LabReading
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.words.depths import read_depth
from loamwright.files.sheets.words.figures import Printed, decimal_comma_of, read_printed
from loamwright.files.sheets.words.headings import SAME_NUMBER, Heading
from loamwright.files.sheets.words.measures import systems
from loamwright.files.sheets.words.vocabulary import Analyte, means, plain, vocabulary

DECIMAL_COMMA, THOUSANDS_COMMA = "decimal comma", "comma between thousands"

#: Answers offered for the unit of soil readings that name none.
READING_UNITS = ("ppm", "mg/kg", "mg/L", "mg/100 g", "lb/acre", "kg/ha", "meq/100 g", "cmol(+)/kg", "index")

_CHARGE_UNITS = ("meq/100 cm3", "meq/100 g")

FAMILY_TESTS: Mapping[str, tuple[str, ...]] = {
    "P": (
        "Bray P1",
        "Mehlich-3",
        "Mehlich-3 ICP",
        "Olsen",
        "Mehlich-1",
        "Morgan",
        "modified Morgan",
        "Colwell",
    ),
    "cations": ("ammonium acetate", "Mehlich-3", "Mehlich-3 ICP", "Mehlich-1", "Morgan", "modified Morgan"),
    "S": ("calcium phosphate", "Mehlich-3", "ammonium acetate", "KCl-40"),
    "B": ("hot water", "Mehlich-3", "hot CaCl2", "DTPA-sorbitol"),
    "metals": ("DTPA", "Mehlich-3", "Mehlich-3 ICP", "HCl", "Mehlich-1"),
}
NITRATE_N, NITRATE = "nitrate-N", "nitrate itself"
BUFFERS = ("SMP", "Sikora", "Mehlich", "modified Mehlich", "Adams-Evans", "Woodruff", "Moore-Sikora")


#: What a figure can be at all, by unit or kind of analyte (ours: wider than any soil).
_BOUNDS = {"pH": (0.0, 14.0), "buffer": (0.0, 14.0), "%": (0.0, 100.0)}


@dataclass(frozen=True, slots=True)
class Kind:
    """Unit, test and basis of the readings of one column, and which of them hang on a question."""

    analyte: Analyte
    unit: str | None
    test: str | None
    unit_inferred: bool = False
    basis: str | None = None
    as_printed: str | None = None
    calculated: bool = False
    asked: tuple[str, ...] = ()


@dataclass(slots=True)
class ColumnReader:
    """Reads cells by their headings; settles number style, units and tests for a sheet.

    Parameters
    ----------
    statements
        What is stated around the tables.
    inquiry
        Collects questions.
    decimal_comma
        The sheet's number style; None when no number tells.
    """

    statements: Statements
    inquiry: Inquiry
    decimal_comma: bool | None = None
    kinds: dict[Heading, Kind] = field(default_factory=dict)
    names: dict[Heading, str] = field(default_factory=dict)
    by_volume: bool = False  #: a scoop's weight is printed: charges may be of a volume of soil

    def settle_numbers(self, texts: Iterable[str], system: str) -> None:
        """Settle the sheet's decimal mark from all its cells; a sheet in US units has a decimal point."""
        self.decimal_comma = decimal_comma_of(texts)
        if self.decimal_comma is None and system == "us":
            self.decimal_comma = False

    def style_of(self, cells: Sequence[Cell]) -> bool | None:
        """Return a column's decimal mark, or the sheet's."""
        own = decimal_comma_of(cell.text for cell in cells if cell.number is None)
        return self.decimal_comma if own is None else own

    def read(self, cell: Cell, style: bool | None, name: str, where: str) -> Printed:
        """Read a cell; a number with two readings is asked about, for its column."""
        printed = read_printed(cell.text, style)
        if not printed.choices:
            return printed
        as_decimal, as_thousands = printed.choices
        answer = self.inquiry.ask(
            f"number.{slug(name)}",
            f"is {cell.text!r} {as_decimal:g} or {as_thousands:g}",
            f"column {name!r}, {where}",
            (DECIMAL_COMMA, THOUSANDS_COMMA),
        )
        if answer in (DECIMAL_COMMA, THOUSANDS_COMMA):
            # where commas are decimal marks, a point stands between thousands
            decimals = (answer == DECIMAL_COMMA) == ("," in cell.text)
            return replace(printed, choices=(), value=as_decimal if decimals else as_thousands)
        return printed

    # -----------------------------------------------------------------------------------------
    # Units and tests

    def understand(self, headings: Sequence[Heading], names: Mapping[Heading, str], system: str) -> None:
        """Settle unit and test of every reading column, and ask for what is missing, each thing once."""
        self.names |= names
        readings = [h for h in headings if h.analyte is not None and h.role in ("reading", "index", "ask")]
        self.by_volume = any(h.analyte and h.analyte.name == "weight per volume" for h in readings)
        for heading in readings:
            self.kinds.setdefault(heading, self._kind(heading, names))
        self._ask_units([h for h in readings if self._needs_unit(h)], names)
        self._ask_tests([h for h in readings if self._needs_test(h)], names)
        self._customs()

    def _kind(self, heading: Heading, names: Mapping[Heading, str]) -> Kind:
        analyte = heading.analyte
        assert analyte is not None
        asked: list[str] = []
        unit, inferred = heading.unit, False
        if heading.role == "index":
            unit = "index"
        elif len(heading.units) > 1 and unit is None:
            name = names[heading]
            unit = self.inquiry.ask(
                f"unit.{slug(name)}",
                f"unit of {name!r}: it names {' and '.join(heading.units)}",
                name,
                heading.units,
            )
            unit = None if unit == NOT_KNOWN else unit
            asked.append("unit")
        elif unit is None:
            unit = self.statements.unit_for(analyte)
            if unit is None and self.by_volume and analyte.name in ("acidity", "CEC"):
                unit = self._charge_unit()
                asked.extend([] if unit else ["unit"])
            elif unit is None and analyte.unit:
                unit, inferred = analyte.unit, True
        tests = heading.tests
        if not tests and not (heading.unclear_tests and analyte.kind == "nutrient"):
            tests = self.statements.test_for(analyte)
        test = tests[0].name if len(tests) == 1 else None
        if len(tests) > 1:
            name = names[heading]
            choices = tuple(test.name for test in tests)
            test = self.inquiry.ask(
                f"test.{slug(name)}", f"test of {name!r}: it names {' and '.join(choices)}", name, choices
            )
            test = None if test == NOT_KNOWN else test
            asked.append("test")
        if heading.role == "ask":
            asked.append("test")
        oxide = analyte.form == "oxide" or (heading.basis is not None and _is_oxide(heading.basis, analyte))
        basis = (heading.basis if analyte.form != "oxide" else analyte.name) if oxide else None
        if analyte.name == "NO3" and (basis := self._nitrate_basis(names[heading])) == NOT_KNOWN:
            basis = None
            asked.append("basis")
        printed = None if analyte.name == analyte.element or oxide else analyte.name
        no_unit = unit == "none"
        return Kind(
            analyte,
            None if no_unit else unit,
            test,
            inferred and not no_unit,
            basis,
            printed,
            heading.calculated and analyte.kind == "nutrient",
            tuple(asked),
        )

    def _nitrate_basis(self, name: str) -> str | None:
        """Ask what a column headed NO3 is of: many laboratories mean its nitrogen, which is 14/62 of it."""
        about = f"whether {name!r} is nitrate itself or its nitrogen (nitrate-N)"
        answer = self.inquiry.ask("basis.no3", about, f"column {name!r}", (NITRATE_N, NITRATE))
        return {NITRATE_N: None, NITRATE: "NO3"}.get(answer or "", NOT_KNOWN)

    def _charge_unit(self) -> str | None:
        """Ask what acidity and exchange capacity are of: weight, or volume where a lab weighs its scoop."""
        about = (
            "unit of acidity and exchange capacity: the lab weighs its scoop and may mean a volume of soil"
        )
        unit = self.inquiry.ask("unit.charge", about, "columns of acidity and CEC", _CHARGE_UNITS)
        return None if unit == NOT_KNOWN else unit

    def _needs_unit(self, heading: Heading) -> bool:
        kind = self.kinds[heading]
        return kind.unit is None and not kind.analyte.unit and "unit" not in kind.asked

    def _needs_test(self, heading: Heading) -> bool:
        kind = self.kinds[heading]
        asks = kind.analyte.family or kind.analyte.kind == "buffer"
        return kind.test is None and bool(asks) and "test" not in kind.asked

    def _ask_units(self, headings: Sequence[Heading], names: Mapping[Heading, str]) -> None:
        if not headings:
            return
        listed = ", ".join(dict.fromkeys(names[heading] for heading in headings))
        answer = self.inquiry.ask("unit", f"unit of {listed}", f"columns {listed}", READING_UNITS)
        for heading in headings:
            kind = self.kinds[heading]
            if answer is None:
                self.kinds[heading] = replace(kind, asked=(*kind.asked, "unit"))
            elif answer != NOT_KNOWN:
                self.kinds[heading] = replace(kind, unit=answer)

    def _ask_tests(self, headings: Sequence[Heading], names: Mapping[Heading, str]) -> None:
        families: dict[str, list[Heading]] = {}
        for heading in headings:
            analyte = self.kinds[heading].analyte
            families.setdefault(analyte.family or analyte.kind, []).append(heading)
        for family, members in families.items():
            elements = ", ".join(dict.fromkeys(self.kinds[heading].analyte.element for heading in members))
            listed = ", ".join(dict.fromkeys(names[heading] for heading in members))
            if family == "buffer":
                answer = self.inquiry.ask("buffer", f"which buffer {listed} is", f"column {listed}", BUFFERS)
            else:
                answer = self.inquiry.ask(
                    f"test.{family}", f"extractant of {elements}", f"columns {listed}", FAMILY_TESTS[family]
                )
            for heading in members:
                kind = self.kinds[heading]
                if answer is None:
                    self.kinds[heading] = replace(kind, asked=(*kind.asked, "test"))
                elif answer != NOT_KNOWN:
                    self.kinds[heading] = replace(kind, test=answer)

    def _customs(self) -> None:
        """Fill a method a sheet never prints because all of its kind use it ("pH in water")."""
        tests = {kind.test for kind in self.kinds.values()}
        for test, analyte, method in vocabulary().customs:
            if test not in tests:
                continue
            for heading, kind in self.kinds.items():
                if kind.analyte.name == analyte and kind.test is None:
                    self.kinds[heading] = replace(kind, test=method)

    # -----------------------------------------------------------------------------------------
    # Readings

    def reading(self, heading: Heading, printed: Printed, text: str | None = None) -> LabReading | None:
        """Turn a printed figure into a reading; None when the cell is blank."""
        printed = self._figure(heading, printed)
        if printed.blank:
            return None
        kind = self.kinds[heading]
        unit, unit_is_asked = self._unit_of(heading, printed)
        asked = (*kind.asked, "unit") if unit_is_asked else kind.asked
        below, note = printed.below, None
        if printed.not_detected:
            below = self.limit(printed.printed, kind.analyte)
            note = None if below is not None else "not detected; the sheet gives no limit"
        elif not printed.is_number and heading.role != "index":
            note, asked = "not understood as a figure", (*asked, "value")
        value, factor = printed.value, kind.analyte.factor
        extracted = kind.analyte.kind == "nutrient"
        test_field = "extractant" if extracted else "method"
        return LabReading(
            text or printed.printed,
            value if value is None or factor is None else round(value * factor, 6),
            unit,
            extractant=kind.test if extracted else None,
            method=None if extracted else kind.test,
            basis=kind.basis,
            below=below,
            above=printed.above,
            rating=printed.rating,
            index=printed.text if heading.role == "index" else None,
            as_printed=kind.as_printed,
            derived_from="calculated by the lab, not measured" if kind.calculated else None,
            unit_inferred=kind.unit_inferred and unit == kind.unit,
            note=note,
            candidates=tuple(test_field if name == "test" else name for name in dict.fromkeys(asked)),
        )

    def _figure(self, heading: Heading, printed: Printed) -> Printed:
        """Ask about a cell that is no figure, or one that cannot be."""
        kind = self.kinds[heading]
        low, high = _BOUNDS.get(kind.unit or kind.analyte.kind, (0.0, math.inf))
        if kind.analyte.factor is None and printed.value is not None and not low <= printed.value <= high:
            wrong = f"{printed.printed!r} cannot be a figure of {self.names[heading]!r}"
        elif (
            printed.blank
            or printed.choices
            or printed.not_detected
            or printed.is_number
            or heading.role == "index"
        ):
            return printed
        else:
            wrong = f"{printed.printed!r} under {self.names[heading]!r} is no figure"
        ident = f"cell.{slug(self.names[heading])}.{slug(printed.printed)}"
        choices = ("not tested", "<number>")
        answer = self.inquiry.ask(
            ident,
            wrong,
            f"column {self.names[heading]!r}",
            choices,
            accepts=lambda text: read_printed(text).is_number,
        )
        if answer is None or answer == NOT_KNOWN:
            return replace(printed, value=None, text=printed.printed)
        return replace(read_printed(answer), printed=printed.printed)

    def _unit_of(self, heading: Heading, printed: Printed) -> tuple[str | None, bool]:
        """Return a figure's unit, and whether it is asked: a cell may contradict its heading."""
        kind = self.kinds[heading]
        own = printed.unit
        if own in (None, "none", kind.unit) or {kind.unit, own} in SAME_NUMBER:
            return kind.unit, False
        if kind.unit is None or kind.unit_inferred:
            return own, False
        name = self.names[heading]
        about = f"unit of {printed.printed!r}: the heading says {kind.unit}"
        answer = self.inquiry.ask(f"unit.{slug(name)}", about, name, (kind.unit, own or ""))
        return (own, True) if answer is None else (None if answer == NOT_KNOWN else answer, False)

    def limit(self, mark: str, analyte: Analyte) -> float | None:
        """Return the limit a mark such as "ND" stands for."""
        stated = self.statements
        return stated.limit_of.get((plain(mark), analyte.element), stated.limits.get(plain(mark)))


def _is_oxide(basis: str, analyte: Analyte) -> bool:
    of = vocabulary().analyte_names.get(basis)
    return of is not None and of.form == "oxide" and of.element == analyte.element


def slug(name: str) -> str:
    """Return a name as part of a question's id."""
    return re.sub(r"[^a-z0-9]+", "-", plain(name)).strip("-") or "column"


def system_of(headings: Iterable[Heading], depths: Iterable[str] = ()) -> str:
    """Return the system of units a sheet is in, "us", "metric" or "" when neither is told."""
    units = [unit for heading in headings for unit in heading.units if unit in vocabulary().units]
    units += [depth.unit for text in depths if (depth := read_depth(text)) is not None and depth.unit]
    found = systems(tuple(units))
    return "us" if "us" in found else ("metric" if "metric" in found else "")


def is_rating(text: str) -> bool:
    """Tell whether a text is a rating."""
    return means("rating", text) is not None or bool(re.fullmatch(r"[*+]{1,5}", text.strip()))


def printed_numbers(cells: Sequence[Cell]) -> list[str]:
    """Return the texts of a column; a stored whole number among stored tenths is shown with its ".0".

    A workbook drops the zero of 3.0 in a column of 4.4 and 14.4.
    """
    tenths = any(cell.number is not None and "." in cell.text for cell in cells)
    return [
        f"{cell.text}.0" if tenths and cell.number is not None and cell.text.isdigit() else cell.text
        for cell in cells
    ]
