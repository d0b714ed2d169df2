"""The whole story of one property and season: open → areas → needs → plan → map, orders, exports.

It knows the order of the steps and does no arithmetic of its own; each step is one call to the room that
does. How things come in: `intake`. How records come back: `recording`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loamwright import (
    boundary_checks,
    buyinglist,
    cautions,
    exports,
    fieldmap,
    geometry,
    guidelines,
    ledger,
    needs,
    paper,
    products,
    reference_data,
    sampling,
    samplingsheets,
    seasonpicture,
    seasonrecord,
    spreading,
    store,
    workorders,
)
from loamwright import history as plot_history
from loamwright.acidity import Acidity
from loamwright.answers import (
    Plan,
    PlotArea,
    PlotNeeds,
    PropertyRecord,
    SeasonView,
    Story,
)
from loamwright.errors import InputError, Problem
from loamwright.soil import read_unit
from loamwright.units import HA_M2
from loamwright.values import (
    Cropping,
    LimeBasis,
    Nutrient,
)

#: Called with a short text as each stage begins; screens show it, tests ignore it.
Progress = Callable[[str], None]


def quiet(_stage: str) -> None:
    """Report nothing.

    Parameters
    ----------
    _stage
        Ignored.
    """


# ---------------------------------------------------------------------------------------------
# The season, computed


def product_contents(record: PropertyRecord) -> Mapping[str, Mapping[str, float]]:
    """Return what every product supplies, nutrients and effective lime in every basis its label allows.

    Parameters
    ----------
    record
        The property.

    Returns
    -------
    mapping of product to mapping of supply key to float
        Mass fraction [kg per kg product].
    """
    return {
        product.product: products.supply_fractions(product, tuple(LimeBasis)) for product in record.products
    }


def _all_needs(
    record: PropertyRecord,
    areas: Mapping[str, PlotArea],
    applied: Mapping[str, Mapping[str, float]],
    today: dt.date,
) -> Mapping[str, PlotNeeds]:
    settings = record.info.settings
    guideline = guidelines.load(settings.guideline)
    lime_guideline = guidelines.load(settings.lime_guideline)
    croppings = _croppings(record)
    return {
        plot.plot_id: needs.plot_needs(
            plot,
            croppings.get(plot.plot_id),
            areas[plot.plot_id],
            tuple(test for test in record.soil_tests if test.plot_id == plot.plot_id),
            guideline,
            lime_guideline,
            settings,
            applied.get(plot.plot_id, {}),
            tuple(item for item in record.organic_inputs if item.plot_id == plot.plot_id),
            today,
        )
        for plot in record.plots
    }


def _croppings(record: PropertyRecord) -> Mapping[str, Cropping]:
    return {item.plot_id: item for item in record.croppings if item.season == record.info.season}


def _ph_dates(record: PropertyRecord, today: dt.date) -> Mapping[str, dt.date]:
    """Return the date of each plot's newest sample that says something of lime."""
    dates: dict[str, dt.date] = {}
    for test in record.soil_tests:
        speaks = test.ph is not None or (test.recommendation is not None and test.recommendation.lime)
        if speaks and test.sampled_on is not None and test.sampled_on <= today:
            dates[test.plot_id] = max(test.sampled_on, dates.get(test.plot_id, test.sampled_on))
    return dates


def _newest_plan(record: PropertyRecord) -> Plan | None:
    plans = [plan for plan in record.plans if plan.season == record.info.season]
    return plans[-1] if plans else None


def _sampling_guide(place: str) -> sampling.SamplingGuide:
    guides = reference_data.load_sampling_guides()
    if place not in guides:
        choices = "; ".join(guides)
        what = f"no published sampling advice for {place!r} is built in"
        raise InputError([Problem("settings, sampling_guide", what, f"Use one of: {choices}.")])
    return guides[place]


def compute(record: PropertyRecord, today: dt.date, progress: Progress = quiet) -> SeasonView:
    """Compute one season of a property from what its file holds.

    Parameters
    ----------
    record
        The property.
    today
        Date for the age of tests and cautions.
    progress
        Told each stage.

    Returns
    -------
    SeasonView

    Raises
    ------
    InputError
        When a setting names a guideline or place that is not built in.
    """
    progress("measuring plots")
    areas = {area.plot_id: area for area in geometry.areas(record.plots, record.keepouts)}
    entries = ledger.season_entries(record.applications, record.info.season)
    contents = product_contents(record)
    in_season, problems = ledger.applied_supplies(entries, contents)
    unseen = ledger.lime_entries(record.applications, _ph_dates(record, today), record.info.season)
    applied = ledger.merge_lime(in_season, ledger.applied_supplies(unseen, contents)[0])
    progress("reading soil tests and tables")
    plot_needs = _all_needs(record, areas, applied, today)
    needs_before = _all_needs(record, areas, {}, today) if applied else plot_needs
    plan = _newest_plan(record)
    croppings = _croppings(record)
    progress("planning rounds and samples")
    rounds = (
        ()
        if plan is None
        else spreading.plan_rounds(
            plan.lines,
            areas,
            geometry.places_m(record.plots),
            record.products,
            record.info.settings.spreaders,
        )
    )
    guide = _sampling_guide(record.info.settings.sampling_guide)
    texts = reference_data.load_caution_texts()
    return SeasonView(
        record=record,
        areas=areas,
        croppings=croppings,
        needs=plot_needs,
        plan=plan,
        statuses=ledger.line_statuses(plan, record.applications, record.info.season),
        balances=ledger.balances(needs_before, applied),
        rounds=rounds,
        sampling=sampling.plan_sampling(guide, record, areas, today),
        cautions=cautions.fire(texts, record, areas, croppings, plot_needs, plan, today),
        problems=(
            *boundary_checks.find_overlaps(record.plots),
            *problems,
            *ledger.unknown_corrections(record.applications),
            *dict.fromkeys(problem for found in plot_needs.values() for problem in found.problems),
        ),
        made_on=today,
    )


def with_sampling(view: SeasonView, place: str | None, cores: int | None) -> SeasonView:
    """Plan the soil sampling again by another place's advice or with another number of cores.

    Parameters
    ----------
    view
        The season.
    place
        Place whose published advice is used; None = the property's setting.
    cores
        Cores in one sample [count]; None = the property's setting.

    Returns
    -------
    SeasonView

    Raises
    ------
    InputError
        When no advice of that place is built in, or the cores are fewer than one.
    """
    if cores is not None and cores < 1:
        raise InputError([Problem("--cores", f"{cores} is no number of cores", "Give 1 or more.")])
    settings = view.record.info.settings
    settings = replace(
        settings,
        sampling_guide=settings.sampling_guide if place is None else place,
        cores_per_sample=settings.cores_per_sample if cores is None else cores,
    )
    record = replace(view.record, info=replace(view.record.info, settings=settings))
    guide = _sampling_guide(settings.sampling_guide)
    planned = sampling.plan_sampling(guide, record, view.areas, view.made_on)
    return replace(view, record=record, sampling=planned)


def view(path: Path, today: dt.date) -> SeasonView:
    """Open a property file and compute its season.

    Parameters
    ----------
    path
        The property file.
    today
        Date for the age of tests and cautions.

    Returns
    -------
    SeasonView

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    return compute(store.load(path), today)


# ---------------------------------------------------------------------------------------------
# Showing the math


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
    plot = next((item for item in view.record.plots if item.plot_id == plot_id), None)
    if plot is None:
        known = ", ".join(item.plot_id for item in view.record.plots)
        raise InputError(
            [Problem("plot", f"{plot_id!r} is not a plot of this property", f"Use one of: {known}.")]
        )
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
    )


def history(view: SeasonView, plot_id: str | None = None) -> tuple[plot_history.PlotHistory, ...]:
    """Return tests and nutrient balances of past seasons.

    Parameters
    ----------
    view
        The season.
    plot_id
        One plot, or None for every plot.

    Returns
    -------
    tuple of history.PlotHistory

    Raises
    ------
    InputError
        When the plot is not known.
    """
    histories, _problems = plot_history.plot_histories(view.record, product_contents(view.record))
    if plot_id is None:
        return tuple(histories.values())
    if plot_id not in histories:
        raise InputError([Problem("plot", f"{plot_id!r} is not a plot of this property", "")])
    return (histories[plot_id],)


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
    entries = ledger.season_entries(view.record.applications, view.record.info.season)
    return ledger.acidity_left(entries, view.record.products)


def project(
    view: SeasonView, plot_id: str, nutrient: Nutrient, removed_kg_ha: float | None, lb_per_ppm: float | None
) -> plot_history.Projection:
    """Say where a plot's soil test may go from what was put on this season and what the crop takes out.

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

    Returns
    -------
    history.Projection

    Raises
    ------
    InputError
        When the plot has no reading in ppm, or the nutrient has no soil test.
    """
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
    if read_unit(reading.unit) != "ppm":
        what = f"the newest {element} test of plot {plot_id} is in {reading.unit}"
        raise InputError([Problem("project", what, "A projection needs a reading in ppm.")])
    applied_kg = sum(
        row.applied_kg for row in view.balances if row.plot_id == plot_id and row.supply == nutrient.value
    )
    area_ha = view.areas[plot_id].spread_area_m2 / HA_M2
    figure = (
        reference_data.load_change_figures().get(nutrient)
        if lb_per_ppm is None
        else plot_history.user_figure(nutrient, lb_per_ppm)
    )
    added_kg_ha = applied_kg / area_ha if area_ha else 0.0
    return plot_history.project(
        nutrient, reading.value, reading.extractant or "", added_kg_ha, removed_kg_ha, figure
    )


# ---------------------------------------------------------------------------------------------
# Handing off


def make_map(
    view: SeasonView,
    path: Path,
    round_id: str | None = None,
    basemap: str | None = None,
    image: Path | None = None,
) -> fieldmap.MapMade:
    """Write the field map.

    Parameters
    ----------
    view
        The season.
    path
        Where.
    round_id
        For this round only; None = the whole property.
    basemap
        ``"aerial"`` or ``"topo"`` for an online background; None = none.
    image
        The user's own GeoTIFF to embed, or None.

    Returns
    -------
    fieldmap.MapMade

    Raises
    ------
    InputError
        When the round or basemap is not known.
    """
    known = {item.round_id for item in view.rounds}
    if round_id is not None and round_id not in known:
        choices = ", ".join(sorted(known)) or "none yet: make a plan first"
        raise InputError([Problem("--round", f"{round_id!r} is not a round", f"Use one of: {choices}.")])
    if basemap is not None and basemap not in {item.value for item in fieldmap.Basemap}:
        raise InputError([Problem("--basemap", f"{basemap!r} is not known", "Use aerial or topo.")])
    options = fieldmap.MapOptions(
        round_id=round_id or "",
        basemap=None if basemap is None else fieldmap.Basemap(basemap),
        picture=image,
    )
    return fieldmap.write_map(view, path, options)


@dataclass(frozen=True, slots=True)
class Written:
    """Files that were written, and what they could not show."""

    paths: tuple[Path, ...]
    problems: tuple[Problem, ...] = ()


def _gathered(made: Sequence[paper.PaperMade]) -> Written:
    return Written(
        tuple(item.path for item in made if item.pages),
        tuple(problem for item in made for problem in item.problems),
    )


def write_orders(view: SeasonView, folder: Path, options: paper.PaperOptions) -> Written:
    """Write the work orders with the buying list (PDF), and the buying list as a spreadsheet.

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.
    options
        Paper size, rounds, appendix.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When there is no plan to print, a round is not known, or the folder cannot be written to.
    """
    if view.plan is None:
        raise InputError([Problem("orders", "this season has no plan yet", "Run `loamwright plan` first.")])
    return _gathered(
        (
            workorders.write_orders(view, folder / "work_orders.pdf", options),
            buyinglist.write_buying_list(view, folder / "buying_list.xlsx"),
        )
    )


def write_reports(view: SeasonView, folder: Path, options: paper.PaperOptions) -> Written:
    """Write the season picture and the season record (PDF and spreadsheet).

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.
    options
        Paper size.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    return _gathered(
        (
            seasonpicture.write_season_picture(view, folder / "season_picture.pdf", options),
            seasonrecord.write_season_record(view, folder / "season_record.pdf", options),
            seasonrecord.write_season_record(view, folder / "season_record.xlsx", options),
        )
    )


def write_sampling(view: SeasonView, folder: Path) -> Written:
    """Write core places for a GPS receiver and sampling sheets with bag labels.

    Parameters
    ----------
    view
        The season.
    folder
        Where; made if missing.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    sheets = _gathered((samplingsheets.write_sampling_sheets(view, folder / "sampling_sheets.pdf"),))
    places = exports.export(view, folder, "gpx")
    return Written((*sheets.paths, *places.paths), (*sheets.problems, *places.problems))


def export(view: SeasonView, kind: str, folder: Path) -> exports.ExportMade:
    """Write the season for other programs.

    Parameters
    ----------
    view
        The season.
    kind
        A key of `exports.KINDS`.
    folder
        Where; made if missing.

    Returns
    -------
    exports.ExportMade

    Raises
    ------
    InputError
        When the kind is not known or the folder cannot be written.
    """
    return exports.export(view, folder, kind)
