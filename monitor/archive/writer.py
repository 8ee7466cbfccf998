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

from monitor.archive.boots import stand_in
from monitor.archive.disk import Disk
from monitor.archive.gathering import Gathering
from monitor.archive.records import Boot, Delivery, Note, Offset, Opening, SetupVersion
from monitor.archive.timeline import OffsetWatch
from monitor.archive.work import Batch, Ticket, Work, drop_superseded
from monitor.effects import Flag, JournalRow, Text
from monitor.errors import ArchiveError
from monitor.inputs import Moment, Reading

log = logging.getLogger(__name__)

IDLE = 1.0
"""Seconds after which an idle writer looks up, so that `passes` shows that it lives."""

FIRST_PAUSE, LONGEST_PAUSE = 1.0, 10.0
"""Seconds between two tries while the disk refuses: doubled from the first to the longest."""

Report = Callable[[str, bool], None]
"""Told what is wrong with the record, and whether it is over; called from the writer's thread, and
once by `start` where the archive cannot be opened."""


class Writer:
    """Keeps the archive at `path`. Between `start` and `close` any thread may call the rest.

    passes: grows while the thread lives, at least once in LONGEST_PAUSE unless the disk hangs.
    """

    def __init__(self, path: Path, board: str, rig: str, report: Report) -> None:
        self.passes = 0
        self._board = board
        self._report = report
        self._disk = Disk(path, board, rig)
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._run, name="archive", daemon=True)
        self._lock = threading.Lock()  # guards all that follows up to the next comment
        self._closing = False
        self._works: list[Work] = []
        self._gathering = Gathering()
        self._offset_watch = OffsetWatch()
        self._offsets: list[Offset] = []
        self._boot: Boot | None = None
        self._utc = 0.0
        self._before: Boot | None = None  # set by start; the rest is the thread's own
        self._batch: Batch | None = None
        self._trouble = ""
        self._lost_before = (0, 0)

    @property
    def transactions(self) -> int:
        """How many transactions the disk has taken."""
        return self._disk.transactions

    @property
    def readings_lost(self) -> int:
        """Readings that gave way while the disk refused, or that had no usable time."""
        return self._gathering.readings_lost

    def start(self, utc: float) -> Opening:
        """Open the archive and start the thread; a disk that refuses is told, not raised.

        utc: the present, to name a damaged file that is set aside.
        """
        self._utc = utc
        aside, trouble = None, ""
        try:
            aside = self._disk.open(utc)
            self._before, earlier = self._disk.look_back()
        except (sqlite3.Error, OSError, ArchiveError) as error:
            self._disk.give_up(error)
            trouble, earlier = str(error), stand_in(utc)
            self._before = Boot(earlier.last.boot, "", "", 0.0)
            self._tell(trouble)
        self._thread.start()
        return Opening(aside, earlier, trouble)

    def open_boot(self, boot_id: str, base: float) -> int:
        """The number of this boot; a restart of the program within one boot has the same."""
        number = 1
        if self._before is not None:
            same = (self._before.boot_id, self._before.base) == (boot_id, base)
            number = self._before.number + (0 if same else 1)
        with self._lock:
            self._boot = Boot(number, self._board, boot_id, base)
        self._hand_in(Work())
        return number

    def readings(
        self, readings: Iterable[Reading], calibrations: Mapping[str, int], run: str = ""
    ) -> None:
        """Readings as delivered. calibrations: version in force by tag (1 where none is named)."""
        with self._lock:
            for reading in readings:
                self._see(reading.moment)
                self._gathering.add(reading, calibrations.get(reading.tag, 1), run)
            due = self._gathering.due
        if due and not self._trouble:
            self._wake.set()

    def flags(self, flags: Iterable[Flag]) -> None:
        """Quality flags of this boot's readings, gathered and written along with them."""
        with self._lock:
            self._gathering.flag(flags)

    def commit(
        self,
        durable: Mapping[str, object] | None = None,
        journal: Sequence[JournalRow] = (),
        texts: Sequence[tuple[Text, tuple[str, ...]]] = (),
        flags: Sequence[Flag] = (),
        setup: SetupVersion | None = None,
    ) -> Ticket:
        """All of it in one transaction. texts: each with the channels it is to go out by."""
        moments = [row.moment for row in journal] + [text.moment for text, _ in texts]
        if setup is not None:
            moments.append(setup.moment)
        with self._lock:
            for moment in moments:
                self._see(moment)
            self._gathering.flag(flags)
        return self._hand_in(Work(Ticket(), durable, journal, texts, setup))

    def delivery(
        self,
        text: int,
        channel: str,
        outcome: str,
        detail: str,
        moment: Moment,
        next_try: float | None = None,
    ) -> Ticket:
        """What came of a text on a channel: accepted, refused, unknown, given up, expired, retry.

        next_try: elapsed seconds of the next try; a row without one is settled (but "retry", which
        is then due at once).
        """
        report = Delivery(text, channel, outcome, detail, moment, next_try)
        return self._hand_in(Work(delivery=report))

    def notes(self, notes: Sequence[Note]) -> Ticket:
        """Notes of people, all of them or none, in one transaction."""
        with self._lock:
            for note in notes:
                self._see(note.entered)
        return self._hand_in(Work(notes=notes))

    def flush(self) -> Ticket:
        """Write what is gathered now."""
        return self._hand_in(Work(flush=True))

    def close(self, timeout: float) -> bool:
        """Write all that waits and end; False if that failed or took longer."""
        last = Work(flush=True)
        with self._lock:
            self._works.append(last)
            self._closing = True
        self._wake.set()
        self._thread.join(timeout)
        return last.ticket.wait(0.0) and not self._thread.is_alive()

    def _see(self, moment: Moment) -> None:
        self._utc = moment.utc
        new = self._offset_watch.see(moment)
        if new is not None:
            self._offsets.append(new)

    def _hand_in(self, work: Work) -> Ticket:
        with self._lock:
            self._works.append(work)
            if self._trouble:
                drop_superseded(self._works)
        self._wake.set()
        return work.ticket

    def _run(self) -> None:
        pause = 0.0
        while True:
            self._wake.wait(pause or IDLE)
            self._wake.clear()
            self.passes += 1
            with self._lock:
                closing = self._closing
                tried = [*(self._batch.works if self._batch else ()), *self._works]
            try:
                self._write_all()
                pause = 0.0
            except Exception as error:
                pause = min(max(FIRST_PAUSE, 2.0 * pause), LONGEST_PAUSE)
                log.exception("write_failed=True retry_in_s=%.0f", pause)
                self._fail(tried, error)
            if closing:
                self._disk.close()
                return

    def _write_all(self) -> None:
        """First the batch that failed, if one did, then what has come in since."""
        aside = self._disk.open(self._utc)
        if aside is not None:
            self._tell(f"the archive was damaged and is set aside as {aside.name}")
        news: list[str] = []
        while (batch := self._batch or self._next_batch()) is not None:
            self._batch = batch
            errors = self._disk.write(batch)
            for work, error in zip(batch.works, errors, strict=False):
                if error:
                    work.ticket.fail(error)
                else:
                    work.ticket.keep()
            self._batch = None
            news += errors
        if news:
            self._tell(next(filter(None, news), ""))

    def _next_batch(self) -> Batch | None:
        with self._lock:
            if not self._works and not self._gathering.due:
                return None
            works, self._works = tuple(self._works), []
            offsets, self._offsets = tuple(self._offsets), []
            load = self._gathering.take(any(work.alarming for work in works))
            return Batch(works, load, offsets, self._boot)

    def _fail(self, tried: Iterable[Work], error: Exception) -> None:
        """What came in since the try began has its own try, at once."""
        self._disk.give_up(error)
        wrong = str(error) or type(error).__name__
        for work in tried:
            work.ticket.fail(wrong)
        self._tell(wrong)

    def _tell(self, wrong: str) -> None:
        """Tell what is wrong when that changes, and the end of it ("")."""
        if wrong == self._trouble:
            return
        self._trouble = wrong
        gathered, (readings, flags) = self._gathering, self._lost_before
        lost = gathered.readings_lost - readings, gathered.flags_lost - flags
        end = "kept again; lost meanwhile: {} readings, {} flags".format(*lost)
        if wrong:
            log.error("record_kept=False error=%r", wrong)
        else:
            self._lost_before = gathered.readings_lost, gathered.flags_lost
            log.info("record_kept=True readings_lost=%d flags_lost=%d", *lost)
        try:
            self._report(wrong or end, not wrong)
        except Exception:
            log.exception("record_trouble=%r could not be told", wrong)
