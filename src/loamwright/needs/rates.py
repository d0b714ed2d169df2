"""What a printed rate table or equation answers for one plot.

A `RateTable` goes by soil-test class, yield, last year's crop, organic matter and other printed
conditions; an `Equation` by soil test and yield. Each is asked with a `Situation` and answers with a
`Rate`: an amount in the printed unit with its steps, or unknown, because. A fact that is not stated
matters only when the printed rows differ by it; nothing is extrapolated beyond printed rows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise

from loamwright import soil
from loamwright.errors import UnitError
from loamwright.needs.classes import Span, classified, leading_number
from loamwright.soil import Extractant, Missing, SoilTest, plain_name, read_unit, unit_of
from loamwright.units import convert
from loamwright.values import USER, Nutrient, Quantity, Source, Step, Timing

OURS = Source("our default")

# ---------------------------------------------------------------------------------------------
# Question and answer


@dataclass(frozen=True, slots=True)
class Situation:
    """What a rule may ask about a plot; None or empty = not stated.

    Parameters
    ----------
    crop
        Crop, by the guideline's own name.
    tests
        Usable soil reports of the plot.
    yield_goal
        As the user wrote it.
    previous_crop, previous_stand
        Last year's crop and its stand, as written.
    organic_matter_pct, cec_meq_100g
        Organic matter [percent]; cation exchange capacity [meq/100 g].
    seeding
        True in the establishment year.
    texture
        Soil texture as written.
    legume_pct
        Share of legume in the stand [percent].
    convert_extractants
        True when the user asked for conversion between soil tests.
    lowest_yield
        True when an unstated yield takes the lowest printed row.
    use
        Harvested, grazed, browsed or left, as written.
    """

    crop: str
    tests: tuple[SoilTest, ...] = ()
    yield_goal: Quantity | None = None
    previous_crop: str = ""
    previous_stand: str = ""
    organic_matter_pct: float | None = None
    cec_meq_100g: float | None = None
    seeding: bool | None = None
    texture: str = ""
    legume_pct: float | None = None
    convert_extractants: bool = False
    lowest_yield: bool = True
    use: str = ""


class Gap(StrEnum):
    """Why a table has no row for a yield goal."""

    NO = "no gap"
    BETWEEN = "between printed rows"
    OUTSIDE = "outside printed rows"


@dataclass(frozen=True, slots=True)
class Rate:
    """What a rule says.

    Parameters
    ----------
    value, unit
        Rate in the printed unit; None when unknown.
    reason
        Why, in half a sentence.
    steps
        From lab number to rate.
    assumed
        True when a default of ours was used on the way.
    timings
        (timing, share of the rate) when the source splits it.
    counts_previous_crop
        True when the table already goes by last year's crop, so no legume credit is due.
    gap
        Set when only the yield goal stands in the way.
    between
        Lowest and highest rate in the printed unit when the print leaves the choice; then no value.
    basis
        ``"P"`` or ``"K"`` when the rate is of the element; empty = of the nutrient as labels name it.
    at_least
        True when the print ends before the case: more may be needed.
    nitrate_counts
        True when the print takes off the nitrate-N a soil test found.
    """

    value: float | None
    unit: str
    reason: str
    steps: tuple[Step, ...] = ()
    assumed: bool = False
    timings: tuple[tuple[Timing, float], ...] = ()
    counts_previous_crop: bool = False
    gap: Gap = Gap.NO
    between: tuple[float, float] | None = None
    basis: str = ""
    at_least: bool = False
    nitrate_counts: bool = False


def unknown(reason: str, steps: Sequence[Step] = (), gap: Gap = Gap.NO) -> Rate:
    """Answer that the rate is not known."""
    return Rate(None, "", reason, tuple(steps), gap=gap)


def row_of(source: Source, row: str) -> Source:
    """Point a source at one row of its table."""
    return replace(source, row=row)


def goal_in(goal: Quantity, unit: str) -> float | Missing:
    """Bring a yield goal to a rule's yield unit."""
    value = goal.value
    if plain_name(goal.unit) != plain_name(unit):
        try:
            value = convert(goal.value, goal.unit, unit)
        except UnitError:
            return Missing(f"the yield goal {goal.value:g} {goal.unit} is not in {unit}")
    if not (math.isfinite(value) and value > 0):
        return Missing(f"a yield goal of {goal.value:g} {goal.unit} cannot be")
    return value


# ---------------------------------------------------------------------------------------------
# Form 1: a printed table by class, yield and other conditions

#: A cell of a condition column: a span, names any of which fit ("other" = none of the column's), or yes/no.
Cell = Span | tuple[str, ...] | bool | None

OTHER = "other"


@dataclass(frozen=True, slots=True)
class RateRow:
    """One printed line.

    Parameters
    ----------
    soil
        Class by the test it is printed for, under None when the source names no test; empty when the
        table does not go by a soil test.
    conditions
        Column name to cell; None = any.
    value
        Rate; None = left blank in print, or not to be used (see `remark`).
    remark
        Why there is no usable figure, or what is printed beside it.
    line
        Line in the file.
    index
        Class on the table's own index, when it is printed by one.
    between
        Lowest and highest rate where a range is printed.
    printed
        The rate's cell where it is more than one number: ``"0 to 60"``, ``"60 + 80"``.
    """

    soil: Mapping[Extractant | None, Span]
    conditions: Mapping[str, Cell]
    value: float | None
    remark: str
    line: int
    index: Span | None = None
    between: tuple[float, float] | None = None
    printed: str = ""

    @property
    def answer(self) -> object:
        """What two rows must share to count as one answer."""
        return self.value if self.between is None else self.between


_FACTS: Mapping[str, Callable[[Situation], object]] = {
    "previous crop": lambda s: s.previous_crop or None,
    "stand": lambda s: leading_number(s.previous_stand),
    "organic matter": lambda s: s.organic_matter_pct,
    "cec": lambda s: s.cec_meq_100g,
    "seeding": lambda s: s.seeding,
    "texture": lambda s: s.texture or None,
    "legume share": lambda s: s.legume_pct,
    "N index": lambda _: None,  # of last year's crop and manuring: no report states it
}
#: Condition columns a table may have, besides ``yield`` and the names of soil tests.
CONDITIONS = tuple(_FACTS)
YIELD = "yield"


@dataclass(frozen=True, slots=True)
class RateTable:
    """A printed table of rates by soil-test class, yield, last year's crop, organic matter and so on.

    Parameters
    ----------
    nutrient, crops
        What it is for.
    rate_unit
        Unit of the rates as printed.
    rows
        Printed lines.
    source
        Publication and table.
    element, soil_unit, extractants
        Soil figure it goes by, the unit of its classes and the tests it was written for; no
        extractants when it does not go by a soil test; None when the source names no test.
    assumed_extractants
        Tests accepted although the source read does not name them, and what to say about that.
    yield_unit
        Unit of the yield rows; empty when it does not go by yield.
    note
        Scope or footnote a person should see.
    index_unit
        The index its classes are printed by, besides or instead of `soil_unit`; empty = none.
    rate_basis
        ``"P"`` or ``"K"`` when the rates are of the element; empty = as labels name the nutrient.
    nitrate_counts
        True when the publication takes off the nitrate-N a soil test found.
    """

    nutrient: Nutrient
    crops: tuple[str, ...]
    rate_unit: str
    rows: tuple[RateRow, ...]
    source: Source
    element: str = ""
    soil_unit: str = "ppm"
    extractants: tuple[Extractant, ...] | None = ()
    assumed_extractants: Mapping[Extractant, str] = field(default_factory=dict)
    yield_unit: str = ""
    note: str = ""
    index_unit: str = ""
    rate_basis: str = ""
    nitrate_counts: bool = False

    @property
    def columns(self) -> tuple[str, ...]:
        """Condition columns of the table, without yield."""
        return tuple(name for name in self.rows[0].conditions if name != YIELD)

    def _spans(self, column: str) -> tuple[Span, ...]:
        """List the different spans of a condition column in rising order."""
        found = {cell.text: cell for row in self.rows if isinstance(cell := row.conditions[column], Span)}
        return tuple(sorted(found.values(), key=lambda span: (span.low is not None, span.low or 0.0)))

    def rate(self, situation: Situation, nearest: bool = False) -> Rate:
        """Answer for one plot.

        Parameters
        ----------
        situation
            What is known of it.
        nearest
            True to take the nearest printed yield row for a goal between rows (halfway goes up), and the
            highest row for a goal beyond it, as the least that is needed; marked as assumed. False to
            report the gap.

        Returns
        -------
        Rate
            Known when every printed row that fits what is known gives the same figure.
        """
        rows, assumed, choice = self.rows, False, ""
        labels: list[str] = []
        steps: list[Step] = []
        if self.extractants != ():
            found = self._by_soil(situation)
            if isinstance(found, Rate):
                return found
            rows, label, steps, assumed = found
            labels.append(label)
        facts = {column: _FACTS[column](situation) for column in self.columns}
        for column, fact in facts.items():
            if fact is None:
                continue
            fitting = tuple(row for row in rows if self._fits(column, row.conditions[column], fact))
            if not fitting:
                text = f"the table has no row for {column} {fact}: use your lab's recommendation"
                return unknown(text, steps)
            cells = {row.conditions[column] for row in fitting}
            if cells != {None} and len(cells) == 1:
                labels.append(f"{column} {_cell_text(cells.pop(), fact)}")
            rows = fitting
        asked = [column for column, fact in facts.items() if fact is None and not _covers(rows, column)]
        if asked == ["N index"]:
            return self._by_choice(rows, asked[0], steps)
        if asked:
            return unknown(f"the table goes by {' and '.join(asked)}, which is not stated", steps)
        if self.yield_unit and len({(row.answer, row.remark) for row in rows}) > 1:
            chosen = self._by_yield(situation, rows, nearest, steps)
            if isinstance(chosen, Rate):
                return chosen
            rows, label, step, choice = chosen
            labels.insert(0, label)
            steps.append(step)
        asked = [column for column, fact in facts.items() if fact is None]
        return self._answer(rows, labels, asked, steps, assumed or bool(choice), choice)

    def _by_soil(self, situation: Situation) -> tuple[tuple[RateRow, ...], str, list[Step], bool] | Rate:
        by_index = self.index_unit != "" and (
            all(self.index_unit == unit for unit in _units_of(situation.tests, self.element))
            or not any(row.soil for row in self.rows)
        )
        unit = self.index_unit if by_index else self.soil_unit
        figure = soil.soil_value(
            situation.tests, self.element, unit, self.extractants, situation.convert_extractants
        )
        if isinstance(figure, Missing):
            return unknown(figure.reason)
        test = figure.extractant
        if by_index:
            spans = {row.line: row.index for row in self.rows if row.index is not None}
        else:
            spans = {row.line: row.soil[test] for row in self.rows if test in row.soil}
        value = classified(figure.value, spans.values())
        rows = tuple(row for row in self.rows if row.line in spans and spans[row.line].contains(value))
        steps = list(figure.steps)
        found = f"{figure.value:g} {unit}"
        if not rows:
            printed = ", ".join(dict.fromkeys(span.text for span in spans.values()))
            return unknown(f"{found} {self.element} is outside the printed classes ({printed})", steps)
        classes = " or ".join(dict.fromkeys(spans[row.line].text for row in rows))
        label = f"{test or 'test not named'} {classes} {unit}"
        read_as = "" if value == figure.value else f", read as {value:g}"
        steps.append(Step(f"{found}{read_as} falls in the printed class", label, "", self.source))
        remark = (
            self.assumed_extractants.get(test)
            if test
            else "The source names no soil test: the lab's is taken as it is"
        )
        if remark:
            steps.append(Step(remark, "assumed", "", self.source))
        return rows, label, steps, figure.assumed or bool(remark)

    def _fits(self, column: str, cell: Cell, fact: object) -> bool:
        if cell is None:
            return True
        if isinstance(cell, Span):
            assert isinstance(fact, int | float)
            return cell.contains(classified(fact, self._spans(column)))
        if isinstance(cell, bool):
            return cell is fact
        name = plain_name(str(fact))
        if cell == (OTHER,):
            listed = {
                plain_name(word)
                for row in self.rows
                if isinstance(words := row.conditions[column], tuple)
                for word in words
            }
            return name not in listed
        return name in map(plain_name, cell)

    def _by_yield(
        self, situation: Situation, rows: tuple[RateRow, ...], nearest: bool, steps: Sequence[Step]
    ) -> tuple[tuple[RateRow, ...], str, Step, str] | Rate:
        """Return rows, label, step and, when the row is our choice, half a sentence on why it stands."""
        spans = self._spans(YIELD)
        printed = ", ".join(span.text for span in spans)
        goal = situation.yield_goal
        if goal is None:
            if not situation.lowest_yield:
                return unknown(f"no yield goal is stated; the table has {printed} {self.yield_unit}", steps)
            span, choice = spans[0], "no yield goal is stated, so the lowest row stands"
            step = Step(
                "No yield goal stated: lowest printed row", f"{span.text} {self.yield_unit}", "", OURS
            )
        else:
            value = goal_in(goal, self.yield_unit)
            if isinstance(value, Missing):
                return unknown(value.reason, steps)
            found = _yield_row(value, spans)
            if found is Gap.OUTSIDE and nearest and value > (spans[-1].low or math.inf):
                span, choice = spans[-1], f"at least: the table ends before a yield goal of {value:g}"
                text = f"Yield goal {value:g} is beyond the printed rows ({printed}): at least the highest"
                step = Step(text, f"{span.text} {self.yield_unit}", "", OURS)
            elif found is Gap.BETWEEN and nearest:
                below = [s for s in spans if s.low is not None and s.low < value]
                above = [s for s in spans if s.low is not None and s.low > value]
                low, high = below[-1], above[0]
                assert low.low is not None
                assert high.low is not None
                span = high if value - low.low >= high.low - value else low
                choice = f"the nearest row to a yield goal of {value:g}"
                text = f"Yield goal {value:g} is not a printed row ({printed}): nearest row, halfway goes up"
                step = Step(text, f"{span.text} {self.yield_unit}", "", OURS)
            elif isinstance(found, Gap):
                reason = f"a yield goal of {value:g} {self.yield_unit} is {found.value} ({printed})"
                return unknown(reason, steps, gap=found)
            else:
                span, choice = found, ""
                step = Step("Yield goal", value, self.yield_unit, USER)
        fitting = tuple(row for row in rows if row.conditions[YIELD] == span)
        return fitting, f"{span.text} {self.yield_unit}", step, choice

    def _answer(
        self,
        rows: tuple[RateRow, ...],
        labels: Sequence[str],
        asked: Sequence[str],
        steps: list[Step],
        assumed: bool,
        choice: str,
    ) -> Rate:
        if len({row.answer for row in rows}) > 1:
            missing = " and ".join(asked) or "more than one printed row"
            halves = {row.index.text for row in rows if row.index is not None}
            if len(halves) > 1 and not asked:
                missing = f"the halves {' and '.join(sorted(halves))} of the index"
            return unknown(f"the table's rows differ by {missing}, which is not stated", steps)
        row = rows[0]
        if row.value is None and row.between is None:
            return unknown(row.remark or "the table leaves this cell blank", steps)
        where = ", ".join(labels)
        source = row_of(self.source, where)
        steps.append(
            Step(
                f"Table row: {where}" if where else _named(source),
                row.value if row.value is not None else row.printed,
                self._unit,
                source,
            )
        )
        if row.value is not None and row.printed:
            steps.append(Step(f"Printed in parts: {row.printed}", row.value, self._unit, source))
        printed = dict.fromkeys(r.remark for r in rows if r.remark)
        remarks = [text for text in printed if not any(text != t and text in t for t in printed)]
        every = dict.fromkeys((*remarks, *([self.note] if self.note else [])))
        steps.extend(Step(remark, "remark", "", source) for remark in every)
        reason = "; ".join(remarks)
        if where:
            reason = f"{reason} ({where})" if reason else where
        reason = "; ".join(part for part in (reason or "one rate is printed for this crop", choice) if part)
        counts = "previous crop" in self.columns
        if row.between is not None:
            more = f" ({'; '.join(remarks)})" if remarks else ""
            return self._range(row.between, f"{row.printed}{more}", steps)
        return Rate(
            row.value,
            self.rate_unit,
            reason,
            tuple(steps),
            assumed,
            counts_previous_crop=counts,
            basis=self.rate_basis,
            at_least=choice.startswith("at least"),
            nitrate_counts=self.nitrate_counts,
        )

    def _by_choice(self, rows: Sequence[RateRow], column: str, steps: Sequence[Step]) -> Rate:
        """Answer with the printed range where a table goes by something that no report states."""
        known = [row for row in rows if row.value is not None]
        if not known:
            return unknown("the table leaves these cells blank", steps)
        values = [row.value for row in known if row.value is not None]
        told = ", ".join(f"{row.value:g} at {_cell_text(row.conditions[column], '')}" for row in known)
        steps = [*steps, Step(f"Printed by {column}", told, self._unit, self.source)]
        return self._range((min(values), max(values)), f"{told} by {column}, which no report states", steps)

    def _range(self, between: tuple[float, float], printed: str, steps: Sequence[Step]) -> Rate:
        return Rate(
            None,
            self.rate_unit,
            f"the table prints {printed} {self._unit}: which rate is yours to decide",
            tuple(steps),
            between=between,
            basis=self.rate_basis,
        )

    @property
    def _unit(self) -> str:
        return unit_of(self.rate_unit, self.rate_basis or self.nutrient.value)


def _named(source: Source) -> str:
    return "Standard rate" if source.publication == USER.publication else "Printed rate"


def _units_of(tests: Sequence[SoilTest], element: str) -> tuple[str | None, ...]:
    """Read the units of the newest figures of an element; none when it was not tested."""
    governing = soil.newest(tests, lambda test: element in test.readings)
    return tuple(read_unit(test.readings[element].unit) for test in governing) or ("",)


def _cell_text(cell: Cell, fact: object) -> str:
    if isinstance(cell, Span):
        return cell.text
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return str(fact)


def _covers(rows: Sequence[RateRow], column: str) -> bool:
    """Tell whether rows are printed for every value a fact that is not stated could have."""
    cells = [row.conditions[column] for row in rows]
    if None in cells or (True in cells and False in cells) or (OTHER,) in cells:
        return True
    spans = sorted((cell for cell in cells if isinstance(cell, Span)), key=lambda span: span.low or 0.0)
    if not spans or (spans[0].low or 0.0) > 0 or spans[-1].high is not None:
        return False
    return all(b.text == a.text or b.low == a.high for a, b in pairwise(spans))


def _yield_row(value: float, spans: Sequence[Span]) -> Span | Gap:
    """Find the yield row: printed points must be met exactly, printed ranges contain."""
    compared = value if any(span.is_point for span in spans) else classified(value, spans)
    for span in spans:
        if span.contains(compared):
            return span
    lows = [span.low for span in spans if span.low is not None]
    return Gap.BETWEEN if min(lows) < value < max(lows) else Gap.OUTSIDE


# ---------------------------------------------------------------------------------------------
# Form 2: an equation


@dataclass(frozen=True, slots=True)
class Equation:
    """``(intercept - slope x soil test) x yield``, never below zero.

    Parameters
    ----------
    nutrient, crops, rate_unit
        What it is for and in which unit it answers.
    element, soil_unit, extractant
        The soil figure it goes by.
    intercept, slope
        Per unit of yield, and per unit of yield and soil test.
    yield_unit
        Unit of yield.
    source
        Publication and place.
    """

    nutrient: Nutrient
    crops: tuple[str, ...]
    rate_unit: str
    element: str
    soil_unit: str
    extractant: Extractant
    intercept: float
    slope: float
    yield_unit: str
    source: Source

    @property
    def text(self) -> str:
        """The equation in words."""
        return f"({self.intercept:g} - {self.slope:g} x {self.extractant} {self.element}) x yield"

    def rate(self, situation: Situation) -> Rate:
        """Answer for one plot.

        Parameters
        ----------
        situation
            What is known of it.

        Returns
        -------
        Rate
        """
        figure = soil.soil_value(
            situation.tests, self.element, self.soil_unit, (self.extractant,), situation.convert_extractants
        )
        if isinstance(figure, Missing):
            return unknown(figure.reason)
        if situation.yield_goal is None:
            return unknown("the equation needs a yield goal and none is stated", figure.steps)
        goal = goal_in(situation.yield_goal, self.yield_unit)
        if isinstance(goal, Missing):
            return unknown(goal.reason, figure.steps)
        value = max(0.0, (self.intercept - self.slope * figure.value) * goal)
        text = f"({self.intercept:g} - {self.slope:g} x {figure.value:g}) x {goal:g}, never below zero"
        steps = (
            *figure.steps,
            Step("Yield goal", goal, self.yield_unit, USER),
            Step(text, value, unit_of(self.rate_unit, self.nutrient.value), row_of(self.source, self.text)),
        )
        return Rate(value, self.rate_unit, f"by the equation {self.text}", steps, figure.assumed)
