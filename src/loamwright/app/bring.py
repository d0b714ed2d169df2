"""Taking files in: dropped, looked through, asked about, and only then taken."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from loamwright import files, season
from loamwright.app.pages import Ask, Go, Reply, Route, Shown, problems_of
from loamwright.app.things import back_of
from loamwright.errors import InputError, LoamwrightError, Problem
from loamwright.files import Imported

#: How many heaps of dropped files are kept until they are taken or left.
KEPT = 8


@dataclass(slots=True)
class Heap:
    """Files dropped together, waiting to be taken.

    Parameters
    ----------
    folder
        Where they lie until then, under names of ours.
    paths
        The files.
    back
        The page they were dropped on.
    kind
        What they hold, when their content does not tell; empty = it does.
    answers
        To the questions they raised, by question id.
    """

    folder: TemporaryDirectory[str]
    paths: list[Path] = field(default_factory=list)
    back: str = "/"
    kind: str = ""
    answers: dict[str, str] = field(default_factory=dict)


_heaps: OrderedDict[str, Heap] = OrderedDict()


def drop(ask: Ask) -> Reply:
    """Keep the files that were dropped, and go on to what they hold."""
    if not ask.uploads:
        raise InputError([Problem("files", "no file was chosen", "Choose one, or drop it on the page.")])
    heap = Heap(TemporaryDirectory(prefix="loamwright-"), back=back_of(ask, "/"))
    heap.kind = ask.form.get("kind", "")
    for number, upload in enumerate(ask.uploads, 1):
        # A name of ours: the sender's decides only the ending, and what people read.
        suffix = "".join(c for c in Path(upload.name).suffix if c.isalnum() or c == ".")[:12].lower()
        stem = "".join(c if c.isalnum() or c in "-_ ." else "_" for c in Path(upload.name).stem)[:80]
        folder = Path(heap.folder.name)
        path = folder / f"{stem.strip('. ') or 'file'}{suffix}"
        if path.exists():
            path = folder / f"{stem}-{number}{suffix}"
        files.lay_down(path.parent, path.name, upload.content)
        heap.paths.append(path)
    # The parts of a shapefile are read by their .shp.
    if any(path.suffix == ".shp" for path in heap.paths):
        heap.paths = [path for path in heap.paths if path.suffix not in (".shx", ".dbf", ".prj", ".cpg")]
    ident = secrets.token_urlsafe(9)
    _heaps[ident] = heap
    while len(_heaps) > KEPT:
        _heaps.popitem(last=False)[1].folder.cleanup()
    return Go(f"/bring/{ident}")


def _heap(ask: Ask) -> Heap:
    heap = _heaps.get(ask.parts["heap"])
    if heap is None:
        what = "these files are not held any more"
        raise InputError([Problem("files", what, "Drop them again: nothing of them was stored.")])
    return heap


def _taken(ask: Ask, heap: Heap, preview: bool) -> Imported:
    today = ask.desk.today
    return files.import_files(
        ask.desk.path,
        heap.paths,
        heap.kind or None,
        None,
        preview=preview,
        check=lambda record: season.worked_out(record, today),
        answers=heap.answers,
        today=today,
    )


def look(ask: Ask) -> Reply:
    """Show what the files hold and what would change; nothing is stored."""
    return _page(ask, _heap(ask))


def _page(ask: Ask, heap: Heap, problems: Sequence[Problem] = ()) -> Shown:
    found, refused = None, tuple(problems)
    if not refused:
        try:
            found = _taken(ask, heap, preview=True)
        except LoamwrightError as error:
            refused = problems_of(error)
    filled: Mapping[str, object] = {
        "heap": ask.parts["heap"],
        "names": [path.name for path in heap.paths],
        "found": found,
        "kind": heap.kind,
        "kinds": files.KINDS,
        "questions": [one for one in (*refused, *(found.problems if found else ())) if one.question],
        "answers": heap.answers,
        "problems": [one for one in refused if not one.question],
        "back_to": heap.back,
    }
    return Shown("app_bring.html", filled, 422 if refused else 200)


def take(ask: Ask) -> Reply:
    """Take them, or say again what they hold."""
    heap = _heap(ask)
    if ask.form.get("what") == "leave":
        _heaps.pop(ask.parts["heap"]).folder.cleanup()
        return Go(heap.back)
    if "kind" in ask.form and ask.form["kind"] != heap.kind:
        heap.kind = ask.form["kind"]
        return Go(f"/bring/{ask.parts['heap']}")
    told = {key.partition(".")[2]: text for key, text in ask.form.items() if key.startswith("answer.")}
    own = {key.partition(".")[2]: text for key, text in ask.form.items() if key.startswith("own.")}
    heap.answers |= told | {ident: text for ident, text in own.items() if text}
    if ask.form.get("what") == "answer":
        return Go(f"/bring/{ask.parts['heap']}")
    if ask.form.get("what") == "again":
        heap.answers.clear()
        return Go(f"/bring/{ask.parts['heap']}")
    try:
        found = _taken(ask, heap, preview=False)
    except LoamwrightError as error:
        return _page(ask, heap, problems_of(error))
    _heaps.pop(ask.parts["heap"]).folder.cleanup()
    return Shown("app_brought.html", {"found": found, "back_to": heap.back, "problems": found.problems})


ROUTES = (Route("/bring", send=drop), Route("/bring/{heap}", look, take))
