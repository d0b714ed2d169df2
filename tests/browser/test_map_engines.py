"""The field map in other engines than Chromium: Firefox ESR and WebKitGTK (`engines`).

The page opens from a file without a network, a job is marked done by a click, and the records come out as
text and as a code.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from engines import ENGINES, Window

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(params=ENGINES)
def window(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Window]:
    with ENGINES[request.param](tmp_path) as window:
        yield window


def test_it_opens_marks_a_job_done_and_hands_it_over(window: Window, maps: Callable[..., Path]) -> None:
    window.open(maps(25).as_uri(), 360, 740)
    window.until("document.body.dataset.ready")
    window.run("""(() => { localStorage.clear();
        const day = new Date("2026-05-09T09:30:00"), Real = Date;
        window.Date = class extends Real { constructor(...a) { super(...(a.length ? a : [day])); } }; })()""")
    window.click("#tabs [data-view=plots]")
    window.click("#plots button")
    window.click("[data-line='L-AF-01-N'] .quick")
    window.until("document.getElementById('who').open")
    window.click("#who .main")
    window.until("document.querySelector(\"[data-line='L-AF-01-N']\").textContent.includes('● done')")
    window.click("#tabs [data-view=records]")
    window.run("document.querySelector('#records-text').closest('details').open = true")
    (entry,) = json.loads(window.run("document.getElementById('records-text').value"))["entries"]
    assert (entry["plot_id"], entry["done"], entry["applied_on"]) == ("AF-01", "done", "2026-05-09")
    code = "[...document.querySelectorAll('button')].find((b) => b.textContent === 'Show as a code')"
    window.run(f"{code}.click()")
    window.until("document.querySelector('svg.code')")
    assert window.faults() == []
    outside = [url for url in window.requests() if not url.startswith(("file:", "data:", "blob:", "about:"))]
    assert outside == []
