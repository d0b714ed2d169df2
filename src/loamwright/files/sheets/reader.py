"""The one road from a file to what it says: lab sheet, manure analysis, price sheet, tickets, Modus."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from loamwright.files.grids import Grid, SheetFile, column_letter, file_bytes, grids_of, refuse
from loamwright.files.sheets.figures import system_of
from loamwright.files.sheets.inquiry import Inquiry, Profile, normal_headings
from loamwright.files.sheets.layout import Block, find_blocks
from loamwright.files.sheets.manure import is_manure, read_manure
from loamwright.files.sheets.modus import is_modus, lab_of, read_modus
from loamwright.files.sheets.offers import (
    currency_of,
    price_date,
    read_charges,
    read_offers,
    sentences_among,
)
from loamwright.files.sheets.records import SheetContents
from loamwright.files.sheets.soil import read_soil
from loamwright.files.sheets.statements import Statements, read_statements, statement_texts
from loamwright.files.sheets.tickets import read_tickets
from loamwright.files.sheets.words.guarantees import read_guarantees
from loamwright.files.sheets.worth_saying import remarks_on

_NO_TABLE = (
    "no table of results, prices or tickets was found: "
    "no row or column names three things a lab, dealer or quarry prints"
)
_NAME_COLUMNS = (
    "Check that it is the right file, or name the columns as the paper does: pH, P, Product, Price."
)
READ_THEM, LEAVE_THEM = "read them", "leave them out"


def read_sheet(
    path: Path,
    answers: Mapping[str, str] | None = None,
    profile: Profile | None = None,
    *,
    others: bool = False,
) -> SheetContents:
    """Read a file of a lab, dealer or quarry: CSV, XLSX, pasted text, or Modus XML and JSON.

    Parameters
    ----------
    path
        The file. What it is, is told from its content, not from its name.
    answers
        Answers to questions of an earlier reading, by question id.
    profile
        Answers kept for this lab; used when every heading of the file is one of the profile's.
    others
        True = answers that this file does not ask for may be for another.

    Returns
    -------
    SheetContents
        What it says, with the questions that are still open.

    Raises
    ------
    InputError
        When the file cannot be read or holds nothing of the kind, or an answer is none of the choices.

    Notes
    -----
    Nothing is converted, and nothing is guessed by magnitude. A value that hangs on a question is the
    likely one and is marked in `candidates`.
    """
    name = path.name or str(path)
    data = file_bytes(path)
    inquiry = Inquiry(dict(answers or {}))
    if is_modus(data):
        contents = _modus(name, data, inquiry, profile)
    else:
        contents = _contents(grids_of(name, data), inquiry, profile)
    contents = replace(
        contents,
        questions=tuple(inquiry.questions),
        left_out=tuple(inquiry.left_out),
        answered=inquiry.used,
    )
    if not others:
        _refuse_idle_answers(name, answers or {}, inquiry)
    return replace(contents, remarks=(*inquiry.remarks, *remarks_on(contents)))


def _refuse_idle_answers(name: str, answers: Mapping[str, str], inquiry: Inquiry) -> None:
    idle = [ident for ident in answers if ident not in inquiry.used]
    if idle:
        asked = ", ".join(question.id for question in inquiry.questions) or "nothing"
        raise refuse(name, f"no question is called {', '.join(idle)}", f"This file asks: {asked}.")


def _take_profile(inquiry: Inquiry, profile: Profile | None, headings: tuple[str, ...]) -> None:
    if profile is None:
        return
    if profile.fits(headings):
        inquiry.answers = {**profile.answers, **inquiry.answers}
    else:
        new = [heading for heading in headings if heading not in profile.headings]
        inquiry.remark(f"the profile {profile.name!r} was not used: new headings {', '.join(new)}")


def _modus(name: str, data: bytes, inquiry: Inquiry, profile: Profile | None) -> SheetContents:
    lab = lab_of(name, data)
    headings = normal_headings([f"Modus of {lab}"])
    _take_profile(inquiry, profile, headings)
    return replace(read_modus(name, data, inquiry), headings=headings)


def _contents(file: SheetFile, inquiry: Inquiry, profile: Profile | None) -> SheetContents:
    grids = [_visible(grid, inquiry) for grid in file.grids]
    tables = [(grid, find_blocks(grid)) for grid in grids]
    tables = [(grid, tuple(block for block in blocks if block.records)) for grid, blocks in tables]
    with_records = [(grid, blocks) for grid, blocks in tables if blocks]
    if not with_records:
        raise refuse(
            file.name,
            _NO_TABLE,
            _NAME_COLUMNS,
        )
    with_records.sort(key=lambda pair: -sum(len(block.records) for block in pair[1]))
    blocks = [_with_products(block) for _, found in with_records for block in found]
    headings = normal_headings([column.name for block in blocks for column in block.columns])
    _take_profile(inquiry, profile, headings)
    for grid, found in tables:
        if not found and grid.lines:
            inquiry.leave_out("sheet without results", f"sheet {grid.name!r}")
    for block in blocks:
        inquiry.left_out.extend(block.left_out)
    around = [line for block in blocks for line in block.around]
    notes = [line for grid, found in tables if not found for line in grid.lines]
    statements = read_statements(around)
    _take_notes(statements, read_statements(notes))
    contents = _by_kind(file, blocks, statements, inquiry)
    return replace(contents, encoding=file.encoding, report=statements.report, headings=headings)


def _with_products(block: Block) -> Block:
    """Take "Material" beside prices or tickets as the product, where no other column is it."""
    if "product" in block.roles() or not {"price", "ticket"} & block.roles():
        return block
    place = next((at for at, one in enumerate(block.columns) if "product" in one.heading.also), None)
    if place is None:
        return block
    columns = list(block.columns)
    columns[place] = replace(columns[place], heading=replace(columns[place].heading, role="product"))
    return replace(block, columns=tuple(columns))


def _by_kind(
    file: SheetFile, blocks: Sequence[Block], statements: Statements, inquiry: Inquiry
) -> SheetContents:
    roles = {role for block in blocks for role in block.roles()}
    texts = [text for block in blocks for text in statement_texts(block.around)]
    if {"ticket", "net"} <= roles:
        return _tickets(file, blocks, statements, inquiry)
    if {"product", "price"} <= roles:
        return _prices(file, blocks, statements, texts, inquiry)
    if is_manure(blocks, [*texts, *(cell for pair in statements.pairs.values() for cell in [pair.text])]):
        manure = read_manure(blocks, statements, inquiry)
        return SheetContents(file.name, "manure analysis", statements.lab, samples=tuple(manure))
    samples = read_soil(blocks, statements, inquiry)
    if not any(sample.readings or sample.recommendations for sample in samples):
        raise refuse(file.name, _NO_TABLE, _NAME_COLUMNS)
    return SheetContents(file.name, "soil tests", statements.lab, samples=tuple(samples))


def _prices(
    file: SheetFile, blocks: Sequence[Block], statements: Statements, texts: Sequence[str], inquiry: Inquiry
) -> SheetContents:
    offers = read_offers(blocks, inquiry)
    columns = [column for block in blocks for column in block.columns]
    named = [offer.currency for offer in offers] + [currency_of(column.name) for column in columns]
    currency = next((code for code in named if code), None)
    us = currency is None and system_of(column.heading for column in columns) != "metric"
    return SheetContents(
        file.name,
        "products",
        seller=_seller(statements),
        priced_on=price_date(texts, inquiry, us),
        currency=currency,
        offers=tuple(replace(offer, currency=None) for offer in offers),
        charges=read_charges([*texts, *sentences_among(blocks)], inquiry),
    )


def _tickets(
    file: SheetFile, blocks: Sequence[Block], statements: Statements, inquiry: Inquiry
) -> SheetContents:
    found = read_tickets(blocks, statements, inquiry)
    return SheetContents(
        file.name,
        "lime tickets" if found.product is not None and found.product.form == "lime" else "tickets",
        seller=_seller(statements),
        product=found.product,
        deliveries=found.deliveries,
    )


def _seller(statements: Statements) -> str | None:
    """The first line around the tables names the seller, unless it is a guarantee or the day of prices."""
    line = statements.first_line
    if line is None or read_guarantees(line).analysis or re.search(r"[0-9]\s*%", line):
        return None
    stated = statements.pairs.get("seller")
    return stated.text if stated is not None else _OF_THE_SHEET.sub("", line) or line


#: What a title says of the sheet and not of the seller: "… - Price sheet effective 11/20/2026".
_OF_THE_SHEET = re.compile(
    r"\s*[-–—|:,;]\s*(?:(?:spring|summer|fall|autumn|winter|current|new)\s+)?"
    r"(?:prices?|price[- ]?(?:list|sheet)|quotes?|quotation|effective|valid|as of|updated)\b.*$",
    re.IGNORECASE,
)


def _take_notes(statements: Statements, notes: Statements) -> None:
    """Take tests, units and limits from sheets that hold notes only, where the table's own lines say none."""
    for element, test in notes.tests.items():
        statements.tests.setdefault(element, test)
    for element, unit in notes.units.items():
        statements.units.setdefault(element, unit)
    for mark, limit in notes.limits.items():
        statements.limits.setdefault(mark, limit)
    statements.general_tests = statements.general_tests or notes.general_tests
    statements.general_unit = statements.general_unit or notes.general_unit
    statements.lime_basis = statements.lime_basis or notes.lime_basis
    statements.depth = statements.depth or notes.depth


def _visible(grid: Grid, inquiry: Inquiry) -> Grid:
    """Ask about hidden rows and columns, and about formulas without a result; leave the hidden out."""
    place = f"sheet {grid.name!r}, " if grid.name else ""
    if grid.hidden:
        inquiry.leave_out("hidden sheet", f"sheet {grid.name!r}")
        return replace(grid, lines=())
    if grid.faults:
        inquiry.ask(
            "formula",
            "cells whose formula has no stored result: open the file in a spreadsheet and save it, or say",
            f"{place}cells {', '.join(fault.cell for fault in grid.faults[:12])}",
            ("they were not tested",),
        )
    columns = [
        column for column in sorted(grid.hidden_columns) if any(line.text(column) for line in grid.lines)
    ]
    if not grid.hidden_rows and not columns:
        return grid
    rows = ", ".join(map(str, sorted(grid.hidden_rows)))
    parts = [f"rows {rows}"] if rows else []
    parts.extend([f"columns {', '.join(map(column_letter, columns))}"] if columns else [])
    where = f"{place}{' and '.join(parts)}"
    if (
        inquiry.ask("hidden", "hidden rows or columns", where, (READ_THEM, LEAVE_THEM), LEAVE_THEM)
        == READ_THEM
    ):
        return grid
    inquiry.leave_out("hidden rows or columns", where, len(grid.hidden_rows) + len(columns))
    lines = tuple(
        replace(
            line, cells=tuple(replace(c, text="") if at in columns else c for at, c in enumerate(line.cells))
        )
        for line in grid.lines
        if line.number not in grid.hidden_rows
    )
    return replace(grid, lines=lines)
