"""The set-up: rig, limits by age, people, duty, protocol and run. Frozen plain data in SI units.

A set-up is stored as a numbered version and enters the watch as an input. What changes with the
age of the larvae is a `Profile` over days post hatch (dph).
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from monitor.rig import Rig

DAY = 86_400.0
"""Seconds of a day without a change of the clock."""

GRADES = ("record", "notice", "high", "urgent")
"""How soon hands are needed, lowest first."""


@dataclass(frozen=True, slots=True)
class Profile:
    """A value by days post hatch: steps of (first dph, value), rising in dph.

    Before the first step, and while the age is unknown, the first value holds. changes_at:
    seconds after local midnight at which a step comes into force on its day; a flow that people
    set by hand at ten in the morning is not due at midnight.
    """

    steps: tuple[tuple[int, float], ...]
    changes_at: float = 0.0

    def at(self, dph: int | None, clock: float = DAY) -> float:
        """The value on a day; clock: seconds after its local midnight, without it the end of it."""
        value = self.steps[0][1]
        if dph is not None and len(self.steps) > 1:
            reached = dph if clock >= self.changes_at else dph - 1
            for first, step in self.steps:
                if reached >= first:
                    value = step
        return value

    @staticmethod
    def constant(value: float) -> "Profile":
        return Profile(((-999, value),))


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on one tag; with its delays it makes one condition and one alarm.

    condition: its name; step: "warn", "alarm", "urgent", or ""; side: "high" or "low"; value,
    deadband: SI; on_delay, off_delay: passed, or back inside by more than the deadband, without a
    break for so long, s; held_off: quiet in a feeding hold; latching: until a person has looked.
    """

    condition: str
    step: str
    tag: str
    side: str
    value: Profile
    grade: str
    on_delay: float
    off_delay: float = 0.0
    deadband: float = 0.0
    held_off: bool = False
    latching: bool = False
    first_action: str = ""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who can be called. night, day: seconds from a text to the door."""

    id: str
    name: str
    mail: str = ""
    phone: str = ""
    night: float = 1800.0
    day: float = 1800.0
    channels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DutyTurn:
    """Who is called in which order between two points in time (UTC seconds)."""

    start: float
    end: float
    order: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekTurn:
    """Who is called in which order each week. day: 0 is Monday. start, end: seconds after the
    midnight with which that day begins, by the clock on the wall; end may lie in the next day."""

    day: int
    start: float
    end: float
    order: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Duty:
    """The duty list. A dated turn goes before the week, the week before `standing`.

    evening: seconds after local midnight at which the duty of a night begins. asks: whether people
    are asked before their turn.
    """

    standing: tuple[str, ...]
    turns: tuple[DutyTurn, ...] = ()
    week: tuple[WeekTurn, ...] = ()
    evening: float = 18 * 3600.0
    asks: bool = True


@dataclass(frozen=True, slots=True)
class Batch:
    """Eggs or larvae of one spawn. Times are UTC s, None where they are not known.

    eggs, hatched: counts as they were written, such as "~2100"; "" where nothing was counted.
    """

    id: str
    source: str = ""
    stocked: float | None = None
    hatch: float | None = None
    eggs: str = ""
    hatched: str = ""


@dataclass(frozen=True, slots=True)
class Run:
    """The run in the tank: its reference hatch fixes the days post hatch.

    hatch: date of dph 0 in site time. watch_set: whether the watch is in force.
    hatch_day: the number the hatch day has (0 or 1). day_begins: seconds after local midnight at
    which the number changes. also_in: other vessels that hold larvae of it, after a split.
    begun, closed: UTC s of the first stocking and of the end, None where not said.
    protocol, approved: number of the animal protocol, and animals approved in it. lights: (on,
    off) as seconds after local midnight, None where nothing is said.
    """

    id: str
    tank: str
    hatch: date
    watch_set: bool = True
    hatch_day: int = 0
    day_begins: float = 0.0
    also_in: tuple[str, ...] = ()
    begun: float | None = None
    closed: float | None = None
    batches: tuple[Batch, ...] = ()
    protocol: str = ""
    approved: int | None = None
    lights: tuple[float, float] | None = None

    @property
    def vessels(self) -> tuple[str, ...]:
        """Every vessel that holds larvae of it."""
        return (self.tank, *self.also_in)


@dataclass(frozen=True, slots=True)
class LineFlow:
    """What is due through a line: set flow by dph (m3/s), and how that is known.

    known_by: "meter", or words such as "bucket 17 Oct" that stand in texts and tables.
    """

    line: str
    set_flow: Profile
    known_by: str = "meter"


@dataclass(frozen=True, slots=True)
class Delays:
    """Delays of the built-in conditions and of the call-out, s. Reasons: docs/reference/limits.md.

    call_after: seconds after the first call at which the second, third ... are called; at the
    last of them everybody is. repeat_call: then all are called again this often.
    """

    mains_off: float = 10.0
    mains_text: float = 120.0
    hold_overrun: float = 600.0
    supply_lost_text: float = 60.0
    supply_lost_see: float = 30.0
    siphon_broken: float = 20.0
    no_flow: float = 180.0
    supply_back: float = 300.0
    dip_over: float = 120.0
    dip_closed: float = 300.0
    flow_proven: float = 180.0
    power_back_repeat: float = 900.0
    ask_again: float = 1800.0
    ask_again_wait: float = 900.0
    bad_after: float = 120.0
    same_event: float = 7200.0
    call_after: tuple[float, ...] = (300.0, 600.0, 900.0)
    repeat_call: float = 900.0
    after_promise: float = 300.0


@dataclass(frozen=True, slots=True)
class Channel:
    """A way to reach people: kind is "mail" or "folder"; options are what that kind needs."""

    id: str
    kind: str
    options: tuple[tuple[str, object], ...] = ()


@dataclass(frozen=True, slots=True)
class SourceSetup:
    """A bus or service readings come from: kind names its driver."""

    id: str
    kind: str
    options: tuple[tuple[str, object], ...] = ()


@dataclass(frozen=True)
class Setup:
    """Everything the logic needs to know, as one version.

    quiet: (start, end) of the quiet hours as seconds after local midnight.
    owed_by: seconds after local midnight by which owed lines are asked for.
    run: the run whose age limits, flows and lights follow; other_runs: those beside it.
    path_test: weekday (0 is Monday) and seconds after its midnight at which each way to people is
    tested, None for never. day_lines: whether a line goes out each morning, and each evening where
    nobody listens for signs of life.
    manager: id of the lab manager, who is told of what is no alarm; "" for nobody.
    worked_out: what other layers have derived from this very set-up, kept for speed.
    """

    version: int
    rig: Rig
    limits: tuple[Limit, ...] = ()
    flows: tuple[LineFlow, ...] = ()
    people: tuple[Person, ...] = ()
    duty: Duty = field(default_factory=lambda: Duty(()))
    run: Run | None = None
    other_runs: tuple[Run, ...] = ()
    delays: Delays = field(default_factory=Delays)
    quiet: tuple[float, float] = (21 * 3600.0, 7 * 3600.0)
    owed_by: float = 9 * 3600.0
    manager: str = ""
    path_test: tuple[int, float] | None = None
    day_lines: bool = False
    channels: tuple[Channel, ...] = ()
    sources: tuple[SourceSetup, ...] = ()
    worked_out: dict[str, object] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.rig.zone)

    @cached_property
    def person(self) -> dict[str, Person]:
        return {person.id: person for person in self.people}

    @cached_property
    def flow_due(self) -> dict[str, LineFlow]:
        return {flow.line: flow for flow in self.flows}

    @cached_property
    def limits_of(self) -> dict[str, tuple[Limit, ...]]:
        by_tag: dict[str, tuple[Limit, ...]] = {}
        for limit in self.limits:
            by_tag[limit.tag] = (*by_tag.get(limit.tag, ()), limit)
        return by_tag

    def local(self, utc: float) -> datetime:
        """Site time of a UTC second."""
        return datetime.fromtimestamp(utc, UTC).astimezone(self.zone)

    def local_day(self, utc: float) -> date:
        return self.local(utc).date()

    def seconds_into_day(self, utc: float) -> float:
        """What a clock on the wall shows, as seconds after midnight."""
        local = self.local(utc)
        return local.hour * 3600.0 + local.minute * 60.0 + local.second

    def seconds_into_age(self, utc: float) -> float:
        """The same, but counted on after midnight until the number of the day changes."""
        clock = self.seconds_into_day(utc)
        return clock + DAY if self.run is not None and clock < self.run.day_begins else clock

    def next_time_of_day(self, utc: float, seconds: float) -> float:
        """UTC of the next moment after `utc` at which the wall clock shows this time of day.

        A time that occurs twice is its first; one that does not exist is read with the offset
        before the gap (RFC 5545, section 3.3.5).
        """
        day = self.local_day(utc)
        while True:
            naive = datetime(day.year, day.month, day.day) + timedelta(seconds=seconds)
            at = naive.replace(tzinfo=self.zone).timestamp()
            if at > utc:
                return at
            day += timedelta(days=1)

    def dph(self, utc: float) -> int | None:
        """Days post hatch at a UTC second: local dates counted from the reference hatch."""
        run = self.run
        if run is None:
            return None
        yet_to_change = self.seconds_into_day(utc) < run.day_begins
        return (self.local_day(utc) - run.hatch).days + run.hatch_day - yet_to_change

    def of_run(self, run: str) -> "Setup | None":
        """This set-up as seen from one of its runs; None where it has no such run."""
        if self.run is not None and self.run.id == run:
            return self
        found = next((other for other in self.other_runs if other.id == run), None)
        return None if found is None else replace(self, run=found, worked_out={})
