"""Readings of one day out of the archive: in SI, their time as known today.

A row of the archive is taken as a lump, by its sums, where nothing is lost by it: evenly spaced,
all of it usable, and on one side of every edge and level that is asked for. Else it is unpacked.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate
from math import inf

from monitor.archive import Reader
from monitor.archive.blocks import Block
from monitor.archive.timeline import Timeline
from monitor.logic.quality import FAIL, MISSING
from monitor.logic.scaling import to_si
from monitor.record.course import Chunk, Lump, bridged
from monitor.record.frame import Cares
from monitor.record.spans import Span
from monitor.rig import Tag

FAILING = frozenset((FAIL, MISSING))
"""Flags of readings that cannot be used."""

MARGIN = 90.0
"""Seconds on both sides of the day: the longest for which a reading of a tag of 60 s stands."""

EVEN = 0.25
"""How far, in parts of the period, readings of a lump may lie off an even spacing. The mean of the
readings is then that by time but for the noise of one reading over the number of them."""

Scaling = tuple[float, float]
"""Gain and zero from the unit of a tag to SI."""


class Loader:
    """The rows of one day of all tags. Slow tags (over 60 s) are asked for with a wider margin."""

    def __init__(
        self,
        reader: Reader,
        timeline: Timeline,
        calibrated: dict[tuple[str, int], Tag],
        span: Span,
    ) -> None:
        slowest = max((tag.every for tag in calibrated.values()), default=0.0)
        margin = max(MARGIN, bridged(slowest))
        self._reader = reader
        self._timeline = timeline
        self._calibrated = calibrated
        self._span = Span(span.start - margin, span.end + margin)
        self._blocks = reader.blocks(*self._span, FAILING)
        self._untrusted: set[int] = set()

    def read(self, tag: Tag, cares: Cares) -> Iterator[Chunk]:
        """The readings of a tag in chunks; None where one cannot be used."""
        blocks = self._blocks.get(tag.id, [])
        self._note_trust(blocks)
        longest = bridged(tag.every)
        scalings: dict[int, Scaling] = {}
        failed: set[tuple[int, int]] | None = None
        for block, is_alone in zip(blocks, _alone(blocks), strict=True):
            if block.calibration not in scalings:
                scalings[block.calibration] = self._scaling(tag, block.calibration)
            scaling = scalings[block.calibration]
            lump = _lump(block, scaling, longest) if is_alone else None
            if lump is not None and not _is_cut(lump, cares, longest):
                yield lump
                continue
            if block.failed and failed is None:
                failed = self._failed(tag)
            yield _unpacked(block, scaling, failed if block.failed and failed else set())

    def _note_trust(self, blocks: Sequence[Block]) -> None:
        """Remember the boots whose clock was never known to be right."""
        last = None
        for block in blocks:
            if block.stretch is not last:
                last = block.stretch
                if not self._timeline.offset(last.boot, block.row[1] / 1000.0).trusted:
                    self._untrusted.add(last.boot)

    def _scaling(self, tag: Tag, calibration: int) -> Scaling:
        """Gain and zero from the unit of the tag to SI, as it was calibrated then."""
        as_then = self._calibrated.get((tag.id, calibration), tag)
        zero = to_si(as_then, 0.0)
        return to_si(as_then, 1.0) - zero, zero

    def _failed(self, tag: Tag) -> set[tuple[int, int]]:
        """Boot and watch time, ms, of the readings of the day that the checks failed."""
        flags = self._reader.flags(tag.id, *self._span, by="utc")
        return {(flag.boot, round(flag.elapsed * 1000.0)) for flag in flags if flag.flag in FAILING}

    def notes(self) -> Iterator[str]:
        """What makes the times of the day doubtful."""
        for boot in sorted(self._untrusted):
            yield f"the clock was never known to be right in boot {boot}: times may be wrong"


def _alone(blocks: Sequence[Block]) -> list[bool]:
    """For each block, whether it shares no time with another one."""
    starts = [*(block.start_ms for block in blocks), inf]
    ends = [-inf, *accumulate((block.end_ms for block in blocks), max)]
    return [
        before < start and end < after
        for before, start, end, after in zip(ends, starts, ends[1:], starts[1:], strict=False)
    ]


def _lump(block: Block, scaling: Scaling, longest: float) -> Lump | None:
    sums = block.evenly(longest, EVEN)
    if sums is None:
        return None
    gain, zero = scaling
    low, high = sums.low * gain + zero, sums.high * gain + zero
    if gain < 0.0:
        low, high = high, low
    mean = low if low == high else sums.total / sums.n * gain + zero
    return Lump(block.start_ms / 1000.0, block.end_ms / 1000.0, sums.n, low, mean, high)


def _is_cut(lump: Lump, cares: Cares, longest: float) -> bool:
    """Whether an edge lies in the time for which it stands, or a level between its values."""
    edge = bisect_right(cares.edges, lump.first)
    if edge < len(cares.edges) and cares.edges[edge] <= lump.last + longest:
        return True
    level = bisect_left(cares.levels, lump.low)
    return lump.low < lump.high and level < len(cares.levels) and cares.levels[level] <= lump.high


def _unpacked(
    block: Block, scaling: Scaling, failed: set[tuple[int, int]]
) -> tuple[list[float], list[float | None]]:
    times, found, spoilt = block.readings()
    (gain, zero), boot, ahead = scaling, block.stretch.boot, block.stretch.ahead_ms
    values = [None if value is None else value * gain + zero for value in found]
    for position, at in enumerate(times) if spoilt or failed else ():
        if position in spoilt or (boot, at) in failed:
            values[position] = None
    return [(at + ahead) / 1000.0 for at in times], values
