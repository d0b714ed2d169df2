"""The journal: values before and after, taking back, later changes in the way, two copies.

What a change must do is worked out by hand on a few rows; SQLite itself is asked what stands in the file.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
import shapely
from files.test_property_file import full_record, write

from loamwright.errors import InputError
from loamwright.files import journal, property_file
from loamwright.land import from_wkb

Change = Callable[[sqlite3.Connection], object]


def made(path: Path | None = None) -> sqlite3.Connection:
    connection = sqlite3.connect(path or ":memory:", isolation_level=None)
    sql = resources.files("loamwright").joinpath("data", "property_file", "schema.sql").read_text("utf-8")
    connection.executescript(sql)
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def changed(connection: sqlite3.Connection, *statements: tuple[str, tuple[object, ...]]) -> int:
    """Run statements as one change and return its number."""
    connection.execute("BEGIN IMMEDIATE")
    with journal.watching(connection) as watched:
        for statement, values in statements:
            connection.execute(statement, values)
    number = journal.write(connection, watched.rows(), "2026-05-02T08:00:00", "Steward", "test")
    connection.execute("COMMIT")
    return number


def undone(connection: sqlite3.Connection, number: int | None = None) -> int:
    connection.execute("BEGIN IMMEDIATE")
    try:
        change = journal.change_to_undo(connection, number)
        with journal.watching(connection) as watched:
            journal.undo(connection, change)
        new = journal.write(connection, watched.rows(), "2026-05-03", "Steward", "undo", change.change_id)
        connection.execute("COMMIT")
    except InputError:
        connection.execute("ROLLBACK")
        raise
    return new


KEEPOUT = (
    "INSERT INTO keepouts (shape, keepout_id, name, kind, setback_m, setback_text, notes) "
    "VALUES (?, ?, 'Creek', 'water', ?, '', '') ON CONFLICT (keepout_id) DO UPDATE SET "
    "shape = excluded.shape, setback_m = excluded.setback_m"
)


def setback(connection: sqlite3.Connection) -> list[tuple[object, ...]]:
    return connection.execute("SELECT keepout_id, shape, setback_m FROM keepouts").fetchall()


def test_a_change_holds_the_values_before_and_after_and_no_statement() -> None:
    connection = made()
    changed(connection, (KEEPOUT, (b"\x00\xff", "K1", 0.1)))
    number = changed(connection, (KEEPOUT, (b"\x00\xfe", "K1", 7.62)))
    (change,) = journal.read(connection, (number,))
    (row,) = change.rows
    assert (row.table, row.key, row.kind) == ("keepouts", ("K1",), "changed")
    assert row.fields == {"shape": (b"\x00\xff", b"\x00\xfe"), "setback_m": (0.1, 7.62)}
    stored = connection.execute("SELECT before, after, field FROM change_values").fetchall()
    assert "UPDATE" not in str(stored).upper()


def test_undo_gives_back_the_very_values_and_undo_of_it_gives_them_again() -> None:
    connection = made()
    changed(connection, (KEEPOUT, (b"\x00\xff", "K1", 0.1 + 0.2)))
    before = setback(connection)
    number = changed(connection, (KEEPOUT, (b"\x01", "K1", None)))
    after = setback(connection)
    back = undone(connection, number)
    assert setback(connection) == before == [("K1", b"\x00\xff", 0.1 + 0.2)]
    undone(connection, back)
    assert setback(connection) == after


def test_a_row_added_and_a_row_removed_are_taken_back() -> None:
    connection = made()
    number = changed(connection, (KEEPOUT, (b"\x00", "K1", 1.0)))
    undone(connection, number)
    assert setback(connection) == []
    assert len(journal.read(connection)) == 2  # nothing of the journal is pruned


def test_taking_out_and_putting_back_the_same_row_is_no_change() -> None:
    connection = made()
    limit = "INSERT INTO surplus_limits (supply, fraction) VALUES ('N', 0.1)"
    changed(connection, (limit, ()))
    assert changed(connection, ("DELETE FROM surplus_limits", ()), (limit, ())) == 0


def test_undoing_twice_is_refused_and_names_the_undo() -> None:
    connection = made()
    number = changed(connection, (KEEPOUT, (b"\x00", "K1", 1.0)))
    back = undone(connection, number)
    with pytest.raises(InputError, match=rf"change {number} is taken back already, by change {back}"):
        undone(connection, number)


def test_a_later_change_on_the_same_field_stands_in_the_way_and_is_named() -> None:
    connection = made()
    changed(connection, (KEEPOUT, (b"\x00", "K1", 1.0)))
    second = changed(connection, (KEEPOUT, (b"\x00", "K1", 2.0)))
    third = changed(connection, (KEEPOUT, (b"\x00", "K1", 3.0)))
    with pytest.raises(InputError, match=rf"setback_m changed since, by change {third} \(2026-05-02"):
        undone(connection, second)
    assert setback(connection) == [("K1", b"\x00", 3.0)]
    undone(connection, third)
    undone(connection, second)
    assert setback(connection) == [("K1", b"\x00", 1.0)]


def test_something_that_belongs_to_a_row_keeps_it_from_being_taken_back() -> None:
    connection = made()
    product = (
        "INSERT INTO products (product, form, ingredient, lime_label, equipment, timings, "
        "nitrogen_forms_pct, contains, extra) VALUES ('Urea', 'dry', '', 0, '[]', '[]', '{}', '[]', '{}')"
    )
    offer = (
        "INSERT INTO offers (offer_id, product, package, divisible, seller, in_stock, min_order, "
        "delivery_fee, price_breaks) VALUES ('O1', 'Urea', '50 lb bag', 0, '', 0, 0, '0', '[]')"
    )
    first = changed(connection, (product, ()))
    second = changed(connection, (offer, ()))
    with pytest.raises(InputError, match=rf"offer O1: it still belongs to the product, by change {second}"):
        undone(connection, first)
    assert connection.execute("SELECT COUNT(*) FROM products").fetchone() == (1,)


def test_a_row_changed_by_another_program_is_not_overwritten() -> None:
    connection = made()
    number = changed(connection, (KEEPOUT, (b"\x00", "K1", 1.0)))
    connection.execute("UPDATE keepouts SET setback_m = 5")
    with pytest.raises(InputError, match="not through this program"):
        undone(connection, number)
    assert setback(connection) == [("K1", b"\x00", 5.0)]


def test_a_journal_that_names_a_foreign_table_is_not_obeyed() -> None:
    connection = made()
    number = changed(connection, (KEEPOUT, (b"\x00", "K1", 1.0)))
    connection.execute("UPDATE change_values SET table_name = 'gpkg_contents'")
    with pytest.raises(InputError, match="does not know"):
        undone(connection, number)


def test_there_is_nothing_to_undo_in_a_new_file() -> None:
    with pytest.raises(InputError, match="there is no change to take back"):
        journal.change_to_undo(made(), None)


def test_two_copies_list_what_each_has_alone_and_one_takes_over(tmp_path: Path) -> None:
    office = made(tmp_path / "office.gpkg")
    changed(office, (KEEPOUT, (b"\x00", "K1", 1.0)))
    laptop = sqlite3.connect(tmp_path / "laptop.gpkg", isolation_level=None)
    office.backup(laptop)
    changed(office, (KEEPOUT, (b"\x00", "K2", 2.0)))
    changed(laptop, (KEEPOUT, (b"\x00", "K1", 9.0)))
    found = journal.differences(journal.read(office), journal.read(laptop))
    assert [change.rows[0].key for change in found.only_here] == [("K2",)]
    assert [change.rows[0].key for change in found.only_there] == [("K1",)]
    journal.take_over(office, found.only_there[0])
    assert sorted(setback(office)) == [("K1", b"\x00", 9.0), ("K2", b"\x00", 2.0)]
    with pytest.raises(InputError, match="not here as it was there: setback_m changed since"):
        journal.take_over(office, found.only_there[0])


def test_foreign_triggers_and_views_are_named() -> None:
    connection = made()
    assert journal.foreign_parts(connection) == ()
    connection.execute("CREATE VIEW spy AS SELECT 1")
    connection.execute("CREATE TRIGGER t AFTER INSERT ON keepouts BEGIN DELETE FROM plots; END")
    assert journal.foreign_parts(connection) == ("view spy", "trigger t")


# ---------------------------------------------------------------------------------------------
# Every table


def rows(connection: sqlite3.Connection, table: str) -> list[tuple[object, ...]]:
    return connection.execute(f'SELECT * FROM "{table}" ORDER BY fid').fetchall()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file with something in every table."""
    path = tmp_path_factory.mktemp("whole") / "whole.gpkg"
    record = full_record()
    write(path, record)
    with property_file.edit(path) as editor:
        first = editor.record().plots[0]
        editor.put_plots([replace(first, boundary=from_wkb(shapely.to_wkb(shapely.box(7, 7, 8, 8))))])
        editor.rename_plot(first.plot_id, "Renamed")
        editor.put_info(
            replace(record.info, settings=replace(record.info.settings, guideline="umn-forage-2011"))
        )
    return path


def test_every_table_of_the_file_has_a_journal_or_belongs_to_one_that_has() -> None:
    """A new table is named with its key, or its changes are not kept."""
    connection = made()
    query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    tables = {row[0] for row in connection.execute(query)}
    ours = {name for name in tables if not name.startswith(("gpkg_", "rtree_"))}
    lines_of_plans = {"plan_jobs", "plan_lines", "plan_purchases", "plan_coverage", "plan_plot_costs"}
    of_the_file = {"loamwright", "changes", "change_values"}
    assert ours - lines_of_plans - of_the_file == set(journal.TABLES)


@pytest.mark.parametrize("table", journal.TABLES)
def test_a_change_of_any_table_is_kept_and_taken_back(table: str, whole: Path, tmp_path: Path) -> None:
    """Each column that can change, changed by hand as one change and taken back: the row is as it was."""
    connection = sqlite3.connect(shutil.copy(whole, tmp_path / "own.gpkg"), isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    before = rows(connection, table)
    assert before, "the full record fills every table"
    layout = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
    key = journal.TABLES[table]
    tried = 0
    for _, column, kind, *_ in layout:
        if column in {"fid", "area_acres", *key} or table == "applications":
            continue  # an entry of the record is withdrawn by another, never changed
        other = {"REAL": 12.5, "INTEGER": 7, "BOOLEAN": 1, "DATE": "2001-02-03"}.get(kind, "other")
        other = b"other" if kind in ("BLOB", "MULTIPOLYGON", "GEOMETRY") else other
        try:
            statement = f'UPDATE "{table}" SET "{column}" = ? WHERE fid = ?'
            number = changed(connection, (statement, (other, before[0][0])))
        except sqlite3.IntegrityError:
            connection.execute("ROLLBACK")  # it names a row of another table
            continue
        if not number:
            continue  # it was that already
        (change,) = journal.read(connection, (number,))
        assert [row.table for row in change.rows] == [table], column
        assert set(change.rows[0].fields) == {column}
        undone(connection, number)
        assert rows(connection, table) == before, column
        tried += 1
    assert tried or table in {"applications", "plot_aliases", "plot_boundaries", "surplus_limits"}


#: Rows that leave a table again: what was added is taken back. Settings are only ever changed.
TAKEN_OUT = [name for name in journal.TABLES if name not in journal.KEPT_FOR_EVER and name != "property"]


@pytest.mark.parametrize("table", TAKEN_OUT)
def test_a_row_of_any_table_taken_out_comes_back_whole(table: str, whole: Path, tmp_path: Path) -> None:
    connection = sqlite3.connect(shutil.copy(whole, tmp_path / "own.gpkg"), isolation_level=None)
    connection.execute("PRAGMA foreign_keys = OFF")
    before = [row[1:] for row in rows(connection, table)]
    number = changed(connection, (f'DELETE FROM "{table}" WHERE fid = ?', (rows(connection, table)[-1][0],)))
    assert number, table
    undone(connection, number)
    assert sorted(map(repr, (row[1:] for row in rows(connection, table)))) == sorted(map(repr, before))
