"""A season of many plots with the steps of real ones: the demo's, over and over, each a little different.

The hand-made season of ``sample_view`` has a few round numbers and short steps, so it packs better than a
real one. Here every copy of a demo plot has its own place, its own figures in every step, its own ids.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import random
import re
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from loamwright import upkeep
from loamwright.values import Step
from loamwright.work.records import SeasonView
from tests.sample_view import GivenSeason

TODAY = dt.date(2026, 5, 20)
#: A figure of four or more digits, decimals included, inside a sentence.
FIGURE = re.compile(r"\d[\d,]*\.\d+|\d{4,}")


class Copy:
    """One copy of the property: ids with an ending, places moved east, figures changed by up to 2 %."""

    def __init__(self, number: int, ids: set[str]) -> None:
        self.ids = {name: f"{name}-{number}" for name in ids}
        self.east = 0.02 * number  # degrees; the demo is 0.014 wide
        self.random = random.Random(number)

    def figure(self, value: float) -> float:
        return value * self.random.uniform(0.98, 1.02)

    def _text(self, found: re.Match[str]) -> str:
        digits = len(found[0].partition(".")[2])
        return f"{self.figure(float(found[0].replace(',', ''))):,.{digits}f}"

    def of(self, value: Any, name: str = "") -> Any:
        if isinstance(value, Step):
            what = FIGURE.sub(self._text, value.what)
            inner = self.figure(value.value) if isinstance(value.value, float) else value.value
            return dataclasses.replace(value, what=what, value=inner)
        if name == "entrance" and value:
            return (value[0] + self.east, value[1])
        if name == "points":
            return tuple((lon + self.east, lat) for lon, lat in value)
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            fields = {f.name: self.of(getattr(value, f.name), f.name) for f in dataclasses.fields(value)}
            return dataclasses.replace(value, **fields)
        if isinstance(value, Sequence) and not isinstance(value, str):
            return tuple(self.of(item) for item in value)
        if isinstance(value, shapely.Geometry):
            return shapely.transform(value, lambda xy: np.add(xy, (self.east, 0.0)))
        return self.ids.get(value, value) if isinstance(value, str) else value

    def by_plot(self, values: Mapping[str, Any]) -> dict[str, Any]:
        return {self.ids[plot_id]: self.of(value) for plot_id, value in values.items()}


def many_plots(count: int) -> SeasonView:
    """Return a season of so many plots, made of the demo's.

    Parameters
    ----------
    count
        How many.
    """
    with tempfile.TemporaryDirectory() as folder:
        first = upkeep.build_demo(Path(folder), TODAY, lambda _stage: None).view
    assert first.plan is not None
    ids = {plot.plot_id for plot in first.record.plots} | {line.line_id for line in first.plan.lines}
    copies = [Copy(number, ids) for number in range(-(-count // len(first.record.plots)))]
    plots = tuple(copy.of(plot) for copy in copies for plot in first.record.plots)[:count]
    kept = {plot.plot_id for plot in plots}

    def joined(values: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(one for copy in copies for one in copy.of(values) if one.plot_id in kept)

    def keyed(values: Mapping[str, Any]) -> dict[str, Any]:
        made = {key: value for copy in copies for key, value in copy.by_plot(values).items()}
        return {key: value for key, value in made.items() if key in kept}

    plan = dataclasses.replace(
        first.plan,
        lines=joined(first.plan.lines),
        coverage=joined(first.plan.coverage),
        plot_costs=keyed(first.plan.plot_costs),
    )
    rounds = tuple(dataclasses.replace(one, stops=joined(one.stops)) for one in first.rounds)
    cautions = tuple(
        dataclasses.replace(one, where=tuple(c.ids[p] for c in copies for p in one.where if c.ids[p] in kept))
        for one in first.cautions
    )
    record = dataclasses.replace(
        first.record, plots=plots, soil_tests=joined(first.record.soil_tests), plans=(plan,)
    )
    return GivenSeason(
        record=record,
        areas=keyed(first.areas),
        croppings=keyed(first.croppings),
        needs=keyed(first.needs),
        plan=plan,
        statuses=joined(first.statuses),
        balances=joined(first.balances),
        rounds=rounds,
        sampling=keyed(first.sampling),
        cautions=cautions,
        problems=first.problems,
        made_on=first.made_on,
    )
