"""Writing records into a property file, within one transaction.

This file answers "how does a change come into the file?": adding, replacing, retiring, renaming, withdrawing,
taking back. Opening and confirming are `property_file`; what differs is written down by `journal`.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from loamwright import land, planning
from loamwright.errors import InputError, Problem, PropertyFileError
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
    shape_of,
)
from loamwright.files.held import RETIRABLE, Reader, read_all, read_plans, rows_of
from loamwright.land import Cropping, KeepOut, Plot, PlotPart, Way
from loamwright.needs import Decision
from loamwright.planning import Plan
from loamwright.soil import OrganicInput, SoilTest
from loamwright.supplies import Offer, Product, StockEntry
from loamwright.units import ACRE_M2
from loamwright.values import PropertyInfo, Spreader
from loamwright.work import Application, Calibration, Done, PropertyRecord

R = TypeVar("R")


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


def _as_said(entry: Application) -> Application:
    """An entry without what differs each time it is said."""
    return replace(entry, entry_id="", replaces="", reason="", recorded_at="", report_id=None)


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
        self.change_id = 0

    def record(self) -> PropertyRecord:
        """Return everything the file would hold if the change were confirmed now.

        Returns
        -------
        PropertyRecord
        """
        return read_all(self._connection)

    def put_info(self, info: PropertyInfo) -> None:
        """Write name, season and settings, replacing those before.

        Parameters
        ----------
        info
            All of them.
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
        for row in rows_of(self._connection, "spreaders"):
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
            area_m2 = land.measure_boundary(plot.boundary).area_m2
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

    def put_boundary(self, plot_key: str, boundary: land.Shape) -> None:
        """Give a plot another boundary, by its key; the one before is kept with its date.

        Parameters
        ----------
        plot_key
            Its key for ever.
        boundary
            Polygon or MultiPolygon, longitude-latitude on WGS84.
        """
        held = self._connection.execute("SELECT * FROM plots WHERE plot_key = ?", (plot_key,)).fetchone()
        self.put_plots([replace(PLOTS.record_of(held), boundary=boundary)])

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
        table = RETIRABLE[word]
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
        words = {table: word for word, table in RETIRABLE.items()}
        self._take_back_entries([str(row.key[0]) for row in kept if row.table == "applications"], reason)
        for row in kept:
            if row.table in words:
                self.retire(words[row.table], [str(part) for part in row.key], reason)
        self._drawn_otherwise()
        return change

    def _take_back_entries(self, made: Sequence[str], because: str) -> None:
        """Withdraw the entries a change made; what they corrected stands again."""
        entries = {entry.entry_id: entry for entry in Reader(self._connection).all(APPLICATIONS)}
        later = {entry.replaces: entry for entry in entries.values() if entry.replaces}
        for last in set(made) - {entries[entry_id].replaces for entry_id in made}:
            before = entries[last].replaces
            while before in made:
                before = entries[before].replaces
            newest = entries[last]
            while newest.entry_id in later:
                newest = later[newest.entry_id]
            says_the_same = _as_said(newest) == _as_said(entries[last])  # later corrections were taken back
            self.withdraw(newest.entry_id if says_the_same else last, because, stands_again=before)

    def _drawn_otherwise(self) -> None:
        """Tell other programs of shapes that may have changed."""
        for table, column in (("plots", "boundary"), ("keepouts", "shape"), ("ways", "shape")):
            self._changed_layer(table, column)

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
        self._drawn_otherwise()

    def withdraw(self, entry_id: str, because: str, stands_again: str = "") -> Application:
        """Withdraw an entry of the record: a new entry says that it never happened.

        Parameters
        ----------
        entry_id
            The entry.
        because
            Why.
        stands_again
            The entry that it corrected and that is to stand again: the new entry says what that one said.
            Empty = none; what was corrected never happened either.

        Returns
        -------
        Application
            The new entry.

        Raises
        ------
        InputError
            When there is no such entry, or another has taken its place.
        """
        entries = {entry.entry_id: entry for entry in Reader(self._connection).all(APPLICATIONS)}
        standing = {entry.replaces: entry.entry_id for entry in entries.values() if entry.replaces}
        entry = entries.get(entry_id)
        where = f"entry {entry_id}"
        if entry is None:
            raise InputError([Problem(where, "the record holds no such entry", "See `export … csv`.")])
        if entry_id in standing:
            what = f"entry {standing[entry_id]!r} has taken its place"
            raise InputError([Problem(where, what, "Withdraw that one.")])
        if entry.withdrawn or stands_again:  # withdrawing a withdrawal: what it took back stands again
            again = entries[stands_again or entry.replaces]
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
            Any shapes.
        """
        self._put_all(KEEPOUTS, keepouts)
        self._changed_layer("keepouts", "shape")

    def put_soil_tests(self, tests: Iterable[SoilTest]) -> None:
        """Add or replace soil tests by test_id.

        Parameters
        ----------
        tests
            Of plots in the file.
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
                up_to = None if advice is None else advice.up_to.get(nutrient)
                self._insert("lab_rates", {**own, "value": rate.value, "unit": rate.unit, "up_to": up_to})
        self._changed("soil_tests", "soil_readings", "lab_rates")

    def put_organic_inputs(self, inputs: Iterable[OrganicInput]) -> None:
        """Add or replace organic inputs by input_id.

        Parameters
        ----------
        inputs
            On plots in the file.
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
            Of products in the file.
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
        plans = read_plans(Reader(self._connection))
        if plans:
            newest = plans[-1]
            if replace(plan, made_at=newest.made_at, reason=newest.reason) == newest:
                return newest
        taken = {row["plan_id"] for row in rows_of(self._connection, "plans")}
        plan_id, number = plan.plan_id, 2
        while plan_id in taken:
            plan_id, number = f"{plan.plan_id}-{number}", number + 1
        now = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
        stored = replace(plan, plan_id=plan_id, reason=reason, made_at=plan.made_at or now)
        keys = {row["plot_id"]: row["plot_key"] for row in rows_of(self._connection, "plots")}
        kept = replace(stored, fingerprint=planning.called(stored.fingerprint, keys))
        self._insert("plans", PLANS.row(kept))
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
        reader = Reader(self._connection)
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
                    if known == entry.as_kept(known):
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
        known = {c.calibration_id: c for c in Reader(self._connection).all(CALIBRATIONS)}
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
        """Refuse to write over what is retired: an id is never used again.

        Parameters
        ----------
        croppings
            Of plots in the file.
        """
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
            land.bounds(shape_of(row[0])) for row in self._connection.execute(f"SELECT {column} FROM {table}")
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
