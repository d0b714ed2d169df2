"""Guaranteed analyses in words: grades such as 21-0-0-24S, "Boron 15%", lime scores, sieves.

Percentages by weight stand under the nutrient's name in small letters, sieves under "passing_60", and
lime scores in pounds per ton under "enp_lb_ton". A ratio such as 4:3:4 (33) is no grade and is not read.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from loamwright.files.sheets.words.figures import read_printed
from loamwright.files.sheets.words.vocabulary import plain, tokens, vocabulary
from loamwright.units import read_number

_NUMBER = r"[0-9]{1,2}(?:[.,][0-9]{1,2})?"
_GRADE = re.compile(rf"(?<![0-9.,:-])({_NUMBER})\s?-\s?({_NUMBER})\s?-\s?({_NUMBER})(?![0-9.,]*:)")
_FOURTH = re.compile(rf"\s?-\s?({_NUMBER})\s?%?\s?([A-Za-z][a-z]?[0-9]?[A-Z]?[0-9]?)?(?![\w.])")
_EXTRA = re.compile(rf"(?<![0-9.,])({_NUMBER})\s?%?\s?(S|Mg|MgO|Ca|CaO|B|Zn|Mn|Cu|Fe|SO3|Na|Cl|Mo)\b")
_NAMED = re.compile(
    rf"([^\W0-9_]{{1,12}})\s*(?:\(\w+\)\s*)?({_NUMBER})\s*%|({_NUMBER})\s*%\s*([^\W0-9_]{{1,12}})"
)
_SCORE = re.compile(
    r"\b(ENP|ECCE|ECC|ENM|ENV|RNV|CCE|TNP|NV|EP)\b\W{0,3}([0-9][0-9,]*(?:\.[0-9]+)?)\s*(%|(?:lbs?|#)?\s*(?:/|per)\s*t(?:on)?\b)?",
    re.IGNORECASE,
)
#: The figure first: "90% CCE", "1,500 lb ENP/ton".
_SCORE_AFTER = re.compile(
    r"([0-9][0-9,]*(?:\.[0-9]+)?)\s*(?:%|(?P<pounds>lbs?|#))\s*(?:of\s+)?"
    r"\b(ENP|ECCE|ECC|ENM|ENV|RNV|CCE|TNP|NV|EP)\b(?(pounds)\s*(?:/|per)\s*t(?:on)?\b)",
    re.IGNORECASE,
)
_SIEVE = re.compile(
    r"(?:pass(?:ing|es)?|through|thru)?\s*(?:no\.?|#)?\s*([0-9]{1,3})\s*(mesh)?", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Guarantees:
    """What a text guarantees, and whether it is a liming material."""

    analysis: Mapping[str, float] = field(default_factory=dict)
    lime: bool = False


def _value(text: str) -> float:
    return read_number(text)


def read_guarantees(text: str) -> Guarantees:
    """Find grade, further nutrients and lime scores in a product's name and analysis."""
    analysis: dict[str, float] = {}
    rest = text
    grade = _GRADE.search(text)
    if grade:
        analysis |= dict(zip(("n", "p2o5", "k2o"), map(_value, grade.groups()), strict=True))
        rest = text[: grade.start()] + " " + text[grade.end() :]
        after = text[grade.end() :]
        while fourth := _FOURTH.match(after):
            name = fourth[2] or "S"
            analysis.setdefault(name.casefold(), _value(fourth[1]))
            after = after[fourth.end() :]
    for number, name in _EXTRA.findall(rest):
        analysis.setdefault(name.casefold(), _value(number))
    for name, number, other_number, other_name in _NAMED.findall(rest):
        found = vocabulary().analytes.whole(name or other_name)
        if found and found[0].kind == "nutrient":
            analysis.setdefault(found[0].name.casefold(), _value(number or other_number))
    scores = {}
    printed = [*_SCORE.findall(text)]
    printed += [(one[3], one[1], "/ton" if one["pounds"] else "%") for one in _SCORE_AFTER.finditer(text)]
    for name, number, unit in printed:
        value = read_printed(number, decimal_comma=False).value
        if value is not None:
            scores[_score_name(name, unit)] = value
    return Guarantees(analysis | scores, bool(scores))


def _score_name(name: str, unit: str) -> str:
    plain_name = "cce" if name.upper() in ("CCE", "TNP") else name.casefold()
    if "/" in unit or "per" in unit.casefold():
        return f"{plain_name}_lb_ton"
    return f"{plain_name}_pct" if plain_name == "enp" and "%" in unit else plain_name


def read_guarantee_line(name: str, value: str) -> tuple[str, float] | None:
    """Read one line of a quarry's analysis ("PASS #60", "52%"); None when it is none."""
    printed = read_printed(value)
    if printed.value is None:
        return None
    bare = re.sub(r"(?i)\(?\b(?:max|min|maximum|minimum|guaranteed)\b\.?\)?", "", name).strip(" :")
    scores, _ = vocabulary().words["lime basis"].take(tokens(bare))
    if scores:
        names = [meaning[0].text for meaning in scores]
        score = "CCE" if "CCE" in names or "TNP" in names else names[0]
        return _score_name(score, "/" if printed.unit == "lb/ton" else ""), printed.value
    sieve = _SIEVE.fullmatch(bare)
    if sieve and (sieve[2] or re.search(r"(?i)pass|thr|#|no", bare)):
        return f"passing_{sieve[1]}", printed.value
    analytes = vocabulary().analytes.whole(bare) or vocabulary().analytes.whole(plain(bare).replace("%", ""))
    if analytes and analytes[0].name == "moisture":
        return "moisture", printed.value
    if analytes and analytes[0].kind == "nutrient" and printed.unit in (None, "%"):
        return analytes[0].name.casefold(), printed.value
    return None
