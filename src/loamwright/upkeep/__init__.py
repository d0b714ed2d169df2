"""The property as something one keeps: show, set, add, retire, rename, undo, buy, decide, next season.

Each function is one change: it opens the file, changes it, works the season out inside the transaction, and
confirms only what the program can read afterwards. Whatever fails leaves the file as it was. The rooms:
`transaction`, `showing`, `editing`, `bookkeeping`, `demo`.
"""

from loamwright.upkeep.bookkeeping import (
    SeasonStarted,
    backup,
    decide,
    fill_checklist,
    purchase,
    start_next_season,
    take_over,
)
from loamwright.upkeep.demo import Demo, build_demo
from loamwright.upkeep.editing import add, rename, retire, set_fields, undo
from loamwright.upkeep.showing import ChangeRow, ShownField, change_row, changes, show
from loamwright.upkeep.transaction import Changed

__all__ = [
    "ChangeRow",
    "Changed",
    "Demo",
    "SeasonStarted",
    "ShownField",
    "add",
    "backup",
    "build_demo",
    "change_row",
    "changes",
    "decide",
    "fill_checklist",
    "purchase",
    "rename",
    "retire",
    "set_fields",
    "show",
    "start_next_season",
    "take_over",
    "undo",
]
