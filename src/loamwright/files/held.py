"""The tables of a property file as records: names of today for plots, and nothing that is retired.

This file answers "what does the file hold at this moment?". A row that belongs to nothing, because somebody
changed the file by hand, is left out and named.
"""

from __future__ import annotations

import datetime as dt
import math
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from loamwright import planning
from loamwright.errors import Level, Problem, PropertyFileError
from loamwright.files import journal
from loamwright.files.columns import (
    APPLICATIONS,
    CALIBRATIONS,
    CROPPINGS,
    DECISIONS,
    INFO,
    KEEPOUTS,
    OFFERS,
    ORGANIC_INPUTS,
    PARTS,
    PLAN_COVERAGE,
    PLAN_JOBS,
    PLAN_LINES,
    PLAN_PURCHASES,
    PLANS,
    PLOTS,
    PRODUCTS,
    PURCHASES,
    SETTINGS,
    SOIL_READINGS,
    SOIL_TESTS,
    SPREADERS,
    WAYS,
    Layout,
    shape_of,
)
from loamwright.files.fields import BOUNDS
from loamwright.land import KeepOut, Plot, Shape, shares_within
from loamwright.money import tell_money_in
from loamwright.planning import Plan
from loamwright.soil import LabRecommendation, SoilTest
from loamwright.values import Nutrient, PropertyInfo, Quantity
from loamwright.work import Application, FormerBoundary, PropertyRecord, Retired

R = TypeVar("R")


class _Row(dict[str, Any]):
    """One row of a table, column to value; a column that is not there is a fault of the file."""

    def __init__(self, table: str, row: sqlite3.Row) -> None:
        super().__init__(row)
        self._table = table

    def __missing__(self, column: str) -> Any:
        raise PropertyFileError(
            f"its table {self._table} has lost the column {column}; restore the file from a copy"
        )


def rows_of(connection: sqlite3.Connection, table: str) -> list[_Row]:
    """Return the rows of a table, oldest first; what a column cannot hold is refused by name."""
    rows = loose_rows_of(connection, table)
    for row, fault in foreign_values(connection, table, rows):
        by = [other for other in rows if table == "applications" and other["replaces"] == row["entry_id"]]
        if by:  # withdrawn: it counts for nothing, and nothing of it is believed
            row.update({name: by[-1][name] for name in row if name not in ("fid", "entry_id", "replaces")})
            row["withdrawn"] = 0
            continue
        raise PropertyFileError(
            f"its table {table} holds what cannot be read ({fault}); `check` says which row, and what to do"
        )
    return rows


def loose_rows_of(connection: sqlite3.Connection, table: str) -> list[_Row]:
    """Return the rows of a table as they are, each naming a column it has lost."""
    return [_Row(table, row) for row in connection.execute(f"SELECT * FROM {table} ORDER BY fid")]


def foreign_values(
    connection: sqlite3.Connection, table: str, rows: Iterable[_Row]
) -> Iterator[tuple[_Row, str]]:
    """Find values that are not of their column's kind: SQLite keeps any value in any column.

    Yields
    ------
    tuple of (_Row, str)
        The row, and what stands where: ``"mass_kg inf"``.
    """
    kinds = [
        (column, _is_amount if column in _AMOUNTS else _KINDS[kind.partition("(")[0].upper()])
        for _, column, kind, *_ in connection.execute(f"PRAGMA table_info({table})")
        if kind.partition("(")[0].upper() in _KINDS
    ]
    for row in rows:
        for column, fits in kinds:
            value = row[column]
            if value is not None and not fits(value):
                yield row, f"{column} {str(value)[:60]!r}"


def _is_figure(value: object) -> bool:
    return isinstance(value, (int, float)) and math.isfinite(value)


#: Columns of what was weighed or measured: never less than nothing, never more than a bound of `fields`.
_AMOUNTS = frozenset({"mass_kg", "area_m2"})
_MOST = 1e15  # the ground of the globe is 5.1e14 m2


def _is_amount(value: object) -> bool:
    return _is_figure(value) and 0 <= value <= _MOST  # type: ignore[operator]


def _is_day(value: object) -> bool:
    if not isinstance(value, str):
        return False
    try:
        return bool(dt.date.fromisoformat(value))
    except ValueError:
        return False


#: Declared kind of a column → whether a value is one.
_KINDS: Mapping[str, Callable[[object], bool]] = {
    "REAL": _is_figure,
    "DOUBLE": _is_figure,
    "INTEGER": lambda value: isinstance(value, int),
    "MEDIUMINT": lambda value: isinstance(value, int),
    "BOOLEAN": lambda value: value in (0, 1),
    "TEXT": lambda value: isinstance(value, str),
    "DATE": _is_day,
    "BLOB": lambda value: isinstance(value, bytes),
}


def _by(rows: Iterable[_Row], column: str) -> Mapping[str, list[_Row]]:
    """Rows of a table grouped by the record they belong to."""
    grouped: dict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        grouped[row[column]].append(row)
    return grouped


class Reader:
    """Reads the tables of one moment: names of today for plots, and nothing that is retired.

    A row that belongs to nothing, because somebody changed the file by hand, is left out and named. With
    a day given, the ground is as it was on it: former boundaries, and what was retired since.
    """

    def __init__(self, connection: sqlite3.Connection, ground_on: dt.date | None = None) -> None:
        self._connection = connection
        self._ground_on = ground_on
        plots = rows_of(connection, "plots")
        self.names = {row["plot_key"]: row["plot_id"] or row["plot_key"] for row in plots}
        self._here = {row["plot_key"] for row in plots if not self._gone("plots", row)}
        self.retired: list[Retired] = []
        self.problems: list[Problem] = []

    def rows(self, table: str) -> list[_Row]:
        """Rows that count, their plot under the name it has today."""
        found = []
        for row in rows_of(self._connection, table):
            if table in _OF_PLOTS and row["plot_id"]:
                if row["plot_id"] not in self.names:
                    self._loose(table, row, f"plot {row['plot_id']!r}")
                    continue
                here = row["plot_id"] in self._here
                row["plot_id"] = self.names[row["plot_id"]]
                if not here:
                    continue
            if table in RETIRABLE.values() and self._gone(table, row):
                self._note(table, row)
                continue
            found.append(row)
        return found

    def _gone(self, table: str, row: _Row) -> bool:
        """Whether a row is retired, or was on the day whose ground is asked for."""
        retired, _why = row["retired_on"], row["retired_because"]
        if retired is None or self._ground_on is None or table not in _CAME_AND_WENT:
            return retired is not None
        return bool(dt.date.fromisoformat(retired) <= self._ground_on)

    def plots(self) -> tuple[Plot, ...]:
        """Plots that count, each with its boundary of the day that is asked for."""
        found = {row["plot_key"]: row for row in self.rows("plots")}
        if self._ground_on is not None:
            day, told = self._ground_on.isoformat(), set()
            for before in sorted(rows_of(self._connection, "plot_boundaries"), key=lambda b: b["until"]):
                if before["until"] > day and before["plot_id"] in found and before["plot_id"] not in told:
                    told.add(before["plot_id"])
                    found[before["plot_id"]]["boundary"] = before["shape"]
            self._leave_out_later_pieces(found, told, day)
        plots = []
        for plot_key, row in found.items():
            plot = PLOTS.record_of(row)
            if plot.boundary.geom_type in ("Polygon", "MultiPolygon") and not plot.boundary.is_empty:
                plots.append(plot)
                continue
            self._here.discard(plot_key)
            what = f"its boundary is {_drawn(plot.boundary)}: another program drew it; left out of everything"
            self._strange(f"plots, plot {plot.plot_id}", what, "Draw its boundary as an area.")
        return tuple(plots)

    def _leave_out_later_pieces(self, found: dict[str, _Row], told: Collection[str], day: str) -> None:
        """Leave out plots made after a day of ground that lay in another plot then, or it counts twice."""
        then = [shape_of(found[key]["boundary"]) for key in told]
        worked = {row["plot_id"] for row in rows_of(self._connection, "applications")}
        for key, row in list(found.items()):
            is_later = key not in told and (row["boundary_since"] or "") > day and key not in worked
            if is_later and any(share > 0.5 for share in shares_within(shape_of(row["boundary"]), then)):
                del found[key]
                self._here.discard(key)

    def former_boundaries(self) -> tuple[FormerBoundary, ...]:
        """Boundaries that plots had, the oldest first; a retired plot had its last one until then."""
        rows = [
            row | {"plot_id": self.names[row["plot_id"]]}
            for row in rows_of(self._connection, "plot_boundaries")
            if row["plot_id"] in self.names
        ]
        for row in rows_of(self._connection, "plots"):
            if row["retired_on"]:
                name = self.names[row["plot_key"]]
                rows.append({"plot_id": name, "shape": row["boundary"], "until": row["retired_on"]})
        rows.sort(key=lambda row: str(row["until"]))
        return tuple(
            FormerBoundary(row["plot_id"], shape_of(row["shape"]), dt.date.fromisoformat(row["until"]))
            for row in rows
        )

    def applications_of_retired(self) -> tuple[Application, ...]:
        """Entries of plots that are retired, under the names of today."""
        rows = rows_of(self._connection, "applications")
        gone = [row for row in rows if row["plot_id"] in self.names and row["plot_id"] not in self._here]
        return tuple(APPLICATIONS.record_of(row | {"plot_id": self.names[row["plot_id"]]}) for row in gone)

    def boundary_since(self) -> Mapping[str, dt.date]:
        """Since when each plot has its boundary, where that is known."""
        return {
            row["plot_id"]: dt.date.fromisoformat(row["boundary_since"])
            for row in self.rows("plots")
            if row["boundary_since"]
        }

    def keepouts(self) -> tuple[KeepOut, ...]:
        """Keep-outs that count; one without an id or a shape is named."""
        found = []
        for row in self.rows("keepouts"):
            keepout = KEEPOUTS.record_of(row)
            if not keepout.keepout_id.strip() or keepout.shape.is_empty:
                lacks = "no shape" if keepout.shape.is_empty else "no id"
                what = f"row {row['fid']} has {lacks}: another program added it; left out of everything"
                self._strange("keepouts", what, "Give it what it lacks there, or bring it in as a map file.")
                continue
            found.append(keepout)
        return tuple(found)

    def _strange(self, where: str, what: str, fix: str) -> None:
        self.problems.append(Problem(f"property file, {where}", what, fix, Level.WARNING))

    def all(self, layout: Layout[R]) -> tuple[R, ...]:
        """Records of a table that count."""
        return tuple(layout.record_of(row) for row in self.rows(layout.table))

    def belonging(self, layout: Layout[R], column: str, known: Collection[str], what: str) -> tuple[R, ...]:
        """Records whose parent counts; one whose parent is not in the file at all is named."""
        found = []
        gone = {gone.name for gone in self.retired}
        for row in self.rows(layout.table):
            if row[column] in known:
                found.append(layout.record_of(row))
            elif row[column] not in gone:
                self._loose(layout.table, row, f"{what} {row[column]!r}")
        return tuple(found)

    def _note(self, table: str, row: _Row) -> None:
        words = {noun: word for word, noun in RETIRABLE.items()}
        name = " ".join(str(row[column]) for column in _NAMED_BY.get(table, journal.TABLES[table]))
        on = dt.date.fromisoformat(row["retired_on"])
        self.retired.append(Retired(words.get(table, table), name, on, row["retired_because"]))

    def _loose(self, table: str, row: _Row, parent: str) -> None:
        noun = journal.NOUNS.get(table, f"row of {table}")
        name = " ".join(str(row[column]) for column in journal.TABLES.get(table, ()))
        self.problems.append(
            Problem(
                f"property file, {noun} {name}".strip(),
                f"it belongs to {parent}, which is not in the file any more: another program took it out; "
                "left out of everything",
                "Restore the file from a copy, or bring it in again under the same id.",
                Level.WARNING,
            )
        )


#: What people call what can be retired, and its table.
RETIRABLE: Mapping[str, str] = {
    "plot": "plots",
    "part": "plot_parts",
    "way": "ways",
    "cropping": "croppings",
    "keep-out": "keepouts",
    "spreader": "spreaders",
    "soil-test": "soil_tests",
    "organic": "organic_inputs",
    "product": "products",
    "offer": "offers",
    "purchase": "purchases",
    "decision": "decisions",
    "plan": "plans",
}
#: What lay on the ground or stood in the shed until it was retired; other things were retired as mistaken.
_CAME_AND_WENT = frozenset({"plots", "plot_parts", "ways", "keepouts", "spreaders", "products", "offers"})
_NAMED_BY: Mapping[str, tuple[str, ...]] = {"plots": ("plot_id",)}
#: Tables whose rows belong to plots; an empty plot_id is the property's.
_OF_PLOTS = frozenset(
    {
        "plot_aliases",
        "plot_boundaries",
        "plot_parts",
        "croppings",
        "soil_tests",
        "organic_inputs",
        "decisions",
        "checklist",
        "plan_jobs",
        "plan_lines",
        "plan_coverage",
        "plan_plot_costs",
        "applications",
    }
)


def _drawn(shape: Shape) -> str:
    return "empty" if shape.is_empty else f"a {shape.geom_type}"


#: What a record raises whose values another program made impossible.
NOT_READ = (ValueError, TypeError, LookupError, AttributeError, ArithmeticError)


def read_all(connection: sqlite3.Connection, ground_on: dt.date | None = None) -> PropertyRecord:
    """Return everything the file holds at this moment, its ground as on a day when one is given.

    What cannot be read is refused.
    """
    try:
        return _all(connection, ground_on)
    except NOT_READ as error:
        raise PropertyFileError(
            f"it holds what cannot be read ({error}): another program changed it; restore it from a copy"
        ) from error


def _all(connection: sqlite3.Connection, ground_on: dt.date | None) -> PropertyRecord:
    reader = Reader(connection, ground_on)
    plots = reader.plots()
    products = reader.all(PRODUCTS)
    labels = {product.product for product in products}
    kept: dict[str, dict[str, bytes]] = defaultdict(dict)
    for row in rows_of(connection, "kept_editions"):
        kept[row["edition"]][row["file"]] = row["content"]
    made = connection.execute("SELECT property_uid FROM loamwright").fetchone()
    info = _read_info(connection, reader)
    tell_money_in(info.currency)
    return PropertyRecord(
        info=info,
        plots=plots,
        croppings=reader.all(CROPPINGS),
        keepouts=reader.keepouts(),
        soil_tests=_read_soil_tests(connection, reader),
        organic_inputs=reader.all(ORGANIC_INPUTS),
        products=products,
        offers=reader.belonging(OFFERS, "product", labels, "product"),
        plans=read_plans(reader),
        applications=reader.all(APPLICATIONS),
        calibrations=reader.all(CALIBRATIONS),
        parts=reader.all(PARTS),
        ways=reader.all(WAYS),
        purchases=reader.belonging(PURCHASES, "product", labels, "product"),
        decisions=reader.all(DECISIONS),
        checklist={(row["number"], row["plot_id"]): row["text"] for row in reader.rows("checklist")},
        former_names={row["alias"]: row["plot_id"] for row in reader.rows("plot_aliases")},
        retired=tuple(reader.retired),
        problems=tuple(reader.problems),
        property_uid=made["property_uid"],
        editions=dict(kept),
        former_boundaries=() if ground_on else reader.former_boundaries(),
        boundary_since={} if ground_on else reader.boundary_since(),
        applications_of_retired=() if ground_on else reader.applications_of_retired(),
    )


def _read_info(connection: sqlite3.Connection, reader: Reader) -> PropertyInfo:
    found = rows_of(connection, "property")
    if not found:
        raise PropertyFileError("the file has lost its name and season; restore it from a copy")
    row = found[0]
    try:
        dt.date.fromisoformat(f"2024-{row['season_start']}")
    except ValueError as error:
        raise ValueError(f"season_start {row['season_start']!r} is no day of a year, as 09-01") from error
    if refusal := BOUNDS["season"].refusal(f"season {row['season']}", row["season"]):
        raise refusal
    limits = rows_of(connection, "surplus_limits")
    settings = SETTINGS.record_of(
        row,
        surplus_limit_fraction={r["supply"]: r["fraction"] for r in limits if r["fraction"] is not None},
        surplus_limit_kg_ha={r["supply"]: r["rate_kg_ha"] for r in limits if r["rate_kg_ha"] is not None},
        spreaders=reader.all(SPREADERS),
    )
    return INFO.record_of(row, settings=settings)


def _read_soil_tests(connection: sqlite3.Connection, reader: Reader) -> tuple[SoilTest, ...]:
    readings = _by(rows_of(connection, "soil_readings"), "test_id")
    rates = _by(rows_of(connection, "lab_rates"), "test_id")
    tests = []
    for row in reader.rows("soil_tests"):
        recommendation = None
        if row["recommends"]:
            recommendation = LabRecommendation(
                {
                    Nutrient(rate["nutrient"]): Quantity(rate["value"], rate["unit"])
                    for rate in rates.get(row["test_id"], ())
                },
                None
                if row["lime_value"] is None or row["lime_unit"] is None
                else Quantity(row["lime_value"], row["lime_unit"]),
                None if row["credits_taken"] is None else bool(row["credits_taken"]),
                {
                    Nutrient(rate["nutrient"]): rate["up_to"]
                    for rate in rates.get(row["test_id"], ())
                    if rate["up_to"] is not None
                },
            )
        tests.append(
            SOIL_TESTS.record_of(
                row,
                readings={
                    reading["element"]: SOIL_READINGS.record_of(reading)
                    for reading in readings.get(row["test_id"], ())
                },
                recommendation=recommendation,
            )
        )
    return tuple(tests)


def read_plans(reader: Reader) -> tuple[Plan, ...]:
    """Return the plans that are not retired, with their jobs, lines and purchases."""
    jobs = _by(reader.rows("plan_jobs"), "plan_id")
    lines = _by(reader.rows("plan_lines"), "plan_id")
    buy = _by(reader.rows("plan_purchases"), "plan_id")
    coverage = _by(reader.rows("plan_coverage"), "plan_id")
    costs = _by(reader.rows("plan_plot_costs"), "plan_id")
    decimal = PLANS.codecs["purchase_cost"].decode
    plans = (
        PLANS.record_of(
            row,
            jobs=tuple(PLAN_JOBS.record_of(r) for r in jobs.get(row["plan_id"], ())),
            lines=tuple(PLAN_LINES.record_of(r) for r in lines.get(row["plan_id"], ())),
            buy=tuple(PLAN_PURCHASES.record_of(r) for r in buy.get(row["plan_id"], ())),
            coverage=tuple(PLAN_COVERAGE.record_of(r) for r in coverage.get(row["plan_id"], ())),
            plot_costs={r["plot_id"]: decimal(r["cost"]) for r in costs.get(row["plan_id"], ())},
        )
        for row in reader.rows("plans")
    )
    # A fingerprint names plots by the ids they keep for ever: a plot called something else has not changed.
    return tuple(replace(p, fingerprint=planning.called(p.fingerprint, reader.names)) for p in plans)
