"""Work that takes long, in a process of its own: its stages as they come, the time so far, and a stop.

This file answers "how far is it, and can it be stopped?". A page stays quick while it runs; stopping ends the
process, and the property is as it was, since the work stores its result in one transaction at its end.
"""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from loamwright.errors import InputError, LoamwrightError, Problem


@dataclass(frozen=True, slots=True)
class Result:
    """What a piece of work says at its end, as texts.

    Parameters
    ----------
    sentences
        One after the other.
    heads, rows
        A table; empty = none.
    """

    sentences: tuple[str, ...]
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


#: What is done in the other process: its arguments, and whom to tell each stage.
Work = Callable[..., Result]


@dataclass(slots=True)
class Running:
    """One piece of long work.

    Parameters
    ----------
    title
        What it is, in words.
    began
        Clock at its start [s].
    stages
        (seconds since the start, what began then).
    ended, result, problems
        Seconds it took, or None while it runs; what it says; why it was refused.
    """

    title: str
    began: float
    stages: list[tuple[float, str]] = field(default_factory=list)
    ended: float | None = None
    result: Result | None = None
    problems: tuple[Problem, ...] = ()

    @property
    def seconds(self) -> float:
        """Time so far, or in all [s]."""
        return time.monotonic() - self.began if self.ended is None else self.ended


class LongWork:
    """At most one piece of long work at a time, and the last one's result."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._took: dict[str, float] = {}
        self.last: Running | None = None

    @property
    def busy(self) -> bool:
        """Whether something runs."""
        return self.last is not None and self.last.ended is None

    def estimate_s(self, title: str) -> float | None:
        """How long the same work took the last time [s]; None = not known yet."""
        return self._took.get(title)

    def start(self, title: str, work: Work, arguments: Mapping[str, Any]) -> None:
        """Start a piece of work.

        Raises
        ------
        InputError
            When another one is running.
        """
        with self._lock:
            if self.busy:
                assert self.last is not None
                what = f"{self.last.title} is still running"
                raise InputError([Problem("", what, "Wait for it, or stop it first.")])
            context = multiprocessing.get_context("spawn")
            receiver, sender = context.Pipe(duplex=False)
            process = context.Process(target=_do, args=(work, dict(arguments), sender), daemon=True)
            running = Running(title, time.monotonic())
            process.start()
            sender.close()
            self._process, self.last = process, running
        threading.Thread(target=self._follow, args=(process, receiver, running), daemon=True).start()

    def _follow(
        self, process: multiprocessing.process.BaseProcess, receiver: Connection, running: Running
    ) -> None:
        """Take in what the other process tells, until it ends."""
        told: tuple[Any, ...] = ("", None)
        try:
            while True:
                told = receiver.recv()
                if told[0] != "stage":
                    break
                running.stages.append((running.seconds, told[1]))
        except (EOFError, OSError):
            told = ("stopped", None)
        process.join()
        with self._lock:
            if told[0] == "done":
                running.result = told[1]
                self._took[running.title] = running.seconds
            elif told[0] == "refused":
                running.problems = told[1]
            elif not running.problems:
                what = "it was stopped before it was ready"
                running.problems = (Problem(running.title, what, "Nothing was changed. Start it again."),)
            running.ended = running.seconds

    def stop(self) -> None:
        """End what runs; nothing is changed by it."""
        with self._lock:
            if self._process is not None and self._process.is_alive():
                self._process.terminate()


def _do(work: Work, arguments: Mapping[str, Any], sender: Connection) -> None:
    """Do the work in the other process, and tell what becomes of it."""
    try:
        result = work(**arguments, progress=lambda stage: sender.send(("stage", stage)))
        sender.send(("done", result))
    except InputError as error:
        sender.send(("refused", error.problems))
    except LoamwrightError as error:
        sender.send(("refused", (Problem("", str(error), ""),)))
    except Exception as error:  # an error of ours: told, since the page waits for an end
        what = f"an error of ours: {type(error).__name__}: {error}"
        sender.send(("refused", (Problem("", what, "Nothing was changed. Please report it."),)))
