"""A file of the user's is written by `files.whole`, and nowhere else: whole, or not at all.

The law is read from the source: no other file calls what writes, renames or removes files. What libraries
write goes into memory, or into a scratch folder whose content `files.whole` then writes.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "src" / "loamwright"
ONLY = "files/whole.py"
WRITES = {
    *(
        "write_text",
        "write_bytes",
        "unlink",
        "rmdir",
        "rmtree",
        "symlink_to",
        "hardlink_to",
        "touch",
        "mkdir",
    ),
    *(
        "makedirs",
        "mkstemp",
        "NamedTemporaryFile",
        "mkdtemp",
        "copyfile",
        "copy2",
        "copytree",
        "move",
        "fdopen",
    ),
    *("link", "symlink", "truncate", "to_file", "to_csv", "to_excel", "write_dataframe"),
}


def writing_calls(source: str) -> list[tuple[int, str]]:
    """Return line and name of each call that can write a file."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        owner = ast.unparse(node.func.value) if isinstance(node.func, ast.Attribute) else ""
        modes = [
            arg.value
            for arg in [*node.args, *(word.value for word in node.keywords if word.arg == "mode")]
            if isinstance(arg, ast.Constant) and isinstance(arg.value, str)
        ]
        opens = name == "open" and any(
            set(mode) <= set("rwaxbt+") and set(mode) & set("wax+") for mode in modes
        )
        # `str.replace` and `dataclasses.replace` take two or more arguments, `Path.replace` one.
        moves = name in ("replace", "rename") and owner != "" and len(node.args) == 1 and not node.keywords
        system = owner == "os" and name in ("rename", "replace", "remove", "open", "write")
        if opens or moves or system or (name in WRITES and owner != "files"):
            found.append((node.lineno, name))
    return found


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: path.stem)
def test_no_other_file_writes(path: Path) -> None:
    where = path.relative_to(PACKAGE).as_posix()
    if where == ONLY:
        return
    assert writing_calls(path.read_text()) == []


@pytest.mark.parametrize(
    "line",
    [
        "path.write_text('x')",
        "open(path, 'w')",
        "path.open('ab')",
        "open(path, mode='r+')",
        "part.replace(path)",
        "os.replace(a, b)",
        "shutil.move(a, b)",
        "frame.to_csv(path)",
        "path.unlink()",
    ],
)
def test_the_law_sees_what_writes(line: str) -> None:
    assert writing_calls(line)


@pytest.mark.parametrize(
    "line", ["open(path)", "path.open('rb')", "text.replace('a', 'b')", "replace(one, a=1)"]
)
def test_the_law_lets_reading_go(line: str) -> None:
    assert not writing_calls(line)
