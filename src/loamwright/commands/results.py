"""What a command found, where no package below has a record of just that.

The fields are what ``--json`` prints, except `view`: the season a text looks things up in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from loamwright.errors import Level, Problem

if TYPE_CHECKING:
    from loamwright.files import CropsFound, GuidelineInfo, SheetContents
    from loamwright.planning import (
        CurvePoint,
        GroundRule,
        Habit,
        LimeDose,
        Plan,
        PurchaseList,
        Reasons,
        Variant,
    )
    from loamwright.season import CloseCall, NotCompared, Season
    from loamwright.supplies import Acidity, KnownMaterial, NotInBook, OfferComparison, Stock
    from loamwright.upkeep import ChangeRow, ChecklistEntry, ShownField
    from loamwright.work import Calibration, ChoiceRow, MixRow, PlotHistory, SamplingPlan, SeasonView


@dataclass(frozen=True, slots=True)
class FilesMade:
    """Files that were written; `about` is said of the first."""

    files: tuple[Path, ...]
    problems: tuple[Problem, ...] = ()
    about: str = ""


@dataclass(frozen=True, slots=True)
class ExportKinds:
    """What each kind of file the season can be written as holds, by the word it is asked for with."""

    kinds: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class PropertyMade:
    """An empty property file."""

    property: Path
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class SheetRead:
    """What a lab, dealer or quarry file says; its open questions are the problems."""

    contents: SheetContents
    problems: tuple[Problem, ...]


def sheet_read(contents: SheetContents) -> SheetRead:
    """Put the open questions of a sheet as problems that say how to answer them."""
    return SheetRead(
        contents,
        tuple(
            Problem(
                item.where,
                item.about + (f" (taken as {item.likely} for now)" if item.likely else ""),
                f'Answer with `answer` {item.id}="…": {", ".join(item.choices)}.',
                Level.WARNING,
            )
            for item in contents.questions
        ),
    )


@dataclass(frozen=True, slots=True)
class Editions:
    """The built-in guideline editions."""

    editions: tuple[GuidelineInfo, ...]


@dataclass(frozen=True, slots=True)
class CropsAsked:
    """Which guideline has which crop."""

    crop: str
    region: str
    found: CropsFound


@dataclass(frozen=True, slots=True)
class EditionChecked:
    """A guideline edition of the user's own that can be used."""

    file: Path
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class OffersCompared:
    """Offers side by side, with their label arithmetic when that was asked for.

    `cheapest` names the cheapest offer of each nutrient and lime basis, by offer id.
    """

    offers: tuple[OfferComparison, ...]
    problems: tuple[Problem, ...]
    with_steps: bool
    cheapest: Mapping[str, str]
    currency: str


@dataclass(frozen=True, slots=True)
class SeasonNeeds:
    """What each plot needs."""

    view: SeasonView

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Those of the season."""
        return self.view.problems


@dataclass(frozen=True, slots=True)
class SeasonStatus:
    """What is done and what is still owed, lime by season, and what the season's nitrogen uses up."""

    view: SeasonView
    acidity: Mapping[str, Acidity]
    lime_doses: tuple[LimeDose, ...]

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Those of the season."""
        return self.view.problems


@dataclass(frozen=True, slots=True)
class PlanMade:
    """The season's new plan, and what to have bought before each timing."""

    view: Season
    plan: Plan
    purchase_lists: tuple[PurchaseList, ...]
    ground_rules: tuple[GroundRule, ...] = ()
    tables: bool = False
    budget: Decimal | None = None
    close_calls: tuple[CloseCall, ...] = ()
    not_compared: tuple[NotCompared, ...] = ()

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Those of the plan and of the season."""
        return (*self.plan.problems, *self.view.problems)


@dataclass(frozen=True, slots=True)
class ReasonsGiven:
    """Why the plan is what it is, and the needs that turn on a test figure."""

    reasons: Reasons | None
    close_calls: tuple[CloseCall, ...] | None
    not_compared: tuple[NotCompared, ...] = ()


@dataclass(frozen=True, slots=True)
class Variants:
    """Other ways to plan, side by side."""

    variants: tuple[Variant, ...]


@dataclass(frozen=True, slots=True)
class HabitsCosted:
    """The usual ways of doing it, beside the season's plan."""

    habits: tuple[Habit, ...]
    problems: tuple[Problem, ...]
    plan: Habit | None


@dataclass(frozen=True, slots=True)
class ChecklistShown:
    """The list of entries, filled or not."""

    entries: tuple[ChecklistEntry, ...]


@dataclass(frozen=True, slots=True)
class BudgetCurve:
    """How much of the needs each sum of money covers, and the files it was drawn to."""

    points: tuple[CurvePoint, ...]
    files: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class SamplesPlanned:
    """Which plots are due for a sample, and the files written for the field."""

    plots: tuple[SamplingPlan, ...]
    files: tuple[Path, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Histories:
    """Past seasons, plot by plot."""

    plots: tuple[PlotHistory, ...]


@dataclass(frozen=True, slots=True)
class CatchLogged:
    """A catch test on record, and the catch as it was typed."""

    calibration: Calibration
    caught: str


@dataclass(frozen=True, slots=True)
class Materials:
    """Common materials as published."""

    materials: tuple[KnownMaterial, ...]


@dataclass(frozen=True, slots=True)
class MaterialRows:
    """Common materials as rows of a products file."""

    materials: tuple[KnownMaterial, ...]


# ---------------------------------------------------------------------------------------------
# Keeping a property


@dataclass(frozen=True, slots=True)
class ThingShown:
    """One thing with its fields, or the list of things of a kind; `every` = also what is not stated."""

    thing: str
    id: str
    fields: tuple[ShownField, ...]
    listed: tuple[tuple[str, str], ...]
    every: bool


@dataclass(frozen=True, slots=True)
class JournalListed:
    """Changes of a property file, oldest first."""

    changes: tuple[ChangeRow, ...]
    in_full: bool


@dataclass(frozen=True, slots=True)
class FileChecked:
    """What is wrong with a property file."""

    file: Path
    sound: bool
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class StockListed:
    """What is in the shed."""

    stock: tuple[Stock, ...]
    not_in_book: tuple[NotInBook, ...] = ()


@dataclass(frozen=True, slots=True)
class ChoicesListed:
    """What is to decide and what is decided."""

    decisions: tuple[ChoiceRow, ...]
    mixing: tuple[MixRow, ...] = ()


@dataclass(frozen=True, slots=True)
class CopiesCompared:
    """Changes that each of two copies has alone."""

    only_here: tuple[ChangeRow, ...]
    only_there: tuple[ChangeRow, ...]
    other: Path
