"""Make the demo's map and the pictures of README again: ``python tests/picture.py``.

Writes ``maps/alder_fork.html`` (the file a visitor opens) and the pictures README shows of it and of the app,
taken by the browser the tests use.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from app_server import FLAGS as APP_FLAGS
from app_server import serving
from chromium import CHROMIUM, DESK, FLAGS, PHONE
from playwright.sync_api import sync_playwright

from loamwright import upkeep
from loamwright.commands.answer import today

MAPS = Path(__file__).parents[1] / "maps"


def main() -> None:
    """Build the demo, keep its map, and photograph it."""
    with tempfile.TemporaryDirectory() as folder:
        made = upkeep.build_demo(Path(folder), today(), lambda _stage: None)
        (drawn,) = (path for path in made.files if path.suffix == ".html")
        MAPS.mkdir(exist_ok=True)
        shutil.copyfile(drawn, MAPS / "alder_fork.html")
        _photograph_app(made.property_path)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        for name, screen in (("alder_fork", DESK), ("alder_fork_phone", PHONE)):
            context = chromium.new_context(**screen)
            page = context.new_page()
            page.goto((MAPS / "alder_fork.html").as_uri())
            page.wait_for_timeout(1500)
            page.screenshot(path=MAPS / f"{name}.png")
            context.close()
        chromium.close()


#: Pages of the app that README shows: file, address, screen.
APP = (
    ("app_map", "/draw?plot=AF-07", DESK),
    ("app_plan", "/plan", DESK),
    ("app_needs_phone", "/needs", PHONE),
)


def _photograph_app(path: Path) -> None:
    """Take pictures of the app's pages on the demo."""
    with serving(path, today()) as served, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(APP_FLAGS))
        for name, address, screen in APP:
            page = chromium.new_context(**screen).new_page()
            page.goto(served.enter())
            page.goto(served.address + address)
            page.wait_for_timeout(1500)
            page.screenshot(path=MAPS / f"{name}.png")
        chromium.close()


if __name__ == "__main__":
    main()
