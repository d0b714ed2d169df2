"""Which column of the property file holds which field of a record, and how it is written there.

This file answers "how does a record become a row, and a row the same record again?". Plain fields
become columns of their own name; a quantity becomes two (``amount_value``, ``amount_unit``), a
figure per nutrient one column each (``n_pct``), a shape a GeoPackage geometry. JSON is used only for
what is nested: steps, lists, and columns of the user's own. The tables themselves are in
``data/property_file/schema.sql``; opening, transactions and upgrades are `property_file`.
"""

from __future__ import annotations

import datetime as dt
import json
import struct
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import Any, Generic, TypeVar, get_args, get_type_hints

from loamwright.errors import Level, Problem, PropertyFileError
from loamwright.files.work_rules import kept_rules, rules_to_keep
from loamwright.land import Cropping, KeepOut, Plot, PlotPart, Shape, Way, as_wkb, bounds, from_wkb
from loamwright.needs import Decision
from loamwright.planning import (
    Coverage,
    DecideKind,
    Job,
    LeftToDecide,
    Plan,
    PlanLine,
    Purchase,
    StillShort,
    Window,
)
from loamwright.soil import OrganicInput, Reading, SoilTest
from loamwright.supplies import LimeLabel, Offer, Product, StockEntry
from loamwright.values import (
    Nutrient,
    PropertyInfo,
    Quantity,
    Settings,
    Source,
    Spreader,
    Step,
    Supply,
    Timing,
)
from loamwright.work import Application, Calibration

R = TypeVar("R")

#: What SQLite stores.
Sql = str | int | float | bytes | None

# ---------------------------------------------------------------------------------------------
# Shapes: the GeoPackage header in front of well-known binary (OGC 12-128r17, clause 2.1.3)

_HEADER = struct.pack("<2sBBi", b"GP", 0, 0x01, 4326)
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_ONE_POLYGON = b"\x01\x06\x00\x00\x00\x01\x00\x00\x00"  # little-endian MultiPolygon of one part


def shape_blob(shape: Shape) -> bytes:
    """Return a shape as the GeoPackage stores it."""
    if shape.has_z or shape.has_m:
        raise PropertyFileError(
            f"a {shape.geom_type} is not two-dimensional; import it through a boundary file"
        )
    return _HEADER + as_wkb(shape)


def shape_of(blob: bytes) -> Shape:
    """Return the shape in a GeoPackage geometry, whoever wrote it."""
    return _read(_wkb_in(blob))


def _read(wkb: bytes) -> Shape:
    try:
        shape = from_wkb(wkb)
    except ValueError as error:
        raise PropertyFileError(
            f"a shape of {len(wkb)} bytes in the file cannot be read; restore it from a copy"
        ) from error
    west, south, east, north = bounds(shape)
    if west < -180 or south < -90 or east > 180 or north > 90:
        raise PropertyFileError("a shape in the file lies off the globe; restore it from a copy")
    return shape


def _wkb_in(blob: bytes) -> bytes:
    if len(blob) < 8 or blob[:2] != b"GP" or (blob[3] >> 1 & 0b111) not in _ENVELOPE_BYTES:
        raise PropertyFileError("a shape in the file is not a GeoPackage geometry; restore it from a copy")
    srs_id = struct.unpack("<i" if blob[3] & 1 else ">i", blob[4:8])[0]
    if srs_id != 4326:
        raise PropertyFileError(f"a shape in the file has reference system {srs_id}, not 4326 (WGS 84)")
    return blob[8 + _ENVELOPE_BYTES[blob[3] >> 1 & 0b111] :]


def _boundary_blob(boundary: Shape) -> bytes:
    """A boundary, as MultiPolygon so that the layer has one geometry type."""
    kind = boundary.geom_type
    if kind not in ("Polygon", "MultiPolygon") or boundary.has_z or boundary.has_m:
        raise PropertyFileError("a plot's boundary must be a two-dimensional Polygon or MultiPolygon")
    return _HEADER + (_ONE_POLYGON if kind == "Polygon" else b"") + as_wkb(boundary)


def _boundary_of(blob: bytes) -> Shape:
    """A boundary back; a MultiPolygon of one part is that Polygon."""
    shape = _read(_wkb_in(blob).removeprefix(_ONE_POLYGON))
    if shape.geom_type not in ("Polygon", "MultiPolygon"):
        raise PropertyFileError(f"the boundary of a plot in the file is a {shape.geom_type}")
    return shape


# ---------------------------------------------------------------------------------------------
# Codecs: one field, one or more columns


@dataclass(frozen=True, slots=True)
class Codec:
    """How one field is written in one or more columns.

    Parameters
    ----------
    columns
        Column names.
    encode
        Field value to one SQL value per column.
    decode
        SQL values of the columns to the field value.
    """

    columns: tuple[str, ...]
    encode: Callable[[Any], tuple[Sql, ...]]
    decode: Callable[..., Any]


def _one(
    column: str, encode: Callable[[Any], Sql] = lambda v: v, decode: Callable[[Any], Any] = lambda v: v
) -> Codec:
    """A field in one column; None is NULL."""
    return Codec(
        (column,),
        lambda value: (None if value is None else encode(value),),
        lambda stored: None if stored is None else decode(stored),
    )


def _money(text: str) -> Decimal:
    """A stored sum of money; infinity and NaN are none."""
    found = Decimal(text)
    if not found.is_finite():
        raise ValueError(text)
    return found


def _plain(column: str, hint: Any) -> Codec:
    """The codec of a plain field from its annotation."""
    if isinstance(hint, types.UnionType):
        (hint,) = (part for part in typing.get_args(hint) if part is not types.NoneType)
    if hint in (str, int, float):
        return _one(column)
    if hint is bool:
        return _one(column, int, bool)
    if hint is dt.date:
        return _one(column, dt.date.isoformat, dt.date.fromisoformat)
    if hint is Decimal:
        return _one(column, str, _money)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return _one(column, str, hint)
    raise TypeError(f"the field {column} of type {hint} needs a codec of its own")


def _json(column: str, decode: Callable[[Any], Any], encode: Callable[[Any], Any] = lambda v: v) -> Codec:
    return _one(
        column,
        lambda value: json.dumps(encode(value), ensure_ascii=False),
        lambda text: decode(json.loads(text)),
    )


def _quantity(name: str) -> Codec:
    return Codec(
        (f"{name}_value", f"{name}_unit"),
        lambda quantity: (None, None) if quantity is None else (quantity.value, quantity.unit),
        lambda value, unit: None if value is None or unit is None else Quantity(value, unit),
    )


def _per_nutrient(pattern: str) -> Codec:
    """A mapping of nutrient to figure, a column each; NULL is *absent*."""
    return Codec(
        tuple(pattern.format(nutrient.value.lower()) for nutrient in Nutrient),
        lambda mapping: tuple(mapping.get(nutrient) for nutrient in Nutrient),
        lambda *values: {n: value for n, value in zip(Nutrient, values, strict=True) if value is not None},
    )


def _pair(first: str, second: str) -> Codec:
    return Codec(
        (first, second),
        lambda pair: (None, None) if pair is None else pair,
        lambda a, b: None if a is None or b is None else (a, b),
    )


def _texts(column: str) -> Codec:
    return _json(column, tuple, list)


def _mapping(column: str) -> Codec:
    return _json(column, dict, dict)


def _steps(column: str) -> Codec:
    def encode(steps: tuple[Step, ...]) -> list[dict[str, object]]:
        return [
            {
                "what": step.what,
                "value": step.value,
                "unit": step.unit,
                "source": {part.name: getattr(step.source, part.name) for part in fields(Source)},
            }
            for step in steps
        ]

    def decode(content: list[dict[str, Any]]) -> tuple[Step, ...]:
        return tuple(Step(**{**step, "source": Source(**step["source"])}) for step in content)

    return _json(column, decode, encode)


def _problems(column: str) -> Codec:
    names = ("where", "what", "fix", "level")

    def encode(problems: tuple[Problem, ...]) -> list[dict[str, str]]:
        return [{name: str(getattr(problem, name)) for name in names} for problem in problems]

    def decode(content: list[dict[str, str]]) -> tuple[Problem, ...]:
        return tuple(Problem(p["where"], p["what"], p["fix"], Level(p["level"])) for p in content)

    return _json(column, decode, encode)


def _left_to_decide(column: str) -> Codec:
    def encode(things: tuple[LeftToDecide, ...]) -> list[dict[str, object]]:
        return [
            {
                "kind": str(one.kind),
                "words": one.words,
                "short": [[need.plot_id, str(need.supply), need.mass_kg] for need in one.short],
                "cost": None if one.cost is None else str(one.cost),
            }
            for one in things
        ]

    def decode(content: list[dict[str, Any]]) -> tuple[LeftToDecide, ...]:
        return tuple(
            LeftToDecide(
                DecideKind(held["kind"]),
                held["words"],
                tuple(StillShort(plot_id, Supply(supply), kg) for plot_id, supply, kg in held["short"]),
                None if held["cost"] is None else Decimal(held["cost"]),
            )
            for held in content
        )

    return _json(column, decode, encode)


def _price_breaks(column: str) -> Codec:
    return _json(
        column,
        lambda content: tuple((count, Decimal(price)) for count, price in content),
        lambda breaks: [[count, str(price)] for count, price in breaks],
    )


def _lime_label() -> Codec:
    inner = _LIME_LABEL
    columns = inner.columns

    def encode(label: LimeLabel | None) -> tuple[Sql, ...]:
        if label is None:
            return (0, *(None for _ in columns))
        return (1, *inner.row(label).values())

    def decode(stated: int, *values: Sql) -> LimeLabel | None:
        return inner.record_of(dict(zip(columns, values, strict=True))) if stated else None

    return Codec(("lime_label", *columns), encode, decode)


# ---------------------------------------------------------------------------------------------
# Layouts: one record type, one table


@dataclass(frozen=True)
class Layout(Generic[R]):
    """How records of one type are written in one table.

    Parameters
    ----------
    table
        Table name.
    record
        Record type.
    key
        Columns that tell one row from another; empty = rows are only added.
    special
        Fields that are not written as one plain column.
    elsewhere
        Fields kept in tables of their own.
    prefix
        Put before the column names of plain fields.
    """

    table: str
    record: type[R]
    key: tuple[str, ...] = ()
    special: Mapping[str, Codec] = field(default_factory=dict)
    elsewhere: frozenset[str] = frozenset()
    prefix: str = ""

    @cached_property
    def _always_stated(self) -> frozenset[str]:
        """Fields of the record that cannot be None."""
        hints = get_type_hints(self.record)
        return frozenset(name for name, kind in hints.items() if type(None) not in (*get_args(kind), kind))

    @cached_property
    def codecs(self) -> Mapping[str, Codec]:
        """Field name to codec, in field order."""
        hints = typing.get_type_hints(self.record)
        return {
            name: self.special[name] if name in self.special else _plain(f"{self.prefix}{name}", hints[name])
            for name in hints
            if name not in self.elsewhere
        }

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Column names, in field order."""
        return tuple(column for codec in self.codecs.values() for column in codec.columns)

    def row(self, record: R) -> dict[str, Sql]:
        """Return a record as a row."""
        return {
            column: value
            for name, codec in self.codecs.items()
            for column, value in zip(codec.columns, codec.encode(getattr(record, name)), strict=True)
        }

    def _unreadable(self, held: str) -> PropertyFileError:
        return PropertyFileError(
            f"its table {self.table} holds what cannot be read ({held[:200]}); correct it, or "
            "restore the file from a copy"
        )

    def record_of(self, row: Mapping[str, Any], **elsewhere: object) -> R:
        """Return the record a row holds."""
        values = {}
        for name, codec in self.codecs.items():
            stored = [row[column] for column in codec.columns]
            try:
                values[name] = codec.decode(*stored)
            except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError) as error:
                held = ", ".join(f"{c} {v!r}" for c, v in zip(codec.columns, stored, strict=True))
                raise self._unreadable(held) from error
            if values[name] is None and name in self._always_stated:
                raise self._unreadable(f"{codec.columns[0]} is blank")
        return self.record(**values, **elsewhere)


_LIME_LABEL = Layout(
    "products",
    LimeLabel,
    special={
        "passing_pct": _json(
            "lime_passing_pct", lambda content: {int(mesh): share for mesh, share in content.items()}, dict
        ),
        "scores_pct": _json("lime_scores_pct", dict, dict),
    },
    prefix="lime_",
)

INFO = Layout("property", PropertyInfo, elsewhere=frozenset({"settings"}))


def _window(column: str) -> Codec:
    """When a job is done: its label and its days."""

    def day(text: str | None) -> dt.date | None:
        return None if text is None else dt.date.fromisoformat(text)

    def iso(date: dt.date | None) -> str | None:
        return None if date is None else date.isoformat()

    return _one(
        column,
        lambda window: json.dumps(
            {"label": window.label, "opens": iso(window.opens), "closes": iso(window.closes)},
            ensure_ascii=False,
        ),
        lambda text: (lambda held: Window(held["label"], day(held["opens"]), day(held["closes"])))(
            json.loads(text)
        ),
    )


SETTINGS = Layout(
    "property",
    Settings,
    special={"work": _json("work", kept_rules, rules_to_keep)},
    elsewhere=frozenset({"surplus_limit_fraction", "surplus_limit_kg_ha", "spreaders"}),
)
SPREADERS = Layout("spreaders", Spreader)
PLOTS = Layout(
    "plots",
    Plot,
    ("plot_id",),
    {
        "boundary": _one("boundary", _boundary_blob, _boundary_of),
        "entrance": _pair("entrance_lon", "entrance_lat"),
        "extra": _mapping("extra"),
        "reach_months": _json("reach_months", tuple, list),
        "reach": _mapping("reach"),
        "bands": _json("bands", lambda held: {supply: tuple(ends) for supply, ends in held.items()}, dict),
    },
)
PARTS = Layout("plot_parts", PlotPart, ("part_id",), {"shape": _one("shape", shape_blob, shape_of)})
WAYS = Layout("ways", Way, ("way_id",), {"shape": _one("shape", shape_blob, shape_of)})
CROPPINGS = Layout(
    "croppings", Cropping, ("plot_id", "season", "position"), {"yield_goal": _quantity("yield_goal")}
)
KEEPOUTS = Layout("keepouts", KeepOut, ("keepout_id",), {"shape": _one("shape", shape_blob, shape_of)})
SOIL_TESTS = Layout("soil_tests", SoilTest, ("test_id",), elsewhere=frozenset({"readings", "recommendation"}))
SOIL_READINGS = Layout("soil_readings", Reading)
ORGANIC_INPUTS = Layout(
    "organic_inputs",
    OrganicInput,
    ("input_id",),
    {
        "amount": _quantity("amount"),
        "analysis_lb_per_ton": _per_nutrient("{}_lb_per_ton"),
        "available_pct": _per_nutrient("available_{}_pct"),
    },
)
PRODUCTS = Layout(
    "products",
    Product,
    ("product",),
    {
        "analysis_pct": _per_nutrient("{}_pct"),
        "lime": _lime_label(),
        "equipment": _texts("equipment"),
        "timings": _json("timings", lambda content: tuple(map(Timing, content)), list),
        "nitrogen_forms_pct": _mapping("nitrogen_forms_pct"),
        "contains": _texts("contains"),
        "extra": _mapping("extra"),
        "available_pct": _per_nutrient("available_{}_pct"),
    },
    frozenset({"available_source"}),
)
PURCHASES = Layout("purchases", StockEntry, ("purchase_id",))
DECISIONS = Layout("decisions", Decision, ("decision_id",))
OFFERS = Layout("offers", Offer, ("offer_id",), {"price_breaks": _price_breaks("price_breaks")})
PLANS = Layout(
    "plans",
    Plan,
    ("plan_id",),
    {
        "counted_entries": _texts("counted_entries"),
        "explanation": _texts("explanation"),
        "left_to_decide": _left_to_decide("left_to_decide"),
        "problems": _problems("problems"),
        "fingerprint": _mapping("fingerprint"),
    },
    frozenset({"jobs", "lines", "buy", "coverage", "plot_costs"}),
)
PLAN_JOBS = Layout("plan_jobs", Job, special={"line_ids": _texts("line_ids"), "window": _window("window")})
PLAN_LINES = Layout("plan_lines", PlanLine, special={"steps": _steps("steps")})
PLAN_PURCHASES = Layout("plan_purchases", Purchase)
PLAN_COVERAGE = Layout("plan_coverage", Coverage)
APPLICATIONS = Layout("applications", Application, ("entry_id",))
CALIBRATIONS = Layout("calibrations", Calibration, ("calibration_id",))
