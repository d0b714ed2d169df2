"""Paper, spreadsheets, and files for other programs.

The rooms: `paper`, `drawings` and `workbook` are what pages are made with; `orders`, `booklet`,
`round_sheets`, `buying_list`, `sampling_sheets`, `season_record`, `season_picture`, `budget_chart` are the
pages; `exports`, `device_files`, `taskfile` and `lab_order` are the files.
"""

from loamwright.handoff.booklet import has_rounds, write_booklet
from loamwright.handoff.budget_chart import write_budget_chart
from loamwright.handoff.buying_list import write_buying_list
from loamwright.handoff.exports import KINDS, check_kind, export, write_areas, write_needs
from loamwright.handoff.lab_order import write_lab_order
from loamwright.handoff.orders import write_arithmetic, write_orders
from loamwright.handoff.paper import READERS, PaperMade, PaperOptions, check_paper, check_reader
from loamwright.handoff.sampling_sheets import write_sampling_sheets
from loamwright.handoff.season_picture import write_season_picture
from loamwright.handoff.season_record import write_season_record

__all__ = [
    "KINDS",
    "READERS",
    "PaperMade",
    "PaperOptions",
    "check_kind",
    "check_paper",
    "check_reader",
    "export",
    "has_rounds",
    "write_areas",
    "write_arithmetic",
    "write_booklet",
    "write_budget_chart",
    "write_buying_list",
    "write_lab_order",
    "write_needs",
    "write_orders",
    "write_sampling_sheets",
    "write_season_picture",
    "write_season_record",
]
