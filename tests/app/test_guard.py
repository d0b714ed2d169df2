"""Who may talk to the app: each request that another site, a stranger or a careless program might send.

The rules are those of the Fetch standard (Origin), of W3C Fetch Metadata Request Headers (Sec-Fetch-Site)
and of RFC 9110 (411, 413); what must come of each is written here by hand.
"""

from __future__ import annotations

import asyncio

import pytest

from loamwright.app.guard import BODY_LIMIT, Guard, Passes

HOST = "127.0.0.1:8743"


async def behind(scope, receive, send):
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"inside"})


@pytest.fixture
def passes() -> Passes:
    return Passes(8743)


def answer(
    passes: Passes, method: str = "GET", path: str = "/", query: str = "", kind: str = "http", **head: str
):
    """Status, headers and body of one request; words of `head` with _ for -."""
    guard = Guard(behind, [HOST, "localhost:8743"], passes)
    headers = {"host": HOST} | {name.replace("_", "-"): value for name, value in head.items()}
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "query_string": query.encode(),
        "headers": [(name.encode(), value.encode("latin-1")) for name, value in headers.items() if value],
    }
    told = []

    async def receive():
        return {"type": f"{kind}.request"}

    async def send(message):
        told.append(message)

    asyncio.run(guard(scope, receive, send))
    if kind == "websocket":
        return told
    return told[0]["status"], dict(told[0]["headers"]), told[1]["body"].decode()


def enter(passes: Passes) -> str:
    status, headers, _ = answer(passes, path="/enter", query=f"code={passes.issue()}")
    assert status == 303
    return headers[b"set-cookie"].decode().partition(";")[0]


def test_a_code_opens_once(passes: Passes) -> None:
    code = passes.issue()
    assert answer(passes, path="/enter", query=f"code={code}")[0] == 303
    status, _, why = answer(passes, path="/enter", query=f"code={code}")
    assert (status, why) == (
        403,
        "This code was used already, or is from an earlier start: ask for a new one.",
    )


def test_without_a_code_nothing_is_shown(passes: Passes) -> None:
    assert answer(passes)[0] == 401
    assert answer(passes, cookie="loamwright-8743=guess")[0] == 401


def test_with_the_cookie_a_page_is_shown_and_sealed(passes: Passes) -> None:
    status, headers, body = answer(passes, cookie=enter(passes))
    assert (status, body) == (200, "inside")
    policy = headers[b"content-security-policy"].decode()
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert headers[b"x-frame-options"] == b"DENY"


@pytest.mark.parametrize(
    ("method", "head", "status"),
    [
        ("GET", {"host": "evil.example:8743"}, 403),  # DNS rebinding: a foreign name that leads here
        ("GET", {"host": ""}, 403),
        ("GET", {"origin": "http://evil.example"}, 403),
        ("GET", {"origin": "null"}, 403),  # a sandboxed frame, a data: page
        ("GET", {"sec_fetch_site": "cross-site", "sec_fetch_mode": "no-cors"}, 403),  # <img> of another site
        (
            "GET",
            {"sec_fetch_site": "same-site", "sec_fetch_mode": "cors"},
            403,
        ),  # another port of this computer
        ("GET", {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"}, 200),  # a link somebody sent
        ("POST", {}, 403),  # a form that does not say where it stands
        ("POST", {"origin": "http://evil.example"}, 403),
        ("POST", {"origin": f"http://{HOST}"}, 200),
        ("POST", {"sec_fetch_site": "same-origin"}, 200),
        ("POST", {"origin": f"http://{HOST}", "content_length": str(BODY_LIMIT + 1)}, 413),
        ("POST", {"origin": f"http://{HOST}", "content_length": "9" * 400}, 413),
        ("POST", {"origin": f"http://{HOST}", "content_length": "-1"}, 413),
        ("POST", {"origin": f"http://{HOST}", "transfer_encoding": "chunked"}, 411),
    ],
)
def test_who_is_let_through(passes: Passes, method: str, head: dict[str, str], status: int) -> None:
    assert answer(passes, method, cookie=enter(passes), **head)[0] == status


def test_a_socket_of_another_site_is_closed(passes: Passes) -> None:
    (told,) = answer(passes, kind="websocket", cookie=enter(passes), origin="http://evil.example")
    assert (told["type"], told["code"]) == ("websocket.close", 4403)
