"""What the compounds that labels name are made of, and percents stated in another basis.

This file answers "the label says 32.5 % urea, or 50 % SO3: how much N or S is that?". An ingredient can
be meant in three ways, and each is written differently: as it is sold (``"urea"``), with its own figure
(``"urea 46-0-0"``, ``"urea 46 % N"``), or as the chemical (``"urea (pure)"``).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from loamwright.errors import InputError, Problem
from loamwright.units import (
    CA_PER_CAO,
    K2O_PER_K2SO4,
    K2O_PER_KCL,
    K_PER_K2O,
    MG_PER_MGO,
    N_PER_AMMONIUM_NITRATE,
    N_PER_AMMONIUM_SULFATE,
    N_PER_DAP,
    N_PER_MAP,
    N_PER_NH3,
    N_PER_UREA,
    P2O5_PER_BONE_PHOSPHATE,
    P2O5_PER_DAP,
    P2O5_PER_MAP,
    P_PER_P2O5,
    S_PER_AMMONIUM_SULFATE,
    S_PER_K2SO4,
    S_PER_SO3,
    format_figure,
)
from loamwright.values import LABEL, Nutrient, Source, Step

_PURE = Source("IUPAC standard atomic weights", "2021", "pure compound")
_RB209 = "Defra, Fertiliser Manual (RB209), Analysis of some fertiliser and liming materials"
_UGA = "UGA Circular 933, Kissel and others, Calculating the Fertilizer Value of Broiler Litter"
_ALABAMA = "Alabama Extension ANR-0174, C. Mitchell, Nutrient Content of Fertilizer Materials"
_CORNELL = "Cornell Univ., Northeast Region CCA study material, Soil Fertility, CA0428"


@dataclass(frozen=True, slots=True)
class Ingredient:
    """A compound that labels name, as sold and as a pure chemical.

    Parameters
    ----------
    name, aliases
        Name and other names, lower case.
    grade_pct
        Usual guarantee of the fertilizer grade [percent by weight, label basis].
    grade_source
        Where that grade was read.
    pure
        The pure compound, from atomic weights [kg/kg, label basis].
    nitrogen_forms
        Share of its nitrogen in each form [fraction]; empty when it has none.
    """

    name: str
    aliases: tuple[str, ...]
    grade_pct: Mapping[Nutrient, float]
    grade_source: Source
    pure: Mapping[Nutrient, float]
    nitrogen_forms: Mapping[str, float] = field(default_factory=dict)


#: "urea" on a label means the fertilizer grade, 46 % N, which is how people reckon and how it is
#: guaranteed; write "urea (pure)" for the chemical, 46.65 % N. So a 32.5 % urea solution holds 14.95 % N
#: by the first and 15.16 % by the second: the step says which was used.
INGREDIENTS: tuple[Ingredient, ...] = (
    Ingredient(
        "urea",
        ("carbamide",),
        {Nutrient.N: 46},
        Source(f"{_RB209}; {_UGA}", "", "", "urea"),
        {Nutrient.N: N_PER_UREA},
        {"urea": 1.0},
    ),
    Ingredient(
        "ammonium nitrate",
        (),
        {Nutrient.N: 34},
        Source(f"{_UGA}; {_ALABAMA}", "", "", "ammonium nitrate"),
        {Nutrient.N: N_PER_AMMONIUM_NITRATE},
        {"ammoniacal": 0.5, "nitrate": 0.5},
    ),
    Ingredient(
        "ammonium sulfate",
        ("ammonium sulphate", "sulfate of ammonia"),
        {Nutrient.N: 21, Nutrient.S: 24},
        Source(_ALABAMA, "", "", "ammonium sulfate"),
        {Nutrient.N: N_PER_AMMONIUM_SULFATE, Nutrient.S: S_PER_AMMONIUM_SULFATE},
        {"ammoniacal": 1.0},
    ),
    Ingredient(
        "monoammonium phosphate",
        ("map",),
        {Nutrient.N: 11, Nutrient.P2O5: 52},
        Source(_UGA, "", "", "MAP 11-52-0"),
        {Nutrient.N: N_PER_MAP, Nutrient.P2O5: P2O5_PER_MAP},
        {"ammoniacal": 1.0},
    ),
    Ingredient(
        "diammonium phosphate",
        ("dap",),
        {Nutrient.N: 18, Nutrient.P2O5: 46},
        Source(_UGA, "", "", "DAP 18-46-0"),
        {Nutrient.N: N_PER_DAP, Nutrient.P2O5: P2O5_PER_DAP},
        {"ammoniacal": 1.0},
    ),
    Ingredient(
        "potassium chloride",
        ("muriate of potash", "kcl", "mop"),
        {Nutrient.K2O: 60},
        Source(f"{_UGA}; {_CORNELL}", "", "", "muriate of potash"),
        {Nutrient.K2O: K2O_PER_KCL},
    ),
    Ingredient(
        "potassium sulfate",
        ("potassium sulphate", "sulfate of potash", "sop"),
        {Nutrient.K2O: 50, Nutrient.S: 17},
        Source(f"{_CORNELL}; {_RB209}", "", "", "sulfate of potash"),
        {Nutrient.K2O: K2O_PER_K2SO4, Nutrient.S: S_PER_K2SO4},
    ),
)

_GRADE = re.compile(
    r"(?P<N>\d+(?:\.\d+)?)\s*-\s*(?P<P2O5>\d+(?:\.\d+)?)\s*-\s*(?P<K2O>\d+(?:\.\d+)?)(?P<rest>(?:-[\w.]+)*)"
)
_GRADE_REST = re.compile(r"(\d+(?:\.\d+)?)(S|Ca|Mg|B|Zn|Mn)\b")
_OWN_NITROGEN = re.compile(r"(\d+(?:\.\d+)?)\s*%\s*(?:n|nitrogen)\b", re.IGNORECASE)
_PURE_WORD = re.compile(r"\(?\s*\bpure\b\s*\)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class IngredientContent:
    """An ingredient as written on a label, made into figures.

    Parameters
    ----------
    name
        Its name without grade or remark.
    fractions
        Nutrient in the ingredient [kg/kg, label basis].
    kind
        How it was meant, in words: fertilizer grade, its own grade, pure compound.
    source
        Where the figures come from.
    known
        Its row in `INGREDIENTS`; None when it stands on its own figures only.
    """

    name: str
    fractions: Mapping[Nutrient, float]
    kind: str
    source: Source
    known: Ingredient | None


def without_grade(text: str) -> str:
    """Take the grade out of a product or ingredient name.

    Parameters
    ----------
    text
        ``"Ammonium sulfate 21-0-0-24S"``.

    Returns
    -------
    str

    Examples
    --------
    >>> without_grade("Ammonium sulfate 21-0-0-24S")
    'Ammonium sulfate'
    """
    return " ".join(_GRADE.sub(" ", text).strip(" ,()").split())


def _find(name: str) -> Ingredient | None:
    key = " ".join(name.casefold().split())
    return next((item for item in INGREDIENTS if key == item.name or key in item.aliases), None)


def ingredient_content(text: str) -> IngredientContent | None:
    """Read an ingredient as a label names it.

    Parameters
    ----------
    text
        A name of `INGREDIENTS`; any name with its own grade or percent N; a name with "(pure)".

    Returns
    -------
    IngredientContent or None
        None when the name is not in the table and has no figure of its own.

    Examples
    --------
    >>> for text in ("urea", "urea 45 % N", "urea (pure)"):
    ...     print(text, round(ingredient_content(text).fractions[Nutrient.N], 5))
    urea 0.46
    urea 45 % N 0.45
    urea (pure) 0.46646
    """
    if not text.strip():
        return None
    grade = _GRADE.search(text)
    own = _OWN_NITROGEN.search(text)
    if grade:
        bare = without_grade(text)
        stated = {n: float(grade[n.value]) / 100 for n in (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)}
        rest = {Nutrient(name): float(pct) / 100 for pct, name in _GRADE_REST.findall(grade["rest"])}
        fractions = {nutrient: share for nutrient, share in (stated | rest).items() if share > 0}
        return IngredientContent(bare or text, fractions, "its own grade as stated", LABEL, _find(bare))
    if own:
        bare = " ".join(_OWN_NITROGEN.sub(" ", text).strip(" ,()").split())
        return IngredientContent(
            bare or text, {Nutrient.N: float(own[1]) / 100}, "as stated", LABEL, _find(bare)
        )
    if _PURE_WORD.search(text):
        known = _find(_PURE_WORD.sub(" ", text).strip(" ,()"))
        return (
            None
            if known is None
            else IngredientContent(known.name, known.pure, "pure compound", _PURE, known)
        )
    known = _find(text)
    if known is None:
        return None
    fractions = {nutrient: pct / 100 for nutrient, pct in known.grade_pct.items()}
    return IngredientContent(known.name, fractions, "fertilizer grade", known.grade_source, known)


@dataclass(frozen=True, slots=True)
class Restated:
    """A percent in another basis, turned into the label's.

    Parameters
    ----------
    nutrient, pct
        Nutrient and percent in US label basis.
    step
        How.
    """

    nutrient: Nutrient
    pct: float
    step: Step


_RESTATED: Mapping[str, tuple[Nutrient, float]] = {
    "P": (Nutrient.P2O5, 1 / P_PER_P2O5),
    "K": (Nutrient.K2O, 1 / K_PER_K2O),
    "SO3": (Nutrient.S, S_PER_SO3),
    "MgO": (Nutrient.MG, MG_PER_MGO),
    "CaO": (Nutrient.CA, CA_PER_CAO),
    "NH3": (Nutrient.N, N_PER_NH3),
    "bone phosphate": (Nutrient.P2O5, P2O5_PER_BONE_PHOSPHATE),
}


def restate(pct: float, basis: str) -> Restated:
    """Turn a percent in another basis into the basis of a US label.

    Parameters
    ----------
    pct
        Percent by weight as printed.
    basis
        What it is percent of: ``"P"``, ``"K"``, ``"SO3"``, ``"MgO"``, ``"CaO"``, ``"NH3"`` or
        ``"bone phosphate"`` (tricalcium phosphate).

    Returns
    -------
    Restated

    Raises
    ------
    InputError
        When the basis is not one of those.

    Notes
    -----
    British and European labels state SO3, MgO and CaO; old American ones ammonia and bone phosphate.

    Examples
    --------
    >>> restate(50, "SO3").nutrient, round(restate(50, "SO3").pct, 2)
    (<Nutrient.S: 'S'>, 20.02)
    """
    if basis not in _RESTATED:
        known = ", ".join(_RESTATED)
        raise InputError(
            [Problem("label basis", f"{basis!r} is not known", f"Use one of: {known}; or the label's own.")]
        )
    nutrient, factor = _RESTATED[basis]
    words = f"{format_figure(pct)} % {basis} × {factor:.4f}"
    return Restated(nutrient, pct * factor, Step(words, pct * factor, f"% {nutrient.value}", _PURE))
