"""What the map asks: exact shapes out, figures and faults back; a refusal changes nothing."""

from __future__ import annotations

import json
import math

import httpx
import pytest
from app_visitor import HOST, Visitor
from places import box, polygon

from loamwright import files, land

RING = [list(corner) for corner in polygon(box(0, 0, 100, 100)).exterior.coords]
SQUARE = {"type": "Polygon", "coordinates": [RING]}


def ask(visitor: Visitor, address: str, **data: object) -> httpx.Response:
    return visitor.client.post(address, json=data, headers={"origin": f"http://{HOST}"})


def test_shapes_come_with_every_digit(visitor: Visitor) -> None:
    told = visitor.get("/draw/shapes").json()
    held = {plot.plot_id: plot.boundary for plot in files.load(visitor.path).plots}
    assert {one["id"] for one in told["plots"]} == set(held)
    for one in told["plots"]:
        assert one["shape"] == json.loads(json.dumps(land.as_geojson(held[one["id"]])))


def test_a_square_of_a_hectare_is_measured_and_kept(visitor: Visitor) -> None:
    told = ask(visitor, "/draw/measure", shape=SQUARE, own=[]).json()
    # 10,000 m² / 4,046.8564224 m² = 2.471 acres
    assert told["area"] == "2.47 acres"
    assert told["area_m2"] == pytest.approx(10_000, rel=1e-6)
    kept = ask(visitor, "/draw/keep", what="plot", shape=SQUARE, name="New").json()
    assert kept["ok"]
    assert files.load(visitor.path).plots[-1].plot_id == kept["plot"]


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"shape": None},
        {"shape": {"type": "Polygon"}},
        {"shape": {"type": "Polygon", "coordinates": "here"}},
        {"shape": {"type": "Polygon", "coordinates": [[[0, 0], [1, "x"], [1, 1], [0, 0]]]}},
        {"shape": {"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]}},
        {"shape": {"type": "Sphere", "coordinates": []}},
        {"shape": {"type": "Polygon", "coordinates": [[[1e400, 0], [1, 0], [1, 1], [0, 0]]]}},
        {"shape": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}},
    ],
)
@pytest.mark.parametrize("address", ["/draw/measure", "/draw/keep"])
def test_what_is_no_shape_is_told(visitor: Visitor, address: str, data: dict[str, object]) -> None:
    before = visitor.path.read_bytes()
    told = visitor.client.post(
        address,
        content=json.dumps(
            {"what": "plot", **data} if address == "/draw/keep" and "own" not in data else data
        ),
        headers={"origin": f"http://{HOST}", "content-type": "application/json"},
    )
    answer = told.json()
    assert not answer["ok"]
    assert answer["problems"][0]["what"]
    assert told.status_code < 500
    assert visitor.path.read_bytes() == before


def test_too_many_corners_are_refused_and_deep_nesting_is_no_fault_of_ours(visitor: Visitor) -> None:
    ring = [[i * 1e-6, 0] for i in range(100_002)]
    told = ask(visitor, "/draw/measure", shape={"type": "Polygon", "coordinates": [ring]}).json()
    assert "more than 100,000 corners" in told["problems"][0]["what"]
    deep = '{"shape": {"type": "Polygon", "coordinates": ' + "[" * 50_000 + "]" * 50_000 + "}}"
    answer = visitor.client.post(
        "/draw/measure",
        content=deep,
        headers={"origin": f"http://{HOST}", "content-type": "application/json"},
    )
    assert answer.status_code == 422
    assert not answer.json()["ok"]


def test_sixty_thousand_corners_are_measured(visitor: Visitor) -> None:
    turns = [2 * math.pi * i / 60_000 for i in range(60_000)]
    ring = [[-93.05 + 0.002 * math.cos(t), 46.05 + 0.001 * math.sin(t)] for t in turns]
    told = ask(visitor, "/draw/measure", shape={"type": "Polygon", "coordinates": [[*ring, ring[0]]]}).json()
    assert told["ok"], told


def test_typed_sides(visitor: Visitor) -> None:
    sides = {"what": "rectangle", "middle": [-93.05, 46.05], "width": "100 ft"}
    laid = ask(visitor, "/draw/lay", **sides, length="300 ft")
    shape = laid.json()["shape"]
    told = ask(visitor, "/draw/measure", shape=shape, own=[]).json()
    assert told["area_m2"] == pytest.approx(30_000 * 0.3048**2, rel=1e-6)
    wrong = ask(visitor, "/draw/lay", **sides, length="300")
    assert wrong.status_code == 422
    assert "300" in wrong.json()["problems"][0]["what"]


def test_a_plot_redrawn_elsewhere_is_asked_about(visitor: Visitor) -> None:
    (one,) = [p for p in visitor.get("/draw/shapes").json()["plots"] if p["id"] == "AF-01"]
    first = ask(visitor, "/draw/keep", what="redraw", plot="AF-01", print=one["print"], shape=SQUARE)
    assert first.json()["ok"]
    again = ask(visitor, "/draw/keep", what="redraw", plot="AF-01", print=one["print"], shape=one["shape"])
    (problem,) = again.json()["problems"]
    assert "2.47 acres" in problem["what"]
    assert problem["choices"] == ["mine", "theirs"]
    assert ask(visitor, "/draw/keep", what="redraw", plot="AF-01", print="", shape=one["shape"]).json()["ok"]
