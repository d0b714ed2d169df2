"""What a publication calls a soil figure: its class, without any rate.

A `ClassTable` holds the printed edges of the words a university uses for its own test. It answers with the
word and a step, and never with a need.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loamwright import soil
from loamwright.needs.classes import Span, classified
from loamwright.soil import Extractant, Missing, SoilTest
from loamwright.values import Source, Step


@dataclass(frozen=True, slots=True)
class ClassTable:
    """Printed classes of soil figures.

    Parameters
    ----------
    classes
        Element to (word, edges), in printed order.
    soil_unit, extractants
        Unit of the edges and the tests they were printed for.
    source
        Publication and table.
    """

    classes: Mapping[str, tuple[tuple[str, Span], ...]]
    soil_unit: str
    extractants: tuple[Extractant, ...]
    source: Source

    def word(self, tests: Sequence[SoilTest], element: str) -> tuple[str, tuple[Step, ...]] | None:
        """Name the class of one element and write it down.

        Parameters
        ----------
        tests
            Usable reports of one plot.
        element
            Symbol: ``"P"``.

        Returns
        -------
        tuple of str and tuple of Step, or None
            None when the element was not tested, by another test, or lies in no printed class.
        """
        printed = self.classes.get(element, ())
        figure = soil.soil_value(tests, element, self.soil_unit, self.extractants) if printed else None
        if figure is None or isinstance(figure, Missing):
            return None
        value = classified(figure.value, [span for _, span in printed])
        word = next((word for word, span in printed if span.contains(value)), None)
        if word is None:
            return None
        return word, (*figure.steps, Step(f"What it calls {element}", word, "", self.source))
