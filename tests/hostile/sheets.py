"""Tables of tests, products and records as CSV, TXT and XLSX: broken, odd, or far too much."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from typing import Any

from hostile.cases import Case

TESTS = "plot_id,sampled_on,depth,ph,p,p_unit,p_extractant\n"
ROW = "A-1,2026-03-01,0-6 in,6.1,20,ppm,Bray P1\n"


def _book(fill: Callable[[Any], None]) -> bytes:
    """A workbook with the headings and one row of soil tests, and what `fill` does to its sheet."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in (TESTS, ROW):
        sheet.append(line.strip().split(","))
    fill(sheet)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _set(place: str, value: Any) -> Callable[[Any], None]:
    def fill(sheet: Any) -> None:
        sheet[place] = value

    return fill


def _hidden_row(sheet: Any) -> None:
    sheet.append(["A-2", "2026-03-01", "0-6 in", "5.9", "12", "ppm", "Bray P1"])
    sheet.row_dimensions[3].hidden = True


def _hidden_column(sheet: Any) -> None:
    sheet.column_dimensions["E"].hidden = True


def _styled_far(sheet: Any) -> None:
    from openpyxl.styles import Font

    sheet.cell(1_048_576, 1).font = Font(bold=True)


def _without(book: bytes, name: str) -> bytes:
    """The workbook with one member left out."""
    return _changed(book, lambda member, content: None if member == name else content)


def _changed(book: bytes, change: Callable[[str, bytes], bytes | None]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            content = change(member, old.read(member))
            if content is not None:
                new.writestr(member, content)
    return held.getvalue()


def _bomb() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as member:
            for _ in range(1000):
                member.write(b" " * 1_000_000)
    return held.getvalue()


def _entities(content: bytes) -> bytes:
    lines = "".join(f'<!ENTITY a{n} "{("&a" + str(n - 1) + ";") * 10}">' for n in range(1, 9))
    head = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "aaaaaaaaaa">{lines}]>'.encode()
    return head + content.replace(b">A-1<", b">&a8;<").split(b"?>", 1)[-1]


PLAIN = _book(lambda _sheet: None)

#: Called → file name, content, what must be said, codes.
TABLES: dict[str, tuple[str, bytes, str, tuple[int, ...]]] = {
    "empty": ("t.csv", b"", "empty", (2,)),
    "headings only": ("t.csv", TESTS.encode(), "t.csv", (2,)),
    "blank lines": ("t.csv", b"\n\n\n", "t.csv", (2,)),
    "zero bytes": ("t.csv", b"\x00" * 4000, "t.csv", (2,)),
    "noise": ("t.csv", bytes(range(256)) * 20, "t.csv", (2,)),
    "utf-16": ("t.csv", (TESTS + ROW).encode("utf-16"), "1 soil test", (0,)),
    "latin-1": ("t.csv", (TESTS + ROW.replace("A-1", "\xc4-1")).encode("latin-1"), "-1", (2,)),
    "a quote left open": ("t.csv", (TESTS + '"' + ROW).encode(), "t.csv", (2,)),
    "a cell of 200,000 letters": (
        "t.csv",
        (TESTS + ROW.replace("A-1", "A" * 200_000)).encode(),
        "t.csv",
        (2,),
    ),
    "a cell of 30,000 letters": (
        "t.csv",
        (TESTS + ROW.replace("Bray P1", "B" * 30_000)).encode(),
        "t.csv",
        (2,),
    ),
    "a row too long": ("t.csv", (TESTS + ROW.strip() + ",7,8,9\n").encode(), "t.csv", (2,)),
    "a row too short": ("t.csv", (TESTS + "A-1,2026-03-01\n").encode(), "t.csv", (2,)),
    "one heading twice": ("t.csv", (TESTS.replace("p_unit", "ph") + ROW).encode(), "ph", (2,)),
    "100,000 columns": ("t.csv", ("," * 100_000 + "\n" + ROW).encode(), "t.csv", (2,)),
    "50,000 rows of one plot": ("t.csv", (TESTS + ROW * 50_000).encode(), "row 3", (2,)),
    "250,000 rows": ("t.csv", (TESTS + ROW * 250_000).encode(), "rows", (2,)),
    "no such plot": ("t.csv", (TESTS + ROW.replace("A-1", "Z-9")).encode(), "Z-9", (2,)),
    "plot in another width": ("t.csv", (TESTS + ROW.replace("A-1", "\uff21-1")).encode(), "-1", (2,)),
    "plot with a no-break blank": (
        "t.csv",
        (TESTS + ROW.replace("A-1", "A-1\u00a0")).encode(),
        "A-1 2026-03-01",
        (0,),
    ),
    "plot with a zero width": (
        "t.csv",
        (TESTS + ROW.replace("A-1", "\ufeffA\u200b-1")).encode(),
        "A-1 2026-03-01",
        (0,),
    ),
    "unknown extractant": ("t.csv", (TESTS + ROW.replace("Bray P1", "Magic")).encode(), "Magic", (1,)),
    "unknown unit": ("t.csv", (TESTS + ROW.replace("ppm", "furlongs")).encode(), "furlongs", (2,)),
    "ph 0": ("t.csv", (TESTS + ROW.replace("6.1", "0")).encode(), "between", (2,)),
    "ph 14": ("t.csv", (TESTS + ROW.replace("6.1", "14")).encode(), "between", (2,)),
    "negative reading": ("t.csv", (TESTS + ROW.replace(",20,", ",-20,")).encode(), "less than zero", (2,)),
    "depth upside down": ("t.csv", (TESTS + ROW.replace("0-6", "6-0")).encode(), "depth", (2,)),
    "depth of a well": ("t.csv", (TESTS + ROW.replace("0-6 in", "0-60 ft")).encode(), "depth", (2,)),
    "day that is none": ("t.csv", (TESTS + ROW.replace("03-01", "02-30")).encode(), "2026-02-30", (2,)),
    "day with a tail": (
        "t.csv",
        (TESTS + ROW.replace("03-01", "03-01T09:00:00Z")).encode(),
        "2026-03-01",
        (0,),
    ),
    "day in two ways": (
        "t.csv",
        (TESTS + ROW.replace("2026-03-01", "03/04/2026")).encode(),
        "was read as month/day/year",  # as in the property's country; said, not asked
        (0,),
    ),
    "day to come": ("t.csv", (TESTS + ROW.replace("2026", "2098")).encode(), "still to come", (2,)),
    "a thousand mark or a decimal": (
        "t.csv",
        (TESTS + ROW.replace(",20,", ',"1,234",')).encode(),
        "1,234",
        (2,),
    ),
    "a formula for a name": (
        "t.csv",
        (TESTS + ROW.replace("A-1", "=cmd|' /C calc'!A0")).encode(),
        "cmd",
        (2,),
    ),
    "html": ("t.csv", b"<html><body><table><tr><td>1</td></tr></table></body></html>", "t.csv", (2,)),
    "json": ("t.csv", b'{"a": 1}', "t.csv", (2,)),
    "a workbook called csv": ("t.csv", PLAIN, "t.csv", (0,)),
    "a table called xlsx": ("t.xlsx", (TESTS + ROW).encode(), "t.xlsx", (0,)),
    "xlsx/empty": ("t.xlsx", b"", "empty", (2,)),
    "xlsx/cut": ("t.xlsx", PLAIN[:-200], "t.xlsx", (2,)),
    "xlsx/no sheet": ("t.xlsx", _without(PLAIN, "xl/worksheets/sheet1.xml"), "t.xlsx", (2,)),
    "xlsx/no list of parts": ("t.xlsx", _without(PLAIN, "[Content_Types].xml"), "t.xlsx", (2,)),
    "xlsx/no workbook": ("t.xlsx", _without(PLAIN, "xl/workbook.xml"), "t.xlsx", (2,)),
    "xlsx/cut sheet": (
        "t.xlsx",
        _changed(PLAIN, lambda name, content: content[:-80] if name.endswith("sheet1.xml") else content),
        "t.xlsx",
        (2,),
    ),
    "xlsx/entity bomb": (
        "t.xlsx",
        _changed(PLAIN, lambda _name, content: _entities(content) if b">A-1<" in content else content),
        "t.xlsx",
        (2,),
    ),
    "xlsx/unpacks to 1 GB": ("t.xlsx", _bomb(), "unpacks to", (2,)),
    "xlsx/hidden row": ("t.xlsx", _book(_hidden_row), "hidden", (1,)),
    "xlsx/hidden column": ("t.xlsx", _book(_hidden_column), "hidden", (1,)),
    "xlsx/stray cell in the last row": ("t.xlsx", _book(_set("A1048576", "x")), "1048576", (2,)),
    "xlsx/styled cell in the last row": ("t.xlsx", _book(_styled_far), "1 soil test", (0,)),
    "xlsx/stray cell in the last column": (
        "t.xlsx",
        _book(_set("XFD1", "x")),
        "not used and not stored",
        (0,),
    ),
    "xlsx/an error": ("t.xlsx", _book(_set("D2", "#DIV/0!")), "#DIV/0!", (2,)),
    "xlsx/a formula without result": ("t.xlsx", _book(_set("D2", "=1+5")), "=1+5", (2,)),
    "xlsx/a truth for a figure": ("t.xlsx", _book(_set("D2", True)), "yes", (2,)),
    "xlsx/a huge figure": ("t.xlsx", _book(_set("E2", 1e300)), "t.xlsx", (2,)),
    "xlsx/a day for a figure": (
        "t.xlsx",
        _book(_set("E2", __import__("datetime").date(2026, 6, 1))),
        "2026-06-01",
        (2,),
    ),
    "records/not ours": ("r.json", b'{"a": 1}', "r.json", (2,)),
    "records/cut": ("r.json", b'{"format": 1, "entries": [', "r.json", (2,)),
    "records/a list": ("r.json", b"[1, 2]", "r.json", (2,)),
    "records/deep": ("r.json", b"[" * 100_000, "r.json", (2,)),
    "records/doubled key": ("r.json", b'{"format": 1, "format": 2}', "twice", (2,)),
    "results/cut xml": ("m.xml", b"<ModusResult><Event>", "m.xml", (2,)),
    "results/empty xml": ("m.xml", b"<ModusResult/>", "m.xml", (2,)),
    "results/entity bomb": (
        "m.xml",
        _entities(b"<?xml version='1.0'?><ModusResult><t>A-1</t></ModusResult>"),
        "m.xml",
        (2,),
    ),
    "results/outside entity": (
        "m.xml",
        b'<!DOCTYPE x [<!ENTITY x SYSTEM "file:///etc/passwd">]><ModusResult><a>&x;</a></ModusResult>',
        "m.xml",
        (2,),
    ),
    "results/deep xml": ("m.xml", b"<a>" * 200_000, "m.xml", (2,)),
}


def cases() -> Iterator[Case]:
    """Every table brought to the property, and the tables read by themselves."""
    for called, (name, content, says, codes) in TABLES.items():
        yield Case(f"import/{called}", ("import", "P", name), says, {name: content}, codes)
    for called, code, says in (
        ("noise", 2, "not text"),
        ("100,000 columns", 2, "no table of results"),
        ("a cell of 200,000 letters", 2, "cannot be split into cells"),
        ("xlsx/stray cell in the last row", 1, "6.1"),
    ):
        name, content, _, _ = TABLES[called]
        yield Case(f"read/{called}", ("read", name), says, {name: content}, (code,))
    for called in ("noise", "zero bytes", "headings only", "a workbook called csv"):
        name, content, _, _ = TABLES[called]
        yield Case(f"compare/{called}", ("compare", name), "t.csv", {name: content}, (2,))
