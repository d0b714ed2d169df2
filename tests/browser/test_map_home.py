"""The whole way home: map from the command line, check-offs in a real browser, `record`, `status`.

Pounds are worked out beside each check from the files `command_line.worked_files` writes.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from command_line import TODAY, WHOLE_LIME, ran_well, worked_files
from qr_reader import read_code

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]
#: Acres of A-1 by GeographicLib; 25 lb P2O5/acre as pounds of 11-52-0 (an acre is 4046.8564224 m2).
MAP_LB = 100.0  # 102.2 lb meet 25 lb P2O5/acre; two whole bags are 97.8 % of it, inside the band


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", TODAY.year)
    ran_well("import", path, *worked_files(tmp_path))
    ran_well("set", path, "settings", WHOLE_LIME)
    ran_well("plan", path)
    ran_well("map", path)
    return path


def one(rows: list[dict[str, Any]], **wanted: object) -> dict[str, Any]:
    (found,) = [row for row in rows if all(row[key] == value for key, value in wanted.items())]
    return found


def plot(page: Any, place: int) -> None:
    page.tap("#tabs [data-view=plots]")
    if page.is_visible("#back"):
        page.tap("#back")
    page.locator("#plots button").nth(place).tap()


def saved(page: Any, folder: Path) -> Path:
    page.tap("#tabs [data-view=records]")
    with page.expect_download() as download:
        page.locator("button", has_text="Save records file").tap()
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return path


def code(page: Any) -> str:
    """Read the code on the screen, square by square."""
    page.locator("button", has_text="Show as a code").tap()
    page.locator("svg.code").wait_for()
    size = int(page.get_attribute("svg.code", "viewBox").split()[2])
    squares = [[0] * size for _ in range(size)]
    for spot in page.get_attribute("svg.code path", "d").split("h1v1h-1z")[:-1]:
        x, y = map(int, spot.removeprefix("M").split())
        squares[y][x] = 1
    page.locator("#code button", has_text="Close").tap()
    edge = [
        squares[k][j] + squares[-1 - k][j] + squares[j][k] + squares[j][-1 - k]
        for k in range(4)
        for j in range(size)
    ]
    assert not any(edge)  # four light squares all around, ISO/IEC 18004, 5.3.8
    return read_code([row[4:-4] for row in squares[4:-4]])


def test_what_was_done_comes_home_once(open_page: Open, own: Path, tmp_path: Path) -> None:
    page = open_page(own.with_suffix(".html"))
    plot(page, 0)
    page.locator(".card", has_text="MAP 11-52-0").locator("button.form").tap()
    page.fill("[name=operator]", "Sam")
    page.fill("[name=ground]", "moist")
    page.locator("#check-off button.main").tap()

    page.tap("#tabs [data-view=records]")
    text = code(page)
    assert page.locator("ol.entries button", has_text="Remove").count() == 2  # potash shares its hopper
    file = saved(page, tmp_path)
    assert page.locator("ol.entries button", has_text="Remove").count() == 0  # it may be at home by now
    assert page.locator("ol.entries button", has_text="Correct").count() == 2
    assert page.is_visible(
        "[name=receipt]"
    )  # a copy may have arrived although nobody tapped that it was sent
    first = ran_well("record", own, file)
    entry = one(first["new"], product="MAP 11-52-0")
    assert (entry["plot_id"], entry["operator"], entry["applied_on"]) == ("A-1", "Sam", str(TODAY))
    line = one(first["status"]["lines"], product="MAP 11-52-0")
    assert (line["state"], line["applied_lb"]) == ("done", pytest.approx(MAP_LB))

    (tmp_path / "pasted.txt").write_text(f"here you are:\n{text}\nSam", "utf-8")
    (tmp_path / "mail.json.txt").write_text(f"Hello,\n{file.read_text('utf-8')}\nSam", "utf-8")
    for again in (file, tmp_path / "pasted.txt", tmp_path / "mail.json.txt"):
        done = ran_well("record", own, again)
        assert (done["new"], len(done["already_there"])) == ([], 2)
        assert done["status"] == first["status"]

    ran_well("map", own)  # made anew: the entry is on file and does not count twice
    page.reload()
    page.wait_for_selector("body[data-ready]")
    page.tap("#tabs [data-view=records]")
    assert "in the property file" in page.inner_text("ol.entries")
    assert "Nothing is waiting here" in page.inner_text("#view-records")
    plot(page, 0)
    assert "● done" in page.locator(".card", has_text="MAP 11-52-0").first.inner_text()

    page.tap("#tabs [data-view=records]")  # put right: one 50 lb bag only
    page.locator("ol.entries li", has_text="MAP 11-52-0").locator("button", has_text="Correct").tap()
    page.locator("#check-off label", has_text="Part").tap()
    page.fill("[name=amount]", "1")
    page.fill("[name=reason]", "ran out of product")
    page.locator("#check-off button.main").tap()
    plot(page, 1)  # and something outside the plan, on the plot without a soil test
    page.locator("button", has_text="Something else").tap()
    page.select_option("[name=product]", "Potash 0-0-60")
    page.fill("[name=amount]", "20")
    page.locator("#check-off button.main").tap()
    second = ran_well("record", own, saved(page, tmp_path))
    assert [(e["plot_id"], e["mass_lb"]) for e in second["new"]] == [
        ("A-1", pytest.approx(50)),
        ("A-2", pytest.approx(20)),
    ]
    assert second["new"][0]["replaces"] == entry["entry_id"]
    line = one(second["status"]["lines"], product="MAP 11-52-0", plot_id="A-1")
    assert (line["state"], line["applied_lb"]) == ("part", pytest.approx(50))
    assert line["reasons"] == ["ran out of product"]
    extra = one(second["status"]["lines"], plot_id="A-2", product="Potash 0-0-60")
    assert extra["applied_lb"] == pytest.approx(20)
