"""Depths as printed: ``0-6 in``, ``0 to 15 cm``, ``0-8"``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from loamwright.files.sheets.words.vocabulary import plain
from loamwright.units import read_number

#: Marks a field of a record that is written even when it is None or empty: absent and not stated differ.
ALWAYS: Mapping[str, Any] = {"always": True}

DEPTH = re.compile(
    r"(?<![0-9.,])([0-9]{1,3}(?:[.,][0-9])?)\s*(?:-|to|til)\s*([0-9]{1,3}(?:[.,][0-9])?)\s*(\"|''|in\b|inch(?:es)?\b|cm\b)"
)

_SINGLE = re.compile(
    r"(?:^\W*|\b(?:sampl\w+|core|coring) )depth\b\W*(?:of |to |was |is |= )*"
    r"([0-9]{1,3}(?:[.,][0-9])?)\s*(\"|''|in\b|inch(?:es)?\b|cm\b)"
)


@dataclass(frozen=True, slots=True)
class Depth:
    """A slice of soil as printed; `unit` is None where the sheet does not say inches or centimetres."""

    top: float = field(metadata=ALWAYS)
    bottom: float = field(metadata=ALWAYS)
    unit: str | None = field(default=None, metadata=ALWAYS)
    candidates: tuple[str, ...] = ()


def read_depth(text: str) -> Depth | None:
    """Find a depth with its unit in a text."""
    match = DEPTH.search(plain(text))
    if match is None:
        return None
    top, bottom = (read_number(part) for part in match.group(1, 2))
    return Depth(top, bottom, "cm" if match[3] == "cm" else "in") if bottom > top else None


def read_single_depth(text: str) -> Depth | None:
    """Find the depth to which a text says samples were taken, from the surface: "sample depth 6 inches"."""
    match = _SINGLE.search(plain(text))
    bottom = read_number(match[1]) if match else 0.0
    return Depth(0.0, bottom, "cm" if match[2] == "cm" else "in") if match and bottom > 0 else None
