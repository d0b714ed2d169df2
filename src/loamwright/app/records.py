"""Records: what is done and what is left, marking it done, and taking in what a phone brought."""

from __future__ import annotations

import datetime as dt
import secrets
from collections import OrderedDict
from pathlib import Path
from tempfile import TemporaryDirectory

from loamwright import files, season
from loamwright.app.pages import Ask, Reply, Route, Shown, changed, day_of, problems_of
from loamwright.errors import InputError, LoamwrightError, Problem
from loamwright.season import HandEntry
from loamwright.units import LB_KG
from loamwright.upkeep import Changed
from loamwright.work import Recorded


def show(ask: Ask) -> Reply:
    """Show each line of the plan with what became of it, and the entries."""
    return _page(ask)


def _page(ask: Ask, error: LoamwrightError | None = None, waiting: str = "") -> Shown:
    view = ask.desk.season
    problems = problems_of(error) if error else ()
    system = view.record.info.units
    names = {plot.plot_id: plot.name for plot in view.record.plots}
    standing = {entry.replaces for entry in view.record.applications if entry.replaces}
    filled = {
        "view": view,
        "names": names,
        "entries": list(reversed(view.record.applications)),
        "replaced": standing,
        "typed": ask.form,
        "today": ask.desk.today.isoformat(),
        "left": {
            row.line_id: amount_to_type(row.planned_kg - row.applied_kg, system)
            for row in view.statuses
            if row.line_id and row.planned_kg is not None
        },
        "questions": [one for one in problems if one.question],
        "waiting": waiting,
        "problems": [one for one in problems if not one.question],
    }
    return Shown("app_records.html", filled, 422 if error else 200)


def amount_to_type(mass_kg: float, system: str) -> str:
    """Write an amount as a person would type it in a field: one number and its unit."""
    mass = max(mass_kg, 0.0)
    return f"{mass:.6g} kg" if system == "metric" else f"{mass / LB_KG:.6g} lb"


def _told(found: Recorded) -> Changed:
    told = (
        f"{len(found.new)} new, {len(found.already_there)} already there, {len(found.conflicts)} in conflict."
    )
    notes = " ".join(str(problem) for problem in found.problems[:4])
    receipt = f"Receipt for whoever sent it: {found.receipt}." if found.receipt else ""
    return Changed(0, " ".join(filter(None, (told, receipt, notes))))


def take(ask: Ask) -> Reply:
    """Write one entry down, or take in a records file; what is asked of it is answered on the page."""
    form, desk = ask.form, ask.desk
    answers = ask.answers
    waiting = form.get("waiting", "")
    try:
        if ask.uploads:
            waiting = _keep(ask)
        if waiting:
            found = season.record_file(desk.path, _kept(waiting), desk.today, answers)
            _waiting.pop(waiting)[0].cleanup()
        else:
            day = day_of(ask)
            entry = HandEntry(
                plot_id=form.get("plot", ""),
                product=form.get("product", ""),
                amount=form.get("amount", ""),
                applied_on=day,
                operator=form.get("operator", ""),
                ground=form.get("ground", ""),
                weather=form.get("weather", ""),
                note=form.get("note", ""),
                reason=form.get("reason", ""),
                area=form.get("area") or None,
                part=form.get("part", ""),
            )
            found = season.record_entry(desk.path, entry, dt.datetime.now().astimezone(), answers)
    except LoamwrightError as error:
        return _page(ask, error, waiting)
    return changed("/records", _told(found))


#: Files that wait for an answer, under a name of ours; how many are kept.
_waiting: OrderedDict[str, tuple[TemporaryDirectory[str], Path]] = OrderedDict()
KEPT = 8


def _keep(ask: Ask) -> str:
    """Lay an uploaded file down until everything asked of it is answered."""
    upload = ask.uploads[0]
    suffix = Path(upload.name).suffix.lower()
    if suffix not in (".json", ".csv", ".xlsx", ".txt", ".png", ".jpg", ".jpeg"):
        what = f"{upload.name!r} is no records file"
        fix = "Send the file of the map, its text, a .png or .jpg of its code, a .csv or an .xlsx."
        raise InputError([Problem("records", what, fix)])
    folder = TemporaryDirectory(prefix="loamwright-")
    file = files.lay_down(Path(folder.name), f"records{suffix}", upload.content)
    ident = secrets.token_urlsafe(9)
    _waiting[ident] = (folder, file)
    while len(_waiting) > KEPT:
        _waiting.popitem(last=False)[1][0].cleanup()
    return ident


def _kept(ident: str) -> Path:
    if ident not in _waiting:
        what = "this file is not held any more"
        raise InputError([Problem("records", what, "Send it again: nothing of it was stored.")])
    return _waiting[ident][1]


ROUTES = (Route("/records", show, take),)
