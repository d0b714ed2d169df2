"""From the files of one guideline edition to its rules.

One folder is one edition of one publication. ``guideline.toml`` says what it is and lists its rules;
a rule with many figures keeps them in a CSV file beside it, row for row and unit for unit as
printed. This file turns them into the rules of `publication`, `lime_rules` and `credits` and checks
them on the way: unknown soil tests and crops, doubled rows, classes that overlap or leave a hole,
rates that rise with a better soil test. Which editions exist is `guidelines`' business.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

from loamwright import needs
from loamwright.errors import UnitError
from loamwright.files.edition_parts import MAIN_FILE
from loamwright.files.edition_tables import TableReader
from loamwright.files.sections import CsvTable, Row, Section, read_csv
from loamwright.needs import (
    Crop,
    Guideline,
    LegumeRow,
    LegumeTable,
    Level,
    LimeRule,
    Maintenance,
    ManureTable,
    MatrixCell,
    RatingMatrix,
    Removal,
    Span,
    Split,
    Status,
)
from loamwright.soil import RATE_UNITS_KG_HA, Extractant, plain_name
from loamwright.units import read_number
from loamwright.values import LimeBasis, Nutrient, Source, Timing

__all__ = ["MAIN_FILE", "Edition"]

FORMAT = 1

_RATE_UNITS = tuple(RATE_UNITS_KG_HA)
_LIME_FORMS = ("buffer table", "flat", "acidity", "acidity by pH")


class Edition(TableReader):
    """Reads the rules of one edition folder.

    Parameters
    ----------
    folder
        The edition's folder; its name is the edition's id.
    data
        What ``guideline.toml`` holds.
    report
        Collects the problems.
    """

    def guideline(self) -> Guideline:
        """Read everything."""
        main = self.main
        if main.number("format") != FORMAT:
            found = main.data.get("format")
            self.report.error(
                f"{main.where}, format", f"{found!r} is not {FORMAT}", f"Write format = {FORMAT}"
            )
        crops = tuple(self._crop(section) for section in main.sections("crop"))
        self.crop_names = tuple(crop.name for crop in crops)
        status = Status(main.choice("status", list(Status), Status.USER.value) or Status.USER)
        if status not in (Status.DEFAULT, Status.USER) and not main.has("why"):
            self.report.error(f"{main.where}, why", f"an edition that is {status} says why", 'Add why = "…"')
        spellings = [plain_name(text) for crop in crops for text in (crop.name, *crop.aliases)]
        for twice in sorted({text for text in spellings if spellings.count(text) > 1}):
            self.report.error(f"{main.where}, crop", f"the name {twice!r} stands for two crops", "Remove one")
        result = Guideline(
            guideline_id=self.folder.name,
            publisher=main.text("publisher", None),
            title=main.text("title", None),
            edition=main.text("edition", None),
            url=main.text("url"),
            short=main.text("short") or main.text("title"),
            status=status,
            why=main.text("why"),
            region=self._region(),
            crops=crops,
            tables=tuple(t for section in main.sections("table") for t in self._tables(section)),
            equations=tuple(self._equation(section) for section in main.sections("equation")),
            maintenances=tuple(self._maintenance(section) for section in main.sections("maintenance")),
            matrices=tuple(self._matrix(section) for section in main.sections("matrix")),
            splits=tuple(self._split(section) for section in main.sections("split")),
            lime=tuple(rule for section in main.sections("lime") if (rule := self._lime(section))),
            legumes=tuple(self._legumes(section) for section in main.sections("legume_credit")),
            manure=next((self._manure(section) for section in main.sections("manure")), None),
            about=main.text("about"),
            quadratics=tuple(self._quadratic(section) for section in main.sections("quadratic")),
            norms=tuple(n for section in main.sections("norm") for n in self._norms(section)),
            takeaways=tuple(t for section in main.sections("removal") for t in self._takeaways(section)),
            classes=tuple(self._class_table(section) for section in main.sections("classes")),
        )
        if not self.lists_crops:
            crops = tuple(Crop(name, self.aliases.get(name, ())) for name in self.crop_names)
            result = replace(result, crops=crops)
        if not result.has_rules:
            what = "it has no rule: no rate, no lime, no credit and no class"
            self.report.error(main.where, what, "Add a [[table]] with a file of rates")
        self._check_one_rule_each(result)
        main.done()
        return result

    def _check_one_rule_each(self, guideline: Guideline) -> None:
        seen: set[tuple[Nutrient, str]] = set()
        for table in guideline.tables:
            for crop in table.crops:
                if (table.nutrient, crop) in seen:
                    self.report.error(
                        f"{self.main.where}, table",
                        f"{crop} has two tables for {table.nutrient.value}",
                        "Keep one table per crop and nutrient",
                    )
                seen.add((table.nutrient, crop))

    # -- removal and ratings -------------------------------------------------------------------

    def _maintenance(self, section: Section) -> Maintenance:
        nutrient, crops = self._nutrient(section), self._crops(section)
        levels = read_csv(self.folder, section, "levels", ["crop", "cec", "critical", "limit"])
        taken = read_csv(
            self.folder, section, "removal", ["crop", "yield_unit", nutrient.value, "publication"]
        )
        extractants = self._extractants(section)
        years = section.number("buildup_years")
        if years == 0:
            self.report.error(
                f"{section.where}, buildup_years",
                "a build-up cannot be spread over 0 years",
                "Write 1 or more; for no build-up write buildup_per_unit = 0",
            )
        rows = tuple(level for row in levels.rows if (level := self._level(row)))
        self._check_levels(levels.where, rows)
        result = Maintenance(
            nutrient=nutrient,
            crops=crops,
            rate_unit=self._rate_unit(section),
            element=section.text("soil", None),
            soil_unit=self._soil_unit(section),
            extractants=extractants,
            levels=rows,
            removals=self._removals(taken, nutrient),
            source=self._source(section),
            extra=section.number("extra") or 0.0,
            buildup_per_unit=section.number("buildup_per_unit"),
            buildup_years=years or 4.0,
            assumed_extractants=self._assumed(section),
        )
        section.done()
        return result

    def _level(self, row: Row) -> Level | None:
        crops, critical, limit = row.names("crop"), row.figure("critical"), row.figure("limit")
        self._check_crops(f"{row.where}, column crop", crops)
        if critical is None:
            self.report.error(f"{row.where}, column critical", "there is no critical level", "Add it")
            return None
        if limit is not None and limit < critical:
            what = f"the limit {limit:g} is under the critical level {critical:g}"
            self.report.error(f"{row.where}, column limit", what, "Correct one of them")
        return Level(crops, row.span("cec"), critical, limit, row.line)

    def _check_levels(self, where: str, levels: Sequence[Level]) -> None:
        """Look for crops whose levels cannot be told apart."""
        for one, other in itertools.combinations(levels, 2):
            shared = [crop for crop in one.crops if crop in other.crops]
            if shared and (one.cec is None or other.cec is None or _overlap(one.cec, other.cec)):
                what = f"{shared[0]} has two rows for one exchange capacity (the other is row {one.line})"
                self.report.error(f"{where}, row {other.line}, column cec", what, "Correct one of them")

    def _removals(self, read: CsvTable, nutrient: Nutrient) -> dict[str, Removal]:
        result: dict[str, Removal] = {}
        for row in read.rows:
            value = row.figure(nutrient.value)
            crops = row.names("crop")
            self._check_crops(f"{row.where}, column crop", crops)
            self._check_yield_unit(f"{row.where}, column yield_unit", row.cells["yield_unit"])
            for crop in crops:
                if crop in result:
                    self.report.error(f"{row.where}, column crop", f"{crop!r} stands twice", "Keep one row")
                if value is not None:
                    source = Source(row.cells["publication"], "", "crop removal", crop)
                    result[crop] = Removal(value, row.cells["yield_unit"], source)
        return result

    def _matrix(self, section: Section) -> RatingMatrix:
        crops = self._crops(section)
        read = read_csv(self.folder, section, "file", ["P rating", "K rating"])
        nutrients = [Nutrient(name) for name in read.columns if name in set(Nutrient)]
        if read.columns and not nutrients:
            self.report.error(f"{read.where}, row 1", "there is no nutrient column", "Add P2O5, K2O or N")
        cells: dict[tuple[str, str], MatrixCell] = {}
        for row in read.rows:
            pair = (row.cells["P rating"], row.cells["K rating"])
            if pair in cells:
                self.report.error(row.where, f"P {pair[0]}, K {pair[1]} stands twice", "Keep one row")
            rates = {nutrient: row.figure(nutrient.value) for nutrient in nutrients}
            remarks = {n: row.cells.get(f"{n.value} remark", "") for n in nutrients}
            cells[pair] = MatrixCell(rates, remarks, row.line)
        for pair in itertools.product(dict.fromkeys(p for p, _ in cells), dict.fromkeys(k for _, k in cells)):
            if pair not in cells:
                self.report.error(read.where, f"there is no row for P {pair[0]}, K {pair[1]}", "Add it")
        result = RatingMatrix(
            crops=crops,
            rate_unit=self._rate_unit(section),
            cells=cells,
            source=self._source(section),
            edges=self._edges(section, cells),
            soil_unit=self._soil_unit(section),
        )
        section.done()
        return result

    def _edges(
        self, section: Section, cells: Mapping[tuple[str, str], MatrixCell]
    ) -> dict[str, tuple[tuple[str, Mapping[Extractant, Span]], ...]]:
        if not section.has("ratings"):
            return {}
        read = read_csv(self.folder, section, "ratings", ["soil", "rating"])
        tests: dict[str, Extractant] = {}
        for column in read.columns:
            if column not in ("soil", "rating"):
                test = self._test(f"{read.where}, row 1", column)
                if test is not None:
                    tests[column] = test
        result: dict[str, list[tuple[str, Mapping[Extractant, Span]]]] = {"P": [], "K": []}
        lines: dict[tuple[str, Extractant], list[tuple[Span, float | None, Row]]] = {}
        for row in read.rows:
            element, rating = row.cells["soil"], row.cells["rating"]
            if element not in result:
                self.report.error(f"{row.where}, column soil", f"{element!r} is not P or K", "Correct it")
                continue
            spans = {test: span for column, test in tests.items() if (span := row.span(column))}
            result[element].append((rating, spans))
            for test, span in spans.items():
                lines.setdefault((element, test), []).append((span, None, row))
        for having in lines.values():
            self._check_classes(having)
        for place, element in enumerate(result):
            printed = list(dict.fromkeys(pair[place] for pair in cells))
            rated = [rating for rating, _ in result[element]]
            for rating in dict.fromkeys((*printed, *rated)):
                if read.rows and cells and (rating in printed) != (rating in rated):
                    only = "has no class" if rating in printed else "is not a rating of the matrix"
                    self.report.error(read.where, f"{element} {rating!r} {only}", "Complete or correct it")
        return {element: tuple(edges) for element, edges in result.items()}

    def _split(self, section: Section) -> Split:
        shares = []
        where = f"{section.where}, shares"
        for text, percent in section.mapping("shares").items():
            if text not in set(Timing) or not isinstance(percent, int | float):
                listed = ", ".join(Timing)
                self.report.error(
                    where, f"{text!r} = {percent!r} is not a timing and a percent", f"Timings: {listed}"
                )
            else:
                shares.append((Timing(text), percent / 100))
        total = sum(share for _, share in shares)
        if shares and abs(total - 1) > 1e-9:
            self.report.error(where, f"the shares add up to {total * 100:g} percent", "Make them 100")
        split = Split(
            nutrient=self._nutrient(section),
            crops=self._crops(section),
            shares=tuple(shares),
            above_yield=section.number("above_yield"),
            yield_unit=self._yield_unit(section),
            source=self._source(section),
        )
        section.done()
        return split

    # -- lime ----------------------------------------------------------------------------------

    def _lime(self, section: Section) -> LimeRule | None:
        form = section.choice("form", _LIME_FORMS, None)
        basis = LimeBasis(section.choice("basis", list(LimeBasis), None) or LimeBasis.CCE)
        unit = section.choice("rate_unit", _RATE_UNITS, None) or "lb/acre"
        rule: LimeRule | None = None
        if form == "buffer table":
            rule = self._buffer_table(section, basis, unit)
        elif form == "flat":
            rule = needs.FlatLime(
                crops=self._crops(section),
                trigger_ph=section.required_number("trigger_ph"),
                value=section.required_number("rate"),
                rate_unit=unit,
                basis=basis,
                source=self._source(section),
                note=section.text("note"),
            )
        elif form == "acidity":
            rule = self._acidity_formula(section, basis, unit)
        elif form == "acidity by pH":
            rule = needs.AcidityByPh(
                ceiling_ph=section.required_number("ceiling_ph"),
                per_buffer_unit=section.required_number("per_buffer_unit"),
                default_target_ph=section.required_number("target_ph", "pH"),
                target_note=section.text("target_note"),
                basis=basis,
                rate_unit=unit,
                buffers=self._buffers(section),
                source=self._source(section),
                crops=self._crops(section, required=False),
            )
        if form:
            section.done()
        return rule

    def _buffer_table(self, section: Section, basis: LimeBasis, unit: str) -> needs.BufferTable | None:
        by_target = section.choice("columns", ("region", "target pH"), None) == "target pH"
        read = read_csv(self.folder, section, "file", ["buffer"])
        headings = [column for column in read.columns if column != "buffer"]
        rows = []
        for row in read.rows:
            span = row.span("buffer")
            rates = {heading: row.figure(heading) for heading in headings}
            for heading, value in rates.items():
                if value is None:
                    what = "a lime table has no blank cells; none needed is 0"
                    self.report.error(f"{row.where}, column {heading}", what, "Complete the cell")
            if span is not None:
                rows.append((span, {h: v for h, v in rates.items() if v is not None}, row.line))
        if by_target:
            for heading in headings:
                self._check_number(f"{read.where}, row 1", heading)
        depth = section.numbers("sample_depth_in", 2)
        target = section.number("target_ph", "pH")
        if not by_target and target is None:
            self.report.error(f"{section.where}, target_ph", "it is missing", "Add target_ph = 6.0")
        rule = needs.BufferTable(
            rows=tuple(rows),
            by_target=by_target,
            basis=basis,
            rate_unit=unit,
            trigger_ph=section.number("trigger_ph"),
            target_ph=target,
            buffers=self._buffers(section),
            source=self._source(section),
            buffer_note=section.text("buffer_note"),
            mineral_only=section.choice("soil", ("mineral", "any"), "any") == "mineral",
            sample_depth_in=(depth[0], depth[1]) if depth else None,
            depth_factors=tuple(self._depth_factor(part) for part in section.sections("depth_factor")),
            crops=self._crops(section, required=False),
        )
        return rule if rows else None

    def _check_number(self, where: str, text: str) -> None:
        try:
            read_number(text)
        except UnitError:
            self.report.error(where, f"the column {text!r} is not a target pH", "Name the columns 6.0, 6.5 …")

    def _depth_factor(self, section: Section) -> needs.DepthFactor:
        factor = needs.DepthFactor(
            section.required_number("bottom_in"),
            section.required_number("factor"),
            section.text("when", None),
            self._source(section),
        )
        section.done()
        return factor

    def _acidity_formula(self, section: Section, basis: LimeBasis, unit: str) -> needs.AcidityFormula:
        read = read_csv(self.folder, section, "file", ["target_ph", "acidity", "ph", "per_meq", "rate"])
        rows = []
        for row in read.rows:
            target, per, flat = row.number("target_ph", "pH"), row.figure("per_meq"), row.figure("rate")
            if target is None or (per is None) == (flat is None):
                self.report.error(
                    row.where, "it needs a target and either per_meq or rate", "Complete the row"
                )
                continue
            rows.append(needs.AcidityRow(target, row.span("acidity"), row.span("ph"), per, flat))
        return needs.AcidityFormula(
            rows=tuple(rows),
            default_target_ph=section.required_number("target_ph", "pH"),
            basis=basis,
            rate_unit=unit,
            buffers=self._buffers(section),
            source=self._source(section),
            depth_in=section.number("depth_in"),
            crops=self._crops(section, required=False),
        )

    # -- credits -------------------------------------------------------------------------------

    def _legumes(self, section: Section) -> LegumeTable:
        read = read_csv(self.folder, section, "file", ["previous crop", "stand", "rate"])
        rows = []
        for row in read.rows:
            value, crops = row.figure("rate"), row.names("previous crop")
            if value is None or not crops:
                self.report.error(row.where, "it needs a previous crop and a rate", "Complete the row")
                continue
            rows.append(LegumeRow(crops, row.span("stand"), value, row.line))
        table = LegumeTable(
            crops=self._crops(section, required=False),
            rows=tuple(rows),
            rate_unit=self._rate_unit(section),
            source=self._source(section),
            note=section.text("note"),
        )
        section.done()
        return table

    def _manure(self, section: Section) -> ManureTable:
        read = read_csv(self.folder, section, "file", ["species", "year"])
        methods = [column for column in read.columns if column not in ("species", "year")]
        percents: dict[tuple[str, int], dict[str, float | None]] = {}
        for row in read.rows:
            year = row.figure("year")
            shares = {method: row.figure(method) for method in methods}
            for method, share in shares.items():
                if share is not None and share > 100:
                    what = f"{share:g} is over 100 percent"
                    self.report.error(f"{row.where}, column {method}", what, "Correct the cell")
            if year is None or year < 1 or year != int(year):
                what = f"{row.cells['year']!r} is not a year after application"
                self.report.error(f"{row.where}, column year", what, "Write 1, 2 …")
                continue
            percents[(plain_name(row.cells["species"]), int(year))] = shares
        first: dict[Nutrient, float] = {}
        for name, percent in section.mapping("first_year_pct").items():
            if name not in set(Nutrient) or not isinstance(percent, int | float) or not 0 <= percent <= 100:
                where = f"{section.where}, first_year_pct"
                self.report.error(
                    where, f"{name!r} = {percent!r} is not a nutrient and a percent", "Correct it"
                )
            else:
                first[Nutrient(name)] = float(percent)
        table = ManureTable(
            nitrogen_pct=percents,
            first_year_pct=first,
            source=self._source(section),
            first_year_source=Source(
                section.text("first_year_publication") or section.text("publication"),
                section.text("edition"),
                section.text("first_year_table"),
            ),
            note=section.text("note"),
        )
        section.done()
        return table


def _overlap(one: Span, other: Span) -> bool:
    """Tell whether two ranges share a number."""

    def ends_before(first: Span, second: Span) -> bool:
        if first.high is None or second.low is None:
            return False
        apart = first.high_outside or second.low_outside
        return first.high < second.low or (first.high == second.low and apart)

    return not (ends_before(one, other) or ends_before(other, one))
