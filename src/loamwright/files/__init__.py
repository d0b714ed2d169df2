"""Everything the user brings, and the property file that keeps it.

The rooms: `textrows` (a CSV or XLSX as rows of text), `fields` (the texts of a row and what they mean),
`tables`, `pricelists`, `field_records`, `settings` (what the columns mean), `vectors` (map files as shapes
and words), `plots` (what they mean), `sections`, `editions` and `guidelines` (published tables), `reference`
(figures that ship with the program), `columns` and `property_file` (the GeoPackage), `intake` (the way in).
"""

from loamwright.files.catalogue import Thing
from loamwright.files.field_records import records_from
from loamwright.files.fields import parse_date, parse_percent
from loamwright.files.guidelines import (
    GuidelineInfo,
    check_guideline,
    guideline_editions,
    load_for,
)
from loamwright.files.intake import (
    PROPERTY_SUFFIX,
    Imported,
    Measured,
    compare,
    import_files,
    measure,
    new_property,
    price_list,
)
from loamwright.files.journal import Change
from loamwright.files.pricelists import parse_grade
from loamwright.files.property_file import (
    Editor,
    backup,
    check_property,
    create,
    differences,
    edit,
    load,
    read_journal,
    refuse_to_replace,
)
from loamwright.files.reference import (
    known_materials,
    load_caution_texts,
    load_change_figures,
    load_checklist,
    load_sampling_guides,
)
from loamwright.files.settings import info_from
from loamwright.files.tables import applications_from, passes_from
from loamwright.files.textrows import SUFFIXES, read_table
from loamwright.files.things import (
    SETTINGS_WORD,
    added,
    assigned,
    differing,
    fields_of,
    find,
    text_of,
    thing_of,
)
from loamwright.files.vectors import LayerFeature, LayerKind, Value, write_layer

__all__ = [
    "PROPERTY_SUFFIX",
    "SETTINGS_WORD",
    "SUFFIXES",
    "Change",
    "Editor",
    "GuidelineInfo",
    "Imported",
    "LayerFeature",
    "LayerKind",
    "Measured",
    "Thing",
    "Value",
    "added",
    "applications_from",
    "assigned",
    "backup",
    "check_guideline",
    "check_property",
    "compare",
    "create",
    "differences",
    "differing",
    "edit",
    "fields_of",
    "find",
    "guideline_editions",
    "import_files",
    "info_from",
    "known_materials",
    "load",
    "load_caution_texts",
    "load_change_figures",
    "load_checklist",
    "load_for",
    "load_sampling_guides",
    "measure",
    "new_property",
    "parse_date",
    "parse_grade",
    "parse_percent",
    "passes_from",
    "price_list",
    "read_journal",
    "read_table",
    "records_from",
    "refuse_to_replace",
    "text_of",
    "thing_of",
    "write_layer",
]
