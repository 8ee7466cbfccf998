"""Readings and their sums out of the archive, for one tag over stretches of watch time."""

import math
import sqlite3
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter

from monitor.archive.packing import Packed, Scale, Sums, unpack
from monitor.archive.records import Rollup, Series
from monitor.archive.store import HOUR_MS, HOUR_SUMS
from monitor.archive.timeline import Stretch, Timeline
from monitor.inputs import Moment

ROWS = """
SELECT start_ms, span_ms, n, left_out, low, total, high, up, down, form, base, numbers, times,
    problems, calibration, rig.name, run.name
FROM readings
LEFT JOIN scales ON scales.id = scale
LEFT JOIN names AS rig ON rig.id = rig
LEFT JOIN names AS run ON run.id = run
WHERE boot = ? AND start_ms >= ? AND start_ms < ? AND tag = ?
ORDER BY start_ms, part
"""

HALF_AN_HOUR = 1800.0
ROW_SUMS = """
SELECT start_ms, n - left_out, low * coalesce(up, 1.0) / coalesce(down, 1.0),
    total * coalesce(up, 1.0) / coalesce(down, 1.0), high * coalesce(up, 1.0) / coalesce(down, 1.0)
FROM readings LEFT JOIN scales ON scales.id = scale
WHERE boot = ? AND start_ms >= ? AND start_ms < ? AND tag = ? AND low IS NOT NULL
"""

MADE_HOURS = """
SELECT tag, boot, hour, n, low, total, high FROM hours
WHERE tag = ? AND boot = ? AND hour >= ? AND hour < ?
"""


@dataclass(slots=True)
class Cell:
    """Sums under way; boot and ahead_ms are those of the stretch that began them."""

    boot: int
    ahead_ms: int
    n: int = 0
    low: float = math.inf
    total: float = 0.0
    high: float = -math.inf

    def add(self, sums: Sums) -> None:
        self.n += sums.n
        self.low = min(self.low, sums.low)
        self.total += sums.total
        self.high = max(self.high, sums.high)


def series(db: sqlite3.Connection, tag: str, stretches: Iterable[Stretch]) -> Iterator[Series]:
    """The readings of a tag as stored, row by row, within a row by time and as they came."""
    for stretch in stretches:
        for packed, calibration, rig, run in _rows(db, tag, stretch):
            times, values, problems = unpack(packed)
            inside = positions_in(times, stretch)
            if inside:
                yield Series(
                    tag,
                    stretch.boot,
                    rig,
                    run,
                    calibration,
                    [times[i] / 1000.0 for i in inside],
                    [values[i] for i in inside],
                    {new: problems[old] for new, old in enumerate(inside) if old in problems},
                )


def rollup(
    db: sqlite3.Connection,
    timeline: Timeline,
    tag: str,
    stretches: Iterable[Stretch],
    width: float,
    in_utc: bool,
) -> list[Rollup]:
    """Sums by cells of `width` seconds on the axis by which the stretches were asked.

    Exact at every edge: a row of readings that lies across one is unpacked. In UTC a cell may
    cover the end of one boot and the start of the next.
    """
    cells: dict[tuple[int, int], Cell] = {}
    width_ms = round(width * 1000.0)
    for stretch in stretches:
        for packed, *_ in _rows(db, tag, stretch):
            for number, sums in _cells(packed, stretch, width_ms):
                key = (0 if in_utc else stretch.boot, number)
                if key not in cells:
                    cells[key] = Cell(stretch.boot, stretch.ahead_ms)
                cells[key].add(sums)
    return [
        _rollup(timeline, number * width_ms, width, cell, in_utc)
        for (_, number), cell in sorted(cells.items(), key=itemgetter(0))
    ]


def _rollup(timeline: Timeline, start_ms: int, width: float, cell: Cell, in_utc: bool) -> Rollup:
    moment = timeline.moment(cell.boot, (start_ms - cell.ahead_ms) / 1000.0)
    if in_utc:
        moment = replace(moment, utc=start_ms / 1000.0)
    return Rollup(moment, width, cell.n, cell.low, cell.total, cell.high)


SumsAt = tuple[int, int, int, float, float, float]
"""Boot, watch time of the begin (ms), n, low, total, high."""


def hours(
    db: sqlite3.Connection, timeline: Timeline, tag: str, stretches: Iterable[Stretch]
) -> list[Rollup]:
    """Whole hours of watch time that touch the stretches, from sums made before where there are."""
    return [
        Rollup(timeline.moment(boot, start / 1000.0), HOUR_MS / 1000.0, n, low, total, high)
        for boot, start, n, low, total, high in _hour_sums(db, tag, stretches)
    ]


def _hour_sums(db: sqlite3.Connection, tag: str, stretches: Iterable[Stretch]) -> Iterator[SumsAt]:
    """The hours as plain numbers; one that two stretches share comes once."""
    number = _tag(db, tag)
    known: set[tuple[int, int]] = set()
    for boot, start_ms, end_ms, _ in stretches:
        first, last = start_ms // HOUR_MS, -(-end_ms // HOUR_MS)
        rows = db.execute(MADE_HOURS, (number, boot, first, last)).fetchall()
        made = db.execute("SELECT until_ms FROM hours_made WHERE boot = ?", (boot,)).fetchone()
        start = max(first * HOUR_MS, made[0]) if made else first * HOUR_MS
        span = {"boot": boot, "start": start, "end": last * HOUR_MS, "tag": number}
        rows += db.execute(HOUR_SUMS, span).fetchall()
        for _, _, hour, n, low, summed, high in rows:
            if (boot, hour) in known:
                continue
            known.add((boot, hour))
            # NULL is what SQLite makes of infinity less infinity: values beyond all measure.
            yield boot, hour * HOUR_MS, n, low, math.nan if summed is None else summed, high


def _row_sums(db: sqlite3.Connection, tag: str, stretches: Iterable[Stretch]) -> Iterator[SumsAt]:
    """Sums of whole rows that begin in the stretches, without a look at their readings."""
    number = _tag(db, tag)
    for stretch in stretches:
        span = (stretch.boot, stretch.start_ms, stretch.end_ms, number)
        for start, n, low, total, high in db.execute(ROW_SUMS, span):
            yield stretch.boot, start, n, low, total, high


def view(
    db: sqlite3.Connection, timeline: Timeline, tag: str, start: float, width: float, points: int
) -> list[Rollup]:
    """Sums by cells of `width` seconds of UTC from `start` on, made of whole hours or rows.

    What a cell is made of is counted where it begins. width: over five minutes.
    """
    stretches = tuple(timeline.in_utc(start, start + width * points))
    ahead = {boot: timeline.offset(boot, at / 1000.0).ahead for boot, at, *_ in stretches}
    sums = _hour_sums if width > HALF_AN_HOUR else _row_sums
    cells: dict[int, Cell] = {}
    for boot, at, n, low, total, high in sums(db, tag, stretches):
        number = int((at / 1000.0 + ahead[boot] - start) // width)
        number = min(max(0, number), points - 1)
        cell = cells.get(number)
        if cell is None:
            cell = cells[number] = Cell(boot, 0)
        cell.add(Sums(n, low, total, high))
    found = []
    for number, cell in sorted(cells.items()):
        utc = start + number * width
        trusted = timeline.offset(cell.boot, utc - ahead[cell.boot]).trusted
        moment = Moment(cell.boot, utc - ahead[cell.boot], utc, trusted)
        found.append(Rollup(moment, width, cell.n, cell.low, cell.total, cell.high))
    return found


def _tag(db: sqlite3.Connection, tag: str) -> int:
    """The number of a tag, or one that no row has."""
    found = db.execute("SELECT id FROM names WHERE kind = 'tag' AND name = ?", (tag,)).fetchone()
    return found[0] if found else -1


def _rows(
    db: sqlite3.Connection, tag: str, stretch: Stretch
) -> Iterator[tuple[Packed, int, str, str]]:
    """Rows that may reach into a stretch, with calibration, rig and run: none crosses an hour."""
    begin = stretch.start_ms // HOUR_MS * HOUR_MS
    found = db.execute(ROWS, (stretch.boot, begin, stretch.end_ms, _tag(db, tag))).fetchall()
    for start, span, n, out, low, total, high, up, down, *blobs, calibration, rig, run in found:
        if start + span >= stretch.start_ms:
            scale = None if up is None else Scale(up, down)
            packed = Packed(start, span, n, out, low, total, high, scale, *blobs)
            yield packed, calibration, rig or "", run or ""


def _cells(packed: Packed, stretch: Stretch, width_ms: int) -> Iterator[tuple[int, Sums]]:
    """Numbers of the cells that a row has a part in, each with the sums of that part."""
    first, last = packed.start_ms, packed.start_ms + packed.span_ms
    cell = (first + stretch.ahead_ms) // width_ms
    whole = stretch.start_ms <= first and last < stretch.end_ms
    if whole and cell == (last + stretch.ahead_ms) // width_ms:
        sums = packed.sums()
        if sums is not None:
            yield cell, sums
        return
    times, values, problems = unpack(packed)
    inside = positions_in(times, stretch)
    if problems or None in values:
        inside = [i for i in inside if i not in problems and values[i] is not None]
    at = [times[i] for i in inside]
    counted = [value for i in inside if (value := values[i]) is not None]
    begin = 0
    while begin < len(at):
        cell = (at[begin] + stretch.ahead_ms) // width_ms
        end = bisect_left(at, (cell + 1) * width_ms - stretch.ahead_ms, begin)
        part = counted[begin:end]
        yield cell, Sums(len(part), min(part), sum(part), max(part))
        begin = end


def positions_in(times: list[int], stretch: Stretch) -> Sequence[int]:
    """Positions of the times within a stretch, in order of time, equal ones as they came."""
    in_order = sorted(range(len(times)), key=times.__getitem__)
    first = bisect_left(in_order, stretch.start_ms, key=times.__getitem__)
    return in_order[first : bisect_left(in_order, stretch.end_ms, key=times.__getitem__)]
