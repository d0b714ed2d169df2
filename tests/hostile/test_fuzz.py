"""Text in the shape of what readers read, made up by hypothesis: a value, or a sentence; never another error.

The seeds are fixed, so that a run is the same every time. Each example has ten seconds; the gate runs all of
them (some 2 minutes), the quick suite none.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import tempfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from command_line import TODAY, planned_property
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from loamwright import units
from loamwright.errors import LoamwrightError
from loamwright.files import (
    brought_from,
    check_guideline,
    check_property,
    choose,
    create,
    load,
    measure,
    parse_date,
    parse_percent,
    price_list,
    without_property,
)
from loamwright.files.settings import info_in
from loamwright.season import worked_out

MANY = settings(
    max_examples=400,
    deadline=dt.timedelta(seconds=10),
    suppress_health_check=list(HealthCheck),
    database=None,
)
FEW = settings(MANY, max_examples=150)

DIGITS = st.text("0123456789", min_size=1, max_size=6)
FIGURE = st.one_of(
    st.builds("".join, st.lists(st.one_of(DIGITS, st.sampled_from(",. '-+/½eE%")), min_size=1, max_size=6)),
    st.sampled_from(
        ("nan", "inf", "1e309", "-0", "٣", "1_000", "0x1F", "³", "1,234,56", "12.5.3", "9" * 400)
    ),
)
UNIT = st.sampled_from(
    ["lb", "kg/ha", "lb/acre", "ft", "m", "in", "ac", "°", "lb^9", "kg**2", "", "%", "Mlb", "\x00"]
)
QUANTITY = st.builds(
    lambda a, gap, b: f"{a}{gap}{b}", FIGURE, st.sampled_from(("", " ", "\u00a0", "\t")), UNIT
)
DATE = st.builds(
    lambda parts, mark: mark.join(parts),
    st.lists(st.one_of(DIGITS, st.sampled_from(("May", "Mai", "13", "2026", "24:00", "Z"))), max_size=4),
    st.sampled_from("-/. T"),
)
WORD = st.one_of(QUANTITY, DATE, st.text(max_size=8), st.sampled_from(('"', "=1+1", "\u202e", "<b>", "A-1")))


def says_something(error: LoamwrightError) -> None:
    """A refusal has a sentence."""
    assert str(error).strip()


@pytest.mark.slow
@pytest.mark.parametrize(
    "parse",
    [units.read_number, units.parse_length, units.parse_area, units.parse_mass, units.parse_rate, parse_date],
    ids=lambda parse: parse.__name__,
)
def test_a_figure_is_a_finite_value_or_a_sentence(parse: Callable[[str], object]) -> None:
    @seed(1)
    @MANY
    @given(st.one_of(QUANTITY, DATE, FIGURE))
    def holds(text: str) -> None:
        try:
            value = parse(text)
        except LoamwrightError as error:
            says_something(error)
            return
        for part in value if isinstance(value, tuple) else (value,):
            if isinstance(part, float):
                assert math.isfinite(part)

    holds()


@pytest.mark.slow
def test_a_percentage_is_a_value_or_a_sentence() -> None:
    @seed(2)
    @MANY
    @given(QUANTITY)
    def holds(text: str) -> None:
        try:
            assert math.isfinite(parse_percent(text))
        except LoamwrightError as error:
            says_something(error)

    holds()


RING = st.lists(
    st.lists(st.one_of(st.floats(), st.integers(-200, 200), st.none(), st.text(max_size=2)), max_size=4)
)
SHAPE = st.fixed_dictionaries(
    {
        "type": st.sampled_from(
            ("Polygon", "MultiPolygon", "LineString", "Point", "GeometryCollection", "X", 5)
        ),
        "coordinates": st.one_of(
            RING, st.lists(RING), st.lists(st.lists(RING, max_size=2), max_size=2), st.none()
        ),
    }
)
FEATURE = st.fixed_dictionaries(
    {
        "type": st.sampled_from(("Feature", "feature", None)),
        "properties": st.one_of(
            st.none(), st.dictionaries(st.sampled_from(("plot_id", "name", "crop")), WORD)
        ),
        "geometry": st.one_of(SHAPE, st.none(), st.integers()),
    }
)


def refused_well(call: Callable[[], object]) -> None:
    """It is done, or refused with a problem that says something."""
    try:
        call()
    except LoamwrightError as error:
        says_something(error)


@pytest.mark.slow
def test_map_files() -> None:
    @seed(3)
    @FEW
    @given(st.lists(FEATURE, max_size=3))
    def holds(features: list[object]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "plots.geojson"
            path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
            refused_well(lambda: measure(path))

    holds()


XML = st.recursive(
    st.text("ab &<>]0123456789.,-", max_size=12),
    lambda inner: st.builds(
        lambda tag, parts: f"<{tag}>{''.join(parts)}</{tag}>",
        st.sampled_from(
            ("Placemark", "Polygon", "outerBoundaryIs", "LinearRing", "coordinates", "trk", "trkseg", "a")
        ),
        st.lists(inner, max_size=3),
    ),
    max_leaves=12,
)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["kml", "gpx"])
def test_xml_maps(kind: str) -> None:
    @seed(4)
    @FEW
    @given(XML)
    def holds(inner: str) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"plots.{kind}"
            path.write_text(f'<?xml version="1.0"?><{kind}>{inner}</{kind}>', encoding="utf-8")
            refused_well(lambda: measure(path))

    holds()


@pytest.mark.slow
def test_tables_of_soil_tests_and_of_products() -> None:
    square = [[[-93.05, 46.05], [-93.049, 46.05], [-93.049, 46.051], [-93.05, 46.051], [-93.05, 46.05]]]
    shape = {"type": "Polygon", "coordinates": square}
    feature = {"type": "Feature", "properties": {"plot_id": "A-1"}, "geometry": shape}
    heads = (
        "plot_id",
        "sampled_on",
        "depth",
        "ph",
        "p",
        "p_unit",
        "product",
        "package",
        "price",
        "n",
        "p",
        "",
        "\t",
    )

    @seed(5)
    @FEW
    @given(
        st.lists(st.sampled_from(heads), min_size=1, max_size=7),
        st.lists(st.lists(WORD, max_size=8), max_size=5),
    )
    def holds(heading: list[str], rows: list[list[str]]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            plots, table = Path(folder) / "plots.geojson", Path(folder) / "t.csv"
            plots.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
            lines = [",".join(heading), *(",".join(row) for row in rows)]
            table.write_text("\n".join(lines), encoding="utf-8", errors="replace")
            refused_well(lambda: without_property(plots, [table], 2026, dt.date(2026, 11, 1)))
            refused_well(lambda: price_list(table))

    holds()


@pytest.mark.slow
def test_settings() -> None:
    keys = st.sampled_from(
        ("name", "season", "units", "guideline", "spreaders", "currency", "gps_sigma", "work", "x")
    )
    values = st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), WORD),
        lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(keys, inner, max_size=3)),
        max_leaves=8,
    )

    @seed(6)
    @FEW
    @given(st.dictionaries(keys, values))
    def holds(content: dict[str, object]) -> None:
        refused_well(lambda: info_in(Path("property.json"), content))

    holds()


FLIPS = st.lists(st.tuples(st.integers(0, 2**24), st.integers(0, 255)), min_size=1, max_size=12)


def flipped(content: bytes, flips: list[tuple[int, int]]) -> bytes:
    """Some bytes of a file replaced."""
    changed = bytearray(content)
    for place, byte in flips:
        changed[place % len(changed)] = byte
    return bytes(changed)


@pytest.mark.slow
def test_a_property_file_with_bytes_flipped(tmp_path: Path) -> None:
    content = planned_property(tmp_path).read_bytes()

    @seed(7)
    @FEW
    @given(FLIPS)
    def holds(flips: list[tuple[int, int]]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "own.gpkg"
            path.write_bytes(flipped(content, flips))
            refused_well(lambda: worked_out(load(path), TODAY))
            refused_well(lambda: check_property(path, False, TODAY))

    holds()


@pytest.mark.slow
def test_a_workbook_with_bytes_flipped(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    for row in (("product", "form", "n", "package", "price"), ("Urea 46-0-0", "dry", 46, "50 lb bag", 28.5)):
        book.active.append(row)
    book.save(tmp_path / "products.xlsx")
    content = (tmp_path / "products.xlsx").read_bytes()

    @seed(8)
    @FEW
    @given(FLIPS)
    def holds(flips: list[tuple[int, int]]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "products.xlsx"
            path.write_bytes(flipped(content, flips))
            refused_well(lambda: price_list(path))

    holds()


@pytest.mark.slow
def test_a_map_geopackage_with_bytes_flipped(tmp_path: Path) -> None:
    square = shapely.box(-93.05, 46.05, -93.049, 46.051)
    gpd.GeoDataFrame({"plot_id": ["A-1"]}, geometry=[square], crs="EPSG:4326").to_file(
        tmp_path / "plots.gpkg"
    )
    content = (tmp_path / "plots.gpkg").read_bytes()

    @seed(9)
    @FEW
    @given(FLIPS)
    def holds(flips: list[tuple[int, int]]) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "plots.gpkg"
            path.write_bytes(flipped(content, flips))
            refused_well(lambda: measure(path))

    holds()


NUTRIENT = st.sampled_from(
    "n p2o5 k2o p_element k_element s so3 mgo cao ca mg b zn fe nh4_n organic_n p".split()  # noqa: SIM905
)
SCORE = st.sampled_from("ecce enp enm env rnv ecc ep ai cce ac nv pass_8 pass_60 moisture".split())  # noqa: SIM905
PER = st.sampled_from(
    ("", "_pct", " (lb/ton)", "_lb_per_ton", "_kg_per_t", "_g_per_kg", "_g_per_l", "_lb_per_1000_gal")
)
#: A heading of a label's column: what, in what unit, on what basis.
HEADING = st.builds("".join, st.tuples(st.one_of(NUTRIENT, NUTRIENT, SCORE), PER))
SHARE = st.one_of(st.integers(0, 60).map(str), st.floats(0, 900).map("{:.2f}".format))


@pytest.mark.slow
def test_labels_as_printed() -> None:
    """No product is read whose nutrients weigh more than it does, or less than nothing."""
    read = []

    @seed(12)
    @MANY
    @given(
        st.lists(st.tuples(HEADING, SHARE, SHARE), min_size=1, max_size=4),
        st.sampled_from(("dry", "dry", "liquid", "lime")),
        st.sampled_from(("1.2 kg/l", "11 lb/gal", "")),
        st.one_of(st.just(()), st.tuples(st.integers(0, 2), st.integers(0, 8), WORD)),
    )
    def holds(
        columns: list[tuple[str, str, str]], form: str, density: str, odd: tuple[int, int, str] | tuple[()]
    ) -> None:
        rows = [["product", "form", "density", "package", "price", *(name for name, _, _ in columns)]]
        for at, name in ((1, "X"), (2, "Y")):
            rows.append([name, form, density, "1 ton bulk", "100", *(column[at] for column in columns)])
        if odd:  # one cell of it is something else
            row, place, word = odd
            rows[row][place % len(rows[row])] = word
        with tempfile.TemporaryDirectory() as folder:
            table = Path(folder) / "labels.csv"
            text = io.StringIO()
            csv.writer(text).writerows(rows)
            table.write_text(text.getvalue(), encoding="utf-8", errors="replace")
            refused_well(lambda: brought_from(table, ["A-1"]))
            try:
                products = price_list(table).products
            except LoamwrightError as error:
                says_something(error)
                return
        for product in products:
            shares = [*product.analysis_pct.values()]
            assert all(0 <= share <= 100 for share in shares)
            assert sum(shares) <= 100
            read.append(len(shares))

    holds()
    assert max(read) > 1


@pytest.mark.slow
def test_a_guideline_of_ones_own_with_parts_of_it_replaced(tmp_path: Path) -> None:
    """Whatever stands in its files, checking it says so, and using it refuses it."""
    names = ("guideline.toml", "p2o5.csv", "n.csv", "lime.csv")
    own = Path(__file__).parents[1] / "published" / "guidelines_own_example"
    whole = {name: (own / name).read_text("utf-8") for name in names}

    @seed(10)
    @FEW
    @given(st.sampled_from(names), st.integers(0, 10_000), st.integers(0, 12), st.one_of(WORD, st.just("\n")))
    def holds(name: str, place: int, length: int, word: str) -> None:
        with tempfile.TemporaryDirectory() as folder:
            guide = Path(folder) / "guide"
            guide.mkdir()
            for each, text in whole.items():
                at = place % len(text)
                changed = text[:at] + word + text[at + length :] if each == name else text
                (guide / each).write_text(changed, "utf-8", errors="replace")
            found = check_guideline(guide)
            assert all(problem.what and problem.where for problem in found)
            own_path = Path(folder) / "own.gpkg"
            create(own_path, info_in(Path("property.json"), {"name": "Own", "season": 2026}))
            refused_well(lambda: choose(own_path, [str(guide)], "", "", False))

    holds()


ENTRY = st.dictionaries(
    st.sampled_from(
        ("entry_id", "plot_id", "product", "done", "applied_on", "mass_kg", "area_m2", "timing", "part", "x")
    ),
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), WORD, st.lists(WORD, max_size=2)),
)


@pytest.mark.slow
def test_records_of_a_phone() -> None:
    @seed(11)
    @FEW
    @given(st.lists(st.one_of(ENTRY, WORD), max_size=3), st.one_of(st.just(2), st.integers(), st.none()))
    def holds(entries: list[object], version: object) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "records.json"
            content = {"format": "loamwright-records", "version": version, "entries": entries}
            path.write_text(json.dumps(content), encoding="utf-8")
            refused_well(lambda: brought_from(path, ["A-1"]))

    holds()
