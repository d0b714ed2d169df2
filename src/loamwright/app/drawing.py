"""Drawing: the map one draws on, and what it asks: how big, what is wrong, keep it.

Shapes come and go as GeoJSON geometries (RFC 7946), every digit of every corner: what is drawn on is never
the simplified outline of the field map.
"""

from __future__ import annotations

import base64
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from loamwright import fieldmap, files, land, upkeep
from loamwright.app.pages import Ask, Reply, Route, Shown, Told, problems_of
from loamwright.app.start import read_place
from loamwright.errors import InputError, LoamwrightError, Problem, UnitError
from loamwright.land import Shape
from loamwright.units import format_area, format_length, parse_length
from loamwright.upkeep import Changed

#: A boundary with more corners than this is thinned first, in the program it comes from (our choice).
MOST_CORNERS = 100_000
#: Longer side of a picture laid below the map [pixels] (our choice).
LONGEST_PX = 4000


@dataclass(frozen=True, slots=True)
class Background:
    """Public pictures of the ground that may be shown below what is drawn, from the network."""

    title: str
    address: str
    credit: str
    nearest: int

    @property
    def origin(self) -> str:
        """Where they are fetched from."""
        parts = urlsplit(self.address)
        return f"{parts.scheme}://{parts.netloc}"


def backgrounds() -> Mapping[str, Background]:
    """Return the pictures that may be chosen; none is shown unless somebody chooses it."""
    from xyzservices import providers

    # Both are public-domain pictures of the U.S. Geological Survey; closer than zoom 16 they are enlarged.
    chosen = {"aerial": ("aerial picture, USA", "USImagery"), "topo": ("topographic map, USA", "USTopo")}
    return {
        key: Background(
            title,
            providers.USGS[name].build_url(fill_subdomain=False),
            providers.USGS[name].attribution,
            16,
        )
        for key, (title, name) in chosen.items()
    }


def show(ask: Ask) -> Reply:
    """Show the map to draw on."""
    known = backgrounds()
    chosen = known.get(ask.query.get("background", ""))
    view = ask.desk.season
    filled = {
        "plots": view.record.plots,
        "backgrounds": known,
        "background": chosen,
        "chosen": ask.query.get("background", "") if chosen else "",
        "plot": ask.query.get("plot", ""),
        "new": "plot" if ask.query.get("new") == "plot" else "",
        "at": read_place(ask.query.get("at", "")),
        "uid": view.record.property_uid,
        "keepout_kinds": ("creek", "pond", "well", "sinkhole", "ditch", "wet spot", "rock", "steep slope"),
        "way_kinds": ("track", "gate", "bridge", "loading place"),
    }
    return Shown("app_map.html", filled, origins=(chosen.origin,) if chosen else ())


def shapes(ask: Ask) -> Reply:
    """Send every shape of the property, exact."""
    view = ask.desk.season
    record, units = view.record, view.record.info.units
    plots = [
        {
            "id": plot.plot_id,
            "name": plot.name if plot.name != plot.plot_id else "",
            "shape": land.as_geojson(plot.boundary),
            "print": upkeep.shape_print(plot.boundary),
            "area": format_area(area.area_m2, units),
            "cut": bool(area.keepouts),
            "spread": None if area.spread is None else land.as_geojson(area.spread),
            "middle": land.label_point(plot.boundary if area.spread is None else area.spread),
        }
        for plot in record.plots
        for area in (view.areas[plot.plot_id],)
    ]
    keepouts = [
        {
            "id": one.keepout_id,
            "name": f"{one.kind} {one.name}".strip(),
            "stated": one.setback_m is not None,
            "setback": "" if one.setback_m is None else format_length(one.setback_m, units),
            "shape": land.as_geojson(one.shape),
            "ground": None if (kept := land.setback(one)) is None else land.as_geojson(kept),
        }
        for one in record.keepouts
    ]
    ways = [
        {"id": one.way_id, "name": f"{one.kind} {one.name}".strip(), "shape": land.as_geojson(one.shape)}
        for one in record.ways
    ]
    parts = [
        {"id": one.part_id, "name": one.name, "shape": land.as_geojson(one.shape)}
        for one in record.parts
        if one.shape is not None
    ]
    grid_m, grid_labels = fieldmap.squares(units)
    told = {"plots": plots, "keepouts": keepouts, "ways": ways, "parts": parts}
    return Told(told | {"grid_m": grid_m, "grid_labels": grid_labels})


def colours(ask: Ask) -> Reply:
    """Send what the plots may be coloured by: the questions of the field map, class by class."""
    view = ask.desk.season
    return Told({"layers": fieldmap.plain(fieldmap.map_layers(view)) if view.record.plots else []})


def _text(data: Mapping[str, Any], name: str) -> str:
    value = data.get(name, "")
    if not isinstance(value, str) or len(value) > 500:
        raise InputError([Problem(name, "it is no short text", "Load the page again.")])
    return value


def _texts(data: Mapping[str, Any], name: str) -> Sequence[str]:
    value = data.get(name, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise InputError([Problem(name, "it is no list of plots", "Load the page again.")])
    return value


def _shape(data: Mapping[str, Any]) -> Shape:
    """Read the shape that was drawn."""
    geometry = data.get("shape")
    if not isinstance(geometry, dict):
        raise InputError([Problem("shape", "nothing is drawn yet", "Draw it on the map.")])
    if _corners(geometry.get("coordinates")) > MOST_CORNERS:
        what = f"the shape has more than {MOST_CORNERS:,} corners"
        raise InputError([Problem("shape", what, "Thin it out in the program it comes from.")])
    (found,) = land.shapes_from_geojson([geometry])
    if found is None or isinstance(found, Problem):
        problem = found or Problem("shape", "nothing is drawn yet", "Draw it on the map.")
        raise InputError([problem])
    return found


def _corners(coordinates: Any) -> int:
    """How many corners nested lists hold, at most one more than is allowed; without recursion."""
    count, waiting = 0, [coordinates]
    while waiting and count <= MOST_CORNERS:
        one = waiting.pop()
        if isinstance(one, list) and one and isinstance(one[0], list):
            waiting.extend(one)
        else:
            count += 1
    return count


def _asked(ask: Ask) -> Mapping[str, Any]:
    if not isinstance(ask.data, dict):
        raise InputError([Problem("", "the page sent nothing that is understood", "Load the page again.")])
    return ask.data


def _listed(problems: Sequence[Problem]) -> list[dict[str, Any]]:
    return [
        {"level": p.level.value, "where": p.where, "what": p.what, "fix": p.fix, "choices": list(p.choices)}
        for p in problems
    ]


def measure(ask: Ask) -> Reply:
    """Measure what is drawn, and say what is wrong with it."""
    data = _asked(ask)
    record = ask.desk.season.record
    try:
        drawn = upkeep.measure_drawn(record, _shape(data), _texts(data, "own"))
    except InputError as error:
        return Told({"ok": False, "problems": _listed(error.problems)})
    units = record.info.units
    return Told(
        {
            "ok": drawn.area_m2 is not None,
            "area": "" if drawn.area_m2 is None else format_area(drawn.area_m2, units),
            "area_m2": drawn.area_m2,
            "around": "" if drawn.perimeter_m is None else format_length(drawn.perimeter_m, units),
            "problems": _listed(drawn.problems),
        }
    )


def lay(ask: Ask) -> Reply:
    """Lay a rectangle or circle of typed sides around the middle of the map."""
    data = _asked(ask)
    middle = data.get("middle")
    numbers = isinstance(middle, list) and [x for x in middle if isinstance(x, int | float)]
    if not numbers or len(numbers) != 2:
        raise InputError([Problem("middle", "the middle of the map is not known", "Load the page again.")])
    length = _side(data, "length")
    place = (numbers[0], numbers[1])
    if _text(data, "what") == "circle":
        shape = land.circle(place, length / 2)
    else:
        problems: list[Problem] = []
        typed = files.typed_options({"bearing": _text(data, "bearing") or "0"}, problems)
        bearing = typed.number("bearing")
        if bearing is None:
            raise InputError(problems)
        shape = land.rectangle(place, length, _side(data, "width"), bearing % 360)
    return Told({"ok": True, "shape": land.as_geojson(shape)})


def _side(data: Mapping[str, Any], name: str) -> float:
    try:
        return parse_length(_text(data, name))
    except UnitError as error:
        raise InputError([error.at(name)]) from error


def keep(ask: Ask) -> Reply:
    """Keep what was drawn, as one change."""
    data, desk = _asked(ask), ask.desk
    what, path, today = _text(data, "what"), desk.path, desk.today
    plot, other, was = _text(data, "plot"), _text(data, "other"), _text(data, "print")
    name, kind = _text(data, "name"), _text(data, "kind")

    def new_plot() -> Changed:
        done, data_id = upkeep.draw_plot(path, _shape(data), name, today, "")
        made.append(data_id)
        return done

    made: list[str] = []
    steps: Mapping[str, Callable[[], Changed]] = {
        "plot": new_plot,
        "redraw": lambda: upkeep.redraw_plot(path, plot, _shape(data), was, today, ""),
        "hole": lambda: upkeep.cut_hole(path, plot, _shape(data), was, today, ""),
        "split": lambda: upkeep.split_plot(path, plot, _shape(data), was, today, ""),
        "part": lambda: upkeep.draw_part(path, plot, _shape(data), name, today, ""),
        "merge": lambda: upkeep.merge_plots(path, _texts(data, "plots"), today, ""),
        "cut": lambda: upkeep.cut_out(path, plot, other, today, ""),
        "gap": lambda: upkeep.close_gap(path, plot, other, upkeep.GAP_M, today, ""),
        "keep-out": lambda: upkeep.draw_keepout(
            path, _shape(data), kind, name, _text(data, "setback"), today, ""
        ),
        "way": lambda: upkeep.draw_way(path, _shape(data), kind, name, today, ""),
    }
    if what not in steps:
        raise InputError([Problem("what", f"{what!r} is nothing the map can do", "Load the page again.")])
    try:
        done = steps[what]()
    except InputError as error:
        return Told({"ok": False, "problems": _listed(error.problems)}, 422)
    return Told(
        {
            "ok": True,
            "sentence": done.sentence,
            "change": done.change_id,
            "plot": made[0] if made else plot,
            "mark": desk.mark_text(),
            "problems": _listed(done.problems),
        }
    )


def picture(ask: Ask) -> Reply:
    """Make a GeoTIFF of the user's a picture that can be laid below the map; nothing is stored."""
    if not ask.uploads:
        raise InputError([Problem("picture", "no picture was chosen", "Choose one.")])
    upload = ask.uploads[0]
    with tempfile.TemporaryDirectory(prefix="loamwright-") as folder:
        file = files.lay_down(Path(folder), "picture.tif", upload.content)
        try:
            made = fieldmap.embed_picture(file, None, LONGEST_PX)
        except LoamwrightError as error:
            named = [replace(problem, where=upload.name) for problem in problems_of(error)]
            return Told({"ok": False, "problems": _listed(named)}, 422)
    coded = base64.b64encode(made.data).decode("ascii")
    address = f"data:{made.media_type};base64,{coded}"
    return Told({"ok": True, "picture": address, "corners": made.bounds, "problems": []})


def take_back(ask: Ask) -> Reply:
    """Take the last kept drawing back."""
    number = _asked(ask).get("change")
    if not isinstance(number, int):
        raise InputError([Problem("change", "it is not said which change", "See the Property page.")])
    done = upkeep.undo(ask.desk.path, number, ask.desk.today, "")
    told = {"ok": True, "sentence": done.sentence, "change": done.change_id, "problems": []}
    return Told(told | {"mark": ask.desk.mark_text()})


ROUTES = (
    Route("/draw", show),
    Route("/draw/shapes", shapes),
    Route("/draw/colours", colours),
    Route("/draw/measure", send=measure),
    Route("/draw/lay", send=lay),
    Route("/draw/keep", send=keep),
    Route("/draw/back", send=take_back),
    Route("/draw/picture", send=picture),
)
