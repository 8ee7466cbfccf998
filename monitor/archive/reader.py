"""Reading the archive, also while the watch writes to it. A reader cannot change anything."""

import json
import math
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from operator import itemgetter
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

from monitor.archive import blocks, history
from monitor.archive.blocks import Block
from monitor.archive.boots import load_boots, load_offsets
from monitor.archive.opening import open_for_reading
from monitor.archive.records import Boot, Note, Offset, OutboxRow, Rollup, Series, SetupVersion
from monitor.archive.timeline import Stretch, Timeline
from monitor.effects import Flag, JournalRow, Text
from monitor.errors import ArchiveError
from monitor.inputs import Reading

Axis = Literal["elapsed", "utc"]
"""What the two ends of a span are: seconds of watch time, or UTC seconds."""

TAGS = "SELECT name FROM names WHERE kind = 'tag' ORDER BY name"
FLAGS = """
SELECT elapsed_ms, flag, test FROM flags JOIN names ON names.id = tag AND kind = 'tag'
WHERE boot = ? AND elapsed_ms >= ? AND elapsed_ms < ? AND name = ? ORDER BY elapsed_ms, test, flag
"""
JOURNAL = """
SELECT id, boot, elapsed, what, subject, state, grade, cause, who, evidence, text, event
FROM journal
WHERE boot = :boot AND elapsed >= :first / 1000.0 - 0.001 AND elapsed < :last / 1000.0 + 0.001
    AND round(elapsed * 1000.0) >= :first AND round(elapsed * 1000.0) < :last
"""
OF_EVENT = " AND event = :event"
NOTES = """
SELECT number, boot, elapsed, at, run, kind, who, way, said, amends, reason, origin FROM notes
WHERE (:run IS NULL OR run = :run) ORDER BY at, number
"""
OUTBOX = """
SELECT number, event, person, turn, grade, body, texts.boot, texts.elapsed, expires,
    channel, state, attempts, next_try, detail, outbox.boot, outbox.elapsed
FROM outbox JOIN texts ON number = text
"""
BY_TEXT = "ORDER BY number, channel"
SETUPS = "SELECT version, boot, elapsed, who, reason, files FROM setups ORDER BY version"


class Reader:
    """One read-only connection, for one thread at a time. Every method raises ArchiveError when
    the file cannot be read. A span holds its start and not its end."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db = open_for_reading(path)

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def boots(self) -> list[Boot]:
        with self._telling():
            return load_boots(self._db)

    def offsets(self) -> list[Offset]:
        """What the wall clock was found to be, in the order in which it was found."""
        with self._telling():
            return load_offsets(self._db)

    def timeline(self) -> Timeline:
        """Turns boot and elapsed into moments, by all offsets known now."""
        return Timeline(self.offsets())

    def tags(self) -> list[str]:
        """Tags that ever had a reading or a flag."""
        return [name for (name,) in self._all(TAGS)]

    def series(
        self, tag: str, start: float = -math.inf, end: float = math.inf, by: Axis = "elapsed"
    ) -> Iterator[Series]:
        """Readings of a tag as columns, some minutes of one boot and calibration at a time.

        For long spans: only one row of the archive is unpacked at a time.
        """
        with self._telling():
            yield from history.series(self._db, tag, self._stretches(start, end, by))

    def blocks(self, start: float, end: float, failing: frozenset[int]) -> dict[str, list[Block]]:
        """Rows of all tags that reach into a span of UTC, by tag and time, not unpacked.

        failing: quality flags that spoil a reading. For tables over a season.
        """
        with self._telling():
            return blocks.blocks(self._db, self._stretches(start, end, "utc"), failing)

    def readings(
        self, tag: str, start: float = -math.inf, end: float = math.inf, by: Axis = "elapsed"
    ) -> list[Reading]:
        """Readings of a tag by watch time, repeated ones as they came; UTC as known today."""
        timeline = self.timeline()
        found = [
            part.reading(i, timeline.moment(part.boot, elapsed))
            for part in self.series(tag, start, end, by)
            for i, elapsed in enumerate(part.elapsed)
        ]
        found.sort(key=lambda reading: (reading.moment.boot, reading.moment.elapsed))
        return found

    def rollup(
        self, tag: str, start: float, end: float, width: float, by: Axis = "elapsed"
    ) -> list[Rollup]:
        """Sums of a tag by cells of `width` seconds (60 for minutes), edges at its multiples.

        Cells at the ends of the span cover only what lies in it.
        """
        timeline = self.timeline()
        stretches = _stretches(timeline, start, end, by)
        with self._telling():
            return history.rollup(self._db, timeline, tag, stretches, width, by == "utc")

    def hours(
        self, tag: str, start: float = -math.inf, end: float = math.inf, by: Axis = "elapsed"
    ) -> list[Rollup]:
        """Sums of a tag by whole hours of watch time that touch the span: quick over months."""
        timeline = self.timeline()
        stretches = _stretches(timeline, start, end, by)
        with self._telling():
            return history.hours(self._db, timeline, tag, stretches)

    def view(self, tag: str, start: float, end: float, points: int) -> list[Rollup]:
        """A curve of at most so many points, each with lowest, mean and highest; UTC seconds.

        A point covers (end - start) / points seconds; one without readings is left out. To be
        quick, points over half an hour are made of whole hours, and those over five minutes of
        whole rows: what they are made of is counted where it begins.
        """
        width = (end - start) / points
        if width <= 300.0:
            return self.rollup(tag, start, end, width, by="utc")
        timeline = self.timeline()
        with self._telling():
            return history.view(self._db, timeline, tag, start, width, points)

    def flags(
        self, tag: str, start: float = -math.inf, end: float = math.inf, by: Axis = "elapsed"
    ) -> list[Flag]:
        """Quality flags other than 1; one reading may have several, each of another test."""
        return [
            Flag(tag, elapsed_ms / 1000.0, flag, test, boot)
            for boot, first, last, _ in self._stretches(start, end, by)
            for elapsed_ms, flag, test in self._all(FLAGS, (boot, first, last, tag))
        ]

    def journal(
        self,
        start: float = -math.inf,
        end: float = math.inf,
        by: Axis = "elapsed",
        event: int | None = None,
    ) -> list[JournalRow]:
        """Journal rows as they were written. event: only those that belong to this one."""
        timeline = self.timeline()
        query = JOURNAL if event is None else JOURNAL + OF_EVENT
        rows = [
            row
            for boot, first, last, _ in _stretches(timeline, start, end, by)
            for row in self._all(
                query, {"boot": boot, "first": first, "last": last, "event": event}
            )
        ]
        return [_journal_row(timeline, row) for row in sorted(rows, key=itemgetter(0))]

    def durable(self) -> dict[str, Any] | None:
        """The durable state as last committed; None if there never was one."""
        found = self._all("SELECT document FROM state")
        return json.loads(found[0][0]) if found else None

    def outbox(self, only_open: bool = False) -> list[OutboxRow]:
        """Texts by number and channel; only_open: those that are still to be sent."""
        timeline = self.timeline()
        rows = self._all(OUTBOX + ("WHERE next_try IS NOT NULL " if only_open else "") + BY_TEXT)
        return [_outbox_row(timeline, row) for row in rows]

    def setups(self) -> list[SetupVersion]:
        """Every version of the set-up that was in force, oldest first."""
        timeline = self.timeline()
        return [
            SetupVersion(version, timeline.moment(boot, elapsed), who, reason, json.loads(files))
            for version, boot, elapsed, who, reason, files in self._all(SETUPS)
        ]

    def notes(self, run: str | None = None) -> list[Note]:
        """Notes of people on a run (or on all), by the time they tell of; amended ones too."""
        timeline = self.timeline()
        return [
            Note(
                number,
                timeline.moment(boot, elapsed),
                at,
                of,
                kind,
                who,
                way,
                json.loads(said),
                *rest,
            )
            for number, boot, elapsed, at, of, kind, who, way, said, *rest in self._all(
                NOTES, {"run": run}
            )
        ]

    def last_note(self) -> int:
        """The highest number a note has, 0 if there is none."""
        (found,) = self._all("SELECT coalesce(max(number), 0) FROM notes")
        return int(found[0])

    def problems(self) -> list[str]:
        """A full check of the file: what is broken in it. It reads all of it: minutes on a card."""
        try:
            found = [line for (line,) in self._all("PRAGMA integrity_check")]
        except ArchiveError as error:
            return [str(error)]
        return [] if found == ["ok"] else found

    def _stretches(self, start: float, end: float, by: Axis) -> Iterator[Stretch]:
        return _stretches(self.timeline(), start, end, by)

    def _all(
        self, query: str, values: tuple[object, ...] | dict[str, object] = ()
    ) -> list[tuple[Any, ...]]:
        with self._telling():
            return self._db.execute(query, values).fetchall()

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """Errors of the database become errors that name the file."""
        try:
            yield
        except sqlite3.Error as error:
            raise ArchiveError(f"the archive {self._path} cannot be read: {error}") from error


def _stretches(timeline: Timeline, start: float, end: float, by: Axis) -> Iterator[Stretch]:
    return timeline.in_utc(start, end) if by == "utc" else timeline.in_elapsed(start, end)


def _journal_row(timeline: Timeline, row: tuple[Any, ...]) -> JournalRow:
    _, boot, elapsed, what, subject, state, grade, cause, who, evidence, text, event = row
    pairs = tuple((label, shown) for label, shown in json.loads(evidence))
    moment = timeline.moment(boot, elapsed)
    return JournalRow(moment, what, subject, state, grade, cause, who, pairs, text, event)


def _outbox_row(timeline: Timeline, row: tuple[Any, ...]) -> OutboxRow:
    number, event, person, turn, grade, body, boot, elapsed, expires = row[:9]
    said = timeline.moment(boot, elapsed)
    text = Text(number, event, person, turn, grade, body, said, expires)
    channel, state, attempts, next_try, detail, boot, elapsed = row[9:]
    moment = timeline.moment(boot, elapsed)
    return OutboxRow(text, channel, state, attempts, next_try, detail, moment)
