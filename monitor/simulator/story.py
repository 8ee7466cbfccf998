"""A story: what happens to the simulated rig and what people do and say, as plain data.

Times are seconds after the start of the story; values are SI.
"""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.errors import RefusedInput
from monitor.simulator.climate import Day
from monitor.simulator.extras import DAY


@dataclass(frozen=True, slots=True)
class Action:
    """One thing that happens to the rig or to a sensor.

    do: a word of hands.VERBS or sensors.FAULTS. what: the part or tag; empty for every circuit,
    or the first part of its kind. value: SI, or as the tag delivers it for a sensor fault.
    seconds: how long it lasts, or a time constant, where the word takes one.
    """

    at: float
    do: str
    what: str = ""
    value: float | None = None
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Say:
    """What a person answers at a fixed time; kind is one of inputs.ANSWER_KINDS."""

    at: float
    who: str
    kind: str
    event: int | None = None
    minutes: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Story:
    """What happens, from the steady rig at its start.

    start: local time of the site, ISO 8601 without offset. length: seconds worth playing.
    set_flow: flow the siphon valves are set to, m3/s; None takes what the set-up says is due.
    levels: (vessel, m above its floor) where the start is not the steady level.
    days: air of the first day and those after it; the last one stays.
    water: temperature at the start, C. noise: scales the noise of every sensor (0.0 leaves
    quantum and offset alone). scatter: a valve set by hand is off by up to this share, at random.
    """

    name: str
    start: str
    length: float
    set_flow: float | None = None
    actions: tuple[Action, ...] = ()
    says: tuple[Say, ...] = ()
    levels: tuple[tuple[str, float], ...] = ()
    days: tuple[Day, ...] = ()
    water: float = 26.5
    noise: float = 1.0
    scatter: float = 0.0

    def local_start(self, zone: ZoneInfo) -> datetime:
        """The start as an aware time of the site."""
        try:
            start = datetime.fromisoformat(self.start)
        except ValueError as error:
            raise RefusedInput(
                f"story {self.name!r}: start {self.start!r} is no time; "
                "write local time like 2026-10-18T00:45:00"
            ) from error
        return start.replace(tzinfo=zone) if start.tzinfo is None else start.astimezone(zone)


def after(start: str, clock: str) -> float:
    """Seconds from an ISO local time to when the clock next shows HH:MM:SS (no time change).

    >>> after("2026-10-18T00:45:00", "01:18:00")
    1980.0
    """
    return (_seconds_of_day(clock) - _seconds_of_day(start.partition("T")[2])) % DAY


def _seconds_of_day(clock: str) -> float:
    hours, minutes, seconds = clock.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds)
