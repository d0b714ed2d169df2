"""Take in entries that were offered: what is asked, what is a correction, what the keeper is told.

This file answers "what becomes of this report?", alike for what a person types, a phone brings and a book
holds.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

from loamwright.errors import Level, Problem
from loamwright.land import PlotArea
from loamwright.needs import season_of
from loamwright.work.doubts import doubts, settled
from loamwright.work.records import Application, PropertyRecord

KEEP, CORRECT = "keep what is recorded", "take it as a correction"
#: Letters of an entry's id that name it in a question, where no other entry begins alike.
_MARK = 8


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What becomes of entries that were offered.

    Parameters
    ----------
    ready
        To be kept, some of them as corrections.
    same
        The same work as an entry on record, as was answered: not kept.
    asked
        What is still to be answered, or is refused.
    answered
        Questions that an answer was given to.
    """

    ready: tuple[Application, ...]
    same: tuple[Application, ...]
    asked: tuple[Problem, ...]
    answered: frozenset[str]


def take_in(
    entries: Sequence[Application],
    record: PropertyRecord,
    areas: Mapping[str, PlotArea],
    today: dt.date,
    answers: Mapping[str, str],
    *,
    marked: bool = False,
) -> TakenIn:
    """Hold entries against the record and against each other, and take them as was answered.

    Parameters
    ----------
    entries
        As offered, plots by their ids of now or of before.
    record, areas
        What the property holds with its newest plan, and the size of its plots.
    today
        Days after it are asked about.
    answers
        By question id.
    marked
        True where several entries are offered at once: each question names its entry.

    Returns
    -------
    TakenIn
    """
    now = record.former_names
    named = [replace(entry, plot_id=now.get(entry.plot_id, entry.plot_id)) for entry in entries]
    offered, asked_first = _as_corrections(named, record.applications, answers)
    known = {entry.entry_id for entry in record.applications}
    corrected = {entry.replaces for entry in offered}
    marks = _marks(offered) if marked else {}
    ready, same, asked = list[Application](), list[Application](), list(asked_first)
    questions = {f"entry.{entry.entry_id}" for entry in named}
    held = record  # with what is taken so far: entries that come together are held against each other
    for entry in offered:
        if entry.entry_id in known:
            ready.append(entry)
            continue
        beside = record if entry.entry_id in corrected else held
        found = tuple(doubts(entry, beside, areas, record.plan, today, marks.get(entry.entry_id, "")))
        questions |= {problem.question for problem in found if problem.question}
        kept, still = settled(entry, found, answers)
        asked.extend(still)
        if kept is None:
            same.append(entry)
        else:
            ready.append(kept)
            held = replace(held, applications=(*held.applications, kept))
    return TakenIn(tuple(ready), tuple(same), tuple(asked), frozenset(questions & answers.keys()))


def _marks(entries: Sequence[Application]) -> Mapping[str, str]:
    """Name each entry in a question: by the beginning of its id, or by all of it where others begin alike."""
    ids = [entry.entry_id for entry in entries]
    begins = [ident[:_MARK] for ident in ids]
    return {
        ident: short if begins.count(short) == 1 else ident for ident, short in zip(ids, begins, strict=True)
    }


def remarks(
    new: Sequence[Application], already_there: Sequence[Application], record: PropertyRecord
) -> tuple[Problem, ...]:
    """Say what a keeper of the record should know of entries that were kept.

    Parameters
    ----------
    new, already_there
        What was added, and what came again.
    record
        The property as it is now.

    Returns
    -------
    tuple of Problem
        Nobody named, a label unknown, a job of another plan, another season, an entry taken back.
    """
    return (
        *_taken_back(already_there, record),
        *_unnamed(new),
        *_unknown_products(new, record),
        *_unknown_jobs(new, record),
        *_other_seasons(new, record),
    )


def _as_corrections(
    entries: Sequence[Application], recorded: Sequence[Application], answers: Mapping[str, str]
) -> tuple[tuple[Application, ...], tuple[Problem, ...]]:
    """Turn entries that contradict the record into corrections of what stands there, where that is answered.

    The new id is made of the old one and the content, so that the same file again changes nothing.
    """
    known = {entry.entry_id: entry for entry in recorded}
    newer = {entry.replaces: entry.entry_id for entry in recorded if entry.replaces}
    result, asked = [], []
    for entry in entries:
        before = known.get(entry.entry_id)
        if before is None or before == entry.as_kept(before):
            result.append(entry)
            continue
        mark = hashlib.sha256(repr(entry).encode()).hexdigest()[:12]
        new_id = f"{entry.entry_id}-{mark}"
        if new_id in known:
            result.append(replace(entry, entry_id=new_id, replaces=known[new_id].replaces))
            continue
        ident = f"entry.{entry.entry_id}"
        answer = answers.get(ident)
        if answer == CORRECT:
            standing = entry.entry_id
            while standing in newer:
                standing = newer[standing]
            result.append(replace(entry, entry_id=new_id, replaces=standing))
        elif answer != KEEP:
            asked.append(
                Problem(
                    f"entry {entry.entry_id}",
                    f"it is recorded already and says something else now: {_differing(before, entry)}",
                    "Say which is to stand.",
                    question=ident,
                    choices=(CORRECT, KEEP),
                )
            )
    return tuple(result), tuple(asked)


def _differing(before: Application, now: Application) -> str:
    """What two entries of one id say otherwise."""
    now = now.as_kept(before)
    pairs = ((part.name, getattr(before, part.name), getattr(now, part.name)) for part in fields(Application))
    return "; ".join(f"{name} {was!s} → {is_now!s}" for name, was, is_now in pairs if was != is_now)


def _taken_back(entries: Sequence[Application], record: PropertyRecord) -> tuple[Problem, ...]:
    """Say which entries that came again were taken back, and so do not count."""
    withdrawn = {entry.replaces for entry in record.applications if entry.withdrawn}
    return tuple(
        Problem(
            f"entry {entry.entry_id}",
            f"{entry.product} on {entry.plot_id} is on record and was taken back: it does not count",
            "To have it again, undo the change that took it back: `changes` lists it.",
            Level.WARNING,
        )
        for entry in entries
        if entry.entry_id in withdrawn
    )


def _unnamed(entries: Sequence[Application]) -> tuple[Problem, ...]:
    """Say which entries name nobody who did it."""
    if any(not entry.operator for entry in entries):
        what = "nobody is named who spread it"
        return (Problem("record, operator", what, "Name them with `operator`.", Level.NOTE),)
    return ()


def _unknown_products(entries: Sequence[Application], record: PropertyRecord) -> tuple[Problem, ...]:
    """Say of which products put on nothing is known."""
    known = {product.product for product in record.products}
    unknown = dict.fromkeys(entry.product for entry in entries if entry.product not in known)
    return tuple(
        Problem(
            f"product {name}",
            "no label of it is on file, so what it brought is unknown and nothing is taken off a need",
            "Add the product with its label.",
            Level.WARNING,
        )
        for name in unknown
    )


def _unknown_jobs(entries: Sequence[Application], record: PropertyRecord) -> tuple[Problem, ...]:
    """Say which entries name a job that no plan here holds: a page of another copy, or another property."""
    kept = {(plan.plan_id, job.job_id) for plan in record.plans for job in plan.jobs}
    return tuple(
        Problem(
            f"entry {entry.entry_id}",
            f"it reports on job {entry.job_id} of plan {entry.plan_id}, which is not kept here; it counts by "
            f"plot {entry.plot_id} and {entry.product}",
            "Look whether it is of this property; `differs` holds two copies against each other.",
            Level.WARNING,
        )
        for entry in entries
        if entry.job_id and (entry.plan_id or "", entry.job_id) not in kept
    )


def _other_seasons(entries: Sequence[Application], record: PropertyRecord) -> Iterator[Problem]:
    """Say which entries the status of the season leaves out, because of their date."""
    season, start = record.info.season, record.info.settings.season_start
    others: dict[int, list[Application]] = {}
    for entry in entries:
        if (its := season_of(entry.applied_on, start)) != season:
            others.setdefault(its, []).append(entry)
    for its, found in sorted(others.items()):
        first = found[0]
        where, what = f"entry {first.entry_id}, applied_on", f"{first.applied_on} is not in season {season}"
        kept, count = f"what went on plot {first.plot_id} is kept", "does not count"
        if len(found) > 1:  # a book of years ago: said once a season
            where, what = f"{len(found)} entries, applied_on", f"they are of season {its}, not of {season}"
            kept, count = "they are kept", "do not count"
        yield Problem(
            where,
            f"{what}, so {kept} but {count} in this season's status",
            "If the date is wrong, enter it again with `corrects` and this id.",
            Level.WARNING,
        )
