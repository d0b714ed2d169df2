"""What the lines around a table state: lab, report, dates, and tests, units and limits for named analytes.

A sentence is taken only when every word of it is understood ("P, K, Mg in lb/acre"; "K and Mg: ammonium
nitrate"; "ND = not detected at 0.3 ppm"). Anything else is left alone: advice that mentions lime or pH
must not become a unit. What it says is to be spread is kept as it is printed, to be told and not lost.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from loamwright.files.grids import Cell, Line
from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.depths import Depth, read_depth, read_single_depth
from loamwright.files.sheets.words.figures import read_printed
from loamwright.files.sheets.words.headings import more_exact, read_heading, tests_of
from loamwright.files.sheets.words.measures import find_units, read_unit, unit_named
from loamwright.files.sheets.words.vocabulary import Analyte, LabTest, mentions, plain, tokens, vocabulary

_PAIR = re.compile(r"\s*([^:]{2,40}?)\s*:\s*(.*)")
#: A day that stands behind its name without a colon: "Sampled 10/02/2026   Depth 0-6 in".
_DAY_BESIDE = re.compile(
    r"(?P<name>[^\W\d][^\d:]{2,30}?)(?: on| of)?\s+"
    r"(?P<day>[0-9]{1,4}[/.-][0-9]{1,2}[/.-][0-9]{2,4})(?![\d/-]|\.\d)(?P<rest>.*)"
)
#: What a statement about all figures sets aside, without naming any.
_EXCEPT = re.compile(
    r"(?i)[,(\s]*\b(?:except|unless)\s+(?:where|as|when)?\s*(?:otherwise)?\s*"
    r"(?:noted|stated|shown|marked|indicated|specified|given)\)?\s*$"
)
_SENTENCES = re.compile(r";|\.(?=\s|$)|\n")

#: Longest unit in words, "pounds of P2O5 per acre", and weights that advice is given in without an area.
_UNIT_WORDS, _WEIGHTS = 5, ("lb", "ton", "kg", "t")

#: Roles that a "label: value" pair around a table may fill.
PAIRED = frozenset(
    {"sampled", "received", "reported", "dated", "priced_on", "label", "lab_number", "report_number", "crop"}
    | {
        "depth",
        "material",
        "sample_type",
        "seller",
        "texture",
        "yield_goal",
        "previous_crop",
        "area",
        "aside",
    }
)


_DAYS = ("sampled", "received", "reported", "dated")


@dataclass(slots=True)
class Statements:
    """What is stated around the tables of a sheet; analytes by the name they are kept under."""

    lab: str | None = None
    first_line: str | None = None
    report: str | None = None
    pairs: dict[str, Cell] = field(default_factory=dict)
    tests: dict[str, LabTest] = field(default_factory=dict)
    general_tests: list[tuple[LabTest, ...]] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    general_unit: str | None = None
    limits: dict[str, float] = field(default_factory=dict)
    limit_of: dict[tuple[str, str], float] = field(default_factory=dict)
    none_needed: set[str] = field(default_factory=set)
    lime_basis: str | None = None
    depth: Depth | None = None
    state: str | None = None
    recommendation_unit: str | None = None
    lines: list[str] = field(default_factory=list)
    rates: list[str] = field(default_factory=list)

    def test_for(self, analyte: Analyte) -> tuple[LabTest, ...]:
        """Return the test stated for an analyte, or stated for all."""
        if analyte.element in self.tests and self.tests[analyte.element].fits(analyte):
            return (self.tests[analyte.element],)
        if analyte.kind == "nutrient":
            return more_exact(tests_of(analyte, tuple(self.general_tests)))
        return ()

    def unit_for(self, analyte: Analyte) -> str | None:
        """Return the unit stated for an analyte, or stated for all elements."""
        return self.units.get(analyte.element) or (self.general_unit if analyte.kind == "nutrient" else None)


def read_statements(lines: Iterable[Line]) -> Statements:
    """Read the lines around the tables of a sheet."""
    found = Statements()
    for line in lines:
        place, told = 0, len(found.rates)
        filled = line.filled
        while place < len(filled):
            cell = line.cell(filled[place])
            following = line.cell(filled[place + 1]) if place + 1 < len(filled) else None
            place += 2 if _pair(found, cell, following) else 1
        if any(read_printed(rate).is_figure for rate in found.rates[told:]):  # its words stand beside it
            found.rates[told:] = [", ".join(line.text(place) for place in filled)]
    return found


def is_pair(text: str) -> bool:
    """Tell whether a text names something about the whole sheet and says what it is: "Sampled: May 2"."""
    match = _PAIR.fullmatch(text)
    heading = read_heading(match[1]) if match and match[2] else None
    return heading is not None and heading.known and heading.role in (*PAIRED, "method")


def _pair(found: Statements, cell: Cell, following: Cell | None) -> bool:
    """Read one cell; return True when the next one was its value."""
    text = cell.text
    match = _PAIR.fullmatch(text)
    name = match[1] if match else text.rstrip(": ")
    heading = read_heading(name)
    role = heading.role if heading.known else ""
    if role in PAIRED and match and match[2]:
        said, *more = _several(role, match[2])
        _keep(found, role, Cell(said))
        for rest in more:
            _pair(found, Cell(rest), None)
        return False
    if role in PAIRED and following is not None and following.text and (len(text) < 40):
        _keep(found, role, following)
        return True
    if (beside := _DAY_BESIDE.fullmatch(text)) and (dated := _dated_role(beside["name"])):
        _keep(found, dated, Cell(beside["day"]))
        if beside["rest"].strip():
            _pair(found, Cell(beside["rest"].strip(" .,;|")), None)
        return False
    if role == "method" and (value := match[2] if match else following.text if following else ""):
        tests, left = vocabulary().tests.take(tokens(value))
        if tests and not vocabulary().words["filler"].take(left)[1]:
            found.general_tests.extend(tests)
            return not match
    found.lines.append(text)
    if found.first_line is None:
        found.first_line = text
    named = mentions("lab", text) and not find_units(text).names and not mentions("recommendation", text)
    if found.lab is None and named and len(text) < 80 and not (match and match[2]):
        found.lab = text
    for sentence in _SENTENCES.split(text):
        _sentence(found, sentence)
    return False


def _dated_role(name: str) -> str:
    """Return which day a name means, as "sampled"; empty when it means none."""
    heading = read_heading(name)
    return heading.role if heading.known and heading.role in _DAYS else ""


def _several(role: str, text: str) -> list[str]:
    """Part "2026-10-12, depth 0-6 in" into the day and what stands after it; other texts stay whole."""
    first, *rest = re.split(r"\s*[;|]\s*|\s*,\s+(?=[^\W\d])", text.strip())
    is_day = role in _DAYS and read_printed_date(first) is not None
    return [first, *rest] if is_day else [text.strip()]


def _keep(found: Statements, role: str, value: Cell) -> None:
    if role == "report_number":
        found.report = found.report or value.text
    elif role == "depth":
        found.depth = read_depth(value.text) or read_single_depth(f"depth {value.text}") or found.depth
    else:
        found.pairs.setdefault(role, value)


def _sentence(found: Statements, sentence: str) -> None:
    text = sentence.strip(" *")
    if not text:
        return
    meaning = re.fullmatch(r"(?P<mark>\S{1,12}|blank)\s*(?:=|:|means|is)\s*(?P<what>.+)", text)
    if meaning and _mark(found, meaning["mark"], meaning["what"]):
        return
    bare_mark = re.fullmatch(r"(?P<mark>-{1,3}|\*{1,3}|–|—)\s+(?P<what>.+)", text)
    if bare_mark and _mark(found, bare_mark["mark"], bare_mark["what"]):
        return
    if _lime(found, text) or _depth(found, text):
        return
    state = mentions("state", text)
    alone = not vocabulary().words["state"].take(tokens(text))[1]
    if state and (alone or re.search(r"\b(basis|results?|reported|expressed|weight)\b", plain(text))):
        found.state = state.meaning
    _test_or_unit(found, text)
    if _says_a_rate(text):
        found.rates.append(text)


def _says_a_rate(text: str) -> bool:
    """Tell whether a sentence says how much to spread: "N rec for Bottom = 60 lb/A"; "1 ppm = 2 lb/A" not."""
    named = find_units(text).names
    if any(unit_named(name).measures == "content" for name in named):
        return False
    advised = mentions("recommendation", text) is not None
    for figure in re.finditer(r"(?<![\w.])[0-9][0-9.,]*\s*(?=[^\s0-9])", text):
        words = text[figure.end() :].split()[:_UNIT_WORDS]
        for count in range(1, len(words) + 1):
            unit = read_unit(" ".join(words[:count]).strip(".,;:()"))
            if unit and (
                unit_named(unit.names[0]).measures == "rate" or (advised and unit.names[0] in _WEIGHTS)
            ):
                return True
    return False


def _mark(found: Statements, mark: str, what: str) -> bool:
    """Read what a mark in the cells stands for: a detection limit, or "none needed"."""
    said = plain(what)
    if mentions("none needed", what) and not re.search(r"[0-9]", said):
        found.none_needed.add(plain(mark))
        return True
    limit = re.search(r"(?:below|less than|at|limit(?: of)?|<)\s*([0-9.,]+)\s*(.*)", said)
    if limit and re.search(r"detect|below|limit|less than", said):
        number = read_printed(limit[1].rstrip(".,")).value
        if number is None:
            return False
        analytes, _ = vocabulary().analytes.take(tokens(find_units(limit[2]).rest))
        for meaning in analytes:
            found.limit_of[plain(mark), meaning[0].element] = number
        if not analytes:
            found.limits[plain(mark)] = number
        return True
    return bool(re.search(r"not (?:tested|analy[sz]ed|run)|detect", said))


def _lime(found: Statements, text: str) -> bool:
    match = re.fullmatch(
        r"\W*(?:ground )?(?:lime(?:stone)?|liming)\b[^.]*?"
        r"\b(?:as|is|in terms of|based on|expressed as|given as)\s+(.+)",
        text,
        re.IGNORECASE,
    )
    if match is None:
        return False
    basis, score = match[1].strip(), mentions("lime basis", match[1])
    material = re.search(r"limestone|lime\b|carbonate|chalk", plain(basis))
    if not (score or material) or len(basis) > 60:
        return False
    only_score = score is not None and not material and not re.search(r"[0-9]", basis)
    found.lime_basis = score.text if score and only_score else re.sub(r"\s*,\s*", " ", basis)
    return True


def _depth(found: Statements, text: str) -> bool:
    depth = read_depth(text) or read_single_depth(text)
    if depth is None or not re.search(r"\b(depth|sampled?|samples|cores?|taken)\b", plain(text)):
        return False
    found.depth = depth if found.depth in (None, depth) else None
    return True


def _test_or_unit(found: Statements, text: str) -> None:
    """Read "P: Olsen", "K and Mg by ammonium nitrate", "P, K in lb/acre", "Mehlich-3 extract"."""
    known = vocabulary()
    text = _EXCEPT.sub("", text)
    units = find_units(text)
    asked = mentions("recommendation", text) is not None
    words = known.words["recommendation"].take(tokens(units.rest))[1] if asked else tokens(units.rest)
    _, words = known.words["state"].take(words)
    tests, left = known.tests.take(words)
    analytes, left = known.analytes.take(left)
    if not analytes and tests:
        analytes = []
    _, left = known.words["connector"].take(left)
    _, left = known.words["filler"].take(left)
    if [word for word in left if word not in ("/", "&", "+", "%")] or not (tests or units.names):
        short = re.sub(r"\([^()]*\)", " ", text).strip()
        if short and short != text:  # "Morgan extract (buffered at pH 4.8)"
            _test_or_unit(found, short)
        return
    named = [meaning[0] for meaning in analytes]
    if asked and len(units.names) == 1 and not tests:
        found.recommendation_unit = units.names[0]
        return
    if not named and _is_about_all(text) and (tests or _all(text)):
        if tests:
            found.general_tests.extend(tests)
        if len(units.names) == 1:
            found.general_unit = units.names[0]
        return
    for analyte in named:
        fitting = more_exact(tests_of(analyte, tuple(tests)))
        if len(fitting) == 1:
            found.tests.setdefault(analyte.element, fitting[0])
        if len(units.names) == 1:
            found.units.setdefault(analyte.element, units.names[0])


def _all(text: str) -> bool:
    return bool(
        re.search(r"\b(all|results?|readings?|values?|figures?|elements|nutrients|units?)\b", plain(text))
    )


def _is_about_all(text: str) -> bool:
    """A sentence about everything says extract, results, units, method: not just a lone word."""
    return bool(
        re.search(
            r"\b(extract(?:s|ion|able|ant|ed)?|method|results?|readings?|values?|figures?|indices"
            r"|units?|all|soil test)\b",
            plain(text),
        )
    )


def statement_texts(lines: Sequence[Line]) -> list[str]:
    """Return the filled cells of lines, for what only looks at words."""
    return [cell.text for line in lines for cell in line.cells if cell.text]
