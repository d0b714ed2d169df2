"""What was marked on the ground: walked boundaries, spots and cores, and what they offer to change.

Nothing here changes a property. Each thing becomes a sentence and, where a file can carry it, a feature of a
map file that `import` shows and takes like any other.

References
----------
W3C, "Geolocation API", the accuracy attribute: a radius of 95 % confidence. For errors that are alike in both
directions that is √(−2 ln 0.05) = 2.448 standard errors of one direction (Rayleigh distribution).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from loamwright import land
from loamwright.errors import Level, Problem, has_errors
from loamwright.units import format_area, format_length
from loamwright.work.records import PropertyRecord

#: Standard errors of one direction in a radius of 95 %.
SIGMAS_OF_95 = math.sqrt(-2 * math.log(0.05))
#: What a spot is called that is to become a keep-out.
NEW_KEEPOUT = "new keep-out"


class CapturedKind(StrEnum):
    """What was done to mark it."""

    WALK = "walk"
    SPOT = "spot"
    CORE = "core"


@dataclass(frozen=True, slots=True)
class Fix:
    """A place a phone was at.

    Parameters
    ----------
    lon, lat
        WGS84 [degree].
    accuracy_m
        Radius of 95 % confidence, as the phone said it [m].
    """

    lon: float
    lat: float
    accuracy_m: float


@dataclass(frozen=True, slots=True)
class Captured:
    """One thing marked on the ground.

    Parameters
    ----------
    captured_id, kind
        Id made on the phone, and what it is.
    fixes
        Fixes in the order they were taken; one, but for a walk.
    plot_id, what, note, operator, taken_at
        The plot it was marked for (empty = none), what a spot is, and as written.
    """

    captured_id: str
    kind: CapturedKind
    fixes: tuple[Fix, ...]
    plot_id: str = ""
    what: str = ""
    note: str = ""
    operator: str = ""
    taken_at: str = ""


@dataclass(frozen=True, slots=True)
class Offers:
    """What marked things offer, none of it taken.

    Parameters
    ----------
    problems
        One note or warning for each.
    features
        Name of a map file → GeoJSON features that it holds.
    """

    problems: tuple[Problem, ...]
    features: Mapping[str, tuple[dict[str, Any], ...]]


def offers(captured: Sequence[Captured], record: PropertyRecord) -> Offers:
    """Say what marked things would change.

    Parameters
    ----------
    captured
        What came home.
    record
        The property as it stands.

    Returns
    -------
    Offers
        Features stand under ``walked``, ``keepouts`` and ``seen``.
    """
    problems: list[Problem] = []
    features: dict[str, list[dict[str, Any]]] = {}
    for one in captured:
        about = f"{one.taken_at[:10]} {one.operator}".strip()
        note = f". {one.note}" if one.note else ""
        where = f"marked on the ground, {one.plot_id or 'no plot named'}"
        place = [one.fixes[0].lon, one.fixes[0].lat]
        radius = format_length(one.fixes[0].accuracy_m, record.info.units)
        if one.kind is CapturedKind.WALK:
            found, feature = _walked(one, record, where, about)
            problems.extend(found)
            if feature is not None:
                features.setdefault("walked", []).append(feature)
        elif one.kind is CapturedKind.SPOT and one.what == NEW_KEEPOUT:
            ident = f"KO-{one.captured_id[:8]}"
            properties = {"keepout_id": ident, "name": one.note or one.what, "kind": "marked"}
            features.setdefault("keepouts", []).append(_feature("Point", place, properties))
            what = f"a new keep-out, ± {radius}{note} ({about}); its setback is not stated"
            problems.append(Problem(where, what, "Look at the file keepouts, then import it.", Level.NOTE))
        else:
            what = one.what or "soil core"
            properties = {"plot_id": one.plot_id, "what": what, "note": one.note, "taken_at": one.taken_at}
            features.setdefault("seen", []).append(
                _feature("Point", place, {**properties, "accuracy_m": one.fixes[0].accuracy_m})
            )
            said = f"{what}, ± {radius}{note} ({about})"
            problems.append(Problem(where, said, "Its place is in the file seen.", Level.NOTE))
    return Offers(tuple(problems), {name: tuple(found) for name, found in features.items()})


def _walked(
    one: Captured, record: PropertyRecord, where: str, about: str
) -> tuple[tuple[Problem, ...], dict[str, Any] | None]:
    """Work out a walk; its standard error goes by what the phone said of each fix."""
    units = record.info.units
    fixes = [(fix.lon, fix.lat) for fix in one.fixes]
    sigma_m = math.sqrt(sum(fix.accuracy_m**2 for fix in one.fixes) / len(one.fixes)) / SIGMAS_OF_95
    walk = land.walk_to_boundary(fixes, sigma_m, where=where)
    if walk.area_m2 is None or walk.area_se_m2 is None or has_errors(walk.problems):
        return walk.problems, None
    plot = next((plot for plot in record.plots if plot.plot_id == one.plot_id), None)
    on_file = f", on file {format_area(land.areas_m2([plot.boundary]).tolist()[0], units)}" if plot else ""
    what = (
        f"a walked boundary: {format_area(walk.area_m2, units)} ± {format_area(walk.area_se_m2, units)} "
        f"(standard error, {len(fixes)} fixes of ± {format_length(sigma_m, units)} each){on_file} ({about})"
    )
    offer = Problem(where, what, "Look at the file walked, then import it.", Level.NOTE)
    properties = {"plot_id": one.plot_id or f"new-{one.captured_id[:8]}"}
    return (*walk.problems, offer), _feature("LineString", [list(fix) for fix in fixes], properties)


def _feature(kind: str, coordinates: Any, properties: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": dict(properties),
        "geometry": {"type": kind, "coordinates": coordinates},
    }
