"""Which columns are the lab's recommendations, for which crop, and what they say.

A column "Zn" may be a zinc test or pounds of zinc to spread. It is a recommendation when its unit says
what it is pounds of, when its heading or group says so, or when it stands to the right of nitrogen, oxides
or lime in one unbroken run. What this does not tell is asked.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loamwright.files.sheets.figures import slug
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.layout import Block, Column
from loamwright.files.sheets.records import SheetAmount, SheetRecommendation
from loamwright.files.sheets.statements import Statements
from loamwright.files.sheets.words.figures import Printed
from loamwright.files.sheets.words.headings import Heading, read_heading
from loamwright.files.sheets.words.measures import find_units, unit_named
from loamwright.files.sheets.words.vocabulary import LabTest, mentions, plain

_RATES = ("lb/acre", "kg/ha", "lb/1000 ft2")
_LIME_RATES = ("ton/acre", "lb/acre", "t/ha", "kg/ha")
#: Lime as it comes from the quarry: no score is meant.
AS_SOLD = "ground limestone as sold"
_LIME_BASES = (AS_SOLD, "CCE", "ECC", "ECCE", "ENP", "ENM", "RNV", "NV")


@dataclass(frozen=True, slots=True)
class CropColumns:
    """Columns of one crop's recommendation: positions of crop, yield goal and amounts."""

    crop: int | None
    goal: int | None
    amounts: tuple[int, ...]
    group: str = ""


def settle_roles(block: Block, inquiry: Inquiry) -> Block:
    """Decide for each nutrient column whether it is a reading or a recommendation."""
    measured = {place for place in range(len(block.columns)) if _is_measured(block, place)}
    roles = [
        column.role if place in measured else _sure_role(column.heading)
        for place, column in enumerate(block.columns)
    ]
    tested = {
        place: tests for place in range(len(roles)) if (tests := _test_beside(block, place)) is not None
    }
    for place in tested:
        advised = any(other != place and _advises(block, other, place) for other in range(len(roles)))
        roles[place] = "reading" if advised else _ask_role(block.columns[place], inquiry, "reading")
    measured |= set(tested)
    for first, last in _runs(block.columns):
        places = [place for place in range(first, last) if place not in measured]
        seeds = [place for place in places if roles[place] in ("recommendation", "lime")]
        oxides = [place for place in places if _form(block.columns[place]) == "oxide"]
        if not seeds:
            for place in oxides:
                roles[place] = _lone_oxide(block, place, inquiry)
            continue
        start = min([*seeds, *oxides])
        limes = sum(roles[place] == "lime" for place in seeds)
        right = [place for place in places if place >= start and roles[place] == "reading"]
        doubled = any(
            _read_elsewhere(block, place) for place in right if _form(block.columns[place]) != "oxide"
        )
        for place in right:
            heading = block.columns[place].heading
            element = heading.analyte is not None and heading.analyte.name in ("P", "K")
            of_lime_alone = len(seeds) == limes
            if _form(block.columns[place]) == "oxide" or doubled:
                roles[place] = "recommendation"
            elif heading.unit in _RATES and (element or of_lime_alone):  # P and K are advised as oxides
                likely = "reading" if of_lime_alone else "recommendation"
                roles[place] = _ask_role(block.columns[place], inquiry, likely)
            elif heading.unit in _RATES:
                roles[place] = "recommendation"
            elif place > max(seeds):
                roles[place] = _ask_role(block.columns[place], inquiry, "recommendation")
    columns = tuple(
        replace(column, heading=replace(column.heading, role=role)) if role != column.role else column
        for column, role in zip(block.columns, roles, strict=True)
    )
    for place, tests in tested.items():
        if roles[place] == "reading":
            heading = replace(columns[place].heading, tests=tests)
            columns = (*columns[:place], replace(columns[place], heading=heading), *columns[place + 1 :])
    return replace(block, columns=columns)


def _only_pounds(column: Column) -> bool:
    """Tell whether a heading is pounds of a nutrient, and no word says whether they are there or advised."""
    heading, said = column.heading, f"{column.group} {column.name}"
    return (
        heading.role == "recommendation"
        and heading.basis is not None
        and mentions("recommendation", said) is None
    )


def _test_beside(block: Block, place: int) -> tuple[LabTest, ...] | None:
    """Return the test of the reading that mere pounds stand beside, under one heading that names the element.

    "Phosphorus" over "Mehlich 3 ppm P" and "lb P2O5/ac": both columns may be of the soil.
    """
    column = block.columns[place]
    analyte, over = column.heading.analyte, read_heading(column.group)
    if not _only_pounds(column) or analyte is None or over.analyte is None or over.role != "reading":
        return None
    if over.analyte.element != analyte.element:
        return None
    for other in block.columns:
        theirs = other.heading
        same = theirs.analyte is not None and theirs.analyte.element == analyte.element
        if other.group == column.group and theirs.role == "reading" and same:
            return theirs.tests
    return None


def _advises(block: Block, place: int, like: int) -> bool:
    """Tell whether a column advises, in words or under them, what another is pounds of."""
    column = block.columns[place]
    same = column.heading.analyte == block.columns[like].heading.analyte
    return same and column.heading.role == "recommendation" and not _only_pounds(column)


def _is_measured(block: Block, place: int) -> bool:
    """Tell whether a nutrient column is surely a soil test: a rating stands right of it, or "available"."""
    column, after = block.columns[place], block.columns[place + 1 : place + 2]
    analyte = column.heading.analyte
    if column.role != "reading" or analyte is None or analyte.kind != "nutrient":
        return False
    rated = any(
        other.role == "rating" and other.heading.analyte in (None, analyte) and column.heading.unit
        for other in after
    )
    return rated or re.search(r"\bavail", plain(column.name)) is not None


def _form(column: Column) -> str:
    return column.heading.analyte.form if column.heading.analyte else ""


def _sure_role(heading: Heading) -> str:
    analyte = heading.analyte
    if heading.role != "reading" or analyte is None or analyte.kind != "nutrient":
        return heading.role
    rate = heading.unit is None or unit_named(heading.unit).measures == "rate"
    if heading.basis and heading.unit in _RATES and not heading.tests:
        return "recommendation"
    return "recommendation" if analyte.name == "N" and rate and not heading.tests else "reading"


def _runs(columns: Sequence[Column]) -> list[tuple[int, int]]:
    """Unbroken runs of columns that could be recommendations."""
    runs: list[tuple[int, int]] = []
    start = None
    for place, column in enumerate(columns):
        heading = column.heading
        nutrient = heading.analyte is not None and heading.analyte.kind == "nutrient"
        content = heading.unit is not None and unit_named(heading.unit).measures != "rate"
        open_ = column.role in ("recommendation", "lime") or (
            column.role == "reading" and nutrient and not heading.tests and not content
        )
        if open_ and start is None:
            start = place
        elif not open_ and start is not None:
            runs.append((start, place))
            start = None
    return [*runs, (start, len(columns))] if start is not None else runs


def _read_elsewhere(block: Block, place: int) -> bool:
    element = block.columns[place].heading.analyte
    return any(
        other != place
        and column.role in ("reading", "index")
        and column.heading.analyte is not None
        and element is not None
        and column.heading.analyte.element == element.element
        for other, column in enumerate(block.columns)
    )


def _lone_oxide(block: Block, place: int, inquiry: Inquiry) -> str:
    column = block.columns[place]
    near = {block.columns[at].role for at in (place - 1, place - 2) if at >= 0}
    same = [
        other
        for at, other in enumerate(block.columns)
        if at != place and other.heading.analyte == column.heading.analyte
    ]
    if any(other.role == "recommendation" for other in same):
        return "reading"
    if "crop" in near or "yield_goal" in near or _read_elsewhere(block, place):
        return "recommendation"
    if column.heading.unit not in (None, *_RATES) or column.heading.tests:
        return "reading"
    return _ask_role(column, inquiry, "reading")


def _ask_role(column: Column, inquiry: Inquiry, likely: str) -> str:
    answer = inquiry.ask(
        f"column.{slug(column.name)}",
        f"is {column.name!r} a soil reading or a recommendation",
        f"column {column.name!r}",
        ("reading", "recommendation"),
        likely,
    )
    return answer if answer in ("reading", "recommendation") else likely


# ---------------------------------------------------------------------------------------------
# Crops


def crop_columns(block: Block) -> tuple[CropColumns, ...]:
    """Group the recommendation columns by crop: by the crop column to the left, or their group heading."""
    wanted = block.places("recommendation", "lime")
    crops = block.places("crop")
    goals = block.places("yield_goal")
    groups: dict[tuple[int | None, str], list[int]] = {}
    for place in wanted:
        left = [crop for crop in crops if crop < place]
        crop = crops[0] if len(crops) == 1 else (left[-1] if left else None)
        group = block.columns[place].group if crop is None else ""
        groups.setdefault((crop, group), []).append(place)
    found = []
    for (crop, group), places in groups.items():
        goal = [at for at in goals if crop is None or len(crops) == 1 or crop < at < places[-1]]
        for rates in _repeated(block, places):
            found.append(CropColumns(crop, goal[-1] if goal else None, rates, group))
    return tuple(found)


def _repeated(block: Block, places: Sequence[int]) -> list[tuple[int, ...]]:
    """Cut a run in which the same nutrient comes again: it is for a further crop."""
    runs: list[list[int]] = [[]]
    for place in places:
        mine = _amount_name(block.columns[place].heading)
        if mine != "lime" and any(_amount_name(block.columns[at].heading) == mine for at in runs[-1]):
            runs.append([])
        runs[-1].append(place)
    return [tuple(run) for run in runs]


def _amount_name(heading: Heading) -> str:
    return heading.analyte.name if heading.analyte else "lime"


def crop_of_group(group: str) -> str | None:
    """Return the crop a group heading names: "Recommendation: clover, new seeding (lb/acre)"."""
    heading = read_heading(group)
    if heading.known and (heading.analyte is not None or heading.role == "recommendations"):
        return None  # "Pounds per acre needed", "Phosphorus": no crop is named
    match = re.match(r"[^:]*:\s*(.+)", group)
    text = match[1] if match else group
    text = re.sub(
        r"\([^()]*\)\s*$", lambda found: "" if find_units(found[0]).names else found[0], text
    ).strip()
    if match is None:
        text = re.sub(r"(?i)\brecommendations?\b(?:\s+for\b)?|\bfor\b", " ", text).strip(" -–:")
    return text or None


# ---------------------------------------------------------------------------------------------
# Amounts


@dataclass(frozen=True, slots=True)
class RateUnits:
    """Units of the recommendations: for nutrients and lime, and which of them are candidates."""

    units: Mapping[int, str | None]
    asked: frozenset[int]
    basis: str | None
    basis_asked: bool


def rate_units(
    block: Block,
    groups: Sequence[CropColumns],
    statements: Statements,
    inquiry: Inquiry,
    system: str,
    limed: bool,
) -> RateUnits:
    """Settle the units of all recommendations; ask once for missing ones, and for the kind of lime."""
    places = [place for group in groups for place in group.amounts]
    units: dict[int, str | None] = {}
    for place in places:
        heading = block.columns[place].heading
        lime = heading.role == "lime"
        units[place] = heading.unit or (None if lime else statements.recommendation_unit)
    bare = [place for place in places if units[place] is None and block.columns[place].role != "lime"]
    stated = [unit for place, unit in units.items() if unit and block.columns[place].role != "lime"]
    metric = system == "metric" or any(unit in ("t/ha", "kg/ha") for unit in units.values())
    likely = stated[0] if stated else ("kg/ha" if metric else "lb/acre")
    asked: set[int] = set()
    if bare:
        listed = ", ".join(dict.fromkeys(block.columns[place].name for place in bare))
        answer = inquiry.ask(
            "recommendation-unit",
            f"units of the recommendations {listed}",
            f"columns {listed}",
            _RATES,
            likely,
        )
        for place in bare:
            units[place] = likely if answer is None else (None if answer == NOT_KNOWN else answer)
        asked |= set(bare) if answer is None else set()
    limes = [place for place in places if block.columns[place].role == "lime"]
    unmeasured = [place for place in limes if units[place] is None]
    if unmeasured:
        listed = ", ".join(dict.fromkeys(block.columns[place].name for place in unmeasured))
        answer = inquiry.ask(
            "lime-unit", f"unit of the lime rates {listed}", f"columns {listed}", _LIME_RATES
        )
        for place in unmeasured:
            units[place] = None if answer in (None, NOT_KNOWN) else answer
    basis = statements.lime_basis
    basis_asked = False
    if limed and basis is None and any(block.columns[place].heading.basis is None for place in limes):
        listed = ", ".join(dict.fromkeys(block.columns[place].name for place in limes))
        answer = inquiry.ask(
            "lime-basis",
            "what kind of lime the recommended amounts are (basis)",
            f"columns {listed}",
            _LIME_BASES,
        )
        basis, basis_asked = (None if answer == NOT_KNOWN else answer), answer is None
    return RateUnits(units, frozenset(asked), basis, basis_asked)


def amount_of(
    printed: Printed, heading: Heading, unit: str | None, asked: bool, statements: Statements
) -> SheetAmount | None:
    """Turn a cell into a recommended amount; None when it is blank: not given is not zero."""
    none_needed = printed.none_needed or plain(printed.printed) in statements.none_needed
    if printed.blank and not none_needed:
        return None
    if printed.unit and unit_named(printed.unit).measures == "rate":
        unit, asked = printed.unit, False
    common = SheetAmount(
        unit=unit,
        target_ph=heading.target_ph,
        purpose=heading.purpose,
        candidates=("unit",) if asked and unit else (),
    )
    if none_needed:
        return replace(common, value=0.0)
    if printed.value is not None:
        return replace(common, value=printed.value)
    if printed.low is not None:
        return replace(common, low=printed.low, high=printed.high)
    return SheetAmount(flag=printed.printed)


def recommendation(
    block: Block,
    group: CropColumns,
    texts: Sequence[str],
    cells: Mapping[int, Printed],
    rates: RateUnits,
    statements: Statements,
) -> SheetRecommendation | None:
    """Put together one crop's recommendation from a record; None when nothing of it is filled."""
    amounts: dict[str, SheetAmount] = {}
    limes: list[SheetAmount] = []
    for place in group.amounts:
        heading = block.columns[place].heading
        amount = amount_of(cells[place], heading, rates.units[place], place in rates.asked, statements)
        if amount is None:
            continue
        if heading.role == "lime":
            basis = heading.basis or rates.basis
            limes.append(replace(amount, basis=basis) if amount.flag is None else amount)
        else:
            amounts[_amount_name(heading)] = amount
    if not amounts and not limes:
        return None
    options = any(amount.target_ph or amount.purpose for amount in limes) or len(limes) > 1
    if limes and not options:
        amounts["lime"] = limes[0]
    crop = texts[group.crop] if group.crop is not None else crop_of_group(group.group)
    if crop is None and "crop" in statements.pairs:
        crop = statements.pairs["crop"].text
    goal = texts[group.goal] if group.goal is not None else None
    return SheetRecommendation(crop or None, goal or None, amounts, tuple(limes) if options else ())


def lime_is_advised(cells: Sequence[Printed]) -> bool:
    """Tell whether any lime at all is advised: with none, its kind need not be asked."""
    return any((printed.value or printed.high or 0) > 0 for printed in cells)
