"""The JSON of a file: read once, whatever it then turns out to hold.

References
----------
T. Bray, "The JavaScript Object Notation (JSON) Data Interchange Format", RFC 8259, IETF, 2017.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

from loamwright.errors import InputError, Problem

#: Largest file read [bytes]: ours, wider than the map of a state's plots.
SIZE_LIMIT = 500_000_000

_AGAIN = "Save it again from the program it came from."


class _DoubledKeyError(Exception):
    """One object names a key twice."""


def read_json(path: Path, called: str = "JSON", again: str = _AGAIN, strict: bool = False) -> Any:
    """Read the JSON of a file.

    `called` and `again` say in a refusal what it should be and what to do. Only a strict reading refuses
    NaN and Infinity, which are no JSON but stand in maps; as figures they are refused by `fields`.
    """
    return json_in(read_text(path, called, again), path.name or str(path), called, again, strict)


def read_text(path: Path, called: str, again: str) -> str:
    """Read a file as text in UTF-8."""

    def refusal(what: str, fix: str = again) -> InputError:
        return InputError([Problem(path.name or str(path), what, fix)])

    try:
        if path.is_dir():
            raise refusal(f"{str(path)!r} is a directory and cannot be read as a file", "Name the file.")
        if (size := path.stat().st_size) > SIZE_LIMIT:
            raise refusal(f"the file is larger than {SIZE_LIMIT:,} bytes")
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise refusal(f"there is no file {str(path)!r}", "Check the name and the folder.") from error
    except OSError as error:
        raise refusal(f"cannot be read: {error.strerror}", "Check that you may read it.") from error
    except UnicodeDecodeError as error:
        raise refusal(
            f"byte {error.start + 1} is not UTF-8 text", f"Save it as {called} in UTF-8."
        ) from error
    if not text.strip():
        raise refusal(f"the file is empty ({size} bytes): this is not {called}")
    return text


def json_in(text: str, name: str, called: str, again: str, strict: bool = False) -> Any:
    """Read JSON from a text; `name` says in a refusal where it stands."""

    def refusal(what: str, fix: str = again) -> InputError:
        return InputError([Problem(name, what, fix)])

    try:
        with without_collecting():
            return json.loads(
                text, parse_constant=_refuse_constant if strict else None, object_pairs_hook=_each_once
            )
    except json.JSONDecodeError as error:
        near = text[max(0, error.pos - 12) : error.pos + 12].strip() or text[-20:].strip()
        place = f"line {error.lineno}, column {error.colno}, near {near!r}"
        what = f"this is not {called}: {error.msg.lower()} in {place}"
        raise refusal(what, f"The file may be cut off or edited by hand. {again}") from error
    except RecursionError as error:
        raise refusal(f"this is not {called}: it is nested too deeply") from error
    except (ValueError, _DoubledKeyError) as error:  # an integer of 5,000 digits
        raise refusal(f"this is not {called}: {error}") from error


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Keep the pairs of an object; a key that stands twice would lose one of its values."""
    content = dict(pairs)
    if len(content) < len(pairs):
        names = [name for name, _ in pairs]
        doubled = next(name for name in names if names.count(name) > 1)
        raise _DoubledKeyError(f"the key {doubled!r} stands twice in one object")
    return content


@contextmanager
def without_collecting() -> Iterator[None]:
    """Leave garbage for later: a map is a million small lists, and searching them again and again for
    loops, of which JSON has none, takes longer than reading them."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
