"""The season in open formats for other programs and machines.

This file answers "how do I take it all away with me?". It decides what stands in each file: plots with
their needs, the areas to spread with a rate per product, keep-outs, way-points, tables, and the machine
task file. Shapes are written by `vectors`, tables by `workbook`, the task file by `taskfile`; reading
is `plots` and `tables`. Files that programs work on have every digit of a number and the unit in its name;
what a person reads on a device is rounded as on paper (`device_files`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.files import (
    LayerFeature,
    LayerKind,
    Value,
    make_folder,
    refuse_to_replace,
    write_layer,
    write_layers,
)
from loamwright.handoff import device_files
from loamwright.handoff.buying_list import buying_sheet
from loamwright.handoff.season_record import record_sheets
from loamwright.handoff.taskfile import write_task_file, xml_text
from loamwright.handoff.workbook import Cell, Column, Section, Sheet, in_units, write_csv, write_workbook
from loamwright.land import PlotArea, point_shape, setback
from loamwright.money import currency_told
from loamwright.needs import LimeNeed, Need
from loamwright.planning import PlanLine
from loamwright.units import ACRE_M2, HA_M2, LB_ACRE_KG_HA, LB_KG, format_area
from loamwright.values import Timing
from loamwright.work import SeasonView, WorkState

#: Longest field name in a Shapefile [characters].
_DBF_NAME = 10


@dataclass(frozen=True, slots=True)
class ExportMade:
    """What was written.

    Parameters
    ----------
    paths
        The files, most useful first.
    problems
        What a format could not hold, and what was left out.
    """

    paths: tuple[Path, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class ExportKind:
    """One kind of export.

    Parameters
    ----------
    title
        What it is called.
    holds
        What the files hold, in one sentence.
    of_plan
        Whether it hands a plan out, which is refused while the plan is old.
    """

    title: str
    holds: str
    of_plan: bool = True


KINDS: Mapping[str, ExportKind] = {
    "boundaries": ExportKind(
        "Boundaries",
        "plots, keep-outs, ways and parts as GeoJSON, every corner of them, to import again",
        False,
    ),
    "geojson": ExportKind(
        "GeoJSON", "plots with needs, areas to spread with rates, keep-outs and setbacks, cores"
    ),
    "geopackage": ExportKind("GeoPackage", "the same as layers of one file any GIS opens"),
    "shapefile": ExportKind("Shapefile", "zone map: areas to spread with a rate column per product"),
    "kml": ExportKind(
        "KML", "plots by product and keep-outs for a globe viewer, the work in the description"
    ),
    "gpx": ExportKind(
        "GPX", "plots, ways in and soil cores as way-points, outlines as tracks, for a GPS receiver", False
    ),
    "rounds": ExportKind("GPX of the rounds", "stops numbered as on paper, with rate, amount and packages"),
    "csv": ExportKind("CSV", "tables: plots, needs, plan, buying list, record"),
    "xlsx": ExportKind("XLSX", "the same tables as one workbook"),
    "taskfile": ExportKind(
        "ISO 11783-10 task file", "fields, products, and a task for each round, for a terminal"
    ),
}

# ---------------------------------------------------------------------------------------------
# Rate columns


@dataclass(frozen=True, slots=True)
class RateColumn:
    """A column of rates: one product at one time.

    Parameters
    ----------
    name, short
        Field name, and the same within a Shapefile's ten characters.
    product, timing
        What the rates are of, and when (None = any time).
    """

    name: str
    short: str
    product: str
    timing: Timing | None


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


@dataclass(frozen=True, slots=True)
class _Units:
    """The units of a property as layers name them: areas and rates."""

    area: str
    area_m2: float
    rate: str
    rate_kg_ha: float


_UNITS = {
    "us": _Units("acres", ACRE_M2, "lb_acre", LB_ACRE_KG_HA),
    "metric": _Units("hectares", HA_M2, "kg_ha", 1.0),
}


def _units(view: SeasonView) -> _Units:
    return _UNITS[view.record.info.units]


def rate_columns(lines: Sequence[PlanLine], system: str = "us") -> tuple[RateColumn, ...]:
    """Name a rate column for each product and timing of a plan."""
    pairs = list(dict.fromkeys((line.product, line.timing) for line in lines))
    columns = []
    for number, (product, timing) in enumerate(pairs, 1):
        slug = _slug(product)
        short = f"R{number}_{slug.replace('_', '').upper()}"[:_DBF_NAME].rstrip("_")
        columns.append(RateColumn(f"rate_{number}_{slug[:30]}_{_UNITS[system].rate}", short, product, timing))
    return tuple(columns)


def _rate_columns_of(view: SeasonView) -> tuple[RateColumn, ...]:
    return rate_columns(view.plan.lines if view.plan else (), view.record.info.units)


def _columns_sheet(view: SeasonView) -> Sheet:
    unit = _units(view).rate.replace("_", "/")
    rows = tuple(
        (c.name, c.short, c.product, c.timing.value if c.timing else "any time", f"{unit} of product")
        for c in _rate_columns_of(view)
    )
    heads = (
        Column("field", 40),
        Column("field in a Shapefile", 14),
        Column("product", 32),
        Column("timing", 16),
        Column("unit", 20),
    )
    return Sheet("Rate columns", (), heads, (Section("", rows),))


# ---------------------------------------------------------------------------------------------
# Layers


def _plot_features(view: SeasonView) -> list[LayerFeature]:
    by_plot: dict[str, list[str]] = {}
    units, imperial = _units(view), view.record.info.units == "us"
    weight = "lb" if imperial else "kg"
    for line in view.plan.lines if view.plan else ():
        when = f", {line.timing.value}" if line.timing else ""
        rate, mass = line.rate_kg_ha / units.rate_kg_ha, line.mass_kg / (LB_KG if imperial else 1.0)
        text = f"{line.product}{when}: {rate:.1f} {units.rate.replace('_', '/')}, {mass:.1f} {weight}"
        by_plot.setdefault(line.plot_id, []).append(text)
    features = []
    for plot in view.record.plots:
        area, cropping = view.areas[plot.plot_id], view.croppings.get(plot.plot_id)
        goal = cropping.yield_goal if cropping else None
        words: dict[str, Value] = {
            "plot_id": plot.plot_id,
            "name": plot.name,
            "season": view.record.info.season,
            "crop": cropping.crop if cropping else None,
            "previous_crop": cropping.previous_crop if cropping else None,
            "yield_goal": f"{goal.value:g} {goal.unit}" if goal else None,
            "access": plot.access or None,
            "entrance": f"{plot.entrance[0]:.7f}, {plot.entrance[1]:.7f}" if plot.entrance else None,
            "notes": plot.notes or None,
            units.area: area.area_m2 / units.area_m2,
            f"spread_{units.area}": area.spread_area_m2 / units.area_m2,
        }
        needs = view.needs.get(plot.plot_id)
        for need in needs.needs if needs else ():
            key = f"need_{need.nutrient.value.lower()}"
            words[f"{key}_state"] = need.state.value
            words[f"{key}_{units.rate}"] = (
                None if need.rate_kg_ha is None else need.rate_kg_ha / units.rate_kg_ha
            )
        if needs:
            lime = needs.lime
            words["need_lime_state"] = lime.state.value
            words[f"need_lime_{units.rate}"] = (
                None if lime.rate_kg_ha is None else lime.rate_kg_ha / units.rate_kg_ha
            )
            words["need_lime_basis"] = lime.basis.value if lime.basis else None
        words["plan"] = "; ".join(by_plot.get(plot.plot_id, ())) or None
        cost = view.plan.plot_costs.get(plot.plot_id) if view.plan else None
        words[f"cost_{currency_told().lower()}"] = None if cost is None else float(cost)
        features.append(LayerFeature(plot.boundary, words))
    return features


def _zone_features(view: SeasonView, columns: Sequence[RateColumn], short: bool) -> list[LayerFeature]:
    """Areas to spread with the rates of passes not yet begun; zero where a product does not go."""
    units = _units(view)
    begun = {s.line_id for s in view.statuses if s.line_id and s.state is not WorkState.NOTHING}
    rates: dict[tuple[str, str, Timing | None], float] = {}
    done: dict[str, list[str]] = {}
    for line in view.plan.lines if view.plan else ():
        if line.line_id in begun:
            done.setdefault(line.plot_id, []).append(line.product)
        else:
            key = (line.plot_id, line.product, line.timing)
            rates[key] = rates.get(key, 0.0) + line.rate_kg_ha
    features = []
    for plot in view.record.plots:
        area, cropping = view.areas[plot.plot_id], view.croppings.get(plot.plot_id)
        if area.spread is None:
            continue
        words: dict[str, Value] = {
            "plot_id": plot.plot_id,
            "name": plot.name,
            "crop": cropping.crop if cropping else None,
            units.area: area.spread_area_m2 / units.area_m2,
        }
        for column in columns:
            rate = rates.get((plot.plot_id, column.product, column.timing), 0.0)
            words[column.short if short else column.name] = rate / units.rate_kg_ha
        words["begun"] = "; ".join(done.get(plot.plot_id, ())) or None
        features.append(LayerFeature(area.spread, words))
    return features


def _begun_note(view: SeasonView) -> tuple[Problem, ...]:
    begun = [s for s in view.statuses if s.line_id and s.state is not WorkState.NOTHING]
    if not begun:
        return ()
    return (
        Problem(
            "zones",
            f"{len(begun)} passes the record reports as begun or done have rate 0 and are named in 'begun'",
            "Nothing to do; plan again to split what is left.",
            Level.NOTE,
        ),
    )


def _keepout_features(view: SeasonView) -> list[LayerFeature]:
    return [
        LayerFeature(
            keepout.shape,
            {
                "keepout_id": keepout.keepout_id,
                "name": keepout.name or None,
                "kind": keepout.kind or None,
                "setback": keepout.setback_text or None,
                "notes": keepout.notes or None,
            },
        )
        for keepout in view.record.keepouts
    ]


def _setback_features(view: SeasonView) -> list[LayerFeature]:
    """The ground kept clear, setback included, of each keep-out whose setback is stated."""
    grounds = [(keepout, setback(keepout)) for keepout in view.record.keepouts]
    return [
        LayerFeature(
            ground,
            {"keepout_id": keepout.keepout_id, "name": keepout.name or None, "setback": keepout.setback_text},
        )
        for keepout, ground in grounds
        if ground is not None
    ]


def _core_features(view: SeasonView) -> list[LayerFeature]:
    return [
        LayerFeature(
            point_shape(point), {"plot_id": plot_id, "core": number, "name": f"{plot_id} core {number}"}
        )
        for plot_id, sampling in view.sampling.items()
        if sampling.due
        for number, point in enumerate(sampling.points, 1)
    ]


# ---------------------------------------------------------------------------------------------
# Tables


def _plots_sheet(view: SeasonView) -> Sheet:
    columns = (
        Column("plot", 10),
        Column("name", 24),
        Column("crop", 20),
        Column("acres", 9, 2),
        Column("acres to spread", 9, 2),
        Column("standard error acres", 10, 3),
        Column("share of cost $", 11, money=True),
    )
    rows: list[tuple[Cell, ...]] = []
    for plot in view.record.plots:
        area, cropping = view.areas[plot.plot_id], view.croppings.get(plot.plot_id)
        rows.append(
            (
                plot.plot_id,
                plot.name,
                cropping.crop if cropping else None,
                area.area_m2 / ACRE_M2,
                area.spread_area_m2 / ACRE_M2,
                None if area.area_se_m2 is None else area.area_se_m2 / ACRE_M2,
                view.plan.plot_costs.get(plot.plot_id) if view.plan else None,
            )
        )
    return Sheet("Plots", (), columns, (Section("", tuple(rows)),))


def _needs_sheet(view: SeasonView) -> Sheet:
    columns = (
        Column("plot", 10),
        Column("supply", 12),
        Column("state", 10),
        Column("lb/acre", 10, 1),
        Column("lb", 10, 1),
        Column("why", 60),
        Column("guideline", 20),
        Column("standing", 14),
        Column("sources", 60),
    )
    rows: list[tuple[Cell, ...]] = []
    for plot_id, needs in view.needs.items():
        lime = needs.lime
        named: list[tuple[str, Need | LimeNeed]] = [(need.nutrient.value, need) for need in needs.needs]
        for supply, need in [*named, (lime.basis.supply if lime.basis else "lime", lime)]:
            sources = dict.fromkeys(str(step.source) for step in need.steps)
            rows.append(
                (
                    plot_id,
                    supply,
                    need.state.value,
                    None if need.rate_kg_ha is None else need.rate_kg_ha / LB_ACRE_KG_HA,
                    None if need.mass_kg is None else need.mass_kg / LB_KG,
                    need.reason,
                    need.edition,
                    need.edition_status,
                    "; ".join(sources),
                )
            )
    return Sheet("Needs", (), columns, (Section("", tuple(rows)),))


def write_needs(view: SeasonView, path: Path) -> None:
    """Write what each plot needs as a CSV table, figures to the last digit.

    Parameters
    ----------
    view
        The season.
    path
        Where; it is there whole, or not at all.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    write_csv(path, in_units(_needs_sheet(view), view.record.info.units))


def write_areas(rows: Iterable[tuple[str, PlotArea]], path: Path) -> None:
    """Write what plots measure as a CSV table, figures to the last digit.

    Parameters
    ----------
    rows
        Name and area of each.
    path
        Where; it is there whole, or not at all.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    columns = (
        Column("plot", 10),
        Column("name", 24),
        Column("acres", 9, 2),
        Column("acres to spread", 9, 2),
        Column("standard error acres", 10, 3),
        Column("m²", 9, 2),
        Column("m² to spread", 9, 2),
        Column("perimeter m", 9, 2),
        Column("parts", 6),
        Column("holes", 6),
        Column("setback not stated", 24),
    )
    cells: list[tuple[Cell, ...]] = [
        (
            area.plot_id,
            name,
            area.area_m2 / ACRE_M2,
            area.spread_area_m2 / ACRE_M2,
            None if area.area_se_m2 is None else area.area_se_m2 / ACRE_M2,
            area.area_m2,
            area.spread_area_m2,
            area.perimeter_m or None,
            area.parts,
            area.holes,
            ", ".join(area.missing_setbacks),
        )
        for name, area in rows
    ]
    write_csv(path, Sheet("Areas", (), columns, (Section("", tuple(cells)),)))


def _plan_sheet(view: SeasonView) -> Sheet:
    columns = (
        Column("plot", 10),
        Column("product", 32),
        Column("timing", 16),
        Column("lb/acre", 10, 1),
        Column("lb", 11, 1),
        Column("packages", 10, 2),
        Column("package", 16),
        Column("state", 12),
        Column("line", 20),
    )
    states = {s.line_id: s.state.value for s in view.statuses}
    rows: list[tuple[Cell, ...]] = [
        (
            line.plot_id,
            line.product,
            line.timing.value if line.timing else "any time",
            line.rate_kg_ha / LB_ACRE_KG_HA,
            line.mass_kg / LB_KG,
            line.packages,
            line.package,
            states.get(line.line_id),
            line.line_id,
        )
        for line in (view.plan.lines if view.plan else ())
    ]
    return Sheet("Plan", (), columns, (Section("", tuple(rows)),))


def season_sheets(view: SeasonView) -> tuple[Sheet, ...]:
    """Lay the season out as tables: plots, needs, plan, buying list, record."""
    buying, system = buying_sheet(view), view.record.info.units
    return (
        *(in_units(sheet(view), system) for sheet in (_plots_sheet, _needs_sheet, _plan_sheet)),
        *((buying,) if buying else ()),
        *record_sheets(view),
    )


# ---------------------------------------------------------------------------------------------
# Kinds


def _layers(view: SeasonView) -> tuple[tuple[str, list[LayerFeature]], ...]:
    columns = _rate_columns_of(view)
    return (
        ("plots", _plot_features(view)),
        ("zones", _zone_features(view, columns, short=False)),
        ("keepouts", _keepout_features(view)),
        ("setbacks", _setback_features(view)),
        ("cores", _core_features(view)),
    )


def _as_xml(feature: LayerFeature) -> LayerFeature:
    """A feature whose texts an XML file can hold."""
    words = {
        name: xml_text(value) if isinstance(value, str) else value
        for name, value in feature.properties.items()
    }
    return LayerFeature(feature.shape, words)


def _written(path: Path, kind: LayerKind, features: list[LayerFeature], layer: str) -> ExportMade:
    if kind in (LayerKind.KML, LayerKind.GPX):
        features = [_as_xml(feature) for feature in features]
    problems = write_layer(path, kind, features, layer)
    pattern = f"{path.stem}*{path.suffix}" if kind is LayerKind.SHAPEFILE else path.name
    failed = any(problem.level is Level.ERROR for problem in problems)
    made = tuple(sorted(path.parent.glob(pattern))) if features and not failed else ()
    return ExportMade(made, problems)


def _joined(parts: Sequence[ExportMade]) -> ExportMade:
    paths = dict.fromkeys(path for part in parts for path in part.paths)
    problems = dict.fromkeys(problem for part in parts for problem in part.problems)
    return ExportMade(tuple(paths), tuple(problems))


def _legend(view: SeasonView, folder: Path) -> ExportMade:
    path = folder / "zones_columns.csv"
    write_csv(path, _columns_sheet(view))
    return ExportMade((path,), _begun_note(view))


def _geojson(view: SeasonView, folder: Path) -> ExportMade:
    layers = _layers(view)
    made = [_written(folder / f"{n}.geojson", LayerKind.GEOJSON, f, n) for n, f in layers if f]
    return _joined([*made, _legend(view, folder)])


def _geopackage(view: SeasonView, folder: Path) -> ExportMade:
    path = folder / "season.gpkg"
    refuse_to_replace(path)
    problems = write_layers(path, LayerKind.GEOPACKAGE, _layers(view))
    return _joined([ExportMade((path,), problems), _legend(view, folder)])


def _shapefile(view: SeasonView, folder: Path) -> ExportMade:
    columns = _rate_columns_of(view)
    features = _zone_features(view, columns, short=True)
    return _joined(
        [_written(folder / "zones.shp", LayerKind.SHAPEFILE, features, "zones"), _legend(view, folder)]
    )


def _described(feature: LayerFeature, work: Sequence[str], spread: str) -> LayerFeature:
    """A plot for a globe viewer, which shows the description when the plot is touched."""
    words = feature.properties
    parts = [
        f"{words['plot_id']}, {spread} to spread",
        *work,
        *(str(words[key]) for key in ("access", "notes") if words[key]),
    ]
    kept = {
        key: round(value, 2) if isinstance(value, float) else value
        for key, value in words.items()
        if key != "plan" and not key.startswith(("need_", "cost_"))
    }
    return LayerFeature(
        feature.shape,
        {**kept, "name": words["name"] or words["plot_id"], "description": "; ".join(parts)},
    )


def _kml(view: SeasonView, folder: Path) -> ExportMade:
    work = device_files.work_of(view)
    ids = [plot.plot_id for plot in view.record.plots]
    plots = [
        _described(
            feature,
            work.get(plot_id, ()),
            format_area(view.areas[plot_id].spread_area_m2, view.record.info.units),
        )
        for plot_id, feature in zip(ids, _plot_features(view), strict=True)
    ]
    made = []
    for name, features in (("plots", plots), ("keepouts", _keepout_features(view))):
        if features:
            made.append(_written(folder / f"{name}.kml", LayerKind.KML, features, name))
    if made and made[0].paths and plots:
        device_files.dress(made[0].paths[0], ids, device_files.product_styles(view))
    return _joined(made)


def _gpx(view: SeasonView, folder: Path) -> ExportMade:
    cores = [
        LayerFeature(
            core.shape,
            {"name": core.properties["name"], "desc": "soil core", "sym": device_files.SYMBOLS["core"]},
        )
        for core in _core_features(view)
    ]
    layers = (
        ("places", device_files.places(view)),
        ("outlines", device_files.outlines(view)),
        ("cores", cores),
    )
    return _joined([_written(folder / f"{n}.gpx", LayerKind.GPX, f, n) for n, f in layers if f])


def _rounds(view: SeasonView, folder: Path) -> ExportMade:
    return _written(folder / "rounds.gpx", LayerKind.GPX, device_files.stops(view), "rounds")


def _csv(view: SeasonView, folder: Path) -> ExportMade:
    paths = []
    for sheet in season_sheets(view):
        path = folder / f"{_slug(sheet.name)}.csv"
        write_csv(path, sheet)
        paths.append(path)
    return ExportMade(tuple(paths), ())


def _xlsx(view: SeasonView, folder: Path) -> ExportMade:
    path = folder / "season.xlsx"
    write_workbook(path, season_sheets(view), view.made_on)
    return ExportMade((path,), ())


def _taskfile(view: SeasonView, folder: Path) -> ExportMade:
    path, problems = write_task_file(view, folder)
    return ExportMade((path,), problems)


def _boundaries(view: SeasonView, folder: Path) -> ExportMade:
    """What `import` takes again: ids, names and words of each shape, and of plots the crop of the season."""
    record, layers = view.record, dict[str, list[LayerFeature]]()
    layers["plots"] = []
    for plot in record.plots:
        words = {"plot_id": plot.plot_id, "name": plot.name, "access": plot.access, "notes": plot.notes}
        if crop := view.croppings.get(plot.plot_id):
            words |= {"season": str(crop.season), "crop": crop.crop, "previous_crop": crop.previous_crop}
        layers["plots"].append(LayerFeature(plot.boundary, words))
    layers["keepouts"] = _keepout_features(view)
    layers["ways"] = [
        LayerFeature(
            one.shape,
            {"way_id": one.way_id, "name": one.name, "kind": one.kind, "notes": one.notes}
            | ({} if one.width_m is None else {"width": f"{one.width_m:.10g} m"})
            | ({} if one.load_limit_kg is None else {"load_limit": f"{one.load_limit_kg:.10g} kg"}),
        )
        for one in record.ways
    ]
    layers["parts"] = [
        LayerFeature(
            one.shape, {"part_id": one.part_id, "plot_id": one.plot_id, "name": one.name, "notes": one.notes}
        )
        for one in record.parts
        if one.shape is not None
    ]
    return _joined(
        [_written(folder / f"{n}.geojson", LayerKind.GEOJSON, f, n) for n, f in layers.items() if f]
    )


_MAKERS: Mapping[str, Callable[[SeasonView, Path], ExportMade]] = {
    "boundaries": _boundaries,
    "geojson": _geojson,
    "geopackage": _geopackage,
    "shapefile": _shapefile,
    "kml": _kml,
    "gpx": _gpx,
    "rounds": _rounds,
    "csv": _csv,
    "xlsx": _xlsx,
    "taskfile": _taskfile,
}


def check_kind(kind: str) -> None:
    """Refuse what is no kind of export.

    Parameters
    ----------
    kind
        As typed.

    Raises
    ------
    InputError
        It lists what there is.
    """
    if kind not in KINDS:
        names = "; ".join(f"{name} ({one.holds})" for name, one in KINDS.items())
        raise InputError((Problem("export", f"{kind!r} is not a kind of export", f"Use one of: {names}."),))


def export(view: SeasonView, folder: Path, kind: str) -> ExportMade:
    """Write the season in one kind of file.

    Parameters
    ----------
    view
        The season.
    folder
        Folder to write into, made if missing; files of the same name are replaced.
    kind
        A key of `KINDS`.

    Returns
    -------
    ExportMade

    Raises
    ------
    InputError
        When the kind is not known, the folder cannot be written to, or no file came about.
    PropertyFileError
        When a property file stands where the GeoPackage would go.
    """
    check_kind(kind)
    make_folder(folder)
    made = _MAKERS[kind](view, folder)
    if not made.paths and has_errors(made.problems):
        raise InputError(made.problems)
    return made
