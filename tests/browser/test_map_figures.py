"""What the page works out itself, against the program and against independent libraries."""

from __future__ import annotations

import datetime as dt
import json
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from sample_view import sample_view

from loamwright.fieldmap.contents import map_data
from loamwright.fieldmap.page import write_map
from loamwright.fieldmap.records import plain
from loamwright.planning import Job, PlanLine, Window
from loamwright.units import format_mass
from loamwright.values import Timing
from loamwright.work.ledger import line_statuses
from loamwright.work.records import Application, Done, SeasonView, WorkState

pytestmark = [pytest.mark.browser, pytest.mark.slow]

Open = Callable[..., Any]
MASSES_KG = [0.0, 0.01, 1.0, 22.6796185, 45.3, 453.5, 453.6, 1000.0, 1814.3, 1814.4, 1999.9, 2000.0, 34567.8]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_masses_are_written_as_the_program_writes_them(
    open_page: Open, maps: Callable[..., Any], ask_script: Callable[..., Any], units: str
) -> None:
    page = open_page(maps(1, units=units))
    texts = ask_script(page, "argument.map(massText)", MASSES_KG)
    assert texts == [format_mass(mass, units) for mass in MASSES_KG]


def test_distance_and_bearing(
    open_page: Open, maps: Callable[..., Any], ask_script: Callable[..., Any]
) -> None:
    """Against geographiclib on the ellipsoid, over the width of a property.

    Tolerance: Leaflet's sphere is up to 0.5 % off in distance; bearings over 2 km differ by under half
    a degree. Both are far below what a phone knows.
    """
    page = open_page(maps(1))
    rng = random.Random(5)
    for _ in range(20):
        a = (46.05 + rng.uniform(-0.01, 0.01), -93.05 + rng.uniform(-0.01, 0.01))
        b = (46.05 + rng.uniform(-0.01, 0.01), -93.05 + rng.uniform(-0.01, 0.01))
        truth = Geodesic.WGS84.Inverse(*a, *b)
        metres, degrees = ask_script(
            page,
            "((a, b) => [map.distance(a, b), bearing(a, b)])(L.latLng(argument[0]), L.latLng(argument[1]))",
            [a, b],
        )
        assert metres == pytest.approx(truth["s12"], rel=0.005)
        turn = (degrees - truth["azi1"] + 180) % 360 - 180
        assert abs(turn) < 0.5


def _jobs(lines: Sequence[PlanLine], opens: dt.date) -> tuple[Job, ...]:
    """A job for each line; of every three one has no window, one that opens then, one that opens in fall."""
    windows = (
        None,
        Window("then", opens, opens + dt.timedelta(25)),
        Window("fall", dt.date(2026, 9, 1), dt.date(2026, 10, 1)),
    )
    return tuple(
        Job(
            line.job_id,
            line.plot_id,
            line.timing,
            "",
            (line.line_id,),
            1,
            1,
            Decimal(0),
            window=windows[at % 3],
            part="rest" if at % 5 == 0 else "",
        )
        for at, line in enumerate(lines)
    )


def _season_with_split_lines() -> SeasonView:
    """Every line in three doses (its own time, another, any); entries on file that name no line, and some
    that the plan has counted."""
    view = sample_view(25)
    assert view.plan is not None
    lines = tuple(
        replace(line, line_id=f"{line.line_id}{dose}", timing=timing, mass_kg=line.mass_kg / 3)
        for line in view.plan.lines
        for dose, timing in (("", line.timing), ("-b", Timing.AFTER_HARVEST), ("-c", None))
    )
    entries = tuple(
        replace(
            entry,
            line_id=entry.line_id if place % 2 else "",
            timing=None if place % 3 else entry.timing,
            part=("", "east")[place % 2],
        )
        for place, entry in enumerate(view.record.applications)
    )
    lines = tuple(replace(line, job_id=f"J-{line.line_id}") for line in lines)
    counted = tuple(e.entry_id for e in entries[::4])
    plan = replace(view.plan, lines=lines, jobs=_jobs(lines, dt.date(2026, 5, 1)), counted_entries=counted)
    earlier = replace(plan, plan_id="P-earlier", jobs=_jobs(lines[1:], dt.date(2026, 6, 1)))
    statuses = line_statuses(plan, entries, 2026, plans=(earlier, plan))
    record = replace(view.record, plans=(earlier, plan), applications=entries)
    return replace(view, plan=plan, record=record, statuses=statuses)


def test_states_are_decided_as_the_ledger_decides_them(
    open_page: Open, ask_script: Callable[..., Any], tmp_path: Path
) -> None:
    """Random check-offs on the phone, some on a part; the same through ledger.py give the same states."""
    view = _season_with_split_lines()
    assert view.plan is not None
    rng = random.Random(11)
    entries: list[dict[str, Any]] = []
    on_file = [entry.entry_id for entry in view.record.applications]
    for number in range(160):
        line = rng.choice(view.plan.lines)
        share = rng.choice([0.0, 0.3, 0.5, 0.94, 0.95, 1.0, 1.05, 1.06, 2.0])
        earlier = rng.choice([*on_file, *(entry["entry_id"] for entry in entries)]) if number % 4 == 0 else ""
        entries.append(
            {
                "entry_id": f"phone-{number}",
                "plot_id": line.plot_id,
                "product": line.product,
                "done": "done" if share else "not done",
                "applied_on": "2026-05-20",
                "mass_kg": share * line.mass_kg,
                "timing": rng.choice([line.timing, line.timing, None, Timing.AT_PLANTING]),
                "line_id": rng.choice([line.line_id, "", "", "L-of-an-older-plan"]),
                "plan_id": rng.choice([None, None, view.plan.plan_id, "P-earlier", "P-unknown"]),
                "job_id": line.job_id,
                "replaces": earlier,
                "reason": "as it came",
                "area_m2": rng.choice([None, 0.2, 0.5, 1]),
            }
        )
    for entry in entries:
        if entry["area_m2"] is not None:
            entry["area_m2"] *= view.areas[entry["plot_id"]].spread_area_m2
    page = open_page(write_map(view, tmp_path / "map.html").path)
    key = plain(map_data(view))["store_key"]
    page.evaluate(
        "([key, kept]) => localStorage.setItem(`${key}/entries`, JSON.stringify(kept))",
        [key, [{"entry": entry, "sent": ""} for entry in entries]],
    )
    shown = ask_script(
        page, "data.plots.flatMap((plot) => lineStates(plot).map((one) => [one.state, one.kg]))"
    )
    typed = tuple(
        Application(
            **{k: v for k, v in entry.items() if k not in ("applied_on", "done")},
            done=Done(entry["done"]),
            applied_on=view.record.applications[0].applied_on,
        )
        for entry in entries
    )
    # The file's own entries come first, as in the record the phone's entries are appended to.
    applications = view.record.applications + typed
    statuses = [
        s
        for s in line_statuses(view.plan, applications, 2026, areas=view.areas, plans=view.record.plans)
        if s.line_id
    ]
    by_plot = {plot.plot_id: place for place, plot in enumerate(view.record.plots)}
    statuses.sort(key=lambda s: by_plot[s.plot_id])
    assert {s.state for s in statuses} == set(WorkState)
    assert [state for state, _ in shown] == [s.state.value for s in statuses]
    assert [kg for _, kg in shown] == pytest.approx([s.applied_kg for s in statuses])


def test_codes_against_segno(
    open_page: Open, maps: Callable[..., Any], ask_script: Callable[..., Any]
) -> None:
    """Every version and mask, bit for bit against segno.

    Texts fill each version to its last letter: for shorter ones segno puts one more zero byte before the
    padding than ISO/IEC 18004 asks for, which readers ignore.
    """
    segno = pytest.importorskip("segno")
    from segno import consts

    rng = random.Random(3)
    texts = []
    for version in range(1, 26):
        bits = consts.SYMBOL_CAPACITY[version][consts.ERROR_LEVEL_L]
        pairs, rest = divmod(bits - 4 - (9 if version < 10 else 11), 11)
        length = 2 * pairs + (rest >= 6)
        texts.append("".join(rng.choice("ABCXYZ $%*+-./:0123456789") for _ in range(length)))
    page = open_page(maps(1))
    codes = ask_script(
        page,
        "argument.map((text) => [0, 1, 2, 3, 4, 5, 6, 7, undefined]"
        ".map((mask) => qrEncode(text, mask).map((row) => row.join(''))))",
        texts,
    )
    for version, (text, made) in enumerate(zip(texts, codes, strict=True), 1):
        wanted = []
        for mask in range(8):
            code = segno.make(text, error="l", mode="alphanumeric", mask=mask, boost_error=False, micro=False)
            assert code.version == version
            wanted.append(["".join(str(bit) for bit in row) for row in code.matrix])
        assert made[:8] == wanted
        assert made[8] in wanted  # the mask it chooses itself
    assert ask_script(page, "qrEncode(argument)", texts[-1] + "X") is None


def test_short_code_by_hand(
    open_page: Open, maps: Callable[..., Any], ask_script: Callable[..., Any]
) -> None:
    """ "AC-42" in version 1, the example of ISO/IEC 18004, 7.4.4: 0010 (alphanumeric), 000000101 (five),
    00111001110 (AC: 10 × 45 + 12), 11100111001 (-4: 41 × 45 + 4), 000010 (2), 0000 (end), then EC 11 EC 11 …

    The order is that of ISO/IEC 18004; of the 26 codewords of version 1-L 7 are check words.
    """
    page = open_page(maps(1))
    words = ask_script(page, "qrCodewords('AC-42', 1, 26)")
    bits = "0010" + "000000101" + "00111001110" + "11100111001" + "000010" + "0000"
    bits += "0" * (-len(bits) % 8)
    told = [int(bits[k : k + 8], 2) for k in range(0, len(bits), 8)]
    assert words[:19] == told + ([0xEC, 0x11] * 7)[: 19 - len(told)]

    # every Reed–Solomon codeword is zero at the roots of its divisor: 2^0 … 2^6 in GF(256), 0x11d
    def multiply(a: int, b: int) -> int:
        product = 0
        while b:
            product ^= a if b & 1 else 0
            a = (a << 1) ^ (0x11D if a & 0x80 else 0)
            b >>= 1
        return product

    root = 1
    for _ in range(7):
        value = 0
        for word in words:
            value = multiply(value, root) ^ word
        assert value == 0
        root = multiply(root, 2)


def test_ids_without_random_uuid(
    open_page: Open, maps: Callable[..., Any], ask_script: Callable[..., Any]
) -> None:
    import uuid

    page = open_page(maps(1))
    made = ask_script(
        page,
        "((c) => { const f = Crypto.prototype.randomUUID; delete Crypto.prototype.randomUUID; "
        "const ids = [newId(), newId()]; Crypto.prototype.randomUUID = f; return ids; })()",
    )
    assert len({uuid.UUID(one).hex for one in made}) == 2
    assert all(uuid.UUID(one).version == 4 and uuid.UUID(one).variant == uuid.RFC_4122 for one in made)


def test_the_page_reads_the_data_of_the_program(
    open_page: Open, maps: Callable[..., Any], ask_script: Callable[..., Any]
) -> None:
    page = open_page(maps(25, hostile=True))
    assert ask_script(page, "data") == json.loads(json.dumps(plain(map_data(sample_view(25, hostile=True)))))


def test_a_browser_that_cannot_unpack_says_so(open_page: Open, maps: Callable[..., Any]) -> None:
    page = open_page(maps(1), attack=True)
    page.context.add_init_script("delete window.DecompressionStream")
    page.reload()
    page.locator("#too-old").wait_for()
    assert "it needs one of 2023 or newer" in page.inner_text("#too-old")
