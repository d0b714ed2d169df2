"""The machine task file: structure against the published schema rules, rates and areas by hand.

Nothing here says that a real terminal accepts the file; none was at hand.
"""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from pyproj import Geod
from sample_view import HOSTILE, LIME, UREA, sample_view

from loamwright.errors import InputError, Level
from loamwright.handoff.taskfile import DESIGNATOR_LIMIT, rate_value, task_file, write_task_file, xml_text
from loamwright.supplies.records import Form, Product

RULES = json.loads((Path(__file__).parents[1] / "published" / "iso11783_rules.json").read_text())
GEOD = Geod(ellps="WGS84")


def faults(root: ET.Element) -> list[str]:
    """Everything in which a task file breaks the rules of the schema."""
    found: list[str] = []
    ids = [e.get("A", "") for e in root.iter() if e.tag in ("FRM", "PFD", "PDT", "TSK")]
    found += [f"id {name} is used {n} times" for name, n in Counter(ids).items() if n > 1]
    for element in root.iter():
        rule = RULES["elements"].get(element.tag)
        if rule is None:
            found.append(f"element {element.tag} has no rule")
            continue
        children = Counter(child.tag for child in element)
        for tag, number in children.items():
            if tag not in rule["children"]:
                found.append(f"{tag} inside {element.tag}")
            elif rule["children"][tag][1] is not None and number > rule["children"][tag][1]:
                found.append(f"{number} {tag} inside {element.tag}")
        for tag, (least, _most) in rule["children"].items():
            if children[tag] < least:
                found.append(f"{element.tag} without {tag}")
        for name in element.attrib:
            if name not in rule["attributes"]:
                found.append(f"{element.tag} {name} is not an attribute")
        for name, limit in rule["attributes"].items():
            value = element.get(name)
            if value is None:
                if limit["use"] == "required":
                    found.append(f"{element.tag} {name} is missing")
                continue
            found += [f"{element.tag} {name}={value!r}: {text}" for text in _value_faults(value, limit, ids)]
    return found


def _value_faults(value: str, limit: dict[str, object], ids: list[str]) -> list[str]:
    texts = []
    if "enum" in limit and value not in limit["enum"]:
        texts.append("not in the list")
    if "most" in limit and len(value) > limit["most"]:
        texts.append("too long")
    for key in ("id", "idref"):
        if key in limit and not (re.fullmatch(rf"{limit[key]}-?[0-9]+", value) and 4 <= len(value) <= 14):
            texts.append("not an id")
    if "idref" in limit and value not in ids:
        texts.append("points nowhere")
    if "integer" in limit and not (
        re.fullmatch(r"-?[0-9]+", value) and limit["integer"][0] <= int(value) <= limit["integer"][1]
    ):
        texts.append("not a whole number in range")
    if "decimal" in limit and not (
        re.fullmatch(r"-?[0-9]+(\.[0-9]{1,9})?", value)
        and limit["decimal"][0] <= float(value) <= limit["decimal"][1]
    ):
        texts.append("not a decimal in range")
    if "hex_bytes" in limit and not re.fullmatch(rf"[0-9A-F]{{{2 * limit['hex_bytes']}}}", value):
        texts.append("not hexadecimal of that length")
    return texts


@pytest.mark.parametrize("plots", [1, 25, 120])
@pytest.mark.parametrize("hostile", [False, True])
def test_structure_follows_the_published_rules(plots: int, hostile: bool) -> None:
    root = ET.fromstring(task_file(sample_view(plots, hostile=hostile)).xml)
    assert faults(root) == []
    assert len(root.findall("PFD")) == plots


def test_the_rules_catch_a_broken_file() -> None:
    root = ET.fromstring(task_file(sample_view(4)).xml)
    task = root.find("TSK")
    assert task is not None
    task.set("E", "PFD99")
    task.set("B", "x" * 33)
    del task.attrib["G"]
    ET.SubElement(task, "PNT")
    value = task.find(".//PDV")
    assert value is not None
    value.set("A", "6")
    text = "\n".join(faults(root))
    for part in ("points nowhere", "too long", "TSK G is missing", "PNT inside TSK", "'6': not hexadecimal"):
        assert part in text


def test_rates_in_standard_units_by_hand() -> None:
    # 40 lb N/acre from urea at 46 % N: 40 / 0.46 = 86.9565 lb/acre; 1 lb/acre = 0.45359237 kg over
    # 0.40468564224 ha = 1.12085 kg/ha; 86.9565 × 1.12085 = 97.4653 kg/ha; × 100 = 9746.5 mg/m2.
    # Lime 4,000 lb/acre = 4483.40 kg/ha = 448,340 mg/m2.
    root = ET.fromstring(task_file(sample_view(25)).xml)
    products = {p.get("A"): p.get("B") for p in root.findall("PDT")}
    seen = Counter()
    for task in root.findall("TSK"):
        inside = [z for z in task.findall("TZN") if z.get("A") != "0"]
        assert inside
        for zone in inside:
            (pdv,) = zone.findall("PDV")
            seen[products[pdv.get("C")], pdv.get("A"), pdv.get("B")] += 1
    by_product = {name: {(ddi, int(v)) for n, ddi, v in seen if n == name} for name in products.values()}
    assert by_product[UREA] == {("0006", 9747)}
    assert by_product[LIME] == {("0006", 448340)}


def test_a_liquid_goes_by_volume_when_its_density_is_known() -> None:
    # 10 gal/acre: 37.85411784 L over 4046.8564224 m2 = 9353.96 mm3/m2 = 935,396 counts of 0.01.
    # At 1.30 kg/L that is 93.5396 L/ha × 1.30 = 121.6015 kg/ha.
    jug = Product("liquid", Form.LIQUID, density_kg_m3=1300.0)
    ddi, value = rate_value(121.60149, jug)
    assert (ddi, value) == ("0001", pytest.approx(935396, abs=1))
    assert rate_value(121.60149, replace(jug, density_kg_m3=None)) == ("0006", 12160)


def test_nothing_outside_the_zones() -> None:
    root = ET.fromstring(task_file(sample_view(25)).xml)
    for task in root.findall("TSK"):
        assert (task.get("H"), task.get("I"), task.get("J")) == ("0", "0", "0")
        outside = next(z for z in task.findall("TZN") if z.get("A") == "0")
        assert [p.get("B") for p in outside.findall("PDV")] == ["0"]
        assert outside.find("PLN") is None


def _area_m2(polygon: ET.Element) -> float:
    total = 0.0
    for ring in polygon.findall("LSG"):
        points = [(float(p.get("D", "")), float(p.get("C", ""))) for p in ring.findall("PNT")]
        assert points[0] == points[-1]
        area = abs(GEOD.polygon_area_perimeter(*zip(*points, strict=True))[0])
        total += area if ring.get("A") == "1" else -area
    return total


def test_boundaries_and_zones_keep_their_areas() -> None:
    """Holes, parts and setbacks included; nine decimals of a degree are a tenth of a millimetre."""
    view = sample_view(25)
    root = ET.fromstring(task_file(view).xml)
    for field in root.findall("PFD"):
        area = view.areas[field.get("B", "")]
        assert sum(_area_m2(p) for p in field.findall("PLN")) == pytest.approx(area.area_m2, rel=1e-6)
        assert field.get("D") == str(round(area.area_m2))
    for task in root.findall("TSK"):
        zones = [p for z in task.findall("TZN") for p in z.findall("PLN")]
        for plot_id in {zone.get("B", "") for zone in zones}:
            covered = sum(_area_m2(zone) for zone in zones if zone.get("B") == plot_id)
            assert covered == pytest.approx(view.areas[plot_id].spread_area_m2, rel=1e-6)
    # the sample has one plot in two parts and one with a hole
    assert any(len(f.findall("PLN")) == 2 for f in root.findall("PFD"))
    assert any(r.get("A") == "2" for r in root.iter("LSG"))


def test_ways_in_are_field_access_points() -> None:
    view = sample_view(4)
    root = ET.fromstring(task_file(view).xml)
    for plot, field in zip(view.record.plots, root.findall("PFD"), strict=True):
        marks = [(float(p.get("D", "")), float(p.get("C", ""))) for p in field.findall("PNT")]
        expected = [] if plot.entrance is None else [pytest.approx(plot.entrance, abs=1e-8)]
        assert marks == expected
        assert all(p.get("A") == "3" for p in field.findall("PNT"))


def test_passes_the_record_reports_are_left_out_and_named() -> None:
    view = sample_view(25)
    made = task_file(view)
    open_lines = [s for s in view.statuses if s.state.value == "nothing yet"]
    values = ET.fromstring(made.xml).findall("TSK/TZN/PDV")
    rounds = {one.product for one in view.rounds if any(s.product == one.product for s in open_lines)}
    assert made.tasks == len(rounds) == len(ET.fromstring(made.xml).findall("TSK"))
    in_parts = {p for p, a in view.areas.items() if a.spread is not None and a.spread.geom_type != "Polygon"}
    parts = {p: len(view.areas[p].spread.geoms) if p in in_parts else 1 for p in view.areas}
    inside = [value for value in values if value.get("B") != "0"]
    assert len(inside) == sum(parts[status.plot_id] for status in open_lines)
    done = [p for p in made.problems if p.level is Level.NOTE and "left out" in p.what]
    part = [p for p in made.problems if p.level is Level.WARNING]
    assert "AF-03 Urea 46-0-0" in done[0].what
    assert "AF-02 Urea 46-0-0" in part[0].what
    assert "which part is not known" in part[0].fix


def test_a_round_is_one_task_with_its_number() -> None:
    view = sample_view(25)
    root = ET.fromstring(task_file(view).xml)
    for number, (task, one) in enumerate(zip(root.findall("TSK"), view.rounds, strict=True), 1):
        assert (task.get("B") or "").startswith(f"Round {number} {one.product}"[:DESIGNATOR_LIMIT])
        codes = [int(zone.get("A", "")) for zone in task.findall("TZN")]
        assert codes == list(range(len(codes)))
        plots = list(dict.fromkeys(z.get("B") for z in task.findall("TZN") if z.get("A") != "0"))
        stops = [stop.plot_id for stop in one.stops]
        assert plots == [plot for plot in stops if plot in plots]  # visited in the round's order
        assert (task.get("E") is None) == (len(plots) > 1)


def test_a_mixed_load_is_one_task_with_a_rate_for_each_product() -> None:
    view = sample_view(25)
    view = replace(view, statuses=(), record=replace(view.record, applications=()))
    first, second = view.rounds[0], view.rounds[1]
    shared = {stop.plot_id for stop in first.stops} & {stop.plot_id for stop in second.stops}
    assert shared
    mixed = replace(first, stops=(*first.stops, *second.stops), product=f"{first.product} + {second.product}")
    view = replace(view, rounds=(mixed, *view.rounds[2:]))
    root = ET.fromstring(task_file(view).xml)
    assert faults(root) == []
    zones = root.findall("TSK")[0].findall("TZN")
    assert len(zones[0].findall("PDV")) == 2
    for zone in zones[1:]:
        assert len(zone.findall("PDV")) == (2 if zone.get("B") in shared else 1)


def test_more_zones_than_a_task_can_number_go_on_in_the_next() -> None:
    """Codes are one byte, 0 to 254 (schema); 300 plots in one round need two tasks."""
    view = sample_view(300)
    view = replace(view, statuses=(), record=replace(view.record, applications=()))
    plots = [line for line in view.plan.lines if line.product == UREA]
    assert len(plots) > 127
    stops = tuple(stop for one in view.rounds for stop in one.stops)
    root = ET.fromstring(task_file(replace(view, rounds=(replace(view.rounds[0], stops=stops),))).xml)
    assert faults(root) == []
    tasks = root.findall("TSK")
    assert len(tasks) >= 2
    named = [{z.get("B") for z in task.findall("TZN") if z.get("A") != "0"} for task in tasks]
    assert {line.plot_id for line in view.plan.lines} == set().union(*named)


def test_a_pass_on_a_part_of_a_plot_is_left_out_and_named() -> None:
    """Half the pounds at the same rate cover half the ground; which half, nobody wrote down."""
    view = sample_view(4)
    view = replace(view, statuses=(), record=replace(view.record, applications=()))
    line = view.plan.lines[0]
    half = replace(line, mass_kg=line.mass_kg / 2)
    made = task_file(replace(view, plan=replace(view.plan, lines=(half, *view.plan.lines[1:]))))
    (told,) = [p for p in made.problems if "left out" in p.what]
    assert f"{line.plot_id} {line.product}" in told.what
    assert "which part is not known" in told.fix
    assert told.level is Level.WARNING


def test_it_is_said_that_no_terminal_has_read_it() -> None:
    problems = task_file(sample_view(2)).problems
    assert any("has not been tried on a real terminal" in p.what and p.level is Level.NOTE for p in problems)


def test_long_and_strange_names_are_cut_and_said() -> None:
    view = sample_view(25, hostile=True)
    made = task_file(view)
    names = [e.get("B", "") for e in ET.fromstring(made.xml).iter() if e.tag in ("FRM", "PFD", "PDT")]
    assert max(map(len, names)) == DESIGNATOR_LIMIT
    assert any(name.startswith("<script>") for name in names)
    assert any("longer than the 32 characters" in p.what for p in made.problems)
    assert xml_text("a\x00b\ud800c" + HOSTILE[4]) == "abc" + HOSTILE[4]


def test_no_plan_gives_fields_without_tasks() -> None:
    made = task_file(sample_view(3, with_plan=False))
    root = ET.fromstring(made.xml)
    assert faults(root) == []
    assert made.tasks == 0
    assert [p.what for p in made.problems] == ["there is no plan, so there are no tasks in it"]


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    path, problems = write_task_file(sample_view(2), tmp_path)
    assert path == tmp_path / "TASKDATA" / "TASKDATA.XML"
    assert path.read_text(encoding="utf-8").startswith('<?xml version="1.0" encoding="UTF-8"?>')
    assert all(p.level is not Level.ERROR for p in problems)
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="file"):
        write_task_file(sample_view(2), tmp_path / "file")
