"""What would change my mind? Needs that turn when a test figure moves by what a lab can be off.

A table with classes gives the same rate across a class and another one beyond its edge; a reading near an
edge decides more than it can bear. Here every figure of the soil tests is moved up and down and the needs
are worked out again; what the season's plan is made of is not touched.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial

from loamwright.needs import LimeNeed, Need
from loamwright.season.opening import Season
from loamwright.soil import SoilTest
from loamwright.values import NeedState, Supply
from loamwright.work import cost_at_cheapest

#: How far a reading, and a pH, may be off where the user says nothing. Ours: no figure for single samples was
#: found; what two labs make of one sample differs by more.
READING_SHARE, PH_STEP = 0.1, 0.1
#: A need turns when its rate moves by more than this share of itself; ours. A rate that follows a reading
#: smoothly moves by about as much as the reading and does not turn.
_TURNS = 0.25


@dataclass(frozen=True, slots=True)
class CloseCall:
    """A need that turns on a test figure.

    Parameters
    ----------
    plot_id, supply
        Which need (``"lime"`` for lime).
    figure
        Which figure of the test, with its value: ``"P 14 ppm"``.
    moved_to
        The figure that turns it, as text.
    rate_kg_ha, other_kg_ha
        The need as the test stands, and with the figure moved [kg/ha]; 0.0 = none.
    more_kg
        What is needed more then, or less [kg].
    cost
        About what that costs or saves at the cheapest offer [money]; None = nothing on offer supplies it.
    test_id
        The soil test.
    """

    plot_id: str
    supply: str
    figure: str
    moved_to: str
    rate_kg_ha: float
    other_kg_ha: float
    more_kg: float
    cost: Decimal | None
    test_id: str


@dataclass(frozen=True, slots=True)
class NotCompared:
    """A need that is still to decide: it has no rate to compare, and a test may turn it all the same.

    Parameters
    ----------
    plot_id, supply
        Which need (``"lime"`` for lime).
    """

    plot_id: str
    supply: str


def not_compared(view: Season) -> tuple[NotCompared, ...]:
    """List the needs of tested plots that `close_calls` passes over as they are still to decide.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of NotCompared
    """
    tested = {test.plot_id for test in view.record.soil_tests}
    return tuple(
        NotCompared(plot_id, supply)
        for plot_id, plot in view.needs_before.items()
        if plot_id in tested
        for supply, state in (
            *((one.nutrient.value, one.state) for one in plot.needs),
            ("lime", plot.lime.state),
        )
        if state is NeedState.TO_DECIDE
    )


def close_calls(
    view: Season, reading_share: float = READING_SHARE, ph_step: float = PH_STEP
) -> tuple[CloseCall, ...]:
    """Find the needs that turn when one test figure is off by a little.

    Parameters
    ----------
    view
        The season.
    reading_share
        How far a reading may be off [fraction of it].
    ph_step
        How far a pH or buffer pH may be off.

    Returns
    -------
    tuple of CloseCall
        Those that cost or save most first.
    """
    found: list[CloseCall] = []
    for name, moved in _moves(view, reading_share, ph_step):
        tests = {test.test_id: moved(test) for test in view.record.soil_tests}
        record = replace(view.record, soil_tests=tuple(tests[one.test_id] for one in view.record.soil_tests))
        other = Season(record, view.made_on)
        for plot_id, before in view.needs_before.items():
            after = other.needs_before[plot_id]
            pairs: list[tuple[str, Need | LimeNeed, Need | LimeNeed]] = [
                (one.nutrient.value, one, two)
                for one, two in zip(before.needs, after.needs, strict=True)
                if one.nutrient is two.nutrient
            ]
            pairs.append(("lime", before.lime, after.lime))
            found.extend(
                call
                for supply, one, two in pairs
                if (call := _call(view, other, plot_id, supply, name, one, two)) is not None
            )
    return tuple(
        sorted(_one_each(found), key=lambda one: (-abs(one.cost or Decimal(0)), one.plot_id, one.supply))
    )


def _moves(
    view: Season, reading_share: float, ph_step: float
) -> Iterator[tuple[str, Callable[[SoilTest], SoilTest]]]:
    """Each kind of figure, moved up and down in every test."""
    for element in sorted({element for test in view.record.soil_tests for element in test.readings}):
        for factor in (1 - reading_share, 1 + reading_share):
            yield element, partial(_reading, element=element, factor=factor)
    for step in (-ph_step, ph_step):
        yield "pH", partial(_ph, step=step)
        yield "buffer pH", partial(_buffer_ph, step=step)


def _ph(test: SoilTest, step: float) -> SoilTest:
    return replace(test, ph=None if test.ph is None else test.ph + step)


def _buffer_ph(test: SoilTest, step: float) -> SoilTest:
    return replace(test, buffer_ph=None if test.buffer_ph is None else test.buffer_ph + step)


def _reading(test: SoilTest, element: str, factor: float) -> SoilTest:
    if element not in test.readings:
        return test
    reading = test.readings[element]
    return replace(test, readings={**test.readings, element: replace(reading, value=reading.value * factor)})


def _call(
    view: Season,
    other: Season,
    plot_id: str,
    supply: str,
    name: str,
    one: Need | LimeNeed,
    two: Need | LimeNeed,
) -> CloseCall | None:
    settled = (NeedState.NEEDED, NeedState.NONE)
    if one.state not in settled or two.state not in settled:
        return None
    rate, rate_two = one.rate_kg_ha or 0.0, two.rate_kg_ha or 0.0
    if abs(rate_two - rate) <= _TURNS * max(rate, rate_two):
        return None
    told = _figures(view, other, plot_id, name)
    if told is None:
        return None
    more_kg = (two.mass_kg or 0.0) - (one.mass_kg or 0.0)
    wanted: Supply | None
    if isinstance(one, Need):
        wanted = one.nutrient.supply
    else:
        basis = one.basis or (None if isinstance(two, Need) else two.basis)
        wanted = None if basis is None else basis.supply
    cost = None if wanted is None else cost_at_cheapest(view.record, view.contents, wanted, more_kg)
    return CloseCall(plot_id, supply, told[0], told[1], rate, rate_two, more_kg, cost, told[2])


def _figures(view: Season, other: Season, plot_id: str, name: str) -> tuple[str, str, str] | None:
    """The figure as it stands and moved, and the newest test that holds it."""
    held = [
        (test, moved)
        for test, moved in zip(view.record.soil_tests, other.record.soil_tests, strict=True)
        if test.plot_id == plot_id and _text(test, name)
    ]
    if not held:
        return None
    test, moved = max(held, key=lambda pair: str(pair[0].sampled_on or ""))
    read = test.readings.get(name)
    label = name if read is None else read.basis or name
    return f"{label} {_text(test, name)}", _text(moved, name), test.test_id


def _text(test: SoilTest, name: str) -> str:
    if name in test.readings:
        reading = test.readings[name]
        return f"{reading.value:.4g} {reading.unit}"
    value = {"pH": test.ph, "buffer pH": test.buffer_ph}.get(name)
    return "" if value is None else f"{value:.1f}"


def _one_each(found: list[CloseCall]) -> list[CloseCall]:
    """Of a need that turns both up and down on one figure, both are kept; the same turn is told once."""
    kept: dict[tuple[str, str, str, bool], CloseCall] = {}
    for call in found:
        kept.setdefault((call.plot_id, call.supply, call.figure, call.more_kg > 0), call)
    return list(kept.values())
