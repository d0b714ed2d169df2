"""loamwright: map, plan and record the fertility of many small, irregular plots.

::

    boundary ─► area ─► need ─► product plan ─► map + work orders ─► record ─┐
                         ▲                                                   │
                         └────────────── what is still owed ◄────────────────┘
"""

from __future__ import annotations

__version__ = "0.1.0"
