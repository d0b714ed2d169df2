"""What does a lab number mean, and which report governs?

The rooms: `records` (readings, reports, manure analyses), `readings` (extractants, buffers, units, depths),
`governing` (which of several reports counts, and what it says), `secondary` (low sulfur, magnesium and
micronutrients).
"""

from loamwright.soil.governing import (
    SoilValue,
    latest_date,
    mean,
    mean_figure,
    newest,
    sample_text,
    soil_value,
    usable_tests,
)
from loamwright.soil.readings import (
    INCH_M,
    INDEX_UNITS,
    RATE_UNITS_KG_HA,
    SOIL_UNITS,
    WITHOUT_TABLE,
    Buffer,
    Extractant,
    Missing,
    plain_name,
    rate_kg_ha,
    read_buffer,
    read_extractant,
    read_unit,
    to_unit,
    unit_of,
)
from loamwright.soil.records import LabRecommendation, OrganicInput, Reading, SoilTest
from loamwright.soil.secondary import flag, wants_dolomitic

__all__ = [
    "INCH_M",
    "INDEX_UNITS",
    "RATE_UNITS_KG_HA",
    "SOIL_UNITS",
    "WITHOUT_TABLE",
    "Buffer",
    "Extractant",
    "LabRecommendation",
    "Missing",
    "OrganicInput",
    "Reading",
    "SoilTest",
    "SoilValue",
    "flag",
    "latest_date",
    "mean",
    "mean_figure",
    "newest",
    "plain_name",
    "rate_kg_ha",
    "read_buffer",
    "read_extractant",
    "read_unit",
    "sample_text",
    "soil_value",
    "to_unit",
    "unit_of",
    "usable_tests",
    "wants_dolomitic",
]
