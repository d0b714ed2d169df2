"""Codes that carry a records file: from a picture or from pasted text to the content of the file.

A code's text is `LW1.i.n.RECEIPT.LETTERS.`: part i of n, the receipt of the whole set, and letters of base
32 (RFC 4648, without padding), which survive a message that breaks lines or changes case. The letters of all
parts together are zlib data (RFC 1950, which ends with a check sum) of JSON::

    {"format": "loamwright-records", "version": 2, "count": 15, "columns": {"plot_id": ["AF-01", …], …}}

A column is a list with one value an entry, or one value that all entries share.
"""

from __future__ import annotations

import base64
import binascii
import re
import zlib
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from loamwright.errors import InputError, MissingExtraError, Problem
from loamwright.files.jsontext import json_in

#: Files that are looked through for codes.
PICTURES = (".png", ".jpg", ".jpeg", ".webp", ".bmp", ".gif", ".tif", ".tiff")
#: Largest content of a set of codes [bytes] (our choice: a thousand times what a code holds).
MOST_BYTES = 2_000_000

_CODE = re.compile(r"LW1\.([1-9]\d?)\.([1-9]\d?)\.([0-9A-Z]{6})\.([A-Z2-7\s]+)\.", re.IGNORECASE)
_AGAIN = "Show the code again and take the picture anew, or send the records as text."


def holds_codes(text: str) -> bool:
    """Tell whether codes of the map stand in a text."""
    return _CODE.search(text) is not None


def texts_in_picture(path: Path) -> str:
    """Read the codes in a picture.

    Raises
    ------
    InputError
        When it is no picture, or no code is found in it.
    MissingExtraError
        When the extra ``codes`` is not installed.
    """
    try:
        import zxingcpp
        from PIL import Image, UnidentifiedImageError
    except ImportError as error:
        raise MissingExtraError(
            "reading a code from a picture needs the extra 'codes': pip install 'loamwright[codes]'; "
            "pasted text needs nothing"
        ) from error
    try:
        with Image.open(path) as picture:
            grey = picture.convert("L")
    except FileNotFoundError as error:
        raise InputError(
            [Problem(path.name, f"there is no file {str(path)!r}", "Check the name and the folder.")]
        ) from error
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise InputError(
            [Problem(path.name, "it cannot be read as a picture", "Save it as PNG or JPEG.")]
        ) from error
    texts = [found.text for found in zxingcpp.read_barcodes(grey) if holds_codes(found.text)]
    if not texts:
        raise InputError([Problem(path.name, "no code of the map is found in this picture", _AGAIN)])
    return "\n".join(texts)


def contents_of(found: Iterable[tuple[str, str]]) -> list[tuple[str, dict[str, Any]]]:
    """Put the parts of codes together and unpack them.

    Parameters
    ----------
    found
        File name and text of each file with codes.

    Returns
    -------
    list of tuple of str, dict
        For each set its name for messages, and the content of a records file.

    Raises
    ------
    InputError
        When a part is missing, two differ, or the whole cannot be unpacked.
    """
    sets: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    names: dict[tuple[str, str], str] = {}
    problems = []
    for name, text in found:
        for part, parts, receipt, letters in _CODE.findall(text):
            key = (receipt.upper(), parts)
            bare = "".join(letters.split()).upper()
            names.setdefault(key, name)
            if sets[key].setdefault(part, bare) != bare:
                what = f"code {part} of {parts} ({key[0]}) is there twice and differs"
                problems.append(Problem(name, what, _AGAIN))
    whole = []
    for key, parts_found in sets.items():
        wanted = [str(number) for number in range(1, int(key[1]) + 1)]
        missing = [part for part in wanted if part not in parts_found]
        if missing:
            what = f"code {', '.join(missing)} of {key[1]} is missing"
            problems.append(Problem(names[key], what, "Give its picture or text in the same command."))
            continue
        try:
            content = _unpacked(names[key], "".join(parts_found[part] for part in wanted))
        except InputError as error:
            problems.extend(error.problems)
            continue
        whole.append((names[key], content))
    if problems:
        raise InputError(problems)
    return whole


def _unpacked(name: str, letters: str) -> dict[str, Any]:
    try:
        packed = base64.b32decode(letters + "=" * (-len(letters) % 8))
        reader = zlib.decompressobj()
        text = reader.decompress(packed, MOST_BYTES).decode("utf-8")
    except (binascii.Error, zlib.error, UnicodeDecodeError) as error:
        raise InputError([Problem(name, "the code is damaged or cut off", _AGAIN)]) from error
    if not reader.eof:
        raise InputError([Problem(name, "the code is cut off", _AGAIN)])
    content = json_in(text, name, "the JSON of a code", _AGAIN, strict=True)
    columns = content.pop("columns", {}) if isinstance(content, dict) else None
    count = content.pop("count", None) if isinstance(content, dict) else None
    lists = [column for column in (columns or {}).values() if isinstance(column, list)]
    if not isinstance(columns, dict) or not isinstance(count, int) or any(len(c) != count for c in lists):
        raise InputError([Problem(name, "the code holds no entries by column", _AGAIN)])
    rows = [
        {
            key: value
            for key, column in columns.items()
            if (value := column[place] if isinstance(column, list) else column) is not None
        }
        for place in range(count)
    ]
    return {**content, "entries": rows}
