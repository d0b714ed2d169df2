"""Hand-made `SeasonView` values for tests of the map and the paper: 1, 25 or 500 invented plots.

Nothing here comes from the program's own arithmetic. Areas come from pyproj's geodesic, setbacks
from shapely in a local plane, and every rate is a round number given below, so that a test can
work out by hand what a page has to show::

    need   N 40 lb/acre · P2O5 60 lb/acre (every 4th plot none, every 7th unknown) · K2O 30 lb/acre
           lime 2000 lb ENP/acre on every 5th plot
    plan   urea 46-0-0            40 / 0.46 = 86.96 lb/acre in 50 lb bags
           triple super 0-46-0    60 / 0.46 = 130.43 lb/acre in 50 lb bags
           potash 0-0-60          30 / 0.60 = 50 lb/acre in 50 lb bags
           ag lime, 1000 lb ENP per ton   2000 / 1000 = 2 ton/acre, bulk

`sample_view` is the entry; `hostile=True` puts one of `HOSTILE` into every field a user can type.
All places, people, sellers and prices are invented.
"""

from __future__ import annotations

import datetime as dt
import math
import random
from dataclasses import dataclass, replace
from decimal import Decimal

import shapely
from pyproj import Geod

from loamwright.errors import Level, Problem
from loamwright.land.records import Cropping, KeepOut, Plot, PlotArea
from loamwright.needs.records import Credit, LimeNeed, Need, PlotNeeds
from loamwright.planning import Aged
from loamwright.planning.records import Coverage, Outcome, Plan, PlanLine, Purchase
from loamwright.soil.records import Reading, SoilTest
from loamwright.supplies.records import Form, LimeLabel, Offer, Product
from loamwright.units import ACRE_M2, LB_ACRE_KG_HA, LB_KG, TON_KG
from loamwright.values import (
    ARITHMETIC,
    BOUNDARY,
    LAB,
    LABEL,
    LimeBasis,
    NeedState,
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
from loamwright.work.open_questions import ChoiceRow
from loamwright.work.records import (
    Application,
    Balance,
    Calibration,
    Caution,
    Done,
    LineStatus,
    PropertyRecord,
    Round,
    SamplingPlan,
    Stop,
    WorkState,
    stamp_of,
)

#: Text that must come out as text, whatever it is put into.
HOSTILE = (
    "<script>window.pwned=1</script>",
    "</script><img src=x onerror=window.pwned=1>",
    'O\'Hare "north" `tick` ${1+1} {{7*7}} {% raw %}',
    "שדה הצפון \u202e‮reversed\u202c العربية",
    "Clover \U0001f340\U0001f468\u200d\U0001f33e 👩🏽‍🌾",
    "long " + "Nordwiese" * 33,  # over 300 characters without a space to break at
    '=HYPERLINK("http://example.invalid","x")',
    "a & b &amp; <b>bold</b> <!-- -->",
    "back\\slash \\n \\u003c #let x = 1 $x^2$ @cite *b* _i_ [c]",
    "+1-1 @SUM(A1) | 'tab\there",
)

SEASON = 2026
MADE_ON = dt.date(2026, 5, 4)
CENTRE = (-93.05, 46.05)  # the demo's made-up place

_GEOD = Geod(ellps="WGS84")
_BULLETIN = Source(
    "Invented Extension, Fertilizing Small Plots", "2024", "Table 3", "Bray P1 6-10 ppm, 2 ton/acre"
)
_LIME_TABLE = Source("Invented Extension, Lime for Small Plots", "2024", "Table 1", "Area 1, buffer 6.4")
_CORES = Source("Invented Extension, Taking Soil Samples", "2023", "", "cores for a small plot")

UREA, TRIPLE, POTASH, LIME = "Urea 46-0-0", "Triple super 0-46-0", "Potash 0-0-60", "Ag lime, truck"
N_LB_ACRE, P_LB_ACRE, K_LB_ACRE, LIME_ENP_LB_ACRE = 40.0, 60.0, 30.0, 2000.0
ENP_LB_PER_TON = 1000.0
BAG_KG = 50 * LB_KG


@dataclass(frozen=True, slots=True)
class GivenSeason:
    """A `SeasonView` whose parts are given instead of worked out."""

    record: PropertyRecord
    areas: dict[str, PlotArea]
    croppings: dict[str, Cropping]
    needs: dict[str, PlotNeeds]
    plan: Plan | None
    statuses: tuple[LineStatus, ...]
    balances: tuple[Balance, ...]
    rounds: tuple[Round, ...]
    sampling: dict[str, SamplingPlan]
    cautions: tuple[Caution, ...]
    problems: tuple[Problem, ...]
    made_on: dt.date
    aged: tuple[Aged, ...] = ()
    choices: tuple[ChoiceRow, ...] = ()

    @property
    def stamp(self) -> str:
        return stamp_of(self)


def in_bags(pounds: float) -> str:
    """What a page has to say of so many pounds from 50 lb bags: whole bags, and the rest by weight."""
    whole, rest = divmod(pounds, 50)
    if whole == 0:
        return f"{rest:.1f} lb of a 50 lb bag"
    return f"{whole:,.0f} × 50 lb bag + {rest:.1f} lb"


def sample_view(
    plots: int = 25, *, hostile: bool = False, units: str = "us", with_plan: bool = True
) -> GivenSeason:
    """Return an invented season of `plots` plots; the same arguments always give the same view."""
    record, areas = _record(plots, units)
    needs = {area.plot_id: _needs(index, area) for index, area in enumerate(areas.values())}
    plan = _plan(record, areas, needs) if with_plan and plots else None
    statuses, applications = _progress(plan) if plan else ((), ())
    record = replace(record, plans=(plan,) if plan else (), applications=applications)
    view = GivenSeason(
        record=record,
        areas=areas,
        croppings={c.plot_id: c for c in record.croppings},
        needs=needs,
        plan=plan,
        statuses=statuses,
        balances=_balances(needs, applications),
        rounds=_rounds(plan) if plan else (),
        sampling={
            plot.plot_id: _sampling(i, plot, areas[plot.plot_id]) for i, plot in enumerate(record.plots)
        },
        cautions=_cautions(record),
        problems=_problems(record),
        made_on=MADE_ON,
    )
    return _make_hostile(view) if hostile else view


# ---------------------------------------------------------------------------------------------
# Ground


def _degrees(x_m: float, y_m: float) -> tuple[float, float]:
    """Metres east and north of the centre as longitude, latitude; good enough to draw with."""
    lat = CENTRE[1] + y_m / 111_320
    return CENTRE[0] + x_m / (111_320 * math.cos(math.radians(CENTRE[1]))), lat


def _to_degrees(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(shape, lambda xy: [_degrees(x, y) for x, y in xy])


def _blob(rng: random.Random, x_m: float, y_m: float, radius_m: float, corners: int) -> shapely.Polygon:
    ring = []
    for corner in range(corners):
        angle = 2 * math.pi * corner / corners
        reach = radius_m * (0.72 + 0.28 * rng.random())
        ring.append((x_m + reach * 1.25 * math.cos(angle), y_m + reach * math.sin(angle)))
    return shapely.Polygon(ring)


def _creek(half_m: float) -> shapely.LineString:
    """A bent creek that runs between the two middle columns and cuts one plot."""
    return shapely.LineString([(60 * math.sin(y / 140), y) for y in range(-int(half_m), int(half_m) + 1, 30)])


def _record(count: int, units: str) -> tuple[PropertyRecord, dict[str, PlotArea]]:
    rng = random.Random(20260504)
    columns = max(1, math.ceil(math.sqrt(count)))
    pitch_m = 190.0
    half_m = columns * pitch_m / 2
    creek = _creek(half_m)
    pond = shapely.Point(1.3 * pitch_m, 0.5 * pitch_m).buffer(18)
    keepouts_m = [
        ("KO-creek", "Alder creek", "water", creek, 15.24, "50 ft"),
        ("KO-pond", "Pond", "water", pond, None, ""),
    ]
    keepouts_m.append(
        ("KO-well", "Dug well", "well", shapely.Point(-half_m + 40, -half_m + 60), 15.24, "50 ft")
    )
    keepouts_m.append(
        ("KO-rock", "Rock outcrop", "rock", shapely.Point(half_m - 90, 20).buffer(9), 0.0, "0 ft")
    )
    plots, croppings, areas, tests = [], [], {}, []
    crops = ("clover-chicory", "brassica", "oats-peas", "rye", "grass-legume hay")
    for index in range(count):
        row, column = divmod(index, columns)
        x_m, y_m = (column + 0.5) * pitch_m - half_m, half_m - (row + 0.5) * pitch_m
        radius = 28 + 46 * rng.random()
        shape: shapely.Geometry = _blob(rng, x_m, y_m, radius, 9 + index % 9)
        if index == 3:  # one with a hole
            shape = shape.difference(shapely.Point(x_m, y_m).buffer(radius / 4))
        if index == 4:  # one in two parts
            shape = shape.difference(shapely.box(x_m - 4, y_m - 500, x_m + 4, y_m + 500))
        plot_id = f"AF-{index + 1:02d}"
        west, south, _, _ = shape.bounds
        plots.append(
            Plot(
                plot_id,
                f"Plot {index + 1}" if index % 3 else f"Old pasture {index + 1}",
                _to_degrees(shape),
                entrance=_degrees(west, south + 5) if index % 2 == 0 else None,
                access="gate on the east track" if index % 4 == 0 else "",
                notes="stony corner" if index % 5 == 0 else "",
                area_se_m2=60.0 if index == 5 else None,
            )
        )
        croppings.append(
            Cropping(
                plot_id, SEASON, crops[index % 5], "rye", Quantity(2, "ton/acre") if index % 5 == 4 else None
            )
        )
        areas[plot_id] = _area(plot_id, shape, keepouts_m, 60.0 if index == 5 else None)
        if index != 6:  # one plot was never sampled
            tests.append(_test(plot_id, index))
    keepouts = tuple(
        KeepOut(key, name, kind, _to_degrees(shape), setback, text)
        for key, name, kind, shape, setback, text in keepouts_m
    )
    info = PropertyInfo(
        "Alder Fork Preserve",
        SEASON,
        about="Invented property for tests.",
        units=units,
        settings=Settings(
            lime_region="Area 1",
            spreading_cost_per_ha=Decimal("12.50"),
            spreaders=(
                Spreader("ATV spreader", 45.359237, 136.077711, 6.096, 2.2352, 0.7),
                Spreader("co-op truck"),
            ),
        ),
    )
    products, offers = _products()
    calibration = Calibration(
        "CAL-1",
        "ATV spreader",
        UREA,
        "gate 4",
        "R. Steward",
        dt.date(2026, 4, 20),
        6.096,
        2.2352,
        0.5,
        46.0,
        108.7,
    )
    return (
        PropertyRecord(
            info,
            tuple(plots),
            tuple(croppings),
            keepouts,
            tuple(tests),
            (),
            products,
            offers,
            (),
            (),
            (calibration,),
        ),
        areas,
    )


def _area(
    plot_id: str,
    shape_m: shapely.Geometry,
    keepouts: list[tuple[str, str, str, shapely.Geometry, float | None, str]],
    se_m2: float | None,
) -> PlotArea:
    spread = shape_m
    lost, missing = [], []
    for key, _, _, other, setback, _ in keepouts:
        if setback is None and shape_m.distance(other) < 60:
            missing.append(key)
        ring = other.buffer(setback or 0.0)
        cut = spread.intersection(ring).area
        if cut > 0.5:
            lost.append((key, cut))
            spread = spread.difference(ring)
    area = abs(_GEOD.geometry_area_perimeter(_to_degrees(shape_m))[0])
    spread_area = abs(_GEOD.geometry_area_perimeter(_to_degrees(spread))[0])
    steps = [Step("area inside the boundary on the WGS84 ellipsoid", area / ACRE_M2, "acre", BOUNDARY)]
    steps += [
        Step(f"taken off for {key} and its setback", cut / ACRE_M2, "acre", BOUNDARY) for key, cut in lost
    ]
    steps.append(Step("area to spread on", spread_area / ACRE_M2, "acre", ARITHMETIC))
    return PlotArea(
        plot_id,
        area,
        spread_area,
        shape_m.length,
        _to_degrees(spread),
        parts=shapely.get_num_geometries(shape_m),
        holes=sum(len(p.interiors) for p in shapely.get_parts(shape_m)),
        area_se_m2=se_m2,
        keepouts=tuple(lost),
        missing_setbacks=tuple(missing),
        steps=tuple(steps),
    )


def _test(plot_id: str, index: int) -> SoilTest:
    return SoilTest(
        f"T-{plot_id}",
        plot_id,
        dt.date(2021 if index == 8 else 2025, 9, 14),
        "Invented Soil Lab",
        0.0,
        0.1524,
        ph=5.4 if index % 5 == 0 else 6.3,
        buffer_ph=6.4,
        buffer_method="Sikora",
        organic_matter_pct=3.1,
        readings={
            "P": Reading(8.0 + index % 4, "ppm", "Bray P1", "P"),
            "K": Reading(110.0, "ppm", "ammonium acetate", "K"),
        },
    )


# ---------------------------------------------------------------------------------------------
# Needs


def _need(area: PlotArea, nutrient: Nutrient, lb_acre: float, reading: str) -> Need:
    rate = lb_acre * LB_ACRE_KG_HA
    acres = area.spread_area_m2 / ACRE_M2
    return Need(
        area.plot_id,
        nutrient,
        NeedState.NEEDED,
        f"{lb_acre:g} lb {nutrient}/acre by the table",
        gross_kg_ha=rate + (20 * LB_ACRE_KG_HA if nutrient is Nutrient.N else 0),
        rate_kg_ha=rate,
        mass_kg=rate * area.spread_area_m2 / 10_000,
        credits=(Credit("legume before", 20 * LB_ACRE_KG_HA, _BULLETIN),) if nutrient is Nutrient.N else (),
        steps=(
            Step(reading, "low", "", LAB),
            Step("rate in the table row", lb_acre, f"lb {nutrient}/acre", _BULLETIN),
            Step("area to spread on", acres, "acre", BOUNDARY),
            Step("rate times area", lb_acre * acres, f"lb {nutrient}", ARITHMETIC),
        ),
    )


def _needs(index: int, area: PlotArea) -> PlotNeeds:
    p_need = _need(area, Nutrient.P2O5, P_LB_ACRE, f"Bray P1 {8 + index % 4} ppm")
    if index % 4 == 3:
        p_need = Need(
            area.plot_id,
            Nutrient.P2O5,
            NeedState.NONE,
            "none by the table: class very high",
            0.0,
            0.0,
            0.0,
            steps=(
                Step("Bray P1 45 ppm", "very high", "", LAB),
                Step("table row", 0.0, "lb P2O5/acre", _BULLETIN),
            ),
        )
    if index % 7 == 6:
        p_need = Need(area.plot_id, Nutrient.P2O5, NeedState.UNKNOWN, "unknown: this plot has no soil test")
    lime = LimeNeed(
        area.plot_id, NeedState.NONE, "none: pH 6.3 is at or over the target 6.0", None, 0.0, 0.0, 6.0
    )
    if index % 5 == 0:
        acres = area.spread_area_m2 / ACRE_M2
        rate = LIME_ENP_LB_ACRE * LB_ACRE_KG_HA
        lime = LimeNeed(
            area.plot_id,
            NeedState.NEEDED,
            "pH 5.4 is under the target 6.0",
            LimeBasis.ENP,
            rate,
            rate * area.spread_area_m2 / 10_000,
            6.0,
            0.1524,
            None,
            (
                Step("pH 5.4, buffer 6.4 (Sikora)", "needs lime", "", LAB),
                Step("rate in the table row", LIME_ENP_LB_ACRE, "lb ENP/acre", _LIME_TABLE),
                Step("rate times area", LIME_ENP_LB_ACRE * acres, "lb ENP", ARITHMETIC),
            ),
        )
    return PlotNeeds(
        area.plot_id,
        (
            _need(area, Nutrient.N, N_LB_ACRE, "grass over 60 percent of the stand"),
            p_need,
            _need(area, Nutrient.K2O, K_LB_ACRE, "K 110 ppm, ammonium acetate"),
        ),
        lime,
    )


# ---------------------------------------------------------------------------------------------
# Plan, progress, rounds


def _products() -> tuple[tuple[Product, ...], tuple[Offer, ...]]:
    products = (
        Product(
            UREA, Form.DRY, {Nutrient.N: 46.0}, equipment=("ATV spreader",), nitrogen_forms_pct={"urea": 46.0}
        ),
        Product(TRIPLE, Form.DRY, {Nutrient.P2O5: 46.0}, equipment=("ATV spreader",)),
        Product(POTASH, Form.DRY, {Nutrient.K2O: 60.0}, equipment=("ATV spreader",)),
        Product(
            LIME,
            Form.LIME,
            lime=LimeLabel(cce_pct=92.0, enp_lb_per_ton=ENP_LB_PER_TON),
            equipment=("co-op truck",),
        ),
    )
    on = dt.date(2026, 3, 2)
    offers = (
        Offer("O-1", UREA, "50 lb bag", BAG_KG, Decimal("21.00"), seller="Birch Lane Supply", priced_on=on),
        Offer(
            "O-2",
            TRIPLE,
            "50 lb bag",
            BAG_KG,
            Decimal("27.50"),
            seller="Birch Lane Supply",
            priced_on=on,
            in_stock=2,
        ),
        Offer("O-3", POTASH, "50 lb bag", BAG_KG, Decimal("19.00"), seller="Mill Road Co-op", priced_on=on),
        Offer(
            "O-4",
            LIME,
            "1 ton bulk",
            TON_KG,
            Decimal("38.00"),
            divisible=True,
            seller="Mill Road Co-op",
            priced_on=on,
        ),
    )
    return products, offers


_MADE_FROM = (
    # supply, product, lb of the nutrient per acre, fraction of the product, timing
    (Supply.N, UREA, N_LB_ACRE, 0.46, Timing.TOPDRESS),
    (Supply.P2O5, TRIPLE, P_LB_ACRE, 0.46, Timing.AT_PLANTING),
    (Supply.K2O, POTASH, K_LB_ACRE, 0.60, Timing.AT_PLANTING),
    (Supply.LIME_ENP, LIME, LIME_ENP_LB_ACRE, ENP_LB_PER_TON / 2000, Timing.BEFORE_PLANTING),
)


def _plan(record: PropertyRecord, areas: dict[str, PlotArea], needs: dict[str, PlotNeeds]) -> Plan:
    lines, coverage = [], []
    used = dict.fromkeys((UREA, TRIPLE, POTASH, LIME), 0.0)
    for plot in record.plots:
        for supply, product, lb_acre, fraction, timing in _MADE_FROM:
            need = needs[plot.plot_id].lime if supply.is_lime else needs[plot.plot_id].of(Nutrient(supply))
            assert need is not None
            needed = need.state is NeedState.NEEDED
            supplied = (need.mass_kg or 0.0) if needed else 0.0
            if not supply.is_lime or needed:
                coverage.append(Coverage(plot.plot_id, supply, need.mass_kg, supplied))
            if not needed:
                continue
            area = areas[plot.plot_id].spread_area_m2
            rate = lb_acre / fraction * LB_ACRE_KG_HA
            mass = rate * area / 10_000
            used[product] += mass
            lines.append(
                PlanLine(
                    f"L-{plot.plot_id}-{supply.replace(' ', '')}",
                    plot.plot_id,
                    product,
                    timing,
                    rate,
                    mass,
                    None if product == LIME else mass / BAG_KG,
                    "1 ton bulk" if product == LIME else "50 lb bag",
                    (
                        Step(f"need of {supply}", lb_acre, f"lb {supply}/acre", ARITHMETIC),
                        Step(f"{product} holds", fraction * 100, f"% {supply}", LABEL),
                        Step("need over content", lb_acre / fraction, "lb product/acre", ARITHMETIC),
                        Step("rate times area to spread on", mass / LB_KG, "lb product", ARITHMETIC),
                    ),
                )
            )
    buy = []
    for offer in record.offers:
        mass = used[offer.product]
        assert offer.package_kg is not None
        assert offer.price is not None
        if not mass:
            continue
        count = mass / TON_KG if offer.divisible else float(math.ceil(mass / BAG_KG))
        bought = max(0.0, count - offer.in_stock)
        cost = (offer.price * Decimal(repr(round(bought, 4)))).quantize(Decimal("0.01"))
        left = count * offer.package_kg - mass
        buy.append(
            Purchase(
                offer.offer_id,
                offer.product,
                offer.package,
                offer.seller,
                bought,
                min(count, offer.in_stock),
                offer.price,
                cost,
                left,
            )
        )
    purchase = sum((b.cost for b in buy), Decimal(0))
    spreading = Decimal("12.50") * len(lines)
    share = (purchase + spreading) / len(record.plots)
    costs = {plot.plot_id: share.quantize(Decimal("0.01")) for plot in record.plots}
    return Plan(
        "PLAN-2026-1",
        Outcome.PROVED,
        0.0,
        purchase,
        spreading,
        Decimal("0.00"),
        tuple(lines),
        tuple(buy),
        tuple(coverage),
        costs,
        SEASON,
        "2026-05-03T19:30:00",
        explanation=("Nitrogen on the hay drives the cost.",),
    )


def _progress(plan: Plan) -> tuple[tuple[LineStatus, ...], tuple[Application, ...]]:
    """Every 6th line done, every 9th part, one over, the rest open."""
    statuses, applications = [], []
    for index, line in enumerate(plan.lines):
        state, applied, reason = WorkState.NOTHING, 0.0, ""
        if index % 6 == 1:
            state, applied = WorkState.DONE, line.mass_kg
        elif index % 9 == 4:
            state, applied, reason = WorkState.PART, line.mass_kg * 0.5, "rain came"
        elif index == 12:
            state, applied, reason = WorkState.OVER, line.mass_kg * 1.3, "gate stuck open"
        statuses.append(
            LineStatus(
                line.plot_id,
                line.product,
                line.timing,
                line.line_id,
                line.mass_kg,
                applied,
                state,
                (reason,) if reason else (),
            )
        )
        if applied:
            applications.append(
                Application(
                    f"E-{line.line_id}",
                    line.plot_id,
                    line.product,
                    Done.PART if state is WorkState.PART else Done.DONE,
                    dt.date(2026, 5, 2),
                    applied,
                    line.timing,
                    line.line_id,
                    "09:30",
                    operator="R. Steward",
                    equipment="ATV spreader",
                    method="surface",
                    ground="dry",
                    weather="55 F, light wind",
                    forecast="dry",
                    note="",
                    reason=reason,
                    recorded_at="2026-05-02T12:00:00",
                )
            )
    return tuple(statuses), tuple(applications)


def _balances(needs: dict[str, PlotNeeds], applications: tuple[Application, ...]) -> tuple[Balance, ...]:
    content = {(product): (supply, fraction) for supply, product, _, fraction, _ in _MADE_FROM}
    given: dict[tuple[str, str], float] = {}
    for entry in applications:
        supply, fraction = content[entry.product]
        given[entry.plot_id, supply] = given.get((entry.plot_id, supply), 0.0) + entry.mass_kg * fraction
    out = []
    for plot_id, plot_needs in needs.items():
        out += [
            Balance(plot_id, n.nutrient.supply, n.mass_kg, given.get((plot_id, n.nutrient), 0.0))
            for n in plot_needs.needs
        ]
        if plot_needs.lime.state is NeedState.NEEDED:
            key = Supply.LIME_ENP
            out.append(Balance(plot_id, key, plot_needs.lime.mass_kg, given.get((plot_id, key), 0.0)))
    return tuple(out)


def _rounds(plan: Plan) -> tuple[Round, ...]:
    """One round per product; the ATV spreader holds 100 lb (45.359237 kg), the truck's size is not stated."""
    rounds = []
    for number, (_, product, _, _, timing) in enumerate(_MADE_FROM, 1):
        lines = [line for line in plan.lines if line.product == product]
        if not lines:
            continue
        hopper = None if product == LIME else 45.359237
        stops, load, left = [], 1, hopper
        for line in lines:
            load_here = load
            if hopper is not None and left is not None:
                left -= line.mass_kg
                while left < 0:
                    left += hopper
                    load += 1
            stops.append(
                Stop(
                    line.plot_id,
                    line.line_id,
                    product,
                    line.mass_kg,
                    line.packages,
                    line.package,
                    line.rate_kg_ha,
                    load_here,
                    left,
                )
            )
        total = sum(line.mass_kg for line in lines)
        rounds.append(
            Round(
                f"R{number}",
                f"{product}, {timing}",
                product,
                timing,
                "co-op truck" if hopper is None else "ATV spreader",
                tuple(stops),
                loads=None if hopper is None else load,
                trips=None if hopper is None else math.ceil(load / 3),
                last_load_kg=None if hopper is None else total - (load - 1) * hopper,
                hours=None if hopper is None else 3.5,
                steps=(Step("product in this round", total / LB_KG, "lb", ARITHMETIC),),
            )
        )
    return tuple(rounds)


# ---------------------------------------------------------------------------------------------
# Sampling, cautions, problems


def _sampling(index: int, plot: Plot, area: PlotArea) -> SamplingPlan:
    shape = area.spread
    west, south, east, north = shape.bounds
    rng = random.Random(index)
    points: list[tuple[float, float]] = []
    while len(points) < 15:
        x, y = rng.uniform(west, east), rng.uniform(south, north)
        if shape.contains(shapely.Point(x, y)):
            points.append((x, y))
    due = index in (6, 8)
    return SamplingPlan(
        plot.plot_id,
        due,
        ("never sampled" if index == 6 else "the last sample is over 4 years old")
        if due
        else "sampled in 2025",
        15,
        15,
        20,
        tuple(sorted(points)) if due else (),
        f"{plot.plot_id} {SEASON}",
        "6-8 in",
        (Step("cores for a plot of this size", 15.0, "cores", _CORES),),
    )


def _cautions(record: PropertyRecord) -> tuple[Caution, ...]:
    ids = [plot.plot_id for plot in record.plots]
    source = Source("Invented Extension, Spreading Near Water", "2022", "", "setbacks")
    return (
        Caution(
            "X-01",
            "stop",
            "Hold the job on frozen, snow-covered or saturated ground.",
            (),
            "",
            source,
            "state and local rule",
        ),
        Caution(
            "X-02",
            "care",
            "Urea on the surface: spread just ahead of half an inch of rain.",
            tuple(ids[::2]),
            UREA,
            source,
            "state extension",
        ),
        Caution(
            "X-03",
            "note",
            "The setback of the pond is not stated. Ask before spreading near it.",
            tuple(ids[:1]),
            "",
            source,
            "state and local rule",
        ),
    )


def _problems(record: PropertyRecord) -> tuple[Problem, ...]:
    if len(record.plots) < 7:
        return ()
    return (
        Problem(
            "AF-07",
            "no soil test, so P2O5 is unknown and left out of the plan",
            "Sample this plot.",
            Level.WARNING,
        ),
        Problem(
            "AF-09, sampled_on", "the test of 2021-09-14 is over 4 years old", "Sample again.", Level.WARNING
        ),
    )


# ---------------------------------------------------------------------------------------------
# Hostile text


def _make_hostile(view: GivenSeason) -> GivenSeason:
    """Put one of `HOSTILE` into every field a user, lab or seller can write."""
    turn = iter(range(10**9))

    def nasty(text: str = "") -> str:
        return HOSTILE[next(turn) % len(HOSTILE)] + (f" {text}" if text else "")

    record = view.record
    ids = {plot.plot_id: f"{plot.plot_id} {HOSTILE[i % 5]}" for i, plot in enumerate(record.plots)}
    names = {p.product: f"{HOSTILE[i % 5]} {p.product}" for i, p in enumerate(record.products)}
    lines = {} if view.plan is None else {line.line_id: f"{line.line_id}<'\">" for line in view.plan.lines}
    new_record = replace(
        record,
        info=replace(
            record.info,
            name=nasty(),
            about=nasty(),
            settings=replace(
                record.info.settings,
                spreaders=tuple(replace(s, name=nasty(s.name)) for s in record.info.settings.spreaders),
            ),
        ),
        plots=tuple(
            replace(p, plot_id=ids[p.plot_id], name=HOSTILE[i % len(HOSTILE)], access=nasty(), notes=nasty())
            for i, p in enumerate(record.plots)
        ),
        croppings=tuple(
            replace(c, plot_id=ids[c.plot_id], crop=nasty(), previous_crop=nasty()) for c in record.croppings
        ),
        keepouts=tuple(
            replace(k, name=nasty(), kind=nasty(), setback_text=nasty(), notes=nasty())
            for k in record.keepouts
        ),
        soil_tests=tuple(replace(t, plot_id=ids[t.plot_id], lab=nasty()) for t in record.soil_tests),
        products=tuple(replace(p, product=names[p.product]) for p in record.products),
        offers=tuple(
            replace(o, product=names[o.product], package=nasty(), seller=nasty()) for o in record.offers
        ),
        applications=tuple(
            replace(
                a,
                plot_id=ids[a.plot_id],
                product=names[a.product],
                line_id=lines[a.line_id],
                operator=nasty(),
                ground=nasty(),
                weather=nasty(),
                note=nasty(),
                reason=nasty(),
            )
            for a in record.applications
        ),
    )
    plan = view.plan and replace(
        view.plan,
        lines=tuple(
            replace(
                n,
                line_id=lines[n.line_id],
                plot_id=ids[n.plot_id],
                product=names[n.product],
                package=nasty(),
                steps=tuple(replace(s, what=nasty(s.what)) for s in n.steps),
            )
            for n in view.plan.lines
        ),
        buy=tuple(
            replace(b, product=names[b.product], package=nasty(), seller=nasty()) for b in view.plan.buy
        ),
        coverage=tuple(replace(c, plot_id=ids[c.plot_id]) for c in view.plan.coverage),
        plot_costs={ids[k]: v for k, v in view.plan.plot_costs.items()},
        explanation=(nasty(),),
    )
    return replace(
        view,
        record=replace(new_record, plans=(plan,) if plan else ()),
        areas={ids[k]: replace(a, plot_id=ids[k]) for k, a in view.areas.items()},
        croppings={c.plot_id: c for c in new_record.croppings},
        needs={
            ids[k]: replace(
                n,
                plot_id=ids[k],
                needs=tuple(
                    replace(
                        m,
                        plot_id=ids[k],
                        reason=nasty(m.reason),
                        steps=tuple(replace(s, what=nasty(s.what), source=Source(nasty())) for s in m.steps),
                    )
                    for m in n.needs
                ),
                lime=replace(n.lime, plot_id=ids[k], reason=nasty(n.lime.reason)),
            )
            for k, n in view.needs.items()
        },
        plan=plan,
        statuses=tuple(
            replace(
                s,
                plot_id=ids[s.plot_id],
                product=names[s.product],
                line_id=lines[s.line_id],
                reasons=tuple(nasty(r) for r in s.reasons),
            )
            for s in view.statuses
        ),
        balances=tuple(replace(b, plot_id=ids[b.plot_id]) for b in view.balances),
        rounds=tuple(
            replace(
                r,
                title=nasty(r.title),
                product=names[r.product],
                spreader=nasty(r.spreader),
                stops=tuple(
                    replace(
                        s,
                        plot_id=ids[s.plot_id],
                        line_id=lines[s.line_id],
                        product=names[s.product],
                        package=nasty(),
                    )
                    for s in r.stops
                ),
            )
            for r in view.rounds
        ),
        sampling={
            ids[k]: replace(s, plot_id=ids[k], label=nasty(s.label), reason=nasty(s.reason))
            for k, s in view.sampling.items()
        },
        cautions=tuple(
            replace(
                c,
                text=nasty(c.text),
                where=tuple(ids[w] for w in c.where),
                product=names.get(c.product, c.product),
            )
            for c in view.cautions
        ),
        problems=tuple(
            replace(p, where=nasty(p.where), what=nasty(p.what), fix=nasty(p.fix)) for p in view.problems
        ),
    )
