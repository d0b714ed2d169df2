"""The property file: one GeoPackage that holds everything known about a property.

This file answers "how is a property kept, so that nothing confirmed is ever lost?". Every change is
one SQLite transaction with a rollback journal and full synchronisation: after a crash the file opens
with everything that was confirmed and nothing that was not. A second writer waits, then is told. The
record of applications is append-only, by triggers in the file itself. Any program that reads
GeoPackage opens the file; what stands in which column is `columns` and
``data/property_file/schema.sql``. Nothing here is worked out from the data.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from loamwright import land
from loamwright.errors import Problem, PropertyFileError
from loamwright.files.columns import (
    APPLICATIONS,
    CALIBRATIONS,
    CROPPINGS,
    INFO,
    KEEPOUTS,
    OFFERS,
    ORGANIC_INPUTS,
    PLAN_COVERAGE,
    PLAN_JOBS,
    PLAN_LINES,
    PLAN_PURCHASES,
    PLANS,
    PLOTS,
    PRODUCTS,
    SETTINGS,
    SOIL_READINGS,
    SOIL_TESTS,
    SPREADERS,
    Layout,
    shape_wkb,
)
from loamwright.land import Cropping, KeepOut, Plot
from loamwright.planning import Plan
from loamwright.soil import LabRecommendation, OrganicInput, SoilTest
from loamwright.supplies import Offer, Product
from loamwright.units import ACRE_M2
from loamwright.values import Nutrient, PropertyInfo, Quantity
from loamwright.version import __version__
from loamwright.work import Application, Calibration, PropertyRecord

R = TypeVar("R")

#: Version of the tables this program writes.
SCHEMA_VERSION = 1

#: Schema version to the SQL file in ``data/property_file`` that brings it one version further.
UPGRADES: Mapping[int, str] = {}

#: How long a writer waits for another one [s].
WAIT_S = 10.0

_APPLICATION_ID = 0x47504B47  # "GPKG", OGC 12-128r17 requirement 2


# ---------------------------------------------------------------------------------------------
# Making and opening


def create(path: Path, info: PropertyInfo) -> None:
    """Make an empty property file.

    Parameters
    ----------
    path
        Where; must not exist. It appears whole or not at all.
    info
        Name, season and settings.

    Raises
    ------
    PropertyFileError
        When something is there already, or the place cannot be written to.
    """
    if path.exists():
        raise _taken(path)
    try:
        with tempfile.TemporaryDirectory(prefix=".loamwright-", dir=path.parent) as folder:
            draft = Path(folder) / "new.gpkg"
            with closing(sqlite3.connect(draft, isolation_level=None)) as connection:
                connection.executescript(_sql("schema.sql"))
                connection.execute("PRAGMA foreign_keys = ON")
                with _transaction(connection, "BEGIN IMMEDIATE"):
                    connection.execute(
                        "INSERT INTO loamwright (schema_version, made_by) VALUES (?, ?)",
                        (SCHEMA_VERSION, __version__),
                    )
                    Editor(connection).put_info(info)
            if path.exists():
                raise _taken(path)
            draft.rename(path)
    except (OSError, sqlite3.Error) as error:
        raise PropertyFileError(
            f"it cannot be made: {error}; choose a folder you may write to", str(path)
        ) from error


def _taken(path: Path) -> PropertyFileError:
    return PropertyFileError("it exists already; give another name, or import into it", str(path))


def load(path: Path) -> PropertyRecord:
    """Read everything a property file holds, as of one moment.

    Parameters
    ----------
    path
        The property file. A file of an older version is copied, then brought up to date.

    Returns
    -------
    PropertyRecord
        Each kind of record in the order it was first added.

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged.
    """
    with _opened(path, WAIT_S) as connection, _transaction(connection, "BEGIN"):
        return _read(connection)


def refuse_to_replace(path: Path) -> None:
    """Refuse to write another kind of file over a property.

    Parameters
    ----------
    path
        Where something is about to be written; anything there that is no property file is let go.

    Raises
    ------
    PropertyFileError
        When a property file is there.
    """
    if not path.is_file():
        return
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            ours = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'loamwright'").fetchone()
    except sqlite3.DatabaseError:
        return
    if ours:
        what = "it is a property file and is not written over; give another name"
        raise PropertyFileError(what, str(path))


@contextmanager
def edit(path: Path, wait_s: float = WAIT_S) -> Iterator[Editor]:
    """Open a property file for one change: all of it is kept, or, when anything fails, none.

    Parameters
    ----------
    path
        The property file. A file of an older version is copied, then brought up to date.
    wait_s
        How long to wait for another program that is writing [s].

    Yields
    ------
    Editor
        Its methods write; leaving the block confirms.

    Raises
    ------
    PropertyFileError
        When the file is missing, not ours, newer than this program, busy or damaged, or when a
        record refers to something the file does not hold.
    """
    with _opened(path, wait_s) as connection, _transaction(connection, "BEGIN IMMEDIATE"):
        yield Editor(connection)


def _sql(name: str) -> str:
    return resources.files("loamwright").joinpath("data", "property_file", name).read_text(encoding="utf-8")


@contextmanager
def _opened(path: Path, wait_s: float) -> Iterator[sqlite3.Connection]:
    """A connection to a checked, up-to-date property file; SQLite's errors become ours, which name it."""
    try:
        _check_outside(path)
        with closing(
            sqlite3.connect(
                f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=wait_s, isolation_level=None
            )
        ) as connection:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA synchronous = FULL")
            version = _version(connection)
            if version < SCHEMA_VERSION:
                _upgrade(path, connection, version)
            yield connection
    except sqlite3.IntegrityError as error:
        raise PropertyFileError(
            f"nothing was changed: {error}; a record refers to a plot, test or product that the "
            "file does not hold, or contradicts what is there",
            str(path),
        ) from error
    except sqlite3.Error as error:
        raise PropertyFileError(_why(error, wait_s), str(path)) from error
    except PropertyFileError as error:
        raise PropertyFileError(error.what, str(path)) from error


def _why(error: Exception, wait_s: float) -> str:
    text = str(error)
    if "locked" in text or "busy" in text:
        return (
            f"another program is writing to it and did not finish within {wait_s:g} s, nothing was changed; "
            "close the file there, or try again"
        )
    if "readonly" in text:
        return "the file is read-only, nothing was changed; make it writable, or work on a copy"
    if "disk is full" in text:
        return "the disk is full, nothing was changed; make room and try again"
    return f"the file is damaged or cannot be used ({text}); restore it from a copy"


def _check_outside(path: Path) -> None:
    """Refuse, from outside, what cannot be a property file."""
    if path.is_dir():
        raise PropertyFileError("it is a directory; name the property file in it (.gpkg)")
    try:
        with path.open("rb") as handle:
            start = handle.read(16)
    except FileNotFoundError as error:
        what = f"there is no file of this name; make one with: loamwright new {path}"
        raise PropertyFileError(what) from error
    except OSError as error:
        raise PropertyFileError(f"it cannot be read: {error.strerror}; check its permissions") from error
    if not start:
        raise PropertyFileError("it is empty (0 bytes); restore a copy, or delete it and make a new one")
    if start != b"SQLite format 3\x00":
        raise PropertyFileError(
            "it is not a property file; boundaries and tables come in with: loamwright import"
        )


def _version(connection: sqlite3.Connection) -> int:
    """The schema version of the file, or a refusal when it is not ours or newer."""
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if "loamwright" not in tables or "gpkg_contents" not in tables:
        kind = "GeoPackage" if "gpkg_contents" in tables else "SQLite database"
        raise PropertyFileError(
            f"it is a {kind} that loamwright did not make; bring its layers in with: loamwright import"
        )
    row = connection.execute("SELECT schema_version, made_by FROM loamwright").fetchone()
    if row is None:
        raise PropertyFileError("it does not say its version; restore it from a copy")
    if row["schema_version"] > SCHEMA_VERSION:
        raise PropertyFileError(
            f"it has schema version {row['schema_version']} (made by loamwright {row['made_by']}), and "
            f"this program knows up to {SCHEMA_VERSION}; install a newer loamwright"
        )
    return int(row["schema_version"])


def _upgrade(path: Path, connection: sqlite3.Connection, version: int) -> None:
    """Copy the file beside itself, then bring it up to date step by step in one transaction."""
    _copy_before_upgrade(path, connection, version)
    with _transaction(connection, "BEGIN IMMEDIATE"):
        # Another program may have been faster.
        for step in range(_version(connection), SCHEMA_VERSION):
            for statement in _statements(_sql(UPGRADES[step])):
                connection.execute(statement)
            connection.execute("UPDATE loamwright SET schema_version = ?", (step + 1,))


def _copy_before_upgrade(path: Path, connection: sqlite3.Connection, version: int) -> None:
    stem = f"{path.stem}.version-{version}.{dt.date.today().isoformat()}"  # noqa: DTZ011
    for suffix in ("", *(f"-{number}" for number in range(2, 1000))):
        target = path.with_name(f"{stem}{suffix}{path.suffix}")
        if not target.exists():
            with closing(sqlite3.connect(target)) as copy:
                connection.backup(copy)
            return


def _statements(script: str) -> Iterator[str]:
    """Split a script into statements: ``executescript`` would end the transaction they belong to."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


@contextmanager
def _transaction(connection: sqlite3.Connection, begin: str) -> Iterator[None]:
    connection.execute(begin)
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


# ---------------------------------------------------------------------------------------------
# Reading


class _Row(dict[str, Any]):
    """One row of a table, column to value; a column that is not there is a fault of the file."""

    def __init__(self, table: str, row: sqlite3.Row) -> None:
        super().__init__(row)
        self._table = table

    def __missing__(self, column: str) -> Any:
        raise PropertyFileError(
            f"its table {self._table} has lost the column {column}; restore the file from a copy"
        )


def _rows(connection: sqlite3.Connection, table: str) -> list[_Row]:
    return [_Row(table, row) for row in connection.execute(f"SELECT * FROM {table} ORDER BY fid")]


def _all(connection: sqlite3.Connection, layout: Layout[R]) -> tuple[R, ...]:
    return tuple(layout.record_of(row) for row in _rows(connection, layout.table))


def _by(connection: sqlite3.Connection, table: str, column: str) -> Mapping[str, list[_Row]]:
    """Rows of a table grouped by the record they belong to."""
    grouped: dict[str, list[_Row]] = defaultdict(list)
    for row in _rows(connection, table):
        grouped[row[column]].append(row)
    return grouped


def _read(connection: sqlite3.Connection) -> PropertyRecord:
    return PropertyRecord(
        info=_read_info(connection),
        plots=_all(connection, PLOTS),
        croppings=_all(connection, CROPPINGS),
        keepouts=_all(connection, KEEPOUTS),
        soil_tests=_read_soil_tests(connection),
        organic_inputs=_all(connection, ORGANIC_INPUTS),
        products=_all(connection, PRODUCTS),
        offers=_all(connection, OFFERS),
        plans=_read_plans(connection),
        applications=_all(connection, APPLICATIONS),
        calibrations=_all(connection, CALIBRATIONS),
    )


def _read_info(connection: sqlite3.Connection) -> PropertyInfo:
    found = _rows(connection, "property")
    if not found:
        raise PropertyFileError("the file has lost its name and season; restore it from a copy")
    row = found[0]
    limits = _rows(connection, "surplus_limits")
    settings = SETTINGS.record_of(
        row,
        surplus_limit_fraction={r["supply"]: r["fraction"] for r in limits if r["fraction"] is not None},
        surplus_limit_kg_ha={r["supply"]: r["rate_kg_ha"] for r in limits if r["rate_kg_ha"] is not None},
        spreaders=_all(connection, SPREADERS),
    )
    return INFO.record_of(row, settings=settings)


def _read_soil_tests(connection: sqlite3.Connection) -> tuple[SoilTest, ...]:
    readings = _by(connection, "soil_readings", "test_id")
    rates = _by(connection, "lab_rates", "test_id")
    tests = []
    for row in _rows(connection, "soil_tests"):
        recommendation = None
        if row["recommends"]:
            recommendation = LabRecommendation(
                {
                    Nutrient(rate["nutrient"]): Quantity(rate["value"], rate["unit"])
                    for rate in rates.get(row["test_id"], ())
                },
                None if row["lime_unit"] is None else Quantity(row["lime_value"], row["lime_unit"]),
                None if row["credits_taken"] is None else bool(row["credits_taken"]),
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


def _read_plans(connection: sqlite3.Connection) -> tuple[Plan, ...]:
    jobs = _by(connection, "plan_jobs", "plan_id")
    lines = _by(connection, "plan_lines", "plan_id")
    buy = _by(connection, "plan_purchases", "plan_id")
    coverage = _by(connection, "plan_coverage", "plan_id")
    costs = _by(connection, "plan_plot_costs", "plan_id")
    decimal = PLANS.codecs["purchase_cost"].decode
    return tuple(
        PLANS.record_of(
            row,
            jobs=tuple(PLAN_JOBS.record_of(r) for r in jobs.get(row["plan_id"], ())),
            lines=tuple(PLAN_LINES.record_of(r) for r in lines.get(row["plan_id"], ())),
            buy=tuple(PLAN_PURCHASES.record_of(r) for r in buy.get(row["plan_id"], ())),
            coverage=tuple(PLAN_COVERAGE.record_of(r) for r in coverage.get(row["plan_id"], ())),
            plot_costs={r["plot_id"]: decimal(r["cost"]) for r in costs.get(row["plan_id"], ())},
        )
        for row in _rows(connection, "plans")
    )


# ---------------------------------------------------------------------------------------------
# Writing


@dataclass(frozen=True, slots=True)
class Appended:
    """What became of entries offered to the record.

    Parameters
    ----------
    new
        Written now.
    already_there
        Known, word for word the same; nothing was written.
    conflicts
        Not written, and why: the id stands for something else, the plot is not known, or the entry
        to be corrected is not there.
    """

    new: tuple[Application, ...]
    already_there: tuple[Application, ...]
    conflicts: tuple[Problem, ...]


class Editor:
    """Writes records within one transaction; made by `edit`.

    ``put_…`` adds a record, or replaces the one with the same id; the rest stays as it is.

    Parameters
    ----------
    connection
        Connection with an open transaction.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._connection.row_factory = sqlite3.Row

    def put_info(self, info: PropertyInfo) -> None:
        """Write name, season and settings, replacing those before."""
        settings = info.settings
        self._put("property", {"fid": 1, **INFO.row(info), **SETTINGS.row(settings)}, ("fid",))
        for table in ("surplus_limits", "spreaders"):
            self._connection.execute(f"DELETE FROM {table}")
        for supply in sorted({*settings.surplus_limit_fraction, *settings.surplus_limit_kg_ha}):
            self._insert(
                "surplus_limits",
                {
                    "supply": supply,
                    "fraction": settings.surplus_limit_fraction.get(supply),
                    "rate_kg_ha": settings.surplus_limit_kg_ha.get(supply),
                },
            )
        for spreader in settings.spreaders:
            self._insert("spreaders", SPREADERS.row(spreader))
        self._changed("property", "surplus_limits", "spreaders")

    def put_plots(self, plots: Iterable[Plot]) -> None:
        """Add or replace plots by plot_id."""
        for plot in plots:
            area_m2 = land.measure_boundary(plot.boundary_wkb).area_m2
            area = {"area_m2": area_m2, "area_acres": area_m2 / ACRE_M2}
            self._put("plots", {**PLOTS.row(plot), **area}, PLOTS.key)
        self._changed_layer("plots", "boundary")

    def put_croppings(self, croppings: Iterable[Cropping]) -> None:
        """Add or replace croppings by plot_id and season."""
        self._put_all(CROPPINGS, croppings)

    def put_keepouts(self, keepouts: Iterable[KeepOut]) -> None:
        """Add or replace keep-outs by keepout_id."""
        self._put_all(KEEPOUTS, keepouts)
        self._changed_layer("keepouts", "shape")

    def put_soil_tests(self, tests: Iterable[SoilTest]) -> None:
        """Add or replace soil tests by test_id."""
        for test in tests:
            advice = test.recommendation
            lime = advice.lime if advice is not None else None
            taken = advice.credits_taken if advice is not None else None
            row = {
                **SOIL_TESTS.row(test),
                "recommends": advice is not None,
                "lime_value": None if lime is None else lime.value,
                "lime_unit": None if lime is None else lime.unit,
                "credits_taken": taken,
            }
            self._put("soil_tests", row, SOIL_TESTS.key)
            for table in ("soil_readings", "lab_rates"):
                self._connection.execute(f"DELETE FROM {table} WHERE test_id = ?", (test.test_id,))
            for element, reading in test.readings.items():
                own = {"test_id": test.test_id, "element": element}
                self._insert("soil_readings", {**own, **SOIL_READINGS.row(reading)})
            for nutrient, rate in (advice.rates if advice is not None else {}).items():
                own = {"test_id": test.test_id, "nutrient": nutrient.value}
                self._insert("lab_rates", {**own, "value": rate.value, "unit": rate.unit})
        self._changed("soil_tests", "soil_readings", "lab_rates")

    def put_organic_inputs(self, inputs: Iterable[OrganicInput]) -> None:
        """Add or replace organic inputs by input_id."""
        self._put_all(ORGANIC_INPUTS, inputs)

    def put_products(self, products: Iterable[Product]) -> None:
        """Add or replace products by name."""
        self._put_all(PRODUCTS, products)

    def put_offers(self, offers: Iterable[Offer]) -> None:
        """Add or replace offers by offer_id."""
        self._put_all(OFFERS, offers)

    def add_plan(self, plan: Plan, reason: str) -> Plan:
        """Keep a plan; the plans before it stay."""
        plans = _read_plans(self._connection)
        if plans:
            newest = plans[-1]
            if replace(plan, made_at=newest.made_at, reason=newest.reason) == newest:
                return newest
        taken = {stored.plan_id for stored in plans}
        plan_id, number = plan.plan_id, 2
        while plan_id in taken:
            plan_id, number = f"{plan.plan_id}-{number}", number + 1
        now = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
        stored = replace(plan, plan_id=plan_id, reason=reason, made_at=plan.made_at or now)
        self._insert("plans", PLANS.row(stored))
        own = {"plan_id": plan_id}
        for job in stored.jobs:
            self._insert("plan_jobs", {**own, **PLAN_JOBS.row(job)})
        for line in stored.lines:
            self._insert("plan_lines", {**own, **PLAN_LINES.row(line)})
        for purchase in stored.buy:
            self._insert("plan_purchases", {**own, **PLAN_PURCHASES.row(purchase)})
        for coverage in stored.coverage:
            self._insert("plan_coverage", {**own, **PLAN_COVERAGE.row(coverage)})
        for plot_id, cost in stored.plot_costs.items():
            self._insert("plan_plot_costs", {**own, "plot_id": plot_id, "cost": str(cost)})
        self._changed(
            "plans", "plan_jobs", "plan_lines", "plan_purchases", "plan_coverage", "plan_plot_costs"
        )
        return stored

    def append_applications(self, applications: Sequence[Application]) -> Appended:
        """Add entries to the record; entries that are there already change nothing."""
        stored = {entry.entry_id: entry for entry in _all(self._connection, APPLICATIONS)}
        plot_ids = {row["plot_id"] for row in self._connection.execute("SELECT plot_id FROM plots")}
        new: list[Application] = []
        same: list[Application] = []
        conflicts: list[Problem] = []
        waiting = list(applications)
        while waiting:
            held: list[Application] = []
            for entry in waiting:
                known = stored.get(entry.entry_id)
                if known is not None:
                    if known == entry:
                        same.append(entry)
                    else:
                        conflicts.append(_conflict(entry, known))
                elif entry.plot_id not in plot_ids:
                    conflicts.append(_no_plot(entry))
                elif entry.replaces and entry.replaces not in stored:
                    held.append(entry)
                else:
                    self._insert("applications", APPLICATIONS.row(entry))
                    stored[entry.entry_id] = entry
                    new.append(entry)
            if len(held) == len(waiting):
                conflicts.extend(map(_nothing_to_correct, held))
                break
            waiting = held
        if new:
            self._changed("applications")
        return Appended(tuple(new), tuple(same), tuple(conflicts))

    def add_calibration(self, calibration: Calibration) -> None:
        """Add one spreader test."""
        known = {c.calibration_id: c for c in _all(self._connection, CALIBRATIONS)}
        if calibration.calibration_id in known:
            raise PropertyFileError(
                f"there is a calibration {calibration.calibration_id!r} already; give the new one its own id"
            )
        self._insert("calibrations", CALIBRATIONS.row(calibration))
        self._changed("calibrations")

    def _put_all(self, layout: Layout[R], records: Iterable[R]) -> None:
        for record in records:
            self._put(layout.table, layout.row(record), layout.key)
        self._changed(layout.table)

    def _put(self, table: str, row: Mapping[str, Any], key: Sequence[str]) -> None:
        changes = ", ".join(f"{column} = excluded.{column}" for column in row if column not in key)
        self._insert(table, row, f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {changes}")

    def _insert(self, table: str, row: Mapping[str, Any], clause: str = "") -> None:
        marks = ", ".join("?" for _ in row)
        try:
            self._connection.execute(
                f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks}){clause}", tuple(row.values())
            )
        except (UnicodeError, OverflowError) as error:
            raise PropertyFileError(
                f"nothing was changed: a value for {table} cannot be stored ({error}); take out the "
                "characters that are not text, or the number that is too large"
            ) from error

    def _changed(self, *tables: str) -> None:
        now = dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        self._connection.executemany(
            "UPDATE gpkg_contents SET last_change = ? WHERE table_name = ?",
            [(now, table) for table in tables],
        )

    def _changed_layer(self, table: str, column: str) -> None:
        boxes = [
            land.bounds(shape_wkb(row[0]))
            for row in self._connection.execute(f"SELECT {column} FROM {table}")
        ]
        if boxes:
            west, south, east, north = zip(*boxes, strict=True)
            self._connection.execute(
                "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
                (min(west), min(south), max(east), max(north), table),
            )
        self._changed(table)


def _conflict(entry: Application, known: Application) -> Problem:
    ours, theirs = APPLICATIONS.row(entry), APPLICATIONS.row(known)
    differing = ", ".join(
        f"{name} {value!r} (stored: {theirs[name]!r})"
        for name, value in ours.items()
        if value != theirs[name]
    )
    return Problem(
        f"entry {entry.entry_id}",
        f"the record has this entry already and it says something else: {differing}",
        "To correct it, add a new entry that replaces it.",
    )


def _no_plot(entry: Application) -> Problem:
    return Problem(
        f"entry {entry.entry_id}, plot_id",
        f"there is no plot {entry.plot_id!r} on this property",
        "Import the plot first, or check that the entry belongs to this property.",
    )


def _nothing_to_correct(entry: Application) -> Problem:
    return Problem(
        f"entry {entry.entry_id}, replaces",
        f"there is no entry {entry.replaces!r} to correct",
        "Bring in the entry it corrects first, or together with it.",
    )
