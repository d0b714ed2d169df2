"""How a column of the property file is told to people: in words, and in the units of the property."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from typing import Any

from loamwright.errors import PropertyFileError, UnitError
from loamwright.files import kinds
from loamwright.files.columns import Sql, shape_of
from loamwright.land import areas_m2, bounds, geometry_type
from loamwright.units import format_area, parse_money

#: How a column's name ends when it holds an amount, and how that amount is written.
_ENDINGS: tuple[tuple[str, Callable[[Any, str], str]], ...] = (
    ("_per_kg", kinds.MONEY_PER_MASS.write),
    ("_per_ha", kinds.MONEY_PER_AREA.write),
    ("_kg_ha", kinds.RATE.write),
    ("_kg_m3", kinds.DENSITY.write),
    ("_kg", kinds.MASS.write),
    ("_m2", kinds.AREA.write),
    ("_m_s", kinds.SPEED.write),
    ("_m", kinds.LENGTH.write),
)


def told(column: str, value: Sql, system: str) -> tuple[str, str]:
    """Tell what a column holds.

    Parameters
    ----------
    column
        Its name in the file.
    value
        What stands in it [SI where its name says so].
    system
        ``"us"`` or ``"metric"``.

    Returns
    -------
    name, text : str
        ``("narrowest", "18 ft")`` for ``narrowest_m`` and 5.4864; a dash for nothing.

    Examples
    --------
    >>> told("narrowest_m", 5.4864, "us"), told("depth_bottom_m", 0.2, "metric")
    (('narrowest', '18 ft'), ('depth bottom', '20 cm'))
    """
    ending, write = next((pair for pair in _ENDINGS if column.endswith(pair[0])), ("", None))
    name = column.removesuffix(ending).replace("_", " ").strip()
    if value is None:
        return name, "—"
    if isinstance(value, bytes):
        return name, _shape_told(value, system)
    if column.startswith("depth_") and isinstance(value, int | float):
        unit, size = ("cm", 0.01) if system == "metric" else ("in", 0.0254)
        return name, f"{value / size:.6g} {unit}"
    if write is not None:
        with contextlib.suppress(UnitError):  # whatever another program put there
            return name, write(parse_money(value) if isinstance(value, str) else value, system)
    return name, f"{value:.9g}" if isinstance(value, float) else _listed(str(value))


def _shape_told(blob: bytes, system: str) -> str:
    """Tell a shape by its area, else by where it lies."""
    try:
        shape = shape_of(blob)
    except PropertyFileError:
        return f"a shape of {len(blob)} bytes that cannot be read"
    if shape.is_empty:
        return "an empty shape"
    kind = geometry_type(shape)
    if kind.endswith("Polygon"):
        (area_m2,) = areas_m2([shape]).tolist()
        return f"a shape of {format_area(area_m2, system)}"
    west, south, east, north = bounds(shape)
    where = f"{(south + north) / 2:.5f}, {(west + east) / 2:.5f}"
    return f"a {'line' if 'Line' in kind else 'place'} at {where}"


def _listed(text: str) -> str:
    """Tell what is kept as a short JSON object or list in words: `lime truck no; hand spreader yes`."""
    if not text.startswith(("{", "[")):
        return text
    try:
        held = json.loads(text)
    except ValueError:
        return text
    if isinstance(held, dict):
        return "; ".join(f"{key} {_plain(each)}" for key, each in held.items()) or "—"
    return "; ".join(map(_plain, held)) or "—"


def _plain(value: object) -> str:
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)
