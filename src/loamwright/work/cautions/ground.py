"""Cautions about the ground and the weather: setbacks, water, roads, frozen soil, rain ahead."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from loamwright.land import NEAR_M, KeepOut
from loamwright.supplies import Form
from loamwright.units import convert, format_area, format_length
from loamwright.values import Nutrient, Quantity
from loamwright.work.cautions.facts import (
    Case,
    CautionText,
    Finding,
    Rule,
    grouped,
    listed,
    plots_of,
    recorded_on_ground,
)
from loamwright.work.cautions.phrases import (
    is_fertilizer,
    is_kind,
    rain_chance_pct,
    rain_depth,
    says,
    worked_in,
)

_NOT_READY = r"frozen|frost|snow|saturated|waterlogged|standing water"
_TURF = r"\bturf\b|\blawn\b"
_WATERWAYS = ("water", "tile", "sinkhole", "well")


def _metres(limit: Quantity) -> float:
    return convert(limit.value, limit.unit, "m")


def _near(case: Case, plot_id: str, kind: str, within_m: float) -> list[KeepOut]:
    """Return the keep-outs of a kind within a distance of a plot."""
    return [
        keepout
        for keepout in case.record.keepouts
        if is_kind(keepout, kind) and case.gaps_m.get((plot_id, keepout.keepout_id), within_m + 1) <= within_m
    ]


def _called(keepouts: Iterable[KeepOut]) -> str:
    return listed(keepout.name or keepout.kind or keepout.keepout_id for keepout in keepouts)


def _not_ready(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-06: fertilizer recorded on frozen, snow-covered or saturated ground."""
    yield from recorded_on_ground(
        case,
        (
            entry
            for entry in case.season_entries
            if entry.product in case.products
            and is_fertilizer(case.products[entry.product])
            and says(entry.ground, _NOT_READY)
        ),
    )


def _rain_ahead(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-07: dry product left on the surface under a forecast over the published chance and depth."""
    chance, rain = text.limits["chance"].value, text.limits["rain"]
    entries = grouped(
        (entry.product, entry)
        for entry in case.season_entries
        if entry.product in case.products
        and case.products[entry.product].form is Form.DRY
        and not worked_in(entry)
        and (rain_chance_pct(entry.forecast) or 0.0) > chance
        and rain_depth(entry.forecast, rain.unit) > rain.value
    )
    for product, found in entries.items():
        forecasts = listed(f'"{entry.forecast}"' for entry in found)
        where = plots_of(found)
        yield Finding(
            f"{product} went on {case.names(where)} under the forecast {forecasts}.", where, product
        )


def _setback_taken_off(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-09: a stated setback from water, tile, sinkhole or well that cuts a plot."""
    lost_m2: dict[str, float] = {}
    features: dict[str, KeepOut] = {}
    for plot_id, area in case.areas.items():
        for keepout_id, cut_m2 in area.keepouts:
            keepout = case.keepouts.get(keepout_id)
            if keepout is None or not keepout.setback_m or not any(is_kind(keepout, k) for k in _WATERWAYS):
                continue
            lost_m2[plot_id] = lost_m2.get(plot_id, 0.0) + cut_m2
            features[keepout_id] = keepout
    if lost_m2:
        distances = ", ".join(
            f"{_called([k])} {k.setback_text or _length(case, k)}" for k in features.values()
        )
        lost = format_area(sum(lost_m2.values()), case.record.info.units)
        yield Finding(f"{lost} of {case.names(lost_m2)} taken out ({distances}).", tuple(lost_m2))


def _length(case: Case, keepout: KeepOut) -> str:
    return format_length(keepout.setback_m or 0.0, case.record.info.units)


def _manure_setback(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-10: manure this season within the example distance of water, tile, well or sinkhole."""
    close: dict[str, dict[str, KeepOut]] = {}
    for plot_id, method in _manured(case):
        for kind, distance_m in _manure_distances_m(method, text):
            for keepout in _near(case, plot_id, kind, distance_m):
                if keepout.setback_m is None or keepout.setback_m < distance_m - 0.01:
                    close.setdefault(plot_id, {})[keepout.keepout_id] = keepout
    if close:
        features = {key: keepout for found in close.values() for key, keepout in found.items()}
        near = f"nearer to {_called(features.values())} than the example allows"
        yield Finding(f"Manure on {case.names(close)} lies {near}.", tuple(close))


def _manured(case: Case) -> Iterator[tuple[str, str]]:
    """(plot_id, how it is placed) of the manures of this season: put on, or planned and not done."""
    for manure in case.record.organic_inputs:
        if manure.applied_on.year == case.record.info.season:
            yield manure.plot_id, manure.method
    spread = [(line.plot_id, line.product) for line in case.open_lines]
    spread += [(entry.plot_id, entry.product) for entry in case.season_entries]
    for plot_id, name in spread:
        product = case.products.get(name)
        if product is not None and product.material:
            yield plot_id, product.method


def _manure_distances_m(method: str, text: CautionText) -> list[tuple[str, float]]:
    soon = says(method, r"inject|< ?(12|24) ?h|within (12|24) ?h")
    distances = [("water", _metres(text.limits["water_worked_in" if soon else "water"]))]
    if not soon:
        distances.append(("tile", _metres(text.limits["tile"])))
    return [
        *distances,
        ("well", _metres(text.limits["well"])),
        ("sinkhole", _metres(text.limits["sinkhole"])),
    ]


def _turf_by_water(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-11: fertilizer planned on turf within the example distance of water."""
    within_m = _metres(text.limits["turf"])
    turf = [
        line
        for line in case.open_lines
        if line.product in case.products
        and is_fertilizer(case.products[line.product])
        and line.plot_id in case.croppings
        and says(case.croppings[line.plot_id].crop, _TURF)
        and any(
            keepout.setback_m is None or keepout.setback_m < within_m - 0.01
            for keepout in _near(case, line.plot_id, "water", within_m)
        )
    ]
    if turf:
        where = plots_of(turf)
        yield Finding(
            f"Turf on {case.names(where)} reaches within {text.limits['turf'].value:g} ft of water.", where
        )


def _hard_surface(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-12: a dry product planned so near a road, track or yard that the swath can reach it."""
    swaths = [s.swath_m for s in case.record.info.settings.spreaders if s.swath_m is not None]
    reach_m = max(swaths, default=0.0)
    dry = case.lines_of(lambda product: product.form is not Form.LIQUID)
    reached: dict[str, list[KeepOut]] = {}
    for plot_id in plots_of(line for lines in dry.values() for line in lines):
        for keepout in _near(case, plot_id, "hard", reach_m):
            if (keepout.setback_m or 0.0) < reach_m or not swaths:
                reached.setdefault(plot_id, []).append(keepout)
    if reached:
        features = _called(keepout for found in reached.values() for keepout in found)
        width = (
            f"the swath is {format_length(reach_m, case.record.info.units)}" if swaths else "swath not stated"
        )
        yield Finding(f"{features} beside {case.names(reached)}; {width}.", tuple(reached))


def _near_water(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-13: N or P2O5 planned on a plot within the published distance of water."""
    close: dict[str, list[KeepOut]] = {}
    for line in case.open_lines:
        if case.fraction(line.product, Nutrient.N) + case.fraction(line.product, Nutrient.P2O5) <= 0:
            continue
        for kind in ("stream", "lake"):
            for keepout in _near(case, line.plot_id, kind, _metres(text.limits[kind])):
                close.setdefault(line.plot_id, []).append(keepout)
    if close:
        features = _called(keepout for found in close.values() for keepout in found)
        yield Finding(f"{case.names(close)}: near {features}.", tuple(close))


def _setback_missing(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-14: a keep-out near a plot with no setback entered."""
    missing = {
        plot_id: area.missing_setbacks for plot_id, area in case.areas.items() if area.missing_setbacks
    }
    if missing:
        keys = dict.fromkeys(key for found in missing.values() for key in found)
        features = _called(case.keepouts[key] for key in keys if key in case.keepouts)
        within = format_length(NEAR_M, case.record.info.units)
        what = f"{features} within {within} of {case.names(missing)}: no setback is entered."
        yield Finding(what, tuple(missing))


def _road_dust(case: Case, text: CautionText) -> Iterator[Finding]:
    """C-47: a plot near a road whose description names gravel or crushed limestone."""
    within_m = _metres(text.limits["road"])
    close = {
        plot_id: found for plot_id in case.plots if (found := _near(case, plot_id, "lime road", within_m))
    }
    if close:
        features = _called(keepout for found in close.values() for keepout in found)
        yield Finding(f"{case.names(close)}: near {features}.", tuple(close))


RULES: Mapping[str, Rule] = {
    "C-06": _not_ready,
    "C-07": _rain_ahead,
    "C-09": _setback_taken_off,
    "C-10": _manure_setback,
    "C-11": _turf_by_water,
    "C-12": _hard_surface,
    "C-13": _near_water,
    "C-14": _setback_missing,
    "C-47": _road_dust,
}
