"""What the map says, against hand arithmetic from the round numbers at the head of sample_view.py."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from sample_view import ACRE_M2, in_bags, sample_view

from loamwright.errors import InputError
from loamwright.fieldmap.contents import map_data
from loamwright.fieldmap.legends import edges, graded
from loamwright.fieldmap.records import MapChoice, MapData, plain
from loamwright.land import Way
from loamwright.palette import NOTHING
from loamwright.units import FT_M, LB_KG
from loamwright.work.records import SeasonView


def acres(view: SeasonView, plot_id: str) -> float:
    return view.areas[plot_id].spread_area_m2 / ACRE_M2


def choice(data: MapData, layer: str, key: str) -> MapChoice:
    return next(c for one in data.layers if one.id == layer for c in one.choices if c.id == key)


def test_figures_of_a_plot_by_hand() -> None:
    view = sample_view(25)
    plot = map_data(view).plots[0]
    size = acres(view, "AF-01")
    assert plot.area == f"{size:.2f} acres"
    rates = {line.product: (line.rate, line.mass, line.packages) for line in plot.lines}
    # 40 lb N/acre from 46 % N; 60 lb P2O5/acre from 46 %; 30 lb K2O/acre from 60 %; bags of 50 lb
    assert rates["Urea 46-0-0"] == (
        "87.0 lb/acre",
        f"{40 / 0.46 * size:.1f} lb",
        in_bags(40 / 0.46 * size),
    )
    assert rates["Triple super 0-46-0"][0] == "130 lb/acre"
    assert rates["Potash 0-0-60"][:2] == ("50 lb/acre", f"{50 * size:.1f} lb")
    # 2000 lb ENP/acre from lime of 1000 lb ENP per ton: 2 tons/acre, sold in bulk
    assert rates["Ag lime, truck"] == ("2.00 tons/acre", f"{4000 * size:,.0f} lb", "")
    needs = {need.what: need for need in plot.needs}
    assert (needs["N"].rate, needs["N"].mass) == ("40 lb/acre", f"{40 * size:.1f} lb")
    assert needs["N"].credits[0].startswith("legume before: 20 lb/acre")
    assert needs["lime ENP"].rate == "2,000 lb/acre"


def test_totals_of_a_product_by_hand() -> None:
    view = sample_view(25)
    potash = choice(map_data(view), "work", "product Potash 0-0-60")
    total = sum(50 * acres(view, plot_id) for plot_id in view.areas)
    assert potash.note.startswith(f"In all {total:,.0f} lb = {in_bags(total)}.")


def test_costs_add_up() -> None:
    view = sample_view(25)
    assert view.plan is not None
    cost = choice(map_data(view), "cost", "cost")
    shown = [Decimal(text.strip("$").replace(",", "")) for text in cost.values]
    assert sum(shown) == sum(view.plan.plot_costs.values())
    assert f"${view.plan.total_cost:,.2f} in all" in cost.note


def test_not_tested_not_needed_and_needed_stay_apart() -> None:
    phosphate = choice(map_data(sample_view(25)), "need", "P2O5")
    # sample_view: index 3, 7, 11 … none; index 6, 13, 20 unknown (also where both fall together)
    unknown = [i for i in range(25) if i % 7 == 6]
    none = [i for i in range(25) if i % 4 == 3 and i not in unknown]
    names = [phosphate.classes[place].label for place in phosphate.of]
    assert [i for i, name in enumerate(names) if name == "unknown"] == unknown
    assert [i for i, name in enumerate(names) if name == "none needed"] == none
    assert {phosphate.values[i] for i in unknown} == {"?"}
    assert {phosphate.values[i] for i in none} == {"0"}
    assert "Not counted: 3 plots" in phosphate.note


def test_every_choice_counts_every_plot_once() -> None:
    data = map_data(sample_view(25))
    for layer in data.layers:
        for one in layer.choices:
            assert len(one.of) == len(one.values) == 25
            if layer.id != "done":  # counted in the page
                assert sum(c.plots for c in one.classes) == 25
                assert all(one.classes[place].plots for place in one.of)


def test_steps_lead_back_to_table_row_and_boundary() -> None:
    data = map_data(sample_view(25))
    sentences = [
        tuple(data.texts[word] for word in data.steps[place]) for place in data.plots[1].needs[0].steps
    ]
    row = "Invented Extension, Fertilizing Small Plots, 2024, Table 3, Bray P1 6-10 ppm, 2 ton/acre"
    assert sentences[1] == ("rate in the table row", "40", "lb N/acre", row)
    assert sentences[2][3] == "boundary"


def test_missing_setback_is_said() -> None:
    data = map_data(sample_view(25))
    said = {keepout.name: (keepout.setback, keepout.stated) for keepout in data.keepouts}
    assert said["Pond, water"] == ("setback not stated", False)
    assert said["Alder creek, water"] == ("setback 50 ft", True)
    assert said["Rock outcrop, rock"] == ("setback 0 ft", True)  # stated as zero is not missing


def test_ground_kept_free_never_reads_as_zero() -> None:
    view = sample_view(1)
    area = replace(view.areas["AF-01"], keepouts=(("KO-creek", 12.0), ("KO-pond", 404.7)))
    notes = map_data(replace(view, areas={"AF-01": area})).plots[0].area_notes
    assert "less than 0.01 acres kept free for Alder creek" in notes  # 12 m2 is 0.003 acre
    assert "0.10 acres kept free for Pond" in notes  # 404.7 m2 is 0.100 acre


def test_shapes_keep_their_size() -> None:
    """The drawn outline against the measured area, by geographiclib. Tolerance: corners to 1e-6 degree
    (0.1 m) and the 0.4 m drawing tolerance, on plots of half an acre and more: under 1 %."""
    view = sample_view(25)
    for plot in map_data(view).plots:
        total = 0.0
        for polygon in plot.outline:
            for number, ring in enumerate(polygon):
                shape = Geodesic.WGS84.Polygon()
                for lat, lon in ring[:-1]:
                    shape.AddPoint(lat, lon)
                total += abs(shape.Compute()[2]) * (-1 if number else 1)
        assert total == pytest.approx(view.areas[plot.id].area_m2, rel=0.01)


def test_ids_and_storage_stay_when_the_map_is_made_again() -> None:
    view = sample_view(25)
    later = replace(view, made_on=view.made_on.replace(day=20))
    one, two = map_data(view), map_data(later)
    assert one.store_key == two.store_key
    assert [line.id for plot in one.plots for line in plot.lines] == [
        line.id for plot in two.plots for line in plot.lines
    ]
    assert one.known_entries == tuple(entry.entry_id for entry in view.record.applications)


def test_map_for_one_round() -> None:
    view = sample_view(25)
    lime = view.rounds[3]
    data = map_data(view, lime.round_id)
    assert [plot.id for plot in data.plots] == [stop.plot_id for stop in lime.stops]
    assert {line.product for plot in data.plots for line in plot.lines} == {"Ag lime, truck"}
    assert len(data.context) >= 20  # the others, as outlines
    assert data.start_round == lime.round_id
    assert all(data.plots[stop.plot].lines[0].id == stop.line for stop in data.rounds[0].stops)


def test_unknown_round_and_no_plots_are_refused() -> None:
    with pytest.raises(InputError, match=r"no round 'R9'.*R1, R2, R3, R4"):
        map_data(sample_view(25), "R9")
    with pytest.raises(InputError, match="no plots"):
        map_data(sample_view(0))


def test_without_a_plan() -> None:
    data = map_data(sample_view(25, with_plan=False))
    assert (data.plan_id, data.rounds) == ("", ())
    assert "There is no plan yet for this season." in data.summary
    assert choice(data, "work", "all").note == "There is no plan yet for this season."
    assert all(not plot.lines and not plot.cost for plot in data.plots)


def test_right_to_left_names_are_fenced_off() -> None:
    view = sample_view(1)
    named = replace(view, croppings={"AF-01": replace(view.croppings["AF-01"], crop="תלתן \u202eabc")})
    crop = map_data(named).plots[0].crop
    assert crop.startswith("\u2068תלתן \u202eabc\u2069")  # UAX 9: FSI … PDI closes what the name left open


def test_empty_fields_are_left_out_and_zero_is_not() -> None:
    view = sample_view(25)
    assert view.plan is not None
    refused = replace(view.record.applications[0], mass_kg=0.0, line_id="", reason="")
    record = replace(view.record, applications=(refused,))
    data = map_data(replace(view, record=record))
    entry = next(plain(plot.on_file[0]) for plot in data.plots if plot.on_file)
    assert entry["mass_kg"] == 0.0
    assert "line_id" not in entry


@given(st.lists(st.floats(0.01, 5000), min_size=1, max_size=60))
def test_every_figure_falls_into_the_class_that_names_it(figures: list[float]) -> None:
    made = graded(
        "k",
        "K",
        [*figures, "none"],
        ["" for _ in range(len(figures) + 1)],
        palette="YlGnBu",
        write=lambda figure: f"{figure:.10g}",
        special={"none": NOTHING},
    )
    assert made.classes[made.of[-1]].label == "none"
    assert len(made.classes) <= 6
    for figure, place in zip(figures, made.of, strict=False):
        label = made.classes[place].label
        if " to under " in label:
            low, high = (float(part) for part in label.split(" to under "))
            assert low <= round(figure, 6) < high
        else:
            assert float(label) == pytest.approx(figure, abs=1e-6)


@given(
    st.lists(st.floats(0.01, 1e6), min_size=2, max_size=40, unique=True).filter(
        lambda v: max(v) - min(v) > 1e-3
    )
)
def test_edges_cover_the_range_in_round_steps(figures: list[float]) -> None:
    cuts = edges(figures)
    assert 2 <= len(cuts) <= 6
    assert cuts[0] <= min(figures)
    assert max(figures) < cuts[-1] * (1 + 1e-9)
    leading = f"{cuts[1] - cuts[0]:.3e}".split("e")[0].rstrip("0").rstrip(".")
    assert leading in ("1", "2", "2.5", "5")


def test_ways_carry_what_decides_whether_one_gets_there() -> None:
    view = sample_view(1)
    bridge = Way("W1", "bridge", shapely.Point(-93.05, 46.05), "Ford", 8 * FT_M, 6000 * LB_KG, "slow")
    track = Way("W2", "track", shapely.LineString([(-93.05, 46.05), (-93.051, 46.05)]))
    record = replace(view.record, ways=(bridge, track))
    data = map_data(replace(view, record=record))
    assert [(way.kind, way.text) for way in data.ways] == [
        ("bridge", "Ford, 8 ft wide, carries 6,000 lb (3.00 tons), slow"),  # 6,000 lb are three short tons
        ("track", "track"),
    ]
    assert data.ways[0].points == ((46.05, -93.05),)
    assert data.ways[1].paths == (((46.05, -93.05), (46.05, -93.051)),)


def test_setbacks_are_drawn_at_their_distance() -> None:
    """Each corner of the well's ring lies as far from it as the setback says, by GeographicLib.

    Tolerance: places are given to 0.1 m, and a ring's corners are thinned by up to 0.4 m.
    """
    view = sample_view(25)
    by_name = {one.name: one for one in map_data(view).keepouts}
    (well,) = [keepout for keepout in view.record.keepouts if keepout.keepout_id == "KO-well"]
    drawn = next(one for name, one in by_name.items() if name.startswith(well.name))
    lat, lon = drawn.points[0]
    ((ring,),) = drawn.ground
    assert well.setback_m is not None
    far = [Geodesic.WGS84.Inverse(lat, lon, *corner)["s12"] for corner in ring]
    assert all(abs(distance - well.setback_m) < 0.2 for distance in far)
    pond = next(one for name, one in by_name.items() if name.startswith("Pond"))
    assert (pond.stated, pond.ground) == (False, ())


def test_stops_say_what_to_load() -> None:
    """The sample's hopper holds 100 lb: 50 lb of potash an acre, counted on from stop to stop."""
    view = sample_view(25)
    stops = next(one for one in map_data(view).rounds if one.title.startswith("Potash")).stops
    spread = 0.0
    for stop, planned in zip(stops, view.rounds[2].stops, strict=True):
        mass = 50 * acres(view, planned.plot_id)
        first, last = math.floor(spread / 100) + 1, math.ceil((spread + mass) / 100)
        before = math.ceil(spread / 100) * 100 - spread
        spread += mass
        assert stop.load == (str(first) if first == last else f"{first}–{last}")
        assert stop.left == f"{last * 100 - spread:.1f} lb"
        bring = last * 100 - spread + mass - before
        assert stop.bring == ("" if bring < 1e-6 else f"{bring:.1f} lb")


def test_what_shares_a_hopper_is_one_stop_with_its_recipe() -> None:
    """60 lb and 170 lb in a hopper of 100 lb: 3 even fills of 20 + 56.67 = 76.67 lb."""
    view = sample_view(25)
    round_ = view.rounds[2]
    first = round_.stops[0]
    lb = 0.45359237
    ids = [line.line_id for line in view.plan.lines if line.plot_id == first.plot_id][:2] if view.plan else []
    mixed = tuple(
        replace(
            first, line_id=ident, product=name, mass_kg=pounds * lb, packages=None, left_on_vehicle_kg=None
        )
        for ident, name, pounds in zip(ids, ("Urea 46-0-0", "Potash 0-0-60"), (60, 170), strict=True)
    )
    own = replace(
        round_, product="Urea 46-0-0 + Potash 0-0-60", stops=mixed, loads=3, trips=None, last_load_kg=None
    )
    found = map_data(replace(view, rounds=(own,))).rounds[0]
    (stop,) = found.stops
    assert (stop.line, stop.others) == (ids[0], (ids[1],))
    assert stop.mass == "60.0 lb Urea 46-0-0 + 170.0 lb Potash 0-0-60"
    assert stop.recipe == "3 even fills, each: 20.0 lb Urea 46-0-0 + 56.7 lb Potash 0-0-60 = 76.7 lb"
    assert (stop.load, stop.bring, stop.left) == ("", "", "")
    assert "3 loads" in found.facts
