"""An app on a small property, without a browser and without a network: requests go straight in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_visitor import HOST, Visitor
from starlette.testclient import TestClient

from loamwright import files
from loamwright.app.desk import Desk
from loamwright.app.guard import Passes
from loamwright.app.server import make_app

TODAY = dt.date(2026, 5, 4)
DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture
def visitor(tmp_path: Path) -> Iterator[Visitor]:
    """A visitor of an app whose property is the demo's, without a plan."""
    path = tmp_path / "fields.gpkg"
    files.create(path, files.info_from(DEMO / "property.json"))
    files.import_files(path, [DEMO / "plots.geojson", DEMO / "soil_tests.csv", DEMO / "products.csv"])
    desk, passes = Desk(None, lambda: TODAY), Passes(8743)
    desk.open(path)
    app = make_app(desk, passes, [HOST])
    with TestClient(app, base_url=f"http://{HOST}") as client:  # type: ignore[arg-type]
        client.get(f"/enter?code={passes.issue()}")
        yield Visitor(client, path)
