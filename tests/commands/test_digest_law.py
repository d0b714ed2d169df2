"""Refused means unchanged: for every command there is, the file's bytes are held against the exit code.

And a file that another program changed is told about, by every command, never with a traceback: `run` raises
whatever is no exit of ours.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import typer
from command_line import planned_property, ran_well, run, written

from loamwright.commands.cli import app


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def of_a_property(group: Any = None, before: str = "") -> Iterator[str]:
    """Every command that is given a property file, by its full name."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from of_a_property(command, f"{before}{name} ")
        elif any(parameter.name in ("property_path", "place") for parameter in command.params):
            yield before + name


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = planned_property(tmp_path_factory.mktemp("law"))
    run("record", path, "--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "20 lb")
    return path


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "own.gpkg"))


NO_SHAPES = '{"type": "FeatureCollection", "features": []}'
LINE = {"type": "LineString", "coordinates": [[-93.0, 46.0], [-92.99, 46.0]]}
FEATURE = json.dumps({"type": "Feature", "properties": {}, "geometry": LINE})

#: Command to what is typed after the property; each must be refused. FILE is a drawing of a line somewhere
#: else, BAD a file that is nothing, OTHER another property, GONE a property that is not there.
REFUSED: dict[str, Sequence[Sequence[str]]] = {
    "serve": [("--port", "-1"), ("GONE",)],
    "new": [("--name", "Again")],
    "import": [("BAD",), ("FILE", "--as", "plots"), ("GONE",)],
    "needs": [("GONE",), ("--units", "furlongs")],
    "explain": [("Z-9",), ("A-1", "Q")],
    "status": [("--season", "1900")],
    "sample": [("OUT", "--place", "the moon"), ("OUT", "--cores", "0")],
    "history": [("Z-9",)],
    "project": [("A-2", "P2O5"), ("A-1", "N"), ("A-1", "Q")],
    "plan": [("--budget", "much"), ("--fixed", "BAD"), ("--gap", "2")],
    "why": [("--ask", "the weather")],
    "whatif": [("--dearer", "Potash"), ("--budget", "much")],
    "habits": [("--flat-rate", "much"), ("--own", "BAD")],
    "budget": [("--chart", "x.doc")],
    "blend": [("Moon dust", "Potash 0-0-60"), ("Potash 0-0-60", "MAP 11-52-0", "--fee", "much", "--keep")],
    "show": [("plot", "Z-9"), ("moons",)],
    "set": [("plot", "A-1", "name"), ("plot", "A-1", "colour=red"), ("plot", "A-1", "weight=heavy")],
    "add": [("plot", "P-9", "name=x"), ("part", "X", "plot=Z-9"), ("offer", "O-9", "product=Moon dust")],
    "retire": [("plot", "A-1", "--because", "gone"), ("plot", "A-1"), ("moon", "1", "--because", "x")],
    "rename": [("plot", "A-1", "a-2"), ("plot", "Z-9", "x"), ("offer", "x", "y")],
    "undo": [("999",)],
    "changes": [("GONE",)],
    "check": [("GONE",)],
    "purchase": [("Moon dust", "3"), ("Potash 0-0-60", "-3"), ("Potash 0-0-60", "1", "--on", "soon")],
    "stock": [("GONE",)],
    "decide": [("A-1", "N", "much", "--because", "x"), ("mix", "A + B", "yes", "--because", "x"), ("A-1",)],
    "backup": [("no/such/folder",)],
    "differs": [("OTHER",), ("OTHER", "--take", "abc"), ("SELF", "--take", "abc")],
    "note": [("99.9", "text"), ("1.3", "text", "--plot", "Z-9")],
    "map": [("out.html", "--round", "99"), ("out.html", "--basemap", "moon")],
    "orders": [("OUT", "--round", "99"), ("OUT", "--paper", "napkin"), ("OUT", "--season", "1900")],
    "report": [("OUT", "--paper", "napkin"), ("OUT", "--season", "1900")],
    "record": [
        ("--plot", "A-1", "--product", "Potash 0-0-60", "--amount", "much"),
        ("--plot", "Z-9", "--product", "Potash 0-0-60", "--amount", "5 lb"),
        ("BAD",),
    ],
    "calibrate": [("--spreader", "", "--product", "x", "--caught", "1 lb", "--distance", "1 ft")],
    "export": [("moons", "OUT")],
    "guideline use": [("no-such-edition",), ("--crop", "oats")],
    "guideline rate": [("--crop", "oats", "--nutrient", "Q", "--rate", "5 lb/acre"), ("--crop", "oats")],
    "season next": [("--answer", "season-1=maybe")],
    "shape draw": [("BAD",), ("FILE",)],
    "shape rectangle": [("--from", "nowhere")],
    "shape circle": [("--at", "nowhere")],
    "shape redraw": [("Z-9", "FILE"), ("A-1", "BAD")],
    "shape hole": [("Z-9", "FILE"), ("A-1", "BAD")],
    "shape split": [("A-1", "FILE"), ("Z-9", "FILE")],
    "shape merge": [("A-1", "Z-9"), ("A-1",)],
    "shape cut": [("A-1", "Z-9")],
    "shape close-gap": [("A-1", "Z-9")],
    "shape part": [("Z-9", "FILE"), ("A-1", "BAD")],
    "shape keep-out": [("BAD",)],
    "shape way": [("BAD",)],
}


def test_every_command_that_opens_a_property_is_held_to_the_law() -> None:
    assert sorted(of_a_property()) == sorted(REFUSED)


@pytest.mark.parametrize("name", [name for name in REFUSED if name != "serve"])
def test_refused_is_unchanged(name: str, own: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.gpkg"
    ran_well("new", other, "--name", "Elsewhere")
    meant = {
        "BAD": written(tmp_path / "bad.geojson", NO_SHAPES),
        "FILE": written(tmp_path / "line.geojson", FEATURE),
        "OTHER": other,
        "SELF": Path(shutil.copy(own, tmp_path / "self.gpkg")),
        "OUT": tmp_path / "out",
    }
    for typed in REFUSED[name]:
        if name == "season next":  # the season at hand is of a year to come: it asks
            run("season", "next", own)
        before = digest(own)
        words = [meant.get(word, word) for word in typed if word != "GONE"]
        path = own.with_name("gone.gpkg") if "GONE" in typed else own
        done = run(*name.split(), path, *words, as_json=False)
        assert done.code == 2, (typed, done.code, done.text)
        assert digest(own) == before, (typed, done.text)
        assert not path.with_name("gone.gpkg").exists()
        assert not (tmp_path / "out").exists(), typed


# ---------------------------------------------------------------------------------------------
# Another program's hand

#: Statements another program could run on the tables it sees, and what is named afterwards.
DAMAGE = {
    "a plot taken out": ("DELETE FROM plots WHERE plot_id = 'A-1'", "plot 'A-1'"),
    "a soil test's plot changed": ("UPDATE soil_tests SET plot_id = 'Q-1'", "plot 'Q-1'"),
    "a product taken out": ("DELETE FROM products WHERE product = 'Potash 0-0-60'", "Potash 0-0-60"),
    # What a GIS asks for is filled in, with blanks: an id nobody gave, JSON that is none, an area of nothing.
    "a plot added by hand": (
        "INSERT INTO plots (boundary, plot_key, name, area_m2, area_acres, access, notes, weight, extra) "
        "SELECT boundary, 'NEW', '', 0, 0, '', '', 1, '' FROM plots WHERE plot_id = 'A-2'",
        "plots",
    ),
    "a plot's line drawn as its boundary": (
        "UPDATE plots SET boundary = x'47500001E6100000010200000000000000' WHERE plot_id = 'A-1'",
        "plots",
    ),
    "a keep-out added by hand": (
        "INSERT INTO keepouts (shape, keepout_id, name, kind, setback_text, notes) "
        "SELECT boundary, '', '', 'moat', '', '' FROM plots WHERE plot_id = 'A-2'",
        "keepouts",
    ),
    "a cropping of no plot": ("UPDATE croppings SET plot_id = 'Q-1' WHERE plot_id = 'A-1'", "plot 'Q-1'"),
    "an offer of nothing": ("UPDATE offers SET product = 'Moon dust'", "Moon dust"),
    "settings taken out": ("DELETE FROM property", "name and season"),
}

LOOKING = (
    *(("needs",), ("status",), ("explain", "A-2"), ("history",), ("show", "plots"), ("show", "offers")),
    *(("show", "settings"), ("decide",), ("stock",), ("changes",), ("sample",), ("report", "OUT")),
    *(("map", "OUT.html", "--old"), ("orders", "OUT", "--old"), ("export", "csv", "OUT", "--old")),
    *(("export", "boundaries", "OUT"), ("plan", "--time-limit", "5"), ("habits",), ("budget",), ("why",)),
    *(("whatif",), ("record", "--plot", "A-2", "--product", "Potash 0-0-60", "--amount", "5 lb")),
    *(("set", "plot", "A-2", "name=x"), ("season", "next"), ("undo",)),
)


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_file_changed_by_another_program_is_told_about_by_every_command(
    damage: str, own: Path, tmp_path: Path
) -> None:
    statement, named = DAMAGE[damage]
    with closing(sqlite3.connect(own)) as db, db:
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute(statement)
    checked = run("check", own, as_json=False)
    assert named in checked.text, checked.text
    kept = own.read_bytes()
    for words in LOOKING:
        own.write_bytes(kept)
        typed = [word.replace("OUT", str(tmp_path / "out")) for word in words[1:]]
        done = run(words[0], own, *typed, as_json=False)
        assert done.code in (0, 1, 2, 3), (words, done.text)
        if done.code == 2:
            assert digest(own) == hashlib.sha256(kept).hexdigest()
