"""What does the lab, or the bulletin, say this plot needs?

The rooms, from the table up: `records` (needs and credits), `classes`, `rates`, `maintenance` and
`lime_rules` (the forms in which tables are published), `publication` (one edition of one publication),
`credits`, `case` (one plot's question, asked once), `lime_need` and `nutrients` (the answers).
"""

from loamwright.needs.classes import Span, parse_span
from loamwright.needs.credits import LegumeRow, LegumeTable, ManureTable
from loamwright.needs.decisions import Decision, governing_decision, lime_to_decide, read_decision
from loamwright.needs.lime_need import read_lab_lime
from loamwright.needs.lime_rules import (
    AcidityByPh,
    AcidityFormula,
    AcidityRow,
    BufferTable,
    DepthFactor,
    FlatLime,
    LimeRule,
)
from loamwright.needs.maintenance import Level, Maintenance, Removal
from loamwright.needs.nutrients import plot_needs
from loamwright.needs.publication import (
    Crop,
    Guideline,
    MatrixCell,
    RatingMatrix,
    Region,
    Split,
    Status,
    missing_guideline,
)
from loamwright.needs.rates import CONDITIONS, YIELD, Cell, Equation, RateRow, RateTable
from loamwright.needs.records import Credit, LimeNeed, Need, PlotNeeds
from loamwright.needs.seen import (
    NITROGEN,
    Clock,
    growing_since,
    left_of_earlier,
    sample_dates,
    season_dates,
    season_of,
)

__all__ = [
    "CONDITIONS",
    "NITROGEN",
    "YIELD",
    "AcidityByPh",
    "AcidityFormula",
    "AcidityRow",
    "BufferTable",
    "Cell",
    "Clock",
    "Credit",
    "Crop",
    "Decision",
    "DepthFactor",
    "Equation",
    "FlatLime",
    "Guideline",
    "LegumeRow",
    "LegumeTable",
    "Level",
    "LimeNeed",
    "LimeRule",
    "Maintenance",
    "ManureTable",
    "MatrixCell",
    "Need",
    "PlotNeeds",
    "RateRow",
    "RateTable",
    "RatingMatrix",
    "Region",
    "Removal",
    "Span",
    "Split",
    "Status",
    "governing_decision",
    "growing_since",
    "left_of_earlier",
    "lime_to_decide",
    "missing_guideline",
    "parse_span",
    "plot_needs",
    "read_decision",
    "read_lab_lime",
    "sample_dates",
    "season_dates",
    "season_of",
]
