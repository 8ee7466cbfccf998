"""The writer: the one thread that writes to the archive, and what it is handed.

No call waits for the disk. Readings and flags are gathered and written once an interval; what
must last goes in as one transaction with `synchronous=FULL` and answers through a `Ticket`. While
the disk refuses, the ticket says why, everything is kept in memory (readings and flags up to a
bound, the oldest give way and are counted), and the writer tries again with each new commit and at
growing pauses. The trouble, and its end, are told once each.
"""

import logging
import sqlite3
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from monitor.archive.gathering import Gathering, Load
from monitor.archive.opening import is_damage, open_for_writing
from monitor.archive.reader import earlier_boot
from monitor.archive.records import Boot, Offset, SetupVersion
from monitor.archive.store import Store, Witness
from monitor.archive.timeline import OffsetWatch
from monitor.clock import EarlierBoot
from monitor.effects import Flag, JournalRow, Text
from monitor.errors import ArchiveError
from monitor.inputs import Moment, Reading

log = logging.getLogger(__name__)

IDLE = 1.0
"""Seconds after which an idle writer looks up, so that `passes` shows that it lives."""

FIRST_PAUSE, LONGEST_PAUSE = 1.0, 60.0
"""Seconds between two tries while the disk refuses: doubled from the first to the longest."""

ALARMING = frozenset({"condition", "alarm", "event"})
"""Journal rows that take the gathered readings to the disk with them: they are the evidence."""

Report = Callable[[str, bool], None]
"""Told from the writer's thread: what is wrong with the record, and whether it is over."""

OUTSIDE = (sqlite3.OperationalError, OSError, ArchiveError)
"""Errors of the disk or the file; sqlite3.DatabaseError itself, not a child of it, is one too."""


class Ticket:
    """A commit under way. error: why the last try failed, "" while none did."""

    def __init__(self) -> None:
        self.error = ""
        self._kept = False
        self._known = threading.Event()

    def wait(self, timeout: float) -> bool:
        """Whether it is on the disk, after at most so many seconds; False at once if a try failed.

        What failed for an outside cause is tried again, so False may become True later.
        """
        self._known.wait(timeout)
        return self._kept

    def keep(self) -> None:
        self._kept, self.error = True, ""
        self._known.set()

    def fail(self, error: str) -> None:
        self.error = error
        self._known.set()


@dataclass(frozen=True, slots=True)
class Opening:
    """How the start went. set_aside: where a damaged archive was put, None if there was none.

    earlier: what is known of the last time the watch ran; None on a new archive.
    trouble: why the archive cannot be written now, "" if it can.
    """

    set_aside: Path | None
    earlier: EarlierBoot | None
    trouble: str


@dataclass(slots=True)
class Work:
    """What belongs into one transaction."""

    ticket: Ticket = field(default_factory=Ticket)
    durable: Mapping[str, object] | None = None
    journal: Sequence[JournalRow] = ()
    texts: Sequence[tuple[Text, tuple[str, ...]]] = ()
    setup: SetupVersion | None = None
    delivery: tuple[int, str, str, str, Moment, float | None] | None = None
    flushes: bool = False


@dataclass(frozen=True, slots=True)
class Batch:
    """What one try takes to the disk, in one transaction."""

    works: tuple[Work, ...]
    load: Load
    offsets: tuple[Offset, ...]
    boot: Boot | None

    def __bool__(self) -> bool:
        return bool(self.works or self.load.rows or self.load.flags or self.boot)
