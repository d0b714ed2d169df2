"""The sections of a guideline edition that print rates: tables, equations, formulas, removals, classes.

A table may hold one crop and nutrient, or a column ``crop`` and a column ``nutrient``; its rates may be
figures, ranges (``0 to 60``) or parts (``60 + 80``); its classes may be printed by a soil test, by an index,
or by both. What stands in the file is what is kept: conversions happen when a rule answers.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

from loamwright.errors import UnitError
from loamwright.files.edition_parts import ELEMENT_OF, Parts
from loamwright.files.sections import Amounts, CsvTable, Row, Section, read_csv
from loamwright.needs import (
    CONDITIONS,
    YIELD,
    Cell,
    ClassTable,
    Equation,
    Kept,
    Norm,
    Parabola,
    Quadratic,
    RateRow,
    RateTable,
    Span,
    Takeaway,
    Taken,
    parse_span,
)
from loamwright.soil import INDEX_UNITS, Extractant, read_extractant
from loamwright.values import Nutrient, Source

#: Column of a rate table whose source names no soil test.
TEST_NOT_NAMED = "test not named"
_OWN_COLUMNS = ("rate", "remark", "crop", "nutrient", "yield unit", "index", YIELD, *CONDITIONS)
#: What a removal is per: "lb/bu" leaves with bu/acre and is answered in lb/acre, "kg/t" with t/ha in kg/ha.
_PER = {"lb": "acre", "kg": "ha"}


class TableReader(Parts):
    """Reads the sections that print rates or classes."""

    # -- tables ------------------------------------------------------------------------------

    def _tables(self, section: Section) -> tuple[RateTable, ...]:
        """Read one section: one table, or one for each crop and nutrient its file names."""
        if not section.has("file"):
            amounts, remark = section.amounts("rate"), section.text("remark")
            if amounts is None and not remark:
                self.report.error(section.where, "it has no file, no rate and no remark", "Add one of them")
            single = RateRow({}, {}, None, remark, 0)
            if amounts is not None:
                single = RateRow({}, {}, amounts.value, remark, 0, None, amounts.between, amounts.printed)
            table = self._rate_table(section, self._nutrient(section), self._crops(section), (single,), ())
            section.done()
            return (table,)
        read = read_csv(self.folder, section, "file", ["rate"])
        tests = self._test_columns(section, read)
        edges = self._index_edges(section, read)
        nutrient = None if "nutrient" in read.columns else self._nutrient(section)
        crops = () if "crop" in read.columns else self._crops(section)
        groups: dict[tuple[Nutrient, tuple[str, ...], str], list[Row]] = {}
        for row in read.rows:
            key = (
                nutrient or self._row_nutrient(row),
                crops or self._row_crops(row),
                row.cells.get("yield unit", ""),
            )
            groups.setdefault(key, []).append(row)
        result = tuple(
            self._group(section, read, key, rows, tests, edges) for key, rows in groups.items()
        ) or (self._rate_table(section, nutrient or Nutrient.N, crops, (), ()),)
        section.done()
        return result

    def _row_nutrient(self, row: Row) -> Nutrient:
        name = row.cells["nutrient"]
        if name in set(Nutrient):
            return Nutrient(name)
        known = ", ".join(Nutrient)
        self.report.error(f"{row.where}, column nutrient", f"{name!r} is no nutrient", f"Use one of: {known}")
        return Nutrient.N

    def _row_crops(self, row: Row) -> tuple[str, ...]:
        crops = row.names("crop")
        if not crops:
            self.report.error(f"{row.where}, column crop", "no crop is named", "Name it")
        self._check_crops(f"{row.where}, column crop", crops)
        return crops

    def _group(
        self,
        section: Section,
        read: CsvTable,
        key: tuple[Nutrient, tuple[str, ...], str],
        lines: Sequence[Row],
        tests: Mapping[str, Extractant | None],
        edges: Mapping[str, Mapping[Extractant, Span]],
    ) -> RateTable:
        nutrient, crops, yield_unit = key
        if yield_unit:
            self._check_yield_unit(f"{lines[0].where}, column yield unit", yield_unit)
        whole = len(lines) == len(read.rows)
        columns = [column for column in read.columns if whole or any(line.cells[column] for line in lines)]
        rows = tuple(self._rate_row(line, columns, tests, edges) for line in lines)
        if not set(read.columns) - {*tests, *_OWN_COLUMNS}:  # rows differ in what a strange column says
            self._check_rows(rows, lines)
        having = tuple(dict.fromkeys(test for row in rows for test in row.soil))
        listed = tuple(test for test in (*tests.values(), *having) if test in having)
        return self._rate_table(section, nutrient, crops, rows, tuple(dict.fromkeys(listed)), yield_unit)

    def _rate_table(
        self,
        section: Section,
        nutrient: Nutrient,
        crops: tuple[str, ...],
        rows: tuple[RateRow, ...],
        tests: tuple[Extractant | None, ...],
        yield_unit: str = "",
    ) -> RateTable:
        index_unit = section.choice("index_unit", INDEX_UNITS, "")
        stated = self._extractants(section) if section.has("extractants") else ()
        named = tuple(test for test in tests if test is not None)
        return RateTable(
            nutrient=nutrient,
            crops=crops,
            rate_unit=self._rate_unit(section),
            rows=rows or (RateRow({}, {}, None, "", 0),),
            source=self._source(section),
            element=section.text("soil") or (ELEMENT_OF.get(nutrient, nutrient.value) if tests else ""),
            soil_unit=self._soil_unit(section),
            extractants=None if None in tests else (named or stated),
            assumed_extractants=self._assumed(section),
            yield_unit=yield_unit or self._yield_unit(section),
            note=section.text("note"),
            index_unit=index_unit,
            rate_basis=self._rate_basis(section, nutrient),
            nitrate_counts=section.choice("nitrate", ["counted"], "") == "counted",
        )

    def _test_columns(self, section: Section, read: CsvTable) -> dict[str, Extractant | None]:
        """Find the soil test columns: heading to test, None for a test the source does not name."""
        tests: dict[str, Extractant | None] = {}
        for column in read.columns:
            if column in _OWN_COLUMNS:
                continue
            test = read_extractant(column)
            if test is None and column != TEST_NOT_NAMED:
                self.report.error(
                    f"{read.where}, row 1",
                    f"the column {column!r} is neither a soil test nor a condition",
                    f"Conditions: {', '.join((YIELD, *CONDITIONS))}. Soil tests: {', '.join(Extractant)}",
                )
                continue
            tests[column] = test
        by_nutrient = "nutrient" in read.columns
        if (tests or "index" in read.columns) and not section.has("soil") and not by_nutrient:
            self.report.error(f"{section.where}, soil", "the soil element is missing", 'Add soil = "P"')
        by_unit = section.has("yield_unit") or "yield unit" in read.columns
        if YIELD in read.columns and not by_unit:
            self.report.error(f"{section.where}, yield_unit", "it is missing", 'Add yield_unit = "ton/acre"')
        if "index" in read.columns and not section.has("index_unit"):
            listed = ", ".join(INDEX_UNITS)
            self.report.error(f"{section.where}, index_unit", "it is missing", f"Add one of: {listed}")
        return tests

    def _index_edges(self, section: Section, read: CsvTable) -> dict[str, Mapping[Extractant, Span]]:
        """Read the edges of an index: its class to the soil figures that make it."""
        if not section.has("index_edges"):
            return {}
        found = read_csv(self.folder, section, "index_edges", ["index"])
        tests = {c: test for c in found.columns if c != "index" and (test := self._test(found.where, c))}
        edges: dict[str, Mapping[Extractant, Span]] = {
            row.cells["index"]: {test: span for column, test in tests.items() if (span := row.span(column))}
            for row in found.rows
        }
        for row in read.rows:
            if row.cells.get("index", "") not in edges:
                what = f"index {row.cells.get('index', '')!r} has no edges in {found.where}"
                self.report.error(f"{row.where}, column index", what, "Complete one of them")
        return edges

    def _rate_row(
        self,
        row: Row,
        columns: Sequence[str],
        tests: Mapping[str, Extractant | None],
        edges: Mapping[str, Mapping[Extractant, Span]],
    ) -> RateRow:
        spans: dict[Extractant | None, Span] = {}
        conditions: dict[str, Cell] = {}
        for column in columns:
            if column in tests:
                span = row.span(column)
                if span is not None:
                    spans[tests[column]] = span
            elif column in ("previous crop", "texture"):
                conditions[column] = row.names(column) or None
            elif column == "seeding":
                conditions[column] = row.yes_no(column)
            elif column in (YIELD, *CONDITIONS):
                conditions[column] = row.span(column)
        index = self._index(row) if "index" in columns else None
        if index is not None:
            for test, span in edges.get(index.text, {}).items():
                spans[test] = span
        amounts = row.amounts("rate") or Amounts(0.0, 0.0, "")
        return RateRow(
            spans,
            conditions,
            amounts.value if row.cells["rate"] else None,
            row.cells.get("remark", ""),
            row.line,
            index,
            amounts.between,
            amounts.printed,
        )

    def _index(self, row: Row) -> Span | None:
        """Read an index class: ``3``, ``4+``, or a half such as ``2-``, which counts as 2."""
        text = row.cells["index"]
        half = text.endswith("-") or text == "2+"
        try:
            span = parse_span(text.rstrip("+-") if half else text)
        except UnitError as error:
            self.report.error(f"{row.where}, column index", str(error), "Write the index as printed")
            return None
        return Span(text, span.low, span.high, span.low_outside, span.high_outside, span.decimals)

    def _check_rows(self, rows: Sequence[RateRow], lines: Sequence[Row]) -> None:
        """Look for doubled rows, then at the classes of each test within like conditions."""
        seen: dict[str, int] = {}
        groups: dict[str, list[tuple[RateRow, Row]]] = {}
        for row, line in zip(rows, lines, strict=True):
            conditions = repr(sorted(row.conditions.items()))
            key = conditions + repr(row.soil) + repr(row.index)
            if key in seen:
                self.report.error(line.where, f"it repeats the conditions of row {seen[key]}", "Remove one")
            seen[key] = row.line
            groups.setdefault(conditions, []).append((row, line))
        tests = dict.fromkeys(test for row in rows for test in row.soil)
        sizes = {
            (test, len([1 for row, _ in group if test in row.soil]))
            for group in groups.values()
            for test in tests
        }
        for test, group in itertools.product(tests, groups.values()):
            having = [(row.soil[test], row.value, line) for row, line in group if test in row.soil]
            most = max(size for name, size in sizes if name == test)
            if 0 < len(having) < most:
                self.report.warn(
                    having[0][2].where,
                    f"its block has {len(having)} soil classes and another has {most}",
                    "Check that no row is missing",
                )
            self._check_classes(having)

    def _check_classes(self, having: Sequence[tuple[Span, float | None, Row]]) -> None:
        ordered = sorted(having, key=lambda item: (item[0].low is not None, item[0].low or 0.0))
        for (below, better_of, _), (above, rate, line) in itertools.pairwise(ordered):
            edge, start = below.high, above.low
            step = 10.0 ** -max(below.decimals, above.decimals)
            meets = below.high_outside != above.low_outside
            if edge is None or start is None or start < edge or (start == edge and not meets):
                self.report.error(
                    line.where, f"class {above.text} overlaps class {below.text}", "Correct them"
                )
            elif start - edge > step * 1.5:
                what = f"no class stands between {below.text} and {above.text}"
                self.report.warn(line.where, what, "Check against the print")
            if better_of is not None and rate is not None and rate > better_of:
                what = f"the rate rises from {better_of:g} to {rate:g} with a better soil test"
                self.report.warn(line.where, what, "Check against the print")

    def _equation(self, section: Section) -> Equation:
        name = section.text("extractant", None)
        test = self._test(f"{section.where}, extractant", name) if name else None
        result = Equation(
            nutrient=self._nutrient(section),
            crops=self._crops(section),
            rate_unit=self._rate_unit(section),
            element=section.text("soil", None),
            soil_unit=self._soil_unit(section),
            extractant=test or Extractant.BRAY_P1,
            intercept=section.required_number("intercept"),
            slope=section.required_number("slope"),
            yield_unit=self._yield_unit(section) or section.text("yield_unit", None),
            source=self._source(section),
        )
        section.done()
        return result

    # -- formulas ----------------------------------------------------------------------------

    def _quadratic(self, section: Section) -> Quadratic:
        """Read a parabola of a soil figure from the file of its publication's equations."""
        read = read_csv(self.folder, section, "file", ["equation", "squared", "linear", "constant"])
        rows = {row.cells["equation"]: row for row in read.rows}

        def curve(key: str, required: bool) -> Parabola | None:
            name = section.text(key, None if required else "")
            row = rows.get(name)
            if name and row is None:
                self.report.error(
                    f"{section.where}, {key}", f"equation {name!r} is not in {read.where}", "Correct it"
                )
            if row is None:
                return None
            figures = [row.signed(column) for column in ("squared", "linear", "constant")]
            if figures[0] <= 0:
                what = f"{figures[0]:g} is not above zero"
                self.report.error(f"{row.where}, column squared", what, "A falling parabola opens upward")
                return None
            return Parabola(name, *figures)

        nutrient = self._nutrient(section)
        result = Quadratic(
            nutrient=nutrient,
            crops=self._crops(section),
            rate_unit=self._rate_unit(section),
            element=section.text("soil", None),
            soil_unit=self._soil_unit(section),
            extractants=self._extractants(section),
            curve=curve("equation", True) or Parabola("", 1.0, 0.0, 0.0),
            organic=curve("organic_equation", False),
            margin=section.number("margin") or 0.0,
            source=self._source(section),
        )
        section.done()
        return result

    def _norms(self, section: Section) -> tuple[Norm, ...]:
        """Read rates at a printed yield, one for each crop of the file."""
        nutrient = self._nutrient(section)
        column = section.text("column", None)
        read = read_csv(self.folder, section, "file", ["crop", YIELD, column, f"{column} change"])
        holds = section.numbers("holds", 2) if section.has("holds") else ()
        unit = self._yield_unit(section)
        per = section.required_number("per_yield")
        result = []
        for row in read.rows:
            crops, expected = row.names("crop"), row.figure(YIELD)
            base, change = row.figure(column), row.figure(f"{column} change")
            if expected is None or base is None or change is None or not crops:
                self.report.error(row.where, "it needs crop, yield, rate and change", "Complete the row")
                continue
            self._check_crops(f"{row.where}, column crop", crops)
            result.append(
                Norm(
                    nutrient=nutrient,
                    crop=crops[0],
                    rate_unit=self._rate_unit(section),
                    rate_basis=self._rate_basis(section, nutrient),
                    expected=expected,
                    yield_unit=unit,
                    base=base,
                    change=change,
                    per_yield=per or 1.0,
                    source=self._source(section),
                    element=section.text("soil"),
                    soil_unit=self._soil_unit(section),
                    extractants=self._extractants(section) if holds else (),
                    holds=Span(f"{holds[0]:g} to {holds[1]:g}", holds[0], holds[1]) if holds else None,
                    note=section.text("note"),
                )
            )
        section.done()
        return tuple(result)

    def _takeaways(self, section: Section) -> tuple[Takeaway, ...]:
        """Read what harvests take away, for each nutrient the file has a column of."""
        read = read_csv(self.folder, section, "file", ["crop", "per", "publication"])
        kept = read_csv(self.folder, section, "returns", ["animal", "publication"])
        source = self._source(section)
        result = []
        for nutrient in [Nutrient(name) for name in read.columns if name in set(Nutrient)]:
            taken: dict[str, Taken] = {}
            for row in read.rows:
                amounts, crops = row.amounts(nutrient.value), row.names("crop")
                mass, _, per = row.cells["per"].partition("/")
                self._check_crops(f"{row.where}, column crop", crops[:1])
                if mass not in _PER or not per:
                    what = f"{row.cells['per']!r} is no amount per unit of yield"
                    self.report.error(f"{row.where}, column per", what, "Write lb/bu, lb/ton, lb/cwt or kg/t")
                elif amounts is not None and crops:
                    self.aliases[crops[0]] = crops[1:]
                    taken[crops[0]] = Taken(
                        amounts.low,
                        amounts.high,
                        yield_unit=f"{per}/{_PER[mass]}",
                        rate_unit=f"{mass}/{_PER[mass]}",
                        note=row.cells.get("note", ""),
                        source=replace(self._row_source(row), table="removal", row=crops[0]),
                    )
            shares = tuple(
                Kept(row.names("animal"), share / 100, self._row_source(row))
                for row in kept.rows
                if (share := row.figure(f"{nutrient.value} kept")) is not None
            )
            result.append(Takeaway(nutrient, taken, shares, source))
        section.done()
        return tuple(result)

    def _row_source(self, row: Row) -> Source:
        return Source(row.cells["publication"], row.cells.get("edition", ""))

    def _class_table(self, section: Section) -> ClassTable:
        """Read what a publication calls soil figures."""
        read = read_csv(self.folder, section, "file", ["class"])
        classes: dict[str, tuple[tuple[str, Span], ...]] = {}
        for element in (column for column in read.columns if column != "class"):
            having = [(row.cells["class"], span, row) for row in read.rows if (span := row.span(element))]
            self._check_classes([(span, None, row) for _, span, row in having])
            classes[element] = tuple((word, span) for word, span, _ in having)
        result = ClassTable(
            classes, self._soil_unit(section), self._extractants(section), self._source(section)
        )
        section.done()
        return result
