"""Count what a thumb has to do on the field map: ``python -m tests.benchmarks.bench_taps``.

It plans the demo, opens its map on a screen of 360 × 740 and does three jobs by touch: taps where the button
is in sight, and a swipe of most of a screen where it is not. Typing is not counted; the name of who spreads
has been asked once before. It prints the counts beside those of the page before, and ends with 1 when a limit
is broken.
"""

from __future__ import annotations

import datetime as dt
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from loamwright import fieldmap, upkeep

#: Job → (counts before, limits): taps and swipes. The counts before were taken by hand.
JOBS = {
    "mark AF-07 potash done": ((3, 4), (2, 0)),
    "a round of 15 stops": ((44, None), (20, None)),
    "part, with its reason": ((None, None), (6, None)),
}
PHONE = {"viewport": {"width": 360, "height": 740}, "is_mobile": True, "has_touch": True}


class Thumb:
    """Taps and swipes, counted."""

    def __init__(self, page: Any) -> None:
        self.page, self.taps, self.swipes = page, 0, 0

    def tap(self, what: Any) -> None:
        """Tap a thing, and swipe its sheet up until it is in sight before that."""
        target = self.page.locator(what).first if isinstance(what, str) else what
        while not target.evaluate(
            """(e) => { const b = e.getBoundingClientRect();
            const top = document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2);
            return Boolean(top && (e.contains(top) || top.contains(e))); }"""
        ):
            self.swipes += 1
            if self.swipes > 30:
                raise RuntimeError("it does not come into sight")
            target.evaluate(
                """(e) => { let s = e.parentElement;
                while (s.scrollHeight <= s.clientHeight + 1) s = s.parentElement;
                s.scrollBy(0, 0.8 * s.clientHeight); }"""
            )
        box = target.bounding_box()
        self.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        self.taps += 1

    def count(self) -> tuple[int, int]:
        """Return taps and swipes so far, and begin anew."""
        counted, self.taps, self.swipes = (self.taps, self.swipes), 0, 0
        return counted


def opened(browser: Any, path: Path) -> Any:
    """Open the map as on a phone that has been used before, at noon of a day in the season."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.clock.set_fixed_time(dt.datetime.now().astimezone().replace(month=5, day=9, hour=12))
    page.goto(path.as_uri())
    page.wait_for_selector("body[data-ready]")
    page.evaluate(
        """async () => { const bytes = Uint8Array.from(atob(document.getElementById("map-data").textContent),
          (letter) => letter.charCodeAt(0));
        const data = await new Response(new Blob([bytes]).stream()
          .pipeThrough(new DecompressionStream("gzip"))).json();
        localStorage.setItem(`${data.store_key}/last`, JSON.stringify({ operator: "Sam" })); }"""
    )
    page.reload()
    page.wait_for_selector("body[data-ready]")
    return page


def mark_done(page: Any) -> tuple[int, int]:
    """From the map as it opens: the plot, and done."""
    thumb = Thumb(page)
    label = page.locator(".label", has_text="AF-07").bounding_box()
    page.touchscreen.tap(label["x"] + label["width"] / 2, label["y"] + label["height"] / 2)
    thumb.taps += 1
    card = page.locator("#view-plot .card[data-line]", has_text="Potash")
    thumb.tap(card.locator(".quick"))
    if "● done" not in card.inner_text():
        raise RuntimeError("it was not marked")
    return thumb.count()


def work_a_round(page: Any) -> tuple[int, int]:
    """All that is open in the round with most stops, reckoned up to 15."""
    thumb = Thumb(page)
    thumb.tap("#tabs [data-view=round]")
    rows = page.locator("#view-round .row")
    stops = [
        int(text.split(" of ")[1].split()[0]) if " of " in text else 0
        for text in (row.locator("span").last.inner_text() for row in rows.all())
    ]
    thumb.tap(rows.nth(stops.index(max(stops))))
    before, swipes = thumb.count()
    done = 0
    while page.locator(".thumb .quick").is_enabled():
        thumb.tap(".thumb .quick")
        done += 1
    taps, more = thumb.count()
    print(f"  (a round of {max(stops)} stops: {before} taps to open it, {taps} for {done} places)")
    return before + round(taps / done * 15), swipes + more


def part_with_reason(page: Any) -> tuple[int, int]:
    """Half is on, and it began to rain."""
    thumb = Thumb(page)
    label = page.locator(".label", has_text="AF-07").bounding_box()
    page.touchscreen.tap(label["x"] + label["width"] / 2, label["y"] + label["height"] / 2)
    thumb.taps += 1
    thumb.tap("#view-plot .card[data-line] .form")
    thumb.tap(page.locator("#check-off label", has_text="Part"))
    thumb.tap(page.locator("#check-off button", has_text="½"))
    thumb.tap("#check-off [name=reason]")
    page.locator("#check-off [name=reason]").fill("rain or wet ground")
    thumb.tap("#check-off button.main")
    if "◐ part" not in page.inner_text("#view-plot .card[data-line]"):
        raise RuntimeError("it was not kept")
    return thumb.count()


def main() -> int:
    """Measure and print; 1 when a limit is broken."""
    from playwright.sync_api import sync_playwright

    broken = False
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playwright:
        demo = upkeep.build_demo(Path(made), dt.datetime.now().astimezone().date(), lambda _stage: None)
        path = Path(made) / "taps.html"
        fieldmap.write_map(demo.view, path)
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--no-pings"]
        )
        for (job, (before, limits)), do in zip(
            JOBS.items(), (mark_done, work_a_round, part_with_reason), strict=True
        ):
            counts = do(opened(browser, path))
            words = []
            for now, what, was, most in zip(counts, ("taps", "swipes"), before, limits, strict=True):
                asides = [
                    f"before: {was}" if was is not None else "",
                    f"at most {most}" if most is not None else "",
                ]
                words.append(f"{now} {what} ({', '.join(filter(None, asides))})".replace(" ()", ""))
            print(f"{job}: {'; '.join(words)}")
            broken |= any(most is not None and now > most for now, most in zip(counts, limits, strict=True))
        browser.close()
    return int(broken)


if __name__ == "__main__":
    sys.exit(main())
