"""Everything the user brings, and the property file that keeps it.

The rooms: `grids` (cells of a file), `textrows` (a CSV or XLSX as rows of text), `jsontext` (the JSON of a
file), `fields` (the one reader of people's text), `named_columns` (which column is which field), `tables`,
`pricelists`, `field_records`, `settings` (what the columns mean), `what_it_is` (may a map file be opened?),
`vectors` (map files as shapes and words), `plots` (what they mean), `large_maps` (only measured, part by
part), `sheets` (what labs, dealers and quarries send), `from_sheets` (what it becomes here), `sections`,
`editions` and `guidelines` (published tables), `choosing` (those a property uses), `reference` (figures
that ship with the program), `columns` and `property_file` (the GeoPackage), `told_values` (a column of it
in words), `intake` (the way in), `whole` (how a file is written).
"""

from loamwright.files.catalogue import Thing
from loamwright.files.choosing import (
    ChosenNow,
    CropsFound,
    choose,
    choose_lime,
    chosen,
    list_crops,
    new_guideline,
    set_own_rate,
    sheet_to_fill,
)
from loamwright.files.editor import Editor
from loamwright.files.field_records import brought_from, holds_records
from loamwright.files.fields import parse_date, parse_percent, typed_options
from loamwright.files.guidelines import (
    GuidelineInfo,
    check_guideline,
    guideline_editions,
    load_choice,
    load_choice_for,
    load_lime_for,
)
from loamwright.files.intake import (
    KINDS,
    PROPERTY_SUFFIX,
    Imported,
    Measured,
    compare,
    import_files,
    measure,
    new_property,
    price_list,
    units_in,
    without_property,
)
from loamwright.files.journal import Change
from loamwright.files.large_maps import LargeMeasured
from loamwright.files.pricelists import parse_grade
from loamwright.files.property_file import (
    backup,
    changed_outside,
    check_property,
    create,
    differences,
    edit,
    load,
    read_journal,
    settle_outside,
    take_over,
    units_of,
)
from loamwright.files.reference import (
    known_materials,
    load_calendar,
    load_caution_texts,
    load_change_figures,
    load_checklist,
    load_ground_rules,
    load_mixing,
    load_sampling_guides,
)
from loamwright.files.settings import info_from
from loamwright.files.sheets import (
    LabReading,
    ManureSample,
    Sample,
    SheetAmount,
    SheetContents,
    as_data,
    keep_answers,
    load_profile,
    read_sheet,
    save_profile,
)
from loamwright.files.tables import applications_from, parse_depth, passes_from
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
from loamwright.files.told_values import told
from loamwright.files.vectors import LayerFeature, LayerKind, Value, read_drawn, write_layer, write_layers
from loamwright.files.whole import lay_down, make_folder, refuse_to_replace, remove, write_set, write_whole

__all__ = [
    "KINDS",
    "PROPERTY_SUFFIX",
    "SETTINGS_WORD",
    "SUFFIXES",
    "Change",
    "ChosenNow",
    "CropsFound",
    "Editor",
    "GuidelineInfo",
    "Imported",
    "LabReading",
    "LargeMeasured",
    "LayerFeature",
    "LayerKind",
    "ManureSample",
    "Measured",
    "Sample",
    "SheetAmount",
    "SheetContents",
    "Thing",
    "Value",
    "added",
    "applications_from",
    "as_data",
    "assigned",
    "backup",
    "brought_from",
    "changed_outside",
    "check_guideline",
    "check_property",
    "choose",
    "choose_lime",
    "chosen",
    "compare",
    "create",
    "differences",
    "differing",
    "edit",
    "fields_of",
    "find",
    "guideline_editions",
    "holds_records",
    "import_files",
    "info_from",
    "keep_answers",
    "known_materials",
    "lay_down",
    "list_crops",
    "load",
    "load_calendar",
    "load_caution_texts",
    "load_change_figures",
    "load_checklist",
    "load_choice",
    "load_choice_for",
    "load_ground_rules",
    "load_lime_for",
    "load_mixing",
    "load_profile",
    "load_sampling_guides",
    "make_folder",
    "measure",
    "new_guideline",
    "new_property",
    "parse_date",
    "parse_depth",
    "parse_grade",
    "parse_percent",
    "passes_from",
    "price_list",
    "read_drawn",
    "read_journal",
    "read_sheet",
    "read_table",
    "refuse_to_replace",
    "remove",
    "save_profile",
    "set_own_rate",
    "settle_outside",
    "sheet_to_fill",
    "take_over",
    "text_of",
    "thing_of",
    "told",
    "typed_options",
    "units_in",
    "units_of",
    "without_property",
    "write_layer",
    "write_layers",
    "write_set",
    "write_whole",
]
