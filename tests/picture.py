"""Make the demo's map and its pictures again: ``python tests/picture.py``.

Writes ``maps/alder_fork.html`` (the file a visitor opens) and the two pictures README shows, taken by the
browser the tests use.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

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


if __name__ == "__main__":
    main()
