"""From watch time to UTC and back, over boots and over steps of the wall clock. Pure.

A row in the archive knows its boot and its elapsed time. What UTC that was follows from the
offsets of that boot: once one is trusted, the whole boot is read by the trusted ones, also what
was stored before. So one row re-times a night, and no reading is ever rewritten.
"""

import math
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

from monitor.archive.records import Offset
from monitor.clock import STEP
from monitor.inputs import Moment

FARTHEST_MS = 2**53


class Stretch(NamedTuple):
    """Watch time of one boot from start (included) to end (excluded), in ms.

    ahead_ms: what to add to get the time by which was asked (0 where that is watch time itself).
    """

    boot: int
    start_ms: int
    end_ms: int
    ahead_ms: int


class Timeline:
    """The offsets of all boots, fit to be asked."""

    def __init__(self, offsets: Iterable[Offset]) -> None:
        by_boot: dict[int, list[Offset]] = {}
        for offset in offsets:
            by_boot.setdefault(offset.boot, []).append(offset)
        self._in_force = {boot: _in_force(by_boot[boot]) for boot in sorted(by_boot)}

    def offset(self, boot: int, elapsed: float) -> Offset:
        """The offset in force; of a boot without any, watch time itself, untrusted."""
        offsets = self._in_force.get(boot, [])
        found = Offset(boot, -math.inf, 0.0, False) if not offsets else offsets[0]
        for offset in offsets:
            if offset.since <= elapsed:
                found = offset
        return found

    def moment(self, boot: int, elapsed: float) -> Moment:
        offset = self.offset(boot, elapsed)
        return Moment(boot, elapsed, elapsed + offset.ahead, offset.trusted)

    def in_utc(self, start: float, end: float) -> Iterator[Stretch]:
        """The stretches of watch time that lie in start <= UTC < end, in order of watch time."""
        for boot, offsets in self._in_force.items():
            edges = [-math.inf, *(offset.since for offset in offsets[1:]), math.inf]
            for offset, (first, last) in zip(offsets, pairwise(edges), strict=True):
                begin = edge_ms(max(first, start - offset.ahead))
                stop = edge_ms(min(last, end - offset.ahead))
                if begin < stop:
                    yield Stretch(boot, begin, stop, round(offset.ahead * 1000.0))

    def in_elapsed(self, start: float, end: float) -> Iterator[Stretch]:
        """The same span of watch time in every boot."""
        for boot in self._in_force:
            yield Stretch(boot, edge_ms(start), edge_ms(end), 0)


def edge_ms(seconds: float) -> int:
    """The first whole millisecond not before a time, but for the last digits of the float."""
    if math.isinf(seconds):
        return FARTHEST_MS if seconds > 0.0 else -FARTHEST_MS
    return math.ceil(round(seconds * 1000.0, 3))


def _in_force(offsets: list[Offset]) -> list[Offset]:
    """The offsets that count, by time; of two with the same time the later row."""
    trusted = [offset for offset in offsets if offset.trusted]
    by_time = {offset.since: offset for offset in trusted or offsets}
    return [by_time[since] for since in sorted(by_time)]


class OffsetWatch:
    """Sees every moment that goes into the archive and notices a new offset.

    New is: the first of a boot, the first trusted one, and one that differs from the last by more
    than a step. An untrusted clock says nothing new once a trusted one was seen in the same boot.
    """

    def __init__(self) -> None:
        self._last: dict[int, Offset] = {}

    def see(self, moment: Moment) -> Offset | None:
        """The offset to be stored, if this moment brings a new one."""
        last = self._last.get(moment.boot)
        now = Offset(moment.boot, moment.elapsed, moment.utc - moment.elapsed, moment.trusted)
        if not math.isfinite(now.ahead):
            return None
        if last is not None:
            stale = moment.elapsed < last.since or (last.trusted and not moment.trusted)
            same = last.trusted == moment.trusted and abs(now.ahead - last.ahead) <= STEP
            if stale or same:
                return None
        self._last[moment.boot] = now
        return now
