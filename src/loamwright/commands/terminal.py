"""The screen of the command line: everything anybody wrote is shown as text.

A terminal obeys escape sequences, and some letters turn the order of a line around. This is the only console
of the program: whatever is printed on it passes `Terminal.render_str`, which writes such characters out
(``\\x1b``), so that what a file or a plot is called can neither colour, move, hide nor send anything.
"""

from __future__ import annotations

import re
from typing import Any

from rich.console import Console
from rich.text import Text

#: Control characters but line feed and tab, and what Unicode calls bidirectional formatting, line and
#: paragraph separators (The Unicode Standard, chapter 23, tables 23-1 and 23-2), and lone surrogates.
_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def as_text(text: str) -> str:
    """Write out the characters that a terminal would obey.

    Examples
    --------
    >>> as_text("North\\x1b[2J gate")
    'North\\\\x1b[2J gate'
    """
    return _OBEYED.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


class Terminal(Console):
    """A console that shows text as text: no pictures for ``:corn:``, no control characters.

    Parameters
    ----------
    stderr
        True for what is said beside the answer.
    """

    def __init__(self, stderr: bool = False) -> None:
        super().__init__(stderr=stderr, highlight=False, emoji=False)

    def render_str(self, text: str, **how: Any) -> Text:
        """Make one text of what is printed; tables and lines all come through here."""
        return super().render_str(as_text(text), **how)
