"""Property: settings and machines, every change with its undo, copies, and the code for a phone."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import segno

from loamwright import files, upkeep
from loamwright.app.pages import Ask, Reply, Route, Sent, Shown, changed, problems_of
from loamwright.errors import LoamwrightError
from loamwright.upkeep import Changed

#: Changes shown before the older ones are asked for.
NEWEST = 60


def show(ask: Ask) -> Reply:
    """Show settings, machines, changes."""
    return _page(ask)


def _page(ask: Ask, error: LoamwrightError | None = None) -> Shown:
    desk = ask.desk
    found = upkeep.changes(desk.path)
    every = ask.query.get("all") == "yes"
    checked = bool(ask.query.get("check"))
    filled = {
        "path": str(desk.path),
        "settings": [row for row in upkeep.show(desk.path, files.SETTINGS_WORD, None).fields if row.value],
        "spreaders": desk.season.record.info.settings.spreaders,
        "changes": list(reversed(found))[: None if every else NEWEST],
        "more": 0 if every else max(0, len(found) - NEWEST),
        "retired": desk.season.record.retired,
        "can_share": ask.share is not None,
        "faults": files.check_property(desk.path, False, desk.today) if checked else None,
        "outside": bool(files.changed_outside(desk.path)) if checked else False,
        "problems": problems_of(error) if error else (),
    }
    return Shown("app_property.html", filled, 422 if error else 200)


def settle(ask: Ask) -> Reply:
    """Keep what another program changed in the file as a change, or put back what was there."""
    keep = ask.form.get("outside") == "keep"
    try:
        number = files.settle_outside(ask.desk.path, keep, ask.desk.today, "")
    except LoamwrightError as error:
        return _page(ask, error)
    return changed("/property?check=yes", Changed(number, "Nothing differs from what the journal left."))


def phone(ask: Ask) -> Reply:
    """Show a code that lets one phone in."""
    if ask.share is None:
        return Shown("app_phone.html", {"address": "", "code": ""})
    address = ask.share()
    drawn = io.BytesIO()
    segno.make(address, error="m").save(drawn, kind="svg", scale=8, border=4, xmldecl=False, nl=False)
    return Shown("app_phone.html", {"address": address, "code": drawn.getvalue().decode()})


def copy(ask: Ask) -> Reply:
    """Send a checked copy of the property file."""
    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        made = upkeep.backup(ask.desk.path, Path(folder), ask.desk.today)
        return Sent(made.name, made.read_bytes(), "application/geopackage+sqlite3")


ROUTES = (
    Route("/property", show, settle),
    Route("/property/copy", copy),
    Route("/phone", phone, phone),
)
