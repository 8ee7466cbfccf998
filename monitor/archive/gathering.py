"""Readings on their way to the archive: gathered by tag and interval, bounded in number.

Not thread-safe; the writer guards it. Nothing here raises for what a source delivers.
"""

import math
import sys
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from monitor.archive.packing import Packed, pack
from monitor.effects import Flag
from monitor.inputs import Reading

INTERVAL_MS = 300_000
"""Five minutes of readings a row. Measured (docs/explanation/decisions/archive-rows.md): rows of
one minute take 2.6 times the room and four times the writing. An alarm flushes at once, so what a
power cut can take is five quiet minutes."""

LATE_MS = 2_000
"""How long after its end an interval is still waited for: sources deliver a scan or two late."""

MOST_ROWS = 20_000
"""Rows kept while the archive cannot be written: 3 days of 20 tags, some 15 MB."""

MOST_FLAGS = 50_000
LATEST = 2.0**42
"""Seconds of watch time beyond which a moment is nonsense (140,000 years)."""


@dataclass(frozen=True, slots=True)
class Row:
    """Packed readings and what they belong to."""

    tag: str
    boot: int
    run: str
    calibration: int
    packed: Packed


@dataclass(slots=True)
class OpenRow:
    """Readings of one tag that still wait for the end of their interval."""

    boot: int
    cell: int
    run: str
    calibration: int
    times: list[int] = field(default_factory=list)
    values: list[float | None] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def takes(self, boot: int, cell: int, run: str, calibration: int) -> bool:
        return (self.boot, self.cell, self.run, self.calibration) == (boot, cell, run, calibration)

    def add(self, at: int, value: float | None, problem: str) -> None:
        self.times.append(at)
        self.values.append(value)
        self.problems.append(problem)


@dataclass(frozen=True, slots=True)
class Load:
    """Rows and flags (with their boot) to be written in one transaction."""

    rows: tuple[Row, ...] = ()
    flags: tuple[tuple[int, Flag], ...] = ()


class Gathering:
    """Open rows by tag, and closed rows and flags that wait; beyond a bound the oldest give way."""

    def __init__(self) -> None:
        self.readings_lost = 0
        self.flags_lost = 0
        self._open: dict[str, OpenRow] = {}
        self._rows: deque[Row] = deque()
        self._flags: deque[tuple[int, Flag]] = deque()
        self._boot = 0
        self._newest = 0
        self._due_at: float = math.inf

    @property
    def due(self) -> bool:
        """Whether an interval is over, late readings included."""
        return self._newest >= self._due_at

    def add(self, reading: Reading, calibration: int, run: str) -> None:
        if not _is_time(reading.moment.elapsed):
            self.readings_lost += 1
            return
        at, boot = to_ms(reading.moment.elapsed), reading.moment.boot
        cell = at // INTERVAL_MS
        row = self._open.get(reading.tag)
        if row is None or not row.takes(boot, cell, run, calibration):
            if row is not None:
                self._close(reading.tag)
            row = self._open[reading.tag] = OpenRow(boot, cell, run, calibration)
            self._due_at = min(self._due_at, _due_at(cell))
        row.add(at, *_finite(reading))
        self._boot = boot
        self._newest = max(self._newest, at)

    def flag(self, flags: Iterable[Flag]) -> None:
        """Flags of readings; one that names no boot is of the present one."""
        self._flags.extend((flag.boot or self._boot, flag) for flag in flags)
        self._bound()

    def take(self, everything: bool) -> Load:
        """What is to be written: the rows of all intervals that are over, or everything."""
        for tag, row in list(self._open.items()):
            if everything or _due_at(row.cell) <= self._newest:
                self._close(tag)
        self._due_at = min((_due_at(row.cell) for row in self._open.values()), default=math.inf)
        load = Load(tuple(self._rows), tuple(self._flags))
        self._rows.clear()
        self._flags.clear()
        return load

    def _close(self, tag: str) -> None:
        row = self._open.pop(tag)
        for packed in pack(row.times, row.values, row.problems):
            self._rows.append(Row(tag, row.boot, row.run, row.calibration, packed))
        self._bound()

    def _bound(self) -> None:
        while len(self._rows) > MOST_ROWS:
            self.readings_lost += self._rows.popleft().packed.n
        while len(self._flags) > MOST_FLAGS:
            self._flags.popleft()
            self.flags_lost += 1


def to_ms(elapsed: float) -> int:
    """Watch time as the archive keeps it: readings closer than a millisecond share one."""
    return round(elapsed * 1000.0)


def _is_time(elapsed: float) -> bool:
    return math.isfinite(elapsed) and abs(elapsed) < LATEST


def _due_at(cell: int) -> int:
    return (cell + 1) * INTERVAL_MS + LATE_MS


def _finite(reading: Reading) -> tuple[float | None, str]:
    """Value and problem word; what is no finite number counts as missing and says what it was."""
    value = reading.value
    if value is None:
        return None, reading.problem
    if isinstance(value, float | int) and abs(value) <= sys.float_info.max:
        return float(value), reading.problem
    return None, reading.problem or f"not a finite number: {str(value)[:40]}"
