"""What does the lab, or the bulletin, say this plot needs?

The rooms, from the table up: `records` (needs and credits), `crops` (what crops are called), `classes`,
`rates`, `formulas`, `maintenance`, `takeaway`, `called` and `lime_rules` (the forms in which tables are
published), `publication` (one edition of one publication), `credits`, `choice` (which editions are asked),
`case` (one plot's question, asked once), `lime_need` and `nutrients` (the answers).
"""

from loamwright.needs.called import ClassTable
from loamwright.needs.choice import (
    DEPTH,
    Choice,
    Chosen,
    ForCrop,
    lime_depth_rule,
    lime_edition,
    read_chosen,
    write_chosen,
)
from loamwright.needs.classes import Span, parse_span
from loamwright.needs.credits import LegumeRow, LegumeTable, ManureTable, season_year, with_usable_shares
from loamwright.needs.crops import CropName, CropNames
from loamwright.needs.decisions import Decision, governing_decision, lime_to_decide, read_decision
from loamwright.needs.formulas import Norm, Parabola, Quadratic
from loamwright.needs.lime_need import read_lab_lime
from loamwright.needs.lime_rules import (
    DEPTH_RULES,
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
    prints_rule,
)
from loamwright.needs.rates import CONDITIONS, YIELD, Cell, Equation, RateRow, RateTable
from loamwright.needs.records import Credit, LimeNeed, Need, PlotNeeds
from loamwright.needs.seen import (
    NITROGEN,
    WHOLE_FRACTION,
    Clock,
    growing_since,
    left_of_earlier,
    sample_dates,
    season_dates,
    season_of,
)
from loamwright.needs.takeaway import Kept, Takeaway, Taken, read_use

__all__ = [
    "CONDITIONS",
    "DEPTH",
    "DEPTH_RULES",
    "NITROGEN",
    "WHOLE_FRACTION",
    "YIELD",
    "AcidityByPh",
    "AcidityFormula",
    "AcidityRow",
    "BufferTable",
    "Cell",
    "Choice",
    "Chosen",
    "ClassTable",
    "Clock",
    "Credit",
    "Crop",
    "CropName",
    "CropNames",
    "Decision",
    "DepthFactor",
    "Equation",
    "FlatLime",
    "ForCrop",
    "Guideline",
    "Kept",
    "LegumeRow",
    "LegumeTable",
    "Level",
    "LimeNeed",
    "LimeRule",
    "Maintenance",
    "ManureTable",
    "MatrixCell",
    "Need",
    "Norm",
    "Parabola",
    "PlotNeeds",
    "Quadratic",
    "RateRow",
    "RateTable",
    "RatingMatrix",
    "Region",
    "Removal",
    "Span",
    "Split",
    "Status",
    "Takeaway",
    "Taken",
    "governing_decision",
    "growing_since",
    "left_of_earlier",
    "lime_depth_rule",
    "lime_edition",
    "lime_to_decide",
    "missing_guideline",
    "parse_span",
    "plot_needs",
    "prints_rule",
    "read_chosen",
    "read_decision",
    "read_lab_lime",
    "read_use",
    "sample_dates",
    "season_dates",
    "season_of",
    "season_year",
    "with_usable_shares",
    "write_chosen",
]
