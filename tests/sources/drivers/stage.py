"""The stage for a driver: a small rig, and a clock that plays what happens around it."""

import threading
from collections.abc import Callable

from monitor.clock import VirtualClock
from monitor.inputs import Moment, Reading
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import DRIVERS
from monitor.sources.base import Secrets, Source
from monitor.sources.skeleton import skeleton
from monitor.units import unit_of

START = Moment(1, 1000.0, 1_790_000_000.0)
ELSEWHERE = ("manual", "mqtt", "signs", "simulated")
"""Kinds of source that have tests of their own."""
KINDS = {
    **{kind: make for kind, make in DRIVERS.items() if kind not in ELSEWHERE},
    "skeleton": skeleton,
}
"""Every driver that is tested here, with the one that is there to be copied."""

Heard = tuple[float, str, float | None, str]
"""Seconds since the start, tag, value, problem."""


def tag(
    name: str, measures: str, address: str, every: float = 10.0, unit: str | None = None
) -> Tag:
    """A tag of the source `bus`."""
    return Tag(name, measures, "LT1", unit_of(measures, unit), "bus", address, every=every)


def rig(*tags: Tag) -> Rig:
    """A rig with these tags, and one that belongs to another source."""
    other = Tag("X", "flow", "LT1", unit_of("flow"), "other", "not/an address =")
    return Rig("ostrel-1", "OH", "Ostrel", "America/Chicago", tags=(*tags, other))


def build(
    kind: str, options: dict[str, object], *tags: Tag, secrets: Secrets | None = None
) -> Source:
    """The source `bus` of this kind."""
    setup = SourceSetup("bus", kind, tuple(options.items()))
    return KINDS[kind](setup, rig(*tags), secrets or {})


class StageClock:
    """A virtual clock: time passes as the source waits, and what is planned happens then."""

    def __init__(self, seconds: float) -> None:
        self.stop = threading.Event()
        self._clock = VirtualClock(START)
        self._end = START.elapsed + seconds
        self._to_come: list[tuple[float, Callable[[], object]]] = []

    def plan(self, s: float, act: Callable[[], object]) -> None:
        """Let something happen at `s` seconds; plans are made in the order of time."""
        self._to_come.append((START.elapsed + s, act))
        self._happen()

    def now(self) -> Moment:
        return self._clock.now()

    def wait(self, wake: threading.Event, until: float) -> None:
        ahead = [s for s, _ in self._to_come[:1]]
        self._clock.advance_to(min(until, self._end, *ahead))
        self._happen()
        if self.now().elapsed >= self._end:
            self.stop.set()

    def _happen(self) -> None:
        while self._to_come and self._to_come[0][0] <= self.now().elapsed:
            self._to_come.pop(0)[1]()


def listen(source: Source, clock: StageClock) -> list[Heard]:
    """All that a source delivers until its clock stops it."""
    heard: list[Heard] = []

    def put(reading: Reading) -> None:
        since = round(reading.moment.elapsed - START.elapsed, 6)
        heard.append((since, reading.tag, reading.value, reading.problem))

    source.run(put, clock, clock.stop)
    return heard


def first(source: Source) -> dict[str, tuple[float | None, str]]:
    """Value and problem of the first reading of each tag."""
    return {name: (value, problem) for _, name, value, problem in listen(source, StageClock(0.01))}
