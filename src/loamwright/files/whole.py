"""How a file is written: whole, or not at all, and never half.

This file answers "what is left when the machine stops in the middle, or the disk is full?": the file that
was there before, and nothing beside it. It is the only place that writes a file of the user's. The bytes are
written to a file without a name beside the target (Linux; elsewhere with a hidden name), forced to the disk,
and only then given the name. A property file is never written over.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path

from loamwright.errors import InputError, Problem, PropertyFileError

#: What the system says, in our words, and what to do.
_WHY = {
    errno.ENOSPC: ("the disk is full", "Make room, or name another folder."),
    errno.EDQUOT: ("your share of the disk is used up", "Make room, or name another folder."),
    errno.EFBIG: ("the file is larger than is allowed here", "Name another folder."),
    errno.EROFS: ("the disk is read-only", "Name another folder."),
    errno.EACCES: ("you may not write there", "Name a file in a folder you may write to."),
    errno.EPERM: ("you may not write there", "Name a file in a folder you may write to."),
    errno.EISDIR: ("it is a folder", "Give the name of a file."),
    errno.EEXIST: ("a part of its folder's name is a file", "Name another folder."),
    errno.ENOTDIR: ("a part of its folder's name is a file", "Name another folder."),
    errno.ENAMETOOLONG: ("its name is too long", "Give a shorter name."),
}


def write_whole(path: Path, content: bytes | str) -> None:
    """Write one file; one that is there is replaced once the new one is complete.

    Parameters
    ----------
    path
        Where to; its folder is made if missing. A link is followed.
    content
        All of it; text is written as UTF-8.

    Raises
    ------
    InputError
        When it cannot be written; what was there is still there.
    PropertyFileError
        When a property file is there.
    """
    write_set({path: content})


def write_set(contents: Mapping[Path, bytes | str]) -> None:
    """Write files that belong together: none takes its name before all of them are on the disk.

    The last takes its name last and loses it first, so that a reader who begins with it (the .shp of a
    Shapefile) never meets parts of two sets.

    Parameters
    ----------
    contents
        File → all of it; text is written as UTF-8.

    Raises
    ------
    InputError
        When one cannot be written; then none is.
    PropertyFileError
        When a property file is there.
    """
    named = next(iter(contents), Path())
    try:
        with ExitStack() as drafts:
            ready = []
            for path, content in contents.items():
                named = path
                target = path.resolve()
                refuse_to_replace(target)
                _check_target(target)
                target.parent.mkdir(parents=True, exist_ok=True)
                data = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
                ready.append((target, drafts.enter_context(_draft(target, data))))
            if len(ready) > 1:
                ready[-1][0].unlink(missing_ok=True)
            for target, descriptor in ready:
                named = target
                _name(descriptor, target)
            for folder in {target.parent for target, _ in ready}:
                _force(folder)
    except OSError as error:
        raise cannot_be_written(named, error) from error


def write_new(path: Path, content: bytes) -> None:
    """Write a property file, or a copy of one, where nothing is yet: another that is faster keeps its name.

    Raises
    ------
    PropertyFileError
        When something is there, or it cannot be written.
    """
    try:
        with _draft(path, content) as draft:
            _name_new(draft, path)
        _force(path.parent)
    except FileExistsError as error:
        raise PropertyFileError(
            "it exists already; give another name, or import into it", str(path)
        ) from error
    except OSError as error:
        (problem,) = cannot_be_written(path, error).problems
        raise PropertyFileError(f"it cannot be made: {problem.what}; {problem.fix}", str(path)) from error


def cannot_be_written(path: Path, error: OSError) -> InputError:
    """Say in words why a file cannot be written, and what to do."""
    what = " ".join(str(error.strerror or error).split())
    why, fix = _WHY.get(error.errno or 0, (what, "Name a file in a folder you may write to."))
    return InputError([Problem(str(path), f"it cannot be written: {why}", fix)])


def refuse_to_replace(path: Path) -> None:
    """Refuse to write another kind of file over a property.

    Parameters
    ----------
    path
        Where something is about to be written; anything there that is no property file is let go.

    Raises
    ------
    PropertyFileError
        When a property file is there.
    """
    if not path.is_file():
        return
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            ours = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'loamwright'").fetchone()
    except sqlite3.Error:
        return
    if ours:
        what = "it is a property file and is not written over; give another name"
        raise PropertyFileError(what, str(path))


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, if missing.

    Parameters
    ----------
    folder
        Where.

    Raises
    ------
    InputError
        When it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"no folder can be made here: {error.strerror}"
        raise InputError([Problem(str(folder), what, "Name a folder you may write to.")]) from error


def lay_down(folder: Path, name: str, content: bytes) -> Path:
    """Write a file into a scratch folder of ours, for a reader that takes only files.

    Parameters
    ----------
    folder
        The scratch folder.
    name
        Its last part is the file's name.
    content
        All of it.

    Returns
    -------
    Path
        The file.
    """
    path = folder / Path(name).name
    path.write_bytes(content)
    return path


def remove(path: Path) -> None:
    """Take away a file of ours that a new one replaces.

    Parameters
    ----------
    path
        The file; missing is well.

    Raises
    ------
    InputError
        When it cannot be taken away.
    """
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise cannot_be_written(path, error) from error


def _check_target(target: Path) -> None:
    if target.is_dir():
        raise OSError(errno.EISDIR, os.strerror(errno.EISDIR))
    if not target.exists():
        return
    if not target.is_file():
        raise OSError(errno.EINVAL, "it is no ordinary file")
    if not target.stat().st_mode & 0o222:
        raise OSError(errno.EACCES, "the file there is read-only")


@contextmanager
def _draft(target: Path, data: bytes) -> Iterator[int | Path]:
    """Write the bytes beside the target, force them to the disk, and give the nameless or hidden file."""
    mode = target.stat().st_mode & 0o777 if target.exists() else None
    hidden: Path | None = None
    try:
        descriptor = os.open(target.parent, os.O_TMPFILE | os.O_RDWR, 0o666)
    except (AttributeError, OSError):  # not Linux, or a file system without nameless files
        made, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
        descriptor, hidden = made, Path(name)
        mode = 0o644 if mode is None else mode
    try:
        left = memoryview(data)
        while left:
            left = left[os.write(descriptor, left) :]
        if mode is not None and hasattr(os, "fchmod"):
            os.fchmod(descriptor, mode)
        os.fsync(descriptor)
        if hidden is None:
            yield descriptor
        else:
            yield hidden
    finally:
        os.close(descriptor)
        if hidden is not None:
            hidden.unlink(missing_ok=True)


def _name(draft: int | Path, target: Path) -> None:
    """Give a complete file its name, in one step of the file system."""
    if isinstance(draft, Path):
        draft.replace(target)
        return
    with suppress(FileExistsError):
        _name_new(draft, target)
        return
    # A name cannot be given over another: it gets a hidden one, and that takes the place.
    hidden = target.with_name(f".{target.name[:40]}.{os.getpid()}.part")
    hidden.unlink(missing_ok=True)
    _name_new(draft, hidden)
    hidden.replace(target)


def _name_new(draft: int | Path, path: Path) -> None:
    """Give a complete file a name that nothing has yet, or fail."""
    if isinstance(draft, Path):
        os.link(draft, path)
    else:  # the folder's descriptor is not looked at, but makes Python follow the link to the open file
        os.link(f"/proc/self/fd/{draft}", path, src_dir_fd=draft, follow_symlinks=True)


def _force(folder: Path) -> None:
    """Force the names in a folder to the disk, where the system can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
