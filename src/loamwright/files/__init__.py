"""Everything the user brings, and the property file that keeps it.

The rooms: `textrows` (a CSV or XLSX as rows of text), `fields` (the texts of a row and what they mean),
`tables`, `pricelists`, `field_records`, `settings` (what the columns mean), `vectors` (map files as shapes
and words), `plots` (what they mean), `sections`, `editions` and `guidelines` (published tables), `reference`
(figures that ship with the program), `columns` and `property_file` (the GeoPackage), `intake` (the way in).
"""

from loamwright.files.field_records import records_from
from loamwright.files.fields import parse_date, parse_percent
from loamwright.files.guidelines import GuidelineInfo, load_guideline
from loamwright.files.intake import (
    PROPERTY_SUFFIX,
    check_guideline,
    compare,
    guideline_editions,
    import_files,
    measure,
    new_property,
    price_list,
)
from loamwright.files.pricelists import parse_grade
from loamwright.files.property_file import create, edit, load, refuse_to_replace
from loamwright.files.reference import (
    known_materials,
    load_caution_texts,
    load_change_figures,
    load_sampling_guides,
)
from loamwright.files.settings import info_from
from loamwright.files.tables import applications_from, passes_from
from loamwright.files.textrows import SUFFIXES, read_table
from loamwright.files.vectors import LayerFeature, LayerKind, Value, write_layer

__all__ = [
    "PROPERTY_SUFFIX",
    "SUFFIXES",
    "GuidelineInfo",
    "LayerFeature",
    "LayerKind",
    "Value",
    "applications_from",
    "check_guideline",
    "compare",
    "create",
    "edit",
    "guideline_editions",
    "import_files",
    "info_from",
    "known_materials",
    "load",
    "load_caution_texts",
    "load_change_figures",
    "load_guideline",
    "load_sampling_guides",
    "measure",
    "new_property",
    "parse_date",
    "parse_grade",
    "parse_percent",
    "passes_from",
    "price_list",
    "read_table",
    "records_from",
    "refuse_to_replace",
    "write_layer",
]
