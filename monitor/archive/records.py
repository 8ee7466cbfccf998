"""What is put into and taken out of the archive, beside readings, texts and journal rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.clock import EarlierBoot
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
class Opening:
    """How the start of the writer went.

    set_aside: where a damaged archive was put, None if there was none. earlier: what is known of
    the last time the watch ran, None on a new archive. trouble: why the archive cannot be written
    now, "" if it can.
    """

    set_aside: Path | None
    earlier: EarlierBoot | None
    trouble: str


@dataclass(frozen=True, slots=True)
class SetupVersion:
    """A numbered configuration: since when, by whom, why, and its files (name: text)."""

    version: int
    moment: Moment
    who: str
    reason: str
    files: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Note:
    """What a person wrote down of a run. Nothing in it is ever changed; an amendment is a new one.

    number: counts up over the life of the archive. at: UTC s of what it tells of, as the person
    said; entered: when it came in. run: id of the run. way: how it came ("command", "import" ...).
    said: the fields of its kind as they were written, such as {"count": "~250"}; what they mean is
    the business of monitor/record/notes.py. amends: the note in whose place it stands, 0 for none;
    reason: why. origin: file, sheet and row it was imported from.
    """

    number: int
    entered: Moment
    at: float
    run: str
    kind: str
    who: str
    way: str
    said: Mapping[str, str]
    amends: int = 0
    reason: str = ""
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """A report on one text and channel, see `Writer.delivery`."""

    text: int
    channel: str
    outcome: str
    detail: str
    moment: Moment
    next_try: float | None


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
