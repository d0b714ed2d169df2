"""What a plan and its records are asked for as free text: what is noted, by whom and when, and noting it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from loamwright import files
from loamwright.errors import InputError, Problem
from loamwright.upkeep.transaction import Changed, changing


@dataclass(frozen=True, slots=True)
class ChecklistEntry:
    """One entry that a plan and its records are asked for as free text.

    Parameters
    ----------
    number, title
        In the list, and what is asked for.
    plot_id
        Of one plot; empty = of the property.
    text
        What is noted; empty = nothing yet.
    made_by, made_at, change
        Who noted it, when, and the number of that change; empty and None when the journal does not know.
    """

    number: str
    title: str
    plot_id: str
    text: str
    made_by: str
    made_at: str
    change: int | None


def checklist(path: Path) -> tuple[ChecklistEntry, ...]:
    """List what a plan and its records are asked for as free text, noted or not.

    Parameters
    ----------
    path
        The property file.

    Returns
    -------
    tuple of ChecklistEntry
        In the order of the list; one for each plot that has a text of its own.
    """
    record = files.load(path)
    noted_by = {
        (number, record.former_names.get(plot, plot)): change
        for change in files.read_journal(path)
        for row in change.rows
        if row.table == "checklist"
        for number, plot in [map(str, row.key)]
    }
    entries = []
    for number, title in files.load_checklist().items():
        mine = sorted((plot_id, text) for (of, plot_id), text in record.checklist.items() if of == number)
        for plot_id, text in mine or [("", "")]:
            last = noted_by.get((number, plot_id)) if text else None
            who, when, change = (
                ("", "", None) if last is None else (last.made_by, last.made_at, last.change_id)
            )
            entries.append(ChecklistEntry(number, title, plot_id, text, who, when, change))
    return tuple(entries)


def fill_checklist(
    path: Path, number: str, plot: str, text: str, today: dt.date, by: str, was: str | None = None
) -> Changed:
    """Write the free text for one number of the list of what a plan and its records hold.

    Parameters
    ----------
    path
        The property file.
    number
        ``"1.3"``.
    plot
        For one plot; empty = for the property.
    text
        The text; ``"clear"`` takes it out.
    today
        Date for the season worked out.
    by
        Who.
    was
        What stood there when the writing began; None = whatever stands.

    Returns
    -------
    Changed

    Raises
    ------
    InputError
        When the number is none of the list, there is no such plot, or another text stands by now; nothing
        was changed.
    """
    titles = files.load_checklist()
    if number not in titles:
        listed = "; ".join(f"{key} {title}" for key, title in titles.items())
        raise InputError([Problem("note", f"{number!r} is no number of the list", f"There are: {listed}.")])
    with changing(path, today, f"note {number} {plot}".strip(), by) as editor:
        record = editor.record()
        plot_id = files.find(files.thing_of("plot"), record, plot).plot_id if plot else ""
        before = record.checklist.get((number, plot_id), "")
        if was is not None and was != before:
            what = f"it was {was or 'empty'} when you began, and is {before or 'empty'} now"
            fix = "Somebody changed it meanwhile: keep what is there, or keep yours in its place."
            where = f"note {number} {plot_id}".strip()
            raise InputError([Problem(where, what, fix, question="text", choices=("theirs", "mine"))])
        after = "" if text.strip().casefold() == "clear" else text.strip()
        editor.put_checklist(number, plot_id, after)
    title = f"{number} {titles[number]}" + (f", plot {plot_id}" if plot_id else "")
    return Changed(editor.change_id, f"Noted {title}.", ((number, before or "—", after or "—"),))
