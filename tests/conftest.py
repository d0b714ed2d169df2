"""For every test: examples are drawn without a clock, as tests do not time; in the gate always the same."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

from loamwright.money import USUAL, tell_money_in

settings.register_profile("no clock", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("no clock")


@pytest.fixture(autouse=True)
def usual_money() -> None:
    """No test is told amounts in the currency of the property of another."""
    tell_money_in(USUAL)
