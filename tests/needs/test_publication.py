"""The printed forms: class by yield, equation, other conditions, rating matrix, splits.

Sources: University of Minnesota Extension forage pages (tables and equations as in
``tests/published``), Small Grains Field Guide Table 3.1, Clemson crop sheets. Where a figure is ours
to work out, the arithmetic stands beside it.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from need_builders import report, texts

from loamwright.files import guidelines
from loamwright.needs.classes import Span, parse_span
from loamwright.needs.publication import MatrixCell, RatingMatrix, recommend
from loamwright.needs.rates import Equation, Gap, Rate, RateRow, RateTable, Situation
from loamwright.soil.readings import Extractant
from loamwright.values import Nutrient, Quantity, Source, Timing

PUBLISHED = Path(__file__).parents[1] / "published"
CASES = {
    case["id"]: case
    for case in json.loads((PUBLISHED / "guidelines_worked_examples.json").read_text(encoding="utf-8"))[
        "cases"
    ]
}
FORAGE = guidelines.load_guideline("umn-forage-2011")
OWN = guidelines.load_file(PUBLISHED / "guidelines_own_example")
SOURCE = Source("a test's own table", "", "T")


def ask(nutrient: str, crop: str = "red clover", goal: float | None = None, **more: Any) -> Rate:
    """Ask the Minnesota forage guideline."""
    unit = more.pop("unit", "ton/acre")
    quantity = None if goal is None else Quantity(goal, unit)
    return recommend(FORAGE, Nutrient(nutrient), Situation(crop, yield_goal=quantity, **more))


def bray(value: float) -> dict[str, Any]:
    """Give a Bray P1 figure."""
    return {"tests": (report(p=(value, "Bray P1")),)}


def potash(value: float) -> dict[str, Any]:
    """Give an ammonium acetate K figure."""
    return {"tests": (report(k=(value, "ammonium acetate")),)}


# ---------------------------------------------------------------------------------------------
# Class by yield


def test_every_cell_answers_from_the_middle_and_both_edges_of_its_class() -> None:
    """Each of the 20 Bray cells, asked at the low edge, the high edge, and just inside the rounding."""
    with (PUBLISHED / "guidelines_umn_clover_trefoil_p2o5.csv").open(encoding="utf-8") as handle:
        for row in csv.DictReader(handle):
            low = float(row["bray_p1_ppm_low"])
            high = float(row["bray_p1_ppm_high"] or 80)
            goal = float(row["expected_yield_ton_per_acre"])
            for value in (low, (low + high) / 2, high, max(0, low - 0.5), high + 0.49):
                found = ask("P2O5", goal=goal, **bray(value))
                assert found.value == float(row["p2o5_lb_per_acre"]), (goal, value)


def test_where_table_and_equation_disagree_the_table_wins() -> None:
    """Published: Bray 16-20 at 2 ton prints 0; the equation gives (20 - 17.5) x 2 = 5."""
    equation = next(e for e in FORAGE.equations if e.extractant is Extractant.BRAY_P1)
    situation = Situation(
        "red clover", tests=(report(p=(17.5, "Bray P1")),), yield_goal=Quantity(2, "ton/acre")
    )
    assert equation.rate(situation).value == 5
    assert recommend(FORAGE, Nutrient.P2O5, situation).value == 0


def test_the_cells_where_the_bray_equation_leaves_the_table_are_exactly_one() -> None:
    """Midpoints 2.5, 7.5, 12.5, 17.5 rounded half up to 5 give the table but for 2 ton at 16-20 ppm."""
    disagreeing = []
    with (PUBLISHED / "guidelines_umn_clover_trefoil_p2o5.csv").open(encoding="utf-8") as handle:
        for row in csv.DictReader(handle):
            number = int(row["soil_p_class"])
            if number == 5:
                continue
            goal = float(row["expected_yield_ton_per_acre"])
            middle = 5 * number - 2.5
            exact = (20 - middle) * goal
            if 5 * int(exact / 5 + 0.5) != int(row["p2o5_lb_per_acre"]):
                disagreeing.append((goal, number))
    assert disagreeing == [(2.0, 4)]


def test_a_yield_between_rows_takes_the_equation_and_says_so() -> None:
    """(20 - 1.0 x 8) x 2.5 = 30 lb/acre, between the printed 25 and 40."""
    found = ask("P2O5", goal=2.5, **bray(8))
    assert found.value == pytest.approx(30)
    assert "between printed rows" in texts(found.steps)
    assert "(20 - 1 x Bray P1 P) x yield" in texts(found.steps)


@pytest.mark.parametrize(
    ("test", "value", "goal", "answer"),
    [("Bray P1", 8, 3.5, 42), ("Olsen", 6, 2.5, 29), ("Bray P1", 25, 2.5, 0), ("Olsen", 6, 6, 69.6)],
)
def test_the_equations_by_hand(test: str, value: float, goal: float, answer: float) -> None:
    """(20 - 8) x 3.5 = 42; (20 - 1.4 x 6) x 2.5 = 29; never below 0; (20 - 8.4) x 6 = 69.6."""
    found = ask("P2O5", goal=goal, tests=(report(p=(value, test)),))
    assert found.value == pytest.approx(answer)


def test_published_equation_values() -> None:
    """Arithmetic on the published formulas: Bray 8 at 3 ton 36; Olsen 6 at 3 ton 34.8; Bray 25 gives 0."""
    by_test = {e.extractant: e for e in FORAGE.equations if "red clover" in e.crops}
    for name, value, answer in (
        (Extractant.BRAY_P1, 8, 36),
        (Extractant.OLSEN, 6, 34.8),
        (Extractant.BRAY_P1, 25, 0),
    ):
        situation = Situation("red clover", (report(p=(value, name.value)),), Quantity(3, "ton/acre"))
        assert by_test[name].rate(situation).value == pytest.approx(answer)


def test_potash_has_no_equation_so_the_nearest_row_is_taken_and_marked_as_ours() -> None:
    """Rows 2, 3, 4, 5 print 40, 60, 80, 100 at 81-120 ppm; 2.5 is halfway and goes up, 2.4 goes down."""
    assert [ask("K2O", goal=goal, **potash(100)).value for goal in (2.4, 2.5, 3.6)] == [40, 60, 80]
    found = ask("K2O", goal=2.5, **potash(100))
    assert found.assumed
    assert "our default" in texts(found.steps)


def test_a_yield_under_the_printed_rows_without_an_equation_is_unknown() -> None:
    found = ask("K2O", goal=1.0, **potash(100))
    assert (found.value, found.gap) == (None, Gap.OUTSIDE)
    assert "1 ton/acre" in found.reason
    assert "2, 3, 4, 5" in found.reason


def test_a_yield_over_the_printed_rows_needs_at_least_the_highest_and_says_so() -> None:
    """The 5-ton row prints 100 lb K2O at 81-120 ppm."""
    found = ask("K2O", goal=6.0, **potash(100))
    assert (found.value, found.at_least, found.assumed) == (100, True, True)
    assert "at least: the table ends before a yield goal of 6" in found.reason


def test_an_open_last_row_serves_higher_yields() -> None:
    assert ask("K2O", "grass-legume mixture", 7, **potash(100)).value == 100
    assert ask("N", "grasses for hay and pasture", 8).value == 150


def test_an_unstated_yield_takes_the_lowest_row_and_is_marked_as_ours() -> None:
    found = ask("P2O5", **bray(8))
    assert (found.value, found.assumed) == (25, True)
    assert "No yield goal stated: lowest printed row" in texts(found.steps)
    refused = ask("P2O5", lowest_yield=False, **bray(8))
    assert refused.value is None
    assert "no yield goal is stated" in refused.reason


def test_no_yield_is_asked_for_where_every_row_prints_the_same() -> None:
    found = ask("P2O5", lowest_yield=False, **bray(30))
    assert (found.value, found.assumed) == (0, False)


def test_a_yield_in_other_units_is_converted_and_in_another_kind_refused() -> None:
    """4.4834 t/ha are 2 short tons per acre (1 ton/acre = 2.2417 t/ha)."""
    exact = 2 * 2000 * 0.45359237 / (43560 * 0.3048**2) * 10
    assert ask("K2O", goal=exact, unit="t/ha", **potash(100)).value == 40
    refused = ask("K2O", goal=60, unit="bu/acre", **potash(100))
    assert "60 bu/acre is not in ton/acre" in refused.reason
    assert "-2 ton/acre cannot be" in ask("K2O", goal=-2, **potash(100)).reason


def test_steps_lead_from_the_lab_number_to_the_printed_row() -> None:
    found = ask("P2O5", goal=2, **bray(8))
    values = [(step.value, step.unit) for step in found.steps]
    assert values == [(8, "ppm P"), ("Bray P1 6 to 10 ppm", ""), (2, "ton/acre"), (25, "lb P2O5/acre")]
    source = found.steps[-1].source
    assert source.row == "2 ton/acre, Bray P1 6 to 10 ppm"
    assert "Fertilizing red clover" in source.publication
    assert source.table == "phosphate table"


def test_a_test_the_table_was_not_written_for_is_refused() -> None:
    found = ask("P2O5", goal=2, tests=(report(p=(20, "Mehlich-3")),))
    assert found.value is None
    assert "20 ppm P by Mehlich-3" in found.reason
    refused = ask("K2O", goal=2, tests=(report(k=(90, "Mehlich-1")),))
    assert "90 ppm K by Mehlich-1" in refused.reason


def test_the_k_test_of_the_minnesota_tables_is_assumed_and_said() -> None:
    found = ask("K2O", goal=2, **potash(100))
    assert found.assumed
    assert "does not name its K test" in texts(found.steps)


def test_a_converted_test_answers_only_on_request_and_marked() -> None:
    """22 ppm Mehlich-3 ICP = 10.224 Bray P1, class 6 to 10: 25 lb at 2 ton."""
    tests = (report(p=(22, "Mehlich-3 ICP")),)
    assert ask("P2O5", goal=2, tests=tests).value is None
    found = ask("P2O5", goal=2, tests=tests, convert_extractants=True)
    assert (found.value, found.assumed) == (25, True)


def test_a_figure_outside_closed_classes_is_unknown() -> None:
    spans = {"0 to 5": 30.0, "6 to 10": 20.0}
    rows = tuple(
        RateRow({Extractant.BRAY_P1: parse_span(text)}, {}, value, "", n)
        for n, (text, value) in enumerate(spans.items(), start=2)
    )
    table = RateTable(Nutrient.P2O5, ("x",), "lb/acre", rows, SOURCE, "P", "ppm", (Extractant.BRAY_P1,))
    found = table.rate(Situation("x", (report(p=(14, "Bray P1")),)))
    assert found.value is None
    assert "14 ppm P is outside the printed classes (0 to 5, 6 to 10)" in found.reason


# ---------------------------------------------------------------------------------------------
# Other conditions


def test_grass_nitrogen_by_yield_and_its_split_above_four_tons() -> None:
    """2, 3, 4, 5+ ton: 60, 90, 120, 150; above 4 ton 75 percent in spring, 25 in late August."""
    rates = [ask("N", "grasses for hay and pasture", goal) for goal in (2, 3, 4, 5)]
    assert [rate.value for rate in rates] == [60, 90, 120, 150]
    assert [rate.timings for rate in rates] == [
        (),
        (),
        (),
        ((Timing.TOPDRESS, 0.75), (Timing.AFTER_HARVEST, 0.25)),
    ]


def test_a_split_is_written_down_with_its_own_source() -> None:
    """J. Tesmer, Fillmore County Journal, 2013: above 4 ton, three quarters in spring, the rest in August."""
    found = ask("N", "grasses for hay and pasture", 5)
    assert found.steps[-1].what == "When it goes on above 4 ton/acre"
    assert found.steps[-1].value == "75% top-dress, 25% after harvest"
    assert "Tesmer" in found.steps[-1].source.publication
    assert "When it goes on" not in texts(ask("N", "grasses for hay and pasture", 4).steps)


def test_a_split_for_high_yields_goes_before_the_one_for_any_yield() -> None:
    any_yield = replace(FORAGE.splits[1], above_yield=None, shares=((Timing.TOPDRESS, 1.0),))
    guideline = replace(FORAGE, splits=(any_yield, FORAGE.splits[1]))
    timings = [
        recommend(
            guideline,
            Nutrient.N,
            Situation("grasses for hay and pasture", yield_goal=Quantity(goal, "ton/acre")),
        )
        for goal in (4, 5)
    ]
    assert [len(rate.timings) for rate in timings] == [1, 2]


def test_grass_legume_nitrogen_is_flat_and_top_dressed() -> None:
    found = ask("N", "grass-legume mixture")
    assert (found.value, found.timings, found.assumed) == (60, ((Timing.TOPDRESS, 1.0),), False)
    assert "less or none may do" in texts(found.steps)
    assert "When it goes on = 100% top-dress" in texts(found.steps)


@pytest.mark.parametrize("seeding", [True, False, None])
@pytest.mark.parametrize("texture", ["sandy loam", "silt loam", ""])
def test_an_inoculated_legume_needs_no_nitrogen(seeding: bool | None, texture: str) -> None:
    found = ask("N", seeding=seeding, texture=texture)
    assert found.value == 0
    assert "inoculated" in found.reason
    allowance = seeding is not False and texture in ("sandy loam", "")
    assert ("less than 25 lb" in texts(found.steps)) is allowance
    assert found.reason.count("inoculated") == 1


def oats(previous: str = "", goal: float | None = 90, matter: float | None = 2.5, stand: str = "") -> Rate:
    """Ask for oat nitrogen."""
    return ask(
        "N",
        "oats",
        goal,
        unit="bu/acre",
        previous_crop=previous,
        organic_matter_pct=matter,
        previous_stand=stand,
    )


def test_oats_after_soybeans() -> None:
    """Table 3.1: 81-100 bu, low organic matter 40; medium 30; 101-120 bu 60; 80.5 bu rounds up to 81."""
    assert oats("soybeans").value == 40
    assert oats("Soybean", matter=3.4).value == 30
    assert oats("soybeans", matter=2.99).value == 40
    assert oats("soybeans", 110).value == 60
    assert oats("soybeans", 80.4).value == 20
    assert oats("soybeans", 80.5).value == 40
    assert oats("soybeans").counts_previous_crop


@pytest.mark.parametrize(
    ("found", "offending"),
    [
        (oats(""), "previous crop"),
        (oats("corn"), "corn"),
        (oats("soybeans", matter=None), "organic matter"),
        (oats("alfalfa"), "stand"),
        (oats("alfalfa", stand="2 plants/ft2"), "stand 2"),
        (oats("field peas"), "20 lb/acre apart"),
        (oats("soybeans", 30), "30 bu/acre"),
    ],
)
def test_what_the_oat_table_cannot_answer_is_unknown_with_the_fact_it_lacks(
    found: Rate, offending: str
) -> None:
    assert found.value is None
    assert offending in found.reason


def test_a_fact_is_not_asked_for_where_the_rows_agree() -> None:
    """After alfalfa of 4 plants and more every cell prints 0, whatever the organic matter."""
    assert oats("alfalfa", matter=None, stand="5 plants/ft2").value == 0
    assert oats("soybeans", 50, matter=None).value == 0  # 40-60 bu print 0 for both


@pytest.mark.parametrize(
    ("previous", "matter", "answer"), [("Clover", None, 20), ("rye", 2.0, 80), ("rye", 3.0, 60)]
)
def test_the_worked_example_of_a_users_own(previous: str, matter: float | None, answer: float) -> None:
    situation = Situation("brassica", previous_crop=previous, organic_matter_pct=matter)
    assert recommend(OWN, Nutrient.N, situation).value == answer


def test_legume_share_can_decide() -> None:
    rows = tuple(
        RateRow({}, {"legume share": parse_span(text)}, value, "", n)
        for n, (text, value) in enumerate({"<30": 60.0, "30+": 0.0}.items())
    )
    table = RateTable(Nutrient.N, ("mix",), "lb/acre", rows, SOURCE)
    assert [table.rate(Situation("mix", legume_pct=share)).value for share in (20, 29.9, 30, 80)] == [
        60,
        60,
        0,
        0,
    ]
    assert "legume share" in table.rate(Situation("mix")).reason


def test_blank_zero_and_not_printed_are_three_things() -> None:
    blank = RateTable(Nutrient.S, ("x",), "lb/acre", (RateRow({}, {}, None, "", 1),), SOURCE)
    zero = RateTable(Nutrient.S, ("x",), "lb/acre", (RateRow({}, {}, 0.0, "", 1),), SOURCE)
    assert blank.rate(Situation("x")).reason == "the table leaves this cell blank"
    assert zero.rate(Situation("x")).value == 0
    assert "prints no S rule" in ask("S").reason
    assert ask("S", "alfalfa").value is None
    assert "10 to 25 lb S/acre" in ask("S", "alfalfa").reason


def test_an_equation_needs_a_yield() -> None:
    equation = Equation(
        Nutrient.P2O5, ("x",), "lb/acre", "P", "ppm", Extractant.BRAY_P1, 20, 1, "ton/acre", SOURCE
    )
    refused = equation.rate(Situation("x", (report(p=(8, "Bray P1")),)))
    assert refused.value is None
    assert "yield goal" in refused.reason


# ---------------------------------------------------------------------------------------------
# Rating matrix


@pytest.mark.parametrize(
    "case", [case for case in CASES.values() if case["kind"] == "matrix"], ids=lambda c: c["id"]
)
def test_published_matrix_answers(case: Mapping[str, Any]) -> None:
    """Clemson sheets; P6 catches a model of row plus column."""
    guideline = guidelines.load_guideline("clemson-matrix")
    inputs = case["inputs"]
    (matrix,) = [m for m in guideline.matrices if inputs["crop"] in m.crops]
    for nutrient, answer in case["answer"].items():
        found = matrix.rate_for_ratings(Nutrient(nutrient), inputs["P"].lower(), inputs["K"])
        assert found.value == answer
        assert found.steps[-1].source.row == f"P {inputs['P']}, K {inputs['K']}"


def test_a_matrix_says_what_it_cannot() -> None:
    guideline = guidelines.load_guideline("clemson-matrix")
    matrix = guideline.matrices[0]
    assert "'Optimum'" in matrix.rate_for_ratings(Nutrient.P2O5, "Optimum", "Low").reason
    assert "comment 701" in matrix.rate_for_ratings(Nutrient.N, "Low", "Low").reason
    found = recommend(guideline, Nutrient.P2O5, Situation("alfalfa", (report(p=(20, "Mehlich-1")),)))
    assert found.value is None
    assert "were not read" in found.reason


def test_a_matrix_with_printed_edges_rates_the_figures_itself() -> None:
    """Edges of our own for the mechanism: P under 20 Low, else High; K the same at 100."""
    pairs = {("Low", "Low"): 50.0, ("Low", "High"): 40.0, ("High", "Low"): 10.0, ("High", "High"): 0.0}
    cells = {pair: MatrixCell({Nutrient.P2O5: value}, {}, n) for n, (pair, value) in enumerate(pairs.items())}

    def edges(low: str, high: str) -> tuple[tuple[str, Mapping[Extractant, Span]], ...]:
        return (
            ("Low", {Extractant.MEHLICH_1: parse_span(low)}),
            ("High", {Extractant.MEHLICH_1: parse_span(high)}),
        )

    matrix = RatingMatrix(
        ("x",), "lb/acre", cells, SOURCE, {"P": edges("0 to 19", "20+"), "K": edges("0 to 99", "100+")}
    )
    tests = (report(p=(19.4, "Mehlich-1"), k=(99.5, "Mehlich-1")),)
    found = matrix.rate_of(Nutrient.P2O5, Situation("x", tests))
    assert found.value == 40
    assert [s.value for s in found.steps if s.what.startswith("Rating")] == ["Low", "High"]
    refused = matrix.rate_of(Nutrient.P2O5, Situation("x", (report(p=(19, "Mehlich-1"), k=(90, "Olsen")),)))
    assert "90 ppm K by Olsen" in refused.reason


def test_a_matrix_answers_what_every_fitting_cell_agrees_on() -> None:
    """Clemson 029: nitrogen is 90 in all 25 cells, so no rating is needed. Ours: K Low, P not rated."""
    clemson = guidelines.load_guideline("clemson-matrix")
    grain = recommend(clemson, Nutrient.N, Situation("small grain", ()))
    assert (grain.value, grain.reason) == (90, "one rate in every row")
    assert recommend(clemson, Nutrient.K2O, Situation("small grain", ())).value is None
    rates = {("Low", "Low"): (50, 80), ("High", "Low"): (0, 80), ("Low", "High"): (50, 0)}
    cells = {
        pair: MatrixCell({Nutrient.P2O5: p, Nutrient.K2O: k}, {}, n)
        for n, (pair, (p, k)) in enumerate({**rates, ("High", "High"): (0, 0)}.items())
    }
    test = Extractant.MEHLICH_1
    edges = tuple(
        (rating, {test: parse_span(span)}) for rating, span in (("Low", "0 to 99"), ("High", "100+"))
    )
    matrix = RatingMatrix(("x",), "lb/acre", cells, SOURCE, {"P": edges, "K": edges})
    potash_only = Situation("x", (report(k=(50, "Mehlich-1")),))
    found = matrix.rate_of(Nutrient.K2O, potash_only)
    assert (found.value, found.reason) == (80, "one rate in every row of K Low")
    assert "phosphorus was not tested" in matrix.rate_of(Nutrient.P2O5, potash_only).reason


# ---------------------------------------------------------------------------------------------
# Crops


def test_a_crop_without_a_rule_gets_none_of_its_neighbours() -> None:
    for crop in ("grasses for hay and pasture", "oats", "alfalfa", "sunflower"):
        found = ask("P2O5", crop, 2, **bray(3))
        assert found.value is None
        assert f"prints no P2O5 rule for {crop}" in found.reason


def test_a_guideline_without_yield_is_possible() -> None:
    """Some publications have given up yield goals; the worked example prints P by class alone."""
    found = recommend(OWN, Nutrient.P2O5, Situation("brassica", (report(p=(12, "M3 ICP")),)))
    assert (found.value, found.assumed) == (60, False)
    assert replace(found, steps=()).reason == "Mehlich-3 ICP 0 to 15 ppm"
