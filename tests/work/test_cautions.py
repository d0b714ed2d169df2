"""Cautions: each rule fires where the published row says and stays quiet beside it.

The figures rules compare with are typed here from the publications, each with its source, and checked
against the data file; the amounts in the texts are worked out by hand in the comments. The property is
invented: one plot of two acres, 2 acres = 8093.7128448 m2.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pytest
import shapely

from loamwright.files.reference import load_caution_texts, load_mixing, load_sampling_guides
from loamwright.land.records import Cropping, KeepOut, Plot, PlotArea
from loamwright.needs.records import LimeNeed, Need, PlotNeeds
from loamwright.planning.records import Outcome, Plan, PlanLine, Purchase
from loamwright.soil.records import OrganicInput, Reading, SoilTest
from loamwright.supplies.records import Form, LimeLabel, Offer, Product
from loamwright.units import ACRE_M2, FT_M, LB_ACRE_KG_HA, LB_GAL_KG_M3, LB_KG
from loamwright.values import (
    LimeBasis,
    MixDecision,
    NeedState,
    Nutrient,
    PropertyInfo,
    Quantity,
    Settings,
    Spreader,
    Timing,
    WorkRules,
)
from loamwright.work import cautions, placed
from loamwright.work.cautions.before_job import before_a_job
from loamwright.work.records import Application, Calibration, Caution, Done, PropertyRecord

TODAY = dt.date(2026, 5, 20)
TEXTS = load_caution_texts()
WEST, SOUTH, EAST, NORTH = -93.051, 46.050, -93.049, 46.051
BOUNDARY = shapely.box(WEST, SOUTH, EAST, NORTH)
METRE = 1 / 111_170  # a metre north in degrees of latitude near 46 N (WGS84 meridian arc, 111.17 km/degree)

# ---------------------------------------------------------------------------------------------
# The invented property


def product(name: str, form: Form = Form.DRY, **label: Any) -> Product:
    """A product whose guarantee is written as n=46, p2o5=…"""
    keys = {"n": Nutrient.N, "p2o5": Nutrient.P2O5, "k2o": Nutrient.K2O, "s": Nutrient.S, "b": Nutrient.B}
    analysis = {keys[key]: float(label.pop(key)) for key in list(label) if key in keys}
    return Product(name, form, analysis_pct=analysis, **label)


PRODUCTS = (
    product("Urea 46-0-0", n=46, ingredient="urea"),
    product("Blue bag 21-0-0", n=21, s=24, nitrogen_forms_pct={"ammoniacal": 21}),
    product("Ammonium nitrate 34-0-0", n=34),
    product("Triple super 0-46-0", p2o5=46),
    product("Potash 0-0-60", k2o=60),
    product("Borate 15 B", b=15),
    product("UAN 28-0-0", Form.LIQUID, n=28, density_kg_m3=10.67 * LB_GAL_KG_M3),
    product("Thin solution", Form.LIQUID, n=5, density_kg_m3=9.0 * LB_GAL_KG_M3),
    product("ATS solution", Form.LIQUID, n=12, s=26, contains=("ammonium thiosulfate",)),
    product("Ag lime", Form.LIME, lime=LimeLabel(enp_lb_per_ton=1000)),
    product("Pelletized lime", Form.LIME, lime=LimeLabel(enp_lb_per_ton=1800)),
    product("Builder's bag", Form.LIME, contains=("hydrated lime",)),
)


def line(name: str, lb_acre: float, timing: Timing | None = None, plot_id: str = "A1") -> PlanLine:
    """A plan line on two acres."""
    rate = lb_acre * LB_ACRE_KG_HA
    key = f"{plot_id}-{name}-{timing}"
    return PlanLine(key, plot_id, name, timing, rate, lb_acre * 2 * LB_KG, None, "")


def one_load(*names: str) -> list[PlanLine]:
    """100 lb an acre of each in one hopper."""
    return [replace(line(name, 100), job_id="+".join(names)) for name in names]


def entry(name: str, lb: float, on: dt.date = TODAY, **said: Any) -> Application:
    """A record entry of so many pounds on plot A1."""
    said.setdefault("plot_id", "A1")
    said.setdefault("done", Done.DONE)
    return Application(f"E-{name}-{lb}-{on}", product=name, applied_on=on, mass_kg=lb * LB_KG, **said)


def north_of_plot(kind: str, metres: float, setback_m: float | None = None, **said: Any) -> KeepOut:
    """A keep-out so many metres north of the plot's edge."""
    spot = shapely.Point((WEST + EAST) / 2, NORTH + metres * METRE)
    return KeepOut(f"K-{kind}", said.pop("name", ""), kind, spot, setback_m, **said)


def soil_test(**figures: Any) -> SoilTest:
    figures.setdefault("sampled_on", dt.date(2025, 9, 14))
    figures.setdefault("plot_id", "A1")
    figures.setdefault("depth_bottom_m", 0.1524)
    return SoilTest(figures.pop("test_id", "T1"), **figures)


def phosphorus(
    value: float, extractant: str | None = "Bray P1", unit: str = "ppm", basis: str = "P"
) -> dict[str, Reading]:
    return {"P": Reading(value, unit, extractant, basis)}


def lime_need(**answer: Any) -> PlotNeeds:
    answer.setdefault("basis", LimeBasis.ENP)
    rate = 3000 * LB_ACRE_KG_HA
    return PlotNeeds("A1", (), LimeNeed("A1", NeedState.NEEDED, "pH 5.4", rate_kg_ha=rate, **answer))


def nitrogen_need(*timings: tuple[Timing, float]) -> PlotNeeds:
    need = Need("A1", Nutrient.N, NeedState.NEEDED, "by yield", 168, 168, 136, timings=timings)
    return PlotNeeds("A1", (need,), LimeNeed("A1", NeedState.NONE, "pH is high enough"))


def plan(lines: Sequence[PlanLine] = (), buy: Sequence[Purchase] = ()) -> Plan:
    zero = Offer("O", "x", "bag", 1.0, None).delivery_fee
    return Plan("P1", Outcome.PROVED, 0.0, zero, zero, zero, tuple(lines), tuple(buy), season=2026)


def left_over(name: str, lb: float) -> Purchase:
    zero = Offer("O", "x", "bag", 1.0, None).delivery_fee
    return Purchase(f"O-{name}", name, "50 lb bag", "", 1, 0, zero, zero, lb * LB_KG)


def in_stock(name: str, bags: float) -> Offer:
    return Offer(f"S-{name}", name, "50 lb bag", 50 * LB_KG, None, in_stock=bags)


def calibration(name: str = "Urea 46-0-0", on: dt.date = dt.date(2026, 4, 1), **said: Any) -> Calibration:
    said.setdefault("operator", "R. Steward")
    speed = said.pop("speed_m_s", 2.0)
    return Calibration(
        "C1", "ATV spreader", name, "gate 4", said.pop("operator"), on, 6.0, speed, 1, 40, 250, **said
    )


def fire(
    lines: Sequence[PlanLine] = (),
    buy: Sequence[Purchase] = (),
    *,
    entries: Sequence[Application] = (),
    tests: Sequence[SoilTest] = (),
    keepouts: Sequence[KeepOut] = (),
    offers: Sequence[Offer] = (),
    organic: Sequence[OrganicInput] = (),
    calibrations: Sequence[Calibration] = (),
    products: Sequence[Product] = PRODUCTS,
    cropping: Cropping | None = None,
    needs: PlotNeeds | None = None,
    settings: Settings | None = None,
    area: dict[str, Any] | None = None,
    notes: str = "",
    on_date: dt.date = TODAY,
    units: str = "us",
) -> tuple[Caution, ...]:
    """Fire every rule on the invented property."""
    record = PropertyRecord(
        PropertyInfo("Invented", 2026, units=units, settings=settings or Settings()),
        plots=(Plot("A1", "North Field", BOUNDARY, notes=notes),),
        keepouts=tuple(keepouts),
        soil_tests=tuple(tests),
        organic_inputs=tuple(organic),
        products=tuple(products),
        offers=tuple(offers),
        applications=tuple(entries),
        calibrations=tuple(calibrations),
    )
    measured = PlotArea("A1", 2 * ACRE_M2, 2 * ACRE_M2, 400.0, BOUNDARY)
    return cautions.fire(
        TEXTS,
        record,
        {"A1": replace(measured, **(area or {}))},
        {"A1": cropping} if cropping else {},
        {"A1": needs} if needs else {},
        plan(lines, buy) if lines or buy else None,
        on_date,
        load_mixing(),
    )


# ---------------------------------------------------------------------------------------------
# The cases


@dataclass(frozen=True)
class Case:
    """One situation: what fires, what it has to say, and the nearest situation that must stay quiet."""

    rule: str
    fires: dict[str, Any]
    quiet: dict[str, Any]
    says: tuple[str, ...] = ()
    where: tuple[str, ...] = ("A1",)
    about: str = ""


CLOVER = Cropping("A1", 2026, crop="grass-clover", legume_pct=40, seeding=False)
GRASS = Cropping("A1", 2026, crop="orchardgrass", legume_pct=10, seeding=False)
ALFALFA = Cropping("A1", 2026, crop="alfalfa", seeding=False)
FALL = Timing.AFTER_HARVEST
TOP = Timing.TOPDRESS
SEED = Timing.AT_PLANTING
KEPT_TOGETHER = Settings(
    work=WorkRules(mixing=(MixDecision("Blue bag 21-0-0", "Triple super 0-46-0", True, "as ever"),))
)
ATV = Settings(spreaders=(Spreader("ATV spreader", 100 * LB_KG, None, 6.0, 2.0, 0.7),))


def manure(method: str) -> OrganicInput:
    return OrganicInput("M1", "A1", dt.date(2026, 4, 10), "beef", method, Quantity(10, "ton/acre"))


CASES = (
    Case(
        "C-01",
        {"lines": [line("Urea 46-0-0", 87, TOP)]},
        {"lines": [line("Potash 0-0-60", 87, TOP)]},
        ("87 lb/acre", "North Field", "0.5 inch of rain in one event", "2-3 days"),
        about="Urea 46-0-0",
    ),
    Case(  # put on the day before yesterday, not worked in; the day limit is 3
        "C-01",
        {"entries": [entry("Urea 46-0-0", 100, TODAY - dt.timedelta(2), method="broadcast")]},
        {"entries": [entry("Urea 46-0-0", 100, TODAY - dt.timedelta(2), method="disked in")]},
        ("2026-05-18", "neither working in nor rain"),
        about="Urea 46-0-0",
    ),
    Case(  # four days ago is past the three warm days
        "C-01",
        {"entries": [entry("Urea 46-0-0", 100, TODAY - dt.timedelta(3))]},
        {"entries": [entry("Urea 46-0-0", 100, TODAY - dt.timedelta(4))]},
        about="Urea 46-0-0",
    ),
    Case(  # UAN is known to carry urea by its name only, and the text says so
        "C-01",
        {"lines": [line("UAN 28-0-0", 100, TOP)]},
        {"lines": [line("Blue bag 21-0-0", 100, TOP)]},
        ("UAN 28-0-0 (going by its name)",),
        about="UAN 28-0-0",
    ),
    Case(
        "C-02",
        {"entries": [entry("Urea 46-0-0", 100, ground="dewy grass")]},
        {"entries": [entry("Urea 46-0-0", 100, ground="dry")]},
        ("dewy grass", "22 %"),
        about="Urea 46-0-0",
    ),
    Case(  # half an inch in one event washes it in: 0.5 in is enough, 0.3 in or an uncertain 0.5 is not
        "C-02",
        {"entries": [entry("Urea 46-0-0", 100, ground="moist", forecast="0.3 in of rain tonight")]},
        {"entries": [entry("Urea 46-0-0", 100, ground="moist", forecast="0.5 in of rain tonight")]},
        ("0.5 inch of rain in one event",),
        about="Urea 46-0-0",
    ),
    Case(
        "C-02",
        {"entries": [entry("Urea 46-0-0", 100, ground="moist", forecast="30 % chance of 0.6 in")]},
        {"entries": [entry("Urea 46-0-0", 100, ground="moist", forecast="80 % chance of 0.6 in")]},
        about="Urea 46-0-0",
    ),
    Case(
        "C-03",
        {"entries": [entry("Urea 46-0-0", 100, ground="2 in of snow")]},
        {"entries": [entry("Urea 46-0-0", 100, ground="frost gone, no snow")]},
        ("2 in of snow", "20-25 %"),
        about="Urea 46-0-0",
    ),
    Case(  # 100 lb/acre x 46 % = 46 lb N/acre
        "C-04",
        {"lines": [line("Urea 46-0-0", 100, FALL)]},
        {"lines": [line("Potash 0-0-60", 100, FALL)]},
        ("46 lb/acre of N", "50 F"),
        about="Urea 46-0-0",
    ),
    Case(  # Minnesota's split of grass above 4 ton/acre: a quarter in late August is asked for
        "C-04",
        {"lines": [line("Urea 46-0-0", 100, FALL)], "needs": nitrogen_need()},
        {"lines": [line("Urea 46-0-0", 100, FALL)], "needs": nitrogen_need((TOP, 0.75), (FALL, 0.25))},
        about="Urea 46-0-0",
    ),
    Case(  # 184 lb of urea on 2 acres is 92 lb/acre, 42.32 lb N/acre
        "C-04",
        {"entries": [entry("Urea 46-0-0", 184, timing=FALL)]},
        {"entries": [entry("Urea 46-0-0", 184, timing=TOP)]},
        ("42.3 lb/acre of N",),
        about="Urea 46-0-0",
    ),
    Case(
        "C-05",
        {"lines": [line("Urea 46-0-0", 100, FALL)], "tests": [soil_test(texture="Loamy sand")]},
        {"lines": [line("Urea 46-0-0", 100, FALL)], "tests": [soil_test(texture="sandy loam")]},
        ("Loamy sand", "40 inches"),
        about="Urea 46-0-0",
    ),
    Case(
        "C-05",
        {
            "lines": [line("Urea 46-0-0", 100, FALL)],
            "keepouts": [north_of_plot("sinkhole", 20)],
            "area": {"missing_setbacks": ("K-sinkhole",)},
        },
        {
            "lines": [line("Urea 46-0-0", 100, FALL)],
            "keepouts": [north_of_plot("well", 20)],
            "area": {"missing_setbacks": ("K-well",)},
        },
        ("sinkhole",),
        about="Urea 46-0-0",
    ),
    Case(
        "C-06",
        {"entries": [entry("Potash 0-0-60", 100, ground="top inch saturated")]},
        {"entries": [entry("Ag lime", 4000, ground="frozen")]},
        ("top inch saturated", "western Lake Erie basin only"),
        about="Potash 0-0-60",
    ),
    Case(
        "C-07",
        {"entries": [entry("Potash 0-0-60", 100, forecast="60 % chance of 1.2 in tonight")]},
        {"entries": [entry("Potash 0-0-60", 100, forecast="60 % chance of 0.5 in tonight")]},
        ("60 % chance of 1.2 in tonight", "over 50 %"),
        about="Potash 0-0-60",
    ),
    Case(  # 30 mm is 1.18 inches; the published chance is over 50 %, so 50 % itself is not
        "C-07",
        {"entries": [entry("Potash 0-0-60", 100, forecast="rain 51 %, 30 mm")]},
        {"entries": [entry("Potash 0-0-60", 100, forecast="rain 50 %, 30 mm")]},
        about="Potash 0-0-60",
    ),
    Case(  # 0.25 acre taken off
        "C-09",
        {
            "keepouts": [replace(north_of_plot("creek", 0, 50 * FT_M), setback_text="50 ft")],
            "area": {"keepouts": (("K-creek", 0.25 * ACRE_M2),)},
        },
        {
            "keepouts": [north_of_plot("rock", 0, 3.0)],
            "area": {"keepouts": (("K-rock", 0.25 * ACRE_M2),)},
        },
        ("0.25 acres of North Field", "creek 50 ft", "100 ft"),
    ),
    Case(  # a pond 80 m off: inside 300 ft = 91.44 m, outside 25 ft = 7.62 m
        "C-10",
        {"organic": [manure("broadcast, no incorporation")], "keepouts": [north_of_plot("pond", 80, 15.24)]},
        {"organic": [manure("injected, sweep")], "keepouts": [north_of_plot("pond", 80, 15.24)]},
        ("pond", "300 ft"),
    ),
    Case(  # a well 10 m off is inside 50 ft = 15.24 m; a stated setback of 50 ft answers it
        "C-10",
        {"organic": [manure("injected")], "keepouts": [north_of_plot("well", 10)]},
        {"organic": [manure("injected")], "keepouts": [north_of_plot("well", 10, 50 * FT_M)]},
        ("well",),
    ),
    Case(  # 15 ft = 4.57 m
        "C-11",
        {
            "lines": [line("Urea 46-0-0", 40)],
            "cropping": Cropping("A1", 2026, crop="lawn turf"),
            "keepouts": [north_of_plot("lake", 4)],
        },
        {
            "lines": [line("Urea 46-0-0", 40)],
            "cropping": Cropping("A1", 2026, crop="lawn turf"),
            "keepouts": [north_of_plot("lake", 5)],
        },
        ("15 ft", "1 March"),
    ),
    Case(  # swath 6 m: a road 5 m off is reached, 7 m off is not
        "C-12",
        {
            "lines": [line("Potash 0-0-60", 50)],
            "keepouts": [north_of_plot("road", 5, 0.0, name="County road")],
            "settings": ATV,
        },
        {
            "lines": [line("Potash 0-0-60", 50)],
            "keepouts": [north_of_plot("road", 7, 0.0, name="County road")],
            "settings": ATV,
        },
        ("County road", "the swath is 20 ft"),
    ),
    Case(  # 300 ft = 91.44 m from a stream
        "C-13",
        {"lines": [line("Urea 46-0-0", 40)], "keepouts": [north_of_plot("creek", 90)]},
        {"lines": [line("Urea 46-0-0", 40)], "keepouts": [north_of_plot("creek", 93)]},
        ("North Field", "creek", "300 ft"),
    ),
    Case(  # 1000 ft = 304.8 m from a pond; potash alone asks nothing
        "C-13",
        {"lines": [line("Triple super 0-46-0", 40)], "keepouts": [north_of_plot("pond", 300)]},
        {"lines": [line("Potash 0-0-60", 40)], "keepouts": [north_of_plot("pond", 300)]},
        ("1000 ft",),
    ),
    Case(
        "C-14",
        {
            "keepouts": [north_of_plot("pond", 20, name="Heron pond")],
            "area": {"missing_setbacks": ("K-pond",)},
        },
        {"keepouts": [north_of_plot("pond", 20, 0.0, name="Heron pond")], "area": {"missing_setbacks": ()}},
        ("Heron pond", "no setback is entered", "missing is not zero"),
    ),
    Case(  # 100 lb/acre x 46 % = 46 lb P2O5/acre; "none above 50 ppm": 50 itself is not above
        "C-15",
        {
            "lines": [line("Triple super 0-46-0", 100)],
            "tests": [soil_test(readings=phosphorus(51, "Mehlich-3"))],
        },
        {
            "lines": [line("Triple super 0-46-0", 100)],
            "tests": [soil_test(readings=phosphorus(50, "Mehlich-3"))],
        },
        ("46 lb/acre of P2O5", "51 ppm Mehlich-3", "none above 50 ppm"),
        about="Triple super 0-46-0",
    ),
    Case(  # the stop level is not printed for Olsen
        "C-15",
        {
            "lines": [line("Triple super 0-46-0", 100)],
            "tests": [soil_test(readings=phosphorus(80, "Bray P1"))],
        },
        {"lines": [line("Triple super 0-46-0", 100)], "tests": [soil_test(readings=phosphorus(80, "Olsen"))]},
        ("80 ppm Bray P1",),
        about="Triple super 0-46-0",
    ),
    Case(  # high P but no P2O5 in the product
        "C-15",
        {"lines": [line("Triple super 0-46-0", 100)], "tests": [soil_test(readings=phosphorus(80))]},
        {"lines": [line("Urea 46-0-0", 100)], "tests": [soil_test(readings=phosphorus(80))]},
        about="Triple super 0-46-0",
    ),
    Case(
        "C-16",
        {"tests": [soil_test(readings=phosphorus(201))]},
        {"tests": [soil_test(readings=phosphorus(199))]},
        ("201 ppm", "200 ppm"),
    ),
    Case(
        "C-17",
        {"tests": [soil_test(readings=phosphorus(12, None))]},
        {"tests": [soil_test(readings=phosphorus(12))]},
        ("names no test", "lb/acre = 2 x ppm", "22 gives 10"),
    ),
    Case(
        "C-17",
        {"tests": [soil_test(readings=phosphorus(60, unit="lb/acre"))]},
        {"tests": [soil_test(readings=phosphorus(30, unit="mg/kg"))]},
        ("is not in ppm",),
    ),
    Case(
        "C-17",
        {"tests": [soil_test(readings=phosphorus(60, basis="P2O5"))]},
        {"tests": [soil_test(readings={"K": Reading(60, "lb/acre", None, "K")})]},
        ("is given as P2O5",),
    ),
    Case(  # 10 lb of potash on 2 acres: 5 x 60 % = 3 lb K2O/acre, under 5; 20 lb: 6 lb/acre, over
        "C-18",
        {"entries": [entry("Potash 0-0-60", 20, method="with the seed")]},
        {"entries": [entry("Potash 0-0-60", 10, method="with the seed")]},
        ("6 lb/acre of N + K2O + S",),
        about="Potash 0-0-60",
    ),
    Case(  # CEC over 12 allows 8 lb/acre: 6 passes, 9 (30 lb on 2 acres x 60 %) does not
        "C-18",
        {
            "entries": [entry("Potash 0-0-60", 30, method="in-furrow")],
            "tests": [soil_test(cec_meq_100g=20)],
        },
        {
            "entries": [entry("Potash 0-0-60", 20, method="in-furrow")],
            "tests": [soil_test(cec_meq_100g=20)],
        },
        ("9 lb/acre",),
        about="Potash 0-0-60",
    ),
    Case(  # any thiosulfate with the seed; the same solution beside it is not the rule's business
        "C-18",
        {"entries": [entry("ATS solution", 2, method="in-furrow")]},
        {"entries": [entry("ATS solution", 2, method="2 in beside the row")]},
        about="ATS solution",
    ),
    Case(
        "C-19",
        {"lines": [line("Potash 0-0-60", 30, SEED)]},
        {"lines": [line("Triple super 0-46-0", 30, SEED)]},
        ("Potash 0-0-60 planned at planting",),
    ),
    Case(  # alfalfa: 14 lb/acre x 15 % = 2.1 lb B/acre, over 2; 13 lb gives 1.95
        "C-20",
        {"lines": [line("Borate 15 B", 14)], "cropping": ALFALFA},
        {"lines": [line("Borate 15 B", 13)], "cropping": ALFALFA},
        ("2.1 lb/acre of boron", "4 lb at most"),
        about="Borate 15 B",
    ),
    Case(  # other crops: 17 x 15 % = 2.55 over 2.5; 16 x 15 % = 2.4
        "C-20",
        {"lines": [line("Borate 15 B", 17)], "cropping": GRASS},
        {"lines": [line("Borate 15 B", 16)], "cropping": GRASS},
        about="Borate 15 B",
    ),
    Case(  # any on corn
        "C-20",
        {"lines": [line("Borate 15 B", 1)], "cropping": Cropping("A1", 2026, crop="corn")},
        {"lines": [line("Borate 15 B", 1)], "cropping": Cropping("A1", 2026, crop="oats-peas")},
        ("0.1 lb/acre",),
        about="Borate 15 B",
    ),
    Case(
        "C-21",
        {"lines": [line("UAN 28-0-0", 100, TOP)]},
        {"lines": [line("UAN 28-0-0", 100, Timing.BEFORE_PLANTING)]},
        ("100 lb/acre", "20-30 mph"),
        about="UAN 28-0-0",
    ),
    Case(  # no timing: on a standing crop it is on leaves, on a new seeding it is not
        "C-21",
        {"lines": [line("UAN 28-0-0", 100)], "cropping": GRASS},
        {"lines": [line("UAN 28-0-0", 100)], "cropping": replace(GRASS, seeding=True)},
        about="UAN 28-0-0",
    ),
    Case(  # 87 x 46 % = 40.02 lb N/acre
        "C-22",
        {"lines": [line("Urea 46-0-0", 87)], "cropping": replace(GRASS, legume_pct=25)},
        {"lines": [line("Urea 46-0-0", 87)], "cropping": replace(GRASS, legume_pct=24)},
        ("40.0 lb/acre of N on North Field, 25 % legume", "25 % legume (Kentucky"),
    ),
    Case(  # the share is not stated but the crop is a clover
        "C-22",
        {"lines": [line("Urea 46-0-0", 87)], "cropping": Cropping("A1", 2026, crop="Red clover")},
        {"lines": [line("Urea 46-0-0", 87)], "cropping": Cropping("A1", 2026, crop="Brassica")},
        ("Red clover (share not stated)",),
    ),
    Case(  # 22 x 46 % = 10.1 lb N/acre is a dressing, 21 x 46 % = 9.7 rides along (our line: 10)
        "C-22",
        {"lines": [line("Urea 46-0-0", 22)], "cropping": CLOVER},
        {"lines": [line("Urea 46-0-0", 21)], "cropping": CLOVER},
        ("10.1 lb/acre of N",),
    ),
    Case(  # 2 ton/acre x 50 lb = 100 lb K2O out; 170 x 60 % = 102 lb in, 166 x 60 % = 99.6
        "C-23",
        {
            "lines": [line("Potash 0-0-60", 170)],
            "cropping": replace(GRASS, crop="grass hay", yield_goal=Quantity(2, "ton/acre")),
        },
        {
            "lines": [line("Potash 0-0-60", 166)],
            "cropping": replace(GRASS, crop="grass hay", yield_goal=Quantity(2, "ton/acre")),
        },
        ("102 lb/acre of K2O", "about 100 lb/acre"),
    ),
    Case(  # a yield in bushels is not tons of forage
        "C-23",
        {
            "lines": [line("Potash 0-0-60", 170)],
            "cropping": replace(GRASS, crop="pasture", yield_goal=Quantity(4000, "lb/acre")),
        },
        {
            "lines": [line("Potash 0-0-60", 170)],
            "cropping": replace(GRASS, crop="pasture", yield_goal=Quantity(60, "bu/acre")),
        },
    ),
    Case(  # 3.5 tons/acre over Missouri's 2
        "C-24",
        {"lines": [line("Ag lime", 7000)]},
        {"lines": [line("Ag lime", 4000)]},
        ("3.50 tons/acre of Ag lime", "2 tons/acre on the surface (Missouri)"),
        about="Ag lime",
    ),
    Case(  # two limes, each within 2 tons: 3,000 + 1,500 lb is 2.25 tons, 3,000 + 1,000 lb is just 2
        "C-24",
        {"lines": [line("Ag lime", 3000), line("Pelletized lime", 1500)]},
        {"lines": [line("Ag lime", 3000), line("Pelletized lime", 1000)]},
        ("2.25 tons/acre of lime in all (Ag lime and Pelletized lime)",),
    ),
    Case(  # a solver's 4,000.001 lb is 2 tons
        "C-24",
        {"lines": [line("Ag lime", 4010)]},
        {"lines": [line("Ag lime", 4000.001)]},
        about="Ag lime",
    ),
    Case(  # Noble's 4 tons/acre when worked in, chosen by the user: 4.5 is over, 3.5 is not
        "C-24",
        {"lines": [line("Ag lime", 9000)], "settings": Settings(lime_dose_limit="noble-worked-in")},
        {"lines": [line("Ag lime", 7000)], "settings": Settings(lime_dose_limit="noble-worked-in")},
        ("4.50 tons/acre of Ag lime", "at most 4.00 tons/acre"),
        about="Ag lime",
    ),
    Case(
        "C-25",
        {"lines": [line("Ag lime", 3000)], "cropping": replace(CLOVER, seeding=True)},
        {"lines": [line("Ag lime", 3000, FALL)], "cropping": replace(CLOVER, seeding=True)},
        ("40 % legume", "6-12 months"),
    ),
    Case(  # five months ago is late, seven months ago is in time
        "C-25",
        {
            "entries": [entry("Ag lime", 6000, dt.date(2025, 12, 20))],
            "cropping": replace(CLOVER, seeding=True),
        },
        {
            "entries": [entry("Ag lime", 6000, dt.date(2025, 10, 20))],
            "cropping": replace(CLOVER, seeding=True),
        },
    ),
    Case(  # sampled 0-4 in, rate for 6 in; a rate already scaled to the slice sampled is quiet
        "C-26",
        {"tests": [soil_test(ph=5.4, depth_bottom_m=4 * 0.0254)], "needs": lime_need(depth_m=0.1524)},
        {"tests": [soil_test(ph=5.4, depth_bottom_m=4 * 0.0254)], "needs": lime_need(depth_m=4 * 0.0254)},
        ("4 inches or less", "half the table rate"),
    ),
    Case(
        "C-26",
        {"tests": [soil_test(ph=5.4, depth_bottom_m=3 * 0.0254)], "needs": lime_need(depth_m=0.1524)},
        {"tests": [soil_test(ph=5.4, depth_bottom_m=6 * 0.0254)], "needs": lime_need(depth_m=0.2032)},
    ),
    Case(
        "C-27",
        {"needs": lime_need()},
        {"needs": lime_need(basis=LimeBasis.PRODUCT)},
        ("3,000 lb/acre of ENP, not of product", "3,000 lb ENP is not 3,000 lb of lime"),
    ),
    Case(  # 1,500 is the end of the range that was very hard to spread
        "C-28",
        {"lines": [line("Ag lime", 1500)]},
        {"lines": [line("Ag lime", 1501)]},
        ("1,500 lb/acre of Ag lime", "about 1 ton practical"),
        about="Ag lime",
    ),
    Case(
        "C-28",
        {"lines": [line("Ag lime", 500)]},
        {"lines": [line("Pelletized lime", 500)]},
        about="Ag lime",
    ),
    Case(
        "C-29",
        {"lines": [line("Builder's bag", 2000)]},
        {"lines": [line("Ag lime", 2000)]},
        ("caustic lime", "Goggles", "severe eye and skin burns"),
        about="Builder's bag",
    ),
    Case(
        "C-30",
        {"lines": [line("Ag lime", 3000, TOP), line("Triple super 0-46-0", 100, TOP)]},
        {"lines": [line("Ag lime", 3000, FALL), line("Triple super 0-46-0", 100, TOP)]},
        ("Triple super 0-46-0", "top-dress"),
    ),
    Case(  # on one day by the record: ammonium nitrogen reacts, potash does not
        "C-30",
        {"entries": [entry("Ag lime", 6000), entry("Blue bag 21-0-0", 100)]},
        {"entries": [entry("Ag lime", 6000), entry("Potash 0-0-60", 100)]},
        ("2026-05-20",),
    ),
    Case(
        "C-31",
        {"lines": [line("Ag lime", 3000)]},
        {"lines": [line("Urea 46-0-0", 87)]},
        ("Ag lime", "corrodes"),
        about="Ag lime",
    ),
    Case(  # 100 lb/acre on 2 acres: 200 lb planned; 3 bags of 50 lb on hand
        "C-32",
        {"lines": [line("Ammonium nitrate 34-0-0", 100)], "offers": [in_stock("Ammonium nitrate 34-0-0", 3)]},
        {"lines": [line("UAN 28-0-0", 100)], "offers": [in_stock("Urea 46-0-0", 3)]},
        ("200.0 lb planned", "150.0 lb on hand", "not established here"),
        about="Ammonium nitrate 34-0-0",
    ),
    Case(  # 10.67 lb/gal over 8.34 = 1.279
        "C-33",
        {"lines": [line("UAN 28-0-0", 100)]},
        {"lines": [line("Thin solution", 100)]},
        ("10.67 lb/gal", "specific gravity 1.28"),
        about="UAN 28-0-0",
    ),
    Case(
        "C-34",
        {"offers": [in_stock("UAN 28-0-0", 4)]},
        {"offers": [in_stock("Thin solution", 4)]},
        ("200.0 lb on hand",),
        where=(),
        about="UAN 28-0-0",
    ),
    Case(
        "C-35",
        {"offers": [in_stock("UAN 28-0-0", 4)]},
        {"offers": [in_stock("UAN 28-0-0", 0)]},
        ("28-0-0", "salts out at -1 F"),
        where=(),
        about="UAN 28-0-0",
    ),
    Case(
        "C-36",
        {"buy": [left_over("Urea 46-0-0", 37)]},
        {"buy": [left_over("Urea 46-0-0", 0)]},
        ("Urea 46-0-0 over 72 % (37.0 lb left over when the plan is done)",),
        where=(),
    ),
    Case(
        "C-37",
        {"lines": [line("Urea 46-0-0", 87)], "notes": "Grazed by the neighbour's cattle in July"},
        {"lines": [line("Urea 46-0-0", 87)], "notes": "never grazed"},
        ("North Field", "fertilizer you can still see"),
    ),
    Case(  # thirty days, our window
        "C-37",
        {
            "entries": [entry("Urea 46-0-0", 87, TODAY - dt.timedelta(30))],
            "cropping": replace(GRASS, crop="pasture"),
        },
        {
            "entries": [entry("Urea 46-0-0", 87, TODAY - dt.timedelta(31))],
            "cropping": replace(GRASS, crop="pasture"),
        },
        ("2026-04-20",),
    ),
    Case(  # 60 lb/acre on 2 acres is 120 lb, the hopper holds 100
        "C-38",
        {"lines": [line("Urea 46-0-0", 60)], "settings": ATV},
        {"lines": [line("Urea 46-0-0", 50)], "settings": ATV},
        ("More than one hopper fill on North Field",),
    ),
    Case(  # calibrated at 2.0 m/s, driven at 1.8: 2.0 / 1.8 = 1.111, 11 % more product
        "C-41",
        {
            "calibrations": [calibration()],
            "settings": Settings(spreaders=(Spreader("ATV spreader", speed_m_s=1.8),)),
        },
        {
            "calibrations": [calibration()],
            "settings": Settings(spreaders=(Spreader("ATV spreader", speed_m_s=1.9),)),
        },
        ("11 % more product", "10 % slower puts on 11 % more"),
        where=(),
    ),
    Case(  # urea is nitrogen: limit 15 %
        "C-42",
        {"calibrations": [calibration(note="pan test, CV 18 %")]},
        {"calibrations": [calibration(note="pan test, CV 15 %")]},
        ("18 %", "the limit is 15 %"),
        where=(),
        about="Urea 46-0-0",
    ),
    Case(  # potash is not: limit 25 %
        "C-42",
        {"calibrations": [calibration("Potash 0-0-60", note="CV = 26%")]},
        {"calibrations": [calibration("Potash 0-0-60", note="CV = 18%")]},
        ("the limit is 25 %",),
        where=(),
        about="Potash 0-0-60",
    ),
    Case(
        "C-43",
        {"lines": [line("Potash 0-0-60", 50)], "calibrations": [calibration()]},
        {"lines": [line("Urea 46-0-0", 50)], "calibrations": [calibration()]},
        ("No calibration is logged with Potash 0-0-60",),
    ),
    Case(  # four jobs on four days since
        "C-43",
        {
            "lines": [line("Urea 46-0-0", 500)],
            "calibrations": [calibration()],
            "entries": [entry("Urea 46-0-0", 9, dt.date(2026, 4, day)) for day in (2, 3, 4, 5)],
        },
        {
            "lines": [line("Urea 46-0-0", 500)],
            "calibrations": [calibration()],
            "entries": [entry("Urea 46-0-0", 9, dt.date(2026, 4, day)) for day in (2, 3, 4)],
        },
        ("4 jobs since",),
    ),
    Case(
        "C-43",
        {
            "lines": [line("Urea 46-0-0", 500)],
            "calibrations": [calibration()],
            "entries": [entry("Urea 46-0-0", 9, dt.date(2026, 4, 2), operator="A. Volunteer")],
        },
        {
            "lines": [line("Urea 46-0-0", 500)],
            "calibrations": [calibration()],
            "entries": [entry("Urea 46-0-0", 9, dt.date(2026, 4, 2), operator="r. steward")],
        },
        ("A. Volunteer spread since, R. Steward calibrated",),
    ),
    Case(  # 14 September 2021 to 20 May 2026 is 1709 days, 4.68 years
        "C-44",
        {"tests": [soil_test(sampled_on=dt.date(2021, 9, 14))]},
        {"tests": [soil_test(sampled_on=dt.date(2022, 9, 14))]},
        ("4.7 years old", "your limit is 4"),
    ),
    Case(  # Minnesota's 20 acres on level ground: 21 acres by one sample, by two 10.5 each
        "C-45",
        {"tests": [soil_test()], "area": {"area_m2": 21 * ACRE_M2}},
        {"tests": [soil_test(test_id=f"T{part}") for part in range(2)], "area": {"area_m2": 21 * ACRE_M2}},
        ("21.00 acres (Minnesota: 20 acres)", "20 level"),
    ),
    Case(  # 11 acres are too much for Minnesota's hilly ground, where 5 is the most, not for level ground
        "C-45",
        {
            "tests": [soil_test()],
            "area": {"area_m2": 11 * ACRE_M2},
            "settings": Settings(sampling_guide="Minnesota, hilly"),
        },
        {"tests": [soil_test()], "area": {"area_m2": 11 * ACRE_M2}},
        ("11.00 acres (Minnesota, hilly: 5 acres)",),
    ),
    Case(  # Oklahoma prints no limit: the strictest, Wisconsin's 5
        "C-45",
        {
            "tests": [soil_test()],
            "area": {"area_m2": 5.5 * ACRE_M2},
            "settings": Settings(sampling_guide="Oklahoma"),
        },
        {
            "tests": [soil_test()],
            "area": {"area_m2": 4.5 * ACRE_M2},
            "settings": Settings(sampling_guide="Oklahoma"),
        },
        ("5.50 acres (the strictest: 5 acres)", "Wisconsin 5"),
    ),
    Case(  # 300 ft = 91.44 m
        "C-47",
        {"keepouts": [north_of_plot("gravel road", 90)]},
        {"keepouts": [north_of_plot("paved road", 90)]},
        ("300 ft (Minnesota)",),
    ),
    Case(
        "C-48",
        {"tests": [soil_test(plot_id="A9", test_id="T9")]},
        {"tests": [soil_test(plot_id="A1", test_id="T9")]},
        ("T9 (plot 'A9')",),
        where=(),
    ),
    Case(  # 100 lb/acre on 2 acres: 200 lb planned; 211 is 5.5 % over, 209 is 4.5 %
        "C-49",
        {"lines": [line("Urea 46-0-0", 100)], "entries": [entry("Urea 46-0-0", 211)]},
        {"lines": [line("Urea 46-0-0", 100)], "entries": [entry("Urea 46-0-0", 209)]},
        ("North Field 211.0 lb for 200.0 lb",),
        about="Urea 46-0-0",
    ),
    Case(  # half done is not a difference until it is called done; a reason answers it
        "C-49",
        {"lines": [line("Urea 46-0-0", 100)], "entries": [entry("Urea 46-0-0", 100)]},
        {"lines": [line("Urea 46-0-0", 100)], "entries": [entry("Urea 46-0-0", 100, done=Done.PART)]},
        about="Urea 46-0-0",
    ),
    Case(
        "C-49",
        {"lines": [line("Urea 46-0-0", 100)], "entries": [entry("Urea 46-0-0", 100)]},
        {"lines": [line("Urea 46-0-0", 100)], "entries": [entry("Urea 46-0-0", 100, reason="ran out")]},
        about="Urea 46-0-0",
    ),
    Case(  # Ohio: dolomitic lime where soil Mg is under 50 ppm; the need carries the answer
        "C-51",
        {"lines": [line("Ag lime", 3000)], "needs": lime_need(dolomitic=True)},
        {"lines": [line("Ag lime", 3000)], "needs": lime_need(dolomitic=False)},
        ("Soil magnesium is low on North Field", "Ag lime may not be dolomitic", "under 50 ppm"),
        about="Ag lime",
    ),
    Case(  # not tested is not low; a dolomitic lime is what is asked for
        "C-51",
        {
            "lines": [line("Stone", 3000)],
            "needs": lime_need(dolomitic=True),
            "products": [product("Stone", Form.LIME, dolomitic=False)],
        },
        {
            "lines": [line("Stone", 3000)],
            "needs": lime_need(dolomitic=True),
            "products": [product("Stone", Form.LIME, dolomitic=True)],
        },
        ("Stone is not dolomitic",),
        about="Stone",
    ),
    Case(  # 200 lb urea: 92 lb N; 200 x 0.81 = 162 lb lime (ANR-0174), at most 92 x 3.573 = 329 lb
        "C-50",
        {"tests": [soil_test(ph=6.0)], "entries": [entry("Urea 46-0-0", 200)]},
        {"tests": [soil_test(ph=6.0)], "entries": [entry("Urea 46-0-0", 200, dt.date(2025, 9, 1))]},
        ("92.0 lb of N", "lime worth 162.0 lb by published figures, 328.7 lb at most, by stoichiometry"),
    ),
    Case(  # SEAP-3024: urea with most others "immediately before application", no mixture with it stored;
        # ammonium sulfate with potash is not among what does not keep
        "C-52",
        {"lines": one_load("Urea 46-0-0", "Potash 0-0-60")},
        {"lines": one_load("Blue bag 21-0-0", "Potash 0-0-60")},
        ("Urea 46-0-0 shares a hopper with Potash 0-0-60 on North Field", "the same day", "60 % with potash"),
        about="Urea 46-0-0",
    ),
    Case(  # two trips over one plot on one day are no mix
        "C-52",
        {"lines": one_load("Urea 46-0-0", "Potash 0-0-60", "Blue bag 21-0-0")},
        {"lines": [*one_load("Urea 46-0-0"), *one_load("Potash 0-0-60")]},
        ("Urea 46-0-0 shares a hopper with Blue bag 21-0-0 and Potash 0-0-60",),
        about="Urea 46-0-0",
    ),
    Case(  # what no page states and the user allows is held to the stricter of the two: spread at once
        "C-52",
        {"lines": one_load("Triple super 0-46-0", "Blue bag 21-0-0"), "settings": KEPT_TOGETHER},
        {"lines": one_load("Triple super 0-46-0", "Potash 0-0-60"), "settings": KEPT_TOGETHER},
        ("Triple super 0-46-0 shares a hopper with Blue bag 21-0-0",),
        about="Triple super 0-46-0",
    ),
)


def of_rule(found: Sequence[Caution], rule: str) -> list[Caution]:
    return [caution for caution in found if caution.rule == rule]


@pytest.mark.parametrize("case", CASES, ids=[f"{case.rule}-{i}" for i, case in enumerate(CASES)])
def test_rule_fires_and_stays_quiet(case: Case) -> None:
    """The situation fires exactly one caution for its product; its neighbour fires none of that rule."""
    hits = [c for c in of_rule(fire(**case.fires), case.rule) if c.product == case.about]
    assert len(hits) == 1
    (hit,) = hits
    assert hit.where == case.where
    for words in case.says:
        assert words in f"{hit.text} Published: {hit.published}."
    assert hit.level == TEXTS[case.rule].level
    assert hit.source == TEXTS[case.rule].source
    assert hit.defers_to == TEXTS[case.rule].defers_to
    quiet = of_rule(fire(**case.quiet), case.rule)
    assert [c for c in quiet if c.product == case.about] == []


def test_every_rule_has_a_case() -> None:
    assert {case.rule for case in CASES} == set(cautions.RULES)


def test_rules_and_the_rest_are_the_whole_table() -> None:
    """C-01 to C-52; each row is either a rule or named as not triggerable, never both."""
    every = {f"C-{number:02d}" for number in range(1, 53)}
    assert set(TEXTS) == every
    assert set(cautions.RULES) | set(cautions.NOT_TRIGGERABLE) == every
    assert set(cautions.RULES) & set(cautions.NOT_TRIGGERABLE) == set()
    assert all(cautions.NOT_TRIGGERABLE.values())


def test_an_empty_property_has_no_cautions() -> None:
    assert fire() == ()


def test_a_line_already_done_raises_no_caution_about_doing_it() -> None:
    lines = [line("Triple super 0-46-0", 100)]
    tests = [soil_test(readings=phosphorus(80))]
    assert of_rule(fire(lines, tests=tests), "C-15")
    done = [entry("Triple super 0-46-0", 200)]
    assert not of_rule(fire(lines, tests=tests, entries=done), "C-15")


def test_an_entry_that_was_corrected_does_not_count() -> None:
    wrong = entry("Urea 46-0-0", 100, ground="snow")
    right = replace(wrong, entry_id="E2", ground="dry", replaces=wrong.entry_id)
    assert of_rule(fire(entries=[wrong]), "C-03")
    assert not of_rule(fire(entries=[wrong, right]), "C-03")


def test_nitrogen_of_several_products_adds_up_and_names_who_asked_for_it() -> None:
    """50 x 46 % + 100 x 21 % = 44 lb N/acre on clover; the need comes from elsewhere and both are told."""
    lines = [line("Urea 46-0-0", 50), line("Blue bag 21-0-0", 100)]
    (hit,) = of_rule(fire(lines, cropping=CLOVER), "C-22")
    assert "44 lb/acre of N on North Field, 40 % legume" in hit.text
    assert "asks for it" not in hit.text
    asked = PlotNeeds(
        "A1",
        (Need("A1", Nutrient.N, NeedState.NEEDED, "60 lb by the table", 67, 67, 54),),
        LimeNeed("A1", NeedState.NONE, "pH is high enough"),
    )
    (hit,) = of_rule(fire(lines, cropping=CLOVER, needs=asked), "C-22")
    assert "Your guideline or lab asks for it: weigh the two" in hit.text
    few_pounds = [line("Triple super 0-46-0", 50), line("Blue bag 21-0-0", 20)]  # 4.2 lb N/acre
    assert not of_rule(fire(few_pounds, cropping=CLOVER), "C-22")
    assert of_rule(fire(few_pounds, cropping=CLOVER, needs=asked), "C-22")


def test_dust_of_rounding_is_no_stock() -> None:
    """A tenth of a pound left of bulk is not kept; two pounds are."""
    assert not of_rule(fire(buy=[left_over("UAN 28-0-0", 0.1)]), "C-35")
    assert of_rule(fire(buy=[left_over("UAN 28-0-0", 2)]), "C-35")
    assert not of_rule(fire(buy=[left_over("Urea 46-0-0", 10)]), "C-36")  # 4.5 kg: scraps, by our line of 5
    assert of_rule(fire(buy=[left_over("Urea 46-0-0", 12)]), "C-36")


def test_spill_notes_fire() -> None:
    lines = [line("Urea 46-0-0", 500)]
    spilled = [entry("Urea 46-0-0", 10, note="small heap at the gate")]
    assert of_rule(fire(lines, entries=spilled), "C-38")
    assert not of_rule(fire(lines, entries=[entry("Urea 46-0-0", 10, note="no spills")]), "C-38")


def test_stripes_noted_by_the_operator_fire() -> None:
    (hit,) = of_rule(fire(entries=[entry("Urea 46-0-0", 10, note="stripes in the grass")]), "C-42")
    assert "Stripes noted with Urea 46-0-0 on North Field" in hit.text


@pytest.mark.parametrize(
    ("name", "label", "told"),
    [
        ("AN", {"n": 34, "contains": ("ammonium nitrate",)}, "59 %"),
        ("AS", {"n": 21, "ingredient": "ammonium sulfate"}, "79 %"),
        ("DAP 18-46-0", {"n": 18, "p2o5": 46}, "82 %"),
        ("Muriate of potash", {"k2o": 60}, "84 %"),
        ("MAP 11-52-0", {"n": 11, "p2o5": 52}, "92 %"),
        ("Triple super", {"p2o5": 46}, "94 %"),
        ("Blend", {"n": 30, "contains": ("urea", "ammonium nitrate")}, "59 %"),  # the lower of the two
    ],
)
def test_humidity_of_each_material(name: str, label: dict[str, Any], told: str) -> None:
    """Trade sheet of estimated physical characteristics: critical relative humidity."""
    (hit,) = of_rule(fire(offers=[in_stock(name, 1)], products=[product(name, **label)]), "C-36")
    assert f"{name} over {told} (50.0 lb on hand)" in hit.text


@pytest.mark.parametrize(
    ("label", "told"),
    [({"n": 28}, "-1 F"), ({"n": 32}, "28 F"), ({"n": 10, "p2o5": 34}, "-10 F")],
)
def test_salt_out_of_each_grade(label: dict[str, Any], told: str) -> None:
    """The same sheet: salt-out temperatures of the three solutions; no other grade is guessed."""
    tank = product("Tank mix", Form.LIQUID, **label)
    (hit,) = of_rule(fire(offers=[in_stock("Tank mix", 1)], products=[tank]), "C-35")
    assert f"salts out at {told}" in hit.text
    other = product("Tank mix", Form.LIQUID, n=30)
    assert not of_rule(fire(offers=[in_stock("Tank mix", 1)], products=[other]), "C-35")


def test_a_test_dated_ahead_does_not_hide_an_old_one() -> None:
    old = soil_test(sampled_on=dt.date(2021, 9, 14))
    ahead = soil_test(sampled_on=dt.date(2027, 9, 14), test_id="T2")
    assert of_rule(fire(tests=[old, ahead]), "C-44")


def test_stops_come_first() -> None:
    lines = [line("Urea 46-0-0", 100, TOP), line("Ag lime", 7000)]
    found = fire(lines, entries=[entry("Urea 46-0-0", 10, ground="snow")])
    levels = [cautions.LEVELS.index(caution.level) for caution in found]
    assert levels == sorted(levels)
    assert found[0].level == "stop"
    assert found[-1].level == "note"


def test_one_caution_names_every_plot() -> None:
    """Two plots, one product: one caution, both plots, the range of rates."""
    record = PropertyRecord(
        PropertyInfo("Invented", 2026),
        plots=tuple(Plot(key, key, BOUNDARY) for key in ("A1", "A2", "A3", "A4", "A5", "A6")),
        products=PRODUCTS,
    )
    areas = {p.plot_id: PlotArea(p.plot_id, ACRE_M2, ACRE_M2, 1, BOUNDARY) for p in record.plots}
    lines = [line("Ag lime", 5000 + 1000 * i, plot_id=p.plot_id) for i, p in enumerate(record.plots)]
    found = cautions.fire(TEXTS, record, areas, {}, {}, plan(lines), TODAY, load_mixing())
    (hit,) = of_rule(found, "C-24")
    assert hit.where == ("A1", "A2", "A3", "A4", "A5", "A6")
    assert "2.50 to 5.00 tons/acre" in hit.text  # 5,000 and 10,000 lb over 2,000
    assert "A1, A2, A3 and 3 more" in hit.text
    keys = [(caution.rule, caution.product) for caution in found]
    assert len(keys) == len(set(keys))


def test_metric_property_speaks_metric() -> None:
    """3 tons/acre: 6000 lb x 0.45359237 kg over 0.40468564 ha = 6725 kg/ha."""
    (hit,) = of_rule(fire([line("Ag lime", 6000)], units="metric"), "C-24")
    assert "6.73 t/ha of Ag lime" in hit.text


# ---------------------------------------------------------------------------------------------
# The table against the publications

#: Typed from the publications named in each row of the table.
PUBLISHED_LIMITS = {
    "C-01": {"days": (3, "day")},  # NDSU, Understanding Urea; Montana State: within 2-3 days when warm
    "C-02": {"rain": (0.5, "inch")},  # Montana State; NDSU: half an inch in one event
    "C-07": {"chance": (50, "percent"), "rain": (1, "inch")},  # Ohio Revised Code 905.326
    "C-10": {  # Minnesota Rules 7020, table at North Fork Crow River Watershed District
        "water": (300, "ft"),
        "water_worked_in": (25, "ft"),
        "tile": (300, "ft"),
        "well": (50, "ft"),
        "sinkhole": (50, "ft"),
    },
    "C-11": {"turf": (15, "ft")},  # Maryland Code, Agriculture 8-803.5
    "C-13": {"stream": (300, "ft"), "lake": (1000, "ft")},  # Washington County WI, mapping of 590
    "C-15": {"stop": (50, "ppm")},  # OSU AgBMPs
    "C-16": {"checklist": (200, "ppm")},  # EQIP checklist, March 2010
    "C-18": {  # Spectrum Analytic, with seed
        "low_cec": (5, "lb/acre"),
        "high_cec": (8, "lb/acre"),
        "cec": (12, "meq/100 g"),
    },
    "C-20": {"alfalfa": (2, "lb/acre"), "common": (2.5, "lb/acre")},  # Penn State; A&L Great Lakes
    "C-22": {"legume": (25, "percent")},  # KY Forage News 2019
    "C-23": {"removal": (50, "lb/ton")},  # Ohio State ANR-5, tall grass or legume forage
    "C-25": {"months": (6, "month")},  # Penn State Forages
    "C-26": {"depth": (4, "inch")},  # Tri-State E-2567
    "C-28": {"thin": (1500, "lb/acre")},  # R. Leep, Michigan State
    "C-33": {"heavy": (10, "lb/gal"), "water": (8.34, "lb/gal")},  # NDSU, poly tanks
    "C-35": {  # trade sheet of physical characteristics
        "28-0-0": (-1, "degF"),
        "32-0-0": (28, "degF"),
        "10-34-0": (-10, "degF"),
    },
    "C-36": {
        "ammonium nitrate": (59, "percent"),
        "urea": (72, "percent"),
        "ammonium sulfate": (79, "percent"),
        "DAP": (82, "percent"),
        "potassium chloride": (84, "percent"),
        "MAP": (92, "percent"),
        "triple superphosphate": (94, "percent"),
    },
    "C-41": {"speed": (10, "percent")},  # Missouri G1270A
    "C-42": {"nitrogen": (15, "percent"), "other": (25, "percent")},  # LandWISE, cites Lawrence 2007
    "C-43": {"jobs": (4, "application")},  # NC State; Clemson HGIC: every fourth application
    "C-45": {
        "Minnesota": (20, "acre"),  # UMN Soil Testing Laboratory: level ground
        "Minnesota, hilly": (5, "acre"),
        "Pennsylvania": (20, "acre"),  # Agronomy Guide Table 1-2-2: 10-20
        "New York": (15, "acre"),  # Ketterings and others: 10-15
        "Kansas": (4, "acre"),  # Ruiz Diaz: 2-4 acres for 12-15 cores
        "Kentucky pasture": (20, "acre"),  # UKY Grazer
        "elsewhere": (5, "acre"),  # Polk County WI, the strictest
    },
    "C-47": {"road": (300, "ft")},  # UMN Soil Testing Laboratory
    "C-49": {"tolerance": (5, "percent")},  # UMass, Rotary Spreader Calibration Procedures
}


def test_limits_are_the_published_ones() -> None:
    typed = {
        rule: {name: Quantity(float(value), unit) for name, (value, unit) in limits.items()}
        for rule, limits in PUBLISHED_LIMITS.items()
    }
    assert {rule: dict(text.limits) for rule, text in TEXTS.items() if text.limits} == typed


def test_every_limit_is_shown_to_the_reader() -> None:
    """A figure a rule compares with stands in the row's own text, as number or as the word.

    Salt-out points and critical humidities are told for the product at hand only (see the cases).
    """
    words = {"C-43": "fourth"}
    for rule, text in TEXTS.items():
        if rule in ("C-35", "C-36"):
            continue
        for quantity in text.limits.values():
            assert words.get(rule, f"{quantity.value:g}") in text.published, rule


def test_land_per_sample_is_the_sampling_advice_of_the_same_place() -> None:
    """Two tables print one figure: the caution about a past sample and the advice for the next agree."""
    limits = TEXTS["C-45"].limits
    for place, guide in load_sampling_guides().items():
        printed = limits[place].value if place in limits else None
        assert printed == guide.acres_high, place


@pytest.mark.parametrize("rule", sorted(TEXTS))
def test_what_to_do_is_short_enough_to_read_in_the_field(rule: str) -> None:
    """Two lines of a work order, some 150 characters (ours)."""
    assert len(TEXTS[rule].text) <= 150


def test_every_row_names_its_source_level_and_last_word() -> None:
    for text in TEXTS.values():
        assert text.source.publication
        assert text.level in cautions.LEVELS
        assert text.defers_to
        assert text.text.endswith(".")
        assert not text.published.endswith(".")


# What must be known before a job


def test_what_is_in_the_hopper_says_what_must_be_known() -> None:
    texts = load_caution_texts()

    def asked(*products: Product) -> list[str]:
        return [row.rule for _about, row in before_a_job(texts, products)]

    urea = Product("urea", Form.DRY, {Nutrient.N: 46}, nitrogen_forms_pct={"urea": 46})
    uan = Product("UAN", Form.LIQUID, {Nutrient.N: 28}, nitrogen_forms_pct={"urea": 14})
    potash, stone = Product("potash", Form.DRY, {Nutrient.K2O: 60}), Product("stone", Form.LIME)
    assert asked(urea) == ["C-06", "C-07", "C-01", "C-03", "C-30"]
    assert asked(uan) == ["C-06", "C-01", "C-03", "C-21", "C-30"]
    assert asked(potash) == ["C-06", "C-07"]
    assert asked(stone) == ["C-06", "C-30"]
    assert asked(potash, urea) == asked(urea)


# Who reads what

READERS = {"planner", "spreader", "driver", "record keeper"}


def test_each_caution_has_one_place_for_who_can_act_on_it() -> None:
    """Planner, spreader and driver hear what they can act on, of the product in hand, in one place each."""
    source = TEXTS["C-06"].source

    def told(rule: str, *readers: str, where: Sequence[str] = (), product: str = "") -> Caution:
        return Caution(rule, "care", rule, tuple(where), product, source, "label", readers=readers, line=rule)

    every = told("C-91", "planner", "spreader")
    stored = told("C-92", "spreader", product="Urea 46-0-0")
    urea = told("C-93", "planner", "spreader", "driver", where=("A", "B"), product="Urea 46-0-0")
    bank = told("C-94", "spreader", where=("A",))
    leave = told("C-95", "planner", where=("A",), product="Urea 46-0-0")
    kept = told("C-96", "record keeper", where=("A",))
    all_of_them = (every, stored, urea, bank, leave, kept)
    hands = {reader: placed(all_of_them, reader) for reader in ("planner", "spreader", "driver")}
    assert hands["planner"].cautions == all_of_them
    assert hands["planner"].to_settle == (leave, kept)
    assert (hands["spreader"].to_settle, hands["driver"].to_settle) == ((), ())
    assert hands["spreader"].everywhere({"Urea 46-0-0"}) == (every, stored)
    assert hands["spreader"].everywhere({"Potash 0-0-60"}) == (every,)
    for reader in ("planner", "spreader", "driver"):
        assert hands[reader].with_product({"Urea 46-0-0"}, ["B"]) == (urea,)
        assert hands[reader].with_product({"Potash 0-0-60"}, ["A", "B"]) == ()
        assert hands[reader].with_product({"Urea 46-0-0"}, ["C"]) == ()
    assert hands["planner"].on_plots(["A", "B"]) == hands["spreader"].on_plots(["A", "B"]) == (bank,)
    assert hands["driver"].on_plots(["A", "B"]) == ()


def test_what_the_data_has_called_for_is_not_said_again_before_the_job() -> None:
    """Frozen ground on one of two plots leaves the line for both; on both of them it is enough."""
    dry = (Product("Potash 0-0-60", Form.DRY, {Nutrient.K2O: 60.0}),)
    row = TEXTS["C-06"]

    def asked(*where: str) -> list[str]:
        fired = Caution("C-06", "stop", "x", where, "Potash 0-0-60", row.source, "label", readers=row.readers)
        hand = placed([fired], "spreader")
        return [one.rule for _, one in hand.before(TEXTS, dry, ["A", "B"])]

    assert asked("A") == ["C-06", "C-07"]
    assert asked("A", "B") == ["C-07"]
    assert asked("A", "B", "C") == ["C-07"]


#: Advice against a rate that is planned: settled while planning, never handed to who carries it out.
AGAINST_THE_RATE = ("C-04", "C-15", "C-16", "C-22", "C-23", "C-24", "C-26", "C-28")


def test_every_caution_goes_to_who_can_act_on_it() -> None:
    for rule, text in TEXTS.items():
        assert set(text.readers) <= READERS, rule
        assert len(set(text.readers)) == len(text.readers) > 0, rule
        in_the_field = bool({"spreader", "driver"} & set(text.readers))
        assert bool(text.line) == in_the_field, rule
        assert len(text.line) <= 110, rule  # one line of 11 pt on a page, two beside a map
        assert "http" not in text.line
    for rule in AGAINST_THE_RATE:
        assert not {"spreader", "driver"} & set(TEXTS[rule].readers), rule
