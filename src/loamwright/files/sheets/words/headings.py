"""What one heading says: role of the column, analyte, test, unit, basis, lime target, state of manure.

A heading is the text of its stacked rows put together. Its parts are found by the words of `vocabulary`;
what is left over makes it one that was not understood, to be asked about, never guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.depths import DEPTH, Depth, read_depth
from loamwright.files.sheets.words.figures import read_printed
from loamwright.files.sheets.words.measures import NO_UNITS, find_units, read_unit
from loamwright.files.sheets.words.vocabulary import (
    Analyte,
    ColumnWord,
    KnownHeading,
    LabTest,
    Word,
    mentions,
    plain,
    tokens,
    vocabulary,
)
from loamwright.units import read_number

_PRICE = re.compile(
    r"(?:price|cost|prix|preis|pris)?\W*(?:(?<=\w)\W*|[$€£]|usd|eur|gbp|nok|sek|dkk|kr|cad|aud|nzd)"
    r"\s*(?:/|\bper\b|\bpro\b|\bje\b|\bpar\b)\s*(?P<per>[^/()]+?)\W*"
)

#: A heading that is one package, over its prices: "50 lb bag", "25 kg", "1 ton tote price"; bags are counted.
_PACKAGE_PRICE = re.compile(
    r"(?:(?:price|cost|[$€£])\W*)?"
    r"(?P<per>[0-9][0-9.,]*\s*(?:#|lbs?|pounds?|kg|(?:short )?tons?|t|gal|gallons?|l)\.?"
    r"(?:\s*(?:bag|sack|jug|tote|pail|drum|jar|sac))?)\W*(?:price|cost|[$€£])?\W*"
)

#: Lime of a stated score: "ENP basis 70%", "as 67% ECCE".
_SCORED_LIME = re.compile(
    r"(?i)\b(?P<score>ENP|ECCE|ECC|ENM|ENV|RNV|CCE|NV)\b[^0-9%/]{0,12}(?P<share>[0-9]{2,3}(?:\.[0-9]+)?)\s*%"
    r"|(?P<before>[0-9]{2,3}(?:\.[0-9]+)?)\s*%\s*(?P<behind>ENP|ECCE|ECC|ENM|ENV|RNV|CCE|NV)\b"
)

#: Units in names made for machines: P_M1_LBS_AC, K_MG_KG.
_MACHINE_UNIT = re.compile(r"(?i)(_|^)(LBS?|TONS?|T|KG|G|MG|MEQ|ME|CMOL|DT)_(ACRE|AC|A|HA|KG|L|100_?G)(_|$)")

#: Units in which a figure is the same number.
SAME_NUMBER = (frozenset({"ppm", "mg/kg"}), frozenset({"meq/100 g", "cmol(+)/kg"}))


@dataclass(frozen=True, slots=True)
class Heading:
    """What one column holds, as far as its heading tells.

    `role` is "reading" for an analyte, a word of ``columns.csv``, "lime", "rating", "index", "share",
    "availability", "recommendation", or "unknown". Two units or two tests are kept both: such a heading is
    asked about. `left` holds the words nobody understood.
    """

    text: str
    role: str = "unknown"
    also: tuple[str, ...] = ()
    rank: int = 9
    analyte: Analyte | None = None
    tests: tuple[LabTest, ...] = ()
    unclear_tests: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    basis: str | None = None
    target_ph: float | None = None
    purpose: str | None = None
    state: str | None = None
    estimate: str | None = None
    depth: Depth | None = None
    per: str | None = None
    calculated: bool = False
    note: str = ""
    left: tuple[str, ...] = ()

    @property
    def known(self) -> bool:
        """Whether every word of it was understood."""
        return self.role != "unknown" and not self.left

    @property
    def unit(self) -> str | None:
        """The one unit it names; None when it names none, or several that are not the same number."""
        names = set(self.units)
        same = len(names) == 1 or any(names <= alike for alike in SAME_NUMBER)
        return self.units[0] if names and same else None


def tests_of(analyte: Analyte, found: tuple[tuple[LabTest, ...], ...]) -> tuple[LabTest, ...]:
    """Choose among the meanings of test phrases those for an analyte, each once."""
    return tuple(dict.fromkeys(test for meanings in found for test in meanings if test.fits(analyte)))


def more_exact(tests: tuple[LabTest, ...]) -> tuple[LabTest, ...]:
    """Drop a test that another one names more exactly ("Mehlich-3" beside "Mehlich-3 ICP")."""
    return tuple(
        test
        for test in tests
        if not any(other is not test and other.name.startswith(f"{test.name} ") for other in tests)
    )


#: Words of a column that says what a reading should be, not what it is.
_AIM = re.compile(r"\b(target|desired|optimum|optimal|ideal|goal|critical|sollwert|ønsket|mål)\b")


@lru_cache(maxsize=4096)
def read_heading(text: str) -> Heading:
    """Read one heading."""
    bare = re.sub(r"[*†‡]+|\([0-9]\)", " ", text).strip().strip(":").strip()
    bare = re.sub(r"(?<=1:[0-9]),(?=[0-9])", ".", bare)  # pH (1:2,5)
    if not bare:
        return Heading(text)
    price = _PRICE.fullmatch(plain(bare)) or _PACKAGE_PRICE.fullmatch(plain(bare))
    if price:
        return Heading(text, "price", per=price["per"].strip())
    depth = read_depth(bare)
    if depth is not None:
        bare = DEPTH.sub(" ", plain(bare))
    scored = _SCORED_LIME.search(bare) if mentions("lime", bare) else None
    if scored is not None:
        heading = read_heading(
            f"{bare[: scored.start()]} {scored['score'] or scored['behind']}{bare[scored.end() :]}"
        )
        share = f"{scored['share'] or scored['before']}% {(scored['score'] or scored['behind']).upper()}"
        return replace(heading, text=text, basis=share) if heading.role == "lime" else heading
    bare = _MACHINE_UNIT.sub(r"\1\2/\3\4", bare)
    found = find_units(bare)
    heading = _whole(text, bare, found.rest) or _rating(text, found.rest) or _parts(text, found.rest)
    basis, left = _basis(found.bases)
    if left and heading.analyte is None and heading.role == "unknown" and not heading.left:
        heading = replace(_parts(text, left), text=text)
    units = found.names or heading.units
    if heading.role == "unknown" and units and vocabulary().units[units[0]].measures == "density":
        return replace(heading, role="density", units=units, left=())
    if heading.role == "unknown" and not found.rest.strip(" -") and basis:
        heading = _of_a_unit(heading, basis, units[0])
    if heading.role == "reading" and heading.analyte and _is_share(heading.analyte, units, text):
        heading = replace(heading, role="share")
    if heading.role == "reading" and heading.analyte and _counts_a_crop(heading, units):
        heading = replace(heading, left=())
    if heading.role == "reading" and _AIM.search(plain(text)):
        return Heading(text, "aside", note="a figure to aim at, no reading")
    return replace(heading, units=units, basis=basis or heading.basis, depth=depth)


def _counts_a_crop(heading: Heading, units: tuple[str, ...]) -> bool:
    """N lb/a 1, P2O5 kg/ha 2, K2O 1: a rate of what is spread, numbered by the crop it is for."""
    assert heading.analyte is not None
    rates = any(vocabulary().units[unit].measures == "rate" for unit in units if unit in vocabulary().units)
    numbered = bool(heading.left) and all(word in ("1", "2", "3", "4") for word in heading.left)
    return (rates or not units) and numbered and heading.analyte.name in ("N", "P2O5", "K2O")


def _of_a_unit(heading: Heading, basis: str, unit: str) -> Heading:
    """Read a heading that is a unit and what it is of: "lb P2O5/A", "#ENP/A", "kg N/m3"."""
    analyte = vocabulary().analyte_names.get(basis)
    if analyte is None:
        return replace(heading, role="lime", left=())
    rate = vocabulary().units[unit].measures == "rate"
    return replace(heading, role="recommendation" if rate else "reading", analyte=analyte, left=())


def _is_share(analyte: Analyte, units: tuple[str, ...], text: str) -> bool:
    """K %, PCT_K: in soil a share of the exchange capacity, no potassium reading."""
    return (
        analyte.name in ("K", "Ca", "Mg", "Na", "H", "Al")
        and units == ("%",)
        and mentions("state", text) is None
    )


def _basis(texts: tuple[str, ...]) -> tuple[str | None, str]:
    """Return what a unit is of ("lb ENP/acre"), and the text when it is nothing known."""
    for text in texts:
        lime = vocabulary().words["lime basis"].whole(text)
        if lime:
            return lime[0].text, ""
        analyte = vocabulary().analytes.whole(text)
        if analyte:
            return analyte[0].name, ""
        return None, text
    return None, ""


def _whole(text: str, *versions: str) -> Heading | None:
    """Look a heading up as a whole, with and without its unit."""
    known = vocabulary()
    for version in versions:
        found = known.headings.whole(version)
        if found:
            return _from_known(text, found[0])
    for version in versions:
        heading = _named(text, known.analytes.whole(version), known.columns.whole(version))
        if heading is not None:
            return heading
    for version in versions:
        found = known.headings.run_together(version)
        if found:
            return _from_known(text, found[0])
        heading = _named(text, known.analytes.run_together(version), known.columns.run_together(version))
        if heading is not None:
            return heading
    return None


def _named(text: str, analytes: tuple[Analyte, ...], roles: tuple[ColumnWord, ...]) -> Heading | None:
    if analytes:
        return Heading(text, "reading", analyte=analytes[0])
    if roles:
        return Heading(text, roles[0].role, tuple(word.role for word in roles[1:]), roles[0].rank)
    return None


def _rating(text: str, rest: str) -> Heading | None:
    """Read "P1_RT" and "K Rating": the rating of a reading that stands in another column."""
    words = tokens(rest)
    for place, word in enumerate(words):
        roles = {found.role for found in vocabulary().columns.whole(word)}
        if roles and roles <= {"rating", "soil_class"}:
            left = " ".join((*words[:place], *words[place + 1 :]))
            of = _whole(text, left) or _parts(text, left)
            return replace(of, role="rating") if of.analyte and not of.left else None
    return None


def _from_known(text: str, found: KnownHeading) -> Heading:
    known = vocabulary()
    analyte = known.analyte_names.get(found.analyte)
    test = known.test_names.get((analyte.kind, found.test)) if analyte else None
    return Heading(
        text,
        found.role,
        analyte=analyte,
        tests=(test,) if test else (),
        units=(found.unit,) if found.unit else (),
        note=found.note,
    )


def _parts(text: str, rest: str) -> Heading:
    """Read a heading by its parts: tests, then analyte and role, then the words between."""
    known = vocabulary()
    words = tokens(rest)
    marks: dict[str, Word] = {}
    for kind in ("estimate", "state", "availability"):
        found, left = known.words[kind].take(words)
        found = [one for one in found if kind != "estimate" or one[0].text != "available"]
        if found:
            marks[kind], words = found[0][0], left
    scores, _ = known.words["lime basis"].take(words)
    lime, _ = known.words["lime"].take(known.analytes.take(words)[1])
    if lime:
        return _lime(text, known.words["lime"].take(words)[1], marks)
    share, words = known.words["share"].take(words)
    analytes_first, after_analytes = known.analytes.take(words)
    tests, after_tests = known.tests.take(words)
    analytes, left = known.analytes.take(after_tests)
    if not analytes and analytes_first and not _cut_off(after_analytes):  # "Mehlich P III", never "NH4OAc"
        analytes = analytes_first
        if not any(test.fits(meaning[0]) for meaning in analytes for found in tests for test in found):
            left, tests = after_analytes, []
    index, left = known.words["index"].take(left) if analytes else ([], left)
    calculated, left = known.words["calculated"].take(left)
    roles, without_roles = known.columns.take(left)
    asked, without_asked = known.words["recommendation"].take(left)
    heading = Heading(text, state=marks["state"].meaning if "state" in marks else None)
    heading = replace(heading, estimate=marks["estimate"].meaning if "estimate" in marks else None)
    names = {meaning[0].element for meaning in analytes}
    if len(names) == 1:
        analyte = min((meaning[0] for meaning in analytes), key=lambda a: a.form != "oxide")
        chosen = more_exact(tests_of(analyte, tuple(tests)))
        role, left = "reading", without_asked
        if asked:
            role = "recommendation"
        if share and not chosen:
            role = "share"
        elif index:
            role = "index"
        if "availability" in marks:
            role = "availability"
        _, left = known.columns.take(left)
        heading = replace(heading, role=role, analyte=analyte, tests=chosen, calculated=bool(calculated))
        unused = tuple(m[0].name for m in tests if not tests_of(analyte, (m,)))
        return replace(heading, left=_unread(left, role), unclear_tests=unused)
    if not names and tests and not roles:
        sole = {
            test.elements[0]
            for m in tests
            for test in m
            if len(test.elements) == 1 and test.elements != ("*",)
        }
        if len(sole) == 1:
            analyte = known.analyte_names[sole.pop()]
            return replace(
                heading,
                role="reading",
                analyte=analyte,
                tests=tests_of(analyte, tuple(tests)),
                left=_unread(left, ""),
            )
    if not names and roles:
        best = min((word for meanings in roles for word in meanings), key=_more_telling)
        lengths = tuple(word for word in without_roles if read_unit(word))
        units = tuple(unit for word in lengths for unit in (read_unit(word) or NO_UNITS).names)
        others = tuple(word for word in without_roles if word not in lengths)
        return replace(
            heading, role=best.role, rank=best.rank + 2, units=units, left=_unread(others, best.role)
        )
    if scores and not names:
        _, left = known.words["lime basis"].take(left)
    if asked and not names:
        return replace(heading, role="recommendations", left=_unread(without_asked, ""))
    if scores and not names:
        return replace(heading, role="lime", basis=scores[0][0].text, left=_unread(left, "lime"))
    return replace(heading, left=words)


def _cut_off(words: tuple[str, ...]) -> bool:
    """Tell whether words without their analyte hold a part of a test's name that means nothing alone."""
    known = vocabulary()
    _, left = known.tests.take(words)
    for kind in ("index", "calculated", "recommendation", "filler"):
        _, left = known.words[kind].take(left)
    return any(word.isalpha() and word != "i" for word in left)


def _more_telling(word: ColumnWord) -> tuple[bool, int]:
    """Prefer "top of the slice" to "depth", then the better candidate."""
    return word.role == "depth", word.rank


def _unread(words: tuple[str, ...], role: str) -> tuple[str, ...]:
    """Words that carry a meaning nobody read; a number behind a recommendation counts its crop."""
    _, left = vocabulary().words["filler"].take(words)
    signs = ("/", "&", "+", "%", "#")
    return tuple(
        word
        for word in left
        if word not in signs
        and not (role in ("recommendation", "lime", "crop", "yield_goal") and word.isdigit())
    )


def _lime(text: str, words: tuple[str, ...], marks: dict[str, Word]) -> Heading:
    known = vocabulary()
    scores, words = known.words["lime basis"].take(words)
    _, words = known.words["recommendation"].take(words)
    _, words = known.words["filler"].take(words)
    target, left = None, []
    for word in words:
        number = re.fullmatch(r"([0-9])[.:]([0-9])", word)
        ph = read_number(f"{number[1]}.{number[2]}") if number else 0.0
        if 4.5 <= ph <= 8:
            target = ph
        else:
            left.append(word)
    uses, rest = known.words["land use"].take(tuple(left))
    heading = Heading(text, "lime", basis=scores[0][0].text if scores else None, target_ph=target)
    purpose = uses[0][0].text if uses else None
    return replace(heading, purpose=purpose, left=_unread(rest, "lime"))


def is_subheading(text: str) -> bool:
    """Tell whether a cell under a heading belongs to it: a unit, a test, a depth word, a row of dashes."""
    bare = text.strip().strip("-–—=_ .")
    if not bare:
        return not re.search(r"[0-9]", text)
    if read_unit(bare) is not None or read_unit(bare.strip("()[]")) is not None:
        return True
    if read_printed(bare).is_figure or read_printed_date(bare) is not None:
        return False
    rest = find_units(bare).rest
    known = vocabulary()
    words = tokens(rest)
    for phrases in (
        known.tests,
        known.words["state"],
        known.words["lime basis"],
        known.words["recommendation"],
    ):
        _, words = phrases.take(words)
    if "depth_top" in {word.role for word in known.columns.whole(bare)} or known.columns.whole(bare):
        return True
    _, words = known.words["filler"].take(words)
    return not any(re.search(r"[^\W0-9_]", word) for word in words) and not re.fullmatch(r"[0-9.,]+", bare)
