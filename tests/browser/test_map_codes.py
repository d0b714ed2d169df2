"""Codes on the page, read at home: by the reader of `qr_reader`, and from pictures of the screen."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from qr_reader import read_code
from sample_view import GivenSeason, sample_view

from loamwright.errors import InputError
from loamwright.fieldmap.page import write_map
from loamwright.files import record_codes
from loamwright.files.field_records import records_from
from loamwright.work.records import Application, receipt_of

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]


def check_off(page: Any, plot: int, note: str = "") -> None:
    """Check off the first line of a plot that is still to do."""
    page.tap("#tabs [data-view=plots]")
    if page.is_visible("#back"):
        page.tap("#back")
    page.locator("#plots button").nth(plot).tap()
    page.locator("#view-plot .card[data-line]", has_text="nothing yet").locator("button.form").first.tap()
    page.fill("[name=operator]", "Sam Nobody")
    page.fill("[name=weather]", "60 F, light wind")
    page.fill("[name=note]", note)
    page.locator("#check-off button.main").tap()


def squares(page: Any) -> list[list[int]]:
    size = int(page.get_attribute("svg.code", "viewBox").split()[2])
    dark = [[0] * size for _ in range(size)]
    for spot in page.get_attribute("svg.code path", "d").split("h1v1h-1z")[:-1]:
        x, y = map(int, spot.removeprefix("M").split())
        dark[y][x] = 1
    return [row[4:-4] for row in dark[4:-4]]


def codes_on(page: Any, folder: Path) -> tuple[list[str], list[Path]]:
    """Texts of all codes, and pictures of the screen that shows them."""
    page.tap("#tabs [data-view=records]")
    page.locator("button", has_text="Show as a code").tap()
    page.locator("svg.code").wait_for()
    texts, pictures = [], []
    while True:
        texts.append(read_code(squares(page)))
        pictures.append(folder / f"screen-{len(pictures)}.png")
        page.locator("svg.code").screenshot(path=pictures[-1])
        onward = page.locator("#code button", has_text="Next code")
        if not onward.count() or onward.is_disabled():
            page.locator("#code button", has_text="Close").tap()
            return texts, pictures
        title = page.inner_text("#code-title")
        onward.tap()
        page.wait_for_function("(t) => document.getElementById('code-title').textContent !== t", arg=title)


def kept(page: Any, folder: Path) -> tuple[Application, ...]:
    with page.expect_download() as download:
        page.locator("button", has_text="Save records file").tap()
    path = folder / "file.json"
    download.value.save_as(path)
    return records_from(path)[0]


def as_a_plan_names_them(view: GivenSeason) -> GivenSeason:
    """The sample with a plan's own ids: a letter and 12 hexadecimal digits of a hash, which pack badly."""

    def named(letter: str, text: str) -> str:
        return letter + hashlib.sha256(text.encode()).hexdigest()[:12] if text else ""

    assert view.plan is not None
    lines = tuple(
        replace(one, line_id=named("L", one.line_id), job_id=named("J", one.line_id))
        for one in view.plan.lines
    )
    plan = replace(view.plan, plan_id=named("P", view.plan.plan_id), lines=lines)
    entries = tuple(replace(one, line_id=named("L", one.line_id)) for one in view.record.applications)
    return replace(
        view,
        plan=plan,
        record=replace(view.record, plans=(plan,), applications=entries),
        statuses=tuple(replace(one, line_id=named("L", one.line_id)) for one in view.statuses),
        rounds=tuple(
            replace(one, stops=tuple(replace(stop, line_id=named("L", stop.line_id)) for stop in one.stops))
            for one in view.rounds
        ),
    )


def test_one_code_carries_fifteen_stops(open_page: Open, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    write_map(as_a_plan_names_them(sample_view(25)), path)
    page = open_page(path, device_scale_factor=3)  # as phones have it
    for place in range(15):
        check_off(page, place)
    (text,), (picture,) = codes_on(page, tmp_path)
    said = tmp_path / "pasted.txt"
    said.write_text(text, "utf-8")
    plots = [plot.plot_id for plot in sample_view(25).record.plots]
    entries, problems = records_from(said, plots)
    assert problems == ()
    assert len(entries) == 15
    assert len({entry.job_id for entry in entries}) == 15
    for entry in entries:
        assert re.fullmatch("J[0-9a-f]{12} P[0-9a-f]{12}", f"{entry.job_id} {entry.plan_id}")
    assert entries == kept(page, tmp_path)  # word for word what the file says
    assert text.split(".")[3] == receipt_of(entry.entry_id for entry in entries)
    pytest.importorskip("zxingcpp")
    assert records_from(picture, plots) == (entries, ())


def test_more_than_a_code_holds_comes_in_numbered_ones(
    open_page: Open, maps: Callable[..., Any], tmp_path: Path
) -> None:
    page = open_page(maps(25), device_scale_factor=3)
    for place in range(3):
        check_off(page, place, "".join(chr(0x4E00 + 7 * n + place) for n in range(600)))
    texts, pictures = codes_on(page, tmp_path)
    assert len(texts) > 1
    files = [tmp_path / f"part-{number}.txt" for number in range(len(texts))]
    for file, text in zip(files, texts, strict=True):
        file.write_text(text.lower(), "utf-8")
    entries, problems = records_from(files[-1], None, files[:-1])
    assert problems == ()
    assert entries == kept(page, tmp_path)
    assert [problem.what for problem in records_from(files[0])[1]] == [
        f"code {', '.join(str(n) for n in range(2, len(texts) + 1))} of {len(texts)} is missing"
    ]
    pytest.importorskip("zxingcpp")
    assert records_from(pictures[0], None, pictures[1:]) == (entries, ())


def test_pictures_without_a_code_are_refused(tmp_path: Path) -> None:
    pytest.importorskip("zxingcpp")
    image = pytest.importorskip("PIL.Image")
    blank = tmp_path / "blank.png"
    image.new("L", (60, 60), 255).save(blank)
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"no picture")
    for path, what in ((blank, "no code of the map is found"), (broken, "cannot be read as a picture")):
        with pytest.raises(InputError, match=f"{path.name}.*{what}"):
            record_codes.texts_in_picture(path)
