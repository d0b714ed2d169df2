"""What a published guideline says a crop needs: its printed forms, and the answer each gives.

A `Guideline` is one edition of one publication. Its rules come in printed forms: a table by soil-test
class, yield and other conditions (`RateTable`); an equation (`Equation`); a parabola of a laboratory's
index (`Quadratic`); a norm by yield (`Norm`); removal with build-up and maintenance (`Maintenance`);
removal alone (`Takeaway`); and a matrix of P rating by K rating (`RatingMatrix`). Each answers with a
`Rate`: an amount in the printed unit with its steps, a printed range, or unknown, because.

Where a table and an equation disagree, the table wins; the equation serves only yields the table
does not print. Nothing is extrapolated, and a crop the guideline lacks gets no neighbour's rate.
Credits, areas and lab recommendations are not this file's business (`credits`, `needs`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from loamwright import soil
from loamwright.needs.called import ClassTable
from loamwright.needs.classes import Span, classified
from loamwright.needs.credits import LegumeTable, ManureTable
from loamwright.needs.formulas import Norm, Quadratic
from loamwright.needs.lime_rules import LimeRule
from loamwright.needs.maintenance import Maintenance
from loamwright.needs.rates import Equation, Gap, Rate, RateTable, Situation, goal_in, row_of, unknown
from loamwright.needs.takeaway import Takeaway
from loamwright.soil import Extractant, Missing, plain_name, unit_of
from loamwright.values import Nutrient, Source, Step, Timing

# ---------------------------------------------------------------------------------------------
# The rating matrix


@dataclass(frozen=True, slots=True)
class MatrixCell:
    """Rates of one pair of ratings.

    Parameters
    ----------
    rates
        Rate by nutrient; None = the print refers elsewhere (see `remarks`).
    remarks
        What it refers to, by nutrient.
    line
        Line in the file.
    """

    rates: Mapping[Nutrient, float | None]
    remarks: Mapping[Nutrient, str]
    line: int


@dataclass(frozen=True, slots=True)
class RatingMatrix:
    """A table with soil P ratings down, soil K ratings across.

    Parameters
    ----------
    crops, rate_unit
        What it is for and in which unit it answers.
    cells
        By (P rating, K rating). Every pair is stored: such tables are not always row plus column.
    edges
        Element to (rating, class by test), when the source prints the edges of its ratings.
    soil_unit
        Unit of the edges.
    source
        Publication and table.
    """

    crops: tuple[str, ...]
    rate_unit: str
    cells: Mapping[tuple[str, str], MatrixCell]
    source: Source
    edges: Mapping[str, tuple[tuple[str, Mapping[Extractant, Span]], ...]] = field(default_factory=dict)
    soil_unit: str = "ppm"

    def rate_for_ratings(self, nutrient: Nutrient, p_rating: str, k_rating: str) -> Rate:
        """Look up one pair of ratings.

        Parameters
        ----------
        nutrient
            Which of the printed rates.
        p_rating, k_rating
            Ratings as the lab prints them, whatever their capitals.

        Returns
        -------
        Rate
        """
        named = {(p.casefold(), k.casefold()): (p, k) for p, k in self.cells}
        pair = named.get((p_rating.strip().casefold(), k_rating.strip().casefold()))
        if pair is None:
            printed = ", ".join(dict.fromkeys(p for p, _ in self.cells))
            return unknown(
                f"the ratings P {p_rating!r} and K {k_rating!r} are not both in the table ({printed})"
            )
        cell = self.cells[pair]
        value = cell.rates.get(nutrient)
        if value is None:
            return unknown(cell.remarks.get(nutrient) or f"the table prints no {nutrient.value}")
        where = f"P {pair[0]}, K {pair[1]}"
        step = Step(
            f"Table row: {where}", value, unit_of(self.rate_unit, nutrient.value), row_of(self.source, where)
        )
        return Rate(value, self.rate_unit, f"soil {where}", (step,))

    def rate_of(self, nutrient: Nutrient, situation: Situation) -> Rate:
        """Answer for one plot, rating its soil figures by the printed edges.

        Parameters
        ----------
        nutrient
            Which of the printed rates.
        situation
            What is known of the plot.

        Returns
        -------
        Rate
            Known when every cell that fits the ratings known gives the same figure.
        """
        ratings: dict[str, str] = {}
        steps: list[Step] = []
        assumed, gaps = False, []
        for element in ("P", "K"):
            found = self._rating(element, situation, steps)
            if isinstance(found, Missing):
                gaps.append(found.reason)
            else:
                ratings[element], figure_assumed = found
                assumed = assumed or figure_assumed
        if len(ratings) == 2:
            found_rate = self.rate_for_ratings(nutrient, ratings["P"], ratings["K"])
            return replace(found_rate, steps=(*steps, *found_rate.steps), assumed=assumed)
        fitting = {
            cell.rates.get(nutrient)
            for (p_rating, k_rating), cell in self.cells.items()
            if p_rating == ratings.get("P", p_rating) and k_rating == ratings.get("K", k_rating)
        }
        only = fitting.pop() if len(fitting) == 1 else None
        if only is None:
            return unknown(gaps[0], steps)
        known = ", ".join(f"{element} {rating}" for element, rating in ratings.items())
        where = f"every row of {known}" if known else "every row"
        step = Step(
            f"Table: {where}", only, unit_of(self.rate_unit, nutrient.value), row_of(self.source, where)
        )
        return Rate(only, self.rate_unit, f"one rate in {where}", (*steps, step), assumed)

    def _rating(self, element: str, situation: Situation, steps: list[Step]) -> tuple[str, bool] | Missing:
        """Rate one soil figure and write the steps down."""
        edges = self.edges.get(element, ())
        if not edges:
            return Missing(
                "this table goes by the rating words on that lab's report, and the figures between its "
                "ratings were not read"
            )
        accepted = tuple(dict.fromkeys(test for _, spans in edges for test in spans))
        figure = soil.soil_value(
            situation.tests, element, self.soil_unit, accepted, situation.convert_extractants
        )
        if isinstance(figure, Missing):
            return figure
        steps.extend(figure.steps)
        spans = [
            (rating, by[figure.extractant])
            for rating, by in edges
            if figure.extractant is not None and figure.extractant in by
        ]
        value = classified(figure.value, [span for _, span in spans])
        rating = next((rating for rating, span in spans if span.contains(value)), None)
        if rating is None:
            return Missing(f"{figure.value:g} {self.soil_unit} {element} is outside the printed ratings")
        steps.append(Step(f"Rating of soil {element}", rating, "", self.source))
        return rating, figure.assumed


# ---------------------------------------------------------------------------------------------
# A guideline


@dataclass(frozen=True, slots=True)
class Split:
    """A printed split of a rate over the season.

    Parameters
    ----------
    nutrient, crops
        What it is for.
    shares
        (timing, share of the rate) adding up to 1.
    above_yield, yield_unit
        Only above this yield; None = always.
    source
        Publication and table.
    """

    nutrient: Nutrient
    crops: tuple[str, ...]
    shares: tuple[tuple[Timing, float], ...]
    above_yield: float | None
    yield_unit: str
    source: Source


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop as a guideline names it.

    Parameters
    ----------
    name
        The guideline's own name.
    aliases
        Other spellings of the same crop; never a neighbour crop.
    target_ph
        Soil pH the guideline wants for it; None = not printed.
    """

    name: str
    aliases: tuple[str, ...] = ()
    target_ph: float | None = None


@dataclass(frozen=True, slots=True)
class Region:
    """Where a guideline was written for.

    Parameters
    ----------
    name
        In words.
    box
        (west, south, east, north) roughly around it [degree], for a notice only; None = no notice.
    """

    name: str
    box: tuple[float, float, float, float] | None = None

    def contains(self, longitude: float, latitude: float) -> bool:
        """Tell whether a place may be inside.

        Parameters
        ----------
        longitude, latitude
            Place [degree].

        Returns
        -------
        bool
            True when there is no box.
        """
        if self.box is None:
            return True
        west, south, east, north = self.box
        return west <= longitude <= east and south <= latitude <= north


class Status(StrEnum):
    """What an edition is good for; every need says it of the edition it stands on."""

    DEFAULT = "default"  #: whole, from its publisher's page
    SELECTABLE = "selectable"  #: second-hand, withdrawn, or not whole: chosen knowingly, with the reason
    CLASSES = "classes only"  #: says what a soil figure is called, and no rate
    MAXIMUM = "legal maximum, not a need"  #: held against a need, never one itself
    CONFIRM = "removal and maintenance, levels to confirm"  #: a form: the user confirms its figures
    USER = "user"  #: the user's own


@dataclass(frozen=True, slots=True)
class Guideline:
    """One edition of one publication.

    Parameters
    ----------
    guideline_id
        Name of its folder.
    publisher, title, edition, url
        What to cite.
    short
        What to call it in a sentence.
    status, why
        What it is good for, and the sentence that says why it is no default.
    region
        Where it was written for.
    crops
        Crops it has at least one rule for.
    tables, equations, quadratics, norms, maintenances, takeaways, matrices, splits
        Rules, by printed form.
    classes
        What it calls soil figures.
    standard_rates
        True for the user's own standard rates, which come where no publication gives a figure.
    lime
        Lime rules: those for named crops, and at most one for any crop.
    legumes, manure
        Credit tables.
    about
        What was read and what was not, for the user.
    """

    guideline_id: str
    publisher: str
    title: str
    edition: str
    url: str
    short: str
    status: Status
    region: Region
    crops: tuple[Crop, ...] = ()
    tables: tuple[RateTable, ...] = ()
    equations: tuple[Equation, ...] = ()
    maintenances: tuple[Maintenance, ...] = ()
    matrices: tuple[RatingMatrix, ...] = ()
    splits: tuple[Split, ...] = ()
    lime: tuple[LimeRule, ...] = ()
    legumes: tuple[LegumeTable, ...] = ()
    manure: ManureTable | None = None
    about: str = ""
    why: str = ""
    quadratics: tuple[Quadratic, ...] = ()
    norms: tuple[Norm, ...] = ()
    takeaways: tuple[Takeaway, ...] = ()
    classes: tuple[ClassTable, ...] = ()
    standard_rates: bool = False

    @property
    def name(self) -> str:
        """Publisher, title and edition in one line."""
        return ", ".join(part for part in (self.publisher, self.title, self.edition) if part)

    def crop(self, *names: str) -> Crop | None:
        """Find a crop by its name or an exact alias.

        Parameters
        ----------
        names
            As the user wrote it, then other names of the same crop; capitals, dashes and spacing do not
            matter.

        Returns
        -------
        Crop or None
            None when the guideline does not name it; a neighbour crop is never taken.
        """
        for wanted in map(plain_name, names):
            for crop in self.crops:
                if wanted in map(plain_name, (crop.name, *crop.aliases)):
                    return crop
        return None

    @property
    def has_rules(self) -> bool:
        """True when it can answer anything: a rate, a lime rate, a credit or a class."""
        return any(
            (
                *(self.tables, self.equations, self.quadratics, self.norms, self.maintenances),
                *(self.takeaways, self.matrices, self.lime, self.legumes, self.manure, self.classes),
            )
        )

    def lime_rule(self, crop: Crop | None) -> LimeRule | None:
        """Find the lime rule for a crop: one that names it, else one for any crop.

        Parameters
        ----------
        crop
            A crop of this guideline, or None.

        Returns
        -------
        LimeRule or None
        """
        named = [rule for rule in self.lime if crop is not None and crop.name in rule.crops]
        return next(iter([*named, *(rule for rule in self.lime if not rule.crops)]), None)


def recommend(guideline: Guideline, nutrient: Nutrient, situation: Situation) -> Rate:
    """Ask a guideline for one nutrient of one crop."""
    crop = situation.crop
    table = next((t for t in guideline.tables if t.nutrient is nutrient and crop in t.crops), None)
    equations = [e for e in guideline.equations if e.nutrient is nutrient and crop in e.crops]
    formulas = [rule for rule in _formulas(guideline) if rule.nutrient is nutrient and crop in rule.crops]
    if table is not None:
        rate = _table_then_equation(table, equations, situation)
    elif equations:
        answers = [equation.rate(situation) for equation in equations]
        rate = next((answer for answer in answers if answer.value is not None), answers[0])
    elif formulas:
        rate = formulas[0].rate(situation)
    elif matrices := [m for m in guideline.matrices if crop in m.crops and _prints(m, nutrient)]:
        rate = matrices[0].rate_of(nutrient, situation)
    else:
        return unknown(f"{guideline.short} prints no {nutrient.value} rule for {crop}")
    split = _split(guideline, nutrient, situation)
    if split is None or rate.value is None:
        return rate
    shares = ", ".join(f"{share:.0%} {timing.value}" for timing, share in split.shares)
    above = "" if split.above_yield is None else f" above {split.above_yield:g} {split.yield_unit}"
    step = Step(f"When it goes on{above}", shares, "", split.source)
    return replace(rate, timings=split.shares, steps=(*rate.steps, step))


def prints_rule(guideline: Guideline, nutrient: Nutrient, crop: str) -> bool:
    """Tell whether a guideline has any rule for a nutrient of a crop.

    Parameters
    ----------
    guideline
        Which edition.
    nutrient
        Which nutrient.
    crop
        The guideline's own name of the crop.

    Returns
    -------
    bool
    """
    rules = (*guideline.tables, *guideline.equations, *_formulas(guideline))
    return any(rule.nutrient is nutrient and crop in rule.crops for rule in rules) or any(
        crop in matrix.crops and _prints(matrix, nutrient) for matrix in guideline.matrices
    )


def _formulas(guideline: Guideline) -> tuple[Quadratic | Norm | Maintenance | Takeaway, ...]:
    return (*guideline.quadratics, *guideline.norms, *guideline.maintenances, *guideline.takeaways)


def _prints(matrix: RatingMatrix, nutrient: Nutrient) -> bool:
    return any(nutrient in cell.rates for cell in matrix.cells.values())


def _table_then_equation(table: RateTable, equations: Sequence[Equation], situation: Situation) -> Rate:
    rate = table.rate(situation)
    if rate.gap is Gap.NO:
        return rate
    for equation in equations:
        answer = equation.rate(situation)
        if answer.value is not None:
            text = f"The yield goal is {rate.gap.value} of the table, so the publication's equation is used"
            return replace(answer, steps=(*answer.steps, Step(text, "remark", "", equation.source)))
    return table.rate(situation, nearest=True)


def _split(guideline: Guideline, nutrient: Nutrient, situation: Situation) -> Split | None:
    """Find the split that holds: one for yields above a limit goes before one for any yield."""
    mine = [s for s in guideline.splits if s.nutrient is nutrient and situation.crop in s.crops]
    for split in sorted(mine, key=lambda s: s.above_yield is None):
        if split.above_yield is None:
            return split
        goal = None if situation.yield_goal is None else goal_in(situation.yield_goal, split.yield_unit)
        if isinstance(goal, float | int) and goal > split.above_yield:
            return split
    return None


def missing_guideline(guideline_id: str) -> Guideline:
    """Return an edition that says nothing, for one that is not there: what would go by it is unknown.

    Parameters
    ----------
    guideline_id
        As the settings name it.

    Returns
    -------
    Guideline

    Examples
    --------
    >>> missing_guideline("my-guide").crop("clover") is None
    True
    """
    short = f"the guideline {guideline_id}, which is not there,"
    return Guideline(guideline_id, "", "", "", "", short, Status.USER, Region(""))
