"""How much lime the soil asks for: pH, buffer or acidity in, effective pounds per acre out.

This file holds the published forms of a lime requirement (buffer-index table by region or target,
flat rate, exchangeable acidity, acidity by pH factor), reads the lime rate a lab printed, and says
whether soil magnesium asks for dolomitic lime. Answers are in effective units (pounds of ENP, of
calcium carbonate equivalent …); what a product is worth in them is `lime_score`'s business.

A rate outside a table's rows, or read in another buffer than the table's, is refused, never
extrapolated or converted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from loamwright import soil
from loamwright.needs.classes import Span, classified
from loamwright.needs.rates import OURS
from loamwright.soil import INCH_M, Buffer, SoilTest, unit_of
from loamwright.units import read_number
from loamwright.values import ARITHMETIC, LAB, LimeBasis, NeedState, Source, Step

# ---------------------------------------------------------------------------------------------
# Question and answer


@dataclass(frozen=True, slots=True)
class LimeCase:
    """What a lime rule is asked.

    Parameters
    ----------
    tests
        Usable reports of one plot.
    region
        Region key the user chose (``"Area 1"``); empty = not chosen.
    target_ph
        pH the crop wants, from a guideline that prints one; None = the rule's own target.
    depth_rule
        Id of the rule chosen for samples of another depth (see `DEPTH_RULES`); empty = none chosen.
    """

    tests: tuple[SoilTest, ...]
    region: str = ""
    target_ph: float | None = None
    depth_rule: str = ""


@dataclass(frozen=True, slots=True)
class LimeAnswer:
    """What a lime rule says.

    Parameters
    ----------
    state, reason
        Needed, none or unknown, and why in one sentence.
    value, unit
        Rate in the printed unit; None when unknown.
    basis
        What it is pounds of; None when none or unknown.
    steps
        From lab number to rate.
    target_ph, depth_m
        Target pH and depth treated [m], when stated.
    lacks_buffer
        True when it is unknown only because no buffer reading was reported.
    between
        Lowest and highest rate among the choices, when one has to be made [`unit`, `basis`].
    at_least
        True when the table ends before the case: more may be needed.
    """

    state: NeedState
    reason: str
    value: float | None = None
    unit: str = ""
    basis: LimeBasis | None = None
    steps: tuple[Step, ...] = ()
    target_ph: float | None = None
    depth_m: float | None = None
    lacks_buffer: bool = False
    between: tuple[float, float] | None = None
    at_least: bool = False


class LimeRule(Protocol):
    """One published way to a lime rate."""

    @property
    def crops(self) -> tuple[str, ...]:
        """Crops it is for; empty = any."""
        ...

    @property
    def regions(self) -> tuple[str, ...]:
        """Regions the user must choose from; empty = it does not go by region."""
        ...

    def rate(self, case: LimeCase) -> LimeAnswer:
        """Answer for one plot.

        Parameters
        ----------
        case
            The plot's reports, region and target.

        Returns
        -------
        LimeAnswer
        """
        ...


def _unknown(reason: str, steps: Sequence[Step] = (), *, lacks_buffer: bool = False) -> LimeAnswer:
    return LimeAnswer(NeedState.UNKNOWN, reason, steps=tuple(steps), lacks_buffer=lacks_buffer)


def _none(reason: str, steps: Sequence[Step], target_ph: float | None = None) -> LimeAnswer:
    return LimeAnswer(NeedState.NONE, reason, 0.0, steps=tuple(steps), target_ph=target_ph)


def _shown(ph: float) -> str:
    """Write a pH as people do, with at least one decimal."""
    return f"{ph:.1f}" if ph == round(ph) else f"{ph:g}"


def _ph(tests: Sequence[SoilTest]) -> tuple[tuple[SoilTest, ...], float, list[Step]] | LimeAnswer:
    governing = soil.newest(tests, lambda test: test.ph is not None)
    if not governing:
        return _unknown("soil pH was not tested")
    value, steps = soil.mean_figure(
        governing, [test.ph for test in governing if test.ph is not None], "soil pH", ""
    )
    return governing, value, list(steps)


def _buffer(tests: Sequence[SoilTest], accepted: Sequence[Buffer], steps: list[Step]) -> float | LimeAnswer:
    """Read the buffer pH of the reports that gave the pH; an older buffer is not mixed with it."""
    stating = [test for test in tests if test.buffer_ph is not None]
    if not stating:
        return _unknown(
            "no buffer pH or buffer index was reported with the soil pH", steps, lacks_buffer=True
        )
    for test in stating:
        written_for = " or ".join(accepted)
        if not (test.buffer_method or "").strip():
            return _unknown(
                f"the report gives buffer {test.buffer_ph:g} without naming the buffer; "
                f"the table was written for {written_for}",
                steps,
            )
        method = soil.read_buffer(test.buffer_method or "")
        if method not in accepted:
            return _unknown(
                f"the buffer was {test.buffer_method}, and the table was written for {written_for}", steps
            )
    values = [test.buffer_ph for test in stating if test.buffer_ph is not None]
    value, read = soil.mean_figure(stating, values, f"buffer index, {stating[0].buffer_method} buffer", "")
    steps.extend(read)
    return value


_ORGANIC = ("peat", "muck", "organic")


# ---------------------------------------------------------------------------------------------
# Forms


@dataclass(frozen=True, slots=True)
class DepthFactor:
    """A published change of the rate for a shallow sample.

    Parameters
    ----------
    bottom_in
        It applies when the sample goes no deeper than this [inch].
    factor
        Share of the table rate [fraction].
    when
        In the source's terms: ``"no-till and established forage"``.
    source
        Who says so.
    """

    bottom_in: float
    factor: float
    when: str
    source: Source


@dataclass(frozen=True, slots=True)
class DepthRule:
    """A way to bring a lime rate to the depth that was sampled, chosen by the user.

    Parameters
    ----------
    rule_id
        What the setting names it by.
    text
        In words.
    bottom_in
        It is for samples that go no deeper than this [inch]; None = any.
    factor
        Share of the rate [fraction]; None = depth sampled over depth assumed.
    source
        Who says so.
    """

    rule_id: str
    text: str
    bottom_in: float | None
    factor: float | None
    source: Source

    def share(self, sampled_in: float, assumed_in: float) -> float | None:
        """Return the share of the rate; None when it is not for that depth."""
        if self.bottom_in is not None and sampled_in > self.bottom_in:
            return None
        return sampled_in / assumed_in if self.factor is None else self.factor


#: What a user may choose where a table says nothing about the depth that was sampled.
DEPTH_RULES: tuple[DepthRule, ...] = (
    DepthRule(
        "half",
        "no-till and established forage, sampled to 4 inches: half the table rate",
        4.0,
        0.5,
        Source("Vitosh, Johnson, Mengel, Tri-State Fertilizer Recommendations, E-2567", "1995"),
    ),
    DepthRule(
        "in proportion",
        "the rate in proportion to the depth sampled",
        None,
        None,
        Source("common practice, no source"),
    ),
    DepthRule("as printed", "the rate as printed, whatever the depth", None, 1.0, Source("user")),
)


@dataclass(frozen=True, slots=True)
class BufferTable:
    """Lime by buffer index, a column per region or per target pH.

    Parameters
    ----------
    rows
        (buffer span, rate by column heading, line in the file).
    by_target
        True when the columns are target pH values, False when they are regions.
    basis, rate_unit
        What the rate is pounds of, and per what, as printed.
    trigger_ph
        Lime only when soil pH is below this; None = below the target.
    target_ph
        pH a table by region raises to; in a table by target, the target of crops without their own.
    buffers, buffer_note
        Buffers the table was written for, and what the source leaves unsaid about it.
    mineral_only
        True when the table is for mineral soil.
    sample_depth_in
        Depth the rates assume, (from, to) [inch]; None = not stated. The answer gives the smaller.
    depth_factors
        Published changes for shallow samples.
    crops
        Crops it is for; empty = any.
    source
        Publication and table.
    """

    rows: tuple[tuple[Span, Mapping[str, float], int], ...]
    by_target: bool
    basis: LimeBasis
    rate_unit: str
    trigger_ph: float | None
    target_ph: float | None
    buffers: tuple[Buffer, ...]
    source: Source
    buffer_note: str = ""
    mineral_only: bool = False
    sample_depth_in: tuple[float, float] | None = None
    depth_factors: tuple[DepthFactor, ...] = ()
    crops: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        """Column headings in printed order: regions or target pH values."""
        return tuple(self.rows[0][1])

    @property
    def regions(self) -> tuple[str, ...]:
        """Regions the user must choose from; empty when the columns are targets."""
        return () if self.by_target else self.columns

    def _column(self, case: LimeCase) -> tuple[str, float] | str:
        """Return (column, target pH), or why none fits."""
        if not self.by_target:
            assert self.target_ph is not None
            if case.target_ph is not None and case.target_ph > self.target_ph:
                wants = f"the crop wants pH {_shown(case.target_ph)}"
                return f"{wants} and this table only raises to {_shown(self.target_ph)}"
            if not case.region:
                return f"no region is chosen; the table has {', '.join(self.columns)}"
            named = {soil.plain_name(heading): heading for heading in self.columns}
            region = named.get(soil.plain_name(case.region))
            if region is None:
                return f"region {case.region!r} is not in the table, which has {', '.join(self.columns)}"
            return region, self.target_ph
        wanted = self.target_ph if case.target_ph is None else case.target_ph
        if wanted is None:
            return f"no target pH is known for the crop; the table has {', '.join(self.columns)}"
        reaching = [heading for heading in self.columns if read_number(heading) >= wanted]
        if not reaching:
            highest = max(map(read_number, self.columns))
            return f"the crop wants pH {_shown(wanted)} and the table stops at {_shown(highest)}"
        return (nearest := min(reaching, key=read_number)), read_number(nearest)

    def rate(self, case: LimeCase) -> LimeAnswer:
        """Answer from the table: pH under the trigger, then the row of the buffer index.

        Parameters
        ----------
        case
            The plot's reports, region and target.

        Returns
        -------
        LimeAnswer
        """
        read = _ph(case.tests)
        if isinstance(read, LimeAnswer):
            return read
        tests, ph, steps = read
        for test in tests:
            if self.mineral_only and any(word in test.texture.casefold() for word in _ORGANIC):
                return _unknown(f"the table is for mineral soil and the sample is {test.texture!r}", steps)
        chosen = self._column(case)
        target = self.target_ph if isinstance(chosen, str) else chosen[1]
        trigger = next((ph for ph in (case.target_ph, self.trigger_ph, target) if ph is not None), None)
        if trigger is not None:
            due = ph < trigger
            text = f"Lime is due when soil pH is below {_shown(trigger)}"
            steps.append(Step(text, "due" if due else "not due", "", self.source))
            if not due:
                return _none(f"soil pH {_shown(ph)} is not below {_shown(trigger)}", steps, target)
        if isinstance(chosen, str):
            too_low = case.target_ph is not None and case.target_ph > (target or 0.0)
            lacks_buffer = all(test.buffer_ph is None for test in tests) and not too_low
            return _unknown(chosen, steps, lacks_buffer=lacks_buffer)
        index = _buffer(tests, self.buffers, steps)
        if isinstance(index, LimeAnswer):
            return index
        return self._row(ph, index, chosen, tests, steps, case.depth_rule)

    def _row(
        self,
        ph: float,
        index: float,
        chosen: tuple[str, float],
        tests: Sequence[SoilTest],
        steps: list[Step],
        depth_rule: str,
    ) -> LimeAnswer:
        column, target = chosen
        spans = [span for span, _, _ in self.rows]
        as_printed = classified(index, spans)
        row = next((row for row in self.rows if row[0].contains(as_printed)), None)
        sourest = min(self.rows, key=lambda each: each[0].low or 0.0)
        at_least = row is None and as_printed < (sourest[0].low or 0.0)
        if row is None and not at_least:
            printed = f"{spans[0].text} to {spans[-1].text}"
            return _unknown(f"buffer index {index:g} is outside the table's rows ({printed})", steps)
        span, rates, _ = row or sourest
        if at_least:
            text = f"Buffer index {index:g} is under the table's last row: the need is at least that row's"
            steps.append(Step(text, span.text, "", OURS))
        unit = unit_of(self.rate_unit, self.basis.value)
        heading = f"target pH {column}" if self.by_target else column
        value = rates[column]
        steps.append(
            Step(
                f"Table row for buffer index {span.text}, {heading}: raises soil pH to {_shown(target)}",
                value,
                unit,
                Source(
                    self.source.publication,
                    self.source.edition,
                    self.source.table,
                    f"buffer index {span.text}, {heading}",
                ),
            )
        )
        if self.buffer_note:
            steps.append(Step(self.buffer_note, "assumed", "", self.source))
        if value == 0:
            return _none(f"the table gives 0 for buffer index {span.text} in {heading}", steps, target)
        where = f"soil pH {_shown(ph)}, buffer index {span.text}, {heading}"
        if at_least:
            where = (
                f"at least: soil pH {_shown(ph)}, buffer index {index:g} (last row {span.text}), {heading}"
            )
        found = self._for_depth(value, unit, tests, steps, depth_rule)
        if isinstance(found, LimeAnswer):
            return replace(found, reason=f"{where}; {found.reason}", target_ph=target, at_least=at_least)
        value, depth_m = found
        return LimeAnswer(
            NeedState.NEEDED,
            where,
            value,
            self.rate_unit,
            self.basis,
            tuple(steps),
            target,
            depth_m,
            at_least=at_least,
        )

    def _for_depth(
        self, value: float, unit: str, tests: Sequence[SoilTest], steps: list[Step], depth_rule: str
    ) -> tuple[float, float | None] | LimeAnswer:
        """Return the rate for the depth sampled and the depth it treats [m], or ask for a rule."""
        if self.sample_depth_in is None:
            return value, None
        low, high = self.sample_depth_in
        bottoms = [test.depth_bottom_m for test in tests if test.depth_bottom_m is not None]
        if not bottoms:
            return value, low * INCH_M
        inches = round(max(bottoms) / INCH_M, 2)
        fitting = next((f for f in self.depth_factors if inches <= f.bottom_in), None)
        if fitting is not None:
            changed = value * fitting.factor
            steps.append(
                Step(f"{fitting.when}: {fitting.factor:g} of the rate", changed, unit, fitting.source)
            )
            return changed, max(bottoms)
        if low <= inches <= high:
            return value, low * INCH_M
        assumed = low if inches < low else high
        open_to = {rule: s for rule in DEPTH_RULES if (s := rule.share(inches, assumed)) is not None}
        asks = f"sampled to {inches:g} inches, and the lime rates assume {low:g} to {high:g}"
        chosen = next((rule for rule in open_to if rule.rule_id == depth_rule), None)
        if chosen is None:
            told = ", ".join(f"{value * share:,.0f} {rule.rule_id}" for rule, share in open_to.items())
            steps.append(Step(f"{_capital(asks)}; no rule for that is chosen", told, unit, self.source))
            rates = [value * share for share in open_to.values()]
            return LimeAnswer(
                NeedState.TO_DECIDE,
                f"{asks}: choose a depth rule, or decide ({told} {unit})",
                value,
                self.rate_unit,
                self.basis,
                tuple(steps),
                between=(min(rates), max(rates)),
            )
        changed = value * open_to[chosen]
        steps.append(Step(f"{_capital(asks)}; chosen: {chosen.text}", changed, unit, chosen.source))
        return changed, low * INCH_M if open_to[chosen] == 1 else max(bottoms)


def _capital(text: str) -> str:
    """Write the first letter large."""
    return text[:1].upper() + text[1:]


@dataclass(frozen=True, slots=True)
class FlatLime:
    """One rate for a crop on acid soil, whatever the buffer says.

    Parameters
    ----------
    crops
        Crops it is for.
    trigger_ph
        Lime only when soil pH is below this.
    value, rate_unit, basis
        The rate as printed, and what it is pounds of.
    source
        Publication and table.
    note
        How it is put on, in the source's terms.
    """

    crops: tuple[str, ...]
    trigger_ph: float
    value: float
    rate_unit: str
    basis: LimeBasis
    source: Source
    note: str = ""

    @property
    def regions(self) -> tuple[str, ...]:
        """None: it does not go by region."""
        return ()

    def rate(self, case: LimeCase) -> LimeAnswer:
        """Answer from soil pH alone.

        Parameters
        ----------
        case
            The plot's reports.

        Returns
        -------
        LimeAnswer
        """
        read = _ph(case.tests)
        if isinstance(read, LimeAnswer):
            return read
        _, ph, steps = read
        due = ph < self.trigger_ph
        steps.append(
            Step(
                f"Lime is due when soil pH is below {_shown(self.trigger_ph)}",
                "due" if due else "not due",
                "",
                self.source,
            )
        )
        if not due:
            return _none(f"soil pH {_shown(ph)} is not below {_shown(self.trigger_ph)}", steps)
        text = "A flat rate on acid soil" + (f": {self.note}" if self.note else "")
        steps.append(Step(text, self.value, unit_of(self.rate_unit, self.basis.value), self.source))
        reason = f"soil pH {_shown(ph)} is below {_shown(self.trigger_ph)}; one rate is printed for this crop"
        return LimeAnswer(NeedState.NEEDED, reason, self.value, self.rate_unit, self.basis, tuple(steps))


@dataclass(frozen=True, slots=True)
class AcidityRow:
    """One line of a lime formula by exchangeable acidity.

    Parameters
    ----------
    target_ph
        Target it is for.
    acidity, ph
        Conditions on exchangeable acidity [meq/100 g] and soil pH; None = any.
    per_meq
        Rate per meq/100 g, or None when the rate is flat.
    flat
        Flat rate, or None.
    """

    target_ph: float
    acidity: Span | None
    ph: Span | None
    per_meq: float | None
    flat: float | None


@dataclass(frozen=True, slots=True)
class AcidityFormula:
    """Lime by exchangeable acidity times a factor for the target pH.

    Parameters
    ----------
    rows
        The formula's lines, as printed.
    default_target_ph
        Target for crops without one of their own.
    basis, rate_unit
        What the rate is pounds of, and per what.
    buffers
        Buffer the acidity must come from, when the report names one.
    depth_in
        Depth the rate treats [inch]; None = not stated.
    crops
        Crops it is for; empty = any.
    source
        Publication and table.

    References
    ----------
    Penn State Agronomy Guide, Part 1 Section 2, "Limestone recommendation".
    """

    rows: tuple[AcidityRow, ...]
    default_target_ph: float
    basis: LimeBasis
    rate_unit: str
    buffers: tuple[Buffer, ...]
    source: Source
    depth_in: float | None = None
    crops: tuple[str, ...] = ()

    @property
    def regions(self) -> tuple[str, ...]:
        """None: it does not go by region."""
        return ()

    def rate(self, case: LimeCase) -> LimeAnswer:
        """Answer from exchangeable acidity, and soil pH where the formula asks for it.

        Parameters
        ----------
        case
            The plot's reports and target.

        Returns
        -------
        LimeAnswer
        """
        tests = soil.newest(case.tests, lambda test: test.acidity_meq_100g is not None)
        if not tests:
            return _unknown("exchangeable acidity was not reported", lacks_buffer=True)
        for test in tests:
            method = (test.buffer_method or "").strip()
            if method and soil.read_buffer(method) not in self.buffers:
                return _unknown(
                    f"the buffer was {method}, and the formula is for {' or '.join(self.buffers)}"
                )
        values = [test.acidity_meq_100g for test in tests if test.acidity_meq_100g is not None]
        acidity, read = soil.mean_figure(tests, values, "exchangeable acidity", "meq/100 g")
        steps = list(read)
        wanted = self.default_target_ph if case.target_ph is None else case.target_ph
        targets = sorted({row.target_ph for row in self.rows if row.target_ph >= wanted})
        if not targets:
            return _unknown(f"the crop wants pH {_shown(wanted)} and the formula stops below it", steps)
        target = targets[0]
        phs = [test.ph for test in tests if test.ph is not None]
        ph = soil.mean(phs) if phs else None
        lines = [row for row in self.rows if row.target_ph == target]
        if ph is None and any(row.ph is not None and _fits(row.acidity, acidity) for row in lines):
            return _unknown("soil pH was not tested", steps)
        row = next(
            (r for r in lines if _fits(r.acidity, acidity) and (r.ph is None or _fits(r.ph, ph))), None
        )
        if row is None:
            at = f"acidity {acidity:g} meq/100 g" + (f" and pH {_shown(ph)}" if ph is not None else "")
            return _unknown(f"the formula says nothing for {at} at target pH {_shown(target)}", steps)
        return self._answer(row, acidity, ph, steps)

    def _answer(self, row: AcidityRow, acidity: float, ph: float | None, steps: list[Step]) -> LimeAnswer:
        unit = unit_of(self.rate_unit, self.basis.value)
        conditions = ", ".join(
            part
            for part in (
                f"target pH {_shown(row.target_ph)}",
                f"acidity {row.acidity.text}" if row.acidity else "",
                f"soil pH {row.ph.text}" if row.ph else "",
            )
            if part
        )
        source = Source(self.source.publication, self.source.edition, self.source.table, conditions)
        if row.ph is not None and ph is not None:
            steps.append(Step("The lab read soil pH", ph, "", LAB))
        if row.per_meq is not None:
            value = row.per_meq * acidity
            text = f"{row.per_meq:g} per meq/100 g x {acidity:g} ({conditions})"
        else:
            assert row.flat is not None
            value, text = row.flat, f"One rate ({conditions})"
        steps.append(Step(text, value, unit, source))
        if value == 0:
            return _none(f"the formula gives none at {conditions}", steps, row.target_ph)
        depth_m = None if self.depth_in is None else self.depth_in * INCH_M
        reason = f"exchangeable acidity is {acidity:g} meq/100 g"
        return LimeAnswer(
            NeedState.NEEDED, reason, value, self.rate_unit, self.basis, tuple(steps), row.target_ph, depth_m
        )


def _fits(span: Span | None, value: float | None) -> bool:
    return span is None or (value is not None and span.contains(value))


@dataclass(frozen=True, slots=True)
class AcidityByPh:
    """Lime by buffer acidity times the share of the way from soil pH to a ceiling.

    Parameters
    ----------
    ceiling_ph
        pH at which acidity is zero (6.6 in North Carolina).
    per_buffer_unit
        Acidity per unit of buffer pH below the ceiling [meq/100 cm3].
    default_target_ph, target_note
        Target for crops without one of their own, and where it comes from.
    basis, rate_unit
        What the rate is pounds of, and per what.
    buffers
        Buffers the formula was written for.
    crops
        Crops it is for; empty = any.
    source
        Publication and table.

    Notes
    -----
    ``acidity = (ceiling - buffer pH) x per_buffer_unit``;
    ``lime = acidity x (target - soil pH) / (ceiling - soil pH)``. No residual credit of earlier lime
    is taken off here: the formula's credit by month needs a date and a rate.

    References
    ----------
    N.C. Department of Agriculture & Consumer Services, Agronomic Division, note under the buffer table.
    """

    ceiling_ph: float
    per_buffer_unit: float
    default_target_ph: float
    basis: LimeBasis
    rate_unit: str
    buffers: tuple[Buffer, ...]
    source: Source
    target_note: str = ""
    crops: tuple[str, ...] = ()

    @property
    def regions(self) -> tuple[str, ...]:
        """None: it does not go by region."""
        return ()

    def rate(self, case: LimeCase) -> LimeAnswer:
        """Answer from soil pH and buffer pH.

        Parameters
        ----------
        case
            The plot's reports and target.

        Returns
        -------
        LimeAnswer
        """
        read = _ph(case.tests)
        if isinstance(read, LimeAnswer):
            return read
        tests, ph, steps = read
        target = self.default_target_ph if case.target_ph is None else case.target_ph
        if case.target_ph is None and self.target_note:
            steps.append(Step(self.target_note, target, "target pH", self.source))
        if target >= self.ceiling_ph:
            return _unknown(
                f"the formula holds for targets below pH {_shown(self.ceiling_ph)}, not {_shown(target)}",
                steps,
            )
        if ph >= target:
            steps.append(Step(f"Target pH {_shown(target)}", "reached", "", self.source))
            return _none(f"soil pH {_shown(ph)} is not below the target {_shown(target)}", steps, target)
        buffer_ph = _buffer(tests, self.buffers, steps)
        if isinstance(buffer_ph, LimeAnswer):
            return buffer_ph
        acidity = max(0.0, (self.ceiling_ph - buffer_ph) * self.per_buffer_unit)
        factor = (target - ph) / (self.ceiling_ph - ph)
        value = acidity * factor
        steps += [
            Step(
                f"Acidity: ({_shown(self.ceiling_ph)} - {_shown(buffer_ph)}) x {self.per_buffer_unit:g}",
                acidity,
                "meq/100 cm3",
                self.source,
            ),
            Step(
                f"pH factor: ({_shown(target)} - {_shown(ph)}) / ({_shown(self.ceiling_ph)} - {_shown(ph)})",
                factor,
                "",
                self.source,
            ),
            Step("Acidity x pH factor", value, unit_of(self.rate_unit, self.basis.value), self.source),
            Step(
                "Nothing taken off for earlier lime, whose date and rate the formula asks for",
                0.0,
                "",
                ARITHMETIC,
            ),
        ]
        if value == 0:
            return _none(f"buffer pH {_shown(buffer_ph)} shows no acidity to neutralize", steps, target)
        reason = f"soil pH {_shown(ph)} is below the target {_shown(target)}"
        return LimeAnswer(NeedState.NEEDED, reason, value, self.rate_unit, self.basis, tuple(steps), target)
