"""Codes that carry records: packed here with Python's own zlib and base 32, unpacked by the program."""

from __future__ import annotations

import base64
import json
import zlib
from pathlib import Path

import pytest

from loamwright.files.field_records import holds_records, records_from

COLUMNS = {
    "entry_id": ["e1", "e2"],
    "plot_id": ["A", "B"],
    "product": "Urea 46-0-0",
    "done": ["done", "part"],
    "applied_on": "2026-05-02",
    "mass_kg": [10.5, 4],
    "reason": [None, "rain"],
}
CONTENT = {"format": "loamwright-records", "version": 1, "count": 2, "columns": COLUMNS}


def letters(content: object) -> str:
    return base64.b32encode(zlib.compress(json.dumps(content).encode())).decode().rstrip("=")


def told(folder: Path, text: str) -> tuple[list[str], list[str]]:
    path = folder / "pasted.txt"
    path.write_text(text, "utf-8")
    entries, problems = records_from(path)
    return [f"{e.entry_id} {e.plot_id} {e.mass_kg:g} {e.reason}".strip() for e in entries], [
        str(problem) for problem in problems
    ]


WHOLE = letters(CONTENT)
BOTH = ["e1 A 10.5", "e2 B 4 rain"]


def test_columns_become_entries_again(tmp_path: Path) -> None:
    assert told(tmp_path, f"from Sam: LW1.1.1.ABC123.{WHOLE}. bye") == (BOTH, [])


def test_a_message_may_break_lines_and_case(tmp_path: Path) -> None:
    broken = "\n".join(WHOLE[k : k + 20].lower() for k in range(0, len(WHOLE), 20))
    assert told(tmp_path, f"lw1.1.1.abc123.{broken}.") == (BOTH, [])


def test_parts_in_any_order(tmp_path: Path) -> None:
    half = len(WHOLE) // 2
    one, two = f"LW1.1.2.ABC123.{WHOLE[:half]}.", f"LW1.2.2.ABC123.{WHOLE[half:]}."
    assert told(tmp_path, f"{two}\n{one}") == (BOTH, [])
    entries, problems = told(tmp_path, two)
    assert entries == []
    assert "code 1 of 2 is missing" in problems[0]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (f"LW1.1.1.ABC123.{WHOLE[:-9]}.", "damaged or cut off|cut off"),
        (f"LW1.1.1.ABC123.{WHOLE[:20]}{'B' if WHOLE[20] == 'A' else 'A'}{WHOLE[21:]}.", "damaged"),
        (f"LW1.1.1.ABC123.{letters({**CONTENT, 'count': 3})}.", "holds no entries by column"),
        (f"LW1.1.1.ABC123.{letters([1])}.", "holds no entries by column"),
        (f"LW1.1.1.ABC123.{letters({**CONTENT, 'version': 99})}.", "version 99"),
        (
            f"LW1.1.2.ABC123.{WHOLE}. LW1.1.2.ABC123.{WHOLE}AA. LW1.2.2.ABC123.AA.",
            "code 1 of 2 .* is there twice and differs",
        ),
        (f"LW1.1.1.ABC123.{letters('x' * 3_000_000)}.", "cut off"),
    ],
)
def test_what_cannot_be_used_is_named(tmp_path: Path, text: str, what: str) -> None:
    import re

    entries, problems = told(tmp_path, text)
    assert entries == []
    assert re.search(f"pasted.txt.*({what})", problems[0]), problems


def test_which_files_hold_records(tmp_path: Path) -> None:
    table, code, mail = (tmp_path / name for name in ("table.txt", "code.txt", "mail.json.txt"))
    table.write_text("plot_id,product\nA,Urea\n", "utf-8")
    code.write_text(f"LW1.1.1.ABC123.{WHOLE}.", "utf-8")
    mail.write_text('Hello {"format": "loamwright-records", "version": 1, "entries": []} Sam', "utf-8")
    assert [holds_records(path) for path in (table, code, mail, tmp_path / "none.txt")] == [
        False,
        True,
        True,
        False,
    ]
    assert holds_records(Path("screen.PNG"))
    assert [problem.what for problem in records_from(mail)[1]] == ["the file holds no entries"]
