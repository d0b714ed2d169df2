"""The server: addresses to pages, requests to what they ask, answers to bytes; starting and opening it.

Only this file knows Starlette and uvicorn.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import json
import socket
import sys
import threading
import webbrowser
import zlib
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from functools import cache
from importlib.resources import files as package_files
from pathlib import Path
from urllib.parse import urlencode

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route as WebRoute

from loamwright.app import (
    bring,
    checklist,
    choices,
    drawing,
    ground,
    needs,
    orders,
    past,
    planning,
    plots,
    property_page,
    records,
    shop,
    start,
    stock,
    tests,
    things,
)
from loamwright.app.desk import Desk
from loamwright.app.guard import Guard, Passes, policy
from loamwright.app.long_work import LongWork
from loamwright.app.pages import Ask, Go, Reply, Route, Sent, Shown, Told, Upload, problems_of, render
from loamwright.errors import InputError, LoamwrightError, Problem

#: Where the app is found, unless another program has the place.
PORT = 8743
#: How often the tabs' watcher looks at the file [s]: changes are seen within a second.
LOOK_EVERY_S = 0.4

#: The rooms whose pages are served.
ROOMS = (
    *(start, plots, ground, tests, shop, needs, choices, planning, orders, records, stock, past),
    *(checklist, property_page, things, bring, drawing),
)

#: What is served beside the pages: name in the address → (package, files one after the other, kind).
STATIC: Mapping[str, tuple[str, str, str]] = {
    "look.css": ("loamwright", "templates/look.css", "text/css"),
    "app.css": ("loamwright", "templates/app.css", "text/css"),
    "app.js": ("loamwright", "templates/app.js", "text/javascript"),
    "ground.css": ("loamwright", "templates/ground.css", "text/css"),
    "app_map.js": ("loamwright", "templates/ground.js templates/app_map.js", "text/javascript"),
    "corners.js": ("loamwright", "templates/corners.js", "text/javascript"),
    "leaflet.js": ("js_lib_leaflet", "static/js_lib_leaflet/leaflet.js", "text/javascript"),
    "leaflet.css": ("js_lib_leaflet", "static/js_lib_leaflet/leaflet.css", "text/css"),
}


def make_app(
    desk: Desk, passes: Passes, hosts: Sequence[str], share: Callable[[], str] | None = None
) -> Guard:
    """Put the app together: every page of every room, behind the guard.

    Parameters
    ----------
    desk
        The open property.
    passes
        Codes that let a device in.
    hosts
        Names the server answers to, as they stand in ``Host``.
    share
        Makes the address, with a new code, for one more device on the local network; None = loopback only.

    Returns
    -------
    Guard
        An ASGI application.
    """
    works = LongWork()
    routes = [
        WebRoute(route.address, _answering(route, desk, works, share), methods=_methods(route))
        for room in ROOMS
        for route in room.ROUTES
    ]
    routes += [WebRoute("/static/{name}", _static), WebRoute("/changes", _telling(desk))]
    return Guard(Starlette(routes=routes), hosts, passes)


def _methods(route: Route) -> list[str]:
    return [*(["GET"] if route.read else []), *(["POST"] if route.send else [])]


def _answering(
    route: Route, desk: Desk, works: LongWork, share: Callable[[], str] | None
) -> Callable[[Request], object]:
    async def answer(request: Request) -> Response:
        handler = route.send if request.method == "POST" else route.read
        assert handler is not None
        for_script = request.headers.get("content-type", "").startswith("application/json")
        ask = Ask(desk, works, share, request.path_params, dict(request.query_params))
        try:
            ask = await _asked(request, ask)
            reply = await run_in_threadpool(handler, ask)
        except LoamwrightError as error:
            reply = _refused(problems_of(error), for_script)
        except Exception as error:
            print(f"loamwright: an error of ours at {request.url.path}: {error!r}", file=sys.stderr)
            what = f"an error of ours ({type(error).__name__}); nothing was changed"
            reply = _refused((Problem("", what, "Please report it, with what you did."),), for_script, 500)
        return await run_in_threadpool(_response, ask, reply)

    return answer


def _refused(problems: Sequence[Problem], for_script: bool, status: int = 422) -> Reply:
    if for_script:
        listed = [{"where": p.where, "what": p.what, "fix": p.fix} for p in problems]
        return Told({"ok": False, "problems": listed}, status)
    return Shown("app_refused.html", {"problems": tuple(problems)}, status)


async def _asked(request: Request, ask: Ask) -> Ask:
    """Read what was sent."""
    if request.method != "POST":
        return ask
    if request.headers.get("content-type", "").startswith("application/json"):
        try:
            data = json.loads(await request.body())
        except (ValueError, RecursionError) as error:
            raise InputError(
                [Problem("", "what the page sent is no JSON", "Load the page again.")]
            ) from error
        return replace(ask, data=data)
    every: dict[str, list[str]] = {}
    uploads = []
    async with request.form(max_files=200, max_fields=5000, max_part_size=8 * 2**20) as form:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                if value.filename:
                    uploads.append(Upload(Path(value.filename.replace("\\", "/")).name, await value.read()))
            else:
                every.setdefault(name, []).append(value)
    form_texts = {name: values[-1] for name, values in every.items()}
    return replace(ask, form=form_texts, every=every, uploads=tuple(uploads))


def _response(ask: Ask, reply: Reply) -> Response:
    fresh = {"cache-control": "no-store"}
    if isinstance(reply, Go):
        return RedirectResponse(reply.to, 303, headers=fresh)
    if isinstance(reply, Sent):
        name = "".join(c for c in reply.name if c.isascii() and (c.isalnum() or c in "._-")) or "file"
        headers = fresh | {"content-disposition": f'attachment; filename="{name}"'}
        return Response(reply.content, media_type=reply.kind, headers=headers)
    if isinstance(reply, Told):
        return JSONResponse(dict(reply.data), reply.status, headers=fresh)
    headers = fresh | {"content-security-policy": policy(reply.origins).decode("latin-1")}
    return HTMLResponse(render(ask, reply), reply.status, headers=headers)


@cache
def _static_bytes(name: str) -> bytes:
    package, parts, _ = STATIC[name]
    content = b"\n".join((package_files(package) / part).read_bytes() for part in parts.split())
    if name == "leaflet.js":  # its map of sources is not served
        content = content.rpartition(b"\n//# sourceMappingURL=")[0] or content
    return content


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in STATIC:
        return Response("There is no such file.", 404)
    mark = f'"{len(_static_bytes(name))}-{zlib.crc32(_static_bytes(name)):x}"'
    if request.headers.get("if-none-match") == mark:
        return Response(status_code=304, headers={"etag": mark})
    headers = {"etag": mark, "cache-control": "no-cache"}
    return Response(_static_bytes(name), media_type=STATIC[name][2], headers=headers)


def _telling(desk: Desk) -> Callable[[Request], object]:
    """Tell a tab whenever the property changes, whoever changes it."""

    async def tell(request: Request) -> Response:
        async def events() -> AsyncIterator[str]:
            yield "retry: 500\n\n"
            before = None
            while not await request.is_disconnected():
                try:
                    mark = desk.mark_text() if desk.is_open else "none"
                except LoamwrightError:
                    mark = "gone"
                if mark != before:
                    before = mark
                    yield f"data: {mark}\n\n"
                await asyncio.sleep(LOOK_EVERY_S)

        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(events(), media_type="text/event-stream", headers=headers)

    return tell


# ---------------------------------------------------------------------------------------------
# Starting


def free_port(host: str, wanted: int) -> int:
    """Return the wanted port, or another when a program has it."""
    for port in (wanted, 0):
        with closing(socket.socket()) as place:
            try:
                place.bind((host, port))
            except OSError:
                continue
            return int(place.getsockname()[1])
    raise InputError([Problem("port", f"no port of {host} is free", "End another program, or name a port.")])


def lan_address() -> str:
    """Return this computer's address on the local network; nothing is sent."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as place:
        try:
            place.connect(
                ("192.0.2.1", 9)
            )  # RFC 5737: an address of documentation; only the route is looked up
            return str(place.getsockname()[0])
        except OSError as error:
            what = "this computer is in no network"
            raise InputError([Problem("lan", what, "Join one, or serve without `lan`.")]) from error


def serve(
    path: Path | None,
    today: Callable[[], dt.date],
    port: int | None,
    lan: bool,
    browser: bool,
    say: Callable[[str, bool], None],
) -> None:
    """Serve a property to a browser until the program is ended.

    Parameters
    ----------
    path
        The property file; None = chosen on the Start page.
    today
        Asked for the date each time it is needed.
    port
        Where; None = the usual one, or a free one.
    lan
        Also for devices on the local network.
    browser
        Open it in the user's browser.
    say
        Told an address that opens the app once, and whether it is for a phone.

    Raises
    ------
    InputError
        When no place is free, or the computer is in no network.
    PropertyFileError
        When the property cannot be opened.
    """
    desk = Desk(None, today)
    if path is not None:
        desk.open(path)
    host = "0.0.0.0" if lan else "127.0.0.1"
    chosen = free_port(host, port or PORT)
    passes = Passes(chosen)
    hosts = [f"127.0.0.1:{chosen}", f"localhost:{chosen}"]
    share = None
    if lan:
        outside = lan_address()
        hosts.append(f"{outside}:{chosen}")

        def share() -> str:
            return f"http://{outside}:{chosen}/enter?{urlencode({'code': passes.issue()})}"

    address = f"http://127.0.0.1:{chosen}/enter?{urlencode({'code': passes.issue()})}"
    app = make_app(desk, passes, hosts, share)
    settings = uvicorn.Config(
        app,
        host,
        chosen,
        log_level="warning",
        lifespan="off",
        server_header=False,
        timeout_graceful_shutdown=2,
    )
    say(address, False)
    if share is not None:
        say(share(), True)
    if browser:
        threading.Timer(0.5, webbrowser.open, (address,)).start()
    uvicorn.Server(settings).run()
