"""For every test: examples are drawn without a clock, as tests do not time; in the gate always the same."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("no clock", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("no clock")
