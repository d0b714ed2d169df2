"""What does a lab sheet, a price sheet or a scale ticket say, and what must a person be asked?

The rooms: `words` (what one text says), `records` (what a file says), `inquiry` (questions, profiles),
`grids` (cells of a file), `layout` (where the table is), `statements` (the lines around it), `figures` and
`recommended` (what columns mean), `sampling_dates`, `sample_rows`, `soil_tables`, `long_tables`, `soil`,
`manure`, `offers`, `tickets`, `modus_ids`, `modus` (the kinds of file), `worth_saying` (remarks), `matching`
(samples to plots), `reader` (the one road in).
"""

from loamwright.files.sheets.figures import FAMILY_TESTS
from loamwright.files.sheets.inquiry import NOT_KNOWN, Profile, keep_answers, load_profile, save_profile
from loamwright.files.sheets.matching import ALL_OF_IT, PlotMatch, match_plots
from loamwright.files.sheets.reader import read_sheet
from loamwright.files.sheets.recommended import AS_SOLD
from loamwright.files.sheets.records import (
    LabReading,
    ManureSample,
    Question,
    Sample,
    SheetAmount,
    SheetContents,
    SheetOffer,
    SheetRecommendation,
    as_data,
)

__all__ = [
    "ALL_OF_IT",
    "AS_SOLD",
    "FAMILY_TESTS",
    "NOT_KNOWN",
    "LabReading",
    "ManureSample",
    "PlotMatch",
    "Profile",
    "Question",
    "Sample",
    "SheetAmount",
    "SheetContents",
    "SheetOffer",
    "SheetRecommendation",
    "as_data",
    "keep_answers",
    "load_profile",
    "match_plots",
    "read_sheet",
    "save_profile",
]
