"""What does the lab, or the bulletin, say this plot needs?

The rooms, from the table up: `records` (needs and credits), `classes`, `rates`, `maintenance` and
`lime_rules` (the forms in which tables are published), `publication` (one edition of one publication),
`credits`, `case` (one plot's question, asked once), `lime_need` and `nutrients` (the answers).
"""

from loamwright.needs.classes import Span, parse_span
from loamwright.needs.credits import LegumeRow, LegumeTable, ManureTable
from loamwright.needs.decisions import Decision
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
from loamwright.needs.publication import Crop, Guideline, MatrixCell, RatingMatrix, Region, Split, Status
from loamwright.needs.rates import CONDITIONS, YIELD, Cell, Equation, RateRow, RateTable
from loamwright.needs.records import LimeNeed, Need, PlotNeeds

__all__ = [
    "CONDITIONS",
    "YIELD",
    "AcidityByPh",
    "AcidityFormula",
    "AcidityRow",
    "BufferTable",
    "Cell",
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
    "parse_span",
    "plot_needs",
    "read_lab_lime",
]
