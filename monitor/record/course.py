"""The course of one tag over a span, made of its readings: what was seen, and for how long. Pure.

A reading stands from its moment until the next one that can be used. Where that comes later than
`bridged` allows, it stands for one period only, and the rest is a gap: nothing is made up for it.
So every sum is weighted by time, and says itself how much of the span it covers.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import compress, count, pairwise
from math import inf
from operator import le, lt, mul, sub
from typing import NamedTuple

from monitor.record.spans import Span, Spans


class Lump(NamedTuple):
    """Evenly spaced usable readings that were not looked at one by one; UTC s of the first and
    the last, how many, and their lowest, mean and highest."""

    first: float
    last: float
    n: int
    low: float
    mean: float
    high: float


Chunk = tuple[Sequence[float], Sequence[float | None]] | Lump
"""Times (UTC s) and values of some readings; None where the reading cannot be used. Or a lump."""


def bridged(every: float) -> float:
    """The longest silence that counts as seen, s: 3 periods but not over 60 s.

    A slow sensor has 1.5 periods, else its own beat would be a gap. House rule, no source.
    """
    return max(1.5 * every, min(3.0 * every, 60.0))


@dataclass(frozen=True, slots=True)
class Course:
    """Values in order of time; each stands from `starts` to `ends` (UTC s).

    A value may be the mean of a lump; lows and highs are those of each.
    """

    starts: list[float]
    ends: list[float]
    values: list[float]
    lows: list[float]
    highs: list[float]

    @property
    def seconds(self) -> float:
        """How long anything was seen."""
        return sum(self._lengths())

    @property
    def integral(self) -> float:
        """Value times seconds, over the time that was seen."""
        return float(sum(map(mul, self.values, self._lengths())))

    @property
    def seen(self) -> Spans:
        """When anything was seen."""
        breaks = list(compress(count(1), map(lt, self.ends, self.starts[1:])))
        parts = pairwise([0, *breaks, len(self.starts)])
        return tuple(
            Span(self.starts[first], self.ends[end - 1]) for first, end in parts if first < end
        )

    def within(self, spans: Iterable[Span]) -> "Course":
        """The part of it that lies in the spans."""
        starts: list[float] = []
        ends: list[float] = []
        values: list[float] = []
        lows: list[float] = []
        highs: list[float] = []
        for start, end in spans:
            first, last = bisect_right(self.ends, start), bisect_left(self.starts, end)
            if first < last:
                starts += [max(start, self.starts[first]), *self.starts[first + 1 : last]]
                ends += [*self.ends[first : last - 1], min(end, self.ends[last - 1])]
                values += self.values[first:last]
                lows += self.lows[first:last]
                highs += self.highs[first:last]
        return Course(starts, ends, values, lows, highs)

    def below(self, limit: float) -> Spans:
        """When the value was under a limit."""
        if not self.values or min(self.values) >= limit:
            return ()
        steps = zip(self.starts, self.ends, self.values, strict=True)
        return _touching((start, end) for start, end, value in steps if value < limit)

    def seconds_between(self, low: float, high: float) -> float:
        """How long the value was within two limits, both included."""
        if not self.values or (low <= min(self.values) and max(self.values) <= high):
            return self.seconds
        steps = zip(self._lengths(), self.values, strict=True)
        return sum(length for length, value in steps if low <= value <= high)

    def _lengths(self) -> Iterable[float]:
        return map(sub, self.ends, self.starts)


def course(chunks: Iterable[Chunk], every: float) -> Course:
    """The course from readings in chunks, as they lie in the archive.

    every: the period at which a reading is due, s. Readings out of order are put in order; of two
    at one moment the later one counts. Lumps must not overlap anything.
    """
    pieces = _Pieces()
    for chunk in chunks:
        pieces.add(chunk)
    if not all(map(le, pieces.times, pieces.times[1:])):
        pieces.put_in_order()
    times, lasts = pieces.times, pieces.lasts
    longest = bridged(every)
    if max(map(sub, times[1:], lasts), default=0.0) <= longest:
        ends = [*times[1:], *(at + every for at in lasts[-1:])]
    else:
        steps = zip(lasts, [*times[1:], inf], strict=True)
        ends = [after if after - at <= longest else at + every for at, after in steps]
    found = Course(times, ends, pieces.values, pieces.lows, pieces.highs)
    return found if all(map(lt, times, ends)) else _without_empty(found)


class _Pieces:
    """Readings and lumps in columns. lasts: the moment of the last reading of each."""

    def __init__(self) -> None:
        self.times: list[float] = []
        self.lasts: list[float] = []
        self.values: list[float] = []
        self.lows: list[float] = []
        self.highs: list[float] = []

    def add(self, chunk: Chunk) -> None:
        if isinstance(chunk, Lump):
            self.times.append(chunk.first)
            self.lasts.append(chunk.last)
            self.values.append(chunk.mean)
            self.lows.append(chunk.low)
            self.highs.append(chunk.high)
            return
        at, given = chunk
        if None in given:
            usable = [(t, v) for t, v in zip(at, given, strict=True) if v is not None]
            at, given = [t for t, _ in usable], [v for _, v in usable]
        self.times += at
        self.lasts += at
        for column in (self.values, self.lows, self.highs):
            column.extend(given)  # type: ignore[arg-type]  # there is no None in it

    def put_in_order(self) -> None:
        order = sorted(range(len(self.times)), key=self.times.__getitem__)
        for column in (self.times, self.lasts, self.values, self.lows, self.highs):
            column[:] = [column[i] for i in order]


def _without_empty(found: Course) -> Course:
    """Leave out what stands for no time: the earlier one of two readings at one moment."""
    kept = [i for i, start in enumerate(found.starts) if start < found.ends[i]]
    columns = (found.starts, found.ends, found.values, found.lows, found.highs)
    return Course(*([column[i] for i in kept] for column in columns))


def _touching(steps: Iterable[tuple[float, float]]) -> Spans:
    """Steps in order of time as spans, those that touch joined."""
    found: list[Span] = []
    for start, end in steps:
        if found and start <= found[-1].end:
            found[-1] = Span(found[-1].start, end)
        else:
            found.append(Span(start, end))
    return tuple(found)
