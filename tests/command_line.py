"""The command line as a test uses it, and small files to give it.

Nothing here computes: a command is run, and what it printed and how it ended is handed back.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from loamwright.commands.answer import TRACEBACK
from loamwright.commands.cli import app

#: Tests and entries are dated so that nothing is too old or out of season whenever the tests run.
TODAY = dt.datetime.now().astimezone().date()
SEASON = TODAY.year
SAMPLED = TODAY - dt.timedelta(days=30)

Ring = list[list[float]]

#: The rule under which the lime of `worked_files` goes on at once: without one it would be to decide.
WHOLE_LIME = "lime_dose_limit=noble-worked-in"


@dataclass(frozen=True, slots=True)
class Ran:
    """How a command ended: exit code, everything it printed with blanks squeezed, its JSON if any."""

    code: int
    text: str
    data: Any

    @property
    def problems(self) -> list[str]:
        """Each problem as one text: where, what, fix."""
        return [f"{p['where']}: {p['what']}. {p['fix']}" for p in self.data["problems"]]

    def says(self, *words: str) -> bool:
        """Tell whether one single problem holds all the words."""
        return any(all(word in problem for word in words) for problem in self.problems)


def run(*arguments: object, as_json: bool = True) -> Ran:
    """Run a command in this process, on a screen wide enough for its words; an error of ours is raised."""
    typed = [str(argument) for argument in arguments] + (["--json"] if as_json else [])
    done = CliRunner().invoke(app, typed, env={"COLUMNS": "240", TRACEBACK: "1"})
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    data = json.loads(done.stdout) if as_json else None
    return Ran(done.exit_code, " ".join(done.output.split()), data)


def ran_well(*arguments: object) -> Any:
    """Run a command that must end with code 0 and return its JSON."""
    done = run(*arguments)
    assert done.code == 0, done.text
    return done.data


def box(west: float = -93.05, south: float = 46.05, size: float = 0.001) -> Ring:
    """Return the ring of a square in degrees; counter-clockwise and closed."""
    east, north = west + size, south + size
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


def geojson(path: Path, *features: tuple[Mapping[str, object], Sequence[Ring]]) -> Path:
    """Write polygons with their properties."""
    shapes = [
        {"type": "Feature", "properties": dict(words), "geometry": {"type": "Polygon", "coordinates": rings}}
        for words, rings in features
    ]
    return written(path, json.dumps({"type": "FeatureCollection", "features": shapes}))


def written(path: Path, text: str) -> Path:
    """Write a text file."""
    path.write_text(text, encoding="utf-8")
    return path


def worked_files(folder: Path, sampled: dt.date = SAMPLED) -> tuple[Path, Path, Path]:
    """Write plots, soil tests and products of a small property: one plot sampled, one not.

    Both plots are squares of a thousandth of a degree. A-1 is red clover at 2 ton/acre, Bray P1 9 ppm,
    K 95 ppm, pH 5.4. On offer: a phosphate, a potash (one bag in stock) and a lime sold by the half ton.
    """
    crop = {"crop": "red clover", "yield_goal": "2 ton/acre", "seeding": "no", "legume_pct": 90}
    plots = geojson(
        folder / "plots.geojson",
        ({"plot_id": "A-1", "name": "Alder", **crop}, [box()]),
        ({"plot_id": "A-2", "name": "Birch", **crop}, [box(-93.048)]),
    )
    tests = written(
        folder / "soil_tests.csv",
        "plot_id,sampled_on,depth,ph,p,p_unit,p_extractant,k,k_unit,k_extractant\n"
        f"A-1,{sampled},0-6 in,5.4,9,ppm,Bray P1,95,ppm,ammonium acetate\n",
    )
    products = written(
        folder / "products.csv",
        "product,form,n,p2o5,k2o,enp,package,price,seller,in_stock,increment\n"
        "MAP 11-52-0,dry,11,52,0,,50 lb bag,34.00,Store,,\n"
        "Potash 0-0-60,dry,0,0,60,,50 lb bag,21.00,Store,1,\n"
        "Ag lime,lime,,,,1100,1 ton bulk,42.00,Quarry,,0.5 ton\n",
    )
    return plots, tests, products


def planned_property(folder: Path) -> Path:
    """Make a property of `worked_files`, its lime in one dose, and plan it."""
    path = folder / "own.gpkg"
    ran_well("new", path, "--name", "Own ground", "--season", SEASON)
    ran_well("import", path, *worked_files(folder))
    ran_well("set", path, "settings", WHOLE_LIME, "keeper=Steward")
    ran_well("plan", path)
    return path
