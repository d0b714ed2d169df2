"""What a GPS receiver and a globe viewer are given: places, outlines and work, as those devices show them.

This file answers "what stands under the point I touch?". A receiver shows a name, a line of text and a
symbol; a globe viewer a colour and a description. Figures are rounded as on paper; ids stand with names.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path

from loamwright import palette
from loamwright.files import LayerFeature, write_whole
from loamwright.land import Plot, label_point, outlines_of, point_shape
from loamwright.units import format_area
from loamwright.words import mass_words, packages_words, rate_words, timing_words
from loamwright.work import SeasonView

#: Symbols by what stands there; a receiver that has none of that name shows its usual one.
SYMBOLS = {
    "plot": "Flag",
    "way in": "Gate",
    "gate": "Gate",
    "bridge": "Bridge",
    "loading place": "Truck",
    "contact": "Telephone",
    "core": "Dot",
}
_KML = "http://www.opengis.net/kml/2.2"


def called(plot: Plot) -> str:
    """Id and name of a plot."""
    return f"{plot.plot_id} {plot.name}".strip()


def work_of(view: SeasonView) -> dict[str, list[str]]:
    """What is planned on each plot, a line for each product: rate, amount, packages, when."""
    system = view.record.info.units
    told: dict[str, list[str]] = {}
    for line in view.plan.lines if view.plan else ():
        packages = packages_words(line.packages, line.package, line.mass_kg, system)
        told.setdefault(line.plot_id, []).append(
            f"{line.product}, {timing_words(line.timing)}: {rate_words(line.rate_kg_ha, system)}, "
            f"{mass_words(line.mass_kg, system)}, {packages}"
        )
    return told


def places(view: SeasonView) -> list[LayerFeature]:
    """Plots, ways in, and what lies on the way, as points with a symbol."""
    system = view.record.info.units
    found = []
    for plot in view.record.plots:
        ground = format_area(view.areas[plot.plot_id].spread_area_m2, system)
        told = {
            "name": plot.plot_id,
            "desc": f"{called(plot)}; {ground} to spread",
            "sym": SYMBOLS["plot"],
        }
        found.append(LayerFeature(point_shape(label_point(plot.boundary)), told))
        if plot.entrance is not None:
            found.append(
                LayerFeature(
                    point_shape(plot.entrance),
                    {
                        "name": f"{plot.plot_id} way in",
                        "desc": plot.access or called(plot),
                        "sym": SYMBOLS["way in"],
                    },
                )
            )
    for way in view.record.ways:
        if way.kind != "track":
            told = {"name": way.name or way.kind, "desc": way.notes or way.kind, "sym": SYMBOLS[way.kind]}
            found.append(LayerFeature(point_shape(label_point(way.shape)), told))
    return found


def outlines(view: SeasonView) -> list[LayerFeature]:
    """The edges of the ground to spread on, keep-outs and setbacks taken off, as lines to drive inside of."""
    system = view.record.info.units
    return [
        LayerFeature(
            outlines_of(area.spread),
            {
                "name": called(plot),
                "desc": f"{format_area(area.spread_area_m2, system)} to spread",
                "type": "edge of the ground to spread",
            },
        )
        for plot in view.record.plots
        if (area := view.areas[plot.plot_id]).spread is not None
    ]


def stops(view: SeasonView) -> list[LayerFeature]:
    """The stops of each round, numbered ``8.2`` as on paper, at the way in or else on the plot."""
    system = view.record.info.units
    plots = {plot.plot_id: plot for plot in view.record.plots}
    found = []
    for number, one in enumerate(view.rounds, 1):
        for order, plot_id in enumerate(dict.fromkeys(stop.plot_id for stop in one.stops), 1):
            plot = plots[plot_id]
            amounts = [
                f"{stop.product} {mass_words(stop.mass_kg, system)}, "
                f"{packages_words(stop.packages, stop.package, stop.mass_kg, system)}"
                for stop in one.stops
                if stop.plot_id == plot_id
            ]
            rate = next(stop for stop in one.stops if stop.plot_id == plot_id)
            said = rate_words(rate.load_rate_kg_ha or rate.rate_kg_ha, system)
            found.append(
                LayerFeature(
                    point_shape(plot.entrance or label_point(plot.boundary)),
                    {
                        "name": f"{number}.{order} {plot_id}",
                        "desc": "; ".join([called(plot), said, *amounts]),
                        "sym": SYMBOLS["plot"],
                        "type": f"round {number}, {one.title}",
                    },
                )
            )
    return found


# ---------------------------------------------------------------------------------------------
# A globe viewer


def _style(parent: ET.Element, name: str, colour: str, opaque: str) -> None:
    """KML writes a colour as alpha, blue, green, red."""
    turned = colour[5:7] + colour[3:5] + colour[1:3]
    style = ET.Element(f"{{{_KML}}}Style", {"id": name})
    line = ET.SubElement(style, f"{{{_KML}}}LineStyle")
    ET.SubElement(line, f"{{{_KML}}}color").text = f"ff{turned}"
    ET.SubElement(line, f"{{{_KML}}}width").text = "2"
    fill = ET.SubElement(style, f"{{{_KML}}}PolyStyle")
    ET.SubElement(fill, f"{{{_KML}}}color").text = f"{opaque}{turned}"
    parent.insert(0, style)


def dress(path: Path, ids: Sequence[str], styles: Sequence[tuple[str, str]]) -> None:
    """Give each placemark of a KML file its id and the style of its product, in the order they stand there.

    References
    ----------
    OGC 12-007r2, KML 2.3: Style and styleUrl, colours as aabbggrr; ids are XML names.
    """
    ET.register_namespace("", _KML)
    tree = ET.parse(path)
    root = tree.getroot()
    document = root.find(f"{{{_KML}}}Document")
    assert document is not None
    marks = list(root.iter(f"{{{_KML}}}Placemark"))
    for name, colour in dict(styles).items():
        _style(document, name, colour, "99" if name != "no-work" else "33")
    used: set[str] = set()
    for number, (mark, ident, (style, _)) in enumerate(zip(marks, ids, styles, strict=True), 1):
        name = re.sub(r"[^A-Za-z0-9_.-]", "_", ident)
        name = f"plot-{name}" if f"plot-{name}" not in used else f"plot-{name}-{number}"
        used.add(name)
        mark.set("id", name)
        for old in mark.findall(f"{{{_KML}}}styleUrl"):
            mark.remove(old)
        url = ET.Element(f"{{{_KML}}}styleUrl")
        url.text = f"#{style}"
        before = [i for i, child in enumerate(mark) if child.tag.rpartition("}")[2] in _BEFORE_STYLE]
        mark.insert(before[-1] + 1 if before else 0, url)
    write_whole(path, ET.tostring(root, encoding="utf-8", xml_declaration=True))


#: What stands before the style in a placemark, by the schema's sequence.
_BEFORE_STYLE = (
    "name",
    "visibility",
    "open",
    "author",
    "link",
    "address",
    "phoneNumber",
    "Snippet",
    "description",
)


def product_styles(view: SeasonView) -> list[tuple[str, str]]:
    """Name and colour of each plot's style: that of the product most of which goes there."""
    order = {product.product: number for number, product in enumerate(view.record.products)}
    most: dict[str, tuple[float, str]] = {}
    for line in view.plan.lines if view.plan else ():
        most[line.plot_id] = max(most.get(line.plot_id, (0.0, "")), (line.mass_kg, line.product))
    styles = []
    for plot in view.record.plots:
        if plot.plot_id not in most:
            styles.append(("no-work", palette.GREY))
            continue
        number = order.get(most[plot.plot_id][1], 0)
        styles.append((f"product-{number + 1}", palette.product_fill(number).colour))
    return styles
