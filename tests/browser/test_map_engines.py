"""The field map in other engines than Chromium: Firefox ESR by WebDriver BiDi (W3C, "WebDriver BiDi").

The page opens from a file without a network, a job is marked done by a click, and the records come out as
text. Skipped, with the reason, where there is no Firefox; `LOAMWRIGHT_REQUIRE_BROWSER` makes that a failure.
"""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
#: Nothing of the browser's own may ask the network either.
PROFILE = """
user_pref("network.proxy.type", 1);
user_pref("network.proxy.http", "127.0.0.1");
user_pref("network.proxy.http_port", 9);
user_pref("network.proxy.ssl", "127.0.0.1");
user_pref("network.proxy.ssl_port", 9);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
"""


class Bidi:
    """One window of a browser, asked by WebDriver BiDi."""

    def __init__(self, address: str) -> None:
        from websockets.sync.client import connect

        self.socket = connect(f"{address}/session", max_size=None)
        self.numbers = itertools.count(1)
        self.asked: list[str] = []
        self.broken: list[str] = []
        self.ask("session.new", capabilities={})
        self.ask("session.subscribe", events=["network.beforeRequestSent", "log.entryAdded"])
        self.window = self.ask("browsingContext.getTree")["contexts"][0]["context"]

    def ask(self, method: str, **params: Any) -> Any:
        """Send a command and wait for its answer; events on the way are kept."""
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            told = json.loads(self.socket.recv(timeout=60))
            if told.get("id") == number:
                assert told["type"] == "success", told
                return told["result"]
            if told.get("method") == "network.beforeRequestSent":
                self.asked.append(told["params"]["request"]["url"])
            elif told.get("method") == "log.entryAdded" and told["params"]["level"] == "error":
                self.broken.append(told["params"]["text"])

    def run(self, expression: str) -> Any:
        """Evaluate in the page; what comes back is a text or a truth."""
        told = self.ask(
            "script.evaluate", expression=expression, target={"context": self.window}, awaitPromise=True
        )
        assert told["type"] == "success", told
        return told["result"].get("value")

    def until(self, expression: str) -> None:
        """Wait until something is so."""
        self.run(
            f"""new Promise((resolve, reject) => {{ let left = 400; const look = () => {{
            if ({expression}) resolve(true); else if (left-- < 0) reject(new Error("it did not come"));
            else setTimeout(look, 25); }}; look(); }})"""
        )

    def click(self, selector: str) -> None:
        """Click in the middle of the first thing that fits, as a person does."""
        self.run(f"document.querySelector({selector!r}).scrollIntoView({{ block: 'center' }})")
        node = self.ask(
            "browsingContext.locateNodes",
            context=self.window,
            locator={"type": "css", "value": selector},
            maxNodeCount=1,
        )["nodes"][0]
        origin = {"type": "element", "element": {"sharedId": node["sharedId"]}}
        actions = [
            {"type": "pointerMove", "x": 0, "y": 0, "origin": origin},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        pointer = {"type": "pointer", "id": "mouse", "actions": actions}
        self.ask("input.performActions", context=self.window, actions=[pointer])


@pytest.fixture
def firefox(tmp_path: Path) -> Iterator[Bidi]:
    pytest.importorskip("websockets", reason="websockets (test extra) is not installed")
    if FIREFOX is None:
        reason = "no Firefox here; install it (apt-get install firefox-esr) to run this test"
        if os.environ.get("LOAMWRIGHT_REQUIRE_BROWSER"):
            pytest.fail(reason)
        pytest.skip(reason)
    profile = tmp_path / "profile"
    profile.mkdir()
    (profile / "user.js").write_text(PROFILE, "utf-8")
    command = [FIREFOX, "--headless", "--remote-debugging-port=0", "--profile", str(profile), "about:blank"]
    with (tmp_path / "firefox.log").open("w+") as log:
        process = subprocess.Popen(
            command, stderr=subprocess.PIPE, stdout=log, text=True, env={**os.environ, "HOME": str(tmp_path)}
        )
        try:
            assert process.stderr is not None
            lines = (re.search(r"listening on (ws://\S+)", line) for line in process.stderr)
            address = next(found[1] for found in lines if found)
            yield Bidi(address)
        finally:
            process.terminate()
            process.wait(timeout=30)


def test_firefox_opens_it_marks_a_job_done_and_hands_it_over(
    firefox: Bidi, maps: Callable[..., Path]
) -> None:
    firefox.ask("browsingContext.setViewport", context=firefox.window, viewport={"width": 360, "height": 740})
    firefox.ask("browsingContext.navigate", context=firefox.window, url=maps(25).as_uri(), wait="complete")
    firefox.until("document.body.dataset.ready")
    firefox.run("""localStorage.clear(); const day = new Date("2026-05-09T09:30:00"); const Real = Date;
        window.Date = class extends Real { constructor(...a) { super(...(a.length ? a : [day])); } };""")
    firefox.click("#tabs [data-view=plots]")
    firefox.click("#plots button")
    firefox.click("[data-line='L-AF-01-N'] .quick")
    firefox.until("document.getElementById('who').open")
    firefox.click("#who .main")
    firefox.until("document.querySelector(\"[data-line='L-AF-01-N']\").textContent.includes('● done')")
    firefox.click("#tabs [data-view=records]")
    firefox.run("document.querySelector('#records-text').closest('details').open = true")
    (entry,) = json.loads(firefox.run("document.getElementById('records-text').value"))["entries"]
    assert (entry["plot_id"], entry["done"], entry["applied_on"]) == ("AF-01", "done", "2026-05-09")
    code = "[...document.querySelectorAll('button')].find((b) => b.textContent === 'Show as a code')"
    firefox.run(f"{code}.click()")
    firefox.until("document.querySelector('svg.code')")
    assert firefox.broken == []
    outside = [url for url in firefox.asked if not url.startswith(("file:", "data:", "blob:", "about:"))]
    assert outside == []
