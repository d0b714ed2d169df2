"""For every test: examples are drawn without a clock, since tests do not time."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("no clock", deadline=None)
settings.load_profile("no clock")
