"""loamwright: map, plan and record the fertility of many small, irregular plots.

::

    boundary ─► area ─► need ─► product plan ─► map + work orders ─► record ─┐
                         ▲                                                   │
                         └────────────── what is still owed ◄────────────────┘

From Python: `measure` a table of polygons, `open_property`, `plan`, and the label arithmetic of `nutrients`
and `price_per_lb`. They are loaded when first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from loamwright.version import __version__

if TYPE_CHECKING:
    from loamwright.library import Property, measure, nutrients, open_property, plan, price_per_lb

__all__ = ["Property", "__version__", "measure", "nutrients", "open_property", "plan", "price_per_lb"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'loamwright' has no attribute {name!r}")
    from loamwright import library

    return getattr(library, name)
