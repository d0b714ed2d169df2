"""A browser without a window: requests go straight into the app, texts come back as a person reads them."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import httpx
from starlette.testclient import TestClient

HOST = "127.0.0.1:8743"


class Visitor:
    """A browser that keeps its cookie and reads texts."""

    def __init__(self, client: TestClient, path: Path) -> None:
        self.client, self.path = client, path

    def get(self, address: str) -> httpx.Response:
        return self.client.get(address)

    def send(self, address: str, *, files: object = None, **fields: str) -> httpx.Response:
        return self.client.post(address, data=fields, files=files, headers={"origin": f"http://{HOST}"})

    def text(self, address: str) -> str:
        """What a person reads on a page."""
        answer = self.get(address)
        assert answer.status_code == 200, answer.text
        return words(answer.text)

    def form(self, address: str) -> dict[str, str]:
        """The fields of the first form of a page that changes a thing, as a browser would send them."""
        html = self.get(address).text
        found = re.findall(r'<input[^>]*name="([^"]+)"[^>]*value="([^"]*)"', html)
        return {unescape(name): unescape(value) for name, value in found}


def words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())
