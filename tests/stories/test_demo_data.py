"""The demo's files hold what the demo is meant to show, and say that they are invented.

Geometry is checked with shapely and pyproj alone, not with the program's own code.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import json
import re
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import shapely
from pyproj import Geod, Transformer
from shapely.geometry import shape

from loamwright.errors import Level, has_errors
from loamwright.files import pricelists, settings, tables, textrows
from loamwright.supplies.lime_score import DOSE_LIMITS
from loamwright.supplies.records import Form
from loamwright.values import PropertyInfo, Settings
from loamwright.work.records import PropertyRecord

DEMO = Path(__file__).parents[2] / "demo_data"
ACRE = 4046.8564224
FT = 0.3048
SMALL = [f"AF-{n:02d}" for n in range(1, 17)]
GUIDELINE_CROPS = {"red clover", "alsike clover", "birdsfoot trefoil", "grass-legume mixture"}
GUIDELINE_CROPS.add("grasses for hay and pasture")
#: Metres east and north of the made-up place; distances are true to a few parts per million there.
PLANE = Transformer.from_crs(4326, "+proj=laea +lat_0=46.05 +lon_0=-93.05 +datum=WGS84", always_xy=True)


def features(name: str) -> dict[str, Any]:
    content = json.loads((DEMO / name).read_text(encoding="utf-8"))
    key = "plot_id" if name == "plots.geojson" else "keepout_id"
    read = {feature["properties"][key]: feature for feature in content["features"]}
    assert len(read) == len(content["features"])  # ids are unique
    return read


def rows(name: str) -> list[dict[str, str]]:
    with (DEMO / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.fixture(scope="module")
def plots() -> dict[str, Any]:
    return features("plots.geojson")


@pytest.fixture(scope="module")
def ground(plots: dict[str, Any]) -> dict[str, shapely.Geometry]:
    """Boundaries in degrees; the walked one closed."""
    shapes = {plot_id: shape(feature["geometry"]) for plot_id, feature in plots.items()}
    return {
        plot_id: shapely.Polygon(s.coords) if s.geom_type == "LineString" else s
        for plot_id, s in shapes.items()
    }


def flat(geometry: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(geometry, lambda x, y: PLANE.transform(x, y), interleaved=False)


def acres(geometry: shapely.Geometry) -> float:
    return abs(Geod(ellps="WGS84").geometry_area_perimeter(shapely.orient_polygons(geometry))[0]) / ACRE


def test_sizes(ground: dict[str, shapely.Geometry]) -> None:
    sizes = {plot_id: acres(s) for plot_id, s in ground.items()}
    assert sorted(sizes) == [*SMALL, "AF-17", "AF-18", "AF-19"]
    assert all(0.19 <= sizes[plot_id] <= 3.55 for plot_id in SMALL)
    assert sizes["AF-17"] == pytest.approx(11, abs=0.2)
    assert sizes["AF-18"] == pytest.approx(8, abs=0.2)


def test_shapes(plots: dict[str, Any], ground: dict[str, shapely.Geometry]) -> None:
    assert all(s.is_valid for s in ground.values())
    assert plots["AF-12"]["geometry"]["type"] == "LineString"  # walked by GPS
    assert plots["AF-07"]["geometry"]["type"] == "MultiPolygon"
    assert len(ground["AF-07"].geoms) == 2
    assert len(ground["AF-05"].interiors) == 1
    strip = shapely.minimum_rotated_rectangle(flat(ground["AF-19"])).area
    assert flat(ground["AF-19"]).area / strip < 0.1  # long and thin
    vertices = [len(s.exterior.coords) for s in ground.values() if s.geom_type == "Polygon"]
    assert min(vertices) >= 20  # drawn by hand, not rectangles


def test_plots_lie_apart_near_the_made_up_place(ground: dict[str, shapely.Geometry]) -> None:
    planes = {plot_id: flat(s) for plot_id, s in ground.items()}
    for first, second in combinations(planes, 2):
        assert planes[first].distance(planes[second]) > 5, (first, second)
    extent = shapely.unary_union(list(planes.values())).bounds
    side = (340 * ACRE) ** 0.5  # 340 acres
    assert max(abs(edge) for edge in extent) < side / 2


def test_keepouts(ground: dict[str, shapely.Geometry]) -> None:
    keepouts = features("keepouts.geojson")
    stated = {f["properties"]["kind"]: f["properties"]["setback"] for f in keepouts.values()}
    assert stated == {"creek": "25 ft", "pond": "", "dug well": "50 ft", "rock outcrop": "0 ft"}
    places = {f["properties"]["kind"]: flat(shape(f["geometry"])) for f in keepouts.values()}
    planes = {plot_id: flat(s) for plot_id, s in ground.items()}
    hole = shapely.Polygon(planes["AF-05"].interiors[0])
    assert hole.contains(places["pond"])
    assert planes["AF-10"].contains(places["rock outcrop"])
    near_creek = [p for p, s in planes.items() if s.intersects(places["creek"].buffer(25 * FT))]
    assert len(near_creek) >= 5
    assert not any(s.intersects(places["creek"]) for s in planes.values())
    assert [p for p, s in planes.items() if s.intersects(places["dug well"].buffer(50 * FT))] == ["AF-09"]


def test_entrances_are_at_the_edge(plots: dict[str, Any], ground: dict[str, shapely.Geometry]) -> None:
    stated = {
        plot_id: tuple(map(float, f["properties"]["entrance"].split(",")))
        for plot_id, f in plots.items()
        if "entrance" in f["properties"]
    }
    assert 5 <= len(stated) < len(plots)  # given for some
    for plot_id, place in stated.items():
        assert flat(shapely.Point(place)).distance(flat(ground[plot_id]).boundary) < 25, plot_id


def test_crops(plots: dict[str, Any]) -> None:
    crops = {plot_id: f["properties"]["crop"] for plot_id, f in plots.items()}
    assert set(crops.values()) > GUIDELINE_CROPS
    tests = {row["plot_id"]: row for row in rows("soil_tests.csv")}
    not_in_guideline = {p for p, crop in crops.items() if crop not in GUIDELINE_CROPS}
    without_advice = {p for p in not_in_guideline if not tests[p]["rec_unit"]}
    assert without_advice == {"AF-13"}  # must come out as unknown
    assert len(not_in_guideline) >= 6


def test_soil_tests(plots: dict[str, Any]) -> None:
    read, problems = tables.soil_tests_from(textrows.read_table(DEMO / "soil_tests.csv"), plots.keys())
    assert problems == ()
    assert set(plots) - {test.plot_id for test in read} == {"AF-16"}
    by_plot = {test.plot_id: test for test in read}
    assert by_plot["AF-14"].sampled_on == dt.date(2021, 4, 20)
    assert len([test for test in read if test.plot_id == "AF-07"]) == 2
    for plot_id in ("AF-06", "AF-08"):  # the old pines
        assert by_plot[plot_id].ph is not None
        assert by_plot[plot_id].ph < 5.5
        assert by_plot[plot_id].buffer_method == "Sikora"
    labs = {test.lab for test in read}
    assert len(labs) == 2
    with_advice = {test.lab for test in read if test.recommendation is not None}
    assert len(with_advice) == 1
    extractants = {(test.lab in with_advice, test.readings["P"].extractant) for test in read}
    assert extractants == {(True, "Mehlich-3"), (False, "Bray P1")}


def test_products() -> None:
    products, offers, problems = pricelists.products_from(textrows.read_table(DEMO / "products.csv"))
    assert not has_errors(problems)
    assert [offer.product for offer in offers if offer.price is None] == ["DAP 18-46-0"]
    assert len(offers) >= 15
    assert {product.form for product in products} == set(Form)
    assert len([product for product in products if product.form is Form.LIME]) == 2
    assert [offer.product for offer in offers if offer.in_stock] == ["Blend 19-19-19"]
    assert {offer.product for offer in offers if offer.divisible} == {"Potash 0-0-60", "Ag lime"}
    assert [p.ingredient for p in products if p.ingredient] == ["urea"]
    assert all(offer.priced_on is not None and offer.priced_on.year == 2026 for offer in offers)
    equipment = {name for product in products for name in product.equipment}
    assert equipment <= {
        spreader.name for spreader in settings.info_from(DEMO / "property.json").settings.spreaders
    }


def test_grades_in_names_are_those_in_the_columns() -> None:
    checked = 0
    for row in rows("products.csv"):
        if match := re.search(r"(\d+)-(\d+)-(\d+)", row["product"]):
            assert [row[name] for name in ("n", "p2o5", "k2o")] == list(match.groups()), row["product"]
            checked += 1
    assert checked >= 10


def test_applications_and_organic_inputs(plots: dict[str, Any]) -> None:
    entries, problems = tables.applications_from(
        textrows.read_table(DEMO / "applications.csv"),
        plots.keys(),
        PropertyRecord(PropertyInfo("Bare (invented)", 2026)),
    )
    assert problems == ()
    assert all(entry.applied_on.year == 2026 for entry in entries)
    ids = [entry.entry_id for entry in entries]
    assert [entry.replaces for entry in entries if entry.replaces] == [ids[2]]
    products = {row["product"] for row in rows("products.csv")}
    assert {entry.product for entry in entries} <= products
    inputs, problems = tables.organic_inputs_from(
        textrows.read_table(DEMO / "organic_inputs.csv"), plots.keys()
    )
    assert problems == ()
    assert inputs


def test_property_file() -> None:
    info = settings.info_from(DEMO / "property.json")
    assert (info.name, info.season) == ("Alder Fork Preserve", 2026)
    assert info.settings.lime_region == "Area 1"
    assert info.settings.spreaders
    assert {"N", "B"} <= set(info.settings.surplus_limit_kg_ha)


def test_every_choice_of_a_property_is_written_down(tmp_path: Path) -> None:
    """The keys of the table, each tried: one that the reader does not know is refused as misspelled."""
    readme = (DEMO / "README.md").read_text(encoding="utf-8")
    table = readme.partition("| key in `settings` |")[2]
    cells = [line.strip("| ").split(" | ")[0] for line in table.splitlines()]
    keys = {key for cell in cells for key in re.findall(r"`([a-z_]+)`", cell)}
    said = tmp_path / "property.json"
    said.write_text(json.dumps({"name": "A", "season": 2026, "settings": dict.fromkeys(keys)}))
    settings.info_from(said)  # null takes the default of a key that is known
    stored = {field.name for field in dataclasses.fields(Settings)}
    spelled = {  # kept in SI, or as two
        "min_rate_kg_ha": "min_rate",
        "gps_sigma_m": "gps_sigma",
        "hauling_cost_per_kg": "hauling_cost_per_ton",
        "surplus_limit_fraction": "surplus_limits",
        "surplus_limit_kg_ha": "surplus_limits",
    }
    assert {spelled.get(name, name) for name in stored} | {"spreading_cost_per_acre"} == keys
    assert all(f"`{limit.limit_id}`" in readme for limit in DOSE_LIMITS)


def test_everything_says_that_it_is_invented() -> None:
    assert "invented" in (DEMO / "README.md").read_text(encoding="utf-8").splitlines()[0]
    assert "Invented" in settings.info_from(DEMO / "property.json").about
    assert all("invented" in row["lab"] for row in rows("soil_tests.csv"))
    assert all("invented" in row["seller"] for row in rows("products.csv"))
    readme = (DEMO / "README.md").read_text(encoding="utf-8")
    for path in DEMO.iterdir():
        assert path.name in readme or path.name == "README.md", f"{path.name} is not in the README"


def test_kinds_are_told_from_content() -> None:
    kinds = {path.stem: tables.kind_of(textrows.read_table(path)) for path in DEMO.glob("*.csv")}
    assert kinds == {name: name.replace("_", " ") for name in kinds}
    assert len(kinds) == 4


def test_only_the_missing_price_is_worth_a_warning(plots: dict[str, Any]) -> None:
    _, _, problems = pricelists.products_from(textrows.read_table(DEMO / "products.csv"))
    (warning,) = (problem for problem in problems if problem.level is not Level.NOTE)
    assert "row 4" in warning.where
