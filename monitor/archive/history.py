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

ROW_SUMS = """
SELECT start_ms, span_ms, n - left_out, low * coalesce(up, 1.0) / coalesce(down, 1.0),
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


def hours(
    db: sqlite3.Connection, timeline: Timeline, tag: str, stretches: Iterable[Stretch]
) -> list[Rollup]:
    """Whole hours of watch time that touch the stretches, from sums made before where there are."""
    number = _tag(db, tag)
    found: dict[tuple[int, int], Rollup] = {}
    for boot, start_ms, end_ms, _ in stretches:
        first, last = start_ms // HOUR_MS, -(-end_ms // HOUR_MS)
        rows = db.execute(MADE_HOURS, (number, boot, first, last)).fetchall()
        made = db.execute("SELECT until_ms FROM hours_made WHERE boot = ?", (boot,)).fetchone()
        start = max(first * HOUR_MS, made[0]) if made else first * HOUR_MS
        span = {"boot": boot, "start": start, "end": last * HOUR_MS, "tag": number}
        rows += db.execute(HOUR_SUMS, span).fetchall()
        for _, _, hour, n, low, summed, high in rows:
            moment = timeline.moment(boot, hour * HOUR_MS / 1000.0)
            # NULL is what SQLite makes of infinity less infinity: values beyond all measure.
            total = math.nan if summed is None else summed
            found[boot, hour] = Rollup(moment, HOUR_MS / 1000.0, n, low, total, high)
    return list(found.values())


def row_sums(
    db: sqlite3.Connection, timeline: Timeline, tag: str, stretches: Iterable[Stretch]
) -> list[Rollup]:
    """Sums of whole rows that begin in the stretches, without a look at their readings."""
    number = _tag(db, tag)
    return [
        Rollup(timeline.moment(stretch.boot, start / 1000.0), span / 1000.0, n, low, total, high)
        for stretch in stretches
        for start, span, n, low, total, high in db.execute(
            ROW_SUMS, (stretch.boot, stretch.start_ms, stretch.end_ms, number)
        )
    ]


def merged(found: Iterable[Rollup], start: float, width: float, points: int) -> list[Rollup]:
    """Sums joined to cells of `width` seconds of UTC from `start` on, by where they begin."""
    cells: dict[int, Rollup] = {}
    for item in found:
        number = min(max(0, int((item.moment.utc - start) // width)), points - 1)
        before = cells.get(number)
        if before is None:
            moment = replace(item.moment, utc=start + number * width)
            cells[number] = replace(item, moment=moment, width=width)
        else:
            cells[number] = replace(
                before,
                n=before.n + item.n,
                low=min(before.low, item.low),
                total=before.total + item.total,
                high=max(before.high, item.high),
            )
    return [cells[number] for number in sorted(cells)]


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
