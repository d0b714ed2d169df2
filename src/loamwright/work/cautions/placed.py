"""Which caution is said to whom, and where: decided here for every page, on the phone and on paper.

This file answers "who can act on it, with what in hand, and where is it read?". Each caution has one place:
what is settled before anything is handed out, what holds everywhere, what belongs to a product in hand,
what belongs to a plot.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from loamwright.supplies import Product
from loamwright.work.cautions.before_job import before_a_job
from loamwright.work.cautions.facts import CautionText
from loamwright.work.records import Caution

PLANNER, SPREADER, DRIVER = "planner", "spreader", "driver"
_OUT_THERE = frozenset((SPREADER, DRIVER))


@dataclass(frozen=True, slots=True)
class Placed:
    """The cautions of one reader, each in its place.

    Parameters
    ----------
    reader
        ``"planner"`` hears all of them, ``"spreader"`` and ``"driver"`` those they can act on.
    cautions
        Everything this reader hears.
    """

    reader: str
    cautions: tuple[Caution, ...]

    def words(self, one: Caution | CautionText) -> str:
        """Say it as this reader needs it: a line for whoever is out there.

        Parameters
        ----------
        one
            A caution, or a row of the table.
        """
        return one.text if self.reader == PLANNER else one.line or one.text

    @property
    def to_settle(self) -> tuple[Caution, ...]:
        """What nobody out there can act on: the planner settles it before anything is handed out.

        It may speak against a planned rate, so it stands beside none.
        """
        return tuple(one for one in self.cautions if not _OUT_THERE & set(one.readers))

    def everywhere(self, products: Collection[str]) -> tuple[Caution, ...]:
        """What holds on the whole property, of these products or of none in particular.

        Parameters
        ----------
        products
            Names of those in hand.
        """
        return self._out(products, [one for one in self.cautions if not one.where])

    def with_product(self, products: Collection[str], plots: Collection[str]) -> tuple[Caution, ...]:
        """What belongs to these products on these plots.

        Parameters
        ----------
        products
            Names of those in hand.
        plots
            Their ids.
        """
        return self._out(products, [one for one in self._at(plots) if one.product])

    def on_plots(self, plots: Collection[str]) -> tuple[Caution, ...]:
        """What belongs to these plots, whatever goes on.

        Parameters
        ----------
        plots
            Their ids.
        """
        return self._out((), self._at(plots))

    def before(
        self, texts: Mapping[str, CautionText], products: Sequence[Product], plots: Collection[str]
    ) -> tuple[tuple[str, CautionText], ...]:
        """What must be seen on the day before a load; what is said of all these plots is not said again.

        Parameters
        ----------
        texts
            Rows of the cautions table by rule id.
        products
            What is in the hopper.
        plots
            Their ids.
        """
        names = {product.product for product in products}
        everywhere, here = self.everywhere(names), self.with_product(names, plots)
        said = {one.rule for one in everywhere} | {one.rule for one in here if set(plots) <= set(one.where)}
        return tuple(
            (about, row)
            for about, row in before_a_job(texts, products)
            if (self.reader == PLANNER or self.reader in row.readers) and row.rule not in said
        )

    def _at(self, plots: Collection[str]) -> list[Caution]:
        here = set(plots)
        return [one for one in self.cautions if here & set(one.where)]

    def _out(self, products: Collection[str], cautions: Sequence[Caution]) -> tuple[Caution, ...]:
        return tuple(
            one for one in cautions if one.product in ("", *products) and _OUT_THERE & set(one.readers)
        )


def placed(cautions: Sequence[Caution], reader: str) -> Placed:
    """Put the cautions of a reader in their places.

    Parameters
    ----------
    cautions
        Those of the season.
    reader
        ``"planner"``, ``"spreader"`` or ``"driver"``.

    Returns
    -------
    Placed
    """
    return Placed(reader, tuple(one for one in cautions if reader == PLANNER or reader in one.readers))
