"""The curve of coverage against dollars, drawn on one page.

It answers "what does the next dollar bring?" as a picture. The points come from the planner; the drawing is
in ``templates/budget.typ``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from loamwright.errors import InputError, Problem
from loamwright.handoff.paper import PaperMade, PaperOptions, check_paper, print_pages
from loamwright.money import format_money
from loamwright.palette import BLUE
from loamwright.planning import CurvePoint
from loamwright.work import SeasonView


@dataclass(frozen=True, slots=True)
class Place:
    """A point as shares of the frame [fraction], from the lower left."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A label on an axis at a share of its length [fraction]."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One budget as text."""

    budget: str
    spent: str
    covered: str
    packages: str


@dataclass(frozen=True, slots=True)
class BudgetPage:
    """Everything that stands on the page.

    Parameters
    ----------
    title, about, footer
        Texts.
    paper
        ``"us-letter"`` or ``"a4"``.
    points
        The curve, from no money up.
    x_axis, y_axis
        Labels: dollars, percent.
    rows
        The same as a table.
    colour
        Of the curve.
    """

    title: str
    about: str
    footer: str
    paper: str
    points: tuple[Place, ...]
    x_axis: tuple[Mark, ...]
    y_axis: tuple[Mark, ...]
    rows: tuple[BudgetRow, ...]
    colour: str


def budget_page(view: SeasonView, curve: Sequence[CurvePoint], paper: str) -> BudgetPage:
    """Work out what stands on the page."""
    most = max((point.budget for point in curve), default=Decimal(0))
    if most <= 0:
        raise InputError([Problem("budget", "nothing is needed that money could cover", "")])
    info = view.record.info
    return BudgetPage(
        title=f"{info.name}, season {info.season}: needs covered for each budget",
        about="Share of all known needs met, weighed by plot, area and priority.",
        footer=f"{info.name}, made {view.made_on.isoformat()}",
        paper=check_paper(paper),
        points=tuple(Place(float(point.budget / most), point.covered) for point in curve),
        x_axis=tuple(Mark(float(p.budget / most), format_money(p.budget).removesuffix(".00")) for p in curve),
        y_axis=tuple(Mark(share / 4, f"{share * 25} %") for share in range(5)),
        rows=tuple(
            BudgetRow(
                format_money(point.budget),
                format_money(point.cost),
                f"{point.covered:.0%}",
                f"{point.packages:,.0f}",
            )
            for point in curve
        ),
        colour=BLUE,
    )


def write_budget_chart(
    view: SeasonView, curve: Sequence[CurvePoint], path: Path, options: PaperOptions | None = None
) -> PaperMade:
    """Draw the curve.

    Parameters
    ----------
    view
        The season.
    curve
        Its points.
    path
        ``.svg``, ``.png`` or ``.pdf``.
    options
        Paper size; None = letter.

    Returns
    -------
    PaperMade

    Raises
    ------
    InputError
        When there is nothing to draw or the suffix is not known.
    """
    page = budget_page(view, curve, (options or PaperOptions()).paper)
    return print_pages("budget", page, path, view.made_on)
