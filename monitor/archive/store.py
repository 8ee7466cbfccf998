"""Every statement that writes to the archive. The caller opens and closes the transaction."""

import json
import sqlite3
from collections.abc import Iterable, Sequence

from monitor.archive.gathering import Row, to_ms
from monitor.archive.packing import Scale
from monitor.archive.records import (
    OUTCOMES,
    WITHOUT_ATTEMPT,
    Boot,
    Delivery,
    Note,
    Offset,
    SetupVersion,
)
from monitor.archive.timeline import FARTHEST_MS
from monitor.effects import Flag, JournalRow, Text

HOUR_MS = 3_600_000
HOURS_AT_ONCE_MS = 6 * HOUR_MS
"""The hour table is kept in order of tags, so each addition touches a page a tag. Adding six hours
at a time writes 0.8 MB a day for 20 tags, adding each hour 2.7; the rest is summed when asked for.
"""

Witness = tuple[str, tuple[object, ...]]
"""A query that finds something if, and only if, the transaction it came from was kept."""


class Store:
    """The writing side of one connection; after a failed transaction it is of no more use."""

    def __init__(self, connection: sqlite3.Connection, board: str, rig: str) -> None:
        self.db = connection
        self._board = board
        self._rig = rig
        self._names: dict[tuple[str, str], int] = {}
        self._scales: dict[Scale, int] = {}

    def close(self) -> None:
        self.db.close()

    def begin(self) -> None:
        self.db.execute("BEGIN IMMEDIATE")

    def commit(self) -> None:
        self.db.execute("COMMIT")

    def mark(self) -> None:
        """What is written from here on can be undone alone."""
        self.db.execute("SAVEPOINT work")

    def keep_marked(self) -> None:
        self.db.execute("RELEASE work")

    def undo_marked(self) -> None:
        self._names.clear()
        self._scales.clear()
        self.db.execute("ROLLBACK TO work")
        self.db.execute("RELEASE work")

    def holds(self, witness: Witness) -> bool:
        return self.db.execute(*witness).fetchone() is not None

    def boot(self, boot: Boot) -> None:
        self.db.execute(
            "INSERT OR IGNORE INTO boots VALUES (?, ?, ?, ?)",
            (boot.number, self._name("board", boot.board), _plain(boot.boot_id), boot.base),
        )

    def offsets(self, offsets: Iterable[Offset]) -> None:
        self.db.executemany(
            "INSERT INTO offsets (boot, since, ahead, trusted) VALUES (?, ?, ?, ?)",
            [(o.boot, o.since, o.ahead, o.trusted) for o in offsets],
        )

    def rows(self, rows: Sequence[Row]) -> Witness | None:
        """Rows of readings, and the hours that are complete with them."""
        witness: Witness | None = None
        for row in sorted(rows, key=lambda row: (row.boot, row.packed.start_ms)):
            witness = self._row(row)
        for boot in {row.boot for row in rows}:
            starts = [row.packed.start_ms for row in rows if row.boot == boot]
            self._hours(boot, min(starts), max(starts))
        return witness

    def _row(self, row: Row) -> Witness:
        packed = row.packed
        place = (row.boot, packed.start_ms, self._name("tag", row.tag))
        found = self.db.execute(
            "SELECT max(part) FROM readings WHERE boot = ? AND start_ms = ? AND tag = ?", place
        ).fetchone()[0]
        part = 0 if found is None else found + 1
        values = (
            *place,
            part,
            self._name("board", self._board),
            self._name("rig", self._rig),
            self._name("run", row.run),
            row.calibration,
            packed.span_ms,
            packed.n,
            packed.left_out,
            packed.low,
            packed.total,
            packed.high,
            self._scale(packed.scale),
            packed.form,
            packed.base,
            packed.numbers,
            packed.times,
            packed.problems,
        )
        self.db.execute(f"INSERT INTO readings VALUES ({', '.join('?' * len(values))})", values)
        return (
            "SELECT 1 FROM readings WHERE boot = ? AND start_ms = ? AND tag = ? AND part = ?",
            (*place, part),
        )

    def _hours(self, boot: int, first_ms: int, last_ms: int) -> None:
        """Sum the hours up to the last block that is over; late rows have theirs summed again."""
        until = last_ms // HOURS_AT_ONCE_MS * HOURS_AT_ONCE_MS
        found = self.db.execute(
            "SELECT until_ms FROM hours_made WHERE boot = ?", (boot,)
        ).fetchone()
        made = -FARTHEST_MS if found is None else found[0]
        start, until = min(first_ms // HOUR_MS * HOUR_MS, made), max(until, made)
        if start < until:
            span = {"boot": boot, "start": start, "end": until, "tag": None}
            self.db.execute("INSERT OR REPLACE INTO hours " + HOUR_SUMS, span)
            self.db.execute("INSERT OR REPLACE INTO hours_made VALUES (?, ?)", (boot, until))

    def flags(self, flags: Iterable[tuple[int, Flag]]) -> None:
        self.db.executemany(
            "INSERT OR IGNORE INTO flags VALUES (?, ?, ?, ?, ?)",
            [
                (
                    boot,
                    to_ms(flag.elapsed),
                    self._name("tag", flag.tag),
                    _plain(flag.test),
                    flag.flag,
                )
                for boot, flag in flags
            ],
        )

    def journal(self, rows: Iterable[JournalRow]) -> Witness | None:
        last: int | None = None
        for row in rows:
            fields = (row.what, row.subject, row.state, row.grade, row.cause, row.who)
            values = (
                row.moment.boot,
                row.moment.elapsed,
                *map(_plain, fields),
                json.dumps(row.evidence),
                _plain(row.text),
                row.event,
            )
            last = self.db.execute(
                "INSERT INTO journal (boot, elapsed, what, subject, state, grade, cause, who,"
                " evidence, text, event) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                values,
            ).lastrowid
        return None if last is None else ("SELECT 1 FROM journal WHERE id = ?", (last,))

    def notes(self, notes: Iterable[Note]) -> Witness | None:
        """Notes of people under the numbers they were given; IntegrityError if one is taken."""
        last: int | None = None
        for note in notes:
            said = {_plain(key): _plain(text) for key, text in note.said.items()}
            words = map(_plain, (note.run, note.kind, note.who, note.way))
            values = (note.number, note.entered.boot, note.entered.elapsed, note.at, *words)
            values = (*values, json.dumps(said), note.amends, _plain(note.reason))
            self.db.execute(
                "INSERT INTO notes VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (*values, _plain(note.origin)),
            )
            last = note.number
        return None if last is None else ("SELECT 1 FROM notes WHERE number = ?", (last,))

    def state(self, durable: object) -> None:
        self.db.execute("INSERT OR REPLACE INTO state VALUES (1, ?)", (json.dumps(durable),))

    def setup(self, setup: SetupVersion) -> Witness:
        self.db.execute(
            "INSERT INTO setups VALUES (?, ?, ?, ?, ?, ?)",
            (
                setup.version,
                setup.moment.boot,
                setup.moment.elapsed,
                _plain(setup.who),
                _plain(setup.reason),
                json.dumps(dict(setup.files)),
            ),
        )
        return "SELECT 1 FROM setups WHERE version = ?", (setup.version,)

    def text(self, text: Text, channels: Iterable[str]) -> Witness:
        """A text to be sent, and an open row for each channel."""
        moment = text.moment
        words = map(_plain, (text.person, text.turn, text.grade, text.body))
        self.db.execute(
            "INSERT INTO texts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (text.number, text.event, *words, moment.boot, moment.elapsed, text.expires),
        )
        self.db.executemany(
            "INSERT INTO outbox VALUES (?, ?, 'waiting', 0, ?, '', ?, ?)",
            [(text.number, c, moment.elapsed, moment.boot, moment.elapsed) for c in channels],
        )
        return "SELECT 1 FROM texts WHERE number = ?", (text.number,)

    def delivery(self, report: Delivery) -> None:
        """What came of a text on a channel. ValueError if the text was never stored."""
        if report.outcome not in OUTCOMES:
            raise ValueError(f"no such outcome of a delivery: {report.outcome!r}")
        state, next_try = report.outcome, report.next_try
        if report.outcome == "retry":
            state = "waiting"
            next_try = report.moment.elapsed if next_try is None else next_try
        tried = report.outcome not in WITHOUT_ATTEMPT
        moment = report.moment
        change = (state, tried, next_try, _plain(report.detail), moment.boot, moment.elapsed)
        changed = self.db.execute(
            "UPDATE outbox SET state = ?, attempts = attempts + ?, next_try = ?, detail = ?,"
            " boot = ?, elapsed = ? WHERE text = ? AND channel = ?",
            (*change, report.text, report.channel),
        ).rowcount
        if changed == 0:
            raise ValueError(f"no text {report.text} for {report.channel!r} in the outbox")

    def _name(self, kind: str, name: str) -> int:
        """The number of a name, 0 of none."""
        if not name:
            return 0
        if (kind, name) not in self._names:
            self.db.execute(
                "INSERT OR IGNORE INTO names (kind, name) VALUES (?, ?)", (kind, _plain(name))
            )
            self._names[kind, name] = self.db.execute(
                "SELECT id FROM names WHERE kind = ? AND name = ?", (kind, _plain(name))
            ).fetchone()[0]
        return self._names[kind, name]

    def _scale(self, scale: Scale | None) -> int:
        if scale is None:
            return 0
        if scale not in self._scales:
            self.db.execute("INSERT OR IGNORE INTO scales (up, down) VALUES (?, ?)", scale)
            self._scales[scale] = self.db.execute(
                "SELECT id FROM scales WHERE up = ? AND down = ?", scale
            ).fetchone()[0]
        return self._scales[scale]


HOUR_SUMS = f"""
SELECT tag, boot, start_ms / {HOUR_MS} AS hour, sum(n - left_out),
    min(low * coalesce(up, 1.0) / coalesce(down, 1.0)),
    sum(total * coalesce(up, 1.0) / coalesce(down, 1.0)),
    max(high * coalesce(up, 1.0) / coalesce(down, 1.0))
FROM readings LEFT JOIN scales ON scales.id = scale
WHERE boot = :boot AND start_ms >= :start AND start_ms < :end AND (:tag IS NULL OR tag = :tag)
    AND low IS NOT NULL
GROUP BY tag, hour
"""
"""Columns of `hours`, summed from the rows of readings of one boot (and of one tag, or all)."""


def _plain(text: str) -> str:
    """Text that can be stored: half a surrogate pair is written out as an escape."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
