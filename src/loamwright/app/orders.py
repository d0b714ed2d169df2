"""Orders: the map for the phone, work orders, buying list, reports and files for other programs."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from loamwright import fieldmap, files, handoff, season
from loamwright.app.pages import Ask, Reply, Route, Sent, Shown
from loamwright.errors import InputError, Problem
from loamwright.handoff import PaperOptions
from loamwright.season import Season

_KINDS = {
    ".pdf": "application/pdf",
    ".html": "text/html",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".zip": "application/zip",
}


def _edition(view: Season, folder: Path, options: PaperOptions, reader: str) -> Sequence[Path]:
    return season.write_orders(view, folder, replace(options, reader=reader)).paths


#: What can be had: name in the address → (title, what it is, whether it hands out a plan, how it is made).
MADE: dict[str, tuple[str, str, bool, Callable[[Season, Path, PaperOptions], Sequence[Path]]]] = {
    "map": (
        "Field map",
        "one file that opens on a phone without a signal",
        True,
        lambda view, folder, _: [season.make_map(view, folder / "field_map.html").path],
    ),
    "helper_map": (
        "Field map for helpers",
        fieldmap.EDITIONS["helper"],
        True,
        lambda view, folder, _: [
            season.make_map(view, folder / "helper_map.html", reader="helper").path,
        ],
    ),
    "helper": (
        "Work orders for helpers",
        handoff.READERS["helper"],
        True,
        lambda view, folder, options: _edition(view, folder, options, "helper"),
    ),
    "driver": (
        "Truck driver's sheet",
        handoff.READERS["driver"],
        True,
        lambda view, folder, options: _edition(view, folder, options, "driver"),
    ),
    "planner": (
        "Planner's orders and buying list",
        handoff.READERS["planner"],
        True,
        lambda view, folder, options: _edition(view, folder, options, "planner"),
    ),
    "reports": (
        "Season picture and season record",
        "one page of charts, and what went where",
        False,
        lambda view, folder, options: season.write_reports(view, folder, options).paths,
    ),
    "sampling": (
        "Soil sampling",
        "core places for a GPS receiver, sheets and bag labels",
        False,
        lambda view, folder, _: season.write_sampling(view, folder).paths,
    ),
}


def show(ask: Ask) -> Reply:
    """List what can be handed over."""
    view = _season(ask)
    return Shown("app_orders.html", {"view": view, "made": MADE, "exports": handoff.KINDS, "of": _of(ask)})


def _of(ask: Ask) -> int | None:
    """Which season that is over is asked for; None = the one at hand."""
    problems: list[Problem] = []
    year = files.typed_options({"season": ask.query.get("season") or None}, problems).year("season")
    if problems:
        raise InputError(problems)
    return year


def _season(ask: Ask) -> Season:
    year = _of(ask)
    return ask.desk.season if year is None else season.view(ask.desk.path, ask.desk.today, year)


def fetch(ask: Ask) -> Reply:
    """Make one of them now and send it; several files as one archive."""
    what = ask.parts["what"]
    if what not in MADE:
        raise InputError([Problem("orders", f"there is no {what!r}", f"There are: {', '.join(MADE)}.")])
    view = _season(ask)
    _, _, of_plan, make = MADE[what]
    if of_plan:
        season.refuse_old(view, what, ask.query.get("old") == "yes")
    paper = ask.query.get("paper") or ("us-letter" if view.record.info.units == "us" else "a4")
    rounds = (ask.query["round"],) if ask.query.get("round") else None
    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        paths = make(view, Path(folder), PaperOptions(handoff.check_paper(paper), rounds))
        return _sent(what, paths)


def export(ask: Ask) -> Reply:
    """Make a file for another program."""
    view, kind = _season(ask), ask.parts["kind"]
    handoff.check_kind(kind)
    if handoff.KINDS[kind].of_plan:
        season.refuse_old(view, "export", ask.query.get("old") == "yes")
    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        made = handoff.export(view, Path(folder), kind)
        return _sent(ask.parts["kind"], made.paths)


def _sent(name: str, paths: Sequence[Path]) -> Sent:
    if not paths:
        raise InputError([Problem(name, "there is nothing to write", "Fill in what it would show first.")])
    if len(paths) == 1:
        kind = _KINDS.get(paths[0].suffix, "application/octet-stream")
        return Sent(paths[0].name, paths[0].read_bytes(), kind)
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in paths:
            archive.write(path, path.name)
    return Sent(f"{name}.zip", held.getvalue(), _KINDS[".zip"])


ROUTES = (
    Route("/orders", show),
    Route("/orders/{what}", fetch),
    Route("/orders/export/{kind}", export),
)
