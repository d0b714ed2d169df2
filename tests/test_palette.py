"""Colours against their public sources, and told apart by people with colour-blindness."""

from __future__ import annotations

import pytest
from branca.utilities import color_brewer

from loamwright import palette


@pytest.mark.parametrize("name", sorted(palette.SEQUENCES))
def test_sequences_are_colorbrewers(name: str) -> None:
    """branca ships ColorBrewer's own table."""
    assert list(palette.SEQUENCES[name]) == color_brewer(name, n=5)


def test_categories_are_okabe_and_itos() -> None:
    """RGB values as printed in Wong, Nature Methods 8, 441 (2011), figure 2."""
    printed = {
        "BLACK": (0, 0, 0),
        "ORANGE": (230, 159, 0),
        "SKY_BLUE": (86, 180, 233),
        "BLUISH_GREEN": (0, 158, 115),
        "YELLOW": (240, 228, 66),
        "BLUE": (0, 114, 178),
        "VERMILLION": (213, 94, 0),
        "REDDISH_PURPLE": (204, 121, 167),
    }
    for name, rgb in printed.items():
        assert getattr(palette, name) == "#{:02x}{:02x}{:02x}".format(*rgb)


def test_classes_of_one_legend_differ_in_pattern_too() -> None:
    for fills in (palette.STATUS, palette.CAUTION):
        assert len({fill.pattern for fill in fills.values()}) == len(fills)
    for classes in range(1, 6):
        fills_of = palette.sequence("YlGnBu", classes)
        assert len({fill.pattern for fill in fills_of}) == classes
        assert len({fill.colour for fill in fills_of}) == classes


@pytest.mark.parametrize("classes", [0, 6, -1])
def test_sequence_refuses_other_counts(classes: int) -> None:
    with pytest.raises(ValueError, match=f"not {classes}"):
        palette.sequence("YlGnBu", classes)
