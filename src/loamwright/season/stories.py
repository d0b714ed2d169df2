"""What stands behind a plot's numbers, what went before, and what is still open."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

from loamwright import files, planning, work
from loamwright.errors import InputError, Problem
from loamwright.season.opening import product_contents
from loamwright.soil import Missing, read_unit, to_unit
from loamwright.supplies import Acidity
from loamwright.units import HA_M2
from loamwright.values import NeedState, Nutrient
from loamwright.work import (
    SeasonView,
    Story,
    WorkState,
)


def explain(view: SeasonView, plot_id: str, nutrient: str | None = None) -> Story:
    """Gather what stands behind the numbers of one plot.

    Parameters
    ----------
    view
        The season.
    plot_id
        Which plot.
    nutrient
        A `Nutrient` value or ``"lime"``, in any case; None = all.

    Returns
    -------
    Story

    Raises
    ------
    InputError
        When the plot or nutrient is not known.
    """
    plot = files.find(files.thing_of("plot"), view.record, plot_id)
    plot_id = plot.plot_id
    names = {item.value.casefold(): item for item in Nutrient}
    asked = None if nutrient is None else nutrient.casefold()
    if asked is not None and asked != "lime" and asked not in names:
        choices = ", ".join((*(item.value for item in Nutrient), "lime"))
        raise InputError([Problem("nutrient", f"{nutrient!r} is not known", f"Use one of: {choices}.")])
    found = view.needs[plot_id]
    contents = product_contents(view.record)
    lines = tuple(line for line in view.plan.lines if line.plot_id == plot_id) if view.plan else ()
    if asked is not None:
        lines = tuple(
            line
            for line in lines
            if any(
                supply.casefold() == asked or supply.startswith(f"{asked} ")
                for supply in contents.get(line.product, {})
            )
        )
    bought = {line.product for line in lines}
    return Story(
        plot=plot,
        cropping=view.croppings.get(plot_id),
        area=view.areas[plot_id],
        needs=tuple(need for need in found.needs if asked in (None, need.nutrient.value.casefold())),
        lime=found.lime if asked in (None, "lime") else None,
        lines=lines,
        purchases=tuple(item for item in view.plan.buy if item.product in bought) if view.plan else (),
        cautions=tuple(item for item in view.cautions if plot_id in item.where),
        made_before=view.aged if lines else (),
    )


def _since_test(view: SeasonView, plot_id: str, planned: bool) -> tuple[work.SinceTest, ...]:
    """What went on a plot after its newest samples, lime in its need's basis; what is planned on request."""
    open_kg: dict[str, float] | None = None
    if planned:
        open_kg = {}
        for row in view.statuses:
            if row.plot_id == plot_id and row.line_id and row.state is not WorkState.DONE:
                left = max(0.0, row.planned_kg - row.applied_kg)
                open_kg[row.product] = open_kg.get(row.product, 0.0) + left
    basis = view.needs[plot_id].lime.basis
    found = work.since_test(view.record, product_contents(view.record), plot_id, open_kg)
    return tuple(one for one in found if not one.supply.is_lime or one.supply.basis is basis)


def history(
    view: SeasonView, plot_id: str | None = None, planned: bool = False
) -> tuple[work.PlotHistory, ...]:
    """Return tests, what went on after the newest of them, and nutrient balances of past seasons.

    Parameters
    ----------
    view
        The season.
    plot_id
        One plot, or None for every plot.
    planned
        True to count also what the season's plan still puts on.

    Returns
    -------
    tuple of history.PlotHistory

    Raises
    ------
    InputError
        When the plot is not known.
    """
    histories, _problems = work.plot_histories(view.record, product_contents(view.record))
    if plot_id is not None:
        found = files.find(files.thing_of("plot"), view.record, plot_id).plot_id
        histories = {found: histories[found]}
    return tuple(
        replace(one, since_test=_since_test(view, one.plot_id, planned)) for one in histories.values()
    )


def without_a_rate(view: SeasonView) -> tuple[tuple[str, str], ...]:
    """Name what no laboratory and no guideline gives a figure for, or leaves a range to choose from.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of (crop, nutrient)
        N, P2O5 and K2O of the crops grown, each once.
    """
    asked = (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)
    pairs = [
        (view.croppings[plot_id].crop, need.nutrient.value)
        for plot_id, found in view.needs.items()
        for need in found.needs
        if need.nutrient in asked
        if (need.state is NeedState.UNKNOWN and not need.edition)
        or (need.state is NeedState.TO_DECIDE and need.published_kg_ha is None)
        if plot_id in view.croppings and view.croppings[plot_id].crop
    ]
    return tuple(dict.fromkeys(pairs))


def lime_ledger(view: SeasonView) -> tuple[planning.LimeDose, ...]:
    """Say which lime doses are due in which season, by the dose rule of the property.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    tuple of planning.LimeDose
    """
    record = view.record
    settings, season = record.info.settings, record.info.season
    spread = work.lime_spread(record.applications, record.products, view.areas, settings, season)
    return planning.lime_ledger(
        record.plots,
        view.needs,
        product_contents(record),
        record.products,
        settings,
        spread,
        season,
        record.ways,
    )


def acidity(view: SeasonView) -> Mapping[str, Acidity]:
    """Say how much lime this season's nitrogen uses up, plot by plot.

    Parameters
    ----------
    view
        The season.

    Returns
    -------
    mapping of plot_id to Acidity
        Plots where something was applied.
    """
    entries = work.season_entries(
        view.record.applications, view.record.info.season, view.record.info.settings.season_start
    )
    return work.acidity_left(entries, view.record.products)


def project(
    view: SeasonView,
    plot_id: str,
    nutrient: Nutrient,
    removed_kg_ha: float | None,
    lb_per_ppm: float | None,
    planned: bool = False,
) -> work.Projection:
    """Say where a plot's soil test may go from what was put on since and what the crop takes out.

    Parameters
    ----------
    view
        The season.
    plot_id
        Which plot.
    nutrient
        P2O5 or K2O.
    removed_kg_ha
        Taken out by the crop [kg nutrient/ha]; None = not stated, and the answer is unknown.
    lb_per_ppm
        The user's own figure [lb nutrient/acre per ppm]; None = the published one.
    planned
        True to count also what the season's plan still puts on.

    Returns
    -------
    history.Projection

    Raises
    ------
    InputError
        When the plot has no reading in ppm, or the nutrient has no soil test.
    """
    plot_id = files.find(files.thing_of("plot"), view.record, plot_id).plot_id
    element = {Nutrient.P2O5: "P", Nutrient.K2O: "K"}.get(nutrient)
    tests = [
        test
        for test in view.record.soil_tests
        if test.plot_id == plot_id and element in test.readings and test.sampled_on is not None
    ]
    if element is None or not tests:
        what = f"plot {plot_id!r} has no dated soil test for {nutrient}"
        raise InputError(
            [Problem("project", what, "Name a plot with a P test for P2O5 or a K test for K2O.")]
        )
    newest = max(tests, key=lambda test: test.sampled_on or dt.date.min)
    reading = newest.readings[element]
    in_ppm = to_unit(newest, reading, element, "ppm")
    if read_unit(reading.unit) not in ("ppm", "mg/100 g") or isinstance(in_ppm, Missing):
        what = f"the newest {element} test of plot {plot_id} is in {reading.unit}"
        raise InputError([Problem("project", what, "A projection needs a reading in ppm or mg/100 g.")])
    since = [row for row in _since_test(view, plot_id, planned) if row.supply == nutrient.value]
    applied_kg = sum(row.applied_kg + (row.planned_kg or 0.0) for row in since)
    area_ha = view.areas[plot_id].spread_area_m2 / HA_M2
    figure = (
        files.load_change_figures().get(nutrient)
        if lb_per_ppm is None
        else work.user_figure(nutrient, lb_per_ppm)
    )
    added_kg_ha = applied_kg / area_ha if area_ha else 0.0
    after = f"after the sample of {newest.sampled_on}" + (", with what is planned" if planned else "")
    return work.project(
        nutrient, in_ppm[0], reading.extractant or "", added_kg_ha, removed_kg_ha, figure, after
    )
