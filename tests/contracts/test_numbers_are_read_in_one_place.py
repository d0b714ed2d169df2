"""A number that a person wrote is read by `units` and `files.fields`, and nowhere else.

Python's own ``float("nan")``, ``int("٣")`` and ``float("1_0")`` are no rule for people: no decimal comma, no
bound, no sentence. Every other call of ``float``, ``int`` or ``Decimal`` on something that is not a constant
stands in a list here, with the reason why it is no text of people.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "src" / "loamwright"
READERS = {"units.py", "files/fields.py"}

#: Package or file → the arguments that are meant ("*" = all) and why they are no text of people.
ALLOWED: Mapping[str, tuple[str, str]] = {
    "land": ("*", "shapes and arrays"),
    "planning": ("*", "records and the solver's arrays"),
    "app": (
        "length number place.getsockname()[1]",
        "the length of a body as its header states it, the number of a change in an address, a port",
    ),
    "fieldmap": ("*", "records on their way out"),
    "handoff": ("*", "records on their way out"),
    "library.py": ("*", "records on their way out"),
    "work": (
        "fills trips chosen samples cores guide.cores_high np.argmax(gain_m) np.argmin(added_m)",
        "counts for a step of the reckoning, and positions in arrays",
    ),
    "season/purchase_plan.py": ("str(times)", "a factor that the command has read"),
    "commands": (
        "round(value, 2) value amount item.cost_per_ha TON_KG "
        "repr(read('hauling', hauling, supplies.parse_price_per_mass)) parse_money(money)",
        "money on its way out, and a price that `read` has read",
    ),
    "supplies": (
        "price purchase hauling spreading total amount offer.min_order offer.delivery_fee mass "
        "str(packages.count) hauled_kg area_m2 / HA_M2 parse_money(amount) storage -amount_kg // load_kg "
        "offer.price loads "
        "repr(_money_per(text, 'ha', '8.50/acre'))",
        "money and counts between Decimal and float, and what the parsers of `units` have read",
    ),
    "needs/classes.py": (
        "repr(round(value, 9)) exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)",
        "rounding half up is exact in decimals only",
    ),
    "files/reference.py": ("*", "figures that ship with the program"),
    "files/columns.py": (
        "price mesh held['cost'] text",
        "our property file",
    ),
    "files/property_file.py": ("row['schema_version']", "an integer of our property file"),
    "files/editions.py": ("year percent", "already read from the cell or by TOML"),
    "files/pricelists.py": (
        "number name.removeprefix('passing_')",
        "already read; digits of a column's name",
    ),
    "files/settings.py": ("ACRE_M2 HA_M2 TON_KG", "constants of `units`"),
    "files/work_rules.py": (
        "repr(parse_price_per_mass(rest)) TON_KG match[1] match[2]",
        "a constant; digits of a day that a pattern matched",
    ),
    "files/sheets/long_tables.py": ("run or 0", "digits of a run, to sort by"),
    "files/grids.py": ("value", "a number of a workbook, made text"),
    "files/sheets/words/calendar_dates.py": (
        "match[1] match[2] match[3] match[4]",
        "the digits of a date that a pattern found",
    ),
    "files/sheets/words/vocabulary.py": ("row['factor'] r['rank']", "tables that ship with the program"),
    "files/vectors.py": (
        "value about['features'] shapely.get_dimensions(feature.shape)",
        "a number of a map layer, made text",
    ),
    "files/kinds.py": (
        "value read(first) read(last) match[1] match[2] _number('mesh', 1, 400)(mesh.strip()) "
        "str(ACRE_M2) str(TON_KG) str(LB_KG)",
        "already read by `fields`; digits of a day that `date` then holds against the calendar",
    ),
    "files/record_codes.py": ("key[1]", "the digits of a count that a pattern matched"),
    "files/things.py": ("match[2] or record.info.season match[3] or 0", "digits that a pattern matched"),
    "needs/seen.py": ("part", "month and day of a setting that was read"),
    "supplies/stock.py": ("str(left)", "a count between float and Decimal"),
    "upkeep/drawing.py": ("found", "the digits of an id that a pattern matched"),
    "work/open_questions.py": (
        "str(offer.package_kg * contents[offer.product][supply]) str(mass_kg)",
        "masses between float and Decimal",
    ),
    "files/large_maps.py": ("renumbered[index]", "a place in an array"),
    "files/plots.py": ("shapely.get_dimensions(feature.shape)", "the dimension of a shape"),
}


def conversions(source: str) -> list[str]:
    """Arguments of every float(…), int(…) and Decimal(…) that are not constants."""
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call) and node.args]
    named = [c for c in calls if isinstance(c.func, ast.Name) and c.func.id in {"float", "int", "Decimal"}]
    return [ast.unparse(call.args[0]) for call in named if not isinstance(call.args[0], ast.Constant)]


def allowed(room: str, argument: str) -> bool:
    """Tell whether a list names an argument for a file or its package."""
    lists = [
        arguments
        for place, (arguments, _why) in ALLOWED.items()
        if room == place or room.startswith(f"{place}/")
    ]
    return any(arguments == "*" or f" {argument} " in f" {arguments} " for arguments in lists)


def test_numbers_of_people_are_read_in_one_place() -> None:
    found = {}
    for path in PACKAGE.rglob("*.py"):
        room = path.relative_to(PACKAGE).as_posix()
        texts = [text for text in conversions(path.read_text(encoding="utf-8")) if not allowed(room, text)]
        if texts and room not in READERS:
            found[room] = texts
    assert found == {}


def test_the_rule_can_see_one() -> None:
    assert conversions("a = float(text)\nb = int(match[1])\nc = Decimal(0)") == ["text", "match[1]"]
    assert not allowed("files/tables.py", "text")
    assert not allowed("supplies/asking.py", "text")
