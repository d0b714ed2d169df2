"""Forms: a thing of the property as fields to fill in, and what was typed as changes of it.

This file answers "which fields does the form show, and what did the person change?". A field is as it was or
typed over; only what was typed over is changed, and a form filled from an older state is asked about, not
written over what stands now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from loamwright import files
from loamwright.app.pages import Ask
from loamwright.app.wording import example_of, label_of
from loamwright.errors import Problem
from loamwright.work import PropertyRecord

#: Begins the name of the field that carries what a form was filled with.
WAS = "was."


@dataclass(frozen=True, slots=True)
class FormField:
    """One field of a form.

    Parameters
    ----------
    name, label, help, example
        As on the command line; in words; one line; how a value is written, empty = in words.
    was, value
        What the form was filled with, and what stands in it now.
    wrong
        What is wrong with it, each with what to do.
    """

    name: str
    label: str
    help: str
    example: str
    was: str
    value: str
    wrong: tuple[str, ...] = ()


def form_of(
    record: PropertyRecord,
    word: str,
    name: str | None,
    typed: Mapping[str, str],
    problems: Iterable[Problem] = (),
    only: Collection[str] | None = None,
) -> tuple[FormField, ...]:
    """Return the fields of a thing, filled with what stands or with what was typed.

    Parameters
    ----------
    record
        The property.
    word, name
        Which thing; None = a new one.
    typed
        What was sent and refused, by field; empty = a fresh form.
    problems
        Why it was refused.
    only
        Names of the fields shown; None = all.

    Returns
    -------
    tuple of FormField
    """
    thing = files.thing_of(word)
    item = None if name is None else files.find(thing, record, name)
    wrong: dict[str, list[str]] = {}
    asked = set()
    for problem in problems:
        wrong.setdefault(field_of(problem), []).append(f"{problem.what}. {problem.fix}".strip())
        if problem.question:
            asked.add(problem.question)
    found = []
    for field in files.fields_of(thing, record).values():
        if only is not None and field.name not in only:
            continue
        stands = "" if item is None else files.text_of(field, item, record.info.units)
        found.append(
            FormField(
                field.name,
                label_of(field.name),
                field.help,
                example_of(field.name, field.kind.example, record.info.units == "metric"),
                # Asked about once: sent again, the form stands on what is there now.
                stands if field.name in asked else typed.get(WAS + field.name, stands),
                typed.get(field.name, stands),
                tuple(wrong.get(field.name, ())),
            )
        )
    return tuple(found)


def field_of(problem: Problem) -> str:
    """Name the field a problem is about; empty = the whole form."""
    return problem.where.rpartition(", ")[2].strip().replace(" ", "_")


def elsewhere(problems: Iterable[Problem], fields: Iterable[FormField]) -> tuple[Problem, ...]:
    """Return the problems that no field of the form shows."""
    shown = {field.name for field in fields}
    return tuple(problem for problem in problems if field_of(problem) not in shown)


def typed_over(ask: Ask) -> tuple[Sequence[str], Mapping[str, str]]:
    """Say what a person changed in a form, and what the form was filled with.

    Returns
    -------
    (tuple of str, mapping)
        ``"field=value"`` of each field typed over, ``clear`` where it was emptied; what those fields held.
    """
    texts, expected = [], {}
    for key, was in ask.form.items():
        if not key.startswith(WAS):
            continue
        name = key.removeprefix(WAS)
        value = ask.form.get(name, "").strip()
        if value != was.strip():
            texts.append(f"{name}={value or 'clear'}")
            expected[name] = was
    return tuple(texts), expected


def filled_in(ask: Ask) -> Sequence[str]:
    """Say what a person filled in on a form for something new."""
    names = (key.removeprefix(WAS) for key in ask.form if key.startswith(WAS))
    return tuple(f"{name}={ask.form[name].strip()}" for name in names if ask.form.get(name, "").strip())
