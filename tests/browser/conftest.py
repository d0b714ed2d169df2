"""A real Chromium for the field map, cut off from every network."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium import CHROMIUM, FLAGS, PHONE
from sample_view import sample_view

from loamwright.fieldmap.page import SCRIPTS, MapOptions, write_map

TEMPLATES = Path(__file__).parents[2] / "src" / "loamwright" / "templates"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for all tests of a file."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright (test extra) is not installed")
    if not Path(CHROMIUM).exists():
        reason = f"no Chromium at {CHROMIUM}; install it (apt-get install chromium) to run the browser tests"
        if os.environ.get("LOAMWRIGHT_REQUIRE_BROWSER"):
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def maps(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Write a map of the sample view once per kind and hand out its path."""
    folder = tmp_path_factory.mktemp("maps")
    made: dict[tuple[Any, ...], Path] = {}

    def make(plots: int = 25, *, hostile: bool = False, units: str = "us", round_id: str = "") -> Path:
        key = (plots, hostile, units, round_id)
        if key not in made:
            view = sample_view(plots, hostile=hostile, units=units)
            made[key] = folder / f"map-{len(made)}.html"
            write_map(view, made[key], MapOptions(round_id=round_id))
        return made[key]

    return make


@pytest.fixture
def open_page(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open a page that fails the test on any request but file:, data: and blob:, and on any script error."""
    contexts = []
    asked: list[str] = []
    broken: list[str] = []

    def new(path: Path, *, attack: bool = False, **options: Any) -> Any:
        """`attack`: the test itself asks for what the page must refuse, so its complaints do not count."""
        context = browser.new_context(**(PHONE | options))
        context.set_default_timeout(8000)
        contexts.append(context)
        page = context.new_page()
        if not attack:
            context.on("request", lambda request: asked.append(request.url))
            page.on("pageerror", lambda error: broken.append(str(error)))
            page.on("console", lambda m: broken.append(m.text) if m.type == "error" else None)
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready]")
        return page

    yield new
    for context in contexts:
        context.close()
    outside = [url for url in asked if not url.startswith(("file:", "data:", "blob:"))]
    assert outside == []
    assert broken == []


@pytest.fixture
def ask_script() -> Callable[..., Any]:
    """Evaluate an expression among the functions of the page's own script, in an open map."""
    program = "\n".join((TEMPLATES / name).read_text("utf-8") for name in SCRIPTS[:-1])

    def ask(page: Any, expression: str, argument: Any = None) -> Any:
        return page.evaluate(f"async (argument) => {{ {program}\n return ({expression}); }}", argument)

    return ask
