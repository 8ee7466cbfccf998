"""Contacts and pulses on the pins of the board: floats, flow witness, mains relay, leak pads.

A line is addressed by its number or name on the chip, then how it is wired: `17 pull=up
active_low=true`. A tag that measures flow counts pulses: `22 pulses_per_litre=450`. Every change
is delivered at once, and the state again at the pace of the tag, so that silence is a fault.
"""

import math
import threading
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.inputs import Reading
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import gpio_lines, pulses
from monitor.sources.addresses import KEYS, OPTIONS, Sheet, read_keys, split
from monitor.sources.base import Complaints, Secrets, Source
from monitor.sources.gpio_lines import KernelLines, Lines, LineSpec
from monitor.sources.polled import NoReading, Put, Rota, Value, read_tag
from monitor.sources.pulses import PulseFlow, PulseKeys
from monitor.units import STATES

CHATTERS = "chatters"
PROBLEMS = (*gpio_lines.PROBLEMS, *pulses.PROBLEMS, CHATTERS)
"""Every problem word of this driver; "chatters" comes with a value."""

TURN = 0.5
"""Seconds of one wait for changes; a stop is heard after it."""

AGAIN = 5.0
"""Seconds after a line that could not be opened until the next attempt."""

MINUTE = 60.0

BOUNCE_MS = 50.0
"""Debounce of a contact where none is given; pulses have none (common practice, no source)."""

HIGHEST_COUNT = 2**32 - 1
"""After it the kernel counts the changes of a line from 0 (linux/gpio.h: 32 bits)."""

PULSE_KEYS = ("pulses_per_litre", "gate_s", "zero_below")


@checked(frozen=True, slots=True, config=OPTIONS)
class GpioOptions:
    """chip: its device file, or its label, which does not change with the order of discovery.

    chatter: changes in one minute above which a contact is said to chatter.
    """

    chip: Annotated[str, Field(min_length=1)] = "/dev/gpiochip0"
    chatter: Annotated[int, Field(ge=2, le=10_000)] = 20


@checked(frozen=True, slots=True, config=KEYS)
class LineKeys:
    """How a line is wired. pull: the resistor of the chip. A change that does not last for
    debounce_ms is none."""

    pull: Literal["up", "down", "none", "as-is"] = "as-is"
    active_low: bool = False
    debounce_ms: Annotated[float, Field(ge=0.0, le=4000.0)] | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """One tag: its line, and its turbine if it has one."""

    spec: LineSpec
    turbine: PulseKeys | None


def gpio(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    """The pins of one chip. Checks the set-up; SetupError names everything wrong."""
    return gpio_on(KernelLines, setup, rig, secrets)


def gpio_on(
    lines: Callable[[str], Lines], setup: SourceSetup, rig: Rig, _secrets: Secrets
) -> Source:
    """The pins of one chip, whose lines are `lines(chip)`."""
    sheet = Sheet(setup, rig)
    read = sheet.options(GpioOptions)
    points = sheet.points(_point)
    sheet.needs("gpiod", "gpio")
    return GpioSource(setup.id, sheet.tags, sheet.sound(read), points, lines)


def _point(tag: Tag) -> Point:
    if tag.measures not in ("flow", *STATES):
        raise ValueError(f"gives a state, or a flow from pulses; the tag measures {tag.measures}")
    place, given = split(tag.address)
    counts = tag.measures == "flow"
    turbine = {key: given.pop(key) for key in PULSE_KEYS if key in given}
    if turbine and not counts:
        raise ValueError(f"has {', '.join(turbine)}, of use for a flow only")
    keys = read_keys(LineKeys, given)
    bounce = keys.debounce_ms if keys.debounce_ms is not None else 0.0 if counts else BOUNCE_MS
    is_number = place.isascii() and place.isdigit() and len(place) < 6
    line = int(place) if is_number else place
    spec = LineSpec(line, keys.pull, keys.active_low, bounce / 1000.0, counts)
    return Point(spec, read_keys(PulseKeys, turbine) if counts else None)


class GpioSource:
    """The pins of one chip: waits for changes, and reads each tag at its own pace between them."""

    def __init__(
        self,
        name: str,
        tags: tuple[Tag, ...],
        options: GpioOptions,
        points: dict[str, Point],
        lines: Callable[[str], Lines],
    ) -> None:
        self.id = name
        self._tags = tags
        self._options = options
        self._points = points
        self._lines = lines

    def run(self, put: Put, clock: Clock, stop: threading.Event) -> None:
        """Deliver readings until `stop` is set."""
        complaints = Complaints(self.id, clock)
        lines = self._lines(self._options.chip)
        pins = _Pins(self._tags, self._points, lines, clock, self._options.chatter)
        rota = Rota(self._tags, clock.now().elapsed)
        try:
            while not stop.is_set():
                tag, due = rota.first()
                until = min(due, clock.now().elapsed + TURN)
                for reading in pins.changes(until, stop):
                    put(reading)
                if stop.is_set() or clock.now().elapsed < due:
                    continue
                answer = read_tag(tag, pins, clock, complaints)
                if answer is not None:
                    put(answer)
                    if answer.problem == CHATTERS:
                        complaints.note(CHATTERS, f"tag {tag.id}")
                rota.done(tag, clock.now().elapsed)
        finally:
            pins.close()


class _Pins:
    """The lines of the tags, opened one by one, and what is remembered of each."""

    def __init__(
        self,
        tags: tuple[Tag, ...],
        points: dict[str, Point],
        lines: Lines,
        clock: Clock,
        chatter: int,
    ) -> None:
        self._points = points
        self._lines = lines
        self._clock = clock
        self._open: set[str] = set()
        self._not_before = dict.fromkeys(points, -math.inf)
        self._why = dict.fromkeys(points, "")
        self._changed = {tag.id: deque[float](maxlen=chatter + 1) for tag in tags}
        self._counts = dict.fromkeys(points, 0)
        self._flows: dict[str, PulseFlow] = {}

    def changes(self, until: float, stop: threading.Event) -> Iterator[Reading]:
        """Wait for changes, and give the new states; the state of a chattering line waits for its
        own turn, so that a bad contact cannot flood the inbox."""
        wait = max(0.0, until - self._clock.now().elapsed)
        if not self._open and wait > 0.0:
            self._clock.wait(stop, until)
            return
        for edge in self._lines.wait(wait):
            now = self._clock.now()
            self._counts[edge.tag] = edge.number
            if self._points[edge.tag].spec.counts:
                continue
            self._changed[edge.tag].append(now.elapsed)
            if not self._chatters(edge.tag, now.elapsed):
                yield Reading(edge.tag, now, float(edge.active))

    def read(self, tag: Tag) -> Value | None:
        self._open_line(tag)
        try:
            is_active = self._lines.is_active(tag.id)
        except NoReading:
            self._close_line(tag.id)
            raise
        now = self._clock.now().elapsed
        if tag.id in self._flows:
            flow = self._flows[tag.id].flow(now, self._counts[tag.id], HIGHEST_COUNT)
            return None if flow is None else (flow, "")
        return float(is_active), CHATTERS if self._chatters(tag.id, now) else ""

    def close(self) -> None:
        for tag in list(self._open):
            self._close_line(tag)

    def _open_line(self, tag: Tag) -> None:
        if tag.id in self._open:
            return
        now = self._clock.now().elapsed
        if now < self._not_before[tag.id]:
            raise NoReading(self._why[tag.id], "the next attempt is still to come")
        point = self._points[tag.id]
        try:
            self._lines.open(tag.id, point.spec)
        except NoReading as trouble:
            self._not_before[tag.id] = now + AGAIN
            self._why[tag.id] = trouble.problem
            raise
        self._open.add(tag.id)
        self._counts[tag.id] = 0
        if point.turbine is not None:
            self._flows[tag.id] = PulseFlow(tag, point.turbine)

    def _close_line(self, tag: str) -> None:
        self._lines.close(tag)
        self._open.discard(tag)

    def _chatters(self, tag: str, now: float) -> bool:
        """Whether the last changes, one more than are usual, lie within a minute."""
        times = self._changed[tag]
        return len(times) == times.maxlen and now - times[0] <= MINUTE
