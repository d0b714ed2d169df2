"""The whole story of one property and season: open → areas → needs → plan → hand off → record.

It knows the order of the steps and does no arithmetic of its own; each step is one call to the package that
does. The rooms, in the order of the story: `opening` (the season, worked out as it is asked for), `stories`
(what stands behind its numbers), `purchase_plan` (planning it, and asking why), `handing` (map, paper,
exports), `entries` (taking in what was done), `partitions` (needs of very many plots).
"""

from loamwright.season.close_calls import CloseCall, NotCompared, close_calls, not_compared
from loamwright.season.entries import (
    CatchTest,
    HandEntry,
    log_calibration,
    record_entry,
    record_file,
    record_job,
)
from loamwright.season.handing import (
    Written,
    make_map,
    refuse_old,
    write_orders,
    write_reports,
    write_sampling,
)
from loamwright.season.opening import Progress, Season, past_seasons, view, with_sampling, worked_out
from loamwright.season.partitions import (
    AreasWritten,
    NeedsWritten,
    write_areas_in_parts,
    write_needs_in_parts,
)
from loamwright.season.purchase_plan import (
    OtherWays,
    PlanOptions,
    compare_habits,
    coverage_curve,
    ground_rules,
    keep_blend,
    make_plan,
    order_blend,
    planned_view,
    read_passes,
    reasons,
    what_if,
)
from loamwright.season.stories import acidity, explain, history, lime_ledger, project, without_a_rate

__all__ = [
    "AreasWritten",
    "CatchTest",
    "CloseCall",
    "HandEntry",
    "NeedsWritten",
    "NotCompared",
    "OtherWays",
    "PlanOptions",
    "Progress",
    "Season",
    "Written",
    "acidity",
    "close_calls",
    "compare_habits",
    "coverage_curve",
    "explain",
    "ground_rules",
    "history",
    "keep_blend",
    "lime_ledger",
    "log_calibration",
    "make_map",
    "make_plan",
    "not_compared",
    "order_blend",
    "past_seasons",
    "planned_view",
    "project",
    "read_passes",
    "reasons",
    "record_entry",
    "record_file",
    "record_job",
    "refuse_old",
    "view",
    "what_if",
    "with_sampling",
    "without_a_rate",
    "worked_out",
    "write_areas_in_parts",
    "write_needs_in_parts",
    "write_orders",
    "write_reports",
    "write_sampling",
]
