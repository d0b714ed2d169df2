"""Property files that another program changed: values of a wrong kind, foreign parts, damage."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from importlib import resources

from hostile.cases import Case

#: What is put into every column of every table: SQL → a name for the case.
PUT = {
    "9e999": "infinity",
    "x'00ff80'": "bytes",
    "'zebra'": "a word",
    "-1": "minus one",
    "NULL": "nothing",
    "'2026-13-45'": "a day that is none",
}
#: Tables that hold the standard's own rows, or may not be changed at all.
_NOT_OURS = ("gpkg_", "sqlite_", "rtree_", "applications", "changes", "change_values", "calibrations")

#: One entry of the record, as columns.
ENTRY = {
    "entry_id": "'E-odd'",
    "plot_id": "(SELECT plot_id FROM applications LIMIT 1)",
    "product": "'Potash 0-0-60'",
    "done": "'done'",
    "applied_on": "'2026-04-01'",
    "mass_kg": "5.0",
    "timing": "NULL",
    **dict.fromkeys(("line_id", "time_of_day", "operator", "equipment", "method"), "''"),
    **dict.fromkeys(("ground", "weather", "forecast", "note", "reason", "replaces"), "''"),
    "area_m2": "NULL",
    "cost": "NULL",
    "recorded_at": "'2026-04-01T10:00:00+00:00'",
}


def columns() -> Iterator[tuple[str, str, str]]:
    """Every table and column of ours that may be changed, and the column's type."""
    schema = resources.files("loamwright").joinpath("data", "property_file", "schema.sql")
    with closing(sqlite3.connect(":memory:")) as database:
        database.executescript(schema.read_text(encoding="utf-8"))
        tables = [row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            if not table.startswith(_NOT_OURS):
                for row in database.execute(f"PRAGMA table_info({table})").fetchall():
                    yield table, row[1], row[2]


def _entry(**words: str) -> str:
    row = {**ENTRY, **words}
    return f"INSERT INTO applications ({', '.join(row)}) VALUES ({', '.join(row.values())})"


#: Called → statements run on the file, command, what must be said, codes.
FOREIGN: dict[str, tuple[tuple[str, ...], tuple[str, ...], str, tuple[int, ...]]] = {
    "a trigger that writes": (
        ("CREATE TRIGGER odd AFTER UPDATE ON plots BEGIN UPDATE soil_tests SET ph = 9; END",),
        ("set", "P", "plot", "A-1", "notes=x"),
        "odd",
        (2,),
    ),
    "a trigger seen by check": (
        ("CREATE TRIGGER odd AFTER UPDATE ON plots BEGIN UPDATE soil_tests SET ph = 9; END",),
        ("check", "P"),
        "odd",
        (1,),
    ),
    "a view": (("CREATE VIEW odd AS SELECT 1",), ("check", "P"), "odd", (1,)),
    "a view for a table": (
        ("ALTER TABLE offers RENAME TO hidden_offers", "CREATE VIEW offers AS SELECT * FROM hidden_offers"),
        ("check", "P"),
        "offers",
        (1,),
    ),
    "a table missing": (("DROP TABLE ways",), ("check", "P"), "ways", (2,)),
    "a column missing": (("ALTER TABLE plots DROP COLUMN access",), ("check", "P"), "access", (1,)),
    "a column more": (("ALTER TABLE plots ADD COLUMN odd TEXT",), ("needs", "P"), "", (0,)),
    "a table more": (("CREATE TABLE odd (a)",), ("needs", "P"), "", (0,)),
    "a newer version": (("UPDATE loamwright SET schema_version = 99",), ("needs", "P"), "99", (2,)),
    "version zero": (("UPDATE loamwright SET schema_version = 0",), ("needs", "P"), "version", (2,)),
    "a negative version": (("UPDATE loamwright SET schema_version = -5",), ("needs", "P"), "version", (2,)),
    "a version in words": (
        ("UPDATE loamwright SET schema_version = 'two'",),
        ("needs", "P"),
        "version",
        (2,),
    ),
    "no version": (("DELETE FROM loamwright",), ("needs", "P"), "version", (2,)),
    "two versions": (
        ("INSERT INTO loamwright SELECT 9, 2, made_by, 'x' FROM loamwright",),
        ("check", "P"),
        "",
        (0,),
    ),
    "no settings": (("DELETE FROM property",), ("needs", "P"), "own.gpkg", (2,)),
    "the guard of the record gone": (
        ("DROP TRIGGER applications_no_update",),
        ("check", "P"),
        "applications_no_update",
        (1,),
    ),
    "a shape cut": (("UPDATE plots SET boundary = substr(boundary, 1, 20)",), ("check", "P"), "plots", (1,)),
    "a shape of noise": (
        ("UPDATE plots SET boundary = x'47500001000000000102030405'",),
        ("check", "P"),
        "plots",
        (1,),
    ),
    "a shape that is a point": (
        ("UPDATE plots SET boundary = x'47500001E61000000101000000000000000000000000000000000000000000'",),
        ("check", "P"),
        "plots",
        (1,),
    ),
    "an entry of no plot": (
        ("PRAGMA foreign_keys = OFF", _entry(plot_id="'nowhere'")),
        ("check", "P"),
        "applications",
        (1,),
    ),
    "an entry of infinity": ((_entry(mass_kg="9e999"),), ("check", "P"), "E-odd", (1,)),
    "an entry of minus infinity": ((_entry(mass_kg="-9e999"),), ("check", "P"), "E-odd", (1,)),
    "an entry of a word": ((_entry(mass_kg="'much'"),), ("check", "P"), "much", (1,)),
    "an entry less than nothing": ((_entry(mass_kg="-5.0"),), ("check", "P"), "E-odd", (1,)),
    "an entry of a mountain": ((_entry(mass_kg="1e30"),), ("check", "P"), "E-odd", (1,)),
    "an entry of the year 1": ((_entry(applied_on="'0001-01-01'"),), ("check", "P"), "", (0,)),
    "an entry of no day": ((_entry(applied_on="'soon'"),), ("check", "P"), "soon", (1,)),
    "an entry that replaces itself": ((_entry(replaces="'E-odd'"),), ("check", "P"), "E-odd", (1,)),
    "an entry that replaces none": ((_entry(replaces="'E-none'"),), ("check", "P"), "E-none", (1,)),
    "entries in a circle": (
        (_entry(replaces="'E-two'"), _entry(entry_id="'E-two'", replaces="'E-odd'")),
        ("status", "P"),
        "",
        (0,),
    ),
    "an entry of infinity, status": ((_entry(mass_kg="9e999"),), ("status", "P"), "mass_kg", (2,)),
}


#: What a value of the right kind means all the same: name of the case → code, and what must be said. One
#: of a wrong kind (bytes, a word for a number) is refused by the column's name, and a word for a word is read.
OTHERWISE: dict[str, tuple[int, str]] = {
    "loamwright.schema_version/bytes/needs": (2, "it does not say its version (it says \"b'\\\\x00"),
    "property.season/minus one/needs": (2, "season "),
    "property.guideline/infinity/needs": (1, "there is no guideline 'Inf': what would go by"),
    "property.lime_dose_limit/infinity/check": (1, "another program changed its lime dose limit"),
    "property.spreading_cost_per_pass/a day that is none/status": (2, "spreading_cost_per_pass "),
    "property.spreading_cost_per_pass/a word/check": (1, "spreading_cost_per_pass "),
    "property.convert_extractants/minus one/check": (1, "convert_extractants "),
    "property.season_start/a word/status": (2, "is no day of a year"),
    "property.season_start/a day that is none/check": (1, "is no day of a year"),
    "plots.boundary/a word/status": (2, "a shape in the file is not a GeoPackage geome"),
    "property.hauling_cost_per_kg/infinity/check": (1, "hauling_cost_per_kg "),
    "plots.plot_key/minus one/check": (1, "belongs to a row of plots that is not there"),
    "plots.plot_key/infinity/needs": (1, "belongs to plot 'A-1'"),
    "plots.access/minus one/check": (1, "another program changed its access"),
    "plots.plot_id/a day that is none/check": (1, "another program changed its plot id"),
    "plots.boundary_since/minus one/check": (1, "boundary_since "),
    "plots.reach_months/infinity/check": (1, "reach_months "),
    "plots.reach_months/minus one/needs": (2, "reach_months "),
    "plots.retired_because/minus one/check": (1, "another program changed its retired because"),
    "croppings.plot_id/a word/status": (1, "belongs to plot 'zebra'"),
    "croppings.plot_id/a day that is none/check": (1, "belongs to a row of plots that is not there"),
    "croppings.season/minus one/check": (1, "another program took it out"),
    "croppings.previous_crop/a word/check": (1, "another program changed its previous crop"),
    "croppings.seeding/minus one/check": (1, "seeding "),
    "croppings.sown_on/minus one/needs": (2, "sown_on "),
    "croppings.use/a day that is none/check": (1, "another program changed its use"),
    "croppings.yield_goal_how/minus one/check": (1, "another program changed its yield goal how"),
    "croppings.retired_because/a word/check": (1, "another program changed its retired because"),
    "soil_tests.test_id/a word/check": (1, "belongs to a row of soil_tests that is not there"),
    "soil_tests.plot_id/infinity/check": (1, "belongs to a row of plots that is not there"),
    "soil_tests.plot_id/minus one/needs": (1, "belongs to plot '-1'"),
    "soil_tests.sampled_on/nothing/status": (1, "the date of sampling is not stated: its age i"),
    "soil_tests.lab/a day that is none/check": (1, "another program changed its lab"),
    "soil_tests.depth_top_m/minus one/check": (1, "another program changed its depth top"),
    "soil_tests.buffer_ph/minus one/needs": (1, "-1 is outside 0 to 14"),
    "soil_tests.part/a word/check": (1, "another program changed its part"),
    "soil_tests.texture/infinity/check": (1, "another program changed its texture"),
    "soil_tests.sampled_by/infinity/check": (1, "another program changed its sampled by"),
    "soil_tests.retired_on/minus one/check": (1, "retired_on "),
    "soil_readings.test_id/infinity/check": (1, "belongs to a row of soil_tests that is not there"),
    "soil_readings.unit/minus one/check": (1, "another program changed its unit"),
    "soil_readings.basis/a word/check": (1, "another program changed its basis"),
    "products.form/a day that is none/status": (2, "form "),
    "products.form/a word/check": (1, "form "),
    "products.ingredient/minus one/check": (1, "another program changed its ingredient"),
    "products.lime_label/minus one/needs": (2, "lime_label "),
    "products.lime_passing_pct/a word/status": (2, "lime_passing_pct "),
    "products.lime_passing_pct/a day that is none/check": (1, "lime_passing_pct "),
    "products.lime_enp_state/nothing/status": (2, "lime_enp_state "),
    "products.lime_scores_pct/a word/status": (2, "lime_scores_pct "),
    "products.lime_scores_pct/a day that is none/check": (1, "lime_scores_pct "),
    "products.equipment/a day that is none/status": (2, "equipment "),
    "products.equipment/a word/check": (1, "equipment "),
    "products.timings/infinity/check": (1, "timings "),
    "products.timings/minus one/needs": (2, "timings "),
    "products.contains/a word/status": (2, "contains "),
    "products.contains/a day that is none/check": (1, "contains "),
    "products.dolomitic/minus one/check": (1, "dolomitic "),
    "products.material/a word/check": (1, "another program changed its material"),
    "products.method/infinity/check": (1, "another program changed its method"),
    "products.retired_because/a word/check": (1, "another program changed its retired because"),
    "offers.product/a word/status": (1, "belongs to product 'zebra'"),
    "offers.product/a day that is none/check": (1, "belongs to a row of products that is not there"),
    "offers.package/minus one/check": (1, "another program changed its package"),
    "offers.price/a day that is none/status": (2, "price "),
    "offers.price/a word/check": (1, "price "),
    "offers.divisible/minus one/needs": (2, "divisible "),
    "offers.seller/a day that is none/check": (1, "another program changed its seller"),
    "offers.priced_on/minus one/check": (1, "priced_on "),
    "offers.price_breaks/a word/status": (2, "price_breaks "),
    "offers.price_breaks/a day that is none/check": (1, "price_breaks "),
    "offers.retired_because/infinity/check": (1, "another program changed its retired because"),
    "kept_editions.content/bytes/needs": (0, ""),
    "plans.plan_id/minus one/check": (1, "belongs to a row of plans that is not there"),
    "plans.purchase_cost/infinity/check": (1, "another program changed its purchase cost"),
    "plans.delivery_cost/a word/status": (2, "delivery_cost "),
    "plans.delivery_cost/a day that is none/check": (1, "another program changed its delivery cost"),
    "plans.season/minus one/check": (1, "another program changed its season"),
    "plans.reason/a word/check": (1, "another program changed its reason"),
    "plans.counted_entries/infinity/check": (1, "another program changed its counted entries"),
    "plans.counted_entries/minus one/needs": (2, "counted_entries "),
    "plans.problems/a word/status": (2, "problems "),
    "plans.problems/a day that is none/check": (1, "another program changed its problems"),
    "plans.fingerprint/minus one/check": (1, "another program changed its fingerprint"),
    "plans.fingerprint/infinity/needs": (2, "fingerprint "),
    "plans.retired_because/a word/check": (1, "another program changed its retired because"),
    "plans.filling_cost/infinity/check": (1, "another program changed its filling cost"),
    "plan_jobs.plan_id/minus one/check": (1, "belongs to a row of plans that is not there"),
    "plan_jobs.plot_id/a day that is none/status": (1, "belongs to plot '2026-13-45'"),
    "plan_jobs.plot_id/a word/check": (1, "belongs to a row of plots that is not there"),
    "plan_jobs.timing/infinity/check": (1, "timing "),
    "plan_jobs.timing/minus one/needs": (2, "timing "),
    "plan_jobs.line_ids/a word/status": (2, "line_ids "),
    "plan_jobs.line_ids/a day that is none/check": (1, "line_ids "),
    "plan_jobs.mass_kg/minus one/check": (1, "mass_kg "),
    "plan_jobs.cost/a day that is none/status": (2, "cost "),
    "plan_jobs.cost/a word/check": (1, "cost "),
    "plan_jobs.window/a word/status": (2, "window "),
    "plan_jobs.window/a day that is none/check": (1, "window "),
    "plan_lines.plot_id/minus one/check": (1, "belongs to a row of plots that is not there"),
    "plan_lines.plot_id/infinity/needs": (1, "belongs to plot 'Inf'"),
    "plan_lines.timing/a day that is none/status": (2, "timing "),
    "plan_lines.timing/a word/check": (1, "timing "),
    "plan_purchases.plan_id/a day that is none/check": (1, "belongs to a row of plans that is not there"),
    "plan_purchases.timing/infinity/check": (1, "timing "),
    "plan_purchases.timing/minus one/needs": (2, "timing "),
    "plan_coverage.plan_id/a day that is none/check": (1, "belongs to a row of plans that is not there"),
    "plan_coverage.plot_id/minus one/check": (1, "belongs to a row of plots that is not there"),
    "plan_coverage.plot_id/infinity/needs": (1, "belongs to plot 'Inf'"),
    "plan_plot_costs.plan_id/a day that is none/check": (1, "belongs to a row of plans that is not there"),
    "plan_plot_costs.plot_id/minus one/check": (1, "belongs to a row of plots that is not there"),
    "plan_plot_costs.plot_id/infinity/needs": (1, "belongs to plot 'Inf'"),
}


def cases() -> Iterator[Case]:
    """Every column with two of the values in turn, foreign parts, and damage."""
    put = list(PUT.items())
    for number, (table, column, kind) in enumerate(columns()):
        for step in (0, 3):
            value, called = put[(number + step) % len(put)]
            command = ("check", "needs", "status")[(number + step // 3) % 3]
            name = f"{table}.{column}/{called}/{command}"
            wrong = called == "bytes" or (kind != "TEXT" and called not in ("minus one", "nothing"))
            by_rule = (1 if command == "check" else 2, column) if wrong else (0, "")
            code, says = OTHERWISE.get(name, by_rule)
            yield Case(
                name,
                (command, "P"),
                says,
                sql=("PRAGMA foreign_keys = OFF", f"UPDATE OR IGNORE {table} SET {column} = {value}"),
                code=(code,),
            )
    for called, (sql, typed, says, codes) in FOREIGN.items():
        yield Case(f"foreign/{called}", typed, says, sql=sql, code=codes)
    for page in range(12):
        for command in ("check", "needs"):
            damage = {page * 4096 + step * 37: 255 - step for step in range(60)}
            if page == 0:
                damage = {place + 100: byte for place, byte in damage.items()}
            unread = command == "needs" and page in (
                1,
                2,
                3,
                4,
                5,
                6,
                7,
                9,
            )  # pages of tables that it does not open
            code, says = (0, "") if unread else (2, "is damaged")
            yield Case(f"damage/page {page}/{command}", (command, "P"), says, bytes_at=damage, code=(code,))
    headers = dict.fromkeys((16, 18, 20, 28), (2, "is damaged")) | {0: (2, "not a property file")}
    headers |= dict.fromkeys((24, 44, 56, 60, 96), (0, "sound"))  # counters and marks no reader needs
    for place, (code, says) in headers.items():
        yield Case(
            f"damage/header {place}",
            ("check", "P"),
            says,
            bytes_at={place: 255, place + 1: 254},
            code=(code,),
        )
