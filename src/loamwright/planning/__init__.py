"""What to buy, and where to put it?

The rooms: `records` (the plan), `targets` (what must be reached, what may not be exceeded), `inputs`,
`passes` (what is already decided), `model` and `solver` (the mixed-integer program), `search`, `lines` (the
answer's words and sums), `shortfalls` (what cannot be done), `planner` (the order of it all), `reasons`,
`alternatives` (tight budgets, habits), `custom_blends`.
"""

from loamwright.planning.alternatives import Compared, CurvePoint, Habit, compare_habits, coverage_curve
from loamwright.planning.custom_blends import BlendService, CustomBlend, order_blend
from loamwright.planning.freshness import Aged, bought_outside, figure, key, over_the_plan, what_aged
from loamwright.planning.inputs import FixedPass, PlanPlot, Terms, Ware
from loamwright.planning.lines import PurchaseList, purchase_lists
from loamwright.planning.planner import make_plan
from loamwright.planning.reasons import NutrientReason, PlotCost, Reasons, explain
from loamwright.planning.records import Coverage, Outcome, Plan, PlanLine, Purchase
from loamwright.planning.targets import LimeDose, lime_ledger, plan_plots

__all__ = [
    "Aged",
    "BlendService",
    "Compared",
    "Coverage",
    "CurvePoint",
    "CustomBlend",
    "FixedPass",
    "Habit",
    "LimeDose",
    "NutrientReason",
    "Outcome",
    "Plan",
    "PlanLine",
    "PlanPlot",
    "PlotCost",
    "Purchase",
    "PurchaseList",
    "Reasons",
    "Terms",
    "Ware",
    "bought_outside",
    "compare_habits",
    "coverage_curve",
    "explain",
    "figure",
    "key",
    "lime_ledger",
    "make_plan",
    "order_blend",
    "over_the_plan",
    "plan_plots",
    "purchase_lists",
    "what_aged",
]
