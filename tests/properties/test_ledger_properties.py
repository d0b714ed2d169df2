"""Ledger: replay gives the same balance; appending never changes what is written.

The balance is worked out twice: by `ledger` from the file, and by a few lines here that know only the
rule "the last entry of a chain of corrections stands".
"""

from __future__ import annotations

import datetime as dt
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from loamwright.files import property_file
from loamwright.land.records import Plot
from loamwright.values import PropertyInfo
from loamwright.work import ledger
from loamwright.work.records import Application, Done

PLOTS = ("A-1", "A-2", "A-3")
PRODUCTS = {"Urea": {"N": 0.46}, "MAP": {"N": 0.11, "P2O5": 0.52}, "Lime": {"lime ENP": 0.55}}


@st.composite
def histories(draw: st.DrawFn) -> list[Application]:
    """Entries as they are made in the field, some correcting an earlier one."""
    entries: list[Application] = []
    for number in range(draw(st.integers(0, 12))):
        done = draw(st.sampled_from(Done))
        mass = 0.0 if done is Done.NOT_DONE else draw(st.integers(0, 400)) / 4  # quarters add exactly
        entries.append(
            Application(
                f"e{number}",
                draw(st.sampled_from(PLOTS)),
                draw(st.sampled_from(sorted(PRODUCTS))),
                done,
                draw(st.dates(dt.date(2026, 1, 1), dt.date(2026, 12, 31))),
                mass,
                note=draw(st.text(st.characters(exclude_categories=("Cs",)), max_size=10)),
                replaces=draw(st.sampled_from(["", *(e.entry_id for e in entries)])),
            )
        )
    return entries


@contextmanager
def an_empty_file() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "p.gpkg"
        property_file.create(path, PropertyInfo("p", 2026))
        box = shapely.box(0, 0, 0.001, 0.001)
        with property_file.edit(path) as editor:
            editor.put_plots(Plot(plot_id, plot_id, box) for plot_id in PLOTS)
        yield path


def append(path: Path, entries: list[Application]) -> property_file.Appended:
    with property_file.edit(path) as editor:
        return editor.append_applications(entries)


def written(path: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT * FROM applications ORDER BY fid").fetchall()


def balance(path: Path) -> dict[str, dict[str, float]]:
    standing = ledger.season_entries(property_file.load(path).applications, 2026)
    applied, problems = ledger.applied_supplies(standing, PRODUCTS)
    assert problems == ()
    return {
        plot: {k: v for k, v in supplies.items() if v}
        for plot, supplies in applied.items()
        if any(supplies.values())
    }


def by_hand(entries: list[Application]) -> dict[str, dict[str, float]]:
    corrected = {e.replaces for e in entries}
    total: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for e in entries:
        if e.entry_id not in corrected:
            for supply, fraction in PRODUCTS[e.product].items():
                total[e.plot_id][supply] += e.mass_kg * fraction
    return {p: {k: v for k, v in s.items() if v} for p, s in total.items() if any(s.values())}


def same(first: dict[str, dict[str, float]], second: dict[str, dict[str, float]]) -> bool:
    return first.keys() == second.keys() and all(
        first[plot] == pytest.approx(second[plot], rel=1e-12) for plot in first
    )


@settings(max_examples=25, deadline=None)
@given(histories(), st.data())
def test_replay_gives_the_same_balance(entries: list[Application], data: st.DataObject) -> None:
    with an_empty_file() as path:
        assert append(path, entries).conflicts == ()
        once = balance(path)
    assert same(once, by_hand(entries))
    with an_empty_file() as path:  # in any order, in any portions, some of them several times
        shuffled = data.draw(st.permutations(entries))
        cut = data.draw(st.integers(0, len(entries)))
        append(path, list(shuffled[:cut]))
        append(path, list(shuffled))
        again = append(path, list(reversed(entries)))
        assert again.new == ()
        assert again.conflicts == ()
        assert same(balance(path), once)
        assert {e.entry_id: e for e in property_file.load(path).applications} == {
            e.entry_id: e for e in entries
        }


@settings(max_examples=25, deadline=None)
@given(histories(), st.integers(0, 12), st.floats(0, 1e6))
def test_appending_never_changes_a_row(entries: list[Application], cut: int, other_mass: float) -> None:
    from dataclasses import replace

    with an_empty_file() as path:
        append(path, entries[:cut])
        before = written(path)
        append(path, [replace(e, mass_kg=e.mass_kg + other_mass + 1) for e in entries[:cut]])
        assert written(path) == before  # an id says one thing for ever
        append(path, entries)
        assert written(path)[: len(before)] == before
        assert len(written(path)) == len(entries)
