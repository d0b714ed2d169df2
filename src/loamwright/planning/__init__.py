"""What to buy, and where to put it?

The rooms: `records` (the plan), `inputs` (what is asked), `terms` (what trips cost, bands), `targets` (what
must be reached, what may not be exceeded), `calendar` (when, and how placed), `passes` (which jobs and loads
could be worth it), `packages`, `model` and `solver` (the mixed-integer program), `search`, `lines` (the
answer's words and sums), `purchase_lists`, `shortfalls` (what cannot be done), `planner` (the order of it
all), `reasons`, `alternatives` (tight budgets, habits, what-if), `custom_blends`.
"""

from loamwright.planning.alternatives import (
    Asked,
    Compared,
    CurvePoint,
    Habit,
    Variant,
    compare_habits,
    coverage_curve,
    dearer,
    what_if,
    with_share,
)
from loamwright.planning.calendar import (
    CalendarRow,
    GroundRule,
    dated_jobs,
    placed_in_time,
    split_faults,
    when_and_how,
)
from loamwright.planning.custom_blends import BlendService, CustomBlend, blend_option, order_blend
from loamwright.planning.freshness import Aged, bought_outside, called, figure, key, over_the_plan, what_aged
from loamwright.planning.inputs import Band, FixedPass, Machine, PlanPlot, Terms, Ware
from loamwright.planning.lines import short_of_bands
from loamwright.planning.planner import make_plan
from loamwright.planning.purchase_lists import PurchaseList, purchase_lists
from loamwright.planning.reasons import NutrientReason, PlotCost, Question, Reasons, explain
from loamwright.planning.records import (
    Coverage,
    DecideKind,
    Job,
    LeftToDecide,
    Outcome,
    Plan,
    PlanLine,
    Purchase,
    StillShort,
    Window,
)
from loamwright.planning.targets import LimeDose, lime_ledger, plan_plots
from loamwright.planning.terms import band_words, bands, handling, hours_words, machines

__all__ = [
    "Aged",
    "Asked",
    "Band",
    "BlendService",
    "CalendarRow",
    "Compared",
    "Coverage",
    "CurvePoint",
    "CustomBlend",
    "DecideKind",
    "FixedPass",
    "GroundRule",
    "Habit",
    "Job",
    "LeftToDecide",
    "LimeDose",
    "Machine",
    "NutrientReason",
    "Outcome",
    "Plan",
    "PlanLine",
    "PlanPlot",
    "PlotCost",
    "Purchase",
    "PurchaseList",
    "Question",
    "Reasons",
    "StillShort",
    "Terms",
    "Variant",
    "Ware",
    "Window",
    "band_words",
    "bands",
    "blend_option",
    "bought_outside",
    "called",
    "compare_habits",
    "coverage_curve",
    "dated_jobs",
    "dearer",
    "explain",
    "figure",
    "handling",
    "hours_words",
    "key",
    "lime_ledger",
    "machines",
    "make_plan",
    "order_blend",
    "over_the_plan",
    "placed_in_time",
    "plan_plots",
    "purchase_lists",
    "short_of_bands",
    "split_faults",
    "what_aged",
    "what_if",
    "when_and_how",
    "with_share",
]
