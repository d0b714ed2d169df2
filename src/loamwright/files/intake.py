"""Bringing things in: measuring and comparing files, making a property, importing into it.

This file answers "what does this file hold, and may it come in?". Everything of one import is read and
checked before anything is stored; then all of it is, or nothing. What follows from it: `season`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from loamwright import land, supplies
from loamwright.errors import AnswerError, InputError, Problem, PropertyFileError, has_errors
from loamwright.files import (
    field_records,
    from_sheets,
    guidelines,
    mixed,
    own_rates,
    plots,
    pricelists,
    property_file,
    settings,
    surveys,
    tables,
    textrows,
    vectors,
)
from loamwright.files.fields import DATE_ORDER, DAY_FIRST, MONTH_FIRST, Fields
from loamwright.files.jsontext import read_json, without_collecting
from loamwright.files.large_maps import LARGE, LargeMeasured, keepouts_of, measure_large
from loamwright.files.merging import Difference, differences, merged
from loamwright.files.sheets import Profile, SheetContents, keep_answers, read_sheet
from loamwright.files.thing_rows import (
    ThingRows,
    changes_things,
    has_clear_words,
    rows_of_things,
    unknown_columns,
)
from loamwright.files.things import thing_of
from loamwright.files.vectors import ShapeFile
from loamwright.files.ways import parts_from_shapes, ways_from_shapes
from loamwright.land import Cropping, KeepOut, Plot, PlotArea, PlotPart, Way
from loamwright.needs import read_chosen, write_chosen
from loamwright.soil import OrganicInput, SoilTest
from loamwright.supplies import Offer, PriceList, Product, StockEntry
from loamwright.values import PropertyInfo, Settings
from loamwright.work import Application, PropertyRecord, remarks, take_in, with_jobs

R = TypeVar("R")

#: Ending of a property file.
PROPERTY_SUFFIX = ".gpkg"


# ---------------------------------------------------------------------------------------------
# Files that need no property


@dataclass(frozen=True, slots=True)
class Measured:
    """Plots of a file with their areas, and what was found on the way.

    `unplaced` are name and area of ground that was measured and lies nobody says where.
    """

    plots: tuple[Plot, ...]
    areas: Mapping[str, PlotArea]
    problems: tuple[Problem, ...]
    unplaced: tuple[tuple[str, PlotArea], ...] = ()

    def __len__(self) -> int:
        return len(self.plots) + len(self.unplaced)

    def rows(self) -> Iterator[tuple[str, PlotArea]]:
        """Return name and area of each plot."""
        yield from ((plot.name, self.areas[plot.plot_id]) for plot in self.plots)
        yield from self.unplaced


def measure(
    path: Path,
    keepouts_path: Path | None = None,
    season: int = 0,
    gps_sigma_m: float = 3.0,
    layer: str | None = None,
    progress: Callable[[str], None] = lambda _stage: None,
) -> Measured | LargeMeasured:
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
    progress
        Told each stage of measuring a large file.

    Returns
    -------
    Measured or LargeMeasured
        The latter from 100,000 plots on, where the kind of file allows to read it part by part.

    Raises
    ------
    InputError
        When no plot can be measured, or the standard error is negative.
    """
    if gps_sigma_m < 0:
        raise InputError(
            [Problem("gps sigma", f"{gps_sigma_m:g} m is less than nothing", "Give zero or more.")]
        )
    kept = keepouts_of(keepouts_path)
    if vectors.count_parted(path, layer) >= LARGE:
        large = measure_large(path, layer, kept.keepouts, gps_sigma_m, progress)
        return replace(large, problems=(*large.problems, *kept.problems))
    with without_collecting():  # the records of a file hold no loops either
        survey = None
        if path.suffix.lower() in textrows.SUFFIXES:
            survey = surveys.read_survey(textrows.read_table(path))
        shapes = vectors.read_shapes(path, layer) if survey is None else survey.shapes
        shapes, notes = mixed.with_ground(shapes)
        read = plots.plots_from_shapes(shapes, season, gps_sigma_m, unnamed_ok=True)
        problems = [*read.problems, *kept.problems, *notes]
        unplaced = () if survey is None else survey.unplaced
        if not read.plots and not unplaced:
            raise InputError(problems)
        problems.extend(surveys.unplaced_note(item) for item in unplaced)
        problems.extend(land.find_overlaps(read.plots))
        areas = {area.plot_id: area for area in land.areas(read.plots, kept.keepouts)}
        known_by_area = tuple((item.name, item.area()) for item in unplaced)
        return Measured(read.plots, areas, tuple(problems), known_by_area)


def without_property(
    path: Path,
    tests_paths: Sequence[Path],
    season: int,
    today: dt.date,
    layer: str | None = None,
    guideline: str = "",
) -> PropertyRecord:
    """Read plots and their soil tests as a property that is kept nowhere.

    Parameters
    ----------
    path
        Map file with plots and what grows on them.
    tests_paths
        Tables of soil tests (CSV or XLSX) with the plots' ids.
    season
        Season of croppings that name none [calendar year].
    today
        Day after which nothing can have been sampled.
    layer
        Layer of the map file, when it has several.
    guideline
        Edition to ask, as the settings of a property name it; empty = our default.

    Returns
    -------
    PropertyRecord

    Raises
    ------
    InputError
        When anything in the files has an error.
    """
    settings = Settings(guideline=guideline) if guideline else Settings()
    with without_collecting():
        shapes = vectors.read_shapes(path, layer)
        read = plots.plots_from_shapes(shapes, season, settings.gps_sigma_m)
        known = {plot.plot_id for plot in read.plots}
        problems = list(read.problems)
        tests: dict[str, SoilTest] = {}
        for tests_path in tests_paths:
            brought, found = tables.soil_tests_from(textrows.read_table(tests_path), known, today)
            problems.extend(found)
            for test in brought:
                if test.test_id in tests:
                    what = f"the sample {test.test_id!r} stands in an earlier table too"
                    fix = "Leave it out of one, or write the lab's number of each sample in test_id."
                    problems.append(Problem(tests_path.name, what, fix))
                tests[test.test_id] = test
    if has_errors(problems):
        raise InputError(problems)
    info = PropertyInfo(path.stem, season, settings=settings)
    reports = tuple(tests.values())
    return PropertyRecord(
        info, read.plots, read.croppings, soil_tests=reports, problems=tuple(dict.fromkeys(problems))
    )


def compare(path: Path) -> supplies.Comparison:
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
    units = "us"
    if path.suffix == PROPERTY_SUFFIX:
        record = property_file.load(path)
        labels, offers, units = record.products, record.offers, record.info.units
    else:
        labels, offers, problems = pricelists.products_from(textrows.read_table(path))
    if not offers:
        raise InputError(problems or [Problem(str(path), "it holds no offers", "Import a products file.")])
    comparison = replace(supplies.compare(labels, offers), units=units)
    return replace(comparison, problems=problems) if problems else comparison


# ---------------------------------------------------------------------------------------------
# Making a property and filling it


def read_settings(path: Path) -> PropertyInfo:
    """Read a property.json, with guideline folders beside it made findable from anywhere."""
    return _with_guidelines(path, settings.info_from(path))


def _with_guidelines(path: Path, info: PropertyInfo) -> PropertyInfo:
    def found(setting: str) -> str:
        entries = []
        for entry in read_chosen(setting):
            beside = path.parent / entry.edition
            entries.append(replace(entry, edition=str(beside.resolve())) if beside.exists() else entry)
        return write_chosen(tuple(entries))

    own = info.settings
    own = replace(own, guideline=found(own.guideline), lime_guideline=found(own.lime_guideline))
    guidelines.load_choice(own.guideline)
    guidelines.load_lime_guideline(own.lime_guideline)
    return replace(info, settings=own)


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
        When the settings cannot be read, the name is blank, the season is no year, or the path does not
        end in `PROPERTY_SUFFIX`.
    PropertyFileError
        When the file exists or cannot be written.
    """
    problems: list[Problem] = []
    if not name.strip():
        problems.append(Problem("name", f"{name!r} is no name", "Write what people call the property."))
    Fields("", {"season": season}, problems, typed=True).year("season")
    if path.suffix.lower() != PROPERTY_SUFFIX:
        fix = f"Write {path.with_suffix(PROPERTY_SUFFIX).name}."
        problems.append(Problem(path.name, f"a property file ends in {PROPERTY_SUFFIX}", fix))
    if problems:
        raise InputError(problems)
    info = PropertyInfo(name, season) if settings is None else read_settings(settings)
    property_file.create(path, replace(info, name=name, season=season, units=units or info.units))


@dataclass(frozen=True, slots=True)
class Imported:
    """What one command took in.

    Parameters
    ----------
    taken
        A sentence a file.
    problems
        What was found on the way; with `preview`, questions too.
    differences
        What differs from before.
    preview
        True = nothing was stored.
    sheets
        What the sheets of labs, dealers and quarries among the files say.
    profile
        Answers and plots to keep for the next file of the last sheet's sender; None without a sheet.
    """

    taken: tuple[str, ...]
    problems: tuple[Problem, ...]
    differences: tuple[Difference, ...] = ()
    preview: bool = False
    sheets: tuple[SheetContents, ...] = ()
    profile: Profile | None = None


def _count(items: Sequence[object], noun: str) -> str:
    return f"{len(items)} {noun}{'' if len(items) == 1 else 's'}"


def _replaced(found: Iterable[R], held: Iterable[R], key: Callable[[R], str]) -> list[str]:
    """Name what the property holds with another content under the same key."""
    before = {key(item): item for item in held}
    return [key(item) for item in found if before.get(key(item), item) != item]


def _our_zones(path: Path, shapes: ShapeFile) -> bool:
    """Tell whether a map file is the zone map that this program exports."""
    named = path.stem.casefold().startswith("zones")
    return named and any(
        "plot_id" in feature.properties and not {"acres", "hectares"}.isdisjoint(feature.properties)
        for feature in shapes.features
    )


class _Basket:
    """Everything read from the files of one import, before any of it is stored."""

    def __init__(self, record: PropertyRecord) -> None:
        self.held = record
        self.season = record.info.season
        self.gps_sigma_m = record.info.settings.gps_sigma_m
        self.plots: dict[str, Plot] = {}
        self.croppings: list[Cropping] = []
        self.keepouts: list[KeepOut] = []
        self.ways: list[Way] = []
        self.parts: list[PlotPart] = []
        self.tests: list[SoilTest] = []
        self.organic: list[OrganicInput] = []
        self.products: list[Product] = []
        self.offers: list[Offer] = []
        self.entries: list[Application] = []
        self.purchases: list[StockEntry] = []
        self.changes: list[ThingRows] = []
        self.info: PropertyInfo | None = None
        self.sheet: Path | None = None
        self.known = {plot.plot_id for plot in record.plots} | set(record.former_names)
        self.seen: set[tuple[str, str]] = set()
        self.problems: list[Problem] = []
        self.taken: list[str] = []
        self.names: list[str] = []
        self.answers: Mapping[str, str] = {}
        self.answered: set[str] = set()
        self.known_as: Profile | None = None
        self.sheets: list[SheetContents] = []
        self.profile: Profile | None = None
        self.today = dt.date.max

    def take(self, file: _File) -> None:
        """Take what one file holds."""
        path, kind, content = file.path, file.kind, file.content
        self.names.append(path.name)
        if isinstance(content, textrows.Table):
            content = replace(content, system=self.held.info.units, date_order=self._date_order())
        found: tuple[Problem, ...] = ()
        if isinstance(content, ShapeFile):
            self._take_shapes(path, kind, content)
        elif isinstance(content, SheetContents):
            found = self._take_sheet(path, content)
        elif kind == "settings":
            self.info = _with_guidelines(path, settings.info_in(path, content))
            self.season, self.gps_sigma_m = self.info.season, self.info.settings.gps_sigma_m
            self.taken.append(f"{path.name}: settings of {self.info.name}, season {self.info.season}")
        elif kind == "changes":
            self._take_changes(path, content)
        elif not isinstance(content, textrows.Table):
            entries, found = field_records.records_in(path, content, self.known)
            self._take_entries(path, entries)
        elif kind == "plots":
            found = self._take_survey(path, content)
        elif kind == "products":
            labels, offers, found = pricelists.products_from(content, (*self.held.products, *self.products))
            self._take_products(path, labels, offers)
        elif kind == "soil tests":
            tests, found = tables.soil_tests_from(content, self.known, self.today)
            self.tests.extend(tests)
            self._once(path, "test_id", (test.test_id for test in tests))
            replaced = _replaced(tests, self.held.soil_tests, lambda test: test.test_id)
            self._took(path, _count(tests, "soil test"), replaced)
        elif kind == "organic inputs":
            inputs, found = tables.organic_inputs_from(content, self.known)
            self.organic.extend(inputs)
            self._once(path, "input_id", (item.input_id for item in inputs))
            replaced = _replaced(inputs, self.held.organic_inputs, lambda item: item.input_id)
            self._took(path, _count(inputs, "organic input"), replaced)
        elif kind == "standard rates":
            rates, found = own_rates.own_rates_from(content)
            self.sheet = path
            self._took(path, _count(rates, "standard rate"))
        else:
            entries, found = tables.applications_from(content, self.known, self.held)
            self._take_entries(path, entries)
        self.problems.extend(found)

    def _date_order(self) -> str | None:
        """Which part of the tables' dates stands first, if that was asked and answered."""
        order = self.answers.get(DATE_ORDER)
        if order is None:
            return None
        self.answered.add(DATE_ORDER)
        orders = (DAY_FIRST, MONTH_FIRST)
        if order not in orders:
            what, fix = f"{order!r} is no answer to {DATE_ORDER}", f"Write {' or '.join(orders)}."
            raise AnswerError([Problem("answer", what, fix)])
        return order

    def _take_survey(self, path: Path, table: textrows.Table) -> tuple[Problem, ...]:
        """Take plots measured by tape or survey; of one that lies nobody says where, ask it."""
        survey = surveys.read_survey(table, self.answers)
        self.answered |= survey.answered
        if survey.shapes.features or survey.shapes.problems:
            self._take_shapes(path, "plots", survey.shapes)
        units = self.held.info.units
        return tuple(
            surveys.unplaced_note(item, units)
            if self.answers.get(f"place.{item.plot_id}") == surveys.LEAVE_OUT
            else surveys.place_question(item, units)
            for item in survey.unplaced
        )

    def _take_changes(self, path: Path, table: object) -> None:
        """Take a table whose rows change fields of things."""
        assert isinstance(table, textrows.Table)
        now = replace(self.held, plots=(*self.held.plots, *self.plots.values()))
        word = changes_things(table, now)
        if word is None:
            what = "no kind of thing has all these columns as its fields"
            fix = "Give a column of ids (plot_id, test_id, offer_id …), and columns named as `show` does."
            raise InputError([Problem(str(path), what, fix)])
        found = rows_of_things(table, word, now)
        self.changes.append(found)
        noun = thing_of(word)
        self._once(path, word, (noun.name_of(item) for item in found.items))
        self._took(path, f"{len(found.items)} {noun.word if len(found.items) == 1 else noun.plural}")

    def _once(self, path: Path, field: str, ids: Iterable[str]) -> None:
        """Note ids that an earlier file of this import has given already."""
        for key in ids:
            if (field, key) in self.seen:
                what = f"{key!r} stands in two of the files"
                self.problems.append(Problem(f"{path.name}, {field}", what, "Give each its own."))
            self.seen.add((field, key))

    def _took(self, path: Path, what: str, replaced: Sequence[str] = ()) -> None:
        """Note what a file held, and what of the property it replaces."""
        instead = f"; replaced what was here of {', '.join(replaced)}" if replaced else ""
        self.taken.append(f"{path.name}: {what}{instead}")

    def _take_entries(self, path: Path, entries: Sequence[Application]) -> None:
        known = {entry.entry_id for entry in self.held.applications}
        new = [entry for entry in entries if entry.entry_id not in known]
        self.entries.extend(entries)
        self._took(path, f"{_count(entries, 'application')}, {len(new)} of them new")

    def _take_sheet(self, path: Path, contents: SheetContents) -> tuple[Problem, ...]:
        """Take what a lab, dealer or quarry sent, as far as its questions are answered."""
        known = self.known_as
        answers = {**(known.answers if known else {}), **self.answers}
        now = replace(self.held, plots=(*self.held.plots, *self.plots.values()))
        found = from_sheets.take_sheet(contents, path, now, answers, known.plots if known else {}, self.today)
        self.answered |= found.answered | set(contents.answered)
        if self.sheets and (self.sheets[-1].kind, self.sheets[-1].lab) == (contents.kind, contents.lab):
            known = self.profile
        self.sheets.append(contents)
        kept = keep_answers(contents, earlier=known, plots=found.plots)
        self.profile = replace(kept, answers={**kept.answers, **found.lasting})
        self.tests.extend(found.tests)
        self._once(path, "test_id", (test.test_id for test in found.tests))
        self.purchases.extend(found.purchases)
        if found.products or found.offers:
            self._take_products(path, found.products, found.offers)
        if found.tests:
            replaced = _replaced(found.tests, self.held.soil_tests, lambda test: test.test_id)
            self._took(path, _count(found.tests, "soil test"), replaced)
        if found.purchases:
            self._took(path, _count(found.purchases, "scale ticket"))
        if found.entries:
            self._take_entries(path, found.entries)
        return found.problems

    def _take_products(self, path: Path, labels: Sequence[Product], offers: Sequence[Offer]) -> None:
        self._once(path, "offer_id", (offer.offer_id for offer in offers))
        for name in _replaced(labels, self.products, lambda label: label.product):
            what = f"the label of {name!r} is another one in an earlier file"
            self.problems.append(Problem(f"{path.name}, product", what, "Correct one of them."))
        self.products.extend(labels)
        self.offers.extend(offers)
        names = {offer.offer_id: f"the offer {offer.product}, {offer.package}" for offer in offers}
        replaced = [
            *_replaced(labels, self.held.products, lambda label: label.product),
            *(names[key] for key in _replaced(offers, self.held.offers, lambda offer: offer.offer_id)),
        ]
        self._took(path, f"{_count(offers, 'offer')} of {_count(labels, 'product')}", replaced)

    def _take_shapes(self, path: Path, kind: str, shapes: ShapeFile) -> None:
        if kind == "plots" and _our_zones(path, shapes):
            what = (
                "these are zones of a plan that loamwright wrote, not plots: their areas are what is spread"
            )
            raise InputError([Problem(path.name, what, "Import the boundaries the plots came from.")])
        if kind == "plots":
            whole, shapes = shapes, self._take_others(path, shapes)
            if whole.features and not shapes.features:
                return  # it held other things alone
            read = plots.plots_from_shapes(shapes, self.season, self.gps_sigma_m)
            self._once(path, "plot_id", (plot.plot_id for plot in read.plots))
            self.problems.extend(plots.like_others(path, read.plots, self.known))
            self.plots.update({plot.plot_id: plot for plot in read.plots})
            self.croppings.extend(read.croppings)
            self.known.update(self.plots)
            self.problems.extend(read.problems)
            replaced = _replaced(read.plots, self.held.plots, lambda plot: plot.plot_id)
            self._took(path, _count(read.plots, "plot"), replaced)
        elif kind == "ways":
            found = ways_from_shapes(shapes, [way.way_id for way in self.held.ways])
            self.ways.extend(found.ways)
            self._once(path, "way_id", (way.way_id for way in found.ways))
            self.problems.extend(found.problems)
            self._took(
                path, _count(found.ways, "way"), _replaced(found.ways, self.held.ways, lambda way: way.way_id)
            )
        elif kind == "parts":
            drawn = parts_from_shapes(shapes, (*self.held.plots, *self.plots.values()))
            self.parts.extend(drawn.parts)
            self._once(path, "part_id", (part.part_id for part in drawn.parts))
            self.problems.extend(drawn.problems)
            replaced = _replaced(drawn.parts, self.held.parts, lambda part: part.part_id)
            self._took(path, _count(drawn.parts, "part"), replaced)
        else:
            kept = plots.keepouts_from_shapes(shapes)
            self.keepouts.extend(kept.keepouts)
            self._once(path, "keepout_id", (keepout.keepout_id for keepout in kept.keepouts))
            self.problems.extend(kept.problems)
            replaced = _replaced(kept.keepouts, self.held.keepouts, lambda keepout: keepout.keepout_id)
            self._took(path, _count(kept.keepouts, "keep-out"), replaced)

    def _take_others(self, path: Path, shapes: ShapeFile) -> ShapeFile:
        """Take what stands in a file of plots and is none; return the plots."""
        found = mixed.sort_out(shapes, self.answers)
        self.answered |= found.answered
        self.problems.extend(found.asked)
        for kind, others in (("ways", found.ways), ("keep-outs", found.keepouts)):
            if others.features:
                self._take_shapes(path, kind, others)
        return found.plots

    def merge(self) -> tuple[Difference, ...]:
        """Keep what the property holds wherever the files are blank, and say what would differ."""
        held, found = self.held, list[Difference]()

        def each(word: str, items: Iterable[R], before: Iterable[R], key: Callable[[R], object]) -> list[R]:
            kept = {key(item): item for item in before}
            result = [merged(kept[key(item)], item) if key(item) in kept else item for item in items]
            names = {thing_of(word).name_of(item): item for item in kept.values()}
            found.extend(differences(word, held, names, result))
            return result

        new_plots = each("plot", self.plots.values(), held.plots, lambda plot: plot.plot_id)
        names = {plot.plot_id: plot.name for plot in held.plots}
        self.plots = {
            plot.plot_id: replace(plot, name=names.get(plot.plot_id, plot.name))
            if plot.name == plot.plot_id
            else plot
            for plot in new_plots
        }
        self.croppings = each(
            "cropping", self.croppings, held.croppings, lambda c: (c.plot_id, c.season, c.position)
        )
        self.keepouts = each("keep-out", self.keepouts, held.keepouts, lambda k: k.keepout_id)
        self.ways = each("way", self.ways, held.ways, lambda way: way.way_id)
        self.parts = each("part", self.parts, held.parts, lambda part: part.part_id)
        self.tests = each("soil-test", self.tests, held.soil_tests, lambda test: test.test_id)
        self.organic = each("organic", self.organic, held.organic_inputs, lambda item: item.input_id)
        self.products = each("product", self.products, held.products, lambda label: label.product)
        self.offers = each("offer", self.offers, held.offers, lambda offer: offer.offer_id)
        for rows in self.changes:  # what they say is said of each field: nothing is left to merge
            kind = thing_of(rows.word)
            before = {kind.name_of(item): item for item in kind.items(held)}
            found.extend(differences(rows.word, held, before, rows.items))
        if self.info is not None:
            new = {spreader.name: spreader for spreader in self.info.settings.spreaders}
            old = {spreader.name: spreader for spreader in held.info.settings.spreaders}
            both = {name: merged(old[name], new[name]) if name in old else new[name] for name in new}
            info = merged(held.info, self.info)
            self.info = replace(
                info, settings=replace(info.settings, spreaders=tuple({**old, **both}.values()))
            )
            found.extend(differences("settings", held, {"settings": held.info}, [self.info]))
        return tuple(found)

    def _as_it_would_be(self) -> PropertyRecord:
        """The property with what else comes in: entries of the same import are held against that."""

        def over(held: Iterable[R], new: Iterable[R], key: Callable[[R], object]) -> tuple[R, ...]:
            return tuple({key(item): item for item in (*held, *new)}.values())

        held = self.held
        return replace(
            held,
            info=self.info or held.info,
            plots=over(held.plots, self.plots.values(), lambda plot: plot.plot_id),
            keepouts=over(held.keepouts, self.keepouts, lambda keepout: keepout.keepout_id),
            products=over(held.products, self.products, lambda label: label.product),
        )

    def ask_of_entries(self) -> None:
        """Ask of entries what is asked of every report, and take them as was answered."""
        if not self.entries:
            return
        record = self._as_it_would_be()
        touched = {record.former_names.get(entry.plot_id, entry.plot_id) for entry in self.entries}
        there = [plot for plot in record.plots if plot.plot_id in touched]
        areas = {area.plot_id: area for area in land.areas(there, record.keepouts, record.info.units)}
        found = take_in(self.entries, record, areas, self.today, self.answers, marked=True)
        self.entries = list(found.ready)
        self.answered |= found.answered
        self.problems.extend(found.asked)
        known = {entry.entry_id for entry in record.applications}
        new = [entry for entry in found.ready if entry.entry_id not in known]
        again = [entry for entry in found.ready if entry.entry_id in known]
        self.problems.extend(remarks(new, again, record))

    def put(self, path: Path, check: Callable[[PropertyRecord], object]) -> None:
        """Store everything in one transaction; an entry the record contradicts undoes it all."""
        with property_file.edit(path, f"import {' '.join(self.names)}") as editor:
            info = self.info
            if self.sheet is not None:
                info = own_rates.with_sheet(info or self.held.info, self.sheet)
            if info is not None:
                editor.put_info(info)
            editor.put_plots(self.plots.values())
            editor.put_croppings(self.croppings)
            editor.put_keepouts(self.keepouts)
            editor.put_ways(self.ways)
            editor.put_parts(self.parts)
            editor.put_soil_tests(self.tests)
            editor.put_organic_inputs(self.organic)
            editor.put_products(self.products)
            editor.put_offers(self.offers)
            editor.put_purchases(self.purchases)
            for rows in self.changes:
                getattr(editor, thing_of(rows.word).put)(rows.items)
            conflicts = editor.append_applications(with_jobs(self.entries, editor.record())).conflicts
            if conflicts:
                raise InputError(conflicts)  # leaves the transaction, which undoes it
            check(editor.record())


#: Kinds of file that can be imported, in the order they are read: tests need their plots.
KINDS = (
    "settings",
    "plots",
    "keep-outs",
    "ways",
    "parts",
    "soil tests",
    "organic inputs",
    "products",
    "standard rates",
    "applications",
    "records",
    "sheet",
    "changes",
)


@dataclass(frozen=True, slots=True)
class _File:
    """A file that was read: its rows, its shapes or its JSON, and which of `KINDS` they are."""

    path: Path
    kind: str
    content: object


def _sheet_or(
    path: Path,
    told: str | None,
    table: textrows.Table | None,
    reads: Callable[[Path], SheetContents],
    record: PropertyRecord,
) -> _File:
    """A table whose columns are not all ours: what a lab, dealer or quarry sent, if that is what it is."""
    try:
        return _File(path, "sheet", reads(path))
    except AnswerError:
        raise
    except InputError as error:
        if told is None and table is not None and (strange := unknown_columns(table, record)):
            raise InputError(strange) from error
        return _File(path, _told(path, told), table)


def _read(
    path: Path,
    kind: str | None,
    layer: str | None,
    reads: Callable[[Path], SheetContents],
    record: PropertyRecord,
) -> _File:
    """Read a file once, and tell from its content what it holds unless that was said."""
    suffix = path.suffix.lower()
    if kind in ("soil tests", "organic inputs", "products", "standard rates", "applications"):
        return _File(path, kind, textrows.read_table(path))
    if kind == "sheet":
        return _File(path, kind, reads(path))
    if kind == "plots" and suffix in textrows.SUFFIXES:
        return _File(path, kind, textrows.read_table(path))
    if kind == "changes":
        return _File(path, kind, textrows.read_table(path))
    if kind in ("settings", "records"):
        return _File(path, kind, read_json(path))
    document = None
    if kind is None and (suffix in textrows.SUFFIXES or suffix == ".xml"):
        table = None if suffix == ".xml" else textrows.read_table(path)
        if table is not None and own_rates.is_own_rates(table):
            return _File(path, "standard rates", table)
        if table is not None and surveys.is_survey(table):
            return _File(path, "plots", table)
        things = None if table is None else changes_things(table, record)
        if table is not None and things is not None and has_clear_words(table):
            return _File(path, "changes", table)
        told = None if table is None else tables.kind_of(table)
        if table is not None and told is not None and tables.is_ours(table, told):
            return _File(path, told, table)
        if table is not None and things is not None:
            return _File(path, "changes", table)
        return _sheet_or(path, told, table, reads, record)
    if kind is None and suffix == ".json":
        document = read_json(path)
        for its_kind, room in (("settings", settings), ("records", field_records)):
            if room.looks_like(document):
                return _File(path, its_kind, document)
        if isinstance(document, dict) and {"type", "samples"} - document.keys() != {"samples"}:
            return _sheet_or(
                path, None, None, reads, record
            )  # no GeoJSON: a laboratory's results, if anything
    shapes = vectors.read_shapes(path, layer, document)
    if kind is None and not shapes.features:
        raise InputError(shapes.problems)
    likely = plots.looks_like(shapes) or "plots"  # what is none among them is asked feature by feature
    return _File(path, kind or ("keep-outs" if likely == "keepouts" else likely), shapes)


def _told(path: Path, kind: str | None) -> str:
    if kind is None:
        what = "its content does not tell what it holds"
        fix = f"Say it with `kind`, one of: {', '.join(KINDS)}."
        raise InputError([Problem(str(path), what, fix)])
    return kind


def import_files(
    path: Path,
    files: Sequence[Path],
    kind: str | None = None,
    layer: str | None = None,
    *,
    preview: bool = False,
    check: Callable[[PropertyRecord], object] = lambda _record: None,
    answers: Mapping[str, str] | None = None,
    profile: Profile | None = None,
    today: dt.date | None = None,
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
    preview
        True = say what would differ, and store nothing.
    check
        Asked with the property as it would be, inside the transaction; what it raises undoes everything.
    answers
        Answers to questions the files raise, by question id.
    profile
        Answers and plots kept from an earlier sheet of the same lab or dealer.
    today
        Date for tickets without one; None = today.

    Returns
    -------
    Imported

    Raises
    ------
    InputError
        When any file has an error, or raises a question that is not answered; nothing was stored. A preview
        gives the questions among its problems instead.
    """
    if kind is not None and kind not in KINDS:
        raise InputError(
            [Problem("kind", f"{kind!r} is not a kind of file", f"Use one of: {', '.join(KINDS)}.")]
        )
    record = property_file.load(path)
    basket = _Basket(record)
    basket.answers, basket.known_as = answers or {}, profile
    basket.today = today or dt.datetime.now().astimezone().date()

    def reads(sheet: Path) -> SheetContents:
        return read_sheet(sheet, basket.answers, profile, others=True)

    problems: list[Problem] = []
    read: list[_File] = []
    for path_of_file in files:
        try:
            read.append(_read(path_of_file, kind, layer, reads, record))
        except InputError as error:
            problems.extend(error.problems)
    for file in sorted(read, key=lambda one: KINDS.index(one.kind)):
        try:
            basket.take(file)
        except InputError as error:
            problems.extend(error.problems)
    if not _refused((*problems, *basket.problems)):
        basket.ask_of_entries()
    problems.extend(basket.problems)
    ground = {plot.plot_id: plot for plot in record.plots} | basket.plots
    if basket.plots:
        problems.extend(land.find_overlaps(tuple(ground.values())))
    problems.extend(_idle(basket))
    if _refused(problems) or (has_errors(problems) and not preview):
        raise InputError(problems)
    found = basket.merge()
    if not preview:
        basket.put(path, check)
    sheets = tuple(basket.sheets)
    return Imported(tuple(basket.taken), tuple(problems), found, preview, sheets, basket.profile)


def _refused(problems: Iterable[Problem]) -> bool:
    """Whether anything is wrong that no answer mends."""
    return has_errors(problem for problem in problems if not problem.question)


def _idle(basket: _Basket) -> Iterator[Problem]:
    """Say which answers no file asked for."""
    for ident in basket.answers:
        if ident not in basket.answered:
            asked = dict.fromkeys(p.question for p in basket.problems if p.question)
            what = f"no question is called {ident}"
            yield Problem("answer", what, f"These files ask: {', '.join(asked) or 'nothing'}.")


# ---------------------------------------------------------------------------------------------
# What there is to choose from


def units_in(path: Path) -> str:
    """Return the unit system a file speaks in, where it is a property; US units otherwise.

    Parameters
    ----------
    path
        Any file.

    Returns
    -------
    str
        ``"us"`` or ``"metric"``.
    """
    if path.suffix != PROPERTY_SUFFIX:
        return "us"
    try:
        return property_file.units_of(path)
    except PropertyFileError:  # another GeoPackage, or one that its reader names better
        return "us"


def price_list(path: Path) -> PriceList:
    """Read the labels and offers of a products file or of a property.

    Parameters
    ----------
    path
        CSV or XLSX file with products, packages and prices; or a property file.

    Returns
    -------
    PriceList

    Raises
    ------
    InputError
        When the file holds no usable label.
    """
    if path.suffix == PROPERTY_SUFFIX:
        record = property_file.load(path)
        settings = record.info.settings
        found = PriceList(
            path.name,
            record.products,
            record.offers,
            settings.spreading_cost_per_ha,
            settings.spreading_cost_per_pass,
            record.info.units,
        )
    else:
        labels, offers, problems = pricelists.products_from(textrows.read_table(path))
        found = PriceList(path.name, labels, offers, problems=problems)
    if not found.products:
        none = Problem(str(path), "it holds no products", "Name a products file, or import one first.")
        raise InputError(found.problems if has_errors(found.problems) else [none])
    return found
