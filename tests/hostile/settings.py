"""Settings, guidelines, names and options: what is typed or written for them, and cannot be."""

# ruff: noqa: E501 (a case is a line, and says what it is)

from __future__ import annotations

from collections.abc import Iterator

from hostile.cases import Case

LONG = "n" * 5_000
#: Called → what is typed, what must be said, codes.
TYPED: dict[str, tuple[tuple[str, ...], str, tuple[int, ...]]] = {
    "guideline/none of that name": (("set", "P", "settings", "guideline=nowhere"), "nowhere", (2,)),
    "guideline/home": (("set", "P", "settings", "guideline=~"), "~", (2,)),
    "guideline/a user's home": (("set", "P", "settings", "guideline=~nobody/x"), "~nobody", (2,)),
    "guideline/too long": (("set", "P", "settings", f"guideline={LONG}"), "nnn", (2,)),
    "guideline/the root": (("set", "P", "settings", "guideline=/"), "/", (2,)),
    "guideline/a device": (("set", "P", "settings", "guideline=/dev/zero"), "/dev/zero", (2,)),
    "guideline/a zero byte": (("set", "P", "settings", "guideline=a\x00b"), "guideline", (2,)),
    "guideline/an address": (("set", "P", "settings", "guideline=http://127.0.0.1:9/x"), "127.0.0.1", (2,)),
    "guideline/itself": (("set", "P", "settings", "guideline=own.gpkg"), "own.gpkg", (2,)),
    "lime guideline/none": (("set", "P", "settings", "lime_guideline=nowhere"), "nowhere", (2,)),
    "units/unknown": (("set", "P", "settings", "units=parsec"), "parsec", (2,)),
    "currency/unknown": (("set", "P", "settings", "currency=???"), "???", (2,)),
    "season start/none": (("set", "P", "settings", "season_start=13-45"), "13-45", (2,)),
    "name/too long": (("set", "P", "settings", f"name={'n' * 20_000}"), "longer", (2,)),
    "name/blank": (("set", "P", "settings", "name="), "name", (2,)),
    "field/none": (("set", "P", "settings", "colour=red"), "colour", (2,)),
    "field/no value": (("set", "P", "settings", "units"), "nothing was changed", (0,)),
    "field/twice": (("set", "P", "settings", "units=us", "units=metric"), "set twice", (2,)),
    "spreader/swath zero": (("add", "P", "spreader", "S", "swath=0 ft"), "swath", (2,)),
    "spreader/swath negative": (("add", "P", "spreader", "S", "swath=-5 ft"), "swath", (2,)),
    "spreader/swath a mile": (("add", "P", "spreader", "S", "swath=1 mile"), "swath", (2,)),
    "spreader/speed negative": (("add", "P", "spreader", "S", "swath=20 ft", "speed=-3 mph"), "speed", (2,)),
    "spreader/speed of sound": (("add", "P", "spreader", "S", "swath=20 ft", "speed=767 mph"), "speed", (2,)),
    "spreader/hopper zero": (("add", "P", "spreader", "S", "swath=20 ft", "hopper=0 lb"), "hopper", (2,)),
    "spreader/no name": (("add", "P", "spreader", "", "swath=20 ft"), "name", (2,)),
    "spreader/blank name": (("add", "P", "spreader", " \u00a0", "swath=20 ft"), "", (2,)),
    "spreader/long name": (("add", "P", "spreader", "n" * 20_000, "swath=20 ft"), "longer", (2,)),
    "cores/a million": (("sample", "P", "--cores", "1000000"), "cores", (2,)),
    "cores/none": (("sample", "P", "--cores", "0"), "cores", (2,)),
    "cores/less than none": (("sample", "P", "--cores=-4"), "cores", (2,)),
    "points/a million": (("budget", "P", "--points", "1000000"), "points", (2,)),
    "points/none": (("budget", "P", "--points", "0"), "points", (2,)),
    "time limit/negative": (("plan", "P", "--time-limit=-1"), "time", (2,)),
    "time limit/none": (("plan", "P", "--time-limit", "0"), "time", (2,)),
    "season/year 1": (("new", "n.gpkg", "--name", "N", "--season", "1"), "season", (2,)),
    "season/year 9999": (("new", "n.gpkg", "--name", "N", "--season", "9999"), "season", (2,)),
    "season/of another century": (("status", "P", "--season", "1066"), "1066", (2,)),
    "port/none": (("serve", "P", "--port", "99999999"), "port", (2,)),
    "new/over itself": (("new", "own.gpkg", "--name", "N"), "own.gpkg", (2,)),
    "new/in no folder": (("new", "none/n.gpkg", "--name", "N"), "n.gpkg", (2,)),
    "new/name too long": (("new", "n" * 300 + ".gpkg", "--name", "N"), "too long", (2,)),
    "property/a folder": (("needs", "."), "directory", (2,)),
    "property/a device": (("needs", "/dev/null"), "/dev/null", (2,)),
    "property/none": (("needs", "none.gpkg"), "none.gpkg", (2,)),
    "property/a zero byte": (("needs", "a\x00.gpkg"), "", (2,)),
    "property/name too long": (("needs", "n" * 5_000), "nnn", (2,)),
    "file/a zero byte": (("measure", "a\x00.geojson"), "", (2,)),
    "file/name too long": (("measure", "n" * 5_000 + ".geojson"), "nnn", (2,)),
    "file/a device": (("measure", "/dev/zero"), "/dev/zero", (2,)),
    "file/a folder": (("measure", "."), "folder", (2,)),
    "table/a device": (("compare", "/dev/zero"), "/dev/zero", (2,)),
    "table/name too long": (("compare", "n" * 5_000 + ".csv"), "nnn", (2,)),
    "plot/none": (("explain", "P", "Z-9"), "Z-9", (2,)),
    "plot/too long": (("explain", "P", LONG), "nnn", (2,)),
    "undo/none": (("undo", "P", "99999"), "99999", (2,)),
    "undo/negative": (("undo", "P", "--", "-3"), "3", (2,)),
    "export/unknown": (("export", "P", "dwg", "out"), "dwg", (2,)),
    "export/over the property": (("export", "P", "csv", "own.gpkg"), "own.gpkg", (2,)),
    "map/over the property": (("map", "P", "own.gpkg"), "property file", (2,)),
    "map/a device": (("map", "P", "/dev/full"), "/dev/full", (2,)),
    "map/name too long": (("map", "P", "n" * 300 + ".html"), "shorter name", (2,)),
    "rename/onto another": (("rename", "P", "plot", "A-1", "A-2"), "A-2", (2,)),
    "rename/onto itself": (("rename", "P", "plot", "A-1", "A-1"), "nothing was changed", (0,)),
    "rename/blank": (("rename", "P", "plot", "A-1", " "), "", (2,)),
    "record/no such product": (
        ("record", "P", "--plot", "A-1", "--product", "Sand", "--amount", "5 lb", "--on", "2026-04-01"),
        "Sand",
        (2,),
    ),
    "record/of tomorrow": (
        (
            "record",
            "P",
            "--plot",
            "A-1",
            "--product",
            "Potash 0-0-60",
            "--amount",
            "5 lb",
            "--on",
            "2090-04-01",
        ),
        "2090",
        (2,),
    ),
    "answer/none asked": (("import", "P", "none.csv", "--answer", "x=y"), "none.csv", (2,)),
    "answer/no mark": (("import", "P", "none.csv", "--answer", "xy"), "xy", (2,)),
}

HEAD = (
    'format = 1\npublisher = "T (invented)"\ntitle = "T"\nedition = "2026"\nshort = "T"\n[region]\nname = "C"\n'
    '[[crop]]\nname = "oats"\n'
)
TABLE = (
    '[[table]]\nnutrient = "P2O5"\ncrops = ["oats"]\nfile = "{}"\nsoil = "P"\npublication = "T"\n'
    'edition = "2026"\ntable = "1"\n'
)
#: Called → guideline.toml, what must be said.
EDITIONS: dict[str, tuple[str, str]] = {
    "empty": ("", "guideline.toml"),
    "no toml": ("][", "guideline.toml"),
    "only a head": (HEAD, "no rule"),
    "a format to come": (HEAD.replace("format = 1", "format = 99"), "99"),
    "format a word": (HEAD.replace("format = 1", 'format = "one"'), "format"),
    "crop a number": (HEAD + "[[crop]]\nname = 7\n", "7"),
    "crop twice": (HEAD + '[[crop]]\nname = "oats"\n', "oats"),
    "table missing": (HEAD + TABLE.format("none.csv"), "none.csv"),
    "table outside": (HEAD + TABLE.format("../../../../etc/passwd"), "passwd"),
    "table absolute": (HEAD + TABLE.format("/etc/passwd"), "passwd"),
    "table a folder": (HEAD + TABLE.format("."), "guideline.toml"),
    "table a device": (HEAD + TABLE.format("/dev/zero"), "/dev/zero"),
    "table itself": (HEAD + TABLE.format("guideline.toml"), "guideline.toml"),
    "table with a long name": (HEAD + TABLE.format("n" * 5_000), "nnn"),
    "key unknown": (HEAD + 'colour = "red"\n', "colour"),
    "deep": (HEAD + "a = " + "[" * 5_000, "guideline.toml"),
    "box too small": (HEAD.replace('name = "C"', 'name = "C"\nbox = [1]'), "box"),
    "box of infinity": (HEAD.replace('name = "C"', 'name = "C"\nbox = [inf, 0, 1, 1]'), "box"),
    "target pH 99": (HEAD + "target_ph = 99\n", ""),
    "target pH a word": (HEAD + 'target_ph = "sweet"\n', "sweet"),
    "a date for a name": (HEAD.replace('"T"', "2026-01-01", 1), "title"),
}
#: Called → property.json, what must be said.
PROPERTIES: dict[str, tuple[str, str]] = {
    "empty": ("", "empty"),
    "a list": ("[]", "property.json"),
    "no name": ('{"season": 2026}', "content"),
    "name a number": ('{"name": 7, "season": 2026}', "7"),
    "season a word": ('{"name": "N", "season": "soon"}', "soon"),
    "season 1e309": ('{"name": "N", "season": 1e309}', "season"),
    "season NaN": ('{"name": "N", "season": NaN}', "nan is not"),
    "season true": ('{"name": "N", "season": true}', "season"),
    "doubled key": ('{"name": "N", "name": "M", "season": 2026}', "twice"),
    "unknown key": ('{"name": "N", "season": 2026, "colour": "red"}', "colour"),
    "spreaders a number": ('{"name": "N", "season": 2026, "spreaders": 7}', "spreaders"),
    "spreaders of another form": ('{"name": "N", "season": 2026, "spreaders": [{"name": "S"}]}', "spreaders"),
    "deep": ('{"name": "N", "a": ' + "[" * 100_000, "property.json"),
    "400 digits": ('{"name": "N", "season": ' + "9" * 400 + "}", "season"),
    "5,000 digits": ('{"name": "N", "season": ' + "9" * 5_000 + "}", "property.json"),
}


def cases() -> Iterator[Case]:
    """Every one, as it is typed or brought."""
    for called, (typed, says, codes) in TYPED.items():
        yield Case(called, typed, says, code=codes)
    for called, (toml, says) in EDITIONS.items():
        yield Case(
            f"edition/{called}",
            ("guideline", "check", "."),
            says,
            {"guideline.toml": toml.encode()},
            (2,),
        )
    for called, (text, says) in PROPERTIES.items():
        yield Case(
            f"property.json/{called}",
            ("import", "P", "property.json"),
            says,
            {"property.json": text.encode()},
        )
