"""What a person reads of a sheet that was understood: headings, samples, advice, offers, loads, questions.

This file lays out text; it computes nothing. ``--json`` output is the records themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from rich.console import Console
from rich.markup import escape

from loamwright.commands.results import SheetRead
from loamwright.commands.text import table_of
from loamwright.files import LabReading, ManureSample, Sample, SheetAmount, SheetContents

#: Most figures shown of one heading.
_FEW = 5


def show_sheet(console: Console, found: SheetRead, _system: str) -> None:
    """Print what a file says and what was left out; figures as the file prints them."""
    contents = found.contents
    source = contents.lab or contents.seller or "not named"
    console.print(f"[bold]{escape(contents.file)}[/]: {escape(contents.kind)} of {escape(source)}")
    soil = [sample for sample in contents.samples if isinstance(sample, Sample)]
    manure = [sample for sample in contents.samples if isinstance(sample, ManureSample)]
    if soil:
        _headings(console, ((name, r) for s in soil for name, rs in s.readings.items() for r in rs))
        _samples(console, soil)
        _advice(console, soil)
    if manure:
        _headings(console, ((name, r) for s in manure for name, r in s.readings.items()))
        _manure(console, manure)
    if contents.offers:
        _offers(console, contents)
    if contents.deliveries:
        _loads(console, contents)
    for item in contents.left_out:
        times = f" ({item.count})" if item.count > 1 else ""
        console.print(f"Left out: {escape(item.where)}: {escape(item.what)}{times}")
    for remark in contents.remarks:
        console.print(f"Note: {escape(remark)}")


def _headings(console: Console, readings: Iterable[tuple[str, LabReading]]) -> None:
    """Print each heading with what it was read as, and a few of its figures."""
    rows: dict[tuple[str, ...], list[str]] = {}
    for name, reading in readings:
        test = reading.extractant or reading.method or ""
        unit = "?" if "unit" in reading.candidates and reading.unit is None else reading.unit or ""
        asked = {"extractant", "method"} & set(reading.candidates)
        what = f"{name} as {reading.basis}" if reading.basis else name
        key = (reading.heading or name, what, test or ("?" if asked else ""), unit)
        rows.setdefault(key, []).append(reading.printed)
    table = table_of("What the headings mean", "heading", "read as", "test", "unit", "figures")
    for (heading, name, test, unit), figures in rows.items():
        shown = ", ".join(figures[:_FEW]) + (" …" if len(figures) > _FEW else "")
        table.add_row(*map(escape, (heading, name, test, unit, shown)))
    console.print(table)


def _samples(console: Console, samples: Iterable[Sample]) -> None:
    table = table_of("Samples", "label", "lab number", "sampled", "depth", "readings", numbers=(4,))
    for sample in samples:
        depth = sample.depth
        slice_ = f"{depth.top:g}-{depth.bottom:g} {depth.unit or '?'}" if depth else "not stated"
        table.add_row(
            escape(sample.label or ""),
            escape(sample.lab_number or ""),
            sample.sampled_on.isoformat() if sample.sampled_on else "not stated",
            slice_,
            str(sum(len(readings) for readings in sample.readings.values())),
        )
    console.print(table)


def _said(amount: SheetAmount) -> str:
    if amount.flag is not None:
        return f"flag {amount.flag}"
    figure = f"{amount.value:g}" if amount.value is not None else f"{amount.low:g}-{amount.high:g}"
    words = [figure, amount.unit or "?", amount.basis or ""]
    words.append(f"to pH {amount.target_ph:g}" if amount.target_ph else "")
    words.append(f"for {amount.purpose}" if amount.purpose else "")
    return " ".join(word for word in words if word)


def _advice(console: Console, samples: Iterable[Sample]) -> None:
    table = table_of("The lab's recommendations", "label", "crop", "amounts")
    for sample in samples:
        for advice in sample.recommendations:
            amounts = [f"{name} {_said(amount)}" for name, amount in advice.amounts.items()]
            amounts.extend(f"lime {_said(amount)}" for amount in advice.lime_options)
            table.add_row(*map(escape, (sample.label or "", advice.crop or "not stated", "; ".join(amounts))))
    if table.row_count:
        console.print(table)


def _manure(console: Console, samples: Iterable[ManureSample]) -> None:
    table = table_of("Samples", "label", "material", "sampled", "analysis")
    for sample in samples:
        figures = [
            f"{name} {r.printed} {r.unit or '?'} {r.state or ''}" for name, r in sample.readings.items()
        ]
        table.add_row(
            escape(sample.label or ""),
            escape(sample.material or ""),
            sample.sampled_on.isoformat() if sample.sampled_on else "not stated",
            escape("; ".join(figures)),
        )
    console.print(table)


def _listed(analysis: Mapping[str, float]) -> str:
    return ", ".join(f"{name} {value:g}" for name, value in analysis.items())


def _offers(console: Console, contents: SheetContents) -> None:
    table = table_of("Offers", "product", "analysis", "package", "price", "per", "note", numbers=(3,))
    for offer in contents.offers:
        price = "no price" if offer.price is None else f"{offer.price:,.2f}"
        stock = "out of stock" if offer.in_stock is False else ""
        least = f"at least {offer.min_order}" if offer.min_order else ""
        notes = "; ".join(text for text in (offer.note, least, stock) if text)
        cells = (offer.product, _listed(offer.analysis), offer.package or "", price, offer.per or "", notes)
        table.add_row(*map(escape, cells))
    console.print(table)
    for name, text in contents.charges.items():
        console.print(f"Charge for {escape(name.replace('_', ' '))}: {escape(text)}")


def _loads(console: Console, contents: SheetContents) -> None:
    if contents.product is not None:
        product = contents.product
        console.print(f"{escape(product.product)}: {escape(_listed(product.analysis))}")
    table = table_of("Loads", "ticket", "date", "net", "for", numbers=(2,))
    for load in contents.deliveries:
        tons = f"{load.net_tons:g} tons" if load.net_tons is not None else ""
        net = tons or (f"{load.net_t:g} t" if load.net_t is not None else "?")
        day = load.date.isoformat() if load.date else "not stated"
        table.add_row(*map(escape, (load.ticket, day, net, load.plot or "")))
    console.print(table)


#: What people read of each kind of result.
TEXTS: Mapping[type, Callable[[Console, Any, str], None]] = {SheetRead: show_sheet}
