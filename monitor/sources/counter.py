"""Flow from a pulse counter of the kernel: it counts by itself, however busy the board is.

Addressed by the name of the counter and the count, with the pulses a litre of the turbine:
`eqep/count0 pulses_per_litre=450`. Kernel documentation: ABI/testing/sysfs-bus-counter.
"""

from pathlib import Path

from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import pulses, sysfs
from monitor.sources.addresses import OPTIONS, FullPath, Sheet, read_keys, split
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value
from monitor.sources.pulses import PulseFlow, PulseKeys

PROBLEMS = (*sysfs.PROBLEMS, *pulses.PROBLEMS, "counter is off")
"""Every problem word of this driver."""


@checked(frozen=True, slots=True, config=OPTIONS)
class CounterOptions:
    """root: where the kernel's tree is."""

    root: FullPath = "/sys"


def counter(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """The counters of the board. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(CounterOptions)
    points = sheet.points(_point)
    folder = Path(sheet.sound(read).root, "bus/counter/devices")
    return PolledSource(
        setup.id, sheet.tags, lambda clock, _tell: _Counters(folder, points, sheet.tags, clock)
    )


def _point(tag: Tag) -> tuple[sysfs.Place, PulseKeys]:
    if tag.measures != "flow":
        raise ValueError(f"gives flow, but the tag measures {tag.measures}")
    text, keys = split(tag.address)
    place = sysfs.parse_place(text)
    sysfs.plain_channel(place)
    return place, read_keys(PulseKeys, keys)


class _Counters:
    """All counters of the board, with the last counts of each."""

    def __init__(
        self,
        folder: Path,
        points: dict[str, tuple[sysfs.Place, PulseKeys]],
        tags: tuple[Tag, ...],
        clock: Clock,
    ) -> None:
        self._folder = folder
        self._places = {tag: place for tag, (place, _) in points.items()}
        self._flows = {tag.id: PulseFlow(tag, points[tag.id][1]) for tag in tags}
        self._clock = clock

    def read(self, tag: Tag) -> Value | None:
        place = self._places[tag.id]
        count = sysfs.find(self._folder, "counter", place) / place.channel
        if sysfs.exists(count / "enable") and not sysfs.whole(count / "enable"):
            raise NoReading("counter is off", count / "enable")
        ceiling = sysfs.whole(count / "ceiling") if sysfs.exists(count / "ceiling") else None
        now = sysfs.whole(count / "count")
        flow = self._flows[tag.id].flow(self._clock.now().elapsed, now, ceiling)
        return None if flow is None else (flow, "")

    def close(self) -> None:
        """Nothing is kept open."""
