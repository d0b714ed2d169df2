"""The app on a real socket of this computer, for tests that drive a browser."""

from __future__ import annotations

import datetime as dt
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn

from loamwright.app.desk import Desk
from loamwright.app.guard import Passes
from loamwright.app.server import free_port, make_app

#: One name of the tests' own leads here too, so that a page of another site can be tried.
FLAGS = (
    "--no-sandbox",
    "--disable-background-networking",
    "--no-first-run",
    "--host-resolver-rules=MAP evil.example 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


class Served:
    """An app that runs: its address, and codes for one device more."""

    def __init__(self, port: int, passes: Passes) -> None:
        self.address, self._passes = f"http://127.0.0.1:{port}", passes

    def enter(self) -> str:
        """An address that lets one device in."""
        return f"{self.address}/enter?code={self._passes.issue()}"


@contextmanager
def serving(path: Path | None, today: dt.date) -> Iterator[Served]:
    """Serve a property until the block is left."""
    desk = Desk(None, lambda: today)
    if path is not None:
        desk.open(path)
    port = free_port("127.0.0.1", 0)
    passes = Passes(port)
    app = make_app(desk, passes, [f"127.0.0.1:{port}"])
    config = uvicorn.Config(app, "127.0.0.1", port, log_level="warning", lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield Served(port, passes)
    finally:
        server.should_exit = server.force_exit = True
        thread.join(10)
