"""The command line: parse, one call, an answer, an exit code.

The rooms: `cli` (assembles), `plan` and `buy` (their commands), `demo`, `answer` (how a command ends),
`results` (what is found), `text`, `plan_text` and `buy_text` (for people), `data` (for programs).
"""

from loamwright.commands.cli import app

__all__ = [
    "app",
]
