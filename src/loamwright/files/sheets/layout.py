"""Where the table is: heading rows, records, group headings, title block, footers; upright or turned.

The heading is the row with most known headings. Rows of units and tests under it, and group headings over
it, are joined to it column by column. A turned table (analytes down, samples across) becomes the same
`Block`, so that what stands in the cells is read in one way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from loamwright.files.grids import Cell, Grid, Line, column_letter
from loamwright.files.sheets.records import LeftOut
from loamwright.files.sheets.statements import is_pair
from loamwright.files.sheets.words.figures import read_printed
from loamwright.files.sheets.words.headings import Heading, is_subheading, more_exact, read_heading, tests_of
from loamwright.files.sheets.words.measures import find_units
from loamwright.files.sheets.words.vocabulary import mentions, plain, tokens, vocabulary

#: Roles whose columns hold figures.
FIGURES = frozenset({"reading", "index", "recommendation", "lime", "ask", "result", "price", "net"})

#: Fewest known headings that make a row a heading.
LEAST_KNOWN = 3

#: Fewest known headings under blank cells that make the line over them one of groups (ours).
_PARTED = 2

#: A cell that is a plain figure, and so no heading.
_FIGURE = re.compile(r"[<>]?\s*[-+]?[\d.,]+%?")

#: Rows searched for the first heading, and rows over the analytes of a turned table that may be headings.
_GRID_ROWS_SEARCHED, _HEADING_ROWS_OVER = 400, 8


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a block: its name for people, what its heading says, the group it stands in."""

    name: str
    heading: Heading
    group: str = ""
    letter: str = ""

    @property
    def role(self) -> str:
        """What the column holds."""
        return self.heading.role


@dataclass(frozen=True, slots=True)
class Record:
    """One row of results (or column of a turned table), a cell for each column of its block.

    `ratings` stand in a column beside the results of a turned table, one for each of its rows.
    """

    where: str
    cells: tuple[Cell, ...]
    ratings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Block:
    """One table of a sheet."""

    columns: tuple[Column, ...]
    records: tuple[Record, ...]
    around: tuple[Line, ...]
    left_out: tuple[LeftOut, ...] = ()
    turned: bool = False
    sheet: str = ""
    title: str = ""

    def roles(self) -> set[str]:
        """Return the roles of its columns."""
        return {column.role for column in self.columns}

    def places(self, *roles: str) -> tuple[int, ...]:
        """Return the positions of the columns with one of the roles."""
        return tuple(place for place, column in enumerate(self.columns) if column.role in roles)


# ---------------------------------------------------------------------------------------------
# Finding the heading


def heading_score(line: Line) -> int:
    """Number of different things the cells of a row name as headings."""
    found = set()
    for cell in line.cells:
        text = cell.text
        if (
            text
            and cell.number is None
            and cell.date is None
            and len(text) < 80
            and not _FIGURE.fullmatch(text)
        ):
            heading = read_heading(text)
            if heading.known:
                name = heading.analyte.name if heading.analyte else ""
                found.add((heading.role, name, heading.tests, heading.target_ph, heading.purpose))
    return len(found)


def _is_heading(line: Line) -> bool:
    figures = sum(1 for cell in line.cells if cell.text and read_printed(cell.text).is_figure)
    return figures * 2 < len(line.filled) and heading_score(line) >= LEAST_KNOWN


def _analytes_down(grid: Grid, column: int) -> list[int]:
    """Positions of the lines whose cell in a column is an analyte with something beside it."""
    places = []
    for place, line in enumerate(grid.lines[:_GRID_ROWS_SEARCHED]):
        heading = read_heading(line.text(column)) if line.text(column) else None
        if heading and heading.known and heading.analyte and len(line.filled) > 1:
            places.append(place)
    return places


def find_blocks(grid: Grid) -> tuple[Block, ...]:
    """Find the tables of a sheet."""
    lines = grid.lines[:_GRID_ROWS_SEARCHED]
    anchor = max(range(len(lines)), key=lambda place: (heading_score(lines[place]), -place), default=None)
    if anchor is None:
        return ()
    roles = {read_heading(cell.text).role for cell in lines[anchor].cells if cell.text}
    down = {column: _analytes_down(grid, column) for column in range(min(3, grid.width))}
    best = max(down, key=lambda column: len(_names(grid, down[column], column)), default=0)
    long = {"analyte", "result"} <= roles and (
        roles & {"label", "lab_number"} or _repeats(grid, down[best], best)
    )
    bought = {"product", "price"} <= roles or {"ticket", "net"} <= roles
    turned = not bought and len(_names(grid, down.get(best, []), best)) > _readings(lines[anchor])
    if turned and not long and len(down[best]) >= LEAST_KNOWN - 1:
        return (_turned(grid, best, down[best]),)
    if heading_score(lines[anchor]) < LEAST_KNOWN:
        return ()
    if long:
        return (_block(grid, anchor, _top(grid, anchor), len(grid.lines), grid.lines[: _top(grid, anchor)]),)
    return tuple(_upright(grid))


def _names(grid: Grid, places: Sequence[int], column: int) -> set[str]:
    headings = (read_heading(grid.lines[place].text(column)) for place in places)
    return {heading.analyte.name for heading in headings if heading.analyte}


def _repeats(grid: Grid, places: Sequence[int], column: int) -> bool:
    texts = [plain(grid.lines[place].text(column)) for place in places]
    return len(texts) > len(set(texts)) + 1


def _readings(line: Line) -> int:
    headings = (read_heading(cell.text) for cell in line.cells if cell.text)
    return len({heading.analyte.name for heading in headings if heading.known and heading.analyte})


# ---------------------------------------------------------------------------------------------
# Upright tables


def _upright(grid: Grid) -> Iterator[Block]:
    """Cut a sheet at its headings: each heading begins a table, its repetition on a further page does not."""
    anchors: list[int] = []
    for place, line in enumerate(grid.lines):
        if not _is_heading(line) or (anchors and anchors[-1] == place - 1):
            continue
        if not anchors or not _same(line, grid.lines[anchors[-1]]):
            anchors.append(place)
    anchors = [_densest(grid, anchor) for anchor in anchors]
    for number, anchor in enumerate(anchors):
        first = _top(grid, anchor)
        end = _top(grid, anchors[number + 1]) if number + 1 < len(anchors) else len(grid.lines)
        before = 0 if number == 0 else first
        yield _block(grid, anchor, first, end, grid.lines[before:first])


def _densest(grid: Grid, anchor: int) -> int:
    below = anchor + 1
    follows = below < len(grid.lines) and _adjacent(grid, anchor) and _is_heading(grid.lines[below])
    denser = follows and heading_score(grid.lines[below]) > heading_score(grid.lines[anchor])
    return below if denser or (follows and _parts_groups(grid.lines[anchor], grid.lines[below])) else anchor


def _parts_groups(over: Line, under: Line) -> bool:
    """Tell whether a line of headings names what stands in the groups that the line over it opens."""
    filled = [place for place in under.filled if not over.text(place)]
    return sum(read_heading(under.text(place)).known for place in filled) >= _PARTED


def _adjacent(grid: Grid, place: int) -> bool:
    return grid.lines[place + 1].number == grid.lines[place].number + 1


def _same(line: Line, other: Line) -> bool:
    texts = tuple(plain(cell.text) for cell in line.cells)
    return _repeats_heading(texts, {plain(cell.text) for cell in other.cells if cell.text})


def _repeats_heading(texts: Sequence[str], heading: frozenset[str] | set[str]) -> bool:
    """Tell whether a line holds most texts of a heading: it stands on a further page."""
    return len(heading.intersection(texts)) * 2 > len(heading)


def _top(grid: Grid, anchor: int) -> int:
    """Position of the first line of group headings over a heading."""
    top = anchor
    while top > 0 and _adjacent(grid, top - 1) and _is_group_line(grid, grid.lines[top - 1]):
        top -= 1
    return top


def _is_group_line(grid: Grid, line: Line) -> bool:
    texts = [line.text(column) for column in line.filled]
    if any(text.rstrip().endswith(":") for text in texts) or line.filled == (0,):
        return False
    if any(cell.date is not None or cell.number is not None for cell in line.cells):
        return False
    if any(
        read_printed(text).is_figure for text in texts
    ):  # "Moisture, 3.5 %" says a figure, and heads nothing
        return False
    if any(is_pair(text) for text in texts):  # "Date sampled: …" is about the whole sheet
        return False
    spans = any((line.number, column) in grid.spans for column in line.filled)
    return spans or any(_says_something(text) for text in texts)


def _says_something(text: str) -> bool:
    known = vocabulary()
    found, left = known.tests.take(tokens(text))
    named = bool(found) or bool(find_units(text).names) or mentions("recommendation", text) is not None
    heading = read_heading(text)
    return (named or (heading.known and heading.role in ("reading", "crop", "share", "depth"))) and len(
        left
    ) < 5


def _carried(grid: Grid, line: Line, column: int) -> str:
    """Text over a column, also when it stands in a merged cell that reaches over it."""
    if line.text(column):
        return line.text(column)
    for first in range(column - 1, -1, -1):
        if line.text(first):
            return line.text(first) if grid.spans.get((line.number, first), first) >= column else ""
    return ""


def _group_over(grid: Grid, lines: Sequence[Line], column: int) -> str:
    texts = []
    for line in lines:
        merged = any((line.number, place) in grid.spans for place in line.filled)
        if merged:
            texts.append(_carried(grid, line, column))
        else:
            texts.append(next((line.text(place) for place in range(column, -1, -1) if line.text(place)), ""))
    return " ".join(text for text in texts if text)


def _block(grid: Grid, anchor: int, first: int, end: int, before: Sequence[Line]) -> Block:
    head = grid.lines[anchor]
    last = anchor
    while last + 1 < end and _is_subheading_line(grid.lines[last + 1], head) and _adjacent(grid, last):
        last += 1
    under = grid.lines[anchor + 1 : last + 1]
    width = max((len(line.cells) for line in grid.lines[first:end]), default=0)
    columns: list[Column] = []
    for column in range(width):
        below = [_carried(grid, line, column) for line in under]
        name = _carried(grid, head, column)
        if not name and columns and any(line.text(column) for line in under):
            name = _name_to_the_left(head, column)
        texts = [text for text in dict.fromkeys([name, *below]) if text]
        group = _group_over(grid, grid.lines[first:anchor], column)
        columns.append(_column(texts, group, column))
    columns = _with_carried_tests(columns, under)
    body = grid.lines[last + 1 : end]
    return replace(_records(grid, columns, body, head, under, before), title=_title(grid, first))


def _title(grid: Grid, first: int) -> str:
    """Text that stands alone right above a table: the name of a section."""
    if first == 0:
        return ""
    line = grid.lines[first - 1]
    near = line.number >= grid.lines[first].number - 2
    return line.text(line.filled[0]) if near and len(line.filled) == 1 else ""


def _name_to_the_left(head: Line, column: int) -> str:
    return next((head.text(place) for place in range(column - 1, -1, -1) if head.text(place)), "")


def _is_subheading_line(line: Line, head: Line) -> bool:
    texts = [line.text(column) for column in line.filled]
    if len(texts) == 1 and line.filled[0] == 0 and len(head.filled) > 3:
        return False
    return all(is_subheading(text) for text in texts) and any(
        find_units(text).names or mentions_test(text) or read_heading(text).role.startswith("depth")
        for text in texts
    )


def mentions_test(text: str) -> bool:
    """Tell whether a text names a test."""
    return bool(vocabulary().tests.take(tokens(text))[0])


def _column(texts: Sequence[str], group: str, place: int) -> Column:
    bare = [re.sub(r"^[-–—=_\s]+|[-–—=_\s]+$", "", text) for text in texts]
    heading = read_heading(" ".join(bare))
    if group:
        heading = _with_group(heading, bare, group)
    return Column(" ".join(text.strip() for text in texts), heading, group, column_letter(place))


def _with_group(heading: Heading, texts: Sequence[str], group: str) -> Heading:
    """Complete a heading by what stands over it: its analyte, test, unit, state, or "recommendations"."""
    together = read_heading(f"{group} {' '.join(texts)}")
    if not heading.known and together.known:
        return together
    if heading.role not in ("reading", "recommendation", "lime", "index", "rating"):
        return heading
    if heading.role == "reading" and together.analyte and together.analyte.kind == "buffer":
        return together  # "Buffer" over "pH"
    if heading.role == "reading" and read_heading(group).role == "rating":
        return replace(heading, role="rating")
    over = find_units(group)
    tests, _ = vocabulary().tests.take(tokens(over.rest))
    if mentions("recommendation", group) and heading.role == "reading":
        heading = replace(heading, role="recommendation")
    if mentions("share", group) and heading.role == "reading" and not heading.tests:
        heading = replace(heading, role="share")
    state = mentions("state", group)
    if state and not heading.state:
        heading = replace(heading, state=state.meaning)
    if heading.analyte and not heading.tests and heading.role in ("reading", "index"):
        heading = replace(heading, tests=more_exact(tests_of(heading.analyte, tuple(tests))))
    if not heading.units and heading.analyte and heading.analyte.unit != "none" and heading.role != "index":
        heading = replace(heading, units=over.names)
    elif _contradict(heading, over.names):
        heading = replace(heading, units=(*heading.units, *over.names))  # which of them is asked
    return heading


#: Units that give how much of a nutrient a soil holds; those of one group say the same figure.
_AMOUNTS = ({"ppm", "mg/kg"}, {"mg/L"}, {"mg/100 g"}, {"lb/acre"}, {"kg/ha"})


def _contradict(heading: Heading, over: Sequence[str]) -> bool:
    """Tell whether a nutrient's own unit and the one over its group give different figures."""
    if heading.role != "reading" or heading.analyte is None or heading.analyte.kind != "nutrient":
        return False
    own, above = (
        [place for place, same in enumerate(_AMOUNTS) if same & set(names)] for names in (heading.units, over)
    )
    return bool(own and above and own != above)


def _with_carried_tests(columns: list[Column], under: Sequence[Line]) -> list[Column]:
    """Carry a test or a dashed unit over the blank cells to its right, where it is usual for the element."""
    done: list[Column] = list(columns)
    for line in under:
        test, unit = None, None
        for place, column in enumerate(columns):
            text = line.text(place)
            if text:
                found, _ = vocabulary().tests.take(tokens(text))
                test = found[0] if found else None
                dashed = re.match(r"\s*[-–—=]{2,}", text) or re.search(r"[-–—=]{2,}\s*$", text)
                unit = find_units(text).names[:1] if dashed else None
                continue
            heading = done[place].heading
            if heading.role != "reading" or heading.analyte is None:
                test = unit = None
                continue
            if test and not heading.tests:
                usual = tuple(
                    t for t in test if t.usual_for(heading.analyte) and heading.analyte.kind == "nutrient"
                )
                heading = replace(heading, tests=usual)
            if unit and not heading.units:
                heading = replace(heading, units=unit)
            done[place] = replace(column, heading=heading)
    return done


def _records(
    grid: Grid,
    columns: list[Column],
    body: Sequence[Line],
    head: Line,
    under: Sequence[Line],
    before: Sequence[Line],
) -> Block:
    figures = [place for place, column in enumerate(columns) if column.role in FIGURES]
    names, least = _naming_columns(columns)
    heading = {plain(cell.text) for cell in head.cells if cell.text}
    anchors = {tuple(plain(cell.text) for cell in line.cells) for line in under}
    records: list[Record] = []
    around = list(before)
    repeated = []
    blank = []
    for line in body:
        texts = tuple(plain(cell.text) for cell in line.cells)
        if _repeats_heading(texts, heading) or texts in anchors:
            repeated.append(str(line.number))
        elif _has_result(line, figures) or _is_named(line, names, least):
            cells = tuple(line.cell(place) for place in range(len(columns)))
            records.append(Record(f"row {line.number}", cells))
        elif len(line.filled) >= 3 and _looks_like_record(line, columns):
            blank.append(str(line.number))
        else:
            around.append(line)
    left_out = []
    if repeated:
        left_out.append(
            LeftOut("headings repeated on a further page", f"rows {', '.join(repeated)}", len(repeated))
        )
    if blank:
        left_out.append(LeftOut("rows without any result", f"rows {', '.join(blank)}", len(blank)))
    return Block(tuple(columns), tuple(records), tuple(around), tuple(left_out), sheet=grid.name)


def _has_result(line: Line, figures: Sequence[int]) -> bool:
    return any(read_printed(line.text(place)).is_figure for place in figures)


def _naming_columns(columns: Sequence[Column]) -> tuple[list[int], int]:
    """Columns that name a product or a ticket, and how many cells make such a line a record."""
    roles = {column.role for column in columns}
    name, least = ("product", 2) if "price" in roles else (("ticket", 3) if "net" in roles else ("", 0))
    return [place for place, column in enumerate(columns) if column.role == name], least


def _is_named(line: Line, names: Sequence[int], least: int) -> bool:
    """Tell whether a line names a product or a ticket with anything beside it; its figure may be missing."""
    return any(line.text(place) for place in names) and len(line.filled) >= least


def _looks_like_record(line: Line, columns: Sequence[Column]) -> bool:
    named = [
        place
        for place, column in enumerate(columns)
        if column.role in ("label", "lab_number", "ticket", "product")
    ]
    return any(line.text(place) for place in named) and not any(
        line.text(place).endswith(":") for place in line.filled
    )


# ---------------------------------------------------------------------------------------------
# Turned tables


def _turned(grid: Grid, names: int, analytes: Sequence[int]) -> Block:
    """Turn a table with its headings down one column."""
    first = analytes[0]
    while first > 0 and _adjacent(grid, first - 1):
        first -= 1
    region = grid.lines[first:]
    heading_columns = _heading_columns(grid, names, analytes)
    samples = [
        column
        for column in range(grid.width)
        if column not in heading_columns
        and any(grid.lines[place].text(column) for place in analytes)
        and column > names
    ]
    columns: list[Column] = []
    rows: list[Line] = []
    around = list(grid.lines[:first])
    group, number = "", 0
    last = analytes[-1] + 1 - first
    for place, line in enumerate(region):
        if line.number != number + 1:
            group = ""
        number = line.number
        text = line.text(names)
        if text and not any(line.text(column) for column in range(names + 1, grid.width)):
            if place < analytes[0] - first and (":" in text or mentions("lab", text)):
                around.append(line)  # a title right over the table, no group of analytes
            elif place < last:
                group = text
            else:
                around.append(line)
            continue
        about_all = place < analytes[0] - first and is_pair(text)  # "Sample: Barn pack", and more beside it
        if about_all or (place >= last and not any(line.text(column) for column in samples)):
            around.append(line)
            continue
        texts = [text for text in (line.text(column) for column in sorted(heading_columns)) if text]
        columns.append(_column(texts, group, place))
        rows.append(line)
    rating_columns = {column for column in samples if "rating" in _roles_over(grid, column, analytes)}
    records = []
    for column in samples:
        if column not in rating_columns:
            end = next(
                (other for other in samples if other > column and other not in rating_columns), grid.width
            )
            beside = next((other for other in range(column + 1, end) if other in rating_columns), None)
            ratings = tuple(line.text(beside) for line in rows) if beside is not None else ()
            cells = tuple(line.cell(column) for line in rows)
            records.append(Record(f"column {column_letter(column)}", cells, ratings))
    return Block(tuple(columns), tuple(records), tuple(around), turned=True, sheet=grid.name)


def _roles_over(grid: Grid, column: int, analytes: Sequence[int]) -> set[str]:
    """Roles of the headings over a column of a turned table."""
    nearest = grid.lines[analytes[0]].number - _HEADING_ROWS_OVER
    over = [line for line in grid.lines[: analytes[0]] if line.number >= nearest]
    return {read_heading(line.text(column)).role for line in over if line.text(column)}


def _heading_columns(grid: Grid, names: int, analytes: Sequence[int]) -> set[int]:
    """Columns of a turned table that belong to the heading: names, methods, units, limits."""
    found = {names}
    for column in range(names + 1, grid.width):
        roles = _roles_over(grid, column, analytes)
        cells = [grid.lines[place].text(column) for place in analytes if grid.lines[place].text(column)]
        words = [text for text in cells if is_subheading(text) and not read_printed(text).is_figure]
        if roles & {"method", "units", "limit", "reporting_limit"} or (cells and len(words) == len(cells)):
            found.add(column)
    return found
