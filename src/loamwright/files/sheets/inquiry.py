"""Questions a sheet raises, each once, and their answers: given for this file, or kept for this lab.

A profile keeps the answers that hold for every file of a lab or dealer. What belongs to one file only (its
sampling day, a sample that stands twice) is asked again.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from loamwright.errors import AnswerError, InputError, Problem
from loamwright.files.sheets.records import LeftOut, Question, SheetContents
from loamwright.files.sheets.words.calendar_dates import read_printed_date
from loamwright.files.sheets.words.vocabulary import plain
from loamwright.files.whole import write_whole

#: An answer that leaves a thing unknown, always allowed.
NOT_KNOWN = "not known"

#: Beginnings of the ids of questions about one file, which no profile answers.
_OF_ONE_FILE = (
    *("twice.", "date.", "product.", "name.", "cell.", "weight.", "price.", "no-p.", "no-k."),
    *("formula", "hidden", "stored-dates"),
)

_FORMAT = "loamwright sheet profile 1"


@dataclass(slots=True)
class Inquiry:
    """Collects what a sheet asks, leaves out and remarks while it is read.

    Parameters
    ----------
    answers
        Answers by question id.
    questions, left_out, remarks
        Collected so far, in order.
    used
        Answers that were used, by id.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    used: dict[str, str] = field(default_factory=dict)

    def ask(
        self,
        ident: str,
        about: str,
        where: str,
        choices: Sequence[str],
        likely: str | None = None,
        accepts: Callable[[str], bool] = bool,
    ) -> str | None:
        """Return the answer to a question, or note the question and return None.

        A choice in angle brackets stands for a text of one's own, which `accepts` must allow.
        """
        offered = tuple(choices) if NOT_KNOWN in choices else (*choices, NOT_KNOWN)
        answer = self.answers.get(ident)
        if answer is None:
            if all(question.id != ident for question in self.questions):
                self.questions.append(Question(ident, about, where, offered, likely))
            return None
        free = any(choice.startswith("<") for choice in offered)
        if answer not in offered and not (free and accepts(answer)):
            what = f"{answer!r} is no answer to the question {ident} ({about})"
            raise AnswerError((Problem(where, what, f"Choose one of: {', '.join(offered)}."),))
        self.used[ident] = answer
        return answer

    def leave_out(self, what: str, where: str, count: int = 1) -> None:
        """Note rows, columns or sheets that were not taken."""
        self.left_out.append(LeftOut(what, where, count))

    def remark(self, text: str) -> None:
        """Note what a person should know, once."""
        if text not in self.remarks:
            self.remarks.append(text)


# ---------------------------------------------------------------------------------------------
# Profiles


@dataclass(frozen=True, slots=True)
class Profile:
    """What one lab, dealer or quarry does not print, as answered once.

    Parameters
    ----------
    name
        The lab or dealer.
    kind
        Kind of file: "soil tests", "products".
    headings
        Headings of its files, as `SheetContents.headings` gives them.
    answers
        Answers by question id.
    plots
        Plot id by sample label, where labels are not the plots' own.
    """

    name: str
    kind: str
    headings: tuple[str, ...]
    answers: Mapping[str, str] = field(default_factory=dict)
    plots: Mapping[str, str] = field(default_factory=dict)

    def fits(self, headings: Sequence[str]) -> bool:
        """Tell whether a file is of this lab's form: every heading of it was seen before.

        Parameters
        ----------
        headings
            Headings of the file.

        Returns
        -------
        bool
        """
        return bool(headings) and set(headings) <= set(self.headings)


def keep_answers(
    contents: SheetContents,
    name: str = "",
    earlier: Profile | None = None,
    plots: Mapping[str, str] | None = None,
) -> Profile:
    """Keep the answers a file was read with as the profile of its lab.

    Parameters
    ----------
    contents
        The file as read with answers.
    name
        The lab or dealer; as printed when not given.
    earlier
        A profile to add to.
    plots
        Plot id by sample label, to remember.

    Returns
    -------
    Profile
        With the answers that hold for every file of the lab, not those about this file.
    """
    known = earlier or Profile(name or contents.lab or contents.seller or contents.file, contents.kind, ())
    answers = {ident: answer for ident, answer in contents.answered.items() if _holds_for_all(ident, answer)}
    return Profile(
        name or known.name,
        contents.kind,
        tuple(dict.fromkeys((*known.headings, *contents.headings))),
        {**known.answers, **answers},
        {**known.plots, **(plots or {})},
    )


def _holds_for_all(ident: str, answer: str) -> bool:
    if ident.startswith(_OF_ONE_FILE):
        return False
    return not (ident == "sampled" and read_printed_date(answer) is not None)


def save_profile(path: Path, profile: Profile) -> None:
    """Write a profile to a file.

    Parameters
    ----------
    path
        Where to.
    profile
        The profile.
    """
    data = {
        "format": _FORMAT,
        "name": profile.name,
        "kind": profile.kind,
        "headings": list(profile.headings),
        "answers": dict(profile.answers),
        "plots": dict(profile.plots),
    }
    write_whole(path, json.dumps(data, ensure_ascii=False, indent=1) + "\n")


def load_profile(path: Path) -> Profile:
    """Read a profile that was kept.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    Profile

    Raises
    ------
    InputError
        When the file is missing or is no profile.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _no_profile(path, f"cannot be read: {error}") from error
    except (ValueError, RecursionError) as error:
        raise _no_profile(path, f"is no JSON: {error}") from error
    if not isinstance(data, dict) or data.get("format") != _FORMAT:
        raise _no_profile(path, "is no profile of a lab or dealer")
    texts = [data.get("name"), data.get("kind")]
    if not all(isinstance(text, str) for text in texts) or not _is_list_of_texts(data.get("headings")):
        raise _no_profile(path, "lacks name, kind or headings")
    answers, plots = data.get("answers", {}), data.get("plots", {})
    if not (_is_texts_by_name(answers) and _is_texts_by_name(plots)):
        raise _no_profile(path, "holds an answer that is no text")
    return Profile(str(data["name"]), str(data["kind"]), tuple(data["headings"]), answers, plots)


def _is_list_of_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _is_texts_by_name(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(item, str) for item in value.values())


def _no_profile(path: Path, what: str) -> InputError:
    fix = "Name a profile that was kept by reading a file of this lab with its answers."
    return InputError((Problem(path.name, f"the file {what}", fix),))


def normal_headings(names: Sequence[str]) -> tuple[str, ...]:
    """Return headings as a profile knows them: lower case, blanks as one, each once."""
    return tuple(dict.fromkeys(re.sub(r"\s+", " ", plain(name)) for name in names if name.strip()))
