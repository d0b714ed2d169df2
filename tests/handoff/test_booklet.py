"""The helper's booklet and the driver's sheet, read back from the PDF and set against hand arithmetic.

Amounts come from the sample's acres and the round rates its docstring states. What must not stand there is
looked for in the printed text; sizes of letters are read from the file.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pypdf
import pytest
import shapely
from sample_view import LIME, POTASH, TRIPLE, UREA, sample_view

from loamwright import words
from loamwright.errors import InputError
from loamwright.fieldmap import MapOptions, write_map
from loamwright.handoff import booklet, drawings, paper
from loamwright.handoff.booklet import has_rounds, write_booklet
from loamwright.handoff.orders import write_arithmetic
from loamwright.handoff.paper import TEMPLATES, PaperOptions
from loamwright.land import Way
from loamwright.planning import Job, Window
from loamwright.units import ACRE_M2, FT_M, HA_M2, LB_KG
from loamwright.values import Spreader
from loamwright.work import find_round, recipe_words
from loamwright.work.records import SeasonView

#: lb of product per acre by hand: 40/0.46, 60/0.46, 30/0.60, 2000 lb ENP at 1000 lb per 2000 lb.
RATE = {UREA: 40 / 0.46, TRIPLE: 60 / 0.46, POTASH: 30 / 0.60, LIME: 4000.0}


def fresh(view: SeasonView) -> SeasonView:
    """The same season with nothing applied yet."""
    return replace(view, statuses=(), record=replace(view.record, applications=()))


def flat(path: Path) -> str:
    return " ".join(" ".join(page.extract_text().split()) for page in pypdf.PdfReader(path).pages)


def with_truck(view: SeasonView) -> SeasonView:
    """The sample's lime round is done by a heavy machine."""
    settings = view.record.info.settings
    truck = Spreader("lime truck", vehicle_kg=24000 * LB_KG, heavy=True)
    rounds = tuple(replace(r, spreader=truck.name) if r.product == LIME else r for r in view.rounds)
    info = replace(view.record.info, settings=replace(settings, spreaders=(*settings.spreaders, truck)))
    return replace(view, rounds=rounds, record=replace(view.record, info=info))


@pytest.fixture(scope="module")
def season() -> SeasonView:
    return with_truck(fresh(sample_view(25)))


@pytest.fixture(scope="module")
def helper(season: SeasonView, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("booklet") / "helper.pdf"
    write_booklet(season, path)
    return path


def test_each_stop_shows_the_plan_to_the_pound_and_bag(helper: Path, season: SeasonView) -> None:
    text = flat(helper)
    names = {plot.plot_id: plot.name for plot in season.record.plots}
    for number, product in enumerate((UREA, TRIPLE, POTASH), 1):
        part = text[text.index(f"Round {number}: {product}") :]
        part = part.split(f"Round {number + 1}: ")[0]
        for line in (line for line in season.plan.lines if line.product == product):
            acres = season.areas[line.plot_id].spread_area_m2 / ACRE_M2
            amount = RATE[product] * acres
            row = part[part.index(f"{line.plot_id} {names[line.plot_id]}") :]
            whole, rest = divmod(amount, 50.0)
            bags = f"{whole:.0f} × 50 lb bag + {rest:.1f} lb" if whole else f"{rest:.1f} lb of a 50 lb bag"
            assert f"{product} {amount:,.1f} lb, {bags}" in row[:400], (line.plot_id, product)


def test_the_helper_gets_no_prices_sources_or_other_peoples_advice(helper: Path, season: SeasonView) -> None:
    text = flat(helper)
    for word in (
        "$",
        "Source",
        "Extension",
        "Bray",
        "Mehlich",
        "ppm",
        "Table",
        "pH ",
        "Buying",
        "Last word:",
    ):
        assert word not in text, word


def test_a_plot_without_work_is_left_out(season: SeasonView, tmp_path: Path) -> None:
    """It stands on a map as a neighbour at most, never as a stop."""
    idle = season.record.plots[1]
    rounds = tuple(
        replace(one, stops=tuple(stop for stop in one.stops if stop.plot_id != idle.plot_id))
        for one in season.rounds
    )
    write_booklet(replace(season, rounds=rounds), tmp_path / "o.pdf")
    assert idle.plot_id not in flat(tmp_path / "o.pdf")


def sizes(path: Path) -> set[float]:
    """Heights of all letters on the pages [point]."""
    found: set[float] = set()

    def seen(text: str, cm: list[float], tm: list[float], _font: object, size: float) -> None:
        if text.strip():
            found.add(round(size * math.hypot(tm[2], tm[3]) * math.hypot(cm[2], cm[3]), 2))

    for page in pypdf.PdfReader(path).pages:
        page.extract_text(visitor_text=seen)
    return found


def test_no_letter_is_smaller_than_11_points(helper: Path, season: SeasonView, tmp_path: Path) -> None:
    write_booklet(season, tmp_path / "driver.pdf", driver=True)
    assert min(sizes(helper)) >= 10.99
    assert min(sizes(tmp_path / "driver.pdf")) >= 10.99
    write_arithmetic(season, tmp_path / "a.pdf")
    assert min(sizes(tmp_path / "a.pdf")) < 10  # the measure sees small letters where there are some


@pytest.mark.parametrize("paper_size", ["us-letter", "a4"])
def test_a_round_of_15_stops_fits_on_4_pages(season: SeasonView, tmp_path: Path, paper_size: str) -> None:
    plots = tuple(
        replace(plot, access="Over the plank bridge behind the shed", notes="Stumps at the south edge")
        for plot in season.record.plots
    )
    line = next(line for line in season.plan.lines if line.product == UREA)
    stop = next(stop for stop in season.rounds[0].stops if stop.line_id == line.line_id)
    stops = tuple(replace(stop, plot_id=plot.plot_id, line_id=plot.plot_id) for plot in plots[:15])
    long = replace(season.rounds[0], stops=stops)
    view = replace(season, rounds=(long,), record=replace(season.record, plots=plots))
    options = PaperOptions(paper_size, rounds=("1",))
    made = write_booklet(view, tmp_path / "r.pdf", options)
    assert made.pages <= 4
    text = flat(tmp_path / "r.pdf")
    assert all(f"{plot.plot_id} {plot.name}" in text for plot in plots[:15])
    drawn = booklet.booklet(view, options).rounds[0].map
    assert [mark.text for mark in drawn.marks if mark.kind == "stop"] == [str(n) for n in range(1, 16)]


def test_a_round_has_one_number_on_paper_phone_and_command_line(season: SeasonView, tmp_path: Path) -> None:
    third = season.rounds[2]
    for asked in ("3", "round 3", "Round 3", third.round_id, third.title.upper()):
        assert find_round(season.rounds, asked) is third
    page = booklet.booklet(season, PaperOptions(rounds=("3",)))
    assert [(one.number, one.product) for one in page.rounds] == [("3", third.product)]
    with pytest.raises(InputError, match=r"no round '9'.*Give its number: 1 = "):
        find_round(season.rounds, "9")
    with pytest.raises(InputError, match=r"no round '-1'"):
        find_round(season.rounds, "-1")
    with pytest.raises(InputError, match="Make a plan first"):
        find_round((), "1")
    write_map(season, tmp_path / "m.html", MapOptions(round_id=third.round_id))


def test_mixed_fills_add_up_to_the_plan_by_hand(season: SeasonView) -> None:
    """60 lb and 170 lb in a hopper of 100 lb: 3 even fills of 20 + 56.67 = 76.67 lb."""
    first = season.rounds[0].stops[0]
    one = replace(first, product=UREA, mass_kg=60 * LB_KG, packages=1.2)
    other = replace(first, product=POTASH, mass_kg=170 * LB_KG, packages=3.4)
    said = recipe_words([one, other], [one.mass_kg, other.mass_kg], 100 * LB_KG, "us")
    assert said == f"3 even fills, each: 20.0 lb {UREA} + 56.7 lb {POTASH} = 76.7 lb"
    half = recipe_words([one, other], [0.0, 85 * LB_KG], 100 * LB_KG, "us")
    assert half == f"1 fill: 85.0 lb {POTASH} = 85.0 lb"  # the urea is on already
    assert "not stated" in recipe_words([one, other], [1.0, 1.0], None, "us")


def test_bags_of_two_products_are_not_counted_together(season: SeasonView) -> None:
    first = season.rounds[0].stops[0]
    stops = (
        replace(first, product=UREA, mass_kg=60 * LB_KG, packages=1.2, package="50 lb bag"),
        replace(first, product=POTASH, mass_kg=170 * LB_KG, packages=3.4, package="50 lb bag"),
    )
    mixed = replace(season.rounds[0], stops=stops, product=f"{UREA} + {POTASH}")
    (page,) = booklet.booklet(replace(season, rounds=(mixed,)), PaperOptions()).rounds
    assert [(item.product, item.packages) for item in page.carry] == [
        (UREA, "1 × 50 lb bag + 10.0 lb"),
        (POTASH, "3 × 50 lb bag + 20.0 lb"),
    ]
    assert len(page.places) == 1  # one plot, however much is in the hopper


def test_the_drivers_sheet_has_tons_limits_places_and_whom_to_call(
    season: SeasonView, tmp_path: Path
) -> None:
    lime = season.rounds[3]
    plot_id = lime.stops[0].plot_id
    plots = tuple(
        replace(
            plot,
            access="From the county road",
            entrance=(-93.05, 46.05),
            narrowest_m=18 * FT_M,
            weight_limit_kg=16000 * LB_KG,
            reach_months=(5, 6, 7, 10),
        )
        if plot.plot_id == plot_id
        else plot
        for plot in season.record.plots
    )
    here = shapely.Point(season.record.plots[0].boundary.centroid)
    ways = (
        Way("W-1", "contact", here, "Steward (invented)", notes="555-0100"),
        Way("W-2", "loading place", here, "Gravel yard"),
        Way("W-3", "bridge", here, "Plank bridge", load_limit_kg=3000 * LB_KG),
    )
    view = replace(season, record=replace(season.record, plots=plots, ways=ways))
    write_booklet(view, tmp_path / "d.pdf", driver=True)
    text = flat(tmp_path / "d.pdf")
    acres = season.areas[plot_id].spread_area_m2 / ACRE_M2
    assert f"2.00 tons/acre: {LIME} {2 * acres:,.2f} tons" in text  # 4000 lb/acre, 2000 lb a ton
    for said in (
        "From the county road; narrowest place 18 ft; carries at most 16,000 lb (8.00 tons); "
        "open May to Jul, Oct",
        "way in at 46.05000, -93.05000",
        "Call: Steward (invented), 555-0100",
        "Load at: Gravel yard",
        "Plank bridge, carries 3,000 lb: do not cross it, your load is up to 24,000 lb (12.00 tons)",
        "Rounds 1, 2, 3 are done with spreaders.",
    ):
        assert said in text, said
    assert UREA not in text
    assert "$" not in text


def test_a_helper_is_told_of_gates_and_of_a_bridge_too_weak_for_the_load(season: SeasonView) -> None:
    """The driver's sheet alone named them: a full spreader breaks a footbridge as well."""
    here = shapely.Point(season.record.plots[0].boundary.centroid)
    ways = (
        Way("W-1", "gate", here, "North gate"),
        Way("W-2", "bridge", here, "Foot bridge", load_limit_kg=1 * LB_KG),
        Way("W-3", "bridge", here, "Road bridge", load_limit_kg=80000 * LB_KG),
    )
    view = replace(season, record=replace(season.record, ways=ways))
    gate, foot, road = booklet.booklet(view, PaperOptions()).passages
    assert gate.startswith("North gate")
    assert foot.startswith("Foot bridge, carries 1.0 lb: do not cross it, your load is up to ")
    assert road.startswith("Road bridge, carries 80,000 lb")
    assert "do not cross it" not in road


def test_who_has_a_round_gets_a_sheet(season: SeasonView, tmp_path: Path) -> None:
    everything = PaperOptions()
    assert has_rounds(season, everything, driver=True)
    assert not has_rounds(fresh(sample_view(25)), everything, driver=True)
    assert not has_rounds(season, PaperOptions(rounds=("4",)), driver=False)
    with pytest.raises(InputError, match="heavy machine"):
        write_booklet(fresh(sample_view(25)), tmp_path / "x.pdf", driver=True)
    with pytest.raises(InputError, match="no round to spread"):
        write_booklet(sample_view(3, with_plan=False), tmp_path / "x.pdf")
    # asked for by name it is printed for a helper all the same
    assert has_rounds(season, PaperOptions(rounds=("4",), reader="helper"), driver=False)


def test_cautions_go_once_to_who_can_act_on_them(season: SeasonView) -> None:
    urea = season.cautions[1]
    told = (
        replace(
            urea, rule="a", line="Not on snow today.", readers=("spreader", "driver"), product="", where=()
        ),
        replace(urea, rule="b", line="Not on snow today.", readers=("spreader",)),
        replace(urea, rule="c", text="Leave nitrogen out.", line="", readers=("planner",)),
        replace(urea, rule="d", line="Tarp the load.", readers=("driver",), product=LIME),
        replace(urea, rule="e", line="Only for potash.", readers=("spreader",), product=POTASH),
    )
    view = replace(season, cautions=told)
    page = booklet.booklet(view, PaperOptions())
    said = [*page.everyday, *(line for one in page.rounds for line in one.look_out)]
    assert sum("Not on snow today." in line for line in said) == 1
    assert not any("Leave nitrogen out." in line or "Tarp the load." in line for line in said)
    where = [one.product for one in page.rounds if any("Only for potash." in line for line in one.look_out)]
    assert where == [POTASH]
    (truck,) = booklet.booklet(view, PaperOptions(), driver=True).rounds
    assert any("Tarp the load." in line for line in truck.look_out)


def test_a_part_of_a_plot_says_of_how_much(season: SeasonView) -> None:
    """Half the pounds at the same rate go on half the ground."""
    stop = season.rounds[0].stops[0]
    whole = season.areas[stop.plot_id].spread_area_m2
    half = replace(stop, mass_kg=stop.rate_kg_ha * whole / HA_M2 / 2)
    page = booklet.booklet(
        replace(season, rounds=(replace(season.rounds[0], stops=(half,)),)), PaperOptions()
    )
    acres = whole / ACRE_M2
    assert page.rounds[0].places[0].ground.startswith(f"{acres / 2:.2f} acres of {acres:.2f} acres")


def test_a_stop_says_when_and_how(season: SeasonView, tmp_path: Path) -> None:
    """A helper who is not told to work it in leaves it on top; where nobody says how, nothing is printed."""
    plan = season.plan
    assert plan is not None
    (stop, other) = season.rounds[0].stops[:2]
    days = Window("before seeding", dt.date(2026, 4, 15), dt.date(2026, 5, 20))
    dated = Job("J1", stop.plot_id, None, "", (stop.line_id,), 1.0, 1.0, Decimal(0), window=days)
    jobs = (
        replace(dated, placement="worked in within a day"),
        Job("J2", other.plot_id, None, "", (other.line_id,), 1.0, 1.0, Decimal(0), reason="no page says"),
    )
    view = replace(season, plan=replace(plan, jobs=jobs))
    write_booklet(view, tmp_path / "b.pdf", PaperOptions(rounds=("1",)))
    text = flat(tmp_path / "b.pdf")
    said = "When and how: before seeding, 2026-04-15 to 2026-05-20, worked in within a day"
    assert text.count("When and how:") == text.count(said) == 1
    assert text.index(stop.plot_id) < text.index(said)


def test_liquids_go_by_the_gallon(season: SeasonView, tmp_path: Path) -> None:
    from loamwright.supplies.records import Form
    from loamwright.units import LB_GAL_KG_M3

    wet = [
        replace(p, form=Form.LIQUID, density_kg_m3=10 * LB_GAL_KG_M3) if p.product == UREA else p
        for p in season.record.products
    ]
    view = replace(season, record=replace(season.record, products=tuple(wet)))
    page = booklet.booklet(view, PaperOptions(rounds=("1",))).rounds[0]
    stop = season.rounds[0].stops[0]
    gallons = stop.mass_kg / LB_KG / 10  # 10 lb a gallon
    assert page.places[0].items[0].amount.startswith(f"{gallons:.1f} gal (")
    assert page.places[0].rate.startswith(f"{RATE[UREA] / 10:.1f} gal/acre (")


def test_hostile_names_and_metric_print(tmp_path: Path) -> None:
    write_booklet(sample_view(25, hostile=True), tmp_path / "o.pdf")
    text = re.sub(r"\s+", "", flat(tmp_path / "o.pdf").replace("\u200b", ""))
    assert "#letx=1$x^2$@cite*b*_i_[c]" in text
    write_booklet(fresh(sample_view(8, units="metric")), tmp_path / "m.pdf", PaperOptions("a4"))
    said = flat(tmp_path / "m.pdf")
    assert " kg/ha" in said
    assert " lb," not in said


def _records(root: type) -> set[type]:
    seen: set[type] = set()
    todo = [root]
    spaces = {**vars(booklet), **vars(drawings), **vars(paper), **vars(words)}
    while todo:
        record = todo.pop()
        if record in seen:
            continue
        seen.add(record)
        for field in dataclasses.fields(record):
            names = re.findall(r"[A-Z]\w+", str(field.type))
            todo += [spaces[n] for n in names if dataclasses.is_dataclass(spaces.get(n))]
    return seen


def test_the_template_shows_every_field_and_asks_for_no_other() -> None:
    """Both ways: a field nobody prints is dead, a name nobody fills breaks a page."""
    source = "".join((TEMPLATES / f"{name}.typ").read_text() for name in ("booklet", "style"))
    own = (TEMPLATES / "booklet.typ").read_text()
    fields = {f.name for record in _records(booklet.Booklet) for f in dataclasses.fields(record)}
    assert {name for name in fields if not re.search(rf"\.{name}\b", source)} == set()
    asked = set(re.findall(r"\b(?:d|r|p|item)\.([a-z_]+)\b", own))
    assert asked - fields - {"at", "typ"} == set()
