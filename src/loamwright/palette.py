"""The colours of maps and charts: public palettes that people with colour-blindness can tell apart.

This file answers "which colour and which pattern does a class get?". Every class also gets a pattern,
so that nothing is told by colour alone and a black-and-white print still reads.

References
----------
Categories: M. Okabe, K. Ito, *Color Universal Design* (2008), as printed in B. Wong, "Points of view:
Color blindness", Nature Methods 8, 441 (2011), doi 10.1038/nmeth.1618.
Sequences: C. A. Brewer, M. Harrower and The Pennsylvania State University, *ColorBrewer*, five-class
YlGnBu, BuPu and YlOrBr (Apache License 2.0).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

# Okabe and Ito 2008.
BLACK = "#000000"
ORANGE = "#e69f00"
SKY_BLUE = "#56b4e9"
BLUISH_GREEN = "#009e73"
YELLOW = "#f0e442"
BLUE = "#0072b2"
VERMILLION = "#d55e00"
REDDISH_PURPLE = "#cc79a7"

#: Five classes from low to high (ColorBrewer).
SEQUENCES: Mapping[str, tuple[str, str, str, str, str]] = {
    "YlGnBu": ("#ffffcc", "#a1dab4", "#41b6c4", "#2c7fb8", "#253494"),
    "BuPu": ("#edf8fb", "#b3cde3", "#8c96c6", "#8856a7", "#810f7c"),
    "YlOrBr": ("#ffffd4", "#fed98e", "#fe9929", "#d95f0e", "#993404"),
}

WHITE = "#ffffff"  #: nothing needed, nothing planned, nothing yet
GREY = "#c4c4c4"  #: unknown

#: Patterns by name, from empty to dense; how each is drawn is the page's business.
SEQUENCE_PATTERNS = ("plain", "dots", "lines", "dense lines", "cross")


@dataclass(frozen=True, slots=True)
class Fill:
    """How one class is drawn.

    Parameters
    ----------
    colour
        ``"#rrggbb"``.
    pattern
        ``"plain"``, ``"dots"``, ``"lines"``, ``"dense lines"``, ``"cross"``, ``"check"``, ``"half"``,
        ``"question"``, ``"dash"`` or ``"ring"``.
    """

    colour: str
    pattern: str


#: Nothing planned here, and nothing needed here: neither looks like a first class, nor like the other.
NOTHING = Fill(WHITE, "dash")
NONE_NEEDED = Fill(WHITE, "ring")
UNKNOWN = Fill(GREY, "question")

#: Status of the work by `WorkState` value.
STATUS: Mapping[str, Fill] = {
    "nothing yet": Fill(YELLOW, "plain"),
    "part": Fill(SKY_BLUE, "half"),
    "done": Fill(BLUISH_GREEN, "check"),
    "over": Fill(VERMILLION, "cross"),
}

#: Cautions by level.
CAUTION: Mapping[str, Fill] = {
    "stop": Fill(VERMILLION, "cross"),
    "care": Fill(ORANGE, "lines"),
    "note": Fill(SKY_BLUE, "dots"),
}

#: Sampling by whether a sample is due.
SAMPLING: Mapping[bool, Fill] = {True: Fill(REDDISH_PURPLE, "dots"), False: NOTHING}


def product_fill(place: int) -> Fill:
    """Return the fill of a product, by its place in the property's list of products.

    Parameters
    ----------
    place
        From zero on.

    Returns
    -------
    Fill
        Colours begin anew after the seventh and patterns after the fifth: 35 products differ.

    Examples
    --------
    >>> product_fill(0), product_fill(7)
    (Fill(colour='#e69f00', pattern='plain'), Fill(colour='#e69f00', pattern='lines'))
    """
    colours = (ORANGE, SKY_BLUE, BLUISH_GREEN, REDDISH_PURPLE, BLUE, VERMILLION, YELLOW)
    return Fill(colours[place % 7], SEQUENCE_PATTERNS[place % 5])


def sequence(name: str, classes: int) -> tuple[Fill, ...]:
    """Return the fills of a sequence of one to five classes, low to high.

    Parameters
    ----------
    name
        A key of `SEQUENCES`.
    classes
        How many classes [count, 1 to 5].

    Returns
    -------
    tuple of Fill
        Spread over the sequence, so that three classes use its first, third and fifth colour.

    Raises
    ------
    ValueError
        When `classes` is not 1 to 5.

    Examples
    --------
    >>> [fill.pattern for fill in sequence("YlGnBu", 2)]
    ['plain', 'cross']
    """
    if not 1 <= classes <= 5:
        raise ValueError(f"a sequence has 1 to 5 classes, not {classes}")
    places = [2] if classes == 1 else [round(place * 4 / (classes - 1)) for place in range(classes)]
    return tuple(Fill(SEQUENCES[name][place], SEQUENCE_PATTERNS[place]) for place in places)
