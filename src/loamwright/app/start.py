"""Start: open a property, make one, try the invented demo; then the job at a glance."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from urllib.parse import urlencode

from loamwright import files, upkeep
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, problems_of
from loamwright.errors import InputError, LoamwrightError, Problem
from loamwright.files import PROPERTY_SUFFIX
from loamwright.units import read_number

#: Name and speed of the first machine are asked for; anything else of it can wait.
_MACHINE = ("hopper", "swath", "speed")


def _files_near() -> tuple[str, ...]:
    """Property files in the folder the app was started in."""
    return tuple(sorted(str(path.resolve()) for path in Path().glob(f"*{PROPERTY_SUFFIX}")))


def show(ask: Ask) -> Reply:
    """Show where the job stands, or how to begin."""
    return _page(ask)


def _page(ask: Ask, problems: Sequence[Problem] = ()) -> Shown:
    view = ask.desk.season if ask.desk.is_open else None
    filled = {
        "near": _files_near(),
        "folder": str(Path().resolve()),
        "this_year": ask.desk.today.year,
        "typed": ask.form,
        "view": view,
        "spread_m2": sum(area.spread_area_m2 for area in view.areas.values()) if view else 0.0,
        "path": str(ask.desk.path) if ask.desk.is_open else "",
        "problems": (*problems, *(view.problems[:40] if view else ())),
    }
    return Shown("app_start.html", filled, 422 if problems else 200)


def open_file(ask: Ask) -> Reply:
    """Open a property that is there."""
    try:
        ask.desk.open(Path(ask.form.get("path", "").strip().strip('"')).expanduser())
    except LoamwrightError as error:
        return _page(ask, problems_of(error))
    return Go("/")


def make(ask: Ask) -> Reply:
    """Make an empty property, with its units, money and first machine, and lead to drawing its first plot."""
    name = ask.form.get("name", "").strip()
    try:
        read_place(ask.form.get("at", ""))
        path = _place(ask, name)
        typed = [f"{key}={ask.form[key].strip()}" for key in _MACHINE if ask.form.get(key, "").strip()]
        machine = ask.form.get("machine", "").strip()
        problems: list[Problem] = []
        year = files.typed_options({"season": ask.form.get("season")}, problems).year("season")
        if year is None and not problems:
            problems.append(Problem("season", "the season is blank", "Write its year, for example 2027."))
        if problems:
            raise InputError(problems)
        if typed and not machine:
            raise InputError([Problem("machine", "the machine has no name", "Write one, or clear the rest.")])
        files.new_property(path, name, year or ask.desk.today.year, None, ask.form.get("units", "us"))
        try:
            if currency := ask.form.get("currency", "").strip():
                upkeep.set_fields(path, "settings", "", [f"currency={currency}"], ask.desk.today, "")
            if machine:
                upkeep.add(path, "spreader", machine, typed, ask.desk.today, "")
        except LoamwrightError:
            files.remove(path)  # of a moment ago, and empty: the form is sent again
            raise
    except LoamwrightError as error:
        return _page(ask, problems_of(error))
    ask.desk.open(path)
    return Go(f"/draw?{urlencode({'new': 'plot', 'at': ask.form.get('at', '').strip()})}")


def read_place(text: str) -> tuple[float, float] | None:
    """Read where a map begins: latitude, longitude; None = not said.

    Raises
    ------
    InputError
        When it is no place on earth.
    """
    if not text.strip():
        return None
    try:
        lat, lon = (read_number(part.strip()) for part in text.split(",", 1))
    except ValueError as error:
        what = f"{text!r} is no place"
        raise InputError([Problem("at", what, "Write latitude, longitude: 46.05, -93.05.")]) from error
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        what = f"{text!r} is no place on earth"
        raise InputError([Problem("at", what, "Latitude comes first: 46.05, -93.05.")])
    return lat, lon


def _place(ask: Ask, name: str) -> Path:
    """Where the new file goes: a folder of the user's, and a file name made of the property's name."""
    folder = Path(ask.form.get("folder", "").strip() or ".").expanduser()
    if not folder.is_dir():
        raise InputError(
            [Problem("folder", f"there is no folder {str(folder)!r}", "Name one that is there.")]
        )
    stem = "_".join("".join(c if c.isalnum() else " " for c in name).split()).lower()[:60] or "property"
    return folder / f"{stem}{PROPERTY_SUFFIX}"


def demo(ask: Ask) -> Reply:
    """Build the invented demo, beside the pages, and open it."""
    folder = Path(ask.form.get("folder", "").strip() or "alder-fork-demo").expanduser()
    made = upkeep.build_demo(folder, ask.desk.today, lambda _stage: None)
    ask.desk.open(made.property_path)
    return Go("/")


ROUTES = (
    Route("/", show),
    Route("/open", send=open_file),
    Route("/new", send=make),
    Route("/demo", send=demo),
)
