"""The season's work as an ISO 11783-10 task file for a tractor's task controller.

This file answers "what would a machine need to do the planned passes?" and writes it as
``TASKDATA/TASKDATA.XML``, version 4: the property (FRM), each plot with its boundary and entrance
(PFD), the products (PDT), and one planned task (TSK) for every round, with a treatment zone (TZN) for each
part of the area to spread on and the rate (PDV) of each product in the load. A task of several plots names
no field; one of more than 254 zones goes on in a second task.

**What has been checked, and what has not.** The tests check structure only: elements, attributes,
id patterns, lengths and ranges against the element and attribute rules of the public schema (see
References). No file has been loaded into a real terminal, none has been certified, and spreaders
differ in what they accept. Load it, look at the boundary and the rate on the screen, and check the
first load by hand before trusting it.

References
----------
ISO 11783-10 task file schema 4.3 (revision of 2018-06-04), published with the ISO 11783-11 data
dictionary at isobus.net. Data dictionary entities of ISO 11783-11: 1, setpoint volume per area
application rate, mm3/m2, resolution 0.01; 6, setpoint mass per area application rate, mg/m2,
resolution 1; both 0 to 2147483647. The schema prints no unit for areas; square metres are assumed.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from loamwright.errors import Level, Problem
from loamwright.files import write_whole
from loamwright.land import Plot, PlotArea, Shape, as_geojson
from loamwright.planning import PlanLine
from loamwright.supplies import Form, Product
from loamwright.units import HA_M2
from loamwright.version import __version__
from loamwright.work import SeasonView, WorkState, ground_m2

#: Longest designator the schema allows [characters].
DESIGNATOR_LIMIT = 32
#: Data dictionary entities, as four hexadecimal digits.
DDI_VOLUME_PER_AREA, DDI_MASS_PER_AREA = "0001", "0006"
#: What one count of a value stands for: [mm3/m2] and [mg/m2].
VOLUME_RESOLUTION, MASS_RESOLUTION = 0.01, 1.0
#: Most treatment zones a task can number: codes are one byte, 0 to 254, and 0 is taken.
MOST_ZONES = 254
_UNTRIED = Problem(
    "task file",
    "its structure follows the published schema, but it has not been tried on a real terminal",
    "Load it, and compare field, zone and rate on the screen with the work order before you drive.",
    Level.NOTE,
)
_OUTSIDE = "0"  # treatment zone code where nothing is spread


@dataclass(frozen=True, slots=True)
class TaskFile:
    """A task file as text.

    Parameters
    ----------
    xml
        The whole of ``TASKDATA.XML``.
    tasks
        Planned tasks in it [count].
    problems
        Passes left out, text cut short, densities missing.
    """

    xml: str
    tasks: int
    problems: tuple[Problem, ...]


def xml_text(text: str) -> str:
    """Drop the characters that no XML 1.0 file can hold (control characters and lone surrogates).

    References
    ----------
    W3C, Extensible Markup Language 1.0 (fifth edition), production 2, Char.

    Examples
    --------
    >>> xml_text("gate\\x0c 4")
    'gate 4'
    """
    return "".join(
        ch
        for ch in text
        if ch in "\t\n\r" or "\x20" <= ch <= "\ud7ff" or "\ue000" <= ch <= "\ufffd" or ch >= "\U00010000"
    )


def _designator(text: str) -> str:
    return " ".join(xml_text(text).split())[:DESIGNATOR_LIMIT]


def _number(value: float) -> str:
    return f"{value:.9f}"


def rate_value(rate_kg_ha: float, product: Product | None) -> tuple[str, int]:
    """Return the data dictionary entity and whole-number value of a product rate.

    Notes
    -----
    1 kg/ha = 10^6 mg / 10^4 m2 = 100 mg/m2. 1 m3/ha = 10^9 mm3 / 10^4 m2 = 10^5 mm3/m2.

    Examples
    --------
    >>> rate_value(97.5, None)
    ('0006', 9750)
    """
    if product is not None and product.form is Form.LIQUID and product.density_kg_m3:
        volume_mm3_m2 = rate_kg_ha / product.density_kg_m3 * 1e9 / HA_M2
        return DDI_VOLUME_PER_AREA, round(volume_mm3_m2 / VOLUME_RESOLUTION)
    return DDI_MASS_PER_AREA, round(rate_kg_ha * 1e6 / HA_M2 / MASS_RESOLUTION)


def _polygons(shape: Shape | None) -> list[list[list[tuple[float, float]]]]:
    """Rings of each part: the outer ring first, then holes, as (longitude, latitude)."""
    if shape is None:
        return []
    drawn = as_geojson(shape)
    parts = [drawn["coordinates"]] if drawn["type"] == "Polygon" else drawn["coordinates"]
    return [[[(point[0], point[1]) for point in ring] for ring in part] for part in parts]


def _add_polygon(
    parent: ET.Element, kind: str, name: str, rings: Sequence[Sequence[tuple[float, float]]]
) -> None:
    polygon = ET.SubElement(parent, "PLN", {"A": kind, "B": _designator(name)})
    for index, ring in enumerate(rings):
        line = ET.SubElement(polygon, "LSG", {"A": "1" if index == 0 else "2"})
        for longitude, latitude in ring:
            ET.SubElement(line, "PNT", {"A": "2", "C": _number(latitude), "D": _number(longitude)})


def _add_field(root: ET.Element, number: int, plot: Plot, area: PlotArea) -> None:
    field = ET.SubElement(
        root,
        "PFD",
        {
            "A": f"PFD{number}",
            "B": _designator(plot.plot_id),
            "C": _designator(plot.name or plot.plot_id),
            "D": str(round(area.area_m2)),
            "F": "FRM1",
        },
    )
    for rings in _polygons(plot.boundary):
        _add_polygon(field, "1", plot.plot_id, rings)
    if plot.entrance is not None:
        longitude, latitude = plot.entrance
        ET.SubElement(
            field, "PNT", {"A": "3", "B": "entrance", "C": _number(latitude), "D": _number(longitude)}
        )


@dataclass(frozen=True, slots=True)
class _Work:
    """What one task does: a round, or a part of it where it has more zones than a task can number."""

    name: str
    lines: tuple[PlanLine, ...]


def _works(view: SeasonView, lines: Sequence[PlanLine]) -> list[_Work]:
    """Gather lines by round, in the order and with the numbers of the rounds; a line in none stands alone."""
    by_id = {line.line_id: line for line in lines}
    works = []
    for number, one in enumerate(view.rounds, 1):
        mine = [by_id.pop(stop.line_id) for stop in one.stops if stop.line_id in by_id]
        timing = f" {one.timing.value}" if one.timing else ""
        name = f"Round {number} {one.product}{timing}"
        works += [_Work(name, tuple(part)) for part in _numberable(mine, view.areas)]
    works += [_Work(f"{line.plot_id} {line.product}", (line,)) for line in by_id.values()]
    return works


def _numberable(lines: Sequence[PlanLine], areas: Mapping[str, PlotArea]) -> Iterator[list[PlanLine]]:
    """Part lines so that the zones of their plots fit the codes of one task; a plot is not parted."""
    by_plot: dict[str, list[PlanLine]] = {}
    for line in lines:
        by_plot.setdefault(line.plot_id, []).append(line)
    part: list[PlanLine] = []
    zones = 0
    for plot_id, mine in by_plot.items():
        count = len(_polygons(areas[plot_id].spread))
        if zones + count > MOST_ZONES:
            yield part
            part, zones = [], 0
        zones += count
        part += mine
    if part:
        yield part


def _add_task(
    root: ET.Element,
    number: int,
    work: _Work,
    fields: Mapping[str, str],
    products: Mapping[str, tuple[str, Product | None]],
    areas: Mapping[str, PlotArea],
) -> None:
    plots = list(dict.fromkeys(line.plot_id for line in work.lines))
    attributes = {"A": f"TSK{number}", "B": _designator(work.name), "D": "FRM1"}
    if len(plots) == 1:
        attributes["E"] = fields[plots[0]]
    task = ET.SubElement(root, "TSK", attributes | {"G": "1", "H": _OUTSIDE, "I": _OUTSIDE, "J": _OUTSIDE})
    outside = ET.SubElement(task, "TZN", {"A": _OUTSIDE, "B": "nothing here"})
    for name in dict.fromkeys(line.product for line in work.lines):
        product_id, label = products[name]
        ET.SubElement(outside, "PDV", {"A": rate_value(0.0, label)[0], "B": "0", "C": product_id})
    code = 0
    for plot_id in plots:
        for rings in _polygons(areas[plot_id].spread):
            code += 1
            zone = ET.SubElement(task, "TZN", {"A": str(code), "B": _designator(plot_id)})
            _add_polygon(zone, "2", plot_id, rings)
            for line in (line for line in work.lines if line.plot_id == plot_id):
                product_id, label = products[line.product]
                ddi, value = rate_value(line.rate_kg_ha, label)
                ET.SubElement(zone, "PDV", {"A": ddi, "B": str(value), "C": product_id})


def _why_left_out(line: PlanLine, state: WorkState | None, areas: Mapping[str, PlotArea]) -> str:
    """Why a pass is not in the file; empty when it is."""
    area = areas[line.plot_id]
    if state in (WorkState.DONE, WorkState.OVER):
        return "the record says they are done"
    if state is WorkState.PART:
        return "they are partly done, and which part is not known: finish them by hand, or plan again"
    if area.spread is None:
        return "no area is left to spread on: look at the keep-outs"
    if len(_polygons(area.spread)) > MOST_ZONES:
        return f"their areas have over {MOST_ZONES} parts, more than a task can number"
    if ground_m2(line, areas) < area.spread_area_m2:
        return "they go on a part of the plot, and which part is not known: finish them by hand"
    return ""


def _left_out(lines: Mapping[str, list[PlanLine]]) -> list[Problem]:
    """One problem per reason, naming the passes."""
    problems = []
    for why, passes in lines.items():
        names = ", ".join(f"{line.plot_id} {line.product}" for line in passes[:5])
        more = f" and {len(passes) - 5} more" if len(passes) > 5 else ""
        level = Level.NOTE if "are done" in why else Level.WARNING
        count = "1 pass is" if len(passes) == 1 else f"{len(passes)} passes are"
        what = f"{count} left out ({names}{more})"
        problems.append(Problem("task file", what, f"{why[0].upper()}{why[1:]}.", level))
    return problems


def _long_names(view: SeasonView, used: Mapping[str, str]) -> list[Problem]:
    longest = [plot.name for plot in view.record.plots] + list(used) + [view.record.info.name]
    cut = [name for name in longest if len(" ".join(xml_text(name).split())) > DESIGNATOR_LIMIT]
    if not cut:
        return []
    return [
        Problem(
            "task file",
            f"{len(cut)} names are longer than the {DESIGNATOR_LIMIT} characters the format allows and were "
            f"cut, the first is {cut[0][:60]!r}",
            "Nothing to do; the plot's id stands beside its name.",
            Level.NOTE,
        )
    ]


def task_file(view: SeasonView) -> TaskFile:
    """Work the season's open passes into one task file."""
    root = ET.Element(
        "ISO11783_TaskData",
        {
            "VersionMajor": "4",
            "VersionMinor": "3",
            "ManagementSoftwareManufacturer": "loamwright",
            "ManagementSoftwareVersion": __version__,
            "DataTransferOrigin": "1",
        },
    )
    ET.SubElement(root, "FRM", {"A": "FRM1", "B": _designator(view.record.info.name)})
    fields = {}
    for number, plot in enumerate(view.record.plots, 1):
        fields[plot.plot_id] = f"PFD{number}"
        _add_field(root, number, plot, view.areas[plot.plot_id])
    lines = view.plan.lines if view.plan else ()
    labels = {product.product: product for product in view.record.products}
    used = {name: f"PDT{i}" for i, name in enumerate(dict.fromkeys(line.product for line in lines), 1)}
    for name, product_id in used.items():
        ET.SubElement(root, "PDT", {"A": product_id, "B": _designator(name), "F": "1"})
    states = {status.line_id: status.state for status in view.statuses if status.line_id}
    problems = [_UNTRIED] if lines else []
    problems += _long_names(view, used)
    left_out: dict[str, list[PlanLine]] = {}
    left: list[PlanLine] = []
    for line in lines:
        why = _why_left_out(line, states.get(line.line_id), view.areas)
        if why:
            left_out.setdefault(why, []).append(line)
            continue
        label = labels.get(line.product)
        if label is not None and label.form is Form.LIQUID and not label.density_kg_m3:
            problems.append(
                Problem(
                    f"task file, {line.product}",
                    "it is a liquid without a density, so its rate is given by weight",
                    "State the density in the products file.",
                    Level.WARNING,
                )
            )
        left.append(line)
    works = _works(view, left)
    products = {name: (product_id, labels.get(name)) for name, product_id in used.items()}
    for number, work in enumerate(works, 1):
        _add_task(root, number, work, fields, products, view.areas)
    problems += _left_out(left_out)
    if not lines:
        problems.append(
            Problem(
                "task file",
                "there is no plan, so there are no tasks in it",
                "Make a plan first.",
                Level.WARNING,
            )
        )
    ET.indent(root)
    xml = '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
    return TaskFile(xml, len(works), tuple(dict.fromkeys(problems)))


def write_task_file(view: SeasonView, folder: Path) -> tuple[Path, tuple[Problem, ...]]:
    """Write ``TASKDATA/TASKDATA.XML`` under a folder; copy the TASKDATA folder to the terminal's stick."""
    made = task_file(view)
    path = folder / "TASKDATA" / "TASKDATA.XML"
    write_whole(path, made.xml)
    return path, made.problems
