"""Bringing things in: measuring and comparing files, making a property, importing into it.

This file answers "what does this file hold, and may it come in?". Everything of one import is read and
checked before anything is stored; then all of it is, or nothing. What follows from it: `season`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loamwright import (
    boundaries,
    boundary_checks,
    geometry,
    guidelines,
    pricelists,
    products,
    records,
    store,
    tablefiles,
    tables,
    vectorfiles,
)
from loamwright import settings as settings_file
from loamwright.answers import (
    PlotArea,
    PropertyRecord,
)
from loamwright.errors import InputError, Problem, has_errors
from loamwright.values import (
    Application,
    Cropping,
    KeepOut,
    Offer,
    OrganicInput,
    Plot,
    Product,
    PropertyInfo,
    SoilTest,
)

#: Ending of a property file.
PROPERTY_SUFFIX = ".gpkg"


# ---------------------------------------------------------------------------------------------
# Files that need no property


@dataclass(frozen=True, slots=True)
class Measured:
    """Plots of a file with their areas, and what was found on the way."""

    plots: tuple[Plot, ...]
    areas: Mapping[str, PlotArea]
    problems: tuple[Problem, ...]


def measure(
    path: Path,
    keepouts_path: Path | None = None,
    season: int = 0,
    gps_sigma_m: float = 3.0,
    layer: str | None = None,
) -> Measured:
    """Measure the plots of a file without making a property.

    Parameters
    ----------
    path
        File with plot boundaries.
    keepouts_path
        File with keep-outs to subtract, or None.
    season
        Season written to croppings that name none [calendar year].
    gps_sigma_m
        Standard error of a walked GPS fix [m].
    layer
        Layer of the file to read, when it has several.

    Returns
    -------
    Measured

    Raises
    ------
    InputError
        When no plot can be measured.
    """
    read = boundaries.plots_from_shapes(
        vectorfiles.read_shapes(path, layer), season, gps_sigma_m, unnamed_ok=True
    )
    problems = list(read.problems)
    keepouts: tuple[KeepOut, ...] = ()
    if keepouts_path is not None:
        kept = boundaries.keepouts_from_shapes(vectorfiles.read_shapes(keepouts_path))
        keepouts, problems = kept.keepouts, [*problems, *kept.problems]
    if not read.plots:
        raise InputError(problems)
    problems.extend(boundary_checks.find_overlaps(read.plots))
    areas = {area.plot_id: area for area in geometry.areas(read.plots, keepouts)}
    return Measured(read.plots, areas, tuple(problems))


def compare(path: Path) -> products.Comparison:
    """Compare the offers of a products file or of a property.

    Parameters
    ----------
    path
        CSV or XLSX file with products, packages and prices; or a property file.

    Returns
    -------
    products.Comparison

    Raises
    ------
    InputError
        When the file holds no usable offer.
    """
    problems: tuple[Problem, ...] = ()
    if path.suffix == PROPERTY_SUFFIX:
        record = store.load(path)
        labels, offers = record.products, record.offers
    else:
        labels, offers, problems = pricelists.products_from(tablefiles.read_table(path))
    if not offers:
        raise InputError(problems or [Problem(str(path), "it holds no offers", "Import a products file.")])
    comparison = products.compare(labels, offers)
    return replace(comparison, problems=problems) if problems else comparison


def guideline_editions() -> tuple[guidelines.GuidelineInfo, ...]:
    """List the built-in guideline editions.

    Returns
    -------
    tuple of guidelines.GuidelineInfo
    """
    return guidelines.available()


def check_guideline(path: Path) -> tuple[Problem, ...]:
    """Check a guideline edition of the user's own.

    Parameters
    ----------
    path
        Its folder or file.

    Returns
    -------
    tuple of Problem
        Row by row; empty when it can be used as it is.
    """
    return guidelines.check(path)


# ---------------------------------------------------------------------------------------------
# Making a property and filling it


def new_property(path: Path, name: str, season: int, settings: Path | None, units: str | None) -> None:
    """Make an empty property file.

    Parameters
    ----------
    path
        Where; must not exist.
    name
        What people call the property.
    season
        Calendar year.
    settings
        A property.json whose settings are taken over, or None for our defaults.
    units
        ``"us"`` or ``"metric"``; None = as in `settings`, else ``"us"``.

    Raises
    ------
    InputError
        When the settings cannot be read.
    PropertyFileError
        When the file exists or cannot be written.
    """
    info = PropertyInfo(name, season) if settings is None else settings_file.info_from(settings)
    store.create(path, replace(info, name=name, season=season, units=units or info.units))


@dataclass(frozen=True, slots=True)
class Imported:
    """What one command took in: sentences, and what was found on the way."""

    taken: tuple[str, ...]
    problems: tuple[Problem, ...]


class _Basket:
    """Everything read from the files of one import, before any of it is stored."""

    def __init__(self, record: PropertyRecord, layer: str | None) -> None:
        self.season = record.info.season
        self.layer = layer
        self.gps_sigma_m = record.info.settings.gps_sigma_m
        self.name = record.info.name
        self.plots: dict[str, Plot] = {}
        self.croppings: list[Cropping] = []
        self.keepouts: list[KeepOut] = []
        self.tests: list[SoilTest] = []
        self.organic: list[OrganicInput] = []
        self.products: list[Product] = []
        self.offers: list[Offer] = []
        self.entries: list[Application] = []
        self.info: PropertyInfo | None = None
        self.known = {plot.plot_id for plot in record.plots}
        self.problems: list[Problem] = []
        self.taken: list[str] = []

    def take(self, path: Path, kind: str) -> None:
        """Read one file of a known kind."""
        if kind in ("plots", "keep-outs"):
            self._take_shapes(path, kind)
            return
        if kind == "settings":
            self.info = settings_file.info_from(path)
            self.taken.append(f"{path.name}: settings of {self.info.name}, season {self.info.season}")
            return
        found: Sequence[object]
        if kind == "records":
            entries, problems = records.records_from(path, self.known)
            self.entries.extend(entries)
            found, noun = entries, "record entries"
        else:
            table = tablefiles.read_table(path)
            if kind == "products":
                labels, offers, problems = pricelists.products_from(table)
                self.products.extend(labels)
                self.offers.extend(offers)
                found, noun = offers, f"offers of {len(labels)} products"
            elif kind == "soil tests":
                tests, problems = tables.soil_tests_from(table, self.known)
                self.tests.extend(tests)
                found, noun = tests, "soil tests"
            elif kind == "organic inputs":
                inputs, problems = tables.organic_inputs_from(table, self.known)
                self.organic.extend(inputs)
                found, noun = inputs, "organic inputs"
            else:
                entries, problems = tables.applications_from(table, self.known)
                self.entries.extend(entries)
                found, noun = entries, "record entries"
        self.problems.extend(problems)
        self.taken.append(f"{path.name}: {len(found)} {noun}")

    def _take_shapes(self, path: Path, kind: str) -> None:
        shapes = vectorfiles.read_shapes(path, self.layer)
        if kind == "plots":
            read = boundaries.plots_from_shapes(shapes, self.season, self.gps_sigma_m)
            for plot in read.plots:
                if plot.plot_id in self.plots:
                    self.problems.append(
                        Problem(
                            f"{path.name}, plot {plot.plot_id}, plot_id",
                            f"{plot.plot_id!r} stands in two of the files",
                            "Give every plot its own id.",
                        )
                    )
                self.plots[plot.plot_id] = plot
            self.croppings.extend(read.croppings)
            self.known.update(self.plots)
            self.problems.extend(read.problems)
            self.taken.append(f"{path.name}: {len(read.plots)} plots")
        else:
            kept = boundaries.keepouts_from_shapes(shapes)
            self.keepouts.extend(kept.keepouts)
            self.problems.extend(kept.problems)
            self.taken.append(f"{path.name}: {len(kept.keepouts)} keep-outs")

    def put(self, path: Path) -> store.Appended:
        """Store everything in one transaction."""
        with store.edit(path) as editor:
            if self.info is not None:
                editor.put_info(self.info)
            editor.put_plots(self.plots.values())
            editor.put_croppings(self.croppings)
            editor.put_keepouts(self.keepouts)
            editor.put_soil_tests(self.tests)
            editor.put_organic_inputs(self.organic)
            editor.put_products(self.products)
            editor.put_offers(self.offers)
            return editor.append_applications(self.entries)


#: Kinds of file that can be imported, in the order they are read: tests need their plots.
KINDS = (
    "settings",
    "plots",
    "keep-outs",
    "soil tests",
    "organic inputs",
    "products",
    "applications",
    "records",
)


def kind_of_file(path: Path, layer: str | None = None) -> str:
    """Tell what a file holds from its content.

    Parameters
    ----------
    path
        The file.
    layer
        Layer to look at, when it has several.

    Returns
    -------
    str
        One of `KINDS`.

    Raises
    ------
    InputError
        When the content does not tell.
    """
    kind: str | None
    if path.suffix.lower() in tablefiles.SUFFIXES:
        kind = tables.kind_of(tablefiles.read_table(path))
    elif path.suffix.lower() == ".json" and settings_file.looks_like(path):
        kind = "settings"
    elif path.suffix.lower() == ".json" and records.looks_like(path):
        kind = "records"
    else:
        kind = boundaries.looks_like(vectorfiles.read_shapes(path, layer))
        kind = "keep-outs" if kind == "keepouts" else kind
    if kind is None:
        raise InputError(
            [
                Problem(
                    str(path),
                    "its content does not tell what it holds",
                    f"Say it with --as, one of: {', '.join(KINDS)}.",
                )
            ]
        )
    return kind


def import_files(
    path: Path, files: Sequence[Path], kind: str | None = None, layer: str | None = None
) -> Imported:
    """Take files into a property: all of them, or nothing.

    Parameters
    ----------
    path
        The property file.
    files
        In any order.
    kind
        What they hold, one of `KINDS`; None = told from their content.
    layer
        Layer to read from files that have several.

    Returns
    -------
    Imported

    Raises
    ------
    InputError
        When any file has an error; nothing was stored.
    """
    if kind is not None and kind not in KINDS:
        raise InputError(
            [Problem("--as", f"{kind!r} is not a kind of file", f"Use one of: {', '.join(KINDS)}.")]
        )
    record = store.load(path)
    basket = _Basket(record, layer)
    problems: list[Problem] = []
    read: list[tuple[int, Path, str]] = []
    for file in files:
        try:
            its_kind = kind or kind_of_file(file, layer)
            read.append((KINDS.index(its_kind), file, its_kind))
        except InputError as error:
            problems.extend(error.problems)
    for _order, file, its_kind in sorted(read, key=lambda item: item[0]):
        try:
            basket.take(file, its_kind)
        except InputError as error:
            problems.extend(error.problems)
    problems.extend(basket.problems)
    merged = {plot.plot_id: plot for plot in record.plots} | basket.plots
    if basket.plots:
        problems.extend(boundary_checks.find_overlaps(tuple(merged.values())))
    if has_errors(problems):
        raise InputError(problems)
    appended = basket.put(path)
    return Imported(tuple(basket.taken), (*problems, *appended.conflicts))
