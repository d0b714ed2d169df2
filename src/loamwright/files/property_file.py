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
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from loamwright import land
from loamwright.errors import InputError, Level, Problem, PropertyFileError
from loamwright.files import guidelines, journal
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
    shape_wkb,
)
from loamwright.land import Cropping, KeepOut, Plot, PlotPart, Way
from loamwright.needs import Decision
from loamwright.planning import Plan
from loamwright.soil import LabRecommendation, OrganicInput, SoilTest
from loamwright.supplies import Offer, Product, StockEntry
from loamwright.units import ACRE_M2
from loamwright.values import Nutrient, PropertyInfo, Quantity, Spreader
from loamwright.version import __version__
from loamwright.work import Application, Calibration, Done, PropertyRecord, Retired

R = TypeVar("R")

#: Version of the tables this program writes.
SCHEMA_VERSION = 2

#: Schema version to the SQL file in ``data/property_file`` that brings it one version further.
UPGRADES: Mapping[int, str] = {1: "upgrade-1-to-2.sql"}

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
                        "INSERT INTO loamwright (schema_version, made_by, property_uid) VALUES (?, ?, ?)",
                        (SCHEMA_VERSION, __version__, uuid.uuid4().hex),
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
def edit(path: Path, command: str = "", by: str = "", wait_s: float = WAIT_S) -> Iterator[Editor]:
    """Open a property file for one change: all of it is kept, or, when anything fails, none.

    What changed is written into the journal in the same transaction.

    Parameters
    ----------
    path
        The property file. A file of an older version is copied, then brought up to date.
    command
        What makes the change, for the journal: ``"set plot AF-03"``.
    by
        Who; empty = the keeper that the settings name.
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
        _refuse_foreign(connection)
        editor = Editor(connection)
        with journal.watching(connection) as watched:
            yield editor
        keeper = connection.execute("SELECT keeper FROM property").fetchone()
        who = by or (keeper["keeper"] if keeper else "")
        now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
        editor.change_id = journal.write(
            connection, watched.rows(), now, who, command, editor.undoes, editor.change_uid
        )


def _refuse_foreign(connection: sqlite3.Connection) -> None:
    """Write nothing into a file whose own triggers would run: they may be anybody's."""
    foreign = journal.foreign_parts(connection)
    if foreign:
        raise PropertyFileError(
            f"it holds {', '.join(foreign)}, which loamwright did not make and does not run; another program "
            "put it there: take it out there, or with the option `mend` of check, which copies it first"
        )


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
            connection.execute("PRAGMA trusted_schema = OFF")
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


def read_journal(path: Path) -> tuple[journal.Change, ...]:
    """Read every change made to a property file, oldest first.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    tuple of journal.Change

    Raises
    ------
    PropertyFileError
        As for `load`.
    """
    with _opened(path, WAIT_S) as connection, _transaction(connection, "BEGIN"):
        return journal.read(connection)


def differences(path: Path, other: Path) -> journal.Difference:
    """Hold two copies of one property against each other by their journals.

    Parameters
    ----------
    path, other
        This copy, and the other one.

    Returns
    -------
    journal.Difference

    Raises
    ------
    PropertyFileError
        When they are not copies of one property, or as for `load`.
    """
    here, there = load(path), load(other)
    if here.property_uid != there.property_uid:
        raise PropertyFileError(
            f"it is a copy of another property ({there.info.name!r}, not {here.info.name!r}); only copies "
            "of one property can be held against each other",
            str(other),
        )
    return journal.differences(read_journal(path), read_journal(other))


def backup(path: Path, folder: Path, today: dt.date) -> Path:
    """Make a dated copy of a property file and check it.

    Parameters
    ----------
    path
        The property file.
    folder
        Where; must exist.
    today
        Put into the name.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    PropertyFileError
        When the copy cannot be made, or is not whole.
    """
    stem = f"{path.stem}.{today.isoformat()}"
    target = folder / f"{stem}{path.suffix}"
    number = 2
    while target.exists():
        target, number = folder / f"{stem}-{number}{path.suffix}", number + 1
    with _opened(path, WAIT_S) as connection:
        try:
            with tempfile.TemporaryDirectory(prefix=".loamwright-", dir=folder) as scratch:
                draft = Path(scratch) / "copy.gpkg"
                with closing(sqlite3.connect(draft)) as copy:
                    connection.backup(copy)
                    whole = copy.execute("PRAGMA integrity_check").fetchone()[0]
                if whole != "ok":
                    raise PropertyFileError(f"the copy is not whole ({whole}); run `check` on the property")
                draft.rename(target)
        except OSError as error:
            raise PropertyFileError(
                f"no copy can be made in {folder}: {error.strerror}; name another"
            ) from error
    load(target)
    return target


#: Tables that `check_property` reads row by row; the others are read whole.
_CHECKED: tuple[Layout[Any], ...] = (
    *(PLOTS, PARTS, WAYS, CROPPINGS, KEEPOUTS, ORGANIC_INPUTS, PRODUCTS, OFFERS, PURCHASES, DECISIONS),
    *(PLAN_LINES, PLAN_PURCHASES, PLAN_COVERAGE, APPLICATIONS, CALIBRATIONS, SPREADERS, SOIL_READINGS),
)


def check_property(path: Path, mend: bool = False, today: dt.date | None = None) -> tuple[Problem, ...]:
    """Read a whole property file and name what is wrong with it.

    Parameters
    ----------
    path
        The property file.
    mend
        True takes out triggers and views that are not ours, after a dated copy.
    today
        Date of that copy.

    Returns
    -------
    tuple of Problem
        Empty when everything is as this program writes it.
    """
    if mend:
        backup(path, path.parent, today or _today())
    found: list[Problem] = []
    restore = "Restore it from a copy, or correct it in the program that changed it."
    with _opened(path, WAIT_S) as connection:
        foreign = journal.foreign_parts(connection)
        for name in foreign:
            if mend:
                kind, _, word = name.partition(" ")
                quoted = word.replace('"', '""')
                connection.execute(f'DROP {kind} "{quoted}"')
            what = f"it holds the {name}, which loamwright did not make" + (
                " and has taken out" if mend else ""
            )
            fix = "Nothing more to do." if mend else "Take it out with check: `mend`."
            found.append(Problem(path.name, what, fix, Level.NOTE if mend else Level.WARNING))
        with _transaction(connection, "BEGIN"):
            for row in connection.execute("PRAGMA integrity_check").fetchall():
                if row[0] != "ok":
                    found.append(Problem(path.name, f"damaged: {row[0]}", restore))
            for table, rowid, parent, _ in connection.execute("PRAGMA foreign_key_check").fetchall():
                what = f"row {rowid} of {table} belongs to a row of {parent} that is not there"
                found.append(Problem(f"{path.name}, {table}", what, restore))
            names = {
                row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            }
            for name in sorted(journal.OWN_TRIGGERS - names):
                what = f"its trigger {name}, which keeps the record append-only, is gone"
                found.append(Problem(path.name, what, restore))
            for layout in _CHECKED:
                try:
                    rows = _rows(connection, layout.table)
                except sqlite3.Error as error:
                    found.append(Problem(f"{path.name}, {layout.table}", str(error), restore))
                    continue
                for row in rows:
                    try:
                        layout.record_of(row)
                    except PropertyFileError as error:
                        found.append(
                            Problem(f"{path.name}, {layout.table}, row {row['fid']}", error.what, restore)
                        )
            try:
                record = _read(connection)
            except PropertyFileError as error:
                found.append(Problem(path.name, error.what, restore))
            else:
                found.extend(record.problems)
    return tuple(dict.fromkeys(found))


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


def _by(rows: Iterable[_Row], column: str) -> Mapping[str, list[_Row]]:
    """Rows of a table grouped by the record they belong to."""
    grouped: dict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        grouped[row[column]].append(row)
    return grouped


class _Reader:
    """Reads the tables of one moment: names of today for plots, and nothing that is retired.

    A row that belongs to nothing, because somebody changed the file by hand, is left out and named.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        plots = _rows(connection, "plots")
        self.names = {row["plot_key"]: row["plot_id"] or row["plot_key"] for row in plots}
        self._here = {row["plot_key"] for row in plots if row["retired_on"] is None}
        self.retired: list[Retired] = []
        self.problems: list[Problem] = []

    def rows(self, table: str) -> list[_Row]:
        """Rows that count, their plot under the name it has today."""
        found = []
        for row in _rows(self._connection, table):
            if table in _OF_PLOTS and row["plot_id"]:
                if row["plot_id"] not in self.names:
                    self._loose(table, row, f"plot {row['plot_id']!r}")
                    continue
                here = row["plot_id"] in self._here
                row["plot_id"] = self.names[row["plot_id"]]
                if not here:
                    continue
            if table in _RETIRABLE.values() and (row["retired_on"], row["retired_because"])[0] is not None:
                self._note(table, row)
                continue
            found.append(row)
        return found

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
        words = {noun: word for word, noun in _RETIRABLE.items()}
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
_RETIRABLE: Mapping[str, str] = {
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


def _read(connection: sqlite3.Connection) -> PropertyRecord:
    reader = _Reader(connection)
    plots = reader.all(PLOTS)
    products = reader.all(PRODUCTS)
    labels = {product.product for product in products}
    kept: dict[str, dict[str, bytes]] = defaultdict(dict)
    for row in _rows(connection, "kept_editions"):
        kept[row["edition"]][row["file"]] = row["content"]
    made = connection.execute("SELECT property_uid FROM loamwright").fetchone()
    info = _read_info(connection, reader)
    return PropertyRecord(
        info=info,
        plots=plots,
        croppings=reader.all(CROPPINGS),
        keepouts=reader.all(KEEPOUTS),
        soil_tests=_read_soil_tests(connection, reader),
        organic_inputs=reader.all(ORGANIC_INPUTS),
        products=products,
        offers=reader.belonging(OFFERS, "product", labels, "product"),
        plans=_read_plans(reader),
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
    )


def _read_info(connection: sqlite3.Connection, reader: _Reader) -> PropertyInfo:
    found = _rows(connection, "property")
    if not found:
        raise PropertyFileError("the file has lost its name and season; restore it from a copy")
    row = found[0]
    limits = _rows(connection, "surplus_limits")
    settings = SETTINGS.record_of(
        row,
        surplus_limit_fraction={r["supply"]: r["fraction"] for r in limits if r["fraction"] is not None},
        surplus_limit_kg_ha={r["supply"]: r["rate_kg_ha"] for r in limits if r["rate_kg_ha"] is not None},
        spreaders=reader.all(SPREADERS),
    )
    return INFO.record_of(row, settings=settings)


def _read_soil_tests(connection: sqlite3.Connection, reader: _Reader) -> tuple[SoilTest, ...]:
    readings = _by(_rows(connection, "soil_readings"), "test_id")
    rates = _by(_rows(connection, "lab_rates"), "test_id")
    tests = []
    for row in reader.rows("soil_tests"):
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


def _read_plans(reader: _Reader) -> tuple[Plan, ...]:
    jobs = _by(reader.rows("plan_jobs"), "plan_id")
    lines = _by(reader.rows("plan_lines"), "plan_id")
    buy = _by(reader.rows("plan_purchases"), "plan_id")
    coverage = _by(reader.rows("plan_coverage"), "plan_id")
    costs = _by(reader.rows("plan_plot_costs"), "plan_id")
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
        for row in reader.rows("plans")
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
        #: The change that this one takes back, its id in other copies, its number once it is written.
        self.undoes: int | None = None
        self.change_uid = ""
        self.change_id = 0

    def record(self) -> PropertyRecord:
        """Return everything the file would hold if the change were confirmed now.

        Returns
        -------
        PropertyRecord
        """
        return _read(self._connection)

    def put_info(self, info: PropertyInfo) -> None:
        """Write name, season and settings, replacing those before.

        Parameters
        ----------
        info
            Name, season, units and settings.
        """
        settings = info.settings
        self._put("property", {"fid": 1, **INFO.row(info), **SETTINGS.row(settings)}, ("fid",))
        self._connection.execute("DELETE FROM surplus_limits")
        for supply in sorted({*settings.surplus_limit_fraction, *settings.surplus_limit_kg_ha}):
            self._insert(
                "surplus_limits",
                {
                    "supply": supply,
                    "fraction": settings.surplus_limit_fraction.get(supply),
                    "rate_kg_ha": settings.surplus_limit_kg_ha.get(supply),
                },
            )
        named = {spreader.name for spreader in settings.spreaders}
        for row in _rows(self._connection, "spreaders"):
            if row["retired_on"] is None and row["name"] not in named:
                self.retire("spreader", (row["name"],), "not in the settings any more")
        self.put_spreaders(settings.spreaders)
        for guideline in guidelines.editions_named(settings.guideline, settings.lime_guideline):
            for file, content in guidelines.files_of(guideline).items():
                kept = {"edition": guideline, "file": file, "content": content}
                self._put("kept_editions", kept, ("edition", "file"))
        self._changed("property", "surplus_limits")

    def put_spreaders(self, spreaders: Iterable[Spreader]) -> None:
        """Add or replace spreaders by name.

        Parameters
        ----------
        spreaders
            Equipment.
        """
        for spreader in spreaders:
            row = SPREADERS.row(spreader)
            self._refuse_retired("spreaders", row, ("name",))
            held = self._connection.execute("SELECT fid FROM spreaders WHERE name = ?", (spreader.name,))
            known = held.fetchone()
            if known is None:
                self._insert("spreaders", row)
            else:
                self._put("spreaders", {"fid": known["fid"], **row}, ("fid",))
        self._changed("spreaders")

    def put_plots(self, plots: Iterable[Plot]) -> None:
        """Add or replace plots by plot_id; a boundary that changes is kept with its date.

        Parameters
        ----------
        plots
            Their boundaries checked by `geometry`.
        """
        today = _today().isoformat()
        for plot in plots:
            area_m2 = land.measure_boundary(plot.boundary_wkb).area_m2
            row = {**PLOTS.row(plot), "area_m2": area_m2, "area_acres": area_m2 / ACRE_M2}
            held = self._connection.execute(
                "SELECT * FROM plots WHERE plot_id = ?", (plot.plot_id,)
            ).fetchone()
            if held is None:
                row["plot_key"] = self._new_key(plot.plot_id)
                row["boundary_since"] = today
            else:
                row["plot_key"] = held["plot_key"]
                if held["boundary"] != row["boundary"]:
                    before = {"plot_id": held["plot_key"], "shape": held["boundary"], "until": today}
                    self._insert(
                        "plot_boundaries",
                        {**before, "area_m2": held["area_m2"]},
                        " ON CONFLICT (plot_id, until, area_m2) DO NOTHING",
                    )
                    row["boundary_since"] = today
            self._put("plots", row, ("plot_key",))
        self._changed_layer("plots", "boundary")

    def _new_key(self, plot_id: str) -> str:
        """A key for a new plot: its id, unless a renamed plot has that key already."""
        used = self._connection.execute("SELECT 1 FROM plots WHERE plot_key = ?", (plot_id,)).fetchone()
        return f"{plot_id}~{uuid.uuid4().hex[:8]}" if used else plot_id

    def _key_of(self, plot_id: str) -> str:
        """The key of a plot by the name it has, or had."""
        query = (
            "SELECT plot_key FROM plots WHERE plot_id = :name UNION ALL "
            "SELECT plot_id FROM plot_aliases WHERE alias = :name LIMIT 1"
        )
        found = self._connection.execute(query, {"name": plot_id}).fetchone()
        return plot_id if found is None else str(found[0])

    def rename_plot(self, plot_id: str, new_id: str) -> None:
        """Call a plot something else; the name it had stays its own, and everything of it stays its own.

        Parameters
        ----------
        plot_id, new_id
            The name it has, and the one it gets.

        Raises
        ------
        InputError
            When the new one is, or ever was, another plot's.
        """
        key = self._key_of(plot_id)
        query = (
            "SELECT plot_id, plot_key FROM plots WHERE lower(:n) IN (lower(plot_id), lower(plot_key)) "
            "UNION SELECT alias, plot_id FROM plot_aliases WHERE lower(alias) = lower(:n)"
        )
        others = [row[0] for row in self._connection.execute(query, {"n": new_id}) if row[1] != key]
        if others or not new_id.strip():
            what = f"{new_id!r} is, or once was, the id of another plot" if others else "the new id is blank"
            raise InputError([Problem(f"plot {plot_id}", what, "An id is never used again; give another.")])
        now = self._connection.execute("SELECT plot_id FROM plots WHERE plot_key = ?", (key,)).fetchone()[0]
        self._insert("plot_aliases", {"alias": now, "plot_id": key}, " ON CONFLICT (alias) DO NOTHING")
        self._connection.execute("DELETE FROM plot_aliases WHERE alias = ?", (new_id,))
        self._connection.execute("UPDATE plots SET plot_id = ? WHERE plot_key = ?", (new_id, key))
        self._changed("plots", "plot_aliases")

    def retire(self, word: str, key: Sequence[str | int], because: str) -> None:
        """Retire something: it keeps its row, and leaves lists, sums and plans.

        Parameters
        ----------
        word
            ``"plot"``, ``"soil-test"`` …
        key
            Values of the columns that tell it, as in `journal.TABLES`; a plot by the name it has.
        because
            Why.
        """
        table = _RETIRABLE[word]
        columns = journal.TABLES[table]
        values = tuple(
            self._key_of(str(value)) if column in ("plot_key", "plot_id") else value
            for column, value in zip(columns, key, strict=True)
        )
        where = " AND ".join(f"{column} = ?" for column in columns)
        self._connection.execute(
            f"UPDATE {table} SET retired_on = ?, retired_because = ? WHERE {where}",
            (_today().isoformat(), because, *values),
        )
        self._changed(table)

    def undo(self, change_id: int | None, because: str = "") -> journal.Change:
        """Take a change back; what is kept for ever is withdrawn or retired instead.

        Parameters
        ----------
        change_id
            Its number; None = the newest that stands.
        because
            Why, for what is withdrawn.

        Returns
        -------
        journal.Change
            The change taken back.

        Raises
        ------
        InputError
            When there is none, it is taken back already, or a later change is built on it.
        """
        change = journal.change_to_undo(self._connection, change_id)
        kept = journal.undo(self._connection, change)
        self.undoes = change.change_id
        reason = because or f"change {change.change_id} was taken back"
        words = {table: word for word, table in _RETIRABLE.items()}
        for row in kept:
            if row.table == "applications":
                self.withdraw(str(row.key[0]), reason)
            elif row.table in words:
                self.retire(words[row.table], [str(part) for part in row.key], reason)
        for table, column in (("plots", "boundary"), ("keepouts", "shape"), ("ways", "shape")):
            self._changed_layer(table, column)
        return change

    def take_over(self, change: journal.Change) -> None:
        """Do here what a change of another copy did there.

        Parameters
        ----------
        change
            From the other copy's journal.

        Raises
        ------
        InputError
            When this file is not as that one was.
        """
        journal.take_over(self._connection, change)
        self.change_uid = change.uid

    def withdraw(self, entry_id: str, because: str) -> Application:
        """Withdraw an entry of the record: a new entry says that it never happened.

        Parameters
        ----------
        entry_id
            The entry.
        because
            Why.

        Returns
        -------
        Application
            The new entry.

        Raises
        ------
        InputError
            When there is no such entry, or another has taken its place.
        """
        entries = {entry.entry_id: entry for entry in _Reader(self._connection).all(APPLICATIONS)}
        standing = {entry.replaces: entry.entry_id for entry in entries.values() if entry.replaces}
        entry = entries.get(entry_id)
        where = f"entry {entry_id}"
        if entry is None:
            raise InputError([Problem(where, "the record holds no such entry", "See `export … csv`.")])
        if entry_id in standing:
            what = f"entry {standing[entry_id]!r} has taken its place"
            raise InputError([Problem(where, what, "Withdraw that one.")])
        if entry.withdrawn:  # withdrawing a withdrawal: what it took back stands again
            again = entries[entry.replaces]
            new = replace(again, entry_id=uuid.uuid4().hex, replaces=entry_id, reason=because)
        else:
            new = replace(
                entry,
                entry_id=uuid.uuid4().hex,
                done=Done.NOT_DONE,
                mass_kg=0.0,
                area_m2=None,
                cost=None,
                replaces=entry_id,
                reason=because,
                withdrawn=True,
            )
        now = dt.datetime.now().astimezone().isoformat(timespec="seconds")
        new = replace(new, recorded_at=now)
        self._insert("applications", APPLICATIONS.row(new))
        self._changed("applications")
        return new

    def put_parts(self, parts: Iterable[PlotPart]) -> None:
        """Add or replace parts of plots by part_id.

        Parameters
        ----------
        parts
            Of plots in the file.
        """
        self._put_all(PARTS, parts)

    def put_ways(self, ways: Iterable[Way]) -> None:
        """Add or replace ways by way_id.

        Parameters
        ----------
        ways
            Lines and points.
        """
        self._put_all(WAYS, ways)
        self._changed_layer("ways", "shape")

    def put_purchases(self, entries: Iterable[StockEntry]) -> None:
        """Add or replace entries of the shed's book by purchase_id.

        Parameters
        ----------
        entries
            Of products in the file.
        """
        self._put_all(PURCHASES, entries)

    def put_decisions(self, decisions: Iterable[Decision]) -> None:
        """Add or replace decisions by decision_id.

        Parameters
        ----------
        decisions
            Of plots in the file.
        """
        self._put_all(DECISIONS, decisions)

    def put_checklist(self, number: str, plot_id: str, text: str) -> None:
        """Write the free text for one number of the list of what a plan holds.

        Parameters
        ----------
        number
            ``"1.1"``.
        plot_id
            For one plot; empty = for the property.
        text
            The text; empty takes it out.
        """
        key = self._key_of(plot_id) if plot_id else ""
        if text:
            self._put("checklist", {"number": number, "plot_id": key, "text": text}, ("number", "plot_id"))
        else:
            self._connection.execute("DELETE FROM checklist WHERE number = ? AND plot_id = ?", (number, key))
        self._changed("checklist")

    def put_croppings(self, croppings: Iterable[Cropping]) -> None:
        """Add or replace croppings by plot_id, season and position.

        Parameters
        ----------
        croppings
            Of plots in the file.
        """
        self._put_all(CROPPINGS, croppings)

    def put_keepouts(self, keepouts: Iterable[KeepOut]) -> None:
        """Add or replace keep-outs by keepout_id.

        Parameters
        ----------
        keepouts
            Checked.
        """
        self._put_all(KEEPOUTS, keepouts)
        self._changed_layer("keepouts", "shape")

    def put_soil_tests(self, tests: Iterable[SoilTest]) -> None:
        """Add or replace soil tests by test_id.

        Parameters
        ----------
        tests
            Of plots of this property.
        """
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
            for table in ("soil_readings", "lab_rates"):  # the journal sees what differs in the end
                self._connection.execute(f"DELETE FROM {table} WHERE test_id = ?", (test.test_id,))
            for element, reading in test.readings.items():
                own = {"test_id": test.test_id, "element": element}
                self._insert("soil_readings", {**own, **SOIL_READINGS.row(reading)})
            for nutrient, rate in (advice.rates if advice is not None else {}).items():
                own = {"test_id": test.test_id, "nutrient": nutrient.value}
                self._insert("lab_rates", {**own, "value": rate.value, "unit": rate.unit})
        self._changed("soil_tests", "soil_readings", "lab_rates")

    def put_organic_inputs(self, inputs: Iterable[OrganicInput]) -> None:
        """Add or replace organic inputs by input_id.

        Parameters
        ----------
        inputs
            Of plots of this property.
        """
        self._put_all(ORGANIC_INPUTS, inputs)

    def put_products(self, products: Iterable[Product]) -> None:
        """Add or replace products by name.

        Parameters
        ----------
        products
            Labels.
        """
        self._put_all(PRODUCTS, products)

    def put_offers(self, offers: Iterable[Offer]) -> None:
        """Add or replace offers by offer_id.

        Parameters
        ----------
        offers
            Of products of this property.
        """
        self._put_all(OFFERS, offers)

    def add_plan(self, plan: Plan, reason: str) -> Plan:
        """Keep a plan; the plans before it stay.

        Parameters
        ----------
        plan
            The plan. When an older plan has its id, it gets a number after it; when the newest plan
            is this plan word for word, nothing is added.
        reason
            Why it replaces the one before; empty for the first.

        Returns
        -------
        Plan
            As stored, with its reason and the time it was made.
        """
        plans = _read_plans(_Reader(self._connection))
        if plans:
            newest = plans[-1]
            if replace(plan, made_at=newest.made_at, reason=newest.reason) == newest:
                return newest
        taken = {row["plan_id"] for row in _rows(self._connection, "plans")}
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
        """Add entries to the record; entries that are there already change nothing.

        Parameters
        ----------
        applications
            In any order. A correction must find the entry it corrects in the file or among them.

        Returns
        -------
        Appended
        """
        reader = _Reader(self._connection)
        stored = {entry.entry_id: entry for entry in reader.all(APPLICATIONS)}
        former = {row["alias"]: row["plot_id"] for row in reader.rows("plot_aliases")}
        applications = [
            replace(entry, plot_id=former.get(entry.plot_id, entry.plot_id)) for entry in applications
        ]
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
        """Add one spreader test.

        Parameters
        ----------
        calibration
            The test; its id must be new.

        Raises
        ------
        PropertyFileError
            When its id is taken.
        """
        known = {c.calibration_id: c for c in _Reader(self._connection).all(CALIBRATIONS)}
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

    def _refuse_retired(self, table: str, row: Mapping[str, Any], key: Sequence[str]) -> None:
        """Refuse to write over what is retired: an id is never used again."""
        if "retired_on" not in journal.columns_of(self._connection, table):
            return
        where = " AND ".join(f"{column} = ?" for column in key)
        values = tuple(row[column] for column in key)
        found = self._connection.execute(
            f"SELECT retired_on, retired_because FROM {table} WHERE {where}", values
        ).fetchone()
        if found is not None and found["retired_on"] is not None:
            name = f"{journal.NOUNS[table]} {' '.join(map(str, values))}"
            when, why = found["retired_on"], found["retired_because"]
            what = f"it was retired on {when} ({why}), and an id is never used again"
            raise InputError(
                [Problem(name, what, "Give another id, or take back the change that retired it.")]
            )

    def _put(self, table: str, row: Mapping[str, Any], key: Sequence[str]) -> None:
        if table != "plots" and row.get("plot_id"):
            row = {**row, "plot_id": self._key_of(row["plot_id"])}
        if key != ("fid",):
            self._refuse_retired(table, row, key)
        changes = ", ".join(f"{column} = excluded.{column}" for column in row if column not in key)
        self._insert(table, row, f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {changes}")

    def _insert(self, table: str, row: Mapping[str, Any], clause: str = "") -> None:
        if table != "plots" and row.get("plot_id"):
            row = {**row, "plot_id": self._key_of(row["plot_id"])}
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


def _today() -> dt.date:
    return dt.datetime.now().astimezone().date()


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
