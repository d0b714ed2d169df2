"""Is a map file what its name says? Asked before any library opens it.

This file answers "may this be opened?". The map library tells formats by content: a file that is called one
thing and is another can make it open other files of this computer, or an address of the network. So the first
bytes must be those of the one format that the ending stands for.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path

from loamwright.errors import InputError, Problem

#: So much of a file is looked at [bytes].
_HEAD = 1 << 16

#: What may stand before the first element of an XML file: declaration, comments, instructions. No DOCTYPE: it
#: can name other files.
_PROLOG = re.compile(r"\ufeff?\s*(?:<\?.*?\?>\s*|<!--.*?-->\s*)*<(?:[\w.-]+:)?([\w.-]+)[\s/>]", re.S)


def _root(head: bytes) -> str:
    """The name of the outermost element of an XML file; empty when it begins with something else."""
    coded = "utf-16" if head[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
    match = _PROLOG.match(head.decode(coded, "replace"))
    return match[1] if match else ""


def _is_kmz(path: Path, head: bytes) -> bool:
    if not head.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            inner = next(name for name in archive.namelist() if name.lower().endswith(".kml"))
            with archive.open(inner) as file:
                return _root(file.read(_HEAD)) == "kml"
    except (OSError, zipfile.BadZipFile, StopIteration, RuntimeError, NotImplementedError):
        return False


def _is_zip_of_shapes(path: Path, head: bytes) -> bool:
    if not head.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            for name in archive.namelist():
                if name.lower().endswith(".shp") and not name.startswith("__MACOSX"):
                    with archive.open(name) as file:
                        if file.read(4) != _SHAPES:
                            return False
    except (OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError):
        return False
    return True


_SHAPES = b"\x00\x00\x27\x0a"  # file code 9994: ESRI Shapefile Technical Description, 1998, page 4

#: Ending → what it stands for, and whether the file is that.
_FORMATS: Mapping[str, tuple[str, Callable[[Path, bytes], bool]]] = {
    ".kml": ("KML, an XML file whose outermost element is kml", lambda _, head: _root(head) == "kml"),
    ".kmz": ("KMZ, a zip archive that holds KML", _is_kmz),
    ".gpx": ("GPX, an XML file whose outermost element is gpx", lambda _, head: _root(head) == "gpx"),
    ".shp": ("a Shapefile", lambda _, head: head.startswith(_SHAPES)),
    ".zip": ("a zip archive of a Shapefile", _is_zip_of_shapes),
    ".gpkg": ("a GeoPackage", lambda _, head: head.startswith(b"SQLite format 3\x00")),
    ".fgb": ("FlatGeobuf", lambda _, head: head.startswith(b"fgb")),
}


def refuse_no_file(path: Path) -> None:
    """Refuse what is no map file at all: a folder, nothing, an empty file, a helper of a Shapefile."""
    if path.is_dir():
        what = f"{path} is a folder"
        raise InputError([Problem(path.name or str(path), what, "Give one file inside it.")])
    if not path.exists():
        fix = "Look at the spelling and the folder."
        raise InputError([Problem(path.name, f"there is no file {path}", fix)])
    if not path.is_file():
        raise InputError([Problem(str(path), "it is no ordinary file", "Name a file that was saved.")])
    if path.stat().st_size == 0:
        fix = "Save it again from the program it came from."
        raise InputError([Problem(path.name, "the file is empty (0 bytes)", fix)])
    suffix = path.suffix.lower()
    if suffix in {".shx", ".dbf", ".prj", ".cpg"}:
        what = f"{suffix} is one of the helper files of a Shapefile"
        fix = f"Give {path.stem}.shp, or all of its files in one .zip."
        raise InputError([Problem(path.name, what, fix)])


#: Most bytes an archive of maps may unpack to (our choice): ten times the largest file of a county.
MOST_UNPACKED = 200_000_000


def refuse_a_flood(path: Path, head: bytes) -> None:
    """Refuse an archive that unpacks to more than the machine may hold, before anything unpacks it."""
    if not head.startswith(b"PK\x03\x04"):
        return
    try:
        with zipfile.ZipFile(path) as archive:
            size = sum(member.file_size for member in archive.infolist())
    except (OSError, zipfile.BadZipFile):
        return
    if size > MOST_UNPACKED:
        what = f"the archive unpacks to {size:,} bytes; more than {MOST_UNPACKED:,} are not read"
        raise InputError([Problem(path.name, what, "Unpack it, or send a part of it.")])


def refuse_a_disguise(path: Path) -> None:
    """Refuse a map file that is not what its name says, before anything opens it.

    Parameters
    ----------
    path
        A file that is there; an ending that stands for no such format is let through to its own reader.

    Raises
    ------
    InputError
        When its content begins otherwise than its ending says.
    """
    known = _FORMATS.get(path.suffix.lower())
    if known is None:
        return
    called, is_that = known
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as error:
        what = f"the file cannot be read ({error.strerror})"
        raise InputError([Problem(path.name, what, "Look at its rights, or copy it.")]) from error
    refuse_a_flood(path, head)
    if not is_that(path, head):
        what = f"this cannot be read as {path.suffix.lower().lstrip('.')}: it is not {called}"
        fix = "Save it again from the program it came from, under the name of what it is."
        raise InputError([Problem(path.name, what, fix)])
