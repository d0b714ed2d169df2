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
    plots = {f.get("A"): f.get("B") for f in root.findall("PFD")}
    for task in root.findall("TSK"):
        area = view.areas[plots[task.get("E")] or ""]
        zones = [p for z in task.findall("TZN") for p in z.findall("PLN")]
        assert sum(_area_m2(p) for p in zones) == pytest.approx(area.spread_area_m2, rel=1e-6)
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
    assert made.tasks == len(open_lines) == len(ET.fromstring(made.xml).findall("TSK"))
    done = [p for p in made.problems if p.level is Level.NOTE and "left out" in p.what]
    part = [p for p in made.problems if p.level is Level.WARNING]
    assert "AF-03 Urea 46-0-0" in done[0].what
    assert "AF-02 Urea 46-0-0" in part[0].what
    assert "which part is not known" in part[0].fix


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
