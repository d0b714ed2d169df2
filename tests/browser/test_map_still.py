"""The field map where no script runs: a file preview shows the picture, the stops and the amounts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from chromium import PHONE
from sample_view import HOSTILE, sample_view

from loamwright.units import LB_KG

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def opened(browser: Any, path: Path, **options: Any) -> Any:
    page = browser.new_context(java_script_enabled=False, **(PHONE | options)).new_page()
    page.goto(path.as_uri())
    return page


def test_stops_and_amounts_without_a_script(browser: Any, maps: Callable[..., Path]) -> None:
    page = opened(browser, maps(25))
    view = sample_view(25)
    text = page.inner_text("body")
    for number, one in enumerate(view.rounds, 1):
        stops = page.locator("h2", has_text=f"Round {number}:").locator("xpath=following-sibling::ol[1]/li")
        assert stops.count() == len(one.stops)
        first = stops.first.inner_text()
        assert first.startswith(f"{one.stops[0].plot_id} ")
        pounds = one.stops[0].mass_kg / LB_KG
        assert f"{pounds:.1f} lb" in first or f"{pounds:,.0f} lb" in first
    assert page.locator(".still svg text").all_text_contents() == [plot.plot_id for plot in view.record.plots]
    assert page.locator("#tabs").is_hidden()
    assert "Pond, water: setback not stated" in text
    box = page.locator(".still").bounding_box()
    assert box["width"] <= 360


def test_hostile_text_is_text_there_too(browser: Any, maps: Callable[..., Path]) -> None:
    page = opened(browser, maps(25, hostile=True))
    shown = page.locator(".still").text_content()
    assert HOSTILE[0] in shown
    assert HOSTILE[1] in shown
    assert page.locator(".still script, .still img").count() == 0
