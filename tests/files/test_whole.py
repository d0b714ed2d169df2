"""Files are written whole or not at all: a full disk, a read-only file, a kill in the middle.

What each case must leave behind is stated by hand; the disk that is full is the system's own limit on the
size of a file (POSIX setrlimit, RLIMIT_FSIZE), set in a process of its own.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from loamwright.errors import InputError, PropertyFileError
from loamwright.files import create, write_set, write_whole
from loamwright.values import PropertyInfo

INFO = PropertyInfo("Own ground", 2026)


def in_a_process(code: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run a few lines of Python in a process of its own."""
    words = [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    return subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)


def test_a_new_file_and_a_replaced_one(tmp_path: Path) -> None:
    path = tmp_path / "new" / "plots.csv"
    write_whole(path, "ä\n")
    assert path.read_bytes() == "ä\n".encode()
    path.chmod(0o640)
    write_whole(path, b"second")
    assert path.read_bytes() == b"second"
    assert path.stat().st_mode & 0o777 == 0o640
    assert [one.name for one in path.parent.iterdir()] == ["plots.csv"]


def test_a_new_file_has_the_rights_that_files_have_here(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        write_whole(tmp_path / "a", b"")
    finally:
        os.umask(mask)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "file")
    write_whole(tmp_path / "link", "new")
    assert (tmp_path / "file").read_text() == "new"
    assert (tmp_path / "link").is_symlink()


def test_what_is_refused_and_how(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(InputError, match=r"folder: it cannot be written: it is a folder\. Give the name of"):
        write_whole(tmp_path / "folder", "x")
    kept = tmp_path / "kept.csv"
    kept.write_text("old")
    kept.chmod(0o444)
    with pytest.raises(InputError, match=r"kept\.csv: it cannot be written: you may not write there"):
        write_whole(kept, "x")
    assert kept.read_text() == "old"
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="it is no ordinary file"):
        write_whole(tmp_path / "pipe", "x")
    with pytest.raises(InputError, match="its name is too long"):
        write_whole(tmp_path / ("n" * 300), "x")
    create(tmp_path / "own.gpkg", INFO)
    before = (tmp_path / "own.gpkg").read_bytes()
    with pytest.raises(PropertyFileError, match="it is a property file and is not written over"):
        write_whole(tmp_path / "own.gpkg", "x")
    assert (tmp_path / "own.gpkg").read_bytes() == before


def test_of_files_that_belong_together_none_is_written_when_one_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with pytest.raises(InputError, match="it is a folder"):
        write_set({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert not (tmp_path / "a").exists()


def test_a_full_disk_leaves_what_was_there_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "map.html").write_text("the old map")
    done = in_a_process(
        """
        import resource, signal, sys
        from pathlib import Path
        from loamwright.files import write_whole
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
        try:
            write_whole(Path(sys.argv[1]), b"x" * 1_000_000)
        except Exception as error:
            print(error)
        """,
        tmp_path / "map.html",
    )
    assert "it cannot be written: the file is larger than is allowed here" in done.stdout, done.stderr
    assert [one.name for one in tmp_path.iterdir()] == ["map.html"]
    assert (tmp_path / "map.html").read_text() == "the old map"


@pytest.mark.slow
def test_a_kill_leaves_one_of_the_two_whole_and_no_scratch(tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    code = """
    import sys
    from pathlib import Path
    from loamwright.files import write_whole
    print("ready", flush=True)
    while True:
        write_whole(Path(sys.argv[1]), b"a" * 3_000_000)
        write_whole(Path(sys.argv[1]), b"b" * 3_000_000)
    """
    left = 0
    for number in range(12):
        words = [sys.executable, "-c", textwrap.dedent(code), str(path)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as writer:
            assert writer.stdout is not None
            assert writer.stdout.readline() == "ready\n"
            time.sleep(0.004 * number + 0.01)
            writer.send_signal(signal.SIGKILL)
        if path.exists():
            content = path.read_bytes()
            assert content in (b"a" * 3_000_000, b"b" * 3_000_000)
            left += 1
        assert {one.name for one in tmp_path.iterdir()} <= {"map.html"}
    assert left > 0
