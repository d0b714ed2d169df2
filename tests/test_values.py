"""The records that travel: frozen, slotted, and honest about what is not known.

There is nothing to publish-check here; the checks are the house rules themselves: a record never
changes after it is made, never grows a field, and an optional figure is None, not zero, when unstated.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import importlib
import inspect
import pickle
import typing
from decimal import Decimal

import pytest

from loamwright import errors, values
from loamwright.errors import InputError, Level, Problem, has_errors
from loamwright.needs.records import LimeNeed, Need, PlotNeeds
from loamwright.planning.records import Outcome, Plan
from loamwright.soil.records import SoilTest
from loamwright.supplies.records import Form, Offer, Product
from loamwright.values import USER, LaterSteps, Nutrient, Settings, Source, Spreader, Step, Timing
from loamwright.work.records import Application, Done

RECORD_FILES = tuple(
    importlib.import_module(f"loamwright.{package}.records")
    for package in ("land", "soil", "needs", "supplies", "planning", "work")
)
RECORDS = [
    record
    for module in (values, errors, *RECORD_FILES)
    for _, record in inspect.getmembers(module, inspect.isclass)
    if dataclasses.is_dataclass(record) and record.__module__ == module.__name__
]
FIELDS = [(record, field) for record in RECORDS for field in dataclasses.fields(record)]

#: Numbers whose default is a real zero or count, with what the zero says.
ZERO_IS_MEANT = {
    ("Plot", "weight"): "1 = a plot that matters as much as any",
    ("Offer", "in_stock"): "nothing on hand",
    ("Offer", "min_order"): "no smallest order",
    ("Offer", "delivery_fee"): "delivered free",
    ("Settings", "test_age_limit_years"): "our stated default",
    ("Settings", "spreading_cost_per_ha"): "own time is not counted",
    ("Settings", "spreading_cost_per_pass"): "own time is not counted",
    ("Settings", "hauling_cost_per_kg"): "own time is not counted",
    ("Settings", "max_products_per_plot"): "our stated default; None = no limit",
    ("Settings", "gps_sigma_m"): "our stated default",
    ("WorkRules", "labour_per_hour"): "own time is not counted; the hours are shown",
    ("WorkRules", "minutes_per_stop"): "our stated default",
    ("WorkRules", "minutes_per_fill"): "our stated default",
    ("WorkRules", "odd_amount_cost"): "our stated default",
    ("WorkRules", "least_job_share"): "our stated default",
    ("WorkRules", "spare"): "nothing is bought to spare",
    ("WorkRules", "cost_per_haul"): "fetching costs by weight alone",
    ("Blending", "fee_per_kg"): "the plant blends for nothing",
    ("Blending", "min_order_kg"): "no smallest order",
    ("Blending", "delivery_fee"): "delivered free",
    ("Plan", "filling_cost"): "own time is not counted",
    ("Plan", "handling_cost"): "own time is not counted",
    ("Stop", "load_rate_kg_ha"): "stored before a load could hold several products",
    ("Settings", "legume_share_no_n_pct"): "our stated default, with its sources",
    ("Cropping", "position"): "the first crop of the season",
    ("Plot", "reach_months"): "no month is named",
    ("PlotArea", "parts"): "one polygon",
    ("PlotArea", "holes"): "no holes",
    ("Purchase", "left_over_kg"): "all of it is used",
    ("Plan", "season"): "not stored yet",
    ("Stop", "load"): "the first fill",
}


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_records_are_frozen_and_slotted(record: type) -> None:
    parameters = record.__dataclass_params__  # type: ignore[attr-defined]
    assert parameters.frozen
    assert "__slots__" in vars(record)
    assert not hasattr(object.__new__(record), "__dict__")


def test_a_record_cannot_be_changed() -> None:
    source = Source("user")
    with pytest.raises(dataclasses.FrozenInstanceError):
        source.edition = "2011"  # type: ignore[misc]
    with pytest.raises((AttributeError, TypeError)):
        source.pages = "12"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("record", "field"), FIELDS, ids=[f"{record.__name__}.{field.name}" for record, field in FIELDS]
)
def test_an_unstated_figure_is_none_not_zero(record: type, field: dataclasses.Field[object]) -> None:
    """A numeric field has no default, or None, or a zero that is named above with its meaning."""
    kind = typing.get_type_hints(record)[field.name]
    numeric = {int, float, Decimal} & ({kind} | set(typing.get_args(kind)))
    if not numeric or field.default is dataclasses.MISSING or field.default is None:
        return
    if isinstance(field.default, bool):
        return
    assert (record.__name__, field.name) in ZERO_IS_MEANT


def test_no_exemption_is_stale() -> None:
    known = {(record.__name__, field.name) for record, field in FIELDS}
    assert set(ZERO_IS_MEANT) <= known


def test_not_guaranteed_is_not_zero() -> None:
    """A nutrient absent from the analysis is not guaranteed; one at 0 is guaranteed to be absent."""
    silent = Product("bag", Form.DRY, {Nutrient.P2O5: 46.0})
    zero = Product("bag", Form.DRY, {Nutrient.P2O5: 46.0, Nutrient.N: 0.0})
    assert Nutrient.N not in silent.analysis_pct
    assert silent != zero


def test_not_tested_is_not_zero() -> None:
    test = SoilTest("T1", "A1")
    assert test.ph is None
    assert test.readings == {}
    assert test.recommendation is None


def test_a_missing_price_is_not_free() -> None:
    assert Offer("O1", "urea", "50 lb bag", 22.7, None).price != Decimal(0)


def test_records_do_not_share_their_mappings() -> None:
    one, other = Product("a", Form.DRY), Product("b", Form.DRY)
    assert one.analysis_pct is not other.analysis_pct
    assert Settings().surplus_limit_kg_ha is not Settings().surplus_limit_kg_ha


def test_a_source_reads_as_one_line() -> None:
    whole = Source("Univ. of Somewhere, Forage", "2011", "Table 1", "6-10 ppm, 2 ton")
    assert str(whole) == "Univ. of Somewhere, Forage, 2011, Table 1, 6-10 ppm, 2 ton"
    assert str(Source("label")) == "label"
    assert str(Source("lab", row="P")) == "lab, P"


def test_timings_are_in_calendar_order() -> None:
    assert [timing.value for timing in Timing] == [
        "before planting",
        "at planting",
        "top-dress",
        "after harvest",
    ]


def test_a_plot_knows_its_need_by_nutrient() -> None:
    nitrogen = Need("A1", Nutrient.N, values.NeedState.NONE, "legume", 0.0, 0.0, 0.0)
    plot = PlotNeeds("A1", (nitrogen,), LimeNeed("A1", values.NeedState.UNKNOWN, "not tested"))
    assert plot.of(Nutrient.N) is nitrogen
    assert plot.of(Nutrient.K2O) is None
    assert plot.lime.rate_kg_ha is None


def test_the_total_is_to_the_cent() -> None:
    """0.1 + 0.2 + 0.3 in floats is not 0.6; money is."""
    plan = Plan("P1", Outcome.PROVED, 0.0, Decimal("0.10"), Decimal("0.20"), Decimal("0.30"))
    assert plan.total_cost == Decimal("0.60")


def test_an_entry_keeps_what_was_written() -> None:
    entry = Application("E1", "A1", "urea", Done.NOT_DONE, dt.date(2026, 5, 1), 0.0)
    assert (entry.mass_kg, entry.area_m2, entry.cost) == (0.0, None, None)


def test_a_spreader_states_nothing_it_was_not_told() -> None:
    stated = dataclasses.asdict(Spreader("ATV spreader"))
    told = {key for key, value in stated.items() if value not in (None, False)}  # heavy only when told
    assert told == {"name"}


def test_problems_read_where_what_fix() -> None:
    problem = Problem("soil_tests.csv, row 4, p", "'abc' is not a number", "Write digits only.")
    assert str(problem) == "soil_tests.csv, row 4, p: 'abc' is not a number. Write digits only."
    assert str(Problem("row 4", "'abc' is not a number", "")) == "row 4: 'abc' is not a number"


def test_input_errors_carry_every_problem() -> None:
    problems = [Problem("a", "first", ""), Problem("b", "second", "Fix it.")]
    error = InputError(iter(problems))
    assert error.problems == tuple(problems)
    assert str(error) == "a: first\nb: second. Fix it."


@pytest.mark.parametrize(
    ("level", "left_out"), [(Level.ERROR, True), (Level.WARNING, False), (Level.NOTE, False)]
)
def test_only_errors_leave_something_out(level: Level, left_out: bool) -> None:
    assert has_errors([Problem("a", "b", "c", level)]) is left_out


# Steps put into words later ---------------------------------------------------------------------


def test_later_steps_read_like_their_tuple_and_are_made_once_and_only_when_looked_at() -> None:
    calls = []

    def make() -> tuple[Step, ...]:
        calls.append(1)
        return steps

    steps = (Step("a", 1.0, "lb", USER), Step("b", None, "", USER))
    later = LaterSteps(make)
    assert calls == []
    assert (len(later), later[0], later[-1], later[:1]) == (2, steps[0], steps[1], steps[:1])
    assert [*later] == [*steps]
    assert later == steps
    assert later == LaterSteps(lambda: steps)
    assert later != steps[:1]
    assert later != list(steps)
    assert (hash(later), repr(later)) == (hash(steps), repr(steps))
    assert pickle.loads(pickle.dumps(later)) == steps
    assert calls == [1]
