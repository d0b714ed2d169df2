"""The property as something one keeps: show, set, add, retire, rename, undo, buy, decide, next season.

Each function is one change: it opens the file, changes it, works the season out inside the transaction, and
confirms only what the program can read afterwards. Whatever fails leaves the file as it was. The rooms:
`transaction`, `showing`, `editing`, `drawing`, `bookkeeping`, `checklist`, `demo`.
"""

from loamwright.upkeep.bookkeeping import (
    SeasonStarted,
    backup,
    decide,
    decide_mix,
    purchase,
    start_next_season,
    take_over,
)
from loamwright.upkeep.checklist import ChecklistEntry, checklist, fill_checklist
from loamwright.upkeep.demo import Demo, build_demo
from loamwright.upkeep.drawing import (
    GAP_M,
    close_gap,
    cut_hole,
    cut_out,
    draw_keepout,
    draw_part,
    draw_plot,
    draw_way,
    measure_drawn,
    merge_plots,
    redraw_plot,
    shape_print,
    split_plot,
)
from loamwright.upkeep.editing import add, rename, retire, set_fields, undo
from loamwright.upkeep.showing import ChangeRow, ShownField, change_row, changes, show
from loamwright.upkeep.transaction import Changed

__all__ = [
    "GAP_M",
    "ChangeRow",
    "Changed",
    "ChecklistEntry",
    "Demo",
    "SeasonStarted",
    "ShownField",
    "add",
    "backup",
    "build_demo",
    "change_row",
    "changes",
    "checklist",
    "close_gap",
    "cut_hole",
    "cut_out",
    "decide",
    "decide_mix",
    "draw_keepout",
    "draw_part",
    "draw_plot",
    "draw_way",
    "fill_checklist",
    "measure_drawn",
    "merge_plots",
    "purchase",
    "redraw_plot",
    "rename",
    "retire",
    "set_fields",
    "shape_print",
    "show",
    "split_plot",
    "start_next_season",
    "take_over",
    "undo",
]
