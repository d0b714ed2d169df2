"""How much lime the nitrogen of a season uses up: a running figure beside the record.

This file answers "what acidity did the nitrogen we spread leave behind?", by two conventions that are
never mixed. How much lime a soil needs now is the soil test's business, not this file's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loamwright.units import CACO3_PER_N, LB_KG, format_figure
from loamwright.values import Source, Step

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

    Parameters
    ----------
    name
        Name or alias without the grade; case and spaces do not matter.
    nitrogen_pct
        Nitrogen in the material [percent by weight].

    Returns
    -------
    Acidifier or None
        None when no row has that name, or none within a point of that grade.

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

    Parameters
    ----------
    material
        From `ACIDIFIERS`.
    material_kg
        Amount of the material itself [kg].
    nitrogen_kg
        Nitrogen in it [kg N].

    Returns
    -------
    Acidity

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
