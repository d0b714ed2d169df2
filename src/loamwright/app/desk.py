"""The property that lies open: its season by the state of the file, and what the tabs are told.

This file answers "what does the file hold now?". The season is worked out once for each state of the file,
whoever changed it: a tab, the command line, or another program.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from pathlib import Path

from loamwright import fieldmap, season
from loamwright.errors import PropertyFileError
from loamwright.money import tell_money_in
from loamwright.season import Season

#: State of a file: changes when anybody writes to it, or puts another file in its place.
Mark = tuple[int, int, int]


class Desk:
    """One property, open for any number of tabs.

    Parameters
    ----------
    path
        The property file; None = none is open yet.
    today
        Asked for the date each time it is needed.
    """

    def __init__(self, path: Path | None, today: Callable[[], dt.date]) -> None:
        self._lock = threading.RLock()
        self._path = path
        self._today = today
        self._season: Season | None = None
        self._season_mark: tuple[Mark, dt.date] | None = None
        self._pages: fieldmap.MapData | None = None

    @property
    def today(self) -> dt.date:
        """The date where the user is."""
        return self._today()

    @property
    def is_open(self) -> bool:
        """Whether a property is open."""
        return self._path is not None

    @property
    def path(self) -> Path:
        """The property file.

        Raises
        ------
        PropertyFileError
            When none is open.
        """
        if self._path is None:
            raise PropertyFileError("no property is open yet; open one on the Start page")
        return self._path

    def open(self, path: Path) -> None:
        """Open another property; the one before is left as it is.

        Raises
        ------
        PropertyFileError
            When it is missing, not ours, busy or damaged; the one before stays open.
        """
        found = season.view(path, self.today)
        with self._lock:
            self._path, self._season, self._season_mark, self._pages = path, found, None, None

    def mark(self) -> Mark:
        """State of the file now.

        Raises
        ------
        PropertyFileError
            When it is gone: moved, renamed or deleted.
        """
        try:
            stat = self.path.stat()
        except OSError as error:
            what = (
                f"it is not there any more ({error.strerror}): moved, renamed or on a drive that was taken "
                "out; put it back, or open it from where it is on the Start page"
            )
            raise PropertyFileError(what, str(self.path)) from error
        return stat.st_mtime_ns, stat.st_size, stat.st_ino

    def mark_text(self) -> str:
        """State of the file now, as the pages compare it.

        Raises
        ------
        PropertyFileError
            When it is gone: moved, renamed or deleted.
        """
        return "-".join(map(str, self.mark()))

    @property
    def season(self) -> Season:
        """The season as the file stands now.

        Raises
        ------
        PropertyFileError
            When the file is missing, not ours, newer than this program, busy or damaged.
        """
        with self._lock:
            mark = (self.mark(), self.today)
            if self._season is None or mark != self._season_mark:
                self._season = season.view(self.path, self.today)
                self._season_mark, self._pages = mark, None
            tell_money_in(self._season.record.info.currency)
            return self._season

    @property
    def words(self) -> fieldmap.MapData | None:
        """Every text and figure of the season as the field map says it; None without plots."""
        with self._lock:
            view = self.season
            if self._pages is None and view.record.plots:
                self._pages = fieldmap.map_data(view)
            return self._pages
