"""An order to a soil laboratory for the plots that are due, as a Modus 1 submit file.

Every sample carries the plot's id, so that the laboratory's result file names the plot when it comes back.
The file says where and how deep the cores were taken; which tests are wanted the laboratory's own form asks.

References
----------
AgGateway, Modus 1.0, modus_submit.xsd and modus_global.xsd: names, order and required parts of the elements.
"""

from __future__ import annotations

import datetime as dt
import xml.etree.ElementTree as ET
from pathlib import Path

from loamwright.errors import InputError, Level, Problem
from loamwright.files import write_whole
from loamwright.handoff.taskfile import xml_text
from loamwright.land import Plot
from loamwright.soil import INCH_M
from loamwright.work import SamplingPlan, SeasonView

CM_M = 0.01


def write_lab_order(
    view: SeasonView, path: Path, lab: str, taken_on: dt.date, depth_m: tuple[float, float]
) -> tuple[tuple[Path, ...], tuple[Problem, ...]]:
    """Write an order for the samples of every plot that is due.

    Parameters
    ----------
    view
        The season.
    path
        XML file to write.
    lab
        The laboratory.
    taken_on
        Day the cores were taken.
    depth_m
        Top and bottom of the slice [m].

    Returns
    -------
    tuple of Path and tuple of Problem
        The file; none, and a note, when no plot is due.

    Raises
    ------
    InputError
        When the depth is no whole number of inches or centimetres, or the file cannot be written.
    """
    due = [plot for plot in view.record.plots if _is_due(view, plot)]
    if not due:
        what = "no plot is due for a soil sample, so no order was written"
        return (), (Problem(view.record.info.name, what, "Nothing to do.", Level.NOTE),)
    root = ET.Element("ModusSubmit", Version="1.0")
    event = ET.SubElement(root, "Event")
    _about(event, view, lab, taken_on)
    soil = ET.SubElement(ET.SubElement(event, "EventSamples"), "Soil")
    _depth(soil, depth_m)
    for number, plot in enumerate(due, 1):
        _sample(soil, number, plot, view.sampling[plot.plot_id])
    ET.indent(root)
    text = '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
    write_whole(path, text)
    return (path,), ()


def _is_due(view: SeasonView, plot: Plot) -> bool:
    plan = view.sampling.get(plot.plot_id)
    return plan is not None and plan.due


def _text(parent: ET.Element, name: str, text: str, **attributes: str) -> None:
    ET.SubElement(parent, name, attributes).text = xml_text(text)


def _about(event: ET.Element, view: SeasonView, lab: str, taken_on: dt.date) -> None:
    info = view.record.info
    about = ET.SubElement(event, "EventMetaData")
    _text(about, "EventCode", f"{info.name} {taken_on.isoformat()}")
    _text(about, "EventDate", taken_on.isoformat())
    ET.SubElement(ET.SubElement(about, "EventType"), "Soil")
    profile = ET.SubElement(ET.SubElement(event, "FMISMetaData"), "FMISProfile")
    _text(profile, "Farm", info.name)
    _text(ET.SubElement(event, "LabMetaData"), "LabName", lab)
    _text(ET.SubElement(event, "SubmissionAttributes"), "SubmittedFor", info.name)


def _depth(soil: ET.Element, depth_m: tuple[float, float]) -> None:
    """Write the slice in whole inches, or else in whole centimetres: the standard knows no other."""
    for unit, length_m in (("in", INCH_M), ("cm", CM_M)):
        top, bottom = (round(value / length_m, 3) for value in depth_m)
        if top.is_integer() and bottom.is_integer():
            ref = ET.SubElement(ET.SubElement(soil, "DepthRefs"), "DepthRef", DepthID="1")
            _text(ref, "Name", f"{top:g}-{bottom:g} {unit}")
            _text(ref, "StartingDepth", f"{top:g}")
            _text(ref, "EndingDepth", f"{bottom:g}")
            _text(ref, "ColumnDepth", f"{bottom - top:g}")
            _text(ref, "DepthUnit", unit)
            return
    what = f"the slice from {depth_m[0]:g} to {depth_m[1]:g} m is no whole number of inches or centimetres"
    raise InputError((Problem("depth", what, "Give it as for example 0-6 in."),))


def _sample(soil: ET.Element, number: int, plot: Plot, plan: SamplingPlan) -> None:
    sample = ET.SubElement(soil, "SoilSample")
    about = ET.SubElement(sample, "SampleMetaData")
    _text(about, "SampleNumber", str(number))
    _text(about, "FMISSampleID", plot.plot_id)
    if plan.points:
        cores = ET.SubElement(about, "SubSamples")
        for core, (longitude, latitude) in enumerate(plan.points, 1):
            place = ET.SubElement(cores, "SubSample")
            _text(place, "SubSampleNumber", str(core))
            _text(place, "Geometry", f"POINT({longitude:.7f} {latitude:.7f})", epsg="4326")
    ET.SubElement(ET.SubElement(sample, "Depths"), "Depth", DepthID="1")
    if plot.name and plot.name != plot.plot_id:
        _text(sample, "Comments", plot.name)
