"""Who goes where with what, what to look out for, and what is done?

The rooms: `records` (entries, rounds, statuses, and the season as a whole), `calibration` (what a catch
means), `rounds` (loads, trips, order of stops), `ledger` (what counts, what is owed), `history`, `sampling`,
`cautions` (when to warn, with its source).
"""

from loamwright.work.calibration import COURSE_M2, calibrate, rate_per_pass, settings_to_try
from loamwright.work.cautions import fire
from loamwright.work.cautions.facts import CautionText
from loamwright.work.counting import (
    clocks,
    current_croppings,
    offers_in_stock,
    on_the_rest,
    several_crops,
    stock_of,
    tests_with_their_crops,
)
from loamwright.work.history import (
    ChangeFigure,
    PlotHistory,
    Projection,
    plot_histories,
    project,
    season_needs,
    user_figure,
)
from loamwright.work.ledger import (
    DONE_FRACTION,
    OVER_FRACTION,
    OnTheGround,
    acidity_left,
    balances,
    entries_that_count,
    lime_spread,
    line_statuses,
    lines_answered,
    on_the_ground,
    season_entries,
    taken_off,
    unknown_corrections,
)
from loamwright.work.open_questions import ChoiceRow, choices, too_much_for_one_dose, with_published
from loamwright.work.records import (
    Application,
    Balance,
    Calibration,
    Caution,
    Done,
    LineStatus,
    PropertyRecord,
    Recorded,
    Retired,
    Round,
    SamplingPlan,
    SeasonView,
    Stop,
    Story,
    WorkState,
)
from loamwright.work.rounds import brought_kg, load_words, plan_rounds
from loamwright.work.sampling import SamplingGuide, plan_sampling
from loamwright.work.seasons import next_season
from loamwright.work.standing import aged, known_purchases, stands_on

__all__ = [
    "COURSE_M2",
    "DONE_FRACTION",
    "OVER_FRACTION",
    "Application",
    "Balance",
    "Calibration",
    "Caution",
    "CautionText",
    "ChangeFigure",
    "ChoiceRow",
    "Done",
    "LineStatus",
    "OnTheGround",
    "PlotHistory",
    "Projection",
    "PropertyRecord",
    "Recorded",
    "Retired",
    "Round",
    "SamplingGuide",
    "SamplingPlan",
    "SeasonView",
    "Stop",
    "Story",
    "WorkState",
    "acidity_left",
    "aged",
    "balances",
    "brought_kg",
    "calibrate",
    "choices",
    "clocks",
    "current_croppings",
    "entries_that_count",
    "fire",
    "known_purchases",
    "lime_spread",
    "line_statuses",
    "lines_answered",
    "load_words",
    "next_season",
    "offers_in_stock",
    "on_the_ground",
    "on_the_rest",
    "plan_rounds",
    "plan_sampling",
    "plot_histories",
    "project",
    "rate_per_pass",
    "season_entries",
    "season_needs",
    "settings_to_try",
    "several_crops",
    "stands_on",
    "stock_of",
    "taken_off",
    "tests_with_their_crops",
    "too_much_for_one_dose",
    "unknown_corrections",
    "user_figure",
    "with_published",
]
