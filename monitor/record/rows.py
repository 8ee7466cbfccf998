"""One day of a run as a row: what was measured, how much of the day that covers, what happened.

Inside all is SI: cubic metres, degrees Celsius, seconds, UTC. What there is no figure for says why.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from monitor.record.spans import Span, seconds


class Missing(StrEnum):
    """Why a figure is not there."""

    NOT_MEASURED = "not measured"  # no tag, or no volume of the tank
    NOT_OBSERVED = "not observed"  # a tag, but no reading of it that day
    NO_LIMIT = "no limit"  # the limits sheet has none for it
    NOT_NOTED = "not noted"  # nobody wrote it down; no zero
    NO_SCHEDULE = "no schedule"  # run.toml has no hours of light


Measure = float | Missing


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which a tag was not seen, and why. general: no other tag was seen either."""

    span: Span
    reason: str
    general: bool = False


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of the day one tag saw.

    seen: seconds. due: readings due in the whole day. got: readings that could be used; unusable:
    the others (no value, a problem word, or failed by the checks of the watch).
    """

    tag: str
    seen: float
    due: int
    got: int
    unusable: int
    gaps: tuple[Gap, ...]


@dataclass(frozen=True, slots=True)
class Temperature:
    """Water temperature by one tag, C; in_band in s, degree_days in C d; over `seen` seconds."""

    tag: str
    low: Measure
    mean: Measure
    high: Measure
    in_band: Measure
    degree_days: Measure
    seen: float


@dataclass(frozen=True, slots=True)
class Water:
    """Flow to the larvae over the `seen` seconds in which a meter or a witness saw it.

    by: the tag that says so, "" where there is none. delivered: m3. turnovers: of the tank.
    no_flow, no_flow_in_holds: seconds. supply_lost, mains_lost: seconds.
    """

    by: str
    seen: float
    delivered: Measure
    turnovers: Measure
    no_flow: Measure
    no_flow_in_holds: Measure
    supply_lost: Measure
    mains_lost: Measure


@dataclass(frozen=True, slots=True)
class Light:
    """Light at the tank by one tag, s over the `seen` seconds; on: UTC s of its first coming on.

    differs: lit and dark otherwise than run.toml says.
    """

    by: str
    seen: float
    lit: Measure
    differs: Measure
    on: float | None = None


@dataclass(frozen=True, slots=True)
class Counted:
    """A sum of counts by people. uncounted: notes that say it was not countable."""

    value: Measure
    is_estimate: bool = False
    uncounted: int = 0


@dataclass(frozen=True, slots=True)
class Fed:
    """A food of the day, in the unit it was written in; total: of the run up to this day."""

    food: str
    unit: str
    times: int
    amount: Counted
    total: Counted


@dataclass(frozen=True, slots=True)
class Test:
    """A water test by hand, as it was written."""

    of: str
    value: float
    unit: str
    is_estimate: bool = False


@dataclass(frozen=True, slots=True)
class Noted:
    """What people wrote down of the day; volumes in m3. first_feed: UTC s.

    signed_by: who signed the daily observation, "" where nobody did. back_dated, amended: how many
    of these notes were.
    """

    dead: Counted = Counted(Missing.NOT_NOTED)
    fed: tuple[Fed, ...] = ()
    tests: tuple[Test, ...] = ()
    changed: Measure = Missing.NOT_NOTED
    topped_up: Measure = Missing.NOT_NOTED
    stages: tuple[str, ...] = ()
    firsts: tuple[str, ...] = ()
    signed_by: str = ""
    first_feed: float | None = None
    back_dated: int = 0
    amended: int = 0


@dataclass(frozen=True, slots=True)
class EventOfDay:
    """An event on the day of its first sign; times are UTC s, None where it did not come to that.

    cause: the alarm that came first. taken, on_site, proven: the first time each.
    """

    number: int
    grade: str
    cause: str
    first_sign: float
    taken: float | None = None
    on_site: float | None = None
    proven: float | None = None
    closed: float | None = None


@dataclass(frozen=True, slots=True)
class DayRow:
    """A local day of the run.

    unwatched: when no tag at all was seen. night_texts: texts of the quiet hours that at least
    one channel took; night_texts_failed: those that none did. notes: what else one must know.
    light: None where no tag measures it. held: seconds of feeding holds on the line into the tank.
    measured: means of the day by tag of what was measured in the tank besides (salinity ...).
    """

    run: str
    dph: int
    day: date
    span: Span
    temperatures: tuple[Temperature, ...]
    water: Water
    coverage: tuple[Coverage, ...]
    unwatched: tuple[Gap, ...]
    events: tuple[EventOfDay, ...] = ()
    night_texts: int = 0
    night_texts_failed: int = 0
    notes: tuple[str, ...] = ()
    light: Light | None = None
    held: float = 0.0
    measured: tuple[tuple[str, Measure], ...] = ()
    noted: Noted = Noted()

    @property
    def light_before_feed(self) -> Measure:
        """Seconds from lights-on to the first feed that was noted."""
        if self.light is None:
            return Missing.NOT_MEASURED
        if self.light.on is None:
            return Missing.NOT_OBSERVED
        if self.noted.first_feed is None:
            return Missing.NOT_NOTED
        return self.noted.first_feed - self.light.on

    @property
    def length(self) -> float:
        """Real seconds of the day: 82,800 or 90,000 where the clock is changed."""
        return seconds([self.span])
