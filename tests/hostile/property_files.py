"""Property files that another program changed: values of a wrong kind, foreign parts, damage."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from importlib import resources
from pathlib import Path

from command_line import SEASON, TODAY, box, geojson, ran_well, worked_files, written

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


#: Words about the file that are handed on as they are.
_SAID_ONLY = {("loamwright", "made_by"), ("loamwright", "property_uid")}
#: Tables and columns that nothing is worked out from: only `check` looks at all they hold.
_NOT_NEEDED = ("plot_boundaries",)


def furnish(path: Path) -> None:
    """Put a row into every table of a property file, so that every column can hold something odd."""
    folder = path.parent
    settings = {
        "lime_dose_limit": "noble-worked-in",
        "surplus_limits": {"N": {"fraction": 0.15, "rate": "10 lb/acre"}},
        "spreaders": [{"name": "Hand", "hopper": "50 lb", "swath": "6 ft"}],
    }
    about = {"name": "Own ground", "season": SEASON, "settings": settings}
    tests = "plot_id,sampled_on,depth,lab,ph,p,p_unit,p_extractant,rec_n,rec_p2o5,rec_k2o,rec_unit"
    tests += "\nA-2,2026-03-01,0-6 in,Lab,6.4,12,ppm,Bray P1,0,20,40,lb/acre\n"
    manure = "input_id,plot_id,applied_on,material,method,amount,n_lb_per_ton,p2o5_lb_per_ton,k2o_lb_per_ton"
    manure += "\nM-1,A-2,2025-10-18,beef,broadcast incorporated 12-96 h,3 ton/acre,11,7,10\n"
    well = {"keepout_id": "K-1", "kind": "well", "setback": "10 ft"}
    track = {"type": "LineString", "coordinates": [[-93.051, 46.05], [-93.051, 46.052]]}
    way = {"type": "Feature", "properties": {"way_id": "W-1", "kind": "track"}, "geometry": track}
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well(
        *("import", path, *worked_files(folder)),
        written(folder / "property.json", json.dumps(about)),
        geojson(folder / "keepouts.geojson", (well, [box(-93.0498)])),
        written(folder / "ways.geojson", json.dumps({"type": "FeatureCollection", "features": [way]})),
        written(folder / "more_tests.csv", tests),
        written(folder / "organic_inputs.csv", manure),
    )
    shape = geojson(folder / "part.geojson", ({}, [box(-93.048, size=0.0005)]))
    ran_well("shape", "part", path, "A-2", shape, "--name", "south")
    ran_well(
        "shape", "redraw", path, "A-2", geojson(folder / "a2.geojson", ({}, [box(-93.048, size=0.0011)]))
    )
    ran_well("rename", path, "plot", "A-2", "B-2")
    ran_well("purchase", path, "Potash 0-0-60", "2", "--paid", "42")
    ran_well("note", path, "1.3", "Some County")
    ran_well("decide", path, "A-1", "K2O", "published", "--because", "as printed")
    tarp = ("--caught", "1 lb", "--catch-area", "100 ft2", "--setting", "3")
    ran_well("calibrate", path, "--spreader", "Hand", "--product", "Potash 0-0-60", *tarp)
    ran_well("plan", path, "--time-limit", "5")
    entry = ("--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "25 lb", "--operator", "Kim")
    ran_well("record", path, *entry, "--on", str(TODAY))


def columns() -> Iterator[tuple[str, str, str, bool]]:
    """Every table and column of ours that may be changed, its type, and whether it may hold nothing.

    Numbers of rows are left out: the file itself takes no other. So are words about the
    file that nothing is worked out from.
    """
    schema = resources.files("loamwright").joinpath("data", "property_file", "schema.sql")
    with closing(sqlite3.connect(":memory:")) as database:
        database.executescript(schema.read_text(encoding="utf-8"))
        tables = [row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            if not table.startswith(_NOT_OURS):
                for row in database.execute(f"PRAGMA table_info({table})").fetchall():
                    if row[1] != "fid" and (table, row[1]) not in _SAID_ONLY:
                        yield table, row[1], row[2], not row[3]


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
    "a decision of less than nothing": (
        ("UPDATE decisions SET rate_kg_ha = -1, share = NULL",),
        ("check", "P"),
        "a decision is zero or more",
        (1,),
    ),
    "a decision that decides nothing": (
        ("UPDATE decisions SET rate_kg_ha = NULL, share = NULL",),
        ("check", "P"),
        "an amount or a share",
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


#: What a value of the right kind is refused for, where neither its column nor its row is named.
MEANINGS = (
    "does not say its version",
    "is no day of a year",
    "not a GeoPackage geometry",
    "there is no guideline",
    "the date of sampling is not stated",
    "outside 0 to 14",
    "the limit is -1",
    "'0 to -1' is not a number",
)


def cases() -> Iterator[Case]:
    """Every column with two of the values in turn, foreign parts, and damage."""
    for number, (table, column, kind, may_be_empty) in enumerate(columns()):
        put = [one for one in PUT.items() if may_be_empty or one[1] != "nothing"]
        for step in (0, 3):
            value, called = put[(number + step) % len(put)]
            command = ("check", "needs", "status")[(number + step // 3) % 3]
            name = f"{table}.{column}/{called}/{command}"
            takes_bytes = (table, column) == ("kept_editions", "content")
            is_no_word = kind != "TEXT" and called not in ("minus one", "nothing")
            wrong = (called == "bytes" or is_no_word) and not takes_bytes
            refused = 1 if command == "check" and column != "schema_version" else 2
            if table in _NOT_NEEDED:
                command, refused = "check", 1
            yield Case(
                name,
                (command, "P"),
                sql=("PRAGMA foreign_keys = OFF", f"UPDATE OR IGNORE {table} SET {column} = {value}"),
                code=(refused,) if wrong else (0, 1, 2),
                unless_taken=(
                    column,
                    column.replace("_", " "),
                    column.removesuffix("_m"),
                    "belongs to",
                    "another program",
                    *MEANINGS,
                ),
            )
    for called, (sql, typed, says, codes) in FOREIGN.items():
        yield Case(f"foreign/{called}", typed, says, sql=sql, code=codes)
    for page in range(12):
        for command in ("check", "needs"):
            damage = {page * 4096 + step * 37: 255 - step for step in range(60)}
            if page == 0:
                damage = {place + 100: byte for place, byte in damage.items()}
            codes = (2,) if command == "check" else (0, 2)  # pages that it does not open are as good as whole
            yield Case(
                f"damage/page {page}/{command}",
                (command, "P"),
                bytes_at=damage,
                code=codes,
                unless_taken=("is damaged",),
            )
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
