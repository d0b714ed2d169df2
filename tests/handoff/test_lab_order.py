"""The order to a laboratory: the elements that the Modus 1 submit schema wants, and ids that return."""

from __future__ import annotations

import datetime as dt
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from sample_view import sample_view

from loamwright.errors import InputError
from loamwright.files import read_sheet
from loamwright.handoff import write_lab_order

TAKEN = dt.date(2026, 4, 12)
SIX_INCHES = (0.0, 0.1524)

#: Children an element may have and must have (with *), by modus_submit.xsd and modus_global.xsd, Modus 1.
SCHEMA = {
    "ModusSubmit": "Event*",
    "Event": "EventMetaData* FMISMetaData LabMetaData* SubmissionAttributes* EventSamples* Comments",
    "EventMetaData": "EventCode* EventDate* EventType* EventExpirationDate",
    "EventType": "Soil",
    "FMISMetaData": "FMISEventID FMISProfile",
    "FMISProfile": "Grower Farm Field Sub-Field",
    "LabMetaData": "LabName* LabID LabEventID",
    "SubmissionAttributes": "SubmittedBy SubmittedFor",
    "EventSamples": "Soil",
    "Soil": "DepthRefs* SoilSample*",
    "DepthRefs": "DepthRef*",
    "DepthRef": "Name* StartingDepth EndingDepth ColumnDepth DepthUnit",
    "SoilSample": "SampleMetaData* Depths* Comments",
    "SampleMetaData": "SampleNumber* FMISSampleID SampleContainerID Geometry SubSamples",
    "SubSamples": "SubSample*",
    "SubSample": "SubSampleNumber* SubSampleID Geometry",
    "Depths": "Depth*",
}


def faults(element: ET.Element, under: str = "") -> list[str]:
    """What a schema check would say of an element and all below it."""
    allowed = SCHEMA.get(element.tag, "") if not (element.tag == "Soil" and under == "EventType") else ""
    names = [name.rstrip("*") for name in allowed.split()]
    needed = {name.rstrip("*") for name in allowed.split() if name.endswith("*")}
    there = [child.tag for child in element]
    found = [f"{element.tag}/{tag}: not allowed" for tag in there if tag not in names]
    found += [f"{element.tag}/{tag}: missing" for tag in sorted(needed - set(there))]
    return found + [fault for child in element for fault in faults(child, element.tag)]


def test_the_check_sees_faults() -> None:
    assert faults(ET.fromstring("<Depths><Deep/></Depths>")) == [
        "Depths/Deep: not allowed",
        "Depths/Depth: missing",
    ]


def test_an_order_for_the_plots_that_are_due(tmp_path: Path) -> None:
    view = sample_view(25)
    path = tmp_path / "order.xml"
    assert write_lab_order(view, path, "Bluff Creek Analytical (invented)", TAKEN, SIX_INCHES) == (
        (path,),
        (),
    )
    root = ET.parse(path).getroot()
    assert faults(root) == []
    assert [sample.text for sample in root.iter("FMISSampleID")] == ["AF-07", "AF-09"]
    assert [text.text for text in root.iter("EventDate")] == ["2026-04-12"]
    (depth,) = root.iter("DepthRef")
    assert {child.tag: child.text for child in depth} == {
        "Name": "0-6 in",
        "StartingDepth": "0",
        "EndingDepth": "6",
        "ColumnDepth": "6",
        "DepthUnit": "in",
    }
    points = [text.text for text in root.iter("Geometry")]
    longitude, latitude = view.sampling["AF-07"].points[0]
    assert points[0] == f"POINT({longitude:.7f} {latitude:.7f})"


def test_the_laboratorys_answer_names_the_plot(tmp_path: Path) -> None:
    """The order with results put into it is a result file: the label of each sample is the plot's id."""
    path = tmp_path / "order.xml"
    write_lab_order(sample_view(25), path, "Any Laboratory (invented)", TAKEN, SIX_INCHES)
    root = ET.parse(path).getroot()
    root.tag = "ModusResult"
    for depth in root.iter("Depth"):
        result = ET.SubElement(ET.SubElement(depth, "NutrientResults"), "NutrientResult")
        for name, text in (
            ("Element", "P"),
            ("Value", "21"),
            ("ValueUnit", "ppm"),
            ("ModusTestID", "S-P-M3.04"),
        ):
            ET.SubElement(result, name).text = text
    ET.ElementTree(root).write(path)
    contents = read_sheet(path)
    assert [sample.label for sample in contents.samples] == ["AF-07", "AF-09"]
    assert contents.questions == ()


def test_whole_centimetres_where_inches_are_not_whole(tmp_path: Path) -> None:
    path = tmp_path / "order.xml"
    write_lab_order(sample_view(25), path, "Any Laboratory (invented)", TAKEN, (0.0, 0.15))
    assert "<Name>0-15 cm</Name>" in path.read_text(encoding="utf-8")
    with pytest.raises(InputError, match="no whole number of inches or centimetres"):
        write_lab_order(sample_view(25), path, "Any Laboratory (invented)", TAKEN, (0.0, 0.1234))


def test_nothing_due_writes_nothing(tmp_path: Path) -> None:
    view = sample_view(3)
    view = replace(view, sampling={k: replace(s, due=False) for k, s in view.sampling.items()})
    made, (note,) = write_lab_order(view, tmp_path / "order.xml", "Any Laboratory", TAKEN, SIX_INCHES)
    assert made == ()
    assert "no plot is due" in note.what
    assert not (tmp_path / "order.xml").exists()


def test_hostile_names_are_text(tmp_path: Path) -> None:
    path = tmp_path / "order.xml"
    write_lab_order(sample_view(25, hostile=True), path, "<lab> & \x00 co", TAKEN, SIX_INCHES)
    root = ET.parse(path).getroot()
    assert faults(root) == []
    assert [text.text for text in root.iter("LabName")] == ["<lab> &  co"]


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "none").write_text("a file")
    with pytest.raises(InputError, match="cannot be written"):
        write_lab_order(sample_view(25), tmp_path / "none" / "x.xml", "Any Laboratory", TAKEN, SIX_INCHES)
