"""Modus result files, the open standard of lab data: version 1 XML, its JSON, and the slim JSON.

Read tolerantly: laboratories send files that the schema would refuse. Children come in any order, lists
may be objects, names may stand in attributes. What is missing is said or asked, not demanded.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from xml.etree import ElementTree

from loamwright.files.grids import refuse
from loamwright.files.sheets.figures import BUFFERS, FAMILY_TESTS, READING_UNITS
from loamwright.files.sheets.inquiry import NOT_KNOWN, Inquiry
from loamwright.files.sheets.modus_ids import ModusTest, read_test_id
from loamwright.files.sheets.records import (
    LabReading,
    Sample,
    SheetAmount,
    SheetContents,
    SheetRecommendation,
)
from loamwright.files.sheets.sampling_dates import DAY_OF_SAMPLING, is_day
from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.depths import Depth, read_depth
from loamwright.files.sheets.words.figures import Printed, read_printed
from loamwright.files.sheets.words.headings import SAME_NUMBER, read_heading
from loamwright.files.sheets.words.measures import read_unit
from loamwright.files.sheets.words.vocabulary import Analyte, vocabulary

Node = Any  #: dict, list, text, number or None: what XML and JSON have in common

_CALCULATED = "calculated by the lab, not measured"
_DEEPEST = 60


def is_modus(data: bytes) -> bool:
    """Tell whether bytes are XML or JSON, which among lab files is Modus."""
    return data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"<", b"{", b"[")


def read_modus(name: str, data: bytes, inquiry: Inquiry) -> SheetContents:
    """Read a Modus result file; raise `InputError` when it holds no results."""
    tree = _tree(name, data)
    events = [event for key in ("Event", "Events") for event in _find(tree, key)]
    reader = _Reader(inquiry)
    samples: list[Sample] = []
    lab = report = None
    if events:
        for event in events:
            samples.extend(_event(reader, event))
            lab = lab or _text(_first(event, "LabName"))
            report = report or _text(_first(event, "LabReportID")) or _text(_first(event, "LabEventID"))
    elif isinstance(tree, Mapping) and "samples" in tree:
        samples = _slim(reader, tree)
        lab = _text(_under(tree, "lab", "name"))
        report = _text(_under(tree, "lab", "report", "id")) or _text(tree.get("id"))
    if not samples:
        fix = "Ask the laboratory for the results as a Modus result file, CSV or XLSX."
        raise refuse(name, "this XML or JSON holds no Modus results", fix)
    return SheetContents(name, "soil tests", lab, report, samples=tuple(_asked(reader, samples)))


def lab_of(name: str, data: bytes) -> str | None:
    """Return the laboratory of a Modus file."""
    tree = _tree(name, data)
    return _text(_first(tree, "LabName")) or _text(_under(tree, "lab", "name"))


def _tree(name: str, data: bytes) -> Node:
    text = data.lstrip(b"\xef\xbb\xbf \t\r\n")
    if text[:1] == b"<":
        if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
            fix = "Ask for the file without it: Modus needs none."
            raise refuse(name, "the XML defines a document type or entities", fix)
        try:
            root = ElementTree.fromstring(text)
        except (ElementTree.ParseError, LookupError, ValueError) as error:
            raise refuse(name, f"the XML is damaged: {error}", "Ask for the file again.") from error
        return {_bare(root.tag): _element(root, 0, name)}
    try:
        return json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise refuse(name, f"the JSON is damaged: {error}", "Ask for the file again.") from error


def _bare(tag: str) -> str:
    return tag.rpartition("}")[2]


def _element(element: ElementTree.Element, depth: int, name: str) -> Node:
    if depth > _DEEPEST:
        raise refuse(name, f"the XML is nested more than {_DEEPEST} deep", "Ask for the file again.")
    attributes = {_bare(key): value for key, value in element.attrib.items()}
    if attributes.pop("nil", "") == "true":
        return None
    found: dict[str, Node] = dict(attributes)
    for child in element:
        key, value = _bare(child.tag), _element(child, depth + 1, name)
        if key in found:
            known = found[key]
            found[key] = [*known, value] if isinstance(known, list) else [known, value]
        else:
            found[key] = value
    text = (element.text or "").strip()
    if not found:
        return text or None
    return found | {"text": text} if text else found


# ---------------------------------------------------------------------------------------------
# Finding things in a tree


def _find(node: Node, name: str, depth: int = 0) -> Iterator[Node]:
    """Yield what stands under a name anywhere, lists taken apart, whatever its capitals."""
    if depth > _DEEPEST:
        return
    if isinstance(node, Mapping):
        for key, value in node.items():
            if key.casefold() == name.casefold():
                yield from value if isinstance(value, list) else [value]
            else:
                yield from _find(value, name, depth + 1)
    elif isinstance(node, list):
        for item in node:
            yield from _find(item, name, depth + 1)


def _first(node: Node, name: str) -> Node:
    return next((value for value in _find(node, name) if value is not None), None)


def _under(node: Node, *names: str) -> Node:
    for name in names:
        node = node.get(name) if isinstance(node, Mapping) else None
    return node


def _own(node: Node, name: str) -> Node:
    if not isinstance(node, Mapping):
        return None
    return next((value for key, value in node.items() if key.casefold() == name.casefold()), None)


def _members(node: Node, what: str, inquiry: Inquiry) -> Iterator[Mapping[str, Node]]:
    """Yield the objects that a list or an object holds; what is none is left out, and told."""
    items = node.values() if isinstance(node, Mapping) else node if isinstance(node, list) else [node]
    for item in items:
        if isinstance(item, Mapping):
            yield item
        elif item not in (None, "", []):
            inquiry.leave_out("a part that is not as the standard has it", f"{what}: {item!r:.60}")


def _text(node: Node) -> str | None:
    """Return a node's text: its own, or that of its ID attribute."""
    if isinstance(node, Mapping):
        return _text(node.get("text")) or _text(node.get("ID"))
    if isinstance(node, (str, int, float)) and not isinstance(node, bool):
        return str(node).strip() or None
    return None


def _with(node: Node, *names: str, depth: int = 0) -> Iterator[Mapping[str, Node]]:
    """Yield every object that has all of the names itself."""
    if depth > _DEEPEST:
        return
    if isinstance(node, Mapping):
        keys = {key.casefold() for key in node}
        if all(name.casefold() in keys for name in names):
            yield node
        else:
            for value in node.values():
                yield from _with(value, *names, depth=depth + 1)
    elif isinstance(node, list):
        for item in node:
            yield from _with(item, *names, depth=depth + 1)


# ---------------------------------------------------------------------------------------------
# Readings


@dataclass(frozen=True, slots=True)
class _Reader:
    """Collects questions while results are read, and days of sampling that cannot be read in one way."""

    inquiry: Inquiry
    unread_days: list[str] = field(default_factory=list)

    def day_of_sampling(self, text: str | None) -> Any:
        """Read the day of sampling; None when none is given, or one that must be asked about."""
        found = _day(text)
        if text and found is None:
            self.unread_days.append(text)
        return found

    def reading(
        self,
        element: str | None,
        value: Node,
        unit: str | None,
        ident: str | None,
        kind: str,
        rating: str | None,
    ) -> tuple[str, LabReading] | None:
        """Read one result: its name in this program and the reading."""
        if value is not None and _text(value) is None and value != "":
            self.inquiry.leave_out("a result whose value is not one figure", f"{element!r}: {value!r:.60}")
            return None
        test = read_test_id(ident)
        analyte = test.analyte or self._analyte(element, ident)
        if analyte is None:
            self.inquiry.leave_out(
                "a result whose element is not understood", f"{element!r} ({ident or 'no test id'})"
            )
            return None
        if ident and not test.known:
            self.inquiry.remark(f"{ident} is not a known test id: the figure is kept, its test not named")
        printed = read_printed(_text(value) or "", decimal_comma=False)
        if printed.blank:
            return None
        if analyte.unit == "none" and printed.unit not in (None, "none"):
            self.inquiry.leave_out(
                "a result in a unit that it cannot have", f"{element!r}: {printed.printed!r}"
            )
            return None
        index = test.index or kind == "index"
        name = "index" if index else self._unit(unit)
        if name is None and not index and not (unit or "").strip() and analyte.kind == "nutrient":
            name = self.inquiry.ask("unit", "unit of results that name none", element or "", READING_UNITS)
        name, contradicted = self._own_unit(printed, name, element)
        asked = ["extractant"] if self._asks(analyte, test, ident) else []
        reading = LabReading(
            printed.printed,
            printed.value,
            name,
            basis=analyte.name if analyte.form == "oxide" else None,
            below=printed.below,
            above=printed.above,
            rating=rating or printed.rating,
            as_printed=_as_printed(analyte, element),
            derived_from=_CALCULATED
            if analyte.kind == "nutrient" and (kind == "calculated" or test.calculated)
            else None,
            note=test.note,
            candidates=("unit",) if contradicted else (),
            heading=" ".join(text for text in (element, ident) if text),
        )
        answer = self._answer(analyte) if asked else None
        named = answer if answer not in (None, NOT_KNOWN) else test.test
        if asked and answer is None:
            test_field = "extractant" if analyte.kind == "nutrient" else "method"
            reading = replace(reading, candidates=(*reading.candidates, test_field))
        if analyte.kind == "nutrient":
            return analyte.element, replace(reading, extractant=named)
        return analyte.element, replace(reading, method=named)

    def _analyte(self, element: str | None, ident: str | None) -> Analyte | None:
        heading = read_heading(element or "")
        return heading.analyte if heading.known and heading.role in ("reading", "index") else None

    def _unit(self, text: str | None) -> str | None:
        bare = (text or "").strip("[] ")
        if not bare or bare.casefold() == "none":
            return None
        found = read_unit(bare)
        return None if found is None or found.names[0] == "none" else found.names[0]

    def _own_unit(self, printed: Printed, unit: str | None, element: str | None) -> tuple[str | None, bool]:
        """Return a figure's unit, and whether it is asked: a value may carry another than its result."""
        own = printed.unit
        if own in (None, "none", unit) or {unit, own} in SAME_NUMBER:
            return unit, False
        if unit is None:
            return own, False
        about = f"unit of {printed.printed!r}: the result says {unit}"
        answer = self.inquiry.ask(f"unit.{element}", about, element or "", (unit, own or ""))
        return (own, True) if answer is None else (None if answer == NOT_KNOWN else answer, False)

    def _asks(self, analyte: Analyte, test: ModusTest, ident: str | None) -> bool:
        return not ident and test.test is None and (bool(analyte.family) or analyte.kind == "buffer")

    def _answer(self, analyte: Analyte) -> str | None:
        if analyte.kind == "buffer":
            return self.inquiry.ask(
                "buffer", "which buffer the buffer pH is", "results without a test id", BUFFERS
            )
        tests = FAMILY_TESTS[analyte.family]
        about = f"extractant of {analyte.element}: no test id given"
        return self.inquiry.ask(f"test.{analyte.family}", about, "results without a test id", tests)


def _as_printed(analyte: Analyte, element: str | None) -> str | None:
    if analyte.form == "form":
        return analyte.name
    by_name = vocabulary().analytes.whole(element or "")
    return (
        by_name[0].name
        if by_name and by_name[0].form == "form" and by_name[0].element == analyte.element
        else None
    )


def _grouped(pairs: Iterator[tuple[str, LabReading] | None]) -> dict[str, tuple[LabReading, ...]]:
    found: dict[str, tuple[LabReading, ...]] = {}
    for pair in pairs:
        if pair is not None:
            found[pair[0]] = (*found.get(pair[0], ()), pair[1])
    return found


# ---------------------------------------------------------------------------------------------
# Version 1


def _event(reader: _Reader, event: Node) -> list[Sample]:
    depths = {_text(_own(ref, "DepthID")): ref for ref in _with(event, "DepthID", "Name")}
    crops = {_text(_own(ref, "RecID")): _text(_own(ref, "Name")) for ref in _with(event, "RecID", "Name")}
    samples = []
    for node in (*_find(event, "SoilSample"), *_find(event, "SoilSamples")):
        samples.extend(_sample(reader, event, node, depths, crops))
    return samples


def _sample(
    reader: _Reader,
    event: Node,
    node: Node,
    depths: Mapping[str | None, Node],
    crops: Mapping[str | None, str | None],
) -> list[Sample]:
    about = _own(node, "SampleMetaData") or {}
    names = [_text(_own(about, key)) for key in ("FMISSampleID", "SampleNumber")]
    field = _text(_first(event, "Field"))
    ordered = [name for name in dict.fromkeys((names[0], field, names[1])) if name]
    label = names[0] or names[1] or field
    day = reader.day_of_sampling(_text(_first(event, "EventDate")))
    corrects = (
        _text(_own(about, "OverwriteResult")) or str(_own(about, "OverwriteResult"))
    ).casefold() == "true"
    base = Sample(
        label,
        _text(_own(about, "SampleContainerID")),
        tuple(name for name in ordered if name != label),
        day,
        _day(_text(_first(event, "ReceivedDate"))),
        _day(_text(_first(event, "ProcessedDate"))),
        at=_point(_own(about, "Geometry")),
        recommendations=_recommendations(node, crops),
        corrects_earlier=corrects,
        where=f"sample {label}",
    )
    if corrects:
        reader.inquiry.remark(f"this report corrects an earlier one of sample {label}")
    samples = []
    for place in _with(node, "DepthID", "NutrientResults"):
        ref = depths.get(_text(_own(place, "DepthID")))
        depth = _depth(ref)
        if depth is None and ref is not None:
            reader.inquiry.remark(f"sample {label}: the depth {_text(_own(ref, 'Name'))!r} has a name only")
        results = (_v1_reading(reader, result) for result in _results(place, reader.inquiry))
        notes = () if depth is not None or ref is None else (f"depth {_text(_own(ref, 'Name'))}",)
        samples.append(replace(base, depth=depth, readings=_grouped(results), notes=notes))
        base = replace(base, recommendations=())
    return samples


def _results(place: Node, inquiry: Inquiry) -> Iterator[Mapping[str, Node]]:
    """Yield the results of a depth: a list, or objects by element."""
    found = list(_with(place, "Element", "Value"))
    yield from found
    held = _own(place, "NutrientResults")
    if not found and isinstance(held, Mapping):
        for element, node in held.items():
            for one in _members([node], f"results of {element}", inquiry):
                yield {"Element": element, **one}
    elif not found:
        list(_members(held, "results", inquiry))


def _v1_reading(reader: _Reader, node: Mapping[str, Node]) -> tuple[str, LabReading] | None:
    return reader.reading(
        _text(_own(node, "Element")),
        _own(node, "Value"),
        _text(_own(node, "ValueUnit")),
        _text(_own(node, "ModusTestID")),
        (_text(_own(node, "ValueType")) or "").casefold(),
        _text(_own(node, "ValueDesc")),
    )


def _depth(ref: Node) -> Depth | None:
    start, end, unit = (_text(_own(ref, key)) for key in ("StartingDepth", "EndingDepth", "DepthUnit"))
    if start and end and unit:
        found = read_depth(f"{start}-{end} {unit}")
        if found is not None:
            return found
    return read_depth(_text(_own(ref, "Name")) or "")


def _point(node: Node) -> tuple[float, ...]:
    """Return latitude and longitude of a WKT point."""
    match = re.fullmatch(r"POINT\s*\(\s*(-?[0-9.]+)\s+(-?[0-9.]+)\s*\)", (_text(node) or "").upper())
    latitude, longitude = (read_printed(match[at]).value if match else None for at in (2, 1))
    return () if latitude is None or longitude is None else (latitude, longitude)


def _recommendations(node: Node, crops: Mapping[str | None, str | None]) -> tuple[SheetRecommendation, ...]:
    """Read a sample's recommendations; labs repeat the outer element once for each nutrient."""
    found: dict[str | None, dict[str, SheetAmount]] = {}
    for group in _find(node, "NutrientRecommendations"):
        for ident, item in _with_ident(group, None):
            name, amount = _amount(item)
            if name:
                found.setdefault(ident, {})[name] = amount
    return tuple(SheetRecommendation(crops.get(ident), amounts=amounts) for ident, amounts in found.items())


def _with_ident(node: Node, ident: str | None) -> Iterator[tuple[str | None, Mapping[str, Node]]]:
    if isinstance(node, list):
        for item in node:
            yield from _with_ident(item, ident)
    elif isinstance(node, Mapping):
        mine = _text(_own(node, "RecID")) or ident
        if _own(node, "Element") is not None:
            yield mine, node
        else:
            for value in node.values():
                yield from _with_ident(value, mine)


def _amount(node: Mapping[str, Node]) -> tuple[str | None, SheetAmount]:
    element = _text(_own(node, "Element")) or ""
    printed = read_printed(_text(_own(node, "Value")) or "", decimal_comma=False)
    unit = read_unit(_text(_own(node, "ValueUnit")) or "")
    amount = SheetAmount(printed.value, unit=unit.names[0] if unit else None)
    score = vocabulary().words["lime basis"].whole(element)
    if score or vocabulary().words["lime"].whole(element):
        return "lime", replace(amount, basis=score[0].text if score else None)
    analyte = vocabulary().analytes.whole(element)
    return (analyte[0].name if analyte else element or None), amount


# ---------------------------------------------------------------------------------------------
# Slim JSON


def _slim(reader: _Reader, tree: Mapping[str, Node]) -> list[Sample]:
    shared = {key: value for key, value in tree.items() if key != "samples"}
    samples = []
    for node in _members(tree["samples"], "samples", reader.inquiry):
        whole = _merged(shared, node)
        source, lab = whole.get("source"), whole.get("lab")
        ident = _text(_under(source, "sampleid"))
        field = _text(_under(source, "field", "name"))
        names = [name for name in (ident, field) if name]
        results = _members(whole.get("results"), "results", reader.inquiry)
        readings = _grouped(_slim_reading(reader, item) for item in results)
        depth = whole.get("depth") if isinstance(whole.get("depth"), Mapping) else {}
        top, bottom, unit = (_text(_under(depth, key)) for key in ("top", "bottom", "units"))
        samples.append(
            Sample(
                names[0] if names else None,
                _text(_under(lab, "sampleid")),
                tuple(names[1:]),
                reader.day_of_sampling(_text(_under(source, "date")) or _text(whole.get("date"))),
                _day(_text(_under(lab, "dateReceived"))),
                _day(_text(_under(lab, "report", "date"))),
                depth=read_depth(f"{top}-{bottom} {unit}") if top and bottom and unit else None,
                readings=readings,
                where=f"sample {names[0] if names else '?'}",
            )
        )
    return samples


def _merged(shared: Node, own: Node) -> Any:
    """Return the defaults of a file with what a sample says itself."""
    if isinstance(shared, Mapping) and isinstance(own, Mapping):
        return {**shared, **{key: _merged(shared.get(key), value) for key, value in own.items()}}
    return own


def _slim_reading(reader: _Reader, node: Node) -> tuple[str, LabReading] | None:
    analyte, units, ident = (_text(_own(node, key)) for key in ("analyte", "units", "modusTestID"))
    kind = (_text(_own(node, "valueType")) or "").casefold()
    return reader.reading(analyte, _own(node, "value"), units, ident, kind, None)


# ---------------------------------------------------------------------------------------------
# What is missing


def _day(text: str | None) -> Any:
    printed = read_printed_date(text) if text else None
    return printed.in_order(None) if printed else None


_DEPTHS = ("0-6 in", "0-8 in", "<depth, as 0-6 in>")


def _is_depth(answer: str) -> bool:
    return read_depth(answer) is not None


def _asked(reader: _Reader, samples: list[Sample]) -> list[Sample]:
    bare = [sample for sample in samples if sample.depth is None and not sample.notes]
    if bare:
        listed = ", ".join(sample.label or "?" for sample in bare)
        answer = reader.inquiry.ask("depth", "depth of the samples", listed, _DEPTHS, accepts=_is_depth)
        found = read_depth(answer) if answer else None
        samples = [replace(sample, depth=found) if sample in bare else sample for sample in samples]
    undated = [sample for sample in samples if sample.sampled_on is None]
    if undated:
        listed = ", ".join(sample.label or "?" for sample in undated)
        printed = ", ".join(map(repr, dict.fromkeys(reader.unread_days)))
        about = f"day of sampling: which day {printed} is" if printed else DAY_OF_SAMPLING
        answer = reader.inquiry.ask("sampled", about, listed, ("<day, as 2025-10-18>",), accepts=is_day)
        samples = [replace(s, sampled_on=s.sampled_on or _day(answer)) for s in samples]
    return samples
