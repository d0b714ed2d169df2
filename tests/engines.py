"""Browsers other than Chromium, each as one window that a test looks through.

Firefox ESR is asked by WebDriver BiDi (W3C, "WebDriver BiDi"), WebKitGTK by WebDriver (W3C, "WebDriver"),
on a screen that is not there (Xvfb). A browser that is not installed skips its test with the reason;
`LOAMWRIGHT_REQUIRE_BROWSER` makes that a failure.
"""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import socket
import subprocess
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import pytest

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
WEBKIT_DRIVER, SCREEN = shutil.which("WebKitWebDriver"), shutil.which("Xvfb")
MINI_BROWSER = next(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"), None)

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
NOWHERE = {"proxyType": "manual", "httpProxy": "127.0.0.1:9", "sslProxy": "127.0.0.1:9"}


class Window(ABC):
    """One window of a browser, whatever protocol it is asked by."""

    @abstractmethod
    def run(self, expression: str) -> Any:
        """Evaluate in the page, and wait for it; what comes back is a text or a truth."""

    @abstractmethod
    def open(self, address: str, width: int, height: int) -> None:
        """Show a page in a window of this size [CSS pixels]."""

    @abstractmethod
    def click(self, selector: str) -> None:
        """Click in the middle of the first thing that fits, as a person does."""

    @abstractmethod
    def requests(self) -> list[str]:
        """Addresses the page asked for."""

    @abstractmethod
    def faults(self) -> list[str]:
        """Script errors so far."""

    def until(self, expression: str) -> None:
        """Wait until something is so."""
        self.run(
            f"""new Promise((resolve, reject) => {{ let left = 400; const look = () => {{
            if ({expression}) resolve(true); else if (left-- < 0) reject(new Error("it did not come"));
            else setTimeout(look, 25); }}; look(); }})"""
        )


class Bidi(Window):
    """A window asked by WebDriver BiDi."""

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
        told = self.ask(
            "script.evaluate", expression=expression, target={"context": self.window}, awaitPromise=True
        )
        assert told["type"] == "success", told
        return told["result"].get("value")

    def open(self, address: str, width: int, height: int) -> None:
        viewport = {"width": width, "height": height}
        self.ask("browsingContext.setViewport", context=self.window, viewport=viewport)
        self.ask("browsingContext.navigate", context=self.window, url=address, wait="complete")

    def requests(self) -> list[str]:
        return self.asked

    def faults(self) -> list[str]:
        return self.broken

    def click(self, selector: str) -> None:
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


class Classic(Window):
    """A window asked by WebDriver, one request a command."""

    def __init__(self, address: str, browser: Path) -> None:
        self.address = f"{address}/session"
        wanted = {
            "webkitgtk:browserOptions": {"binary": str(browser), "args": ["--automation"]},
            "proxy": NOWHERE,
        }
        made = self.ask("", {"capabilities": {"alwaysMatch": wanted}})
        self.address += f"/{made['sessionId']}"

    def ask(self, command: str, body: Mapping[str, Any]) -> Any:
        """Send a command and return its value."""
        answer = httpx.post(f"{self.address}{command}", json=body, timeout=60)
        told = answer.json()["value"]
        assert answer.is_success, told
        return told

    def run(self, expression: str) -> Any:
        return self.ask("/execute/sync", {"script": f"return ({expression})", "args": []})

    def open(self, address: str, width: int, height: int) -> None:
        self.ask("/window/rect", {"width": width, "height": height})
        self.ask("/url", {"url": address})
        self.run(
            "(window.faults = [], addEventListener('error', (e) => window.faults.push(e.message)), true)"
        )

    def requests(self) -> list[str]:
        return list(self.run("performance.getEntriesByType('resource').map((one) => one.name)"))

    def faults(self) -> list[str]:
        return list(self.run("window.faults"))

    def click(self, selector: str) -> None:
        self.run(f"document.querySelector({selector!r}).scrollIntoView({{ block: 'center' }})")
        (node,) = self.ask("/element", {"using": "css selector", "value": selector}).values()
        self.ask(f"/element/{node}/click", {})

    def leave(self) -> None:
        """Close the window."""
        httpx.delete(self.address, timeout=60)


def _absent(what: str, package: str) -> None:
    """Skip the test, or fail where the browsers are asked for."""
    reason = f"no {what} here; install it (apt-get install {package}) to run this test"
    if os.environ.get("LOAMWRIGHT_REQUIRE_BROWSER"):
        pytest.fail(reason)
    pytest.skip(reason)


@contextmanager
def firefox(folder: Path) -> Iterator[Window]:
    """Open Firefox with a profile of its own in a folder."""
    pytest.importorskip("websockets", reason="websockets (test extra) is not installed")
    if FIREFOX is None:
        _absent("Firefox", "firefox-esr")
    profile = folder / "profile"
    profile.mkdir()
    (profile / "user.js").write_text(PROFILE, "utf-8")
    command = [FIREFOX, "--headless", "--remote-debugging-port=0", "--profile", str(profile), "about:blank"]
    with (folder / "firefox.log").open("w+") as log:
        process = subprocess.Popen(
            command, stderr=subprocess.PIPE, stdout=log, text=True, env={**os.environ, "HOME": str(folder)}
        )
        try:
            assert process.stderr is not None
            lines = (re.search(r"listening on (ws://\S+)", line) for line in process.stderr)
            address = next(found[1] for found in lines if found)
            yield Bidi(address)
        finally:
            process.terminate()
            process.wait(timeout=30)


@contextmanager
def webkit(folder: Path) -> Iterator[Window]:
    """Open the small browser of WebKitGTK."""
    if WEBKIT_DRIVER is None or MINI_BROWSER is None or SCREEN is None:
        _absent("WebKitGTK", "webkit2gtk-driver xvfb")
    read, write = os.pipe()  # the screen says in it which number it took
    screen = subprocess.Popen(
        [SCREEN, "-displayfd", str(write), "-screen", "0", "1400x1000x24"],
        pass_fds=[write],
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as told:
        display = f":{told.readline().strip()}"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = {**os.environ, "HOME": str(folder), "DISPLAY": display, "LIBGL_ALWAYS_SOFTWARE": "1"}
    driver = subprocess.Popen([WEBKIT_DRIVER, f"--port={port}"], env=env, stderr=subprocess.DEVNULL)
    try:
        _wait_for(port)
        window = Classic(f"http://127.0.0.1:{port}", MINI_BROWSER)
        yield window
        window.leave()
    finally:
        for process in (driver, screen):
            process.terminate()
            process.wait(timeout=30)


def _wait_for(port: int) -> None:
    """Wait until somebody answers at a port."""
    for _ in range(400):
        with suppress(OSError), socket.create_connection(("127.0.0.1", port)):
            return
        time.sleep(0.025)
    pytest.fail(f"nobody answers at port {port}")


ENGINES = {"firefox": firefox, "webkit": webkit}
