"""What the planner is asked to reach and may not exceed, worked out by hand from round needs.

One hectare throughout unless said; 1 lb/acre is 1.120851 kg/ha (0.45359237 kg / 0.40468564224 ha).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from places import NOWHERE

from loamwright.errors import Level
from loamwright.land.records import Plot, PlotArea
from loamwright.needs.records import LimeNeed, Need, PlotNeeds
from loamwright.planning.inputs import Band, Demand, PlanPlot
from loamwright.planning.targets import (
    kept_off,
    plan_plots,
    reachable_machines,
    reachable_products,
    surplus_limit,
)
from loamwright.supplies.records import Form, Product
from loamwright.values import LimeBasis, NeedState, Nutrient, Settings, Spreader, Supply, Timing
from loamwright.work.ledger import lime_spread
from loamwright.work.records import Application, Done

LB_ACRE = 0.45359237 / 0.40468564224
PLOT = Plot("A-1", "Alder", NOWHERE)
NO_LIME = LimeNeed("A-1", NeedState.NONE, "pH is high enough", rate_kg_ha=0.0, mass_kg=0.0)
LIME = LimeNeed("A-1", NeedState.NEEDED, "", LimeBasis.ENP, 2000.0, 2000.0)
CONTENTS = {
    "All": {Supply.N: 0.1, Supply.P2O5: 0.1, Supply.K2O: 0.1, Supply.S: 0.1, Supply.B: 0.01, Supply.ZN: 0.01}
}
PRODUCTS = (Product("All", Form.DRY),)


def need(nutrient: str, kg: float | None, state: NeedState | None = None, **more: Any) -> Need:
    state = state or (NeedState.NEEDED if kg else NeedState.NONE)
    return Need("A-1", Nutrient(nutrient), state, "", kg, kg, kg, **more)


def asked(
    *needs: Need,
    lime: LimeNeed = NO_LIME,
    settings: Settings | None = None,
    contents: dict[str, dict[str, float]] | None = None,
    products: tuple[Product, ...] = PRODUCTS,
    area_m2: float = 10_000.0,
) -> PlanPlot:
    """The one plot as the planner gets it."""
    plots, _problems = plan_plots(
        [PLOT],
        {"A-1": PlotArea("A-1", area_m2, area_m2, 400.0, None)},
        {"A-1": PlotNeeds("A-1", needs, lime)},
        contents or CONTENTS,
        products,
        settings or Settings(),
    )
    (found,) = plots
    return found


def test_a_plots_own_band_is_what_the_planner_is_asked() -> None:
    """N to the pound here and P2O5 as everywhere; 20 of 100 kg are on, so the band of the rest is wider.

    Of 100 kg at 90 to 110 % 90 must be on: 70 of the 80 that are left, and at most 90 (112.5 %).
    """
    own = replace(PLOT, bands={"N": (1.0, 1.0), "K2O": (0.9, 1.1)})
    plots, _problems = plan_plots(
        [own],
        {"A-1": PlotArea("A-1", 10_000.0, 10_000.0, 400.0, None)},
        {"A-1": PlotNeeds("A-1", (need("N", 60.0), need("P2O5", 40.0), need("K2O", 80.0)), NO_LIME)},
        CONTENTS,
        PRODUCTS,
        Settings(),
        whole_kg={("A-1", Supply.K2O): 100.0},
    )
    (found,) = plots
    assert (found.bands[Supply.N], found.bands[Supply.P2O5]) == (Band(1.0, 1.0), Band(0.95, 1.1))
    held = found.bands[Supply.K2O]
    assert (held.low, held.high) == (pytest.approx(70 / 80), pytest.approx(90 / 80))


def test_only_known_needs_are_asked_for() -> None:
    """Lime before nutrients when money is short: where pH limits, it is the first dollar to spend."""
    found = asked(need("N", 60.0), need("P2O5", 0.0), need("K2O", None, NeedState.UNKNOWN), lime=LIME)
    nitrogen, lime = found.demands
    assert nitrogen == Demand(Supply("N"), 60.0, None)
    assert (lime.supply, lime.mass_kg, lime.timing) == ("lime ENP", 2000.0, None)
    assert lime.priority > nitrogen.priority
    assert (found.plot_id, found.area_ha) == ("A-1", 1.0)


def test_a_split_need_is_asked_for_dose_by_dose() -> None:
    """160 kg, three quarters in spring and a quarter in August: 120 and 40."""
    split = need("N", 160.0, timings=((Timing.TOPDRESS, 0.75), (Timing.AFTER_HARVEST, 0.25)))
    assert asked(split).demands == (
        Demand(Supply("N"), 120.0, Timing.TOPDRESS),
        Demand(Supply("N"), 40.0, Timing.AFTER_HARVEST),
    )


def test_our_caps_leave_room_for_whole_bags_but_not_for_waste() -> None:
    """N 60: the larger of a tenth and 5 lb/acre over = 66; K2O 100: the larger of a quarter and 10 lb/acre
    = 125; P2O5 where none is needed: nothing; S unknown: 25 lb/acre; B not looked at: nothing; Zn: no cap.
    """
    caps = asked(
        need("N", 60.0), need("P2O5", 0.0), need("K2O", 100.0), need("S", None, NeedState.UNKNOWN)
    ).caps
    assert dict(caps) == {
        "N": pytest.approx(66.0),
        "P2O5": 0.0,
        "K2O": pytest.approx(125.0),
        "S": pytest.approx(25 * LB_ACRE),
        "B": 0.0,
    }


def test_on_a_legume_that_needs_no_nitrogen_ten_pounds_an_acre_may_come_along() -> None:
    """10 lb/acre on a quarter hectare: 2.802 kg."""
    found = asked(need("N", 0.0), area_m2=2_500.0)
    assert found.caps["N"] == pytest.approx(10 * LB_ACRE / 4)


def test_where_nitrogen_or_phosphate_is_unknown_none_is_spread() -> None:
    caps = asked(need("N", None, NeedState.UNKNOWN), need("P2O5", None, NeedState.UNKNOWN)).caps
    assert (caps["N"], caps["P2O5"]) == (0.0, 0.0)


def test_the_users_limits_come_first() -> None:
    """N: 15 % of 60 is 9, 20 kg/ha is more: 80. Zn falls under "*": half of 4 is 2, so 6."""
    settings = Settings(
        surplus_limit_fraction={"N": 0.15, "*": 0.5}, surplus_limit_kg_ha={"N": 20.0, "P2O5": 8.0}
    )
    caps = asked(need("N", 60.0), need("P2O5", 0.0), need("Zn", 4.0), settings=settings).caps
    assert caps["N"] == pytest.approx(80.0)
    assert caps["P2O5"] == pytest.approx(8.0)
    assert caps["Zn"] == pytest.approx(6.0)
    assert caps["K2O"] == 0.0  # ours: "*" stands only for what is named neither there nor here
    assert surplus_limit(Supply.MN, Settings()) is None


def test_lime_is_capped_in_the_basis_it_is_needed_in() -> None:
    """2,000 kg ENP and a tenth over; CCE of the same stone is another measure and is left free."""
    contents = {"Ag lime": {Supply.LIME_ENP: 0.55, Supply.LIME_CCE: 0.92}}
    stone = (Product("Ag lime", Form.LIME),)
    wanted = asked(lime=LIME, contents=contents, products=stone)
    assert dict(wanted.caps) == {"lime ENP": pytest.approx(2200.0)}
    unwanted = asked(lime=NO_LIME, contents=contents, products=stone)
    assert dict(unwanted.caps) == {"lime ENP": 0.0, "lime CCE": 0.0}


def test_a_plot_all_of_which_is_kept_out_is_not_planned() -> None:
    """Nor is it passed over in silence."""
    plots, problems = plan_plots(
        [PLOT],
        {"A-1": PlotArea("A-1", 500.0, 0.0, 90.0, None)},
        {"A-1": PlotNeeds("A-1", (need("N", 60.0),), NO_LIME)},
        CONTENTS,
        PRODUCTS,
        Settings(),
    )
    assert plots == ()
    (said,) = problems
    assert said.where == "plots A-1"
    assert "leave no ground to spread on" in said.what
    assert said.level is Level.NOTE  # keep-outs are the user's own word


# ---------------------------------------------------------------------------------------------
# Lime in one dose


def dosed(
    rule: str, rate_kg_ha: float = 6000.0, spread_kg_ha: float = 0.0, **other: float
) -> tuple[PlanPlot, str]:
    """One hectare that wants 6,000 kg ENP/ha, with lime of 0.55 ENP and any other, and the note with it."""
    plots, problems = plan_plots(
        [PLOT],
        {"A-1": PlotArea("A-1", 10_000.0, 10_000.0, 400.0, None)},
        {
            "A-1": PlotNeeds(
                "A-1", (), LimeNeed("A-1", NeedState.NEEDED, "", LimeBasis.ENP, rate_kg_ha, rate_kg_ha)
            )
        },
        {"Ag lime": {Supply.LIME_ENP: 0.55}, **{name: {Supply.LIME_ENP: enp} for name, enp in other.items()}},
        tuple(Product(name, Form.LIME) for name in ("Ag lime", *other)),
        Settings(lime_dose_limit=rule),
        {"A-1": spread_kg_ha},
    )
    assert all(problem.level is Level.NOTE for problem in problems)
    return plots[0], " ".join(str(problem) for problem in problems)


def limed(
    rule: str, rate_kg_ha: float = 6000.0, spread_kg_ha: float = 0.0, **other: float
) -> tuple[float, str]:
    """What is asked now [kg ENP], and the note with it."""
    plot, note = dosed(rule, rate_kg_ha, spread_kg_ha, **other)
    return sum(demand.mass_kg for demand in plot.demands), note


def test_without_a_rule_the_whole_lime_need_is_asked_for() -> None:
    assert limed("") == (6000.0, "")


def test_a_rule_divides_the_lime_need_and_says_what_is_still_owed() -> None:
    """P. Miller, University of Missouri Extension, "How Much Lime To Apply?": at most 2 tons/acre on the
    surface. 4,000 lb/acre of product is 4,483.4 kg/ha; at 0.55 ENP that is 2,465.9 of the 6,000 needed.
    """
    now_kg, note = limed("missouri-surface")
    assert now_kg == pytest.approx(4000 * LB_ACRE * 0.55)
    assert "A-1" in note
    assert "41%" in note  # 2,465.9 / 6,000
    assert limed("missouri-surface", 2000.0) == (2000.0, "")


def test_a_rule_that_only_halves_takes_half() -> None:
    """D. Mengel, Kansas State University, on no-till: half the rate, twice as often."""
    assert limed("kansas-no-till")[0] == pytest.approx(3000.0)


def test_the_cap_goes_by_the_dose_and_not_by_the_whole_need() -> None:
    """A tenth over: 6,600 of 6,000 kg at once, 3,300 when half of it is planned, 0 when none is."""
    assert dosed("")[0].caps == {"lime ENP": pytest.approx(6600.0)}
    assert dosed("kansas-no-till")[0].caps == {"lime ENP": pytest.approx(3300.0)}
    spread = dosed("missouri-surface", spread_kg_ha=4000 * LB_ACRE)[0]
    assert (spread.demands, spread.caps) == ((), {"lime ENP": 0.0})


def test_whichever_lime_is_bought_stays_within_the_rule() -> None:
    """With a stronger lime beside it (0.825 ENP) the dose is still what 2 tons of the weaker bring."""
    assert limed("missouri-surface", Pellets=0.825)[0] == pytest.approx(4000 * LB_ACRE * 0.55)


def test_a_dose_already_on_counts_against_the_rule() -> None:
    """Missouri: any more only after two to three years. 2 tons on: nothing now. 0.5 ton on: 1.5 tons."""
    on = 4000 * LB_ACRE
    now_kg, note = limed("missouri-surface", 3534.1, spread_kg_ha=on)
    assert now_kg == 0.0
    assert "A-1 0%; the rest after two to three years" in note
    assert limed("missouri-surface", 5000.0, spread_kg_ha=on / 4)[0] == pytest.approx(3000 * LB_ACRE * 0.55)


def test_half_the_rate_is_half_of_what_there_was_to_do() -> None:
    """Kansas: 3,000 kg ENP/ha are on (5,454.5 kg of 0.55 lime) and 3,000 left: the half is on already."""
    assert limed("kansas-no-till", 3000.0, spread_kg_ha=3000 / 0.55)[0] == pytest.approx(0.0)


def test_doses_of_one_season_are_planned_together() -> None:
    """Penn State: above 4 tons/acre half is ploughed down and half worked in above, in one season."""
    assert limed("penn-state-forage", 12000.0) == (12000.0, "")


def test_lime_that_counts_against_a_dose_is_that_of_the_seasons_between_doses() -> None:
    """Missouri's two to three years: this season and the last. 454 kg on 1 ha each; a correction replaces."""
    stone, bag = Product("Ag lime", Form.LIME), Product("Bag", Form.DRY)

    def entry(key: str, year: int, product: str = "Ag lime", kg: float = 454.0, **more: Any) -> Application:
        return Application(key, "A-1", product, Done.DONE, dt.date(year, 5, 1), kg, **more)

    record = [
        entry("E1", 2024),
        entry("E2", 2025),
        entry("E3", 2026),
        entry("E4", 2026, "Bag"),
        entry("E5", 2026, kg=200.0, replaces="E3"),
    ]
    areas = {"A-1": PlotArea("A-1", 10_000.0, 10_000.0, 400.0, None)}

    def spread(rule: str) -> dict[str, float]:
        return dict(lime_spread(record, (stone, bag), areas, Settings(lime_dose_limit=rule), 2026))

    assert spread("missouri-surface") == {"A-1": pytest.approx(654.0)}
    assert spread("noble-surface") == {"A-1": pytest.approx(200.0)}  # 2.5 tons a year
    assert spread("penn-state-turf") == spread("") == {}


# ---------------------------------------------------------------------------------------------
# What can get there


ATV, HAND, TRUCK = Spreader("ATV spreader"), Spreader("hand spreader"), Spreader("lime truck")
GOODS = (
    Product("Bag", Form.DRY, equipment=("ATV spreader", "hand spreader")),
    Product("Load", Form.LIME, equipment=("Lime Truck",)),
    Product("Tote", Form.LIQUID, equipment=("boom sprayer",)),
    Product("Anything", Form.DRY),
)


@pytest.mark.parametrize(
    ("access", "spreaders", "products"),
    [
        ("", (), {"Bag", "Load", "Tote", "Anything"}),
        ("", (ATV, TRUCK), {"Bag", "Load", "Anything"}),
        ("Gate on Alder Road", (ATV, TRUCK), {"Bag", "Load", "Anything"}),
        ("Hand spreader only", (ATV, HAND, TRUCK), {"Bag", "Anything"}),
        ("ATV spreader or lime truck", (ATV, HAND, TRUCK), {"Bag", "Load", "Anything"}),
    ],
)
def test_products_need_a_spreader_that_gets_there(
    access: str, spreaders: tuple[Spreader, ...], products: set[str]
) -> None:
    plot = Plot("A-1", "Alder", NOWHERE, access=access)
    settings = Settings(spreaders=spreaders)
    reaching = reachable_machines(settings, kept_off(plot, settings))
    assert reachable_products(GOODS, reaching) == products
