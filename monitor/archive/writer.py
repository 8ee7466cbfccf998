"""The writer: the one thread that writes to the archive.

No call here waits for the disk. Readings and flags are gathered and written once an interval;
what must last goes in as one transaction with `synchronous=FULL` and answers through a `Ticket`.
While the disk refuses, the ticket says why, and everything stays in memory (readings and flags up
to a bound, the oldest give way and are counted). The writer tries again with each new commit and
at growing pauses. Trouble and its end are told once each.
"""

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from monitor.archive.boots import earlier_boot, stand_in
from monitor.archive.gathering import Gathering, Load
from monitor.archive.opening import is_damage, open_for_writing, set_aside
from monitor.archive.records import Boot, Offset, Opening, SetupVersion
from monitor.archive.store import Store, Witness
from monitor.archive.timeline import OffsetWatch
from monitor.archive.work import Batch, Delivery, Ticket, Work, drop_superseded
from monitor.effects import Flag, JournalRow, Text
from monitor.errors import ArchiveError
from monitor.inputs import Moment, Reading

log = logging.getLogger(__name__)

IDLE = 1.0
"""Seconds after which an idle writer looks up, so that `passes` shows that it lives."""

FIRST_PAUSE, LONGEST_PAUSE = 1.0, 60.0
"""Seconds between two tries while the disk refuses: doubled from the first to the longest."""

Report = Callable[[str, bool], None]
"""Called from the writer's thread: what is wrong with the record, and whether it is over."""


class Writer:
    """Keeps the archive at `path`. All methods may be called from any thread after `start`.

    transactions: how many were committed. passes: grows while the thread lives, at least once in
    IDLE seconds unless the disk hangs.
    """

    def __init__(self, path: Path, board: str, rig: str, report: Report) -> None:
        self.transactions = 0
        self.passes = 0
        self._path = path
        self._board, self._rig = board, rig
        self._report = report
        self._lock = threading.Lock()  # guards what other threads hand in, down to _utc
        self._works: list[Work] = []
        self._gathering = Gathering()
        self._offset_watch = OffsetWatch()
        self._offsets: list[Offset] = []
        self._boot: Boot | None = None
        self._utc = 0.0
        self._wake = threading.Event()
        self._closing = threading.Event()
        self._store: Store | None = None  # from here on only the writer's thread, once it runs
        self._boot_is_kept = False
        self._damaged = False
        self._in_doubt: tuple[Batch, Witness] | None = None
        self._last_kept = Work()
        self._trouble = ""
        self._last_boot = 0
        self._earlier_id: tuple[str, float] | None = None
        self._thread = threading.Thread(target=self._run, name="archive", daemon=True)

    def start(self, utc: float) -> Opening:
        """Open the archive and start the thread. An archive that cannot be written is no error.

        utc: names a damaged file that is set aside.
        """
        self._utc = utc
        aside, trouble = None, ""
        try:
            aside, earlier = self._open()
        except (sqlite3.Error, OSError, ArchiveError) as error:
            trouble, earlier = self._note(error), stand_in(utc)
        if earlier is not None:
            self._last_boot = max(self._last_boot, earlier.last.boot)
            self._earlier_id = earlier.boot_id, earlier.base
        self._thread.start()
        return Opening(aside, earlier, trouble)
