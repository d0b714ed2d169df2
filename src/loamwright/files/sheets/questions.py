"""Questions a sheet raises, each once, and the answers given for it or kept in a profile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from loamwright.files.sheets.records import LeftOut, Question

#: An answer that leaves a thing unknown, always allowed.
NOT_KNOWN = "not known"


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
        Ids whose answer was used.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    used: dict[str, str] = field(default_factory=dict)

    def ask(
        self, ident: str, about: str, where: str, choices: Sequence[str], likely: str | None = None
    ) -> str | None:
        """Return the answer to a question, or note the question and return None."""
        answer = self.answers.get(ident)
        if answer is not None:
            self.used[ident] = answer
            return answer
        if all(question.id != ident for question in self.questions):
            offered = tuple(choices) if NOT_KNOWN in choices else (*choices, NOT_KNOWN)
            self.questions.append(Question(ident, about, where, offered, likely))
        return None

    def leave_out(self, what: str, where: str, count: int = 1) -> None:
        """Note rows, columns or sheets that were not taken."""
        self.left_out.append(LeftOut(what, where, count))

    def remark(self, text: str) -> None:
        """Note what a person should know, once."""
        if text not in self.remarks:
            self.remarks.append(text)
