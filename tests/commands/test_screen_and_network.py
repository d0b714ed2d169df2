"""What any command shows is text, and no command but `serve` makes a connection.

The property of this test is called what a terminal would obey: an escape sequence (ECMA-48), a letter that
turns a line around (Unicode, chapter 23.2), the mark-up and the picture words of the library that lays out
tables. Sockets are taken away from the process for the time of each command.
"""

from __future__ import annotations

import re
import socket
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from command_line import SEASON, WHOLE_LIME, geojson, ran_well, run, worked_files, written
from typer.testing import CliRunner

from loamwright.commands.cli import app
from loamwright.commands.terminal import as_text

#: Texts that are only names to us.
ESCAPE, TURN = "\x1b[31m\x07\x9b2J", "\u202egnp\u2066"
MARKED = "[/] [bold]x[/bold] [link=http://example.invalid]y[/link] :corn: [red"
LAST = "end \\"
OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")

#: Every command that shows what a property or a file holds, as it is typed; P is the property.
TYPED = (
    ("measure", "plots.geojson"),
    ("compare", "products.csv"),
    ("read", "lab.csv"),
    ("import", "P", "plots.geojson", "--preview"),
    ("import", "P", "other.geojson", "--preview"),
    *((name, "P") for name in ("needs", "status", "sample", "history", "why", "changes", "check", "stock")),
    ("decide", "P"),
    ("explain", "P", "[/]"),
    ("project", "P", "[/]", "P2O5", "--removed", "30 lb/acre"),
    ("plan", "P", "--time-limit", "5", "--tables"),
    ("whatif", "P", "--time-limit", "2"),
    ("habits", "P", "--time-limit", "2"),
    ("budget", "P", "--time-limit", "2"),
    ("show", "P", "plot", "[/]"),
    ("show", "P", "plot"),
    ("show", "P", "product"),
    ("show", "P", "offer"),
    ("set", "P", "plot", "[/]", f"notes={MARKED} {LAST}"),
    ("differs", "P", "P"),
    ("season", "next", "P"),
    ("buy", "materials"),
    ("buy", "lime", "products.csv", "lime"),
    ("buy", "break-even", "products.csv", "MAP", "P2O5", "--at", "1.24/lb"),
    ("buy", "difference", "products.csv", "MAP", "Potash"),
    ("tailgate", "tarp"),
    ("guideline", "list"),
    ("guideline", "crops"),
    ("map", "P", "map.html"),
    ("orders", "P", "papers"),
    ("report", "P", "papers"),
    ("backup", "P"),
    *(
        ("export", "P", kind, "out")
        for kind in ("boundaries", "geojson", "kml", "gpx", "csv", "xlsx", "taskfile")
    ),
    ("show", "P", "plot", f"none {ESCAPE}{TURN}"),
    ("measure", f"none{ESCAPE}{MARKED}.geojson"),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("hostile names")
    path = made / "own.gpkg"
    ran_well("new", path, "--name", f"Own {MARKED} {LAST}", "--season", SEASON)
    for file in worked_files(made):
        words = file.read_text().replace("A-1", "[/]").replace("Alder", f"{MARKED}")
        words = words.replace("MAP 11-52-0", "MAP [/red] :corn: 11-52-0").replace(
            "Quarry", "Quarry [/] [bold]"
        )
        file.write_text(words)
    ran_well("import", path, *(made / name for name in ("plots.geojson", "soil_tests.csv", "products.csv")))
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("plan", path)
    # No reader lets these in; another program may have put them there.
    with closing(sqlite3.connect(path)) as database, database:
        database.execute(
            "UPDATE plots SET name = name || ?, notes = ?", (ESCAPE + TURN + LAST, ESCAPE + LAST)
        )
        database.execute("UPDATE offers SET seller = seller || ?", (TURN + ESCAPE,))
        database.execute("UPDATE property SET about = ?", (ESCAPE + MARKED,))
    written(made / "lab.csv", "Lab No,Sample,pH,P (Bray P1) ppm,Depth\n101,[/] :corn: [bold],6.1,22,0-6 in\n")
    geojson(
        made / "other.geojson",
        ({"plot_id": f"B {ESCAPE}", "name": TURN, "crop": "red [/] clover"}, [[[0, 0]]]),
    )
    return made


class NoSocket(socket.socket):
    """A socket that cannot be made."""

    def __init__(self, *_: Any, **__: Any) -> None:
        raise AssertionError("a command made a connection")


@pytest.mark.parametrize("typed", TYPED, ids=" ".join)
def test_names_are_text_and_nothing_connects(
    typed: tuple[str, ...], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(socket, "socket", NoSocket)
    monkeypatch.setattr(socket, "create_connection", NoSocket)
    monkeypatch.setattr(socket, "getaddrinfo", NoSocket)
    monkeypatch.chdir(folder)
    words = ["own.gpkg" if word == "P" else word for word in typed]
    done = CliRunner().invoke(app, words, env={"COLUMNS": "240", "LOAMWRIGHT_TRACEBACK": "1"})
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code in (0, 1, 2), done.output
    assert OBEYED.search(done.output) is None
    assert "🌽" not in done.output
    assert "No such command" not in done.output
    if typed[0] in ("explain", "why", "status") or typed[:3] == ("show", "P", "plot"):
        assert "[/]" in done.output or "\\x1b" in done.output


def test_a_control_character_is_written_out() -> None:
    assert as_text("a\x1b[2J\tb\nc\x9b\u202e\ud800") == "a\\x1b[2J\tb\nc\\x9b\\u202e\\ud800"


def test_the_names_come_back_whole_from_json(folder: Path) -> None:
    shown = run("show", folder / "own.gpkg", "plot", "[/]").data
    assert MARKED + ESCAPE + TURN + LAST in str(shown["fields"]) or any(
        MARKED in str(value) for value in shown.values()
    )
