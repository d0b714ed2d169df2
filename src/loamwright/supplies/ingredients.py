"""What the compounds that labels name are made of, and percents stated in another basis.

This file answers "the label says 32.5 % urea, or 50 % SO3: how much N or S is that?". An ingredient can
be meant in three ways, and each is written differently: as it is sold (``"urea"``), with its own figure
(``"urea 46-0-0"``, ``"urea 46 % N"``), or as the chemical (``"urea (pure)"``).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from loamwright.errors import InputError, Problem
from loamwright.units import (
    CA_PER_CAO,
    CACO3_PER_N,
    K2O_PER_K2SO4,
    K2O_PER_KCL,
    K_PER_K2O,
    LB_KG,
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
    read_number,
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

_PERCENT = r"(?<!\d)\d{1,3}(?:\.\d{1,6})?(?!\d)"
_GRADE = re.compile(
    rf"(?P<N>{_PERCENT})\s*-\s*(?P<P2O5>{_PERCENT})\s*-\s*(?P<K2O>{_PERCENT})(?P<rest>(?:-[\w.]+)*)"
)
_GRADE_REST = re.compile(rf"({_PERCENT})(S|Ca|Mg|B|Zn|Mn)\b")
_OWN_NITROGEN = re.compile(rf"({_PERCENT})\s*%\s*(?:n|nitrogen)\b", re.IGNORECASE)
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
        stated = {n: read_number(grade[n.value]) / 100 for n in (Nutrient.N, Nutrient.P2O5, Nutrient.K2O)}
        rest = {Nutrient(name): read_number(pct) / 100 for pct, name in _GRADE_REST.findall(grade["rest"])}
        fractions = {nutrient: share for nutrient, share in (stated | rest).items() if share > 0}
        return IngredientContent(bare or text, fractions, "its own grade as stated", LABEL, _find(bare))
    if own:
        bare = " ".join(_OWN_NITROGEN.sub(" ", text).strip(" ,()").split())
        return IngredientContent(
            bare or text, {Nutrient.N: read_number(own[1]) / 100}, "as stated", LABEL, _find(bare)
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


_ANR_0174 = Source("Alabama Extension ANR-0174, C. Mitchell, Nutrient Content of Fertilizer Materials")
_STOICHIOMETRY = Source("IUPAC standard atomic weights", "2021", "CaCO3 over 2 N")


@dataclass(frozen=True, slots=True)
class Acidifier:
    """How much lime a nitrogen material uses up.

    Parameters
    ----------
    material, aliases
        Name and other names, lower case.
    nitrogen_pct
        Grade the published figure is for [percent N]; None when no figure was read at first hand.
    caco3_per_material
        Published calcium carbonate equivalent of its acidity [kg CaCO3 per kg material].
    acid_per_n
        Hydrogen ions for each nitrogen when all of it nitrifies and none of the nitrate is taken up.
    """

    material: str
    aliases: tuple[str, ...]
    nitrogen_pct: float | None
    caco3_per_material: float | None
    acid_per_n: float


_UAN = ("uan", "uan solution", "urea-ammonium nitrate", "urea ammonium nitrate solution")

#: Published figures: Alabama ANR-0174, nitrogen section. Hydrogen ions: 2 for each ammonium N that comes
#: with an acid's anion, 1 for each N of urea, ammonia and ammonium nitrate, 3 for the two N of diammonium
#: phosphate. The circulating figures for MAP and DAP were seen at second hand only and are left out.
ACIDIFIERS: tuple[Acidifier, ...] = (
    Acidifier("urea", (), 45.0, 0.81, 1.0),
    Acidifier("ammonium sulfate", ("ammonium sulphate", "sulfate of ammonia"), 21.0, 1.10, 2.0),
    Acidifier("ammonium nitrate", (), 34.0, 0.61, 1.0),
    Acidifier("UAN 28", _UAN, 28.0, 0.49, 1.0),
    Acidifier("UAN 30", _UAN, 30.0, 0.52, 1.0),
    Acidifier("UAN 32", _UAN, 32.0, 0.55, 1.0),
    Acidifier("monoammonium phosphate", ("map",), None, None, 2.0),
    Acidifier("diammonium phosphate", ("dap",), None, None, 1.5),
    Acidifier("anhydrous ammonia", (), None, None, 1.0),
)

#: A published figure is used for a grade within this many points of the one it was published for.
_GRADE_TOLERANCE_PCT = 1.0


def acidifier(name: str, nitrogen_pct: float) -> Acidifier | None:
    """Find a nitrogen material by its name and grade.

    Examples
    --------
    >>> acidifier("UAN solution", 32).material
    'UAN 32'
    """
    key = " ".join(name.casefold().split())
    for row in ACIDIFIERS:
        named = key == row.material.casefold() or key in row.aliases
        if named and (
            row.nitrogen_pct is None or abs(row.nitrogen_pct - nitrogen_pct) <= _GRADE_TOLERANCE_PCT
        ):
            return row
    return None


@dataclass(frozen=True, slots=True)
class Acidity:
    """Lime that nitrogen fertilizer will use up, by two conventions.

    Parameters
    ----------
    published_kg
        By the published figures, which lie well under the ceiling [kg pure CaCO3]; None = not known.
    ceiling_kg
        By stoichiometry, if every hydrogen ion stayed in the soil [kg pure CaCO3]; None = not known.
    left_out
        What one of the two sums lacks, each with the reason.
    steps
        How it was reached.
    """

    published_kg: float | None
    ceiling_kg: float | None
    left_out: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()


def acidity(material: Acidifier, material_kg: float, nitrogen_kg: float) -> Acidity:
    """Work out the lime an amount of one nitrogen material will use up.

    Notes
    -----
    The published figure and the stoichiometric ceiling are two conventions: for ammonium sulfate 5.2
    against 7.1 lb CaCO3 per lb N, for urea 1.8 against 3.6. Neither is the truth for a given soil and
    crop; both are shown, each under its name.

    References
    ----------
    Mitchell C., Alabama Extension ANR-0174, Nutrient Content of Fertilizer Materials, nitrogen section.

    Examples
    --------
    100 lb of ammonium sulfate uses up 110 lb of pure lime by the published figure:

    >>> sulfate = acidifier("ammonium sulfate", 21)
    >>> round(acidity(sulfate, 100 * LB_KG, 21 * LB_KG).published_kg / LB_KG, 6)
    110.0
    """
    steps = []
    published_kg = None
    left_out: tuple[str, ...] = (
        f"{material.material}: no published figure was read, only the ceiling is counted",
    )
    if material.caco3_per_material is not None and material.nitrogen_pct is not None:
        published_kg = material_kg * material.caco3_per_material
        left_out = ()
        steps.append(
            Step(
                f"{format_figure(material_kg / LB_KG)} lb {material.material} × "
                f"{format_figure(material.caco3_per_material * 100)} lb CaCO3 per 100 lb "
                f"(published, at {material.nitrogen_pct:g} % N)",
                published_kg / LB_KG,
                "lb CaCO3",
                _ANR_0174,
            )
        )
    ceiling_kg = nitrogen_kg * material.acid_per_n * CACO3_PER_N
    steps.append(
        Step(
            f"{format_figure(nitrogen_kg / LB_KG)} lb N × {material.acid_per_n:g} hydrogen ions × "
            f"{CACO3_PER_N:.3f} (ceiling, if all of it stayed in the soil)",
            ceiling_kg / LB_KG,
            "lb CaCO3",
            _STOICHIOMETRY,
        )
    )
    return Acidity(published_kg, ceiling_kg, left_out, tuple(steps))


def add_up(parts: Sequence[Acidity]) -> Acidity:
    """Add the acidity of several applications; each convention is summed by itself.

    Parameters
    ----------
    parts
        One for each application.

    Returns
    -------
    Acidity
        A sum is None when no part knows that figure; parts without it are named in `left_out`.
    """
    published = [part.published_kg for part in parts if part.published_kg is not None]
    ceiling = [part.ceiling_kg for part in parts if part.ceiling_kg is not None]
    return Acidity(
        sum(published) if published else None,
        sum(ceiling) if ceiling else None,
        tuple(reason for part in parts for reason in part.left_out),
        tuple(step for part in parts for step in part.steps),
    )
