"""Sources that ask: the frame of every driver that reads its tags one after another.

A driver brings a `Bus`, which knows how to read one tag. The frame knows when each tag is due,
stamps what was read when the read has ended, and turns every error into the problem word of a
reading, so that one bad tag never silences the others. A read that blocks stalls this source
alone: it has its own thread, and what it does not deliver goes stale in the watch.
"""

import math
import threading
from collections.abc import Callable, Iterable
from typing import Protocol

from monitor.clock import Clock
from monitor.errors import HoldwaterError
from monitor.inputs import Reading
from monitor.rig import Tag
from monitor.sources.base import Complaints

PROBLEMS = ("not a number", "driver error")
"""Problem words that the frame itself may give; each driver adds its own."""

Put = Callable[[Reading], None]

Value = tuple[float, str]
"""A number in the unit of the tag, and a word of doubt about it ("" where there is none)."""


class NoReading(HoldwaterError):
    """The tag gave no value. problem: one of a few fixed words, for record and texts.

    detail: what would help to find the cause; it goes to the log only.
    """

    def __init__(self, problem: str, detail: object = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.detail = detail


class Bus(Protocol):
    """What a driver brings. It is made anew for every run and opens nothing before the first read.

    Each read has to end by itself within a few seconds.
    """

    def read(self, tag: Tag) -> Value | None:
        """The value of a tag; None while there is nothing to say yet. Raises NoReading."""

    def close(self) -> None:
        """Give back what was opened; called once, at the end."""


Connect = Callable[[Clock, Complaints], Bus]


class Rota:
    """When each tag is due, on watch time. Missed turns are left out, never caught up."""

    def __init__(self, tags: Iterable[Tag], start: float) -> None:
        self._due = dict.fromkeys(tags, start)

    def first(self) -> tuple[Tag, float]:
        """The tag that has been due longest, and since when; so a slow bus is shared fairly."""
        return min(self._due.items(), key=lambda entry: entry[1])

    def done(self, tag: Tag, now: float) -> None:
        """The tag has been read; its next turn is on its old beat, after `now`."""
        missed = max(0, math.floor((now - self._due[tag]) / tag.every))
        self._due[tag] += (missed + 1) * tag.every


class PolledSource:
    """A source whose driver is asked for each tag at the tag's own pace."""

    def __init__(self, name: str, tags: tuple[Tag, ...], connect: Connect) -> None:
        self.id = name
        self._tags = tags
        self._connect = connect

    def run(self, put: Put, clock: Clock, stop: threading.Event) -> None:
        """Deliver readings until `stop` is set."""
        complaints = Complaints(self.id, clock)
        bus = self._connect(clock, complaints)
        rota = Rota(self._tags, clock.now().elapsed)
        try:
            while not stop.is_set():
                tag, due = rota.first()
                if clock.now().elapsed < due:
                    clock.wait(stop, due)
                    continue
                reading = read_tag(tag, bus, clock, complaints)
                if reading is not None:
                    put(reading)
                rota.done(tag, clock.now().elapsed)
        finally:
            bus.close()


def read_tag(tag: Tag, bus: Bus, clock: Clock, complaints: Complaints) -> Reading | None:
    """One read, whatever comes of it, stamped when it has ended."""
    value: float | None = None
    try:
        found = bus.read(tag)
        if found is None:
            return None
        value, problem = found
        if not math.isfinite(value):
            raise NoReading("not a number", value)
    except NoReading as trouble:
        value, problem = None, trouble.problem
        complaints.note(problem, f"tag {tag.id}: {trouble.detail}")
    except Exception as error:  # noqa: BLE001 - whatever it was, the other tags are read on
        value, problem = None, "driver error"
        complaints.note(problem, f"tag {tag.id}: {type(error).__name__}: {error}")
    return Reading(tag.id, clock.now(), value, problem)


def in_unit(tag: Tag, value: float) -> float:
    """An SI value in the unit of the tag, as the watch expects it from a source.

    To 12 digits, which is beyond any sensor: the dust of the conversion would make a value that
    stands still look alive.
    """
    return float(f"{tag.unit.from_si(value):.12g}")
