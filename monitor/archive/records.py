"""What is put into and taken out of the archive, beside readings, texts and journal rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.effects import Text
from monitor.inputs import Moment, Reading

OUTCOMES = ("accepted", "refused", "unknown", "given up", "expired", "retry")
"""What can be reported of a text on a channel; "retry" leaves it waiting."""

WITHOUT_ATTEMPT = ("given up", "expired")
"""Outcomes that are decided, not met: they count no attempt."""


@dataclass(frozen=True, slots=True)
class Boot:
    """One boot of the board: elapsed = seconds since the boot + base."""

    number: int
    board: str
    boot_id: str
    base: float


@dataclass(frozen=True, slots=True)
class Offset:
    """From elapsed `since` of this boot the wall clock said UTC = elapsed + ahead."""

    boot: int
    since: float
    ahead: float
    trusted: bool


@dataclass(frozen=True, slots=True)
class SetupVersion:
    """A numbered configuration: since when, by whom, why, and its files (name: text)."""

    version: int
    moment: Moment
    who: str
    reason: str
    files: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """What became of one text on one channel.

    state: "waiting", "accepted", "refused", "unknown", "given up" or "expired".
    next_try: elapsed seconds at which it is to be sent (again); None when it is settled.
    moment: of the latest change.
    """

    text: Text
    channel: str
    state: str
    attempts: int
    next_try: float | None
    detail: str
    moment: Moment


@dataclass(frozen=True, slots=True)
class Series:
    """Consecutive readings of one tag as columns, all of one boot, calibration, rig and run.

    elapsed: seconds, to the millisecond. values: in the unit of the tag; None where there was
    none. problems: the driver's words by position, where there was one.
    """

    tag: str
    boot: int
    rig: str
    run: str
    calibration: int
    elapsed: Sequence[float]
    values: Sequence[float | None]
    problems: Mapping[int, str]

    def part(self, start: float, end: float) -> "Series":
        """The readings with start <= elapsed < end, in order of time, repeated ones as they came."""
        order = [i for i, at in enumerate(self.elapsed) if start <= at < end]
        order.sort(key=self.elapsed.__getitem__)
        return Series(
            self.tag,
            self.boot,
            self.rig,
            self.run,
            self.calibration,
            [self.elapsed[i] for i in order],
            [self.values[i] for i in order],
            {new: self.problems[old] for new, old in enumerate(order) if old in self.problems},
        )

    def counted(self) -> list[tuple[float, float]]:
        """(elapsed, value) of the readings that count in sums: a value and no problem word."""
        return [
            (at, value)
            for i, (at, value) in enumerate(zip(self.elapsed, self.values, strict=True))
            if value is not None and i not in self.problems
        ]

    def reading(self, position: int, moment: Moment) -> Reading:
        problem = self.problems.get(position, "")
        return Reading(self.tag, moment, self.values[position], problem)


@dataclass(frozen=True, slots=True)
class Rollup:
    """Sums over the readings of one tag from `moment` on for `width` seconds.

    Readings without a value or with a problem word are not in it; n counts the others.
    """

    moment: Moment
    width: float
    n: int
    low: float
    total: float
    high: float

    @property
    def mean(self) -> float:
        return self.total / self.n
