"""Rows of readings in bulk, all tags of a span at once, with their sums and not unpacked.

For tables over a season: a row of even spacing that crosses no limit need not be unpacked, and
that is nearly every row.
"""

import sqlite3
from bisect import bisect_left
from collections.abc import Iterable
from operator import attrgetter
from typing import Any, NamedTuple

from monitor.archive.history import positions_in
from monitor.archive.packing import Packed, Scale, Sums, spacing, unpack
from monitor.archive.store import HOUR_MS
from monitor.archive.timeline import Stretch

ROWS = """
SELECT tag, start_ms, span_ms, n, left_out, low, total, high, scale, form, base, numbers, times,
    problems, calibration
FROM readings WHERE boot = ? AND start_ms >= ? AND start_ms < ?
"""
"""In the order of the key, which is that of time: tags of one five minutes lie side by side."""

FLAGGED = """
SELECT name, elapsed_ms FROM flags JOIN names ON names.id = tag AND kind = 'tag'
WHERE boot = ? AND elapsed_ms >= ? AND elapsed_ms < ? AND flag IN ({})
"""


class Block(NamedTuple):
    """A row of readings of one tag, as it comes from the table, for as far as it lies in a stretch.

    Built for hundreds of thousands of them: it works nothing out before it is asked.
    row: the columns of ROWS but the tag. scale: of its values, None for plain doubles.
    failed: whether a flag that was asked for stands on one of its readings.
    """

    stretch: Stretch
    row: tuple[Any, ...]
    scale: Scale | None
    failed: bool

    @property
    def start_ms(self) -> int:
        """UTC of the first reading, ms."""
        return int(self.row[1] + self.stretch.ahead_ms)

    @property
    def end_ms(self) -> int:
        """UTC of the last reading, ms."""
        return int(self.row[1] + self.row[2] + self.stretch.ahead_ms)

    @property
    def calibration(self) -> int:
        """The version under which the readings were taken."""
        return int(self.row[-1])

    def evenly(self, longest: float, part: float) -> Sums | None:
        """Sums of the row where they stand for its readings one by one, in the unit of the tag.

        None where the row is cut by its stretch, a reading cannot be used, a gap is longer than
        `longest` seconds, or readings of different value lie off an even spacing by more than
        `part` of it.
        """
        _, start, span, n, left_out, low, total, high, _, _, _, _, times, *_ = self.row
        stretch = self.stretch
        if left_out or self.failed or start < stretch.start_ms or start + span >= stretch.end_ms:
            return None
        least, most = spacing(n, span, times)
        if most > 1000.0 * longest:
            return None
        if low != high:
            period = span / (n - 1)
            if most - period > part * period or period - least > part * period:
                return None
        if self.scale is None:
            return Sums(n, low, total, high)
        up, down = self.scale
        return Sums(n, low * up / down, total * up / down, high * up / down)

    def readings(self) -> tuple[list[int], list[float | None], set[int]]:
        """Watch time (ms), values and positions with a problem word, in the stretch, in order."""
        _, start, span, n, out, low, total, high, _, form, base, numbers, at, wrong, _ = self.row
        sums = (low, total, high, self.scale)
        packed = Packed(start, span, n, out, *sums, form, base, numbers, at, wrong)
        times, values, problems = unpack(packed)
        found = positions_in(times, self.stretch)
        spoilt = {new for new, old in enumerate(found) if old in problems}
        return [times[i] for i in found], [values[i] for i in found], spoilt


def blocks(
    db: sqlite3.Connection, stretches: Iterable[Stretch], failing: frozenset[int]
) -> dict[str, list[Block]]:
    """All rows that may reach into the stretches, by tag and in order of time.

    failing: quality flags by which a reading cannot be used. A row that lies across the edge of
    two stretches comes with each of them.
    """
    names = dict(db.execute("SELECT id, name FROM names WHERE kind = 'tag'"))
    scales = {number: Scale(up, down) for number, up, down in db.execute("SELECT * FROM scales")}
    found: dict[str, list[Block]] = {}
    for stretch in stretches:
        flagged = _flagged(db, stretch, failing)
        begin = stretch.start_ms // HOUR_MS * HOUR_MS  # no row crosses an hour
        for row in db.execute(ROWS, (stretch.boot, begin, stretch.end_ms)):
            if row[1] + row[2] >= stretch.start_ms:
                tag = names[row[0]]
                failed = tag in flagged and _touches(flagged[tag], row[1], row[2])
                block = Block(stretch, row, scales.get(row[8]), failed)
                found.setdefault(tag, []).append(block)
    for rows in found.values():
        rows.sort(key=attrgetter("start_ms"))
    return found


def _flagged(
    db: sqlite3.Connection, stretch: Stretch, failing: frozenset[int]
) -> dict[str, list[int]]:
    """Times of flagged readings by tag, in order."""
    begin = stretch.start_ms // HOUR_MS * HOUR_MS
    end = -(-stretch.end_ms // HOUR_MS) * HOUR_MS
    query = FLAGGED.format(", ".join(str(int(flag)) for flag in sorted(failing)))
    found: dict[str, list[int]] = {}
    for tag, at in db.execute(query, (stretch.boot, begin, end)):
        found.setdefault(tag, []).append(at)
    return found


def _touches(times: list[int], start: int, span: int) -> bool:
    """Whether one of these times lies between the first and the last reading of a row."""
    first = bisect_left(times, start)
    return first < len(times) and times[first] <= start + span
