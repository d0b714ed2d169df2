"""Records: what is done and what is left, marking it done, and taking in what a phone brought."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

from loamwright import season
from loamwright.app.pages import Ask, Reply, Route, Shown, changed, problems_of
from loamwright.errors import InputError, LoamwrightError, Problem
from loamwright.season import HandEntry
from loamwright.upkeep import Changed
from loamwright.work import Recorded


def show(ask: Ask) -> Reply:
    """Show each line of the plan with what became of it, and the entries."""
    return _page(ask)


def _page(ask: Ask, error: LoamwrightError | None = None) -> Shown:
    view = ask.desk.season
    names = {plot.plot_id: plot.name for plot in view.record.plots}
    standing = {entry.replaces for entry in view.record.applications if entry.replaces}
    filled = {
        "view": view,
        "names": names,
        "entries": list(reversed(view.record.applications)),
        "replaced": standing,
        "typed": ask.form,
        "today": ask.desk.today.isoformat(),
        "problems": problems_of(error) if error else (),
    }
    return Shown("app_records.html", filled, 422 if error else 200)


def _told(found: Recorded) -> Changed:
    told = (
        f"{len(found.new)} new, {len(found.already_there)} already there, {len(found.conflicts)} in conflict."
    )
    notes = " ".join(str(problem) for problem in found.problems[:4])
    return Changed(0, f"{told} {notes}".strip())


def take(ask: Ask) -> Reply:
    """Write one entry down, or take in a records file."""
    form, desk = ask.form, ask.desk
    try:
        if ask.uploads:
            found = _from_file(ask)
        else:
            entry = HandEntry(
                plot_id=form.get("plot", ""),
                product=form.get("product", ""),
                amount=form.get("amount", ""),
                applied_on=form.get("on") or None,
                operator=form.get("operator", ""),
                ground=form.get("ground", ""),
                weather=form.get("weather", ""),
                note=form.get("note", ""),
                reason=form.get("reason", ""),
                area=form.get("area") or None,
                part=form.get("part", ""),
            )
            found = season.record_entry(desk.path, entry, dt.datetime.now().astimezone())
    except LoamwrightError as error:
        return _page(ask, error)
    return changed("/records", _told(found))


def _from_file(ask: Ask) -> Recorded:
    upload = ask.uploads[0]
    suffix = Path(upload.name).suffix.lower()
    if suffix not in (".json", ".csv", ".xlsx", ".txt"):
        what = f"{upload.name!r} is no records file"
        raise InputError([Problem("records", what, "Send the .json file of the map, a .csv or an .xlsx.")])
    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        file = Path(folder) / f"records{suffix}"
        file.write_bytes(upload.content)
        return season.record_file(ask.desk.path, file, ask.desk.today)


ROUTES = (Route("/records", show, take),)
