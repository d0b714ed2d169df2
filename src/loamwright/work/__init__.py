"""Who goes where with what, what to look out for, and what is done?

The rooms: `records` (entries, rounds, statuses, and the season as a whole), `calibration` (what a catch
means), `rounds` (loads, trips, order of stops), `ledger` (what counts, what is owed), `history`, `sampling`,
`cautions` (when to warn, with its source).
"""

from loamwright.work.calibration import COURSE_M2, calibrate, rate_per_pass, settings_to_try
from loamwright.work.cautions import fire
from loamwright.work.cautions.case import CautionText
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
from loamwright.work.seasons import NextSeason, next_season

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
    "Done",
    "LineStatus",
    "NextSeason",
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
    "balances",
    "brought_kg",
    "calibrate",
    "entries_that_count",
    "fire",
    "lime_spread",
    "line_statuses",
    "lines_answered",
    "load_words",
    "next_season",
    "on_the_ground",
    "plan_rounds",
    "plan_sampling",
    "plot_histories",
    "project",
    "rate_per_pass",
    "season_entries",
    "season_needs",
    "settings_to_try",
    "taken_off",
    "unknown_corrections",
    "user_figure",
]
