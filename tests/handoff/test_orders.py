"""The printed work orders, read back from the PDF and set against the plan by hand arithmetic.

Amounts are worked out here from the sample's acres and the round rates its docstring states, to the
pound and the bag; nothing is compared with the program's own plan page.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import re
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pypdf
import pytest
from pyproj import Geod
from sample_view import LIME, POTASH, TRIPLE, UREA, sample_view

from loamwright import words
from loamwright.errors import InputError
from loamwright.handoff import buying_list, drawings, orders, paper, round_sheets
from loamwright.handoff.drawings import Drawing, plot_drawing
from loamwright.handoff.orders import orders_page, write_arithmetic, write_orders
from loamwright.handoff.paper import TEMPLATES, PaperOptions, printable
from loamwright.planning import Job, Window
from loamwright.supplies.records import Form, Product
from loamwright.units import ACRE_M2, LB_ACRE_KG_HA, LB_GAL_KG_M3, LB_KG
from loamwright.values import NeedState, Nutrient, Spreader
from loamwright.work import rounds
from loamwright.work.records import SeasonView
from loamwright.work.rounds import plan_rounds

#: lb of product per acre by hand: 40/0.46, 60/0.46, 30/0.60, 2000 lb ENP at 1000 lb per 2000 lb.
RATE = {UREA: 40 / 0.46, TRIPLE: 60 / 0.46, POTASH: 30 / 0.60, LIME: 4000.0}


def fresh(view: SeasonView) -> SeasonView:
    """The same season with nothing applied yet."""
    return replace(view, statuses=(), record=replace(view.record, applications=()))


def pages(path: Path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(path).pages]


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    path = tmp_path_factory.mktemp("paper") / "orders.pdf"
    made = write_orders(fresh(sample_view(25)), path)
    texts = pages(path)
    assert made.pages == len(texts)
    assert made.problems == ()
    return texts


def plot_page(texts: list[str], plot_id: str) -> str:
    found = [text for text in texts if text.startswith(f"{plot_id} ") and "Scale 1 : " in text]
    assert len(found) == 1
    return found[0]


def pounds(value: float) -> str:
    """As a person would write it: tenths under 1,000, whole pounds above."""
    return f"{value:,.1f} lb" if value < 1000 else f"{value:,.0f} lb"


# ---------------------------------------------------------------------------------------------
# Amounts


def test_every_plot_page_shows_the_plan_to_the_pound_and_bag(printed: list[str]) -> None:
    view = fresh(sample_view(25))
    for plot in view.record.plots:
        text = plot_page(printed, plot.plot_id)
        acres = view.areas[plot.plot_id].spread_area_m2 / ACRE_M2
        assert f"{acres:.2f} acres to spread" in text
        planned = {line.product for line in view.plan.lines if line.plot_id == plot.plot_id}
        for product in (UREA, TRIPLE, POTASH):
            amount = RATE[product] * acres
            assert (f"{product} " in text) == (product in planned)
            if product not in planned:
                continue
            whole, rest = divmod(amount, 50.0)
            bags = f"{whole:.0f} × 50 lb bag + {rest:.1f} lb" if whole else f"{rest:.1f} lb of a 50 lb bag"
            assert pounds(amount) in text, (plot.plot_id, product)
            assert bags in text, (plot.plot_id, product)
            assert f"{amount / 50:.2f} packages, carry {math.ceil(amount / 50)}" in text
        if LIME in planned:
            assert f"{4000 * acres:,.0f} lb" in text
            assert "2.00 tons/acre" in text


def test_round_pages_add_up(printed: list[str]) -> None:
    view = fresh(sample_view(25))
    for number, product in enumerate((UREA, TRIPLE, POTASH, LIME), 1):
        start = next(i for i, text in enumerate(printed) if text.startswith(f"Round {number}: {product}"))
        end = next(i for i, t in enumerate(printed) if i > start and re.match(r"(Round \d|AF-01 )", t))
        text = " ".join(printed[start:end])
        plots = [line.plot_id for line in view.plan.lines if line.product == product]
        acres = [view.areas[p].spread_area_m2 / ACRE_M2 for p in plots]
        total = RATE[product] * math.fsum(acres)
        assert f"{total:,.0f} lb" in text
        if product != LIME:
            assert f"{math.ceil(total / 50)} × 50 lb bag" in text  # opened bags go on to the next plot
            assert f"{math.ceil(total / 100)} hopper loads" in text  # the hopper holds 100 lb
        for plot_id, area in zip(plots, acres, strict=True):
            row = text[text.index(f"{plot_id} ") :]
            assert pounds(RATE[product] * area) in row
        # an ounce is 1/16 lb and 100 sq ft is 100/43560 acre; from 2 lb up pounds are shown
        caught = RATE[product] * 100 / 43560
        assert (f"{caught * 16:.1f} oz" if caught < 2 else f"{caught:.1f} lb") in text


def test_cover_lists_rounds_totals_and_what_is_missing(printed: list[str]) -> None:
    view = fresh(sample_view(25))
    cover = printed[0]
    assert "Work orders 2026, Alder Fork Preserve" in cover
    assert "proved cheapest" in cover
    acres = math.fsum(area.spread_area_m2 for area in view.areas.values()) / ACRE_M2
    assert f"25 plots to visit {acres:.2f} acres to spread on 71 trips" in cover
    assert "AF-07, AF-14, AF-21: P2O5: unknown: this plot has no soil test" in cover
    assert "the test of 2021-09-14 is over 4 years old" in cover
    assert "STOP Hold the job on frozen, snow-covered or saturated ground." in cover
    assert "Last word: state and local rule. Caution 1." in cover


def test_buying_list_adds_up_to_the_cent(printed: list[str]) -> None:
    view = fresh(sample_view(25))
    text = next(text for text in printed if text.startswith("Buying list 2026"))
    total_acres = {
        product: math.fsum(
            view.areas[line.plot_id].spread_area_m2 / ACRE_M2
            for line in view.plan.lines
            if line.product == product
        )
        for product in RATE
    }
    bags = {p: math.ceil(RATE[p] * total_acres[p] / 50) for p in (UREA, TRIPLE, POTASH)}
    birch = bags[UREA] * 2100 + (bags[TRIPLE] - 2) * 2750  # cents; two triple super bags are in stock
    tons = round(4000 * total_acres[LIME] / 2000, 4)
    mill = bags[POTASH] * 1900 + round(tons * 3800)
    assert f"{bags[UREA]} {bags[UREA] * 50:,.0f}" in text.replace(" lb", "")
    assert f"goods ${birch / 100:,.2f} delivery $0.00 total ${birch / 100:,.2f}" in text
    assert f"total ${mill / 100:,.2f}" in text
    assert f"to pay ${(birch + mill) / 100:,.2f}" in text
    left = bags[UREA] * 50 - RATE[UREA] * total_acres[UREA]
    assert f"{left:.1f} lb" in text


# ---------------------------------------------------------------------------------------------
# Provenance, settings, states


def test_a_newcomer_can_follow_a_bag_to_the_bulletin_and_the_boundary(
    printed: list[str], tmp_path: Path
) -> None:
    view = fresh(sample_view(25))
    acres = view.areas["AF-02"].spread_area_m2 / ACRE_M2
    why = plot_page(printed, "AF-02").split("Why this much")[1]
    assert "Invented Extension, Fertilizing Small Plots, 2024, Table 3, Bray P1 6-10 ppm, 2 ton/acre" in why
    assert "86.96 lb product/acre" in why
    write_arithmetic(view, tmp_path / "a.pdf")
    appendix = " ".join(pages(tmp_path / "a.pdf"))
    assert appendix.startswith("How each number was made")
    part = appendix[appendix.index("AF-02 Plot 2") : appendix.index("AF-03 Plot 3")]
    number = re.search(r"\[(\d+)\] Invented Extension, Fertilizing Small Plots, 2024", appendix)
    assert number  # in full once; the steps give its number
    for text in (
        f"Urea 46-0-0, top-dress: {40 / 0.46 * acres:.1f} lb",
        "Urea 46-0-0 holds label 46 % N",
        f"rate in the table row [{number[1]}], Table 3, Bray P1 6-10 ppm, 2 ton/acre 40 lb N/acre",
        f"area to spread on boundary {acres:.4g} acre",
        "credit: legume before",
        "area inside the boundary on the WGS84 ellipsoid",
    ):
        assert text in part, text
    assert appendix.count("Fertilizing Small Plots") == 1


def test_fills_and_what_to_bring_by_hand() -> None:
    """A hopper of 50 kg, a vehicle of 200 kg, stops of 60, 150 and 30 kg: 240 kg, 5 fills, 2 trips.

    Stop 1 empties fill 1 and starts fill 2; 140 kg stay on the vehicle. Stop 2 goes from 60 to 210 kg,
    fill 2 to 5, and needs the second trip, the last 40 kg; 30 kg stay. Stop 3 uses them up, from fill 5.
    """
    line = sample_view(1).plan.lines[0]
    stops = ((60.0, "A"), (150.0, "B"), (30.0, "C"))
    lines = [replace(line, line_id=name, plot_id=name, mass_kg=mass, packages=None) for mass, name in stops]
    places = {"A": (0.0, 0.0), "B": (100.0, 0.0), "C": (200.0, 0.0)}
    spreader = Spreader("cart", hopper_kg=50.0, vehicle_kg=200.0)
    product = Product(line.product, Form.DRY, {}, equipment=("cart",))
    (round_,) = plan_rounds(lines, {}, places, (product,), (spreader,), (0.0, 0.0))
    assert [stop.plot_id for stop in round_.stops] == ["A", "B", "C"]
    assert rounds.load_words(round_) == ("1–2", "2–5", "5")
    assert rounds.brought_kg(round_) == pytest.approx((200.0, 40.0, 0.0))
    unknown = replace(
        round_, loads=None, stops=tuple(replace(s, left_on_vehicle_kg=None) for s in round_.stops)
    )
    assert rounds.load_words(unknown) == ("", "", "")
    assert rounds.brought_kg(unknown) == (0.0, 0.0, 0.0)


def test_round_pages_say_what_to_bring(printed: list[str]) -> None:
    """The sample's hopper holds 100 lb: stops 1 and 2 of urea together take so many fills."""
    view = fresh(sample_view(25))
    text = next(text for text in printed if text.startswith(f"Round 1: {UREA}"))
    first, second = (
        RATE[UREA] * view.areas[stop.plot_id].spread_area_m2 / ACRE_M2 for stop in view.rounds[0].stops[:2]
    )
    assert first < 100 < second
    fills = math.ceil((first + second) / 100)
    row = text[text.index("AF-02 ") : text.index("AF-03 ")]
    assert "bring 100.0 lb" in text[text.index("AF-01 ") : text.index("AF-02 ")]
    assert f"bring {100 * (fills - 1):.1f} lb" in row
    assert f" 1–{fills} {100 * fills - first - second:.1f} lb" in row


def test_one_reason_is_said_once(tmp_path: Path) -> None:
    view = fresh(sample_view(7))
    unknown = replace(view.needs["AF-07"].needs[0], state=NeedState.UNKNOWN, reason="not in the guide")
    both = tuple(replace(unknown, nutrient=n) for n in (Nutrient.N, Nutrient.K2O))
    needs = {**view.needs, "AF-07": replace(view.needs["AF-07"], needs=both)}
    page = orders_page(replace(view, needs=needs), PaperOptions())
    assert "AF-07: N, K2O: not in the guide" in page.open_questions


@pytest.mark.parametrize("paper_size", ["us-letter", "a4"])
def test_a_plot_with_four_passes_fits_its_page(tmp_path: Path, paper_size: str) -> None:
    """Sketch, four passes, what is not known, three cautions, ticks and signature on one sheet."""
    view = fresh(sample_view(1))
    assert len(view.plan.lines) == 4
    about = replace(view.cautions[1], level="care", product="", where=("AF-01",))
    cautions = tuple(replace(about, text=f"{number}. " + "Mind the soft bank. " * 12) for number in range(3))
    needs = view.needs["AF-01"]
    lime = replace(needs.lime, state=NeedState.UNKNOWN, reason="not tested. " * 12)
    view = replace(view, cautions=cautions, needs={"AF-01": replace(needs, lime=lime)})
    write_orders(view, tmp_path / "o.pdf", PaperOptions(paper=paper_size))
    text = plot_page(pages(tmp_path / "o.pdf"), "AF-01")
    assert text.count("part not done") == 4
    assert "signature not done, or different from the plan, because" in text


def test_unknown_needs_are_said_on_the_plot(printed: list[str]) -> None:
    assert "Not known: P2O5: unknown: this plot has no soil test" in plot_page(printed, "AF-07")
    assert "Not known" not in plot_page(printed, "AF-02")


def test_settings_come_from_the_log_only(printed: list[str]) -> None:
    urea = " ".join(printed[1:3])
    assert "gate 4" in urea
    assert "97.0 lb/acre" in urea  # the logged test
    assert "2026-04-20 R. Steward" in urea
    triple = next(text for text in printed if text.startswith("Round 2"))
    assert "no test of ATV spreader with Triple super 0-46-0 is logged: do a tarp test first" in triple
    assert "gate" not in triple.replace("at right angles", "")
    assert "65.2 lb/acre a pass" in triple  # half of 130.43


def test_what_the_record_says_is_flagged_and_not_carried_again(tmp_path: Path) -> None:
    view = sample_view(25)
    write_orders(view, tmp_path / "o.pdf", PaperOptions(appendix=False))
    texts = pages(tmp_path / "o.pdf")
    acres = view.areas["AF-03"].spread_area_m2 / ACRE_M2
    whole = f"{RATE[UREA] * acres:.1f} lb"
    assert f"done: {whole} of {whole} is on. Skip." in plot_page(texts, "AF-03")
    half = RATE[UREA] * view.areas["AF-02"].spread_area_m2 / ACRE_M2 / 2
    assert f"part: {half:.1f} lb of {2 * half:.1f} lb is on, {half:.1f} lb left" in plot_page(texts, "AF-02")
    left = math.fsum(
        0.0
        if status.state.value in ("done", "over")
        else RATE[UREA] * view.areas[status.plot_id].spread_area_m2 / ACRE_M2 - status.applied_kg / 0.45359237
        for status in view.statuses
        if status.product == UREA
    )
    assert f"{left:,.0f} lb of it still to put on" in texts[1]
    assert f"{math.ceil(left / 50)} × 50 lb bag to carry" in texts[1]


def test_cautions_stand_where_they_apply(printed: list[str]) -> None:
    """In full with source once; a product's on its round's page, by number on the plots it names."""
    caution = "spread just ahead of half an inch of rain"
    assert caution in " ".join(printed[1:3])
    assert caution not in next(text for text in printed if text.startswith("Round 2"))
    assert "2 (on the round's page)" in plot_page(printed, "AF-01")  # the sample names every second plot
    assert "(on the round's page)" not in plot_page(printed, "AF-02")
    assert "notes 3" in plot_page(printed, "AF-01")
    assert "Hold the job on frozen" not in plot_page(printed, "AF-01")  # on the cover
    full = next(text for text in printed if text.startswith("Cautions in full"))
    assert "3 NOTE The setback of the pond is not stated. Ask before spreading near it. For: " in full
    assert "spreader. Where: AF-01." in full
    assert (
        "Source: Invented Extension, Spreading Near Water, 2022, setbacks. Last word: state extension."
        in full
    )


def test_no_page_speaks_against_its_own_rate() -> None:
    """Advice to leave nitrogen out stands on the cover, to be settled, and beside no rate of nitrogen."""
    view = fresh(sample_view(4))
    about = view.cautions[1]
    against = replace(about, text="Leave nitrogen out.", product="", where=("AF-01",), readers=("planner",))
    page = orders_page(replace(view, cautions=(against, about)), PaperOptions())
    assert [brief.text for brief in page.settle.briefs] == ["Leave nitrogen out."]
    for sheet in (*page.rounds, *page.plots):
        assert not any("Leave nitrogen out." in brief.text for brief in sheet.cautions.briefs)
    assert about.text in [brief.text for brief in page.rounds[0].cautions.briefs]
    assert [row.readers for row in page.all_cautions] == ["planner", "planner, spreader"]
    chosen = orders_page(replace(view, cautions=(against,)), PaperOptions(rounds=("4",)))
    visited = {sheet.plot_id for sheet in chosen.plots}
    assert bool(chosen.settle.briefs) == ("AF-01" in visited)


def test_cautions_about_a_place_are_said_on_its_page() -> None:
    view = fresh(sample_view(4))
    about = view.cautions[1]
    here = replace(about, text="Soft bank.", published="10 ft", product="", where=("AF-02",), level="stop")
    page = orders_page(replace(view, cautions=(here,)), PaperOptions())
    sheets = {sheet.plot_id: sheet.cautions for sheet in page.plots}
    assert [(b.level, b.text) for b in sheets["AF-02"].briefs] == [("stop", "Soft bank.")]
    assert sheets["AF-01"].briefs == ()
    assert page.all_cautions[0].text == "Soft bank. Published: 10 ft."


def test_a_plot_counts_once_in_a_round_however_much_is_mixed() -> None:
    view = fresh(sample_view(1))
    (round_,) = [r for r in view.rounds if r.product == UREA]
    first = round_.stops[0]
    mixed = replace(round_, stops=(first, replace(first, product="Potash 0-0-60")))
    page = orders_page(replace(view, rounds=(mixed,)), PaperOptions())
    assert (page.rounds[0].plots, len(page.rounds[0].stops)) == ("1", 2)


def test_bags_of_each_product_are_rounded_up_on_their_own() -> None:
    """1.2 bags of one and 3.4 of another are 2 + 4 = 6 bags, not the 5 that 4.6 would be."""
    view = fresh(sample_view(1))
    first = view.rounds[0].stops[0]
    stops = tuple(
        replace(first, product=product, mass_kg=bags * 50 * LB_KG, packages=bags, package="50 lb bag")
        for product, bags in ((UREA, 1.2), (POTASH, 3.4))
    )
    page = orders_page(replace(view, rounds=(replace(view.rounds[0], stops=stops),)), PaperOptions())
    assert page.rounds[0].carry == "6 × 50 lb bag"


def test_what_must_be_known_stands_before_the_job_with_its_source() -> None:
    view = fresh(sample_view(1))
    (round_,) = [r for r in view.rounds if r.product == UREA]
    page = orders_page(replace(view, rounds=(round_,)), PaperOptions())
    before = {row.about: row for row in page.rounds[0].before}
    assert before["ground"].level == "stop"
    assert "Ohio Revised Code 905.326" in before["ground"].source
    assert "over 50 % chance of more than 1 inch within 12 hours (Ohio)" in before["rain"].text
    assert "Last word: state and local rule" in before["rain"].source
    assert "Never in one hopper" in before["lime apart from urea, ammonium and phosphate"].text
    assert all("Last word:" in row.source for row in before.values())


def test_a_plots_page_says_when_and_how_and_by_whom() -> None:
    view = fresh(sample_view(3))
    assert view.plan is not None
    line = next(one for one in view.plan.lines if one.product == POTASH)
    window = Window("before seeding", dt.date(2026, 4, 15), dt.date(2026, 5, 20))
    job = Job("J1", line.plot_id, None, "", (line.line_id,), 1.0, 1.0, Decimal(0), window=window)
    job = replace(job, placement="worked in", reason="Invented Extension")
    page = orders_page(replace(view, plan=replace(view.plan, jobs=(job,))), PaperOptions())
    said = {sheet.plot_id: sheet.when for sheet in page.plots}
    days = "before seeding, 2026-04-15 to 2026-05-20, worked in"
    assert said.pop(line.plot_id) == (f"{POTASH}: {days} (Invented Extension)",)
    assert set(said.values()) == {()}


def test_liquids_are_said_in_gallons() -> None:
    # 1,000 lb of a liquid at 10 lb/gal is 100 gal; a rate of 200 lb/acre is 20 gal/acre, and 1/128 acre
    # at that rate catches 20 fluid ounces (LSU AgCenter: ounces caught equal gallons per acre)
    view = fresh(sample_view(1))
    (round_,) = [r for r in view.rounds if r.product == UREA]
    stop = replace(round_.stops[0], mass_kg=1000 * LB_KG, rate_kg_ha=200 * LB_ACRE_KG_HA)
    liquid = replace(view.record.products[0], form=Form.LIQUID, density_kg_m3=10 * LB_GAL_KG_M3, product=UREA)
    view = replace(
        view,
        record=replace(view.record, products=(liquid, *view.record.products[1:])),
        rounds=(replace(round_, stops=(stop,)),),
    )
    (sheet,) = orders_page(view, PaperOptions(rounds=(round_.round_id,))).rounds
    assert sheet.stops[0].volume == "100.0 gal"
    assert sheet.stops[0].caught == "20.0 fl oz"
    assert sheet.test_head == "In 1/128 acre"


def test_missing_setbacks_are_said() -> None:
    view = fresh(sample_view(25))
    area = replace(view.areas["AF-02"], missing_setbacks=("KO-pond",))
    view = replace(view, areas={**view.areas, "AF-02": area})
    page = orders_page(view, PaperOptions())
    sheet = next(sheet for sheet in page.plots if sheet.plot_id == "AF-02")
    assert sheet.setbacks == "Setback NOT stated for Pond: ask before spreading near it."


# ---------------------------------------------------------------------------------------------
# Options and paper


def test_rounds_can_be_chosen(tmp_path: Path) -> None:
    view = fresh(sample_view(25))
    write_orders(view, tmp_path / "o.pdf", PaperOptions(rounds=("R4",), appendix=False))
    texts = pages(tmp_path / "o.pdf")
    assert len(texts) == 2 + 5 + 1  # cover, the round, five plots that need lime, cautions
    assert not any("Buying list" in text for text in texts)
    assert not any(UREA in text for text in texts[2:7])
    with pytest.raises(InputError, match="there is no round 'R9'"):
        write_orders(view, tmp_path / "x.pdf", PaperOptions(rounds=("R9",)))


@pytest.mark.parametrize(("paper", "size"), [("us-letter", (612, 792)), ("a4", (595.28, 841.89))])
def test_paper_sizes(paper: str, size: tuple[float, float], tmp_path: Path) -> None:
    # US letter is 8.5 × 11 in of 72 points; A4 is 210 × 297 mm (ISO 216)
    write_orders(sample_view(4), tmp_path / "o.pdf", PaperOptions(paper=paper))
    for page in pypdf.PdfReader(tmp_path / "o.pdf").pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.1)


def test_unknown_paper_and_suffix_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'tabloid' is not a paper size"):
        write_orders(sample_view(1), tmp_path / "o.pdf", PaperOptions(paper="tabloid"))
    with pytest.raises(InputError, match=r"'\.docx' is not a kind of page"):
        write_orders(sample_view(1), tmp_path / "o.docx")
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        write_orders(sample_view(1), tmp_path / "file" / "o.pdf")


def test_metric_pages_speak_metric(tmp_path: Path) -> None:
    view = fresh(sample_view(4, units="metric"))
    write_orders(view, tmp_path / "o.pdf", PaperOptions(paper="a4", appendix=False))
    text = plot_page(pages(tmp_path / "o.pdf"), "AF-02")
    area_ha = view.areas["AF-02"].spread_area_m2 / 10_000
    assert f"{area_ha:.3f} ha to spread" in text
    # 50 lb K2O product/acre = 56.04 kg/ha: 50 × 0.45359237 / 0.40468564224
    assert "56.0 kg/ha" in text
    assert f"{50 * 0.45359237 / 0.40468564224 * area_ha:.1f} kg" in text


def test_same_season_same_bytes_and_only_our_fonts(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_orders(sample_view(6), tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    fonts = {
        str(font.get_object()["/BaseFont"])
        for page in pypdf.PdfReader(tmp_path / "a.pdf").pages
        for font in page["/Resources"]["/Font"].values()
    }
    assert fonts
    assert all("Libertinus" in name or "DejaVuSansMono" in name for name in fonts)


def test_without_a_plan_there_is_still_a_map_and_a_reason(tmp_path: Path) -> None:
    write_orders(sample_view(3, with_plan=False), tmp_path / "o.pdf")
    texts = pages(tmp_path / "o.pdf")
    assert "No plan has been made." in texts[0]
    assert "No passes are planned." in texts[0]
    assert "Nothing is planned here." in plot_page(texts, "AF-01")


@pytest.mark.slow
def test_five_hundred_plots_print(tmp_path: Path) -> None:
    made = write_orders(sample_view(500), tmp_path / "o.pdf", PaperOptions(appendix=False))
    assert made.pages >= 500


# ---------------------------------------------------------------------------------------------
# Hostile text


def test_hostile_names_are_shown_and_nothing_runs(tmp_path: Path) -> None:
    write_orders(sample_view(25, hostile=True), tmp_path / "o.pdf")
    reader = pypdf.PdfReader(tmp_path / "o.pdf")
    text = "".join(page.extract_text() for page in reader.pages).replace("\u200b", "")
    flat = re.sub(r"\s+", "", text)
    for shown in ("<script>window.pwned=1</script>", "#letx=1$x^2$@cite*b*_i_[c]", "{{7*7}}", "&amp;<b>bold"):
        assert shown in flat, shown
    assert "Nordwiese" * 30 in flat
    assert "49" not in re.findall(r"\{\{(.*?)\}\}", flat)
    assert all("/Annots" not in page for page in reader.pages)  # no links
    catalog = reader.trailer["/Root"]
    assert "/OpenAction" not in catalog
    assert "/JavaScript" not in str(catalog.get("/Names", ""))


def test_a_name_cannot_turn_the_figures_beside_it() -> None:
    # U+202E right-to-left override is dropped; Hebrew is isolated (Unicode Standard Annex 9)
    assert printable("a\u202eb 12.5 lb") == "ab 12.5 lb"
    assert printable("שדה צפון 12 lb") == "\u2068שדה צפון\u2069 12 lb"
    assert printable("tab\there\x00") == "tab here "


# ---------------------------------------------------------------------------------------------
# Drawings and templates


def _plot_rings(drawing: Drawing) -> tuple[tuple[tuple[float, float], ...], ...]:
    return next(shape.rings for shape in drawing.shapes if shape.kind in ("plot", "field"))


@pytest.mark.parametrize("plot_id", ["AF-01", "AF-03", "AF-05", "AF-22"])
@pytest.mark.parametrize("system", ["us", "metric"])
def test_sketches_are_to_scale_and_north_up(plot_id: str, system: str) -> None:
    """Distances on paper times the scale against geodesic distances on the ground."""
    view = sample_view(25)
    plot = next(p for p in view.record.plots if p.plot_id == plot_id)
    drawing = plot_drawing(plot, view.areas[plot_id], view.record.keepouts, system)
    scale = float(drawing.scale.removeprefix("1 : ").replace(",", ""))
    ring = _plot_rings(drawing)[0]
    shape = plot.boundary
    part = shape.geoms[0] if hasattr(shape, "geoms") else shape
    ground = list(part.exterior.coords)
    geod = Geod(ellps="WGS84")
    for (a, b), (p, q) in zip(pairwise(ring), pairwise(ground), strict=True):
        metres = geod.inv(*p, *q)[2]
        assert math.dist(a, b) * scale / 1000 == pytest.approx(metres, rel=1e-4)
    northmost = max(range(len(ground)), key=lambda i: ground[i][1])
    assert ring[northmost][1] == min(y for _, y in ring)  # y runs down the page
    length, unit = drawing.bar_text.replace(",", "").split()
    metres = float(length) * (0.3048 if unit == "ft" else 1.0)
    assert unit == ("ft" if system == "us" else "m")
    assert drawing.bar_mm * scale / 1000 == pytest.approx(metres)
    assert drawing.width_mm <= 182  # what A4 leaves between its margins
    assert drawing.height_mm <= 92


def test_the_driving_arrow_points_along_the_bearing() -> None:
    drawing = drawings.draw((), (), (0.0, 0.0, 100.0, 100.0), (100.0, 100.0), "metric", ((50.0, 50.0), 30.0))
    (x1, y1), (x2, y2) = drawing.swath
    assert math.degrees(math.atan2(x2 - x1, y1 - y2)) == pytest.approx(30.0)


def test_labels_are_kept_apart() -> None:
    view = sample_view(500)
    drawing = drawings.overview_drawing(view.record.plots, view.record.keepouts, (), "us")
    labels = [m for m in drawing.marks if m.kind.endswith("label")]
    assert labels
    boxes = [
        (m.x - 0.62 * len(m.text) - 0.6, m.y - 1.3, m.x + 0.62 * len(m.text) + 0.6, m.y + 1.3) for m in labels
    ]
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert not (
                a[0] < b[2] - 1e-9 and a[2] > b[0] + 1e-9 and a[1] < b[3] - 1e-9 and a[3] > b[1] + 1e-9
            )


def test_labels_of_the_property_map_keep_off_the_signs() -> None:
    """A label on a way in is moved aside where there is room, and stays where there is none."""
    gate, label = drawings.Mark("gate", 30.0, 30.0), drawings.Mark("label", 30.0, 30.0, "AF-01")
    ground = drawings.draw((), (gate, label), (0.0, 0.0, 60.0, 60.0), (60.0, 60.0), "metric")
    moved = next(mark for mark in drawings.apart(ground).marks if mark.kind == "label")
    # five bold letters of 8.5 pt are about 8.2 mm wide and 3 mm high, the sign 2.2 by 2.4 mm
    assert abs(moved.x - 30) >= 4.1 + 1.1 or abs(moved.y - 30) >= 1.5 + 1.2
    crowd = [drawings.Mark("gate", x, y) for x in range(0, 61, 2) for y in range(0, 61, 2)]
    full = drawings.draw((), (*crowd, label), (0.0, 0.0, 60.0, 60.0), (60.0, 60.0), "metric")
    kept = next(mark for mark in drawings.apart(full).marks if mark.kind == "label")
    assert (kept.x, kept.y) == pytest.approx((30, 30))


def _records(root: type) -> set[type]:
    """A page record and every record inside it."""
    seen: set[type] = set()
    todo = [root]
    spaces = {**vars(orders), **vars(drawings), **vars(buying_list)}
    spaces |= {**vars(paper), **vars(words), **vars(round_sheets)}
    while todo:
        record = todo.pop()
        if record in seen:
            continue
        seen.add(record)
        for field in dataclasses.fields(record):
            names = re.findall(r"[A-Z]\w+", str(field.type))
            todo += [spaces[n] for n in names if dataclasses.is_dataclass(spaces.get(n))]
    return seen


def test_templates_show_every_field_and_ask_for_no_other() -> None:
    """Both ways: a field nobody prints is dead, a name nobody fills breaks a page."""
    source = "".join(
        (TEMPLATES / f"{name}.typ").read_text() for name in ("orders", "arithmetic", "buying_list", "style")
    )
    roots = (orders.OrdersPage, orders.ArithmeticPage)
    fields = {f.name for root in roots for record in _records(root) for f in dataclasses.fields(record)}
    assert {name for name in fields if not re.search(rf"\.{name}\b", source)} == set()
    asked = set(
        re.findall(r"\b(?:d|r|p|s|n|w|b|pair|plot|part|order|item|drawing|shape)\.([a-z_]+)\b", source)
    )
    typst = {"at", "map", "len", "slice", "flatten", "join", "clusters", "split", "chunks", "typ"}
    assert asked - fields - typst == set()
