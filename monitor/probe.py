"""What the sensors say just now, for whoever wires them: `holdwater probe`.

Every source runs as in the watch, on the real clock, and what it delivers is judged by the same
tests; nothing is kept and nobody is called.
"""

import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from monitor.clock import Clock
from monitor.inputs import Reading
from monitor.logic.quality import take
from monitor.logic.scaling import to_si
from monitor.logic.state import TagState
from monitor.rig import Tag
from monitor.setup import Setup, SourceSetup
from monitor.sources.base import Source
from monitor.sources.devices import CHEAP_FIRST, Device
from monitor.units import STATES

log = logging.getLogger(__name__)

NOT_READ = {
    "manual": "people enter it",
    "recording": "a file that is replayed",
    "signs": "heard by a watch only",
    "simulated": "played by the demo",
}
"""Kinds of source that are not started here, and what is said instead."""
STRIP = 12
"""Last values that are shown beside a tag."""
ONCE_AT_MOST = 20.0
"""Seconds after which asking once is over, whoever has not answered: twice the usual pace."""
LOOK = 0.2
JOIN = 2.0


@dataclass(slots=True)
class Heard:
    """What one tag has delivered so far."""

    tag: Tag
    state: TagState = field(default_factory=TagState)
    last: deque[Reading] = field(default_factory=lambda: deque(maxlen=STRIP))
    count: int = 0
    verdict: str = ""

    def take(self, reading: Reading) -> None:
        """Judge a reading as the watch would."""
        self.count += 1
        self.last.append(reading)
        self.state, flags = take(self.tag, self.state, reading)
        now = [flag for flag in flags if flag.elapsed == reading.moment.elapsed]
        self.verdict = f"{now[-1].flag} {now[-1].test}" if now else "1 good"
        if self.state.fault:
            self.verdict += f"; sensor: {self.state.fault}"


class Ear:
    """Collects from the threads of all sources."""

    def __init__(self, tags: Sequence[Tag]) -> None:
        self.heard = {tag.id: Heard(tag) for tag in tags}
        self._lock = threading.Lock()

    def put(self, reading: Reading) -> None:
        with self._lock:
            if reading.tag in self.heard:
                self.heard[reading.tag].take(reading)

    def has_all(self) -> bool:
        """Whether every tag has delivered something."""
        with self._lock:
            return all(heard.count for heard in self.heard.values())


def to_be_read(setup: Setup) -> Setup:
    """The set-up with the sources that are read here, and nothing that calls anybody.

    The name of a client at a broker is left out: with the same one the watch would be thrown off.
    """
    sources = (source for source in setup.sources if source.kind not in NOT_READ)
    return replace(setup, sources=tuple(map(_nameless, sources)), channels=())


def _nameless(source: SourceSetup) -> SourceSetup:
    kept = tuple(pair for pair in source.options if pair[0] != "client_id")
    return replace(source, options=kept)


def listen(
    sources: Sequence[Source], ear: Ear, clock: Clock, seconds: float, stop: threading.Event
) -> None:
    """Run the sources: for so many seconds, or with 0 until each tag has been heard once."""
    end = clock.now().elapsed + (seconds or ONCE_AT_MOST)
    threads = [
        threading.Thread(target=_run, args=(source, ear.put, clock, stop), daemon=True)
        for source in sources
    ]
    for thread in threads:
        thread.start()
    while not stop.is_set() and clock.now().elapsed < end:
        if not seconds and ear.has_all():
            break
        clock.wait(stop, min(end, clock.now().elapsed + LOOK))
    stop.set()
    for thread in threads:
        thread.join(JOIN)


def _run(
    source: Source, put: Callable[[Reading], None], clock: Clock, stop: threading.Event
) -> None:
    try:
        source.run(put, clock, stop)
    except Exception as error:  # noqa: BLE001 - told, and the other sources are read on
        log.warning("source=%s ended=%r", source.id, f"{type(error).__name__}: {error}")


def table(setup: Setup, ear: Ear, now: float) -> list[str]:
    """One line a tag: delivered, converted, age, flag and a strip; cheap kinds of source first."""
    kinds = {source.id: source.kind for source in setup.sources}
    order = (*CHEAP_FIRST, *NOT_READ)
    rows = [("tag", "source", "delivered", "value", "age", "quality", "last values")]
    for tag in sorted(setup.rig.tags, key=lambda tag: order.index(kinds[tag.source])):
        kind = kinds[tag.source]
        heard = ear.heard.get(tag.id)
        if kind in NOT_READ or heard is None:
            rows.append((tag.id, kind, "", "", "", NOT_READ.get(kind, ""), ""))
        else:
            rows.append((tag.id, kind, *_cells(tag, heard, now)))
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return ["  ".join(map(str.ljust, row, widths)).rstrip() for row in rows]


def _cells(tag: Tag, heard: Heard, now: float) -> tuple[str, str, str, str, str]:
    if not heard.last:
        return "nothing", "", "", "9 not heard: look at wire, power and address", ""
    last = heard.last[-1]
    age = f"{max(0.0, now - last.moment.elapsed):.1f} s"
    if last.value is None:
        return "no value", "", age, heard.verdict, strip(heard.last)
    return f"{last.value:.6g}", shown(tag, last.value), age, heard.verdict, strip(heard.last)


def shown(tag: Tag, delivered: float) -> str:
    """A delivered value after calibration, with its unit, or the word for a state."""
    if tag.measures in STATES:
        return STATES[tag.measures][int(delivered >= 0.5)]
    return tag.unit.show(to_si(tag, delivered))


def strip(readings: Sequence[Reading]) -> str:
    """The last values as digits, 0 the least of them and 9 the most; x where there was none."""
    values = [reading.value for reading in readings if reading.value is not None]
    low, high = min(values, default=0.0), max(values, default=0.0)
    span = (high - low) or 1.0
    return "".join(
        "x" if item.value is None else str(min(9, int((item.value - low) / span * 10)))
        for item in readings
    )


def found_lines(found: Sequence[Device]) -> list[str]:
    """What is there and named nowhere, with the kind of source that would read it."""
    if not found:
        return ["Nothing was found on this board that the set-up does not name."]
    width = max(len(device.kind) for device in found)
    return [
        "Found on this board, and named by no tag or source:",
        *(f"  {device.kind:<{width}}  {device.name}  ({device.path})" for device in found),
    ]
